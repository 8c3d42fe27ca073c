import { type DBSchema, type IDBPDatabase, type IDBPTransaction, openDB } from "idb";
import type { Changed } from "../api/client";
import { storedFrom } from "../api/client";
import type { Keeping, Touched } from "../model/farm";
import type { Feature, Kind, Stored } from "../model/kinds";
import { worthSayingS } from "./clock";
import { asStored, type ChangeEntry, type Entry, type Held, isChange, type NewEntry, overlay, queueing } from "./entries";

interface KnownRecord {
  readonly farm: string;
  readonly stored: Stored;
}

interface KnownFarm {
  readonly farm: string;
  /** The last sequence number taken in. */
  readonly sequence: number;
  /** When everything up to it was here, milliseconds; 0 while the first filling goes on. */
  readonly at: number;
  /** Which part of the farm the server showed; another one begins anew. */
  readonly view?: string;
  /** What the server last answered to questions that are no records, by name. */
  readonly answers?: Readonly<Record<string, unknown>>;
}

export interface KeptPhoto {
  readonly id: string;
  readonly farm: string;
  readonly type: string;
  readonly data: ArrayBuffer;
}

interface Schema extends DBSchema {
  records: { key: [string, string, string]; value: KnownRecord; indexes: { kind: [string, string] } };
  farms: { key: string; value: KnownFarm };
  outbox: { key: number; value: Entry; indexes: { record: [string, string, string] } };
  photos: { key: string; value: KeptPhoto };
}

type Name = "records" | "farms" | "outbox" | "photos";
type AnyTx = IDBPTransaction<Schema, Name[], "readwrite">;

// A crash of the phone a moment after "kept" must not lose it.
const strict = { durability: "strict" } as const;

/** What a write did to the queue: entries as they are now, and numbers that left. */
export interface QueueChange {
  readonly now: readonly Entry[];
  readonly gone: readonly number[];
}

export interface KeptNow {
  readonly touched: Touched;
  readonly queue: QueueChange;
  /** Ids of photos the device had no room for; the record was kept without naming them. */
  readonly left: readonly string[];
}

/** An entry the server has, and as which revision. */
export interface Taken {
  readonly entry: Entry;
  readonly revision: number | null;
  readonly etag: string | null;
}

/** The device itself has no room even for a record. */
export class NoRoom extends Error {}

/**
 * Held back, so that a thousand records still fit where photos have filled the
 * device. Random, for a browser may pack what it stores.
 */
const heldBackBytes = 2_000_000;
const heldBack = "held-back";

const full = (thrown: unknown) => thrown instanceof DOMException && thrown.name === "QuotaExceededError";

/**
 * What one person has on this device: the farms' records as the server last
 * told them, and what waits to be sent. Another person has another database.
 */
export class DeviceStore {
  readonly #db: IDBPDatabase<Schema>;

  private constructor(db: IDBPDatabase<Schema>) {
    this.#db = db;
  }

  static async open(person: string): Promise<DeviceStore> {
    const db = await openDB<Schema>(`caneward.${person}`, 1, {
      upgrade(made) {
        made.createObjectStore("records", { keyPath: ["farm", "stored.kind", "stored.id"] }).createIndex("kind", ["farm", "stored.kind"]);
        made.createObjectStore("farms", { keyPath: "farm" });
        made.createObjectStore("outbox", { keyPath: "n", autoIncrement: true }).createIndex("record", ["farm", "kind", "id"]);
        made.createObjectStore("photos", { keyPath: "id" });
      },
      // A later version of the page waits for this tab otherwise.
      blocking: (_now, _next, event) => (event.target as IDBDatabase).close(),
    });
    return new DeviceStore(db);
  }

