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

/** What the server says to a question about hot spots. Lists may come as null when empty. */
export interface WireAnswer {
  readonly inspected: number;
  readonly infected: number;
  /** How many of the infected are among the inspected; the others enter no rate. */
  readonly infected_among_inspected?: number;
  readonly groups: readonly (Omit<Group, "evidence"> & { readonly hull?: Geometry | null; readonly evidence?: string })[] | null;
  readonly isolated: readonly PlantAt[] | null;
  readonly scan: readonly Window[] | null;
  readonly runs: readonly RowRuns[] | null;
  readonly list: Partial<Record<Reason, readonly PlantAt[] | null>>;
  readonly why_no_p?: string | null;
  readonly finds?: readonly { readonly id?: string; readonly unresolved?: string }[] | null;
  readonly gone?: readonly PlantAt[] | null;
  readonly how?: string;
  readonly cautions?: readonly string[] | null;
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
}

export function answerOf(wire: WireAnswer): Answer {
  return {
    inspected: wire.inspected,
    infected: wire.infected,
    counted: wire.infected_among_inspected ?? wire.infected,
    groups: (wire.groups ?? []).map((g) => ({ ...g, evidence: g.evidence ?? "", hull: g.hull ?? null })),
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
  };
}
