package hotspot

import (
	"math"
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/scouting"
	"caneward/records/stats"
)

// ChoiceName names what an adviser may choose to have taken out.
type ChoiceName string

// The choices, from the least to the most.
const (
	ConfirmedOnly ChoiceName = "confirmed"
	WithBetween   ChoiceName = "between"
	WithMargin    ChoiceName = "margin"
	WholeSection  ChoiceName = "section"
	WholePlanting ChoiceName = "planting"
)

// Choice is what one of them takes. Each of the first three takes in the one
// before; a section is the rows and plant numbers a group's confirmed plants span.
type Choice struct {
	Name   ChoiceName
	Group  int // of a section; -1 otherwise
	Plants []Plant
	// RowLength is one plant spacing for each plant; nil without a spacing.
	RowLength *geo.Metres
	Share     *float64 // of the plants that stand in the block; nil where its rows are not counted
	// Section is where a section lies.
	Section Section
	// Rate is of the confirmed plants among the inspected ones there; zero for
	// the first three, which are lists and no ground with a rate.
	Rate Rate
	// Above is whether the rate passes the adviser's limit with its lower bound
	// above it; nil without a limit or without anything inspected.
	Above *bool
}

// Signed is whether the choice takes plants nobody found anything on beyond the
// list, which only the adviser's own signature may ask for.
func (c Choice) Signed() bool { return c.Name == WholeSection || c.Name == WholePlanting }

// Section is stretches of rows, both ends included.
type Section struct{ FirstRow, LastRow, From, To int }

// Rate is a share among plants looked at, with the exact limits of Clopper and
// Pearson (1934). They take plants as independent; disease that clumps makes
// the true limits wider.
type Rate struct {
	Inspected, Infected int
	Share               float64
	Low, High           float64 // two-sided 95 %
	Lower               float64 // one-sided 95 %
}

// confidence of every interval shown.
const confidence = 0.95

func rateOf(infected, inspected int) (Rate, error) {
	r := Rate{Inspected: inspected, Infected: infected, High: 1}
	if inspected == 0 {
		return r, nil
	}
	r.Share = float64(infected) / float64(inspected)
	var err error
	if r.Low, r.High, err = stats.ClopperPearson(infected, inspected, confidence); err != nil {
		return r, err
	}
	r.Lower, err = stats.LowerLimit(infected, inspected, confidence)
	return r, err
}

var (
	nothingConfirmed = words.New("hotspot-nothing-confirmed",
		"Nothing is listed for removal: no plant is confirmed. {suspected} plant(s) are suspected and {sampled} wait for a laboratory. A laboratory's result or an adviser's own named confirmation is missing.",
		"No hay nada en la lista para quitar: ninguna planta está confirmada. {suspected} planta(s) son sospechosas y {sampled} esperan al laboratorio. Falta el resultado de un laboratorio o la confirmación propia de un asesor, con su nombre.")
	nothingFound = words.New("hotspot-nothing-found",
		"Nothing is listed: there is no find of these causes on a plant that stands.",
		"No hay nada en la lista: no hay hallazgos de estas causas en plantas que estén en pie.")
	noPlantGoes = words.New("hotspot-no-plant-goes",
		"Guidance for these causes takes no plant out: the list says where to look and cut, not what to dig.",
		"Las recomendaciones para estas causas no quitan plantas: la lista dice dónde mirar y cortar, no qué arrancar.")
	sectionText = words.New("hotspot-section-text",
		"Rows {first} to {last}, plants {from} to {to}: {infected} of {inspected} inspected plants confirmed, {rate} %, lower 95 % bound {lower} %. The section was drawn round its own finds, which makes the bound look firmer than it is. No source gives a limit: it is the adviser's own, signed.",
		"Hileras {first} a {last}, plantas {from} a {to}: {infected} de {inspected} plantas revisadas confirmadas, {rate} %, límite inferior del 95 % {lower} %. La sección se trazó alrededor de sus propios hallazgos, lo que hace parecer el límite más firme de lo que es. Ninguna fuente da un umbral: es del propio asesor, con firma.")
	sectionUnseen = words.New("hotspot-section-unseen",
		"Rows {first} to {last}, plants {from} to {to}: nobody recorded having looked there, so there is no rate. Only an adviser may choose this, and signs for it.",
		"Hileras {first} a {last}, plantas {from} a {to}: no consta que se haya mirado allí, así que no hay tasa. Solo un asesor puede elegirlo, y lo firma.")
	plantingUnseen = words.New("hotspot-planting-unseen",
		"Every plant of the block. Advice differs: one university's note takes out every susceptible plant once orange rust is found, because roots graft; others dig the infected ones only. Nobody recorded having looked at the block, so there is no rate. Only an adviser may choose this, and signs for it.",
		"Todas las plantas del bloque. Los consejos difieren: la nota de una universidad quita toda planta susceptible cuando hay roya anaranjada, porque las raíces se injertan; otras arrancan solo las infectadas. No consta que se haya mirado el bloque, así que no hay tasa. Solo un asesor puede elegirlo, y lo firma.")
	plantingText = words.New("hotspot-planting-text",
		"Every plant of the block. Advice differs: one university's note takes out every susceptible plant once orange rust is found, because roots graft; others dig the infected ones only. {infected} of {inspected} inspected plants are confirmed, {rate} %, lower 95 % bound {lower} %. Only an adviser may choose this, and signs for it.",
		"Todas las plantas del bloque. Los consejos difieren: la nota de una universidad quita toda planta susceptible cuando hay roya anaranjada, porque las raíces se injertan; otras arrancan solo las infectadas. {infected} de {inspected} plantas revisadas están confirmadas, {rate} %, límite inferior del 95 % {lower} %. Solo un asesor puede elegirlo, y lo firma.")
	confirmedText = words.New("hotspot-confirmed-text",
		"Every confirmed plant, in a group or alone.",
		"Todas las plantas confirmadas, en grupo o solas.")
	betweenText = words.New("hotspot-between-text",
		"With the unconfirmed plants between confirmed ones of a group in a row, at most {gap} of them.",
		"Con las plantas sin confirmar entre confirmadas de un grupo en una hilera, como máximo {gap}.")
	marginText = words.New("hotspot-margin-text",
		"With {margin} place(s) on each side of a group's confirmed plants in each row. No published margin for brambles was found.",
		"Con {margin} lugar(es) a cada lado de las plantas confirmadas de un grupo en cada hilera. No se encontró ningún margen publicado para zarzas.")
)

