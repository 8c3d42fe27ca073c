package web

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

var (
	badBBox     = words.New("web-bad-bbox", "bbox is west,south,east,north in degrees, or six numbers with two heights; this is “{got}”.", "bbox es oeste,sur,este,norte en grados, o seis números con dos alturas; esto es «{got}».")
	badDatetime = words.New("web-bad-datetime", "datetime is a time with zone, a day, or start/end with .. for an open end; this is “{got}”.", "datetime es una hora con zona, un día, o inicio/fin con .. para un extremo abierto; esto es «{got}».")
	badLimit    = words.New("web-bad-limit", "limit is a whole number from 1; this is “{got}”.", "limit es un número entero desde 1; esto es «{got}».")
	badCursor   = words.New("web-bad-cursor", "after is the id where a list goes on; this is “{got}”.", "after es el id donde continúa una lista; esto es «{got}».")
	badSequence = words.New("web-bad-sequence", "after is a whole number from 0; this is “{got}”.", "after es un número entero desde 0; esto es «{got}».")
)

func badParameter(m words.Message, name, got string) error {
	text := m.With(words.Args{"got": shorten(got)})
	return fault.New(fault.Malformed, text, fault.Detail{Text: text, Field: name})
}

// parseBBox reads the parameter of OGC API - Features part 1, 7.15.3. Heights
// are checked and not used. A box whose west is greater than its east lies on
// both sides of longitude 180 and comes as two. Degrees beyond the globe, which
// maps zoomed far out send, are brought back onto it.
func parseBBox(text string) ([]geo.Box, error) {
	refused := badParameter(badBBox, "bbox", text)
	parts := strings.Split(text, ",")
	if len(parts) != 4 && len(parts) != 6 {
		return nil, refused
	}
	n := make([]float64, len(parts))
	for i, p := range parts {
		p = strings.TrimSpace(p)
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.Trim(p, "0123456789+-.eE") != "" {
			return nil, refused
		}
		n[i] = v
	}
	if len(n) == 6 {
		if n[2] > n[5] {
			return nil, refused
		}
		n = []float64{n[0], n[1], n[3], n[4]}
	}
	west, south, east, north := n[0], n[1], n[2], n[3]
	if south > north || north < -90 || south > 90 {
		return nil, refused
	}
	south, north = math.Max(south, -90), math.Min(north, 90)
	box := func(w, e float64) geo.Box {
		return geo.Box{Min: geo.Position{w, south}, Max: geo.Position{e, north}}
	}
	if east-west >= 360 {
		return []geo.Box{box(-180, 180)}, nil
	}
	if west < -180 || west > 180 {
		west = math.Remainder(west, 360)
	}
	if east < -180 || east > 180 {
		east = math.Remainder(east, 360)
	}
	if west > east {
		return []geo.Box{box(west, 180), box(-180, east)}, nil
	}
	return []geo.Box{box(west, east)}, nil
}

// parseDatetime reads the parameter of OGC API - Features part 1, 7.15.4. A zero
// time is an open end. A date alone, which that standard leaves out, is the
// whole day in the farm's zone.
func parseDatetime(text string, zone *time.Location) (from, to time.Time, err error) {
	refused := badParameter(badDatetime, "datetime", text)
	ends := strings.Split(text, "/")
	switch len(ends) {
	case 1:
		f, t, ok := parseInstant(ends[0], zone)
		if !ok {
			return from, to, refused
		}
		return f, t, nil
	case 2:
	default:
		return from, to, refused
	}
	open := func(s string) bool { return s == "" || s == ".." }
	if open(ends[0]) && open(ends[1]) {
		return from, to, refused
	}
	ok := true
	if !open(ends[0]) {
		from, _, ok = parseInstant(ends[0], zone)
	}
	if ok && !open(ends[1]) {
		_, to, ok = parseInstant(ends[1], zone)
	}
	if !ok || !from.IsZero() && !to.IsZero() && to.Before(from) {
		return time.Time{}, time.Time{}, refused
	}
	return from, to, nil
}

func parseInstant(text string, zone *time.Location) (from, to time.Time, ok bool) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, t, !t.IsZero()
	}
	if t, err := time.ParseInLocation(time.DateOnly, text, zone); err == nil {
		return t, t.AddDate(0, 0, 1).Add(-time.Microsecond), !t.IsZero()
	}
	return from, to, false
}

// parseLimit reads a count from 1; more than most counts as most.
func parseLimit(text string, usual, most int) (int, error) {
	if text == "" {
		return usual, nil
	}
	n, ok := new(big.Int).SetString(text, 10)
	if len(text) > 40 || !ok || n.Sign() <= 0 || strings.HasPrefix(text, "+") {
		return 0, badParameter(badLimit, "limit", text)
	}
	if !n.IsInt64() || n.Int64() > int64(most) {
		return most, nil
	}
	return int(n.Int64()), nil
}

func parseSequence(text string) (int64, error) {
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n < 0 {
		return 0, badParameter(badSequence, "after", text)
	}
	return n, nil
}

// given is a parameter's text; an empty one that stands there is not the same
// as none.
func (x *exchange) given(name string) (string, bool) {
	v, there := x.query[name]
	if !there {
		return "", false
	}
	return v[0], true
}

// listAsk is a list as a client asked for it.
type listAsk struct {
	query records.Query // without a box
	boxes []geo.Box     // none, one, or two that meet at longitude 180
	limit int
}

// Sizes of a list's page: usual fits a screen, most is what part 1 of the
// standard calls the server's maximum.
const (
	usualPage = 100
	mostPage  = 10_000
)

func (x *exchange) listAsk(zone *time.Location) (listAsk, error) {
	a := listAsk{query: records.Query{Equal: map[string]string{}}}
	var err error
	if text, ok := x.given("bbox"); ok {
		if a.boxes, err = parseBBox(text); err != nil {
			return a, err
		}
	}
	if text, ok := x.given("datetime"); ok {
		if a.query.From, a.query.To, err = parseDatetime(text, zone); err != nil {
			return a, err
		}
	}
	text, ok := x.given("limit")
	if ok && text == "" {
		return a, badParameter(badLimit, "limit", text)
	}
	if a.limit, err = parseLimit(text, usualPage, mostPage); err != nil {
		return a, err
	}
	if text, ok := x.given("after"); ok {
		if a.query.After, err = records.ParseID(text); err != nil {
			return a, badParameter(badCursor, "after", text)
		}
	}
	for _, name := range filters[x.kind()] {
		if v, ok := x.given(name); ok {
			a.query.Equal[name] = v
		}
	}
	return a, nil
}
