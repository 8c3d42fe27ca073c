import { describe, expect, it } from "vitest";
import type { Proposed, Said } from "../../../api/imports";
import type { Geometry } from "../../../geo/position";
import { firstChoices } from "./agree";
import { numbered, ofFile, shapeAs, shown } from "./onmap";

const at = (x: number): Geometry => ({ type: "Point", coordinates: [x, 36] });
const shape = (number: number, over: Partial<Proposed> = {}): Proposed => ({
  number,
  id: `id-${number}`,
  name: `Block ${number}`,
  state: "ready",
  choices: ["read"],
  feature: { type: "Feature", geometry: at(number), properties: {} },
  ...over,
});
const says = (key: string, place: Said["at"] = {}): Said => ({ key, message: key, at: place });

describe("the map of a proposal", () => {
  const crossing = shape(2, {
    state: "ask",
    choices: ["repaired", "reordered"],
    as_read: at(20),
    shapes: { repaired: at(21), reordered: at(22) },
    said: [{ ...says("crosses", { position: [20, 36] }), piece: at(23) }],
  });
  const all = [shape(1), crossing, shape(3, { state: "refused", choices: [], feature: { type: "Feature", geometry: null, properties: {} }, as_read: at(30) })];
  const choices = new Map(firstChoices(all));

  it("shows what is taken, what is left, how the file draws it and the ground in question", () => {
    const got = shown(all, all, choices);
    expect(Object.entries(got).map(([name, shapes]) => [name, shapes.map((s) => [s.geometry, s.label])])).toEqual([
      ["import-left", [[at(2), "Block 2"], [at(30), "Block 3"]]],
      ["import-read", [[at(20), undefined]]],
      ["import-taken", [[at(1), "Block 1"]]],
      ["import-piece", [[at(23), undefined]]],
    ]);
  });
  it("shows a shape the way it was chosen", () => {
    const said = new Map(choices).set(2, { as: "reordered", name: "", kind: "", row: "" });
    expect(shapeAs(crossing, said)).toEqual(at(22));
    expect(shown(all, all, said)["import-taken"][1]?.geometry).toEqual(at(22));
  });
  it("names only the shapes of the page", () => {
    const got = shown(all, [], choices);
    expect(got["import-taken"].map((s) => s.label)).toEqual([undefined]);
    expect([got["import-read"], got["import-piece"]]).toEqual([[], []]);
  });
});

describe("what is said", () => {
  it("is numbered in order where it has a place", () => {
    const said = [says("a"), says("b", { position: [1, 2] }), says("c", { position: [3, 4] })];
    expect(numbered(said, 4).map((n) => n.mark)).toEqual([null, 5, 6]);
  });
  it("of the file leaves out what a shape says itself", () => {
    const shapes = [shape(1, { said: [says("crosses", { feature: 1, ring: 1 })] })];
    expect(ofFile([says("crosses", { feature: 1, ring: 1 }), says("crosses", { feature: 2, ring: 1 }), says("bom")], shapes).map((s) => s.at.feature ?? s.key)).toEqual([2, "bom"]);
  });
});
