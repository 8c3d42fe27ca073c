import { type DrawnRow, lengthM, type LonLat, plantPlace, stepM } from "./rowplace";

/** Where a plant stands in the picture: `x` across in rows, `y` along in plants, both from 0. */
export interface Slot {
  readonly row: number;
  readonly plant: number;
  readonly x: number;
  readonly y: number;
}

/** A row of the picture: its plants from the lowest upward, looking along the bearing. */
export interface PictureRow {
  readonly number: number;
  readonly x: number;
  /** Plant numbers, lowest place first; numbers need not rise. */
  readonly plants: readonly number[];
  /** The place of each of them along the row; rises. */
  readonly ys: readonly number[];
  /** Whether plant numbers rise upward. */
  readonly upward: boolean;
}

/** A block as rows by plants, not to scale: rows side by side, a plant a step, holes left open. */
export interface Picture {
  /** Left to right, looking along the bearing. */
  readonly rows: readonly PictureRow[];
  /** Of the outermost rows and plants. */
  readonly width: number;
  readonly height: number;
  readonly bearingDeg: number;
  readonly plants: number;
}

// Where rows stand this much farther apart than most do, an alley lies between.
const alleyFrom = 1.5;
const alleyWidth = 1.6;

interface Run {
  readonly low: number;
  readonly count: number;
  readonly firstPlant: number;
  readonly up: boolean;
  readonly across: number;
}

/**
 * The picture of a block's rows. `bearingDeg` is the way up; without one it is
 * the way of the first row. Rows without a plant stand in it as well.
 */
export function pictureOf(rows: readonly DrawnRow[], spacingM: number | null, bearingDeg?: number): Picture {
  const drawn = rows.filter((r) => r.line.length > 1);
  const origin = drawn[0]?.line[0];
  if (!origin) return { rows: [], width: 0, height: 0, bearingDeg: bearingDeg ?? 0, plants: 0 };
  const way = bearingDeg ?? bearingOf(drawn[0]!.line);
  const step = spacingM ?? drawn.find((r) => r.stepM)?.stepM ?? meanStep(drawn);
  const byNumber = new Map<number, Run[]>();
  for (const r of drawn) {
    const list = byNumber.get(r.number) ?? [];
    list.push(runOf(r, origin, way, step, spacingM));
    byNumber.set(r.number, list);
  }
  const placed = [...byNumber].map(([number, runs]) => rowOf(number, runs)).sort((a, b) => a.across - b.across || a.number - b.number);
  const xs = columns(placed.map((r) => r.across));
  const lowest = Math.min(...placed.flatMap((r) => (r.ys.length > 0 ? [r.ys[0]!] : [])));
  const from = Number.isFinite(lowest) ? lowest : 0;
  const out = placed.map((r, i): PictureRow => ({ number: r.number, x: xs[i]!, plants: r.plants, ys: r.ys.map((y) => y - from), upward: r.upward }));
  return {
    rows: out,
    width: xs.at(-1) ?? 0,
    height: Math.max(0, ...out.map((r) => r.ys.at(-1) ?? 0)),
    bearingDeg: way,
    plants: out.reduce((n, r) => n + r.plants.length, 0),
  };
}

function meanStep(rows: readonly DrawnRow[]): number {
  const longest = rows.reduce((a, b) => (b.plants > a.plants ? b : a));
  return longest.plants > 1 ? lengthM(longest.line) / (longest.plants - 1) : 1;
}

function bearingOf(line: readonly LonLat[]): number {
  const [e, n] = stepM(line[0]!, line.at(-1)!);
  return ((Math.atan2(e, n) * 180) / Math.PI + 360) % 360;
}

function runOf(r: DrawnRow, origin: LonLat, way: number, step: number, spacingM: number | null): Run {
  const rad = (way * Math.PI) / 180;
  const along = (at: LonLat) => {
    const [e, n] = stepM(origin, at);
    return e * Math.sin(rad) + n * Math.cos(rad);
  };
  const across = (at: LonLat) => {
    const [e, n] = stepM(origin, at);
    return e * Math.cos(rad) - n * Math.sin(rad);
  };
  const [head, foot] = [r.line[0]!, r.line.at(-1)!];
  const up = along(foot) >= along(head);
  const first = plantPlace([r], r.number, r.firstPlant, spacingM) ?? head;
  const start = Math.round(along(first) / step);
  return { low: up ? start : start - Math.max(0, r.plants - 1), count: r.plants, firstPlant: r.firstPlant, up, across: (across(head) + across(foot)) / 2 };
}

