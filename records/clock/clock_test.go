package clock_test

import (
	"context"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/paulmach/orb"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/spray"
)

func hours(h float64) *float64 { return &h }
func days(n int) *int          { return &n }

func at(t *testing.T, zone *time.Location, s string) time.Time {
	t.Helper()
	v, err := time.ParseInLocation("2006-01-02 15:04", s, zone)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func square(x, y, side float64) orb.MultiPolygon {
	return orb.MultiPolygon{{{{x, y}, {x + side, y}, {x + side, y + side}, {x, y + side}, {x, y}}}}
}

const block, other = records.ID("01900000-0000-7000-8000-000000000001"), records.ID("01900000-0000-7000-8000-000000000002")

func farm(t *testing.T, zone string, jobs ...clock.Job) clock.State {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	return clock.State{Zone: z, Blocks: []clock.Block{{ID: block, Name: "North", Crop: "blackberry", Outline: square(-80.42, 35.87, 0.002)}}, Jobs: jobs}
}

func work(t *testing.T, s clock.State, when time.Time) clock.Line {
	t.Helper()
	var all []int
	for i := range s.Products {
		all = append(all, i)
	}
	b, err := clock.Work(context.Background(), s, when, all, words.English)
	if err != nil {
		t.Fatal(err)
	}
	return b.Lines[0]
}

// Clocks of zones: the IANA database, compiled in. In 2026 the United States
// put clocks forward on 8 March and back on 1 November (15 U.S.C. 260a), the
// European Union forward on 29 March (Directive 2000/84/EC).
func TestClocks(t *testing.T) {
	mix := []clock.Product{{Label: spray.Product{Name: "A", REIHours: hours(12), PHIDays: days(0)}}, {Label: spray.Product{Name: "B", REIHours: hours(24), PHIDays: days(3)}}, {Label: spray.Product{Name: "C", REIHours: hours(4), PHIDays: days(1)}}}
	for _, c := range []struct {
		name, zone, start, end, wantEntry, wantPick string
	}{
		{"a mix, from its end, over the spring change", "America/Chicago", "2026-03-07 18:00", "2026-03-07 20:00", "2026-03-08 21:00", "2026-03-10 00:00"},
		{"over the autumn change", "America/Chicago", "2026-10-31 18:00", "2026-10-31 20:00", "2026-11-01 19:00", "2026-11-03 00:00"},
		{"a plain day", "America/New_York", "2026-06-10 06:00", "2026-06-10 08:00", "2026-06-11 08:00", "2026-06-13 00:00"},
		{"over midnight: the day it ended counts", "America/New_York", "2026-06-10 22:00", "2026-06-11 01:00", "2026-06-12 01:00", "2026-06-14 00:00"},
		{"over the change in Europe", "Europe/Madrid", "2026-03-28 09:00", "2026-03-28 10:00", "2026-03-29 11:00", "2026-03-31 00:00"},
		{"over 29 February", "America/Denver", "2028-02-27 09:00", "2028-02-27 10:00", "2028-02-28 10:00", "2028-03-01 00:00"},
	} {
		s := farm(t, c.zone)
		s.Jobs = []clock.Job{{ID: other, Blocks: []records.ID{block}, Started: at(t, s.Zone, c.start), Ended: at(t, s.Zone, c.end), Products: mix}}
		line := work(t, s, at(t, s.Zone, c.end).Add(time.Minute))
		if got, want := line.Enter.From, at(t, s.Zone, c.wantEntry); line.Enter.Answer != clock.Stop || !got.Equal(want) {
			t.Errorf("%s: enter %s from %v, want stop until %v", c.name, line.Enter.Answer, got.In(s.Zone), want)
		}
		if got, want := line.Pick.From, at(t, s.Zone, c.wantPick); line.Pick.Answer != clock.Stop || !got.Equal(want) {
			t.Errorf("%s: pick %s from %v, want stop until %v", c.name, line.Pick.Answer, got.In(s.Zone), want)
		}
		if l := work(t, s, line.Enter.From); l.Enter.Answer != clock.Open {
			t.Errorf("%s: at the end of the clock entry is %s: %v", c.name, l.Enter.Answer, l.Enter.Reasons)
		}
		if l := work(t, s, line.Enter.From.Add(-time.Second)); l.Enter.Answer != clock.Stop {
			t.Errorf("%s: a second before entry is %s", c.name, l.Enter.Answer)
		}
	}
}

// 40 CFR 170.407(a), 170.409(a), 156.208 as the trade note gives them: signs,
// conditions, crops and tasks; 170.601(a): the exemption stops no clock.
func TestWhatKeepsPeopleOut(t *testing.T) {
	s := farm(t, "America/Chicago")
	end := at(t, s.Zone, "2026-06-10 08:00")
	one := func(l spray.Product) []clock.Product { return []clock.Product{{Label: l}} }
	long := spray.Product{Name: "L", REIHours: hours(72)}
	until := spray.Product{Name: "U", Reentries: []spray.Reentry{{Until: "residues below 0.1 ppm"}}}
	tasked := spray.Product{Name: "T", REIHours: hours(12), Reentries: []spray.Reentry{{Days: 5, Task: "harvest"}, {Hours: 48, Crop: "raspberry"}}}
	for _, c := range []struct {
		name   string
		job    clock.Job
		exempt bool
		after  time.Duration
		want   clock.Verdict
		says   string
		pick   clock.Verdict
	}{
		{"no end on record", clock.Job{Started: end.Add(-time.Hour), Products: one(long)}, false, time.Hour, clock.Stop, "no end on record", clock.Stop},
		{"while it is sprayed", clock.Job{Started: end.Add(-time.Hour), Ended: end, Products: one(spray.Product{Name: "S", REIHours: hours(4)})}, false, -30 * time.Minute, clock.Stop, "Being sprayed", clock.Stop},
		{"before it began", clock.Job{Started: end.Add(-time.Hour), Ended: end, Products: one(long)}, false, -2 * time.Hour, clock.Open, "", clock.Open},
		{"72 h and nothing said of signs", clock.Job{Ended: end, Products: one(long)}, false, 73 * time.Hour, clock.Stop, "asks for signs", clock.Stop},
		{"signs up", clock.Job{Ended: end, Products: one(long), Signs: clock.Signs{Up: end}}, false, 73 * time.Hour, clock.Stop, "signs are up", clock.Stop},
		{"signs down", clock.Job{Ended: end, Products: one(long), Signs: clock.Signs{Up: end, Down: end.Add(72 * time.Hour)}}, false, 73 * time.Hour, clock.Open, "", clock.Caution},
		{"signs down do not end the clock", clock.Job{Ended: end, Products: one(long), Signs: clock.Signs{Up: end, Down: end.Add(time.Hour)}}, false, 71 * time.Hour, clock.Stop, "72 h", clock.Stop},
		{"the exempt owner's clock runs", clock.Job{Ended: end, Products: one(long)}, true, 71 * time.Hour, clock.Stop, "72 h", clock.Stop},
		{"the exempt owner owes no signs", clock.Job{Ended: end, Products: one(long)}, true, 73 * time.Hour, clock.Open, "", clock.Caution},
		{"a condition nobody saw met", clock.Job{Ended: end, Products: one(until)}, false, 90 * 24 * time.Hour, clock.Stop, "residues below", clock.Stop},
		{"a condition met", clock.Job{Ended: end, Products: one(until), Met: []clock.Met{{Condition: "residues below 0.1 ppm", At: end.Add(time.Hour), By: "x"}}}, false, 2 * time.Hour, clock.Open, "", clock.Caution},
		{"longer for the task of picking, not for another crop", clock.Job{Ended: end, Products: one(tasked), Signs: clock.Signs{Down: end}}, false, 13 * time.Hour, clock.Open, "", clock.Stop},
		{"a label that says nothing", clock.Job{Ended: end, Products: one(spray.Product{Name: "N"})}, false, time.Hour, clock.Caution, "no re-entry time", clock.Caution},
	} {
		c.job.ID, c.job.Blocks = other, []records.ID{block}
		s.Jobs, s.OwnerExempt = []clock.Job{c.job}, c.exempt
		line := work(t, s, end.Add(c.after))
		says := ""
		for _, r := range line.Enter.Reasons {
			says += r.Why.In(words.English) + " "
		}
		if line.Enter.Answer != c.want || !strings.Contains(says, c.says) || line.Pick.Answer != c.pick {
			t.Errorf("%s: enter %s %q, pick %s; want %s %q, %s", c.name, line.Enter.Answer, says, line.Pick.Answer, c.want, c.says, c.pick)
		}
	}
}

func TestPartsOfABlock(t *testing.T) {
	s := farm(t, "America/Chicago")
	end := at(t, s.Zone, "2026-06-10 08:00")
	p := clock.Product{ID: other, Label: spray.Product{Name: "A", REIHours: hours(12), PHIDays: days(0), IntervalDays: days(7)}}
	s.Products = []clock.Product{p}
	s.Jobs = []clock.Job{{ID: other, Blocks: []records.ID{block}, Ground: square(-80.421, 35.869, 0.002), Ended: end, Products: []clock.Product{p}}}
	line := work(t, s, end.Add(time.Hour))
	if len(line.Parts) != 2 || line.Enter.Answer != clock.Stop {
		t.Fatalf("%d parts, block %s; want 2, stop", len(line.Parts), line.Enter.Answer)
	}
	for _, part := range line.Parts {
		in := len(part.Passes) > 0
		if want := map[bool]float64{true: 0.25, false: 0.75}[in]; part.Share < want-0.01 || part.Share > want+0.01 {
			t.Errorf("share %v, want %v", part.Share, want)
		}
		if (part.Enter.Answer == clock.Stop) != in || (part.Spray[0].Answer == clock.Stop) != in {
			t.Errorf("part sprayed %v: enter %s, spray again %s", in, part.Enter.Answer, part.Spray[0].Answer)
		}
	}
	if l := work(t, s, at(t, s.Zone, "2026-06-16 23:59")); l.Parts[0].Spray[0].From != at(t, s.Zone, "2026-06-17 00:00") {
		t.Errorf("seven days between uses: again from %v, want 17 June", l.Parts[0].Spray[0].From)
	}
}
