import type { PlantAt, Stored } from "../model/kinds";
import type { MarkLook } from "../map/marks";
import type { Stretch } from "./rowplace";

/** How a place stands: with its plant, without one, with one set anew, or cleared by a removal. */
export type Standing = "plant" | "missing" | "replanted" | "removed";

export interface FindAt extends MarkLook {
  readonly id: string;
}

/** What is known of the plants of one block. */
export interface PlantMarks {
  standing(row: number, plant: number): Standing;
  /** The day a plant was set anew; undefined for the first planting. */
  replantedOn(row: number, plant: number): string | undefined;
  removedOn(row: number, plant: number): string | undefined;
  /** Finds on a plant, the gravest last: that one is drawn. */
  finds(row: number, plant: number): readonly FindAt[];
  /** Whether somebody looked at it; null when nothing says what was looked at. */
  seen(row: number, plant: number): boolean | null;
  skipped(row: number): boolean;
}

// Rows go to 10,000 and plants to 100,000 (the server's bounds).
const rowStep = 100_001;

/** One number for an address; addresses of one block never share it. */
export const plantId = (row: number, plant: number) => row * rowStep + plant;
export const plantOf = (id: number): PlantAt => ({ row: Math.floor(id / rowStep), plant: id % rowStep });

export interface MarkSources {
  readonly rows: readonly Stored<"rows">[];
  readonly finds: readonly Stored<"finds">[];
  readonly removals: readonly Stored<"removals">[];
  /** Visits that say what was looked at; none leaves `seen` unknown. */
  readonly visits: readonly Stored<"visits">[];
}

const gravity: Record<string, number> = { refuted: 0, suspected: 1, sampled: 2, confirmed: 3 };

/** Gathers what the records of one block say of its plants. */
export function plantMarks(block: string, { rows, finds, removals, visits }: MarkSources): PlantMarks {
  const missing = new Set<number>();
  const replanted = new Map<number, string>();
  const removed = new Map<number, string>();
  const found = new Map<number, FindAt[]>();
  const skipped = new Set<number>();
  for (const { feature } of rows) {
    const p = feature.properties;
    if (p.block !== block) continue;
    if (p.skipped) skipped.add(p.number);
    for (const plant of p.missing ?? []) missing.add(plantId(p.number, plant));
    for (const r of p.replanted ?? []) latest(replanted, plantId(p.number, r.plant), r.on);
  }
  for (const { feature } of removals) {
    const p = feature.properties;
    if (p.block === block && p.done_on) for (const at of p.plants ?? []) latest(removed, plantId(at.row, at.plant), p.done_on);
  }
  for (const { id, feature } of finds) {
    const p = feature.properties;
    if (p.block !== block || p.row === undefined || p.plant === undefined) continue;
    const key = plantId(p.row, p.plant);
    const list = found.get(key) ?? [];
    list.push({ id, cause: p.cause, state: p.state, severity: p.severity });
    found.set(key, list);
  }
  for (const list of found.values()) list.sort((a, b) => (gravity[a.state] ?? 0) - (gravity[b.state] ?? 0));
  const seen = seenIn(visits.filter((v) => v.feature.properties.block === block));
  return {
    standing(row, plant) {
      const key = plantId(row, plant);
      const [gone, anew] = [removed.get(key), replanted.get(key)];
      if (gone && !(anew && anew >= gone)) return "removed";
      if (missing.has(key)) return "missing";
      return anew ? "replanted" : "plant";
    },
    replantedOn: (row, plant) => replanted.get(plantId(row, plant)),
    removedOn: (row, plant) => removed.get(plantId(row, plant)),
    finds: (row, plant) => found.get(plantId(row, plant)) ?? [],
    seen,
    skipped: (row) => skipped.has(row),
  };
}

function latest(of: Map<number, string>, key: number, on: string): void {
  const was = of.get(key);
  if (was === undefined || on > was) of.set(key, on);
}

function seenIn(visits: readonly Stored<"visits">[]): (row: number, plant: number) => boolean | null {
  const said = visits.flatMap((v) => v.feature.properties.inspected ?? []);
  if (said.length === 0) return () => null;
  if (said.some((s) => "rows" in s)) return () => true;
  const byRow = new Map<number, { from: number; to: number }[]>();
  for (const s of said) {
    if ("rows" in s) continue;
    const list = byRow.get(s.row) ?? [];
    list.push({ from: s.from ?? 1, to: s.to ?? Infinity });
    byRow.set(s.row, list);
  }
  return (row, plant) => (byRow.get(row) ?? []).some((s) => plant >= s.from && plant <= s.to);
}

/** What a batch of taps makes of a row: its numbers without a plant, and those set anew. */
export interface RowChange {
  readonly missing: number[];
  readonly replanted: { plant: number; on: string }[];
}

/**
 * The row after plants were marked. "missing" turns a place without a plant
 * back into one with; "replanted" puts a plant there from that day on.
 */
export function markRow(
  p: { readonly missing?: readonly number[]; readonly replanted?: readonly { readonly plant: number; readonly on: string }[] },
  what: "missing" | "replanted",
  plants: readonly number[],
  on: string,
): RowChange {
  const missing = new Set(p.missing);
  const replanted = [...(p.replanted ?? [])];
  for (const plant of plants) {
    if (what === "missing") {
      if (!missing.delete(plant)) missing.add(plant);
      continue;
    }
    missing.delete(plant);
    if (!replanted.some((r) => r.plant === plant && r.on === on)) replanted.push({ plant, on });
  }
  return {
    missing: [...missing].sort((a, b) => a - b),
    replanted: replanted.sort((a, b) => a.plant - b.plant || a.on.localeCompare(b.on)),
  };
}

/** What a visit says it looked at, with a further stretch; "all" already holds it. */
export function withStretch<S extends object>(said: readonly S[], add: Stretch): (S | Stretch)[] {
  return said.some((s) => "rows" in s) ? [...said] : [...said, add];
}
