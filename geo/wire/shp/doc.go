// Package shp reads and writes shapefiles (ESRI Shapefile Technical
// Description, July 1998) with their dBASE tables, one layer or several in a
// ZIP file.
//
// The reader believes the bytes, not the lengths that headers state, and checks
// every count against the bytes there are before it makes room. Coordinates
// come as the file has them, in the system of the .prj text; shells come
// counter-clockwise and holes clockwise (RFC 7946), which is the other way
// round than in the file.
//
// The writer puts one shapefile for each layer and kind of shape into a ZIP
// file. Columns of a dBASE table have names of ten bytes and texts of 254, and
// know neither lists nor null: a table fields.csv beside them says which
// property, of which type, each column holds, so that [Open] gives back what
// was written. Other programs need it not.
package shp

import "caneward/geo/wire"

// The rules of shapefiles, beside those of packages wire and archive.
const (
	RuleHeader     wire.Rule = "shp-header"     // no shapefile
	RuleRecord     wire.Rule = "shp-record"     // counts or parts that do not fit the record
	RuleType       wire.Rule = "shp-type"       // a shape type the format does not have
	RuleMultiPatch wire.Rule = "shp-multipatch" // surfaces of buildings and terrain
	RuleCoordinate wire.Rule = "shp-coordinate" // not finite
	RuleTable      wire.Rule = "shp-table"      // a .dbf whose header makes no sense
	RuleCount      wire.Rule = "shp-count"      // .shp and .dbf hold different numbers of records
	RuleNone       wire.Rule = "shp-none"       // neither .shp nor .dbf

	// Departures and notes.
	RuleIndex     wire.Rule = "shp-index"     // the .shx is rubbish and was not used
	RuleNoTable   wire.Rule = "shp-no-table"  // there is no .dbf: no names, no properties
	RuleRing      wire.Rule = "shp-ring"      // rings turn the wrong way; they were grouped by what lies in what
	RuleMeasure   wire.Rule = "shp-measure"   // measures that are no times were left out
	RuleDeleted   wire.Rule = "shp-deleted"   // records marked as deleted were left out
	RuleColumn    wire.Rule = "shp-column"    // a column of a type that is not read was left out
	RuleCell      wire.Rule = "shp-cell"      // cells that do not fit their column's type were taken as text, or as nothing where they hold asterisks
	RuleEncoding  wire.Rule = "shp-encoding"  // the .dbf does not say its encoding, or wrongly; Got is an example
	RuleRepeated  wire.Rule = "shp-repeated"  // a column's name stands twice; the later one was renamed
	RuleFieldList wire.Rule = "shp-fieldlist" // fields.csv could not be used

	// What the writer cannot write.
	RuleSize       wire.Rule = "shp-size"       // a file of 2 GiB or more
	RuleColumns    wire.Rule = "shp-columns"    // more columns, or longer records, than a table can have
	RuleCollection wire.Rule = "shp-collection" // a geometry collection
)
