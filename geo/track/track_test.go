package track_test

import (
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/repair"
	"caneward/geo/track"
	"caneward/geo/valid"

	"github.com/paulmach/orb"
)

var nan = math.NaN()

// site is where walks are drawn, in metres east and north of it.
var site = func() plane.Frame {
	f, err := plane.FrameAt(geo.Position{-94.44, 36.31})
	if err != nil {
		panic(err)
	}
	return f
}()

func fix(x, y, seconds float64) track.Fix {
	return track.Fix{At: site.Position(plane.XY{X: x, Y: y}), Height: nan, Time: seconds, Accuracy: nan}
}

// along are fixes one metre and one second apart through the corners given, each
// corner but the last once.
func along(step float64, xy ...float64) (out []track.Fix) {
	t := 0.0
	for i := 0; i+3 < len(xy); i += 2 {
		a, b := plane.XY{X: xy[i], Y: xy[i+1]}, plane.XY{X: xy[i+2], Y: xy[i+3]}
		n := int(math.Round(float64(a.Distance(b)) / step))
		for k := range n {
			p := a.Plus(b.Minus(a).Times(float64(k) / float64(n)))
			out = append(out, fix(p.X, p.Y, t))
			t++
		}
	}
	return out
}

func clean(t *testing.T, o track.Options, segments ...[]track.Fix) ([][]track.Fix, []track.Dropped) {
	t.Helper()
	kept, dropped, err := track.Clean(context.Background(), segments, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(kept) != len(segments) {
		t.Fatalf("%d segments, want %d", len(kept), len(segments))
	}
	return kept, dropped
}

func text(dropped []track.Dropped) string {
	var out []string
	for _, d := range dropped {
		out = append(out, fmt.Sprintf("%s@%d/%d", d.Reason, d.Segment, d.Index))
	}
	return strings.Join(out, " ")
}

// testdata/cases/cases.csv, V072: 4 points, 90.14 m by GeographicLib's Planimeter,
// two points dropped; kept, the length would be 20,823,226 m.
func TestCleanZeroFixes(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/cases/files/V072-gpx-null-island.gpx")
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Points []struct {
			Lat  float64   `xml:"lat,attr"`
			Lon  float64   `xml:"lon,attr"`
			Time time.Time `xml:"time"`
		} `xml:"trk>trkseg>trkpt"`
	}
	if err := xml.Unmarshal(raw, &doc); err != nil {
		t.Fatal(err)
	}
	var fixes []track.Fix
	for _, p := range doc.Points {
		fixes = append(fixes, track.Fix{At: geo.Position{p.Lon, p.Lat}, Height: nan, Time: float64(p.Time.Unix()), Accuracy: nan})
	}
	kept, dropped := clean(t, track.Options{}, fixes)
	if got := text(dropped); got != "zero@0/2 zero@0/3" {
		t.Errorf("dropped %s", got)
	}
	if d := float64(track.Length(kept)); len(kept[0]) != 4 || math.Abs(d-90.14) > 0.005 {
		t.Errorf("%d fixes, %.3f m; want 4, 90.14", len(kept[0]), d)
	}
}

