// The list of the build's files for the worker that opens the page without a network.
import { createHash } from "node:crypto";
import { readdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";

const publicDir = join(import.meta.dirname, "..", "public");

const sha256 = (data) => createHash("sha256").update(data).digest("hex");

/**
 * Writes into the worker which files the build is made of, each with its sum.
 * The version is the sum of the sums: the same sources make the same worker. The
 * sums are of the files as written: the bundler changes chunks until then.
 */
export function shellList() {
  return {
    name: "shell-list",
    enforce: "post",
    writeBundle({ dir }, bundle) {
      const files = {};
      const add = (path, file) => (files[path] = sha256(readFileSync(file)));
      for (const name of Object.keys(bundle)) {
        if (name !== "sw.js" && !name.endsWith(".map")) add(name === "index.html" ? "/" : `/${name}`, join(dir, name));
      }
      for (const name of readdirSync(publicDir)) {
        if (!name.startsWith(".")) add(`/${name}`, join(publicDir, name));
      }
      if (!files["/"]) this.error("the page is not in the build");
      const sorted = Object.fromEntries(Object.entries(files).sort());
      const shell = JSON.stringify({ version: sha256(JSON.stringify(sorted)).slice(0, 16), files: sorted });
      const worker = readFileSync(join(dir, "sw.js"), "utf8");
      const filled = worker.replace(/(["'`])__SHELL__\1/, () => JSON.stringify(shell));
      if (filled === worker) this.error("the worker has no place for the list");
      writeFileSync(join(dir, "sw.js"), filled);
    },
  };
}
