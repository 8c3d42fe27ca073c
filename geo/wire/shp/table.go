package shp

import (
	"bytes"
	"encoding/binary"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"caneward/geo/wire"
)

const (
	tableHeader   = 32 // before the column descriptors, each of which is as long
	descriptor    = 32
	columnNameEnd = 11
	headerEnd     = 0x0D
	rowDeleted    = '*'
)

// column is one of a table, placed in its rows.
type column struct {
	name        string
	key         []byte // `"name":`
	kind        byte   // of the descriptor
	from, width int
}

// table is one .dbf.
type table struct {
	entry   string
	size    int    // of the file
	rows    []byte // records, none of them cut
	length  int    // of a record
	count   int    // as the header states
	columns []column
	encoding
	restore *restoring // nil for tables that another program wrote

	notes           []*wire.Error
	odd             map[string]*wire.Error // cells that did not fit, by column
	badText         *wire.Error
	left, firstLeft int // rows marked as deleted
}

func (t *table) fail(rule wire.Rule, at int) *wire.Error {
	return &wire.Error{Rule: rule, Entry: t.entry, Byte: int64(at)}
}

// openTable reads the header. cpg is nil where there is none.
func openTable(entry string, data, cpg []byte) (*table, *wire.Error) {
	t := &table{entry: entry, size: len(data), odd: map[string]*wire.Error{}}
	if len(data) < tableHeader+1 {
		return nil, t.fail(wire.RuleTruncated, len(data))
	}
	t.count = int(binary.LittleEndian.Uint32(data[4:]))
	header := int(binary.LittleEndian.Uint16(data[8:]))
	t.length = int(binary.LittleEndian.Uint16(data[10:]))
	if header > len(data) {
		return nil, t.fail(wire.RuleTruncated, len(data))
	}
	if header < tableHeader+1 || t.length == 0 {
		return nil, t.fail(RuleTable, 8)
	}
	t.rows = data[header:]
	t.rows = t.rows[:len(t.rows)-len(t.rows)%t.length]
	names, err := t.readColumns(data[:header])
	if err != nil {
		return nil, err
	}
	t.chooseEncoding(data[29], cpg, names)
	t.name(names)
	return t, nil
}

// readColumns places the columns and gives their names' bytes.
func (t *table) readColumns(header []byte) ([][]byte, *wire.Error) {
	var names [][]byte
	from := 1 // behind the mark of deletion
	for at := tableHeader; at+descriptor <= len(header) && header[at] != headerEnd; at += descriptor {
		d := header[at : at+descriptor]
		name, _, _ := bytes.Cut(d[:columnNameEnd], []byte{0})
		c := column{kind: d[11], from: from, width: int(d[16])}
		if from += c.width; from > t.length {
			return nil, t.fail(RuleTable, at)
		}
		if c.width == 0 { // of nothing, some programs have columns
			continue
		}
		if !c.read() {
			e := t.fail(RuleColumn, at)
			e.Got, e.Count = string(bytes.ToValidUTF8(bytes.TrimSpace(name), []byte("?"))), 1
			t.notes = append(t.notes, e)
			continue
		}
		t.columns = append(t.columns, c)
		names = append(names, bytes.TrimSpace(name))
	}
	return names, nil
}

// read reports whether the column's type is one that is read: those of dBASE
// III and IV, and the plain ones of later kinds.
func (c column) read() bool {
	switch c.kind {
	case 'C', 'N', 'F', 'L', 'D':
		return true
	case 'I', '+':
		return c.width == 4
	case 'B', 'O', 'T', '@', 'Y':
		return c.width == 8
	}
	return false
}

// name gives columns their names, each once.
func (t *table) name(names [][]byte) {
	taken := map[string]bool{}
	for i := range t.columns {
		quoted, _ := t.appendText(nil, names[i])
		name := string(quoted[1 : len(quoted)-1])
		for n := 1; taken[name] || name == ""; n++ {
			name = string(quoted[1:len(quoted)-1]) + "_" + strconv.Itoa(n)
		}
		if taken[name] = true; len(name) != len(quoted)-2 {
			e := t.fail(RuleRepeated, -1)
			e.Got, e.Count = name, 1
			t.notes = append(t.notes, e)
		}
		t.columns[i].name = name
		t.columns[i].key = []byte(`"` + name + `":`)
	}
}

