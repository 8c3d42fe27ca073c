package hotspot

import "math"

// likelihood is the log likelihood ratio of a window with c of the C cases and
// n of the N at risk against no difference between inside and outside; 0 when
// the rate inside is not the higher one.
type likelihood func(c, n, allC, allN float64) float64

// xlogx is x ln x, 0 at 0.
func xlogx(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log(x)
}

// bernoulli is for cases among plants that are each sick or not (Kulldorff 1997).
// Terms are written as c ln(c/n), which keeps the digits of large populations.
func bernoulli(c, n, allC, allN float64) float64 {
	if c*allN <= allC*n {
		return 0
	}
	term := func(k, of float64) float64 {
		if k <= 0 {
			return 0
		}
		return k * math.Log(k/of)
	}
	outC, outN := allC-c, allN-n
	return term(c, n) + term(n-c, n) + term(outC, outN) + term(outN-outC, outN) - term(allC, allN) - term(allN-allC, allN)
}

// bernoulliTable gives bernoulli for whole numbers up to allN at once, to about
// 1e-12 of allN ln allN: what the reshuffles compare with.
type bernoulliTable struct {
	xlogx      []float64
	allC, allN int
	null       float64
}

func newBernoulliTable(allC, allN int) bernoulliTable {
	t := bernoulliTable{xlogx: make([]float64, allN+1), allC: allC, allN: allN}
	for i := range t.xlogx {
		t.xlogx[i] = xlogx(float64(i))
	}
	t.null = t.xlogx[allC] + t.xlogx[allN-allC] - t.xlogx[allN]
	return t
}

func (t *bernoulliTable) at(c, n int) float64 {
	if c*t.allN <= t.allC*n {
		return 0
	}
	f, outC, outN := t.xlogx, t.allC-c, t.allN-n
	return f[c] + f[n-c] - f[n] + f[outC] + f[outN-outC] - f[outN] - t.null
}
