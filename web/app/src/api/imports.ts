import type { Geometry, Position } from "../geo/position";
import { language } from "../i18n";
import type { Kind } from "../model/kinds";
import { Problem, type ProblemItem, problemFrom } from "./problem";
import { type Sent, upload } from "./upload";

/** Kinds of record a file can be taken as. */
export const importKinds = ["blocks", "rows", "surroundings", "finds", "tracks"] as const satisfies readonly Kind[];
export type ImportKind = (typeof importKinds)[number];

/** How one shape can be taken: as the file has it, mended, its corners in another order, its line as an outline. */
export const ways = ["read", "repaired", "reordered", "outline"] as const;
export type Way = (typeof ways)[number];

/** Something said about a file: a notice, an error, a question. Numbers count from 1. */
export interface Said {
  readonly message: string;
  readonly fix?: string;
  readonly key: string;
  readonly at: Place;
}

export interface Place extends Omit<ProblemItem, "detail" | "key" | "fix"> {
  /** A file inside an archive. */
  readonly entry?: string;
  readonly byte?: number;
}

/** What is wrong with one shape, or was mended in it. */
export interface SaidOfShape extends Said {
  /** Ground concerned. */
  readonly area_m2?: number;
  /** How much larger the shape is after it; less than 0 is smaller. */
  readonly grown_m2?: number;
  /** The ground concerned, to be shown. */
  readonly piece?: Geometry;
}

/** A shape as the file's feature, with the place it would be stored at; refused ones may have none. */
export interface ReadFeature {
  readonly type: "Feature";
  readonly id?: string;
  readonly geometry: Geometry | null;
  readonly properties: Readonly<Record<string, unknown>> | null;
}

/** `ask`: the person must choose; `present`: the farm has a record of this id. */
export type ShapeState = "ready" | "repaired" | "ask" | "refused" | "present";

/** One feature of a file; `number` names it when it is agreed to. */
export interface Proposed {
  readonly number: number;
  readonly id: string;
  readonly name: string;
  readonly at?: Place;
  readonly layer?: string;
  readonly state: ShapeState;
  /** The ways it can be taken, the proposed one first. */
  readonly choices: readonly Way[];
  /** As the first choice would store it. */
  readonly feature: ReadFeature;
  /** As the file draws it, where that differs; it may be no proper shape. */
  readonly as_read?: Geometry | null;
  readonly shapes?: Readonly<Partial<Record<Way, Geometry>>>;
  readonly areas?: Readonly<Partial<Record<Way, number>>>;
  /** By plain arithmetic of the file's rings. */
  readonly before_m2?: number;
  readonly said?: readonly SaidOfShape[];
  readonly overlaps?: readonly { readonly block: string; readonly name: string; readonly area_m2: number }[];
  readonly present?: { readonly revision: number; readonly same: boolean } | null;
}

export const topics = ["system", "day-order", "columns", "zone", "axes"] as const;
export type Topic = (typeof topics)[number];

/** One answer a question can have; a coordinate system shows where it would put the file. */
export interface Answer {
  readonly value: string;
  readonly text: string;
  readonly centre?: Position;
  readonly shape?: Geometry;
  readonly area_m2?: number;
}

export interface Question extends Said {
  readonly topic?: Topic;
  readonly choices?: readonly Answer[];
}

/** How a table of text is understood: which column is what. */
export interface Columns {
  readonly delimiter: string;
  readonly header: readonly string[];
  readonly rows: readonly (readonly string[])[];
  readonly guess: Readonly<Record<string, string>>;
  readonly fields: readonly { readonly value: string; readonly text: string }[];
}

/** Bytes and features read so far. */
export interface Progress {
  readonly done: number;
  readonly total: number;
  readonly features: number;
}

/** A file as read. Nothing is stored until it is agreed to. */
export interface Proposal {
  readonly id: string;
  readonly kind: ImportKind;
  readonly file?: string;
  readonly state: "reading" | "proposed" | "refused" | "stored" | "undone";
  readonly progress?: Progress | null;
  /** Why the reading ended without a result. */
  readonly problem?: string;
  readonly outcome?: "accept" | "repair" | "ask" | "reject";
  readonly format?: string;
  readonly errors?: readonly Said[] | null;
  readonly notices?: readonly Said[] | null;
  readonly questions?: readonly Question[] | null;
  readonly columns?: Columns | null;
  readonly features?: readonly Proposed[] | null;
}

