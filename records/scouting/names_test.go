package scouting_test

import (
	"slices"
	"testing"

	"caneward/blocks/words"
	"caneward/records/scouting"
)

// The trade notes' name trap and gall rule (2.1, 2.3); other names follow from
// the same table.
func TestNames(t *testing.T) {
	for said, c := range map[string]struct {
		ask  bool
		want []scouting.Cause
	}{
		"yellow rust":              {true, []scouting.Cause{"yellow-rust", "cane-leaf-rust", "other"}},
		"Roya amarilla":            {true, []scouting.Cause{"yellow-rust", "cane-leaf-rust", "other"}},
		"rust":                     {true, []scouting.Cause{"orange-rust", "cane-leaf-rust", "late-leaf-rust", "yellow-rust", "other"}},
		"some rust on row 4":       {true, []scouting.Cause{"orange-rust", "cane-leaf-rust", "late-leaf-rust", "yellow-rust", "other"}},
		"gall":                     {true, []scouting.Cause{"crown-gall", "cane-borer-gall", "other"}},
		"cane gall":                {true, []scouting.Cause{"crown-gall", "cane-borer-gall", "other"}},
		"agallas en la caña":       {true, []scouting.Cause{"crown-gall", "cane-borer-gall", "other"}},
		"crown gall":               {false, []scouting.Cause{"crown-gall"}},
		"orange rust":              {false, []scouting.Cause{"orange-rust"}},
		"cane and leaf rust":       {false, []scouting.Cause{"cane-leaf-rust"}},
		"cane-leaf-rust":           {false, []scouting.Cause{"cane-leaf-rust"}},
		"phragmidium RUBI-IDAEI":   {false, []scouting.Cause{"yellow-rust"}},
		"mildew":                   {false, []scouting.Cause{"other"}},
		"":                         {false, []scouting.Cause{"other"}},
		"trusted neighbour's idea": {false, []scouting.Cause{"other"}},
	} {
		n := scouting.Name(said)
		var got []scouting.Cause
		for _, candidate := range n.Candidates {
			got = append(got, candidate.Cause)
			for _, text := range []words.Text{candidate.Hosts, candidate.Signs, candidate.When} {
				if text.Empty() || text.In(words.English) == text.In(words.Spanish) {
					t.Errorf("%s: %q in both languages", candidate.Cause, text)
				}
			}
			if candidate.Source.Empty() {
				t.Errorf("%s has no source", candidate.Cause)
			}
		}
		if n.Ask != c.ask || !slices.Equal(got, c.want) {
			t.Errorf("%q: ask %v, %v, want %v, %v", said, n.Ask, got, c.ask, c.want)
		}
	}
	if n := scouting.Name("orange rust"); n.Question.Empty() {
		t.Error("orange rust is two fungi, and nothing says so")
	}
	if n := scouting.Name("Gymnoconia nitens"); !n.Question.Empty() || !slices.Equal(n.Candidates[0].Organisms, []string{"Gymnoconia nitens"}) {
		t.Errorf("an organism said by name: %+v", n)
	}
}

func TestNeedsNaming(t *testing.T) {
	for _, c := range []struct {
		f    scouting.Find
		want bool
	}{
		{scouting.Find{Cause: scouting.Other, Words: "yellow rust?"}, true},
		{scouting.Find{Cause: scouting.Other, Words: "cane blight"}, false},
		{scouting.Find{Cause: scouting.OrangeRust, Words: "rust"}, false},
		{scouting.Find{Cause: scouting.Other, Words: "rust", Organism: "Kuehneola uredinis"}, false},
	} {
		if got := c.f.NeedsNaming(); got != c.want {
			t.Errorf("%+v: %v, want %v", c.f, got, c.want)
		}
	}
}
