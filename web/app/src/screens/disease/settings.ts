import { type Cause, type FindState } from "../../model/kinds";
import { typedNumber } from "../../units/typed";
import { metresPer, type Typed } from "../pass/draft";

// Shapes, cap and least cases as the research note advises for rows: windows
// along the row only, none over a quarter of the plants looked at. The seed is
// fixed so that the same records give the same p.
const scan = { shapes: [1, 2, 4], cap: 0.25, min_cases: 3, replicates: 999, seed: 1 };

export interface SettingsForm {
  readonly causes: readonly Cause[];
  readonly states: readonly FindState[];
  readonly along: Typed;
  readonly across: Typed;
  readonly minFinds: string;
  readonly gap: string;
  readonly margin: string;
  readonly inspect: string;
  /** The adviser's own limit for a section, in per cent; empty for none. */
  readonly sectionLimit: string;
}

// Where a block does not say its spacings: common hand-planted ones.
const commonRowM = 3.05;
const commonPlantM = 0.91;
/** Under this the reach along the row is within a phone's error of one plant. */
const leastAlongM = 2.5;

/** The stated defaults for a block, in the unit lengths are typed in. */
export function defaults(
  block: { readonly row_spacing_m?: number; readonly plant_spacing_m?: number },
  unit: "ft" | "m",
): SettingsForm {
  const along = Math.max(leastAlongM, 3 * (block.plant_spacing_m ?? commonPlantM));
  const across = 1.05 * (block.row_spacing_m ?? commonRowM);
  // Rounded up to a tenth, so that a neighbour exactly at the reach stays in it.
  const up = (m: number) => ({ text: String(Math.ceil((m / metresPer[unit]) * 10 - 1e-9) / 10), unit });
  return {
    causes: ["orange-rust"],
    states: ["confirmed"],
    along: up(along),
    across: up(across),
    minFinds: "3",
    gap: "3",
    margin: "0",
    inspect: "1",
    sectionLimit: "",
  };
}

export type Faults = Partial<Record<"along_m" | "across_m" | "min_finds" | "gap_plants" | "margin_plants" | "inspect_rows" | "section_limit" | "causes", "number" | "whole" | "share" | "none">>;

export type Built = { readonly ok: true; readonly body: Record<string, unknown> } | { readonly ok: false; readonly faults: Faults };

/** The wire form of the question, or the fields that stand in its way; `asOf` asks for an earlier moment. */
export function ask(form: SettingsForm, block: string, asOf?: string): Built {
  const faults: Faults = {};
  const metres = (field: "along_m" | "across_m", typed: Typed) => {
    const n = typedNumber(typed.text) * metresPer[typed.unit];
    if (!(n > 0)) faults[field] = "number";
    return n;
  };
  const whole = (field: "min_finds" | "gap_plants" | "margin_plants" | "inspect_rows", text: string, least: number) => {
    const n = /^\d{1,6}$/.test(text.trim()) ? Number(text) : Number.NaN;
    if (!(n >= least)) faults[field] = least > 0 ? "number" : "whole";
    return n;
  };
  const limit = typedNumber(form.sectionLimit) / 100;
  if (form.sectionLimit.trim() && !(limit > 0 && limit < 1)) faults.section_limit = "share";
  if (form.causes.length === 0 || form.states.length === 0) faults.causes = "none";
  const body = {
    block,
    causes: form.causes,
    states: form.states,
    along_m: metres("along_m", form.along),
    across_m: metres("across_m", form.across),
    min_finds: whole("min_finds", form.minFinds, 1),
    gap_plants: whole("gap_plants", form.gap, 0),
    margin_plants: whole("margin_plants", form.margin, 0),
    inspect_rows: whole("inspect_rows", form.inspect, 0),
    ...(form.sectionLimit.trim() ? { section_limit: limit } : {}),
    ...(asOf ? { as_of: asOf } : {}),
    smooth: true,
    scan,
  };
  return Object.keys(faults).length > 0 ? { ok: false, faults } : { ok: true, body };
}
