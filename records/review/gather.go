package review

import (
	"cmp"
	"encoding/json"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/planting"
	"caneward/records/scouting"
)

const (
	// aroundBlock is how far from the block surroundings are kept, in degrees of
	// latitude: a little over the widest search ring for wild brambles, 1,000 ft
	// (trade notes 2.1), so that what lies in the ring is on the paper too.
	aroundBlock = 0.003
	// maxAround bounds the surroundings kept; they are there to find one's way.
	maxAround = 200
)

// Gathered is what a decision about one block rests on, read in one state.
type Gathered struct {
	Farm     records.Farm
	Sequence int64
	Block    records.ID
	Kept     []Kept
}

// Gather reads a block with its rows, finds, visits, samples, removals and
// surroundings. fault.Missing when there is no such block; the reader's errors.
func Gather(r records.Reader, block records.ID) (Gathered, error) {
	g := Gathered{Farm: r.Farm(), Sequence: r.Sequence(), Block: block}
	rev, err := r.Current(records.Blocks, block)
	if err != nil {
		return g, err
	}
	if err := g.keep(rev); err != nil {
		return g, err
	}
	of := records.Query{Equal: map[string]string{"block": string(block)}}
	finds := map[records.ID]bool{}
	for _, kind := range []records.Kind{records.Rows, records.Finds, records.Visits, records.Removals} {
		page, err := r.List(kind, of)
		if err != nil {
			return g, err
		}
		for _, rev := range page.Revisions {
			if kind == records.Finds {
				finds[rev.ID] = true
			}
			if err := g.keep(rev); err != nil {
				return g, err
			}
		}
	}
	if err := g.samples(r, finds); err != nil {
		return g, err
	}
	return g, g.surroundings(r, rev)
}

func (g *Gathered) keep(rev records.Revision) error {
	k := Kept{Kind: rev.Kind, ID: rev.ID, Revision: rev.Number, Geometry: json.RawMessage("null"), Properties: rev.Record.Properties}
	if len(k.Properties) == 0 {
		k.Properties = json.RawMessage("{}")
	}
	if rev.Kind != records.Visits && rev.Record.Geometry.Flat != nil {
		var err error
		if k.Geometry, err = wire.EncodeGeometry(rev.Record.Geometry); err != nil {
			return err
		}
	}
	g.Kept = append(g.Kept, k)
	return nil
}

// samples keeps those that cover one of the finds.
func (g *Gathered) samples(r records.Reader, finds map[records.ID]bool) error {
	page, err := r.List(records.Samples, records.Query{})
	if err != nil {
		return err
	}
	for _, rev := range page.Revisions {
		sample, _ := scouting.ParseSample(rev.Record.Geometry, rev.Record.Properties)
		if slices.ContainsFunc(sample.Finds, func(id records.ID) bool { return finds[id] }) {
			if err := g.keep(rev); err != nil {
				return err
			}
		}
	}
	return nil
}

func (g *Gathered) surroundings(r records.Reader, block records.Revision) error {
	if block.Record.Geometry.Flat == nil {
		return nil
	}
	box := block.Record.Geometry.Flat.Bound()
	const wider = 1.5 // degrees of longitude are shorter; enough up to 48 degrees of latitude
	box = orb.Bound{Min: orb.Point{box.Min[0] - wider*aroundBlock, box.Min[1] - aroundBlock}, Max: orb.Point{box.Max[0] + wider*aroundBlock, box.Max[1] + aroundBlock}}
	page, err := r.List(records.Surroundings, records.Query{Box: &box, Limit: maxAround})
	if err != nil {
		return err
	}
	for _, rev := range page.Revisions {
		if err := g.keep(rev); err != nil {
			return err
		}
	}
	return nil
}

// held serves kept records as a farm of its own, so that what was worked out
// from them can be worked out again.
type held struct {
	farm     records.Farm
	sequence int64
	of       map[records.Kind][]records.Revision
}

func hold(farm records.Farm, sequence int64, kept []Kept) (held, error) {
	h := held{farm: farm, sequence: sequence, of: map[records.Kind][]records.Revision{}}
	for _, k := range kept {
		var g geo.Geometry
		if len(k.Geometry) > 0 && string(k.Geometry) != "null" {
			var err error
			if g, err = wire.DecodeGeometry(k.Geometry, wire.Limits{}); err != nil {
				return h, err
			}
		}
		h.of[k.Kind] = append(h.of[k.Kind], records.Revision{Kind: k.Kind, ID: k.ID, Number: k.Revision, Record: records.Record{Geometry: g, Properties: k.Properties}})
	}
	for _, all := range h.of {
		slices.SortFunc(all, func(a, b records.Revision) int { return cmp.Compare(a.ID, b.ID) })
	}
	return h, nil
}

