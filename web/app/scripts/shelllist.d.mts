import type { Plugin } from "vite";

export function shellList(): Plugin;
