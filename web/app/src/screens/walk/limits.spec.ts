import { describe, expect, it } from "vitest";
import intervals from "../../../../../testdata/reference/hotspots/binomial-intervals.json?raw";
import thresholds from "../../../../../testdata/reference/hotspots/binomial-thresholds.json?raw";
import poisson from "../../../../../testdata/reference/hotspots/poisson-limits.json?raw";
import { binomialAtLeast, binomialAtMost, meanLimits, poissonAtLeast, poissonAtMost, shareLimits } from "./limits";
import { roundedUp, weigh } from "./weigh";

// The files' own.
const tolerance = 1e-9;
const near = (got: number, want: number) => expect(Math.abs(got - want), `got ${got}, want ${want}`).toBeLessThanOrEqual(tolerance * (1 + Math.abs(want)));

interface Share {
  x: number;
  n: number;
  clopper_pearson_95: [number, number];
  clopper_pearson_90: [number, number];
  p_greater_than_5pct: number;
  p_greater_than_1pct: number;
  p_less_than_5pct: number;
}

interface Mean {
  counted: number;
  looks: number;
  rate: number;
  garwood_95: [number, number];
  garwood_90: [number, number];
  p_at_least: number;
  p_at_most: number;
}

// R binom.test and poisson.test; see testdata/reference/hotspots.
describe("exact limits against R", () => {
  const shares: Share[] = JSON.parse(intervals).expected;
  it("has all rows", () => expect(shares.length).toBeGreaterThanOrEqual(14));
  it.each(shares)("$x of $n", (e) => {
    for (const [tail, want] of [[0.025, e.clopper_pearson_95], [0.05, e.clopper_pearson_90]] as const) {
      const got = shareLimits(e.x, e.n, tail);
      near(got[0], want[0]);
      near(got[1], want[1]);
    }
    near(binomialAtLeast(e.x, e.n, 0.05), e.p_greater_than_5pct);
    near(binomialAtLeast(e.x, e.n, 0.01), e.p_greater_than_1pct);
    near(binomialAtMost(e.x, e.n, 0.05), e.p_less_than_5pct);
  });
  const means: Mean[] = JSON.parse(poisson).expected;
  it.each(means)("$counted in $looks looks", (e) => {
    for (const [tail, want] of [[0.025, e.garwood_95], [0.05, e.garwood_90]] as const) {
      const got = meanLimits(e.counted, e.looks, tail);
      near(got[0], want[0]);
      near(got[1], want[1]);
    }
    near(poissonAtLeast(e.counted, e.rate * e.looks), e.p_at_least);
    near(poissonAtMost(e.counted, e.rate * e.looks), e.p_at_most);
  });
});

const share = { method: "binomial", level: 0.01, any: false, look: 100, sides: 2, sureness: 0.95 } as const;

describe("the three-way answer", () => {
  // Exact decision limits at 1 % and 5 %: testdata/reference, scipy binom.
  interface Limit {
    n: number;
    p0: number;
    alpha: number;
    smallest_count_showing_more_than_p0: number | null;
    largest_count_showing_less_than_p0: number | null;
  }
  const limits: Limit[] = JSON.parse(thresholds).expected.limits;
  it.each(limits)("turns at the limits of $n looked at, $p0, $alpha", (l) => {
    const rules = { ...share, level: l.p0, sides: 1, sureness: 1 - l.alpha } as const;
    const answer = (hits: number) => weigh(rules, { n: l.n, hits })?.answer;
    const more = l.smallest_count_showing_more_than_p0;
    const less = l.largest_count_showing_less_than_p0;
    if (more !== null) expect([answer(more), answer(more - 1) === "above"]).toEqual(["above", false]);
    if (less !== null) expect([answer(less), answer(less + 1) === "below"]).toEqual(["below", false]);
    else expect(answer(0)).not.toBe("below");
  });
  it("cannot tell of 1 of 100 at 1 %", () => {
    expect(weigh(share, { n: 100, hits: 1 })).toMatchObject({ answer: "cannot-tell", rate: 0.01 });
  });
  it("says how many more: the limits turn exactly there", () => {
    const got = weigh(share, { n: 100, hits: 1 })!;
    expect(weigh(share, { n: 100 + got.ifClean!, hits: 1 })!.answer).toBe("below");
    expect(weigh(share, { n: 100 + got.ifClean! - 1, hits: 1 })!.answer).toBe("cannot-tell");
    expect(weigh(share, { n: 100 + got.ifAllHits!, hits: 1 + got.ifAllHits! })!.answer).toBe("above");
  });
  // 299 plants, none: (1 - p)^299 = 0.05 at p = 0.00997.
  it("says what a clean look excludes", () => {
    const got = weigh(share, { n: 299, hits: 0 })!;
    near(got.excludes!, 1 - 0.05 ** (1 / 299));
    expect(roundedUp(100 * got.excludes!)).toBe(1);
  });
  it("takes one as enough where the rule is so, and a clean look only as a whole sample", () => {
    const any = { ...share, level: null, any: true };
    expect([0, 1].map((hits) => weigh(any, { n: 100, hits })!.answer)).toEqual(["below", "above"]);
    expect(weigh(any, { n: 60, hits: 0 })).toMatchObject({ answer: "cannot-tell", ifClean: 40, ifAllHits: 1 });
  });
  it.each([{ n: 0, hits: 0 }, { n: 5, hits: 6 }, { n: 1e9, hits: 0 }])("weighs no $hits of $n", (tally) => {
    expect(weigh(share, tally)).toBeNull();
  });
  it("counts more than one a look where looks may show several", () => {
    expect(weigh({ ...share, method: "poisson", level: null }, { n: 5, hits: 6 })!.rate).toBe(1.2);
  });
});
