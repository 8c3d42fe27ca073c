// Package setback is the ground that labels and law keep free of spray round
// water, wells, homes and the like, and how near the ground comes to them.
package setback

import (
	"context"
	"errors"
	"math"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/measure"
	"caneward/geo/overlay"
	"caneward/geo/plane"
)

// Side is in which directions a setback keeps its distance.
type Side string

// The sides.
const (
	All      Side = "all"      // every direction
	Downwind Side = "downwind" // only ground from which the wind carries spray to the feature
)

// Sides lists them.
var Sides = []Side{All, Downwind}

// DefaultHalfAngle is how far from straight downwind a feature may lie and
// still count: a wind that veers a little must not free the ground.
const DefaultHalfAngle geo.Degrees = 45

// Feature is one thing to keep away from. A closed line is a line: only a
// Polygon has an inside, which counts as the feature; an island in it is
// ground like any other.
type Feature struct {
	ID    string
	Kind  string
	Shape orb.Geometry
	Edge  Edge       // what the drawn line follows
	Bank  geo.Metres // from the drawn line out to the top of the bank; 0 when not known
}

// Edge is where a setback ends on the feature's side.
type Edge string

// The edges. The drawn line stands for the water's edge unless its record says
// otherwise.
const (
	FeatureEdge Edge = ""            // the line as it is drawn
	WaterEdge   Edge = "water-edge"  // of water
	TopOfBank   Edge = "top-of-bank" // of water: farther from it than the water's edge
)

// Edges lists those a rule may name.
var Edges = []Edge{WaterEdge, TopOfBank}

// Rule is one distance to keep. From is a kind of feature or the id of one.
type Rule struct {
	From      string
	Distance  geo.Metres // above 0
	Side      Side
	HalfAngle geo.Degrees // of a downwind rule; 180 is every direction
	To        Edge
	// Bank is how far the top of the bank lies outside the drawn line, of a rule to
	// it; 0 takes the feature's own, and where that is 0 too the line itself.
	Bank geo.Metres
	// Strip asks for a maintained strip of plants that wide between the field and the
	// feature, which is ground that must exist; the distance is kept all the same.
	Strip bool
	// Overshoot is how far round ends of the zone may reach too far; 0 is
	// buffer.ArcOvershoot.
	Overshoot geo.Metres
}

// Reach is how far from the feature's drawn line the rule withholds ground.
func (r Rule) Reach(f Feature) geo.Metres {
	switch {
	case r.To != TopOfBank || f.Edge == TopOfBank:
		return r.Distance
	case r.Bank > 0:
		return r.Distance + r.Bank
	}
	return r.Distance + f.Bank
}

// BankUnknown reports whether the rule is measured from a top of bank of which
// nobody said where it lies.
func (r Rule) BankUnknown(f Feature) bool {
	return r.To == TopOfBank && f.Edge != TopOfBank && r.Bank == 0 && f.Bank == 0
}

// Names reports whether the rule is about the feature.
func (r Rule) Names(f Feature) bool { return r.From == f.Kind || r.From == f.ID }

var (
	sayWind = words.New("setback-wind-needed",
		"A downwind setback needs the direction the wind comes from.",
		"Un retiro a favor del viento necesita la dirección de donde viene el viento.")
	sayFar = words.New("setback-feature-far",
		"“{feature}” reaches more than 500 km from the block and comes near it as well; split it.",
		"«{feature}» llega a más de 500 km del bloque y también se le acerca; divídalo.")
	sayTooJagged = words.New("setback-too-jagged",
		"The features round this block have too many corners for their setbacks to be worked out in bearable time. Simplify them.",
		"El entorno de este bloque tiene demasiados vértices para calcular los retiros en un tiempo razonable. Simplifíquelo.")
	sayBadShape = words.New("setback-bad-shape",
		"“{feature}” has a shape whose setback cannot be worked out; check its corners.",
		"«{feature}» tiene una forma cuyo retiro no se puede calcular; revise sus vértices.")
)

