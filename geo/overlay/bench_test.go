package overlay_test

import (
	"context"
	"os"
	"testing"

	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/geo/overlay/benchinput"
	"caneward/geo/plane"
)

// The same sets go to GEOS by testdata/bench/geos_bench.c. Set CANEWARD_BENCH_INPUT to
// a file name to have the input written there for it.
func BenchmarkOverlay(b *testing.B) {
	sets := benchinput.Sets()
	if name := os.Getenv("CANEWARD_BENCH_INPUT"); name != "" {
		file, err := os.Create(name)
		if err != nil {
			b.Fatal(err)
		}
		if err := benchinput.Write(file, sets); err != nil {
			b.Fatal(err)
		}
		if err := file.Close(); err != nil {
			b.Fatal(err)
		}
	}
	ctx := context.Background()
	for _, s := range sets {
		if s.Op == benchinput.Buffer {
			continue // package buffer's
		}
		b.Run(s.Name, func(b *testing.B) {
			var area geo.SquareMetres
			for b.Loop() {
				area = 0
				for _, c := range s.Cases {
					var r plane.Region
					var err error
					if s.Op == benchinput.Difference {
						r, err = overlay.Difference(ctx, c.Regions[0], c.Regions[1])
					} else {
						r, err = overlay.Union(ctx, c.Regions...)
					}
					if err != nil {
						b.Fatal(err)
					}
					area += r.Area()
				}
			}
			b.ReportMetric(float64(area), "m2")
		})
	}
}
