import { describe, expect, it } from "vitest";
import { readCorners, readLine, readPair, writeCorners } from "./cornertext";

const square = "-86.5, 36.1\n-86.4, 36.1\n-86.4, 36.2\n-86.5, 36.2";

describe("typed corners", () => {
  it("close their ring", () => {
    expect(readCorners(square).geometry).toEqual({
      type: "Polygon",
      coordinates: [[[-86.5, 36.1], [-86.4, 36.1], [-86.4, 36.2], [-86.5, 36.2], [-86.5, 36.1]]],
    });
  });
  it("come back as they went, holes and parts included", () => {
    const text = `${square}\n\n-86.48, 36.12\n-86.47, 36.12\n-86.47, 36.13\n---\n-86.3, 36.1\n-86.2, 36.1\n-86.2, 36.2`;
    const { geometry } = readCorners(text);
    expect(geometry?.type).toBe("MultiPolygon");
    expect(writeCorners(geometry)).toBe(text);
  });
  it.each([
    { name: "nothing", text: "", want: [{ line: 1, why: "too-few" }] },
    { name: "two corners", text: "-86.5 36.1\n-86.4 36.1", want: [{ line: 1, why: "too-few" }] },
    { name: "a word", text: `${square}\nhere`, want: [{ line: 5, why: "not-two-numbers" }] },
    { name: "latitude first", text: "36.1, -96.5\n-86.4, 36.1\n-86.4, 36.2\n-86.5, 36.2", want: [{ line: 1, why: "latitude-first" }] },
    { name: "off the earth", text: `${square}\n-186.5, 36.2`, want: [{ line: 5, why: "out-of-range" }] },
    { name: "a hole of two corners", text: `${square}\n\n-86.48, 36.12\n-86.47, 36.12`, want: [{ line: 6, why: "too-few" }] },
  ])("say what is wrong with $name", ({ text, want }) => {
    expect(readCorners(text)).toEqual({ geometry: null, faults: want });
  });
});

describe("one place", () => {
  it.each([
    { text: "-86.5,36.1", want: [-86.5, 36.1] },
    { text: " -86.5   36.1 ", want: [-86.5, 36.1] },
    { text: "-86.5; 36.1", want: [-86.5, 36.1] },
    { text: "-86,5 36,1", want: "not-two-numbers" },
    { text: "10, 200", want: "latitude-first" },
  ])("“$text”", ({ text, want }) => expect(readPair(text)).toEqual(want));
});

describe("a typed line", () => {
  it("needs two places", () => expect(readLine("-86.5 36.1").faults).toEqual([{ line: 1, why: "too-few" }]));
  it("keeps their order", () => expect(readLine("-86.5 36.1\n\n-86.4 36.1").geometry?.coordinates).toEqual([[-86.5, 36.1], [-86.4, 36.1]]));
});
