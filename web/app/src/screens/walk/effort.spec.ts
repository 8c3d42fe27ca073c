import { describe, expect, it } from "vitest";
import type { DrawnRow } from "../../rowmap/rowplace";
import { closed, effortOf, inspectedOf, isPaused, numbers, paused, resumed, seenOf, tapped, totals } from "./effort";

const row = (number: number, plants: number, missing: number[] = []): DrawnRow => ({ number, plants, missing, firstPlant: 1, line: [[0, 0], [0, 0.001]] });
const rows = [row(1, 40), row(2, 40, [3, 4]), row(3, 10)];
const last = (n: number) => rows.find((r) => r.number === n)?.plants ?? 0;

describe("what a visit looked at", () => {
  it("reads back what it wrote", () => {
    const inspected = [{ row: 1, from: 1, to: 40 }, { row: 2, from: 5, to: 9 }];
    expect(inspectedOf(effortOf(inspected, last), last)).toEqual(inspected);
    expect(inspectedOf(effortOf([{ rows: "all" }], last), last)).toEqual([{ rows: "all" }]);
    expect(effortOf([{ row: 3 }], last).text).toBe("3");
  });
  it("takes a tapped row whole, and a whole one out", () => {
    const part = [{ row: 1, from: 5, to: 9 }];
    expect(seenOf(part, 1, last)).toBe("part");
    const whole = tapped(part, 1, last);
    expect(whole).toEqual([{ row: 1, from: 1, to: 40 }]);
    expect(tapped(whole, 1, last)).toEqual([]);
  });
  it("counts standing plants, each once, and names rows not seen", () => {
    expect(totals({ whole: false, text: "2:1-10, 2:5-12" }, rows)).toEqual({ seen: [2], notSeen: [1, 3], plants: 10, of: 88 });
    expect(totals({ whole: true, text: "" }, rows)).toEqual({ seen: [1, 2, 3], notSeen: [], plants: 88, of: 88 });
  });
  it.each([
    { list: [1, 2, 3, 7], want: "1–3, 7" },
    { list: [4, 5, 9], want: "4, 5, 9" },
    { list: [], want: "" },
  ])("writes $list as $want", ({ list, want }) => expect(numbers(list)).toBe(want));
});

describe("breaks of a visit", () => {
  const visit = { block: "b", started_at: "2026-05-01T10:00:00Z" };
  const at = (text: string) => Date.parse(text);
  it("go on until they are ended", () => {
    const p = paused(visit, at("2026-05-01T11:00:00Z"));
    expect(isPaused(p)).toBe(true);
    expect(paused(p, at("2026-05-01T12:00:00Z"))).toBe(p);
    const r = resumed(p, at("2026-05-01T12:00:00Z"));
    expect(r).toMatchObject({ state: "open", pauses: [{ from: "2026-05-01T11:00:00.000Z", to: "2026-05-01T12:00:00.000Z" }] });
  });
  it("end with the visit, and never lie before it where the clock was put back", () => {
    const p = closed(paused(visit, at("2026-05-01T11:00:00Z")), at("2026-04-29T11:00:00Z"));
    expect(p).toMatchObject({ state: "closed", ended_at: "2026-05-01T11:00:00.000Z", pauses: [{ from: "2026-05-01T11:00:00.000Z", to: "2026-05-01T11:00:00.000Z" }] });
  });
});
