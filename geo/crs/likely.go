package crs

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"caneward/geo"

	"github.com/paulmach/orb"
)

const (
	mostLikely = 12

	// maxNear is how far from the farm ground is still thought to be its own.
	maxNear geo.Metres = 1_000_000

	// sameNear is how much nearer one system's answer must be to be the more
	// likely: feet of both kinds and other spellings of one grid lie closer.
	sameNear geo.Metres = 1000
)

// candidate is a system a box fits, and what it is ranked by.
type candidate struct {
	s        *System
	distance geo.Metres // from the farm, in steps of sameNear
	rank     int
}

// Likely are the systems of the table in whose own area of use the whole box of
// raw coordinates falls, the most likely first, at most 12. Degrees come first
// when the box fits them. With near the others follow by how near to it they put
// the middle of the box, those farther than 1,000 km left out; without it the
// common ones come first: Web Mercator, grids of NAD83, UTM, others, of each
// kind those of small area before large. Systems that differ by their datum only
// are one, WGS 84 or else NAD83 standing for them; a grid in two units stands
// twice. A box that is empty or not finite has none.
//
// It guesses. Many grids are alike, and coordinates that fit one fit its
// neighbours, hundreds of kilometres off: a person has to choose.
func Likely(box orb.Bound, near *geo.Position) []*System {
	if !(box.Min[0] <= box.Max[0] && box.Min[1] <= box.Max[1]) || math.IsInf(box.Min[0], 0) || math.IsInf(box.Max[0], 0) ||
		math.IsInf(box.Min[1], 0) || math.IsInf(box.Max[1], 0) {
		return nil
	}
	var found []candidate
	for _, s := range tables().distinct() {
		middle, fits := s.holds(box)
		if !fits {
			continue
		}
		c := candidate{s: s, rank: s.commonness()}
		if near != nil && s.method != degrees {
			d := apart(middle, *near)
			if !(d <= maxNear) {
				continue
			}
			c.distance = geo.Metres(math.Floor(float64(d / sameNear)))
		}
		found = append(found, c)
	}
	slices.SortStableFunc(found, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.first(), b.first()), cmp.Compare(a.distance, b.distance), cmp.Compare(a.rank, b.rank),
			cmp.Compare(extent(a.s.use), extent(b.s.use)), cmp.Compare(a.s.code, b.s.code))
	})
	out := make([]*System, 0, min(mostLikely, len(found)))
	for _, c := range found[:min(mostLikely, len(found))] {
		out = append(out, c.s)
	}
	return out
}

// first puts degrees before everything.
func (c candidate) first() int {
	if c.s.method == degrees {
		return 0
	}
	return 1
}

// commonness ranks kinds of systems by how often files without a name turn out
// to be in them (our judgement; common practice, no source).
func (s *System) commonness() int {
	switch {
	case s.method == degrees:
		return 0
	case s.method == pseudoMercator:
		return 1
	case strings.Contains(s.name, "UTM zone"):
		return 3
	case s.datum.family == "NAD83":
		return 2
	}
	return 4
}

// holds says whether the corners and the middle of the box fall within the
// system's area of use, and where the middle lies.
func (s *System) holds(box orb.Bound) (geo.Position, bool) {
	var at geo.Position
	for _, xy := range []orb.Point{box.Min, box.Max, {box.Min[0], box.Max[1]}, {box.Max[0], box.Min[1]}, box.Center()} {
		p, err := s.Position(xy[0], xy[1])
		if err != nil || !within(s.use, p) {
			return p, false
		}
		at = p
	}
	return at, true
}

// within knows boxes across the antimeridian.
func within(b orb.Bound, p geo.Position) bool {
	if p[1] < b.Min[1] || p[1] > b.Max[1] {
		return false
	}
	if b.Min[0] > b.Max[0] {
		return p[0] >= b.Min[0] || p[0] <= b.Max[0]
	}
	return p[0] >= b.Min[0] && p[0] <= b.Max[0]
}

// apart is the distance on a sphere, good to half a percent.
func apart(p, q geo.Position) geo.Metres {
	dLat, dLon := (p[1]-q[1])*rad, wrap(p[0]-q[0])*rad
	s, t := math.Sin(dLat/2), math.Sin(dLon/2)
	h := s*s + math.Cos(p[1]*rad)*math.Cos(q[1]*rad)*t*t
	return geo.Metres(2 * 6371008.8 * math.Asin(math.Sqrt(math.Min(1, h))))
}

// distinct are the systems Likely chooses from: WGS 84 for all degrees, and one
// for all datums of a grid.
func (r *register) distinct() []*System {
	r.once.Do(func() {
		byGrid := map[parameters][]*System{}
		r.apart = append(r.apart, r.codes[4326])
		sorted := slices.Clone(r.systems)
		slices.SortStableFunc(sorted, func(a, b *System) int { return cmp.Compare(a.standing(), b.standing()) })
		for _, s := range sorted {
			k := s.p.rounded()
			if s.method == degrees || slices.ContainsFunc(byGrid[k], s.same) {
				continue
			}
			byGrid[k] = append(byGrid[k], s)
			r.apart = append(r.apart, s)
		}
	})
	return r.apart
}

// standing orders the datums of one grid.
func (s *System) standing() int {
	switch s.datum.code {
	case 6326:
		return 0
	case 6269:
		return 1
	}
	return 2
}

// rounded gathers grids that may be the same.
func (p parameters) rounded() parameters {
	return parameters{lat0: math.Round(p.lat0 * 1000), lon0: math.Round(p.lon0 * 1000), scale: math.Round(p.scale * 1e6)}
}
