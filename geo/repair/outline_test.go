package repair_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/repair"
	"caneward/geo/valid"

	"github.com/paulmach/orb"
)

// Tables are drawn in metres about 93 degrees west, 36 north, near enough.
const (
	east  = 1 / 90163.0 // a metre in degrees of longitude, near enough
	north = 1 / 110960.0
)

func ring(xy ...float64) orb.Ring {
	var out orb.Ring
	for i := 0; i+1 < len(xy); i += 2 {
		out = append(out, orb.Point{-93 + xy[i]*east, 36 + xy[i+1]*north})
	}
	return append(out, out[0])
}

func box(x0, y0, x1, y1 float64) orb.Ring { return ring(x0, y0, x1, y0, x1, y1, x0, y1) }

func mended(t *testing.T, shape orb.MultiPolygon) repair.Result {
	t.Helper()
	res, err := repair.Outline(context.Background(), shape)
	if err != nil {
		t.Fatalf("%v: %v", shape, err)
	}
	whole(t, res)
	return res
}

// whole checks what holds for every result.
func whole(t *testing.T, res repair.Result) {
	t.Helper()
	if ds := valid.Check(res.Shape); len(ds) > 0 {
		t.Errorf("result has defects %v", ds)
	}
	for _, poly := range res.Shape {
		for j, r := range poly {
			if a, _ := measure.SignedRing(r); (a > 0) != (j == 0) {
				t.Errorf("ring %d runs the wrong way", j+1)
			}
		}
	}
	for _, c := range res.Changes {
		if c.Area < 0 || c.Part < 1 {
			t.Errorf("change %+v", c)
		}
		if c.Piece != nil && math.Abs(float64(measure.Area(c.Piece)-c.Area)) > 1e-6 {
			t.Errorf("piece of %v m2, told %v", measure.Area(c.Piece), c.Area)
		}
	}
	again, err := repair.Outline(context.Background(), res.Shape)
	if err != nil {
		t.Fatalf("mending again: %v", err)
	}
	if len(again.Changes) > 0 || again.Doubtful || !reflect.DeepEqual(again.Shape, res.Shape) {
		t.Errorf("mending again changes\n%v\nto\n%v: %v", res.Shape, again.Shape, again.Changes)
	}
}

func grown(res repair.Result) (sum geo.SquareMetres) {
	for _, c := range res.Changes {
		sum += c.Grown
	}
	return sum
}

func told(res repair.Result, rule valid.Rule) (out []repair.Change) {
	for _, c := range res.Changes {
		if c.Rule == rule {
			out = append(out, c)
		}
	}
	return out
}

// Areas, parts and holes are those of testdata/cases/cases.csv, which says how
// each was computed (GeographicLib's Planimeter).
func TestOutlineCases(t *testing.T) {
	tests := []struct {
		id       string
		rule     valid.Rule
		area     float64
		parts    int
		holes    int
		doubtful bool
	}{
		{"V006", valid.CrossesItself, 5407.29, 2, 0, true},
		{"V007", valid.TouchesItself, 17423.06, 1, 1, false},
		{"V008", valid.Spike, 16092.24, 1, 0, false},
		{"V010", valid.HoleOutside, 16092.24, 1, 0, true},
		{"V012", valid.PartsOverlap, 20306.07, 1, 0, false},
	}
	files := caseFiles(t)
	for _, tt := range tests {
		t.Run(tt.id, func(t *testing.T) {
			res := mended(t, readShape(t, files[tt.id]))
			if off := math.Abs(float64(res.After) - tt.area); !(off <= 0.005) {
				t.Errorf("area %.3f, want %.2f", float64(res.After), tt.area)
			}
			holes := 0
			for _, p := range res.Shape {
				holes += len(p) - 1
			}
			if len(res.Shape) != tt.parts || holes != tt.holes {
				t.Errorf("%d parts, %d holes; want %d, %d", len(res.Shape), holes, tt.parts, tt.holes)
			}
			if res.Doubtful != tt.doubtful {
				t.Errorf("doubtful %v, want %v", res.Doubtful, tt.doubtful)
			}
			if len(told(res, tt.rule)) == 0 {
				t.Errorf("rule %d is not told: %+v", tt.rule, res.Changes)
			}
			if off := float64(res.After - res.Before - grown(res)); math.Abs(off) > 0.01 {
				t.Errorf("changes add up to %v, areas moved by %v", grown(res), res.After-res.Before)
			}
		})
	}
}

