import type { Cause, FindState, Severity } from "../model/kinds";
import type { Client, Options } from "./client";
import type { Verdict, Weighed } from "./fieldwork";

/** One thing a name may mean. */
export interface Candidate {
  readonly cause: Cause;
  readonly name: string;
  readonly organisms: readonly string[];
  readonly hosts: string;
  readonly signs: string;
  readonly when: string;
  readonly advice: string;
  readonly plant_goes: boolean;
  readonly source: string;
}

export interface Naming {
  /** It means more than one thing: somebody must say which. */
  readonly ask: boolean;
  readonly question: string;
  readonly candidates: readonly Candidate[];
}

export const answers = ["confirmed", "refuted", "undecided"] as const;
export type LabAnswer = (typeof answers)[number];

export interface LabResult {
  readonly answer: LabAnswer;
  readonly result: string;
  readonly result_on: string;
  readonly found?: Cause;
  readonly organism?: string;
  readonly accession?: string;
  readonly method?: string;
  readonly laboratory?: string;
  readonly why?: string;
}

export interface Instructions {
  readonly send: readonly { readonly text: string; readonly source: string }[];
  readonly cautions: readonly string[];
}

/** What was found of one cause on one plant. */
export interface Episode {
  readonly row: number;
  readonly plant: number;
  readonly cause: Cause;
  readonly name: string;
  readonly organism: string;
  readonly state: FindState;
  readonly newest: string;
  readonly seasons: readonly number[];
  readonly finds: readonly { readonly id: string; readonly found_at: string; readonly state: FindState; readonly words: string; readonly severity: Severity | null; readonly again: boolean }[];
  readonly removed: string | null;
  readonly replanted: string | null;
}

export interface Again {
  readonly season: number;
  readonly plants: readonly (Episode & { readonly why: string; readonly seen: boolean })[];
  readonly how: string;
}

export type Method = Weighed["method"];

/** A counting programme in the page's language, as its list shows it. */
export interface Programme extends Weighed {
  readonly title: string;
  readonly stage: string;
  readonly what: string;
  readonly unit: string;
  readonly sample: string;
  readonly sites: number;
  readonly at_least: boolean;
  readonly note: string;
  readonly source: string;
  readonly own: boolean;
  readonly built_in: boolean;
}

/** A programme as a farm writes it. */
export type OwnProgramme = Omit<Programme, "own" | "built_in" | "level"> & { readonly level?: number };

export interface ProgrammeEdits {
  readonly programmes?: readonly OwnProgramme[];
  readonly hidden?: readonly string[];
}

export interface Programmes {
  readonly programmes: readonly Programme[];
  readonly unused: readonly Programme[];
  /** Empty while the farm never changed the list. */
  readonly etag: string;
  readonly edits: ProgrammeEdits;
}

export interface PastCount {
  readonly visit: string;
  readonly at: string;
  readonly n: number;
  readonly hits: number;
  readonly rate: number;
  readonly interval: readonly [number, number];
  readonly answer: Verdict;
  readonly says: string;
  readonly level: number | null;
  readonly how: string;
}

export interface PastCounts {
  readonly season: number;
  readonly series: readonly { readonly programme: Programme; readonly counts: readonly PastCount[] }[];
  readonly left_out: number;
  readonly how: string;
  readonly caution: string;
}

export const walkKinds = ["spread", "random"] as const;
export type WalkKind = (typeof walkKinds)[number];

export interface WalkAsk {
  readonly block: string;
  readonly programme?: string;
  readonly stops?: number;
  readonly seed: number;
  readonly kind: WalkKind;
}

export interface WalkStop {
  readonly number: number;
  readonly row: number;
  readonly plant: number;
  /** Null where the row is not drawn. */
  readonly lon: number | null;
  readonly lat: number | null;
}

export interface SamplingWalk {
  readonly stops: readonly WalkStop[];
  readonly plants: number;
  readonly seed: number;
  readonly kind: WalkKind;
  readonly says: string;
  readonly how: string;
}

/** What the server knows of names, samples, counts and walks. */
export class Scouting {
  readonly #api: Client;
  constructor(api: Client) {
    this.#api = api;
  }

  #get<T>(rest: string, params: Readonly<Record<string, string | number | undefined>>, options: Options): Promise<T> {
    const query = new URLSearchParams();
    for (const [name, value] of Object.entries(params)) if (value !== undefined && value !== "") query.set(name, String(value));
    return this.#api.net.json(`${this.#api.path(rest)}?${query}`, options);
  }

  #ofBlock(block: string, rest: string): string {
    return `collections/blocks/items/${encodeURIComponent(block)}/${rest}`;
  }

  names(q: string, options: Options = {}): Promise<Naming> {
    return this.#get("names", { q }, options);
  }

  instructions(options: Options = {}): Promise<Instructions> {
    return this.#get("sample-instructions", {}, options);
  }

  /** Enters a result; every find the sample covers moves with it. */
  enterResult(sample: string, result: LabResult): Promise<{ readonly moved: number }> {
    return this.#api.net.post(this.#api.path(`samples/${encodeURIComponent(sample)}/result`), result);
  }

  async episodes(block: string, row: number, plant: number, options: Options = {}): Promise<readonly Episode[]> {
    return (await this.#get<{ episodes: Episode[] }>(this.#ofBlock(block, "episodes"), { row, plant }, options)).episodes;
  }

  lookAgain(block: string, season: string | undefined, options: Options = {}): Promise<Again> {
    return this.#get(this.#ofBlock(block, "look-again"), { season }, options);
  }

  pastCounts(block: string, season: string | undefined, options: Options = {}): Promise<PastCounts> {
    return this.#get(this.#ofBlock(block, "counts"), { season }, options);
  }

  programmes(options: Options = {}): Promise<Programmes> {
    return this.#get("programmes", {}, options);
  }

  /** Replaces the farm's changes to the list; Problem.stale when somebody was first. */
  putProgrammes(edits: ProgrammeEdits, etag: string, why: string): Promise<Programmes> {
    return this.#api.net.json(this.#api.path("programmes"), {
      method: "PUT",
      body: JSON.stringify(edits),
      headers: { "Content-Type": "application/json", ...(etag ? { "If-Match": etag } : { "If-None-Match": "*" }), ...(why ? { "Caneward-Why": encodeURIComponent(why) } : {}) },
    });
  }

  walk(ask: WalkAsk, options: Options = {}): Promise<SamplingWalk> {
    return this.#api.net.post(this.#api.path("sampling-walk"), ask, options);
  }

  /** The address of the same walk as a file. */
  walkPath(ask: WalkAsk, form: "pdf" | "gpx"): string {
    const query = new URLSearchParams();
    for (const [name, value] of Object.entries(ask)) if (value !== undefined) query.set(name, String(value));
    return this.#api.path(`reports/sampling-walk.${form}?${query}`);
  }
}
