// Package swath is the ground a sprayer passed over, from its recorded track:
// what it covered, what it covered twice, and what of a block it missed.
//
// The definitions: a stretch from one fix to the next is sprayed when the first
// says a width above 0 and the next follows within Silence. A run is a longest
// chain of sprayed stretches of one width. Within a run a fix less than Still
// from the last kept one is dropped: a sprayer that stands does not turn. A
// piece is the rectangle of the run's width between two kept fixes, with the
// round wedge on the outer side of the bend that follows. The track as recorded
// is the record: nothing else is smoothed.
package swath

import (
	"fmt"
	"math"

	"caneward/geo"
	"caneward/geo/plane"
)

// What a track's fixes mean.
const (
	Silence = 10.0 // seconds: after a longer gap the logger was silent and nothing is assumed
	Still   = 0.5  // metres: what a receiver wanders while the sprayer stands
	PassGap = 15.0 // seconds between two pieces on the same ground that make two passes

	// Bounds of one track: ten hours at a fix a second are 36,000.
	MaxFixes  = 200_000
	MaxPieces = 50_000

	arcStep = math.Pi / 45 // of a joint's arc: inscribed, it falls short by 0.08 % of the wedge
)

// Fix is one record of the logger. Width is what was sprayed from here to the
// next fix, 0 for nothing; Offset is how far the middle of that width lies to
// the right of the track, negative to the left, as with half a boom shut off.
type Fix struct {
	At     plane.XY
	Time   float64 // Unix seconds
	Width  geo.Metres
	Offset geo.Metres
}

// BackwardsError says that a fix is older than the one before it, or has no
// time. Index is from 0.
type BackwardsError struct{ Index int }

func (e *BackwardsError) Error() string {
	return fmt.Sprintf("swath: fix %d is older than the one before it", e.Index)
}

// Piece is what was sprayed between two kept fixes.
type Piece struct {
	Start, End float64 // times of its fixes, Unix seconds
	Length     geo.Metres
	ground     []plane.Ring
}

// Work is what a track says was sprayed.
type Work struct {
	Runs   int
	Pieces []Piece
	Length geo.Metres // along the kept fixes
	axis   plane.XY   // unit vector along most of the work
}

// Read turns fixes into runs and pieces. Errors: *BackwardsError, *TooMuchError.
func Read(fixes []Fix) (Work, error) {
	var w Work
	if len(fixes) > MaxFixes {
		return w, &TooMuchError{What: Fixes, Count: len(fixes), Limit: MaxFixes}
	}
	for i, f := range fixes {
		if math.IsNaN(f.Time) || math.IsInf(f.Time, 0) || i > 0 && f.Time < fixes[i-1].Time {
			return w, &BackwardsError{Index: i}
		}
	}
	for i := 0; i+1 < len(fixes); {
		end := runFrom(fixes, i)
		if end > i {
			w.Runs++
			w.add(fixes[i], keep(fixes[i:end+1]))
		}
		i = max(end, i+1)
	}
	if len(w.Pieces) > MaxPieces {
		return w, &TooMuchError{What: Pieces, Count: len(w.Pieces), Limit: MaxPieces}
	}
	w.findAxis()
	return w, nil
}

// runFrom is the last fix of the run that starts at i; i when none does.
func runFrom(fixes []Fix, i int) int {
	end := i
	for end+1 < len(fixes) && fixes[end].Width > 0 && fixes[end].Width == fixes[i].Width &&
		fixes[end].Offset == fixes[i].Offset && fixes[end+1].Time-fixes[end].Time <= Silence {
		end++
	}
	return end
}

// keep drops the fixes of a sprayer that stands.
func keep(run []Fix) []Fix {
	kept := []Fix{run[0]}
	for _, f := range run[1:] {
		if f.At.Distance(kept[len(kept)-1].At) >= Still {
			kept = append(kept, f)
		}
	}
	return kept
}

// strip is the reach of what is sprayed to either side of the track, in metres;
// one of them is negative where all of it lies on the other side.
type strip struct{ left, right float64 }

func (w *Work) add(first Fix, kept []Fix) {
	half, off := float64(first.Width)/2, float64(first.Offset)
	s := strip{left: half - off, right: half + off}
	for k := 0; k+1 < len(kept); k++ {
		a, b := kept[k].At, kept[k+1].At
		p := Piece{Start: kept[k].Time, End: kept[k+1].Time, Length: a.Distance(b)}
		p.ground = append(p.ground, s.rectangle(a, b))
		if k+2 < len(kept) {
			if j := s.joint(a, b, kept[k+2].At); j != nil {
				p.ground = append(p.ground, j)
			}
		}
		w.Length += p.Length
		w.Pieces = append(w.Pieces, p)
	}
}

// leftOf is the unit vector to the left of the way from a to b.
func leftOf(a, b plane.XY) plane.XY {
	d := b.Minus(a)
	return plane.XY{X: -d.Y, Y: d.X}.Times(1 / math.Hypot(d.X, d.Y))
}

// rectangle carries the fixes themselves as corners where they lie on its ends,
// so that joints share whole edges with it, bit for bit.
func (s strip) rectangle(a, b plane.XY) plane.Ring {
	n := leftOf(a, b)
	l, r := n.Times(s.left), n.Times(-s.right)
	if s.left <= 0 || s.right <= 0 {
		return plane.Ring{a.Plus(r), b.Plus(r), b.Plus(l), a.Plus(l), a.Plus(r)}
	}
	return plane.Ring{a.Plus(r), b.Plus(r), b, b.Plus(l), a.Plus(l), a, a.Plus(r)}
}

// joint is the wedge on the outer side of the bend at b, however thin, so that
// no crack is left; nil where the track goes straight on or nothing is sprayed
// on that side.
func (s strip) joint(a, b, c plane.XY) plane.Ring {
	from, to := b.Minus(a), c.Minus(b)
	turn := math.Atan2(from.Cross(to), from.Dot(to))
	if turn == 0 {
		return nil
	}
	out, other := s.right, s.left
	side := -1.0
	if turn < 0 {
		out, other, side = s.left, s.right, 1
	}
	if out <= 0 {
		return nil
	}
	start, end := leftOf(a, b), leftOf(b, c)
	arc := func(radius float64) []plane.XY {
		steps := max(1, int(math.Ceil(math.Abs(turn)/arcStep)))
		line := []plane.XY{b.Plus(start.Times(side * radius))}
		for k := 1; k < steps; k++ {
			sin, cos := math.Sincos(turn * float64(k) / float64(steps))
			line = append(line, b.Plus(plane.XY{X: start.X*cos - start.Y*sin, Y: start.X*sin + start.Y*cos}.Times(side*radius)))
		}
		return append(line, b.Plus(end.Times(side*radius)))
	}
	ring := plane.Ring(arc(out))
	if other < 0 {
		inner := arc(-other)
		for k := len(inner) - 1; k >= 0; k-- {
			ring = append(ring, inner[k])
		}
	} else {
		ring = append(ring, b)
	}
	return append(ring, ring[0])
}

// findAxis doubles the angles of the ways, so that up and down a row agree.
func (w *Work) findAxis() {
	var sum plane.XY
	for _, p := range w.Pieces {
		d := p.ground[0][1].Minus(p.ground[0][0])
		angle := 2 * math.Atan2(d.Y, d.X)
		sum = sum.Plus(plane.XY{X: math.Cos(angle), Y: math.Sin(angle)}.Times(float64(p.Length)))
	}
	angle := math.Atan2(sum.Y, sum.X) / 2
	w.axis = plane.XY{X: math.Cos(angle), Y: math.Sin(angle)}
}
