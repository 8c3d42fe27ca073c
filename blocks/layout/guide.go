package layout

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
)

const (
	// chordDepth is how far a chord may lie inside the arc it stands for. With
	// the tolerances below it keeps every point of a row within 1 mm of its
	// distance from the guide.
	chordDepth = 0.0005
	// roughDepth serves where lines only measure ground: a chord is shorter than
	// its arc by 2 parts in 10,000 at a radius of 3 m, and less beyond.
	roughDepth = 0.002
	// hidden is how much nearer to another piece of the guide than the row's
	// distance a point must come to be cut off: above the noise of the distances
	// (1e-11 m), below what shows. At a bend of a radians two stretches overlap by
	// this over a before they are joined.
	hidden = 1e-9
	// joined is how near two stretches' ends must be to be one place.
	joined = 0.001
	// maxKept is how many corners a guide may have once those that bend it by less
	// than geo.SamePlace are dropped.
	maxKept = 2000
	// maxEffort bounds the pieces looked at for one plan: about ten seconds.
	maxEffort = 250_000_000
	// turnsBack is the bend, in radians, beyond which a guide runs back over
	// itself.
	turnsBack = 179.9 * math.Pi / 180
)

var (
	guideFar     = words.New("layout-guide-far", "The guide line cannot be placed: {problem}.", "La línea guía no se puede situar: {problem}.")
	guideClosed  = words.New("layout-guide-closed", "The guide line ends where it begins. Leave it open: rows need two ends.", "La línea guía termina donde empieza. Déjela abierta: las hileras necesitan dos extremos.")
	guideCrosses = words.New("layout-guide-crosses", "The guide line, run on straight past both ends, meets itself here. Draw it on over the whole block, or leave the turning part out.", "La línea guía, prolongada en recta por ambos extremos, se encuentra aquí consigo misma. Dibújela sobre todo el bloque o quite la parte que gira.")
	guideJagged  = words.New("layout-guide-jagged", "The guide line bends too often for rows to be laid out beside it in bearable time ({count} corners). Draw it with fewer.", "La línea guía tiene demasiados quiebres para trazar hileras a su lado en un tiempo razonable ({count} vértices). Dibújela con menos.")
)

// chain is the guide in the plane, run on straight at both ends so far that no
// ground lies beyond: no point of the ground is nearest to an end.
type chain struct {
	at     []plane.XY
	dir    []plane.XY // of piece i, from corner i to i+1; length 1
	length []float64
	turn   []float64 // at corner i, radians, positive to the left; 0 at the ends
	boxes  []plane.Box
	leaves int // boxes[leaves+i] is piece i's, boxes[k] holds 2k and 2k+1
	effort int // pieces looked at
}

// bearingOf is the direction from a guide's first place to its last.
func bearingOf(pts []plane.XY) geo.Degrees {
	d := pts[len(pts)-1].Minus(pts[0])
	return geo.Degrees(math.Atan2(d.X, d.Y) * 180 / math.Pi).Normal()
}

// guidePoints places the guide in the frame.
func guidePoints(frame plane.Frame, guide orb.LineString) ([]plane.XY, error) {
	lines, err := frame.Lines(guide)
	if err != nil {
		return nil, fault.Wrap(fault.Invalid, err, cannotPlan.Plain(), fault.Detail{Field: "guide", Text: guideFar.With(words.Args{"problem": err.Error()})})
	}
	pts := thinned(lines[0])
	if len(pts) < 2 || pts[0].Distance(pts[len(pts)-1]) < joined {
		return nil, fault.New(fault.Invalid, cannotPlan.Plain(), fault.Detail{Field: "guide", Text: guideClosed.Plain()})
	}
	if len(pts) > maxKept {
		return nil, fault.New(fault.TooCostly, guideJagged.With(words.Args{"count": len(pts)}))
	}
	return pts, nil
}

