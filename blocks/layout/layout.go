// Package layout fits rows and plants into an outline: straight rows on any
// bearing, cut by holes and bays, with headlands at their ends.
//
// The rules. In metres about the middle of the outline's box (scale error under
// 1e-8 for a block up to 1 km): ground stays when at least a headland's length
// of ground lies before and behind it along the bearing. What stays is cut into
// strips one row spacing wide, the left-over split evenly to both sides; a row
// is a strip's middle line where it lies on that ground, in as many parts as it
// is cut into; a strip without such a part takes no number. Each part holds
// floor((length + 1 mm) / plant spacing) + 1 plants, the first at its first
// end. Plant numbers run on over a row's parts.
package layout

import (
	"context"
	"math"

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
	MaxPlants   = 2_000_000
	MaxRows     = 20_000
	maxPieces   = 2_000_000
	MaxVertices = 100_000
)

// Bounds of what can be asked for; closer than 5 cm no bramble stands, and 100
// m between rows is no planting.
const (
	leastSpacing    geo.Metres = 0.05
	greatestSpacing geo.Metres = 100
	greatestHead    geo.Metres = 1000
)

var (
	cannotPlan     = words.New("layout-cannot-plan", "These rows cannot be laid out.", "Estas hileras no se pueden trazar.")
	spacingBounds  = words.New("layout-spacing-bounds", "The spacing must lie between {least} m and {greatest} m; it is {value} m.", "La distancia debe estar entre {least} m y {greatest} m; es {value} m.")
	headlandBounds = words.New("layout-headland-bounds", "The headland must lie between 0 and {greatest} m; it is {value} m.", "La cabecera debe estar entre 0 y {greatest} m; es {value} m.")
	bearingBounds  = words.New("layout-bearing-bounds", "The bearing must be a number of degrees from 0 to 360, clockwise from true north; it is {value}.", "El rumbo debe ser un número de grados de 0 a 360, en sentido horario desde el norte verdadero; es {value}.")
	noGround       = words.New("layout-no-ground", "Rows need an outline: a polygon, not {kind}.", "Las hileras necesitan un contorno: un polígono, no {kind}.")
	outlineFar     = words.New("layout-outline-far", "The outline cannot be placed: {problem}.", "El contorno no se puede situar: {problem}.")
	tooMany        = words.New("layout-too-many", "This would be about {count} {what}; at most {limit} are laid out at once. Check the spacings, or split the block.", "Esto serían unas {count} {what}; se trazan como máximo {limit} a la vez. Revise las distancias o divida el bloque.")
	plantsWord     = words.New("layout-plants", "plants", "plantas")
	rowsWord       = words.New("layout-rows", "rows", "hileras")
	tooJagged      = words.New("layout-too-jagged", "The outline has too many corners for rows to be laid out in bearable time ({count}). Simplify it.", "El contorno tiene demasiados vértices para trazar hileras en un tiempo razonable ({count}). Simplifíquelo.")
)

// Spec is what a grower asks for.
type Spec struct {
	RowSpacing   geo.Metres
	PlantSpacing geo.Metres
	// Bearing the rows run along, clockwise from true north in the middle of the
	// outline.
	Bearing  geo.Degrees
	Headland geo.Metres // free ground at both ends of every part of a row
	// FromRight numbers the rows from the right, looking along the bearing, not
	// from the left.
	FromRight bool
	// FromFarEnd numbers plants against the bearing.
	FromFarEnd bool
}

// Row is a row by number, its parts in the direction its plants are counted.
type Row struct {
	Number int
	Length geo.Metres
	Plants int
	Parts  []Part
}

// Part is an unbroken stretch of a row, from where its plants are counted.
type Part struct {
	From, To geo.Position
	Length   geo.Metres
	Plants   int
}

