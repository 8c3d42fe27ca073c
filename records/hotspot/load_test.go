package hotspot_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/hotspot"
	"caneward/records/memory"
	"caneward/records/scouting"
)

// farm is a store with one farm and a block of 3 m by 1 m on invented ground.
type farm struct {
	t     *testing.T
	store *memory.Store
	frame plane.Frame
	made  int
	block records.ID
}

const farmID = "here"

func newFarm(t *testing.T) *farm {
	t.Helper()
	frame, err := plane.FrameAt(geo.Position{-81.52, 41.94})
	if err != nil {
		t.Fatal(err)
	}
	f := &farm{t: t, store: memory.New(func() time.Time { return time.Date(2026, 4, 20, 0, 0, 0, 0, time.UTC) }), frame: frame}
	if err := f.store.CreateFarm(context.Background(), records.Farm{ID: farmID, Name: "Here", Zone: "America/New_York"}); err != nil {
		t.Fatal(err)
	}
	f.block = f.put(records.Blocks, orb.Polygon{orb.Ring(f.line(0, 0, 200, 0, 200, 150, 0, 150, 0, 0))},
		map[string]any{"name": "Test block", "row_spacing_m": 3.0, "plant_spacing_m": 1.0})
	return f
}

// line is a line through points in metres east and north.
func (f *farm) line(xy ...float64) (line orb.LineString) {
	for i := 0; i < len(xy); i += 2 {
		line = append(line, f.frame.Position(plane.XY{X: xy[i], Y: xy[i+1]}))
	}
	return line
}

func (f *farm) put(kind records.Kind, shape orb.Geometry, properties map[string]any) records.ID {
	f.t.Helper()
	if kind != records.Blocks {
		properties["block"] = string(f.block)
	}
	raw, err := json.Marshal(properties)
	if err != nil {
		f.t.Fatal(err)
	}
	f.made++
	id := records.ID(fmt.Sprintf("0190b5a2-7c3e-7a11-8f00-%012x", f.made))
	out, err := f.store.Write(context.Background(), farmID, []records.Write{{Kind: kind, ID: id, Record: records.Record{Geometry: geo.Geometry{Flat: shape}, Properties: raw}}})
	if err != nil || out[0].Err != nil {
		f.t.Fatal(err, out)
	}
	return id
}

func (f *farm) find(row, plant int, state scouting.State, pin orb.Geometry) records.ID {
	properties := map[string]any{"cause": "orange-rust", "state": state, "found_at": "2026-04-14T09:30:00-04:00"}
	if row > 0 {
		properties["row"], properties["plant"] = row, plant
	}
	return f.put(records.Finds, pin, properties)
}

func (f *farm) load() hotspot.Input {
	f.t.Helper()
	var in hotspot.Input
	err := f.store.View(context.Background(), farmID, func(r records.Reader) (err error) {
		in, err = hotspot.Load(r, hotspot.Request{Block: f.block})
		return err
	})
	if err != nil {
		f.t.Fatal(err)
	}
	return in
}

func (f *farm) analyse(body string) hotspot.Analysis {
	f.t.Helper()
	q, err := hotspot.DecodeRequest([]byte(fmt.Sprintf(`{"block":%q%s}`, f.block, body)))
	if err != nil {
		f.t.Fatal(err)
	}
	a, err := q.Analyse(context.Background(), f.load())
	if err != nil {
		f.t.Fatal(err)
	}
	return a
}

func plants(rowsAndPlants ...int) (out []hotspot.Plant) {
	for i := 0; i < len(rowsAndPlants); i += 2 {
		out = append(out, hotspot.Plant{Row: rowsAndPlants[i], Plant: rowsAndPlants[i+1]})
	}
	return out
}

var spots = plants(5, 10, 5, 11, 5, 12, 5, 13, 6, 10, 6, 12, 6, 13, 30, 90)

const asPosted = `,"causes":["orange-rust"],"states":["suspected"],"along_m":3.0,"across_m":3.2,"min_finds":3`

