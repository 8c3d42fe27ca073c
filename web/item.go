package web

import (
	"encoding/hex"
	"encoding/json"
	"net/http"
	"net/url"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
)

// whyHeader carries the reason of a change, UTF-8 with percent signs where
// HTTP needs them; a feature may carry it as its member "why" instead.
const whyHeader = "Caneward-Why"

var (
	bothConditions = words.New("web-both-conditions", "If-Match and If-None-Match do not stand together.", "If-Match e If-None-Match no van juntos.")
	onlyStar       = words.New("web-only-star", "If-None-Match on a change can only be *.", "If-None-Match en un cambio solo puede ser *.")
	sayRevision    = words.New("web-say-revision", "This record exists with other content. Say in If-Match which revision you replace; the current one is {etag}.", "Este registro existe con otro contenido. Diga en If-Match qué revisión reemplaza; la actual es {etag}.")
	sayDeleted     = words.New("web-say-deleted", "Say in If-Match which revision you close; the current one is {etag}.", "Diga en If-Match qué revisión cierra; la actual es {etag}.")
	existsAlready  = words.New("web-exists-already", "This record exists already, with other content.", "Este registro ya existe, con otro contenido.")
	wasDeleted     = words.New("web-was-deleted", "This record was deleted; its revisions stay. Make a new id, or say the closing revision in If-Match to bring it back.", "Este registro fue borrado; sus revisiones quedan. Haga un id nuevo, o diga en If-Match la revisión de cierre para recuperarlo.")
	otherRevision  = words.New("web-other-revision", "If-Match names no revision of this record that is here.", "If-Match no nombra ninguna revisión de este registro que esté aquí.")
)

// id reads the path; what is no id is no record.
func (x *exchange) id() (records.ID, error) {
	id, err := records.ParseID(x.vars["id"])
	if err != nil {
		return "", records.RecordMissing()
	}
	return id, nil
}

func (x *exchange) current(id records.ID) (rev records.Revision, err error) {
	err = x.view(func(r records.Reader) error {
		rev, err = r.Current(x.kind(), id)
		return err
	})
	return rev, err
}

// item answers with the current revision.
func (s *Server) item(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	rev, err := x.current(id)
	if err != nil {
		return err
	}
	if matchesAny(x.r.Header.Get("If-None-Match"), records.ETag(rev)) {
		x.w.Header().Set("ETag", records.ETag(rev))
		x.w.Header().Set("Cache-Control", "private, no-cache")
		x.w.WriteHeader(http.StatusNotModified)
		return nil
	}
	return x.sendItem(http.StatusOK, rev)
}

// author is who writes, now, and why.
func (x *exchange) author(why string) records.Author {
	name := x.person.Display
	if name == "" {
		name = x.person.Name
	}
	return records.Author{Person: x.person.ID, Name: name, Role: x.role, Why: why}
}

func (x *exchange) headerWhy() (string, error) {
	why, err := url.PathUnescape(x.r.Header.Get(whyHeader))
	if err != nil {
		return "", fault.Wrap(fault.Malformed, err, whyNoText.Plain())
	}
	if !goodWhy(why) {
		return "", fault.New(fault.Invalid, whyTooLong.With(words.Args{"most": whyMost}))
	}
	return why, nil
}

// put hands one write to the desk.
func (x *exchange) put(w records.Write) (records.Outcome, error) {
	outcomes, err := x.desk().Put(x.r.Context(), x.farm, []records.Write{w})
	if err != nil {
		return records.Outcome{}, err
	}
	x.s.metrics.wrote(w.Kind, outcomes[0])
	x.handled++
	return outcomes[0], nil
}

// putItem creates or replaces. Without a condition it creates, and repeats what
// was stored before with equal content; a replacement says what it replaces.
func (s *Server) putItem(x *exchange) error {
	id, err := x.id()
	if err != nil {
		_, err = records.ParseID(x.vars["id"]) // here the client makes the id: say what is wrong with it
		return err
	}
	ifMatch, ifNone := x.r.Header.Get("If-Match"), x.r.Header.Get("If-None-Match")
	switch {
	case ifMatch != "" && ifNone != "":
		return fault.New(fault.Malformed, bothConditions.Plain())
	case ifNone != "" && ifNone != "*":
		return fault.New(fault.Malformed, onlyStar.Plain())
	}
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	sent, err := decodeFeature(data, id)
	if err != nil {
		return err
	}
	if sent.why == "" {
		if sent.why, err = x.headerWhy(); err != nil {
			return err
		}
	}
	w := records.Write{Kind: x.kind(), ID: id, Record: sent.record, By: x.author(sent.why)}
	if ifMatch != "" {
		if w.Base, err = x.matched(id, ifMatch); err != nil {
			return err
		}
	}
	o, err := x.put(w)
	if err != nil {
		return err
	}
	if o.Err != nil {
		return x.unlessSame(w, o, ifNone != "")
	}
	status := http.StatusOK
	if o.Created && !o.Repeated {
		status = http.StatusCreated
	}
	return x.sendItem(status, o.Revision)
}

