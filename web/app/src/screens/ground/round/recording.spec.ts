import { describe, expect, it } from "vitest";
import { begin, clock, featureOf, type Fix, figures, fixCount, fixOf, lastFix, likely, maxFixes, type Recording, timeS, withFix, withoutLast, withPause } from "./recording";

// At 36 degrees north a ten-thousandth of a degree of latitude is 11.1 m.
const fix = (s: number, over: Partial<Fix> = {}): Fix => ({ at: [-86.5, 36.1 + s * 0.00001], heightM: 0, takenAtS: 1000 + s, accuracyM: 4, ...over });
const walked = (...fixes: Fix[]): Recording => fixes.reduce(withFix, begin(1000));
const seconds = (fixes: readonly Fix[]) => fixes.map((f) => f.takenAtS - 1000);

describe("a recording", () => {
  it("takes a fix told twice once", () => expect(fixCount(walked(fix(1), fix(1), fix(2)))).toBe(2));
  it("takes no fix older than the last", () => expect(fixCount(walked(fix(5), fix(3)))).toBe(1));
  it("begins a segment after a pause, and one pause is enough", () => {
    const r = withFix(withPause(withPause(walked(fix(1), fix(2)))), fix(60));
    expect(r.segments.map(seconds)).toEqual([[1, 2], [60]]);
  });
  it("takes no older fix after a pause either", () => expect(fixCount(withFix(withPause(walked(fix(5))), fix(5)))).toBe(1));
  it("leaves out the last fix, back over a pause", () => {
    const r = withFix(withPause(walked(fix(1), fix(2))), fix(60));
    expect(withoutLast(r).segments.map(seconds)).toEqual([[1, 2], []]);
    expect(seconds([lastFix(withoutLast(withoutLast(r)))!])).toEqual([1]);
    expect(withoutLast(begin(1))).toEqual(begin(1));
  });
  it("ends at its bound", () => {
    const full: Recording = { startedAtS: 1000, segments: [Array.from({ length: maxFixes }, (_, i) => fix(i))] };
    expect(withFix(full, fix(maxFixes + 1))).toBe(full);
  });
});

describe("the likely fixes", () => {
  const lost = fix(3, { at: [0, 0] });
  const away = fix(3, { at: [-86.49, 36.1] }); // 900 m in a second
  it.each([
    { name: "a sound walk", fixes: [fix(1), fix(2), fix(3)], want: [1, 2, 3] },
    { name: "a fix at 0,0", fixes: [fix(1), fix(2), lost, fix(4)], want: [1, 2, 4] },
    { name: "a jump there and back", fixes: [fix(1), fix(2), away, fix(4)], want: [1, 2, 4] },
    { name: "a first fix astray", fixes: [fix(1, { at: [-86.4, 36.1] }), fix(2), fix(3)], want: [2, 3] },
    { name: "a hole of reception with way under it", fixes: [fix(1), fix(2), fix(200), fix(201)], want: [1, 2, 200, 201] },
    { name: "a last fix astray", fixes: [fix(1), fix(2), away], want: [1, 2] },
    { name: "nothing", fixes: [], want: [] },
  ])("of $name", ({ fixes, want }) => expect(seconds(likely(fixes))).toEqual(want));
});

describe("the figures", () => {
  it("count the way in segments only, and the straight way back", () => {
    const r = withFix(withFix(withPause(walked(fix(0), fix(10))), fix(20)), fix(30));
    const f = figures(r);
    // 0.0001 degrees of the meridian at 36.1 north: 11.10 m (WGS 84, meridian radius 6,357.4 km).
    expect(f.wayM).toBeCloseTo(2 * 11.096, 1);
    expect(f.backM).toBeCloseTo(3 * 11.096, 1);
    expect(f).toMatchObject({ fixes: 4, astray: 0 });
  });
  it("know no way back before there are two places", () => expect(figures(walked(fix(1))).backM).toBeNull());
  it("count what looks wrong", () => expect(figures(walked(fix(1), fix(2, { at: [0, 0] }), fix(3)))).toMatchObject({ fixes: 3, astray: 1 }));
  it("count time without pauses, the running segment up to now", () => {
    const r = withFix(withPause(walked(fix(0), fix(10))), fix(100));
    expect([timeS(r, null), timeS(r, 1130)]).toEqual([10, 40]);
  });
  it.each([
    { s: 5.9, want: "0:05" },
    { s: 725, want: "12:05" },
    { s: 3725, want: "1:02:05" },
    { s: -3, want: "0:00" },
  ])("$s s are $want", ({ s, want }) => expect(clock(s)).toBe(want));
});

describe("what is sent", () => {
  it("is a line of longitude, latitude, height and time, with the accuracies (RFC 7946: longitude first)", () => {
    expect(featureOf(walked(fix(0, { heightM: 200.5 }), fix(1, { at: [-86.5, 36.1], accuracyM: null })))).toEqual({
      type: "Feature",
      geometry: { type: "LineString", coordinates: [[-86.5, 36.1, 200.5, 1000], [-86.5, 36.1, 0, 1001]] },
      properties: { name: "", accuracies_m: [4, null] },
    });
  });
  it("has a line for each segment and an accuracy for each position; a segment of one fix is none", () => {
    const first = withPause(walked(fix(0), fix(1)));
    const second = withPause(withFix(first, fix(5)));
    const r = withFix(withFix(second, fix(8)), fix(9, { accuracyM: 7 }));
    const f = featureOf(r);
    expect(f?.geometry).toMatchObject({ type: "MultiLineString" });
    expect(f?.geometry.type === "MultiLineString" && f.geometry.coordinates.map((l) => l.map((p) => p[3]! - 1000))).toEqual([[0, 1], [8, 9]]);
    expect(f?.properties.accuracies_m).toEqual([4, 4, 4, 7]);
  });
  it("is nothing where there is no line", () => expect(featureOf(walked(fix(0)))).toBeNull());
  it("takes a device's position without height at 0, its time in seconds", () => {
    const coords = { longitude: -86.123456789, latitude: 36.1, altitude: null, accuracy: 4.44 } as GeolocationCoordinates;
    expect(fixOf({ coords, timestamp: 1_780_000_000_123 } as GeolocationPosition)).toEqual({ at: [-86.12345679, 36.1], heightM: 0, takenAtS: 1_780_000_000.123, accuracyM: 4.4 });
  });
});
