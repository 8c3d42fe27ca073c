package markup

import (
	"bytes"
	"encoding/json"
	"strings"
	"unicode/utf8"

	"caneward/geo/wire"
)

// Object is a JSON object while it is gathered, members in order.
type Object struct {
	names  []string
	values []json.RawMessage
	at     map[string]int
}

// Get is a member's value, nil without one.
func (o *Object) Get(name string) json.RawMessage {
	if i, ok := o.at[name]; ok {
		return o.values[i]
	}
	return nil
}

// Add adds a member unless there is one of this name, which then stays; false
// says that it differs.
func (o *Object) Add(name string, value json.RawMessage) bool {
	if had := o.Get(name); had != nil {
		return bytes.Equal(had, value)
	}
	if o.at == nil {
		o.at = map[string]int{}
	}
	o.at[name] = len(o.names)
	o.names, o.values = append(o.names, name), append(o.values, value)
	return true
}

// AddText adds a text.
func (o *Object) AddText(name, text string) bool { return o.Add(name, Quote(text)) }

// Len is the number of members.
func (o *Object) Len() int { return len(o.names) }

// JSON is the object; nil for none.
func (o *Object) JSON() json.RawMessage {
	if len(o.names) == 0 {
		return nil
	}
	out := []byte{'{'}
	for i, name := range o.names {
		if i > 0 {
			out = append(out, ',')
		}
		out = append(append(append(out, Quote(name)...), ':'), o.values[i]...)
	}
	return append(out, '}')
}

// Quote is a text as JSON, with no letter escaped that need not be.
func Quote(text string) json.RawMessage {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(text); err != nil { // never, of a string
		panic(err)
	}
	return bytes.TrimSuffix(b.Bytes(), []byte{'\n'})
}

// Bounded cuts a text at LongestText.
func Bounded(text string) (string, bool) {
	if len(text) <= LongestText {
		return text, false
	}
	cut := LongestText
	for cut > 0 && !utf8.RuneStart(text[cut]) {
		cut--
	}
	return text[:cut], true
}

// Departures gathers departures: those of one rule are one, which stands where
// the first was and counts the others.
type Departures []*wire.Error

// Add adds one.
func (d *Departures) Add(e *wire.Error) {
	for _, had := range *d {
		if had.Rule == e.Rule && had.Path == e.Path {
			had.Count++
			return
		}
	}
	e.Count = 1
	*d = append(*d, e)
}

// Member is a name and a value as JSON of an object to be written.
type Member struct {
	Name  string
	Value json.RawMessage
}

// Members takes properties apart, in their order; nil for none.
func Members(properties json.RawMessage) ([]Member, error) {
	if len(properties) == 0 || string(bytes.TrimSpace(properties)) == "null" {
		return nil, nil
	}
	d := json.NewDecoder(bytes.NewReader(properties))
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		return nil, &wire.Error{Rule: wire.RuleObject, Path: "properties", Byte: -1, Err: err}
	}
	var out []Member
	for d.More() {
		name, err := d.Token()
		var m Member
		if err == nil {
			m.Name = name.(string)
			err = d.Decode(&m.Value)
		}
		if err != nil {
			return nil, &wire.Error{Rule: wire.RuleSyntax, Path: "properties", Byte: -1, Err: err}
		}
		out = append(out, m)
	}
	return out, nil
}

// AsText is a value's text; false when it is none.
func AsText(value json.RawMessage) (string, bool) {
	var s string
	if len(value) == 0 || value[0] != '"' || json.Unmarshal(value, &s) != nil {
		return "", false
	}
	return s, true
}

// Display is a value as people read it: a text bare, anything else as JSON.
func Display(value json.RawMessage) string {
	if s, ok := AsText(value); ok {
		return strings.TrimSpace(s)
	}
	return string(value)
}

// Label is the first of the properties so named that has something to show.
func Label(all []Member, names ...string) string {
	for _, name := range names {
		for _, m := range all {
			if m.Name != name || string(m.Value) == "null" {
				continue
			}
			if s := Display(m.Value); s != "" {
				return s
			}
		}
	}
	return ""
}

// Fits reports whether XML 1.0 (section 2.2) can hold every letter of a text.
func Fits(text string) bool {
	for i, r := range text {
		switch {
		case r == '\t' || r == '\n' || r == '\r' || r >= 0x20 && r <= 0xD7FF || r >= 0xE000 && r < 0xFFFD || r >= 0x10000:
		case r == utf8.RuneError:
			if _, n := utf8.DecodeRuneInString(text[i:]); n == 1 {
				return false
			}
		default:
			return false
		}
	}
	return true
}

// Plain is JSON that XML can hold: it has no control letters, and the two
// letters XML lacks can be escaped, since they stand only in strings.
func Plain(value []byte) string {
	return strings.NewReplacer("\uFFFE", `\ufffe`, "\uFFFF", `\uffff`).Replace(string(value))
}
