// Package removal prints what an adviser signed: the decision with its map and
// its evidence, the crew's sheet, and the list for other programs. Everything on
// paper comes from the frozen decision alone: the same decision gives the same
// bytes, in the same language and size of paper.
package removal

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/words"
	"caneward/records/hotspot"
	"caneward/records/paper"
	"caneward/records/people"
	"caneward/records/review"
	"caneward/records/scouting"
	"caneward/records/stats"
)

var (
	title     = words.New("removal-title", "Removal review: {block}", "Revisión de arranque: {block}")
	lineOf    = words.New("removal-line", "Signed {day}", "Firmada el {day}")
	noMap     = words.New("removal-no-map", "The rows are not drawn, so there is no map: go by row and plant.", "Las hileras no están dibujadas, por eso no hay mapa: guíese por hilera y planta.")
	mapNote   = words.New("removal-map-note", "Signed by {name}, {day}. {count} plant(s) go. The records edited since are not shown.", "Firmada por {name}, {day}. Se quitan {count} planta(s). No se muestran cambios posteriores en los registros.")
	decision  = words.New("removal-decision", "The decision", "La decisión")
	signedBy  = words.New("removal-signed-by", "Signed by {name} (account {account}, {role}) on {time}.", "Firmada por {name} (cuenta {account}, {role}) el {time}.")
	follows   = words.New("removal-follows", "It supersedes the decision {id}.", "Sustituye la decisión {id}.")
	reasons   = words.New("removal-reasons", "Reasons: {reasons}", "Razones: {reasons}")
	marginWhy = words.New("removal-margin-why", "Why plants beside the confirmed ones go: {reason}", "Por qué se quitan plantas al lado de las confirmadas: {reason}")
	costs     = words.New("removal-costs", "That is {length} m of row and {share} % of the {standing} plants that stood in the block.", "Son {length} m de hilera y el {share} % de las {standing} plantas que había en el bloque.")

	noUndoing = words.New("removal-no-undoing", "Digging out cannot be undone. Dig no plant that is not on the list, however it looks: tell the adviser.", "Arrancar no se puede deshacer. No arranque ninguna planta que no esté en la lista, parezca lo que parezca: avise al asesor.")
	burning   = words.New("removal-burning", "Burning, burying and moving plant waste and work at water are subject to local permits, burn bans and fire safety. Never burn treated wood, plastic or containers. Smoke and thorns injure.", "Quemar, enterrar y mover restos de plantas y trabajar junto al agua exigen permisos locales, vedas de quema y seguridad contra incendios. Nunca queme madera tratada, plástico ni envases. El humo y las espinas lesionan.")
	neighbour = words.New("removal-neighbour", "Removing plants on another's land, wild brambles too, needs the owner's leave; verges and streams may be protected.", "Quitar plantas en terreno ajeno, también zarzas silvestres, exige permiso del dueño; los bordes de camino y los arroyos pueden estar protegidos.")
	invented  = words.New("removal-invented", "Demo data are invented and must not be used in a field.", "Los datos de demostración son inventados y no deben usarse en un campo.")
	noSafety  = words.New("removal-certifies-nothing", "This paper certifies nothing. What the law, a permit or a label asks for goes before it.", "Este papel no certifica nada. Lo que exijan la ley, un permiso o una etiqueta va antes.")

	evidence    = words.New("removal-evidence", "Evidence", "Pruebas")
	ofBlock     = words.New("removal-of-block", "{infected} of {inspected} plants looked at in the block had a find asked about: {share} %, exact 95 % interval {low} to {high} %. Plants that clump make the true interval wider.", "{infected} de {inspected} plantas revisadas en el bloque tenían un hallazgo de lo preguntado: {share} %, intervalo exacto del 95 % de {low} a {high} %. Si las plantas enfermas se agrupan, el intervalo real es más ancho.")
	wildNear    = words.New("removal-wild-near", "Wild brambles on record near the block, which carry the rust too: {list}. On a neighbour's land ask first.", "Zarzas silvestres registradas cerca del bloque, que también llevan la roya: {list}. En terreno del vecino pregunte primero.")
	wildOne     = words.New("removal-wild-one", "{name}, {metres} m off", "{name}, a {metres} m")
	noneSeen    = words.New("removal-none-seen", "Nobody recorded having looked: there is no rate.", "No consta que nadie haya revisado: no hay tasa.")
	group       = words.New("removal-group", "Group", "Grupo")
	groupRows   = words.New("removal-group-rows", "Rows", "Hileras")
	groupPlants = words.New("removal-group-plants", "Plants with finds", "Plantas con hallazgos")
	groupSays   = words.New("removal-group-says", "How that compares", "Cómo se compara")
	noGroup     = words.New("removal-no-group", "No group of finds: each stands alone.", "Ningún grupo de hallazgos: cada uno está solo.")

	listHead    = words.New("removal-list", "The list", "La lista")
	rowColumn   = words.New("removal-row", "Row", "Hilera")
	plantColumn = words.New("removal-plant", "Plant", "Planta")
	whyColumn   = words.New("removal-why", "Why it goes", "Por qué se quita")
	proofColumn = words.New("removal-proof", "Proof", "Prueba")
	foundColumn = words.New("removal-found", "Found", "Hallado")
	nothingGoes = words.New("removal-nothing-goes", "No plant is on the list.", "No hay ninguna planta en la lista.")
	byLab       = words.New("removal-by-lab", "laboratory, {accession}", "laboratorio, {accession}")
	byAdviser   = words.New("removal-by-adviser", "confirmed by name", "confirmado por persona")
	whys        = map[review.Why]words.Message{
		review.BecauseConfirmed: words.New("removal-why-confirmed", "confirmed", "confirmada"),
		review.BecauseBetween:   words.New("removal-why-between", "between confirmed plants", "entre plantas confirmadas"),
		review.BecauseMargin:    words.New("removal-why-margin", "beside confirmed plants", "al lado de confirmadas"),
		review.BecauseSection:   words.New("removal-why-section", "in a section taken whole", "en una sección que se quita entera"),
		review.BecausePlanting:  words.New("removal-why-planting", "the whole planting goes", "se quita toda la plantación"),
	}

	labHead      = words.New("removal-labs", "Laboratory results", "Resultados de laboratorio")
	noLab        = words.New("removal-no-lab", "No laboratory result is on record for these finds.", "No hay resultados de laboratorio registrados para estos hallazgos.")
	accession    = words.New("removal-accession", "Number", "Número")
	laboratory   = words.New("removal-laboratory", "Laboratory", "Laboratorio")
	method       = words.New("removal-method", "Method", "Método")
	result       = words.New("removal-result", "Result", "Resultado")
	resultOn     = words.New("removal-result-on", "Date", "Fecha")
	samplePlants = words.New("removal-sample-plants", "Row and plant", "Hilera y planta")
	waiting      = words.New("removal-waiting", "not back yet", "aún sin respuesta")

	apartHead  = words.New("removal-apart", "Not on the list", "Fuera de la lista")
	apartNone  = words.New("removal-apart-none", "No find stands apart.", "Ningún hallazgo queda aparte.")
	apartState = words.New("removal-apart-state", "State", "Estado")
	apartWhy   = words.New("removal-apart-why", "Why it lists nothing", "Por qué no pone nada en la lista")
	unproved   = words.New("removal-unproved", "Not proved: a laboratory's result or an adviser's confirmation by name is missing.", "Sin probar: falta el resultado de un laboratorio o la confirmación de un asesor con su nombre.")

	unseenHead = words.New("removal-unseen", "What was not looked at", "Lo que no se revisó")
	unseenSays = words.New("removal-unseen-says", "A place nobody looked at is not clean: nothing is known of it.", "Un lugar que nadie revisó no está sano: no se sabe nada de él.")
	allSeen    = words.New("removal-all-seen", "Every standing plant of the block was looked at.", "Se revisaron todas las plantas en pie del bloque.")
	seenOf     = words.New("removal-seen-of", "{seen} of {of} standing plants were looked at.", "Se revisaron {seen} de {of} plantas en pie.")
	rowsUnseen = words.New("removal-rows-unseen", "Rows nobody looked at: {rows}.", "Hileras que nadie revisó: {rows}.")
	seenColumn = words.New("removal-seen-column", "Looked at, plants", "Revisadas, plantas")
	ofColumn   = words.New("removal-of-column", "of", "de")

	againHead   = words.New("removal-again", "To look at again", "Para revisar de nuevo")
	againPlants = words.New("removal-again-plants", "Plants", "Plantas")
	howHead     = words.New("removal-how", "How this was worked out", "Cómo se calculó")
	setHead     = words.New("removal-settings", "Along the row {along} m, across {across} m, finds for a group {finds}, most places between {gap}, margin {margin} plants, rows to look at again {rows}, seed {seed}, {replicates} reshuffles.", "A lo largo de la hilera {along} m, a lo ancho {across} m, hallazgos por grupo {finds}, lugares entre medio como máximo {gap}, margen {margin} plantas, hileras a revisar {rows}, semilla {seed}, {replicates} repartos al azar.")
	sealed      = words.New("removal-seal", "Seal of the decision (SHA-256): {seal}", "Sello de la decisión (SHA-256): {seal}")

	signHead   = words.New("removal-signatures", "Signatures", "Firmas")
	forAdviser = words.New("removal-for-adviser", "Adviser: {name}", "Asesor: {name}")
	forOwner   = words.New("removal-for-owner", "Owner: seen", "Dueño: visto")
	forCrew    = words.New("removal-for-crew", "Crew: carried out as listed", "Cuadrilla: hecho según la lista")
)

