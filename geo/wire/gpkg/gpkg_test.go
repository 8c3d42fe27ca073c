package gpkg

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"math"
	"reflect"
	"testing"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

var (
	ctx = context.Background()
	nan = math.NaN()
)

func layerOf(name string, features ...wire.Feature) wire.Layer {
	return wire.Layer{Name: name, Features: func(yield func(wire.Feature, error) bool) {
		for _, f := range features {
			if !yield(f, nil) {
				return
			}
		}
	}}
}

var _ iter.Seq2[wire.Feature, error] = layerOf("").Features

func mustWrite(t testing.TB, doc wire.Document) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(ctx, &b, doc); err != nil {
		t.Fatalf("Write: %v", err)
	}
	return b.Bytes()
}

func mustRead(t testing.TB, data []byte) ([]wire.Feature, []*wire.Error) {
	t.Helper()
	r, err := Open(ctx, data, wire.Options{})
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	defer r.Close()
	var all []wire.Feature
	for {
		f, err := r.Next()
		if errors.Is(err, io.EOF) {
			return all, r.Notes()
		}
		if err != nil {
			t.Fatalf("Next: %v", err)
		}
		all = append(all, f)
	}
}

func sameValues(a, b []float64) bool {
	if (a == nil) != (b == nil) || len(a) != len(b) {
		return false
	}
	for i := range a {
		if math.Float64bits(a[i]) != math.Float64bits(b[i]) && !(math.IsNaN(a[i]) && math.IsNaN(b[i])) {
			return false
		}
	}
	return true
}

func sameShape(a, b geo.Geometry) bool {
	return reflect.DeepEqual(a.Flat, b.Flat) && sameValues(a.Heights, b.Heights) && sameValues(a.Measures, b.Measures)
}

// sameJSON compares values, numbers by their digits.
func sameJSON(t testing.TB, a, b json.RawMessage) bool {
	t.Helper()
	read := func(data json.RawMessage) (v any) {
		d := json.NewDecoder(bytes.NewReader(data))
		d.UseNumber()
		if err := d.Decode(&v); err != nil {
			t.Fatalf("%s: %v", data, err)
		}
		return v
	}
	return reflect.DeepEqual(read(a), read(b))
}

var shapes = map[string]geo.Geometry{
	"no place":          {},
	"point":             {Flat: orb.Point{-92.12345678901234, 45.1}},
	"point with height": {Flat: orb.Point{-92, 45}, Heights: []float64{312.5}},
	"point with time":   {Flat: orb.Point{-92, 45}, Measures: []float64{1770000000.25}},
	"point with both":   {Flat: orb.Point{-92, 45}, Heights: []float64{312.5}, Measures: []float64{1770000000.25}},
	"smallest numbers":  {Flat: orb.Point{5e-324, math.Copysign(0, -1)}},
	"line":              {Flat: orb.LineString{{0, 0}, {1, 1}, {2, 0.1}}},
	"line, some times":  {Flat: orb.LineString{{0, 0}, {1, 1}, {2, 0.1}}, Measures: []float64{1, nan, 3}},
	"polygon": {Flat: orb.Polygon{{{0, 0}, {9, 0}, {9, 9}, {0, 0}}, {{1, 1}, {2, 2}, {2, 1}, {1, 1}}},
		Heights: []float64{1, 2, 3, 1, 5, 6, 7, 5}},
	"ring left open": {Flat: orb.Polygon{{{0, 0}, {9, 0}, {9, 9}}}},
	"multipoint":     {Flat: orb.MultiPoint{{1, 2}, {3, 4}}, Heights: []float64{5, 6}, Measures: []float64{7, 8}},
	"multiline":      {Flat: orb.MultiLineString{{{0, 0}, {1, 1}}, {{2, 2}, {3, 3}, {4, 4}}}},
	"multipolygon": {Flat: orb.MultiPolygon{{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}, {{{5, 5}, {6, 5}, {6, 6}, {5, 5}}}},
		Measures: []float64{1, 2, 3, 1, 4, 5, 6, 4}},
	"collection": {Flat: orb.Collection{orb.Point{1, 2}, orb.Collection{orb.LineString{{1, 2}, {3, 4}}}, orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}},
		Heights: []float64{1, 2, 3, 4, 5, 6, 7}},
	"empty line":         {Flat: orb.LineString{}},
	"empty polygon":      {Flat: orb.Polygon{}},
	"empty multipolygon": {Flat: orb.MultiPolygon{}},
	"empty collection":   {Flat: orb.Collection{}},
}

