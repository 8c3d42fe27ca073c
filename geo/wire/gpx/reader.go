package gpx

import (
	"context"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// Reader gives the waypoints, routes and tracks of a file.
type Reader struct {
	x        *markup.Reader
	limits   wire.Limits
	number   int // of the last feature
	vertices int // so far
	ready    []wire.Feature
	held     *wire.Feature // several waypoints that are one feature
	done     bool
}

// Open begins to read a file, which is held wholly in memory. The error is an
// *wire.Error or the context's.
func Open(ctx context.Context, data []byte, o wire.Options) (*Reader, error) {
	x, err := markup.New(ctx, data, o.Limits)
	if err != nil {
		return nil, err
	}
	root, err := x.Root()
	if err != nil {
		return nil, err
	}
	if root.Name != "gpx" {
		e := root.Fail(RuleRoot)
		e.Got = markup.Shorten(root.Name)
		return nil, e
	}
	return &Reader{x: x, limits: o.Limits.Filled()}, nil
}

// Notes is empty: what is mended or left out is said with its feature.
func (r *Reader) Notes() []*wire.Error { return nil }

// Next gives the next waypoint, route or track.
func (r *Reader) Next() (wire.Feature, error) {
	for {
		if len(r.ready) > 0 {
			f := r.ready[0]
			r.ready = r.ready[1:]
			return f, nil
		}
		if r.done {
			return wire.Feature{}, io.EOF
		}
		f, err := r.step()
		if err == nil {
			continue
		}
		if e, ok := wire.As(err); ok && r.x.Err() == nil && f.Number > 0 && e.Rule != wire.RuleVertices {
			e.Feature = f.Number
			return f, e
		}
		r.done = true
		if err != io.EOF {
			return wire.Feature{}, err
		}
	}
}

// step reads one child of the root. With an error comes the feature it speaks
// of.
func (r *Reader) step() (wire.Feature, error) {
	e, ok, err := r.x.Child()
	if err != nil {
		return wire.Feature{}, err
	}
	if !ok {
		r.release()
		if err := r.x.End(); err != nil {
			return wire.Feature{}, err
		}
		return wire.Feature{}, io.EOF
	}
	switch {
	case e.Is("wpt"), e.Is("rte"), e.Is("trk"):
		return r.feature(e)
	case e.Is("metadata"):
		return wire.Feature{}, r.metadata()
	}
	return wire.Feature{}, r.x.Skip()
}

// release lets go of waypoints that were waiting for more of theirs.
func (r *Reader) release() {
	if r.held != nil {
		r.ready = append(r.ready, *r.held)
		r.held = nil
	}
}

// reading is a feature while it is read.
type reading struct {
	*Reader
	f          wire.Feature
	properties markup.Object
	cmt, desc  string
	ours       *ours
	departures markup.Departures
	worst      float64 // hdop of the points
	when       float64 // of a waypoint
	all        positions
	ends       []int // where each segment ends in all
}

// positions are points with their heights and times, NaN where there is none.
type positions struct {
	at      []orb.Point
	heights []float64
	times   []float64
}

var hole = math.NaN()

func (r *Reader) feature(e markup.Element) (wire.Feature, error) {
	if r.number >= r.limits.Features {
		f := e.Fail(wire.RuleFeatures)
		f.Limit = int64(r.limits.Features)
		return wire.Feature{}, f
	}
	q := &reading{Reader: r, f: wire.Feature{Number: r.number + 1, Line: e.Line, Byte: e.Byte}, worst: hole, when: hole}
	depth := r.x.Depth() - 1
	err := q.read(e)
	if err != nil && r.x.Err() == nil {
		if left := r.x.Leave(depth); left != nil {
			return wire.Feature{}, left
		}
	}
	q.finish(e)
	if err != nil {
		r.number++
		return q.f, err
	}
	if q.ours != nil && q.ours.shown {
		return q.f, nil // drawn for other programs; metadata holds the feature
	}
	if q.ours != nil && q.ours.part > 1 && r.held != nil {
		r.join(q.f)
		return q.f, nil
	}
	r.release()
	r.number++
	if q.ours != nil && q.ours.parts > 0 {
		r.held = &q.f
		r.join(wire.Feature{Geometry: geo.Geometry{Flat: orb.MultiPoint{}}})
		return q.f, nil
	}
	r.ready = append(r.ready, q.f)
	return q.f, nil
}

// join adds a waypoint's position to the several points that are held.
func (r *Reader) join(f wire.Feature) {
	g, add := &r.held.Geometry, f.Geometry
	all, _ := g.Flat.(orb.MultiPoint)
	if p, ok := add.Flat.(orb.MultiPoint); ok {
		all = append(all, p...)
	}
	g.Heights = joined(g.Heights, add.Heights, len(all))
	g.Measures = joined(g.Measures, add.Measures, len(all))
	g.Flat = all
}

// joined adds values, if any, to those that are there, if any, for n vertices.
func joined(had, more []float64, n int) []float64 {
	if had == nil && more == nil {
		return nil
	}
	for len(had) < n-len(more) {
		had = append(had, hole)
	}
	had = append(had, more...)
	for len(had) < n {
		had = append(had, hole)
	}
	return had
}

func (q *reading) read(e markup.Element) error {
	if e.Name == "wpt" {
		if err := q.position(e); err != nil {
			return err
		}
	}
	for {
		c, ok, err := q.x.Child()
		if err != nil || !ok {
			return err
		}
		if err := q.child(e.Name, c); err != nil {
			return err
		}
	}
}

func (q *reading) child(of string, e markup.Element) error {
	switch {
	case e.Space == markup.Own:
		return q.x.Skip()
	case e.Name == "trkseg" && of == "trk":
		return q.points("trkpt")
	case e.Name == "rtept" && of == "rte":
		return q.point(e)
	case e.Name == "extensions":
		return q.extensions()
	case e.Name == "link":
		if href, ok := e.Attr("href"); ok {
			q.add(e, "link", markup.Quote(href))
		}
		return q.x.Skip()
	}
	t, err := q.x.Text()
	if err != nil {
		return err
	}
	text := strings.TrimSpace(t.S)
	switch {
	case text == "":
	case e.Name == "ele" && of == "wpt":
		q.all.heights[0] = q.height(e, text)
	case e.Name == "time":
		q.timed(e, text)
	case e.Name == "cmt":
		q.cmt = text
	case e.Name == "desc":
		q.desc = text
	case numeric[e.Name]:
		q.add(e, e.Name, asNumber(text))
	default:
		q.add(e, e.Name, markup.Quote(q.bounded(e, text)))
	}
	return nil
}

// numeric are the elements that hold numbers (GPX 1.1 schema).
var numeric = map[string]bool{"magvar": true, "geoidheight": true, "sat": true, "hdop": true, "vdop": true, "pdop": true,
	"ageofdgpsdata": true, "dgpsid": true, "number": true, "speed": true, "course": true}

// asNumber is a number with every digit; text that is none stays text.
func asNumber(text string) json.RawMessage {
	if c := text[len(text)-1]; c >= '0' && c <= '9' && json.Valid([]byte(text)) {
		return json.RawMessage(text)
	}
	if v, err := strconv.ParseFloat(text, 64); err == nil && markup.Finite(v) {
		return markup.AppendNumber(nil, v)
	}
	return markup.Quote(text)
}

func (q *reading) bounded(e markup.Element, text string) string {
	text, cut := markup.Bounded(text)
	if cut {
		d := e.Fail(markup.RuleText)
		d.Limit = markup.LongestText
		q.departures.Add(d)
	}
	return text
}

func (q *reading) add(e markup.Element, name string, value json.RawMessage) {
	if !q.properties.Add(name, value) {
		d := e.Fail(markup.RuleTwice)
		d.Path, d.Got = name, markup.Shorten(markup.Display(value))
		q.departures.Add(d)
	}
}

// timed reads a waypoint's time as the property, in RFC 3339.
func (q *reading) timed(e markup.Element, text string) {
	t, ok := q.moment(e, text)
	if ok {
		q.when = markup.Seconds(t)
		q.add(e, "time", markup.Quote(t.Format(time.RFC3339Nano)))
	}
}

// moment reads a time; without a zone it is UTC, as the GPX 1.1 schema says all
// of them are.
func (q *reading) moment(e markup.Element, text string) (time.Time, bool) {
	t, utc, ok := markup.Time(text)
	if ok && !utc {
		return t, true
	}
	rule := markup.RuleTime
	if ok {
		rule = markup.RuleZone
	}
	d := e.Fail(rule)
	d.Got = markup.Shorten(text)
	q.departures.Add(d)
	return t, ok
}

func (q *reading) height(e markup.Element, text string) float64 {
	if v, ok := q.decimal(e, text); ok {
		return v
	}
	d := e.Fail(markup.RuleHeight)
	d.Got = markup.Shorten(text)
	q.departures.Add(d)
	return hole
}

// decimal reads a finite decimal number, a comma in it as a point.
func (q *reading) decimal(e markup.Element, text string) (float64, bool) {
	text = strings.TrimSpace(text)
	if strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		d := e.Fail(RuleComma)
		d.Got = markup.Shorten(text)
		q.departures.Add(d)
		text = strings.Replace(text, ",", ".", 1)
	}
	const longest = 400
	if text == "" || len(text) > longest || strings.Trim(text, "0123456789+-.eE") != "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil
}

