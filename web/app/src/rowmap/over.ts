/** How firmly a plant stands on a list. */
export type Listing = "confirmed" | "between" | "margin" | "inspect";

/** What an answer says of plants, drawn with them. Plants go by their plantId. */
export interface Over {
  /** A smoothed rate, 0 to 1; nothing for plants too little was looked at near. */
  readonly rates: ReadonlyMap<number, number> | null;
  /** Plants with a find of an earlier year. */
  readonly earlier: ReadonlySet<number>;
  readonly listed: ReadonlyMap<number, Listing>;
  /** Plants chosen elsewhere, such as in a table. */
  readonly chosen: ReadonlySet<number>;
  /** More to say of a plant, after what its marks say. */
  says(row: number, plant: number): readonly string[];
}

/** Light to dark, the same order in grey, one for each fifth of the highest rate; the lowest fifth has none. */
export const rateTints = ["#FFFFFF", "#DDE9E7", "#B5CFCB", "#7FA9A3", "#4B827B"] as const;

/** The tint of a rate where the highest shown is `top`: 0 to 4. */
export function tintOf(rate: number, top: number): number {
  if (!(rate > 0) || !(top > 0)) return 0;
  return Math.min(rateTints.length - 1, Math.floor((rate / top) * rateTints.length + 1e-9));
}

/** The highest of the rates; 0 without any. */
export function topRate(rates: ReadonlyMap<number, number> | null): number {
  let top = 0;
  for (const rate of rates?.values() ?? []) top = Math.max(top, rate);
  return top;
}
