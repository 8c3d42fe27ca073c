import type { MultiPolygon, Polygon, Position, Ring } from "./position";
import { inRing } from "./ring";

// A grid of this many places a side is tried; finer ones move labels by less
// than a letter.
const side = 9;
/** More obstacles than this are thinned evenly: the label only needs a gap. */
const mostObstacles = 500;

/**
 * A place for a label inside the largest part of a shape, away from its edges,
 * its holes and the obstacles. Degrees in and out; the plane is scaled by the
 * latitude, good enough for a farm. Null when no place of the grid lies inside.
 */
export function labelPlace(shape: Polygon | MultiPolygon, obstacles: readonly Position[]): Position | null {
  const rings = largest(shape.type === "Polygon" ? [shape.coordinates] : shape.coordinates);
  const shell = rings?.[0];
  if (!rings || !shell || shell.length < 4) return null;
  const squeeze = Math.cos(((shell[0]![1] ?? 0) * Math.PI) / 180);
  const flat = (p: Position): Position => [p[0]! * squeeze, p[1]!];
  const plane = rings.map((r) => r.map(flat));
  const step = Math.max(1, Math.ceil(obstacles.length / mostObstacles));
  const avoid = obstacles.filter((_, i) => i % step === 0).map(flat);
  const [w, s, e, n] = bounds(plane[0]!);
  let best: Position | null = null;
  let bestScore = 0;
  for (let i = 1; i <= side; i++) {
    for (let j = 1; j <= side; j++) {
      const p: Position = [w + ((e - w) * i) / (side + 1), s + ((n - s) * j) / (side + 1)];
      if (!inRing(p, plane[0]!) || plane.slice(1).some((h) => inRing(p, h))) continue;
      let room = Infinity;
      for (const r of plane) room = Math.min(room, edgeDistance(p, r));
      for (const o of avoid) room = Math.min(room, Math.hypot(p[0]! - o[0]!, p[1]! - o[1]!));
      if (room > bestScore) {
        bestScore = room;
        best = p;
      }
    }
  }
  return best && [best[0]! / squeeze, best[1]!];
}

function largest(parts: readonly (readonly Ring[])[]): readonly Ring[] | undefined {
  const size = (rings: readonly Ring[]) => {
    const [w, s, e, n] = bounds(rings[0] ?? []);
    return (e - w) * (n - s);
  };
  return parts.reduce<readonly Ring[] | undefined>((a, b) => (!a || size(b) > size(a) ? b : a), undefined);
}

function bounds(ring: readonly Position[]): [number, number, number, number] {
  let [w, s, e, n] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const p of ring) {
    w = Math.min(w, p[0]!);
    e = Math.max(e, p[0]!);
    s = Math.min(s, p[1]!);
    n = Math.max(n, p[1]!);
  }
  return [w, s, e, n];
}

function edgeDistance(p: Position, ring: readonly Position[]): number {
  let d = Infinity;
  for (let i = 1; i < ring.length; i++) {
    const [a, b] = [ring[i - 1]!, ring[i]!];
    const [dx, dy] = [b[0]! - a[0]!, b[1]! - a[1]!];
    const long = dx * dx + dy * dy;
    const t = long === 0 ? 0 : Math.min(1, Math.max(0, ((p[0]! - a[0]!) * dx + (p[1]! - a[1]!) * dy) / long));
    d = Math.min(d, Math.hypot(p[0]! - a[0]! - t * dx, p[1]! - a[1]! - t * dy));
  }
  return d;
}