// A block without drawn rows: finds to a group by row and plant numbers alone,
// the hull from the pins.
func TestLoadWithoutRows(t *testing.T) {
	f := newFarm(t)
	for _, p := range spots {
		f.find(p.Row, p.Plant, scouting.Suspected, f.line(float64(p.Plant), float64(p.Row)*3)[0])
	}
	a := f.analyse(asPosted)
	if len(a.Groups) != 1 || !slices.Equal(a.Groups[0].Finds, spots[:7]) || a.Surveyed || len(a.List.Confirmed) > 0 {
		t.Fatalf("groups %+v, list %+v", a.Groups, a.List)
	}
	hull, ok := a.Groups[0].Hull.Shape.(orb.Polygon)
	if !ok || len(hull[0]) != 5 {
		t.Errorf("hull %v, want the four corners of the pins", a.Groups[0].Hull)
	}
	if d := a.Document(words.Spanish); d.WhyNoP == nil || *d.WhyNoP == "" || d.Positions != "numbers" {
		t.Errorf("why no p %v, positions %q", d.WhyNoP, d.Positions)
	}
}

// Rows drawn on a slant: row 6 starts 20 m farther along than row 5, so equal
// plant numbers are 20 m apart on the ground.
func TestLoadDrawnRows(t *testing.T) {
	const bearing = 33
	f := newFarm(t)
	lay := func(number int, start, length float64) {
		a, b := plane.XY{X: float64(number) * 3, Y: start}, plane.XY{X: float64(number) * 3, Y: start + length}
		a, b = plane.Turn(a, -bearing), plane.Turn(b, -bearing)
		drawn := f.line(a.X, a.Y, b.X, b.Y)
		for i, p := range drawn { // as drawing programs write them: to the centimetre
			drawn[i] = orb.Point{math.Round(p[0]*1e7) / 1e7, math.Round(p[1]*1e7) / 1e7}
		}
		f.put(records.Rows, drawn, map[string]any{"number": number, "plants": int(length) + 1, "missing": []int{2}})
	}
	lay(5, 0, 60)
	lay(6, 20, 60)
	for _, p := range plants(5, 30, 5, 31, 5, 33, 6, 10, 6, 12, 6, 30) {
		f.find(p.Row, p.Plant, scouting.Confirmed, nil)
	}
	f.find(5, 70, scouting.Confirmed, nil)
	f.find(0, 0, scouting.Confirmed, f.line(5, 5)[0])
	in := f.load()
	if d := in.Placed[hotspot.Plant{Row: 5, Plant: 31}].Minus(in.Placed[hotspot.Plant{Row: 6, Plant: 11}]); math.Abs(d.X) > 0.02 || math.Abs(math.Abs(d.Y)-3) > 0.02 {
		t.Errorf("plant 31 of row 5 and 11 of row 6 lie %v apart, want 3 m across", d)
	}
	a := f.analyse(`,"along_m":3,"across_m":3.2`)
	if len(a.Groups) != 1 || !slices.Equal(a.Groups[0].Finds, plants(5, 30, 5, 31, 5, 33, 6, 10, 6, 12)) || !slices.Equal(a.Isolated, plants(6, 30)) {
		t.Errorf("groups %+v, isolated %v", a.Groups, a.Isolated)
	}
	// Plants 31 and 33 stand exactly 2 m apart, whatever seven decimals and a
	// bearing do to them.
	if a := f.analyse(`,"along_m":2,"across_m":0.5,"min_finds":2`); len(a.Groups) != 2 {
		t.Errorf("reach of exactly two plants: groups %+v", a.Groups)
	}
	unresolved := 0
	for _, l := range a.Labels {
		if !l.Unresolved.Empty() {
			unresolved++
		}
	}
	if unresolved != 2 || a.Groups[0].Hull == nil || !a.Surveyed {
		t.Errorf("%d unresolved, hull %v, surveyed %v; want 2, one, true", unresolved, a.Groups[0].Hull, a.Surveyed)
	}
}

// A row cut by a pond: numbers run on, metres do not.
func TestLoadRowInParts(t *testing.T) {
	f := newFarm(t)
	f.put(records.Rows, orb.MultiLineString{f.line(0, 0, 9.5, 0), f.line(40, 0, 45, 0)}, map[string]any{"number": 1, "plants": 16})
	in := f.load()
	if row := in.Rows[0]; row.Plants != 16 || !slices.Equal(row.Breaks, []int{11}) {
		t.Errorf("row %+v, want a break before plant 11", row)
	}
	if d := in.Placed[hotspot.Plant{Row: 1, Plant: 10}].Distance(in.Placed[hotspot.Plant{Row: 1, Plant: 11}]); math.Abs(float64(d)-31) > 1e-6 {
		t.Errorf("plants 10 and 11 lie %v m apart, want 31", d)
	}
}

