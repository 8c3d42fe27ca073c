package spray

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/records"
	"caneward/records/quantity"
)

// Two blocks of a hectare side by side; what lies where is by hand.
func TestPeaks(t *testing.T) {
	s := at(t, -80.42, 35.87)
	label := func(body string) Product {
		p, faults := ParseProduct(geo.Geometry{}, []byte(body))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		return p
	}
	first := label(`{"name":"First","ingredients":[{"name":"captan","content":{"value":50,"unit":"percent"}}],"caps":[
		{"what":"uses","value":4,"per":"year"},{"what":"product","value":8,"unit":"kg","area":"ha","per":"season","starts":"11-01"},
		{"what":"ingredient","ingredient":"captan","value":6,"unit":"kg","area":"ha","per":"12-months"}]}`)
	second := label(`{"name":"Second","ingredients":[{"name":"captan","content":{"value":800,"unit":"g_per_kg"}}]}`)
	y := Year{year: 2026, zone: time.UTC, blocks: []Block{
		{ID: idA, Name: "West", Outline: s.rectangle(0, 0, 100, 100)}, {ID: idB, Name: "East", Outline: s.rectangle(100, 0, 200, 100)}}}
	add := func(id, day string, ground orb.MultiPolygon, p Product, kgPerHa float64) {
		when, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		y.earlier = append(y.earlier, Earlier{ID: records.ID(id), Started: when.Add(9 * time.Hour), Ended: when.Add(10 * time.Hour), Ground: ground,
			Uses: []Use{{Product: p.Name, Label: p, PerSquareMetre: quantity.Amount{Value: kgPerHa / 1e4, Unit: quantity.Kilogram}}}})
	}
	add("a", "2025-05-20", s.rectangle(0, 0, 100, 100), first, 9)    // the season before, and the twelve months to May
	add("b", "2025-11-10", s.rectangle(0, 0, 60, 100), first, 3)     // the season of 2026
	add("c", "2026-05-10", s.rectangle(40, 0, 200, 100), first, 3)   // over b on a fifth of West
	add("d", "2026-05-19", s.rectangle(150, 0, 250, 100), second, 4) // the same captan on half of East
	add("e", "2026-12-01", s.rectangle(180, 0, 200, 100), first, 1)  // the next season
	peaks, err := y.Peaks(t.Context())
	if err != nil || len(peaks) != 3 {
		t.Fatalf("%d peaks, %v, want 3", len(peaks), err)
	}
	day := func(text string) time.Time { d, _ := time.Parse(time.DateOnly, text); return d }
	for i, want := range []struct {
		value    float64
		block    string
		x0, x1   float64
		from, to string
		passes   []records.ID
	}{
		// c and e, of the calendar year, on the last 20 m of East.
		{2, "East", 180, 200, "2026-01-01", "2026-12-31", []records.ID{"c", "e"}},
		// b and c, in the season to 31 October, where they overlap.
		{6, "West", 40, 60, "2025-11-01", "2026-10-31", []records.ID{"b", "c"}},
		// Half of 9 + 3 + 3: a, b and c in the twelve months to 10 May, in the overlap.
		{7.5, "West", 40, 60, "2025-05-11", "2026-05-10", []records.ID{"a", "b", "c"}},
	} {
		p := peaks[i]
		if math.Abs(p.Value-want.value) > 1e-9 || p.Block.Name != want.block || !p.From.Equal(day(want.from)) || !p.To.Equal(day(want.to)) || !slices.Equal(p.Passes, want.passes) {
			t.Errorf("%d: %v in %s, %s to %s, of %v; want %+v", i, p.Value, p.Block.Name, p.From.Format(time.DateOnly), p.To.Format(time.DateOnly), p.Passes, want)
		}
		west, east := s.p(want.x0, 50), s.p(want.x1, 50)
		if p.At[0] < west[0] || p.At[0] > east[0] {
			t.Errorf("%d: shown at %v, want between %v and %v", i, p.At, west, east)
		}
		if len(p.Days) != len(p.Passes) || p.Bound || !p.Unknown.Empty() {
			t.Errorf("%d: %+v", i, p)
		}
	}
	y.year = 2027
	if peaks, err := y.Peaks(t.Context()); err != nil || len(peaks) > 0 {
		t.Errorf("a year without uses: %v, %v", peaks, err)
	}
}
