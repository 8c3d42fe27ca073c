package crs

import (
	"math"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
)

// Parse reads the text of a .prj file in the ESRI or the GDAL dialect of WKT 1
// (OGC 01-009), or WKT 2 as GeoPackage and newer files carry it (ISO 19162:2015
// and :2019, OGC 18-010r7). A system with heights is read without them, and a
// Note says so. A member that could change where things lie and is not
// understood is a refusal, one that could not (scope, area, remark) is passed
// over. The error is a *Error; its Byte counts from 0 in the text.
func Parse(wkt string) (*System, error) {
	roots, err := parse(wkt)
	if err != nil {
		return nil, err
	}
	s := &System{use: world}
	if err := s.read(roots); err != nil {
		if err.System == "" {
			err.System = s.name
		}
		return nil, err
	}
	return s, nil
}

// read takes the system apart from what stands around it.
func (s *System) read(roots []*node) *Error {
	root := roots[0]
	for i, extra := range roots[1:] {
		if i > 0 || extra.key != "VERTCS" && extra.key != "VERT_CS" {
			return malformed(extra.at, extra.key)
		}
		s.note(RuleVertical, extra.name(), extra.at)
	}
	s.name = short(root.name())
	for {
		switch root.key {
		case "COMPD_CS", "COMPOUNDCRS":
			inner := root.child(horizontal...)
			if inner == nil {
				return &Error{Rule: RuleProjection, Name: root.key, Byte: root.at}
			}
			for _, a := range root.args {
				if a.node != nil && strings.HasPrefix(a.node.key, "VERT") {
					s.note(RuleVertical, a.node.name(), a.node.at)
				}
			}
			root = inner
			continue
		case "BOUNDCRS":
			source := root.child("SOURCECRS")
			if source == nil || len(source.args) != 1 || source.args[0].node == nil {
				return malformed(root.at, root.key)
			}
			s.note(RuleShift, root.key, root.at)
			root = source.args[0].node
			continue
		case "PROJCS", "PROJCRS", "PROJECTEDCRS":
			s.name = short(root.name())
			if err := s.projected(root); err != nil {
				return err
			}
		case "GEOGCS", "GEOGCRS", "GEOGRAPHICCRS", "GEODCRS", "GEODETICCRS":
			s.name = short(root.name())
			if err := s.geographic(root); err != nil {
				return err
			}
		case "GEOCCS", "LOCAL_CS", "ENGCRS", "ENGINEERINGCRS", "VERT_CS", "VERTCS", "VERTCRS", "VERTICALCRS",
			"FITTED_CS", "DERIVEDPROJCRS", "PARAMETRICCRS", "TIMECRS", "IMAGECRS":
			return &Error{Rule: RuleProjection, Name: root.key, Byte: root.at}
		default:
			return malformed(root.at, root.key)
		}
		return s.identify(root)
	}
}

// horizontal are the keywords of systems a compound may hold.
var horizontal = []string{"PROJCS", "PROJCRS", "PROJECTEDCRS", "GEOGCS", "GEOGCRS", "GEOGRAPHICCRS", "GEODCRS", "GEODETICCRS", "BOUNDCRS", "COMPD_CS"}

// note says a thing once: the unit of a text may stand at each axis.
func (s *System) note(r Rule, name string, at int) {
	for _, n := range s.notes {
		if n.Rule == r {
			return
		}
	}
	s.notes = append(s.notes, &Error{Rule: r, System: s.name, Name: short(name), Byte: at})
}

// geographic reads a system of degrees, or the one below a projected system.
func (s *System) geographic(n *node) *Error {
	if cs := n.child("CS"); cs != nil && strings.EqualFold(cs.word(0), "Cartesian") {
		return &Error{Rule: RuleProjection, Name: "geocentric", Byte: cs.at}
	}
	if d := n.child("DERIVINGCONVERSION"); d != nil {
		return &Error{Rule: RuleProjection, Name: short(d.name()), Byte: d.at}
	}
	if err := s.frame(n); err != nil {
		return err
	}
	if err := meridian(n); err != nil {
		return err
	}
	if err := directions(n); err != nil {
		return err
	}
	if err := degreesOnly(n); err != nil {
		return err
	}
	return extension(n, "longlat", "latlong")
}

