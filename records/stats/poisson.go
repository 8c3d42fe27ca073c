package stats

import (
	"errors"
	"fmt"
	"math"
)

// MaxCounted bounds what a count per trap or beat may come to.
const MaxCounted = 1_000_000

// ErrCounted is a count of things found that cannot be.
var ErrCounted = errors.New("the count must be between 0 and 1,000,000")

func checkRate(counted, looks int) error {
	if looks < 1 || looks > MaxSampled {
		return fmt.Errorf("%d looks: %w", looks, ErrSample)
	}
	if counted < 0 || counted > MaxCounted {
		return fmt.Errorf("%d counted: %w", counted, ErrCounted)
	}
	return nil
}

// Garwood gives the two-sided exact limits of a mean count per look, such as
// weevils a beat, at a level such as 0.95 (F. Garwood, Biometrika 28:437,
// 1936). Nothing counted gives a lower limit of 0. It takes what is counted to
// fall independently of one another: things that sit in clumps spread wider.
func Garwood(counted, looks int, level float64) (lo, hi float64, err error) {
	if err := checkRate(counted, looks); err != nil {
		return 0, 0, err
	}
	if !open(level) {
		return 0, 0, fmt.Errorf("level %v: %w", level, ErrLevel)
	}
	return GarwoodSides(counted, looks, (1-level)/2)
}

// GarwoodSides is Garwood with the chance left outside at each side.
func GarwoodSides(counted, looks int, tail float64) (lo, hi float64, err error) {
	if err := checkRate(counted, looks); err != nil {
		return 0, 0, err
	}
	if !open(tail) {
		return 0, 0, fmt.Errorf("tail %v: %w", tail, ErrLevel)
	}
	n := float64(looks)
	if counted > 0 {
		lo = solveMean(counted, func(mean float64) bool { return poissonAtLeast(counted, mean) > tail }) / n
	}
	hi = solveMean(counted, func(mean float64) bool { return poissonAtMost(counted, mean) <= tail }) / n
	return lo, hi, nil
}

// ChanceOfCountAtLeast is the probability of counting this many or more when
// the true mean is rate a look; rate must be above 0.
func ChanceOfCountAtLeast(counted, looks int, rate float64) (float64, error) {
	if err := checkMean(counted, looks, rate); err != nil {
		return 0, err
	}
	return poissonAtLeast(counted, rate*float64(looks)), nil
}

// ChanceOfCountAtMost is the probability of counting this many or fewer.
func ChanceOfCountAtMost(counted, looks int, rate float64) (float64, error) {
	if err := checkMean(counted, looks, rate); err != nil {
		return 0, err
	}
	return poissonAtMost(counted, rate*float64(looks)), nil
}

// ErrRate is a mean to test against that cannot be.
var ErrRate = errors.New("a mean to test against is above 0 and at most 1,000,000")

func checkMean(counted, looks int, rate float64) error {
	if err := checkRate(counted, looks); err != nil {
		return err
	}
	if !(rate > 0 && rate <= MaxCounted) {
		return fmt.Errorf("rate %v: %w", rate, ErrRate)
	}
	return nil
}

// solveMean halves down to neighbouring numbers. A mean past twice the count
// and 800 more leaves either tail far below any level asked of it.
func solveMean(counted int, reached func(mean float64) bool) float64 {
	lo, hi := 0.0, 2*float64(counted)+800
	for {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi || hi-lo <= 1e-15*hi {
			return hi
		}
		if reached(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
}

// poissonAtLeast is P(N >= k), the regularised lower gamma function of k.
func poissonAtLeast(k int, mean float64) float64 {
	if k <= 0 {
		return 1
	}
	if float64(k) >= mean+1 {
		return gammaSeries(float64(k), mean)
	}
	return 1 - gammaFraction(float64(k), mean)
}

// poissonAtMost is P(N <= k), from its own side so that small chances keep
// their digits.
func poissonAtMost(k int, mean float64) float64 {
	a := float64(k + 1)
	if a >= mean+1 {
		return 1 - gammaSeries(a, mean)
	}
	return gammaFraction(a, mean)
}

func gammaFront(a, x float64) float64 {
	lg, _ := math.Lgamma(a)
	return math.Exp(a*math.Log(x) - x - lg)
}

// gammaSeries is P(a, x) by its power series (NIST Digital Library of
// Mathematical Functions 8.7.1), for x up to a - 1.
func gammaSeries(a, x float64) float64 {
	if x <= 0 {
		return 0
	}
	term, sum := 1/a, 1/a
	for n := 1.0; n <= maxTerms && term > sum*1e-17; n++ {
		term *= x / (a + n)
		sum += term
	}
	return sum * gammaFront(a, x)
}

// gammaFraction is Q(a, x) by its continued fraction (NIST DLMF 8.9.2) in
// Lentz's form, for x above a - 1.
func gammaFraction(a, x float64) float64 {
	const tiny = 1e-300 // stands for zero in a denominator, as Lentz's method asks
	b := x + 1 - a
	c, d := 1/tiny, 1/b
	f := d
	for n := 1.0; n <= maxTerms; n++ {
		part := -n * (n - a)
		b += 2
		if d = part*d + b; math.Abs(d) < tiny {
			d = tiny
		}
		if c = b + part/c; math.Abs(c) < tiny {
			c = tiny
		}
		d = 1 / d
		f *= d * c
		if math.Abs(d*c-1) <= 1e-16 {
			break
		}
	}
	return f * gammaFront(a, x)
}
