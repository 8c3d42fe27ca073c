package cluster

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// cellSide is the side of a grid cell when the reach is 1: the largest side
// for which any two points of one cell are within reach of each other, so that
// a crowded cell needs no comparisons at all.
const cellSide = math.Sqrt2 / 2

// cellReach is how many cells away a point within reach can lie:
// 1/cellSide = 1.41, and Slack does not carry it to 2.
const cellReach = 2

// maxCells bounds the cells on one side of the grid, so that a cell's number
// fits 64 bits: at 1 cm reach still thousands of kilometres.
const maxCells = 1 << 30

// spot is a point in units of the reach.
type spot struct{ u, v float64 }

func (p spot) squared(q spot) float64 {
	du, dv := p.u-q.u, p.v-q.v
	return du*du + dv*dv
}

// cell is a stretch of the sorted points with the box they really fill.
type cell struct {
	from, to       int32 // points in sorted order
	cores          int32 // how many of them, standing first, are core
	row            int32 // index into grid.rows
	lowU, highU    float64
	lowV, highV    float64
	weight         float64
	cluster, ranks int32 // union-find parent and rank, over cells
}

// nearest is the least squared distance from p to the cell's points' box.
func (c *cell) nearest(p spot) float64 {
	du := max(c.lowU-p.u, 0, p.u-c.highU)
	dv := max(c.lowV-p.v, 0, p.v-c.highV)
	return du*du + dv*dv
}

// farthest bounds the squared distance from p to the cell's points.
func (c *cell) farthest(p spot) float64 {
	du := max(p.u-c.lowU, c.highU-p.u)
	dv := max(p.v-c.lowV, c.highV-p.v)
	return du*du + dv*dv
}

// apart is the least squared distance between two cells' boxes.
func (c *cell) apart(d *cell) float64 {
	du := max(c.lowU-d.highU, 0, d.lowU-c.highU)
	dv := max(c.lowV-d.highV, 0, d.lowV-c.highV)
	return du*du + dv*dv
}

// strip is one row of cells, in ascending x.
type strip struct {
	y        int64
	from, to int32
}

// grid holds the points sorted by cell; only cells with points exist, so that
// its size follows the points and not the ground they span.
type grid struct {
	spots  []spot
	weight []float64 // nil: every point counts 1
	origin []int32   // index of each sorted point in the caller's order
	cells  []cell
	column []int32 // of each cell; apart from cells, so that a search stays in the cache
	rows   []strip
}

func newGrid(at []spot, weights []float64) *grid {
	g := &grid{spots: make([]spot, len(at))}
	keys, width := cellKeys(at)
	keys, g.origin = sortByKey(keys)
	if weights != nil {
		g.weight = make([]float64, len(at))
	}
	for i, o := range g.origin {
		g.spots[i] = at[o]
		if weights != nil {
			g.weight[i] = weights[o]
		}
	}
	g.cut(keys, width)
	return g
}

// cellKeys numbers each point's cell row by row, and gives the cells in a row.
func cellKeys(at []spot) (keys []uint64, width uint64) {
	keys = make([]uint64, len(at))
	for _, p := range at {
		width = max(width, uint64(p.u/cellSide)+1)
	}
	for i, p := range at {
		keys[i] = uint64(p.v/cellSide)*width + uint64(p.u/cellSide)
	}
	return keys, width
}

// sortByKey gives the keys sorted and the order they came from; equal keys keep
// their order. Radix sort: n log n comparisons would cost more than all the
// rest at a million points. It uses the keys given as room to work in.
func sortByKey(keys []uint64) (sorted []uint64, order []int32) {
	const digit = 11
	order = make([]int32, len(keys))
	highest := uint64(0)
	for i, k := range keys {
		order[i] = int32(i)
		highest = max(highest, k)
	}
	if len(keys) < 1<<digit {
		slices.SortStableFunc(order, func(a, b int32) int { return cmp.Compare(keys[a], keys[b]) })
		slices.Sort(keys)
		return keys, order
	}
	otherKeys, otherOrder := make([]uint64, len(keys)), make([]int32, len(keys))
	for shift := 0; shift < bits.Len64(highest); shift += digit {
		var start [1 << digit]int32
		for _, k := range keys {
			start[k>>shift&(1<<digit-1)]++
		}
		sum := int32(0)
		for d, n := range start {
			start[d] = sum
			sum += n
		}
		for i, k := range keys {
			d := k >> shift & (1<<digit - 1)
			otherKeys[start[d]], otherOrder[start[d]] = k, order[i]
			start[d]++
		}
		keys, otherKeys = otherKeys, keys
		order, otherOrder = otherOrder, order
	}
	return keys, order
}

