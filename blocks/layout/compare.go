package layout

import (
	"context"
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
)

const (
	// MaxOptions is how many layouts are compared at once: every half degree of
	// half a turn, and some.
	MaxOptions = 400
	// LeastSweep is the least step between bearings, for the same reason.
	LeastSweep geo.Degrees = 0.5
	// ShortRow is what a row must reach not to be short where nobody says
	// otherwise: common practice, no source; a tractor with a sprayer is hardly in
	// such a row before it is out again.
	ShortRow geo.Metres = 20
)

var (
	tooManyOptions = words.New("layout-too-many-options", "{count} layouts to compare; at most {limit} are compared at once.", "{count} trazados para comparar; se comparan como máximo {limit} a la vez.")
	sweepBounds    = words.New("layout-sweep-bounds", "The step between bearings must lie between {least} and 180 degrees; it is {value}.", "El paso entre rumbos debe estar entre {least} y 180 grados; es {value}.")
)

// Kind says where an option's direction comes from.
type Kind string

// The kinds of option.
const (
	Drawn       Kind = "drawn" // the bearing of a drawn line, or one that is named
	LongestEdge Kind = "longest-side"
	Swept       Kind = "sweep"
	Guided      Kind = "guide"
)

var kindNames = map[Kind]words.Message{
	Drawn:       words.New("layout-kind-drawn", "named", "indicado"),
	LongestEdge: words.New("layout-kind-longest-side", "longest side", "lado más largo"),
	Swept:       words.New("layout-kind-sweep", "sweep", "barrido"),
	Guided:      words.New("layout-kind-guide", "guide line", "línea guía"),
}

// Name is the kind for people.
func (k Kind) Name() words.Text { return kindNames[k].Plain() }

// Choice is a layout to compare.
type Choice struct {
	Kind Kind
	Spec Spec
}

// Option is what a choice comes to.
type Option struct {
	Choice
	Figures
}

// Figures sum a layout up.
type Figures struct {
	Rows      int // planted ones
	RowLength geo.Metres
	Plants    int
	// Turns is how often one drives from one part of a row to the next when all
	// parts are driven once, row by row: parts less one. Within a row the way
	// leads round what cuts it, between rows over the headland.
	Turns     int
	ShortRows int        // planted rows shorter, over all parts, than was named
	Shortest  geo.Metres // planted row, over all its parts; 0 without rows
	Longest   geo.Metres // likewise
	Share     float64    // of the outline that is planted
}

// Figures gives the layout's sums; rows under shortUnder count as short.
func (l Layout) Figures(shortUnder geo.Metres) Figures {
	f := Figures{Rows: l.PlantedRows(), RowLength: l.RowLength, Plants: l.Plants, Turns: max(0, l.parts()-1)}
	for _, r := range l.Rows {
		if r.Skipped {
			continue
		}
		if r.Length < shortUnder {
			f.ShortRows++
		}
		if f.Shortest == 0 || r.Length < f.Shortest {
			f.Shortest = r.Length
		}
		f.Longest = max(f.Longest, r.Length)
	}
	if l.Outline > 0 {
		f.Share = float64(l.Planted / l.Outline)
	}
	return f
}

// parts counts the planted parts.
func (l Layout) parts() int {
	n := 0
	for _, r := range l.Rows {
		if !r.Skipped {
			n += len(r.Parts)
		}
	}
	return n
}

// Sweep is the choices along bearings a step apart, from 0 up to but not
// including 180 degrees. Refusals: fault.Invalid for a step out of bounds.
func Sweep(base Spec, step geo.Degrees) ([]Choice, error) {
	if !(step >= LeastSweep && step <= 180) {
		return nil, fault.New(fault.Invalid, cannotPlan.Plain(), fault.Detail{Field: "sweep_deg",
			Text: sweepBounds.With(words.Args{"least": float64(LeastSweep), "value": float64(step)})})
	}
	base.Guide = nil
	var out []Choice
	for k := 0; ; k++ {
		base.Bearing = geo.Degrees(k) * step
		if base.Bearing >= 180 {
			return out, nil
		}
		out = append(out, Choice{Swept, base})
	}
}

// LineBearing is the bearing rows along a drawn line have: from its first place
// to its last, in [0, 360).
func LineBearing(line orb.LineString) geo.Degrees {
	if len(line) == 0 {
		return 0
	}
	return measure.Bearing(line[0], line[len(line)-1])
}

// Compare lays out every choice, on all processors, and sums it up, in the order
// of the choices. Refusals are Plan's, of the first choice refused, and
// fault.TooCostly over MaxOptions.
func Compare(ctx context.Context, outline orb.Geometry, choices []Choice, shortUnder geo.Metres) ([]Option, error) {
	if len(choices) > MaxOptions {
		return nil, fault.New(fault.TooCostly, tooManyOptions.With(words.Args{"count": len(choices), "limit": MaxOptions}))
	}
	out := make([]Option, len(choices))
	errs := make([]error, len(choices))
	var next, refused atomic.Int64
	refused.Store(math.MaxInt64)
	var workers sync.WaitGroup
	for range min(len(choices), runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			for {
				// Choices are taken in order, so that none before a refused one is left
				// out and the first refusal is always the same.
				i := int(next.Add(1)) - 1
				if i >= len(choices) || int64(i) > refused.Load() {
					return
				}
				l, err := plan(ctx, outline, choices[i].Spec, false)
				if err != nil {
					errs[i] = err
					refused.Store(int64(i))
					return
				}
				out[i] = Option{Choice{choices[i].Kind, l.Spec}, l.Figures(shortUnder)}
			}
		})
	}
	workers.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}
