import { describe, expect, it } from "vitest";
import { wallTime, zoned } from "./zoned";

// US clocks change on the second Sunday of March and the first of November at
// 02:00 (15 U.S.C. 260a): 8 March and 1 November in 2026.
describe("wall time to an instant", () => {
  it.each([
    { name: "summer", local: "2026-06-10T06:30", zone: "America/New_York", want: "2026-06-10T06:30:00-04:00" },
    { name: "winter", local: "2026-01-10T06:30", zone: "America/New_York", want: "2026-01-10T06:30:00-05:00" },
    { name: "the first of a repeated hour", local: "2026-11-01T01:30", zone: "America/New_York", want: "2026-11-01T01:30:00-04:00" },
    { name: "the hour after it", local: "2026-11-01T02:30", zone: "America/New_York", want: "2026-11-01T02:30:00-05:00" },
    { name: "half-hour zones", local: "2026-06-10T06:30", zone: "Asia/Kolkata", want: "2026-06-10T06:30:00+05:30" },
    { name: "UTC", local: "2026-06-10T06:30:15", zone: "UTC", want: "2026-06-10T06:30:15+00:00" },
    { name: "an hour that is jumped over", local: "2026-03-08T02:30", zone: "America/New_York", want: null },
    { name: "a day that is not", local: "2026-02-30T06:30", zone: "UTC", want: null },
    { name: "words", local: "soon", zone: "UTC", want: null },
  ])("$name", ({ local, zone, want }) => {
    expect(zoned(local, zone)).toBe(want);
  });
  it("comes back as it went", () => {
    const there = zoned("2026-07-04T21:05", "America/Chicago");
    expect(there && wallTime(there, "America/Chicago")).toBe("2026-07-04T21:05");
  });
  it("shows nothing for what is no time", () => {
    expect(wallTime("never", "UTC")).toBe("");
  });
});
