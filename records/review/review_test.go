package review

import (
	"fmt"
	"testing"
	"time"

	"caneward/records/scouting"
)

func day(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return t
}

// The rules are those of the trade notes (2.1, 2.4): two springs after digging,
// from leaf-out to the first open pustule under three weeks; the look in the weeks
// after is common practice. The days are counted by hand.
func TestLooks(t *testing.T) {
	plants := []Plant{{Row: 5, Plant: 7}, {Row: 5, Plant: 8}}
	look := func(on string, back bool, which ...Plant) scouting.Regrowth {
		return scouting.Regrowth{On: day(on), Regrowth: back, Plants: which}
	}
	april := LeafOut{Month: time.April, Day: 1}
	for _, tc := range []struct {
		name   string
		done   string
		leaf   LeafOut
		checks []scouting.Regrowth
		today  string
		want   string
	}{
		{"not done", "", april, nil, "2026-05-01", "[]"},
		{"fresh", "2026-04-20", april, nil, "2026-04-21", "[2026-05-18..2026-06-15 later 2027-04-01..2027-04-22 later 2028-04-01..2028-04-22 later]"},
		{"first due", "2026-04-20", april, nil, "2026-05-18", "[2026-05-18..2026-06-15 due 2027-04-01..2027-04-22 later 2028-04-01..2028-04-22 later]"},
		{"first missed", "2026-04-20", april, nil, "2026-06-16", "[2026-05-18..2026-06-15 overdue 2027-04-01..2027-04-22 later 2028-04-01..2028-04-22 later]"},
		{"dug in winter", "2026-01-10", april, nil, "2026-01-11", "[2026-02-07..2026-03-07 later 2026-04-01..2026-04-22 later 2027-04-01..2027-04-22 later]"},
		{"own leaf-out", "2026-04-20", LeafOut{Month: time.March, Day: 10, Own: true}, nil, "2027-03-12", "[2026-05-18..2026-06-15 overdue 2027-03-10..2027-03-31 due 2028-03-10..2028-03-31 later]"},
		{"looked a little early", "2026-04-20", april, []scouting.Regrowth{look("2026-05-30", false), look("2027-03-20", false)}, "2027-04-02", "[2026-05-18..2026-06-15 looked 2027-04-01..2027-04-22 looked 2028-04-01..2028-04-22 later]"},
		{"one of two back", "2026-04-20", april, []scouting.Regrowth{look("2027-04-05", true, plants[0])}, "2027-05-01", "[2026-05-18..2026-06-15 overdue 2027-04-01..2027-04-22 looked 2028-04-01..2028-04-22 later]"},
		{"both back", "2026-04-20", april, []scouting.Regrowth{look("2027-04-05", true, plants...)}, "2027-05-01", "[2026-05-18..2026-06-15 back 2027-04-01..2027-04-22 looked 2028-04-01..2028-04-22 back]"},
	} {
		m := scouting.Removal{Plants: plants, Checks: tc.checks}
		if tc.done != "" {
			m.DoneOn = day(tc.done)
		}
		var got []string
		for _, k := range Looks(m, tc.leaf, day(tc.today)) {
			got = append(got, fmt.Sprintf("%s..%s %s", k.From.Format(time.DateOnly), k.By.Format(time.DateOnly), k.State))
		}
		if s := fmt.Sprint(got); s != tc.want {
			t.Errorf("%s: %s, want %s", tc.name, s, tc.want)
		}
	}
}

func TestWalk(t *testing.T) {
	var list []Take
	for _, p := range [][2]int{{3, 1}, {3, 9}, {5, 2}, {5, 4}, {8, 7}, {9, 1}, {9, 2}} {
		list = append(list, Take{Row: p[0], Plant: p[1]})
	}
	var got []string
	for _, w := range Walk(list) {
		got = append(got, fmt.Sprintf("%d/%d", w.Row, w.Plant))
	}
	if s := fmt.Sprint(got); s != "[3/1 3/9 5/4 5/2 8/7 9/2 9/1]" {
		t.Errorf("up one row, down the next: %s", s)
	}
	if got := Walk(nil); len(got) != 0 {
		t.Errorf("nothing to walk: %v", got)
	}
}
