import { describe, expect, it } from "vitest";
import { isUuid7, uuid7 } from "./uuid7";

describe("uuid7", () => {
  it("holds the time in its first 48 bits", () => {
    // RFC 9562, appendix A.6: 2022-02-22 14:22:22 -05:00 is 0x017F22E279B0.
    // The counter only moves forward, so this must be the first id made here.
    expect(uuid7(0x017f22e279b0)).toMatch(/^017f22e2-79b0-7[0-9a-f]{3}-[89ab]/);
  });
  it("grows and never repeats, 50,000 in one millisecond and with the clock set back", () => {
    const ids: string[] = [];
    const t = Date.now() + 1000;
    for (let i = 0; i < 50_000; i++) ids.push(uuid7(t));
    for (let i = 0; i < 1000; i++) ids.push(uuid7(t - 5000));
    expect(ids.findIndex((id, i) => i > 0 && !(ids[i - 1]! < id))).toBe(-1);
    expect(ids.every(isUuid7)).toBe(true);
  }, 30_000);
  it.each([
    { text: "017F22E2-79B0-7CC3-98C4-DC0C0C07398F", want: false },
    { text: "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", want: true },
    { text: "017f22e2-79b0-4cc3-98c4-dc0c0c07398f", want: false },
    { text: "", want: false },
  ])("knows $text", ({ text, want }) => {
    expect(isUuid7(text)).toBe(want);
  });
});
