import type { Box, Geometry, Position } from "./position";

/** Every position of a shape, in order. */
export function* positions(shape: Geometry): Generator<Position> {
  if (shape.type === "GeometryCollection") {
    for (const part of shape.geometries) yield* positions(part);
    return;
  }
  yield* flat(shape.coordinates);
}

type Nested = Position | readonly Nested[];

function* flat(c: Nested): Generator<Position> {
  if (typeof c[0] === "number") {
    yield c as Position;
    return;
  }
  for (const inner of c as readonly Nested[]) yield* flat(inner);
}

/** The box around shapes; null when there is no position in them. Not for shapes across the date line. */
export function boxOf(shapes: Iterable<Geometry | null>): Box | null {
  let [w, s, e, n] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const shape of shapes) {
    if (!shape) continue;
    for (const [x, y] of positions(shape)) {
      if (x === undefined || y === undefined) continue;
      w = Math.min(w, x);
      e = Math.max(e, x);
      s = Math.min(s, y);
      n = Math.max(n, y);
    }
  }
  return w <= e && s <= n ? [w, s, e, n] : null;
}
