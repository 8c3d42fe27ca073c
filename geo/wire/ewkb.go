package wire

import (
	"encoding/binary"
	"fmt"
	"math"

	"caneward/geo"

	"github.com/paulmach/orb"
	"github.com/twpayne/go-geom"
	"github.com/twpayne/go-geom/encoding/ewkb"
)

// SRID is what EWKB calls WGS 84 longitude, latitude in degrees.
const SRID = 4326

// EncodeEWKB writes little-endian EWKB with SRID 4326, in XY, XYZ, XYM or XYZM
// by which of Heights and Measures are set. Equal geometries give equal bytes;
// no shape gives no bytes. The error is an *Error, as for EncodeGeometry.
func EncodeEWKB(g geo.Geometry) ([]byte, error) {
	if g.Empty() {
		return []byte{}, nil
	}
	if err := matching(g); err != nil {
		return nil, err
	}
	f := flattener{heights: g.Heights, measures: g.Measures, layout: layoutOf(g)}
	t, err := f.shape(g.Flat)
	if err != nil {
		return nil, err
	}
	setSRID(t)
	out, err := ewkb.Marshal(t, ewkb.NDR)
	if err != nil {
		return nil, &Error{Rule: RuleShape, Byte: -1, Err: err}
	}
	return out, nil
}

func layoutOf(g geo.Geometry) geom.Layout {
	switch {
	case g.Heights != nil && g.Measures != nil:
		return geom.XYZM
	case g.Heights != nil:
		return geom.XYZ
	case g.Measures != nil:
		return geom.XYM
	}
	return geom.XY
}

func setSRID(t geom.T) {
	switch t := t.(type) {
	case *geom.Point:
		t.SetSRID(SRID)
	case *geom.MultiPoint:
		t.SetSRID(SRID)
	case *geom.LineString:
		t.SetSRID(SRID)
	case *geom.MultiLineString:
		t.SetSRID(SRID)
	case *geom.Polygon:
		t.SetSRID(SRID)
	case *geom.MultiPolygon:
		t.SetSRID(SRID)
	case *geom.GeometryCollection:
		t.SetSRID(SRID)
	}
}

// flattener lays positions, heights and measures out one after the other.
type flattener struct {
	vertex   int
	heights  []float64
	measures []float64
	layout   geom.Layout
	coords   []float64
}

func (f *flattener) add(points []orb.Point) error {
	for _, p := range points {
		for _, v := range p {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return &Error{Rule: RuleNumber, Vertex: f.vertex + 1, Byte: -1, Got: fmt.Sprint(v)}
			}
			if v == 0 {
				v = 0 // minus zero
			}
			f.coords = append(f.coords, v)
		}
		if f.heights != nil {
			f.coords = append(f.coords, oneNaN(f.heights[f.vertex]))
		}
		if f.measures != nil {
			f.coords = append(f.coords, oneNaN(f.measures[f.vertex]))
		}
		f.vertex++
	}
	return nil
}

// oneNaN gives every NaN the same bits.
func oneNaN(v float64) float64 {
	if math.IsNaN(v) {
		return math.NaN()
	}
	return v
}

func (f *flattener) runs(runs [][]orb.Point) (ends []int, err error) {
	for _, run := range runs {
		if err := f.add(run); err != nil {
			return nil, err
		}
		ends = append(ends, len(f.coords))
	}
	return ends, nil
}

func (f *flattener) shape(g orb.Geometry) (geom.T, error) {
	f.coords = nil
	switch g := g.(type) {
	case orb.Point:
		err := f.add([]orb.Point{g})
		return geom.NewPointFlat(f.layout, f.coords), err
	case orb.MultiPoint:
		err := f.add(g)
		return geom.NewMultiPointFlat(f.layout, f.coords), err
	case orb.LineString:
		err := f.add(g)
		return geom.NewLineStringFlat(f.layout, f.coords), err
	case orb.MultiLineString:
		ends, err := f.runs(asRuns(g))
		return geom.NewMultiLineStringFlat(f.layout, f.coords, ends), err
	case orb.Ring:
		ends, err := f.runs([][]orb.Point{g})
		return geom.NewPolygonFlat(f.layout, f.coords, ends), err
	case orb.Polygon:
		ends, err := f.runs(asRuns(g))
		return geom.NewPolygonFlat(f.layout, f.coords, ends), err
	case orb.MultiPolygon:
		return f.multiPolygon(g)
	case orb.Collection:
		return f.collection(g)
	}
	return nil, &Error{Rule: RuleShape, Byte: -1, Err: fmt.Errorf("no encoding for %T", g)}
}

