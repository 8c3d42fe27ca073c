package spray

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/quantity"
)

// Sources of the checks and figures.
var (
	sourceLabel  = words.New("spray-source-label", "7 U.S.C. 136j(a)(2)(G): use inconsistent with the label is unlawful (from memory)", "7 U.S.C. 136j(a)(2)(G): el uso contrario a la etiqueta es ilegal (de memoria)").Plain()
	sourceTyped  = words.New("spray-source-typed", "as typed by people on this farm", "según lo escrito por personas de esta finca").Plain()
	sourceDraft  = words.New("spray-source-draft", "setback as typed in this draft", "retiro según lo escrito en este borrador").Plain()
	sourceDrawn  = words.New("spray-source-drawn", "GPS.gov accuracy page: a phone's fix is typically within 4.9 m under open sky", "Página de exactitud de GPS.gov: la posición de un teléfono suele estar a menos de 4.9 m a cielo abierto").Plain()
	sourceWind   = words.New("spray-source-wind", "Pesticide Environmental Stewardship, weather; endangered-species labels cap wind at 10 to 15 mph (Minnesota Dept. of Agriculture)", "Pesticide Environmental Stewardship, weather; las etiquetas por especies en peligro limitan el viento a 10-15 mph (Minnesota Dept. of Agriculture)").Plain()
	sourcePHI    = words.New("spray-source-phi", "EPA, Restrictions to Protect Workers After Applications; whole days after the application date by common practice", "EPA, Restrictions to Protect Workers After Applications; días enteros después de la fecha de aplicación, por práctica común").Plain()
	sourceREI    = words.New("spray-source-rei", "40 CFR 170.407, as mirrored in WAC 16-233-116", "40 CFR 170.407, según lo refleja WAC 16-233-116").Plain()
	sourceRUP    = words.Verbatim("7 CFR 110.3; 40 CFR 171")
	sourceMiddle = words.New("spray-source-middle", "common practice, no source; the record names the whole area covered (South Dakota State Univ., after USDA AMS)", "práctica común, sin fuente; el registro nombra toda la superficie cubierta (South Dakota State Univ., según USDA AMS)").Plain()
	sourceUs     = words.New("spray-source-us", "worked out here", "calculado aquí").Plain()

	sourceFrame   = words.New("spray-source-frame", "worked out in a transverse Mercator frame centred on each block, WGS 84", "calculado en una proyección transversa de Mercator centrada en cada bloque, WGS 84").Plain()
	sourceLaw     = words.New("spray-source-law", "setbacks as typed; the label and local law rule", "retiros según lo escrito; mandan la etiqueta y la ley local").Plain()
	sourceCovered = words.New("spray-source-covered", "South Dakota State Univ. pesticide recordkeeping page, after USDA AMS guidance: band and alternate-middle work records the total area covered", "Página de registro de plaguicidas de South Dakota State Univ., según la guía de USDA AMS: el trabajo en banda o en calles alternas registra la superficie total cubierta").Plain()
	sourceGrapes  = words.Verbatim("Cornell Cooperative Extension, 2024 New York and Pennsylvania grape guidelines, Table 6.3.1")
	sourceCommon  = words.New("spray-source-common", "common practice, no source", "práctica común, sin fuente").Plain()
	sourceRate    = words.New("spray-source-rate", "rate as typed in the draft", "dosis según lo escrito en el borrador").Plain()
	sourceCarrier = words.New("spray-source-carrier", "carrier as typed in the draft", "caldo según lo escrito en el borrador").Plain()
)

// Wind speeds: with no figure on the label, at least 3 and at most 8 mph; labels
// that give one cap at 10 to 15 mph.
const (
	metresPerSecondPerMPH = 0.44704
	leastWindMPH          = 3
	mostWindMPH           = 8
	stopWindMPH           = 15
)

// notableOverlap is how much doubly claimed ground is worth a word: less than a
// square metre is a shared fence drawn twice.
const notableOverlap geo.SquareMetres = 1

