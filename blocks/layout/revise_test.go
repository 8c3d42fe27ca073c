package layout

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/plane"
)

// plot is ground in metres east and north.
type plot struct{ frame plane.Frame }

func plotAt(t testing.TB, lon, lat float64) plot {
	t.Helper()
	f, err := plane.FrameAt(geo.Position{lon, lat})
	if err != nil {
		t.Fatal(err)
	}
	return plot{f}
}

func (p plot) ring(turn geo.Degrees, xy ...float64) orb.Ring {
	var r orb.Ring
	for i := 0; i < len(xy); i += 2 {
		r = append(r, p.frame.Position(plane.Turn(plane.XY{X: xy[i], Y: xy[i+1]}, -turn)))
	}
	return append(r, r[0])
}

func planned(t testing.TB, outline orb.Geometry, spec Spec) Layout {
	t.Helper()
	l, err := Plan(context.Background(), outline, spec)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// stored turns a layout into rows as they are stored when a block is laid out.
func stored(l Layout) []blocks.Row {
	var rows []blocks.Row
	for _, r := range l.Rows {
		row := blocks.Row{Block: "b", Number: r.Number, Plants: r.Plants, Skipped: r.Skipped}
		for _, p := range r.Parts {
			row.Parts = append(row.Parts, p.Line())
		}
		rows = append(rows, row)
	}
	return rows
}

func revised(t testing.TB, outline orb.Geometry, old Standing, next Layout, used []Use) Revision {
	t.Helper()
	r, err := Revise(context.Background(), outline, old, next, used)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// again sends rows through the form they are stored in, which refuses what no
// row may be.
func again(t testing.TB, rows []Revised) []blocks.Row {
	t.Helper()
	var out []blocks.Row
	for _, r := range rows {
		props := map[string]any{"block": "b", "number": r.Number, "plants": r.Plants, "skipped": r.Skipped}
		if len(r.Missing) > 0 {
			props["missing"] = r.Missing
		}
		runs := []map[string]any{}
		for _, run := range r.Places {
			in := map[string]any{"from": run.From, "plants": run.Plants, "part": run.Part, "at_m": float64(run.At)}
			if run.Plants > 1 {
				in["spacing_m"] = float64(run.Spacing)
			}
			runs = append(runs, in)
		}
		if r.Places != nil {
			props["places"] = runs
		}
		raw, err := json.Marshal(props)
		if err != nil {
			t.Fatal(err)
		}
		row, details := blocks.ParseRow(geo.Geometry{Flat: r.Parts}, raw)
		if len(details) > 0 {
			t.Fatalf("row %d would be refused: %v\n%s", r.Number, details, raw)
		}
		out = append(out, row)
	}
	return out
}

// where gives every place of the rows.
func where(t testing.TB, f plane.Frame, rows []blocks.Row, spacing geo.Metres) map[Use]plane.XY {
	t.Helper()
	out := map[Use]plane.XY{}
	for _, r := range rows {
		for _, n := range r.Numbers(spacing) {
			at, ok := r.At(n, spacing)
			if !ok {
				t.Fatalf("row %d has no place %d", r.Number, n)
			}
			u := Use{Row: r.Number, Plant: n}
			if _, twice := out[u]; twice {
				t.Fatalf("address %v twice", u)
			}
			out[u] = f.XY(at)
		}
	}
	return out
}

// clearance is how far a place lies inside the outline, negative outside: by
// the distance to every edge, apart from the engine under test.
func clearance(region plane.Region, q plane.XY) float64 {
	least := math.Inf(1)
	for _, p := range region {
		for _, ring := range p {
			for i := 1; i < len(ring); i++ {
				least = math.Min(least, float64(q.Distance(q.NearestOn(ring[i-1], ring[i]))))
			}
		}
	}
	if !region.Contains(q) {
		return -least
	}
	return least
}

type edit struct {
	name    string
	outline orb.Geometry
	spec    Spec
}

// Five edits of the issue and more, on a block of 120 m by 63 m with a pond,
// under 50 finds: none of them changes its plant.
func TestReviseUnderFinds(t *testing.T) {
	for _, place := range []struct {
		lon, lat float64
		turn     geo.Degrees
	}{{-80.42, 35.87, 27}, {179.9996, -45.2, 301}, {12.5, 69.1, 90}} {
		p := plotAt(t, place.lon, place.lat)
		spec := Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: place.turn, Headland: 4}
		pond := p.ring(place.turn, 20, 40, 20, 60, 32, 60, 32, 40)
		outline := orb.Polygon{p.ring(place.turn, 0, 0, 63, 0, 63, 120, 0, 120), pond}
		with := func(change func(*Spec)) Spec { s := spec; change(&s); return s }
		guide := orb.LineString(p.ring(place.turn, 10, -5, 14, 40, 12, 90, 10, 125)[:4])
		for _, e := range []edit{
			{"a corner moved", orb.Polygon{p.ring(place.turn, 0, 0, 63, 0, 58, 112, 0, 120), pond}, spec},
			{"a bay cut", orb.Polygon{p.ring(place.turn, 0, 0, 63, 0, 63, 50, 45, 50, 45, 80, 63, 80, 63, 120, 0, 120), pond}, spec},
			{"ground added at the ends", orb.Polygon{p.ring(place.turn, 0, -20, 63, -20, 63, 131.5, 0, 131.5), pond}, spec},
			{"ground added at the side", orb.Polygon{p.ring(place.turn, -10, 0, 71, 0, 71, 120, -10, 120), pond}, spec},
			{"shifted by 3 m along", orb.Polygon{p.ring(place.turn, 0, 3, 63, 3, 63, 123, 0, 123), pond}, spec},
			{"shifted by 3 m across", orb.Polygon{p.ring(place.turn, 3, 0, 66, 0, 66, 120, 3, 120), pond}, spec},
			{"shifted by 1 m across", orb.Polygon{p.ring(place.turn, 1, 0, 64, 0, 64, 120, 1, 120), pond}, spec},
			{"bearing turned by a degree", outline, with(func(s *Spec) { s.Bearing = (s.Bearing + 1).Normal() })},
			{"bearing turned by ten degrees", outline, with(func(s *Spec) { s.Bearing = (s.Bearing + 10).Normal() })},
			{"pond filled", orb.Polygon{outline[0]}, spec},
			{"another pond", orb.Polygon{outline[0], pond, p.ring(place.turn, 40, 70, 40, 85, 52, 85, 52, 70)}, spec},
			{"wider headland", outline, with(func(s *Spec) { s.Headland = 9 })},
			{"no headland", outline, with(func(s *Spec) { s.Headland = 0 })},
			{"other spacings", outline, with(func(s *Spec) { s.PlantSpacing, s.RowSpacing = 0.9, 2.7 })},
			{"numbered from the other corner", outline, with(func(s *Spec) { s.FromRight, s.FromFarEnd = true, true })},
			{"split in two", orb.MultiPolygon{{p.ring(place.turn, 0, 0, 63, 0, 63, 70, 0, 70), pond}, {p.ring(place.turn, 0, 78, 63, 78, 63, 120, 0, 120)}}, spec},
			{"only a corner left", orb.Polygon{p.ring(place.turn, 0, 0, 20, 0, 20, 30, 0, 30)}, spec},
			{"beside a guide that bends", outline, with(func(s *Spec) { s.Guide = guide })},
		} {
			t.Run(fmt.Sprintf("%v/%v/%s", place.lat, place.turn, e.name), func(t *testing.T) {
				old := Standing{Rows: stored(planned(t, outline, spec)), Spacing: spec.PlantSpacing}
				checkRevision(t, p, old, e)
			})
		}
		// Rows that bend, edited.
		bent := with(func(s *Spec) { s.Guide = guide })
		for _, e := range []edit{
			{"bent, ground added", orb.Polygon{p.ring(place.turn, -8, -15, 70, -15, 70, 131.5, -8, 131.5), pond}, bent},
			{"bent, bay cut", orb.Polygon{p.ring(place.turn, 0, 0, 63, 0, 63, 50, 45, 50, 45, 80, 63, 80, 63, 120, 0, 120), pond}, bent},
		} {
			t.Run(fmt.Sprintf("%v/%v/%s", place.lat, place.turn, e.name), func(t *testing.T) {
				old := Standing{Rows: stored(planned(t, outline, bent)), Spacing: bent.PlantSpacing}
				checkRevision(t, p, old, e)
			})
		}
	}
}

func checkRevision(t *testing.T, p plot, old Standing, e edit) {
	t.Helper()
	before := where(t, p.frame, old.Rows, old.Spacing)
	region, err := p.frame.Region(e.outline)
	if err != nil {
		t.Fatal(err)
	}
	// Fifty finds at plants drawn by lot.
	dice := rand.New(rand.NewPCG(50, uint64(len(e.name))))
	var addresses []Use
	for _, r := range old.Rows {
		for _, n := range r.Numbers(old.Spacing) {
			addresses = append(addresses, Use{Row: r.Number, Plant: n})
		}
	}
	var finds []Use
	for k := range 50 {
		u := addresses[dice.IntN(len(addresses))]
		u.Kind, u.ID = "finds", fmt.Sprint(k)
		finds = append(finds, u)
	}
	next := planned(t, e.outline, e.spec)
	r := revised(t, e.outline, old, next, finds)
	rows := again(t, r.Rows)
	after := where(t, p.frame, rows, e.spec.PlantSpacing)

	// Every place on the ground stays; within two centimetres of the edge either is right.
	kept := 0
	for u, at := range before {
		now, stands := after[u]
		inside := clearance(region, at)
		switch {
		case stands && float64(now.Distance(at)) > 1e-3:
			t.Errorf("row %d, plant %d moved by %v m", u.Row, u.Plant, now.Distance(at))
		case !stands && inside > 1e-3:
			t.Errorf("row %d, plant %d lies %v m inside and is gone", u.Row, u.Plant, inside)
		case stands && inside < -0.03:
			t.Errorf("row %d, plant %d lies %v m outside and stands", u.Row, u.Plant, -inside)
		}
		if stands {
			kept++
		}
	}
	if kept != r.Kept {
		t.Errorf("%d places kept, said %d", kept, r.Kept)
	}
	conflicts := map[string]bool{}
	for _, u := range r.Conflicts {
		conflicts[u.ID] = true
	}
	for _, f := range finds {
		_, stands := after[Use{Row: f.Row, Plant: f.Plant}]
		if stands == conflicts[f.ID] {
			t.Errorf("find at row %d, plant %d: stands %v, named as a conflict %v", f.Row, f.Plant, stands, conflicts[f.ID])
		}
	}
	checkAdded(t, r, before, after, region, e)
	// Done again with what came of it, nothing changes.
	second := revised(t, e.outline, Standing{Rows: rows, Spacing: e.spec.PlantSpacing}, next, finds)
	if len(second.Added)+len(second.Gone)+len(second.Conflicts)+len(second.Dropped) > 0 || second.Kept != len(after) {
		t.Errorf("revised again: %d of %d kept, added %v, gone %v, conflicts %v, dropped %v", second.Kept, len(after), second.Added, second.Gone, second.Conflicts, second.Dropped)
	}
	for _, row := range second.Rows {
		if row.Changed {
			t.Errorf("revised again row %d changes", row.Number)
		}
	}
	// The same twice is the same.
	if third := revised(t, e.outline, old, next, finds); !reflect.DeepEqual(r, third) {
		t.Error("the same revision came out differently")
	}
}

// checkAdded holds new places to the ground, to numbers of their own and to
// their distance from the others.
func checkAdded(t *testing.T, r Revision, before, after map[Use]plane.XY, region plane.Region, e edit) {
	t.Helper()
	highest := map[int]int{}
	for u := range before {
		highest[u.Row] = max(highest[u.Row], u.Plant)
	}
	added := 0
	for u, at := range after {
		if _, stood := before[u]; stood {
			continue
		}
		added++
		if u.Plant <= highest[u.Row] {
			t.Errorf("row %d gives number %d again; it went up to %d", u.Row, u.Plant, highest[u.Row])
		}
		if inside := clearance(region, at); inside < -0.03 {
			t.Errorf("row %d, new plant %d lies %v m outside", u.Row, u.Plant, -inside)
		}
		for o, q := range after {
			d := float64(at.Distance(q))
			// On a new row each part begins anew, however near the one before ends.
			if highest[u.Row] > 0 && o.Row == u.Row && o.Plant != u.Plant && d < float64(e.spec.PlantSpacing)-0.02 && e.spec.Guide == nil ||
				o.Row != u.Row && d < float64(e.spec.RowSpacing)/2-0.02 {
				t.Errorf("row %d, new plant %d stands %v m from row %d, plant %d", u.Row, u.Plant, d, o.Row, o.Plant)
			}
		}
	}
	said := 0
	for _, s := range r.Added {
		said += s.To - s.From + 1
	}
	if said != added {
		t.Errorf("%d places added, said %d: %v", added, said, r.Added)
	}
}

// By hand: rows of 100 m on 3 m, plants each metre from 0 to 100.
func TestReviseByHand(t *testing.T) {
	p := plotAt(t, -80.42, 35.87)
	spec := Spec{RowSpacing: 3, PlantSpacing: 1}
	outline := orb.Polygon{p.ring(0, 0, 0, 9, 0, 9, 100, 0, 100)}
	old := Standing{Rows: stored(planned(t, outline, spec)), Spacing: 1}
	use := Use{Row: 2, Plant: 2, Kind: "finds", ID: "f"}
	for _, c := range []struct {
		name                     string
		outline                  orb.Geometry
		kept, conflicts, dropped int
		added, gone              []Stretch
	}{
		{"nothing", outline, 303, 0, 0, nil, nil},
		{"3 m along", orb.Polygon{p.ring(0, 0, 3, 9, 3, 9, 103, 0, 103)}, 294, 1, 0,
			[]Stretch{{1, 102, 104}, {2, 102, 104}, {3, 102, 104}}, []Stretch{{1, 1, 3}, {2, 1, 3}, {3, 1, 3}}},
		{"2.5 m before", orb.Polygon{p.ring(0, 0, -2.5, 9, -2.5, 9, 100, 0, 100)}, 303, 0, 0,
			[]Stretch{{1, 102, 103}, {2, 102, 103}, {3, 102, 103}}, nil},
		{"one row wider", orb.Polygon{p.ring(0, 0, 0, 12, 0, 12, 100, 0, 100)}, 303, 0, 0, []Stretch{{4, 1, 101}}, nil},
		{"two rows only", orb.Polygon{p.ring(0, 3, 0, 9, 0, 9, 100, 3, 100)}, 202, 0, 1, nil, []Stretch{{1, 1, 101}}},
		{"a hole over row 2", orb.Polygon{outline[0], p.ring(0, 3.5, 10.5, 3.5, 20.5, 5.5, 20.5, 5.5, 10.5)}, 293, 0, 0, nil, []Stretch{{2, 12, 21}}},
	} {
		r := revised(t, c.outline, old, planned(t, c.outline, spec), []Use{use})
		if r.Kept != c.kept || len(r.Conflicts) != c.conflicts || len(r.Dropped) != c.dropped || !reflect.DeepEqual(r.Added, c.added) || !reflect.DeepEqual(r.Gone, c.gone) {
			t.Errorf("%s: kept %d, conflicts %v, dropped %v, added %v, gone %v; want %+v", c.name, r.Kept, r.Conflicts, r.Dropped, r.Added, r.Gone, c)
		}
		again(t, r.Rows)
	}
	// A row named by a record does not pass its number on.
	wide := orb.Polygon{p.ring(0, 0, 0, 12, 0, 12, 100, 0, 100)}
	r := revised(t, wide, old, planned(t, wide, spec), []Use{{Row: 9, Plant: 1, Kind: "finds", ID: "x"}})
	if n := r.Rows[3].Number; n != 10 || r.Rows[3].Old != -1 {
		t.Errorf("the new row is number %d, want 10: row 9 is named", n)
	}
	if shifted := revised(t, orb.Polygon{p.ring(0, 0.4, 0, 9.4, 0, 9.4, 100, 0.4, 100)}, old, planned(t, orb.Polygon{p.ring(0, 0.4, 0, 9.4, 0, 9.4, 100, 0.4, 100)}, spec), nil).Shifted; len(shifted) != 3 || math.Abs(float64(shifted[0].Beside)-0.4) > 1e-3 {
		t.Errorf("a fresh layout would run 0.4 m beside: %+v", shifted)
	}
}

func TestReviseRefusals(t *testing.T) {
	p := plotAt(t, -80.42, 35.87)
	spec := Spec{RowSpacing: 3, PlantSpacing: 1}
	outline := orb.Polygon{p.ring(0, 0, 0, 9, 0, 9, 100, 0, 100)}
	l := planned(t, outline, spec)
	if _, err := Revise(context.Background(), outline, Standing{Rows: []blocks.Row{{Number: 1, Parts: orb.MultiLineString{{{1, 1}}}}}, Spacing: 1}, l, nil); !fault.Is(err, fault.Invalid) {
		t.Errorf("a row without a line: %v", err)
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Revise(ended, outline, Standing{Rows: stored(l), Spacing: 1}, l, nil); err != context.Canceled {
		t.Errorf("an ended context: %v", err)
	}
	if r := revised(t, outline, Standing{}, l, nil); len(r.Rows) != 3 || r.Rows[2].Number != 3 || r.Kept != 0 {
		t.Errorf("no rows before: %+v", r)
	}
}

func BenchmarkRevise(b *testing.B) {
	p := plotAt(b, -80.42, 35.87)
	spec := Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 30}
	l := planned(b, orb.Polygon{p.ring(30, 0, 0, 1200, 0, 1200, 500, 0, 500)}, spec)
	outline := orb.Polygon{p.ring(30, 0, 3, 1200, 3, 1200, 503, 0, 503)}
	next, old := planned(b, outline, spec), Standing{Rows: stored(l), Spacing: 1}
	for b.Loop() {
		if r := revised(b, outline, old, next, nil); r.Kept < 190_000 {
			b.Fatal(r.Kept)
		}
	}
}

// Random ground with holes under random specs, edited at random: a corner or
// two moved, the bearing a little turned, a hole gone, shifted, or other ground
// and another spec altogether.
func TestReviseAtRandom(t *testing.T) {
	p := plotAt(t, -80.42, 35.87)
	dice := rand.New(rand.NewPCG(44, 1))
	outlineOf := func(rings [][]plane.XY) orb.Polygon {
		var out orb.Polygon
		for _, r := range rings {
			var xy []float64
			for _, q := range r {
				xy = append(xy, q.X, q.Y)
			}
			out = append(out, p.ring(0, xy...))
		}
		return out
	}
	for i := range 120 {
		rings, spec := randomOutline(dice), randomSpec(dice)
		edited, next := make([][]plane.XY, len(rings)), spec
		for k := range rings {
			edited[k] = append([]plane.XY(nil), rings[k]...)
		}
		switch i % 6 {
		case 0:
			q := &edited[0][dice.IntN(len(edited[0]))]
			*q = q.Plus(plane.XY{X: 6*dice.Float64() - 3, Y: 6*dice.Float64() - 3})
		case 1:
			next.Bearing = (spec.Bearing + geo.Degrees(4*dice.Float64()-2)).Normal()
		case 2:
			edited = edited[:1]
		case 3:
			for k := range edited {
				for j := range edited[k] {
					edited[k][j] = edited[k][j].Plus(plane.XY{X: 3, Y: 1})
				}
			}
		case 4:
			edited, next = randomOutline(dice), randomSpec(dice)
		case 5:
			next.Headland, next.Skip, next.PlantSpacing = 3, []int{4}, spec.PlantSpacing*0.8
		}
		l, err := Plan(context.Background(), outlineOf(rings), spec)
		if err != nil || l.Plants < 50 {
			continue
		}
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			checkRevision(t, p, Standing{Rows: stored(l), Spacing: spec.PlantSpacing}, edit{fmt.Sprint("random ", i), outlineOf(edited), next})
		})
	}
}
