package hotspot

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/planting"
	"caneward/records/scouting"
)

// Bounds of what is drawn and walked; a block of 40 hectares holds fewer.
const (
	maxPlaced    = 300_000
	maxInspected = 500_000
)

var (
	rowsNotCounted = words.New("hotspot-rows-not-counted",
		"A visit says that whole rows were looked at, but how many plants they hold is not recorded; so there is no rate and no p. Lay out the block's rows.",
		"Una visita dice que se revisaron hileras enteras, pero no consta cuántas plantas tienen; así que no hay tasa ni p. Trace las hileras del bloque.")
	tooManyInspected = words.New("hotspot-too-many-inspected",
		"Visits name more than {limit} plants as looked at; so there is no rate and no p.",
		"Las visitas nombran más de {limit} plantas como revisadas; así que no hay tasa ni p.")
	unreadable = words.New("hotspot-unreadable",
		"{count} record(s) of the kind “{kind}” could not be read and were left out, the first {id}.",
		"{count} registro(s) del tipo «{kind}» no se pudieron leer y se omitieron, el primero {id}.")
	rowTwice = words.New("hotspot-row-twice",
		"Row {row} is drawn more than once; only the first record of it counts here.",
		"La hilera {row} está dibujada más de una vez; aquí solo cuenta su primer registro.")
	rowsNotPlaced = words.New("hotspot-rows-not-placed",
		"The drawn rows cannot be placed ({problem}): distances follow row and plant numbers.",
		"Las hileras dibujadas no se pueden situar ({problem}): las distancias siguen los números de hilera y planta.")
	placeless = words.New("hotspot-counts-placeless",
		"{count} visit(s) counted over more than one stretch: their counts have no place and enter no scan.",
		"{count} visita(s) contaron en más de un tramo: sus conteos no tienen lugar y no entran en ningún barrido.")
	asOfNote = words.New("hotspot-as-of-note",
		"Finds, visits and removals up to {at}; what became of a find is as known today.",
		"Hallazgos, visitas y arranques hasta {at}; lo que resultó de un hallazgo, según se sabe hoy.")
	rowsLater = words.New("hotspot-rows-later",
		"The rows were recorded after that day; they are taken as they are now.",
		"Las hileras se registraron después de ese día; se toman como están ahora.")
	rowsTooMany = words.New("hotspot-rows-too-many",
		"The rows hold more than {limit} plants: distances follow row and plant numbers, not the drawn rows.",
		"Las hileras tienen más de {limit} plantas: las distancias siguen los números de hilera y planta, no las hileras dibujadas.")
)

// Load gathers one block's rows, finds, visits and removals, all as they are
// now. Where q.AsOf is given block and rows are as they stood then, and finds,
// visits and removals those up to then, with what has become of them since.
// Records that cannot be read are named among the notes. fault.Missing
// when there is no such block; the reader's own errors otherwise. It keeps
// nothing of the reader, so that the analysis can go on without it.
func Load(r records.Reader, q Request) (Input, error) {
	block, err := r.Current(records.Blocks, q.Block)
	if err == nil && q.AsOf != nil {
		block, err = planting.BlockAsOf(r, q.Block, *q.AsOf)
	}
	if err != nil {
		return Input{}, err
	}
	b, _ := blocks.Parse(block.Record.Geometry, block.Record.Properties)
	l := loader{reader: r, block: q.Block, asOf: q.AsOf, in: Input{RowSpacing: b.RowSpacing, PlantSpacing: b.PlantSpacing}}
	for _, step := range []func() error{l.rows, l.finds, l.visits, l.removals} {
		if err := step(); err != nil {
			return Input{}, err
		}
	}
	return l.in, nil
}

// Analyse fills in the settings from the block's spacings and analyses what
// Load gathered.
func (q Request) Analyse(ctx context.Context, in Input) (Analysis, error) {
	set, err := q.Settings(in.spacings())
	if err != nil {
		return Analysis{}, err
	}
	return Analyse(ctx, in, set)
}

type loader struct {
	reader records.Reader
	block  records.ID
	asOf   *time.Time
	in     Input
	// placeless counts visits whose counts belong to no one stretch.
	placeless int
}

// each reads the block's records of a kind; read tells whether one was good.
func (l *loader) each(kind records.Kind, read func(records.Revision) bool) error {
	page, err := l.reader.List(kind, records.Query{Equal: map[string]string{"block": string(l.block)}})
	if err != nil {
		return err
	}
	var bad []records.ID
	for _, rev := range page.Revisions {
		if !read(rev) {
			bad = append(bad, rev.ID)
		}
	}
	l.noteUnread(kind, bad)
	return nil
}

func (l *loader) noteUnread(kind records.Kind, bad []records.ID) {
	if len(bad) > 0 {
		l.in.Notes = append(l.in.Notes, unreadable.With(words.Args{"count": len(bad), "kind": string(kind), "id": string(bad[0])}))
	}
}

