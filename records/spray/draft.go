package spray

import (
	"context"
	"fmt"
	"slices"

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
	asked   []Line    // request.Products as they came; in the request all rates are of product
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
	d := &drafter{ground: g, request: q, asked: q.Products}
	d.request.Products = slices.Clone(q.Products)
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
	if err := d.check(ctx); err != nil {
		return Answer{}, err
	}
	d.explain()
	return d.answer, nil
}

// closeReach is how far from the treated ground distances are measured anew: past
// any label's setback, and a neighbour's concern.
const closeReach geo.Metres = 300

// label finds the label of every product, and what of it a rate of an active
// ingredient comes to.
func (d *drafter) label() {
	d.findLabels()
	for i, l := range d.asked {
		if l.Of == "" || d.labels[i].Name == "" {
			continue
		}
		of, problem := l.ForProduct(d.labels[i])
		if !problem.Empty() {
			d.fault(fmt.Sprintf("products[%d].rate.of", i), problem)
		}
		d.request.Products[i].Rate = of
	}
}

func (d *drafter) findLabels() {
	for i, l := range d.request.Products {
		if l.Product != nil {
			d.labels = append(d.labels, *l.Product)
			d.answer.Labels = append(d.answer.Labels, Kept{Product: l.Product.Name, Label: l.Raw})
			continue
		}
		if kept, ok := d.ground.Kept[l.ID]; ok {
			d.answer.Labels = append(d.answer.Labels, kept)
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
	d.plots = make([]*plot, len(list))
	if err := together(ctx, len(list), func(i int) (err error) {
		d.plots[i], err = place(ctx, d.request, list[i], fmt.Sprintf("blocks[%d]", i))
		return err
	}); err != nil {
		return err
	}
	// What a block shares with those before it hangs on what they were left.
	for i, p := range d.plots {
		if err := p.share(ctx, d.plots[:i]); err != nil {
			return refuseGround(p.field, err)
		}
	}
	around := features(d.ground)
	return together(ctx, len(d.plots), func(i int) error {
		d.plots[i].around = setback.At(d.plots[i].frame, around)
		return d.plots[i].lay(ctx, d.request)
	})
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
	nears, treateds := make([][]setback.Distance, len(d.plots)), make([][]setback.Distance, len(d.plots))
	if err := together(ctx, len(d.plots), func(i int) (err error) {
		p := d.plots[i]
		p.ground, p.kept = p.frame.MultiPolygon(p.treated), p.frame.MultiPolygon(p.withheld)
		if nears[i], err = p.around.Distances(ctx, p.outline, nearReach); err != nil {
			return err
		}
		treateds[i], err = p.around.Distances(ctx, p.treated, closeReach)
		return err
	}); err != nil {
		return err
	}
	for i, p := range d.plots {
		areas := p.areas.rounded()
		a.Areas.add(areas)
		a.Parts = append(a.Parts, BlockPart{Block: p.id(), Areas: areas})
		a.Treated = append(a.Treated, p.ground...)
		a.Withheld = append(a.Withheld, p.kept...)
		length += p.rowLength
		plants += p.plants
		rowsKnown, plantsKnown = rowsKnown && p.rowsKnown, plantsKnown && p.plantKnown
		for _, n := range nears[i] {
			a.Distances = append(a.Distances, d.distance(p, n, treateds[i]))
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

func (d *drafter) distance(p *plot, n setback.Distance, treated []setback.Distance) Distance {
	out := Distance{Block: p.id(), To: n.To, Kind: n.Kind, M: n.M, Nearest: Nearest{n.Near, n.At}}
	for _, c := range treated {
		if c.To == n.To {
			out.Treated = &Clearance{M: c.M, Nearest: Nearest{c.Near, c.At}}
		}
	}
	for _, s := range d.ground.Around {
		if s.ID == n.To {
			out.ByEye, out.Line = s.DrawnByEye, s.Accuracy
		}
	}
	return out
}

// explain says how each figure came about.
func (d *drafter) explain() {
	areas := d.answer.Areas
	add := func(figure string, formula words.Text, inputs map[string]any, source words.Text) {
		d.answer.How = append(d.answer.How, Figure{Figure: figure, Formula: formula, Inputs: inputs, Source: source})
	}
	add("areas.outline_m2", sayOutline.Plain(), map[string]any{"blocks": len(d.plots)}, sourceFrame)
	add("areas.planted_m2", d.plantedFormula(), nil, sourceFrame)
	add("areas.withheld_m2", sayWithheldHow.Plain(), map[string]any{"setbacks": len(d.request.Setbacks)}, sourceLaw)
	formula, treatedSource := d.treatedFormula()
	add("areas.treated_m2", formula, d.treatedInputs(), treatedSource)
	add("areas.covered_m2", d.coveredFormula(), nil, sourceCovered)
	length, plants := d.countFormulas()
	if d.answer.RowLength != nil {
		add("row_length_m", length, nil, sourceUs)
	}
	if d.answer.Plants != nil {
		add("plants", plants, d.plantInputs(), sourceUs)
	}
	job := map[string]any{"treated_m2": float64(areas.Treated), "acre_m2": geo.SquareMetresPerAcre}
	for i, t := range d.answer.Totals {
		if formula, inputs, ok := d.explainActive(i); ok {
			add(fmt.Sprintf("products[%d].rate", i), formula, inputs, sourceRate)
		}
		r := d.request.Products[i].Rate
		add(fmt.Sprintf("totals[%d].amount", i), totalFormula(r), with(job, map[string]any{"rate": r.Value, "unit": string(r.Unit), "per": string(r.Per), "product": t.Name}), sourceRate)
	}
	if c := d.request.Carrier; c != nil && d.answer.Carrier != nil {
		add("carrier", totalFormula(*c), with(job, map[string]any{"rate": c.Value, "unit": string(c.Unit), "per": string(c.Per)}), sourceCarrier)
	}
	if t := d.answer.Tanks; t != nil {
		add("tanks", sayTanksHow.Plain(),
			map[string]any{"carrier": d.answer.Carrier.Value, "tank": d.request.Tank.Value, "unit": string(d.request.Tank.Unit)}, sourceCommon)
	}
}

// plantInputs are the counts from rows; nil where none are laid out.
func (d *drafter) plantInputs() map[string]any {
	if !d.rowsLaid() {
		return nil
	}
	var sum counts
	for _, p := range d.plots {
		sum.places += p.counted.places
		sum.missing += p.counted.missing
		sum.removed += p.counted.removed
	}
	return map[string]any{"places": sum.places, "missing": sum.missing, "removed": sum.removed}
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

func (d *drafter) plantedFormula() words.Text {
	if d.rowsLaid() {
		return sayPlantedRows.Plain()
	}
	return sayPlantedOutline.Plain()
}

func (d *drafter) treatedFormula() (formula, source words.Text) {
	q := d.request
	banded := q.Pattern == Band || q.Pattern == Drench && q.BandWidth > 0
	switch {
	case banded && d.rowsLaid() && q.Sides == 1:
		return sayBandOneSide.Plain(), sourceGrapes
	case banded && d.rowsLaid():
		return sayBandRows.Plain(), sourceGrapes
	case banded && q.Sides == 1:
		return sayBandFormulaOneSide.Plain(), sourceGrapes
	case banded:
		return sayBandFormula.Plain(), sourceGrapes
	case q.Pattern == AlternateMiddles && d.rowsLaid():
		return sayMiddlesRows.Plain(), sourceCommon
	case q.Pattern == AlternateMiddles:
		return sayMiddlesFormula.Plain(), sourceCommon
	}
	return sayTreatedHow.Plain(), sourceFrame
}

// countFormulas says how row length and plants come about. Blocks with and
// without rows in one draft are told of both ways.
func (d *drafter) countFormulas() (length, plants words.Text) {
	laid, bare := d.rowsLaid(), slices.ContainsFunc(d.plots, func(p *plot) bool { return len(p.all) == 0 })
	switch {
	case laid && bare:
		return sayLengthMixed.Plain(), sayPlantsMixed.Plain()
	case laid:
		return sayLengthRows.Plain(), sayPlantsRows.Plain()
	}
	return sayLengthFormula.Plain(), sayPlantsFormula.Plain()
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

func (d *drafter) coveredFormula() words.Text {
	switch d.request.Pattern {
	case Band, AlternateMiddles:
		return sayCoveredPlanted.Plain()
	}
	return sayAsTreated.Plain()
}

func totalFormula(r quantity.Rate) words.Text {
	per := words.Args{"per": string(r.Per)}
	switch r.Per.Base() {
	case quantity.SprayVolume:
		return sayTotalSpray.With(per)
	case quantity.RowLength:
		return sayTotalRow.With(per)
	case quantity.Plants:
		return sayTotalPlants.Plain()
	}
	return sayTotalArea.With(per)
}

// How each figure comes about.
var (
	sayOutline            = words.New("spray-how-outline", "ground inside the outlines less holes, shared ground once", "terreno dentro de los contornos menos huecos; el terreno compartido, una vez")
	sayPlantedRows        = words.New("spray-how-planted-rows", "each row with half a row spacing to either side, inside the outline", "cada hilera con media distancia entre hileras a cada lado, dentro del contorno")
	sayPlantedOutline     = words.New("spray-how-planted-outline", "no rows are laid out: the outline stands in", "no hay hileras trazadas: se toma el contorno")
	sayWithheldHow        = words.New("spray-how-withheld", "chosen ground inside the setbacks", "terreno elegido dentro de los retiros")
	sayBandRows           = words.New("spray-how-band-rows", "bands along the rows, inside the chosen ground, less setbacks", "bandas a lo largo de las hileras, dentro del terreno elegido, menos retiros")
	sayBandOneSide        = words.New("spray-how-band-one-side", "bands along the rows, inside the chosen ground, less setbacks; sprayed from one side: half of it, drawn to the left of the row looking along it", "bandas a lo largo de las hileras, dentro del terreno elegido, menos retiros; por un solo lado: la mitad, dibujada a la izquierda de la hilera mirando a lo largo")
	sayBandFormula        = words.New("spray-how-band-formula", "(chosen ground - withheld) x band width / row spacing, as no rows are laid out", "(terreno elegido - excluido) x ancho de banda / distancia entre hileras, porque no hay hileras trazadas")
	sayBandFormulaOneSide = words.New("spray-how-band-formula-one-side", "(chosen ground - withheld) x band width / row spacing, as no rows are laid out; sprayed from one side: half of it", "(terreno elegido - excluido) x ancho de banda / distancia entre hileras, porque no hay hileras trazadas; por un solo lado: la mitad")
	sayMiddlesRows        = words.New("spray-how-middles-rows", "every second alley from row to row, less setbacks: half of the planted ground", "una calle de cada dos, de hilera a hilera, menos retiros: la mitad del terreno plantado")
	sayMiddlesFormula     = words.New("spray-how-middles-formula", "(chosen ground - withheld) / 2, as no rows are laid out", "(terreno elegido - excluido) / 2, porque no hay hileras trazadas")
	sayTreatedHow         = words.New("spray-how-treated", "chosen ground - withheld", "terreno elegido - excluido")
	sayCoveredPlanted     = words.New("spray-how-covered", "planted part of the chosen ground - withheld, unsprayed middles included", "parte plantada del terreno elegido - excluido, incluidas las calles sin aplicar")
	sayAsTreated          = words.New("spray-how-as-treated", "as treated", "igual que lo tratado")
	sayLengthRows         = words.New("spray-how-length-rows", "length of the chosen rows inside the ground that is treated", "largo de las hileras elegidas dentro del terreno tratado")
	sayLengthFormula      = words.New("spray-how-length-formula", "(chosen ground - withheld) / row spacing, as no rows are laid out", "(terreno elegido - excluido) / distancia entre hileras, porque no hay hileras trazadas")
	sayLengthMixed        = words.New("spray-how-length-mixed", "length of the chosen rows inside the ground that is treated; in blocks without rows (chosen ground - withheld) / row spacing", "largo de las hileras elegidas dentro del terreno tratado; en bloques sin hileras (terreno elegido - excluido) / distancia entre hileras")
	sayPlantsRows         = words.New("spray-how-plants-rows", "places on the chosen rows, less missing plants, plants dug out and not set anew, and those inside a setback", "lugares en las hileras elegidas, menos plantas faltantes, las arrancadas y no repuestas y las que están dentro de un retiro")
	sayPlantsFormula      = words.New("spray-how-plants-formula", "(chosen ground - withheld) / (row spacing x plant spacing), rounded down, as no rows are laid out; the count in the field will differ", "(terreno elegido - excluido) / (distancia entre hileras x entre plantas), redondeado hacia abajo, porque no hay hileras trazadas; en el campo habrá otro número")
	sayPlantsMixed        = words.New("spray-how-plants-mixed", "places on the chosen rows, less missing plants, plants dug out and not set anew, and those inside a setback; in blocks without rows (chosen ground - withheld) / (row spacing x plant spacing), rounded down", "lugares en las hileras elegidas, menos plantas faltantes, las arrancadas y no repuestas y las que están dentro de un retiro; en bloques sin hileras (terreno elegido - excluido) / (distancia entre hileras x entre plantas), redondeado hacia abajo")
	sayTanksHow           = words.New("spray-how-tanks", "full = floor(carrier / tank), last = carrier - full x tank, product in a tank = total x tank / carrier; nothing rounded up", "llenos = entero(caldo / tanque), último = caldo - llenos x tanque, producto en un tanque = total x tanque / caldo; nada se redondea hacia arriba")
	sayTotalSpray         = words.New("spray-how-total-spray", "carrier / {per} x rate", "caldo / {per} x dosis")
	sayTotalRow           = words.New("spray-how-total-row", "row length / {per} x rate", "largo de hilera / {per} x dosis")
	sayTotalPlants        = words.New("spray-how-total-plants", "plants x rate", "plantas x dosis")
	sayTotalArea          = words.New("spray-how-total-area", "treated area / {per} x rate", "superficie tratada / {per} x dosis")
)
