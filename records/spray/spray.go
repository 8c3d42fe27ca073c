// Package spray is the spray job: the label as somebody typed it, the pass
// over the ground, and the draft that says what a pass would treat, withhold
// and need.
//
// A draft is a planning aid. The label and local law are the rule; nothing here
// certifies that a job follows them.
package spray

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/quantity"
)

// Pattern is how a pass puts spray on the ground.
type Pattern string

// The patterns.
const (
	Broadcast        Pattern = "broadcast"         // all of the chosen ground
	Band             Pattern = "band"              // a width along each row
	Spot             Pattern = "spot"              // places drawn
	Drench           Pattern = "drench"            // so much at each plant
	AlternateMiddles Pattern = "alternate-middles" // every second alley driven
)

// Patterns lists them in the order screens show them.
var Patterns = []Pattern{Broadcast, Band, Spot, Drench, AlternateMiddles}

// State is how far a pass has come. Only an applied one is a record of
// something done.
type State string

// The states.
const (
	Planned State = "draft"
	Ready   State = "ready"
	Applied State = "applied"
)

// States lists them in order.
var States = []State{Planned, Ready, Applied}

// Limits of what people send. No job or label comes near them.
const (
	MaxBlocks   = 200
	MaxRows     = 10_000
	MaxProducts = 20 // in one mix
	MaxSetbacks = 50
	MaxText     = 4000 // characters
	maxEntries  = 200  // ingredients, rates, caps of a label
	maxDays     = 3660
	maxHours    = 8784 // a leap year
)

// Bounds of distances. Label buffers end at 320 ft; a country's width is a slip
// of the pen. A boom band ends well under 30 m.
const (
	MaxDistance  geo.Metres = 5000
	MaxBandWidth geo.Metres = 30
)

var (
	sayNeeded    = words.New("spray-needed", "This is needed.", "Esto hace falta.")
	sayObject    = words.New("spray-not-object", "An object in braces is expected.", "Se espera un objeto entre llaves.")
	sayNotList   = words.New("spray-not-list", "A list in square brackets is expected.", "Se espera una lista entre corchetes.")
	sayListLong  = words.New("spray-list-too-long", "At most {limit} entries; this has {count}.", "Como máximo {limit} entradas; esta tiene {count}.")
	sayNotText   = words.New("spray-not-text", "Text in quotes is expected.", "Se espera un texto entre comillas.")
	sayTextLong  = words.New("spray-text-too-long", "At most {limit} characters; this has {count}.", "Como máximo {limit} caracteres; este tiene {count}.")
	sayNumber    = words.New("spray-not-number", "A number from {low} to {high} is expected.", "Se espera un número de {low} a {high}.")
	sayWhole     = words.New("spray-not-whole", "A whole number from {low} to {high} is expected.", "Se espera un número entero de {low} a {high}.")
	sayAboveNil  = words.New("spray-not-above", "A number above 0, at most {high}, is expected.", "Se espera un número mayor que 0, como máximo {high}.")
	sayYesNo     = words.New("spray-not-yes-no", "true or false is expected.", "Se espera true o false.")
	sayOneOf     = words.New("spray-not-one-of", "“{value}” is none of: {values}.", "«{value}» no es ninguno de estos: {values}.")
	sayRecordID  = words.New("spray-not-a-record-id", "The id of a record is expected: a UUID of version 7 in lower case.", "Se espera el identificador de un registro: un UUID de versión 7 en minúsculas.")
	sayTime      = words.New("spray-not-time", "A date and time with its zone is expected, such as 2026-06-10T06:30:00-04:00.", "Se espera una fecha y hora con su zona, como 2026-06-10T06:30:00-04:00.")
	sayDate      = words.New("spray-not-date", "A date is expected, such as 2026-06-10.", "Se espera una fecha, como 2026-06-10.")
	sayBefore    = words.New("spray-ends-before", "This lies before “{start}”.", "Esto es anterior a «{start}».")
	sayUnknown   = words.New("spray-unknown-member", "“{member}” is not read here; known are {known}.", "«{member}» no se lee aquí; se conocen {known}.")
	sayNotVolume = words.New("spray-not-volume", "Spray is measured by volume: gal, L, ...; {unit} is none.", "El caldo se mide por volumen: gal, L, ...; {unit} no lo es.")
)

// reader takes typed values out of a JSON object and gathers what is wrong, so
// that a person sees every fault at once.
type reader struct {
	members map[string]json.RawMessage
	path    string // "" or "products[0]."
	faults  *[]fault.Detail
}

func open(raw json.RawMessage, path string, faults *[]fault.Detail) reader {
	r := reader{path: path, faults: faults}
	if trimmed := bytes.TrimSpace(raw); len(trimmed) == 0 || string(trimmed) == "null" {
		return r
	}
	if json.Unmarshal(raw, &r.members) != nil {
		r.fault("", sayObject.Plain())
	}
	return r
}

func (r reader) fault(field string, text words.Text) {
	r.add(fault.Detail{Field: field, Text: text})
}

func (r reader) add(d fault.Detail) {
	d.Field = strings.TrimSuffix(r.path+d.Field, ".")
	*r.faults = append(*r.faults, d)
}

// adopt takes over the details of a refusal below a field.
func (r reader) adopt(field string, err error) {
	var f *fault.Error
	if !errors.As(err, &f) {
		r.fault(field, sayObject.Plain())
		return
	}
	if len(f.Details) == 0 {
		r.fault(field, f.Text)
	}
	for _, d := range f.Details {
		if d.Field != "" {
			d.Field = field + "." + d.Field
		} else {
			d.Field = field
		}
		r.add(d)
	}
}

