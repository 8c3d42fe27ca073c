// Package spray is the spray job: the label as somebody typed it, the pass
// over the ground, and the draft that says what a pass would treat, withhold
// and need.
//
// A draft is a planning aid. The label and local law are the rule; nothing here
// certifies that a job follows them.
package spray

import (
	"encoding/json"

	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/quantity"
)

// Pattern is how a pass puts spray on the ground.
type Pattern string

// The patterns.
const (
	Broadcast        Pattern = "broadcast"         // all of the chosen ground
	Band             Pattern = "band"              // a width along each row
	Spot             Pattern = "spot"              // places drawn
	Drench           Pattern = "drench"            // so much at each plant
	AlternateMiddles Pattern = "alternate-middles" // every second alley driven
)

// Patterns lists them in the order screens show them.
var Patterns = []Pattern{Broadcast, Band, Spot, Drench, AlternateMiddles}

// State is how far a pass has come. Only an applied one is a record of
// something done.
type State string

// The states.
const (
	Planned State = "draft"
	Ready   State = "ready"
	Applied State = "applied"
)

// States lists them in order.
var States = []State{Planned, Ready, Applied}

// Limits of what people send. No job or label comes near them.
const (
	MaxBlocks   = 200
	MaxRows     = 10_000
	MaxProducts = 20 // in one mix
	MaxSetbacks = 50
	maxEntries  = 200 // ingredients, rates, caps of a label
	maxDays     = 3660
	maxHours    = 8784 // a leap year
)

// Bounds of distances. Label buffers end at 320 ft; a country's width is a slip
// of the pen. A boom band ends well under 30 m.
const (
	MaxDistance  geo.Metres = 5000
	MaxBandWidth geo.Metres = 30
)

var (
	sayAboveNil  = words.New("spray-not-above", "A number above 0, at most {high}, is expected.", "Se espera un número mayor que 0, como máximo {high}.")
	sayNotVolume = words.New("spray-not-volume", "Spray is measured by volume: gal, L, ...; {unit} is none.", "El caldo se mide por volumen: gal, L, ...; {unit} no lo es.")
)

// above reads a length above 0; 0 when it is not there or not good.
func above(r fields.Reader, field string, most geo.Metres) geo.Metres {
	if !r.Has(field) {
		return 0
	}
	var f float64
	if json.Unmarshal(r.Raw(field), &f) != nil || !(f > 0 && f <= float64(most)) {
		r.Fault(field, sayAboveNil.With(words.Args{"high": float64(most)}))
		return 0
	}
	return geo.Metres(f)
}

func amount(r fields.Reader, field string) *quantity.Amount {
	if !r.Has(field) {
		return nil
	}
	var a quantity.Amount
	if err := a.UnmarshalJSON(r.Raw(field)); err != nil {
		r.Adopt(field, err)
		return nil
	}
	return &a
}

// volume reads an amount of spray, above 0.
func volume(r fields.Reader, field string) *quantity.Amount {
	a := amount(r, field)
	switch {
	case a == nil:
		return nil
	case a.Unit.Dimension() != quantity.Volume:
		r.Fault(field+".unit", sayNotVolume.With(words.Args{"unit": string(a.Unit)}))
		return nil
	case a.Value == 0:
		r.Fault(field+".value", sayAboveNil.With(words.Args{"high": quantity.MaxValue}))
		return nil
	}
	return a
}

func rate(r fields.Reader, field string) *quantity.Rate {
	if !r.Has(field) {
		return nil
	}
	var q quantity.Rate
	if err := q.UnmarshalJSON(r.Raw(field)); err != nil {
		r.Adopt(field, err)
		return nil
	}
	return &q
}
