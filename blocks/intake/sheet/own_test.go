package sheet

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"iter"
	"reflect"
	"strings"
	"testing"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/table"

	"github.com/paulmach/orb"
)

func layer(name string, features ...wire.Feature) wire.Layer {
	return wire.Layer{Name: name, Features: func(yield func(wire.Feature, error) bool) {
		for _, f := range features {
			if !yield(f, nil) {
				return
			}
		}
	}}
}

func written(t *testing.T, doc wire.Document) string {
	t.Helper()
	var out bytes.Buffer
	if err := table.Write(context.Background(), &out, doc); err != nil {
		t.Fatal(err)
	}
	return strings.TrimPrefix(out.String(), "\uFEFF")
}

func feature(id string, kind wire.IDKind, g geo.Geometry, properties string) wire.Feature {
	f := wire.Feature{ID: id, IDKind: kind, Geometry: g}
	if properties != "" {
		f.Properties = json.RawMessage(properties)
	}
	return f
}

// odd are features that a table could garble.
func odd() []wire.Feature {
	at := geo.Geometry{Flat: orb.Point{-94.44123450000001, 36.3131111}}
	return []wire.Feature{
		feature("f-1", wire.StringID, at, `{"name":"B4","row":3,"exact":0.1000,"big":90071992547409931234,"ok":true,"none":null,"list":[1,{"a":"x, y"}],"nested":{"b":null}}`),
		feature("7", wire.NumberID, geo.Geometry{}, `{"name":"no place","note":"two\r\nlines, \"quoted\"\rthree\n"}`),
		feature("7", wire.StringID, at, `{"name":"=1+2","note":"-5","sum":-5,"code":"007","at":"@x","plus":"+1","tab":"\tx","mark":"'=x","wide":"＝1"}`),
		feature("", wire.StringID, at, `{}`),
		feature("", wire.NoID, at, ``),
		feature("'-3", wire.StringID, at, `{"id":"a property called id","wkt":1,"layer":"l","notice":"n","properties":{"x":1},"":"nameless","=head":"x"}`),
		feature("z", wire.StringID, geo.Geometry{Flat: orb.LineString{{0, 0}, {1, 1}}, Heights: []float64{1.5, 2}, Measures: []float64{1777000000.25, 1777000001}}, `{"name":" spaces "}`),
		feature("p", wire.StringID, geo.Geometry{Flat: orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}}, `{"name":"ñandú & <b>\u2028","empty":"","zero":"a\u0000b"}`),
	}
}

// TestRoundTrip: what package table wrote comes back, types and all.
func TestRoundTrip(t *testing.T) {
	features := odd()
	doc := wire.Document{Title: "Invented farm", Notice: "=Invented data", Layers: []wire.Layer{layer("finds", features[:5]...), layer("=blocks", features[5:]...)}}
	text := written(t, doc)
	got := read(t, text, Options{})
	if len(got.features) != len(features) || len(got.faults) > 0 {
		t.Fatalf("%d features, faults %v; want %d\n%s", len(got.features), got.faults, len(features), text)
	}
	for i, want := range features {
		g := got.features[i]
		if g.ID != want.ID || g.IDKind != want.IDKind || !reflect.DeepEqual(g.Geometry, want.Geometry) {
			t.Errorf("%d: id %q %d, %+v; want %q %d, %+v", i, g.ID, g.IDKind, g.Geometry, want.ID, want.IDKind, want.Geometry)
		}
		a, errA := wire.Canonical(g.Properties)
		b, errB := wire.Canonical(want.Properties)
		if errA != nil || errB != nil || string(a) != string(b) || (g.Properties == nil) != (want.Properties == nil) {
			t.Errorf("%d: properties %s; want %s", i, g.Properties, want.Properties)
		}
		if layer := doc.Layers[min(i/5, 1)].Name; g.Layer != layer {
			t.Errorf("%d: layer %q; want %q", i, g.Layer, layer)
		}
	}
	if n := got.has(RuleNotice); n == nil || n.Got != doc.Notice || len(got.notes) != 1 {
		t.Errorf("notes %v; want the notice alone", got.notes)
	}
	if again := written(t, doc); again != text {
		t.Error("the same document gave other bytes")
	}
}

