package export

import (
	"context"
	"io"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/gpkg"
	"caneward/geo/wire/gpx"
	"caneward/geo/wire/kml"
	"caneward/geo/wire/shp"
	"caneward/geo/wire/table"
	"caneward/records"
)

var (
	noSuchFormat = words.New("export-no-such-format",
		"There is no export as “{ending}”; there are {known}.",
		"No hay exportación como «{ending}»; hay {known}.")
	cannotCarry = words.New("export-cannot-carry",
		"The record {number} of {layer} cannot be written as {format}: {what}",
		"El registro {number} de {layer} no se puede escribir como {format}: {what}")
)

var nullsLeftOut = words.New("export-nulls-left-out",
	"{format} knows no difference between a property that is empty and one that is not there: empty ones are left out.",
	"{format} no distingue una propiedad vacía de una que no está: las vacías se dejan fuera.")

func nullsAbsent(records.Kind) []words.Text {
	return []words.Text{nullsLeftOut.With(words.Args{"format": "GeoPackage"})}
}

// Format is a kind of file.
type Format struct {
	Ending    string // of the file's name, without the dot
	Name      string // as people call it
	MediaType string // as registered with IANA or named by its standard
	Packed    bool   // compressed by itself
	write     func(context.Context, io.Writer, wire.Document) error
	// changes says what of a kind reads differently in this format; nil: nothing.
	changes func(records.Kind) []words.Text
}

// Formats are all there are, the fullest first.
var Formats = []Format{
	{"geojson", "GeoJSON", "application/geo+json", false, wire.WriteCollection, nil},         // RFC 7946 section 12
	{"gpkg", "GeoPackage", "application/geopackage+sqlite3", false, gpkg.Write, nullsAbsent}, // OGC 12-128r18, annex on the media type
	{"kml", "KML", "application/vnd.google-earth.kml+xml", false, kml.Write, nil},
	{"kmz", "KMZ", "application/vnd.google-earth.kmz", true, kml.WriteKMZ, nil},
	{"zip", "shapefile (ZIP)", "application/zip", true, shp.Write, nil},
	{"csv", "CSV", "text/csv; charset=utf-8; header=present", false, table.Write, nil}, // RFC 4180
	{"gpx", "GPX", "application/gpx+xml", false, gpx.Write, nil},
}

// FormatOf finds the format of a file's ending, in any case; fault.Unsupported.
func FormatOf(ending string) (Format, error) {
	var known []string
	for _, f := range Formats {
		if strings.EqualFold(f.Ending, ending) {
			return f, nil
		}
		known = append(known, f.Ending)
	}
	return Format{}, fault.New(fault.Unsupported, noSuchFormat.With(words.Args{"ending": ending, "known": strings.Join(known, ", ")}))
}

// Write writes the document. What the format has no room for is refused with
// fault.Invalid, naming the record; other errors are the reader's, the
// context's or the writer's.
func (f Format) Write(ctx context.Context, w io.Writer, doc wire.Document) error {
	err := f.write(ctx, w, doc)
	if e, ok := wire.As(err); ok {
		what := words.Args{"number": e.Feature, "layer": e.Entry, "format": f.Name, "what": e.Error()}
		return fault.Wrap(fault.Invalid, err, cannotCarry.With(what))
	}
	return err
}

// Warnings say, before anything is written, what of these kinds stands
// otherwise in a format than people may expect. Nothing is lost in any: what a
// format has no place for of its own, it carries beside.
func Warnings(f Format, kinds ...records.Kind) []words.Text {
	if f.changes == nil {
		return nil
	}
	var all []words.Text
	said := map[string]bool{}
	for _, kind := range kinds {
		for _, w := range f.changes(kind) {
			if !said[w.Key()] {
				said[w.Key()] = true
				all = append(all, w)
			}
		}
	}
	return all
}
