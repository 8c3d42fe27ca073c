package hotspot

import (
	"math"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/scouting"
)

var (
	howMessage = words.New("hotspot-how",
		"Infected plants within {along} m along and {across} m across the row of {finds} or more (itself counted) make a group. The scan asks of all ellipses along the row round every inspected plant, up to {cap} % of the inspected plants, whether the rate inside is higher; p compares the best of them with {replicates} reshuffles of the infected plants among the inspected ones (seed {seed}) and belongs to the whole search.",
		"Las plantas infectadas que a {along} m a lo largo y {across} m a lo ancho de la hilera tienen {finds} o más (contándose) forman un grupo. El barrido pregunta en todas las elipses a lo largo de la hilera alrededor de cada planta revisada, hasta el {cap} % de las revisadas, si la tasa de dentro es mayor; p compara la mejor de ellas con {replicates} repartos al azar de las infectadas entre las revisadas (semilla {seed}) y vale para toda la búsqueda.")
	noDiagnosis = words.New("hotspot-no-diagnosis",
		"A hot spot is where finds cluster among places looked at. It is no diagnosis. Confirm by laboratory or a qualified adviser before removing plants; removal cannot be undone.",
		"Un foco es donde se juntan hallazgos entre los lugares revisados. No es un diagnóstico. Confirme con un laboratorio o un asesor cualificado antes de eliminar plantas; eliminar no se puede deshacer.")
	proposal = words.New("hotspot-proposal",
		"The list is a proposal: no published margin for brambles was found. Distances and margins are settings for the adviser to choose and sign.",
		"La lista es una propuesta: no se encontró ningún margen publicado para zarzas. Las distancias y los márgenes son ajustes que el asesor elige y firma.")
	mixedCauses = words.New("hotspot-mixed-causes",
		"Several causes are taken together; what is right for one may be wrong for another.",
		"Se toman juntas varias causas; lo que vale para una puede no valer para otra.")
	perCause = words.New("hotspot-per-cause", "{cause}: {advice}", "{cause}: {advice}")
	evidence = words.New("hotspot-evidence",
		"{inside} of {plants} inspected plants here against {others} of {rest} outside",
		"{inside} de {plants} plantas revisadas aquí frente a {others} de {rest} fuera")
	chanceUnknown = words.New("hotspot-chance-unknown",
		"How easily chance does this is not known, so it is no hot spot yet. {why}",
		"No se sabe con qué facilidad lo hace el azar, así que aún no es un foco. {why}")
	noWindowHolds = words.New("hotspot-no-window-holds",
		"No window of the scan holds it: not shown to be more than chance, no hot spot.",
		"Ninguna ventana del barrido lo contiene: no se muestra que sea más que azar; no es un foco.")
	chanceDoesIt = words.New("hotspot-chance-does-it",
		"Chance alone did as well somewhere in {as} of {replicates} reshuffles (p = {p}): not shown to be more than chance, no hot spot.",
		"El azar solo hizo lo mismo en algún lugar en {as} de {replicates} repartos (p = {p}): no se muestra que sea más que azar; no es un foco.")
	moreThanChance = words.New("hotspot-more-than-chance",
		"A hot spot: by chance alone {as} of {replicates} reshuffles did as well anywhere (p = {p}).",
		"Un foco: por azar, {as} de {replicates} repartos dieron lo mismo en algún lugar (p = {p}).")
	evidenceP = words.New("hotspot-evidence-p",
		"{inside} of {plants} inspected plants here against {others} of {rest} outside, p = {p} from {replicates} reshuffles",
		"{inside} de {plants} plantas revisadas aquí frente a {others} de {rest} fuera, p = {p} de {replicates} repartos al azar")
)

