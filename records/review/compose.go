package review

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/hotspot"
	"caneward/records/scouting"
	"caneward/records/stats"
)

// Reach is how much of what the analysis proposes the adviser takes.
type Reach string

// The reaches; each takes in the one before.
const (
	OnlyConfirmed Reach = "confirmed"
	AlsoBetween   Reach = "between"
	AlsoMargin    Reach = "margin" // all that is proposed
)

// Choice is what the adviser decides beyond the settings.
type Choice struct {
	Reach        Reach     `json:"reach,omitempty"` // empty is AlsoMargin
	MarginReason string    `json:"margin_reason,omitempty"`
	Sections     []Section `json:"sections,omitempty"`
	Planting     *Planting `json:"planting,omitempty"`
}

// Section is ground to be taken out whole: plants of rows, all ends included.
type Section struct {
	FirstRow int `json:"first_row"`
	LastRow  int `json:"last_row"`
	From     int `json:"from"`
	To       int `json:"to"`
	// Limit is the adviser's own, a share from 0 to below 1: the share of infected
	// plants there must be above it at 95 %. No source gives one.
	Limit  *float64 `json:"limit"`
	Reason string   `json:"reason"`
}

// Planting is the whole block as a section.
type Planting struct {
	Limit  *float64 `json:"limit"`
	Reason string   `json:"reason"`
}

// Why says how a plant came onto the list.
type Why string

// The reasons, firmest first.
const (
	BecauseConfirmed Why = "confirmed"
	BecauseBetween   Why = "between"
	BecauseMargin    Why = "margin"
	BecauseSection   Why = "section"
	BecausePlanting  Why = "planting"
)

// Whys lists every reason.
var Whys = []Why{BecauseConfirmed, BecauseBetween, BecauseMargin, BecauseSection, BecausePlanting}

// Take is one plant to be taken out.
type Take struct {
	Row   int `json:"row"`
	Plant int `json:"plant"`
	Why   Why `json:"why"`
}

// Place is where it stands.
func (t Take) Place() Plant { return Plant{Row: t.Row, Plant: t.Plant} }

// Apart is a find that put nothing on the list, and why: "not-confirmed" or
// "no-plant".
type Apart struct {
	Find  records.ID     `json:"find"`
	Row   int            `json:"row,omitempty"`
	Plant int            `json:"plant,omitempty"`
	State scouting.State `json:"state"`
	Why   string         `json:"why"`
}

// Ground is a section or the planting with the figures it was chosen on.
type Ground struct {
	Section
	Whole     bool    `json:"whole"` // the planting
	Plants    int     `json:"plants"`
	Inspected int     `json:"inspected"`
	Infected  int     `json:"infected"` // confirmed, among the inspected
	Share     float64 `json:"share"`
	Low       float64 `json:"low"` // two-sided 95 %
	High      float64 `json:"high"`
	Lower     float64 `json:"lower_one_sided"` // one-sided 95 %: the one held against the limit
}

// List is what a decision says is to be done, each part in row and plant order.
type List struct {
	Remove  []Take  `json:"remove"`
	Inspect []Plant `json:"inspect"`
	Apart   []Apart `json:"apart"`
	// Grounds are the sections and the planting chosen.
	Grounds   []Ground    `json:"grounds"`
	Counts    map[Why]int `json:"counts"`
	RowLength *geo.Metres `json:"row_length_m"` // one plant spacing for each plant; null without one
	Standing  *int        `json:"standing"`     // plants of the block before; null where its rows are not counted
	Share     *float64    `json:"share_of_block"`
}

// level of every interval and bound here.
const level = 0.95

// maxSections bounds a choice.
const maxSections = 200