func TestLoadEffort(t *testing.T) {
	stretch := func(row, from, to int) map[string]any { return map[string]any{"row": row, "from": from, "to": to} }
	visit := func(f *farm, stretches ...map[string]any) {
		f.put(records.Visits, nil, map[string]any{"started_at": "2026-04-14T09:00:00-04:00", "inspected": stretches})
	}
	rows := func(f *farm) {
		f.put(records.Rows, f.line(0, 3, 40, 3), map[string]any{"number": 1, "plants": 41, "missing": []int{7}})
		f.put(records.Rows, f.line(0, 6, 20, 6), map[string]any{"number": 2, "plants": 21})
	}
	for _, c := range []struct {
		name string
		fill func(*farm)
		want int
		why  string
	}{
		{"no visit", rows, 0, "hotspot-no-effort"},
		{"a visit that says nothing", func(f *farm) { rows(f); visit(f) }, 0, "hotspot-no-effort"},
		{"all rows, less the missing plant", func(f *farm) { rows(f); visit(f, map[string]any{"rows": "all"}) }, 61, "hotspot-nothing-infected"},
		{"stretches of two visits overlap", func(f *farm) { rows(f); visit(f, stretch(1, 1, 10)); visit(f, stretch(1, 5, 12), stretch(2, 3, 3)) }, 12, "hotspot-nothing-infected"},
		{"a stretch beyond the row's end", func(f *farm) { rows(f); visit(f, stretch(2, 20, 90_000)) }, 2, "hotspot-nothing-infected"},
		{"a stretch of a row nobody drew", func(f *farm) { rows(f); visit(f, stretch(9, 1, 5)) }, 0, "hotspot-no-effort"},
		{"stretches without drawn rows", func(f *farm) { visit(f, stretch(1, 1, 10)) }, 10, "hotspot-nothing-infected"},
		{"all of rows nobody drew", func(f *farm) { visit(f, map[string]any{"rows": "all"}) }, 0, "hotspot-rows-not-counted"},
		{"more than anybody walks", func(f *farm) {
			for row := range 6 {
				visit(f, stretch(row+1, 1, 100_000))
			}
		}, 0, "hotspot-too-many-inspected"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := newFarm(t)
			c.fill(f)
			if a := f.analyse(""); a.Inspected != c.want || a.WhyNoP.Key() != c.why {
				t.Errorf("%d inspected, why no p %q; want %d, %s", a.Inspected, a.WhyNoP.Key(), c.want, c.why)
			}
		})
	}
}

func TestLoadRemovals(t *testing.T) {
	f := newFarm(t)
	for _, p := range spots[:3] {
		f.find(p.Row, p.Plant, scouting.Confirmed, nil)
	}
	removal := func(done string, p hotspot.Plant) {
		properties := map[string]any{"plants": []hotspot.Plant{p}}
		if done != "" {
			properties["done_on"] = done
		}
		f.put(records.Removals, nil, properties)
	}
	removal("2026-04-14", spots[0])
	removal("", spots[1])
	removal("2025-04-14", spots[2])
	if a := f.analyse(""); !slices.Equal(a.Gone, spots[:1]) || !slices.Equal(a.List.Confirmed, spots[1:3]) {
		t.Errorf("gone %v, list %v; want the one dug after it was found gone, the planned one and the regrowth listed", a.Gone, a.List.Confirmed)
	}
}

func TestLoadRefusals(t *testing.T) {
	f := newFarm(t)
	f.put(records.Finds, nil, map[string]any{"cause": "rust"})
	if in := f.load(); len(in.Notes) != 1 || len(in.Finds) != 0 {
		t.Errorf("a find that cannot be read: notes %v, finds %v", in.Notes, in.Finds)
	}
	f.block = "0190b5a2-7c3e-7a11-8f00-ffffffffffff"
	err := f.store.View(context.Background(), farmID, func(r records.Reader) error {
		_, err := hotspot.Load(r, hotspot.Request{Block: f.block})
		return err
	})
	if !fault.Is(err, fault.Missing) {
		t.Errorf("no such block: %v, want fault.Missing", err)
	}
}

