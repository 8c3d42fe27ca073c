package scouting

import (
	"slices"
	"strings"
	"unicode"

	"caneward/blocks/words"
)

// Candidate is one thing a name may mean, with what tells it from the others.
type Candidate struct {
	Cause     Cause
	Organisms []string   // empty for Other
	Hosts     words.Text // what it lives on
	Signs     words.Text // what to look at
	When      words.Text
	Source    words.Text
}

// Naming is what a name that people use may mean.
type Naming struct {
	Ask        bool // it means more than one thing: somebody must say which
	Question   words.Text
	Candidates []Candidate
}

func sign(key, english, spanish string) words.Text {
	return words.New("scouting-"+key, english, spanish).Plain()
}

// What tells them apart: the trade notes 2.1 and 2.3, each with the pages they
// were gathered from.
var candidates = map[Cause]Candidate{
	OrangeRust: {
		Hosts:  sign("hosts-orange-rust", "blackberry, dewberry, black and purple raspberry; not red raspberry", "zarzamora, zarza rastrera, frambuesa negra y morada; no la frambuesa roja"),
		Signs:  sign("signs-orange-rust", "Weak spindly clustered shoots, pale narrow leaves, few spines, no bloom; then bright orange spores, waxy at first, on the underside of leaves only, strongest at the margins; leaves cup.", "Brotes débiles y apiñados, hojas pálidas y angostas, pocas espinas, sin flor; luego esporas de color naranja vivo, cerosas al principio, solo en el envés de las hojas, más en los bordes; las hojas se acopan."),
		When:   sign("when-orange-rust", "early spring, from leaf-out; hard to tell by summer", "a principios de primavera, desde la brotación; difícil de ver en verano"),
		Source: words.Verbatim("Ohio State PLPATH-FRU-30; UC IPM, caneberry rusts; Ontario crop IPM")},
	CaneLeafRust: {
		Hosts:  sign("hosts-cane-leaf-rust", "blackberry; raspberry rarely", "zarzamora; rara vez frambuesa"),
		Signs:  sign("signs-cane-leaf-rust", "Lemon-yellow pustules that split the bark of floricanes, then yellow spores on the underside of leaves: on canes and leaves.", "Pústulas amarillo limón que rajan la corteza de las cañas viejas, luego esporas amarillas en el envés: en cañas y hojas."),
		When:   sign("when-cane-leaf-rust", "from mid-April", "desde mediados de abril"),
		Source: words.Verbatim("UC IPM, caneberry rusts; Univ. of Kentucky PPFS-FR-S-06")},
	LateLeafRust: {
		Hosts:  sign("hosts-late-leaf-rust", "red and purple raspberry", "frambuesa roja y morada"),
		Signs:  sign("signs-late-leaf-rust", "Small spots on older lower leaves, pale yellow spores underneath; on fruit too.", "Manchas pequeñas en hojas bajas y viejas, esporas amarillo pálido en el envés; también en la fruta."),
		When:   sign("when-late-leaf-rust", "July onward", "desde julio"),
		Source: words.Verbatim("UC IPM, caneberry rusts")},
	YellowRust: {
		Hosts:  sign("hosts-yellow-rust", "among the main caneberries red raspberry alone", "entre las principales, solo la frambuesa roja"),
		Signs:  sign("signs-yellow-rust", "Yellow-orange spots, then rings, on the upper face of leaves; orange or yellow spores below from June, black by autumn.", "Manchas amarillo-naranja, luego anillos, en el haz de las hojas; esporas naranja o amarillas en el envés desde junio, negras en otoño."),
		When:   sign("when-yellow-rust", "spring", "primavera"),
		Source: words.Verbatim("UC IPM, caneberry rusts; Washington State University, Whatcom County")},
	CrownGall: {
		Hosts:  sign("hosts-crown-gall", "all brambles", "todas las zarzas"),
		Signs:  sign("signs-crown-gall", "Rough and knobby, cream at first, then brown-black and woody; at the crown, on roots, cane bases and splits in canes.", "Ásperas y nudosas, al principio crema, luego pardo-negras y leñosas; en la corona, raíces, base y grietas de las cañas."),
		When:   sign("when-crown-gall", "all year, seen at the soil line", "todo el año, a ras del suelo"),
		Source: words.Verbatim("Pacific Northwest Plant Disease Management Handbook, raspberry crown and cane gall")},
	CaneBorerGall: {
		Hosts:  sign("hosts-cane-borer-gall", "blackberry and raspberry canes", "cañas de zarzamora y frambuesa"),
		Signs:  sign("signs-cane-borer-gall", "A smooth spindle swelling on the cane with a larva inside, usually within a foot of the soil, 1 to 3 in long.", "Un abultamiento liso en huso en la caña con una larva dentro, casi siempre a menos de 30 cm del suelo, de 2.5 a 7.5 cm."),
		When:   sign("when-cane-borer-gall", "from late July", "desde fines de julio"),
		Source: words.Verbatim("North Carolina Pest News, July 2010; Purdue PPDL, 9 April 2012")},
	Other: {
		Hosts: sign("hosts-other", "not said", "sin indicar"),
		Signs: sign("signs-other", "None of these, or nobody can tell yet: keep the scout's words, take photos, send a sample.", "Ninguno de estos, o nadie lo sabe aún: guarde las palabras del monitor, tome fotos, envíe una muestra."),
		When:  sign("when-other", "any time", "en cualquier momento"), Source: words.New("scouting-common-practice", "common practice", "práctica común").Plain()},
}