// thinned leaves out corners that bend the line by less than geo.SamePlace
// (Douglas and Peucker, Cartographica 10, 1973).
func thinned(l plane.Line) []plane.XY {
	keep := make([]bool, len(l))
	keep[0], keep[len(l)-1] = true, true
	type run struct{ a, b int }
	for todo := []run{{0, len(l) - 1}}; len(todo) > 0; {
		r := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		far, most := 0, float64(geo.SamePlace)
		for i := r.a + 1; i < r.b; i++ {
			if d := float64(l[i].Distance(l[i].NearestOn(l[r.a], l[r.b]))); d > most {
				far, most = i, d
			}
		}
		if far > 0 {
			keep[far] = true
			todo = append(todo, run{r.a, far}, run{far, r.b})
		}
	}
	var out []plane.XY
	for i, p := range l {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}

// newChain runs the guide on over the ground and refuses one that then meets
// itself; place says where in degrees.
func newChain(pts []plane.XY, ground plane.Box, place func(plane.XY) geo.Position) (*chain, error) {
	around := ground
	for _, p := range pts {
		around = around.With(p)
	}
	n := len(pts)
	c := &chain{at: append([]plane.XY{runOn(pts[1], pts[0], around)}, pts[1:n-1]...)}
	c.at = append(c.at, runOn(pts[n-2], pts[n-1], around))
	if p, meet := endsMeet(pts, c.at); meet {
		return nil, meetsItself(place(p))
	}
	pieces := len(c.at) - 1
	for i := range pieces {
		d := c.at[i+1].Minus(c.at[i])
		l := math.Hypot(d.X, d.Y)
		c.length = append(c.length, l)
		c.dir = append(c.dir, d.Times(1/l))
	}
	c.turn = make([]float64, len(c.at))
	for i := 1; i < pieces; i++ {
		c.turn[i] = math.Atan2(c.dir[i-1].Cross(c.dir[i]), c.dir[i-1].Dot(c.dir[i]))
		if math.Abs(c.turn[i]) > turnsBack {
			return nil, meetsItself(place(c.at[i]))
		}
	}
	for c.leaves = 1; c.leaves < pieces; {
		c.leaves *= 2
	}
	c.boxes = make([]plane.Box, 2*c.leaves)
	for i := range c.boxes {
		c.boxes[i] = plane.NoBox()
	}
	for i := range pieces {
		c.boxes[c.leaves+i] = plane.NoBox().With(c.at[i]).With(c.at[i+1])
	}
	for k := c.leaves - 1; k > 0; k-- {
		c.boxes[k] = c.boxes[2*k].Union(c.boxes[2*k+1])
	}
	if p, meets := c.meetsItself(); meets {
		return nil, meetsItself(place(p))
	}
	return c, nil
}

func meetsItself(at geo.Position) error {
	return fault.New(fault.Invalid, cannotPlan.Plain(), fault.Detail{Field: "guide", Text: guideCrosses.Plain(), At: &[2]float64{at[0], at[1]}})
}

// runOn is where the line from a through its end b must run on to so that
// nothing in the box lies beyond its end. A metre more keeps the end itself out.
func runOn(a, b plane.XY, box plane.Box) plane.XY {
	d := b.Minus(a)
	d = d.Times(1 / math.Hypot(d.X, d.Y))
	most := 0.0
	for _, p := range []plane.XY{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}} {
		most = math.Max(most, p.Minus(b).Dot(d))
	}
	return b.Plus(d.Times(most + 1))
}

// endsMeet reports whether a guide's ends, run on without end, meet where at
// least one of them, as far as it was run on, has come. Ground beyond would lie
// to the left of one end and to the right of the other. Two ends that both stop
// short of meeting do no harm: no ground is nearest to what is missing.
func endsMeet(guide, runOn []plane.XY) (plane.XY, bool) {
	n, m := len(guide), len(runOn)
	a, b := guide[0].Minus(guide[1]), guide[n-1].Minus(guide[n-2])
	between := guide[n-1].Minus(guide[0])
	cross := a.Cross(b)
	if cross == 0 {
		return plane.XY{}, false
	}
	s, t := between.Cross(b)/cross, between.Cross(a)/cross
	p := guide[0].Plus(a.Times(s))
	return p, s >= 0 && t >= 0 && (p.Distance(guide[0]) <= runOn[0].Distance(guide[0]) || p.Distance(guide[n-1]) <= runOn[m-1].Distance(guide[n-1]))
}

