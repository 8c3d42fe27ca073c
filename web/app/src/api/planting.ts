import type { LineString, MultiPolygon, Polygon, Position } from "../geo/position";
import type { Feature } from "../model/kinds";
import type { Client, ListParams, Options } from "./client";

/** What a grower asks of a piece of ground. Lengths m; bearings degrees clockwise from true north. */
export interface PlantingAsk {
  readonly block?: string;
  readonly outline?: Polygon | MultiPolygon;
  readonly row_spacing_m: number;
  readonly plant_spacing_m: number;
  /** Not with a guide. Without both the server takes the block's own. */
  readonly bearing_deg?: number;
  /** A line that bends; rows run beside it. */
  readonly guide?: LineString;
  readonly headland_m?: number;
  readonly side_margin_m?: number;
  /** After every so many rows, this much more room. */
  readonly alley_every?: number;
  readonly alley_m?: number;
  readonly post_spacing_m?: number;
  /** Rows left unplanted; they keep their number. */
  readonly skip?: readonly number[];
  readonly first_row_side?: string;
  readonly first_plant_end?: string;
  readonly spare_percent?: number;
  readonly wires?: number;
  /** Emitter lines a row. */
  readonly lines_per_row?: number;
  /** Width treated along a row. */
  readonly band_width_m?: number;
}

export interface PlannedRow {
  readonly number: number;
  readonly length_m: number;
  readonly plants: number;
  readonly posts?: number;
  readonly skipped?: boolean;
  readonly parts: readonly (readonly Position[])[];
}

/** One figure of an order with how it came about. */
export interface HowLine {
  readonly what: string;
  readonly text: string;
  readonly value: number;
  readonly unit: string;
  readonly source?: string;
}

export interface PlantOrder {
  readonly plants: number;
  readonly spare_percent?: number;
  readonly to_order: number;
  readonly posts?: number;
  readonly end_posts?: number;
  readonly wire_m?: number;
  readonly line_m?: number;
  readonly how?: readonly HowLine[];
}

export interface PlantingAnswer {
  readonly rows: number;
  readonly row_length_m: number;
  readonly plants: number;
  readonly planted_m2: number;
  readonly outline_m2: number;
  readonly bearing_deg?: number;
  readonly each: readonly PlannedRow[];
  readonly posts?: number;
  readonly areas?: { readonly outline_m2: number; readonly planted_m2: number; readonly band_m2?: number };
  readonly turns?: number;
  readonly short_rows?: number;
  /** Planted ground of the outline, 0 to 1. */
  readonly share?: number;
  /** The gross formula over the whole outline. */
  readonly handbook?: { readonly plants: number; readonly row_length_m: number; readonly how?: string };
  readonly why_different?: readonly string[];
  readonly how?: readonly HowLine[];
  readonly order?: PlantOrder;
}

export interface CompareAsk extends Omit<PlantingAsk, "row_spacing_m" | "plant_spacing_m" | "bearing_deg" | "skip" | "band_width_m"> {
  readonly row_spacing_m: readonly number[];
  readonly plant_spacing_m: readonly number[];
  readonly bearings_deg?: readonly number[];
  readonly sweep_deg?: number;
}

export const optionKinds = ["drawn", "longest-side", "sweep", "guide"] as const;

export interface Option {
  readonly row_spacing_m: number;
  readonly plant_spacing_m: number;
  readonly bearing_deg: number;
  readonly kind: (typeof optionKinds)[number];
  readonly rows: number;
  readonly row_length_m: number;
  readonly plants: number;
  readonly turns: number;
  readonly short_rows: number;
  readonly share: number;
  readonly shortest_m: number;
  readonly longest_m: number;
}

/** A record that names a place which would be gone. */
export interface Conflict {
  readonly row: number;
  readonly plant: number;
  readonly kind: string;
  readonly id: string;
  readonly text: string;
}

export interface RevisedRow extends Feature<"rows"> {
  /** The revision it replaces; null makes a row. */
  readonly base?: number | null;
}

export interface Stretch {
  readonly row: number;
  readonly from: number;
  readonly to: number;
}

/** What laying out anew means for the rows that stand. */
export interface Revision {
  /** Places that keep number and position. */
  readonly kept: number;
  /** Rows whose line changes; their plants stay. */
  readonly moved: readonly { readonly row: number; readonly was_m: number; readonly is_m: number; readonly beside_m: number }[];
  readonly added: readonly Stretch[];
  readonly gone: readonly Stretch[];
  readonly conflicts: readonly Conflict[];
  readonly rows: readonly RevisedRow[];
  /** Rows left without ground. */
  readonly dropped: readonly { readonly id: string; readonly base: number; readonly row: number }[];
  readonly how?: string;
}

export interface NearAnswer {
  readonly plants: readonly { readonly row: number; readonly plant: number; readonly m: number }[];
  /** Chances, 0 to 1. */
  readonly rows: readonly { readonly row: number; readonly chance: number }[];
  readonly none: number;
  readonly model: string;
  readonly says: string;
}

// A sweep over every degree of a large block takes the server longer than a list.
const longMs = 120_000;

/** Planting and plants' places, as the server works them out; nothing is stored. */
export class Planting {
  readonly #api: Client;
  constructor(api: Client) {
    this.#api = api;
  }
  layout(ask: PlantingAsk, options: Options = {}): Promise<PlantingAnswer> {
    return this.#api.net.post(this.#api.path("layout"), ask, { timeoutMs: longMs, ...options });
  }
  compare(ask: CompareAsk, options: Options = {}): Promise<{ options: Option[] }> {
    return this.#api.net.post(this.#api.path("layouts/compare"), ask, { timeoutMs: longMs, ...options });
  }
  revise(ask: PlantingAsk, options: Options = {}): Promise<Revision> {
    return this.#api.net.post(this.#api.path("layouts/revise"), ask, { timeoutMs: longMs, ...options });
  }
  near(block: string, at: Position, accuracyM: number, options: Options = {}): Promise<NearAnswer> {
    const query = new URLSearchParams({ lon: String(at[0]), lat: String(at[1]), accuracy_m: String(accuracyM) });
    return this.#api.net.json(`${this.#api.path(`collections/blocks/items/${encodeURIComponent(block)}/near`)}?${query}`, options);
  }
  /** The address of the plan on paper. */
  planPath(ask: PlantingAsk): string {
    const params: Record<string, string | number | undefined> = {};
    for (const [name, value] of Object.entries(ask)) {
      if (value === undefined) continue;
      params[name === "band_width_m" ? "band_m" : name] = typeof value === "string" || typeof value === "number" ? value : Array.isArray(value) ? value.join(",") : JSON.stringify(value);
    }
    return this.#api.reportPath("planting-plan", "pdf", params as ListParams);
  }
}
