package records

import (
	"math"
	"math/big"

	"github.com/paulmach/orb"

	"caneward/geo"
)

// Meets reports whether a shape and a box of degrees have a point in common,
// edges and corners included; the inside of a hole is not part of a polygon,
// its edge is. A box with Min longitude greater than Max stands on both sides
// of the antimeridian. The answer is exact for the given coordinates: nothing
// is rounded (signs are decided in rational numbers where floating point
// cannot). Edges are straight in longitude and latitude, as GeoJSON has them
// (RFC 7946 section 3.1.1). A shape without vertices meets nothing.
func Meets(shape orb.Geometry, box geo.Box) bool {
	if box.Min[0] > box.Max[0] {
		west := geo.Box{Min: box.Min, Max: orb.Point{180, box.Max[1]}}
		east := geo.Box{Min: orb.Point{-180, box.Min[1]}, Max: box.Max}
		return meets(shape, west) || meets(shape, east)
	}
	return meets(shape, box)
}

func meets(shape orb.Geometry, box geo.Box) bool {
	switch s := shape.(type) {
	case orb.Point:
		return box.Contains(s)
	case orb.MultiPoint:
		for _, p := range s {
			if box.Contains(p) {
				return true
			}
		}
	case orb.LineString:
		return lineMeets(s, box)
	case orb.MultiLineString:
		for _, l := range s {
			if lineMeets(l, box) {
				return true
			}
		}
	case orb.Ring:
		return polygonMeets(orb.Polygon{s}, box)
	case orb.Polygon:
		return polygonMeets(s, box)
	case orb.MultiPolygon:
		for _, p := range s {
			if polygonMeets(p, box) {
				return true
			}
		}
	case orb.Collection:
		for _, m := range s {
			if meets(m, box) {
				return true
			}
		}
	case orb.Bound:
		return s.Min[0] <= box.Max[0] && s.Max[0] >= box.Min[0] && s.Min[1] <= box.Max[1] && s.Max[1] >= box.Min[1]
	}
	return false
}

func lineMeets(line []orb.Point, box geo.Box) bool {
	if len(line) == 1 {
		return box.Contains(line[0])
	}
	for i := 1; i < len(line); i++ {
		if segmentMeets(line[i-1], line[i], box) {
			return true
		}
	}
	return false
}

// segmentMeets: two convex figures are apart exactly when a line along one of
// their edges parts them, here the box's edges and the segment itself.
func segmentMeets(a, b orb.Point, box geo.Box) bool {
	if math.Max(a[0], b[0]) < box.Min[0] || math.Min(a[0], b[0]) > box.Max[0] ||
		math.Max(a[1], b[1]) < box.Min[1] || math.Min(a[1], b[1]) > box.Max[1] {
		return false
	}
	side := turn(a, b, box.Min)
	for _, corner := range []orb.Point{{box.Max[0], box.Min[1]}, box.Max, {box.Min[0], box.Max[1]}} {
		if side == 0 || turn(a, b, corner) != side {
			return true
		}
	}
	return false
}

// polygonMeets: where no edge touches the box, the box lies wholly inside or
// wholly outside each ring, and one corner decides for all of it.
func polygonMeets(p orb.Polygon, box geo.Box) bool {
	inside := false
	for _, ring := range p {
		if lineMeets(ring, box) {
			return true
		}
		if n := len(ring); n > 1 && ring[0] != ring[n-1] && segmentMeets(ring[n-1], ring[0], box) {
			return true
		}
		if ringHolds(ring, box.Min) {
			inside = !inside
		}
	}
	return inside
}

// ringHolds counts crossings of a ray to the east. p is not on the ring.
func ringHolds(ring orb.Ring, p orb.Point) bool {
	inside := false
	for i := range ring {
		a, b := ring[i], ring[(i+1)%len(ring)]
		if (a[1] > p[1]) == (b[1] > p[1]) {
			continue
		}
		if a[1] > b[1] {
			a, b = b, a
		}
		if turn(a, b, p) > 0 {
			inside = !inside
		}
	}
	return inside
}

// Bounds of the floating-point test for turn: below turnError times the sum of
// its two products the sign may be wrong (J. R. Shewchuk, Adaptive precision
// floating-point arithmetic and fast robust geometric predicates, 1997, the
// bound (3 + 16e)e with e = 2^-53); below tinyProduct underflow spoils the bound.
const (
	turnError   = (3 + 16*0x1p-53) * 0x1p-53
	tinyProduct = 1e-290
)

// turn is +1 when a, b, p turn left, -1 right, 0 when they lie on one line.
func turn(a, b, p orb.Point) int {
	left := (a[0] - p[0]) * (b[1] - p[1])
	right := (a[1] - p[1]) * (b[0] - p[0])
	det, size := left-right, math.Abs(left)+math.Abs(right)
	if size > tinyProduct && math.Abs(det) > turnError*size {
		if det > 0 {
			return 1
		}
		return -1
	}
	for _, v := range []float64{a[0], a[1], b[0], b[1], p[0], p[1]} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0
		}
	}
	exactLeft := new(big.Rat).Mul(difference(a[0], p[0]), difference(b[1], p[1]))
	exactRight := new(big.Rat).Mul(difference(a[1], p[1]), difference(b[0], p[0]))
	return exactLeft.Cmp(exactRight)
}

func difference(a, b float64) *big.Rat {
	return new(big.Rat).Sub(new(big.Rat).SetFloat64(a), new(big.Rat).SetFloat64(b))
}
