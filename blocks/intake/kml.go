package intake

import (
	"bytes"
	"context"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/kml"
	"caneward/geo/wire/markup"
)

// keyhole reads KML; readKMZ its archive.
type keyhole struct{}

func (keyhole) Name() string { return "KML" }

// Detects goes by the outermost element: a .kml that holds GPX is GPX.
func (keyhole) Detects(data []byte, _ string) bool {
	switch rootOf(data) {
	case "kml", "Document", "Folder":
		return true
	}
	return false
}

func (keyhole) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	src, err := kml.Open(ctx, data, wire.Options{Limits: o.Limits, Raw: true})
	if err != nil {
		return p.refuseOr(err)
	}
	return p.gather(ctx, src, o)
}

// readKMZ reads the main document of an archive that holds KML.
func readKMZ(ctx context.Context, data []byte, o Options, p *Proposal) error {
	src, err := kml.OpenKMZ(ctx, data, wire.Options{Limits: o.Limits, Raw: true})
	if err != nil {
		return p.refuseOr(err)
	}
	return p.gather(ctx, src, o)
}

// refuseOr refuses a file for what is wrong with it; other errors are the
// caller's.
func (p *Proposal) refuseOr(err error) error {
	e, ok := wire.As(err)
	if !ok {
		return err
	}
	p.refuseWire(e)
	return nil
}

// rootOf is the local name of an XML document's outermost element, "" when
// none stands near the beginning.
func rootOf(data []byte) string {
	data = bytes.TrimPrefix(data[:min(len(data), sniffed)], []byte("\xEF\xBB\xBF"))
	for {
		data = bytes.TrimLeft(data, " \t\r\n")
		end := ""
		switch {
		case bytes.HasPrefix(data, []byte("<?")):
			end = "?>"
		case bytes.HasPrefix(data, []byte("<!--")):
			end = "-->"
		case bytes.HasPrefix(data, []byte("<!DOCTYPE")):
			// What it declares is refused by the reader; the root follows it.
			if i := bytes.IndexAny(data, "[>"); i >= 0 && data[i] == '[' {
				end = "]"
				break
			}
			end = ">"
		case bytes.HasPrefix(data, []byte("]")), bytes.HasPrefix(data, []byte(">")):
			data = data[1:]
			continue
		case bytes.HasPrefix(data, []byte("<")):
			name := data[1:]
			if i := bytes.IndexAny(name, " \t\r\n/>"); i >= 0 {
				name = name[:i]
			}
			if i := bytes.IndexByte(name, ':'); i >= 0 {
				name = name[i+1:]
			}
			return string(name)
		default:
			return ""
		}
		_, rest, found := bytes.Cut(data, []byte(end))
		if !found {
			return ""
		}
		data = rest
	}
}

// xmlMends are the departures of KML and GPX in which the proposal differs from
// what the bytes say.
var xmlMends = []wire.Rule{kml.RuleSpaces, kml.RuleJoined}

// xmlSayings are what KML and GPX share.
var xmlSayings = map[wire.Rule]saying{
	markup.RuleDoctype: {fault.Malformed, words.New("intake-xml-doctype",
		"The file declares a document type (DOCTYPE, DTD) or entities: such declarations can read other files or fill the memory, so they are not taken.",
		"El archivo declara un tipo de documento (DOCTYPE, DTD) o entidades: esas declaraciones pueden leer otros archivos o llenar la memoria, así que no se aceptan."), words.New("intake-xml-doctype-fix",
		"Export it again from the program that made it; map files need no DOCTYPE.",
		"Vuelva a exportarlo desde el programa que lo hizo; los archivos de mapas no necesitan DOCTYPE.")},
	markup.RuleSyntax: {fault.Malformed, words.New("intake-xml-syntax",
		"This is not well-formed XML near “{got}”.",
		"Esto no es XML bien formado cerca de «{got}»."), words.New("intake-xml-syntax-fix",
		"Export the file again. In a text edited by hand, & must be written &amp; and every element must be closed.",
		"Vuelva a exportar el archivo. En un texto editado a mano, & se escribe &amp; y cada elemento debe cerrarse.")},
	markup.RuleDepth: {fault.Malformed, words.New("intake-xml-depth",
		"The elements are nested deeper than {limit} levels; no map data is.",
		"Los elementos están anidados a más de {limit} niveles; ningún dato de mapa lo está."), noFix},
	markup.RuleTag: {fault.Malformed, words.New("intake-xml-tag",
		"An element carries more, or longer, attributes than {limit}; no map data does.",
		"Un elemento lleva más atributos, o más largos, que {limit}; ningún dato de mapa los lleva."), noFix},
	markup.RuleAttribute: {fault.Malformed, words.New("intake-xml-attribute",
		"The attribute “{got}” stands twice in one element, and programs disagree on which one counts.",
		"El atributo «{got}» aparece dos veces en un elemento y los programas no coinciden en cuál vale."), words.New("intake-xml-attribute-fix",
		"Remove the one that is wrong.",
		"Quite el que no sea correcto.")},
	markup.RuleEncoding: {fault.Malformed, words.New("intake-xml-encoding",
		"The text is in an encoding that is not read here: “{got}”.",
		"El texto está en una codificación que aquí no se lee: «{got}»."), words.New("intake-xml-encoding-fix",
		"Save or export the file as UTF-8.",
		"Guarde o exporte el archivo como UTF-8.")},
	markup.RuleTime: {fault.Invalid, words.New("intake-xml-time",
		"{count} time(s) such as “{got}” cannot be read; their positions are kept without a time.",
		"{count} hora(s) como «{got}» no se pueden leer; sus posiciones se conservan sin hora."), noFix},
	markup.RuleZone: {fault.Invalid, words.New("intake-xml-zone",
		"{count} time(s) such as “{got}” name no time zone and were taken as UTC.",
		"{count} hora(s) como «{got}» no dicen zona horaria y se tomaron como UTC."), noFix},
	markup.RuleText: {fault.TooLarge, words.New("intake-xml-text",
		"A text is longer than {limit} bytes; the rest was left out.",
		"Un texto pasa de {limit} bytes; el resto se dejó fuera."), noFix},
	markup.RuleTwice: {fault.Invalid, words.New("intake-xml-twice",
		"“{path}” stands more than once; the first was kept and “{got}” left out.",
		"«{path}» aparece más de una vez; se conservó la primera y se dejó fuera «{got}»."), noFix},
	markup.RuleOnePoint: {fault.Invalid, words.New("intake-xml-one-point",
		"{count} line(s) or track segment(s) of a single position were left out.",
		"Se dejaron fuera {count} línea(s) o tramo(s) de recorrido con una sola posición."), noFix},
	markup.RuleHeight: {fault.Invalid, words.New("intake-xml-height",
		"{count} height(s) such as “{got}” are no numbers and were left out.",
		"{count} altura(s) como «{got}» no son números y se dejaron fuera."), noFix},
}

