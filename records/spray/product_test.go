package spray

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"caneward/blocks/setback"
	"caneward/geo"
	"caneward/records/quantity"
)

func readLabel(t *testing.T, properties string) Product {
	t.Helper()
	p, faults := ParseProduct(geo.Geometry{}, json.RawMessage(properties))
	for _, f := range faults {
		t.Errorf("%s at %s: %s", properties, f.Field, f.Text)
	}
	return p
}

// Forms of re-entry times after 40 CFR 156.208 as excerpted: hours, days, or
// "until X ppm", by crop, use or task.
func TestReentryByCropAndTask(t *testing.T) {
	p := readLabel(t, `{"name":"Demo","rei_hours":12,"reentry":[{"days":3,"crop":"grapes"},{"hours":24,"task":"thinning"},
		{"days":2,"crop":"caneberries","task":"Thinning"},{"until":"residues below 0.1 ppm","hours":4,"crop":"apples"}]}`)
	for _, c := range []struct {
		crop, task string
		want       time.Duration
		until      string
	}{
		{"blackberry", "", 12 * time.Hour, ""},
		{"", "", 12 * time.Hour, ""},
		{"grape", "", 72 * time.Hour, ""},
		{"raspberries", "thinning", 48 * time.Hour, ""},
		{"corn", "thinning", 24 * time.Hour, ""},
		{"apple", "", 4 * time.Hour, "residues below 0.1 ppm"},
	} {
		got := p.ReentryFor(c.crop, c.task)
		if len(got) != 1 || got[0].Length() != c.want || got[0].Until != c.until {
			t.Errorf("re-entry of %q, task %q: %+v, want %v %q", c.crop, c.task, got, c.want, c.until)
		}
	}
	if got := (Product{}).ReentryFor("blackberry", ""); len(got) != 0 {
		t.Errorf("nothing typed, got %v", got)
	}
}

func TestPHIByCrop(t *testing.T) {
	p := readLabel(t, `{"name":"Demo","phi_days":1,"phi":[{"days":7,"crop":"caneberries"},{"days":14,"crop":"blueberries"}]}`)
	for crop, want := range map[string]int{"blackberry": 7, "hybrid": 7, "blueberry": 14, "grape": 1, "": 1} {
		if got := p.PHIFor(crop); got == nil || *got != want {
			t.Errorf("PHI of %q: %v, want %d", crop, got, want)
		}
	}
}

func TestLabelInFull(t *testing.T) {
	p := readLabel(t, `{"name":"Demo","registration":"0-0001","ingredients":[{"name":"pyraclostrobin","amount":"20 %","code":{"frac":"11"}},
		{"name":"boscalid","content":{"value":2.08,"unit":"lb_per_gal"}}],
		"rates":[{"value":18.5,"most":23,"unit":"oz_wt","per":"treated-acre","patterns":["band"],"carrier_least":{"value":20,"unit":"gal","per":"acre"}},
			{"value":0.25,"unit":"percent","per":"spray","patterns":["spot"]}],
		"caps":[{"what":"ingredient","ingredient":"Boscalid","value":1.4,"unit":"lb","per":"12-months"},{"what":"uses","value":4,"per":"season","starts":"11-01"},
			{"what":"product","value":5,"unit":"L","area":"ha","per":"year"}],
		"setbacks":[{"from":"water","distance_m":15.24,"side":"downwind","half_angle_deg":60,"from_edge":"boom-end","to_edge":"top-of-bank","bank_m":2,"strip":true,"condition":"air-assisted","source":"label page 3"},
			{"from":"well","distance_m":30,"from_edge":"mixing-place"}],
		"season":{"from":"11-15","to":"03-01"},"valid_until":"2027-12-31","wind":{"least_m_s":1.3,"most_m_s":4.5},"droplets_finest":"medium","bloom":"evening","interval_days":7,"restricted":true}`)
	if p.Ingredients[0].Content == nil || *p.Ingredients[0].Content != (Content{20, PercentWeight}) || p.Ingredients[1].Content.Unit != PoundsPerGallon {
		t.Errorf("contents %+v", p.Ingredients)
	}
	if p.Caps[0].Ingredient != "boscalid" || p.Caps[0].Area != quantity.PerAcre || p.Caps[1].Starts != (DayOfYear{time.November, 1}) || p.Caps[2].Area != quantity.PerHectare {
		t.Errorf("caps %+v", p.Caps)
	}
	s := p.Setbacks[0]
	if s.To != setback.TopOfBank || math.Abs(float64(s.Reach(setback.Feature{}))-17.24) > 1e-12 || s.Reach(setback.Feature{Edge: setback.TopOfBank}) != 15.24 || !s.Strip || s.FromEdge != BoomEnd {
		t.Errorf("setback %+v", s)
	}
	if p.Rates[1].Unit != quantity.Percent || !slices.Equal(p.Rates[0].Patterns, []Pattern{Band}) || p.Rates[0].Carrier == nil {
		t.Errorf("rates %+v", p.Rates)
	}
	for day, want := range map[string]bool{"2026-12-31": true, "2026-03-01": true, "2026-03-02": false, "2026-11-14": false, "2028-02-29": true} {
		at, _ := time.Parse(time.DateOnly, day)
		if got := p.Season.Holds(at); got != want {
			t.Errorf("season holds %s: %v, want %v", day, got, want)
		}
	}
}

