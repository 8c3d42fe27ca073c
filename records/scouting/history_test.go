package scouting_test

import (
	"fmt"
	"testing"
	"time"

	"caneward/blocks"
	"caneward/records"
	"caneward/records/scouting"
)

func on(day string) time.Time {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	return t.Add(15 * time.Hour)
}

func date(day string) blocks.Date {
	t := on(day)
	return blocks.Date{Year: t.Year(), Month: t.Month(), Day: t.Day()}
}

// finds gives ids in the order of the list.
func finds(all ...scouting.Find) map[records.ID]scouting.Find {
	m := map[records.ID]scouting.Find{}
	for i, f := range all {
		m[records.ID(fmt.Sprintf("%03d", i))] = f
	}
	return m
}

func at(row, plant int, cause scouting.Cause, state scouting.State, day string) scouting.Find {
	return scouting.Find{Row: row, Plant: plant, Cause: cause, State: state, FoundAt: on(day)}
}

func show(all []scouting.Episode) (lines []string) {
	for _, e := range all {
		line := fmt.Sprintf("%d-%d %s %s %v gen %d finds %d", e.Row, e.Plant, e.Cause, e.State, e.Seasons, e.Generation, len(e.Finds))
		if !e.Removed.IsZero() {
			line += " removed " + e.Removed.Format(time.DateOnly)
		}
		if e.Regrowth {
			line += " regrowth"
		}
		if !e.Replanted.IsZero() {
			line += " replanted " + e.Replanted.Format(time.DateOnly)
		}
		lines = append(lines, line)
	}
	return lines
}

func same(a, b []string) bool { return fmt.Sprint(a) == fmt.Sprint(b) && len(a) == len(b) }

const rust, gall = scouting.OrangeRust, scouting.CrownGall

func TestEpisodes(t *testing.T) {
	for _, c := range []struct {
		name     string
		finds    []scouting.Find
		removals []scouting.Removal
		rows     []blocks.Row
		want     []string
	}{
		{"found three times, one plant", []scouting.Find{at(1, 7, rust, "suspected", "2025-04-20"), at(1, 7, rust, "suspected", "2025-04-13"), at(1, 7, rust, "sampled", "2026-04-20")}, nil, nil,
			[]string{"1-7 orange-rust sampled [2025 2026] gen 1 finds 3"}},
		{"confirmed stays, whatever is seen later", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20"), at(1, 7, rust, "suspected", "2025-08-13"), at(1, 7, rust, "refuted", "2026-04-13")}, nil, nil,
			[]string{"1-7 orange-rust confirmed [2025 2026] gen 1 finds 3"}},
		{"refuted when the find is", []scouting.Find{at(1, 7, rust, "refuted", "2025-04-20")}, nil, nil, []string{"1-7 orange-rust refuted [2025] gen 1 finds 1"}},
		{"two causes, two episodes", []scouting.Find{at(1, 7, gall, "suspected", "2025-04-20"), at(1, 7, rust, "suspected", "2025-04-20")}, nil, nil,
			[]string{"1-7 orange-rust suspected [2025] gen 1 finds 1", "1-7 crown-gall suspected [2025] gen 1 finds 1"}},
		{"no plant, no episode", []scouting.Find{at(0, 0, rust, "suspected", "2025-04-20"), at(3, 0, rust, "suspected", "2025-04-20")}, nil, nil, nil},
		{"taken out", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20")}, []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 7}}, DoneOn: on("2025-04-28")}}, nil,
			[]string{"1-7 orange-rust confirmed [2025] gen 1 finds 1 removed 2025-04-28"}},
		{"taken out the same day", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20")}, []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 7}}, DoneOn: on("2025-04-20")}}, nil,
			[]string{"1-7 orange-rust confirmed [2025] gen 1 finds 1 removed 2025-04-20"}},
		{"planned only", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20")}, []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 7}}}}, nil,
			[]string{"1-7 orange-rust confirmed [2025] gen 1 finds 1"}},
		{"back after it was taken out", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20"), at(1, 7, rust, "suspected", "2025-06-20")}, []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 7}}, DoneOn: on("2025-04-28")}}, nil,
			[]string{"1-7 orange-rust confirmed [2025] gen 1 finds 2 removed 2025-04-28 regrowth"}},
		{"a check saw regrowth", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20")}, []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 7}}, DoneOn: on("2025-04-28"), Checks: []scouting.Regrowth{{On: on("2025-06-01")}, {On: on("2025-07-01"), Regrowth: true}}}}, nil,
			[]string{"1-7 orange-rust confirmed [2025] gen 1 finds 1 removed 2025-04-28 regrowth"}},
		{"a check saw regrowth of one of two", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20")}, []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 7}, {Row: 1, Plant: 8}}, DoneOn: on("2025-04-28"), Checks: []scouting.Regrowth{{On: on("2025-06-01"), Regrowth: true}}}}, nil,
			[]string{"1-7 orange-rust confirmed [2025] gen 1 finds 1 removed 2025-04-28"}},
		{"another plant in its place", []scouting.Find{at(1, 7, rust, "confirmed", "2025-04-20"), at(1, 7, rust, "suspected", "2026-04-20")}, []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 7}}, DoneOn: on("2025-04-28")}},
			[]blocks.Row{{Number: 1, Plants: 9, Replanted: []blocks.Replant{{Plant: 7, On: date("2026-03-01")}}}},
			[]string{"1-7 orange-rust confirmed [2025] gen 1 finds 1 removed 2025-04-28 replanted 2026-03-01", "1-7 orange-rust suspected [2026] gen 2 finds 1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := show(scouting.Episodes(finds(c.finds...), c.removals, c.rows, time.UTC)); !same(got, c.want) {
				t.Errorf("got\n%q\nwant\n%q", got, c.want)
			}
		})
	}
	other := func(words string) scouting.Find {
		f := at(1, 7, scouting.Other, "suspected", "2025-04-20")
		f.Words = words
		return f
	}
	if got := scouting.Episodes(finds(other("cane blight"), other(" Cane  Blight"), other("mildew")), nil, nil, time.UTC); len(got) != 2 {
		t.Errorf("other things: %q, want two", show(got))
	}
}

