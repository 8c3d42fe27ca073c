import { describe, expect, it } from "vitest";
import { changes } from "./differ";

describe("what changed", () => {
  it.each([
    { name: "nothing", before: { a: 1, b: [1, 2] }, after: { b: [1, 2], a: 1 }, want: [] },
    { name: "a value", before: { state: "suspected" }, after: { state: "confirmed" }, want: [{ path: "state", before: "suspected", after: "confirmed" }] },
    { name: "one added", before: {}, after: { words: "x" }, want: [{ path: "words", before: undefined, after: "x" }] },
    { name: "one taken away", before: { words: "x" }, after: {}, want: [{ path: "words", before: "x", after: undefined }] },
    { name: "inside a list", before: { checks: [{ on: "a" }] }, after: { checks: [{ on: "b" }] }, want: [{ path: "checks[0].on", before: "a", after: "b" }] },
    { name: "null is not absent", before: { a: null }, after: {}, want: [{ path: "a", before: null, after: undefined }] },
  ])("$name", ({ before, after, want }) => {
    expect(changes(before, after)).toEqual(want);
  });
});
