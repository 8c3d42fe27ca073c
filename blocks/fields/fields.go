// Package fields takes typed values out of a JSON object that people or their
// devices filled in, and gathers what is wrong with it, each fault at its
// dotted path, so that a person sees all of them at once.
//
// Members that are absent, null or, where text is read, empty were not given:
// that is no fault until Need asks for them.
package fields

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// MaxText bounds a text in characters; no field of a paper form comes near it.
const MaxText = 4000

var (
	needed      = words.New("fields-needed", "This is needed.", "Esto hace falta.")
	notObject   = words.New("fields-not-object", "An object in braces is expected.", "Se espera un objeto entre llaves.")
	notList     = words.New("fields-not-list", "A list in square brackets is expected.", "Se espera una lista entre corchetes.")
	listTooLong = words.New("fields-list-too-long", "At most {limit} entries; this has {count}.", "Como máximo {limit} entradas; esta tiene {count}.")
	notText     = words.New("fields-not-text", "Text in quotes is expected.", "Se espera un texto entre comillas.")
	textTooLong = words.New("fields-text-too-long", "At most {limit} characters; this has {count}.", "Como máximo {limit} caracteres; este tiene {count}.")
	notNumber   = words.New("fields-not-number", "A number is expected.", "Se espera un número.")
	notWithin   = words.New("fields-not-number-within", "A number from {low} to {high} is expected.", "Se espera un número de {low} a {high}.")
	outOfBounds = words.New("fields-out-of-bounds", "A number from {low} to {high} is expected; this is {value}.", "Se espera un número de {low} a {high}; este es {value}.")
	belowZero   = words.New("fields-below-zero", "This cannot be below 0.", "Esto no puede ser menor que 0.")
	notWhole    = words.New("fields-not-whole", "A whole number from {low} to {high} is expected.", "Se espera un número entero de {low} a {high}.")
	notYesNo    = words.New("fields-not-yes-no", "true or false is expected.", "Se espera true o false.")
	notOneOf    = words.New("fields-not-one-of", "“{value}” is none of: {values}.", "«{value}» no es ninguno de estos: {values}.")
	notRecordID = words.New("fields-not-a-record-id", "The id of a record is expected: a UUID of version 7 in lower case.", "Se espera el identificador de un registro: un UUID de versión 7 en minúsculas.")
	notMoment   = words.New("fields-not-time", "A date and time with its zone is expected, such as 2026-04-14T09:30:00-04:00.", "Se espera una fecha y hora con su zona, como 2026-04-14T09:30:00-04:00.")
	notDay      = words.New("fields-not-date", "A date is expected, such as 2026-04-14.", "Se espera una fecha, como 2026-04-14.")
	liesBefore  = words.New("fields-lies-before", "This lies before “{start}”.", "Esto es anterior a «{start}».")
	unknown     = words.New("fields-unknown-member", "“{member}” is not read here; known are {known}.", "«{member}» no se lee aquí; se conocen {known}.")
)

// Reader reads the members of one object; readers of the objects within share
// its faults. Every method names a member of this object, never a path. The zero Reader is not for use.
type Reader struct {
	members map[string]json.RawMessage
	path    string // of the object: "", "weather" or "products[0]"
	faults  *[]fault.Detail
}

// Open reads raw as the object at a dotted path, "" for the outermost; what is
// wrong is appended to faults. Nothing and null are an object without members,
// anything else that is no object is a fault at the path.
func Open(raw json.RawMessage, path string, faults *[]fault.Detail) Reader {
	r := Reader{path: path, faults: faults}
	if !r.open(raw) {
		r.Fault("", notObject.Plain())
	}
	return r
}

// Properties opens a record's properties with no faults yet; what is no object
// is a fault at "properties".
func Properties(raw json.RawMessage) Reader {
	r := Reader{faults: new([]fault.Detail)}
	if !r.open(raw) {
		r.Fault("properties", notObject.Plain())
	}
	return r
}

func (r *Reader) open(raw json.RawMessage) bool {
	trimmed := bytes.TrimSpace(raw)
	return len(trimmed) == 0 || json.Unmarshal(trimmed, &r.members) == nil
}

// Faults gives what is wrong so far, in the order it was found: with this
// object and with all that share its faults.
func (r Reader) Faults() []fault.Detail { return *r.faults }

// Fault says what is wrong with a member, or with the object itself where field
// is "".
func (r Reader) Fault(field string, text words.Text) {
	r.Add(fault.Detail{Field: field, Text: text})
}

