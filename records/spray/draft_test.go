package spray

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/quantity"
)

const (
	idA     = "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a"
	idB     = "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4b"
	idWater = "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4c"
	idLabel = "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4d"
)

// site is metres east and north of a place on the ground.
func newRand(seed int) *rand.Rand { return rand.New(rand.NewSource(int64(seed))) }

type site struct{ frame plane.Frame }

func at(t testing.TB, lon, lat float64) site {
	t.Helper()
	f, err := plane.FrameAt(orb.Point{lon, lat})
	if err != nil {
		t.Fatal(err)
	}
	return site{f}
}

func (s site) p(x, y float64) orb.Point { return s.frame.Position(plane.XY{X: x, Y: y}) }

func (s site) rectangle(x0, y0, x1, y1 float64) orb.MultiPolygon {
	return orb.MultiPolygon{{{s.p(x0, y0), s.p(x1, y0), s.p(x1, y1), s.p(x0, y1), s.p(x0, y0)}}}
}

func (s site) line(xy ...float64) orb.LineString {
	var l orb.LineString
	for i := 0; i < len(xy); i += 2 {
		l = append(l, s.p(xy[i], xy[i+1]))
	}
	return l
}

// rows run west to east, from the south edge up, half a spacing in.
func (s site) rows(width, height, spacing, plant float64) []blocks.Row {
	var rows []blocks.Row
	for i := 0; (float64(i)+1)*spacing <= height+1e-9; i++ {
		y := (float64(i) + 0.5) * spacing
		rows = append(rows, blocks.Row{Block: idA, Number: i + 1, Plants: int(width/plant) + 1, Parts: orb.MultiLineString{s.line(0, y, width, y)}})
	}
	return rows
}

func request(t testing.TB, body string) Request {
	t.Helper()
	q, err := ReadRequest([]byte(body))
	if err != nil {
		t.Fatalf("%s: %v", body, err)
	}
	return q
}

func draft(t testing.TB, g Ground, body string) Answer {
	t.Helper()
	a, err := Draft(context.Background(), g, request(t, body))
	if err != nil {
		t.Fatalf("%s: %v", body, err)
	}
	return a
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g within %.3g", what, got, want, tolerance)
	}
}

func verdict(a Answer, rule string) Verdict {
	worst := Verdict("")
	for _, c := range a.Checks {
		if c.Rule == rule && (worst == "" || c.Answer == Stop || c.Answer == Caution && worst == OK) {
			worst = c.Answer
		}
	}
	return worst
}

func streamGround(t testing.TB) (Ground, site) {
	s := at(t, -80.42, 35.87)
	return Ground{
		Blocks: []Block{{ID: idA, Name: "Bar block", Crop: "blackberry", Outline: s.rectangle(0, 0, 200, 150), RowSpacing: 3, PlantSpacing: 1}},
		Around: []Surroundings{{Feature: setback.Feature{ID: idWater, Kind: "water", Shape: s.line(-300, 160, 500, 160)}, Name: "Bar stream"}},
	}, s
}

const streamDraft = `{"blocks": ["` + idA + `"], "pattern": "broadcast", "setbacks": [{"from": "water", "distance_m": 25, "side": "all"}],
	"products": [{"product": {"name": "Demo"}, "rate": {"value": 12, "unit": "fl_oz", "per": "acre"}}],
	"carrier": {"value": 40, "unit": "gal", "per": "acre"}, "tank": {"value": 50, "unit": "gal"}}`

// A block of 200 x 150 m with a stream 10 m outside and 25 m kept: by hand,
// 15 m of it are withheld.
func TestStreamJob(t *testing.T) {
	g, _ := streamGround(t)
	a := draft(t, g, streamDraft)
	near(t, "outline", float64(a.Areas.Outline), 30000, 1.5)
	near(t, "treated", float64(a.Areas.Treated), 27000, 13.5)
	near(t, "withheld", float64(a.Areas.Withheld), 3000, 1.5)
	near(t, "sum", float64(a.Areas.Treated+a.Areas.Withheld), float64(a.Areas.Outline), 1e-3)
	near(t, "distance", float64(a.Distances[0].M), 10, 0.02)

	acres := a.Areas.Treated.Acres()
	near(t, "product", a.Totals[0].Amount.Value, acres*12, 1e-9*acres*12)
	near(t, "product in SI", a.Totals[0].SI.Value, acres*12*0.0295735295625, 1e-9)
	near(t, "carrier", a.Carrier.Value, acres*40, 1e-9*acres*40)
	if a.Tanks.Full != 5 {
		t.Errorf("%d full tanks, want 5", a.Tanks.Full)
	}
	near(t, "last tank", a.Tanks.Last.Value, acres*40-250, 1e-9)
	near(t, "in each", a.Tanks.Each[0].Amount.Value, 15, 1e-12)
	near(t, "in the last", a.Tanks.InLast[0].Amount.Value, (acres*40-250)/40*12, 1e-9)
	if got := verdict(a, "setback"); got != Caution {
		t.Errorf("setback check %q", got)
	}
}

