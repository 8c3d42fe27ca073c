package crs

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Rule is why a coordinate system, or a position in it, is not read.
type Rule string

// The rules. Those after RuleOutside are found in Notes only: the system is
// read, and something about it should be known.
const (
	RuleMalformed   Rule = "crs-malformed"  // no well-known text, or a member missing or out of its range
	RuleNested      Rule = "crs-nested"     // nested deeper than MaxDepth
	RuleSize        Rule = "crs-size"       // longer than MaxText
	RuleDatum       Rule = "crs-datum"      // far from WGS 84, or not known
	RuleProjection  Rule = "crs-projection" // not one of the four, or no system of the Earth's surface
	RuleUnit        Rule = "crs-unit"       // not a length, or an angle other than degrees
	RuleMeridian    Rule = "crs-meridian"   // longitudes not counted from Greenwich
	RuleAxis        Rule = "crs-axis"       // axes that do not run east and north
	RuleUnknownCode Rule = "crs-unknown-code"
	RuleOutside     Rule = "crs-outside" // where the projection says nothing, or no number

	RuleVertical   Rule = "crs-vertical"   // the height part is left out; heights stay as they are
	RuleShift      Rule = "crs-shift"      // the text's own shift to another datum is left out
	RuleContradict Rule = "crs-contradict" // the text names a code or a unit that its numbers do not fit; the numbers count
)

// Limits of a text. Real ones are shorter than 6,000 bytes and 8 levels.
const (
	MaxText  = 64 << 10
	MaxDepth = 16
)

// maxName shortens names that go into messages.
const maxName = 80

// Error says which rule a coordinate system breaks.
type Error struct {
	Rule   Rule
	System string // the system's own name, where it could be read
	Name   string // what breaks the rule: the datum, projection, unit, ...
	Byte   int    // of the text, from 0; -1 where there is none
	At     [2]float64
}

// Error is English for logs.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(string(e.Rule))
	if e.Name != "" {
		fmt.Fprintf(&b, ": %q", e.Name)
	}
	if e.System != "" {
		fmt.Fprintf(&b, " of %q", e.System)
	}
	if e.Byte >= 0 {
		fmt.Fprintf(&b, " at byte %d", e.Byte)
	}
	if e.Rule == RuleOutside {
		fmt.Fprintf(&b, " at %v", e.At)
	}
	return b.String()
}

// short makes a name from a file fit to be shown.
func short(name string) string {
	name = strings.ToValidUTF8(name, "\uFFFD")
	if utf8.RuneCountInString(name) <= maxName {
		return name
	}
	return string([]rune(name)[:maxName]) + "…"
}
