package wkt

import (
	"errors"
	"io"
	"math"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

var nan = math.NaN()

// The texts are those of OGC 06-103r4 section 7 (grammar 7.2, examples 7.2.6)
// and what databases write besides; the shapes follow by hand.
var read = []struct {
	name, text string
	want       geo.Geometry
	crs        string
}{
	{"point", "POINT (10 20)", geo.Geometry{Flat: orb.Point{10, 20}}, ""},
	{"lower case", "point(10 20)", geo.Geometry{Flat: orb.Point{10, 20}}, ""},
	{"white space", " \n\tPoint \r\n ( 10\n20 ) \n", geo.Geometry{Flat: orb.Point{10, 20}}, ""},
	{"numbers", "POINT(-1.5e-3 +.5E2)", geo.Geometry{Flat: orb.Point{-0.0015, 50}}, ""},
	{"all digits", "POINT(-92.12345678901234 45.98765432109876)", geo.Geometry{Flat: orb.Point{-92.12345678901234, 45.98765432109876}}, ""},
	{"Z", "POINT Z (1 2 3)", geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{3}}, ""},
	{"Z joined", "POINTZ(1 2 3)", geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{3}}, ""},
	{"Z of old", "POINT(1 2 3)", geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{3}}, ""},
	{"M", "pointm(1 2 3)", geo.Geometry{Flat: orb.Point{1, 2}, Measures: []float64{3}}, ""},
	{"ZM", "POINT ZM (1 2 3 4)", geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{3}, Measures: []float64{4}}, ""},
	{"ZM of old", "POINT(1 2 3 4)", geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{3}, Measures: []float64{4}}, ""},
	{"no height", "LINESTRING Z (1 2 NaN, 3 4 5)", geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}, Heights: []float64{nan, 5}}, ""},
	{"SRID", "SRID=26915;POINT(500000 4649776)", geo.Geometry{Flat: orb.Point{500000, 4649776}}, "EPSG:26915"},
	{"srid lower", "srid=4326; point(1 2)", geo.Geometry{Flat: orb.Point{1, 2}}, "EPSG:4326"},
	{"SRID unknown", "SRID=0;POINT(1 2)", geo.Geometry{Flat: orb.Point{1, 2}}, ""},
	{"line", "LINESTRING(10 10, 20 20, 30 40)", geo.Geometry{Flat: orb.LineString{{10, 10}, {20, 20}, {30, 40}}}, ""},
	{"polygon with a hole", "POLYGON((0 0,9 0,9 9,0 0),(1 1,2 1,2 2,1 1))",
		geo.Geometry{Flat: orb.Polygon{{{0, 0}, {9, 0}, {9, 9}, {0, 0}}, {{1, 1}, {2, 1}, {2, 2}, {1, 1}}}}, ""},
	{"ring left open", "POLYGON((0 0,9 0,9 9))", geo.Geometry{Flat: orb.Polygon{{{0, 0}, {9, 0}, {9, 9}}}}, ""},
	{"multipoint", "MULTIPOINT((10 10), (20 20))", geo.Geometry{Flat: orb.MultiPoint{{10, 10}, {20, 20}}}, ""},
	{"multipoint of old", "MULTIPOINT(10 10, 20 20)", geo.Geometry{Flat: orb.MultiPoint{{10, 10}, {20, 20}}}, ""},
	{"multipoint with none", "MULTIPOINT(EMPTY, (20 20))", geo.Geometry{Flat: orb.MultiPoint{{20, 20}}}, ""},
	{"multiline", "MULTILINESTRING((0 0, 1 1), EMPTY)", geo.Geometry{Flat: orb.MultiLineString{{{0, 0}, {1, 1}}, {}}}, ""},
	{"multipolygon", "MULTIPOLYGON Z (((0 0 1,1 0 2,1 1 3,0 0 1)),((5 5 4,6 5 5,6 6 6,5 5 4)))",
		geo.Geometry{Flat: orb.MultiPolygon{{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}, {{{5, 5}, {6, 5}, {6, 6}, {5, 5}}}},
			Heights: []float64{1, 2, 3, 1, 4, 5, 6, 4}}, ""},
	{"collection", "GEOMETRYCOLLECTION(POINT(10 10), LINESTRING(15 15, 20 20))",
		geo.Geometry{Flat: orb.Collection{orb.Point{10, 10}, orb.LineString{{15, 15}, {20, 20}}}}, ""},
	{"collection in a collection", "GEOMETRYCOLLECTION(GEOMETRYCOLLECTION(POINT EMPTY, POINT(1 2)),GEOMETRYCOLLECTION EMPTY)",
		geo.Geometry{Flat: orb.Collection{orb.Collection{orb.Point{1, 2}}, orb.Collection{}}}, ""},
	{"heights in a part", "GEOMETRYCOLLECTION(POINT(1 2), POINT Z (3 4 5))",
		geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}, orb.Point{3, 4}}, Heights: []float64{nan, 5}}, ""},
	{"measures of the whole", "GEOMETRYCOLLECTION M (POINT (1 2 3))",
		geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}}, Measures: []float64{3}}, ""},
	{"empty point", "POINT EMPTY", geo.Geometry{}, ""},
	{"empty line", "LINESTRING Z EMPTY", geo.Geometry{Flat: orb.LineString{}}, ""},
	{"empty polygon", "POLYGON EMPTY", geo.Geometry{Flat: orb.Polygon{}}, ""},
	{"empty multipolygon", "MULTIPOLYGON EMPTY", geo.Geometry{Flat: orb.MultiPolygon{}}, ""},
}