// chooseEncoding goes by the .cpg, then by the text itself and the header.
func (t *table) chooseEncoding(driver byte, cpg []byte, names [][]byte) {
	var known bool
	if t.encoding, known = ofLabel(cpg); known && t.encoding.utf8() {
		return
	}
	texts := append([][]byte{}, names...)
	if !ascii(t.rows) {
		for row := range t.all() {
			for _, c := range t.columns {
				if cell := row[c.from : c.from+c.width]; c.kind == 'C' && !ascii(cell) {
					texts = append(texts, bytes.TrimSpace(uncut(cell)))
				}
			}
		}
	}
	allUTF8, example := true, []byte(nil)
	for _, text := range texts {
		if ascii(text) {
			continue
		}
		if example == nil {
			example = text
		}
		allUTF8 = allUTF8 && utf8.Valid(text)
	}
	if example == nil {
		return
	}
	// A .cpg left over from before the table was written as UTF-8 is commoner
	// than names that are UTF-8 by chance.
	if known && !allUTF8 {
		return
	}
	var sure bool
	if t.encoding, sure = guess(driver, allUTF8); sure && cpg == nil {
		return
	}
	e := t.fail(RuleEncoding, -1)
	quoted, _ := t.appendText(nil, example)
	e.Got, e.Count = string(quoted[1:len(quoted)-1]), 1
	t.notes = append(t.notes, e)
}

func (t *table) all() func(func([]byte) bool) {
	return func(yield func([]byte) bool) {
		for at := 0; at+t.length <= len(t.rows); at += t.length {
			if !yield(t.rows[at : at+t.length]) {
				return
			}
		}
	}
}

// row is record i, from 0.
func (t *table) row(i int) []byte { return t.rows[i*t.length : (i+1)*t.length] }

// settle decides how many rows count, given how many shapes there are, -1 where
// there is no .shp. The header's number holds, or else the bytes' where that is
// the shapes'. Which row belongs to which shape is told by their order alone:
// with a different number of them, names would land on the wrong ground.
func (t *table) settle(shapes int) *wire.Error {
	fit := len(t.rows) / t.length
	switch {
	case fit == shapes:
		t.count = fit
	case t.count > fit:
		e := t.fail(wire.RuleTruncated, t.size)
		e.Feature = fit + 1
		return e
	case shapes >= 0 && t.count != shapes:
		e := t.fail(RuleCount, 4)
		e.Got, e.Feature = itoa(shapes)+", "+itoa(t.count), min(shapes, t.count)+1
		return e
	}
	return nil
}

// appendProperties writes a row as a JSON object. Blank cells are null.
func (t *table) appendProperties(out, row []byte, record int) []byte {
	out = append(out, '{')
	for i := range t.columns {
		c := &t.columns[i]
		if i > 0 {
			out = append(out, ',')
		}
		out = append(out, c.key...)
		out = t.appendCell(out, c, row[c.from:c.from+c.width], record)
	}
	return append(out, '}')
}

func (t *table) appendCell(out []byte, c *column, cell []byte, record int) []byte {
	if c.kind == 'I' || c.kind == '+' || c.width == 8 && binaryKind(c.kind) {
		return appendBinary(out, c.kind, cell)
	}
	if t.utf8() && cell[len(cell)-1] >= utf8.RuneSelf && !utf8.Valid(cell) && utf8.Valid(uncut(cell)) {
		cell = uncut(cell)
	}
	cell = trim(cell)
	if len(cell) == 0 {
		return append(out, "null"...)
	}
	switch c.kind {
	case 'N', 'F':
		if number, ok := appendNumber(out, cell); ok {
			return number
		}
	case 'L':
		switch cell[0] {
		case 'T', 't', 'Y', 'y':
			return append(out, "true"...)
		case 'F', 'f', 'N', 'n':
			return append(out, "false"...)
		case '?':
			return append(out, "null"...)
		}
	case 'D':
		if day, ok := appendDay(out, cell); ok {
			return day
		}
	case 'C':
		return t.text(out, cell, record)
	}
	t.oddCell(c, cell, record)
	if cell[0] == '*' && c.kind != 'L' { // a number that did not fit its column
		return append(out, "null"...)
	}
	return t.text(out, cell, record)
}

func (t *table) text(out, cell []byte, record int) []byte {
	start := len(out)
	out, ok := t.appendText(out, cell)
	if !ok {
		if t.badText == nil {
			t.badText = t.fail(RuleEncoding, -1)
			t.badText.Feature, t.badText.Got = record, string(out[start+1:len(out)-1])
		}
		t.badText.Count++
	}
	return out
}

func (t *table) oddCell(c *column, cell []byte, record int) {
	e := t.odd[c.name]
	if e == nil {
		e = t.fail(RuleCell, -1)
		e.Feature, e.Path = record, c.name
		quoted, _ := t.appendText(nil, cell)
		e.Got = string(quoted[1 : len(quoted)-1])
		t.odd[c.name] = e
	}
	e.Count++
}

// finish gives what was found while rows were read.
func (t *table) finish() []*wire.Error {
	notes := t.notes
	if t.badText != nil {
		notes = append(notes, t.badText)
	}
	for _, c := range t.columns {
		if e := t.odd[c.name]; e != nil {
			notes = append(notes, e)
		}
	}
	return notes
}