func (c *chain) meetsItself() (plane.XY, bool) {
	for i := range c.dir {
		found := -1
		none := func(plane.Box) bool { return false }
		c.near(c.boxes[c.leaves+i], float64(geo.SamePlace), none, func(j int) bool {
			if j > i+1 && pieceDistance(c.at[i], c.at[i+1], c.at[j], c.at[j+1]) < float64(geo.SamePlace) {
				found = j
			}
			return found < 0
		})
		if found >= 0 {
			return c.at[found], true
		}
	}
	return plane.XY{}, false
}

// pieceDistance is 0 where the pieces cross.
func pieceDistance(a, b, p, q plane.XY) float64 {
	ab, pq := b.Minus(a), q.Minus(p)
	if ab.Cross(p.Minus(a))*ab.Cross(q.Minus(a)) < 0 && pq.Cross(a.Minus(p))*pq.Cross(b.Minus(p)) < 0 {
		return 0
	}
	return float64(min(a.Distance(a.NearestOn(p, q)), b.Distance(b.NearestOn(p, q)), p.Distance(p.NearestOn(a, b)), q.Distance(q.NearestOn(a, b))))
}

// near visits the pieces whose boxes come nearer than d to the box and are not
// passed over, until told to stop.
func (c *chain) near(box plane.Box, d float64, pass func(plane.Box) bool, visit func(piece int) bool) {
	c.visit(1, box, d*d, pass, visit)
}

func (c *chain) visit(k int, box plane.Box, square float64, pass func(plane.Box) bool, visit func(int) bool) bool {
	c.effort++
	if gap(box, c.boxes[k]) >= square || pass(c.boxes[k]) {
		return true
	}
	if k >= c.leaves {
		return visit(k - c.leaves)
	}
	return c.visit(2*k, box, square, pass, visit) && c.visit(2*k+1, box, square, pass, visit)
}

// gap is the square of the distance between two boxes.
func gap(a, b plane.Box) float64 {
	x := max(0, b.Min.X-a.Max.X, a.Min.X-b.Max.X)
	y := max(0, b.Min.Y-a.Max.Y, a.Min.Y-b.Max.Y)
	return x*x + y*y
}

// offset is how far to the right of the guide a point lies; to the left it is
// negative.
func (c *chain) offset(p plane.XY) float64 {
	at, best := 0, math.Inf(1)
	c.nearest(1, plane.NoBox().With(p), p, &at, &best)
	foot := p.NearestOn(c.at[at], c.at[at+1])
	// At a corner the piece the point is nearest to may not tell the side; the sum
	// of both directions does.
	dir := c.dir[at]
	if foot == c.at[at] && at > 0 {
		dir = dir.Plus(c.dir[at-1])
	} else if foot == c.at[at+1] && at+1 < len(c.dir) {
		dir = dir.Plus(c.dir[at+1])
	}
	if dir.Cross(p.Minus(foot)) > 0 {
		return -best
	}
	return best
}

func (c *chain) nearest(k int, box plane.Box, p plane.XY, at *int, best *float64) {
	c.effort++
	if gap(box, c.boxes[k]) >= *best**best {
		return
	}
	if k >= c.leaves {
		i := k - c.leaves
		if d := float64(p.Distance(p.NearestOn(c.at[i], c.at[i+1]))); d < *best {
			*at, *best = i, d
		}
		return
	}
	first, second := 2*k, 2*k+1
	if gap(box, c.boxes[second]) < gap(box, c.boxes[first]) {
		first, second = second, first
	}
	c.nearest(first, box, p, at, best)
	c.nearest(second, box, p, at, best)
}

// stretch is what is left, at some distance to one side, of the line beside a
// piece of the guide or of the arc round one of its corners. Source 2i is piece
// i, lo and hi metres along it; 2i+1 is corner i+1, lo and hi radians from the
// end of piece i's line.
type stretch struct {
	source int
	lo, hi float64
}

// side is one side of the chain: 1 to its right, -1 to its left.
type side struct {
	*chain
	sign float64
}