// position reads lat and lon.
func (q *reading) position(e markup.Element) error {
	var p orb.Point
	for i, name := range []string{"lon", "lat"} {
		text, ok := e.Attr(name)
		if ok {
			p[i], ok = q.decimal(e, text)
		}
		if !ok {
			bad := e.Fail(RulePosition)
			bad.Path, bad.Got = name, markup.Shorten(text)
			return bad
		}
	}
	if q.vertices++; q.vertices > q.limits.Vertices {
		bad := e.Fail(wire.RuleVertices)
		bad.Limit = int64(q.limits.Vertices)
		return bad
	}
	q.all.at = append(q.all.at, p)
	q.all.heights = append(q.all.heights, hole)
	q.all.times = append(q.all.times, hole)
	return nil
}

// points reads a segment.
func (q *reading) points(name string) error {
	for {
		e, ok, err := q.x.Child()
		if err != nil {
			return err
		}
		if !ok {
			q.ends = append(q.ends, len(q.all.at))
			return nil
		}
		if e.Is(name) {
			err = q.point(e)
		} else {
			err = q.x.Skip()
		}
		if err != nil {
			return err
		}
	}
}

// point reads a trkpt or rtept.
func (q *reading) point(e markup.Element) error {
	if err := q.position(e); err != nil {
		return err
	}
	last := len(q.all.at) - 1
	for {
		c, ok, err := q.x.Child()
		if err != nil || !ok {
			return err
		}
		if !c.Is("ele") && !c.Is("time") && !c.Is("hdop") {
			if err := q.x.Skip(); err != nil {
				return err
			}
			continue
		}
		t, err := q.x.Text()
		if err != nil {
			return err
		}
		text := strings.TrimSpace(t.S)
		switch {
		case text == "":
		case c.Name == "ele":
			q.all.heights[last] = q.height(c, text)
		case c.Name == "time":
			if when, ok := q.moment(c, text); ok {
				q.all.times[last] = markup.Seconds(when)
			}
		default:
			if v, err := strconv.ParseFloat(text, 64); err == nil && markup.Finite(v) && !(v <= q.worst) {
				q.worst = v
			}
		}
	}
}

