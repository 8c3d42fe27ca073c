import { describe, expect, it } from "vitest";
import { stretches } from "../../rowmap/rowplace";
import { readPlants, writePlants } from "./plants";

describe("plants as typed", () => {
  it("are read once and in order", () => {
    expect(readPlants("5:2, 4:35-36; 4:36")).toEqual({
      ok: true,
      plants: [
        { row: 4, plant: 35 },
        { row: 4, plant: 36 },
        { row: 5, plant: 2 },
      ],
    });
  });
  it.each(["35", "4:0", "0:4", "4:9-2", "row 4: 35", "1:1-999999"])("refuse %s and name it", (word) => {
    expect(readPlants(`4:1, ${word}`)).toEqual({ ok: false, word });
  });
  it("are written as they are read", () => {
    const text = "4:35, 4:38-44";
    const got = readPlants(text);
    expect(got.ok && writePlants(stretches(got.plants))).toBe(text);
  });
});
