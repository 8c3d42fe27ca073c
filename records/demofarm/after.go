package demofarm

import (
	"sort"
	"time"

	"caneward/records"
	"caneward/records/scouting"
)

// removals digs out what was confirmed in Long Rows in the first season, looks
// for regrowth the spring after, and marks the gaps in the rows.
func (b *builder) removals() error {
	p := b.block("Long Rows")
	found, err := b.confirmed(p.id, 2025)
	if err != nil {
		return err
	}
	done := time.Date(2025, 6, 9, 0, 0, 0, 0, b.zone)
	b.clock = done
	gaps := map[int][]int{}
	var plants []props
	for _, at := range found {
		plants = append(plants, props{"row": at[0], "plant": at[1]})
		gaps[at[0]] = append(gaps[at[0]], at[1])
	}
	b.put(records.Owner, records.Removals, nil, props{
		"block": string(p.id), "plants": plants, "roots_out": true, "disposal": "bagged at the plant, buried as the county allows",
		"done_on": done.Format(time.DateOnly),
		"checks":  []props{{"on": "2026-04-21", "regrowth": true}, {"on": "2026-05-19", "regrowth": false}},
	})
	for i, row := range p.layout.Rows {
		if missing := gaps[row.Number]; missing != nil {
			sort.Ints(missing)
			b.write(records.Owner, records.Rows, p.rowIDs[i], 1, rowLine(row), p.rowProps(row, missing), "plants dug out")
		}
	}
	return nil
}

// confirmed lists the plants of a block confirmed as orange rust in a season,
// by row and plant.
func (b *builder) confirmed(block records.ID, season int) (places [][2]int, err error) {
	err = b.store.View(b.ctx, Farm, func(r records.Reader) error {
		page, err := r.List(records.Finds, records.Query{Equal: map[string]string{"block": string(block), "cause": "orange-rust", "state": "confirmed"}})
		if err != nil {
			return err
		}
		seen := map[[2]int]bool{}
		for _, rev := range page.Revisions {
			f, _ := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
			at := [2]int{f.Row, f.Plant}
			if f.FoundAt.Year() == season && !seen[at] {
				seen[at] = true
				places = append(places, at)
			}
		}
		return nil
	})
	sort.Slice(places, func(i, j int) bool {
		return places[i][0] < places[j][0] || places[i][0] == places[j][0] && places[i][1] < places[j][1]
	})
	return places, err
}
