import { describe, expect, it } from "vitest";
import type { Polygon, Ring } from "./position";
import { fitsAsHole, inRing, selfCrossing } from "./ring";

const square = (x: number, y: number, side: number): Ring => [
  [x, y],
  [x + side, y],
  [x + side, y + side],
  [x, y + side],
  [x, y],
];
// A U with the notch open to the top between x 4 and 6, down to y 4.
const u: Ring = [[0, 0], [10, 0], [10, 10], [6, 10], [6, 4], [4, 4], [4, 10], [0, 10], [0, 0]];

describe("inRing", () => {
  it.each([
    { p: [5, 2], want: true },
    { p: [5, 8], want: false },
    { p: [2, 8], want: true },
    { p: [-1, 5], want: false },
  ])("$p in the U is $want", ({ p, want }) => expect(inRing(p, u)).toBe(want));
});

describe("selfCrossing", () => {
  it("finds the two sides of a bow tie", () => {
    expect(selfCrossing([[0, 0], [10, 10], [10, 0], [0, 10], [0, 0]])).toEqual({ first: 1, second: 3 });
  });
  it("lets a plain ring be", () => expect(selfCrossing(u)).toBeNull());
});

describe("a hole", () => {
  const withPond: Polygon = { type: "Polygon", coordinates: [square(0, 0, 20), square(8, 8, 4)] };
  const inU: Polygon = { type: "Polygon", coordinates: [u] };
  it.each([
    { name: "inside", ring: square(1, 1, 2), in: withPond, want: true },
    { name: "over the edge", ring: square(-1, 1, 4), in: withPond, want: false },
    { name: "outside", ring: square(30, 1, 4), in: withPond, want: false },
    { name: "inside another hole", ring: square(9, 9, 1), in: withPond, want: false },
    { name: "around another hole", ring: square(7, 7, 6), in: withPond, want: false },
    { name: "across another hole", ring: square(9, 9, 6), in: withPond, want: false },
    { name: "with all corners inside but a side through the notch", ring: [[1, 8], [9, 8], [9, 9], [1, 9], [1, 8]] as Ring, in: inU, want: false },
  ])("$name: $want", ({ ring, in: polygon, want }) => expect(fitsAsHole(ring, polygon)).toBe(want));
});
