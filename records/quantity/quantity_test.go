package quantity

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
)

func TestConvert(t *testing.T) {
	for _, c := range []struct {
		name     string
		value    float64
		from, to string
		want     float64
		source   string
	}{
		{"acre", 1, "acre", "m2", 4046.8564224, "85 FR 62698: foot of 0.3048 m"},
		{"survey acre", 1, "us_survey_acre", "m2", 4046.872609874252, "1200/3937 m squared, 43,560 of them"},
		{"US gallon", 1, "gal", "L", 3.785411784, "231 cubic inches"},
		{"imperial gallon", 1, "imp_gal", "L", 4.54609, "UK Units of Measurement Regulations 1995, from memory"},
		{"fluid ounces of a US gallon", 1, "gal", "fl_oz", 128, "definition"},
		{"fluid ounces of an imperial gallon", 1, "imp_gal", "imp_fl_oz", 160, "definition"},
		{"pints", 1, "gal", "pt", 8, "definition"},
		{"quarts", 1, "gal", "qt", 4, "definition"},
		{"ounces of a pound", 1, "lb", "oz_wt", 16, "definition"},
		{"quotient", 1, "fl_oz_per_acre", "mL_per_ha", 73.07778303872054, "29.5735295625 mL over 0.40468564224 ha"},
		{"weight per area", 1, "oz_wt_per_acre", "g_per_ha", 70.0531972652, "derived from the exact definitions"},
		{"speed, key against quotient", 1, "mph", "km_per_h", 1.609344, "definition of the mile"},
		{"speed, two quotients", 1, "m_per_s", "ft_per_min", 196.8503937007874, "60/0.3048"},
		{"freezing", 32, "F", "C", 0, "definition"},
		{"boiling", 100, "C", "F", 212, "definition"},
		{"same below zero", -40, "F", "C", -40, "definition"},
		{"pressure", 1, "psi", "kPa", 6.894757293168361, "lbf over square inch"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Convert(c.value, c.from, c.to)
			if err != nil || math.Abs(got-c.want) > 1e-9*math.Max(1, math.Abs(c.want)) {
				t.Errorf("%v %s in %s: got %v %v, want %v (%s)", c.value, c.from, c.to, got, err, c.want, c.source)
			}
		})
	}
}

func TestConvertRefuses(t *testing.T) {
	for _, c := range []struct {
		name     string
		value    float64
		from, to string
		says     string
	}{
		{"bare ounce", 1, "oz", "g", "oz_wt for ounces of weight or fl_oz"},
		{"bare ounce in a quotient", 1, "oz_per_acre", "g_per_ha", "oz_wt for ounces"},
		{"unknown", 1, "furlong", "m", "furlong is no unit known here"},
		{"mass to volume", 1, "lb", "gal", "measures mass"},
		{"weight ounce to fluid ounce", 1, "oz_wt", "fl_oz", "measures mass"},
		{"per area to plain", 1, "lb_per_acre", "kg", "mass per area"},
		{"temperature in a quotient", 1, "C_per_m", "F_per_ft", "no unit known"},
		{"not a number", math.NaN(), "m", "ft", "must be a number"},
		{"infinite", math.Inf(1), "m", "ft", "must be a number"},
		{"huge", 1e13, "m", "ft", "must be a number"},
		{"long key", 1, strings.Repeat("x", 5000), "ft", "..."},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Convert(c.value, c.from, c.to)
			if !fault.Is(err, fault.Invalid) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want a refusal saying %q", err, c.says)
			}
			if err != nil && len(err.Error()) > 1000 {
				t.Errorf("the refusal is %d bytes long", len(err.Error()))
			}
		})
	}
}

// Every pair of units of a dimension, there and back.
func TestThereAndBack(t *testing.T) {
	for a, da := range definitions {
		for b, db := range definitions {
			if da.dimension != db.dimension {
				continue
			}
			there, err := Convert(12.7, string(a), string(b))
			if err != nil {
				t.Fatal(err)
			}
			back, err := Convert(there, string(b), string(a))
			if err != nil || math.Abs(back-12.7) > 1e-9 {
				t.Errorf("12.7 %s in %s and back: %v %v", a, b, back, err)
			}
		}
	}
}

