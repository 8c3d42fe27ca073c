import { typedNumber } from "../../units/typed";
import { type LengthUnit, metresPer, metresPerSecond, patterns, type SpeedUnit } from "./draft";

/** One thing a label says: where it stands in the record, and how it is typed. */
export interface LabelField {
  readonly path: string;
  readonly kind: "text" | "number" | "whole" | "check" | "choice" | "length" | "speed" | "date" | "day" | "notes" | "several";
  readonly choices?: readonly string[];
  readonly units?: readonly LengthUnit[];
}

export interface LabelList {
  readonly path: string;
  readonly fields: readonly LabelField[];
}

export const amounts = ["oz_wt", "lb", "g", "kg", "fl_oz", "pt", "qt", "gal", "mL", "L"] as const;
export const contents = ["percent", "lb_per_gal", "g_per_L", "g_per_kg"] as const;
export const kindsAround = ["water", "well", "dwelling", "school", "hives", "sensitive-crop", "wild-brambles", "road", "boundary", "other"] as const;
export const dropletClasses = ["extremely-fine", "very-fine", "fine", "medium", "coarse", "very-coarse", "extremely-coarse", "ultra-coarse"] as const;
export const forms = ["water-soluble-bag", "conditioner", "wettable-powder", "dry-granule", "flowable", "emulsifiable", "surfactant", "solution"] as const;
export const pers = ["acre", "treated-acre", "ha", "treated-ha", "100gal", "100L", "1000ft", "1000m", "plant", "spray"] as const;

/** What stands once on a label, in the order people read one. */
export const labelFields: readonly LabelField[] = [
  { path: "name", kind: "text" },
  { path: "registration", kind: "text" },
  { path: "restricted", kind: "check" },
  { path: "form", kind: "choice", choices: forms },
  { path: "phi_days", kind: "whole" },
  { path: "rei_hours", kind: "number" },
  { path: "interval_days", kind: "whole" },
  { path: "bloom", kind: "choice", choices: ["never", "evening", "any"] },
  { path: "droplets_finest", kind: "choice", choices: dropletClasses },
  { path: "wind.least_m_s", kind: "speed" },
  { path: "wind.most_m_s", kind: "speed" },
  { path: "valid_from", kind: "date" },
  { path: "valid_until", kind: "date" },
  { path: "season.from", kind: "day" },
  { path: "season.to", kind: "day" },
  { path: "carrier_least.value", kind: "number" },
  { path: "carrier_least.unit", kind: "choice", choices: ["gal", "L"] },
  { path: "carrier_least.per", kind: "choice", choices: ["acre", "ha"] },
  { path: "density.value", kind: "number" },
  { path: "density.unit", kind: "choice", choices: ["lb_per_gal", "g_per_L", "kg_per_L"] },
  { path: "note", kind: "notes" },
];

/** What a label may say many times. */
export const labelLists: readonly LabelList[] = [
  {
    path: "ingredients",
    fields: [
      { path: "name", kind: "text" },
      { path: "content.value", kind: "number" },
      { path: "content.unit", kind: "choice", choices: contents },
      { path: "code.frac", kind: "text" },
      { path: "code.irac", kind: "text" },
      { path: "code.hrac", kind: "text" },
    ],
  },
  {
    path: "rates",
    fields: [
      { path: "value", kind: "number" },
      { path: "most", kind: "number" },
      { path: "unit", kind: "choice", choices: [...amounts, "percent"] },
      { path: "per", kind: "choice", choices: pers },
      { path: "of", kind: "text" },
      { path: "crop", kind: "text" },
      { path: "target", kind: "text" },
      { path: "patterns", kind: "several", choices: patterns },
      { path: "carrier_least.value", kind: "number" },
      { path: "carrier_least.unit", kind: "choice", choices: ["gal", "L"] },
      { path: "carrier_least.per", kind: "choice", choices: ["acre", "ha"] },
    ],
  },
  {
    path: "caps",
    fields: [
      { path: "what", kind: "choice", choices: ["uses", "product", "ingredient"] },
      { path: "value", kind: "number" },
      { path: "unit", kind: "choice", choices: amounts },
      { path: "area", kind: "choice", choices: ["acre", "ha"] },
      { path: "ingredient", kind: "text" },
      { path: "per", kind: "choice", choices: ["year", "season", "12-months"] },
      { path: "starts", kind: "day" },
    ],
  },
  {
    path: "reentry",
    fields: [
      { path: "hours", kind: "number" },
      { path: "days", kind: "whole" },
      { path: "until", kind: "text" },
      { path: "crop", kind: "text" },
      { path: "task", kind: "text" },
    ],
  },
  { path: "phi", fields: [{ path: "days", kind: "whole" }, { path: "crop", kind: "text" }] },
  {
    path: "setbacks",
    fields: [
      { path: "from", kind: "choice", choices: kindsAround },
      { path: "distance_m", kind: "length", units: ["ft", "m"] },
      { path: "side", kind: "choice", choices: ["all", "downwind"] },
      { path: "half_angle_deg", kind: "number" },
      { path: "from_edge", kind: "choice", choices: ["treated-edge", "boom-end", "mixing-place"] },
      { path: "to_edge", kind: "choice", choices: ["water-edge", "top-of-bank"] },
      { path: "bank_m", kind: "length", units: ["ft", "m"] },
      { path: "strip", kind: "check" },
      { path: "condition", kind: "text" },
    ],
  },
];

/** A field as it stands in the form: text, a tick, or a figure with the unit beside it. */
export type Value = string | boolean | { readonly text: string; readonly unit: string };
export type Values = Readonly<Record<string, Value>>;

