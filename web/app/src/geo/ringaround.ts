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
  const [perLon, perLat] = perDegree(origin[1]!);
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

/** An ellipse round a place: half axes along and across a bearing, metres, good as ringAround is. */
export function ellipseAround(at: Position, alongM: number, acrossM: number, bearingDeg: number): Polygon {
  const turn = (bearingDeg * Math.PI) / 180;
  const [perLon, perLat] = perDegree(at[1]!);
  const ring: Position[] = [];
  for (let i = 0; i < corners; i++) {
    const a = (2 * Math.PI * i) / corners;
    const [along, across] = [alongM * Math.cos(a), acrossM * Math.sin(a)];
    ring.push([at[0]! + (along * Math.sin(turn) + across * Math.cos(turn)) / perLon, at[1]! + (along * Math.cos(turn) - across * Math.sin(turn)) / perLat]);
  }
  return { type: "Polygon", coordinates: [[...ring, ring[0]!]] };
}

/** Metres to a degree of longitude and of latitude at a latitude. */
function perDegree(latitude: number): [number, number] {
  const rad = Math.PI / 180;
  const sin = Math.sin(latitude * rad);
  const w = Math.sqrt(1 - eccentricitySquared * sin * sin);
  return [(rad * equatorM * Math.sqrt(1 - sin * sin)) / w, (rad * equatorM * (1 - eccentricitySquared)) / (w * w * w)];
}
