// Package programme is what is counted on a walk, how many of it must be looked
// at, and what the count then says: above the action level, below it, or not
// to be told yet. Programmes are data. The list here is where a farm begins;
// its own list of changes stands in a document of the farm.
package programme

import (
	"slices"

	"caneward/blocks/words"
)

// Method is how limits are taken.
type Method string

// The methods.
const (
	// Share: each thing looked at shows it or not; hits never exceed the sample.
	Share Method = "binomial"
	// Mean: each look may show several, as weevils a beat or larvae a fruit.
	Mean Method = "poisson"
)

// Programme is one thing to count.
type Programme struct {
	ID    string // lower-case letters, digits, hyphens
	Cause string // as in finds, or a pest's name in the same form
	Title words.Text
	Stage words.Text // when: growth stage or months
	What  words.Text // what is a hit
	Unit  words.Text // what is looked at, plural
	// Sample is the rule in words; Look and Sites are its numbers, 0 where it
	// gives none.
	Sample      words.Text
	Look, Sites int
	// Level is the action level as a share or a mean of one unit looked at (0.01
	// is 1 %); nil where none is established. AtLeast: reaching it counts.
	Level   *float64
	AtLeast bool
	// Any: the rule is that one hit in the sample is enough; it has no Level.
	Any bool
	// Sides is how the interval is cut: 2 leaves half of what Sureness leaves
	// outside at each end, 1 all of it at the end that is asked about.
	Sides    int
	Sureness float64
	Method   Method
	Note     words.Text
	Source   words.Text // never empty: CommonPractice where nothing was published
	Own      bool       // the farm's own words, or its change of a built-in one
}

// CommonPractice marks what has no published source.
var CommonPractice = words.New("programme-common-practice", "common practice", "práctica común")

// Sureness is how sure an answer is unless a programme says otherwise.
const Sureness = 0.95

func level(v float64) *float64 { return &v }

func text(key, english, spanish string) words.Text {
	return words.New("programme-"+key, english, spanish).Plain()
}

func source(s string) words.Text { return words.Verbatim(s) }

var (
	clusters = text("clusters", "clusters", "racimos")
	beats    = text("beats", "beats", "golpes")
	canes    = text("canes", "canes", "cañas")
	hills    = text("hills", "hills", "matas")
	plants   = text("plants", "plants", "plantas")
	traps    = text("traps", "traps", "trampas")
	fruits   = text("fruits", "fruits", "frutos")
	buds     = text("buds", "buds or shoots", "yemas o brotes")

	bloom    = text("stage-bloom", "from the first open flowers (BBCH 60), weekly", "desde las primeras flores abiertas (BBCH 60), cada semana")
	dormant  = text("stage-dormant", "dormant, March (BBCH 00)", "reposo, marzo (BBCH 00)")
	leafOut  = text("stage-leaf-out", "leaf-out (BBCH 10 to 15), weekly", "brotación (BBCH 10 a 15), cada semana")
	ripening = text("stage-ripening", "from first colour to the end of harvest (BBCH 81 to 89), weekly", "desde el primer color hasta el fin de la cosecha (BBCH 81 a 89), cada semana")
)

// BuiltIn is the list a farm begins with, in the order screens show it. Stage
// codes are from memory of the soft-fruit scale; the other figures stand with
// their source.
func BuiltIn() []Programme { return slices.Clone(builtIn) }

