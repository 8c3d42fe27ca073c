package scouting

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

// Limits of what people type. They bound the cost of a record; no field or
// form comes near them.
const (
	MaxRow       = 10_000
	MaxPlant     = 100_000
	MaxText      = 4000 // characters
	MaxStretches = 20_000
	MaxCounts    = 1000
	MaxPlants    = 100_000
	MaxFinds     = 10_000
	maxCounted   = 1_000_000_000
)

var (
	needed       = words.New("scouting-needed", "This is needed.", "Esto hace falta.")
	notText      = words.New("scouting-not-text", "Text in quotes is expected.", "Se espera un texto entre comillas.")
	textTooLong  = words.New("scouting-text-too-long", "At most {limit} characters; this has {count}.", "Como máximo {limit} caracteres; este tiene {count}.")
	notNumber    = words.New("scouting-not-number", "A number is expected.", "Se espera un número.")
	notWhole     = words.New("scouting-not-whole", "A whole number from {low} to {high} is expected.", "Se espera un número entero de {low} a {high}.")
	belowNothing = words.New("scouting-below-nothing", "This cannot be below 0.", "Esto no puede ser menor que 0.")
	notYesNo     = words.New("scouting-not-yes-no", "true or false is expected.", "Se espera true o false.")
	notTime      = words.New("scouting-not-time",
		"A date and time with its zone is expected, such as 2026-04-14T09:30:00-04:00.",
		"Se espera una fecha y hora con su zona, como 2026-04-14T09:30:00-04:00.")
	notDate = words.New("scouting-not-date",
		"A date is expected, such as 2026-04-14.",
		"Se espera una fecha, como 2026-04-14.")
	notList      = words.New("scouting-not-list", "A list in square brackets is expected.", "Se espera una lista entre corchetes.")
	listTooLong  = words.New("scouting-list-too-long", "At most {limit} entries; this has {count}.", "Como máximo {limit} entradas; esta tiene {count}.")
	listEmpty    = words.New("scouting-list-empty", "At least one entry is needed.", "Hace falta al menos una entrada.")
	notObject    = words.New("scouting-not-object", "An object in braces is expected.", "Se espera un objeto entre llaves.")
	notOneOf     = words.New("scouting-not-one-of", "“{value}” is none of: {values}.", "«{value}» no es ninguno de estos: {values}.")
	notARecordID = words.New("scouting-not-a-record-id", "The id of a record is expected: a UUID of version 7 in lower case.", "Se espera el identificador de un registro: un UUID de versión 7 en minúsculas.")
	wrongShape   = words.New("scouting-wrong-shape",
		"A record of this kind takes {wanted} as its place, not {got}.",
		"Un registro de este tipo lleva {wanted} como lugar, no {got}.")
	endsBefore = words.New("scouting-ends-before",
		"This lies before “{start}”.",
		"Esto es anterior a «{start}».")
)

// reader takes typed values out of a record's properties and gathers what is
// wrong, so that a person sees every fault at once.
type reader struct {
	members map[string]json.RawMessage
	path    string // "" or "inspected[0]."
	faults  *[]fault.Detail
}

// read opens a record's properties. Missing properties are an empty object.
func read(properties json.RawMessage) reader {
	r := reader{faults: new([]fault.Detail)}
	if len(bytes.TrimSpace(properties)) == 0 || string(bytes.TrimSpace(properties)) == "null" {
		return r
	}
	if json.Unmarshal(properties, &r.members) != nil {
		r.fault("properties", notObject.Plain(), words.Text{})
	}
	return r
}

func (r reader) fault(field string, text, fix words.Text) {
	*r.faults = append(*r.faults, fault.Detail{Field: r.path + field, Text: text, Fix: fix})
}

// has is whether the member is there and not null.
func (r reader) has(field string) bool {
	raw, ok := r.members[field]
	return ok && string(bytes.TrimSpace(raw)) != "null"
}

// need is has, and a fault where it is not; empty text is as good as none.
func (r reader) need(field string) bool {
	if !r.has(field) || string(bytes.TrimSpace(r.members[field])) == `""` {
		r.fault(field, needed.Plain(), words.Text{})
		return false
	}
	return true
}

func (r reader) text(field string) string {
	s, _ := r.given(field)
	return s
}

// given reads text; ok only when it is there and good.
func (r reader) given(field string) (s string, ok bool) {
	if !r.has(field) {
		return "", false
	}
	if json.Unmarshal(r.members[field], &s) != nil {
		r.fault(field, notText.Plain(), words.Text{})
		return "", false
	}
	if n := utf8.RuneCountInString(s); n > MaxText {
		r.fault(field, textTooLong.With(words.Args{"limit": MaxText, "count": n}), words.Text{})
		return "", false
	}
	return s, true
}

