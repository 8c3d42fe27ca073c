package spray

import (
	"encoding/json"

	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/records/quantity"
)

var (
	sayOfMass = words.New("spray-rate-of-mass",
		"A rate of an active ingredient is a weight, such as lb or kg.",
		"Una dosis de ingrediente activo es un peso, como lb o kg.")
	sayOfContent = words.New("spray-rate-of-content",
		"How much {ingredient} is in “{product}” is not typed, so a rate of it cannot be turned into product. Enter the content with the label.",
		"No está escrito cuánto {ingredient} hay en «{product}», así que su dosis no se puede pasar a producto. Anote el contenido en la etiqueta.")
	sayOfHow = words.New("spray-how-rate-of",
		"rate of the active ingredient / its content in the product",
		"dosis del ingrediente activo / su contenido en el producto")
	sayOfHowDensity = words.New("spray-how-rate-of-density",
		"rate of the active ingredient / its content by weight / density of the product",
		"dosis del ingrediente activo / su contenido en peso / densidad del producto")
)

// rateOf reads a rate, which may be of an active ingredient instead of the product:
// {"value": 0.5, "unit": "lb", "per": "acre", "of": "captan"}.
func rateOf(r fields.Reader, field string) (found *quantity.Rate, of string) {
	if !r.Has(field) {
		return nil, ""
	}
	members := map[string]json.RawMessage{}
	if json.Unmarshal(r.Raw(field), &members) != nil || members["of"] == nil {
		return rate(r, field), ""
	}
	of = r.In(field).Text("of")
	delete(members, "of")
	plain, err := json.Marshal(members)
	var q quantity.Rate
	if err == nil {
		err = q.UnmarshalJSON(plain)
	}
	switch {
	case err != nil:
		r.Adopt(field, err)
		return nil, of
	case of != "" && q.Unit.Dimension() != quantity.Mass:
		r.Fault(field+".unit", sayOfMass.Plain())
	}
	return &q, of
}

// ForProduct is the line's rate as one of the product: itself, or what holds the rate
// of the active ingredient it is of. problem is not empty where the label does not
// tell.
func (l Line) ForProduct(label Product) (of quantity.Rate, problem words.Text) {
	if l.Of == "" {
		return l.Rate, words.Text{}
	}
	return label.holding(l.Rate, l.Of)
}

// holding is the rate of product that holds a rate of one of its ingredients: exact
// over the decimals typed, rounded once. A product whose content is by weight stays a
// weight, in the unit of the rate, unless its density is known; a volume comes in fluid
// ounces where the rate is in pounds or ounces, else in litres or millilitres.
func (p Product) holding(r quantity.Rate, of string) (quantity.Rate, words.Text) {
	in := p.ingredient(of)
	if in == nil {
		return quantity.Rate{}, sayCapIngredient.With(words.Args{"name": fields.Shorten(of), "known": p.ingredientNames()})
	}
	if in.Content == nil {
		return quantity.Rate{}, sayOfContent.With(words.Args{"ingredient": in.Name, "product": p.Name})
	}
	value := quantity.Decimal(r.Value)
	perVolume := in.Content
	switch whole := map[ContentUnit]int64{PercentWeight: 100, GramsPerKilogram: 1000}[in.Content.Unit]; {
	case whole > 0 && p.Density == nil:
		return quantity.Rate{Amount: quantity.Amount{Value: value.Times(quantity.Whole(whole)).Over(quantity.Decimal(in.Content.Value)).Float(), Unit: r.Unit}, Per: r.Per}, words.Text{}
	case whole > 0:
		value = value.Times(quantity.Whole(whole)).Over(quantity.Decimal(in.Content.Value))
		perVolume = p.Density
	}
	unit := map[quantity.Unit]quantity.Unit{quantity.Kilogram: quantity.Litre, quantity.Gram: quantity.Millilitre}[r.Unit]
	if unit == "" {
		unit = quantity.FluidOunce
	}
	cubicMetres := value.Times(r.Unit.Size()).Over(perVolume.kilogramsPerCubicMetre())
	return quantity.Rate{Amount: quantity.Amount{Value: cubicMetres.Over(unit.Size()).Float(), Unit: unit}, Per: r.Per}, words.Text{}
}

func (p Product) ingredientNames() string {
	names := make([]string, len(p.Ingredients))
	for i, in := range p.Ingredients {
		names[i] = in.Name
	}
	return join(names)
}

// kilogramsPerCubicMetre of a content of mass in a volume.
func (c Content) kilogramsPerCubicMetre() quantity.Exact {
	switch c.Unit {
	case PoundsPerGallon:
		return quantity.Decimal(c.Value).Times(quantity.Pound.Size()).Over(quantity.Gallon.Size())
	case KilogramsPerLitre:
		return quantity.Decimal(c.Value).Times(quantity.Whole(1000))
	}
	return quantity.Decimal(c.Value) // g/L
}

// explainActive says how a rate of an active ingredient became one of product.
func (d *drafter) explainActive(i int) (formula words.Text, inputs map[string]any, ok bool) {
	asked := d.asked[i]
	if asked.Of == "" {
		return words.Text{}, nil, false
	}
	label, product := d.labels[i], d.request.Products[i].Rate
	in := label.ingredient(asked.Of)
	inputs = map[string]any{"rate": asked.Rate.Value, "unit": string(asked.Rate.Unit), "per": string(asked.Rate.Per), "of": in.Name,
		"content": in.Content.Value, "content_unit": string(in.Content.Unit), "product_rate": product.Value, "product_unit": string(product.Unit)}
	formula = sayOfHow.Plain()
	if product.Unit.Dimension() == quantity.Volume && (in.Content.Unit == PercentWeight || in.Content.Unit == GramsPerKilogram) {
		inputs["density"], inputs["density_unit"] = label.Density.Value, string(label.Density.Unit)
		formula = sayOfHowDensity.Plain()
	}
	return formula, inputs, true
}
