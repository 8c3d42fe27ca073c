package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/intake/sheet"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
)

// Proposals wait in memory for a grower's yes: an hour, eight a farm, and no
// more files than this together; the oldest go first. What was stored can be
// undone for a day; all that is kept of it is a list of ids.
const (
	proposalLife    = time.Hour
	undoLife        = 24 * time.Hour
	proposalsOfFarm = 8
	proposalBytes   = 200 << 20
)

// formField bounds the texts of the form beside the file; the columns of a
// spreadsheet are the longest.
const formField = 100_000

var (
	badForm        = words.New("web-bad-form", "The form cannot be read: it is multipart/form-data with file, kind and zone.", "El formulario no se puede leer: es multipart/form-data con file, kind y zone.")
	noFile         = words.New("web-no-file", "The form has no file.", "El formulario no tiene archivo.")
	strayField     = words.New("web-stray-field", "The form has a field “{name}”, or one twice; it takes file, kind, zone, system, day_order, columns and swap.", "El formulario tiene un campo «{name}», o uno repetido; admite file, kind, zone, system, day_order, columns y swap.")
	badImportKind  = words.New("web-bad-import-kind", "Files are taken over as blocks, rows, surroundings, finds or tracks; this is “{got}”.", "Los archivos se toman como blocks, rows, surroundings, finds o tracks; esto es «{got}».")
	badZone        = words.New("web-bad-zone", "There is no time zone “{got}”.", "No existe la zona horaria «{got}».")
	badDayOrder    = words.New("web-bad-day-order", "day_order is day-first or month-first; this is “{got}”.", "day_order es day-first o month-first; esto es «{got}».")
	badColumns     = words.New("web-bad-columns", "columns is a JSON object from a column's header to a field's name.", "columns es un objeto JSON del encabezado de una columna al nombre de un campo.")
	badSwap        = words.New("web-bad-swap", "swap is true or false; this is “{got}”.", "swap es true o false; esto es «{got}».")
	badImport      = words.New("web-bad-import", "This file cannot be taken over so; see below.", "Este archivo no se puede tomar así; véase abajo.")
	noneOfKind     = words.New("web-none-of-kind", "The file holds nothing that can be taken over as {kind}.", "El archivo no contiene nada que se pueda tomar como {kind}.")
	noProposal     = words.New("web-no-proposal", "There is no such proposal, or it is older than an hour. Read the file again.", "No existe esa propuesta, o tiene más de una hora. Lea el archivo de nuevo.")
	stillReading   = words.New("web-still-reading", "The file is still being read.", "El archivo todavía se está leyendo.")
	readingStopped = words.New("web-reading-stopped", "The reading of the file was stopped, or took too long.", "La lectura del archivo se detuvo o tardó demasiado.")
	alreadyStored  = words.New("web-already-stored", "This import has been stored, or undone; read the file again.", "Esta importación ya se guardó, o se deshizo; lea el archivo de nuevo.")
	badTake        = words.New("web-bad-take", "take lists features of the proposal by number, each once; {number} is none.", "take enumera elementos de la propuesta por número, cada uno una vez; {number} no lo es.")
	emptyTake      = words.New("web-empty-take", "take is empty: nothing would be stored.", "take está vacío: no se guardaría nada.")
	noSuchWay      = words.New("web-no-such-way", "Feature {number} cannot be taken as “{way}”.", "El elemento {number} no se puede tomar como «{way}».")
	nothingStored  = words.New("web-nothing-stored", "Nothing of this import was stored: {count} of its records cannot be, named below.", "No se guardó nada de esta importación: {count} de sus registros no se pueden guardar, nombrados abajo.")
	changedSince   = words.New("web-changed-since", "{count} record(s) of this import were changed since; nothing was undone.", "{count} registro(s) de esta importación se cambiaron después; no se deshizo nada.")
	importUndone   = words.New("web-import-undone", "Import of {file} undone", "Importación de {file} deshecha")
)

// importState says how far an import has come.
type importState string

const (
	stateReading  importState = "reading"
	stateProposed importState = "proposed"
	stateRefused  importState = "refused" // nothing of the file can be read
	stateStored   importState = "stored"
	stateUndone   importState = "undone"
)

