package kml

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// placemark is a feature while it is read.
type placemark struct {
	*Reader
	f          wire.Feature
	properties markup.Object
	exact      bool // ours: ExtendedData holds the properties, the rest is for show
	shapes     []shape
	departures markup.Departures
}

func (r *Reader) placemark(e markup.Element) (wire.Feature, error) {
	if r.number >= r.limits.Features {
		f := e.Fail(wire.RuleFeatures)
		f.Limit = int64(r.limits.Features)
		return wire.Feature{}, f
	}
	r.number++
	p := &placemark{Reader: r, f: wire.Feature{Number: r.number, Line: e.Line, Byte: e.Byte, Layer: r.layer()}}
	p.id(e)
	depth := r.x.Depth() - 1
	err := p.read()
	if err == nil {
		p.f.Geometry, p.f.Recorded, err = p.geometry()
	} else if r.x.Err() == nil {
		// What is wrong is in this placemark; the next one can be read.
		if left := r.x.Leave(depth); left != nil {
			return p.f, left
		}
	}
	if p.f.Properties == nil {
		p.f.Properties = p.properties.JSON()
	}
	for _, d := range p.departures {
		d.Feature, d.Entry = r.number, r.entry
	}
	p.f.Departures = p.departures
	return p.f, err
}

func (p *placemark) id(e markup.Element) {
	if id, ok := e.Ours("id"); ok {
		p.f.ID, p.f.IDKind = id, wire.NumberID
	} else if id, ok := e.Attr("id"); ok && id != "" {
		p.f.ID, p.f.IDKind = id, wire.StringID
	}
}

func (p *placemark) read() error {
	for {
		e, ok, err := p.x.Child()
		if err != nil || !ok {
			return err
		}
		if err := p.child(e); err != nil {
			return err
		}
	}
}

func (p *placemark) child(e markup.Element) error {
	if e.Space == markup.Own {
		return p.x.Skip()
	}
	switch e.Name {
	case "name", "description":
		return p.text(e)
	case "address", "phoneNumber", "Snippet", "snippet":
		return p.x.Skip()
	case "TimeStamp":
		return p.times(map[string]string{"when": "time"})
	case "TimeSpan":
		return p.times(map[string]string{"begin": "begin", "end": "end"})
	case "ExtendedData":
		return p.extended(e)
	}
	s, known, err := p.shape(e)
	if err != nil {
		return err
	}
	if !known {
		return p.x.Skip()
	}
	if s != nil {
		p.shapes = append(p.shapes, *s)
	}
	return nil
}

// text reads an element's text as the property of its name.
func (p *placemark) text(e markup.Element) error {
	t, err := p.x.Text()
	if err != nil || p.exact {
		return err
	}
	if text := strings.TrimSpace(t.S); text != "" {
		p.add(e, e.Name, text, "")
	}
	return nil
}

// add adds a property as the type it has in its schema, text without one.
func (p *placemark) add(e markup.Element, name, text, kind string) {
	text, cut := markup.Bounded(text)
	if cut {
		d := e.Fail(markup.RuleText)
		d.Path, d.Limit = name, markup.LongestText
		p.departures.Add(d)
	}
	if !p.properties.Add(name, typed(text, kind)) {
		d := e.Fail(markup.RuleTwice)
		d.Path, d.Got = name, markup.Shorten(text)
		p.departures.Add(d)
	}
}

// typed is a SimpleField's value (OGC 07-147r2 section 9.11) as JSON; what
// does not fit its type stays text.
func typed(text, kind string) json.RawMessage {
	bare := strings.TrimSpace(text)
	switch strings.TrimPrefix(kind, "xsd:") {
	case "int", "uint", "short", "ushort", "long", "integer", "float", "double":
		if bare == "" {
			return json.RawMessage("null")
		}
		if c := bare[len(bare)-1]; c >= '0' && c <= '9' && json.Valid([]byte(bare)) {
			return json.RawMessage(bare) // every digit is kept
		}
		if v, ok := number(bare); ok {
			return markup.AppendNumber(nil, v)
		}
	case "bool", "boolean":
		switch bare {
		case "":
			return json.RawMessage("null")
		case "0", "1":
			return json.RawMessage(strconv.FormatBool(bare == "1"))
		}
		if strings.EqualFold(bare, "true") || strings.EqualFold(bare, "false") {
			return json.RawMessage(strings.ToLower(bare))
		}
	}
	return markup.Quote(text)
}