// all is everything at distance 0. What is cut off at one distance stays cut off
// at every greater one: the points nearest to one place of the guide form a
// straight stretch from it.
func (s side) all() []stretch {
	var out []stretch
	for i := range s.dir {
		out = append(out, stretch{2 * i, 0, s.length[i]})
		if s.sign*s.turn[i+1] > 0 {
			out = append(out, stretch{2*i + 1, 0, math.Abs(s.turn[i+1])})
		}
	}
	return out
}

func (s side) normal(piece int) plane.XY {
	return plane.XY{X: s.sign * s.dir[piece].Y, Y: -s.sign * s.dir[piece].X}
}

// away is the direction from a source's guide to its line.
func (s side) away(f stretch, t float64) plane.XY {
	if f.source%2 == 0 {
		return s.normal(f.source / 2)
	}
	return s.place(f.source, t, 1).Minus(s.at[f.source/2+1])
}

// place is the point of a source at the distance d from it.
func (s side) place(source int, t, d float64) plane.XY {
	i := source / 2
	if source%2 == 0 {
		return s.at[i].Plus(s.dir[i].Times(t)).Plus(s.normal(i).Times(d))
	}
	sin, cos := math.Sincos(math.Copysign(t, s.turn[i+1]))
	n := s.normal(i)
	return s.at[i+1].Plus(plane.XY{X: n.X*cos - n.Y*sin, Y: n.X*sin + n.Y*cos}.Times(d))
}

// cut is what of the stretches, kept at a lesser distance, is d away from the
// whole guide and not only from its source.
func (s side) cut(from []stretch, d float64) []stretch {
	out := make([]stretch, 0, len(from))
	for _, f := range from {
		out = append(out, s.cutOne(f, d)...)
	}
	return out
}

// neighbours are looked at first, as they cut most.
const neighbours = 3

func (s side) cutOne(f stretch, d float64) []stretch {
	left := []stretch{f}
	i := f.source / 2
	own := func(j int) bool {
		if f.source%2 == 1 {
			return j == i || j == i+1
		}
		// A neighbour round whose corner an arc runs touches only the arc's end.
		return j == i || j == i-1 && s.sign*s.turn[i] >= 0 || j == i+1 && s.sign*s.turn[i+1] >= 0
	}
	first, last := s.away(f, f.lo), s.away(f, f.hi)
	from := s.at[(f.source+1)/2]
	// What lies behind the source, seen along every normal of the stretch, is no
	// nearer than the source itself.
	behind := func(b plane.Box) bool {
		return foremost(b, first) <= first.Dot(from) && foremost(b, last) <= last.Dot(from)
	}
	hide := func(j int) bool {
		p, q := s.at[j].Minus(from), s.at[j+1].Minus(from)
		if own(j) || first.Dot(p) <= 0 && last.Dot(p) <= 0 && first.Dot(q) <= 0 && last.Dot(q) <= 0 {
			return true
		}
		s.effort++
		if f.source%2 == 0 {
			left = s.hidePiece(left, j, d)
		} else {
			left = s.hideArc(left, j, d)
		}
		return len(left) > 0
	}
	for k := 1; k <= neighbours; k++ {
		for _, j := range []int{i - k, i + k} {
			if j >= 0 && j < len(s.dir) && !hide(j) {
				return nil
			}
		}
	}
	s.near(s.box(f, d), d, behind, hide)
	return left
}

// foremost is how far the box reaches in a direction.
func foremost(b plane.Box, n plane.XY) float64 {
	return max(b.Min.X*n.X, b.Max.X*n.X) + max(b.Min.Y*n.Y, b.Max.Y*n.Y)
}

func (s side) box(f stretch, d float64) plane.Box {
	b := plane.NoBox().With(s.place(f.source, f.lo, d)).With(s.place(f.source, f.hi, d))
	if f.source%2 == 0 {
		return b
	}
	quarter := (f.hi - f.lo) / 4
	return b.With(s.place(f.source, (f.lo+f.hi)/2, d)).Grow(geo.Metres(d * (1 - math.Cos(quarter))))
}

