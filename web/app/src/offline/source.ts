import type { Client } from "../api/client";
import { Problem } from "../api/problem";
import { t } from "../i18n";
import type { Keeping, Kept, RecordSource, Touched } from "../model/farm";
import type { Feature, Kind, Stored } from "../model/kinds";
import { type DeviceStore, NoRoom, type QueueChange } from "./store";
import type { Sync } from "./sync";
import { halfEntered } from "./update";
import type { Wire } from "./wire";

/** One farm's records as this device keeps them, sent and followed by `sync`. */
export class DeviceSource implements RecordSource {
  readonly #client: Client;
  readonly #store: DeviceStore;
  readonly #sync: Sync;
  readonly #wire: Wire;
  #filling: Promise<void> | null = null;

  constructor(client: Client, store: DeviceStore, sync: Sync, wire: Wire) {
    this.#client = client;
    this.#store = store;
    this.#sync = sync;
    this.#wire = wire;
  }

  get #farm(): string {
    return this.#client.farm;
  }

  async list<K extends Kind>(kind: K, anew: boolean): Promise<Stored<K>[]> {
    const known = await this.#store.farm(this.#farm);
    if (known?.at && !anew) {
      this.#follow();
      return this.#store.list(this.#farm, kind);
    }
    try {
      await this.#fill(anew);
    } catch (thrown) {
      const list = await this.#store.list(this.#farm, kind);
      // What is here is better than a note that the rest could not be fetched.
      if (!known?.at && !known?.sequence && list.length === 0) throw thrown;
      return list;
    }
    return this.#store.list(this.#farm, kind);
  }

  // The first lists that are asked for bring the feed along, once.
  #follow(): void {
    this.#filling ??= this.#sync.pull(this.#farm);
    this.#filling.catch(() => undefined);
  }

  // Several kinds are asked for at once: the first filling is one for all. One
  // that is asked for anew must begin after the asking.
  #fill(anew: boolean): Promise<void> {
    if (!anew && this.#filling) return this.#filling;
    const filling = this.#sync.pull(this.#farm);
    this.#filling = filling;
    filling.catch(() => {
      if (this.#filling === filling) this.#filling = null;
    });
    return filling;
  }

  async put<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, why?: string): Promise<Stored<K>> {
    // Something of it still waits: the server would judge the later before the earlier.
    if (await this.#store.waits(this.#farm, kind, feature.id)) return (await this.keep(kind, feature, base, why ? { why } : {})).record;
    const stored = await this.#client.put(kind, feature, await this.#told(base), why);
    halfEntered.set(false);
    await this.#note(stored, stored);
    return stored;
  }

  async del<K extends Kind>(base: Stored<K>): Promise<Stored<K>> {
    if (await this.#store.waits(this.#farm, base.kind, base.id)) {
      await this.takeBack(base);
      return base;
    }
    const closed = await this.#client.del((await this.#told(base)) ?? base);
    await this.#note(null, base);
    return closed;
  }

  // A record that was kept here and sent since: the server's tag stands in the store.
  async #told<K extends Kind>(base: Stored<K> | null): Promise<Stored<K> | null> {
    if (!base || base.etag) return base;
    return (await this.#store.known(this.#farm, base.kind, base.id)) ?? base;
  }

  async #note(stored: Stored | null, { kind, id }: { kind: Kind; id: string }): Promise<void> {
    await this.#store.note(this.#farm, stored, { kind, id });
    this.#wire.say({ what: "records", farm: this.#farm, touched: [{ kind, id, now: stored }] });
  }

  async keep<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, how: Keeping): Promise<Kept<K>> {
    try {
      const { touched, queue, left } = await this.#store.keep(this.#farm, kind, feature, base, how);
      halfEntered.set(false);
      this.#kept(touched, queue);
      return { record: touched.now as Stored<K>, left };
    } catch (thrown) {
      if (thrown instanceof NoRoom) throw new Problem({ status: 0, title: t("offline-no-room"), errors: [{ detail: t("offline-no-room"), fix: t("offline-no-room-fix") }] });
      throw thrown;
    }
  }

  answer(name: string): Promise<unknown> {
    return this.#store.answer(this.#farm, name);
  }

  keepAnswer(name: string, value: unknown): Promise<void> {
    return this.#store.keepAnswer(this.#farm, name, value);
  }

  async takeBack(base: Stored): Promise<void> {
    this.#kept(await this.#store.takeBack(this.#farm, base));
  }

  #kept(touched: Touched, queue?: QueueChange): void {
    this.#wire.say({ what: "records", farm: this.#farm, touched: [touched] });
    void this.#sync.queued(queue);
  }

  listen(heard: (touched: readonly Touched[] | null) => void): () => void {
    return this.#wire.listen((word) => {
      if (word.what === "records" && word.farm === this.#farm) heard(word.touched);
      if (word.what === "anew" && word.farm === this.#farm) heard(null);
    });
  }
}

/** Straight to the server, where the browser lets nothing be kept. */
export class DirectSource implements RecordSource {
  readonly #client: Client;
  constructor(client: Client) {
    this.#client = client;
  }
  list<K extends Kind>(kind: K): Promise<Stored<K>[]> {
    return this.#client.list(kind);
  }
  async put<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, why?: string): Promise<Stored<K>> {
    const stored = await this.#client.put(kind, feature, base, why);
    halfEntered.set(false);
    return stored;
  }
  del<K extends Kind>(base: Stored<K>): Promise<Stored<K>> {
    return this.#client.del(base);
  }
  async keep<K extends Kind>(kind: K, feature: Feature<K>, base: Stored<K> | null, how: Keeping): Promise<Kept<K>> {
    for (const { id, blob } of how.photos ?? []) await this.#client.putPhoto(id, blob.type, await blob.arrayBuffer());
    return { record: await this.put(kind, feature, base, how.why), left: [] };
  }
  async takeBack(base: Stored): Promise<void> {
    await this.del(base);
  }
  async answer(): Promise<unknown> {
    return undefined;
  }
  async keepAnswer(): Promise<void> {
    return;
  }
  listen(): () => void {
    return () => undefined;
  }
}
