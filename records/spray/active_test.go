package spray

import (
	"context"
	"encoding/json"
	"errors"
	"testing"

	"caneward/blocks/fault"
	"caneward/geo"
)

// Rates of an active ingredient by hand from the definitions of pound, gallon and
// fluid ounce: product = active / content, and by volume over the density.
func TestRateOfAnActive(t *testing.T) {
	s := at(t, -80.42, 35.87)
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100, geo.SquareMetresPerHa/100)}}}
	const lb, flOz = 0.45359237, 3.785411784 / 128 // kg, L
	for _, c := range []struct {
		name, label, rate string
		want              float64 // for a hectare
		unit              string
	}{
		{"percent, dry", `"ingredients":[{"name":"captan","content":{"value":80,"unit":"percent"}}]`, `"value":2,"unit":"kg","per":"ha"`, 2.5, "kg"},
		{"grams a kilogram", `"ingredients":[{"name":"captan","content":{"value":500,"unit":"g_per_kg"}}]`, `"value":16,"unit":"oz_wt","per":"ha"`, 32, "oz_wt"},
		{"percent, liquid", `"density":{"value":10,"unit":"lb_per_gal"},"ingredients":[{"name":"captan","content":{"value":40,"unit":"percent"}}]`, `"value":1,"unit":"lb","per":"ha"`, 32, "fl_oz"},
		{"pounds a gallon, the second of two", `"ingredients":[{"name":"boscalid","content":{"value":9,"unit":"percent"}},{"name":"Captan","content":{"value":4,"unit":"lb_per_gal"}}]`, `"value":2,"unit":"lb","per":"ha"`, 64, "fl_oz"},
		{"grams a litre", `"ingredients":[{"name":"captan","content":{"value":250,"unit":"g_per_L"}}]`, `"value":500,"unit":"g","per":"ha"`, 2000, "mL"},
		{"kilograms", `"ingredients":[{"name":"captan","content":{"value":250,"unit":"g_per_L"}}]`, `"value":1,"unit":"kg","per":"ha"`, 4, "L"},
		{"grams a litre, in pounds", `"ingredients":[{"name":"captan","content":{"value":480,"unit":"g_per_L"}}]`, `"value":1,"unit":"lb","per":"ha"`, lb / 0.48 / flOz, "fl_oz"},
	} {
		a := draft(t, g, `{"blocks":["`+idA+`"],"pattern":"broadcast","products":[{"product":{"name":"x",`+c.label+`},"rate":{`+c.rate+`,"of":"captan"}}]}`)
		want := c.want * float64(a.Areas.Treated) / geo.SquareMetresPerHa
		near(t, c.name, a.Totals[0].Amount.Value, want, 1e-9*want)
		if of := a.Totals[0].Rate; of == nil || string(of.Per) != "ha" {
			t.Errorf("%s: the rate of product is %v", c.name, of)
		}
		if got := string(a.Totals[0].Amount.Unit); got != c.unit {
			t.Errorf("%s: in %s, want %s", c.name, got, c.unit)
		}
		if a.How[len(a.How)-2].Figure != "products[0].rate" {
			t.Errorf("%s: how the rate came about is not told: %v", c.name, a.How)
		}
	}
}

