/** Longitude, latitude in degrees, WGS 84. */
export type LonLat = readonly [number, number];

/** A drawn row: its line from the first plant's end, and how many plants stand on it. */
export interface DrawnRow {
  readonly number: number;
  readonly plants: number;
  readonly line: readonly LonLat[];
  /** Plant number at the start of this part; a row cut by a hole numbers on. */
  readonly firstPlant: number;
  readonly missing: readonly number[];
  /** How far along the line the first plant stands; its start where it is not said. */
  readonly startM?: number;
  /** Between its plants; the block's spacing where it is not said. */
  readonly stepM?: number;
}

// WGS 84 (EPSG 7030).
const equatorM = 6378137;
const eccentricitySquared = 0.00669437999014;

/** Metres east and north from a to b; good to a millimetre over a row's length. */
export function stepM(a: LonLat, b: LonLat): [number, number] {
  const rad = Math.PI / 180;
  const sin = Math.sin(((a[1] + b[1]) / 2) * rad);
  const w = Math.sqrt(1 - eccentricitySquared * sin * sin);
  const alongParallel = (equatorM / w) * Math.sqrt(1 - sin * sin);
  const alongMeridian = (equatorM * (1 - eccentricitySquared)) / (w * w * w);
  return [(b[0] - a[0]) * rad * alongParallel, (b[1] - a[1]) * rad * alongMeridian];
}

/** Distance between two places near each other, metres. A preview figure. */
export function distanceM(a: LonLat, b: LonLat): number {
  return Math.hypot(...stepM(a, b));
}

export function lengthM(line: readonly LonLat[]): number {
  let sum = 0;
  for (let i = 1; i < line.length; i++) sum += distanceM(line[i - 1]!, line[i]!);
  return sum;
}

/** The place a distance along a line; before the start or past the end it is the end itself. */
function along(line: readonly LonLat[], metres: number): LonLat {
  let left = metres;
  for (let i = 1; i < line.length; i++) {
    const [a, b] = [line[i - 1]!, line[i]!];
    const step = distanceM(a, b);
    if (step > 0 && left <= step) {
      const t = Math.max(0, left / step);
      return [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
    }
    left -= step;
  }
  return line[line.length - 1]!;
}

/**
 * Where a plant stands, from its row: null when no row of that number reaches
 * that plant. Plants stand at whole multiples of spacingM from the row's
 * start; without a spacing they are spread evenly from end to end.
 */
export function plantPlace(
  rows: readonly DrawnRow[],
  row: number,
  plant: number,
  spacingM: number | null,
): LonLat | null {
  const part = rows.find(
    (r) => r.number === row && plant >= r.firstPlant && plant < r.firstPlant + r.plants,
  );
  if (!part || part.line.length < 2) return null;
  const nth = plant - part.firstPlant;
  return along(part.line, (part.startM ?? 0) + nth * spacingOf(part, spacingM, 0));
}

/** Between a row's plants: its own, else the block's, else spread from end to end. */
function spacingOf(part: DrawnRow, spacingM: number | null, alone: number): number {
  return part.stepM ?? spacingM ?? (part.plants > 1 ? lengthM(part.line) / (part.plants - 1) : alone);
}

/** The last plant number of a row over all its parts; 0 for an unknown row. */
export function lastPlant(rows: readonly DrawnRow[], row: number): number {
  return Math.max(0, ...rows.filter((r) => r.number === row).map((r) => r.firstPlant + r.plants - 1));
}

/** The row and plant nearest to a place, with how far it is off. Null without rows. */
export function nearestPlant(
  rows: readonly DrawnRow[],
  place: LonLat,
  spacingM: number | null,
): { row: number; plant: number; offM: number } | null {
  let best: { row: number; plant: number; offM: number } | null = null;
  for (const part of rows) {
    for (let plant = part.firstPlant; plant < part.firstPlant + part.plants; plant++) {
      const at = plantPlace([part], part.number, plant, spacingM);
      if (!at) continue;
      const offM = distanceM(at, place);
      if (!best || offM < best.offM) best = { row: part.number, plant, offM };
    }
  }
  return best;
}

/** A row and the plants from one number to another, both counted. */
export interface Stretch {
  readonly row: number;
  readonly from: number;
  readonly to: number;
}

/** Joins single plants into stretches: rows upward, plants upward, each once. */
export function stretches(plants: readonly { row: number; plant: number }[]): Stretch[] {
  const sorted = [...plants].sort((a, b) => a.row - b.row || a.plant - b.plant);
  const out: { row: number; from: number; to: number }[] = [];
  for (const p of sorted) {
    const last = out[out.length - 1];
    if (last && last.row === p.row && p.plant <= last.to + 1) last.to = Math.max(last.to, p.plant);
    else out.push({ row: p.row, from: p.plant, to: p.plant });
  }
  return out;
}

/**
 * The line along a stretch for drawing, from half a plant before its first to
 * half a plant after its last, so that one plant is still a line. Empty when
 * the row is not drawn; more than one line where a hole cuts the row.
 */
export function stretchLines(
  rows: readonly DrawnRow[],
  stretch: Stretch,
  spacingM: number | null,
): LonLat[][] {
  const lines: LonLat[][] = [];
  for (const part of rows) {
    if (part.number !== stretch.row || part.line.length < 2) continue;
    const from = Math.max(stretch.from, part.firstPlant);
    const to = Math.min(stretch.to, part.firstPlant + part.plants - 1);
    if (to < from) continue;
    const step = spacingOf(part, spacingM, 1);
    const total = lengthM(part.line);
    const first = part.startM ?? 0;
    const start = Math.max(0, first + (from - part.firstPlant - 0.5) * step);
    const end = Math.min(total, first + (to - part.firstPlant + 0.5) * step);
    lines.push(cut(part.line, start, end));
  }
  return lines;
}

function cut(line: readonly LonLat[], startM: number, endM: number): LonLat[] {
  const out: LonLat[] = [along(line, startM)];
  let passed = 0;
  for (let i = 1; i < line.length - 1; i++) {
    passed += distanceM(line[i - 1]!, line[i]!);
    if (passed > startM && passed < endM) out.push(line[i]!);
  }
  out.push(along(line, endM));
  return out;
}

/**
 * The ground along a line, halfM to each side, square at its ends: for
 * hatching, not for measuring. Bends are mitred by the mean of both normals.
 */
export function strip(line: readonly LonLat[], halfM: number): LonLat[] {
  const left: LonLat[] = [];
  const right: LonLat[] = [];
  for (let i = 0; i < line.length; i++) {
    const at = line[i]!;
    const [e, n] = stepM(line[Math.max(0, i - 1)]!, line[Math.min(line.length - 1, i + 1)]!);
    const long = Math.hypot(e, n);
    if (long === 0) continue;
    const [east, north] = [(-n / long) * halfM, (e / long) * halfM];
    const [perLon, perLat] = [stepM(at, [at[0] + 1e-5, at[1]])[0], stepM(at, [at[0], at[1] + 1e-5])[1]];
    const move: LonLat = [(east / perLon) * 1e-5, (north / perLat) * 1e-5];
    left.push([at[0] + move[0], at[1] + move[1]]);
    right.unshift([at[0] - move[0], at[1] - move[1]]);
  }
  const ring = [...left, ...right];
  return ring.length > 0 ? [...ring, ring[0]!] : [];
}
