package wkt

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// Decode reads one shape and nothing after it but white space: any of the seven
// types in upper or lower case, "POINT Z (1 2 3)", "POINTZ(1 2 3)" and, as
// older programs write, "POINT(1 2 3)", whose third number is a height.
// "POINT EMPTY" is no place; an empty point among others is left out. A shape
// without heights in a collection with some has NaN. "SRID=26910;POINT(1 2)"
// gives the system "EPSG:26910"; without SRID, or with 0, it is "".
//
// The error is a *wire.Error whose Byte counts from the start of text.
func Decode(text string, l wire.Limits) (g geo.Geometry, crs string, err error) {
	l = l.Filled()
	if int64(len(text)) > l.Bytes {
		return geo.Geometry{}, "", &wire.Error{Rule: wire.RuleBytes, Byte: -1, Limit: l.Bytes}
	}
	p := parser{text: text, limits: l, line: 1}
	p.space()
	if p.ended() {
		return geo.Geometry{}, "", p.failed(wire.RuleNothing)
	}
	g, crs, bad := p.located()
	if bad == nil {
		if p.space(); !p.ended() {
			bad = p.failed(wire.RuleTrailing)
		}
	}
	if bad != nil {
		return geo.Geometry{}, crs, bad
	}
	return g, crs, nil
}

// dims is which numbers a position has.
type dims struct{ known, z, m bool }

func (d dims) count() int {
	n := 2
	if d.z {
		n++
	}
	if d.m {
		n++
	}
	return n
}

// binary is how well-known binary begins in hexadecimal digits: the order of
// its bytes, then a shape's number (Simple Feature Access, part 1, 8.2.3).
var binary = regexp.MustCompile(`^(?i:0[01][0-9A-F]{16})`)

// parser reads one shape after another from text.
type parser struct {
	text   string
	at     int
	line   int // of at
	limits wire.Limits

	vertices int // in the file so far
	first    int // vertices before this shape
	lists    int // rings and parts in the file so far, which may be empty and many
	heights  []float64
	measures []float64
	z, m     bool // heights, measures were seen in this shape
}

func (p *parser) ended() bool { return p.at >= len(p.text) }

// space skips white space and reports whether it held the end of a line.
func (p *parser) space() (newline bool) {
	for ; !p.ended(); p.at++ {
		switch p.text[p.at] {
		case '\n':
			p.line++
			newline = true
		case '\r':
			newline = true
		case ' ', '\t', '\f', '\v':
		default:
			return newline
		}
	}
	return newline
}

// longestGot bounds what an error repeats of the text.
const longestGot = 24

func (p *parser) failed(rule wire.Rule) *wire.Error {
	e := &wire.Error{Rule: rule, Byte: int64(p.at), Line: p.line}
	if rest := p.text[p.at:]; rest != "" {
		e.Got = strings.ToValidUTF8(rest[:min(len(rest), longestGot)], "")
		if i := strings.IndexAny(e.Got, "\r\n"); i > 0 {
			e.Got = e.Got[:i]
		}
	} else if rule == RuleSyntax {
		e.Rule = wire.RuleTruncated
	}
	return e
}

// located reads a shape and the SRID before it.
func (p *parser) located() (g geo.Geometry, crs string, err *wire.Error) {
	if binary.MatchString(p.text[p.at:min(len(p.text), p.at+len("0103000020E6100000"))]) {
		return geo.Geometry{}, "", p.failed(RuleBinary)
	}
	if crs, err = p.srid(); err != nil {
		return g, "", err
	}
	p.heights, p.measures, p.z, p.m, p.first = nil, nil, false, false, p.vertices
	flat, err := p.shape(dims{}, 1)
	if err != nil {
		return g, crs, err
	}
	g.Flat = flat
	n := p.vertices - p.first
	if p.z && n > 0 {
		g.Heights = padded(p.heights, n)
	}
	if p.m && n > 0 {
		g.Measures = padded(p.measures, n)
	}
	return g, crs, nil
}

// padded gives n values, NaN for vertices before the first part that has any.
func padded(values []float64, n int) []float64 {
	for len(values) < n {
		values = append(values, math.NaN())
	}
	return values
}

