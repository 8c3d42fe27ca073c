import { describe, expect, it } from "vitest";
import { labelPlace } from "./labelplace";
import type { Polygon, Ring } from "./position";

const square = (x: number, y: number, s: number): Ring => [[x, y], [x + s, y], [x + s, y + s], [x, y + s], [x, y]];
const plain: Polygon = { type: "Polygon", coordinates: [square(0, 0, 0.01)] };

describe("the place of a label", () => {
  it("is the middle of an empty square", () => {
    const [x, y] = labelPlace(plain, [])!;
    expect(x).toBeCloseTo(0.005, 9);
    expect(y).toBeCloseTo(0.005, 9);
  });
  it("keeps out of holes", () => {
    const [x, y] = labelPlace({ type: "Polygon", coordinates: [square(0, 0, 0.01), square(0.001, 0.001, 0.006)] }, [])!;
    expect(x! > 0.007 || y! > 0.007).toBe(true);
  });
  it("keeps away from marks", () => {
    const marks = [[0.005, 0.005], [0.003, 0.005], [0.004, 0.004]];
    const at = labelPlace(plain, marks)!;
    expect(Math.min(...marks.map((m) => Math.hypot(m[0]! - at[0]!, m[1]! - at[1]!)))).toBeGreaterThan(0.0015);
  });
  it("takes the larger part", () => {
    const [x] = labelPlace({ type: "MultiPolygon", coordinates: [[square(0, 0, 0.001)], [square(1, 0, 0.01)]] }, [])!;
    expect(x!).toBeGreaterThan(1);
  });
  it("is none for a shape without ground", () => {
    expect(labelPlace({ type: "Polygon", coordinates: [[[0, 0], [1, 1], [0, 0]]] }, [])).toBeNull();
  });
});
