package overlay_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/geo/plane"
)

const reference = "../../testdata/reference/geometry/"

type pairs [][2]float64

func (p pairs) ring() plane.Ring {
	r := make(plane.Ring, 0, len(p)+1)
	for _, c := range p {
		r = append(r, plane.XY{X: c[0], Y: c[1]})
	}
	if r[0] != r[len(r)-1] {
		r = append(r, r[0])
	}
	if r.SignedArea() < 0 {
		for i, j := 0, len(r)-1; i < j; i, j = i+1, j-1 {
			r[i], r[j] = r[j], r[i]
		}
	}
	return r
}

func (p pairs) region() plane.Region { return plane.Region{{p.ring()}} }

func load(t testing.TB, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(reference + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

type expected struct {
	Area   float64 `json:"area"`
	Length float64 `json:"length"`
	Parts  int     `json:"parts"`
}

// Values: GEOS 3.11.1 (overlay_cases.json).
func TestOverlayMatchesGEOS(t *testing.T) {
	var cases []struct {
		Kind   string              `json:"kind"`
		A      pairs               `json:"a"`
		B      pairs               `json:"b"`
		Expect map[string]expected `json:"expect"`
	}
	load(t, "overlay_cases.json", &cases)
	if len(cases) != 32 {
		t.Fatalf("read %d cases, want 32", len(cases))
	}
	ctx := context.Background()
	for i, c := range cases {
		a, b := c.A.region(), c.B.region()
		union, err := overlay.Union(ctx, a, b)
		if err != nil {
			t.Errorf("%d: %v", i, err)
			continue
		}
		both, onlyA, err := overlay.Cut(ctx, a, b)
		if err != nil {
			t.Errorf("%d: %v", i, err)
			continue
		}
		onlyB, err := overlay.Difference(ctx, b, a)
		if err != nil {
			t.Errorf("%d: %v", i, err)
			continue
		}
		for name, got := range map[string]plane.Region{"union": union, "intersection": both, "difference": onlyA} {
			want := c.Expect[name]
			if off := math.Abs(float64(got.Area()) - want.Area); off > 1e-5 {
				t.Errorf("%d %s %s: area %.7f, want %.7f", i, c.Kind, name, float64(got.Area()), want.Area)
			}
			if c.Kind != "star" {
				continue
			}
			if math.Abs(float64(got.Perimeter())-want.Length) > 1e-5 {
				t.Errorf("%d %s: length %.7f, want %.7f", i, name, float64(got.Perimeter()), want.Length)
			}
			if len(got) != want.Parts {
				t.Errorf("%d %s: %d parts, want %d", i, name, len(got), want.Parts)
			}
		}
		if c.Kind == "star" {
			if got, want := float64(onlyA.Area()+onlyB.Area()), c.Expect["symdifference"].Area; math.Abs(got-want) > 1e-5 {
				t.Errorf("%d: either but not both %.7f, want %.7f", i, got, want)
			}
		}
	}
}

// Values: GEOS 3.11.1 (swath_case.json).
func TestUnionOfSwaths(t *testing.T) {
	var c struct {
		Rectangles []pairs `json:"rectangles"`
		Sum        float64 `json:"sum_area"`
		Area       float64 `json:"union_area"`
		Length     float64 `json:"union_length"`
	}
	load(t, "swath_case.json", &c)
	var parts []plane.Region
	var sum geo.SquareMetres
	for _, r := range c.Rectangles {
		parts = append(parts, r.region())
		sum += r.region().Area()
	}
	if len(parts) != 400 || math.Abs(float64(sum)-c.Sum) > 1e-5 {
		t.Fatalf("%d rectangles of %v, want 400 of %v", len(parts), sum, c.Sum)
	}
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
	u, err := overlay.Union(context.Background(), parts...)
	if err != nil {
		t.Fatal(err)
	}
	if off := math.Abs(float64(u.Area()) - c.Area); off > 1e-5 {
		t.Errorf("area %.6f, want %.6f", float64(u.Area()), c.Area)
	}
	if math.Abs(float64(u.Perimeter())-c.Length) > 1e-5 {
		t.Errorf("length %v, want %v", u.Perimeter(), c.Length)
	}
	// The wedges between neighbours at bends are slivers and get filled.
	filled := overlay.WithoutSlivers(u)
	most := geo.SquareMetres(u.Holes()-filled.Holes()) * geo.SliverArea
	if more := filled.Area() - u.Area(); more < 0 || more > most {
		t.Errorf("without slivers %v m2 more, want 0 to %v", more, most)
	}
}

func box(x0, y0, x1, y1 float64) plane.Region {
	return plane.Box{Min: plane.XY{X: x0, Y: y0}, Max: plane.XY{X: x1, Y: y1}}.Region()
}

func TestEmptyAndTouching(t *testing.T) {
	ctx := context.Background()
	a := box(0, 0, 10, 10)
	tests := []struct {
		name            string
		b               plane.Region
		in, out, union  float64
		inParts, uParts int
	}{
		{"nothing", nil, 0, 100, 100, 0, 1},
		{"far away", box(20, 20, 30, 30), 0, 100, 200, 0, 2},
		{"shared edge", box(10, 0, 20, 10), 0, 100, 200, 0, 1},
		{"shared corner", box(10, 10, 20, 20), 0, 100, 200, 0, 2},
		{"same", box(0, 0, 10, 10), 100, 0, 100, 1, 1},
		{"within", box(2, 2, 4, 4), 4, 96, 100, 1, 1},
		{"round it", box(-5, -5, 15, 15), 100, 0, 400, 1, 1},
		{"sliver", box(9.9999, 0, 20, 10), 1e-3, 100 - 1e-3, 200 - 1e-3, 1, 1},
	}
	for _, c := range tests {
		in, out, err := overlay.Cut(ctx, a, c.b)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		u, err := overlay.Union(ctx, a, c.b)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for name, v := range map[string][2]float64{"inside": {float64(in.Area()), c.in}, "outside": {float64(out.Area()), c.out}, "union": {float64(u.Area()), c.union}} {
			if math.Abs(v[0]-v[1]) > 1.1e-3 {
				t.Errorf("%s: %s is %v m2, want %v", c.name, name, v[0], v[1])
			}
		}
		if len(in) != c.inParts || len(u) != c.uParts {
			t.Errorf("%s: %d parts inside, %d in the union, want %d and %d", c.name, len(in), len(u), c.inParts, c.uParts)
		}
	}
}

func TestRefusals(t *testing.T) {
	ctx := context.Background()
	bowTie := plane.Region{{{{X: 0, Y: 0}, {X: 10, Y: 10}, {X: 10, Y: 0}, {X: 0, Y: 10}, {X: 0, Y: 0}}}}
	var engine *overlay.EngineError
	var mismatch *overlay.MismatchError
	if _, err := overlay.Intersection(ctx, bowTie, box(-1, 2, 11, 20)); !errors.As(err, &engine) && !errors.As(err, &mismatch) {
		t.Errorf("bow tie: %v, want an engine or mismatch error", err)
	}
	nan := plane.Region{{{{X: 0, Y: 0}, {X: math.NaN(), Y: 0}, {X: 10, Y: 10}, {X: 0, Y: 0}}}}
	if _, err := overlay.Intersection(ctx, nan, box(0, 0, 5, 5)); err == nil {
		if r, err := overlay.Intersection(ctx, nan, box(0, 0, 5, 5)); err == nil && len(r) > 0 {
			t.Errorf("NaN gives ground %v", r)
		}
	}
	var many *overlay.TooManyError
	comb := func(n int, upright bool) plane.Region {
		r := plane.Ring{}
		for i := range n {
			x := float64(i)
			r = append(r, plane.XY{X: x, Y: 0}, plane.XY{X: x + 0.4, Y: 0}, plane.XY{X: x + 0.4, Y: float64(n)}, plane.XY{X: x + 0.6, Y: float64(n)}, plane.XY{X: x + 0.6, Y: 0})
		}
		r = append(r, plane.XY{X: float64(n), Y: 0}, plane.XY{X: float64(n), Y: -1}, plane.XY{X: 0, Y: -1}, r[0])
		if !upright {
			for i := range r {
				r[i] = plane.XY{X: r[i].Y, Y: -r[i].X + float64(n)}
			}
		}
		return plane.Region{{r}}
	}
	a, b := comb(600, true), comb(600, false)
	if _, err := overlay.Intersection(ctx, a, b); !errors.As(err, &many) || many.What != overlay.Crossings {
		t.Errorf("two combs: %v, want too many crossings", err)
	}
	big := make(plane.Ring, 0, overlay.MaxVertices+2)
	for i := range overlay.MaxVertices + 1 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(overlay.MaxVertices+1))
		big = append(big, plane.XY{X: 1000 * c, Y: 1000 * s})
	}
	big = append(big, big[0])
	if _, err := overlay.Union(ctx, plane.Region{{big}}); !errors.As(err, &many) || many.What != overlay.Corners {
		t.Errorf("big ring: %v, want too many corners", err)
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := overlay.Union(stopped, a, b); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

// Whatever the shapes: |A| + |B| = |A∪B| + |A∩B| and |A| = |A∩B| + |A\B|.
func TestAreasAddUpOnRandomPairs(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 7))
	ctx := context.Background()
	for i := range 300 {
		a := overlay.Star(rnd, 0, 0, 100)
		b := overlay.Star(rnd, rnd.Float64()*80, rnd.Float64()*80, 100)
		if i%3 == 0 {
			b = overlay.Shaken(rnd, a, math.Pow(10, -10+9*rnd.Float64()))
		}
		union, err := overlay.Union(ctx, a, b)
		if err != nil {
			t.Fatal(i, err)
		}
		in, out, err := overlay.Cut(ctx, a, b)
		if err != nil {
			t.Fatal(i, err)
		}
		const slivers = 40 * float64(geo.SliverArea)
		if off := math.Abs(float64(a.Area() - in.Area() - out.Area())); off > slivers {
			t.Errorf("%d: pieces off by %g", i, off)
		}
		if off := math.Abs(float64(a.Area() + b.Area() - union.Area() - in.Area())); off > slivers {
			t.Errorf("%d: union off by %g", i, off)
		}
		for range 50 {
			p := plane.XY{X: rnd.Float64()*300 - 120, Y: rnd.Float64()*300 - 120}
			if nearEdge(p, a, b) {
				continue
			}
			if got, want := union.Contains(p), a.Contains(p) || b.Contains(p); got != want {
				t.Errorf("%d: %v in the union: %v, want %v", i, p, got, want)
			}
			if got, want := out.Contains(p), a.Contains(p) && !b.Contains(p); got != want {
				t.Errorf("%d: %v in the difference: %v, want %v", i, p, got, want)
			}
		}
	}
}

