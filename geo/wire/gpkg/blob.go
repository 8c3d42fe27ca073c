package gpkg

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// GeoPackageBinary (OGC 12-128r18, clause 2.1.3): magic, version, flags, system,
// envelope, then well-known binary.
const (
	blobMagic    = "GP"
	blobHeader   = 8
	flagLittle   = 0x01
	flagEnvelope = 0x0E
	flagEmpty    = 0x10
	flagExtended = 0x20
)

// envelopeBytes are by the kind of envelope: none, xy, xyz, xym, xyzm.
var envelopeBytes = []int{0, 32, 48, 48, 64}

// Well-known binary (OGC 06-103r4, clause 8.2), and the bits that EWKB sets
// instead of adding thousands.
const (
	wkbPoint = iota + 1
	wkbLineString
	wkbPolygon
	wkbMultiPoint
	wkbMultiLineString
	wkbMultiPolygon
	wkbCollection

	wkbZ    = 1000
	wkbM    = 2000
	wkbZM   = 3000
	ewkbZ   = 0x80000000
	ewkbM   = 0x40000000
	ewkbSRS = 0x20000000

	wkbHeader = 5
	ordinate  = 8
)

var curves = map[uint32]string{8: "CIRCULARSTRING", 9: "COMPOUNDCURVE", 10: "CURVEPOLYGON", 11: "MULTICURVE",
	12: "MULTISURFACE", 13: "CURVE", 14: "SURFACE", 15: "POLYHEDRALSURFACE", 16: "TIN", 17: "TRIANGLE"}

// shapeReader reads one geometry. Nothing is allocated for a count before the
// bytes are seen to be there.
type shapeReader struct {
	data     []byte
	at       int
	order    binary.ByteOrder
	depth    int // that is left
	vertices int // that are left
	vertex   int
	heads    int // rings and parts, which may be empty and many
	heights  []float64
	measures []float64
	anyZ     bool
	anyM     bool
}

func (s *shapeReader) failed(rule wire.Rule, format string, args ...any) *wire.Error {
	return &wire.Error{Rule: rule, Vertex: s.vertex, Byte: -1, Err: fmt.Errorf("byte %d of the geometry: "+format, append([]any{s.at}, args...)...)}
}

// decodeBlob gives the shape and the system it names. An empty point is no
// shape; among others it is left out.
func decodeBlob(data []byte, depth, vertices int) (g geo.Geometry, srs int32, err *wire.Error) {
	s := shapeReader{data: data, order: binary.BigEndian, depth: depth, vertices: vertices}
	if len(data) < blobHeader || string(data[:len(blobMagic)]) != blobMagic {
		return g, 0, s.failed(RuleBlob, "no GeoPackage geometry")
	}
	flags := data[3]
	if data[2] != 0 {
		return g, 0, s.failed(RuleBlob, "version %d", data[2])
	}
	if flags&flagExtended != 0 {
		return g, 0, &wire.Error{Rule: RuleKind, Byte: -1, Got: "ExtendedGeoPackageBinary"}
	}
	if flags&flagLittle != 0 {
		s.order = binary.LittleEndian
	}
	srs = int32(s.order.Uint32(data[4:]))
	kind := int(flags&flagEnvelope) >> 1
	if kind >= len(envelopeBytes) {
		return g, srs, s.failed(RuleBlob, "envelope of kind %d", kind)
	}
	s.at = blobHeader + envelopeBytes[kind]
	flat, err := s.shape(0)
	if err == nil && s.at != len(data) {
		err = s.failed(RuleBlob, "%d bytes follow the shape", len(data)-s.at)
	}
	if err != nil {
		return g, srs, err
	}
	if flat == nil {
		return g, srs, nil
	}
	g.Flat = flat
	if s.anyZ {
		g.Heights = padded(s.heights, s.vertex)
	}
	if s.anyM {
		g.Measures = padded(s.measures, s.vertex)
	}
	return g, srs, nil
}

func (s *shapeReader) left() int { return len(s.data) - s.at }

// head reads byte order and type; want is the only type that may stand here, 0
// any.
func (s *shapeReader) head(want uint32) (kind uint32, z, m bool, err *wire.Error) {
	if s.left() < wkbHeader {
		return 0, false, false, s.failed(RuleBlob, "ends in the head of a shape")
	}
	switch s.data[s.at] {
	case 0:
		s.order = binary.BigEndian
	case 1:
		s.order = binary.LittleEndian
	default:
		return 0, false, false, s.failed(RuleBlob, "byte order %d", s.data[s.at])
	}
	code := s.order.Uint32(s.data[s.at+1:])
	s.at += wkbHeader
	if code&ewkbSRS != 0 {
		if s.left() < 4 {
			return 0, false, false, s.failed(RuleBlob, "ends in the head of a shape")
		}
		s.at += 4
	}
	z, m = code&ewkbZ != 0, code&ewkbM != 0
	code &^= ewkbZ | ewkbM | ewkbSRS
	kind = code % wkbZ
	thousands := code / wkbZ * wkbZ
	if thousands > wkbZM {
		return 0, z, m, s.failed(RuleBlob, "shape of type %d", code)
	}
	z, m = z || thousands == wkbZ || thousands == wkbZM, m || thousands == wkbM || thousands == wkbZM
	if name := curves[kind]; name != "" {
		return 0, z, m, &wire.Error{Rule: RuleKind, Byte: -1, Got: name}
	}
	if kind < wkbPoint || kind > wkbCollection || want != 0 && kind != want {
		return 0, z, m, s.failed(RuleBlob, "shape of type %d", code)
	}
	s.anyZ, s.anyM = s.anyZ || z, s.anyM || m
	return kind, z, m, nil
}

