package address

import (
	"math"
	"slices"

	"caneward/geo/plane"
)

// point is a place: index of its row and its number there.
type point struct {
	at         plane.XY
	row, plant int32
}

// grid holds points by square cells of about two each. Plants stand so evenly
// that the nearest is in the cell asked for or beside it.
type grid struct {
	points []point // by cell, within a cell as they came
	starts []int32 // of each cell's points, and the end
	low    plane.XY
	side   float64
	nx, ny int
}

// perCell is about how many points a cell holds on ground planted evenly.
const perCell = 2

func newGrid(points []point) grid {
	if len(points) == 0 {
		return grid{}
	}
	box := plane.NoBox()
	for _, p := range points {
		box = box.With(p.at)
	}
	n, size := float64(len(points)), box.Max.Minus(box.Min)
	// One row alone has no width: then cells follow its length.
	side := math.Max(math.Sqrt(size.X*size.Y*perCell/n), math.Max(size.X, size.Y)*perCell/n)
	if side <= 0 {
		side = 1
	}
	g := grid{low: box.Min, side: side, nx: int(size.X/side) + 1, ny: int(size.Y/side) + 1}
	cells := make([]int32, len(points))
	g.starts = make([]int32, g.nx*g.ny+1)
	for i, p := range points {
		cx, cy := g.cell(p.at)
		cells[i] = int32(cy*g.nx + cx)
		g.starts[cells[i]+1]++
	}
	for c := 1; c < len(g.starts); c++ {
		g.starts[c] += g.starts[c-1]
	}
	next := slices.Clone(g.starts)
	g.points = make([]point, len(points))
	for i, p := range points {
		g.points[next[cells[i]]] = p
		next[cells[i]]++
	}
	return g
}

// cell is the cell nearest to a place.
func (g *grid) cell(q plane.XY) (cx, cy int) {
	clamp := func(v float64, n int) int { return int(math.Min(math.Max(v, 0), float64(n-1))) }
	return clamp((q.X-g.low.X)/g.side, g.nx), clamp((q.Y-g.low.Y)/g.side, g.ny)
}

// candidate is a point found and its squared distance.
type candidate struct {
	squared float64
	index   int32
}

func (g *grid) less(a, b candidate) bool {
	if a.squared != b.squared {
		return a.squared < b.squared
	}
	p, q := g.points[a.index], g.points[b.index]
	if p.row != q.row {
		return p.row < q.row
	}
	return p.plant < q.plant
}

// nearest looks through rings of cells round the place until what is left is
// farther than the n found.
func (g *grid) nearest(q plane.XY, n int) []candidate {
	if n < 1 {
		return nil
	}
	best := make([]candidate, 0, n)
	take := func(i int32) {
		d := g.points[i].at.Minus(q)
		c := candidate{d.Dot(d), i}
		if len(best) == n {
			if !g.less(c, best[n-1]) {
				return
			}
			best = best[:n-1]
		}
		k := len(best)
		best = append(best, c)
		for ; k > 0 && g.less(c, best[k-1]); k-- {
			best[k] = best[k-1]
		}
		best[k] = c
	}
	cx, cy := g.cell(q)
	for r := 0; ; r++ {
		for y := max(0, cy-r); y <= min(g.ny-1, cy+r); y++ {
			step := 1
			if y != cy-r && y != cy+r {
				step = max(1, 2*r) // the ring's two sides only
			}
			for x := cx - r; x <= cx+r; x += step {
				if x < 0 || x >= g.nx {
					continue
				}
				c := y*g.nx + x
				for i := g.starts[c]; i < g.starts[c+1]; i++ {
					take(i)
				}
			}
		}
		if left := g.beyond(q, cx, cy, r); math.IsInf(left, 1) || len(best) == n && best[n-1].squared < left*left {
			return best
		}
	}
}

// beyond is the least distance from q to a cell outside the ring, at least 0;
// infinite when no cell is left.
func (g *grid) beyond(q plane.XY, cx, cy, r int) float64 {
	left := math.Inf(1)
	side := func(exists bool, distance float64) {
		if exists {
			left = math.Min(left, math.Max(0, distance))
		}
	}
	side(cx-r > 0, q.X-(g.low.X+float64(cx-r)*g.side))
	side(cy-r > 0, q.Y-(g.low.Y+float64(cy-r)*g.side))
	side(cx+r < g.nx-1, g.low.X+float64(cx+r+1)*g.side-q.X)
	side(cy+r < g.ny-1, g.low.Y+float64(cy+r+1)*g.side-q.Y)
	return left
}
