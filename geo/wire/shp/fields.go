package shp

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"

	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// longestNumber is the width of numbers in tables that other programs write and
// read; beyond it they are written as text.
const longestNumber = 24

const fieldListName = "fields.csv"

var fieldListHeader = []string{"file", "layer", "column", "property", "type", "piece"}

// The types of fields.csv. Those of properties:
const (
	fieldText   = "text"    // as it stands
	fieldNumber = "number"  // JSON's digits
	fieldTruth  = "boolean" // T or F
	fieldJSON   = "json"    // a JSON value of any type
)

// and those of what is no property:
const (
	fieldID       = "id"           // the feature's id, a text
	fieldIDNumber = "id-number"    // a number
	fieldIDJSON   = "id-json"      // a text in quotes or a number
	fieldShape    = "shape"        // the GeoJSON type, where the file cannot tell one part from a multi-shape of one part
	fieldExact    = "exact"        // an object of the properties whose cells cannot tell: null, "", spaces at the end
	fieldSeconds  = "unix-seconds" // no column: the measures are Unix seconds
)

func itoa(n int) string { return strconv.Itoa(n) }

// field is one property, in the pieces that its columns hold.
type field struct {
	property string
	kind     string
	columns  []string
	at       []*column // the same, found in the table
}

// restoring is what fields.csv says of one file.
type restoring struct {
	layer   string
	fields  []field
	seconds bool
	others  []*column // columns that it does not list
}

// readFieldList reads fields.csv; files by name. A list that is not ours, or
// that makes no sense, is passed over with a note: the tables can be read
// without it.
func readFieldList(data []byte) (map[string]*restoring, *wire.Error) {
	if data == nil {
		return nil, nil
	}
	list, line := map[string]*restoring{}, 0
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord = len(fieldListHeader)
	for {
		row, err := r.Read()
		line++
		switch {
		case errors.Is(err, io.EOF) && line > 1:
			return list, nil
		case err != nil, line == 1 && !slices.Equal(row, fieldListHeader), line > 1 && !add(list, row):
			return nil, &wire.Error{Rule: RuleFieldList, Entry: fieldListName, Line: line, Count: 1, Err: err}
		}
	}
}

func add(list map[string]*restoring, row []string) bool {
	file, layer, column, property, kind := row[0], row[1], row[2], row[3], row[4]
	piece, err := strconv.Atoi(row[5])
	if err != nil {
		return false
	}
	r := list[file]
	if r == nil {
		r = &restoring{layer: layer}
		list[file] = r
	}
	switch kind {
	case fieldSeconds:
		r.seconds = true
		return true
	case fieldText, fieldNumber, fieldTruth, fieldJSON, fieldID, fieldIDNumber, fieldIDJSON, fieldShape, fieldExact:
	default:
		return false
	}
	// Pieces of one property follow one another.
	if last := len(r.fields) - 1; piece > 1 && last >= 0 {
		f := &r.fields[last]
		f.columns = append(f.columns, column)
		return f.property == property && f.kind == kind && piece == len(f.columns)
	}
	r.fields = append(r.fields, field{property: property, kind: kind, columns: []string{column}})
	return piece == 1
}

// restoreWith finds the listed columns; fields whose columns are gone are read
// as the table has them.
func (l *layer) restoreWith(list *restoring) {
	t := l.table
	byName := map[string]*column{}
	for i := range t.columns {
		byName[t.columns[i].name] = &t.columns[i]
	}
	r := &restoring{layer: list.layer, seconds: list.seconds}
	listed, named := map[*column]bool{}, map[string]bool{}
	for _, f := range list.fields {
		f.at = nil
		for _, name := range f.columns {
			if c := byName[name]; c != nil && !listed[c] {
				f.at = append(f.at, c)
			}
		}
		isProperty := slices.Contains([]string{fieldText, fieldNumber, fieldTruth, fieldJSON}, f.kind)
		if len(f.at) != len(f.columns) || isProperty && named[f.property] {
			continue
		}
		named[f.property] = named[f.property] || isProperty
		for _, c := range f.at {
			listed[c] = true
		}
		r.fields = append(r.fields, f)
	}
	for i := range t.columns {
		if c := &t.columns[i]; !listed[c] && !named[c.name] {
			r.others = append(r.others, c)
		}
	}
	t.restore = r
	if l.shapes != nil {
		l.shapes.times = r.seconds
	}
}

