package programme_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records/scouting/programme"
)

func of(t *testing.T, id string) programme.Programme {
	t.Helper()
	p, err := programme.Of(programme.BuiltIn(), id)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func weigh(t *testing.T, p programme.Programme, n, k int) programme.Answer {
	t.Helper()
	a, err := p.Weigh(n, k)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func read(t *testing.T, parts ...string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(append([]string{"..", "..", "..", "testdata", "reference"}, parts...)...))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// W71 to W75 of the trade table, each counted by the programme it speaks of.
func TestWorkedExamples(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(string(read(t, "trade", "worked-examples.csv")))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	by := map[string]struct {
		programme string
		scale     float64
	}{"W71": {"galled-canes", 100}, "W72": {"clipped-buds", 100}, "W73": {"leafroller-hills", 100}, "W74": {"fruit-larvae", 1}, "W75": {"galled-canes", 100}}
	seen := 0
	for _, row := range rows {
		c, ours := by[row[0]]
		if !ours {
			continue
		}
		seen++
		var in struct{ Count, Sample int }
		var tolerance float64
		if err := json.Unmarshal([]byte(row[2]), &in); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal([]byte(row[4]), &tolerance); err != nil {
			t.Fatal(err)
		}
		a := weigh(t, of(t, c.programme), in.Sample, in.Count)
		got, want := []float64{a.Rate}, []float64{0}
		if strings.HasPrefix(row[3], "[") {
			got, want = []float64{a.Low, a.High}, []float64{0, 0}
			err = json.Unmarshal([]byte(row[3]), &want)
		} else {
			err = json.Unmarshal([]byte(row[3]), &want[0])
		}
		if err != nil {
			t.Fatal(err)
		}
		for i := range want {
			if math.Abs(got[i]*c.scale-want[i]) > tolerance {
				t.Errorf("%s: %d in %d: got %v, want %v within %v", row[0], in.Count, in.Sample, got[i]*c.scale, want[i], tolerance)
			}
		}
	}
	if seen != len(by) {
		t.Errorf("%d of %d examples found", seen, len(by))
	}
}

// The answers agree with R and scipy: the limits with binomial-intervals.json,
// where an answer turns with binomial-thresholds.json.
func TestAnswersAgainstReference(t *testing.T) {
	var intervals struct {
		Expected []struct {
			X, N int
			CP95 [2]float64 `json:"clopper_pearson_95"`
			CP90 [2]float64 `json:"clopper_pearson_90"`
		}
	}
	if err := json.Unmarshal(read(t, "hotspots", "binomial-intervals.json"), &intervals); err != nil {
		t.Fatal(err)
	}
	if len(intervals.Expected) < 14 {
		t.Fatalf("%d intervals, want at least 14", len(intervals.Expected))
	}
	two := of(t, "galled-canes")
	one := two
	one.Sides = 1
	for _, e := range intervals.Expected {
		for _, c := range []struct {
			p    programme.Programme
			want [2]float64
		}{{two, e.CP95}, {one, e.CP90}} {
			a := weigh(t, c.p, e.N, e.X)
			if math.Abs(a.Low-c.want[0]) > 1e-9 || math.Abs(a.High-c.want[1]) > 1e-9 {
				t.Errorf("%d of %d, %d-sided: %v to %v, want %v", e.X, e.N, c.p.Sides, a.Low, a.High, c.want)
			}
		}
	}
	var thresholds struct {
		Expected struct {
			Limits []struct {
				N         int
				P0, Alpha float64
				More      int  `json:"smallest_count_showing_more_than_p0"`
				Less      *int `json:"largest_count_showing_less_than_p0"`
			}
		}
	}
	if err := json.Unmarshal(read(t, "hotspots", "binomial-thresholds.json"), &thresholds); err != nil {
		t.Fatal(err)
	}
	turned := 0
	for _, e := range thresholds.Expected.Limits {
		p := one
		p.Level, p.Sureness = &e.P0, 1-e.Alpha
		for k := 0; k <= e.N; k++ {
			want := programme.CannotTell
			switch {
			case k >= e.More:
				want = programme.Above
			case e.Less != nil && k <= *e.Less:
				want = programme.Below
			}
			if got := weigh(t, p, e.N, k).Verdict; got != want {
				t.Errorf("%d of %d at %v: %s, want %s", k, e.N, e.P0, got, want)
			}
			turned++
		}
	}
	if turned < 1000 {
		t.Errorf("only %d counts compared", turned)
	}
}

func show(n *int) any {
	if n == nil {
		return nil
	}
	return *n
}

// 1 of 100 at 1 % cannot be told yet: the trade notes' own example of a percent
// that says nothing without its sample. How many more: the first at which the
// limits of R 4.2.2 binom.test(conf.level = 0.95) leave the level.
func TestVerdicts(t *testing.T) {
	for _, c := range []struct {
		programme      string
		n, k           int
		want           programme.Verdict
		clean, allHits any
	}{
		{"clipped-buds", 100, 1, programme.CannotTell, 455, 3},
		{"clipped-buds", 100, 0, programme.CannotTell, 268, 4},
		{"clipped-buds", 367, 0, programme.CannotTell, 1, 9},
		{"clipped-buds", 368, 0, programme.Below, nil, nil},
		{"clipped-buds", 100, 5, programme.Above, nil, nil},
		{"galled-canes", 200, 11, programme.CannotTell, 190, 7},
		{"leafroller-hills", 100, 10, programme.CannotTell, 80, 8},
		{"weevil-beats", 40, 0, programme.CannotTell, 60, 1},
		{"weevil-beats", 100, 0, programme.Below, nil, nil},
		{"weevil-beats", 100, 130, programme.Above, nil, nil},
		{"orange-rust-plants", 5000, 0, programme.CannotTell, nil, 1},
		{"orange-rust-plants", 5000, 1, programme.Above, nil, nil},
		{"fruit-larvae", 25, 60, programme.CannotTell, nil, nil},
	} {
		a := weigh(t, of(t, c.programme), c.n, c.k)
		if a.Verdict != c.want {
			t.Errorf("%s %d of %d: %s, want %s", c.programme, c.k, c.n, a.Verdict, c.want)
		}
		if show(a.More.IfClean) != c.clean || show(a.More.IfAllHits) != c.allHits {
			t.Errorf("%s %d of %d: more %v clean, %v hits, want %v, %v", c.programme, c.k, c.n, show(a.More.IfClean), show(a.More.IfAllHits), c.clean, c.allHits)
		}
	}
}

// What "how many more" promises is held against asking again with that many.
func TestMoreIsTheFirstThatTells(t *testing.T) {
	p := of(t, "clipped-buds")
	mean := of(t, "fruit-larvae")
	level := 0.3
	mean.Level = &level
	for _, p := range []programme.Programme{p, mean} {
		for _, c := range [][2]int{{100, 1}, {50, 0}, {30, 2}, {200, 3}, {25, 6}} {
			a := weigh(t, p, c[0], c[1])
			if a.Verdict != programme.CannotTell {
				continue
			}
			for name, m := range map[string]struct {
				n    *int
				hits func(int) int
				want programme.Verdict
			}{
				"clean": {a.More.IfClean, func(int) int { return 0 }, programme.Below},
				"hits":  {a.More.IfAllHits, func(n int) int { return n }, programme.Above},
			} {
				if m.n == nil {
					t.Errorf("%s %v %s: no number", p.ID, c, name)
					continue
				}
				at := weigh(t, p, c[0]+*m.n, c[1]+m.hits(*m.n)).Verdict
				before := weigh(t, p, c[0]+*m.n-1, c[1]+m.hits(*m.n-1)).Verdict
				if at != m.want || before == m.want {
					t.Errorf("%s %v, %d more %s: %s, one less %s; want %s only at it", p.ID, c, *m.n, name, at, before, m.want)
				}
			}
		}
	}
	// 3 % found where 1 % is the level: kept up, the answer comes.
	if a := weigh(t, p, 100, 3); a.More.AtThisRate == nil || weigh(t, p, 100+*a.More.AtThisRate, 3+*a.More.AtThisRate*3/100).Verdict != programme.Above {
		t.Errorf("at this rate: %v", show(a.More.AtThisRate))
	}
	// 1 % found where 1 % is the level: it never comes.
	if a := weigh(t, p, 100, 1); a.More.AtThisRate != nil {
		t.Errorf("at the level: %v, want none", show(a.More.AtThisRate))
	}
}

// 1 - 0.05^(1/n): 299 is the first clean look under 1 % (binomial-thresholds.json,
// detection_infinite, 0.01 at 0.95).
func TestExcludes(t *testing.T) {
	p := of(t, "orange-rust-plants")
	for n, want := range map[int]string{
		299: "299 plants seen, none with it: under 1 % with 95 % sureness",
		298: "298 plants seen, none with it: under 1.1 % with 95 % sureness",
		59:  "59 plants seen, none with it: under 5 % with 95 % sureness",
		1:   "1 plants seen, none with it: under 95 % with 95 % sureness",
	} {
		a := weigh(t, p, n, 0)
		if got := a.ExcludesText().String(); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
		if exact := 1 - math.Pow(0.05, 1/float64(n)); a.Excludes == nil || math.Abs(*a.Excludes-exact) > 1e-12 {
			t.Errorf("%d: %v, want %v", n, a.Excludes, exact)
		}
	}
	if a := weigh(t, p, 299, 1); a.Excludes != nil || !a.ExcludesText().Empty() {
		t.Errorf("with a hit: %v", a.ExcludesText())
	}
	// -ln(0.05)/100 a beat.
	if got := weigh(t, of(t, "weevil-beats"), 100, 0).ExcludesText().In(words.Spanish); got != "100 golpes revisados, nada encontrado: menos de 3 por cada 100 con 95 % de certeza" {
		t.Errorf("beats: %q", got)
	}
}

func TestCountsThatCannotBe(t *testing.T) {
	for _, c := range []struct {
		programme string
		n, k      int
		field     string
	}{
		{"clipped-buds", 0, 0, "sampled"}, {"clipped-buds", 10, 11, "hits"}, {"clipped-buds", 10, -1, "hits"}, {"weevil-beats", 1 << 40, 1, "sampled"}, {"weevil-beats", 10, 1 << 40, "hits"},
	} {
		_, err := of(t, c.programme).Weigh(c.n, c.k)
		f, ok := err.(*fault.Error)
		if !ok || f.Kind != fault.Invalid || len(f.Details) != 1 || f.Details[0].Field != c.field {
			t.Errorf("%s %d of %d: %v, want a fault at %s", c.programme, c.k, c.n, err, c.field)
		}
	}
}

func TestBuiltInList(t *testing.T) {
	ids := map[string]bool{}
	for _, p := range programme.BuiltIn() {
		if ids[p.ID] {
			t.Errorf("%s stands twice", p.ID)
		}
		ids[p.ID] = true
		if p.Source.Empty() || p.Sureness != 0.95 || p.Sides < 1 || p.Sides > 2 || p.Any && p.Level != nil {
			t.Errorf("%s: %+v", p.ID, p)
		}
		for _, text := range []words.Text{p.Title, p.Stage, p.What, p.Unit, p.Sample} {
			if text.Empty() || text.In(words.Spanish) == text.In(words.English) {
				t.Errorf("%s: %q and %q", p.ID, text.In(words.English), text.In(words.Spanish))
			}
		}
		if !strings.Contains(p.Source.String(), " ") {
			t.Errorf("%s: source %q", p.ID, p.Source)
		}
	}
	// The action levels of the trade notes, 1.4.
	for id, want := range map[string]float64{"clipped-buds": 0.01, "galled-canes": 0.05, "infested-canes": 0.10, "leafroller-hills": 0.10} {
		if p := of(t, id); p.Level == nil || *p.Level != want {
			t.Errorf("%s: level %v, want %v", id, p.Level, want)
		}
	}
}

func TestEdits(t *testing.T) {
	e, err := programme.ParseEdits(json.RawMessage(`{"programmes":[
		{"id":"galled-canes","cause":"cane-borer-gall","title":"Agallas","what":"cañas","unit":"cañas","method":"binomial","level":0.08,"sides":1,"sureness":0.9},
		{"id":"mites","cause":"mites","title":"Mites","what":"leaves","unit":"leaves","method":"poisson","level":25,"source":"our adviser"},
		{"id":"thrips","cause":"thrips","title":"Thrips","what":"thrips","unit":"flowers","method":"poisson","source":"common practice"}],"hidden":["stink-bug-traps"]}`))
	if err != nil {
		t.Fatal(err)
	}
	all := programme.Merge(e)
	if len(all) != len(programme.BuiltIn())+1 {
		t.Errorf("%d programmes, want two more and one less", len(all))
	}
	if own := all[len(all)-2]; own.ID != "mites" || !own.Own {
		t.Errorf("the farm's own is %+v", own)
	}
	if last := all[len(all)-1]; last.Source.In(words.Spanish) != "práctica común" {
		t.Errorf("common practice, written out: %q", last.Source.In(words.Spanish))
	}
	p, err := programme.Of(all, "galled-canes")
	if err != nil || *p.Level != 0.08 || p.Sides != 1 || p.Source.In(words.Spanish) != "práctica común" {
		t.Errorf("changed: %+v, %v", p, err)
	}
	// What a change leaves as it came stands in both languages; the rest in one.
	if p.Unit.In(words.English) != "canes" || p.Title.In(words.English) != "Agallas" {
		t.Errorf("changed in Spanish, read in English: %q, %q", p.Unit.In(words.English), p.Title.In(words.English))
	}
	if _, err := programme.Of(all, "stink-bug-traps"); !fault.Is(err, fault.Invalid) {
		t.Errorf("a hidden one: %v", err)
	}
	// What a client got back it may send again.
	again, _ := json.Marshal(map[string]any{"programmes": []any{all[0].JSON(words.English), p.JSON(words.English)}})
	if _, err := programme.ParseEdits(again); err != nil {
		t.Errorf("sent back: %v", err)
	}
	for given, field := range map[string]string{
		`[]`: "",
		`{"programmes":[{"id":"Big","cause":"x","title":"t","what":"w","unit":"u","method":"binomial"}]}`:                      "programmes[0].id",
		`{"programmes":[{"id":"a","cause":"x","title":"t","what":"w","unit":"u","method":"guess"}]}`:                           "programmes[0].method",
		`{"programmes":[{"id":"a","cause":"x","title":"t","what":"w","unit":"u","method":"binomial","level":1}]}`:              "programmes[0].level",
		`{"programmes":[{"id":"a","cause":"x","title":"t","what":"w","unit":"u","method":"binomial","level":0.1,"any":true}]}`: "programmes[0].level",
		`{"programmes":[{"id":"a","cause":"x","title":"t","what":"w","unit":"u","method":"binomial","sureness":95}]}`:          "programmes[0].sureness",
		`{"programmes":[{"id":"a","cause":"x","title":"t","what":"w","method":"binomial"}]}`:                                   "programmes[0].unit",
		`{"programmes":[{"id":"a","cause":"x","title":"t","what":"w","unit":"u","method":"binomial","levl":1}]}`:               "programmes[0].levl",
		`{"hidden":["NO"]}`: "hidden",
	} {
		_, err := programme.ParseEdits(json.RawMessage(given))
		f, ok := err.(*fault.Error)
		if !ok || len(f.Details) != 1 || f.Details[0].Field != field {
			t.Errorf("%s: %v, want one fault at %q", given, err, field)
		}
	}
}

// Asking costs little whatever is asked.
func BenchmarkWeigh(b *testing.B) {
	p, err := programme.Of(programme.BuiltIn(), "clipped-buds")
	if err != nil {
		b.Fatal(err)
	}
	for range b.N {
		if _, err := p.Weigh(10_000_000, 100_000); err != nil {
			b.Fatal(err)
		}
	}
}