// frame reads the datum and its ellipsoid.
func (s *System) frame(n *node) *Error {
	d := n.child("DATUM", "GEODETICDATUM", "TRF", "ENSEMBLE")
	if d == nil {
		return malformed(n.at, n.key+" without DATUM")
	}
	name := short(d.name())
	e := d.child("SPHEROID", "ELLIPSOID")
	if e == nil {
		return malformed(d.at, d.key+" without ELLIPSOID")
	}
	a, err := e.number(1)
	if err != nil {
		return err
	}
	inverse, err := e.number(2)
	if err != nil {
		return err
	}
	if u := e.child("LENGTHUNIT", "UNIT"); u != nil {
		f, err := u.number(1)
		if err != nil {
			return err
		}
		a *= f
	}
	if key(name) == auxiliarySphere && inverse == 0 {
		s.datum, s.figure = tables().codes[4326].datum, figure{a: a}
		return nil
	}
	s.datum = tables().datums[key(name)]
	if s.datum == nil {
		return &Error{Rule: RuleDatum, Name: name, Byte: d.at}
	}
	// A known name on another ellipsoid is another datum.
	if math.Abs(a-s.datum.figure.a) > sameAxis || math.Abs(inverse-s.datum.inverse) > sameFlattening {
		return &Error{Rule: RuleDatum, Name: name + ", " + short(e.name()), Byte: e.at}
	}
	s.figure, s.inverse = newFigure(a, inverse), inverse
	return shift(d, name)
}

// auxiliarySphere is the datum of the first ESRI texts for Web Mercator.
const auxiliarySphere = "wgs1984majorauxiliarysphere"

// Ellipsoids this near are one written with fewer digits: the second moves the
// poles by 0.7 m. GRS 80 and WGS 84 differ by 1.5e-6 in the inverse flattening.
const (
	sameAxis       = 0.5  // metres
	sameFlattening = 0.01 // of the inverse
)

// maxShift bounds the sum of all seven parts of a TOWGS84, as metres on the
// ground, of a datum that is near WGS 84: the one published for NAD83(CSRS)
// comes to 5 m, though its parts cancel to 2 m; datums that are far have tens of
// metres.
const maxShift = 15.0

// shift refuses a datum whose own text says it is far from WGS 84.
func shift(d *node, name string) *Error {
	t := d.child("TOWGS84")
	if t == nil {
		return nil
	}
	metres := 0.0
	for i := range t.args {
		v, err := t.number(i)
		if err != nil {
			return err
		}
		switch {
		case i < 3:
			metres += math.Abs(v)
		case i < 6:
			metres += math.Abs(v) * 30.9 // an arc second on the ground
		default:
			metres += math.Abs(v) * 6.378 // a part in a million of the radius
		}
	}
	if metres > maxShift {
		return &Error{Rule: RuleDatum, Name: name + " TOWGS84", Byte: t.at}
	}
	return nil
}

// meridian refuses longitudes that are not counted from Greenwich. A text
// without one means Greenwich (ISO 19162, 8.2.2).
func meridian(n *node) *Error {
	m := n.child("PRIMEM", "PRIMEMERIDIAN")
	if m == nil {
		return nil
	}
	v, err := m.number(1)
	if err != nil {
		return err
	}
	if v != 0 {
		return &Error{Rule: RuleMeridian, Name: short(m.name()), Byte: m.at}
	}
	return nil
}

// directions refuses axes that run the other way. Their order is not looked at.
func directions(n *node) *Error {
	seen := ""
	for _, a := range n.children("AXIS") {
		d := strings.ToUpper(a.word(1))
		switch d {
		case "EAST", "NORTH":
			if d == seen {
				return &Error{Rule: RuleAxis, Name: short(a.word(0) + " " + a.word(1)), Byte: a.at}
			}
			seen = d
		case "UP", "DOWN", "OTHER":
		default:
			return &Error{Rule: RuleAxis, Name: short(a.word(0) + " " + a.word(1)), Byte: a.at}
		}
	}
	return nil
}

// degreesOnly refuses grads, radians and the like.
func degreesOnly(n *node) *Error {
	us := n.children("UNIT")
	us = append(us, n.children("ANGLEUNIT")...)
	for _, a := range n.children("AXIS") {
		if a.child("LENGTHUNIT") == nil && strings.EqualFold(a.word(1), "UP") {
			continue
		}
		us = append(us, a.children("ANGLEUNIT")...)
		us = append(us, a.children("UNIT")...)
	}
	if len(us) == 0 && (n.key == "GEOGCS") {
		return malformed(n.at, n.key+" without UNIT")
	}
	for _, u := range us {
		v, err := u.number(1)
		if err != nil {
			return err
		}
		if math.Abs(v-rad) > sameDegree*rad {
			return &Error{Rule: RuleUnit, Name: short(u.name()), Byte: u.at}
		}
	}
	return nil
}