// proposal is a file on its way in. The fields above lock never change.
type proposal struct {
	id   records.ID
	farm records.FarmID
	name string
	size int

	lock     sync.Mutex
	made     time.Time
	file     []byte
	ask      importAsk
	state    importState
	stop     context.CancelFunc // of the reading
	done     chan struct{}      // closed when the reading has ended
	failed   error              // why the reading ended without a result
	progress progressOut
	read     intake.Proposal
	features []proposed
	stored   []records.Write // what undoes it
}

// proposed is one feature of it. Its id is made now, so that storing the same
// agreement twice stores it once.
type proposed struct {
	intake.Candidate
	id       records.ID
	overlaps []intake.Overlap
	present  *present
	base     int // revision of the record of this id on the farm, closed ones included
}

// present is the record of the same id that the farm has already.
type present struct {
	Revision int  `json:"revision"`
	Same     bool `json:"same"`
}

type proposals struct {
	now  func() time.Time
	lock sync.Mutex
	kept []*proposal // oldest first
}

func newProposals(now func() time.Time) *proposals { return &proposals{now: now} }

// keep takes a proposal in and lets go of what there is no room for.
func (p *proposals) keep(one *proposal) {
	p.lock.Lock()
	defer p.lock.Unlock()
	p.kept = append(p.kept, one)
	ofFarm, size := 0, 0
	var left []*proposal
	for i := len(p.kept) - 1; i >= 0; i-- {
		k := p.kept[i]
		if k.farm == one.farm {
			ofFarm++
		}
		size += k.held()
		if k != one && (!k.alive(p.now()) || k.farm == one.farm && ofFarm > proposalsOfFarm || size > proposalBytes) {
			k.end()
			continue
		}
		left = append(left, k)
	}
	slices.Reverse(left)
	p.kept = left
}

func (p *proposals) find(farm records.FarmID, id records.ID) *proposal {
	p.lock.Lock()
	defer p.lock.Unlock()
	for _, k := range p.kept {
		if k.farm == farm && k.id == id && k.alive(p.now()) {
			return k
		}
	}
	return nil
}

func (p *proposals) drop(one *proposal) {
	one.end()
	p.lock.Lock()
	defer p.lock.Unlock()
	p.kept = slices.DeleteFunc(p.kept, func(k *proposal) bool { return k == one })
}

// alive reports whether a proposal can still be asked for.
func (p *proposal) alive(now time.Time) bool {
	p.lock.Lock()
	defer p.lock.Unlock()
	life := proposalLife
	if p.state == stateStored || p.state == stateUndone {
		life = undoLife
	}
	return now.Sub(p.made) <= life
}

// held is how much memory it takes, about: the file and what was made of it.
func (p *proposal) held() int {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.state == stateStored || p.state == stateUndone {
		return 0
	}
	return p.size
}

// end stops the reading, if one goes on.
func (p *proposal) end() {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.stop != nil {
		p.stop()
	}
}

// importAsk is what the person says of a file.
type importAsk struct {
	Kind     intake.As         `json:"kind"`
	Zone     string            `json:"zone"`
	System   string            `json:"system"`
	DayOrder string            `json:"day_order"`
	Columns  map[string]string `json:"columns"`
	Swap     bool              `json:"swap"`
}

func (a importAsk) check() error {
	var details []fault.Detail
	bad := func(field string, m words.Message, got string) {
		details = append(details, fault.Detail{Text: m.With(words.Args{"got": shorten(got)}), Field: field})
	}
	if !slices.Contains(intake.Imported, a.Kind) {
		bad("kind", badImportKind, string(a.Kind))
	}
	if a.Zone != "" {
		if _, err := time.LoadLocation(a.Zone); err != nil || a.Zone == "Local" {
			bad("zone", badZone, a.Zone)
		}
	}
	if !slices.Contains([]string{"", "day-first", "month-first"}, a.DayOrder) {
		bad("day_order", badDayOrder, a.DayOrder)
	}
	if details != nil {
		return fault.New(fault.Invalid, badImport.Plain(), details...)
	}
	return nil
}

