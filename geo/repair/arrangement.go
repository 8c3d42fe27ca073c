package repair

import (
	"cmp"
	"context"
	"math"
	"slices"

	"caneward/geo/overlay"
	"caneward/geo/plane"

	"github.com/tidwall/rtree"
)

// arrangement is the ground parted by rings into faces.
type arrangement struct {
	*overlay.Faces
	winds []winding // by cycle: how the rings wind round the face to its left
}

// winding tells how often each ring winds round a place, counter-clockwise
// positive; rings that do not are left out.
type winding []wound

type wound struct{ ring, times int }

func (w winding) of(ring int) int {
	for _, r := range w {
		if r.ring == ring {
			return r.times
		}
	}
	return 0
}

// arrange parts the plane. Rings are closed; their coordinates are finite.
func arrange(ctx context.Context, rings []plane.Ring) (*arrangement, error) {
	lines := make([]plane.Line, 0, len(rings))
	for _, r := range rings {
		lines = append(lines, plane.Line(r))
	}
	pieces, err := overlay.Node(ctx, lines)
	if err != nil {
		return nil, err
	}
	a := &arrangement{Faces: overlay.FacesOf(pieces, rings)}
	return a, a.wind(ctx, rings)
}

const (
	// probes is how many edges of a cycle are tried for one with open ground
	// beside it.
	probes = 3

	// maxLooks bounds the edges looked at to tell how rings wind: about two
	// seconds on a small machine.
	maxLooks = 100_000_000
)

type piece struct {
	a, b plane.XY
	ring int // or number of the edge
}

// wind tells how the rings wind round the face beside each cycle, by a place
// within it.
func (a *arrangement) wind(ctx context.Context, rings []plane.Ring) error {
	var walked, noded rtree.RTreeG[piece]
	insert := func(t *rtree.RTreeG[piece], p piece) {
		t.Insert([2]float64{math.Min(p.a.X, p.b.X), math.Min(p.a.Y, p.b.Y)}, [2]float64{math.Max(p.a.X, p.b.X), math.Max(p.a.Y, p.b.Y)}, p)
	}
	box := plane.NoBox()
	for k, r := range rings {
		box = box.Union(r.Box())
		for i := 0; i+1 < len(r); i++ {
			insert(&walked, piece{r[i], r[i+1], k})
		}
	}
	for k := range a.Edges() {
		p, q := a.Edge(2 * k)
		insert(&noded, piece{p, q, k})
	}
	w := winder{walked: &walked, noded: &noded, box: box}
	a.winds = make([]winding, a.Cycles())
	for c := range a.winds {
		if c%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		a.winds[c] = w.around(a, a.longest(c))
		if w.looks > maxLooks {
			return &IntricateError{What: Edges, Count: w.looks, Limit: maxLooks}
		}
	}
	return nil
}

// longest gives the few longest half-edges of a cycle.
func (a *arrangement) longest(c int) []int {
	var out []int
	for _, h := range a.Around(c) {
		i := len(out)
		for i > 0 && a.reach(h) > a.reach(out[i-1]) {
			i--
		}
		if i < probes {
			out = slices.Insert(out, i, h)
			out = out[:min(len(out), probes)]
		}
	}
	return out
}

func (a *arrangement) reach(h int) float64 {
	p, q := a.Edge(h)
	return math.Max(math.Abs(p.X-q.X), math.Abs(p.Y-q.Y))
}

type winder struct {
	walked, noded *rtree.RTreeG[piece]
	box           plane.Box
	looks         int
}

// roomy is the breadth of open ground, as a part of the edge beside it, with
// which a probe is content.
const roomy = 1e-3

func (w *winder) around(a *arrangement, halves []int) winding {
	var at plane.XY
	most := math.Inf(-1)
	for _, h := range halves {
		q, room, open := w.beside(a, h)
		if open {
			return nil // nothing lies between here and the far distance
		}
		if room > most {
			most, at = room, q
		}
		if room > roomy*a.reach(h) {
			break
		}
	}
	return w.at(at)
}

// beside is the middle of the open ground to the left of a half-edge's middle,
// on the line through it that runs west and east, or south and north where that
// is nearer to square, and how broad that ground is.
func (w *winder) beside(a *arrangement, h int) (q plane.XY, room float64, open bool) {
	p, r := a.Edge(h)
	m := p.Plus(r.Minus(p).Times(0.5))
	if math.Abs(r.Y-p.Y) >= math.Abs(r.X-p.X) {
		near, ok := w.reached(m.X, m.Y, h, r.Y < p.Y, false)
		return plane.XY{X: (m.X + near) / 2, Y: m.Y}, math.Abs(near - m.X), !ok
	}
	near, ok := w.reached(m.Y, m.X, h, r.X > p.X, true)
	return plane.XY{X: m.X, Y: (m.Y + near) / 2}, math.Abs(near - m.Y), !ok
}

// reached is where a ray from the middle of a half-edge first comes to another
// edge. It runs along one axis, up or down it, at a fixed place of the other;
// turned means that it runs along Y.
func (w *winder) reached(from, across float64, h int, up, turned bool) (near float64, ok bool) {
	limit := math.Inf(-1)
	if up {
		limit = math.Inf(1)
	}
	low, high := [2]float64{math.Min(from, limit), across}, [2]float64{math.Max(from, limit), across}
	if turned {
		low, high = [2]float64{low[1], low[0]}, [2]float64{high[1], high[0]}
	}
	near = limit
	hit := func(x float64) {
		if up && x > from {
			near = math.Min(near, x)
		} else if !up && x < from {
			near = math.Max(near, x)
		}
	}
	w.noded.Search(low, high, func(_, _ [2]float64, s piece) bool {
		w.looks++
		if s.ring == h/2 {
			return true
		}
		if turned {
			s.a, s.b = plane.XY{X: s.a.Y, Y: s.a.X}, plane.XY{X: s.b.Y, Y: s.b.X}
		}
		for _, end := range []plane.XY{s.a, s.b} {
			if end.Y == across {
				hit(end.X)
			}
		}
		if (s.a.Y > across) != (s.b.Y > across) {
			hit(s.a.X + (across-s.a.Y)*(s.b.X-s.a.X)/(s.b.Y-s.a.Y))
		}
		return true
	})
	return near, near != limit
}

// at counts, on a ray to the east, the edges that pass north less those south.
func (w *winder) at(q plane.XY) winding {
	var out winding
	w.walked.Search([2]float64{q.X, q.Y}, [2]float64{math.Max(q.X, w.box.Max.X), q.Y}, func(_, _ [2]float64, s piece) bool {
		w.looks++
		north := s.b.Y > q.Y
		if (s.a.Y > q.Y) == north || q.X >= s.a.X+(q.Y-s.a.Y)*(s.b.X-s.a.X)/(s.b.Y-s.a.Y) {
			return true
		}
		times := 1
		if !north {
			times = -1
		}
		for i := range out {
			if out[i].ring == s.ring {
				out[i].times += times
				return true
			}
		}
		out = append(out, wound{s.ring, times})
		return true
	})
	out = slices.DeleteFunc(out, func(r wound) bool { return r.times == 0 })
	slices.SortFunc(out, func(x, y wound) int { return cmp.Compare(x.ring, y.ring) })
	return out
}
