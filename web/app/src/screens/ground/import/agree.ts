import type { ImportKind, Proposed, Taken, Way } from "../../../api/imports";
import { type Cause, type SurroundingsKind, surroundingsKinds } from "../../../model/kinds";

/** What the person says about one shape of a file. */
export interface Choice {
  readonly as: Way | "leave";
  readonly name: string;
  /** Of surroundings. */
  readonly kind: SurroundingsKind | "";
}

export type Choices = ReadonlyMap<number, Choice>;

/** What is said once for all shapes of a file. */
export interface ForAll {
  /** Of surroundings that say nothing themselves. */
  readonly kind: SurroundingsKind | "";
  /** Of finds that say nothing themselves. */
  readonly cause: Cause | "";
  /** The day finds were found, YYYY-MM-DD, where the file gives no time. */
  readonly on: string;
  /** Of rows that say nothing themselves: a block's id. */
  readonly block: string;
}

export const nothingForAll: ForAll = { kind: "", cause: "", on: "", block: "" };

/** Where only one way makes sense it is chosen at once; what the person must decide, or has on record already, is left. */
export function firstChoice(shape: Proposed): Choice {
  const decided = shape.state === "ready" || shape.state === "repaired";
  const kind = shape.feature.properties?.["kind"];
  return {
    as: (decided && shape.choices[0]) || "leave",
    name: shape.name,
    kind: surroundingsKinds.find((k) => k === kind) ?? "",
  };
}

export function firstChoices(shapes: readonly Proposed[]): Choices {
  return new Map(shapes.map((s) => [s.number, firstChoice(s)]));
}

export const filters = ["all", "decide", "repaired", "refused", "present"] as const;
export type Filter = (typeof filters)[number];

export function meets(shape: Proposed, filter: Filter): boolean {
  return filter === "all" || shape.state === (filter === "decide" ? "ask" : filter);
}

export interface Tally extends Readonly<Record<Filter, number>> {
  readonly ready: number;
  readonly taken: number;
}

/** How many shapes there are of each sort, by what the file is and by what was chosen. */
export function tally(shapes: readonly Proposed[], choices: Choices): Tally {
  const n = { all: shapes.length, decide: 0, repaired: 0, refused: 0, present: 0, ready: 0, taken: 0 };
  for (const s of shapes) {
    n[s.state === "ask" ? "decide" : s.state]++;
    if (isTaken(choices.get(s.number))) n.taken++;
  }
  return n;
}

export function isTaken(choice: Choice | undefined): boolean {
  return choice !== undefined && choice.as !== "leave";
}

/** Takes everything that needs no decision; what was decided stays. */
export function takeReady(shapes: readonly Proposed[], choices: Choices): Choices {
  const next = new Map(choices);
  for (const s of shapes) {
    const now = choices.get(s.number);
    if (now && !isTaken(now)) next.set(s.number, { ...now, as: firstChoice(s).as });
  }
  return next;
}

export function leaveAll(choices: Choices): Choices {
  return new Map([...choices].map(([number, c]) => [number, { ...c, as: "leave" as const }]));
}

export type Lack = "none" | "name" | "kind" | "cause" | "on" | "block";

/** What still keeps the chosen shapes from being stored. */
export function lacks(kind: ImportKind, shapes: readonly Proposed[], choices: Choices, all: ForAll): Lack | null {
  const taken = shapes.filter((s) => isTaken(choices.get(s.number)));
  if (taken.length === 0) return "none";
  const without = (says: (s: Proposed, c: Choice) => unknown) => taken.some((s) => !says(s, choices.get(s.number)!));
  switch (kind) {
    case "blocks":
      return without((_, c) => c.name.trim()) ? "name" : null;
    case "surroundings":
      return without((_, c) => c.kind || all.kind) ? "kind" : null;
    case "finds":
      if (without((s) => said(s, "cause") || all.cause)) return "cause";
      return without((s) => foundAt(s, all)) ? "on" : null;
    case "rows":
      return without((s) => said(s, "block") || all.block) ? "block" : null;
    case "tracks":
      return null;
  }
}

/** Whether the file itself gives a property. */
export function said(shape: Proposed, property: string): boolean {
  const v = shape.feature.properties?.[property];
  return v !== undefined && v !== null && v !== "";
}

// Noon in Greenwich is the same day from Hawaii to Japan.
function foundAt(shape: Proposed, all: ForAll): unknown {
  for (const property of ["found_at", "time"]) if (said(shape, property)) return shape.feature.properties?.[property];
  return all.on && `${all.on}T12:00:00Z`;
}

/**
 * The chosen shapes with what was said about them. What the file says already
 * is not sent again. Shapes from a file are drawn by somebody else: surroundings
 * say so.
 */
export function agreed(kind: ImportKind, shapes: readonly Proposed[], choices: Choices, all: ForAll): Taken[] {
  const out: Taken[] = [];
  for (const s of shapes) {
    const c = choices.get(s.number);
    if (!c || c.as === "leave") continue;
    const properties = set(kind, s, c, all);
    out.push({
      number: s.number,
      ...(c.as === s.choices[0] ? {} : { as: c.as }),
      ...(Object.keys(properties).length > 0 ? { properties } : {}),
    });
  }
  return out;
}

function set(kind: ImportKind, shape: Proposed, choice: Choice, all: ForAll): Record<string, unknown> {
  const name = choice.name.trim();
  const properties: Record<string, unknown> = name && name !== shape.name ? { name } : {};
  if (kind === "surroundings") {
    properties["kind"] = choice.kind || all.kind;
    if (!said(shape, "drawn_by_eye")) properties["drawn_by_eye"] = true;
  }
  if (kind === "finds") {
    if (!said(shape, "cause")) properties["cause"] = all.cause;
    // Nobody has confirmed a pin of a file on this farm.
    if (!said(shape, "state")) properties["state"] = "suspected";
    if (!said(shape, "found_at")) properties["found_at"] = foundAt(shape, all);
  }
  if (kind === "rows" && !said(shape, "block")) properties["block"] = all.block;
  return properties;
}
