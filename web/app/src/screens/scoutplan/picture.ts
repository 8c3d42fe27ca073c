import type { PastCount } from "../../api/scouting";

/** The picture's measures, CSS px. Text in it is 16 px like the rest. */
export const width = 380;
export const height = 240;
export const frame = { left: 58, right: 12, top: 14, bottom: 34 } as const;

export interface Dot {
  readonly count: PastCount;
  readonly x: number;
  readonly y: number;
  readonly low: number;
  readonly high: number;
}

export interface Tick {
  readonly at: number;
  readonly value: number;
}

export interface Drawn {
  readonly dots: readonly Dot[];
  /** Where the action level lies; null where there is none. */
  readonly level: number | null;
  readonly rates: readonly Tick[];
  /** Beginnings of months, as milliseconds. */
  readonly months: readonly Tick[];
}

// More months than this are named every second, third and so on.
const namedMonths = 6;

/** Places counts by date and rate: each with its exact interval, the action level among them. */
export function drawn(counts: readonly PastCount[], level: number | null): Drawn {
  const times = counts.map((c) => Date.parse(c.at));
  const first = new Date(Math.min(...times));
  const last = new Date(Math.max(...times));
  const from = Date.UTC(first.getUTCFullYear(), first.getUTCMonth(), 1);
  const to = Date.UTC(last.getUTCFullYear(), last.getUTCMonth() + 1, 1);
  const across = (at: number) => frame.left + ((at - from) / (to - from)) * (width - frame.left - frame.right);
  const top = Math.max(level ?? 0, ...counts.map((c) => c.interval[1]));
  const step = niceStep(top);
  const most = Math.ceil(top / step - 1e-9) * step || step;
  const down = (rate: number) => height - frame.bottom - (rate / most) * (height - frame.top - frame.bottom);
  const rates: Tick[] = [];
  for (let i = 0; i * step <= most * (1 + 1e-9); i++) rates.push({ at: down(i * step), value: i * step });
  const all: Tick[] = [];
  for (let m = 0; ; m++) {
    const value = Date.UTC(first.getUTCFullYear(), first.getUTCMonth() + m, 1);
    if (value >= to) break;
    all.push({ at: across(value), value });
  }
  const every = Math.ceil(all.length / namedMonths);
  return {
    dots: counts.map((count, i) => ({ count, x: across(times[i]!), y: down(count.rate), low: down(count.interval[0]), high: down(count.interval[1]) })),
    level: level === null ? null : down(level),
    rates,
    months: all.filter((_, i) => i % every === 0),
  };
}

/** 1, 2 or 5 times a power of ten, so that two to five steps reach `top`. */
export function niceStep(top: number): number {
  if (!(top > 0)) return 1;
  const power = 10 ** Math.floor(Math.log10(top));
  const lead = top / power;
  return (lead <= 1 + 1e-9 ? 0.5 : lead <= 2 ? 0.5 : lead <= 5 ? 1 : 2) * power;
}
