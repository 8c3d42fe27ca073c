package web

import (
	"encoding/json"
	"net/http"
	"slices"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/people"
	"caneward/records/scouting/programme"
)

var (
	programmesRole = words.New("web-programmes-role", "The owner or an adviser changes the counting programmes; your role on this farm is {role}.", "El dueño o un asesor cambia los programas de conteo; su función en esta finca es {role}.")
	sayDocument    = words.New("web-say-document", "This was written before. Say in If-Match which revision you replace; the current one is {etag}.", "Esto ya se escribió antes. Diga en If-Match qué revisión reemplaza; la actual es {etag}.")
	otherDocument  = words.New("web-other-document", "If-Match names no revision of this that is here.", "If-Match no nombra ninguna revisión de esto que esté aquí.")
)

func (s *Server) scoutingRoutes() []route {
	asked := func(schema string) *body { return &body{types: []string{typeJSON}, schema: schema} }
	return append(append(s.diagnosisRoutes(), s.walkRoutes()...), []route{
		{method: "GET", pattern: atFarm + "/programmes", id: "programmes", summary: "What is counted on this farm, and from which level on it matters", needs: farm, right: people.Read, handle: s.showProgrammes,
			replies: okJSON("programmes", "the programmes, and the farm's own changes to the list")},
		{method: "PUT", pattern: atFarm + "/programmes", id: "putProgrammes", summary: "Replace the farm's changes to the list of programmes", needs: farm, right: people.Read, handle: s.putProgrammes,
			headers: []string{"If-Match", "If-None-Match", whyHeader}, body: asked("programmeEdits"), replies: okJSON("programmes", "the list as it is now"), refuses: []int{403, 412, 422, 428, 507}},
		{method: "GET", pattern: atFarm + "/programmes/revisions", id: "programmesRevisions", summary: "Every revision of the farm's changes, oldest first", needs: farm, right: people.Read, handle: s.programmesRevisions,
			replies: okJSON("documentRevisions", "who, when, why, what")},
		{method: "POST", pattern: atFarm + "/counts", id: "weighCount", summary: "What a count says about the action level; nothing stored", needs: farm, right: people.Read, computes: true, handle: s.weighCount,
			body: asked("countAsk"), replies: okJSON("countAnswer", "above, below or not to be told yet"), refuses: []int{422}},
	}...)
}

func scoutingSchemas() object {
	nullable := func(o object) object {
		n := object{"nullable": true}
		for k, v := range o {
			n[k] = v
		}
		return n
	}
	programmeOne := shape([]string{"id", "cause", "title", "what", "unit", "method"}, object{
		"id": text("lower-case letters, digits, hyphens"), "cause": text("as in finds, or a pest"), "title": text("as shown"), "stage": text("when"), "what": text("what is a hit"), "unit": text("what is looked at"),
		"sample": text("the rule in words"), "look": whole, "sites": whole, "level": nullable(number), "at_least": truth, "any": truth, "sides": object{"type": "integer", "minimum": 1, "maximum": 2}, "sureness": number,
		"method": object{"type": "string", "enum": []programme.Method{programme.Share, programme.Mean}}, "note": text("beside it"), "source": text("where the figures stand, or common practice"), "own": truth, "built_in": truth, "texts": ref("any"),
	})
	edits := shape(nil, object{"programmes": list(ref("programme")), "hidden": list(text("id of a programme not used"))})
	all := object{
		"programme":         programmeOne,
		"programmeEdits":    edits,
		"programmes":        shape([]string{"programmes", "revision", "edits"}, object{"programmes": list(ref("programme")), "unused": list(ref("programme")), "revision": whole, "etag": text("for If-Match"), "edits": ref("programmeEdits")}),
		"documentRevisions": shape([]string{"revisions"}, object{"revisions": list(shape(nil, object{"revision": whole, "etag": text("for If-Match"), "at": text("when"), "by": ref("by"), "why": text("the reason"), "document": ref("any")}))}),
		"countAsk":          shape([]string{"programme", "sampled", "hits"}, object{"programme": text("its id"), "sampled": whole, "hits": whole, "block": ref("id"), "visit": ref("id")}),
		"countAnswer": shape([]string{"answer", "n", "hits", "rate", "interval"}, object{
			"programme": text("its id"), "title": text("as shown"), "what": text("what is a hit"), "unit": text("what was looked at"), "method": text("binomial or poisson"),
			"answer": object{"type": "string", "enum": []programme.Verdict{programme.Above, programme.Below, programme.CannotTell}}, "says": text("the answer in words"),
			"n": whole, "hits": whole, "rate": number, "interval": list(number), "level": nullable(number), "any": truth, "sureness": number, "sides": whole,
			"more": shape(nil, object{"if_clean": nullable(whole), "if_all_hits": nullable(whole), "at_this_rate": nullable(whole)}), "excludes": nullable(text("what a look without a hit speaks against")), "excludes_rate": nullable(number),
			"how": text("how it came about"), "note": text("beside it"), "source": text("where the figures stand"), "caution": text("what it is not"),
		}),
	}
	for _, more := range []object{diagnosisSchemas(), walkSchemas()} {
		for name, o := range more {
			all[name] = o
		}
	}
	return all
}

