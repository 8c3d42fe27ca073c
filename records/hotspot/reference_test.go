package hotspot

import (
	"cmp"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"caneward/geo"
)

// Expected values: testdata/reference/hotspots, sources in its README.
const references = "../../testdata/reference"

func open(t testing.TB, name string) *os.File {
	t.Helper()
	file, err := os.Open(filepath.Join(references, "hotspots", name))
	if errors.Is(err, os.ErrNotExist) {
		file, err = os.Open(filepath.Join(references, "gpl", "hotspots", name))
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { file.Close() })
	return file
}

func load[T any](t testing.TB, name string) (c T) {
	t.Helper()
	if err := json.NewDecoder(open(t, name)).Decode(&c); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return c
}

func table(t testing.TB, name string) []map[string]string {
	t.Helper()
	lines, err := csv.NewReader(open(t, name)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, v := range line {
			row[lines[0][i]] = v
		}
		rows = append(rows, row)
	}
	return rows
}

func number(s string) float64 {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(err)
	}
	return f
}

func addresses(plants []Plant) []string {
	out := []string{}
	for _, p := range plants {
		out = append(out, fmt.Sprintf("%d-%d", p.Row, p.Plant))
	}
	return out
}

func ptr[T any](v T) *T { return &v }

type removalCase struct {
	Params struct {
		AlongM   float64 `json:"along_m"`
		AcrossM  float64 `json:"across_m"`
		MinFinds int     `json:"min_finds"`
		Gap      int     `json:"gap_plants"`
		Margin   int     `json:"margin_plants"`
		Rows     int     `json:"inspect_rows"`
	}
	Expected struct {
		Clusters []struct{ Finds []string }
		Isolated []string `json:"isolated_finds"`
		Confirm  []string `json:"remove_confirmed"`
		Between  []string `json:"remove_between"`
		Margin   []string `json:"remove_margin"`
		Inspect  []string `json:"inspect_again"`
	}
}