var kmlSayings = map[wire.Rule]saying{
	kml.RuleRoot: {fault.Malformed, words.New("intake-kml-root",
		"This is XML but not KML: its outermost element is “{got}”.",
		"Esto es XML pero no KML: su elemento exterior es «{got}»."), noFix},
	kml.RuleCoordinates: {fault.Malformed, words.New("intake-kml-coordinates",
		"The coordinates cannot be read at “{got}”: each position is longitude,latitude or longitude,latitude,height, with spaces only between positions and a point, not a comma, in each number.",
		"Las coordenadas (coordinates) no se pueden leer en «{got}»: cada posición es longitud,latitud o longitud,latitud,altura, con espacios solo entre posiciones y punto, no coma, en cada número."), words.New("intake-kml-coordinates-fix",
		"Export the outline again, or correct this place in the file.",
		"Vuelva a exportar el contorno o corrija este lugar del archivo.")},
	kml.RuleMorePoints: {fault.Invalid, words.New("intake-kml-more-points",
		"A Point has more than one position; the first was taken and {count} left out.",
		"Un Point tiene más de una posición; se tomó la primera y se dejaron fuera {count}."), noFix},
	kml.RuleSpaces: {fault.Invalid, words.New("intake-kml-spaces",
		"The coordinates have spaces beside their commas (“{got}”), which KML does not allow; they were read as longitude, latitude, height. Check the shape on the map.",
		"Las coordenadas (coordinates) tienen espacios junto a las comas («{got}»), lo que KML no permite; se leyeron como longitud, latitud, altura. Revise la forma en el mapa."), noFix},
	kml.RuleJoined: {fault.Invalid, words.New("intake-kml-joined",
		"The coordinates have commas where spaces must stand (“{got}”); they were parted into positions that lie near each other. Check the shape on the map.",
		"Las coordenadas (coordinates) tienen comas donde van espacios («{got}»); se separaron en posiciones cercanas entre sí. Revise la forma en el mapa."), noFix},
	kml.RuleOuter: {fault.Invalid, words.New("intake-kml-outer",
		"A polygon has two outer boundaries.",
		"Un polígono tiene dos límites exteriores."), words.New("intake-kml-outer-fix",
		"Make it two polygons, or a MultiGeometry.",
		"Conviértalo en dos polígonos o en una MultiGeometry.")},
	kml.RuleTrackCounts: {fault.Invalid, words.New("intake-kml-track-counts",
		"A track has not one time for each position; its times were left out.",
		"Un recorrido no tiene una hora para cada posición; sus horas se dejaron fuera."), noFix},
	kml.RuleNetworkLink: {fault.Unsupported, words.New("intake-kml-network-link",
		"The file holds only a link (NetworkLink) to “{got}”, no outlines. Links are not followed.",
		"El archivo solo contiene un enlace (NetworkLink) a «{got}», ningún contorno. Los enlaces no se siguen."), words.New("intake-kml-network-link-fix",
		"Open the link in a program that shows it, and export the outlines themselves as KML.",
		"Abra el enlace en un programa que lo muestre y exporte los propios contornos como KML.")},
	kml.RuleNotFetched: {fault.Unsupported, words.New("intake-kml-not-fetched",
		"{count} × {path}, such as “{got}”, was left out: nothing that a file links to is fetched.",
		"{count} × {path}, como «{got}», se dejó fuera: no se descarga nada de lo que un archivo enlaza."), noFix},
	kml.RuleUnknownShape: {fault.Unsupported, words.New("intake-kml-no-outline",
		"A {path} has no outline and was left out.",
		"Un {path} no tiene contorno y se dejó fuera."), noFix},
	kml.RuleOtherFile: {fault.Unsupported, words.New("intake-kml-other-file",
		"The archive also holds {got}, which was not read. Import it by itself if it is needed.",
		"El archivo comprimido también contiene {got}, que no se leyó. Impórtelo por separado si hace falta."), noFix},
	kml.RuleNoKML: {fault.Unsupported, words.New("intake-kml-none",
		"The archive holds no .kml file.",
		"El archivo comprimido no contiene ningún archivo .kml."), noFix},
}