var (
	cannotSign = words.New("review-cannot-sign",
		"This cannot be signed: {count} thing(s) to mend, named below.",
		"Esto no se puede firmar: {count} cosa(s) por corregir, nombradas abajo.")
	causeStays = words.New("review-cause-stays",
		"For “{cause}” guidance takes no plant out: {advice} A removal list for it is not signed here.",
		"Para «{cause}» las recomendaciones no eliminan plantas: {advice} Aquí no se firma una lista de arranque para ella.")
	badReach     = words.New("review-bad-reach", "reach is one of: {values}.", "reach es uno de: {values}.")
	reasonNeeded = words.New("review-reason-needed",
		"Plants nobody found anything on are to go here: say why.",
		"Aquí van a quitarse plantas en las que nadie encontró nada: diga por qué.")
	limitNeeded = words.New("review-limit-needed",
		"Say your limit: the share of infected plants, from 0 to below 1, above which this ground goes. No source gives one.",
		"Diga su umbral: la parte de plantas infectadas, de 0 a menos de 1, por encima de la cual este terreno se quita. Ninguna fuente da uno.")
	sectionEnds = words.New("review-section-ends",
		"A section runs from its first to its last row and plant, all from 1.",
		"Una sección va de su primera a su última hilera y planta, todas desde 1.")
	sectionEmpty = words.New("review-section-empty",
		"No plant stands in this section.",
		"En esta sección no hay ninguna planta en pie.")
	sectionUnseen = words.New("review-section-unseen",
		"Nobody recorded having looked at plants there, so there is no share to hold against your limit. Record the visit first.",
		"No consta que nadie haya mirado plantas allí, así que no hay ninguna parte que comparar con su umbral. Registre primero la visita.")
	belowLimit = words.New("review-below-limit",
		"{infected} of {inspected} inspected plants there are confirmed, {share} %; at 95 % the share is at least {lower} %, which is not above your limit of {limit} %.",
		"{infected} de {inspected} plantas revisadas allí están confirmadas, {share} %; con 95 % la parte es al menos {lower} %, que no supera su umbral de {limit} %.")
	rowsUncounted = words.New("review-rows-uncounted",
		"The block's rows are not laid out or not counted: which plants stand there is not known.",
		"Las hileras del bloque no están trazadas o contadas: no se sabe qué plantas hay allí.")
	tooManySections = words.New("review-too-many-sections", "At most {limit} sections go into one decision.", "En una decisión caben como máximo {limit} secciones.")
)

// composer puts a list together.
type composer struct {
	doc    hotspot.Document
	g      ground
	open   map[Plant]bool // only suspected or sampled
	listed map[Plant]Why
	faults []fault.Detail
}

// compose makes the list that follows from an answer, the records it was worked
// out from and the adviser's choice. fault.Invalid names what keeps the choice
// from being signed.
func compose(doc hotspot.Document, r records.Reader, block records.ID, c Choice) (List, error) {
	g, err := groundOf(r, block)
	if err != nil {
		return List{}, err
	}
	k := &composer{doc: doc, g: g, open: map[Plant]bool{}, listed: map[Plant]Why{}}
	list := List{Grounds: []Ground{}, Apart: k.apart(), Inspect: []Plant{}}
	k.causes()
	k.proposed(c)
	if len(c.Sections) > maxSections {
		k.fault("choice.sections", tooManySections.With(words.Args{"limit": maxSections}))
	} else {
		for i, s := range c.Sections {
			k.section(&list, fmt.Sprintf("choice.sections[%d]", i), s, false)
		}
	}
	if p := c.Planting; p != nil {
		k.section(&list, "choice.planting", Section{FirstRow: 1, LastRow: math.MaxInt32, From: 1, To: math.MaxInt32, Limit: p.Limit, Reason: p.Reason}, true)
	}
	if len(k.faults) > 0 {
		return List{}, fault.New(fault.Invalid, cannotSign.With(words.Args{"count": len(k.faults)}), k.faults...)
	}
	k.fill(&list)
	return list, nil
}

