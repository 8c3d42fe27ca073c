import type { MultiPolygon, Polygon } from "../geo/position";
import type { Client, Options } from "./client";

export type Answer = "open" | "caution" | "stop";

export interface Reason {
  readonly answer: Answer;
  readonly pass?: string;
  readonly from?: string;
  readonly why: string;
  readonly source: string;
}

/** One thing somebody wants to do: `from` is absent where no clock tells. */
export interface Deed {
  readonly answer: Answer;
  readonly from?: string;
  readonly reasons: readonly Reason[];
}

export interface BoardPart {
  readonly area_m2: number;
  readonly share: number;
  /** Null: all of the block. */
  readonly geometry: Polygon | MultiPolygon | null;
  readonly passes: readonly string[];
  readonly enter: Deed;
  readonly pick: Deed;
  readonly tasks: readonly (Deed & { readonly task: string })[];
  readonly spray: readonly (Deed & { readonly product: string; readonly name: string })[];
}

export interface BoardLine {
  readonly block: string;
  readonly name: string;
  readonly enter: Deed;
  readonly pick: Deed;
  readonly parts: readonly BoardPart[];
}

export interface Board {
  readonly at: string;
  readonly zone: string;
  readonly blocks: readonly BoardLine[];
  readonly owner_exempt: boolean;
  readonly caution: string;
}

export interface Due {
  readonly pass: string;
  readonly rule: string;
  readonly jurisdiction: string;
  readonly name: string;
  readonly done: boolean;
  readonly late: boolean;
  readonly by?: string;
  readonly kept_until?: string;
  readonly missing: readonly string[];
  readonly source: string;
}

export interface DueList {
  readonly at: string;
  readonly due: readonly Due[];
  readonly caution: string;
}

export interface SheetRate {
  readonly name: string;
  readonly used: { readonly value: number; readonly unit: string };
  readonly difference?: number;
  readonly per_treated_acre?: number;
  readonly per_covered_acre?: number;
  readonly how: string;
}

export interface PassSheet {
  readonly state: string;
  readonly restricted: boolean;
  readonly rates: readonly SheetRate[];
  readonly duties: readonly Due[];
  readonly corrected_by: string;
  readonly conditions: readonly string[];
  readonly entry_from?: string;
  readonly displayed_until?: string;
}

export interface Law {
  readonly jurisdictions: readonly string[];
  readonly owner_exempt: boolean;
  readonly etag: string;
  readonly known: readonly { readonly id: string; readonly name: string }[];
}

export interface Coverage {
  readonly areas: Readonly<Record<string, number>>;
  readonly geometries: Readonly<Record<string, Polygon | MultiPolygon | null>>;
  readonly runs: number;
  readonly pieces: number;
  readonly sprayed_length_m: number;
  readonly how: Readonly<Record<string, string>>;
  readonly caution: string;
}

const query = (params: Readonly<Record<string, string | undefined>>) => {
  const q = new URLSearchParams();
  for (const [name, value] of Object.entries(params)) if (value) q.set(name, value);
  const text = q.toString();
  return text ? `?${text}` : "";
};

export const board = (api: Client, ask: { at?: string; product?: string }, options: Options) => api.net.json<Board>(api.path(`may-i${query(ask)}`), options);
export const dueList = (api: Client, options: Options) => api.net.json<DueList>(api.path("records-due"), options);
export const passSheet = (api: Client, pass: string, options: Options) => api.net.json<PassSheet>(api.path(`pass-sheet${query({ pass })}`), options);
export const law = (api: Client, options: Options) => api.net.json<Law>(api.path("law"), options);
export const putLaw = (api: Client, choice: { jurisdictions: readonly string[]; owner_exempt: boolean }, etag: string) =>
  api.net.json<Law>(api.path("law"), { method: "PUT", body: JSON.stringify(choice), headers: { "Content-Type": "application/json", ...(etag ? { "If-Match": etag } : {}) } });
export const coverage = (api: Client, ask: Readonly<Record<string, unknown>>, options: Options) => api.net.post<Coverage>(api.path("coverage"), ask, { ...options, timeoutMs: 60_000 });
