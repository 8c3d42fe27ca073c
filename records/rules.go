package records

import (
	"encoding/json"
	"math"
	"slices"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// What every store must answer alike stands here, so that it stands once.

var (
	farmZone = words.New("records-farm-zone-unknown",
		"{zone} is not a time zone; one such as America/Chicago is needed.",
		"{zone} no es una zona horaria; se necesita una como America/Chicago.")
	farmTaken = words.New("records-farm-taken",
		"There is a farm {farm} already.",
		"Ya existe una finca {farm}.")
	farmMissing = words.New("records-farm-missing",
		"There is no such farm.",
		"No existe esa finca.")
	recordMissing = words.New("records-record-missing",
		"There is no such record.",
		"No existe ese registro.")
	revisionMissing = words.New("records-revision-missing",
		"There is no such revision.",
		"No existe esa revisión.")
	recordExists = words.New("records-record-exists",
		"There is a record with this id already, with other content.",
		"Ya existe un registro con este identificador y otro contenido.")
	baseStale = words.New("records-base-stale",
		"This was based on revision {base}; the current one is {current}.",
		"Esto partía de la revisión {base}; la actual es la {current}.")
	baseUnknown = words.New("records-base-unknown",
		"{base} is not a revision number.",
		"{base} no es un número de revisión.")
	queryBox = words.New("records-query-box",
		"The box is not one: numbers are needed, the south not above the north.",
		"El recuadro no lo es: se necesitan números y el sur no por encima del norte.")
	querySpan = words.New("records-query-span",
		"The time span ends before it begins.",
		"El intervalo termina antes de empezar.")
	queryLimit = words.New("records-query-limit",
		"A limit cannot be negative.",
		"Un límite no puede ser negativo.")
)

// Check refuses a farm whose id or zone is not one. fault.Invalid.
func (f Farm) Check() error {
	if _, err := ParseFarmID(string(f.ID)); err != nil {
		return err
	}
	if f.Zone != "" && f.Zone != "Local" {
		if _, err := time.LoadLocation(f.Zone); err == nil {
			return nil
		}
	}
	text := farmZone.With(words.Args{"zone": shorten(f.Zone)})
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "zone"})
}

// FarmTaken is what CreateFarm answers for an id in use.
func FarmTaken(id FarmID) error {
	return fault.New(fault.Conflict, farmTaken.With(words.Args{"farm": string(id)}))
}

// FarmMissing, RecordMissing and RevisionMissing are the answers for what is
// not there. They do not repeat what was asked for.
func FarmMissing() error     { return fault.New(fault.Missing, farmMissing.Plain()) }
func RecordMissing() error   { return fault.New(fault.Missing, recordMissing.Plain()) }
func RevisionMissing() error { return fault.New(fault.Missing, revisionMissing.Plain()) }

// Content checks a write's form and brings its record into the one form: empty
// for a delete, whose Record is not looked at. fault.Invalid for an id, a kind or a Base
// that is not one, and what ContentOf says.
func (w Write) Content() (Content, error) {
	if _, err := ParseKind(string(w.Kind)); err != nil {
		return Content{}, err
	}
	if _, err := ParseID(string(w.ID)); err != nil {
		return Content{}, err
	}
	if w.Base < Any || w.Base > math.MaxInt32 {
		text := baseUnknown.With(words.Args{"base": w.Base})
		return Content{}, fault.New(fault.Invalid, text, fault.Detail{Text: text, Field: "base"})
	}
	if w.Delete {
		return Content{}, nil
	}
	return ContentOf(w.Record)
}

// State is what is known of a record when a write arrives: the number of its
// current revision, 0 for none, and whether that one is closing.
type State struct {
	Number  int
	Deleted bool
}

// Verdict says what becomes of a write.
type Verdict struct {
	Repeat  int   // number of the revision this write repeats, 0 when it is none
	Store   bool  // store it as the revision after the current one
	Refused error // *fault.Error
}

// Judge decides a write whose form is good. sameAs reports whether the
// revision of that number, which exists, has the write's content: the same
// Deleted and an equal Content; who wrote it and when do not matter.
//
// In this order:
//  1. the revision Base+1 exists and is the same: a repeat;
//     with Any, the current revision is the same: a repeat
//  2. a delete finds no record or a closed one: fault.Missing
//  3. Base is the current revision, or Any: stored
//  4. Base is 0: fault.Conflict; else fault.Stale
//
// A record that was deleted comes back by a write based on its closing
// revision, or on Any; Base 0 does not bring it back.
func (w Write) Judge(s State, sameAs func(number int) (bool, error)) Verdict {
	candidate := w.Base + 1
	if w.Base == Any {
		candidate = s.Number
	}
	if candidate >= 1 && candidate <= s.Number {
		same, err := sameAs(candidate)
		if err != nil {
			return Verdict{Refused: err}
		}
		if same {
			return Verdict{Repeat: candidate}
		}
	}
	switch {
	case w.Delete && (s.Number == 0 || s.Deleted):
		return Verdict{Refused: RecordMissing()}
	case w.Base == Any || w.Base == s.Number:
		return Verdict{Store: true}
	case w.Base == 0:
		return Verdict{Refused: fault.New(fault.Conflict, recordExists.Plain())}
	}
	return Verdict{Refused: fault.New(fault.Stale, baseStale.With(words.Args{"base": w.Base, "current": s.Number}))}
}

// Check refuses a query that makes no sense: a negative limit, a cursor that is
// no id, a span or a box turned round, a box that is not finite. fault.Invalid.
func (q Query) Check() error {
	if q.Limit < 0 {
		return fault.New(fault.Invalid, queryLimit.Plain())
	}
	if q.After != "" && !isUUID7(string(q.After)) {
		return refusedID(string(q.After))
	}
	if !q.From.IsZero() && !q.To.IsZero() && q.To.Before(q.From) {
		return fault.New(fault.Invalid, querySpan.Plain())
	}
	if b := q.Box; b != nil {
		for _, v := range []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fault.New(fault.Invalid, queryBox.Plain())
			}
		}
		if b.Min[1] > b.Max[1] {
			return fault.New(fault.Invalid, queryBox.Plain())
		}
	}
	return nil
}

// Admits is the exact answer for one record, whatever the store narrowed by
// before. Limit and After are not its business.
func (q Query) Admits(f Facets, r Record) bool {
	if q.Box != nil && !Meets(r.Geometry.Flat, *q.Box) {
		return false
	}
	if q.Blocks != nil && !slices.Contains(q.Blocks, f.Block) {
		return false
	}
	return q.AdmitsTime(f) && q.AdmitsProperties(r.Properties)
}

// AdmitsTime compares spans in whole microseconds, ends included; a record
// without a time passes.
func (q Query) AdmitsTime(f Facets) bool {
	if f.From.IsZero() && f.To.IsZero() {
		return true
	}
	if !q.From.IsZero() && f.To.Before(WholeMicroseconds(q.From)) {
		return false
	}
	return q.To.IsZero() || !f.From.After(WholeMicroseconds(q.To))
}

// AdmitsProperties compares the top-level string properties of Equal; a number
// equals no text.
func (q Query) AdmitsProperties(properties json.RawMessage) bool {
	if len(q.Equal) == 0 {
		return true
	}
	var members map[string]json.RawMessage
	if json.Unmarshal(properties, &members) != nil {
		return false
	}
	for name, want := range q.Equal {
		raw, there := members[name]
		if !there || raw[0] != '"' {
			return false
		}
		var got string
		if json.Unmarshal(raw, &got) != nil || got != want {
			return false
		}
	}
	return true
}
