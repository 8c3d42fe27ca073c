package swath

import (
	"context"
	"fmt"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"
)

// Class is a kind of ground that Cover tells apart.
type Class int

// The classes. Ground may belong to several.
const (
	Covered           Class = iota // sprayed at least once
	Doubled                        // sprayed by two pieces, the later starting PassGap or more after the earlier ended
	Missed                         // of the block, not sprayed
	MissedLessSetback              // of the block and outside the zone, not sprayed
	Outside                        // sprayed, not of the block
	InSetback                      // sprayed, in the zone, wherever
	InSetbackInBlock               // sprayed, in the zone, of the block
	classes
)

// Coverage is what was sprayed of what. The areas are sums over one scan of all
// edges together, so that covered less outside plus missed is the block. Ground
// is for showing and keeping: rings smaller than geo.SliverArea are dropped and
// corners within a tenth of a millimetre of a straight edge.
type Coverage struct {
	Area   [classes]geo.SquareMetres
	Ground [classes]plane.Region
}

// TooMuchError refuses work over a bound. Count is what there is, at least.
type TooMuchError struct {
	What         string
	Count, Limit int
}

// What a TooMuchError counts.
const (
	Fixes     = "fixes"
	Pieces    = "pieces"
	Crossings = "crossings"
	Steps     = "steps"
)

func (e *TooMuchError) Error() string {
	return fmt.Sprintf("swath: %d %s, at most %d", e.Count, e.What, e.Limit)
}

// Bounds of one scan, a few seconds on one core of a small machine at most.
const (
	maxEdges     = 600_000
	maxCrossings = 1_000_000
	maxSteps     = 400_000_000
)

// Cover scans the work against a block and the zone of its setbacks, nil for
// none; both are valid regions in the frame of the fixes.
//
// No overlay engine is asked: unions of nearly coincident pieces have been seen
// to lose ground without an error. All edges are cut into levels between
// neighbouring corners and crossings; within a level every edge is straight and
// none cross, so that the ground between two neighbouring edges is a trapezoid
// of one kind, judged by the pieces it lies in. An edge judged on the wrong side
// of one within rounding of it moves the areas by that rounding and no more.
//
// Errors: the context's, *TooMuchError.
func Cover(ctx context.Context, w Work, block, zone plane.Region) (Coverage, error) {
	s := newScan(w)
	for _, p := range w.Pieces {
		for _, r := range p.ground {
			s.addRing(r, s.newShape(p))
		}
	}
	for id, region := range map[int32]plane.Region{blockShape: block, zoneShape: zone} {
		for _, p := range region {
			for _, r := range p {
				s.addRing(r, id)
			}
		}
	}
	if len(s.edges) > maxEdges {
		return Coverage{}, &TooMuchError{What: Steps, Count: len(s.edges), Limit: maxEdges}
	}
	slices.SortFunc(s.edges, compareEdges)
	if err := s.cross(ctx); err != nil {
		return Coverage{}, err
	}
	if err := s.run(ctx); err != nil {
		return Coverage{}, err
	}
	c := Coverage{Area: s.area}
	for k := range s.out {
		c.Ground[k] = s.back(trace(s.out[k].sides))
	}
	return c, nil
}

// scan holds the edges turned so that most of the work runs upward: a level
// then meets each row a few times, not all of its pieces.
type scan struct {
	w      Work
	edges  []edge
	levels []float64
	times  [][2]float64 // start and end of each shape's piece
	inside []bool       // shapes the place at hand lies in
	on     []int32      // those of them that are pieces
	area   [classes]geo.SquareMetres
	out    [classes]outline
}

// The first two shapes are no pieces.
const (
	blockShape int32 = iota
	zoneShape
	firstPiece
)

func newScan(w Work) *scan { return &scan{w: w, times: make([][2]float64, firstPiece)} }

func (s *scan) newShape(p Piece) int32 {
	s.times = append(s.times, [2]float64{p.Start, p.End})
	return int32(len(s.times) - 1)
}

