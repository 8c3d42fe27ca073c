import { beforeEach, describe, expect, it } from "vitest";
import { language } from "../../i18n";
import { kinds, type Stored } from "../../model/kinds";
import { columnsOf, inspectedText, momentOf, nameOf } from "./columns";

const about = { zone: "America/New_York", block: (id: string) => (id === "b" ? "Gate Block" : id) };
const record = (kind: Stored["kind"], properties: object): Stored =>
  ({ kind, id: "i", revision: 2, etag: null, extra: {}, feature: { type: "Feature", id: "i", geometry: null, properties } }) as unknown as Stored;

beforeEach(() => language.set("en"));

describe("columns", () => {
  it.each(kinds)("of %s show an empty record and end with its revision", (kind) => {
    const columns = columnsOf(kind, about);
    for (const c of columns) expect(() => [c.cell(record(kind, {})), c.show?.(record(kind, {}))]).not.toThrow();
    expect(columns.at(-1)?.cell(record(kind, {}))).toBe(2);
  });
  it("name a find's block, cause and state in the page's language", () => {
    const find = record("finds", { block: "b", row: 4, plant: 38, cause: "crown-gall", state: "confirmed", found_at: "2026-04-14T13:30:00Z" });
    const shown = () => columnsOf("finds", about).map((c) => (c.show ? c.show(find) : c.cell(find)));
    expect(shown()).toEqual(["14 Apr 2026, 09:30", "Gate Block", 4, 38, "Crown gall", "confirmed", null, null, 2]);
    language.set("es");
    expect(shown().slice(4, 6)).toEqual(["Agalla de la corona", "confirmado"]);
  });
});

describe("what a visit looked at", () => {
  it.each([
    { inspected: [{ rows: "all" }], want: "all rows" },
    { inspected: [{ row: 3 }, { row: 4, from: 2, to: 9 }], want: "3, 4:2-9" },
    { inspected: undefined, want: "" },
  ])("is written as the scout types it", ({ inspected, want }) => {
    expect(inspectedText(inspected)).toBe(want);
  });
});

describe("a record's moment and name", () => {
  it("are the find's own", () => {
    const find = record("finds", { block: "b", row: 4, plant: 38, cause: "orange-rust", found_at: "2026-04-14T13:30:00Z" });
    expect(momentOf(find)).toBe("2026-04-14T13:30:00Z");
    expect(nameOf(find, about)).toBe("Gate Block, row 4, plant 38, 14 Apr 2026, 09:30, Orange rust");
  });
  it("fall back to the id", () => {
    expect(nameOf(record("tracks", {}), about)).toBe("i");
  });
});
