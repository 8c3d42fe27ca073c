package cluster_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"caneward/geo"
	"caneward/geo/cluster"
	"caneward/geo/plane"
)

const references = "../../testdata/reference"

// reference is a case of testdata/reference/hotspots; sources in its README.
type reference struct {
	Input struct {
		Points  [][2]float64
		CSV     string
		Columns []string
	}
	Params struct {
		Eps    float64
		MinPts int `json:"min_pts"`
	}
	Expected struct {
		N       int   `json:"n_clusters"`
		Core    []int `json:"core_indices"`
		Cluster []int `json:"core_cluster"`
		Noise   []int `json:"noise_indices"`
		Border  []struct {
			Index   int
			Allowed []int `json:"allowed_clusters"`
		}
	}
}

// preparation is what each case says in words under "filter", "preprocess" and
// "weight".
type preparation struct {
	keep          func(map[string]string) bool
	along, across float64 // 0: the case's eps
	weight        func(map[string]string) float64
}

var preparations = map[string]preparation{
	"dbscan-01-hand-eps5":       {},
	"dbscan-02-hand-border":     {},
	"dbscan-03-hand-minpts1":    {},
	"dbscan-04-hand-duplicates": {},
	"dbscan-05-redwood-minpts4": {},
	"dbscan-06-redwood-minpts1": {},
	"dbscan-07-longleaf":        {},
	"dbscan-08-longleaf-weighted": {weight: func(row map[string]string) float64 {
		switch dbh := number(row["dbh_cm"]); {
		case dbh < 10:
			return 1
		case dbh < 30:
			return 2
		}
		return 3
	}},
	"dbscan-09-tswv-anisotropic": {along: 3.2, across: 1.6, keep: func(row map[string]string) bool { return row["t"] == "1" && row["i"] == "1" }},
	"dbscan-10-mix2000":          {},
	"dbscan-11-rowmap-a":         {along: 3.0, across: 3.2, keep: func(row map[string]string) bool { return row["infected"] == "1" }},
}

func number(s string) float64 {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(err)
	}
	return f
}

func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join(references, "hotspots", name))
	if errors.Is(err, os.ErrNotExist) {
		file, err = os.Open(filepath.Join(references, "gpl", "hotspots", name))
	}
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
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

func load(t *testing.T, name string) (reference, []plane.XY, cluster.Params) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(references, "hotspots", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var c reference
	if err := json.Unmarshal(data, &c); err != nil {
		t.Fatal(err)
	}
	prepare := preparations[name]
	p := cluster.Params{Along: geo.Metres(c.Params.Eps), Across: geo.Metres(c.Params.Eps), MinFinds: c.Params.MinPts}
	if prepare.along > 0 {
		p.Along, p.Across = geo.Metres(prepare.along), geo.Metres(prepare.across)
	}
	var points []plane.XY
	for _, xy := range c.Input.Points {
		points = append(points, plane.XY{X: xy[0], Y: xy[1]})
	}
	if c.Input.CSV != "" {
		for _, row := range table(t, c.Input.CSV) {
			if prepare.keep != nil && !prepare.keep(row) {
				continue
			}
			points = append(points, plane.XY{X: number(row[c.Input.Columns[0]]), Y: number(row[c.Input.Columns[1]])})
			if prepare.weight != nil {
				p.Weights = append(p.Weights, prepare.weight(row))
			}
		}
	}
	return c, points, p
}

// agrees holds a result against a case: core partition and noise exactly, each
// border point in one of the clusters it may join.
func agrees(t *testing.T, c reference, got cluster.Result) {
	t.Helper()
	if got.N != c.Expected.N {
		t.Errorf("%d clusters, want %d", got.N, c.Expected.N)
	}
	ours, theirs := map[int]int{}, map[int]int{}
	cores := 0
	for _, core := range got.Core {
		if core {
			cores++
		}
	}
	if cores != len(c.Expected.Core) {
		t.Errorf("%d core points, want %d", cores, len(c.Expected.Core))
	}
	for k, i := range c.Expected.Core {
		a, b := got.Labels[i], c.Expected.Cluster[k]
		if !got.Core[i] || a < 0 {
			t.Fatalf("point %d: core %v in %d, want core in %d", i, got.Core[i], a, b)
		}
		if have, seen := ours[b]; seen && have != a {
			t.Fatalf("point %d: cluster %d, want %d", i, a, have)
		}
		if have, seen := theirs[a]; seen && have != b {
			t.Fatalf("point %d: cluster %d holds both %d and %d", i, a, have, b)
		}
		ours[b], theirs[a] = a, b
	}
	for _, i := range c.Expected.Noise {
		if got.Labels[i] != -1 {
			t.Errorf("point %d: cluster %d, want none", i, got.Labels[i])
		}
	}
	for _, b := range c.Expected.Border {
		if !slices.ContainsFunc(b.Allowed, func(k int) bool { return ours[k] == got.Labels[b.Index] }) {
			t.Errorf("border point %d: cluster %d, want one of %v", b.Index, got.Labels[b.Index], b.Allowed)
		}
	}
}

