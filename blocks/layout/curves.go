package layout

import (
	"cmp"
	"context"
	"math"
	"runtime"
	"slices"
	"sort"
	"sync"
	"sync/atomic"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
)

// Rows beside a guide. The guide, run on straight past both its ends, is the
// middle of a row; the next row's middle is every point one row spacing away
// from the whole guide on one side, and so on: round on the outside of a bend,
// and on the inside cut where it would come nearer to another stretch of the
// guide. Where that leaves several lines they are parts of one row, in the
// guide's direction; a line that closes on itself is opened by one row spacing
// where it begins, so that one can get in. Headlands, plants and posts are
// measured along the row. Strips must lie wholly, to 1 mm, between the outermost
// ground on both sides that the headlands leave, less the side margin, as those
// of straight rows do; ground that reaches farther out on less than a row
// spacing across may go unseen in this.
//
// Ground is measured as the length of lines beside the guide times the distance
// between them, more of them where that length jumps: planted ground is good to
// about 0.1 %, and what that leaves over counts as headland, or as left over
// without one.
const (
	// scanBands lines to a row spacing measure the ground beside holes.
	scanBands = 4
	// A band whose edges tell another area than its middle by more than this share
	// and this much, in m2, is halved, at the most so many times.
	bandShare   = 0.0005
	bandGround  = 0.02
	bandHalving = 7
	// closing is how near the outermost ground is found: well under exactFit.
	closing = 1e-4
)

// field measures one piece of ground along lines beside a guide.
type field struct {
	ctx      context.Context
	chain    *chain
	slabs    slabs
	headland float64
	kept     [2][]keptCut // of the right and the left side, by rising distance
}

// keptCut is a state to start from at any greater distance.
type keptCut struct {
	d         float64
	stretches []stretch
}

// beside lays rows beside the guide.
func (l *Layout) beside(ctx context.Context, frame plane.Frame, ground plane.Region, holesApart bool) error {
	pts, err := guidePoints(frame, l.Spec.Guide)
	if err != nil {
		return err
	}
	l.Spec.Bearing = bearingOf(pts)
	for i, p := range pts {
		pts[i] = plane.Turn(p, l.Spec.Bearing)
	}
	turned := upright(ground, l.Spec.Bearing)
	place := func(p plane.XY) geo.Position { return frame.Position(plane.Turn(p, -l.Spec.Bearing)) }
	if turned.Box().Empty() {
		return nil
	}
	chain, err := newChain(pts, turned.Box(), place)
	if err != nil {
		return err
	}
	f, err := newField(ctx, chain, turned, float64(l.Spec.Headland))
	if err != nil {
		return err
	}
	left, err := l.rowsBeside(f, turned, place)
	if err != nil {
		return err
	}
	gone := l.Outline - left
	if l.Spec.Headland == 0 {
		l.Rest.LeftOver += gone
		return nil
	}
	l.Rest.Headlands = gone
	if holesApart && ground.Holes() > 0 {
		filled, err := newField(ctx, chain, withoutHoles(turned), float64(l.Spec.Headland))
		if err != nil {
			return err
		}
		all, err := filled.groundLeft(float64(l.Spec.RowSpacing)/scanBands, withoutHoles(turned), float64(l.Spec.RowSpacing))
		if err != nil {
			return err
		}
		l.Rest.HoleHeads = all - left - holeArea(ground)
		l.Rest.Headlands -= l.Rest.HoleHeads
	}
	return nil
}

func newField(ctx context.Context, c *chain, ground plane.Region, headland float64) (*field, error) {
	pieces, err := trapezoids(ctx, ground)
	if err != nil {
		return nil, err
	}
	return &field{ctx: ctx, chain: c, slabs: newSlabs(withoutCrumbs(pieces)), headland: headland}, nil
}

// at is the lines x metres to the right of the guide, arcs as chords no deeper
// than depth.
func (f *field) at(x, depth float64) ([]curve, error) {
	if err := f.ctx.Err(); err != nil {
		return nil, err
	}
	if f.chain.effort+f.slabs.effort > maxEffort {
		return nil, fault.New(fault.TooCostly, guideJagged.With(words.Args{"count": len(f.chain.at)}))
	}
	d := math.Abs(x)
	if d < joined {
		var c curve
		for _, p := range f.chain.at {
			c.add(p)
		}
		return []curve{c}, nil
	}
	s, which := side{f.chain, 1}, 0
	if x < 0 {
		s, which = side{f.chain, -1}, 1
	}
	kept := f.kept[which]
	n := sort.Search(len(kept), func(i int) bool { return kept[i].d > d })
	var from []stretch
	if n == 0 {
		from = s.all()
	} else {
		from = kept[n-1].stretches
	}
	stretches := s.cut(from, d)
	f.keep(which, n, keptCut{d, stretches})
	return s.curves(stretches, d, depth), nil
}

