import type { PlantAt } from "../../model/kinds";

/** Plants of one row in the order they are walked. */
export interface RowWalk<P extends PlantAt> {
  readonly row: number;
  readonly plants: readonly P[];
}

/** A list in row and plant order as a crew walks it: up one row, down the next that has any, as on the printed sheet. */
export function walk<P extends PlantAt>(list: readonly P[]): RowWalk<P>[] {
  const rows: { row: number; plants: P[] }[] = [];
  for (const p of list) {
    const last = rows.at(-1);
    if (last?.row === p.row) last.plants.push(p);
    else rows.push({ row: p.row, plants: [p] });
  }
  return rows.map((r, i) => (i % 2 === 0 ? r : { row: r.row, plants: r.plants.toReversed() }));
}

/** Today where the farm lies, as dates are kept. */
export function today(zone: string, now = new Date()): string {
  return new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" }).format(now);
}
