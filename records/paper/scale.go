package paper

import (
	"math"
	"strconv"

	"caneward/geo"
)

// Scale is how many millimetres of ground one millimetre of paper is: 1,000
// for 1:1,000.
type Scale float64

// String is "1:1,000".
func (s Scale) String() string { return "1:" + Number(float64(s), 0) }

// On is a length of ground on the page.
func (s Scale) On(m geo.Metres) Millimetres { return Millimetres(float64(m) * 1000 / float64(s)) }

// Ground is what a length on the page is on the ground.
func (s Scale) Ground(m Millimetres) geo.Metres { return geo.Metres(float64(m) * float64(s) / 1000) }

// The ladder runs from 1:100 in steps of 1, 1.25, 2, 2.5, 5, 7.5 a decade, far
// enough for any farm. ISO 5455 has 1, 2, 5; all six stand on scale rules
// (common practice), so that a length can be read off the plan.
const (
	largestScale  Scale = 100
	smallestScale Scale = 10_000_000
)

var ladder = func() (all []Scale) {
	for decade := largestScale; decade <= smallestScale; decade *= 10 {
		for _, step := range []Scale{1, 1.25, 2, 2.5, 5, 7.5} {
			all = append(all, decade*step)
		}
	}
	return all
}()

// scaleFor is the largest scale at which ground so wide and high fits.
func scaleFor(width, height geo.Metres, w, h Millimetres) Scale {
	for _, s := range ladder {
		if s.On(width) <= w && s.On(height) <= h {
			return s
		}
	}
	return ladder[len(ladder)-1]
}

// bar is a scale bar: so many equal parts of a round length.
type bar struct {
	parts int
	each  float64 // in the unit
	unit  string
	on    Millimetres // each part on the page
}

// barFor is the longest bar of round parts that fits.
func barFor(s Scale, unit string, metres float64, room Millimetres) bar {
	best := bar{}
	for exponent := -1; exponent <= 6; exponent++ {
		for _, step := range []struct {
			length float64
			parts  int
		}{{1, 2}, {2, 2}, {4, 4}, {5, 5}} {
			whole := step.length * math.Pow10(exponent)
			if on := s.On(geo.Metres(whole * metres)); on <= room {
				best = bar{step.parts, whole / float64(step.parts), unit, on / Millimetres(step.parts)}
			}
		}
	}
	return best
}

// draw puts the bar at x, y: parts black and white by turns, figures above.
func (b bar) draw(d *Doc, x, y Millimetres) {
	const thick Millimetres = 1.6
	for i := range b.parts {
		at := x + Millimetres(i)*b.on
		k := d.ink()
		k.stroke(Stroke{Width: 0.25})
		k.grey(float64(i % 2))
		k.path(rectangle(at, y, b.on, thick), true)
		k.op("b")
		k.put()
	}
	for i := range b.parts + 1 {
		figure := strconv.FormatFloat(b.each*float64(i), 'f', -1, 64)
		if i == b.parts {
			figure += " " + b.unit
		}
		w := d.width(figure, plain, LeastType)
		if i == b.parts {
			w = d.width(strconv.FormatFloat(b.each*float64(i), 'f', -1, 64), plain, LeastType)
		}
		d.text(x+Millimetres(i)*b.on-w/2, y-0.9, figure, plain, LeastType)
	}
}
