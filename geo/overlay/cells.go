package overlay

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"caneward/geo/plane"
)

// maxPartCrossings bounds where edges meet in one Part: a few tenths of a second
// on one core of a small machine.
const maxPartCrossings = 5 * MaxCrossings

// Parting is ground parted by regions that lie over it. It is not for several
// goroutines at once.
type Parting struct {
	Cells []Cell
	faces *parted
	marks [][]int // cycles of each cell
}

// Cell is all of the ground that the same regions lie over.
type Cell struct {
	Over   []int // numbers of the regions, ascending
	Ground plane.Region
}

// RegionError says which of the regions over the ground could not be worked with.
type RegionError struct {
	Region int
	Err    error
}

func (e *RegionError) Error() string { return fmt.Sprintf("region %d: %v", e.Region, e.Err) }

// Unwrap gives what went wrong.
func (e *RegionError) Unwrap() error { return e.Err }

// Part parts ground by regions. The cells do not overlap and add up to the ground;
// those with earlier regions over them come first. The regions may overlap each
// other and reach past the ground. Errors: the context's, *TooManyError,
// *RegionError for a region that is not valid.
func Part(ctx context.Context, ground plane.Region, over []plane.Region) (*Parting, error) {
	if err := ctx.Err(); err != nil || len(ground) == 0 {
		return &Parting{}, err
	}
	all, total := []plane.Region{ground}, ground.Vertices()
	box := ground.Box()
	for _, r := range over {
		close, _ := split(r, box)
		all = append(all, close)
		total += close.Vertices()
	}
	if total > MaxVertices {
		return nil, &TooManyError{What: Corners, Count: total, Limit: MaxVertices}
	}
	faces, err := parting(ctx, all, maxPartCrossings)
	switch {
	case isUnsure(err):
		return partInTurn(ctx, ground, all[1:])
	case err != nil:
		return nil, err
	}
	p := &Parting{faces: faces}
	byOver := map[string]int{}
	var key []byte
	for c, w := range faces.over {
		if !w.has(0) {
			continue
		}
		var over []int
		key = key[:0]
		for _, r := range w {
			if r.region > 0 && r.times > 0 {
				over = append(over, int(r.region)-1)
				key = binary.LittleEndian.AppendUint32(key, uint32(r.region))
			}
		}
		at, ok := byOver[string(key)]
		if !ok {
			at = len(p.Cells)
			byOver[string(key)] = at
			p.Cells, p.marks = append(p.Cells, Cell{Over: over}), append(p.marks, nil)
		}
		p.marks[at] = append(p.marks[at], c)
	}
	order := make([]int, len(p.Cells))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int { return earlierFirst(p.Cells[i].Over, p.Cells[j].Over) })
	cells, marks := p.Cells, p.marks
	p.Cells, p.marks = nil, nil
	for _, i := range order {
		cells[i].Ground = faces.Ground(marks[i], true)
		p.Cells, p.marks = append(p.Cells, cells[i]), append(p.marks, marks[i])
	}
	return p, nil
}

func earlierFirst(a, b []int) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return a[i] - b[i]
		}
	}
	return len(b) - len(a)
}

// partInTurn parts the ground by one region after the other.
func partInTurn(ctx context.Context, ground plane.Region, over []plane.Region) (*Parting, error) {
	cells := []Cell{{Ground: ground}}
	for i, r := range over {
		var next []Cell
		for _, c := range cells {
			inside, outside, err := Cut(ctx, c.Ground, r)
			var many *TooManyError
			switch {
			case ctx.Err() != nil, errors.As(err, &many):
				return nil, err
			case err != nil:
				return nil, &RegionError{Region: i, Err: err}
			}
			if len(inside) > 0 {
				next = append(next, Cell{append(slices.Clone(c.Over), i), inside})
			}
			if len(outside) > 0 {
				next = append(next, Cell{c.Over, outside})
			}
		}
		if cells = next; len(cells) > maxPartCrossings {
			return nil, &TooManyError{What: Pieces, Count: len(cells), Limit: maxPartCrossings}
		}
	}
	return &Parting{Cells: cells}, nil
}

// Join is the ground of the cells with these numbers, neighbours joined where the
// parting knows them.
func (p *Parting) Join(cells ...int) plane.Region {
	if len(cells) == 1 {
		return p.Cells[cells[0]].Ground
	}
	if p.faces == nil {
		var out plane.Region
		for _, i := range cells {
			out = append(out, p.Cells[i].Ground...)
		}
		return out
	}
	var cycles []int
	for _, i := range cells {
		cycles = append(cycles, p.marks[i]...)
	}
	return p.faces.Ground(cycles, true)
}
