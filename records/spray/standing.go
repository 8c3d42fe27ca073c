package spray

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"caneward/blocks"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/overlay"
	"caneward/geo/plane"
	"caneward/records/quantity"
	"caneward/records/scouting"
)

// What a label says of the ground, the wind, the bees and the days it may be used.

var (
	sourceEdge  = words.New("spray-source-edge", "label as typed; a strip is ground that must exist, and a buffer in a slanting wind stays on both downwind edges (Univ. of Minnesota Extension, setbacks; farm press on downwind buffers)", "etiqueta según lo escrito; una franja es terreno que debe existir, y con viento oblicuo el retiro queda en los dos bordes a favor del viento (Univ. of Minnesota Extension, setbacks; prensa agrícola)").Plain()
	sourceBees  = words.New("spray-source-bees", "label as typed; EPA, neonicotinoid labeling page; bloom, time of day and notice rather than a distance", "etiqueta según lo escrito; EPA, página de etiquetas de neonicotinoides; floración, hora y aviso más que una distancia").Plain()
	sourceStrip = words.New("spray-source-strip", "label as typed; the strip is looked for among the surroundings marked as a kept strip (worked out here)", "etiqueta según lo escrito; la franja se busca entre el entorno marcado como franja mantenida (calculado aquí)").Plain()

	sayBankUnknown = words.New("spray-check-bank",
		"The setback from {name} is measured from the top of the bank; where that lies is not recorded, so the drawn line was taken. Measure it, and type how far it lies outside the line.",
		"El retiro de {name} se mide desde el borde del talud; no está registrado dónde queda, así que se tomó la línea dibujada. Mídalo y escriba a qué distancia de la línea está.")
	sayCondition = words.New("spray-check-label-setback-condition",
		"{product}: the label, as typed, asks for {metres} m from {kind} when: {condition}. {near} m are kept here. See whether that holds today.",
		"{product}: la etiqueta, según lo escrito, pide {metres} m de {kind} cuando: {condition}. Aquí se guardan {near} m. Vea si hoy se cumple.")
	sayMixing = words.New("spray-check-mixing-place",
		"{product}: mix and load at least {metres} m from {kind}, as typed from the label.",
		"{product}: mezcle y cargue a {metres} m o más de {kind}, según lo escrito de la etiqueta.")
	sayStripThere = words.New("spray-check-strip",
		"The kept strip of {metres} m along {name} is recorded as ground beside the ground treated.",
		"La franja mantenida de {metres} m junto a {name} está registrada como terreno al lado del terreno tratado.")
	sayStripMissing = words.New("spray-check-strip-missing",
		"A kept strip of plants {metres} m wide along {name} is asked for between it and the ground treated; {m2} m² of it are not recorded. A strip must exist: leaving ground unsprayed is not one.",
		"Se pide una franja mantenida de plantas de {metres} m junto a {name}, entre esta y el terreno tratado; {m2} m² no están registrados. La franja debe existir: dejar terreno sin aplicar no lo es.")
	sayLabelWindOver = words.New("spray-check-label-wind",
		"{product}: wind of {wind} m/s lies outside the {least} to {most} m/s typed from the label.",
		"{product}: un viento de {wind} m/s queda fuera de {least} a {most} m/s, según lo escrito de la etiqueta.")
	sayNotYet = words.New("spray-check-valid",
		"{product}: the label, as typed, may be used from {from} to {until}; this job is on {day}.",
		"{product}: la etiqueta, según lo escrito, vale del {from} al {until}; este trabajo es el {day}.")
	saySeason = words.New("spray-check-season",
		"{product}: the label, as typed, is for {from} to {until} of each year; this job is on {day}.",
		"{product}: la etiqueta, según lo escrito, es del {from} al {until} de cada año; este trabajo es el {day}.")
	sayAnyDay     = words.New("spray-any-day", "any day", "cualquier día")
	sayCarrierLow = words.New("spray-check-carrier-least",
		"{product}: {carrier} of spray is less than the {least} the label, as typed, asks for.",
		"{product}: {carrier} de caldo es menos que los {least} que pide la etiqueta, según lo escrito.")
	sayCarrierNone = words.New("spray-check-carrier-none",
		"{product}: the label, as typed, asks for at least {least} of spray; this draft gives none that can be compared.",
		"{product}: la etiqueta, según lo escrito, pide al menos {least} de caldo; este borrador no da uno comparable.")
	sayInBloom = words.New("spray-check-bloom-stop",
		"{product}: not while anything is in bloom, as typed from the label; {block} was noted as “{stage}” on {date}.",
		"{product}: nunca con plantas en flor, según lo escrito de la etiqueta; {block} se anotó como «{stage}» el {date}.")
	sayBloomUnknown = words.New("spray-check-bloom-unknown",
		"{product}: not while anything is in bloom, as typed from the label; the last stage noted in {block} is {stage}. Look, at weeds in flower below too.",
		"{product}: nunca con plantas en flor, según lo escrito de la etiqueta; la última etapa anotada en {block} es {stage}. Mire, también las malezas en flor debajo.")
	sayBloomEvening = words.New("spray-check-bloom-evening",
		"{product}: only while bees do not fly, late in the evening, as typed from the label. Look for bees before starting.",
		"{product}: solo cuando las abejas no vuelan, al anochecer, según lo escrito de la etiqueta. Busque abejas antes de empezar.")
	sayHives = words.New("spray-check-hives",
		"{name} stands {metres} m from the ground treated. Tell the beekeeper before spraying, and note that you did.",
		"{name} está a {metres} m del terreno tratado. Avise al apicultor antes de aplicar y anote que lo hizo.")
	sayNoStage      = words.New("spray-no-stage", "none", "ninguna")
	sayREITask      = words.New("spray-check-rei-task", "{product}: for {task} the re-entry time is {hours} h {until}.", "{product}: para {task} el plazo de entrada es de {hours} h {until}.")
	sayRatePattern  = words.New("spray-check-rate-pattern", "{product}: no rate for {pattern} work is typed from its label, so {rate} has no ground to stand on.", "{product}: no hay escrita de su etiqueta una dosis para trabajo {pattern}, así que {rate} no tiene base.")
	sayRateCrop     = words.New("spray-check-rate-crop", "{product}: no rate for the crop of these blocks is typed from its label.", "{product}: no hay escrita de su etiqueta una dosis para el cultivo de estos bloques.")
	sayREICondition = words.New("spray-check-rei-condition", "{product}: nobody enters until: {until}. No clock can tell that.", "{product}: nadie entra hasta: {until}. Ningún reloj lo puede saber.")
	sayClearance    = words.New("spray-check-clearance",
		"The ground treated comes within {feet} ft of {name}, rounded down. {line}",
		"El terreno tratado llega a {feet} pies de {name}, redondeado hacia abajo. {line}")
	sayLineOff   = words.New("spray-line-off", "Its line may lie {metres} m off, as whoever made it says: it may be as near as {feet} ft.", "Su línea puede fallar por {metres} m, según quien la hizo: puede estar a solo {feet} pies.")
	sayLineByEye = words.New("spray-line-by-eye", "Its line was drawn by eye; the distance is no better than the drawing.", "Su línea se dibujó a ojo; la distancia no es mejor que el dibujo.")
)