// edge runs from its low end to its high end; level ones are left out, since
// no level has an inside there.
type edge struct {
	low, high plane.XY
	slope     float64 // metres of x a metre of y
	shape     int32
}

// x at its ends is the end's, bit for bit, so that edges which share a corner
// meet there.
func (e *edge) x(y float64) float64 {
	switch y {
	case e.low.Y:
		return e.low.X
	case e.high.Y:
		return e.high.X
	}
	return e.low.X + (y-e.low.Y)*e.slope
}

func compareEdges(a, b edge) int {
	for _, d := range [...]float64{a.low.Y - b.low.Y, a.low.X - b.low.X, a.slope - b.slope, a.high.Y - b.high.Y} {
		if d != 0 {
			return int(math.Copysign(1, d))
		}
	}
	return int(a.shape - b.shape)
}

func (s *scan) turn(p plane.XY) plane.XY {
	return plane.XY{X: p.X*s.w.axis.Y - p.Y*s.w.axis.X, Y: p.X*s.w.axis.X + p.Y*s.w.axis.Y}
}

// back turns shells and holes to where they were.
func (s *scan) back(r plane.Region) plane.Region {
	for _, p := range r {
		for _, ring := range p {
			for i, q := range ring {
				ring[i] = plane.XY{X: q.X*s.w.axis.Y + q.Y*s.w.axis.X, Y: -q.X*s.w.axis.X + q.Y*s.w.axis.Y}
			}
		}
	}
	return r
}

func (s *scan) addRing(r plane.Ring, shape int32) {
	for i := 0; i+1 < len(r); i++ {
		a, b := s.turn(r[i]), s.turn(r[i+1])
		s.levels = append(s.levels, a.Y)
		if a.Y == b.Y {
			continue
		}
		if a.Y > b.Y {
			a, b = b, a
		}
		s.edges = append(s.edges, edge{low: a, high: b, slope: (b.X - a.X) / (b.Y - a.Y), shape: shape})
	}
}

// cross adds a level wherever edges of two shapes cross.
func (s *scan) cross(ctx context.Context) error {
	type open struct {
		index      int
		xmin, xmax float64
		high       float64
	}
	var live []open
	steps, found := 0, 0
	for i := range s.edges {
		e := &s.edges[i]
		o := open{i, math.Min(e.low.X, e.high.X), math.Max(e.low.X, e.high.X), e.high.Y}
		kept := live[:0]
		for _, q := range live {
			if q.high <= e.low.Y {
				continue
			}
			kept = append(kept, q)
			if q.xmax < o.xmin || q.xmin > o.xmax {
				continue
			}
			if y, ok := e.meets(&s.edges[q.index]); ok {
				s.levels = append(s.levels, y)
				found++
			}
		}
		live = append(kept, o)
		if steps += len(live); steps > maxSteps {
			return &TooMuchError{What: Steps, Count: steps, Limit: maxSteps}
		}
		if found > maxCrossings {
			return &TooMuchError{What: Crossings, Count: found, Limit: maxCrossings}
		}
		if i%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
	}
	slices.Sort(s.levels)
	s.levels = slices.Compact(s.levels)
	return nil
}

// meets is the height at which two edges cross inside both; edges that are
// parallel or share an end need no level of their own.
func (e *edge) meets(o *edge) (float64, bool) {
	if e.shape == o.shape || e.slope == o.slope {
		return 0, false
	}
	lo, hi := math.Max(e.low.Y, o.low.Y), math.Min(e.high.Y, o.high.Y)
	a, b := e.x(lo)-o.x(lo), e.x(hi)-o.x(hi)
	if a == 0 || b == 0 || (a > 0) == (b > 0) {
		return 0, false
	}
	y := lo + (hi-lo)*(a/(a-b))
	return y, y > lo && y < hi
}

// live is an edge of the level at hand.
type live struct {
	edge int32
	x    float64 // at the middle of the level
}

