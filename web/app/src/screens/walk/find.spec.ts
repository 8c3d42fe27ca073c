import { describe, expect, it } from "vitest";
import { afterSave, findFeature, firstForm, fixAgeS, placeOf, recall, remember, step } from "./find";

const now = Date.parse("2026-04-14T13:30:00Z");
const fix = { at: [-80.42, 35.87] as const, accuracyM: 4.123, takenAt: now - 2500 };

describe("steppers", () => {
  it.each([
    { value: 1, by: -1, last: 40, want: 1 },
    { value: 40, by: 1, last: 40, want: 40 },
    { value: 38, by: 10, last: 40, want: 40 },
    { value: 7, by: 10, last: 0, want: 17 },
  ])("$value by $by of $last", ({ value, by, last, want }) => {
    expect(step(value, by, last)).toBe(want);
  });
});

describe("the place of a find", () => {
  const plant = [-80.421, 35.871] as const;
  const tap = [-80.422, 35.872] as const;
  it.each([
    { name: "tap over all", t: tap, p: plant, f: fix, want: { at: tap, by: "tap" } },
    // Row and plant typed by the scout outrank the fix (domain note, section 3).
    { name: "plant over fix", t: null, p: plant, f: fix, want: { at: plant, by: "plant" } },
    { name: "fix alone", t: null, p: null, f: fix, want: { at: fix.at, by: "fix" } },
    { name: "nothing", t: null, p: null, f: null, want: null },
  ])("$name", ({ t, p, f, want }) => {
    expect(placeOf(t, p, f)).toEqual(want);
  });
});

describe("the record", () => {
  const form = { ...firstForm, row: 7, plant: 31, words: "  shoots spindly " };
  const made = findFeature({ id: "x", block: "b", form, cause: "orange-rust", place: { at: [-80.4, 35.8], by: "plant" }, fix, now, visit: null });
  it("keeps plant, fix and words", () => {
    expect(made.properties).toMatchObject({
      row: 7,
      plant: 31,
      state: "suspected",
      words: "shoots spindly",
      found_at: "2026-04-14T13:30:00.000Z",
      accuracy_m: 4.1,
      fix_age_s: 2.5,
    });
  });
  it("names no row where nobody has said which", () => {
    const near = findFeature({ id: "x", block: "b", form, cause: "other", place: { at: [-80.4, 35.8], by: "fix" }, fix, now, visit: null, unplaced: true });
    expect(near.properties).not.toHaveProperty("row");
    expect(near.properties).not.toHaveProperty("plant");
    expect(near.properties).toMatchObject({ block: "b", placed_by: "fix" });
    expect(near.geometry.coordinates).toEqual([-80.4, 35.8]);
  });
  it("says nothing of a fix or a visit there was not", () => {
    const bare = findFeature({ id: "x", block: "b", form: firstForm, cause: "other", place: { at: [-80.4, 35.8], by: "tap" }, fix: null, now, visit: null });
    expect(Object.keys(bare.properties).sort()).toEqual(
      ["block", "cause", "found_at", "placed_by", "plant", "row", "severity", "state"],
    );
  });
  it("never gives a fix a negative age", () => {
    expect(fixAgeS({ ...fix, takenAt: now + 5000 }, now)).toBe(0);
  });
});

describe("the last values of a block", () => {
  const shelf = new Map<string, string>();
  const memory = { getItem: (k: string) => shelf.get(k) ?? null, setItem: (k: string, v: string) => void shelf.set(k, v) };
  it("come back without the words", () => {
    const form = { ...firstForm, cause: "crown-gall", severity: 3, row: 4, plant: 9, words: "knobby" } as const;
    remember(memory, "demo", "b", form);
    expect(recall(memory, "demo", "b")).toEqual(afterSave(form));
  });
  it.each(["{", "null", '{"cause":"made-up","severity":9,"row":0,"plant":"3"}'])("survive %s", (text) => {
    expect(recall({ getItem: () => text, setItem: () => undefined }, "demo", "b")).toEqual(firstForm);
  });
  it("do not stop a save when storage is full", () => {
    const full = {
      getItem: () => null,
      setItem: () => {
        throw new Error("full");
      },
    };
    expect(() => remember(full, "demo", "b", firstForm)).not.toThrow();
  });
});
