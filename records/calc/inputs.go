package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records/quantity"
)

type kind int

const (
	number kind = iota
	whole
	text
	list
	date
	local
)

func (k kind) String() string {
	return [...]string{"number", "whole", "text", "list", "date", "local-time"}[k]
}

// key is one input and its bounds, ends included.
type key struct {
	name        string
	kind        kind
	optional    bool
	least, most float64
}

// Bounds. A divisor or a size has a least value well under any real one, so
// that no answer runs away; a most value well over any.
const (
	leastSize = 1e-6
	mostSize  = 1e9
	mostHours = 8784  // a leap year
	mostDays  = 36525 // a century
	mostList  = 100
)

func size(name string) key    { return key{name: name, least: leastSize, most: mostSize} }
func amount(name string) key  { return key{name: name, least: 0, most: mostSize} }
func percent(name string) key { return key{name: name, least: 0, most: 100} }
func count(name string) key   { return key{name: name, kind: whole, least: 0, most: mostSize} }
func some(name string) key    { return key{name: name, kind: whole, least: 1, most: mostSize} }
func word(name string) key    { return key{name: name, kind: text} }
func day(name string) key     { return key{name: name, kind: date} }
func moment(name string) key  { return key{name: name, kind: local} }

func (k key) within(least, most float64) key { k.least, k.most = least, most; return k }
func (k key) maybe() key                     { k.optional = true; return k }
func numbers(name string, most float64) key {
	return key{name: name, kind: list, least: 0, most: most}
}

// inputs is what was given, checked.
type inputs struct {
	values map[string]any
}

func (in inputs) has(name string) bool { _, ok := in.values[name]; return ok }
func (in inputs) num(name string) quantity.Exact {
	return quantity.Decimal(in.float(name))
}
func (in inputs) float(name string) float64    { v, _ := in.values[name].(float64); return v }
func (in inputs) int(name string) int          { return int(in.float(name)) }
func (in inputs) text(name string) string      { v, _ := in.values[name].(string); return v }
func (in inputs) list(name string) []float64   { v, _ := in.values[name].([]float64); return v }
func (in inputs) moment(name string) time.Time { v, _ := in.values[name].(time.Time); return v }

var (
	sayNumber = words.New("calc-not-a-number",
		"{key} must be a number between {least} and {most}; it is {given}.",
		"{key} debe ser un número entre {least} y {most}; es {given}.")
	sayWhole = words.New("calc-not-whole",
		"{key} must be a whole number between {least} and {most}; it is {given}.",
		"{key} debe ser un número entero entre {least} y {most}; es {given}.")
	sayText = words.New("calc-not-text",
		"{key} must be a word; it is {given}.",
		"{key} debe ser una palabra; es {given}.")
	sayList = words.New("calc-not-a-list",
		"{key} must be a list of 1 to {count} numbers between {least} and {most}, as [12,24,4]; it is {given}.",
		"{key} debe ser una lista de 1 a {count} números entre {least} y {most}, como [12,24,4]; es {given}.")
	sayDate = words.New("calc-not-a-date",
		"{key} must be a day of the calendar such as 2026-05-01; it is {given}.",
		"{key} debe ser un día del calendario como 2026-05-01; es {given}.")
	sayLocal = words.New("calc-not-a-local-time",
		"{key} must be a local time such as 2026-06-10T14:30; it is {given}.",
		"{key} debe ser una hora local como 2026-06-10T14:30; es {given}.")
	sayArgument = words.New("calc-argument",
		"{argument} is not of the form key=value.",
		"{argument} no tiene la forma clave=valor.")
	sayTwice = words.New("calc-twice",
		"{key} is given twice.",
		"{key} aparece dos veces.")
	sayLong = words.New("calc-too-long",
		"{key} is longer than {most} characters.",
		"{key} tiene más de {most} caracteres.")
)

// maxArgument bounds one key=value.
const maxArgument = 4096

// ParseArgs reads key=value words of a command line: the value is JSON where it
// parses as such, plain text otherwise. fault.Malformed for a word without =,
// an over-long one and a key given twice.
func ParseArgs(args []string) (map[string]any, error) {
	given := make(map[string]any, len(args))
	for _, a := range args {
		name, value, ok := strings.Cut(a, "=")
		if !ok || name == "" {
			return nil, fault.New(fault.Malformed, sayArgument.With(words.Args{"argument": shorten(a)}))
		}
		if len(a) > maxArgument {
			return nil, malformed(name, sayLong.With(words.Args{"key": shorten(name), "most": maxArgument}))
		}
		if _, twice := given[name]; twice {
			return nil, malformed(name, sayTwice.With(words.Args{"key": shorten(name)}))
		}
		given[name] = parseValue(value)
	}
	return given, nil
}

