import { signal, type Signal } from "../model/signal";
import type { Client } from "./client";
import { readCsv } from "./csv";

/** What the server measured on a block. */
export interface BlockFigures {
  readonly outline_m2: number;
}

export interface Figures {
  readonly state: "idle" | "loading" | "ready" | "failed";
  readonly of: ReadonlyMap<string, BlockFigures>;
  readonly failure: unknown;
}

/** Reads the report of blocks; lines without an area are left out. */
export function readFigures(csv: string): Map<string, BlockFigures> {
  const of = new Map<string, BlockFigures>();
  for (const line of readCsv(csv)) {
    const id = line["id"];
    const text = line["outline_m2"];
    const m2 = text ? Number(text) : Number.NaN;
    if (id && Number.isFinite(m2)) of.set(id, { outline_m2: m2 });
  }
  return of;
}

/** The figures of all blocks of a farm; refresh() after blocks or rows change. */
export class FarmFigures {
  readonly now: Signal<Figures> = signal<Figures>({ state: "idle", of: new Map(), failure: null });
  readonly #api: Client;
  #asked = 0;

  constructor(api: Client) {
    this.#api = api;
  }

  async refresh(): Promise<void> {
    // Two may be under way; only the one asked last counts.
    const asked = ++this.#asked;
    this.now.set({ ...this.now.get(), state: "loading" });
    try {
      const answer = await this.#api.net.ask(this.#api.reportPath("blocks", "csv"));
      const of = readFigures(await answer.text());
      if (asked === this.#asked) this.now.set({ state: "ready", of, failure: null });
    } catch (failure) {
      if (asked === this.#asked) this.now.set({ ...this.now.get(), state: "failed", failure });
    }
  }
}
