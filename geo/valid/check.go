package valid

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"caneward/geo"

	"github.com/paulmach/orb"
	"github.com/tidwall/rtree"
)

// Check finds the defects of any geometry, at most MaxPerRule of each rule, in
// the order of the rules and then of the shape. Nil has none, nor have a MultiPolygon,
// MultiLineString, MultiPoint or collection without members.
// Points and lines are checked for their coordinates only; a line may cross
// itself. The members of a collection are judged each for itself. Rings
// with fatal defects of their own are left out of the rules about crossing. Work
// grows with n log n for outlines, and is bounded for scribbles (TooIntricate).
func Check(g orb.Geometry) []Defect {
	c := &checker{count: map[Rule]int{}}
	c.geometry(g)
	slices.SortStableFunc(c.found, compareDefects)
	return c.found
}

func compareDefects(a, b Defect) int {
	return cmp.Or(cmp.Compare(a.Rule, b.Rule), comparePlaces(a.Place, b.Place), comparePlaces(a.Other, b.Other))
}

func comparePlaces(a, b Place) int {
	return cmp.Or(cmp.Compare(a.Part, b.Part), cmp.Compare(a.Ring, b.Ring), cmp.Compare(a.Vertex, b.Vertex))
}

type checker struct {
	parts int
	found []Defect
	count map[Rule]int
}

func (c *checker) report(r Rule, at orb.Point, place, other Place) {
	if c.count[r]++; c.count[r] <= MaxPerRule {
		c.found = append(c.found, Defect{Rule: r, Place: place, Other: other, At: at})
	}
}

func (c *checker) geometry(g orb.Geometry) {
	switch g := g.(type) {
	case orb.Point:
		c.points(orb.MultiPoint{g})
	case orb.MultiPoint:
		c.points(g)
	case orb.LineString:
		c.line(g)
	case orb.MultiLineString:
		for _, l := range g {
			c.line(l)
		}
	case orb.Ring:
		c.polygons(orb.MultiPolygon{{g}})
	case orb.Bound:
		c.polygons(orb.MultiPolygon{g.ToPolygon()})
	case orb.Polygon:
		c.polygons(orb.MultiPolygon{g})
	case orb.MultiPolygon:
		c.polygons(g)
	case orb.Collection:
		for _, member := range g {
			c.geometry(member)
		}
	}
}

func (c *checker) points(ps orb.MultiPoint) {
	for _, p := range ps {
		c.parts++
		c.position(p, Place{Part: c.parts})
	}
}

func (c *checker) line(l orb.LineString) {
	c.parts++
	place := Place{Part: c.parts}
	if !c.positions(l, place) {
		return
	}
	kept := c.corners(l, place)
	if len(kept) < 2 {
		c.report(TooFewPoints, first(l), place, Place{})
	}
	c.antimeridian(kept, false)
}

func first(ps []orb.Point) orb.Point {
	if len(ps) == 0 {
		return orb.Point{math.NaN(), math.NaN()}
	}
	return ps[0]
}

// positions checks each coordinate and reports whether all can be used.
// Swapped axes are a fault of the whole, told once.
func (c *checker) positions(ps []orb.Point, place Place) bool {
	ok, swapped := true, false
	for i, p := range ps {
		place.Vertex = i + 1
		if rule := positionRule(p); rule != 0 {
			ok = false
			if rule == SwappedAxes && swapped {
				continue
			}
			swapped = swapped || rule == SwappedAxes
			c.report(rule, p, place, Place{})
		}
	}
	return ok
}

func (c *checker) position(p orb.Point, place Place) {
	if rule := positionRule(p); rule != 0 {
		c.report(rule, p, place, Place{})
	}
}

func positionRule(p orb.Point) Rule {
	x, y := math.Abs(p[0]), math.Abs(p[1])
	switch {
	case math.IsNaN(x) || math.IsNaN(y) || math.IsInf(x, 0) || math.IsInf(y, 0):
		return NotANumber
	case y > 90 && y <= 180 && x <= 90:
		return SwappedAxes
	case x > 180 || y > 90:
		return OutOfRange
	}
	return 0
}

// corner is a point of a ring or line with its place in the shape as given.
type corner struct {
	at    orb.Point
	place Place
}

