package wire

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"unicode/utf8"
)

// maxGot bounds how much of a document an error repeats.
const maxGot = 24

// scanner walks JSON text (RFC 8259) and knows at every moment where it is.
type scanner struct {
	data  []byte
	at    int
	depth int
	most  int // depth allowed

	counted int // a place in data, and
	breaks  int // the line ends before it
}

func (s *scanner) fail(rule Rule, at int) *Error {
	at = min(at, len(s.data))
	return &Error{
		Rule: rule,
		Byte: int64(at),
		Line: s.lineAt(at),
		Got:  s.excerpt(at),
	}
}

// lineAt is the number of the line a place lies on, from 1. It counts from the
// place asked for before: a file of many features is asked of each.
func (s *scanner) lineAt(at int) int {
	if at >= s.counted {
		s.breaks += bytes.Count(s.data[s.counted:at], []byte{'\n'})
	} else {
		s.breaks -= bytes.Count(s.data[at:s.counted], []byte{'\n'})
	}
	s.counted = at
	return 1 + s.breaks
}

// excerpt is the word or the piece of text that stands at a place.
func (s *scanner) excerpt(at int) string {
	end := at
	for end < len(s.data) && end-at < maxGot && s.data[end] > ' ' {
		if end > at && bytes.IndexByte([]byte(`,:[]{}"`), s.data[end]) >= 0 {
			break
		}
		end++
	}
	return string(bytes.ToValidUTF8(s.data[at:end], []byte("?")))
}

// unexpected is a syntax error, or a truncation where the text has ended.
func (s *scanner) unexpected() *Error {
	if s.at >= len(s.data) {
		return s.fail(RuleTruncated, len(s.data))
	}
	return s.fail(RuleSyntax, s.at)
}

func (s *scanner) space() {
	for s.at < len(s.data) {
		switch s.data[s.at] {
		case ' ', '\t', '\n', '\r':
			s.at++
		default:
			return
		}
	}
}

// peek is the next byte that is no white space, 0 at the end.
func (s *scanner) peek() byte {
	s.space()
	if s.at < len(s.data) {
		return s.data[s.at]
	}
	return 0
}

func (s *scanner) enter() *Error {
	s.depth++
	if s.depth > s.most {
		e := s.fail(RuleDepth, s.at)
		e.Limit = int64(s.most)
		return e
	}
	s.at++
	return nil
}

// next steps over a comma (true) or the closing byte (false).
func (s *scanner) next(closing byte) (bool, *Error) {
	switch s.peek() {
	case ',':
		s.at++
		return true, nil
	case closing:
		s.at++
		s.depth--
		return false, nil
	}
	return false, s.unexpected()
}

// object calls member for each name; member must consume the value.
func (s *scanner) object(member func(name string, nameAt int) *Error) *Error {
	if s.peek() != '{' {
		return s.wrong(RuleObject)
	}
	if err := s.enter(); err != nil {
		return err
	}
	if s.peek() == '}' {
		_, err := s.next('}')
		return err
	}
	for {
		if s.peek() != '"' {
			return s.unexpected()
		}
		nameAt := s.at
		name, err := s.text()
		if err != nil {
			return err
		}
		if s.peek() != ':' {
			return s.unexpected()
		}
		s.at++
		if err := member(name, nameAt); err != nil {
			return err
		}
		if more, err := s.next('}'); err != nil || !more {
			return err
		}
	}
}

// array calls element for each; element must consume the value.
func (s *scanner) array(element func(i int) *Error) *Error {
	if s.peek() != '[' {
		return s.wrong(RuleArray)
	}
	if err := s.enter(); err != nil {
		return err
	}
	if s.peek() == ']' {
		_, err := s.next(']')
		return err
	}
	for i := 0; ; i++ {
		if err := element(i); err != nil {
			return err
		}
		if more, err := s.next(']'); err != nil || !more {
			return err
		}
	}
}

// wrong is the error of finding something else than what must stand here. It
// is a syntax error when what stands here is no JSON at all.
func (s *scanner) wrong(rule Rule) *Error {
	at := s.at
	if at >= len(s.data) {
		return s.unexpected()
	}
	probe := *s
	if err := probe.skip(); err != nil && err.Rule != RuleDuplicateKey {
		return err
	}
	return s.fail(rule, at)
}

// skip steps over one value of any kind, checking its grammar.
func (s *scanner) skip() *Error {
	switch c := s.peek(); {
	case c == '{':
		return s.object(func(string, int) *Error { return s.skip() })
	case c == '[':
		return s.array(func(int) *Error { return s.skip() })
	case c == '"':
		_, err := s.raw()
		return err
	case c == '-' || c >= '0' && c <= '9':
		_, err := s.numeral()
		return err
	}
	return s.literal()
}

func (s *scanner) literal() *Error {
	for _, word := range []string{"null", "true", "false"} {
		if bytes.HasPrefix(s.data[s.at:], []byte(word)) {
			s.at += len(word)
			return nil
		}
	}
	rest := s.data[s.at:]
	for _, word := range []string{"null", "true", "false"} {
		if len(rest) < len(word) && bytes.HasPrefix([]byte(word), rest) {
			return s.fail(RuleTruncated, len(s.data))
		}
	}
	return s.unexpected()
}

