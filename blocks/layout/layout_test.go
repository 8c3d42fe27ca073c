package layout

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/wire"
)

// Expected values: testdata/reference/ground/README.md (shapely / GEOS, PROJ,
// GeographicLib; tolerances as stated there).
func TestReferenceLayouts(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/reference/ground/layouts.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID, What     string
			Outline      json.RawMessage
			RowSpacing   float64 `json:"row_spacing_m"`
			PlantSpacing float64 `json:"plant_spacing_m"`
			Bearing      float64 `json:"bearing_deg"`
			Headland     float64 `json:"headland_m"`
			Expected     struct {
				Outline   float64 `json:"outline_m2"`
				Rows      int
				Parts     int
				Plants    int
				RowLength float64         `json:"row_length_m"`
				Planted   float64         `json:"planted_m2"`
				RowParts  []int           `json:"row_parts"`
				RowPlants []int           `json:"row_plants"`
				First     [2]geo.Position `json:"first_row"`
				Last      [2]geo.Position `json:"last_row"`
			}
		}
	}
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) != 40 {
		t.Fatalf("%d cases, want 40", len(file.Cases))
	}
	for _, c := range file.Cases {
		t.Run(c.ID+" "+c.What, func(t *testing.T) {
			outline, err := wire.DecodeGeometry(c.Outline, wire.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			l, err := Plan(context.Background(), outline.Flat, Spec{RowSpacing: geo.Metres(c.RowSpacing), PlantSpacing: geo.Metres(c.PlantSpacing),
				Bearing: geo.Degrees(c.Bearing), Headland: geo.Metres(c.Headland)})
			if err != nil {
				t.Fatal(err)
			}
			w := c.Expected
			var rowParts, rowPlants []int
			parts := 0
			for i, r := range l.Rows {
				if r.Number != i+1 {
					t.Errorf("row %d has number %d", i+1, r.Number)
				}
				rowParts, rowPlants, parts = append(rowParts, len(r.Parts)), append(rowPlants, r.Plants), parts+len(r.Parts)
			}
			if len(l.Rows) != w.Rows || parts != w.Parts || l.Plants != w.Plants || fmt.Sprint(rowParts) != fmt.Sprint(w.RowParts) || fmt.Sprint(rowPlants) != fmt.Sprint(w.RowPlants) {
				t.Fatalf("rows %d parts %d plants %d\nparts %v\nplants %v\nwant %d, %d, %d\n%v\n%v", len(l.Rows), parts, l.Plants, rowParts, rowPlants, w.Rows, w.Parts, w.Plants, w.RowParts, w.RowPlants)
			}
			near(t, "row length", float64(l.RowLength), w.RowLength, 1e-4*w.RowLength+0.02)
			near(t, "planted", float64(l.Planted), w.Planted, 1e-3*w.Planted+0.5)
			near(t, "outline", float64(l.Outline), w.Outline, 1e-6*w.Outline+0.01)
			for name, pair := range map[string][2]geo.Position{
				"first row's start": {l.Rows[0].Parts[0].From, w.First[0]},
				"last row's end":    {last(last(l.Rows).Parts).To, w.Last[1]},
			} {
				if d := measure.Distance(pair[0], pair[1]); d > 0.05 {
					t.Errorf("%s is %.3f m off", name, d)
				}
			}
		})
	}
}

func last[T any](s []T) T { return s[len(s)-1] }

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s %v, want %v within %v", what, got, want, tolerance)
	}
}

func rectangle(t *testing.T, at geo.Position, turn geo.Degrees, holes ...plane.Ring) orb.Polygon {
	t.Helper()
	f, err := plane.FrameAt(at)
	if err != nil {
		t.Fatal(err)
	}
	var p orb.Polygon
	for _, ring := range append([]plane.Ring{{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 60}, {X: 0, Y: 60}, {X: 0, Y: 0}}}, holes...) {
		var r orb.Ring
		for _, q := range ring {
			r = append(r, f.Position(plane.Turn(q, -turn)))
		}
		p = append(p, r)
	}
	return p
}

