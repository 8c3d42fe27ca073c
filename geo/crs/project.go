package crs

import "math"

// projection turns degrees east of its central meridian and degrees of latitude
// into metres from its natural origin, and back. ok is false where it says
// nothing or no longer keeps its error bound.
type projection interface {
	forward(dLon, lat float64) (x, y float64, ok bool)
	inverse(x, y float64) (dLon, lat float64, ok bool)
}

const (
	rad = math.Pi / 180

	// maxConicLat keeps the conics and Web Mercator off the poles, where a
	// conformal map runs to infinity and an equal-area one loses its digits.
	maxConicLat = 89.0

	// maxSeries is how far from the central meridian Krüger's series of the
	// sixth order is good to 5 nm (Karney 2011, section 4).
	maxSeries = 3.9e6
)

// figure is an ellipsoid of revolution: its semi-major axis in metres and what
// follows from its flattening.
type figure struct {
	a, f float64
	e    float64 // eccentricity
}

func newFigure(a, inverseFlattening float64) figure {
	f := 1 / inverseFlattening
	return figure{a: a, f: f, e: math.Sqrt(f * (2 - f))}
}

// isometric is the isometric latitude of the latitude with this tangent.
func (g figure) isometric(tau float64) float64 {
	return math.Asinh(tau) - g.e*math.Atanh(g.e*tau/math.Hypot(1, tau))
}

// parallel is the radius of a parallel in units of the semi-major axis.
func (g figure) parallel(lat float64) float64 {
	s, c := math.Sincos(lat * rad)
	return c / math.Sqrt(1-g.e*g.e*s*s)
}

// conformal turns the tangent of a latitude into that of the conformal one.
func (g figure) conformal(tau float64) float64 {
	sec := math.Hypot(1, tau)
	sigma := math.Sinh(g.e * math.Atanh(g.e*tau/sec))
	return tau*math.Hypot(1, sigma) - sigma*sec
}

// geographic inverts conformal by Newton's method; three rounds reach the last
// bit everywhere (Karney 2011, equations 19 to 21), five are allowed.
func (g figure) geographic(want float64) float64 {
	e2 := g.e * g.e
	tau := want / (1 - e2)
	for range 5 {
		got := g.conformal(tau)
		step := (want - got) / math.Hypot(1, got) * (1 + (1-e2)*tau*tau) / ((1 - e2) * math.Hypot(1, tau))
		tau += step
		if math.Abs(step) <= 1e-15*math.Max(1, math.Abs(tau)) {
			break
		}
	}
	return tau
}

// authalic is Snyder's q, the equal-area latitude's sine before it is scaled
// (equation 3-12).
func (g figure) authalic(sine float64) float64 {
	es := g.e * sine
	return (1 - g.e*g.e) * (sine/(1-es*es) + math.Atanh(es)/g.e)
}

// transverse is the transverse Mercator projection.
type transverse struct {
	g           figure
	scale       float64 // metres for one radian of the rectifying latitude, with the scale factor
	origin      float64 // of the origin's latitude, same measure
	alpha, beta [6]float64
}

func newTransverse(g figure, lat0, k0 float64) *transverse {
	n := g.f / (2 - g.f)
	n2 := n * n
	t := &transverse{g: g, scale: k0 * g.a / (1 + n) * (1 + n2/4 + n2*n2/64 + n2*n2*n2/256)}
	// Karney 2011, equations 35 and 36; row j holds the coefficients of n^j up to n^6.
	t.alpha = series(n, [6][]float64{
		{1.0 / 2, -2.0 / 3, 5.0 / 16, 41.0 / 180, -127.0 / 288, 7891.0 / 37800},
		{13.0 / 48, -3.0 / 5, 557.0 / 1440, 281.0 / 630, -1983433.0 / 1935360},
		{61.0 / 240, -103.0 / 140, 15061.0 / 26880, 167603.0 / 181440},
		{49561.0 / 161280, -179.0 / 168, 6601661.0 / 7257600},
		{34729.0 / 80640, -3418889.0 / 1995840},
		{212378941.0 / 319334400},
	})
	t.beta = series(n, [6][]float64{
		{1.0 / 2, -2.0 / 3, 37.0 / 96, -1.0 / 360, -81.0 / 512, 96199.0 / 604800},
		{1.0 / 48, 1.0 / 15, -437.0 / 1440, 46.0 / 105, -1118711.0 / 3870720},
		{17.0 / 480, -37.0 / 840, -209.0 / 4480, 5569.0 / 90720},
		{4397.0 / 161280, -11.0 / 504, -830251.0 / 7257600},
		{4583.0 / 161280, -108847.0 / 3991680},
		{20648693.0 / 638668800},
	})
	_, t.origin, _ = t.forward(0, lat0)
	return t
}