func same(a, b geo.Geometry) bool {
	return reflect.DeepEqual(a.Flat, b.Flat) && sameValues(a.Heights, b.Heights) && sameValues(a.Measures, b.Measures)
}

func sameValues(a, b []float64) bool {
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

func TestDecode(t *testing.T) {
	for _, c := range read {
		t.Run(c.name, func(t *testing.T) {
			got, crs, err := Decode(c.text, wire.Limits{})
			if err != nil || crs != c.crs || !same(got, c.want) {
				t.Fatalf("Decode(%q) = %+v, %q, %v; want %+v, %q", c.text, got, crs, err, c.want, c.crs)
			}
			text, err := Encode(got)
			if err != nil {
				t.Fatalf("Encode: %v", err)
			}
			back, _, err := Decode(text, wire.Limits{})
			if err != nil || !same(back, c.want) {
				t.Errorf("%q came back through %q as %+v, %v", c.text, text, back, err)
			}
		})
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct {
		name, text string
		rule       wire.Rule
		at         int64
		line       int
		got        string
	}{
		{"nothing", " \n ", wire.RuleNothing, 3, 2, ""},
		{"curve", "CIRCULARSTRING(0 0, 1 1, 2 0)", RuleKind, 0, 1, "CIRCULARSTRING"},
		{"curve inside", "GEOMETRYCOLLECTION(POINT(1 2),\n CURVEPOLYGON EMPTY)", RuleKind, 32, 2, "CURVEPOLYGON"},
		{"surface", "TIN Z (((0 0 0, 0 0 1, 0 1 0, 0 0 0)))", RuleKind, 0, 1, "TIN"},
		{"no shape", "hello", RuleKind, 0, 1, "HELLO"},
		{"tag of no kind", "POINT Q (1 2)", RuleSyntax, 6, 1, "Q (1 2)"},
		{"one number", "POINT(1)", RulePosition, 6, 1, "1)"},
		{"five numbers", "POINT(1 2 3 4 5)", RulePosition, 6, 1, "1 2 3 4 5)"},
		{"Z without", "POINT Z (1 2)", RulePosition, 9, 1, "1 2)"},
		{"changes", "LINESTRING(1 2 3,\n4 5)", RulePosition, 18, 2, "4 5)"},
		{"comma for point", "POINT(1,5 2)", RulePosition, 6, 1, "1,5 2)"},
		{"not finite", "POINT(nan 2)", RuleNumber, 6, 1, "nan"},
		{"infinite", "POINT(1 -inf)", RuleNumber, 8, 1, "-inf"},
		{"too large", "POINT(1 1e400)", RuleNumber, 8, 1, "1e400"},
		{"hexadecimal", "POINT(0x1p4 2)", RuleNumber, 6, 1, "0x1p4"},
		{"underscore", "POINT(1_0 2)", RuleNumber, 6, 1, "1_0"},
		{"letter", "POINT(1 2E 3)", RuleNumber, 8, 1, "2E"},
		{"ends", "POLYGON((0 0, 1", wire.RuleTruncated, 15, 1, ""},
		{"ends in a bracket", "POLYGON((0 0, 1 1)", wire.RuleTruncated, 18, 1, ""},
		{"more", "POINT(1 2) POINT(3 4)", wire.RuleTrailing, 11, 1, "POINT(3 4)"},
		{"SRID of letters", "SRID=x;POINT(1 2)", RuleSRID, 5, 1, "x;POINT(1 2)"},
		{"flat polygon", "POLYGON(0 0, 1 1, 1 0)", RuleSyntax, 8, 1, "0 0, 1 1, 1 0)"},
		{"nested polygon", "POLYGON(((0 0, 1 1, 1 0)))", RuleNumber, 9, 1, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := Decode(c.text, wire.Limits{})
			e, ok := wire.As(err)
			if !ok || e.Rule != c.rule || e.Byte != c.at || e.Line != c.line || e.Got != c.got {
				t.Errorf("Decode(%q): %+v; want %s at byte %d, line %d, found %q", c.text, e, c.rule, c.at, c.line, c.got)
			}
		})
	}
}

// patience is for a machine with other things to do; alone these take a tenth
// of a second.
const patience = 5 * time.Second

func TestDecodeIsBounded(t *testing.T) {
	deep := strings.Repeat("GEOMETRYCOLLECTION(", 200_000)
	wide := "MULTIPOINT(" + strings.Repeat("1 2,", 2_000_000) + "1 2)"
	for _, c := range []struct {
		name, text string
		l          wire.Limits
		rule       wire.Rule
	}{
		{"200,000 levels", deep, wire.Limits{}, RuleDepth},
		{"2 million points", wide, wire.Limits{}, wire.RuleVertices},
		{"2 million empty rings", "POLYGON(EMPTY" + strings.Repeat(",EMPTY", 2_000_000) + ")", wire.Limits{}, wire.RuleVertices},
		{"bytes", wide, wire.Limits{Bytes: 100}, wire.RuleBytes},
		{"brackets", "POLYGON" + strings.Repeat("(", 1_000_000), wire.Limits{}, RuleNumber},
	} {
		t.Run(c.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, _, err := Decode(c.text, c.l)
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			if e, ok := wire.As(err); !ok || e.Rule != c.rule {
				t.Errorf("%v, want %s", err, c.rule)
			}
			// A million vertices are 16 MB; growing by a quarter at a time costs
			// five times that in all, not at once.
			if size := after.TotalAlloc - before.TotalAlloc; took > patience || size > 128<<20 {
				t.Errorf("took %v and %d bytes", took, size)
			}
		})
	}
}

