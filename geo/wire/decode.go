package wire

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// DecodeGeometry reads one GeoJSON geometry object and nothing after it; null
// gives the empty geometry. Rings come as written, closed, in either
// direction; crossing lines are not looked for (geo/valid does). The error is
// an *Error.
func DecodeGeometry(data []byte, l Limits) (geo.Geometry, error) {
	l = l.filled()
	if int64(len(data)) > l.Bytes {
		return geo.Geometry{}, &Error{Rule: RuleBytes, Limit: l.Bytes}
	}
	d := decoder{scanner: scanner{data: data, most: l.Depth}, vertices: l.Vertices, most: l.Vertices}
	if d.peek(); d.at == len(data) {
		return geo.Geometry{}, &Error{Rule: RuleNothing}
	}
	g, err := d.geometry("")
	if err == nil {
		err = d.end()
	}
	if err != nil {
		return geo.Geometry{}, err
	}
	return g, nil
}

// decoder reads shapes. One decoder serves one file: vertices counts down.
type decoder struct {
	scanner
	vertices int // still allowed
	most     int // allowed in all
	lenient  bool
	raw      bool

	departures []*Error
	path       []int // indices inside coordinates
	base       string
	kind       string // type of the shape being read
	heights    []float64
	measures   []float64
	hasHeight  bool
	hasMeasure bool
	crs        string
}

// geometry reads a geometry object or null.
func (d *decoder) geometry(base string) (geo.Geometry, *Error) {
	d.heights, d.measures, d.hasHeight, d.hasMeasure = nil, nil, false, false
	flat, err := d.shape(base)
	if err != nil || flat == nil {
		return geo.Geometry{}, err
	}
	g := geo.Geometry{Flat: flat}
	if d.hasMeasure {
		g.Measures = d.measures
	}
	if d.hasHeight && !(d.hasMeasure && allZero(d.heights)) {
		g.Heights = d.heights
	}
	return g, nil
}

func allZero(values []float64) bool {
	for _, v := range values {
		if v != 0 && !math.IsNaN(v) {
			return false
		}
	}
	return true
}

// members finds where the values of an object start, without reading them.
func (d *decoder) members(base string) (map[string]int, int, *Error) {
	start := d.at
	found := map[string]int{}
	err := d.object(func(name string, nameAt int) *Error {
		if _, twice := found[name]; twice {
			e := d.fail(RuleDuplicateKey, nameAt)
			e.Path, e.Got = join(base, name), name
			return e
		}
		d.space()
		found[name] = d.at
		return d.skip()
	})
	if err != nil && err.Path == "" {
		err.Path = base
	}
	return found, start, err
}

func join(base, name string) string {
	if base == "" {
		return name
	}
	return base + "." + name
}

// shape reads a geometry object; null gives nil.
func (d *decoder) shape(base string) (orb.Geometry, *Error) {
	if d.peek() == 'n' {
		return nil, d.skip()
	}
	found, start, err := d.members(base)
	if err != nil {
		return nil, err
	}
	after := d.at
	defer func() { d.at = after }()
	if err := d.readCRS(found); err != nil {
		return nil, err
	}
	kind, err := d.typeName(base, found, start)
	if err != nil {
		return nil, err
	}
	if kind == "GeometryCollection" {
		return d.collection(base, found, start)
	}
	read, known := readers[kind]
	if !known {
		e := d.fail(RuleType, found["type"])
		e.Path, e.Got = join(base, "type"), shorten(kind)
		return nil, e
	}
	at, ok := found["coordinates"]
	if !ok {
		e := d.fail(RuleMember, start)
		e.Path, e.Got = join(base, "coordinates"), ""
		return nil, e
	}
	d.at, d.base, d.kind, d.path = at, join(base, "coordinates"), kind, d.path[:0]
	return read(d)
}

func shorten(s string) string {
	if len(s) > maxGot {
		s = strings.ToValidUTF8(s[:maxGot], "")
	}
	return s
}

// typeName reads the type member, which RFC 7946 compares letter by letter.
func (d *decoder) typeName(base string, found map[string]int, start int) (string, *Error) {
	at, ok := found["type"]
	if !ok {
		e := d.fail(RuleType, start)
		e.Path, e.Got = join(base, "type"), ""
		return "", e
	}
	d.at = at
	if d.peek() != '"' {
		e := d.fail(RuleType, at)
		e.Path = join(base, "type")
		return "", e
	}
	return d.text()
}

