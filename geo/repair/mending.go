package repair

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/valid"

	"github.com/paulmach/orb"
)

// source is a ring of the shape as given; its ring is nil when it has no breadth.
type source struct {
	part, number int // from 1
	ring         plane.Ring
	sense        int  // 1 or -1, as its area by plain arithmetic is signed
	inShell      bool // of a hole: it has some ground in common with its shell
}

func (s *source) hole() bool { return s.number > 1 }

// mending is one outline at work.
type mending struct {
	shape   orb.MultiPolygon
	defects []valid.Defect
	sources []source
	a       *arrangement

	ground []int            // cycles whose left is ground
	pieces map[reason][]int // cycles by what is mended there
	left   map[int]bool     // parts of which ground is left
	filled map[int][]int    // cycles inside each part's shell
	cut    map[int]int      // of a part, a hole that takes ground from it
}

// reason is what is mended at a face: rings are numbers of sources, other is -1
// where there is no second one. Each square metre there counts grown more than
// plain arithmetic has it.
type reason struct {
	rule        valid.Rule
	ring, other int
	grown       int
	against     bool // the ring winds round it against its own sense
}

func newMending(shape orb.MultiPolygon, defects []valid.Defect) *mending {
	m := &mending{shape: shape, defects: defects, pieces: map[reason][]int{}, left: map[int]bool{}, filled: map[int][]int{}, cut: map[int]int{}}
	for i, poly := range shape {
		for j, r := range poly {
			ring := withoutSpikes(closedRing(xys(r)))
			sense := 1
			if ring.SignedArea() < 0 {
				sense = -1
			}
			m.sources = append(m.sources, source{part: i + 1, number: j + 1, ring: ring, sense: sense})
		}
	}
	return m
}

// placed gives the rings by the numbers of their sources.
func (m *mending) placed() []plane.Ring {
	out := make([]plane.Ring, len(m.sources))
	for i, s := range m.sources {
		out[i] = s.ring
	}
	return out
}

// standing is what a face is to one part: whether its shell has it, and which of
// its holes do.
type standing struct {
	part  int
	shell int // number of the source, -1 when the shell does not wind round it
	holes []int
}

// standings come in the order of the parts, as sources do.
func (m *mending) standings(w winding) []standing {
	var out []standing
	for _, r := range w {
		s := m.sources[r.ring]
		if len(out) == 0 || out[len(out)-1].part != s.part {
			out = append(out, standing{part: s.part, shell: -1})
		}
		if last := &out[len(out)-1]; s.hole() {
			last.holes = append(last.holes, r.ring)
		} else {
			last.shell = r.ring
		}
	}
	return out
}

// judge tells for every face whether it is ground and what is mended there.
func (m *mending) judge() {
	for _, w := range m.a.winds {
		for _, s := range m.standings(w) {
			if s.shell >= 0 {
				for _, h := range s.holes {
					m.sources[h].inShell = true
				}
			}
		}
	}
	for c, w := range m.a.winds {
		for _, r := range w {
			m.judgeRing(c, r)
		}
		var owners []int
		for _, s := range m.standings(w) {
			m.judgeHoles(c, s)
			if s.shell < 0 {
				continue
			}
			m.filled[s.part] = append(m.filled[s.part], c)
			if len(s.holes) > 0 {
				m.cut[s.part] = s.holes[0]
				continue
			}
			owners = append(owners, s.shell)
			m.left[s.part] = true
		}
		if len(owners) > 0 {
			m.ground = append(m.ground, c)
		}
		if n := len(owners); n > 1 {
			m.mend(c, reason{rule: valid.PartsOverlap, ring: owners[0], other: owners[1], grown: 1 - n})
		}
	}
}

func (m *mending) mend(c int, r reason) { m.pieces[r] = append(m.pieces[r], c) }

// judgeRing: plain arithmetic counts a face as often as the ring winds round it,
// the mended ring once.
func (m *mending) judgeRing(c int, r wound) {
	s := m.sources[r.ring]
	times := s.sense * r.times
	if times == 1 {
		return
	}
	grown := 1 - times
	if s.hole() {
		grown = -grown
	}
	m.mend(c, reason{rule: valid.CrossesItself, ring: r.ring, other: -1, grown: grown, against: times < 0})
}