func caseFiles(t *testing.T) map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/cases/cases.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, r := range rows {
		out[r[0]] = "../../testdata/cases/" + r[1]
	}
	return out
}

func readShape(t *testing.T, file string) orb.MultiPolygon {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	type geometry struct {
		Type        string
		Coordinates json.RawMessage
	}
	var doc struct {
		Features []struct{ Geometry geometry }
		Geometry geometry
	}
	if err := json.Unmarshal(raw, &doc); err != nil {
		t.Fatal(err)
	}
	g := doc.Geometry
	if len(doc.Features) > 0 {
		g = doc.Features[0].Geometry
	}
	var mp orb.MultiPolygon
	switch g.Type {
	case "Polygon":
		mp = make(orb.MultiPolygon, 1)
		err = json.Unmarshal(g.Coordinates, &mp[0])
	case "MultiPolygon":
		err = json.Unmarshal(g.Coordinates, &mp)
	default:
		t.Fatalf("%s: %s", file, g.Type)
	}
	if err != nil {
		t.Fatal(err)
	}
	return mp
}

// The wants are the drawings' own plain arithmetic, in metres of the drawing.
func TestOutlineRules(t *testing.T) {
	block := box(0, 0, 100, 60) // 6,000
	type change struct {
		rule        valid.Rule
		area, grown float64
	}
	tests := []struct {
		name     string
		in       orb.MultiPolygon
		area     float64
		parts    int
		holes    int
		doubtful bool
		changes  []change
	}{
		{"nothing wrong", orb.MultiPolygon{{block}}, 6000, 1, 0, false, nil},
		{"no part", orb.MultiPolygon{}, 0, 0, 0, false, nil},
		{"clockwise", orb.MultiPolygon{{ring(0, 0, 0, 60, 100, 60, 100, 0)}}, 6000, 1, 0, false, nil},
		{"bow-tie, one lobe larger", orb.MultiPolygon{{ring(0, 0, 90, 60, 90, 0, 0, 30)}}, 450 + 1800, 2, 0, true, // the lobes meet in 30, 20
			[]change{{valid.CrossesItself, 450, 2 * 450}}},
		{"comes home across its first side", orb.MultiPolygon{{ring(-3, 2, 100, 0, 100, 60, 0, 60, 0, 0)}}, 5902.91 + 2.91, 2, 0, false,
			[]change{{valid.CrossesItself, 2.91, 2 * 2.91}}},
		{"spike along a side", orb.MultiPolygon{{ring(0, 0, 150, 0, 100, 0, 100, 60, 0, 60)}}, 6000, 1, 0, false,
			[]change{{valid.Spike, 0, 0}}},
		{"overlapping parts", orb.MultiPolygon{{block}, {box(90, 0, 150, 60)}}, 9000, 1, 0, false,
			[]change{{valid.PartsOverlap, 600, -600}}},
		{"parts side by side", orb.MultiPolygon{{block}, {box(100, 0, 150, 60)}}, 9000, 1, 0, false,
			[]change{{valid.PartsShareEdge, 0, 0}}},
		{"a part's corner on a side", orb.MultiPolygon{{block}, {box(100, 10, 150, 40)}}, 7500, 1, 0, false,
			[]change{{valid.PartsShareEdge, 0, 0}}},
		{"a part inside another", orb.MultiPolygon{{block}, {box(10, 10, 20, 20)}}, 6000, 1, 0, false,
			[]change{{valid.PartsOverlap, 100, -100}}},
		{"an island in a hole stays", orb.MultiPolygon{{block, box(10, 10, 40, 40)}, {box(20, 20, 30, 30)}}, 5200, 2, 1, false, nil},
		{"overlapping holes", orb.MultiPolygon{{block, box(10, 10, 30, 30), box(20, 10, 40, 30)}}, 5400, 1, 1, false,
			[]change{{valid.HolesOverlap, 200, 200}}},
		{"nested holes", orb.MultiPolygon{{block, box(10, 10, 30, 30), box(15, 15, 20, 20)}}, 5600, 1, 1, false,
			[]change{{valid.HolesOverlap, 25, 25}}},
		{"hole across the shell", orb.MultiPolygon{{block, box(90, 20, 110, 40)}}, 5800, 1, 0, false,
			[]change{{valid.HoleCrossesShell, 200, 200}}},
		{"hole along the shell", orb.MultiPolygon{{block, box(90, 20, 100, 40)}}, 5800, 1, 0, false,
			[]change{{valid.HoleCrossesShell, 0, 0}}},
		{"hole cuts the ground in two", orb.MultiPolygon{{block, box(40, -10, 50, 70)}}, 5400, 2, 0, false,
			[]change{{valid.HoleCrossesShell, 100, 100}, {valid.HoleCrossesShell, 100, 100}}},
		{"hole outside", orb.MultiPolygon{{block, box(200, 0, 210, 10)}}, 6000, 1, 0, true,
			[]change{{valid.HoleOutside, 100, 100}}},
		{"hole equal to the shell", orb.MultiPolygon{{block, block}}, 0, 0, 0, true,
			[]change{{valid.HoleCrossesShell, 6000, 0}}},
		{"touches itself from within", orb.MultiPolygon{{ring(0, 0, 100, 0, 100, 60, 50, 60, 70, 30, 30, 30, 50, 60, 0, 60)}}, 5400, 1, 1, false,
			[]change{{valid.TouchesItself, 600, 0}}},
		{"walk goes on past its start", orb.MultiPolygon{{ring(0, 0, 100, 0, 100, 60, 0, 60, 0, 0, 10, 0, 10, 60)}}, 6000, 1, 0, false,
			[]change{{valid.CrossesItself, 300, -300}, {valid.TouchesItself, 0, 0}, {valid.TouchesItself, 0, 0}, {valid.TouchesItself, 0, 0}}},
		{"shell of one line", orb.MultiPolygon{{block}, {ring(200, 0, 210, 0, 220, 0)}}, 6000, 1, 0, true,
			[]change{{valid.ZeroArea, 0, 0}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			res := mended(t, tt.in)
			near := func(got geo.SquareMetres, want float64) bool {
				return math.Abs(float64(got)-want) <= 1e-3*math.Abs(want)+0.01
			}
			holes := 0
			for _, p := range res.Shape {
				holes += len(p) - 1
			}
			if !near(res.After, tt.area) || len(res.Shape) != tt.parts || holes != tt.holes || res.Doubtful != tt.doubtful {
				t.Errorf("area %.1f, %d parts, %d holes, doubtful %v; want %.1f, %d, %d, %v\nchanges %+v", float64(res.After), len(res.Shape), holes, res.Doubtful, tt.area, tt.parts, tt.holes, tt.doubtful, res.Changes)
			}
			if len(res.Changes) != len(tt.changes) {
				t.Fatalf("changes %+v, want %v", res.Changes, tt.changes)
			}
			for i, want := range tt.changes {
				got := res.Changes[i]
				if got.Rule != want.rule || !near(got.Area, want.area) || !near(got.Grown, want.grown) {
					t.Errorf("change %+v, want %v", got, want)
				}
			}
			// Sides straight in degrees and geodesics part by a little ground.
			if off := res.After - res.Before - grown(res); math.Abs(float64(off)) > 0.05 {
				t.Errorf("changes add up to %v, areas moved by %v", grown(res), res.After-res.Before)
			}
		})
	}
}

