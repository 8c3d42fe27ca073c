import { describe, expect, it } from "vitest";
import { clockAheadS, heardClock, roughly } from "./clock";

describe("the device's clock", () => {
  const date = "Wed, 25 Nov 2026 10:00:00 GMT";
  const server = Date.parse(date);
  it("is ahead by what the middle of the asking is", () => {
    heardClock(date, server + 172_800_000 - 500, server + 172_800_000 + 500);
    expect(clockAheadS.get()).toBe(172_800);
    heardClock(null, 0, 0);
    heardClock("nonsense", 0, 0);
    heardClock(date, server, server - 5000);
    expect(clockAheadS.get()).toBe(172_800);
  });
  it.each([
    { s: 172_800, want: "2 days" },
    { s: -7200, want: "2 hours" },
    { s: 65, want: "1 minute" },
  ])("$s s is about $want", ({ s, want }) => expect(roughly(s, "en-US")).toBe(want));
});