// judgeHoles: plain arithmetic takes a face away as often as holes have it, and
// takes away what the shell does not have.
func (m *mending) judgeHoles(c int, s standing) {
	if n := len(s.holes); n > 1 {
		m.mend(c, reason{rule: valid.HolesOverlap, ring: s.holes[0], other: s.holes[1], grown: n - 1})
	}
	if len(s.holes) == 0 || s.shell >= 0 {
		return
	}
	r := reason{rule: valid.HoleOutside, ring: s.holes[0], other: -1, grown: 1}
	if m.sources[s.holes[0]].inShell {
		r.rule = valid.HoleCrossesShell
	}
	m.mend(c, r)
}

// settled is the ground without crumbs. What is wrong with it is mended once
// more, with rounded corners left standing: faces thinner than geo.SamePlace leave
// spikes, and a corner taken off a side may lie on another.
func (m *mending) settled(ctx context.Context) (orb.MultiPolygon, error) {
	out := withoutCrumbs(m.a.Ground(m.ground, true))
	if len(valid.Check(out)) == 0 {
		return out, nil
	}
	out = withoutCrumbs(m.a.Ground(m.ground, false))
	for range maxRounds {
		defects := valid.Check(out)
		if len(defects) == 0 {
			return out, nil
		}
		again := newMending(out, defects)
		var err error
		if again.a, err = arrange(ctx, again.placed()); err != nil {
			return nil, intricate(err)
		}
		again.judge()
		out = withoutCrumbs(again.a.Ground(again.ground, false))
	}
	if defects := valid.Check(out); len(defects) > 0 {
		return nil, &FailedError{Defects: defects}
	}
	return out, nil
}

func withoutCrumbs(r plane.Region) orb.MultiPolygon {
	out := orb.MultiPolygon{}
	for _, p := range r {
		poly := polygon(p)
		kept := orb.Polygon{poly[0]}
		for _, hole := range poly[1:] {
			if measure.Area(hole) >= geo.SliverArea {
				kept = append(kept, hole)
			}
		}
		if measure.Area(poly[0]) >= geo.SliverArea {
			out = append(out, kept)
		}
	}
	return out
}

// found is a change with what says whether anybody has to agree to it.
type found struct {
	Change
	reason reason
	shared bool // ground of two parts or two holes, counted once
}

// report fills in what changed.
func (m *mending) report(res *Result) {
	var all []found
	for _, r := range slices.SortedFunc(maps.Keys(m.pieces), compareReasons) {
		all = append(all, m.changes(r)...)
	}
	var moved, against geo.SquareMetres
	for _, c := range all {
		if !c.shared {
			moved += c.Grown
		}
		if c.reason.against {
			against += c.Area
		}
		if c.Rule == valid.HoleOutside {
			res.Doubtful = true
		}
	}
	if against > wobble*res.After {
		res.Doubtful = true
	}
	if math.Abs(float64(moved)) > askFrom*float64(res.Before) {
		res.Doubtful = true
	}
	res.Changes = append(res.Changes, m.perRule(all)...)
	for i, poly := range m.shape {
		if len(poly) > 0 && !m.left[i+1] {
			res.Doubtful = true
			res.Changes = append(res.Changes, m.lost(i+1)...)
		}
	}
	for _, d := range m.defects {
		// A part that is a crumb is nothing when it is left out.
		if d.Rule == valid.ZeroArea && d.Ring == 1 {
			res.Doubtful = true
		}
	}
	m.withoutArea(res)
	slices.SortStableFunc(res.Changes, func(x, y Change) int {
		return cmp.Or(cmp.Compare(x.Rule, y.Rule), cmp.Compare(x.Part, y.Part), cmp.Compare(x.Ring, y.Ring), cmp.Compare(x.Vertex, y.Vertex))
	})
}

func compareReasons(x, y reason) int {
	return cmp.Or(cmp.Compare(x.rule, y.rule), cmp.Compare(x.ring, y.ring), cmp.Compare(x.other, y.other), cmp.Compare(x.grown, y.grown))
}

