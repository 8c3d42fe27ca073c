import { describe, expect, it } from "vitest";
import { listed } from "./evidence";

const group = { number: 0, finds: [{ row: 4, plant: 35 }, { row: 4, plant: 38 }], core: 1, evidence: "", chance: "", window: null };

describe("the list as a table", () => {
  it("stands in walking order, names group and reason, and tells finds from their neighbours", () => {
    const got = listed(
      {
        confirmed: [{ row: 4, plant: 38 }, { row: 2, plant: 9 }],
        between: [{ row: 4, plant: 36 }],
        margin: [],
        inspect: [{ row: 4, plant: 5 }, { row: 4, plant: 35 }, { row: 9, plant: 1 }],
      },
      [group],
      [{ row: 9, plant: 1 }],
    );
    expect(got).toEqual([
      { row: 2, plant: 9, reason: "confirmed", group: null, find: true },
      { row: 4, plant: 5, reason: "inspect", group: null, find: false },
      { row: 4, plant: 35, reason: "inspect", group: 0, find: true },
      { row: 4, plant: 36, reason: "between", group: null, find: false },
      { row: 4, plant: 38, reason: "confirmed", group: 0, find: true },
      { row: 9, plant: 1, reason: "inspect", group: null, find: true },
    ]);
  });
});
