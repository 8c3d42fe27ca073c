package intake

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

func read(t *testing.T, text, name string) Proposal {
	t.Helper()
	p, err := Read(context.Background(), strings.NewReader(text), name, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const outlineRing = `[[-94.4418,36.3127],[-94.4401501,36.3127541],[-94.4401055,36.3136103],[-94.4411311,36.3137635],[-94.4418446,36.3135653],[-94.4418,36.3127]]`

func feature(properties string) string {
	return `{"type":"Feature","properties":` + properties + `,"geometry":{"type":"Polygon","coordinates":[` + outlineRing + `]}}`
}

func collection(features ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`
}

// Formats are told apart by content, whatever the name says.
func TestFormats(t *testing.T) {
	for _, c := range []struct{ name, text, file, format string }{
		{"KML", `<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"/>`, "a.geojson", "KML"},
		{"GPX", `<?xml version="1.0"?><gpx version="1.1"/>`, "a.xml", "GPX"},
		{"a damaged ZIP", "PK\x03\x04rest", "a.geojson", "ZIP"},
		{"CSV", "row,plant\n1,2\n", "a.txt", "CSV"},
		{"CSV in UTF-16", "\xff\xfer\x00;\x00p\x00\n\x00", "a.csv", "CSV"},
		{"WKT", "POINT (1 2)", "a.txt", "WKT"},
	} {
		if p := read(t, c.text, c.file); p.Format != c.format {
			t.Errorf("%s: read as %q; want %s", c.name, p.Format, c.format)
		}
	}
	for _, c := range []struct{ name, text, file, says string }{
		{"page", "\n<HTML><body>", "a.geojson", "web page"},
		{"prose", "hello there", "a.txt", "GeoJSON"},
		{"other XML", "<svg/>", "a.svg", "GeoJSON"},
	} {
		p := read(t, c.text, c.file)
		if p.Outcome != Reject || !fault.Is(p.Refusal(), fault.Unsupported) || !strings.Contains(p.Errors[0].Text.String(), c.says) {
			t.Errorf("%s: %s, %v; want a refusal naming %s", c.name, p.Outcome, p.Refusal(), c.says)
		}
	}
}

func TestRead(t *testing.T) {
	for _, c := range []struct {
		name, text string
		outcome    Outcome
		blocks     int
		says       string // a notice or error
	}{
		{"mark alone", "\xEF\xBB\xBF", Reject, 0, "empty"},
		{"blank", " \n ", Reject, 0, "empty"},
		{"list", `[1,2]`, Reject, 0, "object"},
		{"unknown type", `{"type":"Topology","objects":{}}`, Reject, 0, "Topology"},
		{"no type", `{"a":1}`, Reject, 0, "no type"},
		{"one good, one crossing: as a whole it is refused", collection(feature(`{"name":"A"}`), `{"type":"Feature","properties":{"name":"B"},"geometry":{"type":"Polygon","coordinates":[[[0,0],[0.001,0.001],[0.001,0],[0,0.001],[0,0]]]}}`), Reject, 1, "cross"},
		{"name in other letters", feature(`{"NAME":"A"}`), Accept, 1, ""},
		{"name a number", feature(`{"name":12}`), Accept, 1, ""},
		{"name blank", feature(`{"name":"  "}`), Accept, 1, "no name"},
		{"properties of ours at fault", feature(`{"name":"A","row_spacing_m":-3}`), Accept, 1, "row_spacing_m"},
		{"NAD 83", `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"EPSG:4269"}},"features":[` + feature(`{"name":"A"}`) + `]}`, Accept, 1, "EPSG:4269"},
		{"system of a feature", collection(`{"type":"Feature","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG:6.9:3857"}},"properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[-10513000,4341000]}}`), Repair, 0, "EPSG:3857"},
		{"system of a geometry", collection(`{"type":"Feature","properties":{"name":"A"},"geometry":{"crs":{"type":"name","properties":{"name":"EPSG:3857"}},"type":"Point","coordinates":[-10513000,4341000]}}`), Repair, 0, "EPSG:3857"},
		{"system not read here", `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"EPSG:27700"}},"features":[]}`, Reject, 0, "British National Grid"},
		{"system that is no object", `{"type":"FeatureCollection","crs":"EPSG:3857","features":[]}`, Reject, 0, "EPSG:3857"},
		{"system null", `{"type":"FeatureCollection","crs":null,"features":[` + feature(`{"name":"A"}`) + `]}`, Accept, 1, ""},
		{"same id twice", collection(`{"type":"Feature","id":7,"properties":{"name":"A"},"geometry":null}`, `{"type":"Feature","id":7,"properties":{"name":"B"},"geometry":null}`), Accept, 0, "same id"},
		{"two blocks on one spot", collection(feature(`{"name":"A"}`), feature(`{"name":"B"}`)), Accept, 2, "16092.24 m2"},
		{"UTF-16 without a mark", "{\x00}\x00", Reject, 0, "no type"},
	} {
		p := read(t, c.text, "x.geojson")
		text := spoken(t, p.JSON(words.English))
		if p.Outcome != c.outcome || len(p.Blocks) != c.blocks || !strings.Contains(text, strings.ToLower(c.says)) {
			t.Errorf("%s: %s, %d blocks, %s; want %s, %d, %q", c.name, p.Outcome, len(p.Blocks), text, c.outcome, c.blocks, c.says)
		}
		unfilled(t, p, words.Spanish)
	}
}

// A line with times is a track; its length is summed inside segments. One
// degree of longitude on the equator is 111319.4908 m: the semi-major axis
// 6378137 m times pi / 180.
func TestTrack(t *testing.T) {
	p := read(t, collection(`{"type":"Feature","properties":{"name":"run"},"geometry":{"type":"MultiLineString","coordinates":[[[2,0,0,1753000000],[2.001,0,0,1753000010.5]],[[1,0,0,1753000100],[1.001,0,0,1753000110]]]}}`), "t.geojson")
	if len(p.Tracks) != 1 {
		t.Fatalf("%d tracks; want 1", len(p.Tracks))
	}
	got := p.Tracks[0]
	start, end := time.Unix(1753000000, 0).UTC(), time.Unix(1753000110, 0).UTC()
	if got.Name != "run" || got.Points != 4 || got.Segments != 2 || !got.Start.Equal(start) || !got.End.Equal(end) || math.Abs(float64(got.Length)-222.6390) > 0.001 {
		t.Errorf("track %+v; want run, 4 points, 2 segments, %v to %v, 222.639 m", got, start, end)
	}
	if d := p.JSON(words.English).Tracks[0].Duration; d == nil || *d != 110 {
		t.Errorf("duration %v; want 110 s", d)
	}
}

// Shapes of a collection keep their own heights.
func TestCollectionKeepsHeights(t *testing.T) {
	p := read(t, `{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[1,2,7]},{"type":"LineString","coordinates":[[1,2],[1,3,9]]}]}`, "c.geojson")
	if len(p.Rest) != 2 || len(p.Rest[0].Geometry.Heights) != 1 || p.Rest[0].Geometry.Heights[0] != 7 || p.Rest[1].Geometry.Heights[1] != 9 {
		t.Errorf("rest %+v; want a point 7 m high and a line ending at 9 m", p.Rest)
	}
}

func TestErrorsAreBounded(t *testing.T) {
	bad := make([]string, 500)
	for i := range bad {
		bad[i] = `{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[0,99]}}`
	}
	p := read(t, collection(bad...), "x.geojson")
	if got := len(p.Refusal().Details); p.Outcome != Reject || got != mostErrors+2 {
		t.Errorf("%s with %d errors and questions; want reject with %d and whether axes are swapped", p.Outcome, got, mostErrors+1)
	}
}

func TestLimitsAndContext(t *testing.T) {
	text := collection(feature(`{"name":"A"}`))
	p, err := Read(context.Background(), strings.NewReader(text), "x.geojson", Options{Limits: wire.Limits{Bytes: 50}})
	if err != nil || !fault.Is(p.Refusal(), fault.TooLarge) {
		t.Errorf("50 bytes: %v, %v; want TooLarge", p.Refusal(), err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Read(ctx, strings.NewReader(text), "x.geojson", Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v; want context.Canceled", err)
	}
}

// The overlap of V046's blocks is 468.45 m2 by the cases set.
func TestNeighbours(t *testing.T) {
	f, err := os.Open(filepath.Join(cases, "files/V046-neighbours-overlap.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p, err := Read(context.Background(), f, "V046", Options{})
	if err != nil || len(p.Blocks) != 2 {
		t.Fatalf("%v, %d blocks", err, len(p.Blocks))
	}
	second := orb.MultiPolygon{p.Blocks[1].Geometry.Flat.(orb.Polygon)}
	far := orb.MultiPolygon{{{{10, 10}, {10.001, 10}, {10.001, 10.001}, {10, 10}}}}
	got, err := Neighbours(context.Background(), p.Blocks[0].Geometry.Flat, []Neighbour{{ID: "far", Outline: far}, {ID: "second", Outline: second}})
	if err != nil || len(got) != 1 || got[0].Neighbour.ID != "second" || math.Abs(float64(got[0].Area)-468.45) > 0.47 {
		t.Errorf("neighbours %+v, %v; want second with 468.45 m2", got, err)
	}
}

// Every block of a large farm is taken, and no slower than in proportion.
func TestManyBlocks(t *testing.T) {
	var many []string
	for i := range 3000 {
		x, y := float64(i%60)*0.002, float64(i/60)*0.002
		many = append(many, fmt.Sprintf(`{"type":"Feature","properties":{"name":"B%d"},"geometry":{"type":"Polygon","coordinates":[[[%g,%g],[%g,%g],[%g,%g],[%g,%g]]]}}`,
			i, x, y, x+0.001, y, x+0.001, y+0.001, x, y))
	}
	started := time.Now()
	p := read(t, collection(many...), "x.geojson")
	if p.Outcome != Accept || len(p.Blocks) != 3000 {
		t.Errorf("%s, %d blocks, %v", p.Outcome, len(p.Blocks), p.Errors)
	}
	if took := time.Since(started); took > 20*time.Second {
		t.Errorf("took %v", took)
	}
}

func FuzzRead(f *testing.F) {
	entries, err := os.ReadDir(filepath.Join(cases, "files"))
	if err != nil {
		f.Fatal(err)
	}
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(cases, "files", e.Name()))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Read(context.Background(), strings.NewReader(string(data)), "x.geojson", Options{})
		if err != nil {
			t.Fatalf("%q: %v", data, err)
		}
		for _, b := range p.Blocks {
			if !(b.Area >= 0.009 && b.Perimeter > 0) {
				t.Fatalf("%q: block %+v", data, b)
			}
		}
		if p.Refusal() != nil && len(p.Blocks)+len(p.Tracks)+len(p.Rest) > 0 {
			t.Fatalf("%q: refused with shapes", data)
		}
	})
}
