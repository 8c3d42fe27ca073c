package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"path"
	"slices"
	"sync"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/entry"
)

// Proposals wait in memory for a grower's yes: an hour, eight a farm, and no
// more files than this together; the oldest go first.
const (
	proposalLife    = time.Hour
	proposalsOfFarm = 8
	proposalBytes   = 200 << 20
)

// formField bounds the texts of the form beside the file.
const formField = 200

// importKinds are the kinds a file can be taken over as.
var importKinds = []string{string(records.Blocks), string(records.Surroundings), string(records.Tracks)}

var (
	badForm       = words.New("web-bad-form", "The form cannot be read: it is multipart/form-data with file, kind and zone.", "El formulario no se puede leer: es multipart/form-data con file, kind y zone.")
	noFile        = words.New("web-no-file", "The form has no file.", "El formulario no tiene archivo.")
	strayField    = words.New("web-stray-field", "The form has a field “{name}”, or one twice; it takes file, kind and zone.", "El formulario tiene un campo «{name}», o uno repetido; admite file, kind y zone.")
	badImportKind = words.New("web-bad-import-kind", "Files are taken over as blocks, surroundings or tracks; this is “{got}”.", "Los archivos se toman como blocks, surroundings o tracks; esto es «{got}».")
	badZone       = words.New("web-bad-zone", "There is no time zone “{got}”.", "No existe la zona horaria «{got}».")
	badImport     = words.New("web-bad-import", "This file cannot be taken over so; see below.", "Este archivo no se puede tomar así; véase abajo.")
	noneOfKind    = words.New("web-none-of-kind", "The file holds nothing that can be taken over as {kind}.", "El archivo no contiene nada que se pueda tomar como {kind}.")
	noProposal    = words.New("web-no-proposal", "There is no such proposal, or it is older than an hour. Read the file again.", "No existe esa propuesta, o tiene más de una hora. Lea el archivo de nuevo.")
	badTake       = words.New("web-bad-take", "take lists features of the proposal by number, each once; {number} is none.", "take enumera elementos de la propuesta por número, cada uno una vez; {number} no lo es.")
	emptyTake     = words.New("web-empty-take", "take is empty: nothing would be stored.", "take está vacío: no se guardaría nada.")
)

// proposal is a file as read, waiting.
type proposal struct {
	id       records.ID
	farm     records.FarmID
	kind     records.Kind
	made     time.Time
	size     int
	features []proposed
}

// proposed is one feature of it. Its id is made now, so that storing the same
// agreement twice stores it once.
type proposed struct {
	id     records.ID
	name   string
	record records.Record
}

type proposals struct {
	now  func() time.Time
	lock sync.Mutex
	kept []*proposal // oldest first
}

func newProposals(now func() time.Time) *proposals { return &proposals{now: now} }

func (p *proposals) keep(one *proposal) {
	p.lock.Lock()
	defer p.lock.Unlock()
	p.kept = append(p.kept, one)
	now := p.now()
	ofFarm, size := 0, 0
	var left []*proposal
	for i := len(p.kept) - 1; i >= 0; i-- {
		k := p.kept[i]
		if k.farm == one.farm {
			ofFarm++
		}
		size += k.size
		if k != one && (now.Sub(k.made) > proposalLife || k.farm == one.farm && ofFarm > proposalsOfFarm || size > proposalBytes) {
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
		if k.farm == farm && k.id == id && p.now().Sub(k.made) <= proposalLife {
			return k
		}
	}
	return nil
}

// importForm is the form of POST .../imports.
type importForm struct {
	file       []byte
	name       string
	kind, zone string
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
		var text *string
		switch name {
		case "file":
			if f.file, err = io.ReadAll(part); err != nil {
				return f, x.formError(err)
			}
			f.name = path.Base(part.FileName())
			continue
		case "kind":
			text = &f.kind
		case "zone":
			text = &f.zone
		default:
			return f, fault.New(fault.Invalid, strayField.With(words.Args{"name": shorten(name)}))
		}
		raw, err := io.ReadAll(io.LimitReader(part, formField))
		if err != nil {
			return f, x.formError(err)
		}
		*text = string(raw)
	}
	if !seen["file"] {
		return f, fault.New(fault.Invalid, noFile.Plain(), fault.Detail{Text: noFile.Plain(), Field: "file"})
	}
	return f, f.check()
}

