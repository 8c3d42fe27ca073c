package plane_test

import (
	"math"
	"reflect"
	"testing"

	"caneward/geo"
	"caneward/geo/plane"

	"github.com/paulmach/orb"
)

func TestRegionOrientsAndCloses(t *testing.T) {
	f, err := plane.FrameAt(geo.Position{-93, 36})
	if err != nil {
		t.Fatal(err)
	}
	clockwiseOpen := orb.Ring{{-93, 36}, {-93, 36.001}, {-93, 36.001}, {-92.999, 36.001}, {-92.999, 36}}
	hole := orb.Ring{{-92.9998, 36.0002}, {-92.9994, 36.0002}, {-92.9994, 36.0006}, {-92.9998, 36.0002}}
	r, err := f.Region(orb.Polygon{clockwiseOpen, hole})
	if err != nil {
		t.Fatal(err)
	}
	if len(r) != 1 || len(r[0]) != 2 || len(r[0][0]) != 5 || len(r[0][1]) != 4 {
		t.Fatalf("region %v", r)
	}
	if r[0][0].SignedArea() <= 0 || r[0][1].SignedArea() >= 0 {
		t.Errorf("shell %v and hole %v, want + and -", r[0][0].SignedArea(), r[0][1].SignedArea())
	}
	mp := f.MultiPolygon(r)
	if mp[0][0].Orientation() != orb.CCW || mp[0][1].Orientation() != orb.CW {
		t.Error("the way back does not run as RFC 7946 says")
	}
	again, err := f.Region(mp)
	if err != nil {
		t.Fatal(err)
	}
	if off := math.Abs(float64(again.Area() - r.Area())); off > 1e-6 {
		t.Errorf("area %v comes back as %v", r.Area(), again.Area())
	}
	if got := f.MultiPolygon(nil); got == nil || len(got) != 0 {
		t.Errorf("no ground gives %v, want an empty MultiPolygon", got)
	}
}

func TestShapeSplits(t *testing.T) {
	f, err := plane.FrameAt(geo.Position{-93, 36})
	if err != nil {
		t.Fatal(err)
	}
	square := orb.Bound{Min: orb.Point{-93, 36}, Max: orb.Point{-92.999, 36.001}}
	closedLine := orb.LineString(square.ToRing())
	tests := []struct {
		name                  string
		in                    orb.Geometry
		points, lines, ground int
	}{
		{"nothing", nil, 0, 0, 0},
		{"point", orb.Point{-93, 36}, 1, 0, 0},
		{"points", orb.MultiPoint{{-93, 36}, {-93, 36.1}}, 2, 0, 0},
		{"closed line stays a line", closedLine, 0, 1, 0},
		{"lines", orb.MultiLineString{closedLine, {{-93, 36}, {-93, 36.001}}}, 0, 2, 0},
		{"box", square, 0, 0, 1},
		{"ring", square.ToRing(), 0, 0, 1},
		{"polygons", orb.MultiPolygon{square.ToPolygon(), square.ToPolygon()}, 0, 0, 2},
		{"empty polygon", orb.Polygon{}, 0, 0, 0},
		{"collection", orb.Collection{orb.Point{-93, 36}, orb.Collection{closedLine, square.ToPolygon()}}, 1, 1, 1},
	}
	for _, c := range tests {
		s, err := f.Shape(c.in)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := [3]int{len(s.Points), len(s.Lines), len(s.Ground)}; got != [3]int{c.points, c.lines, c.ground} {
			t.Errorf("%s: %v points, lines, polygons, want %v", c.name, got, [3]int{c.points, c.lines, c.ground})
		}
	}
}

func TestTurn(t *testing.T) {
	tests := []struct {
		bearing geo.Degrees
		in      plane.XY
		want    plane.XY
	}{
		{0, plane.XY{X: 3, Y: 4}, plane.XY{X: 3, Y: 4}},
		{90, plane.XY{X: 10}, plane.XY{Y: 10}}, // east becomes up
		{90, plane.XY{Y: -2}, plane.XY{X: 2}},  // south is right of east
		{180, plane.XY{Y: -7}, plane.XY{Y: 7}},
		{-90, plane.XY{X: -5}, plane.XY{Y: 5}},
		{450, plane.XY{X: 10}, plane.XY{Y: 10}},
	}
	for _, c := range tests {
		if got := plane.Turn(c.in, c.bearing); got != c.want {
			t.Errorf("Turn(%v, %v) = %v, want %v", c.in, c.bearing, got, c.want)
		}
	}
	for b := geo.Degrees(-400); b < 400; b += 17.3 {
		up := plane.Turn(plane.Heading(b).Times(12), b)
		if up.Distance(plane.XY{Y: 12}) > 1e-12 {
			t.Errorf("12 m along %v° turn to %v, want 0, 12", b, up)
		}
		p := plane.XY{X: 3, Y: -8}
		if back := plane.Turn(plane.Turn(p, b), -b); back.Distance(p) > 1e-12 {
			t.Errorf("turned by %v° and back: %v, want %v", b, back, p)
		}
	}
}

func ring(xy ...float64) plane.Ring {
	var r plane.Ring
	for i := 0; i < len(xy); i += 2 {
		r = append(r, plane.XY{X: xy[i], Y: xy[i+1]})
	}
	return append(r, r[0])
}

func TestContains(t *testing.T) {
	r := plane.Region{
		{ring(0, 0, 10, 0, 10, 10, 0, 10), ring(4, 4, 4, 6, 6, 6, 6, 4)},
		{ring(10, 0, 20, 0, 20, 10)},
	}
	tests := []struct {
		name string
		p    plane.XY
		want bool
	}{
		{"inside", plane.XY{X: 1, Y: 1}, true},
		{"level with corners", plane.XY{X: 2, Y: 4}, true},
		{"corner", plane.XY{X: 0, Y: 10}, true},
		{"edge", plane.XY{X: 5, Y: 0}, true},
		{"hole", plane.XY{X: 5, Y: 5}, false},
		{"hole's edge", plane.XY{X: 4, Y: 5}, true},
		{"hole's corner", plane.XY{X: 6, Y: 6}, true},
		{"outside level with a corner", plane.XY{X: -1, Y: 10}, false},
		{"shared edge", plane.XY{X: 10, Y: 0}, true},
		{"second polygon", plane.XY{X: 18, Y: 3}, true},
		{"slanted edge", plane.XY{X: 15, Y: 5}, true},
		{"beyond the slanted edge", plane.XY{X: 15, Y: 5.000001}, false},
	}
	for _, c := range tests {
		if got := r.Contains(c.p); got != c.want {
			t.Errorf("%s %v: %v, want %v", c.name, c.p, got, c.want)
		}
	}
	if got := r.Area(); got != 96+50 {
		t.Errorf("area %v, want 146", got)
	}
	if got := r.Perimeter(); math.Abs(float64(got)-(40+8+20+math.Sqrt(200))) > 1e-12 {
		t.Errorf("perimeter %v", got)
	}
	if got := r.Box(); got != (plane.Box{Max: plane.XY{X: 20, Y: 10}}) {
		t.Errorf("box %v", got)
	}
	if !plane.NoBox().Empty() || plane.NoBox().Region() != nil || !plane.NoBox().Grow(5).Empty() {
		t.Error("the box of nothing is not empty")
	}
	if got := r.Box().Region(); !reflect.DeepEqual(got.Box(), r.Box()) || got.Area() != 200 {
		t.Errorf("box as ground: %v", got)
	}
}
