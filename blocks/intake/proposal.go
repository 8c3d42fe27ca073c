// Package intake turns what people draw or import into checked proposals:
// outlines with every defect named by ring and place, and whole files in any
// format it knows. It stores nothing.
package intake

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/intake/sheet"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// Outcome is what became of a file.
type Outcome string

// The outcomes.
const (
	Accept Outcome = "accept" // can be stored as it stands; there may be notices
	Repair Outcome = "repair" // can be stored, changed as the notices say
	Ask    Outcome = "ask"    // can be read in two ways: a question first
	Reject Outcome = "reject" // nothing of it can be stored; the errors say why
)

// Proposal is what a file holds. Its parts stand there whatever the outcome:
// the outcome speaks of the file as a whole, for whoever takes it as a whole;
// Candidates lets a person choose feature by feature.
type Proposal struct {
	Outcome   Outcome
	Format    string // as people call it
	Blocks    []ProposedBlock
	Tracks    []Track
	Points    []Point
	Rest      []Shape // points, lines and areas that are none of the above
	Placeless []Shape // features with properties and no place
	Doubts    []Doubt // features that nobody can take without choosing, or at all
	Notices   []Notice
	Errors    []fault.Detail // about the file as a whole
	Questions []Question
	Columns   *sheet.Preview // of a spreadsheet

	kind      fault.Kind // of the refusal
	pins      bool       // points of this format are pins
	faults    int        // doubts without a mend
	size      int64      // of the file in bytes
	located   int        // features that have a place as they are
	swappable int        // features that would have a place with longitude and latitude swapped
}

// Notice is something that was changed, left out or assumed.
type Notice struct {
	fault.Detail
	Repair bool // the proposal differs from what the file says

	Area  geo.SquareMetres // the ground concerned, of outlines that were mended
	Grown geo.SquareMetres // by how much the area differs after it
	Piece orb.Polygon      // that ground, nil for none
}

// ProposedBlock is an outline that passed every check.
type ProposedBlock struct {
	ID         string
	IDKind     wire.IDKind
	Name       string // "" when the file gives none
	Geometry   geo.Geometry
	Properties json.RawMessage // as the file has them, nil for none
	Feature    int             // in the file, from 1
	Layer      string

	AsRead geo.Geometry     // as the file has it, where it was mended; else empty
	Before geo.SquareMetres // its area then by plain arithmetic
	Said   []Notice         // what was closed, left out or mended

	Area      geo.SquareMetres
	Perimeter geo.Metres // of the shells
	Parts     int
	Holes     int
	Centroid  geo.Position
}

// Track is a way somebody or something went, in one or more segments.
type Track struct {
	ID         string
	IDKind     wire.IDKind
	Name       string
	Geometry   geo.Geometry // measures are Unix seconds
	Properties json.RawMessage
	Feature    int
	Layer      string
	Said       []Notice // fixes that were left out

	Walked *Walked // the ground it goes round, nil where it does not end near its start

	Length   geo.Metres // summed inside segments, never across gaps
	Points   int
	Segments int
	Start    time.Time // zero when not known
	End      time.Time
}

// Point is a pin.
type Point struct {
	Name string
	At   geo.Position
	Time time.Time // zero when not known
	Note string

	ID         string
	IDKind     wire.IDKind
	Properties json.RawMessage
	Feature    int
	Layer      string
}

// Shape is anything else that has a place; whoever imports surroundings takes
// these.
type Shape struct {
	ID         string
	IDKind     wire.IDKind
	Name       string
	Geometry   geo.Geometry
	Properties json.RawMessage
	Feature    int
	Layer      string
}

var rejected = words.New("intake-rejected",
	"Nothing was taken from this file.",
	"No se tomó nada de este archivo.")

// Refusal is the reason why the file cannot be stored as a whole; nil when it
// can.
func (p Proposal) Refusal() *fault.Error {
	if p.Outcome == Accept || p.Outcome == Repair {
		return nil
	}
	details := p.faulty()
	for _, q := range p.Questions {
		details = append(details, q.Detail)
	}
	return fault.New(p.refusalKind(), rejected.Plain(), details...)
}