// A year is the farm's own: an evening find of 31 December is last year's.
func TestSeasonsAreTheFarms(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	f := scouting.Find{Row: 1, Plant: 1, Cause: rust, State: "suspected", FoundAt: time.Date(2026, 1, 1, 3, 0, 0, 0, time.UTC)}
	if got := scouting.Episodes(finds(f), nil, nil, zone); got[0].Seasons[0] != 2025 {
		t.Errorf("seasons %v, want 2025", got[0].Seasons)
	}
}

func TestLookAgain(t *testing.T) {
	all := scouting.Episodes(finds(
		at(1, 1, rust, "suspected", "2025-04-20"), at(1, 2, rust, "suspected", "2024-04-20"), at(1, 3, rust, "suspected", "2023-04-20"), at(1, 4, rust, "confirmed", "2020-04-20"),
		at(1, 5, rust, "refuted", "2025-04-20"), at(1, 6, rust, "confirmed", "2025-04-20"), at(1, 7, rust, "confirmed", "2025-04-20"), at(1, 8, rust, "suspected", "2026-04-20"), at(1, 9, rust, "confirmed", "2020-04-20"),
		at(1, 10, rust, "suspected", "2025-04-20"), at(1, 10, rust, "suspected", "2026-04-20"),
	), []scouting.Removal{{Plants: []scouting.Place{{Row: 1, Plant: 6}, {Row: 1, Plant: 7}}, DoneOn: on("2025-05-01")}, {Plants: []scouting.Place{{Row: 1, Plant: 9}}, DoneOn: on("2020-05-01")}},
		[]blocks.Row{{Number: 1, Plants: 20, Replanted: []blocks.Replant{{Plant: 7, On: date("2026-03-01")}}}}, time.UTC)
	var got []int
	for _, e := range scouting.LookAgain(all, 2026) {
		got = append(got, e.Plant)
	}
	// 3 is three springs past, 5 refuted, 7 another plant now, 8 this spring's, 9 long gone.
	if want := []int{1, 2, 4, 6, 10}; fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("plants %v, want %v", got, want)
	}
}
