package cluster_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"caneward/geo/cluster"
	"caneward/geo/plane"
)

// write puts the benchmark's points where testdata/bench/dbscan_bench.R reads
// them: go test ./geo/cluster -run NONE -bench Dense -args -write DIR.
var write = flag.String("write", "", "folder to write the benchmark's points to, for other programs to read")

// Field is invented ground: 70 % of the points in round groups of 350, the rest
// evenly spread, one stray point to 100 m2.
func Field(n int, seed uint64) []plane.XY {
	const group, spread, ground = 350, 8.0, 100.0
	random := rand.New(rand.NewPCG(seed, 350))
	strays := n * 3 / 10
	side := math.Sqrt(float64(strays) * ground)
	points := make([]plane.XY, 0, n)
	var centre plane.XY
	for i := range n - strays {
		if i%group == 0 {
			centre = plane.XY{X: random.Float64() * side, Y: random.Float64() * side}
		}
		points = append(points, plane.XY{X: centre.X + random.NormFloat64()*spread, Y: centre.Y + random.NormFloat64()*spread})
	}
	for range strays {
		points = append(points, plane.XY{X: random.Float64() * side, Y: random.Float64() * side})
	}
	random.Shuffle(n, func(i, j int) { points[i], points[j] = points[j], points[i] })
	return points
}

func BenchmarkDense(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			points := Field(n, 1)
			if *write != "" {
				save(b, points)
			}
			b.ResetTimer()
			var r cluster.Result
			for range b.N {
				var err error
				if r, err = cluster.Dense(context.Background(), points, cluster.Params{Along: 3, Across: 3, MinFinds: 5}); err != nil {
					b.Fatal(err)
				}
			}
			none := 0
			for _, l := range r.Labels {
				if l < 0 {
					none++
				}
			}
			b.ReportMetric(float64(r.N), "clusters")
			b.ReportMetric(float64(none), "noise")
		})
	}
}

func save(b *testing.B, points []plane.XY) {
	file, err := os.Create(filepath.Join(*write, fmt.Sprintf("field-%d.csv", len(points))))
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(file)
	fmt.Fprintln(w, "x,y")
	for _, p := range points {
		fmt.Fprintf(w, "%.17g,%.17g\n", p.X, p.Y)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := file.Close(); err != nil {
		b.Fatal(err)
	}
}
