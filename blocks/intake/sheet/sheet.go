// Package sheet reads spreadsheets saved as delimited text: separators, decimal
// commas, headers, coordinates and dates as people have them. Every row becomes
// a feature, with the physical line it stands on; what is left out is named by
// that line. Coordinates are given raw, and in which system they are stands in
// Feature.CRS.
package sheet

import (
	"time"

	"caneward/blocks/when"
	"caneward/blocks/words"
	"caneward/geo/wire"
)

// The rules that are this format's own. Errors beside them are
// wire.RuleNothing, RuleBytes, RuleFeatures and those of package wkt.
const (
	RuleQuote        wire.Rule = "sheet-quote"         // a quoted field that is never closed, or closes in the middle of its text
	RuleField        wire.Rule = "sheet-field"         // a field larger than maxField
	RuleWide         wire.Rule = "sheet-wide"          // more columns than maxColumns
	RuleColumns      wire.Rule = "sheet-columns"       // no column holds a position, nor a row and a plant
	RulePosition     wire.Rule = "sheet-position"      // a position that cannot be read
	RuleHemisphere   wire.Rule = "sheet-hemisphere"    // a letter that contradicts the sign or the column
	RuleDayMonth     wire.Rule = "sheet-day-month"     // dates of both orders in one column
	RuleSkipped      wire.Rule = "sheet-skipped"       // a time that the zone's clocks never showed
	RuleTwice        wire.Rule = "sheet-twice"         // a time that they showed twice
	RuleProperties   wire.Rule = "sheet-properties"    // a column properties without a JSON object
	RuleNoPosition   wire.Rule = "sheet-no-position"   // note: a row left out for having none
	RuleMoreRows     wire.Rule = "sheet-more-rows"     // note: further such rows, Count
	RuleBefore       wire.Rule = "sheet-before"        // note: lines before the header left out
	RuleExtra        wire.Rule = "sheet-extra"         // note: rows with more cells than the header, Count
	RuleBareQuote    wire.Rule = "sheet-bare-quote"    // note: a single quote mark inside a quoted field taken as it stands
	RuleDegrees      wire.Rule = "sheet-degrees"       // note: columns x and y taken as degrees
	RulePair         wire.Rule = "sheet-pair"          // note: a column of pairs that has the longitude first
	RuleOeste        wire.Rule = "sheet-oeste"         // note: the letter O taken as west
	RuleDayFirst     wire.Rule = "sheet-day-first"     // note: dates are read with the day first
	RuleMonthFirst   wire.Rule = "sheet-month-first"   // note: dates are read with the month first
	RuleSerial       wire.Rule = "sheet-serial"        // note: day numbers made into dates, Count
	RuleLocal        wire.Rule = "sheet-local"         // note: times without a zone, Count
	RuleDate         wire.Rule = "sheet-date"          // note: a cell of the date column that is no date
	RuleEdited       wire.Rule = "sheet-edited"        // note: cells that differ from the column properties, Count
	RuleNotice       wire.Rule = "sheet-notice"        // note: what the file says of itself
	RuleDecimalComma wire.Rule = "sheet-decimal-comma" // decimal commas between columns that commas part
	RuleSplit        wire.Rule = "sheet-split"         // degrees, minutes and seconds in columns of their own
	RuleTwiceHeaded  wire.Rule = "sheet-twice-headed"  // note: two columns for one thing
	RuleLatFirst     wire.Rule = "sheet-lat-first"     // note: nothing proves the order of a pair
	RuleShortYear    wire.Rule = "sheet-short-year"    // note: a year of two digits
	RuleYear         wire.Rule = "sheet-year"          // note: a year in which nothing was recorded
)

// Bounds on one file's shape; the rest is in wire.Limits. No spreadsheet that
// people fill in has hundreds of columns; a megabyte is a large outline as
// well-known text.
const (
	maxColumns = 500
	maxField   = 1 << 20
)

// Field is what a column holds.
type Field string

