package when

import (
	"strconv"
	"strings"
	"time"
	"unicode"
)

// longest is more than any date and time takes, names and fractions included.
const longest = 64

// parts are the figures of a text before anybody decides what they mean.
type parts struct {
	ok            bool
	Civil              // year and clock; month and day where they are certain
	first, second int  // of a date such as 4/5/2026
	dots          bool // 4.5.2026
	offset        bool
	east          int // seconds
}

// ordered gives the date with the day first and with the month first; ok when
// there is only one, which both then are.
func (p parts) ordered(order Order) (day, month Civil, ok bool) {
	if p.first == 0 {
		return p.Civil, p.Civil, true
	}
	day, month = p.Civil, p.Civil
	day.Day, day.Month = p.first, time.Month(p.second)
	month.Month, month.Day = time.Month(p.first), p.second
	switch {
	case order == DayFirst:
		return day, day, true
	case order == MonthFirst:
		return month, month, true
	case !month.real():
		return day, day, true
	case !day.real():
		return month, month, true
	case p.dots || day == month:
		return day, day, true
	}
	return day, month, false
}

// scan walks over a text.
type scan struct{ rest string }

func (s *scan) take(token string) bool {
	rest, found := strings.CutPrefix(s.rest, token)
	if found {
		s.rest = rest
	}
	return found
}

func (s *scan) space() { s.rest = strings.TrimLeft(s.rest, " ") }

// number takes all digits that stand here when there are least to most.
func (s *scan) number(least, most int) (n, digits int, ok bool) {
	for digits < len(s.rest) && s.rest[digits] >= '0' && s.rest[digits] <= '9' {
		digits++
	}
	if digits < least || digits > most {
		return 0, digits, false
	}
	n, err := strconv.Atoi(s.rest[:digits])
	s.rest = s.rest[digits:]
	return n, digits, err == nil
}

// word takes the letters that stand here.
func (s *scan) word() string {
	end := strings.IndexFunc(s.rest, func(r rune) bool { return !unicode.IsLetter(r) })
	if end < 0 {
		end = len(s.rest)
	}
	word := s.rest[:end]
	s.rest = s.rest[end:]
	return word
}

// Spreadsheets put no-break spaces of two widths before AM and PM.
var plainSigns = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2212", "-")

func parse(text string) parts {
	if len(text) > longest {
		return parts{}
	}
	s := &scan{strings.ToLower(strings.TrimSpace(plainSigns.Replace(text)))}
	var p parts
	if !p.date(s) {
		return parts{}
	}
	if s.rest != "" && !p.clock(s) {
		return parts{}
	}
	p.ok = true
	return p
}

func (p *parts) date(s *scan) bool {
	if s.rest == "" {
		return false
	}
	if s.rest[0] < '0' || s.rest[0] > '9' {
		return p.monthNamed(s)
	}
	start := *s
	n, digits, ok := s.number(1, 8)
	if !ok {
		return false
	}
	switch digits {
	case 8:
		p.Year, p.Month, p.Day = n/10000, time.Month(n/100%100), n%100
		return true
	case 4:
		return p.yearFirst(s, n)
	case 1, 2:
		if p.figures(s, n) {
			return true
		}
		*s = start
		return p.dayNamed(s)
	}
	return false
}

// yearFirst reads the rest of 2026-05-04.
func (p *parts) yearFirst(s *scan, year int) bool {
	separator := s.separator()
	if separator == "" {
		return false
	}
	month, _, ok := s.number(1, 2)
	if !ok || !s.take(separator) {
		return false
	}
	day, _, ok := s.number(1, 2)
	p.Year, p.Month, p.Day = year, time.Month(month), day
	return ok
}

func (s *scan) separator() string {
	for _, sep := range []string{"-", "/", "."} {
		if s.take(sep) {
			return sep
		}
	}
	return ""
}

// figures reads the rest of 4/5/2026.
func (p *parts) figures(s *scan, first int) bool {
	separator := s.separator()
	if separator == "" {
		return false
	}
	second, _, ok := s.number(1, 2)
	if !ok || !s.take(separator) {
		return false
	}
	year, ok := s.year()
	p.Year, p.first, p.second, p.dots = year, first, second, separator == "."
	return ok && first > 0
}

// pivot is POSIX's: two digits from 69 on are of the last century.
const pivot = 69

func (s *scan) year() (int, bool) {
	year, digits, ok := s.number(2, 4)
	switch {
	case !ok || digits == 3:
		return 0, false
	case digits == 4:
		return year, true
	case year < pivot:
		return 2000 + year, true
	}
	return 1900 + year, true
}

