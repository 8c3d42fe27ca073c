package review

import (
	"cmp"
	"slices"
	"time"

	"caneward/blocks"
	"caneward/geo"
	"caneward/records"
	"caneward/records/scouting"
)

// Found is one find as it was frozen.
type Found struct {
	ID records.ID
	scouting.Find
}

// Tested is one sample as it was frozen.
type Tested struct {
	ID records.ID
	scouting.Sample
	Plants []Plant // of its finds in this block
}

// View is a signed decision with its frozen records read.
type View struct {
	Signed
	Of           blocks.Block
	Rows         []blocks.Row // by number
	Effort       scouting.Effort
	Finds        []Found // by row, plant, time
	Samples      []Tested
	Surroundings []blocks.Surroundings
	PlantSpacing geo.Metres
}

// View reads what was frozen. The error is for records that cannot be decoded.
func (s Signed) View() (View, error) {
	v := View{Signed: s}
	f := s.Frozen.Farm
	h, err := hold(records.Farm{ID: f.ID, Name: f.Name, Zone: f.Zone, Invented: f.Invented}, s.Frozen.Sequence, s.Frozen.Records)
	if err != nil {
		return v, err
	}
	g, err := groundOf(h, s.Block)
	if err != nil {
		return v, err
	}
	v.Of, v.Rows, v.Effort, v.PlantSpacing = g.block, g.rows, g.effort, g.block.PlantSpacing
	at := map[records.ID]Plant{}
	for _, rev := range h.of[records.Finds] {
		find, faults := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) == 0 {
			v.Finds = append(v.Finds, Found{rev.ID, find})
			at[rev.ID] = Plant{Row: find.Row, Plant: find.Plant}
		}
	}
	slices.SortStableFunc(v.Finds, func(a, b Found) int {
		return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Plant, b.Plant), a.FoundAt.Compare(b.FoundAt), cmp.Compare(a.ID, b.ID))
	})
	for _, rev := range h.of[records.Samples] {
		sample, faults := scouting.ParseSample(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 {
			continue
		}
		t := Tested{ID: rev.ID, Sample: sample}
		for _, id := range sample.Finds {
			if p, here := at[id]; here && p.Row > 0 && p.Plant > 0 && !slices.Contains(t.Plants, p) {
				t.Plants = append(t.Plants, p)
			}
		}
		slices.SortFunc(t.Plants, comparePlants)
		v.Samples = append(v.Samples, t)
	}
	slices.SortStableFunc(v.Samples, func(a, b Tested) int { return cmp.Or(a.ResultOn.Compare(b.ResultOn), cmp.Compare(a.ID, b.ID)) })
	for _, rev := range h.of[records.Surroundings] {
		around, faults := blocks.ParseSurroundings(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) == 0 {
			v.Surroundings = append(v.Surroundings, around)
		}
	}
	return v, nil
}

// Zone is the farm's, UTC where it is not known.
func (v View) Zone() *time.Location {
	zone, err := time.LoadLocation(v.Frozen.Farm.Zone)
	if err != nil {
		return time.UTC
	}
	return zone
}

// Proof is the sample that proves a plant, the newest with a result that
// confirms; false where an adviser confirmed it by name.
func (v View) Proof(p Plant) (Tested, bool) {
	for _, t := range slices.Backward(v.Samples) {
		if t.Result != "" && (t.Answer == "" || t.Answer == scouting.SaysConfirmed) && slices.Contains(t.Plants, p) {
			return t, true
		}
	}
	return Tested{}, false
}

// FirstFind is the earliest find on a plant that was not refuted.
func (v View) FirstFind(p Plant) (Found, bool) {
	for _, f := range v.Finds {
		if f.Row == p.Row && f.Plant == p.Plant && f.State != scouting.Refuted {
			return f, true
		}
	}
	return Found{}, false
}

// Where is a plant's place on the ground; false where its row is not drawn.
func (v View) Where(p Plant) (geo.Position, bool) {
	for _, r := range v.Rows {
		if r.Number == p.Row {
			return r.At(p.Plant, v.PlantSpacing)
		}
	}
	return geo.Position{}, false
}
