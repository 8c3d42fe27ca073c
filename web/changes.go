package web

import (
	"bytes"
	"encoding/json"
	"net/http"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/entry"
	"caneward/records/people"
	"caneward/records/scouting/programme"
	"caneward/web/problem"
)

var (
	tooManyChanges = words.New("web-too-many-changes", "A batch holds at most {most} changes; this one holds {got}. Send it in parts.", "Un envío lleva como máximo {most} cambios; este lleva {got}. Envíelo por partes.")
	noChanges      = words.New("web-no-changes", "The member “changes” must be a list.", "El miembro «changes» debe ser una lista.")
	badOp          = words.New("web-bad-op", "op is put or delete; this is “{got}”.", "op es put o delete; esto es «{got}».")
	badBase        = words.New("web-bad-base", "base is the number of the revision this replaces, or null to create.", "base es el número de la revisión que esto reemplaza, o null para crear.")
	noRecord       = words.New("web-no-record", "A put carries a record.", "Un put lleva un registro.")
	deleteRecord   = words.New("web-delete-record", "A delete carries no record.", "Un delete no lleva registro.")
	deleteBase     = words.New("web-delete-base", "A delete says in base which revision it closes.", "Un delete dice en base qué revisión cierra.")
)

// change is one entry of a batch.
type change struct {
	Op     string          `json:"op"`
	Kind   string          `json:"kind"`
	ID     string          `json:"id"`
	Record json.RawMessage `json:"record"`
	Base   *int            `json:"base"`
	Why    string          `json:"why"`
}

// outcome answers one entry.
type outcome struct {
	ID       string            `json:"id"`
	Status   int               `json:"status"`
	Revision int               `json:"revision,omitempty"`
	ETag     string            `json:"etag,omitempty"`
	Current  int               `json:"current,omitempty"` // on 409 and 412: the number of the current revision
	Problem  *problem.Document `json:"problem,omitempty"`
}

// takeChanges stores a batch from a phone. Entries that cannot be read stand
// beside the others with their own refusal; the rest goes to the desk in order.
func (s *Server) takeChanges(x *exchange) error {
	var sent struct {
		Changes []json.RawMessage `json:"changes"`
	}
	if err := x.bodyJSON(&sent); err != nil {
		return err
	}
	if sent.Changes == nil {
		return fault.New(fault.Invalid, noChanges.Plain(), fault.Detail{Text: noChanges.Plain(), Field: "changes"})
	}
	if n := len(sent.Changes); n > entry.BatchLimit {
		return fault.New(fault.TooLarge, tooManyChanges.With(words.Args{"most": entry.BatchLimit, "got": n}))
	}
	outcomes := make([]outcome, len(sent.Changes))
	var writes []records.Write
	var places []int
	for i, raw := range sent.Changes {
		w, id, err := x.readChange(raw)
		outcomes[i].ID = id
		if err != nil {
			x.refuseChange(&outcomes[i], err)
			s.metrics.wrote(w.Kind, records.Outcome{Err: err})
			continue
		}
		writes, places = append(writes, w), append(places, i)
	}
	if len(writes) > 0 {
		stored, err := x.desk().Put(x.r.Context(), x.farm, writes)
		if err != nil {
			return err
		}
		x.handled += int64(len(stored))
		for k, o := range stored {
			x.fill(&outcomes[places[k]], o)
			s.metrics.wrote(writes[k].Kind, o)
		}
	}
	var sequence int64
	err := x.view(func(r records.Reader) error { sequence = r.Sequence(); return nil })
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"outcomes": outcomes, "sequence": sequence})
}

