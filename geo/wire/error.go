package wire

import (
	"fmt"
	"strings"
)

// Rule is what a document broke.
type Rule string

// The rules.
const (
	RuleSyntax       Rule = "syntax"        // no JSON (RFC 8259)
	RuleEncoding     Rule = "encoding"      // not UTF-8, or half a surrogate pair
	RuleTruncated    Rule = "truncated"     // ends in the middle
	RuleTrailing     Rule = "trailing"      // something follows the end
	RuleNothing      Rule = "nothing"       // no bytes but white space
	RuleDepth        Rule = "depth"         // nested deeper than Limits.Depth
	RuleBytes        Rule = "bytes"         // more than Limits.Bytes
	RuleFeatures     Rule = "features"      // more than Limits.Features
	RuleVertices     Rule = "vertices"      // more than Limits.Vertices
	RuleDuplicateKey Rule = "duplicate-key" // a name twice in one object
	RuleObject       Rule = "object"        // something else where an object must stand
	RuleArray        Rule = "array"         // something else where an array must stand
	RuleType         Rule = "type"          // missing or unknown type
	RuleMember       Rule = "member"        // a member that must be there is not
	RuleID           Rule = "id"            // an id that is neither text nor number
	RuleEmpty        Rule = "empty"         // coordinates without positions
	RulePosition     Rule = "position"      // fewer than 2 or more than 4 numbers
	RuleDecimalComma Rule = "decimal-comma" // a position whose numbers have decimal commas
	RuleNumber       Rule = "number"        // no number where one must stand
	RuleOverflow     Rule = "overflow"      // larger than a float64 holds
	RuleLongitude    Rule = "longitude"     // beyond 180
	RuleLatitude     Rule = "latitude"      // beyond 90
	RuleShortLine    Rule = "short-line"    // fewer than 2 positions
	RuleShortRing    Rule = "short-ring"    // fewer than 4 positions
	RuleUnclosed     Rule = "unclosed"      // last position is not the first
	RuleCount        Rule = "count"         // heights or measures do not match the vertices
	RuleShape        Rule = "shape"         // EWKB that cannot be read, or a type it has none for
)

// Error says which rule a document breaks, and where. Numbers count from 1, 0
// where they do not apply; Byte counts from 0 and is -1 where it does not.
type Error struct {
	Rule    Rule
	Path    string // "geometry.coordinates[0][2]", indices from 0
	Entry   string // the file of an archive, or the table
	Feature int    // in the file
	Part    int    // polygon, line or point of a multi-shape
	Ring    int    // 1 is the shell
	Vertex  int    // of its ring or line
	Byte    int64
	Line    int
	Got     string      // what stands there, shortened
	Limit   int64       // the bound that was passed
	At      *[2]float64 // longitude, latitude where they could be read
	Count   int         // for departures: how many times
	Err     error
}

// Error is English for logs; people are told by whoever knows their language.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString("wire: " + string(e.Rule))
	if e.Path != "" {
		b.WriteString(" at " + e.Path)
	}
	if e.Feature > 0 {
		fmt.Fprintf(&b, ", feature %d", e.Feature)
	}
	if e.Line > 0 {
		fmt.Fprintf(&b, ", line %d, byte %d", e.Line, e.Byte)
	}
	if e.Got != "" {
		fmt.Fprintf(&b, ": found %q", e.Got)
	}
	if e.Limit > 0 {
		fmt.Fprintf(&b, ", at most %d", e.Limit)
	}
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	return b.String()
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }
