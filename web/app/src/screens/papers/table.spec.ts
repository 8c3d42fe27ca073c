import { describe, expect, it } from "vitest";
import { type Column, filterRows, nextOrder, sortRows, toCsv, toTabs } from "./table";

interface Find {
  readonly block: string;
  readonly row: number | null;
  readonly words: string;
}

const columns: Column<Find>[] = [
  { key: "block", head: "Block", cell: (f) => f.block },
  { key: "row", head: "Row", cell: (f) => f.row },
  { key: "words", head: "Words", cell: (f) => f.words },
];
const finds: Find[] = [
  { block: "Block 10", row: 2, words: "caña torcida" },
  { block: "Block 9", row: null, words: "=SUM(A1)" },
  { block: "block 9", row: 11, words: 'said "wait", left' },
];

describe("sorting", () => {
  it("reads numbers inside names", () => {
    const got = sortRows(finds, columns, { key: "block", down: false }, "en").map((f) => f.block);
    expect(got).toEqual(["Block 9", "block 9", "Block 10"]);
  });
  it.each([
    { down: false, want: [2, 11, null] },
    { down: true, want: [11, 2, null] },
  ])("keeps empty cells last when down is $down", ({ down, want }) => {
    expect(sortRows(finds, columns, { key: "row", down }, "en").map((f) => f.row)).toEqual(want);
  });
  it("leaves its input alone", () => {
    sortRows(finds, columns, { key: "block", down: false }, "en");
    expect(finds[0]?.block).toBe("Block 10");
  });
  it("turns round on the same heading and starts upward on another", () => {
    expect(nextOrder({ key: "row", down: false }, "row")).toEqual({ key: "row", down: true });
    expect(nextOrder({ key: "row", down: true }, "block")).toEqual({ key: "block", down: false });
  });
});

describe("filtering", () => {
  it.each([
    { search: "cana", want: 1 },
    { search: "block 9", want: 2 },
    { search: "9 wait", want: 1 },
    { search: "  ", want: 3 },
    { search: "nothing like it", want: 0 },
  ])("finds $want for $search", ({ search, want }) => {
    expect(filterRows(finds, columns, search)).toHaveLength(want);
  });
  it("does not match across two cells", () => {
    expect(filterRows(finds, columns, "102")).toHaveLength(0);
  });
});

describe("export", () => {
  // RFC 4180 section 2: CRLF, and quotes doubled inside quotes.
  it("writes RFC 4180 and defuses formulas", () => {
    expect(toCsv(columns, finds)).toBe(
      'Block,Row,Words\r\nBlock 10,2,caña torcida\r\nBlock 9,,\'=SUM(A1)\r\nblock 9,11,"said ""wait"", left"\r\n',
    );
  });
  it("keeps negative numbers numbers", () => {
    const one: Column<number>[] = [{ key: "z", head: "z", cell: (n) => n }];
    expect(toCsv(one, [-1.645])).toBe("z\r\n-1.645\r\n");
  });
  it("pastes as tabs without breaking lines", () => {
    expect(toTabs(columns, [{ block: "B\n1", row: 1, words: "a\tb" }])).toBe("Block\tRow\tWords\nB 1\t1\ta b");
  });
});
