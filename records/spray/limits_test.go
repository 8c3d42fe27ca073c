package spray

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/quantity"
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
	for _, want := range []string{"12 oz_wt", "10.0 %", "Long Rows", "10 oz_wt", "2026-04-10", "in 2026"} {
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
