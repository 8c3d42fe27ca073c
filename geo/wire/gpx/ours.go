package gpx

import (
	"bytes"
	"encoding/json"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// ours is what the writer said of a feature beside what GPX can say:
//
//	<cw:feature layer="" id="" idKind="number" kind="MultiPolygon" rings="1 2" recorded="true">{properties}</cw:feature>
//
// on a track, with the number of rings of each polygon; on the first of several
// waypoints kind="MultiPoint" parts="3", on the others <cw:feature part="2"/>;
// timed="true" on waypoints whose time is a measure. <cw:shown/> marks what is
// only drawn for others, because metadata holds the whole feature as GeoJSON.
type ours struct {
	layer, id  string
	idKind     wire.IDKind
	kind       string
	rings      []int
	parts      int // 0 for a single point
	part       int
	timed      bool
	recorded   bool
	shown      bool
	properties json.RawMessage
}

// restore reads one of our elements.
func (q *reading) restore(e markup.Element) error {
	o := &ours{shown: e.Name == "shown"}
	for _, a := range e.Attrs {
		switch a.Name {
		case "layer":
			o.layer = a.Value
		case "id":
			o.id = a.Value
			if o.idKind == wire.NoID {
				o.idKind = wire.StringID
			}
		case "idKind":
			o.idKind = wire.NumberID
		case "kind":
			o.kind = a.Value
		case "rings":
			for _, w := range strings.Fields(a.Value) {
				n, err := strconv.Atoi(w)
				if err != nil || n < 0 {
					n = 0
				}
				o.rings = append(o.rings, n)
			}
		case "parts":
			o.parts, _ = strconv.Atoi(a.Value) // any text that is none of ours is one point
		case "part":
			o.part, _ = strconv.Atoi(a.Value)
		case "timed":
			o.timed = true
		case "recorded":
			o.recorded = true
		}
	}
	t, err := q.x.Text()
	if err != nil {
		return err
	}
	if raw := bytes.TrimSpace([]byte(t.S)); len(raw) > 0 {
		if raw[0] != '{' || !json.Valid(raw) {
			bad := t.Fail(wire.RuleObject, 0)
			bad.Path, bad.Got = "properties", markup.Shorten(t.S)
			return bad
		}
		o.properties = raw
	}
	if e.Name == "feature" || o.shown {
		q.ours = o
	}
	return nil
}

// apply puts into the feature what the writer took out of it.
func (o *ours) apply(q *reading) {
	f := &q.f
	f.Layer, f.ID, f.IDKind, f.Properties = o.layer, o.id, o.idKind, o.properties
	if o.kind != "" && f.Recorded {
		f.Recorded = o.recorded
	}
	p, point := f.Geometry.Flat.(orb.Point)
	if !point {
		return
	}
	if o.timed {
		f.Geometry.Measures = []float64{q.when}
	}
	if o.part > 0 || o.parts > 0 {
		f.Geometry.Flat = orb.MultiPoint{p}
	}
}

// rings puts the shape of a track that we wrote together again; false when it
// has other segments now.
func (q *reading) rings() bool {
	o, n := q.ours, len(q.ends)
	runs := make([][]orb.Point, n)
	from := 0
	for i, to := range q.ends {
		runs[i] = q.all.at[from:to:to]
		if to == from {
			return false
		}
		from = to
	}
	switch o.kind {
	case "LineString":
		if n != 1 {
			return false
		}
		q.f.Geometry.Flat = orb.LineString(runs[0])
	case "MultiLineString":
		var out orb.MultiLineString
		for _, r := range runs {
			out = append(out, orb.LineString(r))
		}
		q.f.Geometry.Flat = out
	case "Polygon", "MultiPolygon":
		var out orb.MultiPolygon
		for _, rings := range o.rings {
			if rings > len(runs) {
				return false
			}
			var p orb.Polygon
			for _, r := range runs[:rings] {
				p = append(p, orb.Ring(r))
			}
			runs = runs[rings:]
			out = append(out, p)
		}
		if len(runs) > 0 || len(out) == 0 || o.kind == "Polygon" && len(out) != 1 {
			return false
		}
		q.f.Geometry.Flat = out
		if o.kind == "Polygon" {
			q.f.Geometry.Flat = out[0]
		}
	default:
		return false
	}
	if n == 0 {
		return false
	}
	q.f.Geometry.Heights, q.f.Geometry.Measures = some(q.all.heights), some(q.all.times)
	return true
}

// metadata reads the features that could not be drawn, which stand in its
// extensions.
func (r *Reader) metadata() error {
	for {
		e, ok, err := r.x.Child()
		if err != nil || !ok {
			return err
		}
		switch {
		case e.Is("extensions"):
			err = r.metadata()
		case e.Space == markup.Own && e.Name == "feature":
			err = r.whole(e)
		default:
			err = r.x.Skip()
		}
		if err != nil {
			return err
		}
	}
}

// whole reads a feature that stands as GeoJSON in the metadata.
func (r *Reader) whole(e markup.Element) error {
	t, err := r.x.Text()
	if err != nil {
		return err
	}
	if r.number >= r.limits.Features {
		bad := e.Fail(wire.RuleFeatures)
		bad.Limit = int64(r.limits.Features)
		return bad
	}
	l := r.limits
	l.Vertices = max(1, l.Vertices-r.vertices)
	f, err := wire.DecodeFeature([]byte(t.S), l)
	if bad, ok := wire.As(err); ok {
		bad.Line, bad.Byte = e.Line, e.Byte
		return bad
	}
	if err != nil {
		return err
	}
	r.number++
	r.vertices += wire.Vertices(f.Geometry.Flat)
	f.Number, f.Line, f.Byte, f.Layer = r.number, e.Line, e.Byte, layerOf(e)
	r.ready = append(r.ready, f)
	return nil
}

func layerOf(e markup.Element) string {
	layer, _ := e.Attr("layer")
	return layer
}
