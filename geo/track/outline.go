package track

import (
	"context"
	"fmt"
	"math"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/geo/repair"

	"github.com/paulmach/orb"
	"github.com/tidwall/rtree"
)

// Outline is the ground a walk went round.
type Outline struct {
	Ring orb.Ring // closed, in the order walked; it may cross itself: see package repair

	// Gap is the straight line between the last fix and the first, before it
	// was drawn to close the ring.
	Gap geo.Metres

	// Laps is how often the walk went round, 1 as a rule. Only the first is kept.
	Laps int

	// Tail is the number of fixes cut off at the end, where the walker went on
	// past the start along what was walked already.
	Tail int

	// Accuracy is the median of the accuracies known, NaN where none is.
	Accuracy geo.Metres

	Heights []float64 // one for each point of Ring, NaN where not known; nil where none is
	Times   []float64 // likewise, Unix seconds
}

// OutlineOptions of AsOutline. The zero value is the usual.
type OutlineOptions struct {
	// MaxGap is the longest straight line drawn between two segments or from
	// the last fix to the first. 0 means the usual: 20 m, which is two
	// fixes each 5 m out, and a gate of 10 m to walk through; or one part in
	// twenty of the way, if that is more, but no more than 100 m, behind
	// which a corner of a quarter of a hectare could hide.
	MaxGap geo.Metres
}

const (
	leastGap geo.Metres = 20
	mostGap  geo.Metres = 100
	gapPart             = 0.05

	// samePath is how near two fixes of the same place lie: each 5 m out.
	samePath geo.Metres = 10

	// leastBreadth is the mean breadth below which a walk went round nothing:
	// no plant row is narrower.
	leastBreadth geo.Metres = 1

	// lapPart is how much of another lap makes it one: the rest is the gap.
	lapPart = 0.9

	// maxReturns bounds how many of the times a walk comes by its start are
	// looked at.
	maxReturns = 64

	// MaxOutlineFixes is as many corners as outlines may have.
	MaxOutlineFixes = repair.MaxCorners - 1
)

// FewError says that there are too few different places for an outline.
type FewError struct{ Count, Needed int }

func (e *FewError) Error() string {
	return fmt.Sprintf("track: %d different places, an outline needs %d", e.Count, e.Needed)
}

// ApartError says that two segments that follow one another lie too far apart
// to be one walk. Segment is the later one, from 0.
type ApartError struct {
	Segment    int
	Gap, Limit geo.Metres
}

func (e *ApartError) Error() string {
	return fmt.Sprintf("track: segment %d begins %.0f m from where the one before ends, at most %.0f m", e.Segment, float64(e.Gap), float64(e.Limit))
}

// GapError says that a walk ended too far from where it began.
type GapError struct{ Gap, Limit geo.Metres }

func (e *GapError) Error() string {
	return fmt.Sprintf("track: the walk ends %.0f m from its start, at most %.0f m", float64(e.Gap), float64(e.Limit))
}

// NoAreaError says that a walk goes round no ground, as one out and back does.
type NoAreaError struct {
	Area    geo.SquareMetres
	Breadth geo.Metres // the mean: twice the area by the length
}

func (e *NoAreaError) Error() string {
	return fmt.Sprintf("track: the walk goes round %.2f m2, %.2f m broad on the mean", float64(e.Area), float64(e.Breadth))
}

// PlaceError says that a fix is no place: it has to be cleaned away first.
type PlaceError struct {
	Segment, Index int // from 0
	Reason         Reason
}

func (e *PlaceError) Error() string {
	return fmt.Sprintf("track: fix %d of segment %d is no place: %s", e.Index, e.Segment, e.Reason)
}

// AsOutline closes a cleaned walk into a ring. Segments are joined in their order
// where one begins near the end of the one before. Where the walk comes by its
// start and all that follows keeps within 10 m of what was walked before, what
// follows is cut off; a walk that ends within 10 m of its start is left whole.
// Errors: the context's, *PlaceError, *FewError, *ApartError, *GapError,
// *NoAreaError, *TooManyError, and plane.FrameOf's for walks over 500 km.
func AsOutline(ctx context.Context, kept [][]Fix, o OutlineOptions) (Outline, error) {
	if n := count(kept); n > MaxOutlineFixes {
		return Outline{}, &TooManyError{Count: n, Limit: MaxOutlineFixes}
	}
	if err := ctx.Err(); err != nil {
		return Outline{}, err
	}
	limit := o.MaxGap
	if !(limit > 0) {
		limit = min(max(leastGap, gapPart*Length(kept)), mostGap)
	}
	fixes, err := joined(kept, limit)
	if err != nil {
		return Outline{}, err
	}
	w, err := newWalk(fixes)
	if err != nil {
		return Outline{}, err
	}
	end, err := w.end(ctx)
	if err != nil {
		return Outline{}, err
	}
	out := Outline{Laps: 1, Tail: len(fixes) - 1 - end, Accuracy: geo.Metres(math.NaN())}
	lap, all := w.way(end), w.way(len(fixes)-1)
	out.Laps += int((all - lap + (1-lapPart)*lap) / lap)
	fixes = fixes[:end+1]
	if out.Gap = measure.Distance(fixes[end].At, fixes[0].At); out.Gap > limit {
		return Outline{}, &GapError{Gap: out.Gap, Limit: limit}
	}
	out.close(fixes)
	return out, enclosesGround(ctx, out.Ring)
}

