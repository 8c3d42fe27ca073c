package repair

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"caneward/geo/overlay"
	"caneward/geo/plane"
)

// MaxCorners bounds the corners of one outline, as intake does; crossings are
// bounded by overlay.MaxCrossings.
const MaxCorners = 100_000

// What an IntricateError counts.
const (
	Corners   = "corners"
	Crossings = "crossings"
	Edges     = "edges looked at"
)

// IntricateError refuses an outline that would take too long to mend. Count is
// what there is, at least.
type IntricateError struct {
	What         string
	Count, Limit int
}

func (e *IntricateError) Error() string {
	return fmt.Sprintf("repair: %d %s, at most %d", e.Count, e.What, e.Limit)
}

// PlaceError says that a corner of a planar ring is no number. Vertex counts from 1.
type PlaceError struct{ Vertex int }

func (e *PlaceError) Error() string {
	return fmt.Sprintf("repair: corner %d is no number", e.Vertex)
}

// Ring is the ground a ring goes round at least once, on balance, either way: the
// non-zero rule. Whichever way the ring runs, shells come counter-clockwise and
// holes clockwise. The ring may be closed or open, in any unit; one without
// breadth gives no ground. Nothing is dropped for being small. New corners lie
// within a few steps of a float64 of the true crossing. Errors: the context's,
// *IntricateError, *PlaceError, *overlay.EngineError.
func Ring(ctx context.Context, ring []plane.XY) (plane.Region, error) {
	if len(ring) > MaxCorners {
		return nil, &IntricateError{What: Corners, Count: len(ring), Limit: MaxCorners}
	}
	for i, p := range ring {
		if !p.Finite() {
			return nil, &PlaceError{Vertex: i + 1}
		}
	}
	closed := closedRing(ring)
	if len(closed) < 4 {
		return nil, nil
	}
	a, err := arrange(ctx, []plane.Ring{closed})
	if err != nil {
		return nil, intricate(err)
	}
	var kept []int
	for c, w := range a.winds {
		if len(w) > 0 {
			kept = append(kept, c)
		}
	}
	return a.Ground(kept, true), nil
}

func intricate(err error) error {
	if many := (*overlay.TooManyError)(nil); errors.As(err, &many) {
		return &IntricateError{What: many.What, Count: many.Count, Limit: many.Limit}
	}
	return err
}

// closedRing drops repeated neighbours and closes.
func closedRing(pts []plane.XY) plane.Ring {
	out := slices.Compact(slices.Clone(pts))
	for len(out) > 1 && out[0] == out[len(out)-1] {
		out = out[:len(out)-1]
	}
	if len(out) == 0 {
		return nil
	}
	return append(plane.Ring(out), out[0])
}