func (p *parser) srid() (string, *wire.Error) {
	const prefix = "SRID="
	if len(p.text)-p.at < len(prefix) || !strings.EqualFold(p.text[p.at:p.at+len(prefix)], prefix) {
		return "", nil
	}
	p.at += len(prefix)
	end := p.at
	for end < len(p.text) && p.text[end] >= '0' && p.text[end] <= '9' {
		end++
	}
	n, err := strconv.ParseUint(p.text[p.at:end], 10, 31)
	if err != nil || end == len(p.text) || p.text[end] != ';' {
		return "", p.failed(RuleSRID)
	}
	p.at = end + 1
	p.space()
	if n == 0 {
		return "", nil
	}
	return "EPSG:" + strconv.FormatUint(n, 10), nil
}

// word reads letters, in upper case; "" where none stand.
func (p *parser) word() string {
	p.space()
	start := p.at
	for !p.ended() && (p.text[p.at]|0x20) >= 'a' && (p.text[p.at]|0x20) <= 'z' {
		p.at++
	}
	return strings.ToUpper(p.text[start:p.at])
}

// back goes back to where a word started.
func (p *parser) back(word string) { p.at -= len(word) }

// took skips one mark if it is the next.
func (p *parser) took(mark byte) bool {
	p.space()
	if p.ended() || p.text[p.at] != mark {
		return false
	}
	p.at++
	return true
}

func (p *parser) expect(mark byte) *wire.Error {
	if !p.took(mark) {
		return p.failed(RuleSyntax)
	}
	return nil
}

var types = []string{"POINT", "LINESTRING", "POLYGON", "MULTIPOINT", "MULTILINESTRING", "MULTIPOLYGON", "GEOMETRYCOLLECTION"}

// typed reads the type and which numbers positions have, where the text says.
func (p *parser) typed(outer dims) (kind string, d dims, err *wire.Error) {
	p.space()
	line := p.line
	word := p.word()
	for _, t := range types {
		suffix, ok := strings.CutPrefix(word, t)
		if !ok {
			continue
		}
		if d, ok = tagged(suffix); ok {
			kind = t
			break
		}
	}
	if kind == "" {
		p.back(word)
		p.line = line
		e := p.failed(RuleSyntax)
		if word != "" {
			e.Rule, e.Got = RuleKind, word[:min(len(word), longestGot)]
		}
		return "", d, e
	}
	if !d.known {
		if outer.m && !outer.z {
			d = outer // else the third number of a part would be a height
		}
		tag := p.word()
		if t, ok := tagged(tag); ok && t.known {
			d = t
		} else {
			p.back(tag)
		}
	}
	return kind, d, nil
}

// tagged reads Z, M or ZM; nothing is a tag that says nothing.
func tagged(word string) (dims, bool) {
	switch word {
	case "":
		return dims{}, true
	case "Z":
		return dims{known: true, z: true}, true
	case "M":
		return dims{known: true, m: true}, true
	case "ZM":
		return dims{known: true, z: true, m: true}, true
	}
	return dims{}, false
}

// shape gives nil for an empty point.
func (p *parser) shape(outer dims, depth int) (orb.Geometry, *wire.Error) {
	if depth > p.limits.Depth {
		e := p.failed(RuleDepth)
		e.Limit = int64(p.limits.Depth)
		return nil, e
	}
	kind, d, err := p.typed(outer)
	if err != nil {
		return nil, err
	}
	p.z, p.m = p.z || d.z, p.m || d.m
	switch kind {
	case "POINT":
		return p.point(&d)
	case "LINESTRING":
		return listed(p, &d, (*parser).position, orb.LineString{})
	case "POLYGON":
		return polygon(p, &d)
	case "MULTIPOINT":
		return p.multiPoint(&d)
	case "MULTILINESTRING":
		return listed(p, &d, func(p *parser, d *dims) (orb.LineString, *wire.Error) {
			return listed(p, d, (*parser).position, orb.LineString{})
		}, orb.MultiLineString{})
	case "MULTIPOLYGON":
		return listed(p, &d, polygon, orb.MultiPolygon{})
	}
	return p.collection(d, depth)
}

// listed reads "(" one, one … ")" or EMPTY.
func listed[L ~[]E, E any](p *parser, d *dims, one func(*parser, *dims) (E, *wire.Error), all L) (L, *wire.Error) {
	empty, err := p.open()
	if empty || err != nil {
		return all, err
	}
	for {
		e, err := one(p, d)
		if err != nil {
			return nil, err
		}
		all = append(all, e)
		if !p.took(',') {
			return all, p.expect(')')
		}
	}
}

