// Package clock says from when people may enter, pick from, and spray again the
// ground that passes went over: re-entry times, days before harvest, retreatment
// intervals, the signs, and conditions no clock can tell. Labels as typed are all
// it knows; the label itself and local law decide.
package clock

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/geo"
	"caneward/records"
	"caneward/records/spray"
)

// Job is an applied pass as the clocks see it.
type Job struct {
	ID       records.ID
	Blocks   []records.ID
	Ground   orb.MultiPolygon // nil: all of its blocks
	Started  time.Time        // zero when nobody said
	Ended    time.Time        // zero when nobody said: no clock runs yet
	Products []Product
	Signs    Signs
	Met      []Met
}

// Product is one product of a job, with the label it was made with.
type Product struct {
	ID    records.ID // "" when typed on the spot
	Label spray.Product
}

// same reports whether two are one product: the record, the registration
// number, or the name.
func (p Product) same(q Product) bool {
	return p.ID != "" && p.ID == q.ID ||
		p.Label.Registration != "" && strings.EqualFold(p.Label.Registration, q.Label.Registration) ||
		p.Label.Name != "" && strings.EqualFold(p.Label.Name, q.Label.Name)
}

// Signs are the warning signs of a job, as somebody recorded them.
type Signs struct {
	Up, Down time.Time // zero when not recorded
}

// Met records that a condition of a label was seen to hold.
type Met struct {
	Condition string
	At        time.Time
	By        string
}

// Block is a block with what the clocks need of it.
type Block struct {
	ID      records.ID
	Name    string
	Crop    string
	Outline orb.MultiPolygon
}

// State is a farm as its clocks see it.
type State struct {
	Zone     *time.Location
	Blocks   []Block
	Jobs     []Job // applied and not corrected by another
	Products []Product
	// OwnerExempt: only the owner's family works here, so no sign and no notice is
	// owed to anybody (40 CFR 170.601(a)). No clock heeds it.
	OwnerExempt bool
}

// Load reads a farm. A pass that another applied one corrects is left out.
func Load(r records.Reader, ownerExempt bool) (State, error) {
	s := State{OwnerExempt: ownerExempt}
	var err error
	if s.Zone, err = time.LoadLocation(r.Farm().Zone); err != nil {
		return s, err
	}
	if err := s.loadBlocks(r); err != nil {
		return s, err
	}
	products, err := r.List(records.Products, records.Query{})
	if err != nil {
		return s, err
	}
	for _, rev := range products.Revisions {
		label, _ := spray.ParseProduct(rev.Record.Geometry, rev.Record.Properties)
		s.Products = append(s.Products, Product{ID: rev.ID, Label: label})
	}
	slices.SortStableFunc(s.Products, func(a, b Product) int {
		return strings.Compare(strings.ToLower(a.Label.Name), strings.ToLower(b.Label.Name))
	})
	passes, err := r.List(records.Passes, records.Query{Equal: map[string]string{"state": string(spray.Applied)}})
	if err != nil {
		return s, err
	}
	corrected := spray.Corrected(passes.Revisions)
	for _, rev := range passes.Revisions {
		if !corrected[rev.ID] {
			s.Jobs = append(s.Jobs, s.job(rev))
		}
	}
	return s, nil
}

func (s *State) loadBlocks(r records.Reader) error {
	page, err := r.List(records.Blocks, records.Query{})
	if err != nil {
		return err
	}
	for _, rev := range page.Revisions {
		b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		s.Blocks = append(s.Blocks, Block{ID: rev.ID, Name: b.Name, Crop: b.Crop, Outline: b.Outline})
	}
	slices.SortStableFunc(s.Blocks, func(a, b Block) int { return strings.Compare(strings.ToLower(a.Name), strings.ToLower(b.Name)) })
	return nil
}

func (s *State) job(rev records.Revision) Job {
	pass, _ := spray.ParsePass(rev.Record.Geometry, rev.Record.Properties)
	j := Job{ID: rev.ID, Blocks: pass.Blocks, Ground: ground(rev.Record.Geometry), Started: pass.StartedAt, Ended: pass.EndedAt}
	for i, l := range Labels(pass, rev.Record.Properties, s.Products) {
		j.Products = append(j.Products, Product{ID: pass.Products[i].ID, Label: l})
	}
	j.Signs, j.Met, _ = ReadAfter(rev.Record.Properties)
	return j
}

// Labels are those a pass was made with: kept with it, typed on the spot, or,
// where neither is there, as the product's record stands now.
func Labels(pass spray.Pass, properties json.RawMessage, now []Product) []spray.Product {
	var kept struct {
		Labels []struct {
			Label json.RawMessage `json:"label"`
		} `json:"labels"`
	}
	if err := json.Unmarshal(properties, &kept); err != nil {
		kept.Labels = nil // a record whose labels read as something else keeps none
	}
	out := make([]spray.Product, len(pass.Products))
	for i, line := range pass.Products {
		at := slices.IndexFunc(now, func(p Product) bool { return p.ID == line.ID && p.ID != "" })
		switch {
		case i < len(kept.Labels) && len(kept.Labels[i].Label) > 0:
			out[i], _ = spray.ParseProduct(geo.Geometry{}, kept.Labels[i].Label)
		case line.Product != nil:
			out[i] = *line.Product
		case at >= 0:
			out[i] = now[at].Label
		}
	}
	return out
}

func ground(g geo.Geometry) orb.MultiPolygon {
	switch g := g.Flat.(type) {
	case orb.Polygon:
		return orb.MultiPolygon{g}
	case orb.MultiPolygon:
		return g
	}
	return nil
}

// maxMet bounds the conditions recorded with one pass.
const maxMet = 100

// ReadAfter reads what is recorded of a pass after it was applied: "signs"
// {up_at, down_at} and "met", a list of {condition, at, by}.
func ReadAfter(properties json.RawMessage) (Signs, []Met, []fault.Detail) {
	r := fields.Properties(properties)
	var signs Signs
	if r.Has("signs") {
		s := r.In("signs")
		signs = Signs{Up: s.Moment("up_at"), Down: s.Moment("down_at")}
		s.InOrder("up_at", "down_at", signs.Up, signs.Down)
	}
	var met []Met
	for e := range r.Each("met", maxMet) {
		e.Need("condition")
		e.Need("at")
		e.Need("by")
		met = append(met, Met{Condition: e.Text("condition"), At: e.Moment("at"), By: e.Text("by")})
	}
	return signs, met, r.Faults()
}

// Settings are what a farm says of itself to the law.
type Settings struct {
	Jurisdictions []string `json:"jurisdictions"`
	OwnerExempt   bool     `json:"owner_exempt"`
}

// Document is the farm's document of its settings.
const Document records.DocumentName = "law"

// ReadSettings reads the document's content; an error names the fields.
func ReadSettings(content json.RawMessage) (Settings, error) {
	var faults []fault.Detail
	r := fields.Open(content, "", &faults)
	r.Only("jurisdictions", "owner_exempt")
	s := Settings{OwnerExempt: r.Yes("owner_exempt")}
	for _, raw := range r.List("jurisdictions", 50) {
		var name string
		if err := json.Unmarshal(raw, &name); err != nil {
			return s, errors.Join(errBadSettings, err)
		}
		s.Jurisdictions = append(s.Jurisdictions, name)
	}
	if len(faults) > 0 {
		return s, fault.New(fault.Invalid, sayBadSettings.Plain(), faults...)
	}
	return s, nil
}

var errBadSettings = fault.New(fault.Invalid, sayBadSettings.Plain())
