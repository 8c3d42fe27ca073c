package job

import (
	"context"
	"strings"
	"time"

	"caneward/blocks/words"
	"caneward/geo/plane"
	"caneward/records/law"
	"caneward/records/paper"
	"caneward/records/spray"
)

// Form is a table that goes on paper and into a spreadsheet alike.
type Form struct {
	Heads []words.Message
	Rows  [][]string
	wraps []int
}

func (f Form) table() paper.Table {
	t := paper.Table{Rows: f.Rows}
	for i, h := range f.Heads {
		c := paper.Column{Head: h.Plain()}
		for _, w := range f.wraps {
			c.Wraps = c.Wraps || w == i
		}
		t.Columns = append(t.Columns, c)
	}
	return t
}

var (
	hWhat     = words.New("job-h-what", "what", "qué")
	hIs       = words.New("job-h-is", "on record", "registrado")
	hProduct  = words.New("job-h-product", "product", "producto")
	hReg      = words.New("job-h-reg", "registration number", "número de registro")
	hActive   = words.New("job-h-active", "active ingredients", "ingredientes activos")
	hAmount   = words.New("job-h-amount", "total amount of product", "cantidad total de producto")
	hRate     = words.New("job-h-rate", "rate", "dosis")
	hREI      = words.New("job-h-rei", "re-entry", "reentrada")
	hPHI      = words.New("job-h-phi", "before harvest", "antes de cosecha")
	hPlace    = words.New("job-h-place", "location", "lugar")
	hSite     = words.New("job-h-site", "crop", "cultivo")
	hSize     = words.New("job-h-size", "size", "superficie")
	hStart    = words.New("job-h-start", "started", "inicio")
	hEnd      = words.New("job-h-end", "ended", "final")
	hEntry    = words.New("job-h-entry", "entry from", "entrada desde")
	hFull     = words.New("job-h-full", "in each full tank", "en cada tanque lleno")
	hLast     = words.New("job-h-last", "in the last tank", "en el último tanque")
	hInAll    = words.New("job-h-all", "in all", "en total")
	hRule     = words.New("job-h-rule", "asked by", "lo pide")
	hMissing  = words.New("job-h-missing", "missing", "falta")
	hBy       = words.New("job-h-by", "by", "antes de")
	hKept     = words.New("job-h-kept", "kept until", "se guarda hasta")
	hApplied  = words.New("job-h-applied", "applied", "aplicado")
	hBlocks   = words.New("job-h-blocks", "blocks", "bloques")
	hPass     = words.New("job-h-pass", "record", "registro")
	hDisplay  = words.New("job-h-display", "shown until", "se exhibe hasta")
	nothing   = words.New("job-nothing", "nothing missing", "no falta nada")
	tankTitle = words.New("job-tank-title", "Tank sheet", "Hoja de tanque")
	recTitle  = words.New("job-record-title", "Application record", "Registro de aplicación")
	disTitle  = words.New("job-display-title", "Central display of applications", "Exhibición central de aplicaciones")
	dueTitle  = words.New("job-due-title", "Records due", "Registros pendientes")
	signTitle = words.New("job-sign-title", "Keep out", "No entrar")

	lineOf      = words.New("job-line", "{blocks}, {day}", "{blocks}, {day}")
	lineDay     = words.New("job-line-day", "{day}", "{day}")
	notApplied  = words.New("job-not-applied", "Planned, not carried out: this is no record of an application.", "Planeado, no aplicado: esto no es un registro de aplicación.")
	correctedBy = words.New("job-corrected-by", "Corrected by a later record ({id}). This one stays as it was.", "Corregido por un registro posterior ({id}). Este queda como estaba.")
	correctsIt  = words.New("job-corrects", "Corrects the record {id}, which stays.", "Corrige el registro {id}, que se conserva.")
	stopPassed  = words.New("job-stop-passed", "A check that said stop was passed; the reason typed: {reason}", "Se pasó una revisión que decía alto; la razón escrita: {reason}")
	noTanks     = words.New("job-no-tanks", "Tanks were not worked out: the draft had no carrier or no tank.", "No se calcularon tanques: el borrador no tenía caldo o tanque.")
	tankLine    = words.New("job-tank-line", "Spray {carrier}; full tanks {full}, the last {last}.", "Caldo {carrier}; tanques llenos {full}, el último {last}.")
	fiveHead    = words.New("job-five", "What 7 CFR 110.3(a) names", "Lo que nombra 7 CFR 110.3(a)")
	restHead    = words.New("job-rest", "The rest on record", "Lo demás registrado")
	askedHead   = words.New("job-asked", "What the farm's jurisdictions ask for", "Lo que piden las jurisdicciones de la finca")
	mixHead     = words.New("job-mix", "Products", "Productos")
	checksHead  = words.New("job-checks", "Checks kept with it", "Revisiones guardadas")
	keyTreated  = words.New("job-key-treated", "ground of the pass", "terreno de la pasada")
	signsDown   = words.New("job-signs-down", "signs recorded as down", "letreros registrados como quitados")
)

