package buffer_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/overlay/benchinput"
	"caneward/geo/plane"
)

// The line of testdata/bench/geos_bench.c's buffer, here as a checked union of capsules.
func BenchmarkAroundStream(b *testing.B) {
	set, ok := benchinput.Find("stream-600-buffer")
	if !ok {
		b.Fatal("no such set")
	}
	shape := plane.Shape{Lines: []plane.Line{set.Cases[0].Line}}
	var area geo.SquareMetres
	for b.Loop() {
		zone, err := buffer.Around(context.Background(), shape, geo.Metres(set.Cases[0].Distance), buffer.Options{})
		if err != nil {
			b.Fatal(err)
		}
		area = zone.Area()
	}
	b.ReportMetric(float64(area), "m2")
}

// Ten thousand corners, of which those near a block of four hectares matter.
func BenchmarkAroundLongStreamWithinBlock(b *testing.B) {
	rnd := rand.New(rand.NewPCG(10, 10))
	line := plane.Line{{}}
	for i := range 10_000 {
		h := 1.3*math.Sin(float64(i)/40) + 0.8*rnd.NormFloat64()
		line = append(line, line[i].Plus(plane.XY{X: math.Cos(h), Y: math.Sin(h)}))
	}
	mid := line[5000]
	block := plane.Box{Min: mid.Minus(plane.XY{X: 100, Y: 120}), Max: mid.Plus(plane.XY{X: 100, Y: 80})}.Region()
	for b.Loop() {
		if _, err := buffer.Around(context.Background(), plane.Shape{Lines: []plane.Line{line}}, 15, buffer.Options{Within: buffer.TargetOf(plane.Shape{Ground: block})}); err != nil {
			b.Fatal(err)
		}
	}
}

// A pass of 2,000 fixes, band ends square.
func BenchmarkFlatTrack(b *testing.B) {
	rnd := rand.New(rand.NewPCG(4, 4))
	line := plane.Line{}
	for i := range 2000 {
		line = append(line, plane.XY{X: 3 * float64(i), Y: 5*math.Sin(float64(i)/30) + 0.05*rnd.NormFloat64()})
	}
	for b.Loop() {
		if _, err := buffer.Flat(context.Background(), line, 1.5); err != nil {
			b.Fatal(err)
		}
	}
}
