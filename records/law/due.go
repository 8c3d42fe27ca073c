package law

import (
	"slices"
	"time"

	"caneward/records"
	"caneward/records/clock"
)

// Sheet is an applied pass with what is known of it.
type Sheet struct {
	Job Job
	Has map[Element]bool
}

// Job is what the deadlines run from.
type Job struct {
	ID          records.ID
	Ended       time.Time // the start where nobody said, zero where neither is known
	EndKnown    bool
	Entry       time.Time // end of the longest re-entry time
	Longest     time.Duration
	Restricted  bool
	Signs       clock.Signs
	OwnerExempt bool
}

// Due is one duty of one pass.
type Due struct {
	Rule    Rule
	Pass    records.ID
	Missing []Element
	By      time.Time
	Kept    time.Time // the first day the record need not be kept; zero for none
	Late    bool      // not done and past By
	Done    bool
}

// Duties gives what the rules of the jurisdictions ask for one pass, as things
// stand at a time. A duty is done when nothing is missing.
func Duties(s Sheet, jurisdictions []string, at time.Time, zone *time.Location) []Due {
	var out []Due
	for _, r := range Rules {
		if !slices.Contains(jurisdictions, r.Jurisdiction) || !r.about(s.Job) {
			continue
		}
		d := Due{Rule: r, Pass: s.Job.ID}
		if !s.Job.Ended.IsZero() {
			d.By = r.Deadline.By(s.Job.Ended, s.Job.Entry, zone)
			if r.KeepYears > 0 {
				d.Kept = r.Kept(s.Job.Ended, s.Job.Entry, zone)
			}
		}
		for _, e := range r.Elements {
			if !s.Has[e] {
				d.Missing = append(d.Missing, e)
			}
		}
		d.Done = len(d.Missing) == 0
		if r.SignsDown {
			if s.Job.Entry.After(at) {
				continue // not owed before the re-entry time ends
			}
			d.Done = !s.Job.Signs.Down.IsZero() && !s.Job.Signs.Down.After(at)
		}
		d.Late = !d.Done && !d.By.IsZero() && at.After(d.By)
		out = append(out, d)
	}
	return out
}

func (r Rule) about(j Job) bool {
	if r.Duty && j.OwnerExempt {
		return false
	}
	switch r.Applies {
	case Restricted:
		return j.Restricted
	case Entry:
		return j.Longest > 0
	case Posted:
		return j.Longest > 48*time.Hour || !j.Signs.Up.IsZero()
	}
	return true
}
