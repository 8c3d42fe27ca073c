import { describe, expect, it } from "vitest";
import { formNumber, typedNumber } from "./typed";

describe("numbers as typed", () => {
  it.each([
    { text: "12", want: 12 },
    { text: " 3,05 ", want: 3.05 },
    { text: "3.05", want: 3.05 },
    { text: ".5", want: 0.5 },
    { text: "-86.5", want: -86.5 },
    { text: "10.", want: 10 },
    { text: "1,500", want: Number.NaN },
    { text: "1.5.2", want: Number.NaN },
    { text: "10 ft", want: Number.NaN },
    { text: "", want: Number.NaN },
    { text: "1e5", want: Number.NaN },
  ])("“$text” is $want", ({ text, want }) => expect(typedNumber(text)).toBe(want));
});

describe("figures for forms", () => {
  it.each([
    { value: 3.048 / 0.3048, want: "10" },
    { value: 2.9999999999, want: "3" },
    { value: 0.914, want: "0.914" },
    { value: 12345.6, want: "12345.6" },
    { value: undefined, want: "" },
  ])("$value", ({ value, want }) => expect(formNumber(value, 3)).toBe(want));
});
