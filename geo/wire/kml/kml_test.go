package kml_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/wire"
	"caneward/geo/wire/archive"
	"caneward/geo/wire/kml"
	"caneward/geo/wire/markup"
)

func open(t *testing.T, data []byte) ([]wire.Feature, []*wire.Error, error) {
	t.Helper()
	var src wire.Source
	var err error
	if bytes.HasPrefix(data, []byte("PK")) {
		src, err = kml.OpenKMZ(context.Background(), data, wire.Options{})
	} else {
		src, err = kml.Open(context.Background(), data, wire.Options{})
	}
	if err != nil {
		return nil, nil, err
	}
	all, err := drain(src)
	return all, src.Notes(), err
}

func drain(src wire.Source) ([]wire.Feature, error) {
	var out []wire.Feature
	var first error
	for {
		f, err := src.Next()
		if errors.Is(err, io.EOF) {
			return out, first
		}
		if err != nil && first == nil {
			first = err
		}
		if err == nil {
			out = append(out, f)
		}
	}
}

func caseFile(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../../../testdata/cases/files", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func name(f wire.Feature) string {
	var p struct{ Name string }
	json.Unmarshal(f.Properties, &p)
	return p.Name
}

// Areas, lengths and rules of testdata/cases/cases.csv, made with Planimeter of
// GeographicLib 2.1.2.
func TestCases(t *testing.T) {
	for _, tt := range []struct {
		file   string
		names  []string
		areas  []float64 // m2
		length float64   // m
		layers []string
		mended wire.Rule
		noted  string
		rule   wire.Rule
	}{
		{file: "V048-nested-folders.kml", names: []string{"A1", "gate", "A2", "A3"}, areas: []float64{16092.24, 0, 11844.98, 3454.47},
			layers: []string{"", "east", "east / upper", "east / upper / new"}},
		{file: "V049-gx-track.kml", names: []string{"walk"}, length: 105.2},
		{file: "V050-space-after-comma.kml", names: []string{"A1"}, areas: []float64{16092.24}, mended: kml.RuleSpaces},
		{file: "V051-newline-tuples-altitude.kml", names: []string{"A1"}, areas: []float64{16092.24}},
		{file: "V052-networklink-only.kml", rule: kml.RuleNetworkLink},
		{file: "V053-no-namespace.kml", names: []string{"A1"}, areas: []float64{16092.24}},
		{file: "V054-xxe-file.kml", rule: markup.RuleDoctype},
		{file: "V055-several-kml.kmz", names: []string{"A1"}, areas: []float64{16092.24}, noted: "extra/second.kml"},
		{file: "V056-multigeometry-hole.kml", names: []string{"A1"}, areas: []float64{26668.19}},
		{file: "V057-zip-slip.kmz", rule: archive.RulePath},
		{file: "V058-comma-joined-tuples.kml", names: []string{"A1"}, areas: []float64{16092.24}, mended: kml.RuleJoined},
		{file: "V059-plain-kml-as-kmz.kmz", names: []string{"A1"}, areas: []float64{16092.24}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			all, notes, err := open(t, caseFile(t, tt.file))
			if tt.rule != "" {
				if e, ok := wire.As(err); !ok || e.Rule != tt.rule || len(all) > 0 {
					t.Fatalf("got %v and %d features, want rule %s and none", err, len(all), tt.rule)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var names, layers []string
			for i, f := range all {
				names, layers = append(names, name(f)), append(layers, f.Layer)
				if len(tt.areas) > 0 {
					if got := area(f.Geometry.Flat); math.Abs(got-tt.areas[i]) > tt.areas[i]*1e-3 {
						t.Errorf("area of %s: got %.2f m2, want %.2f", name(f), got, tt.areas[i])
					}
				}
				if l, ok := f.Geometry.Flat.(orb.LineString); ok {
					if got := float64(measure.Length(l)); math.Abs(got-tt.length) > 0.05 {
						t.Errorf("length: got %.2f m, want %.2f", got, tt.length)
					}
				}
			}
			if !reflect.DeepEqual(names, tt.names) {
				t.Errorf("names: got %q, want %q", names, tt.names)
			}
			if tt.layers != nil && !reflect.DeepEqual(layers, tt.layers) {
				t.Errorf("layers: got %q, want %q", layers, tt.layers)
			}
			var mended wire.Rule
			if d := all[0].Departures; len(d) > 0 {
				mended = d[0].Rule
			}
			if mended != tt.mended {
				t.Errorf("departures: got %q, want %q", mended, tt.mended)
			}
			if tt.noted != "" && (len(notes) == 0 || notes[0].Entry != tt.noted) {
				t.Errorf("notes: got %v, want one of %s", notes, tt.noted)
			}
		})
	}
}

func area(g orb.Geometry) float64 {
	var sum float64
	switch g := g.(type) {
	case orb.Polygon:
		for i, r := range g {
			a, _ := measure.SignedRing(r)
			if i == 0 {
				sum += math.Abs(float64(a))
			} else {
				sum -= math.Abs(float64(a))
			}
		}
	case orb.MultiPolygon:
		for _, p := range g {
			sum += area(p)
		}
	}
	return sum
}

func TestTrackTimes(t *testing.T) {
	all, _, err := open(t, caseFile(t, "V049-gx-track.kml"))
	if err != nil {
		t.Fatal(err)
	}
	g := all[0].Geometry
	// 2026-05-04T13:00:00Z by GNU date -u -d.
	if !all[0].Recorded || len(g.Measures) != 7 || g.Measures[0] != 1777899600 || g.Measures[6] != 1777899660 || g.Heights[0] != 301.5 {
		t.Errorf("got recorded %v, measures %v, heights %v", all[0].Recorded, g.Measures, g.Heights)
	}
}

func doc(layers ...wire.Layer) wire.Document {
	return wire.Document{Title: "Farm & <co>", Notice: "Invented data.", Layers: layers}
}

func layer(name string, features ...wire.Feature) wire.Layer {
	return wire.Layer{Name: name, Features: func(yield func(wire.Feature, error) bool) {
		for _, f := range features {
			if !yield(f, nil) {
				return
			}
		}
	}}
}

var nan = math.NaN()

// samples are shapes and properties of every kind.
func samples() []wire.Feature {
	ring := func(x float64) orb.Ring {
		return orb.Ring{{x, 36}, {x + 0.001, 36}, {x + 0.001, 36.0010000000001}, {x, 36.001}, {x, 36}}
	}
	line := orb.LineString{{-94.4418, 36.3127}, {-94.44015010000001, 36.3127541}, {-94.43, 36.32}}
	props := json.RawMessage(`{"name":"A & B","n":12345678901234567890,"x":1.50,"ok":true,"none":null,"list":[1,"a",{"b":2}],"in":{"deep":{"er":[]}},"empty":"","space":"  a\n\tb\r ","ctl":"a\u0001b","description":"<b>x</b> ]]>","é\u0002":"\ufffe","":7}`)
	return []wire.Feature{
		{ID: "0190a5b2-7c3e", IDKind: wire.StringID, Properties: props, Geometry: geo.Geometry{Flat: orb.Point{-94.4418, 36.3127}}},
		{ID: "7", IDKind: wire.NumberID, Geometry: geo.Geometry{Flat: orb.Point{-94.4418, 36.3127}, Heights: []float64{301.25}}},
		{ID: "7", IDKind: wire.StringID, Properties: json.RawMessage(`{}`), Geometry: geo.Geometry{Flat: orb.MultiPoint{{1, 2}, {3, 4.000000000000001}}, Heights: []float64{nan, 5}}},
		{Geometry: geo.Geometry{Flat: line, Heights: []float64{0, 0, 0}}},
		{Geometry: geo.Geometry{Flat: line, Heights: []float64{1, nan, 3}, Measures: []float64{1777899600, 1777899600.25, 1777899601.123457}}, Recorded: true},
		{Geometry: geo.Geometry{Flat: orb.MultiLineString{line}}},
		{Geometry: geo.Geometry{Flat: orb.MultiLineString{line, line[:2]}, Measures: []float64{1, nan, 3, -4.5, 5}}, Recorded: true},
		{Geometry: geo.Geometry{Flat: orb.Polygon{ring(-94), ring(-93.9999)}}},
		{Geometry: geo.Geometry{Flat: orb.Polygon{ring(-94)}, Heights: []float64{1, 2, 3, 4, 1}}},
		{Geometry: geo.Geometry{Flat: orb.MultiPolygon{{ring(-94)}, {ring(-95), ring(-94.9999)}}}},
		{Geometry: geo.Geometry{Flat: orb.MultiPolygon{{ring(-94)}}}},
		{Geometry: geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}, orb.Collection{line, orb.MultiPoint{{5, 6}}}, orb.Polygon{ring(1)}}}},
		{Geometry: geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}, orb.Point{3, 4}}}},
		{ID: "note", IDKind: wire.StringID, Properties: json.RawMessage(`{"text":"no place"}`)},
	}
}