func TestEncodedShape(t *testing.T) {
	g, _ := streamGround(t)
	raw, err := draft(t, g, streamDraft).Encode(words.Spanish)
	if err != nil {
		t.Fatal(err)
	}
	var out struct {
		Areas    map[string]float64
		Treated  json.RawMessage
		Withheld json.RawMessage
		Totals   []struct {
			Product string
			Amount  quantity.Amount
			SI      *quantity.Amount `json:"exact_si"`
		}
		Tanks struct {
			Full   int
			Last   quantity.Amount
			Each   []struct{ Amount quantity.Amount }
			InLast []struct{ Amount quantity.Amount } `json:"in_last"`
		}
		Carrier   quantity.Amount
		Row       float64 `json:"row_length_m"`
		Plants    int
		Distances []struct {
			Block, To, Kind string
			M               float64
		}
		Checks []struct{ Rule, Answer, Why, Source string }
		How    []struct{ Figure, Formula, Source string }
	}
	if err := json.Unmarshal(raw, &out); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"outline_m2", "planted_m2", "treated_m2", "covered_m2", "withheld_m2", "overlap_m2"} {
		if _, ok := out.Areas[key]; !ok {
			t.Errorf("no %s", key)
		}
	}
	for _, shape := range []json.RawMessage{out.Treated, out.Withheld} {
		g, err := wire.DecodeGeometry(shape, wire.Limits{})
		if err != nil || !isGround(g.Flat) {
			t.Errorf("%s: %v", shape, err)
		}
	}
	if out.Totals[0].Product != "Demo" || out.Totals[0].SI == nil || out.Tanks.Full != 5 || len(out.Tanks.Each) != 1 || len(out.Tanks.InLast) != 1 {
		t.Errorf("totals %+v, tanks %+v", out.Totals, out.Tanks)
	}
	near(t, "row length", out.Row, 9000, 5)
	near(t, "plants", float64(out.Plants), 9000, 5)
	if d := out.Distances[0]; d.Block != idA || d.To != idWater || d.Kind != "water" {
		t.Errorf("%+v", d)
	}
	for _, c := range out.Checks {
		if c.Rule == "" || c.Why == "" || c.Source == "" || strings.ContainsAny(c.Why, "{}") || !slices.Contains([]string{"ok", "caution", "stop"}, c.Answer) {
			t.Errorf("check %+v", c)
		}
	}
	explained := map[string]bool{}
	for _, f := range out.How {
		explained[f.Figure] = true
	}
	for _, want := range []string{"row_length_m", "plants"} {
		if !explained[want] {
			t.Errorf("%s is given without saying how it came about", want)
		}
	}
	if len(out.How) < 7 {
		t.Errorf("%d figures explained", len(out.How))
	}
	again, _ := draft(t, g, streamDraft).Encode(words.Spanish)
	if string(again) != string(raw) {
		t.Error("the same draft came out differently")
	}
}

// W12, W13, W17, W62 and W63 of testdata/reference/trade, through a draft.
func TestBandAndCoveredAcres(t *testing.T) {
	const ft = geo.MetresPerFoot
	block := func(s site, acres float64) Block {
		width := 400.0
		return Block{ID: idA, Outline: s.rectangle(0, 0, width, acres*geo.SquareMetresPerAcre/width), RowSpacing: 9 * ft}
	}
	for _, c := range []struct {
		name             string
		acres            float64
		pattern          string
		treated, covered float64
		tolerance        float64
	}{
		{"W12 W13 W63: 36 in band", 60, fmt.Sprintf(`"band", "sides": 2, "band_width_m": %v`, 3*ft), 20, 60, 1e-4},
		{"W17: 42 in band", 60, fmt.Sprintf(`"band", "sides": 2, "band_width_m": %v`, 3.5*ft), 23.3333, 60, 1e-4},
		{"one side covers half the band", 60, fmt.Sprintf(`"band", "sides": 1, "band_width_m": %v`, 3*ft), 10, 60, 1e-4},
		{"W62: alternate middles", 80, `"alternate-middles"`, 40, 80, 1e-4},
		{"broadcast", 60, `"broadcast"`, 60, 60, 1e-4},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := at(t, -80.42, 35.87)
			a := draft(t, Ground{Blocks: []Block{block(s, c.acres)}}, `{"blocks": ["`+idA+`"], "pattern": `+c.pattern+`,
				"products": [{"product": {"name": "x"}, "rate": {"value": 4, "unit": "lb", "per": "acre"}}]}`)
			near(t, "treated acres", a.Areas.Treated.Acres(), c.treated, c.treated*c.tolerance)
			near(t, "covered acres", a.Areas.Covered.Acres(), c.covered, c.covered*c.tolerance)
			near(t, "product", a.Totals[0].Amount.Value, 4*c.treated, 4*c.treated*c.tolerance)
			if a.Totals[0].Amount.Unit != quantity.Pound {
				t.Errorf("total in %s", a.Totals[0].Amount.Unit)
			}
		})
	}
}

