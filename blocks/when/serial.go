package when

import (
	"math"
	"time"
)

// Spreadsheet programs count days, 1 being 1 January 1900, and count a 29
// February 1900 that never was, as day 60 (ECMA-376 part 1, 18.17.4.1, the 1900
// date base; from memory). Days from 61 on are therefore days after 30
// December 1899; those before are read differently by different programs.
const (
	firstSerial = 61
	lastSerial  = 2958465 // 31 December 9999
)

var serialZero = time.Date(1899, time.December, 30, 0, 0, 0, 0, time.UTC)

// Serial reads a spreadsheet's day number, 1900 system: a whole number is a
// date, a fraction adds the clock time, to the nearest second, since the
// fractions that get written are rounded. Numbers before 1 March 1900, which is
// 61, and after the year 9999 are refused with false.
func Serial(days float64) (Civil, bool) {
	if !(days >= firstSerial && days < lastSerial+1) {
		return Civil{}, false
	}
	whole, fraction := math.Modf(days)
	t := serialZero.AddDate(0, 0, int(whole))
	if fraction == 0 {
		return Civil{Year: t.Year(), Month: t.Month(), Day: t.Day()}, true
	}
	t = t.Add(time.Duration(math.Round(fraction*24*60*60)) * time.Second)
	if t.Year() > 9999 {
		return Civil{}, false
	}
	return civil(t), true
}
