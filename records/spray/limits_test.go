package spray

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/quantity"
	"caneward/records/scouting"
)

// capGround is a block of 200 x 100 m and one label on record.
func capGround(t testing.TB, label string) (Ground, site) {
	s := at(t, -80.42, 35.87)
	p, faults := ParseProduct(geo.Geometry{}, json.RawMessage(label))
	if len(faults) > 0 {
		t.Fatalf("%s: %+v", label, faults)
	}
	zone, _ := time.LoadLocation("America/New_York")
	return Ground{
		Blocks:   []Block{{ID: idA, Name: "Long Rows", Crop: "blackberry", Outline: s.rectangle(0, 0, 200, 100), RowSpacing: 3, PlantSpacing: 1}},
		Products: map[records.ID]Product{idLabel: p}, Zone: zone,
	}, s
}

// before is an earlier pass of one label that put an amount on each acre of its
// ground.
func before(t testing.TB, label Product, start string, perAcre quantity.Amount, ground orb.MultiPolygon) Earlier {
	t.Helper()
	at, err := time.Parse(time.RFC3339, start)
	if err != nil {
		t.Fatal(err)
	}
	si := perAcre.SI()
	si.Value /= float64(geo.SquareMetresPerAcre)
	return Earlier{ID: records.ID("pass of " + start), Started: at, Ended: at.Add(time.Hour), Ground: ground,
		Uses: []Use{{Product: idLabel, Label: label, PerSquareMetre: si}}}
}

func ozWeight(v float64) quantity.Amount {
	return quantity.Amount{Value: v, Unit: quantity.OunceWeight}
}

func jobOf(day string, rate float64, unit, more string) string {
	return fmt.Sprintf(`{"blocks":[%q],"pattern":"broadcast","start":"%sT08:00:00-04:00","products":[{"product":%q,"rate":{"value":%v,"unit":%q,"per":"acre"}}]%s}`, idA, day, idLabel, rate, unit, more)
}

func checksOf(a Answer, rule string) []Check {
	var out []Check
	for _, c := range a.Checks {
		if c.Rule == rule {
			out = append(out, c)
		}
	}
	return out
}

// The trap: two passes overlap on a tenth of the block, and only there do
// they add up to more than the cap. By hand: 6 + 6 oz = 12 > 10 on the 20 m of 200.
func TestCapBindsOnTheOverlapOnly(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo Azole","caps":[{"what":"product","value":10,"unit":"oz_wt","per":"year"}]}`)
	label := g.Products[idLabel]
	g.Earlier = []Earlier{
		before(t, label, "2026-04-10T08:00:00-04:00", ozWeight(6), s.rectangle(-50, -10, 20, 110)),
		before(t, label, "2025-04-10T08:00:00-04:00", ozWeight(6), s.rectangle(-50, -10, 220, 110)), // another year
	}
	a := draft(t, g, jobOf("2026-05-10", 6, "oz_wt", ""))
	caps := checksOf(a, "cap")
	if len(caps) != 1 || caps[0].Answer != Stop {
		t.Fatalf("caps %+v", caps)
	}
	c := caps[0]
	near(t, "share", c.Share, 0.1, 1e-4)
	near(t, "ground", float64(c.Area), 2000, 1)
	near(t, "value", c.Measured.Value, 12, 1e-6)
	if c.Measured.Limit != 10 || c.Block != idA || len(c.Passes) != 1 || c.Passes[0] != g.Earlier[0].ID {
		t.Errorf("check %+v %+v", c, c.Measured)
	}
	f := s.frame
	if at := f.XY(*c.At); at.X < 0 || at.X > 20 || at.Y < 0 || at.Y > 100 {
		t.Errorf("worst point at %v, want within the first 20 m", at)
	}
	for _, want := range []string{"12 oz wt", "10.0 %", "Long Rows", "10 oz wt", "2026-04-10", "in 2026"} {
		if !strings.Contains(c.Why.String(), want) {
			t.Errorf("%q does not say %q", c.Why, want)
		}
	}
	if es := c.Why.In(words.Spanish); !strings.Contains(es, "por acre") || strings.Contains(es, "per ") {
		t.Errorf("Spanish: %s", es)
	}
	// One ounce less and the overlap stands.
	if a := draft(t, g, jobOf("2026-05-10", 4, "oz_wt", "")); verdict(a, "cap") != OK {
		t.Errorf("10 of 10 oz: %+v", checksOf(a, "cap"))
	}
}

