package web

import (
	"bytes"
	"net/url"
	"strings"
	"testing"

	"caneward/records"
)

// The planting plan prints what is on record or what is asked for; what cannot
// be read is refused by its name.
func TestPlantingPlan(t *testing.T) {
	s := newSite(t)
	c := s.as("viewer")
	b := block(s.ids.New(), "Upper")
	s.make(s.as("owner"), "blocks", b)
	plan := func(query string) got {
		return c.do("GET", "/farms/mine/reports/planting-plan.pdf?"+query, nil)
	}
	id := "block=" + string(b["id"].(records.ID))
	for _, query := range []string{"", "&paper=a4&up=rows", "&row_spacing_m=3&plant_spacing_m=1&headland_m=4&side_margin_m=1&alley_every=4&alley_m=1&skip=2,3&post_spacing_m=6&spare_percent=5&wires=2",
		"&row_spacing_m=3&plant_spacing_m=1&guide=" + url.QueryEscape(`{"type":"LineString","coordinates":[[-80.4195,35.8705],[-80.4185,35.8709],[-80.4175,35.8706]]}`)} {
		g := plan(id + query)
		if g.status != 200 || g.header.Get("Content-Type") != typePDF || !bytes.HasPrefix(g.body, []byte("%PDF")) || !strings.Contains(g.header.Get("Content-Disposition"), "planting-plan.pdf") {
			t.Errorf("%s: %d %s %.200s", query, g.status, g.header.Get("Content-Type"), g.body)
		}
	}
	for name, tc := range map[string]struct {
		query  string
		status int
	}{
		"no block":         {"", 400},
		"paper":            {id + "&paper=a0", 400},
		"up":               {id + "&up=south", 400},
		"a word":           {id + "&row_spacing_m=three&plant_spacing_m=1", 400},
		"half a wire":      {id + "&wires=1.5", 400},
		"skip":             {id + "&skip=a", 400},
		"guide":            {id + "&row_spacing_m=3&plant_spacing_m=1&guide=x", 400},
		"unknown":          {id + "&rows=4", 400},
		"rows too near":    {id + "&row_spacing_m=0.0001&plant_spacing_m=1", 422},
		"block of another": {"block=" + string(s.ids.New()), 422},
	} {
		g := plan(tc.query)
		if g.status != tc.status {
			t.Errorf("%s: %d, want %d: %.200s", name, g.status, tc.status, g.body)
			continue
		}
		problemOf(t, g)
	}
}