// corners drops points that repeat the one before, and says so.
func (c *checker) corners(ps []orb.Point, place Place) []corner {
	out := make([]corner, 0, len(ps))
	for i, p := range ps {
		place.Vertex = i + 1
		if i > 0 && p == ps[i-1] {
			c.report(RepeatedPoint, p, place, Place{})
			continue
		}
		out = append(out, corner{p, place})
	}
	return out
}

func (c *checker) antimeridian(cs []corner, closed bool) bool {
	crossed := false
	for i := range cs {
		if i+1 == len(cs) && !closed {
			break
		}
		next := cs[(i+1)%len(cs)]
		if math.Abs(next.at[0]-cs[i].at[0]) > 180 {
			crossed = true
			c.report(CrossesAntimeridian, cs[i].at, cs[i].place, Place{})
		}
	}
	return crossed
}

// ring is a ring that can be judged against others, without its closing point.
type ring struct {
	corners []corner
	part    int // number of the polygon
	hole    bool
	number  Place // the ring as a whole
}

func (r *ring) corner(i int) corner   { n := len(r.corners); return r.corners[((i%n)+n)%n] }
func (r *ring) point(i int) orb.Point { return r.corner(i).at }

func (c *checker) polygons(mp orb.MultiPolygon) {
	var rings []*ring
	for _, poly := range mp {
		c.parts++
		if len(poly) == 0 {
			c.report(TooFewPoints, first(nil), Place{Part: c.parts, Ring: 1}, Place{})
		}
		for j, points := range poly {
			if r := c.ring(points, Place{Part: c.parts, Ring: j + 1}); r != nil {
				r.part, r.hole = c.parts, j > 0
				rings = append(rings, r)
			}
		}
	}
	if len(rings) > 0 {
		c.topology(rings)
	}
}

// ring checks a ring for itself; nil when it cannot be held against others.
func (c *checker) ring(points orb.Ring, place Place) *ring {
	if !c.positions(points, place) {
		return nil
	}
	cs := c.corners(points, place)
	if len(cs) > 1 && cs[0].at == cs[len(cs)-1].at {
		cs = cs[:len(cs)-1]
	} else if len(cs) > 0 {
		last := cs[len(cs)-1]
		c.report(NotClosed, last.at, last.place, Place{})
	}
	if countDifferent(cs) < 3 {
		c.report(TooFewPoints, first(points), place, Place{})
		return nil
	}
	if c.antimeridian(cs, true) {
		return nil
	}
	if area(cs) < geo.SliverArea && !mayWind(cs) {
		c.report(ZeroArea, cs[0].at, place, Place{})
		return nil
	}
	return &ring{corners: cs, number: place}
}

// countDifferent counts different corners, no further than three.
func countDifferent(cs []corner) int {
	var seen []orb.Point
	for _, p := range cs {
		if !slices.Contains(seen, p.at) {
			seen = append(seen, p.at)
		}
		if len(seen) == 3 {
			break
		}
	}
	return len(seen)
}

// Metres of a degree, near enough to tell slivers and spikes: 111 km north,
// less towards the poles east.
func metres(from, to orb.Point) (x, y float64) {
	const degree = 111_194.9 // of the mean radius, 6371.0088 km
	return (to[0] - from[0]) * degree * math.Cos(from[1]*math.Pi/180), (to[1] - from[1]) * degree
}

func area(cs []corner) geo.SquareMetres {
	var twice float64
	o := cs[0].at
	for i := 1; i+1 < len(cs); i++ {
		ax, ay := metres(o, cs[i].at)
		bx, by := metres(o, cs[i+1].at)
		twice += ax*by - ay*bx
	}
	return geo.SquareMetres(math.Abs(twice / 2))
}

// mayWind tells a bow tie, whose halves cancel, from a ring without breadth.
func mayWind(cs []corner) bool {
	var most float64
	o := cs[0].at
	for i := 1; i+1 < len(cs); i++ {
		ax, ay := metres(o, cs[i].at)
		bx, by := metres(o, cs[i+1].at)
		most = math.Max(most, math.Abs(ax*by-ay*bx)/2)
	}
	return most >= float64(geo.SliverArea)
}