// By hand: 100 m x 60 m, 3 m rows, 1 m plants, turned by any angle and moved to
// any latitude from 60 S to 70 N. The hole of 20 m x 12 m lies along the rows from
// 24 m to 36 m across: the rows at 25.5, 28.5, 31.5 and 34.5 m are cut into 40 m
// before it and 40 m behind, 41 plants each.
func TestRectanglesByHand(t *testing.T) {
	hole := plane.Ring{{X: 40, Y: 24}, {X: 40, Y: 36}, {X: 60, Y: 36}, {X: 60, Y: 24}, {X: 40, Y: 24}}
	dice := rand.New(rand.NewPCG(4, 4))
	for range 300 {
		at := geo.Position{dice.Float64()*360 - 180, -60 + 130*dice.Float64()}
		turn := geo.Degrees(dice.Float64() * 360)
		for _, c := range []struct {
			name         string
			holes        []plane.Ring
			headland     geo.Metres
			rows, plants int
			length       float64
			twoParts     int
			turns        int
		}{
			{"plain", nil, 0, 20, 20 * 101, 2000, 0, 19},
			{"headlands", nil, 6, 20, 20 * 89, 20 * 88, 0, 19},
			{"hole", []plane.Ring{hole}, 0, 20, 16*101 + 4*2*41, 16*100 + 4*80, 4, 23},
			// 6 m more off before and behind the hole: 28 m and 28 m, 29 plants each.
			{"hole and headlands", []plane.Ring{hole}, 6, 20, 16*89 + 4*2*29, 16*88 + 4*56, 4, 23},
		} {
			outline := rectangle(t, at, turn, c.holes...)
			// Rows run along local east.
			l, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: (90 + turn).Normal(), Headland: c.headland})
			if err != nil {
				t.Fatal(err)
			}
			two := 0
			for _, r := range l.Rows {
				if len(r.Parts) == 2 {
					two++
				}
			}
			if len(l.Rows) != c.rows || l.Plants != c.plants || two != c.twoParts || math.Abs(float64(l.RowLength)-c.length) > 0.05 {
				t.Errorf("%s at %v turned %v: %d rows, %d plants, %d in two parts, %.3f m; want %d, %d, %d, %.0f", c.name, at, turn, len(l.Rows), l.Plants, two, l.RowLength, c.rows, c.plants, c.twoParts, c.length)
			}
			if got := l.Figures(20).Turns; got != c.turns {
				t.Errorf("%s: %d turns, want %d", c.name, got, c.turns)
			}
		}
	}
}

// By hand, on the same rectangle, rows along it, 3 m apart, 1 m plants.
func TestMarginsAlleysPostsAndSkipsByHand(t *testing.T) {
	hole := plane.Ring{{X: 40, Y: 24}, {X: 40, Y: 36}, {X: 60, Y: 36}, {X: 60, Y: 24}, {X: 40, Y: 24}}
	base := Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90}
	with := func(change func(*Spec)) Spec { s := base; change(&s); return s }
	for _, c := range []struct {
		name   string
		spec   Spec
		holes  []plane.Ring
		middle []float64 // of each row, metres from the left looking along
		plants int
		posts  int
		ends   int
		rest   Rest
	}{
		{"margin 3.5: 53 m, 17 strips, 1 m on either side",
			with(func(s *Spec) { s.SideMargin = 3.5 }), nil, steps(6, 3, 17), 17 * 101, 0, 0, Rest{Margins: 700, LeftOver: 200}},
		{"margin over all", with(func(s *Spec) { s.SideMargin = 30 }), nil, nil, 0, 0, 0, Rest{Margins: 6000}},
		// 5 rows and an alley take 20 m: three times 20 m less the last alley is 55 m,
		// and one more row behind the third alley would end at 63 m.
		{"alley of 5 m after every 5 rows", with(func(s *Spec) { s.AlleyEvery, s.AlleyWidth = 5, 5 }), nil,
			append(append(steps(4, 3, 5), steps(24, 3, 5)...), steps(44, 3, 5)...), 15 * 101, 0, 0, Rest{Alleys: 1000, LeftOver: 500}},
		// 7 rows and an alley take 25 m: two of them 50 m, three rows more 59 m.
		{"alleys from the right", with(func(s *Spec) { s.AlleyEvery, s.AlleyWidth, s.FromRight = 7, 4, true }), nil,
			append(append(reversed(steps(40, 3, 7)), reversed(steps(15, 3, 7))...), reversed(steps(2, 3, 3))...), 17 * 101, 0, 0, Rest{Alleys: 800, LeftOver: 100}},
		// 100 m: posts at 0, 8, …, 96 and 100.
		{"posts", with(func(s *Spec) { s.PostSpacing = 8 }), nil, steps(1.5, 3, 20), 20 * 101, 20 * 14, 40, Rest{}},
		// 100 m: posts at 0, 5, …, 100.
		{"posts that end", with(func(s *Spec) { s.PostSpacing = 5 }), nil, steps(1.5, 3, 20), 20 * 101, 20 * 21, 40, Rest{}},
		// 40 m: 0, 8, …, 40, six on each of eight parts.
		{"posts at a hole", with(func(s *Spec) { s.PostSpacing = 8 }), []plane.Ring{hole}, steps(1.5, 3, 20), 16*101 + 8*41, 16*14 + 8*6, 48, Rest{}},
		{"skipped", with(func(s *Spec) { s.Skip, s.PostSpacing = []int{3, 20}, 5 }), nil, steps(1.5, 3, 20), 18 * 101, 18 * 21, 36, Rest{Skipped: 600}},
		{"headlands at a hole: 12 m of 4 rows", with(func(s *Spec) { s.Headland = 6 }), []plane.Ring{hole}, steps(1.5, 3, 20), 16*89 + 8*29, 0, 0,
			Rest{Headlands: 720, HoleHeads: 144}},
	} {
		at := geo.Position{-80.4, 35.9}
		l, err := Plan(context.Background(), rectangle(t, at, 0, c.holes...), c.spec)
		if err != nil {
			t.Fatal(err)
		}
		f, _ := plane.FrameAt(at)
		var middles []float64
		for _, r := range l.Rows {
			middles = append(middles, math.Round((60-f.XY(r.Parts[0].From).Y)*100)/100)
		}
		if fmt.Sprint(middles) != fmt.Sprint(c.middle) {
			t.Errorf("%s: rows at %v, want %v", c.name, middles, c.middle)
		}
		if l.Plants != c.plants || l.Posts != c.posts || l.EndPosts != c.ends {
			t.Errorf("%s: %d plants, %d posts, %d end posts; want %d, %d, %d", c.name, l.Plants, l.Posts, l.EndPosts, c.plants, c.posts, c.ends)
		}
		for what, pair := range map[string][2]geo.SquareMetres{"headlands": {l.Rest.Headlands, c.rest.Headlands}, "headlands at holes": {l.Rest.HoleHeads, c.rest.HoleHeads},
			"margins": {l.Rest.Margins, c.rest.Margins}, "alleys": {l.Rest.Alleys, c.rest.Alleys}, "left over": {l.Rest.LeftOver, c.rest.LeftOver},
			"without parts": {l.Rest.WithoutParts, c.rest.WithoutParts}, "skipped": {l.Rest.Skipped, c.rest.Skipped}} {
			near(t, c.name+": "+what, float64(pair[0]), float64(pair[1]), 0.1)
		}
		checkSums(t, c.name, l)
	}
}