// choose works out what each choice would take, or why nothing is listed.
func (s *study) choose(effort []Plant, a *Analysis) error {
	a.States = s.states()
	if s.standing != nil {
		a.Standing = fault.P(len(s.standing))
		a.Unseen = fault.P(unseen(s.standing, effort))
	}
	if !slices.ContainsFunc(s.set.Causes, scouting.PlantGoes) {
		a.WhyNoList = noPlantGoes.Plain()
		return nil
	}
	if len(a.List.Confirmed) == 0 {
		a.WhyNoList = nothingFound.Plain()
		if a.States[scouting.Suspected]+a.States[scouting.Sampled] > 0 {
			a.WhyNoList = nothingConfirmed.With(words.Args{"suspected": a.States[scouting.Suspected], "sampled": a.States[scouting.Sampled]})
		}
		return nil
	}
	l := a.List
	a.Choices = append(a.Choices, s.choice(ConfirmedOnly, together(l.Confirmed), a),
		s.choice(WithBetween, together(l.Confirmed, l.Between), a), s.choice(WithMargin, together(l.Confirmed, l.Between, l.Margin), a))
	for _, g := range a.Groups {
		if err := s.section(g, effort, a); err != nil {
			return err
		}
	}
	if s.standing == nil {
		return nil
	}
	return s.ground(s.choice(WholePlanting, s.standing, a), effort, func(Plant) bool { return true }, a)
}

// together puts lists in row and plant order into one.
func together(lists ...[]Plant) []Plant {
	var all []Plant
	for _, list := range lists {
		both := make([]Plant, 0, len(all)+len(list))
		for len(all) > 0 && len(list) > 0 {
			from := &all
			if byRow(list[0], all[0]) < 0 {
				from = &list
			}
			both = append(both, (*from)[0])
			*from = (*from)[1:]
		}
		all = append(append(both, all...), list...)
	}
	return all
}

// standingIn is every plant that stands in a section, in row and plant order.
func (s *study) standingIn(at Section) []Plant {
	var plants []Plant
	for row := at.FirstRow; row <= at.LastRow; row++ {
		if s.standing == nil {
			for n := at.From; n <= at.To; n++ {
				if p := (Plant{Row: row, Plant: n}); s.stands(p) {
					plants = append(plants, p)
				}
			}
			continue
		}
		first, _ := slices.BinarySearchFunc(s.standing, Plant{Row: row, Plant: at.From}, byRow)
		for _, p := range s.standing[first:] {
			if p.Row != row || p.Plant > at.To {
				break
			}
			plants = append(plants, p)
		}
	}
	return plants
}

