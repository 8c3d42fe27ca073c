package spray

import (
	"encoding/json"
	"time"

	"caneward/blocks/fault"
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
	Ground    geo.Geometry
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
	var faults []fault.Detail
	r := open(properties, "", &faults)
	p := Pass{
		State:     oneOf(r, "state", States),
		Pattern:   oneOf(r, "pattern", Patterns),
		BandWidth: r.above("band_width_m", MaxBandWidth),
		Tank:      r.volume("tank"),
		StartedAt: r.moment("started_at"),
		EndedAt:   r.moment("ended_at"),
		HarvestOn: r.day("harvest_on"),
		Ground:    g,
	}
	if !r.has("state") {
		r.fault("state", sayNeeded.Plain())
	}
	if !p.EndedAt.IsZero() && p.EndedAt.Before(p.StartedAt) {
		r.fault("ended_at", sayAppliedLater.Plain())
	}
	for i, raw := range r.list("blocks", MaxBlocks) {
		var s string
		id, err := records.ID(""), json.Unmarshal(raw, &s)
		if err == nil {
			id, err = records.ParseID(s)
		}
		if err != nil {
			r.fault("blocks["+itoa(i)+"]", sayRecordID.Plain())
			continue
		}
		p.Blocks = append(p.Blocks, id)
	}
	for _, e := range r.each("products", MaxProducts) {
		p.Products = append(p.Products, readLine(e))
	}
	p.Carrier = r.rate("carrier")
	readPassRules(r, &p)
	readPassRest(r, &p)
	return p, faults
}

func readPassRules(r reader, p *Pass) {
	for _, e := range r.each("setbacks", MaxSetbacks) {
		rule := setback.Rule{From: e.text("from"), Distance: e.above("distance_m", MaxDistance), Side: oneOf(e, "side", setback.Sides), HalfAngle: setback.DefaultHalfAngle}
		if e.has("half_angle_deg") {
			rule.HalfAngle = geo.Degrees(e.above("half_angle_deg", 180))
		}
		p.Setbacks = append(p.Setbacks, rule)
	}
}

func readPassRest(r reader, p *Pass) {
	if r.has("weather") {
		w := open(r.members["weather"], "weather.", r.faults)
		p.Weather = Weather{
			WindSpeed:   w.number("wind_speed_m_s", 0, 100),
			Temperature: w.number("temperature_c", -60, 60),
			Humidity:    w.number("humidity_percent", 0, 100),
		}
		if d := w.number("wind_from_deg", 0, 360); d != nil {
			from := geo.Degrees(*d).Normal()
			p.Weather.WindFrom = &from
		}
	}
	if r.has("people") {
		who := open(r.members["people"], "people.", r.faults)
		p.People = People{Applicator: who.text("applicator"), Certification: who.text("certification"), Supervisor: who.text("supervisor")}
	}
	if r.has("areas") {
		a := open(r.members["areas"], "areas.", r.faults)
		p.Areas = &Areas{}
		for name, into := range p.Areas.members() {
			if v := a.number(name, 0, mostArea); v != nil {
				*into = geo.SquareMetres(*v)
			}
		}
	}
	p.Totals = readTotals(r, "totals")
	p.Planned = readTotals(r, "planned_totals")
}

func readTotals(r reader, field string) (totals []Total) {
	for _, e := range r.each(field, MaxProducts) {
		t := Total{Product: e.text("product"), Name: e.text("name")}
		if a := e.amount("amount"); a != nil {
			t.Amount = *a
		} else if !e.has("amount") {
			e.fault("amount", sayNeeded.Plain())
		}
		if a := e.amount("exact_si"); a != nil {
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
	var fields []string
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
			fields = append(fields, need.field)
		}
	}
	return fields
}
