import type { Client, Net } from "../api/client";
import type { RecordSource, Who } from "../model/farm";
import { waiting } from "../ui/waiting";
import { DeviceSource, DirectSource } from "./source";
import { DeviceStore } from "./store";
import { Sync } from "./sync";
import { readUnsent, writeUnsent } from "./unsent";
import { Wire } from "./wire";

/** What one person has on this device, from sign-in to sign-out. */
export class Device {
  readonly person: Who["person"];
  /** Null where the browser keeps nothing; work then needs the server. */
  readonly kept: { readonly store: DeviceStore; readonly sync: Sync; readonly wire: Wire } | null;

  private constructor(person: Who["person"], kept: Device["kept"]) {
    this.person = person;
    this.kept = kept;
  }

  static async open(net: Net, person: Who["person"]): Promise<Device> {
    let store: DeviceStore;
    try {
      store = await DeviceStore.open(person.id);
    } catch {
      // Some browsers give a private window no database.
      return new Device(person, null);
    }
    const wire = new Wire(`caneward.${person.id}`);
    const sync = new Sync(net, person.id, store, wire);
    sync.entries.listen(() => waiting.set(sync.entries.get().length));
    sync.start();
    return new Device(person, { store, sync, wire });
  }

  /** The records of a farm. */
  source(client: Client): RecordSource {
    return this.kept ? new DeviceSource(client, this.kept.store, this.kept.sync, this.kept.wire) : new DirectSource(client);
  }

  /** Ends the sending; what waits stays for this person. */
  end(): void {
    this.kept?.sync.end();
    this.kept?.wire.close();
    this.kept?.store.close();
    waiting.set(0);
  }

  /** Forgets what the server told this person; on a shared phone the next one must not find it. */
  async signOut(): Promise<void> {
    await this.kept?.store.forget();
    this.end();
  }

  /** Everything that waits, as a file. */
  async unsentFile(): Promise<Blob> {
    const { store } = this.kept!;
    // From now on another device may send it: it can no longer leave without a trace.
    const entries = await store.started(await store.entries());
    return writeUnsent({ id: this.person.id, name: this.person.name }, entries, (id) => store.photo(id));
  }

  /** Takes such a file in; how many entries were new here, and whose they are. */
  async takeUnsent(text: string): Promise<{ taken: number; by: string | null }> {
    const { store, sync } = this.kept!;
    const unsent = readUnsent(text);
    const taken = await store.adopt(unsent.entries, unsent.photos);
    await sync.queued();
    return { taken, by: unsent.person.id === this.person.id ? null : unsent.person.name };
  }
}

const whoKey = "caneward.who";
const owedKey = "caneward.sign-out-owed";

/** Who was signed in last, so that the page opens without a network. */
export function recallWho(): Who | null {
  try {
    const kept = JSON.parse(localStorage.getItem(whoKey) ?? "null") as Who | null;
    return typeof kept?.person?.id === "string" && Array.isArray(kept.farms) ? kept : null;
  } catch {
    return null;
  }
}

export function rememberWho(who: Who | null): void {
  try {
    if (who) localStorage.setItem(whoKey, JSON.stringify(who));
    else localStorage.removeItem(whoKey);
  } catch {
    return;
  }
}

/** A sign-out the server has not heard of yet: its cookie would let the person in again. */
export function signOutOwed(): boolean {
  try {
    return localStorage.getItem(owedKey) !== null;
  } catch {
    return false;
  }
}

export function oweSignOut(owed: boolean): void {
  try {
    if (owed) localStorage.setItem(owedKey, "1");
    else localStorage.removeItem(owedKey);
  } catch {
    return;
  }
}

/** Asks the browser not to clear what waits when the device runs short; it may say no. */
export async function askToPersist(): Promise<boolean> {
  return (await globalThis.navigator?.storage?.persist?.()) ?? false;
}

/** Room as the browser estimates it, bytes; null where it does not say. */
export async function room(): Promise<{ used: number; of: number } | null> {
  const got = await globalThis.navigator?.storage?.estimate?.();
  return got?.usage !== undefined && got.quota !== undefined ? { used: got.usage, of: got.quota } : null;
}
