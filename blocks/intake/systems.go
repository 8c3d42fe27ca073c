package intake

import (
	"errors"
	"math"
	"regexp"
	"slices"
	"strconv"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/crs"
	"caneward/geo/measure"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

var (
	foreignCRS = words.New("intake-foreign-crs",
		"The positions are in the coordinate system {crs}, which is not read here: {problem}",
		"Las posiciones están en el sistema de coordenadas {crs}, que aquí no se lee: {problem}")
	exportWGS84 = words.New("intake-export-wgs84",
		"Export in WGS 84 longitude and latitude (EPSG:4326).",
		"Exporte en longitud y latitud WGS 84 (EPSG:4326).")
	nearWGS84 = words.New("intake-near-wgs84",
		"The coordinate system {crs} is taken as WGS 84; positions may be off by one to two metres.",
		"El sistema de coordenadas {crs} se toma como WGS 84; las posiciones pueden desviarse uno o dos metros.")
	converted = words.New("intake-converted",
		"The positions were in the coordinate system {crs}, in units of {unit}; they were converted to WGS 84 longitude and latitude.",
		"Las posiciones estaban en el sistema de coordenadas {crs}, en unidades de {unit}; se convirtieron a longitud y latitud WGS 84.")
	asAnswered = words.New("intake-as-answered",
		"The file names no coordinate system; it was read as {crs}, as answered.",
		"El archivo no indica ningún sistema de coordenadas; se leyó como {crs}, según la respuesta.")
	swappedAsAnswered = words.New("intake-swapped-as-answered",
		"Longitude and latitude were swapped in every position, as answered.",
		"Se intercambiaron longitud y latitud en todas las posiciones, según la respuesta.")
	outsideSystem = words.New("intake-outside-system",
		"The position {x}, {y} lies outside the coordinate system {crs}.",
		"La posición {x}, {y} está fuera del sistema de coordenadas {crs}.")
	whichSystem = words.New("intake-which-system",
		"The file does not say which coordinate system its positions are in (a shapefile says it in its .prj file); degrees may be WGS 84, metres and feet have many systems. Which is it?",
		"El archivo no dice en qué sistema de coordenadas están sus posiciones (un shapefile lo dice en su archivo .prj); los grados pueden ser WGS 84, los metros y pies tienen muchos sistemas. ¿Cuál es?")
	whichSystemFix = words.New("intake-which-system-fix",
		"Choose one and look where the ground lies on the map, or export again with its coordinate system.",
		"Elija uno y mire dónde queda el terreno en el mapa, o exporte de nuevo con su sistema de coordenadas.")
	systemChoice = words.New("intake-system-choice", "{name} ({code}, {unit})", "{name} ({code}, {unit})")
	swapThem     = words.New("intake-swap-them", "Swap longitude and latitude in every position.", "Intercambiar longitud y latitud en todas las posiciones.")
	askSwap      = words.New("intake-ask-swap",
		"Are longitude and latitude swapped throughout this file?",
		"¿Están intercambiadas la longitud y la latitud en todo este archivo?")
)

// whyNotSystem says why a coordinate system is not read.
var whyNotSystem = map[crs.Rule]words.Message{
	crs.RuleMalformed: words.New("intake-crs-malformed",
		"its text cannot be understood at byte {byte}.",
		"su texto no se entiende en el byte {byte}."),
	crs.RuleNested: words.New("intake-crs-nested",
		"its text is nested deeper than any such text is.",
		"su texto está anidado más que ningún texto de esta clase."),
	crs.RuleSize: words.New("intake-crs-size",
		"its text is longer than any such text is.",
		"su texto es más largo que ningún texto de esta clase."),
	crs.RuleDatum: words.New("intake-crs-datum",
		"its datum {name} lies tens of metres from WGS 84 or is not known here.",
		"su datum {name} está a decenas de metros de WGS 84 o no se conoce aquí."),
	crs.RuleProjection: words.New("intake-crs-projection",
		"its projection {name} is not one that is read: transverse Mercator, Lambert conformal conic, Albers equal area and Web Mercator are.",
		"su proyección {name} no es de las que se leen: Mercator transversa, cónica conforme de Lambert, equivalente de Albers y Web Mercator sí."),
	crs.RuleUnit: words.New("intake-crs-unit",
		"its unit {name} is not known.",
		"su unidad {name} no se conoce."),
	crs.RuleMeridian: words.New("intake-crs-meridian",
		"it counts longitudes from {name} instead of Greenwich.",
		"cuenta las longitudes desde {name} en lugar de Greenwich."),
	crs.RuleAxis: words.New("intake-crs-axis",
		"its axes are turned ({name}).",
		"sus ejes están girados ({name})."),
	crs.RuleUnknownCode: words.New("intake-crs-unknown-code",
		"that name is not in the list of systems.",
		"ese nombre no está en la lista de sistemas."),
}

// systemNotes says what was got over in a system that is read.
var systemNotes = map[crs.Rule]words.Message{
	crs.RuleVertical: words.New("intake-crs-vertical",
		"Of the coordinate system {crs} the part for heights ({name}) was left out; heights stay as they are.",
		"Del sistema de coordenadas {crs} se dejó fuera la parte de las alturas ({name}); las alturas quedan como están."),
	crs.RuleShift: words.New("intake-crs-shift",
		"The coordinate system {crs} brings its own shift to another datum ({name}); it was left out.",
		"El sistema de coordenadas {crs} trae su propio desplazamiento a otro datum ({name}); se dejó fuera."),
	crs.RuleContradict: words.New("intake-crs-contradict",
		"The text of the coordinate system {crs} contradicts itself ({name}); its numbers were followed. Look where the ground lies on the map.",
		"El texto del sistema de coordenadas {crs} se contradice ({name}); se siguieron sus números. Mire dónde queda el terreno en el mapa."),
}

// epsgCode finds the code in urn:ogc:def:crs:EPSG::4326,
// http://www.opengis.net/def/crs/EPSG/0/4326 and EPSG:4326.
var epsgCode = regexp.MustCompile(`(?i)EPSG[:/]+(?:[0-9.]*[:/]+)?([0-9]+)$`)

// shortSystem is how a coordinate system is called in a message.
func shortSystem(name string) string {
	if m := epsgCode.FindStringSubmatch(name); m != nil {
		return "EPSG:" + m[1]
	}
	const most = 60
	if r := []rune(name); len(r) > most {
		return string(r[:most]) + "…"
	}
	return name
}

// titled is a system's name with its code, where it has one.
func titled(s *crs.System) string {
	if s.Code() == 0 {
		return s.Name()
	}
	return "EPSG:" + strconv.Itoa(s.Code()) + " " + s.Name()
}

// parseSystem reads a name or a well-known text.
func parseSystem(text string) (*crs.System, error) {
	if slices.ContainsFunc([]byte(text), func(c byte) bool { return c == '[' || c == '(' }) {
		return crs.Parse(text)
	}
	return crs.ByName(text)
}

// placing brings the shapes of one coordinate system to WGS 84.
type placing struct {
	system  *crs.System // nil for WGS 84 longitude and latitude
	refused bool
}

// unplaced is what is known of shapes without a coordinate system.
type unplaced struct {
	box   orb.Bound
	first geo.Geometry // the first outline, else the first shape
	area  bool         // it is an outline
	count int
}

// place finds or makes the placing of a feature's system; false when the file
// is refused for it or waits for an answer.
func (g *gathering) place(f wire.Feature) (placing, bool) {
	name := f.CRS
	if name == wire.CRSMissing && g.o.System != "" {
		name = g.o.System
	}
	if name == "" {
		return placing{}, true
	}
	if name == wire.CRSMissing {
		return placing{}, false
	}
	if known, ok := g.systems[name]; ok {
		return known, !known.refused
	}
	one := g.judgeSystem(f, name)
	g.systems[name] = one
	return one, !one.refused
}

func (g *gathering) judgeSystem(f wire.Feature, name string) placing {
	place := at(f)
	s, err := parseSystem(name)
	if err != nil {
		place.Text, place.Fix = unreadSystem(name, err), exportWGS84.Plain()
		g.refuse(fault.Unsupported, place)
		return placing{refused: true}
	}
	place.Feature = nil // it is the file's, not the first feature's
	args := words.Args{"crs": titled(s), "unit": s.Unit()}
	if f.CRS == wire.CRSMissing {
		place.Text = asAnswered.With(args)
		g.note(place)
	}
	for _, n := range s.Notes() {
		place.Text = systemNotes[n.Rule].With(words.Args{"crs": titled(s), "name": n.Name})
		g.note(place)
	}
	if s.NearWGS84() {
		place.Text = nearWGS84.With(args)
		g.note(place)
	}
	if s.Geographic() {
		return placing{}
	}
	place.Text = converted.With(args)
	if g.Format == (geoJSON{}).Name() {
		// RFC 7946 section 4 knows no other system: such a file is mended.
		g.mended(place)
	} else {
		g.note(place)
	}
	return placing{system: s}
}

// unreadSystem says why a system is refused, by its name.
func unreadSystem(name string, err error) words.Text {
	var e *crs.Error
	if !errors.As(err, &e) {
		return foreignCRS.With(words.Args{"crs": shortSystem(name), "problem": notReadable.Plain()})
	}
	called := shortSystem(name)
	if e.System != "" {
		called = e.System
	}
	return foreignCRS.With(words.Args{"crs": called, "problem": whyNotSystem[e.Rule].With(words.Args{"name": e.Name, "byte": e.Byte})})
}

// ground brings a feature's positions to WGS 84 longitude and latitude within
// their range. A longitude on the next copy of the map comes back with a
// departure. The shape is the feature's own and is changed in place.
func (g *gathering) ground(f *wire.Feature, p placing) *wire.Error {
	var failed *wire.Error
	number, turned := 0, 0
	var example orb.Point
	each(&f.Geometry.Flat, func(v *orb.Point) bool {
		number++
		if g.o.Swap {
			v[0], v[1] = v[1], v[0]
		}
		if p.system != nil {
			at, err := p.system.Position(v[0], v[1])
			if err != nil {
				failed = &wire.Error{Rule: ruleOutside, Got: titled(p.system), Err: err, Vertex: number, At: &[2]float64{v[0], v[1]}}
				return false
			}
			*v = at
		}
		// Not-a-number compares false with everything.
		switch lon, lat := math.Abs(v[0]), math.Abs(v[1]); {
		case !(lat <= 90):
			failed = &wire.Error{Rule: wire.RuleLatitude, Vertex: number, At: &[2]float64{v[0], v[1]}}
		case lon > 180 && lon <= 540:
			turned++
			example = *v
			v[0] -= math.Copysign(360, v[0])
		case !(lon <= 180):
			failed = &wire.Error{Rule: wire.RuleLongitude, Vertex: number, At: &[2]float64{v[0], v[1]}}
		}
		return failed == nil
	})
	if failed != nil {
		failed.Feature, failed.Line, failed.Byte, failed.Entry = f.Number, f.Line, f.Byte, f.Layer
		return failed
	}
	if turned > 0 {
		f.Departures = append(f.Departures, &wire.Error{Rule: wire.RuleLongitude, Feature: f.Number, Count: turned, At: (*[2]float64)(&example)})
	}
	return nil
}

// ruleOutside is a position that its own coordinate system does not reach.
const ruleOutside wire.Rule = "intake-outside-system"

// each visits every vertex in order until told to stop; what the visit changes
// stays changed.
func each(shape *orb.Geometry, visit func(*orb.Point) bool) bool {
	points := func(line []orb.Point) bool {
		for i := range line {
			if !visit(&line[i]) {
				return false
			}
		}
		return true
	}
	rings := func(p orb.Polygon) bool {
		for _, r := range p {
			if !points(r) {
				return false
			}
		}
		return true
	}
	switch s := (*shape).(type) {
	case orb.Point:
		more := visit(&s)
		*shape = s
		return more
	case orb.MultiPoint:
		return points(s)
	case orb.LineString:
		return points(s)
	case orb.MultiLineString:
		for _, l := range s {
			if !points(l) {
				return false
			}
		}
	case orb.Polygon:
		return rings(s)
	case orb.MultiPolygon:
		for _, p := range s {
			if !rings(p) {
				return false
			}
		}
	case orb.Collection:
		for i := range s {
			if !each(&s[i], visit) {
				return false
			}
		}
	}
	return true
}

// wait remembers a shape whose system is not known, for the question.
func (g *gathering) wait(f wire.Feature) {
	w := &g.waiting
	box := f.Geometry.Flat.Bound()
	if w.count == 0 {
		w.box = box
	} else {
		w.box = w.box.Union(box)
	}
	w.count++
	_, one := f.Geometry.Flat.(orb.Polygon)
	_, many := f.Geometry.Flat.(orb.MultiPolygon)
	if outline := one || many; w.first.Empty() || outline && !w.area {
		w.first, w.area = f.Geometry, outline
	}
}

// askSystem asks for the coordinate system, showing where each likely one
// would put the ground.
func (g *gathering) askSystem() {
	if g.waiting.count == 0 {
		return
	}
	q := Question{Topic: TopicSystem, Detail: fault.Detail{Text: whichSystem.Plain(), Fix: whichSystemFix.Plain()}}
	for _, s := range crs.Likely(g.waiting.box, g.o.Near) {
		if c, ok := g.systemChoice(s); ok {
			q.Choices = append(q.Choices, c)
		}
	}
	g.ask(q)
}

func (g *gathering) systemChoice(s *crs.System) (Choice, bool) {
	c := Choice{Value: "EPSG:" + strconv.Itoa(s.Code()),
		Text: systemChoice.With(words.Args{"name": s.Name(), "code": "EPSG:" + strconv.Itoa(s.Code()), "unit": s.Unit()})}
	middle := g.waiting.box.Center()
	centre, err := s.Position(middle[0], middle[1])
	if err != nil {
		return c, false
	}
	c.Centre = &centre
	if wire.Vertices(g.waiting.first.Flat) > mostPreviewed {
		return c, true
	}
	shape := orb.Clone(g.waiting.first.Flat)
	if !each(&shape, func(v *orb.Point) bool {
		at, err := s.Position(v[0], v[1])
		*v = at
		return err == nil
	}) {
		return c, false
	}
	c.Shape = geo.Geometry{Flat: shape}
	if g.waiting.area {
		c.Area = measure.Area(polygonsOf(shape))
	}
	return c, true
}

// mostPreviewed bounds the corners of the shape that is drawn once for each
// likely system.
const mostPreviewed = 2000

func polygonsOf(shape orb.Geometry) orb.MultiPolygon {
	switch s := shape.(type) {
	case orb.Polygon:
		return orb.MultiPolygon{s}
	case orb.MultiPolygon:
		return s
	}
	return nil
}
