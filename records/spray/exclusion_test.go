package spray

import (
	"math"
	"math/rand/v2"
	"testing"

	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/overlay"
	"caneward/geo/plane"
)

// The zone round stars with corners turned inward and outward, held against its
// definition: all places within the distance of the shell or inside it, and none
// farther by more than the rounds overshoot.
func TestRimIsWhatLiesWithinTheDistance(t *testing.T) {
	const d geo.Metres = 30
	over := d*geo.Metres(1/math.Cos(math.Pi/grownArcs)-1) + geo.SamePlace
	random := rand.New(rand.NewPCG(7, 11))
	for star := range 40 {
		var shell plane.Ring
		corners := 4 + random.IntN(16)
		for k := range corners {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(corners))
			r := 5 + 95*random.Float64()
			shell = append(shell, plane.XY{X: r * cos, Y: r * sin})
		}
		shell = append(shell, shell[0])
		if meetsItself(shell) {
			t.Fatalf("star %d is taken to meet itself: %v", star, shell)
		}
		around, err := overlay.Union(t.Context(), rim(shell, d)...)
		if err != nil || len(around) != 1 {
			t.Fatalf("star %d of %v: %d parts, %v", star, shell, len(around), err)
		}
		zone := plane.Polygon{around[0][0]}
		ground := plane.Shape{Ground: plane.Region{{shell}}}
		for range 2000 {
			at := plane.XY{X: 280*random.Float64() - 140, Y: 280*random.Float64() - 140}
			apart, _, _ := buffer.Nearest(plane.Shape{Points: []plane.XY{at}}, ground)
			if in := zone.Contains(at); !in && apart < d-geo.SamePlace || in && apart > d+over {
				t.Fatalf("star %d of %v: %v at %.4f m: in the zone %v", star, shell, at, apart, in)
			}
		}
	}
}

func TestMeetsItself(t *testing.T) {
	for _, c := range []struct {
		name  string
		shell plane.Ring
		want  bool
	}{
		{"square", plane.Ring{{X: 0, Y: 0}, {X: 9, Y: 0}, {X: 9, Y: 9}, {X: 0, Y: 9}, {X: 0, Y: 0}}, false},
		{"bow-tie", plane.Ring{{X: 0, Y: 0}, {X: 9, Y: 9}, {X: 9, Y: 0}, {X: 0, Y: 9}, {X: 0, Y: 0}}, true},
		{"corner on an edge", plane.Ring{{X: 0, Y: 0}, {X: 9, Y: 0}, {X: 9, Y: 9}, {X: 4, Y: 0}, {X: 0, Y: 9}, {X: 0, Y: 0}}, true},
	} {
		if got := meetsItself(c.shell); got != c.want {
			t.Errorf("%s %v: %v, want %v", c.name, c.shell, got, c.want)
		}
	}
}
