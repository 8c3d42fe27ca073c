package shp

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"strconv"
	"strings"
	"unicode/utf8"

	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

const (
	longestText = 254   // bytes of a C column
	mostColumns = 255   // dBASE IV
	longestRow  = 65500 // a row's length has 16 bits, and some readers want room

	// wholeDigits and fractionDigits bound what is written as a number: readers
	// hold whole ones in 64 bits and others in a float64.
	wholeDigits    = 18
	fractionDigits = 15
)

// grid is a table being filled: first whole values, then columns.
type grid struct {
	names  []string // of properties, in the order they are first seen
	byName map[string]int
	kinds  []kinds
	rows   []gridRow

	fields []field
	widths []gridColumn // of all fields' columns, in order
	cells  [][]string   // by row, then column
}

// kinds are the JSON types a property was seen with.
type kinds struct{ text, number, truth, other bool }

type gridRow struct {
	id      string
	idKind  wire.IDKind
	shape   string // the type, where the file cannot tell it
	members []member
}

type member struct {
	property int
	value    json.RawMessage
}

type gridColumn struct {
	name     string
	kind     byte
	width    int
	decimals int
}

// add takes a feature's id and properties.
func (g *grid) add(f wire.Feature) *wire.Error {
	row := gridRow{id: f.ID, idKind: f.IDKind}
	switch flat := f.Geometry.Flat.(type) {
	case orb.MultiPolygon:
		if len(flat) == 1 {
			row.shape = flat.GeoJSONType()
		}
	case orb.MultiLineString:
		if len(flat) == 1 {
			row.shape = flat.GeoJSONType()
		}
	}
	err := eachMember(f.Properties, func(name string, value json.RawMessage) {
		at, ok := g.byName[name]
		if !ok {
			at = len(g.names)
			g.byName[name] = at
			g.names, g.kinds = append(g.names, name), append(g.kinds, kinds{})
		}
		g.kinds[at].see(value)
		row.members = append(row.members, member{at, value})
	})
	g.rows = append(g.rows, row)
	return err
}

func eachMember(object json.RawMessage, each func(string, json.RawMessage)) *wire.Error {
	if len(object) == 0 || string(object) == "null" {
		return nil
	}
	broken := func(err error) *wire.Error { return &wire.Error{Rule: wire.RuleSyntax, Path: "properties", Err: err} }
	d := json.NewDecoder(bytes.NewReader(object))
	if start, err := d.Token(); err != nil || start != json.Delim('{') {
		return broken(err)
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return broken(err)
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return broken(err)
		}
		text, _ := name.(string) // what stands before a value in an object
		each(text, value)
	}
	return nil
}

func (k *kinds) see(value json.RawMessage) {
	switch value[0] {
	case '"':
		k.text = true
	case 't', 'f':
		k.truth = true
	case 'n':
	case '{', '[':
		k.other = true
	default:
		k.number = true
	}
}

// field is the type that holds everything seen.
func (k kinds) field() string {
	switch k {
	case kinds{}, kinds{text: true}:
		return fieldText
	case kinds{number: true}:
		return fieldNumber
	case kinds{truth: true}:
		return fieldTruth
	}
	return fieldJSON
}

// settle lays the columns out and cuts every value to their size.
func (g *grid) settle() *wire.Error {
	columns := g.drafts()
	names := namer{taken: map[string]bool{}}
	g.cells = make([][]string, len(g.rows))
	for _, d := range columns {
		if err := d.measure(); err != nil {
			return err
		}
		f := field{property: d.property, kind: d.kind}
		for i, c := range d.columns {
			c.name = names.name(d.wanted, i+1, len(d.columns))
			f.columns = append(f.columns, c.name)
			g.widths = append(g.widths, c)
		}
		for row := range g.cells {
			for i := range d.columns {
				cell := ""
				if i < len(d.cells[row]) {
					cell = d.cells[row][i]
				}
				g.cells[row] = append(g.cells[row], cell)
			}
		}
		g.fields = append(g.fields, f)
		d.cells = nil
	}
	length := 1
	for _, c := range g.widths {
		length += c.width
	}
	if len(g.widths) > mostColumns {
		return &wire.Error{Rule: RuleColumns, Limit: mostColumns, Got: itoa(len(g.widths))}
	}
	if length > longestRow {
		return &wire.Error{Rule: RuleColumns, Limit: longestRow, Got: itoa(length)}
	}
	return nil
}