// keep holds on to a cut that is the farthest so far, and to those before it at
// doubled distances only, so that looking back costs little and holds little.
func (f *field) keep(which, n int, c keptCut) {
	kept := f.kept[which]
	if n < len(kept) {
		return
	}
	if n >= 2 && kept[n-1].d < 1.1*kept[n-2].d {
		kept = kept[:n-1]
	}
	f.kept[which] = append(kept, c)
}

// run is a part of a row in the plane.
type run struct {
	at     []plane.XY
	length float64
}

// runs are the parts of the lines on the ground less the headlands.
func (f *field) runs(curves []curve, opening float64) []run {
	var out []run
	for _, c := range curves {
		for _, s := range f.withoutHeads(f.inside(&c, opening)) {
			out = append(out, run{c.part(s[0], s[1]), s[1] - s[0]})
		}
	}
	return out
}

// lengths are the metres of the lines x metres to the right of the guide that
// lie on the ground, and those the headlands leave.
func (f *field) lengths(x, opening, depth float64) (all, left float64, err error) {
	curves, err := f.at(x, depth)
	if err != nil {
		return 0, 0, err
	}
	for _, c := range curves {
		inside := f.inside(&c, opening)
		for _, s := range inside {
			all += s[1] - s[0]
		}
		for _, s := range f.withoutHeads(inside) {
			left += s[1] - s[0]
		}
	}
	return all, left, nil
}

// inside is the stretches of the curve on the ground. A ring is turned to begin
// off the ground, or opened.
func (f *field) inside(c *curve, opening float64) [][2]float64 {
	inside := f.slabs.inside(*c)
	if !c.closed || len(inside) == 0 {
		return inside
	}
	if inside[0][1] < c.length()-joined {
		c.startAt(inside[0][1])
		return f.slabs.inside(*c)
	}
	inside[0][1] -= opening
	return inside
}

func (f *field) withoutHeads(inside [][2]float64) [][2]float64 {
	var out [][2]float64
	for _, s := range inside {
		if s[1]-s[0]-2*f.headland > leastPart {
			out = append(out, [2]float64{s[0] + f.headland, s[1] - f.headland})
		}
	}
	return out
}

// startAt turns a ring to begin so many metres along.
func (c *curve) startAt(along float64) {
	turned := curve{first: c.first, closed: true}
	for _, p := range append(c.part(along, c.length()), c.part(0, along)...) {
		turned.add(p)
	}
	*c = turned
}

// extent is how far the ground reaches to the left, lo, and the right, hi, of
// the guide, before the headlands, found at its edges.
func (f *field) extent(ground plane.Region, spacing float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, polygon := range ground {
		for _, ring := range polygon {
			for i := 1; i < len(ring); i++ {
				a, b := ring[i-1], ring[i]
				steps := max(1, int(math.Ceil(float64(a.Distance(b))/spacing)))
				for k := range steps {
					x := f.chain.offset(a.Plus(b.Minus(a).Times(float64(k) / float64(steps))))
					lo, hi = math.Min(lo, x), math.Max(hi, x)
				}
			}
		}
	}
	// Between two places the distance changes by no more than half their gap.
	return lo - spacing/2, hi + spacing/2
}

// groundLeft is the ground less the headlands, by lines a step apart.
func (f *field) groundLeft(step float64, ground plane.Region, spacing float64) (geo.SquareMetres, error) {
	sum := 0.0
	err := f.scan(step, ground, spacing, func(x, left float64) { sum += left * step })
	return geo.SquareMetres(sum), err
}