func series(n float64, rows [6][]float64) (out [6]float64) {
	for j, row := range rows {
		power := math.Pow(n, float64(j+1))
		for _, c := range row {
			out[j] += c * power
			power *= n
		}
	}
	return out
}

// within says whether a point of the transverse Mercator plane, in radians of
// the rectifying latitude, is one the series is good for: not beyond the poles,
// where the other side of the globe begins, nor too far from the meridian.
func (t *transverse) within(xi, eta float64) bool {
	return math.Abs(xi) <= math.Pi/2 && math.Abs(eta*t.g.a) <= maxSeries // false for NaN too
}

func (t *transverse) forward(dLon, lat float64) (x, y float64, ok bool) {
	sinLon, cosLon := math.Sincos(dLon * rad)
	tau := t.g.conformal(math.Tan(lat * rad))
	xi0 := math.Atan2(tau, cosLon)
	eta0 := math.Asinh(sinLon / math.Hypot(tau, cosLon))
	xi, eta := xi0, eta0
	for j, a := range t.alpha {
		k := float64(2 * (j + 1))
		s, c := math.Sincos(k * xi0)
		xi += a * s * math.Cosh(k*eta0)
		eta += a * c * math.Sinh(k*eta0)
	}
	return t.scale * eta, t.scale*xi - t.origin, t.within(xi, eta)
}

func (t *transverse) inverse(x, y float64) (dLon, lat float64, ok bool) {
	xi0, eta0 := (y+t.origin)/t.scale, x/t.scale
	if !t.within(xi0, eta0) {
		return 0, 0, false
	}
	xi, eta := xi0, eta0
	for j, b := range t.beta {
		k := float64(2 * (j + 1))
		s, c := math.Sincos(k * xi0)
		xi -= b * s * math.Cosh(k*eta0)
		eta -= b * c * math.Sinh(k*eta0)
	}
	sinXi, cosXi := math.Sincos(xi)
	sinhEta := math.Sinh(eta)
	tau := t.g.geographic(sinXi / math.Hypot(sinhEta, cosXi))
	return math.Atan2(sinhEta, cosXi) / rad, math.Atan(tau) / rad, true
}

// cone is what both conics share: the cone's constant and the radius of the
// origin's parallel.
type cone struct{ n, rho0 float64 }

func (c cone) place(dLon, rho float64) (x, y float64) {
	s, k := math.Sincos(c.n * dLon * rad)
	return rho * s, c.rho0 - rho*k
}

// polar gives the radius, with the cone's sign, and the degrees from the central
// meridian; ok is false in the gap where the cone is cut open.
func (c cone) polar(x, y float64) (dLon, rho float64, ok bool) {
	sign := math.Copysign(1, c.n)
	rho = sign * math.Hypot(x, c.rho0-y)
	dLon = math.Atan2(sign*x, sign*(c.rho0-y)) / c.n / rad
	return dLon, rho, math.Abs(dLon) <= 180
}

// sameParallel is how near two standard parallels are one, in degrees: nearer
// ones would only lose digits in a difference of logarithms.
const sameParallel = 1e-7

// lambert is the Lambert conformal conic projection.
type lambert struct {
	g    figure
	cone cone
	rho1 float64 // radius of the first standard parallel
	psi1 float64 // its isometric latitude
}

func newLambert(g figure, lat0, sp1, sp2, k0 float64) *lambert {
	m1, psi1 := g.parallel(sp1), g.isometric(math.Tan(sp1*rad))
	n := math.Sin(sp1 * rad)
	if math.Abs(sp1-sp2) > sameParallel {
		n = math.Log(m1/g.parallel(sp2)) / (g.isometric(math.Tan(sp2*rad)) - psi1)
	}
	l := &lambert{g: g, cone: cone{n: n}, rho1: k0 * g.a * m1 / n, psi1: psi1}
	l.cone.rho0 = l.radius(lat0)
	return l
}

