import { type Signal, signal } from "../model/signal";

/** How far this device's clock is ahead of the server's, seconds; below 0 behind, null before the first answer. */
export const clockAheadS: Signal<number | null> = signal<number | null>(null);

/** Less tells of the way and of whole seconds, and misleads nobody. */
export const worthSayingS = 60;

/** Reads an answer's Date; the middle between asking and answer is taken for its moment. */
export function heardClock(date: string | null, askedMs: number, answeredMs: number): void {
  const told = Date.parse(date ?? "");
  // A clock set while the answer was under way says nothing.
  if (Number.isFinite(told) && answeredMs >= askedMs) clockAheadS.set(Math.round(((askedMs + answeredMs) / 2 - told) / 1000));
}

/** A difference in the largest unit that tells it: 2 days, 3 hours, 5 minutes. */
export function roughly(seconds: number, locale: string): string {
  const s = Math.abs(seconds);
  const [unit, size] = s >= 36 * 3600 ? (["day", 86_400] as const) : s >= 5400 ? (["hour", 3600] as const) : (["minute", 60] as const);
  return new Intl.NumberFormat(locale, { style: "unit", unit, unitDisplay: "long", maximumFractionDigits: 0 }).format(Math.round(s / size));
}