// importForm is the form of POST .../imports.
type importForm struct {
	file []byte
	name string
	importAsk
}

func (x *exchange) importForm() (importForm, error) {
	var f importForm
	parts, err := x.r.MultipartReader()
	if err != nil {
		return f, fault.Wrap(fault.Malformed, err, badForm.Plain())
	}
	seen := map[string]bool{}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return f, x.formError(err)
		}
		name := part.FormName()
		if seen[name] {
			return f, fault.New(fault.Invalid, strayField.With(words.Args{"name": shorten(name)}))
		}
		seen[name] = true
		if name == "file" {
			if f.file, err = readPieces(part); err != nil {
				return f, x.formError(err)
			}
			f.name = path.Base(part.FileName())
			continue
		}
		raw, err := io.ReadAll(io.LimitReader(part, formField))
		if err != nil {
			return f, x.formError(err)
		}
		if err := f.set(name, string(raw)); err != nil {
			return f, err
		}
	}
	if !seen["file"] {
		return f, fault.New(fault.Invalid, noFile.Plain(), fault.Detail{Text: noFile.Plain(), Field: "file"})
	}
	return f, f.check()
}

// readPieces reads all of a file without making room twice over as it grows:
// one that turns out too large has cost no more than itself.
func readPieces(r io.Reader) ([]byte, error) {
	const piece = 1 << 20
	var full [][]byte
	next := make([]byte, 0, piece)
	for {
		n, err := r.Read(next[len(next):cap(next)])
		next = next[:len(next)+n]
		if errors.Is(err, io.EOF) {
			return bytes.Join(append(full, next), nil), nil
		}
		if err != nil {
			return nil, err
		}
		if len(next) == cap(next) {
			full, next = append(full, next), make([]byte, 0, piece)
		}
	}
}

func (a *importAsk) set(name, value string) error {
	switch name {
	case "kind":
		a.Kind = intake.As(value)
	case "zone":
		a.Zone = value
	case "system":
		a.System = value
	case "day_order":
		a.DayOrder = value
	case "columns":
		if json.Unmarshal([]byte(value), &a.Columns) != nil {
			return fault.New(fault.Invalid, badImport.Plain(), fault.Detail{Text: badColumns.Plain(), Field: "columns"})
		}
	case "swap":
		if a.Swap = value == "true"; !a.Swap && value != "false" && value != "" {
			return fault.New(fault.Invalid, badImport.Plain(), fault.Detail{Text: badSwap.With(words.Args{"got": shorten(value)}), Field: "swap"})
		}
	default:
		return fault.New(fault.Invalid, strayField.With(words.Args{"name": shorten(name)}))
	}
	return nil
}

func (x *exchange) formError(err error) error {
	var over *http.MaxBytesError
	if errors.As(err, &over) {
		return tooLarge(over.Limit)
	}
	return fault.Wrap(fault.Malformed, err, badForm.Plain())
}

// proposeImport reads a file; nothing is stored. Who prefers an answer at once
// (RFC 7240, respond-async) gets the address where the reading can be followed
// and stopped; who does not waits, and is told as a refusal when nothing of the
// file can be taken.
func (s *Server) proposeImport(x *exchange) error {
	form, err := x.importForm()
	if err != nil {
		return err
	}
	p := &proposal{id: x.s.ids.New(), farm: x.farm, name: form.name, size: 3 * len(form.file), made: s.Now(), file: form.file}
	if err := p.begin(x, form.importAsk); err != nil {
		return err
	}
	s.proposals.keep(p)
	return x.follow(p)
}

// answerImport reads the file again with answers to its questions.
func (s *Server) answerImport(x *exchange) error {
	p, err := x.proposal()
	if err != nil {
		return err
	}
	p.lock.Lock()
	ask := p.ask
	p.lock.Unlock()
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	if err := ask.check(); err != nil {
		return err
	}
	if err := p.begin(x, ask); err != nil {
		return err
	}
	return x.follow(p)
}

func (s *Server) showImport(x *exchange) error {
	p, err := x.proposal()
	if err != nil {
		return err
	}
	out, err := p.out(x.lang)
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, out)
}

