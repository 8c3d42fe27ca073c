import type OlGeometry from "ol/geom/Geometry";
import Fill from "ol/style/Fill";
import Icon from "ol/style/Icon";
import RegularShape from "ol/style/RegularShape";
import CircleStyle from "ol/style/Circle";
import Stroke from "ol/style/Stroke";
import Style from "ol/style/Style";
import Text from "ol/style/Text";
import type { OverlayStyle, PlantMark, SurroundingShape } from "./farmmap";
import { drawStanding, type MarkLook, hatch, markCanvas } from "./marks";

const ink = "#16211C";
const deep = "#0A4D48";
const stop = "#8C1D18";
const water = "#0B5394";
const withheld = "#6A3D9A";
const caution = "#7A4A00";
const ok = "#1D5C2E";
const rule = "#8A968E";
const white = "#FFFFFF";

const font = "600 15px system-ui, sans-serif";

// A line is seen on paper and on imagery alike when it is dark in a white casing.
function casedLine(colour: string, width: number, dash?: number[]): Style[] {
  return [
    new Style({ stroke: new Stroke({ color: white, width: width + 3, lineJoin: "round" }) }),
    new Style({ stroke: new Stroke({ color: colour, width, lineDash: dash, lineJoin: "round" }) }),
  ];
}

function label(text: string, offsetY = 0): Text {
  return new Text({
    text,
    font,
    offsetY,
    overflow: true,
    fill: new Fill({ color: ink }),
    stroke: new Stroke({ color: white, width: 4 }),
  });
}

export const blockStyle: Style[] = [
  new Style({ fill: new Fill({ color: "rgba(255,255,255,0.01)" }) }),
  ...casedLine(ink, 2),
];

export function blockLabel(name: string, figure: string | undefined): Style {
  return new Style({ text: label(figure ? `${name}\n${figure}` : name) });
}

/** Seen from afar a block has no room inside: its name hangs below the outline. */
export function farBlockLabel(name: string, foot: OlGeometry): Style {
  const text = label(name, 4);
  text.setTextBaseline("top");
  return new Style({ text, geometry: foot });
}

export const rowStyle = new Style({ stroke: new Stroke({ color: "#4A564F", width: 1 }) });

export function rowLabel(number: number): Style {
  return new Style({
    text: new Text({
      text: String(number),
      font: "600 13px system-ui, sans-serif",
      fill: new Fill({ color: ink }),
      stroke: new Stroke({ color: white, width: 3 }),
    }),
  });
}

function pin(points: number, colour: string, angle = 0): Style[] {
  return [
    new Style({ image: new RegularShape({ points, radius: 9, angle, fill: new Fill({ color: white }), stroke: new Stroke({ color: white, width: 5.5 }), declutterMode: "obstacle" }) }),
    new Style({ image: new RegularShape({ points, radius: 9, angle, fill: new Fill({ color: colour }), stroke: new Stroke({ color: "#000", width: 1.5 }), declutterMode: "obstacle" }) }),
  ];
}

const surroundings: Record<SurroundingShape["kind"], Style[]> = {
  water: [new Style({ fill: new Fill({ color: "rgba(11,83,148,0.30)" }) }), ...casedLine(water, 2.5), ...pin(32, water)],
  well: [...casedLine(water, 2, [2, 4]), ...pin(32, white)],
  dwelling: [new Style({ fill: new Fill({ color: "rgba(22,33,28,0.15)" }) }), ...casedLine(ink, 2), ...pin(4, ink, Math.PI / 4)],
  school: [new Style({ fill: new Fill({ color: "rgba(22,33,28,0.15)" }) }), ...casedLine(ink, 2), ...pin(5, ink)],
  hives: [...casedLine("#7A4A00", 2), ...pin(6, "#FED98E")],
  "sensitive-crop": [...casedLine(withheld, 2, [8, 4]), ...pin(3, withheld)],
  "wild-brambles": [...casedLine("#7A4A00", 2, [2, 5]), ...pin(3, "#7A4A00", Math.PI)],
  road: [...casedLine(rule, 3), ...pin(4, rule)],
  boundary: [...casedLine(ink, 1.5, [10, 4, 2, 4]), ...pin(4, ink)],
  other: [...casedLine("#4A564F", 2, [4, 4]), ...pin(4, "#4A564F")],
};