// reordered clusters the points in another order and puts the answer back.
func reordered(t *testing.T, points []plane.XY, p cluster.Params, order []int) cluster.Result {
	t.Helper()
	q, moved := p, make([]plane.XY, len(points))
	q.Weights, q.Rank = nil, nil
	for k, i := range order {
		moved[k] = points[i]
		if p.Weights != nil {
			q.Weights = append(q.Weights, p.Weights[i])
		}
		if p.Rank != nil {
			q.Rank = append(q.Rank, p.Rank[i])
		}
	}
	got, err := cluster.Dense(context.Background(), moved, q)
	if err != nil {
		t.Fatal(err)
	}
	back := cluster.Result{Labels: make([]int, len(points)), Core: make([]bool, len(points)), N: got.N}
	for k, i := range order {
		back.Labels[i], back.Core[i] = got.Labels[k], got.Core[k]
	}
	return back
}

func reversed(n int) []int {
	order := make([]int, n)
	for i := range order {
		order[i] = n - 1 - i
	}
	return order
}

func equal(a, b cluster.Result) bool {
	return a.N == b.N && slices.Equal(a.Labels, b.Labels) && slices.Equal(a.Core, b.Core)
}

func TestReferenceCases(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(references, "hotspots", "dbscan-*.json"))
	if err != nil || len(files) != len(preparations) {
		t.Fatalf("%d files of cases, want %d (%v)", len(files), len(preparations), err)
	}
	for name := range preparations {
		t.Run(name, func(t *testing.T) {
			c, points, p := load(t, name)
			got, err := cluster.Dense(context.Background(), points, p)
			if err != nil {
				t.Fatal(err)
			}
			agrees(t, c, got)
			orders := [][]int{reversed(len(points)), rand.New(rand.NewPCG(1, 2)).Perm(len(points))}
			for _, order := range orders {
				if again := reordered(t, points, p, order); !equal(got, again) {
					t.Errorf("another order of input: labels %v, want %v", again.Labels, got.Labels)
				}
			}
		})
	}
}

// byDefinition is DBSCAN straight from its definition, with the same rules for
// edges and numbers, every pair looked at.
func byDefinition(points []plane.XY, p cluster.Params) cluster.Result {
	n := len(points)
	far := func(i, j int) float64 {
		return math.Hypot((points[i].X-points[j].X)/float64(p.Along), (points[i].Y-points[j].Y)/float64(p.Across))
	}
	weight := func(i int) float64 {
		if p.Weights == nil {
			return 1
		}
		return p.Weights[i]
	}
	core, label := make([]bool, n), make([]int, n)
	for i := range points {
		sum := 0.0
		for j := range points {
			if far(i, j) <= 1+cluster.Slack {
				sum += weight(j)
			}
		}
		core[i], label[i] = sum >= float64(p.MinFinds)-1e-9, -1
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if d := points[a].Y - points[b].Y; d != 0 {
			return int(math.Copysign(1, d))
		}
		if d := points[a].X - points[b].X; d != 0 {
			return int(math.Copysign(1, d))
		}
		return 0
	})
	clusters := 0
	var grow func(i int)
	grow = func(i int) {
		label[i] = clusters
		for j := range points {
			if core[j] && label[j] < 0 && far(i, j) <= 1+cluster.Slack {
				grow(j)
			}
		}
	}
	for _, i := range order {
		if core[i] && label[i] < 0 {
			grow(i)
			clusters++
		}
	}
	for i := range points {
		if core[i] {
			continue
		}
		best := math.Inf(1)
		for j := range points {
			if d := far(i, j); core[j] && d <= 1+cluster.Slack && d < best {
				best, label[i] = d, label[j]
			}
		}
	}
	number, next := map[int]int{}, 0
	for _, i := range order {
		if label[i] < 0 {
			continue
		}
		if _, seen := number[label[i]]; !seen {
			number[label[i]] = next
			next++
		}
		label[i] = number[label[i]]
	}
	return cluster.Result{Labels: label, Core: core, N: clusters}
}