// Paper says how a decision is to be printed.
type Paper struct {
	Language words.Language
	Size     paper.Size
}

// report is one being written.
type report struct {
	v   review.View
	doc hotspot.Document
	d   *paper.Doc
	l   words.Language
}

func (p Paper) head(v review.View, t words.Text) paper.Head {
	f := v.Frozen.Farm
	return paper.Head{Farm: f.Name, Invented: f.Invented, Title: t, Language: p.Language, Size: p.Size,
		Line: lineOf.With(words.Args{"day": paper.Date(v.SignedAt.In(v.Zone()), p.Language)}),
		Made: v.SignedAt, Zone: v.Zone(), Version: v.Frozen.Version, Sequence: v.Frozen.Sequence}
}

// Report prints a signed decision.
func Report(ctx context.Context, v review.View, p Paper) ([]byte, error) {
	doc, err := v.Document()
	if err != nil {
		return nil, err
	}
	r := report{v: v, doc: doc, l: p.Language, d: paper.New(ctx, p.head(v, title.With(words.Args{"block": v.Of.Name})))}
	r.mapPage()
	r.d.Page(false)
	r.decision()
	r.evidence()
	r.list()
	r.laboratory()
	r.apart()
	r.unseen()
	r.again()
	r.method()
	r.cautions()
	r.d.Heading(signHead.Plain())
	r.d.Signatures(forAdviser.With(words.Args{"name": v.SignedBy.Name}), forOwner.Plain(), forCrew.Plain())
	return r.d.Bytes()
}