func same(t *testing.T, got, want wire.Feature) {
	t.Helper()
	if got.ID != want.ID || got.IDKind != want.IDKind {
		t.Errorf("id: got %q (%d), want %q (%d)", got.ID, got.IDKind, want.ID, want.IDKind)
	}
	if !equalJSON(t, got.Properties, want.Properties) {
		t.Errorf("properties: got %s, want %s", got.Properties, want.Properties)
	}
	if !reflect.DeepEqual(got.Geometry.Flat, want.Geometry.Flat) {
		t.Errorf("shape: got %v, want %v", got.Geometry.Flat, want.Geometry.Flat)
	}
	if !equalNumbers(got.Geometry.Heights, want.Geometry.Heights) || !equalNumbers(got.Geometry.Measures, want.Geometry.Measures) {
		t.Errorf("heights, measures: got %v %v, want %v %v", got.Geometry.Heights, got.Geometry.Measures, want.Geometry.Heights, want.Geometry.Measures)
	}
	for _, d := range got.Departures {
		t.Errorf("departure %v", d)
	}
}

// equalJSON compares canonical forms, which keep every digit and the order of
// lists.
func equalJSON(t *testing.T, a, b json.RawMessage) bool {
	t.Helper()
	if a == nil || b == nil {
		return a == nil && b == nil
	}
	read := func(data json.RawMessage) any {
		d := json.NewDecoder(bytes.NewReader(data))
		d.UseNumber()
		var v any
		if err := d.Decode(&v); err != nil {
			t.Fatalf("%s: %v", data, err)
		}
		return v
	}
	return reflect.DeepEqual(read(a), read(b))
}

