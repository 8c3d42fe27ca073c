package intake

import (
	"bytes"
	"context"
	"regexp"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
)

var (
	foreignFile = words.New("intake-foreign-file",
		"This is {what}; no outlines or points are read from it.",
		"Esto es {what}; de ahí no se leen contornos ni puntos.")
	foreignXML = words.New("intake-foreign-xml",
		"This is XML of another kind: its outermost element is “{root}”. GeoJSON, KML and GPX are read.",
		"Esto es XML de otra clase: su elemento exterior es «{root}». Se leen GeoJSON, KML y GPX.")
	zerosOnly = words.New("intake-zeros-only",
		"The file is empty: it holds nothing but zero bytes, as a copy that failed does.",
		"El archivo está vacío: solo contiene bytes cero, como una copia fallida.")

	exportMap = words.New("intake-export-map",
		"In the program that drew the map, export the outlines as GeoJSON, KML or a zipped shapefile.",
		"En el programa con que se dibujó el mapa, exporte los contornos como GeoJSON, KML o shapefile en ZIP.")
	saveCSV = words.New("intake-save-csv",
		"Open it and save the sheet as CSV (UTF-8).",
		"Ábralo y guarde la hoja como CSV (UTF-8).")
	unpackFirst = words.New("intake-unpack-first",
		"Unpack it, and upload the file inside, or pack it as ZIP.",
		"Descomprímalo y suba el archivo que contiene, o comprímalo en ZIP.")
	exportTrack = words.New("intake-export-track",
		"Export the track as GPX.",
		"Exporte el recorrido como GPX.")
	packShape = words.New("intake-pack-shape",
		"It is one part of a shapefile. Pack all parts (.shp, .shx, .dbf, .prj) in one ZIP file.",
		"Es una parte de un shapefile. Comprima todas sus partes (.shp, .shx, .dbf, .prj) en un solo archivo ZIP.")

	aPDF       = words.New("intake-a-pdf", "a PDF document", "un documento PDF")
	aPicture   = words.New("intake-a-picture", "a picture ({kind} image)", "una imagen ({kind})")
	anOffice   = words.New("intake-an-office", "an Office file of the old kind (Excel .xls, Word .doc)", "un archivo de Office antiguo (Excel .xls, Word .doc)")
	aWorkbook  = words.New("intake-a-workbook", "a spreadsheet workbook (such as Excel writes)", "un libro de hojas de cálculo (como los de Excel)")
	aDocument  = words.New("intake-a-document", "a text document (such as Word writes) or a presentation", "un documento de texto (como los de Word) o una presentación")
	anArchive  = words.New("intake-an-archive", "a packed file ({kind})", "un archivo comprimido ({kind})")
	aDrawing   = words.New("intake-a-drawing", "a CAD drawing ({kind})", "un dibujo CAD ({kind})")
	aRecording = words.New("intake-a-recording", "a device's own recording ({kind})", "una grabación propia de un aparato ({kind})")
	aShapePart = words.New("intake-a-shape-part", "a table (.dbf) by itself", "una tabla (.dbf) sola")
	aTopology  = words.New("intake-a-topology", "TopoJSON (its type is Topology), not GeoJSON", "TopoJSON (su tipo es Topology), no GeoJSON")
)

// signature tells a format by bytes at a place.
type signature struct {
	at    int
	bytes string
	what  words.Text
	fix   words.Message
}

func kindOf(m words.Message, kind string) words.Text { return m.With(words.Args{"kind": kind}) }

// signatures are those that the formats' own specifications fix.
var signatures = []signature{
	{0, "%PDF-", aPDF.Plain(), exportMap},
	{0, "\xFF\xD8\xFF", kindOf(aPicture, "JPEG"), exportMap},
	{0, "\x89PNG\r\n\x1a\n", kindOf(aPicture, "PNG"), exportMap},
	{0, "GIF8", kindOf(aPicture, "GIF"), exportMap},
	{0, "II*\x00", kindOf(aPicture, "TIFF"), exportMap},
	{0, "MM\x00*", kindOf(aPicture, "TIFF"), exportMap},
	{8, "WEBP", kindOf(aPicture, "WebP"), exportMap},
	{4, "ftyphei", kindOf(aPicture, "HEIC"), exportMap},
	{4, "ftypmif1", kindOf(aPicture, "HEIC"), exportMap},
	{0, "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1", anOffice.Plain(), saveCSV},
	{0, "\x1F\x8B\x08", kindOf(anArchive, "gzip, .gz"), unpackFirst},
	{0, "7z\xBC\xAF\x27\x1C", kindOf(anArchive, "7z"), unpackFirst},
	{0, "Rar!\x1A\x07", kindOf(anArchive, "RAR"), unpackFirst},
	{0, "BZh", kindOf(anArchive, "bzip2"), unpackFirst},
	{0, "\xFD7zXZ\x00", kindOf(anArchive, "xz"), unpackFirst},
	{0, "\x28\xB5\x2F\xFD", kindOf(anArchive, "zstd"), unpackFirst},
	{257, "ustar", kindOf(anArchive, "tar"), unpackFirst},
	{0, "AC10", kindOf(aDrawing, "DWG"), exportMap},
	{8, ".FIT", kindOf(aRecording, "FIT"), exportTrack},
}

