package swath

import (
	"cmp"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"
)

// outline gathers the edges of one class of ground, level by level: the sides
// of its trapezoids, and what of a level's floor is not the ceiling of the one
// below. Every end is the same number wherever it appears, so the sides close.
type outline struct {
	edges      []edge
	here, next []span // of the level below and of the one being judged
	opened     live
	since      map[int32]float64 // where a side began, by edge and hand
	sides      []side
}

// span is one trapezoid by the edges to its left and right.
type span struct{ left, right int32 }

// side is a piece of boundary with the ground to its left.
type side struct{ from, to plane.XY }

func (o *outline) init(edges []edge) {
	o.edges, o.since = edges, map[int32]float64{}
}

func (o *outline) open(a live) { o.opened = a }

// close gives the span's width at the middle of the level.
func (o *outline) close(a live) float64 {
	o.next = append(o.next, span{o.opened.edge, a.edge})
	return a.x - o.opened.x
}

// advance puts the spans of the next level on top of those here, at height y.
func (o *outline) advance(y float64) {
	below, above := o.here, o.next
	for len(below) > 0 && len(above) > 0 && below[0] == above[0] {
		below, above = below[1:], above[1:]
	}
	for len(below) > 0 && len(above) > 0 && below[len(below)-1] == above[len(above)-1] {
		below, above = below[:len(below)-1], above[:len(above)-1]
	}
	if len(below) > 0 || len(above) > 0 {
		o.handOver(below, above, y)
		o.seam(below, above, y)
	}
	o.here, o.next = o.next, o.here
}

// handOver ends the sides that do not go on and begins the new ones.
func (o *outline) handOver(below, above []span, y float64) {
	goesOn := func(spans []span, key int32) bool {
		return slices.ContainsFunc(spans, func(s span) bool { return 2*s.left == key || 2*s.right+1 == key })
	}
	for _, s := range below {
		for _, key := range [2]int32{2 * s.left, 2*s.right + 1} {
			if !goesOn(above, key) {
				o.endSide(key, y)
			}
		}
	}
	for _, s := range above {
		for _, key := range [2]int32{2 * s.left, 2*s.right + 1} {
			if _, begun := o.since[key]; !begun {
				o.since[key] = y
			}
		}
	}
}

func (o *outline) endSide(key int32, y float64) {
	e := &o.edges[key/2]
	start := o.since[key]
	delete(o.since, key)
	bottom, top := plane.XY{X: e.x(start), Y: start}, plane.XY{X: e.x(y), Y: y}
	if key%2 == 0 { // the left side is walked downward
		bottom, top = top, bottom
	}
	o.sides = append(o.sides, side{bottom, top})
}

// seam adds the level stretches where there is ground on one side only.
func (o *outline) seam(below, above []span, y float64) {
	type step struct {
		x  float64
		by int
	}
	var steps []step
	for _, s := range above {
		steps = append(steps, step{o.edges[s.left].x(y), 1}, step{o.edges[s.right].x(y), -1})
	}
	for _, s := range below {
		steps = append(steps, step{o.edges[s.left].x(y), -1}, step{o.edges[s.right].x(y), 1})
	}
	slices.SortStableFunc(steps, func(a, b step) int { return cmp.Compare(a.x, b.x) })
	depth := 0
	for i, s := range steps {
		if i > 0 && depth != 0 && s.x != steps[i-1].x {
			a, b := plane.XY{X: steps[i-1].x, Y: y}, plane.XY{X: s.x, Y: y}
			for range max(depth, -depth) {
				if depth > 0 {
					o.sides = append(o.sides, side{a, b})
				} else {
					o.sides = append(o.sides, side{b, a})
				}
			}
		}
		depth += s.by
	}
}

