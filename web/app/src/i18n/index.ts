import { kept, type Signal } from "../model/signal";
import type { Area, Entry } from "./area";
import { core } from "./core";
import type { disease } from "./disease";
import type { ground } from "./ground";
import type { imports } from "./imports";
import type { keep } from "./keep";
import type { label } from "./label";
import type { people } from "./people";
import { offline } from "./offline";
import type { mayi } from "./mayi";
import type { papers } from "./papers";
import type { pass } from "./pass";
import type { planting } from "./planting";
import type { plants } from "./plants";
import type { removals } from "./removals";
import type { samples } from "./samples";
import type { scoutplan } from "./scoutplan";
import type { walk } from "./walk";

export const languages = ["en", "es"] as const;
export type Language = (typeof languages)[number];

type Keys<A> = A extends Area<infer K> ? K : never;

/** A key of the catalogue. Every key starts with its area: "ground-", "walk-" … */
export type Key = Keys<typeof core> | Keys<typeof offline> | Keys<typeof ground> | Keys<typeof imports> | Keys<typeof walk> | Keys<typeof disease> | Keys<typeof pass> | Keys<typeof mayi> | Keys<typeof papers> | Keys<typeof planting> | Keys<typeof plants> | Keys<typeof removals> | Keys<typeof samples> | Keys<typeof scoutplan> | Keys<typeof keep> | Keys<typeof label> | Keys<typeof people>;

const catalogue: Record<Language, Record<string, Entry>> = { en: { ...core.en, ...offline.en }, es: { ...core.es, ...offline.es } };

/** Enters the texts of an area; a place's texts come with the place (screens/places.ts). */
export function enter(texts: Area<string>): void {
  Object.assign(catalogue.en, texts.en);
  Object.assign(catalogue.es, texts.es);
}

export type Args = Readonly<Record<string, string | number>>;

/** The language of this page, kept on the device. */
export const language: Signal<Language> = kept(
  "caneward.language",
  languages,
  globalThis.navigator?.language?.toLowerCase().startsWith("es") ? "es" : "en",
);

// es-US writes 1,234.5 as US growers do.
const locales: Record<Language, string> = { en: "en-US", es: "es-US" };

/** The locale for Intl. */
export function locale(of: Language = language.get()): string {
  return locales[of];
}

/**
 * The text of a key in the page's language. Numbers are written for the
 * language with at most three decimals: give text where another precision is
 * meant. `args.n` chooses the plural form.
 */
export function t(key: Key, args: Args = {}, of: Language = language.get()): string {
  const entry = catalogue[of][key] ?? key;
  const text = typeof entry === "string" ? entry : entry[form(args, of)];
  return text.replace(/\{(\w+)\}/g, (whole, name: string) => {
    const v = args[name];
    if (v === undefined) return whole;
    return typeof v === "number" ? number(v, 3, of) : v;
  });
}

function form(args: Args, of: Language): "one" | "other" {
  const n = Number(args["n"]);
  return Number.isFinite(n) && new Intl.PluralRules(locales[of]).select(n) === "one" ? "one" : "other";
}

/** Whether a key made from data ("walk-cause-" + cause) is in the catalogue. */
export function isKey(key: string): key is Key {
  return Object.hasOwn(catalogue.en, key);
}

/** The text for a value that may be newer than this page; the value itself where it is unknown. */
export function named(prefix: string, value: string): string {
  const key = `${prefix}${value}`;
  return isKey(key) ? t(key) : value;
}

/** A number with at most `digits` decimals, grouped. */
export function number(value: number, digits = 0, of: Language = language.get()): string {
  return new Intl.NumberFormat(locales[of], { maximumFractionDigits: digits }).format(value);
}

/** A day with its month spelled: 10 Jun 2026. Takes YYYY-MM-DD (that day anywhere) or an instant with its zone. */
export function day(value: string, zone?: string, of: Language = language.get()): string {
  const bare = /^\d{4}-\d{2}-\d{2}$/.test(value);
  const at = new Date(bare ? `${value}T12:00:00Z` : value);
  if (Number.isNaN(at.getTime())) return value;
  const parts = new Intl.DateTimeFormat(locales[of], {
    day: "numeric",
    month: "short",
    year: "numeric",
    timeZone: bare ? "UTC" : zone,
  }).formatToParts(at);
  const part = (type: string) => parts.find((p) => p.type === type)?.value ?? "";
  return `${part("day")} ${part("month")} ${part("year")}`;
}

/** Day and wall time of an instant in a zone: 10 Jun 2026, 06:30. */
export function moment(value: string, zone?: string, of: Language = language.get()): string {
  const at = new Date(value);
  if (Number.isNaN(at.getTime())) return value;
  const clock = new Intl.DateTimeFormat(locales[of], {
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: "h23",
    timeZone: zone,
  }).format(at);
  return `${day(value, zone, of)}, ${clock}`;
}
