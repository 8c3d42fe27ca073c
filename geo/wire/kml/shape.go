package kml

import (
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// shape is a geometry with a height and a measure for every vertex, NaN where
// there is none.
type shape struct {
	flat     orb.Geometry
	heights  []float64
	measures []float64 // nil for none at all
	absolute bool      // heights that are all 0 are meant
	recorded bool
}

// geometry leaves out heights and measures where no vertex has any.
func (s shape) geometry() geo.Geometry {
	g := geo.Geometry{Flat: s.flat}
	for _, z := range s.heights {
		if !math.IsNaN(z) && (z != 0 || s.absolute) {
			g.Heights = s.heights
			break
		}
	}
	for _, m := range s.measures {
		if !math.IsNaN(m) {
			g.Measures = s.measures
			break
		}
	}
	return g
}

// together makes one shape of several: a multi-shape where all are of one kind,
// else a collection. kind is what we wrote ourselves, "" for a guess.
func together(all []shape, kind string) shape {
	var s shape
	var points orb.MultiPoint
	var lines orb.MultiLineString
	var areas orb.MultiPolygon
	var every orb.Collection
	timed := slices.ContainsFunc(all, func(one shape) bool { return one.measures != nil })
	for _, one := range all {
		every = append(every, one.flat)
		s.heights = append(s.heights, one.heights...)
		s.absolute, s.recorded = s.absolute || one.absolute, s.recorded || one.recorded
		if timed && one.measures == nil {
			one.measures = slices.Repeat([]float64{hole}, len(one.heights))
		}
		s.measures = append(s.measures, one.measures...)
		if kind == "GeometryCollection" {
			continue
		}
		switch flat := one.flat.(type) {
		case orb.Point:
			points = append(points, flat)
		case orb.MultiPoint:
			points = append(points, flat...)
		case orb.LineString:
			lines = append(lines, flat)
		case orb.MultiLineString:
			lines = append(lines, flat...)
		case orb.Polygon:
			areas = append(areas, flat)
		case orb.MultiPolygon:
			areas = append(areas, flat...)
		}
	}
	n := wire.Vertices(every)
	switch n {
	case wire.Vertices(points):
		s.flat = points
	case wire.Vertices(lines):
		s.flat = lines
	case wire.Vertices(areas):
		s.flat = areas
	default:
		s.flat = every
	}
	return s
}

// shape reads a geometry; nil for one that is left out, false for an element
// that is none.
func (p *placemark) shape(e markup.Element) (*shape, bool, error) {
	var s *shape
	var err error
	switch e.Name {
	case "Point", "LineString", "LinearRing":
		s, err = p.line(e)
	case "Polygon":
		s, err = p.polygon(e)
	case "MultiGeometry":
		s, err = p.multi(e)
	case "Track":
		s, err = p.track(e)
	case "MultiTrack":
		s, err = p.multi(e)
	case "Model", "Tour":
		d := e.Fail(RuleUnknownShape)
		p.departures.Add(d)
		err = p.x.Skip()
	default:
		return nil, false, nil
	}
	return s, true, err
}

func isAbsolute(mode string) bool { return strings.TrimSpace(mode) == "absolute" }

// run reads a coordinates element that is open.
func (p *placemark) run(e markup.Element) (run, error) {
	t, err := p.x.Text()
	if err != nil {
		return run{}, err
	}
	r, rule, bad := coordinates(t, p.limits.Vertices-p.vertices)
	if bad != nil {
		if bad.Rule == wire.RuleVertices {
			bad.Limit = int64(p.limits.Vertices)
			bad.Line, bad.Byte = e.Line, e.Byte
		}
		return run{}, bad
	}
	if rule != "" {
		d := e.Fail(rule)
		d.Got = markup.Shorten(strings.TrimSpace(t.S))
		p.departures.Add(d)
	}
	p.vertices += len(r.at)
	return r, nil
}

// empty says that a part without positions is left out.
func (p *placemark) empty(e markup.Element) { p.departures.Add(e.Fail(wire.RuleEmpty)) }

// line reads a Point, LineString or LinearRing, which is a closed line when it
// stands alone.
func (p *placemark) line(e markup.Element) (*shape, error) {
	var s shape
	var r run
	for {
		c, ok, err := p.x.Child()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		switch {
		case c.Is("coordinates"):
			r, err = p.run(c)
		case c.Is("altitudeMode"):
			s.absolute, err = p.absolute()
		default:
			err = p.x.Skip()
		}
		if err != nil {
			return nil, err
		}
	}
	s.heights = r.heights
	switch {
	case len(r.at) == 0:
		p.empty(e)
		return nil, nil
	case e.Name == "Point":
		if len(r.at) > 1 {
			more := e.Fail(RuleMorePoints)
			more.Count = len(r.at) - 1
			p.departures.Add(more)
		}
		s.flat, s.heights = r.at[0], r.heights[:1]
	case len(r.at) == 1:
		p.departures.Add(e.Fail(markup.RuleOnePoint))
		return nil, nil
	default:
		s.flat = orb.LineString(r.at)
	}
	return &s, nil
}

func (p *placemark) absolute() (bool, error) {
	t, err := p.x.Text()
	return isAbsolute(t.S), err
}

// polygon reads the boundaries; several rings in one innerBoundaryIs are as
// many holes, which the schema forbids and programs write.
func (p *placemark) polygon(e markup.Element) (*shape, error) {
	var s shape
	var outer *run
	var inner []run
	for {
		c, ok, err := p.x.Child()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		switch {
		case c.Is("outerBoundaryIs"):
			var rings []run
			if rings, err = p.rings(); err != nil {
				return nil, err
			}
			if len(rings) > 1 || len(rings) == 1 && outer != nil {
				return nil, c.Fail(RuleOuter)
			}
			if len(rings) == 1 {
				outer = &rings[0]
			}
		case c.Is("innerBoundaryIs"):
			var rings []run
			rings, err = p.rings()
			inner = append(inner, rings...)
		case c.Is("altitudeMode"):
			s.absolute, err = p.absolute()
		default:
			err = p.x.Skip()
		}
		if err != nil {
			return nil, err
		}
	}
	if outer == nil {
		p.empty(e)
		return nil, nil
	}
	polygon := orb.Polygon{orb.Ring(outer.at)}
	s.heights = outer.heights
	for _, r := range inner {
		polygon = append(polygon, orb.Ring(r.at))
		s.heights = append(s.heights, r.heights...)
	}
	s.flat = polygon
	return &s, nil
}

func (p *placemark) rings() ([]run, error) {
	var out []run
	for {
		e, ok, err := p.x.Child()
		if err != nil || !ok {
			return out, err
		}
		if !e.Is("LinearRing") {
			if err := p.x.Skip(); err != nil {
				return nil, err
			}
			continue
		}
		for {
			c, ok, err := p.x.Child()
			if err != nil {
				return nil, err
			}
			if !ok {
				break
			}
			if !c.Is("coordinates") {
				if err := p.x.Skip(); err != nil {
					return nil, err
				}
				continue
			}
			r, err := p.run(c)
			if err != nil {
				return nil, err
			}
			if len(r.at) == 0 {
				p.empty(e)
				continue
			}
			out = append(out, r)
		}
	}
}

// multi reads a MultiGeometry or gx:MultiTrack. Nesting ends at Limits.Depth,
// which the walker keeps.
func (p *placemark) multi(e markup.Element) (*shape, error) {
	kind, _ := e.Ours("kind")
	var all []shape
	for {
		c, ok, err := p.x.Child()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		s, known, err := p.shape(c)
		if err == nil && !known {
			err = p.x.Skip()
		}
		if err != nil {
			return nil, err
		}
		if s != nil {
			all = append(all, *s)
		}
	}
	if len(all) == 0 {
		if len(p.departures) == 0 {
			p.empty(e)
		}
		return nil, nil
	}
	if kind != "GeometryCollection" {
		all = flattened(all)
	}
	s := together(all, kind)
	return &s, nil
}

// flattened takes collections apart: what KML nests, GeoJSON would not.
func flattened(all []shape) []shape {
	var out []shape
	for _, s := range all {
		parts, many := s.flat.(orb.Collection)
		if !many {
			out = append(out, s)
			continue
		}
		from := 0
		for _, flat := range parts {
			to := from + wire.Vertices(flat)
			one := shape{flat: flat, heights: s.heights[from:to:to], absolute: s.absolute, recorded: s.recorded}
			if s.measures != nil {
				one.measures = s.measures[from:to:to]
			}
			out = append(out, one)
			from = to
		}
	}
	return out
}

// track reads a gx:Track: all its times, then all its positions, or in turn.
func (p *placemark) track(e markup.Element) (*shape, error) {
	s := shape{recorded: true}
	var r run
	var times []float64
	for {
		c, ok, err := p.x.Child()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		switch {
		case c.Is("when"):
			var m float64
			m, err = p.when(c)
			times = append(times, m)
		case c.Is("coord"):
			err = p.coord(c, &r)
		case c.Is("altitudeMode"):
			s.absolute, err = p.absolute()
		default: // angles, a model, sensor readings
			err = p.x.Skip()
		}
		if err != nil {
			return nil, err
		}
	}
	if len(times) > 0 && len(times) != len(r.at) {
		p.departures.Add(e.Fail(RuleTrackCounts))
		times = nil
	}
	if n := len(r.at); r.withoutLost(&times) < n {
		p.empty(e)
	}
	switch len(r.at) {
	case 0:
		p.empty(e)
		return nil, nil
	case 1:
		p.departures.Add(e.Fail(markup.RuleOnePoint))
		return nil, nil
	}
	s.flat, s.heights, s.measures = orb.LineString(r.at), r.heights, times
	return &s, nil
}

// when reads a time; one that is empty is none, one that cannot be read is said.
func (p *placemark) when(e markup.Element) (float64, error) {
	t, err := p.x.Text()
	if err != nil {
		return 0, err
	}
	text := strings.TrimSpace(t.S)
	if text == "" {
		return hole, nil
	}
	when, utc, ok := markup.Time(text)
	rule := markup.RuleTime
	if ok && !utc {
		return markup.Seconds(when), nil
	}
	if ok {
		rule = markup.RuleZone
	}
	d := e.Fail(rule)
	d.Got = markup.Shorten(text)
	p.departures.Add(d)
	if !ok {
		return hole, nil
	}
	return markup.Seconds(when), nil
}

// withoutLost drops the positions that are none, with their times, and gives
// the number of those left.
func (r *run) withoutLost(times *[]float64) int {
	n := 0
	for i, at := range r.at {
		if math.IsNaN(at[0]) {
			continue
		}
		r.at[n], r.heights[n] = at, r.heights[i]
		if *times != nil {
			(*times)[n] = (*times)[i]
		}
		n++
	}
	r.at, r.heights = r.at[:n], r.heights[:n]
	if *times != nil {
		*times = (*times)[:n]
	}
	return n
}

// coord reads "lon lat height". One that is empty stands for a position that
// was not recorded.
func (p *placemark) coord(e markup.Element, r *run) error {
	t, err := p.x.Text()
	if err != nil {
		return err
	}
	words := strings.Fields(t.S)
	v := [3]float64{hole}
	ok := len(words) == 0 || len(words) == 2 || len(words) == 3
	for i := 0; ok && i < len(words); i++ {
		v[i], ok = number(words[i])
	}
	if !ok {
		bad := t.Fail(RuleCoordinates, 0)
		bad.Path, bad.Got = e.Name, markup.Shorten(strings.TrimSpace(t.S))
		return bad
	}
	if p.vertices++; p.vertices > p.limits.Vertices {
		bad := e.Fail(wire.RuleVertices)
		bad.Limit = int64(p.limits.Vertices)
		return bad
	}
	r.add(v, len(words))
	return nil
}
