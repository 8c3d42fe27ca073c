// Package plane is the flat metric picture of one site: metres east and north
// of an origin, in a type of its own so that degrees and metres never meet.
package plane

import (
	"math"

	"caneward/geo"
)

// XY is a point in metres east (X) and north (Y) of a frame's origin.
type XY struct{ X, Y float64 }

// Ring is a closed ring: first and last point are equal, no two neighbours are.
// Shells run counter-clockwise, holes clockwise.
type Ring []XY

// Polygon is a shell and its holes.
type Polygon []Ring

// Region is ground: polygons whose insides do not overlap. Nil is no ground.
type Region []Polygon

// Line is a line of two or more points.
type Line []XY

// EdgeWidth is how near an edge a point counts as lying on it: ten nanometres,
// a few steps of a float64 ten thousand kilometres from the origin.
const EdgeWidth geo.Metres = 1e-8

// Plus adds.
func (p XY) Plus(q XY) XY { return XY{p.X + q.X, p.Y + q.Y} }

// Minus subtracts.
func (p XY) Minus(q XY) XY { return XY{p.X - q.X, p.Y - q.Y} }

// Times scales.
func (p XY) Times(k float64) XY { return XY{p.X * k, p.Y * k} }

// Dot is the scalar product.
func (p XY) Dot(q XY) float64 { return p.X*q.X + p.Y*q.Y }

// Cross is positive when q lies to the left of p.
func (p XY) Cross(q XY) float64 { return p.X*q.Y - p.Y*q.X }

// Distance is the straight distance in the plane.
func (p XY) Distance(q XY) geo.Metres { return geo.Metres(math.Hypot(p.X-q.X, p.Y-q.Y)) }

// Finite reports whether both coordinates are numbers.
func (p XY) Finite() bool {
	return !math.IsNaN(p.X-p.X) && !math.IsNaN(p.Y-p.Y)
}

// NearestOn is the point of the piece a-b nearest to p.
func (p XY) NearestOn(a, b XY) XY {
	d := b.Minus(a)
	n := d.Dot(d)
	if n == 0 {
		return a
	}
	switch t := p.Minus(a).Dot(d) / n; {
	case t <= 0:
		return a
	case t >= 1:
		return b
	default:
		return a.Plus(d.Times(t))
	}
}

// Box is a closed box in the plane.
type Box struct{ Min, Max XY }

// NoBox holds nothing; Union and With grow it.
func NoBox() Box {
	inf := math.Inf(1)
	return Box{Min: XY{inf, inf}, Max: XY{-inf, -inf}}
}

// Empty reports whether the box holds no point.
func (b Box) Empty() bool { return !(b.Min.X <= b.Max.X && b.Min.Y <= b.Max.Y) }

// With grows the box to hold p.
func (b Box) With(p XY) Box {
	return Box{
		Min: XY{min(b.Min.X, p.X), min(b.Min.Y, p.Y)},
		Max: XY{max(b.Max.X, p.X), max(b.Max.Y, p.Y)},
	}
}

// Union grows the box to hold o.
func (b Box) Union(o Box) Box {
	if o.Empty() {
		return b
	}
	return b.With(o.Min).With(o.Max)
}

// Grow moves every edge outward; an empty box stays empty.
func (b Box) Grow(d geo.Metres) Box {
	if b.Empty() {
		return b
	}
	m := XY{float64(d), float64(d)}
	return Box{Min: b.Min.Minus(m), Max: b.Max.Plus(m)}
}

// Meets reports whether the boxes have a point in common.
func (b Box) Meets(o Box) bool {
	return b.Min.X <= o.Max.X && o.Min.X <= b.Max.X && b.Min.Y <= o.Max.Y && o.Min.Y <= b.Max.Y
}

// Region is the box as ground.
func (b Box) Region() Region {
	if b.Empty() {
		return nil
	}
	return Region{{{b.Min, {b.Max.X, b.Min.Y}, b.Max, {b.Min.X, b.Max.Y}, b.Min}}}
}