func equalNumbers(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] && !(math.IsNaN(a[i]) && math.IsNaN(b[i])) {
			return false
		}
	}
	return true
}

func TestRoundTrip(t *testing.T) {
	want := samples()
	d := doc(layer("", want...), layer("blocks / 1", want...), layer("none"))
	for _, form := range []struct {
		name  string
		write func(context.Context, io.Writer, wire.Document) error
	}{{"KML", kml.Write}, {"KMZ", kml.WriteKMZ}} {
		t.Run(form.name, func(t *testing.T) {
			var b, again bytes.Buffer
			if err := form.write(context.Background(), &b, d); err != nil {
				t.Fatal(err)
			}
			if err := form.write(context.Background(), &again, d); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
				t.Errorf("written twice it differs (%v)", err)
			}
			got, notes, err := open(t, b.Bytes())
			if err != nil || len(notes) > 0 || len(got) != 2*len(want) {
				t.Fatalf("got %d features, %v, %v; want %d", len(got), notes, err, 2*len(want))
			}
			for i, f := range got {
				same(t, f, want[i%len(want)])
				if layer := []string{"", "blocks / 1"}[i/len(want)]; f.Layer != layer {
					t.Errorf("layer: got %q, want %q", f.Layer, layer)
				}
			}
		})
	}
}

func placemark(inside string) []byte {
	return []byte("<kml xmlns:gx=\"g\"><Document>\n<Placemark>" + inside + "</Placemark></Document></kml>")
}

