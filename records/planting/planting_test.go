package planting_test

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/records"
	"caneward/records/memory"
	"caneward/records/planting"
)

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

func TestRowsAsTheyStood(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC)
	store := memory.New(func() time.Time { return now })
	if err := store.CreateFarm(ctx, records.Farm{ID: "f", Name: "F", Zone: "UTC", Created: now}); err != nil {
		t.Fatal(err)
	}
	ids := records.NewIDs(func() time.Time { return now }, zeros{})
	block, other, row1, row2 := ids.New(), ids.New(), ids.New(), ids.New()
	put := func(id records.ID, base int, props string, lon float64) {
		t.Helper()
		w := records.Write{Kind: records.Rows, ID: id, Base: base, Delete: props == "", By: records.Author{Role: records.Owner}}
		if props != "" {
			w.Record = records.Record{Geometry: geo.Geometry{Flat: orb.LineString{{lon, 36}, {lon, 36.001}}}, Properties: json.RawMessage(props)}
		}
		out, err := store.Write(ctx, "f", []records.Write{w})
		if err != nil || out[0].Err != nil {
			t.Fatal(err, out)
		}
	}
	row := func(block records.ID, number, plants int) string {
		return fmt.Sprintf(`{"block":%q,"number":%d,"plants":%d}`, block, number, plants)
	}
	blockIs := func(base int, spacing float64) {
		t.Helper()
		out, err := store.Write(ctx, "f", []records.Write{{Kind: records.Blocks, ID: block, Base: base, By: records.Author{Role: records.Owner},
			Record: records.Record{Geometry: geo.Geometry{Flat: orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}}, Properties: json.RawMessage(fmt.Sprintf(`{"name":"B","plant_spacing_m":%v}`, spacing))}}})
		if err != nil || out[0].Err != nil {
			t.Fatal(err, out)
		}
	}
	blockIs(0, 1)
	put(row1, 0, row(block, 1, 100), -80)
	put(row2, 0, row(block, 2, 90), -80.001)
	now = now.AddDate(1, 0, 0) // 2026: row 1 cut, row 2 moved to another block
	blockIs(1, 0.9)
	put(row1, 1, row(block, 1, 60), -80)
	put(row2, 1, row(other, 2, 90), -80.001)
	now = now.AddDate(1, 0, 0) // 2027: row 1 deleted
	put(row1, 2, "", 0)

	counts := func(rows []planting.Row) map[int]int {
		out := map[int]int{}
		for _, r := range rows {
			out[r.Number] = r.Plants
		}
		return out
	}
	err := store.View(ctx, "f", func(r records.Reader) error {
		for _, c := range []struct {
			at   string
			want map[int]int
		}{
			{"2025-02-28", map[int]int{}},
			{"2025-06-01", map[int]int{1: 100, 2: 90}},
			{"2026-06-01", map[int]int{1: 60}},
			{"2027-06-01", map[int]int{}},
		} {
			at, _ := time.Parse(time.DateOnly, c.at)
			rows, unread, err := planting.RowsAsOf(r, block, at)
			if err != nil || len(unread) > 0 || !reflect.DeepEqual(counts(rows), c.want) {
				t.Errorf("on %s: %v, %v, %v; want %v", c.at, counts(rows), unread, err, c.want)
			}
		}
		for at, want := range map[string]string{"2025-02-28": `{"name":"B","plant_spacing_m":0.9}`, "2025-06-01": `{"name":"B","plant_spacing_m":1}`, "2026-06-01": `{"name":"B","plant_spacing_m":0.9}`} {
			day, _ := time.Parse(time.DateOnly, at)
			if rev, err := planting.BlockAsOf(r, block, day); err != nil || string(rev.Record.Properties) != want {
				t.Errorf("block on %s: %s, %v; want %s", at, rev.Record.Properties, err, want)
			}
		}
		rows, _, err := planting.Rows(r, other)
		if !reflect.DeepEqual(counts(rows), map[int]int{2: 90}) || rows[0].Base != 2 {
			t.Errorf("now: %+v", rows)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestNames(t *testing.T) {
	ctx := context.Background()
	store := memory.New(time.Now)
	if err := store.CreateFarm(ctx, records.Farm{ID: "f", Name: "F", Zone: "UTC", Created: time.Now()}); err != nil {
		t.Fatal(err)
	}
	ids := records.NewIDs(time.Now, zeros{})
	block := ids.New()
	put := func(kind records.Kind, props string) records.ID {
		id := ids.New()
		out, err := store.Write(ctx, "f", []records.Write{{Kind: kind, ID: id, By: records.Author{Role: records.Owner},
			Record: records.Record{Properties: json.RawMessage(props)}}})
		if err != nil || out[0].Err != nil {
			t.Fatal(err, out)
		}
		return id
	}
	in := fmt.Sprintf(`"block":%q`, block)
	find := put(records.Finds, `{`+in+`,"row":7,"plant":12,"cause":"orange-rust","state":"suspected","found_at":"2026-04-14T09:30:00Z"}`)
	put(records.Finds, `{"block":"`+string(ids.New())+`","row":7,"plant":12,"cause":"orange-rust","state":"suspected","found_at":"2026-04-14T09:30:00Z"}`)
	sample := put(records.Samples, fmt.Sprintf(`{"finds":[%q]}`, find))
	removal := put(records.Removals, `{`+in+`,"plants":[{"row":7,"plant":13}]}`)
	visit := put(records.Visits, `{`+in+`,"started_at":"2026-04-14T09:30:00Z","inspected":[{"row":2,"from":4,"to":9},{"row":3},{"rows":"all"}]}`)
	want := []planting.Name{
		{Row: 2, Plant: 4, Kind: records.Visits, ID: visit}, {Row: 2, Plant: 9, Kind: records.Visits, ID: visit}, {Row: 3, Kind: records.Visits, ID: visit},
		{Row: 7, Plant: 12, Kind: records.Finds, ID: find}, {Row: 7, Plant: 12, Kind: records.Samples, ID: sample}, {Row: 7, Plant: 13, Kind: records.Removals, ID: removal},
	}
	err := store.View(ctx, "f", func(r records.Reader) error {
		got, err := planting.Names(r, block)
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got %+v, want %+v", got, want)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