// A block of 60 x 30 m with ten rows of 3 m, plants 1 m apart: by hand.
func rowGround(t testing.TB) (Ground, site) {
	s := at(t, -80.42, 35.87)
	return Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 60, 30), RowSpacing: 3, PlantSpacing: 1, Rows: s.rows(60, 30, 3, 1)}},
		Around: []Surroundings{{Feature: setback.Feature{ID: idWater, Kind: "water", Shape: s.line(-50, -10, 100, -10)}}}}, s
}

func TestPatternsOnRows(t *testing.T) {
	const water = `"setbacks": [{"from": "water", "distance_m": 16, "side": "all"}]` // takes y < 6: rows 1 and 2
	for _, c := range []struct {
		name                                        string
		body                                        string
		treated, covered, withheld, planted, length float64
		plants                                      int
	}{
		{"broadcast", `"pattern": "broadcast"`, 1800, 1800, 0, 1800, 600, 610},
		{"broadcast, setback", `"pattern": "broadcast", ` + water, 1440, 1440, 360, 1800, 480, 488},
		{"band", `"pattern": "band", "band_width_m": 1, "sides": 2`, 600, 1800, 0, 1800, 600, 610},
		{"band, one side", `"pattern": "band", "band_width_m": 1, "sides": 1`, 300, 1800, 0, 1800, 600, 610},
		{"band, setback", `"pattern": "band", "band_width_m": 1, "sides": 2, ` + water, 480, 1440, 360, 1800, 480, 488},
		{"band wider than the rows are apart", `"pattern": "band", "band_width_m": 5, "sides": 2`, 1800, 1800, 0, 1800, 600, 610},
		{"band on three rows", `"pattern": "band", "band_width_m": 1, "sides": 2, "rows": {"` + idA + `": [4, 5, 9]}`, 180, 540, 0, 1800, 180, 183},
		{"broadcast on two rows", `"pattern": "broadcast", "rows": {"` + idA + `": [1, 2]}`, 360, 360, 0, 1800, 120, 122},
		{"alternate middles", `"pattern": "alternate-middles"`, 900, 1800, 0, 1800, 600, 610},
		{"alternate middles, setback", `"pattern": "alternate-middles", ` + water, 720, 1440, 360, 1800, 480, 488},
		{"drench", `"pattern": "drench"`, 1800, 1800, 0, 1800, 600, 610},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, _ := rowGround(t)
			a := draft(t, g, `{"blocks": ["`+idA+`"], `+c.body+`}`)
			const tolerance = 0.6 // m2: the lap of strips and the setback's arc
			near(t, "treated", float64(a.Areas.Treated), c.treated, tolerance)
			near(t, "covered", float64(a.Areas.Covered), c.covered, tolerance)
			near(t, "withheld", float64(a.Areas.Withheld), c.withheld, tolerance)
			near(t, "planted", float64(a.Areas.Planted), c.planted, tolerance)
			near(t, "row length", float64(*a.RowLength), c.length, 0.01)
			if *a.Plants != c.plants {
				t.Errorf("%d plants, want %d", *a.Plants, c.plants)
			}
			f, err := plane.FrameOf(a.Treated)
			if err != nil {
				t.Fatal(err)
			}
			region, err := f.Region(a.Treated)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "area of the geometry", float64(region.Area()), float64(a.Areas.Treated), 1e-3)
		})
	}
}

func TestBasesOfRates(t *testing.T) {
	g, _ := rowGround(t)
	g.Blocks[0].Rows[0].Missing = []int{1, 2, 61}
	a := draft(t, g, `{"blocks": ["`+idA+`"], "pattern": "drench", "carrier": {"value": 0.25, "unit": "L", "per": "plant"},
		"products": [{"product": {"name": "a"}, "rate": {"value": 10, "unit": "mL", "per": "plant"}},
			{"product": {"name": "b"}, "rate": {"value": 2, "unit": "kg", "per": "100L"}},
			{"product": {"name": "c"}, "rate": {"value": 0.25, "unit": "pt", "per": "1000ft"}}]}`)
	if *a.Plants != 607 {
		t.Errorf("%d plants, want 610 less 3 missing", *a.Plants)
	}
	near(t, "carrier", a.Carrier.Value, 607*0.25, 1e-9)
	near(t, "per plant", a.Totals[0].Amount.Value, 6070, 1e-9)
	near(t, "per 100 L", a.Totals[1].Amount.Value, 607*0.25/100*2, 1e-9)
	near(t, "per 1,000 ft", a.Totals[2].Amount.Value, 600/304.8*0.25, 1e-4)
	if a.Tanks != nil {
		t.Error("tanks without a tank")
	}
}

