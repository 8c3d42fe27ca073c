import { describe, expect, it } from "vitest";
import { feature, type Stored, type SurroundingsProperties } from "../../model/kinds";
import { nearLines } from "./measured";

const near = (id: string, properties: SurroundingsProperties): Stored<"surroundings"> => ({
  kind: "surroundings",
  id,
  feature: feature<"surroundings">(id, { type: "Point", coordinates: [0, 0] }, properties),
  revision: 1,
  etag: null,
  extra: {},
});

describe("what lies near a block", () => {
  it("stands nearest first, the farm's boundary and roads last", () => {
    const answer = {
      areas: { planted_m2: 0 },
      row_length_m: 0,
      distances: [
        { to: "b", kind: "boundary", m: 1 },
        { to: "w", kind: "well", m: 38.4 },
        { to: "h", kind: "hives", m: 12.5 },
      ],
    } as const;
    const got = nearLines(answer, [near("w", { kind: "well", name: "Yard well", drawn_by_eye: true })]);
    expect(got.map((l) => [l.id, l.name, l.byEye])).toEqual([["h", "", false], ["w", "Yard well", true], ["b", "", false]]);
  });
  it("is nothing before the server has answered", () => expect(nearLines(null, [])).toEqual([]));
});
