import { readCorners } from "../../geo/cornertext";
import { typedNumber } from "../../units/typed";
import { zoned } from "./zoned";

export const patterns = ["broadcast", "band", "spot", "drench", "alternate-middles"] as const;
export type Pattern = (typeof patterns)[number];

/** Metres to one of each; exact (foot of 1959). */
export const metresPer = { ft: 0.3048, in: 0.0254, m: 1, cm: 0.01 } as const;
export type LengthUnit = keyof typeof metresPer;

/** Metres per second to one of each; exact (mile of 1609.344 m). */
export const metresPerSecond = { mph: 0.44704, "km/h": 1 / 3.6, "m/s": 1 } as const;
export type SpeedUnit = keyof typeof metresPerSecond;

/** A length as typed, with the unit that stood beside it, so that the toggle never changes its meaning. */
export interface Typed {
  readonly text: string;
  readonly unit: LengthUnit;
}

export interface SetbackForm {
  /** "water", or the id of one of the surroundings. */
  readonly from: string;
  readonly distance: Typed;
  readonly side: "all" | "downwind";
  readonly halfAngle: string;
  readonly toEdge: "" | "water-edge" | "top-of-bank";
  readonly bank: Typed;
  readonly strip: boolean;
}

/** A run of plants on a row, both ends included. */
export interface Stretch {
  readonly row: number;
  readonly from: number;
  readonly to: number;
}

export interface LineForm {
  /** Id of a product record; empty when the name is typed. */
  readonly product: string;
  readonly name: string;
  readonly value: string;
  /** Empty until chosen: a unit is never guessed. */
  readonly unit: string;
  readonly per: string;
  /** The active ingredient the rate is of; empty is the product. */
  readonly of: string;
}

export interface DraftForm {
  readonly blocks: readonly string[];
  /** Rows of a block as typed; empty or absent means all of them. */
  readonly rows: Readonly<Record<string, string>>;
  /** Corners of drawn ground as geo/cornertext reads them; for spots only. */
  readonly corners: string;
  readonly pattern: Pattern;
  readonly band: Typed;
  readonly sides: 1 | 2;
  readonly setbacks: readonly SetbackForm[];
  readonly windFrom: string;
  readonly wind: { readonly text: string; readonly unit: SpeedUnit };
  readonly lines: readonly LineForm[];
  readonly carrier: { readonly value: string; readonly unit: string; readonly per: string };
  readonly tank: { readonly value: string; readonly unit: string };
  /** Wall time of the farm's zone, as datetime-local gives it. */
  readonly start: string;
  readonly harvestOn: string;
  /** Plants of a group of finds, by block; what is not named stays whole. */
  readonly stretches: Readonly<Record<string, readonly Stretch[]>>;
  /** Id of one of the farm's sprayers, empty for none. */
  readonly sprayer: string;
  readonly method: string;
  readonly droplets: string;
  /** Height of release above the soil, feet as typed. */
  readonly height: string;
  /** How many uses in a row a mode of action may have; empty is the stricter. */
  readonly rotation: "" | Rotation;
}

export const rotations = ["caneberry-table", "usual"] as const;
export type Rotation = (typeof rotations)[number];

/** What is wrong with a field, by the same path the server uses, so that both land at the same place. */
export interface FieldFault {
  readonly field: string;
  readonly key: "choose-block" | "number" | "positive" | "unit" | "rows" | "bearing" | "time" | "name" | "product" | "area";
}

export type Built =
  | { readonly ok: true; readonly body: Record<string, unknown> }
  | { readonly ok: false; readonly faults: readonly FieldFault[] };

/** Reads "1-4, 7" as row numbers, upward and once each; null when it cannot be read. */
export function readRows(text: string): number[] | null {
  const out = new Set<number>();
  for (const word of text.split(/[,;\s]+/).filter(Boolean)) {
    const m = /^(\d{1,4})(?:[-–](\d{1,4}))?$/.exec(word);
    if (!m) return null;
    const from = Number(m[1]);
    const to = m[2] === undefined ? from : Number(m[2]);
    if (from < 1 || to < from) return null;
    for (let r = from; r <= to; r++) out.add(r);
  }
  return [...out].sort((a, b) => a - b);
}