func (x *exchange) proposal() (*proposal, error) {
	if p := x.s.proposals.find(x.farm, records.ID(x.vars["import"])); p != nil {
		return p, nil
	}
	return nil, fault.New(fault.Missing, noProposal.Plain())
}

// follow answers with a reading that has begun.
func (x *exchange) follow(p *proposal) error {
	async := slices.ContainsFunc(x.r.Header.Values("Prefer"), func(v string) bool {
		return slices.ContainsFunc(strings.Split(v, ","), func(one string) bool { return strings.EqualFold(strings.TrimSpace(one), "respond-async") })
	})
	status := http.StatusOK
	if async {
		status = http.StatusAccepted
		x.w.Header().Set("Preference-Applied", "respond-async")
		x.w.Header().Set("Location", x.r.URL.Path)
		if x.vars["import"] == "" {
			x.w.Header().Set("Location", x.r.URL.Path+"/"+string(p.id))
		}
	} else {
		select {
		case <-p.done:
		case <-x.r.Context().Done():
			x.s.proposals.drop(p)
			return x.r.Context().Err()
		}
		if err := p.refusal(); err != nil {
			return err
		}
	}
	out, err := p.out(x.lang)
	if err != nil {
		return err
	}
	return x.json(status, out)
}

// refusal is why nothing of a file can be taken; nil when something can, if
// only after an answer.
func (p *proposal) refusal() error {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.failed != nil {
		return p.failed
	}
	if refusal := p.read.FileRefusal(); refusal != nil {
		return refusal
	}
	if len(p.read.Questions) > 0 || slices.ContainsFunc(p.features, func(f proposed) bool { return len(f.Options) > 0 }) {
		return nil
	}
	if refusal := p.read.Refusal(); refusal != nil {
		return refusal
	}
	text := noneOfKind.With(words.Args{"kind": kindTitles[records.Kind(p.ask.Kind)].Plain()})
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "kind"})
}

// begin starts the reading of the file. It goes on after the request that asked
// for it, for as long as an analysis may take, until it is stopped.
func (p *proposal) begin(x *exchange, ask importAsk) error {
	p.lock.Lock()
	defer p.lock.Unlock()
	switch p.state {
	case stateReading:
		return fault.New(fault.Conflict, stillReading.Plain())
	case stateStored, stateUndone:
		return fault.New(fault.Conflict, alreadyStored.Plain())
	}
	ctx, stop := context.WithTimeout(context.WithoutCancel(x.r.Context()), x.s.Limits.LongTime)
	done := make(chan struct{})
	p.ask, p.state, p.stop, p.done, p.failed = ask, stateReading, stop, done, nil
	p.progress = progressOut{Total: int64(len(p.file))}
	p.read, p.features = intake.Proposal{}, nil
	x.s.readings.Add(1)
	go func() {
		defer x.s.readings.Done()
		defer close(done)
		defer stop()
		err := x.s.readImport(ctx, p, ask)
		if ctx.Err() != nil && fault.KindOf(err) == fault.Internal {
			err = fault.Wrap(fault.TooCostly, ctx.Err(), readingStopped.Plain())
		} else if err != nil && fault.KindOf(err) == fault.Internal {
			x.s.Logger.ErrorContext(ctx, "import failed", "id", traceOf(x.r).id, "err", err)
		}
		p.lock.Lock()
		defer p.lock.Unlock()
		p.state, p.stop, p.failed = stateProposed, nil, err
		if err != nil || p.read.FileRefusal() != nil {
			p.state = stateRefused
		}
	}()
	return nil
}

