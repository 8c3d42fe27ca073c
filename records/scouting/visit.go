package scouting

import (
	"encoding/json"
	"time"

	"caneward/blocks/fault"
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
	r := read(properties)
	r.place(g, aTrack.Plain(), "LineString", "MultiLineString")
	v := Visit{Purpose: r.text("purpose"), EndedAt: r.moment("ended_at")}
	if r.need("block") {
		v.Block = r.id("block")
	}
	if r.need("started_at") {
		v.StartedAt = r.moment("started_at")
	}
	r.inOrder("started_at", "ended_at", v.StartedAt, v.EndedAt)
	r.objects("inspected", MaxStretches, func(in reader) { v.Inspected = append(v.Inspected, in.stretch()) })
	r.objects("counts", MaxCounts, func(in reader) { v.Counts = append(v.Counts, in.count()) })
	return v, *r.faults
}

func (r reader) stretch() Stretch {
	if r.has("rows") {
		if r.text("rows") != "all" || r.has("row") || r.has("from") || r.has("to") {
			r.fault("rows", onlyAll.Plain(), words.Text{})
		}
		return Stretch{AllRows: true}
	}
	var s Stretch
	if r.need("row") {
		s.Row, _ = r.whole("row", 1, MaxRow)
	}
	s.From, _ = r.whole("from", 1, MaxPlant)
	s.To, _ = r.whole("to", 1, MaxPlant)
	switch {
	case r.has("from") != r.has("to"):
		r.fault("to", halfStretch.Plain(), words.Text{})
	case s.From > 0 && s.To > 0 && s.From > s.To:
		r.fault("to", fromAfterTo.With(words.Args{"from": s.From, "to": s.To}), words.Text{})
	}
	return s
}

func (r reader) count() Count {
	c := Count{What: r.text("what")}
	r.need("what")
	sampled, hits := false, false
	if r.need("sampled") {
		c.Sampled, sampled = r.whole("sampled", 0, maxCounted)
	}
	if r.need("hits") {
		c.Hits, hits = r.whole("hits", 0, maxCounted)
	}
	if sampled && hits && c.Hits > c.Sampled {
		r.fault("hits", moreHits.With(words.Args{"hits": c.Hits, "sampled": c.Sampled}), words.Text{})
	}
	return c
}
