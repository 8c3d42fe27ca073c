// Package when reads dates and times as people write them. It never invents
// what is not there: a date stays a date and belongs to no zone, a clock time
// without an offset becomes an instant only in a zone that somebody named, a
// time that the clocks skipped is refused and one that they struck twice gives
// both instants.
package when

import (
	"fmt"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Civil is a date, and a clock time where Clock says there is one, as a wall
// calendar and a wall clock show them; no zone.
type Civil struct {
	Year                 int
	Month                time.Month
	Day                  int
	Clock                bool
	Hour, Minute, Second int
	Nanosecond           int
}

// String is RFC 3339's date, followed by T and the time when there is one.
func (c Civil) String() string {
	if !c.Clock {
		return fmt.Sprintf("%04d-%02d-%02d", c.Year, c.Month, c.Day)
	}
	return c.as(time.UTC).Format("2006-01-02T15:04:05.999999999")
}

func (c Civil) as(zone *time.Location) time.Time {
	return time.Date(c.Year, c.Month, c.Day, c.Hour, c.Minute, c.Second, c.Nanosecond, zone)
}

func civil(t time.Time) Civil {
	return Civil{Year: t.Year(), Month: t.Month(), Day: t.Day(), Clock: true,
		Hour: t.Hour(), Minute: t.Minute(), Second: t.Second(), Nanosecond: t.Nanosecond()}
}

// real reports whether the calendar has such a day and the clock such a time.
func (c Civil) real() bool {
	if c.Year < 1 || c.Year > 9999 || c.Month < 1 || c.Month > 12 || c.Day < 1 {
		return false
	}
	t := c.as(time.UTC)
	return t.Day() == c.Day && c.Hour < 24 && c.Minute < 60 && c.Second < 60
}

// Kind is what a text turned out to be.
type Kind int

// The kinds.
const (
	Bad      Kind = iota // no date or time that is read here
	Day                  // a date without a time: Local
	Instant              // one moment: At, and Local as the text has it
	Local                // a date and a clock time that nothing places in a zone
	Twice                // clocks were set back and struck it twice: Either
	Skipped              // clocks were set forward over it: Gap
	TwoDates             // day or month first? Days
)

// Gap is where clocks were set forward: at From they jumped To.
type Gap struct{ From, To Civil }

// Reading is what a text says.
type Reading struct {
	Kind   Kind
	Local  Civil        // as written; zero for Bad and TwoDates
	At     time.Time    // of an Instant, in the zone asked for, else at the text's own offset
	Offset bool         // the text itself carries the offset
	Either [2]time.Time // of Twice, earlier first
	Gap    Gap          // of Skipped
	Days   [2]Civil     // of TwoDates: day first, month first
	got    string
}

// What this package says. Each message names the text it is about.
var (
	sayBad = words.New("when-bad",
		"“{got}” is no date or time that is read here.",
		"«{got}» no es una fecha ni una hora que se lea aquí.")
	fixBad = words.New("when-bad-fix",
		"Write it as 2026-05-04, or 2026-05-04 14:30.",
		"Escríbalo como 2026-05-04 o 2026-05-04 14:30.")
	saySkipped = words.New("when-skipped",
		"The time {got} does not exist in {zone}: clocks jump {from} to {to}.",
		"La hora {got} no existe en {zone}: los relojes saltan de {from} a {to}.")
	fixSkipped = words.New("when-skipped-fix",
		"Look up when it was, or write the time with its offset from UTC.",
		"Compruebe cuándo fue, o escriba la hora con su desfase de UTC.")
	sayTwice = words.New("when-twice",
		"The time {got} came twice in {zone}, as clocks were set back: it is {first} or {second}.",
		"La hora {got} se dio dos veces en {zone}, al atrasarse los relojes: es {first} o {second}.")
	fixTwice = words.New("when-twice-fix",
		"Write the one that is meant, with its offset.",
		"Escriba la que corresponda, con su desfase.")
	sayTwoDates = words.New("when-two-dates",
		"The date {got} is {first} with the day first, or {second} with the month first.",
		"La fecha {got} es {first} si el día va primero, o {second} si va primero el mes.")
	fixTwoDates = words.New("when-two-dates-fix",
		"Say which comes first, or write dates as 2026-05-04.",
		"Indique cuál va primero o escriba las fechas como 2026-05-04.")
)

// Read reads one date or time, at most 64 bytes, white space around it aside:
//
//	2026-05-04, 2026/5/4, 20260504
//	4/5/2026, 4-5-26, 4.5.2026 (two digits are 1969 to 2068, as POSIX has it)
//	4 May 2026, 4-May-2026, May 4, 2026, 4 de mayo de 2026, mayo 4, 2026
//
// and any of them followed by T or a space and a time: 14:30, 14:30:05.25,
// 2:30 PM, 2:30 p. m.; then by Z, UTC, +02:00, -0600 or +02. RFC 3339 is a part
// of this. Fractions are cut at a nanosecond. Neither leap seconds nor 24:00
// nor the letters of zones (CST is three of them) are read.
//
// A zone of nil means none is known: a time without offset is then Local. The
// zone never touches a date. The order says how 4/5/2026 is read; dates with
// dots have the day first unless the order says otherwise, and a day above 12
// tells by itself. The error is a *fault.Error, fault.Invalid, exactly where the
// text is no single date or time: Bad, Twice, Skipped, TwoDates.
func Read(text string, zone *time.Location, order Order) (Reading, error) {
	p := parse(text)
	r := Reading{got: shown(text)}
	if !p.ok {
		return r, r.refusal(zone)
	}
	day, month, ok := p.ordered(order)
	if !ok {
		if !day.real() && !month.real() {
			return r, r.refusal(zone)
		}
		r.Kind, r.Days = TwoDates, [2]Civil{day, month}
		return r, r.refusal(zone)
	}
	if !day.real() {
		return r, r.refusal(zone)
	}
	r.Local = day
	r.place(p, zone)
	return r, r.refusal(zone)
}

// place finds the moment of a good date.
func (r *Reading) place(p parts, zone *time.Location) {
	switch {
	case !r.Local.Clock:
		r.Kind = Day
	case p.offset:
		r.Kind, r.Offset = Instant, true
		at := time.FixedZone("", p.east)
		if p.east == 0 {
			at = time.UTC
		}
		r.At = r.Local.as(at)
		if zone != nil {
			r.At = r.At.In(zone)
		}
	case zone == nil:
		r.Kind = Local
	default:
		r.inZone(zone)
	}
}

// In places a wall clock time in a zone, as Read does.
func In(c Civil, zone *time.Location) (Reading, error) {
	r := Reading{Local: c, got: c.String()}
	if !c.real() {
		return Reading{got: r.got}, Reading{got: r.got}.refusal(zone)
	}
	r.place(parts{}, zone)
	return r, r.refusal(zone)
}

// farthest is more than any clock has been from UTC, in either direction.
const farthest = 26 * time.Hour

// inZone tries every offset that the zone has around the time.
func (r *Reading) inZone(zone *time.Location) {
	wall := r.Local.as(time.UTC)
	var found []time.Time
	for at := wall.Add(-farthest).In(zone); ; {
		_, offset := at.Zone()
		start, end := at.ZoneBounds()
		try := wall.Add(-time.Duration(offset) * time.Second).In(zone)
		if (start.IsZero() || !try.Before(start)) && (end.IsZero() || try.Before(end)) {
			found = append(found, try)
		}
		if end.IsZero() || end.After(wall.Add(farthest)) {
			break
		}
		_, next := end.Zone()
		before := end.UTC().Add(time.Duration(offset) * time.Second)
		after := end.UTC().Add(time.Duration(next) * time.Second)
		if !wall.Before(before) && wall.Before(after) {
			r.Gap = Gap{civil(before), civil(after)}
		}
		at = end
	}
	switch len(found) {
	case 0:
		r.Kind = Skipped
	case 1:
		r.Kind, r.At = Instant, found[0]
		r.Gap = Gap{}
	default:
		r.Kind, r.Either = Twice, [2]time.Time{found[0], found[1]}
	}
}

func (r Reading) refusal(zone *time.Location) error {
	args := words.Args{"got": r.got}
	if zone != nil {
		args["zone"] = zone.String()
	}
	var text words.Text
	var fix words.Message
	switch r.Kind {
	case Bad:
		text, fix = sayBad.With(args), fixBad
	case Skipped:
		args["from"], args["to"] = r.Gap.Clocks()
		text, fix = saySkipped.With(args), fixSkipped
	case Twice:
		args["first"], args["second"] = r.Either[0].Format(time.RFC3339), r.Either[1].Format(time.RFC3339)
		text, fix = sayTwice.With(args), fixTwice
	case TwoDates:
		args["first"], args["second"] = r.Days[0].String(), r.Days[1].String()
		text, fix = sayTwoDates.With(args), fixTwoDates
	default:
		return nil
	}
	return fault.New(fault.Invalid, text, fault.Detail{Text: text, Fix: fix.Plain()})
}

// Clocks are the two times, 02:00 and 03:00, with their dates where a whole day
// was skipped.
func (g Gap) Clocks() (from, to string) {
	layout := "15:04"
	if g.From.Day != g.To.Day {
		layout = "2006-01-02 15:04"
	}
	return g.From.as(time.UTC).Format(layout), g.To.as(time.UTC).Format(layout)
}

// shown is a text as messages quote it.
func shown(text string) string {
	const most = 40
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most]) + "…"
}