func TestAgainstDefinition(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	for trial := range 300 {
		n := 1 + random.IntN(200)
		spread := 1 + random.Float64()*40
		points := make([]plane.XY, n)
		for i := range points {
			points[i] = plane.XY{X: random.Float64() * spread, Y: random.Float64() * spread}
			if i > 0 && random.IntN(4) == 0 {
				points[i] = points[random.IntN(i)]
			}
		}
		p := cluster.Params{Along: geo.Metres(0.3 + random.Float64()*4), Across: geo.Metres(0.3 + random.Float64()*4), MinFinds: 1 + random.IntN(8)}
		if trial%3 == 0 {
			for range points {
				p.Weights = append(p.Weights, float64(random.IntN(4)))
			}
		}
		got, err := cluster.Dense(context.Background(), points, p)
		if err != nil {
			t.Fatal(err)
		}
		if want := byDefinition(points, p); !equal(got, want) {
			t.Fatalf("trial %d, %d points, %+v:\n got %v\nwant %v", trial, n, p, got, want)
		}
	}
}

// On a lattice almost every distance is tied or on the reach exactly.
func TestLatticeWhateverTheOrder(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 1))
	for trial := range 100 {
		var points []plane.XY
		for row := range 12 {
			for plant := range 30 {
				if random.IntN(6) == 0 {
					points = append(points, plane.XY{X: 4_000_000 + float64(plant)*0.9, Y: 500_000 + float64(row)*3})
				}
			}
		}
		p := cluster.Params{Along: 2.7, Across: 3, MinFinds: 3}
		got, err := cluster.Dense(context.Background(), points, p)
		if err != nil {
			t.Fatal(err)
		}
		for range 5 {
			if again := reordered(t, points, p, random.Perm(len(points))); !equal(got, again) {
				t.Fatalf("trial %d: another order gives\n%v, want\n%v", trial, again.Labels, got.Labels)
			}
		}
	}
}

