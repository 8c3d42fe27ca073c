import type {
  Geometry,
  LineString,
  MultiLineString,
  MultiPolygon,
  Point,
  Polygon,
} from "../geo/position";

/** The kinds of record; the set is closed. */
export const kinds = [
  "blocks",
  "rows",
  "surroundings",
  "stages",
  "visits",
  "finds",
  "samples",
  "removals",
  "reviews",
  "products",
  "passes",
  "tracks",
] as const;
export type Kind = (typeof kinds)[number];

/** An amount as people read it on a label; the unit is never guessed. */
export interface Amount {
  readonly value: number;
  readonly unit: string;
}

/** A plant's address in its block. */
export interface PlantAt {
  readonly row: number;
  readonly plant: number;
}

export const outlineFollows = ["fence", "posts", "canopy"] as const;
export type OutlineFollows = (typeof outlineFollows)[number];

/** Corners and ends as the server names them: looking along the bearing. */
export type RowSide = "left" | "right";
export type PlantEnd = "start" | "end";

export interface BlockProperties {
  name: string;
  crop?: string;
  cultivar?: string;
  /** Date, YYYY-MM-DD. */
  planted_on?: string;
  outline_follows?: OutlineFollows;
  row_spacing_m?: number;
  plant_spacing_m?: number;
  /** Clockwise from true north. */
  row_bearing_deg?: number;
  first_row_side?: RowSide;
  first_plant_end?: PlantEnd;
}

/** Plants from..from+plants-1 stand on one part of a row, the first at_m along it, each spacing_m on. */
export interface PlantRun {
  from: number;
  plants: number;
  /** From 1; the first part where it is not said. */
  part?: number;
  at_m: number;
  spacing_m: number;
}

/** A plant set anew: it keeps the number of its place. */
export interface Replanted {
  plant: number;
  /** Date, YYYY-MM-DD. */
  on: string;
}

export interface RowProperties {
  block: string;
  number: number;
  /** Places, those without a plant counted too. */
  plants?: number;
  missing?: number[];
  /** Which numbers stand where; without it they run on from part to part. */
  places?: PlantRun[];
  replanted?: Replanted[];
  /** A strip left unplanted that keeps its number. */
  skipped?: boolean;
  /** Places given up though records name them. */
  gone?: { plant: number; why: string }[];
  posts?: number;
}

export const surroundingsKinds = [
  "water",
  "well",
  "dwelling",
  "school",
  "hives",
  "sensitive-crop",
  "wild-brambles",
  "road",
  "boundary",
  "other",
] as const;
export type SurroundingsKind = (typeof surroundingsKinds)[number];

/** What a line of water follows. */
export const waterFollows = ["water-edge", "top-of-bank"] as const;
export type WaterFollows = (typeof waterFollows)[number];

export interface SurroundingsProperties {
  kind: SurroundingsKind;
  name?: string;
  drawn_by_eye?: boolean;
  /** How far the line may lie off. */
  accuracy_m?: number;
  follows?: WaterFollows;
  /** How far the top of the bank lies outside the line. */
  bank_m?: number;
  /** Ground kept in plants between a field and water. */
  strip?: boolean;
}

export interface StageProperties {
  block?: string;
  stage?: string;
  on?: string;
}

/** Rows and plants looked at; "all" is the whole block. */
export type Inspected = { row: number; from?: number; to?: number } | { rows: "all" };

export interface Count {
  what: string;
  sampled: number;
  hits: number;
  /** One looked at may show more than one. */
  several?: boolean;
}

export interface VisitProperties {
  block: string;
  purpose?: string;
  started_at: string;
  ended_at?: string;
  inspected?: Inspected[];
  counts?: Count[];
  state?: "open" | "paused" | "closed";
  /** Breaks in the order they were taken; the last may go on. */
  pauses?: { from: string; to?: string }[];
  /** Stops of a sampling walk, in walking order, so that a phone has them without a signal. */
  planned_stops?: PlannedStop[];
}

export interface PlannedStop extends PlantAt {
  /** Longitude and latitude; none where the row is not drawn. */
  readonly at?: readonly [number, number];
}

export const causes = [
  "orange-rust",
  "cane-leaf-rust",
  "late-leaf-rust",
  "yellow-rust",
  "crown-gall",
  "cane-borer-gall",
  "other",
] as const;
export type Cause = (typeof causes)[number];

