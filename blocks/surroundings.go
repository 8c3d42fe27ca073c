package blocks

import (
	"encoding/json"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"

	"github.com/paulmach/orb"
)

// SurroundingsKind is what lies near a block and bears on what may be done
// there; the list is closed.
type SurroundingsKind string

// The kinds.
const (
	Water         SurroundingsKind = "water"
	Well          SurroundingsKind = "well"
	Dwelling      SurroundingsKind = "dwelling"
	School        SurroundingsKind = "school"
	Hives         SurroundingsKind = "hives"
	SensitiveCrop SurroundingsKind = "sensitive-crop"
	WildBrambles  SurroundingsKind = "wild-brambles"
	Road          SurroundingsKind = "road"
	Boundary      SurroundingsKind = "boundary"
	Other         SurroundingsKind = "other"
)

// SurroundingsKinds lists every kind in the order screens show them.
var SurroundingsKinds = []SurroundingsKind{Water, Well, Dwelling, School, Hives, SensitiveCrop, WildBrambles, Road, Boundary, Other}

var surroundingsNames = map[SurroundingsKind]words.Message{
	Water:         words.New("blocks-water", "water", "agua"),
	Well:          words.New("blocks-well", "well", "pozo"),
	Dwelling:      words.New("blocks-dwelling", "dwelling", "vivienda"),
	School:        words.New("blocks-school", "school", "escuela"),
	Hives:         words.New("blocks-hives", "hives", "colmenas"),
	SensitiveCrop: words.New("blocks-sensitive-crop", "sensitive crop", "cultivo sensible"),
	WildBrambles:  words.New("blocks-wild-brambles", "wild brambles", "zarzas silvestres"),
	Road:          words.New("blocks-road", "road", "camino"),
	Boundary:      words.New("blocks-boundary", "boundary", "lindero"),
	Other:         words.New("blocks-other", "other", "otro"),
}

// Text is the kind in words; empty for an unknown kind.
func (k SurroundingsKind) Text() words.Text { return surroundingsNames[k].Plain() }

// Surroundings is one such thing.
type Surroundings struct {
	Kind SurroundingsKind
	Name string
	// DrawnByEye says that the shape was drawn from a picture or from memory, not
	// measured: distances to it are no better than the drawing.
	DrawnByEye bool
	// Accuracy is how far the line may lie off, as whoever made it says; 0 when not
	// said.
	Accuracy geo.Metres
	// Follows is what the line of water follows, "water-edge" or "top-of-bank"; ""
	// when not said. Bank is how far the top of the bank lies outside the line.
	Follows string
	Bank    geo.Metres
	// Strip says that this is ground kept in plants between a field and water.
	Strip bool
	Shape orb.Geometry
}

// WaterFollows lists what a line of water may follow.
var WaterFollows = []string{"water-edge", "top-of-bank"}

// Bounds: a bank wider than this is another field, a line drawn worse no line.
const (
	mostBank     = 100  // m
	mostAccuracy = 1000 // m
)

// ParseSurroundings reads one; kind and shape must be there. The details say
// what is wrong; a field at fault is zero.
func ParseSurroundings(g geo.Geometry, raw json.RawMessage) (Surroundings, []fault.Detail) {
	r := fields.Properties(raw)
	s := Surroundings{
		Name:       name(r, "name"),
		DrawnByEye: r.Yes("drawn_by_eye"),
		Follows:    fields.Choose(r, "follows", WaterFollows),
		Strip:      r.Yes("strip"),
		Shape:      g.Flat,
	}
	if m := r.Number("bank_m", 0, mostBank); m != nil {
		s.Bank = geo.Metres(*m)
	}
	if m := r.Number("accuracy_m", 0, mostAccuracy); m != nil {
		s.Accuracy = geo.Metres(*m)
	}
	if r.Need("kind") {
		s.Kind = fields.Choose(r, "kind", SurroundingsKinds)
	}
	if g.Empty() {
		faultPlace(r, g, anyShape)
	}
	return s, r.Faults()
}
