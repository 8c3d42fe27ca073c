package scouting

import (
	"encoding/json"
	"math"
	"strconv"
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
	// State is where the walk stands; "" is taken for closed once it has ended.
	// A phone goes on with a visit another one began: it is one more revision.
	State  VisitState
	Pauses []Pause
	Photos []records.ID
	// Planned are the stops of a sampling walk that the visit took along, in
	// walking order. Nothing says that anybody stopped there.
	Planned []Place
}

// VisitState is where a walk stands.
type VisitState string

// The states of a visit.
const (
	Open   VisitState = "open"
	Paused VisitState = "paused"
	Closed VisitState = "closed"
)

// VisitStates lists every state of a visit.
var VisitStates = []VisitState{Open, Paused, Closed}

// Pause is a break in a walk; To is zero while it lasts.
type Pause struct{ From, To time.Time }

// Walked is how long somebody walked, breaks off; false while the visit or its
// last break has no end.
func (v Visit) Walked() (time.Duration, bool) {
	if v.StartedAt.IsZero() || v.EndedAt.IsZero() {
		return 0, false
	}
	d := v.EndedAt.Sub(v.StartedAt)
	for _, p := range v.Pauses {
		if p.To.IsZero() {
			return 0, false
		}
		d -= p.To.Sub(p.From)
	}
	return max(d, 0), true
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
	What          string // a counting programme's id, or the scout's words
	Sampled, Hits int
	// Several says that one thing looked at may show more than one, so that hits
	// may exceed the sample: larvae in fruit, weevils on a tray.
	Several bool
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
	closedWithoutEnd = words.New("scouting-closed-without-end",
		"A closed visit says when it ended.",
		"Una visita cerrada dice cuándo terminó.")
	stopPlace = words.New("scouting-stop-place",
		"at is a longitude and a latitude in degrees.",
		"at es una longitud y una latitud en grados.")
	pauseGoesOn = words.New("scouting-pause-goes-on",
		"The break before this one has no end.",
		"La pausa anterior a esta no tiene fin.")
	pauseBefore = words.New("scouting-pause-before",
		"This break begins before the visit or before the last break ended.",
		"Esta pausa empieza antes de la visita o antes de que terminara la anterior.")
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
	v.State = fields.Choose(r, "state", VisitStates)
	if v.State == Closed && !r.Has("ended_at") {
		r.Fault("ended_at", closedWithoutEnd.Plain())
	}
	v.Pauses, v.Photos = pauses(r, v.StartedAt), photos(r)
	for in := range r.Each("planned_stops", MaxPlannedStops) {
		v.Planned = append(v.Planned, plannedStop(in))
	}
	return v, r.Faults()
}

// plannedStop reads a plant and, where its row was drawn, where it stood.
func plannedStop(r fields.Reader) (p Place) {
	if r.Need("row") {
		p.Row, _ = r.Whole("row", 1, MaxRow)
	}
	if r.Need("plant") {
		p.Plant, _ = r.Whole("plant", 1, MaxPlant)
	}
	if r.Has("at") {
		var at []float64
		if json.Unmarshal(r.Raw("at"), &at) != nil || len(at) != 2 || math.Abs(at[0]) > 180 || math.Abs(at[1]) > 90 {
			r.Fault("at", stopPlace.Plain())
		}
	}
	return p
}

// pauses reads breaks in the order they were taken; only the last may go on.
func pauses(r fields.Reader, started time.Time) (all []Pause) {
	before := started
	for in := range r.Each("pauses", MaxPauses) {
		if n := len(all); n > 0 && all[n-1].To.IsZero() {
			in.Fault("from", pauseGoesOn.Plain())
		}
		in.Need("from")
		p := Pause{From: in.Moment("from"), To: in.Moment("to")}
		in.InOrder("from", "to", p.From, p.To)
		if !p.From.IsZero() && p.From.Before(before) {
			in.Fault("from", pauseBefore.Plain())
		}
		if before = p.To; p.To.IsZero() {
			before = p.From
		}
		all = append(all, p)
	}
	return all
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
	if r.Need("sampled") {
		c.Sampled, _ = r.Whole("sampled", 0, maxCounted)
	}
	if r.Need("hits") {
		c.Hits, _ = r.Whole("hits", 0, maxCounted)
	}
	c.Several = r.Yes("several")
	return c
}

// mostFaults bounds how many stretches that are nowhere are named.
const mostFaults = 100

// CheckVisit holds what was looked at against the block's rows. Without rows
// there is nothing to hold it against.
func CheckVisit(v Visit, rows []RowPlants) (faults []fault.Detail) {
	known := map[int][]RowPlants{}
	for _, row := range rows {
		known[row.Number] = []RowPlants{row}
	}
	for i, s := range v.Inspected {
		if s.AllRows || len(faults) >= mostFaults {
			continue
		}
		among := known[s.Row]
		if among == nil {
			among = rows
		}
		for _, d := range Check(Find{Row: s.Row, Plant: s.To}, among) {
			if d.Field == "plant" {
				d.Field = "to"
			}
			d.Field = "inspected[" + strconv.Itoa(i) + "]." + d.Field
			faults = append(faults, d)
		}
	}
	return faults
}
