package shp

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"caneward/geo/wire"
	"caneward/geo/wire/archive"

	"github.com/paulmach/orb"
)

var small = wire.Limits{Features: 1000, Vertices: 20_000, Unpacked: 4 << 20}

// judge holds what every feature must be, whatever the bytes.
func judge(t *testing.T, r *Reader, err error) {
	for n := 0; err == nil; n++ {
		var f wire.Feature
		if f, err = r.Next(); err != nil {
			break
		}
		if n > small.Features {
			t.Fatalf("more than %d features", small.Features)
		}
		if vertices := wire.Vertices(f.Geometry.Flat); f.Geometry.Heights != nil && len(f.Geometry.Heights) != vertices ||
			f.Geometry.Measures != nil && len(f.Geometry.Measures) != vertices {
			t.Fatalf("%d corners, %d heights, %d measures", vertices, len(f.Geometry.Heights), len(f.Geometry.Measures))
		}
		if polygon, ok := f.Geometry.Flat.(orb.Polygon); ok && len(polygon[0]) == 0 {
			t.Fatal("a shell without corners")
		}
		if len(f.Properties) > 0 {
			if _, err := wire.Canonical(f.Properties); err != nil {
				t.Fatalf("properties %q: %v", f.Properties, err)
			}
		}
	}
	if e, ok := wire.As(err); ok && e.Rule == "" {
		t.Fatalf("an error without a rule: %v", err)
	}
}

// FuzzRead takes whole ZIP files.
func FuzzRead(f *testing.F) {
	files, err := filepath.Glob(cases + "V06*-shp-*.zip")
	if err != nil || len(files) == 0 {
		f.Fatalf("no case files: %v", err)
	}
	for _, name := range append(files, "testdata/gdal.zip") {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add(written(f, invented()))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := Open(context.Background(), data, wire.Options{Limits: small})
		judge(t, r, err)
	})
}

// FuzzShp takes the parts by themselves, which a checksum does not guard.
func FuzzShp(f *testing.F) {
	for _, name := range []string{"testdata/gdal.zip", cases + "V066-shp-orientation-holes.zip", cases + "V063-shp-polygonz-no-m.zip"} {
		files := unpacked(f, file(f, name))
		for _, base := range []string{"areas", "tracks", "pins", "blocks"} {
			f.Add(files[base+".shp"], files[base+".shx"], files[base+".dbf"], files["fields.csv"])
		}
	}
	own := unpacked(f, written(f, invented()))
	f.Add(own["blocks_areas.shp"], own["blocks_areas.shx"], own["blocks_areas.dbf"], own["fields.csv"])
	f.Fuzz(func(t *testing.T, shp, shx, dbf, fields []byte) {
		r := &Reader{ctx: context.Background(), left: small.Unpacked}
		list, _ := readFieldList(fields)
		left := small.Filled()
		err := r.add(files{base: "blocks_areas", shpName: "a.shp", dbfName: "a.dbf", shp: shp, dbf: dbf, shx: shx}, list["blocks_areas"], &left)
		judge(t, r, err)
	})
}

// BenchmarkOpen reads a file as large as a county's parcels: 20,000 areas of
// ten corners with six properties.
func BenchmarkOpen(b *testing.B) {
	data := written(b, parcels(20_000))
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		a, err := archive.Open(context.Background(), data, wire.Limits{})
		if err != nil {
			b.Fatal(err)
		}
		r, err := OpenArchive(context.Background(), a, wire.Options{})
		if err != nil {
			b.Fatal(err)
		}
		all, _, err := drain(r)
		if err != nil || len(all) != 20_000 {
			b.Fatalf("%d features, %v", len(all), err)
		}
	}
}
