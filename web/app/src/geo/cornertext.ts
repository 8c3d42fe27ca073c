import type { LineString, MultiPolygon, Polygon, Position, Ring } from "./position";

/** Why a line of typed corners cannot be read; `line` counts from 1. */
export interface CornerFault {
  readonly line: number;
  readonly why: "not-two-numbers" | "latitude-first" | "out-of-range" | "too-few";
}

export type CornersRead<G> = { readonly geometry: G; readonly faults: readonly [] } | { readonly geometry: null; readonly faults: readonly CornerFault[] };

const partMark = "---";

/**
 * Reads corners as people type them: one a line, longitude then latitude in
 * degrees, with a comma or blanks between. An empty line starts a hole in the
 * part above it, a line of three dashes a further part. Rings need not repeat
 * their first corner.
 */
export function readCorners(text: string): CornersRead<Polygon | MultiPolygon> {
  const faults: CornerFault[] = [];
  const parts: Position[][][] = [[[]]];
  const starts = new Map<Position[], number>();
  text.split(/\r?\n/).forEach((raw, i) => {
    const line = raw.trim();
    const part = parts[parts.length - 1]!;
    const ring = part[part.length - 1]!;
    if (line === "") {
      if (ring.length > 0) part.push([]);
    } else if (line === partMark) {
      parts.push([[]]);
    } else {
      const read = readPair(line);
      if (typeof read === "string") faults.push({ line: i + 1, why: read });
      else {
        if (ring.length === 0) starts.set(ring, i + 1);
        ring.push(read);
      }
    }
  });
  const shape = parts.map((rings) => rings.filter((r) => r.length > 0).map(closed)).filter((rings) => rings.length > 0);
  for (const part of parts) {
    for (const ring of part) if (ring.length > 0 && closed(ring).length < 4) faults.push({ line: starts.get(ring) ?? 1, why: "too-few" });
  }
  if (shape.length === 0 && faults.length === 0) faults.push({ line: 1, why: "too-few" });
  if (faults.length > 0) return { geometry: null, faults };
  if (shape.length === 1) return { geometry: { type: "Polygon", coordinates: shape[0]! }, faults: [] };
  return { geometry: { type: "MultiPolygon", coordinates: shape }, faults: [] };
}

/** Reads a line the same way: two places or more. */
export function readLine(text: string): CornersRead<LineString> {
  const faults: CornerFault[] = [];
  const line: Position[] = [];
  text.split(/\r?\n/).forEach((raw, i) => {
    if (raw.trim() === "") return;
    const read = readPair(raw.trim());
    if (typeof read === "string") faults.push({ line: i + 1, why: read });
    else line.push(read);
  });
  if (faults.length === 0 && line.length < 2) faults.push({ line: 1, why: "too-few" });
  return faults.length > 0 ? { geometry: null, faults } : { geometry: { type: "LineString", coordinates: line }, faults: [] };
}

/** One place: longitude, latitude; or why not. */
export function readPair(text: string): Position | CornerFault["why"] {
  const m = /^(-?\d+(?:\.\d+)?)(?:\s*[,;]\s*|\s+)(-?\d+(?:\.\d+)?)$/.exec(text.trim());
  if (!m) return "not-two-numbers";
  const [lon, lat] = [Number(m[1]), Number(m[2])];
  if (Math.abs(lat) > 90 && Math.abs(lon) <= 90) return "latitude-first";
  if (Math.abs(lat) > 90 || Math.abs(lon) > 180) return "out-of-range";
  return [lon, lat];
}

function closed(ring: readonly Position[]): Ring {
  const [first, last] = [ring[0], ring[ring.length - 1]];
  if (!first || !last || ring.length < 2) return ring;
  return first[0] === last[0] && first[1] === last[1] ? ring : [...ring, first];
}

/** Writes a shape in the form readCorners reads; rings without their repeated corner. */
export function writeCorners(shape: Polygon | MultiPolygon | null): string {
  if (!shape) return "";
  const parts = shape.type === "Polygon" ? [shape.coordinates] : shape.coordinates;
  return parts.map((rings) => rings.map((ring) => ring.slice(0, -1).map(writePair).join("\n")).join("\n\n")).join(`\n${partMark}\n`);
}

export function writeLine(line: LineString | null): string {
  return line ? line.coordinates.map(writePair).join("\n") : "";
}

/** Longitude, latitude to a tenth of a millimetre at most. */
export function writePair(at: Position): string {
  return `${Number(at[0]!.toFixed(9))}, ${Number(at[1]!.toFixed(9))}`;
}
