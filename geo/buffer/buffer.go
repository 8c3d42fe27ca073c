// Package buffer makes the ground within a distance of something: setbacks
// all round, setbacks on the upwind side, bands along rows and swaths.
//
// A zone is built from its definition. Each piece of line, each point and each
// edge of ground gives convex outlines (for the all-round zone the piece's rectangle,
// the wedge on the outer side of each bend and a disc at each end) and the zone is
// their checked union with the ground itself. Offset-curve buffers are not used: they leave false
// holes round closed lines and simplify by up to 1 % of the distance (JTS
// issue 876; GEOS the same).
//
// Zones are never short: an arc is replaced by tangents, which lie outside it
// by ArcOvershoot and by 0.06 % of the distance at most, nowhere inside.
package buffer

import (
	"context"
	"fmt"
	"iter"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/geo/plane"

	"github.com/tidwall/rtree"
)

const (
	// ArcOvershoot is how far the corners of a zone's round ends may lie
	// outside the true arc: a centimetre, below what any receiver tells.
	ArcOvershoot geo.Metres = 0.01

	// leastArcs bounds the overshoot of small distances: a half circle in 48
	// tangents is 0.054 % of the distance too large at their corners and
	// 0.036 % in area.
	leastArcs = 48

	// MaxPieces bounds the union to about a second on one core of a small
	// machine; pieces out of reach of Options.Within do not count.
	MaxPieces = 1500

	// MaxVertices bounds what is looked at before anything is cut away.
	MaxVertices = 100_000

	// MaxDistance refuses distances that are slips of the pen: the largest
	// buffers asked of growers are some hundreds of metres.
	MaxDistance geo.Metres = 20_000
)

// Options narrow the work.
type Options struct {
	// Within is the ground the zone will be held against. Parts of the shape
	// too far from it to matter are left out, so the zone is right on that
	// ground and may be missing elsewhere. Nil keeps everything.
	Within *Target
	// Overshoot is how far round ends may lie outside the true arc; 0 is
	// ArcOvershoot. A finer one has more corners.
	Overshoot geo.Metres
}

func (o Options) overshoot() geo.Metres {
	if o.Overshoot > 0 {
		return o.Overshoot
	}
	return ArcOvershoot
}

// ArgumentError says that a distance or angle is no number, negative or too large.
type ArgumentError struct {
	Name       string
	Value, Max float64
}

func (e *ArgumentError) Error() string {
	return fmt.Sprintf("buffer: %s is %g, wants 0 to %g", e.Name, e.Value, e.Max)
}

func checkArgument(name string, v, most float64) error {
	if !(v >= 0 && v <= most) {
		return &ArgumentError{Name: name, Value: v, Max: most}
	}
	return nil
}

// Around is the ground within the distance d of the shape: discs round points,
// capsules round the pieces of lines, and ground with its inside and the
// capsules of its edges. A closed line is a line and has no inside; a hole in
// ground is outside it. At d = 0 only ground is left.
//
// The zone is never short and its edge at most ArcOvershoot outside the true one.
// Errors: the context's, *ArgumentError, *overlay.TooManyError and overlay's
// others for invalid ground.
func Around(ctx context.Context, s plane.Shape, d geo.Metres, o Options) (plane.Region, error) {
	if err := checkArgument("distance in metres", float64(d), float64(MaxDistance)); err != nil {
		return nil, err
	}
	near, err := reached(ctx, s, d, o)
	if err != nil {
		return nil, err
	}
	// The nearest point of the shape to any in the zone lies on a piece, square to
	// it, or at a bend, on its outer side, or at an end.
	var parts []plane.Region
	add := func(r plane.Ring) {
		if r = near.clip(r); len(r) > 3 {
			parts = append(parts, plane.Region{{r}})
		}
	}
	if ring := near.convex(d, o.overshoot()); ring != nil {
		return plane.Region{{ring}}, nil
	}
	end := func(p plane.XY) { add(swept(piece{p, p}, disc(d, o.overshoot()))) }
	for _, c := range near.chains {
		for i, p := range c.pieces {
			switch {
			case c.kept[i] && c.ground:
				add(p.beside(d))
			case c.kept[i] && p.a != p.b:
				add(p.band(d))
			}
			next, more := c.after(i)
			switch {
			case more && (c.kept[i] || c.kept[next]) && !(c.ground && c.inward(i, next)):
				add(joint(p, c.pieces[next], d, o.overshoot()))
			case !more && c.kept[i]:
				end(p.b)
			}
			if i == 0 && !c.ground && c.kept[i] && p.a != p.b {
				end(p.a)
			}
		}
	}
	for _, poly := range near.ground {
		parts = append(parts, plane.Region{poly})
	}
	return tidyUnion(ctx, parts)
}