func TestCleanReasons(t *testing.T) {
	line := func() []track.Fix { return along(1, 0, 0, 20, 0) }
	with := func(i int, f track.Fix) []track.Fix { return slices.Insert(line(), i, f) }
	untimed := func(fs []track.Fix) []track.Fix {
		for i := range fs {
			fs[i].Time = nan
		}
		return fs
	}
	at := func(lon, lat float64) track.Fix { return track.Fix{At: geo.Position{lon, lat}, Time: 5, Accuracy: nan} }
	poor := fix(5, 3, 5)
	poor.Accuracy = 60
	blurred := fix(5, 80, 5)
	blurred.Accuracy = 60
	tests := []struct {
		name  string
		o     track.Options
		fixes []track.Fix
		want  string
	}{
		{"nothing", track.Options{}, nil, ""},
		{"a true line", track.Options{}, line(), ""},
		{"zero", track.Options{}, with(3, at(0, 0)), "zero@0/3"},
		{"zero with a sign", track.Options{}, with(3, at(math.Copysign(0, -1), 0)), "zero@0/3"},
		{"zero longitude alone", track.Options{}, []track.Fix{at(0, 51.5)}, ""},
		{"not a number", track.Options{}, with(3, at(nan, 36)), "not-finite@0/3"},
		{"infinite", track.Options{}, with(3, at(-94, math.Inf(1))), "not-finite@0/3"},
		{"off the Earth", track.Options{}, with(3, at(-94, 91)), "off-earth@0/3"},
		{"repeat", track.Options{}, with(3, line()[2]), "repeat@0/3"},
		{"same place, other time", track.Options{}, with(3, fix(2, 0, 2.5)), ""},
		{"repeat without times", track.Options{}, untimed(with(3, line()[2])), "repeat@0/3"},
		{"inaccurate, not asked", track.Options{}, with(5, poor), ""},
		{"inaccurate", track.Options{MaxAccuracy: 30}, with(5, poor), "inaccurate@0/5"},
		{"jump", track.Options{}, with(5, fix(5, 400, 5)), "jump@0/5"},
		{"jump of three", track.Options{}, slices.Insert(line(), 5, fix(5, 400, 5), fix(6, 400, 5), fix(7, 401, 5)), "jump@0/5 jump@0/6 jump@0/7"},
		{"jump within a poor fix's own error", track.Options{}, with(5, blurred), ""},
		{"slower bound", track.Options{MaxSpeed: 3}, with(5, fix(5, 40, 5)), "jump@0/5"},
		{"the same under the usual bound", track.Options{}, with(5, fix(5, 40, 5)), ""},
		{"two places at one time", track.Options{}, with(5, fix(5, 12, 4)), ""},
		{"jump at one time", track.Options{}, with(5, fix(5, 400, 4)), "jump@0/5"},
		{"gone and not back", track.Options{}, append(line(), along(1, 500, 0, 510, 0)...), ""},
		{"stale first fix", track.Options{}, with(0, fix(3000, 0, -1)), "jump@0/0"},
		{"last fix astray", track.Options{}, append(line(), fix(3000, 0, 21)), "jump@0/20"},
		{"jump without times", track.Options{}, untimed(with(5, fix(5, 400, 0))), "jump@0/5"},
		{"step without times", track.Options{}, untimed(with(5, fix(5, 90, 0))), ""},
		{"long sides without times", track.Options{}, untimed([]track.Fix{fix(0, 0, 0), fix(400, 0, 0), fix(400, 300, 0), fix(0, 300, 0)}), ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			kept, dropped := clean(t, tt.o, tt.fixes)
			if got := text(dropped); got != tt.want {
				t.Errorf("dropped %q, want %q", got, tt.want)
			}
			if len(kept[0])+len(dropped) != len(tt.fixes) {
				t.Errorf("%d kept and %d dropped of %d", len(kept[0]), len(dropped), len(tt.fixes))
			}
		})
	}
}

func TestCleanKeepsSegmentsApart(t *testing.T) {
	one, two := along(1, 0, 0, 20, 0), along(1, 100, 0, 120, 0)
	kept, dropped := clean(t, track.Options{}, one, []track.Fix{{Time: 1}}, two)
	if got := text(dropped); got != "zero@1/0" || len(kept[1]) != 0 {
		t.Errorf("dropped %q, kept %v", got, kept[1])
	}
	// 19 steps in each; the 80 m between them were not recorded.
	if d := float64(track.Length(kept)); math.Abs(d-38) > 1e-3 {
		t.Errorf("%.4f m, want 38", d)
	}
}

