import type { Geometry } from "../../geo/position";
import type { Amount, Feature, PassProperties, Stored } from "../../model/kinds";
import type { Worked } from "./answer";
import type { RateOf } from "./result";

/** A pass as this page writes it. The keys of weather and people are the server's. */
export interface SavedPass extends PassProperties {
  blocks?: string[];
  products?: { product: string | { name: string }; rate: RateOf }[];
  setbacks?: unknown[];
  carrier?: RateOf;
  tank?: Amount;
  /** Planned start; started_at is what was done. */
  start?: string;
  started_at?: string;
  ended_at?: string;
  harvest_on?: string;
  weather?: { wind_from_deg?: number; wind_speed_m_s?: number; temperature_c?: number; humidity_percent?: number };
  people?: { applicator?: string; certification?: string; supervisor?: string };
  areas?: Worked["areas"];
  totals?: Worked["totals"];
  carrier_total?: Amount;
  worked_at?: string;
  equipment?: string;
  target?: string;
  difference?: string;
}

export const saved = (p: Stored<"passes">): SavedPass => p.feature.properties as SavedPass;

/** The day a pass stands under: when it was done, else when it is planned, else when it was worked out. */
export function passMoment(p: SavedPass): string {
  return p.started_at ?? p.start ?? p.worked_at ?? "";
}

/** A worked-out draft as a record: the question, and the answer frozen beside it. */
export function passFeature(o: {
  readonly id: string;
  readonly asked: Readonly<Record<string, unknown>>;
  readonly worked: Worked;
  readonly at: string;
  readonly stopReason: string;
}): Feature<"passes"> {
  const { blocks, rows, stretches, area, pattern, band_width_m, sides, setbacks, products, carrier, tank, start, harvest_on, wind_from_deg, wind_speed_m_s, sprayer, method, droplets, height_m } = o.asked;
  const w = o.worked;
  const weather = { wind_from_deg, wind_speed_m_s };
  const properties: Record<string, unknown> = {
    blocks,
    rows,
    stretches,
    area,
    sprayer,
    method,
    droplets,
    height_m,
    pattern,
    band_width_m,
    sides,
    setbacks,
    products,
    carrier,
    tank,
    start,
    harvest_on,
    planned_weather: wind_from_deg === undefined && wind_speed_m_s === undefined ? undefined : weather,
    areas: w.areas,
    totals: w.totals ?? [],
    carrier_total: w.carrier ?? undefined,
    tanks: w.tanks ?? undefined,
    distances: w.distances ?? [],
    // The ground of a check is worked out anew from the earlier passes; its place and share stay.
    checks: (w.checks ?? []).map(({ ground: _ground, ...check }) => check),
    labels: w.labels,
    mixing: w.mixing,
    exclusion: w.exclusion,
    withheld: w.withheld ?? undefined,
    row_length_m: w.row_length_m,
    plants: w.plants,
    first_harvest_on: w.first_harvest_on,
    entry_from: w.entry_from,
    worked_at: o.at,
    stop_reason: o.stopReason || undefined,
  };
  const kept = Object.fromEntries(Object.entries(properties).filter(([, v]) => v !== undefined));
  return { type: "Feature", id: o.id, geometry: w.treated, properties: { ...kept, state: "draft" } };
}

/** The frozen answer of a saved pass, for showing. */
export function workedOf(p: Stored<"passes">): Worked {
  const q = p.feature.properties;
  return {
    areas: (q["areas"] ?? {}) as Worked["areas"],
    treated: p.feature.geometry,
    withheld: (q["withheld"] ?? null) as Geometry | null,
    row_length_m: q["row_length_m"] as number | undefined,
    plants: q["plants"] as number | undefined,
    distances: (q["distances"] ?? null) as Worked["distances"],
    totals: (q["totals"] ?? null) as Worked["totals"],
    carrier: (q["carrier_total"] ?? null) as Amount | null,
    tanks: (q["tanks"] ?? null) as Worked["tanks"],
    checks: (q["checks"] ?? null) as Worked["checks"],
    first_harvest_on: q["first_harvest_on"] as string | undefined,
    exclusion: q["exclusion"] as Worked["exclusion"],
    mixing: q["mixing"] as Worked["mixing"],
    // A pass done keeps its own clock from its end; the planned one no longer holds.
    entry_from: q["state"] === "applied" ? undefined : (q["entry_from"] as string | undefined),
  };
}
