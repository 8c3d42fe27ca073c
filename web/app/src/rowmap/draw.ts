import { drawMark, drawStanding, hatch } from "../map/marks";
import type { FindAt, PlantMarks, Standing } from "./marks";
import { plantId } from "./marks";
import { type Listing, type Over, rateTints, tintOf, topRate } from "./over";
import type { Picture, PictureRow, Slot } from "./picture";
import { acrossPx, fromScreen, type Size, toScreen, type View } from "./view";

const ink = "#16211C";
const soft = "#4A564F";
const rule = "#8A968E";
const deep = "#0A4D48";
const paper = "#FFFFFF";
const stop = "#8C1D18";
const water = "#0B5394";

// Below this a plant is a dash of its row; the shapes of its state need more.
const shapesFrom = 5;
const squaresFrom = 14;
const numbersFrom = 26;
const labelGapPx = 22;
const findPx = [14, 22] as const;

/** A row made ready for drawing: what differs from a standing plant, by its place in the row. */
interface ReadyRow {
  readonly row: PictureRow;
  /** One for each plant, in the row's order. */
  readonly standing: readonly Standing[];
  /** Stretches of the row drawn alike, as places in the row. */
  readonly runs: readonly { readonly from: number; readonly to: number; readonly standing: Standing }[];
  readonly unseen: readonly { readonly from: number; readonly to: number }[];
  readonly finds: readonly { readonly at: number; readonly find: FindAt; readonly removed: boolean }[];
  readonly skipped: boolean;
  readonly tints: readonly { readonly from: number; readonly to: number; readonly tint: number }[];
  readonly earlier: readonly number[];
  readonly listed: readonly { readonly at: number; readonly how: Listing }[];
}

export interface Ready {
  readonly picture: Picture;
  readonly rows: readonly ReadyRow[];
}

/** Works out once what is drawn of every plant, so that a frame only draws. */
export function ready(picture: Picture, marks: PlantMarks, over?: Over): Ready {
  const top = topRate(over?.rates ?? null);
  return {
    picture,
    rows: picture.rows.map((row) => {
      const standing = row.plants.map((p) => marks.standing(row.number, p));
      const finds = row.plants.flatMap((p, at) => {
        const find = marks.finds(row.number, p).at(-1);
        return find ? [{ at, find, removed: standing[at] === "removed" }] : [];
      });
      return {
        row,
        standing,
        runs: stretchesOf(row, (i) => standing[i]!).map((s) => ({ ...s, standing: standing[s.from]! })),
        unseen: stretchesOf(row, (i) => marks.seen(row.number, row.plants[i]!) === false).filter((s) => marks.seen(row.number, row.plants[s.from]!) === false),
        finds,
        skipped: marks.skipped(row.number),
        ...overRow(row, over, top),
      };
    }),
  };
}

function overRow(row: PictureRow, over: Over | undefined, top: number): Pick<ReadyRow, "tints" | "earlier" | "listed"> {
  if (!over) return { tints: [], earlier: [], listed: [] };
  const ids = row.plants.map((p) => plantId(row.number, p));
  const tint = (i: number) => tintOf(over.rates?.get(ids[i]!) ?? 0, top);
  return {
    tints: over.rates ? stretchesOf(row, tint).map((s) => ({ ...s, tint: tint(s.from) })).filter((s) => s.tint > 0) : [],
    earlier: ids.flatMap((id, at) => (over.earlier.has(id) ? [at] : [])),
    listed: ids.flatMap((id, at) => {
      const how = over.listed.get(id);
      return how ? [{ at, how }] : [];
    }),
  };
}

function stretchesOf<T>(row: PictureRow, of: (i: number) => T): { from: number; to: number }[] {
  const out: { from: number; to: number }[] = [];
  let was: T | undefined;
  for (let i = 0; i < row.plants.length; i++) {
    const now = of(i);
    const last = out.at(-1);
    if (last && now === was && row.ys[i] === row.ys[i - 1]! + 1) last.to = i;
    else out.push({ from: i, to: i });
    was = now;
  }
  return out;
}

export interface Shown {
  readonly cursor: Slot | null;
  /** Plants tapped and not yet saved. */
  readonly drafted: ReadonlySet<number>;
  /** Plants chosen elsewhere. */
  readonly chosen?: ReadonlySet<number>;
  readonly focused: boolean;
  readonly north: string;
}

type Brush = CanvasRenderingContext2D;

let hatching: CanvasPattern | string | null = null;

