package coverage_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/coverage"
)

// The two reference tracks beside water, from the request's own form to the
// answer's; tolerances as the reference's README states them (swaths.json).
func TestCoverageBesideWater(t *testing.T) {
	data, err := os.ReadFile("../../testdata/reference/ground/swaths.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID      string          `json:"id"`
			Track   json.RawMessage `json:"track"`
			Block   json.RawMessage `json:"block"`
			Setback *struct {
				Feature  struct{ Coordinates orb.LineString } `json:"feature"`
				Distance geo.Metres                           `json:"distance_m"`
			} `json:"setback"`
			Expected map[string]float64 `json:"expected"`
		} `json:"cases"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, c := range file.Cases {
		if c.Setback == nil {
			continue
		}
		seen++
		q, err := coverage.Read([]byte(`{"track":` + string(c.Track) + `,"block":` + string(c.Block) + `}`))
		if err != nil {
			t.Fatal(c.ID, err)
		}
		r, err := coverage.Work(context.Background(), coverage.Input{Fixes: q.Track, Block: q.Block.Flat,
			Features: []setback.Feature{{ID: "w", Shape: c.Setback.Feature.Coordinates}}, Rules: []setback.Rule{{From: "w", Distance: c.Setback.Distance, Side: setback.All}}})
		if err != nil {
			t.Fatal(c.ID, err)
		}
		body, err := r.Encode(words.English)
		if err != nil {
			t.Fatal(c.ID, err)
		}
		var out struct {
			Areas      map[string]float64         `json:"areas"`
			Geometries map[string]json.RawMessage `json:"geometries"`
		}
		if err := json.Unmarshal(body, &out); err != nil {
			t.Fatal(c.ID, err)
		}
		for name, want := range c.Expected {
			if got, there := out.Areas[name]; there && math.Abs(got-want) > 0.001*want+0.2 {
				t.Errorf("%s: %s %v, want %v", c.ID, name, got, want)
			}
		}
		if len(out.Areas) != 8 || string(out.Geometries["in_setback"]) == "null" {
			t.Errorf("%s: %d areas, setback ground %.40s", c.ID, len(out.Areas), out.Geometries["in_setback"])
		}
	}
	if seen != 2 {
		t.Errorf("%d cases beside water, want 2", seen)
	}
}

func TestRefusedRequests(t *testing.T) {
	const block = `"block":{"type":"Polygon","coordinates":[[[0,0],[0.001,0],[0.001,0.001],[0,0.001],[0,0]]]}`
	for _, c := range []struct{ name, body, field, says string }{
		{"no track", `{` + block + `}`, "track", "needed"},
		{"a fix of three numbers", `{"track":[[0,0,1]],` + block + `}`, "track[0]", "four or five"},
		{"negative width", `{"track":[[0,0,1,2],[0,0,2,-3]],` + block + `}`, "track[1]", "sprays -3 m"},
		{"width of a road", `{"track":[[0,0,1,400]],` + block + `}`, "track[0]", "0 to 60"},
		{"no place", `{"track":[[190,0,1,2]],` + block + `}`, "track[0]", "no place"},
		{"clock set back", `{"track":[[0,0,10,2],[0,0,5,2]],` + block + `}`, "track[1]", "older"},
		{"a line for a block", `{"track":[[0,0,1,2]],"block":{"type":"LineString","coordinates":[[0,0],[1,1]]}}`, "block", "no inside"},
		{"a block that crosses itself", `{"track":[[0,0,1,2]],"block":{"type":"Polygon","coordinates":[[[0,0],[0.001,0.001],[0.001,0],[0,0.001],[0,0]]]}}`, "block", ""},
		{"a setback without wind", `{"track":[[0,0,1,2]],` + block + `,"setbacks":[{"from":"water","distance_m":5,"side":"downwind"}]}`, "wind_from_deg", "wind came from"},
		{"a misspelt setback", `{"track":[[0,0,1,2]],` + block + `,"setback":[]}`, "setback", ""},
		{"a track on another continent", `{"track":[[60,0,1,2],[60,0.0001,2,2]],` + block + `}`, "track", "500 km"},
	} {
		q, err := coverage.Read([]byte(c.body))
		if err == nil {
			_, err = coverage.Work(context.Background(), coverage.Input{Fixes: q.Track, Block: q.Block.Flat})
		}
		var refusal *fault.Error
		if !errors.As(err, &refusal) {
			t.Errorf("%s: %v, want a refusal", c.name, err)
			continue
		}
		found := false
		for _, d := range refusal.Details {
			found = found || d.Field == c.field && strings.Contains(d.Text.In(words.English), c.says)
		}
		if !found {
			t.Errorf("%s: %v, want %s to say %q", c.name, refusal.Details, c.field, c.says)
		}
	}
}

func TestFixesOfARecord(t *testing.T) {
	line := geo.Geometry{Flat: orb.MultiLineString{{{0, 0}, {0, 1}}, {{1, 0}, {1, 1}}}, Measures: []float64{1, 2, 3, 4}}
	for _, c := range []struct {
		name, properties string
		width            geo.Metres
		want             []geo.Metres
	}{
		{"one width", `{"width_m":3}`, 0, []geo.Metres{3, 0, 3, 0}},
		{"the caller's width", `{"width_m":3}`, 2.4, []geo.Metres{2.4, 0, 2.4, 0}},
		{"a width each", `{"widths_m":[1,2,0,9]}`, 0, []geo.Metres{1, 0, 0, 0}},
	} {
		fixes, d := coverage.FixesOf(line, json.RawMessage(c.properties), c.width)
		if d != nil {
			t.Errorf("%s: %v", c.name, d.Text)
			continue
		}
		for i, f := range fixes {
			if f.Width != c.want[i] {
				t.Errorf("%s: fix %d is %v wide, want %v", c.name, i, f.Width, c.want[i])
			}
		}
	}
	for name, c := range map[string]struct {
		g geo.Geometry
		p string
	}{
		"no times":          {geo.Geometry{Flat: orb.LineString{{0, 0}, {0, 1}}}, `{"width_m":3}`},
		"no width":          {line, `{}`},
		"too few of widths": {line, `{"widths_m":[1]}`},
	} {
		if _, d := coverage.FixesOf(c.g, json.RawMessage(c.p), 0); d == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
