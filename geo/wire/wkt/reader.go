package wkt

import (
	"io"
	"slices"
	"strings"

	"caneward/geo/wire"
)

// Reader gives the shapes of a file of well-known text, one a line or
// separated by semicolons; a shape may run over several lines.
type Reader struct {
	parser
	number int
	fresh  bool // a separator, or the start, stands before at
	ended  error
}

var _ wire.Source = (*Reader)(nil)

// NewReader reads a whole file. The features have no properties; their CRS is
// that of the SRID, else wire.CRSMissing. The error is a *wire.Error.
func NewReader(text []byte, o wire.Options) (*Reader, error) {
	l := o.Limits.Filled()
	if int64(len(text)) > l.Bytes {
		return nil, &wire.Error{Rule: wire.RuleBytes, Byte: -1, Limit: l.Bytes}
	}
	r := &Reader{parser: parser{text: string(text), limits: l, line: 1}, fresh: true}
	r.separate()
	if r.parser.ended() {
		return nil, r.failed(wire.RuleNothing)
	}
	return r, nil
}

// Notes is empty: nothing is mended.
func (r *Reader) Notes() []*wire.Error { return nil }

// Next is as wire.Source says; after the error of a limit the file has ended. A shape that cannot be read costs that shape;
// reading goes on at the next line that starts with a letter, or after the next
// semicolon.
func (r *Reader) Next() (wire.Feature, error) {
	r.separate()
	if r.ended == nil && r.parser.ended() {
		r.ended = io.EOF
	}
	if r.ended != nil {
		return wire.Feature{}, r.ended
	}
	r.number++
	f := wire.Feature{Number: r.number, Byte: int64(r.at), Line: r.line, CRS: wire.CRSMissing}
	if r.number > r.limits.Features {
		e := r.failed(wire.RuleFeatures)
		e.Limit = int64(r.limits.Features)
		r.ended = io.EOF
		return f, e
	}
	if !r.fresh {
		e := r.failed(wire.RuleTrailing)
		r.skip()
		e.Feature = r.number
		return f, e
	}
	r.fresh = false
	g, crs, err := r.located()
	if crs != "" {
		f.CRS = crs
	}
	if err != nil {
		err.Feature = r.number
		if err.Rule == wire.RuleVertices {
			r.ended = io.EOF
		}
		r.skip()
		return f, err
	}
	f.Geometry = g
	return f, nil
}

// separate skips what stands between shapes.
func (r *Reader) separate() {
	for {
		if r.space() {
			r.fresh = true
		}
		if r.parser.ended() || r.text[r.at] != ';' {
			return
		}
		r.at++
		r.fresh = true
	}
}

// skip goes to where the next shape may start.
func (r *Reader) skip() {
	for {
		i := strings.IndexAny(r.text[r.at:], ";\n\r")
		if i < 0 {
			r.at = len(r.text)
			return
		}
		r.at += i
		semicolon := r.text[r.at] == ';'
		if semicolon {
			r.at++
		}
		r.space()
		r.fresh = true
		if semicolon || r.parser.ended() || letter(r.text[r.at]) {
			return
		}
	}
}

func letter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }

// Detects reports whether a file begins as well-known text does: with a shape's
// type and a bracket or EMPTY after it, or with an SRID.
func Detects(text []byte) bool {
	const head = 256 // type, tag and any sensible white space
	p := parser{text: string(text[:min(len(text), head)]), line: 1}
	p.space()
	if crs, err := p.srid(); err == nil && crs != "" {
		return true
	}
	word := p.word()
	p.back(word)
	if _, _, err := p.typed(dims{}); err != nil {
		return err.Rule == RuleKind && slices.Contains(others, word)
	}
	if p.took('(') {
		return true
	}
	return p.word() == "EMPTY"
}

// others are shapes of the standard that are told from other text and then
// refused by name.
var others = []string{"CIRCULARSTRING", "COMPOUNDCURVE", "CURVEPOLYGON", "MULTICURVE", "MULTISURFACE", "POLYHEDRALSURFACE", "TIN", "TRIANGLE"}
