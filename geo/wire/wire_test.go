package wire

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"io"
	"math"
	"math/rand"
	"reflect"
	"strings"
	"testing"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// The hexadecimal texts were packed with Python's struct module from the
// description of EWKB that PostGIS publishes (doc/ZMSgeoms.txt), not with this
// package or the library it uses.
var ewkbCases = []struct {
	name string
	g    geo.Geometry
	hex  string
}{
	{"point", geo.Geometry{Flat: orb.Point{-94.4418, 36.3127}}, "0101000020e6100000dcd78173469c57c0c7bab88d06284240"},
	{"line with heights", geo.Geometry{Flat: orb.LineString{{-94.4418, 36.3127}, {-94.44, 36.31}}, Heights: []float64{310, 316.5}},
		"01020000a0e610000002000000dcd78173469c57c0c7bab88d0628424000000000006073405c8fc2f5289c57c048e17a14ae2742400000000000c87340"},
	{"track with times", geo.Geometry{Flat: orb.LineString{{-94.4418, 36.3127}, {-94.44, 36.31}}, Measures: []float64{1753000000.25, 1753000001}},
		"0102000060e610000002000000dcd78173469c57c0c7bab88d06284240000010102a1fda415c8fc2f5289c57c048e17a14ae274240000040102a1fda41"},
	{"track with heights and times", geo.Geometry{Flat: orb.LineString{{-94.4418, 36.3127}, {-94.44, 36.31}}, Heights: []float64{310, 311}, Measures: []float64{1753000000.25, 1753000001}},
		"01020000e0e610000002000000dcd78173469c57c0c7bab88d062842400000000000607340000010102a1fda415c8fc2f5289c57c048e17a14ae2742400000000000707340000040102a1fda41"},
	{"polygon with a hole", geo.Geometry{Flat: orb.Polygon{{{0, 0}, {4, 0}, {4, 4}, {0, 4}, {0, 0}}, {{1, 1}, {1, 2}, {2, 2}, {2, 1}, {1, 1}}}},
		"0103000020e61000000200000005000000000000000000000000000000000000000000000000001040000000000000000000000000000010400000000000001040000000000000000000000000000010400000000000000000000000000000000005000000000000000000f03f000000000000f03f000000000000f03f0000000000000040000000000000004000000000000000400000000000000040000000000000f03f000000000000f03f000000000000f03f"},
	{"multipoint", geo.Geometry{Flat: orb.MultiPoint{{1, 2}, {3, 4}}},
		"0104000020e6100000020000000101000000000000000000f03f0000000000000040010100000000000000000008400000000000001040"},
	{"multipolygon", geo.Geometry{Flat: orb.MultiPolygon{{{{0, 0}, {4, 0}, {4, 4}, {0, 0}}}}},
		"0106000020e6100000010000000103000000010000000400000000000000000000000000000000000000000000000000104000000000000000000000000000001040000000000000104000000000000000000000000000000000"},
	{"collection", geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}, orb.LineString{{1, 2}, {3, 4}}}},
		"0107000020e6100000020000000101000000000000000000f03f0000000000000040010200000002000000000000000000f03f000000000000004000000000000008400000000000001040"},
	{"nothing", geo.Geometry{}, ""},
}

func TestEWKB(t *testing.T) {
	for _, c := range ewkbCases {
		got, err := EncodeEWKB(c.g)
		if err != nil || hex.EncodeToString(got) != c.hex {
			t.Errorf("%s: encoded %x, %v; want %s", c.name, got, err, c.hex)
		}
		want, _ := hex.DecodeString(c.hex)
		back, err := DecodeEWKB(want)
		if err != nil || !reflect.DeepEqual(back, c.g) {
			t.Errorf("%s: decoded %#v, %v; want %#v", c.name, back, err, c.g)
		}
	}
}