// FileRefusal is the reason why nothing of the file can be read at all; nil
// when something can, if only after a question.
func (p Proposal) FileRefusal() *fault.Error {
	if len(p.Errors) == 0 {
		return nil
	}
	return fault.New(p.refusalKind(), rejected.Plain(), p.Errors...)
}

func (p Proposal) refusalKind() fault.Kind {
	if p.kind != fault.Internal {
		return p.kind
	}
	for _, d := range p.Doubts {
		if d.kind != fault.Internal {
			return d.kind
		}
	}
	return fault.Invalid
}

// faulty is everything that keeps the file from being taken as a whole, in the
// order of the file.
func (p Proposal) faulty() []fault.Detail {
	details := append([]fault.Detail{}, p.Errors...)
	for _, d := range p.Doubts {
		for _, n := range d.Said {
			details = append(details, n.Detail)
		}
	}
	return details
}

func (p *Proposal) note(d fault.Detail) { p.Notices = append(p.Notices, Notice{Detail: d}) }
func (p *Proposal) mended(d fault.Detail) {
	p.Notices = append(p.Notices, Notice{Detail: d, Repair: true})
}

// refuse adds an error; the first one's kind is the refusal's.
func (p *Proposal) refuse(kind fault.Kind, d fault.Detail) {
	if len(p.Errors) == 0 {
		p.kind = kind
	}
	p.Errors = append(p.Errors, d)
}

// settle decides the outcome. A file with an error in one feature is refused
// as a whole: half an import is found out too late.
func (p *Proposal) settle() {
	switch {
	case len(p.Errors)+len(p.Doubts) > 0:
		p.Outcome = Reject
	case len(p.Questions) > 0:
		p.Outcome = Ask
	default:
		p.Outcome = Accept
		for _, n := range p.Notices {
			if n.Repair {
				p.Outcome = Repair
			}
		}
	}
	// In a file that is sound but for a few, those are slips; swapping all of it
	// would put the rest elsewhere.
	if p.swappable > p.located {
		p.ask(Question{Topic: TopicAxes, Detail: fault.Detail{Text: askSwap.Plain()}, Choices: []Choice{{Value: "true", Text: swapThem.Plain()}}})
	}
}

// measured fills in a block's figures.
func measured(b ProposedBlock) ProposedBlock {
	polygons, _ := b.Geometry.Flat.(orb.MultiPolygon)
	if one, ok := b.Geometry.Flat.(orb.Polygon); ok {
		polygons = orb.MultiPolygon{one}
	}
	b.Area, b.Parts = 0, len(polygons)
	for _, p := range polygons {
		shell, perimeter := measure.SignedRing(p[0])
		b.Area += geo.SquareMetres(math.Abs(float64(shell)))
		b.Perimeter += perimeter
		for _, hole := range p[1:] {
			b.Area -= measure.Area(hole)
		}
		b.Holes += len(p) - 1
	}
	b.Centroid = centroid(polygons)
	return b
}

// centroid is the balance point of checked ground; it may lie outside it.
func centroid(polygons orb.MultiPolygon) geo.Position {
	frame, err := plane.FrameOf(polygons)
	if err != nil {
		return geo.Position{}
	}
	region, err := frame.Region(polygons)
	if err != nil {
		return geo.Position{}
	}
	var sum plane.XY
	var twice float64
	for _, p := range region {
		for _, r := range p {
			for i := 1; i < len(r); i++ {
				cross := r[i-1].Cross(r[i])
				twice += cross
				sum = sum.Plus(r[i-1].Plus(r[i]).Times(cross))
			}
		}
	}
	if twice == 0 {
		return frame.Position(region[0][0][0])
	}
	return frame.Position(sum.Times(1 / (3 * twice)))
}

