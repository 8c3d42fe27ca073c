package repair

import (
	"context"
	"fmt"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/valid"

	"github.com/paulmach/orb"
)

// Change is one thing that was mended.
type Change struct {
	Rule valid.Rule // what was wrong

	// Where, from 1, as valid.Place numbers the shape as given; Vertex is 0
	// where the ring as a whole is meant.
	Part, Ring, Vertex int

	At geo.Position // the place to show

	// Area is the ground concerned, never negative: the strip that was counted
	// twice, the lobe, the part of a hole that lies outside. 0 for a spike.
	Area geo.SquareMetres

	// Grown is how this mend moves the outline's area from what the file's
	// rings say by plain arithmetic. It may be negative.
	Grown geo.SquareMetres

	// Piece is the ground concerned, nil when it has no area, or for the last
	// change of a rule, when that sums up more than valid.MaxPerRule places.
	Piece orb.Polygon
}

// Result is an outline mended.
type Result struct {
	// Shape has no defects by valid.Check: rings closed, shells
	// counter-clockwise, holes clockwise, each beginning at the corner that
	// came first, crumbs under geo.SliverArea left out. Longitudes jump at ±180
	// where those given do. It is empty, not nil, where nothing is left.
	Shape orb.MultiPolygon

	// Changes are in the order of the rules, then of the shape as given. Their
	// Grown adds up to After less Before but for crumbs, unless holes take more
	// than their shell has.
	Changes []Change

	Before geo.SquareMetres // of the rings as given, by plain arithmetic: measure.Area
	After  geo.SquareMetres // of Shape: measure.Area

	// Doubtful says that there is more than one sensible reading and somebody
	// has to agree: loops of one ring wind opposite ways and take more than a
	// hundredth of the ground, as in a bow-tie; a hole lies outside its shell; nothing is left of a part; or the area moves
	// by more than a tenth of Before otherwise than by counting once what two
	// parts or two holes have in common.
	Doubtful bool

	// Reorder is, for a single ring of at most MaxReorder corners that crosses
	// itself and is Doubtful, the same corners in an order that makes a ring
	// without defects: each two sides that cross are uncrossed. Nil otherwise.
	Reorder *orb.MultiPolygon
}

const (
	// MaxReorder bounds the corners that are put in another order: with more
	// nobody sees any longer what was meant.
	MaxReorder = 12

	// askFrom is the part of the area from which a change has to be agreed to:
	// a tenth more or less product would be ordered.
	askFrom = 0.1

	// wobble is the part of the ground that loops against the sense of their
	// ring may take without a question: a receiver's wobble and the crossing
	// where a walk comes home make many such loops, and an outline walked with
	// a phone is not good to a hundredth.
	wobble = 0.01

	// maxRounds bounds mending again what cutting off spikes and rounding
	// corners leaves; one round is the rule, two have been seen.
	maxRounds = 8
)

// DefectError says that a shape cannot be mended because of a place in it: a
// coordinate that is none (valid.NotANumber, OutOfRange, SwappedAxes), or sides of
// more than half the way round the Earth (valid.CrossesAntimeridian).
type DefectError struct{ Defect valid.Defect }

func (e *DefectError) Error() string {
	d := e.Defect
	return fmt.Sprintf("repair: rule %d is broken at part %d, ring %d, vertex %d, %v", d.Rule, d.Part, d.Ring, d.Vertex, d.At)
}

// FailedError says that mending left defects: a failure of this package or of the
// engine below it.
type FailedError struct{ Defects []valid.Defect }

func (e *FailedError) Error() string {
	return fmt.Sprintf("repair: %d defects are left, the first: %v", len(e.Defects), e.Defects[0])
}

// Outline mends an outline in degrees. One without defects comes back as it is,
// turned and closed. Sides may jump across 180 degrees. The context is heard
// between steps, of which valid.Check and the noding take a few seconds at their
// bounds. Errors: the context's,
// *IntricateError, *DefectError, *FailedError, *overlay.EngineError.
func Outline(ctx context.Context, shape orb.MultiPolygon) (Result, error) {
	if n := countCorners(shape); n > MaxCorners {
		return Result{}, &IntricateError{What: Corners, Count: n, Limit: MaxCorners}
	}
	if !jumps(shape) {
		return outline(ctx, shape)
	}
	res, err := outline(ctx, shifted(shape))
	if err != nil {
		return Result{}, err
	}
	res.Shape = shifted(res.Shape)
	for i, c := range res.Changes {
		res.Changes[i].At = shift(c.At)
		if c.Piece != nil {
			res.Changes[i].Piece = shifted(orb.MultiPolygon{c.Piece})[0]
		}
	}
	if res.Reorder != nil {
		again := shifted(*res.Reorder)
		res.Reorder = &again
	}
	return res, nil
}

func countCorners(mp orb.MultiPolygon) int {
	n := 0
	for _, poly := range mp {
		for _, r := range poly {
			n += len(r)
		}
	}
	return n
}

func jumps(mp orb.MultiPolygon) bool {
	for _, poly := range mp {
		for _, r := range poly {
			for i := 1; i < len(r); i++ {
				if math.Abs(r[i][0]-r[i-1][0]) > 180 {
					return true
				}
			}
		}
	}
	return false
}