// count reads how many follow, each of at least size bytes.
func (s *shapeReader) count(size int) (int, *wire.Error) {
	if s.left() < 4 {
		return 0, s.failed(RuleBlob, "ends in a count")
	}
	s.heads++
	if s.heads > s.vertices {
		return 0, s.failed(wire.RuleVertices, "one ring or part too many")
	}
	n := int64(s.order.Uint32(s.data[s.at:]))
	s.at += 4
	if n > int64(s.left()/size) {
		return 0, s.failed(RuleBlob, "%d parts do not fit in %d bytes", n, s.left())
	}
	return int(n), nil
}

func stride(z, m bool) int {
	n := 2 * ordinate
	if z {
		n += ordinate
	}
	if m {
		n += ordinate
	}
	return n
}

func (s *shapeReader) float() float64 {
	v := math.Float64frombits(s.order.Uint64(s.data[s.at:]))
	s.at += ordinate
	return v
}

// position reads a vertex whose bytes are known to be there.
func (s *shapeReader) position(z, m bool) (orb.Point, *wire.Error) {
	s.vertex++
	if s.vertex > s.vertices {
		return orb.Point{}, s.failed(wire.RuleVertices, "one vertex too many")
	}
	p := orb.Point{s.float(), s.float()}
	for _, v := range p {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			e := s.failed(wire.RuleNumber, "not finite")
			e.Got = fmt.Sprint(v)
			return p, e
		}
	}
	var err *wire.Error
	if z {
		s.heights, err = s.value(s.heights)
	}
	if m && err == nil {
		s.measures, err = s.value(s.measures)
	}
	return p, err
}

// value reads the height or measure of the vertex just read; NaN is none.
func (s *shapeReader) value(values []float64) ([]float64, *wire.Error) {
	v := s.float()
	if math.IsInf(v, 0) {
		e := s.failed(wire.RuleNumber, "not finite")
		e.Got = fmt.Sprint(v)
		return values, e
	}
	return append(padded(values, s.vertex-1), v), nil
}

// padded gives n values, NaN for vertices before the first part that has any.
func padded(values []float64, n int) []float64 {
	if values == nil {
		values = []float64{}
	}
	for len(values) < n {
		values = append(values, math.NaN())
	}
	return values
}

func run[L ~[]orb.Point](s *shapeReader, z, m bool) (L, *wire.Error) {
	n, err := s.count(stride(z, m))
	if err != nil {
		return nil, err
	}
	all := make(L, 0, min(n, s.vertices))
	for range n {
		p, err := s.position(z, m)
		if err != nil {
			return nil, err
		}
		all = append(all, p)
	}
	return all, nil
}

// empty reports whether a point is written as NaN, which is how binary says
// that there is none.
func (s *shapeReader) empty() bool {
	at := s.at
	x, y := s.float(), s.float()
	s.at = at
	return math.IsNaN(x) && math.IsNaN(y)
}

func (s *shapeReader) point(z, m bool) (orb.Geometry, *wire.Error) {
	if s.left() < stride(z, m) {
		return nil, s.failed(RuleBlob, "ends in a position")
	}
	if s.empty() {
		s.at += stride(z, m)
		return nil, nil
	}
	return s.position(z, m)
}

func polygon(s *shapeReader, z, m bool) (orb.Polygon, *wire.Error) {
	n, err := s.count(4)
	if err != nil {
		return nil, err
	}
	all := orb.Polygon{}
	for range n {
		ring, err := run[orb.Ring](s, z, m)
		if err != nil {
			return nil, err
		}
		all = append(all, ring)
	}
	return all, nil
}

// parts reads shapes of one kind, each with a head of its own.
func parts[L ~[]E, E any](s *shapeReader, want uint32, one func(*shapeReader, bool, bool) (E, *wire.Error)) (L, *wire.Error) {
	n, err := s.count(wkbHeader)
	if err != nil {
		return nil, err
	}
	all := L{}
	for range n {
		_, z, m, err := s.head(want)
		if err != nil {
			return nil, err
		}
		part, err := one(s, z, m)
		if err != nil {
			return nil, err
		}
		all = append(all, part)
	}
	return all, nil
}

