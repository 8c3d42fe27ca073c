package spray

import (
	"slices"
	"strings"

	"caneward/blocks/words"
)

// Form is how a product comes, as labels abbreviate it.
type Form string

// The forms, in the order they go into the tank (Purdue PPP-122, Virginia Tech
// BSE-351P and a Manitoba guide's order).
const (
	SolubleBag   Form = "water-soluble-bag"
	Conditioner  Form = "conditioner"
	Powder       Form = "wettable-powder"
	DryFlowable  Form = "dry-granule"
	Flowable     Form = "flowable"
	Emulsifiable Form = "emulsifiable"
	Surfactant   Form = "surfactant"
	Solution     Form = "solution"
)

// Forms lists them in mixing order.
var Forms = []Form{SolubleBag, Conditioner, Powder, DryFlowable, Flowable, Emulsifiable, Surfactant, Solution}

var (
	sayMixWater = words.New("spray-mix-water", "Fill the tank half with water and agitate. The label's order comes first.", "Llene medio tanque de agua y agite. Primero vale el orden de la etiqueta.")
	sayMixOne   = words.New("spray-mix-one", "{product} ({form}); let it disperse before the next.", "{product} ({form}); deje que se disperse antes del siguiente.")
	sayMixPlain = words.New("spray-mix-unknown", "{product}: how it comes is not typed; find its turn on the label: bags, conditioners, wettable powders and dry granules, flowables, emulsifiables, surfactants and solutions.", "{product}: no está escrito cómo viene; busque su turno en la etiqueta: bolsas, acondicionadores, polvos mojables y gránulos secos, suspensiones, emulsionables, surfactantes y soluciones.")
	sayMixFill  = words.New("spray-mix-fill", "Finish filling while agitating. Try a new mixture in a jar first.", "Termine de llenar agitando. Pruebe antes una mezcla nueva en un frasco.")
)

var formNames = map[Form]words.Message{
	SolubleBag:   words.New("spray-form-bag", "water-soluble bag", "bolsa hidrosoluble"),
	Conditioner:  words.New("spray-form-conditioner", "water conditioner", "acondicionador de agua"),
	Powder:       words.New("spray-form-powder", "wettable powder", "polvo mojable"),
	DryFlowable:  words.New("spray-form-dry-granule", "dry granule", "gránulo seco"),
	Flowable:     words.New("spray-form-flowable", "flowable", "suspensión"),
	Emulsifiable: words.New("spray-form-emulsifiable", "emulsifiable", "emulsionable"),
	Surfactant:   words.New("spray-form-surfactant", "surfactant", "surfactante"),
	Solution:     words.New("spray-form-solution", "solution", "solución"),
}

// suffixes are the letters a name ends in where the form was not typed: "20WG".
var suffixes = []struct {
	letters string
	form    Form
}{{"WSP", SolubleBag}, {"WSB", SolubleBag}, {"WP", Powder}, {"WDG", DryFlowable}, {"WG", DryFlowable}, {"DG", DryFlowable}, {"DF", DryFlowable}, {"SC", Flowable}, {"EC", Emulsifiable}, {"EW", Emulsifiable}, {"SL", Solution}}

// FormOf is the product's form: as typed, else by the letters its name ends in; ""
// when neither tells.
func (p Product) FormOf() Form {
	if p.Form != "" {
		return p.Form
	}
	name := strings.ToUpper(strings.TrimSpace(p.Name))
	for _, s := range suffixes {
		if strings.HasSuffix(name, s.letters) {
			return s.form
		}
	}
	return ""
}

// mix is the reminder in which order the products go into the tank.
func (d *drafter) mix() {
	if len(d.labels) == 0 || d.request.Carrier == nil {
		return
	}
	order := slices.Clone(d.labels)
	slices.SortStableFunc(order, func(a, b Product) int { return turn(a) - turn(b) })
	out := []words.Text{sayMixWater.Plain()}
	for _, p := range order {
		args := words.Args{"product": p.Name}
		if form := p.FormOf(); form != "" {
			args["form"] = formNames[form].Plain()
			out = append(out, sayMixOne.With(args))
			continue
		}
		out = append(out, sayMixPlain.With(args))
	}
	d.answer.Mixing = append(out, sayMixFill.Plain())
}

func turn(p Product) int {
	if i := slices.Index(Forms, p.FormOf()); i >= 0 {
		return i
	}
	return len(Forms)
}