var (
	sayLabel = words.New("spray-check-label",
		"Planning aid. The product label is the law; if this page and the label differ, follow the label. Check registration, rate, buffer, PHI and REI for your state and crop today: entries here were typed by people.",
		"Ayuda de planificación. La etiqueta del producto es la ley; si esta página y la etiqueta difieren, siga la etiqueta. Compruebe hoy el registro, la dosis, la franja, el plazo de cosecha y el de entrada para su estado y cultivo: estos datos los escribieron personas.")
	sayDrawn = words.New("spray-check-drawn",
		"Areas and distances come from drawn lines and may be metres off. Measure buffers on the ground before spraying near water, wells, homes, bees.",
		"Las superficies y distancias vienen de líneas dibujadas y pueden fallar por metros. Mida las franjas en el terreno antes de aplicar cerca de agua, pozos, viviendas o abejas.")
	sayByEye = words.New("spray-check-by-eye",
		"“{name}” was drawn by eye; its distance is no better than the drawing.",
		"«{name}» se dibujó a ojo; su distancia no es mejor que el dibujo.")
	sayNothing = words.New("spray-check-nothing",
		"Nothing is left to treat: the setbacks take all of the chosen ground. Totals are 0; do not spray.",
		"No queda nada que tratar: los retiros ocupan todo el terreno elegido. Los totales son 0; no aplique.")
	sayEmpty = words.New("spray-check-empty",
		"Nothing is left to treat: the chosen rows and area have no ground in common with the blocks. Totals are 0.",
		"No queda nada que tratar: las hileras y la superficie elegidas no tienen terreno en común con los bloques. Los totales son 0.")
	sayWithheld = words.New("spray-check-withheld",
		"{m2} m² lie inside the setbacks and are left out of the areas and totals. Turn the spray off there.",
		"{m2} m² quedan dentro de los retiros y no entran en las superficies ni en los totales. Corte la aplicación ahí.")
	sayNoneWithheld = words.New("spray-check-none-withheld",
		"No chosen ground lies inside the setbacks.",
		"Ningún terreno elegido queda dentro de los retiros.")
	sayNoSuchKind = words.New("spray-check-none-recorded",
		"A setback from {kind} is asked for, but none is recorded on this farm, so nothing was left out for it.",
		"Se pide un retiro de {kind}, pero no hay ninguno registrado en esta finca, así que no se dejó nada fuera por él.")
	sayLabelSetback = words.New("spray-check-label-setback",
		"{product} asks for {metres} m from {kind}; a block comes within {near} m and this draft keeps less.",
		"{product} pide {metres} m desde {kind}; un bloque llega a {near} m y este borrador guarda menos.")
	sayWindUnknown = words.New("spray-check-wind-unknown",
		"The wind's direction was not given, so nothing downwind was looked at.",
		"No se dio la dirección del viento, así que no se miró nada a favor del viento.")
	sayWindTurns = words.New("spray-check-wind-turns",
		"Downwind ground was worked out for wind from {degrees}°. If the wind turns, it changes side: work it out again. Stop if wind blows to a sensitive place.",
		"El terreno a favor del viento se calculó con viento de {degrees}°. Si el viento gira, cambia de lado: calcúlelo de nuevo. Pare si el viento va hacia un lugar sensible.")
	sayWindLow = words.New("spray-check-wind-low",
		"Wind of {mph} mph: under {least} mph its direction wanders and an inversion is likely.",
		"Viento de {mph} mph: por debajo de {least} mph su dirección vaga y es probable una inversión.")
	sayWindHigh = words.New("spray-check-wind-high",
		"Wind of {mph} mph is more than {most} mph, the usual limit where the label gives none.",
		"El viento de {mph} mph supera {most} mph, el límite usual si la etiqueta no da otro.")
	sayWindStop = words.New("spray-check-wind-stop",
		"Wind of {mph} mph is more than {most} mph, above what any label seen here allows.",
		"El viento de {mph} mph supera {most} mph, más de lo que permite cualquier etiqueta vista aquí.")
	sayWindIn = words.New("spray-check-wind-in",
		"Wind of {mph} mph lies between {least} and {most} mph; the label may be narrower. Not in gusts or an inversion.",
		"El viento de {mph} mph está entre {least} y {most} mph; la etiqueta puede ser más estricta. Sin rachas ni inversión.")
	sayPHIUnknown = words.New("spray-check-phi-unknown",
		"No pre-harvest interval is typed for {product}; look it up on the label.",
		"No hay plazo de cosecha escrito para {product}; búsquelo en la etiqueta.")
	sayPHINoStart = words.New("spray-check-phi-no-start",
		"Without a start the first day of harvest cannot be told; the longest interval of the mix is {days} day(s).",
		"Sin inicio no se puede saber el primer día de cosecha; el plazo más largo de la mezcla es de {days} día(s).")
	sayPHIStop = words.New("spray-check-phi-stop",
		"Harvest on {harvest} is too soon: with {days} day(s) before harvest the first day is {first}.",
		"Cosechar el {harvest} es demasiado pronto: con {days} día(s) de plazo el primer día es {first}.")
	sayPHIFirst = words.New("spray-check-phi-first",
		"With {days} day(s) before harvest the first day of harvest is {first}, counted from the start given; the day actually applied counts.",
		"Con {days} día(s) de plazo el primer día de cosecha es {first}, contado desde el inicio dado; cuenta el día en que se aplicó.")
	sayREIUnknown = words.New("spray-check-rei-unknown",
		"No restricted-entry interval is typed for {product}; look it up on the label.",
		"No hay intervalo de entrada restringida escrito para {product}; búsquelo en la etiqueta.")
	sayREI = words.New("spray-check-rei",
		"Nobody enters for {hours} h after spraying ends. Keep everyone out of the exclusion zone while spraying; stop if someone enters.",
		"Nadie entra durante {hours} h después de terminar. Nadie en la zona de exclusión mientras se aplica; pare si alguien entra.")
	sayREIUntil = words.New("spray-check-rei-until",
		"Nobody enters before {until}: {hours} h after the end given. Keep everyone out of the exclusion zone while spraying; stop if someone enters.",
		"Nadie entra antes de {until}: {hours} h después del final dado. Nadie en la zona de exclusión mientras se aplica; pare si alguien entra.")
	sayREIStart = words.New("spray-check-rei-start",
		"Nobody enters before {until} at the earliest: {hours} h, counted from the end of spraying, which is later than the start given. Keep everyone out of the exclusion zone while spraying; stop if someone enters.",
		"Nadie entra antes de {until} como pronto: {hours} h contadas desde el final, que es posterior al inicio dado. Nadie en la zona de exclusión mientras se aplica; pare si alguien entra.")
	sayRestricted = words.New("spray-check-restricted",
		"{product} is a restricted-use product: certified applicators only. This record does not prove certification.",
		"{product} es un producto de uso restringido: solo aplicadores certificados. Este registro no prueba la certificación.")
	sayRateOver = words.New("spray-check-rate-over",
		"{product}: {rate} is more than the highest rate typed from the label, {most}.",
		"{product}: {rate} supera la dosis más alta escrita de la etiqueta, {most}.")
	sayRateUnder = words.New("spray-check-rate-under",
		"{product}: {rate} is less than the lowest rate typed from the label, {least}.",
		"{product}: {rate} es menos que la dosis más baja escrita de la etiqueta, {least}.")
	sayRateIn = words.New("spray-check-rate-in",
		"{product}: {rate} lies within the rates typed from the label.",
		"{product}: {rate} está dentro de las dosis escritas de la etiqueta.")
	sayRateNone = words.New("spray-check-rate-none",
		"{product}: no label rate per {per} is typed, so {rate} was held against nothing.",
		"{product}: no hay escrita una dosis de etiqueta por {per}, así que {rate} no se comparó con nada.")
	sayOverlap = words.New("spray-check-overlap",
		"{m2} m² were chosen twice and are counted once. Sprayed twice they get a double dose.",
		"{m2} m² se eligieron dos veces y se cuentan una. Aplicados dos veces reciben doble dosis.")
	sayReckoned = words.New("spray-check-reckoned",
		"No rows are laid out in some of this ground: treated area, row length and plants were reckoned from its spacings, and the map shows the whole ground.",
		"En parte de este terreno no hay hileras trazadas: superficie tratada, longitud de hilera y plantas se calcularon con las distancias, y el mapa muestra todo el terreno.")
	sayFormula = words.New("spray-check-band-formula",
		"The rows as drawn come to {acres} acres treated ({m2} m²); the block formula, ground x band / row spacing, to {formula} ({formulaM2} m²). Rows end before the outline, at headlands, and skip strips and gaps. The rows set the product.",
		"Las hileras dibujadas dan {acres} acres tratados ({m2} m²); la fórmula del bloque, terreno x banda / distancia entre hileras, {formula} ({formulaM2} m²). Las hileras terminan antes del contorno, en las cabeceras, y saltan franjas y huecos. Las hileras fijan el producto.")
	saySides = words.New("spray-check-sides",
		"Whether the band is sprayed from one side or both was not said; both are assumed. One side covers half the band.",
		"No se dijo si la banda se aplica por un lado o por los dos; se suponen los dos. Un lado cubre media banda.")
	sayMiddles = words.New("spray-check-middles",
		"Every second alley: half of the planted ground is treated and sets the product; the record names all of it. Labels may count otherwise.",
		"Una calle de cada dos: se trata la mitad del terreno plantado y eso fija el producto; el registro nombra todo. Las etiquetas pueden contar de otro modo.")
)