// Site is features placed in one frame, each once, when it is first asked about. It
// is not for several goroutines at once.
type Site struct {
	frame plane.Frame
	list  []placed
}

type placed struct {
	Feature
	known bool
	shape plane.Shape
	near  bool
	err   error
}

// At makes the site.
func At(frame plane.Frame, features []Feature) *Site {
	s := &Site{frame: frame, list: make([]placed, len(features))}
	for i, f := range features {
		s.list[i].Feature = f
	}
	return s
}

// shape is a feature in the frame. near is false when all of it lies beyond the
// frame's reach.
func (s *Site) shape(i int) (shape plane.Shape, near bool, err error) {
	f := &s.list[i]
	if !f.known {
		f.known = true
		f.shape, f.near, f.err = place(s.frame, f.Feature)
	}
	return f.shape, f.near, f.err
}

// Zone is the ground kept free by the rules, right on the given ground and
// perhaps missing elsewhere: the union, in the frame, of what each rule
// withholds round each feature it names. windFrom is where the wind comes from.
//
// All round, a point is withheld when some point of the feature lies within the
// distance. Downwind, when some point of the feature does so in a direction
// within HalfAngle of downwind (windFrom + 180). Zones are never short and
// reach at most the rule's Overshoot too far. fault.Invalid for a downwind rule
// without wind and a feature that cannot be placed; fault.TooCostly for features
// with too many corners; the context's error.
func (s *Site) Zone(ctx context.Context, ground plane.Region, rules []Rule, windFrom *geo.Degrees) (plane.Region, error) {
	var zones []plane.Region
	target := buffer.TargetOf(plane.Shape{Ground: ground})
	for _, rule := range rules {
		if rule.Side == Downwind && windFrom == nil {
			return nil, fault.New(fault.Invalid, sayWind.Plain(), fault.Detail{Field: "wind_from_deg", Text: sayWind.Plain()})
		}
		for i, f := range s.list {
			if !rule.Names(f.Feature) || len(ground) == 0 {
				continue
			}
			shape, near, err := s.shape(i)
			if err != nil {
				return nil, err
			}
			if !near {
				continue
			}
			zone, err := round(ctx, shape, rule, rule.Reach(f.Feature), windFrom, buffer.Options{Within: target, Overshoot: rule.Overshoot})
			if err != nil {
				return nil, refuse(f.Feature, err)
			}
			zones = append(zones, zone)
		}
	}
	zone, err := overlay.Union(ctx, zones...)
	return zone, refuse(Feature{}, err)
}

func round(ctx context.Context, shape plane.Shape, rule Rule, reach geo.Metres, windFrom *geo.Degrees, o buffer.Options) (plane.Region, error) {
	if rule.Side == Downwind && rule.HalfAngle < 180 {
		return buffer.Downwind(ctx, shape, reach, *windFrom, rule.HalfAngle, o)
	}
	return buffer.Around(ctx, shape, reach, o)
}

func place(frame plane.Frame, f Feature) (shape plane.Shape, near bool, err error) {
	shape, err = frame.Shape(f.Shape)
	var far *plane.FarError
	switch {
	case err == nil:
		return shape, true, nil
	case !errors.As(err, &far):
		return plane.Shape{}, false, refuse(f, err)
	case comesNear(frame, f.Shape):
		t := sayFar.With(words.Args{"feature": f.ID})
		return plane.Shape{}, false, fault.Wrap(fault.Invalid, err, t, fault.Detail{Field: "setbacks", Text: t})
	}
	return plane.Shape{}, false, nil
}

// comesNear reports whether a corner of a shape that does not fit the frame
// lies within its reach all the same.
func comesNear(frame plane.Frame, g orb.Geometry) bool {
	near := false
	eachCorner(g, func(p orb.Point) {
		near = near || measure.Distance(frame.Origin(), p) < plane.MaxReach
	})
	return near
}

