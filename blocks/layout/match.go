package layout

import (
	"cmp"
	"context"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"
)

// samples is at how many places two rows are held against each other.
const samples = 33

// matched says which rows of the layout run where old ones do.
type matched struct {
	of     []int        // by old row: index of the layout's, -1 for none
	beside []geo.Metres // by old row: how far that one runs off, on average
	taken  []bool       // by row of the layout
}

type pair struct {
	old, fresh int
	mean       geo.Metres
}

// match pairs each old row with at most one of the layout's, the nearest first.
func (r *reviser) match(ctx context.Context) (matched, error) {
	m := matched{of: make([]int, len(r.rows)), beside: make([]geo.Metres, len(r.rows)), taken: make([]bool, len(r.fresh))}
	for i := range m.of {
		m.of[i] = -1
	}
	// Along the layout's bearing the boxes of straight rows are thin.
	oldBoxes, freshBoxes := make([]plane.Box, len(r.rows)), make([]plane.Box, len(r.fresh))
	for i, row := range r.rows {
		oldBoxes[i] = r.turned(row.placed.Lines).Grow(geo.Metres(r.half))
	}
	for i, lines := range r.fresh {
		freshBoxes[i] = r.turned(lines)
	}
	var pairs []pair
	for i, row := range r.rows {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		for k, lines := range r.fresh {
			if !oldBoxes[i].Meets(freshBoxes[k]) {
				continue
			}
			if mean := apart(row.placed.Lines, lines); float64(mean) < r.half {
				pairs = append(pairs, pair{i, k, mean})
			}
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(a.mean, b.mean), cmp.Compare(a.old, b.old), cmp.Compare(a.fresh, b.fresh))
	})
	for _, p := range pairs {
		if m.of[p.old] < 0 && !m.taken[p.fresh] {
			m.of[p.old], m.beside[p.old], m.taken[p.fresh] = p.fresh, p.mean, true
		}
	}
	return m, nil
}

func (r *reviser) turned(lines []plane.Line) plane.Box {
	box := plane.NoBox()
	for _, l := range lines {
		for _, q := range l {
			box = box.With(plane.Turn(q, r.next.Spec.Bearing))
		}
	}
	return box
}

// apart is the mean distance between two rows over the nearer half of the
// shorter one.
func apart(a, b []plane.Line) geo.Metres {
	if total(a) > total(b) {
		a, b = b, a
	}
	var distances []geo.Metres
	step := float64(total(a)) / (samples - 1)
	past := 0.0
	for _, l := range a {
		p := pathOf(l, past)
		end := past + p.length()
		for k := len(distances); k < samples && float64(k)*step <= end+leastPart; k++ {
			off := geo.Metres(math.Inf(1))
			for _, other := range b {
				_, d := pathOf(other, 0).nearest(p.at(float64(k) * step))
				off = min(off, d)
			}
			distances = append(distances, off)
		}
		past = end
	}
	if len(distances) == 0 {
		return geo.Metres(math.Inf(1))
	}
	slices.Sort(distances)
	nearer := distances[:(len(distances)+1)/2]
	sum := geo.Metres(0)
	for _, d := range nearer {
		sum += d
	}
	return sum / geo.Metres(len(nearer))
}

func total(lines []plane.Line) geo.Metres {
	sum := geo.Metres(0)
	for _, l := range lines {
		sum += l.Length()
	}
	return sum
}
