package scouting

import (
	"slices"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
)

// Cause is what a find is of. The values are fixed: removing a plant for the
// wrong one cannot be undone, so none of them is "rust" or "gall" alone.
type Cause string

// The causes.
const (
	OrangeRust    Cause = "orange-rust"
	CaneLeafRust  Cause = "cane-leaf-rust"
	LateLeafRust  Cause = "late-leaf-rust"
	YellowRust    Cause = "yellow-rust"
	CrownGall     Cause = "crown-gall"
	CaneBorerGall Cause = "cane-borer-gall"
	Other         Cause = "other"
)

// Causes lists every cause in the order screens show them.
var Causes = []Cause{OrangeRust, CaneLeafRust, LateLeafRust, YellowRust, CrownGall, CaneBorerGall, Other}

// State is how far the proof of a find has come.
type State string

// The states.
const (
	Suspected State = "suspected"
	Sampled   State = "sampled"
	Confirmed State = "confirmed"
	Refuted   State = "refuted"
)

// States lists every state in the order a find goes through them.
var States = []State{Suspected, Sampled, Confirmed, Refuted}

// Severity is the class a scout gives a find, 0 to 3 (severity classes of
// yellow rust surveys on raspberry, Washington State scouting guide).
type Severity int

// MaxSeverity is the highest class.
const MaxSeverity Severity = 3

var (
	causeNames = map[Cause]words.Message{
		OrangeRust:    words.New("scouting-orange-rust", "orange rust", "roya naranja"),
		CaneLeafRust:  words.New("scouting-cane-leaf-rust", "cane and leaf rust", "roya de cañas y hojas"),
		LateLeafRust:  words.New("scouting-late-leaf-rust", "late leaf rust", "roya tardía de la hoja"),
		YellowRust:    words.New("scouting-yellow-rust", "yellow rust of raspberry", "roya amarilla de la frambuesa"),
		CrownGall:     words.New("scouting-crown-gall", "crown or cane gall (bacteria)", "agalla de la corona o de la caña (bacteria)"),
		CaneBorerGall: words.New("scouting-cane-borer-gall", "gall of the rednecked cane borer (beetle)", "agalla del barrenador de la caña (escarabajo)"),
		Other:         words.New("scouting-other", "something else", "otra cosa"),
	}
	stateNames = map[State]words.Message{
		Suspected: words.New("scouting-suspected", "suspected", "sospechado"),
		Sampled:   words.New("scouting-sampled", "sample sent", "con muestra"),
		Confirmed: words.New("scouting-confirmed", "confirmed", "confirmado"),
		Refuted:   words.New("scouting-refuted", "refuted", "descartado"),
	}
	severityNames = []words.Message{
		words.New("scouting-severity-0", "0, none", "0, nada"),
		words.New("scouting-severity-1", "1, light", "1, leve"),
		words.New("scouting-severity-2", "2, moderate", "2, moderado"),
		words.New("scouting-severity-3", "3, severe", "3, grave"),
	}

	// What is to be done, by cause: extension guidance as gathered in the trade
	// notes (Ohio State PLPATH-FRU-30, Penn State bramble articles, Kentucky and
	// Pacific Northwest handbooks); the choice stays the grower's and the
	// adviser's.
	causeAdvice = map[Cause]words.Message{
		OrangeRust: words.New("scouting-advice-orange-rust",
			"Systemic: a confirmed plant stays infected for life; guidance is to dig it whole, roots and suckers too, before the pustules open. Cutting is not removal.",
			"Sistémica: una planta confirmada queda infectada de por vida; lo indicado es arrancarla entera, con raíces y retoños, antes de que se abran las pústulas. Cortar no es eliminar."),
		CaneLeafRust: words.New("scouting-advice-cane-leaf-rust",
			"Local, not systemic: guidance is sanitation and fungicide; the plant stays. It is easily taken for orange rust: plants dug by mistake cannot be put back.",
			"Local, no sistémica: lo indicado es limpieza y fungicida; la planta se queda. Se confunde con la roya naranja: una planta arrancada por error no se recupera."),
		LateLeafRust: words.New("scouting-advice-late-leaf-rust",
			"Local, not systemic: guidance is sanitation and fungicide; the plant stays.",
			"Local, no sistémica: lo indicado es limpieza y fungicida; la planta se queda."),
		YellowRust: words.New("scouting-advice-yellow-rust",
			"Local and usually tolerable: guidance is sanitation and early fungicide; the plant stays.",
			"Local y por lo general tolerable: lo indicado es limpieza y fungicida temprano; la planta se queda."),
		CrownGall: words.New("scouting-advice-crown-gall",
			"Bacteria that stay in the soil for years: guidance is to remove and destroy the plant and clean the tools; no threshold is established.",
			"Bacterias que quedan años en el suelo: lo indicado es eliminar y destruir la planta y limpiar las herramientas; no hay umbral establecido."),
		CaneBorerGall: words.New("scouting-advice-cane-borer-gall",
			"A beetle's larva in the cane: guidance is to prune below the gall and destroy the cane; the plant stays.",
			"Una larva de escarabajo dentro de la caña: lo indicado es podar por debajo de la agalla y destruir la caña; la planta se queda."),
		Other: words.New("scouting-advice-other",
			"Nothing is known here about this cause: ask an adviser before any plant is removed.",
			"Aquí no se sabe nada de esta causa: consulte a un asesor antes de eliminar plantas."),
	}

	whichGall = words.New("scouting-which-gall",
		"Which gall? crown-gall is bacteria (rough, woody, at the crown; the plant goes); cane-borer-gall is a beetle (smooth spindle on the cane; the cane is pruned).",
		"¿Qué agalla? crown-gall es de bacterias (áspera, leñosa, en la corona; se elimina la planta); cane-borer-gall es de un escarabajo (huso liso en la caña; se poda la caña).")
	whichRust = words.New("scouting-which-rust",
		"Which rust? orange-rust (systemic, leaves only), cane-leaf-rust (yellow, canes and leaves of blackberry), late-leaf-rust (raspberry, from July) or yellow-rust (raspberry, upper leaf face).",
		"¿Qué roya? orange-rust (sistémica, solo hojas), cane-leaf-rust (amarilla, cañas y hojas de zarzamora), late-leaf-rust (frambuesa, desde julio) o yellow-rust (frambuesa, cara superior de la hoja).")
	otherOrganism = words.New("scouting-other-organism",
		"{organism} belongs to “{cause}”.",
		"{organism} corresponde a «{cause}».")
	fixOrganism = words.New("scouting-fix-organism",
		"Change the cause or the organism so that both name one disease.",
		"Cambie la causa o el organismo para que ambos nombren la misma enfermedad.")
)

