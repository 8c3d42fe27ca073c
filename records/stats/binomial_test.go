package stats

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
)

func readReference(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", "hotspots", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, tolerance)
	}
}

// Expected values: R binom.test and prop.test, first four rows the examples of
// Newcombe, Statistics in Medicine 17:857 (1998); see testdata/reference.
func TestIntervalsAgainstReference(t *testing.T) {
	var file struct {
		Expected []struct {
			X, N int
			CP95 [2]float64 `json:"clopper_pearson_95"`
			CP90 [2]float64 `json:"clopper_pearson_90"`
			W95  [2]float64 `json:"wilson_95"`
			P5   float64    `json:"p_greater_than_5pct"`
			P1   float64    `json:"p_greater_than_1pct"`
			L5   float64    `json:"p_less_than_5pct"`
		}
	}
	readReference(t, "binomial-intervals.json", &file)
	if len(file.Expected) < 14 {
		t.Fatalf("%d rows, want at least 14", len(file.Expected))
	}
	const tolerance = 1e-9 // the file's own
	for _, e := range file.Expected {
		lo, hi, err := ClopperPearson(e.X, e.N, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lower 95", lo, e.CP95[0], tolerance)
		near(t, "upper 95", hi, e.CP95[1], tolerance)
		lo, hi, _ = ClopperPearson(e.X, e.N, 0.90)
		near(t, "lower 90", lo, e.CP90[0], tolerance)
		near(t, "upper 90", hi, e.CP90[1], tolerance)
		lo, hi, _ = Wilson(e.X, e.N, 0.95)
		near(t, "Wilson lower", lo, e.W95[0], tolerance)
		near(t, "Wilson upper", hi, e.W95[1], tolerance)
		p, _ := ChanceOfAtLeast(e.X, e.N, 0.05)
		near(t, "more than 5 %", p, e.P5, 1e-9*e.P5)
		p, _ = ChanceOfAtLeast(e.X, e.N, 0.01)
		near(t, "more than 1 %", p, e.P1, 1e-9*e.P1)
		p, _ = ChanceOfAtMost(e.X, e.N, 0.05)
		near(t, "less than 5 %", p, e.L5, 1e-9*e.L5)
		// A two-sided 90 % interval is two one-sided 95 % limits.
		one, _ := LowerLimit(e.X, e.N, 0.95)
		near(t, "one-sided lower", one, e.CP90[0], tolerance)
		one, _ = UpperLimit(e.X, e.N, 0.95)
		near(t, "one-sided upper", one, e.CP90[1], tolerance)
	}
}

// Expected values: scipy binom and hypergeom; see testdata/reference.
func TestThresholdsAgainstReference(t *testing.T) {
	var file struct {
		Expected struct {
			Limits []struct {
				N         int
				P0, Alpha float64
				More      int  `json:"smallest_count_showing_more_than_p0"`
				Less      *int `json:"largest_count_showing_less_than_p0"`
			}
			Infinite []struct {
				P, Conf float64
				N       int `json:"n_infinite"`
			} `json:"detection_infinite"`
			Finite []struct {
				Plants, Infected int
				Conf             float64
				N                int `json:"n_needed"`
			} `json:"detection_finite"`
		}
	}
	readReference(t, "binomial-thresholds.json", &file)
	if len(file.Expected.Limits) < 20 || len(file.Expected.Infinite) < 12 || len(file.Expected.Finite) < 8 {
		t.Fatalf("the reference file is shorter than it was")
	}
	for _, e := range file.Expected.Limits {
		more, ok, err := ShowsMore(e.N, e.P0, e.Alpha)
		if err != nil || !ok || more != e.More {
			t.Errorf("ShowsMore(%d, %v, %v) = %d %v %v, want %d", e.N, e.P0, e.Alpha, more, ok, err, e.More)
		}
		less, ok, err := ShowsLess(e.N, e.P0, e.Alpha)
		if err != nil || ok != (e.Less != nil) || ok && less != *e.Less {
			t.Errorf("ShowsLess(%d, %v, %v) = %d %v %v, want %v", e.N, e.P0, e.Alpha, less, ok, err, e.Less)
		}
	}
	for _, e := range file.Expected.Infinite {
		if n, err := ToDetect(e.P, e.Conf); err != nil || n != e.N {
			t.Errorf("ToDetect(%v, %v) = %d %v, want %d", e.P, e.Conf, n, err, e.N)
		}
	}
	for _, e := range file.Expected.Finite {
		if n, err := ToDetectOf(e.Plants, e.Infected, e.Conf); err != nil || n != e.N {
			t.Errorf("ToDetectOf(%d, %d, %v) = %d %v, want %d", e.Plants, e.Infected, e.Conf, n, err, e.N)
		}
	}
}

// The limits' own definition: at the limit the tail holds exactly its share.
func TestLimitsSatisfyTheirDefinition(t *testing.T) {
	for _, c := range []struct{ hits, sampled int }{{1, 3}, {7, 60}, {250, 1000}, {9_999, 10_000}, {3, 1_000_000}, {600_000, MaxSampled}} {
		lo, hi, err := ClopperPearson(c.hits, c.sampled, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "tail at the lower limit", atLeast(c.hits, c.sampled, lo), 0.025, 1e-7)
		near(t, "tail at the upper limit", atMost(c.hits, c.sampled, hi), 0.025, 1e-7)
	}
}

// The binomial summed term by term is another way to the same tail.
func TestTailsAgainstPlainSums(t *testing.T) {
	for n := 1; n <= 40; n++ {
		for _, p := range []float64{0.001, 0.05, 0.3, 0.5, 0.97} {
			term, sum := math.Pow(1-p, float64(n)), 0.0
			for k := 0; k <= n; k++ {
				sum += term
				if got := atMost(k, n, p); math.Abs(got-sum) > 1e-12 {
					t.Fatalf("P(X <= %d of %d at %v) = %v, want %v", k, n, p, got, sum)
				}
				term *= float64(n-k) / float64(k+1) * p / (1 - p)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name  string
		hits  int
		of    int
		level float64
		want  error
	}{
		{"no sample", 0, 0, 0.95, ErrSample},
		{"more than all", 5, 4, 0.95, ErrHits},
		{"negative", -1, 4, 0.95, ErrHits},
		{"level in percent", 1, 4, 95, ErrLevel},
		{"level not a number", 1, 4, math.NaN(), ErrLevel},
		{"too many", 1, MaxSampled + 1, 0.95, ErrSample},
	} {
		for name, f := range map[string]func(int, int, float64) (float64, float64, error){"exact": ClopperPearson, "Wilson": Wilson} {
			if _, _, err := f(c.hits, c.of, c.level); !errors.Is(err, c.want) {
				t.Errorf("%s, %s: got %v, want %v", c.name, name, err, c.want)
			}
		}
	}
	if _, err := ToDetect(0, 0.95); !errors.Is(err, ErrShare) {
		t.Errorf("share 0: %v", err)
	}
	if _, err := ToDetectOf(10, 11, 0.95); !errors.Is(err, ErrPopulation) {
		t.Errorf("11 of 10: %v", err)
	}
}
