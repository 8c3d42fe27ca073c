import { describe, expect, it } from "vitest";
import type { Entry } from "./area";
import { core } from "./core";
import { disease } from "./disease";
import { ground } from "./ground";
import { imports } from "./imports";
import { day, number, t } from "./index";
import { offline } from "./offline";
import { papers } from "./papers";
import { pass } from "./pass";
import { planting } from "./planting";
import { plants } from "./plants";
import { removals } from "./removals";
import { walk } from "./walk";

const areas: Record<string, { en: Record<string, Entry>; es: Record<string, Entry> }> = {
  core,
  ground,
  imports,
  walk,
  disease,
  pass,
  papers,
  offline,
  planting,
  plants,
  removals,
};
const whole = (e: Entry) => (typeof e === "string" ? e : `${e.one} ${e.other}`);
const places = (e: Entry) => [...new Set(whole(e).match(/\{\w+\}/g) ?? [])].sort().join(" ");

describe.each(Object.entries(areas))("the texts of %s", (name, texts) => {
  it.each(Object.keys(texts.en))("%s has the same places for figures in both languages", (key) => {
    expect(places(texts.es[key]!)).toBe(places(texts.en[key]!));
  });
  it("keep to their prefix, so that no area overwrites another's", () => {
    if (name === "core") return expect(Object.keys(texts.en).filter((k) => /^(ground|imports|walk|disease|pass|papers|planting|plants|removals|offline)-/.test(k))).toEqual([]);
    expect(Object.keys(texts.en).filter((k) => !k.startsWith(`${name}-`))).toEqual([]);
  });
});

describe("t", () => {
  it.each([
    { n: 1, of: "en", want: "1 waiting to send" },
    { n: 2, of: "en", want: "2 waiting to send" },
    { n: 1, of: "es", want: "1 por enviar" },
  ] as const)("fills in $n in $of", ({ n, of, want }) => {
    expect(t("core-waiting", { n }, of)).toBe(want);
  });
});

describe("numbers and days", () => {
  it("are written as growers in the US write them in both languages", () => {
    expect([number(1234.5, 1, "en"), number(1234.5, 1, "es")]).toEqual(["1,234.5", "1,234.5"]);
  });
  it.each([
    { value: "2026-06-10", zone: "America/Los_Angeles", of: "en", want: "10 Jun 2026" },
    { value: "2026-06-10", zone: "Pacific/Auckland", of: "es", want: "10 jun 2026" },
    { value: "2026-06-10T02:00:00Z", zone: "America/New_York", of: "en", want: "9 Jun 2026" },
    { value: "soon", zone: "UTC", of: "en", want: "soon" },
  ] as const)("$value in $zone, $of", ({ value, zone, of, want }) => {
    expect(day(value, zone, of)).toBe(want);
  });
});