func (s *Server) readImport(ctx context.Context, p *proposal, ask importAsk) error {
	select {
	case s.heavy <- struct{}{}:
		defer func() { <-s.heavy }()
	case <-ctx.Done():
		return ctx.Err()
	}
	var there []intake.Neighbour
	options := intake.Options{Zone: ask.Zone, System: ask.System, DayOrder: ask.DayOrder, Columns: ask.Columns, Swap: ask.Swap, Progress: p.progressed,
		Workers: cap(s.heavy)} // one processor is left to everybody else
	err := s.Store.View(ctx, p.farm, func(r records.Reader) (err error) {
		if options.Zone == "" {
			options.Zone = r.Farm().Zone
		}
		there, err = neighbours(r)
		return err
	})
	if err != nil {
		return err
	}
	if len(there) > 0 {
		centre := geo.Position(there[0].Outline.Bound().Center())
		options.Near = &centre
	}
	read, err := intake.Read(ctx, bytes.NewReader(p.file), p.name, options)
	if err != nil {
		return err
	}
	var features []proposed
	for _, c := range read.Candidates(ask.Kind) {
		one := proposed{Candidate: c, id: s.ids.New()}
		if ask.Kind == intake.AsBlocks && len(c.Options) > 0 {
			if one.overlaps, err = intake.Neighbours(ctx, c.Options[0].Geometry.Flat, there); err != nil {
				return err
			}
		}
		features = append(features, one)
	}
	if err := s.recognisePresent(ctx, p.farm, records.Kind(ask.Kind), features); err != nil {
		return err
	}
	p.lock.Lock()
	defer p.lock.Unlock()
	p.read, p.features = read, features
	return nil
}

func (p *proposal) progressed(features int, offset int64) {
	p.lock.Lock()
	defer p.lock.Unlock()
	p.progress.Features, p.progress.Done = features, offset
}

// neighbours are the blocks a new outline may overlap.
func neighbours(r records.Reader) ([]intake.Neighbour, error) {
	var out []intake.Neighbour
	err := lister{r: r, kind: records.Blocks}.each(func(rev records.Revision) error {
		b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		if len(b.Outline) > 0 {
			out = append(out, intake.Neighbour{ID: string(rev.ID), Name: b.Name, Outline: b.Outline})
		}
		return nil
	})
	return out, err
}

// recognisePresent gives features that left a farm under a record's id that id
// back, and says which of them the farm still has.
func (s *Server) recognisePresent(ctx context.Context, farm records.FarmID, kind records.Kind, features []proposed) error {
	used := map[string]bool{}
	return s.Store.View(ctx, farm, func(r records.Reader) error {
		for i := range features {
			f := &features[i]
			if !f.IsRecordID() || used[f.ID] || len(f.Options) == 0 {
				continue
			}
			used[f.ID] = true
			f.id = records.ID(f.ID)
			history, err := r.Revisions(kind, f.id)
			if fault.Is(err, fault.Missing) {
				continue
			}
			if err != nil {
				return err
			}
			last := history[len(history)-1]
			f.base = last.Number
			if last.Deleted {
				continue
			}
			f.present = &present{Revision: last.Number}
			mine, err := records.ContentOf(f.record(f.Options[0], nil))
			if err != nil {
				continue // what has no canonical form is refused when it is stored
			}
			theirs, err := records.ContentOf(last.Record)
			f.present.Same = err == nil && mine.Equal(theirs)
		}
		return nil
	})
}

// record is what a feature becomes when it is taken in one of its ways.
func (f proposed) record(o intake.Option, set map[string]json.RawMessage) records.Record {
	properties := named(f.Properties, f.Name)
	if len(set) > 0 {
		properties = withMembers(properties, set)
	}
	return records.Record{Geometry: o.Geometry, Properties: properties}
}

// named keeps a file's properties and adds the name where they have none.
func named(properties json.RawMessage, name string) json.RawMessage {
	var members map[string]json.RawMessage
	if json.Unmarshal(properties, &members) != nil || members == nil {
		members = map[string]json.RawMessage{}
	}
	if _, has := members["name"]; name == "" || has {
		if len(properties) > 0 && len(members) > 0 {
			return properties
		}
		return json.RawMessage("{}")
	}
	return withMembers(properties, map[string]json.RawMessage{"name": jsonText(name)})
}

func jsonText(s string) json.RawMessage {
	raw, err := json.Marshal(s)
	if err != nil { // a string always has a form
		return json.RawMessage(`""`)
	}
	return raw
}

// withMembers sets members of an object and leaves the others as written.
func withMembers(object json.RawMessage, set map[string]json.RawMessage) json.RawMessage {
	members := map[string]json.RawMessage{}
	if json.Unmarshal(object, &members) != nil || members == nil {
		members = map[string]json.RawMessage{}
	}
	for name, v := range set {
		members[name] = v
	}
	raw, err := json.Marshal(members)
	if err != nil { // every value was valid JSON
		return object
	}
	return raw
}

