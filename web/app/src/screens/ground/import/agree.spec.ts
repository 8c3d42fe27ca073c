import { describe, expect, it } from "vitest";
import type { ImportKind, Proposed } from "../../../api/imports";
import { agreed, type Choice, firstChoice, firstChoices, type ForAll, type Lack, lacks, leaveAll, meets, nothingForAll, takeReady, tally } from "./agree";

const shape = (number: number, over: Partial<Proposed> = {}): Proposed => ({
  number,
  id: `id-${number}`,
  name: "North",
  state: "ready",
  choices: ["read"],
  feature: { type: "Feature", geometry: null, properties: {} },
  ...over,
});
const choice = (over: Partial<Choice> = {}): Choice => ({ as: "read", name: "North", kind: "", row: "", ...over });
const chosen = (...of: Choice[]) => new Map(of.map((c, i) => [i + 1, c]));
const shapes = (...of: Partial<Proposed>[]) => of.map((s, i) => shape(i + 1, s));
const withProperties = (properties: Record<string, unknown>): Partial<Proposed> => ({ feature: { type: "Feature", geometry: null, properties } });

describe("at first", () => {
  it.each<{ name: string; of: Partial<Proposed>; want: Choice["as"] }>([
    { name: "what is ready is taken", of: {}, want: "read" },
    { name: "what was mended in the one sensible way is taken so", of: { state: "repaired", choices: ["repaired", "read"] }, want: "repaired" },
    { name: "what needs a decision is left", of: { state: "ask", choices: ["repaired", "reordered"] }, want: "leave" },
    { name: "what is refused is left", of: { state: "refused", choices: [] }, want: "leave" },
    { name: "what is on the farm already is left", of: { state: "present", choices: ["read"] }, want: "leave" },
    { name: "what offers no way is left", of: { choices: [] }, want: "leave" },
  ])("$name", ({ of, want }) => expect(firstChoice(shape(1, of)).as).toBe(want));
  it.each([
    { name: "Row 12", number: undefined, want: "12" },
    { name: "Row 012", number: 7, want: "7" },
    { name: "Block 3 row 12", number: undefined, want: "" },
    { name: "", number: undefined, want: "" },
  ])("row “$name” with number $number is $want", ({ name, number, want }) => {
    expect(firstChoice(shape(1, { name, ...withProperties(number === undefined ? {} : { number }) })).row).toBe(want);
  });
  it("surroundings are what the file says, where it is one of ours", () => {
    expect(firstChoice(shape(1, withProperties({ kind: "well" }))).kind).toBe("well");
    expect(firstChoice(shape(1, withProperties({ kind: "spring" }))).kind).toBe("");
  });
});

describe("counts and filters", () => {
  const all = shapes({}, { state: "ask", choices: ["repaired"] }, { state: "repaired", choices: ["repaired"] }, { state: "refused", choices: [] }, { state: "present" });
  it("count each sort once, and what is taken", () => {
    expect(tally(all, firstChoices(all))).toEqual({ all: 5, decide: 1, repaired: 1, refused: 1, present: 1, ready: 1, taken: 2 });
  });
  it("filter by state", () => {
    expect((["all", "decide", "repaired", "refused", "present"] as const).map((f) => all.filter((s) => meets(s, f)).map((s) => s.number))).toEqual([[1, 2, 3, 4, 5], [2], [3], [4], [5]]);
  });
});

describe("all at once", () => {
  const all = shapes({}, { state: "ask", choices: ["repaired", "reordered"] }, { state: "repaired", choices: ["repaired"] }, { state: "present" });
  it("leave out leaves every one, and keeps what was typed", () => {
    const left = leaveAll(new Map(firstChoices(all)).set(1, choice({ name: "South" })));
    expect([...left.values()].map((c) => c.as)).toEqual(["leave", "leave", "leave", "leave"]);
    expect(left.get(1)!.name).toBe("South");
  });
  it("take decides nothing for the person, and undoes no decision", () => {
    const decided = new Map(leaveAll(firstChoices(all))).set(2, choice({ as: "reordered" }));
    expect([...takeReady(all, decided).values()].map((c) => c.as)).toEqual(["read", "reordered", "repaired", "leave"]);
  });
});