// cautions are what must stand beside the answer.
func (s *study) cautions() (texts []words.Text) {
	texts = append(texts, noDiagnosis.Plain(), proposal.Plain())
	texts = append(texts, s.in.Notes...)
	if len(s.set.Causes) > 1 {
		texts = append(texts, mixedCauses.Plain())
	}
	for _, c := range s.set.Causes {
		texts = append(texts, perCause.With(words.Args{"cause": scouting.CauseName(c), "advice": scouting.CauseAdvice(c)}))
	}
	return texts
}

// How says in one paragraph what was done.
func (a Analysis) How() words.Text {
	s := a.Settings
	return howMessage.With(words.Args{"along": round(float64(s.Along)), "across": round(float64(s.Across)), "finds": s.MinFinds,
		"cap": round(100 * s.Scan.Cap), "replicates": s.Scan.Replicates, "seed": s.Scan.Seed})
}

func round(f float64) float64 { return math.Round(f*1000) / 1000 }

// Evidence is what the scan says of a window.
func (a Analysis) Evidence(w Window) words.Text {
	args := words.Args{"inside": w.Infected, "plants": w.Plants, "others": a.Counted - w.Infected, "rest": a.Inspected - w.Plants}
	if w.P == nil {
		return evidence.With(args)
	}
	args["p"], args["replicates"] = round(*w.P), a.Settings.Scan.Replicates
	return evidenceP.With(args)
}

// callsAt is the p up to which a group is called more than chance.
const callsAt = 0.05

// Chance says of a group how easily chance alone does as well. Nothing is called a
// hot spot without it: without a record of effort, finds alone make groups in a
// third to a half of all blocks with the same rate everywhere (research note, 3.1).
func (a Analysis) Chance(g Group) words.Text {
	if !a.WhyNoP.Empty() {
		return chanceUnknown.With(words.Args{"why": a.WhyNoP})
	}
	if g.Window < 0 {
		return noWindowHolds.Plain()
	}
	p := *a.Scan[g.Window].P
	args := words.Args{"p": round(p), "as": int(math.Round(p*float64(a.Settings.Scan.Replicates+1))) - 1, "replicates": a.Settings.Scan.Replicates}
	if p > callsAt {
		return chanceDoesIt.With(args)
	}
	return moreThanChance.With(args)
}

// Document is the answer as it travels, in one language.
type Document struct {
	Inspected int           `json:"inspected"`
	Infected  int           `json:"infected"`
	Groups    []GroupOut    `json:"groups"`
	Isolated  []Plant       `json:"isolated"`
	Labels    []int         `json:"labels"`
	Scan      []WindowOut   `json:"scan"`
	Runs      []RunsOut     `json:"runs"`
	List      ListOut       `json:"list"`
	WhyNoP    *string       `json:"why_no_p"`
	Counted   int           `json:"infected_among_inspected"`
	Finds     []FindOut     `json:"finds"`
	Gone      []Plant       `json:"gone"`
	Settings  SettingsOut   `json:"settings"`
	Positions string        `json:"positions"` // "numbers" or "drawn-rows"
	How       string        `json:"how"`
	Cautions  []string      `json:"cautions"`
	Advice    []CauseAdvice `json:"advice"`
	Rate      RateOut       `json:"rate"`
	States    StatesOut     `json:"plants_by_state"`
	Standing  *int          `json:"standing"`      // null where the rows are not counted
	Unseen    *int          `json:"not_looked_at"` // of those
	Choices   []ChoiceOut   `json:"choices"`
	WhyNoList *string       `json:"why_no_list"`
	Smoothed  *SmoothedOut  `json:"smoothed,omitempty"`
	Counts    []CountsOut   `json:"counts,omitempty"`
}

