package scouting

import (
	"encoding/json"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
)

// LabResult is what came back from a laboratory, as it is entered.
type LabResult struct {
	Answer    Answer
	Result    string // the laboratory's words
	On        string // the day, YYYY-MM-DD
	Found     Cause  // the disease it names, "" where it names none
	Organism  string
	Accession string // "": as on the sample
	Method    string
	Lab       string
	Why       string // what the person who enters it adds
}

var (
	resultNotOne = words.New("scouting-result-not-one", "This result cannot be taken; see below.", "Este resultado no se puede tomar; véase abajo.")
	resultReason = words.New("scouting-result-reason", "Laboratory result {accession} of {on}: {result}", "Resultado de laboratorio {accession} del {on}: {result}")
)

// ParseLabResult reads the body of an entered result: answer, result and
// result_on must be there. fault.Invalid.
func ParseLabResult(raw json.RawMessage) (LabResult, error) {
	var faults []fault.Detail
	r := fields.Open(raw, "", &faults)
	r.Only("answer", "result", "result_on", "found", "organism", "accession", "method", "laboratory", "why")
	l := LabResult{Found: fields.Choose(r, "found", Causes), Accession: r.Text("accession"), Method: r.Text("method"), Lab: r.Text("laboratory"), Why: r.TextUpTo("why", maxWhy)}
	l.Organism = readOrganism(r, l.Found)
	if r.Need("answer") {
		l.Answer = fields.Choose(r, "answer", Answers)
	}
	if r.Need("result") {
		l.Result = r.Text("result")
	}
	if r.Need("result_on") && !r.Day("result_on").IsZero() {
		l.On = r.Text("result_on")
	}
	if len(faults) > 0 {
		return LabResult{}, fault.New(fault.Invalid, resultNotOne.Plain(), faults...)
	}
	return l, nil
}

// maxWhy is how long a reason may be, in characters, as everywhere.
const maxWhy = 500

// Reason is what stands on every revision the result makes, cut to the length
// of a reason.
func (l LabResult) Reason(accession string, lang words.Language) string {
	s := resultReason.With(words.Args{"accession": accession, "on": l.On, "result": words.Verbatim(l.Result)}).In(lang)
	if l.Why != "" {
		s = l.Why + ". " + s
	}
	if r := []rune(s); len(r) > maxWhy {
		return string(r[:maxWhy-1]) + "…"
	}
	return s
}

// OnSample gives the sample's properties with the result on them; what the
// result does not say stays as it was.
func (l LabResult) OnSample(properties json.RawMessage) (json.RawMessage, error) {
	set := map[string]string{"answer": string(l.Answer), "result": l.Result, "result_on": l.On}
	for name, v := range map[string]string{"found": string(l.Found), "organism": l.Organism, "accession": l.Accession, "method": l.Method, "laboratory": l.Lab} {
		if v != "" {
			set[name] = v
		}
	}
	return withMembers(properties, set)
}

// OnFind gives a covered find's properties as the result leaves them; moved is
// false where it leaves them alone. The scout's words are never touched. A
// disease other than the suspected one takes the place of the cause: the
// revisions before keep what was suspected.
func (l LabResult) OnFind(f Find, properties json.RawMessage) (changed json.RawMessage, moved bool, err error) {
	if l.Answer == SaysNothing {
		return properties, false, nil
	}
	set := map[string]string{"state": string(l.Answer)}
	if l.Answer == SaysConfirmed {
		if l.Found != "" {
			set["cause"] = string(l.Found)
			if l.Organism == "" && f.Cause != l.Found {
				set["organism"] = ""
			}
		}
		if l.Organism != "" {
			set["organism"] = l.Organism
		}
	}
	changed, err = withMembers(properties, set)
	return changed, true, err
}

// withMembers sets members of an object; empty texts take theirs out.
func withMembers(properties json.RawMessage, set map[string]string) (json.RawMessage, error) {
	members := map[string]json.RawMessage{}
	if err := json.Unmarshal(properties, &members); err != nil {
		return nil, err
	}
	for name, v := range set {
		if v == "" {
			delete(members, name)
			continue
		}
		raw, err := json.Marshal(v)
		if err != nil {
			return nil, err
		}
		members[name] = raw
	}
	return json.Marshal(members)
}
