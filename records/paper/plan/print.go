package plan

import (
	"context"
	"fmt"
	"math"
	"strings"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/records/paper"
	"caneward/records/review"
)

var (
	title     = words.New("plan-title", "Planting plan: {block}", "Plano de plantación: {block}")
	lineOf    = words.New("plan-line", "Plan of {day}", "Plano del {day}")
	onRecord  = words.New("plan-on-record", "Rows as on record.", "Hileras según los registros.")
	notStored = words.New("plan-not-stored", "Rows as laid out from the figures given; they are not on record.", "Hileras trazadas con los datos indicados; no están en los registros.")

	holds     = words.New("plan-holds", "{rows} rows, {length} of row, places for {places} plants.", "{rows} hileras, {length} de hilera, lugares para {places} plantas.")
	ofEmpty   = words.New("plan-of-empty", "{empty} of them are empty now.", "{empty} de ellos están vacíos ahora.")
	longest   = words.New("plan-longest", "Longest: row {longest}, {most}. Shortest: row {shortest}, {least}.", "La más larga: hilera {longest}, {most}. La más corta: hilera {shortest}, {least}.")
	spaced    = words.New("plan-spaced", "Rows {row} apart, plants {plant} apart in the row.", "Hileras a {row}, plantas a {plant} en la hilera.")
	straight  = words.New("plan-straight", "Rows run {bearing}° from true north.", "Las hileras corren a {bearing}° del norte verdadero.")
	guided    = words.New("plan-guided", "Rows run beside a guide line that bends.", "Las hileras corren junto a una línea guía que se curva.")
	headlands = words.New("plan-headlands", "Headlands {width} at both row ends.", "Cabeceras de {width} en ambos extremos.")
	margins   = words.New("plan-margins", "Side margins {width}.", "Márgenes laterales de {width}.")
	alleys    = words.New("plan-alleys", "An alley {width} wider after every {rows} rows.", "Una calle {width} más ancha cada {rows} hileras.")
	ofCrop    = words.New("plan-crop", "{crop}.", "{crop}.")
	plantedOn = words.New("plan-planted-on", "Planted {day}.", "Plantado el {day}.")
	follows   = words.New("plan-follows", "The outline follows {what}.", "El contorno sigue {what}.")
	followsOf = map[blocks.Follows]words.Message{
		blocks.Fence:  words.New("plan-follows-fence", "the fence", "la cerca"),
		blocks.Posts:  words.New("plan-follows-posts", "the posts", "los postes"),
		blocks.Canopy: words.New("plan-follows-canopy", "the canopy", "el follaje"),
	}
)

// Title names the plan.
func (p Plan) Title() words.Text { return title.With(words.Args{"block": p.block.Name}) }

// Print writes the plan: the map on the first page, then figures and cautions,
// then the rows. Head.Title and Head.Line are filled in here.
func Print(ctx context.Context, p Plan, head paper.Head) ([]byte, error) {
	head.Title = p.Title()
	zone := head.Zone
	day := head.Made
	if zone != nil {
		day = day.In(zone)
	}
	head.Line = lineOf.With(words.Args{"day": paper.Date(day, head.Language)})
	d := paper.New(ctx, head)
	ground := paper.Ground{Show: p.show()}
	if p.ask.RowsUp {
		ground.Up = p.bearing
	}
	m := d.MapPage(ground, p.keys(p.ask.PostSpacing > 0), belowMap)
	m.Close(p.draw(m)...)
	d.Paragraph(p.facts(head.Language))
	d.Page(false)
	if err := p.figures(d); err != nil {
		return nil, err
	}
	p.table(d)
	return d.Bytes()
}

// belowMap is the room for the facts: five lines at most.
const belowMap paper.Millimetres = 23

