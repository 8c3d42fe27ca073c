package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"net/http"
	"strconv"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/law"
	"caneward/records/paper"
	"caneward/records/paper/job"
	"caneward/records/people"
	"caneward/records/spray"
)

var (
	badMoment     = words.New("web-bad-moment", "at is a moment with its zone, such as 2026-06-10T08:00:00-05:00; this is “{got}”.", "at es un momento con su zona, como 2026-06-10T08:00:00-05:00; esto es «{got}».")
	passNamed     = words.New("web-pass-named", "Say in “pass” which pass.", "Diga en «pass» qué pasada.")
	blockNamed    = words.New("web-block-named", "Say in “block” which block.", "Diga en «block» qué bloque.")
	noSuchPass    = words.New("web-no-such-pass", "There is no such pass on this farm.", "No hay tal pasada en esta finca.")
	noSuchProduct = words.New("web-no-such-product", "There is no such product on this farm.", "No hay tal producto en esta finca.")
	noSuchLaw     = words.New("web-no-such-law", "There is no jurisdiction “{got}”; there are: {known}.", "No existe la jurisdicción «{got}»; hay: {known}.")
	lawRole       = words.New("web-law-role", "Which law a farm stands under is set by its owner; your role is {role}.", "Bajo qué ley está una finca lo fija su dueño; su función es {role}.")

	paramAt      = parameter{"at", "text", "RFC 3339; without it now"}
	paramPass    = parameter{"pass", "id", "which pass"}
	paramYear    = parameter{"year", "number", "calendar year on the farm's clock; without it this one"}
	paramProduct = parameter{"product", "id", "which product's spraying is asked about; without it every product's"}
)

func (s *Server) mayiRoutes() []route {
	pages := []reply{{200, []string{typePDF}, "binary", "the pages"}}
	table := []reply{{200, []string{"text/csv"}, "binary", "the table"}}
	routes := []route{
		{method: "GET", pattern: atFarm + "/may-i", id: "mayI", summary: "From when people may enter, pick from and spray each block", needs: farm, right: people.Read, long: true, handle: s.mayI,
			query: []parameter{paramAt, paramProduct}, replies: okJSON("mayI", "every block, its parts, and why"), refuses: []int{422}},
		{method: "GET", pattern: atFarm + "/records-due", id: "recordsDue", summary: "What the law still asks for of applied passes, the nearest deadline first", needs: farm, right: people.Read, handle: s.recordsDue,
			query: []parameter{paramAt}, replies: okJSON("recordsDue", "what is missing and by when")},
		{method: "GET", pattern: atFarm + "/pass-sheet", id: "passSheet", summary: "One pass as a record: rates as they came out, duties, clocks", needs: farm, right: people.Read, handle: s.passSheet,
			query: []parameter{paramPass, paramAt}, replies: okJSON("passSheet", "the sheet"), refuses: []int{422}},
		{method: "GET", pattern: atFarm + "/law", id: "law", summary: "The jurisdictions the farm stands under", needs: farm, right: people.Read, handle: s.showLaw,
			replies: okJSON("law", "those chosen and those there are")},
		{method: "PUT", pattern: atFarm + "/law", id: "putLaw", summary: "Choose the jurisdictions", needs: farm, right: people.Read, handle: s.putLaw, headers: []string{"If-Match", "If-None-Match"},
			body: &body{types: []string{typeJSON}, schema: "lawChoice"}, replies: okJSON("law", "as chosen"), refuses: []int{409, 412, 422, 507}},
	}
	for _, p := range s.jobPapers() {
		at := atFarm + "/reports/" + p.name
		query := append([]parameter{paramPaper, paramLang}, p.query...)
		if p.print != nil {
			routes = append(routes, route{method: "GET", pattern: at + ".pdf", id: p.id, summary: p.says, needs: farm, right: people.Read, long: true, handle: p.sendPages, query: query, replies: pages, refuses: []int{422}})
		}
		if p.table != nil {
			routes = append(routes, route{method: "GET", pattern: at + ".csv", id: p.id + "Table", summary: p.says + ", as a table", needs: farm, right: people.Read, handle: p.sendTable, query: append([]parameter{paramLang}, p.query...), replies: table, refuses: []int{422}})
		}
	}
	return routes
}

