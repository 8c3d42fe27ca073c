// Package markup reads XML that strangers send, element by element, and writes
// XML: what KML and GPX share.
//
// The reader stands on encoding/xml and takes less than it: no document type
// and so no entity but the five of XML 1.0 (section 4.6), nothing fetched from
// anywhere, bounded nesting, bounded tags. It builds no tree. Elements are told
// by their local name, letters exactly as written, whatever their namespace:
// files without one, or with that of another version, are as common as right
// ones. Only the namespace Own is looked at.
package markup

import "caneward/geo/wire"

// Own is the namespace of what we write into files of others' formats so that
// reading them back restores everything.
const Own = "urn:caneward:1"

// The rules of XML, beside wire.RuleTruncated, wire.RuleTrailing,
// wire.RuleNothing and wire.RuleBytes.
const (
	RuleDoctype   wire.Rule = "xml-doctype"   // a document type or entity declaration
	RuleSyntax    wire.Rule = "xml-syntax"    // not well-formed (XML 1.0 section 2.1)
	RuleDepth     wire.Rule = "xml-depth"     // nested deeper than Limits.Depth
	RuleTag       wire.Rule = "xml-tag"       // a tag with more attributes, or longer, than any has
	RuleAttribute wire.Rule = "xml-attribute" // an attribute twice in one tag
	RuleEncoding  wire.Rule = "xml-encoding"  // bytes of no encoding that is known here
)

// The rules of what stands in elements.
const (
	RuleTime     wire.Rule = "xml-time"      // no time that can be read: left out
	RuleZone     wire.Rule = "xml-zone"      // a time without zone: taken as UTC
	RuleText     wire.Rule = "xml-text"      // a text longer than LongestText: cut
	RuleTwice    wire.Rule = "xml-twice"     // a property with two values: the first was kept
	RuleOnePoint wire.Rule = "xml-one-point" // a line of one position: left out
	RuleHeight   wire.Rule = "xml-height"    // a height that is no number: left out
)

const (
	// MostAttributes and LongestTag are far beyond any tag of a map file; they
	// bound what encoding/xml holds at once.
	MostAttributes = 128
	LongestTag     = 1 << 20

	// LongestText bounds one property, in bytes: a description that carries a
	// picture as text is longer and nothing to keep with a block.
	LongestText = 1 << 20
)
