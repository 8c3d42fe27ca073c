package spray

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/quantity"
)

// nearReach is how far surroundings are listed with their distance: past the
// widest setback taken, so that every one that can matter is there.
const nearReach = MaxDistance

// drafter is a draft being worked out.
type drafter struct {
	ground  Ground
	request Request
	plots   []*plot
	labels  []Product // of request.Products, in order
	answer  Answer
	details []fault.Detail
}

// Draft works a request out on the ground it was loaded with: areas, totals,
// tanks and checks. Nothing is stored. Same input, same answer.
//
// Each block is worked out in a frame centred on it: areas agree with the
// ellipsoid's within 0.2 ppm for a block of 10 km. Of blocks that overlap the
// first named has the ground. Setbacks are taken away before areas and product
// are worked out; one larger than the block leaves nothing to treat, which is
// an answer (totals 0, a check says stop), not a refusal.
//
// fault.Invalid with every field at fault: rows or products that are not there,
// a rate whose base is not known, ground that cannot be worked out.
// fault.TooCostly for ground with too many corners. The context's error.
func Draft(ctx context.Context, g Ground, q Request) (Answer, error) {
	d := &drafter{ground: g, request: q}
	d.label()
	d.details = append(d.details, unknownFrom(g, q)...)
	if len(d.details) > 0 {
		return Answer{}, refusal(d.details)
	}
	if err := d.layAll(ctx); err != nil {
		return Answer{}, err
	}
	if err := d.sum(ctx); err != nil {
		return Answer{}, err
	}
	d.sheet()
	if len(d.details) > 0 {
		return Answer{}, refusal(d.details)
	}
	d.check()
	d.explain()
	return d.answer, nil
}

// label finds the label of every product.
func (d *drafter) label() {
	for i, l := range d.request.Products {
		if l.Product != nil {
			d.labels = append(d.labels, *l.Product)
			continue
		}
		label, ok := d.ground.Products[l.ID]
		if !ok {
			d.fault(fmt.Sprintf("products[%d].product", i), sayNoProduct.With(words.Args{"id": string(l.ID)}))
		}
		d.labels = append(d.labels, label)
	}
}

func (d *drafter) fault(field string, t words.Text) {
	d.details = append(d.details, fault.Detail{Field: field, Text: t})
}

func (d *drafter) layAll(ctx context.Context) error {
	list := d.ground.Blocks
	if len(list) == 0 && !d.request.Area.Empty() {
		list = []Block{{Outline: multi(d.request.Area.Flat)}}
	}
	for i, b := range list {
		field := fmt.Sprintf("blocks[%d]", i)
		if b.ID == "" {
			field = "area"
		}
		p, err := lay(ctx, d.ground, d.request, b, field, d.plots)
		if err != nil {
			return err
		}
		d.plots = append(d.plots, p)
	}
	return nil
}

func multi(g orb.Geometry) orb.MultiPolygon {
	switch g := g.(type) {
	case orb.Polygon:
		return orb.MultiPolygon{g}
	case orb.MultiPolygon:
		return g
	}
	return nil
}

// sum adds the plots up and measures the distances.
func (d *drafter) sum(ctx context.Context) error {
	a := &d.answer
	length, plants, rowsKnown, plantsKnown := geo.Metres(0), 0, true, true
	for _, p := range d.plots {
		areas := p.areas.rounded()
		a.Areas.add(areas)
		a.Parts = append(a.Parts, BlockPart{Block: p.id(), Areas: areas})
		a.Treated = append(a.Treated, p.frame.MultiPolygon(p.treated)...)
		a.Withheld = append(a.Withheld, p.frame.MultiPolygon(p.withheld)...)
		length += p.rowLength
		plants += p.plants
		rowsKnown, plantsKnown = rowsKnown && p.rowsKnown, plantsKnown && p.plantKnown
		near, err := setback.Distances(ctx, p.frame, p.outline, features(d.ground), nearReach)
		if err != nil {
			return err
		}
		for _, n := range near {
			a.Distances = append(a.Distances, Distance{Block: p.id(), To: n.To, Kind: n.Kind, M: n.M})
		}
	}
	a.Areas = a.Areas.rounded()
	if rowsKnown {
		a.RowLength = &length
	}
	if plantsKnown {
		a.Plants = &plants
	}
	return nil
}