func asRuns[T ~[]orb.Point](all []T) [][]orb.Point {
	runs := make([][]orb.Point, len(all))
	for i, one := range all {
		runs[i] = one
	}
	return runs
}

func (f *flattener) multiPolygon(g orb.MultiPolygon) (geom.T, error) {
	var endss [][]int
	for _, p := range g {
		ends, err := f.runs(asRuns(p))
		if err != nil {
			return nil, err
		}
		endss = append(endss, ends)
	}
	return geom.NewMultiPolygonFlat(f.layout, f.coords, endss), nil
}

func (f *flattener) collection(g orb.Collection) (geom.T, error) {
	all := geom.NewGeometryCollection()
	for _, c := range g {
		t, err := f.shape(c)
		if err != nil {
			return nil, err
		}
		if err := all.Push(t); err != nil {
			return nil, &Error{Rule: RuleShape, Byte: -1, Err: err}
		}
	}
	if len(g) == 0 {
		if err := all.SetLayout(f.layout); err != nil {
			return nil, &Error{Rule: RuleShape, Byte: -1, Err: err}
		}
	}
	return all, nil
}

// DecodeEWKB reads what EncodeEWKB wrote, and any other EWKB of the seven types
// in either byte order whose SRID is 4326 or absent. No bytes give the empty
// geometry. Counts are checked against the bytes there are before anything is
// allocated. The error is an *Error.
func DecodeEWKB(data []byte) (geo.Geometry, error) {
	if len(data) == 0 {
		return geo.Geometry{}, nil
	}
	end, err := measureEWKB(data, 0)
	if err == nil && end != len(data) {
		err = fmt.Errorf("%d bytes follow", len(data)-end)
	}
	if err != nil {
		return geo.Geometry{}, &Error{Rule: RuleShape, Byte: int64(end), Err: err}
	}
	t, err := ewkb.Unmarshal(data)
	if err != nil {
		return geo.Geometry{}, &Error{Rule: RuleShape, Byte: -1, Err: err}
	}
	if t.SRID() != SRID && t.SRID() != 0 {
		return geo.Geometry{}, &Error{Rule: RuleShape, Byte: -1, Err: fmt.Errorf("coordinate system %d, not %d", t.SRID(), SRID)}
	}
	u := unflattener{}
	flat, err := u.shape(t)
	if err != nil {
		return geo.Geometry{}, &Error{Rule: RuleShape, Byte: -1, Err: err}
	}
	g := geo.Geometry{Flat: flat, Heights: u.heights, Measures: u.measures}
	if err := matching(g); err != nil {
		return geo.Geometry{}, err
	}
	return g, nil
}

// EWKB type bits and codes (OGC 06-103r4 part 1 section 8.2.8 for the codes).
const (
	ewkbZ    = 0x80000000
	ewkbM    = 0x40000000
	ewkbSRID = 0x20000000

	ewkbPoint           = 1
	ewkbLine            = 2
	ewkbPolygon         = 3
	ewkbCollection      = 7
	maxEWKBDepth        = 40
	ewkbHeader          = 5 // byte order and type
	ewkbCount           = 4
	bytesPerOrdinate    = 8
	smallestEWKBElement = ewkbHeader
)

// measureEWKB gives the offset after the shape that starts at the head of
// data, so that go-geom never allocates for counts that the bytes cannot hold.
func measureEWKB(data []byte, depth int) (int, error) {
	if depth > maxEWKBDepth {
		return 0, fmt.Errorf("nested deeper than %d", maxEWKBDepth)
	}
	if len(data) < ewkbHeader {
		return 0, fmt.Errorf("ends in a header")
	}
	var order binary.ByteOrder = binary.LittleEndian
	if data[0] == 0 {
		order = binary.BigEndian
	}
	code := order.Uint32(data[1:])
	at := ewkbHeader
	if code&ewkbSRID != 0 {
		at += 4
	}
	stride := 2 * bytesPerOrdinate
	for _, bit := range []uint32{ewkbZ, ewkbM} {
		if code&bit != 0 {
			stride += bytesPerOrdinate
		}
	}
	switch kind := code &^ (ewkbZ | ewkbM | ewkbSRID); {
	case kind == ewkbPoint:
		return fits(data, at, 1, stride)
	case kind == ewkbLine:
		n, at, err := count(data, at, order)
		if err != nil {
			return at, err
		}
		return fits(data, at, n, stride)
	case kind == ewkbPolygon:
		return measureRings(data, at, order, stride)
	case kind <= ewkbCollection && kind > ewkbPolygon:
		return measureParts(data, at, order, depth)
	default:
		return at, fmt.Errorf("type %d", kind)
	}
}

