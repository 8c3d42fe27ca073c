package gpkg

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// mostProperties leaves room beside them for key, shape and id.
const mostProperties = mostColumns - 3

// kind is what all values of a property have in common.
type kind int

const (
	unknown kind = iota
	integers
	reals
	booleans
	texts
	mixed // written as JSON
)

var declared = map[kind]string{integers: "INTEGER", reals: "REAL", booleans: "BOOLEAN", texts: "TEXT", mixed: "TEXT", unknown: "TEXT"}

// property is a column of a layer that is to be written.
type property struct {
	column
	place int // among the properties
	kind  kind
	exact bool // every number so far is one that a float64 holds
}

// plan is what the first walk through a layer finds out.
type plan struct {
	table, name string
	properties  []*property
	byName      map[string]*property
	ids         idPlan
	shapes      map[string]bool
	features    int
	placed      int
	withZ       int
	withM       int
	bound       orb.Bound
	bounded     bool
}

// idPlan says how a layer's ids are kept.
type idPlan struct {
	text, number, none bool
	keys               map[int64]bool // of numbers, while each is an integer of its own
}

// keyed reports whether the ids can be the table's integer key.
func (p *idPlan) keyed() bool { return !p.text && !p.none && p.number && p.keys != nil }

func (p *idPlan) column() bool { return (p.text || p.number) && !p.keyed() }
func (p *idPlan) json() bool   { return p.column() && p.number }

func (p *idPlan) add(f wire.Feature) {
	switch f.IDKind {
	case wire.StringID:
		p.text = true
	case wire.NumberID:
		p.number = true
		n, ok := exactInteger(f.ID)
		if !ok || p.keys[n] {
			p.keys = nil
		}
		if p.keys != nil {
			p.keys[n] = true
		}
	default:
		p.none = true
	}
	if p.text || p.none {
		p.keys = nil
	}
}

// exactInteger gives what an INTEGER column gives back digit for digit.
func exactInteger(text string) (int64, bool) {
	n, err := strconv.ParseInt(text, 10, 64)
	return n, err == nil && strconv.FormatInt(n, 10) == text
}

func planLayer(ctx context.Context, l wire.Layer, table string) (*plan, error) {
	p := &plan{table: table, name: l.Name, byName: map[string]*property{}, shapes: map[string]bool{}}
	p.ids.keys = map[int64]bool{}
	columns := names{"fid": true, "geom": true, "id": true}
	for f, err := range l.Features {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			p.features++
			err = p.add(f, columns)
		}
		if err != nil {
			return nil, inLayer(err, l.Name, p.features)
		}
	}
	return p, nil
}

func inLayer(err error, layer string, number int) error {
	if e, ok := wire.As(err); ok {
		e.Entry, e.Feature = layer, number
	}
	return err
}

func (p *plan) add(f wire.Feature, columns names) error {
	p.ids.add(f)
	if !f.Geometry.Empty() {
		p.place(f)
	}
	return eachMember(f.Properties, func(name string, value json.RawMessage) error {
		c := p.byName[name]
		if c == nil {
			if len(p.properties) == mostProperties {
				return &wire.Error{Rule: RuleColumns, Path: name, Byte: -1, Limit: mostProperties}
			}
			c = &property{column: column{column: columns.give(name), name: name}, place: len(p.properties), exact: true}
			p.byName[name] = c
			p.properties = append(p.properties, c)
		}
		c.meet(value)
		return nil
	})
}

func (p *plan) place(f wire.Feature) {
	p.placed++
	p.shapes[shapeName(f.Geometry.Flat)] = true
	if f.Geometry.Heights != nil {
		p.withZ++
	}
	if f.Geometry.Measures != nil {
		p.withM++
	}
	if wire.Vertices(f.Geometry.Flat) == 0 {
		return
	}
	b := f.Geometry.Flat.Bound()
	if p.bounded {
		b = p.bound.Union(b)
	}
	p.bound, p.bounded = b, true
}

// spatial: a table holds shapes unless there are rows and none has one.
func (p *plan) spatial() bool { return p.placed > 0 || p.features == 0 }

func shapeName(g orb.Geometry) string {
	switch g.(type) {
	case orb.Ring, orb.Bound:
		return "POLYGON"
	}
	return strings.ToUpper(g.GeoJSONType())
}

func (p *plan) shape() string {
	if len(p.shapes) == 1 {
		for name := range p.shapes {
			return name
		}
	}
	return "GEOMETRY"
}

// some says as gpkg_geometry_columns does how many shapes have heights or
// measures: 0 none, 1 all, 2 some.
func (p *plan) some(n int) int64 {
	switch n {
	case 0:
		return 0
	case p.placed:
		return 1
	}
	return 2
}

// meet makes room for one more value. An explicit null is no value: it is read
// back as an absent property, unless the column is JSON.
func (c *property) meet(value json.RawMessage) {
	k := mixed
	switch value[0] {
	case 'n':
		return
	case 't', 'f':
		k = booleans
	case '"':
		k = texts
	case '{', '[':
	default:
		_, whole := exactInteger(string(value))
		exact := exactReal(string(value))
		c.exact = c.exact && exact
		if whole {
			k = integers
		} else if exact {
			k = reals
		}
	}
	switch {
	case c.kind == unknown || c.kind == k:
		c.kind = k
	case (c.kind == integers || c.kind == reals) && (k == integers || k == reals) && c.exact:
		c.kind = reals
	default:
		c.kind = mixed
	}
}

// asJSON reports whether the column holds JSON; one of nothing but nulls does.
func (c *property) asJSON() bool { return c.kind == mixed || c.kind == unknown }

// exactReal reports whether a JSON number comes back as the same number from a
// float64 written in its shortest form.
func exactReal(text string) bool {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) {
		return false
	}
	digits, power := decimal(text)
	back, backPower := decimal(strconv.FormatFloat(v, 'e', -1, 64))
	return digits == back && power == backPower
}

// decimal gives the digits of a number without zeros at either end, and the
// power of ten of the last of them.
func decimal(text string) (digits string, power int) {
	text = strings.TrimPrefix(text, "-")
	mantissa, exponent, _ := strings.Cut(strings.ToLower(text), "e")
	power, err := strconv.Atoi(exponent)
	if err != nil && exponent != "" {
		return text, 0 // a power that no int holds; no float64 has it
	}
	whole, part, _ := strings.Cut(mantissa, ".")
	power -= len(part)
	digits = strings.TrimLeft(whole+part, "0")
	short := strings.TrimRight(digits, "0")
	if short == "" {
		return "", 0
	}
	return short, power + len(digits) - len(short)
}

// eachMember walks through a JSON object in its order.
func eachMember(object json.RawMessage, visit func(name string, value json.RawMessage) error) error {
	if len(object) == 0 {
		return nil
	}
	d := json.NewDecoder(bytes.NewReader(object))
	d.UseNumber()
	open, err := d.Token()
	if err != nil || open != json.Delim('{') {
		if open == nil && err == nil {
			return nil // null
		}
		return &wire.Error{Rule: wire.RuleObject, Path: "properties", Byte: -1, Err: err}
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return &wire.Error{Rule: wire.RuleSyntax, Path: "properties", Byte: -1, Err: err}
		}
		text, ok := name.(string)
		var value json.RawMessage
		if err := d.Decode(&value); err != nil || !ok {
			return &wire.Error{Rule: wire.RuleSyntax, Path: "properties", Byte: -1, Err: errors.Join(err, fmt.Errorf("after %v", name))}
		}
		if err := visit(text, value); err != nil {
			return err
		}
	}
	return nil
}