func (b Book) begin(ctx context.Context, head paper.Head, title words.Message, line words.Text) (*paper.Doc, say) {
	head.Title, head.Line = title.Plain(), line
	return paper.New(ctx, head), say{b, head.Language}
}

func (s say) lineOf(sheet Sheet) words.Text {
	return lineOf.With(words.Args{"blocks": s.blocks(sheet), "day": s.day(sheet.begun())})
}

// TankForm is what goes into each tank.
func (b Book) TankForm(s Sheet, l words.Language) Form {
	w := say{b, l}
	f := Form{Heads: []words.Message{hProduct, hRate, hFull, hLast, hInAll}, wraps: []int{0}}
	for i, line := range s.Lines {
		row := []string{w.or(line.Name), w.lineRate(line), "–", "–", w.both(line.Total)}
		if t := s.tanks(); t != nil {
			if i < len(t.Each) {
				row[2] = w.both(&t.Each[i].Amount)
			}
			if i < len(t.InLast) {
				row[3] = w.both(&t.InLast[i].Amount)
			}
		}
		f.Rows = append(f.Rows, row)
	}
	return f
}

// TankSheet prints what to mix.
func (b Book) TankSheet(ctx context.Context, s Sheet, head paper.Head) ([]byte, error) {
	d, w := b.begin(ctx, head, tankTitle, say{b, head.Language}.lineOf(s))
	d.Page(false)
	d.Box(paper.Care, cautionLabel.Plain(), cautionEntry.Plain())
	tanks := s.tanks()
	if tanks == nil {
		d.Paragraph(noTanks.Plain())
	} else {
		last := tanks.Last
		d.Paragraph(tankLine.With(words.Args{"carrier": w.both(s.Carrier), "full": tanks.Full, "last": w.both(&last)}))
	}
	d.TableUnder(mixHead.Plain(), b.TankForm(s, head.Language).table())
	d.Table(b.aboutForm(s, w).table())
	if s.StopReason != "" {
		d.Box(paper.Stop, stopPassed.With(words.Args{"reason": s.StopReason}))
	}
	if s.Restricted() {
		d.Box(paper.Stop, cautionRestricted.Plain())
	}
	d.Box(paper.Care, cautionMix.Plain(), cautionAreas.Plain(), cautionPoison.Plain())
	return d.Bytes()
}

// aboutForm is where, how large, how and with what.
func (b Book) aboutForm(s Sheet, w say) Form {
	f := Form{Heads: []words.Message{hWhat, hIs}, wraps: []int{1}}
	add := func(e law.Element, text string) { f.Rows = append(f.Rows, []string{w.text(e.Name()), text}) }
	add(law.Place, w.place(s))
	add(law.Site, w.or(strings.Join(s.Crops(), ", ")))
	if a := s.Pass.Areas; a != nil {
		f.Rows = append(f.Rows, []string{w.text(treatedName.Plain()), acres(a.Treated)}, []string{w.text(coveredName.Plain()), acres(a.Covered)}, []string{w.text(withheldName.Plain()), acres(a.Withheld)})
	}
	add(law.Method, w.or(strings.Trim(w.pattern(s.Pass.Pattern)+", "+s.Equipment, ", ")))
	add(law.Target, w.or(s.Target))
	return f
}

