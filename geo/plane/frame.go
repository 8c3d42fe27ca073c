package plane

import (
	"fmt"
	"math"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// MaxReach is how far from its origin a frame is willing to place a shape.
// There lengths are already 3 parts in 1,000 too long; anything farther away
// is another site or a slip of the pen.
const MaxReach geo.Metres = 500_000

// maxOriginLat keeps origins off the poles, where a longitude says nothing.
const maxOriginLat = 89.0

// Frame turns longitudes and latitudes into metres east and north of its
// origin and back: the transverse Mercator projection of the WGS 84 ellipsoid
// with the origin's meridian as central meridian and scale 1 on it.
//
// The projection keeps angles. Lengths grow with the distance x from the
// central meridian by the factor 1 + x²/2R², areas by its square:
//
//	x         lengths    areas
//	1 km      0.012 ppm  0.025 ppm
//	5 km      0.31 ppm   0.62 ppm
//	10 km     1.2 ppm    2.5 ppm
//	50 km     31 ppm     62 ppm
//	100 km    123 ppm    246 ppm
//
// x is the place of one piece of ground; a block centred on the origin and
// reaching 5 km to either side is off by the mean over its breadth, 0.2 ppm at
// most. Y points to true north on the central meridian only; at a
// longitude Δλ away it is turned by Δλ·sin(latitude), 0.045° at 5 km east and
// 45° north. The series is Krüger's to the sixth order in the third flattening
// (Karney, Transverse Mercator with an accuracy of a few nanometers, 2011,
// equations 7 to 11, 35, 36): 5 nm within 3,900 km. Y is a difference of two
// distances from the equator, good to 2 nm.
//
// Longitudes are taken the short way round from the origin, so a frame works
// across the antimeridian. An edge is straight between its corners in the
// frame; the straight line in degrees that RFC 7946 means and the geodesic lie
// beside it, by L²·tan(latitude)/8R at most: 14 mm on an edge of 1 km at 36°.
//
// The zero Frame is no frame: its XY and Position give NaN and its shapes
// errors. Frames are values, comparable, and safe to share.
type Frame struct {
	lon, lat float64
	north    float64 // distance of the origin from the equator
	ready    bool
}

// WGS 84 (NIMA TR8350.2): semi-major axis in metres and flattening.
const (
	semiMajor  = 6378137.0
	flattening = 1 / 298.257223563
)

// FarError says that a place lies too far from the frame's origin, or a box is
// too large for one frame.
type FarError struct {
	At       geo.Position
	Distance geo.Metres // roughly
	Limit    geo.Metres
}

func (e *FarError) Error() string {
	return fmt.Sprintf("plane: %v is about %.0f km from the origin, at most %.0f km", e.At, float64(e.Distance)/1000, float64(e.Limit)/1000)
}

// PlaceError says that a position is no place on Earth: a coordinate that is
// no number, a latitude beyond 90° or a longitude beyond 180°.
type PlaceError struct{ At geo.Position }

func (e *PlaceError) Error() string {
	return fmt.Sprintf("plane: no such longitude and latitude: %v", e.At)
}

// FrameAt is the frame with this origin. It refuses, with a *PlaceError,
// positions that are none and origins within 1° of a pole.
func FrameAt(origin geo.Position) (Frame, error) {
	if !onEarth(origin) || math.Abs(origin[1]) > maxOriginLat {
		return Frame{}, &PlaceError{At: origin}
	}
	_, y := forward(0, origin[1])
	return Frame{lon: origin[0], lat: origin[1], north: y, ready: true}, nil
}

// FrameFor is the frame centred on the middle of the box. A box whose west
// edge is greater than its east edge runs across the antimeridian (RFC 7946
// section 5.2). A box that reaches more than MaxReach from its middle gives a
// *FarError.
func FrameFor(b geo.Box) (Frame, error) {
	for _, p := range []geo.Position{b.Min, b.Max} {
		if !onEarth(p) {
			return Frame{}, &PlaceError{At: p}
		}
	}
	width := b.Max[0] - b.Min[0]
	if width < 0 {
		width += 360
	}
	f, err := FrameAt(geo.Position{wrap(b.Min[0] + width/2), (b.Min[1] + b.Max[1]) / 2})
	if err != nil {
		return Frame{}, err
	}
	if width >= 180 {
		return Frame{}, &FarError{At: b.Min, Distance: geo.Metres(math.Pi * semiMajor / 2), Limit: MaxReach}
	}
	for _, p := range []geo.Position{b.Min, b.Max} {
		if err := f.reaches(p); err != nil {
			return Frame{}, err
		}
	}
	return f, nil
}

// FrameOf is the frame centred on the middle of the shapes' common box. Unlike
// FrameFor with a computed box it also serves shapes in pieces on both sides of
// the antimeridian. Nil shapes are passed over; with nothing to place it gives
// a *PlaceError.
func FrameOf(shapes ...orb.Geometry) (Frame, error) {
	var seen bool
	var lon0, west, east, south, north float64
	var bad error
	for _, g := range shapes {
		eachPosition(g, func(p geo.Position) {
			switch {
			case !onEarth(p):
				bad = &PlaceError{At: p}
			case !seen:
				seen, lon0, south, north = true, p[0], p[1], p[1]
			default:
				d := wrap(p[0] - lon0)
				west, east = math.Min(west, d), math.Max(east, d)
				south, north = math.Min(south, p[1]), math.Max(north, p[1])
			}
		})
	}
	if bad != nil {
		return Frame{}, bad
	}
	if !seen {
		return Frame{}, &PlaceError{At: geo.Position{math.NaN(), math.NaN()}}
	}
	return FrameFor(geo.Box{
		Min: geo.Position{wrap(lon0 + west), south},
		Max: geo.Position{wrap(lon0 + east), north},
	})
}

// Origin is the place that becomes 0, 0.
func (f Frame) Origin() geo.Position { return geo.Position{f.lon, f.lat} }

// XY places a position. Nothing is checked: far away the scale above applies,
// and a quarter of the globe away the result means nothing.
func (f Frame) XY(p geo.Position) XY {
	if !f.ready {
		return XY{math.NaN(), math.NaN()}
	}
	x, y := forward(wrap(p[0]-f.lon), p[1])
	return XY{x, y - f.north}
}

// Position is the inverse of XY, with the longitude in [-180, 180].
func (f Frame) Position(p XY) geo.Position {
	lon, lat := f.unwrapped(p)
	return geo.Position{wrap(lon), lat}
}

// unwrapped lets the longitude run on past ±180.
func (f Frame) unwrapped(p XY) (lon, lat float64) {
	if !f.ready {
		return math.NaN(), math.NaN()
	}
	lon, lat = inverse(p.X, p.Y+f.north)
	return f.lon + lon, lat
}

// reaches says whether p is a place within MaxReach of the origin.
func (f Frame) reaches(p geo.Position) error {
	if !f.ready || !onEarth(p) {
		return &PlaceError{At: p}
	}
	rad := math.Pi / 180
	dLat, dLon := (p[1]-f.lat)*rad, wrap(p[0]-f.lon)*rad
	h := sq(math.Sin(dLat/2)) + math.Cos(p[1]*rad)*math.Cos(f.lat*rad)*sq(math.Sin(dLon/2))
	d := geo.Metres(2 * semiMajor * math.Asin(math.Sqrt(math.Min(1, h))))
	if d > MaxReach {
		return &FarError{At: p, Distance: d, Limit: MaxReach}
	}
	return nil
}

func sq(v float64) float64 { return v * v }

func onEarth(p geo.Position) bool {
	return math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90 // false for NaN too
}

// wrap brings a longitude or a difference of two into [-180, 180].
func wrap(lon float64) float64 {
	if lon >= -180 && lon <= 180 {
		return lon
	}
	return math.Remainder(lon, 360)
}

var (
	eccentricity = math.Sqrt(flattening * (2 - flattening))
	thirdFlat    = flattening / (2 - flattening)
	rectifying   = func() float64 {
		n2 := thirdFlat * thirdFlat
		return semiMajor / (1 + thirdFlat) * (1 + n2/4 + n2*n2/64 + n2*n2*n2/256)
	}()
	// Karney 2011, equations 35 and 36; row j holds the coefficients of n^j up to n^6.
	alpha = series([6][]float64{
		{1.0 / 2, -2.0 / 3, 5.0 / 16, 41.0 / 180, -127.0 / 288, 7891.0 / 37800},
		{13.0 / 48, -3.0 / 5, 557.0 / 1440, 281.0 / 630, -1983433.0 / 1935360},
		{61.0 / 240, -103.0 / 140, 15061.0 / 26880, 167603.0 / 181440},
		{49561.0 / 161280, -179.0 / 168, 6601661.0 / 7257600},
		{34729.0 / 80640, -3418889.0 / 1995840},
		{212378941.0 / 319334400},
	})
	beta = series([6][]float64{
		{1.0 / 2, -2.0 / 3, 37.0 / 96, -1.0 / 360, -81.0 / 512, 96199.0 / 604800},
		{1.0 / 48, 1.0 / 15, -437.0 / 1440, 46.0 / 105, -1118711.0 / 3870720},
		{17.0 / 480, -37.0 / 840, -209.0 / 4480, 5569.0 / 90720},
		{4397.0 / 161280, -11.0 / 504, -830251.0 / 7257600},
		{4583.0 / 161280, -108847.0 / 3991680},
		{20648693.0 / 638668800},
	})
)

func series(rows [6][]float64) (out [6]float64) {
	for j, row := range rows {
		power := math.Pow(thirdFlat, float64(j+1))
		for _, c := range row {
			out[j] += c * power
			power *= thirdFlat
		}
	}
	return out
}

// forward gives metres east of the central meridian and north of the equator.
func forward(dLon, lat float64) (x, y float64) {
	sinLon, cosLon := math.Sincos(dLon * math.Pi / 180)
	tau := conformal(math.Tan(lat * math.Pi / 180))
	xi0 := math.Atan2(tau, cosLon)
	eta0 := math.Asinh(sinLon / math.Hypot(tau, cosLon))
	xi, eta := xi0, eta0
	for j, a := range alpha {
		k := float64(2 * (j + 1))
		s, c := math.Sincos(k * xi0)
		xi += a * s * math.Cosh(k*eta0)
		eta += a * c * math.Sinh(k*eta0)
	}
	return rectifying * eta, rectifying * xi
}

func inverse(x, y float64) (dLon, lat float64) {
	xi0, eta0 := y/rectifying, x/rectifying
	xi, eta := xi0, eta0
	for j, b := range beta {
		k := float64(2 * (j + 1))
		s, c := math.Sincos(k * xi0)
		xi -= b * s * math.Cosh(k*eta0)
		eta -= b * c * math.Sinh(k*eta0)
	}
	sinXi, cosXi := math.Sincos(xi)
	sinhEta := math.Sinh(eta)
	tau := geographic(sinXi / math.Hypot(sinhEta, cosXi))
	return math.Atan2(sinhEta, cosXi) * 180 / math.Pi, math.Atan(tau) * 180 / math.Pi
}

// conformal turns the tangent of a latitude into that of the conformal one.
func conformal(tau float64) float64 {
	sec := math.Hypot(1, tau)
	sigma := math.Sinh(eccentricity * math.Atanh(eccentricity*tau/sec))
	return tau*math.Hypot(1, sigma) - sigma*sec
}

// geographic inverts conformal by Newton's method; three rounds reach the last
// bit everywhere (Karney 2011, equations 19 to 21), five are allowed.
func geographic(want float64) float64 {
	e2 := eccentricity * eccentricity
	tau := want / (1 - e2)
	for range 5 {
		got := conformal(tau)
		step := (want - got) / math.Hypot(1, got) * (1 + (1-e2)*tau*tau) / ((1 - e2) * math.Hypot(1, tau))
		tau += step
		if math.Abs(step) <= 1e-15*math.Max(1, math.Abs(tau)) {
			break
		}
	}
	return tau
}