func (d *decoder) collection(base string, found map[string]int, start int) (orb.Geometry, *Error) {
	at, ok := found["geometries"]
	if !ok {
		e := d.fail(RuleMember, start)
		e.Path, e.Got = join(base, "geometries"), ""
		return nil, e
	}
	d.at = at
	all := orb.Collection{}
	err := d.array(func(i int) *Error {
		path := fmt.Sprintf("%s[%d]", join(base, "geometries"), i)
		g, err := d.shape(path)
		if err != nil {
			return err
		}
		if g == nil {
			if d.lenient {
				return nil
			}
			e := d.fail(RuleEmpty, d.at)
			e.Path, e.Got = path, ""
			return e
		}
		all = append(all, g)
		return nil
	})
	if err != nil {
		if err.Path == "" {
			err.Path = join(base, "geometries")
		}
		return nil, err
	}
	if len(all) == 0 {
		d.base, d.kind, d.path = join(base, "geometries"), "GeometryCollection", d.path[:0]
		return nil, d.departOr(d.placed(RuleEmpty, at))
	}
	return all, nil
}

var readers = map[string]func(*decoder) (orb.Geometry, *Error){
	"Point":           (*decoder).point,
	"MultiPoint":      (*decoder).multiPoint,
	"LineString":      (*decoder).lineString,
	"MultiLineString": (*decoder).multiLineString,
	"Polygon":         (*decoder).polygon,
	"MultiPolygon":    (*decoder).multiPolygon,
}

// placed is an error at the indices the decoder stands at, read as part, ring
// and vertex according to the type.
func (d *decoder) placed(rule Rule, at int) *Error {
	e := d.fail(rule, at)
	return d.place(e)
}

func (d *decoder) place(e *Error) *Error {
	var path strings.Builder
	path.WriteString(d.base)
	for _, i := range d.path {
		fmt.Fprintf(&path, "[%d]", i)
	}
	e.Path = path.String()
	names := map[string][]*int{
		"MultiPoint":      {&e.Part},
		"LineString":      {&e.Vertex},
		"MultiLineString": {&e.Part, &e.Vertex},
		"Polygon":         {&e.Ring, &e.Vertex},
		"MultiPolygon":    {&e.Part, &e.Ring, &e.Vertex},
	}[d.kind]
	for i, name := range names {
		if i < len(d.path) {
			*name = d.path[i] + 1
		}
	}
	return e
}

// departOr notes a departure when lenient and gives it as the error otherwise.
// Departures of one rule in one shape are one note with a count.
func (d *decoder) departOr(e *Error) *Error {
	if !d.lenient {
		return e
	}
	for _, before := range d.departures {
		sameRing := before.Part == e.Part && before.Ring == e.Ring
		if before.Rule == e.Rule && (e.Rule == RuleLongitude || sameRing) {
			before.Count++
			return nil
		}
	}
	e.Count = 1
	d.departures = append(d.departures, e)
	return nil
}

// elements reads an array, keeping the path.
func (d *decoder) elements(element func() *Error) *Error {
	if d.peek() != '[' {
		if e := d.wrong(RuleArray); e.Rule != RuleArray {
			return e
		}
		return d.placed(RuleArray, d.at)
	}
	d.path = append(d.path, 0)
	level := len(d.path) - 1
	err := d.array(func(i int) *Error {
		d.path[level] = i
		return element()
	})
	if err != nil {
		if err.Path == "" {
			d.place(err)
		}
		return err
	}
	d.path = d.path[:level]
	return nil
}