func (r report) day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return paper.Date(t, r.l)
}

func (r report) mapPage() {
	s, ok := mapOf(r.v, r.doc.Settings.Causes)
	if !ok {
		r.d.Page(false)
		r.d.Paragraph(noMap.Plain())
		return
	}
	m := r.d.MapPage(paper.Ground{Show: s.show()}, s.keys(true), belowMap)
	m.Close(s.draw(m)...)
	r.d.Paragraph(mapNote.With(words.Args{"name": r.v.SignedBy.Name, "day": r.day(r.v.SignedAt.In(r.v.Zone())), "count": len(r.v.List.Remove)}))
}

func (r report) decision() {
	v := r.v
	r.d.Heading(decision.Plain())
	r.d.Paragraph(signedBy.With(words.Args{"name": v.SignedBy.Name, "account": v.SignedBy.Account, "role": people.RoleName(v.SignedBy.Role), "time": v.SignedAt.In(v.Zone()).Format("2006-01-02 15:04 MST")}))
	if v.Supersedes != "" {
		r.d.Paragraph(follows.With(words.Args{"id": string(v.Supersedes)}))
	}
	for _, t := range v.List.Says() {
		r.d.Paragraph(t)
	}
	if l := v.List; l.RowLength != nil && l.Share != nil && len(l.Remove) > 0 {
		r.d.Paragraph(costs.With(words.Args{"length": paper.Number(float64(*l.RowLength), 1), "share": paper.Number(100**l.Share, 1), "standing": *l.Standing}))
	}
	if why := v.Frozen.Choice.MarginReason; why != "" && v.List.Counts[review.BecauseMargin] > 0 {
		r.d.Paragraph(marginWhy.With(words.Args{"reason": why}))
	}
	r.d.Paragraph(reasons.With(words.Args{"reasons": v.Reasons}))
	r.d.Box(paper.Stop, noUndoing.Plain())
}