func (k *composer) fault(field string, text words.Text) {
	k.faults = append(k.faults, fault.Detail{Field: field, Text: text})
}

// apart names the finds of the causes asked about that list nothing. It marks
// the plants that are only suspected: they never go, whatever was chosen.
func (k *composer) apart() []Apart {
	confirmed := map[Plant]bool{}
	for _, p := range k.doc.List.Confirmed {
		confirmed[p] = true
	}
	out := []Apart{}
	for _, f := range k.doc.Finds {
		p := Plant{Row: f.Row, Plant: f.Plant}
		a := Apart{Find: f.ID, Row: f.Row, Plant: f.Plant, State: f.State}
		switch {
		case !slices.Contains(k.doc.Settings.Causes, f.Cause) || f.State == scouting.Refuted:
			continue
		case f.Unresolved != "":
			a.Why = "no-plant"
		case f.State != scouting.Confirmed && !confirmed[p] && !k.g.removed[p]:
			k.open[p] = true
			a.Why = "not-confirmed"
		default:
			continue
		}
		out = append(out, a)
	}
	slices.SortFunc(out, func(a, b Apart) int {
		return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Plant, b.Plant), cmp.Compare(a.Find, b.Find))
	})
	return out
}

// causes refuses those for which no plant is taken out.
func (k *composer) causes() {
	for i, c := range k.doc.Settings.Causes {
		if !scouting.PlantGoes(c) {
			k.fault(fmt.Sprintf("ask.causes[%d]", i), causeStays.With(words.Args{"cause": scouting.CauseName(c), "advice": scouting.CauseAdvice(c)}))
		}
	}
}

func (k *composer) proposed(c Choice) {
	reaches := []Reach{OnlyConfirmed, AlsoBetween, AlsoMargin}
	reach := cmp.Or(c.Reach, AlsoMargin)
	far := slices.Index(reaches, reach)
	if far < 0 {
		k.fault("choice.reach", badReach.With(words.Args{"values": "confirmed, between, margin"}))
		return
	}
	k.enter(k.doc.List.Confirmed, BecauseConfirmed)
	if far >= 1 {
		k.enter(k.doc.List.Between, BecauseBetween)
	}
	if far < 2 {
		return
	}
	if len(k.doc.List.Margin) > 0 && strings.TrimSpace(c.MarginReason) == "" {
		k.fault("choice.margin_reason", reasonNeeded.Plain())
	}
	k.enter(k.doc.List.Margin, BecauseMargin)
}

func (k *composer) enter(plants []Plant, why Why) {
	for _, p := range plants {
		if _, already := k.listed[p]; !already && !k.open[p] {
			k.listed[p] = why
		}
	}
}

// stands is whether a plant stands: planted, and not taken out since unless
// something was found on it again.
func (k *composer) stands(p Plant) bool {
	if !k.g.removed[p] {
		return true
	}
	_, listed := k.listed[p]
	return listed
}

func (k *composer) section(list *List, field string, s Section, whole bool) {
	before := len(k.faults)
	if s.FirstRow < 1 || s.From < 1 || s.LastRow < s.FirstRow || s.To < s.From {
		k.fault(field, sectionEnds.Plain())
	}
	if strings.TrimSpace(s.Reason) == "" {
		k.fault(field+".reason", reasonNeeded.Plain())
	}
	if s.Limit == nil || !(*s.Limit >= 0 && *s.Limit < 1) {
		k.fault(field+".limit", limitNeeded.Plain())
	}
	if !k.g.counted() {
		k.fault(field, rowsUncounted.Plain())
	}
	if len(k.faults) > before {
		return
	}
	ground, plants := k.weigh(s)
	ground.Whole = whole
	switch {
	case len(plants) == 0:
		k.fault(field, sectionEmpty.Plain())
		return
	case ground.Inspected == 0:
		k.fault(field, sectionUnseen.Plain())
		return
	case !(ground.Lower > *s.Limit):
		k.fault(field+".limit", belowLimit.With(words.Args{"infected": ground.Infected, "inspected": ground.Inspected,
			"share": percent(ground.Share), "lower": percent(ground.Lower), "limit": percent(*s.Limit)}))
		return
	}
	list.Grounds = append(list.Grounds, ground)
	why := BecauseSection
	if whole {
		why = BecausePlanting
	}
	k.enter(plants, why)
}

