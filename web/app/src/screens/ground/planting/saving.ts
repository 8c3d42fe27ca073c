import { Problem } from "../../../api/problem";
import type { t as texts } from "../../../i18n";
import type { Farm } from "../../../model/farm";
import { feature, type PlantAt, type Stored, type VisitProperties } from "../../../model/kinds";
import { uuid7 } from "../../../model/uuid7";
import { markRow, withStretch } from "../../../rowmap/marks";
import { type DrawnRow, plantPlace, type Stretch } from "../../../rowmap/rowplace";

/** Takes back what was saved. */
export type Undo = () => Promise<void>;

/** The plants of each row, rows upward. */
export function byRow(plants: readonly PlantAt[]): [number, number[]][] {
  const rows = new Map<number, number[]>();
  for (const p of plants) rows.set(p.row, [...(rows.get(p.row) ?? []), p.plant]);
  return [...rows].sort((a, b) => a[0] - b[0]);
}

/**
 * Writes marks into the rows' records, row after row, each on the revision it
 * was seen in. `saved` hears of each row that was taken, so that a stop half
 * way leaves the others marked.
 */
export async function saveMarks(
  farm: Farm,
  block: string,
  what: "missing" | "replanted",
  plants: readonly PlantAt[],
  on: string,
  t: typeof texts,
  saved: (row: number) => void,
): Promise<Undo> {
  const done: { before: Stored<"rows">; after: Stored<"rows"> }[] = [];
  for (const [row, numbers] of byRow(plants)) {
    const before = rowRecord(farm, block, row, numbers);
    if (!before) throw new Problem({ status: 409, title: t("plants-no-row", { row: String(row) }) });
    const p = before.feature.properties;
    const { missing, replanted } = markRow(p, what, numbers, on);
    const properties = { ...p, missing, ...(replanted.length > 0 ? { replanted } : {}) };
    try {
      done.push({ before, after: await farm.put("rows", { ...before.feature, properties }, before) });
    } catch (thrown) {
      if (!(thrown instanceof Problem && thrown.stale)) throw thrown;
      await farm.load("rows", true);
      throw new Problem({ status: 412, title: t("plants-stale", { row: String(row) }) });
    }
    saved(row);
  }
  return async () => {
    for (const { before, after } of done) await farm.put("rows", before.feature, after);
  };
}

// A number may stand on more than one record where rows were brought in: the
// one that has the plant takes the mark.
function rowRecord(farm: Farm, block: string, row: number, plants: readonly number[]): Stored<"rows"> | undefined {
  const all = farm.records("rows").get().list.filter((r) => r.feature.properties.block === block && r.feature.properties.number === row);
  const last = Math.max(...plants);
  return all.find((r) => (r.feature.properties.plants ?? 0) >= last || r.feature.properties.places?.some((run) => last >= run.from && last < run.from + run.plants)) ?? all[0];
}

export interface Removed {
  readonly id: string;
  readonly on: string;
  readonly roots: boolean;
  readonly disposal: string;
}

/** Writes down that plants were taken out. */
export async function saveRemoval(farm: Farm, block: Stored<"blocks">, rows: readonly DrawnRow[], plants: readonly PlantAt[], how: Removed): Promise<Undo> {
  const spacing = block.feature.properties.plant_spacing_m ?? null;
  const coordinates = plants.flatMap((p) => {
    const at = plantPlace(rows, p.row, p.plant, spacing);
    return at ? [at] : [];
  });
  // A shape that leaves plants out would read as if they still stood.
  const shape = coordinates.length === plants.length ? ({ type: "MultiPoint", coordinates } as const) : null;
  const properties = {
    block: block.id,
    plants: [...plants],
    roots_out: how.roots,
    done_on: how.on,
    ...(how.disposal.trim() ? { disposal: how.disposal.trim() } : {}),
  };
  const made = await farm.put("removals", feature<"removals">(how.id, shape, properties), null);
  return async () => {
    await farm.remove(made);
  };
}

/** Adds a stretch to what a visit looked at, or makes a visit of it. */
export async function saveSeen(farm: Farm, block: string, visit: Stored<"visits"> | null, stretch: Stretch): Promise<Undo> {
  if (!visit) {
    const now = new Date().toISOString();
    const properties: VisitProperties = { block, purpose: "scouting", started_at: now, ended_at: now, inspected: [stretch] };
    const made = await farm.put("visits", feature<"visits">(uuid7(), null, properties), null);
    return async () => {
      await farm.remove(made);
    };
  }
  const p = visit.feature.properties;
  const after = await farm.put("visits", { ...visit.feature, properties: { ...p, inspected: withStretch(p.inspected ?? [], { ...stretch }) } }, visit);
  return async () => {
    await farm.put("visits", visit.feature, after);
  };
}
