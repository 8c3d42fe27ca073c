package kml

import (
	"math"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// run is a list of positions with their heights, NaN where there is none.
type run struct {
	at      []orb.Point
	heights []float64
}

func (r *run) add(v [3]float64, n int) {
	r.at = append(r.at, orb.Point{v[0], v[1]})
	z := math.NaN()
	if n == 3 {
		z = v[2]
	}
	r.heights = append(r.heights, z)
}

// coordinates reads the text of a coordinates element: tuples of longitude,
// latitude and perhaps height joined by commas and parted by white space
// (OGC 07-147r2 section 16.9). What is written otherwise is read where it can
// be read in one way only; the rule says how, "" for as it should be.
func coordinates(t markup.Text, most int) (run, wire.Rule, *wire.Error) {
	r, bad := tuples(t.S, most)
	if bad < 0 {
		return r, "", nil
	}
	if bad == tooMany {
		return run{}, "", vertices(most)
	}
	for _, mend := range []struct {
		rule wire.Rule
		read func(string, int) (run, int)
	}{{RuleJoined, commaEnded}, {RuleSpaces, spaced}, {RuleJoined, joined}} {
		if r, left := mend.read(t.S, most); left < 0 {
			return r, mend.rule, nil
		}
	}
	e := t.Fail(RuleCoordinates, bad)
	e.Got = markup.Shorten(word(t.S[bad:]))
	return run{}, "", e
}

const (
	none    = -1
	tooMany = math.MaxInt
)

func vertices(most int) *wire.Error {
	return &wire.Error{Rule: wire.RuleVertices, Limit: int64(most), Byte: -1}
}

func isSpace(c byte) bool { return c == ' ' || c == '\n' || c == '\t' || c == '\r' }

func word(s string) string {
	if i := strings.IndexAny(s, " \n\t\r"); i >= 0 {
		return s[:i]
	}
	return s
}

// tuples reads what is written as it should be; the place of the first tuple
// that is not, else none.
func tuples(s string, most int) (run, int) {
	var r run
	for i := 0; i < len(s); {
		if isSpace(s[i]) {
			i++
			continue
		}
		if len(r.at) == 0 {
			// Half of the commas in a text with heights; the slices are of the
			// text's own size at most.
			n := 1 + strings.Count(s, ",")/2
			r.at, r.heights = make([]orb.Point, 0, min(n, most)), make([]float64, 0, min(n, most))
		}
		if len(r.at) == most {
			return r, tooMany
		}
		v, n, end := tuple(s, i)
		if n < 2 {
			return r, i
		}
		r.add(v, n)
		i = end
	}
	return r, none
}

// tuple reads two or three numbers that end at white space; n is 0 when they
// are something else.
func tuple(s string, from int) (v [3]float64, n, end int) {
	start := from
	for i := from; ; i++ {
		if i < len(s) && s[i] != ',' && !isSpace(s[i]) {
			continue
		}
		if n == 3 {
			return v, 0, i
		}
		f, ok := number(s[start:i])
		if !ok {
			return v, 0, i
		}
		v[n] = f
		n++
		start = i + 1
		if i >= len(s) || isSpace(s[i]) {
			return v, n, i
		}
	}
}

// number reads a decimal number; ParseFloat alone would take names and
// hexadecimals.
func number(s string) (float64, bool) {
	if s == "" || len(s) > 400 {
		return 0, false
	}
	for i := range len(s) {
		if c := s[i]; (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	f, err := strconv.ParseFloat(s, 64)
	return f, err == nil
}

// commaEnded reads tuples that end in a comma besides the white space:
// "lon,lat, lon,lat".
func commaEnded(s string, most int) (run, int) {
	var r run
	for _, w := range strings.Fields(s) {
		w = strings.Trim(w, ",")
		if w == "" {
			continue
		}
		if len(r.at) == most {
			return r, 0
		}
		v, n, _ := tuple(w, 0)
		if n < 2 {
			return r, 0
		}
		r.add(v, n)
	}
	return r, none
}

// spaced reads tuples with white space beside their commas: "lon, lat, 0".
func spaced(s string, most int) (run, int) {
	return tuples(tightened(s), most)
}

func tightened(s string) string {
	parts := strings.Split(s, ",")
	for i := range parts {
		if i > 0 {
			parts[i] = strings.TrimLeft(parts[i], " \n\t\r")
		}
		if i < len(parts)-1 {
			parts[i] = strings.TrimRight(parts[i], " \n\t\r")
		}
	}
	return strings.Join(parts, ",")
}

// widestFarm is how many degrees positions in one shape lie apart at most for
// them to be told from heights.
const widestFarm = 5

// joined reads numbers that are all joined by commas: as pairs or as triples,
// whichever gives places on Earth that lie near each other. Where both do, or
// neither, nothing is read.
func joined(s string, most int) (run, int) {
	s = strings.Trim(tightened(strings.TrimSpace(s)), ",")
	if s == "" || strings.ContainsAny(s, " \n\t\r") || strings.Count(s, ",") < 3 {
		return run{}, 0
	}
	parts := strings.Split(s, ",")
	if len(parts)/2 > most {
		return run{}, 0
	}
	all := make([]float64, len(parts))
	for i, p := range parts {
		f, ok := number(p)
		if !ok {
			return run{}, 0
		}
		all[i] = f
	}
	pairs, triples := near(all, 2), near(all, 3)
	if pairs == triples {
		return run{}, 0
	}
	n := 2
	if triples {
		n = 3
	}
	var r run
	for i := 0; i < len(all); i += n {
		var v [3]float64
		copy(v[:], all[i:i+n])
		r.add(v, n)
	}
	return r, none
}

func near(all []float64, n int) bool {
	if len(all)%n != 0 {
		return false
	}
	b := orb.Bound{Min: orb.Point{all[0], all[1]}, Max: orb.Point{all[0], all[1]}}
	for i := 0; i < len(all); i += n {
		if math.Abs(all[i]) > 180 || math.Abs(all[i+1]) > 90 {
			return false
		}
		b = b.Extend(orb.Point{all[i], all[i+1]})
	}
	return b.Max[0]-b.Min[0] <= widestFarm && b.Max[1]-b.Min[1] <= widestFarm
}
