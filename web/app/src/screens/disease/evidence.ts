import type { PlantAt } from "../../model/kinds";

/** A group of infected plants, as the server numbers it: from 0. */
export interface Group {
  readonly number: number;
  readonly finds: readonly PlantAt[];
  readonly core: number;
  /** What the scan says of it, in the page's language; empty without a window. */
  readonly evidence: string;
  /** Which window of the scan speaks of it; null for none. */
  readonly window: number | null;
  /** How easily chance alone does as well, or why that is not known. */
  readonly chance: string;
}

/** The number people say: the first group is group 1. */
export const spoken = (group: number) => group + 1;

/** Why a plant stands on the list. */
export type Reason = "confirmed" | "between" | "margin" | "inspect";

export const reasons: readonly Reason[] = ["confirmed", "between", "margin", "inspect"];

export interface Listed extends PlantAt {
  readonly reason: Reason;
  /** The group the plant was found in; null for the others. */
  readonly group: number | null;
  /** A plant with a find of its own, confirmed or not. */
  readonly find: boolean;
}

export const plantKey = (p: PlantAt) => `${p.row}-${p.plant}`;

/** The list as rows of one table, in walking order. */
export function listed(list: Readonly<Record<Reason, readonly PlantAt[]>>, groups: readonly Group[], isolated: readonly PlantAt[]): Listed[] {
  const of = new Map<string, number>();
  for (const g of groups) for (const f of g.finds) of.set(plantKey(f), g.number);
  const alone = new Set(isolated.map(plantKey));
  return reasons
    .flatMap((reason) =>
      list[reason].map((p) => {
        const group = of.get(plantKey(p)) ?? null;
        return { ...p, reason, group, find: reason === "confirmed" || group !== null || alone.has(plantKey(p)) };
      }),
    )
    .sort((a, b) => a.row - b.row || a.plant - b.plant);
}
