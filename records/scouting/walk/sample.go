// Package walk plans and reads back walks through a block: where to stop, which
// rows a track went along, what a visit looked at and found, which plants to
// look at again, and the slip that goes with a sample.
package walk

import (
	"math/bits"
	"slices"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records/scouting"
)

// Kind is how stops are chosen.
type Kind string

// The kinds.
const (
	// Random: every set of plants of that size is as likely as any other.
	Random Kind = "random"
	// Spread: the plants in walking order are cut into as many equal shares as
	// there are stops; the place in the first share is drawn, and the stop in
	// every other share is as far on. Each plant is as likely as any other.
	Spread Kind = "spread"
)

// Kinds lists both.
var Kinds = []Kind{Random, Spread}

// Bounds of a walk. Seeds above MaxSeed would not survive JSON in a browser.
const (
	MaxStops = scouting.MaxPlannedStops
	MaxSeed  = 1<<53 - 1
)

// Stop is one plant to look at.
type Stop struct {
	scouting.Place
	At *geo.Position // nil where the rows are not drawn to where it stands
}

var (
	badStops = words.New("walk-bad-stops", "stops is a whole number from 1 to {most}.", "stops es un número entero de 1 a {most}.")
	fewer    = words.New("walk-fewer-plants", "{stops} stops were asked for; the block has {plants} plants that stand.", "Se pidieron {stops} paradas; el bloque tiene {plants} plantas en pie.")
	noPlants = words.New("walk-no-plants", "No plants are known in this block: its rows are not laid out, or not counted.", "No se conocen plantas en este bloque: sus hileras no están trazadas, o no contadas.")
	tooLarge = words.New("walk-too-large", "A walk is drawn from at most {most} plants.", "Un recorrido se sortea entre {most} plantas como máximo.")
)

// maxPlants bounds one block, as elsewhere.
const maxPlants = 2_000_000

// SplitMix is the generator SplitMix64 (G. L. Steele, D. Lea and C. H. Flood,
// OOPSLA 2014): the same seed gives the same numbers in any language on any
// machine. It is no secret and no cipher.
type SplitMix struct{ State uint64 }

// Next is the next 64 bits.
func (g *SplitMix) Next() uint64 {
	g.State += 0x9e3779b97f4a7c15
	z := g.State
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// Below is a number from 0 to n-1, each as likely: the high half of the
// 128-bit product of n and Next, drawn again where its low half is below
// 2^64 mod n (D. Lemire, ACM TOMACS 29:1, 2019). n must not be 0.
func (g *SplitMix) Below(n uint64) uint64 {
	high, low := bits.Mul64(g.Next(), n)
	for reject := -n % n; low < reject; {
		high, low = bits.Mul64(g.Next(), n)
	}
	return high
}

// Living lists the plants that stand in walking order: along the first row, back
// along the next. Skipped strips and rows nobody counted hold none.
func Living(rows []blocks.Row) []scouting.Place {
	sorted := slices.Clone(rows)
	slices.SortStableFunc(sorted, func(a, b blocks.Row) int { return a.Number - b.Number })
	var all []scouting.Place
	back := false
	for _, r := range sorted {
		if r.Standing() == 0 {
			continue
		}
		from := len(all)
		absent := r.Absent()
		for n, i := 1, 0; n <= r.Plants; n++ {
			if i < len(absent) && absent[i] == n {
				i++
				continue
			}
			all = append(all, scouting.Place{Row: r.Number, Plant: n})
		}
		if back {
			slices.Reverse(all[from:])
		}
		back = !back
	}
	return all
}

// Draw chooses stops among the living plants, in walking order. fault.Invalid
// where there are not as many plants.
func Draw(living []scouting.Place, stops int, kind Kind, seed uint64) ([]scouting.Place, error) {
	switch {
	case stops < 1 || stops > MaxStops:
		return nil, refuse("stops", badStops.With(words.Args{"most": MaxStops}))
	case len(living) == 0:
		return nil, refuse("block", noPlants.Plain())
	case len(living) > maxPlants:
		return nil, refuse("block", tooLarge.With(words.Args{"most": maxPlants}))
	case stops > len(living):
		return nil, refuse("stops", fewer.With(words.Args{"stops": stops, "plants": len(living)}))
	}
	g := &SplitMix{State: seed}
	var chosen []int
	if kind == Spread {
		chosen = spread(g, len(living), stops)
	} else {
		chosen = sample(g, len(living), stops)
	}
	out := make([]scouting.Place, len(chosen))
	for i, c := range chosen {
		out[i] = living[c]
	}
	return out, nil
}

func refuse(field string, text words.Text) error {
	return fault.New(fault.Invalid, text, fault.Detail{Field: field, Text: text})
}

// sample is the first k of a Fisher-Yates shuffle of n places, ascending; only
// the places it touches are kept.
func sample(g *SplitMix, n, k int) []int {
	moved := map[int]int{}
	at := func(i int) int {
		if v, ok := moved[i]; ok {
			return v
		}
		return i
	}
	out := make([]int, k)
	for i := range k {
		j := i + int(g.Below(uint64(n-i)))
		out[i] = at(j)
		moved[j] = at(i)
	}
	slices.Sort(out)
	return out
}

// spread takes the plants numbered start, start+n, start+2n and so on, divided
// by k and rounded down, with start drawn from 0 to n-1: steps of n/k plants
// without rounding them.
func spread(g *SplitMix, n, k int) []int {
	start := int(g.Below(uint64(n)))
	out := make([]int, k)
	for i := range k {
		out[i] = (start + i*n) / k
	}
	return out
}

// Located gives stops their positions where the rows are drawn.
func Located(places []scouting.Place, rows []blocks.Row, spacing geo.Metres) []Stop {
	stops := make([]Stop, len(places))
	byRow := map[int]blocks.Row{}
	for _, r := range rows {
		byRow[r.Number] = r
	}
	type placed struct {
		frame plane.Frame
		blocks.Placed
		ok bool
	}
	known := map[int]placed{}
	for i, p := range places {
		stops[i].Place = p
		row, there := known[p.Row]
		if !there {
			frame, err := plane.FrameOf(byRow[p.Row].Parts)
			if err == nil {
				row.frame = frame
				row.Placed, err = byRow[p.Row].Place(frame, spacing)
			}
			row.ok = err == nil
			known[p.Row] = row
		}
		if !row.ok {
			continue
		}
		if xy, ok := row.XY(p.Plant); ok {
			at := row.frame.Position(xy)
			stops[i].At = &at
		}
	}
	return stops
}
