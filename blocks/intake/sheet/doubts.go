package sheet

import (
	"regexp"
	"strings"
	"time"

	"caneward/blocks/when"
	"caneward/geo/wire"
)

// refusal is what makes a sheet's places wrong without any cell being so.
func (s *Source) refusal() *wire.Error {
	if len(s.o.Fields) > 0 {
		return nil // somebody has said what the columns hold
	}
	if got := s.split(); got != "" {
		return &wire.Error{Rule: RuleSplit, Line: max(s.headed.line, 1), Byte: int64(s.headed.byte), Got: got}
	}
	// Numbers cut in two make every row that has a place longer than the header.
	if n := s.facts.seen; n != nil && n.cut > 0 && n.whole == 0 {
		return &wire.Error{Rule: RuleDecimalComma, Line: n.cutAt.line, Byte: int64(n.cutAt.byte), Got: n.cutText}
	}
	return nil
}

// split lists columns that hold the minutes or seconds of a latitude or
// longitude, which its column of degrees lacks.
func (s *Source) split() string {
	if !s.has(Latitude) || !s.has(Longitude) {
		return ""
	}
	var found []string
	for _, h := range s.header {
		name, _ := plain(h)
		if minutes.MatchString(name) {
			found = append(found, h)
		}
	}
	return shortenList(found)
}

var minutes = regexp.MustCompile(`^(lat|latitude|latitud|lon|long|lng|longitude|longitud)(min|mins|minutes?|minutos?|sec|secs|seconds?|seg|segundos?)$`)

// lookAtWidth notes a row whose latitude and longitude are whole numbers while
// it has more cells than the header: 36,31 between commas.
func (s *Source) lookAtWidth(r row) {
	x, y := s.axes()
	if s.delimiter != ',' || s.headed.line == 0 || !s.has(x) || !s.has(y) || !digits(s.cell(r, x)) || !digits(s.cell(r, y)) {
		return
	}
	n := s.facts.seen
	width := len(s.header)
	for width > 0 && s.header[width-1] == "" {
		width--
	}
	long := len(r.cells) > width+1 && strings.TrimSpace(strings.Join(r.cells[width:], "")) != ""
	if !long || !whole(s.cell(r, x)) || !whole(s.cell(r, y)) {
		n.whole++
		return
	}
	if n.cut++; n.cut == 1 {
		n.cutAt, n.cutText = r.place, shorten(strings.Join(r.cells, ","))
	}
}

func whole(cell string) bool {
	cell = strings.TrimLeft(strings.TrimSpace(cell), "+-")
	return cell != "" && strings.Trim(cell, "0123456789") == ""
}

// doubtColumns notes columns that stand twice, of which the first counts.
func (s *Source) doubtColumns() {
	first := map[string]bool{}
	for i, h := range s.header {
		name, _ := plain(h)
		if f, _ := meaning(h); (f == Latitude || f == Longitude) && s.has(f) {
			name = string(f)
		}
		if name == "" {
			continue
		}
		if first[name] && s.fields[i] == Other {
			s.note(RuleTwiceHeaded, s.headed, h+" → "+s.names[i])
		}
		first[name] = true
	}
}

// saysOrder are headers of pairs that say which number comes first.
var saysOrder = map[string]bool{"latlon": true, "latlong": true, "latlng": true, "latitudelongitude": true, "latitudlongitud": true}

// doubtPair notes that nothing but custom puts the latitude of a pair first.
func (s *Source) doubtPair() {
	n := s.facts.seen
	if n == nil || !s.has(LatLon) || n.open == 0 || n.lonFirst+n.latBack > 0 {
		return
	}
	header := s.header[s.of[LatLon]]
	if name, _ := plain(header); !saysOrder[name] {
		s.note(RuleLatFirst, s.headed, header)
	}
}

// shortDate is a date whose year has two digits.
var shortDate = regexp.MustCompile(`^\s*\d{1,2}([-/.])\d{1,2}[-/.](\d{2})(\D|$)`)

// twoReadings reports whether a date such as 26-05-04 may begin or end with its
// year. With slashes and dots the year comes last.
func twoReadings(cell string) bool {
	m := shortDate.FindStringSubmatch(cell)
	return m != nil && m[1] == "-" && m[2] <= "31" // a day of the month at most
}

// Years that a record of the field may have: none is older than the people who
// keep it, and what is planned for next year has no later date.
const oldestYear = 1950

// doubtDate notes a date whose year is a guess, or cannot be right.
func (s *Source) doubtDate(r row, cell string, read when.Reading) {
	year := read.Local.Year
	if read.Kind == when.Instant {
		year = read.At.Year()
	}
	if shortDate.MatchString(cell) {
		s.count(RuleShortYear, r.place, shorten(cell)+" → "+read.Local.String())
	}
	now := s.o.Now
	if now.IsZero() {
		now = time.Now()
	}
	if year < oldestYear || year > now.Year()+1 {
		s.count(RuleYear, r.place, shorten(cell))
	}
}
