package when

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

const cases = "../../testdata/cases"

func zoneOf(t testing.TB, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// expected gives the column "expected" of one case.
func expected(t *testing.T, id string, into any) {
	t.Helper()
	f, err := os.Open(filepath.Join(cases, "cases.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		if row[0] != id {
			continue
		}
		for i, name := range rows[0] {
			if name == "expected" {
				if err := json.Unmarshal([]byte(row[i]), into); err != nil {
					t.Fatal(err)
				}
				return
			}
		}
	}
	t.Fatalf("no case %s", id)
}

type wantedTime struct {
	In      string   `json:"in"`
	Outcome string   `json:"outcome"`
	Why     string   `json:"why"`
	Either  []string `json:"either"`
	UTC     string   `json:"utc"`
	Local   string   `json:"local"`
}

// TestTableOfTimes is case V089 (source: testdata/cases/README.md; made with
// GNU date and Python's zoneinfo).
func TestTableOfTimes(t *testing.T) {
	var want struct {
		Zone    string       `json:"zone"`
		Rows    []wantedTime `json:"rows"`
		Elapsed struct {
			Zone  string  `json:"zone"`
			From  string  `json:"from"`
			To    string  `json:"to"`
			Hours float64 `json:"true_hours"`
		} `json:"elapsed"`
	}
	expected(t, "V089", &want)
	zone := zoneOf(t, want.Zone)
	texts := timeColumn(t, "files/V089-times-chicago.csv")
	if len(texts) != 6 || len(want.Rows) != len(texts) {
		t.Fatalf("%d texts, %d expectations; want 6 of each", len(texts), len(want.Rows))
	}
	for i, w := range want.Rows {
		if texts[i] != w.In {
			t.Fatalf("row %d of the file is %q; the table has %q", i, texts[i], w.In)
		}
		r, err := Read(texts[i], zone, Unneeded)
		judgeTime(t, w, r, err)
	}
	from, err1 := Read(want.Elapsed.From, zoneOf(t, want.Elapsed.Zone), Unneeded)
	to, err2 := Read(want.Elapsed.To, zoneOf(t, want.Elapsed.Zone), Unneeded)
	if err1 != nil || err2 != nil || to.At.Sub(from.At).Hours() != want.Elapsed.Hours {
		t.Errorf("from %v to %v is %v h (%v, %v); want %v", from.At, to.At, to.At.Sub(from.At).Hours(), err1, err2, want.Elapsed.Hours)
	}
}

func timeColumn(t *testing.T, file string) []string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(cases, file))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(data))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, row := range rows[1:] {
		out = append(out, row[1])
	}
	return out
}

func judgeTime(t *testing.T, w wantedTime, r Reading, err error) {
	t.Helper()
	utc := func(at time.Time) string { return at.UTC().Format(time.RFC3339) }
	switch w.Outcome {
	case "reject":
		if r.Kind != Skipped || err == nil || !strings.Contains(err.Error(), "does not exist") || !strings.Contains(err.Error(), "clocks jump 02:00 to 03:00") {
			t.Errorf("%s: %+v, %v; want %s", w.In, r, err, w.Why)
		}
	case "ask":
		if r.Kind != Twice || err == nil || utc(r.Either[0]) != w.Either[0] || utc(r.Either[1]) != w.Either[1] {
			t.Errorf("%s: %+v, %v; want either of %v", w.In, r, err, w.Either)
		}
	case "date only, no invented time":
		if r.Kind != Day || err != nil || r.Local.String() != w.In || r.Local.Clock || !r.At.IsZero() {
			t.Errorf("%s: %+v, %v; want the date alone", w.In, r, err)
		}
	case "":
		if r.Kind != Instant || err != nil || utc(r.At) != w.UTC {
			t.Errorf("%s: %+v, %v; want %s", w.In, r, err, w.UTC)
		}
		if w.Local != "" && civil(r.At).String() != w.Local {
			t.Errorf("%s: %s on the site's clocks; want %s", w.In, civil(r.At), w.Local)
		}
	default:
		t.Fatalf("unknown outcome %q", w.Outcome)
	}
}