// Layout is what fits.
type Layout struct {
	Spec      Spec
	Rows      []Row
	RowLength geo.Metres
	Plants    int
	// Planted is the ground left after the headlands in strips that are rows;
	// not row length times row spacing where the ground widens beside a row.
	Planted geo.SquareMetres
	Outline geo.SquareMetres // on the ellipsoid, holes taken off
}

// Check refuses a spec whose figures cannot be meant.
func (s Spec) Check() error {
	var details []fault.Detail
	for _, f := range []struct {
		field string
		value geo.Metres
	}{{"row_spacing_m", s.RowSpacing}, {"plant_spacing_m", s.PlantSpacing}} {
		if !(f.value >= leastSpacing && f.value <= greatestSpacing) {
			details = append(details, fault.Detail{Field: f.field, Text: spacingBounds.With(words.Args{
				"least": float64(leastSpacing), "greatest": float64(greatestSpacing), "value": float64(f.value)})})
		}
	}
	if !(s.Headland >= 0 && s.Headland <= greatestHead) {
		details = append(details, fault.Detail{Field: "headland_m", Text: headlandBounds.With(words.Args{
			"greatest": float64(greatestHead), "value": float64(s.Headland)})})
	}
	if !(s.Bearing >= -360 && s.Bearing <= 360) {
		details = append(details, fault.Detail{Field: "bearing_deg", Text: bearingBounds.With(words.Args{"value": float64(s.Bearing)})})
	}
	if len(details) > 0 {
		return fault.New(fault.Invalid, cannotPlan.Plain(), details...)
	}
	return nil
}

func tooCostly(corners int) error {
	return fault.New(fault.TooCostly, tooJagged.With(words.Args{"count": corners}))
}

// Plan lays rows and plants out. The outline is a valid Polygon or
// MultiPolygon; an empty one, or one too narrow, gives no rows. Refusals:
// fault.Invalid for a spec out of bounds or an outline that is none,
// fault.TooCostly over the bounds above; else the context's error.
func Plan(ctx context.Context, outline orb.Geometry, spec Spec) (Layout, error) {
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
	pieces, err := trapezoids(ctx, upright(ground, spec.Bearing))
	if err != nil {
		return Layout{}, err
	}
	var left []trapezoid
	for _, t := range pieces {
		if u, any := t.withoutHeadland(float64(spec.Headland)); any {
			left = append(left, u)
		}
	}
	left = withoutCrumbs(left)
	out := Layout{Spec: spec, Outline: measure.Area(outline)}
	first, strips := stripes(left, float64(spec.RowSpacing))
	if strips > MaxRows {
		return Layout{}, fault.New(fault.TooCostly, tooMany.With(words.Args{"count": strips, "limit": MaxRows, "what": rowsWord.Plain()}))
	}
	if err := out.fill(ctx, frame, left, first, strips); err != nil {
		return Layout{}, err
	}
	return out, nil
}

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

// stripes is the left edge of the first strip and how many there are.
func stripes(left []trapezoid, spacing float64) (first float64, strips int) {
	if len(left) == 0 {
		return 0, 0
	}
	from, to := math.Inf(1), math.Inf(-1)
	for _, t := range left {
		from, to = math.Min(from, t.x0), math.Max(to, t.x1)
	}
	strips = int(math.Floor((to - from + exactFit) / spacing))
	return from + (to-from-float64(strips)*spacing)/2, strips
}

