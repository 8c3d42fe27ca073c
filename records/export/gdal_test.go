//go:build gdal

package export_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"testing"

	"encoding/json"

	"caneward/geo/measure"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/export"
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
func gdalFeatures(t *testing.T, path, layer string, options ...string) []wire.Feature {
	t.Helper()
	args := append([]string{"-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=15"}, options...)
	// 1: our own reader, strict but for what GDAL leaves out of the standard.
	data := gdal(t, "ogr2ogr", append(args, "/vsistdout/", path, layer)...)
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
	path    func(file string) string
	options []string
	skip    map[string]bool // layers that repeat what stands in others
	placed  bool            // records without a place are not features there
}

var gdalForms = map[string]gdalForm{
	"geojson": {},
	"gpkg":    {},
	"kml":     {},
	"kmz":     {},
}

func nameOf(raw json.RawMessage) any {
	var p map[string]any
	if json.Unmarshal(raw, &p) != nil {
		return nil
	}
	for _, key := range []string{"name", "Name"} {
		if s, ok := p[key].(string); ok && s != "" {
			return s
		}
	}
	return nil
}

func idOf(f wire.Feature) string {
	var p map[string]any
	if f.ID == "" && json.Unmarshal(f.Properties, &p) == nil {
		id, _ := p["id"].(string)
		return id
	}
	return f.ID
}

// Every record of the demo farm is there for GDAL in every format: as many, of
// the same names, on the same ground.
func TestGDALReadsOurExports(t *testing.T) {
	store, err := demo()
	must(t, err)
	want := current(t, store, "demo")
	byKind := map[records.Kind][]string{}
	for p := range want {
		byKind[p.kind] = append(byKind[p.kind], p.id)
	}
	for _, ids := range byKind {
		sort.Strings(ids)
	}
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
			seen := map[string]bool{}
			for _, layer := range gdalLayers(t, path) {
				if form.skip[layer] {
					continue
				}
				for i, got := range gdalFeatures(t, path, layer, form.options...) {
					id, kind := idOf(got), records.Kind(layer)
					if id == "" { // no id in this format for GDAL: the order stands in for it
						if i >= len(byKind[kind]) {
							t.Errorf("%s: feature %d is one too many", layer, i+1)
							continue
						}
						id = byKind[kind][i]
					}
					if seen[id] {
						t.Errorf("%s: %s comes twice", layer, id)
					}
					seen[id] = true
					checkGDAL(t, want, id, got)
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

func checkGDAL(t *testing.T, want map[place]records.Record, id string, got wire.Feature) {
	t.Helper()
	for p, rec := range want {
		if p.id != id {
			continue
		}
		if w, g := nameOf(rec.Properties), nameOf(got.Properties); w != g {
			t.Errorf("%s %s: name %v, want %v", p.kind, id, g, w)
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
		w, g := float64(measure.Area(rec.Geometry.Flat)), float64(measure.Area(got.Geometry.Flat))
		if math.Abs(w-g) > areaNear*w {
			t.Errorf("%s %s: area %v m2, want %v", p.kind, id, g, w)
		}
		if err := samePlace(form{}, rec.Geometry, got.Geometry); err != nil {
			t.Errorf("%s %s: %v", p.kind, id, err)
		}
		return
	}
	t.Errorf("there is no record %s: %s", id, got.Properties)
}
