package hotspot

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/scouting"
	"caneward/records/stats"
)

func choiceNamed(t *testing.T, a Analysis, name ChoiceName) Choice {
	t.Helper()
	for _, c := range a.Choices {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no choice %q among %d", name, len(a.Choices))
	return Choice{}
}

// What each choice would cost on the reference map: 33, 33 + 13, and 33 + 13 + 34
// of its 988 standing plants, 0.9 m apart (removal-rowmap-a.json).
func TestChoicesOfRowMapA(t *testing.T) {
	a, want := rowMapA(t), load[removalCase](t, "removal-rowmap-a.json").Expected
	confirmed, between := len(want.Confirm), len(want.Between)
	missing := 0
	for _, line := range table(t, "data/rowmap-a.csv") {
		if line["status"] == "missing" {
			missing++
		}
	}
	standing := len(table(t, "data/rowmap-a.csv")) - missing
	if a.Standing == nil || *a.Standing != standing {
		t.Fatalf("%v plants stand, want %d", a.Standing, standing)
	}
	if *a.Unseen != standing-a.Inspected {
		t.Errorf("%d plants were not looked at, want %d less %d", *a.Unseen, standing, a.Inspected)
	}
	for _, c := range []struct {
		name   ChoiceName
		plants int
		signed bool
	}{{ConfirmedOnly, confirmed, false}, {WithBetween, confirmed + between, false}, {WithMargin, confirmed + between + len(want.Margin), false}, {WholePlanting, standing, true}} {
		got := choiceNamed(t, a, c.name)
		if len(got.Plants) != c.plants || got.Signed() != c.signed || !near(float64(*got.RowLength), 0.9*float64(c.plants), 1e-9) || !near(*got.Share, float64(c.plants)/float64(standing), 1e-12) {
			t.Errorf("%s: %d plants, %v m, share %v, signed %v; want %d", c.name, len(got.Plants), *got.RowLength, *got.Share, got.Signed(), c.plants)
		}
	}
	if all := choiceNamed(t, a, WholePlanting); all.Rate.Infected != a.Counted || all.Rate.Inspected != a.Inspected {
		t.Errorf("rate of the planting %+v, want %d of %d", all.Rate, a.Counted, a.Inspected)
	}
}

func TestSectionAgainstItsLimit(t *testing.T) {
	in := block(10, 30)
	in.Rows[4].Missing = []int{11}
	in.Finds = finds(scouting.Confirmed, slices.DeleteFunc(slices.Clone(seven), func(p Plant) bool { return p == Plant{Row: 5, Plant: 11} })...)
	for _, c := range []struct {
		limit float64
		above bool
	}{{0.4, true}, {0.6, false}, {0.9, false}} {
		a := analyse(t, in.walked(), Options{SectionLimit: &c.limit})
		got := choiceNamed(t, a, WholeSection)
		// Rows 5 and 6, plants 10 to 13, less the missing one: 6 of 7 confirmed.
		lower, err := stats.LowerLimit(6, 7, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if got.Section != (Section{5, 6, 10, 13}) || len(got.Plants) != 7 || got.Rate.Infected != 6 || got.Rate.Inspected != 7 || got.Rate.Lower != lower {
			t.Fatalf("section %+v of %d plants, rate %+v; want rows 5 to 6, plants 10 to 13, 6 of 7, lower %v", got.Section, len(got.Plants), got.Rate, lower)
		}
		if got.Above == nil || *got.Above != c.above {
			t.Errorf("limit %v: above %v, want %v (rate %v, lower %v)", c.limit, got.Above, c.above, got.Rate.Share, lower)
		}
	}
	if a := analyse(t, in.walked(), Options{}); choiceNamed(t, a, WholeSection).Above != nil {
		t.Error("without a limit the section is judged all the same")
	}
	if _, err := (Options{SectionLimit: ptr(5.0)}).Settings(3, 1); !fault.Is(err, fault.Invalid) {
		t.Errorf("a limit of 5: %v", err)
	}
}

// Whatever is asked for, a suspected find takes no plant out.
func TestSuspectedOnlyListsNothingForRemoval(t *testing.T) {
	every := []scouting.State{scouting.Suspected, scouting.Sampled, scouting.Confirmed}
	for _, states := range [][]scouting.State{nil, {scouting.Suspected}, {scouting.Sampled, scouting.Suspected}, every} {
		for _, margin := range []int{0, 1, 5} {
			in := block(10, 30)
			in.Finds = append(finds(scouting.Suspected, seven[:4]...), finds(scouting.Sampled, seven[4:]...)...)
			a := analyse(t, in.walked(), Options{States: states, MarginPlants: &margin, GapPlants: ptr(10), SectionLimit: ptr(0.001), Scan: ScanOptions{Replicates: ptr(19)}})
			if n := len(a.List.Confirmed) + len(a.List.Between) + len(a.List.Margin); n > 0 || len(a.Choices) > 0 {
				t.Fatalf("states %v, margin %d: %d plants listed, choices %v", states, margin, n, a.Choices)
			}
			if want := nothingConfirmed.With(words.Args{"suspected": 4, "sampled": 3}); a.WhyNoList.In(words.English) != want.In(words.English) {
				t.Errorf("states %v: %q, want %q", states, a.WhyNoList.In(words.English), want.In(words.English))
			}
			in.Finds[0].State = scouting.Confirmed
			if a := analyse(t, in.walked(), Options{States: states, MarginPlants: &margin, Scan: ScanOptions{Replicates: ptr(19)}}); !slices.Equal(a.List.Confirmed, seven[:1]) || !a.WhyNoList.Empty() || len(a.Choices) == 0 {
				t.Errorf("states %v: with one confirmed the list is %+v, %q", states, a.List, a.WhyNoList.In(words.English))
			}
		}
	}
	in := block(5, 5)
	if a := analyse(t, in, Options{}); a.WhyNoList.Key() != nothingFound.Key {
		t.Errorf("nothing found: %q", a.WhyNoList.Key())
	}
	in.Finds = finds(scouting.Confirmed, Plant{Row: 1, Plant: 1})
	in.Finds[0].Cause = scouting.CaneBorerGall
	if a := analyse(t, in, Options{Causes: []scouting.Cause{scouting.CaneBorerGall}}); a.WhyNoList.Key() != noPlantGoes.Key || len(a.Choices) > 0 {
		t.Errorf("a borer's gall: %q, choices %v; want no plant to go", a.WhyNoList.Key(), a.Choices)
	}
}

// The document of shuffled records is the same to the byte, its finds put in the
// order of their ids: windows, members, choices, picture and p.
func TestShuffledInputGivesTheSameBytes(t *testing.T) {
	random := rand.New(rand.NewPCG(12, 12))
	in := block(15, 40).walked()
	in.Inspected = slices.DeleteFunc(in.Inspected, func(p Plant) bool { return p.Row > 5 && random.IntN(3) > 0 })
	for i, p := range in.Inspected {
		if p.Plant%5 == 0 {
			in.Counts = append(in.Counts, Counted{What: "galls", At: Stretch{p.Row, p.Plant, p.Plant}, Sampled: 5, Hits: random.IntN(4)})
		}
		if random.IntN(14) > 0 {
			continue
		}
		for k := range 1 + random.IntN(2) {
			f := finds(scouting.States[random.IntN(len(scouting.States))], p)[0]
			f.ID = records.ID(fmt.Sprintf("0190b5a2-7c3e-7a11-8f00-%012x", 10*i+k))
			in.Finds = append(in.Finds, f)
		}
	}
	asked := Options{States: []scouting.State{scouting.Confirmed, scouting.Suspected}, MarginPlants: ptr(1), Smooth: ptr(true), SectionLimit: ptr(0.2), Scan: ScanOptions{Replicates: ptr(199)}}
	bytesOf := func() string {
		d := analyse(t, in, asked).Document(words.English)
		slices.SortFunc(d.Finds, func(a, b FindOut) int { return strings.Compare(string(a.ID), string(b.ID)) })
		for i, f := range d.Finds {
			d.Labels[i] = f.Label
		}
		data, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	want := bytesOf()
	for range 6 {
		random.Shuffle(len(in.Finds), func(i, j int) { in.Finds[i], in.Finds[j] = in.Finds[j], in.Finds[i] })
		random.Shuffle(len(in.Inspected), func(i, j int) { in.Inspected[i], in.Inspected[j] = in.Inspected[j], in.Inspected[i] })
		random.Shuffle(len(in.Rows), func(i, j int) { in.Rows[i], in.Rows[j] = in.Rows[j], in.Rows[i] })
		random.Shuffle(len(in.Counts), func(i, j int) { in.Counts[i], in.Counts[j] = in.Counts[j], in.Counts[i] })
		if got := bytesOf(); got != want {
			t.Fatalf("another order gives\n%s\nwant\n%s", got, want)
		}
	}
	if !strings.Contains(want, `"counts"`) || !strings.Contains(want, `"smoothed"`) {
		t.Errorf("the document lacks a part: %s", want)
	}
}

// Counts against the definition: each reshuffle's best window, and totals kept.
func TestRecountsAgainstDefinition(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	q := newCountScan(Scan{Shapes: []float64{1, 2, 4}, Cap: 0.3, MinCases: 2, Replicates: 40, Seed: 5})
	for row := range 6 {
		for plant := range 10 {
			q.add(float64(plant), 3*float64(row), int32(random.IntN(3)), float64(1+random.IntN(9)))
		}
	}
	_, maxima, err := q.search(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	c, err := q.recounts(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for r, dealt := range c.dealt {
		sum, again := int32(0), *q
		again.cases, again.repeats = dealt, 0
		for _, n := range dealt {
			sum += n
		}
		windows, _, err := again.search(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		best := 0.0
		if len(windows) > 0 {
			best = windows[0].llr
		}
		if float64(sum) != q.allC || !near(best, maxima[r], 1e-9) {
			t.Errorf("reshuffle %d: %d dealt, best %v; want %v, %v", r, sum, maxima[r], q.allC, best)
		}
	}
}

func TestGallsOfARowMap(t *testing.T) {
	var sheet strings.Builder
	sheet.WriteString("Plant\tRow\tStatus\tgalls\tcanes\tinfected\tnote\n")
	for row := range 8 {
		for plant := range 12 {
			galls := 0
			if row == 3 && plant < 5 {
				galls = 4
			}
			fmt.Fprintf(&sheet, "%d\t%d\tInspected\t%d\t6\t0\t\"a, b\"\n", plant+1, row+1, galls)
		}
	}
	a, err := AnalyseRowMap(context.Background(), strings.NewReader(sheet.String()), RowMapOptions{RowSpacing: 3, PlantSpacing: 1})
	if err != nil {
		t.Fatal(err)
	}
	c := a.Counts[0]
	if c.What != "galls" || c.Places != 96 || c.Hits != 20 || c.Sampled != 576 || !c.WhyNoP.Empty() {
		t.Fatalf("counts %+v", c)
	}
	w := c.Scan[0]
	// By hand: 20 of 20 in 30 of 576; ln(20/(20*30/576)) is ln 19.2.
	if w.Hits != 20 || w.Sampled != 30 || !near(w.LLR, 59.099, 1e-3) || *w.P != 0.001 || w.Members[0] != (Stretch{4, 1, 1}) {
		t.Errorf("best place %+v, want the five plants of row 4", w)
	}
}

// Nothing is called a hot spot without how easily chance does it.
func TestGroupsSayWhatChanceDoes(t *testing.T) {
	walked := block(10, 30).walked()
	walked.Finds = finds(scouting.Confirmed, seven...)
	spread := block(10, 30).walked()
	for i := range 60 {
		spread.Finds = append(spread.Finds, finds(scouting.Confirmed, spread.Inspected[5*i])...)
	}
	for _, c := range []struct {
		name string
		in   Input
		o    Options
		want words.Message
	}{
		{"seven together", walked, Options{}, moreThanChance},
		{"every fifth plant", spread, Options{Along: ptr(geo.Metres(6)), Scan: ScanOptions{MinCases: ptr(3)}}, chanceDoesIt},
		{"nobody looked", Input{RowSpacing: 3, PlantSpacing: 1, Finds: walked.Finds}, Options{}, chanceUnknown},
		{"no reshuffles", walked, Options{Scan: ScanOptions{Replicates: ptr(0)}}, chanceUnknown},
	} {
		a := analyse(t, c.in, c.o)
		if len(a.Groups) == 0 {
			t.Fatalf("%s: no group", c.name)
		}
		if got := a.Chance(a.Groups[0]); got.Key() != c.want.Key {
			t.Errorf("%s: %q, want %q", c.name, got.In(words.English), c.want.Key)
		}
	}
}