// spikes reports the corners where the ring runs straight back, and gives the
// edges that make the spikes by the number of their first corner.
func (c *checker) spikes(r *ring) map[int]bool {
	arms := map[int]bool{}
	for i := range r.corners {
		if isSpike(r.point(i-1), r.point(i), r.point(i+1)) {
			tip := r.corner(i)
			c.report(Spike, tip.at, tip.place, Place{})
			n := len(r.corners)
			arms[(i+n-1)%n], arms[i] = true, true
		}
	}
	return arms
}

// isSpike: the shorter arm ends within geo.SamePlace of the longer one.
func isSpike(a, tip, b orb.Point) bool {
	ax, ay := metres(tip, a)
	bx, by := metres(tip, b)
	if ax*bx+ay*by <= 0 {
		return false
	}
	longer := math.Max(math.Hypot(ax, ay), math.Hypot(bx, by))
	return math.Abs(ax*by-ay*bx)/longer <= float64(geo.SamePlace)
}

// edge is an edge of a ring by the number of its first corner.
type edge struct {
	ring  int
	index int
}

// topology holds all rings of one geometry against themselves and each other.
type topology struct {
	*checker
	rings   []*ring
	tree    rtree.RTreeG[edge]
	arms    []map[int]bool
	crossed map[[2]int]Defect     // pairs of rings that cross or run along each other, and where first
	touch   map[touchKey]struct{} // places where two different rings touch
	self    map[touchKey]bool     // places where a ring meets itself, told already
}

type touchKey struct {
	a, b int
	at   orb.Point
}

func (c *checker) topology(rings []*ring) {
	t := &topology{
		checker: c, rings: rings, arms: make([]map[int]bool, len(rings)),
		crossed: map[[2]int]Defect{}, touch: map[touchKey]struct{}{}, self: map[touchKey]bool{},
	}
	for k, r := range rings {
		t.arms[k] = c.spikes(r)
		for i := range r.corners {
			lo, hi := box(r.point(i), r.point(i+1))
			t.tree.Insert(lo, hi, edge{k, i})
		}
	}
	if !t.pairs() {
		return
	}
	// Two rings that cross do so at least twice; one place is enough to find
	// them.
	for _, d := range slices.SortedFunc(maps.Values(t.crossed), compareDefects) {
		t.report(d.Rule, d.At, d.Place, d.Other)
	}
	t.containment()
	t.connection()
}

func box(a, b orb.Point) (lo, hi [2]float64) {
	return [2]float64{math.Min(a[0], b[0]), math.Min(a[1], b[1])}, [2]float64{math.Max(a[0], b[0]), math.Max(a[1], b[1])}
}

// pairs looks at every two edges whose boxes meet; false when there are too many.
func (t *topology) pairs() bool {
	budget := maxPairs
	for k, r := range t.rings {
		for i := range r.corners {
			lo, hi := box(r.point(i), r.point(i+1))
			t.tree.Search(lo, hi, func(_, _ [2]float64, o edge) bool {
				budget--
				if o.ring > k || o.ring == k && o.index > i {
					t.pair(edge{k, i}, o)
				}
				return budget > 0
			})
			if budget <= 0 {
				t.report(TooIntricate, r.point(i), r.corner(i).place, Place{})
				return false
			}
		}
	}
	return true
}

func (t *topology) pair(e, o edge) {
	a, b := t.rings[e.ring], t.rings[o.ring]
	if t.arms[e.ring][e.index] || t.arms[o.ring][o.index] {
		return // told as a spike; judged again once it is cut off
	}
	if e.ring == o.ring && neighbours(len(a.corners), e.index, o.index) {
		return // they share their corner; running back along each other is a spike
	}
	how, at := meet(a.point(e.index), a.point(e.index+1), b.point(o.index), b.point(o.index+1))
	if how == touches && passesThrough(at, a.before(e.index, at), a.after(e.index, at), b.before(o.index, at), b.after(o.index, at)) {
		how = crosses
	}
	if how == apart {
		return
	}
	if e.ring != o.ring {
		t.meetsOther(how, at, e, o)
	} else if !t.footOfSpike(e, o) {
		t.meetsItself(how, at, e, o)
	}
}

// footOfSpike reports whether nothing but a spike lies between the two edges:
// they meet once it is cut off.
func (t *topology) footOfSpike(e, o edge) bool {
	arms, n := t.arms[e.ring], len(t.rings[e.ring].corners)
	i, j := (e.index+1)%n, (o.index+1)%n
	for arms[i] {
		i = (i + 1) % n
	}
	for arms[j] {
		j = (j + 1) % n
	}
	return i == o.index || j == e.index
}

