package gpkg

import (
	"bytes"
	"context"
	"database/sql/driver"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"caneward/geo/wire"
)

// mostValue is the longest text one property may have.
const mostValue = 1 << 20

// Reader gives the rows of a GeoPackage's tables as features, table after table
// in the order of gpkg_contents. It belongs to one goroutine.
type Reader struct {
	ctx    context.Context
	db     database
	limits wire.Limits
	layers []*layer

	layer    int // that is being read
	rows     driver.Rows
	values   []driver.Value
	number   int
	vertices int
	unpacked int64
	ended    bool

	notes  []*wire.Error
	noted  map[noted]*wire.Error
	closed bool
}

var _ wire.Source = (*Reader)(nil)

type noted struct {
	rule         wire.Rule
	table, where string
}

// layer is a table and what its columns are for; -1 is none.
type layer struct {
	table, name string
	crs         string
	srs         int32
	columns     []column
	geometry    int
	fid         int
	id          int
}

type column struct {
	column   string // in the table
	name     string // of the property
	declared string
	json     bool
}

// Open reads what tables there are. The reader keeps ctx: reading stops when it
// ends. The error is a *wire.Error for what is wrong with the file, else the
// context's or SQLite's own.
//
// A text column "id" is the feature's id, an integer key otherwise; other
// columns are properties named as they are, or as gpkg_data_columns says where
// [Write] had to give a column another name. NULL is no property. BOOLEAN
// columns give true and false, columns whose mime_type is application/json what
// their text holds, BLOBs nothing. Feature.CRS is "" for EPSG:4326, "EPSG:n"
// for others of EPSG, else the definition, wire.CRSMissing where it is
// undefined. Feature.Byte is -1, Feature.Line 0.
func Open(ctx context.Context, data []byte, o wire.Options) (*Reader, error) {
	l := o.Limits.Filled()
	if e := checkHeader(data, l); e != nil {
		return nil, e
	}
	data, wal := withoutWAL(data)
	db, err := openBytes(ctx, data)
	if err != nil {
		return nil, err
	}
	r := &Reader{ctx: ctx, db: db, limits: l, noted: map[noted]*wire.Error{}}
	if wal {
		r.note(RuleWAL, "", "", "")
	}
	if err := r.readSchema(); err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
}

// Close frees the memory. Next gives io.EOF after it.
func (r *Reader) Close() error {
	if r.closed {
		return nil
	}
	r.closed, r.ended = true, true
	if r.rows != nil {
		// A row that failed fails again here; that was said where it was read.
		_ = r.rows.Close()
		r.rows = nil
	}
	return r.db.Close()
}

// Notes are what was left out or assumed, one for each column or table with how
// many times.
func (r *Reader) Notes() []*wire.Error { return r.notes }

func (r *Reader) note(rule wire.Rule, table, where, got string) {
	key := noted{rule, table, where}
	if e := r.noted[key]; e != nil {
		e.Count++
		return
	}
	e := &wire.Error{Rule: rule, Entry: table, Path: where, Got: got, Byte: -1, Count: 1}
	if r.number > 0 {
		e.Feature = r.number
	}
	r.noted[key] = e
	r.notes = append(r.notes, e)
}

// Next is as wire.Source says; after an error of the file, a limit or the
// context, the file has ended.
func (r *Reader) Next() (wire.Feature, error) {
	for {
		if err := r.ctx.Err(); err != nil {
			return wire.Feature{}, err
		}
		if r.ended || r.layer == len(r.layers) {
			return wire.Feature{}, io.EOF
		}
		l := r.layers[r.layer]
		if r.rows == nil {
			if err := r.start(l); err != nil {
				return r.end(err)
			}
		}
		err := r.rows.Next(r.values)
		if errors.Is(err, io.EOF) {
			if err := r.rows.Close(); err != nil {
				return r.end(failure(r.ctx, err, l.table))
			}
			r.rows = nil
			r.layer++
			continue
		}
		if err != nil {
			return r.end(failure(r.ctx, err, l.table))
		}
		return r.feature(l)
	}
}

// end gives an error that concerns the file, not one feature.
func (r *Reader) end(err error) (wire.Feature, error) {
	r.ended = true
	return wire.Feature{}, err
}

// start asks for a table's rows. NOT INDEXED keeps to the table itself; the plus
// signs make columns expressions, whose values the driver gives as they are
// stored instead of guessing at times.
func (r *Reader) start(l *layer) error {
	var q strings.Builder
	q.WriteString("SELECT ")
	for i, c := range l.columns {
		if i > 0 {
			q.WriteString(", ")
		}
		q.WriteString("+" + quoted(c.column))
	}
	q.WriteString(" FROM " + quoted(l.table) + " NOT INDEXED")
	rows, err := r.db.QueryContext(r.ctx, q.String(), nil)
	if err != nil {
		return failure(r.ctx, err, l.table)
	}
	r.rows, r.values = rows, make([]driver.Value, len(l.columns))
	return nil
}

