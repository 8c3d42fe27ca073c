// Package layout fits rows and plants into an outline: straight rows on any
// bearing, or rows beside a guide line that bends, cut by holes and bays, with
// headlands at their ends.
//
// The rules. In metres about the middle of the outline's box (scale error under
// 1e-8 for a block up to 1 km): ground stays when at least a headland's length
// of ground lies before and behind it along the row. What stays, less a margin
// along both its outer sides, is cut into strips one row spacing wide, with an
// alley's width between them after every so many, the left-over split evenly to
// both sides; a row is a strip's middle line where it lies on that ground, in as
// many parts as it is cut into; a strip without such a part takes no number. Each
// part holds floor((length + 1 mm) / plant spacing) + 1 plants, the first at its
// first end. Plant numbers run on over a row's parts. A skipped row keeps its
// number and its line and holds neither plants nor posts. Posts stand at both
// ends of each part and at every post spacing from its first end.
//
// Rows beside a guide are described at curves.go.
package layout

import (
	"context"
	"math"
	"slices"
	"sort"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
)

// Named tolerances.
const (
	// exactFit is how much a width or length may fall short of a whole number of
	// spacings and still reach it: a tape is not read closer.
	exactFit = 0.001
	// leastPart is the longest piece of a middle line that is no part of a row.
	leastPart = 0.001
)

// Bounds of one plan, far above any farm's block.
const (
	MaxPlants = 2_000_000
	MaxRows   = 20_000
	maxPieces = 2_000_000
)

var (
	noGround   = words.New("layout-no-ground", "Rows need an outline: a polygon, not {kind}.", "Las hileras necesitan un contorno: un polígono, no {kind}.")
	outlineFar = words.New("layout-outline-far", "The outline cannot be placed: {problem}.", "El contorno no se puede situar: {problem}.")
	tooMany    = words.New("layout-too-many", "This would be about {count} {what}; at most {limit} are laid out at once. Check the spacings, or split the block.", "Esto serían unas {count} {what}; se trazan como máximo {limit} a la vez. Revise las distancias o divida el bloque.")
	plantsWord = words.New("layout-plants", "plants", "plantas")
	rowsWord   = words.New("layout-rows", "rows", "hileras")
	tooJagged  = words.New("layout-too-jagged", "The outline has too many corners for rows to be laid out in bearable time ({count}). Simplify it.", "El contorno tiene demasiados vértices para trazar hileras en un tiempo razonable ({count}). Simplifíquelo.")
)

// Row is a row by number, its parts in the direction its plants are counted.
type Row struct {
	Number int
	Length geo.Metres // of the parts that are planted
	Plants int
	Posts  int // end posts included
	// Skipped rows have no length, plants or posts; their parts say where they
	// would run.
	Skipped bool
	Parts   []Part
}

// Part is an unbroken stretch of a row, from where its plants are counted.
type Part struct {
	From, To geo.Position
	// Path is the way from From to To, both included, where it is not straight;
	// else nil.
	Path   orb.LineString
	Length geo.Metres
	Plants int
	Posts  int // end posts included
}

// Layout is what fits. Its lengths, plants and posts leave skipped rows out.
type Layout struct {
	Spec      Spec
	Rows      []Row // skipped ones included
	RowLength geo.Metres
	Plants    int
	Posts     int // end posts included
	EndPosts  int
	// Planted is the ground left after the headlands in strips that are rows and
	// not skipped; not row length times row spacing where the ground widens
	// beside a row.
	Planted geo.SquareMetres
	Outline geo.SquareMetres // on the ellipsoid, holes taken off
	Rest    Rest
}

// Rest is the ground that is not planted, by what takes it: together with
// Planted it makes Outline.
type Rest struct {
	Headlands    geo.SquareMetres // at the outer edge
	HoleHeads    geo.SquareMetres // headlands that are there because of holes
	Margins      geo.SquareMetres
	Alleys       geo.SquareMetres
	LeftOver     geo.SquareMetres // beside the outermost strips
	WithoutParts geo.SquareMetres // strips whose middle line meets no ground
	Skipped      geo.SquareMetres
}