// unlessSame answers a refused write: a create that meets the same content is
// answered with it, one that meets other content is told what to say.
func (x *exchange) unlessSame(w records.Write, o records.Outcome, createOnly bool) error {
	if w.Base != 0 || !fault.Is(o.Err, fault.Conflict) || o.Current == 0 {
		return o.Err
	}
	rev, err := x.current(w.ID)
	if fault.Is(err, fault.Missing) {
		return fault.New(fault.Conflict, wasDeleted.Plain())
	}
	if err != nil {
		return err
	}
	same, err := equal(rev.Record, w.Record)
	switch {
	case err != nil:
		return err
	case same:
		return x.sendItem(http.StatusOK, rev)
	case createOnly:
		return fault.New(fault.Stale, existsAlready.Plain())
	}
	return fault.New(fault.Precondition, sayRevision.With(words.Args{"etag": records.ETag(rev)}))
}

func equal(a, b records.Record) (bool, error) {
	ca, err := records.ContentOf(a)
	if err != nil {
		return false, err
	}
	cb, err := records.ContentOf(b)
	return err == nil && ca.Equal(cb), err
}

// matched turns If-Match into the number of the revision to replace. A tag of
// an older revision is let through to the desk: the write may be a repeat of
// one whose answer was lost.
func (x *exchange) matched(id records.ID, header string) (int, error) {
	base := 0
	err := x.view(func(r records.Reader) error {
		current, err := r.Current(x.kind(), id)
		if err != nil && !fault.Is(err, fault.Missing) {
			return err
		}
		here := err == nil
		for _, tag := range splitTags(header) {
			if here && (tag == "*" || tag == records.ETag(current)) {
				base = current.Number
				return nil
			}
			if n, ok := x.older(r, id, tag); ok {
				base = max(base, n)
			}
		}
		return nil
	})
	if err == nil && base == 0 {
		err = fault.New(fault.Stale, otherRevision.Plain())
	}
	return base, err
}

func (x *exchange) older(r records.Reader, id records.ID, tag string) (int, bool) {
	n, tagged := records.ParseETag(tag)
	if !tagged {
		var plain bool
		if n, plain = plainTag(tag); !plain {
			return 0, false
		}
	}
	rev, err := r.At(x.kind(), id, n)
	return n, err == nil && (!tagged || records.ETag(rev) == tag)
}

// deleteItem adds a closing revision.
func (s *Server) deleteItem(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	why, err := x.headerWhy()
	if err != nil {
		return err
	}
	header := x.r.Header.Get("If-Match")
	if header == "" {
		rev, err := x.current(id)
		if err != nil {
			return err
		}
		return fault.New(fault.Precondition, sayDeleted.With(words.Args{"etag": records.ETag(rev)}))
	}
	w := records.Write{Kind: x.kind(), ID: id, Delete: true, By: x.author(why)}
	if w.Base, err = x.matched(id, header); err != nil {
		if _, missing := x.current(id); fault.Is(missing, fault.Missing) {
			return missing
		}
		return err
	}
	o, err := x.put(w)
	if err != nil {
		return err
	}
	if o.Err != nil {
		return o.Err
	}
	x.w.Header().Set("Cache-Control", "no-store")
	x.w.WriteHeader(http.StatusNoContent)
	return nil
}

type revisionEntry struct {
	Revision int             `json:"revision"`
	Sequence int64           `json:"sequence"`
	ETag     string          `json:"etag"`
	At       string          `json:"at"`
	By       by              `json:"by"`
	Why      string          `json:"why,omitempty"`
	Deleted  bool            `json:"deleted"`
	Hash     string          `json:"hash"`
	Record   json.RawMessage `json:"record"`
}

// revisions answers with every revision, oldest first.
func (s *Server) revisions(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	entries := []revisionEntry{}
	err = x.view(func(r records.Reader) error {
		all, err := r.Revisions(x.kind(), id)
		if err != nil {
			return err
		}
		for _, rev := range all {
			record, err := recordOf(rev)
			if err != nil {
				return err
			}
			entries = append(entries, revisionEntry{
				Revision: rev.Number, Sequence: rev.Sequence, ETag: records.ETag(rev), At: stamp(rev.At), By: byOf(rev.By), Why: rev.By.Why,
				Deleted: rev.Deleted, Hash: hex.EncodeToString(rev.Hash[:]), Record: record,
			})
		}
		return nil
	})
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"revisions": entries})
}

// recordOf is a revision's feature, null for a closing one.
func recordOf(rev records.Revision) (json.RawMessage, error) {
	if rev.Deleted {
		return json.RawMessage("null"), nil
	}
	return encodeFeature(rev, nil)
}