func TestEncode(t *testing.T) {
	for _, c := range []struct {
		name string
		g    geo.Geometry
		want string
	}{
		{"nothing", geo.Geometry{}, "POINT EMPTY"},
		{"point", geo.Geometry{Flat: orb.Point{-92.1, 1e-7}}, "POINT (-92.1 1e-07)"},
		{"ring", geo.Geometry{Flat: orb.Ring{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}, "POLYGON ((0 0, 1 0, 1 1, 0 0))"},
		{"both", geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}, Heights: []float64{5, nan}, Measures: []float64{1770000000.25, 8}},
			"LINESTRING ZM (1 2 5 1770000000.25, 3 4 NaN 8)"},
		{"parts", geo.Geometry{Flat: orb.Collection{orb.MultiPoint{{1, 2}}, orb.MultiPolygon{{}}}, Measures: []float64{7}},
			"GEOMETRYCOLLECTION M (MULTIPOINT M ((1 2 7)), MULTIPOLYGON M (EMPTY))"},
	} {
		if got, err := Encode(c.g); got != c.want || err != nil {
			t.Errorf("%s: %q, %v; want %q", c.name, got, err, c.want)
		}
	}
	for name, g := range map[string]geo.Geometry{
		"not finite":      {Flat: orb.Point{nan, 1}},
		"infinite":        {Flat: orb.Point{1, 1}, Heights: []float64{math.Inf(1)}},
		"heights missing": {Flat: orb.LineString{{1, 2}, {3, 4}}, Heights: []float64{1}},
	} {
		if text, err := Encode(g); err == nil {
			t.Errorf("%s: wrote %q", name, text)
		}
	}
}

