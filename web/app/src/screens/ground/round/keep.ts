import { type Fix, fixCount, maxFixes, type Recording } from "./recording";

/** What this needs of the browser's storage. */
export type Store = Pick<Storage, "getItem" | "setItem" | "removeItem">;

/** The walk a device keeps, without its fixes. */
export interface KeptHead {
  readonly startedAtS: number;
  readonly fixes: number;
  /** It became a record; it is kept for the case that this is undone. */
  readonly stored: boolean;
}

interface Head extends KeptHead {
  readonly version: 1;
  readonly chunks: number;
}

// A fix as kept: longitude, latitude, height, time, accuracy. Null begins a segment.
type Entry = readonly [number, number, number, number, number | null] | null;

// So many fixes are written at a time: each new one writes some ten kilobytes at most.
const chunkSize = 200;

/** The page's own storage; null where the browser gives none. */
export function deviceStore(): Store | null {
  try {
    return globalThis.localStorage ?? null;
  } catch {
    return null;
  }
}

/**
 * Keeps the one walk of a farm on the device, so that a reload or a lost battery
 * does not lose it. A pause after the last fix is not kept: what is read is
 * paused anyway.
 */
export class Keep {
  readonly #store: Store | null;
  readonly #key: string;
  // What is written: how many entries, and of which walk.
  #entries = 0;
  #startedAtS: number | null = null;

  constructor(farm: string, store: Store | null = deviceStore()) {
    this.#store = store;
    this.#key = `caneward.round.${farm}`;
  }

  /** What is kept; null where there is nothing, or nothing that can be read. */
  head(): KeptHead | null {
    return this.#head();
  }

  #head(): Head | null {
    const h = parsed(this.#read(this.#key)) as Partial<Head> | null;
    if (h?.version !== 1 || !isNumber(h.startedAtS) || !isNumber(h.fixes) || !isNumber(h.chunks)) return null;
    return { version: 1, startedAtS: h.startedAtS, fixes: h.fixes, chunks: Math.min(h.chunks, 2 * Math.ceil(maxFixes / chunkSize)), stored: h.stored === true };
  }

  /** Reads the walk; where a piece is broken, what was walked before it. */
  load(): Recording | null {
    const head = this.#head();
    if (!head) return null;
    const segments: Fix[][] = [];
    let entries = 0;
    let whole = true;
    read: for (let i = 0; i < head.chunks; i++) {
      const chunk = parsed(this.#read(`${this.#key}.${i}`));
      whole = Array.isArray(chunk);
      if (!Array.isArray(chunk)) break;
      for (const entry of chunk as unknown[]) {
        if (entry === null) segments.push([]);
        else {
          const fix = fixFrom(entry);
          whole = fix !== null && segments.length > 0;
          if (!fix || segments.length === 0) break read;
          segments.at(-1)!.push(fix);
        }
        entries++;
      }
    }
    if (whole) {
      this.#entries = entries;
      this.#startedAtS = head.startedAtS;
    }
    return segments.some((s) => s.length > 0) ? { startedAtS: head.startedAtS, segments } : null;
  }

  /** Writes what is new; false where the browser takes nothing. Between two calls a walk changes at its end only. */
  save(r: Recording, stored = false): boolean {
    const entries = entriesOf(r);
    const same = this.#startedAtS === r.startedAtS;
    if (!same) this.drop();
    const from = same ? Math.floor(Math.max(0, Math.min(this.#entries, entries.length) - 1) / chunkSize) : 0;
    const chunks = Math.ceil(entries.length / chunkSize);
    try {
      if (!this.#store) return false;
      for (let i = from; i < chunks; i++) this.#store.setItem(`${this.#key}.${i}`, JSON.stringify(entries.slice(i * chunkSize, (i + 1) * chunkSize)));
      for (let i = chunks; i * chunkSize < this.#entries; i++) this.#store.removeItem(`${this.#key}.${i}`);
      const head: Head = { version: 1, startedAtS: r.startedAtS, fixes: fixCount(r), chunks, stored };
      this.#store.setItem(this.#key, JSON.stringify(head));
    } catch {
      // Full, or refused: the caller says so.
      return false;
    }
    this.#entries = entries.length;
    this.#startedAtS = r.startedAtS;
    return true;
  }

  drop(): void {
    const chunks = this.#head()?.chunks ?? 0;
    try {
      this.#store?.removeItem(this.#key);
      for (let i = 0; i < chunks; i++) this.#store?.removeItem(`${this.#key}.${i}`);
    } catch {
      return;
    } finally {
      this.#entries = 0;
      this.#startedAtS = null;
    }
  }

  #read(key: string): string | null {
    try {
      return this.#store?.getItem(key) ?? null;
    } catch {
      return null;
    }
  }
}

function entriesOf(r: Recording): Entry[] {
  return r.segments.filter((s) => s.length > 0).flatMap((s): Entry[] => [null, ...s.map((f): Entry => [...f.at, f.heightM, f.takenAtS, f.accuracyM])]);
}

function fixFrom(entry: unknown): Fix | null {
  if (!Array.isArray(entry) || entry.length !== 5) return null;
  const [lon, lat, heightM, takenAtS, accuracyM] = entry as unknown[];
  if (!isNumber(lon) || !isNumber(lat) || !isNumber(heightM) || !isNumber(takenAtS)) return null;
  return { at: [lon, lat], heightM, takenAtS, accuracyM: isNumber(accuracyM) ? accuracyM : null };
}

function isNumber(v: unknown): v is number {
  return typeof v === "number" && Number.isFinite(v);
}

function parsed(text: string | null): unknown {
  if (text === null) return null;
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
