// Package gpx reads and writes GPX 1.0 and 1.1, what hand-held receivers and
// phones record.
//
// Waypoints are points, routes are lines that somebody drew, tracks are what a
// receiver recorded: always Feature.Recorded, a line of one segment or of
// several. Heights are those of ele; times are measures, and there are none at
// all where no point has one. Of track points nothing else is kept but the
// worst hdop, as a property of the track.
//
// GPX has no areas, no ids, no layers and no types. The writer puts what is
// missing into extensions under its own namespace, and the reader restores it.
package gpx

import "caneward/geo/wire"

// The rules of GPX. RuleComma is a departure only.
const (
	RuleRoot     wire.Rule = "gpx-root"     // the outermost element is another
	RulePosition wire.Rule = "gpx-position" // lat or lon, in Path, is missing or no number
	RuleComma    wire.Rule = "gpx-comma"    // a decimal comma: read as a point
	RuleParts    wire.Rule = "gpx-parts"    // an area that we wrote has lost or gained rings since: read as lines
)