// Downwind is the ground from which spray carried by the wind would reach the
// shape within the distance: a point belongs to it when some point of the
// shape lies within d of it in a direction within the half angle of downwind.
// It is the shape swept by the sector of radius d that points to where the wind
// comes from, halfAngle to either side; ground counts with its inside. windFrom
// is a bearing (the frame's +Y is north). A half angle of 180° or more is
// Around.
//
// The arc of the sector is never short, as in Around; its straight sides are exact.
// Errors as Around's.
func Downwind(ctx context.Context, s plane.Shape, d geo.Metres, windFrom, halfAngle geo.Degrees, o Options) (plane.Region, error) {
	if err := checkArgument("distance in metres", float64(d), float64(MaxDistance)); err != nil {
		return nil, err
	}
	if err := checkArgument("half angle in degrees", float64(halfAngle), 360); err != nil {
		return nil, err
	}
	if math.IsNaN(float64(windFrom)) || math.IsInf(float64(windFrom), 0) {
		return nil, &ArgumentError{Name: "wind direction in degrees", Value: float64(windFrom), Max: 360}
	}
	if halfAngle >= 180 {
		return Around(ctx, s, d, o)
	}
	return sweep(ctx, s, d, sectors(d, o.overshoot(), windFrom, halfAngle), o)
}

// sweep is the Minkowski sum of the shape and the union of the convex stamps,
// all of which hold the origin and reach no farther than d.
func sweep(ctx context.Context, s plane.Shape, d geo.Metres, stamps []plane.Ring, o Options) (plane.Region, error) {
	near, err := reached(ctx, s, d, o)
	if err != nil {
		return nil, err
	}
	var parts []plane.Region
	for _, c := range near.chains {
		for i, p := range c.pieces {
			if !c.kept[i] {
				continue
			}
			for _, stamp := range stamps {
				if r := near.clip(swept(p, stamp)); len(r) > 3 {
					parts = append(parts, plane.Region{{r}})
				}
			}
		}
		if len(parts) > MaxPieces {
			return nil, &overlay.TooManyError{What: overlay.Pieces, Count: len(parts), Limit: MaxPieces}
		}
	}
	for _, poly := range near.ground {
		parts = append(parts, plane.Region{poly})
	}
	return tidyUnion(ctx, parts)
}

// chain is pieces that run on from one another, and which of them matter. A point is
// a chain of one piece.
type chain struct {
	pieces []piece
	kept   []bool
	ground bool // to the left; the last piece goes on to the first
}

// inward reports whether ground has an inward corner between two of its pieces, with
// nothing left to fill outside.
func (c chain) inward(i, next int) bool {
	p, q := c.pieces[i], c.pieces[next]
	return p.b.Minus(p.a).Cross(q.b.Minus(q.a)) < 0
}

// after is the piece a piece goes on to.
func (c chain) after(i int) (next int, ok bool) {
	if i+1 < len(c.pieces) {
		return i + 1, true
	}
	return 0, c.ground
}

func chainsOf(s plane.Shape) []chain {
	var out []chain
	add := func(pieces []piece, ground bool) {
		if len(pieces) > 0 {
			out = append(out, chain{pieces, make([]bool, len(pieces)), ground})
		}
	}
	for _, p := range s.Points {
		add([]piece{{p, p}}, false)
	}
	for _, l := range s.Lines {
		add(appendPieces(nil, l), false)
	}
	for _, poly := range s.Ground {
		for i, ring := range poly {
			if (ring.SignedArea() < 0) != (i > 0) {
				ring = slices.Clone(ring)
				slices.Reverse(ring)
			}
			add(appendPieces(nil, plane.Line(ring)), true)
		}
	}
	return out
}