// dayNamed reads 4 May 2026, 4-May-2026 and 4 de mayo de 2026.
func (p *parts) dayNamed(s *scan) bool {
	day, _, ok := s.number(1, 2)
	if !ok {
		return false
	}
	s.ordinal()
	s.joint()
	month := months[s.word()]
	s.take(".")
	s.joint()
	year, ok := s.year()
	p.Year, p.Month, p.Day = year, month, day
	return ok && month != 0
}

// monthNamed reads May 4, 2026.
func (p *parts) monthNamed(s *scan) bool {
	month := months[s.word()]
	s.take(".")
	s.joint()
	day, _, ok := s.number(1, 2)
	if !ok {
		return false
	}
	s.ordinal()
	s.take(",")
	s.joint()
	year, ok := s.year()
	p.Year, p.Month, p.Day = year, month, day
	return ok && month != 0
}

// ordinal passes the letters of 4th and 1.º.
func (s *scan) ordinal() {
	for _, ending := range []string{"st", "nd", "rd", "th", ".º", "º"} {
		if s.take(ending) {
			return
		}
	}
}

// joint passes what stands between the words of a date.
func (s *scan) joint() {
	s.space()
	if !s.take("-") && !s.take("/") {
		for _, of := range []string{"del ", "de ", "of "} {
			if s.take(of) {
				break
			}
		}
	}
	s.space()
}

var months = monthNames(
	"january enero", "february febrero", "march marzo", "april abril", "may mayo", "june junio",
	"july julio", "august agosto", "september septiembre setiembre", "october octubre", "november noviembre", "december diciembre")

// monthNames knows each name whole and by its first three letters, September
// by four too, as both languages abbreviate.
func monthNames(names ...string) map[string]time.Month {
	known := map[string]time.Month{}
	for i, both := range names {
		for _, name := range strings.Fields(both) {
			known[name], known[name[:3]] = time.Month(i+1), time.Month(i+1)
		}
	}
	known["sept"] = time.September
	return known
}

// clock reads what follows a date: the time, then the offset if there is one.
func (p *parts) clock(s *scan) bool {
	spaced := s.rest[0] == ' ' || s.rest[0] == ','
	if !s.take("t") {
		s.take(",")
		s.space()
		if !spaced {
			return false
		}
	}
	if !p.time(s) {
		return false
	}
	s.space()
	return s.rest == "" || p.zone(s) && s.rest == ""
}

func (p *parts) time(s *scan) bool {
	hour, _, ok := s.number(1, 2)
	if !ok {
		return false
	}
	p.Clock, p.Hour = true, hour
	minutes := s.take(":")
	if minutes {
		if p.Minute, _, ok = s.number(2, 2); !ok {
			return false
		}
		if s.take(":") && !p.seconds(s) {
			return false
		}
	}
	half, said := s.half()
	if !said {
		return minutes
	}
	if hour < 1 || hour > 12 {
		return false
	}
	p.Hour = hour%12 + half
	return true
}

func (p *parts) seconds(s *scan) (ok bool) {
	if p.Second, _, ok = s.number(2, 2); !ok {
		return false
	}
	if !s.take(".") && !s.take(",") {
		return true
	}
	digits := len(s.rest) - len(strings.TrimLeft(s.rest, "0123456789"))
	if digits == 0 {
		return false
	}
	const nano = 9
	fraction := (s.rest[:digits] + strings.Repeat("0", nano))[:nano]
	s.rest = s.rest[digits:]
	n, err := strconv.Atoi(fraction)
	p.Nanosecond = n
	return err == nil
}

// half tells the half of the day, in hours after its start.
func (s *scan) half() (hours int, said bool) {
	rest := *s
	rest.space()
	for _, h := range []struct {
		text  string
		hours int
	}{{"a.m.", 0}, {"a. m.", 0}, {"am", 0}, {"p.m.", 12}, {"p. m.", 12}, {"pm", 12}} {
		if rest.take(h.text) {
			*s = rest
			return h.hours, true
		}
	}
	return 0, false
}

// mostOffset is RFC 3339's bound; no clock on Earth is farther than 14 hours.
const mostOffset = 24

func (p *parts) zone(s *scan) bool {
	p.offset = true
	if s.take("z") || s.take("utc") || s.take("gmt") {
		return true
	}
	sign := 1
	if s.take("-") {
		sign = -1
	} else if !s.take("+") {
		return false
	}
	hours, digits, ok := s.number(1, 4)
	minutes := 0
	switch {
	case !ok || digits == 3:
		return false
	case digits == 4:
		hours, minutes = hours/100, hours%100
	case s.take(":"):
		if minutes, _, ok = s.number(2, 2); !ok {
			return false
		}
	}
	p.east = sign * (hours*3600 + minutes*60)
	return hours < mostOffset && minutes < 60
}
