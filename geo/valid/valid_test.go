package valid_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"caneward/geo/valid"

	"github.com/paulmach/orb"
)

// at makes points near 93° west, 36° north from metres, so that the tables
// below read as drawings. One metre is one unit of 1e-5 degrees both ways.
func at(xy ...float64) []orb.Point {
	var out []orb.Point
	for i := 0; i+1 < len(xy); i += 2 {
		out = append(out, orb.Point{-93 + xy[i]*0x1p-17, 36 + xy[i+1]*0x1p-17})
	}
	return out
}

func ring(xy ...float64) orb.Ring { r := at(xy...); return append(r, r[0]) }

func polygon(rings ...orb.Ring) orb.Polygon { return rings }

// text writes defects as rule@part/ring/vertex with the other place after +.
func text(ds []valid.Defect) string {
	var out []string
	for _, d := range ds {
		s := fmt.Sprintf("%d@%d/%d/%d", d.Rule, d.Part, d.Ring, d.Vertex)
		if d.Other != (valid.Place{}) {
			s += fmt.Sprintf("+%d/%d/%d", d.Other.Part, d.Other.Ring, d.Other.Vertex)
		}
		out = append(out, s)
	}
	return strings.Join(out, " ")
}

func want(rule valid.Rule, rest string) string { return fmt.Sprintf("%d@%s", rule, rest) }

