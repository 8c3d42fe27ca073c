package intake

import (
	"context"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/shp"
)

// shapefile is a .shp that was uploaded without what belongs to it; archived
// reads whole ones.
type shapefile struct{}

func (shapefile) Name() string                       { return "shapefile" }
func (shapefile) Detects(data []byte, _ string) bool { return shp.Is(data) }

// bareShape is how the parts of a shapefile that came alone are called.
const bareShape = ".shp"

func (shapefile) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	src, err := shp.OpenShape(ctx, bareShape, data, wire.Options{Limits: o.Limits, Raw: true})
	if err != nil {
		return p.refuseOr(err)
	}
	return p.gather(ctx, src, o)
}

// shapefileMends are the rules after which a proposal differs from what the
// bytes say.
var shapefileMends = []wire.Rule{shp.RuleIndex}

var exportShapefile = words.New("intake-shp-export",
	"Export it again and upload all parts (.shp, .shx, .dbf, .prj, .cpg) in one ZIP file.",
	"Vuelva a exportarlo y suba todas las partes (.shp, .shx, .dbf, .prj, .cpg) en un solo ZIP.")

var shapefileSayings = map[wire.Rule]saying{
	shp.RuleHeader: {fault.Malformed, words.New("intake-shp-header",
		"The .shp is no shapefile.",
		"El .shp no es un shapefile."), exportShapefile},
	shp.RuleRecord: {fault.Malformed, words.New("intake-shp-record",
		"A shape of the .shp is damaged: its counts do not fit its bytes.",
		"Una forma del .shp está dañada: sus cantidades no corresponden a sus bytes."), exportShapefile},
	shp.RuleType: {fault.Unsupported, words.New("intake-shp-type",
		"The .shp holds shapes of type {got}, which the format does not have.",
		"El .shp contiene formas del tipo {got}, que el formato no tiene."), exportShapefile},
	shp.RuleMultiPatch: {fault.Unsupported, words.New("intake-shp-multipatch",
		"The .shp holds multipatches, surfaces in space such as buildings; outlines are needed.",
		"El .shp contiene multipatches, superficies en el espacio como edificios; hacen falta contornos."), words.New("intake-shp-multipatch-fix",
		"Export footprints as polygons.",
		"Exporte las huellas como polígonos.")},
	shp.RuleCoordinate: {fault.Invalid, words.New("intake-shp-coordinate",
		"A position of the .shp is not a number: {got}.",
		"Una posición del .shp no es un número: {got}."), noFix},
	shp.RuleTable: {fault.Malformed, words.New("intake-shp-table",
		"The .dbf, which holds names and other properties, is damaged.",
		"El .dbf, que contiene los nombres y demás propiedades, está dañado."), exportShapefile},
	shp.RuleCount: {fault.Malformed, words.New("intake-shp-count",
		"The .shp and its .dbf do not belong together, or one is incomplete: they hold {got} records. Names would land on the wrong ground.",
		"El .shp y su .dbf no corresponden, o uno está incompleto: contienen {got} registros. Los nombres caerían en otro terreno."), exportShapefile},
	shp.RuleNone: {fault.Malformed, words.New("intake-shp-none",
		"The archive holds neither a .shp nor a .dbf.",
		"El archivo comprimido no contiene ni .shp ni .dbf."), exportShapefile},
	shp.RuleIndex: {fault.Malformed, words.New("intake-shp-index",
		"The index (.shx) of the shapefile is damaged; the shapes were read without it, in the order of the .shp. Check that the names fit.",
		"El índice (.shx) del shapefile está dañado; las formas se leyeron sin él, en el orden del .shp. Compruebe que los nombres correspondan."), noFix},
	shp.RuleNoTable: {fault.Malformed, words.New("intake-shp-no-table",
		"There is no .dbf beside the .shp: names and other properties are missing.",
		"No hay .dbf junto al .shp: faltan los nombres y demás propiedades."), words.New("intake-shp-no-table-fix",
		"Give the blocks names, or upload all parts in one ZIP file.",
		"Ponga nombre a los bloques, o suba todas las partes en un solo ZIP.")},
	shp.RuleRing: {fault.Invalid, words.New("intake-shp-ring",
		"Rings turn against the format's rule; those inside others were taken as holes.",
		"Hay anillos que giran contra la regla del formato; los que están dentro de otros se tomaron como huecos."), noFix},
	shp.RuleMeasure: {fault.Invalid, words.New("intake-shp-measure",
		"The measures of the .shp are no times and were left out.",
		"Las medidas del .shp no son horas y se dejaron fuera."), noFix},
	shp.RuleDeleted: {fault.Invalid, words.New("intake-shp-deleted",
		"Records that are marked as deleted in the .dbf were left out.",
		"Se dejaron fuera los registros marcados como borrados en el .dbf."), noFix},
	shp.RuleColumn: {fault.Unsupported, words.New("intake-shp-column",
		"The column “{got}” of the .dbf has a type that is not read here and was left out.",
		"La columna «{got}» del .dbf tiene un tipo que aquí no se lee y se dejó fuera."), noFix},
	shp.RuleCell: {fault.Invalid, words.New("intake-shp-cell",
		"The column “{path}” of the .dbf holds what does not fit its type, such as “{got}”; it was taken as text, or as nothing where it is asterisks.",
		"La columna «{path}» del .dbf contiene algo que no corresponde a su tipo, como «{got}»; se tomó como texto, o como nada donde son asteriscos."), noFix},
	shp.RuleEncoding: {fault.Malformed, words.New("intake-shp-encoding",
		"The .dbf does not say how its letters are encoded, or says it wrongly; they were read as well as could be told, for example “{got}”. Check the names.",
		"El .dbf no dice cómo están codificadas sus letras, o lo dice mal; se leyeron lo mejor posible, por ejemplo «{got}». Revise los nombres."), words.New("intake-shp-encoding-fix",
		"Export as UTF-8, with a .cpg file.",
		"Exporte como UTF-8, con un archivo .cpg.")},
	shp.RuleRepeated: {fault.Malformed, words.New("intake-shp-repeated",
		"Two columns of the .dbf have the same name; the later one is called “{got}” here.",
		"Dos columnas del .dbf tienen el mismo nombre; la segunda se llama aquí «{got}»."), noFix},
	shp.RuleFieldList: {fault.Malformed, words.New("intake-shp-fieldlist",
		"fields.csv is not one that this program wrote; the tables were read without it.",
		"fields.csv no es uno que este programa escribiera; las tablas se leyeron sin él."), noFix},
	shp.RuleSize: {fault.TooLarge, words.New("intake-shp-size",
		"A shapefile holds at most {limit} bytes; this one would be larger.",
		"Un shapefile admite como mucho {limit} bytes; este sería mayor."), words.New("intake-shp-other-format",
		"Choose GeoPackage or GeoJSON.",
		"Elija GeoPackage o GeoJSON.")},
	shp.RuleColumns: {fault.TooLarge, words.New("intake-shp-columns",
		"The table of a shapefile cannot hold so many or so long properties: {got}, at most {limit}.",
		"La tabla de un shapefile no admite tantas propiedades o tan largas: {got}, como mucho {limit}."), words.New("intake-shp-columns-fix",
		"Choose GeoPackage or GeoJSON.",
		"Elija GeoPackage o GeoJSON.")},
	shp.RuleCollection: {fault.Unsupported, words.New("intake-shp-collection",
		"A shapefile cannot hold a geometry collection.",
		"Un shapefile no admite una colección de geometrías."), words.New("intake-shp-collection-fix",
		"Choose GeoPackage or GeoJSON.",
		"Elija GeoPackage o GeoJSON.")},
}
