package web

import (
	"encoding/json"
	"maps"
	"net/http"
	"strings"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/hotspot"
	"caneward/records/people"
	"caneward/records/review"
)

const (
	atReviews = atFarm + "/reviews"
	atReview  = atReviews + "/{id}"
)

var (
	adviserSigns = words.New("web-adviser-signs", "Only an adviser signs a decision; your role on this farm is {role}.", "Solo un asesor firma una decisión; su función en esta finca es {role}.")
	ownerSees    = words.New("web-owner-acknowledges", "Only the owner acknowledges a decision; your role on this farm is {role}.", "Solo el dueño acusa recibo de una decisión; su función en esta finca es {role}.")
	cannotSign   = words.New("web-cannot-sign", "This cannot be signed: {count} thing(s) to mend, named below.", "Esto no se puede firmar: {count} cosa(s) por corregir, nombradas abajo.")
	typeYourName = words.New("web-type-your-name", "Type your name under the decision: 2 to {most} characters.", "Escriba su nombre bajo la decisión: de 2 a {most} caracteres.")
	sayReasons   = words.New("web-say-reasons", "A signed decision needs its reasons: at most {most} characters.", "Una decisión firmada necesita sus razones: como máximo {most} caracteres.")
	sayBasis     = words.New("web-say-basis", "Send in “basis” what the proposal you looked at said.", "Envíe en «basis» lo que decía la propuesta que miró.")
	movedOn      = words.New("web-records-moved-on", "The records have changed since you looked: what you would sign is no longer what follows from them. Look at the proposal again.", "Los registros cambiaron desde que usted miró: lo que firmaría ya no es lo que se desprende de ellos. Mire la propuesta de nuevo.")
	signedOther  = words.New("web-signed-other", "Another decision has this id already.", "Otra decisión ya tiene este id.")
	notSigned    = words.New("web-not-signed", "This review is not signed.", "Esta revisión no está firmada.")
	seenAlready  = words.New("web-acknowledged-already", "This decision was acknowledged already, by {name}.", "De esta decisión ya acusó recibo {name}.")
)

const (
	nameMost    = 120
	reasonsMost = 5000
)

func (s *Server) reviewRoutes() []route {
	asked := func(schema string) *body { return &body{types: []string{typeJSON}, schema: schema} }
	return append(s.followUpRoutes(), []route{
		{method: "POST", pattern: atReviews + "/proposal", id: "proposeReview", summary: "What an adviser would sign; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.proposeReview,
			body: asked("reviewAsk"), replies: okJSON("reviewProposal", "the list, what it costs and what stands apart"), refuses: []int{422}},
		{method: "POST", pattern: atReviews, id: "signReview", summary: "Sign a decision: the server works it out and freezes it", needs: farm, right: people.Read, long: true, handle: s.signReview,
			body: asked("reviewSign"), replies: []reply{{201, []string{typeGeoJSON}, "feature", "signed"}, {200, []string{typeGeoJSON}, "feature", "signed before"}}, refuses: []int{403, 409, 412, 422, 507}},
		{method: "POST", pattern: atReview + "/acknowledgement", id: "acknowledgeReview", summary: "The owner has seen the decision; its frozen part stays as it is", needs: farm, right: people.Read, handle: s.acknowledgeReview,
			body: asked("reviewAcknowledge"), replies: []reply{{200, []string{typeGeoJSON}, "feature", "the decision"}}, refuses: []int{403, 404, 409, 422, 507}},
	}...)
}