func (d *drafter) say(rule string, v Verdict, why, source words.Text) {
	d.answer.Checks = append(d.answer.Checks, Check{Rule: rule, Answer: v, Why: why, Source: source})
}

// check looks at what this draft can tell; it never says that a job may be
// done.
func (d *drafter) check(ctx context.Context) error {
	d.say("label", Caution, sayLabel.Plain(), sourceLabel)
	d.checkGround()
	if err := d.checkSetbacks(ctx); err != nil {
		return err
	}
	d.checkWind()
	d.checkHarvest()
	d.checkEntry()
	for i := range d.request.Products {
		d.checkProduct(i)
	}
	d.checkDroplets()
	d.checkBees()
	d.checkSprayer()
	if err := d.checkEarlier(ctx); err != nil {
		return err
	}
	if err := d.keepOut(ctx); err != nil {
		return err
	}
	d.checkPattern()
	d.say("drawn-lines", Caution, sayDrawn.Plain(), sourceDrawn)
	d.checkByEye()
	d.mix()
	return nil
}

func (d *drafter) checkGround() {
	a := d.answer.Areas
	switch {
	case a.Treated == 0 && a.Withheld > 0:
		d.say("treated-nothing", Stop, sayNothing.Plain(), sourceUs)
	case a.Treated == 0:
		d.say("treated-nothing", Stop, sayEmpty.Plain(), sourceUs)
	}
	if a.Overlap >= notableOverlap {
		d.say("overlap", Caution, sayOverlap.With(words.Args{"m2": wholeM2(a.Overlap)}), sourceUs)
	}
}

