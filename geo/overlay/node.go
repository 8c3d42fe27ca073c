package overlay

import (
	"context"
	"fmt"
	"slices"

	"caneward/geo/plane"

	"github.com/peterstace/simplefeatures/geom"
	"github.com/tidwall/rtree"
)

// Node cuts lines where they meet and gives each stretch once, whichever way and
// however often it was run along: the pieces have nothing in common but ends.
// Corners of the lines stay bit for bit; new ones lie within a few steps of a
// float64 of the true crossing. Coordinates may be of any unit. The order of the
// pieces says nothing. Errors: the context's, *TooManyError, *EngineError.
func Node(ctx context.Context, lines []plane.Line) ([]plane.Line, error) {
	total := 0
	for _, l := range lines {
		total += len(l)
	}
	if total > MaxVertices {
		return nil, &TooManyError{What: Corners, Count: total, Limit: MaxVertices}
	}
	if err := boundMeetings(ctx, lines); err != nil {
		return nil, err
	}
	parts := make([]geom.LineString, 0, len(lines))
	for _, l := range lines {
		l = slices.Compact(slices.Clone(l))
		if len(l) < 2 {
			continue
		}
		xy := make([]float64, 0, 2*len(l))
		for _, p := range l {
			if !p.Finite() {
				return nil, &EngineError{Op: "node", Err: fmt.Errorf("%v is no place", p)}
			}
			xy = append(xy, p.X, p.Y)
		}
		parts = append(parts, geom.NewLineString(geom.NewSequence(xy, geom.DimXY)))
	}
	if len(parts) == 0 {
		return nil, nil
	}
	return nodeLines(parts)
}

func nodeLines(parts []geom.LineString) (out []plane.Line, err error) {
	defer func() {
		if p := recover(); p != nil { // as in apply
			out, err = nil, &EngineError{Op: "node", Err: fmt.Errorf("the engine gave up: %v", p)}
		}
	}()
	g, err := geom.UnaryUnion(geom.NewMultiLineString(parts).AsGeometry())
	if err != nil {
		return nil, &EngineError{Op: "node", Err: err}
	}
	for _, part := range g.Dump() {
		l, ok := part.AsLineString()
		if !ok {
			continue
		}
		seq := l.Coordinates()
		line := make(plane.Line, seq.Length())
		for i := range line {
			xy := seq.GetXY(i)
			line[i] = plane.XY{X: xy.X, Y: xy.Y}
		}
		out = append(out, line)
	}
	return out, nil
}

// boundMeetings is boundCrossings for lines that meet themselves and each
// other. Where they have a corner in common nothing is cut.
func boundMeetings(ctx context.Context, lines []plane.Line) error {
	type piece struct {
		edge
		line, index int
	}
	var tree rtree.RTreeG[piece]
	for k, l := range lines {
		for i := 0; i+1 < len(l); i++ {
			lo, hi := corners(l[i], l[i+1])
			tree.Insert(lo, hi, piece{edge{l[i], l[i+1]}, k, i})
		}
	}
	n, looked := 0, 0
	for k, l := range lines {
		for i := 0; i+1 < len(l); i++ {
			if i%1024 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			e := edge{l[i], l[i+1]}
			lo, hi := corners(e.a, e.b)
			tree.Search(lo, hi, func(_, _ [2]float64, s piece) bool {
				looked++
				later := s.line > k || s.line == k && s.index > i
				if later && !s.joins(e) && s.meets(e) {
					n++
				}
				return n <= MaxCrossings && looked <= maxCandidates
			})
			if n > MaxCrossings || looked > maxCandidates {
				return &TooManyError{What: Crossings, Count: n, Limit: MaxCrossings}
			}
		}
	}
	return ctx.Err()
}

func (e edge) joins(o edge) bool { return e.a == o.a || e.a == o.b || e.b == o.a || e.b == o.b }