func (r *Reader) feature(l *layer) (wire.Feature, error) {
	r.number++
	f := wire.Feature{Number: r.number, Byte: -1, CRS: l.crs, Layer: l.name}
	if r.number > r.limits.Features {
		return r.end(&wire.Error{Rule: wire.RuleFeatures, Entry: l.table, Feature: r.number, Byte: -1, Limit: int64(r.limits.Features)})
	}
	for _, v := range r.values {
		switch v := v.(type) {
		case string:
			r.unpacked += int64(len(v))
		case []byte:
			r.unpacked += int64(len(v))
		}
	}
	if r.unpacked > r.limits.Unpacked {
		return r.end(&wire.Error{Rule: RuleUnpacked, Entry: l.table, Feature: r.number, Byte: -1, Limit: r.limits.Unpacked})
	}
	r.identify(&f, l)
	properties, err := r.properties(l)
	if err != nil {
		return f, r.located(err, l)
	}
	f.Properties = properties
	if l.geometry >= 0 {
		if err := r.geometry(&f, l); err != nil {
			if err.Rule == wire.RuleVertices {
				err.Limit = int64(r.limits.Vertices)
				return r.end(r.located(err, l))
			}
			return f, r.located(err, l)
		}
	}
	return f, nil
}

// located says the table, the row and its key.
func (r *Reader) located(e *wire.Error, l *layer) *wire.Error {
	e.Entry, e.Feature = l.table, r.number
	if l.fid >= 0 {
		e.Path = fmt.Sprintf("%s (%s %v)", e.Path, l.columns[l.fid].column, r.values[l.fid])
	}
	return e
}

func (r *Reader) identify(f *wire.Feature, l *layer) {
	if l.id < 0 {
		if n, ok := r.key(l); ok {
			f.ID, f.IDKind = n, wire.NumberID
		}
		return
	}
	said, ok := r.values[l.id].(string)
	if !ok {
		return
	}
	f.ID, f.IDKind = strings.ToValidUTF8(said, "�"), wire.StringID
	if l.columns[l.id].json {
		// Write tells 7 from "7" so where a table has both.
		var quotedID string
		var number json.Number
		if json.Unmarshal([]byte(said), &quotedID) == nil {
			f.ID = quotedID
		} else if json.Unmarshal([]byte(said), &number) == nil {
			f.ID, f.IDKind = number.String(), wire.NumberID
		}
	}
}

func (r *Reader) key(l *layer) (string, bool) {
	if l.fid < 0 {
		return "", false
	}
	n, ok := integer(r.values[l.fid])
	return strconv.FormatInt(n, 10), ok
}

func (r *Reader) geometry(f *wire.Feature, l *layer) *wire.Error {
	name := l.columns[l.geometry].column
	blob, ok := r.values[l.geometry].([]byte)
	if r.values[l.geometry] == nil || ok && len(blob) == 0 {
		return nil
	}
	if !ok {
		return &wire.Error{Rule: RuleBlob, Path: name, Byte: -1, Err: fmt.Errorf("%T in place of a geometry", r.values[l.geometry])}
	}
	g, srs, err := decodeBlob(blob, r.limits.Depth, r.limits.Vertices-r.vertices)
	if err != nil {
		err.Path = name
		return err
	}
	r.vertices += wire.Vertices(g.Flat)
	if srs > 0 && srs != l.srs {
		r.note(RuleSystem, l.table, name, strconv.Itoa(int(srs)))
	}
	f.Geometry = g
	return nil
}

func (r *Reader) properties(l *layer) (json.RawMessage, *wire.Error) {
	out := []byte{'{'}
	for i, c := range l.columns {
		if i == l.geometry || i == l.fid || i == l.id || r.values[i] == nil {
			continue
		}
		value, err := r.value(l, i)
		if err != nil {
			err.Path = c.column
			return nil, err
		}
		if value == nil {
			continue
		}
		if len(out) > 1 {
			out = append(out, ',')
		}
		out = appendText(out, c.name)
		out = append(out, ':')
		out = append(out, value...)
	}
	return append(out, '}'), nil
}

// value is one property as JSON, nil for one that is left out.
func (r *Reader) value(l *layer, i int) ([]byte, *wire.Error) {
	c := l.columns[i]
	switch v := r.values[i].(type) {
	case int64:
		if c.declared == "BOOLEAN" && (v == 0 || v == 1) {
			return strconv.AppendBool(nil, v == 1), nil
		}
		return strconv.AppendInt(nil, v, 10), nil
	case float64:
		if math.IsInf(v, 0) || math.IsNaN(v) {
			r.note(RuleInfinite, l.table, c.column, "")
			return nil, nil
		}
		out, err := json.Marshal(v)
		if err != nil {
			return nil, &wire.Error{Rule: wire.RuleNumber, Byte: -1, Err: err}
		}
		return out, nil
	case string:
		return r.textValue(l, c, v)
	case []byte:
		r.note(RuleBinary, l.table, c.column, "")
	}
	return nil, nil
}

