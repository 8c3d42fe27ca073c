import type { Geometry } from "../../geo/position";
import type { Amount } from "../../model/kinds";

export const areaNames = ["outline", "planted", "treated", "covered", "withheld", "overlap"] as const;
export type AreaName = (typeof areaNames)[number];

export type Areas = Readonly<Partial<Record<`${AreaName}_m2`, number>>>;

export interface Total {
  /** Id of the product record, or the name as typed. */
  readonly product: string;
  readonly name?: string;
  readonly amount: Amount;
  readonly exact_si?: unknown;
  /** The rate of product, where the one asked is of an ingredient. */
  readonly rate?: Amount & { readonly per: string };
}

/** One product's share of a tank: a total, or the bare amount in the order of the totals. */
export type Share = Amount | { readonly product?: string; readonly name?: string; readonly amount: Amount };

export interface Tanks {
  readonly full: number;
  readonly last: Amount | null;
  readonly each: readonly Share[] | null;
  readonly in_last: readonly Share[] | null;
}

export interface Distance {
  readonly block: string;
  readonly to: string;
  readonly kind: string;
  readonly m: number;
  readonly nearest?: { readonly ground: readonly [number, number]; readonly feature: readonly [number, number] };
  /** From the ground treated, where that is near; feet rounded down. */
  readonly treated?: { readonly m: number; readonly feet_down: number; readonly nearest: { readonly ground: readonly [number, number]; readonly feature: readonly [number, number] } };
  readonly drawn_by_eye?: boolean;
  readonly line_accuracy_m?: number;
}

export interface CheckLine {
  readonly rule: string;
  readonly answer: "ok" | "caution" | "stop";
  readonly why: string;
  readonly source: string;
  readonly measured?: { readonly value: number; readonly limit: number; readonly unit: string };
  readonly block?: string;
  readonly at?: readonly [number, number];
  readonly ground?: Geometry;
  readonly area_m2?: number;
  readonly share?: number;
  readonly passes?: readonly string[];
}

export interface Exclusion {
  readonly distance_m: number;
  readonly ground: Geometry | null;
  readonly within: readonly string[];
}

/** What the server says to a draft. Lists may come as null when empty. */
export interface Worked {
  readonly areas: Areas;
  readonly treated: Geometry | null;
  readonly withheld: Geometry | null;
  readonly row_length_m?: number | undefined;
  readonly plants?: number | undefined;
  readonly distances: readonly Distance[] | null;
  readonly totals: readonly Total[] | null;
  readonly carrier: Amount | null;
  readonly tanks: Tanks | null;
  readonly checks: readonly CheckLine[] | null;
  /** How figures came about, in the page's language; `figure` is a path such as "areas.treated_m2". */
  readonly how?: readonly { readonly figure: string; readonly formula: string; readonly source: string }[] | undefined;
  /** Day, YYYY-MM-DD, and instant; absent where no label says. */
  readonly first_harvest_on?: string | undefined;
  readonly entry_from?: string | undefined;
  readonly exclusion?: Exclusion | undefined;
  readonly mixing?: readonly string[] | undefined;
  /** The labels as they stood, kept with the pass. */
  readonly labels?: readonly unknown[] | undefined;
}

export const amountOf = (share: Share): Amount => ("amount" in share ? share.amount : share);

// What measuring tools show (domain note, section 4: fl oz to 0.1, lb to 0.01);
// the metric ones are common practice.
const toolDigits: Readonly<Record<string, number>> = { fl_oz: 1, oz_wt: 1, lb: 2, gal: 2, qt: 2, pt: 2, mL: 0, L: 2, g: 0, kg: 3 };

// Binary fractions put 40.8 a hair under itself; a hundred millionth of the
// tool's last digit is no product.
const slack = 1e-8;

/** An amount as the measuring tool can show it: cut, never rounded up, so that no dose is raised. */
export function measured(a: Amount): { value: number; unit: string; digits: number } {
  const digits = toolDigits[a.unit] ?? 2;
  const size = 10 ** digits;
  return { value: Math.floor(a.value * size + slack) / size, unit: a.unit, digits };
}

/** What a rate is multiplied with. */
export function baseOf(per: string): "area" | "spray" | "row" | "plants" {
  if (per === "100gal" || per === "100L" || per === "spray") return "spray";
  if (per === "1000ft" || per === "1000m") return "row";
  return per === "plant" ? "plants" : "area";
}
