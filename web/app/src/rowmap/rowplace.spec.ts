import { describe, expect, it } from "vitest";
import { type DrawnRow, distanceM, lastPlant, nearestPlant, plantPlace, stretches, stretchLines } from "./rowplace";

const row = (number: number, lat: number, firstPlant = 1, plants = 11): DrawnRow => ({
  number,
  plants,
  firstPlant,
  missing: [],
  line: [
    [-80.42 + (firstPlant - 1) * 1e-5, lat],
    [-80.4199 + (firstPlant - 1) * 1e-5, lat],
  ],
});
const rows = [row(1, 35.87), row(2, 35.87003)];

describe("distance", () => {
  // Length of one degree at 36 degrees north on WGS 84, from the series for the
  // meridian and the parallel (from memory, checked against the Go reference
  // vectors elsewhere): 110 959.0 m and 90 163.3 m.
  it.each([
    { name: "north", b: [-80, 36.005] as const, a: [-80, 35.995] as const, want: 1109.59 },
    { name: "east", b: [-79.995, 36] as const, a: [-80.005, 36] as const, want: 901.63 },
  ])("$name", ({ a, b, want }) => {
    expect(Math.abs(distanceM(a, b) - want)).toBeLessThan(0.02);
  });
});

describe("a plant's place", () => {
  it("is the row's start for plant 1 and its end for the last", () => {
    expect(plantPlace(rows, 1, 1, null)).toEqual([-80.42, 35.87]);
    expect(plantPlace(rows, 1, 11, null)?.[0]).toBeCloseTo(-80.4199, 9);
  });
  it("follows the stated spacing where there is one", () => {
    const at = plantPlace(rows, 1, 6, 0.9);
    expect(at && distanceM([-80.42, 35.87], at)).toBeCloseTo(4.5, 4);
  });
  it.each([
    { name: "past the last plant", row: 1, plant: 12 },
    { name: "before the first", row: 1, plant: 0 },
    { name: "in a row that is not there", row: 3, plant: 1 },
  ])("is unknown $name", ({ row: r, plant }) => {
    expect(plantPlace(rows, r, plant, null)).toBeNull();
  });
  it("numbers on over the parts of a cut row", () => {
    const cutRow = [row(4, 35.87, 1, 5), row(4, 35.87, 6, 5)];
    expect(plantPlace(cutRow, 4, 6, null)).toEqual(cutRow[1]?.line[0]);
    expect(lastPlant(cutRow, 4)).toBe(10);
  });
  it("finds its way back from the place", () => {
    const at = plantPlace(rows, 2, 7, null);
    expect(at && nearestPlant(rows, at, null)).toMatchObject({ row: 2, plant: 7 });
  });
});

describe("stretches", () => {
  it("joins neighbours once and in order", () => {
    const got = stretches([
      { row: 2, plant: 5 },
      { row: 1, plant: 4 },
      { row: 1, plant: 3 },
      { row: 1, plant: 3 },
      { row: 1, plant: 7 },
    ]);
    expect(got).toEqual([
      { row: 1, from: 3, to: 4 },
      { row: 1, from: 7, to: 7 },
      { row: 2, from: 5, to: 5 },
    ]);
  });
  it("draws a single plant as a line one spacing long", () => {
    const [line] = stretchLines(rows, { row: 1, from: 5, to: 5 }, 0.8);
    expect(line && distanceM(line[0]!, line[line.length - 1]!)).toBeCloseTo(0.8, 4);
  });
  it("stops at the row's ends", () => {
    const [line] = stretchLines(rows, { row: 1, from: 1, to: 11 }, null);
    expect(line?.[0]).toEqual([-80.42, 35.87]);
    expect(line?.[1]?.[0]).toBeCloseTo(-80.4199, 9);
  });
  it("draws nothing for a row that is not drawn", () => {
    expect(stretchLines(rows, { row: 9, from: 1, to: 2 }, null)).toEqual([]);
  });
});
