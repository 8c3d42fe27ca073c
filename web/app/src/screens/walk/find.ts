import { named, t } from "../../i18n";
import { type Cause, causes, type Feature, type FindProperties, type Severity } from "../../model/kinds";
import type { LonLat } from "../../rowmap/rowplace";

/** The severities a scout may name, in the order of the buttons. */
export const severities: readonly Severity[] = [0, 1, 2, 3];

/** How the place of a find was come by; the plant outranks the fix. */
export type PlacedBy = "plant" | "fix" | "tap";

/** A position of the device, kept as it came. */
export interface Fix {
  readonly at: LonLat;
  readonly accuracyM: number;
  /** Milliseconds since 1970 at which the device took it. */
  readonly takenAt: number;
}

export interface FindForm {
  /** Null until the scout has said: no cause is proposed to somebody who looks. */
  readonly cause: Cause | null;
  readonly severity: Severity;
  readonly row: number;
  readonly plant: number;
  readonly words: string;
}

export const firstForm: FindForm = { cause: null, severity: 1, row: 1, plant: 1, words: "" };

/** The next form repeats everything but the scout's words, which belong to one plant. */
export function afterSave(form: FindForm): FindForm {
  return { ...form, words: "" };
}

/** A step of a counter, held between 1 and the last number there is; 0 means the last is not known. */
export function step(value: number, by: number, last: number): number {
  const next = Math.max(1, Math.round(value) + by);
  return last > 0 ? Math.min(next, last) : next;
}

/** Where a find is put, and the record's own words for how. */
export interface Place {
  readonly at: LonLat;
  readonly by: PlacedBy;
}

/**
 * The place of a find: a tap on the map was meant, so it comes first; then the
 * plant in its row; then the device's fix. Null when there is none of them.
 */
export function placeOf(tap: LonLat | null, plant: LonLat | null, fix: Fix | null): Place | null {
  if (tap) return { at: tap, by: "tap" };
  if (plant) return { at: plant, by: "plant" };
  if (fix) return { at: fix.at, by: "fix" };
  return null;
}

/** A fix older than this says little about where somebody walking stands now: 30 s at 1 m/s is ten rows. */
export const staleFixS = 30;

/** Seconds since the fix was taken, never negative: device clocks step back. */
export function fixAgeS(fix: Fix, now: number): number {
  return Math.max(0, Math.round((now - fix.takenAt) / 100) / 10);
}

/** A find as this page sends it: with the way its place was come by, and the device's own fix beside it. */
export type SentFind = FindProperties & { placed_by: PlacedBy; fix?: LonLat };

/**
 * The record to send. The fix is kept beside the plant's place whenever there
 * is one, so that both stay known.
 */
export function findFeature(o: {
  id: string;
  block: string;
  form: FindForm;
  cause: Cause;
  place: Place;
  fix: Fix | null;
  now: number;
  visit: string | null;
  /** Nobody has said which row: the find stays near its place until somebody does. */
  unplaced?: boolean;
  /** Ids. */
  photos?: readonly string[];
}): Feature<"finds"> {
  const words = o.form.words.trim();
  const properties: SentFind = {
    block: o.block,
    ...(o.unplaced ? {} : { row: o.form.row, plant: o.form.plant }),
    cause: o.cause,
    state: "suspected",
    severity: o.form.severity,
    found_at: new Date(o.now).toISOString(),
    placed_by: o.place.by,
    ...(words ? { words } : {}),
    ...(o.visit ? { visit: o.visit } : {}),
    ...(o.photos?.length ? { photos: [...o.photos] } : {}),
    ...(o.fix
      ? { accuracy_m: Math.round(o.fix.accuracyM * 10) / 10, fix_age_s: fixAgeS(o.fix, o.now), fix: o.fix.at }
      : {}),
  };
  return { type: "Feature", id: o.id, geometry: { type: "Point", coordinates: o.place.at }, properties };
}

/** The little of window.localStorage that remembering needs. */
export interface Memory {
  getItem(key: string): string | null;
  setItem(key: string, value: string): void;
}

const memoryKey = (farm: string, block: string) => `caneward.walk.${farm}.${block}`;

/** Keeps the last values of a block; a full or forbidden storage only loses the convenience. */
export function remember(memory: Memory, farm: string, block: string, form: FindForm): void {
  try {
    memory.setItem(memoryKey(farm, block), JSON.stringify(afterSave(form)));
  } catch {
    return;
  }
}

/** The last values of a block, or the first form; what cannot be read counts as nothing. */
export function recall(memory: Memory, farm: string, block: string): FindForm {
  let kept: unknown;
  try {
    kept = JSON.parse(memory.getItem(memoryKey(farm, block)) ?? "null");
  } catch {
    return firstForm;
  }
  if (typeof kept !== "object" || kept === null) return firstForm;
  const k = kept as Record<string, unknown>;
  const count = (v: unknown) => (typeof v === "number" && Number.isInteger(v) && v >= 1 ? v : 1);
  return {
    cause: causes.find((c) => c === k["cause"]) ?? firstForm.cause,
    severity: severities.find((s) => s === k["severity"]) ?? firstForm.severity,
    row: count(k["row"]),
    plant: count(k["plant"]),
    words: "",
  };
}

/** What a find is, in words: nobody but an adviser or a laboratory says that it is a disease, so it looks like one until then. */
export function looks({ cause, state }: { readonly cause: string; readonly state: string }): string {
  const name = named("walk-cause-", cause);
  const said = cause === "other" || state === "confirmed" || state === "refuted";
  return said ? name : t("walk-looks-like", { cause: name });
}
