package wire

import (
	"errors"
	"fmt"
)

// DecodeFeature reads one GeoJSON Feature and nothing after it. Properties are
// kept byte for byte; a name that stands twice in one object, at any depth of
// the properties, is refused, since readers disagree on which counts. The error
// is an *Error; the feature then holds what was read before it.
func DecodeFeature(data []byte, l Limits) (Feature, error) {
	l = l.filled()
	if int64(len(data)) > l.Bytes {
		return Feature{}, &Error{Rule: RuleBytes, Limit: l.Bytes}
	}
	d := decoder{scanner: scanner{data: data, most: l.Depth}, vertices: l.Vertices, most: l.Vertices}
	if d.peek(); d.at == len(data) {
		return Feature{}, &Error{Rule: RuleNothing}
	}
	f, err := d.feature()
	if err == nil {
		err = d.end()
	}
	if err != nil {
		return f, err
	}
	return f, nil
}

// feature reads a Feature object, or a bare geometry as a feature without
// properties when the object's type says so and bare is allowed by the caller.
func (d *decoder) feature() (Feature, *Error) {
	d.departures, d.crs = nil, ""
	d.space()
	f := Feature{Byte: int64(d.at)}
	found, start, err := d.members("")
	if err != nil {
		return f, err
	}
	after := d.at
	defer func() { d.at = after }()
	kind, err := d.typeName("", found, start)
	if err != nil {
		return f, err
	}
	if kind != "Feature" {
		e := d.fail(RuleType, found["type"])
		e.Path, e.Got = "type", shorten(kind)
		return f, e
	}
	if err := d.envelope(&f, found, start); err != nil {
		return f, err
	}
	if err := d.readCRS(found); err != nil {
		return f, err
	}
	at, ok := found["geometry"]
	if !ok {
		e := d.fail(RuleMember, start)
		e.Path, e.Got = "geometry", ""
		return f, e
	}
	d.at = at
	f.Geometry, err = d.geometry("geometry")
	f.CRS, f.Departures = d.crs, d.departures
	return f, err
}

// bare reads a geometry as a feature without an envelope.
func (d *decoder) bare() (Feature, *Error) {
	d.departures, d.crs = nil, ""
	d.space()
	f := Feature{Byte: int64(d.at)}
	g, err := d.geometry("")
	f.Geometry, f.CRS, f.Departures = g, d.crs, d.departures
	return f, err
}

// envelope reads everything of a feature but its shape.
func (d *decoder) envelope(f *Feature, found map[string]int, start int) *Error {
	if at, ok := found["id"]; ok {
		if err := d.readID(f, at); err != nil {
			return err
		}
	}
	if at, ok := found["properties"]; ok {
		if err := d.readProperties(f, at); err != nil {
			return err
		}
	}
	d.at = start
	return d.object(func(name string, _ int) *Error {
		d.space()
		at := d.at
		if err := d.skip(); err != nil {
			return err
		}
		switch name {
		case "type", "id", "properties", "geometry", "bbox", "crs":
		default:
			f.Foreign = append(f.Foreign, Member{Name: name, Value: d.data[at:d.at]})
		}
		if name == layerMember && d.data[at] == '"' {
			inside := d.scanner
			inside.at = at
			layer, err := inside.text()
			f.Layer = layer
			return err
		}
		return nil
	})
}

func (d *decoder) readID(f *Feature, at int) *Error {
	d.at = at
	var err *Error
	switch c := d.peek(); {
	case c == '"':
		f.IDKind = StringID
		f.ID, err = d.text()
	case c == '-' || c >= '0' && c <= '9':
		var raw []byte
		f.IDKind = NumberID
		raw, err = d.numeral()
		f.ID = string(raw)
	case c == 'n': // some writers put null for "none"
		err = d.skip()
	default:
		err = d.fail(RuleID, at)
		err.Path = "id"
	}
	return err
}

func (d *decoder) readProperties(f *Feature, at int) *Error {
	d.at = at
	if d.peek() == 'n' {
		return d.skip()
	}
	if d.peek() != '{' {
		e := d.fail(RuleObject, at)
		e.Path = "properties"
		return e
	}
	if err := d.unique("properties"); err != nil {
		return err
	}
	f.Properties = d.data[at:d.at]
	return nil
}

// unique steps over a value, refusing names that stand twice in one object.
func (s *scanner) unique(path string) *Error {
	switch s.peek() {
	case '{':
		seen := map[string]bool{}
		return s.object(func(name string, at int) *Error {
			if seen[name] {
				e := s.fail(RuleDuplicateKey, at)
				e.Path, e.Got = join(path, name), name
				return e
			}
			seen[name] = true
			return s.unique(join(path, name))
		})
	case '[':
		return s.array(func(i int) *Error { return s.unique(fmt.Sprintf("%s[%d]", path, i)) })
	}
	return s.skip()
}

// As finds the *Error in a chain.
func As(err error) (*Error, bool) {
	var e *Error
	ok := errors.As(err, &e)
	return e, ok
}
