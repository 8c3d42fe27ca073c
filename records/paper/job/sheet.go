// Package job is a spray pass as a record: what is known of it, what the law of
// the farm's jurisdictions still asks for and by when, and its papers: tank sheet,
// application record, central display, entry notice, product totals, history of a
// block. Nothing it prints certifies anything.
package job

import (
	"cmp"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/geo"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/law"
	"caneward/records/quantity"
	"caneward/records/spray"
)

// Sheet is what is on record of one pass.
type Sheet struct {
	ID          records.ID
	Revision    int
	Pass        spray.Pass
	Blocks      []Block
	Lines       []Line
	Carrier     *quantity.Amount // spray in all
	Tanks       *Tanks
	Checks      []Check
	Start       time.Time // planned, for a pass not applied yet
	Equipment   string
	Target      string
	MeasuredBy  string // of the weather
	Difference  string // why other amounts were used than planned
	StopReason  string
	Words       string
	Corrects    records.ID
	CorrectedBy records.ID
	Coverage    map[string]float64 // of the track, areas as coverage gives them; nil for none
	Signs       clock.Signs
	Met         []clock.Met
	WrittenAt   time.Time
	WrittenBy   string
}

// Block is a block of the pass, as it is named now.
type Block struct {
	ID   records.ID
	Name string
	Crop string
}

// Line is one product with what went out of it.
type Line struct {
	Product records.ID
	Label   spray.Product
	Name    string
	Rate    quantity.Rate // of the product
	Of      string        // the ingredient the rate was typed for; "" is the product
	Asked   quantity.Rate // as typed
	Total   *quantity.Amount
	Planned *quantity.Amount
}

// Tanks are as the draft gave them.
type Tanks struct {
	Full   int             `json:"full"`
	Last   quantity.Amount `json:"last"`
	Each   []Dose          `json:"each"`
	InLast []Dose          `json:"in_last"`
}

// Dose is how much of a product goes into one tank.
type Dose struct {
	Product string          `json:"product"`
	Name    string          `json:"name"`
	Amount  quantity.Amount `json:"amount"`
}

// Check is a check kept with the pass.
type Check struct {
	Rule   string `json:"rule"`
	Answer string `json:"answer"`
	Why    string `json:"why"`
	Source string `json:"source"`
}

// Book is a farm's passes with what stands round them.
type Book struct {
	Zone     *time.Location
	Settings clock.Settings
	Sheets   []Sheet      // by start, applied and not
	Peaks    []spray.Peak // of the year whose totals are printed
	now      []clock.Product
	names    map[records.ID]Block
}

// LoadBook reads all passes.
func LoadBook(r records.Reader, settings clock.Settings) (Book, error) {
	b := Book{Settings: settings, names: map[records.ID]Block{}}
	if len(b.Settings.Jurisdictions) == 0 {
		b.Settings.Jurisdictions = law.Usual
	}
	var err error
	if b.Zone, err = time.LoadLocation(r.Farm().Zone); err != nil {
		return b, err
	}
	all, err := r.List(records.Blocks, records.Query{})
	if err != nil {
		return b, err
	}
	for _, rev := range all.Revisions {
		parsed, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		b.names[rev.ID] = Block{ID: rev.ID, Name: parsed.Name, Crop: parsed.Crop}
	}
	products, err := r.List(records.Products, records.Query{})
	if err != nil {
		return b, err
	}
	for _, rev := range products.Revisions {
		label, _ := spray.ParseProduct(rev.Record.Geometry, rev.Record.Properties)
		b.now = append(b.now, clock.Product{ID: rev.ID, Label: label})
	}
	passes, err := r.List(records.Passes, records.Query{})
	if err != nil {
		return b, err
	}
	by := map[records.ID]records.ID{}
	for _, rev := range passes.Revisions {
		s := b.sheet(rev)
		if s.Corrects != "" && s.Pass.State == spray.Applied {
			by[s.Corrects] = s.ID
		}
		b.Sheets = append(b.Sheets, s)
	}
	for i := range b.Sheets {
		b.Sheets[i].CorrectedBy = by[b.Sheets[i].ID]
	}
	slices.SortStableFunc(b.Sheets, func(x, y Sheet) int {
		return cmp.Or(x.begun().Compare(y.begun()), strings.Compare(string(x.ID), string(y.ID)))
	})
	return b, nil
}

func (s Sheet) begun() time.Time {
	if !s.Pass.StartedAt.IsZero() {
		return s.Pass.StartedAt
	}
	return s.Start
}

// Find gives the sheet of a pass; fault.Missing when there is none.
func (b Book) Find(id records.ID) (Sheet, error) {
	for _, s := range b.Sheets {
		if s.ID == id {
			return s, nil
		}
	}
	return Sheet{}, records.RecordMissing()
}