func TestCleanIsBounded(t *testing.T) {
	_, _, err := track.Clean(context.Background(), [][]track.Fix{make([]track.Fix, track.MaxFixes+1)}, track.Options{})
	if many := (*track.TooManyError)(nil); !errors.As(err, &many) {
		t.Errorf("got %v", err)
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := track.Clean(ended, [][]track.Fix{along(1, 0, 0, 20, 0)}, track.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

func outlined(t *testing.T, segments ...[]track.Fix) track.Outline {
	t.Helper()
	o, err := track.AsOutline(context.Background(), segments, track.OutlineOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(o.Ring); o.Ring[0] != o.Ring[n-1] {
		t.Error("ring is open")
	}
	if o.Times != nil && len(o.Times) != len(o.Ring) || o.Heights != nil && len(o.Heights) != len(o.Ring) {
		t.Errorf("%d points, %d times, %d heights", len(o.Ring), len(o.Times), len(o.Heights))
	}
	return o
}

// The block of every walk is 100 m by 60 m.
var round = []float64{0, 0, 100, 0, 100, 60, 0, 60, 0, 0}

func TestAsOutline(t *testing.T) {
	shell := along(2, round...)
	tailed := along(2, append(slices.Clone(round), 40, 0)...)
	aside := along(2, append(slices.Clone(round), 3, -3, 43, -3)...)
	twice := along(2, append(slices.Clone(round), round[2:]...)...)
	thrice := along(2, append(append(slices.Clone(round), round[2:]...), round[2:]...)...)
	tests := []struct {
		name     string
		segments [][]track.Fix
		gap      float64
		laps     int
		tail     int
		area     float64
	}{
		{"once round", [][]track.Fix{shell}, 2, 1, 0, 6000},
		{"four corners", [][]track.Fix{{fix(0, 0, 0), fix(100, 0, 90), fix(100, 60, 150), fix(0, 60, 240), fix(0, 10, 290)}}, 10, 1, 0, 6000},
		{"in two segments", [][]track.Fix{shell[:50], nil, shell[55:]}, 2, 1, 0, 6000 - 10},
		{"on past the start", [][]track.Fix{tailed}, 0, 1, 19, 6000},
		{"on past the start beside the first way", [][]track.Fix{aside}, 0, 1, 21, 6000},
		{"two laps", [][]track.Fix{twice}, 0, 2, 159, 6000},
		{"three laps", [][]track.Fix{thrice}, 0, 3, 319, 6000},
		{"a waist by the start", [][]track.Fix{along(2, 0, 0, 60, -40, 60, 60, 0, 6, -60, 60, -60, -40, 0, 0)}, 2, 1, 0, 2 * (360 + 1620 + 1200)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o := outlined(t, tt.segments...)
			if math.Abs(float64(o.Gap)-tt.gap) > 0.01 || o.Laps != tt.laps || o.Tail != tt.tail {
				t.Errorf("gap %.2f, %d laps, tail %d; want %.2f, %d, %d", float64(o.Gap), o.Laps, o.Tail, tt.gap, tt.laps, tt.tail)
			}
			if a := float64(measure.Area(o.Ring)); math.Abs(a-tt.area) > 1 {
				t.Errorf("area %.2f, want %.2f", a, tt.area)
			}
		})
	}
}

func TestAsOutlineKeepsWhatFixesCarry(t *testing.T) {
	fixes := along(10, round...)
	for i := range fixes {
		fixes[i].Height, fixes[i].Accuracy = 300+float64(i), 3+float64(i%5)
	}
	fixes[7].Accuracy, fixes[7].Height = nan, nan
	fixes[9].Accuracy = 800 // one bad estimate says nothing about the others
	o := outlined(t, fixes)
	if o.Accuracy != 5 {
		t.Errorf("accuracy %v, want the median of 3 to 7", o.Accuracy)
	}
	n := len(o.Ring)
	if o.Heights[8] != 308 || !math.IsNaN(o.Heights[7]) || o.Heights[n-1] != 300 || o.Times[8] != 8 || o.Times[n-1] != 0 {
		t.Errorf("heights %v, times %v", o.Heights, o.Times)
	}
	bare := outlined(t, along(10, round...))
	if !math.IsNaN(float64(bare.Accuracy)) || bare.Heights != nil {
		t.Errorf("accuracy %v, heights %v where none are known", bare.Accuracy, bare.Heights)
	}
}

func TestAsOutlineRefuses(t *testing.T) {
	shell := along(2, round...)
	tests := []struct {
		name     string
		segments [][]track.Fix
		as       any
	}{
		{"nothing", nil, new(*track.FewError)},
		{"two places", [][]track.Fix{{fix(0, 0, 0), fix(9, 0, 1), fix(0, 0, 2)}}, new(*track.FewError)},
		{"segments far apart", [][]track.Fix{along(2, 0, 0, 50, 0), along(2, 200, 0, 200, 60)}, new(*track.ApartError)},
		{"last side not walked", [][]track.Fix{along(2, 0, 0, 100, 0, 100, 60, 0, 60)}, new(*track.GapError)},
		{"out and back", [][]track.Fix{along(2, 0, 0, 100, 0, 0, 0.4)}, new(*track.NoAreaError)},
		{"not cleaned", [][]track.Fix{append(shell[:20:20], track.Fix{})}, new(*track.PlaceError)},
		{"too many", [][]track.Fix{make([]track.Fix, track.MaxOutlineFixes+1)}, new(*track.TooManyError)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o, err := track.AsOutline(context.Background(), tt.segments, track.OutlineOptions{})
			if !errors.As(err, tt.as) {
				t.Errorf("got %v and %+v, want %T", err, o, tt.as)
			}
		})
	}
	// An eight encloses ground although its halves cancel.
	outlined(t, along(2, 0, 0, 50, 60, 100, 60, 50, 0, 0, 60, -50, 60, 0, 0))
	if _, err := track.AsOutline(context.Background(), [][]track.Fix{along(2, 0, 0, 100, 0, 100, 60, 0, 60)}, track.OutlineOptions{MaxGap: 70}); err != nil {
		t.Errorf("a gap of 60 m with leave for 70: %v", err)
	}
}

// Errors that are independent from fix to fix leave the area unbiased: the
// shoelace sum is linear in each corner, and the products of two errors have mean
// zero. Its variance follows from the same sum, s the error of one axis:
//
//	s²/4 · sum of |p[i+1] - p[i-1]|²  +  n·s⁴/2
//
// Errors of a real receiver go together from one fix to the next, which shifts the
// outline more than it changes its area: this is the worse case for n fixes.
// The sum and both moments are arithmetic, not a measured reference.
func TestAsOutlineNoiseLeavesAreaUnbiased(t *testing.T) {
	const sd, walks, step = 2.0, 400, 4.0
	r := rand.New(rand.NewPCG(20261125, 6))
	clear := along(step, round...)
	n := len(clear)
	variance := float64(n) * math.Pow(sd, 4) / 2
	for i := range clear {
		a, b := site.XY(clear[(i+1)%n].At), site.XY(clear[(i+n-1)%n].At)
		variance += sd * sd / 4 * math.Pow(float64(a.Distance(b)), 2)
	}
	var sum, squares, grown float64
	for range walks {
		noisy := slices.Clone(clear)
		for i := range noisy {
			p := site.XY(noisy[i].At)
			noisy[i].At = site.Position(plane.XY{X: p.X + r.NormFloat64()*sd, Y: p.Y + r.NormFloat64()*sd})
		}
		kept, dropped := clean(t, track.Options{}, noisy)
		if len(dropped) > 0 {
			t.Fatalf("dropped %s", text(dropped))
		}
		o := outlined(t, kept...)
		if o.Tail != 0 || len(o.Ring) != n+1 {
			t.Fatalf("tail %d, %d points", o.Tail, len(o.Ring))
		}
		off := float64(measure.Area(o.Ring)) - 6000
		sum += off
		squares += off * off
		res, err := repair.Outline(context.Background(), orb.MultiPolygon{{o.Ring}})
		if err != nil || len(valid.Check(res.Shape)) > 0 || res.Doubtful {
			t.Fatalf("mending: %v, doubtful %v", err, res.Doubtful)
		}
		grown += float64(res.After - res.Before)
	}
	mean, spread := sum/walks, math.Sqrt(squares/walks)
	want := math.Sqrt(variance)
	t.Logf("mean error %.1f m2, spread %.1f m2, theory 0 and %.1f; mending adds %.1f m2", mean, spread, want, grown/walks)
	if math.Abs(mean) > 4*want/math.Sqrt(walks) {
		t.Errorf("mean error %.1f m2, more than four standard errors", mean)
	}
	// The spread of a spread from 400 walks is 1/sqrt(800) of it.
	if math.Abs(spread/want-1) > 4/math.Sqrt(2*walks) {
		t.Errorf("spread %.1f m2, theory says %.1f", spread, want)
	}
	// What loops add when they are counted as ground stays below a thousandth.
	if grown/walks > 6 {
		t.Errorf("mending adds %.1f m2 on the mean", grown/walks)
	}
}

// Whatever stands in a file: nothing is lost, nothing invented, and no error
// but those told of.
func TestCleanLosesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(20261125, 8))
	odd := []float64{0, nan, math.Inf(1), 91, -181, 1e308, 36.31, -94.44}
	for i := range 500 {
		segments := make([][]track.Fix, r.IntN(4))
		total := 0
		for k := range segments {
			for range r.IntN(30) {
				f := fix(r.Float64()*50, r.Float64()*50, float64(r.IntN(40)))
				if r.IntN(4) == 0 {
					f.At = geo.Position{odd[r.IntN(len(odd))], odd[r.IntN(len(odd))]}
				}
				if r.IntN(4) == 0 {
					f.Time = odd[r.IntN(len(odd))]
				}
				segments[k] = append(segments[k], f)
				total++
			}
		}
		kept, dropped := clean(t, track.Options{}, segments...)
		left := 0
		for _, s := range kept {
			left += len(s)
		}
		if left+len(dropped) != total {
			t.Fatalf("%d: %d kept and %d dropped of %d", i, left, len(dropped), total)
		}
		for _, d := range dropped {
			if was := segments[d.Segment][d.Index]; fmt.Sprint(was) != fmt.Sprint(d.Fix) {
				t.Fatalf("%d: dropped %v, the file has %v", i, d.Fix, was)
			}
		}
		for _, s := range kept {
			for _, f := range s {
				if !(math.Abs(f.At[0]) <= 180 && math.Abs(f.At[1]) <= 90) {
					t.Fatalf("%d: kept %v", i, f)
				}
			}
		}
		if d := float64(track.Length(kept)); math.IsNaN(d) || d < 0 {
			t.Fatalf("%d: length %v", i, d)
		}
		if _, err := track.AsOutline(context.Background(), kept, track.OutlineOptions{}); err != nil && !strings.HasPrefix(err.Error(), "track: ") && !strings.HasPrefix(err.Error(), "plane: ") {
			t.Fatalf("%d: %v", i, err)
		}
	}
}

func BenchmarkAsOutlineTwoLaps(b *testing.B) {
	fixes := along(0.05, append(slices.Clone(round), round[2:]...)...)
	b.Logf("%d fixes", len(fixes))
	for b.Loop() {
		if _, err := track.AsOutline(context.Background(), [][]track.Fix{fixes}, track.OutlineOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
