package address

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"

	"github.com/paulmach/orb"
)

// field is ground whose metres run along and across the rows, turned.
type field struct {
	frame plane.Frame
	turn  geo.Degrees
}

func newField(t testing.TB, lon, lat float64, turn geo.Degrees) field {
	t.Helper()
	f, err := plane.FrameAt(geo.Position{lon, lat})
	if err != nil {
		t.Fatal(err)
	}
	return field{f, turn}
}

func (f field) at(along, across float64) geo.Position {
	return f.frame.Position(plane.Turn(plane.XY{X: across, Y: along}, -f.turn))
}

// rows run along, the first leftmost, each with a plant every plantSpacing.
func (f field) rows(n int, length, rowSpacing, plantSpacing float64) []blocks.Row {
	var rows []blocks.Row
	for i := range n {
		x := float64(i) * rowSpacing
		rows = append(rows, blocks.Row{Number: i + 1, Plants: int(length/plantSpacing) + 1,
			Parts: orb.MultiLineString{{f.at(0, x), f.at(length, x)}}})
	}
	return rows
}

func index(t testing.TB, rows []blocks.Row, s Spacings) *Index {
	t.Helper()
	x, err := New(rows, s)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// On the middle row, sd 2 m: erf(spacing / (4 sqrt 2 sd)), which is 0.4515,
// 0.5467 and 0.6451; the issue asks for 0.45, 0.55 and 0.65 within 0.01. The
// rows' direction and whatever else they are must not matter.
func TestChanceOfTheRightRow(t *testing.T) {
	for _, c := range []struct{ spacing, want float64 }{{2.4, 0.45}, {3.0, 0.55}, {3.7, 0.65}} {
		for _, turn := range []geo.Degrees{0, 33, 90, 200} {
			f := newField(t, 179.9995, -59.3, turn)
			x := index(t, f.rows(21, 100, c.spacing, 1), Spacings{geo.Metres(c.spacing), 1})
			got := x.Chances(f.at(50, 10*c.spacing), Accuracy(2*radiusInSD))
			exact := math.Erf(c.spacing / (4 * math.Sqrt2))
			if got.Rows[0].Row != 11 || math.Abs(got.Rows[0].P-c.want) > 0.01 || math.Abs(got.Rows[0].P-exact) > 1e-4 {
				t.Errorf("%v m, rows on %v: %+v; want row 11 with %v (%v)", c.spacing, turn, got.Rows[0], c.want, exact)
			}
			// Both neighbours: half of what erf over three strips leaves.
			next := (math.Erf(3*c.spacing/(4*math.Sqrt2)) - exact) / 2
			for _, r := range got.Rows[1:3] {
				if math.Abs(r.P-next) > 1e-4 || r.Row != 10 && r.Row != 12 {
					t.Errorf("%v m: neighbour %+v, want %v", c.spacing, r, next)
				}
			}
			sumsToOne(t, got)
		}
	}
}

func sumsToOne(t *testing.T, c Chances) {
	t.Helper()
	sum := c.None
	for _, r := range c.Rows {
		sum += r.P
		if r.P < 0 || r.P > 1 {
			t.Errorf("chance %+v", r)
		}
	}
	if math.Abs(sum-1) > 1e-12 || c.None < 0 {
		t.Errorf("chances sum to %v with none %v: %+v", sum, c.None, c.Rows)
	}
}

func TestChances(t *testing.T) {
	f := newField(t, -80.42, 35.87, 40)
	rows := f.rows(5, 100, 3, 1)
	alley := append(f.rows(2, 100, 3, 1), blocks.Row{Number: 3, Parts: orb.MultiLineString{{f.at(0, 9), f.at(100, 9)}}})
	cut := []blocks.Row{
		{Number: 1, Parts: orb.MultiLineString{{f.at(0, 0), f.at(50, 0)}}},
		{Number: 2, Parts: orb.MultiLineString{{f.at(52, 0), f.at(100, 0)}}},
	}
	hole := []blocks.Row{{Number: 1, Parts: orb.MultiLineString{{f.at(0, 0), f.at(30, 0)}, {f.at(70, 0), f.at(100, 0)}}}}
	skipped := f.rows(3, 100, 3, 1)
	skipped[1].Skipped = true
	turned := f.rows(3, 100, 3, 1)
	slices.Reverse(turned[1].Parts[0])
	sd := func(v float64) Accuracy { return Accuracy(v * radiusInSD) }
	phi := func(v float64) float64 { return math.Erfc(-v/math.Sqrt2) / 2 }
	for _, c := range []struct {
		name     string
		rows     []blocks.Row
		at       geo.Position
		accuracy Accuracy
		row      int     // likeliest, 0 for none
		want     float64 // its chance, or None's
	}{
		{"on the outermost row", rows, f.at(50, 0), sd(2), 1, 2*phi(1.5/2) - 1},
		{"3 m outside of it", rows, f.at(50, -3), sd(1), 0, phi(1.5)},
		{"between two", rows, f.at(50, 4.4), sd(1), 2, phi(0.1) - phi(-2.9)},
		{"wide alley", alley, f.at(50, 9), sd(2), 3, 2*phi(3.0/2) - 1},
		{"past the end within reach", rows, f.at(105, 6), sd(2), 3, 2*phi(1.5/2) - 1},
		{"past the end out of reach", rows, f.at(107, 6), sd(2), 0, 1},
		{"one line, first row", cut, f.at(40, 0), sd(1), 1, 2*phi(1.5) - 1},
		{"one line, second row", cut, f.at(60, 0), sd(1), 2, 2*phi(1.5) - 1},
		{"in the hole", hole, f.at(50, 0), sd(2), 0, 1},
		{"beside a skipped strip", skipped, f.at(50, 3), sd(2), 1, phi(0) - phi(-3)},
		{"a row drawn the other way", turned, f.at(50, 3), sd(2), 2, 2*phi(1.5/2) - 1},
		{"another continent", rows, geo.Position{20, 50}, sd(2), 0, 1},
		{"no accuracy", rows, f.at(50, 0), 0, 0, 1},
		{"no number", rows, geo.Position{math.NaN(), 0}, sd(2), 0, 1},
		{"no rows", nil, f.at(0, 0), sd(2), 0, 1},
		{"an exact fix", rows, f.at(50, 6), Accuracy(LeastAccuracy), 3, 1},
	} {
		got := index(t, c.rows, Spacings{3, 1}).Chances(c.at, c.accuracy)
		sumsToOne(t, got)
		row, p := 0, got.None
		if len(got.Rows) > 0 && got.Rows[0].P > got.None {
			row, p = got.Rows[0].Row, got.Rows[0].P
		}
		if row != c.row || math.Abs(p-c.want) > 1e-3 {
			t.Errorf("%s: row %d with %v; want %d with %v (%+v)", c.name, row, p, c.row, c.want, got)
		}
	}
}

// Rows that bend: the fix on the middle one of three quarter circles.
func TestChancesOnABend(t *testing.T) {
	f := newField(t, 9, 47, 0)
	var rows []blocks.Row
	for i := range 3 {
		var l orb.LineString
		for k := range 19 {
			a := float64(k) * 5 * math.Pi / 180
			r := 50 + 3*float64(i)
			l = append(l, f.at(r*math.Sin(a), r*math.Cos(a)))
		}
		rows = append(rows, blocks.Row{Number: i + 1, Parts: orb.MultiLineString{l}})
	}
	x := index(t, rows, Spacings{3, 1})
	for _, a := range []float64{10, 25, 45, 60, 87.5} {
		at := f.at(53*math.Sin(a*math.Pi/180), 53*math.Cos(a*math.Pi/180))
		got := x.Chances(at, Accuracy(2*radiusInSD))
		sumsToOne(t, got)
		if got.Rows[0].Row != 2 || math.Abs(got.Rows[0].P-0.5467) > 0.02 {
			t.Errorf("at %v degrees: %+v", a, got)
		}
	}
}

func TestSays(t *testing.T) {
	f := newField(t, -80.42, 35.87, 0)
	x := index(t, f.rows(9, 100, 3, 1), Spacings{3, 1})
	for _, c := range []struct {
		across float64
		want   string
	}{{18, "near row 7 (55 %)"}, {-30, "beside the rows"}} {
		if got := x.Chances(f.at(50, c.across), Accuracy(2*radiusInSD)).Says().In(words.English); got != c.want {
			t.Errorf("%v m across: %q, want %q", c.across, got, c.want)
		}
	}
}

func TestPlace(t *testing.T) {
	f := newField(t, -80.42, 35.87, 77)
	x := index(t, f.rows(3, 100, 3, 2), Spacings{3, 2})
	at, ok := x.Place(2, 11)
	if d := measure.Distance(at, f.at(20, 3)); !ok || d > 1e-3 {
		t.Errorf("row 2, plant 11: %v, %v m off", ok, d)
	}
	for _, p := range [][2]int{{4, 1}, {0, 1}, {1, 0}, {1, 52}} {
		if at, ok := x.Place(p[0], p[1]); ok {
			t.Errorf("row %d, plant %d stands at %v", p[0], p[1], at)
		}
	}
	if _, err := New(append(f.rows(2, 9, 3, 1), f.rows(1, 9, 3, 1)...), Spacings{3, 1}); !fault.Is(err, fault.Invalid) {
		t.Errorf("a number twice: %v", err)
	}
	if _, err := New([]blocks.Row{{Number: 1}}, Spacings{3, 1}); !fault.Is(err, fault.Invalid) {
		t.Errorf("a row without a line: %v", err)
	}
}

// bigField is 200,000 plants, rows cut, bent and counted otherwise.
func bigField(t testing.TB) (field, []blocks.Row) {
	f := newField(t, -80.42, 35.87, 28)
	rows := f.rows(400, 499, 3, 1)
	for i := range rows {
		x := float64(i) * 3
		switch i % 7 {
		case 2:
			rows[i] = blocks.Row{Number: i + 1, Parts: orb.MultiLineString{{f.at(0, x), f.at(200, x)}, {f.at(221.4, x), f.at(520.4, x)}}}
		case 4:
			rows[i] = blocks.Row{Number: i + 1, Plants: 500, Parts: orb.MultiLineString{{f.at(0, x), f.at(250, x+0.8), f.at(501, x)}}}
		}
	}
	return f, rows
}

// Against every place looked at, on 1,000 queries in and round 200,000 plants;
// the places are those of blocks.Row.
func TestNearestAgainstEachPlant(t *testing.T) {
	f, rows := bigField(t)
	x := index(t, rows, Spacings{3, 1})
	if x.Places() < 200_000 {
		t.Fatalf("%d places", x.Places())
	}
	type place struct {
		row, plant int
		at         plane.XY
	}
	var all []place
	for _, r := range rows {
		p, err := r.Place(x.frame, 1)
		if err != nil {
			t.Fatal(err)
		}
		p.Each(func(n int, at plane.XY) { all = append(all, place{r.Number, n, at}) })
	}
	dice := rand.New(rand.NewPCG(4, 4))
	for q := range 1000 {
		at := f.at(dice.Float64()*620-60, dice.Float64()*1320-60)
		if q%50 == 0 {
			at = f.at(dice.Float64()*20000-10000, dice.Float64()*20000-10000)
		}
		n := 1 + q%4
		got := x.Nearest(at, n)
		xy := x.frame.XY(at)
		best := make([]Hit, 0, n+1)
		for _, p := range all {
			h := Hit{p.row, p.plant, p.at.Distance(xy)}
			if len(best) == n && h.Distance >= best[n-1].Distance {
				continue
			}
			best = append(best, h)
			slices.SortStableFunc(best, func(a, b Hit) int {
				switch {
				case a.Distance < b.Distance:
					return -1
				case a.Distance > b.Distance:
					return 1
				}
				return 0
			})
			best = best[:min(n, len(best))]
		}
		for i := range best {
			if got[i].Row != best[i].Row || got[i].Plant != best[i].Plant || math.Abs(float64(got[i].Distance-best[i].Distance)) > 1e-6 {
				t.Fatalf("at %v, the %d. nearest: got %+v, want %+v", at, i+1, got[i], best[i])
			}
		}
		if at, ok := x.Place(got[0].Row, got[0].Plant); !ok || math.Abs(float64(x.frame.XY(at).Distance(xy)-got[0].Distance)) > 1e-6 {
			t.Fatalf("%+v stands at %v, %v", got[0], at, ok)
		}
	}
}

func TestNearestOfFew(t *testing.T) {
	f := newField(t, 10, 50, 0)
	one := index(t, f.rows(1, 4, 3, 1), Spacings{3, 1})
	if got := one.Nearest(f.at(2.9, 40), 99); len(got) != 5 || got[0].Plant != 4 {
		t.Errorf("of five: %+v", got)
	}
	spot := index(t, []blocks.Row{{Number: 9, Places: []blocks.Run{{From: 3, Plants: 1, Part: 1}}, Plants: 3, Parts: orb.MultiLineString{{f.at(0, 0), f.at(0.5, 0)}}}}, Spacings{3, 1})
	if got := spot.Nearest(f.at(30, 40), 2); len(got) != 1 || got[0].Row != 9 || got[0].Plant != 3 || math.Abs(float64(got[0].Distance)-50) > 1e-3 {
		t.Errorf("of one: %+v", got)
	}
	// Halfway between two plants the lower number comes first.
	if got := one.Nearest(f.at(1.5, 0), 1); got[0].Plant != 2 && got[0].Plant != 3 {
		t.Errorf("halfway: %+v", got)
	}
	if got := index(t, nil, Spacings{}).Nearest(f.at(0, 0), 3); got != nil {
		t.Errorf("no rows: %+v", got)
	}
	if got := one.Nearest(geo.Position{-100, -50}, 3); got != nil {
		t.Errorf("out of reach: %+v", got)
	}
}

func BenchmarkNearest(b *testing.B) {
	f, rows := bigField(b)
	x := index(b, rows, Spacings{3, 1})
	dice := rand.New(rand.NewPCG(5, 5))
	at := make([]geo.Position, 1024)
	for i := range at {
		at[i] = f.at(dice.Float64()*500, dice.Float64()*1200)
	}
	b.ResetTimer()
	for i := range b.N {
		x.Nearest(at[i%len(at)], 1)
	}
}

func BenchmarkNew(b *testing.B) {
	_, rows := bigField(b)
	for b.Loop() {
		if _, err := New(rows, Spacings{3, 1}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkChances(b *testing.B) {
	f, rows := bigField(b)
	x := index(b, rows, Spacings{3, 1})
	for b.Loop() {
		x.Chances(f.at(200, 600), 5)
	}
}
