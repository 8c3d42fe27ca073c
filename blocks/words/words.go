// Package words is the catalogue of everything the server says to people:
// each message stands once, in English and in Spanish, beside the code that
// says it. A message without Spanish does not compile.
package words

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"sync"
)

// Language is a language the catalogue is written in.
type Language string

// The catalogue's languages.
const (
	English Language = "en"
	Spanish Language = "es"
)

// Message is one entry. Placeholders stand in braces, {name}, and are the same
// in both languages.
type Message struct {
	Key     string
	English string
	Spanish string
}

var (
	catalogueLock sync.Mutex
	catalogue     = map[string]Message{}
)

// New enters a message. It is meant for package-level variables; a key that
// stands twice, or placeholders that differ between the languages, panic at
// start, which every test run sees.
func New(key, english, spanish string) Message {
	m := Message{Key: key, English: english, Spanish: spanish}
	if e, s := strings.Join(placeholders(english), " "), strings.Join(placeholders(spanish), " "); e != s {
		panic(fmt.Sprintf("words: %s: placeholders differ: English %q, Spanish %q", key, e, s))
	}
	catalogueLock.Lock()
	defer catalogueLock.Unlock()
	if _, twice := catalogue[key]; twice {
		panic("words: the key " + key + " stands twice")
	}
	catalogue[key] = m
	return m
}

// Args fills placeholders by name. A float64 prints with at most six decimals;
// callers round to what the reader can use before.
type Args map[string]any

// Text is a message with its figures: what domain code returns, so that the
// edge may say it in the reader's language.
type Text struct {
	Message Message
	Args    Args
}

// With fills the message in.
func (m Message) With(args Args) Text { return Text{Message: m, Args: args} }

// Plain is the message without figures.
func (m Message) Plain() Text { return Text{Message: m} }

// Verbatim carries words that are nobody's to translate: a name, a citation.
func Verbatim(s string) Text { return Text{Message: Message{English: s, Spanish: s}} }

// Empty reports whether there is nothing to say.
func (t Text) Empty() bool { return t.Message.English == "" }

// Key is the message's stable name, for machines.
func (t Text) Key() string { return t.Message.Key }

// In says the text in a language; an unknown language gets English. A
// placeholder without a figure stays visible as {name}.
func (t Text) In(l Language) string {
	s := t.Message.English
	if l == Spanish {
		s = t.Message.Spanish
	}
	if len(t.Args) == 0 {
		return s
	}
	pairs := make([]string, 0, 2*len(t.Args))
	for name, v := range t.Args {
		pairs = append(pairs, "{"+name+"}", format(v, l))
	}
	return strings.NewReplacer(pairs...).Replace(s)
}

// String is the English.
func (t Text) String() string { return t.In(English) }

func format(v any, l Language) string {
	switch v := v.(type) {
	case Text:
		return v.In(l)
	case float64:
		s := strconv.FormatFloat(v, 'f', 6, 64)
		return strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return fmt.Sprint(v)
}

func placeholders(s string) []string {
	var names []string
	for {
		i := strings.IndexByte(s, '{')
		if i < 0 {
			break
		}
		j := strings.IndexByte(s[i:], '}')
		if j < 0 {
			break
		}
		names = append(names, s[i+1:i+j])
		s = s[i+j+1:]
	}
	sort.Strings(names)
	return names
}

// Accepted picks the language from an Accept-Language header: the first range
// that is Spanish or English wins, English where neither is named.
func Accepted(header string) Language {
	for _, part := range strings.Split(header, ",") {
		tag := strings.ToLower(strings.TrimSpace(strings.SplitN(part, ";", 2)[0]))
		switch {
		case tag == "es" || strings.HasPrefix(tag, "es-"):
			return Spanish
		case tag == "en" || strings.HasPrefix(tag, "en-"):
			return English
		}
	}
	return English
}