// JSON is a proposal in the form that caneward read prints.
type JSON struct {
	Outcome   Outcome     `json:"outcome"`
	Format    string      `json:"format,omitempty"`
	Blocks    []BlockJSON `json:"blocks"`
	Tracks    []TrackJSON `json:"tracks"`
	Points    []PointJSON `json:"points"`
	Other     OtherJSON   `json:"other"`
	Notices   []SaidJSON  `json:"notices"`
	Errors    []SaidJSON  `json:"errors"`
	Questions []AskedJSON `json:"questions"`
}

// BlockJSON is one block; ID is null, a text or a number as the file has it.
type BlockJSON struct {
	ID        any          `json:"id"`
	Name      string       `json:"name"`
	Area      float64      `json:"area_m2"`
	Perimeter float64      `json:"outer_perimeter_m"`
	Parts     int          `json:"parts"`
	Holes     int          `json:"holes"`
	Centroid  geo.Position `json:"centroid"`
}

// TrackJSON is one track; times are null when not known.
type TrackJSON struct {
	Name     string     `json:"name"`
	Length   float64    `json:"length_m"`
	Points   int        `json:"points"`
	Segments int        `json:"segments"`
	Start    *time.Time `json:"start"`
	End      *time.Time `json:"end"`
	Duration *float64   `json:"duration_s"`
}

// PointJSON is one pin; the time is null when not known.
type PointJSON struct {
	Name string     `json:"name"`
	Lon  float64    `json:"lon"`
	Lat  float64    `json:"lat"`
	Time *time.Time `json:"time"`
	Note string     `json:"note"`
}

// OtherJSON counts what else the file holds.
type OtherJSON struct {
	Points int `json:"points"`
	Lines  int `json:"lines"`
	Areas  int `json:"areas"`
}

// SaidJSON is one notice, error or question. Key is the message's stable name.
type SaidJSON struct {
	Message string `json:"message"`
	Fix     string `json:"fix,omitempty"`
	Key     string `json:"key"`
	At      AtJSON `json:"at"`
}

// AskedJSON is one question.
type AskedJSON struct {
	SaidJSON
	Topic   Topic        `json:"topic"`
	Choices []ChoiceJSON `json:"choices"`
}

// ChoiceJSON is one answer to a question.
type ChoiceJSON struct {
	Value  string          `json:"value"`
	Text   string          `json:"text"`
	Centre *geo.Position   `json:"centre,omitempty"`
	Shape  json.RawMessage `json:"shape,omitempty"`
	Area   float64         `json:"area_m2,omitempty"`
}

// FoundJSON is what was found wrong with one feature, or mended: the ground
// concerned, how the area differs after the mend, and that ground to show.
type FoundJSON struct {
	SaidJSON
	Area  float64         `json:"area_m2,omitempty"`
	Grown float64         `json:"grown_m2,omitempty"`
	Piece json.RawMessage `json:"piece,omitempty"`
}

// Found gives notices of one feature in their machine form.
func Found(notices []Notice, lang words.Language) []FoundJSON {
	out := make([]FoundJSON, 0, len(notices))
	for _, n := range notices {
		one := FoundJSON{SaidJSON: said([]fault.Detail{n.Detail}, lang)[0], Area: float64(n.Area), Grown: float64(n.Grown)}
		if raw, err := wire.EncodeGeometry(geo.Geometry{Flat: n.Piece}); err == nil && len(n.Piece) > 0 {
			one.Piece = raw
		}
		out = append(out, one)
	}
	return out
}

// AtJSON is a place in a file; numbers count from 1, bytes from 0.
type AtJSON struct {
	Entry    string      `json:"entry,omitempty"`
	Feature  *int        `json:"feature,omitempty"`
	Part     *int        `json:"part,omitempty"`
	Ring     *int        `json:"ring,omitempty"`
	Vertex   *int        `json:"vertex,omitempty"`
	Line     *int        `json:"line,omitempty"`
	Byte     *int64      `json:"byte,omitempty"`
	Position *[2]float64 `json:"position,omitempty"`
	Field    string      `json:"field,omitempty"`
}