func wholeM2(a geo.SquareMetres) float64 { return math.Round(float64(a)) }

func (d *drafter) checkWind() {
	q := d.request
	switch {
	case q.WindFrom == nil:
		d.say("wind-direction", Caution, sayWindUnknown.Plain(), sourceWind)
	case slices.ContainsFunc(q.Setbacks, func(r setback.Rule) bool { return r.Side == setback.Downwind }):
		d.say("wind-direction", Caution, sayWindTurns.With(words.Args{"degrees": math.Round(float64(*q.WindFrom))}), sourceWind)
	}
	if q.WindSpeed == nil {
		return
	}
	for _, label := range d.labels {
		if w := label.Wind; w != nil {
			d.checkLabelWind(label.Name, *w, *q.WindSpeed)
		}
	}
	mph := *q.WindSpeed / metresPerSecondPerMPH
	args := words.Args{"mph": math.Round(mph*10) / 10}
	switch {
	case mph > stopWindMPH:
		args["most"] = stopWindMPH
		d.say("wind-speed", Stop, sayWindStop.With(args), sourceWind)
	case mph > mostWindMPH:
		args["most"] = mostWindMPH
		d.say("wind-speed", Caution, sayWindHigh.With(args), sourceWind)
	case mph < leastWindMPH:
		args["least"] = leastWindMPH
		d.say("wind-speed", Caution, sayWindLow.With(args), sourceWind)
	default:
		args["least"], args["most"] = leastWindMPH, mostWindMPH
		d.say("wind-speed", OK, sayWindIn.With(args), sourceWind)
	}
}

// local is a time on the farm's clock.
func (d *drafter) local(t time.Time) time.Time {
	if d.ground.Zone != nil {
		return t.In(d.ground.Zone)
	}
	return t
}