func TestBlockWithoutSpacings(t *testing.T) {
	f := newFarm(t)
	f.block = f.put(records.Blocks, orb.Polygon{orb.Ring(f.line(0, 0, 20, 0, 20, 15, 0, 0))}, map[string]any{"name": "Bare"})
	q := hotspot.Request{Block: f.block}
	if _, err := q.Analyse(context.Background(), f.load()); !fault.Is(err, fault.Invalid) {
		t.Errorf("no spacings: %v, want fault.Invalid", err)
	}
	reach := geo.Metres(3)
	q.Along, q.Across = &reach, &reach
	if _, err := q.Analyse(context.Background(), f.load()); !fault.Is(err, fault.Invalid) {
		t.Errorf("reach without spacings: %v, want fault.Invalid", err)
	}
}

// A row that says its places: numbers do not run with the ground, and what has
// no place holds no plant.
func TestLoadPlaces(t *testing.T) {
	f := newFarm(t)
	f.put(records.Rows, f.line(0, 0, 50, 0), map[string]any{"number": 1, "plants": 45, "missing": []int{3}, "places": []map[string]any{
		{"from": 1, "plants": 20, "at_m": 10, "spacing_m": 1}, {"from": 41, "plants": 5, "at_m": 0, "spacing_m": 2}}})
	f.put(records.Rows, f.line(0, 3, 50, 3), map[string]any{"number": 2, "plants": 51, "skipped": true})
	f.put(records.Visits, nil, map[string]any{"started_at": "2026-04-14T09:00:00-04:00", "inspected": []any{map[string]any{"rows": "all"}}})
	f.find(1, 41, scouting.Confirmed, nil)
	in := f.load()
	if row := in.Rows[0]; row.Plants != 45 || len(row.Missing) != 21 || !slices.Equal(row.Breaks, []int{41}) {
		t.Errorf("row %+v, want 45 numbers, 21 of them without a plant, a break before 41", row)
	}
	for _, c := range []struct {
		plant int
		east  float64
	}{{1, 10}, {20, 29}, {41, 0}, {45, 8}} {
		got := in.Where[hotspot.Plant{Row: 1, Plant: c.plant}]
		if d := f.frame.XY(got).Distance(plane.XY{X: c.east}); d > 1e-3 {
			t.Errorf("plant %d stands %v m from where its run says", c.plant, d)
		}
	}
	if a := f.analyse(""); a.Inspected != 24 {
		t.Errorf("%d inspected, want 24: 25 places less the missing one, none on the skipped strip", a.Inspected)
	}
}