func TestCheck(t *testing.T) {
	square := ring(0, 0, 100, 0, 100, 100, 0, 100)
	hole := ring(20, 20, 20, 40, 40, 40, 40, 20)
	nan := math.NaN()
	bowTie := ring(0, 0, 100, 100, 100, 0, 0, 100)
	tests := []struct {
		name string
		in   orb.Geometry
		want string
	}{
		{"nothing", nil, ""},
		{"square", polygon(square), ""},
		{"either way round", polygon(ring(0, 0, 0, 100, 100, 100, 100, 0)), ""},
		{"hole", polygon(square, hole), ""},
		{"three corners", polygon(ring(0, 0, 100, 0, 0, 100)), ""},
		{"point", orb.Point{-93, 36}, ""},
		{"line crossing itself", orb.LineString(at(0, 0, 10, 10, 10, 0, 0, 10)), ""},

		{"no number", polygon(orb.Ring{{-93, 36}, {nan, 36}, {-93, 37}, {-93, 36}}), want(valid.NotANumber, "1/1/2")},
		{"infinite point", orb.MultiPoint{{-93, 36}, {0, math.Inf(1)}}, want(valid.NotANumber, "2/0/0")},
		{"swapped axes, told once", polygon(orb.Ring{{36, -93}, {36, -93.1}, {36.1, -93}, {36, -93}}), want(valid.SwappedAxes, "1/1/1")},
		{"off the globe", orb.LineString{{-93, 36}, {200, 36}, {-93, 95}}, want(valid.OutOfRange, "1/0/2") + " " + want(valid.OutOfRange, "1/0/3")},
		{"polygon without rings", orb.Polygon{}, want(valid.TooFewPoints, "1/1/0")},
		{"ring without points", polygon(orb.Ring{}), want(valid.TooFewPoints, "1/1/0")},
		{"two corners", polygon(ring(0, 0, 10, 0)), want(valid.TooFewPoints, "1/1/0")},
		{"line of one point twice", orb.LineString(at(0, 0, 0, 0)), want(valid.TooFewPoints, "1/0/0") + " " + want(valid.RepeatedPoint, "1/0/2")},
		{"second line short", orb.MultiLineString{at(0, 0, 1, 1), at(5, 5)}, want(valid.TooFewPoints, "2/0/0")},
		{"open", polygon(orb.Ring(at(0, 0, 100, 0, 100, 100))), want(valid.NotClosed, "1/1/3")},
		{"repeated", polygon(ring(0, 0, 100, 0, 100, 0, 100, 100)), want(valid.RepeatedPoint, "1/1/3")},
		{"antimeridian", polygon(orb.Ring{{179, 10}, {-179, 10}, {-179, 11}, {179, 11}, {179, 10}}), want(valid.CrossesAntimeridian, "1/1/1") + " " + want(valid.CrossesAntimeridian, "1/1/3")},
		{"all on one line", polygon(ring(0, 0, 50, 50, 100, 100)), want(valid.ZeroArea, "1/1/0")},
		{"under a sliver", polygon(ring(0, 0, 0.1, 0, 0.1, 0.1, 0, 0.1)), want(valid.ZeroArea, "1/1/0")},

		{"spike", polygon(ring(0, 0, 100, 0, 100, 50, 160, 50, 100, 50, 100, 100, 0, 100)), want(valid.Spike, "1/1/4")},
		{"spike inward, shorter back", polygon(ring(0, 0, 100, 0, 100, 100, 40, 100, 80, 100, 80, 120, 0, 120)), want(valid.Spike, "1/1/4")},
		{"bow tie", polygon(bowTie), want(valid.CrossesItself, "1/1/1+1/1/3")},
		{"crossing in a corner", polygon(ring(0, 0, 50, 50, 100, 100, 100, 0, 50, 50, 0, 100)), want(valid.CrossesItself, "1/1/2+1/1/5")},
		{"corner on an edge, through", polygon(ring(0, 0, 100, 0, 100, 100, 50, 0, 50, -50, 0, -50)), want(valid.CrossesItself, "1/1/1+1/1/4")},
		{"figure eight that only touches", polygon(ring(0, 0, 50, 50, 0, 100, 100, 100, 50, 50, 100, 0)), want(valid.TouchesItself, "1/1/2+1/1/5")},
		{"corner on an edge, back", polygon(ring(0, 0, 100, 0, 100, 100, 50, 0, 0, 100)), want(valid.TouchesItself, "1/1/1+1/1/4")},
		{"runs along itself", polygon(ring(0, 0, 100, 0, 100, 40, 60, 40, 60, 60, 80, 60, 80, 40, 90, 40, 90, 100, 0, 100)), want(valid.TouchesItself, "1/1/3+1/1/7") + " " + want(valid.TouchesItself, "1/1/3+1/1/8")},

		{"hole outside", polygon(square, ring(200, 0, 220, 0, 220, 20)), want(valid.HoleOutside, "1/2/0+1/1/0")},
		{"hole across the shell", polygon(square, ring(80, 20, 80, 40, 120, 40, 120, 20)), want(valid.HoleCrossesShell, "1/2/2+1/1/2")},
		{"hole along the shell", polygon(square, ring(80, 20, 80, 40, 100, 40, 100, 20)), want(valid.HoleCrossesShell, "1/2/3+1/1/2")},
		{"hole is the shell", polygon(square, square), want(valid.HoleCrossesShell, "1/2/1+1/1/1")},
		{"hole touches in one corner", polygon(square, ring(80, 20, 80, 40, 100, 30)), ""},
		{"hole touches in two corners", polygon(square, ring(0, 50, 50, 60, 100, 50, 50, 40)), want(valid.GroundCutApart, "1/2/0+1/1/0")},
		{"chain of holes", polygon(square, ring(0, 50, 25, 60, 50, 50, 25, 40), ring(50, 50, 75, 60, 100, 50, 75, 40)), want(valid.GroundCutApart, "1/3/0+1/2/0")},
		{"three holes in one corner", polygon(square, ring(50, 50, 60, 55, 60, 45), ring(50, 50, 40, 55, 40, 45), ring(50, 50, 45, 60, 55, 60)), ""},
		{"holes cross", polygon(square, hole, ring(30, 30, 30, 60, 60, 60, 60, 30)), want(valid.HolesOverlap, "1/2/2+1/3/1")},
		{"hole in a hole", polygon(square, hole, ring(25, 25, 25, 30, 30, 30)), want(valid.HolesOverlap, "1/3/0+1/2/0")},
		{"same hole twice", polygon(square, hole, hole), want(valid.HolesOverlap, "1/2/1+1/3/1")},

		{"parts apart", orb.MultiPolygon{{square}, {ring(200, 0, 300, 0, 300, 100)}}, ""},
		{"parts touch in a corner", orb.MultiPolygon{{square}, {ring(100, 100, 200, 100, 200, 200)}}, ""},
		{"part in the other's hole", orb.MultiPolygon{{square, hole}, {ring(25, 25, 35, 25, 35, 35)}}, ""},
		{"parts cross", orb.MultiPolygon{{square}, {ring(50, 50, 150, 50, 150, 150, 50, 150)}}, want(valid.PartsOverlap, "1/1/2+2/1/1")},
		{"part in a part", orb.MultiPolygon{{square}, {ring(25, 25, 35, 25, 35, 35)}}, want(valid.PartsOverlap, "2/1/0+1/1/0")},
		{"parts edge to edge", orb.MultiPolygon{{square}, {ring(100, 0, 200, 0, 200, 100, 100, 100)}}, want(valid.PartsShareEdge, "1/1/2+2/1/4")},
		{"part fills the other's hole", orb.MultiPolygon{{square, hole}, {hole}}, want(valid.PartsShareEdge, "1/2/1+2/1/1")},
		{"same part twice", orb.MultiPolygon{{square}, {square}}, want(valid.PartsOverlap, "1/1/1+2/1/1")},
		{"collection counts on", orb.Collection{orb.Point{-93, 36}, polygon(square), polygon(bowTie)}, want(valid.CrossesItself, "3/1/1+3/1/3")},
	}
	for _, c := range tests {
		if got := text(valid.Check(c.in)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestPlaceOfACrossing(t *testing.T) {
	ds := valid.Check(polygon(ring(0, 0, 100, 100, 100, 0, 0, 100)))
	if len(ds) != 1 || !ds[0].Located() || ds[0].Severity() != valid.Repairable {
		t.Fatalf("%+v", ds)
	}
	if w := at(50, 50)[0]; math.Hypot(ds[0].At[0]-w[0], ds[0].At[1]-w[1]) > 1e-12 {
		t.Errorf("crossing at %v, want %v", ds[0].At, w)
	}
	empty := valid.Check(polygon(orb.Ring{}))
	if len(empty) != 1 || empty[0].Located() {
		t.Errorf("a ring without points has a place: %+v", empty)
	}
}

func TestSeverities(t *testing.T) {
	for _, r := range valid.Rules() {
		if s := r.Severity(); s < valid.Notice || s > valid.Fatal {
			t.Errorf("rule %d has severity %d", r, s)
		}
	}
	if w, ok := valid.Worst(nil); ok || w != valid.Notice {
		t.Error("nothing wrong is something")
	}
	if w, ok := valid.Worst([]valid.Defect{{Rule: valid.Spike}, {Rule: valid.ZeroArea}, {Rule: valid.RepeatedPoint}}); !ok || w != valid.Fatal {
		t.Errorf("worst %v", w)
	}
}

// Every ring GEOS 3.11.1 calls invalid is found (repair_cases.json; metres,
// brought to degrees by a scale that keeps every crossing), with the rule that
// its kind breaks.
func TestInvalidRingsOfTheReference(t *testing.T) {
	data, err := os.ReadFile("../../testdata/reference/geometry/repair_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []struct {
		Kind string       `json:"kind"`
		Ring [][2]float64 `json:"ring"`
	}
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) < 30 {
		t.Fatalf("read %d cases", len(cases))
	}
	rules := map[string][]valid.Rule{
		"bowtie":           {valid.CrossesItself},
		"overlapping_walk": {valid.CrossesItself},
		"figure8_touch":    {valid.TouchesItself},
		"spike":            {valid.Spike},
		"scribble":         {valid.CrossesItself},
	}
	for i, c := range cases {
		r := orb.Ring{}
		for _, p := range c.Ring {
			r = append(r, orb.Point{-93 + (p[0]-500000)*0x1p-17, 36 + (p[1]-3990000)*0x1p-17})
		}
		if r[0] != r[len(r)-1] {
			r = append(r, r[0])
		}
		ds := valid.Check(polygon(r))
		if !slices.ContainsFunc(ds, func(d valid.Defect) bool { return slices.Contains(rules[c.Kind], d.Rule) }) {
			t.Errorf("%d %s: %q, want one of the rules %v", i, c.Kind, text(ds), rules[c.Kind])
		}
	}
}

// A pair of edges at a time, without index: the same rings are called crossing.
func TestCrossingsAgainstALoop(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 1))
	for i := range 400 {
		n := 4 + rnd.IntN(10)
		var xy []float64
		for range n {
			// Whole metres, so that corners fall on edges and on each other.
			xy = append(xy, float64(rnd.IntN(12)), float64(rnd.IntN(12)))
		}
		r := ring(xy...)
		got := map[bool]bool{}
		for _, d := range valid.Check(polygon(r)) {
			got[d.Rule == valid.CrossesItself || d.Rule == valid.TouchesItself || d.Rule == valid.Spike || d.Rule == valid.ZeroArea || d.Rule == valid.TooFewPoints] = true
		}
		if w := simple(xy); got[true] == w {
			t.Errorf("%d: ring %v: defects %v, simple %v", i, xy, text(valid.Check(polygon(r))), w)
		}
	}
}

