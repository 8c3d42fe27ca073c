// Package kml reads and writes KML 2.0 to 2.3 (OGC 07-147r2, 12-007r2) with the
// gx extensions for recorded tracks, and KMZ, its archive.
//
// Positions are longitude, latitude in degrees, WGS 84, then a height in
// metres; heights that are all 0 in a shape that does not ask for absolute ones
// are what programs write for want of any and are left out. Times of gx:Track
// become measures. Styles, views and visibility are passed over. Nothing that a
// file links to is fetched.
package kml

import "caneward/geo/wire"

// The rules of KML. All but RuleCoordinates, RuleRoot, RuleNetworkLink and
// RuleOuter are departures or notes only.
const (
	RuleRoot         wire.Rule = "kml-root"         // the outermost element is another
	RuleCoordinates  wire.Rule = "kml-coordinates"  // no positions can be made of the text
	RuleSpaces       wire.Rule = "kml-spaces"       // white space beside commas: joined
	RuleJoined       wire.Rule = "kml-joined"       // positions joined by commas: parted
	RuleOuter        wire.Rule = "kml-outer"        // a polygon with two outer boundaries
	RuleMorePoints   wire.Rule = "kml-more-points"  // a Point with several positions, of which the first was taken
	RuleTrackCounts  wire.Rule = "kml-track-counts" // not one time for each position: times left out
	RuleNetworkLink  wire.Rule = "kml-network-link" // only links to elsewhere
	RuleNotFetched   wire.Rule = "kml-not-fetched"  // a link or picture; Path is its element, Got its name or address
	RuleUnknownShape wire.Rule = "kml-no-outline"   // a Model or other thing without outline; Path is its element
	RuleOtherFile    wire.Rule = "kml-other-file"   // of a KMZ: Entry was not read
	RuleNoKML        wire.Rule = "kml-none"         // of a KMZ: it holds no .kml
)
