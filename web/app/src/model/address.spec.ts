import { describe, expect, it } from "vitest";
import { type Address, readAddress, writeAddress } from "./address";

const full: Address = { farm: "demo", place: "walk", block: "b-1", season: "2026", view: "find:new" };

describe("addresses", () => {
  it("come back as they went", () => {
    const [path, search] = writeAddress(full).split("?");
    expect(readAddress(path!, `?${search}`)).toEqual(full);
  });
  it.each([
    { name: "the root", path: "/", search: "", want: { farm: undefined, place: "ground" } },
    { name: "an unknown place", path: "/go/demo/elsewhere", search: "", want: { farm: "demo", place: "ground" } },
    { name: "a broken escape", path: "/go/%E0%A4%A/pass", search: "?block=", want: { farm: "%E0%A4%A", place: "pass" } },
  ])("$name", ({ path, search, want }) => {
    expect(readAddress(path, search)).toMatchObject({ ...want, block: undefined });
  });
});