// run goes through the levels from below.
func (s *scan) run(ctx context.Context) error {
	s.inside = make([]bool, len(s.times))
	for k := range s.out {
		s.out[k].init(s.edges)
	}
	var active []live
	next, steps := 0, 0
	for k := 0; k+1 < len(s.levels); k++ {
		y0, y1 := s.levels[k], s.levels[k+1]
		for ; next < len(s.edges) && s.edges[next].low.Y <= y0; next++ {
			active = append(active, live{edge: int32(next)})
		}
		kept := active[:0]
		mid := y0 + (y1-y0)/2
		for _, a := range active {
			e := &s.edges[a.edge]
			if e.high.Y <= y0 {
				continue
			}
			kept = append(kept, live{a.edge, e.x(mid)})
		}
		active = kept
		sortLive(active)
		s.level(active, y0, y1)
		if steps += len(active); steps > maxSteps {
			return &TooMuchError{What: Steps, Count: steps, Limit: maxSteps}
		}
		if k%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
	}
	if n := len(s.levels); n > 0 {
		for k := range s.out {
			s.out[k].next = s.out[k].next[:0]
			s.out[k].advance(s.levels[n-1])
		}
	}
	return nil
}

// sortLive sorts by insertion: from one level to the next the order hardly
// changes. Edges in one place stand by their number, the same every time.
func sortLive(a []live) {
	for i := 1; i < len(a); i++ {
		v := a[i]
		j := i
		for j > 0 && (a[j-1].x > v.x || a[j-1].x == v.x && a[j-1].edge > v.edge) {
			a[j] = a[j-1]
			j--
		}
		a[j] = v
	}
}

// level judges the trapezoids of one level. Rings are closed, so to the right of
// its last edge the place lies in nothing, as to the left of its first.
func (s *scan) level(active []live, y0, y1 float64) {
	for k := range s.out {
		s.out[k].next = s.out[k].next[:0]
	}
	var was kinds
	height := y1 - y0
	for i, a := range active {
		shape := s.edges[a.edge].shape
		s.inside[shape] = !s.inside[shape]
		if shape >= firstPiece {
			if s.inside[shape] {
				s.on = append(s.on, shape)
			} else {
				last := len(s.on) - 1
				s.on[slices.Index(s.on, shape)] = s.on[last]
				s.on = s.on[:last]
			}
		}
		if i+1 < len(active) && active[i+1].x == a.x {
			continue
		}
		is := s.judge()
		if is == was {
			continue
		}
		for k := range classes {
			bit := kinds(1) << k
			switch {
			case is&bit != 0 && was&bit == 0:
				s.out[k].open(a)
			case is&bit == 0 && was&bit != 0:
				s.area[k] += geo.SquareMetres(s.out[k].close(a) * height)
			}
		}
		was = is
	}
	for k := range s.out {
		s.out[k].advance(y0)
	}
}

// kinds is a set of classes.
type kinds uint8

func (s *scan) judge() (k kinds) {
	block, zone, covered := s.inside[blockShape], s.inside[zoneShape], len(s.on) > 0
	if block && !covered {
		k |= 1 << Missed
		if !zone {
			k |= 1 << MissedLessSetback
		}
	}
	if !covered {
		return k
	}
	k |= 1 << Covered
	if s.twice() {
		k |= 1 << Doubled
	}
	if !block {
		k |= 1 << Outside
	}
	if zone {
		k |= 1 << InSetback
		if block {
			k |= 1 << InSetbackInBlock
		}
	}
	return k
}

// twice is whether some piece starts long enough after another ended: the
// latest start against the earliest end decides.
func (s *scan) twice() bool {
	first, last := s.times[s.on[0]][1], s.times[s.on[0]][0]
	for _, shape := range s.on[1:] {
		t := s.times[shape]
		if t[1] < first {
			first = t[1]
		}
		if t[0] > last {
			last = t[0]
		}
	}
	return last-first >= PassGap
}
