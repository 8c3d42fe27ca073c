package spray

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/records/quantity"
)

var (
	sourceCaps = words.New("spray-source-caps", "label as typed; caps hold at every point of ground, so overlapping passes add up (worked out here)", "etiqueta según lo escrito; los topes rigen en cada punto del terreno, así que las pasadas que se solapan se suman (calculado aquí)").Plain()

	sayCapIn = words.New("spray-check-cap-in",
		"{product}: with this job at most {value} of {cap}, at any point of this ground. Counted: {earlier} earlier pass(es).",
		"{product}: con este trabajo, como máximo {value} de {cap}, en cualquier punto de este terreno. Contadas: {earlier} pasada(s) anteriores.")
	sayCapOver = words.New("spray-check-cap-over",
		"{product}: {value} with this job on {share} of the ground treated in {block}; the label, as typed, caps it at {cap}. Earlier on that ground: {dates}. Leave that ground out, or do not spray it.",
		"{product}: {value} con este trabajo en {share} del terreno tratado de {block}; la etiqueta, según lo escrito, lo limita a {cap}. Antes en ese terreno: {dates}. Deje fuera ese terreno o no lo aplique.")
	sayCapAlone = words.New("spray-check-cap-alone",
		"{product}: this job alone brings {value} to the ground treated in {block}; the label, as typed, caps it at {cap}.",
		"{product}: este trabajo solo lleva {value} al terreno tratado de {block}; la etiqueta, según lo escrito, lo limita a {cap}.")
	sayCapUnknown = words.New("spray-check-cap-unknown",
		"{product}: the cap of {cap} could not be reckoned: {why}.",
		"{product}: el tope de {cap} no se pudo calcular: {why}.")
	whyContent   = words.New("spray-cap-why-content", "how much {ingredient} is in {product} is not typed in a form that can be counted (percent by weight, lb/gal, g/L)", "no está escrito cuánto {ingredient} contiene {product} en una forma que se pueda contar (porcentaje en peso, lb/gal, g/L)")
	whyDimension = words.New("spray-cap-why-dimension", "it counts {unit}, the job {other}", "cuenta {unit}, el trabajo {other}")
	whyNoTotal   = words.New("spray-cap-why-no-total", "the pass of {date} kept no total for its ground", "la pasada del {date} no guardó un total para su terreno")
	sayNoSeason  = words.New("spray-check-cap-season",
		"{product}: the season of this cap begins on 1 January until you say otherwise on the label.",
		"{product}: la temporada de este tope empieza el 1 de enero mientras no diga otra cosa en la etiqueta.")

	capUses    = words.New("spray-cap-uses", "{value} use(s)", "{value} uso(s)")
	capAmount  = words.New("spray-cap-amount", "{value} {unit} of product per {area}", "{value} {unit} de producto por {area}")
	capActive  = words.New("spray-cap-active", "{value} {unit} of {ingredient} per {area}", "{value} {unit} de {ingredient} por {area}")
	perYear    = words.New("spray-cap-per-year", "{amount} in {from}", "{amount} en {from}")
	perSeason  = words.New("spray-cap-per-season", "{amount} in the season from {from} to {to}", "{amount} en la temporada del {from} al {to}")
	perTwelve  = words.New("spray-cap-per-twelve", "{amount} in the twelve months to {to}", "{amount} en los doce meses hasta el {to}")
	wholeBlock = words.New("spray-all-of-it", "all", "todo")

	sayIntervalStop = words.New("spray-check-interval-stop",
		"{product} was put on {share} of the ground treated in {block} on {date}; the label, as typed, asks for {days} day(s) between uses: not before {next} there.",
		"{product} se aplicó en {share} del terreno tratado de {block} el {date}; la etiqueta, según lo escrito, pide {days} día(s) entre usos: ahí no antes del {next}.")
	sayIntervalLater = words.New("spray-check-interval-later",
		"{product} was put on {share} of the ground treated in {block} on {date}, after the day of this job and less than the {days} day(s) between uses the label, as typed, asks for.",
		"{product} se aplicó en {share} del terreno tratado de {block} el {date}, después del día de este trabajo y con menos de los {days} día(s) entre usos que pide la etiqueta, según lo escrito.")
	sayIntervalOK = words.New("spray-check-interval-ok",
		"{product}: no use on this ground within the {days} day(s) the label, as typed, asks for.",
		"{product}: ningún uso en este terreno dentro de los {days} día(s) que pide la etiqueta, según lo escrito.")
	sayHarvestBefore = words.New("spray-check-phi-earlier",
		"Harvest on {harvest} is too soon for {share} of the ground treated in {block}: {product} of {date} asks for {days} day(s), so the first day there is {first}.",
		"Cosechar el {harvest} es demasiado pronto para {share} del terreno tratado de {block}: {product} del {date} pide {days} día(s), así que el primer día ahí es {first}.")
	sayEntryBefore = words.New("spray-check-rei-earlier",
		"{share} of the ground treated in {block} is still under the re-entry time of {product} of {date}, until {until}. Nobody but handlers in the label's gear goes in.",
		"{share} del terreno tratado de {block} sigue bajo el plazo de entrada de {product} del {date}, hasta {until}. Solo entran quienes aplican, con el equipo de la etiqueta.")
	sayEntryCondition = words.New("spray-check-rei-earlier-condition",
		"{share} of the ground treated in {block} had {product} on {date}, whose re-entry hangs on a condition: {until}. No clock can tell that; see to it.",
		"{share} del terreno tratado de {block} recibió {product} el {date}, cuya entrada depende de una condición: {until}. Ningún reloj lo puede saber; compruébelo.")
	sayNoWhen = words.New("spray-check-no-start",
		"Without a start, what was sprayed earlier on this ground cannot be held against caps, intervals and rotation.",
		"Sin inicio, lo aplicado antes en este terreno no se puede comparar con topes, intervalos y rotación.")
	sayLeft = words.New("spray-check-earlier-left",
		"Too many earlier passes cross in {block} to tell their ground apart; the {count} oldest were counted as if they had covered all of it.",
		"Demasiadas pasadas anteriores se cruzan en {block} para distinguir su terreno; las {count} más antiguas se contaron como si lo hubieran cubierto todo.")
	sayBadEarlier = words.New("spray-check-earlier-ground",
		"The ground kept with the pass of {date} cannot be worked with; it was counted as if it had covered all of {block}.",
		"El terreno guardado con la pasada del {date} no se puede usar; se contó como si hubiera cubierto todo {block}.")
)

