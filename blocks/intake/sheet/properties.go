package sheet

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"

	"caneward/blocks/when"
	"caneward/geo/wire"
)

// Properties that come from dates and times.
const timeProperty = "time"

// propertyNames gives each column the name that it has where its header is
// kept, no name twice.
func (s *Source) propertyNames() []string {
	taken := map[string]bool{}
	for _, f := range s.fields {
		taken[string(f)] = taken[string(f)] || named(f)
		taken[timeProperty] = taken[timeProperty] || f == Date || f == Time
	}
	names := make([]string, len(s.header))
	for i, header := range s.header {
		if f := s.fields[i]; f != Other && f != Date && f != Time {
			continue
		}
		name := header
		if name == "" {
			name = numbered(i)
		}
		names[i] = name
		// A clock time that stays under its header "time" takes no other's name.
		for n := 2; taken[names[i]] && !(s.fields[i] == Time && name == timeProperty); n++ {
			names[i] = name + " (" + strconv.Itoa(n) + ")"
		}
		taken[names[i]] = true
	}
	return names
}

// properties fills in what a row says beside its place. Columns nobody knows
// keep their header and stay text, so that 007 and codes of digits survive.
func (s *Source) properties(r row, f *wire.Feature) error {
	o := object{make([]byte, 0, len(r.cells)*32)}
	moment, err := s.moment(r, f)
	if moment != "" {
		o.addText(timeProperty, moment)
	}
	for i, cell := range r.cells {
		if blank(cell) {
			continue
		}
		if i >= len(s.header) {
			o.addText(s.unheaded(i), cell)
			continue
		}
		switch field := s.fields[i]; {
		case field == ID:
			f.ID, f.IDKind = strings.TrimSpace(cell), wire.StringID
		case named(field):
			o.add(string(field), s.value(field, i, cell))
		case field == Other, (field == Date || field == Time) && moment == "":
			o.addText(s.names[i], cell)
		}
	}
	f.Properties = o.bytes()
	return err
}

// unheaded is the name of a cell beyond the header.
func (s *Source) unheaded(i int) string {
	name := numbered(i)
	for slices.Contains(s.names, name) {
		name += "+"
	}
	return name
}

// named reports whether a field is the property of its own name.
func named(f Field) bool {
	switch f {
	case Name, Note, Block, Row, Plant, Cause, Severity, Accuracy:
		return true
	}
	return false
}

// value is a cell of a known field: figures become numbers, a note stays as it
// is, other text loses the white space around it.
func (s *Source) value(f Field, column int, cell string) json.RawMessage {
	switch f {
	case Note:
		return text(cell)
	case Row, Plant, Severity, Accuracy:
		if v, ok := number(cell, s.facts.thousands[column]); ok {
			return json.RawMessage(strconv.FormatFloat(v, 'f', -1, 64))
		}
	}
	return text(strings.TrimSpace(cell))
}

// moment is the property time of a row: RFC 3339 with an offset where one is
// known, without where it is not, or a date; "" where there is none or it
// cannot be read, which is noted. A time that never was, or was twice, breaks
// the row.
func (s *Source) moment(r row, f *wire.Feature) (string, error) {
	date, clock := strings.TrimSpace(s.cell(r, Date)), strings.TrimSpace(s.cell(r, Time))
	if date == "" && clock == "" {
		return "", nil
	}
	read, err := s.readMoment(r, date, clock)
	if err == nil {
		s.doubtDate(r, date, read)
		return s.written(r, read), nil
	}
	got := shorten(date + " " + clock)
	switch read.Kind {
	case when.Skipped:
		from, to := read.Gap.Clocks()
		e := s.broken(r, RuleSkipped, "", err)
		e.Got = got + " [" + s.o.Zone.String() + ": " + from + " → " + to + "]"
		return "", e
	case when.Twice:
		const minute = "2006-01-02T15:04Z07:00"
		e := s.broken(r, RuleTwice, "", err)
		e.Got = got + " [" + read.Either[0].Format(minute) + " / " + read.Either[1].Format(minute) + "]"
		return "", e
	case when.TwoDates:
		return "", nil // asked about for the whole column
	}
	// A clock time alone is kept under its own header.
	if date != "" {
		f.Departures = append(f.Departures, &wire.Error{Rule: RuleDate, Feature: s.number, Line: r.line, Byte: int64(r.byte), Got: shorten(date)})
	}
	return "", nil
}

var errNoDate = errors.New("no date")

func (s *Source) readMoment(r row, date, clock string) (when.Reading, error) {
	if date == "" {
		return when.Read(clock, s.o.Zone, s.order())
	}
	day, err := s.readDate(r, date)
	if clock == "" || err != nil || day.Kind != when.Day {
		return day, err
	}
	if c, ok := s.serialClock(day.Local, clock); ok {
		return when.In(c, s.o.Zone)
	}
	if both, err := when.Read(day.Local.String()+" "+clock, s.o.Zone, s.order()); err == nil || both.Kind != when.Bad {
		return both, err
	}
	// The column of times may hold the date as well.
	if whole, err := when.Read(clock, s.o.Zone, s.order()); err == nil && whole.Kind != when.Day {
		return whole, nil
	}
	return when.Reading{}, errNoDate
}

// Day numbers taken for dates: 1950 to 2100. Years, codes and times in seconds
// lie outside.
const (
	firstDayNumber = 18264
	lastDayNumber  = 73415
)

func (s *Source) readDate(r row, cell string) (when.Reading, error) {
	if twoReadings(cell) {
		return when.Reading{}, errNoDate
	}
	days, ok := number(cell, s.facts.thousands[s.of[Date]])
	if !ok || days < firstDayNumber || days >= lastDayNumber+1 {
		return when.Read(cell, s.o.Zone, s.order())
	}
	c, ok := when.Serial(days)
	if !ok {
		return when.Reading{}, errNoDate
	}
	s.count(RuleSerial, r.place, shorten(cell)+" → "+c.String())
	return when.In(c, s.o.Zone)
}

// serialClock reads a time of day that a spreadsheet wrote as a part of a day.
func (s *Source) serialClock(day when.Civil, cell string) (when.Civil, bool) {
	v, ok := number(cell, s.facts.thousands[s.of[Time]])
	if !ok || v < 0 || v >= 1 || strings.Trim(cell, "0123456789") == "" && v != 0 {
		return when.Civil{}, false
	}
	const daySeconds = 24 * 60 * 60
	seconds := int(math.Min(math.Round(v*daySeconds), daySeconds-1))
	day.Clock, day.Hour, day.Minute, day.Second = true, seconds/3600, seconds/60%60, seconds%60
	return day, true
}

// written is a reading as the property time.
func (s *Source) written(r row, read when.Reading) string {
	switch read.Kind {
	case when.Instant:
		return read.At.Format("2006-01-02T15:04:05.999999999Z07:00")
	case when.Local:
		s.count(RuleLocal, r.place, read.Local.String())
	}
	return read.Local.String()
}
