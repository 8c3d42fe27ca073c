package spray

import (
	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/geo/plane"
)

// touch is how near edges may come and still only touch: a hundredth of hairline,
// and well over what frames and stored decimals move.
const touch geo.Metres = 5e-4

// manyEdges is from how many pairs of edges on an overlay is no dearer than looking
// at all of them.
const manyEdges = 40_000

// lies reports whether all of a lies on b, or none of it, edges that run along each
// other disregarded, where that is plain without an overlay: no edge of the one
// passes through the inside of the other. Neither is the answer when it is not
// plain.
func lies(a, b plane.Region) (whole, apart bool) {
	if a.Vertices()*b.Vertices() > manyEdges {
		return false, false
	}
	insideA, insideB := overlay.Locate(a), overlay.Locate(b)
	if cross(a, b) || runsThrough(b, a, insideA) {
		return false, false
	}
	on, off := false, false
	for _, poly := range a {
		at, ok := overlay.InnerPoint(plane.Region{poly})
		if !ok {
			continue
		}
		if insideB.Contains(at) {
			on = true
		} else {
			off = true
		}
	}
	return on && !off, off && !on
}

// cross reports whether two edges cross plainly: both ends of each on different
// sides of the other, by more than touch.
func cross(a, b plane.Region) bool {
	found := false
	eachEdge(a, func(p, q plane.XY) {
		if found {
			return
		}
		box := plane.Line{p, q}.Box()
		eachEdge(b, func(r, s plane.XY) {
			if !found && box.Meets(plane.Line{r, s}.Box()) {
				found = parted(p, q, r, s) && parted(r, s, p, q)
			}
		})
	})
	return found
}

// parted reports whether r and s lie on different sides of the line through p and
// q, both by more than touch.
func parted(p, q, r, s plane.XY) bool {
	d := q.Minus(p)
	length := float64(p.Distance(q))
	if length == 0 {
		return false
	}
	left, right := d.Cross(r.Minus(p))/length, d.Cross(s.Minus(p))/length
	return left > float64(touch) && right < -float64(touch) || left < -float64(touch) && right > float64(touch)
}

// looks is at how many places of an edge it is asked whether it runs through ground.
const looks = 8

// runsThrough reports whether an edge of the region passes through the inside of the
// ground, touching at its corners perhaps.
func runsThrough(edges, ground plane.Region, inside *overlay.Locator) bool {
	box := ground.Box()
	found := false
	eachEdge(edges, func(p, q plane.XY) {
		from, to, ok := clip(p, q, box)
		if found || !ok {
			return
		}
		for k := range looks + 1 {
			at := p.Plus(q.Minus(p).Times(from + (to-from)*float64(k)/looks))
			if inside.Contains(at) && !nearEdge(at, ground) {
				found = true
				return
			}
		}
	})
	return found
}

func nearEdge(at plane.XY, ground plane.Region) bool {
	near := false
	eachEdge(ground, func(p, q plane.XY) { near = near || at.Distance(at.NearestOn(p, q)) <= touch })
	return near
}

func eachEdge(r plane.Region, do func(p, q plane.XY)) {
	for _, poly := range r {
		for _, ring := range poly {
			for i := 0; i+1 < len(ring); i++ {
				do(ring[i], ring[i+1])
			}
		}
	}
}

// clip is the stretch of an edge within a box, as shares of the way along it (Liang
// and Barsky).
func clip(p, q plane.XY, box plane.Box) (from, to float64, ok bool) {
	from, to = 0, 1
	d := q.Minus(p)
	for _, side := range [][2]float64{{-d.X, p.X - box.Min.X}, {d.X, box.Max.X - p.X}, {-d.Y, p.Y - box.Min.Y}, {d.Y, box.Max.Y - p.Y}} {
		switch {
		case side[0] == 0 && side[1] < 0:
			return 0, 0, false
		case side[0] < 0:
			from = max(from, side[1]/side[0])
		case side[0] > 0:
			to = min(to, side[1]/side[0])
		}
	}
	return from, to, from <= to
}
