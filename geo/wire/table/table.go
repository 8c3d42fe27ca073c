// Package table writes features as delimited text that spreadsheet programs and
// general GIS programs open: RFC 4180 with commas and CRLF, UTF-8 with a byte
// order mark (spreadsheet programs garble accents without it), shapes as
// well-known text.
//
// The columns are layer, id and wkt, then one for each property in the order
// in which they are first met, then notice where the document has one, then
// properties, which holds the feature's whole JSON object. The single columns
// are for people: a text stands plainly, lists and objects as JSON, null and
// absent are both empty. The last column is for readers that want the types
// back. A document's title has no place in such a file.
//
// Spreadsheet programs run a cell that starts with =, +, - or @ as a formula.
// A text that does, or that starts with a tab, a line end, one of the wide
// forms of those signs or an apostrophe, gets an apostrophe before it (OWASP,
// CSV injection), which [Unguard] takes away again. Numbers get none.
package table

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"caneward/geo/wire"
	"caneward/geo/wire/wkt"
)

// The columns that are ours. A property of one of these names, or without a
// name, has no column of its own and stands in Properties alone.
const (
	Layer      = "layer"
	ID         = "id"
	Shape      = "wkt"
	Notice     = "notice"
	Properties = "properties"
)

// MaxColumns bounds the single columns. Properties met later stand in the
// column properties alone.
const MaxColumns = 400

const mark = "\uFEFF"

// Write writes the document, every feature one row, one without a place with an
// empty wkt. The same document gives the same bytes. An error is the writer's,
// the context's, a layer's own, or a *wire.Error that names the feature: for
// properties that are no JSON object, or a shape that well-known text cannot
// hold, which is one with a coordinate that is not finite.
func Write(ctx context.Context, w io.Writer, doc wire.Document) error {
	columns, err := columnsOf(ctx, doc)
	if err != nil {
		return err
	}
	out := writer{Writer: bufio.NewWriter(w), notice: doc.Notice, columns: columns}
	out.WriteString(mark)
	out.header()
	err = each(ctx, doc, func(layer string, number int, f wire.Feature) error { return out.row(layer, number, f) })
	if err != nil {
		return err
	}
	return out.Flush()
}