// take is one feature agreed to; its properties are set over the file's.
type take struct {
	Number     int                        `json:"number"`
	As         intake.Way                 `json:"as"`
	Properties map[string]json.RawMessage `json:"properties"`
}

// UnmarshalJSON takes a bare number too.
func (t *take) UnmarshalJSON(data []byte) error {
	if json.Unmarshal(data, &t.Number) == nil {
		return nil
	}
	type plain take
	return readJSON(data, (*plain)(t))
}

// storeImport stores what was agreed, all of it or nothing. Sent again it
// answers as before.
func (s *Server) storeImport(x *exchange) error {
	var ask struct {
		Take []take `json:"take"`
		Why  string `json:"why"`
	}
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	p, err := x.proposal()
	if err != nil {
		return err
	}
	if !goodWhy(ask.Why) {
		return fault.New(fault.Invalid, whyTooLong.With(words.Args{"most": whyMost}))
	}
	writes, err := p.writes(ask.Take, x.author(ask.Why))
	if err != nil {
		return err
	}
	stored, err := x.desk().PutTogether(x.r.Context(), x.farm, writes)
	if err != nil {
		return err
	}
	x.handled += int64(len(stored))
	if refusal := p.refusedWrites(writes, stored, nothingStored); refusal != nil {
		return refusal
	}
	outcomes := make([]outcome, len(stored))
	undo := make([]records.Write, len(stored))
	for i, o := range stored {
		outcomes[i].ID = string(writes[i].ID)
		x.fill(&outcomes[i], o)
		s.metrics.wrote(writes[i].Kind, o)
		undo[i] = records.Write{Kind: writes[i].Kind, ID: writes[i].ID, Delete: true, Base: o.Revision.Number}
	}
	p.lock.Lock()
	p.state, p.stored, p.made, p.file = stateStored, undo, s.Now(), nil
	p.lock.Unlock()
	var sequence int64
	if err := x.view(func(r records.Reader) error { sequence = r.Sequence(); return nil }); err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"outcomes": outcomes, "sequence": sequence, "import": p.id})
}

// writes turns what was agreed into writes.
func (p *proposal) writes(takes []take, by records.Author) ([]records.Write, error) {
	p.lock.Lock()
	defer p.lock.Unlock()
	switch p.state {
	case stateReading:
		return nil, fault.New(fault.Conflict, stillReading.Plain())
	case stateUndone, stateRefused:
		return nil, fault.New(fault.Conflict, alreadyStored.Plain())
	}
	refuse := func(text words.Text) error {
		return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "take"})
	}
	if len(takes) == 0 {
		return nil, refuse(emptyTake.Plain())
	}
	writes := make([]records.Write, 0, len(takes))
	used := map[int]bool{}
	for _, t := range takes {
		if t.Number < 1 || t.Number > len(p.features) || used[t.Number] {
			return nil, refuse(badTake.With(words.Args{"number": t.Number}))
		}
		used[t.Number] = true
		f := p.features[t.Number-1]
		i := slices.IndexFunc(f.Options, func(o intake.Option) bool { return t.As == "" || o.Way == t.As })
		if i < 0 {
			return nil, refuse(noSuchWay.With(words.Args{"number": t.Number, "way": shorten(string(t.As))}))
		}
		w := records.Write{Kind: records.Kind(p.ask.Kind), ID: f.id, Record: f.record(f.Options[i], t.Properties), Base: f.base, By: by}
		writes = append(writes, w)
	}
	return writes, nil
}

