package walk

import (
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/geo"
	"caneward/records"
	"caneward/records/planting"
	"caneward/records/scouting"
)

// Ground is a block as a walk sees it.
type Ground struct {
	ID                       records.ID
	Name                     string
	Outline                  orb.MultiPolygon
	Farm                     records.Farm
	Rows                     []blocks.Row // each number once, by number
	RowSpacing, PlantSpacing geo.Metres
	Zone                     *time.Location
}

// Load reads a block with its rows as they stand; fault.Missing.
func Load(r records.Reader, block records.ID) (Ground, error) {
	rev, err := r.Current(records.Blocks, block)
	if err != nil {
		return Ground{}, err
	}
	b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
	g := Ground{ID: block, Name: b.Name, Outline: b.Outline, Farm: r.Farm(), RowSpacing: b.RowSpacing, PlantSpacing: b.PlantSpacing}
	if g.Zone, err = time.LoadLocation(g.Farm.Zone); err != nil {
		return Ground{}, err
	}
	rows, _, err := planting.Rows(r, block)
	g.Rows = planting.Plain(rows)
	return g, err
}

// Records of a kind that are the block's; what cannot be read is left out.
func each[T any](r records.Reader, kind records.Kind, block records.ID, parse func(records.Revision) (T, bool)) (map[records.ID]T, error) {
	page, err := r.List(kind, records.Query{Equal: map[string]string{"block": string(block)}})
	if err != nil {
		return nil, err
	}
	all := make(map[records.ID]T, len(page.Revisions))
	for _, rev := range page.Revisions {
		if v, ok := parse(rev); ok {
			all[rev.ID] = v
		}
	}
	return all, nil
}

func findsOf(r records.Reader, block records.ID) (map[records.ID]scouting.Find, error) {
	return each(r, records.Finds, block, func(rev records.Revision) (scouting.Find, bool) {
		f, faults := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
		return f, len(faults) == 0
	})
}

// Episodes are the histories of a block's plants, and beside them the finds
// whose plant nobody said. fault.Missing when there is no such block.
func Episodes(r records.Reader, block records.ID) (g Ground, all []scouting.Episode, unplaced []records.ID, err error) {
	if g, err = Load(r, block); err != nil {
		return g, nil, nil, err
	}
	finds, err := findsOf(r, block)
	if err != nil {
		return g, nil, nil, err
	}
	removals, err := each(r, records.Removals, block, func(rev records.Revision) (scouting.Removal, bool) {
		m, faults := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		return m, len(faults) == 0
	})
	if err != nil {
		return g, nil, nil, err
	}
	var done []scouting.Removal
	for _, m := range removals {
		done = append(done, m)
	}
	for id, f := range finds {
		if f.Row == 0 || f.Plant == 0 {
			unplaced = append(unplaced, id)
		}
	}
	sortIDs(unplaced)
	return g, scouting.Episodes(finds, done, g.Rows, g.Zone), unplaced, nil
}

// SeenIn is what the visits of one season looked at in a block.
func (g Ground) SeenIn(r records.Reader, season int) (scouting.Effort, error) {
	visits, err := visitsIn(r, g, season)
	if err != nil {
		return scouting.Effort{}, err
	}
	var stretches []scouting.Stretch
	for _, v := range visits {
		stretches = append(stretches, v.Inspected...)
	}
	return scouting.Look(stretches, g.Rows), nil
}