func steps(first, step float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = first + float64(i)*step
	}
	return out
}

func reversed(s []float64) []float64 { slices.Reverse(s); return s }

// By hand: an elbow of 90 degrees, each arm 60 m long within a field that ends
// where the arms do. The row d outside it has two arms of 60 m and a quarter
// circle round the corner; the row d inside has two arms of 60 m - d.
func TestElbowByHand(t *testing.T) {
	s := siteAt(t, geo.Position{-80.4, 35.9})
	outline := s.polygon([]plane.XY{{X: -30, Y: -30}, {X: 60, Y: -30}, {X: 60, Y: 30}, {X: 30, Y: 30}, {X: 30, Y: 60}, {X: -30, Y: 60}})
	// From the north end down to the corner, then east: inside is to the left.
	l, err := Plan(context.Background(), outline, Spec{RowSpacing: 5, PlantSpacing: 1, Guide: s.line([]plane.XY{{X: 0, Y: 60}, {X: 0, Y: 0}, {X: 60, Y: 0}})})
	if err != nil {
		t.Fatal(err)
	}
	// Inside the ground reaches to 30 m: strips to 27.5. Outside to the field's
	// corner, 42.4 m: strips to 42.5, wholly within to 37.5; the row at 30 m and
	// beyond has lost its arms, the row at 30 m only touches the edge.
	row := map[int]float64{}
	for k := -5; k <= 7; k++ {
		d := 5 * float64(k)
		switch {
		case k <= 0:
			row[k] = 2 * (60 + d)
		case d < 30:
			row[k] = 2*60 + d*math.Pi/2
		case d > 30:
			row[k] = d * (math.Pi/2 - 2*math.Acos(30/d))
		}
	}
	var want []float64
	for k := -5; k <= 7; k++ {
		if k != 6 { // along the field's edge itself: may fall either way
			want = append(want, row[k])
		}
	}
	var got []float64
	for _, r := range l.Rows {
		d, right := fromLine([]plane.XY{{X: 0, Y: 60}, {X: 0, Y: 0}, {X: 60, Y: 0}}, s.XY(r.Parts[0].From))
		if !(right && math.Abs(d-30) < 0.01) {
			got = append(got, float64(r.Length))
		}
	}
	if len(got) != len(want) {
		t.Fatalf("rows of %.2f m, want %.2f", got, want)
	}
	for i := range want {
		near(t, fmt.Sprintf("row %d", i+1), got[i], want[i], 0.02)
	}
}