// The fields. Everything but positions, dates and the id becomes a property of
// the field's name; Other keeps the column's own header; Leave drops it.
const (
	Other     Field = "other"
	Leave     Field = "leave"
	Latitude  Field = "latitude"
	Longitude Field = "longitude"
	X         Field = "x" // to the east, in whichever system
	Y         Field = "y"
	LatLon    Field = "lat-lon" // both in one cell
	LonLat    Field = "lon-lat"
	Geometry  Field = "geometry" // well-known text or GeoJSON
	ID        Field = "id"
	Name      Field = "name"
	Note      Field = "note"
	Date      Field = "date" // with or without the time
	Time      Field = "time" // of the day
	Block     Field = "block"
	Row       Field = "row"
	Plant     Field = "plant"
	Cause     Field = "cause"
	Severity  Field = "severity"
	Accuracy  Field = "accuracy_m"
)

// Fields are all of them in the order in which people are offered them.
var Fields = []Field{Latitude, Longitude, LatLon, LonLat, X, Y, Geometry, Block, Row, Plant, Date, Time, Name, Note, Cause, Severity, Accuracy, ID, Other, Leave}

var fieldWords = map[Field]words.Message{
	Other:     words.New("sheet-field-other", "keep as it is", "conservar tal cual"),
	Leave:     words.New("sheet-field-leave", "leave out", "no tomar"),
	Latitude:  words.New("sheet-field-latitude", "latitude", "latitud"),
	Longitude: words.New("sheet-field-longitude", "longitude", "longitud"),
	X:         words.New("sheet-field-x", "x (easting)", "x (este)"),
	Y:         words.New("sheet-field-y", "y (northing)", "y (norte)"),
	LatLon:    words.New("sheet-field-lat-lon", "latitude and longitude in one column", "latitud y longitud en una columna"),
	LonLat:    words.New("sheet-field-lon-lat", "longitude and latitude in one column", "longitud y latitud en una columna"),
	Geometry:  words.New("sheet-field-geometry", "shape (WKT or GeoJSON)", "forma (WKT o GeoJSON)"),
	ID:        words.New("sheet-field-id", "id", "id"),
	Name:      words.New("sheet-field-name", "name", "nombre"),
	Note:      words.New("sheet-field-note", "note", "nota"),
	Date:      words.New("sheet-field-date", "date, or date and time", "fecha, o fecha y hora"),
	Time:      words.New("sheet-field-time", "time of day", "hora"),
	Block:     words.New("sheet-field-block", "block", "bloque"),
	Row:       words.New("sheet-field-row", "row", "hilera"),
	Plant:     words.New("sheet-field-plant", "plant", "planta"),
	Cause:     words.New("sheet-field-cause", "cause", "causa"),
	Severity:  words.New("sheet-field-severity", "severity", "severidad"),
	Accuracy:  words.New("sheet-field-accuracy", "accuracy in metres", "exactitud en metros"),
}

// Text names the field for people; empty for what is no field.
func (f Field) Text() words.Text { return fieldWords[f].Plain() }

// ParseField reads a field's own name.
func ParseField(name string) (Field, bool) {
	_, known := fieldWords[Field(name)]
	return Field(name), known
}

// Options say how a sheet is read.
type Options struct {
	Limits wire.Limits
	Zone   *time.Location // of times that carry no offset; nil: none is assumed
	Order  when.Order     // DayFirst or MonthFirst settles what the dates leave open
	Now    time.Time      // dates beyond it are doubted; zero: the clock's
	// System is set where somebody has named the coordinate system of columns x
	// and y; such features carry wire.CRSMissing whatever their numbers.
	System string
	// Fields say what columns hold, by header, where the guess is wrong.
	// Columns of a sheet without a header are "column 1" and so on.
	Fields map[string]Field
}

// Preview is what a person needs to see to say which column holds what.
type Preview struct {
	Delimiter  string // "," ";" "\t" or "|"
	Decimal    string // "." or ","
	Header     []string
	HeaderLine int        // 0 when there is none
	Rows       [][]string // the first five, cells shortened
	Fields     []Field    // of each column
	Order      when.Order // of the dates, as judged or as set
	Placed     bool       // some column holds positions
	Addressed  bool       // there are columns for row and plant
}