func TestEWKBRefuses(t *testing.T) {
	for name, text := range map[string]string{
		"a count of four thousand million":   "0102000000ffffffff",
		"rings of four thousand million":     "0103000000ffffffff",
		"parts of four thousand million":     "0106000000ffffffff",
		"cut off":                            "0101000020e6100000dcd78173469c57c0",
		"bytes after the end":                "0101000020e6100000dcd78173469c57c0c7bab88d0628424000",
		"another coordinate system":          "010100002016690000dcd78173469c57c0c7bab88d06284240",
		"a type there is none for":           "0111000000",
		"a point without a position":         "0101000000000000000000f87f000000000000f87f",
		"a multipoint's part that is a line": "01040000000100000001020000000000000000",
		"one byte":                           "01",
	} {
		data, err := hex.DecodeString(text)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if g, err := DecodeEWKB(data); err == nil {
			t.Errorf("%s: %s decoded to %v; want an error", name, text, g)
		}
	}
	deep := bytes.Repeat([]byte{1, 7, 0, 0, 0, 1, 0, 0, 0}, 100000)
	if _, err := DecodeEWKB(deep); err == nil {
		t.Error("a hundred thousand nested collections decoded; want an error")
	}
	for name, g := range map[string]geo.Geometry{
		"not a number":      {Flat: orb.Point{math.NaN(), 1}},
		"infinite":          {Flat: orb.LineString{{0, 0}, {math.Inf(1), 0}}},
		"heights too few":   {Flat: orb.LineString{{0, 0}, {1, 0}}, Heights: []float64{1}},
		"measures too many": {Flat: orb.Point{0, 0}, Measures: []float64{1, 2}},
		"a box":             {Flat: orb.Bound{}},
	} {
		if out, err := EncodeEWKB(g); err == nil {
			t.Errorf("%s: EWKB %x; want an error", name, out)
		}
		if out, err := EncodeGeometry(g); err == nil {
			t.Errorf("%s: GeoJSON %s; want an error", name, out)
		}
	}
}

func TestEncodeGeometry(t *testing.T) {
	nan := math.NaN()
	cases := []struct {
		name string
		g    geo.Geometry
		want string
	}{
		{"none", geo.Geometry{}, `null`},
		{"every digit", geo.Geometry{Flat: orb.Point{-94.44180000000001, 0.30000000000000004}}, `{"type":"Point","coordinates":[-94.44180000000001,0.30000000000000004]}`},
		{"minus zero", geo.Geometry{Flat: orb.Point{math.Copysign(0, -1), 1e-7}}, `{"type":"Point","coordinates":[0,1e-07]}`},
		// RFC 7946 section 3.1.6: right-hand rule.
		{"clockwise shell, counter-clockwise hole, first corners kept",
			geo.Geometry{Flat: orb.Polygon{{{0, 0}, {0, 4}, {4, 4}, {4, 0}, {0, 0}}, {{1, 1}, {2, 1}, {2, 2}, {1, 1}}}},
			`{"type":"Polygon","coordinates":[[[0,0],[4,0],[4,4],[0,4],[0,0]],[[1,1],[2,2],[2,1],[1,1]]]}`},
		{"heights turn with their ring",
			geo.Geometry{Flat: orb.Polygon{{{0, 0}, {0, 4}, {4, 4}, {0, 0}}}, Heights: []float64{1, 2, 3, 1}},
			`{"type":"Polygon","coordinates":[[[0,0,1],[4,4,3],[0,4,2],[0,0,1]]]}`},
		{"open rings are closed, either way round",
			geo.Geometry{Flat: orb.MultiPolygon{{{{0, 0}, {4, 0}, {4, 4}}}, {{{0, 0}, {4, 4}, {4, 0}}}}},
			`{"type":"MultiPolygon","coordinates":[[[[0,0],[4,0],[4,4],[0,0]]],[[[0,0],[4,0],[4,4],[0,0]]]]}`},
		{"across 180 degrees, counter-clockwise already",
			geo.Geometry{Flat: orb.Polygon{{{179.9, 0}, {-179.9, 0}, {-179.9, 1}, {179.9, 1}, {179.9, 0}}}},
			`{"type":"Polygon","coordinates":[[[179.9,0],[-179.9,0],[-179.9,1],[179.9,1],[179.9,0]]]}`},
		{"measure without height", geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}, Measures: []float64{1753000000.25, nan}},
			`{"type":"LineString","coordinates":[[1,2,0,1753000000.25],[3,4]]}`},
		{"height here and there", geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}, Heights: []float64{nan, 7}},
			`{"type":"LineString","coordinates":[[1,2],[3,4,7]]}`},
		{"collection", geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}, orb.MultiPoint{{3, 4}}}},
			`{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[1,2]},{"type":"MultiPoint","coordinates":[[3,4]]}]}`},
	}
	for _, c := range cases {
		got, err := EncodeGeometry(c.g)
		if err != nil || string(got) != c.want {
			t.Errorf("%s: %s, %v; want %s", c.name, got, err, c.want)
		}
	}
}