/** Draws what stands and was found, without what moves on its own; a pixel of the brush is a CSS pixel. */
export function drawGround(c: Brush, { rows }: Ready, v: View, size: Size): void {
  c.fillStyle = paper;
  c.fillRect(0, 0, size.width, size.height);
  const box = visible(v, size);
  const near = rows.filter((r) => r.row.x >= box.left - 1 && r.row.x <= box.right + 1);
  drawTints(c, near, v);
  drawUnseen(c, near, v);
  for (const r of near) drawRow(c, r, v, box);
  for (const r of near) drawEarlier(c, r, v, box);
  for (const r of near) drawListed(c, r, v, box);
  for (const r of near) drawFinds(c, r, v, box);
}

/** Draws what lies over the ground: marks not saved, numbers, cursor, north. */
export function drawOver(c: Brush, { picture, rows }: Ready, v: View, size: Size, shown: Shown): void {
  const box = visible(v, size);
  const near = rows.filter((r) => r.row.x >= box.left - 1 && r.row.x <= box.right + 1);
  drawDrafted(c, near, v, box, shown.drafted);
  if (shown.chosen) drawDrafted(c, near, v, box, shown.chosen);
  drawRowNumbers(c, near, v, size);
  if (shown.cursor) drawCursor(c, v, shown.cursor, shown.focused);
  drawNorth(c, picture, v, size, shown.north);
}

interface Box {
  readonly left: number;
  readonly right: number;
  readonly low: number;
  readonly high: number;
}

function visible(v: View, size: Size): Box {
  const corners = [fromScreen(v, 0, 0), fromScreen(v, size.width, 0), fromScreen(v, 0, size.height), fromScreen(v, size.width, size.height)];
  const [xs, ys] = [corners.map((p) => p[0]), corners.map((p) => p[1])];
  return { left: Math.min(...xs), right: Math.max(...xs), low: Math.min(...ys) - 1, high: Math.max(...ys) + 1 };
}

// Upright boxes cost a tenth of the same as a path.
function drawUnseen(c: Brush, rows: readonly ReadyRow[], v: View): void {
  hatching ??= hatch(soft, 9, 1, "left");
  const half = Math.min(0.42 * acrossPx(v), 12);
  c.fillStyle = hatching;
  inBlock(c, v, () => {
    for (const r of rows) for (const s of r.unseen) fillStretch(c, r.row, s, v, half);
  });
}

// The ground between two rows takes the tint of the nearer one.
function drawTints(c: Brush, rows: readonly ReadyRow[], v: View): void {
  inBlock(c, v, () => {
    for (const r of rows) {
      for (const s of r.tints) {
        c.fillStyle = rateTints[s.tint]!;
        fillStretch(c, r.row, s, v, acrossPx(v) / 2);
      }
    }
  });
}

function inBlock(c: Brush, v: View, draw: () => void): void {
  c.save();
  c.translate(v.dx, v.dy);
  c.rotate(v.turn);
  draw();
  c.restore();
}

function fillStretch(c: Brush, row: PictureRow, s: { readonly from: number; readonly to: number }, v: View, half: number): void {
  const x = Math.round(row.x * acrossPx(v) - half);
  const top = Math.round(-(row.ys[s.to]! + 0.5) * v.pitch);
  c.fillRect(x, top, Math.round(2 * half), Math.round(-(row.ys[s.from]! - 0.5) * v.pitch) - top);
}

const earlierPx = 4;

function drawEarlier(c: Brush, r: ReadyRow, v: View, box: Box): void {
  for (const at of r.earlier) {
    const y = r.row.ys[at]!;
    if (y < box.low || y > box.high) continue;
    const [sx, sy] = toScreen(v, r.row.x, y);
    ring(c, sx, sy, earlierPx, soft, 1.5);
  }
}

// A plant of the list by how firmly it stands there: a thick box, a thin box,
// a dashed one, a dashed circle for those only to be looked at.
function drawListed(c: Brush, r: ReadyRow, v: View, box: Box): void {
  const half = Math.max(3, Math.min(12, v.pitch * 0.46, acrossPx(v) * 0.44));
  for (const { at, how } of r.listed) {
    const y = r.row.ys[at]!;
    if (y < box.low || y > box.high) continue;
    const [sx, sy] = toScreen(v, r.row.x, y);
    c.strokeStyle = how === "inspect" ? water : ink;
    c.lineWidth = how === "confirmed" ? 3 : how === "between" ? 2 : 1.5;
    c.setLineDash(how === "margin" || how === "inspect" ? [3, 2] : []);
    c.beginPath();
    if (how === "inspect") c.arc(sx, sy, half * 0.8, 0, 2 * Math.PI);
    else c.rect(sx - half, sy - half, 2 * half, 2 * half);
    c.stroke();
  }
  c.setLineDash([]);
}