// draft is a field before its columns are known: one value a row, "" for none.
type draft struct {
	property string
	wanted   string // name
	kind     string
	values   []string

	columns []gridColumn
	cells   [][]string
}

// drafts are the id where there is one, the properties, the shape's type where
// it is needed, and what cells cannot tell.
func (g *grid) drafts() []*draft {
	properties := make([]*draft, len(g.names))
	for i, name := range g.names {
		properties[i] = &draft{property: name, wanted: name, kind: g.kinds[i].field(), values: make([]string, len(g.rows))}
	}
	exact := &draft{wanted: "exact", kind: fieldExact, values: make([]string, len(g.rows))}
	shape := &draft{wanted: "shape", kind: fieldShape, values: make([]string, len(g.rows))}
	needExact, needShape := false, false
	for i, row := range g.rows {
		rest := []byte("{")
		for _, m := range row.members {
			d := properties[m.property]
			value, told := cellOf(d.kind, m.value)
			if d.values[i] = value; told {
				continue
			}
			if len(rest) > 1 {
				rest = append(rest, ',')
			}
			rest = append(append(appendQuoted(rest, d.property), ':'), m.value...)
		}
		if len(rest) > 1 {
			exact.values[i], needExact = string(append(rest, '}')), true
		}
		shape.values[i] = row.shape
		needShape = needShape || row.shape != ""
	}
	var all []*draft
	if id := g.ids(); id != nil || len(properties) == 0 {
		if id == nil {
			id = &draft{wanted: "id", kind: fieldID, values: make([]string, len(g.rows))}
		}
		all = append(all, id)
	}
	all = append(all, properties...)
	if needShape {
		all = append(all, shape)
	}
	if needExact {
		all = append(all, exact)
	}
	return all
}

func (g *grid) ids() *draft {
	d := &draft{wanted: "id", values: make([]string, len(g.rows))}
	var text, number bool
	for _, row := range g.rows {
		text, number = text || row.idKind == wire.StringID, number || row.idKind == wire.NumberID
	}
	switch {
	case text && number:
		d.kind = fieldIDJSON
	case text:
		d.kind = fieldID
	case number:
		d.kind = fieldIDNumber
	default:
		return nil
	}
	for i, row := range g.rows {
		// An id that a cell cannot show makes all of them JSON.
		if row.idKind == wire.StringID && (row.id == "" || asCell(row.id) != row.id) {
			d.kind = fieldIDJSON
		}
		d.values[i] = row.id
	}
	if d.kind == fieldIDJSON {
		for i, row := range g.rows {
			if row.idKind == wire.StringID {
				d.values[i] = string(appendQuoted(nil, row.id))
			}
		}
	}
	return d
}

// cellOf is a value as its cell shows it; told is false where the exact column
// must hold it too.
func cellOf(kind string, value json.RawMessage) (cell string, told bool) {
	if value[0] == 'n' && kind != fieldJSON {
		return "", false
	}
	switch kind {
	case fieldText:
		var text string
		if json.Unmarshal(value, &text) != nil {
			return "", false
		}
		cell = asCell(text)
		return cell, cell == text && text != ""
	case fieldTruth:
		return strings.ToUpper(string(value[:1])), true
	case fieldNumber:
		plain, ok := decimal(value)
		return string(value), !ok || plain == string(value)
	}
	var compact bytes.Buffer
	if json.Compact(&compact, value) != nil {
		return "", false
	}
	return compact.String(), true
}

// measure cuts values into cells and finds their columns' widths.
func (d *draft) measure() *wire.Error {
	d.cells = make([][]string, len(d.values))
	if d.kind == fieldTruth {
		d.columns = []gridColumn{{kind: 'L', width: 1}}
		for i, v := range d.values {
			d.cells[i] = []string{v}
		}
		return nil
	}
	if d.kind == fieldNumber {
		if c, ok := d.numbers(); ok {
			d.columns = []gridColumn{c}
			return nil
		}
	}
	d.columns = []gridColumn{{kind: 'C', width: 1}}
	for i, v := range d.values {
		cells, ok := pieces(v)
		if !ok {
			return &wire.Error{Rule: RuleCell, Feature: i + 1, Path: d.property}
		}
		for k, cell := range cells {
			if k == len(d.columns) {
				d.columns = append(d.columns, gridColumn{kind: 'C'})
			}
			d.columns[k].width = max(d.columns[k].width, len(cell))
		}
		d.cells[i] = cells
	}
	return nil
}

