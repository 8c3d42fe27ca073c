package layout

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"caneward/geo"
	"caneward/geo/plane"
)

// randomOutline is a star-shaped field of about 100 m x 60 m with up to three
// holes inside it.
func randomOutline(dice *rand.Rand) [][]plane.XY {
	star := func(middle plane.XY, rx, ry, least float64, corners int) []plane.XY {
		var out []plane.XY
		for i := range corners {
			sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.8*dice.Float64()) / float64(corners))
			r := least + (1-least)*dice.Float64()
			out = append(out, plane.XY{X: middle.X + rx*r*cos, Y: middle.Y + ry*r*sin})
		}
		return out
	}
	rings := [][]plane.XY{star(plane.XY{X: 50, Y: 30}, 60, 40, 0.5, 7+dice.IntN(18))}
	for k := range dice.IntN(4) {
		rings = append(rings, star(plane.XY{X: 42 + 8*float64(k), Y: 28 + 2*float64(k)}, 3.5, 5, 0.4, 3+dice.IntN(6)))
	}
	return rings
}

func randomSpec(dice *rand.Rand) Spec {
	s := Spec{RowSpacing: 2 + 2*geo.Metres(dice.Float64()), PlantSpacing: 0.5 + geo.Metres(dice.Float64()),
		Bearing: geo.Degrees(dice.Float64() * 360), FromRight: dice.IntN(2) == 0, FromFarEnd: dice.IntN(2) == 0}
	if dice.IntN(2) == 0 {
		s.Headland = 6 * geo.Metres(dice.Float64())
	}
	if dice.IntN(2) == 0 {
		s.SideMargin = 4 * geo.Metres(dice.Float64())
	}
	if dice.IntN(2) == 0 {
		s.AlleyEvery, s.AlleyWidth = 1+dice.IntN(6), 1+3*geo.Metres(dice.Float64())
	}
	if dice.IntN(2) == 0 {
		s.PostSpacing = 4 + 4*geo.Metres(dice.Float64())
	}
	if dice.IntN(3) == 0 {
		s.Skip = []int{2, 5}
	}
	return s
}

// scanned is the ground less the headlands on the line x metres right of the
// origin, rows upright: straight from the rings, one line at a time.
func scanned(ground plane.Region, x, headland float64) [][2]float64 {
	var ys []float64
	for _, polygon := range ground {
		for _, r := range polygon {
			for i := 1; i < len(r); i++ {
				a, b := r[i-1], r[i]
				if (a.X <= x) != (b.X <= x) {
					ys = append(ys, a.Y+(x-a.X)*(b.Y-a.Y)/(b.X-a.X))
				}
			}
		}
	}
	slices.Sort(ys)
	var out [][2]float64
	for i := 0; i+1 < len(ys); i += 2 {
		if ys[i+1]-ys[i]-2*headland > 0 {
			out = append(out, [2]float64{ys[i] + headland, ys[i+1] - headland})
		}
	}
	return out
}

// slow is the layout's figures once more, from scan lines alone.
type slow struct {
	rows, plants, posts int
	length, planted     float64
}

func slowLayout(ground plane.Region, s Spec) slow {
	head, spacing := float64(s.Headland), float64(s.RowSpacing)
	box := ground.Box()
	// The outermost ground left, by lines 2 cm apart and halving to 1e-9 m.
	const step = 0.02
	edge := func(x, to float64) float64 {
		way := math.Copysign(step, to-x)
		for len(scanned(ground, x, head)) == 0 {
			if x += way; (to-x)*way < 0 {
				return math.NaN()
			}
		}
		with, without := x, x-way
		for range 40 {
			if m := (with + without) / 2; len(scanned(ground, m, head)) > 0 {
				with = m
			} else {
				without = m
			}
		}
		return with
	}
	lo, hi := edge(box.Min.X, box.Max.X)+float64(s.SideMargin), edge(box.Max.X, box.Min.X)-float64(s.SideMargin)
	takes := func(n int) float64 {
		w := float64(n) * spacing
		for i := 1; i < n && s.AlleyEvery > 0; i++ {
			if i%s.AlleyEvery == 0 {
				w += float64(s.AlleyWidth)
			}
		}
		return w
	}
	strips := 0
	for takes(strips+1) <= hi-lo+0.001 {
		strips++
	}
	var out slow
	x := lo + (hi-lo-takes(strips))/2
	way := 1.0
	if s.FromRight {
		x, way = hi-(hi-lo-takes(strips))/2, -1
	}
	number := 0
	for i := range strips {
		if i > 0 && s.AlleyEvery > 0 && i%s.AlleyEvery == 0 {
			x += way * float64(s.AlleyWidth)
		}
		middle := x + way*spacing/2
		x += way * spacing
		var parts [][2]float64
		for _, p := range scanned(ground, middle, head) {
			if p[1]-p[0] > 0.001 {
				parts = append(parts, p)
			}
		}
		if len(parts) == 0 {
			continue
		}
		if number++; slices.Contains(s.Skip, number) {
			continue
		}
		out.rows++
		for _, p := range parts {
			l := p[1] - p[0]
			out.length += l
			for at := 0.0; at <= l+0.001; at += float64(s.PlantSpacing) {
				out.plants++
			}
			if s.PostSpacing > 0 {
				for at := 0.0; at < l-0.001; at += float64(s.PostSpacing) {
					out.posts++
				}
				out.posts++
			}
		}
		const lines = 400
		for k := range lines {
			for _, p := range scanned(ground, middle-spacing/2+(float64(k)+0.5)*spacing/lines, head) {
				out.planted += (p[1] - p[0]) * spacing / lines
			}
		}
	}
	return out
}