// times reads the children so named as properties.
func (p *placemark) times(names map[string]string) error {
	for {
		e, ok, err := p.x.Child()
		if err != nil || !ok {
			return err
		}
		t, err := p.x.Text()
		if err != nil {
			return err
		}
		if name := names[e.Name]; name != "" && !p.exact && strings.TrimSpace(t.S) != "" {
			p.add(e, name, p.moment(e, strings.TrimSpace(t.S)), "")
		}
	}
}

// moment gives a time as RFC 3339 writes it; a date, a month or a year, which
// KML allows too, stays what it is.
func (p *placemark) moment(e markup.Element, text string) string {
	t, utc, ok := markup.Time(text)
	if !ok {
		return text
	}
	if utc {
		d := e.Fail(markup.RuleZone)
		d.Got = markup.Shorten(text)
		p.departures.Add(d)
	}
	return t.Format(time.RFC3339Nano)
}

func (p *placemark) extended(e markup.Element) error {
	if said, _ := e.Ours("properties"); said == "all" {
		p.exact, p.properties = true, markup.Object{}
	}
	for {
		c, ok, err := p.x.Child()
		if err != nil {
			return err
		}
		if !ok {
			if p.exact {
				p.f.Properties = p.properties.JSON()
				if p.f.Properties == nil {
					p.f.Properties = json.RawMessage("{}")
				}
			}
			return nil
		}
		switch {
		case c.Is("Data"):
			err = p.data(c)
		case c.Is("SchemaData"):
			err = p.schemaData(c)
		default: // of another namespace, as section 9.2 allows
			err = p.text(c)
		}
		if err != nil {
			return err
		}
	}
}

func (p *placemark) data(e markup.Element) error {
	name, _ := e.Attr("name")
	if quoted, ok := e.Ours("name"); ok {
		if exact, ok := markup.AsText(json.RawMessage(quoted)); ok {
			name = exact
		}
	}
	kind, _ := e.Ours("type")
	for {
		c, ok, err := p.x.Child()
		if err != nil || !ok {
			return err
		}
		t, err := p.x.Text()
		if err != nil {
			return err
		}
		if !c.Is("value") || name == "" && !p.exact {
			continue
		}
		if kind == "json" && json.Valid([]byte(t.S)) {
			p.properties.Add(name, json.RawMessage(t.S))
			continue
		}
		if !p.exact {
			t.S = strings.TrimSpace(t.S)
		}
		p.add(e, name, t.S, "")
	}
}

func (p *placemark) schemaData(e markup.Element) error {
	url, _ := e.Attr("schemaUrl")
	_, id, _ := strings.Cut(url, "#")
	fields := p.schemas[id]
	for {
		c, ok, err := p.x.Child()
		if err != nil || !ok {
			return err
		}
		if !c.Is("SimpleData") {
			if err := p.x.Skip(); err != nil {
				return err
			}
			continue
		}
		t, err := p.x.Text()
		if err != nil {
			return err
		}
		if name, _ := c.Attr("name"); name != "" {
			p.add(c, name, t.S, fields[name])
		}
	}
}

// geometry puts the shapes together: a placemark has one, but some programs
// write several.
func (p *placemark) geometry() (geo.Geometry, bool, error) {
	switch len(p.shapes) {
	case 0:
		return geo.Geometry{}, false, nil
	case 1:
		return p.shapes[0].geometry(), p.shapes[0].recorded, nil
	}
	s := together(p.shapes, "")
	return s.geometry(), s.recorded, nil
}

// hole is the measure or height of a vertex without one.
var hole = math.NaN()
