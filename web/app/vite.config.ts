import { defineConfig } from "vitest/config";

export default defineConfig({
  base: "/",
  build: {
    outDir: "../dist",
    // public/.gitkeep comes back with each build, so that the server's embed
    // finds the folder in a fresh clone.
    emptyOutDir: true,
    target: "es2022",
    // Small files would become data: addresses, which the page's policy allows
    // for pictures only.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
  },
  test: { include: ["src/**/*.spec.{ts,tsx}"], setupFiles: ["src/i18n/all.ts"] },
  server: { proxy: { "^/(farms|sessions|base|healthz)": "http://127.0.0.1:8080" } },
});
