import { describe, expect, it } from "vitest";
import { distanceM } from "../rowmap/rowplace";
import { ellipseAround, holds, ringAround } from "./ringaround";

const at = (p: readonly number[]) => [p[0]!, p[1]!] as const;

describe("a ring round places", () => {
  it("of one place lies at its distance all round", () => {
    const ring = ringAround([[-81.52, 41.94]], 182.88)!;
    const off = ring.coordinates[0]!.map((p) => distanceM(at(p), [-81.52, 41.94]));
    expect(Math.min(...off)).toBeCloseTo(182.88, 1);
    expect(Math.max(...off)).toBeCloseTo(182.88, 1);
  });
  it("of several lies at its distance from the nearest corner of their hull or farther from every place", () => {
    const places = [[-81.52, 41.94], [-81.519, 41.94], [-81.5195, 41.9405], [-81.5195, 41.9401]];
    const ring = ringAround(places, 150)!;
    for (const p of ring.coordinates[0]!) expect(Math.min(...places.map((q) => distanceM(at(p), at(q))))).toBeCloseTo(150, 0);
  });
  it("holds what lies nearer, and not what lies beyond", () => {
    const ring = ringAround([[-81.52, 41.94]], 150)!;
    expect([holds(ring, [-81.5185, 41.94]), holds(ring, [-81.5181, 41.94])]).toEqual([true, false]);
  });
  it("as an ellipse reaches its half axes along and across the bearing", () => {
    const ring = ellipseAround([-81.52, 41.94], 40, 10, 90).coordinates[0]!;
    const off = ring.map((p) => distanceM(at(p), [-81.52, 41.94]));
    expect([Math.max(...off), Math.min(...off)]).toEqual([expect.closeTo(40, 1), expect.closeTo(10, 1)]);
    expect(ring[0]![1]).toBeCloseTo(41.94, 9);
    expect(ring[0]![0]).toBeGreaterThan(-81.52);
  });
  it("of no place is none", () => expect(ringAround([], 150)).toBeNull());
});
