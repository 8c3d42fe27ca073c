package intake

import (
	"bytes"
	"context"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/wkt"
)

// wktFile reads well-known text, one shape a line or separated by semicolons.
type wktFile struct{}

func (wktFile) Name() string { return "WKT" }

// Detects looks at how the file begins: a shape's name and a bracket, or an
// SRID. A table with a column of well-known text begins with its header.
func (wktFile) Detects(data []byte, name string) bool {
	return wkt.Detects(data) || strings.HasSuffix(strings.ToLower(name), ".wkt") && !bytes.ContainsAny(data[:min(len(data), 1)], "{[<")
}

func (wktFile) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	src, err := wkt.NewReader(data, wire.Options{Limits: o.Limits, Raw: true})
	if err != nil {
		return p.refuseOr(err)
	}
	return p.gather(ctx, src, o)
}

var wktSayings = map[wire.Rule]saying{
	wkt.RuleSyntax: {fault.Malformed, words.New("intake-wkt-syntax",
		"This is not valid well-known text: “{got}” cannot stand here.",
		"Esto no es WKT válido: «{got}» no puede estar aquí."), words.New("intake-wkt-syntax-fix",
		"Check brackets and commas: POLYGON ((x y, x y, x y, x y)).",
		"Revise paréntesis y comas: POLYGON ((x y, x y, x y, x y)).")},
	wkt.RuleKind: {fault.Unsupported, words.New("intake-wkt-kind",
		"“{got}” is no kind of shape that is read here.",
		"«{got}» no es un tipo de forma que se lea aquí."), words.New("intake-wkt-kind-fix",
		"Use POINT, LINESTRING, POLYGON, their MULTI forms or GEOMETRYCOLLECTION; convert curves and surfaces first.",
		"Use POINT, LINESTRING, POLYGON, sus formas MULTI o GEOMETRYCOLLECTION; convierta antes las curvas y superficies.")},
	wkt.RuleBinary: {fault.Unsupported, words.New("intake-wkt-binary",
		"The shape is written as binary digits (WKB in hexadecimal), not as text.",
		"La forma está escrita en dígitos binarios (WKB en hexadecimal), no como texto."), words.New("intake-wkt-binary-fix",
		"Export shapes as text (WKT, such as ST_AsText gives), or as GeoJSON.",
		"Exporte las formas como texto (WKT, como el que da ST_AsText) o como GeoJSON.")},
	wkt.RulePosition: {fault.Malformed, words.New("intake-wkt-position",
		"A position holds x and y, at most a height and a measure besides, as many in each as the shape says: “{got}”.",
		"Una posición lleva x e y, como mucho también altura y medida, tantas en cada una como indica la forma: «{got}»."), words.New("intake-wkt-position-fix",
		"Put spaces between the numbers of a position, commas between positions, and decimal points, not commas, in numbers.",
		"Ponga espacios entre los números de una posición, comas entre posiciones y puntos decimales, no comas, en los números.")},
	wkt.RuleNumber: {fault.Malformed, words.New("intake-wkt-number",
		"A number must stand here, not “{got}”.",
		"Aquí debe haber un número, no «{got}»."), noFix},
	wkt.RuleDepth: {fault.Malformed, words.New("intake-wkt-depth",
		"Collections are nested deeper than {limit} levels; no map data is.",
		"Las colecciones están anidadas a más de {limit} niveles; ningún dato de mapa lo está."), noFix},
	wkt.RuleSRID: {fault.Malformed, words.New("intake-wkt-srid",
		"The SRID before the shape is no number followed by a semicolon: “{got}”.",
		"El SRID delante de la forma no es un número seguido de punto y coma: «{got}»."), words.New("intake-wkt-srid-fix",
		"Write it as SRID=4326;POINT (x y).",
		"Escríbalo como SRID=4326;POINT (x y).")},
}