func (d *drafter) checkSetbacks(ctx context.Context) error {
	if len(d.request.Setbacks) > 0 {
		if w := d.answer.Areas.Withheld; w > 0 {
			d.say("setback", Caution, sayWithheld.With(words.Args{"m2": math.Ceil(float64(w))}), sourceDraft)
		} else {
			d.say("setback", OK, sayNoneWithheld.Plain(), sourceDraft)
		}
	}
	for _, rule := range d.request.Setbacks {
		if !slices.ContainsFunc(d.ground.Around, func(s Surroundings) bool { return rule.Names(s.Feature) }) {
			d.say("setback-none-recorded", Caution, sayNoSuchKind.With(words.Args{"kind": blocks.SurroundingsKind(rule.From).Text()}), sourceTyped)
		}
		d.checkBank(rule)
		if rule.Strip {
			if err := d.checkStrip(ctx, rule); err != nil {
				return err
			}
		}
	}
	for i, label := range d.labels {
		for _, s := range label.Setbacks {
			if err := d.checkLabelSetback(ctx, i, s); err != nil {
				return err
			}
		}
	}
	return nil
}

// checkBank says where the top of a bank is not known. Only what comes near
// matters.
func (d *drafter) checkBank(rule setback.Rule) {
	for _, s := range d.ground.Around {
		if rule.Names(s.Feature) && rule.BankUnknown(s.Feature) && d.nearby(s.ID, rule.Distance+mostBank) {
			d.say("bank", Caution, sayBankUnknown.With(words.Args{"name": d.nameOf(s.ID, s.Kind)}), sourceEdge)
		}
	}
}

// nearby reports whether a block comes that near to a feature.
func (d *drafter) nearby(id string, within geo.Metres) bool {
	return slices.ContainsFunc(d.answer.Distances, func(n Distance) bool { return n.To == id && n.M <= within })
}