func TestSetbackLargerThanTheBlock(t *testing.T) {
	g, _ := streamGround(t)
	a := draft(t, g, strings.Replace(streamDraft, `"distance_m": 25`, `"distance_m": 500`, 1))
	if a.Areas.Treated != 0 || len(a.Treated) != 0 || a.Totals[0].Amount.Value != 0 || a.Carrier.Value != 0 {
		t.Errorf("areas %+v totals %+v", a.Areas, a.Totals)
	}
	near(t, "withheld", float64(a.Areas.Withheld), 30000, 1.5)
	if verdict(a, "treated-nothing") != Stop || !a.Stopped() {
		t.Errorf("checks %+v", a.Checks)
	}
	if a.Tanks.Full != 0 || a.Tanks.Last.Value != 0 || len(a.Tanks.Each) != 0 || len(a.Tanks.InLast) != 0 {
		t.Errorf("tanks %+v", a.Tanks)
	}
	raw, err := a.Encode(words.English)
	if err != nil || !strings.Contains(string(raw), `"treated":null`) {
		t.Errorf("%v: %s", err, raw)
	}
}

// Of two blocks that share a strip of 20 m the strip counts once.
func TestBlocksOverlap(t *testing.T) {
	s := at(t, -80.42, 35.87)
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100, 100)}, {ID: idB, Outline: s.rectangle(80, 0, 180, 100)}}}
	a := draft(t, g, `{"blocks": ["`+idA+`", "`+idB+`"], "pattern": "broadcast"}`)
	near(t, "outline", float64(a.Areas.Outline), 18000, 0.1)
	near(t, "treated", float64(a.Areas.Treated), 18000, 0.1)
	near(t, "overlap", float64(a.Areas.Overlap), 2000, 0.1)
	near(t, "second block", float64(a.Parts[1].Areas.Treated), 8000, 0.1)
	if verdict(a, "overlap") != Caution {
		t.Error("no word about the overlap")
	}
}

// Blocks 300 km apart stay as exact as one alone.
func TestBlocksFarApart(t *testing.T) {
	g, _ := streamGround(t)
	far := at(t, -77, 36.5)
	g.Blocks = append(g.Blocks, Block{ID: idB, Outline: far.rectangle(0, 0, 200, 150)})
	a := draft(t, g, strings.Replace(streamDraft, `["`+idA+`"]`, `["`+idA+`", "`+idB+`"]`, 1))
	near(t, "outline", float64(a.Areas.Outline), 60000, 0.1)
	near(t, "treated", float64(a.Areas.Treated), 57000, 2)
}

func TestSpotAndArea(t *testing.T) {
	g, s := streamGround(t)
	area, err := wire.EncodeGeometry(geo.Geometry{Flat: s.rectangle(190, 0, 210, 20)[0]})
	if err != nil {
		t.Fatal(err)
	}
	in := draft(t, g, `{"blocks": ["`+idA+`"], "pattern": "spot", "area": `+string(area)+`}`)
	near(t, "spot in the block", float64(in.Areas.Treated), 200, 0.1)
	alone := draft(t, Ground{Around: g.Around}, `{"pattern": "spot", "area": `+string(area)+`}`)
	near(t, "spot alone", float64(alone.Areas.Treated), 400, 0.1)
	elsewhere, _ := wire.EncodeGeometry(geo.Geometry{Flat: at(t, 10, 50).rectangle(0, 0, 20, 20)[0]})
	none := draft(t, g, `{"blocks": ["`+idA+`"], "pattern": "spot", "area": `+string(elsewhere)+`}`)
	if none.Areas.Treated != 0 || verdict(none, "treated-nothing") != Stop {
		t.Errorf("an area elsewhere: %+v", none.Areas)
	}
}