func (h held) Farm() records.Farm { return h.farm }
func (h held) Sequence() int64    { return h.sequence }

func (h held) Current(kind records.Kind, id records.ID) (records.Revision, error) {
	for _, rev := range h.of[kind] {
		if rev.ID == id {
			return rev, nil
		}
	}
	return records.Revision{}, records.RecordMissing()
}

func (h held) At(kind records.Kind, id records.ID, number int) (records.Revision, error) {
	rev, err := h.Current(kind, id)
	if err == nil && rev.Number != number {
		return records.Revision{}, records.RecordMissing()
	}
	return rev, err
}

func (h held) List(kind records.Kind, q records.Query) (records.Page, error) {
	var page records.Page
	for _, rev := range h.of[kind] {
		if rev.ID <= q.After || !q.Admits(records.FacetsOf(kind, rev.Record), rev.Record) {
			continue
		}
		if q.Limit > 0 && len(page.Revisions) == q.Limit {
			page.More = true
			break
		}
		page.Revisions = append(page.Revisions, rev)
	}
	return page, nil
}

func (h held) Count(kind records.Kind, q records.Query) (int, error) {
	q.After, q.Limit = "", 0
	page, err := h.List(kind, q)
	return len(page.Revisions), err
}

func (h held) Revisions(kind records.Kind, id records.ID) ([]records.Revision, error) {
	rev, err := h.Current(kind, id)
	return []records.Revision{rev}, err
}

// Since gives nothing: how the records came to be is not kept.
func (h held) Since(int64, int) ([]records.Revision, bool, error) { return nil, false, nil }

// ground is the block's rows, and what was looked at and taken out.
type ground struct {
	block   blocks.Block
	rows    []blocks.Row // by number, each once
	effort  scouting.Effort
	removed map[Plant]bool // taken out and not planted anew since
}

func groundOf(r records.Reader, block records.ID) (ground, error) {
	rev, err := r.Current(records.Blocks, block)
	if err != nil {
		return ground{}, err
	}
	g := ground{removed: map[Plant]bool{}}
	g.block, _ = blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
	rows, _, err := planting.Rows(r, block)
	if err != nil {
		return g, err
	}
	g.rows = planting.Plain(rows)
	of := records.Query{Equal: map[string]string{"block": string(block)}}
	visits, err := r.List(records.Visits, of)
	if err != nil {
		return g, err
	}
	var stretches []scouting.Stretch
	for _, rev := range visits.Revisions {
		if v, faults := scouting.ParseVisit(rev.Record.Geometry, rev.Record.Properties); len(faults) == 0 {
			stretches = append(stretches, v.Inspected...)
		}
	}
	g.effort = scouting.Look(stretches, g.rows)
	removals, err := r.List(records.Removals, of)
	if err != nil {
		return g, err
	}
	for _, rev := range removals.Revisions {
		m, faults := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 || m.DoneOn.IsZero() {
			continue
		}
		regrown := m.Regrown()
		for _, p := range m.Plants {
			if _, back := regrown[p]; back {
				continue
			}
			if !g.replantedSince(p, m) {
				g.removed[p] = true
			}
		}
	}
	return g, nil
}

func (g ground) replantedSince(p Plant, m scouting.Removal) bool {
	row, known := g.row(p.Row)
	if !known {
		return false
	}
	on, anew := row.ReplantedOn(p.Plant)
	return anew && !dayOf(on).Before(m.DoneOn)
}

// dayOf is the day meant, the first of its month or year where no more is known.
func dayOf(d blocks.Date) time.Time {
	return time.Date(d.Year, max(d.Month, 1), max(d.Day, 1), 0, 0, 0, 0, time.UTC)
}

func (g ground) row(number int) (blocks.Row, bool) {
	i, found := slices.BinarySearchFunc(g.rows, number, func(r blocks.Row, n int) int { return r.Number - n })
	if !found {
		return blocks.Row{}, false
	}
	return g.rows[i], true
}

// counted is whether every row's plants are counted; without that nothing can be
// said of all the plants of a section.
func (g ground) counted() bool {
	return len(g.rows) > 0 && !slices.ContainsFunc(g.rows, func(r blocks.Row) bool { return !r.Skipped && r.Plants == 0 })
}

// each visits the numbers of planted places of rows first to last, from and to
// included, in order.
func (g ground) each(first, last, from, to int, visit func(Plant)) {
	for _, r := range g.rows {
		if r.Number < first || r.Number > last || r.Skipped {
			continue
		}
		absent := r.Absent()
		for n := max(1, from); n <= min(to, r.Plants); n++ {
			if _, gone := slices.BinarySearch(absent, n); !gone {
				visit(Plant{Row: r.Number, Plant: n})
			}
		}
	}
}