func TestShapesComeBack(t *testing.T) {
	for name, g := range shapes {
		t.Run(name, func(t *testing.T) {
			for _, beside := range [][]wire.Feature{nil, {{Geometry: geo.Geometry{Flat: orb.Point{1, 1}}}}} {
				want := wire.Feature{ID: "a", IDKind: wire.StringID, Geometry: g}
				got, notes := mustRead(t, mustWrite(t, wire.Document{Layers: []wire.Layer{layerOf("x", append([]wire.Feature{want}, beside...)...)}}))
				if len(got) != 1+len(beside) || !sameShape(got[0].Geometry, g) || len(notes) != 0 {
					t.Errorf("wrote %+v, read %+v, notes %v", g, got, notes)
				}
			}
		})
	}
}

func TestPropertiesComeBack(t *testing.T) {
	for _, c := range []struct {
		name string
		rows []string // of one layer
		want []string // where not the same
	}{
		{"text", []string{`{"name":"A-1","note":"Ñandú “x” \u0000 \u2028 <b>"}`, `{"name":""}`}, nil},
		{"whole numbers", []string{`{"n":7,"big":9223372036854775807}`, `{"n":-9223372036854775808}`}, nil},
		{"beyond 64 bits", []string{`{"n":123456789012345678901234567890}`, `{"n":1}`}, nil},
		{"numbers", []string{`{"a":0.1,"b":1e-300}`, `{"a":3,"b":-2.5}`}, nil},
		{"more digits than a float64 has", []string{`{"a":0.12345678901234567890123}`, `{"a":0.5}`}, nil},
		{"a whole number no float64 has, among others", []string{`{"a":9007199254740993}`, `{"a":0.5}`}, nil},
		{"power of ten", []string{`{"a":1e400}`, `{"a":1e-400}`, `{"a":1e99999999999999999999}`}, nil},
		{"other spellings", []string{`{"a":1.50,"b":15e1}`}, []string{`{"a":1.5,"b":150}`}},
		{"booleans", []string{`{"a":true,"b":false}`, `{"a":false}`}, nil},
		{"mixed", []string{`{"a":true}`, `{"a":1}`, `{"a":"1"}`, `{"a":[1,{"b":null}]}`, `{"a":null}`, `{}`}, nil},
		{"nested", []string{`{"a":{"x":[1,2.50,"3"],"y":{}}}`, `{"a":[]}`}, nil},
		{"only null", []string{`{"a":null}`, `{}`}, nil},
		{"null among text", []string{`{"a":null}`, `{"a":"x"}`}, []string{`{}`, `{"a":"x"}`}},
		{"names that SQLite takes for one", []string{`{"Row":1,"row":2,"ROW":3,"row_2":4,"row_3":5}`}, nil},
		{"names of our own columns", []string{`{"id":1,"fid":"x","geom":true,"FID":2,"rowid":8,"_rowid_":9}`}, nil},
		{"odd names", []string{`{"":1,"a\u0000b":2,"a_b":3,"\"quoted\"":4,"it's":5,"gpkg_x":6,"SELECT":7,"ünï":8,"` + "\U0001F33F" + `":9}`}, nil},
		{"nothing", []string{``, `{}`, `null`}, []string{`{}`, `{}`, `{}`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var features []wire.Feature
			for _, row := range c.rows {
				features = append(features, wire.Feature{Properties: json.RawMessage(row)})
			}
			want := c.want
			if want == nil {
				want = c.rows
			}
			got, notes := mustRead(t, mustWrite(t, wire.Document{Layers: []wire.Layer{layerOf("x", features...)}}))
			if len(got) != len(want) || len(notes) != 0 {
				t.Fatalf("%d rows, notes %v", len(got), notes)
			}
			for i := range got {
				if !sameJSON(t, got[i].Properties, json.RawMessage(want[i])) {
					t.Errorf("row %d: wrote %s, read %s, want %s", i, c.rows[i], got[i].Properties, want[i])
				}
			}
		})
	}
}