// JSON gives the machine form, messages in the language. What is refused or
// waits for an answer shows no shapes: nothing of it is to be taken.
func (p Proposal) JSON(lang words.Language) JSON {
	out := JSON{
		Outcome: p.Outcome, Format: p.Format,
		Blocks: []BlockJSON{}, Tracks: []TrackJSON{}, Points: []PointJSON{},
		Notices: []SaidJSON{}, Errors: said(p.faulty(), lang), Questions: asked(p.Questions, lang),
	}
	for _, n := range p.Notices {
		out.Notices = append(out.Notices, said([]fault.Detail{n.Detail}, lang)...)
	}
	if p.Outcome == Reject || p.Outcome == Ask {
		return out
	}
	for _, b := range p.Blocks {
		out.Blocks = append(out.Blocks, BlockJSON{ID: idJSON(b.ID, b.IDKind), Name: b.Name, Area: float64(b.Area),
			Perimeter: float64(b.Perimeter), Parts: b.Parts, Holes: b.Holes, Centroid: b.Centroid})
	}
	for _, t := range p.Tracks {
		track := TrackJSON{Name: t.Name, Length: float64(t.Length), Points: t.Points, Segments: t.Segments, Start: known(t.Start), End: known(t.End)}
		if track.Start != nil && track.End != nil {
			track.Duration = fault.P(t.End.Sub(t.Start).Seconds())
		}
		out.Tracks = append(out.Tracks, track)
	}
	for _, q := range p.Points {
		out.Points = append(out.Points, PointJSON{Name: q.Name, Lon: q.At[0], Lat: q.At[1], Time: known(q.Time), Note: q.Note})
	}
	for _, s := range p.Rest {
		countShape(&out.Other, s.Geometry.Flat)
	}
	return out
}

func asked(questions []Question, lang words.Language) []AskedJSON {
	out := make([]AskedJSON, 0, len(questions))
	for _, q := range questions {
		one := AskedJSON{SaidJSON: said([]fault.Detail{q.Detail}, lang)[0], Topic: q.Topic, Choices: []ChoiceJSON{}}
		for _, c := range q.Choices {
			choice := ChoiceJSON{Value: c.Value, Text: c.Text.In(lang), Centre: c.Centre, Area: float64(c.Area)}
			// A shape too odd to be written is not shown; the centre is.
			if raw, err := wire.EncodeGeometry(c.Shape); err == nil && !c.Shape.Empty() {
				choice.Shape = raw
			}
			one.Choices = append(one.Choices, choice)
		}
		out = append(out, one)
	}
	return out
}

func countShape(o *OtherJSON, g orb.Geometry) {
	switch g := g.(type) {
	case orb.Point:
		o.Points++
	case orb.MultiPoint:
		o.Points += len(g)
	case orb.LineString:
		o.Lines++
	case orb.MultiLineString:
		o.Lines += len(g)
	case orb.Polygon:
		o.Areas++
	case orb.MultiPolygon:
		o.Areas += len(g)
	}
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func idJSON(id string, kind wire.IDKind) any {
	switch kind {
	case wire.StringID:
		return id
	case wire.NumberID:
		return json.Number(id)
	}
	return nil
}

func said(details []fault.Detail, lang words.Language) []SaidJSON {
	out := make([]SaidJSON, 0, len(details))
	for _, d := range details {
		out = append(out, SaidJSON{
			Message: d.Text.In(lang), Fix: d.Fix.In(lang), Key: d.Text.Key(),
			At: AtJSON{Entry: d.Entry, Feature: d.Feature, Part: d.Part, Ring: d.Ring, Vertex: d.Vertex, Line: d.Line, Byte: d.Byte, Position: d.At, Field: d.Field},
		})
	}
	return out
}

// String is the place in few words, for logs: "feature 2, ring 1, corner 4".
func (a AtJSON) String() string {
	var parts []string
	for _, n := range []struct {
		name  string
		value *int
	}{{"feature", a.Feature}, {"part", a.Part}, {"ring", a.Ring}, {"corner", a.Vertex}, {"line", a.Line}} {
		if n.value != nil {
			parts = append(parts, n.name+" "+strconv.Itoa(*n.value))
		}
	}
	return strings.Join(parts, ", ")
}