func (l *loader) rows() error {
	read := planting.Rows
	if at := l.asOf; at != nil {
		l.in.Notes = append(l.in.Notes, asOfNote.With(words.Args{"at": at.Format(time.RFC3339)}))
		read = func(r records.Reader, block records.ID) ([]planting.Row, []records.ID, error) {
			return planting.RowsAsOf(r, block, *at)
		}
	}
	rows, bad, err := read(l.reader, l.block)
	if err == nil && l.asOf != nil && len(rows)+len(bad) == 0 {
		if rows, bad, err = planting.Rows(l.reader, l.block); len(rows) > 0 {
			l.in.Notes = append(l.in.Notes, rowsLater.Plain())
		}
	}
	if err != nil {
		return err
	}
	l.noteUnread(records.Rows, bad)
	for i := 1; i < len(rows); i++ {
		if n := rows[i].Number; n == rows[i-1].Number {
			l.in.Notes = append(l.in.Notes, rowTwice.With(words.Args{"row": n}))
		}
	}
	drawn := planting.Plain(rows)
	l.replanted(drawn)
	l.place(drawn)
	return nil
}

// replanted reads the last day a plant was set anew at each place, the first of
// its month or year where no more is known.
func (l *loader) replanted(drawn []blocks.Row) {
	l.in.Replanted = map[Plant]time.Time{}
	for _, row := range drawn {
		for _, p := range row.Replanted {
			l.in.Replanted[Plant{Row: row.Number, Plant: p.Plant}] = time.Date(p.On.Year, max(p.On.Month, 1), max(p.On.Day, 1), 0, 0, 0, 0, time.UTC)
		}
	}
}

func (l *loader) finds() error {
	return l.each(records.Finds, func(rev records.Revision) bool {
		f, faults := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) == 0 && l.by(f.FoundAt) {
			l.in.Finds = append(l.in.Finds, Find{ID: rev.ID, Plant: Plant{Row: f.Row, Plant: f.Plant}, Cause: f.Cause, State: f.State, At: f.FoundAt, Pin: f.At})
		}
		return len(faults) == 0
	})
}

func (l *loader) visits() error {
	e := effort{rows: map[int]*Row{}, spans: map[int][]span{}}
	for i := range l.in.Rows {
		e.rows[l.in.Rows[i].Number] = &l.in.Rows[i]
	}
	err := l.each(records.Visits, func(rev records.Revision) bool {
		v, faults := scouting.ParseVisit(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 {
			return false
		}
		if !l.by(v.StartedAt) {
			return true
		}
		for _, s := range v.Inspected {
			e.add(s)
		}
		l.counts(v, e.rows)
		return true
	})
	if l.placeless > 0 {
		l.in.Notes = append(l.in.Notes, placeless.With(words.Args{"count": l.placeless}))
	}
	l.in.Inspected, l.in.NoEffort = e.plants()
	return err
}

func (l *loader) removals() error {
	return l.each(records.Removals, func(rev records.Revision) bool {
		m, faults := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 {
			return false
		}
		if m.DoneOn.IsZero() || !l.by(m.DoneOn) {
			return true
		}
		regrown := m.Regrown()
		for _, p := range m.Plants {
			if _, back := regrown[p]; back {
				l.in.Regrown = append(l.in.Regrown, Removal{Plant: p, On: regrown[p]})
			}
			l.in.Removed = append(l.in.Removed, Removal{Plant: p, On: m.DoneOn})
		}
		return true
	})
}

// by is whether something had happened by the moment asked for.
func (l *loader) by(at time.Time) bool { return l.asOf == nil || !at.After(*l.asOf) }

// counts takes a visit's counts to the one stretch it names; without just one
// they have no place.
func (l *loader) counts(v scouting.Visit, rows map[int]*Row) {
	if len(v.Counts) == 0 {
		return
	}
	if len(v.Inspected) != 1 || v.Inspected[0].AllRows {
		l.placeless++
		return
	}
	s := v.Inspected[0]
	at := Stretch{Row: s.Row, From: s.From, To: s.To}
	if row := rows[s.Row]; at.To == 0 {
		if row == nil || row.Plants == 0 {
			l.placeless++
			return
		}
		at.From, at.To = 1, row.Plants
	}
	for _, c := range v.Counts {
		l.in.Counts = append(l.in.Counts, Counted{What: c.What, At: at, Sampled: c.Sampled, Hits: c.Hits})
	}
}

// span is a stretch of plant numbers, both ends included.
type span struct{ from, to int }

// effort puts stretches together.
type effort struct {
	rows      map[int]*Row
	spans     map[int][]span
	uncounted bool // a whole row whose plants nobody counted
}

func (e *effort) add(s scouting.Stretch) {
	switch {
	case s.AllRows:
		e.uncounted = e.uncounted || len(e.rows) == 0
		for number := range e.rows {
			e.whole(number)
		}
	case s.To == 0:
		e.whole(s.Row)
	default:
		to := s.To
		if row := e.rows[s.Row]; row != nil && row.Plants > 0 {
			to = min(to, row.Plants)
		}
		e.spans[s.Row] = append(e.spans[s.Row], span{s.From, to})
	}
}

func (e *effort) whole(number int) {
	row := e.rows[number]
	if row == nil || row.Plants == 0 {
		e.uncounted = true
		return
	}
	e.spans[number] = append(e.spans[number], span{1, row.Plants})
}

// plants lists each plant once, or says why that cannot be.
func (e *effort) plants() (plants []Plant, no words.Text) {
	if e.uncounted {
		return nil, rowsNotCounted.Plain()
	}
	for number, spans := range e.spans {
		slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.from, b.from) })
		next := 1
		for _, s := range spans {
			next = max(next, s.from)
			if s.to-next+1+len(plants) > maxInspected {
				return nil, tooManyInspected.With(words.Args{"limit": maxInspected})
			}
			for ; next <= s.to; next++ {
				plants = append(plants, Plant{Row: number, Plant: next})
			}
		}
	}
	slices.SortFunc(plants, byRow)
	return plants, words.Text{}
}

