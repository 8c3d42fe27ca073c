// Holds what a phone fetches for the field page to its bound: a build that goes over it fails.
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { gzipSync } from "node:zlib";

/** Bytes, gzipped: with one bar of signal, 200 kB come in about a minute. */
const mostBytes = 200_000;

// What Walk fetches as it is used in the field, by its source: the page, the
// place with its texts, the map, and the row map.
const fetched = ["index.html", "src/screens/walk/index.tsx", "src/i18n/walk.ts", "src/map/olmap.ts", "src/rowmap/rowmap.tsx", "src/rowmap/blockplants.ts", "src/i18n/plants.ts"];

/** The chunks that hold these sources, with all they import at once. */
function chunksOf(bundle) {
  const chunks = Object.values(bundle).filter((c) => c.type === "chunk");
  const holds = (source) => chunks.find((c) => (c.facadeModuleId ?? "").endsWith(source)) ?? chunks.find((c) => c.moduleIds.some((id) => id.endsWith(source)));
  const all = new Set();
  const take = (chunk) => {
    if (!chunk || all.has(chunk)) return;
    all.add(chunk);
    for (const name of chunk.imports) take(bundle[name]);
  };
  const missing = fetched.filter((source) => !holds(source));
  for (const source of fetched) take(holds(source));
  return { all: [...all], missing };
}

/** Says how much script the field page is, and fails the build above `mostBytes`. */
export function fieldSize() {
  return {
    name: "field-size",
    enforce: "post",
    writeBundle({ dir }, bundle) {
      const { all, missing } = chunksOf(bundle);
      if (missing.length > 0) this.error(`not in the build: ${missing.join(", ")}`);
      const bytes = all.reduce((sum, c) => sum + gzipSync(readFileSync(join(dir, c.fileName))).length, 0);
      const said = `the field page fetches ${(bytes / 1000).toFixed(1)} kB of script, gzipped, in ${all.length} files`;
      if (bytes > mostBytes) this.error(`${said}: more than ${mostBytes / 1000} kB`);
      this.info(said);
    },
  };
}
