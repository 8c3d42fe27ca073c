package walk_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records/scouting/walk"
)

// field is eight rows of 100 plants, 3 m apart, plants a metre apart, running
// north from the frame's origin.
func field(t *testing.T) (walk.Ground, plane.Frame) {
	t.Helper()
	frame, err := plane.FrameAt(geo.Position{-80, 35})
	if err != nil {
		t.Fatal(err)
	}
	g := walk.Ground{RowSpacing: 3, PlantSpacing: 1}
	for n := 1; n <= 8; n++ {
		x := float64(3 * n)
		g.Rows = append(g.Rows, blocks.Row{Number: n, Plants: 100, Parts: orb.MultiLineString{{frame.Position(plane.XY{X: x, Y: 0}), frame.Position(plane.XY{X: x, Y: 99})}}})
	}
	return g, frame
}

func path(frame plane.Frame, noise func() float64, points ...plane.XY) (line orb.LineString) {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		for k := 0.0; k < 20; k++ {
			p := a.Plus(b.Minus(a).Times(k / 20))
			line = append(line, frame.Position(plane.XY{X: p.X + noise(), Y: p.Y + noise()}))
		}
	}
	return append(line, frame.Position(points[len(points)-1]))
}

func TestWalked(t *testing.T) {
	g, frame := field(t)
	quiet := func() float64 { return 0 }
	for _, c := range []struct {
		name     string
		track    orb.MultiLineString
		accuracy geo.Metres
		want     string
	}{
		// In the alley at x = 10.5 rows 3 and 4 lie 1.5 m to either side.
		{"along an alley", orb.MultiLineString{path(frame, quiet, plane.XY{X: 10.5, Y: 0}, plane.XY{X: 10.5, Y: 99})}, 1.5, "[{false 3 1 100} {false 4 1 100}]"},
		{"along a row, half of it", orb.MultiLineString{path(frame, quiet, plane.XY{X: 9, Y: 0}, plane.XY{X: 9, Y: 49})}, 1, "[{false 3 1 50}]"},
		{"out and back two alleys on", orb.MultiLineString{path(frame, quiet, plane.XY{X: 4.5, Y: 0}, plane.XY{X: 4.5, Y: 99}, plane.XY{X: 4.5, Y: 110}, plane.XY{X: 16.5, Y: 110}, plane.XY{X: 16.5, Y: 99}, plane.XY{X: 16.5, Y: 0})}, 1.5,
			"[{false 1 1 100} {false 2 1 100} {false 5 1 100} {false 6 1 100}]"},
		{"two parts, the middle unseen", orb.MultiLineString{path(frame, quiet, plane.XY{X: 9, Y: 0}, plane.XY{X: 9, Y: 19}), path(frame, quiet, plane.XY{X: 9, Y: 79}, plane.XY{X: 9, Y: 99})}, 1, "[{false 3 1 20} {false 3 80 100}]"},
		{"a leap in one part", orb.MultiLineString{{frame.Position(plane.XY{X: 9, Y: 0}), frame.Position(plane.XY{X: 9, Y: 10}), frame.Position(plane.XY{X: 9, Y: 80}), frame.Position(plane.XY{X: 9, Y: 90})}}, 1, "[{false 3 1 11} {false 3 81 91}]"},
		{"across the rows", orb.MultiLineString{path(frame, quiet, plane.XY{X: 0, Y: 50.2}, plane.XY{X: 30, Y: 50.2})}, 1, "[]"},
		{"far off", orb.MultiLineString{path(frame, quiet, plane.XY{X: 500, Y: 0}, plane.XY{X: 500, Y: 90})}, 5, "[]"},
		{"a fix that knows no row", orb.MultiLineString{path(frame, quiet, plane.XY{X: 10.5, Y: 0}, plane.XY{X: 10.5, Y: 99})}, 60, "[]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := g.Walked(context.Background(), c.track, c.accuracy)
			if err != nil {
				t.Fatal(err)
			}
			if got := fmt.Sprint(p.Inspected); got != c.want {
				t.Errorf("got %s, want %s; rows %+v", got, c.want, p.Rows)
			}
		})
	}
}

// Fixes 1 m off at random in every row of a walk through alleys: the rows are
// named, and no row that was not passed.
func TestWalkedWithNoise(t *testing.T) {
	g, frame := field(t)
	random := rand.New(rand.NewPCG(11, 1))
	for round := range 50 {
		p, err := g.Walked(context.Background(), orb.MultiLineString{path(frame, func() float64 { return random.NormFloat64() * 0.66 }, plane.XY{X: 10.5, Y: 0}, plane.XY{X: 10.5, Y: 99})}, 1)
		if err != nil {
			t.Fatal(err)
		}
		plants := map[int]int{}
		for _, r := range p.Rows {
			plants[r.Row] = r.Plants
		}
		if plants[3] < 20 || plants[4] < 20 || plants[3]+plants[4] < 90 || plants[1]+plants[6]+plants[7]+plants[8] > 0 {
			t.Errorf("round %d: plants by row %v", round, plants)
		}
	}
}

func TestWalkedRefuses(t *testing.T) {
	g, frame := field(t)
	line := orb.MultiLineString{path(frame, func() float64 { return 0 }, plane.XY{}, plane.XY{X: 1})}
	if _, err := g.Walked(context.Background(), line, 0); !fault.Is(err, fault.Invalid) {
		t.Errorf("no accuracy: %v", err)
	}
	if _, err := (walk.Ground{}).Walked(context.Background(), line, 5); !fault.Is(err, fault.Invalid) {
		t.Errorf("no rows: %v", err)
	}
	if _, err := g.Walked(context.Background(), orb.MultiLineString{make(orb.LineString, walk.MaxFixes+1)}, 5); !fault.Is(err, fault.TooCostly) {
		t.Errorf("too long: %v", err)
	}
	ended, end := context.WithCancel(context.Background())
	end()
	if _, err := g.Walked(ended, line, 5); err != context.Canceled {
		t.Errorf("a context that has ended: %v", err)
	}
}

func TestNumbers(t *testing.T) {
	for want, given := range map[string][]int{"": nil, "1": {1}, "1, 2": {1, 2}, "1–3": {1, 2, 3}, "2, 5–8, 10, 11": {2, 5, 6, 7, 8, 10, 11}} {
		if got := walk.Numbers(given); got != want {
			t.Errorf("%v: %q, want %q", given, got, want)
		}
	}
}
