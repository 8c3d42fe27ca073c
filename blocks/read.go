package blocks

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"unicode/utf8"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// MaxText bounds names and kinds in characters: no sign at a gate holds more.
const MaxText = 200

var (
	needed      = words.New("blocks-needed", "This is needed.", "Esto hace falta.")
	notObject   = words.New("blocks-not-object", "An object in braces is expected.", "Se espera un objeto entre llaves.")
	notText     = words.New("blocks-not-text", "Text in quotes is expected.", "Se espera un texto entre comillas.")
	textTooLong = words.New("blocks-text-too-long", "At most {limit} characters; this has {count}.", "Como máximo {limit} caracteres; este tiene {count}.")
	notNumber   = words.New("blocks-not-number", "A number is expected.", "Se espera un número.")
	outOfBounds = words.New("blocks-out-of-bounds", "A number from {low} to {high} is expected; this is {value}.", "Se espera un número de {low} a {high}; este es {value}.")
	notWhole    = words.New("blocks-not-whole", "A whole number from {low} to {high} is expected.", "Se espera un número entero de {low} a {high}.")
	notYesNo    = words.New("blocks-not-yes-no", "true or false is expected.", "Se espera true o false.")
	notOneOf    = words.New("blocks-not-one-of", "“{value}” is none of: {values}.", "«{value}» no es ninguno de estos: {values}.")
	wrongShape  = words.New("blocks-wrong-shape", "The place of this record must be {wanted}; it is {got}.", "El lugar de este registro debe ser {wanted}; es {got}.")

	aPolygon = words.New("blocks-a-polygon", "a Polygon or MultiPolygon", "un Polygon o MultiPolygon")
	aLine    = words.New("blocks-a-line", "a LineString or MultiLineString", "un LineString o MultiLineString")
	anyShape = words.New("blocks-any-shape", "a point, a line or an area", "un punto, una línea o un área")
	noShape  = words.New("blocks-no-shape", "missing", "ninguno")
)

// properties takes typed values out of a record's properties and gathers what
// is wrong, so that a person sees every fault at once.
type properties struct {
	members map[string]json.RawMessage
	faults  []fault.Detail
}

func open(raw json.RawMessage) *properties {
	p := &properties{}
	trimmed := bytes.TrimSpace(raw)
	if len(trimmed) == 0 || string(trimmed) == "null" {
		return p
	}
	if json.Unmarshal(raw, &p.members) != nil {
		p.fault("properties", notObject.Plain())
	}
	return p
}

func (p *properties) fault(field string, text words.Text) {
	p.faults = append(p.faults, fault.Detail{Field: field, Text: text})
}

// into reads a member; false when it is absent, null or of another type, which
// is a fault.
func (p *properties) into(field string, to any, otherwise words.Message) bool {
	raw, ok := p.members[field]
	if !ok || string(bytes.TrimSpace(raw)) == "null" {
		return false
	}
	if json.Unmarshal(raw, to) != nil {
		p.fault(field, otherwise.Plain())
		return false
	}
	return true
}

// text reads a text without the white space round it.
func (p *properties) text(field string) string {
	var s string
	if !p.into(field, &s, notText) {
		return ""
	}
	if n := utf8.RuneCountInString(s); n > MaxText {
		p.fault(field, textTooLong.With(words.Args{"limit": MaxText, "count": n}))
		return ""
	}
	return strings.TrimSpace(s)
}

// needText faults a text that is absent or blank.
func (p *properties) needText(field string) string {
	before := len(p.faults)
	s := p.text(field)
	if s == "" && len(p.faults) == before {
		p.fault(field, needed.Plain())
	}
	return s
}

// number reads a number within bounds, ends included; nil when absent.
func (p *properties) number(field string, low, high float64) *float64 {
	var v float64
	if !p.into(field, &v, notNumber) {
		return nil
	}
	if v < low || v > high {
		p.fault(field, outOfBounds.With(words.Args{"low": low, "high": high, "value": v}))
		return nil
	}
	return &v
}

// whole reads a whole number within bounds, ends included; ok only when it is
// there and good.
func (p *properties) whole(field string, low, high int) (int, bool) {
	var v float64
	if !p.into(field, &v, notNumber) {
		return 0, false
	}
	if v != math.Trunc(v) || v < float64(low) || v > float64(high) {
		p.fault(field, notWhole.With(words.Args{"low": low, "high": high}))
		return 0, false
	}
	return int(v), true
}

func (p *properties) yes(field string) bool {
	var v bool
	return p.into(field, &v, notYesNo) && v
}

// choose reads one of a closed list; "" when absent.
func choose[T ~string](p *properties, field string, values []T) T {
	s := p.text(field)
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
	p.fault(field, notOneOf.With(words.Args{"value": s, "values": strings.Join(names, ", ")}))
	return ""
}