func TestGuideRefusals(t *testing.T) {
	s := siteAt(t, geo.Position{-80.4, 35.9})
	outline := rectangle(t, geo.Position{-80.4, 35.9}, 0)
	tooMany := make(orb.LineString, MaxGuide+1)
	for i := range tooMany {
		tooMany[i] = s.Position(plane.XY{X: float64(i) / 100, Y: 30 + float64(i%2)})
	}
	for _, c := range []struct {
		name  string
		guide orb.LineString
		kind  fault.Kind
	}{
		{"empty", orb.LineString{}, fault.Invalid},
		{"one place", orb.LineString{{-80.4, 35.9}, {-80.4, 35.9}}, fault.Invalid},
		{"closed", s.line([]plane.XY{{X: 10, Y: 10}, {X: 50, Y: 10}, {X: 50, Y: 40}, {X: 10, Y: 10}}), fault.Invalid},
		{"crosses itself", s.line([]plane.XY{{X: 10, Y: 10}, {X: 50, Y: 10}, {X: 50, Y: 40}, {X: 30, Y: 0}}), fault.Invalid},
		{"runs back", s.line([]plane.XY{{X: 10, Y: 10}, {X: 50, Y: 10}, {X: 20, Y: 10}}), fault.Invalid},
		{"ends that meet run on", s.line([]plane.XY{{X: 40, Y: 10}, {X: 80, Y: 10}, {X: 85, Y: 30}, {X: 60, Y: 20}}), fault.Invalid},
		{"meets itself run on", s.line([]plane.XY{{X: 10, Y: 10}, {X: 80, Y: 10}, {X: 80, Y: 50}, {X: 60, Y: 50}, {X: 60, Y: 20}}), fault.Invalid},
		{"no numbers", orb.LineString{{math.NaN(), 1}, {2, 3}}, fault.Invalid},
		{"another continent", orb.LineString{{10, 50}, {10, 51}}, fault.Invalid},
		{"too many corners", tooMany, fault.Invalid},
		{"too many bends", tooMany[:MaxGuide], fault.TooCostly},
	} {
		_, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 1, Guide: c.guide})
		if fault.KindOf(err) != c.kind || err == nil {
			t.Errorf("%s: %v, want kind %d", c.name, err, c.kind)
		}
	}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Plan(gone, outline, Spec{RowSpacing: 3, PlantSpacing: 1, Guide: s.line([]plane.XY{{X: 0, Y: 0}, {X: 50, Y: 20}, {X: 100, Y: 0}})}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestPlantPlaces(t *testing.T) {
	hole := plane.Ring{{X: 40, Y: 24}, {X: 40, Y: 36}, {X: 60, Y: 36}, {X: 60, Y: 24}, {X: 40, Y: 24}}
	outline := rectangle(t, geo.Position{-80.4, 35.9}, 0, hole)
	l, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90})
	if err != nil {
		t.Fatal(err)
	}
	f, _ := plane.FrameAt(geo.Position{-80.4, 35.9})
	// Looking east the northernmost row is the leftmost: row 1 at 58.5 m north.
	row := l.Rows[8] // 58.5 - 24 = 34.5 m north, through the hole
	for _, c := range []struct {
		number int
		x, y   float64
	}{{1, 0, 34.5}, {41, 40, 34.5}, {42, 60, 34.5}, {43, 61, 34.5}, {82, 100, 34.5}} {
		p, known := row.Plant(c.number, 1)
		got := f.XY(p)
		if !known || math.Hypot(got.X-c.x, got.Y-c.y) > 0.002 {
			t.Errorf("plant %d at %v, want %v %v", c.number, got, c.x, c.y)
		}
	}
	for _, none := range []int{0, -1, 83} {
		if _, known := row.Plant(none, 1); known {
			t.Errorf("plant %d should not exist", none)
		}
	}
	// From the other corner and end: row 1 is the southernmost, its plant 1 east.
	back, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90, FromRight: true, FromFarEnd: true})
	if err != nil {
		t.Fatal(err)
	}
	p, _ := back.Rows[0].Plant(1, 1)
	if got := f.XY(p); math.Hypot(got.X-100, got.Y-1.5) > 0.002 {
		t.Errorf("first plant from the far corner at %v, want 100, 1.5", got)
	}
}