// refusedWrites names every record that kept a batch from being stored; nil
// when none did.
func (p *proposal) refusedWrites(writes []records.Write, outcomes []records.Outcome, says words.Message) error {
	p.lock.Lock()
	defer p.lock.Unlock()
	byID := map[records.ID]proposed{}
	for _, f := range p.features {
		byID[f.id] = f
	}
	var details []fault.Detail
	count := 0
	kind := fault.Invalid
	for i, o := range outcomes {
		if o.Err == nil {
			continue
		}
		count++
		f := byID[writes[i].ID]
		var refusal *fault.Error
		if !errors.As(o.Err, &refusal) {
			return o.Err
		}
		if refusal.Kind == fault.Forbidden || refusal.Kind == fault.Stale {
			kind = refusal.Kind
		}
		own := refusal.Details
		if len(own) == 0 {
			own = []fault.Detail{{Text: refusal.Text}}
		}
		for _, d := range own {
			d.Feature = fault.P(f.Feature)
			if f.Name != "" {
				d.Text = featureSays.With(words.Args{"name": f.Name, "text": d.Text})
			}
			details = append(details, d)
		}
	}
	if count == 0 {
		return nil
	}
	return fault.New(kind, says.With(words.Args{"count": count}), details[:min(len(details), mostRefusedShown)]...)
}

// mostRefusedShown bounds how many refused records one answer names.
const mostRefusedShown = 100

var featureSays = words.New("web-feature-says", "{name}: {text}", "{name}: {text}")

// endImport stops a reading, forgets a proposal, or takes back what was stored.
func (s *Server) endImport(x *exchange) error {
	p, err := x.proposal()
	if err != nil {
		return err
	}
	p.lock.Lock()
	state, undo := p.state, slices.Clone(p.stored)
	p.lock.Unlock()
	if state != stateStored && state != stateUndone {
		s.proposals.drop(p)
		x.w.WriteHeader(http.StatusNoContent)
		return nil
	}
	if state == stateStored {
		by := x.author(importUndone.With(words.Args{"file": p.name}).In(x.lang))
		for i := range undo {
			undo[i].By = by
		}
		outcomes, err := x.desk().PutTogether(x.r.Context(), x.farm, undo)
		if err != nil {
			return err
		}
		if refusal := p.refusedWrites(undo, outcomes, changedSince); refusal != nil {
			var f *fault.Error
			if errors.As(refusal, &f) && f.Kind != fault.Forbidden {
				f.Kind = fault.Conflict
			}
			return refusal
		}
		for i, o := range outcomes {
			s.metrics.wrote(undo[i].Kind, o)
		}
		p.lock.Lock()
		p.state = stateUndone
		p.lock.Unlock()
	}
	return x.json(http.StatusOK, map[string]any{"undone": len(undo)})
}

// Close stops what runs beside requests and waits for it.
func (s *Server) Close() {
	s.proposals.lock.Lock()
	for _, p := range s.proposals.kept {
		p.end()
	}
	s.proposals.lock.Unlock()
	s.readings.Wait()
	s.audit.close()
}

// proposalOut is a proposal as it travels: what caneward read prints, and the
// features that can be taken.
type proposalOut struct {
	ID        records.ID    `json:"id"`
	ExpiresAt string        `json:"expires_at"`
	Kind      records.Kind  `json:"kind"`
	File      string        `json:"file"`
	State     importState   `json:"state"`
	Progress  progressOut   `json:"progress"`
	Problem   string        `json:"problem,omitempty"`
	Columns   *columnsOut   `json:"columns"`
	Features  []proposedOut `json:"features"`
	intake.JSON
}

// progressOut is how far the reading has come; done is in bytes, and 0 for
// formats that are not read from front to back.
type progressOut struct {
	Done     int64 `json:"done"`
	Total    int64 `json:"total"`
	Features int   `json:"features"`
}

type proposedOut struct {
	Number   int                            `json:"number"`
	ID       records.ID                     `json:"id"`
	Name     string                         `json:"name"`
	At       intake.AtJSON                  `json:"at"`
	Layer    string                         `json:"layer,omitempty"`
	State    string                         `json:"state"`
	Choices  []intake.Way                   `json:"choices"`
	Feature  json.RawMessage                `json:"feature"`
	AsRead   json.RawMessage                `json:"as_read,omitempty"`
	Shapes   map[intake.Way]json.RawMessage `json:"shapes,omitempty"`
	Areas    map[intake.Way]float64         `json:"areas"`
	Before   float64                        `json:"before_m2,omitempty"`
	Said     []intake.FoundJSON             `json:"said"`
	Overlaps []overlapOut                   `json:"overlaps"`
	Present  *present                       `json:"present,omitempty"`
}

