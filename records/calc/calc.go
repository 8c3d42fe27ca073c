// Package calc is the spray and planting arithmetic growers do by hand: one
// topic, named inputs, one answer with its formula and where that stands.
//
// Sums run in fractions over the decimals typed in and are rounded once. The
// answers are planning aids: the label and local law are the rule.
package calc

import (
	"sort"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records/quantity"
)

// Answer is what a topic comes to. Value is a float64, a string (a date
// 2026-05-15 or a local time 2026-06-11T02:30) or a [2]float64; Unit is the
// unit as people write it.
type Answer struct {
	Value   any
	Unit    string
	Formula string
	Source  string     // who says so
	How     words.Text // what it means, with cautions
}

// Key is one input of a topic.
type Key struct {
	Name     string
	Kind     string // number, whole, text, list, date, local-time
	Optional bool
	Title    words.Text
	Least    float64  // of numbers, lists and whole numbers
	Most     float64  //
	Choices  []string // of text from a closed list; nil else
}

// Topic describes one sum.
type Topic struct {
	Name    string
	Group   Group
	Title   words.Text
	Keys    []Key
	Formula string
	Source  string
}

// topic is one sum with its rules.
type topic struct {
	keys    []key
	formula string
	source  string
	how     words.Message
	do      func(inputs) (result, error)
}

type result struct {
	value any
	unit  string
	how   words.Args
}

var (
	sayTopic = words.New("calc-unknown-topic",
		"{topic} is no topic here. Topics: {known}.",
		"{topic} no es un tema de aquí. Temas: {known}.")
	sayKey = words.New("calc-unknown-key",
		"{topic} has no input {key}. Inputs: {known}.",
		"{topic} no tiene la entrada {key}. Entradas: {known}.")
	sayMissing = words.New("calc-missing-key",
		"{topic} needs {key}. Inputs: {known}.",
		"{topic} necesita {key}. Entradas: {known}.")
)

// Topics names the sums, in order.
func Topics() []string {
	names := make([]string, 0, len(topics))
	for n := range topics {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

// Describe lists the sums with their inputs, by name.
func Describe() []Topic {
	list := make([]Topic, 0, len(topics))
	for name, t := range topics {
		one := Topic{Name: name, Group: headings[name].group, Title: headings[name].title.Plain(), Formula: t.formula, Source: t.source}
		for _, k := range t.keys {
			one.Keys = append(one.Keys, Key{Name: k.name, Kind: k.kind.String(), Optional: k.optional, Title: keyNames[k.name].Plain(),
				Least: k.least, Most: k.most, Choices: choicesOf(name, k.name)})
		}
		list = append(list, one)
	}
	sort.Slice(list, func(i, j int) bool { return list[i].Name < list[j].Name })
	return list
}

// Do works a topic out. Inputs are float64, int, json.Number, string or []any
// of numbers, by key. An unknown topic is fault.Missing; an unknown or missing
// key, and a value of the wrong kind or out of its bounds, are fault.Invalid
// with the key in Details[].Field, all of them at once.
func Do(name string, given map[string]any) (Answer, error) {
	t, ok := topics[name]
	if !ok {
		return Answer{}, fault.New(fault.Missing, sayTopic.With(words.Args{"topic": shorten(name), "known": strings.Join(Topics(), ", ")}))
	}
	in, err := read(name, t.keys, given)
	if err != nil {
		return Answer{}, err
	}
	r, err := t.do(in)
	if err != nil {
		return Answer{}, err
	}
	if e, exact := r.value.(quantity.Exact); exact {
		r.value = e.Float()
	}
	how := t.how.Plain()
	if len(r.how) > 0 {
		how = t.how.With(r.how)
	}
	return Answer{Value: r.value, Unit: r.unit, Formula: t.formula, Source: t.source, How: how}, nil
}

// maxShown keeps what somebody typed from filling the message that refuses it.
const maxShown = 60

func shorten(s string) string {
	if len(s) > maxShown {
		return strings.ToValidUTF8(s[:maxShown], "") + "..."
	}
	return s
}