func TestDecodeGeometryRefuses(t *testing.T) {
	const ring = `[0,0],[1,0],[1,1],[0,0]`
	cases := []struct {
		name, text string
		want       Error // the fields that are set must agree
	}{
		{"nothing", ``, Error{Rule: RuleNothing}},
		{"white space", " \n", Error{Rule: RuleNothing}},
		{"an array", `[1]`, Error{Rule: RuleObject}},
		{"a text", `"Point"`, Error{Rule: RuleObject}},
		{"no type", `{"coordinates":[1,2]}`, Error{Rule: RuleType, Path: "type"}},
		{"unknown type", `{"type":"Circle","coordinates":[1,2]}`, Error{Rule: RuleType, Path: "type", Got: "Circle"}},
		{"type in other letters", `{"type":"point","coordinates":[1,2]}`, Error{Rule: RuleType, Got: "point"}},
		{"type is a number", `{"type":7,"coordinates":[1,2]}`, Error{Rule: RuleType}},
		{"no coordinates", `{"type":"Point"}`, Error{Rule: RuleMember, Path: "coordinates"}},
		{"coordinates null", `{"type":"Point","coordinates":null}`, Error{Rule: RuleArray, Path: "coordinates"}},
		{"empty point", `{"type":"Point","coordinates":[]}`, Error{Rule: RuleEmpty, Path: "coordinates"}},
		{"empty polygon", `{"type":"Polygon","coordinates":[]}`, Error{Rule: RuleEmpty}},
		{"empty ring", `{"type":"Polygon","coordinates":[[]]}`, Error{Rule: RuleEmpty, Path: "coordinates[0]", Ring: 1}},
		{"empty multipolygon", `{"type":"MultiPolygon","coordinates":[]}`, Error{Rule: RuleEmpty}},
		{"empty collection", `{"type":"GeometryCollection","geometries":[]}`, Error{Rule: RuleEmpty, Path: "geometries"}},
		{"null in a collection", `{"type":"GeometryCollection","geometries":[null]}`, Error{Rule: RuleEmpty, Path: "geometries[0]"}},
		{"one number", `{"type":"Point","coordinates":[1]}`, Error{Rule: RulePosition}},
		{"five numbers", `{"type":"Point","coordinates":[1,2,3,4,5]}`, Error{Rule: RulePosition}},
		{"a line's position missing", `{"type":"LineString","coordinates":[[0,0],[]]}`, Error{Rule: RulePosition, Path: "coordinates[1]", Vertex: 2}},
		{"nested one too few", `{"type":"Polygon","coordinates":[` + ring + `]}`, Error{Rule: RuleArray, Path: "coordinates[0][0]", Ring: 1, Vertex: 1}},
		{"nested one too many", `{"type":"LineString","coordinates":[[` + ring + `]]}`, Error{Rule: RuleNumber, Path: "coordinates[0][0]", Vertex: 1}},
		{"one position in a line", `{"type":"LineString","coordinates":[[0,0]]}`, Error{Rule: RuleShortLine}},
		{"two positions in a ring", `{"type":"Polygon","coordinates":[[[0,0],[1,1]]]}`, Error{Rule: RuleShortRing, Ring: 1}},
		{"three positions, closed", `{"type":"Polygon","coordinates":[[[0,0],[1,1],[0,0]]]}`, Error{Rule: RuleShortRing, Ring: 1}},
		{"open", `{"type":"Polygon","coordinates":[[` + ring + `],[[0,0],[1,0],[1,1],[0,1]]]}`, Error{Rule: RuleUnclosed, Path: "coordinates[1]", Ring: 2}},
		{"open in the second part", `{"type":"MultiPolygon","coordinates":[[[` + ring + `]],[[[0,0],[1,0],[1,1],[0,1]]]]}`, Error{Rule: RuleUnclosed, Path: "coordinates[1][0]", Part: 2, Ring: 1}},
		{"text for a number", `{"type":"LineString","coordinates":[[0,0],[0,"1"]]}`, Error{Rule: RuleNumber, Path: "coordinates[1][1]", Vertex: 2, Got: `"1`}},
		{"NaN", "{\"type\":\"Point\",\n\"coordinates\":[NaN,1]}", Error{Rule: RuleSyntax, Line: 2, Byte: 32, Got: "NaN"}},
		{"1e-14.0", `{"type":"Point","coordinates":[1e-14.0,1]}`, Error{Rule: RuleSyntax, Byte: 31, Got: "1e-14.0"}},
		{"leading zero", `{"type":"Point","coordinates":[01,1]}`, Error{Rule: RuleSyntax}},
		{"no digit after the point", `{"type":"Point","coordinates":[1.,1]}`, Error{Rule: RuleSyntax}},
		{"plus", `{"type":"Point","coordinates":[+1,1]}`, Error{Rule: RuleSyntax}},
		{"1e400", `{"type":"Point","coordinates":[1e400,1]}`, Error{Rule: RuleOverflow, Path: "coordinates[0]", Got: "1e400"}},
		{"longitude", `{"type":"Point","coordinates":[180.0001,1]}`, Error{Rule: RuleLongitude, At: &[2]float64{180.0001, 1}}},
		{"latitude", `{"type":"Polygon","coordinates":[[[36,-94],` + ring + `]]}`, Error{Rule: RuleLatitude, Ring: 1, Vertex: 1}},
		{"two types", `{"type":"Point","type":"Point","coordinates":[1,1]}`, Error{Rule: RuleDuplicateKey, Path: "type", Got: "type"}},
		{"two coordinates, one escaped", `{"type":"Point","coordinates":[1,1],"coord\u0069nates":[1,1]}`, Error{Rule: RuleDuplicateKey, Got: "coordinates"}},
		{"trailing comma", `{"type":"Point","coordinates":[1,1],}`, Error{Rule: RuleSyntax}},
		{"something follows", `{"type":"Point","coordinates":[1,1]} x`, Error{Rule: RuleTrailing, Byte: 37, Got: "x"}},
		{"cut off in a number", `{"type":"Point","coordinates":[1,1`, Error{Rule: RuleTruncated}},
		{"cut off in a name", `{"type":"Poi`, Error{Rule: RuleTruncated}},
		{"cut off in null", `{"type":"Point","coordinates":nul`, Error{Rule: RuleTruncated}},
		{"not UTF-8", "{\"type\":\"Point\",\"x\":\"B\xF6\",\"coordinates\":[1,1]}", Error{Rule: RuleEncoding, Byte: 22}},
		{"half a surrogate pair", `{"type":"Point","x":"\ud800","coordinates":[1,1]}`, Error{Rule: RuleEncoding}},
		{"a raw line break in a text", "{\"type\":\"Po\nint\"}", Error{Rule: RuleSyntax}},
		{"a lone backslash", `{"type":"Point\q"}`, Error{Rule: RuleSyntax}},
	}
	for _, c := range cases {
		g, err := DecodeGeometry([]byte(c.text), Limits{})
		e, ok := As(err)
		if !ok {
			t.Errorf("%s: %s: got %v, %v; want rule %s", c.name, c.text, g, err, c.want.Rule)
			continue
		}
		if e.Rule != c.want.Rule ||
			c.want.Path != "" && e.Path != c.want.Path || c.want.Got != "" && e.Got != c.want.Got ||
			c.want.Byte != 0 && e.Byte != c.want.Byte || c.want.Line != 0 && e.Line != c.want.Line ||
			c.want.Part != 0 && e.Part != c.want.Part || c.want.Ring != 0 && e.Ring != c.want.Ring ||
			c.want.Vertex != 0 && e.Vertex != c.want.Vertex ||
			c.want.At != nil && (e.At == nil || *e.At != *c.want.At) {
			t.Errorf("%s: %s:\n got %+v\nwant %+v", c.name, c.text, *e, c.want)
		}
	}
}

