package valid_test

import (
	"math/rand/v2"
	"testing"

	"caneward/geo/valid"

	"github.com/paulmach/orb"
	"github.com/peterstace/simplefeatures/geom"
)

// The OGC's rules for polygons as an independent implementation has them:
// simplefeatures' Validate. Small whole coordinates make touching, shared
// corners and shared edges common.
func TestAgreesWithOGCValidity(t *testing.T) {
	rnd := rand.New(rand.NewPCG(42, 24))
	small := func(n, size int, x, y float64) orb.Ring {
		var xy []float64
		for range n {
			xy = append(xy, x+float64(rnd.IntN(size)), y+float64(rnd.IntN(size)))
		}
		return ring(xy...)
	}
	good, bad := 0, 0
	for i := range 6000 {
		var mp orb.MultiPolygon
		switch i % 3 {
		case 0: // a hole in a square, often at its edges
			mp = orb.MultiPolygon{{ring(0, 0, 8, 0, 8, 8, 0, 8), small(3+rnd.IntN(2), 9, 0, 0)}}
		case 1: // two holes
			mp = orb.MultiPolygon{{ring(0, 0, 8, 0, 8, 8, 0, 8), small(3, 6, 0, 0), small(3, 6, 3, 3)}}
		case 2: // two parts
			mp = orb.MultiPolygon{{small(3+rnd.IntN(2), 8, 0, 0)}, {small(3+rnd.IntN(2), 8, float64(rnd.IntN(6)), 0)}}
		}
		ours := true
		for _, d := range valid.Check(mp) {
			ours = ours && d.Rule == valid.RepeatedPoint
		}
		theirs := toEngine(mp).Validate() == nil
		if ours != theirs {
			t.Errorf("%d: %v\nours %q, theirs %v", i, mp, text(valid.Check(mp)), toEngine(mp).Validate())
		}
		if ours {
			good++
		} else {
			bad++
		}
	}
	if good < 500 || bad < 500 {
		t.Errorf("%d valid and %d invalid shapes: the test tells little", good, bad)
	}
}

func toEngine(mp orb.MultiPolygon) geom.MultiPolygon {
	var polys []geom.Polygon
	for _, p := range mp {
		var rings []geom.LineString
		for _, r := range p {
			var xy []float64
			for _, c := range r {
				xy = append(xy, c[0], c[1])
			}
			rings = append(rings, geom.NewLineStringXY(xy...))
		}
		polys = append(polys, geom.NewPolygon(rings))
	}
	return geom.NewMultiPolygon(polys)
}
