package shp

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"iter"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/archive"

	"github.com/paulmach/orb"
)

func each(features ...wire.Feature) iter.Seq2[wire.Feature, error] {
	return func(yield func(wire.Feature, error) bool) {
		for _, f := range features {
			if !yield(f, nil) {
				return
			}
		}
	}
}

func written(t testing.TB, doc wire.Document) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(context.Background(), &b, doc); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var (
	shell = orb.Ring{{-94.4418, 36.3127}, {-94.4401501, 36.3127541}, {-94.4401055, 36.3136103}, {-94.4418446, 36.3135653}, {-94.4418, 36.3127}}
	hole  = orb.Ring{{-94.4413541, 36.3130605}, {-94.4413764, 36.3133309}, {-94.4409304, 36.313376}, {-94.4413541, 36.3130605}}
	other = orb.Ring{{-94.4389015, 36.3130605}, {-94.4378982, 36.3130245}, {-94.438868, 36.3141962}, {-94.4389015, 36.3130605}}
	nan   = math.NaN()
)

// invented is every kind of shape and of property that the records have, and
// some that they should not.
func invented() wire.Document {
	long := strings.Repeat("drip line, café; ", 60)
	return wire.Document{Title: "Invented farm", Notice: "The data are invented.", Layers: []wire.Layer{
		{Name: "blocks", Features: each(
			wire.Feature{ID: "b-1", IDKind: wire.StringID, Geometry: geo.Geometry{Flat: orb.Polygon{shell, hole}},
				Properties: json.RawMessage(`{"name":"Ñandú ‘A1’","rows":12,"area_m2":16092.25,"organic":true,"planted":"2021-03-04","tags":["a",{"b":null}],"mixed":1,"note":null,"blank":"","spaces":"x  "}`)},
			wire.Feature{ID: "7", IDKind: wire.NumberID, Geometry: geo.Geometry{Flat: orb.MultiPolygon{{shell}, {other}}},
				Properties: json.RawMessage(`{"name":"B","rows":-3,"area_m2":1e-9,"organic":false,"mixed":"1","a very long name":1,"a very long other":2.50,"big":123456789012345678901234567890}`)},
			wire.Feature{ID: "b-3", IDKind: wire.StringID, Geometry: geo.Geometry{Flat: orb.MultiPolygon{{shell}}},
				Properties: json.RawMessage(`{"name":` + string(appendQuoted(nil, long)) + `,"organic":null,"a very long name":1.0,"deep":{"z":{"y":[1,2,{"x":"` + long + `"}]}}}`)},
			wire.Feature{Geometry: geo.Geometry{Flat: orb.Polygon{shell}, Heights: []float64{300, 300.5, nan, 302, 300}}, Properties: json.RawMessage(`{}`)},
			wire.Feature{ID: "none", IDKind: wire.StringID, Properties: json.RawMessage(`{"name":"nowhere"}`)},
		)},
		{Name: "passes / tracks", Features: each(
			wire.Feature{ID: "t", IDKind: wire.StringID, Recorded: true, Geometry: geo.Geometry{Flat: orb.MultiLineString{{{1, 2}, {3, 4.000000000000001}}, {{5, 6}, {7, 8}}},
				Heights: []float64{1, 2, 3, 4}, Measures: []float64{1.7e9, 1.7e9 + 0.25, nan, 12}}, Properties: json.RawMessage(`{"type":"pass","on":"yes"}`)},
			wire.Feature{Recorded: true, Geometry: geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}, Measures: []float64{1, 2}}, Properties: json.RawMessage(`{"type":"pass"}`)},
			wire.Feature{Geometry: geo.Geometry{Flat: orb.MultiLineString{{{1, 2}, {3, 4}}}}, Properties: json.RawMessage(`{}`)},
			wire.Feature{Geometry: geo.Geometry{Flat: orb.Point{math.SmallestNonzeroFloat64, -0.1}, Heights: []float64{-1}}, Properties: json.RawMessage(`{"type":5}`)},
			wire.Feature{Geometry: geo.Geometry{Flat: orb.MultiPoint{{1, 2}, {3, 4}}, Measures: []float64{5, nan}}, Properties: json.RawMessage(`{"":"no name"}`)},
		)},
		{Name: "products", Features: each(
			wire.Feature{ID: "p", IDKind: wire.StringID, Properties: json.RawMessage(`{"rate":1.5,"unit":"L/ha","NAME":"x","name":"y"}`)},
		)},
		{Name: "empty", Features: each()},
	}}
}

func TestWriteGivesBackWhatWasWritten(t *testing.T) {
	doc := invented()
	data := written(t, doc)
	if !bytes.Equal(data, written(t, doc)) {
		t.Error("the same document gave other bytes")
	}
	got, notes, err := read(t, data, wire.Options{})
	if err != nil || len(notes) > 0 {
		t.Fatalf("reading back: %v, notes %v", err, notes)
	}
	var want []wire.Feature
	for _, l := range doc.Layers {
		for f := range l.Features {
			f.Layer = l.Name
			want = append(want, f)
		}
	}
	if len(got) != len(want) {
		t.Fatalf("got %d features, want %d", len(got), len(want))
	}
	for _, w := range want {
		at := slices.IndexFunc(got, func(g wire.Feature) bool { return same(t, g, w) })
		if at < 0 {
			t.Errorf("%s %q %s is not among what came back:", w.Layer, w.ID, w.Properties)
			for _, g := range got {
				if g.Layer == w.Layer {
					t.Logf("  %q %d %s %v %v %v", g.ID, g.IDKind, g.Properties, g.Geometry, g.Recorded, g.Departures)
				}
			}
			continue
		}
		got = slices.Delete(got, at, at+1)
	}
}

