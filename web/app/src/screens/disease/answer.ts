import type { Geometry } from "../../geo/position";
import type { Group, Plant, Reason, Window } from "./evidence";

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
  readonly groups: readonly Group[] | null;
  readonly isolated: readonly Plant[] | null;
  readonly scan: readonly Window[] | null;
  readonly runs: readonly RowRuns[] | null;
  readonly list: Partial<Record<Reason, readonly Plant[] | null>>;
  readonly why_no_p?: string;
}

export interface Answer {
  readonly inspected: number;
  readonly infected: number;
  readonly groups: readonly (Group & { readonly hull: Geometry | null })[];
  readonly isolated: readonly Plant[];
  readonly scan: readonly Window[];
  readonly runs: readonly RowRuns[];
  readonly list: Readonly<Record<Reason, readonly Plant[]>>;
  readonly whyNoP: string;
}

export function answerOf(wire: WireAnswer): Answer {
  return {
    inspected: wire.inspected,
    infected: wire.infected,
    groups: (wire.groups ?? []).map((g) => ({ ...g, finds: g.finds ?? [], hull: (g.hull ?? null) as Geometry | null })),
    isolated: wire.isolated ?? [],
    scan: (wire.scan ?? []).map((w) => ({ ...w, members: w.members ?? [] })),
    runs: wire.runs ?? [],
    list: {
      confirmed: wire.list.confirmed ?? [],
      between: wire.list.between ?? [],
      margin: wire.list.margin ?? [],
      inspect: wire.list.inspect ?? [],
    },
    whyNoP: wire.why_no_p ?? "",
  };
}
