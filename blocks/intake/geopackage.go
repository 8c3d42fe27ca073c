package intake

import (
	"context"
	"errors"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/gpkg"
)

// geoPackage reads GeoPackage, and says of other SQLite files that they are
// none.
type geoPackage struct{}

func (geoPackage) Name() string { return "GeoPackage" }

func (geoPackage) Detects(data []byte, _ string) bool { return gpkg.IsSQLite(data) }

func (geoPackage) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	src, err := gpkg.Open(ctx, data, wire.Options{Limits: o.Limits, Raw: true})
	if err != nil {
		return p.refuseOr(err)
	}
	return errors.Join(p.gather(ctx, src, o), src.Close())
}

// geoPackageMends are the rules after which a proposal differs from what the
// bytes say.
var geoPackageMends = []wire.Rule{gpkg.RuleText}

var exportGeoPackage = words.New("intake-gpkg-export-again",
	"Export the file again from the program that made it, or export the layer as GeoJSON.",
	"Vuelva a exportar el archivo desde el programa que lo hizo o exporte la capa como GeoJSON.")

var geoPackageSayings = map[wire.Rule]saying{
	gpkg.RuleDatabase: {fault.Malformed, words.New("intake-gpkg-database",
		"This is no GeoPackage: it does not begin as an SQLite file.",
		"Esto no es un GeoPackage: no empieza como un archivo SQLite."), exportGeoPackage},
	gpkg.RulePackage: {fault.Malformed, words.New("intake-gpkg-package",
		"This is an SQLite file but no GeoPackage: it has no table {entry}.",
		"Esto es un archivo SQLite pero no un GeoPackage: no tiene la tabla {entry}."), exportGeoPackage},
	gpkg.RuleCorrupt: {fault.Malformed, words.New("intake-gpkg-corrupt",
		"The file is damaged: it could not be read (table “{entry}”).",
		"El archivo está dañado: no se pudo leer (tabla «{entry}»)."), words.New("intake-gpkg-corrupt-fix",
		"Close it in the program that has it open, then copy or export it again.",
		"Ciérrelo en el programa que lo tiene abierto y vuelva a copiarlo o exportarlo.")},
	gpkg.RuleGeometry: {fault.Malformed, words.New("intake-gpkg-geometry",
		"The table “{entry}” is said to hold shapes, but there is no column for them.",
		"Se dice que la tabla «{entry}» contiene formas, pero no hay columna para ellas."), exportGeoPackage},
	gpkg.RuleTables: {fault.TooLarge, words.New("intake-gpkg-tables",
		"The file holds more than {limit} tables.",
		"El archivo contiene más de {limit} tablas."), noFix},
	gpkg.RuleBlob: {fault.Malformed, words.New("intake-gpkg-blob",
		"The shape of this row cannot be read.",
		"La forma de esta fila no se puede leer."), exportGeoPackage},
	gpkg.RuleKind: {fault.Unsupported, words.New("intake-gpkg-kind",
		"The shape of this row is a {got}; curves and surfaces are not read here.",
		"La forma de esta fila es un {got}; las curvas y superficies no se leen aquí."), words.New("intake-gpkg-kind-fix",
		"Convert it to polygons, lines or points and export again.",
		"Conviértala en polígonos, líneas o puntos y vuelva a exportar.")},
	gpkg.RuleDepth: {fault.Malformed, words.New("intake-gpkg-depth",
		"Collections are nested deeper than {limit} levels; no map data is.",
		"Las colecciones están anidadas a más de {limit} niveles; ningún dato de mapa lo está."), noFix},
	gpkg.RuleValue: {fault.TooLarge, words.New("intake-gpkg-value",
		"A text in this row is longer than {limit} bytes.",
		"Un texto de esta fila pasa de {limit} bytes."), words.New("intake-gpkg-value-fix",
		"Leave that column out of the export.",
		"Quite esa columna al exportar.")},
	gpkg.RuleUnpacked: {fault.TooLarge, words.New("intake-gpkg-unpacked",
		"The rows of this file come to more than {limit} bytes.",
		"Las filas de este archivo suman más de {limit} bytes."), noFix},
	gpkg.RuleWAL: {fault.Invalid, words.New("intake-gpkg-wal",
		"The file was copied while a program had it open or may have; the last changes can be missing.",
		"El archivo se copió mientras un programa lo tenía abierto o podía tenerlo; pueden faltar los últimos cambios."), words.New("intake-gpkg-wal-fix",
		"If something is missing, close the file in that program and copy it again.",
		"Si falta algo, cierre el archivo en ese programa y vuelva a copiarlo.")},
	gpkg.RuleNotTable: {fault.Invalid, words.New("intake-gpkg-not-table",
		"The layer “{entry}” is no table with rows of its own and was not read.",
		"La capa «{entry}» no es una tabla con filas propias y no se leyó."), words.New("intake-gpkg-not-table-fix",
		"If you need it, export it as a layer of its own.",
		"Si la necesita, expórtela como una capa aparte.")},
	gpkg.RuleOther: {fault.Invalid, words.New("intake-gpkg-other",
		"“{entry}” holds {got}, no features, and was not read.",
		"«{entry}» contiene {got}, no elementos, y no se leyó."), noFix},
	gpkg.RuleBinary: {fault.Invalid, words.New("intake-gpkg-binary",
		"The column “{path}” of “{entry}” holds binary data, such as pictures, in {count} row(s); they were left out.",
		"La columna «{path}» de «{entry}» contiene datos binarios, como fotos, en {count} fila(s); se dejaron fuera."), noFix},
	gpkg.RuleInfinite: {fault.Invalid, words.New("intake-gpkg-infinite",
		"The column “{path}” of “{entry}” holds infinite numbers in {count} row(s); they were left out.",
		"La columna «{path}» de «{entry}» contiene números infinitos en {count} fila(s); se dejaron fuera."), noFix},
	gpkg.RuleText: {fault.Invalid, words.New("intake-gpkg-text",
		"The column “{path}” of “{entry}” holds text that is not UTF-8 in {count} row(s); what could not be read became “�”. Check the names.",
		"La columna «{path}» de «{entry}» contiene texto que no está en UTF-8 en {count} fila(s); lo ilegible quedó como «�». Revise los nombres."), noFix},
	gpkg.RuleJSON: {fault.Invalid, words.New("intake-gpkg-json",
		"The column “{path}” of “{entry}” is said to be JSON but is not in {count} row(s); it was taken as text there.",
		"Se dice que la columna «{path}» de «{entry}» es JSON pero en {count} fila(s) no lo es; ahí se tomó como texto."), noFix},
	gpkg.RuleSystem: {fault.Invalid, words.New("intake-gpkg-system",
		"{count} shape(s) of “{entry}” name the coordinate system {got}, the table another; the table's was taken. Check the places on the map.",
		"{count} forma(s) de «{entry}» indican el sistema de coordenadas {got} y la tabla otro; se tomó el de la tabla. Revise los lugares en el mapa."), noFix},
}
