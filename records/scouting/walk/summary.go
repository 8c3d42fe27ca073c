package walk

import (
	"cmp"
	"slices"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/scouting"
	"caneward/records/scouting/programme"
)

// Summary is one visit read back: what was looked at, what was not, what was
// found. A visit that found nothing is as good a record as any.
type Summary struct {
	Ground
	Visit  records.ID
	Walk   scouting.Visit
	Effort scouting.Effort
	Finds  []FoundCause
	Unsaid []Unsaid
	Counts []Counted
	Found  int // finds of the visit
}

// FoundCause is the finds of one cause.
type FoundCause struct {
	Cause  scouting.Cause
	Finds  int
	Plants int // each once; finds without a plant are not among them
	States map[scouting.State]int
	Again  int // on plants that had one of this cause before the visit
}

// Unsaid is a find whose words mean more than one thing.
type Unsaid struct {
	Find   records.ID
	Words  string
	Naming scouting.Naming
}

// Counted is one of the visit's counts. Answer is nil where its words are no
// programme's id, or it cannot be weighed.
type Counted struct {
	scouting.Count
	Answer *programme.Answer
}

// Summarise reads a visit; fault.Missing.
func Summarise(r records.Reader, id records.ID, programmes []programme.Programme) (Summary, error) {
	rev, err := r.Current(records.Visits, id)
	if err != nil {
		return Summary{}, err
	}
	visit, _ := scouting.ParseVisit(rev.Record.Geometry, rev.Record.Properties)
	g, episodes, _, err := Episodes(r, visit.Block)
	if err != nil {
		return Summary{}, err
	}
	s := Summary{Ground: g, Visit: id, Walk: visit, Effort: scouting.Look(visit.Inspected, g.Rows)}
	finds, err := findsOf(r, visit.Block)
	if err != nil {
		return Summary{}, err
	}
	s.gather(finds, episodes)
	for _, c := range visit.Counts {
		one := Counted{Count: c}
		if p, err := programme.Of(programmes, c.What); err == nil {
			if a, err := p.Weigh(c.Sampled, c.Hits); err == nil {
				one.Answer = &a
			}
		}
		s.Counts = append(s.Counts, one)
	}
	return s, nil
}

func (s *Summary) gather(finds map[records.ID]scouting.Find, episodes []scouting.Episode) {
	again := map[records.ID]bool{}
	for _, e := range episodes {
		earlier := false
		for _, f := range e.Finds {
			again[f.ID] = earlier
			earlier = earlier || f.Find.Visit != s.Visit
		}
	}
	by := map[scouting.Cause]*FoundCause{}
	plants := map[scouting.Cause]map[scouting.Place]bool{}
	for id, f := range finds {
		if f.Visit != s.Visit {
			continue
		}
		s.Found++
		c := by[f.Cause]
		if c == nil {
			c = &FoundCause{Cause: f.Cause, States: map[scouting.State]int{}}
			by[f.Cause], plants[f.Cause] = c, map[scouting.Place]bool{}
		}
		c.Finds++
		c.States[f.State]++
		if again[id] {
			c.Again++
		}
		if f.Row > 0 && f.Plant > 0 {
			plants[f.Cause][scouting.Place{Row: f.Row, Plant: f.Plant}] = true
			c.Plants = len(plants[f.Cause])
		}
		if f.NeedsNaming() {
			s.Unsaid = append(s.Unsaid, Unsaid{id, f.Words, scouting.Name(f.Words)})
		}
	}
	for _, cause := range scouting.Causes {
		if c := by[cause]; c != nil {
			s.Finds = append(s.Finds, *c)
		}
	}
	slices.SortFunc(s.Unsaid, func(a, b Unsaid) int { return cmp.Compare(a.Find, b.Find) })
}

func sortIDs(ids []records.ID) { slices.Sort(ids) }