// edits are the farm's changes to the programmes; none where it never made any,
// then d is zero.
func (x *exchange) edits() (e programme.Edits, d records.Document, err error) {
	d, err = x.s.Store.Document(x.r.Context(), x.farm, programme.Document)
	if fault.Is(err, fault.Missing) {
		return e, d, nil
	}
	if err != nil {
		return e, d, err
	}
	e, err = programme.ParseEdits(d.Content)
	return e, d, err
}

func (x *exchange) programmes() ([]programme.Programme, error) {
	e, _, err := x.edits()
	return programme.Merge(e), err
}

func (s *Server) showProgrammes(x *exchange) error {
	e, d, err := x.edits()
	if err != nil {
		return err
	}
	return x.sendProgrammes(e, d)
}

func (x *exchange) sendProgrammes(e programme.Edits, d records.Document) error {
	shown, unused := []any{}, []any{}
	for _, p := range programme.Merge(programme.Edits{Programmes: e.Programmes}) {
		if slices.Contains(e.Hidden, p.ID) {
			unused = append(unused, p.JSON(x.lang))
		} else {
			shown = append(shown, p.JSON(x.lang))
		}
	}
	answer := map[string]any{"programmes": shown, "unused": unused, "revision": d.Number, "etag": "", "edits": json.RawMessage(`{}`)}
	if d.Number > 0 {
		answer["etag"], answer["edits"] = d.ETag(), d.Content
		x.w.Header().Set("ETag", d.ETag())
	}
	x.w.Header().Add("Vary", "Accept-Language")
	return x.json(http.StatusOK, answer)
}

func (s *Server) putProgrammes(x *exchange) error {
	if x.role != records.Owner && x.role != records.Adviser {
		return fault.New(fault.Forbidden, programmesRole.With(words.Args{"role": people.RoleName(x.role)}))
	}
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	if err := checkSyntax(data); err != nil {
		return err
	}
	e, err := programme.ParseEdits(data)
	if err != nil {
		return err
	}
	d, err := x.putDocument(programme.Document, data)
	if err != nil {
		return err
	}
	return x.sendProgrammes(e, d)
}

// putDocument stores a farm's document under the conditions and with the reason
// the request's headers give.
func (x *exchange) putDocument(name records.DocumentName, data []byte) (d records.Document, err error) {
	why, err := x.headerWhy()
	if err != nil {
		return d, err
	}
	base, err := x.documentBase(name)
	if err != nil {
		return d, err
	}
	d, _, err = x.s.Store.PutDocument(x.r.Context(), x.farm, name, base, data, x.author(why))
	if fault.Is(err, fault.Stale) && x.r.Header.Get("If-Match") == "" && x.r.Header.Get("If-None-Match") == "" {
		if now, missing := x.s.Store.Document(x.r.Context(), x.farm, name); missing == nil {
			return d, fault.New(fault.Precondition, sayDocument.With(words.Args{"etag": now.ETag()}))
		}
	}
	return d, err
}

