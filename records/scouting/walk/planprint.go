package walk

import (
	"context"
	"strconv"

	"caneward/blocks/words"
	"caneward/records/paper"
	"caneward/records/scouting/programme"
)

var (
	planLine     = words.New("walk-plan-line", "{programme}, seed {seed}", "{programme}, semilla {seed}")
	planNone     = words.New("walk-plan-no-programme", "No programme", "Sin programa")
	planRule     = words.New("walk-plan-rule", "Counted: {what}. {sample} ({source})", "Se cuentan: {what}. {sample} ({source})")
	keyStop      = words.New("walk-key-stop", "stop, in walking order", "parada, en orden de recorrido")
	columnStop   = words.New("walk-column-stop", "Stop", "Parada")
	columnRow    = words.New("walk-column-row", "Row", "Hilera")
	columnPlant  = words.New("walk-column-plant", "Plant", "Planta")
	columnPlace  = words.New("walk-column-place", "Latitude, longitude", "Latitud, longitud")
	columnLooked = words.New("walk-column-looked", "Looked at", "Revisados")
	columnHits   = words.New("walk-column-hits", "With it", "Con ello")
	columnNote   = words.New("walk-column-note", "Words", "Palabras")
	allStops     = words.New("walk-all-stops", "All stops", "Todas las paradas")
	entryCaution = words.New("walk-entry-caution",
		"Before you walk in: has the ground been sprayed, and has its re-entry interval ended? Ask, and read what is posted.",
		"Antes de entrar: ¿se aplicó algo en este terreno y terminó su intervalo de reingreso? Pregunte y lea lo que esté puesto.")

	stopMark = paper.Mark{Shape: paper.Square, Fill: paper.Filled, Size: 2.2}
)

// Print writes the walk for a clipboard: the map, how it was drawn, and a line
// a stop to write on. Head.Title and Head.Line are filled in here.
func (p Plan) Print(ctx context.Context, head paper.Head) ([]byte, error) {
	name := planNone.Plain()
	if p.Programme != nil {
		name = p.Programme.Title
	}
	head.Title = p.Title()
	head.Line = planLine.With(words.Args{"programme": name, "seed": strconv.FormatUint(p.Seed, 10)})
	d := paper.New(ctx, head)
	all := make([]placed, len(p.Stops))
	for i, s := range p.Stops {
		all[i] = placed{s.Place, stopMark, strconv.Itoa(i + 1)}
	}
	p.sheet(d, all, paper.Key{Text: keyStop.Plain(), Mark: &stopMark})
	d.Paragraph(p.How())
	if p.Programme != nil {
		d.Paragraph(planRule.With(words.Args{"what": p.Programme.What, "sample": p.Programme.Sample, "source": p.Programme.Source}))
	}
	if each := p.eachText(); !each.Empty() {
		d.Paragraph(each)
	}
	d.Table(p.table())
	d.Box(paper.Care, entryCaution.Plain(), programme.Caution())
	return d.Bytes()
}

func (p Plan) table() paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: columnStop.Plain(), Right: true}, {Head: columnRow.Plain(), Right: true}, {Head: columnPlant.Plain(), Right: true},
		{Head: columnPlace.Plain()}, {Head: columnLooked.Plain()}, {Head: columnHits.Plain()}, {Head: columnNote.Plain(), Wraps: true}}}
	for i, s := range p.Stops {
		at := ""
		if s.At != nil {
			// Six decimals of a degree are a tenth of a metre.
			at = strconv.FormatFloat(s.At[1], 'f', 6, 64) + ", " + strconv.FormatFloat(s.At[0], 'f', 6, 64)
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(i + 1), strconv.Itoa(s.Row), strconv.Itoa(s.Plant), at, ruled, ruled, ruled + ruled})
	}
	t.Total = []string{"", "", "", "", ruled, ruled}
	return t
}

// ruled is room to write in.
const ruled = "____________"
