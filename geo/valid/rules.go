// Package valid finds what is wrong with a shape and where, so that it can be
// shown and mended at the place. It decides nothing and has no words: what is
// mended, refused or let through is for the caller, and so is the text.
//
// Shapes are judged in degrees as they stand, edges straight between longitude
// and latitude as RFC 7946 has it, with exact arithmetic: two edges cross or
// they do not, at any size.
package valid

import (
	"math"

	"caneward/geo"
)

// Rule is what a shape has to keep to.
type Rule int

// The rules. Those about rings hold for the shells and holes of polygons.
const (
	NotANumber          Rule = iota + 1 // a coordinate is NaN or infinite
	SwappedAxes                         // a latitude beyond 90° that would do as a longitude beside a longitude that would do as a latitude
	OutOfRange                          // a longitude beyond 180° or a latitude beyond 90°
	TooFewPoints                        // fewer than three different corners in a ring, two different points in a line
	NotClosed                           // the last point of a ring is not its first
	RepeatedPoint                       // the same point twice running
	CrossesAntimeridian                 // an edge more than 180° of longitude long: RFC 7946 wants such shapes cut
	ZeroArea                            // a ring that takes less ground than geo.SliverArea
	Spike                               // the ring runs out and straight back
	CrossesItself                       // two edges of a ring cross
	TouchesItself                       // a ring meets itself in a corner or along an edge without crossing
	HoleOutside                         // a hole lies outside its shell
	HoleCrossesShell                    // a hole crosses its shell or runs along it
	HolesOverlap                        // two holes cross, run along each other, or one lies in the other
	GroundCutApart                      // rings touch so that the ground between them falls apart
	PartsOverlap                        // two polygons have ground in common
	PartsShareEdge                      // two polygons lie edge to edge and should be one
	TooIntricate                        // more edges near each other than are looked at: nothing is said about crossings
)

// Severity says what can be done about a defect.
type Severity int

// The severities, worst last.
const (
	Notice     Severity = iota // harmless; mended on the way in
	Repairable                 // one sensible mending exists; it may change the ground, so it has to be shown
	Fatal                      // only the person who drew it can know what was meant
)

// Severity is the same for every defect of a rule.
func (r Rule) Severity() Severity {
	switch r {
	case RepeatedPoint:
		return Notice
	case NotClosed, Spike, CrossesItself, TouchesItself, HoleCrossesShell, HolesOverlap, GroundCutApart, PartsOverlap, PartsShareEdge:
		return Repairable
	default:
		return Fatal
	}
}

// Rules lists every rule in order.
func Rules() []Rule {
	out := make([]Rule, 0, int(TooIntricate))
	for r := NotANumber; r <= TooIntricate; r++ {
		out = append(out, r)
	}
	return out
}

// Place is a corner or edge of a shape, all numbers from 1 in the order of the
// shape as given. Part is the polygon, line or point, counted on through a
// collection; Ring 1 is the shell, 0 means a line or point; Vertex is the
// corner, or the one an edge starts at, 0 where the whole ring is meant.
type Place struct{ Part, Ring, Vertex int }

// Defect is one thing wrong, and where. Other is the second ring or edge where two
// are involved, zero otherwise.
type Defect struct {
	Rule Rule
	Place
	Other Place
	At    geo.Position // the place of it; for edges that cross, where they do; see Located
}

// Located reports whether At is a position that can be shown: not for
// coordinates that are no numbers or beyond the globe, nor for a ring without points.
func (d Defect) Located() bool {
	return math.Abs(d.At[0]) <= 180 && math.Abs(d.At[1]) <= 90 // false for NaN
}

// Severity is that of the rule.
func (d Defect) Severity() Severity { return d.Rule.Severity() }

const (
	// MaxPerRule caps how many defects of one rule are reported; a scribble
	// has thousands and nobody reads more.
	MaxPerRule = 20

	// maxPairs bounds the pairs of edges with overlapping boxes that are
	// looked at: about two seconds on a small machine, a hundred times what
	// an honest outline of 100,000 corners needs.
	maxPairs = 20_000_000
)

// Worst is the worst severity among the defects; ok is false when there are none.
func Worst(defects []Defect) (worst Severity, ok bool) {
	for _, d := range defects {
		worst, ok = max(worst, d.Severity()), true
	}
	return worst, ok
}
