import { type Feature, type Kind, kinds, type Stored } from "./kinds";
import { type Signal, signal } from "./signal";

export const roles = ["owner", "applicator", "scout", "adviser", "viewer"] as const;
export type Role = (typeof roles)[number];

export interface FarmInfo {
  readonly id: string;
  readonly name: string;
  readonly role: Role;
  /** IANA time zone. */
  readonly zone: string;
  /** Demo data: marked on every screen. */
  readonly invented: boolean;
}

/** Who is signed in, and where. */
export interface Who {
  readonly person: { readonly id: string; readonly name: string; readonly display: string };
  readonly farms: readonly FarmInfo[];
}

/** A photo as the field screens hand it over. */
export interface NewPhoto {
  /** A UUID of version 7, which the record names in `photos`. */
  readonly id: string;
  readonly blob: Blob;
}

export interface Keeping {
  readonly why?: string;
  readonly photos?: readonly NewPhoto[];
}

export interface Kept<K extends Kind> {
  readonly record: Stored<K>;
  /** Ids of photos the device had no room for; the record was kept without naming them. */
  readonly left: readonly string[];
}

/** One record that is now otherwise; null: it is no longer there. */
export interface Touched {
  readonly kind: Kind;
  readonly id: string;
  readonly now: Stored | null;
}

/** Where records come from and go to: the server, or what this device keeps before it. */
export interface RecordSource {
  /** `anew` asks the server what others changed, before the answer. */
  list<K extends Kind>(kind: K, anew: boolean): Promise<Stored<K>[]>;
  /** Waits for the server's word and throws its refusal. */
  put<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, why?: string): Promise<Stored<K>>;
  del<K extends Kind>(base: Stored<K>): Promise<Stored<K>>;
  /** Keeps a record on this device at once; the server gets it when it can be reached. */
  keep<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, how: Keeping): Promise<Kept<K>>;
  /** Closes a record the same way; one that was never sent leaves no trace. */
  takeBack(base: Stored): Promise<void>;
  /** What the server last answered under this name; undefined for nothing. */
  answer(name: string): Promise<unknown>;
  keepAnswer(name: string, value: unknown): Promise<void>;
  /** Tells of records that changed by themselves; null: everything is to be listed anew. */
  listen(heard: (touched: readonly Touched[] | null) => void): () => void;
}

/** The records of one kind as known here. `list` keeps what was known while it is fetched anew. */
export interface Records<K extends Kind> {
  readonly state: "idle" | "loading" | "ready" | "failed";
  readonly list: readonly Stored<K>[];
  /** What was thrown, when failed. */
  readonly failure: unknown;
  /** When the list came from the server, milliseconds; 0 for never. */
  readonly at: number;
}

type Shelf = { [K in Kind]?: Signal<Records<K>> };

/** One farm with its records, each kind a signal. */
export class Farm {
  readonly info: FarmInfo;
  readonly who: Who;
  readonly #source: RecordSource;
  readonly #shelf: Shelf = {};
  readonly #answers = new Map<string, Signal<unknown>>();
  /** How often something was heard: a list read in between is read again. */
  #heardOf = 0;
  /** Ends the listening to what others change. */
  readonly end: () => void;

