package blocks

import (
	"fmt"
	"time"

	"caneward/blocks/fields"
	"caneward/blocks/words"
)

var notDate = words.New("blocks-not-date",
	"A date is expected, such as 2021-04-15, or 2021-04 or 2021 where no more is known.",
	"Se espera una fecha, como 2021-04-15, o bien 2021-04 o 2021 si no se sabe más.")

// Date is a calendar date to the precision that is known (ISO 8601 reduced
// precision): Day, or Month and Day, are 0 where they are not. The zero Date is
// no date.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// IsZero reports whether there is no date.
func (d Date) IsZero() bool { return d == Date{} }

// String is the date as Parse read it, "" for none.
func (d Date) String() string {
	switch {
	case d.IsZero():
		return ""
	case d.Month == 0:
		return fmt.Sprintf("%04d", d.Year)
	case d.Day == 0:
		return fmt.Sprintf("%04d-%02d", d.Year, d.Month)
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
}

// ParseDate reads YYYY-MM-DD, YYYY-MM or YYYY. The year 0000 is none.
func ParseDate(s string) (Date, bool) {
	layouts := map[int]string{len("2006"): "2006", len("2006-01"): "2006-01", len(time.DateOnly): time.DateOnly}
	layout, known := layouts[len(s)]
	if !known {
		return Date{}, false
	}
	t, err := time.Parse(layout, s)
	if err != nil || t.Year() == 0 {
		return Date{}, false
	}
	d := Date{Year: t.Year()}
	if len(s) > len("2006") {
		d.Month = t.Month()
	}
	if len(s) > len("2006-01") {
		d.Day = t.Day()
	}
	return d, true
}

func date(r fields.Reader, field string) Date {
	s := name(r, field)
	if s == "" {
		return Date{}
	}
	d, ok := ParseDate(s)
	if !ok {
		r.Fault(field, notDate.Plain())
	}
	return d
}
