/** A plant's address in its block. */
export interface Plant {
  readonly row: number;
  readonly plant: number;
}

/** One window of the scan, as the server answers it. */
export interface Window {
  readonly centre: Plant;
  readonly shape: number;
  readonly semiminor_m: number;
  readonly plants: number;
  readonly infected: number;
  readonly llr: number;
  readonly relative_risk: number | null;
  readonly p: number;
  readonly members: readonly Plant[];
}

export interface Group {
  readonly number: number;
  readonly finds: readonly Plant[];
  readonly core: number;
  readonly hull: unknown;
}

const key = (p: Plant) => `${p.row}-${p.plant}`;

/** The strongest scan window that shares a plant with the group; null when none does. */
export function windowOf(group: Group, scan: readonly Window[]): Window | null {
  const finds = new Set(group.finds.map(key));
  const over = scan.filter((w) => w.members.some((m) => finds.has(key(m))));
  return over.reduce<Window | null>((best, w) => (!best || w.llr > best.llr ? w : best), null);
}

/** The figures of the evidence line: inside the window against outside it, all the server's. */
export interface Evidence {
  readonly inside: { readonly infected: number; readonly plants: number };
  readonly outside: { readonly infected: number; readonly plants: number };
  readonly p: number;
}

export function evidence(
  group: Group,
  answer: { readonly inspected: number; readonly infected: number; readonly scan: readonly Window[] },
): Evidence | null {
  const w = windowOf(group, answer.scan);
  if (!w) return null;
  return {
    inside: { infected: w.infected, plants: w.plants },
    outside: { infected: answer.infected - w.infected, plants: answer.inspected - w.plants },
    p: w.p,
  };
}

/** Why a plant stands on the list. */
export type Reason = "confirmed" | "between" | "margin" | "inspect";

export const reasons: readonly Reason[] = ["confirmed", "between", "margin", "inspect"];

export interface Listed extends Plant {
  readonly reason: Reason;
  /** The group the plant was found in; null for the others. */
  readonly group: number | null;
}

/** The list as rows of one table, in walking order. */
export function listed(
  list: Readonly<Record<Reason, readonly Plant[]>>,
  groups: readonly Group[],
): Listed[] {
  const of = new Map<string, number>();
  for (const g of groups) for (const f of g.finds) of.set(key(f), g.number);
  return reasons
    .flatMap((reason) => list[reason].map((p) => ({ ...p, reason, group: of.get(key(p)) ?? null })))
    .sort((a, b) => a.row - b.row || a.plant - b.plant);
}