// reachable is what of a shape can matter to a zone.
type reachable struct {
	chains []chain
	ground plane.Region
	clip   func(plane.Ring) plane.Ring
}

// reached keeps what comes within reach of Options.Within. At d = 0 only ground is
// kept.
func reached(ctx context.Context, s plane.Shape, d geo.Metres, o Options) (reachable, error) {
	n := s.Vertices()
	if o.Within != nil {
		n += o.Within.shape.Vertices()
	}
	if n > MaxVertices {
		return reachable{}, &overlay.TooManyError{What: overlay.Corners, Count: n, Limit: MaxVertices}
	}
	r := reachable{ground: s.Ground, clip: func(r plane.Ring) plane.Ring { return r }}
	if box, ok := s.Box(); ok && o.Within != nil && !box.Meets(o.Within.box.Grow(d+ArcOvershoot)) {
		return reachable{}, ctx.Err()
	}
	if d > 0 {
		r.chains = chainsOf(s)
	}
	if o.Within == nil {
		for _, c := range r.chains {
			for i := range c.kept {
				c.kept[i] = true
			}
		}
	} else {
		box := o.Within.box.Grow(clipMargin)
		r.clip = func(r plane.Ring) plane.Ring { return clipped(r, box) }
		if err := r.within(ctx, d+ArcOvershoot, o.Within); err != nil {
			return reachable{}, err
		}
	}
	count := 0
	for _, c := range r.chains {
		for _, k := range c.kept {
			if k {
				count++
			}
		}
	}
	if count > MaxPieces {
		return reachable{}, &overlay.TooManyError{What: overlay.Pieces, Count: count, Limit: MaxPieces}
	}
	return r, nil
}

// clipMargin is how far beyond the box of Options.Within outlines are kept: rows that
// stick out of their block are held against its zones too.
const clipMargin geo.Metres = 10

// clipped is what of a convex ring lies in the box: half-plane by half-plane, after
// Sutherland and Hodgman. It is empty where they do not meet.
func clipped(r plane.Ring, box plane.Box) plane.Ring {
	if len(r) == 0 {
		return nil
	}
	open := r[:len(r)-1]
	for _, side := range []struct {
		depth func(plane.XY) float64
		snap  func(*plane.XY)
	}{
		{func(p plane.XY) float64 { return p.X - box.Min.X }, func(p *plane.XY) { p.X = box.Min.X }},
		{func(p plane.XY) float64 { return box.Max.X - p.X }, func(p *plane.XY) { p.X = box.Max.X }},
		{func(p plane.XY) float64 { return p.Y - box.Min.Y }, func(p *plane.XY) { p.Y = box.Min.Y }},
		{func(p plane.XY) float64 { return box.Max.Y - p.Y }, func(p *plane.XY) { p.Y = box.Max.Y }},
	} {
		var kept plane.Ring
		for i, p := range open {
			q := open[(i+1)%len(open)]
			a, b := side.depth(p), side.depth(q)
			if a >= 0 {
				kept = append(kept, p)
			}
			if a > 0 && b < 0 || a < 0 && b > 0 {
				x := p.Plus(q.Minus(p).Times(a / (a - b)))
				side.snap(&x)
				kept = append(kept, x)
			}
		}
		open = kept
	}
	if open = slices.Compact(open); len(open) < 3 {
		return nil
	}
	return append(slices.Clone(open), open[0])
}

// piece is a straight piece of line; a point has two equal ends.
type piece struct{ a, b plane.XY }

func piecesOf(s plane.Shape) iter.Seq[piece] {
	return func(yield func(piece) bool) {
		for _, p := range s.Points {
			if !yield(piece{p, p}) {
				return
			}
		}
		lines := func(l plane.Line) bool {
			for i := 0; i+1 < len(l); i++ {
				if l[i] != l[i+1] && !yield(piece{l[i], l[i+1]}) {
					return false
				}
			}
			return true
		}
		for _, l := range s.Lines {
			if !lines(l) {
				return
			}
		}
		for _, poly := range s.Ground {
			for _, ring := range poly {
				if !lines(plane.Line(ring)) {
					return
				}
			}
		}
	}
}