function drawRow(c: Brush, r: ReadyRow, v: View, box: Box): void {
  const thick = Math.max(1, Math.min(9, v.pitch * 0.55, acrossPx(v) * 0.4));
  if (r.skipped || r.row.plants.length === 0) return drawSkipped(c, r, v);
  if (v.pitch < shapesFrom) return drawBars(c, r, v, thick);
  const [first, last] = within(r.row.ys, box);
  const [ux, uy] = unit(v);
  const [ox, oy] = toScreen(v, r.row.x, 0);
  const radius = Math.min(7, v.pitch * 0.32, acrossPx(v) * 0.3);
  const dashed = v.turn === 0 && v.pitch < squaresFrom;
  if (dashed) drawDashes(c, r, v, Math.round(2 * radius));
  const side = Math.max(2, Math.round(2 * radius));
  c.fillStyle = soft;
  for (let i = first; i <= last; i++) {
    const standing = r.standing[i]!;
    if (dashed && standing === "plant") continue;
    const y = r.row.ys[i]!;
    const [sx, sy] = [ox + ux * y, oy + uy * y];
    if (standing === "plant") c.fillRect(Math.round(sx - radius), Math.round(sy - radius), side, side);
    else {
      drawStanding(c, standing, sx, sy, radius);
      c.fillStyle = soft;
    }
  }
  if (v.pitch >= numbersFrom) drawPlantNumbers(c, r, v, first, last);
}

// Thousands of plants as dashes of their rows cost half of what boxes do.
function drawDashes(c: Brush, r: ReadyRow, v: View, thick: number): void {
  const x = Math.round(toScreen(v, r.row.x, 0)[0]) + (thick % 2) / 2;
  c.strokeStyle = soft;
  c.lineWidth = thick;
  c.setLineDash([v.pitch / 2, v.pitch / 2]);
  c.beginPath();
  for (const run of r.runs) {
    if (run.standing !== "plant") continue;
    c.moveTo(x, toScreen(v, 0, r.row.ys[run.from]! - 0.25)[1]);
    c.lineTo(x, toScreen(v, 0, r.row.ys[run.to]! + 0.25)[1]);
  }
  c.stroke();
  c.setLineDash([]);
}

/** How far a plant's step goes on the screen. */
function unit(v: View): [number, number] {
  return [v.pitch * Math.sin(v.turn), -v.pitch * Math.cos(v.turn)];
}

function within(ys: readonly number[], box: Box): [number, number] {
  let first = 0;
  while (first < ys.length && ys[first]! < box.low) first++;
  let last = ys.length - 1;
  while (last >= 0 && ys[last]! > box.high) last--;
  return [first, last];
}

const dashOf: Record<Standing, readonly [colour: string, share: number]> = {
  plant: [soft, 1],
  replanted: [deep, 1],
  missing: [rule, 0.3],
  removed: [stop, 0.3],
};

// From afar a row is a bar, thin where there is no plant.
function drawBars(c: Brush, r: ReadyRow, v: View, thick: number): void {
  for (const run of r.runs) {
    const [colour, share] = dashOf[run.standing];
    c.strokeStyle = colour;
    c.lineWidth = thick * share;
    c.beginPath();
    c.moveTo(...toScreen(v, r.row.x, r.row.ys[run.from]! - 0.4));
    c.lineTo(...toScreen(v, r.row.x, r.row.ys[run.to]! + 0.4));
    c.stroke();
  }
}

function drawSkipped(c: Brush, r: ReadyRow, v: View): void {
  c.strokeStyle = rule;
  c.lineWidth = 1;
  c.setLineDash([2, 6]);
  c.beginPath();
  c.moveTo(...toScreen(v, r.row.x, r.row.ys[0] ?? 0));
  c.lineTo(...toScreen(v, r.row.x, r.row.ys.at(-1) ?? 10));
  c.stroke();
  c.setLineDash([]);
}

function drawFinds(c: Brush, r: ReadyRow, v: View, box: Box): void {
  const px = Math.max(findPx[0], Math.min(findPx[1], v.pitch * 0.9));
  for (const { at, find, removed } of r.finds) {
    const y = r.row.ys[at]!;
    if (y < box.low || y > box.high) continue;
    const [sx, sy] = toScreen(v, r.row.x, y);
    c.save();
    c.translate(sx, sy);
    drawMark(c, removed ? { ...find, state: "removed" } : find, px);
    c.restore();
  }
}

