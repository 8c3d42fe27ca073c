package walk

import (
	"cmp"
	"context"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"caneward/blocks/address"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/records/scouting"
)

// How a track becomes a proposal.
const (
	// MaxFixes bounds a track: five hours at a fix a second.
	MaxFixes = 20_000
	// leastChance is the chance from which on a fix speaks for a row. In an alley
	// the rows on both sides have about a half each: both were looked at.
	leastChance = 0.25
	// joined is how far two fixes may lie apart and the plants between them still
	// count as passed: half a minute of walking.
	joined geo.Metres = 30
	// leastPlants drops stretches that come from crossing a headland.
	leastPlants = 3
	// around is how many places near a fix are searched for the row's own.
	around = 200
)

var (
	tooManyFixes  = words.New("walk-too-many-fixes", "A track of at most {most} fixes is read; this has {count}.", "Se lee una traza de {most} posiciones como máximo; esta tiene {count}.")
	noRowsToMatch = words.New("walk-no-rows", "This block has no drawn rows to hold the track against.", "Este bloque no tiene hileras trazadas con que comparar la traza.")
	badAccuracy   = words.New("walk-bad-accuracy", "accuracy_m is the radius the phone gave, from {low} to {high} m.", "accuracy_m es el radio que dio el teléfono, de {low} a {high} m.")
	walkedHow     = words.New("walk-walked-how",
		"A fix speaks for a row from a chance of {percent} % on; in an alley that is both sides. Plants between two fixes at most {metres} m apart count as passed; stretches of fewer than {plants} plants are left out. A proposal: nothing is stored until somebody confirms what was looked at. {model}",
		"Una posición habla por una hilera desde una probabilidad de {percent} %; en una calle son ambos lados. Las plantas entre dos posiciones a {metres} m como máximo cuentan como pasadas; se omiten tramos de menos de {plants} plantas. Es una propuesta: nada se guarda hasta que alguien confirme lo que revisó. {model}")
)

// Proposal is what a track says may have been looked at.
type Proposal struct {
	Inspected []scouting.Stretch // by row, merged
	Rows      []Passed           // by row
	Unplaced  int                // fixes that speak for no row
	Fixes     int
	How       words.Text
}

// Passed is how sure one row is.
type Passed struct {
	Row    int
	Chance float64 // mean over the fixes that speak for it
	Fixes  int
	Plants int // places in its stretches
}

// Walked proposes what was looked at from a recorded walk; accuracy is the
// radius of the fixes. It never says more than the fixes do, and nothing of it
// is stored. fault.Invalid without drawn rows or with an accuracy that is none,
// fault.TooCostly over MaxFixes; the context's error.
func (g Ground) Walked(ctx context.Context, track orb.MultiLineString, accuracy geo.Metres) (Proposal, error) {
	fixes := 0
	for _, part := range track {
		fixes += len(part)
	}
	if fixes > MaxFixes {
		return Proposal{}, fault.New(fault.TooCostly, tooManyFixes.With(words.Args{"most": MaxFixes, "count": fixes}))
	}
	if !(accuracy >= address.LeastAccuracy && accuracy <= address.GreatestAccuracy) {
		return Proposal{}, refuse("accuracy_m", badAccuracy.With(words.Args{"low": float64(address.LeastAccuracy), "high": float64(address.GreatestAccuracy)}))
	}
	index, err := address.New(g.Rows, address.Spacings{Row: g.RowSpacing, Plant: g.PlantSpacing})
	if err != nil {
		return Proposal{}, err
	}
	if index.Places() == 0 {
		return Proposal{}, refuse("block", noRowsToMatch.Plain())
	}
	a := address.Accuracy(accuracy)
	m := matcher{index: index, accuracy: a, rows: map[int]*passing{}}
	for _, part := range track {
		m.last = nil
		for _, at := range part {
			if err := ctx.Err(); err != nil {
				return Proposal{}, err
			}
			m.fix(at)
		}
	}
	p := m.proposal()
	p.Fixes = fixes
	p.How = walkedHow.With(words.Args{"percent": 100 * leastChance, "metres": float64(joined), "plants": leastPlants, "model": a.Model()})
	return p, nil
}

type passing struct {
	spans  []scouting.Span
	chance float64
	fixes  int
}

type matcher struct {
	index    *address.Index
	accuracy address.Accuracy
	rows     map[int]*passing
	before   geo.Position
	last     map[int]int // the plant each row had at the fix before
	unplaced int
}

func (m *matcher) fix(at geo.Position) {
	near := map[int]float64{}
	for _, c := range m.index.Chances(at, m.accuracy).Rows {
		if c.P >= leastChance {
			near[c.Row] = c.P
		}
	}
	now := map[int]int{}
	if len(near) > 0 {
		for _, h := range m.index.Nearest(at, around) {
			if _, named := now[h.Row]; !named && near[h.Row] > 0 {
				now[h.Row] = h.Plant
			}
		}
	}
	if len(now) == 0 {
		m.unplaced++
	}
	step := geo.Metres(math.Inf(1))
	if m.last != nil {
		step = measure.Distance(m.before, at)
	}
	for row, plant := range now {
		p := m.rows[row]
		if p == nil {
			p = &passing{}
			m.rows[row] = p
		}
		p.chance += near[row]
		p.fixes++
		span := scouting.Span{From: plant, To: plant}
		if before, ok := m.last[row]; ok && step <= joined {
			span = scouting.Span{From: min(before, plant), To: max(before, plant)}
		}
		p.spans = append(p.spans, span)
	}
	m.before, m.last = at, now
}

func (m *matcher) proposal() Proposal {
	out := Proposal{Unplaced: m.unplaced}
	for number, p := range m.rows {
		row, _ := m.index.Row(number)
		passed := Passed{Row: number, Chance: p.chance / float64(p.fixes), Fixes: p.fixes}
		for _, s := range scouting.Merge(p.spans) {
			n := s.To - s.From + 1
			if n < min(leastPlants, max(row.Plants, 1)) {
				continue
			}
			passed.Plants += n
			out.Inspected = append(out.Inspected, scouting.Stretch{Row: number, From: s.From, To: s.To})
		}
		if passed.Plants > 0 {
			out.Rows = append(out.Rows, passed)
		}
	}
	slices.SortFunc(out.Inspected, func(a, b scouting.Stretch) int {
		return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.From, b.From))
	})
	slices.SortFunc(out.Rows, func(a, b Passed) int { return cmp.Compare(a.Row, b.Row) })
	return out
}

// JSON is the proposal for a client: inspected as a visit takes it.
func (p Proposal) JSON(l words.Language) map[string]any {
	type stretch struct {
		Row  int `json:"row"`
		From int `json:"from"`
		To   int `json:"to"`
	}
	inspected, rows := []stretch{}, []any{}
	for _, s := range p.Inspected {
		inspected = append(inspected, stretch{s.Row, s.From, s.To})
	}
	for _, r := range p.Rows {
		rows = append(rows, map[string]any{"row": r.Row, "chance": r.Chance, "fixes": r.Fixes, "plants": r.Plants})
	}
	return map[string]any{"inspected": inspected, "rows": rows, "fixes": p.Fixes, "unplaced": p.Unplaced, "stored": false, "how": p.How.In(l)}
}