// each walks over all features, numbered from 1.
func each(ctx context.Context, doc wire.Document, visit func(layer string, number int, f wire.Feature) error) error {
	number := 0
	for _, layer := range doc.Layers {
		for f, err := range layer.Features {
			if err == nil {
				err = ctx.Err()
			}
			number++
			if err == nil {
				err = visit(layer.Name, number, f)
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func columnsOf(ctx context.Context, doc wire.Document) ([]string, error) {
	taken := map[string]bool{"": true, Layer: true, ID: true, Shape: true, Notice: true, Properties: true}
	var columns []string
	err := each(ctx, doc, func(_ string, number int, f wire.Feature) error {
		members, err := Members(f.Properties)
		if err != nil {
			return &wire.Error{Rule: wire.RuleObject, Feature: number, Byte: -1, Err: err}
		}
		for _, m := range members {
			if !taken[m.Name] && len(columns) < MaxColumns {
				taken[m.Name] = true
				columns = append(columns, m.Name)
			}
		}
		return nil
	})
	return columns, err
}

// Members gives the members of a JSON object in their order; none for nil and
// null. Errors: anything else, something behind it, a name twice.
func Members(object json.RawMessage) ([]wire.Member, error) {
	trimmed := bytes.TrimSpace(object)
	if len(trimmed) == 0 || string(trimmed) == "null" {
		return nil, nil
	}
	// Canonical looks at the whole: nesting, names, encoding, what follows.
	if _, err := wire.Canonical(object); err != nil {
		return nil, err
	}
	d := json.NewDecoder(bytes.NewReader(trimmed))
	if _, err := d.Token(); err != nil {
		return nil, err
	}
	var members []wire.Member
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return nil, err
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return nil, err
		}
		text, _ := name.(string) // JSON has no other names
		members = append(members, wire.Member{Name: text, Value: value})
	}
	return members, nil
}

type writer struct {
	*bufio.Writer
	notice  string
	columns []string
}

func (w *writer) header() {
	cells := []string{Layer, ID, Shape}
	for _, c := range w.columns {
		cells = append(cells, Guard(c))
	}
	if w.notice != "" {
		cells = append(cells, Notice)
	}
	w.cells(append(cells, Properties))
}

func (w *writer) row(layer string, number int, f wire.Feature) error {
	shape := ""
	if !f.Geometry.Empty() {
		var err error
		if shape, err = wkt.Encode(f.Geometry); err != nil {
			if e, ok := wire.As(err); ok {
				e.Feature = number
			}
			return err
		}
	}
	members, err := Members(f.Properties)
	if err != nil {
		return err
	}
	values := make(map[string]json.RawMessage, len(members))
	for _, m := range members {
		values[m.Name] = m.Value
	}
	cells := []string{Guard(layer), idCell(f), shape}
	for _, c := range w.columns {
		cells = append(cells, Cell(values[c]))
	}
	if w.notice != "" {
		cells = append(cells, Guard(w.notice))
	}
	object := ""
	if len(members) > 0 || f.Properties != nil && string(bytes.TrimSpace(f.Properties)) != "null" {
		object = oneLine(f.Properties)
	}
	w.cells(append(cells, object))
	return nil
}

// oneLine leaves out the white space between JSON's tokens and nothing else.
func oneLine(object json.RawMessage) string {
	var out bytes.Buffer
	if json.Compact(&out, object) != nil { // Members has read it
		return ""
	}
	return out.String()
}

// cells writes one record. An empty one would be a blank line, which readers
// skip; here there are always commas.
func (w *writer) cells(cells []string) {
	for i, c := range cells {
		if i > 0 {
			w.WriteByte(',')
		}
		if !strings.ContainsAny(c, "\",\r\n") {
			w.WriteString(c)
			continue
		}
		w.WriteByte('"')
		w.WriteString(strings.ReplaceAll(c, `"`, `""`))
		w.WriteByte('"')
	}
	w.WriteString("\r\n")
}

// Cell is how one JSON value stands in its own column.
func Cell(value json.RawMessage) string {
	trimmed := bytes.TrimSpace(value)
	switch {
	case len(trimmed) == 0 || string(trimmed) == "null":
		return ""
	case trimmed[0] != '"':
		return oneLine(trimmed)
	}
	var text string
	if json.Unmarshal(trimmed, &text) != nil {
		return ""
	}
	// A zero byte would make the file look like no text at all.
	return Guard(strings.ReplaceAll(text, "\x00", string(utf8.RuneError)))
}

// idCell gives a number as it is; a text that looks like one, or is empty, is
// marked as text.
func idCell(f wire.Feature) string {
	switch {
	case f.IDKind == wire.NumberID:
		return f.ID
	case f.IDKind == wire.NoID:
		return ""
	case f.ID == "" || IsNumber(f.ID):
		return "'" + f.ID
	}
	return Guard(strings.ReplaceAll(f.ID, "\x00", string(utf8.RuneError)))
}

// ReadID reads what stands in the column id: a number is a number, an
// apostrophe before one makes it text, nothing is no id.
func ReadID(cell string) (string, wire.IDKind) {
	if cell == "" {
		return "", wire.NoID
	}
	if IsNumber(cell) {
		return cell, wire.NumberID
	}
	if rest, found := strings.CutPrefix(cell, "'"); found && (rest == "" || IsNumber(rest)) {
		return rest, wire.StringID
	}
	return Unguard(cell), wire.StringID
}

// IsNumber reports whether a text is a number as JSON writes it.
func IsNumber(text string) bool {
	if text == "" || !strings.Contains("-0123456789", text[:1]) || !json.Valid([]byte(text)) {
		return false
	}
	_, err := strconv.ParseFloat(text, 64)
	return err == nil
}

// formulas are what a cell of text must not start with, wide forms included.
const formulas = "=+-@\t\r\n'＝＋－＠"

// Guard puts an apostrophe before a text that a spreadsheet program could run.
func Guard(text string) string {
	if first, n := utf8.DecodeRuneInString(text); n > 0 && strings.ContainsRune(formulas, first) {
		return "'" + text
	}
	return text
}

// Unguard takes Guard's apostrophe away; other text stays as it is.
func Unguard(cell string) string {
	rest, found := strings.CutPrefix(cell, "'")
	if !found {
		return cell
	}
	if first, n := utf8.DecodeRuneInString(rest); n > 0 && strings.ContainsRune(formulas, first) {
		return rest
	}
	return cell
}
