import type { Client, Options } from "./client";

export interface Copies {
  readonly made_here: boolean;
  readonly last: string | null;
  readonly oldest: string | null;
  readonly copies: number;
  readonly bytes: number;
  readonly every_s: number;
  /** Which copies stay, as the server was told. */
  readonly keep: string;
  /** Empty while all is well. */
  readonly trouble: string;
}

/** How a farm is kept. Only the owner is told of copies and history. */
export interface KeptState {
  readonly leaving: { readonly at: string; readonly by: string; readonly says: string } | null;
  readonly erase_days: number;
  readonly audit_days: number;
  readonly empty: boolean;
  readonly copies?: Copies;
  readonly history?: { readonly sequence: number; readonly head: string; readonly chain: string; readonly says?: string };
}

/** What one person did within one hour at one address. */
export interface Seen {
  readonly hour: string;
  readonly name: string;
  readonly role: string;
  readonly token: string;
  readonly what: string;
  readonly what_says: string;
  readonly kind: string;
  readonly refused: boolean;
  readonly changes: boolean;
  readonly times: number;
  readonly records: number;
  readonly last: string;
}

export interface SeenList {
  /** Newest first. */
  readonly entries: readonly Seen[];
  readonly total: number;
  readonly kept_days: number;
  readonly says: string;
}

/** An archive is read for minutes where it is large. */
const archiveMs = 180_000;

export class Keeping {
  readonly #api: Client;
  constructor(api: Client) {
    this.#api = api;
  }
  state(options: Options = {}): Promise<KeptState> {
    return this.#api.net.json(this.#api.path("keeping"), options);
  }
  seen(limit: number, options: Options = {}): Promise<SeenList> {
    return this.#api.net.json(`${this.#api.path("reports/audit.json")}?limit=${limit}`, options);
  }
  askErasure(farm: string): Promise<KeptState> {
    return this.#api.net.post(this.#api.path("erasure"), { farm });
  }
  takeBackErasure(): Promise<KeptState> {
    return this.#api.net.json(this.#api.path("erasure"), { method: "DELETE" });
  }
  /** Gives an empty farm the history in an archive. */
  bringIn(archive: File): Promise<KeptState> {
    return this.#api.net.json(this.#api.path("history"), { method: "POST", body: archive, headers: { "Content-Type": "application/zip" }, timeoutMs: archiveMs });
  }
}
