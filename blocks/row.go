package blocks

import (
	"encoding/json"
	"fmt"
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
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
	r := fields.Properties(raw)
	r.Need("block")
	row := Row{Block: name(r, "block")}
	if r.Need("number") {
		row.Number, _ = r.Whole("number", 1, MaxRow)
	}
	row.Plants, _ = r.Whole("plants", 0, MaxPlants)
	row.Missing = missing(r, row.Plants)
	switch flat := g.Flat.(type) {
	case orb.LineString:
		row.Parts = orb.MultiLineString{flat}
	case orb.MultiLineString:
		row.Parts = flat
	default:
		faultPlace(r, g, aLine)
	}
	return row, r.Faults()
}

// missing reads the numbers of places without a plant; plants is 0 when the
// row's places were not counted.
func missing(r fields.Reader, plants int) []int {
	named := r.Ordinals("missing", MaxPlants, MaxPlants)
	most := MaxPlants
	if plants > 0 {
		most = plants
	}
	if len(named) > most {
		r.Fault("missing", missingTooMany.With(words.Args{"limit": most, "count": len(named)}))
		return nil
	}
	seen := make(map[int]bool, len(named))
	var numbers []int
	for i, n := range named {
		field := fmt.Sprintf("missing[%d]", i)
		switch {
		case n == 0: // at fault already
		case n > most:
			r.Fault(field, missingOutside.With(words.Args{"plant": n, "plants": most}))
		case seen[n]:
			r.Fault(field, missingTwice.With(words.Args{"plant": n}))
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
