// Package index finds things by place, in memory: which boxes meet a box, which
// are nearest to a point. Boxes are in any flat pair of axes, metres of a frame
// (plane.Box) or degrees (geo.Box, see Degrees); one tree holds one kind.
package index

import (
	"math"

	"caneward/geo"
	"caneward/geo/plane"

	"github.com/tidwall/rtree"
)

// Tree holds values by their boxes. The zero Tree is empty and ready. A value
// may stand in it more than once. Reading is safe for many at once as long as
// nobody writes.
type Tree[T any] struct {
	tree rtree.RTreeG[entry[T]]
	next int
}

// entry remembers its place in the order of insertion, which settles ties.
type entry[T any] struct {
	number int
	value  T
}

// Len counts the values.
func (t *Tree[T]) Len() int { return t.tree.Len() }

// Insert adds a value. A box that is empty or has a coordinate that is no number
// can never be found and is not added; Insert reports whether it was.
func (t *Tree[T]) Insert(b plane.Box, value T) bool {
	if b.Empty() {
		return false
	}
	t.tree.Insert(low(b), high(b), entry[T]{t.next, value})
	t.next++
	return true
}

func low(b plane.Box) [2]float64  { return [2]float64{b.Min.X, b.Min.Y} }
func high(b plane.Box) [2]float64 { return [2]float64{b.Max.X, b.Max.Y} }

// Found is a value with its box and, from Nearest, how far the box is from the
// point, in the unit of the axes.
type Found[T any] struct {
	Box      plane.Box
	Value    T
	Distance float64
}

// Search calls do with every value whose box meets b, edges and corners
// included, until do returns false. The order is not the order of insertion but
// the same every time for the same insertions.
func (t *Tree[T]) Search(b plane.Box, do func(plane.Box, T) bool) {
	if b.Empty() {
		return
	}
	t.tree.Search(low(b), high(b), func(lo, hi [2]float64, e entry[T]) bool {
		return do(boxOf(lo, hi), e.value)
	})
}

// Nearest gives the n values whose boxes are nearest to p, nearest first, and
// those equally near in the order of their insertion. Fewer where the tree
// holds fewer; none for a point that is no number.
func (t *Tree[T]) Nearest(p plane.XY, n int) []Found[T] {
	if n <= 0 || !p.Finite() {
		return nil
	}
	type ranked struct {
		Found[T]
		number int
	}
	var out []ranked
	t.tree.Nearby(
		func(lo, hi [2]float64, _ entry[T], _ bool) float64 { return distance(p, lo, hi) },
		func(lo, hi [2]float64, e entry[T], d float64) bool {
			if len(out) >= n && d > out[n-1].Distance {
				return false
			}
			// Kept in order by distance, then number; those tied with the last
			// are all looked at.
			r := ranked{Found[T]{boxOf(lo, hi), e.value, d}, e.number}
			i := len(out)
			for i > 0 && out[i-1].Distance == d && out[i-1].number > r.number {
				i--
			}
			if i >= n {
				return true
			}
			out = append(out, r)
			copy(out[i+1:], out[i:])
			out[i] = r
			if len(out) > n {
				out = out[:n]
			}
			return true
		})
	found := make([]Found[T], len(out))
	for i, r := range out {
		found[i] = r.Found
	}
	return found
}

func boxOf(lo, hi [2]float64) plane.Box {
	return plane.Box{Min: plane.XY{X: lo[0], Y: lo[1]}, Max: plane.XY{X: hi[0], Y: hi[1]}}
}

func distance(p plane.XY, lo, hi [2]float64) float64 {
	dx := math.Max(0, math.Max(lo[0]-p.X, p.X-hi[0]))
	dy := math.Max(0, math.Max(lo[1]-p.Y, p.Y-hi[1]))
	return math.Hypot(dx, dy)
}

// Degrees is a box of longitudes and latitudes for a tree in degrees: X is the
// longitude, Y the latitude. Distances in such a tree are degrees of the flat
// map, good for finding and never for measuring. A box whose west edge is
// greater than its east edge runs across the antimeridian and must be put in,
// or asked for, in its two halves (Halves).
func Degrees(b geo.Box) plane.Box {
	return plane.Box{Min: plane.XY{X: b.Min[0], Y: b.Min[1]}, Max: plane.XY{X: b.Max[0], Y: b.Max[1]}}
}

// Halves is the box itself, or its parts west and east of the antimeridian where it runs
// across.
func Halves(b geo.Box) []plane.Box {
	if b.Min[0] <= b.Max[0] {
		return []plane.Box{Degrees(b)}
	}
	west, east := b, b
	west.Max[0], east.Min[0] = 180, -180
	return []plane.Box{Degrees(west), Degrees(east)}
}