// checkHarvest counts the longest interval of the mix from the day applied on
// the farm's calendar.
func (d *drafter) checkHarvest() {
	longest := -1
	for _, label := range d.labels {
		known := false
		for _, p := range d.plots {
			if n := label.PHIFor(p.block.Crop); n != nil {
				longest, known = max(longest, *n), true
			}
		}
		if !known {
			d.say("phi", Caution, sayPHIUnknown.With(words.Args{"product": label.Name}), sourcePHI)
		}
	}
	if longest < 0 {
		return
	}
	q := d.request
	if q.Start.IsZero() {
		d.say("phi", Caution, sayPHINoStart.With(words.Args{"days": longest}), sourcePHI)
		return
	}
	applied := d.local(q.Start)
	if q.End.After(q.Start) {
		applied = d.local(q.End) // past midnight the later day counts
	}
	first := time.Date(applied.Year(), applied.Month(), applied.Day()+longest, 0, 0, 0, 0, time.UTC)
	d.answer.FirstHarvest = first
	args := words.Args{"days": longest, "first": first.Format(time.DateOnly)}
	if !q.HarvestOn.IsZero() && q.HarvestOn.Before(first) {
		args["harvest"] = q.HarvestOn.Format(time.DateOnly)
		d.say("phi", Stop, sayPHIStop.With(args), sourcePHI)
		return
	}
	d.say("phi", OK, sayPHIFirst.With(args), sourcePHI)
}

func (d *drafter) checkEntry() {
	longest := -1.0
	for _, label := range d.labels {
		known := false
		for _, p := range d.plots {
			for _, r := range label.ReentryFor(p.block.Crop, "") {
				known = true
				longest = math.Max(longest, r.Length().Hours())
				if r.Until != "" {
					d.say("rei", Caution, sayREICondition.With(words.Args{"product": label.Name, "until": r.Until}), sourceREI)
				}
			}
		}
		if !known {
			d.say("rei", Caution, sayREIUnknown.With(words.Args{"product": label.Name}), sourceREI)
		}
		for _, r := range label.Reentries {
			if r.Task != "" && slices.ContainsFunc(d.plots, func(p *plot) bool { return names(r.Crop, p.block.Crop) }) {
				d.say("rei", Caution, sayREITask.With(words.Args{"product": label.Name, "task": r.Task, "hours": short(r.Length().Hours()), "until": r.Until}), sourceREI)
			}
		}
	}
	if longest < 0 {
		return
	}
	q := d.request
	from, why := q.End, sayREIUntil
	if from.IsZero() {
		from, why = q.Start, sayREIStart
	}
	if from.IsZero() {
		d.say("rei", Caution, sayREI.With(words.Args{"hours": longest}), sourceREI)
		return
	}
	d.answer.EntryFrom = d.local(from.Add(time.Duration(longest * float64(time.Hour))))
	d.say("rei", Caution, why.With(words.Args{"hours": longest, "until": d.answer.EntryFrom.Format("2006-01-02 15:04 MST")}), sourceREI)
}

func (d *drafter) checkProduct(i int) {
	label := d.labels[i]
	if label.Restricted {
		d.say("restricted", Caution, sayRestricted.With(words.Args{"product": label.Name}), sourceRUP)
	}
	d.checkRate(label, d.request.Products[i].Rate)
	d.checkCarrier(label)
	d.checkValid(label)
}

// ratesFor are the label's rates for this pattern and one of these crops: a rate
// that names neither is for all.
func (d *drafter) ratesFor(label Product) (fit, patterned []LabelRate) {
	for _, r := range label.Rates {
		if len(r.Patterns) > 0 && !slices.Contains(r.Patterns, d.request.Pattern) {
			continue
		}
		patterned = append(patterned, r)
		if slices.ContainsFunc(d.plots, func(p *plot) bool { return p.block.Crop == "" || names(r.Crop, p.block.Crop) }) {
			fit = append(fit, r)
		}
	}
	return fit, patterned
}

