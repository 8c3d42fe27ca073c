import type { Stretch } from "../../rowmap/rowplace";

/** What a visit says was looked at. */
export type Inspected = readonly Stretch[] | { readonly rows: "all" };

/**
 * Reads "1-4, 7, 9:10-35" as rows 1 to 4, row 7 and plants 10 to 35 of row 9.
 * last gives a row's last plant, 0 for a row that is not there. The answer is
 * the stretches or the first word that cannot be read, with why.
 */
export type Read =
  | { readonly ok: true; readonly stretches: Stretch[] }
  | { readonly ok: false; readonly word: string; readonly why: "shape" | "row" | "plant" | "order" };

// More rows than any block has; keeps "1-999999999" from filling the memory.
const mostRows = 5000;

export function readStretches(text: string, last: (row: number) => number): Read {
  const out: Stretch[] = [];
  for (const word of text.split(/[,;\n]+/).map((w) => w.trim()).filter(Boolean)) {
    const m = /^(\d+)(?:\s*[-–]\s*(\d+))?$/.exec(word);
    const p = /^(\d+)\s*:\s*(\d+)(?:\s*[-–]\s*(\d+))?$/.exec(word);
    if (m) {
      const from = Number(m[1]);
      const to = m[2] === undefined ? from : Number(m[2]);
      if (to < from) return { ok: false, word, why: "order" };
      if (to - from >= mostRows) return { ok: false, word, why: "row" };
      for (let row = from; row <= to; row++) {
        const end = last(row);
        if (end < 1) return { ok: false, word, why: "row" };
        out.push({ row, from: 1, to: end });
      }
    } else if (p) {
      const row = Number(p[1]);
      const from = Number(p[2]);
      const to = p[3] === undefined ? from : Number(p[3]);
      const end = last(row);
      if (end < 1) return { ok: false, word, why: "row" };
      if (to < from) return { ok: false, word, why: "order" };
      if (from < 1 || to > end) return { ok: false, word, why: "plant" };
      out.push({ row, from, to });
    } else {
      return { ok: false, word, why: "shape" };
    }
  }
  return { ok: true, stretches: mergeStretches(out) };
}

/** Rows upward, overlapping or touching stretches joined. */
export function mergeStretches(list: readonly Stretch[]): Stretch[] {
  const sorted = [...list].sort((a, b) => a.row - b.row || a.from - b.from);
  const out: { row: number; from: number; to: number }[] = [];
  for (const s of sorted) {
    const prev = out[out.length - 1];
    if (prev && prev.row === s.row && s.from <= prev.to + 1) prev.to = Math.max(prev.to, s.to);
    else out.push({ ...s });
  }
  return out;
}

/** How many plant positions stand in the stretches, each counted once. A preview figure. */
export function positions(list: readonly Stretch[]): number {
  return mergeStretches(list).reduce((sum, s) => sum + s.to - s.from + 1, 0);
}

/** The text that readStretches reads back; whole rows stand without plants. */
export function writeStretches(list: readonly Stretch[], last: (row: number) => number): string {
  return mergeStretches(list)
    .map((s) => (s.from === 1 && s.to === last(s.row) ? `${s.row}` : `${s.row}:${s.from}-${s.to}`))
    .join(", ");
}