// joined puts the segments end to end, without places that repeat the one before.
func joined(kept [][]Fix, limit geo.Metres) ([]Fix, error) {
	var out []Fix
	places := map[geo.Position]bool{}
	for k, s := range kept {
		for i, f := range s {
			if why := reason(f); why != "" {
				return nil, &PlaceError{Segment: k, Index: i, Reason: why}
			}
			if i == 0 && len(out) > 0 {
				if gap := measure.Distance(out[len(out)-1].At, f.At); gap > limit {
					return nil, &ApartError{Segment: k, Gap: gap, Limit: limit}
				}
			}
			if len(out) > 0 && out[len(out)-1].At == f.At {
				continue
			}
			places[f.At] = true
			out = append(out, f)
		}
	}
	if len(places) < 3 {
		return nil, &FewError{Count: len(places), Needed: 3}
	}
	return out, nil
}

// walk is a joined walk in metres.
type walk struct {
	at  []plane.XY
	far []geo.Metres // the way to each fix
}

func newWalk(fixes []Fix) (*walk, error) {
	line := make(orb.LineString, len(fixes))
	for i, f := range fixes {
		line[i] = f.At
	}
	frame, err := plane.FrameOf(line)
	if err != nil {
		return nil, err
	}
	w := &walk{at: make([]plane.XY, len(fixes)), far: make([]geo.Metres, len(fixes))}
	for i, f := range fixes {
		w.at[i] = frame.XY(f.At)
		if i > 0 {
			w.far[i] = w.far[i-1] + w.at[i].Distance(w.at[i-1])
		}
	}
	return w, nil
}

func (w *walk) way(i int) geo.Metres { return w.far[i] }

// end is the fix at which the walk had gone round: where it first came by its
// start and then only went where it had been; otherwise the last.
func (w *walk) end(ctx context.Context) (int, error) {
	last := len(w.at) - 1
	var path rtree.RTreeG[int]
	done := 0 // sides in path
	for _, k := range w.returns() {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		for ; done < k; done++ {
			box := plane.NoBox().With(w.at[done]).With(w.at[done+1])
			path.Insert([2]float64{box.Min.X, box.Min.Y}, [2]float64{box.Max.X, box.Max.Y}, done)
		}
		if w.retraces(&path, k) {
			return k, nil
		}
	}
	return last, nil
}

// returns gives, for each time the walk comes within samePath of its start and
// leaves again, the fix nearest to the start.
func (w *walk) returns() []int {
	var out []int
	away := false
	nearest := -1
	for i, p := range w.at {
		d := p.Distance(w.at[0])
		switch {
		case d > 2*samePath:
			if away && nearest >= 0 {
				out = append(out, nearest)
			}
			away, nearest = true, -1
		case away && d <= samePath && (nearest < 0 || d < w.at[nearest].Distance(w.at[0])):
			nearest = i
		}
		if len(out) == maxReturns {
			break
		}
	}
	return out
}

// retraces reports whether all fixes after k lie near the way up to it.
func (w *walk) retraces(path *rtree.RTreeG[int], k int) bool {
	const r = float64(samePath)
	for _, p := range w.at[k+1:] {
		near := p.Distance(w.at[k]) <= samePath
		path.Search([2]float64{p.X - r, p.Y - r}, [2]float64{p.X + r, p.Y + r}, func(_, _ [2]float64, i int) bool {
			near = near || p.Distance(p.NearestOn(w.at[i], w.at[i+1])) <= samePath
			return !near
		})
		if !near {
			return false
		}
	}
	return true
}

func (o *Outline) close(fixes []Fix) {
	var known []float64
	heights, times := false, false
	for _, f := range append(fixes[:len(fixes):len(fixes)], fixes[0]) {
		if n := len(o.Ring); n > 0 && o.Ring[n-1] == f.At {
			continue
		}
		o.Ring = append(o.Ring, f.At)
		o.Heights, o.Times = append(o.Heights, f.Height), append(o.Times, f.Time)
		heights, times = heights || !math.IsNaN(f.Height), times || !math.IsNaN(f.Time)
	}
	for _, f := range fixes {
		if f.Accuracy >= 0 {
			known = append(known, f.Accuracy)
		}
	}
	if !heights {
		o.Heights = nil
	}
	if !times {
		o.Times = nil
	}
	if len(known) > 0 {
		o.Accuracy = geo.Metres(median(known))
	}
}

// enclosesGround looks twice at rings that seem thin: the loops of an eight
// cancel by plain arithmetic.
func enclosesGround(ctx context.Context, ring orb.Ring) error {
	signed, length := measure.SignedRing(ring)
	area := geo.SquareMetres(math.Abs(float64(signed)))
	breadth := func() geo.Metres { return geo.Metres(2 * float64(area) / float64(length)) }
	if breadth() >= leastBreadth {
		return nil
	}
	res, err := repair.Outline(ctx, orb.MultiPolygon{{ring}})
	if err != nil {
		return err
	}
	if area = res.After; breadth() >= leastBreadth {
		return nil
	}
	return &NoAreaError{Area: area, Breadth: breadth()}
}