func (b Book) sheet(rev records.Revision) Sheet {
	pass, _ := spray.ParsePass(rev.Record.Geometry, rev.Record.Properties)
	r := fields.Properties(rev.Record.Properties)
	s := Sheet{ID: rev.ID, Revision: rev.Number, Pass: pass, Start: r.Moment("start"), Equipment: equipment(r), Target: r.Text("target"),
		Difference: r.Text("difference"), StopReason: r.Text("stop_reason"), Words: r.Text("words"), Corrects: fields.ID(r, "corrects", records.ParseID),
		WrittenAt: rev.At, WrittenBy: rev.By.Name}
	if r.Has("weather") {
		s.MeasuredBy = r.In("weather").Text("measured_by")
	}
	s.Signs, s.Met, _ = clock.ReadAfter(rev.Record.Properties)
	for _, id := range pass.Blocks {
		if known, there := b.names[id]; there {
			s.Blocks = append(s.Blocks, known)
		} else {
			s.Blocks = append(s.Blocks, Block{ID: id})
		}
	}
	var kept struct {
		Carrier  *quantity.Amount `json:"carrier_total"`
		Tanks    *Tanks           `json:"tanks"`
		Checks   []Check          `json:"checks"`
		Coverage *struct {
			Areas map[string]float64 `json:"areas"`
		} `json:"coverage"`
	}
	if json.Unmarshal(rev.Record.Properties, &kept) == nil {
		s.Carrier, s.Tanks, s.Checks = kept.Carrier, kept.Tanks, kept.Checks
		if kept.Coverage != nil {
			s.Coverage = kept.Coverage.Areas
		}
	}
	for i, label := range clock.Labels(pass, rev.Record.Properties, b.now) {
		asked := pass.Products[i]
		line := Line{Product: asked.ID, Label: label, Name: label.Name, Of: asked.Of, Asked: asked.Rate}
		// Where the label does not tell, the rate of product stays unsaid.
		line.Rate, _ = asked.ForProduct(label)
		if i < len(pass.Totals) {
			line.Total = &pass.Totals[i].Amount
			if line.Name == "" {
				line.Name = pass.Totals[i].Name
			}
		}
		if i < len(pass.Planned) {
			line.Planned = &pass.Planned[i].Amount
		}
		s.Lines = append(s.Lines, line)
	}
	return s
}

// equipment is what somebody typed, else the sprayer's name.
func equipment(r fields.Reader) string {
	if r.Has("equipment") {
		return r.Text("equipment")
	}
	var named struct {
		Name string `json:"name"`
	}
	if json.Unmarshal(r.Raw("sprayer"), &named) == nil {
		return named.Name
	}
	return ""
}

// Crops are those of the blocks, each once.
func (s Sheet) Crops() []string {
	var out []string
	for _, b := range s.Blocks {
		if b.Crop != "" && !slices.Contains(out, b.Crop) {
			out = append(out, b.Crop)
		}
	}
	return out
}

// Reentry is the longest re-entry time of the mix over the crops, and the
// conditions no clock tells.
func (s Sheet) Reentry() (longest time.Duration, known bool, until []string) {
	known = len(s.Lines) > 0
	for _, l := range s.Lines {
		d, given, conditions := l.reentry(s.Crops())
		known = known && given
		longest = max(longest, d)
		until = append(until, conditions...)
	}
	return longest, known, until
}

func (l Line) reentry(crops []string) (longest time.Duration, known bool, until []string) {
	if len(crops) == 0 {
		crops = []string{""}
	}
	for _, crop := range crops {
		for _, w := range l.Label.ReentryFor(crop, "") {
			known = true
			longest = max(longest, w.Length())
			if w.Until != "" && !slices.Contains(until, w.Until) {
				until = append(until, w.Until)
			}
		}
	}
	return longest, known, until
}

// Restricted is whether a product of the mix is of restricted use.
func (s Sheet) Restricted() bool {
	return slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Label.Restricted })
}