// organisms are the scientific names by cause (trade notes 2.1 and 2.3, from
// Ohio State, Pacific Northwest and Purdue extension pages).
var organisms = map[Cause][]string{
	OrangeRust:    {"Gymnoconia nitens", "Arthuriomyces peckianus"},
	CaneLeafRust:  {"Kuehneola uredinis"},
	LateLeafRust:  {"Pucciniastrum americanum"},
	YellowRust:    {"Phragmidium rubi-idaei"},
	CrownGall:     {"Agrobacterium tumefaciens", "Agrobacterium rubi"},
	CaneBorerGall: {"Agrilus ruficollis"},
}

// Organisms are the scientific names a cause goes by, none for Other.
func Organisms(c Cause) []string { return slices.Clone(organisms[c]) }

// CauseName is the cause in people's words; empty for an unknown one.
func CauseName(c Cause) words.Text { return causeNames[c].Plain() }

// CauseAdvice says what extension guidance does about the cause.
func CauseAdvice(c Cause) words.Text { return causeAdvice[c].Plain() }

// PlantGoes is whether guidance for the cause removes the plant. For the other
// causes a list of confirmed plants is no list of plants to dig.
func PlantGoes(c Cause) bool { return c == OrangeRust || c == CrownGall }

// StateName is the state in people's words; empty for an unknown one.
func StateName(s State) words.Text { return stateNames[s].Plain() }

// SeverityName is the class in people's words; empty outside 0 to 3.
func SeverityName(s Severity) words.Text {
	if s < 0 || int(s) >= len(severityNames) {
		return words.Text{}
	}
	return severityNames[s].Plain()
}

// readCause asks back where the word given names more than one disease.
func readCause(r fields.Reader) Cause {
	if !r.Need("cause") {
		return ""
	}
	s := r.Text("cause")
	if slices.Contains(Causes, Cause(s)) {
		return Cause(s)
	}
	switch low := strings.ToLower(s); {
	case strings.Contains(low, "gall"), strings.Contains(low, "agalla"):
		r.Fault("cause", whichGall.Plain())
	case strings.Contains(low, "rust"), strings.Contains(low, "roya"):
		r.Fault("cause", whichRust.Plain())
	default:
		return fields.Choose(r, "cause", Causes)
	}
	return ""
}

// readOrganism refuses the name of another cause's organism; names this table
// does not know are the writer's own.
func readOrganism(r fields.Reader, c Cause) string {
	name := r.Text("organism")
	for _, other := range Causes {
		if other == c || c == "" {
			continue
		}
		if slices.ContainsFunc(organisms[other], func(known string) bool { return strings.EqualFold(known, name) }) {
			r.Add(fault.Detail{Field: "organism", Fix: fixOrganism.Plain(),
				Text: otherOrganism.With(words.Args{"organism": fields.Shorten(name), "cause": CauseName(other)})})
		}
	}
	return name
}

// Step says what a change of state is.
type Step int

// The steps.
const (
	Impossible Step = iota
	Ordinary        // the way a find goes, or no change
	Correction      // takes back a proof: it needs a reason
)

// StepOf is what going from one state to another means. A new find comes from
// the empty state and may start in any: a laboratory's list is typed in late.
func StepOf(from, to State) Step {
	if !slices.Contains(States, to) {
		return Impossible
	}
	switch {
	case from == "" || from == to, from == Suspected:
		return Ordinary
	case from == Sampled && to != Suspected:
		return Ordinary
	case slices.Contains(States, from):
		return Correction
	}
	return Impossible
}
