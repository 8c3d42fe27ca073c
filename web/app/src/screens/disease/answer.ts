import type { Geometry } from "../../geo/position";
import type { PlantAt } from "../../model/kinds";
import type { Group, Reason } from "./evidence";

/** One window of the scan. p is null where there is none, the ratio where nothing outside is infected. */
export interface Window {
  readonly centre: PlantAt;
  readonly shape: number;
  readonly semiminor_m: number;
  readonly plants: number;
  readonly infected: number;
  readonly llr: number;
  readonly relative_risk: number | null;
  readonly p: number | null;
  readonly members: readonly PlantAt[];
}

export interface RowRuns {
  readonly row: number;
  readonly segments: number;
  readonly runs: number;
  readonly expected: number;
  readonly variance: number;
  /** Null where the row has too little for a test. */
  readonly z: number | null;
}

/** A share among plants looked at, with exact 95 % limits; lower_one_sided is the one-sided lower one. */
export interface Rate {
  readonly inspected: number;
  readonly infected: number;
  readonly share: number;
  readonly low: number;
  readonly high: number;
  readonly lower_one_sided: number;
}

/** What may be taken out and what it would cost; null where it does not apply or is not known. */
export interface Choice {
  readonly name: "confirmed" | "between" | "margin" | "section" | "planting";
  readonly group: number | null;
  readonly plants: number;
  readonly row_length_m: number | null;
  readonly share_of_block: number | null;
  /** Only as the adviser's own signed choice. */
  readonly signed: boolean;
  readonly rate: Rate | null;
  readonly limit: number | null;
  readonly above_limit: boolean | null;
  readonly text: string;
}

/** The smoothed rate along the rows; null in a row where too little was looked at. */
export interface Smoothed {
  readonly bandwidth_along_m: number;
  readonly bandwidth_across_m: number;
  readonly rows: readonly { readonly row: number; readonly from: number; readonly rates: readonly (number | null)[] }[];
  readonly why_not: string | null;
  readonly how: string;
}

/** The scan of one thing that was counted. */
export interface Counts {
  readonly what: string;
  readonly places: number;
  readonly sampled: number;
  readonly hits: number;
  readonly low: number;
  readonly high: number;
  readonly rate: number;
  readonly scan: readonly { readonly centre: { readonly row: number; readonly from: number; readonly to: number }; readonly sampled: number; readonly hits: number; readonly p: number | null }[];
  readonly why_no_p: string | null;
  readonly how: string;
}

/** What the server says to a question about hot spots. Lists may come as null when empty. */
export interface WireAnswer {
  readonly inspected: number;
  readonly infected: number;
  /** How many of the infected are among the inspected; the others enter no rate. */
  readonly infected_among_inspected?: number;
  readonly groups: readonly (Omit<Group, "evidence" | "chance" | "window"> & { readonly window?: number | null; readonly hull?: Geometry | null; readonly evidence?: string; readonly chance?: string })[] | null;
  readonly isolated: readonly PlantAt[] | null;
  readonly scan: readonly Window[] | null;
  readonly runs: readonly RowRuns[] | null;
  readonly list: Partial<Record<Reason, readonly PlantAt[] | null>>;
  readonly why_no_p?: string | null;
  readonly finds?: readonly { readonly id?: string; readonly unresolved?: string }[] | null;
  readonly gone?: readonly PlantAt[] | null;
  readonly how?: string;
  readonly cautions?: readonly string[] | null;
  readonly rate?: Rate;
  readonly plants_by_state?: { readonly confirmed: number; readonly sampled: number; readonly suspected: number };
  readonly standing?: number | null;
  readonly not_looked_at?: number | null;
  readonly choices?: readonly Choice[] | null;
  readonly why_no_list?: string | null;
  readonly smoothed?: Smoothed;
  readonly counts?: readonly Counts[];
}

export interface Answer {
  readonly inspected: number;
  readonly infected: number;
  readonly counted: number;
  readonly groups: readonly (Group & { readonly hull: Geometry | null })[];
  readonly isolated: readonly PlantAt[];
  readonly scan: readonly Window[];
  readonly runs: readonly RowRuns[];
  readonly list: Readonly<Record<Reason, readonly PlantAt[]>>;
  readonly whyNoP: string;
  /** Why a find could not be tied to a plant, by the find's id. */
  readonly unresolved: readonly { readonly id: string; readonly why: string }[];
  readonly gone: readonly PlantAt[];
  readonly how: string;
  readonly cautions: readonly string[];
  readonly rate: Rate;
  /** Standing plants by the firmest state of their finds. */
  readonly states: { readonly confirmed: number; readonly sampled: number; readonly suspected: number };
  /** Plants of the block; null where its rows are not counted. */
  readonly standing: number | null;
  /** How many of those nobody looked at. */
  readonly unseen: number | null;
  readonly choices: readonly Choice[];
  readonly whyNoList: string;
  readonly smoothed: Smoothed | null;
  readonly counts: readonly Counts[];
}

export function answerOf(wire: WireAnswer): Answer {
  return {
    inspected: wire.inspected,
    infected: wire.infected,
    counted: wire.infected_among_inspected ?? wire.infected,
    groups: (wire.groups ?? []).map((g) => ({ ...g, evidence: g.evidence ?? "", chance: g.chance ?? "", window: g.window ?? null, hull: g.hull ?? null })),
    isolated: wire.isolated ?? [],
    scan: wire.scan ?? [],
    runs: wire.runs ?? [],
    list: {
      confirmed: wire.list.confirmed ?? [],
      between: wire.list.between ?? [],
      margin: wire.list.margin ?? [],
      inspect: wire.list.inspect ?? [],
    },
    whyNoP: wire.why_no_p ?? "",
    unresolved: (wire.finds ?? []).flatMap((f) => (f.unresolved ? [{ id: f.id ?? "", why: f.unresolved }] : [])),
    gone: wire.gone ?? [],
    how: wire.how ?? "",
    cautions: wire.cautions ?? [],
    rate: wire.rate ?? { inspected: wire.inspected, infected: wire.infected, share: 0, low: 0, high: 1, lower_one_sided: 0 },
    states: wire.plants_by_state ?? { confirmed: 0, sampled: 0, suspected: 0 },
    standing: wire.standing ?? null,
    unseen: wire.not_looked_at ?? null,
    choices: wire.choices ?? [],
    whyNoList: wire.why_no_list ?? "",
    smoothed: wire.smoothed ?? null,
    counts: wire.counts ?? [],
  };
}