// shifted turns the Earth by half, which brings ground across 180 degrees to 0
// and back. Both ways are exact for what lay within 90 degrees of 180.
func shifted(mp orb.MultiPolygon) orb.MultiPolygon {
	out := mp.Clone()
	for _, poly := range out {
		for _, r := range poly {
			for i := range r {
				r[i] = shift(r[i])
			}
		}
	}
	return out
}

func shift(p geo.Position) geo.Position {
	switch {
	case math.Abs(p[0]) > 180:
		return p // out of range, and to be told as it is
	case p[0] > 0:
		return geo.Position{p[0] - 180, p[1]}
	default:
		return geo.Position{p[0] + 180, p[1]}
	}
}

func outline(ctx context.Context, shape orb.MultiPolygon) (Result, error) {
	defects := valid.Check(shape)
	if err := ctx.Err(); err != nil {
		return Result{}, err
	}
	hurt := false
	for _, d := range defects {
		switch d.Rule {
		case valid.NotANumber, valid.SwappedAxes, valid.OutOfRange, valid.CrossesAntimeridian:
			return Result{}, &DefectError{Defect: d}
		case valid.TooIntricate:
			return Result{}, &IntricateError{What: Edges, Count: maxLooks, Limit: maxLooks}
		case valid.NotClosed, valid.RepeatedPoint:
		default:
			hurt = true
		}
	}
	res := Result{Before: measure.Area(shape)}
	if !hurt {
		res.Shape = tidy(shape)
		res.After = measure.Area(res.Shape)
		for _, d := range defects {
			res.Changes = append(res.Changes, changeOf(d))
		}
		return res, nil
	}
	m := newMending(shape, defects)
	var err error
	if m.a, err = arrange(ctx, m.placed()); err != nil {
		return Result{}, intricate(err)
	}
	m.judge()
	if res.Shape, err = m.settled(ctx); err != nil {
		return Result{}, err
	}
	res.After = measure.Area(res.Shape)
	m.report(&res)
	if res.Doubtful {
		res.Reorder = reorder(shape)
	}
	return res, nil
}

func changeOf(d valid.Defect) Change {
	return Change{Rule: d.Rule, Part: d.Part, Ring: d.Ring, Vertex: d.Vertex, At: d.At}
}

// tidy closes and turns rings and leaves out repeated corners and empty parts.
func tidy(shape orb.MultiPolygon) orb.MultiPolygon {
	out := orb.MultiPolygon{}
	for _, poly := range shape {
		if len(poly) == 0 {
			continue
		}
		p := make(orb.Polygon, len(poly))
		for j, r := range poly {
			ring := closedRing(xys(r))
			if (ring.SignedArea() < 0) == (j == 0) {
				slices.Reverse(ring)
			}
			p[j] = degrees(ring)
		}
		out = append(out, p)
	}
	return out
}

func xys(r orb.Ring) []plane.XY {
	out := make([]plane.XY, len(r))
	for i, p := range r {
		out[i] = plane.XY{X: p[0], Y: p[1]}
	}
	return out
}

func degrees(r plane.Ring) orb.Ring {
	out := make(orb.Ring, len(r))
	for i, p := range r {
		out[i] = orb.Point{p.X, p.Y}
	}
	return out
}

func polygon(p plane.Polygon) orb.Polygon {
	out := make(orb.Polygon, len(p))
	for i, r := range p {
		out[i] = degrees(r)
	}
	return out
}

// withoutSpikes cuts off tips until none is left; fewer than three corners are
// no ring.
func withoutSpikes(r plane.Ring) plane.Ring {
	if len(r) < 4 {
		return nil
	}
	// A stack of corners, none of which is a tip; the start is looked at again
	// at the end, where the ring closes.
	var out []plane.XY
	push := func(p plane.XY) {
		for len(out) > 0 {
			if out[len(out)-1] == p {
				return
			}
			if len(out) < 2 || !tip(out[len(out)-2], out[len(out)-1], p) {
				break
			}
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	for _, p := range r[:len(r)-1] {
		push(p)
	}
	for len(out) >= 3 {
		n := len(out)
		switch {
		case out[0] == out[n-1]:
			out = out[:n-1]
		case tip(out[n-2], out[n-1], out[0]):
			out = out[:n-1]
		case tip(out[n-1], out[0], out[1]):
			out = out[1:]
		default:
			return append(plane.Ring(out), out[0])
		}
	}
	return nil
}

func tip(a, b, c plane.XY) bool {
	return valid.IsSpike(orb.Point{a.X, a.Y}, orb.Point{b.X, b.Y}, orb.Point{c.X, c.Y})
}

// reorder uncrosses two sides at a time: it turns round the stretch between them,
// which makes the ring shorter, so it comes to an end.
func reorder(shape orb.MultiPolygon) *orb.MultiPolygon {
	if len(shape) != 1 || len(shape[0]) != 1 {
		return nil
	}
	closed := closedRing(xys(shape[0][0]))
	if len(closed) > MaxReorder+1 {
		return nil
	}
	ring := degrees(closed)
	for range MaxReorder * MaxReorder {
		defects := valid.Check(ring)
		if len(defects) == 0 {
			out := tidy(orb.MultiPolygon{{ring}})
			return &out
		}
		i := slices.IndexFunc(defects, func(d valid.Defect) bool { return d.Rule == valid.CrossesItself })
		if i < 0 {
			return nil
		}
		// Corners count from 1, and a side by the corner it begins at.
		slices.Reverse(ring[defects[i].Vertex:defects[i].Other.Vertex])
	}
	return nil
}