func TestCapsOfEveryKindAndClock(t *testing.T) {
	const active = `{"name":"Demo Duo","registration":"0-0002","ingredients":[{"name":"boscalid","amount":"25 %"}],"caps":[`
	whole := func(s site) orb.MultiPolygon { return s.rectangle(-1, -1, 201, 101) }
	for _, c := range []struct {
		name, label, earlier, day string
		dose                      float64
		want                      Verdict
	}{
		{"uses within", active + `{"what":"uses","value":2,"per":"year"}]}`, "2026-03-01", "2026-05-01", 8, OK},
		{"uses over", active + `{"what":"uses","value":1,"per":"year"}]}`, "2026-03-01", "2026-05-01", 8, Stop},
		{"uses of last year", active + `{"what":"uses","value":1,"per":"year"}]}`, "2025-12-31", "2026-01-01", 8, OK},
		{"last year's last hour on the farm's clock", active + `{"what":"uses","value":1,"per":"year"}]}`, "2026-01-01 UTC", "2026-05-01", 8, OK},
		{"twelve months over the new year", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2025-12-31", "2026-01-01", 8, Stop},
		{"twelve months, the last day", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2025-05-02", "2026-05-01", 8, Stop},
		{"twelve months, over", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2025-05-01", "2026-05-01", 8, OK},
		{"29 February counts to 28 February", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2024-02-29", "2025-02-28", 8, Stop},
		{"29 February, 1 March", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2024-02-29", "2025-03-01", 8, OK},
		{"on 29 February, 1 March before", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2027-03-01", "2028-02-29", 8, Stop},
		{"on 29 February, 28 February before", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2027-02-28", "2028-02-29", 8, OK},
		{"a later use fills the twelve months", active + `{"what":"uses","value":1,"per":"12-months"}]}`, "2026-06-01", "2026-05-01", 8, Stop},
		{"season from November", active + `{"what":"uses","value":1,"per":"season","starts":"11-01"}]}`, "2025-11-01", "2026-10-31", 8, Stop},
		{"the season before", active + `{"what":"uses","value":1,"per":"season","starts":"11-01"}]}`, "2025-10-31", "2025-11-01", 8, OK},
		{"season not said", active + `{"what":"uses","value":3,"per":"season"}]}`, "2026-03-01", "2026-05-01", 8, Caution},
		// 25 % of 8 + 8 oz is 4 oz = 0.25 lb an acre.
		{"active at the cap", active + `{"what":"ingredient","value":0.25,"unit":"lb","per":"year"}]}`, "2026-03-01", "2026-05-01", 8, OK},
		{"active over", active + `{"what":"ingredient","value":0.249,"unit":"lb","per":"year"}]}`, "2026-03-01", "2026-05-01", 8, Stop},
		// 0.25 lb/acre = 0.2802 kg/ha (1 lb/acre = 1.12085 kg/ha).
		{"active per hectare within", active + `{"what":"ingredient","value":0.2803,"unit":"kg","area":"ha","per":"year"}]}`, "2026-03-01", "2026-05-01", 8, OK},
		{"active per hectare over", active + `{"what":"ingredient","value":0.2801,"unit":"kg","area":"ha","per":"year"}]}`, "2026-03-01", "2026-05-01", 8, Stop},
		{"this job alone", active + `{"what":"product","value":7.9,"unit":"oz_wt","per":"year"}]}`, "2020-03-01", "2026-05-01", 8, Stop},
		{"content not typed", `{"name":"Demo Duo","ingredients":[{"name":"boscalid"}],"caps":[{"what":"ingredient","value":1,"unit":"lb","per":"year"}]}`, "2026-03-01", "2026-05-01", 8, Caution},
		{"cap by volume of a product by weight", active + `{"what":"product","value":1,"unit":"gal","per":"year"}]}`, "2026-03-01", "2026-05-01", 8, Caution},
		{"another crop's cap", active + `{"what":"uses","value":1,"per":"year","crop":"grapes"}]}`, "2026-03-01", "2026-05-01", 8, OK},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, s := capGround(t, c.label)
			start := c.earlier + "T08:00:00-05:00"
			if day, utc := strings.CutSuffix(c.earlier, " UTC"); utc {
				start = day + "T01:00:00Z"
			}
			g.Earlier = []Earlier{before(t, g.Products[idLabel], start, ozWeight(c.dose), whole(s))}
			a := draft(t, g, jobOf(c.day, c.dose, "oz_wt", ""))
			if got := verdict(a, "cap"); got != c.want {
				t.Errorf("%q, want %q: %+v", got, c.want, checksOf(a, "cap"))
			}
		})
	}
}

// The same active under two names adds up (domain note 5.5).
func TestActiveUnderTwoNames(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo One","registration":"0-1","ingredients":[{"name":"Captan","amount":"80 %"}],"caps":[{"what":"ingredient","value":3,"unit":"lb","per":"year"}]}`)
	other := readLabel(t, `{"name":"Demo Two","registration":"0-2","ingredients":[{"name":"captan","content":{"value":4,"unit":"lb_per_gal"}}]}`)
	quart := quantity.Amount{Value: 1, Unit: quantity.Quart} // 1 lb of captan
	g.Earlier = []Earlier{before(t, other, "2026-04-01T08:00:00-04:00", quart, s.rectangle(-1, -1, 201, 101))}
	g.Earlier[0].Uses[0].Product = "another record"
	if a := draft(t, g, jobOf("2026-05-01", 2.5, "lb", "")); verdict(a, "cap") != OK { // 2 + 1 of 3 lb
		t.Errorf("%+v", checksOf(a, "cap"))
	}
	a := draft(t, g, jobOf("2026-05-01", 2.6, "lb", ""))
	if verdict(a, "cap") != Stop {
		t.Fatalf("%+v", checksOf(a, "cap"))
	}
	near(t, "captan", checksOf(a, "cap")[0].Measured.Value, 3.08, 1e-6)
	// A liquid with percent by weight needs what it weighs.
	heavy := other
	heavy.Ingredients = []Ingredient{{Name: "captan", Content: &Content{40, PercentWeight}}}
	g.Earlier[0].Uses[0].Label = heavy
	if a := draft(t, g, jobOf("2026-05-01", 2.6, "lb", "")); !slices.ContainsFunc(checksOf(a, "cap"), func(c Check) bool { return c.Answer == Caution }) {
		t.Errorf("%+v", checksOf(a, "cap"))
	}
	heavy.Density = &Content{10, PoundsPerGallon} // 40 % of 2.5 lb in the quart
	g.Earlier[0].Uses[0].Label = heavy
	near(t, "by density", checksOf(draft(t, g, jobOf("2026-05-01", 2.6, "lb", "")), "cap")[0].Measured.Value, 3.08, 1e-6)
}

// A banded product uses the band's acres: 6 oz on each treated acre is 6 oz, not 2.
func TestCapOfABandIsPerTreatedAcre(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo","caps":[{"what":"product","value":10,"unit":"oz_wt","per":"year"}]}`)
	g.Blocks[0].Rows = s.rows(200, 100, 3, 1)
	g.Earlier = []Earlier{before(t, g.Products[idLabel], "2026-04-10T08:00:00-04:00", ozWeight(5), s.rectangle(-1, -1, 201, 101))}
	body := strings.Replace(jobOf("2026-05-10", 6, "oz_wt", ""), `"broadcast"`, `"band","band_width_m":1,"sides":2`, 1)
	near(t, "value", checksOf(draft(t, g, body), "cap")[0].Measured.Value, 11, 1e-3)
}

func TestInterval(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo","interval_days":7}`)
	half := s.rectangle(100, -10, 300, 110)
	for _, c := range []struct {
		earlier, day string
		want         Verdict
		says         string
	}{
		{"2026-05-01T08:00:00-04:00", "2026-05-07", Stop, "not before 2026-05-08"},
		{"2026-05-01T08:00:00-04:00", "2026-05-08", OK, ""},
		{"2026-05-01T23:30:00-04:00", "2026-05-08", OK, ""}, // 2 May in UTC
		{"2026-05-10T08:00:00-04:00", "2026-05-08", Stop, "after the day of this job"},
	} {
		g.Earlier = []Earlier{before(t, g.Products[idLabel], c.earlier, ozWeight(1), half)}
		a := draft(t, g, jobOf(c.day, 1, "oz_wt", ""))
		if got := verdict(a, "interval"); got != c.want {
			t.Errorf("%s then %s: %q, want %q", c.earlier, c.day, got, c.want)
		}
		if c.says != "" {
			one := checksOf(a, "interval")[0]
			near(t, "share", one.Share, 0.5, 1e-3)
			if !strings.Contains(one.Why.String(), c.says) || !strings.Contains(one.Why.String(), "50.0 %") {
				t.Errorf("%q does not say %q", one.Why, c.says)
			}
		}
	}
	// Neighbours drawn along one line a hair apart are two grounds.
	g.Earlier = []Earlier{before(t, g.Products[idLabel], "2026-05-01T08:00:00-04:00", ozWeight(1), s.rectangle(199.98, 0, 400, 100))}
	if a := draft(t, g, jobOf("2026-05-02", 1, "oz_wt", "")); verdict(a, "interval") != OK {
		t.Errorf("a neighbour's edge: %+v", checksOf(a, "interval"))
	}
}

func TestHarvestAndEntryOfEarlierPasses(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo Old","phi_days":14,"rei_hours":48}`)
	g.Earlier = []Earlier{before(t, g.Products[idLabel], "2026-06-01T22:30:00-04:00", ozWeight(1), s.rectangle(0, 0, 50, 100))}
	g.Earlier[0].Uses[0].Product = "another"
	g.Products[idLabel] = Product{Name: "Demo New"}
	// It ended at 23:30 of 1 June: fourteen days on is 15 June, and 48 h are 23:30 of 3 June.
	a := draft(t, g, jobOf("2026-06-03", 1, "oz_wt", `,"harvest_on":"2026-06-14"`))
	phi := checksOf(a, "phi")
	if i := slices.IndexFunc(phi, func(c Check) bool { return c.Answer == Stop }); i < 0 || !strings.Contains(phi[i].Why.String(), "2026-06-15") || math.Abs(phi[i].Share-0.25) > 1e-3 {
		t.Errorf("phi %+v", phi)
	}
	if i := slices.IndexFunc(checksOf(a, "rei"), func(c Check) bool { return strings.Contains(c.Why.String(), "2026-06-03 23:30 EDT") }); i < 0 {
		t.Errorf("rei %+v", checksOf(a, "rei"))
	}
	a = draft(t, g, jobOf("2026-06-04", 1, "oz_wt", `,"harvest_on":"2026-06-15"`))
	if slices.ContainsFunc(a.Checks, func(c Check) bool { return c.Answer == Stop || strings.Contains(c.Why.String(), "still under") }) {
		t.Errorf("after all of it: %+v", a.Checks)
	}
}

// The caneberry table: one use of FRAC 11, two of FRAC 3 in a row, then another.
func TestRotation(t *testing.T) {
	label := func(name, code string) Product {
		return readLabel(t, fmt.Sprintf(`{"name":%q,"ingredients":[{"name":%q,"code":{%q:%q}}]}`, name, name, strings.ToLower(strings.Fields(code)[0]), strings.Fields(code)[1]))
	}
	for _, c := range []struct {
		name    string
		earlier []string // codes, oldest first
		now     string
		more    string
		want    Verdict
		runs    float64
	}{
		{"11 after 11", []string{"FRAC 3", "FRAC 11"}, "FRAC 11", "", Caution, 2},
		{"11 after 11 by the usual rule", []string{"FRAC 3", "FRAC 11"}, "FRAC 11", `,"rotation":"usual"`, OK, 0},
		{"11 after 3 after 11", []string{"FRAC 11", "FRAC 3"}, "FRAC 11", "", OK, 0},
		{"third 3 in a row", []string{"FRAC 11", "FRAC 3", "FRAC 3"}, "FRAC 3", "", Caution, 3},
		{"second 3 in a row", []string{"FRAC 11", "FRAC 3"}, "FRAC 3", "", OK, 0},
		{"an insecticide between does not part them", []string{"FRAC 11", "IRAC 5"}, "FRAC 11", "", Caution, 2},
		{"a mixture counts for each", []string{"FRAC 7+11"}, "FRAC 11", "", Caution, 2},
		{"multi-site is left out", []string{"FRAC M04", "FRAC M04", "FRAC M04"}, "FRAC M04", "", "", 0},
		{"multi-site counted when asked", []string{"FRAC M04", "FRAC M04"}, "FRAC M04", `,"count_multi_site":true`, Caution, 3},
		{"weeds", []string{"HRAC 22", "HRAC 22"}, "HRAC 22", "", Caution, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, s := capGround(t, `{"name":"Demo"}`)
			g.Products[idLabel] = label("now", c.now)
			for i, code := range c.earlier {
				e := before(t, label(fmt.Sprint("before", i), code), fmt.Sprintf("2026-04-%02dT08:00:00-04:00", i+1), ozWeight(1), s.rectangle(0, 0, 100, 100))
				e.Uses[0].Product = fmt.Sprint("before", i)
				g.Earlier = append(g.Earlier, e)
			}
			a := draft(t, g, jobOf("2026-05-01", 1, "oz_wt", c.more))
			if got := verdict(a, "rotation"); got != c.want {
				t.Fatalf("%q, want %q: %+v", got, c.want, checksOf(a, "rotation"))
			}
			if one := checksOf(a, "rotation"); c.runs > 0 && (one[0].Measured.Value != c.runs || math.Abs(one[0].Share-0.5) > 1e-3) {
				t.Errorf("%+v %+v, want %v in a row on half", one[0], one[0].Measured, c.runs)
			}
		})
	}
}

// Ground kept with a pass that crosses itself counts as all of the block.
func TestEarlierGroundThatCrossesItself(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo","interval_days":7}`)
	bow := orb.MultiPolygon{{{s.p(10, 10), s.p(90, 90), s.p(90, 10), s.p(10, 90), s.p(10, 10)}}}
	g.Earlier = []Earlier{before(t, g.Products[idLabel], "2026-05-01T08:00:00-04:00", ozWeight(1), bow)}
	a := draft(t, g, jobOf("2026-05-02", 1, "oz_wt", ""))
	if verdict(a, "interval") != Stop {
		t.Errorf("%+v", a.Checks)
	}
}

// Two passes whose teeth cross half a million times: the older is counted everywhere,
// as a use, and the page says so.
func TestEarlierGroundTooJagged(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo","caps":[{"what":"uses","value":5,"per":"year"}],"ingredients":[{"name":"x","code":{"frac":"7"}}]}`)
	comb := func(upright bool) orb.MultiPolygon {
		const teeth = 360
		var ring orb.Ring
		put := func(along, across float64) {
			if upright {
				ring = append(ring, s.p(along*200/teeth, across*100/teeth))
			} else {
				ring = append(ring, s.p(across*200/teeth, along*100/teeth))
			}
		}
		for i := range teeth {
			at := float64(i)
			put(at, 0)
			put(at+0.3, 0)
			put(at+0.3, teeth)
			put(at+0.7, teeth)
			put(at+0.7, 0)
		}
		put(teeth, 0)
		put(teeth, -5)
		put(0, -5)
		return orb.MultiPolygon{{append(ring, ring[0])}}
	}
	label := g.Products[idLabel]
	g.Earlier = []Earlier{
		before(t, label, "2026-04-01T08:00:00-04:00", ozWeight(1), comb(true)),
		before(t, label, "2026-04-15T08:00:00-04:00", ozWeight(1), comb(false)),
	}
	a := draft(t, g, jobOf("2026-05-02", 1, "oz_wt", ""))
	found := checksOf(a, "earlier")
	if len(found) != 1 || found[0].Answer != Caution {
		t.Fatalf("%+v, want one caution", found)
	}
	if got := found[0].Why.In(words.English); !strings.Contains(got, "the 1 oldest") {
		t.Error(got)
	}
	// One job, the older everywhere, the younger on its teeth.
	if c := checksOf(a, "rotation")[0]; c.Measured == nil || c.Measured.Value != 3 || len(c.Passes) != 2 {
		t.Errorf("%+v, want three uses in a row", c)
	}
}

// What cannot be worked with is a use of its group, and ends no run of another.
func TestBadGroundInTheRotation(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo","ingredients":[{"name":"x","code":{"frac":"7"}}]}`)
	bow := orb.MultiPolygon{{{s.p(10, 10), s.p(90, 90), s.p(90, 10), s.p(10, 90), s.p(10, 10)}}}
	label := g.Products[idLabel]
	other := label
	other.Name, other.Ingredients = "Other", []Ingredient{{Name: "y", Codes: map[string]string{"frac": "3"}}}
	whole := s.rectangle(0, 0, 200, 100)
	for _, c := range []struct {
		name   string
		second Product
		runs   float64
	}{{"the same group", label, 4}, {"another", other, 3}} {
		g.Earlier = []Earlier{
			before(t, label, "2026-04-01T08:00:00-04:00", ozWeight(1), whole),
			before(t, c.second, "2026-04-10T08:00:00-04:00", ozWeight(1), bow),
			before(t, label, "2026-04-20T08:00:00-04:00", ozWeight(1), whole),
		}
		a := draft(t, g, jobOf("2026-05-02", 1, "oz_wt", ""))
		if m := checksOf(a, "rotation")[0].Measured; m == nil || m.Value != c.runs {
			t.Errorf("%s: %+v, want %v in a row", c.name, m, c.runs)
		}
	}
}

// Sums over random rectangles against a raster of a metre: the worst dose of any
// point is what the cells say.
func TestWorstPointAgainstARaster(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo","caps":[{"what":"product","value":1,"unit":"oz_wt","per":"year"}]}`)
	type box struct{ x0, y0, x1, y1, dose float64 }
	for seed := range 20 {
		rng := newRand(seed)
		var boxes []box
		g.Earlier = nil
		for i := range 8 {
			b := box{x0: math.Floor(rng.Float64() * 150), y0: math.Floor(rng.Float64() * 70), dose: 1 + float64(rng.Intn(5))}
			b.x1, b.y1 = b.x0+10+math.Floor(rng.Float64()*80), b.y0+5+math.Floor(rng.Float64()*40)
			boxes = append(boxes, b)
			g.Earlier = append(g.Earlier, before(t, g.Products[idLabel], fmt.Sprintf("2026-03-%02dT08:00:00-04:00", i+1), ozWeight(b.dose), s.rectangle(b.x0, b.y0, b.x1, b.y1)))
		}
		worst := 0.0
		for x := 0.5; x < 200; x++ {
			for y := 0.5; y < 100; y++ {
				sum := 2.0
				for _, b := range boxes {
					if b.x0 < x && x < b.x1 && b.y0 < y && y < b.y1 {
						sum += b.dose
					}
				}
				worst = math.Max(worst, sum)
			}
		}
		c := checksOf(draft(t, g, jobOf("2026-05-01", 2, "oz_wt", "")), "cap")[0]
		near(t, fmt.Sprint("seed ", seed), c.Measured.Value, worst, 1e-6)
	}
}

// The zone of 100 or 25 ft, 40 CFR 170.405(a): round the passes, moving; by hand, a
// rectangle of 200 x 100 m grown by 30.48 m is 200 x 100 + 600 x 30.48 + pi 30.48^2.
func TestExclusionZone(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo"}`)
	g.Around = []Surroundings{
		{Feature: feature("dwelling", s.rectangle(225, 40, 235, 50)), Name: "House"},
		{Feature: feature("road", s.line(-40, -500, -40, 500)), Name: "Lane"},
	}
	for _, c := range []struct {
		name, more string
		feet       float64
		answer     Verdict
		within     int
	}{
		{"airblast", `,"method":"airblast"`, 100, Caution, 1},
		{"boom, medium, over 12 in", `,"method":"boom","droplets":"medium","height_m":0.5`, 25, Caution, 0},
		{"boom, fine", `,"method":"boom","droplets":"fine","height_m":0.2`, 100, Caution, 1},
		{"boom, low", `,"method":"boom","droplets":"coarse","height_m":0.3048`, 0, OK, 0},
		{"drench", `,"method":"drench"`, 0, OK, 0},
		{"boom, nothing said", `,"method":"boom"`, 0, Caution, 0},
		{"not said", ``, 0, Caution, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := draft(t, g, jobOf("2026-05-01", 1, "lb", c.more))
			if got := verdict(a, "exclusion-zone"); got != c.answer {
				t.Fatalf("%q, want %q: %+v", got, c.answer, checksOf(a, "exclusion-zone"))
			}
			if c.feet == 0 {
				if a.Exclusion != nil {
					t.Errorf("a zone of %v", a.Exclusion.Distance)
				}
				return
			}
			d := c.feet * geo.MetresPerFoot
			near(t, "distance", float64(a.Exclusion.Distance), d, 1e-9)
			zone, err := s.frame.Region(a.Exclusion.Ground)
			if err != nil {
				t.Fatal(err)
			}
			least := 20_000 + 600*d + math.Pi*d*d
			if got := float64(zone.Area()); got < least || got > 20_000+600*(d+0.5)+4*(d+0.5)*(d+0.5) {
				t.Errorf("zone of %.1f m2, want a little over %.1f", got, least)
			}
			if len(a.Exclusion.Within) != c.within || a.Exclusion.Beyond != nil {
				t.Errorf("within %v, beyond %v", a.Exclusion.Within, a.Exclusion.Beyond)
			}
		})
	}
	g.Around = append(g.Around, Surroundings{Feature: feature("boundary", s.rectangle(-10, -1000, 1000, 1000))})
	a := draft(t, g, jobOf("2026-05-01", 1, "lb", `,"method":"airblast"`))
	// Left of x = -10: a strip of 20.48 x 100 m and two quarter discs' ends.
	r, x := 30.48, 10.0
	ends := r*r*math.Acos(x/r) - x*math.Sqrt(r*r-x*x)
	near(t, "past the property line", float64(*a.Exclusion.Beyond), (r-x)*100+ends, 80)
}

func feature(kind string, shape orb.Geometry) setback.Feature {
	return setback.Feature{ID: "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4" + kind[:1], Kind: kind, Shape: shape}
}

// A strip is ground that must exist: 10 m along a stream 12 m off the field.
func TestStripMustExist(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo"}`)
	g.Around = []Surroundings{{Feature: feature("water", s.line(-300, 112, 500, 112)), Name: "Creek"}}
	job := jobOf("2026-05-01", 1, "lb", `,"setbacks":[{"from":"water","distance_m":10,"strip":true}]`)
	c := checksOf(draft(t, g, job), "strip")
	if len(c) != 1 || c[0].Answer != Stop || c[0].Area < 2000 || c[0].At == nil {
		t.Fatalf("no strip recorded: %+v", c)
	}
	strip := Surroundings{Feature: feature("other", s.rectangle(-100, 100, 300, 125)), Strip: true}
	g.Around = append(g.Around, strip)
	if c := checksOf(draft(t, g, job), "strip"); len(c) != 1 || c[0].Answer != OK {
		t.Errorf("recorded: %+v", c)
	}
	g.Around[1].Shape = s.rectangle(-100, 100, 150, 125)
	c = checksOf(draft(t, g, job), "strip")
	if len(c) != 1 || c[0].Answer != Stop || s.frame.XY(*c[0].At).X < 149 {
		t.Errorf("a gap: %+v", c)
	}
	g.Around[1] = strip
	g.Around[1].Strip = false
	if c := checksOf(draft(t, g, job), "strip"); c[0].Answer != Stop {
		t.Errorf("not marked as a strip: %+v", c)
	}
}

// The nearest places stand with every distance, on the outline and on the ground
// treated; the clearance is rounded down and the line's own doubt said.
func TestClearances(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo"}`)
	g.Around = []Surroundings{{Feature: feature("water", s.line(-300, 110, 500, 110)), Name: "Creek", Accuracy: 5}}
	a := draft(t, g, jobOf("2026-05-01", 1, "lb", `,"setbacks":[{"from":"water","distance_m":15.24}]`))
	d := a.Distances[0]
	near(t, "outline", float64(d.M), 10, 1e-3)
	near(t, "treated", float64(d.Treated.M), 15.24, 0.02)
	if got := d.Treated.FeetDown(); got != 50 {
		t.Errorf("%d ft, want 50", got)
	}
	for name, p := range map[string][2]geo.Position{"outline": {d.Nearest.Ground, d.Nearest.Feature}, "treated": {d.Treated.Nearest.Ground, d.Treated.Nearest.Feature}} {
		near(t, name+" ground", s.frame.XY(p[0]).Y, map[string]float64{"outline": 100, "treated": 94.76}[name], 0.02)
		near(t, name+" water", s.frame.XY(p[1]).Y, 110, 1e-3)
	}
	c := checksOf(a, "drawn-by-eye")
	if len(c) != 1 || !strings.Contains(c[0].Why.String(), "50 ft") || !strings.Contains(c[0].Why.String(), "as near as 33 ft") {
		t.Errorf("%+v", c)
	}
	near(t, "15.24 m is 50 ft", float64(Clearance{M: 15.24}.FeetDown()), 50, 0)
	near(t, "15.2399 m is 49 ft", float64(Clearance{M: 15.2399}.FeetDown()), 49, 0)
}

// From the top of a bank the way is longer by as far as it lies from the line.
func TestTopOfBank(t *testing.T) {
	g, s := capGround(t, `{"name":"Demo"}`)
	water := feature("water", s.line(-300, 110, 500, 110))
	job := func(more string) string {
		return jobOf("2026-05-01", 1, "lb", `,"setbacks":[{"from":"water","distance_m":15,"to_edge":"top-of-bank"`+more+`}]`)
	}
	for _, c := range []struct {
		name, more string
		change     func(*setback.Feature)
		withheld   float64
		unknown    bool
	}{
		{"nobody knows", "", func(*setback.Feature) {}, 5 * 200, true},
		{"typed with the setback", `,"bank_m":3`, func(*setback.Feature) {}, 8 * 200, false},
		{"recorded with the stream", "", func(f *setback.Feature) { f.Bank = 4 }, 9 * 200, false},
		{"the line is the top of the bank", "", func(f *setback.Feature) { f.Edge = setback.TopOfBank }, 5 * 200, false},
	} {
		one := water
		c.change(&one)
		g.Around = []Surroundings{{Feature: one}}
		a := draft(t, g, job(c.more))
		near(t, c.name, float64(a.Areas.Withheld), c.withheld, 4)
		if got := verdict(a, "bank") == Caution; got != c.unknown {
			t.Errorf("%s: says that the bank is not known: %v", c.name, got)
		}
	}
}

// The plants of a group: a strip as wide as the rows are apart, from half a plant
// before the first to half a one past the last.
func TestStretches(t *testing.T) {
	g, _ := rowGround(t)
	body := func(pattern, stretches string) string {
		return fmt.Sprintf(`{"blocks":[%q],"pattern":%s,"stretches":{%q:[%s]}}`, idA, pattern, idA, stretches)
	}
	a := draft(t, g, body(`"spot"`, `{"row":2,"from":11,"to":20},{"row":3,"from":15,"to":16},{"row":2,"from":20,"to":20}`))
	near(t, "treated", float64(a.Areas.Treated), 3*(10+2), 0.05)
	if *a.Plants != 12 {
		t.Errorf("%d plants, want 12", *a.Plants)
	}
	near(t, "row", float64(*a.RowLength), 12, 0.01)
	near(t, "at the row's end", float64(draft(t, g, body(`"drench","band_width_m":1`, `{"row":1,"from":1,"to":1}`)).Areas.Treated), 0.5, 0.01)
	for field, bad := range map[string]string{
		`stretches.` + idA + `[0].row`:  body(`"spot"`, `{"row":99,"from":1,"to":2}`),
		`stretches.` + idA + `[0].from`: body(`"spot"`, `{"row":1,"from":500,"to":600}`),
	} {
		_, err := Draft(t.Context(), g, request(t, bad))
		if !strings.Contains(fmt.Sprint(fieldsOf(err)), field) {
			t.Errorf("%s: faults at %v, want %s", bad, fieldsOf(err), field)
		}
	}
	if _, err := ReadRequest([]byte(body(`"spot"`, `{"row":1,"from":5,"to":2}`))); !strings.Contains(fmt.Sprint(fieldsOf(err)), "[0].to") {
		t.Errorf("backwards: %v", err)
	}
}

func fieldsOf(err error) (fields []string) {
	var refused *fault.Error
	if errors.As(err, &refused) {
		for _, d := range refused.Details {
			fields = append(fields, d.Field)
		}
	}
	return fields
}

// What labels say of bloom, days, wind, droplets and carrier binds.
func TestLabelBinds(t *testing.T) {
	for _, c := range []struct {
		name, label, more, rule string
		want                    Verdict
	}{
		{"in bloom", `"bloom":"never"`, ``, "bloom", Stop},
		{"in the evening", `"bloom":"evening"`, ``, "bloom", Caution},
		{"no longer valid", `"valid_until":"2026-04-30"`, ``, "label-valid", Stop},
		{"the last day", `"valid_until":"2026-05-01"`, ``, "label-valid", ""},
		{"out of season", `"season":{"from":"06-01","to":"09-30"}`, ``, "label-season", Stop},
		{"label's wind", `"wind":{"most_m_s":3}`, `,"wind_speed_m_s":3.1`, "label-wind", Stop},
		{"within it", `"wind":{"most_m_s":3}`, `,"wind_speed_m_s":3`, "label-wind", ""},
		{"too fine", `"droplets_finest":"medium"`, `,"droplets":"fine"`, "droplets", Stop},
		{"as coarse", `"droplets_finest":"medium"`, `,"droplets":"medium"`, "droplets", ""},
		{"too little spray", `"carrier_least":{"value":20,"unit":"gal","per":"acre"}`, `,"carrier":{"value":180,"unit":"L","per":"ha"}`, "carrier", Stop},
		{"enough", `"carrier_least":{"value":20,"unit":"gal","per":"acre"}`, `,"carrier":{"value":20,"unit":"gal","per":"acre"}`, "carrier", ""},
		{"no rate for the pattern", `"rates":[{"value":1,"unit":"lb","per":"acre","patterns":["band"]}]`, ``, "rate", Stop},
		{"no rate for the crop", `"rates":[{"value":1,"unit":"lb","per":"acre","crop":"grapes"}]`, ``, "rate", Stop},
		{"the group's rate", `"rates":[{"value":1,"unit":"lb","per":"acre","crop":"caneberries, dormant"}]`, ``, "rate", OK},
		{"mixing place", `"setbacks":[{"from":"well","distance_m":30,"from_edge":"mixing-place"}]`, ``, "mixing-place", Caution},
	} {
		g, _ := capGround(t, `{"name":"Demo",`+c.label+`}`)
		at := 65
		g.Blocks[0].Stages = []scouting.Stage{{Stage: "bloom", BBCH: &at, On: time.Date(2026, 4, 28, 0, 0, 0, 0, time.UTC)}}
		if got := verdict(draft(t, g, jobOf("2026-05-01", 1, "lb", c.more)), c.rule); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestSprayerChecks(t *testing.T) {
	list, err := ParseSprayers(json.RawMessage(`{"sprayers":[{"id":"tower","name":"Tower","method":"airblast","calibrations":[
		{"on":"2025-03-01","with":"gpa_5940","inputs":{"gpm":0.5,"mph":4,"width_in":20},"nozzles":[64,66,50,65]},
		{"on":"2026-04-01","with":"lpha_600","inputs":{"l_per_min":1,"kmh":6,"width_m":0.5}}]}]}`))
	if err != nil {
		t.Fatal(err)
	}
	g, _ := capGround(t, `{"name":"Demo"}`)
	work := func(day, gal string) Answer {
		q := request(t, jobOf(day, 1, "lb", `,"sprayer":"tower","carrier":{"value":`+gal+`,"unit":"gal","per":"acre"}`))
		if !q.Use(list) || q.Method != Airblast {
			t.Fatal("the sprayer was not taken")
		}
		a, err := Draft(t.Context(), g, q)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	// 600 x 1 / (6 x 0.5) = 200 L/ha = 21.38 gal/acre.
	if a := work("2026-05-01", "21"); verdict(a, "calibration") != OK || verdict(a, "nozzles") != "" {
		t.Errorf("%+v", a.Checks)
	}
	if a := work("2026-05-01", "40"); verdict(a, "calibration") != Caution {
		t.Errorf("40 gal asked of 21: %+v", checksOf(a, "calibration"))
	}
	if a := work("2026-03-02", "37"); verdict(a, "nozzles") != Caution || len(checksOf(a, "calibration")) != 2 {
		t.Errorf("a year and a day on: %+v", a.Checks)
	}
	if got := work("2026-05-01", "21").Mixing; len(got) != 3 || !strings.Contains(got[0].String(), "half") {
		t.Errorf("mixing %v", got)
	}
}
