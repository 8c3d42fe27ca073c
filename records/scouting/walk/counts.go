package walk

import (
	"cmp"
	"slices"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/scouting"
	"caneward/records/scouting/programme"
)

// Series is what one block's visits counted for one programme, by time.
type Series struct {
	Programme programme.Programme
	Counts    []PastCount
}

// PastCount is one count of a visit, weighed by the programme as it is now.
type PastCount struct {
	Visit  records.ID
	At     time.Time
	Answer programme.Answer
}

// CountsIn gathers a season's counts of a block, in the programmes' order;
// counts of no programme of these, and those that cannot be weighed, are in
// none: left says how many. fault.Missing when there is no such block.
func CountsIn(r records.Reader, block records.ID, season int, programmes []programme.Programme) (series []Series, left int, err error) {
	g, err := Load(r, block)
	if err != nil {
		return nil, 0, err
	}
	visits, err := visitsIn(r, g, season)
	if err != nil {
		return nil, 0, err
	}
	by := map[string][]PastCount{}
	for id, v := range visits {
		for _, c := range v.Counts {
			p, err := programme.Of(programmes, c.What)
			var a programme.Answer
			if err == nil {
				a, err = p.Weigh(c.Sampled, c.Hits)
			}
			if err != nil {
				left++
				continue
			}
			by[p.ID] = append(by[p.ID], PastCount{id, v.StartedAt, a})
		}
	}
	for _, p := range programmes {
		if counts := by[p.ID]; counts != nil {
			slices.SortFunc(counts, func(a, b PastCount) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Visit, b.Visit)) })
			series = append(series, Series{p, counts})
		}
	}
	return series, left, nil
}

// visitsIn are a block's visits of one season.
func visitsIn(r records.Reader, g Ground, season int) (map[records.ID]scouting.Visit, error) {
	return each(r, records.Visits, g.ID, func(rev records.Revision) (scouting.Visit, bool) {
		v, faults := scouting.ParseVisit(rev.Record.Geometry, rev.Record.Properties)
		return v, len(faults) == 0 && v.StartedAt.In(g.Zone).Year() == season
	})
}

// JSON is the series for a client: each count is an answer with its visit and
// time.
func (s Series) JSON(l words.Language) map[string]any {
	counts := []any{}
	for _, c := range s.Counts {
		one := c.Answer.JSON(l)
		one["visit"], one["at"] = c.Visit, c.At
		counts = append(counts, one)
	}
	return map[string]any{"programme": s.Programme.JSON(l), "counts": counts}
}

var countsHow = words.New("walk-counts-how",
	"Counts of this block's visits, each with its exact interval, weighed by the programme as it stands now. Lines between counts would say something nobody looked at; there are none.",
	"Conteos de las visitas de este bloque, cada uno con su intervalo exacto, valorados con el programa como está ahora. Unir los conteos con líneas diría algo que nadie revisó; no las hay.")

// CountsHow says how the series came about.
func CountsHow() words.Text { return countsHow.Plain() }
