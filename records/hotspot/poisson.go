package hotspot

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
)

// poisson is for cases counted where each at risk may be counted more than once,
// such as galls on canes (Kulldorff 1997).
func poisson(c, n, allC, allN float64) float64 {
	if c*allN <= allC*n {
		return 0
	}
	expected := allC * n / allN
	outside := 0.0
	if c < allC {
		outside = (allC - c) * math.Log((allC-c)/(allC-expected))
	}
	return c*math.Log(c/expected) + outside
}

// recounts searches the windows of the real data with the cases dealt anew: each
// falls on a site with a chance in proportion to those at risk there.
type recounts struct {
	q     *scan
	dealt [][]int32 // by reshuffle, then site
	work  []recounter
}

// recounter is what one processor has found, and its scratch.
type recounter struct {
	best []float64 // by reshuffle
	ends []windowEnd
}

// windowEnd is a window by its last place.
type windowEnd struct {
	places         int
	risk, expected float64
	// steep times the square of a surplus is more than the ratio it can give.
	steep float64
}

// recounts deals. A reshuffle depends on the seed and its own number alone.
func (q *scan) recounts(ctx context.Context) (*recounts, error) {
	c := &recounts{q: q, dealt: make([][]int32, q.repeats), work: make([]recounter, runtime.GOMAXPROCS(0))}
	upTo := make([]float64, len(q.risk))
	sum := 0.0
	for i, r := range q.risk {
		sum += r
		upTo[i] = sum
	}
	for r := range c.dealt {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		random := rand.New(rand.NewPCG(q.seed, uint64(r)))
		dealt := make([]int32, len(q.risk))
		for range int(q.allC) {
			site, _ := slices.BinarySearch(upTo, random.Float64()*sum)
			dealt[min(site, len(dealt)-1)]++
		}
		c.dealt[r] = dealt
	}
	for w := range c.work {
		c.work[w].best = make([]float64, q.repeats)
	}
	return c, nil
}

// visit searches the windows round one centre. It is safe for workers of
// different numbers at once.
func (c *recounts) visit(number int, near []place) {
	w := &c.work[number]
	w.ends = c.ends(near, w.ends[:0])
	for r, dealt := range c.dealt {
		cases, from := int32(0), 0
		for _, end := range w.ends {
			for _, p := range near[from:end.places] {
				cases += dealt[p.site]
			}
			from = end.places
			surplus := float64(cases) - end.expected
			if cases < c.q.minCases || surplus <= 0 || surplus*surplus*end.steep <= w.best[r] {
				continue
			}
			w.best[r] = max(w.best[r], poisson(float64(cases), end.risk, c.q.allC, c.q.allN))
		}
	}
}

// ends are the windows round a centre. With d the surplus over the expected E,
// c ln(c/E) - d is at most d^2/2E, and the part outside at most d^2/(C - E) - d.
func (c *recounts) ends(near []place, ends []windowEnd) []windowEnd {
	risk := 0.0
	for i, p := range near {
		risk += c.q.risk[p.site]
		if i+1 < len(near) && near[i+1].far-p.far <= tie {
			continue
		}
		e := c.q.allC * risk / c.q.allN
		ends = append(ends, windowEnd{places: i + 1, risk: risk, expected: e, steep: 1/(2*e) + 1/(c.q.allC-e)})
	}
	return ends
}

// maxima gives the best ratio of each reshuffle.
func (c *recounts) maxima(repeats int) []float64 {
	out := make([]float64, repeats)
	for _, w := range c.work {
		for r, best := range w.best {
			out[r] = max(out[r], best)
		}
	}
	return out
}
