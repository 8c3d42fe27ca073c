import Feature from "ol/Feature";
import type OlMap from "ol/Map";
import type { Coordinate } from "ol/coordinate";
import { noModifierKeys, singleClick } from "ol/events/condition";
import type OlGeometry from "ol/geom/Geometry";
import LineString from "ol/geom/LineString";
import MultiPoint from "ol/geom/MultiPoint";
import OlMultiPolygon from "ol/geom/MultiPolygon";
import OlPolygon from "ol/geom/Polygon";
import Draw from "ol/interaction/Draw";
import Modify from "ol/interaction/Modify";
import Snap from "ol/interaction/Snap";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";
import { getArea } from "ol/sphere";
import Style from "ol/style/Style";
import type { MultiPolygon, Polygon, Position } from "../geo/position";
import { fitsAsHole } from "../geo/ring";
import type { OutlineDraft, OutlineMode } from "./farmmap";
import { fromMap, toMap } from "./project";
import { type Shape, withoutCorner } from "./rings";
import { gripStyle, sketchStyle, touchedGripStyle } from "./styles";

// A thumb 18 px off a corner still grabs it; 10 px, the library's own, inserts
// stray corners instead. A mouse is finer.
const thumb = globalThis.matchMedia?.("(pointer: coarse)").matches ?? false;
const snapPx = thumb ? 18 : 10;
const grabPx = thumb ? 24 : 12;

// Undo keeps this many states; an outline of 500 corners is about 20 kB each.
const mostStates = 200;

type Purpose = NonNullable<OutlineDraft["drawing"]>;

/** Draws, cuts and mends one outline. Every change is a new state on a stack; leaving takes everything off the map. */
export class OutlineDrawing implements OutlineMode {
  readonly #map: OlMap;
  readonly #heard: (draft: OutlineDraft) => void;
  readonly #source = new VectorSource<Feature<OlGeometry>>();
  readonly #layer: VectorLayer;
  readonly #feature = new Feature<OlGeometry>();
  readonly #modify: Modify;
  readonly #snap: Snap;
  #draw: Draw | null = null;
  #purpose: Purpose = "shell";
  #corners = 0;
  #sketch: OlPolygon | null = null;
  #states: Shape[];
  #at = 0;
  #touched: Coordinate | null = null;
  #refused: OutlineDraft["refused"] = null;

