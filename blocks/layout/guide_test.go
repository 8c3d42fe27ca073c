package layout

import (
	"cmp"
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
func fromLine(line []plane.XY, p plane.XY) (away float64, right bool) {
	n := len(line)
	const far = 5000
	ends := func(a, b plane.XY) plane.XY { d := b.Minus(a); return b.Plus(d.Times(far / float64(a.Distance(b)))) }
	all := append([]plane.XY{ends(line[1], line[0])}, line...)
	all = append(all, ends(line[n-2], line[n-1]))
	away = math.Inf(1)
	for i := 1; i < len(all); i++ {
		if d := float64(p.Distance(p.NearestOn(all[i-1], all[i]))); d < away {
			away, right = d, all[i].Minus(all[i-1]).Cross(p.Minus(all[i])) < 0
		}
	}
	return away, right
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
						if d, _ := fromLine(guide, m); math.Abs(d-offset) > rowBound {
							t.Fatalf("%s: row %d part %d at %v lies %.5f m from the guide, its row %.5f", name, r.Number, k+1, m, d, offset)
						}
					}
				}
				d, _ := fromLine(guide, xy)
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
			if want := int(math.Floor((float64(p.Length)+0.001)/float64(l.Spec.PlantSpacing))) + 1; p.Plants != want && !r.Skipped {
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
	return ground.Contains(p) || nearEdge(ground, p, 1e-4)
}

func nearEdge(ground plane.Region, p plane.XY, within float64) bool {
	for _, polygon := range ground {
		for _, r := range polygon {
			for i := 1; i < len(r); i++ {
				if float64(p.Distance(p.NearestOn(r[i-1], r[i]))) < within {
					return true
				}
			}
		}
	}
	return false
}

// A row of a layout along a bearing, taken as the guide, gives the same layout.
func TestStraightGuideIsABearing(t *testing.T) {
	dice := rand.New(rand.NewPCG(4, 1))
	for i := range 200 {
		s := siteAt(t, geo.Position{-80.4, 35.9})
		outline := s.polygon(randomOutline(dice)...)
		spec := randomSpec(dice)
		spec.AlleyEvery, spec.AlleyWidth, spec.Skip = 0, 0, nil
		want, err := Plan(context.Background(), outline, spec)
		if err != nil {
			t.Fatal(err)
		}
		if len(want.Rows) == 0 {
			continue
		}
		middle := want.Rows[len(want.Rows)/2]
		guide := orb.LineString{middle.Parts[0].From, last(middle.Parts).To}
		if spec.FromFarEnd {
			guide = orb.LineString{last(middle.Parts).To, middle.Parts[0].From}
		}
		if float64(middle.Length) < 5 { // too short to say a bearing
			continue
		}
		spec.Guide = guide
		got, err := Plan(context.Background(), outline, spec)
		if err != nil {
			t.Fatalf("outline %d: %v", i, err)
		}
		if len(got.Rows) != len(want.Rows) || got.Plants != want.Plants || got.Posts != want.Posts || got.parts() != want.parts() {
			t.Errorf("outline %d: %d rows, %d parts, %d plants, %d posts beside the guide; %d, %d, %d, %d along its bearing", i, len(got.Rows), got.parts(), got.Plants, got.Posts, len(want.Rows), want.parts(), want.Plants, want.Posts)
			continue
		}
		near(t, fmt.Sprintf("outline %d: row length", i), float64(got.RowLength), float64(want.RowLength), 0.01)
		near(t, fmt.Sprintf("outline %d: planted", i), float64(got.Planted), float64(want.Planted), 0.001*float64(want.Planted)+0.5)
		for k, r := range got.Rows {
			if a, b := s.XY(r.Parts[0].From), s.XY(want.Rows[k].Parts[0].From); a.Distance(b) > 0.002 {
				t.Errorf("outline %d: row %d begins at %v beside the guide, at %v along its bearing", i, k+1, a, b)
			}
		}
	}
}