// sameDegree takes a degree written with 6 digits for one; the nearest other
// unit of angle, the grad, is a tenth smaller.
const sameDegree = 1e-5

// extension looks at the PROJ string GDAL hides in a text for what the text
// cannot say.
func extension(n *node, kinds ...string) *Error {
	for _, e := range n.children("EXTENSION") {
		if !strings.EqualFold(e.word(0), "PROJ4") {
			continue
		}
		for _, word := range strings.Fields(e.word(1)) {
			k, v, _ := strings.Cut(strings.TrimPrefix(word, "+"), "=")
			switch {
			case k == "proj" && !contains(kinds, v):
				return &Error{Rule: RuleProjection, Name: short(v), Byte: e.at}
			case k == "nadgrids" && v != "@null":
				return &Error{Rule: RuleDatum, Name: short(word), Byte: e.at}
			case k == "pm" && v != "0" && !strings.EqualFold(v, "greenwich"):
				return &Error{Rule: RuleMeridian, Name: short(v), Byte: e.at}
			case k == "axis" && v != "enu", k == "lon_wrap", k == "over":
				return &Error{Rule: RuleAxis, Name: short(word), Byte: e.at}
			}
		}
	}
	return nil
}

func contains(list []string, s string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

// projected reads a projected system of either standard.
func (s *System) projected(n *node) *Error {
	base := n.child("GEOGCS", "BASEGEOGCRS", "BASEGEODCRS", "GEOGCRS", "GEODCRS")
	if base == nil {
		return malformed(n.at, n.key+" without its geographic system")
	}
	if err := s.geographic(base); err != nil {
		return err
	}
	if err := s.length(n); err != nil {
		return err
	}
	holder, name := n, n.child("PROJECTION")
	if c := n.child("CONVERSION"); c != nil {
		holder, name = c, c.child("METHOD", "PROJECTION")
	}
	if name == nil {
		return malformed(n.at, n.key+" without PROJECTION")
	}
	if err := s.conversion(n, holder, name); err != nil {
		return err
	}
	// After the projection: the turned axes of a polar one are not its reason.
	if err := directions(n); err != nil {
		return err
	}
	if wrong := s.planned(); wrong != "" {
		return malformed(name.at, wrong)
	}
	return nil
}

// sameUnit takes a unit written with 7 digits for the unit it is; the two feet
// differ by 20 times as much.
const sameUnit = 1e-7

// length reads the system's unit: its own, or that of its axes.
func (s *System) length(n *node) *Error {
	us := append(n.children("UNIT"), n.children("LENGTHUNIT")...)
	for _, a := range n.children("AXIS") {
		if d := strings.ToUpper(a.word(1)); d != "UP" && d != "DOWN" {
			us = append(us, a.children("LENGTHUNIT")...)
			us = append(us, a.children("UNIT")...)
		}
	}
	if len(us) == 0 {
		return malformed(n.at, n.key+" without UNIT")
	}
	for i, u := range us {
		got, err := s.lengthOf(u)
		if err != nil {
			return err
		}
		if i > 0 && got.metres != s.unit.metres {
			return &Error{Rule: RuleUnit, Name: short(u.name()), Byte: u.at}
		}
		s.unit = got
	}
	return nil
}

// lengthOf reads a unit of length. Its factor counts, not its name; but a metre
// or a foot that is none is a refusal, and one foot with the other's factor is
// noted.
func (s *System) lengthOf(n *node) (unit, *Error) {
	v, err := n.number(1)
	if err != nil {
		return unit{}, err
	}
	refused := &Error{Rule: RuleUnit, Name: short(n.name()), Byte: n.at}
	if !(v > 1e-4 && v < 1e6) {
		return unit{}, refused
	}
	u := unit{name: short(n.name()), metres: v}
	for _, k := range []unit{metre, foot, surveyFoot} {
		if math.Abs(v-k.metres) <= sameUnit*k.metres {
			u = k
		}
	}
	switch key(n.name()) {
	case "metre", "meter", "metres", "meters", "m":
		if u != metre {
			return unit{}, refused
		}
	case "foot", "feet", "ft", "internationalfoot", "footinternational", "footintl":
		return u, s.eitherFoot(n, u, foot)
	case "footus", "ussurveyfoot", "usfoot", "ussurveyfeet", "surveyfoot", "ftus", "usft", "footusa":
		return u, s.eitherFoot(n, u, surveyFoot)
	}
	return u, nil
}

func (s *System) eitherFoot(n *node, got, named unit) *Error {
	switch got {
	case named:
	case foot, surveyFoot:
		s.note(RuleContradict, n.name()+" "+n.word(1), n.at)
	default:
		return &Error{Rule: RuleUnit, Name: short(n.name()), Byte: n.at}
	}
	return nil
}

// projections are the method names of both dialects and of WKT 2, by key.
var projections = map[string]struct {
	method   method
	parallel int // standard parallels the name promises; -1 the origin's own
}{
	"transversemercator":                 {transverseMercator, 0},
	"transversemercatorcomplex":          {transverseMercator, 0},
	"gausskruger":                        {transverseMercator, 0},
	"lambertconformalconic":              {lambertConic, 1},
	"lambertconformalconic2sp":           {lambertConic, 2},
	"lambertconicconformal2sp":           {lambertConic, 2},
	"lambertconformalconic1sp":           {lambertConic, -1},
	"lambertconicconformal1sp":           {lambertConic, -1},
	"albers":                             {albersConic, 2},
	"albersconicequalarea":               {albersConic, 2},
	"albersequalarea":                    {albersConic, 2},
	"mercatorauxiliarysphere":            {pseudoMercator, 0},
	"popularvisualisationpseudomercator": {pseudoMercator, 0},
}

// The places of a projection's parameters.
const (
	pLat0 = iota
	pLon0
	pSP1
	pSP2
	pScale
	pEast
	pNorth
	pSphere // ESRI's Auxiliary_Sphere_Type
	pCount
)

// parameterNames are the names of both dialects and of WKT 2, by key.
var parameterNames = map[string]int{
	"latitudeoforigin": pLat0, "latitudeofcenter": pLat0, "latitudeofcentre": pLat0, "latitudeofnaturalorigin": pLat0, "latitudeoffalseorigin": pLat0,
	"centralmeridian": pLon0, "longitudeoforigin": pLon0, "longitudeofcenter": pLon0, "longitudeofcentre": pLon0, "longitudeofnaturalorigin": pLon0, "longitudeoffalseorigin": pLon0,
	"standardparallel1": pSP1, "latitudeof1ststandardparallel": pSP1,
	"standardparallel2": pSP2, "latitudeof2ndstandardparallel": pSP2,
	"scalefactor": pScale, "scalefactoratnaturalorigin": pScale,
	"falseeasting": pEast, "eastingatfalseorigin": pEast,
	"falsenorthing": pNorth, "northingatfalseorigin": pNorth,
	"auxiliaryspheretype": pSphere,
}

// given is one parameter of a text: degrees, the system's unit or a plain number.
type given struct {
	v    float64
	node *node
}

// conversion reads the method and its parameters, which stand in holder.
func (s *System) conversion(n, holder, name *node) *Error {
	refused := &Error{Rule: RuleProjection, Name: short(name.name()), Byte: name.at}
	known, ok := projections[key(name.name())]
	kinds := []string{"tmerc", "utm", "etmerc", "lcc", "aea"}
	if !ok && s.isWebMercator(n, name) {
		known.method, ok, kinds = pseudoMercator, true, []string{"merc"}
	}
	if !ok || s.figure.f == 0 && known.method != pseudoMercator {
		return refused
	}
	if known.method == pseudoMercator {
		kinds = []string{"merc"}
	}
	if err := extension(n, kinds...); err != nil {
		return err
	}
	s.method = known.method
	var g [pCount]given
	for _, p := range holder.children("PARAMETER") {
		i, ok := parameterNames[key(p.name())]
		if !ok {
			return &Error{Rule: RuleProjection, Name: short(name.name() + ", " + p.name()), Byte: p.at}
		}
		if g[i].node != nil {
			return malformed(p.at, p.name())
		}
		v, err := s.value(p, i)
		if err != nil {
			return err
		}
		g[i] = given{v, p}
	}
	if missing := s.take(&g, known.parallel); missing != "" {
		return malformed(name.at, "no "+missing)
	}
	// Web Mercator knows neither another origin nor another sphere.
	if s.method == pseudoMercator {
		for _, i := range []int{pLat0, pSP1, pSP2, pSphere} {
			if g[i].v != 0 {
				return &Error{Rule: RuleProjection, Name: short(name.name() + ", " + g[i].node.name()), Byte: g[i].node.at}
			}
		}
		if s.p.scale != 1 {
			return refused
		}
	} else if g[pSphere].node != nil {
		return refused
	}
	return nil
}

// isWebMercator knows the two texts that say Web Mercator with the name of
// another projection: GDAL's, with a PROJ string beside it, and ESRI's first
// one, on a sphere.
func (s *System) isWebMercator(n, name *node) bool {
	switch key(name.name()) {
	case "mercator", "mercator1sp", "mercator2sp":
	default:
		return false
	}
	if s.figure.f == 0 {
		return true
	}
	for _, e := range n.children("EXTENSION") {
		if w := strings.Fields(e.word(1)); strings.EqualFold(e.word(0), "PROJ4") &&
			contains(w, "+proj=merc") && contains(w, "+a=6378137") && contains(w, "+b=6378137") {
			return true
		}
	}
	return false
}

// value is a parameter in degrees, in the system's unit or as it is. WKT 2 gives
// each its unit; without one it has the system's.
func (s *System) value(p *node, i int) (float64, *Error) {
	v, err := p.number(1)
	if err != nil {
		return 0, err
	}
	if i == pScale || i == pSphere {
		return v, nil
	}
	u := p.child("ANGLEUNIT", "LENGTHUNIT", "UNIT")
	if u == nil {
		return v, nil
	}
	if i == pEast || i == pNorth {
		l, err := s.lengthOf(u)
		if err != nil {
			return 0, err
		}
		if l.metres == s.unit.metres {
			return v, nil
		}
		return v * l.metres / s.unit.metres, nil
	}
	f, err := u.number(1)
	if err != nil {
		return 0, err
	}
	if math.Abs(f-rad) <= sameDegree*rad {
		return v, nil
	}
	return v * f / rad, nil
}

// take puts the given parameters in their places and names the first that must
// be there and is not: an assumed scale or origin would put ground elsewhere
// without a word.
func (s *System) take(g *[pCount]given, parallels int) (missing string) {
	s.p = parameters{lat0: g[pLat0].v, lon0: g[pLon0].v, scale: 1, east: g[pEast].v, north: g[pNorth].v}
	type need struct {
		i    int
		name string
	}
	must := []need{{pLon0, "central meridian"}, {pEast, "false easting"}, {pNorth, "false northing"}}
	if s.method != pseudoMercator {
		must = append(must, need{pLat0, "latitude of origin"})
	}
	if s.method == transverseMercator || parallels < 0 {
		must = append(must, need{pScale, "scale factor"})
	}
	if parallels > 0 {
		must = append(must, need{pSP1, "standard parallel 1"})
	}
	if parallels > 1 {
		must = append(must, need{pSP2, "standard parallel 2"})
	}
	for _, m := range must {
		if g[m.i].node == nil {
			return m.name
		}
	}
	if g[pScale].node != nil {
		s.p.scale = g[pScale].v
	}
	switch {
	case s.method == transverseMercator || s.method == pseudoMercator:
	case parallels < 0:
		s.p.sp1, s.p.sp2 = s.p.lat0, s.p.lat0
	case g[pSP2].node == nil:
		s.p.sp1, s.p.sp2 = g[pSP1].v, g[pSP1].v
	default:
		s.p.sp1, s.p.sp2 = g[pSP1].v, g[pSP2].v
	}
	return ""
}

// identify finds the system's code and area of use.
func (s *System) identify(n *node) *Error {
	r := tables()
	id := n.child("AUTHORITY", "ID")
	named := 0
	if id != nil && strings.EqualFold(id.word(0), "EPSG") {
		named, _ = strconv.Atoi(id.word(1))
	}
	if t, ok := alias[named]; ok {
		named = t
	}
	if t := r.codes[named]; t != nil && t.datum == s.datum && t.same(s) {
		s.code, s.use = named, t.use
		return nil
	}
	_, refused := r.refused[named]
	if named > 0 && (r.codes[named] != nil || refused) {
		s.note(RuleContradict, "EPSG:"+strconv.Itoa(named), id.at)
		named = 0
	}
	if t := r.twin(s); t != nil {
		s.code, s.use = t.code, t.use
		return nil
	}
	if named > 0 && named <= maxCode {
		s.code = named
	}
	return s.bounded(n)
}

// bounded takes the area of use from the text's own box, south, west, north,
// east (ISO 19162, 7.3.2.3).
func (s *System) bounded(n *node) *Error {
	b := n.child("BBOX")
	if u := n.child("USAGE"); b == nil && u != nil {
		b = u.child("BBOX")
	}
	if b == nil {
		return nil
	}
	var v [4]float64
	for i := range v {
		var err *Error
		if v[i], err = b.number(i); err != nil {
			return err
		}
	}
	if box := (orb.Bound{Min: orb.Point{v[1], v[0]}, Max: orb.Point{v[3], v[2]}}); v[0] <= v[2] && inWorld(box.Min) && inWorld(box.Max) {
		s.use = box
	}
	return nil
}

func inWorld(p orb.Point) bool { return math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90 }