  constructor(map: OlMap, snapTo: VectorSource, start: Polygon | MultiPolygon | null, heard: (draft: OutlineDraft) => void) {
    this.#map = map;
    this.#heard = heard;
    this.#states = [start ? shapeOf(toMap(start)) : []];
    this.#layer = new VectorLayer({ source: this.#source, style: () => this.#styles(), zIndex: 80 });
    this.#feature.setStyle(() => this.#styles());
    this.#source.addFeature(this.#feature);
    map.addLayer(this.#layer);
    this.#modify = new Modify({ source: this.#source, pixelTolerance: grabPx, deleteCondition: (e) => singleClick(e) && e.originalEvent.altKey, insertVertexCondition: noModifierKeys, style: touchedGripStyle });
    this.#modify.on("modifystart", (e) => {
      this.#touched = e.mapBrowserEvent?.coordinate ?? null;
    });
    this.#modify.on("modifyend", (e) => {
      this.#touched = e.mapBrowserEvent?.coordinate ?? null;
      this.#take(shapeOf(this.#feature.getGeometry()));
    });
    map.addInteraction(this.#modify);
    this.#snap = new Snap({ source: snapTo, pixelTolerance: snapPx });
    this.#show();
    if (this.#now.length === 0) this.#begin("shell");
    else {
      map.addInteraction(this.#snap);
      this.#tell();
    }
  }

  get #now(): Shape {
    return this.#states[this.#at]!;
  }

  undo(): void {
    this.#refused = null;
    if (this.#draw && this.#corners > 0) {
      this.#draw.removeLastPoint();
      this.#tell();
      return;
    }
    if (this.#at === 0) return;
    this.#at -= 1;
    this.#settle();
  }

  redo(): void {
    if (this.#at + 1 >= this.#states.length) return;
    this.#refused = null;
    this.#at += 1;
    this.#settle();
  }

  cutHole(): void {
    if (this.#now.length > 0) this.#begin("hole");
  }

  addPart(): void {
    this.#begin(this.#now.length === 0 ? "shell" : "part");
  }

  finishRing(): void {
    if (this.#corners >= 3) this.#draw?.finishDrawing();
  }

  removeCorner(): void {
    const near = this.#touched ?? this.#map.getView().getCenter();
    if (!near) return;
    const next = withoutCorner(this.#now, near);
    if (next) this.#take(next);
    this.#touched = null;
  }

  set(geometry: Polygon | MultiPolygon | null): void {
    this.#take(geometry ? shapeOf(toMap(geometry)) : []);
    if (this.#now.length > 0) this.#end();
  }

  leave(): void {
    this.#end();
    this.#map.removeInteraction(this.#snap);
    this.#map.removeInteraction(this.#modify);
    this.#map.removeLayer(this.#layer);
  }

  #take(shape: Shape): void {
    this.#states = [...this.#states.slice(0, this.#at + 1), shape].slice(-mostStates);
    this.#at = this.#states.length - 1;
    this.#settle();
  }

  #settle(): void {
    this.#show();
    if (this.#now.length === 0 && !this.#draw) this.#begin("shell");
    else this.#tell();
  }

  #show(): void {
    const shape = this.#now;
    this.#feature.setGeometry(shape.length === 0 ? undefined : geometryOf(shape));
  }

  #begin(purpose: Purpose): void {
    this.#end();
    this.#purpose = purpose;
    this.#refused = null;
    this.#modify.setActive(false);
    const draw = new Draw({ type: "Polygon", style: (f) => (f.getGeometry() instanceof LineString ? [] : [...sketchStyle, gripStyle]), snapTolerance: snapPx });
    draw.on("drawstart", (e) => {
      const sketch = e.feature.getGeometry() as OlPolygon;
      const count = () => {
        // The ring under way holds the pointer's place and its first corner again.
        this.#corners = Math.max(0, (sketch.getCoordinates()[0]?.length ?? 0) - 2);
      };
      sketch.on("change", () => {
        const before = this.#corners;
        count();
        if (before !== this.#corners) this.#tell();
      });
      this.#corners = 1;
      this.#sketch = sketch;
      this.#tell();
    });
    draw.on("drawabort", () => {
      this.#corners = 0;
      this.#sketch = null;
    });
    draw.on("drawend", (e) => {
      const ring = (e.feature.getGeometry() as OlPolygon).getCoordinates()[0];
      this.#corners = 0;
      // The library is still inside its own handler here.
      queueMicrotask(() => this.#ringDrawn(ring ?? []));
    });
    this.#draw = draw;
    this.#map.addInteraction(draw);
    // Snapping sees the pointer only when it stands after drawing.
    this.#map.removeInteraction(this.#snap);
    this.#map.addInteraction(this.#snap);
    this.#tell();
  }

  #ringDrawn(ring: Coordinate[]): void {
    const purpose = this.#purpose;
    this.#end();
    if (purpose !== "hole") {
      this.#take([...this.#now, [ring]]);
      return;
    }
    const part = this.#now.findIndex((rings) => fitsAsHole(ring, { type: "Polygon", coordinates: rings as Position[][] }));
    if (part < 0) {
      this.#refused = "hole-outside";
      this.#tell();
      return;
    }
    this.#take(this.#now.map((rings, i) => (i === part ? [...rings, ring] : rings)));
  }

  #end(): void {
    if (this.#draw) this.#map.removeInteraction(this.#draw);
    this.#draw = null;
    this.#corners = 0;
    this.#sketch = null;
    this.#modify.setActive(true);
    this.#map.removeInteraction(this.#snap);
    this.#map.addInteraction(this.#snap);
  }

  #tell(): void {
    const geometry = this.#feature.getGeometry();
    this.#heard({
      geometry: geometry ? fromMap<Polygon | MultiPolygon>(geometry) : null,
      previewM2: Math.max(0, (geometry ? getArea(geometry) : 0) + this.#sketchM2()),
      canUndo: this.#at > 0 || this.#corners > 0,
      canRedo: this.#at + 1 < this.#states.length,
      drawing: this.#draw && this.#purpose,
      refused: this.#refused,
    });
  }

  // A hole under way takes ground away.
  #sketchM2(): number {
    if (!this.#sketch || this.#corners < 2) return 0;
    return getArea(this.#sketch) * (this.#purpose === "hole" ? -1 : 1);
  }

  #styles(): Style[] {
    const corners = new Style({
      image: gripStyle.getImage() ?? undefined,
      geometry: (f) => new MultiPoint(shapeOf(f.getGeometry() as OlGeometry).flatMap((rings) => rings.flatMap((r) => r.slice(0, -1)))),
    });
    return [...sketchStyle, corners];
  }
}

function shapeOf(geometry: OlGeometry | undefined): Shape {
  if (geometry instanceof OlPolygon) return [geometry.getCoordinates()];
  if (geometry instanceof OlMultiPolygon) return geometry.getCoordinates();
  return [];
}

// Copies: the library changes coordinates in place while a corner is dragged.
function geometryOf(shape: Shape): OlGeometry {
  const copy = shape.map((rings) => rings.map((ring) => ring.map((c) => c.slice())));
  return copy.length === 1 ? new OlPolygon(copy[0]!) : new OlMultiPolygon(copy);
}
