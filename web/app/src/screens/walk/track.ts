import { useEffect, useRef, useState } from "preact/hooks";
import type { LineString, MultiLineString, Position } from "../../geo/position";
import type { GeometryOf } from "../../model/kinds";
import { distanceM } from "../../rowmap/rowplace";
import { Keep } from "../ground/round/keep";
import { begin, type Recording, withFix, withPause } from "../ground/round/recording";
import type { Fix } from "./find";

// Closer together, fixes tell of the receiver and not of the walk.
const leastM = 2;
// What lies further apart in time was not recorded as one walk.
const longestGapS = 60;

/** Records where the phone goes on a visit, kept over a closed page; null without a visit. */
export function useTrack(farm: string, visit: string | undefined, paused: boolean, fix: Fix | null): Recording | null {
  const keep = useRef<Keep | null>(null);
  const [walk, setWalk] = useState<Recording | null>(null);
  useEffect(() => {
    keep.current = visit ? new Keep(`${farm}.${visit}`) : null;
    // A page that was closed has not seen what lies between.
    setWalk(visit ? withPause(keep.current?.load() ?? begin(Date.now() / 1000)) : null);
  }, [farm, visit]);
  useEffect(() => {
    if (paused) setWalk((r) => r && withPause(r));
  }, [paused]);
  useEffect(() => {
    if (!walk || !fix || paused) return;
    const taken = { at: fix.at, heightM: 0, takenAtS: fix.takenAt / 1000, accuracyM: fix.accuracyM };
    const last = walk.segments.at(-1)?.at(-1);
    if (last && distanceM(last.at, fix.at) < leastM) return;
    const next = withFix(last && taken.takenAtS - last.takenAtS > longestGapS ? withPause(walk) : walk, taken);
    if (next === walk) return;
    setWalk(next);
    keep.current?.save(next);
  }, [fix, paused]);
  return walk;
}

/** Forgets what was recorded of a visit: it stands in the visit now. */
export function dropTrack(farm: string, visit: string): void {
  new Keep(`${farm}.${visit}`).drop();
}

/** What the visit's record holds and what was recorded since, as one; null for no line. */
export function trackOf(before: GeometryOf["visits"], walk: Recording | null): LineString | MultiLineString | null {
  const old = before?.type === "LineString" ? [before.coordinates] : before?.type === "MultiLineString" ? before.coordinates : [];
  const fresh = (walk?.segments ?? []).filter((s) => s.length > 1).map((s) => s.map((f): Position => [f.at[0], f.at[1]]));
  const lines = [...old, ...fresh];
  if (lines.length === 0) return null;
  return lines.length === 1 ? { type: "LineString", coordinates: lines[0]! } : { type: "MultiLineString", coordinates: lines };
}

/** The radius that half of the fixes were within; null without fixes. */
export function usualAccuracyM(walk: Recording | null): number | null {
  const all = (walk?.segments ?? []).flat().flatMap((f) => f.accuracyM ?? []).sort((a, b) => a - b);
  return all[Math.floor(all.length / 2)] ?? null;
}
