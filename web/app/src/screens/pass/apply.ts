import type { Stored } from "../../model/kinds";
import { typedNumber } from "../../units/typed";
import { measured } from "./answer";
import { metresPerSecond, type SpeedUnit } from "./draft";
import { saved, type SavedPass } from "./saved";
import { zoned } from "./zoned";

/** What was really done, as typed. */
export interface ApplyForm {
  readonly start: string;
  readonly end: string;
  readonly windFrom: string;
  readonly wind: { readonly text: string; readonly unit: SpeedUnit };
  readonly temperature: { readonly text: string; readonly unit: "F" | "C" };
  readonly humidity: string;
  readonly applicator: string;
  readonly certification: string;
  readonly equipment: string;
  readonly target: string;
  /** Why another amount than planned was used. */
  readonly difference: string;
  /** Amount used of each product, in the unit of its total. */
  readonly used: readonly string[];
}

export type ApplyField = "start" | "end" | "windFrom" | "wind" | "temperature" | "humidity" | "applicator" | "difference" | `used${number}`;
export type ApplyFaults = Partial<Record<ApplyField, "needed" | "order" | "number" | "time">>;
export type Applied = { readonly ok: true; readonly properties: SavedPass } | { readonly ok: false; readonly faults: ApplyFaults };

/** Another amount than what a measuring tool shows of the plan. */
export const differs = (typed: string, planned: number) => Math.abs(typedNumber(typed) - planned) > 1e-9;

const celsius = (v: number, unit: "F" | "C") => (unit === "F" ? ((v - 32) * 5) / 9 : v);

/** The record of an applied pass. Amounts as used stand in the totals; the planned ones are kept beside them. */
export function applied(pass: Stored<"passes">, form: ApplyForm, zone: string): Applied {
  const faults: ApplyFaults = {};
  const moment = (field: "start" | "end", text: string) => {
    const at = text ? zoned(text, zone) : null;
    if (!at) faults[field] = text ? "time" : "needed";
    return at ?? "";
  };
  const figure = (field: ApplyField, text: string, low: number, high: number): number | undefined => {
    if (!text.trim()) return undefined;
    const v = typedNumber(text);
    if (!(v >= low && v <= high)) faults[field] = "number";
    return v;
  };
  const started_at = moment("start", form.start);
  const ended_at = moment("end", form.end);
  if (started_at && ended_at && Date.parse(ended_at) < Date.parse(started_at)) faults.end = "order";
  if (!form.applicator.trim()) faults.applicator = "needed";
  const speed = figure("wind", form.wind.text, 0, 200);
  const degrees = figure("temperature", form.temperature.text, -60, 140);
  const weather = {
    wind_from_deg: figure("windFrom", form.windFrom, 0, 360),
    wind_speed_m_s: speed === undefined ? undefined : speed * metresPerSecond[form.wind.unit],
    temperature_c: degrees === undefined ? undefined : celsius(degrees, form.temperature.unit),
    humidity_percent: figure("humidity", form.humidity, 0, 100),
  };
  const before = saved(pass);
  const planned = before.totals ?? [];
  const totals = planned.map((total, i) => {
    const value = typedNumber(form.used[i] ?? "");
    if (!(value >= 0)) faults[`used${i}`] = "number";
    return { ...total, amount: { ...total.amount, value } };
  });
  const changed = totals.some((total, i) => total.amount.value !== planned[i]?.amount.value);
  const difference = form.difference.trim();
  const explain = planned.some((total, i) => differs(form.used[i] ?? "", measured(total.amount).value));
  if (explain && !difference) faults.difference = "needed";
  if (Object.keys(faults).length > 0) return { ok: false, faults };
  const certification = form.certification.trim();
  const [equipment, target] = [form.equipment.trim(), form.target.trim()];
  const properties: SavedPass = {
    ...before,
    state: "applied",
    started_at,
    ended_at,
    weather: Object.fromEntries(Object.entries(weather).filter(([, v]) => v !== undefined)),
    people: { applicator: form.applicator.trim(), ...(certification ? { certification } : {}) },
    ...(equipment ? { equipment } : {}),
    ...(target ? { target } : {}),
    ...(explain ? { difference } : {}),
    // The exact SI amounts belong to the plan; they go where the amount was changed.
    totals: totals.map((total, i) => (total.amount.value === planned[i]?.amount.value ? total : withoutExact(total))),
    ...(changed ? { planned_totals: planned } : {}),
  };
  return { ok: true, properties };
}

function withoutExact<T extends { exact_si?: unknown }>(total: T): T {
  const { exact_si: _planned, ...rest } = total;
  return rest as T;
}
