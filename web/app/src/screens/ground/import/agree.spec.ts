import { describe, expect, it } from "vitest";
import { agreed, type Choice, type ImportKind, lacks } from "./agree";

const choice = (over: Partial<Choice> = {}): Choice => ({ take: true, name: "North", kind: "", ...over });

describe("what an import lacks", () => {
  it.each<{ name: string; kind: ImportKind; of: Choice[]; want: string | null }>([
    { name: "nothing", kind: "blocks", of: [choice()], want: null },
    { name: "a shape", kind: "blocks", of: [choice({ take: false })], want: "none" },
    { name: "a block's name", kind: "blocks", of: [choice(), choice({ name: " " })], want: "name" },
    { name: "no name of a shape that is left out", kind: "blocks", of: [choice(), choice({ take: false, name: "" })], want: null },
    { name: "what surroundings are", kind: "surroundings", of: [choice()], want: "kind" },
    { name: "no name of surroundings", kind: "surroundings", of: [choice({ name: "", kind: "well" })], want: null },
  ])("$name", ({ kind, of, want }) => expect(lacks(kind, new Map(of.map((c, i) => [i + 1, c])))).toBe(want));
});

describe("what is agreed to", () => {
  it("names shapes by number and sets what was said", () => {
    const choices = new Map([
      [1, choice({ name: " Creek ", kind: "water" })],
      [2, choice({ take: false })],
      [3, choice({ name: "", kind: "well" })],
    ]);
    expect(agreed("surroundings", choices)).toEqual([
      { number: 1, properties: { name: "Creek", kind: "water", drawn_by_eye: true } },
      { number: 3, properties: { kind: "well", drawn_by_eye: true } },
    ]);
  });
});