// notRead says what a file is that no reader here takes, by its first bytes;
// false for anything else. Such files are no text, so nothing is said of their
// letters.
func (p *Proposal) notRead(data []byte) bool {
	for _, s := range signatures {
		if len(data) >= s.at+len(s.bytes) && string(data[s.at:s.at+len(s.bytes)]) == s.bytes {
			p.foreign(s.what, s.fix)
			return true
		}
	}
	switch {
	case isTableFile(data):
		p.foreign(aShapePart.Plain(), packShape)
	case len(data) > 0 && len(bytes.Trim(data, "\x00")) == 0:
		p.refuse(fault.Malformed, fault.Detail{Text: zerosOnly.Plain(), Fix: sayings[wire.RuleTruncated].fix.Plain(), Byte: fault.P(int64(0))})
	default:
		return false
	}
	return true
}

func (p *Proposal) foreign(what words.Text, fix words.Message) {
	p.refuse(fault.Unsupported, fault.Detail{Text: foreignFile.With(words.Args{"what": what}), Fix: fix.Plain(), Byte: fault.P(int64(0))})
}

// isTableFile goes by the head of a .dbf: a version, a date of the last change,
// and the end of the list of fields where the head's own length puts it.
func isTableFile(data []byte) bool {
	if len(data) < 33 || data[0] != 3 || data[2] < 1 || data[2] > 12 || data[3] < 1 || data[3] > 31 {
		return false
	}
	head := int(data[8]) | int(data[9])<<8
	return head > 32 && head <= len(data) && data[head-1] == '\r'
}

// otherXML is XML that is neither KML nor GPX.
type otherXML struct{}

func (otherXML) Name() string { return "XML" }

func (otherXML) Detects(data []byte, _ string) bool { return rootOf(data) != "" }

func (otherXML) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	root := rootOf(data)
	if strings.EqualFold(root, "html") {
		return webPage{}.Read(ctx, data, o, p)
	}
	const most = 60
	if len(root) > most {
		root = root[:most] + "…"
	}
	fix := exportMap
	if root == "TrainingCenterDatabase" {
		fix = exportTrack
	}
	if bytes.Contains(data[:min(len(data), sniffed)], []byte("opengis.net/gml")) {
		root = "GML " + root
	}
	p.refuse(fault.Unsupported, fault.Detail{Text: foreignXML.With(words.Args{"root": root}), Fix: fix.Plain(), Line: fault.P(1)})
	return nil
}

// topology is TopoJSON.
type topology struct{}

func (topology) Name() string { return "TopoJSON" }

func (topology) Detects(data []byte, _ string) bool {
	return startsWith(data, '{') && isTopology.Match(data[:min(len(data), sniffed)])
}

var isTopology = regexp.MustCompile(`^\s*\{(?:[^{}]|\{[^{}]*\})*"type"\s*:\s*"Topology"`)

func (topology) Read(_ context.Context, _ []byte, _ Options, p *Proposal) error {
	p.foreign(aTopology.Plain(), exportGeoJSON)
	return nil
}

// drawing is a DXF file in its form as text.
type drawing struct{}

func (drawing) Name() string { return "DXF" }

func (drawing) Detects(data []byte, _ string) bool {
	lines := strings.Fields(string(data[:min(len(data), 200)]))
	return len(lines) >= 2 && lines[0] == "0" && lines[1] == "SECTION"
}

func (drawing) Read(_ context.Context, _ []byte, _ Options, p *Proposal) error {
	p.foreign(kindOf(aDrawing, "DXF"), exportMap)
	return nil
}

// office tells office documents, which are archives, by their entries.
func office(names []string) (what words.Text, fix words.Message, ok bool) {
	for _, name := range names {
		switch {
		case strings.HasPrefix(name, "xl/"):
			return aWorkbook.Plain(), saveCSV, true
		case strings.HasPrefix(name, "word/"), strings.HasPrefix(name, "ppt/"):
			return aDocument.Plain(), exportMap, true
		case name == "mimetype":
			ok = true
		}
	}
	return aWorkbook.Plain(), saveCSV, ok
}
