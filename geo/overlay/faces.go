package overlay

import (
	"cmp"
	"math"
	"slices"

	"caneward/geo/plane"
	"caneward/geo/valid"

	"github.com/paulmach/orb"
)

// Faces is the plane parted by edges into faces. Edge k is the half-edges 2k and
// 2k+1, which run opposite ways. Going along a half-edge and then its next leads
// round one boundary, a cycle, of the face to its left; a face with holes has a
// cycle for each of them too. It is not for several goroutines at once.
type Faces struct {
	at     []plane.XY // nodes
	corner []int      // by node: its number among the corners of the rings, -1 where it is none
	from   []int      // node each half-edge leaves
	next   []int
	cycle  []int // of each half-edge
	rounds []int // the half-edges of the cycles, one cycle after another
	starts []int // of each cycle in rounds, and the end of the last

	// Marks of ground, empty between calls.
	kept   []bool // by cycle
	used   []bool // by half-edge
	degree []int  // by node: sides that leave it
}

// FacesOf gives the faces between lines that meet at their ends only, as Node
// makes them. The corners of the rings say where the rings of ground begin.
func FacesOf(lines []plane.Line, rings []plane.Ring) *Faces {
	order := map[plane.XY]int{}
	for _, r := range rings {
		for _, p := range r {
			if _, ok := order[p]; !ok {
				order[p] = len(order)
			}
		}
	}
	f := &Faces{}
	// Nodes and edges are numbered by place, for the engine promises no order.
	var edges [][2]plane.XY
	for _, l := range lines {
		for i := 0; i+1 < len(l); i++ {
			e := [2]plane.XY{l[i], l[i+1]}
			if compare(e[0], e[1]) > 0 {
				e[0], e[1] = e[1], e[0]
			}
			if e[0] != e[1] {
				edges = append(edges, e)
			}
			f.at = append(f.at, e[0], e[1])
		}
	}
	slices.SortFunc(edges, func(x, y [2]plane.XY) int {
		return cmp.Or(compare(x[0], y[0]), compare(x[1], y[1]))
	})
	edges = slices.Compact(edges)
	slices.SortFunc(f.at, compare)
	f.at = slices.Compact(f.at)
	number := make(map[plane.XY]int, len(f.at))
	for i, p := range f.at {
		number[p] = i
		n, ok := order[p]
		if !ok {
			n = -1
		}
		f.corner = append(f.corner, n)
	}
	f.from = make([]int, 0, 2*len(edges))
	for _, e := range edges {
		f.from = append(f.from, number[e[0]], number[e[1]])
	}
	f.walk()
	return f
}

// Cycles is how many there are.
func (f *Faces) Cycles() int { return len(f.starts) - 1 }

// Around are the half-edges of a cycle, in order.
func (f *Faces) Around(cycle int) []int { return f.rounds[f.starts[cycle]:f.starts[cycle+1]] }

// Edges is how many there are; each is two half-edges.
func (f *Faces) Edges() int { return len(f.from) / 2 }

// Edge gives the ends of a half-edge, in its direction.
func (f *Faces) Edge(half int) (p, q plane.XY) { return f.at[f.from[half]], f.at[f.to(half)] }

func (f *Faces) to(h int) int { return f.from[h^1] }

func compare(p, q plane.XY) int {
	return cmp.Or(cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y))
}

// walk finds what follows each half-edge, round the face to its left: at its
// end, the first to leave clockwise from the way back.
func (f *Faces) walk() {
	first := make([]int, len(f.at)+1)
	for _, v := range f.from {
		first[v+1]++
	}
	for v := range f.at {
		first[v+1] += first[v]
	}
	leaving, filled := make([]int, len(f.from)), slices.Clone(first)
	for h, v := range f.from {
		leaving[filled[v]] = h
		filled[v]++
	}
	f.next = make([]int, len(f.from))
	for v := range f.at {
		hs := leaving[first[v]:first[v+1]]
		if len(hs) > 2 {
			slices.SortFunc(hs, func(g, h int) int { return f.byDirection(v, g, h) })
		}
		for i, h := range hs {
			f.next[h^1] = hs[(i+len(hs)-1)%len(hs)]
		}
	}
	f.cycle = make([]int, len(f.from))
	for h := range f.cycle {
		f.cycle[h] = -1
	}
	f.rounds = make([]int, 0, len(f.from))
	for h := range f.cycle {
		if f.cycle[h] >= 0 {
			continue
		}
		f.starts = append(f.starts, len(f.rounds))
		for g := h; f.cycle[g] < 0; g = f.next[g] {
			f.cycle[g] = len(f.starts) - 1
			f.rounds = append(f.rounds, g)
		}
	}
	f.starts = append(f.starts, len(f.rounds))
	f.kept, f.used, f.degree = make([]bool, f.Cycles()), make([]bool, len(f.from)), make([]int, len(f.at))
}

