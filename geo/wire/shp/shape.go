package shp

import (
	"context"
	"encoding/binary"
	"math"
	"strconv"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

const (
	fileCode     = 9994
	headerLength = 100
	recordHeader = 8

	// noData is the bound below which a measure is none ("Numeric types").
	noData = -1e38
)

// shapeType is that of the technical description: the kind in the ones, 10 for
// Z (which may carry M), 20 for M.
type shapeType int32

const (
	typeNull       shapeType = 0
	typePoint      shapeType = 1
	typeLine       shapeType = 3
	typePolygon    shapeType = 5
	typeMultiPoint shapeType = 8
	typeMultiPatch shapeType = 31

	withZ shapeType = 10
	withM shapeType = 20
)

func (t shapeType) kind() shapeType { return t % 10 }

// known reports whether records of the type can be read.
func (t shapeType) known() bool {
	switch t.kind() {
	case typePoint, typeLine, typePolygon, typeMultiPoint:
		return t > 0 && t < 30
	}
	return t == typeNull
}

// Is reports whether data begins as a .shp (or its .shx) does.
func Is(data []byte) bool {
	return len(data) >= 4 && binary.BigEndian.Uint32(data) == fileCode
}

// shapes is one .shp.
type shapes struct {
	entry string
	data  []byte
	at    []int // where each record's header starts
	times bool  // the writer says that measures are Unix seconds

	ctx      context.Context
	notes    []*wire.Error
	notTimes int // shapes whose measures were left out
	first    int // the first of them
}

func (s *shapes) fail(rule wire.Rule, record int, byteAt int) *wire.Error {
	return &wire.Error{Rule: rule, Entry: s.entry, Feature: record, Byte: int64(byteAt)}
}

// content is a record's bytes behind its header.
func (s *shapes) content(i int) []byte {
	at := s.at[i]
	words := int(binary.BigEndian.Uint32(s.data[at+4:]))
	return s.data[at+recordHeader : at+recordHeader+2*words]
}

// shape decodes record i, from 0.
func (s *shapes) shape(i int) (geo.Geometry, []*wire.Error, *wire.Error) {
	g, departures, err := s.decode(s.content(i))
	if err != nil {
		err.Entry, err.Feature, err.Byte = s.entry, i+1, int64(s.at[i])
		return geo.Geometry{}, nil, err
	}
	for _, d := range departures {
		d.Entry, d.Feature, d.Byte = s.entry, i+1, int64(s.at[i])
	}
	if g.Measures != nil && !s.times && !areTimes(g.Measures) {
		g.Measures = nil
		if s.notTimes++; s.notTimes == 1 {
			s.first = i + 1
		}
	}
	return g, departures, nil
}

// Measures are times when all lie in these bounds, 1973 to 2096 in Unix
// seconds. Mileposts and distances, the usual other measures, are smaller.
const firstTime, lastTime = 1e8, 4e9

func areTimes(measures []float64) bool {
	for _, m := range measures {
		if m < firstTime || m > lastTime {
			return false
		}
	}
	return true
}

func (s *shapes) decode(c []byte) (geo.Geometry, []*wire.Error, *wire.Error) {
	if len(c) < 4 {
		return geo.Geometry{}, nil, &wire.Error{Rule: RuleRecord}
	}
	t := shapeType(binary.LittleEndian.Uint32(c))
	switch {
	case t == typeNull:
		return geo.Geometry{}, nil, nil
	case t == typeMultiPatch:
		return geo.Geometry{}, nil, &wire.Error{Rule: RuleMultiPatch}
	case !t.known():
		return geo.Geometry{}, nil, &wire.Error{Rule: RuleType, Got: strconv.Itoa(int(t))}
	}
	var g geo.Geometry
	var departures []*wire.Error
	var err *wire.Error
	switch t.kind() {
	case typePoint:
		g, err = decodePoint(t, c)
	case typeMultiPoint:
		g, err = decodeMultiPoint(t, c)
	case typeLine:
		g, departures, err = decodeLine(t, c)
	case typePolygon:
		g, departures, err = s.decodePolygon(t, c)
	}
	if err != nil {
		return geo.Geometry{}, nil, err
	}
	return g, departures, nil
}

func float(b []byte) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b)) }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// value reads a height or a measure: NaN where there is none.
func value(b []byte) float64 {
	v := float(b)
	if v < noData || math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

func decodePoint(t shapeType, c []byte) (geo.Geometry, *wire.Error) {
	if len(c) < 20 {
		return geo.Geometry{}, &wire.Error{Rule: RuleRecord}
	}
	points, err := decodePoints(c[4:20])
	if err != nil {
		return geo.Geometry{}, err
	}
	g := geo.Geometry{Flat: points[0]}
	rest := c[20:]
	if t > withZ && t < withM {
		if len(rest) < 8 {
			return geo.Geometry{}, &wire.Error{Rule: RuleRecord}
		}
		g.Heights, rest = some([]float64{value(rest)}), rest[8:]
	}
	if t > withZ && len(rest) >= 8 {
		g.Measures = some([]float64{value(rest)})
	}
	return g, nil
}

// some gives nil for values of which none is there.
func some(values []float64) []float64 {
	for _, v := range values {
		if !math.IsNaN(v) {
			return values
		}
	}
	return nil
}

func decodeMultiPoint(t shapeType, c []byte) (geo.Geometry, *wire.Error) {
	const fixed = 40
	if len(c) < fixed {
		return geo.Geometry{}, &wire.Error{Rule: RuleRecord}
	}
	n := int(binary.LittleEndian.Uint32(c[36:]))
	if n > (len(c)-fixed)/16 {
		return geo.Geometry{}, &wire.Error{Rule: RuleRecord, Got: strconv.Itoa(n)}
	}
	if n == 0 {
		return geo.Geometry{}, nil
	}
	points, err := decodePoints(c[fixed : fixed+16*n])
	if err != nil {
		return geo.Geometry{}, err
	}
	heights, measures, err := decodeValues(t, c[fixed+16*n:], n)
	if err != nil {
		return geo.Geometry{}, err
	}
	return geo.Geometry{Flat: orb.MultiPoint(points), Heights: heights, Measures: measures}, nil
}

// decodePoints reads pairs; the error has Vertex set.
func decodePoints(c []byte) ([]orb.Point, *wire.Error) {
	points := make([]orb.Point, len(c)/16)
	for i := range points {
		x, y := float(c[16*i:]), float(c[16*i+8:])
		if !finite(x) || !finite(y) {
			return nil, &wire.Error{Rule: RuleCoordinate, Vertex: i + 1, Got: strconv.FormatFloat(x, 'g', -1, 64) + " " + strconv.FormatFloat(y, 'g', -1, 64)}
		}
		points[i] = orb.Point{x, y}
	}
	return points, nil
}

// decodeValues reads the blocks of heights and measures behind the points: each
// a least and a greatest value, then one a point. That of measures may be left
// out in both types that have one.
func decodeValues(t shapeType, c []byte, n int) (heights, measures []float64, err *wire.Error) {
	size := 16 + 8*n
	if t > withZ && t < withM {
		if len(c) < size {
			return nil, nil, &wire.Error{Rule: RuleRecord}
		}
		heights, c = decodeBlock(c, n), c[size:]
	}
	if t > withZ && len(c) >= size {
		measures = decodeBlock(c, n)
	}
	return heights, measures, nil
}

func decodeBlock(c []byte, n int) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = value(c[16+8*i:])
	}
	return some(values)
}

