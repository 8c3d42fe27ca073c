package layout

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"runtime"
	"strconv"
	"testing"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
)

const (
	foot = geo.MetresPerFoot
	acre = geo.SquareMetresPerAcre
)

type example struct {
	inputs              map[string]any
	expected, tolerance float64
}

func (e example) number(key string) float64 { return e.inputs[key].(float64) }

// examples are those of testdata/reference/trade/worked-examples.csv; each row
// there names its source.
func examples(t *testing.T) map[string]example {
	t.Helper()
	f, err := os.Open("../../testdata/reference/trade/worked-examples.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]example{}
	for _, r := range rows[1:] {
		var e example
		if json.Unmarshal([]byte(r[2]), &e.inputs) != nil {
			continue
		}
		if e.expected, err = strconv.ParseFloat(r[3], 64); err != nil {
			continue // dates and pairs of other topics
		}
		e.tolerance, _ = strconv.ParseFloat(r[4], 64)
		out[r[0]] = e
	}
	return out
}

// rowsAlong is a layout of rows along a rectangle, metres.
func rowsAlong(t *testing.T, along, across float64, s Spec) Layout {
	t.Helper()
	l, err := Plan(context.Background(), siteAt(t, geo.Position{-80.4, 35.9}).polygon(box(0, 0, along, across)), s)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// The examples that a layout should bear out, laid out.
func TestTradeExamplesThroughTheLayout(t *testing.T) {
	all := examples(t)
	check := func(id string, got float64) {
		t.Helper()
		e, known := all[id]
		if !known {
			t.Fatalf("no example %s", id)
		}
		near(t, id, got, e.expected, e.tolerance)
	}
	side := math.Sqrt(acre)
	for _, id := range []string{"W01", "W02", "W03", "W04"} {
		e := all[id]
		l := rowsAlong(t, side, side, Spec{RowSpacing: geo.Metres(e.number("row_spacing_ft") * foot), PlantSpacing: geo.Metres(e.number("in_row_ft") * foot), Bearing: 90})
		check(id, l.Handbook().Plants)
		// The count is another figure, and the reasons lead from one to the other.
		if float64(l.Plants) == math.Round(l.Handbook().Plants) {
			t.Errorf("%s: count %d is the gross figure", id, l.Plants)
		}
		checkSums(t, id, l)
	}
	e := all["W05"]
	check("W05", rowsAlong(t, 100, 100, Spec{RowSpacing: geo.Metres(e.number("row_spacing_m")), PlantSpacing: geo.Metres(e.number("in_row_m")), Bearing: 90}).Handbook().Plants)
	for _, id := range []string{"W06", "W07", "W08"} {
		check(id, rowsAlong(t, side, side, Spec{RowSpacing: geo.Metres(all[id].number("row_spacing_ft") * foot), PlantSpacing: 1, Bearing: 90}).Handbook().RowLength.Feet())
	}
	// An acre that the rows fit exactly: laid out it has the handbook's row length,
	// so a rate per acre becomes the same rate per 1,000 row feet.
	for _, id := range []string{"W09", "W10"} {
		e := all[id]
		spacing := e.number("row_spacing_ft") * foot
		l := rowsAlong(t, acre/(20*spacing), 20*spacing, Spec{RowSpacing: geo.Metres(spacing), PlantSpacing: 1, Bearing: 90})
		check(id, e.number("rate_per_acre")*16/(l.RowLength.Feet()/1000)) // 16 oz to the pound
	}
	rows := func(id string) Layout {
		e := all[id]
		return rowsAlong(t, e.number("row_length_ft")*foot, e.number("rows")*3, Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90})
	}
	check("W11", rows("W11").RowLength.Feet()/1000*all["W11"].number("rate_per_1000_row_ft"))
	check("W20", rows("W20").RowLength.Feet()*all["W20"].number("band_width_in")/12/43560)
	// 3,320 plants as 40 rows of 83: plants x spacing counts one spacing a row more
	// than the rows are long.
	for _, c := range []struct {
		id, spacing, width string
		metres, unit       float64
	}{{"W18", "in_row_ft", "strip_width_ft", foot, acre}, {"W19", "in_row_m", "strip_width_m", 1, geo.SquareMetresPerHa}} {
		e := all[c.id]
		spacing, width := e.number(c.spacing)*c.metres, e.number(c.width)*c.metres
		l := rowsAlong(t, 82*spacing, 40*4, Spec{RowSpacing: 4, PlantSpacing: geo.Metres(spacing), Bearing: 90})
		if float64(l.Plants) != e.number("plants") {
			t.Fatalf("%s: %d plants", c.id, l.Plants)
		}
		check(c.id, float64(l.Plants)*spacing*width/c.unit)
		near(t, c.id+" by row length", (float64(l.RowLength)+40*spacing)*width/c.unit, e.expected, e.tolerance)
	}
	// W41 has nothing of a layout but the row spacing (gallons a minute from gallons
	// an acre): calc's business.
}

// By hand: the rectangle with the hole, 6 m headlands: 16 rows of 88 m and 4 of
// twice 28 m, 24 parts, 1632 m, 16 x 89 + 8 x 29 = 1656 plants.
func TestOrderByHand(t *testing.T) {
	hole := plane.Ring{{X: 40, Y: 24}, {X: 40, Y: 36}, {X: 60, Y: 36}, {X: 60, Y: 24}, {X: 40, Y: 24}}
	l, err := Plan(context.Background(), rectangle(t, geo.Position{-80.4, 35.9}, 0, hole), Spec{RowSpacing: 3, PlantSpacing: 1, Bearing: 90, Headland: 6, PostSpacing: 8})
	if err != nil {
		t.Fatal(err)
	}
	o, err := l.Order(Supplies{SparePercent: 5, Wires: 3, TieOff: 1.5, Lines: 2})
	if err != nil {
		t.Fatal(err)
	}
	// 1656 x 1.05 = 1738.8. Posts: 88 m: 0 to 88 by 8, 12; 28 m: 0, 8, 16, 24, 28, 5.
	if o.Plants != 1656 || o.ToOrder != 1739 || math.Abs(o.Exact-1738.8) > 1e-9 || o.Posts != 16*12+8*5 || o.EndPosts != 48 {
		t.Errorf("order %+v", o)
	}
	near(t, "wire", float64(o.Wire), 3*(1632+2*1.5*24), 0.1)
	near(t, "line", float64(o.Line), 2*1632, 0.1)
	if len(o.How) != 6 {
		t.Errorf("%d figures shown, want 6", len(o.How))
	}
	for _, f := range o.How {
		for _, lang := range []words.Language{words.English, words.Spanish} {
			if f.Name().In(lang) == "" || f.UnitName().In(lang) == "" || f.Source.In(lang) == "" || f.Text.In(lang) == "" {
				t.Errorf("figure %s says nothing in %s", f.What, lang)
			}
		}
	}
	// A whole number with the spare plants stays: 2000 x 1.05 = 2100.
	even := Layout{Spec: l.Spec, Plants: 2000}
	if o, err := even.Order(Supplies{SparePercent: 5}); err != nil || o.ToOrder != 2100 || len(o.How) != 4 {
		t.Errorf("order %+v, %v", o, err)
	}
	for _, bad := range []Supplies{{SparePercent: -1}, {SparePercent: math.NaN()}, {SparePercent: 101}, {Wires: 21}, {Wires: -1}, {TieOff: 51}, {Lines: 11}} {
		if _, err := l.Order(bad); fault.KindOf(err) != fault.Invalid || err == nil {
			t.Errorf("%+v: %v, want a refusal", bad, err)
		}
	}
}

// By hand: along the rectangle 20 rows of 100 m, across it 33 of 60 m with 1 m
// left over.
func TestCompareByHand(t *testing.T) {
	outline := rectangle(t, geo.Position{-80.4, 35.9}, 0)
	base := Spec{RowSpacing: 3, PlantSpacing: 1}
	swept, err := Sweep(base, 90)
	if err != nil || len(swept) != 2 {
		t.Fatalf("sweep %v, %v", swept, err)
	}
	options, err := Compare(context.Background(), outline, swept, 80)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []Figures{
		{Rows: 33, RowLength: 33 * 60, Plants: 33 * 61, Turns: 32, ShortRows: 33, Shortest: 60, Longest: 60, Share: 0.99},
		{Rows: 20, RowLength: 2000, Plants: 20 * 101, Turns: 19, ShortRows: 0, Shortest: 100, Longest: 100, Share: 1},
	} {
		got := options[i].Figures
		for what, pair := range map[string][2]float64{"row length": {float64(got.RowLength), float64(want.RowLength)}, "shortest": {float64(got.Shortest), float64(want.Shortest)},
			"longest": {float64(got.Longest), float64(want.Longest)}, "share": {got.Share, want.Share}} {
			near(t, fmt.Sprintf("option %d: %s", i, what), pair[0], pair[1], 0.02)
		}
		if got.Rows != want.Rows || got.Plants != want.Plants || got.Turns != want.Turns || got.ShortRows != want.ShortRows {
			t.Errorf("option %d: %+v, want %+v", i, got, want)
		}
	}
	if got := float64(LineBearing(orb.LineString{{-80.4, 35.9}, {-80.4, 35.91}, {-80.4, 35.92}})); got != 0 {
		t.Errorf("a line due north has bearing %v", got)
	}
}

// The same on one processor and on all, and the same as each laid out alone.
func TestCompareIsDeterministic(t *testing.T) {
	outline := rectangle(t, geo.Position{-80.4, 35.9}, 17, plane.Ring{{X: 40, Y: 24}, {X: 40, Y: 36}, {X: 60, Y: 36}, {X: 60, Y: 24}, {X: 40, Y: 24}})
	choices, err := Sweep(Spec{RowSpacing: 3, PlantSpacing: 1, Headland: 4}, 2.5)
	if err != nil {
		t.Fatal(err)
	}
	many, err := Compare(context.Background(), outline, choices, ShortRow)
	if err != nil {
		t.Fatal(err)
	}
	before := runtime.GOMAXPROCS(1)
	one, err := Compare(context.Background(), outline, choices, ShortRow)
	runtime.GOMAXPROCS(before)
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range choices {
		l, err := Plan(context.Background(), outline, c.Spec)
		if err != nil {
			t.Fatal(err)
		}
		if f := l.Figures(ShortRow); many[i].Figures != f || one[i].Figures != f || many[i].JSON() != one[i].JSON() {
			t.Errorf("bearing %v: %+v, %+v on one processor, %+v alone", c.Spec.Bearing, many[i].Figures, one[i].Figures, f)
		}
	}
}

func TestCompareRefusals(t *testing.T) {
	outline := rectangle(t, geo.Position{-80.4, 35.9}, 0)
	good := Choice{Swept, Spec{RowSpacing: 3, PlantSpacing: 1}}
	bad := Choice{Swept, Spec{RowSpacing: -3, PlantSpacing: 1}}
	if _, err := Compare(context.Background(), outline, []Choice{good, bad, good}, ShortRow); fault.KindOf(err) != fault.Invalid || err == nil {
		t.Errorf("a bad choice: %v", err)
	}
	if _, err := Compare(context.Background(), outline, make([]Choice, MaxOptions+1), ShortRow); fault.KindOf(err) != fault.TooCostly {
		t.Errorf("too many: %v", err)
	}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Compare(gone, outline, []Choice{good}, ShortRow); err == nil {
		t.Error("cancelled, and yet compared")
	}
	for _, step := range []geo.Degrees{0, -1, 0.4, 181, geo.Degrees(math.NaN())} {
		if _, err := Sweep(good.Spec, step); fault.KindOf(err) != fault.Invalid || err == nil {
			t.Errorf("sweep by %v: %v", step, err)
		}
	}
}
