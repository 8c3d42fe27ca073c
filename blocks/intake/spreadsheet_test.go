package intake

import (
	"context"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo/wire"
)

// TestSheetRulesAreSaid: every rule of package sheet has words in both
// languages; the package's own list is what is looked through.
func TestSheetRulesAreSaid(t *testing.T) {
	source, err := os.ReadFile("sheet/sheet.go")
	if err != nil {
		t.Fatal(err)
	}
	rules := regexp.MustCompile(`wire\.Rule = "(sheet-[a-z-]+)"`).FindAllSubmatch(source, -1)
	if len(rules) != len(sheetSayings) || len(rules) < 20 {
		t.Errorf("%d rules, %d sayings", len(rules), len(sheetSayings))
	}
	for _, r := range rules {
		say, ok := sheetSayings[wire.Rule(r[1])]
		if !ok || say.kind == fault.Internal || say.text.English == "" || say.text.Spanish == "" || say.text.English == say.text.Spanish {
			t.Errorf("%s: %+v", r[1], say)
		}
	}
}

func readSheet(t *testing.T, text string, o Options) Proposal {
	t.Helper()
	p := Proposal{}
	if err := (spreadsheet{}).Read(context.Background(), []byte(text), o, &p); err != nil {
		t.Fatal(err)
	}
	p.settle()
	return p
}

func TestSheetQuestions(t *testing.T) {
	p := readSheet(t, "lat,lon,date\n36.3,-94.4,4/5/2026\n", Options{})
	if p.Outcome != Ask || len(p.Questions) != 1 || p.Questions[0].Topic != TopicDayOrder || len(p.Questions[0].Choices) != 2 {
		t.Errorf("%s, %+v; want the order of day and month asked", p.Outcome, p.Questions)
	}
	for _, c := range p.Questions[0].Choices {
		if again := readSheet(t, "lat,lon,date\n36.3,-94.4,4/5/2026\n", Options{DayOrder: c.Value}); again.Outcome != Accept {
			t.Errorf("answered %s: %s, %+v; want it taken", c.Value, again.Outcome, again.Questions)
		}
	}
	const nameless = "a;b\n36,3;-94,4\n"
	p = readSheet(t, nameless, Options{})
	if p.Outcome != Ask || len(p.Questions) != 1 || p.Questions[0].Topic != TopicColumns || p.Columns == nil || !slices.Equal(p.Columns.Header, []string{"a", "b"}) {
		t.Errorf("%s, %+v, %+v; want the columns asked", p.Outcome, p.Questions, p.Columns)
	}
	if again := readSheet(t, nameless, Options{Columns: map[string]string{"a": "latitude", "b": "longitude"}}); again.Outcome != Accept {
		t.Errorf("answered: %s, %+v; want it taken", again.Outcome, again.Questions)
	}
	p = readSheet(t, "x,y\n370616.26,4019641.75\n", Options{})
	if p.Outcome != Ask || p.Questions[0].Topic != TopicSystem {
		t.Errorf("%s, %+v; want the system asked", p.Outcome, p.Questions)
	}
}

func TestSheetOptionsRefused(t *testing.T) {
	for _, c := range []struct {
		o     Options
		field string
	}{
		{Options{Zone: "America/Nowhere"}, "zone"}, {Options{Zone: "Local"}, "zone"}, {Options{DayOrder: "either"}, "day_order"},
		{Options{Columns: map[string]string{"lat": "latitud"}}, "columns.lat"},
	} {
		p := readSheet(t, "lat,lon\n1,2\n", c.o)
		if p.Outcome != Reject || len(p.Errors) != 1 || p.Errors[0].Field != c.field || strings.Contains(p.Errors[0].Text.In(words.Spanish), "{") {
			t.Errorf("%+v: %s, %+v; want %s refused", c.o, p.Outcome, p.Errors, c.field)
		}
	}
}