  /**
   * One strict transaction: all of it is on the disk, or nothing and the reason
   * is thrown. On a full device what was held back is given up for it, but not
   * for photos.
   */
  async #write<T>(names: Name[], work: (tx: AnyTx) => Promise<T>, photos = false): Promise<T> {
    try {
      return await this.#once(names, work);
    } catch (thrown) {
      if (!full(thrown) || photos || !(await this.#db.getKey("photos", heldBack))) throw thrown;
      await this.#db.delete("photos", heldBack);
      return this.#once(names, work);
    }
  }

  /** Holds room back for records, where there is some; false when the device is too full for it. */
  async holdBack(): Promise<boolean> {
    if (await this.#db.getKey("photos", heldBack)) return true;
    const data = new Uint8Array(heldBackBytes);
    // No more random bytes are given at once.
    for (let at = 0; at < data.length; at += 65_536) crypto.getRandomValues(data.subarray(at, at + 65_536));
    try {
      await this.#once(["photos"], (tx) => tx.objectStore("photos").put({ id: heldBack, farm: "", type: "", data: data.buffer }));
      return true;
    } catch (thrown) {
      if (!full(thrown)) throw thrown;
      return false;
    }
  }

  async #once<T>(names: Name[], work: (tx: AnyTx) => Promise<T>): Promise<T> {
    const tx = this.#db.transaction(names, "readwrite", strict) as unknown as AnyTx;
    const done = tx.done.then(() => null, (failure: unknown) => ({ failure }));
    try {
      const answer = await work(tx);
      const failed = await done;
      if (failed) throw tx.error ?? failed.failure;
      return answer;
    } catch (thrown) {
      if (!tx.error) abort(tx);
      await done;
      throw tx.error ?? thrown;
    }
  }

  close(): void {
    this.#db.close();
  }

  /** Everything that waits, in the order it was made. */
  entries(): Promise<Entry[]> {
    return this.#db.getAll("outbox");
  }

  count(): Promise<number> {
    return this.#db.count("outbox");
  }

  farm(farm: string): Promise<KnownFarm | undefined> {
    return this.#db.get("farms", farm);
  }

  /** A kind as this device has it, waiting entries over what the server told. */
  async list<K extends Kind>(farm: string, kind: K): Promise<Stored<K>[]> {
    const tx = this.#db.transaction(["records", "outbox"]);
    const [known, waiting] = await Promise.all([
      tx.objectStore("records").index("kind").getAll([farm, kind]),
      tx.objectStore("outbox").index("record").getAll(IDBKeyRange.bound([farm, kind], [farm, kind, []])),
    ]);
    const entries = waiting.sort((a, b) => a.n - b.n);
    return overlay(kind, known.map((k) => k.stored as Stored<K>), entries);
  }

  /** A record as the server last told it. */
  async known<K extends Kind>(farm: string, kind: K, id: string): Promise<Stored<K> | undefined> {
    return (await this.#db.get("records", [farm, kind, id]))?.stored as Stored<K> | undefined;
  }

  async waits(farm: string, kind: Kind, id: string): Promise<boolean> {
    return (await this.#db.countFromIndex("outbox", "record", [farm, kind, id])) > 0;
  }

  photo(id: string): Promise<KeptPhoto | undefined> {
    return this.#db.get("photos", id);
  }

  /**
   * Keeps a record, its photos and their places in the queue in one transaction.
   * Where room is short the photos are left out, the last first; NoRoom when the
   * record alone does not fit.
   */
  async keep<K extends Kind>(farm: string, kind: K, feature: Feature<K>, base: Stored<K> | null, how: Keeping): Promise<KeptNow> {
    // Reading a blob must be over before the transaction starts: it ends by itself while one waits.
    const photos = await Promise.all((how.photos ?? []).map(async (p) => ({ id: p.id, farm, type: p.blob.type, data: await p.blob.arrayBuffer() })));
    // Room given up for records is not for photos.
    for (let fit = photos.length > 0 && (await this.holdBack()) ? photos.length : 0; ; fit--) {
      const left = photos.slice(fit).map((p) => p.id);
      try {
        return { ...(await this.#keep(farm, kind, without(feature, left), base, photos.slice(0, fit), how.why)), left };
      } catch (thrown) {
        if (!full(thrown)) throw thrown;
        if (fit === 0) throw new NoRoom();
      }
    }
  }

  async #keep(farm: string, kind: Kind, feature: Feature, base: Stored | null, photos: readonly KeptPhoto[], why: string | undefined): Promise<Omit<KeptNow, "left">> {
    return this.#write(["outbox", "photos", "records"], async (tx) => {
      const outbox = tx.objectStore("outbox");
      const now: Entry[] = [];
      const gone: number[] = [];
      const made_at = new Date().toISOString();
      for (const photo of photos) {
        await tx.objectStore("photos").put(photo);
        now.push(await add(tx, { op: "photo", kind: "photos", farm, id: photo.id, type: photo.type, bytes: photo.data.byteLength, made_at, attempts: 0, said: "", held: null }));
      }
      const chain = await chainOf(tx, farm, kind, feature.id);
      const newest = (await outbox.openKeyCursor(null, "prev"))?.key ?? 0;
      // A record kept here and answered since has its number in `records`.
      const standing = base && base.revision === null ? await tx.objectStore("records").get([farm, kind, feature.id]) : undefined;
      const plan = queueing(chain, newest, base?.revision ?? standing?.stored.revision ?? null);
      const fresh = { op: "put", kind, farm, id: feature.id, record: feature, why, made_at, attempts: 0, said: "", held: null } as const;
      let entry: ChangeEntry;
      if (plan.how === "add") entry = await add(tx, { ...fresh, base: plan.base });
      else {
        const { entry: was } = plan;
        const held = was.held?.sort === "conflict" ? was.held : null;
        entry = { ...fresh, n: was.n, base: was.base, held, why: why ?? was.why };
        await outbox.put(entry);
        if (plan.how === "stand-in") gone.push(...plan.drop);
        for (const n of gone) await outbox.delete(n);
      }
      now.push(entry);
      return { touched: { kind, id: feature.id, now: asStored(entry) }, queue: { now, gone } };
    }, photos.length > 0);
  }

  /**
   * Closes a record, or takes back one that was never sent, with its photos. The
   * photos of a record that was sent stay.
   */
  async takeBack(farm: string, base: Stored): Promise<Touched> {
    const { kind, id } = base;
    return this.#write(["outbox", "photos", "records"], async (tx) => {
      const outbox = tx.objectStore("outbox");
      const chain = await chainOf(tx, farm, kind, id);
      const first = chain[0];
      if (first && first.base === null && chain.every((e) => e.attempts === 0 || e.held?.sort === "refused")) {
        for (const e of chain) await outbox.delete(e.n);
        for (const photo of photosOf(chain)) await dropPhoto(tx, farm, photo);
        return { kind, id, now: null };
      }
      const tail = chain.at(-1);
      const standing = (await tx.objectStore("records").get([farm, kind, id]))?.stored.revision ?? null;
      const number = tail ? (tail.base ?? 0) + 1 : (base.revision ?? standing);
      await add(tx, { op: "delete", kind, farm, id, record: null, base: number, made_at: new Date().toISOString(), attempts: 0, said: "", held: null });
      return { kind, id, now: null };
    });
  }

