// Package track cleans what receivers record, and makes outlines of walks.
package track

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/measure"
)

// Fix is one position as a receiver wrote it. NaN marks what is not known.
type Fix struct {
	At       geo.Position
	Height   float64 // metres, above what the source meant
	Time     float64 // Unix seconds
	Accuracy float64 // metres, the receiver's own estimate of its error
}

// Reason is why a fix was dropped.
type Reason string

// The reasons, in the order in which they are looked for.
const (
	NotFinite  Reason = "not-finite" // a coordinate that is no number
	OffEarth   Reason = "off-earth"  // a latitude beyond 90 or a longitude beyond 180 degrees
	Zero       Reason = "zero"       // latitude and longitude both zero: the receiver had no fix
	Inaccurate Reason = "inaccurate" // the receiver's own estimate is worse than asked for
	Repeat     Reason = "repeat"     // the place and time of the fix before
	Jump       Reason = "jump"       // there and back again faster than anything on a farm moves
)

// Dropped is a fix that was left out, by its segment and its index in that, both
// from 0 and as given.
type Dropped struct {
	Segment, Index int
	Fix            Fix
	Reason         Reason
}

// MetresPerSecond is a speed.
type MetresPerSecond float64

// Options of Clean. The zero value is the usual.
type Options struct {
	// MaxSpeed is the fastest the receiver can have moved; 0 means
	// DefaultMaxSpeed.
	MaxSpeed MetresPerSecond

	// MaxAccuracy drops fixes whose known accuracy is worse; 0 drops none.
	MaxAccuracy geo.Metres
}

const (
	// DefaultMaxSpeed is 108 km/h, what a pickup does on the road between two
	// fields; nothing in a field comes near.
	DefaultMaxSpeed MetresPerSecond = 30

	// MaxFixes bounds one call: a day at ten a second.
	MaxFixes = 1_000_000

	// noFix is how near 0, 0 counts as zero, in degrees: half a step of the
	// coarsest format met, which writes six digits. The place is open sea.
	noFix = 5e-7

	// wholeSecond is how far two times may be off against each other: many
	// recorders write whole seconds. It keeps fixes of one time from having
	// an infinite speed.
	wholeSecond = 1.0

	// maxRun is how many fixes one jump may have; more of them are a place.
	maxRun = 5

	// Without times a jump is a step of more than farStep that is also more
	// than manySteps times the usual one.
	farStep   geo.Metres = 100
	manySteps            = 20
)

// TooManyError refuses more fixes than are worked at once.
type TooManyError struct{ Count, Limit int }

func (e *TooManyError) Error() string {
	return fmt.Sprintf("track: %d fixes, at most %d", e.Count, e.Limit)
}

// Clean leaves out fixes that cannot be true, and says which. kept has a segment,
// maybe empty, for each one given: what is lost within a segment does not part it.
//
// A jump is a fix, or up to five running, out of reach of the fix before and of
// the fix after while those two are in reach of one another. In reach means near
// enough for MaxSpeed in the time between, which is taken a second longer than
// written, plus both accuracies where known. Where either time is not known it
// means within 100 m or 20 times the segment's median step, the larger. The first and
// last fix have one neighbour only: they are dropped when it is out of reach by the
// clock and the next two are in reach each of the other. Errors: the context's,
// *TooManyError.
func Clean(ctx context.Context, segments [][]Fix, o Options) (kept [][]Fix, dropped []Dropped, err error) {
	if n := count(segments); n > MaxFixes {
		return nil, nil, &TooManyError{Count: n, Limit: MaxFixes}
	}
	if !(o.MaxSpeed > 0) {
		o.MaxSpeed = DefaultMaxSpeed
	}
	kept = make([][]Fix, len(segments))
	for k, s := range segments {
		c := cleaning{Options: o, segment: k}
		c.singly(s)
		if err := c.jumps(ctx); err != nil {
			return nil, nil, err
		}
		kept[k] = make([]Fix, len(c.left))
		for i, f := range c.left {
			kept[k][i] = f.Fix
		}
		slices.SortStableFunc(c.dropped, func(x, y Dropped) int { return cmp.Compare(x.Index, y.Index) })
		dropped = append(dropped, c.dropped...)
	}
	return kept, dropped, nil
}

func count(segments [][]Fix) int {
	n := 0
	for _, s := range segments {
		n += len(s)
	}
	return n
}

type indexed struct {
	Fix
	index int
}

// cleaning is one segment at work.
type cleaning struct {
	Options
	segment int
	left    []indexed
	dropped []Dropped
	far     geo.Metres // out of reach without times
}