func appendPieces(out []piece, l plane.Line) []piece {
	for i := 0; i+1 < len(l); i++ {
		if l[i] != l[i+1] {
			out = append(out, piece{l[i], l[i+1]})
		}
	}
	return out
}

// convex is the zone round one convex shell, all of which matters; nil where what is
// reached is anything else.
func (r reachable) convex(d, overshoot geo.Metres) plane.Ring {
	if len(r.chains) != 1 || !r.chains[0].ground || len(r.ground) != 1 {
		return nil
	}
	c := r.chains[0]
	turned := 0.0
	for i, p := range c.pieces {
		next, _ := c.after(i)
		q := c.pieces[next]
		from, to := p.b.Minus(p.a), q.b.Minus(q.a)
		turn := math.Atan2(from.Cross(to), from.Dot(to))
		if turned += turn; turn < 0 || !c.kept[i] {
			return nil
		}
	}
	if turned > 2*math.Pi+1e-6 { // twice round
		return nil
	}
	var out plane.Ring
	for i, p := range c.pieces {
		next, _ := c.after(i)
		out = append(out, p.beside(d)[1:3]...)
		if arc := joint(p, c.pieces[next], d, overshoot); arc != nil {
			out = append(out, arc[2:len(arc)-2]...)
		}
	}
	out = r.clip(append(out, out[0]))
	return slices.Compact(out)
}

// within keeps the pieces that come within reach of the ground and the polygons
// that can touch it.
func (r *reachable) within(ctx context.Context, reach geo.Metres, target *Target) error {
	for _, c := range r.chains {
		for i, p := range c.pieces {
			if i%1024 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			_, _, _, c.kept[i] = target.nearest(p, reach)
		}
	}
	box := target.box
	r.ground = slices.DeleteFunc(slices.Clone(r.ground), func(poly plane.Polygon) bool {
		return len(poly) == 0 || !poly[0].Box().Meets(box)
	})
	return nil
}

// arcs is the number of tangents for a half circle of radius d.
func arcs(d, overshoot geo.Metres) int {
	// A tangent polygon's corner lies d·(sec(π/2n) - 1) outside, about d·π²/8n².
	return max(leastArcs, int(math.Ceil(math.Pi*math.Sqrt(float64(d/overshoot)/8))))
}

// disc is a regular polygon round the circle of radius d, counter-clockwise.
func disc(d, overshoot geo.Metres) plane.Ring {
	n := 2 * arcs(d, overshoot)
	r := make(plane.Ring, 0, n+1)
	out := float64(d) / math.Cos(math.Pi/float64(n))
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / float64(n))
		r = append(r, plane.XY{X: out * cos, Y: out * sin})
	}
	return append(r, r[0])
}

// sectors cuts the sector into convex ones of 90° or less, counter-clockwise,
// each with the origin as its first corner. Their arcs are replaced by tangents
// between the exact ends of the sides.
func sectors(d, overshoot geo.Metres, mid, half geo.Degrees) []plane.Ring {
	if half == 0 {
		p := plane.Heading(mid).Times(float64(d))
		return []plane.Ring{{{}, p, {}}}
	}
	count := int(math.Ceil(float64(half)/45 - 1e-9))
	wide := 2 * half / geo.Degrees(count)
	var out []plane.Ring
	for i := range count {
		to := mid + half - geo.Degrees(i)*wide // bearings fall counter-clockwise
		steps := max(1, int(math.Ceil(float64(wide)/180*float64(arcs(d, overshoot)))))
		step := wide / geo.Degrees(steps)
		far := float64(d) / math.Cos(float64(step)/2*math.Pi/180)
		r := plane.Ring{{}, plane.Heading(to).Times(float64(d))}
		for k := range steps {
			r = append(r, plane.Heading(to-step*(geo.Degrees(k)+0.5)).Times(far))
		}
		r = append(r, plane.Heading(to-wide).Times(float64(d)), plane.XY{})
		out = append(out, r)
	}
	return out
}