func (l *lambert) radius(lat float64) float64 {
	return l.rho1 * math.Exp(-l.cone.n*(l.g.isometric(math.Tan(lat*rad))-l.psi1))
}

func (l *lambert) forward(dLon, lat float64) (x, y float64, ok bool) {
	x, y = l.cone.place(dLon, l.radius(lat))
	return x, y, math.Abs(lat) <= maxConicLat
}

func (l *lambert) inverse(x, y float64) (dLon, lat float64, ok bool) {
	dLon, rho, ok := l.cone.polar(x, y)
	psi := l.psi1 - math.Log(rho/l.rho1)/l.cone.n
	lat = math.Atan(l.g.geographic(math.Sinh(psi))) / rad
	return dLon, lat, ok && math.Abs(lat) <= maxConicLat
}

// albers is the Albers equal-area conic projection.
type albers struct {
	g    figure
	cone cone
	c    float64
}

func newAlbers(g figure, lat0, sp1, sp2 float64) *albers {
	s1, s2 := math.Sin(sp1*rad), math.Sin(sp2*rad)
	m1, q1 := g.parallel(sp1), g.authalic(s1)
	n := s1
	if math.Abs(sp1-sp2) > sameParallel {
		m2 := g.parallel(sp2)
		n = (m1*m1 - m2*m2) / (g.authalic(s2) - q1)
	}
	b := &albers{g: g, cone: cone{n: n}, c: m1*m1 + n*q1}
	b.cone.rho0 = b.radius(lat0)
	return b
}

func (b *albers) radius(lat float64) float64 {
	return b.g.a * math.Sqrt(b.c-b.cone.n*b.g.authalic(math.Sin(lat*rad))) / b.cone.n
}

func (b *albers) forward(dLon, lat float64) (x, y float64, ok bool) {
	rho := b.radius(lat)
	x, y = b.cone.place(dLon, rho)
	return x, y, math.Abs(lat) <= maxConicLat && !math.IsNaN(rho)
}

func (b *albers) inverse(x, y float64) (dLon, lat float64, ok bool) {
	dLon, rho, ok := b.cone.polar(x, y)
	r := rho * b.cone.n / b.g.a
	q := (b.c - r*r) / b.cone.n
	if !ok || !(math.Abs(q) < b.g.authalic(1)) {
		return 0, 0, false
	}
	lat = b.latitude(q) / rad
	return dLon, lat, math.Abs(lat) <= maxConicLat
}

// latitude inverts authalic by Newton's method (Snyder, equation 3-16); from the
// sphere's answer it takes four rounds up to 80° and at most eight up to 89°.
func (b *albers) latitude(q float64) float64 {
	e2 := b.g.e * b.g.e
	phi := math.Asin(q / b.g.authalic(1))
	for range 12 {
		s, c := math.Sincos(phi)
		t := 1 - e2*s*s
		step := t * t / (2 * (1 - e2) * c) * (q - b.g.authalic(s))
		phi += step
		if math.Abs(step) < 1e-16 {
			break
		}
	}
	return phi
}

// webMercator puts the ellipsoid's latitude on a sphere of its semi-major axis.
type webMercator struct{ a float64 }

func (w webMercator) forward(dLon, lat float64) (x, y float64, ok bool) {
	return w.a * dLon * rad, w.a * math.Asinh(math.Tan(lat*rad)), math.Abs(lat) <= maxConicLat
}

func (w webMercator) inverse(x, y float64) (dLon, lat float64, ok bool) {
	dLon, lat = x/w.a/rad, math.Atan(math.Sinh(y/w.a))/rad
	ok = math.Abs(dLon) <= 180+edgeSlack && math.Abs(lat) <= maxConicLat
	return math.Max(-180, math.Min(180, dLon)), lat, ok
}

// edgeSlack, in degrees, is what the edge of the Web Mercator map lies beyond
// 180° when it is written in whole centimetres.
const edgeSlack = 1e-7
