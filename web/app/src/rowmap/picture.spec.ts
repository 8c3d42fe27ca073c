import { describe, expect, it } from "vitest";
import { moved, nearestIn, nearestSlot, pictureOf, slotOf } from "./picture";
import type { DrawnRow, LonLat } from "./rowplace";

// Metres on the ground near 36 degrees north: a degree of latitude is 110,957 m
// and one of longitude 90,164 m (WGS 84, series of the meridian and parallel).
const at = (east: number, north: number): LonLat => [-86.5 + east / 90_164, 36 + north / 110_957];
const row = (number: number, east: number, from: number, to: number, more: Partial<DrawnRow> = {}): DrawnRow => ({
  number,
  plants: Math.floor(Math.abs(to - from) + 1.001),
  line: [at(east, from), at(east, to)],
  firstPlant: 1,
  missing: [],
  ...more,
});

describe("the picture of a block", () => {
  it("stands rows side by side and plants a step apart, holes left open", () => {
    const got = pictureOf([row(1, 0, 0, 9), row(2, 3, 0, 3), row(2, 3, 7, 9, { firstPlant: 5 })], 1, 0);
    expect(got.rows.map((r) => [r.number, r.x, r.plants.join(), r.ys.join()])).toEqual([
      [1, 0, "1,2,3,4,5,6,7,8,9,10", "0,1,2,3,4,5,6,7,8,9"],
      [2, 1, "1,2,3,4,5,6,7", "0,1,2,3,7,8,9"],
    ]);
    expect([got.width, got.height, got.plants]).toEqual([1, 9, 17]);
  });
  it("has row 1 at the right and plant 1 at the top where they are counted so", () => {
    const got = pictureOf([row(1, 3, 4, 0), row(2, 0, 4, 0)], 1, 0);
    expect(got.rows.map((r) => [r.number, r.x, r.plants.join(), r.upward])).toEqual([
      [2, 0, "5,4,3,2,1", false],
      [1, 1, "5,4,3,2,1", false],
    ]);
  });
  it("keeps numbers that were given later where their plants stand", () => {
    const early = row(1, 0, 0, 9, { plants: 3, firstPlant: 11, startM: 0, stepM: 1 });
    const first = row(1, 0, 0, 9, { plants: 5, firstPlant: 1, startM: 3, stepM: 1 });
    expect(pictureOf([first, early], 1, 0).rows[0]!.plants).toEqual([11, 12, 13, 1, 2, 3, 4, 5]);
  });
  it("opens an alley where rows stand farther apart", () => {
    const got = pictureOf([row(1, 0, 0, 4), row(2, 3, 0, 4), row(3, 9, 0, 4), row(4, 12, 0, 4)], 1, 0);
    expect(got.rows.map((r) => r.x)).toEqual([0, 1, 2.6, 3.6]);
  });
  it("shifts rows that begin farther along", () => {
    const got = pictureOf([row(1, 0, 5, 9), row(2, 3, 0, 9)], 1, 0);
    expect(got.rows.map((r) => r.ys[0])).toEqual([5, 0]);
  });
  it("takes the way of the first row where the block says none", () => {
    expect(pictureOf([row(1, 0, 0, 9)], 1).bearingDeg).toBeCloseTo(0, 6);
    expect(pictureOf([], 1).rows).toEqual([]);
  });
});

const block = pictureOf([row(1, 0, 0, 9), row(2, 3, 0, 3), row(2, 3, 7, 9, { firstPlant: 5 }), row(3, 6, 2, 9)], 1, 0);

describe("the cursor", () => {
  const from = (r: number, plant: number) => slotOf(block, r, plant)!;
  it.each([
    { from: [1, 1], move: { along: 1 }, to: [1, 2] },
    { from: [1, 1], move: { along: -1 }, to: [1, 1] },
    { from: [1, 5], move: { along: 10 }, to: [1, 10] },
    { from: [2, 4], move: { along: 1 }, to: [2, 5] },
    { from: [1, 6], move: { across: 1 }, to: [2, 4] },
    { from: [1, 7], move: { across: 1 }, to: [2, 5] },
    { from: [1, 1], move: { across: 10 }, to: [1, 1] },
    { from: [3, 1], move: { across: 1 }, to: [3, 1] },
    { from: [2, 2], move: { end: "last" }, to: [2, 7] },
    { from: [2, 7], move: { end: "first" }, to: [2, 1] },
    { from: [1, 7], move: { rows: 1 }, to: [2, 7] },
    { from: [1, 10], move: { rows: 1 }, to: [2, 7] },
    { from: [3, 1], move: { rows: 1 }, to: [3, 1] },
  ] as const)("goes from $from by $move to $to", ({ from: [r, p], move, to }) => {
    const got = moved(block, from(r, p), move);
    expect([got.row, got.plant]).toEqual([...to]);
  });
});

describe("the nearest plant", () => {
  it("is found by place, rows counting as wide as they are drawn", () => {
    expect(nearestSlot(block, 0.4, 5.6, 3)).toMatchObject({ row: 1, plant: 7 });
    expect(nearestSlot(block, 0.9, 5.4, 3)).toMatchObject({ row: 2, plant: 5 });
    // With rows drawn close together a hole's neighbour in the next row is nearer.
    expect(nearestSlot(block, 0.9, 5.4, 0.2)).toMatchObject({ row: 1, plant: 6 });
  });
  it("is none in a row without plants", () => {
    expect(nearestIn({ number: 1, x: 0, plants: [], ys: [], upward: true }, 3)).toBeNull();
  });
});