// extensions reads those of a waypoint, route or track as properties, and our
// own.
func (q *reading) extensions() error {
	for {
		e, ok, err := q.x.Child()
		if err != nil || !ok {
			return err
		}
		if e.Space == markup.Own {
			if err := q.restore(e); err != nil {
				return err
			}
			continue
		}
		value, err := q.value(e)
		if err != nil {
			return err
		}
		if value != nil {
			q.add(e, e.Name, value)
		}
	}
}

// value reads an element as a text, or as an object of the elements in it;
// nil for nothing.
func (q *reading) value(e markup.Element) (json.RawMessage, error) {
	var inside markup.Object
	t, err := q.x.Mixed(func(c markup.Element) error {
		v, err := q.value(c)
		if err != nil || v == nil {
			return err
		}
		if !inside.Add(c.Name, v) {
			d := c.Fail(markup.RuleTwice)
			d.Path, d.Got = c.Name, markup.Shorten(markup.Display(v))
			q.departures.Add(d)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if inside.Len() > 0 {
		return inside.JSON(), nil
	}
	if text := strings.TrimSpace(t.S); text != "" {
		return markup.Quote(q.bounded(e, text)), nil
	}
	return nil, nil
}

// finish puts the feature together from what was read, even where reading
// ended early.
func (q *reading) finish(e markup.Element) {
	switch {
	case q.desc != "":
		q.add(e, "note", markup.Quote(q.bounded(e, q.desc)))
		if q.cmt != "" && q.cmt != q.desc {
			q.add(e, "cmt", markup.Quote(q.bounded(e, q.cmt)))
		}
	case q.cmt != "":
		q.add(e, "note", markup.Quote(q.bounded(e, q.cmt)))
	}
	if !math.IsNaN(q.worst) {
		q.properties.Add("hdop", markup.AppendNumber(nil, q.worst))
	}
	q.f.Properties = q.properties.JSON()
	q.f.Recorded = e.Name == "trk"
	switch {
	case e.Name == "wpt":
		if len(q.all.at) == 1 {
			q.f.Geometry = geo.Geometry{Flat: q.all.at[0], Heights: some(q.all.heights)}
		}
	case e.Name == "rte":
		q.ends, q.all.times = []int{len(q.all.at)}, nil
		q.lines(e)
	case q.ours != nil && q.ours.kind != "":
		if !q.rings() {
			q.departures.Add(e.Fail(RuleParts))
			q.lines(e)
		}
	default:
		q.lines(e)
	}
	if q.ours != nil {
		q.ours.apply(q)
	}
	for _, d := range q.departures {
		d.Feature = q.f.Number
	}
	q.f.Departures = q.departures
}

// some is values, nil where there is none.
func some(values []float64) []float64 {
	for _, v := range values {
		if !math.IsNaN(v) {
			return values
		}
	}
	return nil
}

// lines makes a line of each segment; those of one position or none are left
// out.
func (q *reading) lines(e markup.Element) {
	var out orb.MultiLineString
	var heights, times []float64
	from, left := 0, false
	for _, to := range q.ends {
		switch to - from {
		case 0:
			q.departures.Add(e.Fail(wire.RuleEmpty))
			left = true
		case 1:
			q.departures.Add(e.Fail(markup.RuleOnePoint))
			left = true
		default:
			out = append(out, orb.LineString(q.all.at[from:to:to]))
			heights = append(heights, q.all.heights[from:to]...)
			if q.all.times != nil {
				times = append(times, q.all.times[from:to]...)
			}
		}
		from = to
	}
	switch len(out) {
	case 0:
		if !left {
			q.departures.Add(e.Fail(wire.RuleEmpty))
		}
		return
	case 1:
		q.f.Geometry.Flat = out[0]
	default:
		q.f.Geometry.Flat = out
	}
	q.f.Geometry.Heights, q.f.Geometry.Measures = some(heights), some(times)
}