// ParseObject reads a JSON object of inputs by name, numbers as they were typed.
// null and empty text are an input left out. Errors are the decoder's.
func ParseObject(data []byte) (map[string]any, error) {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	var given map[string]any
	if err := d.Decode(&given); err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("more than one value")
	}
	for name, v := range given {
		if v == nil || v == "" {
			delete(given, name)
		}
	}
	return given, nil
}

func malformed(name string, t words.Text) error {
	return fault.New(fault.Malformed, t, fault.Detail{Field: shorten(name), Text: t})
}

func parseValue(value string) any {
	d := json.NewDecoder(bytes.NewReader([]byte(value)))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil || d.InputOffset() != int64(len(value)) {
		return value
	}
	return v
}

// read checks what was given against a topic's keys and reports every fault.
func read(topic string, keys []key, given map[string]any) (inputs, error) {
	in := inputs{values: map[string]any{}}
	var details []fault.Detail
	known := map[string]bool{}
	for _, k := range keys {
		known[k.name] = true
		v, there := given[k.name]
		if !there {
			if !k.optional {
				details = append(details, fault.Detail{Field: k.name, Text: sayMissing.With(words.Args{"topic": topic, "key": k.name, "known": names(keys)})})
			}
			continue
		}
		value, wrong := k.read(v)
		if !wrong.Empty() {
			details = append(details, fault.Detail{Field: k.name, Text: wrong})
			continue
		}
		in.values[k.name] = value
	}
	for _, name := range sortedKeys(given) {
		if !known[name] {
			details = append(details, fault.Detail{Field: shorten(name), Text: sayKey.With(words.Args{"topic": topic, "key": shorten(name), "known": names(keys)})})
		}
	}
	if len(details) > 0 {
		return inputs{}, fault.New(fault.Invalid, details[0].Text, details...)
	}
	return in, nil
}

func sortedKeys(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func names(keys []key) string {
	list := make([]string, len(keys))
	for i, k := range keys {
		list[i] = k.name
		if k.optional {
			list[i] = "[" + k.name + "]"
		}
	}
	return strings.Join(list, ", ")
}

func (k key) read(v any) (any, words.Text) {
	args := words.Args{"key": k.name, "least": k.least, "most": k.most, "given": shorten(fmt.Sprint(v))}
	switch k.kind {
	case number, whole:
		f, ok := asNumber(v)
		if !ok || f < k.least || f > k.most {
			return nil, map[kind]words.Message{number: sayNumber, whole: sayWhole}[k.kind].With(args)
		}
		if k.kind == whole && f != math.Trunc(f) {
			return nil, sayWhole.With(args)
		}
		return f, words.Text{}
	case text:
		if s, ok := v.(string); ok && s != "" {
			return s, words.Text{}
		}
		return nil, sayText.With(args)
	case list:
		if fs, ok := k.asNumbers(v); ok {
			return fs, words.Text{}
		}
		args["count"] = mostList
		return nil, sayList.With(args)
	case date:
		if t, ok := asTime(v, dateForm); ok {
			return t, words.Text{}
		}
		return nil, sayDate.With(args)
	default:
		if t, ok := asTime(v, localForm, localForm+":05"); ok {
			return t, words.Text{}
		}
		return nil, sayLocal.With(args)
	}
}

func asNumber(v any) (float64, bool) {
	var f float64
	switch v := v.(type) {
	case float64:
		f = v
	case int:
		f = float64(v)
	case json.Number:
		parsed, err := strconv.ParseFloat(string(v), 64)
		if err != nil {
			return 0, false
		}
		f = parsed
	default:
		return 0, false
	}
	return f, !math.IsNaN(f) && !math.IsInf(f, 0)
}

func (k key) asNumbers(v any) ([]float64, bool) {
	items, ok := v.([]any)
	if fs, plain := v.([]float64); plain {
		for _, f := range fs {
			items = append(items, f)
		}
		ok = true
	}
	if !ok || len(items) == 0 || len(items) > mostList {
		return nil, false
	}
	out := make([]float64, len(items))
	for i, item := range items {
		f, ok := asNumber(item)
		if !ok || f < k.least || f > k.most {
			return nil, false
		}
		out[i] = f
	}
	return out, true
}

const (
	dateForm  = "2006-01-02"
	localForm = "2006-01-02T15:04"
)

// Years outside these are slips of the keyboard.
const (
	firstYear = 1900
	lastYear  = 2200
)

func asTime(v any, forms ...string) (time.Time, bool) {
	s, ok := v.(string)
	if !ok {
		return time.Time{}, false
	}
	for _, form := range forms {
		if t, err := time.Parse(form, s); err == nil && t.Year() >= firstYear && t.Year() <= lastYear {
			return t, true
		}
	}
	return time.Time{}, false
}
