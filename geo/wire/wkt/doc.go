// Package wkt reads and writes well-known text (OGC 06-103r4, section 7), with
// the SRID prefix that databases put before it.
//
// Coordinates are x, y and optionally a height and a measure, raw: the text
// says nothing of their range, and their system only by its SRID. Rings are
// neither closed nor turned.
package wkt

import "caneward/geo/wire"

// The rules that are this format's own. Errors beside them are
// wire.RuleNothing, RuleTruncated, RuleTrailing, RuleBytes, RuleFeatures,
// RuleVertices and, when writing, RuleNumber, RuleCount and RuleShape.
const (
	RuleSyntax   wire.Rule = "wkt-syntax"   // something else where a word, number, comma or bracket must stand
	RuleKind     wire.Rule = "wkt-kind"     // a curve, a surface or no shape at all
	RulePosition wire.Rule = "wkt-position" // fewer than 2 or more than 4 numbers, or not as many as the shape says
	RuleNumber   wire.Rule = "wkt-number"   // no finite number
	RuleDepth    wire.Rule = "wkt-depth"    // nested deeper than wire.Limits.Depth
	RuleBinary   wire.Rule = "wkt-binary"   // well-known binary written in hexadecimal digits
	RuleSRID     wire.Rule = "wkt-srid"     // an SRID that is no number
)
