package scouting_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"caneward/blocks"
	"caneward/records/scouting"
)

func TestLook(t *testing.T) {
	rows := []blocks.Row{{Number: 1, Plants: 40, Missing: []int{3, 39}}, {Number: 2, Plants: 10, Gone: []blocks.Gone{{Plant: 5}}}, {Number: 3, Plants: 20}, {Number: 4, Plants: 9, Skipped: true}, {Number: 5}}
	for _, c := range []struct {
		name          string
		stretches     []scouting.Stretch
		plants, twice int
		notSeen       []int
		uncounted     bool
	}{
		{"nothing", nil, 0, 0, []int{1, 2, 3}, false},
		{"all", []scouting.Stretch{{AllRows: true}}, 38 + 9 + 20, 0, nil, true},
		{"one row", []scouting.Stretch{{Row: 1}}, 38, 0, []int{2, 3}, false},
		{"overlapping", []scouting.Stretch{{Row: 1, From: 1, To: 10}, {Row: 1, From: 8, To: 20}, {Row: 1, From: 21, To: 22}}, 21, 3, []int{2, 3}, false},
		{"the whole row and a part of it", []scouting.Stretch{{Row: 2}, {Row: 2, From: 4, To: 6}}, 9, 3, []int{1, 3}, false},
		{"past the end", []scouting.Stretch{{Row: 3, From: 15, To: 900}}, 6, 0, []int{1, 2}, false},
		{"a row nobody counted", []scouting.Stretch{{Row: 5}}, 0, 0, []int{1, 2, 3}, true},
		{"one plant", []scouting.Stretch{{Row: 3, From: 7, To: 7}}, 1, 0, []int{1, 2}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := scouting.Look(c.stretches, rows)
			if e.Plants != c.plants || e.Twice != c.twice || !slices.Equal(e.NotSeen, c.notSeen) || e.Uncounted != c.uncounted || e.Of != 67 {
				t.Errorf("got %+v, want %d plants, %d twice, not seen %v, uncounted %v, of 67", e, c.plants, c.twice, c.notSeen, c.uncounted)
			}
		})
	}
	e := scouting.Look([]scouting.Stretch{{Row: 1, From: 1, To: 10}}, rows)
	if got := e.Seen[0]; !slices.Equal(got.Missing, []int{3}) || got.Of != 38 || got.Whole {
		t.Errorf("row 1: %+v", got)
	}
	if !e.Saw(1, 10) || e.Saw(1, 11) || e.Saw(2, 1) {
		t.Error("what was seen is not what was said")
	}
}

// Random stretches against marking every plant off one by one.
func TestLookAgainstMarks(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 1))
	for round := range 2000 {
		plants := 1 + random.IntN(50)
		row := blocks.Row{Number: 1, Plants: plants}
		for n := 1; n <= plants; n++ {
			if random.IntN(6) == 0 {
				row.Missing = append(row.Missing, n)
			}
		}
		marks := map[int]int{}
		var stretches []scouting.Stretch
		for range random.IntN(6) {
			s := scouting.Stretch{Row: 1, From: 1 + random.IntN(plants)}
			s.To = s.From + random.IntN(plants)
			stretches = append(stretches, s)
			for n := s.From; n <= min(s.To, plants); n++ {
				marks[n]++
			}
		}
		want, twice := 0, 0
		for n, times := range marks {
			twice += times - 1
			if !slices.Contains(row.Missing, n) {
				want++
			}
		}
		e := scouting.Look(stretches, []blocks.Row{row})
		if e.Plants != want || e.Twice != twice {
			t.Fatalf("round %d: %v on %d plants less %v: %d plants, %d twice, want %d, %d", round, stretches, plants, row.Missing, e.Plants, e.Twice, want, twice)
		}
		for n := 1; n <= plants; n++ {
			if e.Saw(1, n) != (marks[n] > 0) {
				t.Fatalf("round %d: plant %d", round, n)
			}
		}
	}
}