// Expected values: testdata/reference/ground, with its tolerances.
func TestReferenceSetbacks(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", "ground", "setbacks.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID      string
			Block   json.RawMessage
			Feature json.RawMessage
			Kind    string `json:"feature_kind"`
			Setback struct {
				Distance  float64 `json:"distance_m"`
				Side      string
				WindFrom  *float64 `json:"wind_from_deg"`
				HalfAngle *float64 `json:"half_angle_deg"`
			}
			Expected struct {
				Outline  float64 `json:"outline_m2"`
				Withheld float64 `json:"withheld_m2"`
				Treated  float64 `json:"treated_m2"`
				Parts    int     `json:"treated_parts"`
				Nearest  float64 `json:"nearest_m"`
			}
		}
	}
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) < 30 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	for _, c := range file.Cases {
		t.Run(c.ID, func(t *testing.T) {
			block, err := wire.DecodeGeometry(c.Block, wire.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			feature, err := wire.DecodeGeometry(c.Feature, wire.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			g := Ground{Blocks: []Block{{ID: idA, Outline: multi(block.Flat)}},
				Around: []Surroundings{{Feature: setback.Feature{ID: idWater, Kind: c.Kind, Shape: feature.Flat}}}}
			rule := map[string]any{"from": idWater, "distance_m": c.Setback.Distance, "side": c.Setback.Side}
			body := map[string]any{"blocks": []string{idA}, "pattern": "broadcast", "setbacks": []any{rule}}
			if c.Setback.Side == "downwind" {
				body["wind_from_deg"] = *c.Setback.WindFrom
				rule["half_angle_deg"] = *c.Setback.HalfAngle
			}
			raw, _ := json.Marshal(body)
			a := draft(t, g, string(raw))
			e := c.Expected
			near(t, "outline", float64(a.Areas.Outline), e.Outline, 1e-6*e.Outline)
			near(t, "withheld", float64(a.Areas.Withheld), e.Withheld, 1e-3*e.Withheld+0.5)
			near(t, "treated", float64(a.Areas.Treated), e.Treated, 1e-3*e.Withheld+0.5)
			near(t, "sum", float64(a.Areas.Treated+a.Areas.Withheld), e.Outline, 1e-6*e.Outline)
			near(t, "nearest", float64(a.Distances[0].M), e.Nearest, 0.02)
			if len(a.Treated) != e.Parts {
				t.Errorf("%d parts, want %d", len(a.Treated), e.Parts)
			}
		})
	}
}

// Every refusal names its field.
func TestFieldErrors(t *testing.T) {
	body := func(change string) string {
		base := map[string]json.RawMessage{}
		if err := json.Unmarshal([]byte(streamDraft), &base); err != nil {
			t.Fatal(err)
		}
		key, value, _ := strings.Cut(change, "=")
		if value == "" {
			delete(base, key)
		} else {
			base[key] = json.RawMessage(value)
		}
		raw, err := json.Marshal(base)
		if err != nil {
			t.Fatalf("%s: %v", change, err)
		}
		return string(raw)
	}
	line := func(rate string) string { return `products=[{"product":{"name":"x"},"rate":` + rate + `}]` }
	for _, c := range []struct{ name, change, field, says string }{
		{"negative rate", line(`{"value":-1,"unit":"lb","per":"acre"}`), "products[0].rate.value", "below 0"},
		{"zero rate", line(`{"value":0,"unit":"lb","per":"acre"}`), "products[0].rate.value", "above 0"},
		{"no unit", line(`{"value":1,"per":"acre"}`), "products[0].rate.unit", "without a unit"},
		{"bare ounce", line(`{"value":1,"unit":"oz","per":"acre"}`), "products[0].rate.unit", "weight or volume"},
		{"unknown unit", line(`{"value":1,"unit":"bucket","per":"acre"}`), "products[0].rate.unit", "no unit known"},
		{"no base", line(`{"value":1,"unit":"lb"}`), "products[0].rate.per", "per what"},
		{"no rate", `products=[{"product":{"name":"x"}}]`, "products[0].rate", "needed"},
		{"no product", `products=[{"rate":{"value":1,"unit":"lb","per":"acre"}}]`, "products[0].product", "needed"},
		{"no name", `products=[{"product":{},"rate":{"value":1,"unit":"lb","per":"acre"}}]`, "products[0].product.name", "needed"},
		{"product is no id", `products=[{"product":"x","rate":{"value":1,"unit":"lb","per":"acre"}}]`, "products[0].product", "id of a product"},
		{"unknown product", `products=[{"product":"` + idLabel + `","rate":{"value":1,"unit":"lb","per":"acre"}}]`, "products[0].product", "no product"},
		{"unknown pattern", `pattern="zigzag"`, "pattern", "none of"},
		{"no pattern", `pattern`, "pattern", "needed"},
		{"band without width", `pattern="band"`, "band_width_m", "width of the band"},
		{"spot without area", `pattern="spot"`, "area", "area drawn"},
		{"three sides", `sides=3`, "sides", "from 1 to 2"},
		{"downwind without wind", `setbacks=[{"from":"water","distance_m":25,"side":"downwind"}]`, "wind_from_deg", "wind comes from"},
		{"wind of 361", `wind_from_deg=361`, "wind_from_deg", "from 0 to 360"},
		{"distance 0", `setbacks=[{"from":"water","distance_m":0,"side":"all"}]`, "setbacks[0].distance_m", "above 0"},
		{"distance huge", `setbacks=[{"from":"water","distance_m":1e7,"side":"all"}]`, "setbacks[0].distance_m", "above 0"},
		{"no distance", `setbacks=[{"from":"water","side":"all"}]`, "setbacks[0].distance_m", "needed"},
		{"unknown side", `setbacks=[{"from":"water","distance_m":5,"side":"upwind"}]`, "setbacks[0].side", "none of"},
		{"from nowhere", `setbacks=[{"from":"the moon","distance_m":5,"side":"all"}]`, "setbacks[0].from", "neither"},
		{"misspelt", `setback=[]`, "setback", "not read here"},
		{"misspelt within", `setbacks=[{"from":"water","distance":5,"distance_m":5}]`, "setbacks[0].distance", "not read here"},
		{"no blocks", `blocks=[]`, "blocks", "at least one block"},
		{"block is no id", `blocks=["north"]`, "blocks[0]", "id of a record"},
		{"block twice", `blocks=["` + idA + `","` + idA + `"]`, "blocks[1]", "named twice"},
		{"rows of another", `rows={"` + idB + `":[1]}`, "rows." + idB, "not part"},
		{"no such rows", `rows={"` + idA + `":[1]}`, "rows." + idA, "No rows are laid out"},
		{"row half", `rows={"` + idA + `":[1.5]}`, "rows." + idA + "[0]", "whole number"},
		{"carrier by weight", `carrier={"value":40,"unit":"lb","per":"acre"}`, "carrier.unit", "by volume"},
		{"carrier per itself", `carrier={"value":40,"unit":"gal","per":"100gal"}`, "carrier.per", "volume of itself"},
		{"tank of nothing", `tank={"value":0,"unit":"gal"}`, "tank.value", "above 0"},
		{"tank without unit", `tank={"value":50}`, "tank.unit", "without a unit"},
		{"start without zone", `start="2026-06-10T06:30"`, "start", "with its zone"},
		{"no such day", `harvest_on="2026-02-30"`, "harvest_on", "date"},
		{"area a point", `area={"type":"Point","coordinates":[-80,35]}`, "area", "Polygon"},
		{"area a bow-tie", `area={"type":"Polygon","coordinates":[[[-80,35],[-79.99,35.01],[-79.99,35],[-80,35.01],[-80,35]]]}`, "area", "crosses"},
		{"area without end", `area={"type":"Polygon","coordinates":[[[-80,35]]]}`, "area", "Polygon"},
	} {
		t.Run(c.name, func(t *testing.T) {
			g, _ := streamGround(t)
			q, err := ReadRequest([]byte(body(c.change)))
			if err == nil {
				_, err = Draft(context.Background(), g, q)
			}
			var f *fault.Error
			if !errors.As(err, &f) || f.Kind != fault.Invalid {
				t.Fatalf("%s: got %v, want a refusal", c.change, err)
			}
			if !slices.ContainsFunc(f.Details, func(d fault.Detail) bool {
				return d.Field == c.field && strings.Contains(d.Text.String(), c.says)
			}) {
				t.Errorf("%s: got %v, want %s saying %q", c.change, f, c.field, c.says)
			}
		})
	}
	for _, raw := range []string{"", "null", "[]", "{", `{"blocks":[],"blocks":[]}`, "\xff"} {
		if _, err := ReadRequest([]byte(raw)); !fault.Is(err, fault.Malformed) && !fault.Is(err, fault.Invalid) {
			t.Errorf("%q: %v", raw, err)
		}
	}
}

func TestMissingBases(t *testing.T) {
	s := at(t, -80.42, 35.87)
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 50, 50)}}}
	for _, c := range []struct{ name, per, says string }{
		{"spray", "100gal", "needs the carrier"}, {"rows", "1000ft", "rows laid out"}, {"plants", "plant", "rows with their plants"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Draft(context.Background(), g, request(t, `{"blocks":["`+idA+`"],"pattern":"broadcast","products":[{"product":{"name":"x"},"rate":{"value":1,"unit":"lb","per":"`+c.per+`"}}]}`))
			var f *fault.Error
			if !errors.As(err, &f) || f.Details[0].Field != "products[0].rate.per" || !strings.Contains(f.Error(), c.says) {
				t.Errorf("got %v", err)
			}
		})
	}
	_, err := Draft(context.Background(), g, request(t, `{"blocks":["`+idA+`"],"pattern":"band","band_width_m":1}`))
	if !fault.Is(err, fault.Invalid) || !strings.Contains(err.Error(), "row spacing") {
		t.Errorf("a band without rows or spacing: %v", err)
	}
}

