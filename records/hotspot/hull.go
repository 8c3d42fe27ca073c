package hotspot

import (
	"cmp"
	"encoding/json"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/geo/wire"
)

// Hull is the smallest convex shape round a group's places: a polygon, a line
// when all lie on one, a point when they are one place. It is a picture: it
// takes in healthy plants and is never an area of work.
type Hull struct{ Shape orb.Geometry }

// MarshalJSON writes a GeoJSON geometry.
func (h Hull) MarshalJSON() ([]byte, error) {
	raw, err := wire.EncodeGeometry(geo.Geometry{Flat: h.Shape})
	return json.RawMessage(raw), err
}

// hullOf is nil without places. Longitude and latitude serve as plane
// coordinates: over a block they differ from metres by stretching only, which
// keeps what is convex convex. (Andrew 1979, monotone chain.)
func hullOf(places []geo.Position) *Hull {
	if len(places) == 0 {
		return nil
	}
	p := slices.Clone(places)
	slices.SortFunc(p, func(a, b geo.Position) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	p = slices.Compact(p)
	if len(p) == 1 {
		return &Hull{p[0]}
	}
	ring := append(chain(p), chain(reversed(p))...)
	if len(ring) == 2 {
		return &Hull{orb.LineString{p[0], p[len(p)-1]}}
	}
	return &Hull{orb.Polygon{append(ring, ring[0])}}
}

// chain is one side of the hull without its last point.
func chain(p []geo.Position) orb.Ring {
	var side orb.Ring
	for _, q := range p {
		for n := len(side); n >= 2 && !leftTurn(side[n-2], side[n-1], q); n-- {
			side = side[:n-1]
		}
		side = append(side, q)
	}
	return side[:len(side)-1]
}

// straight is how far, in degrees, a corner stands off the line of its
// neighbours to be one: a millimetre. Rows straight on the ground bend by
// nanometres in degrees.
const straight = 1e-8

func leftTurn(a, b, c geo.Position) bool {
	cross := (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
	return cross > straight*math.Hypot(c[0]-a[0], c[1]-a[1])
}

func reversed(p []geo.Position) []geo.Position {
	q := slices.Clone(p)
	slices.Reverse(q)
	return q
}
