package job

import (
	"cmp"
	"slices"
	"time"

	"caneward/records/law"
)

// Open are the duties not done, the nearest deadline first; records past the
// years they are kept are asked after no more.
func (b Book) Open(at time.Time) []law.Due {
	var out []law.Due
	for _, s := range b.Sheets {
		for _, d := range b.Duties(s, at) {
			if !d.Done && (d.Kept.IsZero() || at.Before(d.Kept)) {
				out = append(out, d)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b law.Due) int { return cmp.Or(a.By.Compare(b.By), cmp.Compare(a.Rule.ID, b.Rule.ID)) })
	return out
}
