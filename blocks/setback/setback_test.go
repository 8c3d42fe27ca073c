package setback

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/wire"
)

type referenceCase struct {
	ID      string
	What    string
	Block   json.RawMessage
	Feature json.RawMessage
	Kind    string `json:"feature_kind"`
	Setback struct {
		Distance  geo.Metres `json:"distance_m"`
		Side      Side
		WindFrom  *geo.Degrees `json:"wind_from_deg"`
		HalfAngle *geo.Degrees `json:"half_angle_deg"`
	}
	Expected struct {
		Outline  float64 `json:"outline_m2"`
		Withheld float64 `json:"withheld_m2"`
		Treated  float64 `json:"treated_m2"`
		Parts    int     `json:"treated_parts"`
		Holes    int     `json:"treated_holes"`
		Nearest  float64 `json:"nearest_m"`
		Probes   []struct {
			At      [2]float64
			Treated bool
			To      float64 `json:"to_feature_m"`
		}
	}
}

func reference(t *testing.T) []referenceCase {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", "ground", "setbacks.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []referenceCase }
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) < 30 {
		t.Fatalf("%d cases, want 30", len(file.Cases))
	}
	return file.Cases
}

func shapeOf(t *testing.T, raw json.RawMessage) orb.Geometry {
	t.Helper()
	g, err := wire.DecodeGeometry(raw, wire.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return g.Flat
}

// Expected values: shapely 1.8.5 / GEOS 3.11.1, pyproj and GeographicLib, with
// the tolerances of their README; testdata/reference/ground.
func TestReference(t *testing.T) {
	ctx := context.Background()
	for _, c := range reference(t) {
		t.Run(c.ID+" "+c.What, func(t *testing.T) {
			outline := shapeOf(t, c.Block)
			frame, err := plane.FrameOf(outline)
			if err != nil {
				t.Fatal(err)
			}
			ground, err := frame.Region(outline)
			if err != nil {
				t.Fatal(err)
			}
			feature := Feature{ID: c.ID, Kind: c.Kind, Shape: shapeOf(t, c.Feature)}
			rule := Rule{From: c.Kind, Distance: c.Setback.Distance, Side: c.Setback.Side, HalfAngle: DefaultHalfAngle}
			if c.Setback.HalfAngle != nil {
				rule.HalfAngle = *c.Setback.HalfAngle
			}
			zone, err := At(frame, []Feature{feature}).Zone(ctx, ground, []Rule{rule}, c.Setback.WindFrom)
			if err != nil {
				t.Fatal(err)
			}
			withheld, treated, err := Withhold(ctx, ground, zone)
			if err != nil {
				t.Fatal(err)
			}
			e := c.Expected
			near(t, "outline", float64(ground.Area()), e.Outline, 1e-6*e.Outline)
			near(t, "withheld", float64(withheld.Area()), e.Withheld, 1e-3*e.Withheld+0.5)
			near(t, "treated", float64(treated.Area()), e.Treated, 1e-3*e.Withheld+0.5)
			near(t, "sum", float64(withheld.Area()+treated.Area()), e.Outline, 1e-6*e.Outline)
			if len(treated) != e.Parts || treated.Holes() != e.Holes {
				t.Errorf("%d parts with %d holes, want %d with %d", len(treated), treated.Holes(), e.Parts, e.Holes)
			}
			distances, err := At(frame, []Feature{feature}).Distances(ctx, ground, 5000)
			if err != nil || len(distances) != 1 {
				t.Fatalf("distances %v %v", distances, err)
			}
			near(t, "nearest", float64(distances[0].M), e.Nearest, 0.02)
			for _, p := range e.Probes {
				at := frame.XY(orb.Point(p.At))
				if got := treated.Contains(at); got != p.Treated {
					t.Errorf("probe %v, %.2f m from the feature: treated %v, want %v", p.At, p.To, got, p.Treated)
				}
			}
		})
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, tolerance)
	}
}

