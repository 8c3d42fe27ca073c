package markup

import (
	"math"
	"strings"
	"time"
)

// unzoned are times that say no zone; the others are found in files although
// XML Schema allows only the first of each.
var (
	unzoned = []string{"2006-01-02T15:04:05", "2006-01-02 15:04:05"}
	zoned   = []string{"2006-01-02T15:04:05Z0700", "2006-01-02 15:04:05Z07:00", "2006-01-02T15:04Z07:00"}
)

// Time reads an xsd:dateTime, fractions of a second included. Without a zone it
// is taken as UTC, as GPX 1.1 has it, and utc says that this was so.
func Time(text string) (t time.Time, utc, ok bool) {
	text = strings.TrimSpace(text)
	t, err := time.Parse(time.RFC3339, text)
	for i := 0; err != nil && i < len(zoned); i++ {
		t, err = time.Parse(zoned[i], text)
	}
	for i := 0; err != nil && i < len(unzoned); i++ {
		utc = true
		t, err = time.Parse(unzoned[i], text)
	}
	return t, utc, err == nil
}

// Seconds is a time as a measure: Unix seconds, rounded to the microsecond,
// which float64 holds until the year 2255.
func Seconds(t time.Time) float64 {
	return float64(t.Round(time.Microsecond).UnixMicro()) / 1e6
}

// AppendTime writes a measure as an xsd:dateTime in UTC to the microsecond;
// false for what is outside the years 1 to 9999.
func AppendTime(out []byte, seconds float64) ([]byte, bool) {
	const first, last = -62135596800, 253402300799 // 0001-01-01 and 9999-12-31T23:59:59
	if !(seconds >= first && seconds <= last) {
		return out, false
	}
	const million = 1e6
	whole := int64(seconds)
	micro := int64(math.Round((seconds - float64(whole)) * million))
	return time.Unix(whole, 0).Add(time.Duration(micro)*time.Microsecond).UTC().AppendFormat(out, "2006-01-02T15:04:05.999999Z07:00"), true
}