func TestChecks(t *testing.T) {
	g, _ := streamGround(t)
	g.Zone, _ = time.LoadLocation("America/New_York")
	phi, rei := 3, 12.0
	label := Product{Name: "Demo Pyre", PHIDays: &phi, REIHours: &rei, Restricted: true,
		Rates:    []LabelRate{{Rate: quantity.Rate{Amount: quantity.Amount{Value: 3.2, Unit: quantity.FluidOunce}, Per: quantity.PerAcre}, Most: 6.4}},
		Setbacks: []LabelSetback{{Rule: setback.Rule{From: "water", Distance: 30, Side: setback.All}}}}
	g.Products = map[records.ID]Product{idLabel: label}
	for _, c := range []struct {
		name, rule string
		body       string
		want       Verdict
		says       string
	}{
		{"harvest too soon", "phi", `"start":"2026-06-10T06:30:00-04:00","harvest_on":"2026-06-12"`, Stop, "2026-06-13"},
		{"harvest in time", "phi", `"start":"2026-06-10T06:30:00-04:00","harvest_on":"2026-06-13"`, OK, "2026-06-13"},
		{"the farm's day counts, not UTC's", "phi", `"start":"2026-06-11T02:30:00Z","harvest_on":"2026-06-13"`, OK, "2026-06-13"},
		{"past midnight the later day counts", "phi", `"start":"2026-06-10T23:00:00-04:00","end":"2026-06-11T01:00:00-04:00","harvest_on":"2026-06-13"`, Stop, "2026-06-14"},
		{"no start", "phi", `"harvest_on":"2026-06-13"`, Caution, "Without a start"},
		{"entry from the end", "rei", `"start":"2026-06-10T06:30:00-04:00","end":"2026-06-10T08:00:00-04:00"`, Caution, "2026-06-10 20:00 EDT"},
		{"entry over the hour change is no shorter", "rei", `"start":"2026-03-07T19:00:00-05:00","end":"2026-03-07T20:00:00-05:00"`, Caution, "2026-03-08 09:00 EDT"},
		{"entry with a start only", "rei", `"start":"2026-06-10T06:30:00-04:00"`, Caution, "later than the start"},
		{"restricted", "restricted", ``, Caution, "certified applicators only"},
		{"rate over", "rate", `"rate":6.5`, Stop, "more than the highest rate"},
		{"rate at the top", "rate", `"rate":6.4`, OK, "within"},
		{"rate under", "rate", `"rate":3`, Caution, "less than the lowest"},
		{"no wind", "wind-direction", ``, Caution, "not given"},
		{"wind turns", "wind-direction", `"wind_from_deg":180,"setbacks":[{"from":"water","distance_m":40,"side":"downwind"}]`, Caution, "from 180"},
		{"calm", "wind-speed", `"wind_speed_m_s":1`, Caution, "inversion"},
		{"good wind", "wind-speed", `"wind_speed_m_s":2`, OK, "between"},
		{"fresh wind", "wind-speed", `"wind_speed_m_s":4`, Caution, "more than 8"},
		{"gale", "wind-speed", `"wind_speed_m_s":8`, Stop, "more than 15"},
		{"label asks for more", "label-setback", `"setbacks":[{"from":"water","distance_m":25,"side":"all"}]`, Stop, "30 m from water"},
		{"label asks for as much", "label-setback", `"setbacks":[{"from":"water","distance_m":30,"side":"all"}]`, "", ""},
		{"label asks for all sides", "label-setback", `"wind_from_deg":0,"setbacks":[{"from":"water","distance_m":30,"side":"downwind"}]`, Stop, "30 m from water"},
		{"none recorded", "setback-none-recorded", `"setbacks":[{"from":"well","distance_m":30,"side":"all"}]`, Caution, "well"},
		{"label is the law", "label", ``, Caution, "label is the law"},
		{"lines are drawn", "drawn-lines", ``, Caution, "Measure buffers"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rate := "6"
			body := c.body
			if v, ok := strings.CutPrefix(body, `"rate":`); ok {
				rate, body = v, ""
			}
			if body != "" {
				body = ", " + body
			}
			a := draft(t, g, `{"blocks":["`+idA+`"],"pattern":"broadcast","products":[{"product":"`+idLabel+`","rate":{"value":`+rate+`,"unit":"fl_oz","per":"acre"}}]`+body+`}`)
			if got := verdict(a, c.rule); got != c.want {
				t.Fatalf("%s: %q, want %q", c.rule, got, c.want)
			}
			if c.says != "" && !slices.ContainsFunc(a.Checks, func(k Check) bool { return k.Rule == c.rule && strings.Contains(k.Why.String(), c.says) }) {
				t.Errorf("%+v, want %q", a.Checks, c.says)
			}
			for _, k := range a.Checks {
				for _, banned := range []string{"safe", "compliant", "approved"} {
					if strings.Contains(" "+strings.ToLower(k.Why.String())+" ", " "+banned+" ") {
						t.Errorf("%q says %q", k.Why, banned)
					}
				}
			}
		})
	}
}

