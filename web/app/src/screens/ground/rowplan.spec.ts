import { describe, expect, it } from "vitest";
import type { LayoutAnswer } from "../../api/client";
import type { Stored } from "../../model/kinds";
import { rowChanges } from "./rowplan";

const line = [[-86.5, 36.1], [-86.4, 36.1]];
const plan: LayoutAnswer = {
  rows: 2,
  row_length_m: 30,
  plants: 21,
  planted_m2: 90,
  outline_m2: 100,
  each: [
    { number: 1, length_m: 10, plants: 11, parts: [line] },
    { number: 2, length_m: 20, plants: 10, parts: [line, line] },
  ],
};
const row = (id: string, number: number, revision: number, more: object = {}): Stored<"rows"> => ({
  kind: "rows",
  id,
  feature: { type: "Feature", id, geometry: { type: "LineString", coordinates: line }, properties: { block: "b", number, ...more } },
  revision,
  etag: null,
  extra: {},
});

describe("rows of a layout", () => {
  it("are made where none are on record, cut rows as several lines", () => {
    let n = 0;
    const got = rowChanges(plan, "b", [], () => `new-${++n}`);
    expect(got.map((c) => [c.op, c.id, c.base, c.record?.geometry?.type, c.record?.properties])).toEqual([
      ["put", "new-1", null, "LineString", { block: "b", number: 1, plants: 11, missing: [] }],
      ["put", "new-2", null, "MultiLineString", { block: "b", number: 2, plants: 10, missing: [] }],
    ]);
  });
  it("keep the record, unknown properties and missing plants of their number, and close those beyond", () => {
    const got = rowChanges(plan, "b", [row("x", 1, 3, { missing: [4, 12], trellis: "T" }), row("y", 9, 2)], () => "new");
    expect(got.map((c) => [c.op, c.id, c.base])).toEqual([
      ["put", "x", 3],
      ["put", "new", null],
      ["delete", "y", 2],
    ]);
    expect(got[0]?.record?.properties).toEqual({ block: "b", number: 1, plants: 11, missing: [4], trellis: "T" });
  });
});
