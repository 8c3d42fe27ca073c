package intake

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// mostErrors bounds what a broken file is told: who mends a hundred places
// exports again.
const mostErrors = 100

var (
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

// fileRules end a file wherever they are met: what comes after cannot be known.
var fileRules = map[wire.Rule]bool{
	wire.RuleSyntax: true, wire.RuleEncoding: true, wire.RuleTruncated: true, wire.RuleTrailing: true, wire.RuleNothing: true,
	wire.RuleDepth: true, wire.RuleBytes: true, wire.RuleFeatures: true, wire.RuleVertices: true,
}

// gathering is a proposal while its file is read.
type gathering struct {
	*Proposal
	ctx     context.Context
	o       Options
	ids     map[string]bool
	systems map[string]placing
	waiting unplaced
	read    int // features so far
	from    int // where the running feature's notices begin

	zeros     int // pins without a place
	firstZero wire.Feature
}

// progressEvery is how many features pass between two words of progress.
const progressEvery = 250

// ahead is how many features are read before their outlines are checked side by
// side, each processor taking the next.
const ahead = 256

// arriving is a feature on its way through the gathering.
type arriving struct {
	wire.Feature
	failed  *wire.Error // it could not be read, or brought to WGS 84
	placed  bool        // its positions are WGS 84
	outline *examined   // of one area; nil for anything else
}

// examined is what can be found out about an outline without the rest of its
// file.
type examined struct {
	ProposedBlock
	refusal    *fault.Error
	properties []fault.Detail // at fault
}

// gather takes in what a source gives. Its error is the context's or our own;
// what is wrong with the file goes into the proposal.
func (p *Proposal) gather(ctx context.Context, src wire.Source, o Options) error {
	g := gathering{Proposal: p, ctx: ctx, o: o, ids: map[string]bool{}, systems: map[string]placing{}}
	for more := true; more; {
		batch := make([]arriving, 0, ahead)
		for len(batch) < ahead {
			if err := ctx.Err(); err != nil {
				return err
			}
			f, err := src.Next()
			if errors.Is(err, io.EOF) {
				more = false
				break
			}
			e, broken := wire.As(err)
			if broken && (f.Number == 0 || fileRules[e.Rule]) {
				p.refuseWire(e)
				return nil
			}
			if err != nil && !broken {
				return err
			}
			batch = append(batch, arriving{Feature: f, failed: e})
		}
		if err := g.take(batch); err != nil {
			return err
		}
		if p.faults >= mostErrors {
			p.refuse(fault.Invalid, fault.Detail{Text: moreErrors.With(words.Args{"limit": mostErrors})})
			return nil
		}
	}
	for _, e := range src.Notes() {
		p.depart(e)
	}
	return g.finish()
}

// take brings a batch to its place on Earth, has its outlines examined, and
// takes it in, in the order of the file.
func (g *gathering) take(batch []arriving) error {
	for i := range batch {
		g.bring(&batch[i])
	}
	if err := g.examine(batch); err != nil {
		return err
	}
	for _, f := range batch {
		if f.failed != nil {
			g.broken(f.Feature, f.failed)
		} else if f.placed && !f.Geometry.Empty() {
			g.located++
			if err := g.feature(f); err != nil {
				return err
			}
		} else if err := g.feature(f); err != nil {
			return err
		}
		if g.faults >= mostErrors {
			return nil
		}
		g.read++
		if g.o.Progress != nil && g.read%progressEvery == 0 {
			g.o.Progress(g.read, f.Byte)
		}
	}
	return nil
}

func (g *gathering) bring(f *arriving) {
	if f.failed != nil {
		return
	}
	if !f.Geometry.Empty() && wire.Vertices(f.Geometry.Flat) == 0 {
		// POLYGON EMPTY is a shape without a place: nothing to ask a system for.
		f.Geometry = geo.Geometry{}
		f.Departures = append(f.Departures, &wire.Error{Rule: wire.RuleEmpty, Feature: f.Number, Line: f.Line, Byte: f.Byte})
	}
	var p placing
	if p, f.placed = g.place(f.Feature); f.placed && !f.Geometry.Empty() {
		f.failed = g.ground(&f.Feature, p)
	}
}

// examine works on all processors; what it finds does not depend on how many.
func (g *gathering) examine(batch []arriving) error {
	var next atomic.Int64
	var workers sync.WaitGroup
	count := g.o.Workers
	if count <= 0 {
		count = runtime.GOMAXPROCS(0)
	}
	for range min(count, len(batch)) {
		workers.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(batch) || g.ctx.Err() != nil {
					return
				}
				f := &batch[i]
				if f.failed != nil || !f.placed {
					continue
				}
				switch f.Geometry.Flat.(type) {
				case orb.Polygon, orb.MultiPolygon:
					one := examineOutline(f.Feature, f.Geometry)
					f.outline = &one
				}
			}
		})
	}
	workers.Wait()
	return g.ctx.Err()
}

// examineOutline checks and measures one area of a feature.
func examineOutline(f wire.Feature, one geo.Geometry) examined {
	checked, notices, refusal := check(one)
	for i := range notices {
		notices[i].Feature, notices[i].Line, notices[i].Entry = fault.P(f.Number), lineOf(f), f.Layer
	}
	b := ProposedBlock{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Geometry: checked, Properties: f.Properties, Feature: f.Number, Layer: f.Layer, Said: notices}
	if refusal != nil {
		return examined{ProposedBlock: b, refusal: refusal}
	}
	_, details := blocks.Parse(checked, f.Properties)
	return examined{ProposedBlock: measured(b), properties: details}
}

// depart says a wire error that was got over, in the file as a whole or in one
// feature.
func (p *Proposal) depart(e *wire.Error) {
	if slices.Contains(mends, e.Rule) {
		p.mended(detailOf(e))
		return
	}
	p.note(detailOf(e))
}