// randomGuide wanders about the middle of the field.
func randomGuide(dice *rand.Rand) []plane.XY {
	n := 2 + dice.IntN(12)
	heading, step := dice.Float64()*2*math.Pi, 4+dice.Float64()*25
	at := plane.XY{X: 20 + dice.Float64()*60, Y: 10 + dice.Float64()*40}
	out := []plane.XY{at}
	bend := []float64{0.1, 0.4, 1}[dice.IntN(3)]
	for range n {
		at = at.Plus(plane.XY{X: math.Cos(heading), Y: math.Sin(heading)}.Times(step * (0.5 + dice.Float64())))
		out = append(out, at)
		heading += (dice.Float64() - 0.5) * 2 * bend
	}
	return out
}

// 200 random outlines with holes and guides: every point of every row at its
// distance from the guide and on the ground, no two rows crossing, all ground
// told.
func TestRandomGuides(t *testing.T) {
	dice := rand.New(rand.NewPCG(4, 2))
	laid, refused := 0, 0
	for i := range 200 {
		name := fmt.Sprintf("guide %d", i)
		s := siteAt(t, geo.Position{-80.4, 35.9})
		outline := s.polygon(randomOutline(dice)...)
		f, err := plane.FrameOf(outline)
		if err != nil {
			t.Fatal(err)
		}
		spec := randomSpec(dice)
		spec.AlleyEvery, spec.AlleyWidth = 0, 0
		spec.Guide = s.line(randomGuide(dice))
		l, err := Plan(context.Background(), outline, spec)
		if fault.KindOf(err) == fault.Invalid { // runs back into itself
			refused++
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		laid++
		ground, err := f.Region(outline)
		if err != nil {
			t.Fatal(err)
		}
		guide := make([]plane.XY, len(spec.Guide))
		for k, p := range spec.Guide {
			guide[k] = f.XY(p)
		}
		checkBeside(t, name, site{f}, l, guide, ground)
		checkNoCrossing(t, name, site{f}, l)
		checkSums(t, name, l)
		again, err := Plan(context.Background(), outline, spec)
		if err != nil || !sameBytes(t, l, again) {
			t.Errorf("%s: laid out again it differs (%v)", name, err)
		}
		if t.Failed() {
			t.Logf("guide %v", guide)
			return
		}
	}
	t.Logf("%d laid out, %d refused as running into themselves", laid, refused)
	if laid < 150 {
		t.Errorf("only %d of 200 guides could be used", laid)
	}
}

func sameBytes(t *testing.T, a, b Layout) bool {
	t.Helper()
	x, err := json.Marshal(a.JSON())
	if err != nil {
		t.Fatal(err)
	}
	y, err := json.Marshal(b.JSON())
	if err != nil {
		t.Fatal(err)
	}
	return string(x) == string(y)
}

func checkNoCrossing(t *testing.T, name string, s site, l Layout) {
	t.Helper()
	type piece struct {
		row  int
		a, b plane.XY
		box  plane.Box
	}
	var pieces []piece
	for _, r := range l.Rows {
		for _, p := range r.Parts {
			line := p.Line()
			for i := 1; i < len(line); i++ {
				a, b := s.XY(line[i-1]), s.XY(line[i])
				pieces = append(pieces, piece{r.Number, a, b, plane.NoBox().With(a).With(b)})
			}
		}
	}
	slices.SortFunc(pieces, func(a, b piece) int { return cmp.Compare(a.box.Min.X, b.box.Min.X) })
	for i, p := range pieces {
		for _, q := range pieces[i+1:] {
			if q.box.Min.X > p.box.Max.X {
				break
			}
			ab, pq := p.b.Minus(p.a), q.b.Minus(q.a)
			if p.row != q.row && ab.Cross(q.a.Minus(p.a))*ab.Cross(q.b.Minus(p.a)) < 0 && pq.Cross(p.a.Minus(q.a))*pq.Cross(p.b.Minus(q.a)) < 0 {
				t.Fatalf("%s: rows %d and %d cross near %v", name, p.row, q.row, p.a)
			}
		}
	}
}

// Where no headland hides any, every place of the ground at a row's distance
// from the guide has the row beside it, out to the outermost row on its side.
func TestNoRowIsLeftOutBesideAGuide(t *testing.T) {
	dice := rand.New(rand.NewPCG(4, 3))
	looked, rings := 0, 0
	// Rows inside a bottle close on themselves; those in a U meet in its middle.
	bent := [][]plane.XY{
		{{X: 100, Y: 28}, {X: 70, Y: 28}, {X: 60, Y: 10}, {X: 40, Y: 10}, {X: 30, Y: 30}, {X: 40, Y: 50}, {X: 60, Y: 50}, {X: 70, Y: 32}, {X: 100, Y: 32}},
		{{X: 100, Y: 10}, {X: 50, Y: 10}, {X: 30, Y: 30}, {X: 50, Y: 50}, {X: 100, Y: 50}},
	}
	for i := range 60 + len(bent) {
		s := siteAt(t, geo.Position{-80.4, 35.9})
		outline, drawn := s.polygon(randomOutline(dice)...), randomGuide(dice)
		if i >= 60 {
			outline, drawn = s.polygon(box(0, 0, 100, 60)), bent[i-60]
		}
		f, err := plane.FrameOf(outline)
		if err != nil {
			t.Fatal(err)
		}
		spec := Spec{RowSpacing: 2 + geo.Metres(dice.Float64())*2, PlantSpacing: 1, Guide: s.line(drawn)}
		l, err := Plan(context.Background(), outline, spec)
		if fault.KindOf(err) == fault.Invalid {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		ground, err := f.Region(outline)
		if err != nil {
			t.Fatal(err)
		}
		guide := make([]plane.XY, len(spec.Guide))
		for k, p := range spec.Guide {
			guide[k] = f.XY(p)
		}
		rows := map[int][]plane.Line{}
		least, most := math.MaxInt, math.MinInt
		for _, r := range l.Rows {
			d, right := fromLine(guide, f.XY(r.Parts[0].Line()[0]))
			k := int(math.Round(d / float64(spec.RowSpacing)))
			if !right {
				k = -k
			}
			least, most = min(least, k), max(most, k)
			for _, p := range r.Parts {
				var line plane.Line
				for _, q := range p.Line() {
					line = append(line, f.XY(q))
				}
				rows[k] = append(rows[k], line)
				// Without headlands a part ends where the ground does, or is a ring
				// opened by one row spacing.
				gap := line[0].Distance(line[len(line)-1])
				opened := gap > 0.3*spec.RowSpacing && gap < spec.RowSpacing+0.001
				switch {
				case nearEdge(ground, line[0], 0.001) && nearEdge(ground, line[len(line)-1], 0.001):
				case opened:
					rings++
				default:
					t.Errorf("guide %d %v: row %d ends on the ground, at %v or %v", i, guide, k, line[0], line[len(line)-1])
				}
			}
		}
		b := ground.Box()
		for x := b.Min.X; x < b.Max.X; x += 0.4 {
			for y := b.Min.Y; y < b.Max.Y; y += 0.4 {
				p := plane.XY{X: x, Y: y}
				d, right := fromLine(guide, p)
				k := int(math.Round(d / float64(spec.RowSpacing)))
				if math.Abs(d-float64(k)*float64(spec.RowSpacing)) > 0.02 || !ground.Contains(p) {
					continue
				}
				if !right {
					k = -k
				}
				if k < least || k > most {
					continue
				}
				looked++
				if away := fromLines(rows[k], p); away > 0.1 {
					ring := false
					for _, line := range rows[k] {
						ring = ring || line[0].Distance(line[len(line)-1]) < spec.RowSpacing+0.1 // opened
					}
					if !ring && !nearEdge(ground, p, 0.1) {
						t.Fatalf("guide %d %v: place %v, %.3f m from it, is %.3f m from its row %d", i, guide, p, d, away, k)
					}
				}
			}
		}
	}
	if looked < 10_000 || rings < 3 {
		t.Errorf("only %d places and %d rings looked at", looked, rings)
	}
}

func fromLines(lines []plane.Line, p plane.XY) float64 {
	best := math.Inf(1)
	for _, l := range lines {
		for i := 1; i < len(l); i++ {
			best = math.Min(best, float64(p.Distance(p.NearestOn(l[i-1], l[i]))))
		}
	}
	return best
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

// Beside a line of 50 bends; every plant gets its place.
func BenchmarkPlan200kBesideGuide(b *testing.B) {
	s := siteAt(b, geo.Position{-80.4, 35.9})
	benchmarkPlan(b, s.polygon(box(0, 0, 1000, 600)), Spec{RowSpacing: 3, PlantSpacing: 1, Guide: s.line(wavyGuide(50))})
}
