import type { Geometry } from "../geo/position";
import { language, t } from "../i18n";
import type { Feature, Kind, Stored } from "../model/kinds";
import type { Who } from "../model/farm";
import { heardClock } from "../offline/clock";
import { Imports } from "./imports";
import { Problem, problemOf, unreachable } from "./problem";

/** A network with one bar gets this long before the page says so. */
export const timeoutMs = 20_000;

/** Pages of a list are asked for in this size; the server may give fewer. */
const pageSize = 1000;
/** A farm of more than this many records of a kind is not for a phone: the list stops and says so. */
const mostPages = 200;

type Fetch = typeof fetch;
export type Json = unknown;

export interface Options {
  readonly signal?: AbortSignal;
  /** For work the server takes long over, such as a scan. */
  readonly timeoutMs?: number;
}

interface Ask extends Options {
  readonly method?: string;
  readonly body?: BodyInit;
  readonly headers?: Record<string, string>;
  /** Outlives the page, as what is sent on leaving must. */
  readonly keepalive?: boolean;
}

/** Requests with the page's language, a time limit, and refusals as Problem. */
export class Net {
  readonly #fetch: Fetch;
  /** Called when the server no longer knows who is signed in, with when that was asked. */
  onSignedOut: (askedMs: number) => void = () => undefined;
  /** Until when nobody is asked to sign in again, for she has just put it off; 0 when she may be asked. */
  quietUntilMs = 0;

  constructor(fetcher: Fetch = (...args) => fetch(...args)) {
    this.#fetch = fetcher;
  }

  /** The answer as it came; throws Problem for every status of 400 and above and when nothing came. */
  async ask(path: string, ask: Ask = {}): Promise<Response> {
    const limit = AbortSignal.timeout(ask.timeoutMs ?? timeoutMs);
    const signal = ask.signal ? AbortSignal.any([ask.signal, limit]) : limit;
    let answer: Response;
    const askedMs = Date.now();
    try {
      answer = await this.#fetch(path, {
        method: ask.method ?? "GET",
        body: ask.body,
        credentials: "same-origin",
        headers: { Accept: "application/geo+json, application/json", "Accept-Language": language.get(), ...ask.headers },
        keepalive: ask.keepalive,
        signal,
      });
    } catch (cause) {
      if (ask.signal?.aborted) throw cause;
      throw unreachable(limit.aborted);
    }
    heardClock(answer.headers.get("Date"), askedMs, Date.now());
    if (answer.ok) return answer;
    if (answer.status === 401 && !path.startsWith("/sessions")) this.onSignedOut(askedMs);
    throw await problemOf(answer);
  }

  async json<T>(path: string, ask: Ask = {}): Promise<T> {
    return read<T>(await this.ask(path, ask));
  }

  /** POSTs JSON and reads JSON. */
  post<T>(path: string, body: Json, options: Options = {}): Promise<T> {
    return this.json<T>(path, { ...options, method: "POST", body: JSON.stringify(body), headers: jsonBody });
  }
}

const jsonBody = { "Content-Type": "application/json" };
const geoJsonBody = { "Content-Type": "application/geo+json" };

async function read<T>(answer: Response): Promise<T> {
  try {
    return (await answer.json()) as T;
  } catch {
    throw new Problem({ status: answer.status, title: t("core-problem-garbled") });
  }
}

/** The key of the question for the code of a second factor. */
export const codeWanted = "web-code-wanted";

/** Sign-in and who is signed in. */
export class Sessions {
  readonly #net: Net;
  constructor(net: Net) {
    this.#net = net;
  }
  /** Null when nobody is signed in. */
  async whoAmI(): Promise<Who | null> {
    try {
      return await this.#net.json<Who>("/sessions/current");
    } catch (thrown) {
      if (thrown instanceof Problem && thrown.status === 401) return null;
      throw thrown;
    }
  }
  /** With a second factor on, the server asks for its code by the key `codeWanted`. */
  async signIn(name: string, password: string, code: string): Promise<void> {
    await this.#net.ask("/sessions", { method: "POST", body: JSON.stringify({ name, password, ...(code ? { code } : {}) }), headers: jsonBody });
  }
  async signOut(): Promise<void> {
    await this.#net.ask("/sessions/current", { method: "DELETE" });
  }
}

/** Filters of a list; undefined ones are left out. */
export type ListParams = Readonly<Record<string, string | number | undefined>>;

interface FeaturePage<K extends Kind> {
  readonly features: readonly WireFeature<K>[];
  readonly links?: readonly { readonly rel: string; readonly href: string }[];
}

type WireFeature<K extends Kind> = Feature<K> & Readonly<Record<string, unknown>>;

const ownMembers = new Set(["type", "id", "geometry", "properties", "bbox"]);

function stored<K extends Kind>(kind: K, wire: WireFeature<K>, etag: string | null): Stored<K> {
  const extra: Record<string, unknown> = {};
  for (const [name, value] of Object.entries(wire)) if (!ownMembers.has(name)) extra[name] = value;
  const tag = etag ?? (typeof wire["etag"] === "string" ? wire["etag"] : null);
  return {
    kind,
    id: wire.id,
    feature: { type: "Feature", id: wire.id, geometry: wire.geometry, properties: wire.properties },
    revision: typeof wire["revision"] === "number" ? wire["revision"] : revisionIn(tag),
    etag: tag,
    extra,
  };
}