func TestCoordinates(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		want       orb.LineString
		rule       wire.Rule // of the departure, or of the error when nothing is wanted
	}{
		{"pairs", "-94.5,36 -94.4,36.1", orb.LineString{{-94.5, 36}, {-94.4, 36.1}}, ""},
		{"comma and space between positions", "-94.5,36, -94.4,36.1,", orb.LineString{{-94.5, 36}, {-94.4, 36.1}}, kml.RuleJoined},
		{"spaces all round", "-94.5 , 36 -94.4 ,36.1", orb.LineString{{-94.5, 36}, {-94.4, 36.1}}, kml.RuleSpaces},
		{"all joined, pairs", "-94.5,36,-94.4,36.1", orb.LineString{{-94.5, 36}, {-94.4, 36.1}}, kml.RuleJoined},
		{"all joined, six numbers, triples", "-94.5,36,0,-94.4,36.1,0", orb.LineString{{-94.5, 36}, {-94.4, 36.1}}, kml.RuleJoined},
		{"all joined, six numbers, pairs", "-94.5,36,-94.4,36.1,-94.3,36.2", orb.LineString{{-94.5, 36}, {-94.4, 36.1}, {-94.3, 36.2}}, kml.RuleJoined},
		{"all joined, both readings", "1,1,1,1,1,1", nil, kml.RuleCoordinates},
		{"all joined, seven numbers", "1,1,1,1,1,1,1", nil, kml.RuleCoordinates},
		{"letters", "-94.5,36 x,y", nil, kml.RuleCoordinates},
		{"one number", "-94.5,36 7", nil, kml.RuleCoordinates},
		{"no commas", "-94.5 36 -94.4 36.1", nil, kml.RuleCoordinates},
		{"hexadecimal", "0x1p2,3 4,5", nil, kml.RuleCoordinates},
		{"not a number", "NaN,3 4,5", nil, kml.RuleCoordinates},
		{"infinite", "1e999,3 4,5", nil, kml.RuleCoordinates},
		{"four numbers", "1,2,3,4 5,6,7,8", nil, kml.RuleCoordinates},
	} {
		t.Run(tt.name, func(t *testing.T) {
			all, _, err := open(t, placemark("\n<LineString><coordinates>\n"+tt.text+"</coordinates></LineString>"))
			if tt.want == nil {
				e, ok := wire.As(err)
				if !ok || e.Rule != tt.rule || e.Line != 4 || e.Got == "" || e.Feature != 1 {
					t.Fatalf("got %v, want %s in line 4", err, tt.rule)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(all[0].Geometry.Flat, tt.want) {
				t.Errorf("got %v, want %v", all[0].Geometry.Flat, tt.want)
			}
			var rule wire.Rule
			if len(all[0].Departures) > 0 {
				rule = all[0].Departures[0].Rule
			}
			if rule != tt.rule {
				t.Errorf("departure: got %q, want %q", rule, tt.rule)
			}
		})
	}
}

func TestShapes(t *testing.T) {
	ring := "<LinearRing><coordinates>0,0 1,0 1,1 0,0</coordinates></LinearRing>"
	r := orb.Ring{{0, 0}, {1, 0}, {1, 1}, {0, 0}}
	for _, tt := range []struct {
		name, text string
		want       orb.Geometry
		rules      []wire.Rule
	}{
		{"ring alone", ring, orb.LineString(r), nil},
		{"several rings in one inner boundary", "<Polygon><innerBoundaryIs>" + ring + ring + "</innerBoundaryIs><innerBoundaryIs>" + ring + "</innerBoundaryIs><outerBoundaryIs>" + ring + "</outerBoundaryIs></Polygon>",
			orb.Polygon{r, r, r, r}, nil},
		{"nested", "<MultiGeometry><MultiGeometry><Polygon><outerBoundaryIs>" + ring + "</outerBoundaryIs></Polygon></MultiGeometry><Point><coordinates>1,2</coordinates></Point></MultiGeometry>",
			orb.Collection{orb.MultiPolygon{{r}}, orb.Point{1, 2}}, nil},
		{"empty", "<Point><coordinates> </coordinates></Point>", nil, []wire.Rule{wire.RuleEmpty}},
		{"empty hole", "<Polygon><outerBoundaryIs>" + ring + "</outerBoundaryIs><innerBoundaryIs><LinearRing><coordinates/></LinearRing></innerBoundaryIs></Polygon>",
			orb.Polygon{r}, []wire.Rule{wire.RuleEmpty}},
		{"unclosed is left as it is", "<Polygon><outerBoundaryIs><LinearRing><coordinates>0,0 1,0 1,1</coordinates></LinearRing></outerBoundaryIs></Polygon>",
			orb.Polygon{r[:3]}, nil},
		{"one position", "<LineString><coordinates>1,2</coordinates></LineString>", nil, []wire.Rule{markup.RuleOnePoint}},
		{"model", "<Model id=\"m\"><Link><href>x.dae</href></Link></Model>", nil, []wire.Rule{kml.RuleUnknownShape}},
		{"track with too few times", "<gx:Track><when>2026-05-04T13:00:00Z</when><gx:coord>1 2</gx:coord><gx:coord>3 4 5</gx:coord></gx:Track>",
			orb.LineString{{1, 2}, {3, 4}}, []wire.Rule{kml.RuleTrackCounts}},
		{"track with a lost fix", "<gx:Track><when>2026-05-04T13:00:00Z</when><when>2026-05-04T13:00:01</when><when>x</when><gx:coord>1 2</gx:coord><gx:coord/><gx:coord>3 4 5</gx:coord></gx:Track>",
			orb.LineString{{1, 2}, {3, 4}}, []wire.Rule{markup.RuleZone, markup.RuleTime, wire.RuleEmpty}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			all, _, err := open(t, placemark(tt.text))
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(all[0].Geometry.Flat, tt.want) {
				t.Errorf("got %v, want %v", all[0].Geometry.Flat, tt.want)
			}
			var rules []wire.Rule
			for _, d := range all[0].Departures {
				rules = append(rules, d.Rule)
			}
			if !reflect.DeepEqual(rules, tt.rules) {
				t.Errorf("departures: got %q, want %q", rules, tt.rules)
			}
		})
	}
}

