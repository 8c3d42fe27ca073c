package hotspot

import (
	"context"
	"math/bits"
	"math/rand/v2"
	"runtime"
	"slices"
)

const (
	// wordBits reshuffles are carried side by side in one word.
	wordBits = 64
	// stepsPerWord is what one site costs one word, as measured.
	stepsPerWord = 7
)

// reshuffles searches the windows of the real data with the cases drawn anew
// among the sites, without replacement. It counts the cases of 64 reshuffles at
// once, one bit of the count to a word, and looks closer only at those that
// could beat the least of the 64 best ratios so far.
//
// How many cases a window needs for that grows with its sites, in steps. Counts
// grow too as windows widen, so a reshuffle that falls short at the last window
// of a step falls short at all of them.
type reshuffles struct {
	table  bernoulliTable
	lanes  [][]uint64 // for each 64 reshuffles: in which of them each site is a case
	least  int        // fewest cases of a window
	widest int        // most sites of one
	size   int        // bits of a count
	work   []worker
}

// worker is what one processor has found, and its scratch.
type worker struct {
	tallies []tally // by lane
	sites   []int32
	last    []int32 // by number of sites: the widest window with no more
}

// tally is the best of 64 reshuffles as one worker knows it.
type tally struct {
	best  [wordBits]float64
	floor float64 // not above any of best
	steps []step
}

// step is that windows of up to sites, beyond the step before, need cases.
type step struct{ sites, cases int32 }

// reshuffles draws them. A reshuffle depends on the seed and its own number
// alone. Sites must be single.
func (q *scan) reshuffles(ctx context.Context) (*reshuffles, error) {
	lanes, err := q.drawn(ctx)
	if err != nil {
		return nil, err
	}
	c := &reshuffles{table: newBernoulliTable(int(q.allC), int(q.allN)), lanes: lanes, least: int(q.minCases),
		widest: min(int(q.limit()), len(q.x)), size: bits.Len(uint(q.allC)), work: make([]worker, runtime.GOMAXPROCS(0))}
	for w := range c.work {
		c.work[w] = worker{tallies: make([]tally, len(c.lanes)), last: make([]int32, c.widest+1)}
		for b := range c.work[w].tallies {
			c.raise(&c.work[w].tallies[b], 0)
		}
	}
	return c, nil
}

func (q *scan) drawn(ctx context.Context) ([][]uint64, error) {
	lanes := make([][]uint64, (q.repeats+wordBits-1)/wordBits)
	for b := range lanes {
		lanes[b] = make([]uint64, len(q.x))
	}
	order := make([]int32, len(q.x))
	for r := range q.repeats {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		random := rand.New(rand.NewPCG(q.seed, uint64(r)))
		for i := range order {
			order[i] = int32(i)
		}
		for k := range int(q.allC) {
			j := k + random.IntN(len(order)-k)
			order[k], order[j] = order[j], order[k]
			lanes[r/wordBits][order[k]] |= 1 << (r % wordBits)
		}
	}
	return lanes, nil
}

// raise sets the floor. More sites need as many cases or more, so one climb
// through both does.
func (c *reshuffles) raise(t *tally, floor float64) {
	t.floor, t.steps = floor, t.steps[:0]
	cases := c.least
	for n := 1; n <= c.widest; n++ {
		for cases <= min(n, c.table.allC) && c.table.at(cases, n) <= floor {
			cases++
		}
		if k := len(t.steps); k > 0 && t.steps[k-1].cases == int32(cases) {
			t.steps[k-1].sites = int32(n)
		} else {
			t.steps = append(t.steps, step{int32(n), int32(cases)})
		}
	}
}

// visit searches the windows round one centre. It is safe for workers of
// different numbers at once.
func (c *reshuffles) visit(number int, near []place) {
	w := &c.work[number]
	w.sites = w.sites[:0]
	end := int32(0)
	for i, p := range near {
		w.sites = append(w.sites, p.site)
		if i+1 == len(near) || near[i+1].far-p.far > tie {
			end = int32(i + 1)
		}
		w.last[i+1] = end
	}
	for b, lane := range c.lanes {
		c.searchLane(&w.tallies[b], lane, w)
	}
}

// planes hold 64 counts: bit k of each in word k. 32 bits hold any count.
type planes [32]uint64

// add counts the sites' cases. Most carries end within the first three bits:
// going through those without asking is cheaper than a wrong guess.
func (p *planes) add(lane []uint64, sites []int32) {
	p0, p1, p2 := p[0], p[1], p[2]
	for _, site := range sites {
		word := lane[site]
		p0, word = p0^word, p0&word
		p1, word = p1^word, p1&word
		p2, word = p2^word, p2&word
		for k := 3; word != 0; k++ {
			p[k], word = p[k]^word, p[k]&word
		}
	}
	p[0], p[1], p[2] = p0, p1, p2
}

// reach tells which counts of so many bits are need or more.
func (p *planes) reach(need int32, size int) uint64 {
	if bits.Len32(uint32(need)) > size {
		return 0
	}
	enough := ^uint64(0)
	for k, plane := range p[:size] {
		if need>>k&1 == 1 {
			enough &= plane
		} else {
			enough |= plane
		}
	}
	return enough
}

func (p *planes) count(r, size int) (n int) {
	for k := range size {
		n |= int(p[k]>>r&1) << k
	}
	return n
}

func (c *reshuffles) searchLane(t *tally, lane []uint64, w *worker) {
	var cases, before planes
	better, from, reach := false, int32(0), int32(len(w.sites))
	for _, s := range t.steps {
		if to := w.last[min(s.sites, reach)]; to > from {
			copy(before[:c.size], cases[:c.size])
			cases.add(lane, w.sites[from:to])
			for hits := cases.reach(s.cases, c.size); hits != 0; hits &= hits - 1 {
				r := bits.TrailingZeros64(hits)
				// All its cases in the smallest window would be the best it could do.
				most := cases.count(r, c.size)
				if c.table.at(most, max(most, int(from)+1)) <= t.best[r] {
					continue
				}
				if best := c.closer(lane, w, r, before.count(r, c.size), from, to); best > t.best[r] {
					t.best[r], better = best, true
				}
			}
			from = to
		}
		if s.sites >= reach {
			break
		}
	}
	if !better {
		return
	}
	// A climb costs as much as a search: it must be worth it.
	const worthwhile = 0.1
	if least := slices.Min(t.best[:]); least > t.floor+worthwhile {
		c.raise(t, least)
	}
}

// closer is the best ratio of one reshuffle among the windows that end after
// from, up to to; cases is its count at from.
func (c *reshuffles) closer(lane []uint64, w *worker, r, cases int, from, to int32) (best float64) {
	for n := from + 1; n <= to; n++ {
		cases += int(lane[w.sites[n-1]] >> r & 1)
		if w.last[n] == n && cases >= c.least {
			best = max(best, c.table.at(cases, int(n)))
		}
	}
	return best
}

// maxima gives the best ratio of each reshuffle.
func (c *reshuffles) maxima(repeats int) []float64 {
	out := make([]float64, repeats)
	for _, w := range c.work {
		for r := range out {
			out[r] = max(out[r], w.tallies[r/wordBits].best[r%wordBits])
		}
	}
	return out
}