/** A record as the changes feed tells it. */
export function storedFrom<K extends Kind>(kind: K, record: Feature<K>): Stored<K> {
  return stored(kind, record as WireFeature<K>, null);
}

// An entity tag of this server starts with the revision's number.
function revisionIn(etag: string | null): number | null {
  const m = /^(?:W\/)?"r?(\d+)/.exec(etag ?? "");
  return m ? Number(m[1]) : null;
}

/** One change of a batch; `base` is the number of the revision it replaces, null creates. */
export interface Change {
  readonly op: "put" | "delete";
  readonly kind: Kind;
  readonly id: string;
  readonly record?: Feature;
  readonly base: number | null;
  readonly why?: string;
}

export interface Outcome {
  readonly id: string;
  readonly status: number;
  readonly revision?: number;
  readonly etag?: string;
  /** On 409 and 412: the number of the revision that stands. */
  readonly current?: number;
  /** A problem document; readProblem reads it. */
  readonly problem?: Json;
}

export interface Changed {
  readonly sequence: number;
  readonly kind: Kind;
  readonly id: string;
  readonly revision: number;
  readonly deleted: boolean;
  readonly record: Feature | null;
}

/** One revision of a record: who, when, why, what. The record of a closing one is null. */
export interface RevisionEntry {
  readonly revision: number;
  readonly at: string;
  readonly by: { readonly id: string; readonly name: string; readonly role: string };
  readonly why?: string;
  readonly deleted?: boolean;
  readonly record: Feature | null;
}

export interface LayoutRow {
  readonly number: number;
  readonly length_m: number;
  readonly plants: number;
  readonly parts: readonly (readonly (readonly number[])[])[];
}

export interface LayoutAnswer {
  readonly rows: number;
  readonly row_length_m: number;
  readonly plants: number;
  readonly planted_m2: number;
  readonly outline_m2: number;
  readonly each: readonly LayoutRow[];
}

export interface LayoutAsk {
  readonly outline?: Geometry;
  readonly block?: string;
  readonly row_spacing_m: number;
  readonly plant_spacing_m: number;
  readonly bearing_deg?: number;
  readonly headland_m?: number;
  readonly first_row_side?: string;
  readonly first_plant_end?: string;
}

/** One thing that can be taken away as a file: the whole farm, or a kind. */
export interface Export {
  /** "farm", or a kind. */
  readonly name: string;
  readonly title: string;
  readonly count: number;
  readonly files: readonly {
    /** The file's ending. */
    readonly form: string;
    readonly format: string;
    /** The path, for a link. */
    readonly href: string;
    /** What reads differently in that format than on the farm. */
    readonly says?: readonly string[];
  }[];
}

/** Everything of one farm that goes over the net. */
export class Client {
  readonly net: Net;
  readonly farm: string;
  readonly imports: Imports;
  constructor(net: Net, farm: string) {
    this.net = net;
    this.farm = farm;
    this.imports = new Imports(net, this.path("imports"));
  }

  /** A path below the farm. */
  path(rest: string): string {
    return `/farms/${encodeURIComponent(this.farm)}/${rest}`;
  }

