// The map as the rest of the page knows it; olmap.ts is the one that draws.

import type { Box, Geometry, LineString, MultiPolygon, Point, Polygon, Position } from "../geo/position";
import type { Cause, FindState, Severity, SurroundingsKind } from "../model/kinds";

/** A shape to draw in an overlay; `id` comes back in picks. */
export interface Shape {
  readonly id?: string;
  readonly geometry: Geometry;
  /** A short text drawn on it, haloed. */
  readonly label?: string;
}

/** How an overlay is drawn; look.md says what each means. */
export type OverlayStyle =
  | "treated"
  | "withheld"
  | "doubled"
  | "missed"
  | "unseen" // not looked at: diagonal hatch
  | "seen" // looked at: no tint, thin edge
  | "group-rows" // row segments of a list, outlined
  | "group-hull" // thin dashed, picture only
  | "window" // scan window
  | "earlier" // a find of an earlier year
  | "search-ring" // distance to search within, to scale
  | "chosen"
  | "track"
  | "planned" // rows laid out, not stored
  | "marked" // plants tapped, not saved: a ring
  | "words" // nothing but the shape's text
  | "preview" // drawn, not stored
  | "proposed" // of a file, as it would be stored: solid
  | "as-read" // of a file, as it is drawn there: dashed
  | "may-open" // no clock runs: plain tint
  | "may-caution" // look first: one hatch
  | "may-stop" // keep out: crossed hatch
  | "left-out" // of a file, not taken: thin
  | "piece" // ground a defect concerns: hatched
  | "candidate"; // where a coordinate system would put it: dash and dot

export interface BlockShape {
  readonly id: string;
  readonly geometry: Polygon | MultiPolygon;
  readonly name: string;
  /** One figure under the name: "2.41 ac". */
  readonly figure?: string;
}

export interface RowShape {
  readonly id: string;
  readonly block: string;
  readonly number: number;
  readonly geometry: Geometry;
}

export interface SurroundingShape {
  readonly id: string;
  readonly kind: SurroundingsKind;
  readonly name?: string;
  readonly geometry: Geometry;
}

export interface FindMark {
  readonly id: string;
  readonly at: Position;
  readonly cause: Cause;
  /** "removed" is a plant taken out: a cross in its place. */
  readonly state: FindState | "removed";
  readonly severity?: Severity;
}

/** A plant at its place; `find` is the mark drawn over it. */
export interface PlantMark {
  readonly id: string;
  readonly at: Position;
  readonly standing: "plant" | "missing" | "replanted" | "removed";
  readonly find?: { readonly cause: Cause; readonly state: FindState | "removed"; readonly severity?: Severity };
}

export interface DefectMark {
  readonly id?: string;
  readonly at: Position;
  readonly text: string;
}

export interface Pick {
  readonly layer: "blocks" | "rows" | "surroundings" | "finds" | "plants" | "defects" | { readonly overlay: string };
  readonly id: string;
}

/** An outline being drawn. Rings close themselves; `complete` once there is a ring of three corners. */
export interface OutlineDraft {
  readonly geometry: Polygon | MultiPolygon | null;
  /** By the sphere, for the eye only: shown as "preview"; the server's figure counts. */
  readonly previewM2: number;
  readonly canUndo: boolean;
  readonly canRedo: boolean;
  /** A ring is under way, and what for: undo takes its last corner back. Null while corners are dragged. */
  readonly drawing: "shell" | "hole" | "part" | null;
  /** Why the last thing tried did not happen, if it did not: "hole-outside" for a hole not wholly inside. */
  readonly refused: "hole-outside" | null;
}

/** Steers the drawing of an outline; leave() drops the mode and everything drawn. */
export interface OutlineMode {
  undo(): void;
  redo(): void;
  /** The next ring drawn is cut out of the polygon it lies in. */
  cutHole(): void;
  /** The next ring drawn is a further part. */
  addPart(): void;
  /** Ends the ring under way, as a double click does. */
  finishRing(): void;
  /** Takes away the corner last touched or nearest to the map's middle. */
  removeCorner(): void;
  /** Replaces the draft, as typing coordinates does; one undo step. */
  set(geometry: Polygon | MultiPolygon | null): void;
  leave(): void;
}

export interface ShapeMode<G extends Geometry> {
  set(geometry: G | null): void;
  undo(): void;
  /** Ends a line under way. */
  finish(): void;
  leave(): void;
}

/** A base map as the server offers it, through its own address. */
export interface BaseMap {
  readonly url: string;
  readonly minZoom?: number;
  readonly maxZoom?: number;
  /** Text. */
  readonly attribution?: string;
}

export interface FarmMap {
  // What the frame keeps drawn.
  setBlocks(blocks: readonly BlockShape[]): void;
  setRows(rows: readonly RowShape[]): void;
  /** Leaves out the rows of one block, while others are drawn in their stead; null leaves out none. */
  hideRows(block: string | null): void;
  setSurroundings(shapes: readonly SurroundingShape[]): void;
  setFinds(finds: readonly FindMark[]): void;
  /** Draws finds otherwise, or with null not at all, while a place looks at another day; null for all as they are. */
  dressFinds(dress: ((find: FindMark) => FindMark | null) | null): void;
  /** Plants at their places; drawn only where the map is close enough to tell them apart. */
  setPlants(plants: readonly PlantMark[]): void;
  /** Bigger marks (22 px) for gloves and sun. */
  setLargeMarks(on: boolean): void;

  /** Draws an overlay under a name of the caller's; null takes it off. */
  setOverlay(name: string, shapes: readonly Shape[] | null, style?: OverlayStyle): void;
  /** Marks of what is wrong, at their places; null takes them off. Picks come as layer "defects". */
  setDefects(defects: readonly DefectMark[] | null): void;
  /** Outlines one thing as chosen; null chooses none. */
  choose(pick: Pick | null): void;

  /**
   * Hears taps on things, topmost first; null is a tap on empty ground. The
   * answer ends the hearing. While a drawing mode is on, no picks come.
   */
  onPick(heard: (pick: Pick | null, at: Position) => void): () => void;

  drawOutline(start: Polygon | MultiPolygon | null, heard: (draft: OutlineDraft) => void): OutlineMode;
  /** Drops or drags one point, such as a find. */
  drawPoint(start: Point | null, heard: (point: Point | null) => void): ShapeMode<Point>;
  drawLine(start: LineString | null, heard: (line: LineString | null) => void): ShapeMode<LineString>;

  /** Shows all of these; without shapes the whole farm. */
  fit(shapes?: readonly (Geometry | null)[] | Box): void;
  /** Moves to a place without turning. */
  goTo(at: Position): void;
  /** Where the middle of the map is. */
  centre(): Position;
  /** Turns so that rows of this bearing run up the screen. */
  turnTo(bearingDeg: number): void;
  north(): void;
  zoomBy(steps: number): void;
  /** How far the top of the map is turned from north, degrees clockwise; hears changes. */
  onTurn(heard: (bearingDeg: number) => void): () => void;

  /** The person's own place with its accuracy; null takes it off. */
  setHere(here: { at: Position; accuracyM: number } | null): void;
}
