package intake

import (
	"math"
	"math/rand"
	"reflect"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/geo/valid"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// metres places corners given in metres from a spot near 94.44 W, 36.31 N.
func metres(t *testing.T, corners ...[2]float64) orb.Ring {
	t.Helper()
	f, err := plane.FrameAt(geo.Position{-94.44, 36.31})
	if err != nil {
		t.Fatal(err)
	}
	r := make(orb.Ring, len(corners))
	for i, c := range corners {
		r[i] = f.Position(plane.XY{X: c[0], Y: c[1]})
	}
	return r
}

func TestCheckMends(t *testing.T) {
	square := orb.Ring{{0, 0}, {0.001, 0}, {0.001, 0.001}, {0, 0.001}, {0, 0}}
	other := orb.Ring{{0.01, 0}, {0.011, 0}, {0.011, 0.001}, {0.01, 0}}
	for _, c := range []struct {
		name    string
		g, want geo.Geometry
		keys    string
	}{
		{"good", geo.Geometry{Flat: orb.Polygon{square}}, geo.Geometry{Flat: orb.Polygon{square}}, ""},
		{"open", geo.Geometry{Flat: orb.Polygon{square[:4]}}, geo.Geometry{Flat: orb.Polygon{square}}, "intake-closed"},
		{"clockwise, heights turned with it",
			geo.Geometry{Flat: orb.Polygon{{{0, 0}, {0, 0.001}, {0.001, 0.001}, {0.001, 0}, {0, 0}}}, Heights: []float64{1, 2, 3, 4, 1}},
			geo.Geometry{Flat: orb.Polygon{square}, Heights: []float64{1, 4, 3, 2, 1}}, ""},
		{"repeats, also round the end",
			geo.Geometry{Flat: orb.Polygon{{{0, 0}, {0.001, 0}, {0.001, 0}, {0.001, 0.001}, {0, 0.001}, {0, 0}, {0, 0}}}, Measures: []float64{1, 2, 3, 4, 5, 6, 7}},
			geo.Geometry{Flat: orb.Polygon{square}, Measures: []float64{1, 2, 4, 5, 1}}, "intake-dropped-repeats"},
		{"closed within a tenth of a millimetre",
			geo.Geometry{Flat: orb.Polygon{{{0, 0}, {0.001, 0}, {0.001, 0.001}, {0, 0.001}, {0, 5e-10}}}},
			geo.Geometry{Flat: orb.Polygon{square}}, ""},
		{"hole the same way round",
			geo.Geometry{Flat: orb.Polygon{square, {{0.0002, 0.0002}, {0.0004, 0.0002}, {0.0004, 0.0004}, {0.0002, 0.0002}}}},
			geo.Geometry{Flat: orb.Polygon{square, {{0.0002, 0.0002}, {0.0004, 0.0004}, {0.0004, 0.0002}, {0.0002, 0.0002}}}}, ""},
		{"empty parts and holes", geo.Geometry{Flat: orb.MultiPolygon{{}, {{}, square}, {square, {}}, {other}}},
			geo.Geometry{Flat: orb.MultiPolygon{{square}, {other}}}, "intake-dropped-empty-part intake-dropped-empty-part"},
		{"across 180 degrees",
			geo.Geometry{Flat: orb.Polygon{{{179.9995, 0}, {-179.9995, 0}, {-179.9995, 0.001}, {179.9995, 0.001}, {179.9995, 0}}}},
			geo.Geometry{Flat: orb.Polygon{{{179.9995, 0}, {-179.9995, 0}, {-179.9995, 0.001}, {179.9995, 0.001}, {179.9995, 0}}}}, ""},
	} {
		got, notices, refusal := Check(c.g)
		if refusal != nil {
			t.Errorf("%s: refused: %v", c.name, refusal)
			continue
		}
		keys := []string{}
		for _, n := range notices {
			keys = append(keys, n.Text.Key())
		}
		if !reflect.DeepEqual(got, c.want) || strings.Join(keys, " ") != c.keys {
			t.Errorf("%s: got %v, %q; want %v, %q", c.name, got, keys, c.want, c.keys)
		}
		again, more, refusal := Check(got)
		if refusal != nil || len(more) > 0 || !reflect.DeepEqual(again, got) {
			t.Errorf("%s: once more: %v, %v, %v; want no change", c.name, again, more, refusal)
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	type place struct{ part, ring, vertex int }
	square := metres(t, [2]float64{0, 0}, [2]float64{100, 0}, [2]float64{100, 100}, [2]float64{0, 100}, [2]float64{0, 0})
	hole := func(x, y, w float64) orb.Ring {
		return metres(t, [2]float64{x, y}, [2]float64{x, y + w}, [2]float64{x + w, y + w}, [2]float64{x + w, y}, [2]float64{x, y})
	}
	bowTie := metres(t, [2]float64{0, 0}, [2]float64{100, 100}, [2]float64{100, 0}, [2]float64{0, 100}, [2]float64{0, 0})
	for _, c := range []struct {
		name  string
		flat  orb.Geometry
		key   string
		place place
		at    *[2]float64 // metres
	}{
		{"none", nil, "intake-not-outline", place{}, nil},
		{"a line", orb.LineString{{0, 0}, {1, 1}}, "intake-not-outline", place{}, nil},
		{"no rings", orb.Polygon{}, "intake-empty", place{}, nil},
		{"bow tie", orb.Polygon{bowTie}, "intake-ring-crosses", place{1, 1, 1}, &[2]float64{50, 50}},
		{"bow tie in the second part, a repeat before the crossing", orb.MultiPolygon{{hole(300, 0, 10)}, {append(orb.Ring{bowTie[0]}, bowTie...)}},
			"intake-ring-crosses", place{2, 1, 1}, &[2]float64{50, 50}},
		{"crossing counted past a repeat", orb.Polygon{metres(t, [2]float64{-50, 50}, [2]float64{-50, 50}, [2]float64{0, 0}, [2]float64{100, 100}, [2]float64{100, 0}, [2]float64{0, 100}, [2]float64{-50, 50})},
			"intake-ring-crosses", place{1, 1, 3}, &[2]float64{50, 50}},
		{"spike", orb.Polygon{metres(t, [2]float64{0, 0}, [2]float64{100, 0}, [2]float64{300, 0}, [2]float64{100, 0}, [2]float64{100, 100}, [2]float64{0, 0})},
			"intake-spike", place{1, 1, 3}, &[2]float64{300, 0}},
		{"hole outside", orb.Polygon{square, hole(200, 0, 10)}, "intake-hole-outside", place{1, 2, 0}, nil},
		{"hole across the shell", orb.Polygon{square, hole(95, 50, 10)}, "intake-hole-crosses", place{1, 2, 0}, nil},
		{"holes overlap", orb.Polygon{square, hole(20, 20, 20), hole(30, 30, 20)}, "intake-holes-overlap", place{1, 0, 0}, nil},
		{"parts overlap", orb.MultiPolygon{{square}, {hole(90, 50, 30)}}, "intake-parts-overlap", place{}, nil},
		{"parts one in the other", orb.MultiPolygon{{square}, {hole(20, 20, 10)}}, "intake-parts-overlap", place{2, 1, 0}, nil},
		{"all on one line", orb.Polygon{metres(t, [2]float64{0, 0}, [2]float64{50, 50}, [2]float64{100, 100}, [2]float64{0, 0})}, "intake-", place{1, 1, 0}, nil},
		{"all on one spot", orb.Polygon{{{1, 1}, {1, 1}, {1, 1}, {1, 1}}}, "intake-no-area", place{1, 1, 0}, &[2]float64{}},
		{"smaller than a palm", orb.Polygon{hole(0, 0, 0.05)}, "intake-no-area", place{1, 1, 0}, nil},
		{"ten by ten degrees", orb.Polygon{{{0, 0}, {10, 0}, {10, 10}, {0, 10}, {0, 0}}}, "intake-too-large", place{}, nil},
		{"a bow tie of ten degrees, whose halves cancel", orb.Polygon{{{-5, -5}, {5, 5}, {5, -5}, {-5, 5}, {-5, -5}}}, "intake-too-wide", place{}, nil},
		{"round the Earth", orb.Polygon{{{-170, 0}, {0, 0}, {170, 0}, {0, 1}, {-170, 0}}}, "intake-too-large", place{}, nil},
		{"latitude 94", orb.Polygon{{{36, 1}, {36, -94}, {37, 1}, {36, 1}}}, "intake-swapped-axes", place{1, 1, 2}, nil},
		{"longitude 200", orb.Polygon{{{0, 1}, {200, 1}, {1, 2}, {0, 1}}}, "intake-out-of-range", place{1, 1, 2}, nil},
		{"not a number", orb.Polygon{{{0, 1}, {math.NaN(), 1}, {1, 2}, {0, 1}}}, "intake-not-a-number", place{1, 1, 2}, nil},
		{"endless", orb.Polygon{{{0, 1}, {math.Inf(-1), 1}, {1, 2}, {0, 1}}}, "intake-not-a-number", place{1, 1, 2}, nil},
		{"crossing beside 180 degrees", orb.Polygon{{{179.9995, 0}, {-179.9995, 0.001}, {-179.9995, 0}, {179.9995, 0.001}, {179.9995, 0}}}, "intake-ring-crosses", place{1, 1, 1}, nil},
	} {
		_, _, refusal := Check(geo.Geometry{Flat: c.flat})
		if refusal == nil || len(refusal.Details) == 0 {
			t.Errorf("%s: taken; want %s", c.name, c.key)
			continue
		}
		d := refusal.Details[0]
		got := place{value(d.Part), value(d.Ring), value(d.Vertex)}
		if !strings.HasPrefix(d.Text.Key(), c.key) ||
			c.place.part > 0 && got.part != c.place.part || c.place.ring > 0 && got.ring != c.place.ring || c.place.vertex > 0 && got.vertex != c.place.vertex {
			t.Errorf("%s: %s at %+v; want %s at %+v", c.name, d.Text.Key(), got, c.key, c.place)
		}
		if c.at != nil && *c.at != [2]float64{} {
			want := metres(t, *c.at)[0]
			if d.At == nil || math.Hypot(d.At[0]-want[0], d.At[1]-want[1]) > 1e-8 { // about 1 mm
				t.Errorf("%s: at %v; want %v", c.name, d.At, want)
			}
		}
		for _, lang := range []words.Language{words.English, words.Spanish} {
			if s := d.Text.In(lang) + d.Fix.In(lang); strings.Contains(s, "{") || d.Text.In(lang) == "" {
				t.Errorf("%s: says %q", c.name, s)
			}
		}
	}
}

func value(p *int) int {
	if p == nil {
		return 0
	}
	return *p
}

// The place of a crossing beside 180 degrees comes back from the other side of
// the Earth.
func TestCrossingPlaceAcrossTheAntimeridian(t *testing.T) {
	_, _, refusal := Check(geo.Geometry{Flat: orb.Polygon{{{179.9985, 0}, {-179.9995, 0.002}, {-179.9995, 0}, {179.9985, 0.002}, {179.9985, 0}}}})
	if refusal == nil || refusal.Details[0].At == nil {
		t.Fatalf("refusal %v; want one with a place", refusal)
	}
	// Midway from 179.9985 to 180.0005.
	if at := *refusal.Details[0].At; math.Abs(at[0]-179.9995) > 1e-9 || math.Abs(at[1]-0.001) > 1e-9 {
		t.Errorf("crossing at %v; want 179.9995, 0.001", at)
	}
}

func TestCheckGroundTakesLargeLakes(t *testing.T) {
	lake := geo.Geometry{Flat: orb.Polygon{{{-83, 41.5}, {-82, 41.5}, {-82, 42.2}, {-83, 42.2}, {-83, 41.5}}}}
	if _, _, refusal := CheckGround(lake); refusal != nil {
		t.Errorf("a lake of 6,000 km2 refused: %v", refusal)
	}
	if _, _, refusal := Check(lake); refusal == nil {
		t.Error("a block of 6,000 km2 taken")
	}
}

func TestTooManyCorners(t *testing.T) {
	ring := make(orb.Ring, MaxCorners+1)
	_, _, refusal := Check(geo.Geometry{Flat: orb.Polygon{ring}})
	if !fault.Is(refusal, fault.TooLarge) {
		t.Errorf("%d corners: %v; want TooLarge", len(ring), refusal)
	}
}

// A scribble is answered, and soon.
func TestScribble(t *testing.T) {
	r := rand.New(rand.NewSource(7))
	ring := make(orb.Ring, 20_000)
	for i := range ring {
		ring[i] = orb.Point{r.Float64() * 0.01, r.Float64() * 0.01}
	}
	_, _, refusal := Check(geo.Geometry{Flat: orb.Polygon{ring}})
	if refusal == nil || len(refusal.Details) > 10*valid.MaxPerRule {
		t.Errorf("a scribble: %d details; want a refusal with few", len(refusal.Details))
	}
}

// Every rule that can be broken has words in both languages.
func TestEveryRuleHasWords(t *testing.T) {
	for _, rule := range valid.Rules() {
		if broken[rule].text.English == "" || broken[rule].text.Spanish == "" {
			t.Errorf("no words for rule %d of geo/valid", rule)
		}
	}
	for _, rule := range []wire.Rule{wire.RuleSyntax, wire.RuleEncoding, wire.RuleTruncated, wire.RuleTrailing, wire.RuleNothing, wire.RuleDepth,
		wire.RuleBytes, wire.RuleFeatures, wire.RuleVertices, wire.RuleDuplicateKey, wire.RuleObject, wire.RuleArray, wire.RuleType, wire.RuleMember,
		wire.RuleID, wire.RuleEmpty, wire.RulePosition, wire.RuleNumber, wire.RuleOverflow, wire.RuleLongitude, wire.RuleLatitude, wire.RuleShortLine,
		wire.RuleShortRing, wire.RuleUnclosed, wire.RuleCount, wire.RuleShape} {
		refusal := Refusal(&wire.Error{Rule: rule, Got: "x", Path: "y", Limit: 1, At: &[2]float64{1, 2}})
		if refusal == nil || refusal.Kind == fault.Internal {
			t.Errorf("%s: refusal %v", rule, refusal)
			continue
		}
		for _, lang := range []words.Language{words.English, words.Spanish} {
			if s := refusal.Details[0].Text.In(lang); s == "" || strings.Contains(s, "{") {
				t.Errorf("%s: says %q", rule, s)
			}
		}
	}
	if Refusal(nil) != nil {
		t.Error("a refusal of nothing")
	}
}