func (f importForm) check() error {
	var details []fault.Detail
	if !slices.Contains(importKinds, f.kind) {
		details = append(details, fault.Detail{Text: badImportKind.With(words.Args{"got": shorten(f.kind)}), Field: "kind"})
	}
	if f.zone != "" {
		if _, err := time.LoadLocation(f.zone); err != nil || f.zone == "Local" {
			details = append(details, fault.Detail{Text: badZone.With(words.Args{"got": shorten(f.zone)}), Field: "zone"})
		}
	}
	if details != nil {
		return fault.New(fault.Invalid, badImport.Plain(), details...)
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

// proposalOut is a proposal as it travels: what caneward read prints, and the
// features that can be taken.
type proposalOut struct {
	ID        records.ID    `json:"id,omitempty"`
	ExpiresAt string        `json:"expires_at,omitempty"`
	Kind      records.Kind  `json:"kind"`
	Features  []proposedOut `json:"features"`
	intake.JSON
}

type proposedOut struct {
	Number   int             `json:"number"`
	ID       records.ID      `json:"id"`
	Name     string          `json:"name"`
	Feature  json.RawMessage `json:"feature"`
	Overlaps []overlapOut    `json:"overlaps"`
}

type overlapOut struct {
	Block records.ID `json:"block"`
	Name  string     `json:"name"`
	Area  float64    `json:"area_m2"`
}

// proposeImport reads a file; nothing is stored. A file of which nothing can be
// taken is refused with the places at fault.
func (s *Server) proposeImport(x *exchange) error {
	form, err := x.importForm()
	if err != nil {
		return err
	}
	var farm records.Farm
	var there []intake.Neighbour
	err = x.view(func(r records.Reader) error {
		farm = r.Farm()
		if form.kind != string(records.Blocks) {
			return nil
		}
		there, err = neighbours(r)
		return err
	})
	if err != nil {
		return err
	}
	if form.zone == "" {
		form.zone = farm.Zone
	}
	return x.alone(func() error { return x.propose(form, there) })
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

func (x *exchange) propose(form importForm, there []intake.Neighbour) error {
	ctx := x.r.Context()
	read, err := intake.Read(ctx, bytes.NewReader(form.file), form.name, intake.Options{Zone: form.zone})
	if err != nil {
		return err
	}
	out := proposalOut{Kind: records.Kind(form.kind), Features: []proposedOut{}, JSON: read.JSON(x.lang)}
	switch read.Outcome {
	case intake.Ask:
		return x.json(http.StatusOK, out)
	case intake.Reject:
		return read.Refusal()
	}
	p := &proposal{id: x.s.ids.New(), farm: x.farm, kind: out.Kind, made: x.s.Now(), size: len(form.file), features: x.taken(read, out.Kind)}
	if len(p.features) == 0 {
		text := noneOfKind.With(words.Args{"kind": kindTitles[p.kind].Plain()})
		return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "kind"})
	}
	for i, f := range p.features {
		one := proposedOut{Number: i + 1, ID: f.id, Name: f.name, Overlaps: []overlapOut{}}
		if one.Feature, err = wire.EncodeFeature(wire.Feature{ID: string(f.id), IDKind: wire.StringID, Geometry: f.record.Geometry, Properties: f.record.Properties}); err != nil {
			return err
		}
		if p.kind == records.Blocks {
			overlaps, err := intake.Neighbours(ctx, f.record.Geometry.Flat, there)
			if err != nil {
				return err
			}
			for _, o := range overlaps {
				one.Overlaps = append(one.Overlaps, overlapOut{records.ID(o.Neighbour.ID), o.Neighbour.Name, float64(o.Area)})
			}
		}
		out.Features = append(out.Features, one)
	}
	x.s.proposals.keep(p)
	out.ID, out.ExpiresAt = p.id, stamp(p.made.Add(proposalLife).Truncate(time.Second))
	return x.json(http.StatusOK, out)
}

// taken makes records of a kind out of what a file holds.
func (x *exchange) taken(read intake.Proposal, kind records.Kind) []proposed {
	var out []proposed
	add := func(name string, shape geo.Geometry, properties json.RawMessage) {
		out = append(out, proposed{id: x.s.ids.New(), name: name, record: records.Record{Geometry: shape, Properties: named(properties, name)}})
	}
	if kind != records.Tracks {
		for _, b := range read.Blocks {
			add(b.Name, b.Geometry, b.Properties)
		}
	}
	if kind != records.Blocks {
		for _, t := range read.Tracks {
			add(t.Name, t.Geometry, t.Properties)
		}
	}
	if kind == records.Surroundings {
		for _, p := range read.Points {
			add(p.Name, geo.Geometry{Flat: orb.Point(p.At)}, nil)
		}
	}
	if kind != records.Blocks {
		for _, r := range read.Rest {
			_, line := r.Geometry.Flat.(orb.LineString)
			_, lines := r.Geometry.Flat.(orb.MultiLineString)
			if kind == records.Surroundings || line || lines {
				add(r.Name, r.Geometry, r.Properties)
			}
		}
	}
	return out
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

// storeImport stores what was agreed. Sent again it answers as before.
func (s *Server) storeImport(x *exchange) error {
	var ask struct {
		Take []take `json:"take"`
		Why  string `json:"why"`
	}
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	p := s.proposals.find(x.farm, records.ID(x.vars["import"]))
	if p == nil {
		return fault.New(fault.Missing, noProposal.Plain())
	}
	if !goodWhy(ask.Why) {
		return fault.New(fault.Invalid, whyTooLong.With(words.Args{"most": whyMost}))
	}
	if len(ask.Take) == 0 {
		return fault.New(fault.Invalid, emptyTake.Plain(), fault.Detail{Text: emptyTake.Plain(), Field: "take"})
	}
	writes := make([]records.Write, 0, len(ask.Take))
	used := map[int]bool{}
	for _, t := range ask.Take {
		if t.Number < 1 || t.Number > len(p.features) || used[t.Number] {
			text := badTake.With(words.Args{"number": t.Number})
			return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "take"})
		}
		used[t.Number] = true
		f := p.features[t.Number-1]
		record := f.record
		if len(t.Properties) > 0 {
			record.Properties = withMembers(record.Properties, t.Properties)
		}
		writes = append(writes, records.Write{Kind: p.kind, ID: f.id, Record: record, By: x.author(ask.Why)})
	}
	return x.storeTaken(writes)
}

func (x *exchange) storeTaken(writes []records.Write) error {
	outcomes := make([]outcome, len(writes))
	for from := 0; from < len(writes); from += entry.BatchLimit {
		part := writes[from:min(from+entry.BatchLimit, len(writes))]
		stored, err := x.s.Desk.Put(x.r.Context(), x.farm, part)
		if err != nil {
			return err
		}
		for i, o := range stored {
			outcomes[from+i].ID = string(part[i].ID)
			x.fill(&outcomes[from+i], o)
			x.s.metrics.wrote(part[i].Kind, o)
		}
	}
	var sequence int64
	if err := x.view(func(r records.Reader) error { sequence = r.Sequence(); return nil }); err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"outcomes": outcomes, "sequence": sequence})
}