func TestLabelFaults(t *testing.T) {
	for _, c := range []struct{ name, member, field string }{
		{"a bare ounce", `"rates":[{"value":12,"unit":"oz","per":"acre"}]`, "rates[0].unit"},
		{"percent per acre", `"rates":[{"value":12,"unit":"percent","per":"acre"}]`, "rates[0].unit"},
		{"gallons per spray", `"rates":[{"value":12,"unit":"gal","per":"spray"}]`, "rates[0].unit"},
		{"over a hundred percent", `"rates":[{"value":120,"unit":"percent","per":"spray"}]`, "rates[0].unit"},
		{"negative percent", `"rates":[{"value":-1,"unit":"percent","per":"spray"}]`, "rates[0].value"},
		{"no such pattern", `"rates":[{"value":12,"unit":"lb","per":"acre","patterns":["mist"]}]`, "rates[0].patterns[0]"},
		{"carrier by weight", `"rates":[{"value":12,"unit":"lb","per":"acre","carrier_least":{"value":2,"unit":"lb","per":"acre"}}]`, "rates[0].carrier_least.unit"},
		{"hours and days", `"reentry":[{"hours":4,"days":2}]`, "reentry[0]"},
		{"neither", `"reentry":[{"crop":"grapes"}]`, "reentry[0]"},
		{"negative hours", `"reentry":[{"hours":-4}]`, "reentry[0].hours"},
		{"PHI without crop", `"phi":[{"days":4}]`, "phi[0].crop"},
		{"cap of no ingredient", `"ingredients":[{"name":"captan"}],"caps":[{"what":"ingredient","ingredient":"boscalid","value":1,"unit":"lb","per":"year"}]`, "caps[0].ingredient"},
		{"cap of which", `"ingredients":[{"name":"captan"},{"name":"boscalid"}],"caps":[{"what":"ingredient","value":1,"unit":"lb","per":"year"}]`, "caps[0].ingredient"},
		{"half a use", `"caps":[{"what":"uses","value":1.5,"per":"year"}]`, "caps[0].value"},
		{"uses in pounds", `"caps":[{"what":"uses","value":1,"unit":"lb","per":"year"}]`, "caps[0].unit"},
		{"cap in a bare ounce", `"caps":[{"what":"product","value":1,"unit":"oz","per":"year"}]`, "caps[0].unit"},
		{"cap per nothing", `"caps":[{"what":"uses","value":1}]`, "caps[0].per"},
		{"huge setback", `"setbacks":[{"from":"water","distance_m":1e9}]`, "setbacks[0].distance_m"},
		{"setback from a pond's id", `"setbacks":[{"from":"0190f000-0000-7000-8000-000000000000","distance_m":10}]`, "setbacks[0].from"},
		{"bank without its edge", `"setbacks":[{"from":"water","distance_m":10,"bank_m":2}]`, "setbacks[0].bank_m"},
		{"31 February", `"season":{"from":"02-31","to":"03-01"}`, "season.from"},
		{"ends before it begins", `"valid_from":"2027-01-01","valid_until":"2026-01-01"`, "valid_until"},
		{"wind most below least", `"wind":{"least_m_s":5,"most_m_s":2}`, "wind.most_m_s"},
		{"more than all of it", `"ingredients":[{"name":"captan","amount":"180 %"}]`, "ingredients[0].content"},
		{"unitless content", `"ingredients":[{"name":"captan","content":{"value":2}}]`, "ingredients[0].content.unit"},
		{"no such bloom", `"bloom":"sometimes"`, "bloom"},
	} {
		_, faults := ParseProduct(geo.Geometry{}, json.RawMessage(`{"name":"Demo",`+c.member+`}`))
		var at []string
		for _, f := range faults {
			at = append(at, f.Field)
		}
		if !slices.Contains(at, c.field) {
			t.Errorf("%s: faults at %q, want %q", c.name, strings.Join(at, ", "), c.field)
		}
	}
}
