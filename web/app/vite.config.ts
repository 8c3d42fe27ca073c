import { defineConfig } from "vitest/config";
import { fieldSize } from "./scripts/fieldsize.mjs";
import { shellList } from "./scripts/shelllist.mjs";

export default defineConfig({
  base: "/",
  plugins: [shellList(), fieldSize()],
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
    rolldownOptions: {
      input: { index: "index.html", sw: "src/offline/worker/sw.ts" },
      // The worker's address stays the same from build to build: browsers ask there for the next.
      output: { entryFileNames: (chunk) => (chunk.name === "sw" ? "sw.js" : "assets/[name]-[hash].js") },
    },
  },
  test: { include: ["src/**/*.spec.{ts,tsx}"], setupFiles: ["src/i18n/all.ts"] },
  server: { proxy: { "^/(farms|sessions|base|healthz)": "http://127.0.0.1:8080" } },
});
