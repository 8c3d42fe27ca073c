import { describe, expect, it } from "vitest";
import type { Revision } from "../../../api/planting";
import { revisedRows, rowShape } from "./rowchanges";

const line = [
  [-86.5, 36.1],
  [-86.4, 36.1],
];
const revision = (more: Partial<Revision>): Revision => ({ kept: 0, moved: [], added: [], gone: [], conflicts: [], rows: [], dropped: [], ...more });
const row = (number: number, base: number | null, more: object = {}) => ({
  type: "Feature" as const,
  id: `r${number}`,
  geometry: { type: "LineString" as const, coordinates: line },
  properties: { block: "b", number, plants: 9, trellis: "T", ...more },
  base,
});

describe("a revision stored", () => {
  it("replaces what it was worked out from, makes what is new and closes what has no ground", () => {
    const got = revisedRows(revision({ rows: [row(1, 3), row(9, null)], dropped: [{ id: "r4", base: 2, row: 4 }] }), "");
    expect(got.map((c) => [c.op, c.id, c.base])).toEqual([
      ["put", "r1", 3],
      ["put", "r9", null],
      ["delete", "r4", 2],
    ]);
    expect(got[0]?.record?.properties).toEqual({ block: "b", number: 1, plants: 9, trellis: "T" });
    expect(got[0]?.record).not.toHaveProperty("base");
  });
  it("says why a place named by records goes, once for each plant", () => {
    const conflict = (plant: number, id: string) => ({ row: 1, plant, kind: "finds", id, text: "" });
    const got = revisedRows(revision({ rows: [row(1, 3, { gone: [{ plant: 2, why: "road" }] })], conflicts: [conflict(8, "f1"), conflict(8, "f2"), conflict(2, "f3")] }), "new ditch");
    expect(got[0]?.record?.properties).toMatchObject({
      gone: [
        { plant: 2, why: "road" },
        { plant: 8, why: "new ditch" },
      ],
    });
  });
  it("gives the reason with rows that go whole", () => {
    expect(revisedRows(revision({ dropped: [{ id: "r4", base: 2, row: 4 }] }), "new ditch")[0]).toMatchObject({ op: "delete", why: "new ditch" });
  });
});

it("a row cut by a hole is several lines", () => {
  expect(rowShape([line]).type).toBe("LineString");
  expect(rowShape([line, line]).type).toBe("MultiLineString");
});