var (
	askWhich = words.New("scouting-ask-which",
		"“{name}” means more than one thing. Which is it? Until somebody says, it stays “{other}” with these words.",
		"«{name}» significa más de una cosa. ¿Cuál es? Hasta que alguien lo diga, queda como «{other}» con estas palabras.")
	askFungus = words.New("scouting-ask-fungus",
		"Two fungi cause “{name}”: {organisms}. Only a laboratory tells; leave the organism open until then.",
		"Dos hongos causan «{name}»: {organisms}. Solo un laboratorio lo dice; deje el organismo abierto hasta entonces.")
	nameUnknown = words.New("scouting-name-unknown",
		"Nothing is known here by the name “{name}”. Keep it as “{other}” with these words.",
		"Aquí no se conoce nada con el nombre «{name}». Guárdelo como «{other}» con estas palabras.")
)

// meaning is a name in everyday use; the first whose words all stand in what
// was said counts, so narrower names stand first.
type meaning struct {
	words  []string
	causes []Cause
}

// Names that mean two things, from the trade notes: "yellow rust" is
// Phragmidium on raspberry in the west and Kuehneola on blackberry in the
// south; a bare gall may be bacteria or a beetle's.
var meanings = []meaning{
	{[]string{"orange", "rust"}, []Cause{OrangeRust}},
	{[]string{"roya", "naranja"}, []Cause{OrangeRust}},
	{[]string{"cane", "leaf", "rust"}, []Cause{CaneLeafRust}},
	{[]string{"roya", "cañas"}, []Cause{CaneLeafRust}},
	{[]string{"late", "rust"}, []Cause{LateLeafRust}},
	{[]string{"roya", "tardía"}, []Cause{LateLeafRust}},
	{[]string{"yellow", "rust"}, []Cause{YellowRust, CaneLeafRust}},
	{[]string{"roya", "amarilla"}, []Cause{YellowRust, CaneLeafRust}},
	{[]string{"leaf", "rust"}, []Cause{CaneLeafRust, LateLeafRust, YellowRust}},
	{[]string{"rust"}, []Cause{OrangeRust, CaneLeafRust, LateLeafRust, YellowRust}},
	{[]string{"roya"}, []Cause{OrangeRust, CaneLeafRust, LateLeafRust, YellowRust}},
	{[]string{"crown", "gall"}, []Cause{CrownGall}},
	{[]string{"agalla", "corona"}, []Cause{CrownGall}},
	{[]string{"borer"}, []Cause{CaneBorerGall}},
	{[]string{"barrenador"}, []Cause{CaneBorerGall}},
	{[]string{"gall"}, []Cause{CrownGall, CaneBorerGall}},
	{[]string{"galls"}, []Cause{CrownGall, CaneBorerGall}},
	{[]string{"agalla"}, []Cause{CrownGall, CaneBorerGall}},
	{[]string{"agallas"}, []Cause{CrownGall, CaneBorerGall}},
}

// Name says what a name may mean: a common one in either language, a cause's
// own, or an organism's. An unknown one means Other alone.
func Name(said string) Naming {
	causes, organism := meant(said)
	n := Naming{}
	for _, c := range causes {
		n.Candidates = append(n.Candidates, candidate(c))
	}
	other := words.Args{"name": shorten(said), "other": CauseName(Other)}
	switch {
	case len(causes) > 1:
		n.Ask, n.Question = true, askWhich.With(other)
		n.Candidates = append(n.Candidates, candidate(Other))
	case len(causes) == 0:
		n.Question = nameUnknown.With(other)
		n.Candidates = []Candidate{candidate(Other)}
	case organism == "" && len(n.Candidates[0].Organisms) > 1 && causes[0] == OrangeRust:
		n.Question = askFungus.With(words.Args{"name": CauseName(causes[0]), "organisms": strings.Join(n.Candidates[0].Organisms, ", ")})
	case organism != "":
		n.Candidates[0].Organisms = []string{organism}
	}
	return n
}

func candidate(c Cause) Candidate {
	out := candidates[c]
	out.Cause, out.Organisms = c, Organisms(c)
	return out
}

// meant gives the causes, and the organism where that was what was said.
func meant(said string) (causes []Cause, organism string) {
	low := strings.ToLower(strings.TrimSpace(said))
	if low == "" {
		return nil, ""
	}
	for _, c := range Causes {
		if c != Other && string(c) == low {
			return []Cause{c}, ""
		}
		for _, known := range organisms[c] {
			if strings.EqualFold(known, low) {
				return []Cause{c}, known
			}
		}
	}
	tokens := strings.FieldsFunc(low, func(r rune) bool { return !unicode.IsLetter(r) })
	for _, m := range meanings {
		all := true
		for _, w := range m.words {
			all = all && slices.Contains(tokens, w)
		}
		if all {
			return m.causes, ""
		}
	}
	return nil, ""
}

// NeedsNaming is whether a find waits for somebody to say which disease its
// words mean.
func (f Find) NeedsNaming() bool { return f.Cause == Other && f.Organism == "" && Name(f.Words).Ask }

func shorten(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