// checkRate holds a rate against the label's of the same base and dimension, for
// this pattern and crop.
func (d *drafter) checkRate(label Product, rate quantity.Rate) {
	var least, most float64
	found := false
	fit, patterned := d.ratesFor(label)
	args := words.Args{"product": label.Name, "rate": shown(rate.Value, rate), "pattern": string(d.request.Pattern)}
	switch {
	case len(label.Rates) > 0 && len(patterned) == 0:
		d.say("rate", Stop, sayRatePattern.With(args), sourceTyped)
		return
	case len(patterned) > 0 && len(fit) == 0:
		d.say("rate", Stop, sayRateCrop.With(args), sourceTyped)
		return
	}
	for _, l := range fit {
		low, high, ok := label.inUnit(l, rate)
		if !ok {
			continue
		}
		if !found || low < least {
			least = low
		}
		most, found = math.Max(most, high), true
	}
	const slack = 1 + 1e-9 // a rate converted there and back is the same rate
	measured := &Measured{Value: rate.Value, Limit: most, Unit: string(rate.Unit) + "/" + string(rate.Per)}
	switch {
	case !found && len(label.Rates) == 0:
		// Nothing typed at all: the label check above says so of every entry.
	case !found:
		args["per"] = string(rate.Per)
		d.say("rate", Caution, sayRateNone.With(args), sourceTyped)
	case rate.Value > most*slack:
		args["most"] = shown(most, rate)
		d.add(Check{Rule: "rate", Answer: Stop, Why: sayRateOver.With(args), Source: sourceTyped, Measured: measured})
	case rate.Value*slack < least:
		args["least"] = shown(least, rate)
		d.say("rate", Caution, sayRateUnder.With(args), sourceTyped)
	default:
		d.add(Check{Rule: "rate", Answer: OK, Why: sayRateIn.With(args), Source: sourceTyped, Measured: measured})
	}
}

// inUnit gives the ends of a rate of the label in the unit and base of another.
func (p Product) inUnit(l LabelRate, want quantity.Rate) (low, high float64, ok bool) {
	a := quantity.Rate{Amount: quantity.Amount{Value: l.Value, Unit: l.Unit}, Per: l.Per}
	b := a
	b.Value = l.Most
	if l.Of != "" {
		var problem words.Text
		if a, problem = p.holding(a, l.Of); !problem.Empty() {
			return 0, 0, false
		}
		b, _ = p.holding(b, l.Of)
	}
	low, lowOK := a.As(want.Unit, want.Per)
	high, highOK := b.As(want.Unit, want.Per)
	return low, high, lowOK && highOK
}

func shown(v float64, r quantity.Rate) string {
	return fmt.Sprintf("%s %s per %s", strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.3f", v), "0"), "."), r.Unit, r.Per)
}

func (d *drafter) checkPattern() {
	q := d.request
	banded := q.Pattern == Band || q.Pattern == Drench && q.BandWidth > 0
	if banded && q.Sides == 0 {
		d.say("sides", Caution, saySides.Plain(), sourceUs)
	}
	d.compareFormula(banded)
	if q.Pattern == AlternateMiddles {
		d.say("alternate-middles", Caution, sayMiddles.Plain(), sourceMiddle)
	}
	reckons := banded || q.Pattern == AlternateMiddles || d.ratesReckon()
	if reckons && slices.ContainsFunc(d.plots, func(p *plot) bool { return len(p.all) == 0 }) {
		d.say("reckoned", Caution, sayReckoned.Plain(), sourceUs)
	}
}

// formulaSlack is how far rows and formula may part before it is worth a word: the
// digits acres are printed with.
const formulaSlack = 0.005

// compareFormula says why the rows as drawn come to another area than the block
// formula of handbooks.
func (d *drafter) compareFormula(banded bool) {
	if !banded || !d.rowsLaid() {
		return
	}
	var formula geo.SquareMetres
	for _, p := range d.plots {
		if p.block.RowSpacing == 0 {
			return
		}
		formula += p.free.Area() * geo.SquareMetres(math.Min(1, float64(d.request.BandWidth/p.block.RowSpacing)/float64(3-d.sides())))
	}
	treated := d.answer.Areas.Treated
	if formula <= 0 || math.Abs(float64(treated-formula)) <= formulaSlack*float64(formula) {
		return
	}
	d.add(Check{Rule: "band-formula", Answer: OK, Source: sourceGrapes, Measured: &Measured{Value: float64(treated), Limit: float64(formula), Unit: "m2"},
		Why: sayFormula.With(words.Args{"acres": fmt.Sprintf("%.2f", treated.Acres()), "formula": fmt.Sprintf("%.2f", formula.Acres()), "m2": wholeM2(treated), "formulaM2": wholeM2(formula)})})
}

// ratesReckon is whether a rate stands on row length or plants.
func (d *drafter) ratesReckon() bool {
	rates := []quantity.Rate{}
	for _, l := range d.request.Products {
		rates = append(rates, l.Rate)
	}
	if d.request.Carrier != nil {
		rates = append(rates, *d.request.Carrier)
	}
	return slices.ContainsFunc(rates, func(r quantity.Rate) bool {
		return r.Per.Base() == quantity.RowLength || r.Per.Base() == quantity.Plants
	})
}