// byDirection sorts half-edges that leave v counter-clockwise from east.
func (f *Faces) byDirection(v, g, h int) int {
	c, p, q := f.at[v], f.at[f.to(g)], f.at[f.to(h)]
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

// area is that of a cycle, positive when it runs counter-clockwise.
func (f *Faces) area(cycle int) float64 {
	hs := f.Around(cycle)
	o, twice := f.at[f.from[hs[0]]], 0.0
	for _, h := range hs {
		p, q := f.Edge(h)
		twice += p.Minus(o).Cross(q.Minus(o))
	}
	return twice / 2
}

// Ground joins the faces beside these cycles. Rings begin at their earliest
// corner and polygons stand in the order of theirs. Nodes that are no corner and
// bend nothing are left out where straighten is set.
func (f *Faces) Ground(cycles []int, straighten bool) plane.Region {
	var halves []int
	for _, c := range cycles {
		f.kept[c] = true
	}
	side := func(h int) bool { return f.kept[f.cycle[h]] && !f.kept[f.cycle[h^1]] }
	for _, c := range cycles {
		for _, h := range f.Around(c) {
			if side(h) {
				halves = append(halves, h)
			}
		}
	}
	slices.Sort(halves)
	for _, h := range halves {
		f.degree[f.from[h]]++
	}
	var shells []*shell
	var loose [][]int
	for _, h := range halves {
		if f.used[h] {
			continue
		}
		own, holes := f.outline(h, side)
		if own != nil {
			own.holes = holes
			shells = append(shells, own)
			continue
		}
		loose = append(loose, holes...)
	}
	f.place(shells, loose)
	out := f.polygons(shells, straighten)
	for _, h := range halves {
		f.used[h], f.degree[f.from[h]] = false, 0
	}
	for _, c := range cycles {
		f.kept[c] = false
	}
	return out
}

// outline walks the sides of ground round one face of it from h, and parts them
// into the shell, nil where the walk goes round holes only, and holes.
func (f *Faces) outline(h int, side func(int) bool) (own *shell, holes [][]int) {
	var nodes []int
	simple := true
	for g := h; !f.used[g]; {
		f.used[g] = true
		nodes = append(nodes, f.from[g])
		simple = simple && f.degree[f.from[g]] == 1
		for g = f.next[g]; !side(g); {
			g = f.next[g^1]
		}
	}
	loops := [][]int{nodes}
	if !simple {
		loops = apartAtNodes(nodes)
	}
	for _, loop := range loops {
		if own == nil && f.ring(loop).SignedArea() > 0 {
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
	where *Locator
}

// apartAtNodes parts a walk that comes by a node twice into loops that do not.
func apartAtNodes(nodes []int) [][]int {
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

func (f *Faces) ring(nodes []int) plane.Ring {
	r := make(plane.Ring, 0, len(nodes)+1)
	for _, v := range nodes {
		r = append(r, f.at[v])
	}
	return append(r, r[0])
}

// place gives each loose hole to the smallest shell round it.
func (f *Faces) place(shells []*shell, loose [][]int) {
	if len(loose) == 0 {
		return
	}
	bySize := slices.Clone(shells)
	for _, s := range bySize {
		s.ring = f.ring(s.nodes)
		s.box = s.ring.Box()
	}
	slices.SortStableFunc(bySize, func(x, y *shell) int {
		return cmp.Compare(x.ring.SignedArea(), y.ring.SignedArea())
	})
	for _, hole := range loose {
		ring := f.ring(hole)
		box := ring.Box()
		for _, s := range bySize {
			if s.box.Union(box) == s.box && s.holds(f, hole) {
				s.holes = append(s.holes, hole)
				break
			}
		}
	}
}

// holds judges by a corner of the hole that the shell does not touch, or else by
// the middle of a side.
func (s *shell) holds(f *Faces, hole []int) bool {
	if s.where == nil {
		s.where = Locate(plane.Region{{s.ring}})
		s.has = make(map[int]bool, len(s.nodes))
		for _, v := range s.nodes {
			s.has[v] = true
		}
	}
	for _, v := range hole {
		if !s.has[v] {
			return s.where.Contains(f.at[v])
		}
	}
	return s.where.Contains(f.at[hole[0]].Plus(f.at[hole[1]]).Times(0.5))
}

func (f *Faces) polygons(shells []*shell, straighten bool) plane.Region {
	type ordered struct {
		first int
		rings plane.Polygon
	}
	var all []ordered
	for _, s := range shells {
		ring, first := f.finish(s.nodes, straighten)
		if len(ring) < 4 {
			continue
		}
		type numbered struct {
			first int
			ring  plane.Ring
		}
		var holes []numbered
		for _, hole := range s.holes {
			if r, n := f.finish(hole, straighten); len(r) >= 4 {
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

func (f *Faces) finish(nodes []int, straighten bool) (plane.Ring, int) {
	pts := make(plane.Ring, 0, len(nodes)+1)
	start, first := 0, math.MaxInt
	for i, v := range nodes {
		p := f.at[v]
		if f.corner[v] < 0 && straighten && f.degree[v] == 1 && len(nodes) > 3 {
			before, after := f.at[nodes[(i+len(nodes)-1)%len(nodes)]], f.at[nodes[(i+1)%len(nodes)]]
			if len(pts) > 0 {
				before = pts[len(pts)-1]
			}
			size := math.Max(math.Abs(p.X), math.Abs(p.Y))
			if float64(p.Distance(p.NearestOn(before, after))) <= straight*size {
				continue
			}
		}
		if n := f.corner[v]; n >= 0 && n < first {
			start, first = len(pts), n
		}
		pts = append(pts, p)
	}
	if len(pts) == 0 {
		return nil, first
	}
	if start > 0 {
		turned := make(plane.Ring, 0, len(nodes)+1)
		pts = append(append(turned, pts[start:]...), pts[:start]...)
	}
	return append(pts, pts[0]), first
}
