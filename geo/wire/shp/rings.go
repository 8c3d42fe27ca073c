package shp

import (
	"cmp"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// ring is a run of a polygon record.
type ring struct {
	points []orb.Point
	from   int     // in the record's points
	area   float64 // counter-clockwise is positive, in the file's units
	box    orb.Bound
	hole   bool
	shell  int // of a hole: which ring it is cut from
}

func (s *shapes) decodePolygon(t shapeType, c []byte) (geo.Geometry, []*wire.Error, *wire.Error) {
	p, departures, err := decodeParts(t, c)
	if err != nil || p.points == nil {
		return geo.Geometry{}, departures, err
	}
	if len(p.starts) == 2 {
		switch area := signedArea(p.points); {
		case area > 0:
			departures = append(departures, &wire.Error{Rule: RuleRing, Count: 1})
		case area < 0:
			p.reverse(0, len(p.points))
		}
		return geo.Geometry{Flat: orb.Polygon{orb.Ring(p.points)}, Heights: p.heights, Measures: p.measures}, departures, nil
	}
	rings := make([]ring, len(p.starts)-1)
	for i := range rings {
		run := p.run(i)
		area := signedArea(run)
		rings[i] = ring{points: run, from: p.starts[i], area: area, box: orb.MultiPoint(run).Bound(), hole: area > 0, shell: -1}
	}
	if !s.assign(rings) {
		departures = append(departures, &wire.Error{Rule: RuleRing, Count: 1})
		s.nest(rings)
	}
	if err := s.ctx.Err(); err != nil {
		return geo.Geometry{}, nil, &wire.Error{Rule: RuleRecord, Err: err}
	}
	return p.grouped(rings), departures, nil
}

// assign gives every hole the smallest shell it lies in; false when one lies in
// none. Directions are the format's own rule: clockwise is a shell ("Polygon").
func (s *shapes) assign(rings []ring) bool {
	var shells []int
	for i, r := range rings {
		if !r.hole {
			shells = append(shells, i)
		}
	}
	slices.SortStableFunc(shells, func(a, b int) int { return cmp.Compare(-rings[a].area, -rings[b].area) })
	for i := range rings {
		if !rings[i].hole {
			continue
		}
		if s.ctx.Err() != nil {
			return true // the reader ends before it gives the shape
		}
		at := slices.IndexFunc(shells, func(k int) bool { return rings[i].in(rings[k]) })
		if at < 0 {
			return false
		}
		rings[i].shell = shells[at]
	}
	return true
}

// nest groups rings whose directions cannot be right: a ring inside no other,
// or right inside a hole, is a shell; a ring right inside a shell is its hole.
func (s *shapes) nest(rings []ring) {
	bySize := make([]int, len(rings))
	for i := range bySize {
		bySize[i] = i
	}
	slices.SortStableFunc(bySize, func(a, b int) int {
		return cmp.Compare(math.Abs(rings[b].area), math.Abs(rings[a].area))
	})
	for n, i := range bySize {
		rings[i].hole, rings[i].shell = false, -1
		if s.ctx.Err() != nil {
			return
		}
		for _, k := range slices.Backward(bySize[:n]) {
			if rings[i].in(rings[k]) {
				rings[i].hole, rings[i].shell = !rings[k].hole, k
				break
			}
		}
	}
}

// mostTried is how many corners of a ring are tried against another: rings that
// share that many places all round are neighbours along a whole edge, and
// trying every corner of both would take the square of their number.
const mostTried = 32

// in reports whether a ring lies in a larger one, judged by the first of some
// corners, and middles of sides, that does not lie on it. One that lies on it
// wherever it was tried is in it.
func (r ring) in(around ring) bool {
	if math.Abs(r.area) >= math.Abs(around.area) {
		return false
	}
	b, a := r.box, around.box
	if b.Min[0] < a.Min[0] || b.Min[1] < a.Min[1] || b.Max[0] > a.Max[0] || b.Max[1] > a.Max[1] {
		return false
	}
	step := (len(r.points) + mostTried - 1) / mostTried
	for i := 0; i < len(r.points); i += step {
		p, q := r.points[i], r.points[(i+1)%len(r.points)]
		if side := sideOf(p, around.points); side != 0 {
			return side > 0
		}
		if side := sideOf(orb.Point{(p[0] + q[0]) / 2, (p[1] + q[1]) / 2}, around.points); side != 0 {
			return side > 0
		}
	}
	return true
}

// sideOf is 1 for a point inside a ring, -1 outside, 0 exactly on it.
func sideOf(p orb.Point, ring []orb.Point) int {
	side := -1
	for i, b := range ring {
		a := ring[(i+len(ring)-1)%len(ring)]
		if (a[1] > p[1]) == (b[1] > p[1]) {
			if a[1] == p[1] && b[1] == p[1] && min(a[0], b[0]) <= p[0] && p[0] <= max(a[0], b[0]) || a == p || b == p {
				return 0
			}
			continue
		}
		cross := (b[0]-a[0])*(p[1]-a[1]) - (b[1]-a[1])*(p[0]-a[0])
		if cross == 0 {
			return 0
		}
		if (cross > 0) == (b[1] > a[1]) {
			side = -side
		}
	}
	return side
}

// signedArea is positive counter-clockwise. It is taken about the first corner,
// so that nothing cancels far from the origin.
func signedArea(ring []orb.Point) float64 {
	var twice float64
	o := ring[0]
	for i := 2; i < len(ring); i++ {
		a, b := ring[i-1], ring[i]
		twice += (a[0]-o[0])*(b[1]-o[1]) - (b[0]-o[0])*(a[1]-o[1])
	}
	return twice / 2
}

// reverse turns a run of points round, with what belongs to them.
func (p parts) reverse(from, to int) {
	slices.Reverse(p.points[from:to])
	if p.heights != nil {
		slices.Reverse(p.heights[from:to])
	}
	if p.measures != nil {
		slices.Reverse(p.measures[from:to])
	}
}

// grouped puts shells in file order, each followed by its holes, and turns
// them as RFC 7946 has them.
func (p parts) grouped(rings []ring) geo.Geometry {
	var polygons orb.MultiPolygon
	place := make([]int, len(rings)) // of a shell's polygon
	for i, r := range rings {
		if (r.area < 0) != r.hole {
			p.reverse(r.from, r.from+len(r.points))
		}
		if !r.hole {
			place[i] = len(polygons)
			polygons = append(polygons, orb.Polygon{orb.Ring(r.points)})
		}
	}
	order := make([][]int, len(polygons))
	for i, r := range rings {
		if !r.hole {
			order[place[i]] = append([]int{i}, order[place[i]]...)
			continue
		}
		at := place[r.shell]
		polygons[at] = append(polygons[at], orb.Ring(r.points))
		order[at] = append(order[at], i)
	}
	g := geo.Geometry{Flat: polygons, Heights: ordered(p.heights, rings, order), Measures: ordered(p.measures, rings, order)}
	if len(polygons) == 1 {
		g.Flat = polygons[0]
	}
	return g
}

// ordered brings values into the order of grouped rings.
func ordered(values []float64, rings []ring, order [][]int) []float64 {
	if values == nil {
		return nil
	}
	out := make([]float64, 0, len(values))
	for _, polygon := range order {
		for _, i := range polygon {
			out = append(out, values[rings[i].from:rings[i].from+len(rings[i].points)]...)
		}
	}
	return out
}