// simple is the definition in whole numbers: no two edges share a point but for
// the corner of neighbours. Repeated corners are passed over.
func simple(xy []float64) bool {
	var pts [][2]int
	for i := 0; i < len(xy); i += 2 {
		p := [2]int{int(xy[i]), int(xy[i+1])}
		if len(pts) == 0 || pts[len(pts)-1] != p {
			pts = append(pts, p)
		}
	}
	for len(pts) > 1 && pts[0] == pts[len(pts)-1] {
		pts = pts[:len(pts)-1]
	}
	n := len(pts)
	if n < 3 {
		return false
	}
	area := 0
	for i := range n {
		a, b := pts[i], pts[(i+1)%n]
		area += a[0]*b[1] - a[1]*b[0]
	}
	cross := func(a, b, c [2]int) int { return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0]) }
	on := func(a, b, p [2]int) bool {
		return cross(a, b, p) == 0 && min(a[0], b[0]) <= p[0] && p[0] <= max(a[0], b[0]) && min(a[1], b[1]) <= p[1] && p[1] <= max(a[1], b[1])
	}
	for i := range n {
		a, b := pts[i], pts[(i+1)%n]
		for j := i + 1; j < n; j++ {
			c, d := pts[j], pts[(j+1)%n]
			if j == i+1 || (i == 0 && j == n-1) {
				far1, far2, tip := a, d, b
				if j != i+1 {
					far1, far2, tip = b, c, a
				}
				if n > 2 && (on(a, b, far2) || on(c, d, far1)) && far1 != tip && far2 != tip {
					return false
				}
				continue
			}
			if on(a, b, c) || on(a, b, d) || on(c, d, a) || on(c, d, b) {
				return false
			}
			if (cross(a, b, c) > 0) != (cross(a, b, d) > 0) && (cross(c, d, a) > 0) != (cross(c, d, b) > 0) {
				return false
			}
		}
	}
	return area != 0
}