func (c *cleaning) drop(f indexed, why Reason) {
	c.dropped = append(c.dropped, Dropped{Segment: c.segment, Index: f.index, Fix: f.Fix, Reason: why})
}

// singly drops what can be told from a fix and the one before.
func (c *cleaning) singly(s []Fix) {
	for i, fix := range s {
		f := indexed{fix, i}
		switch why := reason(fix); {
		case why != "":
			c.drop(f, why)
		case c.MaxAccuracy > 0 && fix.Accuracy > float64(c.MaxAccuracy):
			c.drop(f, Inaccurate)
		case len(c.left) > 0 && repeats(c.left[len(c.left)-1].Fix, fix):
			c.drop(f, Repeat)
		default:
			c.left = append(c.left, f)
		}
	}
}

func reason(f Fix) Reason {
	lon, lat := math.Abs(f.At[0]), math.Abs(f.At[1])
	switch {
	case math.IsNaN(lon-lon) || math.IsNaN(lat-lat):
		return NotFinite
	case lon > 180 || lat > 90:
		return OffEarth
	case lon <= noFix && lat <= noFix:
		return Zero
	}
	return ""
}

// repeats: times neither of which is known say nothing against it.
func repeats(f, g Fix) bool {
	return f.At == g.At && (f.Time == g.Time || math.IsNaN(f.Time) && math.IsNaN(g.Time))
}

func (c *cleaning) jumps(ctx context.Context) error {
	c.far = farBy(c.left)
	fixes := c.left
	if n := len(fixes); n >= 4 {
		if c.astray(fixes[0], fixes[1], fixes[2], fixes[3]) {
			c.drop(fixes[0], Jump)
			fixes = fixes[1:]
		}
	}
	if n := len(fixes); n >= 4 {
		if c.astray(fixes[n-1], fixes[n-2], fixes[n-3], fixes[n-4]) {
			c.drop(fixes[n-1], Jump)
			fixes = fixes[:n-1]
		}
	}
	out := make([]indexed, 0, len(fixes))
	for i := 0; i < len(fixes); {
		if i%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		run := 0
		if len(out) > 0 {
			run = c.run(out[len(out)-1], fixes[i:])
		}
		for _, f := range fixes[i : i+run] {
			c.drop(f, Jump)
		}
		i += run
		if i < len(fixes) {
			out = append(out, fixes[i])
			i++
		}
	}
	c.left = out
	return ctx.Err()
}

// run is how many of the fixes after one are a jump: none where the first is in
// reach or the way back is.
func (c *cleaning) run(before indexed, after []indexed) int {
	if c.inReach(before, after[0]) {
		return 0
	}
	for n := 1; n <= maxRun && n < len(after); n++ {
		if c.inReach(before, after[n]) {
			if c.inReach(after[n-1], after[n]) {
				return 0
			}
			return n
		}
	}
	return 0
}

// astray judges a fix at an end of the segment by the three next to it.
func (c *cleaning) astray(end, a, b, d indexed) bool {
	for _, f := range []indexed{end, a, b, d} {
		if math.IsNaN(f.Time) {
			return false
		}
	}
	return !c.inReach(end, a) && !c.inReach(end, b) && c.inReach(a, b) && c.inReach(b, d)
}

func (c *cleaning) inReach(f, g indexed) bool {
	d := measure.Distance(f.At, g.At)
	between := math.Abs(g.Time - f.Time)
	if math.IsNaN(between) {
		return d <= c.far
	}
	reach := float64(c.MaxSpeed) * (between + wholeSecond)
	for _, known := range []float64{f.Accuracy, g.Accuracy} {
		if known > 0 {
			reach += known
		}
	}
	return float64(d) <= reach
}

// farBy is the larger of farStep and manySteps times the median step.
func farBy(fixes []indexed) geo.Metres {
	var steps []float64
	for i := 1; i < len(fixes); i++ {
		steps = append(steps, float64(measure.Distance(fixes[i-1].At, fixes[i].At)))
	}
	if len(steps) == 0 {
		return farStep
	}
	return max(farStep, manySteps*geo.Metres(median(steps)))
}

// median sorts its argument.
func median(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// Length is the way along each segment; what lies between two segments was not
// recorded and does not count.
func Length(segments [][]Fix) geo.Metres {
	var d geo.Metres
	for _, s := range segments {
		for i := 1; i < len(s); i++ {
			d += measure.Distance(s[i-1].At, s[i].At)
		}
	}
	return d
}
