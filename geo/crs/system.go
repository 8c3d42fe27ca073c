package crs

import (
	"math"
	"strings"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// method is how a system makes x, y of longitude and latitude.
type method int

const (
	degrees method = iota
	transverseMercator
	lambertConic
	albersConic
	pseudoMercator
)

// unit is a length in metres.
type unit struct {
	name   string
	metres float64
}

// The units with a name of their own. The US survey foot is 1200/3937 m by
// definition (NBS 1959), 2 parts in a million longer than the international foot.
var (
	metre      = unit{"metre", 1}
	foot       = unit{"foot", geo.MetresPerFoot}
	surveyFoot = unit{"US survey foot", 1200.0 / 3937}
)

// parameters are a projection's numbers: degrees, and false easting and northing
// in the system's unit. One standard parallel stands in both places.
type parameters struct {
	lat0, lon0, sp1, sp2, scale, east, north float64
}

// System is a coordinate system on the ground. It does not change and is safe to
// share. The zero System is none: it places nothing.
type System struct {
	name    string
	code    int
	method  method
	p       parameters
	unit    unit
	datum   *datum
	figure  figure
	inverse float64 // flattening as the text has it
	use     orb.Bound
	heights bool // a third axis, which plays no part here
	notes   []*Error
	plan    projection
}

// world is the area of use of systems that name none.
var world = orb.Bound{Min: orb.Point{-180, -90}, Max: orb.Point{180, 90}}

// Name is the system's name as its text or the EPSG table has it.
func (s *System) Name() string { return s.name }

// Code is its EPSG code: the one the text names if its numbers do not speak
// against it, else that of the system of the table with the same datum, unit and
// parameters to a millimetre, 0 when there is none.
func (s *System) Code() int { return s.code }

// Geographic says whether x, y are degrees of longitude and latitude.
func (s *System) Geographic() bool { return s.method == degrees }

// NearWGS84 says that the datum is not WGS 84 but is taken as if it were.
func (s *System) NearWGS84() bool { return s.Off() > 0 }

// Off is about how far at most the datum lies from WGS 84 on the ground in 2026:
// 0 for WGS 84 itself, else 0.5 to 2.2 m. It is a rough figure for people (its
// sources stand in testdata/make_tables.py); nothing is computed with it.
func (s *System) Off() geo.Metres {
	if s.datum == nil {
		return 0
	}
	return s.datum.off
}

// Datum is the family of the system's datum: "WGS 84", "NAD83", "ETRS89", ...
func (s *System) Datum() string {
	if s.datum == nil {
		return ""
	}
	return s.datum.family
}

// Unit is "degree", "metre", "foot", "US survey foot" or the text's own name.
func (s *System) Unit() string {
	if s.method == degrees {
		return "degree"
	}
	return s.unit.name
}

// Use is the system's area of use as a box of longitudes and latitudes. West is
// greater than east where it runs across the antimeridian (RFC 7946 section
// 5.2). A text whose system is not in the table has its own BBOX, or the world.
func (s *System) Use() orb.Bound { return s.use }

// Notes are what was assumed or left out in reading a text, with RuleVertical,
// RuleShift or RuleContradict. Nil for systems of the table.
func (s *System) Notes() []*Error { return append([]*Error(nil), s.notes...) }

// maxOffset is farther from the false origin than any place projects to, in
// metres: once around the Earth.
const maxOffset = 4.1e7

// Position is the longitude and latitude, WGS 84 degrees, of x, y in the
// system's unit. Geographic systems give their degrees back unchanged. The error
// is a *Error with RuleOutside: for numbers that are not finite, degrees beyond
// 180 and 90, places beyond a pole or past the cut of a cone, latitudes beyond
// 89° in conics and Web Mercator, and more than 3,900 km from the central
// meridian of a transverse Mercator. The area of use is not a bound.
func (s *System) Position(x, y float64) (geo.Position, error) {
	if s.method == degrees {
		return s.inDegrees(x, y)
	}
	e, n := (x-s.p.east)*s.unit.metres, (y-s.p.north)*s.unit.metres
	if !(math.Abs(e) <= maxOffset && math.Abs(n) <= maxOffset) {
		return geo.Position{}, s.outside(x, y)
	}
	dLon, lat, ok := s.plan.inverse(e, n)
	if !ok {
		return geo.Position{}, s.outside(x, y)
	}
	return geo.Position{wrap(s.p.lon0 + dLon), lat}, nil
}

// Coordinates is the inverse of Position, with the same bounds and errors.
func (s *System) Coordinates(p geo.Position) (x, y float64, err error) {
	if s.method == degrees || !(math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90) {
		p, err = s.inDegrees(p[0], p[1])
		return p[0], p[1], err
	}
	e, n, ok := s.plan.forward(wrap(p[0]-s.p.lon0), p[1])
	if !ok || !(math.Abs(e) <= maxOffset && math.Abs(n) <= maxOffset) {
		return 0, 0, s.outside(p[0], p[1])
	}
	return e/s.unit.metres + s.p.east, n/s.unit.metres + s.p.north, nil
}

func (s *System) inDegrees(lon, lat float64) (geo.Position, error) {
	if s.datum == nil || !(math.Abs(lon) <= 180 && math.Abs(lat) <= 90) {
		return geo.Position{}, s.outside(lon, lat)
	}
	return geo.Position{lon, lat}, nil
}

func (s *System) outside(x, y float64) *Error {
	return &Error{Rule: RuleOutside, System: s.name, Byte: -1, At: [2]float64{x, y}}
}

// wrap brings a longitude or a difference of two into [-180, 180].
func wrap(lon float64) float64 {
	if lon >= -180 && lon <= 180 {
		return lon
	}
	return math.Remainder(lon, 360)
}

// planned checks the parameters and prepares the projection. What is wrong is
// named by its parameter, "" when nothing is.
func (s *System) planned() (wrong string) {
	p := s.p
	for _, c := range []struct {
		name    string
		v, most float64
	}{
		{"latitude of origin", p.lat0, 90}, {"central meridian", p.lon0, 360},
		{"standard parallel 1", p.sp1, maxConicLat}, {"standard parallel 2", p.sp2, maxConicLat},
		{"false easting", p.east * s.unit.metres, 1e9}, {"false northing", p.north * s.unit.metres, 1e9},
	} {
		if !(math.Abs(c.v) <= c.most) {
			return c.name
		}
	}
	// No map scale strays farther from 1 than local grids at altitude do.
	if !(p.scale >= 0.9 && p.scale <= 1.1) {
		return "scale factor"
	}
	conic := s.method == lambertConic || s.method == albersConic
	// A cone this flat is a cylinder; its constant has no digits left.
	if conic && math.Abs(p.sp1+p.sp2) < 1e-3 {
		return "standard parallel 2"
	}
	// A conformal cone's far pole is nowhere; the near one is its tip.
	if s.method == lambertConic && math.Abs(p.lat0) > maxConicLat && p.lat0*(p.sp1+p.sp2) < 0 {
		return "latitude of origin"
	}
	switch s.method {
	case transverseMercator:
		s.plan = newTransverse(s.figure, p.lat0, p.scale)
	case lambertConic:
		s.plan = newLambert(s.figure, p.lat0, p.sp1, p.sp2, p.scale)
	case albersConic:
		b := newAlbers(s.figure, p.lat0, p.sp1, p.sp2)
		if math.IsNaN(b.cone.rho0) {
			return "latitude of origin"
		}
		s.plan = b
	case pseudoMercator:
		s.plan = webMercator{s.figure.a}
	}
	return ""
}

// key is a name without what its spellings differ in: case, spaces, marks, the
// "D_" of one dialect and the "ensemble" of another.
func key(name string) string {
	name = strings.TrimPrefix(strings.ToLower(name), "d_")
	var b strings.Builder
	for _, c := range strings.ReplaceAll(name, "ensemble", "") {
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' {
			b.WriteRune(c)
		}
	}
	return b.String()
}