// has is what of the elements is on record.
func (s Sheet) has() map[law.Element]bool {
	p := s.Pass
	every := func(f func(Line) bool) bool {
		return len(s.Lines) > 0 && !slices.ContainsFunc(s.Lines, func(l Line) bool { return !f(l) })
	}
	_, reentry, _ := s.Reentry()
	w := p.Weather
	return map[law.Element]bool{
		law.ProductName:   every(func(l Line) bool { return l.Name != "" }),
		law.Registration:  every(func(l Line) bool { return l.Label.Registration != "" }),
		law.Ingredients:   every(func(l Line) bool { return len(l.Label.Ingredients) > 0 }),
		law.Amount:        every(func(l Line) bool { return l.Total != nil }),
		law.Rate:          every(func(l Line) bool { return l.Rate.Unit != "" }),
		law.Volume:        s.Carrier != nil,
		law.Place:         len(s.Blocks) > 0 || !p.Ground.Empty(),
		law.Size:          p.Areas != nil,
		law.Site:          len(s.Crops()) > 0,
		law.Date:          !p.StartedAt.IsZero() || !p.EndedAt.IsZero(),
		law.Start:         !p.StartedAt.IsZero(),
		law.End:           !p.EndedAt.IsZero(),
		law.Applicator:    p.People.Applicator != "",
		law.Certification: p.People.Certification != "",
		law.WindFrom:      w.WindFrom != nil,
		law.WindSpeed:     w.WindSpeed != nil,
		law.Temperature:   w.Temperature != nil,
		law.Target:        s.Target != "",
		law.Method:        s.Equipment != "",
		law.ReentryTime:   reentry,
	}
}

// Duties are what the farm's jurisdictions ask for this pass; none before it was
// applied, and none of one that another corrects.
func (b Book) Duties(s Sheet, at time.Time) []law.Due {
	if s.Pass.State != spray.Applied || s.CorrectedBy != "" {
		return nil
	}
	longest, _, _ := s.Reentry()
	ended := s.Pass.EndedAt
	if ended.IsZero() {
		ended = s.Pass.StartedAt
	}
	j := law.Job{ID: s.ID, Ended: ended, Entry: ended.Add(longest), Longest: longest, Restricted: s.Restricted(), Signs: s.Signs, OwnerExempt: b.Settings.OwnerExempt}
	return law.Duties(law.Sheet{Job: j, Has: s.has()}, b.Settings.Jurisdictions, at, b.Zone)
}

// DisplayedUntil is thirty days after the re-entry time (40 CFR 170.309(h)).
func (s Sheet) DisplayedUntil() time.Time {
	longest, _, _ := s.Reentry()
	return s.Pass.EndedAt.Add(longest).AddDate(0, 0, 30)
}

// Where is a position in the middle of the ground; ok is false without ground.
func (s Sheet) Where() (at geo.Position, ok bool) {
	if s.Pass.Ground.Empty() {
		return at, false
	}
	return s.Pass.Ground.Flat.Bound().Center(), true
}

func (s Sheet) ground() orb.MultiPolygon {
	switch g := s.Pass.Ground.Flat.(type) {
	case orb.Polygon:
		return orb.MultiPolygon{g}
	case orb.MultiPolygon:
		return g
	}
	return nil
}

// ActualRate is what each treated square metre of the planned ground and, where a
// track was weighed against it, of the ground it covered got.
type ActualRate struct {
	Name           string
	Planned        quantity.Rate
	Used           quantity.Amount
	PerTreated     *float64 // unit an acre of treated ground
	PerCovered     *float64 // unit an acre under the track
	DifferencePart *float64 // of the amount planned: +0.1 is a tenth more
	PlannedTotal   *quantity.Amount
	TreatedM2      float64
	CoveredTrackM2 float64
}

// Rates works out what went where. The track's ground sets a rate only where the
// whole width gets spray: broadcast and spot.
func (s Sheet) Rates() []ActualRate {
	var out []ActualRate
	for _, l := range s.Lines {
		if l.Total == nil {
			continue
		}
		a := ActualRate{Name: l.Name, Planned: l.Rate, Used: *l.Total, PlannedTotal: l.Planned}
		if s.Pass.Areas != nil && s.Pass.Areas.Treated > 0 {
			a.TreatedM2 = float64(s.Pass.Areas.Treated)
			v := l.Total.Value / s.Pass.Areas.Treated.Acres()
			a.PerTreated = &v
		}
		if covered := s.Coverage["covered_m2"]; covered > 0 && (s.Pass.Pattern == spray.Broadcast || s.Pass.Pattern == spray.Spot) {
			a.CoveredTrackM2 = covered
			v := l.Total.Value / geo.SquareMetres(covered).Acres()
			a.PerCovered = &v
		}
		if l.Planned != nil && l.Planned.Unit == l.Total.Unit && l.Planned.Value > 0 {
			v := l.Total.Value/l.Planned.Value - 1
			a.DifferencePart = &v
		}
		out = append(out, a)
	}
	return out
}

// LoadSettings reads the farm's document of legal settings; a farm without one
// has the usual.
func LoadSettings(d records.Document, err error) (clock.Settings, error) {
	switch {
	case fault.Is(err, fault.Missing):
		return clock.Settings{}, nil
	case err != nil:
		return clock.Settings{}, err
	}
	return clock.ReadSettings(d.Content)
}
