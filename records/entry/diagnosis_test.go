package entry_test

import (
	"errors"
	"fmt"
	"testing"

	"caneward/blocks/fault"
	"caneward/records"
)

func because(w records.Write, why string) records.Write { w.By.Why = why; return w }

// What was proved stays until somebody who may takes it back and says why.
func TestAProofStays(t *testing.T) {
	b := newBench(t)
	plant := fmt.Sprintf(`,"block":%q,"row":10,"plant":7`, b.block)
	for _, c := range []struct {
		name       string
		from, to   string
		role       records.Role
		why, extra string
		stored     bool
	}{
		{"scout takes a confirmation back", "confirmed", "suspected", records.Scout, "clean in August", "", false},
		{"owner takes it back", "confirmed", "suspected", records.Owner, "clean in August", "", false},
		{"adviser without a reason", "confirmed", "refuted", records.Adviser, "", "", false},
		{"adviser with a reason", "confirmed", "refuted", records.Adviser, "the pustules were on canes too", "", true},
		{"scout writes words", "confirmed", "confirmed", records.Scout, "", `,"words":"again"`, true},
		{"scout changes the fungus", "confirmed", "confirmed", records.Scout, "", `,"organism":"Gymnoconia nitens"`, false},
		{"adviser changes the fungus", "confirmed", "confirmed", records.Adviser, "", `,"organism":"Gymnoconia nitens"`, true},
		{"scout takes a refusal back", "refuted", "suspected", records.Scout, "seen again", "", false},
		{"adviser takes a refusal back", "refuted", "suspected", records.Adviser, "seen again", "", true},
		{"scout confirms", "suspected", "confirmed", records.Scout, "sure", "", false},
		{"adviser confirms", "suspected", "confirmed", records.Adviser, "", "", true},
		{"scout sends a sample", "suspected", "sampled", records.Scout, "", "", true},
		{"sample was lost, no reason", "sampled", "suspected", records.Scout, "", "", false},
		{"sample was lost", "sampled", "suspected", records.Scout, "the sample was lost", "", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			id := b.ids.New()
			b.must(b.find(records.Adviser, id, 0, nil, c.from, plant))
			out := b.put(because(b.find(c.role, id, 1, nil, c.to, plant+c.extra), c.why))
			if stored := out[0].Err == nil; stored != c.stored {
				t.Errorf("stored %v (%v), want %v", stored, out[0].Err, c.stored)
			}
		})
	}
}

func TestAConfirmedFindIsNotDeleted(t *testing.T) {
	b := newBench(t)
	plant := fmt.Sprintf(`,"block":%q,"row":10,"plant":7`, b.block)
	gone := func(role records.Role, id records.ID, why string) error {
		return b.put(records.Write{Kind: records.Finds, ID: id, Base: 1, Delete: true, By: records.Author{Role: role, Why: why}})[0].Err
	}
	for _, c := range []struct {
		state  string
		role   records.Role
		why    string
		stored bool
	}{
		{"confirmed", records.Scout, "mistake", false}, {"confirmed", records.Owner, "mistake", false}, {"confirmed", records.Adviser, "", false},
		{"confirmed", records.Adviser, "on the wrong farm", true}, {"suspected", records.Scout, "", true}, {"refuted", records.Scout, "", true},
	} {
		id := b.ids.New()
		b.must(b.find(records.Adviser, id, 0, nil, c.state, plant))
		if err := gone(c.role, id, c.why); (err == nil) != c.stored {
			t.Errorf("%s by %s, why %q: %v, want stored %v", c.state, c.role, c.why, err, c.stored)
		}
	}
}