func reviewSchemas() object {
	plant := shape([]string{"row", "plant"}, object{"row": whole, "plant": whole})
	section := object{"first_row": whole, "last_row": whole, "from": whole, "to": whole, "limit": number, "reason": text("why")}
	choice := shape(nil, object{"reach": text("confirmed, between or margin: how much of what is proposed; all of it without"), "margin_reason": text("why plants beside go"),
		"sections": list(shape(nil, section)), "planting": shape(nil, object{"limit": number, "reason": text("why")})})
	ground := object{"whole": truth, "plants": whole, "inspected": whole, "infected": whole, "share": number, "low": number, "high": number, "lower_one_sided": number}
	for name, o := range section {
		ground[name] = o
	}
	reviewList := shape([]string{"remove", "inspect", "apart", "grounds"}, object{
		"remove":  list(shape(nil, object{"row": whole, "plant": whole, "why": object{"type": "string", "enum": review.Whys}})),
		"inspect": list(plant), "grounds": list(shape(nil, ground)), "counts": object{"type": "object", "additionalProperties": whole},
		"apart":        list(shape(nil, object{"find": ref("id"), "row": whole, "plant": whole, "state": text("of the find"), "why": text("not-confirmed or no-plant")})),
		"row_length_m": object{"type": "number", "nullable": true}, "standing": object{"type": "integer", "nullable": true}, "share_of_block": object{"type": "number", "nullable": true},
	})
	all := object{
		"reviewList": reviewList,
		"reviewAsk":  shape([]string{"ask"}, object{"ask": ref("hotSpotsAsk"), "choice": choice}),
		"reviewProposal": shape([]string{"basis", "sequence", "analysis", "list"}, object{
			"basis": text("SHA-256 of what would be signed; send it along when signing"), "sequence": whole, "analysis": ref("hotSpots"), "list": ref("reviewList"), "says": list(text("a sentence"))}),
		"reviewSign": shape([]string{"id", "ask", "basis", "reasons", "name"}, object{
			"id": ref("id"), "ask": ref("hotSpotsAsk"), "choice": choice, "basis": text("of the proposal looked at"), "reasons": text("the adviser's"), "name": text("typed under the decision"), "supersedes": ref("id")}),
		"reviewAcknowledge": shape([]string{"name"}, object{"name": text("typed under it"), "words": text("if any")}),
	}
	maps.Copy(all, followUpSchemas())
	return all
}

// reviewAsk is the body of POST .../reviews/proposal.
type reviewAsk struct {
	Ask    json.RawMessage `json:"ask"`
	Choice review.Choice   `json:"choice"`
}

func (a reviewAsk) question() review.Question {
	return review.Question{Ask: a.Ask, Choice: a.Choice}
}

// propose works a decision out from the records as they stand.
func (x *exchange) propose(q review.Question) (p review.Proposal, err error) {
	request, err := q.Request()
	if err != nil {
		return p, err
	}
	var g review.Gathered
	err = x.view(func(r records.Reader) error {
		g, err = review.Gather(r, request.Block)
		return err
	})
	if err != nil {
		return p, blockMissing(err)
	}
	err = x.alone(func() error {
		p, err = review.Propose(x.r.Context(), g, q, x.s.Version)
		return err
	})
	return p, err
}

func (s *Server) proposeReview(x *exchange) error {
	var ask reviewAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	p, err := x.propose(ask.question())
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, struct {
		Basis    string           `json:"basis"`
		Sequence int64            `json:"sequence"`
		Analysis hotspot.Document `json:"analysis"`
		List     review.List      `json:"list"`
		Says     []string         `json:"says"`
	}{p.Basis, p.Frozen.Sequence, p.Analysis.Document(x.lang), p.List, sayAll(p.List.Says(), x.lang)})
}

func sayAll(texts []words.Text, l words.Language) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = t.In(l)
	}
	return out
}

// signAsk is the body of POST .../reviews.
type signAsk struct {
	reviewAsk
	ID         records.ID `json:"id"`
	Basis      string     `json:"basis"`
	Reasons    string     `json:"reasons"`
	Name       string     `json:"name"`
	Supersedes records.ID `json:"supersedes"`
}

func (a signAsk) faults() (details []fault.Detail) {
	if text := nameFault(a.Name); !text.Empty() {
		details = append(details, fault.Detail{Field: "name", Text: text})
	}
	if n := utf8.RuneCountInString(strings.TrimSpace(a.Reasons)); n == 0 || n > reasonsMost {
		details = append(details, fault.Detail{Field: "reasons", Text: sayReasons.With(words.Args{"most": reasonsMost})})
	}
	if a.Basis == "" {
		details = append(details, fault.Detail{Field: "basis", Text: sayBasis.Plain()})
	}
	return details
}

func nameFault(name string) words.Text {
	if n := utf8.RuneCountInString(strings.TrimSpace(name)); n < 2 || n > nameMost {
		return typeYourName.With(words.Args{"most": nameMost})
	}
	return words.Text{}
}

func (x *exchange) signer(name string) review.Signer {
	by := x.author("")
	return review.Signer{Person: by.Person, Account: by.Name, Role: by.Role, Name: strings.TrimSpace(name)}
}

