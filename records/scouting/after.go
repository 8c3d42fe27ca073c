package scouting

import (
	"encoding/json"
	"fmt"
	"time"

	"caneward/blocks/fault"
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
	Result            string
}

// Removal is plants taken out, or to be taken out while DoneOn is zero.
type Removal struct {
	Block    records.ID
	Plants   []Place
	RootsOut bool
	Disposal string
	DoneOn   time.Time
	Review   records.ID
	Checks   []Regrowth
}

// Regrowth is one look at the place afterwards.
type Regrowth struct {
	On       time.Time
	Regrowth bool
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
	noPlace    = words.New("scouting-no-place", "no place", "ningún lugar")
	plantTwice = words.New("scouting-plant-twice",
		"Row {row}, plant {plant} stands twice in the list.",
		"La hilera {row}, planta {plant} está dos veces en la lista.")
)

// ParseSample reads a sample. It needs at least one find.
func ParseSample(g geo.Geometry, properties json.RawMessage) (Sample, []fault.Detail) {
	r := read(properties)
	r.place(g, noPlace.Plain())
	s := Sample{SentOn: r.day("sent_on"), ResultOn: r.day("result_on"), Laboratory: r.text("laboratory"),
		Accession: r.text("accession"), Method: r.text("method"), Result: r.text("result")}
	r.inOrder("sent_on", "result_on", s.SentOn, s.ResultOn)
	if r.need("finds") {
		s.Finds = r.ids("finds", MaxFinds)
	}
	return s, *r.faults
}

func (r reader) ids(field string, limit int) (ids []records.ID) {
	before := len(*r.faults)
	entries := r.list(field, limit)
	if len(entries) == 0 && len(*r.faults) == before {
		r.fault(field, listEmpty.Plain(), words.Text{})
	}
	for i, raw := range entries {
		var s string
		id, err := records.ID(""), json.Unmarshal(raw, &s)
		if err == nil {
			id, err = records.ParseID(s)
		}
		if err != nil {
			r.fault(fmt.Sprintf("%s[%d]", field, i), notARecordID.Plain(), words.Text{})
		}
		ids = append(ids, id)
	}
	return ids
}

// ParseRemoval reads a removal. It needs a block and at least one plant.
func ParseRemoval(g geo.Geometry, properties json.RawMessage) (Removal, []fault.Detail) {
	r := read(properties)
	m := Removal{RootsOut: r.yes("roots_out"), Disposal: r.text("disposal"), DoneOn: r.day("done_on"), Review: r.id("review")}
	if r.need("block") {
		m.Block = r.id("block")
	}
	if r.need("plants") {
		m.Plants = r.places("plants")
	}
	r.objects("checks", MaxCounts, func(in reader) {
		c := Regrowth{Regrowth: in.yes("regrowth")}
		if in.need("on") {
			c.On = in.day("on")
		}
		in.inOrder("done_on", "on", m.DoneOn, c.On)
		m.Checks = append(m.Checks, c)
	})
	return m, *r.faults
}

func (r reader) places(field string) (places []Place) {
	before := len(*r.faults)
	seen := map[Place]bool{}
	r.objects(field, MaxPlants, func(in reader) {
		var p Place
		if in.need("row") {
			p.Row, _ = in.whole("row", 1, MaxRow)
		}
		if in.need("plant") {
			p.Plant, _ = in.whole("plant", 1, MaxPlant)
		}
		if seen[p] && p.Row > 0 && p.Plant > 0 {
			in.fault("plant", plantTwice.With(words.Args{"row": p.Row, "plant": p.Plant}), words.Text{})
		}
		seen[p] = true
		places = append(places, p)
	})
	if len(places) == 0 && len(*r.faults) == before {
		r.fault(field, listEmpty.Plain(), words.Text{})
	}
	return places
}

// ParseReview reads a review: what is fixed is that a signed one says why.
func ParseReview(g geo.Geometry, properties json.RawMessage) (Review, []fault.Detail) {
	r := read(properties)
	r.place(g, noPlace.Plain())
	v := Review{Block: r.id("block"), Reasons: r.text("reasons"), SignedAt: r.moment("signed_at"),
		Analysis: r.members["analysis"], List: r.members["list"]}
	if !v.SignedAt.IsZero() && v.Reasons == "" {
		r.fault("reasons", reasonsNeeded.Plain(), words.Text{})
	}
	return v, *r.faults
}

// ParseStage reads a growth stage. It needs a block and a stage in words or as
// a BBCH code.
func ParseStage(g geo.Geometry, properties json.RawMessage) (Stage, []fault.Detail) {
	r := read(properties)
	r.place(g, noPlace.Plain())
	s := Stage{Stage: r.text("stage"), On: r.day("observed_on")}
	if r.need("block") {
		s.Block = r.id("block")
	}
	if n, ok := r.whole("bbch", 0, 99); ok {
		s.BBCH = &n
	}
	if !r.has("stage") && !r.has("bbch") {
		r.need("stage")
	}
	return s, *r.faults
}