// rowMapA is the invented block of the reference, with its settings.
func rowMapA(t testing.TB) Analysis {
	t.Helper()
	p := load[removalCase](t, "removal-rowmap-a.json").Params
	a, err := AnalyseRowMap(context.Background(), open(t, "data/rowmap-a.csv"), RowMapOptions{Options: Options{
		Along: ptr(geo.Metres(p.AlongM)), Across: ptr(geo.Metres(p.AcrossM)), MinFinds: &p.MinFinds, GapPlants: &p.Gap,
		MarginPlants: &p.Margin, InspectRows: &p.Rows}})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func TestRemovalListOfRowMapA(t *testing.T) {
	a, want := rowMapA(t), load[removalCase](t, "removal-rowmap-a.json").Expected
	if len(a.Groups) != len(want.Clusters) {
		t.Fatalf("%d groups, want %d", len(a.Groups), len(want.Clusters))
	}
	for i, g := range a.Groups {
		if got := addresses(g.Finds); !slices.Equal(got, want.Clusters[i].Finds) || g.Number != i {
			t.Errorf("group %d: %v, want %v", g.Number, got, want.Clusters[i].Finds)
		}
	}
	for _, c := range []struct {
		name string
		got  []Plant
		want []string
	}{
		{"isolated", a.Isolated, want.Isolated},
		{"confirmed", a.List.Confirmed, want.Confirm},
		{"between", a.List.Between, want.Between},
		{"margin", a.List.Margin, want.Margin},
		{"inspect", a.List.Inspect, want.Inspect},
	} {
		if got := addresses(c.got); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

type window struct {
	CentreIndex int `json:"centre_index"`
	Centre      string
	Shape       string
	Semiminor   float64 `json:"semiminor_m"`
	Radius      float64 `json:"radius_or_semiminor"`
	Plants      int
	Infected    int
	Locations   []int32
	Cases       int32
	Population  float64
	LLR         float64
	Risk        float64  `json:"relative_risk"`
	P           *float64 `json:"p_monte_carlo_999"`
	Published   *float64 `json:"p_published"`
	Members     []string
}

type scanCase struct {
	Params struct {
		MaxFraction   float64 `json:"max_fraction"`
		MaxPopulation float64 `json:"max_population_fraction"`
		MinCases      int     `json:"min_cases"`
		Shapes        []float64
		Angles        []int `json:"n_angles"`
	}
	Expected struct {
		Inspected int `json:"n_inspected"`
		Infected  int `json:"n_infected"`
		Clusters  []window
	}
}

func near(a, b, within float64) bool { return math.Abs(a-b) <= within }

func TestScanOfRowMapA(t *testing.T) {
	a, want := rowMapA(t), load[scanCase](t, "scan-rowmap-a-bernoulli.json").Expected
	if a.Inspected != want.Inspected || a.Infected != want.Infected || a.Counted != want.Infected {
		t.Errorf("%d inspected, %d infected, %d of them inspected; want %d, %d", a.Inspected, a.Infected, a.Counted, want.Inspected, want.Infected)
	}
	for i, w := range want.Clusters {
		g := a.Scan[i]
		if got := addresses(g.Members); !slices.Equal(got, w.Members) {
			t.Errorf("window %d: members %v, want %v", i, got, w.Members)
		}
		shape := fmt.Sprintf("shape %g angle 0", g.Shape)
		if centre := addresses([]Plant{g.Centre})[0]; centre != w.Centre || shape != w.Shape || !near(float64(g.Semiminor), w.Semiminor, 1e-9) {
			t.Errorf("window %d: centre %s, %s, half axis %v; want %s, %s, %v", i, centre, shape, g.Semiminor, w.Centre, w.Shape, w.Semiminor)
		}
		if g.Plants != w.Plants || g.Infected != w.Infected || !near(g.LLR, w.LLR, 1e-9) || !near(g.RelativeRisk, w.Risk, 1e-9) {
			t.Errorf("window %d: %d of %d, LLR %v, risk %v; want %d of %d, %v, %v", i, g.Infected, g.Plants, g.LLR, g.RelativeRisk, w.Infected, w.Plants, w.LLR, w.Risk)
		}
		if g.P == nil {
			t.Fatalf("window %d has no p", i)
		}
		holdsP(t, fmt.Sprintf("window %d", i), *g.P, *w.P, 999)
	}
	if a.Groups[0].Window != 1 || a.Groups[1].Window != 0 {
		t.Errorf("groups go with windows %d and %d, want 1 and 0", a.Groups[0].Window, a.Groups[1].Window)
	}
}

func TestHandScan(t *testing.T) {
	c := load[struct {
		Input struct {
			Rows [][]int32 `json:"map_rows"`
		}
		Expected struct {
			LLR     float64 `json:"best_llr"`
			Cases   int32   `json:"best_cases"`
			N       float64 `json:"best_n"`
			Centres []int32 `json:"centres_reaching_best"`
		}
	}](t, "scan-hand-5x5.json")
	q := newScan(Scan{Shapes: []float64{1}, Cap: 0.5, MinCases: 2})
	for y, row := range c.Input.Rows {
		for x, sick := range row {
			q.add(float64(x), float64(y), sick, 1)
		}
	}
	got, _, err := q.search(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	// Several centres reach the best: the first of them stands for all.
	if w := got[0]; !near(w.llr, c.Expected.LLR, 1e-12) || w.cases != c.Expected.Cases || w.risk != c.Expected.N || w.centre != c.Expected.Centres[0] {
		t.Errorf("best window %+v, want %+v", w.candidate, c.Expected)
	}
}

func TestRatios(t *testing.T) {
	c := load[struct {
		// A map, because the keys c and C differ by case alone.
		Input    []map[string]float64
		Expected struct{ Bernoulli, Poisson []float64 }
	}](t, "scan-llr-values.json")
	for i, w := range c.Expected.Bernoulli {
		v := c.Input[i]
		if got := bernoulli(v["c"], v["n"], v["C"], v["N"]); !near(got, w, 1e-10) {
			t.Errorf("bernoulli(%v) = %v, want %v", v, got, w)
		}
		if got := poisson(v["c"], v["n"], v["C"], v["N"]); !near(got, c.Expected.Poisson[i], 1e-10) {
			t.Errorf("poisson(%v) = %v, want %v", v, got, c.Expected.Poisson[i])
		}
		table := newBernoulliTable(int(v["C"]), int(v["N"]))
		if got := table.at(int(v["c"]), int(v["n"])); !near(got, w, 1e-7) {
			t.Errorf("table of %v = %v, want %v", v, got, w)
		}
	}
}

// Places of different population, both likelihoods, circles and turned
// ellipses: the search itself against the printed output of an established
// program, and its p against that program's or 999 reshuffles of another.
func TestScanOfPlaces(t *testing.T) {
	newYork := func(q *scan, x, y string) {
		for _, row := range table(t, "data/ny_leukaemia.csv") {
			q.add(number(row[x]), number(row[y]), int32(number(row["cases_int"])), number(row["population"]))
		}
	}
	degrees := func(q *scan) { newYork(q, "longitude", "latitude") }
	// The published ellipses take latitude as x (README of the reference).
	northEast := func(q *scan) { newYork(q, "latitude", "longitude") }
	humberside := func(q *scan) {
		for _, row := range table(t, "data/humberside.csv") {
			sick := int32(0)
			if row["type"] == "case" {
				sick = 1
			}
			q.add(number(row["x"]), number(row["y"]), sick, 1)
		}
	}
	for _, c := range []struct {
		name    string
		fill    func(*scan)
		counted bool
		repeats int
		swapped bool // the first two windows tie
	}{
		{"scan-ny-bernoulli-circle-10", degrees, false, 0, false},
		{"scan-ny-poisson-circle-10", degrees, true, 999, false},
		{"scan-ny-poisson-circle-50", degrees, true, 999, false},
		{"scan-ny-poisson-ellipse-10", northEast, true, 99, false},
		{"scan-ny-poisson-ellipse-50", northEast, true, 99, false},
		{"scan-humberside-bernoulli", humberside, false, 999, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := load[scanCase](t, c.name+".json")
			set := Scan{Shapes: []float64{1}, Cap: k.Params.MaxFraction + k.Params.MaxPopulation, MinCases: k.Params.MinCases, Replicates: c.repeats, Seed: 1}
			q := newScan(set)
			if c.counted {
				q = newCountScan(set)
			}
			if len(k.Params.Shapes) > 0 {
				q.shapes = everyAngle(k.Params.Shapes, k.Params.Angles)
			}
			c.fill(q)
			got, maxima, err := q.search(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			want := k.Expected.Clusters
			if c.swapped && got[0].centre != int32(want[0].CentreIndex) {
				want[0], want[1] = want[1], want[0]
			}
			for i, w := range want {
				g := got[i]
				sites := slices.Sorted(slices.Values(g.sites))
				if slices.Sort(w.Locations); !slices.Equal(sites, w.Locations) {
					t.Errorf("window %d: places %v, want %v", i, sites, w.Locations)
				}
				if !near(g.llr, w.LLR, 1e-6) || g.cases != w.Cases || g.risk != w.Population || !near(g.far, w.Radius, 1e-9) {
					t.Errorf("window %d: %+v, want %+v", i, g.candidate, w)
				}
				if p := cmp.Or(w.P, w.Published); p != nil && c.repeats > 0 {
					holdsP(t, fmt.Sprintf("window %d", i), *rank(g.llr, maxima), *p, c.repeats)
				}
			}
		})
	}
}

// holdsP allows four standard errors of two Monte Carlo samples, ours of so many
// and one of 999, and one step of ours at the ends. A published p of more
// reshuffles is nearer than that.
func holdsP(t *testing.T, what string, got, want float64, repeats int) {
	t.Helper()
	bound := 4*math.Sqrt(want*(1-want)*(1/float64(repeats)+1./999)) + 1/float64(repeats+1)
	t.Logf("%s: p %.4f of %d reshuffles, reference %.4f, bound %.4f", what, got, repeats, want, bound)
	if !near(got, want, bound) {
		t.Errorf("%s: p %v, want %v within %v", what, got, want, bound)
	}
}

// everyAngle turns each ratio by so many equal parts of half a turn.
func everyAngle(ratios []float64, angles []int) (out []ellipse) {
	for i, ratio := range ratios {
		for k := range angles[i] {
			out = append(out, turned(ratio, geo.Degrees(k*180)/geo.Degrees(angles[i])))
		}
	}
	return out
}

type runsWant struct {
	N        int
	Runs     int
	Expected *float64 `json:"runs_expected"`
	SD       *float64 `json:"runs_sd"`
	Z        *float64 `json:"z_continuity"`
}

func holdsRuns(t *testing.T, name string, r RowRuns, w runsWant) {
	t.Helper()
	if w.Expected == nil {
		if r.Segments != 0 || r.Z != nil {
			t.Errorf("%s: %+v, want no test", name, r)
		}
		return
	}
	if r.Runs != w.Runs || !near(r.Expected, *w.Expected, 1e-12) || !near(math.Sqrt(r.Variance), *w.SD, 1e-12) || r.Z == nil || !near(*r.Z, *w.Z, 1e-9) {
		t.Errorf("%s: %+v, want runs %d, expected %v, sd %v, z %v", name, r, w.Runs, *w.Expected, *w.SD, *w.Z)
	}
}

func TestRunsByHand(t *testing.T) {
	c := load[struct {
		Input    []string
		Expected []runsWant
	}](t, "runs-hand.json")
	for i, digits := range c.Input {
		var segment []bool
		for _, d := range digits {
			segment = append(segment, d == '1')
		}
		var r RowRuns
		r.add(segment)
		r.finish()
		holdsRuns(t, digits, r, c.Expected[i])
	}
}
