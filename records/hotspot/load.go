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
	"caneward/records/scouting"
)

// Bounds of what is drawn and walked; a block of 40 hectares holds fewer.
const (
	maxPlaced    = 300_000
	maxInspected = 500_000
)

// exactFit is how much a row may fall short of a whole number of spacings and
// still hold the last plant (as in blocks/layout): a tape is not read closer.
const exactFit geo.Metres = 0.001

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
	rowsTooMany = words.New("hotspot-rows-too-many",
		"The rows hold more than {limit} plants: distances follow row and plant numbers, not the drawn rows.",
		"Las hileras tienen más de {limit} plantas: las distancias siguen los números de hilera y planta, no las hileras dibujadas.")
)

// Load gathers one block's rows, finds, visits and removals, all as they are
// now. Records that cannot be read are named among the notes. fault.Missing
// when there is no such block; the reader's own errors otherwise. It keeps
// nothing of the reader, so that the analysis can go on without it.
func Load(r records.Reader, q Request) (Input, error) {
	block, err := r.Current(records.Blocks, q.Block)
	if err != nil {
		return Input{}, err
	}
	b, _ := blocks.Parse(block.Record.Geometry, block.Record.Properties)
	l := loader{reader: r, block: q.Block, in: Input{RowSpacing: b.RowSpacing, PlantSpacing: b.PlantSpacing}}
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
	in     Input
}

// each reads the block's records of a kind; read tells whether one was good.
func (l *loader) each(kind records.Kind, read func(records.Revision) bool) error {
	page, err := l.reader.List(kind, records.Query{Equal: map[string]string{"block": string(l.block)}})
	if err != nil {
		return err
	}
	bad, first := 0, records.ID("")
	for _, rev := range page.Revisions {
		if !read(rev) {
			if bad++; bad == 1 {
				first = rev.ID
			}
		}
	}
	if bad > 0 {
		l.in.Notes = append(l.in.Notes, unreadable.With(words.Args{"count": bad, "kind": string(kind), "id": string(first)}))
	}
	return nil
}

func (l *loader) rows() error {
	var drawn []blocks.Row
	seen := map[int]bool{}
	err := l.each(records.Rows, func(rev records.Revision) bool {
		row, faults := blocks.ParseRow(rev.Record.Geometry, rev.Record.Properties)
		switch {
		case len(faults) > 0:
			return false
		case seen[row.Number]:
			l.in.Notes = append(l.in.Notes, rowTwice.With(words.Args{"row": row.Number}))
		default:
			seen[row.Number] = true
			drawn = append(drawn, row)
		}
		return true
	})
	if err != nil {
		return err
	}
	slices.SortFunc(drawn, func(a, b blocks.Row) int { return cmp.Compare(a.Number, b.Number) })
	l.place(drawn)
	return nil
}

func (l *loader) finds() error {
	return l.each(records.Finds, func(rev records.Revision) bool {
		f, faults := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) == 0 {
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
		for _, s := range v.Inspected {
			e.add(s)
		}
		return true
	})
	l.in.Inspected, l.in.NoEffort = e.plants()
	return err
}

func (l *loader) removals() error {
	return l.each(records.Removals, func(rev records.Revision) bool {
		m, faults := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 {
			return false
		}
		if m.DoneOn.IsZero() {
			return true
		}
		for _, p := range m.Plants {
			l.in.Removed = append(l.in.Removed, Removal{Plant: p, On: m.DoneOn})
		}
		return true
	})
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
	for i := range drawn {
		if err == nil {
			lines[i], err = frame.Lines(shapes[i])
		}
	}
	if err != nil {
		l.in.Notes = append(l.in.Notes, rowsNotPlaced.With(words.Args{"problem": words.Verbatim(err.Error())}))
		for _, row := range drawn {
			l.in.Rows = append(l.in.Rows, Row{Number: row.Number, Plants: row.Plants, Missing: row.Missing})
		}
		return
	}
	all := make([]stand, len(drawn))
	total, counted := 0, true
	for i, row := range drawn {
		all[i] = standOf(row, lines[i], l.in.PlantSpacing)
		l.in.Rows = append(l.in.Rows, all[i].Row)
		counted = counted && all[i].Plants > 0
		total += all[i].Plants
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
	parts []stretch
}

// stretch is one part of a row: plants from number first on, step apart.
type stretch struct {
	line   plane.Line
	first  int
	plants int
	step   geo.Metres
}

// standOf places a row's plants: one at the start of each part and at each
// spacing from there, numbers running on. A count that differs by more than one
// from what the spacing gives is believed, and its plants spread evenly.
func standOf(row blocks.Row, lines []plane.Line, spacing geo.Metres) stand {
	s := stand{Row: Row{Number: row.Number, Plants: row.Plants, Missing: row.Missing}}
	length, fit := geo.Metres(0), 0
	for _, line := range lines {
		length += line.Length()
		if spacing > 0 {
			fit += int(math.Floor(float64((line.Length()+exactFit)/spacing))) + 1
		}
	}
	if s.Plants == 0 {
		s.Plants = fit
	}
	even := spacing <= 0 || max(s.Plants-fit, fit-s.Plants) > 1
	next, left := 1, s.Plants
	for i, line := range lines {
		p := stretch{line: line, first: next, step: spacing, plants: left}
		switch {
		case even && i < len(lines)-1:
			p.plants = min(left, int(math.Round(float64(s.Plants)*float64(line.Length()/length))))
		case i < len(lines)-1:
			p.plants = min(left, int(math.Floor(float64((line.Length()+exactFit)/spacing)))+1)
		}
		if even {
			p.step = line.Length() / geo.Metres(max(1, p.plants-1))
		}
		if i > 0 && p.plants > 0 {
			s.Breaks = append(s.Breaks, next)
		}
		next, left = next+p.plants, left-p.plants
		s.parts = append(s.parts, p)
	}
	return s
}

// eachPlant calls f for every place of the row in order. A plant beyond the end
// of its line stands on the last edge drawn out.
func (s stand) eachPlant(f func(Plant, plane.XY)) {
	for _, p := range s.parts {
		edge, start := 0, geo.Metres(0)
		for n := range p.plants {
			at := geo.Metres(n) * p.step
			for edge < len(p.line)-2 && at > start+p.line[edge].Distance(p.line[edge+1]) {
				start += p.line[edge].Distance(p.line[edge+1])
				edge++
			}
			a, b := p.line[edge], p.line[edge+1]
			f(Plant{Row: s.Number, Plant: p.first + n}, a.Plus(b.Minus(a).Times(float64((at-start)/a.Distance(b)))))
		}
	}
}

// day is the calendar day of a moment where it was written down, as dates are
// kept: midnight UTC.
func day(at time.Time) time.Time {
	return time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, time.UTC)
}