// trim takes off what fields are filled up with.
func trim(cell []byte) []byte {
	if i := bytes.IndexByte(cell, 0); i >= 0 {
		cell = cell[:i]
	}
	for len(cell) > 0 && cell[0] == ' ' {
		cell = cell[1:]
	}
	for len(cell) > 0 && cell[len(cell)-1] == ' ' {
		cell = cell[:len(cell)-1]
	}
	return cell
}

// appendNumber writes a decimal as JSON: no plus, no leading zeros, no zeros at
// the end of a fraction, all other digits kept.
func appendNumber(out, cell []byte) ([]byte, bool) {
	start, at := len(out), 0
	if cell[0] == '-' || cell[0] == '+' {
		if at = 1; cell[0] == '-' {
			out = append(out, '-')
		}
	}
	whole := digits(cell[at:])
	at += len(whole)
	var fraction []byte
	if at < len(cell) && cell[at] == '.' {
		fraction = digits(cell[at+1:])
		at += 1 + len(fraction)
	}
	if len(whole)+len(fraction) == 0 {
		return out[:start], false
	}
	for len(whole) > 0 && whole[0] == '0' {
		whole = whole[1:]
	}
	if len(whole) == 0 {
		whole = []byte("0")
	}
	out = append(out, whole...)
	for len(fraction) > 0 && fraction[len(fraction)-1] == '0' {
		fraction = fraction[:len(fraction)-1]
	}
	if len(fraction) > 0 {
		out = append(append(out, '.'), fraction...)
	}
	if at == len(cell) {
		return out, true
	}
	exponent := cell[at:]
	if _, err := strconv.ParseFloat(string(cell), 64); err != nil || exponent[0] != 'e' && exponent[0] != 'E' {
		return out[:start], false
	}
	return append(out, exponent...), true
}

func digits(b []byte) []byte {
	n := 0
	for n < len(b) && b[n] >= '0' && b[n] <= '9' {
		n++
	}
	return b[:n]
}

// appendDay writes YYYYMMDD as ISO 8601; eight zeros are no day.
func appendDay(out, cell []byte) ([]byte, bool) {
	if len(cell) != 8 || len(digits(cell)) != 8 {
		return out, false
	}
	if strings.Trim(string(cell), "0") == "" {
		return append(out, "null"...), true
	}
	out = append(append(out, '"'), cell[:4]...)
	out = append(append(out, '-'), cell[4:6]...)
	out = append(append(out, '-'), cell[6:]...)
	return append(out, '"'), true
}

func binaryKind(kind byte) bool {
	switch kind {
	case 'B', 'O', 'T', '@', 'Y':
		return true
	}
	return false
}

// julianUnix is the Julian day number of 1 January 1970.
const julianUnix = 2440588

// appendBinary writes the types of later dBASE and FoxPro.
func appendBinary(out []byte, kind byte, cell []byte) []byte {
	switch kind {
	case 'I':
		return strconv.AppendInt(out, int64(int32(binary.LittleEndian.Uint32(cell))), 10)
	case '+':
		// dBASE 7 turns the sign bit round, so that bytes sort.
		return strconv.AppendInt(out, int64(int32(binary.BigEndian.Uint32(cell)^1<<31)), 10)
	case 'Y':
		const perUnit = 10_000
		v := int64(binary.LittleEndian.Uint64(cell))
		sign := ""
		u := uint64(v)
		if v < 0 {
			sign, u = "-", -u
		}
		digits, _ := appendNumber(nil, []byte(sign+strconv.FormatUint(u/perUnit, 10)+"."+strconv.FormatUint(perUnit+u%perUnit, 10)[1:]))
		return append(out, digits...)
	case 'T', '@':
		day, ms := int64(binary.LittleEndian.Uint32(cell)), int64(binary.LittleEndian.Uint32(cell[4:]))
		if day == 0 && ms == 0 || day > 2*julianUnix {
			return append(out, "null"...)
		}
		at := time.UnixMilli((day-julianUnix)*24*3600*1000 + ms).UTC()
		return append(out, at.Format(`"2006-01-02T15:04:05"`)...)
	}
	v := float(cell)
	if kind == 'O' {
		v = sortable(binary.BigEndian.Uint64(cell))
	}
	if !finite(v) {
		return append(out, "null"...)
	}
	return strconv.AppendFloat(out, v, 'g', -1, 64)
}

// sortable undoes dBASE 7's turning of bits, after which doubles sort as bytes.
func sortable(bits uint64) float64 {
	if bits>>63 == 1 {
		return math.Float64frombits(bits ^ 1<<63)
	}
	return math.Float64frombits(^bits)
}
