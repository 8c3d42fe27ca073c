// Package benchinput makes the same made-up ground every time, for timing
// overlays here and in another engine (testdata/bench/geos_bench.c) on equal
// input. The kinds are those geometry work on farms meets: outlines that
// overlap, outlines redrawn almost the same, swaths of a sprayer, the
// capsules of a stream's setback.
package benchinput

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"caneward/geo/plane"
)

// What to do with each case of a set.
const (
	Union      = "union"      // of two regions
	Difference = "difference" // first less second
	UnionAll   = "unionall"   // of all regions
	Buffer     = "buffer"     // the ground within Distance metres of the line
)

// Set is one row of a comparison.
type Set struct {
	Name  string
	Op    string
	Cases []Case
}

// Case is one piece of work.
type Case struct {
	Regions  []plane.Region
	Line     plane.Line
	Distance float64 // metres
}

// Sets gives all sets, the same numbers every time.
func Sets() []Set {
	pairs := starPairs(100)
	near := nearPairs(100)
	return []Set{
		{"star-pairs-union", Union, pairs},
		{"star-pairs-difference", Difference, pairs},
		{"near-coincident-union", Union, near},
		{"near-coincident-difference", Difference, near},
		{"swath-5000-union", UnionAll, []Case{{Regions: swath(5000)}}},
		{"capsules-600-union", UnionAll, []Case{{Regions: capsules(stream(601), 15)}}},
		{"stream-600-buffer", Buffer, []Case{{Line: stream(601), Distance: 15}}},
	}
}

// Find is the set of this name; ok is false where there is none.
func Find(name string) (Set, bool) {
	for _, s := range Sets() {
		if s.Name == name {
			return s, true
		}
	}
	return Set{}, false
}

func star(rnd *rand.Rand, centre plane.XY, corners int) plane.Ring {
	r := make(plane.Ring, 0, corners+1)
	for i := range corners {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.8*rnd.Float64()) / float64(corners))
		size := 100 * (0.4 + 0.6*rnd.Float64())
		r = append(r, centre.Plus(plane.XY{X: size * cos, Y: size * sin}))
	}
	return append(r, r[0])
}

func starPairs(n int) []Case {
	rnd := rand.New(rand.NewPCG(8, 200))
	out := make([]Case, n)
	for i := range out {
		b := plane.XY{X: 160*rnd.Float64() - 80, Y: 160*rnd.Float64() - 80}
		out[i].Regions = []plane.Region{
			{{star(rnd, plane.XY{}, 8+rnd.IntN(193))}},
			{{star(rnd, b, 8+rnd.IntN(193))}},
		}
	}
	return out
}

// nearPairs are an outline and itself moved by a hair, 1e-10 to 1e-3 m.
func nearPairs(n int) []Case {
	rnd := rand.New(rand.NewPCG(6, 30))
	out := make([]Case, n)
	for i := range out {
		a := star(rnd, plane.XY{}, 6+rnd.IntN(25))
		by := math.Pow(10, -10+7*rnd.Float64())
		b := make(plane.Ring, 0, len(a))
		for _, p := range a[:len(a)-1] {
			b = append(b, p.Plus(plane.XY{X: by * (2*rnd.Float64() - 1), Y: by * (2*rnd.Float64() - 1)}))
		}
		out[i].Regions = []plane.Region{{{a}}, {{append(b, b[0])}}}
	}
	return out
}

// swath is a boom of 3 m driven to and fro 2.8 m apart, a fix every 4 m.
func swath(n int) []plane.Region {
	rnd := rand.New(rand.NewPCG(3, 28))
	const aRow = 80
	var track plane.Line
	for row := 0; len(track) <= n; row++ {
		for k := range aRow + 1 {
			if row%2 == 1 {
				k = aRow - k
			}
			track = append(track, plane.XY{
				X: 4*float64(k) + 0.05*rnd.NormFloat64(),
				Y: 2.8*float64(row) + 0.3*math.Sin(float64(k)/9) + 0.05*rnd.NormFloat64(),
			})
		}
	}
	out := make([]plane.Region, n)
	for i := range out {
		a, b := track[i], track[i+1]
		d := b.Minus(a)
		side := plane.XY{X: -d.Y, Y: d.X}.Times(1.5 / math.Hypot(d.X, d.Y))
		out[i] = plane.Region{{{a.Minus(side), b.Minus(side), b.Plus(side), a.Plus(side), a.Minus(side)}}}
	}
	return out
}

// stream winds on two scales and is jagged, 2 m a piece.
func stream(n int) plane.Line {
	rnd := rand.New(rand.NewPCG(16, 37))
	l := plane.Line{{}}
	for i := range n - 1 {
		s := float64(i) * 2
		h := 1.35*math.Sin(2*math.Pi*s/160) + 0.5*math.Sin(2*math.Pi*s/37+1) + 0.15*rnd.NormFloat64()
		l = append(l, l[i].Plus(plane.XY{X: 2 * math.Cos(h), Y: 2 * math.Sin(h)}))
	}
	return l
}

// capsules are the ground within d of each piece, arcs inscribed with 24
// segments a quarter.
func capsules(l plane.Line, d float64) []plane.Region {
	const half = 48
	out := make([]plane.Region, 0, len(l)-1)
	for i := 0; i+1 < len(l); i++ {
		v := l[i+1].Minus(l[i])
		along := math.Atan2(v.Y, v.X)
		r := make(plane.Ring, 0, 2*half+3)
		for end, p := range []plane.XY{l[i+1], l[i]} {
			for k := range half + 1 {
				sin, cos := math.Sincos(along + math.Pi*(float64(end)-0.5+float64(k)/half))
				r = append(r, p.Plus(plane.XY{X: d * cos, Y: d * sin}))
			}
		}
		out = append(out, plane.Region{{append(r, r[0])}})
	}
	return out
}

// Write puts the sets down as text, a case a line, columns parted by tabs: name, op, then
// two WKT geometries (union, difference), one WKT geometry collection
// (unionall), or the distance in metres and a WKT line (buffer). Numbers keep
// every digit.
func Write(w io.Writer, sets []Set) error {
	out := bufio.NewWriter(w)
	for _, s := range sets {
		for _, c := range s.Cases {
			fmt.Fprintf(out, "%s\t%s", s.Name, s.Op)
			switch s.Op {
			case Union, Difference:
				fmt.Fprintf(out, "\t%s\t%s\n", polygon(c.Regions[0]), polygon(c.Regions[1]))
			case UnionAll:
				texts := make([]string, len(c.Regions))
				for i, r := range c.Regions {
					texts[i] = polygon(r)
				}
				fmt.Fprintf(out, "\tGEOMETRYCOLLECTION (%s)\n", strings.Join(texts, ", "))
			case Buffer:
				fmt.Fprintf(out, "\t%g\tLINESTRING %s\n", c.Distance, points(c.Line))
			default:
				return fmt.Errorf("benchinput: set %s has op %q", s.Name, s.Op)
			}
		}
	}
	return out.Flush()
}

func polygon(r plane.Region) string {
	rings := make([]string, len(r[0]))
	for i, ring := range r[0] {
		rings[i] = points(plane.Line(ring))
	}
	return "POLYGON (" + strings.Join(rings, ", ") + ")"
}

func points(l plane.Line) string {
	texts := make([]string, len(l))
	for i, p := range l {
		texts[i] = strconv.FormatFloat(p.X, 'g', -1, 64) + " " + strconv.FormatFloat(p.Y, 'g', -1, 64)
	}
	return "(" + strings.Join(texts, ", ") + ")"
}