// hidePiece takes away what lies nearer than d to piece j: one interval, as the
// ground within d of a piece is convex.
func (s side) hidePiece(left []stretch, j int, d float64) []stretch {
	source := left[0].source
	i := source / 2
	u, from := s.dir[i], s.place(source, 0, d)
	r := d - hidden
	a, b := math.Inf(1), math.Inf(-1)
	for _, corner := range []plane.XY{s.at[j], s.at[j+1]} {
		v := corner.Minus(from)
		if x := math.Abs(u.Cross(v)); x < r {
			t, h := v.Dot(u), math.Sqrt((r-x)*(r+x))
			a, b = math.Min(a, t-h), math.Max(b, t+h)
		}
	}
	w, q := s.dir[j], from.Minus(s.at[j])
	lo, hi := math.Inf(-1), math.Inf(1)
	narrow(&lo, &hi, q.Dot(w), u.Dot(w), 0, s.length[j])
	narrow(&lo, &hi, w.Cross(q), w.Cross(u), -r, r)
	if lo < hi {
		a, b = math.Min(a, lo), math.Max(b, hi)
	}
	return without(left, a, b)
}

// narrow leaves of [lo, hi] the t for which least <= at + t*slope <= most.
func narrow(lo, hi *float64, at, slope, least, most float64) {
	if slope == 0 {
		if at < least || at > most {
			*hi = *lo
		}
		return
	}
	a, b := (least-at)/slope, (most-at)/slope
	*lo, *hi = max(*lo, min(a, b)), min(*hi, max(a, b))
}

// without takes the open interval a to b away.
func without(left []stretch, a, b float64) []stretch {
	touched := false
	for _, f := range left {
		touched = touched || a < b && a < f.hi && b > f.lo
	}
	if !touched {
		return left
	}
	out := make([]stretch, 0, len(left)+1)
	for _, f := range left {
		if b <= f.lo || a >= f.hi {
			out = append(out, f)
			continue
		}
		if a > f.lo {
			out = append(out, stretch{f.source, f.lo, a})
		}
		if b < f.hi {
			out = append(out, stretch{f.source, b, f.hi})
		}
	}
	return out
}

// hideArc takes away what lies nearer than d to piece j. Between the places
// where the arc meets the edge of the ground within d of the piece, one point
// speaks for all.
func (s side) hideArc(left []stretch, j int, d float64) []stretch {
	source := left[0].source
	corner := source/2 + 1
	v, r := s.at[corner], d-hidden
	n := s.normal(corner - 1)
	start, way := math.Atan2(n.Y, n.X), math.Copysign(1, s.turn[corner])
	var breaks []float64
	meet := func(angle float64) {
		t := math.Mod(way*(angle-start), 2*math.Pi)
		if t < 0 {
			t += 2 * math.Pi
		}
		breaks = append(breaks, t)
	}
	for _, c := range []plane.XY{s.at[j], s.at[j+1]} {
		e := c.Minus(v)
		away := math.Hypot(e.X, e.Y)
		if cos := (away*away + (d-r)*(d+r)) / (2 * away * d); cos <= 1 {
			towards, half := math.Atan2(e.Y, e.X), math.Acos(cos)
			meet(towards - half)
			meet(towards + half)
		}
	}
	w := s.dir[j]
	along, across := math.Atan2(w.Y, w.X), w.Cross(v.Minus(s.at[j]))
	for _, edge := range []float64{-r, r} {
		if sin := (edge - across) / d; math.Abs(sin) <= 1 {
			meet(along + math.Asin(sin))
			meet(along + math.Pi - math.Asin(sin))
		}
	}
	slices.Sort(breaks)
	var out []stretch
	for _, f := range left {
		lo := f.lo
		for k := 0; k <= len(breaks); k++ {
			hi := f.hi
			if k < len(breaks) {
				hi = math.Min(hi, math.Max(lo, breaks[k]))
			}
			if hi <= lo {
				continue
			}
			p := s.place(source, (lo+hi)/2, d)
			if float64(p.Distance(p.NearestOn(s.at[j], s.at[j+1]))) >= r {
				if n := len(out); n > 0 && out[n-1].hi == lo {
					out[n-1].hi = hi
				} else {
					out = append(out, stretch{source, lo, hi})
				}
			}
			lo = hi
		}
	}
	return out
}