// The old layout is what last year's records show.
func TestLoadAsOf(t *testing.T) {
	now := time.Date(2025, 4, 20, 0, 0, 0, 0, time.UTC)
	f := newFarm(t)
	f.store = memory.New(func() time.Time { return now })
	if err := f.store.CreateFarm(context.Background(), records.Farm{ID: farmID, Name: "Here", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	f.block = f.put(records.Blocks, orb.Polygon{orb.Ring(f.line(0, 0, 200, 0, 200, 150, 0, 150, 0, 0))}, map[string]any{"name": "B", "row_spacing_m": 3.0, "plant_spacing_m": 1.0})
	row := f.put(records.Rows, f.line(0, 0, 50, 0), map[string]any{"number": 1, "plants": 51})
	f.find(1, 11, scouting.Confirmed, nil)
	now = now.AddDate(1, 0, 0)
	out, err := f.store.Write(context.Background(), farmID, []records.Write{{Kind: records.Rows, ID: row, Base: 1, Record: records.Record{
		Geometry: geo.Geometry{Flat: f.line(5, 0, 50, 0)}, Properties: json.RawMessage(fmt.Sprintf(`{"block":%q,"number":1,"plants":46}`, f.block))}}})
	if err != nil || out[0].Err != nil {
		t.Fatal(err, out)
	}
	for _, c := range []struct {
		asOf string
		east float64
	}{{"", 15}, {`,"as_of":"2025-12-31T00:00:00Z"`, 10}, {`,"as_of":"2026-12-31T00:00:00Z"`, 15}} {
		q, err := hotspot.DecodeRequest([]byte(fmt.Sprintf(`{"block":%q%s}`, f.block, c.asOf)))
		if err != nil {
			t.Fatal(err)
		}
		var in hotspot.Input
		if err := f.store.View(context.Background(), farmID, func(r records.Reader) (err error) { in, err = hotspot.Load(r, q); return err }); err != nil {
			t.Fatal(err)
		}
		if d := f.frame.XY(in.Where[hotspot.Plant{Row: 1, Plant: 11}]).Distance(plane.XY{X: c.east}); d > 1e-3 {
			t.Errorf("%q: plant 11 stands %v m from %v m east", c.asOf, d, c.east)
		}
	}
	if _, err := hotspot.DecodeRequest([]byte(fmt.Sprintf(`{"block":%q,"as_of":"last year"}`, f.block))); !fault.Is(err, fault.Invalid) {
		t.Errorf("as of last year: %v", err)
	}
}

// An earlier day knows neither later finds nor later walks nor later removals.
func TestLoadAsOfLeavesOutWhatCameLater(t *testing.T) {
	f := newFarm(t)
	f.put(records.Rows, f.line(0, 0, 50, 0), map[string]any{"number": 1, "plants": 51})
	at := func(kind records.Kind, shape orb.Geometry, day string, properties map[string]any) {
		for _, key := range []string{"found_at", "started_at"} {
			if _, ok := properties[key]; ok {
				properties[key] = day + "T10:00:00-04:00"
			}
		}
		if _, ok := properties["done_on"]; ok {
			properties["done_on"] = day
		}
		f.put(kind, shape, properties)
	}
	for day, plant := range map[string]int{"2026-03-10": 3, "2026-04-10": 10} {
		at(records.Finds, nil, day, map[string]any{"cause": "orange-rust", "state": "confirmed", "found_at": "", "row": 1, "plant": plant})
		at(records.Visits, nil, day, map[string]any{"started_at": "", "inspected": []any{map[string]any{"row": 1, "from": plant, "to": plant + 4}},
			"counts": []any{map[string]any{"what": "galled-canes", "sampled": 30, "hits": plant}}})
	}
	at(records.Removals, nil, "2026-04-12", map[string]any{"done_on": "", "plants": []any{map[string]any{"row": 1, "plant": 3}}})
	for _, c := range []struct {
		asOf                                string
		finds, inspected, removals, counted int
	}{{"", 2, 10, 1, 2}, {`,"as_of":"2026-03-31T23:59:59-04:00"`, 1, 5, 0, 1}, {`,"as_of":"2026-04-11T00:00:00Z"`, 2, 10, 0, 2}, {`,"as_of":"2025-04-11T00:00:00Z"`, 0, 0, 0, 0}} {
		q, err := hotspot.DecodeRequest([]byte(fmt.Sprintf(`{"block":%q%s}`, f.block, c.asOf)))
		if err != nil {
			t.Fatal(err)
		}
		var in hotspot.Input
		if err := f.store.View(context.Background(), farmID, func(r records.Reader) (err error) { in, err = hotspot.Load(r, q); return err }); err != nil {
			t.Fatal(err)
		}
		if len(in.Finds) != c.finds || len(in.Inspected) != c.inspected || len(in.Removed) != c.removals || len(in.Counts) != c.counted || len(in.Rows) != 1 {
			t.Errorf("%q: %d finds, %d inspected, %d removed, %d counts, %d rows; want %+v", c.asOf, len(in.Finds), len(in.Inspected), len(in.Removed), len(in.Counts), len(in.Rows), c)
		}
	}
}

// The service and the command answer alike: the same block as records and as a
// sheet gives the same document to the byte, but for what a sheet cannot hold:
// ids, and places on the ground with the hull they give.
func TestRecordsAndSheetGiveTheSameDocument(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	f := newFarm(t)
	const rows, each = 9, 40
	var sheet strings.Builder
	sheet.WriteString("row,plant,x_m,y_m,status,infected,state\n")
	for row := 1; row <= rows; row++ {
		y := 3 * float64(row)
		f.put(records.Rows, f.line(0, y, each-1, y), map[string]any{"number": row, "plants": each, "missing": []int{7 + row}})
		from := 1 + random.IntN(12)
		f.put(records.Visits, nil, map[string]any{"started_at": "2026-04-14T08:00:00-04:00", "inspected": []any{map[string]any{"row": row, "from": from, "to": each}}})
		for plant := 1; plant <= each; plant++ {
			status, infected, state := "not_inspected", 0, ""
			if plant >= from {
				status = "inspected"
			}
			switch {
			case plant == 7+row:
				status = "missing"
			case random.IntN(12) == 0 || row > 3 && row < 7 && plant > 20 && plant < 27 && random.IntN(2) == 0:
				infected, state = 1, []string{"confirmed", "confirmed", "suspected"}[random.IntN(3)]
				f.find(row, plant, scouting.State(state), nil)
			}
			fmt.Fprintf(&sheet, "%d,%d,%d,%v,%s,%d,%s\n", row, plant, plant-1, y, status, infected, state)
		}
	}
	document := func(a hotspot.Analysis) string {
		d := a.Document(words.English)
		d.Positions = ""
		for i := range d.Finds {
			d.Finds[i].ID = ""
		}
		for i := range d.Groups {
			d.Groups[i].Hull = nil
		}
		for i := range d.Scan {
			d.Scan[i].Semiminor = geo.Metres(math.Round(float64(d.Scan[i].Semiminor)*1e4) / 1e4)
		}
		data, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	// No two plants stand at 3.3 m along or across.
	states := []scouting.State{scouting.Confirmed, scouting.Suspected}
	fromSheet, err := hotspot.AnalyseRowMap(context.Background(), strings.NewReader(sheet.String()), hotspot.RowMapOptions{RowSpacing: 3, PlantSpacing: 1,
		Options: hotspot.Options{States: states, Along: new(geo.Metres(3.3)), Across: new(geo.Metres(3.3))}})
	if err != nil {
		t.Fatal(err)
	}
	fromRecords := f.analyse(`,"states":["confirmed","suspected"],"along_m":3.3,"across_m":3.3`)
	if got, want := document(fromSheet), document(fromRecords); got != want {
		t.Errorf("the sheet gives\n%s\nthe records give\n%s", got, want)
	}
	if len(fromSheet.Groups) == 0 || len(fromSheet.Scan) == 0 {
		t.Errorf("%d groups, %d windows: nothing to compare", len(fromSheet.Groups), len(fromSheet.Scan))
	}
}

// The same records, stored in any order, give the same answer to the byte.
func TestRecordsStoredInAnotherOrder(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 21))
	var want string
	for round := range 4 {
		f := newFarm(t)
		var puts []func()
		put := func(kind records.Kind, shape orb.Geometry, properties map[string]any) {
			n := 2 + len(puts)
			puts = append(puts, func() {
				f.made = n
				f.put(kind, shape, properties)
			})
		}
		for row := 1; row <= 6; row++ {
			y := 3 * float64(row)
			put(records.Rows, f.line(0, y, 29, y), map[string]any{"number": row, "plants": 30})
			put(records.Visits, nil, map[string]any{"started_at": "2026-04-14T08:00:00-04:00", "inspected": []any{map[string]any{"row": row, "from": row, "to": 30}}})
			for plant := 2 + row%3; plant <= 30; plant += 3 + row {
				put(records.Finds, nil, map[string]any{"cause": "orange-rust", "state": "confirmed", "found_at": "2026-04-14T09:30:00-04:00", "row": row, "plant": plant})
			}
		}
		put(records.Removals, nil, map[string]any{"done_on": "2026-04-15", "plants": []any{map[string]any{"row": 1, "plant": 3}}})
		if round > 0 {
			random.Shuffle(len(puts), func(i, j int) { puts[i], puts[j] = puts[j], puts[i] })
		}
		for _, p := range puts {
			p()
		}
		got, err := json.Marshal(f.analyse(`,"smooth":true`).Document(words.English))
		if err != nil {
			t.Fatal(err)
		}
		if round == 0 {
			want = string(got)
		} else if string(got) != want {
			t.Fatalf("stored in another order:\n%s\nwant\n%s", got, want)
		}
	}
}
