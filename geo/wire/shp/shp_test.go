package shp

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"caneward/geo/wire"
	"caneward/geo/wire/archive"

	"github.com/paulmach/orb"
)

const cases = "../../../testdata/cases/files/"

func file(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func read(t testing.TB, data []byte, o wire.Options) ([]wire.Feature, []*wire.Error, error) {
	t.Helper()
	r, err := Open(context.Background(), data, o)
	if err != nil {
		return nil, nil, err
	}
	return drain(r)
}

func drain(r *Reader) ([]wire.Feature, []*wire.Error, error) {
	var all []wire.Feature
	for {
		f, err := r.Next()
		if errors.Is(err, io.EOF) {
			return all, r.Notes(), nil
		}
		if err != nil {
			return all, r.Notes(), err
		}
		all = append(all, f)
	}
}

func is(err error, rule wire.Rule) bool {
	e, ok := wire.As(err)
	return ok && e.Rule == rule
}

// unpacked gives the files of an archive by name, to be changed and packed again.
func unpacked(t testing.TB, data []byte) map[string][]byte {
	t.Helper()
	a, err := archive.Open(context.Background(), data, wire.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{}
	for _, e := range a.Entries() {
		if files[e.Name], err = a.Read(context.Background(), e.Name); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

func packed(t testing.TB, files map[string][]byte) []byte {
	t.Helper()
	var list []archive.File
	for name, data := range files {
		list = append(list, archive.File{Name: name, Data: data})
	}
	slices.SortFunc(list, func(a, b archive.File) int { return strings.Compare(a.Name, b.Name) })
	var b bytes.Buffer
	if err := archive.Write(&b, list); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The case set's shapefiles; properties and rings are what ogrinfo prints of
// them, the outcomes those of cases.csv.
func TestOpenCases(t *testing.T) {
	const (
		a1 = "A1: -94.4418 36.3127, 6 corners"
		a2 = "A2: -94.4389015 36.3130605, 5 corners"
	)
	tests := []struct {
		file  string
		want  []string
		crs   string
		notes []wire.Rule
	}{
		{"V060-shp-no-prj-degrees.zip", []string{a1, a2}, "?", nil},
		{"V061-shp-prj-ftus.zip", []string{"A1: 592943.593 729401.124, 6 corners"}, "PROJCS", nil},
		{"V062-shp-latin1-cpg.zip", []string{"Côte d'été: -94.4418 36.3127, 6 corners", "Señal nº 2: -94.4389015 36.3130605, 5 corners"}, "GEOGCS", nil},
		{"V063-shp-polygonz-no-m.zip", []string{a1 + ", heights 302.5 302 301.5 301 300.5 300"}, "GEOGCS", nil},
		{"V064-shp-two-layers.zip", []string{"blocks/" + a1, "finds/r1: -94.4414656 36.3129704", "finds/r2: -94.4412426 36.3130605"}, "GEOGCS", nil},
		{"V065-shp-macosx-junk.zip", []string{a1}, "GEOGCS", nil},
		{"V066-shp-orientation-holes.zip", []string{"A1: -94.4389015 36.3130605, 5 corners; -94.4418 36.3127, 6 corners, less 5 corners"}, "GEOGCS", nil},
		{"V067-shp-bad-shx.zip", []string{a1, a2}, "GEOGCS", []wire.Rule{RuleIndex}},
		{"V068-shp-no-dbf.zip", []string{strings.TrimPrefix(a1, "A1"), strings.TrimPrefix(a2, "A2")}, "GEOGCS", []wire.Rule{RuleNoTable}},
	}
	for _, tt := range tests {
		t.Run(tt.file, func(t *testing.T) {
			features, notes, err := read(t, file(t, cases+tt.file), wire.Options{})
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for i, f := range features {
				got = append(got, described(f))
				if !strings.HasPrefix(f.CRS, tt.crs) || f.Number != i+1 || len(f.Departures) > 0 {
					t.Errorf("feature %d: CRS %q, number %d, departures %v", i+1, f.CRS, f.Number, f.Departures)
				}
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
			checkRules(t, notes, tt.notes...)
		})
	}
}

func checkRules(t *testing.T, notes []*wire.Error, want ...wire.Rule) {
	t.Helper()
	var got []wire.Rule
	for _, n := range notes {
		if got = append(got, n.Rule); n.Entry == "" {
			t.Errorf("note %s names no file", n.Rule)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("notes %v, want %v", got, want)
	}
}

func described(f wire.Feature) string {
	out := ""
	if f.Layer != "" {
		out = f.Layer + "/"
	}
	if _, name, ok := strings.Cut(string(f.Properties), `"NAME":"`); ok {
		out += name[:strings.IndexByte(name, '"')]
	}
	out += ": "
	polygon := func(p orb.Polygon) string {
		s := fmt.Sprintf("%v %v, %d corners", p[0][0][0], p[0][0][1], len(p[0]))
		for _, hole := range p[1:] {
			s += fmt.Sprintf(", less %d corners", len(hole))
		}
		return s
	}
	switch g := f.Geometry.Flat.(type) {
	case orb.Point:
		out += fmt.Sprintf("%v %v", g[0], g[1])
	case orb.Polygon:
		out += polygon(g)
	case orb.MultiPolygon:
		for i, p := range g {
			if i > 0 {
				out += "; "
			}
			out += polygon(p)
		}
	}
	if f.Geometry.Heights != nil {
		out += ", heights " + strings.Trim(fmt.Sprint(f.Geometry.Heights), "[]")
	}
	return out
}

// The expected values are what ogrinfo of GDAL 3.6.2 prints, see testdata; rings
// stand here as RFC 7946 has them, and blank cells are null.
func TestOpenReadsWhatGDALWrites(t *testing.T) {
	features, notes, err := read(t, file(t, "testdata/gdal.zip"), wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	checkRules(t, notes, RuleMeasure)
	type row struct {
		layer, properties string
		shape             orb.Geometry
		heights, measures []float64
	}
	want := []row{
		{"areas", `{"NAME":"Ñandú","ROWS":12,"AREA":1.25,"DAY":"2026-05-04"}`, orb.Polygon{
			{{-94.44, 36.31}, {-94.43, 36.32}, {-94.44, 36.32}, {-94.44, 36.31}},
			{{-94.439, 36.318}, {-94.4385, 36.319}, {-94.438, 36.3185}, {-94.439, 36.318}},
		}, []float64{300, 300, 300, 300, 300, 300, 300, 300}, nil},
		{"areas", `{"NAME":"B","ROWS":-3,"AREA":0,"DAY":null}`, orb.MultiPolygon{
			{{{0, 0}, {1, 1}, {0, 1}, {0, 0}}}, {{{2, 2}, {3, 3}, {2, 3}, {2, 2}}},
		}, []float64{1, 3, 2, 1, 4, 6, 5, 4}, nil},
		{"areas", `{"NAME":"none","ROWS":5,"AREA":0.5,"DAY":"2026-05-05"}`, nil, nil, nil},
		{"pins", `{"NAME":"p"}`, orb.MultiPoint{{0, 0}, {1, 1}}, nil, nil},
		{"tracks", `{"NAME":"t"}`, orb.MultiLineString{{{0, 0}, {1, 1}}, {{2, 2}, {3, 3}}}, []float64{1, 2, 3, 4}, []float64{1700000000, 1700000001, 1700000002, 1700000003.5}},
		{"tracks", `{"NAME":"l"}`, orb.LineString{{5, 5}, {6, 6}}, []float64{1, 2}, []float64{1700000000, 1700000001}},
	}
	if len(features) != len(want) {
		t.Fatalf("%d features, want %d", len(features), len(want))
	}
	for i, f := range features {
		got := row{f.Layer, string(f.Properties), f.Geometry.Flat, f.Geometry.Heights, f.Geometry.Measures}
		if !reflect.DeepEqual(got, want[i]) {
			t.Errorf("feature %d\n got %v\nwant %v", i+1, got, want[i])
		}
		if f.Recorded != (f.Layer == "tracks") {
			t.Errorf("feature %d: recorded %v", i+1, f.Recorded)
		}
	}
}

// record makes a .shp record behind its header; see "Main File Record Contents".
func record(kind int32, rings ...[]orb.Point) []byte {
	out := binary.LittleEndian.AppendUint32(nil, uint32(kind))
	out = appendFloats(out, 0, 0, 0, 0)
	n, starts := 0, []byte{}
	for _, r := range rings {
		starts = binary.LittleEndian.AppendUint32(starts, uint32(n))
		n += len(r)
	}
	out = binary.LittleEndian.AppendUint32(out, uint32(len(rings)))
	out = append(binary.LittleEndian.AppendUint32(out, uint32(n)), starts...)
	for _, r := range rings {
		for _, p := range r {
			out = appendFloats(out, p[0], p[1])
		}
	}
	return out
}

// mainFile makes a .shp of records; its header's length is rubbish, as it is in
// many files.
func mainFile(kind int32, records ...[]byte) []byte {
	out := make([]byte, headerLength)
	binary.BigEndian.PutUint32(out, fileCode)
	binary.BigEndian.PutUint32(out[24:], 7)
	binary.LittleEndian.PutUint32(out[32:], uint32(kind))
	for i, r := range records {
		out = binary.BigEndian.AppendUint32(out, uint32(i+1))
		out = append(binary.BigEndian.AppendUint32(out, uint32(len(r)/2)), r...)
	}
	return out
}

// square is a ring about a middle; clockwise, as the format has shells, unless
// turned.
func square(x, y, half float64, turned bool) []orb.Point {
	ring := []orb.Point{{x - half, y - half}, {x - half, y + half}, {x + half, y + half}, {x + half, y - half}, {x - half, y - half}}
	if turned {
		slices.Reverse(ring)
	}
	return ring
}

// "Polygon" of the technical description: shells are clockwise, holes the other
// way, in any order. What to make of files that break it is our own choice.
func TestRingsAreGrouped(t *testing.T) {
	const hole, shell = true, false
	tests := []struct {
		name    string
		rings   [][]orb.Point
		want    string // half widths: shells, their holes in brackets
		departs bool
	}{
		{"a shell", [][]orb.Point{square(0, 0, 5, shell)}, "5", false},
		{"a shell that turns like a hole", [][]orb.Point{square(0, 0, 5, hole)}, "5", true},
		{"a hole before its shell", [][]orb.Point{square(0, 0, 2, hole), square(0, 0, 5, shell)}, "5[2]", false},
		{"the smallest shell around", [][]orb.Point{square(0, 0, 9, shell), square(0, 0, 1, hole), square(0, 0, 5, shell), square(0, 0, 7, hole)}, "9[7] 5[1]", false},
		{"two shells and their holes", [][]orb.Point{square(0, 0, 5, shell), square(20, 0, 5, shell), square(20, 0, 2, hole), square(0, 0, 3, hole)}, "5[3] 5[2]", false},
		{"a hole that touches its shell at a corner", [][]orb.Point{square(0, 0, 5, shell), square(3, 3, 2, hole)}, "5[2]", false},
		{"a hole in no shell", [][]orb.Point{square(0, 0, 5, shell), square(20, 0, 2, hole)}, "5 2", true},
		{"all the wrong way round", [][]orb.Point{square(0, 0, 5, hole), square(0, 0, 2, shell)}, "5[2]", true},
		{"all like holes", [][]orb.Point{square(0, 0, 5, hole), square(0, 0, 4, hole), square(0, 0, 3, hole), square(0, 0, 2, hole)}, "5[4] 3[2]", true},
		{"twice the same hole", [][]orb.Point{square(0, 0, 5, hole), square(0, 0, 5, hole)}, "5 5", true},
		{"without ground", [][]orb.Point{{{1, 1}, {1, 1}, {1, 1}, {1, 1}}, square(0, 0, 5, shell)}, "0 5", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r, err := OpenShape(context.Background(), "a.shp", mainFile(5, record(5, tt.rings...)), wire.Options{})
			if err != nil {
				t.Fatal(err)
			}
			features, _, err := drain(r)
			if err != nil {
				t.Fatal(err)
			}
			polygons, ok := features[0].Geometry.Flat.(orb.MultiPolygon)
			if !ok {
				polygons = orb.MultiPolygon{features[0].Geometry.Flat.(orb.Polygon)}
			}
			var got []string
			for _, p := range polygons {
				s := fmt.Sprint((p[0].Bound().Max[0] - p[0].Bound().Min[0]) / 2)
				for i, h := range p[1:] {
					s += map[bool]string{true: "[", false: " "}[i == 0] + fmt.Sprint((h.Bound().Max[0]-h.Bound().Min[0])/2)
				}
				if len(p) > 1 {
					s += "]"
				}
				got = append(got, s)
				for i, ring := range p {
					if area := signedArea(ring); (area < 0) != (i > 0) && area != 0 {
						t.Errorf("ring %d of %v turns the wrong way", i, p)
					}
				}
			}
			if s := strings.Join(got, " "); s != tt.want {
				t.Errorf("got %s, want %s", s, tt.want)
			}
			if (len(features[0].Departures) > 0) != tt.departs {
				t.Errorf("departures %v, want some: %v", features[0].Departures, tt.departs)
			}
		})
	}
}

func TestOpenShapeRefuses(t *testing.T) {
	good := record(5, square(0, 0, 5, false))
	with := func(at int, v uint32) []byte {
		c := bytes.Clone(good)
		binary.LittleEndian.PutUint32(c[at:], v)
		return c
	}
	cut := mainFile(5, good, good)
	tests := []struct {
		name    string
		data    []byte
		rule    wire.Rule
		feature int
		byteAt  int64
	}{
		{"nothing", nil, wire.RuleTruncated, 0, 0},
		{"half a header", mainFile(5)[:50], wire.RuleTruncated, 0, 50},
		{"something else", make([]byte, 200), RuleHeader, 0, 0},
		{"multipatch", mainFile(31, good), RuleMultiPatch, 0, 32},
		{"a type there is none of", mainFile(7, good), RuleType, 0, 32},
		{"cut in the second record", cut[:len(cut)-1], wire.RuleTruncated, 2, int64(headerLength + recordHeader + len(good))},
		{"cut in a record's header", cut[:headerLength+recordHeader+len(good)+5], wire.RuleTruncated, 2, int64(headerLength + recordHeader + len(good))},
		{"a record of a type there is none of", mainFile(5, good, with(0, 6)), RuleType, 2, int64(headerLength + recordHeader + len(good))},
		{"a multipatch record", mainFile(5, with(0, 31)), RuleMultiPatch, 1, headerLength},
		{"four billion points", mainFile(5, with(40, math.MaxUint32)), RuleRecord, 1, headerLength},
		{"four billion parts", mainFile(5, with(36, math.MaxUint32)), RuleRecord, 1, headerLength},
		{"a part that begins behind the points", mainFile(5, with(44, 6)), RuleRecord, 1, headerLength},
		{"no parts but points", mainFile(5, with(36, 0)), RuleRecord, 1, headerLength},
		{"heights that are not there", mainFile(15, with(0, 15)), RuleRecord, 1, headerLength},
		{"a record of two bytes", mainFile(5, []byte{5, 0}), RuleRecord, 1, headerLength},
		{"a record of none", append(mainFile(5, []byte{}), 1, 2, 3, 4, 5, 6, 7, 8), RuleRecord, 1, headerLength},
		{"not a number", mainFile(5, append(good[:48:48], appendFloats(nil, math.NaN(), 1, 2, 3, 4, 5, 6, 7, 8, 9)...)), RuleCoordinate, 1, headerLength},
		{"infinite", mainFile(1, appendFloats([]byte{1, 0, 0, 0}, math.Inf(1), 1)), RuleCoordinate, 1, headerLength},
		{"a point cut short", mainFile(1, appendFloats([]byte{1, 0, 0, 0}, 1)), RuleRecord, 1, headerLength},
		{"a line of one point", mainFile(3, record(3, []orb.Point{{1, 2}})), wire.RuleShortLine, 1, headerLength},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r, err := OpenShape(context.Background(), "a.shp", tt.data, wire.Options{})
			if err == nil {
				_, _, err = drain(r)
			}
			e, ok := wire.As(err)
			if !ok || e.Rule != tt.rule || e.Feature != tt.feature || e.Byte != tt.byteAt || e.Entry != "a.shp" {
				t.Errorf("got %#v, want rule %s, feature %d, byte %d", err, tt.rule, tt.feature, tt.byteAt)
			}
		})
	}
}

func TestOpenShapeReads(t *testing.T) {
	le := func(kind byte, values ...float64) []byte { return appendFloats([]byte{kind, 0, 0, 0}, values...) }
	points := func(kind byte, n byte, values ...float64) []byte {
		return appendFloats(append(appendFloats([]byte{kind, 0, 0, 0}, 0, 0, 0, 0), n, 0, 0, 0), values...)
	}
	nan := math.NaN()
	tests := []struct {
		name     string
		content  []byte
		shape    orb.Geometry
		heights  []float64
		measures []float64
	}{
		{"null among others", le(0), nil, nil, nil},
		{"point", le(1, 1, 2), orb.Point{1, 2}, nil, nil},
		{"point Z without M", le(11, 1, 2, 3), orb.Point{1, 2}, []float64{3}, nil},
		{"point Z", le(11, 1, 2, 3, 1.7e9), orb.Point{1, 2}, []float64{3}, []float64{1.7e9}},
		{"point Z without data", le(11, 1, 2, 3, -1e39), orb.Point{1, 2}, []float64{3}, nil},
		{"point M", le(21, 1, 2, 1.7e9), orb.Point{1, 2}, nil, []float64{1.7e9}},
		{"point M of miles", le(21, 1, 2, 12.5), orb.Point{1, 2}, nil, nil},
		{"points", points(8, 2, 1, 2, 3, 4), orb.MultiPoint{{1, 2}, {3, 4}}, nil, nil},
		{"no points", points(8, 0), nil, nil, nil},
		{"points Z without M", points(18, 2, 1, 2, 3, 4, 0, 0, 5, 6), orb.MultiPoint{{1, 2}, {3, 4}}, []float64{5, 6}, nil},
		{"points M", points(28, 2, 1, 2, 3, 4, 0, 0, 1.7e9, nan), orb.MultiPoint{{1, 2}, {3, 4}}, nil, []float64{1.7e9, nan}},
		{"points M without M", points(28, 1, 1, 2), orb.MultiPoint{{1, 2}}, nil, nil},
		{"line with an empty part", record(3, []orb.Point{{1, 2}, {3, 4}}, nil, []orb.Point{{5, 6}, {7, 8}}), orb.MultiLineString{{{1, 2}, {3, 4}}, {{5, 6}, {7, 8}}}, nil, nil},
		{"line M", appendFloats(record(23, []orb.Point{{1, 2}, {3, 4}}), 0, 0, 1.7e9, 1.8e9), orb.LineString{{1, 2}, {3, 4}}, nil, []float64{1.7e9, 1.8e9}},
		{"ring left open", record(5, square(0, 0, 1, false)[:4]), orb.Polygon{{{1, -1}, {1, 1}, {-1, 1}, {-1, -1}}}, nil, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			data := append(mainFile(int32(tt.content[0]), le(1, 9, 9), tt.content), make([]byte, 30)...) // filled up
			r, err := OpenShape(context.Background(), "a.shp", data, wire.Options{})
			if err != nil {
				t.Fatal(err)
			}
			features, _, err := drain(r)
			if err != nil || len(features) != 2 {
				t.Fatalf("%d features, %v", len(features), err)
			}
			g := features[1].Geometry
			if !reflect.DeepEqual(g.Flat, tt.shape) || fmt.Sprint(g.Heights, g.Measures) != fmt.Sprint(tt.heights, tt.measures) {
				t.Errorf("got %v %v %v, want %v %v %v", g.Flat, g.Heights, g.Measures, tt.shape, tt.heights, tt.measures)
			}
		})
	}
}

func TestOpenLimits(t *testing.T) {
	good := record(5, square(0, 0, 5, false))
	data := mainFile(5, good, good, good)
	tests := []struct {
		name    string
		limits  wire.Limits
		rule    wire.Rule
		feature int
	}{
		{"features", wire.Limits{Features: 2}, wire.RuleFeatures, 3},
		{"corners", wire.Limits{Vertices: 14}, wire.RuleVertices, 3},
		{"bytes", wire.Limits{Bytes: 100}, wire.RuleBytes, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := OpenShape(context.Background(), "a.shp", data, wire.Options{Limits: tt.limits})
			if e, ok := wire.As(err); !ok || e.Rule != tt.rule || e.Feature != tt.feature {
				t.Errorf("got %v, want rule %s, feature %d", err, tt.rule, tt.feature)
			}
		})
	}
	// Limits hold over all layers.
	two := packed(t, map[string][]byte{"a.shp": data, "b.shp": data})
	if _, err := Open(context.Background(), two, wire.Options{Limits: wire.Limits{Vertices: 29}}); !is(err, wire.RuleVertices) {
		t.Errorf("two layers: %v, want rule %s", err, wire.RuleVertices)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r, err := OpenShape(ctx, "a.shp", data, wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	if _, err := r.Next(); !errors.Is(err, context.Canceled) {
		t.Errorf("Next = %v after the context ended", err)
	}
}

// Many rings in many rings must not hold the reader up beyond its context.
func TestManyRingsEndWithTheContext(t *testing.T) {
	var rings [][]orb.Point
	for i := range 40_000 {
		rings = append(rings, square(0, 0, float64(40_000-i), i%2 == 1))
	}
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	start := time.Now()
	r, err := OpenShape(ctx, "a.shp", mainFile(5, record(5, rings...)), wire.Options{})
	if err == nil {
		_, _, err = drain(r)
	}
	if took := time.Since(start); took > 2*time.Second {
		t.Errorf("took %v with a deadline of 50 ms: %v", took, err)
	}
}

// Two rings that share nearly all their corners must not take the square of them.
func TestLongRingsAlongEachOther(t *testing.T) {
	const n = 200_000
	shell := make([]orb.Point, 0, n+1)
	for i := range n {
		a := -2 * math.Pi * float64(i) / n
		shell = append(shell, orb.Point{math.Cos(a), math.Sin(a)})
	}
	shell = append(shell, shell[0])
	hole := slices.Delete(slices.Clone(shell), n/2, n/2+1)
	slices.Reverse(hole)
	start := time.Now()
	r, err := OpenShape(context.Background(), "a.shp", mainFile(5, record(5, shell, hole)), wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	features, _, err := drain(r)
	if err != nil || len(features[0].Geometry.Flat.(orb.Polygon)) != 2 {
		t.Errorf("got %d features, %v; want a shell with a hole", len(features), err)
	}
	if took := time.Since(start); took > 2*time.Second {
		t.Errorf("took %v", took)
	}
}

func TestIndexAndTable(t *testing.T) {
	base := unpacked(t, file(t, cases+"V062-shp-latin1-cpg.zip")) // two blocks with a .cpg
	change := func(f func(map[string][]byte)) []byte {
		files := map[string][]byte{}
		for name, data := range base {
			files[name] = bytes.Clone(data)
		}
		f(files)
		return packed(t, files)
	}
	names := func(all []wire.Feature) string {
		var out []string
		for _, f := range all {
			out = append(out, strings.TrimSuffix(strings.SplitN(described(f), ":", 2)[0], ":"))
		}
		return strings.Join(out, "|")
	}
	const both = "Côte d'été|Señal nº 2"
	tests := []struct {
		name  string
		files func(map[string][]byte)
		want  string
		rule  wire.Rule // of the error
		notes []wire.Rule
	}{
		{"as it is", func(map[string][]byte) {}, both, "", nil},
		{"no index", func(f map[string][]byte) { delete(f, "blocks.shx") }, both, "", nil},
		{"an index cut short", func(f map[string][]byte) { f["blocks.shx"] = f["blocks.shx"][:108] }, both, "", []wire.Rule{RuleIndex}},
		{"an index of nothing", func(f map[string][]byte) { f["blocks.shx"] = nil }, both, "", []wire.Rule{RuleIndex}},
		{"a record written anew at the end", func(f map[string][]byte) {
			// As programs do that change the first shape in place: its old record
			// stays, the index points at the new one.
			shx, shp := f["blocks.shx"], f["blocks.shp"]
			first := 2 * binary.BigEndian.Uint32(shx[100:])
			length := recordHeader + 2*binary.BigEndian.Uint32(shx[104:])
			binary.BigEndian.PutUint32(shx[100:], uint32(len(shp)/2))
			f["blocks.shp"] = append(shp, shp[first:first+length]...)
		}, both, "", nil},
		{"an index in another order", func(f map[string][]byte) {
			// The records' own numbers say 1, 2 in the order of the .shp, and the
			// table's rows are in that order ("Record Headers").
			shx := f["blocks.shx"]
			f["blocks.shx"] = slices.Concat(shx[:100], shx[108:116], shx[100:108])
		}, both, "", []wire.Rule{RuleIndex}},
		{"a row marked as deleted", func(f map[string][]byte) { f["blocks.dbf"][97] = '*' }, "Señal nº 2", "", []wire.Rule{RuleDeleted}},
		{"a row less", func(f map[string][]byte) {
			d := f["blocks.dbf"]
			binary.LittleEndian.PutUint32(d[4:], 1)
			f["blocks.dbf"] = d[:97+27]
		}, "", RuleCount, nil},
		{"a row more", func(f map[string][]byte) {
			d := f["blocks.dbf"]
			binary.LittleEndian.PutUint32(d[4:], 3)
			f["blocks.dbf"] = append(d[:len(d)-1], d[97:97+27]...)
		}, "", RuleCount, nil},
		{"a table that states no rows", func(f map[string][]byte) { binary.LittleEndian.PutUint32(f["blocks.dbf"][4:], 0) }, both, "", nil},
		{"a table that states a billion rows", func(f map[string][]byte) { binary.LittleEndian.PutUint32(f["blocks.dbf"][4:], 1<<30) }, both, "", nil},
		{"a table cut short", func(f map[string][]byte) { f["blocks.dbf"] = f["blocks.dbf"][:110] }, "", wire.RuleTruncated, nil},
		{"a table cut in its header", func(f map[string][]byte) { f["blocks.dbf"] = f["blocks.dbf"][:40] }, "", wire.RuleTruncated, nil},
		{"columns wider than the row", func(f map[string][]byte) { f["blocks.dbf"][32+16] = 255 }, "", RuleTable, nil},
		{"rows of no bytes", func(f map[string][]byte) { f["blocks.dbf"][10] = 0 }, "", RuleTable, nil},
		{"no .cpg", func(f map[string][]byte) { delete(f, "blocks.cpg") }, both, "", []wire.Rule{RuleEncoding}},
		{"no .cpg but a driver", func(f map[string][]byte) { delete(f, "blocks.cpg"); f["blocks.dbf"][29] = 0x57 }, both, "", nil},
		{"a .cpg that nobody knows", func(f map[string][]byte) { f["blocks.cpg"] = []byte("Klingon") }, both, "", []wire.Rule{RuleEncoding}},
		{"a .cpg that says UTF-8 wrongly", func(f map[string][]byte) { f["blocks.cpg"] = []byte("UTF-8") }, both, "", []wire.Rule{RuleEncoding}},
		{"a .cpg that says Latin 1 of UTF-8", func(f map[string][]byte) {
			f["blocks.cpg"] = []byte("ISO-8859-1")
			d := f["blocks.dbf"]
			copy(d[98:], "Côte d'été")
			copy(d[98+27:], "Señal nº 2")
		}, both, "", []wire.Rule{RuleEncoding}},
		{"a .cpg by number", func(f map[string][]byte) { f["blocks.cpg"] = []byte("88591\r\n") }, both, "", nil},
		{"a .cpg of Windows", func(f map[string][]byte) { f["blocks.cpg"] = []byte("ANSI 1252") }, both, "", nil},
		{"UTF-8 without .cpg under another driver", func(f map[string][]byte) {
			delete(f, "blocks.cpg")
			d := f["blocks.dbf"]
			d[29] = 0x57
			copy(d[98:], "Côte d'été")
			copy(d[98+27:], "Señal nº 2")
		}, both, "", nil},
		{"capitals in endings", func(f map[string][]byte) {
			f["BLOCKS.SHP"], f["Blocks.DBF"] = f["blocks.shp"], f["blocks.dbf"]
			delete(f, "blocks.shp")
			delete(f, "blocks.dbf")
		}, both, "", nil},
		{"no shapes at all", func(f map[string][]byte) { clear(f); f["notes.txt"] = nil }, "", RuleNone, nil},
		{"a table by itself", func(f map[string][]byte) { delete(f, "blocks.shp") }, both, "", nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			features, notes, err := read(t, change(tt.files), wire.Options{})
			if tt.rule != "" {
				if e, ok := wire.As(err); !ok || e.Rule != tt.rule {
					t.Errorf("got %v, want rule %s", err, tt.rule)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if got := names(features); got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
			checkRules(t, notes, tt.notes...)
		})
	}
}

// Cells: the dBASE III and IV types of the file format's common description;
// how to write them in JSON is our own choice.
func TestCells(t *testing.T) {
	le := func(v uint64, n int) string { return string(binary.LittleEndian.AppendUint64(nil, v)[:n]) }
	tests := []struct {
		kind byte
		cell string
		want string
		odd  bool
	}{
		{'C', "  a\"b\\\t ", `"a\"b\\\t"`, false},
		{'C', "   ", "null", false},
		{'C', "ab\x00cd", `"ab"`, false},
		{'C', "caf\xc3", `"caf"`, false}, // the field was too short for the letter
		{'C', "caf\xe9 x", `"café x"`, false},
		{'N', "  12", "12", false},
		{'N', "-1.50000", "-1.5", false},
		{'N', "007.0", "7", false},
		{'N', ".5", "0.5", false},
		{'N', "-.5", "-0.5", false},
		{'N', "+5.", "5", false},
		{'N', "1.5e+03", "1.5e+03", false},
		{'N', "123456789012345678901234567890", "123456789012345678901234567890", false},
		{'N', "1e999", `"1e999"`, true},
		{'N', "1,5", `"1,5"`, true},
		{'N', "*****", "null", true},
		{'F', "nan", `"nan"`, true},
		{'N', "-", `"-"`, true},
		{'L', "T", "true", false},
		{'L', "n", "false", false},
		{'L', "?", "null", false},
		{'L', "1", `"1"`, true},
		{'D', "20260504", `"2026-05-04"`, false},
		{'D', "00000000", "null", false},
		{'D', "4 May 26", `"4 May 26"`, true},
		{'I', le(1<<32-5, 4), "-5", false},
		{'B', le(math.Float64bits(-94.4418), 8), "-94.4418", false},
		{'Y', le(1<<64-12500, 8), "-1.25", false},
		{'T', le(2461165|43200000<<32, 8), `"2026-05-04T12:00:00"`, false}, // Julian day of 4 May 2026
	}
	for _, tt := range tests {
		t.Run(string(tt.kind)+tt.cell, func(t *testing.T) {
			header := make([]byte, 65)
			binary.LittleEndian.PutUint32(header[4:], 1)
			binary.LittleEndian.PutUint16(header[8:], 65)
			binary.LittleEndian.PutUint16(header[10:], uint16(1+len(tt.cell)))
			copy(header[32:], "X")
			header[32+11], header[32+16], header[64] = tt.kind, byte(len(tt.cell)), headerEnd
			table, err := openTable("a.dbf", append(header, " "+tt.cell...), []byte("UTF-8"))
			if err != nil {
				t.Fatal(err)
			}
			got := string(table.appendProperties(nil, table.row(0), 1))
			if want := `{"X":` + tt.want + "}"; got != want {
				t.Errorf("%c %q = %s, want %s", tt.kind, tt.cell, got, want)
			}
			if (len(table.odd) > 0) != tt.odd {
				t.Errorf("%c %q noted: %v", tt.kind, tt.cell, table.odd)
			}
		})
	}
}

// Names of columns are repeated in every feature: 2,000 columns of one byte
// must not make gigabytes of a small file.
func TestNarrowColumnsAreBounded(t *testing.T) {
	const columns, rows = 2000, 10_000
	d := make([]byte, tableHeader, tableHeader+descriptor*columns+1+rows*(columns+1))
	binary.LittleEndian.PutUint32(d[4:], rows)
	binary.LittleEndian.PutUint16(d[8:], tableHeader+descriptor*columns+1)
	binary.LittleEndian.PutUint16(d[10:], columns+1)
	for i := range columns {
		c := make([]byte, descriptor)
		copy(c, fmt.Sprintf("COLUMN%04d", i))
		c[11], c[16] = 'C', 1
		d = append(d, c...)
	}
	d = append(d, headerEnd)
	d = append(d, bytes.Repeat([]byte(" "), rows*(columns+1))...)
	_, _, err := read(t, packed(t, map[string][]byte{"a.dbf": d}), wire.Options{Limits: wire.Limits{Unpacked: 32 << 20, Ratio: 2000}})
	if !is(err, archive.RuleUnpacked) {
		t.Errorf("got %v, want rule %s", err, archive.RuleUnpacked)
	}
}

func TestColumnNames(t *testing.T) {
	files := unpacked(t, file(t, cases+"V060-shp-no-prj-degrees.zip"))
	d := files["blocks.dbf"]
	copy(d[64:], "NAME\x00\x00\x00")
	features, notes, err := read(t, packed(t, files), wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := string(features[0].Properties), `{"NAME":"A1","NAME_1":12}`; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	checkRules(t, notes, RuleRepeated)
	d[64+11] = 'M'
	features, notes, err = read(t, packed(t, files), wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := string(features[0].Properties), `{"NAME":"A1"}`; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	checkRules(t, notes, RuleColumn)
}