func (s *Server) signReview(x *exchange) error {
	if x.role != records.Adviser {
		return fault.New(fault.Forbidden, adviserSigns.With(words.Args{"role": people.RoleName(x.role)}))
	}
	var ask signAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	if _, err := records.ParseID(string(ask.ID)); err != nil {
		return err
	}
	if details := ask.faults(); details != nil {
		return fault.New(fault.Invalid, cannotSign.With(words.Args{"count": len(details)}), details...)
	}
	if done, err := x.signedBefore(ask); done || err != nil {
		return err
	}
	p, err := x.propose(ask.question())
	if err != nil {
		return err
	}
	if p.Basis != ask.Basis {
		return fault.New(fault.Stale, movedOn.Plain())
	}
	request, err := ask.question().Request()
	if err != nil {
		return err
	}
	properties, err := review.Signed{
		Block: request.Block, Reasons: strings.TrimSpace(ask.Reasons), SignedAt: s.Now().UTC(), SignedBy: x.signer(ask.Name), Supersedes: ask.Supersedes,
		Analysis: p.Document, List: p.List, Frozen: p.Frozen, Basis: p.Basis,
	}.Sealed()
	if err != nil {
		return err
	}
	return x.putSigned(records.Write{ID: ask.ID, Record: records.Record{Properties: properties}, By: x.author("")})
}

// signedBefore answers a signature sent again: the answer to the first may have
// been lost.
func (x *exchange) signedBefore(ask signAsk) (bool, error) {
	rev, err := x.reviewNow(ask.ID)
	if fault.Is(err, fault.Missing) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	signed, err := review.Read(rev.Record.Properties)
	if err != nil || signed.Basis != ask.Basis || signed.SignedBy.Person != x.person.ID {
		return false, fault.New(fault.Conflict, signedOther.Plain())
	}
	return true, x.sendItem(http.StatusOK, rev)
}

func (x *exchange) reviewNow(id records.ID) (rev records.Revision, err error) {
	err = x.view(func(r records.Reader) error {
		rev, err = r.Current(records.Reviews, id)
		return err
	})
	return rev, err
}

func (x *exchange) putSigned(w records.Write) error {
	w.Kind = records.Reviews
	o, err := x.desk().PutSigned(x.r.Context(), x.farm, w)
	if err != nil {
		return err
	}
	x.s.metrics.wrote(w.Kind, o)
	if o.Err != nil {
		return o.Err
	}
	status := http.StatusOK
	if o.Created && !o.Repeated {
		status = http.StatusCreated
	}
	return x.sendItem(status, o.Revision)
}

// acknowledgeAsk is the body of POST .../acknowledgement.
type acknowledgeAsk struct {
	Name  string `json:"name"`
	Words string `json:"words"`
}

func (s *Server) acknowledgeReview(x *exchange) error {
	if x.role != records.Owner {
		return fault.New(fault.Forbidden, ownerSees.With(words.Args{"role": people.RoleName(x.role)}))
	}
	var ask acknowledgeAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	var details []fault.Detail
	if text := nameFault(ask.Name); !text.Empty() {
		details = append(details, fault.Detail{Field: "name", Text: text})
	}
	if utf8.RuneCountInString(ask.Words) > reasonsMost {
		details = append(details, fault.Detail{Field: "words", Text: sayReasons.With(words.Args{"most": reasonsMost})})
	}
	if details != nil {
		return fault.New(fault.Invalid, cannotSign.With(words.Args{"count": len(details)}), details...)
	}
	id, err := x.id()
	if err != nil {
		return err
	}
	rev, signed, err := x.signedReview(id)
	if err != nil {
		return err
	}
	if a := signed.Acknowledged; a != nil {
		if a.Person == x.person.ID && a.Name == strings.TrimSpace(ask.Name) && a.Words == strings.TrimSpace(ask.Words) {
			return x.sendItem(http.StatusOK, rev)
		}
		return fault.New(fault.Conflict, seenAlready.With(words.Args{"name": a.Name}))
	}
	properties, err := review.Acknowledge(rev.Record.Properties, review.Acknowledgement{Signer: x.signer(ask.Name), At: s.Now().UTC(), Words: strings.TrimSpace(ask.Words)})
	if err != nil {
		return err
	}
	return x.putSigned(records.Write{ID: id, Base: rev.Number, Record: records.Record{Properties: properties}, By: x.author("")})
}

// signedReview is a signed decision; what is none is refused.
func (x *exchange) signedReview(id records.ID) (records.Revision, review.Signed, error) {
	rev, err := x.reviewNow(id)
	if err != nil {
		return rev, review.Signed{}, err
	}
	if !review.IsSigned(rev.Record.Properties) {
		return rev, review.Signed{}, fault.New(fault.Conflict, notSigned.Plain())
	}
	signed, err := review.Read(rev.Record.Properties)
	return rev, signed, err
}