// scan looks at lines a step apart wherever there is ground, on either side by
// rising distance.
func (f *field) scan(step float64, ground plane.Region, spacing float64, found func(x, left float64)) error {
	lo, hi := f.extent(ground, spacing)
	for _, way := range []struct{ sign, from, to float64 }{{1, lo, hi}, {-1, -hi, -lo}} {
		if way.to < 0 {
			continue
		}
		for k := math.Floor(math.Max(0, way.from) / step); ; k++ {
			x := (k + 0.5) * step
			all, left, err := f.lengths(way.sign*x, spacing, roughDepth)
			if err != nil {
				return err
			}
			if left > 0 {
				found(way.sign*x, left)
			}
			// Ground farther from the guide than any edge is surrounded by such
			// ground: once it has run out there is none beyond.
			if all == 0 && x > way.to {
				break
			}
		}
	}
	return nil
}

// outermost is how far the ground less the headlands reaches to the left and the
// right; false where the headlands leave none.
func (f *field) outermost(ground plane.Region, spacing float64) (lo, hi float64, any bool, err error) {
	lo, hi = math.Inf(1), math.Inf(-1)
	step := spacing
	if err := f.scan(step, ground, spacing, func(x, _ float64) { lo, hi = math.Min(lo, x), math.Max(hi, x) }); err != nil {
		return 0, 0, false, err
	}
	if lo > hi {
		return 0, 0, false, nil
	}
	if lo, err = f.edge(lo, lo-step, spacing); err == nil {
		hi, err = f.edge(hi, hi+step, spacing)
	}
	return lo, hi, true, err
}

// edge is where between an offset with ground and one without it ends.
func (f *field) edge(with, without, spacing float64) (float64, error) {
	for math.Abs(with-without) > closing {
		x := (with + without) / 2
		_, left, err := f.lengths(x, spacing, chordDepth)
		if err != nil {
			return 0, err
		}
		if left > 0 {
			with = x
		} else {
			without = x
		}
	}
	return with, nil
}

// strip is one row's ground beside the guide.
type strip struct {
	middle float64 // metres to the right of the guide
	runs   []run
	ground geo.SquareMetres
}

// strips lie where they fit, in the order their rows are numbered.
func (s Spec) strips(lo, hi float64) ([]strip, error) {
	lo, hi = lo+float64(s.SideMargin)-exactFit, hi-float64(s.SideMargin)+exactFit
	half, way := float64(s.RowSpacing)/2, 1.0
	if s.FromRight {
		way = -1
	}
	middle := func(i int) float64 {
		return way * (float64(i)*float64(s.RowSpacing) + s.alleysBefore(i)*float64(s.AlleyWidth))
	}
	near, far := lo, hi
	if s.FromRight {
		near, far = -hi, -lo
	}
	first := sort.Search(2*stripReach, func(k int) bool { return way*middle(k-stripReach)-half >= near }) - stripReach
	var out []strip
	for i := first; way*middle(i)+half <= far; i++ {
		if len(out) == MaxRows {
			return nil, tooManyRows(len(out) + 1)
		}
		out = append(out, strip{middle: middle(i)})
	}
	return out, nil
}

// stripReach is how many rows from the guide the first can lie: beyond
// plane.MaxReach even at the least spacing.
const stripReach = 1 << 26

// rowsBeside fills in the rows and what the ground goes to; it gives the ground
// that the headlands leave.
func (l *Layout) rowsBeside(f *field, ground plane.Region, place func(plane.XY) geo.Position) (geo.SquareMetres, error) {
	spacing := float64(l.Spec.RowSpacing)
	lo, hi, any, err := f.outermost(ground, spacing)
	if err != nil || !any {
		return 0, err
	}
	strips, err := l.Spec.strips(lo, hi)
	if err != nil {
		return 0, err
	}
	if err := l.measure(f, strips, lo, hi); err != nil {
		return 0, err
	}
	for i, parts := range l.bentParts(strips, place) {
		if err := l.add(parts, strips[i].ground); err != nil {
			return 0, err
		}
	}
	r := l.Rest
	return l.Planted + r.Margins + r.Alleys + r.LeftOver + r.WithoutParts + r.Skipped, nil
}

// band is ground between two distances from the guide, and what it counts as.
type band struct {
	from, to float64
	ground   *geo.SquareMetres
	row      *strip // whose middle line is the band's
}