// position reads one position; ok is false for [].
func (d *decoder) position() (p orb.Point, ok bool, err *Error) {
	at := d.at
	v := [4]float64{2: math.NaN(), 3: math.NaN()}
	var places [2]int
	n, whole := 0, 0
	err = d.array(func(i int) *Error {
		if i >= len(v) {
			return d.placed(RulePosition, at)
		}
		d.peek()
		if i < 2 {
			places[i] = d.at
		}
		from := d.at
		x, err := d.number()
		if err != nil {
			return d.ordinate(err, i)
		}
		v[i], n = x, i+1
		if !bytes.ContainsAny(d.data[from:d.at], ".eE") {
			whole++
		}
		return nil
	})
	switch {
	case err != nil:
		if err.Path == "" {
			d.place(err)
		}
		return p, false, err
	case n == 0:
		return p, false, nil
	case n == 1:
		return p, false, d.placed(RulePosition, at)
	}
	if whole == len(v) && d.lenient && cutInTwo(v) {
		e := d.placed(RuleDecimalComma, at)
		e.Got = shorten(string(d.data[at:d.at]))
		return p, false, e
	}
	if d.vertices--; d.vertices < 0 {
		e := d.placed(RuleVertices, at)
		e.Limit = int64(d.most)
		return p, false, e
	}
	p = orb.Point{v[0], v[1]}
	if p[0], err = d.longitude(p, places[0]); err != nil {
		return p, false, err
	}
	if math.Abs(p[1]) > 90 && !d.raw {
		e := d.placed(RuleLatitude, places[1])
		e.At = &[2]float64{v[0], v[1]}
		return p, false, e
	}
	d.heights, d.measures = append(d.heights, v[2]), append(d.measures, v[3])
	d.hasHeight = d.hasHeight || n > 2
	d.hasMeasure = d.hasMeasure || n > 3
	return p, true, nil
}

// cutInTwo reports whether four whole numbers are two with decimal commas, as in
// [-94,4418,36,3127]. A position with a height and a time, all of them whole,
// has a latitude in second and Unix seconds in fourth place.
func cutInTwo(v [4]float64) bool {
	const seconds = 1e8 // March 1973
	time := math.Abs(v[1]) <= 90 && (v[3] >= seconds || v[3] == 0)
	return !time && v[1] >= 0 && v[3] >= 0 && math.Abs(v[0]) <= 180 && math.Abs(v[2]) <= 90
}

// ordinate says which number of a position was wrong.
func (d *decoder) ordinate(e *Error, i int) *Error {
	d.path = append(d.path, i)
	d.place(e)
	d.path = d.path[:len(d.path)-1]
	return e
}

// longitude brings a longitude on a neighbouring copy of the map back when
// lenient. Maps wrap once in practice; further turns are taken for garbage.
func (d *decoder) longitude(p orb.Point, at int) (float64, *Error) {
	lon := p[0]
	if math.Abs(lon) <= 180 || d.raw {
		return lon, nil
	}
	e := d.placed(RuleLongitude, at)
	e.At = &[2]float64{p[0], p[1]}
	if !d.lenient || math.Abs(lon) > 540 || math.Abs(p[1]) > 90 {
		return 0, e
	}
	return lon - math.Copysign(360, lon), d.departOr(e)
}

func (d *decoder) point() (orb.Geometry, *Error) {
	at := d.at
	if d.peek() != '[' {
		return nil, d.notArray()
	}
	p, ok, err := d.position()
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, d.departOr(d.placed(RuleEmpty, at))
	}
	return p, nil
}

func (d *decoder) notArray() *Error {
	if e := d.wrong(RuleArray); e.Rule != RuleArray {
		return e
	}
	return d.placed(RuleArray, d.at)
}

// run reads a list of positions.
func (d *decoder) run() ([]orb.Point, *Error) {
	points := []orb.Point{}
	err := d.elements(func() *Error {
		at := d.at
		if d.peek() != '[' {
			return d.notArray()
		}
		p, ok, err := d.position()
		if err != nil {
			return err
		}
		if !ok {
			return d.placed(RulePosition, at)
		}
		points = append(points, p)
		return nil
	})
	return points, err
}

func (d *decoder) multiPoint() (orb.Geometry, *Error) {
	at := d.at
	points, err := d.run()
	if err != nil {
		return nil, err
	}
	if len(points) == 0 {
		return nil, d.departOr(d.placed(RuleEmpty, at))
	}
	return orb.MultiPoint(points), nil
}

// line reads a line's positions; nil when it has none and that is tolerated.
func (d *decoder) line() (orb.LineString, *Error) {
	at := d.at
	points, err := d.run()
	switch {
	case err != nil:
		return nil, err
	case len(points) == 0:
		return nil, d.departOr(d.placed(RuleEmpty, at))
	case len(points) == 1:
		return nil, d.placed(RuleShortLine, at)
	}
	return orb.LineString(points), nil
}

func (d *decoder) lineString() (orb.Geometry, *Error) {
	line, err := d.line()
	if err != nil || line == nil {
		return nil, err
	}
	return line, nil
}