// Half of what the file says is gone: counted once, but somebody has to agree.
func TestOutlineTwoLaps(t *testing.T) {
	res := mended(t, orb.MultiPolygon{{ring(0, 0, 100, 0, 100, 60, 0, 60, 0, 0, 100, 0, 100, 60, 0, 60)}})
	crossed := told(res, valid.CrossesItself)
	if !res.Doubtful || len(crossed) != 1 || math.Abs(float64(res.After-6000)) > 6 {
		t.Fatalf("doubtful %v, area %v, changes %+v", res.Doubtful, res.After, res.Changes)
	}
	if c := crossed[0]; c.Area != res.After || c.Grown != -res.After {
		t.Errorf("%v m2 counted once, grown by %v; want all of %v", c.Area, c.Grown, res.After)
	}
}

func TestOutlineReorder(t *testing.T) {
	res := mended(t, orb.MultiPolygon{{ring(0, 0, 100, 60, 100, 0, 0, 60)}})
	if res.Reorder == nil {
		t.Fatal("no other order proposed")
	}
	if ds := valid.Check(*res.Reorder); len(ds) > 0 {
		t.Fatalf("defects %v", ds)
	}
	if a := float64(measure.Area(*res.Reorder)); math.Abs(a-6000) > 6 {
		t.Errorf("area %v, want the block's 6000", a)
	}
	if got := mended(t, orb.MultiPolygon{{box(0, 0, 100, 60), box(200, 0, 210, 10)}}); got.Reorder != nil {
		t.Error("an outline with a hole is not put in another order")
	}
}

