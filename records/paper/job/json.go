package job

import (
	"encoding/json"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/law"
	"caneward/records/quantity"
	"caneward/records/spray"
)

// DueJSON is one duty as it travels.
type DueJSON struct {
	Pass         records.ID `json:"pass"`
	Rule         string     `json:"rule"`
	Jurisdiction string     `json:"jurisdiction"`
	Name         string     `json:"name"`
	Done         bool       `json:"done"`
	Late         bool       `json:"late"`
	By           string     `json:"by,omitempty"`
	KeptUntil    string     `json:"kept_until,omitempty"`
	Missing      []string   `json:"missing"`
	MissingKeys  []string   `json:"missing_keys"`
	Source       string     `json:"source"`
}

// DuesJSON writes duties, times on the farm's clock.
func (b Book) DuesJSON(dues []law.Due, l words.Language) []DueJSON {
	out := []DueJSON{}
	for _, d := range dues {
		j := DueJSON{Pass: d.Pass, Rule: d.Rule.ID, Jurisdiction: jurisdictionName(d.Rule.Jurisdiction, l), Name: d.Rule.Name.Plain().In(l), Done: d.Done, Late: d.Late,
			By: b.stamp(d.By), Missing: []string{}, MissingKeys: []string{}, Source: d.Rule.Source.Plain().In(l)}
		if !d.Kept.IsZero() {
			j.KeptUntil = d.Kept.Format(time.DateOnly)
		}
		for _, e := range d.Missing {
			j.Missing = append(j.Missing, e.Name().In(l))
			j.MissingKeys = append(j.MissingKeys, string(e))
		}
		out = append(out, j)
	}
	return out
}

func jurisdictionName(id string, l words.Language) string {
	for _, j := range law.Jurisdictions {
		if j.ID == id {
			return j.Name.Plain().In(l)
		}
	}
	return id
}

func (b Book) stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(b.Zone).Format(time.RFC3339)
}

type rateJSON struct {
	Name         string           `json:"name"`
	Planned      quantity.Rate    `json:"planned"`
	Used         quantity.Amount  `json:"used"`
	PlannedTotal *quantity.Amount `json:"planned_total,omitempty"`
	Difference   *float64         `json:"difference,omitempty"`
	PerTreated   *float64         `json:"per_treated_acre,omitempty"`
	PerCovered   *float64         `json:"per_covered_acre,omitempty"`
	How          string           `json:"how"`
}

var sayRateHow = words.New("job-rate-how", "used / treated acres of the pass; beside it used / acres under the recorded track, where the whole width gets spray", "usado / acres tratados de la pasada; al lado, usado / acres bajo el recorrido registrado, si todo el ancho recibe caldo")

// Encode writes one pass with its duties as it travels.
func (b Book) Encode(s Sheet, at time.Time, l words.Language) (json.RawMessage, error) {
	longest, known, until := s.Reentry()
	rates := []rateJSON{}
	for _, a := range s.Rates() {
		rates = append(rates, rateJSON{a.Name, a.Planned, a.Used, a.PlannedTotal, a.DifferencePart, a.PerTreated, a.PerCovered, sayRateHow.Plain().In(l)})
	}
	out := map[string]any{"pass": s.ID, "state": s.Pass.State, "restricted": s.Restricted(), "rates": rates, "duties": b.DuesJSON(b.Duties(s, at), l),
		"corrected_by": s.CorrectedBy, "reentry_known": known, "conditions": append([]string{}, until...), "coverage": s.Coverage}
	if s.Pass.State == spray.Applied && !s.Pass.EndedAt.IsZero() {
		out["entry_from"] = b.stamp(s.Pass.EndedAt.Add(longest))
		out["displayed_until"] = b.stamp(s.DisplayedUntil())
	}
	return json.Marshal(out)
}
