import { describe, expect, it } from "vitest";
import type { Kind, PropertiesOf, Stored } from "../model/kinds";
import { markRow, plantId, plantMarks, plantOf, withStretch } from "./marks";

let n = 0;
function stored<K extends Kind>(kind: K, properties: PropertiesOf[K]): Stored<K> {
  const id = `${kind}-${++n}`;
  return { kind, id, revision: 1, etag: null, extra: {}, feature: { type: "Feature", id, geometry: null as never, properties } };
}
const rows = [
  stored("rows", { block: "b", number: 1, plants: 9, missing: [2, 3], replanted: [{ plant: 5, on: "2026-03-01" }, { plant: 6, on: "2026-04-01" }] }),
  stored("rows", { block: "b", number: 2, skipped: true }),
  stored("rows", { block: "other", number: 1, missing: [7] }),
];
const removals = [
  stored("removals", { block: "b", plants: [{ row: 1, plant: 4 }, { row: 1, plant: 5 }, { row: 1, plant: 6 }], done_on: "2026-03-10" }),
  stored("removals", { block: "b", plants: [{ row: 1, plant: 8 }] }),
];
const find = (plant: number, state: "suspected" | "confirmed" | "refuted") =>
  stored("finds", { block: "b", row: 1, plant, cause: "orange-rust", state, found_at: "2026-06-01T08:00:00Z" });
const visit = (inspected: PropertiesOf["visits"]["inspected"]) => stored("visits", { block: "b", started_at: "2026-06-01T08:00:00Z", inspected });

describe("what is known of a plant", () => {
  const marks = plantMarks("b", { rows, removals, finds: [find(9, "confirmed"), find(9, "suspected"), find(1, "refuted")], visits: [] });
  it.each([
    { plant: 1, want: "plant" },
    { plant: 2, want: "missing" },
    { plant: 4, want: "removed" },
    // Set anew before it was taken out, and after.
    { plant: 5, want: "removed" },
    { plant: 6, want: "replanted" },
    // Another block's row of the same number.
    { plant: 7, want: "plant" },
    // A removal planned but not done.
    { plant: 8, want: "plant" },
  ])("plant $plant is $want", ({ plant, want }) => expect(marks.standing(1, plant)).toBe(want));
  it("has the gravest find last", () => expect(marks.finds(1, 9).map((f) => f.state)).toEqual(["suspected", "confirmed"]));
  it("knows skipped rows", () => expect([marks.skipped(1), marks.skipped(2)]).toEqual([false, true]));
});

describe("what was looked at", () => {
  const seen = (...visits: Stored<"visits">[]) => plantMarks("b", { rows: [], removals: [], finds: [], visits }).seen;
  it("is not known where no visit says so", () => expect(seen(visit(undefined), visit([]))(1, 1)).toBeNull());
  it("is every plant where one says all", () => expect(seen(visit([{ row: 3 }]), visit([{ rows: "all" }]))(1, 1)).toBe(true));
  it.each([
    { row: 1, plant: 4, want: true },
    { row: 1, plant: 9, want: false },
    { row: 2, plant: 999, want: true },
    { row: 3, plant: 1, want: false },
  ])("row $row plant $plant: $want", ({ row, plant, want }) => expect(seen(visit([{ row: 1, from: 2, to: 8 }, { row: 2 }]))(row, plant)).toBe(want));
  it("belongs to the block alone", () => {
    const other = stored("visits", { block: "c", started_at: "2026-06-01T08:00:00Z", inspected: [{ rows: "all" }] });
    expect(seen(other)(1, 1)).toBeNull();
  });
});

describe("marking a row", () => {
  it("takes places away and gives them back", () => expect(markRow({ missing: [2, 9] }, "missing", [2, 4], "").missing).toEqual([4, 9]));
  it("puts a plant where none was, with its day", () => {
    const got = markRow({ missing: [2, 3], replanted: [{ plant: 1, on: "2025-04-01" }] }, "replanted", [3], "2026-04-01");
    expect(got).toEqual({ missing: [2], replanted: [{ plant: 1, on: "2025-04-01" }, { plant: 3, on: "2026-04-01" }] });
  });
  it("says the same day once", () => {
    expect(markRow({ replanted: [{ plant: 3, on: "2026-04-01" }] }, "replanted", [3], "2026-04-01").replanted).toHaveLength(1);
  });
});

it("addresses go into one number and back", () => {
  for (const at of [{ row: 1, plant: 1 }, { row: 1, plant: 100_000 }, { row: 10_000, plant: 7 }]) expect(plantOf(plantId(at.row, at.plant))).toEqual(at);
});

it("a stretch is added unless everything was looked at", () => {
  const stretch = { row: 1, from: 2, to: 5 };
  expect(withStretch([{ rows: "all" }], stretch)).toEqual([{ rows: "all" }]);
  expect(withStretch([{ row: 4 }], stretch)).toEqual([{ row: 4 }, stretch]);
});
