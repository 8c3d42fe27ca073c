import { describe, expect, it } from "vitest";
import { amountOf, baseOf, measured } from "./answer";

describe("an amount at the measuring tool", () => {
  it.each([
    { name: "keeps what the tool shows", amount: { value: 40.8, unit: "fl_oz" }, want: 40.8 },
    // 3.4 x 12 is 40.8 on paper and 40.79999999999999 or 40.800000000000004 in binary.
    { name: "is not misled by binary fractions", amount: { value: 3.4 * 12, unit: "fl_oz" }, want: 40.8 },
    { name: "never rounds a dose up", amount: { value: 10.79, unit: "fl_oz" }, want: 10.7 },
    { name: "cuts pounds to a hundredth", amount: { value: 1.23999, unit: "lb" }, want: 1.23 },
    { name: "cuts millilitres to whole ones", amount: { value: 99.9, unit: "mL" }, want: 99 },
  ])("$name", ({ amount, want }) => {
    expect(measured(amount).value).toBe(want);
  });
});

describe("the answer", () => {
  it("takes a bare amount and one with its product", () => {
    const bare = { value: 15, unit: "fl_oz" };
    expect([amountOf(bare), amountOf({ product: "p", amount: bare })]).toEqual([bare, bare]);
  });
  it.each([
    { per: "acre", want: "area" },
    { per: "100gal", want: "spray" },
    { per: "1000ft", want: "row" },
    { per: "plant", want: "plants" },
  ])("multiplies a rate per $per with $want", ({ per, want }) => {
    expect(baseOf(per)).toBe(want);
  });
});
