package spray

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/overlay"
	"caneward/geo/plane"
)

// Worked examples of the trade (testdata/reference/trade, sources in its rows) that
// describe a whole job, as drafts.
func TestWorkedExamplesAsJobs(t *testing.T) {
	f, err := os.Open("../../testdata/reference/trade/worked-examples.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	const ft = geo.MetresPerFoot
	done := 0
	for _, row := range rows[1:] {
		var in map[string]float64
		if json.Unmarshal([]byte(row[2]), &in) != nil {
			continue // text among the inputs: no job
		}
		s := at(t, -80.42, 35.87)
		// A block of so many acres, 100 m wide.
		field := func(m2 float64) Ground {
			return Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100, m2/100), RowSpacing: geo.Metres(in["row_spacing_ft"]) * ft}}}
		}
		acres := func(a float64) Ground { return field(a * geo.SquareMetresPerAcre) }
		job := func(g Ground, pattern string, rate float64, unit, per, more string) Answer {
			return draft(t, g, fmt.Sprintf(`{"blocks":[%q],"pattern":%s,"products":[{"product":{"name":"x"},"rate":{"value":%v,"unit":%q,"per":%q}}]%s}`, idA, pattern, rate, unit, per, more))
		}
		tanks := func() Answer {
			return job(acres(in["treated_acres"]), `"broadcast"`, in["rate_per_acre"], "fl_oz", "acre",
				fmt.Sprintf(`,"carrier":{"value":%v,"unit":"gal","per":"acre"},"tank":{"value":%v,"unit":"gal"}`, in["gpa"], in["tank_gal"]))
		}
		var got float64
		ofActive := func(pounds float64, content string) float64 {
			return draft(t, acres(1), fmt.Sprintf(`{"blocks":[%q],"pattern":"broadcast","products":[{"product":{"name":"x","ingredients":[{"name":"sulfur","content":%s}]},
				"rate":{"value":%v,"unit":"lb","per":"acre","of":"sulfur"}}]}`, idA, content, pounds)).Totals[0].Amount.Value
		}
		switch row[1] {
		case "treated_acres_band":
			got = job(acres(in["block_acres"]), fmt.Sprintf(`"band","sides":2,"band_width_m":%v`, in["band_width_in"]/12*ft), 1, "lb", "acre", "").Areas.Treated.Acres()
		case "product_total":
			got = job(acres(in["treated_acres"]), `"broadcast"`, in["rate_per_acre"], "lb", "acre", "").Totals[0].Amount.Value
		case "product_from_row_ft_rate":
			g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, in["row_length_ft"]*ft, in["rows"]*3), RowSpacing: 3, PlantSpacing: 1, Rows: s.rows(in["row_length_ft"]*ft, in["rows"]*3, 3, 1)}}}
			got = job(g, `"band","sides":2,"band_width_m":1`, in["rate_per_1000_row_ft"], "pt", "1000ft", "").Totals[0].Amount.Value
		case "product_per_100gal":
			g := acres(1)
			got = job(g, `"broadcast"`, in["rate_per_100gal"], "lb", "100gal", fmt.Sprintf(`,"carrier":{"value":%v,"unit":"gal","per":"acre"},"tank":{"value":%v,"unit":"gal"}`, 1.5*in["tank_gal"], in["tank_gal"])).Tanks.Each[0].Amount.Value
		case "drench_total":
			g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, in["plants"]-1, 3), RowSpacing: 3, PlantSpacing: 1, Rows: s.rows(in["plants"]-1, 3, 3, 1)}}}
			total := job(g, `"drench"`, in["volume_per_plant_fl_oz"], "fl_oz", "plant", "").Totals[0].Amount
			gallons, err := total.In("gal")
			if err != nil {
				t.Fatal(err)
			}
			got = gallons.Value
		case "carrier_total":
			got = tanks().Carrier.Value
		case "full_tanks":
			got = float64(tanks().Tanks.Full)
		case "partial_tank_gal":
			got = tanks().Tanks.Last.Value
		case "product_full_tank":
			got = tanks().Tanks.Each[0].Amount.Value
		case "product_partial_tank":
			got = tanks().Tanks.InLast[0].Amount.Value
		case "product_grand_total":
			got = tanks().Totals[0].Amount.Value
		case "product_from_ai_percent":
			got = ofActive(in["ai_lb_per_acre"], fmt.Sprintf(`{"value":%v,"unit":"percent"}`, in["ai_percent"]))
		case "product_from_ai_lb_per_gal":
			got = ofActive(in["ai_lb_per_acre"], fmt.Sprintf(`{"value":%v,"unit":"lb_per_gal"}`, in["ai_lb_per_gal"]))
		default:
			continue
		}
		done++
		want, _ := strconv.ParseFloat(row[3], 64)
		tolerance, _ := strconv.ParseFloat(row[4], 64)
		near(t, row[0]+" "+row[1], got, want, tolerance+1e-6*want)
	}
	if done < 15 {
		t.Errorf("%d rows of the table describe a job, want 15 or more", done)
	}
	t.Logf("%d worked examples as jobs", done)
}

