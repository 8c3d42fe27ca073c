package markup

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"io"
	"strings"

	"caneward/geo/wire"
)

// Attr is an attribute of a tag.
type Attr struct {
	Name  string // without prefix
	Space string // as Element.Space; "" without prefix
	Value string
}

// Element is a start tag.
type Element struct {
	Name  string // without prefix
	Space string // Own, or the prefix as it stands: no other namespace is looked up
	Attrs []Attr
	Line  int   // where it starts, from 1
	Byte  int64 // likewise, from 0, of the text in UTF-8
}

// Is reports whether this is an element of a format that has this name: any
// namespace but our own.
func (e Element) Is(name string) bool { return e.Name == name && e.Space != Own }

// Attr is an attribute's value, that of a name without prefix before others.
func (e Element) Attr(name string) (string, bool) {
	prefixed := -1
	for i, a := range e.Attrs {
		if a.Name == name && a.Space == "" {
			return a.Value, true
		}
		if a.Name == name && a.Space != Own && a.Space != "xmlns" {
			prefixed = i
		}
	}
	if prefixed >= 0 {
		return e.Attrs[prefixed].Value, true
	}
	return "", false
}

// Ours is the value of an attribute in our namespace.
func (e Element) Ours(name string) (string, bool) {
	for _, a := range e.Attrs {
		if a.Name == name && a.Space == Own {
			return a.Value, true
		}
	}
	return "", false
}

// Fail is an error at the element.
func (e Element) Fail(rule wire.Rule) *wire.Error {
	return &wire.Error{Rule: rule, Path: e.Name, Line: e.Line, Byte: e.Byte}
}

// Text is what stands in an element.
type Text struct {
	S    string
	Line int   // where it starts, from 1
	Byte int64 // likewise, from 0
}

// Fail is an error at the text that starts so many bytes in.
func (t Text) Fail(rule wire.Rule, in int) *wire.Error {
	in = min(in, len(t.S))
	return &wire.Error{Rule: rule, Line: t.Line + strings.Count(t.S[:in], "\n"), Byte: t.Byte + int64(in)}
}

// Reader walks a document. After an error of its own it stays at it; Err says
// so.
type Reader struct {
	ctx    context.Context
	d      *xml.Decoder
	data   []byte
	most   int
	open   []string // names with prefix, outermost first
	ours   []binding
	tokens int
	closed bool // the root has ended
	err    error
}

// binding is a prefix declared, or declared over, in the element at a depth.
type binding struct {
	prefix string
	own    bool
	depth  int
}

// New looks at a whole document's tags and begins to read. The error is an
// *wire.Error.
func New(ctx context.Context, data []byte, l wire.Limits) (*Reader, error) {
	l = l.Filled()
	if int64(len(data)) > l.Bytes {
		return nil, &wire.Error{Rule: wire.RuleBytes, Limit: l.Bytes, Byte: l.Bytes}
	}
	text, e := toUTF8(data)
	if e != nil {
		return nil, e
	}
	if len(bytes.TrimSpace(text)) == 0 {
		return nil, &wire.Error{Rule: wire.RuleNothing, Line: 1}
	}
	if e := guard(text); e != nil {
		return nil, e
	}
	r := &Reader{ctx: ctx, data: text, most: l.Depth, d: xml.NewDecoder(bytes.NewReader(text))}
	r.d.CharsetReader = func(_ string, in io.Reader) (io.Reader, error) { return in, nil }
	return r, nil
}

// Err is the error that ended the reading, nil while it goes on.
func (r *Reader) Err() error { return r.err }

// Depth is how many elements are open.
func (r *Reader) Depth() int { return len(r.open) }

// Root steps into the outermost element.
func (r *Reader) Root() (Element, error) {
	e, ok, err := r.Child()
	if err == nil && !ok {
		err = r.stop(fail(r.data, wire.RuleTruncated, len(r.data)))
	}
	return e, err
}

// Child steps into the next element inside the one that is open; false steps
// out of it because there is none.
func (r *Reader) Child() (Element, bool, error) {
	for {
		token, line, at, err := r.token()
		if err != nil {
			return Element{}, false, err
		}
		switch token := token.(type) {
		case xml.StartElement:
			e, err := r.enter(token, line, at)
			return e, err == nil, err
		case xml.EndElement:
			return Element{}, false, r.leave(token, at)
		case nil:
			return Element{}, false, nil
		}
	}
}

// Text steps out of the element that is open and gives the text in it, that of
// elements inside included.
func (r *Reader) Text() (Text, error) {
	depth := len(r.open)
	return r.text(func(Element) error { return nil }, func() bool { return len(r.open) < depth })
}

// Mixed steps out of the element that is open and gives the text in it, that of
// elements inside left out: those are the caller's to step out of.
func (r *Reader) Mixed(child func(Element) error) (Text, error) {
	return r.text(child, func() bool { return true })
}

// text gathers text until an end tag after which all is over.
func (r *Reader) text(child func(Element) error, over func() bool) (Text, error) {
	var t Text
	var parts []byte
	for {
		token, line, at, err := r.token()
		if err != nil {
			return t, err
		}
		if t.Line == 0 {
			t.Line, t.Byte = line, at
		}
		switch token := token.(type) {
		case xml.CharData:
			parts = append(parts, token...)
		case xml.StartElement:
			e, err := r.enter(token, line, at)
			if err == nil {
				err = child(e)
			}
			if err != nil {
				return t, err
			}
		case xml.EndElement:
			if err := r.leave(token, at); err != nil {
				return t, err
			}
			if over() {
				t.S = string(parts)
				return t, nil
			}
		}
	}
}