// row reads what the writer wrote: properties, id, and the shape's type where
// it is given.
func (r *restoring) row(t *table, f *wire.Feature, out, row []byte, record int) ([]byte, string) {
	shape := ""
	exact := map[string]json.RawMessage{}
	for i := range r.fields {
		switch fd := &r.fields[i]; fd.kind {
		case fieldExact:
			if cell := fd.cell(row); len(cell) > 0 && json.Unmarshal(cell, &exact) != nil {
				exact = nil
			}
		case fieldShape:
			shape = string(fd.cell(row))
		case fieldID, fieldIDNumber, fieldIDJSON:
			restoreID(f, fd.kind, fd.cell(row))
		}
	}
	out = append(out, '{')
	start := len(out)
	for i := range r.fields {
		fd := &r.fields[i]
		before := len(out)
		if before > start {
			out = append(out, ',')
		}
		out = append(appendQuoted(out, fd.property), ':')
		var ok bool
		if out, ok = fd.appendValue(t, out, row, exact, record); !ok {
			out = out[:before]
		}
	}
	for _, c := range r.others {
		if len(out) > start {
			out = append(out, ',')
		}
		out = t.appendCell(append(out, c.key...), c, row[c.from:c.from+c.width], record)
	}
	return append(out, '}'), shape
}

// cell puts the pieces together. What follows the end of a piece are spaces,
// and no piece ends with one.
func (f *field) cell(row []byte) []byte {
	if len(f.at) == 1 {
		return bytes.TrimRight(row[f.at[0].from:f.at[0].from+f.at[0].width], " ")
	}
	var all []byte
	for _, c := range f.at {
		all = append(all, bytes.TrimRight(row[c.from:c.from+c.width], " ")...)
	}
	return all
}

// appendValue writes the value of a property; false where it is absent or the
// field is none.
func (f *field) appendValue(t *table, out, row []byte, exact map[string]json.RawMessage, record int) ([]byte, bool) {
	switch f.kind {
	case fieldText, fieldNumber, fieldTruth, fieldJSON:
	default:
		return out, false
	}
	cell := f.cell(row)
	// A cell that somebody filled in since counts more than what it could not
	// tell before.
	if value, ok := exact[f.property]; ok && sound(value) && shows(cell, value) {
		return append(out, value...), true
	}
	switch {
	case len(cell) == 0:
		return out, false
	case f.kind == fieldNumber && f.at[0].kind == 'C' && sound(cell):
		return append(out, cell...), true
	case f.kind == fieldNumber:
		if number, ok := appendNumber(out, bytes.TrimLeft(cell, " ")); ok {
			return number, true
		}
	case f.kind == fieldTruth:
		switch cell[0] {
		case 'T', 't', 'Y', 'y':
			return append(out, "true"...), true
		case 'F', 'f', 'N', 'n':
			return append(out, "false"...), true
		}
		return out, false
	case f.kind == fieldJSON && sound(cell):
		return append(out, cell...), true
	}
	return t.text(out, cell, record), true
}

// sound reports whether a value is JSON that names nothing twice.
func sound(value []byte) bool {
	// Canonical takes objects only.
	_, err := wire.Canonical(slices.Concat([]byte(`{"":`), value, []byte("}")))
	return err == nil
}

// shows reports whether a cell is that of a value which the exact column holds.
func shows(cell []byte, value json.RawMessage) bool {
	switch c := value[0]; {
	case c == '"':
		var text string
		return json.Unmarshal(value, &text) == nil && string(cell) == asCell(text)
	case c == '-' || c >= '0' && c <= '9':
		plain, ok := decimal(value)
		if !ok || len(cell) == 0 {
			return false
		}
		number, ok := appendNumber(nil, bytes.TrimLeft(cell, " "))
		return ok && string(number) == plain
	}
	return len(cell) == 0
}

// asCell is a text as a cell can show it.
func asCell(text string) string {
	return strings.TrimRight(strings.ReplaceAll(text, "\x00", " "), " ")
}

// decimal writes a JSON number without exponent and without needless zeros;
// false where it would be a long one.
func decimal(value []byte) (string, bool) {
	if bytes.ContainsAny(value, "eE") {
		v, err := strconv.ParseFloat(string(value), 64)
		if err != nil {
			return "", false
		}
		value = strconv.AppendFloat(nil, v, 'f', -1, 64)
	}
	plain, ok := appendNumber(nil, value)
	return string(plain), ok && len(plain) <= longestNumber
}

func restoreID(f *wire.Feature, kind string, cell []byte) {
	switch {
	case len(cell) == 0:
	case kind == fieldID:
		f.ID, f.IDKind = string(cell), wire.StringID
	case kind == fieldIDNumber && json.Valid(cell) || kind == fieldIDJSON && cell[0] != '"' && json.Valid(cell):
		f.ID, f.IDKind = string(bytes.TrimLeft(cell, " ")), wire.NumberID
	case kind == fieldIDJSON && json.Unmarshal(cell, &f.ID) == nil:
		f.IDKind = wire.StringID
	}
}

// several makes a multi-shape of one part where the writer had one.
func several(g orb.Geometry, shape string) orb.Geometry {
	switch g := g.(type) {
	case orb.Polygon:
		if shape == "MultiPolygon" {
			return orb.MultiPolygon{g}
		}
	case orb.LineString:
		if shape == "MultiLineString" {
			return orb.MultiLineString{g}
		}
	}
	return g
}

func appendQuoted(out []byte, text string) []byte {
	out, _ = encoding{}.appendText(out, []byte(text))
	return out
}