// A row that crosses 180 degrees has its plants on it, not once round the Earth.
func TestPlantPlacesAcrossTheAntimeridian(t *testing.T) {
	origin := geo.Position{179.9995, -17.5}
	l, err := Plan(context.Background(), rectangle(t, origin, 0), Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90})
	if err != nil {
		t.Fatal(err)
	}
	f, _ := plane.FrameAt(origin)
	for _, number := range []int{1, 50, 60, 101} {
		p, known := l.Rows[0].Plant(number, 1)
		got := f.XY(p)
		if !known || math.Hypot(got.X-float64(number-1), got.Y-58.5) > 0.002 || math.Abs(p[0]) > 180 {
			t.Errorf("plant %d at %v (%v), want %d, 58.5", number, got, p, number-1)
		}
	}
}

func TestRefusals(t *testing.T) {
	outline := rectangle(t, geo.Position{-80.4, 35.9}, 0)
	for _, c := range []struct {
		name    string
		outline orb.Geometry
		spec    Spec
		kind    fault.Kind
	}{
		{"no spacing", outline, Spec{PlantSpacing: 1}, fault.Invalid},
		{"negative", outline, Spec{RowSpacing: 3, PlantSpacing: -1}, fault.Invalid},
		{"not a number", outline, Spec{RowSpacing: geo.Metres(math.NaN()), PlantSpacing: 1}, fault.Invalid},
		{"bearing", outline, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: geo.Degrees(math.Inf(1))}, fault.Invalid},
		{"margin", outline, Spec{RowSpacing: 3, PlantSpacing: 1, SideMargin: -1}, fault.Invalid},
		{"alley without width", outline, Spec{RowSpacing: 3, PlantSpacing: 1, AlleyEvery: 3}, fault.Invalid},
		{"alley without count", outline, Spec{RowSpacing: 3, PlantSpacing: 1, AlleyWidth: 3}, fault.Invalid},
		{"alley not a number", outline, Spec{RowSpacing: 3, PlantSpacing: 1, AlleyEvery: 3, AlleyWidth: geo.Metres(math.NaN())}, fault.Invalid},
		{"posts", outline, Spec{RowSpacing: 3, PlantSpacing: 1, PostSpacing: 0.01}, fault.Invalid},
		{"row 0 skipped", outline, Spec{RowSpacing: 3, PlantSpacing: 1, Skip: []int{0}}, fault.Invalid},
		{"row skipped twice", outline, Spec{RowSpacing: 3, PlantSpacing: 1, Skip: []int{3, 3}}, fault.Invalid},
		{"a line", orb.LineString{{0, 0}, {1, 1}}, Spec{RowSpacing: 3, PlantSpacing: 1}, fault.Invalid},
		{"nothing", nil, Spec{RowSpacing: 3, PlantSpacing: 1}, fault.Invalid},
		{"too many plants", orb.Polygon{{{0, 0}, {0.1, 0}, {0.1, 0.1}, {0, 0.1}, {0, 0}}}, Spec{RowSpacing: 1, PlantSpacing: 0.05}, fault.TooCostly},
	} {
		if _, err := Plan(context.Background(), c.outline, c.spec); fault.KindOf(err) != c.kind {
			t.Errorf("%s: %v, want kind %d", c.name, err, c.kind)
		}
	}
	narrow, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90, Headland: 50})
	if err != nil || len(narrow.Rows) != 0 || narrow.Planted != 0 {
		t.Errorf("headlands that leave nothing: %+v, %v", narrow, err)
	}
}

// Every plant gets its place.
func BenchmarkPlan200kPlants(b *testing.B) {
	f, _ := plane.FrameAt(geo.Position{-80.4, 35.9})
	var ring orb.Ring
	for _, q := range []plane.XY{{X: 0, Y: 0}, {X: 1000, Y: 0}, {X: 1000, Y: 600}, {X: 0, Y: 600}, {X: 0, Y: 0}} {
		ring = append(ring, f.Position(q))
	}
	benchmarkPlan(b, orb.Polygon{ring}, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90})
}

func benchmarkPlan(b *testing.B, outline orb.Polygon, spec Spec) {
	places := make([]geo.Position, 0, 250_000)
	for b.Loop() {
		l, err := Plan(context.Background(), outline, spec)
		if err != nil {
			b.Fatal(err)
		}
		places = places[:0]
		for _, at := range l.Places() {
			places = append(places, at)
		}
	}
	if len(places) < 190_000 {
		b.Fatal(len(places))
	}
	b.ReportMetric(float64(len(places)), "plants/op")
}
