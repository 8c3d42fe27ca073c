import type { Plugin } from "vite";
export function fieldSize(): Plugin;
