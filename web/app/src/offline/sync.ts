import { type Change, Client, type Net, type Outcome, Sessions } from "../api/client";
import { Problem, readProblem } from "../api/problem";
import { type Signal, signal } from "../model/signal";
import type { Stored } from "../model/kinds";
import { afterWrite, batchAfter, type ChangeEntry, type Entry, type Held, isChange, nextBatch, nextPhoto, type PhotoEntry, verdictOf, waitMs } from "./entries";
import { clockAheadS } from "./clock";
import type { Wire } from "./wire";
import type { DeviceStore, QueueChange, Taken } from "./store";
import type { Touched } from "../model/farm";

/** How the sending stands, for the line at the top and the list behind it. */
export interface Sending {
  readonly state: "rest" | "sending" | "later" | "sign-in";
  /** What the last try that came to nothing said. */
  readonly said: string;
  /** When it is tried again by itself, milliseconds; 0 for not. */
  readonly next: number;
}

// With one bar, 200 kB take over a minute.
const photoTimeoutMs = 120_000;
const firstBatch = 25;
const everyMs = 15_000;
const feedEveryMs = 60_000;

/**
 * Sends what waits and follows what others changed, for one person. Several tabs
 * run one of these each; a lock lets one send. Where there are no locks (no
 * secure context) two may send the same, which the server knows for the same.
 */
export class Sync {
  readonly sending: Signal<Sending> = signal<Sending>({ state: "rest", said: "", next: 0 });
  /** Everything that waits, oldest first. */
  readonly entries: Signal<readonly Entry[]> = signal<readonly Entry[]>([]);
  readonly #net: Net;
  readonly #person: string;
  readonly #store: DeviceStore;
  readonly #wire: Wire;
  #proven = false;
  #busy = false;
  #again = false;
  #failures = 0;
  #size = firstBatch;
  #timer = 0;
  #ended = false;
  #pulled = new Map<string, number>();
  readonly #stop: (() => void)[] = [];

  constructor(net: Net, person: string, store: DeviceStore, wire: Wire) {
    this.#net = net;
    this.#person = person;
    this.#store = store;
    this.#wire = wire;
  }

