import { describe, expect, it } from "vitest";
import type { PastCount } from "../../api/scouting";
import { drawn, frame, height, niceStep, width } from "./picture";

const count = (at: string, rate: number, low: number, high: number): PastCount => ({ visit: at, at, n: 100, hits: 100 * rate, rate, interval: [low, high], answer: "cannot-tell", says: "", level: null, how: "" });

describe("the picture of past counts", () => {
  it("places rates and intervals on one scale, the level among them", () => {
    const floor = height - frame.bottom;
    const p = drawn([count("2026-05-01T00:00:00Z", 0.01, 0, 0.05), count("2026-05-16T12:00:00Z", 0.02, 0.01, 0.1)], 0.05);
    expect(p.dots[0]!.low).toBeCloseTo(floor, 9);
    expect(p.dots[1]!.high).toBeCloseTo(frame.top, 9);
    expect(p.level).toBeCloseTo((floor + frame.top) / 2, 9);
    expect(p.level).toBeCloseTo(p.dots[0]!.high, 9);
    expect(p.rates.map((r) => Number(r.value.toFixed(9)))).toEqual([0, 0.05, 0.1]);
  });
  it("runs over whole months, in the order of time", () => {
    const p = drawn([count("2026-05-01T00:00:00Z", 0, 0, 0.1), count("2026-05-16T12:00:00Z", 0, 0, 0.1)], null);
    expect(p.dots[0]!.x).toBeCloseTo(frame.left, 9);
    // 15.5 of May's 31 days.
    expect(p.dots[1]!.x).toBeCloseTo((frame.left + width - frame.right) / 2, 9);
    expect(p.level).toBeNull();
    expect(p.months).toHaveLength(1);
  });
  it("names at most six months", () => {
    expect(drawn([count("2026-01-05T00:00:00Z", 0, 0, 1), count("2026-12-05T00:00:00Z", 0, 0, 1)], null).months).toHaveLength(6);
  });
  it("steps by 1, 2 or 5 times a power of ten", () => {
    for (const [top, step] of [[1, 0.5], [0.037, 0.01], [0.2, 0.05], [60, 20], [0, 1]] as const) expect(niceStep(top)).toBeCloseTo(step, 12);
  });
});
