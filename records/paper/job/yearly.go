package job

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/paper"
	"caneward/records/quantity"
	"caneward/records/spray"
)

var (
	totTitle   = words.New("job-totals-title", "Product totals", "Totales por producto")
	hUses      = words.New("job-h-uses", "uses", "usos")
	hDates     = words.New("job-h-dates", "dates", "fechas")
	hReg2      = words.New("job-h-reg-short", "no.", "núm.")
	hTreated   = words.New("job-h-treated", "ac tr.", "ac trat.")
	hCovered   = words.New("job-h-covered", "ac cov.", "ac cub.")
	hActiveLb  = words.New("job-h-active-lb", "active ingredient, lb a treated acre", "ingrediente activo, lb por acre tratado")
	hCaps      = words.New("job-h-caps", "most at one place, of the caps as typed", "lo más en un lugar, de los topes escritos")
	ofYear     = words.New("job-of-year", "Calendar year {year}, whole farm", "Año {year}, toda la finca")
	totalsHow  = words.New("job-totals-how", "Applied passes by the day they ended on the farm's calendar; corrected ones are left out and their corrections counted. Sums over different ground say nothing of any one place: caps bind at every point.", "Pasadas aplicadas según el día en que terminaron; las corregidas no cuentan y sí sus correcciones. Las sumas de terrenos distintos nada dicen de un lugar: los topes rigen en cada punto.")
	noTotals   = words.New("job-no-totals", "Nothing was applied in this year.", "Nada se aplicó este año.")
	corrected  = words.New("job-corrections", "Corrections in this year", "Correcciones en este año")
	capUses    = words.New("job-cap-uses", "{value} of {most} uses in {per} ({share})", "{value} de {most} usos en {per} ({share})")
	peakAmount = words.New("job-peak-amount", "{value} of {most} {unit} in {per} ({share})", "{value} de {most} {unit} en {per} ({share})")
	peakActive = words.New("job-peak-active", "{value} of {most} {unit} of {ingredient} in {per} ({share}), all products with it", "{value} de {most} {unit} de {ingredient} en {per} ({share}), todos los productos que lo llevan")
	peakNone   = words.New("job-peak-none", "nothing on the ground of a block", "nada en el terreno de un bloque")
	peakPart   = words.New("job-peak-part", "Not all could be counted: {why}", "No todo se pudo contar: {why}")
	peakBound  = words.New("job-peak-bound", "Some passes could not be placed and were counted everywhere.", "Algunas pasadas no se pudieron situar y se contaron en todas partes.")
	peakTitle  = words.New("job-peak-title", "Most at any one place, of what labels cap", "Lo más en un solo lugar, de lo que limitan las etiquetas")
	peakHow    = words.New("job-peak-how", "The ground of every block is parted by the ground of the applied passes; on each part the uses or amounts of the days named add up. The part with the greatest sum is given, with a place on it.", "El terreno de cada bloque se divide por el de las pasadas aplicadas; en cada parte se suman los usos o cantidades de los días dichos. Se da la parte con la suma mayor y un lugar en ella.")
	hMost      = words.New("job-h-most", "most at one place, of the cap as typed", "lo más en un lugar, del tope escrito")
	hAt        = words.New("job-h-at", "latitude, longitude", "latitud, longitud")
	hCounted   = words.New("job-h-counted", "days counted", "días contados")
	perYear    = words.New("job-per-year", "a year", "un año")
	perSeason  = words.New("job-per-season", "a season", "una temporada")
	perTwelve  = words.New("job-per-twelve", "12 months", "12 meses")
	histTitle  = words.New("job-history-title", "History of a block", "Historia de un bloque")
	histOf     = words.New("job-history-of", "{block}", "{block}")
	hDay       = words.New("job-h-day", "day", "día")
	hEvent     = words.New("job-h-event", "what", "qué")
	hDetails   = words.New("job-h-details", "details", "detalles")
	hBy2       = words.New("job-h-by-whom", "by", "por")
	noHistory  = words.New("job-no-history", "Nothing is on record of this block.", "Nada está registrado de este bloque.")
	historyHow = words.New("job-history-how", "Everything on record, oldest first; nothing is erased, a correction is an entry of its own.", "Todo lo registrado, lo más antiguo primero; nada se borra, una corrección es una entrada propia.")
)

// total gathers one product over a year.
type total struct {
	name, registration string
	label              spray.Product
	dates, blocks      []string
	uses               int
	sums               []quantity.Amount // one a unit
	treated, covered   geo.SquareMetres
	si                 []quantity.Amount
}