// placeOf is the corner where the ring meets p on the edge, or the edge itself.
func (r *ring) placeOf(how meeting, i int, p orb.Point) Place {
	if how != along && r.point(i+1) == p {
		return r.corner(i + 1).place
	}
	return r.corner(i).place
}

func neighbours(n, i, j int) bool { return j-i == 1 || j-i == n-1 }

// before is where the ring comes from as it reaches p on its edge i.
func (r *ring) before(i int, p orb.Point) orb.Point {
	if r.point(i) == p {
		return r.point(i - 1)
	}
	return r.point(i)
}

// after is where the ring goes to from p on its edge i.
func (r *ring) after(i int, p orb.Point) orb.Point {
	if r.point(i+1) == p {
		return r.point(i + 2)
	}
	return r.point(i + 1)
}

// meetsItself tells each place once: up to four pairs of edges share a corner.
func (t *topology) meetsItself(how meeting, at orb.Point, e, o edge) {
	rule := TouchesItself
	if how == crosses {
		rule = CrossesItself
	}
	// A scribble has millions of places; past the cap none is remembered.
	if t.count[rule] >= MaxPerRule {
		return
	}
	key := touchKey{e.ring, e.ring, at}
	if t.self[key] {
		return
	}
	t.self[key] = true
	r := t.rings[e.ring]
	place, other := r.placeOf(how, e.index, at), r.placeOf(how, o.index, at)
	if comparePlaces(other, place) < 0 {
		place, other = other, place
	}
	t.report(rule, at, place, other)
}

func (t *topology) meetsOther(how meeting, at orb.Point, e, o edge) {
	pair := [2]int{e.ring, o.ring}
	a, b := t.rings[e.ring], t.rings[o.ring]
	place, other := a.placeOf(how, e.index, at), b.placeOf(how, o.index, at)
	if how == touches {
		if a.part == b.part {
			t.touch[touchKey{e.ring, o.ring, at}] = struct{}{}
		}
		return
	}
	if a.part == b.part && b.hole && !a.hole {
		place, other = other, place // the hole is at fault, the shell the other
	}
	rule := HolesOverlap
	switch {
	case a.part != b.part && how == along && !t.sameSide(e, o):
		rule = PartsShareEdge
	case a.part != b.part:
		rule = PartsOverlap
	case !a.hole || !b.hole:
		rule = HoleCrossesShell
	}
	d := Defect{Rule: rule, Place: place, Other: other, At: at}
	if old, ok := t.crossed[pair]; !ok || compareDefects(d, old) < 0 {
		t.crossed[pair] = d
	}
}

// sameSide reports whether two rings of different polygons that run along each
// other have their ground on the same side there.
func (t *topology) sameSide(e, o edge) bool {
	a, b := t.rings[e.ring], t.rings[o.ring]
	ax, ay := metres(a.point(e.index), a.point(e.index+1))
	bx, by := metres(b.point(o.index), b.point(o.index+1))
	sameWay := ax*bx+ay*by > 0
	return sameWay == (a.groundLeft() == b.groundLeft())
}

// groundLeft reports whether the ground lies to the left of the ring.
func (r *ring) groundLeft() bool {
	var twice float64
	o := r.point(0)
	for i := 1; i+1 < len(r.corners); i++ {
		p, q := r.point(i), r.point(i+1)
		twice += (p[0]-o[0])*(q[1]-o[1]) - (p[1]-o[1])*(q[0]-o[0])
	}
	return (twice > 0) != r.hole
}

// containment judges rings that do not cross by one point of each.
func (t *topology) containment() {
	shells := map[int]int{} // by polygon
	for k, r := range t.rings {
		if !r.hole {
			shells[r.part] = k
		}
	}
	for k, r := range t.rings {
		at, inside, ok := t.surroundings(k)
		if !ok {
			continue
		}
		if !r.hole {
			t.inOtherParts(k, at, inside)
			continue
		}
		if shell, ok := shells[r.part]; ok && !inside[shell] && !t.crossing(k, shell) {
			t.report(HoleOutside, at, r.number, t.rings[shell].number)
		}
		for _, j := range slices.Sorted(maps.Keys(inside)) {
			if o := t.rings[j]; o.hole && o.part == r.part && !t.crossing(k, j) {
				t.report(HolesOverlap, at, r.number, o.number)
			}
		}
	}
}