func TestIdsComeBack(t *testing.T) {
	type id struct {
		text string
		kind wire.IDKind
	}
	for _, c := range []struct {
		name      string
		ids, want []id
	}{
		{"text", []id{{"01J", wire.StringID}, {"7", wire.StringID}}, nil},
		{"numbers", []id{{"7", wire.NumberID}, {"-3", wire.NumberID}}, nil},
		{"long number", []id{{"123456789012345678901234567890", wire.NumberID}}, nil},
		{"both", []id{{"7", wire.NumberID}, {"7", wire.StringID}, {"", wire.NoID}, {"x", wire.StringID}}, nil},
		{"some", []id{{"x", wire.StringID}, {"", wire.NoID}}, nil},
		{"numbers and none", []id{{"7", wire.NumberID}, {"", wire.NoID}}, nil},
		{"none", []id{{"", wire.NoID}, {"", wire.NoID}}, []id{{"1", wire.NumberID}, {"2", wire.NumberID}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var features []wire.Feature
			for _, i := range c.ids {
				features = append(features, wire.Feature{ID: i.text, IDKind: i.kind, Geometry: geo.Geometry{Flat: orb.Point{1, 2}}})
			}
			want := c.want
			if want == nil {
				want = c.ids
			}
			read, _ := mustRead(t, mustWrite(t, wire.Document{Layers: []wire.Layer{layerOf("x", features...)}}))
			byID := map[id]int{}
			for _, f := range read {
				byID[id{f.ID, f.IDKind}]++
			}
			for _, w := range want {
				if byID[w] != 1 {
					t.Errorf("read %v, want %v", byID, want)
				}
			}
		})
	}
}

func TestLayersComeBack(t *testing.T) {
	names := []string{"Blocks", "blocks", "gpkg_tiles", "sqlite_x", "a\"b'c", "Reihen und Größen", "", "blocks_2"}
	doc := wire.Document{Title: "Hollow Lane", Notice: "Invented data"}
	for _, n := range names {
		doc.Layers = append(doc.Layers, layerOf(n, wire.Feature{Geometry: geo.Geometry{Flat: orb.Point{1, 2}}}))
	}
	doc.Layers = append(doc.Layers, layerOf("labels", wire.Feature{Properties: json.RawMessage(`{"a":1}`)}))
	data := mustWrite(t, doc)
	if again := mustWrite(t, doc); !bytes.Equal(data, again) {
		t.Error("the same document gave other bytes")
	}
	if !Detects(data) {
		t.Error("not detected")
	}
	read, notes := mustRead(t, data)
	want := append(append([]string{}, names...), "labels")
	want[6] = "features"
	for i, f := range read {
		if f.Layer != want[i] || f.CRS != "" || f.Number != i+1 {
			t.Errorf("layer %d: %q, CRS %q, number %d; want %q", i, f.Layer, f.CRS, f.Number, want[i])
		}
	}
	if len(read) != len(want) || len(notes) != 0 {
		t.Errorf("%d layers, notes %v", len(read), notes)
	}
	if !bytes.Contains(data, []byte("Hollow Lane: Invented data")) {
		t.Error("the notice is not in the file")
	}
}