// has is whether the member is there and not null.
func (r reader) has(field string) bool {
	raw, ok := r.members[field]
	return ok && string(bytes.TrimSpace(raw)) != "null"
}

// only faults members that are none of the known ones: in a request a
// misspelt setback must not pass for none.
func (r reader) only(known ...string) {
	for _, name := range sortedNames(r.members) {
		found := false
		for _, k := range known {
			found = found || k == name
		}
		if !found {
			r.fault(shorten(name), sayUnknown.With(words.Args{"member": shorten(name), "known": strings.Join(known, ", ")}))
		}
	}
}

func (r reader) text(field string) string {
	if !r.has(field) {
		return ""
	}
	var s string
	if json.Unmarshal(r.members[field], &s) != nil {
		r.fault(field, sayNotText.Plain())
		return ""
	}
	if n := utf8.RuneCountInString(s); n > MaxText {
		r.fault(field, sayTextLong.With(words.Args{"limit": MaxText, "count": n}))
		return ""
	}
	return s
}

func (r reader) number(field string, low, high float64) *float64 {
	if !r.has(field) {
		return nil
	}
	var f float64
	if json.Unmarshal(r.members[field], &f) != nil || !(f >= low && f <= high) {
		r.fault(field, sayNumber.With(words.Args{"low": low, "high": high}))
		return nil
	}
	return &f
}

// above reads a length above 0; 0 when it is not there or not good.
func (r reader) above(field string, most geo.Metres) geo.Metres {
	if !r.has(field) {
		return 0
	}
	var f float64
	if json.Unmarshal(r.members[field], &f) != nil || !(f > 0 && f <= float64(most)) {
		r.fault(field, sayAboveNil.With(words.Args{"high": float64(most)}))
		return 0
	}
	return geo.Metres(f)
}

func (r reader) whole(field string, low, high int) *int {
	if !r.has(field) {
		return nil
	}
	var f float64
	if json.Unmarshal(r.members[field], &f) != nil || f != math.Trunc(f) || f < float64(low) || f > float64(high) {
		r.fault(field, sayWhole.With(words.Args{"low": low, "high": high}))
		return nil
	}
	n := int(f)
	return &n
}

func (r reader) yes(field string) bool {
	if !r.has(field) {
		return false
	}
	var b bool
	if json.Unmarshal(r.members[field], &b) != nil {
		r.fault(field, sayYesNo.Plain())
	}
	return b
}

// moment reads a time with its zone (RFC 3339); zero when it is not there.
func (r reader) moment(field string) time.Time {
	s := r.text(field)
	if s == "" {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		r.fault(field, sayTime.Plain())
		return time.Time{}
	}
	return t
}

func (r reader) day(field string) time.Time {
	s := r.text(field)
	if s == "" {
		return time.Time{}
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		r.fault(field, sayDate.Plain())
		return time.Time{}
	}
	return t
}

func (r reader) id(field string) records.ID {
	s := r.text(field)
	if s == "" {
		return ""
	}
	id, err := records.ParseID(s)
	if err != nil {
		r.fault(field, sayRecordID.Plain())
	}
	return id
}

// list gives the entries of a list, bounded.
func (r reader) list(field string, limit int) []json.RawMessage {
	if !r.has(field) {
		return nil
	}
	var items []json.RawMessage
	if json.Unmarshal(r.members[field], &items) != nil {
		r.fault(field, sayNotList.Plain())
		return nil
	}
	if len(items) > limit {
		r.fault(field, sayListLong.With(words.Args{"limit": limit, "count": len(items)}))
		return nil
	}
	return items
}

// each opens the entries of a list of objects.
func (r reader) each(field string, limit int) []reader {
	items := r.list(field, limit)
	out := make([]reader, len(items))
	for i, item := range items {
		out[i] = open(item, fmt.Sprintf("%s%s[%d].", r.path, field, i), r.faults)
		if string(bytes.TrimSpace(item)) == "null" {
			out[i].fault("", sayObject.Plain())
		}
	}
	return out
}

// oneOf reads one of a closed set; "" when it is not there or not good.
func oneOf[T ~string](r reader, field string, known []T) T {
	s := r.text(field)
	if s == "" {
		return ""
	}
	names := make([]string, len(known))
	for i, k := range known {
		if T(s) == k {
			return k
		}
		names[i] = string(k)
	}
	r.fault(field, sayOneOf.With(words.Args{"value": shorten(s), "values": strings.Join(names, ", ")}))
	return ""
}

func (r reader) amount(field string) *quantity.Amount {
	if !r.has(field) {
		return nil
	}
	var a quantity.Amount
	if err := a.UnmarshalJSON(r.members[field]); err != nil {
		r.adopt(field, err)
		return nil
	}
	return &a
}

// volume reads an amount of spray, above 0.
func (r reader) volume(field string) *quantity.Amount {
	a := r.amount(field)
	switch {
	case a == nil:
		return nil
	case a.Unit.Dimension() != quantity.Volume:
		r.fault(field+".unit", sayNotVolume.With(words.Args{"unit": string(a.Unit)}))
		return nil
	case a.Value == 0:
		r.fault(field+".value", sayAboveNil.With(words.Args{"high": quantity.MaxValue}))
		return nil
	}
	return a
}

func (r reader) rate(field string) *quantity.Rate {
	if !r.has(field) {
		return nil
	}
	var q quantity.Rate
	if err := q.UnmarshalJSON(r.members[field]); err != nil {
		r.adopt(field, err)
		return nil
	}
	return &q
}

// maxShown is how much of what somebody sent is repeated to them.
const maxShown = 60

func shorten(s string) string {
	if len(s) > maxShown {
		return strings.ToValidUTF8(s[:maxShown], "") + "..."
	}
	return s
}