// trace joins sides to rings and rings to ground.
func trace(sides []side) plane.Region {
	slices.SortFunc(sides, func(a, b side) int {
		return cmp.Or(cmp.Compare(a.from.Y, b.from.Y), cmp.Compare(a.from.X, b.from.X), cmp.Compare(a.to.Y, b.to.Y), cmp.Compare(a.to.X, b.to.X))
	})
	out := map[plane.XY][]int{}
	for i, s := range sides {
		out[s.from] = append(out[s.from], i)
	}
	used := make([]bool, len(sides))
	var shells, holes []plane.Ring
	for i := range sides {
		for _, r := range simple(walk(sides, out, used, i)) {
			switch r = tidy(r); {
			case len(r) < 4 || math.Abs(float64(r.SignedArea())) < float64(geo.SliverArea):
			case r.SignedArea() > 0:
				shells = append(shells, r)
			default:
				holes = append(holes, r)
			}
		}
	}
	return assemble(shells, holes)
}

// walk follows the sides from one of them until it is back; nil when it was
// walked before. Where several go on it turns as far left as it can and so
// stays round one face.
func walk(sides []side, out map[plane.XY][]int, used []bool, first int) plane.Ring {
	if used[first] {
		return nil
	}
	var ring plane.Ring
	for at := first; at >= 0; {
		used[at] = true
		ring = append(ring, sides[at].from)
		at = leftmost(sides, out[sides[at].to], used, at)
	}
	return append(ring, ring[0])
}

// leftmost is the unused side that turns farthest left; -1 for none.
func leftmost(sides []side, choices []int, used []bool, at int) int {
	best, angle := -1, math.Inf(-1)
	d := sides[at].to.Minus(sides[at].from)
	for _, c := range choices {
		if used[c] {
			continue
		}
		e := sides[c].to.Minus(sides[c].from)
		if turn := math.Atan2(d.Cross(e), d.Dot(e)); turn > angle {
			best, angle = c, turn
		}
	}
	return best
}

// simple parts a closed walk at the corners it comes by more than once.
func simple(walk plane.Ring) []plane.Ring {
	var rings []plane.Ring
	var way plane.Ring
	at := map[plane.XY]int{}
	for _, p := range walk {
		k, before := at[p]
		if !before {
			at[p] = len(way)
			way = append(way, p)
			continue
		}
		for _, q := range way[k+1:] {
			delete(at, q)
		}
		if loop := way[k:]; len(loop) > 2 {
			rings = append(rings, append(slices.Clone(loop), p))
		}
		way = way[:k+1]
	}
	return rings
}

// tidy drops corners within geo.SamePlace of the edge that leads past them, and
// spikes no wider than that.
func tidy(r plane.Ring) plane.Ring {
	if len(r) < 4 {
		return nil
	}
	idle := func(a, b, c plane.XY) bool {
		return b.Distance(b.NearestOn(a, c)) <= geo.SamePlace || c.Distance(c.NearestOn(a, b)) <= geo.SamePlace || a.Distance(a.NearestOn(b, c)) <= geo.SamePlace
	}
	var out plane.Ring
	for _, p := range r[:len(r)-1] {
		for len(out) > 1 && idle(out[len(out)-2], out[len(out)-1], p) {
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	for len(out) > 3 && idle(out[len(out)-2], out[len(out)-1], out[0]) {
		out = out[:len(out)-1]
	}
	for len(out) > 3 && idle(out[len(out)-1], out[0], out[1]) {
		out = out[1:]
	}
	if len(out) < 3 {
		return nil
	}
	return append(out, out[0])
}

// assemble puts each hole into the smallest shell round it.
func assemble(shells, holes []plane.Ring) plane.Region {
	slices.SortStableFunc(shells, func(a, b plane.Ring) int { return cmp.Compare(a.SignedArea(), b.SignedArea()) })
	out := make(plane.Region, len(shells))
	boxes := make([]plane.Box, len(shells))
	for i, s := range shells {
		out[i], boxes[i] = plane.Polygon{s}, s.Box()
	}
	for _, h := range holes {
		box, at := h.Box(), h[0].Plus(h[1]).Times(0.5)
		for i, s := range shells {
			if boxes[i].Union(box) == boxes[i] && (plane.Polygon{s}).Contains(at) {
				out[i] = append(out[i], h)
				break
			}
		}
	}
	slices.SortStableFunc(out, func(a, b plane.Polygon) int {
		return cmp.Or(cmp.Compare(a[0][0].Y, b[0][0].Y), cmp.Compare(a[0][0].X, b[0][0].X))
	})
	return out
}