func (r *Reader) textValue(l *layer, c column, v string) ([]byte, *wire.Error) {
	if len(v) > mostValue {
		return nil, &wire.Error{Rule: RuleValue, Byte: -1, Limit: mostValue}
	}
	if !utf8.ValidString(v) {
		r.note(RuleText, l.table, c.column, "")
		v = strings.ToValidUTF8(v, "�")
	}
	if c.json {
		// Canonical knows what JSON may not be taken: nested too deep, one name
		// twice.
		if _, err := wire.Canonical(json.RawMessage(`{"v":` + v + `}`)); err == nil && json.Valid([]byte(v)) {
			return bytes.TrimSpace([]byte(v)), nil
		}
		r.note(RuleJSON, l.table, c.column, "")
	}
	return appendText(nil, v), nil
}

// appendText writes a JSON string of valid UTF-8, with no more escapes than it
// needs.
func appendText(out []byte, v string) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(strings.ToValidUTF8(v, "�")); err != nil {
		panic(err) // a string always encodes
	}
	return append(out, bytes.TrimSuffix(b.Bytes(), []byte{'\n'})...)
}

// readSchema reads the tables of the standard, then the columns of those that
// hold features.
func (r *Reader) readSchema() error {
	real, err := r.realTables()
	if err != nil {
		return err
	}
	if !real["gpkg_contents"] {
		return &wire.Error{Rule: RulePackage, Entry: "gpkg_contents", Byte: -1}
	}
	systems, err := r.systems(real)
	if err != nil {
		return err
	}
	geometries, err := r.geometryColumns(real)
	if err != nil {
		return err
	}
	described, err := r.dataColumns(real)
	if err != nil {
		return err
	}
	tables := 0
	err = r.each("gpkg_contents", "SELECT +table_name, +data_type, +identifier FROM gpkg_contents NOT INDEXED", func(v []driver.Value) error {
		table, kind := text(v[0]), text(v[1])
		if tables++; tables > r.limits.Entries {
			return &wire.Error{Rule: RuleTables, Entry: table, Byte: -1, Limit: int64(r.limits.Entries)}
		}
		if kind != "features" && kind != "attributes" {
			r.note(RuleOther, table, "", kind)
			return nil
		}
		if !real[strings.ToLower(table)] {
			r.note(RuleNotTable, table, "", "")
			return nil
		}
		l := &layer{table: table, name: table, geometry: -1, fid: -1, id: -1}
		if said := text(v[2]); said != "" && madeFrom(table, said) {
			l.name = said
		}
		r.layers = append(r.layers, l)
		if kind == "attributes" {
			return nil
		}
		g, ok := geometries[strings.ToLower(table)]
		if !ok {
			return &wire.Error{Rule: RuleGeometry, Entry: table, Byte: -1}
		}
		l.srs, l.crs = int32(g.srs), systemOf(systems, g.srs)
		l.columns = []column{{column: g.column}}
		return nil
	})
	if err != nil {
		return err
	}
	for _, l := range r.layers {
		if err := r.readColumns(l, described); err != nil {
			return err
		}
	}
	// A table of no columns that could be read has nothing to give.
	r.layers = slices.DeleteFunc(r.layers, func(l *layer) bool { return len(l.columns) == 0 })
	return nil
}

// each calls row for every row of a query on one table; the values are its own.
// Rows that share their pages can be more than the file has bytes: as many are
// taken as there may be features.
func (r *Reader) each(table, query string, row func([]driver.Value) error) error {
	rows, err := r.db.QueryContext(r.ctx, query, nil)
	if err != nil {
		return failure(r.ctx, err, table)
	}
	defer rows.Close()
	values := make([]driver.Value, len(rows.Columns()))
	for n := 0; ; n++ {
		err := rows.Next(values)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return failure(r.ctx, err, table)
		}
		if n == r.limits.Features {
			return &wire.Error{Rule: wire.RuleFeatures, Entry: table, Byte: -1, Limit: int64(r.limits.Features)}
		}
		if err := row(values); err != nil {
			return err
		}
	}
}

// realTables are those that hold rows of their own; a view or a virtual table
// has no root page.
func (r *Reader) realTables() (map[string]bool, error) {
	real := map[string]bool{}
	err := r.each("sqlite_master", "SELECT +name FROM sqlite_master WHERE type='table' AND rootpage>0", func(v []driver.Value) error {
		real[strings.ToLower(text(v[0]))] = true
		return nil
	})
	return real, err
}