  /**
   * Counts a sending before it starts; what was taken back in between is left
   * out. A clock known to be off is noted in what goes out for the first time;
   * later it must stay as it was, so that the server knows it for the same.
   */
  async started(entries: readonly Entry[], aheadS: number | null = null): Promise<Entry[]> {
    return this.#write(["outbox"], async (tx) => {
      const outbox = tx.objectStore("outbox");
      const there: Entry[] = [];
      for (const { n } of entries) {
        const e = await outbox.get(n);
        if (!e) continue;
        const noted = e.attempts === 0 && aheadS !== null && Math.abs(aheadS) >= worthSayingS ? withClock(e, aheadS) : e;
        const counted = { ...noted, attempts: e.attempts + 1 };
        await outbox.put(counted);
        there.push(counted);
      }
      return there;
    });
  }

  /** The server has them: the entries leave and the records stand with their revisions, in one transaction. */
  async taken(answers: readonly Taken[]): Promise<Touched[]> {
    return this.#write(["outbox", "photos", "records"], async (tx) => {
      const records = tx.objectStore("records");
      const touched: Touched[] = [];
      for (const { entry: e, revision, etag } of answers) {
        await tx.objectStore("outbox").delete(e.n);
        if (!isChange(e)) {
          await tx.objectStore("photos").delete(e.id);
          continue;
        }
        const before = await records.get([e.farm, e.kind, e.id]);
        if (!e.record) await records.delete([e.farm, e.kind, e.id]);
        else if (!before || (before.stored.revision ?? 0) <= (revision ?? 0)) {
          await records.put({ farm: e.farm, stored: { kind: e.kind, id: e.id, feature: e.record, revision, etag, extra: {} } });
        }
        touched.push({ kind: e.kind, id: e.id, now: await effective(tx, e.farm, e.kind, e.id) });
      }
      return touched;
    });
  }

  /** Marks an entry with what the server said of it. */
  async marked(e: Entry, held: Held | null, said: string): Promise<Touched | null> {
    return this.#write(["outbox", "photos", "records"], async (tx) => {
      const now = await tx.objectStore("outbox").get(e.n);
      if (now) await tx.objectStore("outbox").put({ ...now, held, said });
      const stands = isChange(e) ? await effective(tx, e.farm, e.kind, e.id) : null;
      return isChange(e) ? { kind: e.kind, id: e.id, now: stands } : null;
    });
  }

  /** Decides a conflict or tries a refusal again: everything of the record that waits becomes one entry on `base`. */
  async again(e: Entry, base: number | null): Promise<void> {
    return this.#write(["outbox", "photos", "records"], async (tx) => {
      const outbox = tx.objectStore("outbox");
      if (!isChange(e)) {
        await outbox.put({ ...e, held: null });
      } else {
        const chain = await chainOf(tx, e.farm, e.kind, e.id);
        const last = chain.at(-1);
        if (last) {
          for (const other of chain) if (other.n !== e.n) await outbox.delete(other.n);
          await outbox.put({ ...last, n: e.n, base, held: null });
        }
      }
    });
  }

  /** Lets go of everything of the record that waits; `theirs` is what stands instead, null for a closed record. */
  async letGo(e: Entry, theirs: Stored | null): Promise<Touched | null> {
    return this.#write(["outbox", "photos", "records"], async (tx) => {
      const outbox = tx.objectStore("outbox");
      if (!isChange(e)) {
        await outbox.delete(e.n);
        await tx.objectStore("photos").delete(e.id);
        return null;
      }
      const chain = await chainOf(tx, e.farm, e.kind, e.id);
      for (const other of chain) await outbox.delete(other.n);
      const key: [string, string, string] = [e.farm, e.kind, e.id];
      if (theirs) await tx.objectStore("records").put({ farm: e.farm, stored: theirs });
      else if (e.held?.sort === "conflict") await tx.objectStore("records").delete(key);
      const now = await effective(tx, e.farm, e.kind, e.id);
      return { kind: e.kind, id: e.id, now };
    });
  }

  /** Takes in what the server told since `after`; the answer is what changed here by it. */
  async takeIn(farm: string, changes: readonly Changed[], sequence: number, whole: boolean, view: string): Promise<Touched[]> {
    return this.#write(["records", "outbox", "farms"], async (tx) => {
      const records = tx.objectStore("records");
      const last = new Map<string, Changed>();
      for (const c of changes) last.set(`${c.kind} ${c.id}`, c);
      for (const c of last.values()) {
        if (c.deleted || !c.record) await records.delete([farm, c.kind, c.id]);
        else await records.put({ farm, stored: { ...storedFrom(c.kind, c.record), revision: c.revision } });
      }
      const before = await tx.objectStore("farms").get(farm);
      await tx.objectStore("farms").put({ ...before, farm, sequence, view, at: whole ? Date.now() : (before?.at ?? 0) });
      const touched: Touched[] = [];
      for (const c of last.values()) touched.push({ kind: c.kind, id: c.id, now: await effective(tx, farm, c.kind, c.id) });
      return touched;
    });
  }

  /** One record as a write told it, outside the feed. */
  async note(farm: string, stored: Stored | null, of: { kind: Kind; id: string }): Promise<void> {
    if (stored) await this.#db.put("records", { farm, stored });
    else await this.#db.delete("records", [farm, of.kind, of.id]);
  }

  async answer(farm: string, name: string): Promise<unknown> {
    return (await this.farm(farm))?.answers?.[name];
  }

  /** Keeps an answer until the next one; it is forgotten with the farm. */
  async keepAnswer(farm: string, name: string, value: unknown): Promise<void> {
    return this.#write(["farms"], async (tx) => {
      const before = (await tx.objectStore("farms").get(farm)) ?? { farm, sequence: 0, at: 0 };
      await tx.objectStore("farms").put({ ...before, answers: { ...before.answers, [name]: value } });
    });
  }

  /** Forgets what the server told of a farm, or of all; what waits stays. */
  async forget(farm?: string): Promise<void> {
    return this.#write(["records", "farms"], async (tx) => {
      if (farm === undefined) {
        await Promise.all([tx.objectStore("records").clear(), tx.objectStore("farms").clear()]);
      } else {
        await tx.objectStore("farms").delete(farm);
        await tx.objectStore("records").delete(IDBKeyRange.bound([farm], [farm, []]));
      }
    });
  }

  /** Takes entries of another device into the queue; those already here are left. */
  async adopt(entries: readonly NewEntry[], photos: readonly KeptPhoto[]): Promise<number> {
    return this.#write(["outbox", "photos", "records"], async (tx) => {
      const outbox = tx.objectStore("outbox");
      let taken = 0;
      for (const e of entries) {
        const there = await outbox.index("record").getAll([e.farm, e.kind, e.id]);
        if (there.some((t) => t.op === e.op && baseOf(t) === baseOf(e))) continue;
        await add(tx, e as Omit<ChangeEntry, "n">);
        taken++;
      }
      for (const p of photos) await tx.objectStore("photos").put(p);
      return taken;
    });
  }
}

