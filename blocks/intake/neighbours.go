package intake

import (
	"context"
	"errors"
	"sort"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/geo/plane"

	"github.com/paulmach/orb"
)

// LeastOverlap is the smallest common ground worth a word: neighbours drawn
// along one fence overlap by centimetres along their whole side.
const LeastOverlap geo.SquareMetres = 1

// mostPairs bounds how many pairs of one file are compared; blocks of a farm
// have a handful of neighbours each.
const mostPairs = 5000

// mostOverlaps bounds how many overlaps are said: who mends two hundred exports
// again, and a file of one outline a thousand times would take minutes.
const mostOverlaps = 200

// mostCompared bounds how many blocks of one file are put beside each other:
// 12 million pairs of boxes take a tenth of a second.
const mostCompared = 5000

var (
	overlapNote = words.New("intake-overlap",
		"Feature {a} and feature {b} overlap by {area}; that ground would be counted twice.",
		"El elemento {a} y el elemento {b} se superponen en {area}; ese terreno se contaría dos veces.")
	notAllCompared = words.New("intake-not-all-compared",
		"Overlaps were looked for in the first {limit} neighbouring pairs only.",
		"Solo se buscaron superposiciones en las primeras {limit} parejas de vecinos.")
	moreOverlaps = words.New("intake-more-overlaps",
		"More blocks may overlap; the first {limit} overlaps are listed.",
		"Puede haber más bloques que se superponen; se indican las primeras {limit} superposiciones.")
	tooManyToCompare = words.New("intake-too-many-to-compare",
		"Overlaps between the blocks of this file were not looked for: it holds more than {limit}.",
		"No se buscaron superposiciones entre los bloques de este archivo: contiene más de {limit}.")
	notCompared = words.New("intake-not-compared",
		"Feature {a} and feature {b} are too intricate to be compared for overlap.",
		"El elemento {a} y el elemento {b} son demasiado complejos para buscar superposiciones.")
)

// Neighbour is a block that is there already.
type Neighbour struct {
	ID      string
	Name    string
	Outline orb.MultiPolygon
}

// Overlap is the ground that an outline shares with a neighbour.
type Overlap struct {
	Neighbour Neighbour
	Area      geo.SquareMetres
}

// Neighbours finds which of the others share at least LeastOverlap of ground
// with an outline, largest first. All outlines have passed Check. Errors:
// the context's, overlay's.
func Neighbours(ctx context.Context, outline orb.Geometry, others []Neighbour) ([]Overlap, error) {
	var found []Overlap
	for _, other := range others {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		area, err := common(ctx, outline, other.Outline)
		if err != nil {
			return nil, err
		}
		if area >= LeastOverlap {
			found = append(found, Overlap{Neighbour: other, Area: area})
		}
	}
	sort.SliceStable(found, func(i, j int) bool { return found[i].Area > found[j].Area })
	return found, nil
}

// common is the area two outlines share; outlines too far apart for one frame
// share none.
func common(ctx context.Context, a, b orb.Geometry) (geo.SquareMetres, error) {
	if !mayMeet(a, b) {
		return 0, nil
	}
	frame, err := plane.FrameOf(a, b)
	var far *plane.FarError
	if errors.As(err, &far) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	ra, err := frame.Region(a)
	if err != nil {
		return 0, err
	}
	rb, err := frame.Region(b)
	if err != nil || !ra.Box().Meets(rb.Box()) {
		return 0, err
	}
	both, err := overlay.Intersection(ctx, ra, rb)
	return both.Area(), err
}

// mayMeet goes by boxes in degrees. A box half the Earth wide belongs to a
// shape across 180 degrees and says nothing.
func mayMeet(a, b orb.Geometry) bool {
	boxA, boxB := a.Bound(), b.Bound()
	wide := func(box orb.Bound) bool { return box.Max[0]-box.Min[0] > 180 }
	return wide(boxA) || wide(boxB) || boxA.Intersects(boxB)
}

// overlaps notes which blocks of the file overlap. They are compared in the
// order of their west edges, so that far ones are never paired.
func (g *gathering) overlaps(ctx context.Context) error {
	if len(g.Blocks) > mostCompared {
		g.note(fault.Detail{Text: tooManyToCompare.With(words.Args{"limit": mostCompared})})
		return nil
	}
	order := make([]int, len(g.Blocks))
	bounds := make([]orb.Bound, len(g.Blocks))
	for i, b := range g.Blocks {
		order[i], bounds[i] = i, b.Geometry.Flat.Bound()
	}
	sort.SliceStable(order, func(i, j int) bool { return bounds[order[i]].Min[0] < bounds[order[j]].Min[0] })
	pairs, from := 0, len(g.Notices)
	for i, a := range order {
		if err := ctx.Err(); err != nil {
			return err
		}
		for _, b := range order[i+1:] {
			if bounds[b].Min[0] > bounds[a].Max[0] {
				break
			}
			if !bounds[a].Intersects(bounds[b]) {
				continue
			}
			if pairs++; pairs > mostPairs {
				g.note(fault.Detail{Text: notAllCompared.With(words.Args{"limit": mostPairs})})
				return nil
			}
			if len(g.Notices)-from >= mostOverlaps {
				g.note(fault.Detail{Text: moreOverlaps.With(words.Args{"limit": mostOverlaps})})
				return nil
			}
			if err := g.overlap(ctx, min(a, b), max(a, b)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (g *gathering) overlap(ctx context.Context, a, b int) error {
	first, second := g.Blocks[a], g.Blocks[b]
	args := words.Args{"a": label(first), "b": label(second)}
	area, err := common(ctx, first.Geometry.Flat, second.Geometry.Flat)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	d := fault.Detail{Feature: fault.P(second.Feature)}
	switch {
	case err != nil:
		d.Text = notCompared.With(args)
	case area >= LeastOverlap:
		args["area"] = squares(area)
		d.Text = overlapNote.With(args)
	default:
		return nil
	}
	g.note(d)
	return nil
}

func label(b ProposedBlock) words.Text {
	if b.Name != "" {
		return named.With(words.Args{"number": b.Feature, "name": b.Name})
	}
	return numbered.With(words.Args{"number": b.Feature})
}