// Add is Fault for a detail with a place or a remedy; its field is that of the
// member.
func (r Reader) Add(d fault.Detail) {
	d.Field = join(r.path, d.Field)
	*r.faults = append(*r.faults, d)
}

// Adopt takes over the details of a refusal as faults below a member. An error
// that is no *fault.Error says no more than that an object is expected.
func (r Reader) Adopt(field string, err error) {
	var refused *fault.Error
	if !errors.As(err, &refused) {
		r.Fault(field, notObject.Plain())
		return
	}
	if len(refused.Details) == 0 {
		r.Fault(field, refused.Text)
	}
	for _, d := range refused.Details {
		d.Field = join(field, d.Field)
		r.Add(d)
	}
}

func join(path, field string) string {
	if path == "" || field == "" {
		return path + field
	}
	return path + "." + field
}

// Has is whether the member is there and not null.
func (r Reader) Has(field string) bool {
	raw, ok := r.members[field]
	return ok && !isNull(raw)
}

func isNull(raw json.RawMessage) bool { return string(raw) == "null" }

// Need is Has, and a fault where it is not; blank text is as good as none.
func (r Reader) Need(field string) bool {
	var s string
	if !r.Has(field) || json.Unmarshal(r.members[field], &s) == nil && strings.TrimSpace(s) == "" {
		r.Fault(field, needed.Plain())
		return false
	}
	return true
}

// Raw is the member as it was sent, nil when it is absent.
func (r Reader) Raw(field string) json.RawMessage { return r.members[field] }

