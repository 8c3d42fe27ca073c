package hotspot

import (
	"context"
	"math"
	"testing"

	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records/scouting"
)

type kernelCase struct {
	Input struct {
		CSV    string
		Window struct{ XMin, XMax, YMin, YMax float64 }
	}
	Params   struct{ Sigma float64 }
	Expected struct {
		X       []float64 `json:"query_x"`
		Y       []float64 `json:"query_y"`
		Plain   []float64 `json:"no_correction"`
		Uniform []float64 `json:"uniform_correction"`
	}
}

// The kernel against spatstat's density (kde-*.json): its sum over the points is
// the density without correction, and the uniform correction divides it by the
// kernel's mass inside the window, which the ratio of two such sums loses again.
func TestKernelAgainstReference(t *testing.T) {
	for _, name := range []string{"kde-bramblecanes.json", "kde-longleaf.json", "kde-redwood.json"} {
		c := load[kernelCase](t, name)
		k := gaussian{c.Params.Sigma, c.Params.Sigma}
		inside := func(at, low, high float64) float64 {
			return (math.Erf((high-at)/(c.Params.Sigma*math.Sqrt2)) - math.Erf((low-at)/(c.Params.Sigma*math.Sqrt2))) / 2
		}
		points := table(t, c.Input.CSV)
		for i, want := range c.Expected.Plain {
			at := plane.XY{X: c.Expected.X[i], Y: c.Expected.Y[i]}
			sum := 0.0
			for _, p := range points {
				sum += k.weight(plane.XY{X: number(p["x"]), Y: number(p["y"])}.Minus(at))
			}
			got := sum / (2 * math.Pi * c.Params.Sigma * c.Params.Sigma)
			if !near(got, want, 1e-9*math.Max(want, 1)) {
				t.Errorf("%s at %v: %v, want %v", name, at, got, want)
			}
			w := c.Input.Window
			mass := inside(at.X, w.XMin, w.XMax) * inside(at.Y, w.YMin, w.YMax)
			if want := c.Expected.Uniform[i]; !near(got/mass, want, 1e-9*math.Max(want, 1)) {
				t.Errorf("%s at %v, uniform correction: %v, want %v", name, at, got/mass, want)
			}
		}
	}
}

// The picture against the sum over every inspected plant, none left out for
// being far.
func TestSmoothedRate(t *testing.T) {
	in := block(12, 60)
	for _, row := range in.Rows[:8] {
		for n := range 40 {
			in.Inspected = append(in.Inspected, Plant{Row: row.Number, Plant: n + 1})
		}
	}
	in.Finds = finds(scouting.Confirmed, seven...)
	a := analyse(t, in, Options{Smooth: ptr(true), Along: ptr(geo.Metres(3)), Across: ptr(geo.Metres(3.2))})
	if !a.Smoothed.WhyNot.Empty() || len(a.Smoothed.Rows) != 12 {
		t.Fatalf("picture %+v", a.Smoothed)
	}
	k := gaussian{3, 3.2}
	for _, row := range a.Smoothed.Rows {
		if len(row.Rates) != 60 || row.From != 1 {
			t.Fatalf("row %d holds %d rates from %d", row.Row, len(row.Rates), row.From)
		}
		for i, got := range row.Rates {
			here := plane.XY{X: float64(i + 1), Y: 3 * float64(row.Row)}
			all, sick := 0.0, 0.0
			for _, p := range in.Inspected {
				w := k.weight(plane.XY{X: float64(p.Plant), Y: 3 * float64(p.Row)}.Minus(here))
				all += w
				for _, f := range in.Finds {
					if f.Plant == p {
						sick += w
					}
				}
			}
			if math.Abs(all-leastWeight) < 1e-3 {
				continue // the cut leaves this one open
			}
			if want := sick / all; all < leastWeight != math.IsNaN(got) || all >= leastWeight && !near(got, want, 1e-4) {
				t.Fatalf("row %d plant %d: %v, want %v of weight %v", row.Row, i+1, got, want, all)
			}
		}
	}
	if a := analyse(t, block(3, 3), Options{Smooth: ptr(true)}); a.Smoothed.WhyNot.Key() != noEffort.Key || len(a.Smoothed.Rows) > 0 {
		t.Errorf("nobody looked: %+v", a.Smoothed)
	}
	if analyse(t, in, Options{}).Smoothed != nil {
		t.Error("a picture nobody asked for")
	}
	large := block(400, 500).walked()
	large.Finds = in.Finds
	set, err := Options{Smooth: ptr(true), Along: ptr(geo.Metres(40)), Across: ptr(geo.Metres(40)), Scan: ScanOptions{Replicates: ptr(0), Cap: ptr(1e-6)}}.Settings(3, 1)
	if err != nil {
		t.Fatal(err)
	}
	set.Scan.Asked = false
	if a, err := Analyse(context.Background(), large, set); err != nil || a.Smoothed.WhyNot.Key() != smoothTooLarge.Key {
		t.Errorf("a picture that costs too much: %v %v", err, a.Smoothed)
	}
}