type overlapOut struct {
	Block records.ID `json:"block"`
	Name  string     `json:"name"`
	Area  float64    `json:"area_m2"`
}

// statePresent is a feature whose record the farm has already.
const statePresent = "present"

func (p *proposal) out(lang words.Language) (proposalOut, error) {
	p.lock.Lock()
	defer p.lock.Unlock()
	life := proposalLife
	if p.state == stateStored || p.state == stateUndone {
		life = undoLife
	}
	out := proposalOut{ID: p.id, ExpiresAt: stamp(p.made.Add(life).Truncate(time.Second)), Kind: records.Kind(p.ask.Kind), File: p.name,
		State: p.state, Progress: p.progress, Features: []proposedOut{}, JSON: p.read.JSON(lang)}
	if p.state == stateReading {
		return out, nil
	}
	var refusal *fault.Error
	if errors.As(p.failed, &refusal) {
		out.Problem = refusal.Text.In(lang)
	} else if p.failed != nil {
		return out, p.failed
	}
	out.Columns = columnsOf(p.read, lang)
	for i, f := range p.features {
		one, err := f.out(i+1, lang)
		if err != nil {
			return out, err
		}
		out.Features = append(out.Features, one)
	}
	return out, nil
}

func (f proposed) out(number int, lang words.Language) (proposedOut, error) {
	one := proposedOut{Number: number, ID: f.id, Name: f.Name, At: intake.AtJSON{Feature: fault.P(f.Feature)}, Layer: f.Layer, State: string(f.State),
		Choices: []intake.Way{}, Areas: map[intake.Way]float64{}, Before: float64(f.Before), Said: intake.Found(f.Said, lang), Overlaps: []overlapOut{}, Present: f.present}
	if f.present != nil {
		one.State = statePresent
	}
	shown := wire.Feature{ID: string(f.id), IDKind: wire.StringID, Properties: named(f.Properties, f.Name)}
	for i, o := range f.Options {
		one.Choices = append(one.Choices, o.Way)
		if o.Area > 0 {
			one.Areas[o.Way] = float64(o.Area)
		}
		if i == 0 {
			shown.Geometry = o.Geometry
		}
		if len(f.Options) > 1 {
			raw, err := wire.EncodeGeometry(o.Geometry)
			if err != nil {
				return one, err
			}
			if one.Shapes == nil {
				one.Shapes = map[intake.Way]json.RawMessage{}
			}
			one.Shapes[o.Way] = raw
		}
	}
	// What the file has may be no shape that can be written; then only its
	// words say what it is.
	if raw, err := wire.EncodeGeometry(f.AsRead); err == nil && !f.AsRead.Empty() {
		one.AsRead = raw
	}
	for _, o := range f.overlaps {
		one.Overlaps = append(one.Overlaps, overlapOut{records.ID(o.Neighbour.ID), o.Neighbour.Name, float64(o.Area)})
	}
	var err error
	one.Feature, err = wire.EncodeFeature(shown)
	return one, err
}

// columnsOut is a spreadsheet's head, for choosing what its columns hold.
type columnsOut struct {
	Delimiter string            `json:"delimiter"`
	Header    []string          `json:"header"`
	Rows      [][]string        `json:"rows"`
	Guess     map[string]string `json:"guess"`
	Fields    []fieldOut        `json:"fields"`
}

type fieldOut struct {
	Value string `json:"value"`
	Text  string `json:"text"`
}

func columnsOf(p intake.Proposal, lang words.Language) *columnsOut {
	if p.Columns == nil {
		return nil
	}
	out := &columnsOut{Delimiter: p.Columns.Delimiter, Header: p.Columns.Header, Rows: p.Columns.Rows, Guess: map[string]string{}}
	for i, name := range p.Columns.Header {
		out.Guess[name] = string(p.Columns.Fields[i])
	}
	for _, f := range sheet.Fields {
		out.Fields = append(out.Fields, fieldOut{Value: string(f), Text: f.Text().In(lang)})
	}
	return out
}
