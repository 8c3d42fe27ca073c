// Package measure gives areas, lengths and directions on the WGS 84 ellipsoid.
// Edges are geodesics. Against GeographicLib: areas within 1e-4 m2, distances
// within 1e-8 m (the digits it prints), for shapes from 0.1 m to 300 km.
//
// Nothing here judges a shape: rings that cross themselves, holes outside their
// shell and polygons that overlap are measured as they stand. Check them with
// package valid first. Coordinates that are no numbers give NaN.
package measure

import (
	"math"

	"caneward/geo"

	"github.com/paulmach/orb"
	"github.com/tidwall/geodesic"
)

// Area is the ground a Polygon, MultiPolygon, Ring, Bound or a collection of
// them takes: shells less holes, never negative, whichever way the rings run.
// Overlapping polygons count twice. Points, lines and nil have no area.
func Area(g orb.Geometry) geo.SquareMetres {
	switch g := g.(type) {
	case orb.Ring:
		return ringArea(g)
	case orb.Bound:
		return Area(g.ToPolygon())
	case orb.Polygon:
		var a geo.SquareMetres
		for i, r := range g {
			if i == 0 {
				a = ringArea(r)
			} else {
				a -= ringArea(r)
			}
		}
		return max(a, 0)
	case orb.MultiPolygon:
		var a geo.SquareMetres
		for _, p := range g {
			a += Area(p)
		}
		return a
	case orb.Collection:
		var a geo.SquareMetres
		for _, part := range g {
			a += Area(part)
		}
		return a
	default:
		return 0
	}
}

func ringArea(r orb.Ring) geo.SquareMetres {
	a, _ := SignedRing(r)
	return geo.SquareMetres(math.Abs(float64(a)))
}

// SignedRing is the area of a ring, positive when it runs counter-clockwise,
// and its length. The ring may be closed or open. Loops of opposite sense
// cancel.
func SignedRing(r orb.Ring) (geo.SquareMetres, geo.Metres) {
	poly := geodesic.WGS84.PolygonInit(false)
	for _, p := range open(r) {
		poly.AddPoint(p[1], p[0])
	}
	var area, perimeter float64
	poly.Compute(false, true, &area, &perimeter)
	return geo.SquareMetres(area), geo.Metres(perimeter)
}

func open(r orb.Ring) orb.Ring {
	for len(r) > 1 && r[0] == r[len(r)-1] {
		r = r[:len(r)-1]
	}
	return r
}

// Perimeter is the length of a ring, the way back to its start included.
func Perimeter(r orb.Ring) geo.Metres {
	_, d := SignedRing(r)
	return d
}

// Length is the length of a line.
func Length(l orb.LineString) geo.Metres {
	var d geo.Metres
	for i := 1; i < len(l); i++ {
		d += Distance(l[i-1], l[i])
	}
	return d
}

// Distance is the length of the shortest way between two positions.
func Distance(a, b geo.Position) geo.Metres {
	var d float64
	geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0], &d, nil, nil)
	return geo.Metres(d)
}

// Bearing is the direction, at a, of the shortest way from a to b, in [0, 360).
// It is 0 where a and b are the same place.
func Bearing(a, b geo.Position) geo.Degrees {
	if a == b {
		return 0
	}
	var azi float64
	geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0], nil, &azi, nil)
	return geo.Degrees(azi).Normal()
}

// Destination is the place d metres from p in the direction the bearing has at
// p. Its longitude is in [-180, 180].
func Destination(p geo.Position, bearing geo.Degrees, d geo.Metres) geo.Position {
	var lat, lon float64
	geodesic.WGS84.Direct(p[1], p[0], float64(bearing), float64(d), &lat, &lon, nil)
	return geo.Position{lon, lat}
}
