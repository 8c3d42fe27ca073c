package layout

import (
	"context"
	"math"
	"sort"

	"caneward/geo"
	"caneward/geo/plane"
)

// The ground is cut into upright slabs at every corner's x. Within a slab no
// two edges cross, so that ground is a stack of trapezoids whose height along
// the row changes linearly: areas, extents and row ends follow exactly, without
// an overlay engine whose crumbs could make or unmake a row.

// trapezoid is a piece of ground between x0 and x1 whose lower and upper edge
// run straight from (x0, lo0) and (x0, hi0) to (x1, lo1) and (x1, hi1).
type trapezoid struct {
	x0, x1             float64
	lo0, lo1, hi0, hi1 float64
}

func (t trapezoid) at(x float64) (lo, hi float64) {
	f := (x - t.x0) / (t.x1 - t.x0)
	return t.lo0 + f*(t.lo1-t.lo0), t.hi0 + f*(t.hi1-t.hi0)
}

// between is the area of the part with x in [a, b].
func (t trapezoid) between(a, b float64) float64 {
	a, b = math.Max(a, t.x0), math.Min(b, t.x1)
	if b <= a {
		return 0
	}
	loA, hiA := t.at(a)
	loB, hiB := t.at(b)
	return (b - a) * (hiA - loA + hiB - loB) / 2
}

// withoutHeadland takes h off both ends along the row: what is left of the
// trapezoid, if anything is.
func (t trapezoid) withoutHeadland(h float64) (trapezoid, bool) {
	l0, l1 := t.hi0-t.lo0-2*h, t.hi1-t.lo1-2*h
	if l0 <= 0 && l1 <= 0 {
		return trapezoid{}, false
	}
	a, b := t.x0, t.x1
	if l0 < 0 {
		a = t.x0 + (t.x1-t.x0)*l0/(l0-l1)
	}
	if l1 < 0 {
		b = t.x0 + (t.x1-t.x0)*l0/(l0-l1)
	}
	if b <= a {
		return trapezoid{}, false
	}
	loA, hiA := t.at(a)
	loB, hiB := t.at(b)
	return trapezoid{a, b, loA + h, loB + h, hiA - h, hiB - h}, true
}

type edge struct{ a, b plane.XY } // a.X < b.X

func (e edge) at(x float64) float64 {
	switch x {
	case e.a.X:
		return e.a.Y
	case e.b.X:
		return e.b.Y
	}
	return e.a.Y + (x-e.a.X)/(e.b.X-e.a.X)*(e.b.Y-e.a.Y)
}

