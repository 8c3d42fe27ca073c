//go:build gdal

package export_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"caneward/blocks/intake"
	"caneward/blocks/words"
	"caneward/geo/measure"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// ground is invented outlines about a place, each with a name; every fifth has
// a hole, every seventh two parts.
func ground(lon, lat float64) []wire.Feature {
	var all []wire.Feature
	for i := range 40 {
		west, south := lon+0.004*float64(i%8), lat+0.004*float64(i/8)
		shell := orb.Ring{{west, south}, {west + 0.0031, south + 0.0001*float64(i%3)}, {west + 0.0029, south + 0.0022}, {west + 0.0012, south + 0.0025}, {west - 0.0001, south + 0.0019}, {west, south}}
		shape := orb.Geometry(orb.Polygon{shell})
		switch {
		case i%5 == 4:
			shape = orb.Polygon{shell, turned(ring(west+0.001, south+0.0008, west+0.0015, south+0.0013))}
		case i%7 == 6:
			shape = orb.MultiPolygon{{shell}, {ring(west+0.0005, south+0.003, west+0.002, south+0.0035)}}
		}
		properties := fmt.Sprintf(`{"name":"Zarzal %d, «Ñ» 畑","crop":"blackberry","rows":%d,"spacing_m":3.05,"planted":"2021-04-03"}`, i, i)
		all = append(all, wire.Feature{Geometry: flat(shape), Properties: json.RawMessage(properties)})
	}
	return all
}

// marks are invented points or lines.
func marks(lon, lat float64, shape func(orb.Point) orb.Geometry) []wire.Feature {
	var all []wire.Feature
	for i := range 12 {
		all = append(all, wire.Feature{Geometry: flat(shape(orb.Point{lon + 0.0013*float64(i), lat + 0.0007*float64(i%5)})),
			Properties: json.RawMessage(fmt.Sprintf(`{"name":"Mark %d é"}`, i))})
	}
	return all
}

func aPoint(p orb.Point) orb.Geometry { return p }
func aWay(p orb.Point) orb.Geometry {
	return orb.MultiLineString{{p, {p[0] + 0.001, p[1] + 0.0002}, {p[0] + 0.0015, p[1]}}}
}

// Places of the coordinate systems below; the ground is invented.
var (
	inCarolina = ground(-80.42, 35.87)
	inArkansas = ground(-92.55, 35.12)
)

// GDAL 3.6 names shapefile archives by these endings.
var theirs = []struct {
	name string
	from []wire.Feature
	file string
	args []string
}{
	{"shapefile", inCarolina, "a.shp.zip", []string{"-f", "ESRI Shapefile", "-lco", "ENCODING=UTF-8"}},
	{"shapefile with heights", inCarolina, "a.shp.zip", []string{"-f", "ESRI Shapefile", "-lco", "ENCODING=UTF-8", "-lco", "SHPT=POLYGONZ"}},
	{"shapefile, state plane feet, North Carolina", inCarolina, "a.shp.zip", []string{"-f", "ESRI Shapefile", "-lco", "ENCODING=UTF-8", "-t_srs", "EPSG:2264"}},
	{"shapefile, state plane feet, Arkansas", inArkansas, "a.shp.zip", []string{"-f", "ESRI Shapefile", "-lco", "ENCODING=UTF-8", "-t_srs", "EPSG:3433"}},
	{"shapefile, UTM", inArkansas, "a.shp.zip", []string{"-f", "ESRI Shapefile", "-lco", "ENCODING=UTF-8", "-t_srs", "EPSG:32615"}},
	{"GeoPackage", inCarolina, "a.gpkg", []string{"-f", "GPKG"}},
	{"GeoPackage, UTM", inArkansas, "a.gpkg", []string{"-f", "GPKG", "-t_srs", "EPSG:32615"}},
	{"KML", inCarolina, "a.kml", []string{"-f", "KML", "-dsco", "NameField=name"}},
	{"KML by libkml", inCarolina, "a.kml", []string{"-f", "LIBKML"}},
	{"KMZ by libkml", inCarolina, "a.kmz", []string{"-f", "LIBKML"}},
	{"GeoJSON of 2016", inCarolina, "a.geojson", []string{"-f", "GeoJSON", "-lco", "RFC7946=YES", "-lco", "COORDINATE_PRECISION=13"}},
	{"GeoJSON of 2008", inCarolina, "a.geojson", []string{"-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=13"}},
	{"GeoJSON a line", inCarolina, "a.geojsonl", []string{"-f", "GeoJSONSeq", "-lco", "COORDINATE_PRECISION=13"}},
	{"GeoJSON text sequence", inCarolina, "a.geojsons", []string{"-f", "GeoJSONSeq", "-lco", "RS=YES", "-lco", "COORDINATE_PRECISION=13"}},
	{"CSV with well-known text", inCarolina, "a.csv", []string{"-f", "CSV", "-lco", "GEOMETRY=AS_WKT"}},
}