// swept is the convex hull of the stamp placed at both ends of the piece: the
// sum of two convex shapes. The stamp runs counter-clockwise.
func swept(p piece, stamp plane.Ring) plane.Ring {
	n := len(stamp) - 1
	if p.a == p.b {
		r := make(plane.Ring, len(stamp))
		for i, c := range stamp {
			r[i] = p.a.Plus(c)
		}
		return r
	}
	along := p.b.Minus(p.a)
	if n == 2 { // a sector without width: the parallelogram of two directions
		side := stamp[1]
		if along.Cross(side) == 0 {
			return nil
		}
		r := plane.Ring{p.a, p.b, p.b.Plus(side), p.a.Plus(side), p.a}
		if along.Cross(side) < 0 {
			r = plane.Ring{p.a, p.a.Plus(side), p.b.Plus(side), p.b, p.a}
		}
		return r
	}
	// An edge whose outward normal points ahead along the piece belongs to the
	// stamp at the far end, any other to the one at the near end; the corner
	// between two such edges is taken at both.
	r := make(plane.Ring, 0, n+3)
	for i := range n {
		before, after := stamp[i].Minus(stamp[(i+n-1)%n]), stamp[(i+1)%n].Minus(stamp[i])
		was, is := along.Cross(before) >= 0, along.Cross(after) >= 0
		switch {
		case was && is:
			r = append(r, p.b.Plus(stamp[i]))
		case is:
			r = append(r, p.a.Plus(stamp[i]), p.b.Plus(stamp[i]))
		case was:
			r = append(r, p.b.Plus(stamp[i]), p.a.Plus(stamp[i]))
		default:
			r = append(r, p.a.Plus(stamp[i]))
		}
	}
	return append(r, r[0])
}

// Flat is the band of halfWidth metres to either side of the line, its ends
// square and its bends round on the outer side: what a boom of that reach passes over,
// or the ground of a row. At a bend only the outer side's wedge is added. Every
// part of it touches the line by construction. The round joints are never
// short; they overshoot as in Around. A closed line is joined square, as
// two ends that meet.
// Errors as Around's.
func Flat(ctx context.Context, l plane.Line, halfWidth geo.Metres) (plane.Region, error) {
	if err := checkArgument("half width in metres", float64(halfWidth), float64(MaxDistance)); err != nil {
		return nil, err
	}
	pieces := appendPieces(nil, l)
	if n := 2*len(pieces) - 1; n > MaxBandParts {
		return nil, &overlay.TooManyError{What: overlay.Pieces, Count: n, Limit: MaxBandParts}
	}
	if halfWidth == 0 {
		return nil, ctx.Err()
	}
	var parts []plane.Region
	for i, p := range pieces {
		parts = append(parts, plane.Region{{p.band(halfWidth)}})
		if i+1 < len(pieces) {
			if j := joint(p, pieces[i+1], halfWidth, ArcOvershoot); j != nil {
				parts = append(parts, plane.Region{{j}})
			}
		}
	}
	return tidyUnion(ctx, parts)
}

// MaxBandParts bounds Flat; its parts have few corners, so more of them fit
// in the same time than of MaxPieces.
const MaxBandParts = overlay.MaxPieces

// band is the rectangle of half width w along the piece.
func (p piece) band(w geo.Metres) plane.Ring {
	left := p.left().Times(float64(w))
	return plane.Ring{p.a.Minus(left), p.b.Minus(left), p.b.Plus(left), p.a.Plus(left), p.a.Minus(left)}
}

// beside is the half of the band to the right of the piece.
func (p piece) beside(w geo.Metres) plane.Ring {
	left := p.left().Times(float64(w))
	return plane.Ring{p.a, p.a.Minus(left), p.b.Minus(left), p.b, p.a}
}

// left is the unit vector to the left of the piece.
func (p piece) left() plane.XY {
	d := p.b.Minus(p.a)
	return plane.XY{X: -d.Y, Y: d.X}.Times(1 / math.Hypot(d.X, d.Y))
}