// open reads "(", or EMPTY in its place.
func (p *parser) open() (empty bool, err *wire.Error) {
	p.lists++
	if p.lists > p.limits.Vertices {
		e := p.failed(wire.RuleVertices)
		e.Limit = int64(p.limits.Vertices)
		return false, e
	}
	if word := p.word(); word == "EMPTY" {
		return true, nil
	} else if word != "" {
		p.back(word)
		return false, p.failed(RuleSyntax)
	}
	return false, p.expect('(')
}

func polygon(p *parser, d *dims) (orb.Polygon, *wire.Error) {
	return listed(p, d, func(p *parser, d *dims) (orb.Ring, *wire.Error) {
		return listed(p, d, (*parser).position, orb.Ring{})
	}, orb.Polygon{})
}

func (p *parser) point(d *dims) (orb.Geometry, *wire.Error) {
	empty, err := p.open()
	if empty || err != nil {
		return nil, err
	}
	at, err := p.position(d)
	if err != nil {
		return nil, err
	}
	return at, p.expect(')')
}

// multiPoint takes points with and without brackets of their own.
func (p *parser) multiPoint(d *dims) (orb.Geometry, *wire.Error) {
	all := orb.MultiPoint{}
	empty, err := p.open()
	if empty || err != nil {
		return all, err
	}
	for {
		word := p.word()
		p.back(word)
		bare := word == "" && !p.ended() && p.text[p.at] != '('
		if bare {
			at, err := p.position(d)
			if err != nil {
				return nil, err
			}
			all = append(all, at)
		} else if at, err := p.point(d); err != nil {
			return nil, err
		} else if at != nil {
			all = append(all, at.(orb.Point))
		}
		if !p.took(',') {
			return all, p.expect(')')
		}
	}
}

func (p *parser) collection(d dims, depth int) (orb.Geometry, *wire.Error) {
	all := orb.Collection{}
	empty, err := p.open()
	if empty || err != nil {
		return all, err
	}
	for {
		part, err := p.shape(d, depth+1)
		if err != nil {
			return nil, err
		}
		if part != nil {
			all = append(all, part)
		}
		if !p.took(',') {
			return all, p.expect(')')
		}
	}
}

// position reads the numbers of one vertex. The first one of a shape that does
// not say decides for the others.
func (p *parser) position(d *dims) (orb.Point, *wire.Error) {
	p.vertices++
	if p.vertices > p.limits.Vertices {
		e := p.failed(wire.RuleVertices)
		e.Limit = int64(p.limits.Vertices)
		return orb.Point{}, e
	}
	var v [4]float64
	n := 0
	p.space()
	at, line := p.at, p.line
	for ; n < len(v); n++ {
		p.space()
		if p.ended() || p.text[p.at] == ',' || p.text[p.at] == ')' {
			break
		}
		var err *wire.Error
		if v[n], err = p.number(n < 2); err != nil {
			return orb.Point{}, err
		}
	}
	p.space()
	if p.ended() {
		return orb.Point{}, p.failed(wire.RuleTruncated)
	}
	if !d.known && n >= 2 {
		*d = dims{known: true, z: n > 2, m: n > 3}
		p.z, p.m = p.z || d.z, p.m || d.m
	}
	if d.count() != n || p.text[p.at] != ',' && p.text[p.at] != ')' {
		p.at, p.line = at, line
		e := p.failed(RulePosition)
		e.Vertex = p.vertices - p.first
		return orb.Point{}, e
	}
	before := p.vertices - p.first - 1
	if d.z {
		p.heights = append(padded(p.heights, before), v[2])
	}
	if d.m {
		p.measures = append(padded(p.measures, before), v[n-1])
	}
	return orb.Point{v[0], v[1]}, nil
}

// number reads one number; heights and measures may be NaN, which is how
// programs write that there is none.
func (p *parser) number(finite bool) (float64, *wire.Error) {
	end := p.at
	plain := true
	for ; end < len(p.text) && !ends(p.text[end]); end++ {
		plain = plain && inNumber(p.text[end])
	}
	text := p.text[p.at:end]
	if !finite && strings.EqualFold(text, "nan") {
		p.at = end
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if !plain || err != nil {
		e := p.failed(RuleNumber)
		e.Got, e.Vertex = strings.ToValidUTF8(text[:min(len(text), longestGot)], ""), p.vertices-p.first
		return 0, e
	}
	p.at = end
	return v, nil
}

func ends(c byte) bool {
	switch c {
	case ' ', '\t', '\r', '\n', '\f', '\v', ',', '(', ')':
		return true
	}
	return false
}

func inNumber(c byte) bool {
	return c >= '0' && c <= '9' || c == '.' || c == '-' || c == '+' || c == 'e' || c == 'E'
}