// Skip steps out of the element that is open.
func (r *Reader) Skip() error { return r.Leave(len(r.open) - 1) }

// Leave steps out of elements until so many are open.
func (r *Reader) Leave(depth int) error {
	for len(r.open) > depth {
		token, line, at, err := r.token()
		if err != nil {
			return err
		}
		switch token := token.(type) {
		case xml.StartElement:
			_, err = r.enter(token, line, at)
		case xml.EndElement:
			err = r.leave(token, at)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// End checks that nothing follows the root.
func (r *Reader) End() error {
	if err := r.Leave(0); err != nil {
		return err
	}
	for {
		token, _, _, err := r.token()
		if err != nil || token == nil {
			return err
		}
	}
}

// looksUp is how many tokens pass between two looks at the context.
const looksUp = 1 << 12

// token gives the next token and where it starts; nil at the end of a whole
// document.
func (r *Reader) token() (xml.Token, int, int64, error) {
	if r.err != nil {
		return nil, 0, 0, r.err
	}
	if r.tokens++; r.tokens%looksUp == 0 && r.ctx.Err() != nil {
		return nil, 0, 0, r.stop(r.ctx.Err())
	}
	line, _ := r.d.InputPos()
	at := r.d.InputOffset()
	token, err := r.d.RawToken()
	if errors.Is(err, io.EOF) {
		if r.closed {
			return nil, line, at, nil
		}
		return nil, 0, 0, r.stop(r.at(wire.RuleTruncated, line, at))
	}
	if err != nil {
		return nil, 0, 0, r.stop(r.syntax(err, at))
	}
	switch token := token.(type) {
	case xml.Directive: // guard has refused them
		return nil, 0, 0, r.stop(r.at(RuleDoctype, line, at))
	case xml.StartElement:
		if r.closed {
			return nil, 0, 0, r.stop(r.at(wire.RuleTrailing, line, at))
		}
	case xml.CharData:
		if len(r.open) == 0 && len(bytes.TrimSpace(token)) > 0 {
			rule := RuleSyntax
			if r.closed {
				rule = wire.RuleTrailing
			}
			return nil, 0, 0, r.stop(r.at(rule, line, at))
		}
	}
	return token, line, at, nil
}

func (r *Reader) stop(err error) error {
	r.err = err
	return err
}

func (r *Reader) at(rule wire.Rule, line int, at int64) *wire.Error {
	return &wire.Error{Rule: rule, Line: line, Byte: at, Got: excerpt(r.data[min(int(at), len(r.data)):])}
}

// syntax says an error of encoding/xml, which knows the line; it has read a
// little beyond the fault.
func (r *Reader) syntax(err error, start int64) *wire.Error {
	line, _ := r.d.InputPos()
	e := r.at(RuleSyntax, line, start)
	e.Byte, e.Err = r.d.InputOffset(), err
	var s *xml.SyntaxError
	if errors.As(err, &s) && strings.Contains(s.Msg, "unexpected EOF") {
		e.Rule = wire.RuleTruncated
	}
	return e
}

func full(n xml.Name) string {
	if n.Space == "" {
		return n.Local
	}
	return n.Space + ":" + n.Local
}

func (r *Reader) enter(t xml.StartElement, line int, at int64) (Element, error) {
	e := Element{Name: t.Name.Local, Line: line, Byte: at}
	if len(r.open) >= r.most {
		f := r.at(RuleDepth, line, at)
		f.Limit = int64(r.most)
		return e, r.stop(f)
	}
	r.open = append(r.open, full(t.Name))
	if len(t.Attr) > 0 {
		if err := r.attributes(&e, t.Attr); err != nil {
			return e, err
		}
	}
	e.Space = r.space(t.Name.Space)
	return e, nil
}

func (r *Reader) attributes(e *Element, all []xml.Attr) error {
	for i, a := range all {
		for _, b := range all[:i] {
			if a.Name == b.Name {
				f := e.Fail(RuleAttribute)
				f.Got = Shorten(full(a.Name))
				return r.stop(f)
			}
		}
		switch {
		case a.Name.Space == "xmlns":
			r.ours = append(r.ours, binding{a.Name.Local, a.Value == Own, len(r.open)})
		case a.Name.Space == "" && a.Name.Local == "xmlns":
			r.ours = append(r.ours, binding{"", a.Value == Own, len(r.open)})
		}
	}
	e.Attrs = make([]Attr, len(all))
	for i, a := range all {
		e.Attrs[i] = Attr{Name: a.Name.Local, Value: a.Value}
		if a.Name.Space != "" {
			e.Attrs[i].Space = r.space(a.Name.Space)
		}
	}
	return nil
}

// space tells our namespace; every other stays the prefix it is.
func (r *Reader) space(prefix string) string {
	for i := len(r.ours) - 1; i >= 0; i-- {
		if r.ours[i].prefix == prefix {
			if r.ours[i].own {
				return Own
			}
			break
		}
	}
	return prefix
}

func (r *Reader) leave(t xml.EndElement, at int64) error {
	n := len(r.open)
	if n == 0 || r.open[n-1] != full(t.Name) {
		e := fail(r.data, RuleSyntax, int(at))
		return r.stop(e)
	}
	for len(r.ours) > 0 && r.ours[len(r.ours)-1].depth == n {
		r.ours = r.ours[:len(r.ours)-1]
	}
	r.open = r.open[:n-1]
	r.closed = n == 1
	return nil
}
