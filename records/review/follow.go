package review

import (
	"cmp"
	"slices"
	"time"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/scouting"
	"caneward/records/stats"
)

// Windows of the looks for regrowth.
const (
	// Plants cut in May came up again in June, with spores (trade notes 2.1); that
	// a look four to eight weeks after digging follows from it is common practice.
	firstFrom = 28 * 24 * time.Hour
	firstBy   = 56 * 24 * time.Hour
	// From the first symptoms at leaf-out to the first open pustule it is less than
	// three weeks (trade notes 2.1).
	springLasts = 21 * 24 * time.Hour
	// A look so much before a window opens counts for it (our own).
	early = 14 * 24 * time.Hour
	// Springs looked at after digging (trade notes 2.1: two).
	springs = 2
)

// Usual first days of leaf-out where the farm's own growth stages say nothing:
// common practice without a source; leaf-out moves by weeks with latitude.
var (
	usualNorth = time.Date(2000, time.April, 1, 0, 0, 0, 0, time.UTC)
	usualSouth = time.Date(2000, time.October, 1, 0, 0, 0, 0, time.UTC)
)

// LeafOut is the day of the year a block comes into leaf.
type LeafOut struct {
	Month time.Month
	Day   int
	Own   bool // from the block's growth stages; else the usual day
}

func (l LeafOut) in(year int) time.Time {
	return time.Date(year, l.Month, l.Day, 0, 0, 0, 0, time.UTC)
}

// leafing are the soft-fruit scale's codes of leaf-out and first shoots.
const leafingFrom, leafingTo = 10, 15