func nearEdge(p plane.XY, regions ...plane.Region) bool {
	for _, r := range regions {
		for _, poly := range r {
			for _, ring := range poly {
				for i := 0; i+1 < len(ring); i++ {
					if p.Distance(p.NearestOn(ring[i], ring[i+1])) < 0.2 {
						return true
					}
				}
			}
		}
	}
	return false
}

func line(xy ...float64) plane.Line {
	var l plane.Line
	for i := 0; i+1 < len(xy); i += 2 {
		l = append(l, plane.XY{X: xy[i], Y: xy[i+1]})
	}
	return l
}

func TestCutLines(t *testing.T) {
	ring := func(ps ...plane.XY) plane.Ring { return append(ps, ps[0]) }
	withHole := plane.Region{{
		ring(plane.XY{}, plane.XY{X: 10}, plane.XY{X: 10, Y: 10}, plane.XY{Y: 10}),
		ring(plane.XY{X: 4, Y: 4}, plane.XY{X: 4, Y: 6}, plane.XY{X: 6, Y: 6}, plane.XY{X: 6, Y: 4}),
	}}
	twoParts := append(box(0, 0, 5, 10), box(5, 0, 10, 10)...)
	tests := []struct {
		name   string
		in     plane.Line
		ground plane.Region
		want   []plane.Line
	}{
		{"no ground", line(0, 0, 1, 1), nil, nil},
		{"outside", line(-5, 0, -1, 20), withHole, nil},
		{"within", line(1, 1, 2, 1, 2, 3), withHole, []plane.Line{line(1, 1, 2, 1, 2, 3)}},
		{"through the hole", line(-5, 5, 15, 5), withHole, []plane.Line{line(0, 5, 4, 5), line(6, 5, 10, 5)}},
		{"back again", line(15, 5, -5, 5), withHole, []plane.Line{line(10, 5, 6, 5), line(4, 5, 0, 5)}},
		{"along the edge", line(-5, 10, 15, 10), withHole, []plane.Line{line(0, 10, 10, 10)}},
		{"along the hole's edge", line(2, 4, 8, 4), withHole, []plane.Line{line(2, 4, 8, 4)}},
		{"through a corner only", line(-1, 1, 1, -1), withHole, nil},
		{"over a shared edge", line(1, 5, 9, 5), twoParts, []plane.Line{line(1, 5, 9, 5)}},
		{"out and in again", line(1, 9, 1, 12, 3, 12, 3, 8), withHole, []plane.Line{line(1, 9, 1, 10), line(3, 10, 3, 8)}},
	}
	for _, c := range tests {
		got, err := overlay.CutLines(context.Background(), []plane.Line{c.in}, c.ground)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !sameLines(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func sameLines(a, b []plane.Line) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if len(a[i]) != len(b[i]) {
			return false
		}
		for k := range a[i] {
			if a[i][k].Distance(b[i][k]) > 1e-9 {
				return false
			}
		}
	}
	return true
}

// The length inside, found by walking the line in small steps.
func TestCutLinesAgainstSteps(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 5))
	for i := range 60 {
		ground := overlay.Star(rnd, 0, 0, 100)
		line := plane.Line{}
		for range 2 + rnd.IntN(12) {
			line = append(line, plane.XY{X: rnd.Float64()*240 - 120, Y: rnd.Float64()*240 - 120})
		}
		got, err := overlay.CutLines(context.Background(), []plane.Line{line}, ground)
		if err != nil {
			t.Fatal(err)
		}
		var length, want float64
		for _, l := range got {
			length += float64(l.Length())
		}
		const steps = 4000
		for k := 0; k+1 < len(line); k++ {
			d := line[k+1].Minus(line[k])
			for s := range steps {
				if ground.Contains(line[k].Plus(d.Times((float64(s) + 0.5) / steps))) {
					want += float64(line[k].Distance(line[k+1])) / steps
				}
			}
		}
		if math.Abs(length-want) > 0.5+0.001*want {
			t.Errorf("%d: %v m inside, steps say %v", i, length, want)
		}
	}
}
