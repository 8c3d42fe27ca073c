import { describe, expect, it } from "vitest";
import type { Question, Topic } from "../../../api/imports";
import { taken } from "./columns";
import { answerTo, byTopic, epsg } from "./questions";

describe("a code of a coordinate system", () => {
  it.each([
    { text: "32615", want: "EPSG:32615" },
    { text: " epsg: 3433 ", want: "EPSG:3433" },
    { text: "EPSG::04326", want: "EPSG:4326" },
    { text: "UTM 15", want: null },
    { text: "1234567", want: null },
    { text: "", want: null },
  ])("“$text” is $want", ({ text, want }) => expect(epsg(text)).toBe(want));
});

describe("questions", () => {
  const q = (topic: string | undefined, key: string) => ({ topic, key, message: key, at: {} }) as Question;
  it("stand together by topic; a topic newer than this page is told without a form", () => {
    const got = byTopic([q("system", "a"), q("day-order", "b"), q("system", "c"), q("phase of the moon", "d"), q(undefined, "e")]);
    expect([...got].map(([topic, of]) => [topic, of.map((one) => one.key).join("")])).toEqual([["system", "ac"], ["day-order", "b"], ["other", "de"]]);
  });
  it.each<{ topic: Exclude<Topic, "columns">; value: string; want: object }>([
    { topic: "system", value: "EPSG:4326", want: { system: "EPSG:4326" } },
    { topic: "day-order", value: "day-first", want: { day_order: "day-first" } },
    { topic: "zone", value: "America/Chicago", want: { zone: "America/Chicago" } },
    { topic: "axes", value: "true", want: { swap: true } },
    { topic: "axes", value: "false", want: { swap: false } },
  ])("of $topic answered $value", ({ topic, value, want }) => expect(answerTo(topic, value)).toEqual(want));
});

describe("columns", () => {
  it("are taken as one field each; a field moves to the column chosen last", () => {
    expect(taken({ A: "longitude", B: "latitude", C: "other" }, "C", "latitude")).toEqual({ A: "longitude", B: "other", C: "latitude" });
  });
  it("can be left out, any number of them", () => expect(taken({ A: "leave", B: "note" }, "B", "leave")).toEqual({ A: "leave", B: "leave" }));
});