// A result backs the finds it covers, with its own answer and cause alone.
func TestAResultBacksItsOwnAnswer(t *testing.T) {
	b := newBench(t)
	plant := fmt.Sprintf(`,"block":%q,"row":10,"plant":7`, b.block)
	sample := func(find records.ID, more string) {
		b.must(b.write(records.Scout, records.Samples, b.ids.New(), 0, nil, fmt.Sprintf(`{"finds":[%q],"result":"seen under the microscope"%s}`, find, more)))
	}
	for _, c := range []struct{ sample, state, want string }{
		{`,"answer":"confirmed"`, "confirmed", ""},
		{`,"answer":"confirmed","found":"orange-rust"`, "confirmed", ""},
		{`,"answer":"confirmed","found":"cane-leaf-rust"`, "confirmed", "state"},
		{`,"answer":"refuted"`, "confirmed", "state"},
		{`,"answer":"refuted"`, "refuted", ""},
		{`,"answer":"undecided"`, "refuted", "state"},
		{``, "refuted", ""},
	} {
		id := b.ids.New()
		b.must(b.find(records.Scout, id, 0, nil, "sampled", plant))
		sample(id, c.sample)
		err := b.put(b.find(records.Scout, id, 1, nil, c.state, plant))[0].Err
		if (err == nil) != (c.want == "") || err != nil && !fault.Is(err, fault.Invalid) {
			t.Errorf("sample %s, find %s: %v, want a fault at %q", c.sample, c.state, err, c.want)
		}
	}
}

func TestAgainOf(t *testing.T) {
	b := newBench(t)
	at := func(plant int, more string) string {
		return fmt.Sprintf(`,"block":%q,"row":10,"plant":%d%s`, b.block, plant, more)
	}
	first := b.ids.New()
	b.must(b.find(records.Scout, first, 0, nil, "suspected", at(7, "")))
	for _, c := range []struct {
		name, properties string
		id               records.ID
		stored           bool
	}{
		{"the same plant", at(7, fmt.Sprintf(`,"again_of":%q`, first)), b.ids.New(), true},
		{"another plant", at(8, fmt.Sprintf(`,"again_of":%q`, first)), b.ids.New(), false},
		{"nothing", at(7, fmt.Sprintf(`,"again_of":%q`, b.ids.New())), b.ids.New(), false},
	} {
		if err := b.put(b.find(records.Scout, c.id, 0, nil, "suspected", c.properties))[0].Err; (err == nil) != c.stored {
			t.Errorf("%s: %v, want stored %v", c.name, err, c.stored)
		}
	}
}

func TestVisitsLookAtRowsThatAreThere(t *testing.T) {
	b := newBench(t)
	visit := func(inspected string) error {
		return b.put(b.write(records.Scout, records.Visits, b.ids.New(), 0, nil, fmt.Sprintf(`{"block":%q,"started_at":"2026-04-14T09:30:00-04:00","inspected":%s}`, b.block, inspected)))[0].Err
	}
	for inspected, stored := range map[string]bool{`[]`: true, `[{"rows":"all"}]`: true, `[{"row":10}]`: true, `[{"row":10,"from":1,"to":201}]`: true, `[{"row":10,"from":1,"to":202}]`: false, `[{"row":11}]`: false} {
		if err := visit(inspected); (err == nil) != stored {
			t.Errorf("%s: %v, want stored %v", inspected, err, stored)
		}
	}
}

// 31 larvae came out of 25 fruits; 31 of 25 plants cannot be.
func TestHitsAmongTheSampled(t *testing.T) {
	b := newBench(t)
	for count, stored := range map[string]bool{
		`{"what":"fruit-larvae","sampled":25,"hits":31}`:         true,
		`{"what":"mites","sampled":25,"hits":31,"several":true}`: true,
		`{"what":"mites","sampled":25,"hits":31}`:                false,
		`{"what":"galled-canes","sampled":25,"hits":31}`:         false,
		`{"what":"galled-canes","sampled":25,"hits":25}`:         true,
	} {
		w := b.write(records.Scout, records.Visits, b.ids.New(), 0, nil, fmt.Sprintf(`{"block":%q,"started_at":"2026-04-14T09:30:00-04:00","counts":[%s]}`, b.block, count))
		err := b.put(w)[0].Err
		var refused *fault.Error
		if (err == nil) != stored || errors.As(err, &refused) && refused.Details[0].Field != "counts[0].hits" {
			t.Errorf("%s: %v, want stored %v", count, err, stored)
		}
	}
}