// trapezoids cuts the ground, rows upright, into slabs, in order of x and
// within a slab of y.
func trapezoids(ctx context.Context, ground plane.Region) ([]trapezoid, error) {
	var edges []edge
	var xs []float64
	for _, polygon := range ground {
		for _, ring := range polygon {
			for i := 1; i < len(ring); i++ {
				a, b := ring[i-1], ring[i]
				xs = append(xs, a.X)
				switch {
				case a.X < b.X:
					edges = append(edges, edge{a, b})
				case b.X < a.X:
					edges = append(edges, edge{b, a})
				}
			}
		}
	}
	sort.Float64s(xs)
	sort.Slice(edges, func(i, j int) bool {
		if edges[i].a.X != edges[j].a.X {
			return edges[i].a.X < edges[j].a.X
		}
		return edges[i].a.Y < edges[j].a.Y
	})
	var out []trapezoid
	var active []edge
	next := 0
	for i := 1; i < len(xs); i++ {
		x0, x1 := xs[i-1], xs[i]
		if x1 <= x0 {
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		kept := active[:0]
		for _, e := range active {
			if e.b.X > x0 {
				kept = append(kept, e)
			}
		}
		active = kept
		for next < len(edges) && edges[next].a.X <= x0 {
			if edges[next].b.X > x0 {
				active = append(active, edges[next])
			}
			next++
		}
		if len(out)+len(active)/2 > maxPieces {
			return nil, tooCostly(len(edges))
		}
		out = append(out, slab(active, x0, x1)...)
	}
	return out, nil
}

func slab(active []edge, x0, x1 float64) []trapezoid {
	middle := (x0 + x1) / 2
	sorted := append([]edge(nil), active...)
	sort.Slice(sorted, func(i, j int) bool { return sorted[i].at(middle) < sorted[j].at(middle) })
	var out []trapezoid
	for i := 0; i+1 < len(sorted); i += 2 {
		lo, hi := sorted[i], sorted[i+1]
		t := trapezoid{x0, x1, lo.at(x0), lo.at(x1), hi.at(x0), hi.at(x1)}
		if n := len(out); n > 0 && t.lo0-out[n-1].hi0 < float64(geo.SamePlace) && t.lo1-out[n-1].hi1 < float64(geo.SamePlace) {
			// Two polygons that share an edge are one piece of ground.
			out[n-1].hi0, out[n-1].hi1 = t.hi0, t.hi1
			continue
		}
		out = append(out, t)
	}
	return out
}

// withoutCrumbs drops connected pieces of ground smaller than the sliver area.
func withoutCrumbs(pieces []trapezoid) []trapezoid {
	parent := make([]int, len(pieces))
	for i := range parent {
		parent[i] = i
	}
	var root func(int) int
	root = func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	starts := map[float64][]int{}
	for i, t := range pieces {
		starts[t.x0] = append(starts[t.x0], i)
	}
	for i, t := range pieces {
		for _, j := range starts[t.x1] {
			if u := pieces[j]; u.lo0 < t.hi1 && t.lo1 < u.hi0 {
				parent[root(j)] = root(i)
			}
		}
	}
	area := map[int]float64{}
	for i, t := range pieces {
		area[root(i)] += t.between(t.x0, t.x1)
	}
	var out []trapezoid
	for i, t := range pieces {
		if area[root(i)] >= float64(geo.SliverArea) {
			out = append(out, t)
		}
	}
	return out
}

// slabs finds the trapezoids over a stretch of x.
type slabs struct {
	pieces []trapezoid
	x0     []float64 // of each slab, ascending
	first  []int     // piece of each slab, and one past the last
	effort int       // pieces looked at
}

// newSlabs takes pieces in the order trapezoids gives them.
func newSlabs(pieces []trapezoid) slabs {
	s := slabs{pieces: pieces}
	for i, t := range pieces {
		if i == 0 || t.x0 != pieces[i-1].x0 {
			s.x0, s.first = append(s.x0, t.x0), append(s.first, i)
		}
	}
	s.first = append(s.first, len(pieces))
	return s
}

// inside is the stretches of the curve on the ground, in metres along it. Gaps
// under geo.SamePlace are none.
func (s *slabs) inside(c curve) [][2]float64 {
	var found [][2]float64
	for i := 1; i < len(c.at); i++ {
		a, b := c.at[i-1], c.at[i]
		lo, hi := math.Min(a.X, b.X), math.Max(a.X, b.X)
		for k := max(0, sort.SearchFloat64s(s.x0, lo)-1); k < len(s.x0) && s.x0[k] <= hi; k++ {
			for _, t := range s.pieces[s.first[k]:s.first[k+1]] {
				s.effort++
				if from, to, meets := t.clip(a, b); meets {
					length := c.along[i] - c.along[i-1]
					found = append(found, [2]float64{c.along[i-1] + from*length, c.along[i-1] + to*length})
				}
			}
		}
	}
	sort.Slice(found, func(i, j int) bool { return found[i][0] < found[j][0] })
	var out [][2]float64
	for _, f := range found {
		if n := len(out); n > 0 && f[0]-out[n-1][1] < float64(geo.SamePlace) {
			out[n-1][1] = math.Max(out[n-1][1], f[1])
			continue
		}
		out = append(out, f)
	}
	return out
}

// clip is the part of the way from a to b, from 0 to 1, in the trapezoid.
func (t trapezoid) clip(a, b plane.XY) (from, to float64, meets bool) {
	from, to = 0, 1
	d := b.Minus(a)
	if d.X == 0 && (a.X < t.x0 || a.X >= t.x1) {
		return 0, 0, false
	}
	if d.X != 0 {
		narrow(&from, &to, a.X, d.X, t.x0, t.x1)
	}
	if from >= to {
		return 0, 0, false
	}
	// Heights at both ends of what is left in the slab: in a slab a nanometre wide
	// its edges are too steep to be followed from anywhere else.
	p, q := a.Plus(d.Times(from)), a.Plus(d.Times(to))
	loP, hiP := t.at(math.Max(t.x0, math.Min(t.x1, p.X)))
	loQ, hiQ := t.at(math.Max(t.x0, math.Min(t.x1, q.X)))
	u, v := 0.0, 1.0
	above(&u, &v, p.Y-loP, q.Y-loQ)
	above(&u, &v, hiP-p.Y, hiQ-q.Y)
	return from + u*(to-from), from + v*(to-from), u < v
}

// above leaves of [u, v] where the height that runs from a to b is not negative.
func above(u, v *float64, a, b float64) {
	switch {
	case a < 0 && b < 0:
		*v = *u
	case a < 0:
		*u = math.Max(*u, a/(a-b))
	case b < 0:
		*v = math.Min(*v, a/(a-b))
	}
}