func (r *Reader) systems(real map[string]bool) (map[int64]string, error) {
	all := map[int64]string{}
	if !real["gpkg_spatial_ref_sys"] {
		return nil, &wire.Error{Rule: RulePackage, Entry: "gpkg_spatial_ref_sys", Byte: -1}
	}
	err := r.each("gpkg_spatial_ref_sys", "SELECT +srs_id, +organization, +organization_coordsys_id, +definition FROM gpkg_spatial_ref_sys NOT INDEXED", func(v []driver.Value) error {
		id, ok := integer(v[0])
		if !ok || id <= 0 {
			return nil // 0 and -1 are undefined by the standard
		}
		definition := strings.TrimSpace(text(v[3]))
		code, coded := integer(v[2])
		switch {
		case strings.EqualFold(text(v[1]), "EPSG") && coded && code == wgs84:
			all[id] = ""
		case strings.EqualFold(text(v[1]), "EPSG") && coded && code > 0:
			all[id] = "EPSG:" + strconv.FormatInt(code, 10)
		case definition != "" && definition != "undefined" && len(definition) <= mostValue:
			all[id] = definition
		}
		return nil
	})
	return all, err
}

func systemOf(systems map[int64]string, id int64) string {
	if crs, ok := systems[id]; ok {
		return crs
	}
	return wire.CRSMissing
}

type geometryColumn struct {
	column string
	srs    int64
}

func (r *Reader) geometryColumns(real map[string]bool) (map[string]geometryColumn, error) {
	all := map[string]geometryColumn{}
	if !real["gpkg_geometry_columns"] {
		return all, nil
	}
	err := r.each("gpkg_geometry_columns", "SELECT +table_name, +column_name, +srs_id FROM gpkg_geometry_columns NOT INDEXED", func(v []driver.Value) error {
		srs, _ := integer(v[2])
		all[strings.ToLower(text(v[0]))] = geometryColumn{column: text(v[1]), srs: srs}
		return nil
	})
	return all, err
}

type columnKey struct{ table, column string }

func (r *Reader) dataColumns(real map[string]bool) (map[columnKey]column, error) {
	all := map[columnKey]column{}
	if !real["gpkg_data_columns"] {
		return all, nil
	}
	err := r.each("gpkg_data_columns", "SELECT +table_name, +column_name, +name, +mime_type FROM gpkg_data_columns NOT INDEXED", func(v []driver.Value) error {
		c := column{column: text(v[1]), json: strings.EqualFold(text(v[3]), jsonType)}
		c.name = c.column
		if said, ok := v[2].(string); ok && madeFrom(c.column, said) {
			c.name = said
		}
		all[columnKey{strings.ToLower(text(v[0])), strings.ToLower(c.column)}] = c
		return nil
	})
	return all, err
}

const jsonType = "application/json"

// readColumns says what each column is for. What is computed from others is no
// column of the table's own, and is left alone.
func (r *Reader) readColumns(l *layer, described map[columnKey]column) error {
	geometry := ""
	if l.columns != nil {
		geometry, l.columns = l.columns[0].column, nil
	}
	taken := map[string]bool{}
	err := r.each(l.table, "PRAGMA table_xinfo("+quoted(l.table)+")", func(v []driver.Value) error {
		const name, declared, key, hidden = 1, 2, 5, 6
		if n, _ := integer(v[hidden]); n != 0 {
			return nil
		}
		c := column{column: text(v[name]), name: text(v[name]), declared: strings.ToUpper(text(v[declared]))}
		if d, ok := described[columnKey{strings.ToLower(l.table), strings.ToLower(c.column)}]; ok {
			c.json, c.name = d.json, d.name
		}
		i := len(l.columns)
		primary, _ := integer(v[key])
		switch {
		case geometry != "" && strings.EqualFold(c.column, geometry):
			l.geometry = i
		case primary == 1 && c.declared == "INTEGER":
			l.fid = i
		case c.column == "id" && isText(c.declared):
			l.id = i
		default:
			if taken[c.name] {
				c.name = c.column
			}
			taken[c.name] = true
		}
		l.columns = append(l.columns, c)
		return nil
	})
	if err != nil {
		return err
	}
	if geometry != "" && l.geometry < 0 {
		return &wire.Error{Rule: RuleGeometry, Entry: l.table, Path: geometry, Byte: -1}
	}
	return nil
}

// isText follows SQLite's rule of affinity (sqlite.org/datatype3.html, 3.1).
func isText(declared string) bool {
	for _, kind := range []string{"CHAR", "CLOB", "TEXT"} {
		if strings.Contains(declared, kind) {
			return true
		}
	}
	return false
}