  #item(kind: Kind, id: string): string {
    return this.path(`collections/${kind}/items/${encodeURIComponent(id)}`);
  }

  /** All records of a kind that meet the filters, page after page. */
  async list<K extends Kind>(kind: K, params: ListParams = {}, options: Options = {}): Promise<Stored<K>[]> {
    const query = new URLSearchParams();
    for (const [name, value] of Object.entries({ limit: pageSize, ...params })) {
      if (value !== undefined) query.set(name, String(value));
    }
    let next: string | undefined = `${this.path(`collections/${kind}/items`)}?${query}`;
    const all: Stored<K>[] = [];
    for (let page = 0; next && page < mostPages; page++) {
      const got: FeaturePage<K> = await this.net.json<FeaturePage<K>>(next, options);
      for (const wire of got.features) all.push(stored(kind, wire, null));
      next = here(got.links?.find((l) => l.rel === "next")?.href);
    }
    return all;
  }

  async get<K extends Kind>(kind: K, id: string, options: Options = {}): Promise<Stored<K>> {
    const answer = await this.net.ask(this.#item(kind, id), options);
    return stored(kind, await read<WireFeature<K>>(answer), answer.headers.get("ETag"));
  }

  /** Creates (base null) or replaces the revision `base`; Problem.stale when somebody was first. */
  async put<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, why?: string): Promise<Stored<K>> {
    const match = await this.#match(base);
    const answer = await this.net.ask(this.#item(kind, feature.id), {
      method: "PUT",
      body: JSON.stringify(why ? { ...feature, why } : feature),
      headers: { ...geoJsonBody, ...match },
    });
    const etag = answer.headers.get("ETag");
    const wire = answer.headers.get("Content-Type")?.includes("json") ? await read<WireFeature<K>>(answer) : null;
    return wire && wire.properties ? stored(kind, wire, etag) : stored(kind, feature as WireFeature<K>, etag);
  }

  /** Closes a record. The answer is the base under which put() brings it back. */
  async del<K extends Kind>(base: Stored<K>): Promise<Stored<K>> {
    const now = base.etag && base.revision ? base : await this.get(base.kind, base.id);
    await this.net.ask(this.#item(base.kind, base.id), { method: "DELETE", headers: await this.#match(now) });
    const closing = (now.revision ?? 0) + 1;
    return { ...now, revision: closing, etag: `"${closing}"` };
  }

  async #match(base: Stored | null): Promise<Record<string, string>> {
    if (!base) return { "If-None-Match": "*" };
    const etag = base.etag ?? (await this.get(base.kind, base.id)).etag;
    return etag ? { "If-Match": etag } : {};
  }

  /** Every revision of a record, oldest first. */
  async revisions(kind: Kind, id: string, options: Options = {}): Promise<readonly RevisionEntry[]> {
    const got = await this.net.json<{ revisions: RevisionEntry[] }>(`${this.#item(kind, id)}/revisions`, options);
    return got.revisions;
  }

  /** Sends an ordered batch; each outcome stands alone; safe to repeat whole. */
  sendChanges(changes: readonly Change[], options: Options = {}): Promise<{ outcomes: Outcome[]; sequence: number }> {
    return this.net.post(this.path("changes"), { changes }, options);
  }

  /** Everything since a sequence number. */
  changesAfter(after: number, limit = 1000, options: Options = {}): Promise<{ changes: Changed[]; sequence: number; more: boolean; view?: string }> {
    return this.net.json(`${this.path("changes")}?after=${after}&limit=${limit}`, options);
  }

  /** Stores a photo under the id its finder gave it; the same one again is no harm. */
  async putPhoto(id: string, type: string, data: ArrayBuffer, options: Options = {}): Promise<void> {
    await this.net.ask(this.photoPath(id), { ...options, method: "PUT", body: data, headers: { "Content-Type": type } });
  }

  /** The address of a photo, for an <img>. */
  photoPath(id: string): string {
    return this.path(`photos/${encodeURIComponent(id)}`);
  }

  /** A draft pass in; areas, totals, tank sheet and checks out; nothing stored. */
  treatedArea<T>(draft: Json, options: Options = {}): Promise<T> {
    return this.net.post<T>(this.path("treated-area"), draft, options);
  }

  /** The sums of the trade, in groups, in the page's language. */
  calcTopics<T>(options: Options = {}): Promise<T> {
    return this.net.json<T>(this.path("calc"), options);
  }

  /** One sum worked out. */
  calc<T>(topic: string, inputs: Json, options: Options = {}): Promise<T> {
    return this.net.post<T>(this.path(`calc/${encodeURIComponent(topic)}`), inputs, options);
  }

  /** The farm's sprayers and what calibrating them gave. */
  sprayers<T>(options: Options = {}): Promise<T> {
    return this.net.json<T>(this.path("sprayers"), options);
  }

  /** Replaces the farm's sprayers; an empty tag creates the list. */
  putSprayers<T>(document: Json, etag: string, options: Options = {}): Promise<T> {
    const match: Record<string, string> = etag ? { "If-Match": etag } : { "If-None-Match": "*" };
    return this.net.json<T>(this.path("sprayers"), { ...options, method: "PUT", body: JSON.stringify(document), headers: { ...jsonBody, ...match } });
  }

  /** Groups, scan, runs and list. A scan of a large block takes long: three minutes are allowed; pass a signal for the stop button. */
  hotSpots<T>(ask: Json, options: Options = {}): Promise<T> {
    return this.net.post<T>(this.path("hot-spots"), ask, { timeoutMs: 180_000, ...options });
  }

  layout(ask: LayoutAsk, options: Options = {}): Promise<LayoutAnswer> {
    return this.net.post<LayoutAnswer>(this.path("layout"), ask, options);
  }

  /** The files the farm can be taken away as. */
  async exports(options: Options = {}): Promise<readonly Export[]> {
    const got = await this.net.json<{ exports: Export[] }>(this.path("exports"), options);
    return got.exports.map((e) => ({ ...e, files: e.files.map((f) => ({ ...f, href: here(f.href) ?? f.href })) }));
  }

  /** The address of a report, for a link. */
  reportPath(name: string, form: "pdf" | "csv" | "geojson", params: ListParams = {}): string {
    const query = new URLSearchParams();
    for (const [key, value] of Object.entries(params)) if (value !== undefined) query.set(key, String(value));
    const text = query.toString();
    return this.path(`reports/${encodeURIComponent(name)}.${form}${text ? `?${text}` : ""}`);
  }
}

// Behind a proxy the server may not know its outside name: a next link is
// followed by its path alone, which also keeps cookies with their origin.
function here(href: string | undefined): string | undefined {
  if (!href) return undefined;
  const url = new URL(href, "http://page.invalid/");
  return url.pathname + url.search;
}
