import type { Polygon, Position, Ring } from "./position";

// Plane rules on whatever plane the corners are in: degrees or map metres. They
// guide the hand that draws; the server's checks decide.

/** Twice the signed area of the corner a, b, c: positive when it turns left. */
function turn(a: Position, b: Position, c: Position): number {
  return (b[0]! - a[0]!) * (c[1]! - a[1]!) - (b[1]! - a[1]!) * (c[0]! - a[0]!);
}

/** Whether a point lies inside a closed ring; points on the edge may answer either way. */
export function inRing(p: Position, ring: Ring): boolean {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const a = ring[i]!;
    const b = ring[j]!;
    const above = [a[1]! > p[1]!, b[1]! > p[1]!];
    if (above[0] === above[1]) continue;
    const x = a[0]! + ((p[1]! - a[1]!) / (b[1]! - a[1]!)) * (b[0]! - a[0]!);
    if (p[0]! < x) inside = !inside;
  }
  return inside;
}

/** Whether two segments cross at one inner point; touching ends and overlaps do not count. */
export function segmentsCross(a: Position, b: Position, c: Position, d: Position): boolean {
  return turn(a, b, c) * turn(a, b, d) < 0 && turn(c, d, a) * turn(c, d, b) < 0;
}

function ringsCross(a: Ring, b: Ring): boolean {
  for (let i = 1; i < a.length; i++) {
    for (let j = 1; j < b.length; j++) {
      if (segmentsCross(a[i - 1]!, a[i]!, b[j - 1]!, b[j]!)) return true;
    }
  }
  return false;
}

/** Where a closed ring first crosses itself: the numbers, from 1, of the corners both sides start at. Null when it does not. */
export function selfCrossing(ring: Ring): { first: number; second: number } | null {
  for (let i = 1; i < ring.length; i++) {
    for (let j = i + 1; j < ring.length; j++) {
      if (segmentsCross(ring[i - 1]!, ring[i]!, ring[j - 1]!, ring[j]!)) return { first: i, second: j };
    }
  }
  return null;
}

/** Whether a closed ring lies wholly in the ground of a polygon: inside the shell, in no hole, around no hole, crossing none. */
export function fitsAsHole(hole: Ring, polygon: Polygon): boolean {
  const [shell, ...holes] = polygon.coordinates;
  if (!shell) return false;
  if (!hole.every((p) => inRing(p, shell))) return false;
  if (ringsCross(hole, shell)) return false;
  return holes.every((h) => !ringsCross(hole, h) && !inRing(hole[0]!, h) && !inRing(h[0]!, hole));
}
