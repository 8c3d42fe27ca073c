package wire

import "iter"

// Source gives what a file holds, feature by feature; one reader for every
// format.
type Source interface {
	// Next gives the next feature, io.EOF after the last. An *Error speaks of
	// this one feature, which then holds what could be read (its id and
	// properties), and the call after it gives the following one; any other
	// error ends the reading.
	Next() (Feature, error)
	// Notes are what was mended, left out or assumed in the file as a whole,
	// known in full after io.EOF.
	Notes() []*Error
}

// CRSMissing stands in Feature.CRS where a format that names its coordinate
// system failed to: a shapefile without .prj, a spreadsheet of metres.
const CRSMissing = "?"

// Layer is features of one kind that a writer keeps together: a table, a
// folder, a file of an archive.
type Layer struct {
	Name string
	// Features can be walked more than once, in the same order: formats with
	// tables look for their columns first. An error ends the writing.
	Features iter.Seq2[Feature, error]
}

// Document is what a writer writes.
type Document struct {
	Title  string // of the whole, such as the farm's name
	Notice string // to stand where people see it, such as that the data are invented; "" for none
	Layers []Layer
}