// changes gives a change for each connected piece of ground with one reason;
// crumbs are none.
func (m *mending) changes(r reason) []found {
	var out []found
	s := m.sources[r.ring]
	for _, p := range m.a.Ground(m.pieces[r], true) {
		piece := polygon(p)
		area := measure.Area(piece)
		if area < geo.SliverArea {
			continue
		}
		out = append(out, found{
			Change: Change{
				Rule: r.rule, Part: s.part, Ring: s.number, At: piece[0][0],
				Area: area, Grown: area * geo.SquareMetres(r.grown), Piece: piece,
			},
			reason: r,
			shared: r.rule == valid.PartsOverlap || r.rule == valid.HolesOverlap,
		})
	}
	return out
}

// perRule keeps the largest changes of each rule, placed, and sums up the rest.
func (m *mending) perRule(all []found) []Change {
	slices.SortStableFunc(all, func(x, y found) int {
		return cmp.Or(cmp.Compare(x.Rule, y.Rule), cmp.Compare(y.Area, x.Area))
	})
	var out []Change
	count := 0
	for i, c := range all {
		if i == 0 || all[i-1].Rule != c.Rule {
			count = 0
		}
		if count++; count > valid.MaxPerRule {
			last := &out[len(out)-1]
			last.Area, last.Grown, last.Piece = last.Area+c.Area, last.Grown+c.Grown, nil
			continue
		}
		out = append(out, m.located(c))
	}
	return out
}

// located puts a piece at the nearest defect of its rule and rings.
func (m *mending) located(c found) Change {
	nearest := math.Inf(1)
	for _, d := range m.defects {
		if d.Rule != c.Rule || !m.concerns(d, c.reason) {
			continue
		}
		for _, p := range c.Piece[0] {
			if dist := math.Hypot(p[0]-d.At[0], p[1]-d.At[1]); dist < nearest {
				nearest = dist
				c.Part, c.Ring, c.Vertex, c.At = d.Part, d.Ring, d.Vertex, d.At
			}
		}
	}
	return c.Change
}

func (m *mending) concerns(d valid.Defect, r reason) bool {
	is := func(p valid.Place, ring int) bool {
		return ring >= 0 && p.Part == m.sources[ring].part && p.Ring == m.sources[ring].number
	}
	if r.other < 0 {
		return is(d.Place, r.ring)
	}
	return is(d.Place, r.ring) && is(d.Other, r.other) || is(d.Place, r.other) && is(d.Other, r.ring)
}

// lost tells that holes leave nothing of a part. A shell without breadth is told
// by its own defect.
func (m *mending) lost(part int) []Change {
	hole, ok := m.cut[part]
	if !ok {
		return nil
	}
	var out []Change
	for _, p := range m.a.Ground(m.filled[part], true) {
		piece := polygon(p)
		out = append(out, Change{
			Rule: valid.HoleCrossesShell, Part: part, Ring: m.sources[hole].number,
			At: piece[0][0], Area: measure.Area(piece), Piece: piece,
		})
	}
	return out
}

// withoutArea adds the defects that no piece of ground tells of.
func (m *mending) withoutArea(res *Result) {
	type told struct {
		rule       valid.Rule
		part, ring int
	}
	seen := map[told]bool{}
	for _, c := range res.Changes {
		seen[told{c.Rule, c.Part, c.Ring}] = true
	}
	for _, d := range m.defects {
		if !seen[told{d.Rule, d.Part, d.Ring}] {
			c := changeOf(d)
			if d.Rule == valid.TouchesItself {
				c.Piece = loopAt(res.Shape, d.At)
				c.Area = measure.Area(c.Piece)
			}
			res.Changes = append(res.Changes, c)
		}
	}
}

// loopAt is the smallest hole or part that touches a place, unless it is all
// there is: what a ring that touches itself there goes round apart.
func loopAt(shape orb.MultiPolygon, at geo.Position) orb.Polygon {
	var best orb.Polygon
	rings, least := 0, geo.SquareMetres(math.Inf(1))
	for _, poly := range shape {
		for _, r := range poly {
			if rings++; !slices.Contains(r, at) {
				continue
			}
			if area := measure.Area(r); area < least {
				least, best = area, polygonOf(r)
			}
		}
	}
	if rings < 2 {
		return nil
	}
	return best
}

func polygonOf(r orb.Ring) orb.Polygon {
	return tidy(orb.MultiPolygon{{r}})[0]
}