// SignedArea is positive for a counter-clockwise ring. Where the ring crosses
// itself loops of opposite sense cancel.
func (r Ring) SignedArea() geo.SquareMetres {
	if len(r) < 4 {
		return 0
	}
	// Relative to the first corner, so that large coordinates cost no digits.
	var twice float64
	o := r[0]
	for i := 1; i+1 < len(r); i++ {
		twice += r[i].Minus(o).Cross(r[i+1].Minus(o))
	}
	return geo.SquareMetres(twice / 2)
}

// Length is the length of the ring.
func (r Ring) Length() geo.Metres { return Line(r).Length() }

// Box is the smallest box round the ring.
func (r Ring) Box() Box { return Line(r).Box() }

// Area is the shell less the holes.
func (p Polygon) Area() geo.SquareMetres {
	var a geo.SquareMetres
	for i, r := range p {
		part := geo.SquareMetres(math.Abs(float64(r.SignedArea())))
		if i > 0 {
			part = -part
		}
		a += part
	}
	return a
}

// Contains reports whether q lies in the polygon or on an edge of it, a hole's
// edge included. An edge is EdgeWidth wide to either side.
func (p Polygon) Contains(q XY) bool {
	inside := false
	for _, r := range p {
		in, on := r.locate(q)
		if on {
			return true
		}
		if in {
			inside = !inside
		}
	}
	return inside
}

func (r Ring) locate(q XY) (inside, onEdge bool) {
	const w = float64(EdgeWidth)
	for i := 0; i+1 < len(r); i++ {
		a, b := r[i], r[i+1]
		if min(a.Y, b.Y)-w > q.Y || max(a.Y, b.Y)+w < q.Y {
			continue
		}
		if max(a.X, b.X)+w < q.X {
			continue
		}
		if min(a.X, b.X)-w <= q.X && float64(q.Distance(q.NearestOn(a, b))) <= w {
			return false, true
		}
		if (a.Y > q.Y) != (b.Y > q.Y) && q.X < a.X+(q.Y-a.Y)*(b.X-a.X)/(b.Y-a.Y) {
			inside = !inside
		}
	}
	return inside, false
}

// Area is the sum of the polygons' areas.
func (r Region) Area() geo.SquareMetres {
	var a geo.SquareMetres
	for _, p := range r {
		a += p.Area()
	}
	return a
}

// Perimeter is the length of all edges, holes included.
func (r Region) Perimeter() geo.Metres {
	var d geo.Metres
	for _, p := range r {
		for _, ring := range p {
			d += ring.Length()
		}
	}
	return d
}

// Box is the smallest box round the region; empty where there is no ground.
func (r Region) Box() Box {
	b := NoBox()
	for _, p := range r {
		if len(p) > 0 {
			b = b.Union(p[0].Box())
		}
	}
	return b
}

// Contains reports whether q lies on the ground or on an edge of it.
func (r Region) Contains(q XY) bool {
	for _, p := range r {
		if p.Contains(q) {
			return true
		}
	}
	return false
}

// Holes counts the holes of all polygons.
func (r Region) Holes() int {
	n := 0
	for _, p := range r {
		n += max(0, len(p)-1)
	}
	return n
}

// Vertices counts the corners of all rings, each once.
func (r Region) Vertices() int {
	n := 0
	for _, p := range r {
		for _, ring := range p {
			n += max(0, len(ring)-1)
		}
	}
	return n
}

// Length is the length of the line.
func (l Line) Length() geo.Metres {
	var d geo.Metres
	for i := 1; i < len(l); i++ {
		d += l[i-1].Distance(l[i])
	}
	return d
}

// Box is the smallest box round the line.
func (l Line) Box() Box {
	b := NoBox()
	for _, p := range l {
		b = b.With(p)
	}
	return b
}
