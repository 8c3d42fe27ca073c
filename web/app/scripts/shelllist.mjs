// The list of the build's files for the worker that opens the page without a network.
import { createHash } from "node:crypto";
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";

const publicDir = join(import.meta.dirname, "..", "public");

const sha256 = (data) => createHash("sha256").update(data).digest("hex");

/**
 * Writes into the worker which files the build is made of, each with its sum.
 * The version is the sum of the sums: the same sources make the same worker.
 */
export function shellList() {
  return {
    name: "shell-list",
    enforce: "post",
    generateBundle(_options, bundle) {
      const worker = bundle["sw.js"];
      if (worker?.type !== "chunk") this.error("the worker is not in the build");
      const files = {};
      for (const [name, made] of Object.entries(bundle)) {
        if (made === worker || name.endsWith(".map")) continue;
        files[name === "index.html" ? "/" : `/${name}`] = sha256(made.type === "chunk" ? made.code : made.source);
      }
      for (const name of readdirSync(publicDir)) {
        if (!name.startsWith(".")) files[`/${name}`] = sha256(readFileSync(join(publicDir, name)));
      }
      if (!files["/"]) this.error("the page is not in the build");
      const sorted = Object.fromEntries(Object.entries(files).sort());
      const shell = JSON.stringify({ version: sha256(JSON.stringify(sorted)).slice(0, 16), files: sorted });
      const filled = worker.code.replace(/(["'`])__SHELL__\1/, () => JSON.stringify(shell));
      if (filled === worker.code) this.error("the worker has no place for the list");
      worker.code = filled;
    },
  };
}