// numbers lays out an N column; false where a number is too long for one.
func (d *draft) numbers() (gridColumn, bool) {
	c := gridColumn{kind: 'N'}
	whole := 1
	plain := make([]string, len(d.values))
	for i, v := range d.values {
		if v == "" {
			continue
		}
		p, ok := decimal([]byte(v))
		if !ok {
			return c, false
		}
		w, fraction, _ := strings.Cut(p, ".")
		whole, c.decimals, plain[i] = max(whole, len(w)), max(c.decimals, len(fraction)), p
	}
	c.width = whole
	if c.decimals > 0 {
		c.width += 1 + c.decimals
	}
	if whole > wholeDigits || c.decimals > fractionDigits || c.width > longestNumber {
		return c, false
	}
	for i, p := range plain {
		if p == "" {
			continue
		}
		if w, fraction, _ := strings.Cut(p, "."); c.decimals > 0 {
			p = w + "." + fraction + strings.Repeat("0", c.decimals-len(fraction))
		}
		d.cells[i] = []string{strings.Repeat(" ", c.width-len(p)) + p}
	}
	return c, true
}

// pieces cuts a text into cells, between letters and never behind a space; false
// where there is nothing but spaces to cut at.
func pieces(text string) ([]string, bool) {
	var out []string
	for len(text) > longestText {
		cut := longestText
		for !utf8.RuneStart(text[cut]) {
			cut--
		}
		cut = len(strings.TrimRight(text[:cut], " "))
		if cut == 0 {
			return nil, false
		}
		out, text = append(out, text[:cut]), text[cut:]
	}
	return append(out, text), true
}

// namer makes names of at most ten ASCII letters, each once, capitals or not.
type namer struct{ taken map[string]bool }

const longestName = 10

func (n namer) name(wanted string, piece, of int) string {
	stem := strings.Map(plainName, wanted)
	if stem == "" {
		stem = "field"
	}
	ending := ""
	if of > 1 && piece > 1 {
		ending = "_" + strconv.Itoa(piece)
	}
	for k := 1; ; k++ {
		e := ending
		if k > 1 {
			e = "_" + strconv.Itoa(k) + ending
		}
		name := stem[:min(len(stem), longestName-len(e))] + e
		if key := strings.ToUpper(name); !n.taken[key] {
			n.taken[key] = true
			return name
		}
	}
}

func plainName(r rune) rune {
	if r == '-' {
		return '_'
	}
	return plainLetter(r)
}

// epoch is the date in every table's header: the same content gives the same
// bytes. Years count from 1900.
var epoch = [3]byte{80, 1, 1}

// encode writes the table.
func (g *grid) encode() ([]byte, *wire.Error) {
	length := 1
	for _, c := range g.widths {
		length += c.width
	}
	header := tableHeader + descriptor*len(g.widths) + 1
	size := header + length*len(g.rows) + 1
	if size > longestFile {
		return nil, &wire.Error{Rule: RuleSize, Limit: longestFile, Byte: -1}
	}
	out := make([]byte, 0, size)
	out = append(out, 0x03, epoch[0], epoch[1], epoch[2])
	out = binary.LittleEndian.AppendUint32(out, uint32(len(g.rows)))
	out = binary.LittleEndian.AppendUint16(out, uint16(header))
	out = binary.LittleEndian.AppendUint16(out, uint16(length))
	out = append(out, make([]byte, 20)...)
	for _, c := range g.widths {
		var d [descriptor]byte
		copy(d[:columnNameEnd-1], c.name)
		d[11], d[16], d[17] = c.kind, byte(c.width), byte(c.decimals)
		out = append(out, d[:]...)
	}
	out = append(out, headerEnd)
	for _, row := range g.cells {
		out = append(out, ' ')
		for i, cell := range row {
			out = append(out, cell...)
			for n := len(cell); n < g.widths[i].width; n++ {
				out = append(out, ' ')
			}
		}
	}
	return append(out, 0x1A), nil
}
