package blocks

import (
	"strings"

	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
)

// MaxText bounds names and kinds in characters: no sign at a gate holds more.
const MaxText = 200

var (
	wrongShape = words.New("blocks-wrong-shape", "The place of this record must be {wanted}; it is {got}.", "El lugar de este registro debe ser {wanted}; es {got}.")

	aPolygon = words.New("blocks-a-polygon", "a Polygon or MultiPolygon", "un Polygon o MultiPolygon")
	aLine    = words.New("blocks-a-line", "a LineString or MultiLineString", "un LineString o MultiLineString")
	anyShape = words.New("blocks-any-shape", "a point, a line or an area", "un punto, una línea o un área")
	noShape  = words.New("blocks-no-shape", "missing", "ninguno")
)

// name reads a text as on a sign, without the white space round it.
func name(r fields.Reader, field string) string {
	return strings.TrimSpace(r.TextUpTo(field, MaxText))
}

// faultPlace faults a shape of the wrong kind.
func faultPlace(r fields.Reader, g geo.Geometry, wanted words.Message) {
	got := noShape.Plain()
	if !g.Empty() {
		got = words.Verbatim(g.Flat.GeoJSONType())
	}
	r.Fault("geometry", wrongShape.With(words.Args{"wanted": wanted.Plain(), "got": got}))
}
