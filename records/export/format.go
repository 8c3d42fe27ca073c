package export

import (
	"context"
	"io"
	"iter"
	"slices"
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
	recordNotCarried = words.New("export-record-not-carried",
		"{format} has no room for the record {id} of {kind}. GeoJSON carries it.",
		"{format} no tiene lugar para el registro {id} de {kind}. GeoJSON lo admite.")
	kindNotCarried = words.New("export-kind-not-carried",
		"{format} has no room for these records of {kind}. GeoJSON carries them.",
		"{format} no tiene lugar para estos registros de {kind}. GeoJSON los admite.")
)

// Format is a kind of file.
type Format struct {
	Ending    string // of the file's name, without the dot
	Name      string // as people call it
	MediaType string // as registered with IANA or named by its standard
	Packed    bool   // compressed by itself
	write     func(context.Context, io.Writer, wire.Document) error
	// changes are what other programs see otherwise.
	changes []change
}

// Formats are all there are, the fullest first.
var Formats = []Format{
	{"geojson", "GeoJSON", "application/geo+json", false, wire.WriteCollection, nil},      // RFC 7946 section 12
	{"gpkg", "GeoPackage", "application/geopackage+sqlite3", false, gpkg.Write, gpkgSays}, // OGC 12-128r18
	{"kml", "KML", "application/vnd.google-earth.kml+xml", false, kml.Write, nil},         // OGC 12-007r2
	{"kmz", "KMZ", "application/vnd.google-earth.kmz", true, kml.WriteKMZ, nil},
	{"zip", "shapefile (ZIP)", "application/zip", true, shp.Write, shpSays},
	{"csv", "CSV", "text/csv; charset=utf-8; header=present", false, table.Write, csvSays}, // RFC 4180
	{"gpx", "GPX", "application/gpx+xml", false, gpx.Write, gpxSays},
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

// Write writes the document. A record that the format has no room for is
// refused with fault.Invalid, which names it: a shapefile holds no record of
// several kinds of shape at once. Other errors are the reader's, the context's
// or the writer's. After an error what was written is of no use.
func (f Format) Write(ctx context.Context, w io.Writer, doc wire.Document) error {
	kind, id := "", ""
	layers := slices.Clone(doc.Layers)
	for i, layer := range layers {
		layers[i].Features = noting(layer.Features, func(of wire.Feature) { kind, id = layer.Name, of.ID })
	}
	doc.Layers = layers
	err := f.write(ctx, w, doc)
	e, ok := wire.As(err)
	switch {
	case !ok:
		return err
	case e.Feature > 0:
		return fault.Wrap(fault.Invalid, err, recordNotCarried.With(words.Args{"format": f.Name, "id": id, "kind": kind}))
	case e.Entry != "":
		kind = e.Entry
	}
	return fault.Wrap(fault.Invalid, err, kindNotCarried.With(words.Args{"format": f.Name, "kind": kind}))
}

// noting shows each feature to a function before the writer gets it.
func noting(all iter.Seq2[wire.Feature, error], see func(wire.Feature)) iter.Seq2[wire.Feature, error] {
	return func(yield func(wire.Feature, error) bool) {
		for f, err := range all {
			see(f)
			if !yield(f, err) {
				return
			}
		}
	}
}

// change is what other programs see otherwise of some kinds.
type change struct {
	kinds []records.Kind // nil: all
	text  words.Message
}

var (
	withAreas    = []records.Kind{records.Blocks, records.Surroundings, records.Removals, records.Passes}
	withoutPlace = []records.Kind{records.Stages, records.Visits, records.Samples, records.Reviews, records.Products}

	gpkgSays = []change{{nil, words.New("export-gpkg-nulls",
		"A GeoPackage knows no difference between a property that is empty and one that is not there: empty ones are left out.",
		"Un GeoPackage no distingue una propiedad vacía de una que no está: las vacías se dejan fuera.")}}
	shpSays = []change{{nil, words.New("export-shp-short",
		"Shapefiles cut names after ten letters and texts after 254 bytes. Other programs see the short ones; the whole ones stand beside, in fields.csv.",
		"Los shapefiles cortan los nombres tras diez letras y los textos tras 254 bytes. Otros programas ven los cortos; los completos están al lado, en fields.csv.")}}
	csvSays = []change{{nil, words.New("export-csv-apostrophe",
		"A text that a spreadsheet would run as a formula gets an apostrophe before it. To read the file back here, leave the columns id, wkt and properties as they are.",
		"Un texto que una hoja de cálculo ejecutaría como fórmula lleva un apóstrofo delante. Para volver a leer el archivo aquí, deje las columnas id, wkt y properties como están.")}}
	gpxSays = []change{
		{withAreas, words.New("export-gpx-areas",
			"GPX has no areas: other programs see the way round an outline. Read back here it is an outline again.",
			"GPX no tiene áreas: otros programas ven el camino alrededor de un contorno. Al leerlo aquí vuelve a ser un contorno.")},
		{withoutPlace, words.New("export-gpx-no-place",
			"Records without a place stand in the file, but no other program shows them.",
			"Los registros sin lugar están en el archivo, pero ningún otro programa los muestra.")},
	}
)

// Warnings say, before anything is written, what of these kinds other programs
// see otherwise in a format. What a format has no place for of its own it
// carries beside, and reads back.
func Warnings(f Format, kinds ...records.Kind) []words.Text {
	var all []words.Text
	for _, c := range f.changes {
		meant := func(k records.Kind) bool { return c.kinds == nil || slices.Contains(c.kinds, k) }
		if slices.ContainsFunc(kinds, meant) {
			all = append(all, c.text.Plain())
		}
	}
	return all
}