func TestOutlineAcross180(t *testing.T) {
	in := orb.MultiPolygon{{{{179.9995, -16.8}, {-179.9995, -16.799}, {-179.9995, -16.8}, {179.9995, -16.799}, {179.9995, -16.8}}}}
	moved := in.Clone()
	for i, p := range moved[0][0] {
		moved[0][0][i][0] = math.Mod(p[0]+360, 360) - 100
	}
	got, want := mended180(t, in), mended(t, moved)
	if math.Abs(float64(got.After-want.After)) > 1e-3 || len(got.Shape) != 2 || !got.Doubtful {
		t.Errorf("area %v in %d parts, want %v in 2", got.After, len(got.Shape), want.After)
	}
	for _, c := range got.Changes {
		if math.Abs(math.Abs(c.At[0])-180) > 0.001 {
			t.Errorf("change at %v", c.At)
		}
	}
}

// mended180 is mended without the check of validity, which RFC 7946 fails for
// rings that are not cut at 180 degrees.
func mended180(t *testing.T, shape orb.MultiPolygon) repair.Result {
	t.Helper()
	res, err := repair.Outline(context.Background(), shape)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func TestOutlineRefuses(t *testing.T) {
	comb := make(orb.Ring, 0, 1001)
	for i := range 500 { // a thousand sides, each across half of the others
		f := float64(i)
		comb = append(comb, orb.Point{-93 + f*1e-6, 36}, orb.Point{-93 + (500-f)*1e-6, 36.01})
	}
	comb = append(comb, comb[0])
	tests := []struct {
		name string
		in   orb.MultiPolygon
		as   any
	}{
		{"not a number", orb.MultiPolygon{{{{math.NaN(), 36}, {-93, 36}, {-93, 36.1}, {-93.1, 36}}}}, new(*repair.DefectError)},
		{"off the Earth", orb.MultiPolygon{{{{-193, 36}, {-93, 36}, {-93, 36.1}, {-193, 36}}}}, new(*repair.DefectError)},
		{"too many corners", orb.MultiPolygon{{make(orb.Ring, repair.MaxCorners+1)}}, new(*repair.IntricateError)},
		{"too many crossings", orb.MultiPolygon{{comb}}, new(*repair.IntricateError)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			begun := time.Now()
			_, err := repair.Outline(context.Background(), tt.in)
			if !errors.As(err, tt.as) {
				t.Errorf("got %v, want %T", err, tt.as)
			}
			if d := time.Since(begun); d > 10*time.Second {
				t.Errorf("took %v", d)
			}
		})
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	bow := orb.MultiPolygon{{ring(0, 0, 100, 60, 100, 0, 0, 60)}}
	if _, err := repair.Outline(ended, bow); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's end", err)
	}
}

// degreesOf lays a planar ring near 93 degrees west so that one unit is 2^-17
// degree both ways: the coordinates stay exact.
func degreesOf(pts []plane.XY) orb.Ring {
	out := make(orb.Ring, 0, len(pts)+1)
	for _, p := range pts {
		out = append(out, orb.Point{-93 + (p.X-500000)*0x1p-17, 36 + (p.Y-3990000)*0x1p-17})
	}
	return append(out, out[0])
}

func TestOutlineScribbles(t *testing.T) {
	r := rand.New(rand.NewPCG(20261125, 4))
	grids := []float64{0, 0.5, 10, 25}
	for i := range 400 {
		var shape orb.MultiPolygon
		for range 1 + r.IntN(3) {
			var poly orb.Polygon
			for range 1 + r.IntN(3) {
				poly = append(poly, degreesOf(scribble(r, 3+r.IntN(12), grids[i%len(grids)])))
			}
			shape = append(shape, poly)
		}
		res := mended(t, shape)
		if t.Failed() {
			t.Fatalf("scribble %d: %v", i, shape)
		}
		if i%10 > 0 {
			continue
		}
		again := mended(t, shape)
		if !reflect.DeepEqual(res, again) {
			t.Fatalf("scribble %d comes out in two ways", i)
		}
	}
}

// The order of the parts, of the holes, and where and which way a ring begins say
// nothing about the ground.
func TestOutlineOrderSaysNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(20261125, 5))
	for i := range 200 {
		a, b := degreesOf(scribble(r, 8, 0)), degreesOf(scribble(r, 8, 0))
		hole := degreesOf(scribble(r, 6, 0))
		back := slices.Clone(b)
		slices.Reverse(back)
		one := mended(t, orb.MultiPolygon{{a, hole}, {b}})
		two := mended(t, orb.MultiPolygon{{back}, {a, hole}})
		if math.Abs(float64(one.After-two.After)) > 1e-4 {
			t.Errorf("%d: %v and %v", i, one.After, two.After)
		}
	}
}

