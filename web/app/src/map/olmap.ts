import Feature from "ol/Feature";
import OlMap from "ol/Map";
import type MapBrowserEvent from "ol/MapBrowserEvent";
import View from "ol/View";
import Attribution from "ol/control/Attribution";
import ScaleLine from "ol/control/ScaleLine";
import { boundingExtent, createEmpty, extend, isEmpty } from "ol/extent";
import type OlGeometry from "ol/geom/Geometry";
import { circular } from "ol/geom/Polygon";
import OlPoint from "ol/geom/Point";
import TileLayer from "ol/layer/Tile";
import VectorLayer from "ol/layer/Vector";
import VectorImageLayer from "ol/layer/VectorImage";
import { transformExtent } from "ol/proj";
import VectorSource from "ol/source/Vector";
import XYZ from "ol/source/XYZ";
import type Style from "ol/style/Style";
import { boxOf } from "../geo/box";
import { labelPlace } from "../geo/labelplace";
import type { Box, Geometry, LineString, MultiPolygon, Point, Polygon, Position } from "../geo/position";
import type {
  BaseMap,
  BlockShape,
  DefectMark,
  FarmMap,
  FindMark,
  OutlineDraft,
  OutlineMode,
  OverlayStyle,
  Pick,
  PlantMark,
  RowShape,
  Shape,
  ShapeMode,
  SurroundingShape,
} from "./farmmap";
import { OutlineDrawing } from "./outlinemode";
import { drawable, fromMapAt, toMap, toMapAt } from "./project";
import { ShapeDrawing } from "./shapemode";
import {
  blockLabel,
  blockStyle,
  defectStyle,
  farBlockLabel,
  findStyle,
  hereStyles,
  overlayLabel,
  overlayStyle,
  plantStyle,
  rowLabel,
  rowStyle,
  surroundingStyle,
  uncased,
} from "./styles";

const markPx = 18;
const largeMarkPx = 26;
// Where a pixel is more than this many metres, marks are drawn at their least
// size, so that a block's finds stay apart.
const smallMarkPx = 14;
const smallMarksAbove = 0.5;
const hitPx = 10;
// Rows are drawn, and numbered, only where they stand this far apart on the
// screen: 0.6 m a pixel puts rows of 3 m five pixels apart.
const rowsBelowResolution = 0.9;
const rowNumbersBelowResolution = 0.15;
// Plants 0.9 m apart then stand four pixels apart.
const plantsBelowResolution = 0.22;
// Closer than this they have room for a shape each.
const plantShapesBelow = 0.08;
// Beyond this a block of an acre is narrower than its label.
const farAbove = 0.45;
const closest = 23;
// What a farm without any shape shows: the continental United States.
const noFarm: Box = [-124.7, 24.5, -66.9, 49.4];

// More shapes than this in one overlay are drawn as one picture, which moves
// with the map and is drawn anew when the map rests.
const stillAbove = 2000;

type Source = VectorSource<Feature<OlGeometry>>;
type Layer = VectorLayer<Source> | VectorImageLayer<Source>;

function still(zIndex: number): Layer {
  return new VectorImageLayer({ source: new VectorSource<Feature<OlGeometry>>(), zIndex, imageRatio: 1.5 });
}

function layer(zIndex: number, style?: Style | Style[], declutter = false): Layer {
  return new VectorLayer({ source: new VectorSource<Feature<OlGeometry>>(), style, zIndex, declutter, updateWhileAnimating: true, updateWhileInteracting: true });
}

function source(of: Layer): VectorSource<Feature<OlGeometry>> {
  return of.getSource()!;
}

/** The map that draws, on OpenLayers' canvas: no GPU, no worker, no fonts to fetch. */
export class DrawnMap implements FarmMap {
  readonly #map: OlMap;
  readonly #scale = new ScaleLine({ units: "us", minWidth: 90 });
  readonly #surroundings = layer(20, undefined, true);
  readonly #blocks = layer(30, blockStyle);
  readonly #rows = layer(40);
  // Under the blocks' names, so that those win where both have no room.
  readonly #rowNumbers = layer(66, undefined, true);
  readonly #chosen = layer(60);
  readonly #finds = layer(70, undefined, true);
  readonly #labels = layer(68, undefined, true);
  readonly #plants = layer(45);
  readonly #defects = layer(90);
  readonly #here = layer(75);
  readonly #overlays = new Map<string, Layer>();
  #base: TileLayer<XYZ> | null = null;
  #large = false;
  #drawing: { leave(): void } | null = null;
  #fitted = false;
  /** Where a turn under way goes, radians; null while there is none. */
  #turning: number | null = null;
  #given: readonly FindMark[] = [];
  #marks: readonly FindMark[] = [];
  #dress: ((find: FindMark) => FindMark | null) | null = null;
  #rowShapes: readonly RowShape[] = [];
  #hidden: string | null = null;
  #blockShapes: readonly BlockShape[] = [];