func TestReadForms(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"2026-05-04", "2026-05-04"},
		{" 2026/5/4 ", "2026-05-04"},
		{"2026.05.04", "2026-05-04"},
		{"20260504", "2026-05-04"},
		{"13/05/2026", "2026-05-13"},
		{"05/13/2026", "2026-05-13"},
		{"5/5/2026", "2026-05-05"},
		{"8.3.2026 14:30", "2026-03-08T14:30:00"},
		{"3/18/2026 2:30 PM", "2026-03-18T14:30:00"},
		{"3/18/2026 2:30\u202fPM", "2026-03-18T14:30:00"},
		{"18/3/2026 12:05 a. m.", "2026-03-18T00:05:00"},
		{"18/3/26 12 p.m.", "2026-03-18T12:00:00"},
		{"18/3/68", "2068-03-18"},
		{"18/3/69", "1969-03-18"},
		{"2026-03-08T02:30", "2026-03-08T02:30:00"},
		{"2026-03-08 02:30:07,25", "2026-03-08T02:30:07.25"},
		{"4 May 2026", "2026-05-04"},
		{"4th of May 2026", "2026-05-04"},
		{"4-may-26", "2026-05-04"},
		{"May 4, 2026", "2026-05-04"},
		{"May 4, 2026, 6:30 am", "2026-05-04T06:30:00"},
		{"Sept. 4, 2026", "2026-09-04"},
		{"4 de mayo de 2026", "2026-05-04"},
		{"1.º de enero de 2026 14:30", "2026-01-01T14:30:00"},
		{"agosto 4, 2026", "2026-08-04"},
		{"4 SEPTIEMBRE 2026", "2026-09-04"},
		{"4 setiembre 2026", "2026-09-04"},
		{"29/2/2024", "2024-02-29"},
		{"2026-07-04T06:15:00.123456789123Z", "2026-07-04T06:15:00.123456789"},
		{"2026-07-04 06:15 UTC", "2026-07-04T06:15:00"},
		{"2026-07-04t06:15:00-06", "2026-07-04T06:15:00"},
		{"2026-07-04T06:15:00+0530", "2026-07-04T06:15:00"},
	} {
		r, err := Read(c.in, nil, Unneeded)
		if err != nil || r.Local.String() != c.want {
			t.Errorf("%q: %s, %v; want %s", c.in, r.Local, err, c.want)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	for _, in := range []string{
		"", " ", "yesterday", "Total", "46146", "2026", "4.5", "2026-02-30", "29/2/2026", "31/4/2026", "13/13/2026", "0/5/2026", "2026-00-10",
		"2026-05-04 24:00", "2026-05-04 23:59:60", "2026-05-04 14", "2026-05-04 13:00 PM", "2026-05-04 0:30 AM", "2026-05-04T", "2026-05-0414:30",
		"2026-05-04 14:30 CST", "2026-05-04 14:30+25:00", "2026-05-04 14:30.5", "0000-05-04", "5/2026", "4 Mayhem 2026", "4/5/202",
		"2026-05-04 14:30 and " + strings.Repeat("x", 60),
	} {
		r, err := Read(in, nil, Unneeded)
		if r.Kind != Bad || !fault.Is(err, fault.Invalid) {
			t.Errorf("%q: %+v, %v; want it refused", in, r, err)
		}
	}
}

func TestReadOrders(t *testing.T) {
	for _, c := range []struct {
		in    string
		order Order
		want  string
	}{
		{"4/5/2026", DayFirst, "2026-05-04"},
		{"4/5/2026", MonthFirst, "2026-04-05"},
		{"4.5.2026", Unneeded, "2026-05-04"},
		{"4.5.2026", MonthFirst, "2026-04-05"},
		{"3/8/2026 2:30 PM", MonthFirst, "2026-03-08T14:30:00"},
	} {
		if r, err := Read(c.in, nil, c.order); err != nil || r.Local.String() != c.want {
			t.Errorf("%s %s: %s, %v; want %s", c.in, c.order, r.Local, err, c.want)
		}
	}
	r, err := Read("4/5/2026 14:30", nil, Either)
	if r.Kind != TwoDates || r.Days[0].String() != "2026-05-04T14:30:00" || r.Days[1].String() != "2026-04-05T14:30:00" || err == nil {
		t.Errorf("4/5/2026: %+v, %v; want both days", r, err)
	}
	if r, err := Read("13/5/2026", nil, MonthFirst); r.Kind != Bad || err == nil {
		t.Errorf("13/5/2026 month first: %+v, %v; want it refused, as the column must be read one way", r, err)
	}
}

func TestOrderOf(t *testing.T) {
	for _, c := range []struct {
		name  string
		texts []string
		want  Order
	}{
		{"V086", []string{"04/05/2026", "13/05/2026", "05/06/2026"}, DayFirst},
		{"month", []string{"04/05/2026", "05/13/2026"}, MonthFirst},
		{"open", []string{"04/05/2026", "05/06/2026", ""}, Either},
		{"same both ways", []string{"05/05/2026"}, Unneeded},
		{"both", []string{"04/13/2026", "13/04/2026"}, Contradictory},
		{"years first", []string{"2026-04-05", "", "Total"}, Unneeded},
		{"dots", []string{"4.5.2026"}, Unneeded},
		{"dots month first", []string{"4.5.2026", "4.15.2026"}, MonthFirst},
		{"no day either way", []string{"13/13/2026"}, Unneeded},
		{"none", nil, Unneeded},
	} {
		if got := OrderOf(c.texts); got != c.want {
			t.Errorf("%s: %q: %v; want %v", c.name, c.texts, got, c.want)
		}
	}
}

// TestClockChanges takes the rules of the tz database: Lord Howe moves half an
// hour, Samoa skipped 30 December 2011 whole, Chicago in 1900 had its offset.
func TestClockChanges(t *testing.T) {
	for _, c := range []struct{ zone, in, want string }{
		{"Australia/Lord_Howe", "2026-10-04 02:15", "clocks jump 02:00 to 02:30"},
		{"Australia/Lord_Howe", "2026-04-05 01:45", "2026-04-05T01:45:00+11:00 or 2026-04-05T01:45:00+10:30"},
		{"Pacific/Apia", "2011-12-30 12:00", "clocks jump 2011-12-30 00:00 to 2011-12-31 00:00"},
		{"Europe/Madrid", "2026-03-29 02:00", "clocks jump 02:00 to 03:00"},
		{"America/Chicago", "2026-11-01 01:00", "2026-11-01T01:00:00-05:00 or 2026-11-01T01:00:00-06:00"},
	} {
		_, err := Read(c.in, zoneOf(t, c.zone), Unneeded)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s in %s: %v; want %s", c.in, c.zone, err, c.want)
		}
	}
	for _, c := range []struct{ zone, in, want string }{
		{"America/Chicago", "2026-11-01 02:00", "2026-11-01T08:00:00Z"},
		{"America/Chicago", "2026-11-01 00:59:59", "2026-11-01T05:59:59Z"},
		{"America/Chicago", "2026-03-08 01:59:59", "2026-03-08T07:59:59Z"},
		{"America/Chicago", "2026-03-08 03:00", "2026-03-08T08:00:00Z"},
		{"Australia/Lord_Howe", "2026-10-04 02:30", "2026-10-03T15:30:00Z"},
		{"Pacific/Apia", "2011-12-31 00:00", "2011-12-30T10:00:00Z"},
		{"UTC", "2026-03-08 02:30", "2026-03-08T02:30:00Z"},
	} {
		r, err := Read(c.in, zoneOf(t, c.zone), Unneeded)
		if err != nil || r.At.UTC().Format(time.RFC3339) != c.want {
			t.Errorf("%s in %s: %v, %v; want %s", c.in, c.zone, r.At.UTC(), err, c.want)
		}
	}
}

