import { describe, expect, it } from "vitest";
import type { Stored } from "../../model/kinds";
import { daysOf, type Happened, upTo } from "./days";

const stored = <K extends "finds" | "visits" | "removals">(properties: object) => ({ id: "x", revision: 1, feature: { properties } }) as unknown as Stored<K>;

const happened: Happened = {
  finds: [stored({ found_at: "2026-05-05T21:30:00-04:00" }), stored({ found_at: "2026-04-07T09:00:00-04:00" }), stored({})],
  visits: [stored({ started_at: "2026-04-07T08:00:00-04:00" })],
  removals: [stored({ done_on: "2026-04-12" }), stored({ done_on: "2026-05-05" }), stored({})],
};

describe("the days of a block", () => {
  it("come once each, earliest first, and end in their own zone", () => {
    expect(daysOf(happened)).toEqual([
      { day: "2026-04-07", end: "2026-04-07T23:59:59-04:00" },
      { day: "2026-04-12", end: "2026-04-12T23:59:59Z" },
      { day: "2026-05-05", end: "2026-05-05T23:59:59-04:00" },
    ]);
  });
  it.each([
    [undefined, [3, 1, 3]],
    ["2026-04-07", [1, 1, 0]],
    ["2026-04-20", [1, 1, 1]],
    ["2026-05-05", [2, 1, 2]],
  ])("up to %s", (day, counts) => {
    const got = upTo(happened, day);
    expect([got.finds.length, got.visits.length, got.removals.length]).toEqual(counts);
  });
});
