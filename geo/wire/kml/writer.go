package kml

import (
	"context"
	"fmt"
	"io"
	"math"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/archive"
	"caneward/geo/wire/markup"
)

// Write writes a document: a folder for each layer that has a name, the notice
// as the document's description. Reading it back restores ids, properties with
// their types, layers, and shapes bit for bit; a feature without a place is a
// placemark without geometry.
//
// Heights are altitudes above sea level. Lines with measures are gx:Track and
// gx:MultiTrack, times to the microsecond; measures of points and areas have no
// place in KML and are not written. Every property is a Data element, which
// other programs show as text. The error is a *wire.Error for a shape that has
// no positions (wire.RuleEmpty), a number that is none (wire.RuleNumber) or
// heights or measures that do not match (wire.RuleCount); else the writer's or
// the layers' own.
func Write(ctx context.Context, w io.Writer, doc wire.Document) error {
	out := writer{Writer: markup.NewWriter(w), ctx: ctx}
	out.Open("kml", "xmlns", "http://www.opengis.net/kml/2.2", "xmlns:gx", "http://www.google.com/kml/ext/2.2", "xmlns:cw", markup.Own)
	out.Open("Document")
	out.Some("name", doc.Title)
	out.Some("description", doc.Notice)
	out.styles()
	for _, l := range doc.Layers {
		if err := out.layer(l); err != nil {
			return err
		}
	}
	out.Close()
	out.Close()
	if err := out.Flush(); err != nil {
		return fmt.Errorf("kml: writing: %w", err)
	}
	return nil
}

// WriteKMZ writes the archive with Write's document as its doc.kml.
func WriteKMZ(ctx context.Context, w io.Writer, doc wire.Document) error {
	z := archive.NewWriter(w)
	to, err := z.Create("doc.kml")
	if err != nil {
		return fmt.Errorf("kml: %w", err)
	}
	if err := Write(ctx, to, doc); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("kml: %w", err)
	}
	return nil
}

type writer struct {
	*markup.Writer
	ctx      context.Context
	vertex   int // of the feature, from 0
	heights  []float64
	measures []float64
}

// styles are plain, so that areas show what they cover.
func (w *writer) styles() {
	w.Open("Style", "id", "line")
	w.line("ff303030")
	w.Close()
	w.Open("Style", "id", "area")
	w.line("ff303030")
	w.Open("PolyStyle")
	w.Text("color", "40808080") // aabbggrr
	w.Close()
	w.Close()
}

func (w *writer) line(colour string) {
	w.Open("LineStyle")
	w.Text("color", colour)
	w.Text("width", "2")
	w.Close()
}

func (w *writer) layer(l wire.Layer) error {
	if l.Name != "" {
		w.Open("Folder")
		w.Text("name", l.Name)
	}
	n := 0
	for f, err := range l.Features {
		if err != nil {
			return err
		}
		if err := w.ctx.Err(); err != nil {
			return err
		}
		n++
		if err := w.placemark(f); err != nil {
			if e, ok := wire.As(err); ok {
				e.Feature, e.Entry = n, l.Name
			}
			return err
		}
		if err := w.Err(); err != nil {
			return fmt.Errorf("kml: writing: %w", err)
		}
	}
	if l.Name != "" {
		w.Close()
	}
	return nil
}

func (w *writer) placemark(f wire.Feature) error {
	members, err := markup.Members(f.Properties)
	if err != nil {
		return err
	}
	switch f.IDKind {
	case wire.StringID:
		w.Open("Placemark", "id", f.ID)
	case wire.NumberID:
		// Names of elements cannot begin with a digit in XML.
		w.Open("Placemark", "id", "n"+f.ID, "cw:id", f.ID)
	default:
		w.Open("Placemark")
	}
	w.Some("name", markup.Label(members, "name"))
	w.Some("description", markup.Label(members, "description", "note"))
	switch f.Geometry.Flat.(type) {
	case orb.LineString, orb.MultiLineString:
		w.Text("styleUrl", "#line")
	case orb.Polygon, orb.MultiPolygon, orb.Ring, orb.Bound:
		w.Text("styleUrl", "#area")
	}
	if f.Properties != nil && string(f.Properties) != "null" {
		w.properties(members)
	}
	if f.Geometry.Flat != nil {
		if err := w.geometry(f.Geometry); err != nil {
			return err
		}
	}
	w.Close()
	return nil
}

// properties writes all of them, those that are no text as JSON and marked so.
func (w *writer) properties(all []markup.Member) {
	w.Open("ExtendedData", "cw:properties", "all")
	for _, m := range all {
		attributes := []string{"name", m.Name}
		if !markup.Fits(m.Name) {
			attributes = append(attributes, "cw:name", markup.Plain(markup.Quote(m.Name)))
		}
		text, is := markup.AsText(m.Value)
		if !is || !markup.Fits(text) {
			text = markup.Plain(m.Value)
			attributes = append(attributes, "cw:type", "json")
		}
		w.Open("Data", attributes...)
		w.Text("value", text)
		w.Close()
	}
	w.Close()
}

func (w *writer) geometry(g geo.Geometry) error {
	n := wire.Vertices(g.Flat)
	if g.Heights != nil && len(g.Heights) != n || g.Measures != nil && len(g.Measures) != n {
		return &wire.Error{Rule: wire.RuleCount, Byte: -1}
	}
	w.vertex, w.heights, w.measures = 0, g.Heights, g.Measures
	return w.shape(g.Flat)
}