// cut makes cells and rows from the sorted points.
func (g *grid) cut(keys []uint64, width uint64) {
	count := 1
	for i := 1; i < len(keys); i++ {
		if keys[i] != keys[i-1] {
			count++
		}
	}
	g.cells, g.column = make([]cell, 0, count), make([]int32, 0, count)
	for from := 0; from < len(keys); {
		to := from + 1
		for to < len(keys) && keys[to] == keys[from] {
			to++
		}
		y := int64(keys[from] / width)
		if n := len(g.rows); n == 0 || g.rows[n-1].y != y {
			g.rows = append(g.rows, strip{y: y, from: int32(len(g.cells))})
		}
		g.column = append(g.column, int32(keys[from]%width))
		g.cells = append(g.cells, g.fill(from, to))
		g.rows[len(g.rows)-1].to = int32(len(g.cells))
		from = to
	}
}

func (g *grid) fill(from, to int) cell {
	first := g.spots[from]
	c := cell{from: int32(from), to: int32(to), row: int32(len(g.rows) - 1), cluster: int32(len(g.cells)),
		lowU: first.u, highU: first.u, lowV: first.v, highV: first.v, weight: float64(to - from)}
	for _, p := range g.spots[from+1 : to] {
		c.lowU, c.highU = min(c.lowU, p.u), max(c.highU, p.u)
		c.lowV, c.highV = min(c.lowV, p.v), max(c.highV, p.v)
	}
	if g.weight != nil {
		c.weight = 0
		for _, w := range g.weight[from:to] {
			c.weight += w
		}
	}
	return c
}

// sweep walks the cells in order and keeps, for each of the rows around, where
// it stands: finding neighbours costs no search.
type sweep struct {
	row   int32
	rows  []int32 // rows within reach of the present one
	next  []int32 // first cell of each not yet left behind
	found []int32
}

// around gives the cells within cellReach of cell i, itself left out. Calls
// must come in ascending i. The slice is good until the next call.
func (g *grid) around(i int, s *sweep) []int32 {
	if row := g.cells[i].row; len(s.rows) == 0 || s.row != row {
		s.enter(g, row)
	}
	s.found = s.found[:0]
	west, east := g.column[i]-cellReach, g.column[i]+cellReach
	for k, r := range s.rows {
		n, end := s.next[k], g.rows[r].to
		for n < end && g.column[n] < west {
			n++
		}
		s.next[k] = n
		for ; n < end && g.column[n] <= east; n++ {
			if n != int32(i) {
				s.found = append(s.found, n)
			}
		}
	}
	return s.found
}

func (s *sweep) enter(g *grid, row int32) {
	s.row, s.rows, s.next = row, s.rows[:0], s.next[:0]
	y := g.rows[row].y
	for r := max(0, row-cellReach); r <= row+cellReach && int(r) < len(g.rows); r++ {
		if d := g.rows[r].y - y; -cellReach <= d && d <= cellReach {
			s.rows = append(s.rows, r)
			s.next = append(s.next, g.rows[r].from)
		}
	}
}

func (g *grid) root(i int32) int32 {
	for g.cells[i].cluster != i {
		g.cells[i].cluster = g.cells[g.cells[i].cluster].cluster
		i = g.cells[i].cluster
	}
	return i
}

func (g *grid) join(a, b int32) {
	if a, b = g.root(a), g.root(b); a == b {
		return
	}
	if g.cells[a].ranks < g.cells[b].ranks {
		a, b = b, a
	}
	if g.cells[a].ranks == g.cells[b].ranks {
		g.cells[a].ranks++
	}
	g.cells[b].cluster = a
}
