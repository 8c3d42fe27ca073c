package wkt

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// Encode writes a shape in the form of OGC 06-103r4, such as
// "POLYGON Z ((0 0 5, 1 0 5, 1 1 5, 0 0 5))", Z and M by which of Heights and
// Measures are set. Numbers are the shortest that read back as the same
// float64; a missing height or measure is NaN, which the standard has no word for
// and GDAL 3.6 does not read. No place is "POINT EMPTY"; a
// ring or box becomes a polygon. The error is a *wire.Error: for a coordinate
// that is not finite, for heights or measures that do not match the vertices.
func Encode(g geo.Geometry) (string, error) {
	if g.Empty() {
		return "POINT EMPTY", nil
	}
	n := wire.Vertices(g.Flat)
	for _, values := range [][]float64{g.Heights, g.Measures} {
		if values != nil && len(values) != n {
			return "", &wire.Error{Rule: wire.RuleCount, Byte: -1, Got: strconv.Itoa(len(values))}
		}
	}
	w := writer{Geometry: g}
	if err := w.shape(g.Flat); err != nil {
		return "", err
	}
	return w.String(), nil
}

type writer struct {
	geo.Geometry
	strings.Builder
	vertex int
}

func (w *writer) shape(g orb.Geometry) error {
	switch g := g.(type) {
	case orb.Point:
		w.tag("POINT")
		return w.run([]orb.Point{g})
	case orb.MultiPoint:
		w.tag("MULTIPOINT")
		return each(w, len(g), func(i int) error { return w.run(g[i : i+1]) })
	case orb.LineString:
		w.tag("LINESTRING")
		return w.run(g)
	case orb.MultiLineString:
		w.tag("MULTILINESTRING")
		return each(w, len(g), func(i int) error { return w.run(g[i]) })
	case orb.Ring:
		return w.shape(orb.Polygon{g})
	case orb.Bound:
		return w.shape(g.ToPolygon())
	case orb.Polygon:
		w.tag("POLYGON")
		return w.polygon(g)
	case orb.MultiPolygon:
		w.tag("MULTIPOLYGON")
		return each(w, len(g), func(i int) error { return w.polygon(g[i]) })
	case orb.Collection:
		w.tag("GEOMETRYCOLLECTION")
		return each(w, len(g), func(i int) error { return w.shape(g[i]) })
	}
	return &wire.Error{Rule: wire.RuleShape, Byte: -1, Err: fmt.Errorf("no well-known text for %T", g)}
}

func (w *writer) tag(kind string) {
	w.WriteString(kind + " ")
	switch {
	case w.Heights != nil && w.Measures != nil:
		w.WriteString("ZM ")
	case w.Heights != nil:
		w.WriteString("Z ")
	case w.Measures != nil:
		w.WriteString("M ")
	}
}

func each(w *writer, n int, one func(i int) error) error {
	if n == 0 {
		w.WriteString("EMPTY")
		return nil
	}
	w.WriteByte('(')
	for i := range n {
		if i > 0 {
			w.WriteString(", ")
		}
		if err := one(i); err != nil {
			return err
		}
	}
	w.WriteByte(')')
	return nil
}

func (w *writer) polygon(p orb.Polygon) error {
	return each(w, len(p), func(i int) error { return w.run(p[i]) })
}

func (w *writer) run(points []orb.Point) error {
	return each(w, len(points), func(i int) error {
		for _, v := range points[i] {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return &wire.Error{Rule: wire.RuleNumber, Vertex: w.vertex + 1, Byte: -1, Got: fmt.Sprint(v)}
			}
		}
		w.number(points[i][0])
		w.WriteByte(' ')
		w.number(points[i][1])
		for _, values := range [][]float64{w.Heights, w.Measures} {
			if values == nil {
				continue
			}
			if v := values[w.vertex]; math.IsInf(v, 0) {
				return &wire.Error{Rule: wire.RuleNumber, Vertex: w.vertex + 1, Byte: -1, Got: fmt.Sprint(v)}
			}
			w.WriteByte(' ')
			w.number(values[w.vertex])
		}
		w.vertex++
		return nil
	})
}

// Beyond these a power of ten is shorter than the zeros.
const (
	smallestPlain = 1e-6
	largestPlain  = 1e21
)

func (w *writer) number(v float64) {
	format := byte('f')
	if size := math.Abs(v); size != 0 && (size < smallestPlain || size >= largestPlain) {
		format = 'e'
	}
	w.WriteString(strconv.FormatFloat(v, format, -1, 64))
}