func (t *topology) crossing(j, k int) bool {
	_, ok := t.crossed[[2]int{min(j, k), max(j, k)}]
	return ok
}

// inOtherParts tells a shell that lies on the ground of another polygon: within
// its shell and in none of its holes.
func (t *topology) inOtherParts(k int, at orb.Point, inside map[int]bool) {
	r := t.rings[k]
	depth := map[int]int{}
	shell := map[int]int{}
	for j := range inside {
		o := t.rings[j]
		if o.part == r.part {
			continue
		}
		if o.hole {
			depth[o.part]--
		} else {
			depth[o.part]++
			shell[o.part] = j
		}
	}
	for _, part := range slices.Sorted(maps.Keys(shell)) {
		j := shell[part]
		if depth[part] > 0 && !t.crossing(j, k) {
			t.report(PartsOverlap, at, r.number, t.rings[j].number)
		}
	}
}

// maxProbes is how many corners of a ring are tried for one that lies on no
// other ring. A ring all of whose corners touch others is judged by its crossings alone.
const maxProbes = 16

// surroundings gives a point of the ring that lies on no other one, and the
// rings that have it inside.
func (t *topology) surroundings(k int) (orb.Point, map[int]bool, bool) {
	r := t.rings[k]
	for i := range min(len(r.corners), maxProbes) {
		mid := orb.Point{(r.point(i)[0] + r.point(i + 1)[0]) / 2, (r.point(i)[1] + r.point(i + 1)[1]) / 2}
		for _, p := range []orb.Point{r.point(i), mid} {
			if inside, on := t.around(k, p); !on {
				return p, inside, true
			}
		}
	}
	return orb.Point{}, nil, false
}

// around follows a ray to the east and gives the other rings it leaves an odd
// number of times.
func (t *topology) around(k int, p orb.Point) (inside map[int]bool, on bool) {
	inside = map[int]bool{}
	t.tree.Search([2]float64{p[0], p[1]}, [2]float64{180, p[1]}, func(_, _ [2]float64, e edge) bool {
		if e.ring == k {
			return true
		}
		a, b := t.rings[e.ring].point(e.index), t.rings[e.ring].point(e.index+1)
		side := orient(a, b, p)
		if side == 0 && between(a, b, p) {
			on = true
			return false
		}
		if up := b[1] > p[1]; (a[1] > p[1]) != up && (side > 0) == up {
			if inside[e.ring] {
				delete(inside, e.ring)
			} else {
				inside[e.ring] = true
			}
		}
		return true
	})
	return inside, on
}

// connection tells where touching rings cut the ground of a polygon apart: where
// rings and the places they touch in form a loop.
func (t *topology) connection() {
	keys := slices.SortedFunc(maps.Keys(t.touch), func(x, y touchKey) int {
		return cmp.Or(cmp.Compare(x.a, y.a), cmp.Compare(x.b, y.b), cmp.Compare(x.at[0], y.at[0]), cmp.Compare(x.at[1], y.at[1]))
	})
	joined := newSets(len(t.rings))
	places := map[orb.Point]map[int]bool{} // rings already tied to the place
	nodes := map[orb.Point]int{}
	for _, k := range keys {
		if t.crossing(k.a, k.b) {
			continue
		}
		if _, ok := nodes[k.at]; !ok {
			nodes[k.at], places[k.at] = joined.add(), map[int]bool{}
		}
		for _, r := range []int{k.a, k.b} {
			if places[k.at][r] {
				continue
			}
			places[k.at][r] = true
			if !joined.join(r, nodes[k.at]) {
				t.report(GroundCutApart, k.at, t.rings[k.b].number, t.rings[k.a].number)
			}
		}
	}
}

// sets are disjoint sets of numbers.
type sets []int

func newSets(n int) *sets {
	s := make(sets, n)
	for i := range s {
		s[i] = i
	}
	return &s
}

func (s *sets) add() int {
	*s = append(*s, len(*s))
	return len(*s) - 1
}

func (s sets) find(i int) int {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

// join reports whether the two were apart.
func (s sets) join(i, j int) bool {
	a, b := s.find(i), s.find(j)
	s[a] = b
	return a != b
}
