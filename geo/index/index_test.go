package index_test

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"caneward/geo"
	"caneward/geo/index"
	"caneward/geo/plane"
)

func box(x0, y0, x1, y1 float64) plane.Box {
	return plane.Box{Min: plane.XY{X: x0, Y: y0}, Max: plane.XY{X: x1, Y: y1}}
}

func TestSearchAndNearestAgainstALoop(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 4))
	for _, n := range []int{0, 1, 7, 300, 5000} {
		var tree index.Tree[int]
		var all []plane.Box
		for i := range n {
			// Whole numbers, so that edges touch and distances tie.
			x, y := float64(rnd.IntN(200)), float64(rnd.IntN(200))
			b := box(x, y, x+float64(rnd.IntN(4)), y+float64(rnd.IntN(4)))
			if !tree.Insert(b, i) {
				t.Fatalf("box %v was refused", b)
			}
			all = append(all, b)
		}
		if tree.Len() != n {
			t.Errorf("%d values, want %d", tree.Len(), n)
		}
		for range 200 {
			x, y := float64(rnd.IntN(220)-10), float64(rnd.IntN(220)-10)
			ask := box(x, y, x+float64(rnd.IntN(20)), y+float64(rnd.IntN(20)))
			var got, want []int
			tree.Search(ask, func(b plane.Box, v int) bool {
				if b != all[v] {
					t.Errorf("value %d comes with box %v, want %v", v, b, all[v])
				}
				got = append(got, v)
				return true
			})
			for i, b := range all {
				if b.Min.X <= ask.Max.X && ask.Min.X <= b.Max.X && b.Min.Y <= ask.Max.Y && ask.Min.Y <= b.Max.Y {
					want = append(want, i)
				}
			}
			slices.Sort(got)
			if !slices.Equal(got, want) {
				t.Errorf("%d boxes, search %v: %v, want %v", n, ask, got, want)
			}

			p, k := plane.XY{X: x, Y: y}, 1+rnd.IntN(12)
			order := make([]int, n)
			for i := range order {
				order[i] = i
			}
			dist := func(i int) float64 {
				b := all[i]
				return math.Hypot(math.Max(0, math.Max(b.Min.X-p.X, p.X-b.Max.X)), math.Max(0, math.Max(b.Min.Y-p.Y, p.Y-b.Max.Y)))
			}
			slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(dist(a), dist(b)) })
			order = order[:min(k, n)]
			near := tree.Nearest(p, k)
			if len(near) != len(order) {
				t.Fatalf("%d boxes: %d nearest to %v, want %d", n, len(near), p, len(order))
			}
			for i, f := range near {
				if f.Value != order[i] || f.Distance != dist(order[i]) {
					t.Errorf("%d boxes, nearest %d to %v: %d at %v, want %d at %v", n, i, p, f.Value, f.Distance, order[i], dist(order[i]))
				}
			}
		}
	}
}

func TestEdgesOfTheIndex(t *testing.T) {
	var tree index.Tree[string]
	nan := math.NaN()
	for _, b := range []plane.Box{plane.NoBox(), box(nan, 0, 1, 1), box(0, 0, 1, nan)} {
		if tree.Insert(b, "nowhere") {
			t.Errorf("box %v was added", b)
		}
	}
	tree.Insert(box(0, 0, 1, 1), "a")
	tree.Insert(box(0, 0, 1, 1), "a")
	calls := 0
	tree.Search(box(-1, -1, 2, 2), func(plane.Box, string) bool { calls++; return false })
	if calls != 1 || tree.Len() != 2 {
		t.Errorf("%d calls after a stop, %d values", calls, tree.Len())
	}
	tree.Search(plane.NoBox(), func(plane.Box, string) bool { t.Error("found in no box"); return true })
	if tree.Nearest(plane.XY{X: nan}, 3) != nil || tree.Nearest(plane.XY{}, 0) != nil {
		t.Error("nearest to nowhere")
	}
	halves := index.Halves(geo.Box{Min: geo.Position{179, 50}, Max: geo.Position{-179, 52}})
	if want := []plane.Box{box(179, 50, 180, 52), box(-180, 50, -179, 52)}; !slices.Equal(halves, want) {
		t.Errorf("halves %v, want %v", halves, want)
	}
	if got := index.Halves(geo.Box{Min: geo.Position{-93, 36}, Max: geo.Position{-92, 37}}); !slices.Equal(got, []plane.Box{box(-93, 36, -92, 37)}) {
		t.Errorf("whole box %v", got)
	}
}

func BenchmarkSearch(b *testing.B) {
	rnd := rand.New(rand.NewPCG(2, 2))
	var tree index.Tree[int]
	for i := range 100_000 {
		x, y := 10000*rnd.Float64(), 10000*rnd.Float64()
		tree.Insert(box(x, y, x, y), i)
	}
	for b.Loop() {
		x, y := 10000*rnd.Float64(), 10000*rnd.Float64()
		tree.Search(box(x, y, x+80, y+80), func(plane.Box, int) bool { return true })
	}
}