func (w *writer) shape(flat orb.Geometry) error {
	switch flat := flat.(type) {
	case orb.Point:
		return w.run("Point", []orb.Point{flat}, true)
	case orb.MultiPoint:
		return many(w, "MultiGeometry", "MultiPoint", flat, func(p orb.Point) error { return w.run("Point", []orb.Point{p}, true) })
	case orb.LineString:
		return w.lineOrTrack(flat)
	case orb.MultiLineString:
		name := "MultiGeometry"
		if w.timed(wire.Vertices(flat)) {
			name = "gx:MultiTrack"
			return many(w, name, "MultiLineString", flat, w.track)
		}
		return many(w, name, "MultiLineString", flat, w.lineOrTrack)
	case orb.Ring:
		return w.polygon(orb.Polygon{flat})
	case orb.Bound:
		return w.polygon(flat.ToPolygon())
	case orb.Polygon:
		return w.polygon(flat)
	case orb.MultiPolygon:
		return many(w, "MultiGeometry", "MultiPolygon", flat, w.polygon)
	case orb.Collection:
		return many(w, "MultiGeometry", "GeometryCollection", flat, w.shape)
	}
	return &wire.Error{Rule: wire.RuleShape, Byte: -1, Got: fmt.Sprintf("%T", flat)}
}

func many[T any](w *writer, name, kind string, all []T, each func(T) error) error {
	if len(all) == 0 {
		return &wire.Error{Rule: wire.RuleEmpty, Byte: -1}
	}
	w.Open(name, "cw:kind", kind)
	for _, one := range all {
		if err := each(one); err != nil {
			return err
		}
	}
	w.Close()
	return nil
}

// timed reports whether any of the next vertices has a time.
func (w *writer) timed(n int) bool { return anyIn(w.measures, w.vertex, n) }

func anyIn(values []float64, from, n int) bool {
	if values == nil {
		return false
	}
	for _, v := range values[from : from+n] {
		if !math.IsNaN(v) {
			return true
		}
	}
	return false
}

func (w *writer) lineOrTrack(l orb.LineString) error {
	if w.timed(len(l)) {
		return w.track(l)
	}
	return w.run("LineString", l, true)
}

// run writes an element that holds coordinates.
func (w *writer) run(name string, at []orb.Point, modes bool) error {
	if len(at) == 0 {
		return &wire.Error{Rule: wire.RuleEmpty, Byte: -1}
	}
	w.Open(name)
	if modes {
		w.mode("altitudeMode", len(at))
	}
	if err := w.coordinates(at); err != nil {
		return err
	}
	w.Close()
	return nil
}

func (w *writer) mode(name string, n int) {
	if anyIn(w.heights, w.vertex, n) {
		w.Text(name, "absolute")
	}
}

func (w *writer) coordinates(at []orb.Point) error {
	w.Bytes([]byte("<coordinates>"))
	for i, p := range at {
		b, err := w.position(w.Buf[:0], p, ',')
		if err != nil {
			return err
		}
		if i+1 < len(at) {
			b = append(b, ' ')
		}
		w.Bytes(b)
		w.Buf = b
	}
	w.Bytes([]byte("</coordinates>"))
	return nil
}

// position appends the next vertex, its height where it has one.
func (w *writer) position(out []byte, p orb.Point, between byte) ([]byte, error) {
	w.vertex++
	for i, v := range p {
		if !markup.Finite(v) {
			return out, &wire.Error{Rule: wire.RuleNumber, Vertex: w.vertex, Byte: -1, Got: fmt.Sprint(v)}
		}
		if i > 0 {
			out = append(out, between)
		}
		out = markup.AppendNumber(out, v)
	}
	if w.heights != nil {
		if z := w.heights[w.vertex-1]; markup.Finite(z) {
			out = markup.AppendNumber(append(out, between), z)
		}
	}
	return out, nil
}

func (w *writer) polygon(p orb.Polygon) error {
	if len(p) == 0 {
		return &wire.Error{Rule: wire.RuleEmpty, Byte: -1}
	}
	w.Open("Polygon")
	w.mode("altitudeMode", wire.Vertices(p))
	for i, ring := range p {
		name := "innerBoundaryIs"
		if i == 0 {
			name = "outerBoundaryIs"
		}
		w.Open(name)
		if err := w.run("LinearRing", ring, false); err != nil {
			return err
		}
		w.Close()
	}
	w.Close()
	return nil
}

// track writes a line with its times; a vertex without one has an empty when.
func (w *writer) track(l orb.LineString) error {
	if len(l) == 0 {
		return &wire.Error{Rule: wire.RuleEmpty, Byte: -1}
	}
	w.Open("gx:Track")
	w.mode("altitudeMode", len(l))
	for i := range l {
		b := append(w.Buf[:0], "<when>"...)
		if m := w.measures[w.vertex+i]; !math.IsNaN(m) {
			var ok bool
			if b, ok = markup.AppendTime(b, m); !ok {
				return &wire.Error{Rule: markup.RuleTime, Vertex: w.vertex + i + 1, Byte: -1, Got: fmt.Sprint(m)}
			}
		}
		b = append(b, "</when>"...)
		w.Bytes(b)
		w.Buf = b
	}
	for _, p := range l {
		b, err := w.position(append(w.Buf[:0], "<gx:coord>"...), p, ' ')
		if err != nil {
			return err
		}
		b = append(b, "</gx:coord>"...)
		w.Bytes(b)
		w.Buf = b
	}
	w.Close()
	return nil
}
