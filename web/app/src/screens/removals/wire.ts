import type { Client } from "../../api/client";
import type { PlantAt, Stored } from "../../model/kinds";
import { signal } from "../../model/signal";

/** How a plant came onto a signed list. */
export type Why = "confirmed" | "between" | "margin" | "section" | "planting";

export interface Take extends PlantAt {
  readonly why: Why;
}

/** Ground taken whole, with the figures it was chosen on; shares from 0 to 1. */
export interface Ground {
  readonly first_row: number;
  readonly last_row: number;
  readonly from: number;
  readonly to: number;
  readonly limit: number;
  readonly reason: string;
  readonly whole: boolean;
  readonly plants: number;
  readonly inspected: number;
  readonly infected: number;
  readonly share: number;
  readonly lower_one_sided: number;
}

export interface SignedList {
  readonly remove: readonly Take[];
  readonly inspect: readonly PlantAt[];
  readonly apart: readonly { readonly find: string; readonly row?: number; readonly plant?: number; readonly state: string; readonly why: string }[];
  readonly grounds: readonly Ground[];
  readonly row_length_m: number | null;
  readonly standing: number | null;
  readonly share_of_block: number | null;
}

interface Signer {
  readonly name: string;
  readonly account: string;
}

/** A review's properties once it is signed. What a decision rests on, `frozen`, is for the server and its papers. */
export interface Decision {
  readonly block: string;
  readonly reasons: string;
  readonly signed_at: string;
  readonly signed_by: Signer;
  readonly supersedes?: string;
  readonly list: SignedList;
  readonly acknowledged?: Signer & { readonly at: string; readonly words?: string };
}

/** The decision in a review, null while it is a draft. */
export function decisionOf(review: Stored<"reviews"> | undefined): Decision | null {
  const p = review?.feature.properties;
  return p && typeof p["signed_at"] === "string" && typeof p["seal"] === "string" ? (p as unknown as Decision) : null;
}

export interface Section {
  readonly first_row: number;
  readonly last_row: number;
  readonly from: number;
  readonly to: number;
  readonly limit: number;
  readonly reason: string;
}

export type Reach = "confirmed" | "between" | "margin";

export interface Choosing {
  readonly reach: Reach;
  readonly margin_reason?: string;
  readonly sections?: readonly Section[];
  readonly planting?: { readonly limit: number; readonly reason: string };
}

export interface Proposal {
  readonly basis: string;
  readonly list: SignedList;
  readonly says: readonly string[];
  readonly analysis: {
    readonly list: { readonly between: readonly PlantAt[]; readonly margin: readonly PlantAt[] };
    readonly cautions: readonly string[];
    readonly groups: readonly { readonly number: number; readonly finds: readonly PlantAt[] }[];
  };
}

/** What the page of groups asked last: exactly that is put before the adviser to sign. */
export const asked = signal<{ readonly block: string; readonly body: object } | null>(null);

const slow = { timeoutMs: 180_000 };

export function propose(api: Client, ask: object, choice: Choosing, signal?: AbortSignal): Promise<Proposal> {
  return api.net.post(api.path("reviews/proposal"), { ask, choice }, signal ? { ...slow, signal } : slow);
}

export interface Signing {
  readonly id: string;
  readonly ask: object;
  readonly choice: Choosing;
  readonly basis: string;
  readonly reasons: string;
  readonly name: string;
  readonly supersedes?: string;
}

export async function sign(api: Client, signing: Signing): Promise<void> {
  await api.net.post(api.path("reviews"), signing, slow);
}

export async function acknowledge(api: Client, review: string, name: string, words: string): Promise<void> {
  await api.net.post(api.path(`reviews/${review}/acknowledgement`), words ? { name, words } : { name });
}

export interface Share {
  readonly inspected: number;
  readonly infected: number;
  readonly share: number;
  readonly low: number;
  readonly high: number;
}

export interface Area {
  /** Null: the whole block. */
  readonly group: number | null;
  readonly first_row?: number;
  readonly last_row?: number;
  readonly from?: number;
  readonly to?: number;
  readonly before: Share | null;
  readonly after: Share | null;
}

export interface FollowUp {
  readonly listed: number;
  readonly taken: number;
  readonly back: number;
  readonly since: string;
  readonly until: string;
  readonly areas: readonly Area[];
  readonly places: { readonly empty: number; readonly how: string } | null;
  readonly says: readonly string[];
  readonly how: string;
}

export function followUp(api: Client, review: string, days: { since?: string; asOf?: string }): Promise<FollowUp> {
  const query = new URLSearchParams();
  if (days.since) query.set("since", days.since);
  if (days.asOf) query.set("as_of", days.asOf);
  return api.net.json(api.path(`reviews/${review}/follow-up?${query}`));
}

export interface Look {
  readonly number: number;
  readonly from: string;
  readonly by: string;
  readonly state: "later" | "due" | "overdue" | "looked" | "back";
  readonly on?: string;
  readonly when: string;
}

export interface Watched {
  readonly removal: string;
  readonly block: string;
  readonly plants: readonly PlantAt[];
  readonly done_on: string;
  readonly looks: readonly Look[];
}

export interface Looks {
  readonly as_of: string;
  readonly due: number;
  readonly overdue: number;
  readonly removals: readonly Watched[];
  readonly how: string;
}

export function looks(api: Client, asOf: string, block?: string): Promise<Looks> {
  const query = new URLSearchParams({ as_of: asOf, ...(block ? { block } : {}) });
  return api.net.json(api.path(`regrowth-checks?${query}`));
}
