import { describe, expect, it } from "vitest";
import type { Stored } from "../model/kinds";
import { plantPlace } from "./rowplace";
import { drawnRows } from "./rows";

// 0.0001 degrees of longitude at 35.87 degrees north are 9.03 m: 9.03 / 0.9 is
// 10.03, so 11 plants.
const line = [
  [-80.42, 35.87],
  [-80.4199, 35.87],
];
const stored = (number: number, geometry: Stored<"rows">["feature"]["geometry"], more: object = {}): Stored<"rows"> => ({
  kind: "rows",
  id: `r${number}`,
  revision: 1,
  etag: null,
  extra: {},
  feature: { type: "Feature", id: `r${number}`, geometry, properties: { block: "b", number, ...more } },
});

describe("rows of a block", () => {
  it("take the record's count of plants", () => {
    const got = drawnRows([stored(1, { type: "LineString", coordinates: line }, { plants: 7 })], "b", 0.9);
    expect(got).toMatchObject([{ number: 1, plants: 7, firstPlant: 1 }]);
  });
  it("number on over parts", () => {
    const got = drawnRows([stored(2, { type: "MultiLineString", coordinates: [line, line] }, { plants: 22 })], "b", 0.9);
    expect(got).toMatchObject([
      { number: 2, plants: 11, firstPlant: 1 },
      { number: 2, plants: 11, firstPlant: 12 },
    ]);
  });
  it("take the places the record names, wherever their numbers stand", () => {
    const places = [
      { from: 1, plants: 5, part: 1, at_m: 2, spacing_m: 0.9 },
      { from: 6, plants: 2, at_m: 0.2, spacing_m: 0.9 },
    ];
    const got = drawnRows([stored(3, { type: "LineString", coordinates: line }, { plants: 7, places })], "b", 0.5);
    expect(got).toMatchObject([
      { number: 3, plants: 5, firstPlant: 1, startM: 2, stepM: 0.9 },
      { number: 3, plants: 2, firstPlant: 6, startM: 0.2, stepM: 0.9 },
    ]);
    // 9.03 m are 0.0001 degrees here: plant 2 stands 2.9 m from the start.
    expect(plantPlace(got, 3, 2, 0.5)![0]).toBeCloseTo(-80.42 + (2.9 / 9.03) * 0.0001, 7);
    expect(plantPlace(got, 3, 7, 0.5)![0]).toBeCloseTo(-80.42 + (1.1 / 9.03) * 0.0001, 7);
  });
  it("leave out places that were given up, and the others where they stand", () => {
    const got = drawnRows([stored(1, { type: "LineString", coordinates: line }, { plants: 10, gone: [{ plant: 4, why: "road" }] })], "b", 0.9);
    expect(got.map((r) => [r.firstPlant, r.plants])).toEqual([
      [1, 3],
      [5, 6],
    ]);
    expect(plantPlace(got, 1, 4, 0.9)).toBeNull();
    expect(plantPlace(got, 1, 5, 0.9)![0]).toBeCloseTo(-80.42 + (3.6 / 9.03) * 0.0001, 7);
  });
  it("come in order and from this block only", () => {
    const other = stored(3, { type: "LineString", coordinates: line }, { block: "c", plants: 3 });
    const got = drawnRows(
      [stored(5, { type: "LineString", coordinates: line }, { plants: 2 }), stored(4, { type: "LineString", coordinates: line }, { plants: 2 }), other],
      "b",
      null,
    );
    expect(got.map((r) => r.number)).toEqual([4, 5]);
  });
  it("are none without a block", () => {
    expect(drawnRows([stored(1, { type: "LineString", coordinates: line }, { plants: 7 })], undefined, 0.9)).toEqual([]);
  });
});
