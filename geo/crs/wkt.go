package crs

import (
	"math"
	"strconv"
	"strings"
)

// node is KEYWORD[…] with the byte it starts at.
type node struct {
	key  string // upper case
	at   int
	args []arg
}

// arg is a nested node, a quoted text or a bare word or number.
type arg struct {
	node   *node
	text   string
	quoted bool
	at     int
}

// child is the first nested node with one of these keywords.
func (n *node) child(keys ...string) *node {
	for _, a := range n.args {
		if a.node != nil {
			for _, k := range keys {
				if a.node.key == k {
					return a.node
				}
			}
		}
	}
	return nil
}

// children are all nested nodes with this keyword.
func (n *node) children(key string) (out []*node) {
	for _, a := range n.args {
		if a.node != nil && a.node.key == key {
			out = append(out, a.node)
		}
	}
	return out
}

// name is the text the node starts with.
func (n *node) name() string {
	if len(n.args) == 0 {
		return ""
	}
	return n.args[0].text
}

// word is the i-th argument as it stands, "" when it is nested or missing.
func (n *node) word(i int) string {
	if i >= len(n.args) {
		return ""
	}
	return n.args[i].text
}

// number is the i-th argument as a finite number.
func (n *node) number(i int) (float64, *Error) {
	if i >= len(n.args) {
		return 0, malformed(n.at, n.key)
	}
	a := n.args[i]
	// ParseFloat also takes hexadecimal, underscores, Inf and NaN; no text does.
	if a.node != nil || a.text == "" || strings.Trim(a.text, "0123456789+-.eE") != "" {
		return 0, malformed(a.at, n.key)
	}
	v, err := strconv.ParseFloat(a.text, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, malformed(a.at, n.key)
	}
	return v, nil
}

func malformed(at int, what string) *Error {
	return &Error{Rule: RuleMalformed, Name: short(what), Byte: at}
}

// parser reads well-known text: both brackets, quotes doubled inside texts.
type parser struct {
	text string
	at   int
}

// parse gives the nodes of a text; more than one where a .prj appends its
// vertical system after a comma.
func parse(text string) ([]*node, *Error) {
	if len(text) > MaxText {
		return nil, &Error{Rule: RuleSize, Byte: MaxText}
	}
	p := &parser{text: text}
	if strings.HasPrefix(text, "\uFEFF") {
		p.at = len("\uFEFF")
	}
	var roots []*node
	for {
		n, err := p.node(1)
		if err != nil {
			return nil, err
		}
		roots = append(roots, n)
		p.space()
		if p.at == len(p.text) {
			return roots, nil
		}
		if p.text[p.at] != ',' {
			return nil, malformed(p.at, p.here())
		}
		p.at++
	}
}

func (p *parser) space() {
	for p.at < len(p.text) && strings.IndexByte(" \t\r\n\x00", p.text[p.at]) >= 0 {
		p.at++
	}
}

// here is what stands at the parser's place, for messages.
func (p *parser) here() string {
	return p.text[p.at:min(len(p.text), p.at+12)]
}

// bare reads up to the next delimiter.
func (p *parser) bare() string {
	from := p.at
	for p.at < len(p.text) && strings.IndexByte(" \t\r\n\x00[](),\"", p.text[p.at]) < 0 {
		p.at++
	}
	return p.text[from:p.at]
}

// node reads KEYWORD[…] at this depth.
func (p *parser) node(depth int) (*node, *Error) {
	p.space()
	at := p.at
	key := p.bare()
	p.space()
	if key == "" || p.at == len(p.text) || p.text[p.at] != '[' && p.text[p.at] != '(' {
		return nil, malformed(p.at, p.here())
	}
	return p.members(&node{key: strings.ToUpper(key), at: at}, depth)
}

// members reads a node's bracket, which the parser stands on.
func (p *parser) members(n *node, depth int) (*node, *Error) {
	if depth > MaxDepth {
		return nil, &Error{Rule: RuleNested, Byte: p.at}
	}
	closing := byte(']')
	if p.text[p.at] == '(' {
		closing = ')'
	}
	p.at++
	for {
		a, err := p.arg(depth)
		if err != nil {
			return nil, err
		}
		n.args = append(n.args, a)
		p.space()
		if p.at == len(p.text) {
			return nil, malformed(p.at, n.key)
		}
		c := p.text[p.at]
		if c != ',' && c != closing {
			return nil, malformed(p.at, p.here())
		}
		p.at++
		if c == closing {
			return n, nil
		}
	}
}

func (p *parser) arg(depth int) (arg, *Error) {
	p.space()
	a := arg{at: p.at}
	if p.at < len(p.text) && p.text[p.at] == '"' {
		text, err := p.quoted()
		a.text, a.quoted = text, true
		return a, err
	}
	a.text = p.bare()
	p.space()
	if a.text == "" {
		return a, malformed(p.at, p.here())
	}
	if p.at < len(p.text) && (p.text[p.at] == '[' || p.text[p.at] == '(') {
		n, err := p.members(&node{key: strings.ToUpper(a.text), at: a.at}, depth+1)
		return arg{node: n, at: a.at}, err
	}
	return a, nil
}

func (p *parser) quoted() (string, *Error) {
	from := p.at
	p.at++
	var b strings.Builder
	for {
		end := strings.IndexByte(p.text[p.at:], '"')
		if end < 0 {
			return "", malformed(from, p.text[from:min(len(p.text), from+12)])
		}
		b.WriteString(p.text[p.at : p.at+end])
		p.at += end + 1
		if p.at == len(p.text) || p.text[p.at] != '"' {
			return b.String(), nil
		}
		b.WriteByte('"')
		p.at++
	}
}
