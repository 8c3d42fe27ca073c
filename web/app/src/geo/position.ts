/** Longitude, latitude in degrees, WGS 84; further numbers (height, time) may follow and are kept. */
export type Position = readonly number[];

export type Ring = readonly Position[];

export interface Point {
  readonly type: "Point";
  readonly coordinates: Position;
}
export interface MultiPoint {
  readonly type: "MultiPoint";
  readonly coordinates: readonly Position[];
}
export interface LineString {
  readonly type: "LineString";
  readonly coordinates: readonly Position[];
}
export interface MultiLineString {
  readonly type: "MultiLineString";
  readonly coordinates: readonly (readonly Position[])[];
}
export interface Polygon {
  readonly type: "Polygon";
  readonly coordinates: readonly Ring[];
}
export interface MultiPolygon {
  readonly type: "MultiPolygon";
  readonly coordinates: readonly (readonly Ring[])[];
}
export interface GeometryCollection {
  readonly type: "GeometryCollection";
  readonly geometries: readonly Geometry[];
}

/** A GeoJSON geometry (RFC 7946). */
export type Geometry =
  | Point
  | MultiPoint
  | LineString
  | MultiLineString
  | Polygon
  | MultiPolygon
  | GeometryCollection;

/** West, south, east, north in degrees. */
export type Box = readonly [number, number, number, number];