// Totals in label units equal area x rate to 1e-9, and 2 x 15 + 10.8 = 40.8 from
// an area that is 3.4 acres to a ten-thousandth of a square metre.
func TestTotalsEqualTheFormula(t *testing.T) {
	s := at(t, -80.42, 35.87)
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100, 3.4*geo.SquareMetresPerAcre/100)}}}
	a := draft(t, g, `{"blocks":["`+idA+`"],"pattern":"broadcast","products":[{"product":{"name":"x"},"rate":{"value":12,"unit":"fl_oz","per":"acre"}}],
		"carrier":{"value":40,"unit":"gal","per":"acre"},"tank":{"value":50,"unit":"gal"}}`)
	want := a.Areas.Treated.Acres() * 12
	near(t, "total", a.Totals[0].Amount.Value, want, 1e-9*want)
	near(t, "parts", 2*a.Tanks.Each[0].Amount.Value+a.Tanks.InLast[0].Amount.Value, a.Totals[0].Amount.Value, 1e-9*want)
	near(t, "by hand", a.Totals[0].Amount.Value, 40.8, 1e-5)
}

// Sixty acres, rows of 9 ft, a band of 36 in: 20 acres by the block formula. Rows
// that stop 8 m short of either end come to less, and the answer says why.
func TestBandFromRealRowsDiffers(t *testing.T) {
	const ft = geo.MetresPerFoot
	s := at(t, -80.42, 35.87)
	wide := 400.0
	high := 60 * geo.SquareMetresPerAcre / wide
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, wide, high), RowSpacing: 9 * ft}}}
	body := fmt.Sprintf(`{"blocks":[%q],"pattern":"band","sides":2,"band_width_m":%v,"products":[{"product":{"name":"x"},"rate":{"value":4,"unit":"lb","per":"acre"}}]}`, idA, 3*ft)
	bare := draft(t, g, body)
	near(t, "by formula", bare.Areas.Treated.Acres(), 20, 1e-4)
	near(t, "covered", bare.Areas.Covered.Acres(), 60, 1e-4)
	for i := 0; (float64(i)+1)*9*ft <= high; i++ {
		y := (float64(i) + 0.5) * 9 * ft
		r := s.rows(1, 9*ft, 9*ft, 1)[0]
		r.Number, r.Parts = i+1, orb.MultiLineString{s.line(8, y, wide-8, y)}
		g.Blocks[0].Rows = append(g.Blocks[0].Rows, r)
	}
	real := draft(t, g, body)
	near(t, "by rows", float64(real.Areas.Treated), float64(len(g.Blocks[0].Rows))*(wide-16)*3*ft, 1)
	c := checksOf(real, "band-formula")
	if len(c) != 1 || !strings.Contains(c[0].Why.String(), "headlands") || !strings.Contains(c[0].Why.String(), "20.00") {
		t.Errorf("%+v", c)
	}
	t.Logf("20 acres by the formula, %.2f by %d rows; covered %.2f", real.Areas.Treated.Acres(), len(g.Blocks[0].Rows), real.Areas.Covered.Acres())
}

// A thousand random fields of up to 12 corners, waters and winds: treated and withheld make up
// the chosen ground to 1e-6, and no point treated lies inside a setback, by distances
// on the ellipsoid to the feature's own corners and edges.
func TestRandomDraftsPointByPoint(t *testing.T) {
	points := 0
	for i := range 1000 {
		rng := newRand(7000 + i)
		s := at(t, -170+rng.Float64()*340, -55+rng.Float64()*115)
		g := Ground{Blocks: []Block{{ID: idA, Outline: s.star(rng, 40+rng.Float64()*200)}}}
		rule := setback.Rule{From: "water", Distance: geo.Metres(5 + rng.Float64()*60), Side: setback.Sides[rng.Intn(2)], HalfAngle: geo.Degrees(20 + rng.Float64()*70)}
		for n := range 1 + rng.Intn(3) {
			var l orb.LineString
			x, y := rng.NormFloat64()*150, rng.NormFloat64()*150
			for range 2 + rng.Intn(6) {
				l = append(l, s.p(x, y))
				x, y = x+rng.NormFloat64()*80, y+rng.NormFloat64()*80
			}
			g.Around = append(g.Around, Surroundings{Feature: setback.Feature{ID: fmt.Sprint("water", n), Kind: "water", Shape: l}})
		}
		wind := rng.Float64() * 360
		body := fmt.Sprintf(`{"blocks":[%q],"pattern":"broadcast","wind_from_deg":%v,"setbacks":[{"from":"water","distance_m":%v,"side":%q,"half_angle_deg":%v}],"products":[{"product":{"name":"x"},"rate":{"value":3,"unit":"lb","per":"acre"}}]}`,
			idA, wind, float64(rule.Distance), rule.Side, float64(rule.HalfAngle))
		a := draft(t, g, body)
		whole := float64(a.Areas.Outline)
		near(t, body+" sum", float64(a.Areas.Treated+a.Areas.Withheld), whole, 1e-6*whole+0.02)
		near(t, body+" total", a.Totals[0].Amount.Value, a.Areas.Treated.Acres()*3, 1e-9*whole)
		ground, err := s.frame.Region(a.Treated)
		if err != nil {
			t.Fatal(err)
		}
		where, box := overlay.Locate(ground), ground.Box()
		for range 60 {
			q := plane.XY{X: box.Min.X + rng.Float64()*(box.Max.X-box.Min.X), Y: box.Min.Y + rng.Float64()*(box.Max.Y-box.Min.Y)}
			if len(ground) == 0 || !where.Contains(q) {
				continue
			}
			points++
			for _, f := range g.Around {
				if d, ok := s.reached(q, f.Shape.(orb.LineString), rule, wind); ok {
					t.Fatalf("seed %d: a treated point lies %.3f m from water that keeps %.3f m %s: %s", i, d, float64(rule.Distance), rule.Side, body)
				}
			}
		}
	}
	t.Logf("%d points", points)
}

