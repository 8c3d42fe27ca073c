package spray

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/geo"
	"caneward/records"
	"caneward/records/memory"
	"caneward/records/scouting"
)

func day(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return t
}

// Ten rows of 61 plants, 610 in all; what is missing, dug out or on a skipped
// strip gets no drench, what was set anew does. Counted by hand.
func TestLivingPlants(t *testing.T) {
	date := func(s string) blocks.Date {
		d, ok := blocks.ParseDate(s)
		if !ok {
			t.Fatal(s)
		}
		return d
	}
	for _, c := range []struct {
		name   string
		change func(*Block)
		more   string
		want   int
	}{
		{"all", func(*Block) {}, "", 610},
		{"missing", func(b *Block) { b.Rows[0].Missing = []int{1, 2, 61} }, "", 607},
		{"skipped strip", func(b *Block) { b.Rows[3].Skipped = true }, "", 549},
		{"dug out", func(b *Block) {
			b.Removed = map[scouting.Place]time.Time{{Row: 1, Plant: 5}: day("2026-05-01"), {Row: 2, Plant: 6}: day("2026-05-01")}
		}, "", 608},
		{"dug out, one set anew", func(b *Block) {
			b.Removed = map[scouting.Place]time.Time{{Row: 1, Plant: 5}: day("2026-05-01"), {Row: 2, Plant: 6}: day("2026-05-01")}
			b.Rows[0].Replanted = []blocks.Replant{{Plant: 5, On: date("2026-06-01")}}
		}, "", 609},
		{"set anew, then dug out", func(b *Block) {
			b.Removed = map[scouting.Place]time.Time{{Row: 1, Plant: 5}: day("2026-05-01")}
			b.Rows[0].Replanted = []blocks.Replant{{Plant: 5, On: date("2026-04-01")}}
		}, "", 609},
		{"set anew some time that year", func(b *Block) {
			b.Removed = map[scouting.Place]time.Time{{Row: 1, Plant: 5}: day("2026-05-01")}
			b.Rows[0].Replanted = []blocks.Replant{{Plant: 5, On: date("2026")}}
		}, "", 610},
		{"dug out after the job", func(b *Block) {
			b.Removed = map[scouting.Place]time.Time{{Row: 1, Plant: 5}: day("2026-05-01")}
		}, `, "start": "2026-04-20T09:00:00-04:00"`, 610},
		{"set anew after the job", func(b *Block) {
			b.Removed = map[scouting.Place]time.Time{{Row: 1, Plant: 5}: day("2026-05-01")}
			b.Rows[0].Replanted = []blocks.Replant{{Plant: 5, On: date("2026-06-01")}}
		}, `, "start": "2026-05-20T09:00:00-04:00"`, 609},
		{"places as the row says", func(b *Block) {
			b.Rows[0].Places = []blocks.Run{{From: 1, Plants: 10, Part: 1, At: 0, Spacing: 1}, {From: 50, Plants: 12, Part: 1, At: 30, Spacing: 2}}
			b.Rows[0].Plants = 61
		}, "", 549 + 22},
		{"a place given up", func(b *Block) { b.Rows[0].Gone = []blocks.Gone{{Plant: 7, Why: "road"}} }, "", 609},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, _ := rowGround(t)
			c.change(&g.Blocks[0])
			a := draft(t, g, `{"blocks": ["`+idA+`"], "pattern": "drench", "products": [{"product": {"name": "a"}, "rate": {"value": 10, "unit": "mL", "per": "plant"}}]`+c.more+`}`)
			if *a.Plants != c.want {
				t.Errorf("%d plants, want %d", *a.Plants, c.want)
			}
			near(t, "product", a.Totals[0].Amount.Value, 10*float64(c.want), 1e-9)
			for _, h := range a.How {
				if n := h.Inputs; h.Figure == "plants" && n["places"].(int)-n["missing"].(int)-n["removed"].(int) != c.want {
					t.Errorf("counted from %v, which gives not %d", n, c.want)
				}
			}
		})
	}
}

// A skipped strip among ten: nine rows of 60 m are left, 1,620 m2 planted. The
// alleys driven stay the same: every row still gets its side of 1.5 m.
func TestSkippedStrip(t *testing.T) {
	for _, c := range []struct {
		body                              string
		treated, covered, length, planted float64
	}{
		{`"pattern": "band", "band_width_m": 1, "sides": 2`, 540, 1620, 540, 1620},
		{`"pattern": "band", "band_width_m": 1, "sides": 1`, 270, 1620, 540, 1620},
		{`"pattern": "alternate-middles"`, 810, 1620, 540, 1620},
		{`"pattern": "band", "band_width_m": 1, "rows": {"` + idA + `": [4, 5]}`, 60, 180, 60, 1620},
		{`"pattern": "band", "band_width_m": 1, "rows": {"` + idA + `": [4]}`, 0, 0, 0, 1620},
	} {
		g, _ := rowGround(t)
		g.Blocks[0].Rows[3].Skipped = true
		a := draft(t, g, `{"blocks": ["`+idA+`"], `+c.body+`}`)
		near(t, c.body+": treated", float64(a.Areas.Treated), c.treated, 0.6)
		near(t, c.body+": covered", float64(a.Areas.Covered), c.covered, 0.6)
		near(t, c.body+": planted", float64(a.Areas.Planted), c.planted, 0.6)
		near(t, c.body+": row length", float64(*a.RowLength), c.length, 0.01)
	}
}

// Removals and rows from the records.
func TestLoadRemoved(t *testing.T) {
	ctx := context.Background()
	store := memory.New(time.Now)
	if err := store.CreateFarm(ctx, records.Farm{ID: "f", Name: "F", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	s := at(t, -80.42, 35.87)
	n := 0
	put := func(kind records.Kind, id records.ID, shape orb.Geometry, props string) {
		t.Helper()
		if n++; id == "" {
			id = records.ID(fmt.Sprintf("0190b5a2-7c3e-7a11-8f00-%012x", n))
		}
		out, err := store.Write(ctx, "f", []records.Write{{Kind: kind, ID: id, Record: records.Record{Geometry: geo.Geometry{Flat: shape}, Properties: json.RawMessage(props)}}})
		if err != nil || out[0].Err != nil {
			t.Fatal(err, out)
		}
	}
	put(records.Blocks, idA, s.rectangle(0, 0, 60, 3), `{"name":"A","row_spacing_m":3,"plant_spacing_m":1}`)
	put(records.Rows, "", s.line(0, 1.5, 60, 1.5), `{"block":"`+idA+`","number":1,"plants":61,"missing":[9],"replanted":[{"plant":4,"on":"2026-06-01"}]}`)
	put(records.Removals, "", nil, `{"block":"`+idA+`","done_on":"2026-05-01","plants":[{"row":1,"plant":4},{"row":1,"plant":5},{"row":1,"plant":9}]}`)
	put(records.Removals, "", nil, `{"block":"`+idA+`","plants":[{"row":1,"plant":30}]}`) // planned only
	q := request(t, `{"blocks": ["`+idA+`"], "pattern": "drench"}`)
	err := store.View(ctx, "f", func(r records.Reader) error {
		g, err := Load(r, q)
		if err != nil {
			return err
		}
		a, err := Draft(ctx, g, q)
		if *a.Plants != 59 {
			t.Errorf("%d plants, want 61 less the missing 9 and the dug out 5", *a.Plants)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
