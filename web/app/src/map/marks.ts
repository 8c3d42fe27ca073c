import type { Cause, FindState, Severity } from "../model/kinds";

// Every mark: 2 px white casing, 1.5 px black edge, a shape of its own, the
// same in colour and in grey.
const casingPx = 2;
const edgePx = 1.5;
const ink = "#16211C";
/** Severity 0 to 3, light to dark, each with the ink its digit is read in. */
const ramp: readonly (readonly [fill: string, digit: string])[] = [
  ["#FFFFFF", ink],
  ["#FED98E", ink],
  ["#FE9929", ink],
  ["#993404", "#FFFFFF"],
];

export interface MarkLook {
  readonly cause: Cause;
  readonly state: FindState | "removed";
  readonly severity?: Severity;
}

type Outline = "diamond" | "triangle" | "circle" | "square";

/** The shape says the cause: systemic rust, other rust, gall, anything else. */
export function outlineOf(cause: Cause): Outline {
  switch (cause) {
    case "orange-rust":
      return "diamond";
    case "cane-leaf-rust":
    case "late-leaf-rust":
    case "yellow-rust":
      return "triangle";
    case "crown-gall":
    case "cane-borer-gall":
      return "circle";
    default:
      return "square";
  }
}

type Brush = CanvasRenderingContext2D;

function path(c: Brush, outline: Outline, r: number): void {
  c.beginPath();
  switch (outline) {
    case "circle":
      c.arc(0, 0, r, 0, 2 * Math.PI);
      return;
    case "square":
      c.rect(-r * 0.88, -r * 0.88, r * 1.76, r * 1.76);
      return;
    case "diamond":
      polygon(c, [0, -r * 1.2, r * 1.2, 0, 0, r * 1.2, -r * 1.2, 0]);
      return;
    case "triangle":
      polygon(c, [0, -r * 1.2, r * 1.2, r * 0.95, -r * 1.2, r * 0.95]);
  }
}

function polygon(c: Brush, xy: readonly number[]): void {
  for (let i = 0; i < xy.length; i += 2) c.lineTo(xy[i]!, xy[i + 1]!);
  c.closePath();
}

function cased(c: Brush, edge: number, fill?: string): void {
  c.lineJoin = "round";
  c.strokeStyle = "#FFFFFF";
  c.lineWidth = edge + 2 * casingPx;
  c.stroke();
  if (fill) {
    c.fillStyle = fill;
    c.fill();
  }
  c.strokeStyle = "#000000";
  c.lineWidth = edge;
  c.stroke();
}

/** The side of the square a mark of this size is drawn in, px. */
export function boxPx(sizePx: number): number {
  return Math.ceil(sizePx * 1.25 + 2 * (casingPx + edgePx * 2) + 2);
}

/** Draws a mark around the brush's origin; sizePx is its width in CSS pixels. */
export function drawMark(c: Brush, look: MarkLook, sizePx: number): void {
  const r = sizePx / 2;
  if (look.state === "removed") {
    cross(c, r * 0.8, edgePx * 1.6);
    return;
  }
  const confirmed = look.state === "confirmed";
  const [fill, digit] = confirmed ? filled(look.severity) : ["#FFFFFF", ink];
  const outline = outlineOf(look.cause);
  path(c, outline, r);
  // A confirmed find of severity 0 would look hollow by its fill alone.
  cased(c, confirmed ? edgePx * 2 : edgePx, fill);
  const low = outline === "triangle" ? r * 0.25 : 0;
  const dotted = look.state === "sampled";
  if (look.severity !== undefined && look.state !== "refuted") writeDigit(c, look.severity, digit, r, low - (dotted ? r * 0.22 : 0));
  if (dotted) dot(c, r, look.severity === undefined ? low : low + r * 0.62);
  if (look.state === "refuted") {
    c.beginPath();
    c.moveTo(-r * 1.15, r * 1.15);
    c.lineTo(r * 1.15, -r * 1.15);
    cased(c, edgePx * 1.3);
  }
}