func (r report) evidence() {
	r.d.Heading(evidence.Plain())
	said := r.v.Frozen.Said[r.l]
	if r.doc.Inspected == 0 {
		r.d.Paragraph(noneSeen.Plain())
	} else {
		// The counts were checked when they were frozen.
		low, high, _ := stats.ClopperPearson(r.doc.Counted, r.doc.Inspected, 0.95)
		r.d.Paragraph(ofBlock.With(words.Args{"infected": r.doc.Counted, "inspected": r.doc.Inspected, "share": percent(float64(r.doc.Counted) / float64(r.doc.Inspected)),
			"low": percent(low), "high": percent(high)}))
	}
	if said.WhyNoP != "" {
		r.d.Paragraph(words.Verbatim(said.WhyNoP))
	}
	for _, advice := range said.Advice {
		r.d.Paragraph(words.Verbatim(advice))
	}
	r.wild()
	if len(r.doc.Groups) == 0 {
		r.d.Paragraph(noGroup.Plain())
		return
	}
	t := paper.Table{Columns: []paper.Column{{Head: group.Plain(), Right: true}, {Head: groupRows.Plain()}, {Head: groupPlants.Plain(), Right: true}, {Head: groupSays.Plain(), Wraps: true}}}
	for i, g := range r.doc.Groups {
		says := ""
		if i < len(said.Evidence) {
			says = said.Evidence[i]
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(g.Number + 1), span(g.Finds[0].Row, g.Finds[len(g.Finds)-1].Row), strconv.Itoa(len(g.Finds)), cmp.Or(says, "–")})
	}
	r.d.Table(t)
}

// wild names the wild brambles on record near the block; they carry the rust too.
func (r report) wild() {
	s, ok := mapOf(r.v, r.doc.Settings.Causes)
	if !ok {
		return
	}
	var said []string
	for _, w := range s.nearWild() {
		said = append(said, r.d.Say(wildOne.With(words.Args{"name": cmp.Or(w.name, r.d.Say(keyWild.Plain())), "metres": paper.Number(float64(w.off), 0)})))
	}
	if len(said) > 0 {
		r.d.Paragraph(wildNear.With(words.Args{"list": strings.Join(said, "; ")}))
	}
}

func percent(share float64) string { return paper.Number(100*share, 1) }

func span(from, to int) string {
	if from == to {
		return strconv.Itoa(from)
	}
	return fmt.Sprintf("%d–%d", from, to)
}

func (r report) list() {
	if len(r.v.List.Remove) == 0 {
		r.d.Heading(listHead.Plain())
		r.d.Paragraph(nothingGoes.Plain())
		return
	}
	t := paper.Table{Columns: []paper.Column{{Head: rowColumn.Plain(), Right: true}, {Head: plantColumn.Plain(), Right: true}, {Head: whyColumn.Plain()}, {Head: proofColumn.Plain(), Wraps: true}, {Head: foundColumn.Plain()}}}
	for _, take := range r.v.List.Remove {
		found := ""
		if f, ok := r.v.FirstFind(take.Place()); ok {
			found = r.day(f.FoundAt.In(r.v.Zone()))
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(take.Row), strconv.Itoa(take.Plant), r.d.Say(whys[take.Why].Plain()), r.proof(take), found})
	}
	r.d.TableUnder(listHead.Plain(), t)
}

func (r report) proof(t review.Take) string {
	if t.Why != review.BecauseConfirmed {
		return "–"
	}
	if lab, ok := r.v.Proof(t.Place()); ok {
		return r.d.Say(byLab.With(words.Args{"accession": cmp.Or(lab.Accession, lab.Laboratory)}))
	}
	return r.d.Say(byAdviser.Plain())
}

func (r report) laboratory() {
	if len(r.v.Samples) == 0 {
		r.d.Heading(labHead.Plain())
		r.d.Paragraph(noLab.Plain())
		return
	}
	t := paper.Table{Columns: []paper.Column{{Head: accession.Plain()}, {Head: laboratory.Plain(), Wraps: true}, {Head: method.Plain(), Wraps: true}, {Head: result.Plain(), Wraps: true}, {Head: resultOn.Plain()}, {Head: samplePlants.Plain(), Wraps: true}}}
	for _, s := range r.v.Samples {
		var plants []string
		for _, p := range s.Plants {
			plants = append(plants, fmt.Sprintf("%d/%d", p.Row, p.Plant))
		}
		t.Rows = append(t.Rows, []string{s.Accession, s.Laboratory, s.Method, cmp.Or(s.Result, r.d.Say(waiting.Plain())), r.day(s.ResultOn), strings.Join(plants, ", ")})
	}
	r.d.TableUnder(labHead.Plain(), t)
}