// proposed takes a file that GDAL made of ours in as anybody's.
func proposed(t *testing.T, from []wire.Feature, file string, args ...string) intake.Proposal {
	t.Helper()
	dir := t.TempDir()
	var data bytes.Buffer
	must(t, wire.WriteCollection(context.Background(), &data, wire.Document{Layers: []wire.Layer{{Features: func(yield func(wire.Feature, error) bool) {
		for _, f := range from {
			if !yield(f, nil) {
				return
			}
		}
	}}}}))
	in, out := filepath.Join(dir, "from.geojson"), filepath.Join(dir, file)
	must(t, os.WriteFile(in, data.Bytes(), 0o600))
	gdal(t, "ogr2ogr", append(args, out, in)...)
	f, err := os.Open(out)
	must(t, err)
	defer f.Close()
	p, err := intake.Read(context.Background(), f, file, intake.Options{Zone: "America/Chicago"})
	must(t, err)
	if p.Outcome != intake.Accept {
		said, err := json.Marshal(p.JSON(words.English))
		must(t, err)
		t.Fatalf("%s, want accept: %.1500s", p.Outcome, said)
	}
	return p
}

// What GDAL writes of outlines comes in whole: as many, of the same names, on
// the same ground.
func TestGDALWritesWhatWeRead(t *testing.T) {
	for _, c := range theirs {
		t.Run(c.name, func(t *testing.T) {
			p := proposed(t, c.from, c.file, c.args...)
			if len(p.Blocks) != len(c.from) {
				t.Fatalf("%d blocks, want %d", len(p.Blocks), len(c.from))
			}
			for i, f := range c.from {
				got, name := p.Blocks[i], textOf(f.Properties, "name")
				if got.Name != name {
					t.Errorf("name %q, want %q", got.Name, name)
				}
				if err := samePlace(roundTrip{}, f.Geometry, got.Geometry); err != nil {
					t.Errorf("%s: %v", name, err)
				}
				if want := areaOf(f.Geometry.Flat); !sameArea(float64(got.Area), want) {
					t.Errorf("%s: %.4f m2, want %.4f", name, got.Area, areaOf(f.Geometry.Flat))
				}
			}
		})
	}
}

func TestGDALWritesPointsAndWaysWeRead(t *testing.T) {
	points, ways := marks(-80.42, 35.87, aPoint), marks(-80.42, 35.87, aWay)
	for name, c := range map[string]struct {
		file string
		args []string
	}{
		"GPX waypoints":            {"a.gpx", []string{"-f", "GPX"}},
		"CSV with columns x and y": {"a.csv", []string{"-f", "CSV", "-lco", "GEOMETRY=AS_XY"}},
		"KML":                      {"a.kml", []string{"-f", "LIBKML"}},
		"GeoPackage, UTM":          {"a.gpkg", []string{"-f", "GPKG", "-t_srs", "EPSG:32617"}},
	} {
		t.Run(name, func(t *testing.T) {
			p := proposed(t, points, c.file, c.args...)
			got := proposedFeatures(p)
			if len(got) != len(points) {
				t.Fatalf("%d points, want %d", len(got), len(points))
			}
			for i, f := range points {
				if name := textOf(f.Properties, "name"); textOf(got[i].Properties, "name") != name {
					t.Errorf("%s, want the name %q", got[i].Properties, name)
				}
				if err := samePlace(roundTrip{}, f.Geometry, got[i].Geometry); err != nil {
					t.Errorf("%s: %v", got[i].Properties, err)
				}
			}
		})
	}
	t.Run("GPX tracks", func(t *testing.T) {
		p := proposed(t, ways, "a.gpx", "-f", "GPX")
		if len(p.Tracks) != len(ways) {
			t.Fatalf("%d tracks, want %d", len(p.Tracks), len(ways))
		}
		for i, f := range ways {
			want, name := 0.0, textOf(f.Properties, "name")
			for _, l := range f.Geometry.Flat.(orb.MultiLineString) {
				want += float64(measure.Length(l))
			}
			if p.Tracks[i].Name != name || !sameArea(float64(p.Tracks[i].Length), want) {
				t.Errorf("%q of %v m, want %q of %v m", p.Tracks[i].Name, p.Tracks[i].Length, name, want)
			}
		}
	})
}