func TestAmountAndRateJSON(t *testing.T) {
	var r Rate
	if err := json.Unmarshal([]byte(`{"value": 12, "unit": "fl_oz", "per": "acre"}`), &r); err != nil {
		t.Fatal(err)
	}
	if r != (Rate{Amount{12, FluidOunce}, PerAcre}) {
		t.Errorf("got %+v", r)
	}
	back, _ := json.Marshal(r)
	if string(back) != `{"value":12,"unit":"fl_oz","per":"acre"}` {
		t.Errorf("written as %s", back)
	}
	for _, c := range []struct{ name, in, field, says string }{
		{"bare ounce", `{"value":12,"unit":"oz","per":"acre"}`, "unit", "oz_wt for ounces of weight"},
		{"no unit", `{"value":12,"per":"acre"}`, "unit", "without a unit"},
		{"unit null", `{"value":12,"unit":null,"per":"acre"}`, "unit", "without a unit"},
		{"unit a number", `{"value":12,"unit":4,"per":"acre"}`, "unit", "no unit known"},
		{"case", `{"value":12,"unit":"ml","per":"acre"}`, "unit", "no unit known"},
		{"an area", `{"value":12,"unit":"acre","per":"acre"}`, "unit", "measures area"},
		{"no value", `{"unit":"lb","per":"acre"}`, "value", "missing"},
		{"negative", `{"value":-1,"unit":"lb","per":"acre"}`, "value", "below 0"},
		{"zero", `{"value":0,"unit":"lb","per":"acre"}`, "value", "above 0"},
		{"huge", `{"value":1e300,"unit":"lb","per":"acre"}`, "value", "must be a number"},
		{"overflow", `{"value":1e999,"unit":"lb","per":"acre"}`, "value", "must be a number"},
		{"text", `{"value":"12","unit":"lb","per":"acre"}`, "value", "must be a number"},
		{"no base", `{"value":12,"unit":"lb"}`, "per", "per what"},
		{"unknown base", `{"value":12,"unit":"lb","per":"tree"}`, "per", "1000ft"},
		{"more", `{"value":12,"unit":"lb","per":"acre","note":1}`, "note", "not part"},
		{"a list", `[12,"lb"]`, "", "is written"},
		{"null", `null`, "", "is written"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var r Rate
			err := r.UnmarshalJSON([]byte(c.in))
			var f *fault.Error
			if !errors.As(err, &f) || len(f.Details) != 1 || f.Details[0].Field != c.field || !strings.Contains(f.Details[0].Text.String(), c.says) {
				t.Errorf("%s: got %v (%+v), want field %q saying %q", c.in, err, f, c.field, c.says)
			}
			if f != nil && strings.Contains(f.Details[0].Text.In(words.Spanish), "{") && c.field != "" {
				t.Errorf("%s: unfilled Spanish %q", c.in, f.Details[0].Text.In(words.Spanish))
			}
		})
	}
}

// Sums of decimals stay decimals: example 15 of the worked examples.
func TestDecimalsAddUp(t *testing.T) {
	if got := Whole(2).Times(Decimal(15)).Plus(Decimal(10.8)).Float(); got != 40.8 {
		t.Errorf("2 x 15 + 10.8 = %v", got)
	}
	if got := Decimal(3.4).Times(Decimal(12)).Float(); got != 40.8 {
		t.Errorf("3.4 x 12 = %v", got)
	}
	if got := Decimal(0.3).Over(Decimal(0.1)).Floor().Float(); got != 3 {
		t.Errorf("0.3 / 0.1 holds %v full tanks", got)
	}
	if got := Decimal(1).Over(Exact{}).Sign(); got != 0 {
		t.Errorf("over nothing: %v", got)
	}
}

func TestTotals(t *testing.T) {
	area, row, plants, spray := geo.SquareMetres(13759.31183616), geo.Metres(304.8*2), 46, Amount{500, Gallon}
	job := Job{Area: &area, Row: &row, Plants: &plants, Spray: &spray}
	for _, c := range []struct {
		name string
		rate Rate
		want float64
	}{
		{"3.4 acres at 12", Rate{Amount{12, FluidOunce}, PerAcre}, 40.8},
		{"hectares", Rate{Amount{2, Kilogram}, PerHectare}, 2.751862367232},
		{"W45: 2 lb per 100 gal in 500 gal", Rate{Amount{2, Pound}, Per100Gal}, 10},
		{"row feet", Rate{Amount{0.25, Pint}, Per1000Ft}, 0.5},
		{"row metres", Rate{Amount{1, Litre}, Per1000M}, 0.6096},
		{"W55: 46 plants at 16 fl oz", Rate{Amount{16, FluidOunce}, PerPlant}, 736},
		{"100 L", Rate{Amount{1, Litre}, Per100L}, 18.92705892},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, ok := c.rate.Total(job)
			if !ok || math.Abs(got.Value-c.want) > 1e-9*c.want || got.Unit != c.rate.Unit {
				t.Errorf("got %+v %v, want %v", got, ok, c.want)
			}
			if _, ok := c.rate.Total(Job{}); ok {
				t.Error("a total without its base")
			}
		})
	}
	if got := (Amount{40.8, FluidOunce}).SI(); got.Unit != Litre || math.Abs(got.Value-1.20660000615) > 1e-12 {
		t.Errorf("40.8 fl oz in SI: %+v", got)
	}
}

// A quarter of a percent of 136 gal is 0.34 gal (by the definition of percent).
func TestPercentOfSpray(t *testing.T) {
	var r Rate
	if err := r.UnmarshalJSON([]byte(`{"value":0.25,"unit":"percent","per":"spray"}`)); err != nil {
		t.Fatal(err)
	}
	total, ok := r.Total(Job{Spray: &Amount{Value: 136, Unit: Gallon}})
	if !ok || total != (Amount{Value: 0.34, Unit: Gallon}) {
		t.Errorf("0.25 %% of 136 gal: %v %v", total, ok)
	}
	if _, ok := r.Total(Job{}); ok {
		t.Error("percent of no spray has a total")
	}
	if v, ok := r.As(Quart, Per100Gal); !ok || v != 1 {
		t.Errorf("0.25 %% is %v qt per 100 gal, want 1", v)
	}
	quart := Rate{Amount: Amount{Value: 1, Unit: Quart}, Per: Per100Gal}
	if v, ok := quart.As(Percent, PerSpray); !ok || v != 0.25 {
		t.Errorf("1 qt per 100 gal is %v %%, want 0.25", v)
	}
	if _, ok := r.As(Pound, PerAcre); ok {
		t.Error("percent as pounds an acre")
	}
}
