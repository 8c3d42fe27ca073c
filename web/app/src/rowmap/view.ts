import type { Picture } from "./picture";

/** How the picture lies on the screen; sizes in CSS pixels. */
export interface View {
  /** Between plants along a row. */
  readonly pitch: number;
  /** How many times wider apart rows are drawn than plants, seen from afar. */
  readonly wide: number;
  /** How far the picture's top is turned clockwise, radians: 0 is rows up. */
  readonly turn: number;
  /** Where the picture's place 0, 0 lies. */
  readonly dx: number;
  readonly dy: number;
}

export interface Size {
  readonly width: number;
  readonly height: number;
}

export type Xy = readonly [number, number];

const margin = 34;
// The buttons of the view stand at the left, in two columns where there is
// little height.
const toolsPx = 64;
const toolsTwicePx = 112;
const lowBelow = 220;
const mostWide = 12;
const turnedWide = 1.6;
const thumbPx = 64;
/** A plant is never drawn wider apart than this, nor a block smaller than it fits. */
const mostPitch = 72;

/** Between rows on the screen: close by, rows stand no farther apart than a thumb needs. */
export function acrossPx(v: View): number {
  return Math.min(v.pitch * v.wide, Math.max(thumbPx, v.pitch));
}

/** From the picture's rows and plants to the screen. */
export function toScreen(v: View, x: number, y: number): Xy {
  const [u, w] = [x * acrossPx(v), -y * v.pitch];
  const [c, s] = [Math.cos(v.turn), Math.sin(v.turn)];
  return [v.dx + u * c - w * s, v.dy + u * s + w * c];
}

export function fromScreen(v: View, sx: number, sy: number): Xy {
  const [c, s] = [Math.cos(v.turn), Math.sin(v.turn)];
  const [a, b] = [sx - v.dx, sy - v.dy];
  const [u, w] = [a * c + b * s, -a * s + b * c];
  return [u / acrossPx(v), -w / v.pitch];
}

/** The whole picture in the middle. Rows up it is drawn as wide as there is room: it is not to scale. */
export function fitted(p: Picture, size: Size, turn: number): View {
  const left = size.height < lowBelow ? toolsTwicePx : toolsPx;
  const room = { width: Math.max(40, size.width - left - margin), height: Math.max(40, size.height - 2 * margin) };
  const [across, along] = [Math.max(1, p.width), Math.max(1, p.height)];
  const wide = turn === 0 ? Math.min(mostWide, Math.max(1, room.width / across / (room.height / along))) : turnedWide;
  const [c, s] = [Math.abs(Math.cos(turn)), Math.abs(Math.sin(turn))];
  const span = { width: across * wide * c + along * s, height: across * wide * s + along * c };
  const pitch = Math.min(mostPitch, room.width / span.width, room.height / span.height);
  const v = centred({ pitch, wide, turn, dx: 0, dy: 0 }, size, p.width / 2, p.height / 2);
  return { ...v, dx: v.dx + (left - margin) / 2 };
}

/** The view with a place of the picture in the middle of the screen. */
export function centred(v: View, size: Size, x: number, y: number): View {
  const [sx, sy] = toScreen({ ...v, dx: 0, dy: 0 }, x, y);
  return { ...v, dx: size.width / 2 - sx, dy: size.height / 2 - sy };
}

/** Closer or farther round a place of the screen, within bounds. */
export function zoomed(v: View, p: Picture, size: Size, by: number, at: Xy): View {
  const least = fitted(p, size, v.turn).pitch * 0.7;
  const pitch = Math.min(mostPitch, Math.max(least, v.pitch * by));
  const held = fromScreen(v, at[0], at[1]);
  const next = { ...v, pitch };
  const [sx, sy] = toScreen(next, held[0], held[1]);
  return { ...next, dx: next.dx + at[0] - sx, dy: next.dy + at[1] - sy };
}

/** Moved, but never so far that the picture leaves the screen. */
export function panned(v: View, p: Picture, size: Size, by: Xy): View {
  const to = { ...v, dx: v.dx + by[0], dy: v.dy + by[1] };
  const corners = [toScreen(to, 0, 0), toScreen(to, p.width, 0), toScreen(to, 0, p.height), toScreen(to, p.width, p.height)];
  const [left, right] = [Math.min(...corners.map((c) => c[0])), Math.max(...corners.map((c) => c[0]))];
  const [top, bottom] = [Math.min(...corners.map((c) => c[1])), Math.max(...corners.map((c) => c[1]))];
  const keep = margin;
  const fix = (low: number, high: number, room: number) => (high < keep ? keep - high : low > room - keep ? room - keep - low : 0);
  return { ...to, dx: to.dx + fix(left, right, size.width), dy: to.dy + fix(top, bottom, size.height) };
}

/** Moved just so far that a place stands clear of the edges. */
export function showing(v: View, size: Size, x: number, y: number): View {
  const [sx, sy] = toScreen(v, x, y);
  const clear = Math.min(48, size.width / 4, size.height / 4);
  const fix = (at: number, room: number) => (at < clear ? clear - at : at > room - clear ? room - clear - at : 0);
  const [mx, my] = [fix(sx, size.width), fix(sy, size.height)];
  return mx === 0 && my === 0 ? v : { ...v, dx: v.dx + mx, dy: v.dy + my };
}
