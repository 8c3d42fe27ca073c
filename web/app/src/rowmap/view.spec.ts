import { describe, expect, it } from "vitest";
import type { Picture } from "./picture";
import { keyMove } from "./keys";
import { acrossPx, fitted, fromScreen, panned, showing, toScreen, zoomed } from "./view";

const picture: Picture = { rows: [], width: 14, height: 79, bearingDeg: 30, plants: 1200 };
const sizes = { laptop: { width: 938, height: 575 }, phone: { width: 412, height: 300 } };
const corners = [
  [0, 0],
  [14, 0],
  [0, 79],
  [14, 79],
] as const;

describe.each(Object.entries(sizes))("the view on a %s", (_, size) => {
  it.each([0, Math.PI / 6, Math.PI / 2, 3])("fits the whole block turned by %d", (turn) => {
    const v = fitted(picture, size, turn);
    for (const [x, y] of corners) {
      const [sx, sy] = toScreen(v, x, y);
      expect(sx).toBeGreaterThanOrEqual(0);
      expect(sx).toBeLessThanOrEqual(size.width);
      expect(sy).toBeGreaterThanOrEqual(0);
      expect(sy).toBeLessThanOrEqual(size.height);
    }
  });
  it.each([0, 0.7])("goes to the screen and back, turned by %d", (turn) => {
    const v = zoomed(fitted(picture, size, turn), picture, size, 3, [100, 80]);
    const [x, y] = fromScreen(v, ...toScreen(v, 6.3, 40.1));
    expect(x).toBeCloseTo(6.3, 9);
    expect(y).toBeCloseTo(40.1, 9);
  });
  it("holds the place under the fingers while zooming", () => {
    let v = fitted(picture, size, 0);
    const held = fromScreen(v, 120, 90);
    for (const by of [1.3, 2, 4, 0.5]) {
      v = zoomed(v, picture, size, by, [120, 90]);
      const [sx, sy] = toScreen(v, held[0], held[1]);
      expect(sx).toBeCloseTo(120, 6);
      expect(sy).toBeCloseTo(90, 6);
    }
  });
  it("never loses the block at an edge", () => {
    const v = panned(fitted(picture, size, 0), picture, size, [10_000, -10_000]);
    const [left, bottom] = toScreen(v, 0, 0);
    expect(left).toBeLessThan(size.width);
    expect(bottom).toBeGreaterThan(0);
  });
  it("brings a plant in from beyond the edge", () => {
    const v = zoomed(fitted(picture, size, 0), picture, size, 8, [10, 10]);
    const [sx, sy] = toScreen(showing(v, size, 14, 0), 14, 0);
    expect(sx).toBeLessThan(size.width);
    expect(sy).toBeLessThan(size.height);
  });
});

it("rows stand no farther apart close by than a thumb needs", () => {
  const v = zoomed(fitted(picture, sizes.phone, 0), picture, sizes.phone, 100, [200, 100]);
  expect(acrossPx(v)).toBeLessThanOrEqual(72);
  expect(acrossPx(v)).toBeGreaterThanOrEqual(44);
});

describe("keys go the way they point", () => {
  const quarter = Math.PI / 2;
  it.each([
    { key: "ArrowUp", turn: 0, want: { along: 1 } },
    { key: "ArrowDown", turn: 0, want: { along: -1 } },
    { key: "ArrowRight", turn: 0, want: { across: 1 } },
    // Rows running east, north up: along is to the right, the rows' left is up.
    { key: "ArrowRight", turn: quarter, want: { along: 1 } },
    { key: "ArrowUp", turn: quarter, want: { across: -1 } },
    { key: "ArrowDown", turn: 2 * quarter, want: { along: 1 } },
    { key: "ArrowLeft", turn: 3 * quarter, want: { along: 1 } },
    { key: "ArrowUp", turn: 0.3, want: { along: 1 } },
    { key: "Home", turn: 1, want: { end: "first" } },
    { key: "PageDown", turn: 1, want: { rows: 1 } },
    { key: "a", turn: 0, want: null },
  ])("$key, turned by $turn", ({ key, turn, want }) => expect(keyMove({ key, shiftKey: false }, turn)).toEqual(want));
  it("by ten with Shift", () => expect(keyMove({ key: "ArrowUp", shiftKey: true }, 0)).toEqual({ along: 10 }));
});