// readChange reads one entry; the id is given even with an error, where it can
// be read.
func (x *exchange) readChange(raw json.RawMessage) (records.Write, string, error) {
	var c change
	if err := readJSON(raw, &c); err != nil {
		var only struct {
			ID string `json:"id"`
		}
		json.Unmarshal(raw, &only) // best effort: it only names the outcome
		return records.Write{}, shorten(only.ID), err
	}
	w := records.Write{Kind: records.Kind(c.Kind), ID: records.ID(c.ID), Delete: c.Op == "delete"}
	echo := shorten(c.ID)
	if _, err := records.ParseKind(c.Kind); err != nil {
		return w, echo, err
	}
	if _, err := records.ParseID(c.ID); err != nil {
		return w, echo, err
	}
	if !people.May(x.role, people.Write, w.Kind) {
		return w, echo, fault.New(fault.Forbidden, roleForbids.With(words.Args{"role": people.RoleName(x.role)}))
	}
	hasRecord := len(c.Record) > 0 && !bytes.Equal(bytes.TrimSpace(c.Record), []byte("null"))
	refused := func(field string, text words.Text) (records.Write, string, error) {
		return w, echo, fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: field})
	}
	switch {
	case c.Op != "put" && c.Op != "delete":
		return refused("op", badOp.With(words.Args{"got": shorten(c.Op)}))
	case c.Base != nil && *c.Base < 0:
		return refused("base", badBase.Plain())
	case !w.Delete && !hasRecord:
		return refused("record", noRecord.Plain())
	case w.Delete && hasRecord:
		return refused("record", deleteRecord.Plain())
	case w.Delete && (c.Base == nil || *c.Base == 0):
		return refused("base", deleteBase.Plain())
	case !goodWhy(c.Why):
		return refused("why", whyTooLong.With(words.Args{"most": whyMost}))
	}
	if c.Base != nil {
		w.Base = *c.Base
	}
	if !w.Delete {
		sent, err := decodeFeature(c.Record, w.ID)
		if err != nil {
			return w, echo, err
		}
		w.Record = sent.record
		if c.Why == "" {
			c.Why = sent.why
		}
	}
	w.By = x.author(c.Why)
	return w, echo, nil
}

// fill turns what became of a write into its outcome.
func (x *exchange) fill(out *outcome, o records.Outcome) {
	if o.Err != nil {
		x.refuseChange(out, o.Err)
		out.Current = o.Current
		return
	}
	out.Status = http.StatusOK
	if o.Created && !o.Repeated {
		out.Status = http.StatusCreated
	}
	out.Revision, out.ETag = o.Revision.Number, records.ETag(o.Revision)
}

// refuseChange gives an entry its own problem. A record that cannot be read is
// 422 here: the batch itself was read.
func (x *exchange) refuseChange(out *outcome, err error) {
	d := problem.From(err, x.lang, x.r.URL.Path, traceOf(x.r).id)
	if d.Status == http.StatusBadRequest {
		d.Status = http.StatusUnprocessableEntity
	}
	if d.Status == http.StatusInternalServerError {
		x.s.Logger.ErrorContext(x.r.Context(), "change failed", "id", traceOf(x.r).id, "err", err)
	}
	out.Status, out.Problem = d.Status, &d
}

// Sizes of a page of the feed.
const (
	usualChanges = 500
	mostChanges  = 1000
)

type changed struct {
	Sequence int64           `json:"sequence"`
	Kind     records.Kind    `json:"kind"`
	ID       records.ID      `json:"id"`
	Revision int             `json:"revision"`
	Deleted  bool            `json:"deleted"`
	Record   json.RawMessage `json:"record"`
}

// changesSince answers with revisions after a sequence number, so that a phone
// catches up: every one of them, in order, closing ones included.
func (s *Server) changesSince(x *exchange) error {
	text, _ := x.given("after")
	after, err := parseSequence(text)
	if err != nil {
		return err
	}
	text, _ = x.given("limit")
	limit, err := parseLimit(text, usualChanges, mostChanges)
	if err != nil {
		return err
	}
	answer := struct {
		Changes  []changed `json:"changes"`
		Sequence int64     `json:"sequence"`
		More     bool      `json:"more"`
		// Documents are no records: a phone that sees another tag here fetches the
		// document anew.
		Documents map[records.DocumentName]string `json:"documents"`
		// View changes when a member is given another part of the farm: what a
		// phone holds is then begun anew.
		View string `json:"view"`
	}{Changes: []changed{}, Documents: map[records.DocumentName]string{}, View: x.viewTag()}
	switch d, err := s.Store.Document(x.r.Context(), x.farm, programme.Document); {
	case err == nil:
		answer.Documents[programme.Document] = d.ETag()
	case !fault.Is(err, fault.Missing):
		return err
	}
	err = x.view(func(r records.Reader) error {
		answer.Sequence = r.Sequence()
		revisions, more, err := r.Since(after, limit)
		if err != nil {
			return err
		}
		answer.More = more
		size := 0
		for i, rev := range revisions {
			record, err := recordOf(rev)
			if err != nil {
				return err
			}
			answer.Changes = append(answer.Changes, changed{rev.Sequence, rev.Kind, rev.ID, rev.Number, rev.Deleted, record})
			if size += len(record); size > pageBytes && i+1 < len(revisions) {
				answer.More = true
				break
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	data, err := json.Marshal(answer)
	if err != nil {
		return err
	}
	x.w.Header().Set("Cache-Control", "no-store")
	return x.packed(typeJSON, append(data, '\n'))
}
