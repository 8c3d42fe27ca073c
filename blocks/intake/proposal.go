// Package intake turns what people draw or import into checked proposals:
// outlines with every defect named by ring and place, and whole files in any
// format it knows. It stores nothing.
package intake

import (
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/fault"
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

// Proposal is what a file holds. Rejected and asked proposals hold no shapes.
type Proposal struct {
	Outcome   Outcome
	Format    string // as people call it
	Blocks    []ProposedBlock
	Tracks    []Track
	Points    []Point
	Rest      []Shape // points, lines and areas that are none of the above
	Notices   []Notice
	Errors    []fault.Detail
	Questions []Question

	kind fault.Kind // of the refusal
}

// Notice is something that was changed, left out or assumed.
type Notice struct {
	fault.Detail
	Repair bool // the proposal differs from what the file says
}

// ProposedBlock is an outline that passed every check.
type ProposedBlock struct {
	ID         string
	IDKind     wire.IDKind
	Name       string // "" when the file gives none
	Geometry   geo.Geometry
	Properties json.RawMessage // as the file has them, nil for none
	Feature    int             // in the file, from 1

	Area      geo.SquareMetres
	Perimeter geo.Metres // of the shells
	Parts     int
	Holes     int
	Centroid  geo.Position
}

// Track is a way somebody or something went, in one or more segments.
type Track struct {
	Name       string
	Geometry   geo.Geometry // measures are Unix seconds
	Properties json.RawMessage
	Feature    int

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
}

var rejected = words.New("intake-rejected",
	"Nothing was taken from this file.",
	"No se tomó nada de este archivo.")

// Refusal is the reason why nothing can be stored; nil when something can.
func (p Proposal) Refusal() *fault.Error {
	if p.Outcome == Accept || p.Outcome == Repair {
		return nil
	}
	kind := p.kind
	if kind == fault.Internal {
		kind = fault.Invalid
	}
	return fault.New(kind, rejected.Plain(), append(append([]fault.Detail{}, p.Errors...), p.questionDetails()...)...)
}

func (p Proposal) questionDetails() []fault.Detail {
	var out []fault.Detail
	for _, q := range p.Questions {
		out = append(out, q.Detail)
	}
	return out
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
// whole: half an import is found out too late.
func (p *Proposal) settle() {
	switch {
	case len(p.Errors) > 0:
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
		return
	}
	p.Blocks, p.Tracks, p.Points, p.Rest = nil, nil, nil, nil
}

// measured fills in a block's figures.
func measured(b ProposedBlock) ProposedBlock {
	polygons, _ := b.Geometry.Flat.(orb.MultiPolygon)
	if one, ok := b.Geometry.Flat.(orb.Polygon); ok {
		polygons = orb.MultiPolygon{one}
	}
	b.Area, b.Parts = measure.Area(polygons), len(polygons)
	for _, p := range polygons {
		b.Perimeter += measure.Perimeter(p[0])
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
	Questions []SaidJSON  `json:"questions"`
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

// JSON gives the machine form, messages in the language.
func (p Proposal) JSON(lang words.Language) JSON {
	out := JSON{
		Outcome: p.Outcome, Format: p.Format,
		Blocks: []BlockJSON{}, Tracks: []TrackJSON{}, Points: []PointJSON{},
		Notices: []SaidJSON{}, Errors: said(p.Errors, lang), Questions: said(p.questionDetails(), lang),
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
	for _, n := range p.Notices {
		out.Notices = append(out.Notices, said([]fault.Detail{n.Detail}, lang)...)
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