// A block at 36 N and a stream due south of it.
func southStream(t *testing.T) (plane.Frame, plane.Region, []Feature) {
	t.Helper()
	origin := orb.Point{-80, 36}
	at := func(x, y float64) orb.Point {
		p := measure.Destination(origin, 90, geo.Metres(x))
		return measure.Destination(p, 0, geo.Metres(y))
	}
	frame, err := plane.FrameAt(origin)
	if err != nil {
		t.Fatal(err)
	}
	ground, err := frame.Region(orb.Polygon{{at(0, 0), at(100, 0), at(100, 100), at(0, 100), at(0, 0)}})
	if err != nil {
		t.Fatal(err)
	}
	return frame, ground, []Feature{
		{ID: "stream", Kind: "water", Shape: orb.LineString{at(-500, -10), at(600, -10)}},
		{ID: "well", Kind: "well", Shape: at(50, 250)},
	}
}

// Spray from a wind that blows from the north drifts south, onto the stream;
// wind "from the south" drifts away from it.
func TestWindFromMeansFrom(t *testing.T) {
	ctx := context.Background()
	frame, ground, features := southStream(t)
	for _, c := range []struct {
		from geo.Degrees
		want float64
	}{{0, 1500}, {180, 0}} {
		zone, err := At(frame, features).Zone(ctx, ground, []Rule{{From: "water", Distance: 25, Side: Downwind, HalfAngle: DefaultHalfAngle}}, &c.from)
		if err != nil {
			t.Fatal(err)
		}
		withheld, _, err := Withhold(ctx, ground, zone)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "withheld", float64(withheld.Area()), c.want, 3)
	}
}

func TestRulesNameByKindOrID(t *testing.T) {
	ctx := context.Background()
	frame, ground, features := southStream(t)
	for _, c := range []struct {
		name  string
		rules []Rule
		want  float64
	}{
		{"by kind", []Rule{{From: "water", Distance: 25, Side: All}}, 1500},
		{"by id", []Rule{{From: "stream", Distance: 25, Side: All}}, 1500},
		{"two on the same count once", []Rule{{From: "water", Distance: 25, Side: All}, {From: "stream", Distance: 15, Side: All}}, 1500},
		{"other kind", []Rule{{From: "dwelling", Distance: 25, Side: All}}, 0},
		{"out of reach", []Rule{{From: "well", Distance: 100, Side: All}}, 0},
		{"all of it", []Rule{{From: "water", Distance: 2000, Side: All}}, 10000},
		{"none", nil, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			zone, err := At(frame, features).Zone(ctx, ground, c.rules, nil)
			if err != nil {
				t.Fatal(err)
			}
			withheld, treated, err := Withhold(ctx, ground, zone)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "withheld", float64(withheld.Area()), c.want, 3)
			near(t, "sum", float64(withheld.Area()+treated.Area()), float64(ground.Area()), 0.02)
		})
	}
}

func TestDistances(t *testing.T) {
	ctx := context.Background()
	frame, ground, features := southStream(t)
	features = append(features,
		Feature{ID: "inside", Kind: "well", Shape: frame.Position(plane.XY{X: 50, Y: 50})},
		Feature{ID: "elsewhere", Kind: "water", Shape: orb.Point{-120, 36}},
		Feature{ID: "antipode", Kind: "water", Shape: orb.Point{100, -36}})
	got, err := At(frame, features).Distances(ctx, ground, 2000)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{"stream": 10, "well": 150, "inside": 0}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for _, d := range got {
		near(t, d.To, float64(d.M), want[d.To], 0.01)
	}
	if got[1].FeetDown() != 492 {
		t.Errorf("150 m shown as %d ft, want 492", got[1].FeetDown())
	}
}

func TestRefusals(t *testing.T) {
	frame, ground, features := southStream(t)
	_, err := At(frame, features).Zone(context.Background(), ground, []Rule{{From: "water", Distance: 25, Side: Downwind, HalfAngle: 45}}, nil)
	if !fault.Is(err, fault.Invalid) || !strings.Contains(err.Error(), "direction") {
		t.Errorf("without wind: %v", err)
	}
	long := Feature{ID: "long", Kind: "water", Shape: orb.LineString{{-80, 36}, {-100, 36}}}
	_, err = At(frame, []Feature{long}).Zone(context.Background(), ground, []Rule{{From: "water", Distance: 25, Side: All}}, nil)
	if !fault.Is(err, fault.Invalid) || !strings.Contains(err.Error(), "split it") {
		t.Errorf("a line across a continent: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := At(frame, features).Zone(ctx, ground, []Rule{{From: "water", Distance: 25, Side: All}}, nil); err == nil {
		t.Error("a cancelled context was not heard")
	}
}