// same compares what the writer promises to keep. NaN equals NaN.
func same(t *testing.T, a, b wire.Feature) bool {
	t.Helper()
	pa, err := wire.Canonical(a.Properties)
	if err != nil {
		t.Fatalf("properties %s: %v", a.Properties, err)
	}
	pb, err := wire.Canonical(b.Properties)
	if err != nil {
		t.Fatalf("properties %s: %v", b.Properties, err)
	}
	bits := func(values []float64) []uint64 {
		var out []uint64
		for _, v := range values {
			out = append(out, math.Float64bits(v))
		}
		return out
	}
	return a.ID == b.ID && a.IDKind == b.IDKind && a.Layer == b.Layer && a.Recorded == b.Recorded && string(pa) == string(pb) &&
		reflect.DeepEqual(a.Geometry.Flat, b.Geometry.Flat) && slices.Equal(bits(a.Geometry.Heights), bits(b.Geometry.Heights)) &&
		slices.Equal(bits(a.Geometry.Measures), bits(b.Geometry.Measures)) && len(a.Departures) == 0
}

func TestWriteNotice(t *testing.T) {
	a, err := archive.Open(context.Background(), written(t, invented()), wire.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	text, err := a.Read(context.Background(), "README.txt")
	if err != nil || !strings.Contains(string(text), "The data are invented.") || !strings.Contains(string(text), "Invented farm") {
		t.Errorf("README.txt = %q, %v; want title and notice", text, err)
	}
}

func TestWriteRefuses(t *testing.T) {
	columns := make([]string, mostColumns+1)
	for i := range columns {
		columns[i] = `"p` + itoa(i) + `":1`
	}
	failed := errors.New("the store is gone")
	tests := []struct {
		name    string
		feature wire.Feature
		rule    wire.Rule
	}{
		{"a collection", wire.Feature{Geometry: geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}}}}, RuleCollection},
		{"not finite", wire.Feature{Geometry: geo.Geometry{Flat: orb.Point{1, nan}}}, wire.RuleNumber},
		{"heights that do not match", wire.Feature{Geometry: geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{1, 2}}}, wire.RuleCount},
		{"more columns than a table has", wire.Feature{Properties: json.RawMessage("{" + strings.Join(columns, ",") + "}")}, RuleColumns},
		{"a row longer than a table has", wire.Feature{Properties: json.RawMessage(`{"p":"` + strings.Repeat("x", longestRow) + `"}`)}, RuleColumns},
		{"nothing but spaces to cut at", wire.Feature{Properties: json.RawMessage(`{"p":"` + strings.Repeat(" ", 300) + `x"}`)}, RuleCell},
		{"properties that are no object", wire.Feature{Properties: json.RawMessage(`[1]`)}, wire.RuleSyntax},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			err := Write(context.Background(), &bytes.Buffer{}, wire.Document{Layers: []wire.Layer{{Name: "l", Features: each(tt.feature)}}})
			if e, ok := wire.As(err); !ok || e.Rule != tt.rule || e.Entry != "l" {
				t.Errorf("got %v, want rule %s in layer l", err, tt.rule)
			}
		})
	}
	err := Write(context.Background(), &bytes.Buffer{}, wire.Document{Layers: []wire.Layer{{Name: "l", Features: func(yield func(wire.Feature, error) bool) {
		yield(wire.Feature{}, failed)
	}}}})
	if !errors.Is(err, failed) {
		t.Errorf("got %v, want the layer's own error", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := Write(ctx, &bytes.Buffer{}, invented()); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's error", err)
	}
}

// parcels are many like areas.
func parcels(n int) wire.Document {
	return wire.Document{Layers: []wire.Layer{{Name: "parcels", Features: func(yield func(wire.Feature, error) bool) {
		for i := range n {
			x, y := -94+float64(i%200)*0.001, 36+float64(i/200)*0.001
			ring := orb.Ring{}
			for k := range 9 {
				a := 2 * math.Pi * float64(k) / 9
				ring = append(ring, orb.Point{x + 0.0004*math.Cos(a), y + 0.0004*math.Sin(a)})
			}
			ring = append(ring, ring[0])
			p := json.RawMessage(`{"name":"Parcel ` + itoa(i) + `","rows":` + itoa(i%40) + `,"area_m2":` + itoa(i) + `.25,"organic":true,"planted":"2021-03-04","owner":"invented"}`)
			if !yield(wire.Feature{ID: "p" + itoa(i), IDKind: wire.StringID, Geometry: geo.Geometry{Flat: orb.Polygon{ring}}, Properties: p}, nil) {
				return
			}
		}
	}}}}
}

func BenchmarkWrite(b *testing.B) {
	doc := parcels(20_000)
	b.ReportAllocs()
	for b.Loop() {
		if err := Write(context.Background(), &bytes.Buffer{}, doc); err != nil {
			b.Fatal(err)
		}
	}
}
