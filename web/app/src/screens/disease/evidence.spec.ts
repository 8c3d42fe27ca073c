import { describe, expect, it } from "vitest";
import { type Window, evidence, listed, windowOf } from "./evidence";

const window = (over: Partial<Window>): Window => ({
  centre: { row: 4, plant: 40 },
  shape: 2,
  semiminor_m: 3,
  plants: 37,
  infected: 15,
  llr: 21,
  relative_risk: 20,
  p: 0.001,
  members: [],
  ...over,
});
const group = { number: 1, finds: [{ row: 4, plant: 35 }, { row: 4, plant: 38 }], core: 1, hull: null };

describe("the window beside a group", () => {
  it("is the strongest that shares a plant", () => {
    const near = window({ llr: 9, members: [{ row: 4, plant: 35 }] });
    const strong = window({ llr: 12, members: [{ row: 4, plant: 38 }] });
    const elsewhere = window({ llr: 30, members: [{ row: 9, plant: 1 }] });
    expect(windowOf(group, [near, elsewhere, strong])).toBe(strong);
  });
  it("is none when none touches the group", () => {
    expect(windowOf(group, [window({})])).toBeNull();
  });
});

describe("the evidence line", () => {
  // Figures of the row map in research note section 4: 33 of 924 inspected.
  it("sets inside against outside", () => {
    const scan = [window({ members: [{ row: 4, plant: 35 }] })];
    expect(evidence(group, { inspected: 924, infected: 33, scan })).toEqual({
      inside: { infected: 15, plants: 37 },
      outside: { infected: 18, plants: 887 },
      p: 0.001,
    });
  });
  it("is absent without a scan", () => {
    expect(evidence(group, { inspected: 0, infected: 2, scan: [] })).toBeNull();
  });
});

describe("the list as a table", () => {
  it("stands in walking order and names group and reason", () => {
    const got = listed(
      { confirmed: [{ row: 4, plant: 38 }, { row: 2, plant: 9 }], between: [{ row: 4, plant: 36 }], margin: [], inspect: [] },
      [group],
    );
    expect(got).toEqual([
      { row: 2, plant: 9, reason: "confirmed", group: null },
      { row: 4, plant: 36, reason: "between", group: null },
      { row: 4, plant: 38, reason: "confirmed", group: 1 },
    ]);
  });
});