var (
	treatedName  = words.New("job-treated", "treated (sets the product)", "tratado (fija el producto)")
	coveredName  = words.New("job-covered", "covered (the size of a restricted-use record)", "cubierto (la superficie de un registro de uso restringido)")
	withheldName = words.New("job-withheld", "withheld in setbacks", "retenido en retiros")
	trackName    = words.New("job-track", "by the recorded track", "según el recorrido")
	weatherName  = words.New("job-weather", "weather", "tiempo")
	volumeName   = words.New("job-volume", "volume of spray", "volumen de caldo")
	whyName      = words.New("job-why", "why another amount than planned", "por qué otra cantidad que la planeada")
	writtenName  = words.New("job-written", "written", "escrito")
	supervisor   = words.New("job-supervisor", "supervised by", "supervisado por")
)

// RecordForm is one line a product: the elements of 7 CFR 110.3(a) and what the
// states add, for spreadsheets.
func (b Book) RecordForm(sheets []Sheet, l words.Language) Form {
	w := say{b, l}
	f := Form{Heads: []words.Message{hPass, hProduct, hReg, hActive, hAmount, hRate, hPlace, hSize, hSite, hStart, hEnd, whoHead, licenceHead, weatherName, targetHead, methodHead}}
	for _, s := range sheets {
		for _, line := range s.Lines {
			f.Rows = append(f.Rows, []string{string(s.ID), line.Name, line.Label.Registration, w.ingredients(line), w.amount(line.Total), w.lineRate(line), w.place(s), w.size(s), strings.Join(s.Crops(), ", "),
				w.stamp(s.Pass.StartedAt), w.stamp(s.Pass.EndedAt), s.Pass.People.Applicator, s.Pass.People.Certification, w.weather(s.Pass.Weather), s.Target, s.Equipment})
		}
	}
	return f
}

var (
	whoHead     = words.New("job-h-who", "applicator", "aplicador")
	licenceHead = words.New("job-h-licence", "certification number", "número de certificación")
	targetHead  = words.New("job-h-target", "target", "objetivo")
	methodHead  = words.New("job-h-method", "equipment", "equipo")
)

func (s say) stamp(t time.Time) string { return s.book.stamp(t) }

// Record prints the record of one application, with what is still missing.
func (b Book) Record(ctx context.Context, s Sheet, head paper.Head) ([]byte, error) {
	d, w := b.begin(ctx, head, recTitle, say{b, head.Language}.lineOf(s))
	d.Page(false)
	switch {
	case s.Pass.State != spray.Applied:
		d.Box(paper.Stop, notApplied.Plain())
	case s.CorrectedBy != "":
		d.Box(paper.Stop, correctedBy.With(words.Args{"id": string(s.CorrectedBy)}))
	case s.Corrects != "":
		d.Box(paper.Note, correctsIt.With(words.Args{"id": string(s.Corrects)}))
	}
	products := Form{Heads: []words.Message{hProduct, hReg, hAmount}, wraps: []int{0, 2}}
	for _, line := range s.Lines {
		products.Rows = append(products.Rows, []string{w.or(line.Name), w.or(line.Label.Registration), w.both(line.Total)})
	}
	d.TableUnder(fiveHead.Plain(), products.table())
	p := s.Pass
	d.Table(form([][2]string{
		{w.text(law.Place.Name()), w.place(s)},
		{w.text(law.Size.Name()), w.size(s)},
		{w.text(law.Site.Name()), w.or(strings.Join(s.Crops(), ", "))},
		{w.text(law.Date.Name()), w.day(firstOf(p.EndedAt, p.StartedAt))},
		{w.text(law.Applicator.Name()), w.or(p.People.Applicator)},
		{w.text(law.Certification.Name()), w.or(p.People.Certification)},
	}).table())
	d.TableUnder(restHead.Plain(), form(b.rest(s, w)).table())
	mix := Form{Heads: []words.Message{hProduct, hActive, hRate, hREI, hPHI}, wraps: []int{0, 1}}
	for _, line := range s.Lines {
		mix.Rows = append(mix.Rows, []string{w.or(line.Name), w.ingredients(line), w.lineRate(line), w.reentry(line, s.Crops()), w.harvest(line, s.Crops())})
	}
	d.TableUnder(mixHead.Plain(), mix.table())
	if dues := b.Duties(s, head.Made); len(dues) > 0 {
		d.TableUnder(askedHead.Plain(), b.duesForm(dues, w).table())
	}
	if len(s.Checks) > 0 {
		d.TableUnder(checksHead.Plain(), checksForm(s).table())
	}
	d.Box(paper.Care, cautionLabel.Plain(), cautionRestricted.Plain(), cautionAreas.Plain())
	d.Signatures(whoHead.Plain())
	b.map1(d, s)
	return d.Bytes()
}