func TestEdges(t *testing.T) {
	at := func(xy ...float64) (points []plane.XY) {
		for i := 0; i < len(xy); i += 2 {
			points = append(points, plane.XY{X: xy[i], Y: xy[i+1]})
		}
		return points
	}
	for _, c := range []struct {
		name   string
		points []plane.XY
		p      cluster.Params
		want   []int
	}{
		{"no points", nil, cluster.Params{Along: 1, Across: 1, MinFinds: 1}, []int{}},
		{"one point needs itself only", at(5, 5), cluster.Params{Along: 1, Across: 1, MinFinds: 1}, []int{0}},
		{"one point short of two", at(5, 5), cluster.Params{Along: 1, Across: 1, MinFinds: 2}, []int{-1}},
		{"exactly the reach along", at(0, 0, 3, 0), cluster.Params{Along: 3, Across: 1, MinFinds: 2}, []int{0, 0}},
		{"exactly the reach, in tenths that round", at(0.7, 0, 1.0, 0), cluster.Params{Along: 0.3, Across: 1, MinFinds: 2}, []int{0, 0}},
		{"a millimetre over the reach", at(0, 0, 3.001, 0), cluster.Params{Along: 3, Across: 1, MinFinds: 2}, []int{-1, -1}},
		{"across is shorter", at(0, 0, 0, 3), cluster.Params{Along: 3, Across: 2.9, MinFinds: 2}, []int{-1, -1}},
		{"numbered by Y, then X", at(50, 9, 50, 9, 90, 2, 90, 2, 10, 2, 10, 2), cluster.Params{Along: 1, Across: 1, MinFinds: 2}, []int{2, 2, 1, 1, 0, 0}},
		{"numbered by rank", at(50, 9, 50, 9, 90, 2, 90, 2, 10, 2, 10, 2), cluster.Params{Along: 1, Across: 1, MinFinds: 2, Rank: []int{1, 1, 3, 3, 2, 2}}, []int{0, 0, 2, 2, 1, 1}},
		{"weight 0 alone is no core, but may join", at(0, 0, 0.5, 0), cluster.Params{Along: 1, Across: 1, MinFinds: 3, Weights: []float64{0, 3}}, []int{0, 0}},
		{"tenths of weight add up", at(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0), cluster.Params{Along: 1, Across: 1, MinFinds: 1, Weights: []float64{.1, .1, .1, .1, .1, .1, .1, .1, .1, .1}}, []int{0, 0, 0, 0, 0, 0, 0, 0, 0, 0}},
		// The point at 3 is as near to the core at 0 as to the one at 6.
		{"a tie goes to the lower number", at(6, 0, 7, 0, 7, 0, 7, 0, 3, 0, 0, 0, -1, 0, -1, 0, -1, 0), cluster.Params{Along: 3, Across: 3, MinFinds: 4}, []int{1, 1, 1, 1, 0, 0, 0, 0, 0}},
		{"a tie goes to the lower number, by rank", at(6, 0, 7, 0, 7, 0, 7, 0, 3, 0, 0, 0, -1, 0, -1, 0, -1, 0), cluster.Params{Along: 3, Across: 3, MinFinds: 4, Rank: []int{0, 0, 0, 0, 5, 9, 9, 9, 9}}, []int{0, 0, 0, 0, 0, 1, 1, 1, 1}},
		{"the nearer core wins over the lower number", at(6, 0, 7, 0, 7, 0, 7, 0, 3.001, 0, 0.001, 0, -1, 0, -1, 0, -1, 0), cluster.Params{Along: 3.0005, Across: 3, MinFinds: 4}, []int{1, 1, 1, 1, 1, 0, 0, 0, 0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := cluster.Dense(context.Background(), c.points, c.p)
			if err != nil || !slices.Equal(got.Labels, c.want) {
				t.Errorf("Dense(%v, %+v) = %v, %v; want %v", c.points, c.p, got.Labels, err, c.want)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	good := []plane.XY{{X: 1, Y: 1}, {X: 2, Y: 1}}
	for _, c := range []struct {
		name   string
		points []plane.XY
		p      cluster.Params
		want   error
	}{
		{"reach 0", good, cluster.Params{Across: 1, MinFinds: 1}, cluster.ErrReach},
		{"reach below 0", good, cluster.Params{Along: 1, Across: -1, MinFinds: 1}, cluster.ErrReach},
		{"reach not a number", good, cluster.Params{Along: geo.Metres(math.NaN()), Across: 1, MinFinds: 1}, cluster.ErrReach},
		{"reach without end", good, cluster.Params{Along: geo.Metres(math.Inf(1)), Across: 1, MinFinds: 1}, cluster.ErrReach},
		{"no finds", good, cluster.Params{Along: 1, Across: 1}, cluster.ErrFinds},
		{"NaN", []plane.XY{{X: math.NaN()}}, cluster.Params{Along: 1, Across: 1, MinFinds: 1}, cluster.ErrPoint},
		{"infinity", []plane.XY{{Y: math.Inf(-1)}}, cluster.Params{Along: 1, Across: 1, MinFinds: 1}, cluster.ErrPoint},
		{"weight below 0", good, cluster.Params{Along: 1, Across: 1, MinFinds: 1, Weights: []float64{1, -1}}, cluster.ErrWeight},
		{"a weight short", good, cluster.Params{Along: 1, Across: 1, MinFinds: 1, Weights: []float64{1}}, cluster.ErrLength},
		{"a rank short", good, cluster.Params{Along: 1, Across: 1, MinFinds: 1, Rank: []int{1}}, cluster.ErrLength},
		{"spread too wide", []plane.XY{{X: 0}, {X: 1e15}}, cluster.Params{Along: 1, Across: 1, MinFinds: 1}, cluster.ErrSpread},
		{"differences without end", []plane.XY{{X: -math.MaxFloat64}, {X: math.MaxFloat64}}, cluster.Params{Along: 1, Across: 1, MinFinds: 1}, cluster.ErrSpread},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := cluster.Dense(context.Background(), c.points, c.p); !errors.Is(err, c.want) {
				t.Errorf("Dense(%v, %+v): %v, want %v", c.points, c.p, err, c.want)
			}
		})
	}
}

func TestStopsWithTheContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := cluster.Dense(ctx, Field(200_000, 1), cluster.Params{Along: 3, Across: 3, MinFinds: 5}); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled context: %v, want context.Canceled", err)
	}
}

// Crowds that make the obvious program look at every pair of 200,000 points,
// four times a second's worth. The bound is generous for a slow machine.
func TestCrowdsStayCheap(t *testing.T) {
	const n = 200_000
	random := rand.New(rand.NewPCG(5, 5))
	crowds := map[string]func(i int) plane.XY{
		"one place":              func(int) plane.XY { return plane.XY{X: 7, Y: 7} },
		"one plant's width":      func(int) plane.XY { return plane.XY{X: random.Float64(), Y: random.Float64()} },
		"two piles out of reach": func(i int) plane.XY { return plane.XY{X: float64(i%2) * 3.01, Y: random.Float64() / 1000} },
		"two piles in reach":     func(i int) plane.XY { return plane.XY{X: float64(i%2) * 2.99, Y: random.Float64() / 1000} },
	}
	for name, at := range crowds {
		points := make([]plane.XY, n)
		for i := range points {
			points[i] = at(i)
		}
		for _, finds := range []int{3, 1000, n/2 + 1} {
			t.Run(name+", "+strconv.Itoa(finds)+" finds", func(t *testing.T) {
				start := time.Now()
				if _, err := cluster.Dense(context.Background(), points, cluster.Params{Along: 3, Across: 3, MinFinds: finds}); err != nil {
					t.Fatal(err)
				}
				if took := time.Since(start); took > 5*time.Second {
					t.Errorf("took %v", took)
				}
			})
		}
	}
}
