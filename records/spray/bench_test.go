package spray

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/setback"
	"caneward/geo"
	"caneward/records"
	"caneward/records/quantity"
)

// A block of 500 x 300 m with 100 rows of 3 m beside a winding stream: a large
// one.
func BenchmarkDraft(b *testing.B) {
	s := at(b, -80.42, 35.87)
	var stream []float64
	for x := -200.0; x < 700; x += 5 {
		stream = append(stream, x, -10+5*float64(int(x)%3))
	}
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 500, 300), RowSpacing: 3, PlantSpacing: 1, Rows: s.rows(500, 300, 3, 1)}},
		Around: []Surroundings{{Feature: setback.Feature{ID: idWater, Kind: "water", Shape: s.line(stream...)}}}}
	for _, pattern := range []string{`"broadcast"`, `"band", "band_width_m": 1, "sides": 2`, `"alternate-middles"`} {
		b.Run(pattern[1:5], func(b *testing.B) {
			for b.Loop() {
				draft(b, g, `{"blocks": ["`+idA+`"], "pattern": `+pattern+`, "setbacks": [{"from": "water", "distance_m": 25, "side": "all"}]}`)
			}
		})
	}
}

// A farm of 50 blocks with 20 setbacks and 500 earlier passes, ten a block: whole
// blocks, halves and strips across, of two labels with caps of uses, product and
// active, intervals and codes.
func BenchmarkFarmDraft(b *testing.B) {
	s := at(b, -80.42, 35.87)
	label, _ := ParseProduct(geo.Geometry{}, json.RawMessage(`{"name":"Demo","ingredients":[{"name":"captan","amount":"80 %","code":{"frac":"M04"}},{"name":"boscalid","amount":"10 %","code":{"frac":"7"}}],
		"interval_days":7,"phi_days":3,"rei_hours":24,"rates":[{"value":2.5,"unit":"lb","per":"acre"}],
		"caps":[{"what":"uses","value":4,"per":"year"},{"what":"product","value":9,"unit":"lb","per":"12-months"},{"what":"ingredient","ingredient":"captan","value":8,"unit":"lb","per":"season","starts":"11-01"}]}`))
	g := Ground{Products: map[records.ID]Product{idLabel: label}}
	named := ""
	day := time.Date(2025, 9, 1, 12, 0, 0, 0, time.UTC)
	for i := range 50 {
		x, y := float64(i%10)*220, float64(i/10)*160
		id := records.ID(fmt.Sprintf("0190b5a2-7c3e-7a11-8f00-0000000000%02d", i))
		g.Blocks = append(g.Blocks, Block{ID: id, Name: fmt.Sprint("Block ", i), Crop: "blackberry", Outline: s.rectangle(x, y, x+200, y+150), RowSpacing: 3, PlantSpacing: 1})
		named += fmt.Sprintf(",%q", id)
		for n := range 10 {
			ground := []orb.MultiPolygon{s.rectangle(x, y, x+200, y+150), s.rectangle(x, y, x+100, y+150), s.rectangle(x-5, y+float64(7*n), x+205, y+float64(7*n+60))}[n%3]
			use := Use{Product: []string{idLabel, "other"}[n%2], Label: label, PerSquareMetre: quantity.Amount{Value: 2.8e-4, Unit: quantity.Kilogram}}
			if n%2 == 1 {
				use.Label.Name = "Other"
			}
			at := day.AddDate(0, 0, 25*n+i%20)
			g.Earlier = append(g.Earlier, Earlier{ID: records.ID(fmt.Sprint(i, "-", n)), Started: at, Ended: at.Add(time.Hour), Ground: ground, Uses: []Use{use}})
		}
	}
	slices.SortStableFunc(g.Earlier, func(a, c Earlier) int { return a.Started.Compare(c.Started) })
	// Four streams between the blocks, eight wells, six homes, two stands of hives.
	rules := ""
	for i := range 20 {
		id := fmt.Sprintf("0190b5a2-7c3e-7a11-8f00-0000000001%02d", i)
		f := setback.Feature{ID: id, Kind: "water"}
		switch {
		case i < 4:
			var l []float64
			for k := range 60 {
				l = append(l, float64(k)*40-50, float64(i)*160+155+float64(k%3)*1.5)
			}
			f.Shape = s.line(l...)
		case i < 12:
			f.Kind, f.Shape = "well", s.p(float64(i*170%2000)+30, float64(i*90%700))
		case i < 18:
			x, y := float64(i*330%2100), float64(-20+(i%2)*830)
			f.Kind, f.Shape = "dwelling", s.rectangle(x, y, x+15, y+10)
		default:
			f.Kind, f.Shape = "hives", s.p(float64(i)*60, 400)
		}
		g.Around = append(g.Around, Surroundings{Feature: f})
		rules += fmt.Sprintf(`,{"from":%q,"distance_m":%d,"side":"all"}`, id, 10+i)
	}
	q := request(b, fmt.Sprintf(`{"blocks":[%s],"pattern":"broadcast","start":"2026-06-01T08:00:00Z","harvest_on":"2026-07-01","setbacks":[%s],"method":"airblast",
		"products":[{"product":%q,"rate":{"value":2.5,"unit":"lb","per":"acre"}}]}`, named[1:], rules[1:], idLabel))
	var took []time.Duration
	for b.Loop() {
		start := time.Now()
		if _, err := Draft(b.Context(), g, q); err != nil {
			b.Fatal(err)
		}
		took = append(took, time.Since(start))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)*95/100].Microseconds())/1000, "ms-p95")
}