func firstOf(list ...time.Time) time.Time {
	for _, t := range list {
		if !t.IsZero() {
			return t
		}
	}
	return time.Time{}
}

func form(pairs [][2]string) Form {
	f := Form{Heads: []words.Message{hWhat, hIs}, wraps: []int{1}}
	for _, p := range pairs {
		f.Rows = append(f.Rows, []string{p[0], p[1]})
	}
	return f
}

func (b Book) rest(s Sheet, w say) [][2]string {
	p := s.Pass
	out := [][2]string{{w.text(law.Start.Name()), w.moment(p.StartedAt)}, {w.text(law.End.Name()), w.moment(p.EndedAt)}}
	if a := p.Areas; a != nil {
		out = append(out, [2]string{w.text(treatedName.Plain()), acres(a.Treated)}, [2]string{w.text(withheldName.Plain()), acres(a.Withheld)})
	}
	if s.Coverage != nil {
		out = append(out, [2]string{w.text(trackName.Plain()), w.text(trackSays.With(words.Args{"covered": trackAcres(s, "covered_m2"), "doubled": trackAcres(s, "doubled_m2"), "missed": trackAcres(s, "missed_less_setback_m2"), "outside": trackAcres(s, "outside_m2"), "setback": trackAcres(s, "in_setback_m2")}))})
	}
	out = append(out,
		[2]string{w.text(volumeName.Plain()), w.both(s.Carrier)},
		[2]string{w.text(law.Method.Name()), w.or(strings.Trim(w.pattern(p.Pattern)+", "+s.Equipment, ", "))},
		[2]string{w.text(law.Target.Name()), w.or(s.Target)},
		[2]string{w.text(weatherName.Plain()), w.weather(p.Weather)},
	)
	if p.People.Supervisor != "" {
		out = append(out, [2]string{w.text(supervisor.Plain()), p.People.Supervisor})
	}
	if s.Difference != "" {
		out = append(out, [2]string{w.text(whyName.Plain()), s.Difference})
	}
	return append(out, [2]string{w.text(writtenName.Plain()), w.moment(s.WrittenAt) + ", " + s.WrittenBy})
}

var trackSays = words.New("job-track-says", "covered {covered}, twice {doubled}, missed {missed}, outside {outside}, in a setback {setback}", "cubierto {covered}, dos veces {doubled}, sin cubrir {missed}, fuera {outside}, en un retiro {setback}")

func checksForm(s Sheet) Form {
	f := Form{Heads: []words.Message{hWhat, hIs, hWhy}, wraps: []int{2}}
	for _, c := range s.Checks {
		f.Rows = append(f.Rows, []string{c.Rule, c.Answer, c.Why})
	}
	return f
}

var hWhy = words.New("job-h-why", "why", "por qué")

func (b Book) duesForm(dues []law.Due, w say) Form {
	f := Form{Heads: []words.Message{hRule, hMissing, hBy, hKept}, wraps: []int{0, 1}}
	for _, d := range dues {
		kept := "–"
		if !d.Kept.IsZero() {
			kept = paper.Date(d.Kept, w.lang)
		}
		f.Rows = append(f.Rows, []string{w.text(d.Rule.Name.Plain()) + ": " + w.text(d.Rule.Source.Plain()), w.missing(d), w.moment(d.By), kept})
	}
	return f
}

