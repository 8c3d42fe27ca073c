package layout

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
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

// By hand: 100 m x 60 m, 3 m rows, 1 m plants.
func TestRectanglesByHand(t *testing.T) {
	hole := plane.Ring{{X: 40, Y: 24}, {X: 40, Y: 36}, {X: 60, Y: 36}, {X: 60, Y: 24}, {X: 40, Y: 24}}
	for _, lat := range []float64{-60, -42.8, -2.4, 0, 35.9, 45.1, 60.3, 70} {
		for _, turn := range []geo.Degrees{0, 33, 71, 90, 128, 179, 301} {
			for _, c := range []struct {
				name         string
				holes        []plane.Ring
				headland     geo.Metres
				rows, plants int
				length       float64
				twoParts     int
			}{
				{"plain", nil, 0, 20, 20 * 101, 2000, 0},
				{"headlands", nil, 6, 20, 20 * 89, 20 * 88, 0},
				{"pond", []plane.Ring{hole}, 0, 20, 16*101 + 4*2*41, 16*100 + 4*80, 4},
			} {
				outline := rectangle(t, geo.Position{-80.4, lat}, turn, c.holes...)
				// Rows run along local east; the plant spacing is a hair short of
				// 1 m so that rounding of the corners cannot decide a count.
				l, err := Plan(context.Background(), outline, Spec{RowSpacing: 3, PlantSpacing: 0.9999999, Bearing: (90 + turn).Normal(), Headland: c.headland})
				if err != nil {
					t.Fatal(err)
				}
				two := 0
				for _, r := range l.Rows {
					if len(r.Parts) == 2 {
						two++
					}
				}
				if len(l.Rows) != c.rows || l.Plants != c.plants || two != c.twoParts || math.Abs(float64(l.RowLength)-c.length) > 0.5 {
					t.Errorf("%s at %v turned %v: %d rows, %d plants, %d in two parts, %.3f m; want %d, %d, %d, %.0f", c.name, lat, turn, len(l.Rows), l.Plants, two, l.RowLength, c.rows, c.plants, c.twoParts, c.length)
				}
			}
		}
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

func BenchmarkPlan200kPlants(b *testing.B) {
	f, _ := plane.FrameAt(geo.Position{-80.4, 35.9})
	var ring orb.Ring
	for _, q := range []plane.XY{{X: 0, Y: 0}, {X: 1000, Y: 0}, {X: 1000, Y: 600}, {X: 0, Y: 600}, {X: 0, Y: 0}} {
		ring = append(ring, f.Position(q))
	}
	for b.Loop() {
		l, err := Plan(context.Background(), orb.Polygon{ring}, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90})
		if err != nil || l.Plants < 200_000 {
			b.Fatal(l.Plants, err)
		}
	}
}
