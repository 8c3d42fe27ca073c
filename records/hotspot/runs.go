package hotspot

import "math"

// RowRuns is the test of ordinary runs in one row (Madden, Louie, Abt and Knoke
// 1982, Phytopathology 72:195): fewer runs than expected mean that the disease
// goes from plant to plant.
type RowRuns struct {
	Row int
	// Segments are stretches of inspected plants without a gap that hold both
	// healthy and infected ones; the others say nothing.
	Segments int
	Runs     int
	Expected float64
	Variance float64
	// Z is (Runs + 0.5 - Expected) / standard deviation; below -1.645 is
	// clumped at one-sided 5 %. Nil when the variance is 0.
	Z *float64
}

// runsOf adds a segment: true is infected. Segments of one state are left out.
func (r *RowRuns) add(segment []bool) {
	n, m, runs := float64(len(segment)), 0.0, 0
	for i, sick := range segment {
		if sick {
			m++
		}
		if i == 0 || sick != segment[i-1] {
			runs++
		}
	}
	if m == 0 || m == n {
		return
	}
	pairs := 2 * m * (n - m)
	r.Segments++
	r.Runs += runs
	r.Expected += 1 + pairs/n
	r.Variance += pairs * (pairs - n) / (n * n * (n - 1))
}

func (r *RowRuns) finish() {
	if r.Variance > 0 {
		z := (float64(r.Runs) + 0.5 - r.Expected) / math.Sqrt(r.Variance)
		r.Z = &z
	}
}

// runs tests each row that holds a segment with both states. A plant that is
// missing or was not looked at ends a segment; rows are not chained.
func (s *study) runs(effort []Plant) (rows []RowRuns) {
	for from := 0; from < len(effort); {
		r := RowRuns{Row: effort[from].Row}
		var segment []bool
		to := from
		for ; to < len(effort) && effort[to].Row == r.Row; to++ {
			p := effort[to]
			if to > from && (p.Plant != effort[to-1].Plant+1 || !s.joined(effort[to-1], p.Plant)) {
				r.add(segment)
				segment = segment[:0]
			}
			segment = append(segment, s.sick(p))
		}
		r.add(segment)
		if from = to; r.Segments > 0 {
			r.finish()
			rows = append(rows, r)
		}
	}
	return rows
}