// weigh gives the plants that stand in a section, and the share of confirmed
// ones among those looked at.
func (k *composer) weigh(s Section) (Ground, []Plant) {
	if n := len(k.g.rows); n > 0 {
		s.LastRow = min(s.LastRow, k.g.rows[n-1].Number)
	}
	most := 0
	for _, r := range k.g.rows {
		most = max(most, r.Plants)
	}
	s.To = min(s.To, most)
	out := Ground{Section: s}
	confirmed := map[Plant]bool{}
	for _, p := range k.doc.List.Confirmed {
		confirmed[p] = true
	}
	var plants []Plant
	k.g.each(s.FirstRow, s.LastRow, s.From, s.To, func(p Plant) {
		if !k.stands(p) {
			return
		}
		plants = append(plants, p)
		if !k.g.effort.Uncounted && k.g.effort.Saw(p.Row, p.Plant) {
			out.Inspected++
			if confirmed[p] {
				out.Infected++
			}
		}
	})
	out.Plants = len(plants)
	if out.Inspected > 0 {
		out.Share = float64(out.Infected) / float64(out.Inspected)
		// The counts are in bounds: nothing can fail.
		out.Low, out.High, _ = stats.ClopperPearson(out.Infected, out.Inspected, level)
		out.Lower, _ = stats.LowerLimit(out.Infected, out.Inspected, level)
	}
	return out, plants
}

func (k *composer) fill(list *List) {
	list.Remove, list.Counts = []Take{}, map[Why]int{}
	for p, why := range k.listed {
		list.Remove = append(list.Remove, Take{Row: p.Row, Plant: p.Plant, Why: why})
		list.Counts[why]++
	}
	slices.SortFunc(list.Remove, func(a, b Take) int { return comparePlants(a.Place(), b.Place()) })
	again := slices.Clone(k.doc.List.Inspect)
	for _, left := range [][]Plant{k.doc.List.Between, k.doc.List.Margin} {
		again = append(again, left...) // what was proposed and not taken is looked at again
	}
	for p := range k.open {
		again = append(again, p)
	}
	for _, p := range again {
		if _, goes := k.listed[p]; !goes {
			list.Inspect = append(list.Inspect, p)
		}
	}
	slices.SortFunc(list.Inspect, comparePlants)
	list.Inspect = slices.Compact(list.Inspect)
	if spacing := k.g.block.PlantSpacing; spacing > 0 {
		length := geo.Metres(len(list.Remove)) * spacing
		list.RowLength = &length
	}
	if !k.g.counted() {
		return
	}
	standing := 0
	k.g.each(1, math.MaxInt32, 1, math.MaxInt32, func(p Plant) {
		if k.stands(p) {
			standing++
		}
	})
	list.Standing = &standing
	if standing > 0 {
		share := float64(len(list.Remove)) / float64(standing)
		list.Share = &share
	}
}

func comparePlants(a, b Plant) int {
	return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Plant, b.Plant))
}

// percent is for people: one decimal.
func percent(share float64) float64 { return math.Round(share*1000) / 10 }

// Walk puts plants into the order a crew walks them: up one row, down the next
// that has any.
func Walk(list []Take) []Take {
	out := slices.Clone(list)
	up, start := true, 0
	for i := 1; i <= len(out); i++ {
		if i < len(out) && out[i].Row == out[start].Row {
			continue
		}
		if !up {
			slices.Reverse(out[start:i])
		}
		up, start = !up, i
	}
	return out
}
