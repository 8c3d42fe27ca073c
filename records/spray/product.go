package spray

import (
	"encoding/json"
	"sort"

	"caneward/blocks"
	"caneward/blocks/fault"
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
	var faults []fault.Detail
	if !g.Empty() {
		faults = append(faults, fault.Detail{Field: "geometry", Text: sayNoPlace.Plain()})
	}
	p := readProduct(open(properties, "", &faults))
	return p, faults
}

func readProduct(r reader) Product {
	p := Product{
		Name:         r.text("name"),
		Registration: r.text("registration"),
		PHIDays:      r.whole("phi_days", 0, maxDays),
		REIHours:     r.number("rei_hours", 0, maxHours),
		IntervalDays: r.whole("interval_days", 0, maxDays),
		Restricted:   r.yes("restricted"),
	}
	if !r.has("name") || string(r.members["name"]) == `""` {
		r.fault("name", sayNeeded.Plain())
	}
	for _, e := range r.each("ingredients", maxEntries) {
		p.Ingredients = append(p.Ingredients, readIngredient(e))
	}
	for i, e := range r.each("rates", maxEntries) {
		if rate, ok := readLabelRate(r, e, i); ok {
			p.Rates = append(p.Rates, rate)
		}
	}
	for _, e := range r.each("caps", maxEntries) {
		p.Caps = append(p.Caps, readCap(e))
	}
	for _, e := range r.each("setbacks", MaxSetbacks) {
		s := LabelSetback{From: string(oneOf(e, "from", blocks.SurroundingsKinds)), Distance: e.above("distance_m", MaxDistance), Side: oneOf(e, "side", setback.Sides)}
		if s.Side == "" {
			s.Side = setback.All
		}
		for _, field := range []string{"from", "distance_m"} {
			if !e.has(field) {
				e.fault(field, sayNeeded.Plain())
			}
		}
		p.Setbacks = append(p.Setbacks, s)
	}
	return p
}

func readIngredient(e reader) Ingredient {
	in := Ingredient{Name: e.text("name"), Codes: map[string]string{}}
	if in.Name == "" {
		e.fault("name", sayNeeded.Plain())
	}
	if e.has("amount") {
		var a quantity.Amount
		switch {
		case json.Unmarshal(e.members["amount"], &in.Amount) == nil:
		case a.UnmarshalJSON(e.members["amount"]) == nil:
			in.Amount = string(e.members["amount"])
		default:
			e.fault("amount", sayAmountText.With(words.Args{"form": `{"value": 2, "unit": "lb"}`}))
		}
	}
	if e.has("code") {
		var plain string
		switch {
		case json.Unmarshal(e.members["code"], &plain) == nil:
			in.Codes[""] = plain
		case json.Unmarshal(e.members["code"], &in.Codes) == nil:
		default:
			e.fault("code", sayCode.With(words.Args{"form": `{"frac": "11"}`}))
		}
	}
	return in
}

func readLabelRate(r, e reader, i int) (LabelRate, bool) {
	before := len(*r.faults)
	members := map[string]json.RawMessage{}
	for _, name := range []string{"value", "unit", "per"} {
		if raw, ok := e.members[name]; ok {
			members[name] = raw
		}
	}
	core, err := json.Marshal(members)
	var rate LabelRate
	if err == nil {
		err = rate.Rate.UnmarshalJSON(core)
	}
	if err != nil {
		r.adopt("rates["+itoa(i)+"]", err)
	}
	rate.Most = rate.Value
	if most := e.number("most", 0, quantity.MaxValue); most != nil {
		if *most < rate.Value {
			e.fault("most", sayMostBelow.Plain())
		}
		rate.Most = *most
	}
	rate.Crop, rate.Target = e.text("crop"), e.text("target")
	return rate, len(*r.faults) == before
}

func readCap(e reader) Cap {
	c := Cap{What: oneOf(e, "what", capKinds), Per: oneOf(e, "per", capTimes), Unit: e.text("unit")}
	if v := e.number("value", 0, quantity.MaxValue); v != nil {
		c.Value = *v
	}
	for _, field := range []string{"what", "value", "per"} {
		if !e.has(field) {
			e.fault(field, sayNeeded.Plain())
		}
	}
	if c.Unit != "" {
		if _, err := quantity.ParseAmountUnit(c.Unit); err != nil {
			e.adopt("unit", err)
		}
	} else if c.What == "product" || c.What == "ingredient" {
		e.fault("unit", sayNeeded.Plain())
	}
	return c
}

func sortedNames(m map[string]json.RawMessage) []string {
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}
