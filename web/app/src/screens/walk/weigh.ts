import type { Programme, Verdict } from "../../api/fieldwork";
import { binomialAtLeast, binomialAtMost, meanLimits, mostHits, mostLooked, poissonAtLeast, poissonAtMost, shareLimits } from "./limits";

/** What is counted by a programme. */
export interface Tally {
  /** Looked at. */
  readonly n: number;
  readonly hits: number;
  /** One looked at may show more than one. */
  readonly several?: boolean;
}

export const noTally: Tally = { n: 0, hits: 0 };

/** A count as this phone weighs it: a preview by the server's rules. */
export interface Preview {
  readonly answer: Verdict;
  readonly rate: number;
  readonly interval: readonly [number, number];
  /** Further looks until below, none of them a hit; null where it takes too many, or there is an answer. */
  readonly ifClean: number | null;
  /** Further looks until above, each of them a hit. */
  readonly ifAllHits: number | null;
  /** The rate a look without a hit speaks against; null with hits. */
  readonly excludes: number | null;
}

type Rules = Pick<Programme, "method" | "level" | "any" | "look" | "sides" | "sureness">;

// Nobody looks at more before asking again.
const mostMore = 10_000;

/** Weighs a count; null where nothing was looked at, or it cannot be, or it is too large for a phone. */
export function weigh(p: Rules, { n, hits }: Tally): Preview | null {
  if (n < 1 || n > mostLooked || hits < 0 || hits > mostHits || (p.method === "binomial" && hits > n)) return null;
  const tail = p.sides === 1 ? 1 - p.sureness : (1 - p.sureness) / 2;
  const limits = p.method === "poisson" ? meanLimits : shareLimits;
  const common = { rate: hits / n, interval: limits(hits, n, tail), excludes: hits === 0 ? limits(0, n, 1 - p.sureness)[1] : null };
  if (p.any) return { ...common, ...oneIsEnough(p, n, hits) };
  if (p.level === null) return { ...common, answer: "cannot-tell", ifClean: null, ifAllHits: null };
  const test = tests(p.method, p.level, tail);
  if (test.above(n, hits)) return { ...common, answer: "above", ifClean: null, ifAllHits: null };
  if (test.below(n, hits)) return { ...common, answer: "below", ifClean: null, ifAllHits: null };
  return {
    ...common,
    answer: "cannot-tell",
    ifClean: least((more) => test.below(n + more, hits)),
    ifAllHits: least((more) => test.above(n + more, hits + more)),
  };
}

function oneIsEnough(p: Rules, n: number, hits: number): Pick<Preview, "answer" | "ifClean" | "ifAllHits"> {
  if (hits > 0) return { answer: "above", ifClean: null, ifAllHits: null };
  if (p.look > 0 && n >= p.look) return { answer: "below", ifClean: null, ifAllHits: null };
  return { answer: "cannot-tell", ifClean: p.look > n ? p.look - n : null, ifAllHits: 1 };
}

function tests(method: Rules["method"], level: number, tail: number) {
  if (method === "poisson") {
    return {
      above: (n: number, k: number) => k > 0 && poissonAtLeast(k, level * n) <= tail,
      below: (n: number, k: number) => poissonAtMost(k, level * n) <= tail,
    };
  }
  return {
    above: (n: number, k: number) => k > 0 && binomialAtLeast(k, n, level) <= tail,
    below: (n: number, k: number) => binomialAtMost(k, n, level) <= tail,
  };
}

/** The smallest number from 1 to mostMore at which `reached` holds, which never turns back; null for none. */
function least(reached: (more: number) => boolean): number | null {
  if (!reached(mostMore)) return null;
  let [lo, hi] = [1, mostMore];
  while (lo < hi) {
    const mid = Math.floor((lo + hi) / 2);
    if (reached(mid)) hi = mid;
    else lo = mid + 1;
  }
  return lo;
}

/** Two digits, never less than it is: "under" must stay true. */
export function roundedUp(v: number): number {
  if (v <= 0) return 0;
  const digits = 1 - Math.floor(Math.log10(v));
  const scale = 10 ** digits;
  return Math.ceil(v * scale - 1e-9) / scale;
}
