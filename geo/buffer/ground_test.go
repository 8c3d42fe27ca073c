package buffer_test

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/measure"
	"caneward/geo/overlay"
	"caneward/geo/plane"

	"github.com/paulmach/orb"
)

// outline reads a GeoJSON geometry of the reference file.
type outline struct{ orb.Geometry }

func (o *outline) UnmarshalJSON(data []byte) error {
	var head struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return err
	}
	read := func(into any) error { return json.Unmarshal(head.Coordinates, into) }
	switch head.Type {
	case "Point":
		var g orb.Point
		defer func() { o.Geometry = g }()
		return read(&g)
	case "MultiPoint":
		var g orb.MultiPoint
		defer func() { o.Geometry = g }()
		return read(&g)
	case "LineString":
		var g orb.LineString
		defer func() { o.Geometry = g }()
		return read(&g)
	case "MultiLineString":
		var g orb.MultiLineString
		defer func() { o.Geometry = g }()
		return read(&g)
	case "Polygon":
		var g orb.Polygon
		defer func() { o.Geometry = g }()
		return read(&g)
	default:
		var g orb.MultiPolygon
		defer func() { o.Geometry = g }()
		return read(&g)
	}
}

// Values: GEOS 3.11.1 in PROJ's transverse Mercator, distances by GeographicLib;
// tolerances as the reference's README states them (setbacks.json).
func TestSetbackZonesOnTheGround(t *testing.T) {
	data, err := os.ReadFile("../../testdata/reference/ground/setbacks.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID      string  `json:"id"`
			Block   outline `json:"block"`
			Feature outline `json:"feature"`
			Setback struct {
				Distance float64 `json:"distance_m"`
				Side     string  `json:"side"`
				From     float64 `json:"wind_from_deg"`
				Half     float64 `json:"half_angle_deg"`
			} `json:"setback"`
			Expected struct {
				Outline  float64 `json:"outline_m2"`
				Withheld float64 `json:"withheld_m2"`
				Treated  float64 `json:"treated_m2"`
				Parts    int     `json:"treated_parts"`
				Holes    int     `json:"treated_holes"`
				Nearest  float64 `json:"nearest_m"`
				Probes   []struct {
					At      geo.Position `json:"at"`
					Treated bool         `json:"treated"`
					Away    float64      `json:"to_feature_m"`
				} `json:"probes"`
			} `json:"expected"`
		} `json:"cases"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	sides := map[string]int{}
	ctx := context.Background()
	for _, c := range file.Cases {
		sides[c.Setback.Side]++
		e := c.Expected
		frame, err := plane.FrameOf(c.Block.Geometry)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		block, err := frame.Region(c.Block.Geometry)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		feature, err := frame.Shape(c.Feature.Geometry)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		if off := math.Abs(float64(block.Area())/e.Outline - 1); off > 1e-6 {
			t.Errorf("%s: outline %v, want %v", c.ID, block.Area(), e.Outline)
		}
		for name, o := range map[string]buffer.Options{"whole": {}, "within": {Within: buffer.TargetOf(plane.Shape{Ground: block})}} {
			var zone plane.Region
			if c.Setback.Side == "downwind" {
				zone, err = buffer.Downwind(ctx, feature, geo.Metres(c.Setback.Distance), geo.Degrees(c.Setback.From), geo.Degrees(c.Setback.Half), o)
			} else {
				zone, err = buffer.Around(ctx, feature, geo.Metres(c.Setback.Distance), o)
			}
			if err != nil {
				t.Errorf("%s %s: %v", c.ID, name, err)
				continue
			}
			withheld, treated, err := overlay.Cut(ctx, block, zone)
			if err != nil {
				t.Errorf("%s %s: %v", c.ID, name, err)
				continue
			}
			tolerance := 0.001*e.Withheld + 0.5
			if math.Abs(float64(withheld.Area())-e.Withheld) > tolerance || math.Abs(float64(treated.Area())-e.Treated) > tolerance {
				t.Errorf("%s %s: withheld %v, treated %v, want %v and %v", c.ID, name, withheld.Area(), treated.Area(), e.Withheld, e.Treated)
			}
			if off := math.Abs(float64((withheld.Area()+treated.Area())/block.Area()) - 1); off > 1e-6 {
				t.Errorf("%s %s: the pieces are off the outline by %g of it", c.ID, name, off)
			}
			if len(treated) != e.Parts || treated.Holes() != e.Holes {
				t.Errorf("%s %s: %d parts and %d holes, want %d and %d", c.ID, name, len(treated), treated.Holes(), e.Parts, e.Holes)
			}
			for _, p := range e.Probes {
				if got := treated.Contains(frame.XY(p.At)); got != p.Treated {
					t.Errorf("%s %s: %v treated: %v, want %v", c.ID, name, p.At, got, p.Treated)
				}
			}
		}
		apart, onBlock, onFeature := buffer.Nearest(plane.Shape{Ground: block}, feature)
		if math.Abs(float64(apart)-e.Nearest) > 0.02 || math.Abs(float64(measure.Distance(frame.Position(onBlock), frame.Position(onFeature)))-e.Nearest) > 0.02 {
			t.Errorf("%s: nearest %v, want %v", c.ID, apart, e.Nearest)
		}
		for _, p := range e.Probes {
			_, a, b := buffer.Nearest(plane.Shape{Points: []plane.XY{frame.XY(p.At)}}, feature)
			if got := measure.Distance(frame.Position(a), frame.Position(b)); math.Abs(float64(got)-p.Away) > 0.001 {
				t.Errorf("%s: %v is %v m from the feature, want %v", c.ID, p.At, got, p.Away)
			}
		}
	}
	if sides["all"] != 15 || sides["downwind"] != 15 {
		t.Errorf("cases %v, want 15 of each", sides)
	}
}

// The zone round stars with corners turned inward and outward, one with a hole of
// either sense and one run clockwise among them, held against its definition: all
// places within the distance of the ground, and none farther by more than the rounds
// overshoot.
func TestAroundGroundIsWhatLiesWithinTheDistance(t *testing.T) {
	const d geo.Metres = 30
	over := max(buffer.ArcOvershoot, d*6e-4) + geo.SamePlace
	random := rand.New(rand.NewPCG(7, 11))
	for star := range 60 {
		var shell plane.Ring
		corners := 4 + random.IntN(16)
		for k := range corners {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(corners))
			r := 45 + 55*random.Float64()
			shell = append(shell, plane.XY{X: r * cos, Y: r * sin})
		}
		ground := plane.Polygon{append(shell, shell[0])}
		if star%3 > 0 {
			hole := plane.Ring{}
			for k := range 9 {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / 9)
				r := 15 + 15*random.Float64()
				hole = append(hole, plane.XY{X: r * cos, Y: r * sin})
			}
			ground = append(ground, append(hole, hole[0]))
		}
		if star%3 == 1 {
			slices.Reverse(ground[1])
		}
		if star%5 == 4 {
			slices.Reverse(ground[0])
		}
		shape := plane.Shape{Ground: plane.Region{ground}}
		zone, err := buffer.Around(t.Context(), shape, d, buffer.Options{})
		if err != nil || len(zone) != 1 {
			t.Fatalf("star %d of %v: %d parts, %v", star, ground, len(zone), err)
		}
		for range 2000 {
			at := plane.XY{X: 280*random.Float64() - 140, Y: 280*random.Float64() - 140}
			apart, _, _ := buffer.Nearest(plane.Shape{Points: []plane.XY{at}}, shape)
			if in := zone.Contains(at); !in && apart < d-geo.SamePlace || in && apart > d+over {
				t.Fatalf("star %d of %v: %v at %.4f m: in the zone %v", star, ground, at, apart, in)
			}
		}
	}
}