/** The wire form of a draft, or every field that stands in its way. */
export function build(form: DraftForm, zone: string): Built {
  const faults: FieldFault[] = [];
  const fault = (field: string, key: FieldFault["key"]) => void faults.push({ field, key });
  const positive = (field: string, text: string): number => {
    const n = typedNumber(text);
    if (Number.isNaN(n)) fault(field, "number");
    else if (n <= 0) fault(field, "positive");
    return n;
  };
  const metres = (field: string, typed: Typed) => positive(field, typed.text) * metresPer[typed.unit];

  const spot = form.pattern === "spot";
  if (form.blocks.length === 0 && !spot) fault("blocks", "choose-block");
  const rows: Record<string, number[]> = {};
  for (const id of form.blocks) {
    const text = (form.rows[id] ?? "").trim();
    if (!text) continue;
    const read = readRows(text);
    if (read) rows[id] = read;
    else fault(`rows.${id}`, "rows");
  }

  const body: Record<string, unknown> = { blocks: form.blocks, pattern: form.pattern };
  if (Object.keys(rows).length > 0) body["rows"] = rows;
  const stretches = Object.fromEntries(Object.entries(form.stretches).filter(([id, list]) => form.blocks.includes(id) && list.length > 0));
  const grouped = Object.keys(stretches).length > 0;
  if (grouped) body["stretches"] = stretches;
  if (spot && (!grouped || form.corners.trim())) {
    const area = readCorners(form.corners).geometry;
    if (!area) fault("area", "area");
    body["area"] = area;
  }
  if (form.pattern === "band") {
    body["band_width_m"] = metres("band_width_m", form.band);
    body["sides"] = form.sides;
  }
  body["setbacks"] = form.setbacks.map((s, i) => {
    const at = `setbacks[${i}]`;
    const out: Record<string, unknown> = {
      from: s.from,
      distance_m: metres(`${at}.distance_m`, s.distance),
      side: s.side,
    };
    if (s.side === "downwind" && s.halfAngle.trim()) {
      const a = typedNumber(s.halfAngle);
      if (!(a > 0 && a <= 180)) fault(`${at}.half_angle_deg`, "bearing");
      out["half_angle_deg"] = a;
    }
    if (s.toEdge) out["to_edge"] = s.toEdge;
    if (s.toEdge === "top-of-bank" && s.bank.text.trim()) out["bank_m"] = metres(`${at}.bank_m`, s.bank);
    if (s.strip) out["strip"] = true;
    return out;
  });
  if (form.windFrom.trim()) {
    const w = typedNumber(form.windFrom);
    if (!(w >= 0 && w <= 360)) fault("wind_from_deg", "bearing");
    body["wind_from_deg"] = w;
  } else if (form.setbacks.some((s) => s.side === "downwind")) {
    fault("wind_from_deg", "bearing");
  }
  if (form.wind.text.trim()) {
    const v = typedNumber(form.wind.text) * metresPerSecond[form.wind.unit];
    if (!(v >= 0)) fault("wind_speed_m_s", "number");
    body["wind_speed_m_s"] = v;
  }
  if (form.sprayer) body["sprayer"] = form.sprayer;
  if (form.method) body["method"] = form.method;
  if (form.droplets) body["droplets"] = form.droplets;
  if (form.height.trim()) body["height_m"] = positive("height_m", form.height) * metresPer.ft;
  if (form.rotation) body["rotation"] = form.rotation;
  if (form.lines.length === 0) fault("products", "product");
  body["products"] = form.lines.map((line, i) => {
    const at = `products[${i}]`;
    if (!line.product && !line.name.trim()) fault(`${at}.product`, "name");
    if (!line.unit) fault(`${at}.rate.unit`, "unit");
    return {
      product: line.product || { name: line.name.trim() },
      rate: { value: positive(`${at}.rate.value`, line.value), unit: line.unit, per: line.per, ...(line.product && line.of ? { of: line.of } : {}) },
    };
  });
  if (form.carrier.value.trim()) {
    if (!form.carrier.unit) fault("carrier.unit", "unit");
    body["carrier"] = { value: positive("carrier.value", form.carrier.value), unit: form.carrier.unit, per: form.carrier.per };
  }
  if (form.tank.value.trim()) {
    if (!form.tank.unit) fault("tank.unit", "unit");
    body["tank"] = { value: positive("tank.value", form.tank.value), unit: form.tank.unit };
  }
  if (form.start.trim()) {
    const start = zoned(form.start, zone);
    if (!start) fault("start", "time");
    body["start"] = start;
  }
  if (form.harvestOn) body["harvest_on"] = form.harvestOn;
  return faults.length > 0 ? { ok: false, faults } : { ok: true, body };
}

/** An id for a field's element, from the server's path for it. */
export function fieldId(path: string): string {
  return "pass-" + path.replace(/[^A-Za-z0-9]+/g, "-").replace(/-+$/, "");
}
