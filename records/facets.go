package records

import (
	"encoding/json"
	"math"
	"time"

	"caneward/geo"
)

// Facets are what lists narrow by. They follow from the record alone.
type Facets struct {
	// Box holds the shape; nil without one, or when a coordinate is not a number.
	Box *geo.Box
	// From and To are the record's own time span, both ends included, UTC,
	// whole microseconds; both zero when it says no time. A single time is a
	// span of no length.
	From, To time.Time
	// Block is the property "block" where it is an id.
	Block ID
}

// timeProperties names the properties that say when, per kind. Names ending in
// _on are dates, in _at times. Kinds that stand for things that last (blocks,
// rows, surroundings, products) have no time.
var timeProperties = map[Kind][]string{
	Stages:   {"observed_on", "observed_at", "started_on", "ended_on"},
	Visits:   {"started_at", "ended_at"},
	Finds:    {"found_at"},
	Samples:  {"sent_on", "result_on"},
	Removals: {"done_on"},
	Reviews:  {"signed_at", "reviewed_on"},
	Passes:   {"started_at", "ended_at"},
	Tracks:   {"started_at", "ended_at"},
}

// FacetsOf draws the facets out of a record. A time is RFC 3339 with zone; a
// date is the whole day in UTC, because a record carries no zone: a caller
// that asks for a local day widens it by that day's offset. A time that cannot
// be read is passed over. A track's span also takes in its measures, which are
// Unix seconds.
func FacetsOf(kind Kind, r Record) Facets {
	var f Facets
	f.Box = boxOf(r.Geometry)
	var members map[string]json.RawMessage
	if json.Unmarshal(r.Properties, &members) != nil {
		members = nil
	}
	for _, name := range timeProperties[kind] {
		if from, to, ok := readTime(members[name]); ok {
			f.widen(from, to)
		}
	}
	if kind == Tracks {
		f.widenBy(r.Geometry.Measures)
	}
	var block string
	if json.Unmarshal(members["block"], &block) == nil && isUUID7(block) {
		f.Block = ID(block)
	}
	return f
}

func (f *Facets) widen(from, to time.Time) {
	if f.From.IsZero() || from.Before(f.From) {
		f.From = from
	}
	if f.To.IsZero() || to.After(f.To) {
		f.To = to
	}
}

// latestMeasure is the end of the year 9999 in Unix seconds, the last time
// RFC 3339 can write.
const latestMeasure = 253402300799

func (f *Facets) widenBy(measures []float64) {
	for _, m := range measures {
		if m >= -latestMeasure && m <= latestMeasure {
			at := time.UnixMicro(int64(math.Floor(m * 1e6))).UTC()
			f.widen(at, at)
		}
	}
}

func readTime(raw json.RawMessage) (from, to time.Time, ok bool) {
	var s string
	if len(raw) == 0 || json.Unmarshal(raw, &s) != nil {
		return from, to, false
	}
	if day, err := time.Parse(time.DateOnly, s); err == nil {
		return day, day.AddDate(0, 0, 1).Add(-time.Microsecond), true
	}
	at, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return from, to, false
	}
	at = WholeMicroseconds(at)
	return at, at, true
}

// WholeMicroseconds cuts a time, toward the past, to what stores keep, in UTC.
func WholeMicroseconds(t time.Time) time.Time {
	return time.UnixMicro(t.UnixMicro()).UTC()
}

func boxOf(g geo.Geometry) *geo.Box {
	if isNothing(g.Flat) {
		return nil
	}
	box := g.Flat.Bound()
	for _, v := range []float64{box.Min[0], box.Min[1], box.Max[0], box.Max[1]} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
	}
	return &box
}
