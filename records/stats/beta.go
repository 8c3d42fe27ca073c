package stats

import "math"

// Past this the continued fraction has long settled: it needs about
// sqrt(max(a, b)) terms, and MaxSampled makes that 3,200.
const maxTerms = 20_000

// regularisedBeta is I_x(a, b) for a, b >= 1, by Lentz's form of the continued
// fraction (NIST Digital Library of Mathematical Functions 8.17.22), taken from
// the side where it converges fast.
func regularisedBeta(x, a, b float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	front := math.Exp(lab - la - lb + a*math.Log(x) + b*math.Log1p(-x))
	if x < (a+1)/(a+b+2) {
		return front * betaFraction(x, a, b) / a
	}
	return 1 - front*betaFraction(1-x, b, a)/b
}

func betaFraction(x, a, b float64) float64 {
	const tiny = 1e-300 // stands for zero in a denominator, as Lentz's method asks
	const settled = 1e-16
	guard := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c, d := 1.0, 1/guard(1-(a+b)*x/(a+1))
	f := d
	for m := 1.0; m <= maxTerms; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d = 1 / guard(1+even*d)
		c = guard(1 + even/c)
		f *= d * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / guard(1+odd*d)
		c = guard(1 + odd/c)
		step := d * c
		f *= step
		if math.Abs(step-1) <= settled {
			break
		}
	}
	return f
}

// solve halves [0, 1] down to neighbouring numbers: the p at which a test that
// is false below turns true.
func solve(reached func(p float64) bool) float64 {
	lo, hi := 0.0, 1.0
	for {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi || hi-lo <= 1e-17 {
			return hi
		}
		if reached(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
}
