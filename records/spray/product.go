package spray

import (
	"encoding/json"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/quantity"
)

// Product is a label as somebody typed it. Zero fields were not given: nothing
// is known of them, which is not the same as none being asked.
type Product struct {
	Name         string
	Registration string
	Ingredients  []Ingredient
	Rates        []LabelRate
	PHIDays      *int
	REIHours     *float64
	IntervalDays *int
	Caps         []Cap
	Setbacks     []LabelSetback
	Restricted   bool
}

// Ingredient is an active ingredient. Codes are those printed on labels, by
// scheme: "frac", "irac", "hrac"; a code typed without its scheme stands under
// "".
type Ingredient struct {
	Name   string
	Amount string
	Codes  map[string]string
}

// LabelRate is one rate of the label, with what it is for. Most is the upper
// end where the label prints a range; equal to Value where it does not.
type LabelRate struct {
	quantity.Rate
	Most   float64
	Crop   string
	Target string
}

// Cap is one limit over time: uses, or product or active ingredient per area.
type Cap struct {
	What  string // uses, product, ingredient
	Value float64
	Unit  string // "" for uses
	Per   string // year, season, 12-months
}

// LabelSetback is a distance the label asks for.
type LabelSetback struct {
	From     string // kind of surroundings
	Distance geo.Metres
	Side     setback.Side
}

var (
	sayMostBelow = words.New("spray-rate-most-below",
		"The upper end of the rate lies below the lower one.",
		"El extremo superior de la dosis es menor que el inferior.")
	sayCode = words.New("spray-ingredient-code",
		`A code is text, or by scheme such as {form}.`,
		`Un código es texto, o por sistema, como {form}.`)
	sayAmountText = words.New("spray-ingredient-amount",
		`An ingredient's amount is text, or {form}.`,
		`La cantidad de un ingrediente es texto, o {form}.`)
	sayNoPlace = words.New("spray-product-no-place",
		"A product has no place on the map.",
		"Un producto no tiene lugar en el mapa.")
)

// capKinds and capTimes are what caps count and over what.
var (
	capKinds = []string{"uses", "product", "ingredient"}
	capTimes = []string{"year", "season", "12-months"}
)

// ParseProduct reads a product. Only the name must be there. Properties it does
// not know are left alone.
func ParseProduct(g geo.Geometry, properties json.RawMessage) (Product, []fault.Detail) {
	r := fields.Properties(properties)
	if !g.Empty() {
		r.Fault("geometry", sayNoPlace.Plain())
	}
	p := readProduct(r)
	return p, r.Faults()
}

func readProduct(r fields.Reader) Product {
	p := Product{
		Name:         r.Text("name"),
		Registration: r.Text("registration"),
		PHIDays:      days(r, "phi_days"),
		REIHours:     r.Number("rei_hours", 0, maxHours),
		IntervalDays: days(r, "interval_days"),
		Restricted:   r.Yes("restricted"),
	}
	r.Need("name")
	for e := range r.Each("ingredients", maxEntries) {
		p.Ingredients = append(p.Ingredients, readIngredient(e))
	}
	for e := range r.Each("rates", maxEntries) {
		if rate, ok := readLabelRate(e); ok {
			p.Rates = append(p.Rates, rate)
		}
	}
	for e := range r.Each("caps", maxEntries) {
		p.Caps = append(p.Caps, readCap(e))
	}
	for e := range r.Each("setbacks", MaxSetbacks) {
		s := LabelSetback{From: string(fields.Choose(e, "from", blocks.SurroundingsKinds)), Distance: above(e, "distance_m", MaxDistance), Side: fields.Choose(e, "side", setback.Sides)}
		if s.Side == "" {
			s.Side = setback.All
		}
		e.Need("from")
		e.Need("distance_m")
		p.Setbacks = append(p.Setbacks, s)
	}
	return p
}

func readIngredient(e fields.Reader) Ingredient {
	in := Ingredient{Name: e.Text("name"), Codes: map[string]string{}}
	e.Need("name")
	if e.Has("amount") {
		var a quantity.Amount
		switch {
		case json.Unmarshal(e.Raw("amount"), &in.Amount) == nil:
		case a.UnmarshalJSON(e.Raw("amount")) == nil:
			in.Amount = string(e.Raw("amount"))
		default:
			e.Fault("amount", sayAmountText.With(words.Args{"form": `{"value": 2, "unit": "lb"}`}))
		}
	}
	if e.Has("code") {
		var plain string
		switch {
		case json.Unmarshal(e.Raw("code"), &plain) == nil:
			in.Codes[""] = plain
		case json.Unmarshal(e.Raw("code"), &in.Codes) == nil:
		default:
			e.Fault("code", sayCode.With(words.Args{"form": `{"frac": "11"}`}))
		}
	}
	return in
}

func readLabelRate(e fields.Reader) (LabelRate, bool) {
	before := len(e.Faults())
	members := map[string]json.RawMessage{}
	for _, name := range []string{"value", "unit", "per"} {
		if raw := e.Raw(name); raw != nil {
			members[name] = raw
		}
	}
	core, err := json.Marshal(members)
	var rate LabelRate
	if err == nil {
		err = rate.Rate.UnmarshalJSON(core)
	}
	if err != nil {
		e.Adopt("", err)
	}
	rate.Most = rate.Value
	if most := e.Number("most", 0, quantity.MaxValue); most != nil {
		if *most < rate.Value {
			e.Fault("most", sayMostBelow.Plain())
		}
		rate.Most = *most
	}
	rate.Crop, rate.Target = e.Text("crop"), e.Text("target")
	return rate, len(e.Faults()) == before
}

func readCap(e fields.Reader) Cap {
	c := Cap{What: fields.Choose(e, "what", capKinds), Per: fields.Choose(e, "per", capTimes), Unit: e.Text("unit")}
	if v := e.Number("value", 0, quantity.MaxValue); v != nil {
		c.Value = *v
	}
	e.Need("what")
	e.Need("value")
	e.Need("per")
	if c.Unit != "" {
		if _, err := quantity.ParseAmountUnit(c.Unit); err != nil {
			e.Adopt("unit", err)
		}
	} else if c.What == "product" || c.What == "ingredient" {
		e.Need("unit")
	}
	return c
}

// days reads a number of days; nil when it is not there or not good.
func days(r fields.Reader, field string) *int {
	n, ok := r.Whole(field, 0, maxDays)
	if !ok {
		return nil
	}
	return &n
}