// The label's rate may be of the active as well, whichever of the two the draft is in.
func TestLabelRateOfAnActiveBinds(t *testing.T) {
	s := at(t, -80.42, 35.87)
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100, 100)}}}
	label := `{"name":"x","ingredients":[{"name":"captan","content":{"value":80,"unit":"percent"}}],"rates":[{"value":1,"most":2,"unit":"lb","per":"acre","of":"captan"}]}`
	for rate, want := range map[string]Verdict{
		`{"value":1.5,"unit":"lb","per":"acre","of":"captan"}`:  OK,
		`{"value":2.5,"unit":"lb","per":"acre"}`:                OK,
		`{"value":2.51,"unit":"lb","per":"acre"}`:               Stop,
		`{"value":2.01,"unit":"lb","per":"acre","of":"captan"}`: Stop,
		`{"value":1,"unit":"lb","per":"acre"}`:                  Caution,
	} {
		a := draft(t, g, `{"blocks":["`+idA+`"],"pattern":"broadcast","products":[{"product":`+label+`,"rate":`+rate+`}]}`)
		found := false
		for _, c := range a.Checks {
			if c.Rule == "rate" {
				found = true
				if c.Answer != want {
					t.Errorf("%s: %v, want %v: %s", rate, c.Answer, want, c.Why)
				}
			}
		}
		if !found {
			t.Errorf("%s was held against nothing", rate)
		}
	}
}

func TestRateOfAnActiveRefused(t *testing.T) {
	s := at(t, -80.42, 35.87)
	g := Ground{Blocks: []Block{{ID: idA, Outline: s.rectangle(0, 0, 100, 100)}}}
	label := `{"name":"x","ingredients":[{"name":"captan","content":{"value":80,"unit":"percent"}},{"name":"boscalid"}]}`
	for rate, field := range map[string]string{
		`{"value":1,"unit":"fl_oz","per":"acre","of":"captan"}`: "products[0].rate.unit",
		`{"value":1,"unit":"lb","per":"acre","of":"sulfur"}`:    "products[0].rate.of",
		`{"value":1,"unit":"lb","per":"acre","of":"boscalid"}`:  "products[0].rate.of",
		`{"value":1,"unit":"lb","per":"acre","of":7}`:           "products[0].rate.of",
		`{"value":1,"unit":"lb","of":"captan"}`:                 "products[0].rate.per",
		`{"value":1,"unit":"oz","per":"acre","of":"captan"}`:    "products[0].rate.unit",
	} {
		q, err := ReadRequest([]byte(`{"blocks":["` + idA + `"],"pattern":"broadcast","products":[{"product":` + label + `,"rate":` + rate + `}]}`))
		if err == nil {
			_, err = Draft(context.Background(), g, q)
		}
		var refused *fault.Error
		if !errors.As(err, &refused) || len(refused.Details) == 0 || refused.Details[0].Field != field {
			t.Errorf("%s: %v, want a fault at %s", rate, err, field)
		}
	}
	for rates, field := range map[string]string{
		`[{"value":1,"unit":"gal","per":"acre","of":"captan"}]`: "rates[0].unit",
		`[{"value":1,"unit":"lb","per":"acre","of":"sulfur"}]`:  "rates[0].of",
	} {
		_, faults := ParseProduct(geo.Geometry{}, json.RawMessage(`{"name":"x","ingredients":[{"name":"captan","amount":"80 %"}],"rates":`+rates+`}`))
		if len(faults) != 1 || faults[0].Field != field {
			t.Errorf("%s: %v, want a fault at %s", rates, faults, field)
		}
	}
}

// A total frozen with a pass is rechecked from the rate of the active and the label
// kept with it.
func TestRecheckOfAnActive(t *testing.T) {
	pass := func(total string) Pass {
		p, faults := ParsePass(geo.Geometry{}, json.RawMessage(`{"state":"applied","products":[{"product":"`+idLabel+`","rate":{"value":2,"unit":"kg","per":"ha","of":"captan"}}],"areas":{"treated_m2":5000},
			"labels":[{"product":"`+idLabel+`","label":{"name":"x","ingredients":[{"name":"captan","amount":"80 %"}]}}],"totals":[{"product":"`+idLabel+`","amount":{"value":`+total+`,"unit":"kg"}}]}`))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		return p
	}
	if wrong := pass("1.25").recheck(); len(wrong) > 0 {
		t.Errorf("1.25 kg: %v", wrong)
	}
	if wrong := pass("1").recheck(); len(wrong) != 1 {
		t.Errorf("1 kg, which is the active: %v, want a problem", wrong)
	}
}
