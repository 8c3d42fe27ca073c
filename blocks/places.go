package blocks

import (
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"
)

// exactFit is how much a length may fall short of a whole number of spacings
// and still reach it, as rows are laid out: a tape is not read closer.
const exactFit geo.Metres = 0.001

// Placed is a row in a frame: the one way from a plant's number to its place.
type Placed struct {
	Row   Row
	Lines []plane.Line // the parts
	Runs  []Run        // every place, ascending by number; none when neither spacing nor count is known
	ways  [][]geo.Metres
}

// FirstEnd is the end of the row its plants are counted from, and the bearing in
// the frame that leads off the row there. A row has a part.
func (p Placed) FirstEnd() (plane.XY, geo.Degrees) {
	line := p.Lines[0]
	at, next := line[0], line[len(line)-1]
	if len(p.Runs) > 0 && p.Runs[0].Spacing < 0 {
		at, next = next, at
	}
	return at, geo.Degrees(math.Atan2(at.X-next.X, at.Y-next.Y) * 180 / math.Pi)
}

// Place puts a row into a frame. Where the row does not say its places, the
// rule of layouts holds: each part anew at its first end, the block's spacing
// apart, numbers running on over the parts. A count that differs by more than
// one from what fits was made in the field: it is believed, and its plants
// stand evenly from end to end of each part, shared out by length. Errors:
// those of the frame, for a line it cannot reach or that is none.
func (r Row) Place(frame plane.Frame, blockSpacing geo.Metres) (Placed, error) {
	lines, err := frame.Lines(r.Parts)
	if err != nil {
		return Placed{}, err
	}
	p := Placed{Row: r, Lines: lines, ways: make([][]geo.Metres, len(lines))}
	for i, l := range lines {
		p.ways[i] = make([]geo.Metres, len(l))
		for k := 1; k < len(l); k++ {
			p.ways[i][k] = p.ways[i][k-1] + l[k-1].Distance(l[k])
		}
	}
	p.Runs = r.Places
	// A strip left unplanted has places only where the row says or counts them.
	if p.Runs == nil && !(r.Skipped && r.Plants == 0) {
		p.Runs = p.rule(blockSpacing)
	}
	p.Runs = r.withoutGone(p.Runs)
	return p, nil
}

// withoutGone takes places given up out of the runs.
func (r Row) withoutGone(runs []Run) []Run {
	if len(r.Gone) == 0 {
		return runs
	}
	var out []Run
	for _, run := range runs {
		for _, g := range r.Gone {
			if g.Plant < run.From || g.Plant > run.Last() {
				continue
			}
			n := g.Plant - run.From
			if n > 0 {
				head := run
				head.Plants = n
				out = append(out, head)
			}
			run.From, run.Plants, run.At = g.Plant+1, run.Plants-n-1, run.At+geo.Metres(n+1)*run.Spacing
		}
		if run.Plants > 0 {
			out = append(out, run)
		}
	}
	return out
}

// Length is how long a part is.
func (p Placed) Length(part int) geo.Metres { return p.ways[part-1][len(p.ways[part-1])-1] }

func (p Placed) rule(spacing geo.Metres) []Run {
	count, fit := p.Row.Plants, 0
	runs := make([]Run, 0, len(p.Lines))
	if spacing > 0 {
		for i := range p.Lines {
			n := min(int(math.Floor(float64((p.Length(i+1)+exactFit)/spacing)))+1, MaxPlants)
			runs = append(runs, Run{From: fit + 1, Plants: n, Part: i + 1, Spacing: spacing})
			fit += n
		}
	}
	switch {
	case count == 0 || count == fit:
		return runs
	case spacing > 0 && count == fit+1, spacing > 0 && count == fit-1:
		last := &runs[len(runs)-1]
		if last.Plants += count - fit; last.Plants == 0 {
			runs = runs[:len(runs)-1]
		}
		return runs
	}
	return p.spread(count)
}

// spread stands a counted number of plants evenly.
func (p Placed) spread(count int) []Run {
	total := geo.Metres(0)
	for i := range p.Lines {
		total += p.Length(i + 1)
	}
	var runs []Run
	next, left := 1, count
	for i := range p.Lines {
		n := left
		if i < len(p.Lines)-1 {
			n = min(left, int(math.Round(float64(count)*float64(p.Length(i+1)/total))))
		}
		if n > 0 {
			run := Run{From: next, Plants: n, Part: i + 1}
			if n > 1 {
				run.Spacing = p.Length(i+1) / geo.Metres(n-1)
			} else {
				run.At = p.Length(i+1) / 2
			}
			runs = append(runs, run)
		}
		next, left = next+n, left-n
	}
	return runs
}

// Find is where a number stands: its part, from 1, and how far along it; false
// when the row has no such place.
func (p Placed) Find(plant int) (part int, along geo.Metres, ok bool) {
	i, found := slices.BinarySearchFunc(p.Runs, plant, func(run Run, n int) int { return run.From - n })
	if !found {
		if i--; i < 0 || p.Runs[i].Last() < plant {
			return 0, 0, false
		}
	}
	run := p.Runs[i]
	return run.Part, run.At + geo.Metres(plant-run.From)*run.Spacing, true
}

// XY is where a number stands in the frame; false when the row has no such place.
func (p Placed) XY(plant int) (plane.XY, bool) {
	part, along, ok := p.Find(plant)
	if !ok {
		return plane.XY{}, false
	}
	return p.Along(part, along), true
}

// Along is the point so many metres along a part; past an end, on the last
// edge drawn out.
func (p Placed) Along(part int, along geo.Metres) plane.XY {
	ways, line := p.ways[part-1], p.Lines[part-1]
	k, _ := slices.BinarySearch(ways, along)
	k = min(max(k, 1), len(line)-1)
	a, b, length := line[k-1], line[k], ways[k]-ways[k-1]
	if length <= 0 {
		return a
	}
	return a.Plus(b.Minus(a).Times(float64((along - ways[k-1]) / length)))
}

// Each visits every place in order of number, also those without a plant.
func (p Placed) Each(visit func(plant int, at plane.XY)) {
	for _, run := range p.Runs {
		for n := range run.Plants {
			visit(run.From+n, p.Along(run.Part, run.At+geo.Metres(n)*run.Spacing))
		}
	}
}

// At is where a plant stands; false when the row has no such place, or its line
// is none. For many plants Place once and ask XY: this makes a frame each time.
// Lines run straight in the frame, so a place lies within 1 mm along the row of
// where a tape would put it for rows up to 1 km.
func (r Row) At(plant int, blockSpacing geo.Metres) (geo.Position, bool) {
	if len(r.Parts) == 0 {
		return geo.Position{}, false
	}
	frame, err := plane.FrameOf(r.Parts)
	if err != nil {
		return geo.Position{}, false
	}
	placed, err := r.Place(frame, blockSpacing)
	if err != nil {
		return geo.Position{}, false
	}
	xy, ok := placed.XY(plant)
	if !ok {
		return geo.Position{}, false
	}
	return frame.Position(xy), true
}

// Numbers gives every number that has a place, ascending, those without a plant
// included; nil when neither spacing nor count is known or the line is none.
func (r Row) Numbers(blockSpacing geo.Metres) []int {
	if len(r.Parts) == 0 {
		return nil
	}
	frame, err := plane.FrameOf(r.Parts)
	if err != nil {
		return nil
	}
	placed, err := r.Place(frame, blockSpacing)
	if err != nil {
		return nil
	}
	var out []int
	for _, run := range placed.Runs {
		for n := range run.Plants {
			out = append(out, run.From+n)
		}
	}
	return out
}
