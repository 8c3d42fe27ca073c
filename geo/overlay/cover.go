package overlay

import (
	"context"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"

	"github.com/tidwall/rtree"
)

// covers checks that every part lies in the union. Where no edge of the union
// runs through the inside of a connected part, the part lies in it as a whole
// or not at all, and one inner point tells which. Corners and middles of the
// union's edges are looked at; ground up to geo.SamePlace wide may be missing.
func covers(ctx context.Context, union plane.Region, parts []plane.Region) error {
	var tree rtree.RTreeG[*part]
	all := make([]*part, 0, len(parts))
	for _, r := range parts {
		for _, poly := range r {
			if len(poly) == 0 || len(poly[0]) < 4 {
				continue
			}
			p := &part{poly: poly}
			box := poly[0].Box()
			tree.Insert([2]float64{box.Min.X, box.Min.Y}, [2]float64{box.Max.X, box.Max.Y}, p)
			all = append(all, p)
		}
	}
	var bad error
	look := func(q plane.XY) {
		at := [2]float64{q.X, q.Y}
		tree.Search(at, at, func(_, _ [2]float64, p *part) bool {
			if p.deep(q) {
				bad = &UncoveredError{At: q}
			}
			return bad == nil
		})
	}
	for _, poly := range union {
		if err := ctx.Err(); err != nil {
			return err
		}
		for _, ring := range poly {
			for i := 0; i+1 < len(ring) && bad == nil; i++ {
				look(ring[i])
				look(ring[i].Plus(ring[i+1]).Times(0.5))
			}
		}
	}
	if bad != nil {
		return bad
	}
	where := Locate(union)
	for i, p := range all {
		if i%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if q, ok := p.innerPoint(); ok && !where.Contains(q) {
			return &UncoveredError{At: q}
		}
	}
	return nil
}

// part is a polygon asked many times what lies inside; large ones get an index.
type part struct {
	poly  plane.Polygon
	edges *Locator
}

const indexFrom = 400 // corners; below it a plain loop is faster

func (p *part) contains(q plane.XY) bool {
	if p.edges == nil && len(p.poly[0]) >= indexFrom {
		p.edges = Locate(plane.Region{p.poly})
	}
	if p.edges != nil {
		return p.edges.Contains(q)
	}
	return p.poly.Contains(q)
}

// deep reports whether q lies inside by more than geo.SamePlace.
func (p *part) deep(q plane.XY) bool {
	return p.contains(q) && !p.nearEdge(q)
}

func (p *part) nearEdge(q plane.XY) bool {
	near := false
	const w = float64(geo.SamePlace)
	if p.edges != nil {
		p.edges.tree.Search([2]float64{q.X - w, q.Y - w}, [2]float64{q.X + w, q.Y + w}, func(_, _ [2]float64, s edge) bool {
			near = q.Distance(q.NearestOn(s.a, s.b)) <= geo.SamePlace
			return !near
		})
		return near
	}
	for _, ring := range p.poly {
		for i := 0; i+1 < len(ring); i++ {
			if q.Distance(q.NearestOn(ring[i], ring[i+1])) <= geo.SamePlace {
				return true
			}
		}
	}
	return false
}

// innerPoint is a point inside by more than geo.SamePlace: beside the middle
// of an edge. Parts too thin to have one there count as covered.
func (p *part) innerPoint() (plane.XY, bool) {
	ring := p.poly[0]
	sign := 1.0
	if ring.SignedArea() < 0 {
		sign = -1
	}
	for i := 0; i+1 < len(ring); i++ {
		d := ring[i+1].Minus(ring[i])
		length := float64(ring[i].Distance(ring[i+1]))
		if length == 0 {
			continue
		}
		left := plane.XY{X: -d.Y, Y: d.X}.Times(sign * 3 * float64(geo.SamePlace) / length)
		q := ring[i].Plus(ring[i+1]).Times(0.5).Plus(left)
		if p.deep(q) {
			return q, true
		}
	}
	return plane.XY{}, false
}

// InnerPoint is a place well inside the largest polygon of a region: halfway
// across it along a line through its middle. ok is false where there is no ground.
func InnerPoint(r plane.Region) (at plane.XY, ok bool) {
	var largest plane.Polygon
	for _, p := range r {
		if len(p) > 0 && len(p[0]) >= 4 && (largest == nil || p.Area() > largest.Area()) {
			largest = p
		}
	}
	if largest == nil {
		return plane.XY{}, false
	}
	box := largest[0].Box()
	best := 0.0
	// One of the lines a third, a half, two thirds up crosses the ground unless all of
	// them run through corners or holes; the widest stretch on any is taken.
	for _, share := range []float64{1.0 / 2, 1.0 / 3, 2.0 / 3} {
		y := box.Min.Y + (box.Max.Y-box.Min.Y)*share
		var cuts []float64
		for _, ring := range largest {
			for i := 0; i+1 < len(ring); i++ {
				a, b := ring[i], ring[i+1]
				if (a.Y > y) != (b.Y > y) {
					cuts = append(cuts, a.X+(y-a.Y)*(b.X-a.X)/(b.Y-a.Y))
				}
			}
		}
		slices.Sort(cuts)
		for i := 0; i+1 < len(cuts); i += 2 {
			if wide := cuts[i+1] - cuts[i]; wide > best {
				best, at, ok = wide, plane.XY{X: (cuts[i] + cuts[i+1]) / 2, Y: y}, true
			}
		}
	}
	return at, ok
}
