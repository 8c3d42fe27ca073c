package intake

import (
	"context"
	"path"
	"slices"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/archive"
	"caneward/geo/wire/kml"
	"caneward/geo/wire/shp"
)

var (
	archiveNothing = words.New("intake-archive-nothing",
		"The archive holds nothing that is read here. It holds: {names}.",
		"El archivo comprimido no contiene nada que se lea aquí. Contiene: {names}.")
	archiveEmpty = words.New("intake-archive-empty",
		"The archive holds no files.",
		"El archivo comprimido no contiene archivos.")
	archiveNothingFix = words.New("intake-archive-nothing-fix",
		"Pack a shapefile with all its parts (.shp, .shx, .dbf, .prj), or one GeoJSON, KML, GPX, CSV or GeoPackage file.",
		"Comprima un shapefile con todas sus partes (.shp, .shx, .dbf, .prj), o un solo archivo GeoJSON, KML, GPX, CSV o GeoPackage.")
	shapesMissing = words.New("intake-shapes-missing",
		"The .shp, which holds the outlines, is missing: there is only the table (.dbf).",
		"Falta el .shp, que contiene los contornos: solo está la tabla (.dbf).")
	archiveSeveral = words.New("intake-archive-several",
		"The archive holds several files that could be read: {names}.",
		"El archivo comprimido contiene varios archivos que se podrían leer: {names}.")
	archiveSeveralFix = words.New("intake-archive-several-fix",
		"Upload them one by one.",
		"Súbalos de uno en uno.")
)

// archived is a ZIP file, told by its first bytes; what is in it decides how it
// is read.
type archived struct{}

func (archived) Name() string                          { return "ZIP" }
func (archived) Detects(data []byte, name string) bool { return archive.Is(data) }

func (archived) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	a, err := archive.Open(ctx, data, o.Limits)
	if err != nil {
		return p.refuseOr(err)
	}
	switch holds := contentOf(a); {
	case len(holds.kml) > 0 && len(holds.layers)+len(holds.single) == 0:
		p.Format = "KMZ"
		return readKMZ(ctx, data, o, p)
	case len(holds.layers) > 0 && holds.lacksShapes():
		p.refuse(fault.Malformed, fault.Detail{Entry: holds.layers[0], Text: shapesMissing.Plain(), Fix: exportShapefile.Plain()})
	case len(holds.layers) > 0 && len(holds.kml) == 0:
		p.Format = shapefile{}.Name()
		src, err := shp.OpenArchive(ctx, a, wire.Options{Limits: o.Limits, Raw: true})
		if err != nil {
			return p.refuseOr(err)
		}
		for _, name := range holds.single {
			if path.Base(name) != ownFields {
				p.note(fault.Detail{Entry: name, Text: sayings[kml.RuleOtherFile].text.With(words.Args{"got": name})})
			}
		}
		return p.gather(ctx, src, o)
	case len(holds.single) == 1 && len(holds.kml)+len(holds.layers) == 0:
		return p.readPacked(ctx, a, holds.single[0], o)
	case len(holds.kml)+len(holds.layers)+len(holds.single) > 0:
		p.refuse(fault.Unsupported, fault.Detail{
			Text: archiveSeveral.With(words.Args{"names": listed(append(append(holds.kml, holds.layers...), holds.single...))}),
			Fix:  archiveSeveralFix.Plain()})
	case officeFile(holds.rest, p):
	case len(holds.rest) > 0:
		p.refuse(fault.Unsupported, fault.Detail{Entry: holds.rest[0],
			Text: archiveNothing.With(words.Args{"names": listed(holds.rest)}), Fix: archiveNothingFix.Plain()})
	default:
		p.refuse(fault.Unsupported, fault.Detail{Text: archiveEmpty.Plain(), Fix: archiveNothingFix.Plain()})
	}
	return nil
}

// officeFile refuses an office document for what it is.
func officeFile(names []string, p *Proposal) bool {
	what, fix, is := office(names)
	if is {
		p.foreign(what, fix)
	}
	return is
}

// ownFields is the list of fields beside the shapefiles of our own making, which
// their reader goes by.
const ownFields = "fields.csv"

// content is what an archive holds, names in its order.
type content struct{ kml, layers, single, rest []string }

// lacksShapes reports whether there are parts of a shapefile but not the one
// with its shapes. A table alone may be meant as one.
func (c content) lacksShapes() bool {
	has := func(names []string, ending string) bool {
		return slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(path.Ext(n), ending) })
	}
	return !has(c.layers, ".shp") && (has(c.rest, ".shx") || has(c.rest, ".prj"))
}

// contentOf sorts files by their endings. Beside a shapefile a table of
// comma-separated values is its companion, and so is a .json of metadata.
func contentOf(a *archive.Archive) content {
	var c content
	for _, e := range a.Entries() {
		switch strings.ToLower(path.Ext(e.Name)) {
		case ".kml":
			c.kml = append(c.kml, e.Name)
		case ".shp", ".dbf":
			c.layers = append(c.layers, e.Name)
		case ".geojson", ".json", ".geojsonl", ".ndjson", ".geojsonseq", ".csv", ".tsv", ".gpx", ".gpkg", ".wkt":
			c.single = append(c.single, e.Name)
		default:
			c.rest = append(c.rest, e.Name)
		}
	}
	for _, n := range a.Notes() {
		c.rest = append(c.rest, n.Entry)
	}
	return c
}

