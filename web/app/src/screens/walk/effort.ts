import type { Inspected, VisitProperties } from "../../model/kinds";
import { type DrawnRow, lastPlant, type Stretch } from "../../rowmap/rowplace";
import { mergeStretches, readStretches, writeStretches } from "./visit";

/** What a visit says it looked at, as it is entered: every row, or the stretches in the text. */
export interface Effort {
  readonly whole: boolean;
  readonly text: string;
}

type Last = (row: number) => number;

/** What a record says, to go on with. */
export function effortOf(inspected: readonly Inspected[] | undefined, last: Last): Effort {
  const stretches = (inspected ?? []).flatMap((s): Stretch[] => ("row" in s ? [{ row: s.row, from: s.from ?? 1, to: s.to ?? Math.max(1, last(s.row)) }] : []));
  return { whole: (inspected ?? []).some((s) => "rows" in s), text: writeStretches(stretches, last) };
}

/** What goes into the record; null where the text cannot be read. */
export function inspectedOf(effort: Effort, last: Last): Inspected[] | null {
  if (effort.whole) return [{ rows: "all" }];
  const read = readStretches(effort.text, last);
  return read.ok ? [...read.stretches] : null;
}

/** How much of a row was looked at. */
export type Seen = "none" | "part" | "whole";

export function seenOf(stretches: readonly Stretch[], row: number, last: Last): Seen {
  const mine = stretches.filter((s) => s.row === row);
  if (mine.length === 0) return "none";
  return mine.some((s) => s.from <= 1 && s.to >= last(row)) ? "whole" : "part";
}

/** A tap on a row: what was not wholly looked at is now, and what was is not. */
export function tapped(stretches: readonly Stretch[], row: number, last: Last): Stretch[] {
  const others = stretches.filter((s) => s.row !== row);
  return seenOf(stretches, row, last) === "whole" ? [...others] : mergeStretches([...others, { row, from: 1, to: last(row) }]);
}

/** Sums of a visit as this device knows them: a preview of the server's. */
export interface Totals {
  readonly seen: readonly number[];
  readonly notSeen: readonly number[];
  /** Standing plants looked at, and of the block. */
  readonly plants: number;
  readonly of: number;
}

export function totals(effort: Effort, rows: readonly DrawnRow[]): Totals {
  const last: Last = (row) => lastPlant(rows, row);
  const read = readStretches(effort.text, last);
  const stretches = read.ok ? read.stretches : [];
  const [seen, notSeen] = [new Set<number>(), new Set<number>()];
  let [plants, of] = [0, 0];
  for (const r of rows) {
    const gone = new Set(r.missing);
    for (let p = r.firstPlant; p < r.firstPlant + r.plants; p++) {
      if (gone.has(p)) continue;
      of++;
      if (!effort.whole && !stretches.some((s) => s.row === r.number && s.from <= p && p <= s.to)) continue;
      plants++;
      seen.add(r.number);
    }
  }
  for (const r of rows) if (!seen.has(r.number) && r.plants > 0) notSeen.add(r.number);
  const up = (a: number, b: number) => a - b;
  return { seen: [...seen].sort(up), notSeen: [...notSeen].sort(up), plants, of };
}

/** Row numbers as people write them: 3 to 7 as "3–7". */
export function numbers(list: readonly number[]): string {
  const out: string[] = [];
  for (let i = 0; i < list.length; ) {
    let end = i;
    while (list[end + 1] === list[end]! + 1) end++;
    out.push(end > i + 1 ? `${list[i]}–${list[end]}` : list.slice(i, end + 1).join(", "));
    i = end + 1;
  }
  return out.join(", ");
}

/** The times a visit holds; a break or an end never lies before them, whatever the phone's clock says. */
export function notBefore(p: VisitProperties, now: number): string {
  const times = [p.started_at, ...(p.pauses ?? []).flatMap((b) => [b.from, ...(b.to ? [b.to] : [])])].map((t) => Date.parse(t));
  return new Date(Math.max(now, ...times.filter(Number.isFinite))).toISOString();
}

export const isPaused = (p: VisitProperties) => (p.pauses ?? []).some((b) => !b.to);

export function paused(p: VisitProperties, now: number): VisitProperties {
  return isPaused(p) ? p : { ...p, state: "paused", pauses: [...(p.pauses ?? []), { from: notBefore(p, now) }] };
}

export function resumed(p: VisitProperties, now: number): VisitProperties {
  const to = notBefore(p, now);
  const { pauses, ...rest } = p;
  return { ...rest, state: "open", ...(pauses ? { pauses: pauses.map((b) => (b.to ? b : { ...b, to })) } : {}) };
}

export function closed(p: VisitProperties, now: number): VisitProperties {
  return { ...resumed(p, now), state: "closed", ended_at: notBefore(p, now) };
}
