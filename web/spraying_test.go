package web

import (
	"encoding/json"
	"strings"
	"testing"
)

// Every sum of the trade has a page: a title in both languages, inputs with names,
// a formula and a source.
func TestCalcPage(t *testing.T) {
	s := newSite(t)
	c := s.as("scout")
	type topics struct {
		Groups []struct {
			Title  string
			Topics []struct {
				Topic, Title, Formula, Source string
				Inputs                        []struct{ Key, Title, Kind string }
			}
		}
	}
	var en, es topics
	into(t, c.do("GET", "/farms/mine/calc", nil), &en)
	into(t, c.do("GET", "/farms/mine/calc", nil, "Accept-Language", "es"), &es)
	count := 0
	for i, g := range en.Groups {
		for j, one := range g.Topics {
			count++
			other := es.Groups[i].Topics[j]
			if one.Title == "" || one.Formula == "" || one.Source == "" || other.Title == one.Title || g.Title == "" {
				t.Errorf("%s: %+v, Spanish %q", one.Topic, one, other.Title)
			}
			for _, in := range one.Inputs {
				if in.Title == "" {
					t.Errorf("%s: the input %s has no name", one.Topic, in.Key)
				}
			}
		}
	}
	if count != 51 {
		t.Errorf("%d sums, want the table's 50 and the nozzles", count)
	}
	var a struct {
		Value                      float64
		Unit, Formula, Source, How string
	}
	into(t, c.do("POST", "/farms/mine/calc/treated_acres_band", `{"block_acres":60,"band_width_in":36,"row_spacing_ft":9}`), &a)
	if a.Value != 20 || a.Unit != "acre" || a.Formula == "" || !strings.Contains(a.Source, "Cornell") || a.How == "" {
		t.Errorf("%+v", a)
	}
	for _, bad := range []struct {
		topic, body string
		status      int
	}{
		{"treated_acres_band", `{"block_acres":-1,"band_width_in":36,"row_spacing_ft":9}`, 422},
		{"treated_acres_band", `{"block_acres":60}`, 422},
		{"treated_acres_band", `[]`, 400},
		{"treated_acres_band", `{"block_acres":60} {}`, 400},
		{"no_such_sum", `{}`, 404},
	} {
		if g := c.do("POST", "/farms/mine/calc/"+bad.topic, bad.body); g.status != bad.status {
			t.Errorf("%s %s: %d, want %d: %s", bad.topic, bad.body, g.status, bad.status, g.body)
		}
	}
}

func TestSprayers(t *testing.T) {
	s := newSite(t)
	owner, scout := s.as("owner"), s.as("scout")
	const doc = `{"sprayers":[{"id":"tower","name":"Tower","method":"airblast","droplets":"fine","tank":{"value":100,"unit":"gal"},
		"calibrations":[{"on":"2026-04-01","with":"gpa_5940","inputs":{"gpm":0.5,"mph":4,"width_in":20},"nozzles":[64,66,50,65]}]}]}`
	var got struct {
		Document json.RawMessage
		Revision int
		Worked   []struct {
			Calibrations []struct {
				Output  struct{ Value float64 }
				Nozzles struct{ Off []int }
			}
		}
	}
	into(t, owner.do("PUT", "/farms/mine/sprayers", doc, "If-None-Match", "*"), &got)
	// 5,940 x 0.5 / (4 x 20) = 37.125; mean 61.25, of which 50 is 18 % off.
	if one := got.Worked[0].Calibrations[0]; one.Output.Value != 37.125 || len(one.Nozzles.Off) != 1 || one.Nozzles.Off[0] != 3 {
		t.Errorf("%+v", got)
	}
	if g := scout.do("PUT", "/farms/mine/sprayers", doc, "If-None-Match", "*"); g.status != 403 {
		t.Errorf("a scout changes sprayers: %d", g.status)
	}
	into(t, scout.do("GET", "/farms/mine/sprayers", nil), &got)
	for field, bad := range map[string]string{
		"sprayers[0].id":                         `{"sprayers":[{"id":"A B","name":"x","method":"boom"}]}`,
		"sprayers[0].method":                     `{"sprayers":[{"id":"a","name":"x","method":"magic"}]}`,
		"sprayers[0].calibrations[0].inputs.mph": `{"sprayers":[{"id":"a","name":"x","method":"boom","calibrations":[{"on":"2026-04-01","with":"gpa_5940","inputs":{"gpm":1,"width_in":20}}]}]}`,
		"sprayers[0].height_m":                   `{"sprayers":[{"id":"a","name":"x","method":"boom","height_m":-1}]}`,
	} {
		g := owner.do("PUT", "/farms/mine/sprayers", bad, "If-Match", "*")
		if g.status != 422 || !strings.Contains(string(g.body), `"`+field+`"`) {
			t.Errorf("%s: %d %s", field, g.status, g.body)
		}
	}
}

// into reads an answer of status 200.
func into(t *testing.T, g got, v any) {
	t.Helper()
	if g.status != 200 {
		t.Fatalf("status %d: %s", g.status, g.body)
	}
	must(t, json.Unmarshal(g.body, v))
}
