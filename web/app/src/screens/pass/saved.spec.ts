import { describe, expect, it } from "vitest";
import type { Stored } from "../../model/kinds";
import type { Worked } from "./answer";
import { passFeature, passMoment, saved, workedOf } from "./saved";

const worked: Worked = {
  areas: { outline_m2: 30000, treated_m2: 27000, withheld_m2: 3000 },
  treated: { type: "Polygon", coordinates: [[[0, 0], [1, 0], [1, 1], [0, 0]]] },
  withheld: { type: "Polygon", coordinates: [[[0, 0], [1, 0], [0, 1], [0, 0]]] },
  row_length_m: 100,
  plants: undefined,
  distances: null,
  totals: [{ product: "x", amount: { value: 80.06, unit: "fl_oz" } }],
  carrier: { value: 266.8, unit: "gal" },
  tanks: null,
  checks: [],
};
const asked = { blocks: ["b"], pattern: "broadcast", setbacks: [], products: [], start: "2026-06-10T06:30:00-04:00", wind_from_deg: 180 };
const feature = passFeature({ id: "i", asked, worked, at: "2026-06-09T12:00:00Z", stopReason: "" });
const stored = { kind: "passes", id: "i", feature, revision: 1, etag: null, extra: {} } as Stored<"passes">;

describe("a draft as a record", () => {
  it("keeps the question and freezes the answer", () => {
    expect(feature.geometry).toEqual(worked.treated);
    expect(feature.properties).toMatchObject({ state: "draft", blocks: ["b"], areas: worked.areas, totals: worked.totals, worked_at: "2026-06-09T12:00:00Z" });
  });
  it("does not pass planned wind off as measured", () => {
    expect(feature.properties["weather"]).toBeUndefined();
    expect(feature.properties["planned_weather"]).toEqual({ wind_from_deg: 180 });
  });
  it("says nothing that was not said", () => {
    expect("tank" in feature.properties || "stop_reason" in feature.properties).toBe(false);
  });
  it("gives back the answer it froze", () => {
    const back = workedOf(stored);
    expect([back.areas, back.totals, back.carrier, back.withheld]).toEqual([worked.areas, worked.totals, worked.carrier, worked.withheld]);
  });
});

describe("the day of a pass", () => {
  it.each([
    { name: "when it was done", p: { started_at: "a", start: "b", worked_at: "c" }, want: "a" },
    { name: "else when it is planned", p: { start: "b", worked_at: "c" }, want: "b" },
    { name: "else when it was worked out", p: { worked_at: "c" }, want: "c" },
    { name: "else nothing", p: {}, want: "" },
  ])("is $name", ({ p, want }) => {
    expect(passMoment({ state: "draft", ...p })).toBe(want);
  });
  it("reads the record", () => {
    expect(passMoment(saved(stored))).toBe("2026-06-10T06:30:00-04:00");
  });
});