// which names a feature in a message: "2 (“A0”)".
func which(f wire.Feature) words.Text {
	if name := nameOf(f.Properties); name != "" {
		return named.With(words.Args{"number": f.Number, "name": name})
	}
	return numbered.With(words.Args{"number": f.Number})
}

func at(f wire.Feature) fault.Detail {
	return fault.Detail{Entry: f.Layer, Feature: fault.P(f.Number), Line: lineOf(f)}
}

// lineOf is nil for formats without lines.
func lineOf(f wire.Feature) *int {
	if f.Line == 0 {
		return nil
	}
	return fault.P(f.Line)
}

func about(f wire.Feature, m words.Message) fault.Detail {
	d := at(f)
	d.Text = m.With(words.Args{"which": which(f)})
	return d
}

func (g *gathering) feature(a arriving) error {
	f := a.Feature
	g.from = len(g.Notices)
	g.departures(f)
	g.id(f)
	if f.Geometry.Empty() {
		g.placeless(f)
		return nil
	}
	if !a.placed {
		if len(g.Errors) == 0 {
			g.wait(f)
		}
		return nil
	}
	if a.outline != nil {
		return g.block(f, f.Geometry, *a.outline)
	}
	return g.shapes(f)
}

// placeless keeps what has no shape: rows of a spreadsheet that say row and
// plant instead, labels. Of other things there is nothing to draw.
func (g *gathering) placeless(f wire.Feature) {
	if len(f.Properties) > 0 {
		g.Placeless = append(g.Placeless, Shape{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Properties: f.Properties, Feature: f.Number, Layer: f.Layer})
	}
	if len(f.Departures) == 0 {
		g.note(about(f, skippedNoPlace))
	}
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
		default:
			g.depart(e)
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

func (g *gathering) shapes(f wire.Feature) error {
	if _, many := f.Geometry.Flat.(orb.Collection); many {
		g.note(about(f, fromCollection))
	}
	var failed error
	eachShape(f.Geometry, func(one geo.Geometry) {
		if failed != nil {
			return
		}
		switch flat := one.Flat.(type) {
		case orb.Polygon, orb.MultiPolygon:
			failed = g.block(f, one, examineOutline(f, one))
		case orb.LineString, orb.MultiLineString:
			if f.Recorded || one.Measures != nil {
				failed = g.track(f, one)
				return
			}
			g.rest(f, one)
		case orb.Point:
			if g.pins && noFixAt(flat) {
				g.zeroPin(f)
				return
			}
			if g.pins {
				g.pin(f, geo.Position(flat))
				return
			}
			g.rest(f, one)
		default:
			g.rest(f, one)
		}
	})
	return failed
}

// pin is a point somebody set: a receiver's waypoint, a row of a spreadsheet.
func (g *gathering) pin(f wire.Feature, at geo.Position) {
	q := Point{Name: nameOf(f.Properties), At: at, ID: f.ID, IDKind: f.IDKind, Properties: f.Properties, Feature: f.Number, Layer: f.Layer}
	var said struct {
		Time any `json:"time"`
		Note any `json:"note"`
	}
	if json.Unmarshal(f.Properties, &said) == nil {
		if text, ok := said.Note.(string); ok {
			q.Note = text
		}
		if text, ok := said.Time.(string); ok {
			// What is no full time, a date alone, has no moment.
			if when, err := time.Parse(time.RFC3339Nano, text); err == nil {
				q.Time = when.UTC()
				if g.Format == (gpxFile{}).Name() && g.doubtful(q.Time) {
					g.doubtTime(f, 1, q.Time)
				}
			}
		}
	}
	g.Points = append(g.Points, q)
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
	g.Rest = append(g.Rest, Shape{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Geometry: one, Properties: f.Properties, Feature: f.Number, Layer: f.Layer})
}

func (g *gathering) block(f wire.Feature, one geo.Geometry, e examined) error {
	b := e.ProposedBlock
	g.Notices, b.Said = append(g.Notices, b.Said...), append(slices.Clone(g.Notices[g.from:]), b.Said...)
	if e.refusal != nil {
		mended, err := g.mend(f, one, e.refusal)
		if err != nil || mended == nil {
			return err
		}
		b.Geometry, b.AsRead, b.Before, b.Said = mended.geometry, one, mended.before, append(b.Said, mended.said...)
		g.Notices = append(g.Notices, mended.said...)
		_, e.properties = blocks.Parse(b.Geometry, f.Properties)
		b = measured(b)
	}
	if b.Name == "" {
		g.note(about(f, nameless))
	}
	for _, d := range e.properties {
		if d.Field == "name" || d.Field == "geometry" {
			continue
		}
		n := at(f)
		n.Field = d.Field
		n.Text = badProperty.With(words.Args{"which": which(f), "field": d.Field, "problem": d.Text})
		g.note(n)
	}
	g.doubtBlock(f, b)
	g.Blocks = append(g.Blocks, b)
	return nil
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
func (g *gathering) finish() error {
	if len(g.Errors) > 0 {
		return nil
	}
	g.askSystem()
	g.doubtFile()
	var rest OtherJSON
	for _, s := range g.Rest {
		countShape(&rest, s.Geometry.Flat)
	}
	if rest != (OtherJSON{}) {
		g.note(fault.Detail{Text: noBlocksRest.With(words.Args{"points": rest.Points, "lines": rest.Lines})})
	}
	if len(g.Blocks)+len(g.Tracks)+len(g.Points)+len(g.Rest)+len(g.Doubts)+len(g.Questions) == 0 {
		g.note(fault.Detail{Text: nothingHere.Plain()})
	}
	return g.overlaps(g.ctx)
}
