package spray

import (
	"encoding/json"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

// Track is where a sprayer drove. Times stand in the shape's measures, Unix
// seconds.
type Track struct {
	Pass  records.ID // "" when it belongs to none yet
	Width geo.Metres // 0 when not given
	Way   geo.Geometry
}

var sayTrackShape = words.New("spray-track-shape",
	"A track is a LineString or MultiLineString.",
	"Un recorrido es un LineString o MultiLineString.")

// MaxSwath bounds the width one passage sprays; the widest booms reach 50 m.
const MaxSwath geo.Metres = 60

// ParseTrack reads a track; only its line must be there.
func ParseTrack(g geo.Geometry, properties json.RawMessage) (Track, []fault.Detail) {
	r := fields.Properties(properties)
	t := Track{Pass: fields.ID(r, "pass", records.ParseID), Width: above(r, "width_m", MaxSwath), Way: g}
	switch g.Flat.(type) {
	case orb.LineString, orb.MultiLineString:
	default:
		r.Fault("geometry", sayTrackShape.Plain())
	}
	return t, r.Faults()
}
