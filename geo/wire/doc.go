// Package wire turns shapes into bytes and back: GeoJSON (RFC 7946) with
// errors that say where, and EWKB for the stores.
//
// The GeoJSON reader is strict. It takes nothing it does not understand, names
// the place of what it refuses, and never panics whatever the bytes. What a
// careful person could mend (a ring left open, a longitude on the next copy of
// the map) is refused by [DecodeGeometry] and mended with a note when
// [Options.Lenient] is set.
//
// Positions are longitude, latitude in degrees, WGS 84, then optionally a
// height in metres and a measure (a track's time, Unix seconds):
// [lon, lat], [lon, lat, z] or [lon, lat, z, m]. GeoJSON has no way to leave
// the height out of a position with a measure, so such a height is written as
// 0; a shape with measures whose heights are all exactly 0 is read back
// without heights.
package wire

import (
	"encoding/json"
	"time"

	"caneward/geo"
)

// Limits bound what a reader takes. A zero field takes the field of
// DefaultLimits.
type Limits struct {
	Bytes    int64 // of a whole file or document
	Features int   // in a file
	Vertices int   // in a file, or in the one shape of DecodeGeometry
	Depth    int   // of nested objects, arrays and elements

	Entries  int           // files in an archive
	Unpacked int64         // bytes of all files in an archive together, as counted while they are unpacked
	Ratio    int           // unpacked to packed bytes of one file in an archive, beyond its first megabyte
	Time     time.Duration // for reading one file; whoever reads sets the context's deadline by it
}

// DefaultLimits hold for files that people import. A season of a sprayer's
// track at one fix a second is about half a million vertices; the deepest
// GeoJSON in use, polygons in a collection in a feature in a collection, nests
// ten levels.
//
// Text such as KML packs to a tenth, a file of one repeated record to a
// thirtieth; deflate's own bound is about 1,030.
var DefaultLimits = Limits{Bytes: 64 << 20, Features: 100_000, Vertices: 1_000_000, Depth: 40,
	Entries: 1000, Unpacked: 256 << 20, Ratio: 200, Time: time.Minute}

// Filled gives the limits with no field left zero.
func (l Limits) Filled() Limits { return l.filled() }

func (l Limits) filled() Limits {
	if l.Bytes <= 0 {
		l.Bytes = DefaultLimits.Bytes
	}
	if l.Features <= 0 {
		l.Features = DefaultLimits.Features
	}
	if l.Vertices <= 0 {
		l.Vertices = DefaultLimits.Vertices
	}
	if l.Depth <= 0 {
		l.Depth = DefaultLimits.Depth
	}
	if l.Entries <= 0 {
		l.Entries = DefaultLimits.Entries
	}
	if l.Unpacked <= 0 {
		l.Unpacked = DefaultLimits.Unpacked
	}
	if l.Ratio <= 0 {
		l.Ratio = DefaultLimits.Ratio
	}
	if l.Time <= 0 {
		l.Time = DefaultLimits.Time
	}
	return l
}

// Options say how a file is read.
type Options struct {
	Limits Limits
	// Lenient mends what can be mended without guessing and reports it as a
	// departure: rings left open are closed, longitudes up to one turn beyond
	// 180 are brought back, empty parts are left out.
	Lenient bool
	// Raw takes positions in any system of coordinates: their range is not
	// looked at. Whoever brings them to degrees looks then.
	Raw bool
}

// IDKind tells how a feature's id was written; 7 and "7" are different ids.
type IDKind int

// The id kinds.
const (
	NoID IDKind = iota
	StringID
	NumberID
)

// Feature is a GeoJSON Feature.
type Feature struct {
	ID         string // as written: digits of a number are kept, however many
	IDKind     IDKind
	Geometry   geo.Geometry
	Properties json.RawMessage // the JSON object byte for byte; nil when absent or null
	Foreign    []Member        // members RFC 7946 does not name, in file order
	// CRS is the coordinate system as the file gives it, a name or well-known
	// text: that of a crs member, a .prj file, a table. "" is WGS 84 longitude,
	// latitude, which is what GeoJSON, KML and GPX are in; CRSMissing where one
	// had to be named and is not.
	CRS string
	// Layer is the table, folder or file of an archive it came from, "" where
	// there is only one.
	Layer string
	// Recorded marks a track that a receiver recorded, as opposed to a line
	// that somebody drew.
	Recorded bool

	Number     int      // place in the file, from 1
	Byte       int64    // where the feature starts, from 0
	Line       int      // likewise, from 1
	Departures []*Error // what Lenient mended
}

// Member is a name and a value of a JSON object.
type Member struct {
	Name  string
	Value json.RawMessage
}