// checkLabelSetback holds a distance typed from the label against the draft: where
// ground treated lies within it, and the draft keeps none as wide, it stops and
// shows that ground. A distance with a condition is for people to judge.
func (d *drafter) checkLabelSetback(ctx context.Context, i int, s LabelSetback) error {
	args := words.Args{"product": d.labels[i].Name, "metres": float64(s.Distance), "kind": blocks.SurroundingsKind(s.From).Text()}
	if s.FromEdge == MixingPlace {
		d.say("mixing-place", Caution, sayMixing.With(args), sourceTyped)
		return nil
	}
	d.checkBank(s.Rule)
	if s.Strip && s.Condition == "" {
		if err := d.checkStrip(ctx, s.Rule); err != nil {
			return err
		}
	}
	var broken []finding
	for _, p := range d.plots {
		nearest := d.nearestOf(p, s.Rule)
		if nearest == nil || d.kept(s.Rule) {
			continue
		}
		if s.Condition != "" {
			args["condition"], args["near"] = s.Condition, math.Floor(float64(*nearest))
			d.say("label-setback", Caution, sayCondition.With(args), sourceTyped)
			return nil
		}
		rule := s.Rule
		if rule.Side == setback.Downwind && d.request.WindFrom == nil {
			rule.Side = setback.All // until the wind is said, every side may be it
		}
		zone, err := p.around.Zone(ctx, p.treated, []setback.Rule{rule}, d.request.WindFrom)
		if err != nil {
			return err
		}
		inside, err := overlay.Intersection(ctx, p.treated, zone)
		if err != nil {
			return refuseGround(p.field, err)
		}
		if inside = wide(inside); len(inside) > 0 {
			broken = append(broken, finding{plot: p, ground: inside, worst: inside, value: -float64(*nearest)})
		}
	}
	if len(broken) == 0 {
		return nil
	}
	f := worstOf(broken)
	args["near"] = math.Floor(-f.value + clearanceSlack)
	check := d.found("label-setback", Stop, f, broken)
	check.Source, check.Why = sourceTyped, sayLabelSetback.With(args)
	check.Measured = &Measured{Value: -f.value, Limit: float64(s.Distance), Unit: string(quantity.Metre)}
	d.add(check)
	return nil
}

// nearestOf is how near the plot's treated ground comes to what a rule names, nil
// where that is not within its reach.
func (d *drafter) nearestOf(p *plot, rule setback.Rule) *geo.Metres {
	var nearest *geo.Metres
	for _, s := range d.ground.Around {
		if !rule.Names(s.Feature) {
			continue
		}
		for _, n := range d.answer.Distances {
			m := n.treated()
			if m == nil && closeReach < rule.Reach(s.Feature) {
				m = &n.M
			}
			if n.To == s.ID && n.Block == p.id() && m != nil && *m < rule.Reach(s.Feature) && (nearest == nil || *m < *nearest) {
				nearest = m
			}
		}
	}
	return nearest
}

// kept reports whether the draft keeps a distance at least as wide.
func (d *drafter) kept(want setback.Rule) bool {
	for _, s := range d.ground.Around {
		if want.Names(s.Feature) && !slices.ContainsFunc(d.request.Setbacks, func(r setback.Rule) bool {
			return r.Names(s.Feature) && r.Reach(s.Feature) >= want.Reach(s.Feature) && (r.Side == setback.All || want.Side == setback.Downwind && r.HalfAngle >= want.HalfAngle)
		}) {
			return false
		}
	}
	return true
}

// checkStrip looks for the ground of a strip along what a rule names: all that lies
// within its width of the feature, outside it, and as near to the ground treated as
// the strip is wide beyond the way between them. What of it is on no place marked
// as a kept strip is missing.
func (d *drafter) checkStrip(ctx context.Context, rule setback.Rule) error {
	for _, p := range d.plots {
		for _, s := range d.ground.Around {
			if !rule.Names(s.Feature) || s.Strip || len(p.treated) == 0 {
				continue
			}
			apart := d.treatedApart(p, s.ID)
			if apart == nil || *apart > closeReach {
				continue
			}
			missing, err := p.stripMissing(ctx, s.Feature, rule, *apart, strips(d.ground.Around))
			if err != nil {
				return refuseGround(p.field, err)
			}
			args := words.Args{"metres": float64(rule.Distance), "name": d.nameOf(s.ID, s.Kind), "m2": math.Ceil(float64(missing.Area()))}
			if len(missing) == 0 {
				d.say("strip", OK, sayStripThere.With(args), sourceStrip)
				continue
			}
			f := finding{plot: p, ground: missing, worst: missing}
			check := d.found("strip", Stop, f, []finding{f})
			check.Share = 0 // it is not ground treated
			check.Source, check.Why = sourceStrip, sayStripMissing.With(args)
			d.add(check)
		}
	}
	return nil
}

