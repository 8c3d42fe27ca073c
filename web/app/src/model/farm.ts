import type { Feature, Kind, Stored } from "./kinds";
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

/** Where records come from and go to: the server, or an outbox before it. */
export interface RecordSource {
  list<K extends Kind>(kind: K, params?: Readonly<Record<string, string | number | undefined>>): Promise<Stored<K>[]>;
  put<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, why?: string): Promise<Stored<K>>;
  del<K extends Kind>(base: Stored<K>): Promise<Stored<K>>;
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

  constructor(info: FarmInfo, who: Who, source: RecordSource) {
    this.info = info;
    this.who = who;
    this.#source = source;
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
      const list = await this.#source.list(kind);
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
