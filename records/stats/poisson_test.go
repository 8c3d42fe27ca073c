package stats

import (
	"errors"
	"math"
	"testing"
)

// Expected values: R poisson.test and ppois; see testdata/reference.
func TestPoissonAgainstReference(t *testing.T) {
	var file struct {
		Expected []struct {
			Counted, Looks int
			Rate           float64
			G95            [2]float64 `json:"garwood_95"`
			G90            [2]float64 `json:"garwood_90"`
			Least          float64    `json:"p_at_least"`
			Most           float64    `json:"p_at_most"`
		}
	}
	readReference(t, "poisson-limits.json", &file)
	if len(file.Expected) < 13 {
		t.Fatalf("%d rows, want at least 13", len(file.Expected))
	}
	const tolerance = 1e-9 // the file's own, of the value
	for _, e := range file.Expected {
		lo, hi, err := Garwood(e.Counted, e.Looks, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lower 95", lo, e.G95[0], tolerance*(1+e.G95[0]))
		near(t, "upper 95", hi, e.G95[1], tolerance*(1+e.G95[1]))
		lo, hi, _ = Garwood(e.Counted, e.Looks, 0.90)
		near(t, "lower 90", lo, e.G90[0], tolerance*(1+e.G90[0]))
		near(t, "upper 90", hi, e.G90[1], tolerance*(1+e.G90[1]))
		p, err := ChanceOfCountAtLeast(e.Counted, e.Looks, e.Rate)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "at least", p, e.Least, tolerance*e.Least)
		p, _ = ChanceOfCountAtMost(e.Counted, e.Looks, e.Rate)
		near(t, "at most", p, e.Most, tolerance*e.Most)
	}
}

// The distribution summed term by term is another way to the same tail.
func TestPoissonAgainstPlainSums(t *testing.T) {
	for _, mean := range []float64{0.01, 0.9, 5, 31.5, 120} {
		term, sum := math.Exp(-mean), 0.0
		for k := 0; k <= 200; k++ {
			sum += term
			if got := poissonAtMost(k, mean); math.Abs(got-sum) > 1e-12 {
				t.Fatalf("P(N <= %d at %v) = %v, want %v", k, mean, got, sum)
			}
			term *= mean / float64(k+1)
		}
	}
}

func TestPoissonRefusals(t *testing.T) {
	for _, c := range []struct {
		name           string
		counted, looks int
		level          float64
		want           error
	}{
		{"no looks", 0, 0, 0.95, ErrSample},
		{"negative", -1, 3, 0.95, ErrCounted},
		{"too many", MaxCounted + 1, 3, 0.95, ErrCounted},
		{"level in percent", 1, 3, 95, ErrLevel},
	} {
		if _, _, err := Garwood(c.counted, c.looks, c.level); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	for _, rate := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := ChanceOfCountAtLeast(1, 1, rate); !errors.Is(err, ErrRate) {
			t.Errorf("rate %v: %v", rate, err)
		}
	}
	if lo, hi, err := Garwood(MaxCounted, 1, 0.95); err != nil || !(lo < MaxCounted && hi > MaxCounted && hi-lo < 5000) {
		t.Errorf("the largest count: %v %v %v", lo, hi, err)
	}
}
