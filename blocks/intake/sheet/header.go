package sheet

import (
	"strconv"
	"strings"
	"unicode"

	"caneward/geo/wire"
	"caneward/geo/wire/wkt"

	"golang.org/x/text/unicode/norm"
)

// synonyms are headers as people write them, in small letters without accents,
// spaces and signs.
var synonyms = synonymsOf(map[Field]string{
	Latitude: "lat latitude latitud latdeg latdd latitudedd declat decimallat decimallatitude latdecimal latituddecimal " +
		"latwgs84 latitudewgs84 wgs84lat gpslat gpslatitude gpslatitud",
	Longitude: "lon long lng longitude longitud londeg longdeg londd longdd longitudedd declon declong decimallon decimallong decimallongitude longdecimal longituddecimal " +
		"lonwgs84 longitudewgs84 wgs84lon gpslon gpslong gpslng gpslongitude gpslongitud",
	X:        "x xcoord xcoordinate coordx coordenadax pointx utmx este utmeste easting utmeasting",
	Y:        "y ycoord ycoordinate coordy coordenaday pointy utmy norte utmnorte northing utmnorthing",
	LatLon:   "latlon latlong latlng latitudelongitude latitudlongitud position posicion coordinates coordinate coords coordenadas coordenada location ubicacion gps gpsposition gpscoordinates",
	LonLat:   "lonlat longlat lnglat longitudelatitude longitudlatitud",
	Geometry: "wkt geom geometry thegeom wktgeometry wktgeom geometria geojson",
	ID:       "id uuid",
	Name:     "name nombre label etiqueta title titulo",
	Note:     "note notes nota notas comment comments comentario comentarios observacion observaciones remark remarks description descripcion desc",
	Date:     "date fecha datetime dateandtime dateofvisit timestamp fechahora fechayhora when foundat foundon observedat observedon",
	Time:     "time hora timeofday",
	Block:    "block bloque blockname nombredelbloque",
	Row:      "row rownumber rowno hilera fila surco",
	Plant:    "plant plantnumber plantno planta",
	Cause:    "cause causa",
	Severity: "severity severidad",
	Accuracy: "accuracy accuracym gpsaccuracy gpsaccuracym exactitud exactitudm precision precisionm",
})

func synonymsOf(table map[Field]string) map[string]Field {
	out := map[string]Field{}
	for field, names := range table {
		for _, name := range strings.Fields(names) {
			out[name] = field
		}
	}
	return out
}

// metreWords are the units that a header may name beside a length in metres.
var metreWords = map[string]bool{"": true, "m": true, "metres": true, "meters": true, "metros": true}

// plain is a header in the form of synonyms, and what it has in brackets.
func plain(header string) (name, unit string) {
	var in strings.Builder
	var out strings.Builder
	depth := 0
	for _, r := range norm.NFD.String(strings.ToLower(header)) {
		switch {
		case r == '(' || r == '[' || r == '{':
			depth++
		case r == ')' || r == ']' || r == '}':
			depth = max(0, depth-1)
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
		case depth > 0:
			in.WriteRune(r)
		default:
			out.WriteRune(r)
		}
	}
	return out.String(), in.String()
}

// meaning is what a header says of its column: the field, and the hemisphere
// that its numbers lie in when it names one, as "Long W" and "lat (S)" do.
func meaning(header string) (f Field, hemisphere byte) {
	name, unit := plain(header)
	if f, known := synonyms[name]; known {
		if f == Accuracy && !metreWords[unit] {
			return Other, 0
		}
		if len(unit) == 1 && fits(f, unit[0]) {
			return f, upper(unit[0])
		}
		return f, 0
	}
	if n := len(name); n > 2 {
		if f := synonyms[name[:n-1]]; fits(f, name[n-1]) {
			return f, upper(name[n-1])
		}
	}
	return Other, 0
}

// fits reports whether a letter is a hemisphere of the field.
func fits(f Field, letter byte) bool {
	return f == Latitude && strings.IndexByte("ns", letter) >= 0 || f == Longitude && strings.IndexByte("ewo", letter) >= 0
}

func upper(c byte) byte { return c - 'a' + 'A' }

// columns is what the columns of a sheet hold.
type columns struct {
	header      []string
	fields      []Field
	hemispheres []byte
	of          map[Field]int // the column of a field, from 0
}