// place turns drawn rows into rows, and their plants into metres and positions.
func (l *loader) place(drawn []blocks.Row) {
	if len(drawn) == 0 {
		return
	}
	shapes := make([]orb.Geometry, len(drawn))
	for i, row := range drawn {
		shapes[i] = row.Parts
	}
	frame, err := plane.FrameOf(shapes...)
	lines := make([][]plane.Line, len(drawn))
	all := make([]stand, len(drawn))
	total, counted := 0, true
	for i, row := range drawn {
		var placed blocks.Placed
		if err == nil {
			placed, err = row.Place(frame, l.in.PlantSpacing)
		}
		lines[i], all[i] = placed.Lines, standOf(placed)
		counted = counted && all[i].Plants > 0
		total += all[i].Plants
	}
	if err != nil {
		l.in.Notes = append(l.in.Notes, rowsNotPlaced.With(words.Args{"problem": words.Verbatim(err.Error())}))
		for _, row := range drawn {
			l.in.Rows = append(l.in.Rows, Row{Number: row.Number, Plants: row.Plants, Missing: row.Absent()})
		}
		return
	}
	for _, s := range all {
		l.in.Rows = append(l.in.Rows, s.Row)
	}
	if total > maxPlaced {
		l.in.Notes = append(l.in.Notes, rowsTooMany.With(words.Args{"limit": maxPlaced}))
	}
	if total > maxPlaced || !counted {
		return
	}
	bearing := common(lines)
	l.in.Placed, l.in.Where, l.in.Surveyed = make(map[Plant]plane.XY, total), make(map[Plant]geo.Position, total), true
	for _, s := range all {
		s.eachPlant(func(p Plant, at plane.XY) {
			turned := plane.Turn(at, bearing)
			l.in.Placed[p], l.in.Where[p] = plane.XY{X: turned.Y, Y: turned.X}, frame.Position(at)
		})
	}
}

// common is the rows' mean bearing; rows drawn the other way count turned round.
func common(lines [][]plane.Line) geo.Degrees {
	var sum plane.XY
	for _, parts := range lines {
		for _, part := range parts {
			d := part[len(part)-1].Minus(part[0])
			if d.Dot(sum) < 0 {
				d = d.Times(-1)
			}
			sum = sum.Plus(d)
		}
	}
	return geo.Degrees(math.Atan2(sum.X, sum.Y) * 180 / math.Pi)
}

// stand is a row with the places of its plants.
type stand struct {
	Row
	placed blocks.Placed
}

// standOf counts a placed row's plants and finds where it is cut: where the next
// number stands on another part, or not a spacing on from the last.
func standOf(p blocks.Placed) stand {
	s := stand{Row: Row{Number: p.Row.Number, Plants: p.Row.Plants, Missing: unplanted(p)}, placed: p}
	for i, run := range p.Runs {
		s.Plants = max(s.Plants, run.Last())
		if i == 0 {
			continue
		}
		before := p.Runs[i-1]
		next := before.At + geo.Metres(run.From-before.From)*before.Spacing
		if run.Part != before.Part || math.Abs(float64(run.At-next)) > float64(run.Spacing+before.Spacing)/4 {
			s.Breaks = append(s.Breaks, run.From)
		}
	}
	return s
}

// unplanted gives the numbers without a plant; on a skipped strip that is all.
func unplanted(p blocks.Placed) []int {
	if !p.Row.Skipped {
		return p.Row.Absent()
	}
	most := p.Row.Plants
	for _, run := range p.Runs {
		most = max(most, run.Last())
	}
	all := make([]int, most)
	for i := range all {
		all[i] = i + 1
	}
	return all
}

// eachPlant calls f for every place of the row in order. A plant beyond the end
// of its line stands on the last edge drawn out.
func (s stand) eachPlant(f func(Plant, plane.XY)) {
	s.placed.Each(func(plant int, at plane.XY) { f(Plant{Row: s.Number, Plant: plant}, at) })
}

// day is the calendar day of a moment where it was written down, as dates are
// kept: midnight UTC.
func day(at time.Time) time.Time {
	return time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, time.UTC)
}
