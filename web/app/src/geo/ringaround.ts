import type { Polygon, Position } from "./position";

// WGS 84 (EPSG 7030).
const equatorM = 6378137;
const eccentricitySquared = 0.00669437999014;

/** Corners of a full turn; a chord of 600 m and 2 degrees is 9 cm inside its arc. */
const corners = 180;

/**
 * The line at a distance round places: every point outside the places' hull that
 * lies just so far from it. In metres on the ellipsoid's tangent plane, good to
 * a decimetre over a few hundred metres. Null without places.
 */
export function ringAround(places: readonly Position[], metres: number): Polygon | null {
  const origin = places[0];
  if (!origin) return null;
  const sin = Math.sin((origin[1]! * Math.PI) / 180);
  const w = Math.sqrt(1 - eccentricitySquared * sin * sin);
  const perLon = ((Math.PI / 180) * equatorM * Math.sqrt(1 - sin * sin)) / w;
  const perLat = ((Math.PI / 180) * equatorM * (1 - eccentricitySquared)) / (w * w * w);
  const xy = places.map((p) => [(p[0]! - origin[0]!) * perLon, (p[1]! - origin[1]!) * perLat] as const);
  const ring: Position[] = [];
  for (let i = 0; i < corners; i++) {
    const turn = (2 * Math.PI * i) / corners;
    const [east, north] = [Math.cos(turn), Math.sin(turn)];
    // The place farthest this way is a corner of the hull.
    const far = xy.reduce((a, b) => (b[0] * east + b[1] * north > a[0] * east + a[1] * north ? b : a));
    ring.push([origin[0]! + (far[0] + metres * east) / perLon, origin[1]! + (far[1] + metres * north) / perLat]);
  }
  return { type: "Polygon", coordinates: [[...ring, ring[0]!]] };
}

/** Whether a ring holds a place. */
export function holds(ring: Polygon, at: Position): boolean {
  let inside = false;
  const line = ring.coordinates[0]!;
  for (let i = 1; i < line.length; i++) {
    const [a, b] = [line[i - 1]!, line[i]!];
    if (a[1]! > at[1]! !== b[1]! > at[1]! && at[0]! < a[0]! + ((at[1]! - a[1]!) / (b[1]! - a[1]!)) * (b[0]! - a[0]!)) inside = !inside;
  }
  return inside;
}
