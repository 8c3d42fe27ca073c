import type { Feature, Kind, Stored } from "../model/kinds";

/** Why an entry stays until somebody decides. */
export interface Held {
  /** conflict: somebody else changed the record first. refused: the server will not take it as it is. */
  readonly sort: "conflict" | "refused";
  readonly status: number;
  /** The server's problem document, in the words it was said in. */
  readonly problem: unknown;
  /** On a conflict, the number of the revision that stands at the server. */
  readonly current: number | null;
}

interface Waiting {
  /** Order on this device. The device's clock decides nothing. */
  readonly n: number;
  readonly farm: string;
  readonly id: string;
  /** The device's clock, for people to read. */
  readonly made_at: string;
  /** Counted before each sending: at 0 the server cannot have seen it. */
  readonly attempts: number;
  /** What the last sending that came to nothing said, in words; empty before. */
  readonly said: string;
  readonly held: Held | null;
}

/** A record to be stored or closed. */
export interface ChangeEntry extends Waiting {
  readonly op: "put" | "delete";
  readonly kind: Kind;
  /** Null to close. */
  readonly record: Feature | null;
  /** Number of the revision it replaces; null creates. */
  readonly base: number | null;
  readonly why?: string;
}

/** A photo to be sent; its bytes stand in the photos store under the same id. */
export interface PhotoEntry extends Waiting {
  readonly op: "photo";
  readonly kind: "photos";
  readonly type: string;
  readonly bytes: number;
}

export type Entry = ChangeEntry | PhotoEntry;

/** An entry before the store gives it its place. */
export type NewEntry = Omit<ChangeEntry, "n"> | Omit<PhotoEntry, "n">;

export function isChange(e: Entry): e is ChangeEntry {
  return e.op !== "photo";
}

const keyOf = (e: { readonly farm: string; readonly kind: string; readonly id: string }) => `${e.farm} ${e.kind} ${e.id}`;

/**
 * The next changes of a farm to send together: in order, without those held and
 * without what follows a held one of the same record. All of one farm: the
 * first's.
 */
export function nextBatch(entries: readonly Entry[], most: number): ChangeEntry[] {
  const stuck = new Set<string>();
  const batch: ChangeEntry[] = [];
  for (const e of entries) {
    if (!isChange(e)) continue;
    if (e.held) stuck.add(keyOf(e));
    else if (!stuck.has(keyOf(e)) && (batch[0]?.farm ?? e.farm) === e.farm) batch.push(e);
    if (batch.length >= most) break;
  }
  return batch;
}

/** The next photo to send, the first that nothing holds. */
export function nextPhoto(entries: readonly Entry[]): PhotoEntry | undefined {
  return entries.find((e): e is PhotoEntry => !isChange(e) && !e.held);
}

/** How many entries a batch may hold: halved when the network was too slow for it, doubled when not. */
export const batchMost = 100;
export function batchAfter(size: number, tooSlow: boolean): number {
  return tooSlow ? Math.max(1, Math.floor(size / 2)) : Math.min(batchMost, size * 2);
}

/** What an answer means for its entry. */
export type Verdict = "taken" | "conflict" | "refused" | "later" | "sign-in";

/** A record whose closing finds nothing is closed: 404 is what was wanted. */
export function verdictOf(status: number, op: Entry["op"]): Verdict {
  if (status === 200 || status === 201 || status === 204) return "taken";
  if (status === 401) return "sign-in";
  if (status === 404 && op === "delete") return "taken";
  if ((status === 409 || status === 412) && op !== "photo") return "conflict";
  if (status === 0 || status === 408 || status === 425 || status === 429 || status >= 500) return "later";
  return "refused";
}

const firstWaitMs = 2_000;
const longestWaitMs = 120_000;

/** How long to wait after so many failures in a row; `chance` 0 to 1 keeps phones of a crew apart. */
export function waitMs(failures: number, chance: number): number {
  const full = Math.min(longestWaitMs, firstWaitMs * 2 ** Math.max(0, failures - 1));
  return Math.round(full * (0.75 + 0.5 * chance));
}

/** A record as this device has it: the server's, or what waits to be sent. */
export function asStored(e: ChangeEntry): Stored {
  return {
    kind: e.kind,
    id: e.id,
    feature: e.record!,
    revision: null,
    etag: null,
    extra: { waiting: e.held ? e.held.sort : "sending", made_at: e.made_at },
  };
}

/** Whether a record waits on this device, and how. Undefined: it is as the server has it. */
export function waitingState(s: Stored): "sending" | Held["sort"] | undefined {
  return s.extra["waiting"] as "sending" | Held["sort"] | undefined;
}

/** What a kind's list is with the waiting entries over it, in the order of ids. */
export function overlay<K extends Kind>(kind: K, known: readonly Stored<K>[], entries: readonly Entry[]): Stored<K>[] {
  const mine = entries.filter((e): e is ChangeEntry => isChange(e) && e.kind === kind);
  if (mine.length === 0) return [...known];
  const all = new Map(known.map((r) => [r.id, r]));
  for (const e of mine) {
    if (e.record) all.set(e.id, asStored(e) as Stored<K>);
    else all.delete(e.id);
  }
  return [...all.values()].sort((a, b) => (a.id < b.id ? -1 : 1));
}

/** What to do with a new content for a record, given what of that record waits. */
export type Queueing =
  /** Nothing of it can have been sent: the last entry takes the content. */
  | { readonly how: "replace"; readonly entry: ChangeEntry }
  /** It is held: one entry takes its content and stands in for all; a conflict stays one. */
  | { readonly how: "stand-in"; readonly entry: ChangeEntry; readonly drop: readonly number[] }
  | { readonly how: "add"; readonly base: number | null };

/**
 * `last` is the number of the newest entry of all. A content is taken into an
 * earlier entry only where nothing else was queued since: a record may name one
 * that was made in between. The store numbers revisions without gaps, so the
 * base of a follower is known before its predecessor has been answered.
 */
export function queueing(chain: readonly ChangeEntry[], last: number, base: number | null): Queueing {
  const first = chain.find((e) => e.held);
  if (first) return { how: "stand-in", entry: first, drop: chain.filter((e) => e.n > first.n).map((e) => e.n) };
  const tail = chain.at(-1);
  if (!tail) return { how: "add", base };
  if (tail.attempts === 0 && tail.n === last && tail.op === "put") return { how: "replace", entry: tail };
  return { how: "add", base: (tail.base ?? 0) + 1 };
}

/** A queue in order after a write to it. */
export function afterWrite(queue: readonly Entry[], now: readonly Entry[], gone: readonly number[]): Entry[] {
  const other = new Set([...gone, ...now.map((e) => e.n)]);
  return [...queue.filter((e) => !other.has(e.n)), ...now].sort((a, b) => a.n - b.n);
}
