import type { ImportKind, Proposed, Taken, Way } from "../../../api/imports";
import { type Cause, type SurroundingsKind, surroundingsKinds } from "../../../model/kinds";

/** What the person says about one shape of a file. */
export interface Choice {
  readonly as: Way | "leave";
  readonly name: string;
  /** Of surroundings. */
  readonly kind: SurroundingsKind | "";
  /** Of rows: the number as typed. */
  readonly row: string;
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
    row: rowNumber(shape),
  };
}

/** A row's number as the file gives it, else the only whole number in its name. */
function rowNumber(shape: Proposed): string {
  const given = shape.feature.properties?.["number"];
  if (typeof given === "number") return String(given);
  const inName = shape.name.match(/\d+/g) ?? [];
  return inName.length === 1 ? String(Number(inName[0])) : "";
}

/** The number typed for a row; null when it is none. */
export function typedRow(text: string): number | null {
  return /^\s*[1-9]\d{0,5}\s*$/.test(text) ? Number(text) : null;
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

/** What is missing, and of which shape first; 0 where no shape is chosen at all. */
export interface Lack {
  readonly what: "none" | "name" | "kind" | "on" | "block" | "row";
  readonly number: number;
}

/** What still keeps the chosen shapes from being stored. */
export function lacks(kind: ImportKind, shapes: readonly Proposed[], choices: Choices, all: ForAll): Lack | null {
  let taken = 0;
  for (const s of shapes) {
    const choice = choices.get(s.number);
    if (!choice || !isTaken(choice)) continue;
    taken++;
    const what = lackOf(kind, s, choice, all);
    if (what) return { what, number: s.number };
  }
  return taken === 0 ? { what: "none", number: 0 } : null;
}

function lackOf(kind: ImportKind, shape: Proposed, choice: Choice, all: ForAll): Lack["what"] | null {
  switch (kind) {
    case "blocks":
      return choice.name.trim() ? null : "name";
    case "surroundings":
      return choice.kind || all.kind ? null : "kind";
    case "finds":
      return said(shape, "found_at") || all.on ? null : "on";
    case "rows":
      if (!said(shape, "block") && !all.block) return "block";
      return typedRow(choice.row) === null ? "row" : null;
    case "tracks":
      return null;
  }
}

/** Whether the file itself gives a property. */
export function said(shape: Proposed, property: string): boolean {
  const v = shape.feature.properties?.[property];
  return v !== undefined && v !== null && v !== "";
}

// What the server says of a find whose file names no cause; it is then "other".
const causeNotSaid = "intake-cause-not-said";

function saysCause(shape: Proposed): boolean {
  return said(shape, "cause") && !shape.said?.some((s) => s.key === causeNotSaid);
}

// Noon in Greenwich is the same day from Hawaii to Japan.
function foundAt(all: ForAll): string {
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
    if (all.cause && !saysCause(shape)) properties["cause"] = all.cause;
    if (!said(shape, "found_at")) properties["found_at"] = foundAt(all);
  }
  if (kind === "rows") {
    if (!said(shape, "block")) properties["block"] = all.block;
    const row = typedRow(choice.row);
    if (row !== shape.feature.properties?.["number"]) properties["number"] = row;
  }
  return properties;
}
