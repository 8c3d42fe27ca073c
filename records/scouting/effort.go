package scouting

import (
	"cmp"
	"slices"

	"caneward/blocks"
)

// Span is plants of one row by number, both ends included.
type Span struct {
	From int `json:"from"`
	To   int `json:"to"`
}

// RowSeen is what was looked at of one row.
type RowSeen struct {
	Row     int    `json:"row"`
	Spans   []Span `json:"spans"`   // merged: ascending, none touching the next; none for a whole row nobody counted
	Plants  int    `json:"plants"`  // standing plants in the spans, each once
	Of      int    `json:"of"`      // standing plants of the row; 0 when not counted
	Whole   bool   `json:"whole"`   // every standing plant
	Missing []int  `json:"missing"` // numbers in the spans where no plant stands
}

// Effort is what a walk looked at: without it a find has no denominator.
type Effort struct {
	Seen    []RowSeen // by row
	NotSeen []int     // rows of the block no stretch names; skipped strips are no rows
	Plants  int       // standing plants looked at, each once
	Of      int       // standing plants of the block
	// Uncounted: a row that was looked at has no count of plants, so Plants is
	// too low.
	Uncounted bool
	// Twice is how many plants stood in more than one stretch.
	Twice int
}

// Look adds stretches up against a block's rows, each number once. Stretches
// of rows the block does not have count no plants. It takes time in step with
// the stretches and the rows' plants.
func Look(stretches []Stretch, rows []blocks.Row) Effort {
	byRow := map[int][]Span{}
	var e Effort
	known := map[int]blocks.Row{}
	for _, r := range rows {
		if !r.Skipped {
			known[r.Number] = r
		}
	}
	whole := func(number int) {
		last := MaxPlant
		if r, ok := known[number]; ok && r.Plants > 0 {
			last = r.Plants
		}
		byRow[number] = append(byRow[number], Span{1, last})
	}
	all := false // named as often as one likes, it is one look
	for _, s := range stretches {
		switch {
		case s.AllRows && all:
		case s.AllRows:
			all = true
			for number := range known {
				whole(number)
			}
		case s.To == 0:
			whole(s.Row)
		default:
			byRow[s.Row] = append(byRow[s.Row], Span{s.From, s.To})
		}
	}
	for number, spans := range byRow {
		row, twice := rowSeen(number, known[number], spans)
		e.Seen = append(e.Seen, row)
		e.Plants += row.Plants
		e.Twice += twice
		e.Uncounted = e.Uncounted || row.Of == 0
	}
	slices.SortFunc(e.Seen, func(a, b RowSeen) int { return cmp.Compare(a.Row, b.Row) })
	for _, r := range rows {
		if r.Skipped {
			continue
		}
		e.Of += r.Standing()
		if byRow[r.Number] == nil && r.Standing() > 0 {
			e.NotSeen = append(e.NotSeen, r.Number)
		}
	}
	slices.Sort(e.NotSeen)
	return e
}

// Merge puts spans together that overlap or touch.
func Merge(spans []Span) []Span {
	sorted := slices.Clone(spans)
	slices.SortFunc(sorted, func(a, b Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	out := sorted[:0]
	for _, s := range sorted {
		if n := len(out); n > 0 && s.From <= out[n-1].To+1 {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return slices.Clip(out)
}

func rowSeen(number int, r blocks.Row, spans []Span) (seen RowSeen, twice int) {
	seen = RowSeen{Row: number, Of: r.Standing(), Missing: []int{}}
	named := 0
	for i := range spans {
		if r.Plants > 0 {
			spans[i].To = min(spans[i].To, r.Plants)
		}
		named += max(0, spans[i].To-spans[i].From+1)
	}
	spans = slices.DeleteFunc(spans, func(s Span) bool { return s.To < s.From })
	seen.Spans = Merge(spans)
	covered := 0
	for _, s := range seen.Spans {
		covered += s.To - s.From + 1
	}
	if r.Plants == 0 {
		if n := len(seen.Spans); n > 0 && seen.Spans[n-1].To == MaxPlant {
			seen.Spans, seen.Whole = []Span{}, true
		}
		return seen, 0
	}
	for _, n := range r.Absent() {
		if within(seen.Spans, n) {
			seen.Missing = append(seen.Missing, n)
		}
	}
	seen.Plants = covered - len(seen.Missing)
	seen.Whole = seen.Plants == seen.Of
	return seen, named - covered
}

func within(spans []Span, n int) bool {
	i, found := slices.BinarySearchFunc(spans, n, func(s Span, n int) int { return cmp.Compare(s.From, n) })
	return found || i > 0 && spans[i-1].To >= n
}

// Saw is whether the walk looked at a plant.
func (e Effort) Saw(row, plant int) bool {
	i, found := slices.BinarySearchFunc(e.Seen, row, func(s RowSeen, n int) int { return cmp.Compare(s.Row, n) })
	return found && within(e.Seen[i].Spans, plant)
}
