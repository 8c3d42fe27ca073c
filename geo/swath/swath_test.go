package swath_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/overlay"
	"caneward/geo/plane"
	"caneward/geo/swath"

	"github.com/paulmach/orb"
)

// Values: every face of all edges judged by one inner point, shapely 1.8.5 on GEOS
// 3.11.1 in PROJ's transverse Mercator; tolerances as the reference's README
// states them (swaths.json).
func TestSwathsOnTheGround(t *testing.T) {
	data, err := os.ReadFile("../../testdata/reference/ground/swaths.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID    string `json:"id"`
			Block struct {
				Coordinates orb.Polygon `json:"coordinates"`
			} `json:"block"`
			Setback *struct {
				Feature struct {
					Coordinates orb.LineString `json:"coordinates"`
				} `json:"feature"`
				Distance geo.Metres `json:"distance_m"`
			} `json:"setback"`
			Track    [][4]float64       `json:"track"`
			Expected map[string]float64 `json:"expected"`
		} `json:"cases"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) != 10 {
		t.Fatalf("%d cases, want 10", len(file.Cases))
	}
	names := map[string]swath.Class{"covered_m2": swath.Covered, "doubled_m2": swath.Doubled, "missed_m2": swath.Missed, "missed_less_setback_m2": swath.MissedLessSetback,
		"outside_m2": swath.Outside, "in_setback_m2": swath.InSetback, "in_setback_in_block_m2": swath.InSetbackInBlock}
	ctx := context.Background()
	for _, c := range file.Cases {
		frame, err := plane.FrameOf(c.Block.Coordinates)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		block, err := frame.Region(c.Block.Coordinates)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		var fixes []swath.Fix
		box := block.Box()
		for _, f := range c.Track {
			p := frame.XY(geo.Position{f[0], f[1]})
			box = box.With(p)
			fixes = append(fixes, swath.Fix{At: p, Time: f[2], Width: geo.Metres(f[3])})
		}
		var zone plane.Region
		if c.Setback != nil {
			shape, err := frame.Shape(c.Setback.Feature.Coordinates)
			if err != nil {
				t.Fatal(c.ID, err)
			}
			if zone, err = buffer.Around(ctx, shape, c.Setback.Distance, buffer.Options{Within: buffer.TargetOf(plane.Shape{Ground: box.Grow(30).Region()})}); err != nil {
				t.Fatal(c.ID, err)
			}
		}
		work, err := swath.Read(fixes)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		got, err := swath.Cover(ctx, work, block, zone)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		if want := c.Expected; work.Runs != int(want["runs"]) || len(work.Pieces) != int(want["pieces"]) || math.Abs(float64(work.Length)/want["sprayed_length_m"]-1) > 1e-4 {
			t.Errorf("%s: %d runs, %d pieces, %.3f m; want %v", c.ID, work.Runs, len(work.Pieces), work.Length, want)
		}
		for name, class := range names {
			want := c.Expected[name]
			if off := math.Abs(float64(got.Area[class]) - want); off > 0.001*want+0.2 {
				t.Errorf("%s: %s %.3f, want %.3f", c.ID, name, got.Area[class], want)
			}
			if off := math.Abs(float64(got.Ground[class].Area() - got.Area[class])); off > 0.2 { // slivers that are not shown
				t.Errorf("%s: the shape of %s holds %.4f m2, its figure says %.4f", c.ID, name, got.Ground[class].Area(), got.Area[class])
			}
		}
		t.Logf("%s: covered %.3f of %.3f, doubled %.3f of %.3f", c.ID, got.Area[swath.Covered], c.Expected["covered_m2"], got.Area[swath.Doubled], c.Expected["doubled_m2"])
	}
}

// field is a day's work: passes of a sprayer up and down, its receiver wandering.
func field(rng *rand.Rand, passes, each int, width, spacing, jitter float64) []swath.Fix {
	var fixes []swath.Fix
	clock := 1_760_000_000.0
	slant := plane.XY{X: math.Cos(0.3), Y: math.Sin(0.3)}
	for p := range passes {
		for k := range each + 1 {
			along := float64(k) * 1.8
			if p%2 == 1 {
				along = float64(each-k) * 1.8
			}
			across := float64(p)*spacing + jitter*rng.NormFloat64()
			at := slant.Times(along).Plus(plane.XY{X: -slant.Y, Y: slant.X}.Times(across))
			w := geo.Metres(width)
			if k == each {
				w = 0
			}
			fixes = append(fixes, swath.Fix{At: at, Time: clock, Width: w})
			clock++
		}
		clock += 20
	}
	return fixes
}

func box(w, h float64) plane.Region {
	return plane.Box{Max: plane.XY{X: w, Y: h}}.Region()
}

// The parts must add up whatever the track does: covered less outside is what was
// covered of the block, the union from another engine holds as much ground, and
// every piece's ground is covered.
func TestPartsAddUp(t *testing.T) {
	ctx := context.Background()
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 1))
		fixes := field(rng, 6, 25, 3, 2.6, 0.05*float64(seed%5))
		work, err := swath.Read(fixes)
		if err != nil {
			t.Fatal(err)
		}
		block := box(40, 20)
		c, err := swath.Cover(ctx, work, block, box(20, 50))
		if err != nil {
			t.Fatal(err)
		}
		if off := math.Abs(float64(c.Area[swath.Covered] - c.Area[swath.Outside] + c.Area[swath.Missed] - block.Area())); off > 1e-6 {
			t.Errorf("seed %d: the block is off by %g m2", seed, off)
		}
		inside, _, err := overlay.Cut(ctx, c.Ground[swath.Covered], block)
		if err != nil {
			t.Fatalf("seed %d: the covered ground is no valid region: %v", seed, err)
		}
		if off := math.Abs(float64(inside.Area() - c.Area[swath.Covered] + c.Area[swath.Outside])); off > 0.1 { // slivers that are not shown
			t.Errorf("seed %d: another engine finds %g m2 more or less covered", seed, off)
		}
	}
}

func straight(from, to plane.XY, start float64) []swath.Fix {
	d := to.Minus(from)
	n := int(math.Hypot(d.X, d.Y))
	var out []swath.Fix
	for k := range n + 1 {
		f := swath.Fix{At: from.Plus(d.Times(float64(k) / float64(n))), Time: start + float64(k), Width: 2}
		if k == n {
			f.Width = 0
		}
		out = append(out, f)
	}
	return out
}

func TestSwathByHand(t *testing.T) {
	ctx := context.Background()
	up := straight(plane.XY{X: 0, Y: 0}, plane.XY{X: 0, Y: 10}, 0)
	shift := func(fixes []swath.Fix, offset geo.Metres) []swath.Fix {
		out := append([]swath.Fix(nil), fixes...)
		for i := range out {
			out[i].Offset = offset
		}
		return out
	}
	left := []swath.Fix{{At: plane.XY{X: 0, Y: 0}, Time: 0, Width: 2}, {At: plane.XY{X: 0, Y: 10}, Time: 1, Width: 2}, {At: plane.XY{X: -10, Y: 10}, Time: 2}}
	for _, c := range []struct {
		name                                string
		fixes                               []swath.Fix
		covered, doubled, missed, inSetback float64
	}{
		{"one pass of 2 m", up, 20, 0, 80, 10},
		// Metre k is left at k+1 s and met again at 20-k s: 15 s or more for the first three.
		{"the same way back", append(append([]swath.Fix(nil), up...), straight(plane.XY{Y: 10}, plane.XY{}, 11)...), 20, 6, 80, 10},
		{"strip of the right half of the boom", shift(up, 1), 20, 0, 80, 0},
		// A quarter of a disc of 1 m fills the outer side of the bend, polygonal.
		{"a bend to the left", left, 20 + 20 - 1 + math.Pi/4, 0, 100 - (10 + 5 + 3 + math.Pi/4), 0},
		// The strip lies 1 to 3 m right of the track: its outer wedge is a ring.
		{"a bend with the strip on the outer side", shift(left, 2), 40 + math.Pi*(9-1)/4, 0, 0, 0},
	} {
		work, err := swath.Read(c.fixes)
		if err != nil {
			t.Fatal(c.name, err)
		}
		got, err := swath.Cover(ctx, work, plane.Region{{{{X: -5}, {X: 5}, {X: 5, Y: 10}, {X: -5, Y: 10}, {X: -5}}}}, plane.Region{{{{X: -5, Y: -1}, {X: 0, Y: -1}, {X: 0, Y: 20}, {X: -5, Y: 20}, {X: -5, Y: -1}}}})
		if err != nil {
			t.Fatal(c.name, err)
		}
		if math.Abs(float64(got.Area[swath.Covered])-c.covered) > 0.01 {
			t.Errorf("%s: covered %.4f, want %.4f", c.name, got.Area[swath.Covered], c.covered)
		}
		if c.name[0] == 'a' {
			continue
		}
		if math.Abs(float64(got.Area[swath.Doubled])-c.doubled) > 0.01 || math.Abs(float64(got.Area[swath.Missed])-c.missed) > 0.01 || math.Abs(float64(got.Area[swath.InSetback])-c.inSetback) > 0.01 {
			t.Errorf("%s: doubled %.4f, missed %.4f, in setback %.4f; want %v, %v, %v", c.name, got.Area[swath.Doubled], got.Area[swath.Missed], got.Area[swath.InSetback], c.doubled, c.missed, c.inSetback)
		}
	}
}

func TestTracksThatCannotBe(t *testing.T) {
	fixes := straight(plane.XY{}, plane.XY{Y: 5}, 100)
	fixes[3].Time = 50
	var backwards *swath.BackwardsError
	if _, err := swath.Read(fixes); !errors.As(err, &backwards) || backwards.Index != 3 {
		t.Errorf("a clock set back: %v, want fix 3 named", err)
	}
	var much *swath.TooMuchError
	if _, err := swath.Read(make([]swath.Fix, swath.MaxFixes+1)); !errors.As(err, &much) {
		t.Errorf("too many fixes: %v", err)
	}
	work, err := swath.Read(nil)
	if err != nil {
		t.Fatal(err)
	}
	c, err := swath.Cover(context.Background(), work, box(10, 10), nil)
	if err != nil || c.Area[swath.Missed] != 100 {
		t.Errorf("no track: missed %v, %v; want all of the block", c.Area[swath.Missed], err)
	}
}

func BenchmarkCover5000(b *testing.B) {
	work, err := swath.Read(field(rand.New(rand.NewPCG(7, 7)), 25, 200, 3, 2.8, 0.1))
	if err != nil || len(work.Pieces) != 5000 {
		b.Fatal(len(work.Pieces), err)
	}
	block, zone := box(340, 70), box(30, 200)
	for b.Loop() {
		if _, err := swath.Cover(context.Background(), work, block, zone); err != nil {
			b.Fatal(err)
		}
	}
}