func (d *drafter) treatedApart(p *plot, id string) *geo.Metres {
	for _, n := range d.answer.Distances {
		if n.To == id && n.Block == p.id() {
			return n.treated()
		}
	}
	return nil
}

// mostStrip is what of a strip may be missing before it is said: less than a stride
// of its drawing.
const mostStrip geo.SquareMetres = 1

func (p *plot) stripMissing(ctx context.Context, f setback.Feature, rule setback.Rule, apart geo.Metres, kept []setback.Feature) (plane.Region, error) {
	shape, err := p.frame.Shape(f.Shape)
	if err != nil {
		return nil, err
	}
	facing, err := buffer.Around(ctx, plane.Shape{Ground: p.treated}, apart+rule.Distance, buffer.Options{})
	if err != nil {
		return nil, err
	}
	want, err := buffer.Around(ctx, shape, rule.Distance, buffer.Options{Within: buffer.TargetOf(plane.Shape{Ground: facing})})
	if err != nil {
		return nil, err
	}
	if want, err = overlay.Intersection(ctx, want, facing); err != nil {
		return nil, err
	}
	away := []plane.Region{shape.Ground}
	for _, k := range kept {
		ground, err := p.frame.Region(k.Shape)
		if err != nil {
			continue // a strip drawn as a line, or far away, is no ground here
		}
		away = append(away, ground)
	}
	for _, ground := range away {
		if want, err = overlay.Difference(ctx, want, ground); err != nil {
			return nil, err
		}
	}
	if want = wide(want); want.Area() < mostStrip {
		return nil, nil
	}
	return want, nil
}

func (d *drafter) checkLabelWind(product string, w Wind, speed float64) {
	if speed < w.Least || w.Most > 0 && speed > w.Most {
		most := any(w.Most)
		if w.Most == 0 {
			most = "…"
		}
		d.add(Check{Rule: "label-wind", Answer: Stop, Source: sourceTyped, Measured: &Measured{Value: speed, Limit: w.Most, Unit: "m/s"},
			Why: sayLabelWindOver.With(words.Args{"product": product, "wind": short(math.Round(speed*100) / 100), "least": w.Least, "most": most})})
	}
}

// checkValid holds the day against the days the label may be used.
func (d *drafter) checkValid(label Product) {
	day := d.today()
	if day.IsZero() {
		return
	}
	open := func(t time.Time) any {
		if t.IsZero() {
			return sayAnyDay.Plain()
		}
		return t.Format(time.DateOnly)
	}
	v := label.Valid
	if day.Before(v.From) || !v.Until.IsZero() && day.After(v.Until) {
		d.say("label-valid", Stop, sayNotYet.With(words.Args{"product": label.Name, "from": open(v.From), "until": open(v.Until), "day": day.Format(time.DateOnly)}), sourceTyped)
	}
	if s := label.Season; s != nil && !s.Holds(day) {
		d.say("label-season", Stop, saySeason.With(words.Args{"product": label.Name, "from": s.From.String(), "until": s.To.String(), "day": day.Format(time.DateOnly)}), sourceTyped)
	}
}

// checkCarrier holds the spray against the least the label asks for, its own or
// that of its rates for this pattern.
func (d *drafter) checkCarrier(label Product) {
	var all []Carrier
	if label.Carrier != nil {
		all = append(all, *label.Carrier)
	}
	fit, _ := d.ratesFor(label)
	for _, r := range fit {
		if r.Carrier != nil {
			all = append(all, *r.Carrier)
		}
	}
	for _, c := range all {
		args := words.Args{"product": label.Name, "least": shown(c.Value, c.Rate)}
		asked := d.request.Carrier
		if asked == nil {
			d.say("carrier", Caution, sayCarrierNone.With(args), sourceTyped)
			continue
		}
		least, ok := c.As(asked.Unit, asked.Per)
		args["carrier"] = shown(asked.Value, *asked)
		switch {
		case !ok:
			d.say("carrier", Caution, sayCarrierNone.With(args), sourceTyped)
		case asked.Value*capSlack < least:
			d.add(Check{Rule: "carrier", Answer: Stop, Why: sayCarrierLow.With(args), Source: sourceTyped,
				Measured: &Measured{Value: asked.Value, Limit: least, Unit: string(asked.Unit) + "/" + string(asked.Per)}})
		}
	}
}

