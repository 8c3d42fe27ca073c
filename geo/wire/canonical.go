package wire

import (
	"encoding/json"
	"fmt"
	"sort"
	"strings"
	"unicode/utf8"
)

// Canonical is the form in which JSON objects are compared, hashed and stored:
// names sorted by their UTF-8 bytes at every level, no white space, each string
// with the escapes of RFC 8785 section 3.2.2.2 and no others, numbers exactly
// as written (1.0 and 1 stay different, and no digit of a long integer is
// lost). Nothing and null give {}. Refused with an *Error: anything but one
// object, a name twice in one object, nesting deeper than DefaultLimits.Depth,
// text that is not UTF-8.
func Canonical(data json.RawMessage) (json.RawMessage, error) {
	s := scanner{data: data, most: DefaultLimits.Depth}
	switch s.peek() {
	case 0:
		if s.at == len(data) {
			return json.RawMessage("{}"), nil
		}
		return nil, s.unexpected()
	case 'n':
		if err := s.skip(); err != nil {
			return nil, err
		}
		if err := s.end(); err != nil {
			return nil, err
		}
		return json.RawMessage("{}"), nil
	case '{':
	default:
		return nil, s.wrong(RuleObject)
	}
	out, err := s.canonical(make([]byte, 0, len(data)), "")
	if err == nil {
		err = s.end()
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (s *scanner) canonical(out []byte, path string) ([]byte, *Error) {
	switch c := s.peek(); {
	case c == '{':
		return s.canonicalObject(out, path)
	case c == '[':
		out = append(out, '[')
		err := s.array(func(i int) (err *Error) {
			if i > 0 {
				out = append(out, ',')
			}
			out, err = s.canonical(out, path)
			return err
		})
		return append(out, ']'), err
	case c == '"':
		text, err := s.text()
		return appendText(out, text), err
	}
	start := s.at
	err := s.skip()
	return append(out, s.data[start:s.at]...), err
}

func (s *scanner) canonicalObject(out []byte, path string) ([]byte, *Error) {
	values := map[string][]byte{}
	names := []string{}
	err := s.object(func(name string, at int) *Error {
		if _, twice := values[name]; twice {
			e := s.fail(RuleDuplicateKey, at)
			e.Path, e.Got = join(path, name), name
			return e
		}
		value, err := s.canonical(nil, join(path, name))
		values[name] = value
		names = append(names, name)
		return err
	})
	if err != nil {
		return nil, err
	}
	sort.Strings(names)
	out = append(out, '{')
	for i, name := range names {
		if i > 0 {
			out = append(out, ',')
		}
		out = append(append(appendText(out, name), ':'), values[name]...)
	}
	return append(out, '}'), nil
}

// appendText writes a JSON string as RFC 8785 does: only what must be escaped
// is, with the short escape where there is one.
func appendText(out []byte, text string) []byte {
	out = append(out, '"')
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == '"' || c == '\\':
			out = append(out, '\\', c)
		case c < ' ':
			out = appendControl(out, c)
		case c < utf8.RuneSelf:
			out = append(out, c)
		default:
			r, n := utf8.DecodeRuneInString(text[i:])
			out = utf8.AppendRune(out, r)
			i += n - 1
		}
	}
	return append(out, '"')
}

func appendControl(out []byte, c byte) []byte {
	const short, letters = "\b\f\n\r\t", "bfnrt"
	if i := strings.IndexByte(short, c); i >= 0 {
		return append(out, '\\', letters[i])
	}
	return fmt.Appendf(out, `\u%04x`, c)
}