const baseOf = (e: NewEntry) => ("base" in e ? e.base : null);

// It may have ended by itself.
function abort(tx: AnyTx): void {
  try {
    tx.abort();
  } catch {
    return;
  }
}

async function add<E extends NewEntry>(tx: AnyTx, e: E): Promise<E & { n: number }> {
  const n = await tx.objectStore("outbox").add(e as unknown as Entry);
  return { ...e, n };
}

async function chainOf(tx: AnyTx, farm: string, kind: Kind, id: string): Promise<ChangeEntry[]> {
  const all = await tx.objectStore("outbox").index("record").getAll([farm, kind, id]);
  return all.filter(isChange).sort((a, b) => a.n - b.n);
}

/** A record as it stands on this device now. */
async function effective(tx: AnyTx, farm: string, kind: Kind, id: string): Promise<Stored | null> {
  const waiting = (await tx.objectStore("outbox").index("record").getAll([farm, kind, id])).filter(isChange);
  const last = waiting.sort((a, b) => a.n - b.n).at(-1);
  if (last) return last.record ? asStored(last) : null;
  return (await tx.objectStore("records").get([farm, kind, id]))?.stored ?? null;
}

async function dropPhoto(tx: AnyTx, farm: string, id: string): Promise<void> {
  const waiting = await tx.objectStore("outbox").index("record").getAll([farm, "photos", id]);
  if (waiting.length === 0 || waiting.some((e) => e.attempts > 0)) return;
  for (const e of waiting) await tx.objectStore("outbox").delete(e.n);
  await tx.objectStore("photos").delete(id);
}

function photosOf(chain: readonly ChangeEntry[]): string[] {
  const named = chain.flatMap((e) => (e.record?.properties as { photos?: unknown } | undefined)?.photos ?? []);
  return [...new Set(named.filter((id): id is string => typeof id === "string"))];
}

/** The kinds whose times are the device's. */
const timed: readonly Kind[] = ["finds", "visits"];

function withClock(e: Entry, aheadS: number): Entry {
  if (!isChange(e) || !e.record || !timed.includes(e.kind)) return e;
  return { ...e, record: { ...e.record, properties: { ...e.record.properties, sent_clock_ahead_s: aheadS } as Feature["properties"] } };
}

/** The record without the photos that are not kept. */
function without<K extends Kind>(feature: Feature<K>, left: readonly string[]): Feature<K> {
  const { photos, ...rest } = feature.properties as { photos?: unknown };
  if (left.length === 0 || !Array.isArray(photos)) return feature;
  const kept = photos.filter((id) => !left.includes(id));
  return { ...feature, properties: (kept.length > 0 ? { ...rest, photos: kept } : rest) as Feature<K>["properties"] };
}