func (r report) apart() {
	if len(r.v.List.Apart) == 0 {
		r.d.Heading(apartHead.Plain())
		r.d.Paragraph(apartNone.Plain())
		return
	}
	said := r.v.Frozen.Said[r.l]
	t := paper.Table{Columns: []paper.Column{{Head: rowColumn.Plain(), Right: true}, {Head: plantColumn.Plain(), Right: true}, {Head: apartState.Plain()}, {Head: apartWhy.Plain(), Wraps: true}}}
	for _, a := range r.v.List.Apart {
		why := r.d.Say(unproved.Plain())
		if a.Why == "no-plant" {
			why = said.Apart[string(a.Find)]
		}
		t.Rows = append(t.Rows, []string{orDash(a.Row), orDash(a.Plant), r.d.Say(scouting.StateName(a.State)), why})
	}
	r.d.TableUnder(apartHead.Plain(), t)
}

func orDash(n int) string {
	if n == 0 {
		return "–"
	}
	return strconv.Itoa(n)
}

func (r report) unseen() {
	e := r.v.Effort
	r.d.Heading(unseenHead.Plain())
	if e.Of > 0 && e.Plants == e.Of {
		r.d.Paragraph(allSeen.Plain())
		return
	}
	r.d.Paragraph(unseenSays.Plain())
	if e.Of > 0 {
		r.d.Paragraph(seenOf.With(words.Args{"seen": e.Plants, "of": e.Of}))
	}
	if len(e.NotSeen) > 0 {
		r.d.Paragraph(rowsUnseen.With(words.Args{"rows": runs(e.NotSeen)}))
	}
	t := paper.Table{Columns: []paper.Column{{Head: rowColumn.Plain(), Right: true}, {Head: seenColumn.Plain(), Wraps: true}, {Head: ofColumn.Plain(), Right: true}}}
	for _, row := range e.Seen {
		if row.Whole {
			continue
		}
		var spans []string
		for _, s := range row.Spans {
			spans = append(spans, span(s.From, s.To))
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(row.Row), strings.Join(spans, ", "), strconv.Itoa(row.Of)})
	}
	if len(t.Rows) > 0 {
		r.d.Table(t)
	}
}

// runs writes ascending numbers with what runs on put together.
func runs(numbers []int) string {
	var out []string
	for i := 0; i < len(numbers); {
		k := i
		for k+1 < len(numbers) && numbers[k+1] == numbers[k]+1 {
			k++
		}
		out = append(out, span(numbers[i], numbers[k]))
		i = k + 1
	}
	return strings.Join(out, ", ")
}

func (r report) again() {
	if len(r.v.List.Inspect) == 0 {
		return
	}
	t := paper.Table{Columns: []paper.Column{{Head: rowColumn.Plain(), Right: true}, {Head: againPlants.Plain(), Wraps: true}}}
	byRow := map[int][]int{}
	for _, p := range r.v.List.Inspect {
		byRow[p.Row] = append(byRow[p.Row], p.Plant)
	}
	var rows []int
	for row := range byRow {
		rows = append(rows, row)
	}
	slices.Sort(rows)
	for _, row := range rows {
		t.Rows = append(t.Rows, []string{strconv.Itoa(row), runs(byRow[row])})
	}
	r.d.TableUnder(againHead.Plain(), t)
}

func (r report) method() {
	s := r.doc.Settings
	r.d.Heading(howHead.Plain())
	r.d.Paragraph(words.Verbatim(r.v.Frozen.Said[r.l].How))
	r.d.Paragraph(setHead.With(words.Args{"along": paper.Number(float64(s.Along), 2), "across": paper.Number(float64(s.Across), 2), "finds": s.MinFinds, "gap": s.GapPlants,
		"margin": s.MarginPlants, "rows": s.InspectRows, "seed": s.Scan.Seed, "replicates": s.Scan.Replicates}))
	r.d.Paragraph(sealed.With(words.Args{"seal": r.v.Seal}))
}

func (r report) cautions() {
	var texts []words.Text
	for _, c := range r.v.Frozen.Said[r.l].Cautions {
		texts = append(texts, words.Verbatim(c))
	}
	texts = append(texts, burning.Plain(), neighbour.Plain(), noSafety.Plain())
	if r.v.Frozen.Farm.Invented {
		texts = append(texts, invented.Plain())
	}
	r.d.Box(paper.Care, texts...)
}