function filled(severity: Severity | undefined): readonly [string, string] {
  return severity === undefined ? [ink, "#FFFFFF"] : ramp[severity]!;
}

function writeDigit(c: Brush, n: Severity, colour: string, r: number, y: number): void {
  c.fillStyle = colour;
  c.font = `bold ${Math.round(r * 1.25)}px system-ui, sans-serif`;
  c.textAlign = "center";
  c.textBaseline = "middle";
  c.fillText(String(n), 0, y + r * 0.08);
}

function dot(c: Brush, r: number, y: number): void {
  c.beginPath();
  c.arc(0, y, Math.max(1.6, r * 0.22), 0, 2 * Math.PI);
  c.fillStyle = ink;
  c.fill();
}

function cross(c: Brush, r: number, edge: number): void {
  c.beginPath();
  c.moveTo(-r, -r);
  c.lineTo(r, r);
  c.moveTo(r, -r);
  c.lineTo(-r, r);
  cased(c, edge);
}

/** A standing plant is a filled square; missing hollow, replanted a ring round a dot, removed a cross. */
export function drawStanding(c: Brush, standing: "plant" | "missing" | "replanted" | "removed", x: number, y: number, radius: number): void {
  const r = Math.max(radius, 2.2);
  if (standing === "plant") {
    c.fillStyle = "#4A564F";
    c.fillRect(x - r, y - r, 2 * r, 2 * r);
    return;
  }
  c.lineWidth = Math.max(1.2, r * 0.32);
  c.strokeStyle = ink;
  c.beginPath();
  if (standing === "missing") {
    c.fillStyle = "#FFFFFF";
    c.rect(x - r, y - r, 2 * r, 2 * r);
    c.fill();
  } else if (standing === "removed") {
    c.lineWidth = Math.max(1.6, r * 0.45);
    c.moveTo(x - r, y - r);
    c.lineTo(x + r, y + r);
    c.moveTo(x + r, y - r);
    c.lineTo(x - r, y + r);
  } else {
    c.fillStyle = "#0A4D48";
    c.arc(x, y, r * 1.15, 0, 2 * Math.PI);
    c.stroke();
    c.beginPath();
    c.arc(x, y, r * 0.5, 0, 2 * Math.PI);
    c.fill();
    return;
  }
  c.stroke();
}

/** A mark on a canvas of its own, `ratio` device pixels to one CSS pixel. */
export function markCanvas(look: MarkLook, sizePx: number, ratio: number): HTMLCanvasElement {
  const canvas = document.createElement("canvas");
  const side = boxPx(sizePx) * ratio;
  canvas.width = side;
  canvas.height = side;
  const c = canvas.getContext("2d");
  if (c) {
    c.setTransform(ratio, 0, 0, ratio, side / 2, side / 2);
    drawMark(c, look, sizePx);
  }
  return canvas;
}

/** Hatches, tiled without seams: spacing px between lines. */
export function hatch(colour: string, spacing: number, width: number, kind: "left" | "right" | "crossed"): CanvasPattern | string {
  const canvas = document.createElement("canvas");
  const side = Math.round(spacing * Math.SQRT2);
  canvas.width = side;
  canvas.height = side;
  const c = canvas.getContext("2d");
  if (!c) return colour;
  c.strokeStyle = colour;
  c.lineWidth = width;
  for (const shift of [-side, 0, side]) {
    if (kind !== "left") line(c, shift, side, shift + side, 0);
    if (kind !== "right") line(c, shift, 0, shift + side, side);
  }
  return c.createPattern(canvas, "repeat") ?? colour;
}

function line(c: Brush, x1: number, y1: number, x2: number, y2: number): void {
  c.beginPath();
  c.moveTo(x1, y1);
  c.lineTo(x2, y2);
  c.stroke();
}
