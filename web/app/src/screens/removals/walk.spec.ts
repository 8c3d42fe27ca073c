import { describe, expect, it } from "vitest";
import { today, walk } from "./walk";

describe("walk", () => {
  it("goes up one row and down the next that has any", () => {
    const list = [
      { row: 3, plant: 1 },
      { row: 3, plant: 9 },
      { row: 5, plant: 2 },
      { row: 5, plant: 4 },
      { row: 8, plant: 7 },
    ];
    expect(walk(list).map((r) => [r.row, r.plants.map((p) => p.plant)])).toEqual([
      [3, [1, 9]],
      [5, [4, 2]],
      [8, [7]],
    ]);
    expect(walk([])).toEqual([]);
  });
});

describe("today", () => {
  it("is the farm's day, not the phone's", () => {
    expect(today("America/New_York", new Date("2026-04-21T02:00:00Z"))).toBe("2026-04-20");
    expect(today("Australia/Sydney", new Date("2026-04-21T20:00:00Z"))).toBe("2026-04-22");
  });
});