// Whatever the ground: treated and withheld make up what was chosen, totals
// follow the area, tanks add up to the totals, twice the rate is twice the
// product.
func TestRandomDrafts(t *testing.T) {
	rng := rand.New(rand.NewSource(20260501))
	for i := range 200 {
		s := at(t, -120+rng.Float64()*240, -45+rng.Float64()*105)
		w, h := 20+rng.Float64()*300, 20+rng.Float64()*300
		g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, w, h), RowSpacing: 3, PlantSpacing: 1}}}
		if i%3 == 0 {
			g.Blocks[0].Rows = s.rows(w, h, 3, 1)
		}
		for range 1 + rng.Intn(3) {
			x, y := rng.Float64()*w, rng.Float64()*h
			g.Around = append(g.Around, Surroundings{Feature: setback.Feature{ID: idWater, Kind: "water",
				Shape: s.line(x, y, x+rng.NormFloat64()*100, y+rng.NormFloat64()*100, x+rng.NormFloat64()*100, y)}})
		}
		side := []string{"all", "downwind"}[rng.Intn(2)]
		rate, carrier, tank := 0.1+rng.Float64()*20, 50+rng.Float64()*400, 100+rng.Float64()*900
		body := func(rate float64) string {
			return fmt.Sprintf(`{"blocks":[%q],"pattern":"broadcast","wind_from_deg":%v,"setbacks":[{"from":"water","distance_m":%v,"side":%q}],
				"products":[{"product":{"name":"x"},"rate":{"value":%v,"unit":"kg","per":"ha"}}],
				"carrier":{"value":%v,"unit":"L","per":"ha"},"tank":{"value":%v,"unit":"L"}}`,
				idA, rng.Intn(360), 1+float64(i%50), side, rate, carrier, tank)
		}
		one := body(rate)
		a := draft(t, g, one)
		near(t, one+" sum", float64(a.Areas.Treated+a.Areas.Withheld), float64(a.Areas.Outline), 1e-6*float64(a.Areas.Outline)+0.02)
		want := float64(a.Areas.Treated) / 1e4 * rate
		near(t, one+" total", a.Totals[0].Amount.Value, want, 1e-9*want)
		twice := draft(t, g, strings.Replace(one, fmt.Sprintf(`"value":%v,"unit":"kg"`, rate), fmt.Sprintf(`"value":%v,"unit":"kg"`, 2*rate), 1))
		near(t, one+" twice", twice.Totals[0].Amount.Value, 2*a.Totals[0].Amount.Value, 2e-9*want)
		sum := 0.0
		if len(a.Tanks.Each) > 0 {
			sum = float64(a.Tanks.Full) * a.Tanks.Each[0].Amount.Value
		}
		if len(a.Tanks.InLast) > 0 {
			sum += a.Tanks.InLast[0].Amount.Value
		}
		near(t, one+" tanks", sum, a.Totals[0].Amount.Value, 1e-9*want)
		near(t, one+" spray", float64(a.Tanks.Full)*tank+a.Tanks.Last.Value, a.Carrier.Value, 1e-9*a.Carrier.Value)
		if a.Tanks.Last.Value >= tank {
			t.Errorf("%s: the last tank is a full one", one)
		}
		if t.Failed() {
			break
		}
	}
}

func TestFreeze(t *testing.T) {
	g, _ := streamGround(t)
	a := draft(t, g, streamDraft)
	raw, err := Freeze(a)
	if err != nil {
		t.Fatal(err)
	}
	var properties map[string]json.RawMessage
	if err := json.Unmarshal(raw, &properties); err != nil {
		t.Fatal(err)
	}
	properties["state"] = json.RawMessage(`"applied"`)
	whole, _ := json.Marshal(properties)
	p, details := ParsePass(geo.Geometry{Flat: a.Treated}, whole)
	if len(details) > 0 {
		t.Fatalf("%+v", details)
	}
	if p.Areas == nil || *p.Areas != a.Areas || p.Totals[0] != a.Totals[0] {
		t.Errorf("frozen %s, read back %+v %+v", raw, p.Areas, p.Totals)
	}
	if got := p.Lacks(); !slices.Equal(got, []string{"products", "started_at", "ended_at", "people.applicator", "people.certification"}) {
		t.Errorf("lacks %v", got)
	}
}
