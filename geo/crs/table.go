package crs

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"caneward/geo"

	"github.com/paulmach/orb"
)

// The tables are made by testdata/make_tables.py; README.md says from what.
var (
	//go:embed systems.csv
	systemsCSV string
	//go:embed datums.csv
	datumsCSV string
	//go:embed refused.csv
	refusedCSV string
)

// datum is a datum that is WGS 84 or taken as it.
type datum struct {
	code      int
	name      string
	family    string
	off       geo.Metres
	figure    figure
	inverse   float64 // flattening
	esri, gcs string  // names in the ESRI dialect
}

// register is the tables, read once.
type register struct {
	systems []*System // by code, ascending
	codes   map[int]*System
	names   map[string]*System
	datums  map[string]*datum // by key of every spelling
	refused map[int]Error

	once  sync.Once
	apart []*System // see distinct
}

// tables reads what is embedded. A mistake in it is ours, and every test of the
// package would stop at it.
var tables = sync.OnceValue(func() *register {
	r := &register{codes: map[int]*System{}, names: map[string]*System{}, datums: map[string]*datum{}, refused: map[int]Error{}}
	byCode := map[int]*datum{}
	for _, f := range rows(datumsCSV) {
		d := &datum{code: integer(f[0]), name: f[1], family: f[2], off: geo.Metres(float(f[3])),
			figure: newFigure(float(f[4]), float(f[5])), inverse: float(f[5]), esri: f[6], gcs: f[7]}
		byCode[d.code] = d
		for _, k := range strings.Fields(f[8]) {
			r.datums[k] = d
		}
	}
	for _, f := range rows(systemsCSV) {
		s := tabled(f, byCode)
		r.systems = append(r.systems, s)
		r.codes[s.code] = s
		if k := key(s.name); r.names[k] == nil {
			r.names[k] = s
		}
	}
	for _, f := range rows(refusedCSV) {
		r.refused[integer(f[0])] = Error{Rule: Rule(f[2]), System: f[1], Name: f[3], Byte: -1}
	}
	return r
})

// methods are the table's words for them. "geo3" is a geographic system with
// heights, "lcc1" the conic with one parallel, its origin's.
var methods = map[string]method{
	"geo": degrees, "geo3": degrees, "tm": transverseMercator, "lcc": lambertConic,
	"lcc1": lambertConic, "albers": albersConic, "webmerc": pseudoMercator,
}

var units = map[string]unit{"m": metre, "ft": foot, "ftUS": surveyFoot}

// tabled is one row of systems.csv.
func tabled(f []string, datums map[int]*datum) *System {
	m, known := methods[f[2]]
	s := &System{name: f[1], code: integer(f[0]), method: m, datum: datums[integer(f[11])], heights: f[2] == "geo3"}
	if !known || s.datum == nil {
		panic("crs: systems.csv: " + f[0])
	}
	s.figure, s.inverse = s.datum.figure, s.datum.inverse
	s.use = orb.Bound{Min: orb.Point{float(f[12]), float(f[13])}, Max: orb.Point{float(f[14]), float(f[15])}}
	if m == degrees {
		return s
	}
	s.unit = units[f[10]]
	s.p = parameters{lat0: angle(f[3]), lon0: angle(f[4]), sp1: angle(f[5]), sp2: angle(f[6]), scale: 1, east: float(f[8]), north: float(f[9])}
	if f[7] != "" {
		s.p.scale = float(f[7])
	}
	if f[2] == "lcc1" {
		s.p.sp1, s.p.sp2 = s.p.lat0, s.p.lat0
	}
	if wrong := s.planned(); wrong != "" || s.unit.metres == 0 {
		panic("crs: systems.csv: " + f[0] + " " + wrong)
	}
	return s
}

func rows(text string) [][]string {
	all, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		panic(fmt.Sprintf("crs: embedded table: %v", err))
	}
	return all[1:]
}

func integer(s string) int {
	v, err := strconv.Atoi(s)
	if err != nil {
		panic("crs: embedded table: " + err.Error())
	}
	return v
}

// float is 0 for an empty field.
func float(s string) float64 {
	if s == "" {
		return 0
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("crs: embedded table: " + err.Error())
	}
	return v
}

// angle is degrees, or degrees:minutes:seconds.
func angle(s string) float64 {
	body, negative := strings.CutPrefix(s, "-")
	v, per := 0.0, 1.0
	for _, part := range strings.Split(body, ":") {
		v, per = v*60+float(part), per*60
	}
	v /= per / 60
	if negative {
		return -v
	}
	return v
}

// Two systems are one when no coordinate differs by more than a millimetre:
// texts carry 10 to 15 digits.
const (
	sameAngle  = 1e-8 // degrees
	sameLength = 1e-3 // metres
	sameScale  = 1e-10
)

// same says whether two systems place everything alike to about a millimetre,
// their datums apart.
func (s *System) same(o *System) bool {
	p, q := s.p, o.p
	// Turning a conic's parallels round changes nothing.
	turned := math.Abs(p.sp1-q.sp2) < sameAngle && math.Abs(p.sp2-q.sp1) < sameAngle
	return s.method == o.method &&
		math.Abs(p.lat0-q.lat0) < sameAngle && math.Abs(p.lon0-q.lon0) < sameAngle &&
		(turned || math.Abs(p.sp1-q.sp1) < sameAngle && math.Abs(p.sp2-q.sp2) < sameAngle) &&
		math.Abs(p.scale-q.scale) < sameScale &&
		math.Abs(p.east-q.east)*s.unit.metres < sameLength && math.Abs(p.north-q.north)*s.unit.metres < sameLength &&
		math.Abs(s.unit.metres-o.unit.metres) <= sameUnit*o.unit.metres
}

// twin is the system of the table that this one is: same datum and parameters,
// the same name rather than another, the lowest code first.
func (r *register) twin(s *System) *System {
	var found *System
	name := key(s.name)
	for _, t := range r.systems {
		// The three-dimensional twin is not what a file of x and y means.
		if t.heights || t.datum != s.datum || !t.same(s) {
			continue
		}
		if key(t.name) == name {
			return t
		}
		if found == nil {
			found = t
		}
	}
	return found
}

// extent is a box's size in square degrees.
func extent(b orb.Bound) float64 {
	width := b.Max[0] - b.Min[0]
	if width < 0 {
		width += 360
	}
	return width * (b.Max[1] - b.Min[1])
}
