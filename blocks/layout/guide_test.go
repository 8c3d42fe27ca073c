package layout

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/plane"
)

// site is a frame with shapes given in its metres.
type site struct{ plane.Frame }

func siteAt(t testing.TB, at geo.Position) site {
	t.Helper()
	f, err := plane.FrameAt(at)
	if err != nil {
		t.Fatal(err)
	}
	return site{f}
}

func (s site) polygon(rings ...[]plane.XY) orb.Polygon {
	var p orb.Polygon
	for _, r := range rings {
		ring := orb.Ring(s.line(r))
		p = append(p, append(ring, ring[0]))
	}
	return p
}

func (s site) line(pts []plane.XY) orb.LineString {
	out := make(orb.LineString, len(pts))
	for i, p := range pts {
		out[i] = s.Position(p)
	}
	return out
}

func box(x0, y0, x1, y1 float64) []plane.XY {
	return []plane.XY{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

// distance to a line run on straight at both ends, by looking at every piece.
func fromLine(line []plane.XY, p plane.XY) float64 {
	n := len(line)
	const far = 5000
	ends := func(a, b plane.XY) plane.XY { d := b.Minus(a); return b.Plus(d.Times(far / float64(a.Distance(b)))) }
	all := append([]plane.XY{ends(line[1], line[0])}, line...)
	all = append(all, ends(line[n-2], line[n-1]))
	best := math.Inf(1)
	for i := 1; i < len(all); i++ {
		best = math.Min(best, float64(p.Distance(p.NearestOn(all[i-1], all[i]))))
	}
	return best
}

const rowBound = 0.001 // what the layout states for rows beside a guide

// checkBeside checks a layout beside a guide against brute force: distance, ground,
// plants.
func checkBeside(t *testing.T, name string, s site, l Layout, guide []plane.XY, ground plane.Region) {
	t.Helper()
	spacing := float64(l.Spec.RowSpacing)
	for _, r := range l.Rows {
		var offset float64
		for k, p := range r.Parts {
			line := p.Line()
			length := 0.0
			for i, q := range line {
				xy := s.XY(q)
				if i > 0 {
					before := s.XY(line[i-1])
					length += float64(before.Distance(xy))
					for _, f := range []float64{0.25, 0.5, 0.75} {
						m := before.Plus(xy.Minus(before).Times(f))
						if d := fromLine(guide, m); math.Abs(d-offset) > rowBound {
							t.Fatalf("%s: row %d part %d at %v lies %.5f m from the guide, its row %.5f", name, r.Number, k+1, m, d, offset)
						}
					}
				}
				d := fromLine(guide, xy)
				if i == 0 && k == 0 {
					offset = math.Round(d/spacing) * spacing
				}
				if math.Abs(d-offset) > rowBound {
					t.Fatalf("%s: row %d part %d corner %d lies %.5f m from the guide, its row %.5f", name, r.Number, k+1, i, d, offset)
				}
			}
			if math.Abs(length-float64(p.Length)) > 1e-4 {
				t.Errorf("%s: row %d part %d is %.5f m long, says %.5f", name, r.Number, k+1, length, p.Length)
			}
			if want := int(math.Floor((float64(p.Length)+0.001)/float64(l.Spec.PlantSpacing))) + 1; p.Plants != want {
				t.Errorf("%s: row %d part %d holds %d plants, want %d", name, r.Number, k+1, p.Plants, want)
			}
		}
	}
	for a, at := range l.Places() {
		if xy := s.XY(at); !onGround(ground, xy) {
			t.Fatalf("%s: plant %v at %v is off the ground", name, a, xy)
		}
	}
}

// onGround allows 0.1 mm, what positions in degrees and back may move.
func onGround(ground plane.Region, p plane.XY) bool {
	if ground.Contains(p) {
		return true
	}
	for _, polygon := range ground {
		for _, r := range polygon {
			for i := 1; i < len(r); i++ {
				if float64(p.Distance(p.NearestOn(r[i-1], r[i]))) < 1e-4 {
					return true
				}
			}
		}
	}
	return false
}

func TestGuideQuick(t *testing.T) {
	at := geo.Position{-80.4, 35.9}
	for _, c := range []struct {
		name  string
		guide []plane.XY
	}{
		{"straight", []plane.XY{{X: 0, Y: 30}, {X: 100, Y: 30}}},
		{"short", []plane.XY{{X: 40, Y: 30}, {X: 41, Y: 30}}},
		{"elbow", []plane.XY{{X: 10, Y: 30}, {X: 50, Y: 30}, {X: 80, Y: 50}}},
		{"u", []plane.XY{{X: 100, Y: 10}, {X: 50, Y: 10}, {X: 30, Y: 30}, {X: 50, Y: 50}, {X: 100, Y: 50}}},
		{"bottle", []plane.XY{{X: 100, Y: 28}, {X: 70, Y: 28}, {X: 60, Y: 10}, {X: 40, Y: 10}, {X: 30, Y: 30}, {X: 40, Y: 50}, {X: 60, Y: 50}, {X: 70, Y: 32}, {X: 100, Y: 32}}},
	} {
		s := siteAt(t, at)
		outline := s.polygon(box(0, 0, 100, 60))
		f, _ := plane.FrameOf(outline)
		l, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 1, Guide: s.line(c.guide), Headland: 6})
		if err != nil {
			t.Fatal(err)
		}
		ground, _ := f.Region(outline)
		var g []plane.XY
		for _, p := range c.guide {
			g = append(g, f.XY(s.Position(p)))
		}
		checkBeside(t, c.name, site{f}, l, g, ground)
		fmt.Println(c.name, len(l.Rows), l.RowLength, l.Plants, l.Planted, l.Outline, l.Rest)
		for _, r := range l.Rows {
			fmt.Print(len(r.Parts), ":", int(r.Length), " ")
		}
		fmt.Println()
	}
	_, _, _, _ = json.Marshal, rand.Int, slices.Sort[[]int], fault.KindOf
}

// wavyGuide is a contour-like line across a field of 1000 m x 600 m.
func wavyGuide(corners int) []plane.XY {
	var out []plane.XY
	for i := range corners + 1 {
		x := 1000 * float64(i) / float64(corners)
		out = append(out, plane.XY{X: x, Y: 300 + 60*math.Sin(x/110) + 25*math.Sin(x/37)})
	}
	return out
}

func BenchmarkPlan200kBesideGuide(b *testing.B) {
	s := siteAt(b, geo.Position{-80.4, 35.9})
	outline, guide := s.polygon(box(0, 0, 1000, 600)), s.line(wavyGuide(50))
	for b.Loop() {
		l, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 1, Guide: guide})
		if err != nil || l.Plants < 190_000 {
			b.Fatal(l.Plants, err)
		}
	}
}