// explain says how each figure came about.
func (d *drafter) explain() {
	const source = "worked out in a transverse Mercator frame centred on each block, WGS 84"
	areas := d.answer.Areas
	add := func(figure, formula string, inputs map[string]any, source string) {
		d.answer.How = append(d.answer.How, Figure{Figure: figure, Formula: formula, Inputs: inputs, Source: source})
	}
	add("areas.outline_m2", "ground inside the outlines less holes, shared ground once", map[string]any{"blocks": len(d.plots)}, source)
	add("areas.planted_m2", d.plantedFormula(), nil, source)
	add("areas.withheld_m2", "chosen ground inside the setbacks", map[string]any{"setbacks": len(d.request.Setbacks)}, "setbacks as typed; the label and local law rule")
	formula, treatedSource := d.treatedFormula()
	add("areas.treated_m2", formula, d.treatedInputs(), treatedSource)
	add("areas.covered_m2", d.coveredFormula(), nil, "South Dakota State Univ. pesticide recordkeeping page, after USDA AMS guidance: band and alternate-middle work records the total area covered")
	job := map[string]any{"treated_m2": float64(areas.Treated), "acre_m2": geo.SquareMetresPerAcre}
	for i, t := range d.answer.Totals {
		r := d.request.Products[i].Rate
		add(fmt.Sprintf("totals[%d].amount", i), totalFormula(r), with(job, map[string]any{"rate": r.Value, "unit": string(r.Unit), "per": string(r.Per), "product": t.Name}), "rate as typed in the draft")
	}
	if c := d.request.Carrier; c != nil && d.answer.Carrier != nil {
		add("carrier", totalFormula(*c), with(job, map[string]any{"rate": c.Value, "unit": string(c.Unit), "per": string(c.Per)}), "carrier as typed in the draft")
	}
	if t := d.answer.Tanks; t != nil {
		add("tanks", "full = floor(carrier / tank), last = carrier - full x tank, product in a tank = total x tank / carrier; nothing rounded up",
			map[string]any{"carrier": d.answer.Carrier.Value, "tank": d.request.Tank.Value, "unit": string(d.request.Tank.Unit)}, "common practice, no source")
	}
}

func with(a, b map[string]any) map[string]any {
	out := map[string]any{}
	for _, m := range []map[string]any{a, b} {
		for k, v := range m {
			out[k] = v
		}
	}
	return out
}

func (d *drafter) rowsLaid() bool {
	return slices.ContainsFunc(d.plots, func(p *plot) bool { return len(p.all) > 0 })
}

func (d *drafter) plantedFormula() string {
	if d.rowsLaid() {
		return "each row with half a row spacing to either side, inside the outline"
	}
	return "no rows are laid out: the outline stands in"
}

func (d *drafter) treatedFormula() (formula, source string) {
	const grapes = "Cornell Cooperative Extension, 2024 New York and Pennsylvania grape guidelines, Table 6.3.1"
	q := d.request
	half := ""
	if q.Sides == 1 {
		half = "; sprayed from one side: half of it, drawn to the left of the row looking along it"
	}
	switch {
	case (q.Pattern == Band || q.Pattern == Drench && q.BandWidth > 0) && d.rowsLaid():
		return "bands along the rows, inside the chosen ground, less setbacks" + half, grapes
	case q.Pattern == Band || q.Pattern == Drench && q.BandWidth > 0:
		return "(chosen ground - withheld) x band width / row spacing, as no rows are laid out" + strings.Replace(half, ", drawn to the left of the row looking along it", "", 1), grapes
	case q.Pattern == AlternateMiddles && d.rowsLaid():
		return "every second alley from row to row, less setbacks: half of the planted ground", "common practice, no source"
	case q.Pattern == AlternateMiddles:
		return "(chosen ground - withheld) / 2, as no rows are laid out", "common practice, no source"
	}
	return "chosen ground - withheld", "worked out in a transverse Mercator frame centred on each block, WGS 84"
}

func (d *drafter) treatedInputs() map[string]any {
	in := map[string]any{"withheld_m2": float64(d.answer.Areas.Withheld)}
	if d.request.BandWidth > 0 {
		in["band_width_m"] = float64(d.request.BandWidth)
		in["sides"] = d.sides()
	}
	return in
}

// sides is how many sides of the row are sprayed: both unless one was said.
func (d *drafter) sides() int {
	if d.request.Sides == 1 {
		return 1
	}
	return 2
}

func (d *drafter) coveredFormula() string {
	switch d.request.Pattern {
	case Band, AlternateMiddles:
		return "planted part of the chosen ground - withheld, unsprayed middles included"
	}
	return "as treated"
}

func totalFormula(r quantity.Rate) string {
	switch r.Per.Base() {
	case quantity.SprayVolume:
		return "carrier / " + string(r.Per) + " x rate"
	case quantity.RowLength:
		return "row length / " + string(r.Per) + " x rate"
	case quantity.Plants:
		return "plants x rate"
	}
	return "treated area / " + string(r.Per) + " x rate"
}
