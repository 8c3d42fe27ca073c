import { describe, expect, it } from "vitest";
import { positions, readStretches, writeStretches } from "./visit";

const last = (row: number) => (row >= 1 && row <= 12 ? 40 : 0);

describe("what was looked at, as typed", () => {
  it.each([
    { text: "1-3", want: [{ row: 1, from: 1, to: 40 }, { row: 2, from: 1, to: 40 }, { row: 3, from: 1, to: 40 }] },
    { text: "9:10-35", want: [{ row: 9, from: 10, to: 35 }] },
    { text: "9: 10 – 35; 9:36-38", want: [{ row: 9, from: 10, to: 38 }] },
    { text: "2, 1", want: [{ row: 1, from: 1, to: 40 }, { row: 2, from: 1, to: 40 }] },
    { text: " ", want: [] },
  ])("reads $text", ({ text, want }) => {
    expect(readStretches(text, last)).toEqual({ ok: true, stretches: want });
  });
  it.each([
    { text: "row one", word: "row one", why: "shape" },
    { text: "1, 13", word: "13", why: "row" },
    { text: "1-99999999", word: "1-99999999", why: "row" },
    { text: "3:30-50", word: "3:30-50", why: "plant" },
    { text: "3:9-2", word: "3:9-2", why: "order" },
    { text: "5-2", word: "5-2", why: "order" },
  ])("refuses $text and names the word", ({ text, word, why }) => {
    expect(readStretches(text, last)).toEqual({ ok: false, word, why });
  });
  it("writes what it reads", () => {
    const text = "1, 2, 4:3-9";
    const read = readStretches(text, last);
    expect(read.ok && writeStretches(read.stretches, last)).toBe(text);
  });
  it("counts a position once", () => {
    expect(positions([{ row: 1, from: 1, to: 10 }, { row: 1, from: 5, to: 12 }])).toBe(12);
  });
});
