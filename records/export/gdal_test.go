//go:build gdal

package export_test

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/export"

	"github.com/paulmach/orb"
)

// These tests hold our files against GDAL (its command line tools, Debian's
// gdal-bin), the library most general GIS programs read and write with.

// gdal runs one of its tools and gives what it prints.
func gdal(t *testing.T, tool string, args ...string) []byte {
	t.Helper()
	if _, err := exec.LookPath(tool); err != nil {
		t.Fatalf("%s is not on this machine: install the package gdal-bin", tool)
	}
	cmd := exec.Command(tool, args...)
	var out, talk bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &talk
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %s: %v\n%s", tool, strings.Join(args, " "), err, talk.Bytes())
	}
	if bytes.Contains(talk.Bytes(), []byte("ERROR")) {
		t.Errorf("%s %s says\n%s", tool, strings.Join(args, " "), talk.Bytes())
	}
	return out.Bytes()
}

var layerLine = regexp.MustCompile(`(?m)^\d+: (.+?)(?: \((?:None|(?:3D )?(?:Measured )?(?:Multi |Geometry )?(?:Point|Line String|Polygon|Collection))\))?$`)

func gdalLayers(t *testing.T, path string) (names []string) {
	t.Helper()
	for _, m := range layerLine.FindAllStringSubmatch(string(gdal(t, "ogrinfo", "-q", "-so", path)), -1) {
		names = append(names, m[1])
	}
	if len(names) == 0 {
		t.Fatalf("GDAL finds no layer in %s", path)
	}
	return names
}

// gdalFeatures is a layer as GDAL reads it, taken over GeoJSON.
func gdalFeatures(t *testing.T, path, layer string) []wire.Feature {
	t.Helper()
	data := gdal(t, "ogr2ogr", "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=15", "/vsistdout/", path, layer)
	src, err := wire.NewFeatureReader(bytes.NewReader(data), wire.Options{Lenient: true})
	must(t, err)
	var features []wire.Feature
	for {
		f, err := src.Next()
		if errors.Is(err, io.EOF) {
			return features
		}
		must(t, err)
		features = append(features, f)
	}
}

// gdalForm is what the test has to know of how GDAL sees one of our formats.
type gdalForm struct {
	path   func(file string) string
	skip   []string // layers that repeat what stands in others
	placed bool     // records without a place are not features there
	ways   bool     // areas are the ways round them
	// kind is a feature's kind where the layer does not tell; records of a kind
	// then stand there points first.
	kind func(wire.Feature) records.Kind
}

var gdalForms = map[string]gdalForm{
	"geojson": {},
	"gpkg":    {},
	"kml":     {},
	"kmz":     {},
	"zip":     {path: func(file string) string { return "/vsizip/" + file }},
	"csv":     {},
	"gpx": {skip: []string{"route_points", "track_points"}, placed: true, ways: true,
		kind: func(f wire.Feature) records.Kind { return records.Kind(textOf(f.Properties, "type")) }},
}

func textOf(raw json.RawMessage, names ...string) string {
	var p map[string]any
	if json.Unmarshal(raw, &p) != nil {
		return ""
	}
	for _, name := range names {
		if s, ok := p[name].(string); ok && s != "" {
			return s
		}
	}
	return ""
}

func idOf(f wire.Feature) string {
	if f.ID != "" {
		return f.ID
	}
	return textOf(f.Properties, "id")
}

// Every record of the demo farm is there for GDAL in every format: as many, of
// the same names, on the same ground.
func TestGDALReadsOurExports(t *testing.T) {
	store, err := demo()
	must(t, err)
	want := current(t, store, "demo")
	for _, f := range export.Formats {
		t.Run(f.Ending, func(t *testing.T) {
			form, known := gdalForms[f.Ending]
			if !known {
				t.Fatalf("how GDAL sees %s stands nowhere in this test", f.Ending)
			}
			path := filepath.Join(t.TempDir(), "farm."+f.Ending)
			must(t, os.WriteFile(path, written(t, store, "demo", f), 0o600))
			if form.path != nil {
				path = form.path(path)
			}
			waiting := inOrder(want, form)
			seen := map[string]bool{}
			for _, layer := range gdalLayers(t, path) {
				if slices.Contains(form.skip, layer) {
					continue
				}
				for _, got := range gdalFeatures(t, path, layer) {
					id, kind := idOf(got), records.Kind(layer)
					if form.kind != nil {
						kind = form.kind(got)
					}
					if id == "" { // GDAL sees no id in this format: the order stands in for it
						if len(waiting[kind]) == 0 {
							t.Errorf("%s: one too many of %s: %s", layer, kind, got.Properties)
							continue
						}
						id, waiting[kind] = waiting[kind][0], waiting[kind][1:]
					}
					if seen[id] {
						t.Errorf("%s: %s comes twice", layer, id)
					}
					seen[id] = true
					checkGDAL(t, form, want, id, got)
				}
			}
			for p, rec := range want {
				if !seen[p.id] && !(form.placed && rec.Geometry.Empty()) {
					t.Errorf("%s %s is missing", p.kind, p.id)
				}
			}
		})
	}
}

// inOrder lists the ids of each kind as a format has them.
func inOrder(want map[place]records.Record, form gdalForm) map[records.Kind][]string {
	out := map[records.Kind][]string{}
	for p, rec := range want {
		if !form.placed || !rec.Geometry.Empty() {
			out[p.kind] = append(out[p.kind], p.id)
		}
	}
	for kind, ids := range out {
		rank := func(id string) int {
			if _, point := want[place{kind, id}].Geometry.Flat.(orb.Point); point || form.kind == nil {
				return 0
			}
			return 1
		}
		slices.SortFunc(ids, func(a, b string) int { return cmp.Or(rank(a)-rank(b), strings.Compare(a, b)) })
	}
	return out
}

func checkGDAL(t *testing.T, form gdalForm, want map[place]records.Record, id string, got wire.Feature) {
	t.Helper()
	for p, rec := range want {
		if p.id != id {
			continue
		}
		if w, g := textOf(rec.Properties, "name"), textOf(got.Properties, "name", "Name"); w != g {
			t.Errorf("%s %s: name %q, want %q", p.kind, id, g, w)
		}
		if rec.Geometry.Empty() != got.Geometry.Empty() {
			t.Errorf("%s %s: a place came or went", p.kind, id)
			return
		}
		if rec.Geometry.Empty() {
			return
		}
		if w, g := wire.Vertices(rec.Geometry.Flat), wire.Vertices(got.Geometry.Flat); w != g {
			t.Errorf("%s %s: %d positions, want %d", p.kind, id, g, w)
		}
		if form.ways {
			rec.Geometry.Flat = asWays(rec.Geometry.Flat)
		}
		if w, g := areaOf(rec.Geometry.Flat), areaOf(got.Geometry.Flat); !sameArea(g, w) {
			t.Errorf("%s %s: area %v m2, want %v", p.kind, id, g, w)
		}
		if err := samePlace(roundTrip{}, rec.Geometry, got.Geometry); err != nil {
			t.Errorf("%s %s: %v", p.kind, id, err)
		}
		return
	}
	t.Errorf("there is no record %s: %s", id, got.Properties)
}

// asWays is an area as the ways round it.
func asWays(g orb.Geometry) orb.Geometry {
	area, ok := normal(g).(orb.MultiPolygon)
	if !ok {
		return g
	}
	var ways orb.MultiLineString
	for _, p := range area {
		for _, r := range p {
			ways = append(ways, orb.LineString(r))
		}
	}
	return ways
}