// star is a random outline round the origin.
func (s site) star(rng *rand.Rand, r float64) orb.MultiPolygon {
	n := 5 + rng.Intn(8)
	var ring orb.Ring
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		far := r * (0.4 + 0.6*rng.Float64())
		ring = append(ring, s.p(far*math.Cos(a), far*math.Sin(a)))
	}
	return orb.MultiPolygon{{append(ring, ring[0])}}
}

// reached asks the definition on feature points half a metre apart: is one within
// the distance (2 cm less, for the step) and, downwind, within the half angle.
func (s site) reached(q plane.XY, l orb.LineString, rule setback.Rule, wind float64) (float64, bool) {
	from := s.frame.Position(q)
	for i := 1; i < len(l); i++ {
		a, b := s.frame.XY(l[i-1]), s.frame.XY(l[i])
		steps := int(float64(a.Distance(b))/0.5) + 1
		for k := range steps + 1 {
			w := a.Plus(b.Minus(a).Times(float64(k) / float64(steps)))
			if float64(w.Distance(q)) > float64(rule.Distance) {
				continue
			}
			d := measure.Distance(from, s.frame.Position(w))
			if d >= rule.Distance-0.02 {
				continue
			}
			bearing := math.Atan2(w.X-q.X, w.Y-q.Y) * 180 / math.Pi
			off := math.Abs(math.Remainder(bearing-(wind+180), 360))
			if rule.Side == setback.All || off < float64(rule.HalfAngle)-0.1 {
				return float64(d), true
			}
		}
	}
	return 0, false
}

// Twice the field, twice the product: totals follow the area.
func TestTotalsScaleWithTheGround(t *testing.T) {
	s := at(t, 12, 52)
	for _, factor := range []float64{0.1, 2, 7.5} {
		one := draft(t, Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100, 40)}}}, jobPerHa)
		other := draft(t, Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100*factor, 40)}}}, jobPerHa)
		near(t, fmt.Sprint(factor), other.Totals[0].Amount.Value/one.Totals[0].Amount.Value, factor, 1e-6*factor)
	}
}

const jobPerHa = `{"blocks":["` + idA + `"],"pattern":"broadcast","products":[{"product":{"name":"x"},"rate":{"value":2,"unit":"kg","per":"ha"}}]}`

// A stream of 10,000 corners right through the block, from a little to very jagged:
// worked out, or refused with the reason. The figure is reported, not held: machines
// differ.
func TestJaggedStream(t *testing.T) {
	s := at(t, -80.42, 35.87)
	q := request(t, `{"blocks":["`+idA+`"],"pattern":"broadcast","setbacks":[{"from":"water","distance_m":15,"side":"all"}]}`)
	for _, jag := range []float64{0.02, 0.3, 3} {
		rng := newRand(3)
		var l orb.LineString
		for i := range 10_000 {
			l = append(l, s.p(-200+float64(i)*0.07, 75+rng.NormFloat64()*jag))
		}
		g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 200, 150)}}, Around: []Surroundings{{Feature: setback.Feature{ID: idWater, Kind: "water", Shape: l}}}}
		start := time.Now()
		a, err := Draft(context.Background(), g, q)
		took := time.Since(start)
		var refused *fault.Error
		switch {
		case errors.As(err, &refused) && refused.Kind == fault.TooCostly:
			t.Logf("jagged by %v m: refused after %v: %s", jag, took, refused.Text)
		case err != nil:
			t.Errorf("jagged by %v m: %v", jag, err)
		default:
			near(t, "sum", float64(a.Areas.Treated+a.Areas.Withheld), 30_000, 0.05)
			if a.Areas.Withheld < 200*30 {
				t.Errorf("withheld %v m2, want at least a strip of 30 m", a.Areas.Withheld)
			}
			t.Logf("jagged by %v m: worked out in %v, withheld %.0f m2", jag, took, float64(a.Areas.Withheld))
		}
	}
}
