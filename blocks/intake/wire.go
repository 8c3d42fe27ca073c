package intake

import (
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
)

// saying is what to tell people of one wire rule.
type saying struct {
	kind fault.Kind
	text words.Message
	fix  words.Message
}

var noFix words.Message

// sayings are those of every format.
var sayings = merged(commonSayings, archiveSayings, shapefileSayings, xmlSayings, kmlSayings, gpxSayings, geoPackageSayings, wktSayings, sheetSayings)

func merged(of ...map[wire.Rule]saying) map[wire.Rule]saying {
	all := map[wire.Rule]saying{}
	for _, one := range of {
		for rule, say := range one {
			if _, twice := all[rule]; twice {
				panic("intake: the rule " + string(rule) + " is said twice")
			}
			all[rule] = say
		}
	}
	return all
}

// mends are the rules whose departure means that the proposal differs from
// what the file says.
var mends = slices.Concat(shapefileMends, xmlMends, gpxMends, geoPackageMends, sheetMends)

var commonSayings = map[wire.Rule]saying{
	wire.RuleSyntax: {fault.Malformed, words.New("intake-syntax",
		"This is not valid JSON: “{got}” cannot stand here.",
		"Esto no es JSON válido: «{got}» no puede estar aquí."), words.New("intake-syntax-fix",
		"Export the file again from the program that made it.",
		"Vuelva a exportar el archivo desde el programa que lo hizo.")},
	wire.RuleEncoding: {fault.Malformed, words.New("intake-encoding",
		"The text is not UTF-8.",
		"El texto no está en UTF-8."), words.New("intake-encoding-fix",
		"Save or export it again as UTF-8.",
		"Guárdelo o expórtelo de nuevo como UTF-8.")},
	wire.RuleTruncated: {fault.Malformed, words.New("intake-truncated",
		"The file ends in the middle: it is incomplete.",
		"El archivo termina a la mitad: está incompleto."), words.New("intake-truncated-fix",
		"Copy or upload it again.",
		"Cópielo o súbalo de nuevo.")},
	wire.RuleTrailing: {fault.Malformed, words.New("intake-trailing",
		"Something stands after the end of the data: “{got}”.",
		"Hay algo después del final de los datos: «{got}»."), words.New("intake-trailing-fix",
		"Two files may have been joined, or an upload written over a longer one. Export it again.",
		"Quizá se unieron dos archivos o se escribió encima de uno más largo. Expórtelo de nuevo.")},
	wire.RuleNothing: {fault.Malformed, words.New("intake-nothing",
		"The file is empty.",
		"El archivo está vacío."), noFix},
	wire.RuleDepth: {fault.Malformed, words.New("intake-depth",
		"The JSON is nested deeper than {limit} levels; no map data is.",
		"El JSON está anidado a más de {limit} niveles; ningún dato de mapa lo está."), noFix},
	wire.RuleBytes: {fault.TooLarge, words.New("intake-bytes",
		"The file is larger than {limit} bytes.",
		"El archivo pasa de {limit} bytes."), words.New("intake-bytes-fix",
		"Split it, or leave out what is not needed.",
		"Divídalo o quite lo que no haga falta.")},
	wire.RuleFeatures: {fault.TooLarge, words.New("intake-features",
		"The file holds more than {limit} features.",
		"El archivo contiene más de {limit} elementos."), noFix},
	wire.RuleVertices: {fault.TooLarge, words.New("intake-vertices",
		"There are more than {limit} corners.",
		"Hay más de {limit} vértices."), words.New("intake-vertices-fix",
		"Simplify the outlines, or split the file.",
		"Simplifique los contornos o divida el archivo.")},
	wire.RuleDuplicateKey: {fault.Malformed, words.New("intake-duplicate-key",
		"Duplicate name: “{got}” stands twice in one object, and programs disagree on which one counts.",
		"Nombre repetido: «{got}» aparece dos veces en un objeto y los programas no coinciden en cuál vale."), words.New("intake-duplicate-key-fix",
		"Remove the one that is wrong.",
		"Quite el que no sea correcto.")},
	wire.RuleObject: {fault.Malformed, words.New("intake-object",
		"A GeoJSON object in braces must stand here, not “{got}”.",
		"Aquí debe haber un objeto GeoJSON entre llaves, no «{got}»."), noFix},
	wire.RuleArray: {fault.Malformed, words.New("intake-array",
		"A list in square brackets must stand here, not “{got}”: the coordinates do not fit their type.",
		"Aquí debe haber una lista entre corchetes, no «{got}»: las coordenadas no corresponden a su tipo."), noFix},
	wire.RuleType: {fault.Malformed, words.New("intake-type",
		"This is not GeoJSON: its type is “{got}”.",
		"Esto no es GeoJSON: su tipo es «{got}»."), words.New("intake-type-fix",
		"Export as GeoJSON (RFC 7946).",
		"Exporte como GeoJSON (RFC 7946).")},
	wire.RuleMember: {fault.Malformed, words.New("intake-member",
		"“{path}” is missing.",
		"Falta «{path}»."), noFix},
	wire.RuleID: {fault.Malformed, words.New("intake-id",
		"A feature's id must be text or a number, not “{got}”.",
		"El id de un elemento debe ser texto o número, no «{got}»."), noFix},
	wire.RuleEmpty: {fault.Invalid, words.New("intake-empty",
		"The geometry is empty: its coordinates hold no position.",
		"La geometría está vacía: sus coordenadas no tienen ninguna posición."), noFix},
	wire.RulePosition: {fault.Malformed, words.New("intake-position",
		"A position holds longitude and latitude, at most a height and a time besides: 2 to 4 numbers.",
		"Una posición lleva longitud y latitud, como mucho también altura y hora: de 2 a 4 números."), noFix},
	wire.RuleDecimalComma: {fault.Malformed, words.New("intake-decimal-comma",
		"The numbers seem to have a decimal comma, which JSON reads as two numbers: {got}.",
		"Los números parecen llevar coma decimal, que JSON lee como dos números: {got}."), words.New("intake-decimal-comma-fix",
		"Export it again with decimal points.",
		"Vuelva a exportarlo con punto decimal.")},
	wire.RuleNumber: {fault.Malformed, words.New("intake-number",
		"A number must stand here, not “{got}”.",
		"Aquí debe haber un número, no «{got}»."), words.New("intake-number-fix",
		"Write coordinates as numbers, without quotes.",
		"Escriba las coordenadas como números, sin comillas.")},
	wire.RuleOverflow: {fault.Invalid, words.New("intake-overflow",
		"The number “{got}” is out of range; longitudes lie within 180 and latitudes within 90 degrees.",
		"El número «{got}» está fuera de rango; las longitudes llegan a 180 y las latitudes a 90 grados."), noFix},
	wire.RuleLongitude: {fault.Invalid, words.New("intake-longitude",
		"The longitude {lon} is out of range: it must lie from -180 to 180 degrees.",
		"La longitud {lon} está fuera de rango: debe estar entre -180 y 180 grados."), words.New("intake-longitude-fix",
		"Positions must be WGS 84 longitude, latitude in degrees, not metres or feet.",
		"Las posiciones deben ser longitud, latitud WGS 84 en grados, no metros ni pies.")},
	wire.RuleLatitude: {fault.Invalid, words.New("intake-latitude",
		"The latitude {lat} is out of range: it must lie from -90 to 90 degrees.",
		"La latitud {lat} está fuera de rango: debe estar entre -90 y 90 grados."), words.New("intake-latitude-fix",
		"Positions must be WGS 84 longitude, latitude in degrees, in that order.",
		"Las posiciones deben ser longitud, latitud WGS 84 en grados, en ese orden.")},
	wire.RuleShortLine: {fault.Invalid, words.New("intake-short-line",
		"A line needs two positions.",
		"Una línea necesita dos posiciones."), noFix},
	wire.RuleShortRing: {fault.Invalid, words.New("intake-short-ring",
		"An outline needs at least three corners and the first one again: it encloses no area.",
		"Un contorno necesita al menos tres vértices y el primero otra vez: no encierra ningún área."), noFix},
	wire.RuleUnclosed: {fault.Invalid, words.New("intake-unclosed",
		"The ring is not closed: its last position is not its first.",
		"El anillo no está cerrado: su última posición no es la primera."), words.New("intake-unclosed-fix",
		"Add the first position again at the end.",
		"Añada otra vez la primera posición al final.")},
	wire.RuleCount: {fault.Malformed, words.New("intake-count",
		"There is not one height or time for each position.",
		"No hay una altura o una hora para cada posición."), noFix},
	wire.RuleShape: {fault.Malformed, words.New("intake-shape",
		"This shape cannot be read.",
		"Esta forma no se puede leer."), noFix},
}

