import { describe, expect, it } from "vitest";
import type { Programme } from "../../api/scouting";
import { emptyForm, formOf, idOf, newId, readForm, using, withoutProgramme, withProgramme } from "./programme";

const buds: Programme = {
  id: "clipped-buds",
  cause: "clipper-weevil",
  title: "Clipped buds",
  stage: "bloom",
  what: "clusters with a clipped bud",
  unit: "clusters",
  sample: "Look at 100 clusters.",
  look: 100,
  sites: 0,
  level: 0.07,
  at_least: false,
  any: false,
  sides: 2,
  sureness: 0.95,
  method: "binomial",
  note: "",
  source: "common practice",
  own: false,
  built_in: true,
};

describe("a programme as it is typed", () => {
  it("says a share in percent and comes back as it was", () => {
    const form = formOf(buds);
    expect(form.level).toBe("7");
    expect(form.sureness).toBe("95");
    const read = readForm(form);
    const { own: _own, built_in: _builtIn, ...sent } = buds;
    expect(read).toEqual({ ok: true, programme: sent });
  });
  it("keeps a mean as it is, and takes a decimal comma", () => {
    const read = readForm({ ...formOf(buds), method: "poisson", level: "2,5" });
    expect(read.ok && read.programme.level).toBe(2.5);
  });
  it("sends no level where one hit is enough or nobody knows one", () => {
    for (const rule of ["any", "none"] as const) {
      const read = readForm({ ...formOf(buds), rule, level: "x" });
      expect(read.ok && "level" in read.programme).toBe(false);
      expect(read.ok && read.programme.any).toBe(rule === "any");
    }
  });
  it("names what is missing and what is no number", () => {
    expect(readForm(emptyForm)).toEqual({ ok: false, missing: ["title", "cause", "what", "unit", "level"], noNumber: [] });
    expect(readForm({ ...formOf(buds), look: "many", level: "1 %" })).toEqual({ ok: false, missing: [], noNumber: ["look", "level"] });
  });
});

describe("the farm's list", () => {
  const read = readForm(formOf(buds));
  const own = read.ok ? read.programme : null;
  it("holds each programme once and in its place", () => {
    const first = withProgramme({}, own!);
    expect(first.index).toBe(0);
    const two = withProgramme(first.edits, { ...own!, id: "mites" });
    const again = withProgramme(two.edits, { ...own!, title: "Buds" });
    expect(again.index).toBe(0);
    expect(again.edits.programmes?.map((p) => p.title)).toEqual(["Buds", "Clipped buds"]);
    expect(withoutProgramme(again.edits, "clipped-buds").programmes?.map((p) => p.id)).toEqual(["mites"]);
  });
  it("leaves a programme out and takes it in again, once", () => {
    const out = using(using({ hidden: ["a"] }, "b", false), "b", false);
    expect(out.hidden).toEqual(["a", "b"]);
    expect(using(out, "a", true).hidden).toEqual(["b"]);
  });
});

describe("ids", () => {
  it("come from the title, without accents, and once each", () => {
    expect(idOf("Ácaros por hoja (3.ª)")).toBe("acaros-por-hoja-3");
    expect(idOf("2 spotted")).toBe("spotted");
    expect(idOf("...")).toBe("");
    expect(newId("Mites", ["mites", "mites-2"])).toBe("mites-3");
    expect(newId("x".repeat(60), []).length).toBe(40);
  });
});
