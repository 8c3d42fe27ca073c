package spray

import (
	"encoding/json"
	"math"
	"slices"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/quantity"
)

// Pass is one job over the ground, planned or done. Its figures are frozen
// where it was applied: an outline redrawn later changes no area of the past.
type Pass struct {
	State     State
	Pattern   Pattern
	Blocks    []records.ID
	BandWidth geo.Metres
	Products  []Line
	Carrier   *quantity.Rate
	Tank      *quantity.Amount
	Setbacks  []setback.Rule
	StartedAt time.Time
	EndedAt   time.Time
	HarvestOn time.Time
	Weather   Weather
	People    People
	Areas     *Areas  // frozen
	Totals    []Total // frozen: what was used
	Planned   []Total // what had been worked out, where another amount was used
	Labels    []Kept  // of Products, in order; none in older records
	Checks    []Judged
	// StopReason is why a check that says stop was passed; "" when none was.
	StopReason string
	Ground     geo.Geometry
}

// Judged is a check as it was kept with a pass.
type Judged struct {
	Rule   string
	Answer Verdict
}

// Stopped reports whether a check kept with the pass says stop.
func (p Pass) Stopped() bool {
	return slices.ContainsFunc(p.Checks, func(c Judged) bool { return c.Answer == Stop })
}

// Weather is what was measured on the spot; nil where it was not.
type Weather struct {
	WindFrom    *geo.Degrees
	WindSpeed   *float64 // m/s
	Temperature *float64 // Celsius
	Humidity    *float64 // percent
}

// People is who did it and under whose certificate.
type People struct {
	Applicator    string
	Certification string
	Supervisor    string
}

var sayAppliedLater = words.New("spray-applied-needs-end",
	"An applied pass ends at or after its start.",
	"Una pasada aplicada termina en su inicio o después.")

// ParsePass reads a pass. Only the state must be there: what an applied pass
// still lacks for its record is told by Lacks, not refused, so that a field
// record is never lost. What is there must be good.
func ParsePass(g geo.Geometry, properties json.RawMessage) (Pass, []fault.Detail) {
	r := fields.Properties(properties)
	p := Pass{
		State:     fields.Choose(r, "state", States),
		Pattern:   fields.Choose(r, "pattern", Patterns),
		BandWidth: above(r, "band_width_m", MaxBandWidth),
		Tank:      volume(r, "tank"),
		StartedAt: r.Moment("started_at"),
		EndedAt:   r.Moment("ended_at"),
		HarvestOn: r.Day("harvest_on"),
		Ground:    g,
	}
	r.Need("state")
	if !p.EndedAt.IsZero() && p.EndedAt.Before(p.StartedAt) {
		r.Fault("ended_at", sayAppliedLater.Plain())
	}
	p.Blocks = fields.IDs(r, "blocks", MaxBlocks, records.ParseID)
	for e := range r.Each("products", MaxProducts) {
		p.Products = append(p.Products, readLine(e))
	}
	p.Carrier = rate(r, "carrier")
	readPassRules(r, &p)
	readPassRest(r, &p)
	return p, r.Faults()
}

func readPassRules(r fields.Reader, p *Pass) {
	for e := range r.Each("setbacks", MaxSetbacks) {
		rule := readRule(e)
		p.Setbacks = append(p.Setbacks, rule)
	}
}

func readPassRest(r fields.Reader, p *Pass) {
	if r.Has("weather") {
		w := r.In("weather")
		p.Weather = Weather{
			WindSpeed:   w.Number("wind_speed_m_s", 0, 100),
			Temperature: w.Number("temperature_c", -60, 60),
			Humidity:    w.Number("humidity_percent", 0, 100),
		}
		if d := w.Number("wind_from_deg", 0, 360); d != nil {
			from := geo.Degrees(*d).Normal()
			p.Weather.WindFrom = &from
		}
	}
	if r.Has("people") {
		who := r.In("people")
		p.People = People{Applicator: who.Text("applicator"), Certification: who.Text("certification"), Supervisor: who.Text("supervisor")}
	}
	if r.Has("areas") {
		a := r.In("areas")
		p.Areas = &Areas{}
		members := p.Areas.members()
		for _, name := range a.Names() {
			into, known := members[name]
			if !known {
				continue
			}
			if v := a.Number(name, 0, mostArea); v != nil {
				*into = geo.SquareMetres(*v)
			}
		}
	}
	for e := range r.Each("labels", MaxProducts) {
		p.Labels = append(p.Labels, readKept(e))
	}
	for e := range r.Each("checks", maxChecks) {
		p.Checks = append(p.Checks, Judged{e.Text("rule"), fields.Choose(e, "answer", []Verdict{OK, Caution, Stop})})
	}
	p.StopReason = r.Text("stop_reason")
	p.Totals = readTotals(r, "totals")
	p.Planned = readTotals(r, "planned_totals")
}

// maxChecks bounds the checks kept with a pass.
const maxChecks = 2000

func readKept(e fields.Reader) Kept {
	k := Kept{Product: e.Text("product"), Label: e.Raw("label")}
	k.Revision, _ = e.Whole("revision", 0, math.MaxInt32)
	return k
}

func readTotals(r fields.Reader, field string) (totals []Total) {
	for e := range r.Each(field, MaxProducts) {
		t := Total{Product: e.Text("product"), Name: e.Text("name")}
		if a := amount(e, "amount"); a != nil {
			t.Amount = *a
		} else {
			e.Need("amount")
		}
		if a := amount(e, "exact_si"); a != nil {
			t.SI = *a
		}
		totals = append(totals, t)
	}
	return totals
}

// mostArea bounds a frozen area: the land of the Earth is 1.5e14 m2.
const mostArea = 1.5e14

// Lacks names the fields an applied pass needs before it can stand as a record
// of a restricted-use product (7 CFR 110.3: product and registration, total
// amount, place and size, date, applicator and certification) and, for
// workers, the times it started and ended (40 CFR 170.311). Local rules may ask
// for more. Empty for a pass that is not applied.
func (p Pass) Lacks() []string {
	if p.State != Applied {
		return nil
	}
	var lacks []string
	for _, need := range []struct {
		field string
		there bool
	}{
		{"products", len(p.Products) > 0},
		{"totals", len(p.Totals) > 0},
		{"areas", p.Areas != nil},
		{"geometry", !p.Ground.Empty()},
		{"started_at", !p.StartedAt.IsZero()},
		{"ended_at", !p.EndedAt.IsZero()},
		{"people.applicator", p.People.Applicator != ""},
		{"people.certification", p.People.Certification != ""},
	} {
		if !need.there {
			lacks = append(lacks, need.field)
		}
	}
	return lacks
}