  constructor(target: HTMLElement) {
    this.#map = new OlMap({
      target,
      controls: [this.#scale, new Attribution({ collapsible: false })],
      layers: [this.#surroundings, this.#blocks, this.#rows, this.#plants, this.#chosen, this.#rowNumbers, this.#labels, this.#finds, this.#here, this.#defects],
      view: new View({ center: [0, 0], zoom: 2, maxZoom: closest, constrainRotation: false, enableRotation: true }),
    });
    this.#rows.setMaxResolution(rowsBelowResolution);
    this.#rows.setStyle(rowStyle);
    this.#plants.setMaxResolution(plantsBelowResolution);
    this.#rowNumbers.setMaxResolution(rowNumbersBelowResolution);
    this.#labels.setStyle((f, resolution) => f.get(resolution > farAbove && f.get("far") ? "far" : "style") as Style);
    for (const l of [this.#surroundings, this.#rowNumbers, this.#defects, this.#here]) l.setStyle((f) => f.get("style") as Style | Style[]);
    this.#map.getView().fit(transformExtent(Array.from(noFarm), "EPSG:4326", "EPSG:3857"));
  }

  /** Ends the map and frees its element. */
  end(): void {
    this.#drawing?.leave();
    this.#map.setTarget(undefined);
  }

  setScaleUnits(system: "us" | "metric"): void {
    this.#scale.setUnits(system);
  }

  /** Puts the base map under everything; null takes it away. */
  setBase(base: BaseMap | null): void {
    if (this.#base) this.#map.removeLayer(this.#base);
    this.#base = null;
    if (!base) return;
    this.#base = new TileLayer({
      source: new XYZ({ url: base.url, minZoom: base.minZoom, maxZoom: base.maxZoom ?? 19, attributions: base.attribution ? plainText(base.attribution) : undefined }),
      zIndex: 0,
    });
    this.#map.addLayer(this.#base);
  }

  setBlocks(blocks: readonly BlockShape[]): void {
    fill(this.#blocks, blocks, (b) => [b.id, b.geometry, null]);
    this.#blockShapes = blocks;
    this.#placeLabels();
    if (!this.#fitted && blocks.length > 0) this.fit();
  }

  setRows(rows: readonly RowShape[]): void {
    this.#rowShapes = rows;
    this.#fillRows();
  }

  hideRows(block: string | null): void {
    if (block === this.#hidden) return;
    this.#hidden = block;
    this.#fillRows();
  }

  #fillRows(): void {
    const rows = this.#rowShapes.filter((r) => r.block !== this.#hidden);
    fill(this.#rows, rows, (r) => [r.id, r.geometry, null]);
    fill(this.#rowNumbers, rows, (r) => [r.id, r.geometry, rowLabel(r.number)]);
  }

  setSurroundings(shapes: readonly SurroundingShape[]): void {
    fill(this.#surroundings, shapes, (s) => [s.id, s.geometry, surroundingStyle(s)]);
  }

  setFinds(given: readonly FindMark[]): void {
    this.#given = given;
    const finds = this.#dress ? given.flatMap((f) => this.#dress!(f) ?? []) : given;
    this.#marks = finds;
    fill(this.#finds, finds, (f) => [f.id, { type: "Point", coordinates: f.at }, null]);
    const marks = new Map(finds.map((f) => [f.id, f]));
    this.#finds.setStyle((f, resolution) => {
      const mark = marks.get(String(f.getId()));
      return mark && findStyle(mark, this.#large ? largeMarkPx : resolution > smallMarksAbove ? smallMarkPx : markPx);
    });
    this.#placeLabels();
  }

  dressFinds(dress: ((find: FindMark) => FindMark | null) | null): void {
    this.#dress = dress;
    this.setFinds(this.#given);
  }

  setPlants(plants: readonly PlantMark[]): void {
    fill(this.#plants, plants, (p) => [p.id, { type: "Point", coordinates: p.at }, null]);
    const marks = new Map(plants.map((p) => [p.id, p]));
    this.#plants.setStyle((f, resolution) => {
      const mark = marks.get(String(f.getId()));
      return mark && (mark.find ? findStyle(mark.find, smallMarkPx) : plantStyle(mark.standing, resolution < plantShapesBelow));
    });
  }

  #placeLabels(): void {
    const marks = this.#marks.map((f) => f.at);
    fill(this.#labels, this.#blockShapes, (b) => {
      const at = labelPlace(b.geometry, marks);
      return [b.id, at ? { type: "Point", coordinates: at } : b.geometry, blockLabel(b.name, b.figure)];
    });
    for (const b of this.#blockShapes) {
      const box = boxOf([b.geometry]);
      if (box) source(this.#labels).getFeatureById(b.id)?.set("far", farBlockLabel(b.name, new OlPoint(toMapAt([(box[0] + box[2]) / 2, box[1]]))));
    }
  }

  setLargeMarks(on: boolean): void {
    if (on === this.#large) return;
    this.#large = on;
    this.setFinds(this.#given);
  }

  setOverlay(name: string, shapes: readonly Shape[] | null, style: OverlayStyle = "preview"): void {
    const old = this.#overlays.get(name);
    if (old) this.#map.removeLayer(old);
    this.#overlays.delete(name);
    if (!shapes || shapes.length === 0) return;
    const many = shapes.length > stillAbove;
    const made = many ? still(50) : layer(50, undefined, true);
    // From afar the casings of thousands of shapes would cover the shapes.
    const drawn = many ? uncased(overlayStyle(style)) : overlayStyle(style);
    made.setStyle((f) => (f.get("style") as Style[] | null) ?? drawn);
    fill(made, shapes, (s, i) => [s.id ?? String(i), s.geometry, s.label ? [...drawn, overlayLabel(s.label, s.geometry.type === "Point" && style !== "words")] : null]);
    this.#overlays.set(name, made);
    this.#map.addLayer(made);
  }

  setDefects(defects: readonly DefectMark[] | null): void {
    fill(this.#defects, defects ?? [], (d, i) => [d.id ?? String(i + 1), { type: "Point", coordinates: d.at }, defectStyle(i + 1)]);
  }

  choose(pick: Pick | null): void {
    source(this.#chosen).clear();
    if (!pick) return;
    const from = typeof pick.layer === "object" ? this.#overlays.get(pick.layer.overlay) : this.#named()[pick.layer];
    const geometry = from && source(from).getFeatureById(pick.id)?.getGeometry();
    if (!geometry) return;
    const ring = geometry instanceof OlPoint ? circular(fromMapAt(geometry.getCoordinates()) as number[], 2).transform("EPSG:4326", "EPSG:3857") : geometry;
    const feature = new Feature(ring);
    feature.setStyle(overlayStyle("chosen"));
    source(this.#chosen).addFeature(feature);
  }

  onPick(heard: (pick: Pick | null, at: Position) => void): () => void {
    const clicked = (e: MapBrowserEvent) => {
      if (this.#drawing) return;
      heard(this.#pickAt(e.pixel), fromMapAt(e.coordinate));
    };
    this.#map.on("click", clicked);
    return () => this.#map.un("click", clicked);
  }

  #pickAt(pixel: number[]): Pick | null {
    const names = new Map<unknown, Pick["layer"]>();
    for (const [name, l] of Object.entries(this.#named())) names.set(l, name as Extract<Pick["layer"], string>);
    for (const [overlay, l] of this.#overlays) names.set(l, { overlay });
    names.set(this.#labels, "blocks");
    const found = this.#map.forEachFeatureAtPixel(
      pixel,
      (f, l) => {
        const name = names.get(l);
        const id = f.getId();
        return name && id !== undefined ? { layer: name, id: String(id) } : undefined;
      },
      { hitTolerance: hitPx, layerFilter: (l) => names.has(l) },
    );
    return found ?? null;
  }

  #named(): Record<Extract<Pick["layer"], string>, Layer> {
    return { defects: this.#defects, finds: this.#finds, plants: this.#plants, rows: this.#rows, blocks: this.#blocks, surroundings: this.#surroundings };
  }

  drawOutline(start: Polygon | MultiPolygon | null, heard: (draft: OutlineDraft) => void): OutlineMode {
    return this.#enter(new OutlineDrawing(this.#map, source(this.#blocks), start, heard));
  }

  drawPoint(start: Point | null, heard: (point: Point | null) => void): ShapeMode<Point> {
    return this.#enter(new ShapeDrawing<Point>(this.#map, "Point", start, heard));
  }

  drawLine(start: LineString | null, heard: (line: LineString | null) => void): ShapeMode<LineString> {
    return this.#enter(new ShapeDrawing<LineString>(this.#map, "LineString", start, heard));
  }

  // One mode at a time: entering one leaves the other.
  #enter<M extends { leave(): void }>(mode: M): M {
    this.#drawing?.leave();
    this.#drawing = mode;
    const leave = mode.leave.bind(mode);
    mode.leave = () => {
      leave();
      mode.leave = () => undefined;
      if (this.#drawing === mode) this.#drawing = null;
    };
    return mode;
  }

  fit(shapes?: readonly (Geometry | null)[] | Box): void {
    const box = isBox(shapes) ? shapes : shapes ? boxOf(shapes) : this.#whole();
    if (!box) return;
    this.#fitted = true;
    // A fit ends a turn under way: the turn is over at once then.
    if (this.#turning !== null) this.#map.getView().setRotation(this.#turning);
    const corners = [toMapAt([box[0], box[1]]), toMapAt([box[2], box[3]])];
    this.#map.getView().fit(boundingExtent(corners), { padding: [40, 40, 56, 80], maxZoom: 20, size: this.#map.getSize() });
  }

  #whole(): Box | null {
    const extent = createEmpty();
    for (const l of [this.#blocks, this.#surroundings]) extend(extent, source(l).getExtent() ?? createEmpty());
    if (isEmpty(extent)) return null;
    const [w, s, e, n] = transformExtent(extent, "EPSG:3857", "EPSG:4326");
    return [w!, s!, e!, n!];
  }

  goTo(at: Position): void {
    const view = this.#map.getView();
    view.animate({ center: toMapAt(at), zoom: Math.max(view.getZoom() ?? 0, 18), duration: 250 });
  }

  centre(): Position {
    return fromMapAt(this.#map.getView().getCenter() ?? [0, 0]);
  }

  turnTo(bearingDeg: number): void {
    const rotation = (-bearingDeg * Math.PI) / 180;
    this.#turning = rotation;
    this.#map.getView().animate({ rotation, duration: 250 }, () => (this.#turning = null));
  }

  north(): void {
    this.turnTo(0);
  }

  zoomBy(steps: number): void {
    const view = this.#map.getView();
    view.animate({ zoom: (view.getZoom() ?? 2) + steps, duration: 200 });
  }

  onTurn(heard: (bearingDeg: number) => void): () => void {
    const view = this.#map.getView();
    const tell = () => heard((((-view.getRotation() * 180) / Math.PI % 360) + 360) % 360);
    view.on("change:rotation", tell);
    tell();
    return () => view.un("change:rotation", tell);
  }

  setHere(here: { at: Position; accuracyM: number } | null): void {
    const to = source(this.#here);
    to.clear();
    if (!here) return;
    const ring = new Feature<OlGeometry>(circular([here.at[0]!, here.at[1]!], here.accuracyM).transform("EPSG:4326", "EPSG:3857"));
    ring.set("style", hereStyles.ring);
    const dot = new Feature<OlGeometry>(new OlPoint(toMapAt(here.at)));
    dot.set("style", hereStyles.dot);
    to.addFeatures([ring, dot]);
  }
}

function fill<T>(to: Layer, things: readonly T[], draw: (thing: T, i: number) => [id: string, geometry: Geometry, style: Style | Style[] | null]): void {
  const features: Feature<OlGeometry>[] = [];
  const ids = new Set<string>();
  things.forEach((thing, i) => {
    const [id, geometry, style] = draw(thing, i);
    if (!drawable(geometry) || ids.has(id)) return;
    ids.add(id);
    const feature = new Feature<OlGeometry>(toMap(geometry));
    feature.setId(id);
    feature.set("style", style, true);
    features.push(feature);
  });
  const s = source(to);
  s.clear(true);
  s.addFeatures(features);
}

// The library shows attributions as HTML; ours are text.
function plainText(text: string): string {
  return text.replaceAll("&", "&amp;").replaceAll("<", "&lt;");
}

function isBox(shapes: readonly unknown[] | undefined): shapes is Box {
  return shapes?.length === 4 && typeof shapes[0] === "number";
}
