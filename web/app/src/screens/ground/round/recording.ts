import type { Geometry, Position } from "../../../geo/position";
import { distanceM } from "../../../rowmap/rowplace";

/** One position as the device told it. */
export interface Fix {
  /** Longitude, latitude in degrees, WGS 84. */
  readonly at: readonly [number, number];
  /** Metres; 0 where the device tells none. */
  readonly heightM: number;
  /** Unix seconds. */
  readonly takenAtS: number;
  /** The device's own estimate of its error; null where it gives none. */
  readonly accuracyM: number | null;
}

/** A walk as recorded; a pause parts it. Nothing is judged here: the server leaves out what cannot be true and says so. */
export interface Recording {
  readonly startedAtS: number;
  readonly segments: readonly (readonly Fix[])[];
}

/** Five and a half hours at one a second: bounds what the device keeps. */
export const maxFixes = 20_000;

/** An outline has three corners at least. */
export const fewestFixes = 3;

export function begin(nowS: number): Recording {
  return { startedAtS: nowS, segments: [[]] };
}

export function fixCount(r: Recording): number {
  return r.segments.reduce((n, s) => n + s.length, 0);
}

export function isFull(r: Recording): boolean {
  return fixCount(r) >= maxFixes;
}

export function lastFix(r: Recording): Fix | undefined {
  return r.segments.findLast((s) => s.length > 0)?.at(-1);
}

/** Adds a fix; the same one told twice (a time not later than the last) and what is over the bound change nothing. */
export function withFix(r: Recording, fix: Fix): Recording {
  const last = lastFix(r);
  if (isFull(r) || (last && fix.takenAtS <= last.takenAtS)) return r;
  const before = r.segments.slice(0, -1);
  return { ...r, segments: [...before, [...(r.segments.at(-1) ?? []), fix]] };
}

/** What comes after a pause is a segment of its own. */
export function withPause(r: Recording): Recording {
  return r.segments.at(-1)?.length === 0 ? r : { ...r, segments: [...r.segments, []] };
}

/** Leaves out the fix recorded last. */
export function withoutLast(r: Recording): Recording {
  const at = r.segments.findLastIndex((s) => s.length > 0);
  if (at < 0) return r;
  return { ...r, segments: [...r.segments.slice(0, at), r.segments[at]!.slice(0, -1)] };
}

// What the server takes for out of reach too (package track): the fastest that
// anything on a farm moves, and a second that whole-second times may be off.
const fastestMPerS = 30;
const wholeSecondS = 1;
// Half a step of receivers that write six digits.
const noFixDeg = 5e-7;

function isNoFix({ at: [lon, lat] }: Fix): boolean {
  return Math.abs(lon) <= noFixDeg && Math.abs(lat) <= noFixDeg;
}

function inReach(a: Fix, b: Fix): boolean {
  const slackM = (a.accuracyM ?? 0) + (b.accuracyM ?? 0);
  return distanceM(a.at, b.at) <= fastestMPerS * (Math.abs(b.takenAtS - a.takenAtS) + wholeSecondS) + slackM;
}

/**
 * The fixes of a segment that can be true, for the map and the figures under
 * way only: all are sent. A fix out of reach is held back until the next one
 * agrees with it.
 */
export function likely(segment: readonly Fix[]): Fix[] {
  const kept: Fix[] = [];
  let held: Fix | null = null;
  for (const fix of segment) {
    if (isNoFix(fix)) continue;
    const last = kept.at(-1);
    if (!last || inReach(last, fix)) {
      kept.push(fix);
      held = null;
    } else if (held && inReach(held, fix)) {
      // Two against one: a first fix that stands alone was the one astray.
      if (kept.length === 1) kept.pop();
      kept.push(held, fix);
      held = null;
    } else {
      held = fix;
    }
  }
  return kept;
}

export interface Figures {
  readonly fixes: number;
  /** Fixes that look lost or astray. */
  readonly astray: number;
  /** The way along the segments, without what lies between them. */
  readonly wayM: number;
  /** Straight from the last place to the first; null before there are two. */
  readonly backM: number | null;
  readonly start: Fix | null;
  readonly here: Fix | null;
  /** The likely fixes, segment by segment. */
  readonly lines: readonly (readonly Fix[])[];
}

/** What to show of a walk under way. */
export function figures(r: Recording): Figures {
  const lines = r.segments.map(likely);
  const good = lines.flat();
  const fixes = fixCount(r);
  const [start, here] = [good[0] ?? null, good.at(-1) ?? null];
  let wayM = 0;
  for (const line of lines) for (let i = 1; i < line.length; i++) wayM += distanceM(line[i - 1]!.at, line[i]!.at);
  return { fixes, astray: fixes - good.length, wayM, backM: start && here && start !== here ? distanceM(here.at, start.at) : null, start, here, lines };
}

/** Seconds recorded, without pauses; `nowS` while it is being recorded, null in a pause. */
export function timeS(r: Recording, nowS: number | null): number {
  let sum = 0;
  r.segments.forEach((s, i) => {
    const [first, last] = [s[0], s.at(-1)];
    if (!first || !last) return;
    const running = nowS !== null && i === r.segments.length - 1;
    sum += (running ? Math.max(nowS, last.takenAtS) : last.takenAtS) - first.takenAtS;
  });
  return sum;
}

/** Minutes and seconds, with hours from the first one on: 12:05, 1:02:05. */
export function clock(seconds: number): string {
  const s = Math.max(0, Math.floor(seconds));
  const two = (n: number) => String(n).padStart(2, "0");
  const minutes = Math.floor(s / 60) % 60;
  return s >= 3600 ? `${Math.floor(s / 3600)}:${two(minutes)}:${two(s % 60)}` : `${minutes}:${two(s % 60)}`;
}

export interface WalkFeature {
  readonly type: "Feature";
  readonly geometry: Geometry;
  readonly properties: { readonly name: string; readonly accuracies_m: readonly (number | null)[] };
}

/**
 * The walk as it is sent: positions of longitude, latitude, height in metres and
 * Unix seconds, with the accuracy of each in their order. Segments of one fix are
 * no line and are left out; null where no line is left.
 */
export function featureOf(r: Recording): WalkFeature | null {
  const segments = r.segments.filter((s) => s.length > 1);
  if (segments.length === 0) return null;
  const lines = segments.map((s) => s.map((f): Position => [...f.at, f.heightM, f.takenAtS]));
  return {
    type: "Feature",
    geometry: lines.length === 1 ? { type: "LineString", coordinates: lines[0]! } : { type: "MultiLineString", coordinates: lines },
    properties: { name: "", accuracies_m: segments.flat().map((f) => f.accuracyM) },
  };
}

// A hundredth of a millimetre and a tenth of a metre: finer than any receiver.
const round = (value: number, digits: number) => Number(value.toFixed(digits));

/** A position of the device as a fix. */
export function fixOf(p: GeolocationPosition): Fix {
  const { longitude, latitude, altitude, accuracy } = p.coords;
  return {
    at: [round(longitude, 8), round(latitude, 8)],
    heightM: altitude === null || !Number.isFinite(altitude) ? 0 : round(altitude, 1),
    takenAtS: round(p.timestamp / 1000, 3),
    accuracyM: Number.isFinite(accuracy) && accuracy >= 0 ? round(accuracy, 1) : null,
  };
}
