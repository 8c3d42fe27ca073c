package tiles

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/mvt"
)

func TestParseAddress(t *testing.T) {
	good := map[string]Address{"0/0/0": {}, "1/1/0": {1, 1, 0}, "22/4194303/0": {22, 4194303, 0}}
	for text, want := range good {
		if got, err := parseText(text); err != nil || got != want {
			t.Errorf("%s: %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"0/1/0", "0/0/1", "1/2/0", "-1/0/0", "abc/0/0", "60/0/0", "23/0/0", "01/0/0", "1/+1/0", "1/1.0/0", "1/ 1/0", "/0/0", "1/4294967297/0"} {
		if got, err := parseText(text); err == nil {
			t.Errorf("%s: read as %v, want a refusal", text, got)
		}
	}
}

func parseText(text string) (Address, error) {
	var parts [3]string
	for i, rest := 0, text; i < 3; i++ {
		before, after, _ := bytes.Cut([]byte(rest), []byte("/"))
		parts[i], rest = string(before), string(after)
	}
	return ParseAddress(parts[0], parts[1], parts[2])
}

// The place of a position on a tile is written out here from the definition of
// spherical Mercator (OGC 17-083r2, annex D.1), not taken from the library.
func unit(a Address, lon, lat float64) (int, int) {
	n := math.Exp2(float64(a.Z)) * extent
	s := math.Sin(lat * math.Pi / 180)
	x := (lon + 180) / 360 * n
	y := (0.5 - math.Log((1+s)/(1-s))/(4*math.Pi)) * n
	return int(math.Floor(x)) - int(a.X)*extent, int(math.Floor(y)) - int(a.Y)*extent
}

func TestEncodePlacesAndTurns(t *testing.T) {
	a := Address{14, 4532, 6445}
	box := a.tile().Bound()
	w, h := box.Max[0]-box.Min[0], box.Max[1]-box.Min[1]
	at := func(x, y float64) orb.Point { return orb.Point{box.Min[0] + x*w, box.Max[1] - y*h} }
	// Counter-clockwise outside, clockwise hole, as RFC 7946 wants them.
	shape := orb.Polygon{
		{at(.1, .9), at(.9, .9), at(.9, .1), at(.1, .1), at(.1, .9)},
		{at(.4, .6), at(.4, .4), at(.6, .4), at(.6, .6), at(.4, .6)},
	}
	before := shape.Clone()
	features := []Feature{
		{shape, map[string]any{"id": "a", "name": "Upper"}},
		{at(.25, .5), map[string]any{"id": "b", "severity": 2.0}},
		{orb.LineString{at(-3, .5), at(4, .5)}, map[string]any{"id": "c"}},
		{orb.Point{box.Min[0] - w, box.Min[1]}, map[string]any{"id": "out of sight"}},
		{orb.LineString{}, nil},
		{orb.Collection{at(.5, .5)}, map[string]any{"id": "d"}},
	}
	got, err := Encode(a, "blocks", features)
	if err != nil {
		t.Fatal(err)
	}
	if !shape.Equal(before) {
		t.Error("Encode changed the shape it was given")
	}
	layers, err := mvt.Unmarshal(got)
	if err != nil || len(layers) != 1 || layers[0].Name != "blocks" || layers[0].Version != 2 || layers[0].Extent != extent {
		t.Fatalf("layers %v, %v", layers, err)
	}
	if n := len(layers[0].Features); n != 4 {
		t.Fatalf("%d features, want 4", n)
	}
	p := layers[0].Features[0].Geometry.(orb.Polygon)
	if surveyor(p[0]) <= 0 || surveyor(p[1]) >= 0 {
		t.Errorf("areas %d and %d, want outer positive and hole negative (vector tile specification 4.3.4.4)", surveyor(p[0]), surveyor(p[1]))
	}
	x, y := unit(a, at(.25, .5)[0], at(.25, .5)[1])
	if g := layers[0].Features[1].Geometry.(orb.Point); int(g[0]) != x || int(g[1]) != y {
		t.Errorf("point at %v, want %d %d", g, x, y)
	}
	if b := layers[0].Features[2].Geometry.Bound(); b.Min[0] != -buffer || b.Max[0] != extent+buffer {
		t.Errorf("line spans %v, want the tile and its buffer", b)
	}
	for i := 0; i < 20; i++ {
		if again, _ := Encode(a, "blocks", features); !bytes.Equal(again, got) {
			t.Fatal("equal input, other bytes")
		}
	}
}

func TestEncodeNothing(t *testing.T) {
	for name, f := range map[string][]Feature{
		"none": nil, "elsewhere": {{orb.Point{10, 10}, nil}}, "no shape": {{nil, nil}},
		"line within a unit":  {{orb.LineString{{-80, 35}, {-79.9999999, 35}}, nil}},
		"smaller than a unit": {{orb.Polygon{{{-80, 35}, {-79.9999999, 35}, {-79.9999999, 35.0000001}, {-80, 35}}}, nil}},
	} {
		a := Address{4, 4, 6}
		if got, err := Encode(a, "x", f); err != nil || got != nil {
			t.Errorf("%s: %d bytes, %v, want none", name, len(got), err)
		}
	}
}

func TestThin(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	a := Address{10, 283, 402}
	box := a.tile().Bound()
	var many []Feature
	for i := 0; i < 50000; i++ {
		p := orb.Point{box.Min[0] + r.Float64()*(box.Max[0]-box.Min[0]), box.Min[1] + r.Float64()*(box.Max[1]-box.Min[1])}
		many = append(many, Feature{p, map[string]any{"id": fmt.Sprint(i)}})
	}
	thin := Thin(a, many)
	if len(thin) > thinMost {
		t.Errorf("%d points left, want at most %d", len(thin), thinMost)
	}
	total := 0
	for _, f := range thin {
		if n, ok := f.Properties["count"].(int); ok {
			total += n
		} else {
			total++
		}
	}
	if total != len(many) {
		t.Errorf("the cells count %d points, want %d", total, len(many))
	}
	first, _ := Encode(a, "finds", thin)
	second, _ := Encode(a, "finds", Thin(a, many))
	if !bytes.Equal(first, second) || len(first) > 200<<10 {
		t.Errorf("%d and %d bytes, want equal and under 200 kB", len(first), len(second))
	}
	if got := Thin(Address{15, 0, 0}, many[:10]); len(got) != 10 {
		t.Errorf("zoom 15: %d points, want all 10", len(got))
	}
}

func FuzzParseAddress(f *testing.F) {
	f.Add("14", "4532", "6445")
	f.Fuzz(func(t *testing.T, z, x, y string) {
		if a, err := ParseAddress(z, x, y); err == nil && !a.tile().Valid() {
			t.Errorf("%s/%s/%s read as %v", z, x, y, a)
		}
	})
}
