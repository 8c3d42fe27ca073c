import type { Position } from "../geo/position";
import type { Stored } from "../model/kinds";
import { type DrawnRow, type LonLat, lengthM } from "./rowplace";

// A length within 1 mm of a multiple of the spacing reaches it, as in the
// server's layout rules.
const reachM = 0.001;

const lonLat = (p: Position): LonLat => [p[0] ?? Number.NaN, p[1] ?? Number.NaN];

/**
 * A block's rows for placing plants, one for each stretch of numbers that run
 * on: as the record's places say, else from part to part. Rows that say neither their plants nor a spacing carry none.
 */
export function drawnRows(
  rows: readonly Stored<"rows">[],
  block: string | undefined,
  spacingM: number | null,
): DrawnRow[] {
  const out: DrawnRow[] = [];
  const add = (row: DrawnRow, gone: readonly number[]) => out.push(...without(row, gone, spacingM));
  const reached = new Map<number, number>();
  const own = rows.filter((r) => block !== undefined && r.feature.properties.block === block);
  for (const r of own.sort((a, b) => a.feature.properties.number - b.feature.properties.number)) {
    const p = r.feature.properties;
    const shape = r.feature.geometry;
    const parts = shape.type === "LineString" ? [shape.coordinates] : shape.coordinates;
    const gone = (p.gone ?? []).map((g) => g.plant);
    if (p.places) {
      for (const run of p.places) {
        const line = parts[(run.part ?? 1) - 1]?.map(lonLat);
        if (line) add({ number: p.number, plants: run.plants, line, firstPlant: run.from, missing: p.missing ?? [], startM: run.at_m, stepM: run.spacing_m }, gone);
      }
      continue;
    }
    for (const part of parts) {
      const line = part.map(lonLat);
      const fit = spacingM ? Math.floor((lengthM(line) + reachM) / spacingM) + 1 : 0;
      const plants = parts.length === 1 && p.plants !== undefined ? p.plants : fit;
      const before = reached.get(p.number) ?? 0;
      add({ number: p.number, plants, line, firstPlant: before + 1, missing: p.missing ?? [] }, gone);
      reached.set(p.number, before + plants);
    }
  }
  return out;
}

// The stretches left of a row where places were given up.
function without(row: DrawnRow, gone: readonly number[], spacingM: number | null): DrawnRow[] {
  const end = row.firstPlant + row.plants;
  const cuts = [...gone].filter((n) => n >= row.firstPlant && n < end).sort((a, b) => a - b);
  if (cuts.length === 0) return [row];
  const step = row.stepM ?? spacingM ?? (row.plants > 1 ? lengthM(row.line) / (row.plants - 1) : 0);
  const out: DrawnRow[] = [];
  let from = row.firstPlant;
  for (const cut of [...cuts, end]) {
    if (cut > from) out.push({ ...row, firstPlant: from, plants: cut - from, startM: (row.startM ?? 0) + (from - row.firstPlant) * step, stepM: step });
    from = cut + 1;
  }
  return out;
}
