import Feature from "ol/Feature";
import type OlMap from "ol/Map";
import type OlGeometry from "ol/geom/Geometry";
import OlLineString from "ol/geom/LineString";
import OlPoint from "ol/geom/Point";
import Draw from "ol/interaction/Draw";
import Modify from "ol/interaction/Modify";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";
import type { Geometry, LineString, Point } from "../geo/position";
import type { ShapeMode } from "./farmmap";
import { fromMap, toMap } from "./project";
import { gripStyle, sketchStyle, touchedGripStyle } from "./styles";

const grabPx = 24;

/** Drops one point, or draws one line, that can then be dragged. */
export class ShapeDrawing<G extends Point | LineString> implements ShapeMode<G> {
  readonly #map: OlMap;
  readonly #heard: (geometry: G | null) => void;
  readonly #type: G["type"];
  readonly #source = new VectorSource<Feature<OlGeometry>>();
  readonly #layer: VectorLayer;
  readonly #modify: Modify;
  #draw: Draw | null = null;

  constructor(map: OlMap, type: G["type"], start: G | null, heard: (geometry: G | null) => void) {
    this.#map = map;
    this.#type = type;
    this.#heard = heard;
    this.#layer = new VectorLayer({ source: this.#source, style: [...sketchStyle, gripStyle], zIndex: 80 });
    map.addLayer(this.#layer);
    this.#modify = new Modify({ source: this.#source, pixelTolerance: grabPx, style: touchedGripStyle });
    this.#modify.on("modifyend", () => this.#tell());
    map.addInteraction(this.#modify);
    this.#put(start);
  }

  set(geometry: G | null): void {
    this.#put(geometry);
    this.#tell();
  }
  undo(): void {
    if (this.#draw) this.#draw.removeLastPoint();
    else this.set(null);
  }
  finish(): void {
    this.#draw?.finishDrawing();
  }
  leave(): void {
    this.#endDraw();
    this.#map.removeInteraction(this.#modify);
    this.#map.removeLayer(this.#layer);
  }

  #put(geometry: G | null): void {
    this.#source.clear();
    if (geometry) {
      this.#source.addFeature(new Feature(toMap(geometry)));
      this.#endDraw();
    } else if (!this.#draw) {
      this.#begin();
    }
  }

  #begin(): void {
    const draw = new Draw({ type: this.#type, style: [...sketchStyle, gripStyle] });
    draw.on("drawend", (e) => {
      const drawn = e.feature.getGeometry();
      if (!(drawn instanceof OlPoint || drawn instanceof OlLineString)) return;
      const geometry = fromMap<Geometry>(drawn) as G;
      queueMicrotask(() => this.set(geometry));
    });
    this.#draw = draw;
    this.#map.addInteraction(draw);
  }

  #endDraw(): void {
    if (this.#draw) this.#map.removeInteraction(this.#draw);
    this.#draw = null;
  }

  #tell(): void {
    const geometry = this.#source.getFeatures()[0]?.getGeometry();
    this.#heard(geometry ? fromMap<G>(geometry) : null);
  }
}