export function surroundingStyle(shape: SurroundingShape): Style[] {
  const drawn = surroundings[shape.kind] ?? surroundings.other;
  return shape.name ? [...drawn, new Style({ text: label(shape.name, 20) })] : drawn;
}

const markStyles = new Map<string, Style>();

/** The style of a find; one canvas for each look. */
export function findStyle(look: MarkLook, sizePx: number): Style {
  const key = `${look.cause} ${look.state} ${look.severity ?? "-"} ${sizePx}`;
  let found = markStyles.get(key);
  if (!found) {
    const ratio = Math.max(2, Math.ceil(globalThis.devicePixelRatio || 1));
    found = new Style({
      image: new Icon({ img: markCanvas(look, sizePx, ratio), scale: 1 / ratio, declutterMode: "obstacle" }),
    });
    markStyles.set(key, found);
  }
  return found;
}

const plantStyles = new Map<string, Style>();

/** A plant's place: filled with its plant, hollow without, a ring round a dot where set anew, a cross where taken out. */
export function plantStyle(standing: PlantMark["standing"], near: boolean): Style {
  const key = `${standing} ${near}`;
  let found = plantStyles.get(key);
  if (!found) {
    found = new Style({ image: new Icon({ img: plantCanvas(standing, near ? 5 : 2.2), scale: 1 / 2 }) });
    plantStyles.set(key, found);
  }
  return found;
}

function plantCanvas(standing: PlantMark["standing"], radius: number): HTMLCanvasElement {
  const canvas = document.createElement("canvas");
  const side = Math.ceil(radius * 2 + 6) * 2;
  canvas.width = side;
  canvas.height = side;
  const c = canvas.getContext("2d");
  if (c) {
    c.setTransform(2, 0, 0, 2, side / 2, side / 2);
    drawStanding(c, standing, 0, 0, radius);
  }
  return canvas;
}

const overlayMakers: Record<OverlayStyle, () => Style[]> = {
  treated: () => [new Style({ fill: new Fill({ color: "rgba(10,77,72,0.25)" }) }), ...casedLine(deep, 1.5)],
  withheld: () => [new Style({ fill: new Fill({ color: hatch(withheld, 9, 2, "right") }) }), ...casedLine(withheld, 1.5)],
  doubled: () => [new Style({ fill: new Fill({ color: hatch(deep, 8, 1.5, "crossed") }) }), ...casedLine(deep, 1)],
  missed: () => [new Style({ fill: new Fill({ color: "rgba(255,255,255,0.4)" }) }), ...casedLine(stop, 2, [2, 5])],
  unseen: () => [new Style({ fill: new Fill({ color: hatch("rgba(74,86,79,0.8)", 10, 1, "left") }) })],
  seen: () => [new Style({ stroke: new Stroke({ color: rule, width: 1 }) })],
  "group-rows": () => casedLine(ink, 5),
  "group-hull": () => [new Style({ stroke: new Stroke({ color: ink, width: 1, lineDash: [5, 5] }) })],
  earlier: () => [
    new Style({ image: new CircleStyle({ radius: 4.5, fill: new Fill({ color: white }), stroke: new Stroke({ color: white, width: 4.5 }), declutterMode: "none" }) }),
    new Style({ image: new CircleStyle({ radius: 4.5, fill: new Fill({ color: white }), stroke: new Stroke({ color: "#4A564F", width: 1.5 }), declutterMode: "none" }) }),
  ],
  "search-ring": () => casedLine(caution, 2.5, [14, 6]),
  window: () => casedLine(water, 2, [9, 5]),
  chosen: () => [new Style({ fill: new Fill({ color: "rgba(10,77,72,0.10)" }) }), ...casedLine(deep, 4)],
  "may-open": () => [new Style({ fill: new Fill({ color: "rgba(29,92,46,0.18)" }) }), ...casedLine(ok, 2)],
  "may-caution": () => [new Style({ fill: new Fill({ color: hatch(caution, 10, 1.5, "left") }) }), ...casedLine(caution, 2, [8, 4])],
  "may-stop": () => [new Style({ fill: new Fill({ color: hatch(stop, 9, 2, "crossed") }) }), ...casedLine(stop, 3)],
  planned: () => casedLine(deep, 1.5),
  marked: () => [
    new Style({ image: new CircleStyle({ radius: 11, stroke: new Stroke({ color: white, width: 6 }), declutterMode: "none" }) }),
    new Style({ image: new CircleStyle({ radius: 11, stroke: new Stroke({ color: deep, width: 3 }), declutterMode: "none" }) }),
  ],
  words: () => [],
  track: () => casedLine(deep, 2),
  proposed: () => [new Style({ fill: new Fill({ color: "rgba(10,77,72,0.12)" }) }), ...casedLine(deep, 3), ...pin(32, deep)],
  "as-read": () => [...casedLine(caution, 2, [6, 6]), ...pin(32, white)],
  "left-out": () => [new Style({ fill: new Fill({ color: "rgba(255,255,255,0.01)" }) }), ...casedLine("#4A564F", 1), ...pin(32, white)],
  piece: () => [new Style({ fill: new Fill({ color: hatch(stop, 8, 2, "left") }) }), ...casedLine(stop, 1.5)],
  candidate: () => [new Style({ fill: new Fill({ color: "rgba(11,83,148,0.15)" }) }), ...casedLine(water, 2.5, [12, 5, 2, 5]), ...pin(32, water)],
  preview: () => [new Style({ fill: new Fill({ color: "rgba(10,77,72,0.08)" }) }), ...casedLine(deep, 2, [7, 5]), ...pin(32, deep)],
};