// raw steps over a string and gives it with its quotes, as written.
func (s *scanner) raw() ([]byte, *Error) {
	start := s.at
	s.at++
	for s.at < len(s.data) {
		switch c := s.data[s.at]; {
		case c == '"':
			s.at++
			return s.data[start:s.at], nil
		case c == '\\':
			if err := s.escape(); err != nil {
				return nil, err
			}
		case c < ' ':
			return nil, s.fail(RuleSyntax, s.at)
		case c < utf8.RuneSelf:
			s.at++
		default:
			r, n := utf8.DecodeRune(s.data[s.at:])
			if r == utf8.RuneError && n == 1 {
				return nil, s.fail(RuleEncoding, s.at)
			}
			s.at += n
		}
	}
	return nil, s.unexpected()
}

// escape steps over a backslash and what belongs to it. Half a surrogate pair
// is no character and cannot be stored, so it is refused.
func (s *scanner) escape() *Error {
	start := s.at
	if start+1 >= len(s.data) {
		return s.fail(RuleTruncated, len(s.data))
	}
	if bytes.IndexByte([]byte(`"\/bfnrt`), s.data[start+1]) >= 0 {
		s.at += 2
		return nil
	}
	if s.data[start+1] != 'u' {
		return s.fail(RuleSyntax, start)
	}
	high, err := s.unit(start)
	if err != nil {
		return err
	}
	s.at += 6
	if high < 0xD800 || high > 0xDFFF {
		return nil
	}
	if high > 0xDBFF {
		return s.fail(RuleEncoding, start)
	}
	if low, err := s.unit(s.at); err != nil || low < 0xDC00 || low > 0xDFFF {
		return s.fail(RuleEncoding, start)
	}
	s.at += 6
	return nil
}

// unit reads the \uXXXX that stands at a place.
func (s *scanner) unit(at int) (uint64, *Error) {
	if at+6 > len(s.data) {
		return 0, s.fail(RuleTruncated, len(s.data))
	}
	if s.data[at] != '\\' || s.data[at+1] != 'u' {
		return 0, s.fail(RuleSyntax, at)
	}
	v, err := strconv.ParseUint(string(s.data[at+2:at+6]), 16, 16)
	if err != nil {
		return 0, s.fail(RuleSyntax, at)
	}
	return v, nil
}

// text reads a string.
func (s *scanner) text() (string, *Error) {
	at := s.at
	raw, err := s.raw()
	if err != nil {
		return "", err
	}
	if bytes.IndexByte(raw, '\\') < 0 {
		return string(raw[1 : len(raw)-1]), nil
	}
	var out string
	if bad := json.Unmarshal(raw, &out); bad != nil {
		e := s.fail(RuleSyntax, at)
		e.Err = bad
		return "", e
	}
	return out, nil
}

// numeral steps over a number and gives it as written.
func (s *scanner) numeral() ([]byte, *Error) {
	start := s.at
	if s.at < len(s.data) && s.data[s.at] == '-' {
		s.at++
	}
	zero := s.at < len(s.data) && s.data[s.at] == '0'
	if n := s.digits(); n == 0 || zero && n > 1 {
		return nil, s.badNumeral(start)
	}
	if s.at < len(s.data) && s.data[s.at] == '.' {
		s.at++
		if s.digits() == 0 {
			return nil, s.badNumeral(start)
		}
	}
	if s.at < len(s.data) && (s.data[s.at] == 'e' || s.data[s.at] == 'E') {
		s.at++
		if s.at < len(s.data) && (s.data[s.at] == '+' || s.data[s.at] == '-') {
			s.at++
		}
		if s.digits() == 0 {
			return nil, s.badNumeral(start)
		}
	}
	if s.at < len(s.data) && bytes.IndexByte([]byte(" \t\r\n,]}"), s.data[s.at]) < 0 {
		return nil, s.badNumeral(start)
	}
	return s.data[start:s.at], nil
}

func (s *scanner) badNumeral(start int) *Error {
	if s.at >= len(s.data) {
		return s.fail(RuleTruncated, len(s.data))
	}
	return s.fail(RuleSyntax, start)
}

func (s *scanner) digits() int {
	start := s.at
	for s.at < len(s.data) && s.data[s.at] >= '0' && s.data[s.at] <= '9' {
		s.at++
	}
	return s.at - start
}

// number reads a finite number; minus zero becomes zero, so that equal shapes
// are equal bytes.
func (s *scanner) number() (float64, *Error) {
	c := s.peek()
	start := s.at
	if c != '-' && (c < '0' || c > '9') {
		return 0, s.wrong(RuleNumber)
	}
	raw, err := s.numeral()
	if err != nil {
		return 0, err
	}
	v, bad := strconv.ParseFloat(string(raw), 64)
	if bad != nil || math.IsInf(v, 0) {
		return 0, s.fail(RuleOverflow, start)
	}
	if v == 0 {
		v = 0
	}
	return v, nil
}

// end refuses anything but white space after the last value.
func (s *scanner) end() *Error {
	if s.peek(); s.at < len(s.data) {
		return s.fail(RuleTrailing, s.at)
	}
	return nil
}