func TestLimits(t *testing.T) {
	point := `{"type":"MultiPoint","coordinates":[[1,1],[2,2],[3,3]]}`
	deep := strings.Repeat("[", 20000)
	nested := strings.Repeat(`{"type":"GeometryCollection","geometries":[`, 30) + point
	many := `{"type":"FeatureCollection","features":[` + strings.Repeat(`{},`, 5) + `{}]}`
	for _, c := range []struct {
		name, text string
		limits     Limits
		want       Rule
	}{
		{"vertices", point, Limits{Vertices: 2}, RuleVertices},
		{"bytes", point, Limits{Bytes: 10}, RuleBytes},
		{"arrays", `{"type":"Polygon","coordinates":` + deep, Limits{}, RuleDepth},
		{"collections", nested, Limits{}, RuleDepth},
		{"objects in a member", `{"x":` + strings.Repeat(`{"x":`, 20000), Limits{}, RuleDepth},
	} {
		_, err := DecodeGeometry([]byte(c.text), c.limits)
		if e, ok := As(err); !ok || e.Rule != c.want {
			t.Errorf("%s: %v; want %s", c.name, err, c.want)
		}
	}
	if _, err := NewFeatureReader(strings.NewReader(many), Options{Limits: Limits{Features: 5}}); err == nil {
		t.Error("six features passed a limit of five")
	} else if e, ok := As(err); !ok || e.Rule != RuleFeatures {
		t.Errorf("six features: %v; want %s", err, RuleFeatures)
	}
	if _, err := NewFeatureReader(strings.NewReader(many), Options{Limits: Limits{Bytes: 20}}); err == nil {
		t.Error("a file passed a limit of 20 bytes")
	}
}