const overlays = new Map<OverlayStyle, Style[]>();

export function overlayStyle(kind: OverlayStyle): Style[] {
  let made = overlays.get(kind);
  if (!made) {
    made = overlayMakers[kind]();
    overlays.set(kind, made);
  }
  return made;
}

/** Styles without the white casing of their lines. */
export function uncased(styles: readonly Style[]): Style[] {
  return styles.filter((s) => s.getStroke()?.getColor() !== white);
}

/** A place's label hangs below its mark. */
export function overlayLabel(text: string, ofPlace: boolean): Style {
  return new Style({ text: label(text, ofPlace ? 20 : 0) });
}

export function defectStyle(number: number): Style[] {
  return [
    new Style({ image: new CircleStyle({ radius: 13, stroke: new Stroke({ color: white, width: 5.5 }), declutterMode: "none" }) }),
    new Style({
      image: new CircleStyle({ radius: 13, fill: new Fill({ color: white }), stroke: new Stroke({ color: stop, width: 3 }), declutterMode: "none" }),
      text: new Text({ text: String(number), font: "700 14px system-ui, sans-serif", fill: new Fill({ color: stop }), declutterMode: "none" }),
    }),
  ];
}

/** What is being drawn: the line, and a grip of finger size at each corner. */
export const sketchStyle: Style[] = [...overlayMakers.preview(), ...casedLine(deep, 2.5)];

export const gripStyle = new Style({
  image: new CircleStyle({ radius: 7, fill: new Fill({ color: white }), stroke: new Stroke({ color: deep, width: 2.5 }) }),
});

export const touchedGripStyle = new Style({
  image: new CircleStyle({ radius: 9, fill: new Fill({ color: deep }), stroke: new Stroke({ color: white, width: 3 }) }),
});

export const hereStyles = {
  ring: new Style({ fill: new Fill({ color: "rgba(11,83,148,0.15)" }), stroke: new Stroke({ color: water, width: 1.5 }) }),
  dot: [
    new Style({ image: new CircleStyle({ radius: 10, fill: new Fill({ color: white }) }) }),
    new Style({ image: new CircleStyle({ radius: 7, fill: new Fill({ color: water }), stroke: new Stroke({ color: "#000", width: 1.5 }) }) }),
  ],
};