  constructor(info: FarmInfo, who: Who, source: RecordSource) {
    this.info = info;
    this.who = who;
    this.#source = source;
    this.end = source.listen((touched) => this.#heard(touched));
  }

  get id(): string {
    return this.info.id;
  }

  /** The signal of a kind; reading it does not fetch (useRecords does). */
  records<K extends Kind>(kind: K): Signal<Records<K>> {
    const found = this.#shelf[kind] as Signal<Records<K>> | undefined;
    if (found) return found;
    const made = signal<Records<K>>({ state: "idle", list: [], failure: null, at: 0 });
    (this.#shelf as Record<string, unknown>)[kind] = made;
    return made;
  }

  /** What the server answers to a question that is no record, such as the programmes; undefined until ask() knows. */
  answer<T>(name: string): Signal<T | undefined> {
    const found = this.#answers.get(name) ?? signal<unknown>(undefined);
    this.#answers.set(name, found);
    return found as Signal<T | undefined>;
  }

  /** Takes the answer of before, then asks anew and keeps what comes. Throws what asking throws. */
  async ask<T>(name: string, asking: () => Promise<T>): Promise<void> {
    const shelf = this.answer<T>(name);
    if (shelf.get() === undefined) shelf.set((await this.#source.answer(name)) as T | undefined);
    const now = await asking();
    shelf.set(now);
    await this.#source.keepAnswer(name, now);
  }

  /** One record by id, if it is known here. */
  find<K extends Kind>(kind: K, id: string | undefined): Stored<K> | undefined {
    return id ? this.records(kind).get().list.find((r) => r.id === id) : undefined;
  }

  /** Fetches a kind: once, or again when `anew`. Failures end in the signal. */
  async load(kind: Kind, anew = false): Promise<void> {
    const shelf = this.records(kind);
    const now = shelf.get();
    if (now.state === "loading" || (now.state === "ready" && !anew)) return;
    shelf.set({ ...now, state: "loading", failure: null });
    try {
      let list: Stored[];
      let heard: number;
      do {
        heard = this.#heardOf;
        list = await this.#source.list(kind, anew);
      } while (heard !== this.#heardOf);
      shelf.set({ state: "ready", list, failure: null, at: Date.now() });
    } catch (failure) {
      shelf.set({ ...shelf.get(), state: "failed", failure });
    }
  }

  /** Stores a record; base null creates. Throws what the source throws; lists change only after it is taken. */
  async put<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null = null, why?: string): Promise<Stored<K>> {
    const taken = await this.#source.put(kind, feature, base, why);
    this.know(taken);
    return taken;
  }

  /** Closes a record; put(kind, feature, answer) brings it back. */
  async remove<K extends Kind>(base: Stored<K>): Promise<Stored<K>> {
    const closed = await this.#source.del(base);
    this.forget(base.kind, base.id);
    return closed;
  }

  /**
   * Keeps a record on this device at once, whatever the network does; it is sent
   * when the server can be reached. Throws only when the device itself cannot keep it.
   */
  async keep<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null = null, how: Keeping = {}): Promise<Kept<K>> {
    const kept = await this.#source.keep(kind, feature, base, how);
    this.know(kept.record);
    return kept;
  }

  /** Closes a record that was kept, with or without a network. keep() with the same content brings it back. */
  async takeBack(base: Stored): Promise<void> {
    await this.#source.takeBack(base);
    this.forget(base.kind, base.id);
  }

  #heard(touched: readonly Touched[] | null): void {
    this.#heardOf++;
    if (touched === null) {
      for (const kind of kinds) if (this.#shelf[kind]?.get().state === "ready") void this.load(kind, true);
      return;
    }
    const byKind = new Map<Kind, Touched[]>();
    for (const t of touched) {
      const some = byKind.get(t.kind);
      if (some) some.push(t);
      else byKind.set(t.kind, [t]);
    }
    for (const [kind, some] of byKind) {
      const shelf = this.#shelf[kind] as Signal<Records<Kind>> | undefined;
      const now = shelf?.get();
      if (!shelf || !now || now.state === "idle") continue;
      const all = new Map(now.list.map((r) => [r.id, r]));
      for (const { id, now: record } of some) {
        if (record) all.set(id, record);
        else all.delete(id);
      }
      shelf.set({ ...now, list: [...all.values()] });
    }
  }

  /** Puts a record that came some other way (a batch, the changes feed) into its list. */
  know<K extends Kind>(record: Stored<K>): void {
    const shelf = this.records(record.kind);
    const now = shelf.get();
    const at = now.list.findIndex((r) => r.id === record.id);
    const list = at < 0 ? [...now.list, record] : now.list.with(at, record);
    shelf.set({ ...now, list });
  }

  forget(kind: Kind, id: string): void {
    const shelf = this.records(kind);
    const now = shelf.get();
    shelf.set({ ...now, list: now.list.filter((r) => r.id !== id) });
  }
}
