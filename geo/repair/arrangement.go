package repair

import (
	"cmp"
	"context"
	"math"
	"slices"

	"caneward/geo/overlay"
	"caneward/geo/plane"
	"caneward/geo/valid"

	"github.com/paulmach/orb"
	"github.com/tidwall/rtree"
)

// arrangement is the ground parted by rings into faces. Edge k is the
// half-edges 2k and 2k+1, which run opposite ways. Walking a half-edge and then
// its next leads round one boundary, a cycle, of the face to its left.
type arrangement struct {
	at     []plane.XY // nodes
	from   []int      // node each half-edge leaves
	next   []int
	cycle  []int            // of each half-edge
	halves [][]int          // the half-edges of each cycle
	winds  []winding        // by cycle: how the rings wind round the face to its left
	order  map[plane.XY]int // corners of the rings, as they come

	// Marks of ground, empty between calls.
	kept   []bool // by cycle
	used   []bool // by half-edge
	degree []int  // by node: sides that leave it
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

func (a *arrangement) to(h int) int { return a.from[h^1] }

func (a *arrangement) edge(h int) (p, q plane.XY) { return a.at[a.from[h]], a.at[a.to(h)] }

// arrange parts the plane. Rings are closed; their coordinates are finite.
func arrange(ctx context.Context, rings []plane.Ring) (*arrangement, error) {
	lines := make([]plane.Line, 0, len(rings))
	a := &arrangement{order: map[plane.XY]int{}}
	for _, r := range rings {
		lines = append(lines, plane.Line(r))
		for _, p := range r {
			if _, ok := a.order[p]; !ok {
				a.order[p] = len(a.order)
			}
		}
	}
	pieces, err := overlay.Node(ctx, lines)
	if err != nil {
		return nil, err
	}
	a.connect(pieces)
	a.walk()
	return a, a.wind(ctx, rings)
}

// connect numbers nodes and edges by place, for the engine promises no order.
func (a *arrangement) connect(pieces []plane.Line) {
	var edges [][2]plane.XY
	for _, l := range pieces {
		for i := 0; i+1 < len(l); i++ {
			e := [2]plane.XY{l[i], l[i+1]}
			if compare(e[0], e[1]) > 0 {
				e[0], e[1] = e[1], e[0]
			}
			if e[0] != e[1] {
				edges = append(edges, e)
			}
			a.at = append(a.at, e[0], e[1])
		}
	}
	slices.SortFunc(edges, func(x, y [2]plane.XY) int {
		return cmp.Or(compare(x[0], y[0]), compare(x[1], y[1]))
	})
	edges = slices.Compact(edges)
	slices.SortFunc(a.at, compare)
	a.at = slices.Compact(a.at)
	number := make(map[plane.XY]int, len(a.at))
	for i, p := range a.at {
		number[p] = i
	}
	a.from = make([]int, 0, 2*len(edges))
	for _, e := range edges {
		a.from = append(a.from, number[e[0]], number[e[1]])
	}
}

func compare(p, q plane.XY) int {
	return cmp.Or(cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y))
}

// walk finds what follows each half-edge, round the face to its left: at its
// end, the first to leave clockwise from the way back.
func (a *arrangement) walk() {
	leaving := make([][]int, len(a.at))
	for h, v := range a.from {
		leaving[v] = append(leaving[v], h)
	}
	a.next = make([]int, len(a.from))
	for v, hs := range leaving {
		slices.SortFunc(hs, func(g, h int) int { return a.byDirection(v, g, h) })
		for i, h := range hs {
			a.next[h^1] = hs[(i+len(hs)-1)%len(hs)]
		}
	}
	a.cycle = make([]int, len(a.from))
	for h := range a.cycle {
		a.cycle[h] = -1
	}
	for h := range a.cycle {
		if a.cycle[h] >= 0 {
			continue
		}
		var round []int
		for g := h; a.cycle[g] < 0; g = a.next[g] {
			a.cycle[g] = len(a.halves)
			round = append(round, g)
		}
		a.halves = append(a.halves, round)
	}
	a.kept, a.used, a.degree = make([]bool, len(a.halves)), make([]bool, len(a.from)), make([]int, len(a.at))
}

