package review

import (
	"context"
	"encoding/json"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/hotspot"
)

// Question is what a decision is to be about: the request to POST .../hot-spots
// as it was put, and the adviser's choice.
type Question struct {
	Ask    json.RawMessage
	Choice Choice
}

var (
	noAsk   = words.New("review-no-ask", "What was asked of the analysis is missing.", "Falta lo que se preguntó al análisis.")
	notAsOf = words.New("review-not-as-of",
		"A decision rests on the records as they are now; leave as_of out.",
		"Una decisión se basa en los registros como están ahora; omita as_of.")
)

// Request reads the question. The errors are hotspot.DecodeRequest's, and
// fault.Invalid for an earlier day's records.
func (q Question) Request() (hotspot.Request, error) {
	if len(q.Ask) == 0 {
		return hotspot.Request{}, fault.New(fault.Invalid, noAsk.Plain(), fault.Detail{Field: "ask", Text: noAsk.Plain()})
	}
	request, err := hotspot.DecodeRequest(q.Ask)
	if err == nil && request.AsOf != nil {
		err = fault.New(fault.Invalid, notAsOf.Plain(), fault.Detail{Field: "ask.as_of", Text: notAsOf.Plain()})
	}
	return request, err
}

// Proposal is a decision worked out and not signed.
type Proposal struct {
	Frozen   Frozen
	Analysis hotspot.Analysis
	Document json.RawMessage // English
	List     List
	// Basis is the SHA-256 of all that a signature would put its name to but for
	// the sequence number and the program's version, in hexadecimal: as long as it
	// stays the same, what the adviser saw still holds.
	Basis string
}

// Propose works out what would be signed. Errors: those of the analysis,
// fault.Invalid for a choice that cannot be signed, the context's.
func Propose(ctx context.Context, g Gathered, q Question, version string) (Proposal, error) {
	request, err := q.Request()
	if err != nil {
		return Proposal{}, err
	}
	h, err := hold(g.Farm, g.Sequence, g.Kept)
	if err != nil {
		return Proposal{}, err
	}
	p, err := workOut(ctx, h, request, q.Choice)
	if err != nil {
		return Proposal{}, err
	}
	ask, err := wire.Canonical(q.Ask)
	if err != nil {
		return Proposal{}, err
	}
	p.Frozen = Frozen{
		Form: Form, Farm: Farm{ID: g.Farm.ID, Name: g.Farm.Name, Zone: g.Farm.Zone, Invented: g.Farm.Invented},
		Sequence: g.Sequence, Version: version, Ask: ask, Choice: q.Choice, Records: g.Kept, Said: map[words.Language]Said{},
	}
	for _, l := range []words.Language{words.English, words.Spanish} {
		p.Frozen.Said[l] = said(p.Analysis, l)
	}
	p.Basis, err = p.basis()
	return p, err
}

func workOut(ctx context.Context, r records.Reader, request hotspot.Request, c Choice) (p Proposal, err error) {
	input, err := hotspot.Load(r, request)
	if err != nil {
		return p, err
	}
	if p.Analysis, err = request.Analyse(ctx, input); err != nil {
		return p, err
	}
	doc := p.Analysis.Document(words.English)
	if p.Document, err = json.Marshal(doc); err != nil {
		return p, err
	}
	p.List, err = compose(doc, r, request.Block, c)
	return p, err
}

func (p Proposal) basis() (string, error) {
	f := p.Frozen
	f.Sequence, f.Version = 0, ""
	raw, err := json.Marshal(struct {
		Frozen   Frozen          `json:"frozen"`
		Analysis json.RawMessage `json:"analysis"`
		List     List            `json:"list"`
	}{f, p.Document, p.List})
	if err != nil {
		return "", err
	}
	return digest(raw)
}

func said(a hotspot.Analysis, l words.Language) Said {
	doc := a.Document(l)
	s := Said{How: doc.How, Cautions: doc.Cautions, Evidence: []string{}, Advice: []string{}, Apart: map[string]string{}}
	if doc.WhyNoP != nil {
		s.WhyNoP = *doc.WhyNoP
	}
	for _, g := range doc.Groups {
		s.Evidence = append(s.Evidence, g.Evidence)
	}
	for _, c := range doc.Advice {
		s.Advice = append(s.Advice, c.Text)
	}
	for _, f := range doc.Finds {
		if f.Unresolved != "" && f.ID != "" {
			s.Apart[string(f.ID)] = f.Unresolved
		}
	}
	return s
}