func tooCostly(corners int) error {
	return fault.New(fault.TooCostly, tooJagged.With(words.Args{"count": corners}))
}

// Plan lays rows and plants out. The outline is a valid Polygon or
// MultiPolygon; an empty one, or one too narrow, gives no rows. Refusals:
// fault.Invalid for a spec out of bounds, an outline that is none or a guide
// that cannot be run beside, fault.TooCostly over the bounds above; else the
// context's error.
func Plan(ctx context.Context, outline orb.Geometry, spec Spec) (Layout, error) {
	return plan(ctx, outline, spec, true)
}

// plan leaves the headlands round holes with the others unless asked to tell
// them apart, which takes a second look at the ground.
func plan(ctx context.Context, outline orb.Geometry, spec Spec, holesApart bool) (Layout, error) {
	if err := spec.Check(); err != nil {
		return Layout{}, err
	}
	switch outline.(type) {
	case orb.Polygon, orb.MultiPolygon:
	default:
		kind := "null"
		if outline != nil {
			kind = outline.GeoJSONType()
		}
		return Layout{}, fault.New(fault.Invalid, noGround.With(words.Args{"kind": kind}))
	}
	frame, err := plane.FrameOf(outline)
	if err != nil {
		return Layout{}, fault.Wrap(fault.Invalid, err, outlineFar.With(words.Args{"problem": err.Error()}))
	}
	ground, err := frame.Region(outline)
	if err != nil {
		return Layout{}, fault.Wrap(fault.Invalid, err, outlineFar.With(words.Args{"problem": err.Error()}))
	}
	l := Layout{Spec: spec, Outline: measure.Area(outline)}
	if spec.Guide != nil {
		err = l.beside(ctx, frame, ground, holesApart)
	} else {
		err = l.straight(ctx, frame, ground, holesApart)
	}
	if err != nil {
		return Layout{}, err
	}
	return l, nil
}

func (l *Layout) straight(ctx context.Context, frame plane.Frame, ground plane.Region, holesApart bool) error {
	turned := upright(ground, l.Spec.Bearing)
	left, err := l.groundLeft(ctx, turned)
	if err != nil {
		return err
	}
	s, err := l.stripes(left)
	if err != nil {
		return err
	}
	if err := l.fill(ctx, frame, left, s); err != nil {
		return err
	}
	total := areaOf(left)
	l.Rest.Margins, l.Rest.Alleys = s.margins(left), s.alleys(left)
	l.Rest.LeftOver = total - l.Planted - l.Rest.Margins - l.Rest.Alleys - l.Rest.WithoutParts - l.Rest.Skipped
	l.Rest.Headlands = l.Outline - total
	if holesApart && l.Spec.Headland > 0 && ground.Holes() > 0 {
		filled, err := l.groundLeft(ctx, withoutHoles(turned))
		if err != nil {
			return err
		}
		l.Rest.HoleHeads = areaOf(filled) - total - holeArea(ground)
		l.Rest.Headlands -= l.Rest.HoleHeads
	}
	return nil
}

// groundLeft is the ground, rows upright, without the headlands.
func (l *Layout) groundLeft(ctx context.Context, turned plane.Region) ([]trapezoid, error) {
	pieces, err := trapezoids(ctx, turned)
	if err != nil {
		return nil, err
	}
	var left []trapezoid
	for _, t := range pieces {
		if u, any := t.withoutHeadland(float64(l.Spec.Headland)); any {
			left = append(left, u)
		}
	}
	return withoutCrumbs(left), nil
}

func withoutHoles(r plane.Region) plane.Region {
	out := make(plane.Region, len(r))
	for i, polygon := range r {
		out[i] = polygon[:min(1, len(polygon))]
	}
	return out
}

func holeArea(r plane.Region) geo.SquareMetres { return withoutHoles(r).Area() - r.Area() }

func upright(ground plane.Region, bearing geo.Degrees) plane.Region {
	out := make(plane.Region, len(ground))
	for i, polygon := range ground {
		out[i] = make(plane.Polygon, len(polygon))
		for j, ring := range polygon {
			out[i][j] = make(plane.Ring, len(ring))
			for k, p := range ring {
				out[i][j][k] = plane.Turn(p, bearing)
			}
		}
	}
	return out
}

