import { beforeEach, describe, expect, it } from "vitest";
import { language } from "../i18n";
import { area, areaChange, bearing, clearance, length, litresPerGallon, patch, squareMetresPerAcre, volume, weight } from "./index";

beforeEach(() => language.set("en"));

describe("the constants", () => {
  it("are the exact ones (NIST Handbook 44, appendix C)", () => {
    expect(squareMetresPerAcre).toBeCloseTo(4046.8564224, 9);
    expect(litresPerGallon).toBeCloseTo(3.785411784, 12);
  });
});

describe("area", () => {
  it.each([
    { m2: 4046.8564224, system: "us", want: "1.00 ac" },
    { m2: 4046.8564224 / 2, system: "us", want: "0.500 ac" },
    { m2: 40468.564224, system: "us", want: "10.00 ac" },
    { m2: 12345, system: "metric", want: "1.23 ha" },
    { m2: 1234, system: "metric", want: "0.123 ha" },
    { m2: 0, system: "us", want: "0.000 ac" },
  ] as const)("$m2 m2 is $want", ({ m2, system, want }) => {
    expect(area(m2, system)).toBe(want);
  });
});

describe("lengths", () => {
  it("are whole feet", () => expect(length(30.48, "us")).toBe("100 ft"));
  it.each([
    { m: 30.48, want: "100 ft" },
    { m: 30.47, want: "99 ft" },
    { m: 30.7, want: "100 ft" },
    { m: 0.2, want: "0 ft" },
  ])("clearances of $m m are cut to $want", ({ m, want }) => {
    expect(clearance(m, "us")).toBe(want);
  });
  it("clearances in metres are cut too", () => expect(clearance(15.29, "metric")).toBe("15.2 m"));
});

describe("amounts", () => {
  it.each([
    { litres: 3.785411784, want: "1.0 gal" },
    { litres: 3.785411784 / 128, want: "1.0 fl oz" },
  ])("$litres L", ({ litres, want }) => {
    expect(volume(litres, "us")).toBe(want);
  });
  it("names the ounce of weight", () => expect(weight(0.45359237 / 2, "us")).toBe("8.0 oz (weight)"));
  it("turns bearings into 0 to 360", () => expect(bearing(-12.5)).toBe("347.5°"));
});

describe("small pieces of ground", () => {
  it.each([
    { m2: 0.5, us: "5.4 ft²", metric: "0.5 m²" },
    { m2: 92.903_04, us: "1,000 ft²", metric: "93 m²" },
    { m2: 468.45, us: "0.116 ac", metric: "0.047 ha" },
  ])("$m2 m2", ({ m2, us, metric }) => expect([patch(m2, "us"), patch(m2, "metric")]).toEqual([us, metric]));
  it("added and lost carry their sign", () => {
    expect([areaChange(5407.29, "metric"), areaChange(-2, "metric")]).toEqual(["+0.541 ha", "−2.0 m²"]);
  });
});
