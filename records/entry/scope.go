package entry

import (
	"math"
	"sort"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/planting"
	"caneward/records/scouting"
)

// scope reads the farm as it will be once the writes before this one in the
// batch are stored.
type scope struct {
	reader  records.Reader
	pending map[records.Kind]map[records.ID]*records.Record // nil record: deleted
	signing bool                                            // the write is this program's own: a decision being signed or acknowledged
	grounds map[records.ID]*ground
	named   map[records.ID]map[int][]planting.Name // by block and row: finds and removals
	// samples by the finds they cover; nil until asked for.
	samples map[records.ID][]scouting.Sample
}

// ground is a block with what checks of finds and visits ask of it.
type ground struct {
	id    records.ID
	block blocks.Block
	frame plane.Frame
	shape plane.Shape
	rows  map[int]rowOf // by number; empty when no rows are laid out
}

type rowOf struct {
	id  records.ID
	row blocks.Row
}

func (g *ground) rowPlants() []scouting.RowPlants {
	rows := make([]scouting.RowPlants, 0, len(g.rows))
	for number, r := range g.rows {
		rows = append(rows, scouting.RowPlants{Number: number, Plants: r.row.Plants, HasPlace: r.row.HasPlace})
	}
	return rows
}

func newScope(r records.Reader) *scope {
	return &scope{reader: r, pending: map[records.Kind]map[records.ID]*records.Record{}, grounds: map[records.ID]*ground{}, named: map[records.ID]map[int][]planting.Name{}}
}

func (s *scope) pend(w records.Write) {
	if s.pending[w.Kind] == nil {
		s.pending[w.Kind] = map[records.ID]*records.Record{}
	}
	s.pending[w.Kind][w.ID] = nil
	if !w.Delete {
		s.pending[w.Kind][w.ID] = &w.Record
	}
	if w.Kind == records.Samples {
		s.samples = nil
	}
	if w.Kind == records.Blocks || w.Kind == records.Rows {
		clear(s.grounds)
	}
	if w.Kind == records.Finds || w.Kind == records.Removals {
		clear(s.named)
	}
}

// record is the current record; false when there is none.
func (s *scope) record(kind records.Kind, id records.ID) (records.Record, bool, error) {
	if rec, here := s.pending[kind][id]; here {
		if rec == nil {
			return records.Record{}, false, nil
		}
		return *rec, true, nil
	}
	rev, err := s.reader.Current(kind, id)
	if fault.Is(err, fault.Missing) {
		return records.Record{}, false, nil
	}
	return rev.Record, err == nil, err
}

// each visits the current records of a kind that the query admits, by id.
func (s *scope) each(kind records.Kind, q records.Query, visit func(records.ID, records.Record) error) error {
	page, err := s.reader.List(kind, q)
	if err != nil {
		return err
	}
	found := map[records.ID]records.Record{}
	for _, rev := range page.Revisions {
		found[rev.ID] = rev.Record
	}
	for id, rec := range s.pending[kind] {
		delete(found, id)
		if rec != nil && q.Admits(records.FacetsOf(kind, *rec), *rec) {
			found[id] = *rec
		}
	}
	ids := make([]records.ID, 0, len(found))
	for id := range found {
		ids = append(ids, id)
	}
	sort.Slice(ids, func(i, j int) bool { return ids[i] < ids[j] })
	for _, id := range ids {
		if err := visit(id, found[id]); err != nil {
			return err
		}
	}
	return nil
}

// samplesOf gives the samples that cover a find.
func (s *scope) samplesOf(find records.ID) ([]scouting.Sample, error) {
	if s.samples == nil {
		s.samples = map[records.ID][]scouting.Sample{}
		err := s.each(records.Samples, records.Query{}, func(_ records.ID, rec records.Record) error {
			sample, _ := scouting.ParseSample(rec.Geometry, rec.Properties)
			for _, id := range sample.Finds {
				s.samples[id] = append(s.samples[id], sample)
			}
			return nil
		})
		if err != nil {
			s.samples = nil
			return nil, err
		}
	}
	return s.samples[find], nil
}

// ground is a block's; false when there is no such block.
func (s *scope) ground(id records.ID) (*ground, bool, error) {
	if g, known := s.grounds[id]; known {
		return g, g != nil, nil
	}
	rec, found, err := s.record(records.Blocks, id)
	if err != nil || !found {
		if err == nil {
			s.grounds[id] = nil
		}
		return nil, false, err
	}
	g, err := groundOf(id, rec)
	if err != nil {
		return nil, false, err
	}
	err = s.each(records.Rows, records.Query{Equal: map[string]string{"block": string(id)}}, func(id records.ID, rec records.Record) error {
		// A stored row has passed the same parsing before.
		row, _ := blocks.ParseRow(rec.Geometry, rec.Properties)
		g.rows[row.Number] = rowOf{id, row}
		return nil
	})
	if err != nil {
		return nil, false, err
	}
	s.grounds[id] = g
	return g, true, nil
}

// names gives the finds and removals that name a row of a block or a plant in it.
func (s *scope) names(block records.ID, row int) ([]planting.Name, error) {
	if rows, known := s.named[block]; known {
		return rows[row], nil
	}
	rows := map[int][]planting.Name{}
	for _, kind := range []records.Kind{records.Finds, records.Removals} {
		err := s.each(kind, records.Query{Equal: map[string]string{"block": string(block)}}, func(id records.ID, rec records.Record) error {
			for _, n := range planting.NamedBy(kind, id, rec) {
				rows[n.Row] = append(rows[n.Row], n)
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	s.named[block] = rows
	return rows[row], nil
}

func groundOf(id records.ID, rec records.Record) (*ground, error) {
	block, _ := blocks.Parse(rec.Geometry, rec.Properties)
	frame, err := plane.FrameOf(rec.Geometry.Flat)
	if err != nil {
		return nil, err
	}
	shape, err := frame.Shape(rec.Geometry.Flat)
	if err != nil {
		return nil, err
	}
	return &ground{id: id, block: block, frame: frame, shape: shape, rows: map[int]rowOf{}}, nil
}

// around is a box that holds everything within d of the position, a little
// generous: candidates are measured exactly afterwards.
func around(at geo.Position, d geo.Metres) geo.Box {
	const metresPerDegree = 110_000 // of latitude, at its smallest
	dLat := float64(d) / metresPerDegree
	dLon := min(dLat/max(math.Cos(at[1]*math.Pi/180), 0.01), 179)
	return orb.Bound{Min: orb.Point{at[0] - dLon, at[1] - dLat}, Max: orb.Point{at[0] + dLon, at[1] + dLat}}
}