var builtIn = []Programme{
	{ID: "clipped-buds", Cause: "clipper-weevil", Stage: bloom, Unit: clusters, Look: 100, Level: level(0.01), Sides: 2, Method: Share,
		Title:  text("clipped-buds", "Clipped buds", "Botones cortados"),
		What:   text("clipped-buds-what", "clusters with a clipped bud", "racimos con un botón cortado"),
		Sample: text("clipped-buds-sample", "Look at 100 clusters, the field's edge among them.", "Revise 100 racimos, también en la orilla del campo."),
		Note:   text("clipped-buds-note", "Any new clipping since the last look also calls for action; treatment is repeated every 10 days while weevils or fresh damage are found. Activity is highest in the outer 30 ft (New York State IPM 1997, strawberry).", "Cualquier corte nuevo desde la última revisión también pide actuar; se repite cada 10 días mientras haya picudos o daño fresco. La actividad es mayor en los 30 pies de la orilla (New York State IPM 1997, fresa).")},
	{ID: "weevil-beats", Cause: "clipper-weevil", Stage: bloom, Unit: beats, Look: 100, Any: true, Sides: 2, Method: Mean,
		Title:  text("weevil-beats", "Weevils on the tray", "Picudos en la bandeja"),
		What:   text("weevil-beats-what", "weevils that fell", "picudos caídos"),
		Sample: text("weevil-beats-sample", "Tap 100 clusters onto a pale tray.", "Golpee 100 racimos sobre una bandeja clara.")},
	{ID: "weevil-traps", Cause: "clipper-weevil", Stage: bloom, Unit: traps, Sides: 2, Method: Mean,
		Title:  text("weevil-traps", "Weevils on white sticky traps", "Picudos en trampas pegajosas blancas"),
		What:   text("weevil-traps-what", "weevils caught", "picudos atrapados"),
		Sample: text("weevil-traps-sample", "Read every white sticky trap.", "Lea cada trampa pegajosa blanca."),
		Source: source("ASHS meeting abstract on raspberry clipper, Maine 2004-05: white sticky traps tracked the weevil best; no level")},
	{ID: "galled-canes", Cause: "cane-borer-gall", Stage: dormant, Unit: canes, Level: level(0.05), Sides: 2, Method: Share,
		Title:  text("galled-canes", "Galled canes", "Cañas con agallas"),
		What:   text("galled-canes-what", "canes with a smooth spindle gall", "cañas con una agalla lisa en huso"),
		Sample: text("galled-canes-sample", "Look at canes of plants spread over the block.", "Revise cañas de plantas repartidas por el bloque."),
		Note:   text("galled-canes-note", "Above: galled canes are pruned out and burned, where burning is allowed; still above on 1 April: a soil drench is considered, by the label. Rough woody galls at the crown are another thing: crown gall.", "Por encima: se podan y queman las cañas con agallas, donde se permita quemar; si el 1 de abril sigue por encima: se considera un riego al suelo, según la etiqueta. Las agallas ásperas y leñosas en la corona son otra cosa: agalla de la corona.")},
	{ID: "infested-canes", Cause: "cane-borer-gall", Stage: dormant, Unit: canes, Level: level(0.10), Sides: 2, Method: Share,
		Title:  text("infested-canes", "Canes infested by the cane borer, the other figure", "Cañas infestadas por el barrenador, la otra cifra"),
		What:   text("infested-canes-what", "infested canes", "cañas infestadas"),
		Sample: text("infested-canes-sample", "Look at canes of plants spread over the block.", "Revise cañas de plantas repartidas por el bloque."),
		Note:   text("infested-canes-note", "Sources disagree: 5 % in practice, more than 10 % here before an insecticide is considered.", "Las fuentes no coinciden: 5 % en la práctica, más de 10 % aquí antes de considerar un insecticida."),
		Source: source("Entomological Society of America annual meeting 2010, abstract 0434")},
	{ID: "leafroller-hills", Cause: "leafroller", Unit: hills, Look: 100, Sites: 5, Level: level(0.10), AtLeast: true, Sides: 2, Method: Share,
		Title:  text("leafroller-hills", "Hills with leafroller", "Matas con enrollador"),
		Stage:  text("stage-leafroller", "shoots 6 in to pre-bloom, April and May", "brotes de 15 cm hasta antes de la floración, abril y mayo"),
		What:   text("leafroller-hills-what", "infested hills", "matas infestadas"),
		Sample: text("leafroller-hills-sample", "Look at 20 hills at each of 5 sites.", "Revise 20 matas en cada uno de 5 sitios."),
		Note:   text("leafroller-hills-note", "The level is a starting value.", "El nivel es un valor de partida."),
		Source: source("Washington State University, Whatcom County, raspberry IPM manual")},
	{ID: "yellow-rust-hills", Cause: "yellow-rust", Unit: hills, Look: 30, Sites: 3, Sides: 2, Method: Share,
		Title:  text("yellow-rust-hills", "Hills with yellow rust", "Matas con roya amarilla"),
		Stage:  text("stage-yellow-rust", "April to early June", "de abril a principios de junio"),
		What:   text("yellow-rust-hills-what", "hills with pustules", "matas con pústulas"),
		Sample: text("yellow-rust-hills-sample", "3 to 5 sites a field, 10 to 20 hills at each, 3 to 5 hills apart, both sides.", "De 3 a 5 sitios por campo, de 10 a 20 matas en cada uno, con 3 a 5 matas de separación, por ambos lados."),
		Note:   text("yellow-rust-hills-note", "Give each hill a severity class 0 to 3 as well.", "Dé también a cada mata una clase de gravedad de 0 a 3."),
		Source: source("Washington State University, Whatcom County, yellow rust page; no level given")},
	{ID: "orange-rust-plants", Cause: "orange-rust", Stage: leafOut, Unit: plants, Any: true, Sides: 1, Method: Share,
		Title:  text("orange-rust-plants", "Plants that look like orange rust", "Plantas que parecen tener roya naranja"),
		What:   text("orange-rust-plants-what", "plants with the signs", "plantas con los síntomas"),
		Sample: text("orange-rust-plants-sample", "Look at every plant of every row.", "Revise cada planta de cada hilera."),
		Note:   text("orange-rust-plants-note", "What is seen is a suspicion: confirm it before any plant is removed. A clean spring does not clear a block.", "Lo que se ve es una sospecha: confírmela antes de eliminar plantas. Una primavera limpia no libra al bloque."),
		Source: source("Ontario Ministry of Agriculture crop IPM, orange rust: no threshold established")},
	{ID: "crown-gall-plants", Cause: "crown-gall", Stage: leafOut, Unit: plants, Any: true, Sides: 1, Method: Share,
		Title:  text("crown-gall-plants", "Plants that look like crown gall", "Plantas que parecen tener agalla de la corona"),
		What:   text("crown-gall-plants-what", "plants with rough galls", "plantas con agallas ásperas"),
		Sample: text("crown-gall-plants-sample", "Look at every plant of every row, at the soil line.", "Revise cada planta de cada hilera, a ras del suelo."),
		Source: source("Ontario Ministry of Agriculture crop IPM, crown and cane gall: no threshold established")},
	{ID: "cutworm-buds", Cause: "cutworm", Unit: buds, Sides: 2, Method: Share,
		Title:  text("cutworm-buds", "Buds eaten by cutworm", "Yemas comidas por gusanos cortadores"),
		Stage:  text("stage-bud-break", "bud break, green tip (BBCH 07 to 09)", "apertura de yemas, punta verde (BBCH 07 a 09)"),
		What:   text("cutworm-buds-what", "buds or shoots eaten", "yemas o brotes comidos"),
		Sample: text("cutworm-buds-sample", "Look at 5 buds or shoots of each hill.", "Revise 5 yemas o brotes de cada mata."),
		Source: source("Washington State University, Whatcom County, raspberry IPM manual; no level known here")},
	{ID: "fly-traps", Cause: "spotted-wing-drosophila", Unit: traps, Any: true, Sides: 1, Method: Mean,
		Title:  text("fly-traps", "Spotted-wing drosophila in traps", "Drosophila de alas manchadas en trampas"),
		Stage:  text("stage-before-colour", "from before first colour (BBCH 79)", "desde antes del primer color (BBCH 79)"),
		What:   text("fly-traps-what", "flies caught", "moscas atrapadas"),
		Sample: text("fly-traps-sample", "Read every trap.", "Lea cada trampa."),
		Note:   text("fly-traps-note", "Once fruit ripens and the fly is confirmed, the source repeats sprays after 5 to 7 days; look at PHI and REI daily.", "Cuando madura la fruta y se confirma la mosca, la fuente repite aplicaciones a los 5 a 7 días; revise PHI y REI cada día."),
		Source: source("Cornell berry blog, 30 July 2021")},
	{ID: "fruit-larvae", Cause: "spotted-wing-drosophila", Stage: ripening, Unit: fruits, Look: 25, Sides: 2, Method: Mean,
		Title:  text("fruit-larvae", "Larvae in fruit, salt float", "Larvas en fruta, flotación en sal"),
		What:   text("fruit-larvae-what", "larvae that came out", "larvas que salieron"),
		Sample: text("fruit-larvae-sample", "10 to 25 berries in 1 cup of salt a gallon of water, 15 minutes.", "De 10 a 25 frutos en 1 taza de sal por galón de agua, 15 minutos."),
		Source: source("Cornell berry blog, 30 July 2021; no level given")},
	{ID: "stink-bug-beats", Cause: "stink-bug", Unit: beats, Sides: 2, Method: Mean,
		Title:  text("stink-bug-beats", "Stink bugs shaken off canes", "Chinches sacudidas de las cañas"),
		Stage:  text("stage-petal-fall", "from petal fall (BBCH 69), several times a week near ripening", "desde la caída de pétalos (BBCH 69), varias veces por semana cerca de la maduración"),
		What:   text("stink-bug-beats-what", "bugs and nymphs that fell", "chinches y ninfas caídas"),
		Sample: text("stink-bug-beats-sample", "Shake canes over a cloth or tray.", "Sacuda cañas sobre una tela o bandeja."),
		Source: source("Utah State University, protecting raspberries; no level published for brambles was found")},
	{ID: "stink-bug-traps", Cause: "stink-bug", Unit: traps, Sides: 2, Method: Mean,
		Title:  text("stink-bug-traps", "Stink bugs in pyramid traps", "Chinches en trampas de pirámide"),
		Stage:  text("stage-petal-fall-traps", "from petal fall (BBCH 69)", "desde la caída de pétalos (BBCH 69)"),
		What:   text("stink-bug-traps-what", "bugs caught", "chinches atrapadas"),
		Sample: text("stink-bug-traps-sample", "Read every baited black pyramid trap on the ground.", "Lea cada trampa negra de pirámide con cebo en el suelo."),
		Source: source("USDA Agricultural Research Service, 18 January 2013; no level given")},
}

func init() {
	for i := range builtIn {
		p := &builtIn[i]
		p.Sureness = Sureness
		if p.Source.Empty() {
			p.Source = CommonPractice.Plain()
		}
	}
}
