import { describe, expect, it } from "vitest";
import { type DraftForm, build, fieldId, readRows } from "./draft";

const form: DraftForm = {
  blocks: ["b1"],
  rows: {},
  corners: "",
  pattern: "broadcast",
  band: { text: "", unit: "in" },
  sides: 2,
  setbacks: [],
  windFrom: "",
  wind: { text: "", unit: "mph" },
  lines: [{ product: "", name: "Demo Pyre 2EC", value: "6.4", unit: "fl_oz", per: "acre", of: "" }],
  carrier: { value: "40", unit: "gal", per: "acre" },
  tank: { value: "50", unit: "gal" },
  start: "",
  harvestOn: "",
  stretches: {},
  sprayer: "",
  method: "",
  droplets: "",
  rotation: "",
  height: "",
};
const zone = "America/New_York";

describe("rows as typed", () => {
  it.each([
    { text: "1-3, 7", want: [1, 2, 3, 7] },
    { text: "3 2 2", want: [2, 3] },
    { text: "0", want: null },
    { text: "4-2", want: null },
    { text: "all", want: null },
    { text: "1-99999", want: null },
  ])("$text", ({ text, want }) => {
    expect(readRows(text)).toEqual(want);
  });
});

describe("the wire form", () => {
  it("is the contract's", () => {
    expect(build(form, zone)).toEqual({
      ok: true,
      body: {
        blocks: ["b1"],
        pattern: "broadcast",
        setbacks: [],
        products: [{ product: { name: "Demo Pyre 2EC" }, rate: { value: 6.4, unit: "fl_oz", per: "acre" } }],
        carrier: { value: 40, unit: "gal", per: "acre" },
        tank: { value: 50, unit: "gal" },
      },
    });
  });
  it("turns lengths into metres exactly", () => {
    const got = build(
      {
        ...form,
        pattern: "band",
        band: { text: "36", unit: "in" },
        sides: 1,
        windFrom: "180",
        setbacks: [{ from: "water", distance: { text: "25", unit: "ft" }, side: "downwind", toEdge: "", bank: { text: "", unit: "ft" }, strip: false, halfAngle: "" }],
      },
      zone,
    );
    expect(got).toMatchObject({
      ok: true,
      body: {
        band_width_m: 0.9144,
        sides: 1,
        wind_from_deg: 180,
        setbacks: [{ from: "water", distance_m: 7.62, side: "downwind" }],
      },
    });
  });
  it("carries chosen rows, the record's product and the start in the farm's zone", () => {
    const got = build(
      { ...form, rows: { b1: "2-3" }, lines: [{ ...form.lines[0]!, product: "p1" }], start: "2026-06-10T06:30", harvestOn: "2026-06-20" },
      zone,
    );
    expect(got).toMatchObject({
      ok: true,
      body: { rows: { b1: [2, 3] }, start: "2026-06-10T06:30:00-04:00", harvest_on: "2026-06-20", products: [{ product: "p1" }] },
    });
  });
  it.each([
    { name: "no block", change: { blocks: [] }, field: "blocks", key: "choose-block" },
    { name: "no unit", change: { lines: [{ ...form.lines[0]!, unit: "" }] }, field: "products[0].rate.unit", key: "unit" },
    { name: "no rate", change: { lines: [{ ...form.lines[0]!, value: "" }] }, field: "products[0].rate.value", key: "number" },
    { name: "a negative rate", change: { lines: [{ ...form.lines[0]!, value: "-2" }] }, field: "products[0].rate.value", key: "positive" },
    { name: "no name", change: { lines: [{ ...form.lines[0]!, name: " " }] }, field: "products[0].product", key: "name" },
    { name: "no product at all", change: { lines: [] }, field: "products", key: "product" },
    { name: "rows in words", change: { rows: { b1: "north end" } }, field: "rows.b1", key: "rows" },
    { name: "a band without width", change: { pattern: "band" }, field: "band_width_m", key: "number" },
    { name: "downwind without wind", change: { setbacks: [{ from: "water", distance: { text: "25", unit: "ft" }, side: "downwind", toEdge: "", bank: { text: "", unit: "ft" }, strip: false, halfAngle: "" }] }, field: "wind_from_deg", key: "bearing" },
    { name: "an hour that is jumped over", change: { start: "2026-03-08T02:30" }, field: "start", key: "time" },
  ] as const)("names the field for $name", ({ change, field, key }) => {
    expect(build({ ...form, ...(change as Partial<DraftForm>) }, zone)).toEqual({ ok: false, faults: [{ field, key }] });
  });
});

describe("drawn ground", () => {
  it("is the ground of a spot job, blocks or none", () => {
    const got = build({ ...form, blocks: [], pattern: "spot", corners: "-81.5 41.9\n-81.4 41.9\n-81.4 42" }, zone);
    expect(got).toMatchObject({ ok: true, body: { pattern: "spot", area: { type: "Polygon" } } });
  });
  it("is asked for when it is missing", () => {
    expect(build({ ...form, pattern: "spot", corners: "" }, zone)).toEqual({ ok: false, faults: [{ field: "area", key: "area" }] });
  });
});

describe("wind speed", () => {
  // 1 mile = 1609.344 m (1959 agreement): 8 mph is 3.57632 m/s.
  it("travels in metres a second", () => {
    expect(build({ ...form, wind: { text: "8", unit: "mph" } }, zone)).toMatchObject({ ok: true, body: { wind_speed_m_s: 3.57632 } });
  });
});

describe("rotation", () => {
  it("travels when it was chosen, else the server takes the stricter", () => {
    expect(build({ ...form, rotation: "usual" }, zone)).toMatchObject({ ok: true, body: { rotation: "usual" } });
    const unsaid = build(form, zone);
    expect(unsaid.ok && "rotation" in unsaid.body).toBe(false);
  });
});

describe("field ids", () => {
  it.each([
    { path: "products[0].rate.unit", want: "pass-products-0-rate-unit" },
    { path: "blocks", want: "pass-blocks" },
    { path: "setbacks[1]", want: "pass-setbacks-1" },
  ])("$path", ({ path, want }) => {
    expect(fieldId(path)).toBe(want);
  });
});