func (l *Layout) fill(ctx context.Context, frame plane.Frame, left []trapezoid, first float64, strips int) error {
	spacing := float64(l.Spec.RowSpacing)
	// Which trapezoids meet which strip, so that each is looked at once a strip.
	meets := make([][]trapezoid, strips)
	for _, t := range left {
		from := max(0, int(math.Floor((t.x0-first)/spacing)))
		to := min(strips-1, int(math.Floor((t.x1-first)/spacing)))
		for i := from; i <= to; i++ {
			meets[i] = append(meets[i], t)
		}
	}
	for k := range strips {
		if err := ctx.Err(); err != nil {
			return err
		}
		i := k
		if l.Spec.FromRight {
			i = strips - 1 - k
		}
		from := first + float64(i)*spacing
		row := Row{Number: len(l.Rows) + 1}
		for _, span := range spans(meets[i], from+spacing/2) {
			row.add(l.part(frame, from+spacing/2, span))
		}
		if len(row.Parts) == 0 {
			continue
		}
		if l.Spec.FromFarEnd {
			for a, b := 0, len(row.Parts)-1; a < b; a, b = a+1, b-1 {
				row.Parts[a], row.Parts[b] = row.Parts[b], row.Parts[a]
			}
		}
		for _, t := range meets[i] {
			l.Planted += geo.SquareMetres(t.between(from, from+spacing))
		}
		l.RowLength += row.Length
		l.Plants += row.Plants
		if l.Plants > MaxPlants {
			return fault.New(fault.TooCostly, tooMany.With(words.Args{"count": l.Plants, "limit": MaxPlants, "what": plantsWord.Plain()}))
		}
		l.Rows = append(l.Rows, row)
	}
	return nil
}

func (r *Row) add(p Part) {
	r.Parts = append(r.Parts, p)
	r.Length += p.Length
	r.Plants += p.Plants
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
	p := Part{
		From: ground(span[0]), To: ground(span[1]), Length: geo.Metres(length),
		Plants: int(math.Floor((length+exactFit)/float64(l.Spec.PlantSpacing))) + 1,
	}
	if l.Spec.FromFarEnd {
		p.From, p.To = p.To, p.From
	}
	return p
}

// Plant is where a plant of the row stands; false when the row has no such
// number. Plants stand on the straight line between the part's ends: within
// 1 mm for parts up to 1 km.
func (r Row) Plant(number int, spacing geo.Metres) (geo.Position, bool) {
	if number < 1 {
		return geo.Position{}, false
	}
	for _, p := range r.Parts {
		if number > p.Plants {
			number -= p.Plants
			continue
		}
		f := 0.0
		if p.Length > 0 {
			f = math.Min(1, float64(number-1)*float64(spacing)/float64(p.Length))
		}
		east := math.Remainder(p.To[0]-p.From[0], 360) // the short way, across 180 degrees too
		return geo.Position{math.Remainder(p.From[0]+f*east, 360), p.From[1] + f*(p.To[1]-p.From[1])}, true
	}
	return geo.Position{}, false
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

// JSON is the layout in the form of the command and the API: each row's parts
// as [[lon, lat], [lon, lat]], lengths in metres.
type JSON struct {
	Rows      int       `json:"rows"`
	RowLength float64   `json:"row_length_m"`
	Plants    int       `json:"plants"`
	Planted   float64   `json:"planted_m2"`
	Outline   float64   `json:"outline_m2"`
	Bearing   float64   `json:"bearing_deg"`
	Each      []RowJSON `json:"each"`
}

// RowJSON is one row of JSON.
type RowJSON struct {
	Number int               `json:"number"`
	Length float64           `json:"length_m"`
	Plants int               `json:"plants"`
	Parts  [][2]geo.Position `json:"parts"`
}

// JSON gives the machine form.
func (l Layout) JSON() JSON {
	out := JSON{Rows: len(l.Rows), RowLength: float64(l.RowLength), Plants: l.Plants, Planted: float64(l.Planted),
		Outline: float64(l.Outline), Bearing: float64(l.Spec.Bearing), Each: make([]RowJSON, 0, len(l.Rows))}
	for _, r := range l.Rows {
		row := RowJSON{Number: r.Number, Length: float64(r.Length), Plants: r.Plants, Parts: make([][2]geo.Position, 0, len(r.Parts))}
		for _, p := range r.Parts {
			row.Parts = append(row.Parts, [2]geo.Position{p.From, p.To})
		}
		out.Each = append(out.Each, row)
	}
	return out
}