// readPacked reads the one file of an archive as if it had been uploaded. An
// archive under another name is not opened: one that holds itself would never
// end.
func (p *Proposal) readPacked(ctx context.Context, a *archive.Archive, name string, o Options) error {
	data, err := a.Read(ctx, name)
	if err != nil {
		return p.refuseOr(err)
	}
	if archive.Is(data) {
		p.refuse(fault.Unsupported, fault.Detail{Entry: name,
			Text: archiveNothing.With(words.Args{"names": name}), Fix: archiveNothingFix.Plain()})
		return nil
	}
	for _, n := range a.Notes() {
		p.note(detailOf(n))
	}
	return p.read(ctx, data, name, o)
}

// mostListed is how many names a sentence can hold.
const mostListed = 8

func listed(names []string) string {
	if len(names) > mostListed {
		return strings.Join(names[:mostListed], ", ") + " …"
	}
	return strings.Join(names, ", ")
}

var archiveSayings = map[wire.Rule]saying{
	archive.RulePath: {fault.Malformed, words.New("intake-archive-path",
		"The archive holds a file whose name is a path that leads out of the archive: “{got}”. Nothing of it was opened.",
		"El archivo comprimido contiene un archivo cuyo nombre es una ruta que sale de él: «{got}». No se abrió nada."), words.New("intake-archive-path-fix",
		"Pack the files again, without folders; if the file is not yours, do not use it.",
		"Vuelva a comprimir los archivos, sin carpetas; si el archivo no es suyo, no lo use.")},
	archive.RuleKind: {fault.Malformed, words.New("intake-archive-kind",
		"The archive holds a link or another thing that is no file.",
		"El archivo comprimido contiene un enlace u otra cosa que no es un archivo."), words.New("intake-archive-kind-fix",
		"Pack the files themselves.",
		"Comprima los archivos mismos.")},
	archive.RuleEntries: {fault.TooLarge, words.New("intake-archive-entries",
		"The archive holds more than {limit} files.",
		"El archivo comprimido contiene más de {limit} archivos."), words.New("intake-archive-entries-fix",
		"Pack only the files of one map.",
		"Comprima solo los archivos de un mapa.")},
	archive.RuleUnpacked: {fault.TooLarge, words.New("intake-archive-unpacked",
		"“{got}” does not fit: the archive would unpack to more than {limit} bytes.",
		"«{got}» no cabe: el archivo comprimido ocuparía más de {limit} bytes al descomprimirse."), words.New("intake-archive-unpacked-fix",
		"Split the file, or leave out what is not needed.",
		"Divida el archivo o quite lo que no haga falta.")},
	archive.RuleRatio: {fault.TooLarge, words.New("intake-archive-ratio",
		"“{got}” would unpack to more than {limit} times its size; no map does.",
		"«{got}» ocuparía más de {limit} veces su tamaño al descomprimirse; ningún mapa lo hace."), noFix},
	archive.RuleOverlap: {fault.Malformed, words.New("intake-archive-overlap",
		"Two files of the archive, one of them “{got}”, share the same bytes.",
		"Dos archivos del comprimido, uno de ellos «{got}», comparten los mismos bytes."), words.New("intake-archive-again",
		"Pack the files again.",
		"Vuelva a comprimir los archivos.")},
	archive.RuleDuplicate: {fault.Malformed, words.New("intake-archive-duplicate",
		"The archive holds two files named “{got}”, capitals or not, and programs disagree on which one counts.",
		"El archivo comprimido contiene dos archivos llamados «{got}», con o sin mayúsculas, y los programas no coinciden en cuál vale."), words.New("intake-archive-duplicate-fix",
		"Pack the files again with different names.",
		"Vuelva a comprimir los archivos con nombres distintos.")},
	archive.RuleEncrypted: {fault.Unsupported, words.New("intake-archive-encrypted",
		"“{got}” is locked with a password.",
		"«{got}» está protegido con contraseña."), words.New("intake-archive-encrypted-fix",
		"Pack it again without a password.",
		"Vuelva a comprimirlo sin contraseña.")},
	archive.RuleMethod: {fault.Unsupported, words.New("intake-archive-method",
		"A file of the archive is packed with {got}, which is not read here.",
		"Un archivo del comprimido usa {got}, que aquí no se lee."), words.New("intake-archive-method-fix",
		"Pack it as an ordinary ZIP file (Deflate).",
		"Comprímalo como ZIP corriente (Deflate).")},
	archive.RuleChecksum: {fault.Malformed, words.New("intake-archive-checksum",
		"“{got}” does not unpack to what was packed: the archive is damaged.",
		"«{got}» no se descomprime como lo que se guardó: el archivo comprimido está dañado."), words.New("intake-archive-copy-again",
		"Copy or upload it again.",
		"Cópielo o súbalo de nuevo.")},
	archive.RuleDamaged: {fault.Malformed, words.New("intake-archive-damaged",
		"The archive is damaged or is no ZIP file.",
		"El archivo comprimido está dañado o no es un ZIP."), words.New("intake-archive-damaged-fix",
		"Copy or upload it again, or pack the files again.",
		"Cópielo o súbalo de nuevo, o vuelva a comprimir los archivos.")},
	archive.RuleMissing: {fault.Malformed, words.New("intake-archive-missing",
		"The archive holds no file “{got}”.",
		"El archivo comprimido no contiene ningún archivo «{got}»."), noFix},
	archive.RuleNested: {fault.Unsupported, words.New("intake-archive-nested",
		"“{got}” is an archive inside the archive and was left out.",
		"«{got}» es un archivo comprimido dentro del otro y se dejó fuera."), words.New("intake-archive-nested-fix",
		"Unpack it and upload what is in it by itself.",
		"Descomprímalo y suba por separado lo que contiene.")},
}