// byDirection sorts half-edges that leave v counter-clockwise from east.
func (a *arrangement) byDirection(v, g, h int) int {
	c, p, q := a.at[v], a.at[a.to(g)], a.at[a.to(h)]
	if below(c, p) != below(c, q) {
		if below(c, p) {
			return 1
		}
		return -1
	}
	return cmp.Or(-valid.Orient(orb.Point{c.X, c.Y}, orb.Point{p.X, p.Y}, orb.Point{q.X, q.Y}), cmp.Compare(g, h))
}

// below: the direction from c to p lies in the half turn that begins at west.
func below(c, p plane.XY) bool { return p.Y < c.Y || p.Y == c.Y && p.X < c.X }

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
	for h := 0; h < len(a.from); h += 2 {
		p, q := a.edge(h)
		insert(&noded, piece{p, q, h / 2})
	}
	w := winder{walked: &walked, noded: &noded, box: box}
	a.winds = make([]winding, len(a.halves))
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
	for _, h := range a.halves[c] {
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
	p, q := a.edge(h)
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
	p, r := a.edge(h)
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

// ground joins the faces beside these cycles. Rings begin at their earliest
// corner and polygons stand in the order of theirs. Nodes that are no corner and
// bend nothing are left out where straighten is set.
func (a *arrangement) ground(cycles []int, straighten bool) plane.Region {
	var halves []int
	for _, c := range cycles {
		a.kept[c] = true
		halves = append(halves, a.halves[c]...)
	}
	slices.Sort(halves)
	side := func(h int) bool { return a.kept[a.cycle[h]] && !a.kept[a.cycle[h^1]] }
	halves = slices.DeleteFunc(halves, func(h int) bool { return !side(h) })
	for _, h := range halves {
		a.degree[a.from[h]]++
	}
	var shells []*shell
	var loose [][]int
	for _, h := range halves {
		if a.used[h] {
			continue
		}
		own, holes := a.outline(h, side)
		if own != nil {
			own.holes = holes
			shells = append(shells, own)
			continue
		}
		loose = append(loose, holes...)
	}
	a.place(shells, loose)
	out := a.polygons(shells, straighten)
	for _, h := range halves {
		a.used[h], a.degree[a.from[h]] = false, 0
	}
	for _, c := range cycles {
		a.kept[c] = false
	}
	return out
}

// outline walks the sides of ground round one face of it from h, and parts them
// into the shell, nil where the walk goes round holes only, and holes.
func (a *arrangement) outline(h int, side func(int) bool) (own *shell, holes [][]int) {
	var nodes []int
	for g := h; !a.used[g]; {
		a.used[g] = true
		nodes = append(nodes, a.from[g])
		for g = a.next[g]; !side(g); {
			g = a.next[g^1]
		}
	}
	for _, loop := range split(nodes) {
		if own == nil && a.ring(loop).SignedArea() > 0 {
			own = &shell{nodes: loop}
		} else {
			holes = append(holes, loop)
		}
	}
	return own, holes
}

// shell is a polygon by its nodes.
type shell struct {
	nodes []int
	holes [][]int
	ring  plane.Ring
	box   plane.Box
	has   map[int]bool
	where *overlay.Locator
}

// split parts a walk that comes by a node twice into loops that do not.
func split(nodes []int) [][]int {
	var out [][]int
	var path []int
	seen := map[int]int{}
	for _, v := range nodes {
		if i, ok := seen[v]; ok {
			loop := slices.Clone(path[i:])
			for _, u := range loop {
				delete(seen, u)
			}
			out = append(out, loop)
			path = path[:i]
		}
		seen[v] = len(path)
		path = append(path, v)
	}
	return append(out, path)
}

func (a *arrangement) ring(nodes []int) plane.Ring {
	r := make(plane.Ring, 0, len(nodes)+1)
	for _, v := range nodes {
		r = append(r, a.at[v])
	}
	return append(r, r[0])
}

// place gives each loose hole to the smallest shell round it.
func (a *arrangement) place(shells []*shell, loose [][]int) {
	if len(loose) == 0 {
		return
	}
	bySize := slices.Clone(shells)
	for _, s := range bySize {
		s.ring = a.ring(s.nodes)
		s.box = s.ring.Box()
	}
	slices.SortStableFunc(bySize, func(x, y *shell) int {
		return cmp.Compare(x.ring.SignedArea(), y.ring.SignedArea())
	})
	for _, hole := range loose {
		ring := a.ring(hole)
		box := ring.Box()
		for _, s := range bySize {
			if s.box.Union(box) == s.box && s.holds(a, hole) {
				s.holes = append(s.holes, hole)
				break
			}
		}
	}
}

// holds judges by a corner of the hole that the shell does not touch, or else by
// the middle of a side.
func (s *shell) holds(a *arrangement, hole []int) bool {
	if s.where == nil {
		s.where = overlay.Locate(plane.Region{{s.ring}})
		s.has = make(map[int]bool, len(s.nodes))
		for _, v := range s.nodes {
			s.has[v] = true
		}
	}
	for _, v := range hole {
		if !s.has[v] {
			return s.where.Contains(a.at[v])
		}
	}
	return s.where.Contains(a.at[hole[0]].Plus(a.at[hole[1]]).Times(0.5))
}

func (a *arrangement) polygons(shells []*shell, straighten bool) plane.Region {
	type ordered struct {
		first int
		rings plane.Polygon
	}
	var all []ordered
	for _, s := range shells {
		ring, first := a.finish(s.nodes, straighten)
		if len(ring) < 4 {
			continue
		}
		type numbered struct {
			first int
			ring  plane.Ring
		}
		var holes []numbered
		for _, hole := range s.holes {
			if r, n := a.finish(hole, straighten); len(r) >= 4 {
				holes = append(holes, numbered{n, r})
			}
		}
		slices.SortStableFunc(holes, func(x, y numbered) int { return cmp.Compare(x.first, y.first) })
		p := plane.Polygon{ring}
		for _, hole := range holes {
			p = append(p, hole.ring)
		}
		all = append(all, ordered{first, p})
	}
	slices.SortStableFunc(all, func(x, y ordered) int { return cmp.Compare(x.first, y.first) })
	var out plane.Region
	for _, p := range all {
		out = append(out, p.rings)
	}
	return out
}

// straight is how far a node may lie off the side it stands on and still be a
// rounded place of it: sixteen steps of a float64.
const straight = 16 * 0x1p-52

func (a *arrangement) finish(nodes []int, straighten bool) (plane.Ring, int) {
	pts := make([]plane.XY, 0, len(nodes)+1)
	for i, v := range nodes {
		p := a.at[v]
		if _, corner := a.order[p]; !corner && straighten && a.degree[v] == 1 && len(nodes) > 3 {
			before, after := a.at[nodes[(i+len(nodes)-1)%len(nodes)]], a.at[nodes[(i+1)%len(nodes)]]
			if len(pts) > 0 {
				before = pts[len(pts)-1]
			}
			size := math.Max(math.Abs(p.X), math.Abs(p.Y))
			if float64(p.Distance(p.NearestOn(before, after))) <= straight*size {
				continue
			}
		}
		pts = append(pts, p)
	}
	start, first := 0, math.MaxInt
	for i, p := range pts {
		if n, ok := a.order[p]; ok && n < first {
			start, first = i, n
		}
	}
	if len(pts) == 0 {
		return nil, first
	}
	ring := append(plane.Ring{}, pts[start:]...)
	ring = append(ring, pts[:start]...)
	return append(ring, ring[0]), first
}