/** What the person says about a file that does not say it itself. */
export interface Answers {
  readonly kind?: ImportKind;
  readonly zone?: string;
  readonly system?: string;
  readonly day_order?: string;
  readonly columns?: Readonly<Record<string, string>>;
  readonly swap?: boolean;
}

/** What is agreed to: a feature by number, how, and properties to set over the file's. */
export interface Taken {
  readonly number: number;
  readonly as?: Way;
  readonly properties?: Readonly<Record<string, unknown>>;
}

export interface StoredImport {
  readonly outcomes: readonly { readonly id: string; readonly status: number; readonly problem?: unknown }[];
  readonly sequence: number;
}

/** What this needs of the net. */
interface Asking {
  json<T>(path: string, ask?: Ask): Promise<T>;
  ask(path: string, ask?: Ask): Promise<Response>;
  onSignedOut: (askedMs: number) => void;
}

interface Ask {
  readonly method?: string;
  readonly body?: BodyInit;
  readonly headers?: Record<string, string>;
  readonly signal?: AbortSignal;
  readonly timeoutMs?: number;
  readonly keepalive?: boolean;
}

const json = { "Content-Type": "application/json" };
// The work goes on after the answer; the page asks how far it is.
const later = { Prefer: "respond-async" };
// A proposal of a hundred thousand shapes is tens of megabytes.
const longMs = 180_000;

/** The files of one farm: read, answered, stored, taken back. */
export class Imports {
  readonly #net: Asking;
  readonly #path: string;
  readonly #upload: typeof upload;

  constructor(net: Asking, path: string, send: typeof upload = upload) {
    this.#net = net;
    this.#path = path;
    this.#upload = send;
  }

  #one(id: string): string {
    return `${this.#path}/${encodeURIComponent(id)}`;
  }

  /** Sends a file. The answer is in state "reading" unless it was read at once. */
  async propose(file: File, answers: Answers, heard: (sent: Sent) => void, signal: AbortSignal): Promise<Proposal> {
    const form = new FormData();
    for (const [name, value] of Object.entries(answers)) {
      if (value !== undefined) form.set(name, typeof value === "object" ? JSON.stringify(value) : String(value));
    }
    form.set("file", file);
    const askedMs = Date.now();
    const answer = await this.#upload(this.#path, form, { headers: { Accept: "application/json", "Accept-Language": language.get(), ...later }, signal, heard });
    if (answer.status >= 200 && answer.status < 300) return answer.body as Proposal;
    if (answer.status === 401) this.#net.onSignedOut(askedMs);
    throw problemFrom(answer.body, answer.status);
  }

  now(id: string, signal?: AbortSignal): Promise<Proposal> {
    return this.#net.json(this.#one(id), { signal, timeoutMs: longMs });
  }

  /** Has the same file read again with these answers. */
  answer(id: string, answers: Answers, signal?: AbortSignal): Promise<Proposal> {
    return this.#net.json(this.#one(id), { method: "PATCH", body: JSON.stringify(answers), headers: { ...json, ...later }, signal, timeoutMs: longMs });
  }

  /** Stores what was agreed, all of it or nothing; safe to repeat. */
  store(id: string, take: readonly Taken[]): Promise<StoredImport> {
    return this.#net.json(this.#one(id), { method: "POST", body: JSON.stringify({ take }), headers: json, timeoutMs: longMs });
  }

  /** Stops the reading, forgets the proposal, or takes back what was stored: how many were taken back. */
  async remove(id: string, keepalive = false): Promise<number> {
    const answer = await this.#net.ask(this.#one(id), { method: "DELETE", keepalive, timeoutMs: longMs });
    if (answer.status === 204) return 0;
    const body = (await answer.json().catch(() => null)) as { undone?: number } | null;
    if (!body) throw new Problem({ status: answer.status, title: "" });
    return body.undone ?? 0;
  }
}