func TestLenient(t *testing.T) {
	const close = `[0,0],[1,0],[1,1]`
	for _, c := range []struct {
		name, text string
		want       orb.Geometry
		rules      []Rule
	}{
		{"open ring", `{"type":"Polygon","coordinates":[[` + close + `,[0,1]]]}`, orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 1}, {0, 0}}}, []Rule{RuleUnclosed}},
		{"open triangle", `{"type":"Polygon","coordinates":[[` + close + `]]}`, orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}, []Rule{RuleUnclosed}},
		{"next copy of the map", `{"type":"LineString","coordinates":[[265.5,1],[266.5,1]]}`, orb.LineString{{-94.5, 1}, {-93.5, 1}}, []Rule{RuleLongitude}},
		{"empty polygon", `{"type":"Polygon","coordinates":[]}`, nil, []Rule{RuleEmpty}},
		{"empty part", `{"type":"MultiPolygon","coordinates":[[],[[` + close + `,[0,0]]]]}`, orb.MultiPolygon{{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}}, []Rule{RuleEmpty}},
		{"empty hole", `{"type":"Polygon","coordinates":[[` + close + `,[0,0]],[]]}`, orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}, []Rule{RuleEmpty}},
		{"empty shell, a hole remains", `{"type":"Polygon","coordinates":[[],[` + close + `,[0,0]]]}`, nil, []Rule{RuleEmpty}},
	} {
		r, err := NewFeatureReader(strings.NewReader(c.text), Options{Lenient: true})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		f, err := r.Next()
		if err != nil || !reflect.DeepEqual(f.Geometry.Flat, c.want) {
			t.Errorf("%s: %v, %v; want %v", c.name, f.Geometry.Flat, err, c.want)
		}
		rules := []Rule{}
		for _, d := range f.Departures {
			rules = append(rules, d.Rule)
		}
		if !reflect.DeepEqual(rules, c.rules) {
			t.Errorf("%s: departures %v; want %v", c.name, rules, c.rules)
		}
	}
}