export const findStates = ["suspected", "sampled", "confirmed", "refuted"] as const;
export type FindState = (typeof findStates)[number];

/** 0 none, 1 light, 2 moderate, 3 severe. */
export type Severity = 0 | 1 | 2 | 3;

export interface FindProperties {
  block?: string;
  row?: number;
  plant?: number;
  cause: Cause;
  organism?: string;
  words?: string;
  state: FindState;
  severity?: Severity;
  found_at: string;
  accuracy_m?: number;
  fix_age_s?: number;
  visit?: string;
  /** Ids of photos. */
  photos?: string[];
}

export interface SampleProperties {
  finds: string[];
  sent_on?: string;
  laboratory?: string;
  accession?: string;
  method?: string;
  result?: string;
  result_on?: string;
  /** What the result does to the finds; without it only words were recorded. */
  answer?: "confirmed" | "refuted" | "undecided";
  /** The cause the laboratory names. */
  found?: Cause;
  organism?: string;
}

export interface RemovalProperties {
  block: string;
  plants: PlantAt[];
  roots_out?: boolean;
  disposal?: string;
  done_on?: string;
  review?: string;
  /** At the plant, before it was carried out. */
  bagged?: boolean;
  /** Of several plants, `plants` says which came back. */
  checks?: { on: string; regrowth: boolean; plants?: PlantAt[] }[];
}

/** The agent's signed decision; the frozen analysis is kept as it was answered. */
export interface ReviewProperties {
  block?: string;
  [more: string]: unknown;
}

export interface Ingredient {
  name: string;
  amount?: Amount | string;
  code?: string;
}

export interface LabelRate extends Amount {
  per: string;
  /** The ingredient it is of, where it is not of the product. */
  of?: string;
  crop?: string;
  target?: string;
}

export interface ProductProperties {
  name: string;
  registration?: string;
  ingredients?: Ingredient[];
  rates?: LabelRate[];
  phi_days?: number;
  rei_hours?: number;
  interval_days?: number;
  restricted?: boolean;
  [more: string]: unknown;
}

export const passStates = ["draft", "ready", "applied"] as const;
export type PassState = (typeof passStates)[number];

export interface PassProperties {
  state: PassState;
  pattern?: string;
  [more: string]: unknown;
}

export interface TrackProperties {
  width_m?: number;
  pass?: string;
}

/** What each kind carries. Unknown properties are kept and given back. */
export interface PropertiesOf {
  blocks: BlockProperties;
  rows: RowProperties;
  surroundings: SurroundingsProperties;
  stages: StageProperties;
  visits: VisitProperties;
  finds: FindProperties;
  samples: SampleProperties;
  removals: RemovalProperties;
  reviews: ReviewProperties;
  products: ProductProperties;
  passes: PassProperties;
  tracks: TrackProperties;
}

export interface GeometryOf {
  blocks: Polygon | MultiPolygon;
  rows: LineString | MultiLineString;
  surroundings: Geometry;
  stages: Geometry | null;
  visits: Geometry | null;
  finds: Point;
  samples: null;
  removals: Geometry | null;
  reviews: null;
  products: null;
  passes: Geometry | null;
  tracks: LineString | MultiLineString;
}

/** A record as it travels: a GeoJSON Feature. */
export interface Feature<K extends Kind = Kind> {
  readonly type: "Feature";
  readonly id: string;
  readonly geometry: GeometryOf[K];
  readonly properties: PropertiesOf[K];
}

/** A record as the server keeps it, with the revision a replacement must name. */
export interface Stored<K extends Kind = Kind> {
  readonly kind: K;
  readonly id: string;
  readonly feature: Feature<K>;
  /** Number of the current revision, 1 upward; null when the server did not say. */
  readonly revision: number | null;
  /** As the server sent it, for If-Match. */
  readonly etag: string | null;
  /** Members of the Feature beyond GeoJSON's own, as the server added them (measured areas and the like). */
  readonly extra: Readonly<Record<string, unknown>>;
}

/** A draft of a record with a new id is made by the screens; see uuid7. */
export function feature<K extends Kind>(
  id: string,
  geometry: GeometryOf[K],
  properties: PropertiesOf[K],
): Feature<K> {
  return { type: "Feature", id, geometry, properties };
}
