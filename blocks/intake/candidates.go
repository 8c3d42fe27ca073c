package intake

import (
	"encoding/json"
	"math"
	"sort"
	"strconv"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// As is what a file's features are taken over as; the names are those of the
// kinds of record.
type As string

// What can be imported.
const (
	AsBlocks       As = "blocks"
	AsRows         As = "rows"
	AsSurroundings As = "surroundings"
	AsFinds        As = "finds"
	AsTracks       As = "tracks"
)

// Imported lists them in the order a form offers them.
var Imported = []As{AsBlocks, AsRows, AsSurroundings, AsFinds, AsTracks}

// State says what a candidate needs.
type State string

// The states.
const (
	Ready    State = "ready"    // as the file has it
	Repaired State = "repaired" // mended in the one sensible way
	Asked    State = "ask"      // somebody has to choose, or say yes
	Refused  State = "refused"  // cannot be taken
)

// Way is a way to take a candidate.
type Way string

// The ways.
const (
	WayRead      Way = "read"      // as the file has it
	WayRepaired  Way = "repaired"  // by the non-zero rule
	WayReordered Way = "reordered" // the corners in another order
	WayOutline   Way = "outline"   // the ground a line or walk goes round
)

// Option is one way to take a candidate.
type Option struct {
	Way      Way
	Geometry geo.Geometry
	Area     geo.SquareMetres // of outlines, else 0
}

// Candidate is one feature as it would become a record.
type Candidate struct {
	ID         string
	IDKind     wire.IDKind
	Name       string
	Feature    int // in the file, from 1
	Layer      string
	State      State
	Options    []Option // the proposed one first; none when refused
	AsRead     geo.Geometry
	Before     geo.SquareMetres // as read, by plain arithmetic
	Properties json.RawMessage
	Said       []Notice
}

var (
	lineAsBlock = words.New("intake-line-as-block",
		"This is a line that ends where it began; it can be taken as the outline of {area}.",
		"Esto es una línea que termina donde empezó; se puede tomar como contorno de {area}.")
	walkAsBlock = words.New("intake-walk-as-block",
		"This is a recorded walk; the ground it goes round, {area}, can be taken as a block.",
		"Esto es un recorrido grabado; el terreno que rodea, {area}, se puede tomar como bloque.")
	causeNotSaid = words.New("intake-cause-not-said",
		"The file does not say the cause; the find is taken as “other”, with its words kept.",
		"El archivo no indica la causa; el hallazgo se toma como «otra», conservando sus palabras.")
)

// Candidates lists what can be taken as one kind of record, in the order of
// the file. Blocks come from areas, and from lines and walks that close; rows
// from lines; tracks from tracks and lines; finds from points; surroundings
// from anything that has a place.
func (p Proposal) Candidates(as As) []Candidate {
	var out []Candidate
	areas := as == AsBlocks || as == AsSurroundings
	lines := as == AsRows || as == AsSurroundings || as == AsTracks
	points := as == AsFinds || as == AsSurroundings
	if areas {
		for _, b := range p.Blocks {
			out = append(out, b.candidate())
		}
	}
	for _, t := range p.Tracks {
		switch {
		case as == AsBlocks && t.Walked != nil:
			out = append(out, t.outline())
		case as == AsTracks || as == AsSurroundings || as == AsRows && t.Segments == 1:
			out = append(out, t.candidate())
		}
	}
	for _, q := range p.Points {
		if points {
			out = append(out, q.candidate(as))
		}
	}
	for _, s := range p.Rest {
		_, isLine := s.Geometry.Flat.(orb.LineString)
		_, areLines := s.Geometry.Flat.(orb.MultiLineString)
		point, isPoint := s.Geometry.Flat.(orb.Point)
		switch {
		case as == AsBlocks && isLine:
			if c, closes := s.outline(); closes {
				out = append(out, c)
			}
		case as == AsFinds && isPoint:
			out = append(out, Point{ID: s.ID, IDKind: s.IDKind, Name: s.Name, At: geo.Position(point), Properties: s.Properties, Feature: s.Feature, Layer: s.Layer}.candidate(as))
		case lines && (isLine || areLines), as == AsSurroundings:
			out = append(out, s.candidate())
		}
	}
	for _, d := range p.Doubts {
		if areas || d.Repaired.Empty() {
			out = append(out, d.candidate())
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Feature < out[j].Feature })
	return out
}

func (b ProposedBlock) candidate() Candidate {
	c := Candidate{ID: b.ID, IDKind: b.IDKind, Name: b.Name, Feature: b.Feature, Layer: b.Layer, State: Ready, Properties: b.Properties,
		AsRead: b.AsRead, Before: b.Before, Said: b.Said}
	way := WayRead
	for _, n := range b.Said {
		if n.Repair {
			c.State, way = Repaired, WayRepaired
		}
	}
	c.Options = []Option{{Way: way, Geometry: b.Geometry, Area: b.Area}}
	return c
}

func (t Track) candidate() Candidate {
	c := Candidate{ID: t.ID, IDKind: t.IDKind, Name: t.Name, Feature: t.Feature, Layer: t.Layer, State: Ready, Properties: t.Properties, Said: t.Said}
	way := WayRead
	if len(t.Said) > 0 {
		c.State, way = Repaired, WayRepaired
	}
	c.Options = []Option{{Way: way, Geometry: t.Geometry}}
	return c
}

// outline is the ground a walk goes round. Somebody has to say that it is a
// block: a sprayer's pass comes back to its start as well.
func (t Track) outline() Candidate {
	c := t.candidate()
	c.State = Asked
	c.AsRead = t.Geometry
	c.Options = []Option{{Way: WayOutline, Geometry: t.Walked.Geometry, Area: t.Walked.Area}}
	c.Properties = t.Walked.properties(t.Properties)
	c.Said = append([]Notice{{Detail: fault.Detail{Feature: fault.P(t.Feature), Text: walkAsBlock.With(words.Args{"area": squares(t.Walked.Area)})}}},
		append(append([]Notice{}, t.Said...), t.Walked.Said...)...)
	return c
}

// properties are the walk's own, the accuracies of single fixes drawn together
// into one for the outline.
func (w Walked) properties(of json.RawMessage) json.RawMessage {
	members := map[string]json.RawMessage{}
	if json.Unmarshal(of, &members) != nil || members == nil {
		members = map[string]json.RawMessage{}
	}
	delete(members, "accuracies_m")
	if _, has := members["accuracy_m"]; w.Accuracy > 0 && !has {
		members["accuracy_m"] = json.RawMessage(strconv.FormatFloat(math.Round(float64(w.Accuracy)*10)/10, 'f', -1, 64))
	}
	raw, err := json.Marshal(members)
	if err != nil { // every value came from valid JSON
		return of
	}
	return raw
}

// candidate turns a pin into a find: its note becomes the scout's words, its
// time when it was found; every other property stays.
func (q Point) candidate(as As) Candidate {
	c := Candidate{ID: q.ID, IDKind: q.IDKind, Name: q.Name, Feature: q.Feature, Layer: q.Layer, State: Ready, Properties: q.Properties,
		Options: []Option{{Way: WayRead, Geometry: geo.Geometry{Flat: orb.Point(q.At)}}}}
	if as != AsFinds {
		return c
	}
	members := map[string]json.RawMessage{}
	if json.Unmarshal(q.Properties, &members) != nil || members == nil {
		members = map[string]json.RawMessage{}
	}
	rename(members, "note", "words")
	rename(members, "time", "found_at")
	if _, has := members["state"]; !has {
		members["state"] = json.RawMessage(`"suspected"`)
	}
	if _, has := members["cause"]; !has {
		members["cause"] = json.RawMessage(`"other"`)
		c.Said = append(c.Said, Notice{Detail: fault.Detail{Feature: fault.P(q.Feature), Text: causeNotSaid.Plain()}})
	}
	raw, err := json.Marshal(members)
	if err != nil { // every value came from valid JSON
		return c
	}
	c.Properties = raw
	return c
}

func rename(members map[string]json.RawMessage, from, to string) {
	value, has := members[from]
	if _, taken := members[to]; !has || taken {
		return
	}
	members[to] = value
	delete(members, from)
}

func (s Shape) candidate() Candidate {
	return Candidate{ID: s.ID, IDKind: s.IDKind, Name: s.Name, Feature: s.Feature, Layer: s.Layer, State: Ready, Properties: s.Properties,
		Options: []Option{{Way: WayRead, Geometry: s.Geometry}}}
}

// outline is a drawn line as an outline; false where it does not end on its
// start, or goes round no block.
func (s Shape) outline() (Candidate, bool) {
	line, _ := s.Geometry.Flat.(orb.LineString)
	if len(line) < 4 || measure.Distance(line[0], line[len(line)-1]) > closesWithin {
		return Candidate{}, false
	}
	checked, notices, refusal := check(geo.Geometry{Flat: orb.Polygon{orb.Ring(line)}})
	if refusal != nil {
		return Candidate{}, false
	}
	c := s.candidate()
	area := areaOf(checked.Flat)
	c.State, c.AsRead = Asked, s.Geometry
	c.Options = []Option{{Way: WayOutline, Geometry: checked, Area: area}}
	c.Said = append([]Notice{{Detail: fault.Detail{Feature: fault.P(s.Feature), Text: lineAsBlock.With(words.Args{"area": squares(area)})}}}, notices...)
	return c, true
}

// closesWithin is how near a drawn line must end to its start to be taken for
// an outline: half a row, which no one leaves open on purpose.
const closesWithin geo.Metres = 1.5

func (d Doubt) candidate() Candidate {
	c := Candidate{ID: d.ID, IDKind: d.IDKind, Name: d.Name, Feature: d.Feature, Layer: d.Layer, State: Refused, Properties: d.Properties,
		AsRead: d.Geometry, Before: d.Before, Said: d.Said}
	for _, o := range []Option{{Way: WayReordered, Geometry: d.Reordered}, {Way: WayRepaired, Geometry: d.Repaired}} {
		if o.Geometry.Empty() {
			continue
		}
		o.Area = areaOf(o.Geometry.Flat)
		c.State, c.Options = Asked, append(c.Options, o)
	}
	return c
}

// IsRecordID reports whether a feature's id has the form of a record's own: a
// UUID of version 7 in lower-case letters (RFC 9562). A farm's own export comes
// back under the ids it left with.
func (c Candidate) IsRecordID() bool {
	if c.IDKind != wire.StringID || len(c.ID) != 36 || c.ID[14] != '7' || strings.ToLower(c.ID) != c.ID {
		return false
	}
	for i, r := range c.ID {
		dash := i == 8 || i == 13 || i == 18 || i == 23
		if dash != (r == '-') || !dash && !strings.ContainsRune("0123456789abcdef", r) {
			return false
		}
	}
	return true
}
