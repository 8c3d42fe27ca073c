import { describe, expect, it } from "vitest";
import { fitted } from "./photo";

describe("the size a photo is shrunk to", () => {
  it.each([
    { of: [4000, 3000], want: [1600, 1200] },
    { of: [3000, 4000], want: [1200, 1600] },
    { of: [640, 480], want: [640, 480] },
    { of: [9000, 3], want: [1600, 1] },
  ])("$of becomes $want", ({ of, want }) => {
    expect(fitted(of[0]!, of[1]!, 1600)).toEqual(want);
  });
});