var (
	swapped = words.New("intake-swapped",
		"Longitude and latitude look swapped: swap them in every position, or export as longitude, latitude.",
		"La longitud y la latitud parecen intercambiadas: cámbielas en todas las posiciones o exporte como longitud, latitud.")
	notReadable = words.New("intake-not-readable",
		"The shape cannot be read.",
		"La forma no se puede leer.")
	missingType = words.New("intake-missing-type",
		"This is JSON but not GeoJSON: it has no type.",
		"Esto es JSON pero no GeoJSON: no tiene tipo.")
)

// Refusal says a reader's error to people, for whoever reads shapes from a
// request; nil when err holds no *wire.Error.
func Refusal(err error) *fault.Error {
	e, ok := wire.As(err)
	if !ok {
		return nil
	}
	return fault.Wrap(sayings[e.Rule].kind, err, notReadable.Plain(), detailOf(e))
}

// detailOf says one wire error to people.
func detailOf(e *wire.Error) fault.Detail {
	args := words.Args{"got": e.Got, "path": e.Path, "limit": e.Limit, "entry": e.Entry, "count": e.Count}
	if e.At != nil {
		args["lon"], args["lat"] = e.At[0], e.At[1]
	}
	say := sayings[e.Rule]
	d := placeOf(e)
	d.Text, d.Fix = say.text.With(args), say.fix.Plain()
	switch {
	case e.Rule == wire.RuleType && e.Got == "":
		d.Text = missingType.Plain()
	case e.Rule == wire.RuleLatitude && e.At != nil && fitsSwapped(*e.At):
		d.Fix = swapped.Plain()
	}
	return d
}

// fitsSwapped reports whether a position out of range would be one the other
// way round.
func fitsSwapped(at [2]float64) bool {
	return at[1] >= -180 && at[1] <= 180 && at[0] >= -90 && at[0] <= 90
}

func placeOf(e *wire.Error) fault.Detail {
	number := func(n int) *int {
		if n <= 0 {
			return nil
		}
		return fault.P(n)
	}
	d := fault.Detail{Field: e.Path, Entry: e.Entry, At: e.At, Feature: number(e.Feature), Part: number(e.Part),
		Ring: number(e.Ring), Vertex: number(e.Vertex), Line: number(e.Line)}
	if e.Line > 0 || e.Byte > 0 {
		d.Byte = fault.P(e.Byte)
	}
	return d
}