// stripes lie across the ground that is left, from its outermost point on the
// left, from, to that on the right, to.
type stripes struct {
	from, to, margin float64
	spacing          float64
	edges            []float64 // left edge of each strip, ascending
}

func (l *Layout) stripes(left []trapezoid) (stripes, error) {
	s := stripes{margin: float64(l.Spec.SideMargin), spacing: float64(l.Spec.RowSpacing)}
	if len(left) == 0 {
		return s, nil
	}
	s.from, s.to = math.Inf(1), math.Inf(-1)
	for _, t := range left {
		s.from, s.to = math.Min(s.from, t.x0), math.Max(s.to, t.x1)
	}
	from, to := s.from+s.margin, s.to-s.margin
	if to <= from {
		return s, nil
	}
	n := l.Spec.fitting(to - from)
	if n > MaxRows {
		return s, tooManyRows(n)
	}
	alley := float64(l.Spec.AlleyWidth)
	all := l.Spec.alleysBefore(max(0, n-1)) * alley
	first := from + (to-from-float64(n)*s.spacing-all)/2
	s.edges = make([]float64, n)
	for i := range s.edges {
		before := l.Spec.alleysBefore(i) * alley
		if l.Spec.FromRight {
			before = all - l.Spec.alleysBefore(n-1-i)*alley
		}
		s.edges[i] = first + float64(i)*s.spacing + before
	}
	return s, nil
}

func tooManyRows(n int) error {
	return fault.New(fault.TooCostly, tooMany.With(words.Args{"count": n, "limit": MaxRows, "what": rowsWord.Plain()}))
}

func areaOf(pieces []trapezoid) (sum geo.SquareMetres) {
	for _, t := range pieces {
		sum += geo.SquareMetres(t.between(t.x0, t.x1))
	}
	return sum
}

func areaBetween(pieces []trapezoid, a, b float64) (sum geo.SquareMetres) {
	for _, t := range pieces {
		sum += geo.SquareMetres(t.between(a, b))
	}
	return sum
}

func (s stripes) margins(left []trapezoid) geo.SquareMetres {
	switch {
	case s.margin == 0:
		return 0
	case s.to-s.from <= 2*s.margin:
		return areaOf(left)
	}
	return areaBetween(left, s.from, s.from+s.margin) + areaBetween(left, s.to-s.margin, s.to)
}

func (s stripes) alleys(left []trapezoid) (sum geo.SquareMetres) {
	for i := 1; i < len(s.edges); i++ {
		if a, b := s.edges[i-1]+s.spacing, s.edges[i]; b-a > exactFit {
			sum += areaBetween(left, a, b)
		}
	}
	return sum
}

// meeting is which of the pieces meet which strip.
func (s stripes) meeting(pieces []trapezoid) [][]trapezoid {
	meets := make([][]trapezoid, len(s.edges))
	for _, t := range pieces {
		for i := max(0, sort.SearchFloat64s(s.edges, t.x0)-1); i < len(s.edges) && s.edges[i] < t.x1; i++ {
			meets[i] = append(meets[i], t)
		}
	}
	return meets
}

func (l *Layout) fill(ctx context.Context, frame plane.Frame, left []trapezoid, s stripes) error {
	meets := s.meeting(left)
	for k := range s.edges {
		if err := ctx.Err(); err != nil {
			return err
		}
		i := k
		if l.Spec.FromRight {
			i = len(s.edges) - 1 - k
		}
		from := s.edges[i]
		var parts []Part
		for _, span := range spans(meets[i], from+s.spacing/2) {
			parts = append(parts, l.part(frame, from+s.spacing/2, span))
		}
		ground := make([]geo.SquareMetres, 0, len(meets[i]))
		for _, t := range meets[i] {
			ground = append(ground, geo.SquareMetres(t.between(from, from+s.spacing)))
		}
		if err := l.add(parts, ground...); err != nil {
			return err
		}
	}
	return nil
}

