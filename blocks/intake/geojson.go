package intake

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"time"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// mostErrors bounds what a broken file is told: who mends a hundred places
// exports again.
const mostErrors = 100

var (
	foreignCRS = words.New("intake-foreign-crs",
		"The positions are in the coordinate system {crs}; WGS 84 longitude and latitude is needed.",
		"Las posiciones están en el sistema de coordenadas {crs}; hace falta longitud y latitud WGS 84.")
	exportWGS84 = words.New("intake-export-wgs84",
		"Export in WGS 84 (EPSG:4326), which is what GeoJSON asks for.",
		"Exporte en WGS 84 (EPSG:4326), que es lo que pide GeoJSON.")
	nearWGS84 = words.New("intake-near-wgs84",
		"The coordinate system {crs} is taken as WGS 84; positions may be off by one to two metres.",
		"El sistema de coordenadas {crs} se toma como WGS 84; las posiciones pueden desviarse uno o dos metros.")
	skippedNoPlace = words.New("intake-skipped-no-place",
		"Feature {which} has no geometry and was left out.",
		"El elemento {which} no tiene geometría y se dejó fuera.")
	skippedEmpty = words.New("intake-skipped-empty",
		"Feature {which} has an empty geometry and was left out.",
		"El elemento {which} tiene una geometría vacía y se dejó fuera.")
	partEmpty = words.New("intake-part-empty",
		"Feature {which}: an empty part of its geometry was left out.",
		"Elemento {which}: se dejó fuera una parte vacía de su geometría.")
	closedRing = words.New("intake-closed-ring",
		"Feature {which}: a ring was not closed; it was closed with a straight side from its last corner to its first.",
		"Elemento {which}: un anillo no estaba cerrado; se cerró con un lado recto de su último vértice al primero.")
	turnedLongitude = words.New("intake-turned-longitude",
		"Feature {which}: {count} longitude(s) beyond 180 degrees, such as {lon}, lay on the next copy of the map and were brought back by 360.",
		"Elemento {which}: {count} longitud(es) de más de 180 grados, como {lon}, estaban en la copia siguiente del mapa y se corrigieron en 360.")
	nameless = words.New("intake-nameless",
		"Feature {which} has no name; give the block one.",
		"El elemento {which} no tiene nombre; póngale uno al bloque.")
	fromCollection = words.New("intake-from-collection",
		"Feature {which} is a geometry collection; each of its areas was taken as a block.",
		"El elemento {which} es una colección de geometrías; cada una de sus áreas se tomó como un bloque.")
	sameID = words.New("intake-same-id",
		"Feature {which} has the same id as an earlier one.",
		"El elemento {which} tiene el mismo id que uno anterior.")
	badProperty = words.New("intake-bad-property",
		"Feature {which}, property {field}: {problem}",
		"Elemento {which}, propiedad {field}: {problem}")
	noBlocksRest = words.New("intake-rest",
		"Besides blocks the file holds {points} point(s) and {lines} line(s); they are not taken as blocks.",
		"Además de bloques el archivo contiene {points} punto(s) y {lines} línea(s); no se toman como bloques.")
	nothingHere = words.New("intake-nothing-here",
		"The file can be read but there is nothing to import: it holds no features with a place.",
		"El archivo se puede leer pero no hay nada que importar: no contiene elementos con lugar.")
	moreErrors = words.New("intake-more-errors",
		"There are more errors; the first {limit} are shown.",
		"Hay más errores; se muestran los primeros {limit}.")
	numbered = words.New("intake-numbered", "{number}", "{number}")
	named    = words.New("intake-named", "{number} (“{name}”)", "{number} («{name}»)")
)

// geoJSON reads RFC 7946 in all the ways it is found: a collection, a feature,
// a geometry, one a line, RFC 8142 sequences; and the crs member of 2008 where
// it says WGS 84.
type geoJSON struct{}

func (geoJSON) Name() string { return "GeoJSON" }

func (geoJSON) Detects(data []byte, name string) bool {
	name = strings.ToLower(name)
	for _, c := range []byte{'{', '[', 0x1E} {
		if startsWith(data, c) {
			return true
		}
	}
	for _, ending := range []string{".geojson", ".json", ".geojsonl", ".ndjson", ".geojsonseq"} {
		if strings.HasSuffix(name, ending) {
			return true
		}
	}
	return false
}

func (geoJSON) Read(ctx context.Context, data []byte, o Options, p *Proposal) error {
	r, err := wire.NewFeatureReader(bytes.NewReader(data), wire.Options{Limits: o.Limits, Lenient: true})
	if e, ok := wire.As(err); ok {
		p.refuseWire(e)
		return nil
	}
	if err != nil {
		return err
	}
	if !p.system(r.CRS(), fault.Detail{}) {
		return nil
	}
	return p.gather(ctx, r, o)
}