// parts are the runs of points of a line or polygon.
type parts struct {
	points   []orb.Point
	heights  []float64
	measures []float64
	starts   []int // of each run, and the end of the last
}

func (p parts) run(i int) []orb.Point {
	return p.points[p.starts[i]:p.starts[i+1]:p.starts[i+1]]
}

// decodeParts reads what lines and polygons have in common. Runs without
// points are left out.
func decodeParts(t shapeType, c []byte) (parts, []*wire.Error, *wire.Error) {
	const fixed = 44
	if len(c) < fixed {
		return parts{}, nil, &wire.Error{Rule: RuleRecord}
	}
	runs, n := int(binary.LittleEndian.Uint32(c[36:])), int(binary.LittleEndian.Uint32(c[40:]))
	if runs > (len(c)-fixed)/4 || n > (len(c)-fixed-4*runs)/16 {
		return parts{}, nil, &wire.Error{Rule: RuleRecord, Got: strconv.Itoa(runs) + ", " + strconv.Itoa(n)}
	}
	if runs == 0 && n > 0 {
		return parts{}, nil, &wire.Error{Rule: RuleRecord, Got: "0, " + strconv.Itoa(n)}
	}
	p := parts{starts: make([]int, 0, runs+1)}
	var departures []*wire.Error
	for i := range runs {
		from, to := int(binary.LittleEndian.Uint32(c[fixed+4*i:])), n
		if i+1 < runs {
			to = int(binary.LittleEndian.Uint32(c[fixed+4*i+4:]))
		}
		if from > to || to > n || i == 0 && from != 0 {
			return parts{}, nil, &wire.Error{Rule: RuleRecord, Part: i + 1, Got: strconv.Itoa(from)}
		}
		if from == to {
			departures = append(departures, &wire.Error{Rule: wire.RuleEmpty, Part: i + 1, Count: 1})
			continue
		}
		p.starts = append(p.starts, from)
	}
	if len(p.starts) == 0 {
		return parts{}, nil, nil
	}
	p.starts = append(p.starts, n)
	c = c[fixed+4*runs:]
	var err *wire.Error
	if p.points, err = decodePoints(c[:16*n]); err != nil {
		return parts{}, nil, err
	}
	p.heights, p.measures, err = decodeValues(t, c[16*n:], n)
	return p, departures, err
}

func decodeLine(t shapeType, c []byte) (geo.Geometry, []*wire.Error, *wire.Error) {
	p, departures, err := decodeParts(t, c)
	if err != nil || p.points == nil {
		return geo.Geometry{}, departures, err
	}
	g := geo.Geometry{Heights: p.heights, Measures: p.measures}
	lines := make(orb.MultiLineString, len(p.starts)-1)
	for i := range lines {
		if lines[i] = orb.LineString(p.run(i)); len(lines[i]) < 2 {
			return geo.Geometry{}, nil, &wire.Error{Rule: wire.RuleShortLine, Part: i + 1}
		}
	}
	if g.Flat = lines; len(lines) == 1 {
		g.Flat = lines[0]
	}
	return g, departures, nil
}
