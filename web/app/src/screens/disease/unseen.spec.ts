import { describe, expect, it } from "vitest";
import type { DrawnRow } from "../../rowmap/rowplace";
import { unseen } from "./unseen";

const row = (number: number): DrawnRow => ({ number, plants: 10, firstPlant: 1, missing: [], line: [[0, 0], [0, 1]] });
const rows = [row(1), row(2)];

describe("what nobody looked at", () => {
  it.each([
    { name: "is everything without a visit", visits: [], want: [{ row: 1, from: 1, to: 10 }, { row: 2, from: 1, to: 10 }] },
    { name: "is nothing after a whole block", visits: [[{ rows: "all" as const }]], want: [] },
    { name: "leaves out whole rows", visits: [[{ row: 1 }]], want: [{ row: 2, from: 1, to: 10 }] },
    {
      name: "is what two visits leave between them",
      visits: [[{ row: 1, from: 1, to: 3 }, { row: 2 }], [{ row: 1, from: 7, to: 8 }]],
      want: [{ row: 1, from: 4, to: 6 }, { row: 1, from: 9, to: 10 }],
    },
    { name: "does not go below the row's end", visits: [[{ row: 1, from: 5, to: 40 }, { row: 2 }]], want: [{ row: 1, from: 1, to: 4 }] },
  ])("$name", ({ visits, want }) => {
    expect(unseen(rows, visits)).toEqual(want);
  });
});