// gather takes in what a source gives.
func (p *Proposal) gather(ctx context.Context, src wire.Source, o Options) error {
	g := gathering{Proposal: p, ids: map[string]bool{}}
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		f, err := src.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		g.feature(f, err)
		if len(p.Errors) >= mostErrors {
			p.refuse(fault.Invalid, fault.Detail{Text: moreErrors.With(words.Args{"limit": mostErrors})})
			return nil
		}
	}
	return g.finish(ctx)
}

// system judges a coordinate system by name; false refuses the file. No name
// is WGS 84 (RFC 7946 section 4).
func (p *Proposal) system(crs string, at fault.Detail) bool {
	switch kindOfSystem(crs) {
	case systemWGS84:
		return true
	case systemNear:
		at.Text = nearWGS84.With(words.Args{"crs": shortSystem(crs)})
		p.note(at)
		return true
	}
	at.Text, at.Fix = foreignCRS.With(words.Args{"crs": shortSystem(crs)}), exportWGS84.Plain()
	p.refuse(fault.Unsupported, at)
	return false
}

type system int

const (
	systemForeign system = iota
	systemWGS84
	systemNear // within two metres of it
)

var (
	epsgCode = regexp.MustCompile(`(?i)EPSG[:/]+(?:[0-9.]*[:/]+)?([0-9]+)$`)
	crs84    = regexp.MustCompile(`(?i)(^|[:/])CRS84h?$`)
)

// kindOfSystem reads names in the forms urn:ogc:def:crs:EPSG::4326,
// http://www.opengis.net/def/crs/OGC/1.3/CRS84 and EPSG:4326. Files say 4326
// and write longitude first, as the 2008 specification had it.
func kindOfSystem(crs string) system {
	if crs == "" || crs84.MatchString(crs) {
		return systemWGS84
	}
	if m := epsgCode.FindStringSubmatch(crs); m != nil {
		switch m[1] {
		case "4326", "4979":
			return systemWGS84
		case "4269": // NAD 83
			return systemNear
		}
	}
	return systemForeign
}

func shortSystem(crs string) string {
	if m := epsgCode.FindStringSubmatch(crs); m != nil {
		return "EPSG:" + m[1]
	}
	return crs
}

// gathering is a proposal while its file is read.
type gathering struct {
	*Proposal
	ids map[string]bool
}

// which names a feature in a message: "2 (“A0”)".
func which(f wire.Feature) words.Text {
	if name := nameOf(f.Properties); name != "" {
		return named.With(words.Args{"number": f.Number, "name": name})
	}
	return numbered.With(words.Args{"number": f.Number})
}

func at(f wire.Feature) fault.Detail {
	return fault.Detail{Feature: fault.P(f.Number), Line: fault.P(f.Line)}
}

func about(f wire.Feature, m words.Message) fault.Detail {
	d := at(f)
	d.Text = m.With(words.Args{"which": which(f)})
	return d
}

func (g *gathering) feature(f wire.Feature, err error) {
	if !g.system(f.CRS, at(f)) {
		return
	}
	if e, ok := wire.As(err); ok {
		g.refuseWire(e)
		return
	}
	g.departures(f)
	g.id(f)
	if f.Geometry.Empty() {
		if len(f.Departures) == 0 {
			g.note(about(f, skippedNoPlace))
		}
		return
	}
	g.shapes(f)
}

func (g *gathering) departures(f wire.Feature) {
	for _, e := range f.Departures {
		d := placeOf(e)
		args := words.Args{"which": which(f), "count": e.Count}
		if e.At != nil {
			args["lon"] = e.At[0]
		}
		switch e.Rule {
		case wire.RuleUnclosed:
			d.Text = closedRing.With(args)
			g.mended(d)
		case wire.RuleLongitude:
			d.Text = turnedLongitude.With(args)
			g.mended(d)
		case wire.RuleEmpty:
			d.Text = partEmpty.With(args)
			if f.Geometry.Empty() {
				d.Text = skippedEmpty.With(args)
			}
			g.note(d)
		}
	}
}

func (g *gathering) id(f wire.Feature) {
	if f.IDKind == wire.NoID {
		return
	}
	key := strconv.Itoa(int(f.IDKind)) + f.ID
	if g.ids[key] {
		g.note(about(f, sameID))
	}
	g.ids[key] = true
}

func (g *gathering) shapes(f wire.Feature) {
	if _, many := f.Geometry.Flat.(orb.Collection); many {
		g.note(about(f, fromCollection))
	}
	eachShape(f.Geometry, func(one geo.Geometry) {
		switch one.Flat.(type) {
		case orb.Polygon, orb.MultiPolygon:
			g.block(f, one)
		case orb.LineString, orb.MultiLineString:
			if one.Measures != nil {
				g.Tracks = append(g.Tracks, trackOf(f, one))
				return
			}
			g.rest(f, one)
		default:
			g.rest(f, one)
		}
	})
}

