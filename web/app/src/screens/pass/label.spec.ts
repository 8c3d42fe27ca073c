import { describe, expect, it } from "vitest";
import { buildLabel, emptyValues, labelLists, readLabel } from "./label";

const label = {
  name: "Demo Duo 38WG",
  ingredients: [{ name: "boscalid", amount: "25 %", code: { frac: "7" } }],
  rates: [{ value: 18.5, most: 23, unit: "oz_wt", per: "acre", crop: "caneberries", patterns: ["band", "spot"] }],
  caps: [{ what: "uses", value: 4, per: "year" }],
  setbacks: [{ from: "water", distance_m: 15.24, side: "downwind", half_angle_deg: 60 }],
  restricted: true,
  of_its_own: { kept: [1, 2] },
};

describe("a label in the form", () => {
  it("comes back as it was, what the form does not know among it", () => {
    const built = buildLabel(readLabel(label, true), label);
    expect(built.faults).toEqual([]);
    expect(built.properties).toEqual({ ...label, ingredients: [{ ...label.ingredients[0], content: { value: 25, unit: "percent" } }] });
  });

  it("keeps what the form does not know with its own entry when another is taken out", () => {
    const two = { ...label, caps: [{ what: "uses", value: 4, per: "year", x: "first" }, { what: "uses", value: 2, per: "season", x: "second" }] };
    const form = readLabel(two, true);
    const built = buildLabel({ ...form, many: { ...form.many, caps: form.many["caps"]!.slice(1) } }, two);
    expect(built.properties["caps"]).toEqual([two.caps[1]]);
  });

  it("shows 15.24 m as 50 ft and stores metres", () => {
    const form = readLabel(label, true);
    expect(form.many["setbacks"]?.[0]?.["distance_m"]).toEqual({ text: "50", unit: "ft" });
    const metric = readLabel(label, false).many["setbacks"]?.[0]?.["distance_m"];
    expect(metric).toEqual({ text: "15.24", unit: "m" });
  });

  it("names what is no number at the server's path, and a missing name", () => {
    const list = labelLists.find((l) => l.path === "caps")!;
    const built = buildLabel({ one: { name: " ", phi_days: "three" }, many: { caps: [{ ...emptyValues(list.fields, true), value: "x" }] } }, {});
    expect(built.faults.map((f) => f.field)).toEqual(["name", "phi_days", "caps[0].value"]);
  });

  it("leaves out what was emptied", () => {
    const form = readLabel(label, true);
    const built = buildLabel({ one: { ...form.one, restricted: false }, many: { ...form.many, caps: [] } }, label);
    expect("restricted" in built.properties).toBe(false);
    expect(built.properties["caps"]).toEqual([]);
  });
});
