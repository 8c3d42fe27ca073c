import type { LineString, MultiLineString } from "../geo/position";
import type { Language } from "../i18n";
import type { Inspected } from "../model/kinds";
import type { Client, Options } from "./client";

interface ProgrammeTexts {
  readonly title: string;
  readonly stage: string;
  /** What is a hit. */
  readonly what: string;
  /** What is looked at, plural. */
  readonly unit: string;
  readonly sample: string;
  readonly note: string;
  readonly source: string;
}

/** What weighs a count of a programme. A level is a share or a mean of one unit looked at. */
export interface Weighed {
  readonly id: string;
  readonly cause: string;
  /** How many the rule asks for; 0 where it gives none. */
  readonly look: number;
  /** Null where none is established. */
  readonly level: number | null;
  /** One hit is enough. */
  readonly any: boolean;
  readonly sides: 1 | 2;
  readonly sureness: number;
  /** binomial: each thing looked at shows it or not. poisson: each may show several. */
  readonly method: "binomial" | "poisson";
}

/** One thing to count on a walk, in both languages: the phone keeps it for when there is no line. */
export interface Programme extends Weighed {
  readonly texts: Readonly<Record<Language, ProgrammeTexts>>;
}

export interface Programmes {
  readonly programmes: readonly Programme[];
}

export type Verdict = "above" | "below" | "cannot-tell";

/** What a count says, worked out on the server. */
export interface CountAnswer {
  readonly programme: string;
  readonly answer: Verdict;
  readonly says: string;
  readonly n: number;
  readonly hits: number;
  readonly rate: number;
  readonly interval: readonly [number, number];
  readonly more: { readonly if_clean: number | null; readonly if_all_hits: number | null; readonly at_this_rate: number | null };
  readonly excludes: string | null;
  readonly how: string;
  readonly source: string;
  readonly caution: string;
}

export interface VisitSummary {
  readonly says: readonly string[];
  readonly counts: readonly { readonly what: string; readonly sampled: number; readonly hits: number; readonly answer: (CountAnswer & { readonly title: string }) | null }[];
  readonly unsaid: readonly { readonly find: string; readonly words: string; readonly question: string }[];
}

export interface Walked {
  readonly inspected: readonly Inspected[];
  readonly rows: readonly { readonly row: number; readonly chance: number; readonly plants: number }[];
  readonly fixes: number;
  readonly unplaced: number;
  readonly how: string;
}

/** What the server works out for a walk; nothing of it is stored. */
export class Fieldwork {
  readonly #api: Client;
  constructor(api: Client) {
    this.#api = api;
  }

  programmes(options: Options = {}): Promise<Programmes> {
    return this.#api.net.json(this.#api.path("programmes"), options);
  }

  weigh(programme: string, sampled: number, hits: number, options: Options = {}): Promise<CountAnswer> {
    return this.#api.net.post(this.#api.path("counts"), { programme, sampled, hits }, options);
  }

  summary(visit: string, options: Options = {}): Promise<VisitSummary> {
    return this.#api.net.json(this.#visit(visit, "summary"), options);
  }

  /** Which rows a recorded walk went along; `accuracyM` is the radius of its fixes. */
  walked(visit: string, track: LineString | MultiLineString, accuracyM: number, options: Options = {}): Promise<Walked> {
    return this.#api.net.post(this.#visit(visit, "walked"), { track, accuracy_m: accuracyM }, options);
  }

  #visit(id: string, what: string): string {
    return this.#api.path(`collections/visits/items/${encodeURIComponent(id)}/${what}`);
  }
}
