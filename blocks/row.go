package blocks

import (
	"encoding/json"
	"fmt"
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"

	"github.com/paulmach/orb"
)

// Bounds of what one row record holds, far above any field's.
const (
	MaxRow    = 10_000
	MaxPlants = 100_000 // in a row
)

var (
	notList        = words.New("blocks-not-list", "A list of plant numbers in square brackets is expected.", "Se espera una lista de números de planta entre corchetes.")
	missingTwice   = words.New("blocks-missing-twice", "Plant {plant} is named twice.", "La planta {plant} se nombra dos veces.")
	missingTooMany = words.New("blocks-missing-too-many", "At most {limit} plants can be missing; this names {count}.", "Pueden faltar como máximo {limit} plantas; esto nombra {count}.")
	missingOutside = words.New("blocks-missing-outside", "There is no plant {plant} in this row; it has {plants} places.", "No hay planta {plant} en esta hilera; tiene {plants} lugares.")
)

// Row is one numbered row of a block. Places without a plant keep their number.
type Row struct {
	Block   string // id of the block's record
	Number  int    // from 1
	Plants  int    // places, missing ones included; 0 when not counted
	Missing []int  // numbers of places without a plant, ascending
	Parts   orb.MultiLineString
}

// ParseRow reads a row: block, number and line must be there. The details say
// what is wrong; a field at fault is zero in the row.
func ParseRow(g geo.Geometry, raw json.RawMessage) (Row, []fault.Detail) {
	p := open(raw)
	r := Row{Block: p.needText("block")}
	before := len(p.faults)
	number, ok := p.whole("number", 1, MaxRow)
	if !ok && len(p.faults) == before {
		p.fault("number", needed.Plain())
	}
	r.Number = number
	r.Plants, _ = p.whole("plants", 0, MaxPlants)
	r.Missing = p.missing(r.Plants)
	switch flat := g.Flat.(type) {
	case orb.LineString:
		r.Parts = orb.MultiLineString{flat}
	case orb.MultiLineString:
		r.Parts = flat
	default:
		p.place(g, aLine)
	}
	return r, p.faults
}

// missing reads the numbers of places without a plant; plants is 0 when the
// row's places were not counted.
func (p *properties) missing(plants int) []int {
	var raw []json.RawMessage
	if !p.into("missing", &raw, notList) {
		return nil
	}
	most := MaxPlants
	if plants > 0 {
		most = plants
	}
	if len(raw) > most {
		p.fault("missing", missingTooMany.With(words.Args{"limit": most, "count": len(raw)}))
		return nil
	}
	seen := make(map[int]bool, len(raw))
	numbers := make([]int, 0, len(raw))
	for i, one := range raw {
		var n int
		field := fmt.Sprintf("missing[%d]", i)
		switch {
		case json.Unmarshal(one, &n) != nil || n < 1 || string(one) == "null":
			p.fault(field, notWhole.With(words.Args{"low": 1, "high": most}))
		case n > most:
			p.fault(field, missingOutside.With(words.Args{"plant": n, "plants": most}))
		case seen[n]:
			p.fault(field, missingTwice.With(words.Args{"plant": n}))
		default:
			seen[n] = true
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	return numbers
}

// Standing counts the places that hold a plant.
func (r Row) Standing() int { return max(0, r.Plants-len(r.Missing)) }
