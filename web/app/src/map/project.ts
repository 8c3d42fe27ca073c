import type OlGeometry from "ol/geom/Geometry";
import GeoJSON from "ol/format/GeoJSON";
import { fromLonLat, toLonLat } from "ol/proj";
import { positions } from "../geo/box";
import type { Geometry, Position } from "../geo/position";

const format = new GeoJSON({ featureProjection: "EPSG:3857", dataProjection: "EPSG:4326" });

// The way to map metres and back leaves noise in the 14th digit. Nine decimals
// of a degree are 0.1 mm, which is the nearest two corners may be.
const decimals = 9;

function tidy(v: number): number {
  return Number(v.toFixed(decimals));
}

export function toMap(geometry: Geometry): OlGeometry {
  return format.readGeometry(geometry) as OlGeometry;
}

export function fromMap<G extends Geometry>(geometry: OlGeometry): G {
  return format.writeGeometryObject(geometry, { decimals }) as unknown as G;
}

export function toMapAt(at: Position): number[] {
  return fromLonLat([at[0] ?? 0, at[1] ?? 0]);
}

export function fromMapAt(at: readonly number[]): Position {
  return toLonLat(Array.from(at)).map(tidy);
}

/** Whether a shape has a position to draw at all. */
export function drawable(geometry: Geometry | null | undefined): geometry is Geometry {
  return Boolean(geometry) && !positions(geometry!).next().done;
}