// bands are the strips and what lies between and beside them, none of them on
// both sides of the guide but a row's.
func (l *Layout) bands(strips []strip, lo, hi float64) []band {
	var out []band
	add := func(from, to float64, ground *geo.SquareMetres) {
		if from < 0 && to > 0 {
			out = append(out, band{from: from, to: 0, ground: ground}, band{from: 0, to: to, ground: ground})
		} else if to > from {
			out = append(out, band{from: from, to: to, ground: ground})
		}
	}
	half, margin := float64(l.Spec.RowSpacing)/2, math.Min(float64(l.Spec.SideMargin), (hi-lo)/2)
	add(lo, lo+margin, &l.Rest.Margins)
	add(hi-margin, hi, &l.Rest.Margins)
	ordered := make([]*strip, len(strips))
	for i := range strips {
		ordered[i] = &strips[i]
	}
	slices.SortFunc(ordered, func(a, b *strip) int { return cmp.Compare(a.middle, b.middle) })
	end, between := lo+margin, &l.Rest.LeftOver
	for _, s := range ordered {
		if s.middle-half > end+exactFit {
			add(end, s.middle-half, between)
		}
		out = append(out, band{from: s.middle - half, to: s.middle + half, ground: &s.ground, row: s})
		end, between = s.middle+half, &l.Rest.Alleys
	}
	add(end, hi-margin, &l.Rest.LeftOver)
	return out
}

// measure fills the strips' runs and ground and what lies between them, going
// outward on both sides, as cutting does.
func (l *Layout) measure(f *field, strips []strip, lo, hi float64) error {
	f.kept = [2][]keptCut{}
	bands := l.bands(strips, lo, hi)
	slices.SortStableFunc(bands, func(a, b band) int {
		return cmp.Compare(math.Abs(a.from+a.to), math.Abs(b.from+b.to))
	})
	known := map[float64]float64{} // length at the edges, which two bands share
	length := func(x float64) (float64, error) {
		x = math.Max(lo, math.Min(hi, x))
		if left, ok := known[x]; ok {
			return left, nil
		}
		_, left, err := f.lengths(x, float64(l.Spec.RowSpacing), roughDepth)
		known[x] = left
		return left, err
	}
	for _, b := range bands {
		if b.row != nil {
			curves, err := f.at(b.row.middle, chordDepth)
			if err != nil {
				return err
			}
			b.row.runs = f.runs(curves, float64(l.Spec.RowSpacing))
			sum := 0.0
			for _, r := range b.row.runs {
				sum += r.length
			}
			known[b.row.middle] = sum
		}
		ground, err := area(length, b.from, b.to, bandHalving)
		if err != nil {
			return err
		}
		*b.ground += geo.SquareMetres(ground)
	}
	return nil
}

// area is the integral of the length from one distance to another.
func area(length func(x float64) (float64, error), from, to float64, halvings int) (float64, error) {
	middle, width := (from+to)/2, to-from
	var at [3]float64
	for i, x := range []float64{from, middle, to} {
		var err error
		if at[i], err = length(x); err != nil {
			return 0, err
		}
	}
	sum := (at[0] + 2*at[1] + at[2]) / 4 * width
	if halvings == 0 || math.Abs((at[0]+at[2])/2-at[1])*width <= bandShare*sum+bandGround {
		return sum, nil
	}
	first, err := area(length, from, middle, halvings-1)
	if err != nil {
		return 0, err
	}
	second, err := area(length, middle, to, halvings-1)
	return first + second, err
}

// bentParts places every strip's runs, on all processors: placing the corners of
// bent rows takes as long as finding them.
func (l *Layout) bentParts(strips []strip, place func(plane.XY) geo.Position) [][]Part {
	out := make([][]Part, len(strips))
	var next atomic.Int64
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(strips); i = int(next.Add(1)) - 1 {
				for _, r := range strips[i].runs {
					out[i] = append(out[i], l.bent(r, place))
				}
			}
		})
	}
	workers.Wait()
	return out
}

func (l *Layout) bent(r run, place func(plane.XY) geo.Position) Part {
	path := make(orb.LineString, len(r.at))
	for i, p := range r.at {
		path[i] = place(p)
	}
	if l.Spec.FromFarEnd {
		slices.Reverse(path)
	}
	p := Part{From: path[0], To: path[len(path)-1], Length: geo.Metres(r.length), Plants: l.Spec.plantsOn(r.length), Posts: l.Spec.postsOn(r.length)}
	if len(path) > 2 {
		p.Path = path
	}
	return p
}
