package valid

import (
	"math"
	"math/big"

	"github.com/paulmach/orb"
)

// orient is 1 when c lies to the left of the line from a to b, -1 to the right,
// 0 exactly on it. The float result is taken where its error bound allows
// (Shewchuk, Adaptive Precision Floating-Point Arithmetic, 1997), otherwise the
// sum is done in fractions.
func orient(a, b, c orb.Point) int {
	left, right := (b[0]-a[0])*(c[1]-a[1]), (b[1]-a[1])*(c[0]-a[0])
	det := left - right
	const bound = (3 + 16*0x1p-53) * 0x1p-53
	if limit := bound * (math.Abs(left) + math.Abs(right)); det > limit || -det > limit {
		return sign(det)
	}
	if a == b || b == c || a == c {
		return 0
	}
	r := func(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }
	sub := func(x, y float64) *big.Rat { return new(big.Rat).Sub(r(x), r(y)) }
	l := new(big.Rat).Mul(sub(b[0], a[0]), sub(c[1], a[1]))
	return l.Cmp(new(big.Rat).Mul(sub(b[1], a[1]), sub(c[0], a[0])))
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// between reports whether p, known to lie on the line through a and b, lies on
// the edge, ends included.
func between(a, b, p orb.Point) bool {
	return math.Min(a[0], b[0]) <= p[0] && p[0] <= math.Max(a[0], b[0]) &&
		math.Min(a[1], b[1]) <= p[1] && p[1] <= math.Max(a[1], b[1])
}

// How two edges meet.
type meeting int

const (
	apart   meeting = iota
	crosses         // each passes through the inside of the other
	touches         // an end of one lies on the other, no more
	along           // they have a stretch in common
)

// meet judges two edges and gives a place they share: the crossing, rounded; the
// touching end; for a common stretch one end of it.
func meet(a, b, c, d orb.Point) (meeting, orb.Point) {
	oc, od := orient(a, b, c), orient(a, b, d)
	if oc*od > 0 {
		return apart, orb.Point{}
	}
	oa, ob := orient(c, d, a), orient(c, d, b)
	if oa*ob > 0 {
		return apart, orb.Point{}
	}
	if oc == 0 && od == 0 {
		return meetOnLine(a, b, c, d)
	}
	if oc*od < 0 && oa*ob < 0 {
		return crosses, crossing(a, b, c, d)
	}
	switch {
	case oc == 0 && between(a, b, c):
		return touches, c
	case od == 0 && between(a, b, d):
		return touches, d
	case oa == 0 && between(c, d, a):
		return touches, a
	case ob == 0 && between(c, d, b):
		return touches, b
	}
	return apart, orb.Point{}
}

func meetOnLine(a, b, c, d orb.Point) (meeting, orb.Point) {
	var shared []orb.Point
	add := func(p orb.Point, on bool) {
		if on && (len(shared) == 0 || shared[0] != p) {
			shared = append(shared, p)
		}
	}
	add(c, between(a, b, c))
	add(d, between(a, b, d))
	add(a, between(c, d, a))
	add(b, between(c, d, b))
	switch len(shared) {
	case 0:
		return apart, orb.Point{}
	case 1:
		return touches, shared[0]
	}
	return along, shared[0]
}

func crossing(a, b, c, d orb.Point) orb.Point {
	ux, uy, vx, vy := b[0]-a[0], b[1]-a[1], d[0]-c[0], d[1]-c[1]
	t := ((c[0]-a[0])*vy - (c[1]-a[1])*vx) / (ux*vy - uy*vx)
	t = math.Max(0, math.Min(1, t)) // false for NaN, which Min and Max keep
	if math.IsNaN(t) {
		return a
	}
	return orb.Point{a[0] + t*ux, a[1] + t*uy}
}

// passesThrough reports whether the path in-p-out has the points before and
// after on different sides: whether a second path that meets it in p goes
// through it. Directions that coincide do not pass through.
func passesThrough(p, in, out, before, after orb.Point) bool {
	x, y := inWedge(p, in, out, before), inWedge(p, in, out, after)
	return x*y < 0
}

// inWedge is 1 when the direction from p to q lies strictly within the turn
// counter-clockwise from p-out to p-in, -1 when strictly outside, 0 on either.
func inWedge(p, in, out, q orb.Point) int {
	if sameWay(p, in, q) || sameWay(p, out, q) {
		return 0
	}
	fromOut, fromIn := orient(p, out, q), orient(p, in, q)
	switch turn := orient(p, out, in); {
	case turn > 0: // less than a half turn
		if fromOut > 0 && fromIn < 0 {
			return 1
		}
		return -1
	case turn < 0: // more than a half turn
		if fromOut < 0 && fromIn > 0 {
			return -1
		}
		return 1
	default: // a half turn, or in and out the same way
		if sameWay(p, in, out) {
			return -1
		}
		return fromOut
	}
}

// sameWay reports whether a and b lie in the same direction from p.
func sameWay(p, a, b orb.Point) bool {
	return orient(p, a, b) == 0 && sign(a[0]-p[0]) == sign(b[0]-p[0]) && sign(a[1]-p[1]) == sign(b[1]-p[1])
}
