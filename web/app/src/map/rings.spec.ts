import { describe, expect, it } from "vitest";
import { type Shape, withoutCorner } from "./rings";

const square = [[0, 0], [10, 0], [10, 10], [0, 10], [0, 0]];
const hole = [[4, 4], [6, 4], [5, 6], [4, 4]];
const far = [[20, 0], [30, 0], [25, 9], [20, 0]];

describe("removing a corner", () => {
  it.each<{ name: string; shape: Shape; near: number[]; want: Shape | null }>([
    { name: "takes the nearest", shape: [[square]], near: [9, 9], want: [[[[0, 0], [10, 0], [0, 10], [0, 0]]]] },
    { name: "closes the ring anew when its first goes", shape: [[square]], near: [0, 0], want: [[[[10, 0], [10, 10], [0, 10], [10, 0]]]] },
    { name: "takes a hole of three corners whole", shape: [[square, hole]], near: [5, 6], want: [[square]] },
    { name: "takes a part of three corners whole", shape: [[square], [far]], near: [25, 8], want: [[square]] },
    { name: "leaves nothing of a lone triangle", shape: [[far]], near: [20, 0], want: [] },
    { name: "has nothing to take from nothing", shape: [], near: [0, 0], want: null },
  ])("$name", ({ shape, near, want }) => expect(withoutCorner(shape, near)).toEqual(want));
});