// TestEdited: a cell that somebody changed counts, in the type that it had;
// what spreadsheet programs change on their own does not.
func TestEdited(t *testing.T) {
	doc := wire.Document{Layers: []wire.Layer{layer("finds", feature("a", wire.StringID, geo.Geometry{},
		`{"row":3,"share":0.5,"ok":true,"on":"2026-05-04","note":"old","list":[1],"gone":"x"}`))}}
	text := written(t, doc)
	const cells = `3,0.5,true,2026-05-04,old,[1],x,`
	if !strings.Contains(text, cells) {
		t.Fatalf("%s", text)
	}
	for _, c := range []struct{ name, cells, want string }{
		{"as another program saves it", `3,0.50,TRUE,5/4/2026,old,[1],x,`, `{"row":3,"share":0.5,"ok":true,"on":"2026-05-04","note":"old","list":[1],"gone":"x"}`},
		{"all changed", `4,0.6,FALSE,2026-05-05,'=new,[2],,`, `{"row":4,"share":0.6,"ok":false,"on":"2026-05-05","note":"=new","list":[2]}`},
		{"no longer of the type", `three,a half,maybe,soon,,none,x,`, `{"row":"three","share":"a half","ok":"maybe","on":"soon","list":"none","gone":"x"}`},
	} {
		got := read(t, strings.Replace(text, cells, c.cells, 1), Options{})
		if len(got.features) != 1 || string(got.features[0].Properties) != c.want {
			t.Errorf("%s: %+v; want %s", c.name, got, c.want)
		}
		if n := got.has(RuleEdited); (n != nil) != (c.name != "as another program saves it") {
			t.Errorf("%s: note %+v", c.name, n)
		}
	}
	got := read(t, "layer,id,wkt,row,properties\n,a,,4,\n,b,POINT(1 2),5,\"{\"\"row\"\":5\"\n", Options{})
	if len(got.features) != 1 || string(got.features[0].Properties) != `{"row":"4"}` || len(got.faults) != 1 || got.faults[0].Rule != RuleProperties || got.faults[0].Line != 3 {
		t.Errorf("%+v; want the cells of row 2, and row 3 refused", got)
	}
}

func TestWriteRefuses(t *testing.T) {
	broken := errors.New("broken layer")
	failing := wire.Layer{Name: "x", Features: iter.Seq2[wire.Feature, error](func(yield func(wire.Feature, error) bool) { yield(wire.Feature{}, broken) })}
	if err := table.Write(context.Background(), &bytes.Buffer{}, wire.Document{Layers: []wire.Layer{failing}}); !errors.Is(err, broken) {
		t.Errorf("%v; want the layer's error", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := table.Write(ctx, &bytes.Buffer{}, wire.Document{Layers: []wire.Layer{layer("x", odd()...)}}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v; want the context's error", err)
	}
}

func FuzzSheet(f *testing.F) {
	for _, s := range []string{
		"lat,lon,date\n36.3,-94.4,04/05/2026\n,,\nTotal,3,\n", "find;latitude;longitude;severity\r\nf0;36,3;-94,4;2,5\r\n",
		"name,lat,lon\nf0,36º18'47.20\"N,94°26'28.44\"W\n", "wkt;name\n\"POLYGON((0 0,1 0,1 1,0 0))\";A\n", "sep=|\nx|y\n370616.26|4019641.75\n",
		"block,row,plant\nB4,3,14\n", "Position,hora\n\"36,5; -94,5\",0.25\n", "lat,lon,note\r1,2,\"a\"b\"\r", "layer,id,wkt,row,properties\nfinds,'7,POINT(1 2),3,\"{\"\"row\"\":3}\"\n",
		"lat,lon,date\n1,2,46146.5\n1,2,2026-03-08 02:30\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, o := range []Options{{}, {Fields: map[string]Field{"column 1": Latitude, "column 2": Longitude, "a": LatLon}}} {
			if _, err := Columns(context.Background(), data, o); err != nil {
				continue
			}
			s, err := Open(context.Background(), data, o)
			if err != nil {
				continue
			}
			checkAll(t, s, bytes.Count(data, []byte("\n"))+bytes.Count(data, []byte("\r"))+1)
		}
	})
}

// checkAll holds every feature to what its readers count on.
func checkAll(t *testing.T, s *Source, lines int) {
	out, err := readAll(s)
	if err != nil {
		if _, ok := wire.As(err); !ok {
			t.Fatal(err)
		}
		return
	}
	last := 0
	for _, f := range out.features {
		if f.Line <= last || f.Line > lines {
			t.Fatalf("line %d after %d, of %d", f.Line, last, lines)
		}
		last = f.Line
		if _, err := wire.Canonical(f.Properties); err != nil {
			t.Fatalf("%q: %v", f.Properties, err)
		}
		if p, ok := f.Geometry.Flat.(orb.Point); ok && (p[0] != p[0] || p[1] != p[1]) {
			t.Fatalf("position %v", p)
		}
	}
	for _, n := range out.notes {
		if n.Line < 0 || n.Line > lines {
			t.Fatalf("note on line %d of %d", n.Line, lines)
		}
	}
}