// TestSerial: 46146 is 4 May 2026 by GNU date -d '1899-12-30 +46146 days', as
// case V082 has it; the day that never was is 60.
func TestSerial(t *testing.T) {
	for _, c := range []struct {
		days float64
		want string
	}{
		{46146, "2026-05-04"}, {46147.5, "2026-05-05T12:00:00"}, {46148.2708333333, "2026-05-06T06:30:00"}, {46148.27083, "2026-05-06T06:30:00"},
		{61, "1900-03-01"}, {2958465, "9999-12-31"},
	} {
		if got, ok := Serial(c.days); !ok || got.String() != c.want {
			t.Errorf("%v: %s, %v; want %s", c.days, got, ok, c.want)
		}
	}
	for _, days := range []float64{60, 60.5, 1, 0, -1, 2958466, 1e300} {
		if got, ok := Serial(days); ok {
			t.Errorf("%v: %s; want it refused", days, got)
		}
	}
}

func TestSpanish(t *testing.T) {
	_, err := Read("2026-03-08 02:30", zoneOf(t, "America/Chicago"), Unneeded)
	refusal, _ := err.(*fault.Error)
	if refusal == nil || refusal.Text.In(words.Spanish) != "La hora 2026-03-08 02:30 no existe en America/Chicago: los relojes saltan de 02:00 a 03:00." {
		t.Errorf("%v", refusal)
	}
}

func FuzzWhen(f *testing.F) {
	for _, s := range []string{"2026-03-08 02:30", "2026-11-01 01:30", "2026-11-01T01:30:00-06:00", "2026-07-04T06:15:00Z", "2026-07-04",
		"3/8/2026 2:30 PM", "8.3.2026 14:30", "4 de mayo de 2026", "May 4, 2026", "20260504", "13/13/26", "1.º de enero de 2026 12:05 a. m. +02"} {
		f.Add(s)
	}
	zone := zoneOf(f, "America/Chicago")
	f.Fuzz(func(t *testing.T, s string) {
		for _, order := range []Order{Unneeded, DayFirst, MonthFirst} {
			for _, z := range []*time.Location{nil, zone} {
				checkReading(t, s, z, order)
			}
		}
	})
}

func checkReading(t *testing.T, s string, zone *time.Location, order Order) {
	r, err := Read(s, zone, order)
	if certain := r.Kind == Day || r.Kind == Instant || r.Kind == Local; certain != (err == nil) {
		t.Fatalf("%q: kind %d with error %v", s, r.Kind, err)
	}
	if err != nil {
		return
	}
	// What was read, written in the standard's form, reads the same.
	again, err := Read(r.Local.String(), nil, Unneeded)
	if err != nil || again.Local != r.Local {
		t.Fatalf("%q: read as %s, which reads as %s, %v", s, r.Local, again.Local, err)
	}
	if r.Kind == Instant && !r.Offset {
		back := civil(r.At)
		if back != r.Local {
			t.Fatalf("%q: %s became %v", s, r.Local, r.At)
		}
	}
}