// documentBase is the revision a write replaces: 0 without If-Match. An older
// tag is let through: the write may be a repeat.
func (x *exchange) documentBase(name records.DocumentName) (int, error) {
	ifMatch, ifNone := x.r.Header.Get("If-Match"), x.r.Header.Get("If-None-Match")
	switch {
	case ifMatch != "" && ifNone != "":
		return 0, fault.New(fault.Malformed, bothConditions.Plain())
	case ifNone != "" && ifNone != "*":
		return 0, fault.New(fault.Malformed, onlyStar.Plain())
	case ifMatch == "":
		return 0, nil
	}
	all, err := x.s.Store.DocumentRevisions(x.r.Context(), x.farm, name)
	if err != nil && !fault.Is(err, fault.Missing) {
		return 0, err
	}
	base := 0
	for _, d := range all {
		for _, tag := range strings.Split(ifMatch, ",") {
			if tag = strings.TrimSpace(tag); tag == "*" || tag == d.ETag() {
				base = d.Number
			}
		}
	}
	if base == 0 {
		return 0, fault.New(fault.Stale, otherDocument.Plain())
	}
	return base, nil
}

func (s *Server) programmesRevisions(x *exchange) error {
	return x.sendDocumentRevisions(programme.Document)
}

// sendDocumentRevisions answers with every revision of a farm's document.
func (x *exchange) sendDocumentRevisions(name records.DocumentName) error {
	all, err := x.s.Store.DocumentRevisions(x.r.Context(), x.farm, name)
	if err != nil && !fault.Is(err, fault.Missing) {
		return err
	}
	type entry struct {
		Revision int             `json:"revision"`
		ETag     string          `json:"etag"`
		At       string          `json:"at"`
		By       by              `json:"by"`
		Why      string          `json:"why,omitempty"`
		Document json.RawMessage `json:"document"`
	}
	entries := []entry{}
	for _, d := range all {
		entries = append(entries, entry{d.Number, d.ETag(), stamp(d.At), byOf(d.By), d.By.Why, d.Content})
	}
	return x.json(http.StatusOK, map[string]any{"revisions": entries})
}

// countAsk is the body of POST .../counts. Block and visit say where it was
// counted; they must be the farm's.
type countAsk struct {
	Programme string     `json:"programme"`
	Sampled   int        `json:"sampled"`
	Hits      int        `json:"hits"`
	Block     records.ID `json:"block"`
	Visit     records.ID `json:"visit"`
}

func (s *Server) weighCount(x *exchange) error {
	var ask countAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	all, err := x.programmes()
	if err != nil {
		return err
	}
	p, err := programme.Of(all, ask.Programme)
	if err != nil {
		return err
	}
	err = x.view(func(r records.Reader) error {
		for _, named := range []struct {
			kind  records.Kind
			field string
			id    records.ID
		}{{records.Blocks, "block", ask.Block}, {records.Visits, "visit", ask.Visit}} {
			if named.id == "" {
				continue
			}
			if _, err := r.Current(named.kind, named.id); err != nil {
				return namedMissing(err, named.field)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	answer, err := p.Weigh(ask.Sampled, ask.Hits)
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, answer.JSON(x.lang))
}

var namedNotThere = words.New("web-named-not-there", "What “{field}” names is not on this farm.", "Lo que nombra «{field}» no está en esta finca.")

// namedMissing says of a record named in a body that it is not there: the
// address itself is, so this is no 404.
func namedMissing(err error, field string) error {
	if !fault.Is(err, fault.Missing) {
		return err
	}
	text := namedNotThere.With(words.Args{"field": field})
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: field})
}