func measureRings(data []byte, at int, order binary.ByteOrder, stride int) (int, error) {
	n, at, err := count(data, at, order)
	if err != nil {
		return at, err
	}
	if _, err := fits(data, at, n, ewkbCount); err != nil {
		return at, err
	}
	for range n {
		points, next, err := count(data, at, order)
		if err != nil {
			return at, err
		}
		if at, err = fits(data, next, points, stride); err != nil {
			return at, err
		}
	}
	return at, nil
}

func measureParts(data []byte, at int, order binary.ByteOrder, depth int) (int, error) {
	n, at, err := count(data, at, order)
	if err != nil {
		return at, err
	}
	if _, err := fits(data, at, n, smallestEWKBElement); err != nil {
		return at, err
	}
	for range n {
		size, err := measureEWKB(data[at:], depth+1)
		at += size
		if err != nil {
			return at, err
		}
	}
	return at, nil
}

func count(data []byte, at int, order binary.ByteOrder) (n, after int, err error) {
	if at+ewkbCount > len(data) {
		return 0, at, fmt.Errorf("ends in a count")
	}
	return int(order.Uint32(data[at:])), at + ewkbCount, nil
}

func fits(data []byte, at, n, size int) (int, error) {
	if at > len(data) || n > (len(data)-at)/size {
		return at, fmt.Errorf("%d elements do not fit in %d bytes", n, len(data)-at)
	}
	return at + n*size, nil
}

// unflattener is flattener's way back.
type unflattener struct{ heights, measures []float64 }

func (u *unflattener) points(t geom.T, coords []float64) []orb.Point {
	layout := t.Layout()
	stride, z, m := layout.Stride(), layout.ZIndex(), layout.MIndex()
	points := make([]orb.Point, 0, len(coords)/stride)
	for i := 0; i+stride <= len(coords); i += stride {
		points = append(points, orb.Point{coords[i], coords[i+1]})
		if z >= 0 {
			u.heights = append(u.heights, coords[i+z])
		}
		if m >= 0 {
			u.measures = append(u.measures, coords[i+m])
		}
	}
	return points
}

func (u *unflattener) shape(t geom.T) (orb.Geometry, error) {
	switch t := t.(type) {
	case *geom.Point:
		if t.Empty() {
			return nil, fmt.Errorf("a point without a position")
		}
		return u.points(t, t.FlatCoords())[0], nil
	case *geom.MultiPoint:
		if t.NumPoints() != len(t.FlatCoords())/t.Stride() {
			return nil, fmt.Errorf("a point without a position")
		}
		return orb.MultiPoint(u.points(t, t.FlatCoords())), nil
	case *geom.LineString:
		return orb.LineString(u.points(t, t.FlatCoords())), nil
	case *geom.MultiLineString:
		lines := orb.MultiLineString{}
		for i := range t.NumLineStrings() {
			lines = append(lines, u.points(t, t.LineString(i).FlatCoords()))
		}
		return lines, nil
	case *geom.Polygon:
		return u.polygon(t), nil
	case *geom.MultiPolygon:
		polys := orb.MultiPolygon{}
		for i := range t.NumPolygons() {
			polys = append(polys, u.polygon(t.Polygon(i)))
		}
		return polys, nil
	case *geom.GeometryCollection:
		all := orb.Collection{}
		for _, c := range t.Geoms() {
			g, err := u.shape(c)
			if err != nil {
				return nil, err
			}
			all = append(all, g)
		}
		return all, nil
	}
	return nil, fmt.Errorf("no shape for %T", t)
}

func (u *unflattener) polygon(p *geom.Polygon) orb.Polygon {
	poly := orb.Polygon{}
	for i := range p.NumLinearRings() {
		poly = append(poly, u.points(p, p.LinearRing(i).FlatCoords()))
	}
	return poly
}
