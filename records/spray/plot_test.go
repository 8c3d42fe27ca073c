package spray

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/geo"
	"caneward/geo/plane"
)

// A row on a quarter circle of 50 m radius: the band to its left, 0.5 m deep,
// is a quarter ring, pi/4 x (50² - 49.5²) inside or (50.5² - 50²) outside.
func TestCurvedRow(t *testing.T) {
	s := at(t, -80.42, 35.87)
	curve := func(turn float64) orb.LineString {
		var l orb.LineString
		for i := range 91 {
			a := float64(i) * math.Pi / 180
			if turn < 0 {
				a = math.Pi/2 - a
			}
			l = append(l, s.p(50*math.Cos(a), 50*math.Sin(a)))
		}
		return l
	}
	for _, c := range []struct {
		name string
		turn float64
		want float64
	}{
		{"left is inside", 1, math.Pi / 4 * (50*50 - 49.5*49.5)},
		{"left is outside", -1, math.Pi / 4 * (50.5*50.5 - 50*50)},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(-10, -10, 60, 60), RowSpacing: 3,
				Rows: []blocks.Row{{Number: 1, Plants: 40, Parts: orb.MultiLineString{curve(c.turn)}}}}}}
			a := draft(t, g, `{"blocks":["`+idA+`"],"pattern":"band","band_width_m":1,"sides":1}`)
			near(t, "one-sided band", float64(a.Areas.Treated), c.want, 1e-3*c.want)
			near(t, "row length", float64(*a.RowLength), 50*math.Pi/2, 0.01)
			if *a.Plants != 40 {
				t.Errorf("%d plants, want the 40 counted", *a.Plants)
			}
		})
	}
}

func TestStations(t *testing.T) {
	l := plane.Line{{X: 0, Y: 0}, {X: 10, Y: 0}, {X: 10, Y: 10}}
	for _, c := range []struct {
		q    plane.XY
		want geo.Metres
	}{{plane.XY{X: 3, Y: 1}, 3}, {plane.XY{X: -5, Y: 0}, 0}, {plane.XY{X: 11, Y: 4}, 14}, {plane.XY{X: 10, Y: 99}, 20}} {
		if got := station(l, c.q); math.Abs(float64(got-c.want)) > 1e-12 {
			t.Errorf("%v: %v, want %v", c.q, got, c.want)
		}
	}
}