// TotalsForm sums a calendar year by product.
func (b Book) TotalsForm(year int, l words.Language) Form {
	w := say{b, l}
	var totals []*total
	for _, s := range b.Sheets {
		if !b.counts(s, year) {
			continue
		}
		for _, line := range s.Lines {
			t := find(&totals, line)
			t.uses++
			t.dates = append(t.dates, w.day(firstOf(s.Pass.EndedAt, s.Pass.StartedAt)))
			t.blocks = append(t.blocks, w.blocks(s))
			if s.Pass.Areas != nil {
				t.treated += s.Pass.Areas.Treated
				t.covered += s.Pass.Areas.Covered
			}
			if line.Total != nil {
				t.sums = plus(t.sums, *line.Total)
				t.si = plus(t.si, line.Total.SI())
			}
		}
	}
	slices.SortStableFunc(totals, func(a, b *total) int { return strings.Compare(strings.ToLower(a.name), strings.ToLower(b.name)) })
	f := Form{Heads: []words.Message{hProduct, hReg2, hActive, hUses, hDates, hBlocks, hInAll, hTreated, hCovered, hActiveLb, hCaps}, wraps: []int{0, 2, 4, 5, 6, 7, 8, 9, 10}}
	for _, t := range totals {
		f.Rows = append(f.Rows, []string{w.or(t.name), w.or(t.registration), w.ingredients(Line{Label: t.label}), strconv.Itoa(t.uses), strings.Join(t.dates, "; "), strings.Join(unique(t.blocks), "; "),
			w.amounts(t.sums) + " (" + w.amounts(t.si) + ")", paper.Number(t.treated.Acres(), 2), paper.Number(t.covered.Acres(), 2), w.active(t), w.caps(t)})
	}
	return f
}

func (b Book) counts(s Sheet, year int) bool {
	day := firstOf(s.Pass.EndedAt, s.Pass.StartedAt)
	return s.Pass.State == spray.Applied && s.CorrectedBy == "" && !day.IsZero() && day.In(b.Zone).Year() == year
}

// find gives the total of a product: one registration number, or one name, is one.
func find(totals *[]*total, line Line) *total {
	for _, t := range *totals {
		if t.registration != "" && strings.EqualFold(t.registration, line.Label.Registration) || strings.EqualFold(t.name, line.Name) {
			return t
		}
	}
	t := &total{name: line.Name, registration: line.Label.Registration, label: line.Label}
	*totals = append(*totals, t)
	return t
}

// plus adds an amount to those of its unit.
func plus(sums []quantity.Amount, a quantity.Amount) []quantity.Amount {
	for i := range sums {
		if sums[i].Unit == a.Unit {
			sums[i].Value += a.Value
			return sums
		}
	}
	return append(sums, a)
}

func unique(list []string) []string {
	list = slices.Clone(list)
	slices.Sort(list)
	return slices.Compact(list)
}

func (s say) amounts(list []quantity.Amount) string {
	var out []string
	for i := range list {
		out = append(out, s.amount(&list[i]))
	}
	return s.or(strings.Join(out, " + "))
}

// Exact: 1 lb is 0.45359237 kg.
const kilogramsPerPound = 0.45359237

// active is the mass of each ingredient whose content is on the label, a treated
// acre over the year's treated acres.
func (s say) active(t *total) string {
	var out []string
	for _, in := range t.label.Ingredients {
		kg, known := 0.0, len(t.si) > 0
		for _, a := range t.si {
			v, ok := t.label.Active(in, a)
			kg, known = kg+v, known && ok
		}
		if known && t.treated > 0 {
			out = append(out, in.Name+" "+figure(kg/kilogramsPerPound/t.treated.Acres()))
		}
	}
	return s.or(strings.Join(out, "; "))
}

// caps are the peaks of a product's caps, in few words.
func (s say) caps(t *total) string {
	var out []string
	for _, p := range s.book.Peaks {
		if strings.EqualFold(p.Label.Name, t.name) || t.registration != "" && strings.EqualFold(p.Label.Registration, t.registration) {
			out = append(out, s.peak(p))
		}
	}
	return s.or(strings.Join(out, "; "))
}