func mayiSchemas() object {
	deed := shape([]string{"answer", "reasons"}, object{"answer": object{"type": "string", "enum": []clock.Verdict{clock.Open, clock.Caution, clock.Stop}}, "from": text("RFC 3339; absent where no clock tells"),
		"reasons": list(shape([]string{"answer", "why", "source"}, object{"answer": text("open, caution or stop"), "pass": ref("id"), "from": text("RFC 3339"), "why": text("in words"), "source": text("where the rule stands")}))})
	due := shape([]string{"pass", "rule", "missing", "done", "late"}, object{"pass": ref("id"), "rule": text("of which rule"), "jurisdiction": text("as shown"), "name": text("as shown"), "done": truth, "late": truth,
		"by": text("RFC 3339"), "kept_until": text("a date"), "missing": list(text("as shown")), "missing_keys": list(text("for machines")), "source": text("where the rule stands")})
	return object{
		"mayI": shape([]string{"at", "zone", "blocks"}, object{"at": text("RFC 3339"), "zone": text("IANA time zone"), "owner_exempt": truth, "caution": text("in words"),
			"blocks": list(shape([]string{"block", "enter", "pick", "parts"}, object{"block": ref("id"), "name": text("as shown"), "enter": deed, "pick": deed,
				"parts": list(shape(nil, object{"area_m2": number, "share": number, "geometry": ref("geometry"), "passes": list(ref("id")), "enter": deed, "pick": deed, "tasks": list(ref("any")), "spray": list(ref("any"))}))}))}),
		"recordsDue": shape([]string{"due"}, object{"at": text("RFC 3339"), "due": list(due), "caution": text("in words")}),
		"passSheet": shape([]string{"pass", "state", "duties"}, object{"pass": ref("id"), "state": text("draft, ready or applied"), "restricted": truth, "rates": list(ref("any")), "duties": list(due),
			"corrected_by": text("id of the pass that corrects it, or empty"), "reentry_known": truth, "conditions": list(text("as the label says")), "coverage": ref("any"), "entry_from": text("RFC 3339"), "displayed_until": text("RFC 3339")}),
		"lawChoice": shape([]string{"jurisdictions"}, object{"jurisdictions": list(text("name of a jurisdiction")), "owner_exempt": truth}),
		"law": shape([]string{"jurisdictions", "known"}, object{"jurisdictions": list(text("name of a jurisdiction")), "owner_exempt": truth, "revision": whole, "etag": text("for If-Match"),
			"known": list(shape(nil, object{"id": text("its name"), "name": text("as shown"), "rules": list(ref("any"))}))}),
	}
}

// moment reads a parameter that is a time; now where it is not given.
func (x *exchange) moment(name string) (time.Time, error) {
	given, there := x.given(name)
	if !there {
		return x.s.Now(), nil
	}
	t, err := time.Parse(time.RFC3339, given)
	if err != nil {
		return t, badParameter(badMoment, name, given)
	}
	return t, nil
}

func (x *exchange) lawSettings() (clock.Settings, records.Document, error) {
	d, err := x.s.Store.Document(x.r.Context(), x.farm, clock.Document)
	settings, err := job.LoadSettings(d, err)
	return settings, d, err
}

func (s *Server) mayI(x *exchange) error {
	at, err := x.moment("at")
	if err != nil {
		return err
	}
	settings, _, err := x.lawSettings()
	if err != nil {
		return err
	}
	var state clock.State
	err = x.view(func(r records.Reader) error {
		state, err = clock.Load(r, settings.OwnerExempt)
		return err
	})
	if err != nil {
		return err
	}
	products, err := x.askedProducts(state)
	if err != nil {
		return err
	}
	return x.alone(func() error {
		board, err := clock.Work(x.r.Context(), state, at, products, x.lang)
		if err != nil {
			return err
		}
		body, err := board.Encode(products, x.lang)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, body)
	})
}

func (x *exchange) askedProducts(state clock.State) (products []int, err error) {
	id, one := x.given("product")
	for i, p := range state.Products {
		if !one || string(p.ID) == id {
			products = append(products, i)
		}
	}
	if one && len(products) == 0 {
		return nil, fault.New(fault.Invalid, noSuchProduct.Plain(), fault.Detail{Field: "product", Text: noSuchProduct.Plain()})
	}
	return products, nil
}

func (x *exchange) book() (b job.Book, err error) {
	settings, _, err := x.lawSettings()
	if err != nil {
		return b, err
	}
	err = x.view(func(r records.Reader) error {
		b, err = job.LoadBook(r, settings)
		return err
	})
	return b, err
}

func (s *Server) recordsDue(x *exchange) error {
	at, err := x.moment("at")
	if err != nil {
		return err
	}
	b, err := x.book()
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"at": at.In(b.Zone).Format(time.RFC3339), "due": b.DuesJSON(b.Open(at), x.lang), "caution": job.Caution().In(x.lang)})
}

func (s *Server) passSheet(x *exchange) error {
	at, err := x.moment("at")
	if err != nil {
		return err
	}
	b, err := x.book()
	if err != nil {
		return err
	}
	sheet, err := x.askedPass(b)
	if err != nil {
		return err
	}
	body, err := b.Encode(sheet, at, x.lang)
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, body)
}

