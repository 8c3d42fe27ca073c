package scouting

import (
	"slices"

	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

// Limits of what people type. They bound the cost of a record; no field or
// form comes near them.
const (
	MaxRow       = 10_000
	MaxPlant     = 100_000
	MaxStretches = 20_000
	MaxCounts    = 1000
	MaxPlants    = 100_000
	MaxFinds     = 10_000
	MaxPhotos    = 100
	MaxPauses    = 1000
	// MaxPlannedStops is what one sampling walk has at most.
	MaxPlannedStops = 2000
	maxCounted      = 1_000_000_000
)

var (
	listEmpty  = words.New("scouting-list-empty", "At least one entry is needed.", "Hace falta al menos una entrada.")
	wrongShape = words.New("scouting-wrong-shape",
		"A record of this kind takes {wanted} as its place, not {got}.",
		"Un registro de este tipo lleva {wanted} como lugar, no {got}.")
)

func photos(r fields.Reader) []records.ID {
	return fields.IDs(r, "photos", MaxPhotos, records.ParseID)
}

func id(r fields.Reader, field string) records.ID { return fields.ID(r, field, records.ParseID) }

// place faults a geometry whose type is not among those allowed.
func place(r fields.Reader, g geo.Geometry, wanted words.Message, allowed ...string) {
	if g.Empty() || slices.Contains(allowed, g.Flat.GeoJSONType()) {
		return
	}
	r.Fault("geometry", wrongShape.With(words.Args{"wanted": wanted.Plain(), "got": g.Flat.GeoJSONType()}))
}