func (s say) peak(p spray.Peak) string {
	share := paper.Number(100*p.Value/p.Cap.Value, 0) + " %"
	per := map[spray.CapClock]words.Message{spray.PerYear: perYear, spray.PerSeason: perSeason, spray.PerTwelveMonths: perTwelve}[p.Cap.Per]
	args := words.Args{"value": figure(p.Value), "most": figure(p.Cap.Value), "unit": p.Cap.PrintedUnit(), "ingredient": p.Cap.Ingredient, "per": per.Plain(), "share": share}
	switch p.Cap.What {
	case spray.CapUses:
		return s.text(capUses.With(args))
	case spray.CapIngredient:
		return s.text(peakActive.With(args))
	}
	return s.text(peakAmount.With(args))
}

// peaksForm names the place of each peak, the days counted and the days of the uses
// there.
func (s say) peaksForm() Form {
	f := Form{Heads: []words.Message{hProduct, hMost, hCounted, hBlocks, hAt, hDates}, wraps: []int{0, 1, 2, 3, 5}}
	for _, p := range s.book.Peaks {
		if p.Block.ID == "" {
			f.Rows = append(f.Rows, []string{p.Label.Name, s.peak(p), s.text(peakNone.Plain()), "", "", s.left(p)})
			continue
		}
		var days []string
		for _, day := range p.Days {
			days = append(days, paper.Date(day, s.lang))
		}
		f.Rows = append(f.Rows, []string{p.Label.Name, s.peak(p), paper.Date(p.From, s.lang) + " – " + paper.Date(p.To, s.lang), s.or(p.Block.Name), position(p.At), strings.Join(days, "; ") + s.left(p)})
	}
	return f
}

// left says what of a peak is not sure.
func (s say) left(p spray.Peak) string {
	out := ""
	if !p.Unknown.Empty() {
		out = " " + s.text(peakPart.With(words.Args{"why": p.Unknown}))
	}
	if p.Bound {
		out += " " + s.text(peakBound.Plain())
	}
	return out
}

// Totals prints a year's products.
func (b Book) Totals(ctx context.Context, year int, head paper.Head) ([]byte, error) {
	d, w := b.begin(ctx, head, totTitle, ofYear.With(words.Args{"year": strconv.Itoa(year)}))
	d.Page(true)
	d.Paragraph(totalsHow.Plain())
	f := b.TotalsForm(year, head.Language)
	if len(f.Rows) == 0 {
		d.Paragraph(noTotals.Plain())
	} else {
		d.Table(f.table())
	}
	if f := w.peaksForm(); len(f.Rows) > 0 {
		d.Paragraph(peakHow.Plain())
		d.TableUnder(peakTitle.Plain(), f.table())
	}
	fixes := Form{Heads: []words.Message{hPass, hBlocks, hApplied}, wraps: []int{1}}
	for _, s := range b.Sheets {
		if s.Corrects != "" && b.counts(s, year) {
			fixes.Rows = append(fixes.Rows, []string{string(s.ID), w.blocks(s), w.text(correctsIt.With(words.Args{"id": string(s.Corrects)}))})
		}
	}
	if len(fixes.Rows) > 0 {
		d.TableUnder(corrected.Plain(), fixes.table())
	}
	d.Box(paper.Care, cautionLabel.Plain(), cautionAreas.Plain())
	return d.Bytes()
}

// History is what is on record of one block.
type History struct {
	Block  Block
	Events []Event
}

// Event is one entry of it.
type Event struct {
	At      time.Time
	What    words.Text
	Details string
	By      string
}

// HistoryForm lists it.
func (b Book) HistoryForm(h History, l words.Language) Form {
	w := say{b, l}
	f := Form{Heads: []words.Message{hDay, hEvent, hDetails, hBy2}, wraps: []int{2}}
	for _, e := range h.Events {
		f.Rows = append(f.Rows, []string{w.day(e.At), w.text(e.What), e.Details, e.By})
	}
	return f
}

// PrintHistory prints it.
func (b Book) PrintHistory(ctx context.Context, h History, head paper.Head) ([]byte, error) {
	d, _ := b.begin(ctx, head, histTitle, histOf.With(words.Args{"block": say{b, head.Language}.or(h.Block.Name)}))
	d.Page(true)
	d.Paragraph(historyHow.Plain())
	if f := b.HistoryForm(h, head.Language); len(f.Rows) > 0 {
		d.Table(f.table())
	} else {
		d.Paragraph(noHistory.Plain())
	}
	d.Box(paper.Care, cautionLabel.Plain())
	return d.Bytes()
}

func sortEvents(events []Event) {
	slices.SortStableFunc(events, func(a, b Event) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.Details, b.Details)) })
}
