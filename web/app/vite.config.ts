import { defineConfig } from "vite";

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
  server: { proxy: { "^/(farms|sessions|base|healthz)": "http://127.0.0.1:8080" } },
});