func (d *decoder) multiLineString() (orb.Geometry, *Error) {
	lines, err := several(d, d.line)
	if err != nil || lines == nil {
		return nil, err
	}
	return orb.MultiLineString(lines), nil
}

// several reads an array of parts, empty ones left out where that is
// tolerated; nil when none is left.
func several[P ~[]E, E any](d *decoder, read func() (P, *Error)) ([]P, *Error) {
	at := d.at
	var parts []P
	err := d.elements(func() *Error {
		part, err := read()
		if part != nil {
			parts = append(parts, part)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(parts) == 0 {
		return nil, d.departOr(d.placed(RuleEmpty, at))
	}
	return parts, nil
}

// ring reads a ring; nil when it is empty and that is tolerated.
func (d *decoder) ring() (orb.Ring, *Error) {
	at := d.at
	points, err := d.run()
	if err != nil {
		return nil, err
	}
	if len(points) == 0 {
		return nil, d.departOr(d.placed(RuleEmpty, at))
	}
	if len(points) < 3 {
		return nil, d.placed(RuleShortRing, at)
	}
	if first, last := points[0], points[len(points)-1]; first != last {
		e := d.placed(RuleUnclosed, at)
		e.Got, e.At = "", &[2]float64{last[0], last[1]}
		if err := d.departOr(e); err != nil {
			return nil, err
		}
		points = d.closed(points)
	}
	if len(points) < 4 {
		return nil, d.placed(RuleShortRing, at)
	}
	return orb.Ring(points), nil
}

// closed adds the first vertex of the ring just read at its end.
func (d *decoder) closed(points []orb.Point) []orb.Point {
	first := len(d.heights) - len(points)
	d.heights = append(d.heights, d.heights[first])
	d.measures = append(d.measures, d.measures[first])
	d.vertices--
	return append(points, points[0])
}

// rings reads a polygon; nil when it is empty and that is tolerated. A polygon
// whose shell is empty has no ground, whatever holes follow.
func (d *decoder) rings() (orb.Polygon, *Error) {
	at := d.at
	var poly orb.Polygon
	shellless := false
	vertices := len(d.heights)
	err := d.elements(func() *Error {
		ring, err := d.ring()
		if err != nil {
			return err
		}
		if ring == nil {
			shellless = shellless || d.path[len(d.path)-1] == 0
			return nil
		}
		poly = append(poly, ring)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if shellless {
		d.heights, d.measures = d.heights[:vertices], d.measures[:vertices]
		return nil, nil
	}
	if len(poly) == 0 {
		return nil, d.departOr(d.placed(RuleEmpty, at))
	}
	return poly, nil
}

func (d *decoder) polygon() (orb.Geometry, *Error) {
	poly, err := d.rings()
	if err != nil || poly == nil {
		return nil, err
	}
	return poly, nil
}

func (d *decoder) multiPolygon() (orb.Geometry, *Error) {
	polys, err := several(d, d.rings)
	if err != nil || polys == nil {
		return nil, err
	}
	return orb.MultiPolygon(polys), nil
}

// readCRS notes a crs member of the 2008 specification, which RFC 7946 section
// 4 withdrew: what it names decides whether the numbers are degrees at all.
func (d *decoder) readCRS(found map[string]int) *Error {
	at, ok := found["crs"]
	if !ok {
		return nil
	}
	back := d.at
	defer func() { d.at = back }()
	d.at = at
	if d.peek() == 'n' {
		return nil
	}
	d.crs = crsName(d.data[at:], d.scanner.most)
	return nil
}

// crsName is the name in {"type":"name","properties":{"name":...}}, or the
// start of whatever else the member says.
func crsName(data []byte, depth int) string {
	s := scanner{data: data, most: depth}
	name := ""
	err := s.object(func(key string, _ int) *Error {
		if key != "properties" || s.peek() != '{' {
			return s.skip()
		}
		return s.object(func(key string, _ int) *Error {
			// Before 2008 {"type":"EPSG","properties":{"code":32615}} said the same.
			if c := s.peek(); key == "code" && c >= '0' && c <= '9' {
				raw, err := s.numeral()
				name = "EPSG:" + string(raw)
				return err
			}
			if (key != "name" && key != "href") || s.peek() != '"' {
				return s.skip()
			}
			text, err := s.text()
			name = text
			return err
		})
	})
	if err != nil || name == "" {
		return shorten(string(bytes.TrimSpace(data[:min(len(data), maxGot)])))
	}
	return name
}
