package overlay_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"caneward/geo/overlay"
	"caneward/geo/plane"
)

func TestNode(t *testing.T) {
	line := func(xy ...float64) (l plane.Line) {
		for i := 0; i+1 < len(xy); i += 2 {
			l = append(l, plane.XY{X: xy[i], Y: xy[i+1]})
		}
		return l
	}
	tests := []struct {
		name   string
		in     []plane.Line
		pieces int
		length float64
	}{
		{"nothing", nil, 0, 0},
		{"a crossing", []plane.Line{line(0, 0, 4, 4), line(0, 4, 4, 0)}, 4, 8 * math.Sqrt2},
		{"out and back", []plane.Line{line(0, 0, 4, 0, 0, 0)}, 1, 4},
		{"along each other", []plane.Line{line(0, 0, 4, 0), line(6, 0, 2, 0)}, 3, 6},
		{"an end on a side", []plane.Line{line(0, 0, 4, 0), line(2, 0, 2, 3)}, 3, 7},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := overlay.Node(context.Background(), tt.in)
			if err != nil {
				t.Fatal(err)
			}
			n, length := 0, 0.0
			for _, l := range got {
				n += len(l) - 1
				length += float64(l.Length())
			}
			if n != tt.pieces || math.Abs(length-tt.length) > 1e-9 {
				t.Errorf("%v: %d pieces, %v long; want %d, %v", got, n, length, tt.pieces, tt.length)
			}
		})
	}
}

func TestNodeIsBounded(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	scribble := make(plane.Line, 700) // about 700²/4·0.23 crossings and more
	for i := range scribble {
		scribble[i] = plane.XY{X: r.Float64(), Y: r.Float64()}
	}
	_, err := overlay.Node(context.Background(), []plane.Line{scribble})
	if many := (*overlay.TooManyError)(nil); !errors.As(err, &many) || many.What != overlay.Crossings {
		t.Errorf("got %v, want too many crossings", err)
	}
	_, err = overlay.Node(context.Background(), []plane.Line{{{X: math.NaN()}, {X: 1}}})
	if refused := (*overlay.EngineError)(nil); !errors.As(err, &refused) {
		t.Errorf("got %v, want the engine's refusal", err)
	}
}
