import { describe, expect, it } from "vitest";
import type { Polygon } from "../../../geo/position";
import type { BlockProperties } from "../../../model/kinds";
import { typedNumber } from "../../../units/typed";
import { askOf, bearingOf, blockAfter, cornerOf, lackOf, longestSide, type PlantingForm, readList, startOf, wayOf } from "./spec";

// Near 36 degrees north a degree of latitude is 110,957 m, one of longitude
// 90,164 m (WGS 84).
const at = (east: number, north: number) => [-86.5 + east / 90_164, 36 + north / 110_957];
const outline: Polygon = { type: "Polygon", coordinates: [[at(0, 0), at(100, 0), at(100, 60), at(0, 60), at(0, 0)]] };
const block: BlockProperties = { name: "Field", row_spacing_m: 3, plant_spacing_m: 1 };
const form = (change: Partial<PlantingForm> = {}): PlantingForm => ({ ...startOf(block, {}), ...change });
const line = (...places: readonly (readonly [number, number])[]) => ({ type: "LineString" as const, coordinates: places.map(([e, n]) => at(e, n)) });

describe("the way rows run", () => {
  it.each([
    { to: [0, 50], want: 0 },
    { to: [50, 0], want: 90 },
    { to: [-50, -50], want: 225 },
    { to: [-0.0001, 50], want: 0 },
  ] as const)("towards $to is $want degrees", ({ to, want }) => expect(bearingOf(at(0, 0), at(to[0], to[1]))).toBeCloseTo(want, 1));
  it("is the longest side's, one way of the two", () => expect(longestSide(outline)).toBeCloseTo(90, 1));
  it("is the drawn line's first to last place", () => expect(wayOf(form({ way: "line", line: line([0, 0], [9, 3], [0, 40]) }), outline)).toBeCloseTo(0, 1));
  it("is not said beside a guide", () => {
    const asked = askOf(form({ way: "guide", guide: line([0, 0], [50, 10], [100, 0]), bearing_deg: 12 }), "b", outline);
    expect(asked).not.toHaveProperty("bearing_deg");
    expect(asked?.guide?.coordinates).toHaveLength(3);
  });
});

describe("what is lacking", () => {
  it.each([
    { change: {}, want: null },
    { change: { row_spacing_m: undefined }, want: "spacings" },
    { change: { headland_m: Number.NaN }, want: "numbers" },
    { change: { way: "line" }, want: "line" },
    { change: { way: "guide" }, want: "guide" },
    { change: { alley_every: 4 }, want: "alley" },
    { change: { alley_every: 4, alley_m: 2 }, want: null },
    // A bearing that is not asked for may be anything.
    { change: { way: "longest-side", bearing_deg: Number.NaN }, want: null },
  ] as const)("$change: $want", ({ change, want }) => expect(lackOf(form(change))).toBe(want));
});

describe("what is asked", () => {
  it("holds what is typed and nothing that is empty", () => {
    expect(askOf(form({ way: "typed", bearing_deg: 12.5, headland_m: 6, spare_percent: 0, skip: [3], first_row_side: "right" }), "b", outline)).toEqual({
      block: "b",
      row_spacing_m: 3,
      plant_spacing_m: 1,
      bearing_deg: 12.5,
      headland_m: 6,
      spare_percent: 0,
      skip: [3],
      first_row_side: "right",
    });
  });
  it("starts from what the block says over what was last tried", () => {
    const got = startOf({ ...block, row_bearing_deg: 30 }, { way: "longest-side", headland_m: 8, row_spacing_m: 9 });
    expect(got).toMatchObject({ row_spacing_m: 3, bearing_deg: 30, way: "longest-side", headland_m: 8 });
    expect(startOf({ ...block, row_bearing_deg: 30 }, {}).way).toBe("typed");
  });
  it("goes into the block, unknown properties kept", () => {
    const before = { ...block, trellis: "T" } as BlockProperties;
    expect(blockAfter(before, form({ way: "typed", bearing_deg: 20, row_spacing_m: 2.4, first_plant_end: "end" }), outline)).toEqual({
      ...before,
      row_spacing_m: 2.4,
      row_bearing_deg: 20,
      first_plant_end: "end",
    });
  });
});

describe("the tapped corner", () => {
  const parts = outline.coordinates;
  it.each([
    { tap: [2, 1], bearing: 90, want: ["right", "start"] },
    { tap: [2, 58], bearing: 90, want: ["left", "start"] },
    { tap: [98, 58], bearing: 90, want: ["left", "end"] },
    { tap: [98, 1], bearing: 90, want: ["right", "end"] },
    { tap: [2, 1], bearing: 0, want: ["left", "start"] },
    { tap: [98, 58], bearing: 0, want: ["right", "end"] },
  ] as const)("$tap with rows towards $bearing is $want", ({ tap, bearing, want }) => {
    const got = cornerOf(at(tap[0], tap[1]), parts, bearing);
    expect([got.first_row_side, got.first_plant_end]).toEqual([...want]);
  });
});

describe("a list of figures", () => {
  it.each([
    { text: "2.4, 3 3,6", want: [2.4, 3, 3.6] },
    { text: "0 45 90 45", want: [0, 45, 90] },
    { text: "", want: [] },
    { text: "8 ten", want: null },
    { text: "2.4,3.0", want: null },
  ])("“$text”", ({ text, want }) => expect(readList(text, typedNumber)).toEqual(want));
});
