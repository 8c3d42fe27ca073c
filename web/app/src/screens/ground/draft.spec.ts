import { describe, expect, it } from "vitest";
import type { BlockProperties, Stored } from "../../model/kinds";
import { emptyForm, formOf, propertiesOf, startFrom, unreadable } from "./draft";

const before = { name: "North", row_spacing_m: 3.05, soil: "silt loam" } as BlockProperties;
const stored = (id: string, properties: BlockProperties): Stored<"blocks"> => ({
  kind: "blocks",
  id,
  feature: { type: "Feature", id, geometry: { type: "Polygon", coordinates: [] }, properties },
  revision: 1,
  etag: null,
  extra: {},
});

describe("a block's form", () => {
  it("keeps properties it does not know and drops emptied ones", () => {
    const form = { ...formOf(before), row_spacing_m: undefined, cultivar: "  Ouachita " };
    expect(propertiesOf(form, before)).toEqual({ name: "North", cultivar: "Ouachita", soil: "silt loam" });
  });
  it("keeps a bearing of 0, which is north and not nothing", () => {
    expect(propertiesOf({ ...emptyForm, name: "N", row_bearing_deg: 0 }, undefined)).toEqual({ name: "N", row_bearing_deg: 0 });
  });
  it("names what cannot be read", () => {
    expect(unreadable({ ...emptyForm, row_spacing_m: Number.NaN })).toEqual(["row_spacing_m"]);
  });
  it("starts from the newest block's planting, not from its name", () => {
    const got = startFrom([stored("b", { name: "New", plant_spacing_m: 0.91 }), stored("a", { name: "Old", plant_spacing_m: 1.2 })]);
    expect(got).toEqual({ ...emptyForm, plant_spacing_m: 0.91 });
  });
});