// shape gives nil for an empty point. A shape's counts are in the byte order of
// its own head; those of its parts are read after it.
func (s *shapeReader) shape(depth int) (orb.Geometry, *wire.Error) {
	if depth >= s.depth {
		e := s.failed(RuleDepth, "nested too deep")
		e.Limit = int64(s.depth)
		return nil, e
	}
	kind, z, m, err := s.head(0)
	if err != nil {
		return nil, err
	}
	switch kind {
	case wkbPoint:
		return s.point(z, m)
	case wkbLineString:
		return run[orb.LineString](s, z, m)
	case wkbPolygon:
		return polygon(s, z, m)
	case wkbMultiPoint:
		points, err := parts[[]orb.Geometry](s, wkbPoint, (*shapeReader).point)
		all := orb.MultiPoint{}
		for _, p := range points {
			if p != nil {
				all = append(all, p.(orb.Point))
			}
		}
		return all, err
	case wkbMultiLineString:
		return parts[orb.MultiLineString](s, wkbLineString, run[orb.LineString])
	case wkbMultiPolygon:
		return parts[orb.MultiPolygon](s, wkbPolygon, polygon)
	}
	n, err := s.count(wkbHeader)
	if err != nil {
		return nil, err
	}
	all := orb.Collection{}
	for range n {
		part, err := s.shape(depth + 1)
		if err != nil {
			return nil, err
		}
		if part != nil {
			all = append(all, part)
		}
	}
	return all, nil
}

// encodeBlob writes little-endian GeoPackageBinary in system 4326 with ISO
// well-known binary; lines and areas have an envelope, so that a program can
// pass over them without reading them.
func encodeBlob(g geo.Geometry) ([]byte, error) {
	n := wire.Vertices(g.Flat)
	for _, values := range [][]float64{g.Heights, g.Measures} {
		if values != nil && len(values) != n {
			return nil, &wire.Error{Rule: wire.RuleCount, Byte: -1, Got: strconv.Itoa(len(values))}
		}
	}
	out := append([]byte(blobMagic), 0, flagLittle)
	out = binary.LittleEndian.AppendUint32(out, wgs84)
	if _, point := g.Flat.(orb.Point); n == 0 {
		out[3] |= flagEmpty
	} else if !point {
		out[3] |= 1 << 1
		b := g.Flat.Bound()
		for _, v := range []float64{b.Min[0], b.Max[0], b.Min[1], b.Max[1]} {
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
		}
	}
	w := shapeWriter{Geometry: g, out: out}
	if err := w.shape(g.Flat); err != nil {
		return nil, err
	}
	return w.out, nil
}

type shapeWriter struct {
	geo.Geometry
	out    []byte
	vertex int
}

func (w *shapeWriter) uint(v uint32) { w.out = binary.LittleEndian.AppendUint32(w.out, v) }
func (w *shapeWriter) float(v float64) {
	w.out = binary.LittleEndian.AppendUint64(w.out, math.Float64bits(v))
}

func (w *shapeWriter) head(kind uint32) {
	if w.Heights != nil {
		kind += wkbZ
	}
	if w.Measures != nil {
		kind += wkbM
	}
	w.out = append(w.out, 1)
	w.uint(kind)
}

func (w *shapeWriter) positions(points []orb.Point) error {
	for _, p := range points {
		numbers := p[:]
		if w.Heights != nil {
			numbers = append(numbers, w.Heights[w.vertex])
		}
		if w.Measures != nil {
			numbers = append(numbers, w.Measures[w.vertex])
		}
		w.vertex++
		for i, v := range numbers {
			if math.IsInf(v, 0) || i < 2 && math.IsNaN(v) {
				return &wire.Error{Rule: wire.RuleNumber, Vertex: w.vertex, Byte: -1, Got: fmt.Sprint(v)}
			}
			w.float(v)
		}
	}
	return nil
}

func (w *shapeWriter) run(points []orb.Point) error {
	w.uint(uint32(len(points)))
	return w.positions(points)
}

func written[E any](w *shapeWriter, kind uint32, all []E, one func(E) error) error {
	w.head(kind)
	w.uint(uint32(len(all)))
	for _, e := range all {
		if err := one(e); err != nil {
			return err
		}
	}
	return nil
}

func (w *shapeWriter) shape(g orb.Geometry) error {
	switch g := g.(type) {
	case orb.Point:
		w.head(wkbPoint)
		return w.positions([]orb.Point{g})
	case orb.LineString:
		w.head(wkbLineString)
		return w.run(g)
	case orb.Ring:
		return w.shape(orb.Polygon{g})
	case orb.Bound:
		return w.shape(g.ToPolygon())
	case orb.Polygon:
		return written(w, wkbPolygon, g, func(r orb.Ring) error { return w.run(r) })
	case orb.MultiPoint:
		return written(w, wkbMultiPoint, g, func(p orb.Point) error { return w.shape(p) })
	case orb.MultiLineString:
		return written(w, wkbMultiLineString, g, func(l orb.LineString) error { return w.shape(l) })
	case orb.MultiPolygon:
		return written(w, wkbMultiPolygon, g, func(p orb.Polygon) error { return w.shape(p) })
	case orb.Collection:
		return written(w, wkbCollection, g, w.shape)
	}
	return &wire.Error{Rule: wire.RuleShape, Byte: -1, Err: fmt.Errorf("no well-known binary for %T", g)}
}
