package overlay

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"caneward/geo/plane"

	"github.com/peterstace/simplefeatures/geom"
)

// Pairs of every kind that has hurt overlays: nearly the same outline, corners on
// edges, edges along each other, outlines on a coarse grid. The engine is the port
// of JTS.
func TestPartingAgainstEngine(t *testing.T) {
	rnd := rand.New(rand.NewPCG(29, 31))
	ctx := context.Background()
	doubted, worst := 0, 0.0
	rounds := 600
	if os.Getenv("SOAK") != "" {
		rounds = 60_000
	}
	for i := range rounds {
		a := Star(rnd, 0, 0, 100)
		b := Star(rnd, rnd.Float64()*80, rnd.Float64()*80, 100)
		switch i % 6 {
		case 1:
			b = Shaken(rnd, a, math.Pow(10, -12+11*rnd.Float64()))
		case 2:
			a, b = onGrid(a, 5), onGrid(b, 5)
		case 3:
			b = Shaken(rnd, turned(a), math.Pow(10, -12+11*rnd.Float64()))
		case 4:
			a, b = onGrid(a, 0.01), onGrid(Shaken(rnd, a, 0.02), 0.01)
		case 5: // far from the origin
			for _, r := range []plane.Region{a, b} {
				for k := range r[0][0] {
					r[0][0][k] = r[0][0][k].Plus(plane.XY{X: 40_000, Y: -70_000})
				}
			}
		}
		if len(a) == 0 || len(b) == 0 {
			continue
		}
		ga, gb := toGeom(a), toGeom(b)
		if ga.Validate() != nil || gb.Validate() != nil {
			continue
		}
		f, err := parting(ctx, []plane.Region{a, b}, MaxCrossings)
		if isUnsure(err) {
			doubted++
			t.Log(i, err)
			continue
		}
		if err != nil {
			t.Fatal(i, err)
		}
		for name, c := range map[string]struct {
			ours   plane.Region
			engine func(a, b geom.Geometry) (geom.Geometry, error)
		}{
			"union":        {f.ground(func(w winding) bool { return w.has(0) || w.has(1) }), geom.Union},
			"intersection": {f.ground(func(w winding) bool { return w.has(0) && w.has(1) }), geom.Intersection},
			"difference":   {f.ground(func(w winding) bool { return w.has(0) && !w.has(1) }), geom.Difference},
		} {
			want, err := apply(name, c.engine, ga, gb)
			if err != nil {
				t.Fatal(i, err)
			}
			off := math.Abs(float64(c.ours.Area() - want.Area()))
			worst = math.Max(worst, off)
			if off > 1e-5 {
				t.Errorf("%d %s: %.9f m2, the engine has %.9f", i, name, float64(c.ours.Area()), float64(want.Area()))
			}
			if g := toGeom(WithoutSlivers(c.ours)); len(WithoutSlivers(c.ours)) > 0 && g.Validate() != nil {
				t.Errorf("%d %s: %v", i, name, g.Validate())
			}
		}
	}
	if doubted*1000 > rounds {
		t.Errorf("%d of %d pairs were left to the engine", doubted, rounds)
	}
	t.Logf("of %d pairs %d were left to the engine; areas differ by %.2g m2 at most", rounds, doubted, worst)
}

// Star is an outline with corners turned inward and outward.
func Star(rnd *rand.Rand, dx, dy, size float64) plane.Region {
	n := 8 + rnd.IntN(60)
	r := make(plane.Ring, 0, n+1)
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * (float64(i) + 0.8*rnd.Float64()) / float64(n))
		q := size * (0.4 + 0.6*rnd.Float64())
		r = append(r, plane.XY{X: dx + q*c, Y: dy + q*s})
	}
	return plane.Region{{append(r, r[0])}}
}

// Shaken is an outline with every corner moved a little.
func Shaken(rnd *rand.Rand, r plane.Region, by float64) plane.Region {
	var out plane.Ring
	for _, p := range r[0][0][:len(r[0][0])-1] {
		out = append(out, plane.XY{X: p.X + by*(rnd.Float64()-0.5), Y: p.Y + by*(rnd.Float64()-0.5)})
	}
	return plane.Region{{append(out, out[0])}}
}

// turned is the same outline begun at another corner.
func turned(r plane.Region) plane.Region {
	ring := r[0][0]
	out := append(append(plane.Ring{}, ring[3:len(ring)-1]...), ring[:4]...)
	return plane.Region{{out}}
}

func onGrid(r plane.Region, step float64) plane.Region {
	var out plane.Ring
	for _, p := range r[0][0] {
		q := plane.XY{X: math.Round(p.X/step) * step, Y: math.Round(p.Y/step) * step}
		if len(out) == 0 || q != out[len(out)-1] {
			out = append(out, q)
		}
	}
	if len(out) < 4 || out[0] != out[len(out)-1] {
		return nil
	}
	return plane.Region{{out}}
}