// RateOut is a share with exact 95 % limits, and the one-sided lower one.
type RateOut struct {
	Inspected int     `json:"inspected"`
	Infected  int     `json:"infected"`
	Share     float64 `json:"share"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	Lower     float64 `json:"lower_one_sided"`
}

// StatesOut counts plants by the firmest state of their finds.
type StatesOut struct {
	Confirmed int `json:"confirmed"`
	Sampled   int `json:"sampled"`
	Suspected int `json:"suspected"`
}

// ChoiceOut is one choice; what does not apply is null.
type ChoiceOut struct {
	Name      ChoiceName  `json:"name"`
	Group     *int        `json:"group"`
	Plants    int         `json:"plants"`
	RowLength *geo.Metres `json:"row_length_m"`
	Share     *float64    `json:"share_of_block"`
	Signed    bool        `json:"signed"` // only as the adviser's own signed choice
	Section   *SectionOut `json:"section"`
	Rate      *RateOut    `json:"rate"`
	Limit     *float64    `json:"limit"`
	Above     *bool       `json:"above_limit"`
	Text      string      `json:"text"`
}

// SectionOut is stretches of rows, both ends included.
type SectionOut struct {
	FirstRow int `json:"first_row"`
	LastRow  int `json:"last_row"`
	From     int `json:"from"`
	To       int `json:"to"`
}

// SmoothedOut is the picture; a rate is null where too little was looked at.
type SmoothedOut struct {
	Along  geo.Metres       `json:"bandwidth_along_m"`
	Across geo.Metres       `json:"bandwidth_across_m"`
	Rows   []SmoothedRowOut `json:"rows"`
	WhyNot *string          `json:"why_not"`
	How    string           `json:"how"`
}

// SmoothedRowOut is rates of plants from one on.
type SmoothedRowOut struct {
	Row   int        `json:"row"`
	From  int        `json:"from"`
	Rates []*float64 `json:"rates"`
}

// CountsOut is the scan of one thing counted.
type CountsOut struct {
	What    string           `json:"what"`
	Places  int              `json:"places"`
	Sampled int              `json:"sampled"`
	Hits    int              `json:"hits"`
	Rate    float64          `json:"rate"`
	Low     float64          `json:"low"`
	High    float64          `json:"high"`
	Spread  float64          `json:"variance_over_mean"`
	Scan    []CountWindowOut `json:"scan"`
	WhyNoP  *string          `json:"why_no_p"`
	How     string           `json:"how"`
}

// CountWindowOut is a window of it; relative_risk is null when nothing is counted
// outside.
type CountWindowOut struct {
	Centre       Stretch    `json:"centre"`
	Shape        float64    `json:"shape"`
	Semiminor    geo.Metres `json:"semiminor_m"`
	Sampled      int        `json:"sampled"`
	Hits         int        `json:"hits"`
	Expected     float64    `json:"expected"`
	LLR          float64    `json:"llr"`
	RelativeRisk *float64   `json:"relative_risk"`
	P            *float64   `json:"p"`
	Members      []Stretch  `json:"members"`
}

// GroupOut is a group; Window is an index into scan, null for none.
type GroupOut struct {
	Number   int     `json:"number"`
	Finds    []Plant `json:"finds"`
	Core     int     `json:"core"`
	Hull     *Hull   `json:"hull"`
	Window   *int    `json:"window"`
	Evidence string  `json:"evidence,omitempty"`
	// Chance says how easily chance alone does as well, or why that is not known.
	Chance string `json:"chance"`
}

// WindowOut is a window; relative_risk is null when nothing outside is infected.
type WindowOut struct {
	Centre       Plant      `json:"centre"`
	Shape        float64    `json:"shape"`
	Semiminor    geo.Metres `json:"semiminor_m"`
	Plants       int        `json:"plants"`
	Infected     int        `json:"infected"`
	LLR          float64    `json:"llr"`
	RelativeRisk *float64   `json:"relative_risk"`
	P            *float64   `json:"p"`
	Members      []Plant    `json:"members"`
}

// RunsOut is the runs test of one row.
type RunsOut struct {
	Row      int      `json:"row"`
	Segments int      `json:"segments"`
	Runs     int      `json:"runs"`
	Expected float64  `json:"expected"`
	Variance float64  `json:"variance"`
	Z        *float64 `json:"z"`
}

// ListOut is the list.
type ListOut struct {
	Confirmed []Plant `json:"confirmed"`
	Between   []Plant `json:"between"`
	Margin    []Plant `json:"margin"`
	Inspect   []Plant `json:"inspect"`
}

// FindOut is one input find, in the order of labels.
type FindOut struct {
	ID         records.ID     `json:"id,omitempty"`
	Row        int            `json:"row,omitempty"`
	Plant      int            `json:"plant,omitempty"`
	Cause      scouting.Cause `json:"cause"`
	State      scouting.State `json:"state"`
	Label      int            `json:"label"`
	Unresolved string         `json:"unresolved,omitempty"`
}

// SettingsOut are the settings used, under the names of the request.
type SettingsOut struct {
	Causes       []scouting.Cause `json:"causes"`
	States       []scouting.State `json:"states"`
	Along        geo.Metres       `json:"along_m"`
	Across       geo.Metres       `json:"across_m"`
	MinFinds     int              `json:"min_finds"`
	GapPlants    int              `json:"gap_plants"`
	MarginPlants int              `json:"margin_plants"`
	InspectRows  int              `json:"inspect_rows"`
	SectionLimit *float64         `json:"section_limit"`
	Scan         ScanOut          `json:"scan"`
}

// ScanOut are the settings of the scan.
type ScanOut struct {
	Shapes     []float64 `json:"shapes"`
	Cap        float64   `json:"cap"`
	MinCases   int       `json:"min_cases"`
	Replicates int       `json:"replicates"`
	Seed       uint64    `json:"seed"`
}

// CauseAdvice says what guidance does about one of the causes, and whether it
// removes plants at all: where it does not, the list is not one of plants to dig.
type CauseAdvice struct {
	Cause     scouting.Cause `json:"cause"`
	PlantGoes bool           `json:"plant_goes"`
	Text      string         `json:"text"`
}

// some is a list that JSON writes as [] when it is empty.
func some[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// Document writes the analysis in a language.
func (a Analysis) Document(l words.Language) Document {
	d := Document{
		Inspected: a.Inspected, Infected: a.Infected, Counted: a.Counted,
		Groups: make([]GroupOut, len(a.Groups)), Isolated: some(a.Isolated), Labels: make([]int, len(a.Labels)),
		Scan: make([]WindowOut, len(a.Scan)), Runs: make([]RunsOut, len(a.Runs)),
		List: ListOut{some(a.List.Confirmed), some(a.List.Between), some(a.List.Margin), some(a.List.Inspect)},
		Gone: some(a.Gone), Finds: make([]FindOut, len(a.Labels)), Settings: a.Settings.out(), Positions: "numbers", How: a.How().In(l),
		Cautions: make([]string, len(a.Cautions)), Advice: []CauseAdvice{},
	}
	if a.Surveyed {
		d.Positions = "drawn-rows"
	}
	d.WhyNoP, d.WhyNoList = orNull(a.WhyNoP, l), orNull(a.WhyNoList, l)
	d.Rate, d.Standing, d.Unseen = RateOut(a.Rate), a.Standing, a.Unseen
	d.States = StatesOut{a.States[scouting.Confirmed], a.States[scouting.Sampled], a.States[scouting.Suspected]}
	d.Choices = a.choicesOut(l)
	if a.Smoothed != nil {
		d.Smoothed = a.Smoothed.out(l)
	}
	for _, c := range a.Counts {
		d.Counts = append(d.Counts, c.out(a.Settings.Scan, l))
	}
	for i, g := range a.Groups {
		d.Groups[i] = GroupOut{Number: g.Number, Finds: g.Finds, Core: g.Core, Hull: g.Hull, Chance: a.Chance(g).In(l)}
		if w := g.Window; w >= 0 {
			d.Groups[i].Window, d.Groups[i].Evidence = &w, a.Evidence(a.Scan[w]).In(l)
		}
	}
	for i, w := range a.Scan {
		d.Scan[i] = WindowOut{Centre: w.Centre, Shape: w.Shape, Semiminor: w.Semiminor, Plants: w.Plants, Infected: w.Infected, LLR: w.LLR, P: w.P, Members: w.Members}
		if finite(w.RelativeRisk) {
			d.Scan[i].RelativeRisk = &w.RelativeRisk
		}
	}
	for i, r := range a.Runs {
		d.Runs[i] = RunsOut(r)
	}
	for i, f := range a.Labels {
		d.Labels[i] = f.Group
		d.Finds[i] = FindOut{ID: f.Find.ID, Row: f.Find.Plant.Row, Plant: f.Find.Plant.Plant, Cause: f.Find.Cause, State: f.Find.State,
			Label: f.Group, Unresolved: f.Unresolved.In(l)}
	}
	for i, c := range a.Cautions {
		d.Cautions[i] = c.In(l)
	}
	for _, c := range a.Settings.Causes {
		d.Advice = append(d.Advice, CauseAdvice{c, scouting.PlantGoes(c), scouting.CauseAdvice(c).In(l)})
	}
	return d
}

func (s Settings) out() SettingsOut {
	return SettingsOut{Causes: s.Causes, States: s.States, Along: s.Along, Across: s.Across, MinFinds: s.MinFinds, GapPlants: s.GapPlants,
		MarginPlants: s.MarginPlants, InspectRows: s.InspectRows, SectionLimit: s.SectionLimit,
		Scan: ScanOut{Shapes: s.Scan.Shapes, Cap: s.Scan.Cap, MinCases: s.Scan.MinCases, Replicates: s.Scan.Replicates, Seed: s.Scan.Seed}}
}

func orNull(t words.Text, l words.Language) *string {
	if t.Empty() {
		return nil
	}
	said := t.In(l)
	return &said
}

func finiteOrNull(f float64) *float64 {
	if !finite(f) {
		return nil
	}
	return &f
}

func (a Analysis) choicesOut(l words.Language) []ChoiceOut {
	out := make([]ChoiceOut, len(a.Choices))
	for i, c := range a.Choices {
		o := ChoiceOut{Name: c.Name, Plants: len(c.Plants), RowLength: c.RowLength, Share: c.Share, Signed: c.Signed(), Above: c.Above, Text: a.choiceText(c).In(l)}
		if c.Signed() {
			rate := RateOut(c.Rate)
			o.Rate, o.Limit = &rate, a.Settings.SectionLimit
		}
		if c.Name == WholeSection {
			section := SectionOut(c.Section)
			o.Group, o.Section = &c.Group, &section
		}
		out[i] = o
	}
	return out
}

// rateDigits are those of a smoothed rate: the picture has no more.
const rateDigits = 1e4

func (s Smoothed) out(l words.Language) *SmoothedOut {
	out := &SmoothedOut{Along: s.Along, Across: s.Across, Rows: []SmoothedRowOut{}, WhyNot: orNull(s.WhyNot, l), How: s.How().In(l)}
	for _, r := range s.Rows {
		row := SmoothedRowOut{Row: r.Row, From: r.From}
		for _, rate := range r.Rates {
			row.Rates = append(row.Rates, finiteOrNull(math.Round(rate*rateDigits)/rateDigits))
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

func (out CountScan) out(set Scan, l words.Language) CountsOut {
	o := CountsOut{What: out.What, Places: out.Places, Sampled: out.Sampled, Hits: out.Hits, Rate: out.Rate, Low: out.Low, High: out.High, Spread: out.Spread,
		Scan: []CountWindowOut{}, WhyNoP: orNull(out.WhyNoP, l), How: out.how(set).In(l)}
	for _, w := range out.Scan {
		o.Scan = append(o.Scan, CountWindowOut{Centre: w.Centre, Shape: w.Shape, Semiminor: w.Semiminor, Sampled: w.Sampled, Hits: w.Hits, Expected: w.Expected,
			LLR: w.LLR, RelativeRisk: finiteOrNull(w.RelativeRisk), P: w.P, Members: w.Members})
	}
	return o
}