func (s say) missing(d law.Due) string {
	var out []string
	for _, e := range d.Missing {
		out = append(out, s.text(e.Name()))
	}
	if d.Rule.SignsDown && !d.Done {
		out = append(out, s.text(signsDown.Plain()))
	}
	if len(out) == 0 {
		return s.text(nothing.Plain())
	}
	return strings.Join(out, ", ")
}

// map1 is the ground of the pass, to scale.
func (b Book) map1(d *paper.Doc, s Sheet) {
	ground := s.ground()
	if len(ground) == 0 {
		return
	}
	frame, err := plane.FrameOf(ground)
	if err != nil {
		return // ground that cannot be placed has no map
	}
	region, err := frame.Region(ground)
	if err != nil {
		return
	}
	var show []plane.XY
	for _, p := range region {
		for _, r := range p {
			show = append(show, r...)
		}
	}
	edge, fill := paper.Stroke{Width: 0.5}, paper.Hatch{Pattern: paper.Strokes}
	key := paper.Key{Text: keyTreated.Plain(), Stroke: &edge, Hatch: &fill}
	m := d.MapPage(paper.Ground{Show: show}, []paper.Key{key}, 0)
	m.Area(region, edge, fill)
	m.Close(key)
}

// DisplayForm lists what is to be displayed to workers: every application whose
// re-entry time ended no more than thirty days ago.
func (b Book) DisplayForm(at time.Time, l words.Language) Form {
	w := say{b, l}
	f := Form{Heads: []words.Message{hProduct, hReg, hActive, hSite, hPlace, hStart, hEnd, hREI, hEntry, hDisplay}, wraps: []int{0, 2, 4, 5, 6, 8, 9}}
	for _, s := range b.Sheets {
		if s.Pass.State != spray.Applied || s.CorrectedBy != "" || s.begun().After(at) || !s.Pass.EndedAt.IsZero() && s.DisplayedUntil().Before(at) {
			continue
		}
		longest, _, until := s.Reentry()
		entry := w.text(notSaid.Plain())
		if !s.Pass.EndedAt.IsZero() {
			entry = w.moment(s.Pass.EndedAt.Add(longest))
		}
		if len(until) > 0 {
			entry += " + “" + strings.Join(until, "”, “") + "”"
		}
		shown := w.day(s.DisplayedUntil())
		if s.Pass.EndedAt.IsZero() {
			shown = w.text(notSaid.Plain())
		}
		for _, line := range s.Lines {
			f.Rows = append(f.Rows, []string{w.or(line.Name), w.or(line.Label.Registration), w.ingredients(line), w.or(strings.Join(s.Crops(), ", ")), w.place(s),
				w.moment(s.Pass.StartedAt), w.moment(s.Pass.EndedAt), w.reentry(line, s.Crops()), entry, shown})
		}
	}
	return f
}

var (
	displayHow  = words.New("job-display-how", "Up within 24 hours of the end and before workers enter, until 30 days after the re-entry time (40 CFR 170.309(h), 170.311(b)); beside the safety poster and the safety data sheets, where workers can read it in working hours without asking.", "Se pone en 24 horas desde el final y antes de que entren, hasta 30 días después de la reentrada (40 CFR 170.309(h), 170.311(b)); junto al cartel de seguridad y las hojas de datos, donde se pueda leer en horas de trabajo sin pedirlo.")
	exemptSays  = words.New("job-exempt", "The farm says that only the owner's family works here (40 CFR 170.601(a)): display and notices are not owed to them; the re-entry time holds all the same, and hired people keep everything.", "La finca dice que aquí solo trabaja la familia del dueño (40 CFR 170.601(a)): no se les debe exhibición ni avisos; la reentrada rige igual, y los contratados conservan todo.")
	noneToShow  = words.New("job-display-none", "No application is to be displayed on this day.", "Ninguna aplicación se exhibe este día.")
	signSays    = words.New("job-sign-says", "PESTICIDES. KEEP OUT of {blocks}.", "PESTICIDAS. NO ENTRAR en {blocks}.")
	signUntil   = words.New("job-sign-until", "Until {until} at the earliest, and until this sign is taken down.", "Por lo menos hasta {until}, y hasta que se quite este letrero.")
	signUntilIf = words.New("job-sign-condition", "And until: {condition}.", "Y hasta: {condition}.")
	signOpen    = words.New("job-sign-open", "The end of the application is not on record: keep out until it is.", "El final de la aplicación no está registrado: no entre hasta que lo esté.")
	signNot     = words.New("job-sign-not", "This sheet does not replace the warning sign of 40 CFR 170.409 (14 by 16 inches, letters of 1 inch and more, its own wording and symbol). Up no more than 24 hours before the application, visible from every likely entry, down or covered within 3 days after the re-entry time.", "Esta hoja no reemplaza el letrero de 40 CFR 170.409 (14 por 16 pulgadas, letras de 1 pulgada o más, con su texto y símbolo). No más de 24 horas antes de aplicar, visible desde toda entrada probable, quitado o cubierto en 3 días después de la reentrada.")
)

