import { describe, expect, it } from "vitest";
import type { Stored } from "../../model/kinds";
import { applied, type ApplyForm } from "./apply";

const pass = {
  kind: "passes",
  id: "i",
  revision: 1,
  etag: null,
  extra: {},
  feature: {
    type: "Feature",
    id: "i",
    geometry: null,
    properties: {
      state: "draft",
      areas: { treated_m2: 27000 },
      totals: [{ product: "x", amount: { value: 80.1, unit: "fl_oz" }, exact_si: { value: 2.37, unit: "L" } }],
    },
  },
} as Stored<"passes">;
const form: ApplyForm = {
  start: "2026-06-10T06:30",
  end: "2026-06-10T08:10",
  windFrom: "200",
  wind: { text: "5", unit: "mph" },
  temperature: { text: "68", unit: "F" },
  humidity: "",
  applicator: "A. Sprayer",
  certification: "",
  equipment: "",
  target: "",
  difference: "a spill at the gate",
  used: ["79"],
};
const zone = "America/New_York";

describe("an applied pass", () => {
  it("holds what was done, in SI", () => {
    const got = applied(pass, form, zone);
    expect(got.ok && got.properties).toMatchObject({
      state: "applied",
      started_at: "2026-06-10T06:30:00-04:00",
      ended_at: "2026-06-10T08:10:00-04:00",
      // 5 x 0.44704 m/s by definition of the mile; 68 F is 20 C.
      weather: { wind_from_deg: 200, wind_speed_m_s: 2.2352, temperature_c: 20 },
      people: { applicator: "A. Sprayer" },
      areas: { treated_m2: 27000 },
    });
  });
  it("puts the amount used in the total and keeps the planned one beside it", () => {
    const got = applied(pass, form, zone);
    expect(got.ok && got.properties.totals).toEqual([{ product: "x", amount: { value: 79, unit: "fl_oz" } }]);
    expect(got.ok && got.properties["planned_totals"]).toMatchObject([{ amount: { value: 80.1 } }]);
  });
  it("leaves an unchanged total as it was", () => {
    const got = applied(pass, { ...form, used: ["80.1"] }, zone);
    expect(got.ok && got.properties.totals?.[0]?.exact_si).toBeDefined();
    expect(got.ok && "planned_totals" in got.properties).toBe(false);
  });
  it.each([
    { name: "no end", change: { end: "" }, faults: { end: "needed" } },
    { name: "an end before the start", change: { end: "2026-06-10T06:00" }, faults: { end: "order" } },
    { name: "nobody", change: { applicator: " " }, faults: { applicator: "needed" } },
    { name: "wind in words", change: { wind: { text: "light", unit: "mph" as const } }, faults: { wind: "number" } },
    { name: "an amount in words", change: { used: ["some"] }, faults: { used0: "number" } },
    { name: "another amount without a reason", change: { difference: " " }, faults: { difference: "needed" } },
    { name: "a jumped hour", change: { start: "2026-03-08T02:30" }, faults: { start: "time" } },
  ])("is refused with $name", ({ change, faults }) => {
    expect(applied(pass, { ...form, ...change }, zone)).toEqual({ ok: false, faults });
  });
});
