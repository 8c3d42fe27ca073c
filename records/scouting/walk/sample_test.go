package walk_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/records/scouting"
	"caneward/records/scouting/walk"
)

// The first numbers of SplitMix64 for seed 1234567, as published with the
// generator's port at Rosetta Code ("Pseudo-random numbers/Splitmix64"; from
// memory).
func TestSplitMix(t *testing.T) {
	g := walk.SplitMix{State: 1234567}
	for i, want := range []uint64{6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821} {
		if got := g.Next(); got != want {
			t.Errorf("number %d: %d, want %d", i+1, got, want)
		}
	}
}

func TestBelowIsEven(t *testing.T) {
	g := walk.SplitMix{State: 7}
	counts := make([]int, 7)
	const draws = 70_000
	for range draws {
		counts[g.Below(7)]++
	}
	chi := 0.0
	for _, n := range counts {
		chi += math.Pow(float64(n)-draws/7, 2) / (draws / 7)
	}
	// The 99.9 % point of chi-square with 6 degrees of freedom is 22.46 (tables).
	if chi > 22.46 {
		t.Errorf("counts %v: chi-square %v", counts, chi)
	}
}

func rows() []blocks.Row {
	return []blocks.Row{{Number: 2, Plants: 4, Missing: []int{2}}, {Number: 1, Plants: 3}, {Number: 3, Plants: 9, Skipped: true}, {Number: 4, Plants: 2}, {Number: 5}}
}

func TestLivingInWalkingOrder(t *testing.T) {
	got := fmt.Sprint(walk.Living(rows()))
	if want := "[{1 1} {1 2} {1 3} {2 4} {2 3} {2 1} {4 1} {4 2}]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func many(n int) []scouting.Place {
	return walk.Living([]blocks.Row{{Number: 1, Plants: n}})
}

func TestDraw(t *testing.T) {
	living := many(1000)
	for _, kind := range walk.Kinds {
		for _, stops := range []int{1, 7, 100, 999, 1000} {
			got, err := walk.Draw(living, stops, kind, 42)
			if err != nil || len(got) != stops {
				t.Fatalf("%s %d: %d stops, %v", kind, stops, len(got), err)
			}
			again, _ := walk.Draw(living, stops, kind, 42)
			if !slices.Equal(got, again) {
				t.Errorf("%s %d: the same seed gives other stops", kind, stops)
			}
			for i := 1; i < len(got); i++ {
				if got[i].Plant <= got[i-1].Plant {
					t.Fatalf("%s %d: plant %d after %d", kind, stops, got[i].Plant, got[i-1].Plant)
				}
			}
			if other, _ := walk.Draw(living, stops, kind, 43); kind == walk.Random && stops < 999 && slices.Equal(got, other) {
				t.Errorf("%s %d: another seed gives the same stops", kind, stops)
			}
			if kind == walk.Spread && stops > 1 {
				for i := 1; i < len(got); i++ {
					if step := got[i].Plant - got[i-1].Plant; math.Abs(float64(step)-1000/float64(stops)) >= 1 {
						t.Errorf("spread over %d: a step of %d", stops, step)
					}
				}
			}
		}
	}
	for _, c := range []struct {
		living []scouting.Place
		stops  int
		field  string
	}{{living, 0, "stops"}, {living, 1001, "stops"}, {living, walk.MaxStops + 1, "stops"}, {nil, 5, "block"}} {
		_, err := walk.Draw(c.living, c.stops, walk.Random, 1)
		if f, ok := err.(*fault.Error); !ok || f.Details[0].Field != c.field {
			t.Errorf("%d of %d: %v, want a fault at %s", c.stops, len(c.living), err, c.field)
		}
	}
}

// Every plant is drawn as often as any other: 3 of 8, 40,000 seeds.
func TestDrawIsFair(t *testing.T) {
	for _, kind := range walk.Kinds {
		counts := map[scouting.Place]int{}
		const seeds = 40_000
		for seed := range uint64(seeds) {
			stops, err := walk.Draw(many(8), 3, kind, seed)
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range stops {
				counts[p]++
			}
		}
		for p, n := range counts {
			if want := seeds * 3 / 8.0; math.Abs(float64(n)-want) > 5*math.Sqrt(want) {
				t.Errorf("%s: plant %d drawn %d times, want about %v", kind, p.Plant, n, want)
			}
		}
		if len(counts) != 8 {
			t.Errorf("%s: %d plants were ever drawn", kind, len(counts))
		}
	}
}

// What seed 20260414 draws stays what it draws: a printed walk can be drawn
// again. Expected: the same rules in twenty lines of Python, whole numbers only.
func TestDrawStays(t *testing.T) {
	for kind, want := range map[walk.Kind]string{walk.Random: "[61 120 160 221 423 727 943 985]", walk.Spread: "[15 140 265 390 515 640 765 890]"} {
		got, err := walk.Draw(many(1000), 8, kind, 20260414)
		if err != nil {
			t.Fatal(err)
		}
		var plants []int
		for _, p := range got {
			plants = append(plants, p.Plant)
		}
		if s := fmt.Sprint(plants); s != want {
			t.Errorf("%s: %s, want %s", kind, s, want)
		}
	}
}

func TestLocated(t *testing.T) {
	row := blocks.Row{Number: 1, Plants: 11, Parts: orb.MultiLineString{{{-80, 35}, {-80, 35.0001}}}}
	stops := walk.Located([]scouting.Place{{Row: 1, Plant: 1}, {Row: 1, Plant: 3}, {Row: 1, Plant: 99}, {Row: 2, Plant: 1}}, []blocks.Row{row}, 1)
	if stops[0].At == nil || math.Abs(stops[0].At[1]-35) > 1e-9 || stops[1].At == nil || math.Abs(stops[1].At[1]-35.0000180) > 2e-7 {
		t.Errorf("stops: %+v", stops)
	}
	if stops[2].At != nil || stops[3].At != nil {
		t.Errorf("a plant that is not there has a place: %+v", stops)
	}
}