// Names gives the names of the members, sorted.
func (r Reader) Names() []string {
	names := make([]string, 0, len(r.members))
	for name := range r.members {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// Only faults every member that is none of the known ones, so that a misspelt
// name does not pass for a member left out.
func (r Reader) Only(known ...string) {
	for _, name := range r.Names() {
		if !slices.Contains(known, name) {
			short := Shorten(name)
			r.Fault(short, unknown.With(words.Args{"member": short, "known": strings.Join(known, ", ")}))
		}
	}
}

// into reads a member; false when it was not given or is of another type, which
// is a fault.
func (r Reader) into(field string, to any, otherwise words.Text) bool {
	if !r.Has(field) {
		return false
	}
	if json.Unmarshal(r.members[field], to) != nil {
		r.Fault(field, otherwise)
		return false
	}
	return true
}

// Text reads text of at most MaxText characters as it was written, white space
// round it included; "" when not given or at fault.
func (r Reader) Text(field string) string { return r.TextUpTo(field, MaxText) }

// TextUpTo is Text with another limit, in characters.
func (r Reader) TextUpTo(field string, limit int) string {
	var s string
	if !r.into(field, &s, notText.Plain()) {
		return ""
	}
	if n := utf8.RuneCountInString(s); n > limit {
		r.Fault(field, textTooLong.With(words.Args{"limit": limit, "count": n}))
		return ""
	}
	return s
}

// Number reads a number within bounds, ends included; nil when not given or at
// fault.
func (r Reader) Number(field string, low, high float64) *float64 {
	var v float64
	if !r.into(field, &v, notWithin.With(words.Args{"low": low, "high": high})) {
		return nil
	}
	if v < low || v > high {
		r.Fault(field, outOfBounds.With(words.Args{"low": low, "high": high, "value": v}))
		return nil
	}
	return &v
}

// Size reads a number of 0 or more, without upper bound; nil when not given or
// at fault.
func (r Reader) Size(field string) *float64 {
	var v float64
	if !r.into(field, &v, notNumber.Plain()) {
		return nil
	}
	if v < 0 {
		r.Fault(field, belowZero.Plain())
		return nil
	}
	return &v
}

// Whole reads a whole number within bounds, ends included; ok only when it is
// there and good. 3.0 is whole.
func (r Reader) Whole(field string, low, high int) (n int, ok bool) {
	if !r.Has(field) {
		return 0, false
	}
	n, ok = whole(r.members[field], low, high)
	if !ok {
		r.Fault(field, notWhole.With(words.Args{"low": low, "high": high}))
	}
	return n, ok
}

func whole(raw json.RawMessage, low, high int) (int, bool) {
	var v float64
	if isNull(raw) || json.Unmarshal(raw, &v) != nil || v != math.Trunc(v) || v < float64(low) || v > float64(high) {
		return 0, false
	}
	return int(v), true
}

// Yes reads true or false; false when not given or at fault.
func (r Reader) Yes(field string) bool {
	var v bool
	return r.into(field, &v, notYesNo.Plain()) && v
}

// Moment reads a date and time with its zone (RFC 3339); zero when not given or
// at fault.
func (r Reader) Moment(field string) time.Time {
	return r.time(field, time.RFC3339Nano, notMoment)
}

// Day reads a date, YYYY-MM-DD, as its midnight in UTC; zero when not given or
// at fault.
func (r Reader) Day(field string) time.Time { return r.time(field, time.DateOnly, notDay) }

func (r Reader) time(field, layout string, otherwise words.Message) time.Time {
	s := r.Text(field)
	if s == "" {
		return time.Time{}
	}
	t, err := time.Parse(layout, s)
	if err != nil {
		r.Fault(field, otherwise.Plain())
		return time.Time{}
	}
	return t
}

// InOrder faults the later field when its time lies before the earlier one's. A
// zero time is before and after nothing.
func (r Reader) InOrder(earlier, later string, from, to time.Time) {
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		r.Fault(later, liesBefore.With(words.Args{"start": earlier}))
	}
}

// In opens the object that is a member, as Open does.
func (r Reader) In(field string) Reader {
	return Open(r.members[field], join(r.path, field), r.faults)
}

// List gives the entries of a list; nil when not given, no list, or longer than
// limit.
func (r Reader) List(field string, limit int) []json.RawMessage {
	var entries []json.RawMessage
	if !r.into(field, &entries, notList.Plain()) {
		return nil
	}
	if len(entries) > limit {
		r.Fault(field, listTooLong.With(words.Args{"limit": limit, "count": len(entries)}))
		return nil
	}
	return entries
}

func entry(field string, i int) string { return fmt.Sprintf("%s[%d]", field, i) }

// Each opens the entries of a list of objects, one after the other; an entry
// that is none is a fault and left out.
func (r Reader) Each(field string, limit int) iter.Seq[Reader] {
	return func(yield func(Reader) bool) {
		for i, raw := range r.List(field, limit) {
			e := Reader{path: join(r.path, entry(field, i)), faults: r.faults}
			if !e.open(raw) || e.members == nil {
				e.Fault("", notObject.Plain())
				continue
			}
			if !yield(e) {
				return
			}
		}
	}
}

// Ordinals reads a list of whole numbers from 1 to most, such as rows and plants
// bear; an entry at fault is 0, so that the others keep their place.
func (r Reader) Ordinals(field string, limit, most int) (numbers []int) {
	for i, raw := range r.List(field, limit) {
		n, ok := whole(raw, 1, most)
		if !ok {
			r.Fault(entry(field, i), notWhole.With(words.Args{"low": 1, "high": most}))
		}
		numbers = append(numbers, n)
	}
	return numbers
}

// ID reads a record's id in the form parse accepts; "" when not given or at
// fault.
func ID[T ~string](r Reader, field string, parse func(string) (T, error)) T {
	s := r.Text(field)
	if s == "" {
		return ""
	}
	id, err := parse(s)
	if err != nil {
		r.Fault(field, notRecordID.Plain())
		return ""
	}
	return id
}

// IDs reads a list of records' ids; an entry at fault is "", so that the others
// keep their place.
func IDs[T ~string](r Reader, field string, limit int, parse func(string) (T, error)) (ids []T) {
	for i, raw := range r.List(field, limit) {
		var s string
		id, err := T(""), json.Unmarshal(raw, &s)
		if err == nil {
			id, err = parse(s)
		}
		if err != nil {
			r.Fault(entry(field, i), notRecordID.Plain())
			id = ""
		}
		ids = append(ids, id)
	}
	return ids
}

// Choose reads one of a closed list, spelt as it is there; "" when not given or
// at fault.
func Choose[T ~string](r Reader, field string, values []T) T {
	s := r.Text(field)
	if s == "" || slices.Contains(values, T(s)) {
		return T(s)
	}
	names := make([]string, len(values))
	for i, v := range values {
		names[i] = string(v)
	}
	r.Fault(field, notOneOf.With(words.Args{"value": Shorten(s), "values": strings.Join(names, ", ")}))
	return ""
}

// maxShown is how much of what somebody sent is repeated to them, in characters.
const maxShown = 60

// Shorten cuts what somebody sent to a length fit to repeat.
func Shorten(s string) string {
	if utf8.RuneCountInString(s) <= maxShown {
		return s
	}
	return string([]rune(s)[:maxShown]) + "…"
}
