// Exact limits of counts, for the preview of a count where there is no server to
// ask. Sums of the terms themselves: the samples of a walk are small.

/** Past this a preview takes too long on a phone; the server weighs larger ones. */
export const mostLooked = 20_000;
export const mostHits = 20_000;

// A term this small against the sum changes no digit of it.
const settled = 1e-17;

/** The sum of first, first*next(1), first*next(1)*next(2) … while it still grows. */
function sum(first: number, terms: number, next: (i: number) => number): number {
  let term = first;
  let total = first;
  for (let i = 1; i < terms; i++) {
    term *= next(i);
    total += term;
    if (term <= total * settled) break;
  }
  return total;
}

/** The chance of exactly k of n, each with chance p. */
function binomialTerm(k: number, n: number, p: number): number {
  const small = Math.min(k, n - k);
  let log = k * Math.log(p) + (n - k) * Math.log1p(-p);
  for (let i = 1; i <= small; i++) log += Math.log((n - small + i) / i);
  return Math.exp(log);
}

/** The chance of k of n or more. Summed from the side where the terms fall. */
export function binomialAtLeast(k: number, n: number, p: number): number {
  if (k <= 0 || p >= 1) return 1;
  if (k > n || p <= 0) return 0;
  if (k < n * p) return 1 - binomialAtMost(k - 1, n, p);
  return sum(binomialTerm(k, n, p), n - k + 1, (i) => (((n - k - i + 1) / (k + i)) * p) / (1 - p));
}

/** The chance of k of n or fewer. */
export function binomialAtMost(k: number, n: number, p: number): number {
  if (k >= n || p <= 0) return 1;
  if (k < 0 || p >= 1) return 0;
  if (k > n * p) return 1 - binomialAtLeast(k + 1, n, p);
  return sum(binomialTerm(k, n, p), k + 1, (i) => (((k - i + 1) / (n - k + i)) * (1 - p)) / p);
}

function poissonTerm(k: number, mean: number): number {
  let log = k * Math.log(mean) - mean;
  for (let i = 2; i <= k; i++) log -= Math.log(i);
  return Math.exp(log);
}

/** The chance of counting k or more where `mean` are expected. */
export function poissonAtLeast(k: number, mean: number): number {
  if (k <= 0) return 1;
  if (mean <= 0) return 0;
  if (k < mean) return 1 - poissonAtMost(k - 1, mean);
  return sum(poissonTerm(k, mean), Number.POSITIVE_INFINITY, (i) => mean / (k + i));
}

/** The chance of counting k or fewer. */
export function poissonAtMost(k: number, mean: number): number {
  if (k < 0) return 0;
  if (mean <= 0) return 1;
  if (k > mean) return 1 - poissonAtLeast(k + 1, mean);
  return sum(poissonTerm(k, mean), k + 1, (i) => (k - i + 1) / mean);
}

/** Halves from lo to hi down to neighbouring numbers: where a test that is false below turns true. */
function turn(lo: number, hi: number, reached: (x: number) => boolean): number {
  for (;;) {
    const mid = lo + (hi - lo) / 2;
    if (mid <= lo || mid >= hi || hi - lo <= 1e-17) return hi;
    if (reached(mid)) hi = mid;
    else lo = mid;
  }
}

/** Exact limits of a share (Clopper and Pearson 1934), the chance `tail` left outside at each end. */
export function shareLimits(hits: number, n: number, tail: number): [number, number] {
  const lo = hits === 0 ? 0 : turn(0, 1, (p) => binomialAtLeast(hits, n, p) > tail);
  const hi = hits === n ? 1 : turn(0, 1, (p) => binomialAtMost(hits, n, p) <= tail);
  return [lo, hi];
}

/** Exact limits of a mean count a look (Garwood 1936). */
export function meanLimits(counted: number, looks: number, tail: number): [number, number] {
  // A mean past twice the count and 800 more leaves either tail far below any level.
  const far = 2 * counted + 800;
  const lo = counted === 0 ? 0 : turn(0, far, (m) => poissonAtLeast(counted, m) > tail);
  const hi = turn(0, far, (m) => poissonAtMost(counted, m) <= tail);
  return [lo / looks, hi / looks];
}
