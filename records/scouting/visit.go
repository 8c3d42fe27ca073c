package scouting

import (
	"encoding/json"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

// Visit is one walk: without it finds have no denominator.
type Visit struct {
	Block              records.ID
	Purpose            string // the scout's own words
	StartedAt, EndedAt time.Time
	Inspected          []Stretch
	Counts             []Count
}

// Stretch is what was looked at: every row, one whole row, or the plants From
// to To of it, both included.
type Stretch struct {
	AllRows  bool
	Row      int
	From, To int // 0 and 0: the whole row
}

// Count is how many of how many showed something.
type Count struct {
	What          string
	Sampled, Hits int
}

var (
	fromAfterTo = words.New("scouting-from-after-to",
		"The stretch runs from plant {from} to plant {to}: give the lower number first.",
		"El tramo va de la planta {from} a la planta {to}: ponga primero el número menor.")
	halfStretch = words.New("scouting-half-stretch",
		"A stretch needs both its ends, from and to; neither means the whole row.",
		"Un tramo necesita sus dos extremos, from y to; sin ninguno es la hilera entera.")
	onlyAll = words.New("scouting-only-all",
		"Either \"rows\": \"all\", or a row with from and to.",
		"O bien \"rows\": \"all\", o bien una hilera con from y to.")
	moreHits = words.New("scouting-more-hits",
		"{hits} of {sampled} cannot be: hits are counted among those sampled.",
		"{hits} de {sampled} no puede ser: los positivos se cuentan entre los revisados.")
)

// ParseVisit reads a visit. It needs a block and the time it began.
func ParseVisit(g geo.Geometry, properties json.RawMessage) (Visit, []fault.Detail) {
	r := fields.Properties(properties)
	place(r, g, aTrack, "LineString", "MultiLineString")
	v := Visit{Purpose: r.Text("purpose"), EndedAt: r.Moment("ended_at")}
	if r.Need("block") {
		v.Block = id(r, "block")
	}
	if r.Need("started_at") {
		v.StartedAt = r.Moment("started_at")
	}
	r.InOrder("started_at", "ended_at", v.StartedAt, v.EndedAt)
	for in := range r.Each("inspected", MaxStretches) {
		v.Inspected = append(v.Inspected, stretch(in))
	}
	for in := range r.Each("counts", MaxCounts) {
		v.Counts = append(v.Counts, count(in))
	}
	return v, r.Faults()
}

func stretch(r fields.Reader) Stretch {
	if r.Has("rows") {
		if r.Text("rows") != "all" || r.Has("row") || r.Has("from") || r.Has("to") {
			r.Fault("rows", onlyAll.Plain())
		}
		return Stretch{AllRows: true}
	}
	var s Stretch
	if r.Need("row") {
		s.Row, _ = r.Whole("row", 1, MaxRow)
	}
	s.From, _ = r.Whole("from", 1, MaxPlant)
	s.To, _ = r.Whole("to", 1, MaxPlant)
	switch {
	case r.Has("from") != r.Has("to"):
		r.Fault("to", halfStretch.Plain())
	case s.From > 0 && s.To > 0 && s.From > s.To:
		r.Fault("to", fromAfterTo.With(words.Args{"from": s.From, "to": s.To}))
	}
	return s
}

func count(r fields.Reader) Count {
	c := Count{What: r.Text("what")}
	r.Need("what")
	sampled, hits := false, false
	if r.Need("sampled") {
		c.Sampled, sampled = r.Whole("sampled", 0, maxCounted)
	}
	if r.Need("hits") {
		c.Hits, hits = r.Whole("hits", 0, maxCounted)
	}
	if sampled && hits && c.Hits > c.Sampled {
		r.Fault("hits", moreHits.With(words.Args{"hits": c.Hits, "sampled": c.Sampled}))
	}
	return c
}