describe("what an import lacks", () => {
  it.each<{ name: string; kind: ImportKind; of: Partial<Proposed>[]; said: Choice[]; all?: Partial<ForAll>; want: Lack["what"] | null; at?: number }>([
    { name: "nothing", kind: "blocks", of: [{}], said: [choice()], want: null },
    { name: "a shape", kind: "blocks", of: [{}], said: [choice({ as: "leave" })], want: "none" },
    { name: "a block's name", kind: "blocks", of: [{}, {}], said: [choice(), choice({ name: " " })], want: "name", at: 2 },
    { name: "no name of a shape that is left out", kind: "blocks", of: [{}, {}], said: [choice(), choice({ as: "leave", name: "" })], want: null },
    { name: "what surroundings are", kind: "surroundings", of: [{}], said: [choice()], want: "kind" },
    { name: "nothing once it is said for all", kind: "surroundings", of: [{}], said: [choice()], all: { kind: "well" }, want: null },
    { name: "no name of surroundings", kind: "surroundings", of: [{}], said: [choice({ name: "", kind: "well" })], want: null },
    { name: "when finds were found", kind: "finds", of: [withProperties({ cause: "other" })], said: [choice()], want: "on" },
    { name: "nothing where the file says when", kind: "finds", of: [withProperties({ cause: "other", found_at: "2026-06-10T12:00:00Z" })], said: [choice()], want: null },
    { name: "nothing where the day is said for all", kind: "finds", of: [{}], said: [choice()], all: { cause: "crown-gall", on: "2026-06-10" }, want: null },
    { name: "the block of rows", kind: "rows", of: [withProperties({ block: "" })], said: [choice()], want: "block" },
    { name: "the number of a row", kind: "rows", of: [{}], said: [choice()], all: { block: "b" }, want: "row" },
    { name: "nothing of a row with block and number", kind: "rows", of: [{}], said: [choice({ row: " 12 " })], all: { block: "b" }, want: null },
    { name: "nothing of tracks", kind: "tracks", of: [{}], said: [choice({ name: "" })], want: null },
  ])("$name", ({ kind, of, said, all, want, at }) => {
    const got = lacks(kind, shapes(...of), chosen(...said), { ...nothingForAll, ...all });
    expect(got).toEqual(want && { what: want, number: at ?? (want === "none" ? 0 : 1) });
  });
});

describe("what is agreed to", () => {
  it("is each taken shape by number; what the file says is not sent again", () => {
    const of = shapes({}, {}, { state: "ask", choices: ["repaired", "reordered"] });
    const said = chosen(choice(), choice({ as: "leave" }), choice({ as: "reordered", name: " Creek " }));
    expect(agreed("blocks", of, said, nothingForAll)).toEqual([{ number: 1 }, { number: 3, as: "reordered", properties: { name: "Creek" } }]);
  });
  it("says of surroundings what they are and that somebody else drew them", () => {
    const of = shapes({}, { name: "" }, withProperties({ drawn_by_eye: false }));
    const said = chosen(choice({ kind: "water" }), choice({ name: "" }), choice({ kind: "road" }));
    expect(agreed("surroundings", of, said, { ...nothingForAll, kind: "well" })).toEqual([
      { number: 1, properties: { kind: "water", drawn_by_eye: true } },
      { number: 2, properties: { kind: "well", drawn_by_eye: true } },
      { number: 3, properties: { kind: "road" } },
    ]);
  });
  it("gives finds and rows what was said for all, where they say nothing", () => {
    const unsaid = { key: "intake-cause-not-said", message: "no cause", at: {} };
    const finds = shapes({ ...withProperties({ cause: "other", found_at: "2026-06-10T14:00:00Z" }), said: [unsaid] }, withProperties({ cause: "other" }));
    expect(agreed("finds", finds, chosen(choice(), choice()), { ...nothingForAll, cause: "orange-rust", on: "2026-06-11" })).toEqual([
      { number: 1, properties: { cause: "orange-rust" } },
      { number: 2, properties: { found_at: "2026-06-11T12:00:00Z" } },
    ]);
    expect(agreed("finds", finds.slice(0, 1), chosen(choice()), nothingForAll)).toEqual([{ number: 1 }]);
    const rows = shapes({}, withProperties({ block: "a", number: 4 }));
    expect(agreed("rows", rows, chosen(choice({ row: "3" }), choice({ row: "4" })), { ...nothingForAll, block: "b" })).toEqual([{ number: 1, properties: { block: "b", number: 3 } }, { number: 2 }]);
  });
});
