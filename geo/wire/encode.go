package wire

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// EncodeGround writes ground in the plainest form that holds it: null for none, a
// Polygon for one piece, else a MultiPolygon. Errors as EncodeGeometry.
func EncodeGround(mp orb.MultiPolygon) (json.RawMessage, error) {
	switch len(mp) {
	case 0:
		return json.RawMessage("null"), nil
	case 1:
		return EncodeGeometry(geo.Geometry{Flat: mp[0]})
	}
	return EncodeGeometry(geo.Geometry{Flat: mp})
}

// EncodeGeometry writes a GeoJSON geometry object (RFC 7946): shells
// counter-clockwise, holes clockwise, rings closed, each number with the fewest
// digits that read back to the same float64. No shape gives null. Equal shapes
// give equal bytes. The error is an *Error: a number that is not finite
// (RuleNumber), heights or measures that do not match the vertices (RuleCount),
// a type GeoJSON has none for (RuleShape).
func EncodeGeometry(g geo.Geometry) (json.RawMessage, error) {
	if g.Empty() {
		return json.RawMessage("null"), nil
	}
	if err := matching(g); err != nil {
		return nil, err
	}
	w := writer{heights: g.Heights, measures: g.Measures, out: make([]byte, 0, 64+24*Vertices(g.Flat))}
	if err := w.shape(g.Flat); err != nil {
		return nil, err
	}
	return w.out, nil
}

// EncodeFeature writes a GeoJSON Feature on one line. Properties go out byte
// for byte; nil gives null. Bbox and Foreign members of what was read are not
// repeated by reading and writing alone: Foreign goes out as given.
func EncodeFeature(f Feature) (json.RawMessage, error) {
	shape, err := EncodeGeometry(f.Geometry)
	if err != nil {
		return nil, err
	}
	out := []byte(`{"type":"Feature"`)
	switch f.IDKind {
	case StringID:
		out = appendText(append(out, `,"id":`...), f.ID)
	case NumberID:
		out = append(append(out, `,"id":`...), f.ID...)
	}
	out = append(append(out, `,"geometry":`...), shape...)
	out = append(out, `,"properties":`...)
	if f.Properties == nil {
		out = append(out, "null"...)
	} else {
		out = append(out, f.Properties...)
	}
	for _, m := range f.Foreign {
		out = append(appendText(append(out, ','), m.Name), ':')
		out = append(out, m.Value...)
	}
	return append(out, '}'), nil
}

// Vertices counts the positions of a shape, closing ones included.
func Vertices(g orb.Geometry) int {
	n := 0
	switch g := g.(type) {
	case orb.Point:
		n = 1
	case orb.MultiPoint:
		n = len(g)
	case orb.LineString:
		n = len(g)
	case orb.MultiLineString:
		for _, l := range g {
			n += len(l)
		}
	case orb.Ring:
		n = len(g)
	case orb.Polygon:
		for _, r := range g {
			n += len(r)
		}
	case orb.MultiPolygon:
		for _, p := range g {
			n += Vertices(p)
		}
	case orb.Collection:
		for _, c := range g {
			n += Vertices(c)
		}
	}
	return n
}

func matching(g geo.Geometry) error {
	n := Vertices(g.Flat)
	if g.Heights != nil && len(g.Heights) != n {
		return &Error{Rule: RuleCount, Byte: -1, Err: fmt.Errorf("%d heights for %d vertices", len(g.Heights), n)}
	}
	if g.Measures != nil && len(g.Measures) != n {
		return &Error{Rule: RuleCount, Byte: -1, Err: fmt.Errorf("%d measures for %d vertices", len(g.Measures), n)}
	}
	return nil
}

// writer writes shapes; vertex is the number of the next one.
type writer struct {
	out      []byte
	vertex   int
	heights  []float64
	measures []float64
}

func (w *writer) shape(g orb.Geometry) error {
	kind, err := kindOf(g)
	if err != nil {
		return err
	}
	w.out = append(append(append(w.out, `{"type":"`...), kind...), '"')
	if all, ok := g.(orb.Collection); ok {
		w.out = append(w.out, `,"geometries":[`...)
		for i, c := range all {
			w.comma(i)
			if err := w.shape(c); err != nil {
				return err
			}
		}
		w.out = append(w.out, "]}"...)
		return nil
	}
	w.out = append(w.out, `,"coordinates":`...)
	if err := w.coordinates(g); err != nil {
		return err
	}
	w.out = append(w.out, '}')
	return nil
}