// Thousands of corners on one meridian, and again a hair beside them: they are merged
// by place, and what the two fields share is a field.
func TestCornersOnOneMeridian(t *testing.T) {
	field := func(off float64) plane.Region {
		const corners = 3000
		r := plane.Ring{{X: off, Y: 0}, {X: 50, Y: 0}, {X: 50, Y: corners}}
		for i := corners; i > 0; i-- {
			r = append(r, plane.XY{X: off, Y: float64(i)})
		}
		return plane.Region{{append(r, r[0])}}
	}
	a, b := field(0), field(3e-10)
	f, err := parting(t.Context(), []plane.Region{a, b}, MaxCrossings)
	if err != nil {
		t.Fatal(err)
	}
	both := f.ground(func(w winding) bool { return w.has(0) && w.has(1) })
	if off := math.Abs(float64(both.Area() - a.Area())); off > 1e-4 || len(both) != 1 || len(f.over) != 2 {
		t.Errorf("off by %g m2 in %d parts of %d faces", off, len(both), len(f.over))
	}
}

// Each place of the ground is in the one cell whose regions hold it, by plain
// counting of crossings on a ray; both ways of parting.
func TestCells(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 8))
	ctx := context.Background()
	for i := range 40 {
		ground := Star(rnd, 0, 0, 100)
		var over []plane.Region
		for range rnd.IntN(7) {
			over = append(over, Star(rnd, 120*rnd.Float64()-60, 120*rnd.Float64()-60, 80))
		}
		over = append(over, Shaken(rnd, ground, 1e-4), plane.Region{}, ground)
		quick, err := Part(ctx, ground, over)
		if err != nil {
			t.Fatal(i, err)
		}
		slow, err := partInTurn(ctx, ground, over)
		if err != nil {
			t.Fatal(i, err)
		}
		for name, p := range map[string]*Parting{"at once": quick, "in turn": slow} {
			sum, all := 0.0, make([]int, len(p.Cells))
			for k, c := range p.Cells {
				sum += float64(c.Ground.Area())
				all[k] = k
				if !slices.IsSorted(c.Over) {
					t.Fatalf("%d %s: %v", i, name, c.Over)
				}
			}
			if off := math.Abs(sum - float64(ground.Area())); off > 1e-4 {
				t.Errorf("%d %s: the cells are off by %g m2", i, name, off)
			}
			if off := math.Abs(float64(p.Join(all...).Area() - ground.Area())); off > 1e-4 {
				t.Errorf("%d %s: joined, the cells are off by %g m2", i, name, off)
			}
			for range 200 {
				at := plane.XY{X: 240*rnd.Float64() - 120, Y: 240*rnd.Float64() - 120}
				var want []int
				for k, r := range over {
					if r.Contains(at) {
						want = append(want, k)
					}
				}
				held := 0
				for _, c := range p.Cells {
					if !c.Ground.Contains(at) {
						continue
					}
					held++
					if !slices.Equal(c.Over, want) {
						t.Errorf("%d %s: %v is in a cell of %v, want %v", i, name, at, c.Over, want)
					}
				}
				if inside := ground.Contains(at); held > 1 || (held == 1) != inside {
					t.Errorf("%d %s: %v is in %d cells, on the ground: %v", i, name, at, held, inside)
				}
			}
		}
		for k := 1; k < len(quick.Cells); k++ {
			if earlierFirst(quick.Cells[k-1].Over, quick.Cells[k].Over) >= 0 {
				t.Errorf("%d: %v stands before %v", i, quick.Cells[k-1].Over, quick.Cells[k].Over)
			}
		}
	}
}

func TestPartNamesTheBadRegion(t *testing.T) {
	square := func(at, size float64) plane.Region {
		return plane.Box{Min: plane.XY{X: at, Y: at}, Max: plane.XY{X: at + size, Y: at + size}}.Region()
	}
	bowTie := plane.Region{{{{X: 2, Y: 2}, {X: 8, Y: 8}, {X: 8, Y: 2}, {X: 2, Y: 8}, {X: 2, Y: 2}}}}
	_, err := Part(t.Context(), square(0, 10), []plane.Region{square(1, 3), bowTie, square(5, 9)})
	var bad *RegionError
	if !errors.As(err, &bad) || bad.Region != 1 {
		t.Errorf("%v, want region 1", err)
	}
	if p, err := Part(t.Context(), nil, []plane.Region{square(0, 1)}); err != nil || len(p.Cells) > 0 {
		t.Errorf("no ground: %v, %v", p, err)
	}
	stopped, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Part(stopped, square(0, 10), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}
