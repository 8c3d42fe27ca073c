import { describe, expect, it } from "vitest";
import { tintOf, topRate } from "./over";

describe("the tint of a rate", () => {
  it.each([
    [0, 0.4, 0],
    [0.079, 0.4, 0],
    [0.08, 0.4, 1],
    [0.2, 0.4, 2],
    [0.24, 0.4, 3],
    [0.32, 0.4, 4],
    [0.4, 0.4, 4],
    [0.4, 0, 0],
    [Number.NaN, 0.4, 0],
  ])("%d of at most %d is step %d", (rate, top, want) => expect(tintOf(rate, top)).toBe(want));
  it("goes up to the highest rate there is", () => {
    expect(topRate(new Map([[1, 0.2], [2, 0.5]]))).toBe(0.5);
    expect(topRate(null)).toBe(0);
  });
});