func TestReader(t *testing.T) {
	text := "SRID=26915;POLYGON((0 0,\n  1 0, 1 1, 0 0));\nPOINT(1 2)\r\n\r\nPOINT(3;POINT(5 6) POINT(7 8)\nLINESTRING(1 2,\n 3 x)\npoint(9 9)"
	type line struct {
		crs   string
		line  int
		rule  wire.Rule
		shape string
	}
	want := []line{
		{"EPSG:26915", 1, "", "POLYGON ((0 0, 1 0, 1 1, 0 0))"},
		{"?", 3, "", "POINT (1 2)"},
		{"?", 5, RuleNumber, ""},
		{"?", 5, "", "POINT (5 6)"},
		{"?", 5, wire.RuleTrailing, ""},
		{"?", 6, RuleNumber, ""},
		{"?", 8, "", "POINT (9 9)"},
	}
	r, err := NewReader([]byte(text), wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var got []line
	for {
		f, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		l := line{crs: f.CRS, line: f.Line}
		if e, ok := wire.As(err); ok {
			l.rule = e.Rule
			if e.Feature != len(got)+1 {
				t.Errorf("error of feature %d says %d", len(got)+1, e.Feature)
			}
		} else if l.shape, err = Encode(f.Geometry); err != nil {
			t.Fatal(err)
		}
		got = append(got, l)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

func TestReaderLimits(t *testing.T) {
	for _, c := range []struct {
		name string
		l    wire.Limits
		rule wire.Rule
	}{
		{"features", wire.Limits{Features: 2}, wire.RuleFeatures},
		{"vertices of the whole file", wire.Limits{Vertices: 2}, wire.RuleVertices},
	} {
		r, err := NewReader([]byte("POINT(1 2)\nPOINT(1 2)\nPOINT(1 2)\nPOINT(1 2)"), wire.Options{Limits: c.l})
		if err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if _, err := r.Next(); err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
		}
		_, err = r.Next()
		if e, ok := wire.As(err); !ok || e.Rule != c.rule || e.Limit != 2 {
			t.Errorf("%s: %v", c.name, err)
		}
		if _, err := r.Next(); err != io.EOF {
			t.Errorf("%s: then %v", c.name, err)
		}
	}
}

// Whatever is read can be written and reads back the same; errors say a place
// in the text; every file comes to its end.
func FuzzWKT(f *testing.F) {
	for _, c := range read {
		f.Add(c.text)
	}
	f.Add("SRID=26915;POLYGON((0 0,\n1 0));\nPOINT(1 2)\r\nPOINT(3;POINT(5 6) POINT(7 8)\nLINESTRING(3 x)")
	f.Fuzz(func(t *testing.T, text string) {
		g, _, err := Decode(text, wire.Limits{})
		if e, ok := wire.As(err); err != nil && (!ok || e.Byte < 0 || e.Byte > int64(len(text)) || e.Line < 1) {
			t.Fatalf("%q: %+v", text, err)
		}
		if err == nil {
			again, err := Encode(g)
			if err != nil {
				t.Fatalf("%q was read and cannot be written: %v", text, err)
			}
			back, _, err := Decode(again, wire.Limits{})
			if err != nil || !same(back, g) {
				t.Fatalf("%q, then %q: %v", text, again, err)
			}
		}
		r, err := NewReader([]byte(text), wire.Options{})
		if err != nil {
			return
		}
		for n := 0; ; n++ {
			if _, err := r.Next(); err == io.EOF {
				break
			}
			if n > len(text) {
				t.Fatalf("%q does not end", text)
			}
		}
	})
}

func TestDetects(t *testing.T) {
	for _, c := range read {
		if !Detects([]byte(c.text)) {
			t.Errorf("%q is not seen", c.text)
		}
	}
	for text, want := range map[string]bool{
		"CURVEPOLYGON(CIRCULARSTRING(0 0,1 1,2 0))": true,
		"":                       false,
		"name,wkt\na,POINT(1 2)": false,
		"point,x,y\n1,2,3":       false,
		"Point of sale":          false,
		"POINT":                  false,
		"polygon;a;b":            false,
		"{\"type\":\"Point\"}":   false,
		"GEOGCS[\"WGS 84\"]":     false,
		"SRID=x":                 false,
	} {
		if Detects([]byte(text)) != want {
			t.Errorf("%q: want %v", text, want)
		}
	}
}
