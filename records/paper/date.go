package paper

import (
	"fmt"
	"time"

	"caneward/blocks/words"
)

var months = map[words.Language][12]string{
	words.English: {"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"},
	words.Spanish: {"ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"},
}

// Date spells the month, so that nobody takes it for the day: 4 May 2026.
func Date(t time.Time, l words.Language) string {
	names, known := months[l]
	if !known {
		names = months[words.English]
	}
	return fmt.Sprintf("%d %s %d", t.Day(), names[t.Month()-1], t.Year())
}