// today is the day of the job on the farm's clock, as midnight UTC; zero where
// neither the request nor the ground knows a time.
func (d *drafter) today() time.Time {
	t := d.request.Start
	if t.IsZero() {
		t = d.ground.Now
	}
	if t.IsZero() {
		return t
	}
	return d.day(t)
}

// day is the day of the calendar on the farm's clock, as midnight UTC.
func (d *drafter) day(t time.Time) time.Time {
	t = d.local(t)
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// checkEarlier holds the job against what was sprayed on that very ground.
func (d *drafter) checkEarlier(ctx context.Context) error {
	today := d.today()
	if today.IsZero() {
		d.say("earlier", Caution, sayNoWhen.Plain(), sourceUs)
		return nil
	}
	all := newPast(d.ground.Earlier)
	treated := slices.DeleteFunc(slices.Clone(d.plots), func(p *plot) bool { return len(p.treated) == 0 })
	histories := make([]*history, len(treated))
	if err := together(ctx, len(treated), func(i int) (err error) {
		histories[i], err = all.on(ctx, treated[i])
		return err
	}); err != nil {
		return err
	}
	for i := range d.labels {
		for _, c := range d.labels[i].Caps {
			d.checkCap(histories, i, c, today)
		}
		d.checkInterval(histories, i, today)
	}
	d.checkEarlierHarvest(histories)
	d.checkEarlierEntry(histories)
	d.checkRotation(histories, today)
	for _, h := range histories {
		for _, i := range h.bad {
			d.say("earlier", Caution, sayBadEarlier.With(words.Args{"date": d.date(h.past.passes[i].Started), "block": h.plot.called()}), sourceUs)
		}
		if len(h.left) > 0 {
			d.say("earlier", Caution, sayLeft.With(words.Args{"block": h.plot.called(), "count": len(h.left)}), sourceUs)
		}
	}
	return nil
}

// span is a stretch of days a cap counts over, the last included.
type span struct{ from, to time.Time }

// counted reports whether a pass of a day falls into the span.
func (s span) counted(day time.Time) bool { return !day.Before(s.from) && !day.After(s.to) }

// spans are the stretches the cap counts over that hold the job's day. Twelve
// months run to the day of the job and to the day of every use after it: a use of
// 29 February counts until 28 February of the next year.
func (c Cap) spans(today time.Time, others []time.Time) []span {
	switch c.Per {
	case PerYear:
		first := time.Date(today.Year(), time.January, 1, 0, 0, 0, 0, time.UTC)
		return []span{{first, first.AddDate(1, 0, -1)}}
	case PerSeason:
		month, day := c.Starts.Month, c.Starts.Day
		if month == 0 {
			month, day = time.January, 1
		}
		first := time.Date(today.Year(), month, day, 0, 0, 0, 0, time.UTC)
		if first.After(today) {
			first = time.Date(today.Year()-1, month, day, 0, 0, 0, 0, time.UTC)
		}
		return []span{{first, time.Date(first.Year()+1, month, day, 0, 0, 0, 0, time.UTC).AddDate(0, 0, -1)}}
	}
	ends := []time.Time{today}
	for _, t := range others {
		if t.After(today) && today.AddDate(1, 0, 0).After(t) {
			ends = append(ends, t)
		}
	}
	out := make([]span, len(ends))
	for i, end := range ends {
		out[i] = span{twelveMonthsTo(end), end}
	}
	return out
}

// twelveMonthsTo is the first day whose twelve months reach the given one: a
// year after it lies past that.
func twelveMonthsTo(end time.Time) time.Time {
	from := end.AddDate(-1, 0, -1)
	for !from.AddDate(1, 0, 0).After(end) {
		from = from.AddDate(0, 0, 1)
	}
	return from
}

// limit is the cap in kilograms, litres or pieces a square metre, or in uses.
func (c Cap) limit() quantity.Amount {
	if c.What == CapUses {
		return quantity.Amount{Value: c.Value, Unit: quantity.Each}
	}
	area := geo.SquareMetresPerAcre
	if c.Area == quantity.PerHectare {
		area = geo.SquareMetresPerHa
	}
	si := quantity.Amount{Value: c.Value, Unit: c.Unit}.SI()
	return quantity.Amount{Value: si.Value / float64(area), Unit: si.Unit}
}

// adds is what one use brings to a square metre of what the cap counts, in the
// unit of its limit. why says what is not known; it is empty where the use has
// nothing to do with the cap.
func (c Cap) adds(product string, label Product, u Use) (value float64, why words.Text) {
	switch {
	case c.What != CapIngredient && !u.same(product, label):
		return 0, words.Text{}
	case c.What == CapUses:
		return 1, words.Text{}
	case c.What == CapIngredient && u.Label.ingredient(c.Ingredient) == nil:
		return 0, words.Text{}
	}
	amount := u.PerSquareMetre
	if c.What == CapIngredient {
		kg, ok := u.Label.Active(*u.Label.ingredient(c.Ingredient), amount)
		if !ok {
			return 0, whyContent.With(words.Args{"ingredient": c.Ingredient, "product": u.Label.Name})
		}
		amount = quantity.Amount{Value: kg, Unit: quantity.Kilogram}
	}
	if limit := c.limit(); amount.Unit != "" && amount.Unit != limit.Unit {
		return 0, whyDimension.With(words.Args{"unit": limit.Unit.Printed(), "other": amount.Unit.Printed()})
	}
	return amount.Value, words.Text{}
}

func (p Product) ingredient(name string) *Ingredient {
	for i, in := range p.Ingredients {
		if strings.EqualFold(strings.TrimSpace(in.Name), strings.TrimSpace(name)) {
			return &p.Ingredients[i]
		}
	}
	return nil
}

// Active is how much of an ingredient, in kilograms, is in an amount of the
// product in kilograms or litres. ok is false where the label does not say.
func (p Product) Active(in Ingredient, a quantity.Amount) (kg float64, ok bool) {
	if in.Content == nil {
		return 0, false
	}
	c := *in.Content
	switch c.Unit {
	case PercentWeight, GramsPerKilogram:
		share := c.Value / 100
		if c.Unit == GramsPerKilogram {
			share = c.Value / 1000
		}
		if a.Unit == quantity.Litre {
			if p.Density == nil {
				return 0, false
			}
			return a.Value * p.Density.kilogramsPerLitre() * share, true
		}
		return a.Value * share, a.Unit == quantity.Kilogram
	}
	return a.Value * c.kilogramsPerLitre(), a.Unit == quantity.Litre
}

func (c Content) kilogramsPerLitre() float64 {
	return c.kilogramsPerCubicMetre().Over(quantity.Whole(1000)).Float()
}

// capSlack lets what equals a cap stand: doses are quotients of rounded areas.
const capSlack = 1 + 1e-9

// heap is what came together on a plot over one span of a cap, more than its limit
// if all of it lay on one place.
type heap struct {
	history *history
	span    span
	values  map[int]float64 // of each pass
}

// checkCap holds one cap against every point of the ground treated.
func (d *drafter) checkCap(histories []*history, i int, c Cap, today time.Time) {
	label, limit := d.labels[i], c.limit()
	own, why := d.ownShare(i, c)
	var over []finding
	most, counted := own, 0
	var at span
	var heaps []heap
	for _, h := range histories {
		if !names(c.Crop, h.plot.block.Crop) || !why.Empty() {
			continue
		}
		values, days, unknown := d.shares(h, i, c)
		for _, s := range c.spans(today, days) {
			if at.to.IsZero() {
				at = s
			}
			members, sum := map[int]float64{}, own
			for _, pass := range h.near {
				if day := d.day(h.past.passes[pass].Started); s.counted(day) {
					if text, bad := unknown[pass]; bad {
						why = text
					}
					if values[pass] > 0 {
						members[pass] = values[pass]
						sum += values[pass]
					}
				}
			}
			counted = max(counted, len(members))
			if sum <= limit.Value*capSlack {
				most = math.Max(most, sum)
				continue
			}
			heaps = append(heaps, heap{history: h, span: s, values: members})
		}
	}
	worst := make([]finding, len(heaps))
	abreast(len(histories), func(k int) {
		for i, one := range heaps {
			if one.history == histories[k] {
				worst[i] = one.history.worst(own, one.values, limit.Value)
			}
		}
	})
	for i, one := range heaps {
		f := worst[i]
		most = math.Max(most, f.value)
		if f.value > limit.Value*capSlack {
			if len(over) == 0 || f.value > worstOf(over).value {
				at = one.span
			}
			over = append(over, f)
		}
	}
	args := words.Args{"product": label.Name, "cap": c.words(c.Value, at), "earlier": counted, "value": c.amount(most)}
	if !why.Empty() {
		args["why"] = why
		d.add(Check{Rule: "cap", Answer: Caution, Why: sayCapUnknown.With(args), Source: sourceCaps})
	}
	if c.Per == PerSeason && c.Starts.Month == 0 {
		d.say("cap", Caution, sayNoSeason.With(args), sourceCaps)
	}
	measured := &Measured{Value: c.shown(most), Limit: c.Value, Unit: c.unit()}
	switch {
	case len(over) > 0:
		d.add(d.capBroken(label, c, over, at))
	case why.Empty() && len(histories) > 0:
		d.add(Check{Rule: "cap", Answer: OK, Why: sayCapIn.With(args), Source: sourceCaps, Measured: measured})
	}
}

func (d *drafter) capBroken(label Product, c Cap, over []finding, at span) Check {
	f := worstOf(over)
	check := d.found("cap", Stop, f, over)
	check.Source = sourceCaps
	check.Measured = &Measured{Value: c.shown(f.value), Limit: c.Value, Unit: c.unit()}
	args := words.Args{"product": label.Name, "cap": c.words(c.Value, at), "value": c.amount(f.value), "share": d.share(f), "block": f.plot.called(), "dates": d.dates(f)}
	check.Why = sayCapOver.With(args)
	if len(f.passes) == 0 {
		check.Why = sayCapAlone.With(args)
	}
	return check
}

// ownShare is what this job brings to a square metre of what a cap of its i-th
// label counts; two lines with one ingredient add up.
func (d *drafter) ownShare(i int, c Cap) (sum float64, why words.Text) {
	for j := range d.labels {
		use := d.use(j)
		v, unknown := c.adds(d.answer.Totals[i].Product, d.labels[i], use)
		if !unknown.Empty() {
			return 0, unknown
		}
		if c.What == CapUses {
			v = math.Min(v, 1-sum) // one job is one use
		}
		sum += v
	}
	return sum, words.Text{}
}

// use is one line of this job as an earlier pass would have it.
func (d *drafter) use(j int) Use {
	total := d.answer.Totals[j]
	u := Use{Product: total.Product, Label: d.labels[j]}
	if a := d.answer.Areas.Treated; a > 0 {
		u.PerSquareMetre = quantity.Amount{Value: total.SI.Value / float64(a), Unit: total.SI.Unit}
	}
	return u
}

// shares are what each earlier pass near the plot brought of what the cap counts,
// the days of those that brought some, and what could not be told.
func (d *drafter) shares(h *history, i int, c Cap) (values map[int]float64, days []time.Time, unknown map[int]words.Text) {
	values, unknown = map[int]float64{}, map[int]words.Text{}
	for _, pass := range h.near {
		e := h.past.passes[pass]
		for _, u := range e.Uses {
			v, why := c.adds(d.answer.Totals[i].Product, d.labels[i], u)
			switch {
			case !why.Empty():
				unknown[pass] = why
			case v > 0 && c.What != CapUses:
				values[pass] += v
			case v > 0:
				values[pass] = 1
			case c.What != CapUses && u.PerSquareMetre.Unit == "" && c.concerns(d.answer.Totals[i].Product, d.labels[i], u):
				unknown[pass] = whyNoTotal.With(words.Args{"date": d.date(e.Started)})
			}
		}
		if values[pass] > 0 {
			days = append(days, d.day(e.Started))
		}
	}
	return values, days, unknown
}

func (c Cap) concerns(product string, label Product, u Use) bool {
	if c.What == CapIngredient {
		return u.Label.ingredient(c.Ingredient) != nil
	}
	return u.same(product, label)
}

// worst finds the ground where earlier passes and the job add up to more than the
// limit.
func (h *history) worst(own float64, values map[int]float64, limit float64) finding {
	base, all := own, []int(nil)
	for _, pass := range slices.Concat(h.bad, h.left) {
		if v, ok := values[pass]; ok {
			base, all = base+v, append(all, pass)
		}
	}
	f := finding{plot: h.plot, value: math.Inf(-1)}
	var over, most []cell
	for _, c := range h.cells {
		sum, brought := base, []int(nil)
		for _, pass := range c.passes {
			if v, ok := values[pass]; ok {
				sum, brought = sum+v, append(brought, pass)
			}
		}
		switch {
		case sum > f.value:
			f.value, f.passes, most = sum, brought, []cell{c}
		case sum == f.value && slices.Equal(brought, f.passes):
			most = append(most, c)
		}
		if sum > limit*capSlack {
			over = append(over, c)
		}
	}
	f.passes = slices.Sorted(slices.Values(slices.Concat(f.passes, all)))
	f.ground, f.worst = h.join(over), h.join(most)
	return f
}

// words is the cap, or another value of what it counts, with its clock.
func (c Cap) words(value float64, s span) words.Text {
	args := words.Args{"amount": c.inWords(value), "from": s.from.Format(time.DateOnly), "to": s.to.Format(time.DateOnly)}
	switch c.Per {
	case PerYear:
		args["from"] = s.from.Format("2006")
		return perYear.With(args)
	case PerSeason:
		return perSeason.With(args)
	}
	return perTwelve.With(args)
}

func (c Cap) inWords(value float64) words.Text {
	args := words.Args{"value": short(value), "unit": c.Unit.Printed(), "area": string(c.Area), "ingredient": c.Ingredient}
	switch c.What {
	case CapUses:
		return capUses.With(args)
	case CapProduct:
		return capAmount.With(args)
	}
	return capActive.With(args)
}

// shown is a value of the limit's unit in the unit of the cap.
func (c Cap) shown(value float64) float64 {
	if c.What == CapUses || c.limit().Value == 0 {
		return value
	}
	return value / c.limit().Value * c.Value
}

func (c Cap) amount(value float64) words.Text { return c.inWords(c.shown(value)) }

func (c Cap) unit() string {
	if c.What == CapUses {
		return "uses"
	}
	return c.PrintedUnit()
}

// PrintedUnit is what a cap of amounts counts in, such as "lb/acre"; "" for uses.
func (c Cap) PrintedUnit() string {
	if c.What == CapUses {
		return ""
	}
	return c.Unit.Printed() + "/" + string(c.Area)
}

// short writes a figure to read, to six digits: more than any label prints.
func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// checkInterval looks for uses of the product on this ground too short before, or
// after, the job's day.
func (d *drafter) checkInterval(histories []*history, i int, today time.Time) {
	label := d.labels[i]
	if label.IntervalDays == nil || *label.IntervalDays == 0 {
		return
	}
	n := *label.IntervalDays
	var found []finding
	for _, h := range histories {
		for _, pass := range h.near {
			e := h.past.passes[pass]
			gap := int(math.Abs(today.Sub(d.day(e.Started)).Hours()) / 24)
			if gap >= n || !slices.ContainsFunc(e.Uses, func(u Use) bool { return u.same(d.answer.Totals[i].Product, label) }) {
				continue
			}
			if f, ok := h.touched(pass, float64(n-gap)); ok {
				found = append(found, f)
			}
		}
	}
	if len(found) == 0 {
		d.say("interval", OK, sayIntervalOK.With(words.Args{"product": label.Name, "days": n}), sourceTyped)
		return
	}
	f := worstOf(found)
	before := f.plot.historyDay(d, f)
	check := d.found("interval", Stop, f, found)
	check.Source = sourceTyped
	check.Measured = &Measured{Value: math.Abs(today.Sub(before).Hours()) / 24, Limit: float64(n), Unit: string(quantity.Day)}
	say := sayIntervalStop
	if before.After(today) {
		say = sayIntervalLater
	}
	check.Why = say.With(words.Args{"product": label.Name, "share": d.share(f), "block": f.plot.called(), "days": n,
		"date": before.Format(time.DateOnly), "next": before.AddDate(0, 0, n).Format(time.DateOnly)})
	d.add(check)
}

// historyDay is the day of the first pass of a finding.
func (p *plot) historyDay(d *drafter, f finding) time.Time {
	return d.day(d.ground.Earlier[f.passes[0]].Started)
}

// touched is the ground of the job that an earlier pass treated too.
func (h *history) touched(pass int, value float64) (finding, bool) {
	ground := h.join(h.over(pass))
	return finding{plot: h.plot, ground: ground, worst: ground, value: value, passes: []int{pass}}, len(ground) > 0
}

// checkEarlierHarvest holds the planned harvest against what earlier passes ask
// for on this ground.
func (d *drafter) checkEarlierHarvest(histories []*history) {
	harvest := d.request.HarvestOn
	if harvest.IsZero() {
		return
	}
	var found []finding
	for _, h := range histories {
		for _, pass := range h.near {
			e := h.past.passes[pass]
			_, days := e.longestPHI(h.plot.block.Crop)
			ended := d.day(e.Ended)
			if days == 0 || ended.After(harvest) || !harvest.Before(ended.AddDate(0, 0, days)) {
				continue
			}
			if f, ok := h.touched(pass, ended.AddDate(0, 0, days).Sub(harvest).Hours()/24); ok {
				found = append(found, f)
			}
		}
	}
	if len(found) == 0 {
		return
	}
	f := worstOf(found)
	e := d.ground.Earlier[f.passes[0]]
	product, days := e.longestPHI(f.plot.block.Crop)
	ended := d.day(e.Ended)
	check := d.found("phi", Stop, f, found)
	check.Source = sourcePHI
	check.Measured = &Measured{Value: harvest.Sub(ended).Hours() / 24, Limit: float64(days), Unit: string(quantity.Day)}
	check.Why = sayHarvestBefore.With(words.Args{"harvest": harvest.Format(time.DateOnly), "share": d.share(f), "block": f.plot.called(), "product": product,
		"date": ended.Format(time.DateOnly), "days": days, "first": ended.AddDate(0, 0, days).Format(time.DateOnly)})
	d.add(check)
}

func (e Earlier) longestPHI(crop string) (product string, days int) {
	for _, u := range e.Uses {
		if n := u.Label.PHIFor(crop); n != nil && *n > days {
			product, days = u.Label.Name, *n
		}
	}
	return product, days
}

// checkEarlierEntry names ground of the job that earlier passes still keep people
// out of.
func (d *drafter) checkEarlierEntry(histories []*history) {
	start := d.request.Start
	if start.IsZero() {
		start = d.ground.Now
	}
	for _, h := range histories {
		for _, pass := range h.near {
			e := h.past.passes[pass]
			if e.Started.After(start) {
				continue
			}
			for _, u := range e.Uses {
				for _, r := range u.Label.ReentryFor(h.plot.block.Crop, "") {
					until := e.Ended.Add(r.Length())
					// A condition is looked for as long as a season: what it hangs on fades.
					condition := r.Until != "" && start.Sub(e.Ended) < conditionReach
					if !condition && !until.After(start) {
						continue
					}
					f, ok := h.touched(pass, until.Sub(start).Hours())
					if !ok {
						continue
					}
					args := words.Args{"share": d.share(f), "block": h.plot.called(), "product": u.Label.Name, "date": d.date(e.Started), "until": d.local(until).Format("2006-01-02 15:04 MST")}
					say := sayEntryBefore
					if !until.After(start) {
						say, args["until"] = sayEntryCondition, r.Until
					}
					check := d.found("rei", Caution, f, []finding{f})
					check.Source, check.Why = sourceREI, say.With(args)
					d.add(check)
				}
			}
		}
	}
}

const conditionReach = 90 * 24 * time.Hour

// found is a check with its place: where the rule is broken most, all of the ground
// where it is, and what share of the ground treated that is.
func (d *drafter) found(rule string, v Verdict, f finding, all []finding) Check {
	c := Check{Rule: rule, Answer: v, Block: f.plot.id()}
	seen := map[*plot][]finding{}
	for _, one := range all {
		seen[one.plot] = append(seen[one.plot], one)
	}
	var broken geo.SquareMetres
	areas, grounds := make([]geo.SquareMetres, len(d.plots)), make([]orb.MultiPolygon, len(d.plots))
	abreast(len(d.plots), func(i int) {
		p := d.plots[i]
		list := seen[p]
		if len(list) == 0 {
			return
		}
		// Findings of one plot lie on one another; the largest stands for them.
		widest := slices.MaxFunc(list, func(a, b finding) int { return int(math.Copysign(1, float64(a.area()-b.area()))) })
		areas[i], grounds[i] = widest.area(), p.frame.MultiPolygon(widest.ground)
	})
	for i := range d.plots {
		broken += areas[i]
		c.Ground = append(c.Ground, grounds[i]...)
	}
	c.Area = broken
	if total := d.treatedGround(); total > 0 {
		c.Share = math.Min(1, float64(broken/total))
	}
	if at, ok := overlay.InnerPoint(f.worst); ok {
		place := f.plot.frame.Position(at)
		c.At = &place
	}
	for _, i := range f.passes {
		c.Passes = append(c.Passes, d.ground.Earlier[i].ID)
	}
	return c
}

// treatedGround is the ground shown as treated; where bands are reckoned, all of
// it, for nobody knows which of it they are.
func (d *drafter) treatedGround() geo.SquareMetres {
	var sum geo.SquareMetres
	for _, p := range d.plots {
		sum += p.treated.Area()
	}
	return sum
}

// share is what part of its plot's treated ground a finding has.
func (d *drafter) share(f finding) any {
	whole := f.plot.treated.Area()
	if whole <= 0 || float64(f.area()/whole) > 0.9995 {
		return wholeBlock.Plain()
	}
	return fmt.Sprintf("%.1f %%", math.Max(0.1, 100*float64(f.area()/whole)))
}

func (d *drafter) date(t time.Time) string { return d.day(t).Format(time.DateOnly) }

// mostDates bounds how many days are named in one sentence.
const mostDates = 6

func (d *drafter) dates(f finding) string {
	var out []string
	for _, i := range f.passes {
		out = append(out, d.date(d.ground.Earlier[i].Started))
	}
	if len(out) > mostDates {
		out = append(out[:mostDates], "…")
	}
	return strings.Join(out, ", ")
}

// called is what people call the plot: the block's name, else its id.
func (p *plot) called() any {
	switch {
	case p.block.Name != "":
		return p.block.Name
	case p.block.ID != "":
		return string(p.block.ID)
	}
	return sayDrawnArea.Plain()
}

var sayDrawnArea = words.New("spray-drawn-area", "the drawn area", "la superficie dibujada")

func (d *drafter) add(c Check) { d.answer.Checks = append(d.answer.Checks, c) }