// facts are what is said below the map.
func (p Plan) facts(l words.Language) words.Text {
	var says []string
	say := func(t words.Text) { says = append(says, t.In(l)) }
	length, places, empty := p.totals()
	say(holds.With(words.Args{"rows": paper.Number(float64(len(p.rows)), 0), "length": metresAndFeet(length), "places": paper.Number(float64(places), 0)}))
	if empty > 0 {
		say(ofEmpty.With(words.Args{"empty": paper.Number(float64(empty), 0)}))
	}
	if len(p.rows) > 0 {
		most, least := p.extremes()
		say(longest.With(words.Args{"longest": most.number(), "most": metresAndFeet(most.length()), "shortest": least.number(), "least": metresAndFeet(least.length())}))
	}
	if p.rowSpacing > 0 && p.plant > 0 {
		say(spaced.With(words.Args{"row": spacingText(p.rowSpacing), "plant": spacingText(p.plant)}))
	}
	spec := p.layout.Spec
	if spec.Guide != nil {
		say(guided.Plain())
	} else if len(p.rows) > 0 {
		say(straight.With(words.Args{"bearing": paper.Number(float64(p.bearing.Normal()), 1)}))
	}
	if spec.Headland > 0 {
		say(headlands.With(words.Args{"width": spacingText(spec.Headland)}))
	}
	if spec.SideMargin > 0 {
		say(margins.With(words.Args{"width": spacingText(spec.SideMargin)}))
	}
	if spec.AlleyEvery > 0 {
		say(alleys.With(words.Args{"width": spacingText(spec.AlleyWidth), "rows": spec.AlleyEvery}))
	}
	if crop := strings.Trim(p.block.Crop+", "+p.block.Cultivar, ", "); crop != "" {
		say(ofCrop.With(words.Args{"crop": upperFirst(crop)}))
	}
	if name, known := followsOf[p.block.OutlineFollows]; known {
		say(follows.With(words.Args{"what": name.Plain()}))
	}
	if p.stored {
		say(onRecord.Plain())
	} else {
		say(notStored.Plain())
	}
	return words.Verbatim(strings.Join(says, " "))
}