// LeafOutOf takes the earliest leaf-out of the newest year the block's growth
// stages tell of. The reader's errors.
func LeafOutOf(r records.Reader, block records.ID) (LeafOut, error) {
	page, err := r.List(records.Stages, records.Query{Equal: map[string]string{"block": string(block)}})
	if err != nil {
		return LeafOut{}, err
	}
	var best time.Time
	for _, rev := range page.Revisions {
		s, faults := scouting.ParseStage(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 || s.BBCH == nil || *s.BBCH < leafingFrom || *s.BBCH > leafingTo || s.On.IsZero() {
			continue
		}
		if best.IsZero() || s.On.Year() > best.Year() || s.On.Year() == best.Year() && s.On.Before(best) {
			best = s.On
		}
	}
	if !best.IsZero() {
		return LeafOut{Month: best.Month(), Day: best.Day(), Own: true}, nil
	}
	usual := usualNorth
	rev, err := r.Current(records.Blocks, block)
	if err != nil {
		return LeafOut{}, err
	}
	if b := rev.Record.Geometry.Flat; b != nil && b.Bound().Center()[1] < 0 {
		usual = usualSouth
	}
	return LeafOut{Month: usual.Month(), Day: usual.Day()}, nil
}

// State is what a look for regrowth is at.
type State string

// The states.
const (
	Later   State = "later"
	Due     State = "due"
	Overdue State = "overdue"
	Looked  State = "looked"
	Back    State = "back" // it came back: the plant goes on the next list
)

// Look is one look for regrowth.
type Look struct {
	Number   int       // 1 in the weeks after, then one a spring
	From, By time.Time // days, midnight UTC
	State    State
	On       time.Time // the day it was done; zero
}

// Looks gives the looks a removal asks for, as they stand on a day; none before
// it was done.
func Looks(m scouting.Removal, l LeafOut, today time.Time) []Look {
	if m.DoneOn.IsZero() {
		return nil
	}
	looks := []Look{{Number: 1, From: m.DoneOn.Add(firstFrom), By: m.DoneOn.Add(firstBy)}}
	for year := m.DoneOn.Year(); len(looks) <= springs; year++ {
		if from := l.in(year); from.After(m.DoneOn.Add(firstBy)) {
			looks = append(looks, Look{Number: len(looks) + 1, From: from, By: from.Add(springLasts)})
		}
	}
	for _, c := range m.Checks {
		for i := len(looks) - 1; i >= 0; i-- {
			if !c.On.Before(looks[i].From.Add(-early)) || i == 0 {
				if looks[i].On.IsZero() || c.On.After(looks[i].On) {
					looks[i].On = c.On
				}
				break
			}
		}
	}
	back := m.Regrown()
	all := !slices.ContainsFunc(m.Plants, func(p Plant) bool { _, came := back[p]; return !came })
	for i := range looks {
		k := &looks[i]
		switch {
		case !k.On.IsZero():
			k.State = Looked
		case all:
			k.State = Back // nothing is left to look for here
		case today.After(k.By):
			k.State = Overdue
		case !today.Before(k.From):
			k.State = Due
		default:
			k.State = Later
		}
	}
	return looks
}

// Watched is a removal with its looks.
type Watched struct {
	ID      records.ID
	Base    int // number of the removal's revision
	Removal scouting.Removal
	LeafOut LeafOut
	Looks   []Look
}

// Watch gives every finished removal with its looks, by the next day something is
// due and then block, row and plant. block narrows; empty takes the whole farm.
func Watch(r records.Reader, block records.ID, today time.Time) ([]Watched, error) {
	var q records.Query
	if block != "" {
		q.Equal = map[string]string{"block": string(block)}
	}
	page, err := r.List(records.Removals, q)
	if err != nil {
		return nil, err
	}
	leaf := map[records.ID]LeafOut{}
	var out []Watched
	for _, rev := range page.Revisions {
		m, faults := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 || m.DoneOn.IsZero() {
			continue
		}
		l, known := leaf[m.Block]
		if !known {
			if l, err = LeafOutOf(r, m.Block); err != nil {
				if fault.Is(err, fault.Missing) {
					continue // a block that is gone is not walked any more
				}
				return nil, err
			}
			leaf[m.Block] = l
		}
		out = append(out, Watched{ID: rev.ID, Base: rev.Number, Removal: m, LeafOut: l, Looks: Looks(m, l, today)})
	}
	slices.SortStableFunc(out, func(a, b Watched) int {
		return cmp.Or(a.next().Compare(b.next()), cmp.Compare(a.Removal.Block, b.Removal.Block), comparePlants(a.Removal.Plants[0], b.Removal.Plants[0]), cmp.Compare(a.ID, b.ID))
	})
	return out, nil
}

// next is the day the next look is to be done by; the far future when none is.
func (w Watched) next() time.Time {
	for _, k := range w.Looks {
		if k.State == Due || k.State == Overdue || k.State == Later {
			return k.By
		}
	}
	return time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
}

// Done is a listed plant that was taken out.
type Done struct {
	Take
	Removal records.ID `json:"removal"`
	Base    int        `json:"base"`
	On      string     `json:"on"`
	Roots   bool       `json:"roots_out"`
	Bagged  bool       `json:"bagged"`
}

// Share is a share among plants looked at, with its exact two-sided 95 % limits.
type Share struct {
	Inspected int     `json:"inspected"`
	Infected  int     `json:"infected"`
	Share     float64 `json:"share"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
}

// Area is ground compared before and after: the block, or a group's ground, the
// rows from one before its first to one after its last over the plants it spans.
type Area struct {
	Group    *int   `json:"group"` // nil: the block
	FirstRow int    `json:"first_row,omitempty"`
	LastRow  int    `json:"last_row,omitempty"`
	From     int    `json:"from,omitempty"`
	To       int    `json:"to,omitempty"`
	Before   *Share `json:"before"` // nil where nobody looked
	After    *Share `json:"after"`
}

// Places counts the empty places of a block for the next order of plants.
type Places struct {
	Missing int `json:"missing"`   // marked on the rows
	Taken   int `json:"taken_out"` // taken out by removals and not among those
	Empty   int `json:"empty"`
}

// Outcome is what became of a decision.
type Outcome struct {
	Listed, Taken int
	Back          int    // of those taken out, seen to have come back
	Done          []Done // in row and plant order
	Left          []Take // still to be taken out, in walking order
	Since, Until  time.Time
	Areas         []Area
	Places        *Places // nil where rows are not counted
	Says          []words.Text
}

var (
	followNobody = words.New("review-follow-nobody",
		"Nobody recorded having looked at the block from {from} to {to}: what it is like now is not known.",
		"No consta que nadie haya revisado el bloque del {from} al {to}: no se sabe cómo está ahora.")
	followNotYet = words.New("review-follow-not-yet",
		"Looks from {from} on are compared with what was frozen; that day has not come yet.",
		"Lo congelado se compara con las revisiones desde el {from}; ese día aún no ha llegado.")
	followSameSeason = words.New("review-follow-same-season",
		"Newly infected plants usually show nothing until the next spring: a look in the season of the digging says little.",
		"Las plantas recién infectadas no suelen mostrar nada hasta la primavera siguiente: una revisión en la misma temporada dice poco.")
	followLess = words.New("review-follow-less",
		"Taking infected plants out lowers the share by itself. What counts is what shows anew.",
		"Quitar plantas infectadas baja la proporción por sí solo. Lo que cuenta es lo que aparece de nuevo.")
	followClean = words.New("review-follow-clean",
		"A clean spring does not clear a block: look two springs after the last find.",
		"Una primavera limpia no libera un bloque: revise dos primaveras después del último hallazgo.")
	placesHow = words.New("review-places-how",
		"{missing} places marked as empty on the rows and {taken} more taken out and not planted again.",
		"{missing} lugares marcados como vacíos en las hileras y {taken} más arrancados y no replantados.")
	followWait = words.New("review-follow-wait",
		"Do not order for places where roots may still come up: guidance waits until regrowth has stopped, one full season to three years (trade notes; sources differ).",
		"No pida plantas para lugares donde aún puedan rebrotar raíces: se recomienda esperar a que cesen los rebrotes, de una temporada completa a tres años (las fuentes difieren).")
)

// FollowUp tells what became of a decision by a day, from the records as they are.
// since is the first day of the looks compared with what was frozen; zero is the
// day after the last plant of the list was taken out, or after the signature.
func FollowUp(r records.Reader, id records.ID, v View, since, until time.Time) (Outcome, error) {
	o := Outcome{Listed: len(v.List.Remove), Done: []Done{}, Left: []Take{}, Until: until}
	last, err := o.progress(r, id, v, until)
	if err != nil {
		return o, err
	}
	if o.Since = since; since.IsZero() {
		o.Since = last.AddDate(0, 0, 1)
	}
	now, err := afterwards(r, v, o.Since, until)
	if err != nil {
		return o, err
	}
	o.Areas = append(o.Areas, Area{Before: v.before(1, blocks.MaxRow, 1, blocks.MaxPlants), After: now.share(1, blocks.MaxRow, 1, blocks.MaxPlants)})
	doc, err := v.Document()
	if err != nil {
		return o, err
	}
	for _, g := range doc.Groups {
		number := g.Number
		a := Area{Group: &number, FirstRow: max(1, g.Finds[0].Row-1), LastRow: g.Finds[len(g.Finds)-1].Row + 1, From: g.Finds[0].Plant, To: g.Finds[0].Plant}
		for _, p := range g.Finds {
			a.From, a.To = min(a.From, p.Plant), max(a.To, p.Plant)
		}
		a.Before, a.After = v.before(a.FirstRow, a.LastRow, a.From, a.To), now.share(a.FirstRow, a.LastRow, a.From, a.To)
		o.Areas = append(o.Areas, a)
	}
	o.Places = now.places()
	if o.Since.After(until) {
		o.Says = append(o.Says, followNotYet.With(words.Args{"from": o.Since.Format(time.DateOnly)}))
	} else if o.Areas[0].After == nil {
		o.Says = append(o.Says, followNobody.With(words.Args{"from": o.Since.Format(time.DateOnly), "to": until.Format(time.DateOnly)}))
	} else if o.Since.Year() == until.Year() {
		o.Says = append(o.Says, followSameSeason.Plain())
	}
	o.Says = append(o.Says, followLess.Plain(), followClean.Plain())
	if o.Places != nil && o.Places.Empty > 0 {
		o.Says = append(o.Says, followWait.Plain())
	}
	return o, nil
}

// progress sorts the list into what was taken out and what was not, and gives the
// last day something was.
func (o *Outcome) progress(r records.Reader, id records.ID, v View, until time.Time) (time.Time, error) {
	last := dateOf(v.SignedAt.In(v.Zone()))
	page, err := r.List(records.Removals, records.Query{Equal: map[string]string{"block": string(v.Block)}})
	if err != nil {
		return last, err
	}
	done := map[Plant]Done{}
	for _, rev := range page.Revisions {
		m, faults := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 || m.Review != id || m.DoneOn.IsZero() || m.DoneOn.After(until) {
			continue
		}
		back := m.Regrown()
		for _, p := range m.Plants {
			if on, came := back[p]; came && !on.After(until) {
				o.Back++
			}
			done[p] = Done{Removal: rev.ID, Base: rev.Number, On: m.DoneOn.Format(time.DateOnly), Roots: m.RootsOut, Bagged: m.Bagged}
		}
		if m.DoneOn.After(last) {
			last = m.DoneOn
		}
	}
	for _, t := range v.List.Remove {
		if d, out := done[t.Place()]; out {
			d.Take = t
			o.Done = append(o.Done, d)
		} else {
			o.Left = append(o.Left, t)
		}
	}
	o.Taken, o.Left = len(o.Done), Walk(o.Left)
	return last, nil
}

func dateOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// before counts what was frozen.
func (v View) before(firstRow, lastRow, from, to int) *Share {
	doc, err := v.Document()
	if err != nil || v.Effort.Uncounted {
		return nil
	}
	confirmed := map[Plant]bool{}
	for _, f := range doc.Finds {
		if f.State == scouting.Confirmed && slices.Contains(doc.Settings.Causes, f.Cause) && f.Unresolved == "" {
			confirmed[Plant{Row: f.Row, Plant: f.Plant}] = true
		}
	}
	for _, p := range doc.Gone {
		delete(confirmed, p)
	}
	g := ground{rows: v.Rows}
	return shareOf(g, v.Effort, confirmed, nil, firstRow, lastRow, from, to)
}

func shareOf(g ground, e scouting.Effort, infected, gone map[Plant]bool, firstRow, lastRow, from, to int) *Share {
	var s Share
	g.each(firstRow, lastRow, from, to, func(p Plant) {
		if gone[p] || !e.Saw(p.Row, p.Plant) {
			return
		}
		s.Inspected++
		if infected[p] {
			s.Infected++
		}
	})
	if s.Inspected == 0 {
		return nil
	}
	s.Share = float64(s.Infected) / float64(s.Inspected)
	// The counts are in bounds: nothing can fail.
	s.Low, s.High, _ = stats.ClopperPearson(s.Infected, s.Inspected, level)
	return &s
}

// later is the block as it was looked at in a span of time.
type later struct {
	ground
	effort   scouting.Effort
	infected map[Plant]bool
	looked   bool
}

func afterwards(r records.Reader, v View, since, until time.Time) (later, error) {
	out := later{infected: map[Plant]bool{}}
	doc, err := v.Document()
	if err != nil {
		return out, err
	}
	if out.ground, err = groundOf(r, v.Block); err != nil {
		return out, err
	}
	zone := v.Zone()
	within := func(at time.Time) bool {
		day := dateOf(at.In(zone))
		return !day.Before(since) && !day.After(until)
	}
	of := records.Query{Equal: map[string]string{"block": string(v.Block)}}
	visits, err := r.List(records.Visits, of)
	if err != nil {
		return out, err
	}
	var stretches []scouting.Stretch
	for _, rev := range visits.Revisions {
		if visit, faults := scouting.ParseVisit(rev.Record.Geometry, rev.Record.Properties); len(faults) == 0 && within(visit.StartedAt) {
			stretches = append(stretches, visit.Inspected...)
		}
	}
	out.looked = len(stretches) > 0
	out.effort = scouting.Look(stretches, out.rows)
	finds, err := r.List(records.Finds, of)
	if err != nil {
		return out, err
	}
	for _, rev := range finds.Revisions {
		f, faults := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
		p := Plant{Row: f.Row, Plant: f.Plant}
		if len(faults) == 0 && f.State == scouting.Confirmed && slices.Contains(doc.Settings.Causes, f.Cause) && within(f.FoundAt) && out.effort.Saw(p.Row, p.Plant) {
			out.infected[p] = true
		}
	}
	return out, nil
}

func (l later) share(firstRow, lastRow, from, to int) *Share {
	if !l.looked || l.effort.Uncounted {
		return nil
	}
	return shareOf(l.ground, l.effort, l.infected, l.removed, firstRow, lastRow, from, to)
}

// places counts what is empty; nil where rows are not counted.
func (g ground) places() *Places {
	if !g.counted() {
		return nil
	}
	var p Places
	for _, r := range g.rows {
		if !r.Skipped {
			p.Missing += len(r.Missing)
		}
	}
	g.each(1, blocks.MaxRow, 1, blocks.MaxPlants, func(at Plant) {
		if g.removed[at] {
			p.Taken++
		}
	})
	p.Empty = p.Missing + p.Taken
	return &p
}

// EmptyPlaces counts a block's empty places for the next order; nil where its
// rows are not counted. The reader's errors.
func EmptyPlaces(r records.Reader, block records.ID) (*Places, error) {
	g, err := groundOf(r, block)
	if err != nil {
		return nil, err
	}
	return g.places(), nil
}

// Wait says that not every empty place is one to plant.
func Wait() words.Text { return followWait.Plain() }

// How says how the count came about.
func (p Places) How() words.Text {
	return placesHow.With(words.Args{"missing": p.Missing, "taken": p.Taken})
}