// eachShape visits what is no collection, with its own heights and measures.
func eachShape(g geo.Geometry, visit func(geo.Geometry)) {
	all, many := g.Flat.(orb.Collection)
	if !many {
		visit(g)
		return
	}
	from := 0
	for _, one := range all {
		to := from + wire.Vertices(one)
		part := geo.Geometry{Flat: one}
		if g.Heights != nil {
			part.Heights = g.Heights[from:to]
		}
		if g.Measures != nil {
			part.Measures = g.Measures[from:to]
		}
		eachShape(part, visit)
		from = to
	}
}

func (g *gathering) rest(f wire.Feature, one geo.Geometry) {
	g.Rest = append(g.Rest, Shape{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Geometry: one, Properties: f.Properties, Feature: f.Number})
}

func (g *gathering) block(f wire.Feature, one geo.Geometry) {
	checked, notices, refusal := check(one)
	for _, n := range notices {
		n.Feature, n.Line = fault.P(f.Number), fault.P(f.Line)
		g.Notices = append(g.Notices, n)
	}
	if refusal != nil {
		for _, d := range refusal.Details {
			d.Feature, d.Line = fault.P(f.Number), fault.P(f.Line)
			g.refuse(refusal.Kind, d)
		}
		return
	}
	b := ProposedBlock{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Geometry: checked, Properties: f.Properties, Feature: f.Number}
	if b.Name == "" {
		g.note(about(f, nameless))
	}
	_, details := blocks.Parse(checked, f.Properties)
	for _, d := range details {
		if d.Field == "name" || d.Field == "geometry" {
			continue
		}
		n := at(f)
		n.Field = d.Field
		n.Text = badProperty.With(words.Args{"which": which(f), "field": d.Field, "problem": d.Text})
		g.note(n)
	}
	g.Blocks = append(g.Blocks, measured(b))
}

func trackOf(f wire.Feature, one geo.Geometry) Track {
	lines, _ := one.Flat.(orb.MultiLineString)
	if line, single := one.Flat.(orb.LineString); single {
		lines = orb.MultiLineString{line}
	}
	t := Track{Name: nameOf(f.Properties), Geometry: one, Properties: f.Properties, Feature: f.Number, Points: wire.Vertices(one.Flat), Segments: len(lines)}
	for _, l := range lines {
		t.Length += measure.Length(l)
	}
	for _, m := range one.Measures {
		when, ok := moment(m)
		if !ok {
			continue
		}
		if t.Start.IsZero() || when.Before(t.Start) {
			t.Start = when
		}
		if when.After(t.End) {
			t.End = when
		}
	}
	return t
}

// moment is a measure as a time; false where there is none, or none in the
// years that RFC 3339 can write.
func moment(m float64) (time.Time, bool) {
	const latest = 253402300799 // 9999-12-31T23:59:59Z
	if !(m > 0 && m <= latest) {
		return time.Time{}, false
	}
	return time.UnixMicro(int64(m * 1e6)).UTC(), true
}

// nameOf is the property "name", in whatever letters; numbers are names too.
func nameOf(properties json.RawMessage) string {
	var members map[string]json.RawMessage
	if json.Unmarshal(properties, &members) != nil {
		return ""
	}
	keys := make([]string, 0, len(members))
	for key := range members {
		if strings.EqualFold(key, "name") {
			keys = append(keys, key)
		}
	}
	// Lower-case letters sort last: "name" goes before "Name" and "NAME".
	sort.Sort(sort.Reverse(sort.StringSlice(keys)))
	for _, key := range keys {
		var text string
		var number json.Number
		if json.Unmarshal(members[key], &text) == nil && strings.TrimSpace(text) != "" {
			return strings.TrimSpace(text)
		}
		if json.Unmarshal(members[key], &number) == nil && number != "" {
			return number.String()
		}
	}
	return ""
}

// finish says what concerns the file as a whole.
func (g *gathering) finish(ctx context.Context) error {
	if len(g.Errors) > 0 {
		return nil
	}
	var rest OtherJSON
	for _, s := range g.Rest {
		countShape(&rest, s.Geometry.Flat)
	}
	if rest != (OtherJSON{}) {
		g.note(fault.Detail{Text: noBlocksRest.With(words.Args{"points": rest.Points, "lines": rest.Lines})})
	}
	if len(g.Blocks)+len(g.Tracks)+len(g.Rest) == 0 {
		g.note(fault.Detail{Text: nothingHere.Plain()})
	}
	return g.overlaps(ctx)
}
