package overlay

import (
	"cmp"
	"context"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"

	"github.com/tidwall/rtree"
)

type edge struct{ a, b plane.XY }

// Locator answers many times whether a place lies on the same ground, each time
// in about the logarithm of the ground's corners. It may be shared.
type Locator struct {
	tree rtree.RTreeG[edge]
	box  plane.Box
}

// Locate prepares the ground.
func Locate(r plane.Region) *Locator {
	e := &Locator{box: r.Box()}
	for _, p := range r {
		for _, ring := range p {
			for i := 0; i+1 < len(ring); i++ {
				lo, hi := corners(ring[i], ring[i+1])
				e.tree.Insert(lo, hi, edge{ring[i], ring[i+1]})
			}
		}
	}
	return e
}

func corners(a, b plane.XY) (lo, hi [2]float64) {
	return [2]float64{math.Min(a.X, b.X), math.Min(a.Y, b.Y)}, [2]float64{math.Max(a.X, b.X), math.Max(a.Y, b.Y)}
}

// Contains is plane.Region.Contains: edges count as inside.
func (e *Locator) Contains(q plane.XY) bool {
	const w = float64(plane.EdgeWidth)
	if q.X < e.box.Min.X-w || q.X > e.box.Max.X+w || q.Y < e.box.Min.Y-w || q.Y > e.box.Max.Y+w {
		return false
	}
	// Edges on a ray to the east are counted. An edge that two polygons share
	// counts twice; a point on it is settled by its nearness.
	inside, on := false, false
	e.tree.Search([2]float64{q.X - w, q.Y - w}, [2]float64{math.Max(e.box.Max.X, q.X) + w, q.Y + w}, func(_, _ [2]float64, s edge) bool {
		if float64(q.Distance(q.NearestOn(s.a, s.b))) <= w {
			on = true
			return false
		}
		if (s.a.Y > q.Y) != (s.b.Y > q.Y) && q.X < s.a.X+(q.Y-s.a.Y)*(s.b.X-s.a.X)/(s.b.Y-s.a.Y) {
			inside = !inside
		}
		return true
	})
	return on || inside
}

// boundCrossings refuses inputs whose edges meet too often to be worked in
// the time the bounds promise.
func boundCrossings(a, b plane.Region) error {
	if a.Vertices() < b.Vertices() {
		a, b = b, a
	}
	if a.Vertices()*b.Vertices() <= MaxCrossings {
		return nil
	}
	e, n, looked := Locate(a), 0, 0
	for _, p := range b {
		for _, ring := range p {
			for i := 0; i+1 < len(ring); i++ {
				lo, hi := corners(ring[i], ring[i+1])
				e.tree.Search(lo, hi, func(_, _ [2]float64, s edge) bool {
					looked++
					if s.meets(edge{ring[i], ring[i+1]}) {
						n++
					}
					return n <= MaxCrossings && looked <= maxCandidates
				})
				if n > MaxCrossings || looked > maxCandidates {
					return &TooManyError{What: Crossings, Count: n, Limit: MaxCrossings}
				}
			}
		}
	}
	return nil
}

// meets reports whether two edges have a point in common, near enough to count.
func (e edge) meets(o edge) bool {
	d, f := e.b.Minus(e.a), o.b.Minus(o.a)
	return d.Cross(o.a.Minus(e.a))*d.Cross(o.b.Minus(e.a)) <= 0 && f.Cross(e.a.Minus(o.a))*f.Cross(e.b.Minus(o.a)) <= 0
}

// CutLines gives the pieces of the lines that lie on the ground, in the order
// and direction of the lines. A stretch along an edge counts as on the ground;
// pieces shorter than geo.SamePlace are dropped. A piece goes on through
// the corners of its line and through edges that two polygons share.
// Errors: the context's, *TooManyError.
func CutLines(ctx context.Context, lines []plane.Line, ground plane.Region) ([]plane.Line, error) {
	total := ground.Vertices()
	for _, l := range lines {
		total += len(l)
	}
	if total > MaxVertices {
		return nil, &TooManyError{What: Corners, Count: total, Limit: MaxVertices}
	}
	e := Locate(ground)
	crossings := 0
	var out []plane.Line
	for _, l := range lines {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var piece plane.Line
		end := func() {
			if piece.Length() >= geo.SamePlace {
				out = append(out, piece)
			}
			piece = nil
		}
		for i := 0; i+1 < len(l); i++ {
			stops := e.stops(l[i], l[i+1])
			// Here a crossing costs a look-up, not a node of an overlay.
			if crossings += max(0, len(stops)-2); crossings > MaxVertices {
				return nil, &TooManyError{What: Crossings, Count: crossings, Limit: MaxVertices}
			}
			for k := 0; k+1 < len(stops); k++ {
				a, b := stops[k], stops[k+1]
				if !e.Contains(a.Plus(b).Times(0.5)) {
					end()
					continue
				}
				if len(piece) == 0 {
					piece = plane.Line{a}
				}
				// A stop that is no corner of the line and lets the piece go on is dropped.
				if k > 0 && len(piece) > 1 {
					piece[len(piece)-1] = b
				} else {
					piece = append(piece, b)
				}
			}
		}
		end()
	}
	return out, nil
}

// stops are the ends of a piece of line and the places between them where it
// meets an edge, in order.
func (e *Locator) stops(a, b plane.XY) []plane.XY {
	d := b.Minus(a)
	length := math.Sqrt(d.Dot(d))
	if length == 0 {
		return nil
	}
	at := []float64{0, 1}
	lo, hi := corners(a, b)
	e.tree.Search(lo, hi, func(_, _ [2]float64, s edge) bool {
		f := s.b.Minus(s.a)
		den := d.Cross(f)
		if parallel := 1e-12 * length * math.Sqrt(f.Dot(f)); math.Abs(den) <= parallel {
			for _, p := range []plane.XY{s.a, s.b} {
				at = append(at, p.Minus(a).Dot(d)/(length*length))
			}
			return true
		}
		if u := s.a.Minus(a).Cross(d) / den; u >= -1e-9 && u <= 1+1e-9 {
			at = append(at, s.a.Minus(a).Cross(f)/den)
		}
		return true
	})
	slices.SortFunc(at, cmp.Compare[float64])
	out := []plane.XY{a}
	last := 0.0
	const apart = float64(plane.EdgeWidth)
	for _, t := range at {
		if t > 0 && t < 1 && (t-last)*length > apart && (1-t)*length > apart {
			out = append(out, a.Plus(d.Times(t)))
			last = t
		}
	}
	return append(out, b)
}