func kindOf(g orb.Geometry) (string, error) {
	switch g.(type) {
	case orb.Point, orb.MultiPoint, orb.LineString, orb.MultiLineString, orb.Polygon, orb.MultiPolygon, orb.Collection:
		return g.GeoJSONType(), nil
	case orb.Ring:
		return "Polygon", nil
	}
	return "", &Error{Rule: RuleShape, Byte: -1, Err: fmt.Errorf("no encoding for %T", g)}
}

func (w *writer) comma(i int) {
	if i > 0 {
		w.out = append(w.out, ',')
	}
}

func (w *writer) coordinates(g orb.Geometry) error {
	switch g := g.(type) {
	case orb.Point:
		return w.position(g, w.step())
	case orb.MultiPoint:
		return w.run(g)
	case orb.LineString:
		return w.run(g)
	case orb.MultiLineString:
		return list(w, g, func(_ int, l orb.LineString) error { return w.run(l) })
	case orb.Ring:
		return w.polygon(orb.Polygon{g})
	case orb.Polygon:
		return w.polygon(g)
	case orb.MultiPolygon:
		return list(w, g, func(_ int, p orb.Polygon) error { return w.polygon(p) })
	}
	return nil
}

func list[T any](w *writer, all []T, each func(int, T) error) error {
	w.out = append(w.out, '[')
	for i, one := range all {
		w.comma(i)
		if err := each(i, one); err != nil {
			return err
		}
	}
	w.out = append(w.out, ']')
	return nil
}

func (w *writer) step() int {
	w.vertex++
	return w.vertex - 1
}

func (w *writer) run(points []orb.Point) error {
	return list(w, points, func(_ int, p orb.Point) error { return w.position(p, w.step()) })
}

func (w *writer) polygon(p orb.Polygon) error {
	return list(w, p, func(i int, r orb.Ring) error { return w.ring(r, i == 0) })
}

// ring writes a ring closed and in the direction RFC 7946 section 3.1.6 asks
// for. The first vertex stays the first, and heights and measures stay with
// their vertices.
func (w *writer) ring(r orb.Ring, shell bool) error {
	base, n := w.vertex, len(r)
	w.vertex += n
	turn := signedArea(r)
	backwards := turn != 0 && (turn > 0) != shell
	w.out = append(w.out, '[')
	for i := range r {
		j := i
		if backwards && i > 0 {
			j = n - i
			if r[0] == r[n-1] {
				j = n - 1 - i
			}
		}
		w.comma(i)
		if err := w.position(r[j], base+j); err != nil {
			return err
		}
	}
	if n > 1 && r[0] != r[n-1] {
		w.comma(1)
		if err := w.position(r[0], base); err != nil {
			return err
		}
	}
	w.out = append(w.out, ']')
	return nil
}

// signedArea is twice the area in square degrees, positive counter-clockwise;
// only its sign means anything. Longitudes are followed across 180 degrees.
func signedArea(r orb.Ring) float64 {
	if len(r) == 0 {
		return 0
	}
	var sum, x float64
	origin := r[0]
	prevX, prevY := 0.0, 0.0
	for i := 1; i <= len(r); i++ {
		p, q := r[i-1], r[i%len(r)]
		step := q[0] - p[0]
		if step > 180 {
			step -= 360
		} else if step < -180 {
			step += 360
		}
		x += step
		y := q[1] - origin[1]
		sum += prevX*y - x*prevY
		prevX, prevY = x, y
	}
	return sum
}

func (w *writer) position(p orb.Point, vertex int) error {
	w.out = append(w.out, '[')
	if err := w.number(p[0], vertex); err != nil {
		return err
	}
	w.out = append(w.out, ',')
	if err := w.number(p[1], vertex); err != nil {
		return err
	}
	z, m := valueAt(w.heights, vertex), valueAt(w.measures, vertex)
	if !math.IsNaN(m) && math.IsNaN(z) {
		z = 0
	}
	for _, v := range []float64{z, m} {
		if math.IsNaN(v) {
			break
		}
		w.out = append(w.out, ',')
		if err := w.number(v, vertex); err != nil {
			return err
		}
	}
	w.out = append(w.out, ']')
	return nil
}

func valueAt(values []float64, i int) float64 {
	if values == nil {
		return math.NaN()
	}
	return values[i]
}

func (w *writer) number(v float64, vertex int) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return &Error{Rule: RuleNumber, Vertex: vertex + 1, Byte: -1, Got: strconv.FormatFloat(v, 'g', -1, 64)}
	}
	if v == 0 {
		v = 0
	}
	// The bounds that ECMAScript, and so every browser, switches notation at.
	format := byte('f')
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		format = 'e'
	}
	w.out = strconv.AppendFloat(w.out, v, format, -1, 64)
	return nil
}