// Display prints the central display.
func (b Book) Display(ctx context.Context, at time.Time, head paper.Head) ([]byte, error) {
	w := say{b, head.Language}
	d, _ := b.begin(ctx, head, disTitle, lineDay.With(words.Args{"day": w.day(at)}))
	d.Page(true)
	d.Paragraph(displayHow.Plain())
	if b.Settings.OwnerExempt {
		d.Box(paper.Note, exemptSays.Plain())
	}
	if f := b.DisplayForm(at, head.Language); len(f.Rows) > 0 {
		d.Table(f.table())
	} else {
		d.Paragraph(noneToShow.Plain())
	}
	d.Box(paper.Care, cautionEntry.Plain(), cautionLabel.Plain(), cautionPoison.Plain())
	return d.Bytes()
}

// EntryNotice prints a sheet to hang up at the ground of a pass, in both
// languages whatever the reader's.
func (b Book) EntryNotice(ctx context.Context, s Sheet, head paper.Head) ([]byte, error) {
	d, _ := b.begin(ctx, head, signTitle, say{b, head.Language}.lineOf(s))
	d.Page(false)
	longest, _, until := s.Reentry()
	for _, l := range []words.Language{words.English, words.Spanish} {
		w := say{b, l}
		lines := []words.Text{words.Verbatim(signSays.With(words.Args{"blocks": w.blocks(s)}).In(l))}
		if s.Pass.EndedAt.IsZero() {
			lines = append(lines, words.Verbatim(signOpen.Plain().In(l)))
		} else {
			lines = append(lines, words.Verbatim(signUntil.With(words.Args{"until": w.moment(s.Pass.EndedAt.Add(longest))}).In(l)))
		}
		for _, u := range until {
			lines = append(lines, words.Verbatim(signUntilIf.With(words.Args{"condition": u}).In(l)))
		}
		d.Poster(lines...)
	}
	w := say{b, head.Language}
	d.Table(form([][2]string{{w.text(law.Start.Name()), w.moment(s.Pass.StartedAt)}, {w.text(law.End.Name()), w.moment(s.Pass.EndedAt)}, {w.text(law.Place.Name()), w.place(s)}}).table())
	d.Box(paper.Care, signNot.Plain(), cautionEntry.Plain(), cautionPoison.Plain())
	b.map1(d, s)
	return d.Bytes()
}

func trackAcres(s Sheet, name string) string {
	return paper.Number(s.Coverage[name]/squareMetresPerAcre, 2) + " ac"
}

const squareMetresPerAcre = 4046.8564224

// DueForm lists what is asked for and not done, the nearest deadline first.
func (b Book) DueForm(at time.Time, l words.Language) Form {
	w := say{b, l}
	f := Form{Heads: []words.Message{hBlocks, hApplied, hRule, hMissing, hBy, hPass}, wraps: []int{2, 3}}
	for _, d := range b.Open(at) {
		s, err := b.Find(d.Pass)
		if err != nil {
			continue // Open names passes of this book only
		}
		f.Rows = append(f.Rows, []string{w.blocks(s), w.day(firstOf(s.Pass.EndedAt, s.Pass.StartedAt)), jurisdictionName(d.Rule.Jurisdiction, l) + ": " + w.text(d.Rule.Name.Plain()), w.missing(d), w.moment(d.By), string(d.Pass)})
	}
	return f
}