// joint is the wedge that fills the outer side of a bend, counter-clockwise;
// nil where the line goes straight on.
func joint(p, next piece, w, overshoot geo.Metres) plane.Ring {
	from, to := p.b.Minus(p.a), next.b.Minus(next.a)
	turn := math.Atan2(from.Cross(to), from.Dot(to))
	if math.Abs(turn)*float64(w) < float64(plane.EdgeWidth) {
		return nil
	}
	// On a left turn the outer side is the right one.
	// Start and end are the rectangles' own corners, bit for bit.
	start, end := p.left().Times(-float64(w)), next.left().Times(-float64(w))
	if turn < 0 {
		start, end = next.left().Times(float64(w)), p.left().Times(float64(w))
	}
	angle := math.Abs(turn)
	steps := max(1, int(math.Ceil(angle/math.Pi*float64(arcs(w, overshoot)))))
	step := angle / float64(steps)
	r := plane.Ring{p.b, p.b.Plus(start)}
	for k := range steps {
		sin, cos := math.Sincos(step * (float64(k) + 0.5))
		r = append(r, p.b.Plus(plane.XY{X: start.X*cos - start.Y*sin, Y: start.X*sin + start.Y*cos}.Times(1/math.Cos(step/2))))
	}
	return append(r, p.b.Plus(end), p.b)
}

// Target is a shape made ready for questions of nearness. It may be shared.
type Target struct {
	shape  plane.Shape
	box    plane.Box
	tree   *rtree.RTreeG[piece]
	few    []piece // in place of the tree where there are no more
	ground []part  // one a polygon, as polygons of a shape may overlap
}

// part is a polygon of a target; one with many corners is indexed.
type part struct {
	plane.Polygon
	box   plane.Box
	index *overlay.Locator
}

// indexFrom is from how many corners on an index is quicker than a plain loop.
const indexFrom = 200

func (p part) contains(q plane.XY) bool {
	switch {
	case !p.box.Meets(plane.Box{Min: q, Max: q}):
		return false
	case p.index != nil:
		return p.index.Contains(q)
	}
	return p.Polygon.Contains(q)
}

// fewPieces is up to how many pieces looking at all of them is quicker than a tree.
const fewPieces = 24

// TargetOf prepares the shape.
func TargetOf(s plane.Shape) *Target {
	t := &Target{shape: s, box: plane.NoBox()}
	pieces := slices.Collect(piecesOf(s))
	for _, p := range pieces {
		t.box = t.box.With(p.a).With(p.b)
	}
	if len(pieces) <= fewPieces {
		t.few = pieces
	} else {
		t.tree = &rtree.RTreeG[piece]{}
		for _, p := range pieces {
			lo, hi := p.box()
			t.tree.Insert(lo, hi, p)
		}
	}
	for _, poly := range s.Ground {
		if len(poly) == 0 {
			continue
		}
		one := part{Polygon: poly, box: poly[0].Box().Grow(plane.EdgeWidth)}
		if (plane.Region{poly}).Vertices() >= indexFrom {
			one.index = overlay.Locate(plane.Region{poly})
		}
		t.ground = append(t.ground, one)
	}
	return t
}

func (p piece) box() (lo, hi [2]float64) {
	return [2]float64{math.Min(p.a.X, p.b.X), math.Min(p.a.Y, p.b.Y)}, [2]float64{math.Max(p.a.X, p.b.X), math.Max(p.a.Y, p.b.Y)}
}

// contains reports whether q lies on the target's ground.
func (t *Target) contains(q plane.XY) bool {
	for _, g := range t.ground {
		if g.contains(q) {
			return true
		}
	}
	return false
}

// nearest finds the target's point nearest to the piece, within the limit.
func (t *Target) nearest(p piece, limit geo.Metres) (d geo.Metres, onPiece, onTarget plane.XY, ok bool) {
	best := float64(limit)
	lo, hi := p.box()
	if boxDistance(lo, hi, [2]float64{t.box.Min.X, t.box.Min.Y}, [2]float64{t.box.Max.X, t.box.Max.Y}) > best {
		return limit, onPiece, onTarget, false
	}
	if t.contains(p.a) {
		return 0, p.a, p.a, true
	}
	try := func(q piece) {
		if got, a, b := apart(p, q); got <= best {
			best, onPiece, onTarget, ok = got, a, b, true
		}
	}
	if t.tree == nil {
		for _, q := range t.few {
			try(q)
		}
		return geo.Metres(best), onPiece, onTarget, ok
	}
	t.tree.Nearby(
		func(min, max [2]float64, _ piece, _ bool) float64 { return boxDistance(lo, hi, min, max) },
		func(_, _ [2]float64, q piece, boxApart float64) bool {
			if boxApart > best {
				return false
			}
			try(q)
			return best > 0
		})
	return geo.Metres(best), onPiece, onTarget, ok
}