// walk goes round a block of 300 m and on past its start for a tenth of the
// way, two metres wide of where it went at first, give or take a metre.
func walk(n int) orb.MultiPolygon {
	r := rand.New(rand.NewPCG(1, 2))
	out := make([]float64, 0, 2*n)
	for i := range n {
		a := 2.2 * math.Pi * float64(i) / float64(n)
		rad := 150 + 2*a/math.Pi + r.NormFloat64()*0.2
		out = append(out, rad*math.Cos(a), rad*math.Sin(a))
	}
	return orb.MultiPolygon{{ring(out...)}}
}

func TestOutlineLongWalk(t *testing.T) {
	res := mended(t, walk(10_000))
	if res.Doubtful {
		t.Errorf("doubtful: %+v", told(res, valid.CrossesItself)[0])
	}
	if off := res.After - res.Before - grown(res); math.Abs(float64(off)) > 1 {
		t.Errorf("changes add up to %v, areas moved by %v", grown(res), res.After-res.Before)
	}
	// Wobble leaves loops at the edge; all but a thousandth is one part.
	if most := measure.Area(res.Shape[0]); most < 0.999*res.After {
		t.Errorf("%d parts, the first of %v m2 in %v", len(res.Shape), most, res.After)
	}
}

func BenchmarkOutlineOverlappingWalk(b *testing.B) {
	for _, n := range []int{1000, 10_000} {
		in := walk(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := repair.Outline(context.Background(), in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func FuzzOutline(f *testing.F) {
	f.Add("0,0 9,6 9,0 0,6", "")
	f.Add("0,0 9,0 9,6 0,6 0,0 1,0 1,6", "2,2 3,2 3,3")
	f.Add("0,0 9,0 9,6 0,6", "0,0 9,0 9,6 0,6")
	f.Fuzz(func(t *testing.T, shell, hole string) {
		var poly orb.Polygon
		for _, text := range []string{shell, hole} {
			var r orb.Ring
			for _, field := range strings.Fields(text) {
				var x, y float64
				if _, err := fmt.Sscanf(field, "%f,%f", &x, &y); err == nil {
					r = append(r, orb.Point{-93 + x*1e-4, 36 + y*1e-4})
				}
			}
			if len(r) > 0 && len(r) < 40 {
				poly = append(poly, append(r, r[0]))
			}
		}
		res, err := repair.Outline(context.Background(), orb.MultiPolygon{poly})
		if refused := (*repair.DefectError)(nil); errors.As(err, &refused) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		whole(t, res)
	})
}

// Sides that all but fall together are where engines of this family have lost
// ground: a ring walked twice, or two parts along one side, off by 1e-13 to 1e-6
// degrees (10 nm to 0.1 m).
func TestOutlineNearlyCoincident(t *testing.T) {
	r := rand.New(rand.NewPCG(20261125, 7))
	for i := range 150 {
		jitter := math.Pow(10, -13+7*r.Float64())
		n := 4 + r.IntN(30)
		star := make(orb.Ring, n)
		for k := range star {
			a, rad := 2*math.Pi*float64(k)/float64(n), 30+70*r.Float64()
			star[k] = orb.Point{-93 + rad*math.Cos(a)*east, 36 + rad*math.Sin(a)*north}
		}
		off := star.Clone()
		for k := range off {
			off[k][0] += jitter * r.NormFloat64()
			off[k][1] += jitter * r.NormFloat64()
		}
		one := append(star.Clone(), star[0])
		other := append(off.Clone(), off[0])
		laps := append(append(star.Clone(), off...), star[0])
		want := measure.Area(one)
		// Ground between the two may be had or not: length by jitter.
		allowed := 0.05 + 4*jitter/north*float64(measure.Perimeter(one))
		for name, shape := range map[string]orb.MultiPolygon{"laps": {{laps}}, "parts": {{one}, {other}}} {
			res := mended(t, shape)
			if math.Abs(float64(res.After-want)) > allowed {
				t.Errorf("%d %s, jitter %.1e: area %v, want %v within %.3f", i, name, jitter, res.After, want, allowed)
			}
		}
		res := mended(t, orb.MultiPolygon{{one, other}})
		if float64(res.After) > allowed {
			t.Errorf("%d hole, jitter %.1e: %v m2 are left", i, jitter, res.After)
		}
		if t.Failed() {
			t.Fatalf("%v", laps)
		}
	}
}