// checkBees holds what labels say of bloom against the stages noted, and names
// hives nearby.
func (d *drafter) checkBees() {
	for _, label := range d.labels {
		switch label.Bloom {
		case BloomEvening:
			d.say("bloom", Caution, sayBloomEvening.With(words.Args{"product": label.Name}), sourceBees)
		case BloomNever:
			for _, p := range d.plots {
				d.checkBloom(label, p)
			}
		}
	}
	if len(d.labels) == 0 {
		return
	}
	for _, n := range d.answer.Distances {
		if m := n.treated(); m != nil && blocks.SurroundingsKind(n.Kind) == blocks.Hives {
			d.say("hives", Caution, sayHives.With(words.Args{"name": d.nameOf(n.To, n.Kind), "metres": math.Floor(float64(*m))}), sourceBees)
		}
	}
}

// bloomReach is how long a noted stage is taken for today's.
const bloomReach = 21 * 24 * time.Hour

func (d *drafter) checkBloom(label Product, p *plot) {
	args := words.Args{"product": label.Name, "block": p.called(), "stage": sayNoStage.Plain()}
	day := d.today()
	for _, s := range slices.Backward(p.block.Stages) {
		if !day.IsZero() && s.On.After(day) {
			continue
		}
		args["stage"], args["date"] = s.Stage+" ("+s.On.Format(time.DateOnly)+")", s.On.Format(time.DateOnly)
		if (day.IsZero() || day.Sub(s.On) <= bloomReach) && inBloom(s) {
			args["stage"] = s.Stage
			d.say("bloom", Stop, sayInBloom.With(args), sourceBees)
			return
		}
		break
	}
	d.say("bloom", Caution, sayBloomUnknown.With(args), sourceBees)
}

// inBloom by the two-digit soft-fruit scale, 60 to 69, or by the words noted.
func inBloom(s scouting.Stage) bool {
	if s.BBCH != nil {
		return *s.BBCH >= 60 && *s.BBCH <= 69
	}
	said := strings.ToLower(s.Stage)
	open := strings.Contains(said, "bloom") || strings.Contains(said, "flower") || strings.Contains(said, "flor")
	return open && !strings.Contains(said, "pre") && !strings.Contains(said, "post")
}

// checkByEye names how near the treated ground comes to what setbacks hang on, in
// feet rounded down, and how good its line is.
func (d *drafter) checkByEye() {
	for _, s := range d.ground.Around {
		used := slices.ContainsFunc(d.request.Setbacks, func(r setback.Rule) bool { return r.Names(s.Feature) })
		for _, label := range d.labels {
			used = used || slices.ContainsFunc(label.Setbacks, func(r LabelSetback) bool { return r.Names(s.Feature) })
		}
		if !used {
			continue
		}
		var nearest *Distance
		for i, n := range d.answer.Distances {
			if n.To == s.ID && n.Treated != nil && (nearest == nil || n.Treated.M < nearest.Treated.M) {
				nearest = &d.answer.Distances[i]
			}
		}
		name := d.nameOf(s.ID, s.Kind)
		switch {
		case nearest != nil:
			d.sayClearance(s, *nearest, name)
		case s.DrawnByEye && d.nearby(s.ID, nearReach):
			d.say("drawn-by-eye", Caution, sayByEye.With(words.Args{"name": name}), sourceTyped)
		}
	}
}

func (d *drafter) sayClearance(s Surroundings, n Distance, name string) {
	args := words.Args{"feet": n.Treated.FeetDown(), "name": name, "line": ""}
	rule, verdict := "clearance", OK
	switch {
	case s.Accuracy > 0:
		worst := Clearance{M: max(0, n.Treated.M-s.Accuracy)}
		args["line"] = sayLineOff.With(words.Args{"metres": float64(s.Accuracy), "feet": worst.FeetDown()})
		rule, verdict = "drawn-by-eye", Caution
	case s.DrawnByEye:
		args["line"] = sayLineByEye.Plain()
		rule, verdict = "drawn-by-eye", Caution
	}
	at := n.Treated.Nearest.Ground
	d.add(Check{Rule: rule, Answer: verdict, Why: sayClearance.With(args), Source: sourceTyped, Block: n.Block, At: &at,
		Measured: &Measured{Value: float64(n.Treated.FeetDown()), Unit: string(quantity.Foot)}})
}
