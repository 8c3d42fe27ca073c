import { describe, expect, it } from "vitest";
import { listed } from "./evidence";

const group = { number: 0, finds: [{ row: 4, plant: 35 }, { row: 4, plant: 38 }], core: 1, evidence: "" };

describe("the list as a table", () => {
  it("stands in walking order and names group and reason", () => {
    const got = listed(
      { confirmed: [{ row: 4, plant: 38 }, { row: 2, plant: 9 }], between: [{ row: 4, plant: 36 }], margin: [], inspect: [{ row: 4, plant: 5 }] },
      [group],
    );
    expect(got).toEqual([
      { row: 2, plant: 9, reason: "confirmed", group: null },
      { row: 4, plant: 5, reason: "inspect", group: null },
      { row: 4, plant: 36, reason: "between", group: null },
      { row: 4, plant: 38, reason: "confirmed", group: 0 },
    ]);
  });
});
