import type { Inspected } from "../../model/kinds";
import { type DrawnRow, lastPlant, type Stretch } from "../../rowmap/rowplace";
import { mergeStretches } from "../walk/visit";

/** The stretches of the drawn rows that no visit names: a preview of where emptiness says nothing. */
export function unseen(rows: readonly DrawnRow[], visits: readonly (readonly Inspected[])[]): Stretch[] {
  const numbers = [...new Set(rows.map((r) => r.number))].sort((a, b) => a - b);
  const seen: Stretch[] = [];
  for (const visit of visits) {
    for (const s of visit) {
      if ("rows" in s) return [];
      seen.push({ row: s.row, from: s.from ?? 1, to: s.to ?? lastPlant(rows, s.row) });
    }
  }
  const merged = mergeStretches(seen);
  return numbers.flatMap((row) => {
    const out: Stretch[] = [];
    const end = lastPlant(rows, row);
    let next = 1;
    for (const s of merged.filter((m) => m.row === row)) {
      if (s.from > next) out.push({ row, from: next, to: Math.min(s.from - 1, end) });
      next = Math.max(next, s.to + 1);
    }
    if (next <= end) out.push({ row, from: next, to: end });
    return out;
  });
}