func TestDecodeFeature(t *testing.T) {
	const props = `{ "name": "A\u00e4", "big": 9007199254740993, "x": [1.0, {"y": null}] }`
	f, err := DecodeFeature([]byte(`{"type":"Feature","id":9007199254740993,"tags":[1],"properties":`+props+`,"geometry":{"type":"Point","coordinates":[1,2,3]},"bbox":[1,2,1,2]}`), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if f.ID != "9007199254740993" || f.IDKind != NumberID {
		t.Errorf("id %q kind %d; want the 16 digits as a number", f.ID, f.IDKind)
	}
	if string(f.Properties) != props {
		t.Errorf("properties %s; want byte for byte %s", f.Properties, props)
	}
	if len(f.Foreign) != 1 || f.Foreign[0].Name != "tags" || string(f.Foreign[0].Value) != "[1]" {
		t.Errorf("foreign members %v; want tags [1]", f.Foreign)
	}
	out, err := EncodeFeature(f)
	want := `{"type":"Feature","id":9007199254740993,"geometry":{"type":"Point","coordinates":[1,2,3]},"properties":` + props + `,"tags":[1]}`
	if err != nil || string(out) != want {
		t.Errorf("encoded %s, %v; want %s", out, err, want)
	}
	for _, c := range []struct {
		name, text string
		rule       Rule
		path       string
	}{
		{"no type", `{}`, RuleType, "type"},
		{"a geometry", `{"type":"Point","coordinates":[1,2]}`, RuleType, "type"},
		{"no geometry", `{"type":"Feature","properties":{}}`, RuleMember, "geometry"},
		{"properties a list", `{"type":"Feature","properties":[],"geometry":null}`, RuleObject, "properties"},
		{"a property twice", `{"type":"Feature","properties":{"a":[{"b":1,"b":2}]},"geometry":null}`, RuleDuplicateKey, "properties.a[0].b"},
		{"id a list", `{"type":"Feature","id":[],"properties":{},"geometry":null}`, RuleID, "id"},
		{"shape at fault", `{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[1,99]}}`, RuleLatitude, "geometry.coordinates"},
	} {
		_, err := DecodeFeature([]byte(c.text), Limits{})
		if e, ok := As(err); !ok || e.Rule != c.rule || e.Path != c.path {
			t.Errorf("%s: %v; want %s at %s", c.name, err, c.rule, c.path)
		}
	}
}

func TestFeatureReader(t *testing.T) {
	const a = `{"type":"Feature","id":"a","properties":null,"geometry":{"type":"Point","coordinates":[1,2]}}`
	const b = `{"type":"Feature","id":"b","properties":{},"geometry":null}`
	const bad = `{"type":"Feature","id":"bad","properties":{"name":"A0"},"geometry":{"type":"Point","coordinates":[1,200]}}`
	for _, c := range []struct {
		name, text string
		form       Form
		ids        string // each id, ! before one with an error
	}{
		{"collection", `{"type":"FeatureCollection","features":[` + a + "," + b + `]}`, FormCollection, "a b"},
		{"features before type", `{"features":[` + a + `],"type":"FeatureCollection"}`, FormCollection, "a"},
		{"one at fault, the next still read", `{"type":"FeatureCollection","features":[` + bad + "," + b + `]}`, FormCollection, "!bad b"},
		{"empty", `{"type":"FeatureCollection","features":[]}`, FormCollection, ""},
		{"feature", a, FormFeature, "a"},
		{"mark", "\xEF\xBB\xBF" + a, FormFeature, "a"},
		{"geometry", `{"type":"Point","coordinates":[1,2]}`, FormGeometry, "-"},
		{"lines", a + "\n" + b + "\r\n\n", FormLines, "a b"},
		{"lines of both", a + "\n" + `{"type":"Point","coordinates":[1,2]}` + "\n", FormLines, "a -"},
		{"sequence", "\x1e" + a + "\n\x1e\x1e" + b + "\n", FormSequence, "a b"},
	} {
		r, err := NewFeatureReader(strings.NewReader(c.text), Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		ids := []string{}
		for {
			f, err := r.Next()
			if err == io.EOF {
				break
			}
			id := f.ID
			if f.IDKind == NoID {
				id = "-"
			}
			if err != nil {
				id = "!" + id
			}
			ids = append(ids, id)
		}
		if got := strings.Join(ids, " "); got != c.ids || r.Form() != c.form {
			t.Errorf("%s: %s %q; want %s %q", c.name, r.Form(), got, c.form, c.ids)
		}
	}
	for _, c := range []struct {
		name, text string
		rule       Rule
	}{
		{"two on a line", a + b, RuleTrailing},
		{"two on the second line", a + "\n" + a + b, RuleTrailing},
		{"half a feature after a collection", `{"type":"FeatureCollection","features":[]}` + "\n" + `{"type":"Fea`, RuleTrailing},
		{"lines cut off", a + "\n" + b[:20], RuleTruncated},
		{"sequence cut off", "\x1e" + a[:30], RuleTruncated},
		{"separators alone", "\x1e\x1e", RuleNothing},
		{"no features", `{"type":"FeatureCollection"}`, RuleMember},
		{"features an object", `{"type":"FeatureCollection","features":{}}`, RuleArray},
		{"features twice", `{"type":"FeatureCollection","features":[],"features":[]}`, RuleDuplicateKey},
		{"a page", `<html>`, RuleSyntax},
	} {
		_, err := NewFeatureReader(strings.NewReader(c.text), Options{})
		if e, ok := As(err); !ok || e.Rule != c.rule {
			t.Errorf("%s: %v; want %s", c.name, err, c.rule)
		}
	}
	crs := `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::32615"}},"features":[]}`
	if r, err := NewFeatureReader(strings.NewReader(crs), Options{}); err != nil || r.CRS() != "urn:ogc:def:crs:EPSG::32615" {
		t.Errorf("crs member not found: %v", err)
	}
}

func TestCanonical(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"nothing", ``, `{}`},
		{"null", ` null `, `{}`},
		{"sorted at every level", `{"b":{"d":1,"c":2}, "a":[ {"z":1,"y":2} ]}`, `{"a":[{"y":2,"z":1}],"b":{"c":2,"d":1}}`},
		{"numbers as written", `{"a":[9007199254740993, 1.0,1e2, -0]}`, `{"a":[9007199254740993,1.0,1e2,-0]}`},
		// RFC 8785 section 3.2.2 gives this string and its form.
		{"escapes", `{"string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/"}`, `{"string":"€$\u000f\nA'B\"\\\\\"/"}`},
		{"names compared unescaped", `{"\u0062":1,"a":2}`, `{"a":2,"b":1}`},
		{"surrogate pair", `{"a":"\ud83c\udf3f"}`, `{"a":"🌿"}`},
	} {
		got, err := Canonical(json.RawMessage(c.in))
		if err != nil || string(got) != c.want {
			t.Errorf("%s: %s gave %s, %v; want %s", c.name, c.in, got, err, c.want)
		}
		again, err := Canonical(got)
		if err != nil || !bytes.Equal(again, got) {
			t.Errorf("%s: once more gave %s, %v; want %s", c.name, again, err, got)
		}
	}
	for _, c := range []struct {
		name, in string
		rule     Rule
	}{
		{"list", `[]`, RuleObject},
		{"name twice", `{"a":1,"\u0061":2}`, RuleDuplicateKey},
		{"deep", strings.Repeat(`{"a":`, 1000) + "1" + strings.Repeat("}", 1000), RuleDepth},
		{"not UTF-8", "{\"a\":\"\xff\"}", RuleEncoding},
		{"two objects", `{}{}`, RuleTrailing},
		{"cut off", `{"a"`, RuleTruncated},
	} {
		got, err := Canonical(json.RawMessage(c.in))
		if e, ok := As(err); !ok || e.Rule != c.rule {
			t.Errorf("%s: %s, %v; want %s", c.name, got, err, c.rule)
		}
	}
}

