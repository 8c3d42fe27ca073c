import { describe, expect, it } from "vitest";
import { ask, defaults } from "./settings";

describe("the stated defaults", () => {
  it.each([
    { name: "three plants along, a little over one row across", block: { row_spacing_m: 3, plant_spacing_m: 1 }, unit: "m" as const, along: "3", across: "3.2" },
    { name: "never under 2.5 m along", block: { row_spacing_m: 2.74, plant_spacing_m: 0.61 }, unit: "m" as const, along: "2.5", across: "2.9" },
    { name: "in feet, rounded up", block: { row_spacing_m: 3.048, plant_spacing_m: 0.9144 }, unit: "ft" as const, along: "9", across: "10.5" },
  ])("$name", ({ block, unit, along, across }) => {
    const got = defaults(block, unit);
    expect([got.along.text, got.across.text]).toEqual([along, across]);
  });
});

describe("the question", () => {
  const form = defaults({ row_spacing_m: 3, plant_spacing_m: 1 }, "m");
  it("has the contract's names", () => {
    expect(ask(form, "b")).toEqual({
      ok: true,
      body: {
        block: "b",
        causes: ["orange-rust"],
        states: ["confirmed"],
        along_m: 3,
        across_m: 3.2,
        min_finds: 3,
        gap_plants: 3,
        margin_plants: 0,
        inspect_rows: 1,
        smooth: true,
        scan: { shapes: [1, 2, 4], cap: 0.25, min_cases: 3, replicates: 999, seed: 1 },
      },
    });
  });
  it("carries an earlier moment and the adviser's own limit", () => {
    expect(ask({ ...form, sectionLimit: "12.5" }, "b", "2026-05-05T23:59:59-04:00")).toMatchObject({ ok: true, body: { section_limit: 0.125, as_of: "2026-05-05T23:59:59-04:00" } });
  });
  it.each([
    { name: "no cause", change: { causes: [] }, faults: { causes: "none" } },
    { name: "a reach of nothing", change: { along: { text: "0", unit: "m" as const } }, faults: { along_m: "number" } },
    { name: "half a find", change: { minFinds: "2.5" }, faults: { min_finds: "number" } },
    { name: "a limit of everything", change: { sectionLimit: "100" }, faults: { section_limit: "share" } },
    { name: "a negative margin", change: { margin: "-1" }, faults: { margin_plants: "whole" } },
  ])("names the field for $name", ({ change, faults }) => {
    expect(ask({ ...form, ...change }, "b")).toEqual({ ok: false, faults });
  });
});
