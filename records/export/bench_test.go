package export_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"caneward/geo/crs"
)

// BenchmarkSource reads the files of the folder CANEWARD_BENCH_FILES, every
// feature and every position brought to degrees, and judges nothing: what
// reading takes without the checks of an import.
func BenchmarkSource(b *testing.B) {
	dir := os.Getenv("CANEWARD_BENCH_FILES")
	if dir == "" {
		b.Skip("CANEWARD_BENCH_FILES names no folder; make bench makes one")
	}
	for _, name := range []string{"shore.geojson", "blocks.geojson", "blocks.shp.zip", "blocks.gpkg"} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		must(b, err)
		open := roundTrips[filepath.Ext(name)[1:]].open
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				src, err := open(data)
				must(b, err)
				systems := map[string]*crs.System{}
				for {
					f, err := src.Next()
					if errors.Is(err, io.EOF) {
						break
					}
					must(b, err)
					if f.CRS == "" {
						continue
					}
					system := systems[f.CRS]
					if system == nil {
						if system, err = crs.ByName(f.CRS); err != nil {
							system, err = crs.Parse(f.CRS)
						}
						must(b, err)
						systems[f.CRS] = system
					}
					for _, line := range lines(normal(f.Geometry.Flat)) {
						for _, p := range line {
							_, err := system.Position(p[0], p[1])
							must(b, err)
						}
					}
				}
			}
		})
	}
}
