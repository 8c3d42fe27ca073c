package buffer_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/overlay"
	"caneward/geo/plane"
)

const reference = "../../testdata/reference/geometry/"

type pairs [][2]float64

func (p pairs) line() plane.Line {
	var l plane.Line
	for _, c := range p {
		l = append(l, plane.XY{X: c[0], Y: c[1]})
	}
	return l
}

func (p pairs) region() plane.Region {
	r := plane.Ring(p.line())
	r = append(r, r[0])
	if r.SignedArea() < 0 {
		panic("the reference block runs counter-clockwise")
	}
	return plane.Region{{r}}
}

func load(t testing.TB, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(reference + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

// distanceTo is the definition: the least distance to any piece, in a loop.
func distanceTo(q plane.XY, l plane.Line) geo.Metres {
	d := geo.Metres(math.Inf(1))
	for i := 0; i+1 < len(l); i++ {
		d = min(d, q.Distance(q.NearestOn(l[i], l[i+1])))
	}
	return d
}

// Values: GEOS 3.11.1, union of one capsule a piece (buffer_cases.json).
func TestAroundMatchesCapsuleUnions(t *testing.T) {
	var cases []struct {
		Line     pairs   `json:"line"`
		Closed   bool    `json:"closed"`
		Distance float64 `json:"distance_m"`
		Area     float64 `json:"area_capsule_union_q64"`
		Holes    int     `json:"holes_capsule_union"`
	}
	load(t, "buffer_cases.json", &cases)
	if len(cases) != 24 {
		t.Fatalf("read %d cases, want 24", len(cases))
	}
	rnd := rand.New(rand.NewPCG(24, 1))
	for i, c := range cases {
		line, d := c.Line.line(), geo.Metres(c.Distance)
		zone, err := buffer.Around(context.Background(), plane.Shape{Lines: []plane.Line{line}}, d, buffer.Options{})
		if err != nil {
			t.Errorf("%d: %v", i, err)
			continue
		}
		if off := float64(zone.Area())/c.Area - 1; math.Abs(off) > 0.001 || off < 0 {
			t.Errorf("%d: area %v, want %v to 0.1 %% more", i, zone.Area(), c.Area)
		}
		if len(zone) != 1 || zone.Holes() != c.Holes {
			t.Errorf("%d: %d parts and %d holes, want 1 and %d", i, len(zone), zone.Holes(), c.Holes)
		}
		checkZone(t, rnd, i, zone, line, d)
	}
}

// checkZone tries random places: none within the distance is left out, none
// beyond the arcs' allowance is let in.
func checkZone(t *testing.T, rnd *rand.Rand, i int, zone plane.Region, line plane.Line, d geo.Metres) {
	t.Helper()
	box := line.Box().Grow(1.2 * d)
	size := box.Max.Minus(box.Min)
	for range 2000 {
		q := box.Min.Plus(plane.XY{X: size.X * rnd.Float64(), Y: size.Y * rnd.Float64()})
		got, dist := zone.Contains(q), distanceTo(q, line)
		if !got && dist <= d {
			t.Errorf("%d: %v is %v m from the line and left out, distance %v", i, q, dist, d)
		}
		// A hole under geo.SliverArea is filled; no place in it is farther than this.
		filled := geo.Metres(math.Sqrt(float64(geo.SliverArea)))
		if got && dist > d+max(buffer.ArcOvershoot, filled) {
			t.Errorf("%d: %v is %v m from the line and let in, distance %v", i, q, dist, d)
		}
	}
}

func TestAroundIsNeverShortOnRandomLines(t *testing.T) {
	rnd := rand.New(rand.NewPCG(99, 3))
	for i := range 60 {
		n := 3 + rnd.IntN(80)
		step := []float64{0.2, 1, 5, 20}[rnd.IntN(4)]
		d := geo.Metres([]float64{0.5, 1.5, 15, 30, 90}[rnd.IntN(5)])
		line, h := plane.Line{{}}, 0.0
		for range n {
			h += rnd.NormFloat64()
			line = append(line, line[len(line)-1].Plus(plane.XY{X: math.Cos(h), Y: math.Sin(h)}.Times(step)))
		}
		if i%2 == 0 {
			line = append(line, line[0])
		}
		zone, err := buffer.Around(context.Background(), plane.Shape{Lines: []plane.Line{line}}, d, buffer.Options{})
		if err != nil {
			t.Fatal(i, err)
		}
		checkZone(t, rnd, i, zone, line, d)
	}
}

// Values: GEOS 3.11.1 (stream_case.json).
func TestStream(t *testing.T) {
	var c struct {
		Line     pairs   `json:"line"`
		Block    pairs   `json:"block"`
		Distance float64 `json:"distance_m"`
		Zone     float64 `json:"buffer_area_capsule_union_q64"`
		Area     float64 `json:"block_area"`
		Treated  float64 `json:"block_minus_buffer_area"`
	}
	load(t, "stream_case.json", &c)
	shape := plane.Shape{Lines: []plane.Line{c.Line.line()}}
	block := c.Block.region()
	ctx := context.Background()
	if math.Abs(float64(block.Area())-c.Area) > 1e-5 {
		t.Fatalf("block %v, want %v", block.Area(), c.Area)
	}
	for name, o := range map[string]buffer.Options{"whole": {}, "within the block": {Within: buffer.TargetOf(plane.Shape{Ground: block})}} {
		zone, err := buffer.Around(ctx, shape, geo.Metres(c.Distance), o)
		if err != nil {
			t.Fatal(name, err)
		}
		if o.Within == nil {
			if off := float64(zone.Area())/c.Zone - 1; math.Abs(off) > 0.001 {
				t.Errorf("zone %v, want %v", zone.Area(), c.Zone)
			}
		}
		treated, err := overlay.Difference(ctx, block, zone)
		if err != nil {
			t.Fatal(name, err)
		}
		if off := math.Abs(float64(treated.Area()) - c.Treated); off > 0.001*(c.Area-c.Treated) {
			t.Errorf("%s: treated %v, want %v", name, treated.Area(), c.Treated)
		}
	}
}

// Ten thousand corners, jagged: answered in time where only some matter,
// refused before the work where all do.
func TestLongStreamEndsOrIsRefused(t *testing.T) {
	rnd := rand.New(rand.NewPCG(10, 10))
	line := plane.Line{{}}
	h := 0.0
	for i := range 10_000 {
		h = 1.3*math.Sin(float64(i)/40) + 0.8*rnd.NormFloat64()
		line = append(line, line[len(line)-1].Plus(plane.XY{X: math.Cos(h), Y: math.Sin(h)}))
	}
	shape := plane.Shape{Lines: []plane.Line{line}}
	mid := line[5000]
	block := plane.Box{Min: mid.Minus(plane.XY{X: 100, Y: 120}), Max: mid.Plus(plane.XY{X: 100, Y: 80})}.Region()
	start := time.Now()
	zone, err := buffer.Around(context.Background(), shape, 15, buffer.Options{Within: buffer.TargetOf(plane.Shape{Ground: block})})
	took := time.Since(start)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("within a block: %v, %d corners", took, zone.Vertices())
	if limit := 3 * time.Second; took > limit { // half a second on a quiet machine
		t.Errorf("took %v, want at most %v", took, limit)
	}
	for range 3000 {
		q := mid.Plus(plane.XY{X: 200*rnd.Float64() - 100, Y: 200*rnd.Float64() - 120})
		if d := distanceTo(q, line); d <= 15 && !zone.Contains(q) {
			t.Errorf("%v is %v m from the stream and left out", q, d)
		} else if d > 15.1 && zone.Contains(q) {
			t.Errorf("%v is %v m from the stream and let in", q, d)
		}
	}
	var many *overlay.TooManyError
	if _, err := buffer.Around(context.Background(), shape, 15, buffer.Options{}); !errors.As(err, &many) || many.What != overlay.Pieces || many.Count != 10_000 {
		t.Errorf("the whole stream: %v, want a refusal of 10000 pieces", err)
	}
}

func TestAroundPointsAndGround(t *testing.T) {
	ctx := context.Background()
	pond := plane.Region{{ring(0, 0, 40, 0, 40, 40, 0, 40), ring(10, 10, 10, 30, 30, 30, 30, 10)}}
	tests := []struct {
		name  string
		shape plane.Shape
		d     geo.Metres
		want  float64
		holes int
	}{
		{"nothing", plane.Shape{}, 10, 0, 0},
		{"point", plane.Shape{Points: []plane.XY{{X: 5, Y: 5}}}, 30, math.Pi * 900, 0},
		{"point without distance", plane.Shape{Points: []plane.XY{{X: 5, Y: 5}}}, 0, 0, 0},
		{"two points apart", plane.Shape{Points: []plane.XY{{}, {X: 100}}}, 30, 2 * math.Pi * 900, 0},
		{"pond with island", plane.Shape{Ground: pond}, 5, 1600 + 4*40*5 + math.Pi*25 - 100, 1},
		{"island in reach", plane.Shape{Ground: pond}, 15, 1600 + 4*40*15 + math.Pi*225, 0},
		{"pond as it is", plane.Shape{Ground: pond}, 0, 1200, 1},
		{"closed line is a line", plane.Shape{Lines: []plane.Line{plane.Line(pond[0][0])}}, 5, 1600 + 4*40*5 + math.Pi*25 - 900, 1},
	}
	for _, c := range tests {
		got, err := buffer.Around(ctx, c.shape, c.d, buffer.Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if off := float64(got.Area()) - c.want; off < -1e-6 || off > 0.0006*c.want+1e-6 {
			t.Errorf("%s: area %v, want %v", c.name, got.Area(), c.want)
		}
		if got.Holes() != c.holes {
			t.Errorf("%s: %d holes, want %d", c.name, got.Holes(), c.holes)
		}
	}
}

func ring(xy ...float64) plane.Ring {
	var r plane.Ring
	for i := 0; i < len(xy); i += 2 {
		r = append(r, plane.XY{X: xy[i], Y: xy[i+1]})
	}
	return append(r, r[0])
}

// Areas by hand: a sector of the distance, and the ground it sweeps over.
func TestDownwindByHand(t *testing.T) {
	ctx := context.Background()
	line := func(x0, y0, x1, y1 float64) plane.Shape {
		return plane.Shape{Lines: []plane.Line{{{X: x0, Y: y0}, {X: x1, Y: y1}}}}
	}
	point := plane.Shape{Points: []plane.XY{{}}}
	sector := func(half float64) float64 { return 100 * half * math.Pi / 180 }
	tests := []struct {
		name       string
		shape      plane.Shape
		from, half geo.Degrees
		want       float64
		in, out    plane.XY
	}{
		{"point, wind from north", point, 0, 45, sector(45), plane.XY{Y: 9}, plane.XY{Y: -1}},
		{"point, wind from east", point, 90, 45, sector(45), plane.XY{X: 9}, plane.XY{X: -1}},
		{"point, wind from south-west", point, 225, 20, sector(20), plane.XY{X: -5, Y: -5}, plane.XY{X: -5, Y: 5}},
		{"wind given as -90", point, -90, 45, sector(45), plane.XY{X: -9}, plane.XY{X: 1}},
		{"three quarters", point, 0, 135, sector(135), plane.XY{X: 5, Y: -4.9}, plane.XY{X: 4.9, Y: -5}},
		{"nearly round", point, 0, 179, sector(179), plane.XY{X: 1, Y: -9}, plane.XY{X: 0, Y: -9}},
		{"round", point, 123, 180, sector(180), plane.XY{X: 1, Y: -9}, plane.XY{X: 10, Y: 10}},
		{"line across the wind", line(0, 0, 50, 0), 0, 45, sector(45) + 500, plane.XY{X: 25, Y: 9}, plane.XY{X: 25, Y: -1}},
		{"line along the wind", line(0, 0, 0, 50), 0, 45, sector(45) + 50*2*10*math.Sin(math.Pi/4), plane.XY{X: 7, Y: 40}, plane.XY{X: 0, Y: -0.1}},
		{"no width at all", line(0, 0, 50, 0), 0, 0, 500, plane.XY{X: 49, Y: 9}, plane.XY{X: 51, Y: 5}},
		{"no width, along", line(0, 0, 0, 50), 0, 0, 0, plane.XY{}, plane.XY{X: 1}},
		{"ground counts", plane.Shape{Ground: plane.Region{{ring(0, 0, 20, 0, 20, 20, 0, 20)}}}, 0, 45, sweptSquare(20, 10, 45), plane.XY{X: 10, Y: 10}, plane.XY{X: 10, Y: -1}},
	}
	for _, c := range tests {
		got, err := buffer.Downwind(ctx, c.shape, 10, c.from, c.half, buffer.Options{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if off := float64(got.Area()) - c.want; off < -1e-6 || off > 0.0006*c.want+1e-6 {
			t.Errorf("%s: area %v, want %v", c.name, got.Area(), c.want)
		}
		if c.want > 0 && !got.Contains(c.in) {
			t.Errorf("%s: %v is left out", c.name, c.in)
		}
		if got.Contains(c.out) {
			t.Errorf("%s: %v is let in", c.name, c.out)
		}
	}
}

// sweptSquare is the area of a square of side a, sides north and east, plus the sector of
// radius d and the half angle to the north: for convex shapes |A+B| = |A| +
// |B| + 2 V(A, B), and for an axis-parallel square 2 V is a times the sum of the
// widths of B along both axes.
func sweptSquare(a, d, half float64) float64 {
	h := half * math.Pi / 180
	return a*a + d*d*h + a*(2*d*math.Sin(h)+d)
}

// The definition, tried on random places: some point of the feature lies
// within the distance and in a direction within the half angle of downwind.
func TestDownwindAgainstTheDefinition(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 50))
	for i := range 40 {
		d := geo.Metres(5 + 40*rnd.Float64())
		from, half := geo.Degrees(360*rnd.Float64()), geo.Degrees(5+170*rnd.Float64())
		line := plane.Line{{}}
		for range 1 + rnd.IntN(12) {
			line = append(line, line[len(line)-1].Plus(plane.XY{X: 30 * rnd.NormFloat64(), Y: 30 * rnd.NormFloat64()}))
		}
		zone, err := buffer.Downwind(context.Background(), plane.Shape{Lines: []plane.Line{line}}, d, from, half, buffer.Options{})
		if err != nil {
			t.Fatal(i, err)
		}
		box := line.Box().Grow(1.1 * d)
		size := box.Max.Minus(box.Min)
		for range 400 {
			q := box.Min.Plus(plane.XY{X: size.X * rnd.Float64(), Y: size.Y * rnd.Float64()})
			const slack = 0.05
			if got := zone.Contains(q); !got && reaches(q, line, float64(d), from, half, 0) {
				t.Errorf("%d: %v is left out: distance %v, wind from %v ± %v", i, q, d, from, half)
			} else if got && !reaches(q, line, float64(d)+slack, from, half, slack) {
				t.Errorf("%d: %v is let in: distance %v, wind from %v ± %v", i, q, d, from, half)
			}
		}
	}
}

// reaches walks the line in steps of two centimetres. Slack widens the sector
// by that many metres to either side.
func reaches(q plane.XY, l plane.Line, d float64, from, half geo.Degrees, slack float64) bool {
	down := plane.Heading(from + 180)
	for i := 0; i+1 < len(l); i++ {
		steps := int(l[i].Distance(l[i+1])/0.02) + 1
		for s := range steps + 1 {
			v := l[i].Plus(l[i+1].Minus(l[i]).Times(float64(s) / float64(steps))).Minus(q)
			r := math.Hypot(v.X, v.Y)
			if r > d {
				continue
			}
			angle := math.Abs(math.Atan2(down.Cross(v), down.Dot(v)))
			widened := float64(half)*math.Pi/180 + math.Asin(math.Min(1, slack/math.Max(r, 1e-9)))
			if r <= slack || angle <= widened {
				return true
			}
		}
	}
	return false
}

func TestFlatByHand(t *testing.T) {
	ctx := context.Background()
	line := func(xy ...float64) plane.Line {
		var l plane.Line
		for i := 0; i < len(xy); i += 2 {
			l = append(l, plane.XY{X: xy[i], Y: xy[i+1]})
		}
		return l
	}
	tests := []struct {
		name string
		line plane.Line
		w    geo.Metres
		want float64
	}{
		{"straight", line(0, 0, 100, 0), 1.5, 300},
		{"corners on the way", line(0, 0, 40, 0, 100, 0), 1.5, 300},
		{"slanted", line(0, 0, 30, 40), 2, 200},
		{"left bend", line(0, 0, 50, 0, 50, 50), 2, 400 - 4 + math.Pi},
		{"right bend", line(0, 0, 50, 0, 50, -50), 2, 400 - 4 + math.Pi},
		{"there and back", line(0, 0, 50, 0, 0, 0), 2, 200 + math.Pi*2},
		{"no width", line(0, 0, 100, 0), 0, 0},
		{"one point", line(0, 0), 2, 0},
	}
	for _, c := range tests {
		got, err := buffer.Flat(ctx, c.line, c.w)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if off := float64(got.Area()) - c.want; off < -1e-6 || off > 0.0006*c.want+1e-6 {
			t.Errorf("%s: area %v, want %v", c.name, got.Area(), c.want)
		}
		if c.want > 0 && len(got) != 1 {
			t.Errorf("%s: %d parts, want 1", c.name, len(got))
		}
	}
}

func TestRefusals(t *testing.T) {
	ctx := context.Background()
	s := plane.Shape{Points: []plane.XY{{}}}
	var bad *buffer.ArgumentError
	nan := math.NaN()
	for name, do := range map[string]func() error{
		"negative":     func() error { _, err := buffer.Around(ctx, s, -1, buffer.Options{}); return err },
		"no number":    func() error { _, err := buffer.Around(ctx, s, geo.Metres(nan), buffer.Options{}); return err },
		"too far":      func() error { _, err := buffer.Around(ctx, s, 1e6, buffer.Options{}); return err },
		"no direction": func() error { _, err := buffer.Downwind(ctx, s, 5, geo.Degrees(nan), 45, buffer.Options{}); return err },
		"half angle":   func() error { _, err := buffer.Downwind(ctx, s, 5, 0, -1, buffer.Options{}); return err },
		"half width":   func() error { _, err := buffer.Flat(ctx, plane.Line{{}, {X: 1}}, -2); return err },
	} {
		if err := do(); !errors.As(err, &bad) {
			t.Errorf("%s: error %v, want an *ArgumentError", name, err)
		}
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := buffer.Around(stopped, s, 5, buffer.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

func TestNearest(t *testing.T) {
	square := plane.Region{{ring(0, 0, 40, 0, 40, 40, 0, 40), ring(10, 10, 10, 30, 30, 30, 30, 10)}}
	ground := plane.Shape{Ground: square}
	point := func(x, y float64) plane.Shape { return plane.Shape{Points: []plane.XY{{X: x, Y: y}}} }
	line := func(x0, y0, x1, y1 float64) plane.Shape {
		return plane.Shape{Lines: []plane.Line{{{X: x0, Y: y0}, {X: x1, Y: y1}}}}
	}
	inner := plane.Shape{Ground: plane.Region{{ring(1, 1, 2, 1, 2, 2, 1, 2)}}}
	around := plane.Shape{Ground: plane.Region{{ring(-100, -100, 200, -100, 200, 200, -100, 200)}}}
	tests := []struct {
		name string
		a, b plane.Shape
		want float64
	}{
		{"point beside ground", point(-3, 5), ground, 3},
		{"point at a corner", point(43, 44), ground, 5},
		{"point on ground", point(5, 5), ground, 0},
		{"point on an edge", point(0, 7), ground, 0},
		{"point in the hole", point(20, 13), ground, 3},
		{"line crossing", line(-5, 5, 45, 5), ground, 0},
		{"line in the hole", line(12, 20, 26, 20), ground, 2},
		{"line passing", line(-5, 50, 45, 42), ground, 140 / math.Hypot(50, 8)}, // the corner 40, 40 and the direction 50, -8,
		{"ground in ground", inner, ground, 0},
		{"ground round ground", around, ground, 0},
		{"two points", point(0, 0), point(3, 4), 5},
		{"crossing lines", line(0, 0, 10, 10), line(0, 10, 10, 0), 0},
		{"parallel lines", line(0, 0, 10, 0), line(5, 2, 20, 2), 2},
		{"nothing", plane.Shape{}, ground, math.Inf(1)},
		{"nothing and nothing", plane.Shape{}, plane.Shape{}, math.Inf(1)},
	}
	for _, c := range tests {
		for _, turned := range []bool{false, true} {
			a, b := c.a, c.b
			if turned {
				a, b = b, a
			}
			d, onA, onB := buffer.Nearest(a, b)
			want := c.want
			if math.Abs(float64(d)-want) > 1e-9 && !(math.IsInf(float64(d), 1) && math.IsInf(want, 1)) {
				t.Errorf("%s: %v m, want %v", c.name, d, want)
			}
			if !math.IsInf(want, 1) && math.Abs(float64(onA.Distance(onB)-d)) > 1e-9 {
				t.Errorf("%s: points %v and %v are %v m apart, not %v", c.name, onA, onB, onA.Distance(onB), d)
			}
		}
	}
}

func TestNearestAgainstALoop(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 8))
	walk := func(n int, x float64) plane.Line {
		l := plane.Line{{X: x}}
		for range n {
			l = append(l, l[len(l)-1].Plus(plane.XY{X: 3 * rnd.NormFloat64(), Y: 3 * rnd.NormFloat64()}))
		}
		return l
	}
	for i := range 50 {
		a, b := walk(60, 0), walk(80, 60)
		want := geo.Metres(math.Inf(1))
		for _, p := range a {
			want = min(want, distanceTo(p, b))
		}
		for _, p := range b {
			want = min(want, distanceTo(p, a))
		}
		got, onA, onB := buffer.Nearest(plane.Shape{Lines: []plane.Line{a}}, plane.Shape{Lines: []plane.Line{b}})
		if got > 0 && math.Abs(float64(got-want)) > 1e-9 || got > want {
			t.Errorf("%d: %v, want %v", i, got, want)
		}
		if distanceTo(onA, a) > 1e-9 || distanceTo(onB, b) > 1e-9 {
			t.Errorf("%d: %v, %v are not on the lines", i, onA, onB)
		}
	}
}

// What is worked out for a block is, on the block, what is worked out for everywhere.
func TestWithinChangesNothingOnTheGround(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 8))
	ctx := context.Background()
	block := plane.Region{{{{X: 0, Y: 0}, {X: 90, Y: 10}, {X: 100, Y: 80}, {X: 40, Y: 50}, {X: 10, Y: 90}, {X: 0, Y: 0}}}}
	for i := range 60 {
		shape := plane.Shape{Points: []plane.XY{{X: 200*rnd.Float64() - 50, Y: 200*rnd.Float64() - 50}}}
		var line plane.Line
		for range 12 {
			line = append(line, plane.XY{X: 200*rnd.Float64() - 50, Y: 200*rnd.Float64() - 50})
		}
		shape.Lines = []plane.Line{line}
		for _, half := range []geo.Degrees{180, 40} {
			zone := func(o buffer.Options) (plane.Region, error) { return buffer.Downwind(ctx, shape, 12, 70, half, o) }
			all, err := zone(buffer.Options{})
			if err != nil {
				t.Fatal(err)
			}
			near, err := zone(buffer.Options{Within: buffer.TargetOf(plane.Shape{Ground: block})})
			if err != nil {
				t.Fatal(err)
			}
			onAll, err := overlay.Intersection(ctx, block, all)
			if err != nil {
				t.Fatal(err)
			}
			onNear, err := overlay.Intersection(ctx, block, near)
			if err != nil {
				t.Fatal(err)
			}
			// A hole under geo.SliverArea may be filled in the one and cut open in the other.
			if off := onAll.Area() - onNear.Area(); max(off, -off) > geo.SliverArea {
				t.Errorf("%d, %v°: %v m2 on the block, want %v", i, half, onNear.Area(), onAll.Area())
			}
			for range 500 {
				q := plane.XY{X: 100 * rnd.Float64(), Y: 90 * rnd.Float64()}
				if got, want := onNear.Contains(q), onAll.Contains(q); got != want {
					t.Errorf("%d, %v°: %v in the zone: %v, want %v", i, half, q, got, want)
				}
			}
		}
	}
}
