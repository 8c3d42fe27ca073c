package law_test

import (
	"slices"
	"testing"
	"time"
	_ "time/tzdata"

	"caneward/records/clock"
	"caneward/records/law"
)

// Deadlines and years as the rules' own sources name them (excerpts, law.go).
func TestDeadlines(t *testing.T) {
	zone, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		t.Fatal(err)
	}
	at := func(s string) time.Time {
		v, err := time.ParseInLocation("2006-01-02 15:04", s, zone)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	ended := at("2026-03-07 22:00") // clocks go forward that night
	full := law.Sheet{Job: law.Job{ID: "p", Ended: ended, Entry: ended.Add(72 * time.Hour), Longest: 72 * time.Hour, Restricted: true}, Has: map[law.Element]bool{}}
	for _, c := range []struct{ rule, by, kept string }{
		{"us-federal-record", "2026-03-22 00:00", "2028-03-07 00:00"},
		{"us-worker-display", "2026-03-08 23:00", "2028-03-10 00:00"},
		{"us-worker-signs", "2026-03-14 00:00", ""},
		{"us-wa-record", "2026-03-08 00:00", "2033-03-07 00:00"},
		{"us-nc-record", "2026-03-07 22:00", "2028-03-07 00:00"},
		{"us-pa-record", "2026-03-08 23:00", "2029-03-07 00:00"},
		{"us-sd-record", "2026-03-08 00:00", "2029-03-07 00:00"},
		{"eu-record", "2026-04-07 00:00", "2029-03-07 00:00"},
	} {
		var all []string
		for _, j := range law.Jurisdictions {
			all = append(all, j.ID)
		}
		dues := law.Duties(full, all, at("2026-03-11 12:00"), zone)
		i := slices.IndexFunc(dues, func(d law.Due) bool { return d.Rule.ID == c.rule })
		if i < 0 {
			t.Errorf("%s is not asked for", c.rule)
			continue
		}
		d := dues[i]
		if !d.By.Equal(at(c.by)) {
			t.Errorf("%s: by %v, want %s", c.rule, d.By, c.by)
		}
		if c.kept == "" != d.Kept.IsZero() || c.kept != "" && !d.Kept.Equal(at(c.kept)) {
			t.Errorf("%s: kept until %v, want %s", c.rule, d.Kept, c.kept)
		}
		if d.Done {
			t.Errorf("%s: done, with nothing on record", c.rule)
		}
	}
}

func TestWhatIsAskedOfWhom(t *testing.T) {
	now := time.Date(2026, 6, 20, 12, 0, 0, 0, time.UTC)
	ended := now.Add(-96 * time.Hour)
	count := func(j law.Job, has map[law.Element]bool, where ...string) (asked, missing, late int) {
		j.Ended, j.Entry = ended, ended.Add(j.Longest)
		for _, d := range law.Duties(law.Sheet{Job: j, Has: has}, where, now, time.UTC) {
			asked++
			missing += len(d.Missing)
			if d.Late {
				late++
			}
		}
		return asked, missing, late
	}
	all := map[law.Element]bool{}
	for _, r := range law.Rules {
		for _, e := range r.Elements {
			all[e] = true
		}
	}
	without := func(e law.Element) map[law.Element]bool {
		m := map[law.Element]bool{}
		for k := range all {
			m[k] = k != e
		}
		return m
	}
	for _, c := range []struct {
		name                  string
		job                   law.Job
		has                   map[law.Element]bool
		where                 []string
		asked, missing, lates int
	}{
		{"a general-use product owes no federal record", law.Job{}, nil, []string{"us-federal"}, 0, 0, 0},
		{"nine things of a restricted one, in time for 14 days", law.Job{Restricted: true}, nil, []string{"us-federal"}, 1, 9, 0},
		{"Washington asks every application, the same day", law.Job{}, without(law.WindFrom), []string{"us-wa"}, 1, 1, 1},
		{"workers' display is late without the end", law.Job{}, without(law.End), []string{"us-worker"}, 1, 1, 1},
		{"the owner's exemption switches display and signs off", law.Job{Longest: 72 * time.Hour, OwnerExempt: true}, nil, []string{"us-worker"}, 0, 0, 0},
		{"signs over 48 h, not down but in time", law.Job{Longest: 72 * time.Hour}, all, []string{"us-worker"}, 2, 0, 0},
		{"signs down", law.Job{Longest: 72 * time.Hour, Signs: clock.Signs{Down: now.Add(-time.Hour)}}, all, []string{"us-worker"}, 2, 0, 0},
	} {
		asked, missing, lates := count(c.job, c.has, c.where...)
		if asked != c.asked || missing != c.missing || lates != c.lates {
			t.Errorf("%s: %d asked, %d missing, %d late; want %d, %d, %d", c.name, asked, missing, lates, c.asked, c.missing, c.lates)
		}
	}
	for _, r := range law.Rules {
		if !law.Known(r.Jurisdiction) {
			t.Errorf("%s stands under no known jurisdiction", r.ID)
		}
	}
}
