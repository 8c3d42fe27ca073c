// Package stats is the exact arithmetic of counts out of a sample: limits of a
// proportion, tests against a threshold, and how many to look at before "none
// seen" says something. It knows nothing of plants.
//
// All of it takes the sampled things to be independent. Canes of one plant are
// not: then the limits are too narrow, and whoever shows them should say so.
package stats

import (
	"errors"
	"fmt"
	"math"
)

// MaxSampled bounds the cost: a call takes about sqrt(sampled) steps per trial
// value, and up to here the limits hold to 1e-7 of their own size (to 1e-11 up
// to 10,000), the error being that of math.Lgamma's difference.
const MaxSampled = 10_000_000

// What callers can get wrong.
var (
	ErrSample = errors.New("the sample must be 1 or more, and at most 10,000,000")
	ErrHits   = errors.New("the count must be between 0 and the sample")
	ErrLevel  = errors.New("a level lies between 0 and 1, ends excluded")
	ErrShare  = errors.New("a proportion to test against lies between 0 and 1, ends excluded")
)

func checkCount(hits, sampled int) error {
	if sampled < 1 || sampled > MaxSampled {
		return fmt.Errorf("sampled %d: %w", sampled, ErrSample)
	}
	if hits < 0 || hits > sampled {
		return fmt.Errorf("%d of %d: %w", hits, sampled, ErrHits)
	}
	return nil
}

// open reports whether x lies between 0 and 1; NaN does not.
func open(x float64) bool { return x > 0 && x < 1 }

// ClopperPearson gives the two-sided exact limits of a proportion at a level
// such as 0.95, as fractions of 1. No hits give a lower limit of 0, all hits an
// upper one of 1; the other limit then still leaves half of 1-level outside, as
// the interval is defined (C. J. Clopper and E. S. Pearson, Biometrika 26:404,
// 1934).
func ClopperPearson(hits, sampled int, level float64) (lo, hi float64, err error) {
	if err := checkCount(hits, sampled); err != nil {
		return 0, 0, err
	}
	if !open(level) {
		return 0, 0, fmt.Errorf("level %v: %w", level, ErrLevel)
	}
	tail := (1 - level) / 2
	return lowerLimit(hits, sampled, tail), upperLimit(hits, sampled, tail), nil
}

// LowerLimit is the exact one-sided limit: at the level the proportion is at
// least this. 0 when there are no hits.
func LowerLimit(hits, sampled int, level float64) (float64, error) {
	if err := checkCount(hits, sampled); err != nil {
		return 0, err
	}
	if !open(level) {
		return 0, fmt.Errorf("level %v: %w", level, ErrLevel)
	}
	return lowerLimit(hits, sampled, 1-level), nil
}

// UpperLimit is the exact one-sided limit: at the level the proportion is at
// most this. 1 when all are hits.
func UpperLimit(hits, sampled int, level float64) (float64, error) {
	if err := checkCount(hits, sampled); err != nil {
		return 0, err
	}
	if !open(level) {
		return 0, fmt.Errorf("level %v: %w", level, ErrLevel)
	}
	return upperLimit(hits, sampled, 1-level), nil
}

func lowerLimit(hits, sampled int, tail float64) float64 {
	if hits == 0 {
		return 0
	}
	return solve(func(p float64) bool { return atLeast(hits, sampled, p) > tail })
}

func upperLimit(hits, sampled int, tail float64) float64 {
	if hits == sampled {
		return 1
	}
	return solve(func(p float64) bool { return atMost(hits, sampled, p) <= tail })
}

// Wilson gives the two-sided score limits without continuity correction
// (E. B. Wilson, JASA 22:209, 1927): narrower than the exact ones and right on
// average only.
func Wilson(hits, sampled int, level float64) (lo, hi float64, err error) {
	if err := checkCount(hits, sampled); err != nil {
		return 0, 0, err
	}
	if !open(level) {
		return 0, 0, fmt.Errorf("level %v: %w", level, ErrLevel)
	}
	z := math.Sqrt2 * math.Erfinv(level)
	n, p := float64(sampled), float64(hits)/float64(sampled)
	middle := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	lo, hi = math.Max(0, middle-half), math.Min(1, middle+half)
	if hits == 0 {
		lo = 0
	}
	if hits == sampled {
		hi = 1
	}
	return lo, hi, nil
}

// ChanceOfAtLeast is the probability of this many hits or more when the true
// proportion is share: the exact one-sided test of "more than share".
func ChanceOfAtLeast(hits, sampled int, share float64) (float64, error) {
	if err := checkTest(hits, sampled, share); err != nil {
		return 0, err
	}
	return atLeast(hits, sampled, share), nil
}

// ChanceOfAtMost is the probability of this many hits or fewer when the true
// proportion is share: the exact one-sided test of "less than share".
func ChanceOfAtMost(hits, sampled int, share float64) (float64, error) {
	if err := checkTest(hits, sampled, share); err != nil {
		return 0, err
	}
	return atMost(hits, sampled, share), nil
}

func checkTest(hits, sampled int, share float64) error {
	if err := checkCount(hits, sampled); err != nil {
		return err
	}
	if !open(share) {
		return fmt.Errorf("share %v: %w", share, ErrShare)
	}
	return nil
}

// ShowsMore is the smallest count out of sampled that shows, at one-sided
// chance alpha, a proportion above share. ok is false when not even all hits
// would.
func ShowsMore(sampled int, share, alpha float64) (count int, ok bool, err error) {
	if err := checkTest(0, sampled, share); err != nil {
		return 0, false, err
	}
	if !open(alpha) {
		return 0, false, fmt.Errorf("alpha %v: %w", alpha, ErrLevel)
	}
	count = firstTrue(sampled, func(k int) bool { return atLeast(k, sampled, share) <= alpha })
	return count, count <= sampled, nil
}

// ShowsLess is the largest count out of sampled that shows, at one-sided chance
// alpha, a proportion below share. ok is false when not even no hits would.
func ShowsLess(sampled int, share, alpha float64) (count int, ok bool, err error) {
	if err := checkTest(0, sampled, share); err != nil {
		return 0, false, err
	}
	if !open(alpha) {
		return 0, false, fmt.Errorf("alpha %v: %w", alpha, ErrLevel)
	}
	count = firstTrue(sampled, func(k int) bool { return atMost(k, sampled, share) > alpha }) - 1
	return count, count >= 0, nil
}

// firstTrue is the smallest k in 0..n with f true, n+1 when there is none; f
// never turns back.
func firstTrue(n int, f func(int) bool) int {
	lo, hi := 0, n+1
	for lo < hi {
		mid := lo + (hi-lo)/2
		if f(mid) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// atLeast is P(X >= k) of a binomial, through I_p(k, n-k+1).
func atLeast(k, n int, p float64) float64 {
	if k <= 0 {
		return 1
	}
	return regularisedBeta(p, float64(k), float64(n-k+1))
}

// atMost is P(X <= k) of a binomial, summed from its own side so that small
// chances keep their digits.
func atMost(k, n int, p float64) float64 {
	if k >= n {
		return 1
	}
	return regularisedBeta(1-p, float64(n-k), float64(k+1))
}