func (r reader) id(field string) records.ID {
	s := r.text(field)
	if s == "" {
		return ""
	}
	id, err := records.ParseID(s)
	if err != nil {
		r.fault(field, notARecordID.Plain(), words.Text{})
	}
	return id
}

// whole reads a whole number within bounds; ok only when it is there and good.
func (r reader) whole(field string, low, high int) (n int, ok bool) {
	if !r.has(field) {
		return 0, false
	}
	var f float64
	if json.Unmarshal(r.members[field], &f) != nil || f != math.Trunc(f) || f < float64(low) || f > float64(high) {
		r.fault(field, notWhole.With(words.Args{"low": low, "high": high}), words.Text{})
		return 0, false
	}
	return int(f), true
}

// size reads a number of 0 or more; nil when it is not there.
func (r reader) size(field string) *float64 {
	if !r.has(field) {
		return nil
	}
	var f float64
	if json.Unmarshal(r.members[field], &f) != nil {
		r.fault(field, notNumber.Plain(), words.Text{})
		return nil
	}
	if f < 0 {
		r.fault(field, belowNothing.Plain(), words.Text{})
		return nil
	}
	return &f
}

func (r reader) yes(field string) bool {
	if !r.has(field) {
		return false
	}
	var b bool
	if json.Unmarshal(r.members[field], &b) != nil {
		r.fault(field, notYesNo.Plain(), words.Text{})
	}
	return b
}

// moment reads a time with its zone (RFC 3339); zero when it is not there.
func (r reader) moment(field string) time.Time {
	s, ok := r.given(field)
	if !ok {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		r.fault(field, notTime.Plain(), words.Text{})
		return time.Time{}
	}
	return t
}

// day reads a date; zero when it is not there.
func (r reader) day(field string) time.Time {
	s, ok := r.given(field)
	if !ok {
		return time.Time{}
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		r.fault(field, notDate.Plain(), words.Text{})
		return time.Time{}
	}
	return t
}

// inOrder faults the later field when it lies before the earlier one.
func (r reader) inOrder(earlier, later string, from, to time.Time) {
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		r.fault(later, endsBefore.With(words.Args{"start": earlier}), words.Text{})
	}
}

// list reads a list's raw entries, at most limit of them.
func (r reader) list(field string, limit int) []json.RawMessage {
	if !r.has(field) {
		return nil
	}
	var entries []json.RawMessage
	if json.Unmarshal(r.members[field], &entries) != nil {
		r.fault(field, notList.Plain(), words.Text{})
		return nil
	}
	if len(entries) > limit {
		r.fault(field, listTooLong.With(words.Args{"limit": limit, "count": len(entries)}), words.Text{})
		return nil
	}
	return entries
}

// objects calls f with a reader for each entry of a list of objects.
func (r reader) objects(field string, limit int, f func(reader)) {
	for i, raw := range r.list(field, limit) {
		name := fmt.Sprintf("%s[%d]", field, i)
		inner := reader{path: r.path + name + ".", faults: r.faults}
		if json.Unmarshal(raw, &inner.members) != nil || inner.members == nil {
			r.fault(name, notObject.Plain(), words.Text{})
			continue
		}
		f(inner)
	}
}

// place faults a geometry whose type is not among those allowed.
func (r reader) place(g geo.Geometry, wanted words.Text, allowed ...string) {
	if g.Empty() {
		return
	}
	got := g.Flat.GeoJSONType()
	for _, a := range allowed {
		if got == a {
			return
		}
	}
	r.fault("geometry", wrongShape.With(words.Args{"wanted": wanted, "got": got}), words.Text{})
}

// choose faults a value outside a closed list.
func choose[T ~string](r reader, field string, values []T) T {
	s := r.text(field)
	if s == "" {
		return ""
	}
	names := make([]string, len(values))
	for i, v := range values {
		if s == string(v) {
			return v
		}
		names[i] = string(v)
	}
	r.fault(field, notOneOf.With(words.Args{"value": clip(s), "values": strings.Join(names, ", ")}), words.Text{})
	return ""
}

// clip keeps a refused value short enough to repeat.
func clip(s string) string {
	const shown = 60
	if utf8.RuneCountInString(s) <= shown {
		return s
	}
	return string([]rune(s)[:shown]) + "…"
}
