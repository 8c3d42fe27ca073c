package repair_test

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"caneward/geo/plane"
	"caneward/geo/repair"
)

// The areas are shapely's and GEOS 3.11.1's: testdata/reference/geometry/README.md.
func TestRingAgainstReference(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/reference/geometry/repair_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []struct {
		Kind string
		Ring [][2]float64
		Area float64 `json:"area_non_zero"`
	}
	if err := json.Unmarshal(raw, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) != 37 {
		t.Fatalf("%d cases, want 37", len(cases))
	}
	for i, c := range cases {
		ring := make([]plane.XY, len(c.Ring))
		for k, p := range c.Ring {
			ring[k] = plane.XY{X: p[0], Y: p[1]}
		}
		for _, way := range []string{"as given", "reversed"} {
			got, err := repair.Ring(context.Background(), ring)
			if err != nil {
				t.Fatalf("%d %s: %v", i, c.Kind, err)
			}
			if off := math.Abs(float64(got.Area()) - c.Area); !(off < 1e-4) {
				t.Errorf("%d %s %s: area %.6f, want %.6f", i, c.Kind, way, float64(got.Area()), c.Area)
			}
			slices.Reverse(ring)
		}
	}
}

// scanned is the non-zero area by another way: between two neighbouring heights
// at which anything happens the ring is a stack of trapezoids, whose middle line
// says how it winds. No face is walked and nothing is noded.
func scanned(ring []plane.XY) float64 {
	n := len(ring)
	var heights []float64
	for i := range n {
		a, b := ring[i], ring[(i+1)%n]
		heights = append(heights, a.Y)
		for j := i + 1; j < n; j++ {
			c, d := ring[j], ring[(j+1)%n]
			u, v := b.Minus(a), d.Minus(c)
			den := u.Cross(v)
			if den == 0 {
				continue
			}
			s, t := c.Minus(a).Cross(v)/den, c.Minus(a).Cross(u)/den
			if s >= 0 && s <= 1 && t >= 0 && t <= 1 {
				heights = append(heights, a.Y+s*u.Y)
			}
		}
	}
	slices.Sort(heights)
	type crossing struct {
		x    float64
		sign int
	}
	total := 0.0
	for k := 0; k+1 < len(heights); k++ {
		y := (heights[k] + heights[k+1]) / 2
		var row []crossing
		for i := range n {
			a, b := ring[i], ring[(i+1)%n]
			if (a.Y > y) == (b.Y > y) {
				continue
			}
			sign := 1
			if b.Y < a.Y {
				sign = -1
			}
			row = append(row, crossing{a.X + (y-a.Y)*(b.X-a.X)/(b.Y-a.Y), sign})
		}
		slices.SortFunc(row, func(p, q crossing) int {
			switch {
			case p.x < q.x:
				return -1
			case p.x > q.x:
				return 1
			}
			return 0
		})
		w, breadth := 0, 0.0
		for i := 0; i+1 < len(row); i++ {
			if w += row[i].sign; w != 0 {
				breadth += row[i+1].x - row[i].x
			}
		}
		total += breadth * (heights[k+1] - heights[k])
	}
	return total
}

// scribble is a ring of random corners; on a coarse grid corners fall on each
// other and sides along each other.
func scribble(r *rand.Rand, n int, grid float64) []plane.XY {
	out := make([]plane.XY, n)
	for i := range out {
		x, y := r.Float64()*100, r.Float64()*100
		if grid > 0 {
			x, y = math.Round(x/grid)*grid, math.Round(y/grid)*grid
		}
		out[i] = plane.XY{X: 500000 + x, Y: 3990000 + y}
	}
	return out
}

func TestRingScribbles(t *testing.T) {
	r := rand.New(rand.NewPCG(20261125, 3))
	grids := []float64{0, 0, 0.5, 10, 25}
	for i := range 1000 {
		ring := scribble(r, 3+r.IntN(25), grids[i%len(grids)])
		got, err := repair.Ring(context.Background(), ring)
		if err != nil {
			t.Fatalf("scribble %d: %v", i, err)
		}
		want := scanned(ring)
		if off := math.Abs(float64(got.Area()) - want); !(off < 1e-4) {
			t.Errorf("scribble %d %v: area %.6f, want %.6f", i, ring, float64(got.Area()), want)
		}
	}
}
