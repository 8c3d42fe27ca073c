package scouting

import (
	"encoding/json"
	"slices"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

// Sample is what went to a laboratory, and what came back.
type Sample struct {
	Finds             []records.ID
	SentOn, ResultOn  time.Time // dates, midnight UTC
	Laboratory        string
	Accession, Method string
	Result            string // in the laboratory's words
	// Answer is the result for machines; "" where only words were recorded.
	Answer Answer
	// Found is the cause the laboratory names, empty where it names none.
	Found    Cause
	Organism string
	Photos   []records.ID
}

// Answer is what a laboratory's result does to the finds it covers.
type Answer string

// The answers.
const (
	SaysConfirmed Answer = "confirmed"
	SaysRefuted   Answer = "refuted"
	SaysNothing   Answer = "undecided" // the sample told nothing: the finds stay as they are
)

// Answers lists every answer.
var Answers = []Answer{SaysConfirmed, SaysRefuted, SaysNothing}

// Backs is whether the result lets anybody who may write finds give one of them
// this state and cause: words alone back either state, an answer only its own.
func (s Sample) Backs(state State, c Cause) bool {
	switch {
	case s.Result == "":
		return false
	case s.Answer == "":
		return true
	case State(s.Answer) != state:
		return false
	}
	return state == Refuted || s.Found == "" || s.Found == c
}

// Removal is plants taken out, or to be taken out while DoneOn is zero.
type Removal struct {
	Block    records.ID
	Plants   []Place
	RootsOut bool
	Bagged   bool // at the plant, before it was carried out
	Disposal string
	DoneOn   time.Time
	Review   records.ID
	Checks   []Regrowth
}

// Regrowth is one look at the place afterwards.
type Regrowth struct {
	On       time.Time
	Regrowth bool
	Plants   []Place // which came back; none where nobody said
}

// Regrown gives the plants seen to have come back, each with the last day it was:
// those a look names, and the only plant of a removal without being named. Of
// several plants and no name nobody knows which came back.
func (m Removal) Regrown() map[Place]time.Time {
	back := map[Place]time.Time{}
	for _, c := range m.Checks {
		plants := c.Plants
		if len(plants) == 0 && len(m.Plants) == 1 {
			plants = m.Plants
		}
		for _, p := range plants {
			if c.Regrowth && !c.On.Before(back[p]) {
				back[p] = c.On
			}
		}
	}
	return back
}

// Review is the adviser's decision as signed. The analysis and the list are
// kept as they were, whatever the records say later.
type Review struct {
	Block    records.ID
	Reasons  string
	SignedAt time.Time // zero: a draft
	Analysis json.RawMessage
	List     json.RawMessage
}

// Stage is a block's growth stage on a day.
type Stage struct {
	Block records.ID
	Stage string
	// BBCH is the two-digit code of the soft-fruit scale, nil when not given.
	BBCH *int
	On   time.Time
}

var (
	reasonsNeeded = words.New("scouting-reasons-needed",
		"A signed decision needs its reasons.",
		"Una decisión firmada necesita sus razones.")
	notRemoved = words.New("scouting-not-removed",
		"Row {row}, plant {plant} is not among the plants of this removal.",
		"La hilera {row}, planta {plant} no está entre las plantas de este arranque.")
	noPlace    = words.New("scouting-no-place", "no place", "ningún lugar")
	plantTwice = words.New("scouting-plant-twice",
		"Row {row}, plant {plant} stands twice in the list.",
		"La hilera {row}, planta {plant} está dos veces en la lista.")
)

// ParseSample reads a sample. It needs at least one find.
func ParseSample(g geo.Geometry, properties json.RawMessage) (Sample, []fault.Detail) {
	r := fields.Properties(properties)
	place(r, g, noPlace)
	s := Sample{SentOn: r.Day("sent_on"), ResultOn: r.Day("result_on"), Laboratory: r.Text("laboratory"),
		Accession: r.Text("accession"), Method: r.Text("method"), Result: r.Text("result"), Answer: fields.Choose(r, "answer", Answers), Photos: photos(r)}
	if r.Has("found") {
		s.Found = fields.Choose(r, "found", Causes)
	}
	s.Organism = readOrganism(r, s.Found)
	if s.Answer != "" {
		r.Need("result")
	}
	r.InOrder("sent_on", "result_on", s.SentOn, s.ResultOn)
	if r.Need("finds") {
		before := len(r.Faults())
		s.Finds = fields.IDs(r, "finds", MaxFinds, records.ParseID)
		if len(s.Finds) == 0 && len(r.Faults()) == before {
			r.Fault("finds", listEmpty.Plain())
		}
	}
	return s, r.Faults()
}

// ParseRemoval reads a removal. It needs a block and at least one plant.
func ParseRemoval(g geo.Geometry, properties json.RawMessage) (Removal, []fault.Detail) {
	r := fields.Properties(properties)
	m := Removal{RootsOut: r.Yes("roots_out"), Bagged: r.Yes("bagged"), Disposal: r.Text("disposal"), DoneOn: r.Day("done_on"), Review: id(r, "review")}
	if r.Need("block") {
		m.Block = id(r, "block")
	}
	if r.Need("plants") {
		m.Plants = places(r, "plants")
	}
	for in := range r.Each("checks", MaxCounts) {
		c := Regrowth{Regrowth: in.Yes("regrowth")}
		if in.Need("on") {
			c.On = in.Day("on")
		}
		in.InOrder("done_on", "on", m.DoneOn, c.On)
		if in.Has("plants") {
			c.Plants = places(in, "plants")
		}
		for _, q := range c.Plants {
			if !slices.Contains(m.Plants, q) && q.Row > 0 && q.Plant > 0 {
				in.Fault("plants", notRemoved.With(words.Args{"row": q.Row, "plant": q.Plant}))
			}
		}
		m.Checks = append(m.Checks, c)
	}
	return m, r.Faults()
}

func places(r fields.Reader, field string) (places []Place) {
	before := len(r.Faults())
	seen := map[Place]bool{}
	for in := range r.Each(field, MaxPlants) {
		var p Place
		if in.Need("row") {
			p.Row, _ = in.Whole("row", 1, MaxRow)
		}
		if in.Need("plant") {
			p.Plant, _ = in.Whole("plant", 1, MaxPlant)
		}
		if seen[p] && p.Row > 0 && p.Plant > 0 {
			in.Fault("plant", plantTwice.With(words.Args{"row": p.Row, "plant": p.Plant}))
		}
		seen[p] = true
		places = append(places, p)
	}
	if len(places) == 0 && len(r.Faults()) == before {
		r.Fault(field, listEmpty.Plain())
	}
	return places
}

// ParseReview reads a review: what is fixed is that a signed one says why.
func ParseReview(g geo.Geometry, properties json.RawMessage) (Review, []fault.Detail) {
	r := fields.Properties(properties)
	place(r, g, noPlace)
	v := Review{Block: id(r, "block"), Reasons: r.Text("reasons"), SignedAt: r.Moment("signed_at"),
		Analysis: r.Raw("analysis"), List: r.Raw("list")}
	if !v.SignedAt.IsZero() && v.Reasons == "" {
		r.Fault("reasons", reasonsNeeded.Plain())
	}
	return v, r.Faults()
}

// ParseStage reads a growth stage. It needs a block and a stage in words or as
// a BBCH code.
func ParseStage(g geo.Geometry, properties json.RawMessage) (Stage, []fault.Detail) {
	r := fields.Properties(properties)
	place(r, g, noPlace)
	s := Stage{Stage: r.Text("stage"), On: r.Day("observed_on")}
	if r.Need("block") {
		s.Block = id(r, "block")
	}
	if n, ok := r.Whole("bbch", 0, 99); ok {
		s.BBCH = &n
	}
	if !r.Has("stage") && !r.Has("bbch") {
		r.Need("stage")
	}
	return s, r.Faults()
}
