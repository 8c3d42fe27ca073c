// Package gpkg reads and writes GeoPackage (OGC 12-128r18, versions 1.0 to
// 1.4): features in tables of an SQLite file.
//
// It is the one package of geometry that reaches a database: the file is one.
// It is held in memory; nothing is written to disk, read from it or fetched,
// and nothing that the file brings along is run: views, triggers, virtual
// tables and generated columns are left alone.
//
// Positions are x, y in that order, whatever the axis order of the coordinate
// system (OGC 12-128r18, clause 2.1.3.1.1).
package gpkg

import "caneward/geo/wire"

// The rules that are this format's own. Errors beside them are
// wire.RuleTruncated, RuleBytes, RuleFeatures, RuleVertices, RuleNumber and,
// when writing, RuleID, RuleCount and RuleShape.
const (
	RuleDatabase wire.Rule = "gpkg-database" // no SQLite file
	RulePackage  wire.Rule = "gpkg-package"  // an SQLite file without the tables of a GeoPackage
	RuleCorrupt  wire.Rule = "gpkg-corrupt"  // SQLite cannot read it
	RuleGeometry wire.Rule = "gpkg-geometry" // a table of features without a geometry column
	RuleTables   wire.Rule = "gpkg-tables"   // more tables than wire.Limits.Entries
	RuleBlob     wire.Rule = "gpkg-blob"     // no GeoPackage geometry
	RuleKind     wire.Rule = "gpkg-kind"     // a curve or surface
	RuleDepth    wire.Rule = "gpkg-depth"    // collections nested deeper than wire.Limits.Depth
	RuleValue    wire.Rule = "gpkg-value"    // a value of more bytes than a property may have
	RuleUnpacked wire.Rule = "gpkg-unpacked" // rows of more than wire.Limits.Unpacked bytes: they share their pages
	RuleColumns  wire.Rule = "gpkg-columns"  // more properties in a layer than a table can have columns

	// What stands in Notes.
	RuleWAL      wire.Rule = "gpkg-wal"       // changes may stand in a file beside it
	RuleNotTable wire.Rule = "gpkg-not-table" // a view or virtual table, or none of that name
	RuleOther    wire.Rule = "gpkg-other"     // tiles and other data that are no features
	RuleBinary   wire.Rule = "gpkg-binary"    // values of bytes, left out
	RuleInfinite wire.Rule = "gpkg-infinite"  // infinite values, left out
	RuleText     wire.Rule = "gpkg-text"      // text that is not UTF-8; what is not is replaced by U+FFFD
	RuleJSON     wire.Rule = "gpkg-json"      // text said to be JSON that is not, taken as text
	RuleSystem   wire.Rule = "gpkg-system"    // shapes that name another coordinate system than their table, whose is taken
)

// A GeoPackage says what it is in the header of the SQLite file.
const (
	applicationID   = 0x47504B47 // "GPKG"; "GP10" and "GP11" before version 1.2
	userVersion     = 10300      // version 1.3, which every program of today reads
	offsetOfID      = 68
	sqliteMagic     = "SQLite format 3\x00"
	sqliteHeader    = 100
	offsetOfPage    = 16
	offsetOfJournal = 18
	offsetOfChange  = 24
	offsetOfPages   = 28
	offsetOfValid   = 92
)
