// Package blocks is the typed view of what stands on the map: blocks, their
// rows and their surroundings. Parse functions read a record's shape and fixed
// properties; properties they do not know are none of their business and stay
// with the record.
package blocks

import (
	"encoding/json"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/geo"
	"caneward/geo/measure"

	"github.com/paulmach/orb"
)

// Bounds of spacings. Closer than 5 cm no bramble stands; trade tables end at
// 12 ft between rows, and 100 m is no planting.
const (
	LeastSpacing    geo.Metres = 0.05
	GreatestSpacing geo.Metres = 100
)

// Follows says what an outline was drawn along: the three differ by a row's
// width and more, and every area depends on it.
type Follows string

// What outlines follow.
const (
	Fence  Follows = "fence"
	Posts  Follows = "posts"
	Canopy Follows = "canopy"
)

// Side is where row 1 stands, looking along the bearing.
type Side string

// The sides.
const (
	Left  Side = "left"
	Right Side = "right"
)

// End is where plant 1 of each row stands: the start is the end one comes from
// when walking along the bearing.
type End string

// The ends.
const (
	Start   End = "start"
	Farther End = "end"
)

// Block is planted ground under one name. Zero fields were not given.
type Block struct {
	Name           string
	Crop           string
	Cultivar       string
	PlantedOn      Date
	OutlineFollows Follows
	RowSpacing     geo.Metres
	PlantSpacing   geo.Metres
	RowBearing     *geo.Degrees // in [0, 360), from true north
	FirstRowSide   Side
	FirstPlantEnd  End
	Outline        orb.MultiPolygon
}

// Parse reads a block. Only name and outline must be there. The details say
// what is wrong; a field at fault is zero in the block. Rings are not looked
// into: blocks/intake checks outlines.
func Parse(g geo.Geometry, raw json.RawMessage) (Block, []fault.Detail) {
	r := fields.Properties(raw)
	r.Need("name")
	b := Block{
		Name:           name(r, "name"),
		Crop:           name(r, "crop"),
		Cultivar:       name(r, "cultivar"),
		PlantedOn:      date(r, "planted_on"),
		OutlineFollows: fields.Choose(r, "outline_follows", []Follows{Fence, Posts, Canopy}),
		RowSpacing:     spacing(r, "row_spacing_m"),
		PlantSpacing:   spacing(r, "plant_spacing_m"),
		FirstRowSide:   fields.Choose(r, "first_row_side", []Side{Left, Right}),
		FirstPlantEnd:  fields.Choose(r, "first_plant_end", []End{Start, Farther}),
	}
	if d := r.Number("row_bearing_deg", -360, 360); d != nil {
		bearing := geo.Degrees(*d).Normal()
		b.RowBearing = &bearing
	}
	switch flat := g.Flat.(type) {
	case orb.Polygon:
		b.Outline = orb.MultiPolygon{flat}
	case orb.MultiPolygon:
		b.Outline = flat
	default:
		faultPlace(r, g, aPolygon)
	}
	return b, r.Faults()
}

func spacing(r fields.Reader, field string) geo.Metres {
	v := r.Number(field, float64(LeastSpacing), float64(GreatestSpacing))
	if v == nil {
		return 0
	}
	return geo.Metres(*v)
}

// OutlineArea is the ground inside the outline less its holes, on the
// ellipsoid with geodesic edges.
func (b Block) OutlineArea() geo.SquareMetres { return measure.Area(b.Outline) }

// PlantedArea is rows times spacing: what product rates per planted acre are
// reckoned on. 0 when the block has no row spacing.
func (b Block) PlantedArea(rows geo.Metres) geo.SquareMetres {
	return geo.SquareMetres(float64(rows) * float64(b.RowSpacing))
}