// checkSums checks what must hold in any layout: the ground told in full, the
// way from the handbook's figure to the count, addresses.
func checkSums(t *testing.T, name string, l Layout) {
	t.Helper()
	r := l.Rest
	near(t, name+": ground told", float64(l.Planted+r.Headlands+r.HoleHeads+r.Margins+r.Alleys+r.LeftOver+r.WithoutParts+r.Skipped), float64(l.Outline), 1e-6)
	h := l.Handbook()
	plants, metres := h.Plants, float64(h.RowLength)
	for _, d := range l.Differences() {
		plants += d.Plants
		metres -= float64(d.Ground) / float64(l.Spec.RowSpacing)
	}
	// Up to seven reasons under 0.01 m2 are left out.
	near(t, name+": plants from the handbook's", plants, float64(l.Plants), 0.07/float64(l.Spec.RowSpacing*l.Spec.PlantSpacing))
	near(t, name+": row length from the handbook's", metres, float64(l.RowLength), 0.07/float64(l.Spec.RowSpacing))
	addresses, places := map[Address]bool{}, map[geo.Position]bool{}
	for a, at := range l.Places() {
		if addresses[a] || places[at] {
			t.Fatalf("%s: plant %v at %v is there twice", name, a, at)
		}
		addresses[a], places[at] = true, true
	}
	if len(addresses) != l.Plants {
		t.Errorf("%s: %d addresses for %d plants", name, len(addresses), l.Plants)
	}
	for i, row := range l.Rows {
		if row.Number != i+1 || row.Skipped != slices.Contains(l.Spec.Skip, i+1) || row.Skipped && row.Plants+row.Posts > 0 {
			t.Errorf("%s: row %d of the list is %d, skipped %v, with %d plants", name, i+1, row.Number, row.Skipped, row.Plants)
		}
		for n := 1; n <= row.Plants; n++ {
			if _, known := row.Plant(n, l.Spec.PlantSpacing); !known || !addresses[Address{row.Number, n}] {
				t.Errorf("%s: no plant %d in row %d of %d", name, n, row.Number, row.Plants)
			}
		}
	}
}

// 1,000 random outlines with holes against the scan lines.
func TestRandomOutlines(t *testing.T) {
	dice := rand.New(rand.NewPCG(4, 0))
	for i := range 1000 {
		name := fmt.Sprintf("outline %d", i)
		s := siteAt(t, geo.Position{dice.Float64()*360 - 180, -60 + 130*dice.Float64()})
		outline := s.polygon(randomOutline(dice)...)
		spec := randomSpec(dice)
		l, err := Plan(context.Background(), outline, spec)
		if err != nil {
			t.Fatal(err)
		}
		f, err := plane.FrameOf(outline)
		if err != nil {
			t.Fatal(err)
		}
		ground, err := f.Region(outline)
		if err != nil {
			t.Fatal(err)
		}
		want := slowLayout(upright(ground, spec.Bearing), spec)
		if l.PlantedRows() != want.rows || l.Plants != want.plants || l.Posts != want.posts {
			t.Errorf("%s: %d rows, %d plants, %d posts; scan lines say %d, %d, %d", name, l.PlantedRows(), l.Plants, l.Posts, want.rows, want.plants, want.posts)
		}
		near(t, name+": row length", float64(l.RowLength), want.length, 1e-4*want.length+0.02)
		near(t, name+": planted", float64(l.Planted), want.planted, 1e-3*want.planted+0.5)
		for a, at := range l.Places() {
			if xy := f.XY(at); !onGround(ground, xy) {
				t.Fatalf("%s: plant %v at %v is off the ground", name, a, xy)
			}
		}
		checkSums(t, name, l)
		again, err := Plan(context.Background(), outline, spec)
		if err != nil || !sameBytes(t, l, again) {
			t.Errorf("%s: laid out again it differs (%v)", name, err)
		}
		if t.Failed() {
			t.Logf("%+v", spec)
			return
		}
	}
}