func TestProperties(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"element texts", "<name> A </name><description><![CDATA[<b>b</b>]]></description><TimeStamp><when>2026-05-04T15:00:00+02:00</when></TimeStamp>",
			`{"name":"A","description":"<b>b</b>","time":"2026-05-04T15:00:00+02:00"}`},
		{"span", "<TimeSpan><begin>2026-05</begin><end>2026-05-04T13:00:00.25Z</end></TimeSpan>", `{"begin":"2026-05","end":"2026-05-04T13:00:00.25Z"}`},
		{"data", `<ExtendedData><Data name="rows"><displayName>Rows</displayName><value>12</value></Data></ExtendedData>`, `{"rows":"12"}`},
		{"schema", `<ExtendedData><SchemaData schemaUrl="#s"><SimpleData name="i">12345678901234567890</SimpleData><SimpleData name="d">1.</SimpleData><SimpleData name="b">1</SimpleData><SimpleData name="t">007</SimpleData><SimpleData name="j">007</SimpleData><SimpleData name="e"></SimpleData></SchemaData></ExtendedData>`,
			`{"i":12345678901234567890,"d":1,"b":true,"t":"007","j":7,"e":null}`},
		{"other namespace", `<ExtendedData xmlns:f="f"><f:rows>4</f:rows></ExtendedData>`, `{"rows":"4"}`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			schema := `<Schema id="s"><SimpleField name="i" type="int"/><SimpleField name="d" type="double"/><SimpleField name="b" type="bool"/><SimpleField name="t" type="string"/><SimpleField name="j" type="int"/><SimpleField name="e" type="int"/></Schema>`
			data := bytes.Replace(placemark(tt.text), []byte("<Document>"), []byte("<Document>"+schema), 1)
			all, _, err := open(t, data)
			if err != nil || string(all[0].Properties) != tt.want {
				t.Errorf("got %s (%v), want %s", all[0].Properties, err, tt.want)
			}
		})
	}
}

func TestBrokenPlacemarkLeavesTheOthers(t *testing.T) {
	data := []byte(`<kml><Placemark id="a"><name>bad</name><Point><coordinates>x</coordinates></Point></Placemark><Placemark><name>good</name></Placemark></kml>`)
	r, err := kml.Open(context.Background(), data, wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	f, err := r.Next()
	if e, ok := wire.As(err); !ok || e.Rule != kml.RuleCoordinates || f.ID != "a" || name(f) != "bad" {
		t.Errorf("got %v and %+v", err, f)
	}
	if f, err := r.Next(); err != nil || name(f) != "good" || f.Number != 2 {
		t.Errorf("got %+v, %v; want the next placemark", f, err)
	}
}

func TestLinksAreNoted(t *testing.T) {
	_, notes, err := open(t, []byte(`<kml><GroundOverlay><name>photo</name><Icon><href>http://example.invalid/x.png</href></Icon></GroundOverlay>
<NetworkLink><Link><href>http://example.invalid/a.kml</href></Link></NetworkLink><NetworkLink/><Placemark/></kml>`))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, n := range notes {
		got = append(got, n.Path+" "+n.Got+" "+strings.Repeat("I", n.Count))
	}
	if want := []string{"GroundOverlay photo I", "NetworkLink http://example.invalid/a.kml II"}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestWriteRefuses(t *testing.T) {
	for _, tt := range []struct {
		name string
		g    geo.Geometry
		rule wire.Rule
	}{
		{"no positions", geo.Geometry{Flat: orb.LineString{}}, wire.RuleEmpty},
		{"no parts", geo.Geometry{Flat: orb.MultiPolygon{}}, wire.RuleEmpty},
		{"infinite", geo.Geometry{Flat: orb.Point{math.Inf(1), 0}}, wire.RuleNumber},
		{"heights missing", geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}, Heights: []float64{1}}, wire.RuleCount},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := kml.Write(context.Background(), io.Discard, doc(layer("x", wire.Feature{Geometry: tt.g})))
			if e, ok := wire.As(err); !ok || e.Rule != tt.rule || e.Feature != 1 {
				t.Errorf("got %v, want %s of feature 1", err, tt.rule)
			}
		})
	}
}