func upperFirst(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

// totals are of the rows that are planted; empty places are among the places.
func (p Plan) totals() (length geo.Metres, places, empty int) {
	for _, r := range p.rows {
		if !r.skipped() {
			length += r.length()
			places += r.places()
			empty += r.empty()
		}
	}
	return length, places, empty
}

func (p Plan) extremes() (most, least row) {
	first := true
	for _, r := range p.rows {
		if r.skipped() {
			continue
		}
		if first || r.length() > most.length() {
			most = r
		}
		if first || r.length() < least.length() {
			least = r
		}
		first = false
	}
	return most, least
}

// metresAndFeet says a length in both: to 0.1 m and whole feet.
func metresAndFeet(m geo.Metres) string {
	return fmt.Sprintf("%s m (%s ft)", paper.Number(float64(m), 1), paper.Number(m.Feet(), 0))
}

// spacingText says a distance somebody set: to 1 cm and a tenth of a foot.
func spacingText(m geo.Metres) string {
	return fmt.Sprintf("%s m (%s ft)", paper.Number(float64(m), 2), paper.Number(m.Feet(), 1))
}

var (
	areasHead   = words.New("plan-areas", "Three areas", "Tres superficies")
	areaColumn  = words.New("plan-area", "Area", "Superficie")
	squareM     = words.New("plan-square-metres", "m²", "m²")
	acreColumn  = words.New("plan-acres", "acre", "acre")
	haColumn    = words.New("plan-hectares", "ha", "ha")
	howColumn   = words.New("plan-how", "How", "Cómo")
	outlineArea = words.New("plan-outline-area", "Outline", "Contorno")
	outlineHow  = words.New("plan-outline-how", "inside the outline, holes taken off, on the ellipsoid", "dentro del contorno, sin los huecos, sobre el elipsoide")
	plantedArea = words.New("plan-planted-area", "Planted", "Plantada")
	plantedHow  = words.New("plan-planted-how", "{length} of row × {spacing} between rows", "{length} de hilera × {spacing} entre hileras")
	stripsHow   = words.New("plan-strips-how", "ground of the rows' strips, headlands taken off", "terreno de las franjas de las hileras, sin cabeceras")
	bandArea    = words.New("plan-band-area", "Band", "Banda")
	bandHow     = words.New("plan-band-how", "{length} of row × band of {width}", "{length} de hilera × banda de {width}")
	saysFollows = words.New("plan-which-area", "A rate “per acre” means one of these: the label or the quotation says which.", "Una dosis «por acre» se refiere a una de estas: lo dice la etiqueta o la cotización.")

	orderHead    = words.New("plan-order", "To order", "Para pedir")
	itemColumn   = words.New("plan-item", "What", "Qué")
	sourceColumn = words.New("plan-source", "Source", "Origen")
	countColumn  = words.New("plan-count", "How many", "Cuánto")
	recordHow    = words.New("plan-record-how", "places of all rows on record, empty ones included", "lugares de todas las hileras registradas, incluidos los vacíos")

	bookHead  = words.New("plan-book", "Handbook figure and count", "Cifra de manual y cuenta")
	bookItem  = words.New("plan-book-item", "Handbook formula over the outline", "Fórmula de manual sobre el contorno")
	countItem = words.New("plan-count-item", "Counted on this ground", "Contado en este terreno")
	countHow  = words.New("plan-count-how", "row by row; see the table", "hilera por hilera; vea la tabla")
	bookWhy   = words.New("plan-book-why", "They differ because the formula knows no headlands, alleys or holes, and because a row holds whole plants, one at each end: {percent} % here.", "Difieren porque la fórmula no conoce cabeceras, calles ni huecos, y porque una hilera lleva plantas enteras, una en cada extremo: {percent} % aquí.")

	plantsColumn = words.New("plan-plants", "Plants", "Plantas")

	measureFirst = words.New("plan-measure-first", "Measure one row before you order. The areas and lengths come from a drawn outline: drawn 1 m wrong all round, it changes this area by about {percent} %, and the plants with it.", "Mida una hilera antes de pedir. Las superficies y largos vienen de un contorno dibujado: si está 1 m mal por todos lados, esta superficie cambia cerca de {percent} %, y con ella las plantas.")
	measureWhich = words.New("plan-measure-which", "This outline follows {what}; rows end short of a fence, and past or at the posts.", "Este contorno sigue {what}; las hileras terminan antes de una cerca, y en los postes o más allá.")
	flatCaution  = words.New("plan-flat", "The plan is flat: it knows nothing of slope, wet ground or stone. Slopes above 12 to 15 degrees are a hazard for machines.", "El plano es horizontal: no conoce pendientes, suelo húmedo ni piedra. Las pendientes de más de 12 a 15 grados son un peligro para las máquinas.")
	digCaution   = words.New("plan-dig", "Before posts are driven or trenches opened, have buried pipes and cables marked, and look up for wires.", "Antes de hincar postes o abrir zanjas, haga marcar tuberías y cables enterrados, y mire si hay cables arriba.")
)

// figures are areas, order and comparison, each with how, and the cautions.
func (p Plan) figures(d *paper.Doc) error {
	p.areas(d)
	if err := p.order(d); err != nil {
		return err
	}
	p.cautions(d)
	p.handbook(d)
	return nil
}

func (p Plan) areas(d *paper.Doc) {
	d.Heading(areasHead.Plain())
	length := p.layout.RowLength
	line := func(name words.Message, a geo.SquareMetres, how words.Text) []string {
		fine := 2
		if a.Acres() < 1 {
			fine = 3
		}
		return []string{d.Say(name.Plain()), paper.Number(float64(a), 0), paper.Number(a.Acres(), fine), paper.Number(a.Hectares(), fine+1), d.Say(how)}
	}
	rows := [][]string{line(outlineArea, p.layout.Outline, outlineHow.Plain())}
	switch {
	case !p.stored:
		rows = append(rows, line(plantedArea, p.layout.Planted, stripsHow.Plain()))
	case p.rowSpacing > 0:
		rows = append(rows, line(plantedArea, p.layout.Planted, plantedHow.With(words.Args{"length": metresAndFeet(length), "spacing": spacingText(p.rowSpacing)})))
	}
	if p.ask.Band > 0 {
		rows = append(rows, line(bandArea, geo.SquareMetres(float64(length)*float64(p.ask.Band)), bandHow.With(words.Args{"length": metresAndFeet(length), "width": spacingText(p.ask.Band)})))
	}
	d.Table(paper.Table{Columns: []paper.Column{{Head: areaColumn.Plain()}, {Head: squareM.Plain(), Right: true}, {Head: acreColumn.Plain(), Right: true}, {Head: haColumn.Plain(), Right: true}, {Head: howColumn.Plain(), Wraps: true}}, Rows: rows})
	d.Paragraph(saysFollows.Plain())
}

// orderItems name the figures of an order.
var orderItems = map[string]words.Message{
	"plants":    words.New("plan-item-plants", "Plants that fit", "Plantas que caben"),
	"to-order":  words.New("plan-item-to-order", "Plants to order", "Plantas para pedir"),
	"posts":     words.New("plan-item-posts", "Posts, all", "Postes, todos"),
	"end-posts": words.New("plan-item-end-posts", "of these end posts", "de ellos, de extremo"),
	"wire":      words.New("plan-item-wire", "Wire", "Alambre"),
	"line":      words.New("plan-item-line", "Emitter line", "Línea de goteo"),
}

var (
	fillItem   = words.New("plan-item-fill", "For the empty places alone", "Solo para los lugares vacíos")
	fillSource = words.New("plan-fill-source", "counted on record", "contado en los registros")
)

func (p Plan) order(d *paper.Doc) error {
	d.Heading(orderHead.Plain())
	o, err := p.layout.Order(p.ask.Supplies)
	if err != nil {
		return err
	}
	var rows [][]string
	for _, f := range o.How {
		how := f.Text
		if f.What == "plants" && p.stored {
			how = recordHow.Plain()
		}
		amount := paper.Number(f.Value, 0)
		if f.Unit == "m" {
			amount = fmt.Sprintf("%s m (%s ft)", paper.Number(math.Ceil(f.Value), 0), paper.Number(math.Ceil(geo.Metres(f.Value).Feet()), 0))
		}
		rows = append(rows, []string{d.Say(orderItems[f.What].Plain()), amount, d.Say(how), d.Say(f.Source)})
	}
	if f := p.toFill; f != nil && f.Empty > 0 {
		rows = append(rows, []string{d.Say(fillItem.Plain()), paper.Number(float64(f.Empty), 0), d.Say(f.How()), d.Say(fillSource.Plain())})
	}
	d.Table(paper.Table{Columns: []paper.Column{{Head: itemColumn.Plain()}, {Head: countColumn.Plain(), Right: true}, {Head: howColumn.Plain(), Wraps: true}, {Head: sourceColumn.Plain(), Wraps: true}}, Rows: rows})
	if f := p.toFill; f != nil && f.Taken > 0 {
		d.Paragraph(review.Wait())
	}
	return nil
}

func (p Plan) cautions(d *paper.Doc) {
	area := float64(measure.Area(p.outline))
	texts := []words.Text{measureFirst.With(words.Args{"percent": paper.Number(100*float64(p.ground.Perimeter())/area, 0)})}
	if name, known := followsOf[p.block.OutlineFollows]; known {
		texts = append(texts, measureWhich.With(words.Args{"what": name.Plain()}))
	}
	d.Box(paper.Care, append(texts, flatCaution.Plain(), digCaution.Plain())...)
}

// handbook sets the gross formula beside the count, and says why they differ.
func (p Plan) handbook(d *paper.Doc) {
	if p.rowSpacing <= 0 || p.plant <= 0 {
		return
	}
	d.Heading(bookHead.Plain())
	book := p.layout.Handbook()
	places := float64(p.layout.Plants)
	d.Table(paper.Table{
		Columns: []paper.Column{{Head: itemColumn.Plain()}, {Head: plantsColumn.Plain(), Right: true}, {Head: howColumn.Plain(), Wraps: true}},
		Rows: [][]string{
			{d.Say(bookItem.Plain()), paper.Number(book.Plants, 0), d.Say(book.How)},
			{d.Say(countItem.Plain()), paper.Number(places, 0), d.Say(countHow.Plain())},
		},
	})
	d.Paragraph(bookWhy.With(words.Args{"percent": paper.Number(100*(places-book.Plants)/book.Plants, 0)}))
	if p.stored {
		return
	}
	for _, why := range p.layout.Differences() {
		d.Paragraph(why.Text)
	}
}

var (
	rowsHead      = words.New("plan-rows", "Rows", "Hileras")
	numberColumn  = words.New("plan-row-column", "Row", "Hilera")
	partsColumn   = words.New("plan-parts-column", "Stretches, m", "Tramos, m")
	metresColumn  = words.New("plan-metres-column", "Length, m", "Largo, m")
	feetColumn    = words.New("plan-feet-column", "Length, ft", "Largo, pies")
	placesColumn  = words.New("plan-places-column", "Places", "Lugares")
	missingColumn = words.New("plan-missing-column", "of these empty", "de ellos vacíos")
	rangeColumn   = words.New("plan-range-column", "Plants, first to last", "Plantas, primera a última")
	postsColumn   = words.New("plan-posts-column", "Posts", "Postes")
	skippedCell   = words.New("plan-skipped-cell", "unplanted", "sin plantar")
	totalCell     = words.New("plan-total", "All", "Todas")
)

// table lists the rows.
func (p Plan) table(d *paper.Doc) {
	withPosts, withMissing, withParts := p.ask.PostSpacing > 0, false, false
	for _, r := range p.rows {
		withMissing = withMissing || r.empty() > 0
		withParts = withParts || len(r.Lines) > 1
	}
	t := paper.Table{Columns: []paper.Column{{Head: numberColumn.Plain(), Right: true}, {Head: metresColumn.Plain(), Right: true}, {Head: feetColumn.Plain(), Right: true},
		{Head: placesColumn.Plain(), Right: true}}}
	if withMissing {
		t.Columns = append(t.Columns, paper.Column{Head: missingColumn.Plain(), Right: true})
	}
	if withPosts {
		t.Columns = append(t.Columns, paper.Column{Head: postsColumn.Plain(), Right: true})
	}
	t.Columns = append(t.Columns, paper.Column{Head: rangeColumn.Plain(), Wraps: true})
	if withParts {
		t.Columns = append(t.Columns, paper.Column{Head: partsColumn.Plain(), Wraps: true})
	}
	var length geo.Metres
	var places, missing, postCount int
	for i, r := range p.rows {
		cells := []string{paper.Number(float64(r.number()), 0), paper.Number(float64(r.length()), 1), paper.Number(r.length().Feet(), 0)}
		if r.skipped() {
			t.Rows = append(t.Rows, append(cells, d.Say(skippedCell.Plain())))
			continue
		}
		length, places, missing = length+r.length(), places+r.places(), missing+r.empty()
		cells = append(cells, paper.Number(float64(r.places()), 0))
		if withMissing {
			cells = append(cells, paper.Number(float64(r.empty()), 0))
		}
		if withPosts {
			n := p.layout.Rows[i].Posts
			postCount += n
			cells = append(cells, paper.Number(float64(n), 0))
		}
		t.Rows = append(t.Rows, append(cells, r.ranges(), r.stretches()))
	}
	t.Total = []string{d.Say(totalCell.Plain()), paper.Number(float64(length), 1), paper.Number(length.Feet(), 0), paper.Number(float64(places), 0)}
	if withMissing {
		t.Total = append(t.Total, paper.Number(float64(missing), 0))
	}
	if withPosts {
		t.Total = append(t.Total, paper.Number(float64(postCount), 0))
	}
	d.TableUnder(rowsHead.Plain(), t)
}

// ranges are the numbers that have a place, run by run.
func (r row) ranges() string {
	var out []string
	for i := 0; i < len(r.Runs); i++ {
		from, part, last := r.Runs[i].From, r.Runs[i].Part, r.Runs[i].Last()
		for i+1 < len(r.Runs) && r.Runs[i+1].From == last+1 && r.Runs[i+1].Part == part {
			i++
			last = r.Runs[i].Last()
		}
		out = append(out, fmt.Sprintf("%d–%d", from, last))
	}
	return strings.Join(out, ", ")
}

// stretches are the lengths of a row in several parts.
func (r row) stretches() string {
	if len(r.Lines) < 2 {
		return ""
	}
	var out []string
	for _, line := range r.Lines {
		out = append(out, paper.Number(float64(line.Length()), 1))
	}
	return strings.Join(out, " + ")
}