// curve is a line in the plane and the metres along it at each of its points.
type curve struct {
	at     []plane.XY
	along  []float64
	first  int // its first stretch
	closed bool
}

func (c *curve) add(p plane.XY) {
	n := len(c.at)
	if n == 0 {
		c.at, c.along = append(c.at, p), append(c.along, 0)
		return
	}
	if step := float64(c.at[n-1].Distance(p)); step > hidden {
		c.at, c.along = append(c.at, p), append(c.along, c.along[n-1]+step)
	}
}

func (c curve) length() float64 { return c.along[len(c.along)-1] }

// part is the curve between two distances along it.
func (c curve) part(from, to float64) []plane.XY {
	out := []plane.XY{c.point(from)}
	for i, a := range c.along {
		if a > from+hidden && a < to-hidden {
			out = append(out, c.at[i])
		}
	}
	return append(out, c.point(to))
}

func (c curve) point(along float64) plane.XY {
	i, found := slices.BinarySearch(c.along, along)
	switch {
	case found:
		return c.at[i]
	case i == 0:
		return c.at[0]
	case i == len(c.at):
		return c.at[i-1]
	}
	f := (along - c.along[i-1]) / (c.along[i] - c.along[i-1])
	return c.at[i-1].Plus(c.at[i].Minus(c.at[i-1]).Times(f))
}

// curves joins the stretches of one distance into lines in the guide's
// direction, in the order of their first stretch, arcs as chords no deeper than
// depth.
func (s side) curves(stretches []stretch, d, depth float64) []curve {
	next := s.joints(stretches, d)
	follows := make([]bool, len(stretches))
	for _, n := range next {
		if n >= 0 {
			follows[n] = true
		}
	}
	used := make([]bool, len(stretches))
	var out []curve
	walk := func(first int) {
		c := curve{first: first}
		for k := first; k >= 0; k = next[k] {
			if used[k] {
				c.closed = k == first
				break
			}
			used[k] = true
			s.draw(&c, stretches[k], d, depth)
		}
		if c.closed {
			c.add(c.at[0])
		}
		if len(c.at) > 1 {
			out = append(out, c)
		}
	}
	// Lines with a beginning first take all their stretches; the rest are rings.
	for k := range stretches {
		if !follows[k] {
			walk(k)
		}
	}
	for k := range stretches {
		if !used[k] {
			walk(k)
		}
	}
	slices.SortFunc(out, func(a, b curve) int { return a.first - b.first })
	return out
}

// joints is the stretch that begins where each ends; -1 for none.
func (s side) joints(stretches []stretch, d float64) []int {
	next := make([]int, len(stretches))
	taken := make([]bool, len(stretches))
	begin := make([]plane.XY, len(stretches))
	for k, f := range stretches {
		begin[k] = s.place(f.source, f.lo, d)
	}
	var loose []int
	for k, f := range stretches {
		next[k] = -1
		end := s.place(f.source, f.hi, d)
		if k+1 < len(stretches) && float64(end.Distance(begin[k+1])) < joined {
			next[k], taken[k+1] = k+1, true
			continue
		}
		loose = append(loose, k)
	}
	// What is left ends beside another arm of the guide: a few a distance.
	for _, k := range loose {
		end := s.place(stretches[k].source, stretches[k].hi, d)
		best := joined
		for m := range stretches {
			if away := float64(end.Distance(begin[m])); !taken[m] && away < best {
				next[k], best = m, away
			}
		}
		if next[k] >= 0 {
			taken[next[k]] = true
		}
	}
	s.effort += len(loose) * len(stretches)
	return next
}

func (s side) draw(c *curve, f stretch, d, depth float64) {
	steps := 1
	if f.source%2 == 1 && d > depth {
		steps = max(1, int(math.Ceil((f.hi-f.lo)/(2*math.Acos(1-depth/d)))))
	}
	s.effort += steps
	for k := range steps + 1 {
		c.add(s.place(f.source, f.lo+(f.hi-f.lo)*float64(k)/float64(steps), d))
	}
}
