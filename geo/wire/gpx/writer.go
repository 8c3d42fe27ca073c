package gpx

import (
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// Write writes GPX 1.1: points as waypoints, lines as tracks, areas as tracks
// with a segment for each ring, since GPX has no areas; the layer as type; the
// title and the notice as the file's name and description.
//
// What GPX has no place for stands in extensions, so that reading it back
// restores ids, layers, properties with their types and the kind of shape, bit
// for bit; times to the microsecond. Features without a place and collections
// stand in the metadata's extensions as GeoJSON, the parts of collections as
// waypoints and tracks besides. So features come back in another order:
// those of the metadata, points, then lines and areas.
//
// Layers are walked three times. The error is a *wire.Error for a shape without
// positions (wire.RuleEmpty), a line of one (wire.RuleShortLine), a number that
// is none (wire.RuleNumber) or heights or measures that do not match
// (wire.RuleCount); else the writer's or the layers' own.
func Write(ctx context.Context, w io.Writer, doc wire.Document) error {
	out := writer{Writer: markup.NewWriter(w), ctx: ctx}
	out.Open("gpx", "version", "1.1", "creator", "caneward", "xmlns", "http://www.topografix.com/GPX/1/1", "xmlns:cw", markup.Own)
	out.Open("metadata")
	out.Some("name", doc.Title)
	out.Some("desc", doc.Notice)
	if err := out.inExtensions(doc.Layers); err != nil {
		return err
	}
	out.Close()
	for _, each := range []func(wire.Feature, string) error{out.waypoints, out.tracks} {
		if err := out.walk(doc.Layers, each); err != nil {
			return err
		}
	}
	out.Close()
	if err := out.Flush(); err != nil {
		return fmt.Errorf("gpx: writing: %w", err)
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

func (w *writer) walk(layers []wire.Layer, each func(f wire.Feature, layer string) error) error {
	for _, l := range layers {
		n := 0
		for f, err := range l.Features {
			n++
			if err == nil {
				err = w.ctx.Err()
			}
			if err != nil {
				return err
			}
			if err := each(f, l.Name); err != nil {
				if e, ok := wire.As(err); ok {
					e.Feature, e.Entry = n, l.Name
				}
				return err
			}
			if err := w.Err(); err != nil {
				return fmt.Errorf("gpx: writing: %w", err)
			}
		}
	}
	return nil
}

// inExtensions writes what cannot be drawn, or not whole.
func (w *writer) inExtensions(layers []wire.Layer) error {
	opened := false
	err := w.walk(layers, func(f wire.Feature, layer string) error {
		if _, several := f.Geometry.Flat.(orb.Collection); f.Geometry.Flat != nil && !several {
			return nil
		}
		text, err := wire.EncodeFeature(wire.Feature{ID: f.ID, IDKind: f.IDKind, Geometry: f.Geometry, Properties: f.Properties})
		if err != nil {
			return err
		}
		if !opened {
			opened = true
			w.Open("extensions")
		}
		w.Open("cw:feature", said("layer", layer)...)
		w.Inside(markup.Plain(text))
		w.Close()
		return nil
	})
	if opened {
		w.Close()
	}
	return err
}

// said is attributes, those without a value left out.
func said(pairs ...string) []string {
	var out []string
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			out = append(out, pairs[i], pairs[i+1])
		}
	}
	return out
}

func identity(f wire.Feature, layer string) []string {
	out := said("layer", layer)
	switch f.IDKind {
	case wire.StringID:
		out = append(out, "id", f.ID)
	case wire.NumberID:
		out = append(out, "id", f.ID, "idKind", "number")
	}
	return out
}

func (w *writer) begin(g geo.Geometry) error {
	n := wire.Vertices(g.Flat)
	if g.Heights != nil && len(g.Heights) != n || g.Measures != nil && len(g.Measures) != n {
		return &wire.Error{Rule: wire.RuleCount, Byte: -1}
	}
	if n == 0 {
		return &wire.Error{Rule: wire.RuleEmpty, Byte: -1}
	}
	w.vertex, w.heights, w.measures = 0, g.Heights, g.Measures
	return nil
}

// named is what people see of a feature.
type named struct{ name, desc, layer, time string }

func show(f wire.Feature, layer string) (named, error) {
	members, err := markup.Members(f.Properties)
	n := named{name: markup.Label(members, "name"), desc: markup.Label(members, "note", "description"), layer: layer}
	for _, key := range []string{"found_at", "time"} {
		if t, err := time.Parse(time.RFC3339Nano, markup.Label(members, key)); err == nil && n.time == "" {
			n.time = t.Format(time.RFC3339Nano)
		}
	}
	return n, err
}

// waypoints writes points, and those of collections for others to see.
func (w *writer) waypoints(f wire.Feature, layer string) error {
	var points []orb.Point
	var attributes []string
	switch flat := f.Geometry.Flat.(type) {
	case orb.Point:
		points, attributes = []orb.Point{flat}, identity(f, layer)
	case orb.MultiPoint:
		points, attributes = flat, append(identity(f, layer), "kind", "MultiPoint", "parts", strconv.Itoa(len(flat)))
	case orb.Collection:
		return w.collection(f, layer, w.waypoints)
	default:
		return nil
	}
	if err := w.begin(f.Geometry); err != nil {
		return err
	}
	n, err := show(f, layer)
	if err != nil {
		return err
	}
	if w.measures != nil {
		attributes = append(attributes, "timed", "true")
	}
	for i, p := range points {
		if i > 0 {
			attributes, f.Properties = []string{"part", strconv.Itoa(i + 1)}, nil
			if w.measures != nil {
				attributes = append(attributes, "timed", "true")
			}
		}
		if err := w.waypoint(p, n, f, attributes); err != nil {
			return err
		}
	}
	return nil
}

// asShown marks what is only for others to see, in place of an id.
const asShown = "\x00shown"

// collection draws the parts of a collection.
func (w *writer) collection(f wire.Feature, layer string, each func(wire.Feature, string) error) error {
	if err := w.begin(f.Geometry); err != nil {
		return err
	}
	from := 0
	for _, flat := range f.Geometry.Flat.(orb.Collection) {
		to := from + wire.Vertices(flat)
		part := wire.Feature{ID: asShown, Properties: f.Properties, Geometry: geo.Geometry{Flat: flat}}
		if f.Geometry.Heights != nil {
			part.Geometry.Heights = f.Geometry.Heights[from:to]
		}
		if f.Geometry.Measures != nil {
			part.Geometry.Measures = f.Geometry.Measures[from:to]
		}
		if err := each(part, layer); err != nil {
			return err
		}
		from = to
	}
	return nil
}

func (w *writer) waypoint(p orb.Point, n named, f wire.Feature, attributes []string) error {
	when := n.time
	if w.measures != nil {
		when = ""
		if m := w.measures[w.vertex]; !math.IsNaN(m) {
			b, ok := markup.AppendTime(nil, m)
			if !ok {
				return w.badTime(m)
			}
			when = string(b)
		}
	}
	w.Bytes([]byte("\n"))
	b, err := w.position(append(w.Buf[:0], "<wpt"...), p)
	if err != nil {
		return err
	}
	w.Bytes(w.height(b))
	w.vertex++
	w.Some("time", when)
	w.Some("name", n.name)
	w.Some("desc", n.desc)
	w.Some("type", n.layer)
	w.extensions(f, attributes)
	w.Bytes([]byte("</wpt>"))
	return nil
}

func (w *writer) badTime(m float64) error {
	return &wire.Error{Rule: markup.RuleTime, Vertex: w.vertex + 1, Byte: -1, Got: fmt.Sprint(m)}
}

func (w *writer) extensions(f wire.Feature, attributes []string) {
	w.Open("extensions")
	if f.ID == asShown && f.IDKind == wire.NoID {
		w.Text("cw:shown", "")
	} else {
		w.Open("cw:feature", attributes...)
		if string(f.Properties) != "null" {
			w.Inside(markup.Plain(f.Properties))
		}
		w.Close()
	}
	w.Close()
}

// position appends the attributes of the next vertex.
func (w *writer) position(out []byte, p orb.Point) ([]byte, error) {
	for i := 1; i >= 0; i-- {
		if !markup.Finite(p[i]) {
			return out, &wire.Error{Rule: wire.RuleNumber, Vertex: w.vertex + 1, Byte: -1, Got: fmt.Sprint(p[i])}
		}
		out = append(out, []string{` lon="`, ` lat="`}[i]...)
		out = append(markup.AppendNumber(out, p[i]), '"')
	}
	return append(out, '>'), nil
}

func (w *writer) height(out []byte) []byte {
	if w.heights == nil || !markup.Finite(w.heights[w.vertex]) {
		return out
	}
	return append(markup.AppendNumber(append(out, "<ele>"...), w.heights[w.vertex]), "</ele>"...)
}

// tracks writes lines and areas.
func (w *writer) tracks(f wire.Feature, layer string) error {
	kind, rings := "", ""
	var segments [][]orb.Point
	add := func(p orb.Polygon) {
		for _, r := range p {
			segments = append(segments, r)
		}
		if rings != "" {
			rings += " "
		}
		rings += strconv.Itoa(len(p))
	}
	switch flat := f.Geometry.Flat.(type) {
	case orb.LineString:
		kind, segments = "LineString", [][]orb.Point{flat}
	case orb.MultiLineString:
		kind = "MultiLineString"
		for _, l := range flat {
			segments = append(segments, l)
		}
	case orb.Ring:
		kind = "Polygon"
		add(orb.Polygon{flat})
	case orb.Bound:
		kind = "Polygon"
		add(flat.ToPolygon())
	case orb.Polygon:
		kind = "Polygon"
		add(flat)
	case orb.MultiPolygon:
		kind = "MultiPolygon"
		for _, p := range flat {
			add(p)
		}
	case orb.Collection:
		return w.collection(f, layer, w.tracks)
	case nil, orb.Point, orb.MultiPoint:
		return nil
	default:
		return &wire.Error{Rule: wire.RuleShape, Byte: -1, Got: fmt.Sprintf("%T", flat)}
	}
	if err := w.begin(f.Geometry); err != nil {
		return err
	}
	n, err := show(f, layer)
	if err != nil {
		return err
	}
	attributes := append(identity(f, layer), said("kind", kind, "rings", rings)...)
	if f.Recorded {
		attributes = append(attributes, "recorded", "true")
	}
	w.Open("trk")
	w.Some("name", n.name)
	w.Some("desc", n.desc)
	w.Some("type", layer)
	w.extensions(f, attributes)
	for _, s := range segments {
		if err := w.segment(s); err != nil {
			return err
		}
	}
	w.Close()
	return nil
}

func (w *writer) segment(at []orb.Point) error {
	switch len(at) {
	case 0:
		return &wire.Error{Rule: wire.RuleEmpty, Byte: -1}
	case 1:
		return &wire.Error{Rule: wire.RuleShortLine, Vertex: w.vertex + 1, Byte: -1}
	}
	w.Open("trkseg")
	for _, p := range at {
		b, err := w.position(append(w.Buf[:0], "<trkpt"...), p)
		if err != nil {
			return err
		}
		b = w.height(b)
		if w.measures != nil {
			if m := w.measures[w.vertex]; !math.IsNaN(m) {
				var ok bool
				if b, ok = markup.AppendTime(append(b, "<time>"...), m); !ok {
					return w.badTime(m)
				}
				b = append(b, "</time>"...)
			}
		}
		b = append(b, "</trkpt>"...)
		w.Bytes(b)
		w.Buf = b
		w.vertex++
	}
	w.Close()
	return nil
}