func (s *study) choice(name ChoiceName, plants []Plant, a *Analysis) Choice {
	c := Choice{Name: name, Group: -1, Plants: plants}
	if _, spacing := s.in.spacings(); spacing > 0 {
		length := geo.Metres(len(plants)) * spacing
		c.RowLength = &length
	}
	if a.Standing != nil && *a.Standing > 0 {
		share := float64(len(plants)) / float64(*a.Standing)
		c.Share = &share
	}
	return c
}

// section adds the section of a group that has confirmed plants.
func (s *study) section(g Group, effort []Plant, a *Analysis) error {
	rows := s.confirmedByRow(g)
	if len(rows) == 0 {
		return nil
	}
	at := Section{FirstRow: rows[0][0].Row, LastRow: rows[len(rows)-1][0].Row, From: rows[0][0].Plant, To: rows[0][0].Plant}
	for _, row := range rows {
		at.From, at.To = min(at.From, row[0].Plant), max(at.To, row[len(row)-1].Plant)
	}
	c := s.choice(WholeSection, s.standingIn(at), a)
	c.Group, c.Section = g.Number, at
	return s.ground(c, effort, at.holds, a)
}

func (at Section) holds(p Plant) bool {
	return at.FirstRow <= p.Row && p.Row <= at.LastRow && at.From <= p.Plant && p.Plant <= at.To
}

// ground adds a choice with the rate of the confirmed plants in its ground.
func (s *study) ground(c Choice, effort []Plant, holds func(Plant) bool, a *Analysis) (err error) {
	inspected, confirmed := 0, 0
	for _, p := range effort {
		if holds(p) {
			inspected++
			if i := s.infected[p]; i != nil && i.confirmed {
				confirmed++
			}
		}
	}
	if c.Rate, err = rateOf(confirmed, inspected); err != nil {
		return err
	}
	if limit := s.set.SectionLimit; limit != nil && inspected > 0 {
		above := c.Rate.Share > *limit && c.Rate.Lower > *limit
		c.Above = &above
	}
	a.Choices = append(a.Choices, c)
	return nil
}

// unseen is how many of the plants are not among those looked at; both in row
// and plant order.
func unseen(plants, effort []Plant) (count int) {
	for _, p := range plants {
		for len(effort) > 0 && byRow(effort[0], p) < 0 {
			effort = effort[1:]
		}
		if len(effort) == 0 || effort[0] != p {
			count++
		}
	}
	return count
}

// states counts standing plants by the firmest state of their finds.
func (s *study) states() map[scouting.State]int {
	count := map[scouting.State]int{}
	for p, i := range s.infected {
		if i.firmest != "" && s.stands(p) {
			count[i.firmest]++
		}
	}
	return count
}

// allStanding is every plant that stands, in row and plant order; nil where the
// rows are not counted.
func (s *study) allStanding() []Plant {
	if len(s.in.Rows) == 0 || slices.ContainsFunc(s.in.Rows, func(r Row) bool { return r.Plants == 0 }) {
		return nil
	}
	return s.places(s.stands)
}

// places is every place of the rows that is kept, in row and plant order.
func (s *study) places(keep func(Plant) bool) []Plant {
	rows, places := slices.Clone(s.in.Rows), 0
	slices.SortFunc(rows, func(a, b Row) int { return a.Number - b.Number })
	for _, row := range rows {
		places += row.Plants
	}
	plants := make([]Plant, 0, places)
	for _, row := range rows {
		for n := range row.Plants {
			if p := (Plant{Row: row.Number, Plant: n + 1}); keep(p) {
				plants = append(plants, p)
			}
		}
	}
	return plants
}

// choiceText says what a choice takes and what stands behind it.
func (a Analysis) choiceText(c Choice) words.Text {
	args := words.Args{"first": c.Section.FirstRow, "last": c.Section.LastRow, "from": c.Section.From, "to": c.Section.To, "infected": c.Rate.Infected,
		"inspected": c.Rate.Inspected, "rate": perCent(c.Rate.Share), "lower": perCent(c.Rate.Lower), "gap": a.Settings.GapPlants, "margin": a.Settings.MarginPlants}
	switch c.Name {
	case ConfirmedOnly:
		return confirmedText.Plain()
	case WithBetween:
		return betweenText.With(args)
	case WithMargin:
		return marginText.With(args)
	}
	unseen := c.Rate.Inspected == 0
	switch {
	case c.Name == WholePlanting && unseen:
		return plantingUnseen.Plain()
	case c.Name == WholePlanting:
		return plantingText.With(args)
	case unseen:
		return sectionUnseen.With(args)
	}
	return sectionText.With(args)
}

// perCent is a share as people read it.
func perCent(share float64) float64 { return math.Round(1000*share) / 10 }