// randomShape makes a shape in the direction EncodeGeometry writes, so that
// the way there and back changes nothing.
func randomShape(r *rand.Rand, depth int) orb.Geometry {
	point := func() orb.Point { return orb.Point{r.Float64()*360 - 180, r.Float64()*180 - 90} }
	line := func() []orb.Point {
		ps := make([]orb.Point, 2+r.Intn(5))
		for i := range ps {
			ps[i] = point()
		}
		return ps
	}
	polygon := func() orb.Polygon {
		x, y, w := r.Float64()*300-170, r.Float64()*100-60, r.Float64()*5+1
		return orb.Polygon{
			{{x, y}, {x + w, y}, {x + w, y + w}, {x, y + w}, {x, y}},
			{{x + w/4, y + w/4}, {x + w/4, y + w/2}, {x + w/2, y + w/2}, {x + w/4, y + w/4}},
		}
	}
	switch n := r.Intn(7); {
	case n == 0:
		return point()
	case n == 1:
		return orb.MultiPoint(line())
	case n == 2:
		return orb.LineString(line())
	case n == 3:
		return orb.MultiLineString{line(), line()}
	case n == 4:
		return polygon()
	case n == 5:
		return orb.MultiPolygon{polygon(), polygon()}
	case depth > 2:
		return point()
	}
	return orb.Collection{randomShape(r, depth+1), randomShape(r, depth+1)}
}

