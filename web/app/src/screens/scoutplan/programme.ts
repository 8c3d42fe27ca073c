import type { Method, OwnProgramme, Programme, ProgrammeEdits } from "../../api/scouting";

export const rules = ["level", "any", "none"] as const;
/** From when on a count matters: from a level on, from the first hit on, or nobody knows. */
export type Rule = (typeof rules)[number];

/** A programme as it is typed: a share's level in percent, a mean's as it is. */
export interface ProgrammeForm {
  readonly id: string;
  readonly title: string;
  readonly cause: string;
  readonly stage: string;
  readonly what: string;
  readonly unit: string;
  readonly sample: string;
  readonly look: string;
  readonly sites: string;
  readonly method: Method;
  readonly rule: Rule;
  readonly level: string;
  readonly atLeast: boolean;
  readonly sides: "1" | "2";
  readonly sureness: string;
  readonly note: string;
  readonly source: string;
}

export const emptyForm: ProgrammeForm = {
  id: "",
  title: "",
  cause: "",
  stage: "",
  what: "",
  unit: "",
  sample: "",
  look: "",
  sites: "",
  method: "binomial",
  rule: "level",
  level: "",
  atLeast: false,
  sides: "2",
  sureness: "95",
  note: "",
  source: "",
};

// Percent of a share in as many digits as people type: 0.07 is 7, not 7.000000000000001.
const percent = (share: number) => String(Number((share * 100).toPrecision(12)));
const shown = (n: number) => (n > 0 ? String(n) : "");

export function formOf(p: Programme): ProgrammeForm {
  return {
    id: p.id,
    title: p.title,
    cause: p.cause,
    stage: p.stage,
    what: p.what,
    unit: p.unit,
    sample: p.sample,
    look: shown(p.look),
    sites: shown(p.sites),
    method: p.method,
    rule: p.any ? "any" : p.level === null ? "none" : "level",
    level: p.level === null ? "" : p.method === "binomial" ? percent(p.level) : String(p.level),
    atLeast: p.at_least,
    sides: p.sides === 1 ? "1" : "2",
    sureness: percent(p.sureness),
    note: p.note,
    source: p.source,
  };
}

type Field = keyof ProgrammeForm;

export type ReadProgramme = { readonly ok: true; readonly programme: OwnProgramme } | { readonly ok: false; readonly missing: readonly Field[]; readonly noNumber: readonly Field[] };

const needed: readonly Field[] = ["title", "cause", "what", "unit"];

/** Reads what was typed; how large a number may be, the server knows. */
export function readForm(f: ProgrammeForm): ReadProgramme {
  const level = f.rule === "level";
  const missing = [...needed, ...(level ? (["level"] as const) : [])].filter((k) => String(f[k]).trim() === "");
  const numbers: readonly Field[] = ["look", "sites", "sureness", ...(level ? (["level"] as const) : [])];
  const noNumber = numbers.filter((k) => !Number.isFinite(figure(f[k] as string)));
  if (missing.length + noNumber.length > 0) return { ok: false, missing, noNumber };
  const { rule: _, atLeast, level: typed, ...rest } = f;
  const value = f.method === "binomial" ? figure(typed) / 100 : figure(typed);
  return {
    ok: true,
    programme: {
      ...rest,
      look: figure(f.look),
      sites: figure(f.sites),
      sureness: figure(f.sureness) / 100,
      sides: f.sides === "1" ? 1 : 2,
      any: f.rule === "any",
      at_least: level && atLeast,
      ...(level ? { level: value } : {}),
    },
  };
}

const figure = (text: string) => Number(text.trim().replace(",", "."));

/** The farm's list with a programme of its own, or in the stead of a built-in one, and where it stands there. */
export function withProgramme(edits: ProgrammeEdits, p: OwnProgramme): { edits: ProgrammeEdits; index: number } {
  const list = [...(edits.programmes ?? [])];
  const at = list.findIndex((own) => own.id === p.id);
  const index = at < 0 ? list.length : at;
  list[index] = p;
  return { edits: { ...edits, programmes: list }, index };
}

/** The farm's list without its own words for a programme: a built-in one is as it came again. */
export function withoutProgramme(edits: ProgrammeEdits, id: string): ProgrammeEdits {
  return { ...edits, programmes: (edits.programmes ?? []).filter((p) => p.id !== id) };
}

export function using(edits: ProgrammeEdits, id: string, use: boolean): ProgrammeEdits {
  const others = (edits.hidden ?? []).filter((h) => h !== id);
  return { ...edits, hidden: use ? others : [...others, id] };
}

const longestId = 40;

/** A name as an id: lower-case letters, digits and hyphens, beginning with a letter; empty where nothing is left. */
export function idOf(name: string): string {
  return name
    .normalize("NFD")
    .replace(/\p{M}/gu, "")
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, "-")
    .replace(/^[^a-z]+/, "")
    .slice(0, longestId)
    .replace(/-+$/, "");
}

/** An id for a new programme that none of the others has. */
export function newId(title: string, taken: readonly string[]): string {
  const base = idOf(title) || "programme";
  for (let n = 1; ; n++) {
    const id = n === 1 ? base : `${base.slice(0, longestId - 4)}-${n}`;
    if (!taken.includes(id)) return id;
  }
}