// placed reports whether there are positions.
func (c columns) placed() bool {
	return c.has(Geometry) || c.has(LatLon) || c.has(LonLat) || c.has(Latitude) && c.has(Longitude) || c.has(X) && c.has(Y)
}

func (c columns) addressed() bool { return c.has(Row) && c.has(Plant) }

func (c columns) has(f Field) bool {
	_, ok := c.of[f]
	return ok
}

// guess reads a header. What somebody said of a column goes before what its
// header says; of two columns for one field the first has it.
func guess(cells []string, said map[string]Field) columns {
	c := columns{of: map[Field]int{}, fields: make([]Field, len(cells)), hemispheres: make([]byte, len(cells))}
	for _, cell := range cells {
		c.header = append(c.header, strings.TrimSpace(cell))
	}
	for i, h := range c.header {
		if f, ok := said[h]; ok {
			c.take(i, f)
		}
	}
	for i, h := range c.header {
		if _, ok := said[h]; ok {
			continue
		}
		f, hemisphere := meaning(h)
		c.hemispheres[i] = hemisphere
		c.take(i, f)
	}
	return c
}

func (c *columns) take(i int, f Field) {
	if _, taken := c.of[f]; taken && f != Leave {
		f = Other
	}
	c.fields[i] = f
	if f != Other && f != Leave {
		c.of[f] = i
	}
}

// settle gives columns back their own headers where they only looked like
// places: half a pair, columns that a better pair makes needless, a column
// "location" that holds words. What somebody said stays.
func (c *columns) settle(rows [][]string, said map[string]Field) {
	both := c.has(Latitude) && c.has(Longitude)
	pair := c.has(LatLon) || c.has(LonLat)
	for i, f := range c.fields {
		if _, ok := said[c.header[i]]; ok {
			continue
		}
		needless := false
		switch f {
		case Latitude, Longitude:
			needless = !both
		case LatLon, LonLat:
			needless = c.has(Geometry) || both || !holdsPairs(rows, i)
		case X, Y:
			needless = c.has(Geometry) || both || pair || !(c.has(X) && c.has(Y))
		}
		if needless {
			c.fields[i], c.hemispheres[i] = Other, 0
		}
	}
	c.of = map[Field]int{}
	for i, f := range c.fields {
		if _, taken := c.of[f]; !taken && f != Other && f != Leave {
			c.of[f] = i
		}
	}
}

// holdsPairs reports whether any cell of a column does, or there is none to
// tell.
func holdsPairs(rows [][]string, column int) bool {
	empty := true
	for _, cells := range rows {
		if column >= len(cells) || blank(cells[column]) {
			continue
		}
		empty = false
		if _, _, err := pair(cells[column], false); err == nil || isShape(cells[column]) {
			return true
		}
	}
	return empty
}

func isShape(cell string) bool {
	_, _, err := wkt.Decode(cell, wire.Limits{})
	return err == nil
}

// lines before the header, such as a title, that are looked past.
const headerWithin = 10

// findHeader gives the index of the row that is a header which is understood.
func findHeader(rows [][]string, o Options) (int, bool) {
	for i, cells := range rows[:min(len(rows), headerWithin)] {
		if len(o.Fields) > 0 && !namesAny(cells, o.Fields) {
			continue
		}
		if c := guess(cells, o.Fields); c.placed() || c.addressed() {
			return i, true
		}
	}
	return 0, false
}

func namesAny(cells []string, said map[string]Field) bool {
	for _, cell := range cells {
		if _, ok := said[strings.TrimSpace(cell)]; ok {
			return true
		}
	}
	return false
}

// headerless reports whether a row holds figures, which no header does.
func headerless(cells []string) bool {
	for _, cell := range cells {
		if _, ok := number(cell, 0); ok {
			return true
		}
		if _, err := angle(cell); err == nil {
			return true
		}
	}
	return false
}

// numbered is the name of a column, from 0, without header.
func numbered(i int) string { return "column " + strconv.Itoa(i+1) }

// numberedHeader is that of a sheet without one.
func numberedHeader(width int) []string {
	out := make([]string, width)
	for i := range out {
		out[i] = numbered(i)
	}
	return out
}