function drawDrafted(c: Brush, rows: readonly ReadyRow[], v: View, box: Box, drafted: ReadonlySet<number>): void {
  if (drafted.size === 0) return;
  const r = Math.max(6, Math.min(16, v.pitch * 0.48));
  for (const { row } of rows) {
    const [first, last] = within(row.ys, box);
    for (let i = first; i <= last; i++) {
      if (!drafted.has(plantId(row.number, row.plants[i]!))) continue;
      const [sx, sy] = toScreen(v, row.x, row.ys[i]!);
      ring(c, sx, sy, r, deep, 3);
    }
  }
}

function ring(c: Brush, x: number, y: number, r: number, colour: string, width: number): void {
  c.beginPath();
  c.arc(x, y, r, 0, 2 * Math.PI);
  c.strokeStyle = paper;
  c.lineWidth = width + 3;
  c.stroke();
  c.strokeStyle = colour;
  c.lineWidth = width;
  c.stroke();
}

function haloed(c: Brush, text: string, x: number, y: number): void {
  c.strokeStyle = paper;
  c.lineWidth = 4;
  c.lineJoin = "round";
  c.strokeText(text, x, y);
  c.fillText(text, x, y);
}

function drawPlantNumbers(c: Brush, r: ReadyRow, v: View, first: number, last: number): void {
  c.font = "13px system-ui, sans-serif";
  c.textAlign = "left";
  c.textBaseline = "middle";
  c.fillStyle = soft;
  for (let i = first; i <= last; i++) {
    if (r.row.plants[i]! % 5 !== 0) continue;
    const [sx, sy] = toScreen(v, r.row.x, r.row.ys[i]!);
    haloed(c, String(r.row.plants[i]), sx + 11, sy);
  }
}

/** Row numbers stand at the end plants are counted from; where that is off the screen, at its edge. */
function drawRowNumbers(c: Brush, rows: readonly ReadyRow[], v: View, size: Size): void {
  c.font = "600 15px system-ui, sans-serif";
  c.textAlign = "center";
  c.textBaseline = "middle";
  c.fillStyle = ink;
  const every = niceStep(labelGapPx / (acrossPx(v)));
  for (const { row } of rows) {
    if (row.number % every !== 0 && row.number !== 1) continue;
    const low = row.ys[0] ?? 0;
    const high = row.ys.at(-1) ?? 0;
    const end = row.upward ? low : high;
    const away = (row.upward ? -1 : 1) * (16 / v.pitch);
    const [sx, sy] = toScreen(v, row.x, end + away);
    const [x, y] = v.turn === 0 ? [sx, Math.min(size.height - 12, Math.max(12, sy))] : [sx, sy];
    if (x < -10 || x > size.width + 10 || y < -10 || y > size.height + 10) continue;
    haloed(c, String(row.number), x, y);
  }
}

function niceStep(least: number): number {
  for (const step of [1, 2, 5, 10, 20, 50, 100, 200, 500]) if (step >= least) return step;
  return 1000;
}

function drawCursor(c: Brush, v: View, at: Slot, focused: boolean): void {
  const [x, y] = toScreen(v, at.x, at.y);
  const r = Math.max(13, Math.min(22, v.pitch * 0.6));
  ring(c, x, y, r, ink, focused ? 3.5 : 2);
  c.beginPath();
  for (const [dx, dy] of [
    [0, -1],
    [1, 0],
    [0, 1],
    [-1, 0],
  ] as const) {
    c.moveTo(x + dx * r, y + dy * r);
    c.lineTo(x + dx * (r + 7), y + dy * (r + 7));
  }
  c.stroke();
}

function drawNorth(c: Brush, p: Picture, v: View, size: Size, word: string): void {
  // Up the picture is the bearing; north lies that far to its left.
  const angle = v.turn - (p.bearingDeg * Math.PI) / 180;
  c.save();
  c.translate(size.width - 26, 30);
  c.rotate(angle);
  c.fillStyle = ink;
  c.strokeStyle = paper;
  c.lineWidth = 4;
  c.beginPath();
  c.moveTo(0, -16);
  c.lineTo(7, 8);
  c.lineTo(0, 4);
  c.lineTo(-7, 8);
  c.closePath();
  c.stroke();
  c.fill();
  c.restore();
  c.font = "700 14px system-ui, sans-serif";
  c.textAlign = "center";
  c.textBaseline = "middle";
  haloed(c, word, size.width - 26, 58);
}
