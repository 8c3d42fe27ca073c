package intake

import (
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/measure"

	"github.com/paulmach/orb"
)

// draft is an outline while it is mended: every ring a list of vertex numbers
// into the shape as it came, so that heights and measures stay with theirs.
type draft struct {
	at       []geo.Position
	heights  []float64
	measures []float64
	parts    [][]ring
}

// ring is a ring without its closing vertex. It remembers where it stood.
type ring struct {
	corners    []int
	first      int // number of its first vertex
	part, ring int // from 1, in the shape as it came
	closed     bool
	repeats    int // corners dropped for standing where their neighbour stands
	firstTwice int // number, from 1 in its ring, of the first one dropped
}

// draftOf takes an outline apart; false when it is none.
func draftOf(g geo.Geometry) (draft, bool) {
	var polygons orb.MultiPolygon
	switch flat := g.Flat.(type) {
	case orb.Polygon:
		polygons = orb.MultiPolygon{flat}
	case orb.MultiPolygon:
		polygons = flat
	default:
		return draft{}, false
	}
	d := draft{heights: g.Heights, measures: g.Measures}
	for i, p := range polygons {
		var rings []ring
		for j, r := range p {
			one := ring{first: len(d.at), part: i + 1, ring: j + 1, closed: len(r) > 1 && r[0] == r[len(r)-1]}
			for range r {
				one.corners = append(one.corners, len(d.at)+len(one.corners))
			}
			d.at = append(d.at, r...)
			rings = append(rings, one)
		}
		d.parts = append(d.parts, rings)
	}
	return d, true
}

// withoutRepeats drops corners that stand where the one before stands, the
// closing one included.
func (d draft) withoutRepeats(r ring) ring {
	kept := make([]int, 0, len(r.corners))
	for i, v := range r.corners {
		if len(kept) > 0 && d.same(kept[len(kept)-1], v) {
			r.repeated(i)
			continue
		}
		kept = append(kept, v)
	}
	for closing := true; len(kept) > 1 && d.same(kept[0], kept[len(kept)-1]); closing = false {
		// One corner at the end on top of the first is how rings are closed.
		if !closing {
			r.repeated(len(r.corners) - 1)
		}
		r.closed = true
		kept = kept[:len(kept)-1]
	}
	r.corners = kept
	return r
}

func (r *ring) repeated(i int) {
	if r.repeats == 0 {
		r.firstTwice = i + 1
	}
	r.repeats++
}

// nearby is a quick first look in degrees: 1e-7 of latitude is 11 mm, and of
// longitude more than SamePlace up to 89.9 degrees.
const nearby = 1e-7

func (d draft) same(a, b int) bool {
	p, q := d.at[a], d.at[b]
	if p == q {
		return true
	}
	dLon := math.Abs(math.Remainder(p[0]-q[0], 360))
	return dLon < nearby && math.Abs(p[1]-q[1]) < nearby && measure.Distance(p, q) < geo.SamePlace
}

// turned gives the ring the direction RFC 7946 section 3.1.6 asks for, its
// first corner kept.
func (d draft) turned(r ring, shell bool) ring {
	ring := d.positions(r)
	area := roughArea(ring)
	if math.Abs(float64(area)) < float64(certainArea) {
		area, _ = measure.SignedRing(ring)
	}
	if area == 0 || (area > 0) == shell {
		return r
	}
	r.corners = slices.Clone(r.corners)
	slices.Reverse(r.corners[1:])
	return r
}

func (d draft) positions(r ring) orb.Ring {
	out := make(orb.Ring, 0, len(r.corners)+1)
	for _, v := range r.corners {
		out = append(out, d.at[v])
	}
	return append(out, out[0])
}

// geometry puts the outline together again, rings closed; a Polygon when it
// has one part and came as one.
func (d draft) geometry(single bool) geo.Geometry {
	var g geo.Geometry
	polygons := make(orb.MultiPolygon, 0, len(d.parts))
	for _, rings := range d.parts {
		polygon := make(orb.Polygon, 0, len(rings))
		for _, r := range rings {
			polygon = append(polygon, d.positions(r))
			g.Heights = d.values(g.Heights, d.heights, r)
			g.Measures = d.values(g.Measures, d.measures, r)
		}
		polygons = append(polygons, polygon)
	}
	g.Flat = polygons
	if single && len(polygons) == 1 {
		g.Flat = polygons[0]
	}
	return g
}

func (d draft) values(to, from []float64, r ring) []float64 {
	if from == nil {
		return nil
	}
	for _, v := range r.corners {
		to = append(to, from[v])
	}
	return append(to, from[r.corners[0]])
}