func (s *Server) showLaw(x *exchange) error {
	settings, d, err := x.lawSettings()
	if err != nil {
		return err
	}
	return x.sendLaw(settings, d)
}

func (x *exchange) sendLaw(settings clock.Settings, d records.Document) error {
	chosen := settings.Jurisdictions
	if len(chosen) == 0 {
		chosen = law.Usual
	}
	known := []any{}
	for _, j := range law.Jurisdictions {
		rules := []any{}
		for _, r := range law.Rules {
			if r.Jurisdiction == j.ID {
				elements := []string{}
				for _, e := range r.Elements {
					elements = append(elements, e.Name().In(x.lang))
				}
				rules = append(rules, map[string]any{"rule": r.ID, "name": r.Name.Plain().In(x.lang), "elements": elements, "keep_years": r.KeepYears, "source": r.Source.Plain().In(x.lang)})
			}
		}
		known = append(known, map[string]any{"id": j.ID, "name": j.Name.Plain().In(x.lang), "rules": rules})
	}
	answer := map[string]any{"jurisdictions": chosen, "owner_exempt": settings.OwnerExempt, "known": known, "revision": d.Number, "etag": ""}
	if d.Number > 0 {
		answer["etag"] = d.ETag()
		x.w.Header().Set("ETag", d.ETag())
	}
	x.w.Header().Add("Vary", "Accept-Language")
	return x.json(http.StatusOK, answer)
}

func (s *Server) putLaw(x *exchange) error {
	if x.role != records.Owner {
		return fault.New(fault.Forbidden, lawRole.With(words.Args{"role": people.RoleName(x.role)}))
	}
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	if err := checkSyntax(data); err != nil {
		return err
	}
	settings, err := clock.ReadSettings(data)
	if err != nil {
		return err
	}
	if err := checkLaw(settings); err != nil {
		return err
	}
	why, err := x.headerWhy()
	if err != nil {
		return err
	}
	base, err := x.documentBase(clock.Document)
	if err != nil {
		return err
	}
	d, _, err := s.Store.PutDocument(x.r.Context(), x.farm, clock.Document, base, data, x.author(why))
	if err != nil {
		return err
	}
	return x.sendLaw(settings, d)
}

func checkLaw(settings clock.Settings) error {
	all := ""
	for _, j := range law.Jurisdictions {
		all += " " + j.ID
	}
	for i, name := range settings.Jurisdictions {
		if !law.Known(name) {
			t := noSuchLaw.With(words.Args{"got": shorten(name), "known": all[1:]})
			return fault.New(fault.Invalid, t, fault.Detail{Field: "jurisdictions[" + strconv.Itoa(i) + "]", Text: t})
		}
	}
	return nil
}

// jobPaper is one paper of passes: pages, a table, or both.
type jobPaper struct {
	name, id, says string
	query          []parameter
	print          func(context.Context, *exchange, job.Book, paper.Head) ([]byte, error)
	table          func(*exchange, job.Book) (job.Form, error)
}

func (s *Server) jobPapers() []jobPaper {
	of := func(print func(job.Book, context.Context, job.Sheet, paper.Head) ([]byte, error)) func(context.Context, *exchange, job.Book, paper.Head) ([]byte, error) {
		return func(ctx context.Context, x *exchange, b job.Book, head paper.Head) ([]byte, error) {
			sheet, err := x.askedPass(b)
			if err != nil {
				return nil, err
			}
			return print(b, ctx, sheet, head)
		}
	}
	one := []parameter{paramPass}
	return []jobPaper{
		{"tank-sheet", "tankSheet", "What goes into each tank of a pass", one, of(job.Book.TankSheet), func(x *exchange, b job.Book) (job.Form, error) {
			sheet, err := x.askedPass(b)
			return b.TankForm(sheet, x.lang), err
		}},
		{"application-record", "applicationRecord", "The record of an application", one, of(job.Book.Record), func(x *exchange, b job.Book) (job.Form, error) {
			sheet, err := x.askedPass(b)
			return b.RecordForm([]job.Sheet{sheet}, x.lang), err
		}},
		{"central-posting", "centralPosting", "What is displayed to workers", []parameter{paramAt}, func(ctx context.Context, x *exchange, b job.Book, head paper.Head) ([]byte, error) {
			at, err := x.moment("at")
			if err != nil {
				return nil, err
			}
			return b.Display(ctx, at, head)
		}, func(x *exchange, b job.Book) (job.Form, error) {
			at, err := x.moment("at")
			return b.DisplayForm(at, x.lang), err
		}},
		{"entry-sign", "entrySign", "A notice to keep out of the ground of a pass", one, of(job.Book.EntryNotice), nil},
		{"product-totals", "productTotals", "A year's products", []parameter{paramYear}, func(ctx context.Context, x *exchange, b job.Book, head paper.Head) ([]byte, error) {
			year, err := x.year(b)
			if err != nil {
				return nil, err
			}
			if b.Peaks, err = x.peaks(ctx, year); err != nil {
				return nil, err
			}
			return b.Totals(ctx, year, head)
		}, func(x *exchange, b job.Book) (job.Form, error) {
			year, err := x.year(b)
			if err == nil {
				b.Peaks, err = x.peaks(x.r.Context(), year)
			}
			return b.TotalsForm(year, x.lang), err
		}},
		{"block-history", "blockHistory", "Everything on record of a block", []parameter{{"block", "id", "which block"}}, func(ctx context.Context, x *exchange, b job.Book, head paper.Head) ([]byte, error) {
			h, err := x.history(b, head.Language)
			if err != nil {
				return nil, err
			}
			return b.PrintHistory(ctx, h, head)
		}, func(x *exchange, b job.Book) (job.Form, error) {
			h, err := x.history(b, x.lang)
			return b.HistoryForm(h, x.lang), err
		}},
		{"records-due", "recordsDue", "What the law still asks for", []parameter{paramAt}, nil, func(x *exchange, b job.Book) (job.Form, error) {
			at, err := x.moment("at")
			return b.DueForm(at, x.lang), err
		}},
	}
}