function rowOf(number: number, runs: readonly Run[]) {
  const plants: number[] = [];
  const ys: number[] = [];
  for (const run of [...runs].sort((a, b) => a.low - b.low)) {
    // Two stretches closer than a plant are still two places.
    const low = Math.max(run.low, (ys.at(-1) ?? -Infinity) + 1);
    for (let i = 0; i < run.count; i++) {
      plants.push(run.up ? run.firstPlant + i : run.firstPlant + run.count - 1 - i);
      ys.push(low + i);
    }
  }
  const across = runs.reduce((sum, r) => sum + r.across, 0) / runs.length;
  return { number, plants, ys, across, upward: runs[0]!.up };
}

function columns(across: readonly number[]): number[] {
  const gaps = across.slice(1).map((a, i) => a - across[i]!);
  const middle = [...gaps].sort((a, b) => a - b)[gaps.length >> 1] ?? 0;
  const xs = [0];
  for (const gap of gaps) xs.push(xs.at(-1)! + (gap > middle * alleyFrom && middle > 0 ? alleyWidth : 1));
  return across.length > 0 ? xs : [];
}

/** The place of a plant; null where the picture has none of that address. */
export function slotOf(picture: Picture, row: number, plant: number): Slot | null {
  for (const r of picture.rows) {
    if (r.number !== row) continue;
    const i = r.plants.indexOf(plant);
    if (i >= 0) return { row, plant, x: r.x, y: r.ys[i]! };
  }
  return null;
}

/** The plant of a row nearest to a height; null in a row without plants. */
export function nearestIn(r: PictureRow, y: number): Slot | null {
  let [low, high] = [0, r.ys.length - 1];
  if (high < 0) return null;
  while (low < high) {
    const mid = (low + high) >> 1;
    if (r.ys[mid]! < y) low = mid + 1;
    else high = mid;
  }
  const i = low > 0 && y - r.ys[low - 1]! <= r.ys[low]! - y ? low - 1 : low;
  return { row: r.number, plant: r.plants[i]!, x: r.x, y: r.ys[i]! };
}

/**
 * The plant nearest to a place in the picture; `wide` is how many plants' steps
 * one step between rows is worth.
 */
export function nearestSlot(picture: Picture, x: number, y: number, wide: number): Slot | null {
  let best: Slot | null = null;
  let least = Infinity;
  for (const r of picture.rows) {
    const dx = (r.x - x) * wide;
    if (Math.abs(dx) >= least) continue;
    const slot = nearestIn(r, y);
    if (!slot) continue;
    const d = Math.hypot(dx, slot.y - y);
    if (d < least) [best, least] = [slot, d];
  }
  return best;
}

/** Ways a cursor goes: along and across by steps, to a row's ends, to the next row by number. */
export type Move = { readonly along: number } | { readonly across: number } | { readonly end: "first" | "last" } | { readonly rows: number };

/** Where a move leads; where it leads nowhere, the same place. */
export function moved(picture: Picture, from: Slot, move: Move): Slot {
  const at = picture.rows.findIndex((r) => r.number === from.row);
  const row = picture.rows[at];
  if (!row) return from;
  if ("along" in move) {
    const i = row.plants.indexOf(from.plant);
    const to = Math.min(row.plants.length - 1, Math.max(0, i + move.along));
    return { row: row.number, plant: row.plants[to]!, x: row.x, y: row.ys[to]! };
  }
  if ("end" in move) {
    const plant = row.plants.reduce((a, b) => ((move.end === "first" ? b < a : b > a) ? b : a));
    return slotOf(picture, row.number, plant) ?? from;
  }
  if ("across" in move) {
    const way = Math.sign(move.across);
    for (let i = at + move.across; i >= 0 && i < picture.rows.length; i += way) {
      const slot = nearestIn(picture.rows[i]!, from.y);
      if (slot) return slot;
    }
    return from;
  }
  const numbered = picture.rows.filter((r) => r.plants.length > 0).sort((a, b) => a.number - b.number);
  const i = numbered.findIndex((r) => r.number === from.row);
  const next = numbered[Math.min(numbered.length - 1, Math.max(0, i + move.rows))];
  if (!next || next.number === from.row) return from;
  return slotOf(picture, next.number, from.plant) ?? nearestIn(next, from.y) ?? from;
}