func TestLargeRings(t *testing.T) {
	n := 100_000
	circle := make(orb.Ring, 0, n+1)
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		circle = append(circle, orb.Point{-93 + 0.01*c, 36 + 0.01*s})
	}
	circle = append(circle, circle[0])
	start := time.Now()
	if ds := valid.Check(polygon(circle)); len(ds) != 0 {
		t.Errorf("circle: %v", text(ds))
	}
	broken := slices.Clone(circle)
	broken[5000], broken[8000] = broken[8000], broken[5000]
	if ds := valid.Check(polygon(broken)); len(ds) == 0 || ds[0].Rule != valid.CrossesItself || ds[0].Vertex != 5000 {
		t.Errorf("two corners changed round: %v", text(ds))
	}
	rnd := rand.New(rand.NewPCG(1, 1))
	scribble := make(orb.Ring, 0, 3001)
	for range 3000 {
		scribble = append(scribble, orb.Point{-93 + rnd.Float64(), 36 + rnd.Float64()})
	}
	scribble = append(scribble, scribble[0])
	if ds := valid.Check(polygon(scribble)); len(ds) != valid.MaxPerRule {
		t.Errorf("scribble: %d defects, want the cap %d", len(ds), valid.MaxPerRule)
	}
	var needles []float64
	for i := range 20_000 {
		needles = append(needles, float64(i%2)*5000, float64(i))
	}
	// The way back to the start crosses them all.
	if ds := valid.Check(polygon(ring(needles...))); len(ds) != valid.MaxPerRule || ds[0].Rule != valid.CrossesItself {
		t.Errorf("needles: %v", text(ds))
	}
	diagonals := make([]float64, 0, 40_000)
	for i := range 10_000 {
		x := float64(i) / 10
		diagonals = append(diagonals, x, 0, x+5000+0.05, 5000)
	}
	if ds := valid.Check(polygon(ring(diagonals...))); len(ds) == 0 || ds[len(ds)-1].Rule != valid.TooIntricate {
		t.Errorf("diagonals: %v", text(ds))
	}
	t.Logf("took %v", time.Since(start))
	if limit := 30 * time.Second; time.Since(start) > limit { // about two on a quiet machine
		t.Errorf("took %v, want at most %v", time.Since(start), limit)
	}
}

func FuzzCheck(f *testing.F) {
	f.Add([]byte{0, 0, 10, 0, 10, 10, 0, 10})
	f.Add([]byte{0, 0, 5, 5, 0, 5, 5, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		var xy []float64
		for _, b := range data[:len(data)&^1] {
			xy = append(xy, float64(b))
		}
		if len(xy) < 4 || len(xy) > 400 {
			return
		}
		half := len(xy) / 4 * 2
		for _, g := range []orb.Geometry{polygon(ring(xy...)), polygon(ring(xy[:half]...), ring(xy[half:]...)), orb.MultiPolygon{{ring(xy[:half]...)}, {ring(xy[half:]...)}}} {
			for _, d := range valid.Check(g) {
				if d.Part < 1 || d.Rule < valid.NotANumber || d.Rule > valid.TooIntricate {
					t.Errorf("%v: defect %+v", g, d)
				}
			}
		}
	})
}