// add numbers the strip with these parts, in the direction of the rows, and
// this ground.
func (l *Layout) add(parts []Part, ground ...geo.SquareMetres) error {
	if len(parts) == 0 {
		sum(&l.Rest.WithoutParts, ground)
		return nil
	}
	row := Row{Number: len(l.Rows) + 1, Parts: parts}
	if slices.Contains(l.Spec.Skip, row.Number) {
		row.Skipped = true
		for i := range parts {
			parts[i].Plants, parts[i].Posts = 0, 0
		}
		sum(&l.Rest.Skipped, ground)
		l.Rows = append(l.Rows, l.counted(row))
		return nil
	}
	for _, p := range parts {
		row.Length += p.Length
		row.Plants += p.Plants
		row.Posts += p.Posts
		if p.Posts > 0 {
			l.EndPosts += 2
		}
	}
	sum(&l.Planted, ground)
	l.RowLength += row.Length
	l.Plants += row.Plants
	l.Posts += row.Posts
	if l.Plants > MaxPlants {
		return fault.New(fault.TooCostly, tooMany.With(words.Args{"count": l.Plants, "limit": MaxPlants, "what": plantsWord.Plain()}))
	}
	l.Rows = append(l.Rows, l.counted(row))
	return nil
}

// counted has the parts in the order plants are counted.
func (l *Layout) counted(r Row) Row {
	if l.Spec.FromFarEnd {
		slices.Reverse(r.Parts)
	}
	return r
}

func sum(to *geo.SquareMetres, ground []geo.SquareMetres) {
	for _, g := range ground {
		*to += g
	}
}

// spans are the stretches of ground on the upright line at x, from below.
func spans(pieces []trapezoid, x float64) [][2]float64 {
	var out [][2]float64
	for _, t := range pieces {
		// Half open, so that a line on a slab's edge is counted once.
		if x < t.x0 || x >= t.x1 {
			continue
		}
		if lo, hi := t.at(x); hi-lo > leastPart {
			out = append(out, [2]float64{lo, hi})
		}
	}
	return out
}

func (l *Layout) part(frame plane.Frame, x float64, span [2]float64) Part {
	ground := func(y float64) geo.Position { return frame.Position(plane.Turn(plane.XY{X: x, Y: y}, -l.Spec.Bearing)) }
	length := span[1] - span[0]
	p := Part{From: ground(span[0]), To: ground(span[1]), Length: geo.Metres(length), Plants: l.Spec.plantsOn(length), Posts: l.Spec.postsOn(length)}
	if l.Spec.FromFarEnd {
		p.From, p.To = p.To, p.From
	}
	return p
}

func (s Spec) plantsOn(length float64) int {
	return int(math.Floor((length+exactFit)/float64(s.PlantSpacing))) + 1
}

// postsOn counts one post at the part's first end and at every post spacing from
// it, and one at its far end where none of these stands.
func (s Spec) postsOn(length float64) int {
	if s.PostSpacing == 0 {
		return 0
	}
	return 1 + max(1, int(math.Ceil((length-exactFit)/float64(s.PostSpacing))))
}

// PlantedRows counts the rows that are not skipped.
func (l Layout) PlantedRows() int {
	n := 0
	for _, r := range l.Rows {
		if !r.Skipped {
			n++
		}
	}
	return n
}

// LongestSide is the bearing of the outline's longest straight side, in
// [0, 180): what rows follow when nobody says otherwise. 0 for no outline.
func LongestSide(outline orb.Geometry) geo.Degrees {
	var longest geo.Metres
	var bearing geo.Degrees
	each := func(p orb.Polygon) {
		if len(p) == 0 {
			return
		}
		for i := 1; i < len(p[0]); i++ {
			if d := measure.Distance(p[0][i-1], p[0][i]); d > longest {
				longest, bearing = d, measure.Bearing(p[0][i-1], p[0][i])
			}
		}
	}
	switch g := outline.(type) {
	case orb.Polygon:
		each(g)
	case orb.MultiPolygon:
		for _, p := range g {
			each(p)
		}
	}
	return geo.Degrees(math.Mod(float64(bearing.Normal()), 180))
}