func boxDistance(alo, ahi, blo, bhi [2]float64) float64 {
	dx := math.Max(0, math.Max(blo[0]-ahi[0], alo[0]-bhi[0]))
	dy := math.Max(0, math.Max(blo[1]-ahi[1], alo[1]-bhi[1]))
	return math.Hypot(dx, dy)
}

// apart is the distance of two straight pieces and the two nearest points.
func apart(p, q piece) (d float64, onP, onQ plane.XY) {
	if x, ok := crossing(p, q); ok {
		return 0, x, x
	}
	d = math.Inf(1)
	try := func(a, b plane.XY) {
		if got := float64(a.Distance(b)); got < d {
			d, onP, onQ = got, a, b
		}
	}
	try(p.a, p.a.NearestOn(q.a, q.b))
	try(p.b, p.b.NearestOn(q.a, q.b))
	try(q.a.NearestOn(p.a, p.b), q.a)
	try(q.b.NearestOn(p.a, p.b), q.b)
	return d, onP, onQ
}

// crossing is where two pieces cross each other's line, ends included;
// parallel ones are left to the distances of their ends.
func crossing(p, q piece) (plane.XY, bool) {
	u, v := p.b.Minus(p.a), q.b.Minus(q.a)
	den := u.Cross(v)
	if den == 0 {
		return plane.XY{}, false
	}
	w := q.a.Minus(p.a)
	s, t := w.Cross(v)/den, w.Cross(u)/den
	if s < 0 || s > 1 || t < 0 || t > 1 {
		return plane.XY{}, false
	}
	return p.a.Plus(u.Times(s)), true
}

// Nearest is the distance between two shapes in the plane and the two points
// that lie so near. It is 0 where they touch, cross, or one lies on the other's
// ground; the inside of a hole is no ground, so there the hole's edge counts. Where
// several pairs are equally near, one of them is given, the same every time.
// An empty shape is infinitely far. Within a few kilometres of the frame's origin
// the plane's distance is the ellipsoid's to 1e-7 of it.
func Nearest(a, b plane.Shape) (d geo.Metres, onA, onB plane.XY) {
	if a.Vertices() > b.Vertices() {
		return TargetOf(a).Nearest(b)
	}
	d, onB, onA = TargetOf(b).Nearest(a)
	return d, onA, onB
}

// Nearest is the function of that name, with the target prepared once for many
// shapes.
func (t *Target) Nearest(s plane.Shape) (d geo.Metres, onTarget, onShape plane.XY) {
	d = geo.Metres(math.Inf(1))
	for p := range piecesOf(s) {
		if got, x, y, ok := t.nearest(p, d); ok && got < d {
			d, onShape, onTarget = got, x, y
		}
		if d < plane.EdgeWidth {
			break
		}
	}
	if d < plane.EdgeWidth {
		d = 0
	}
	// What is left: the target wholly on the shape's ground.
	if d > 0 && len(s.Ground) > 0 {
		for _, p := range firstPoints(t.shape) {
			if slices.ContainsFunc(s.Ground, func(poly plane.Polygon) bool { return len(poly) > 0 && poly.Contains(p) }) {
				return 0, p, p
			}
		}
	}
	return d, onTarget, onShape
}

// firstPoints has one point of every connected part.
func firstPoints(s plane.Shape) []plane.XY {
	out := append([]plane.XY(nil), s.Points...)
	for _, l := range s.Lines {
		if len(l) > 0 {
			out = append(out, l[0])
		}
	}
	for _, poly := range s.Ground {
		if len(poly) > 0 && len(poly[0]) > 0 {
			out = append(out, poly[0][0])
		}
	}
	return out
}

// tidyUnion fills the wedges that tangent arcs leave between pieces.
func tidyUnion(ctx context.Context, parts []plane.Region) (plane.Region, error) {
	u, err := overlay.Union(ctx, parts...)
	return overlay.WithoutSlivers(u), err
}