/** Where an entry of a list carries what the record held of it, so that what the form does not know goes with it. */
const heldAt = "held";

export interface LabelForm {
  readonly one: Values;
  readonly many: Readonly<Record<string, readonly Values[]>>;
}

export interface LabelFault {
  readonly field: string;
  readonly key: "number" | "name";
}

type Members = Record<string, unknown>;

const at = (from: unknown, path: string): unknown => path.split(".").reduce<unknown>((o, key) => (o && typeof o === "object" ? (o as Members)[key] : undefined), from);

function set(into: Members, path: string, value: unknown): void {
  const keys = path.split(".");
  let o = into;
  for (const key of keys.slice(0, -1)) {
    const next = o[key];
    o[key] = next && typeof next === "object" ? { ...(next as Members) } : {};
    o = o[key] as Members;
  }
  o[keys.at(-1) ?? ""] = value;
}

export function emptyValues(fields: readonly LabelField[], us: boolean): Values {
  return Object.fromEntries(fields.map((f) => [f.path, f.kind === "check" ? false : f.kind === "length" ? { text: "", unit: us ? "ft" : "m" } : f.kind === "speed" ? { text: "", unit: us ? "mph" : "km/h" } : ""]));
}

/** A figure in one of the units people use, exact where it was typed in feet. */
function shownIn(v: number, per: number): string {
  const n = v / per;
  return String(Math.abs(n - Math.round(n)) < 1e-9 ? Math.round(n) : Number(n.toPrecision(9)));
}

function valueOf(f: LabelField, raw: unknown, us: boolean): Value {
  if (f.kind === "check") return raw === true;
  if (f.kind === "several") return Array.isArray(raw) ? raw.join(",") : "";
  if (f.kind === "length" || f.kind === "speed") {
    const unit = f.kind === "length" ? (us ? "ft" : "m") : us ? "mph" : "km/h";
    const per = f.kind === "length" ? metresPer[unit as LengthUnit] : metresPerSecond[unit as SpeedUnit];
    return { text: typeof raw === "number" ? shownIn(raw, per) : "", unit };
  }
  return typeof raw === "string" || typeof raw === "number" ? String(raw) : "";
}

const valuesOf = (fields: readonly LabelField[], from: unknown, us: boolean): Values => Object.fromEntries(fields.map((f) => [f.path, valueOf(f, at(from, f.path), us)]));

/** Fills the form from a label on record. Amounts typed as text, such as "20 %", become content. */
export function readLabel(properties: Members, us: boolean): LabelForm {
  const many: Record<string, Values[]> = {};
  for (const list of labelLists) {
    many[list.path] = ((properties[list.path] as unknown[] | undefined) ?? []).map((entry) => {
      const values: Values = { ...valuesOf(list.fields, entry, us), [heldAt]: JSON.stringify(entry) };
      const percent = /^\s*(\d+(?:\.\d+)?)\s*%\s*$/.exec(String(at(entry, "amount") ?? ""));
      return list.path === "ingredients" && percent && !values["content.value"] ? { ...values, "content.value": percent[1] ?? "", "content.unit": "percent" } : values;
    });
  }
  return { one: valuesOf(labelFields, properties, us), many };
}

/** The label as it travels, over what the record held beside the form; or every field that stands in the way. */
export function buildLabel(form: LabelForm, before: Members): { readonly properties: Members; readonly faults: readonly LabelFault[] } {
  const faults: LabelFault[] = [];
  const properties: Members = { ...before };
  if (!String(form.one["name"] ?? "").trim()) faults.push({ field: "name", key: "name" });
  fill(properties, labelFields, form.one, "", faults);
  for (const list of labelLists) {
    const entries = (form.many[list.path] ?? []).map((values, i) => {
      const entry = JSON.parse(String(values[heldAt] ?? "{}")) as Members;
      fill(entry, list.fields, values, `${list.path}[${i}].`, faults);
      return entry;
    });
    if (entries.length > 0 || before[list.path] !== undefined) properties[list.path] = entries;
  }
  return { properties: pruned(properties), faults };
}

function fill(into: Members, fields: readonly LabelField[], values: Values, prefix: string, faults: LabelFault[]): void {
  for (const f of fields) {
    const v = values[f.path];
    if (f.kind === "check") {
      set(into, f.path, v === true ? true : undefined);
      continue;
    }
    if (f.kind === "several") {
      const list = String(v ?? "").split(",").filter(Boolean);
      set(into, f.path, list.length > 0 ? list : undefined);
      continue;
    }
    const text = (typeof v === "object" ? v.text : String(v ?? "")).trim();
    const numeric = f.kind === "number" || f.kind === "whole" || f.kind === "length" || f.kind === "speed";
    if (!text || !numeric) {
      set(into, f.path, text || undefined);
      continue;
    }
    const n = typedNumber(text);
    if (Number.isNaN(n)) faults.push({ field: prefix + f.path, key: "number" });
    const unit = typeof v === "object" ? v.unit : "";
    set(into, f.path, f.kind === "length" ? n * metresPer[unit as LengthUnit] : f.kind === "speed" ? n * metresPerSecond[unit as SpeedUnit] : n);
  }
}

/** Without what was left empty. */
function pruned(o: Members): Members {
  const out: Members = {};
  for (const [key, v] of Object.entries(o)) {
    if (v === undefined) continue;
    if (v && typeof v === "object" && !Array.isArray(v)) {
      const inner = pruned(v as Members);
      if (Object.keys(inner).length > 0) out[key] = inner;
    } else out[key] = Array.isArray(v) ? v.map((e: unknown) => (e && typeof e === "object" && !Array.isArray(e) ? pruned(e as Members) : e)) : v;
  }
  return out;
}