func eachCorner(g orb.Geometry, f func(orb.Point)) {
	switch g := g.(type) {
	case orb.Point:
		f(g)
	case orb.MultiPoint:
		for _, p := range g {
			f(p)
		}
	case orb.LineString:
		for _, p := range g {
			f(p)
		}
	case orb.MultiLineString:
		for _, l := range g {
			eachCorner(l, f)
		}
	case orb.Ring:
		for _, p := range g {
			f(p)
		}
	case orb.Polygon:
		for _, r := range g {
			eachCorner(r, f)
		}
	case orb.MultiPolygon:
		for _, p := range g {
			eachCorner(p, f)
		}
	case orb.Collection:
		for _, c := range g {
			eachCorner(c, f)
		}
	}
}

// reach leaves what can matter within a box: points in it, stretches of line
// whose box meets it, polygons likewise. A river's far bends cost nothing.
func reach(s plane.Shape, box plane.Box) plane.Shape {
	var out plane.Shape
	for _, p := range s.Points {
		if (plane.Box{Min: p, Max: p}).Meets(box) {
			out.Points = append(out.Points, p)
		}
	}
	for _, l := range s.Lines {
		out.Lines = append(out.Lines, stretches(l, box)...)
	}
	for _, p := range s.Ground {
		if len(p) > 0 && p[0].Box().Meets(box) {
			out.Ground = append(out.Ground, p)
		}
	}
	return out
}

func stretches(l plane.Line, box plane.Box) []plane.Line {
	var out []plane.Line
	var run plane.Line
	for i := 1; i < len(l); i++ {
		if !(plane.Line{l[i-1], l[i]}).Box().Meets(box) {
			run = nil
			continue
		}
		if run == nil {
			out = append(out, plane.Line{l[i-1]})
		}
		run = append(out[len(out)-1], l[i])
		out[len(out)-1] = run
	}
	return out
}

// Withhold parts the ground into what lies in the zone and what is left.
func Withhold(ctx context.Context, ground, zone plane.Region) (withheld, treated plane.Region, err error) {
	withheld, treated, err = overlay.Cut(ctx, ground, zone)
	return overlay.WithoutSlivers(withheld), overlay.WithoutSlivers(treated), refuse(Feature{}, err)
}

// Distance is how near the ground comes to a feature.
type Distance struct {
	To   string // the feature's id
	Kind string
	M    geo.Metres // 0 when it touches or lies on the ground
	// Near is the place on the ground, At the place on the feature.
	Near, At geo.Position
}

// Distances measures from the ground, whose holes are not ground, to each
// feature within the given reach of it, in the order of the features. The two nearest
// points are found in the frame, the way between them is measured on the
// ellipsoid: for a frame centred on the ground within 1e-3 m at 1 km.
func (s *Site) Distances(ctx context.Context, ground plane.Region, within geo.Metres) ([]Distance, error) {
	box := ground.Box()
	if box.Empty() {
		return nil, nil
	}
	target := buffer.TargetOf(plane.Shape{Ground: ground})
	box = box.Grow(within)
	var out []Distance
	for i, f := range s.list {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		shape, near, err := s.shape(i)
		if err != nil {
			return nil, err
		}
		if shape = reach(shape, box); !near || shape.Empty() {
			continue
		}
		apart, onGround, onFeature := target.Nearest(shape)
		a, b := s.frame.Position(onGround), s.frame.Position(onFeature)
		d := Distance{To: f.ID, Kind: f.Kind, Near: a, At: b}
		if apart > 0 {
			d.M = measure.Distance(a, b)
		}
		if d.M <= within {
			out = append(out, d)
		}
	}
	return out, nil
}

// refuse says in words what the geometry packages could not do.
func refuse(f Feature, err error) error {
	var known *fault.Error
	var many *overlay.TooManyError
	switch {
	case err == nil || errors.As(err, &known) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.As(err, &many):
		return fault.Wrap(fault.TooCostly, err, sayTooJagged.Plain())
	}
	t := sayBadShape.With(words.Args{"feature": f.ID})
	return fault.Wrap(fault.Invalid, err, t, fault.Detail{Field: "setbacks", Text: t})
}

// FeetDown rounds a clearance down to whole feet, as it is shown to people.
func (d Distance) FeetDown() int { return int(math.Floor(d.M.Feet())) }
