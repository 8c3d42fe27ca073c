package plane

import (
	"fmt"
	"math"
	"slices"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// maxNesting bounds how deep collections may hold collections.
const maxNesting = 8

// Shape is any geometry sorted by what it is on the ground: points, lines, and
// ground with an inside. A closed line stays a line. Where the source is a
// collection of polygons that overlap, so do the polygons of Ground.
type Shape struct {
	Points []XY
	Lines  []Line
	Ground Region
}

// Empty reports whether the shape holds nothing.
func (s Shape) Empty() bool {
	return len(s.Points) == 0 && len(s.Lines) == 0 && len(s.Ground) == 0
}

// Vertices counts the points of all parts.
func (s Shape) Vertices() int {
	n := len(s.Points) + s.Ground.Vertices()
	for _, l := range s.Lines {
		n += len(l)
	}
	return n
}

// Box is the smallest box round the shape; ok is false when it is empty.
func (s Shape) Box() (b Box, ok bool) {
	b = NoBox()
	for _, p := range s.Points {
		b = b.With(p)
	}
	for _, l := range s.Lines {
		b = b.Union(l.Box())
	}
	b = b.Union(s.Ground.Box())
	return b, !b.Empty()
}

// CornersError says that a ring or line has too few different corners to be
// one. Part and Ring are numbered from 1 within the geometry; Ring is 0 for a
// line.
type CornersError struct {
	Part, Ring, Corners, Needed int
}

func (e *CornersError) Error() string {
	if e.Ring == 0 {
		return fmt.Sprintf("plane: line %d has %d different points, needs %d", e.Part, e.Corners, e.Needed)
	}
	return fmt.Sprintf("plane: ring %d of part %d has %d different corners, needs %d", e.Ring, e.Part, e.Corners, e.Needed)
}

// KindError says that a geometry is of a kind that cannot serve here.
type KindError struct{ Kind, Wanted string }

func (e *KindError) Error() string {
	return fmt.Sprintf("plane: %s where %s is wanted", e.Kind, e.Wanted)
}

// Region places a Polygon, MultiPolygon, Ring or Bound; nil gives no ground. Repeated
// corners are dropped, rings closed, shells turned counter-clockwise and holes
// clockwise. Rings are not checked for crossings: that is valid.Check's work.
// Errors: *KindError, *CornersError, *PlaceError, *FarError.
func (f Frame) Region(g orb.Geometry) (Region, error) {
	switch g := g.(type) {
	case nil:
		return nil, nil
	case orb.Ring:
		return f.region(orb.MultiPolygon{{g}})
	case orb.Bound:
		return f.region(orb.MultiPolygon{g.ToPolygon()})
	case orb.Polygon:
		return f.region(orb.MultiPolygon{g})
	case orb.MultiPolygon:
		return f.region(g)
	default:
		return nil, &KindError{Kind: g.GeoJSONType(), Wanted: "a polygon"}
	}
}

func (f Frame) region(mp orb.MultiPolygon) (Region, error) {
	var out Region
	for i, poly := range mp {
		if len(poly) == 0 {
			continue
		}
		placed := make(Polygon, 0, len(poly))
		for j, ring := range poly {
			pts, err := f.points(ring)
			if err != nil {
				return nil, err
			}
			r := closedRing(pts)
			if len(r) < 4 {
				return nil, &CornersError{Part: i + 1, Ring: j + 1, Corners: max(0, len(r)-1), Needed: 3}
			}
			if (r.SignedArea() < 0) == (j == 0) {
				slices.Reverse(r)
			}
			placed = append(placed, r)
		}
		out = append(out, placed)
	}
	return out, nil
}

// Lines places a LineString or MultiLineString; nil gives none. Repeated
// points are dropped. Errors as Region's.
func (f Frame) Lines(g orb.Geometry) ([]Line, error) {
	var lines []orb.LineString
	switch g := g.(type) {
	case nil:
	case orb.LineString:
		lines = []orb.LineString{g}
	case orb.MultiLineString:
		lines = g
	default:
		return nil, &KindError{Kind: g.GeoJSONType(), Wanted: "a line"}
	}
	out := make([]Line, 0, len(lines))
	for i, l := range lines {
		pts, err := f.points(l)
		if err != nil {
			return nil, err
		}
		pts = slices.Compact(pts)
		if len(pts) < 2 {
			return nil, &CornersError{Part: i + 1, Corners: len(pts), Needed: 2}
		}
		out = append(out, Line(pts))
	}
	return out, nil
}

// Shape places any geometry, collections included; nil gives the empty shape.
// Errors as Region's.
func (f Frame) Shape(g orb.Geometry) (Shape, error) {
	var s Shape
	return s, f.addTo(&s, g, 0)
}

func (f Frame) addTo(s *Shape, g orb.Geometry, depth int) error {
	switch g := g.(type) {
	case nil:
		return nil
	case orb.Point:
		pts, err := f.points([]orb.Point{g})
		s.Points = append(s.Points, pts...)
		return err
	case orb.MultiPoint:
		pts, err := f.points(g)
		s.Points = append(s.Points, pts...)
		return err
	case orb.LineString, orb.MultiLineString:
		lines, err := f.Lines(g)
		s.Lines = append(s.Lines, lines...)
		return err
	case orb.Collection:
		if depth == maxNesting {
			return &KindError{Kind: fmt.Sprintf("collections nested more than %d deep", maxNesting), Wanted: "a geometry"}
		}
		for _, part := range g {
			if err := f.addTo(s, part, depth+1); err != nil {
				return err
			}
		}
		return nil
	default:
		r, err := f.Region(g)
		s.Ground = append(s.Ground, r...)
		return err
	}
}

func (f Frame) points(ps []orb.Point) ([]XY, error) {
	out := make([]XY, 0, len(ps))
	for _, p := range ps {
		if err := f.reaches(p); err != nil {
			return nil, err
		}
		out = append(out, f.XY(p))
	}
	return out, nil
}

// closedRing drops repeated neighbours and closes; fewer than three different
// corners give a ring shorter than four.
func closedRing(pts []XY) Ring {
	pts = slices.Compact(pts)
	for len(pts) > 1 && pts[0] == pts[len(pts)-1] {
		pts = pts[:len(pts)-1]
	}
	if len(pts) == 0 {
		return nil
	}
	return append(Ring(pts), pts[0])
}

// MultiPolygon is the region in degrees: shells counter-clockwise, holes
// clockwise (RFC 7946 section 3.1.6), rings closed. Longitudes run on past ±180
// rather than jump, so ground across the antimeridian stays in one piece; cut
// it before publishing. No ground gives an empty MultiPolygon, not nil.
func (f Frame) MultiPolygon(r Region) orb.MultiPolygon {
	out := make(orb.MultiPolygon, 0, len(r))
	for _, poly := range r {
		p := make(orb.Polygon, 0, len(poly))
		for i, ring := range poly {
			placed := make(orb.Ring, len(ring))
			for k, xy := range ring {
				lon, lat := f.unwrapped(xy)
				placed[k] = orb.Point{lon, lat}
			}
			if (ring.SignedArea() < 0) == (i == 0) {
				slices.Reverse(placed)
			}
			p = append(p, placed)
		}
		out = append(out, p)
	}
	return out
}

// LineString is the line in degrees, longitudes as in MultiPolygon.
func (f Frame) LineString(l Line) orb.LineString {
	out := make(orb.LineString, len(l))
	for i, xy := range l {
		lon, lat := f.unwrapped(xy)
		out[i] = orb.Point{lon, lat}
	}
	return out
}

func eachPosition(g orb.Geometry, do func(geo.Position)) {
	switch g := g.(type) {
	case nil:
	case orb.Point:
		do(g)
	case orb.MultiPoint:
		for _, p := range g {
			do(p)
		}
	case orb.LineString:
		eachPosition(orb.MultiPoint(g), do)
	case orb.Ring:
		eachPosition(orb.MultiPoint(g), do)
	case orb.MultiLineString:
		for _, l := range g {
			eachPosition(l, do)
		}
	case orb.Polygon:
		for _, r := range g {
			eachPosition(r, do)
		}
	case orb.MultiPolygon:
		for _, p := range g {
			eachPosition(p, do)
		}
	case orb.Bound:
		do(g.Min)
		do(g.Max)
	case orb.Collection:
		for _, part := range g {
			eachPosition(part, do)
		}
	}
}

// Turn rotates p about the origin so that the given bearing becomes +Y: a
// point s metres away along the bearing lands on (0, s), and what lay to the
// right of the bearing has a positive X. Turn(p, -bearing) undoes it. Quarter
// turns are exact.
func Turn(p XY, bearing geo.Degrees) XY {
	sin, cos := sincos(bearing)
	return XY{p.X*cos - p.Y*sin, p.X*sin + p.Y*cos}
}

// Heading is the point one metre from the origin along the bearing.
func Heading(bearing geo.Degrees) XY {
	sin, cos := sincos(bearing)
	return XY{sin, cos}
}

func sincos(d geo.Degrees) (sin, cos float64) {
	switch n := d.Normal(); n {
	case 0, 360:
		return 0, 1
	case 90:
		return 1, 0
	case 180:
		return 0, -1
	case 270:
		return -1, 0
	default:
		return math.Sincos(float64(n) * math.Pi / 180)
	}
}