var (
	sawRows    = words.New("walk-saw-rows", "{seen} of {of} rows looked at, {plants} of {all} plants.", "{seen} de {of} hileras revisadas, {plants} de {all} plantas.")
	sawNothing = words.New("walk-saw-nothing", "Nothing is entered as looked at: finds have no denominator.", "No hay nada anotado como revisado: los hallazgos no tienen denominador.")
	notSeen    = words.New("walk-not-seen", "Not looked at: rows {rows}.", "Sin revisar: hileras {rows}.")
	allSeen    = words.New("walk-all-seen", "Every row was looked at.", "Se revisaron todas las hileras.")
	nothing    = words.New("walk-nothing-found", "Nothing found: that is a record too.", "Nada encontrado: eso también es un registro.")
	foundLine  = words.New("walk-found", "Looked like {cause}: {finds} find(s) on {plants} plant(s), {again} of them again.", "Parecía {cause}: {finds} hallazgo(s) en {plants} planta(s), {again} de ellos otra vez.")
	uncounted  = words.New("walk-uncounted", "Some of these rows have no count of plants: the sum is too low.", "Algunas de estas hileras no tienen plantas contadas: la suma queda corta.")
)

// Says tells the visit in sentences, rows not seen by their numbers.
func (s Summary) Says() (lines []words.Text) {
	whole := len(s.Effort.Seen) + len(s.Effort.NotSeen)
	switch {
	case len(s.Effort.Seen) == 0:
		lines = append(lines, sawNothing.Plain())
	default:
		lines = append(lines, sawRows.With(words.Args{"seen": len(s.Effort.Seen), "of": whole, "plants": s.Effort.Plants, "all": s.Effort.Of}))
	}
	if len(s.Effort.NotSeen) > 0 {
		lines = append(lines, notSeen.With(words.Args{"rows": Numbers(s.Effort.NotSeen)}))
	} else if len(s.Effort.Seen) > 0 {
		lines = append(lines, allSeen.Plain())
	}
	if s.Effort.Uncounted {
		lines = append(lines, uncounted.Plain())
	}
	if s.Found == 0 {
		lines = append(lines, nothing.Plain())
	}
	for _, c := range s.Finds {
		lines = append(lines, foundLine.With(words.Args{"cause": scouting.CauseName(c.Cause), "finds": c.Finds, "plants": c.Plants, "again": c.Again}))
	}
	return lines
}

// JSON is the summary for a client.
func (s Summary) JSON(l words.Language) map[string]any {
	causes, unsaid, counts := []any{}, []any{}, []any{}
	for _, c := range s.Finds {
		causes = append(causes, map[string]any{"cause": c.Cause, "name": scouting.CauseName(c.Cause).In(l), "finds": c.Finds, "plants": c.Plants, "states": c.States, "again": c.Again})
	}
	for _, u := range s.Unsaid {
		var which []scouting.Cause
		for _, c := range u.Naming.Candidates {
			which = append(which, c.Cause)
		}
		unsaid = append(unsaid, map[string]any{"find": u.Find, "words": u.Words, "question": u.Naming.Question.In(l), "causes": which})
	}
	for _, c := range s.Counts {
		one := map[string]any{"what": c.What, "sampled": c.Sampled, "hits": c.Hits, "answer": nil}
		if c.Answer != nil {
			one["answer"] = c.Answer.JSON(l)
		}
		counts = append(counts, one)
	}
	says := []string{}
	for _, line := range s.Says() {
		says = append(says, line.In(l))
	}
	m := map[string]any{"visit": s.Visit, "block": s.ID, "name": s.Name, "state": s.Walk.State, "started_at": s.Walk.StartedAt, "ended_at": nil, "minutes": nil,
		"rows_seen": orNone(s.Effort.Seen), "rows_not_seen": orNone(s.Effort.NotSeen), "plants": s.Effort.Plants, "of": s.Effort.Of, "twice": s.Effort.Twice, "uncounted": s.Effort.Uncounted,
		"found": s.Found, "causes": causes, "unsaid": unsaid, "counts": counts, "says": says}
	if !s.Walk.EndedAt.IsZero() {
		m["ended_at"] = s.Walk.EndedAt
	}
	if d, ok := s.Walk.Walked(); ok {
		m["minutes"] = d.Minutes()
	}
	return m
}

func orNone[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
