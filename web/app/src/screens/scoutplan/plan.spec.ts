import { describe, expect, it } from "vitest";
import { askOf, newSeed, readPlan, writePlan } from "./plan";

describe("a walk in an address", () => {
  it("comes back as it was written", () => {
    for (const view of ["plan:clipped-buds:random:20:4711", "plan::spread::0"]) expect(writePlan(readPlan(view)!)).toBe(view);
  });
  it("names no walk without a seed, and takes what it does not know for what is usual", () => {
    for (const view of [undefined, "plan", "plan:x:random:5:", "plan:x:random:5:-1", "plan:x:random:5:99999999999999999", "find:1:2:3:4"]) expect(readPlan(view)).toBeNull();
    expect(readPlan("plan:x:zigzag:many:7")).toEqual({ programme: "x", kind: "spread", stops: undefined, seed: 7 });
  });
  it("asks only for what it says", () => {
    expect(askOf("b", readPlan("plan::spread::9")!)).toEqual({ block: "b", kind: "spread", seed: 9 });
    expect(askOf("b", readPlan("plan:x:random:5:9")!)).toEqual({ block: "b", kind: "random", seed: 9, programme: "x", stops: 5 });
  });
  it("draws short seeds", () => {
    expect(newSeed()).toBeLessThan(1_000_000);
  });
});