func (x *exchange) askedPass(b job.Book) (job.Sheet, error) {
	id, there := x.given("pass")
	if !there {
		return job.Sheet{}, fault.New(fault.Malformed, passNamed.Plain(), fault.Detail{Text: passNamed.Plain(), Field: "pass"})
	}
	sheet, err := b.Find(records.ID(id))
	if fault.Is(err, fault.Missing) {
		return sheet, fault.New(fault.Invalid, noSuchPass.Plain(), fault.Detail{Text: noSuchPass.Plain(), Field: "pass"})
	}
	return sheet, err
}

func (x *exchange) year(b job.Book) (int, error) {
	q := figures{x: x}
	year := int(q.number("year", float64(x.s.Now().In(b.Zone).Year()), 1900, 2200))
	return year, q.err
}

// peaks are worked out once nothing is read any more.
func (x *exchange) peaks(ctx context.Context, year int) ([]spray.Peak, error) {
	var y spray.Year
	if err := x.view(func(r records.Reader) (err error) {
		y, err = spray.LoadYear(r, year)
		return err
	}); err != nil {
		return nil, err
	}
	return y.Peaks(ctx)
}

func (x *exchange) history(b job.Book, l words.Language) (h job.History, err error) {
	id, there := x.given("block")
	if !there {
		return h, fault.New(fault.Malformed, blockNamed.Plain(), fault.Detail{Text: blockNamed.Plain(), Field: "block"})
	}
	err = x.view(func(r records.Reader) error {
		h, err = b.LoadHistory(r, records.ID(id), l)
		return err
	})
	return h, blockMissing(err)
}

// speak takes the language of a paper from its parameter.
func (x *exchange) speak() error {
	switch lang, there := x.given("lang"); {
	case !there:
	case lang == string(words.English) || lang == string(words.Spanish):
		x.lang = words.Language(lang)
	default:
		return badParameter(badLang, "lang", lang)
	}
	return nil
}

func (p jobPaper) sendPages(x *exchange) error {
	if err := x.speak(); err != nil {
		return err
	}
	b, err := x.book()
	if err != nil {
		return err
	}
	var head paper.Head
	err = x.view(func(r records.Reader) error {
		head, err = x.head(r)
		return err
	})
	if err != nil {
		return err
	}
	return x.alone(func() error {
		data, err := p.print(x.r.Context(), x, b, head)
		if err != nil {
			return err
		}
		return x.attached(p.name+".pdf", typePDF, data)
	})
}

func (p jobPaper) sendTable(x *exchange) error {
	if err := x.speak(); err != nil {
		return err
	}
	b, err := x.book()
	if err != nil {
		return err
	}
	f, err := p.table(x, b)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	var heads []string
	for _, h := range f.Heads {
		heads = append(heads, h.Plain().In(x.lang))
	}
	rows := append([][]string{heads}, f.Rows...)
	for _, row := range rows {
		line := make([]string, len(row))
		for i, cell := range row {
			line[i] = harmless(cell)
		}
		if err := w.Write(line); err != nil {
			return err
		}
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return err
	}
	return x.attached(p.name+".csv", "text/csv; charset=utf-8; header=present", out.Bytes())
}