func TestThereAndBack(t *testing.T) {
	r := rand.New(rand.NewSource(20250701))
	for range 2000 {
		g := geo.Geometry{Flat: randomShape(r, 0)}
		for i := range Vertices(g.Flat) {
			if i == 0 && r.Intn(2) == 0 {
				g.Heights = make([]float64, Vertices(g.Flat))
			}
			if i == 0 && r.Intn(2) == 0 {
				g.Measures = make([]float64, Vertices(g.Flat))
			}
			if g.Heights != nil {
				g.Heights[i] = r.Float64() * 4000
			}
			if g.Measures != nil {
				g.Measures[i] = 1.7e9 + r.Float64()*1e6
			}
		}
		text, err := EncodeGeometry(g)
		if err != nil {
			t.Fatal(err)
		}
		if !json.Valid(text) {
			t.Fatalf("not JSON: %s", text)
		}
		back, err := DecodeGeometry(text, Limits{})
		if err != nil || !reflect.DeepEqual(back, g) {
			t.Fatalf("GeoJSON %s: got %v, %v; want %v", text, back, err, g)
		}
		data, err := EncodeEWKB(g)
		if err != nil {
			t.Fatal(err)
		}
		back, err = DecodeEWKB(data)
		if err != nil || !reflect.DeepEqual(back, g) {
			t.Fatalf("EWKB: got %v, %v; want %v", back, err, g)
		}
	}
}