  /** Starts to listen and sends what an earlier page left. */
  start(): void {
    const now = () => this.wake();
    const seen = () => document.visibilityState === "visible" && this.wake();
    addEventListener("online", now);
    document.addEventListener("visibilitychange", seen);
    const tick = setInterval(() => {
      if (this.entries.get().length > 0) void this.send();
      if (document.visibilityState === "visible") for (const [farm, at] of this.#pulled) if (Date.now() - at > feedEveryMs) void this.pull(farm).catch(ignore);
    }, everyMs);
    this.#stop.push(
      () => removeEventListener("online", now),
      () => document.removeEventListener("visibilitychange", seen),
      () => clearInterval(tick),
      this.#wire.listen((heard) => {
        if (heard.what === "queue") void this.reread();
        if (heard.what === "free" && this.entries.get().length > 0) void this.send();
        if (heard.what === "session") this.#proven = false;
      }),
    );
    void this.reread().then(() => this.send());
  }

  end(): void {
    this.#ended = true;
    clearTimeout(this.#timer);
    for (const stop of this.#stop) stop();
  }

  async reread(): Promise<void> {
    this.entries.set(await this.#store.entries());
  }

  /**
   * The queue changed here: the other tabs hear of it, and it is sent. With what
   * the write did to it, it is not read again: a day's finds would make each
   * further one dearer.
   */
  async queued(change?: QueueChange): Promise<void> {
    this.#wire.say({ what: "queue" });
    if (change) this.entries.set(afterWrite(this.entries.get(), change.now, change.gone));
    else await this.reread();
    void this.send();
  }

  /** Tries at once, whatever failed before: the network is back, or somebody pressed the button. */
  wake(): void {
    this.#failures = 0;
    this.sending.set({ ...this.sending.get(), next: 0 });
    void this.send();
    for (const farm of this.#pulled.keys()) void this.pull(farm).catch(ignore);
  }

  /** Somebody signed in: it may be another person. */
  signedIn(): void {
    this.#proven = false;
    this.wake();
  }

  /** Sends by her own hand: who has to sign in for it is asked to. */
  sendNow(): void {
    this.#net.quietUntilMs = 0;
    this.wake();
  }

  /** Sends until nothing is left that can be sent now. */
  async send(): Promise<void> {
    if (this.#busy) {
      this.#again = true;
      return;
    }
    if (this.#ended || Date.now() < this.sending.get().next) return;
    this.#busy = true;
    try {
      const had = await locked(`caneward-send-${this.#person}`, () => this.#round());
      if (had) this.#wire.say({ what: "free" });
    } finally {
      this.#busy = false;
    }
    if (this.#again) {
      this.#again = false;
      void this.send();
    }
  }

  async #round(): Promise<void> {
    const farms = new Set<string>();
    // A farm that lets nobody in must not keep another's work waiting.
    const shut = new Map<string, Problem>();
    try {
      for (;;) {
        const all = await this.#store.entries();
        this.entries.set(all);
        const waiting = all.filter((e) => !shut.has(e.farm));
        const batch = nextBatch(waiting, this.#size);
        const photo = batch.length > 0 ? undefined : nextPhoto(waiting);
        if (this.#ended || (batch.length === 0 && !photo)) break;
        this.#show({ state: "sending", said: "", next: 0 });
        await this.#prove();
        // Records first: they are small, and a find may come before its photo.
        try {
          if (photo) await this.#sendPhoto(photo);
          else await this.#sendBatch(batch);
          for (const e of batch) farms.add(e.farm);
          this.#failures = 0;
        } catch (thrown) {
          if (!(thrown instanceof Problem) || (thrown.status !== 403 && thrown.status !== 404)) throw thrown;
          shut.set((photo ?? batch[0]!).farm, thrown);
        }
      }
      for (const problem of shut.values()) throw problem;
      this.#show({ state: "rest", said: "", next: 0 });
    } catch (thrown) {
      if (!(thrown instanceof Problem)) throw thrown;
      this.#failed(thrown);
    }
    this.#wire.say({ what: "queue" });
    await this.reread();
    if (this.entries.get().length === 0) await this.#store.holdBack();
    for (const farm of farms) await this.pull(farm).catch(ignore);
  }

  #show(now: Sending): void {
    this.sending.set(now);
  }

  #failed(problem: Problem): void {
    if (problem.status === 401) return this.#show({ state: "sign-in", said: problem.title, next: 0 });
    this.#failures++;
    const wait = waitMs(this.#failures, Math.random());
    this.#show({ state: "later", said: problem.detail || problem.title, next: Date.now() + wait });
    clearTimeout(this.#timer);
    this.#timer = window.setTimeout(() => void this.send(), wait + 1);
  }

  /** Whoever the browser's cookie names must be the one whose work this is. */
  async #prove(): Promise<void> {
    if (this.#proven) return;
    const askedMs = Date.now();
    const who = await new Sessions(this.#net).whoAmI();
    if (who?.person.id !== this.#person) {
      this.#net.onSignedOut(askedMs);
      throw new Problem({ status: 401, title: "" });
    }
    this.#proven = true;
  }

  async #sendBatch(picked: readonly ChangeEntry[]): Promise<void> {
    const batch = (await this.#store.started(picked, clockAheadS.get())).filter(isChange);
    const first = batch[0];
    if (!first) return;
    const changes = batch.map(({ op, kind, id, record, base, why }): Change => ({ op, kind, id, ...(record ? { record } : {}), base, ...(why ? { why } : {}) }));
    let outcomes: readonly Outcome[];
    try {
      ({ outcomes } = await new Client(this.#net, first.farm).sendChanges(changes));
    } catch (thrown) {
      return this.#refusedWhole(batch, thrown);
    }
    this.#size = batchAfter(this.#size, false);
    await this.#settle(first.farm, batch, outcomes);
  }

  // A batch that is refused as one is sent in smaller parts, down to the entry
  // that is at fault.
  async #refusedWhole(batch: readonly ChangeEntry[], thrown: unknown): Promise<void> {
    if (!(thrown instanceof Problem)) throw thrown;
    const verdict = verdictOf(thrown.status, "put");
    if (thrown.status === 403 || thrown.status === 404) throw thrown;
    this.#size = batchAfter(Math.min(this.#size, batch.length), true);
    if (verdict === "later" || verdict === "sign-in") {
      if (verdict === "sign-in") this.#proven = false;
      throw thrown;
    }
    if (batch.length === 1) await this.#hold(batch[0]!, { sort: "refused", status: thrown.status, problem: asDocument(thrown), current: null });
  }

  async #settle(farm: string, batch: readonly ChangeEntry[], outcomes: readonly Outcome[]): Promise<void> {
    const taken: Taken[] = [];
    const stuck = new Set<string>();
    let later: Problem | null = null;
    for (const [i, entry] of batch.entries()) {
      const outcome = outcomes[i];
      const key = `${entry.kind} ${entry.id}`;
      // What follows a change that was not taken was judged against a record that is not there.
      if (stuck.has(key)) continue;
      if (!outcome || outcome.id !== entry.id) {
        later = new Problem({ status: 502, title: "" });
        break;
      }
      const verdict = verdictOf(outcome.status, entry.op);
      if (verdict === "taken") taken.push({ entry, revision: outcome.revision ?? null, etag: outcome.etag ?? null });
      else {
        stuck.add(key);
        if (verdict === "later" || verdict === "sign-in") later ??= readProblem(outcome.problem, outcome.status) ?? new Problem({ status: outcome.status, title: "" });
        else await this.#hold(entry, { sort: verdict, status: outcome.status, problem: outcome.problem ?? null, current: outcome.current ?? null });
      }
    }
    if (taken.length > 0) this.#touched(farm, await this.#store.taken(taken));
    if (later) throw later;
  }

  async #hold(entry: Entry, held: Held): Promise<void> {
    const touched = await this.#store.marked(entry, held, readProblem(held.problem, held.status)?.title ?? "");
    if (touched) this.#touched(entry.farm, [touched]);
  }

  async #sendPhoto(picked: PhotoEntry): Promise<void> {
    const [entry] = await this.#store.started([picked]);
    if (!entry) return;
    const photo = await this.#store.photo(entry.id);
    try {
      if (photo) await new Client(this.#net, entry.farm).putPhoto(photo.id, photo.type, photo.data, { timeoutMs: photoTimeoutMs });
    } catch (thrown) {
      if (!(thrown instanceof Problem)) throw thrown;
      const verdict = verdictOf(thrown.status, "photo");
      if (verdict !== "refused") throw thrown;
      return this.#hold(entry, { sort: "refused", status: thrown.status, problem: asDocument(thrown), current: null });
    }
    await this.#store.taken([{ entry, revision: null, etag: null }]);
  }

  /** Tells this tab and the others what changed. */
  #touched(farm: string, touched: readonly Touched[]): void {
    if (touched.length > 0) this.#wire.tell({ what: "records", farm, touched });
  }

  /** Takes in what others changed in a farm since the last time; throws what the server says. */
  async pull(farm: string): Promise<void> {
    this.#pulled.set(farm, Date.now());
    // Tabs take turns: the second finds little left to fetch.
    await (globalThis.navigator?.locks ? navigator.locks.request(`caneward-feed-${this.#person}-${farm}`, () => this.#pull(farm)) : this.#pull(farm));
  }

  async #pull(farm: string): Promise<void> {
    const client = new Client(this.#net, farm);
    let known = await this.#store.farm(farm);
    for (let more = true; more && !this.#ended; ) {
      const after = known?.sequence ?? 0;
      const got = await client.changesAfter(after).catch((thrown: unknown) => this.#lost(farm, thrown));
      const view = got.view ?? "";
      if (got.sequence < after || (after > 0 && (known?.view ?? "") !== view)) {
        // The server stands at an earlier point, as after a restored copy, or shows another part of the farm: begin anew.
        await this.#store.forget(farm);
        known = undefined;
        this.#wire.tell({ what: "anew", farm });
        continue;
      }
      more = got.more;
      const sequence = got.changes.at(-1)?.sequence ?? got.sequence;
      const touched = await this.#store.takeIn(farm, got.changes, sequence, !more, view);
      known = { farm, sequence, at: 0, view };
      this.#touched(farm, touched);
    }
  }

  // A farm that is not there for this person any more leaves the device; what waits for it stays, to be handed over.
  async #lost(farm: string, thrown: unknown): Promise<never> {
    if (thrown instanceof Problem && thrown.status === 404) {
      await this.#store.forget(farm);
      this.#wire.tell({ what: "anew", farm });
      this.#net.onSignedOut(Date.now());
    }
    throw thrown;
  }

  /** One's own content over what stands at the server, or the refused one tried again. */
  async mineAgain(e: Entry): Promise<void> {
    const base = !isChange(e) ? null : e.held?.sort === "conflict" ? e.held.current : e.base;
    await this.#store.again(e, base);
    await this.queued();
  }

  /** What stands at the server; null where it is closed. */
  async theirs(e: ChangeEntry): Promise<Stored | null> {
    try {
      return await new Client(this.#net, e.farm).get(e.kind, e.id);
    } catch (thrown) {
      if (thrown instanceof Problem && thrown.status === 404) return null;
      throw thrown;
    }
  }

  /** Lets one's own content go and takes what stands at the server. */
  async takeTheirs(e: ChangeEntry): Promise<void> {
    const theirs = await this.theirs(e);
    const touched = await this.#store.letGo(e, theirs);
    if (touched) this.#touched(e.farm, [touched]);
    await this.queued();
  }

  /** Lets an entry go that the server refused; asks nobody. */
  async drop(e: Entry): Promise<void> {
    const touched = await this.#store.letGo(e, null);
    if (touched) this.#touched(e.farm, [touched]);
    await this.queued();
  }
}

// The page's own notes say when the server is out of reach.
const ignore = (thrown: unknown) => {
  if (!(thrown instanceof Problem)) throw thrown;
};

function asDocument(p: Problem): unknown {
  return { type: p.type, title: p.title, status: p.status, detail: p.detail, key: p.key, errors: p.errors };
}

/** Runs the work unless another tab does; true when it ran. */
async function locked(name: string, work: () => Promise<void>): Promise<boolean> {
  if (!globalThis.navigator?.locks) {
    await work();
    return true;
  }
  return navigator.locks.request(name, { ifAvailable: true }, async (lock) => {
    if (lock) await work();
    return lock !== null;
  });
}
