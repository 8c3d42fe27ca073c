// Package cluster finds density clusters of points in metres: DBSCAN (Ester,
// Kriegel, Sander and Xu 1996; Schubert and others 2017, ACM TODS 42(3):19)
// with an ellipse for a neighbourhood, because plants stand three feet apart
// in a row and ten feet apart across rows.
package cluster

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"
)

// Slack is how far beyond the reach a point still counts as reached, and how
// near two distances must be to be equal, as a part of the reach. Distances on
// a planting lattice fall on the reach exactly; coordinates of a million metres
// carry 1e-10 m of rounding, and nobody plants to a nanometre.
const Slack = 1e-9

// weightSlack forgives the rounding of sums of weights, as a part of MinFinds.
const weightSlack = 1e-9

// limit is the squared distance that still counts as reached.
const limit = (1 + Slack) * (1 + Slack)

// maxComparisons bounds the work: some seconds on one core. Ordinary maps of a
// million points need a hundredth of it.
const maxComparisons = 4_000_000_000

// patience is how many comparisons, or cells, pass between looks at the
// context: a fraction of a millisecond.
const patience = 1 << 16

// Errors of Dense, wrapped with what was given.
var (
	ErrReach  = errors.New("reach must be a positive finite number of metres")
	ErrFinds  = errors.New("the least number of finds must be 1 or more")
	ErrPoint  = errors.New("point is not finite")
	ErrWeight = errors.New("weight is not a finite number of 0 or more")
	ErrLength = errors.New("weights or ranks do not match the points in number")
	ErrSpread = errors.New("points spread too wide for so small a reach")
	ErrCostly = errors.New("too many points crowd together for so many finds")
)

// Params are the rules of one clustering.
type Params struct {
	// Along and Across are the half axes of the neighbourhood in X and in Y:
	// a point is reached when (dx/Along)^2 + (dy/Across)^2 <= 1, the edge
	// counting as inside.
	Along, Across geo.Metres
	// MinFinds is the least weight inside a point's neighbourhood, its own
	// included, that makes it a core point.
	MinFinds int
	// Weights of the points; nil gives each 1.
	Weights []float64
	// Rank orders points for numbering, lower first. Points of equal rank, and
	// all of them when it is nil, go by Y, then by X.
	Rank []int
}

// Result is one clustering, in the order of the points given.
type Result struct {
	Labels []int  // cluster of each point from 0, -1 for none
	Core   []bool // whether the point is a core point
	N      int    // how many clusters
}

// Dense clusters the points. Core points within reach of each other share a
// cluster; any other point within reach of a core point joins the cluster of
// the nearest one, on equal distances the cluster of the lower number; the
// rest have none. Clusters are numbered by their first member (for settling
// equal distances: by their first member that needed no settling). Neither
// labels nor numbers depend on the order of the points. Points may coincide.
// No points give an empty result.
//
// Errors: those above, and the context's. Cost: n log n for the points plus
// comparisons within a few reaches; ErrCostly bounds it.
func Dense(ctx context.Context, points []plane.XY, p Params) (Result, error) {
	if err := check(points, p); err != nil {
		return Result{}, err
	}
	if len(points) == 0 {
		return Result{Labels: []int{}, Core: []bool{}}, nil
	}
	spots, err := scale(points, p)
	if err != nil {
		return Result{}, err
	}
	r := run{ctx: ctx, grid: newGrid(spots, p.Weights), points: points, rank: p.Rank,
		need: float64(p.MinFinds) * (1 - weightSlack)}
	for _, pass := range []func() error{r.markCores, r.joinCores, r.labelPoints} {
		if err := pass(); err != nil {
			return Result{}, err
		}
	}
	return r.result(), nil
}

func check(points []plane.XY, p Params) error {
	for _, reach := range []geo.Metres{p.Along, p.Across} {
		if !(reach > 0) || math.IsInf(float64(reach), 0) {
			return fmt.Errorf("%w: %v", ErrReach, float64(reach))
		}
	}
	if p.MinFinds < 1 {
		return fmt.Errorf("%w: %d", ErrFinds, p.MinFinds)
	}
	if p.Weights != nil && len(p.Weights) != len(points) || p.Rank != nil && len(p.Rank) != len(points) {
		return fmt.Errorf("%w: %d points, %d weights, %d ranks", ErrLength, len(points), len(p.Weights), len(p.Rank))
	}
	if len(points) > math.MaxInt32 {
		return fmt.Errorf("%w: %d points", ErrCostly, len(points))
	}
	for i, xy := range points {
		if !finite(xy.X) || !finite(xy.Y) {
			return fmt.Errorf("%w: number %d at (%v, %v)", ErrPoint, i, xy.X, xy.Y)
		}
	}
	for i, w := range p.Weights {
		if !finite(w) || w < 0 {
			return fmt.Errorf("%w: number %d is %v", ErrWeight, i, w)
		}
	}
	return nil
}

func finite(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }

// scale brings the points into units of the reach, from their lower left
// corner, which keeps the digits of large coordinates.
func scale(points []plane.XY, p Params) ([]spot, error) {
	low := points[0]
	for _, xy := range points {
		low.X, low.Y = min(low.X, xy.X), min(low.Y, xy.Y)
	}
	spots := make([]spot, len(points))
	for i, xy := range points {
		spots[i] = spot{(xy.X - low.X) / float64(p.Along), (xy.Y - low.Y) / float64(p.Across)}
		if !(spots[i].u < maxCells*cellSide && spots[i].v < maxCells*cellSide) {
			return nil, fmt.Errorf("%w: number %d at (%v, %v)", ErrSpread, i, xy.X, xy.Y)
		}
	}
	return spots, nil
}

// run is one clustering under way.
type run struct {
	*grid
	ctx         context.Context
	points      []plane.XY // in the caller's order
	rank        []int
	need        float64
	comparisons int64
	label       []int32 // per sorted point: a cell, root of its cluster, or -1
	contested   []contest
	near        []int32 // scratch
	rivals      []int32 // scratch
}

// contest is a point with equally near core points of several clusters.
type contest struct {
	point int32
	roots []int32
}

// spend counts work done and says when to stop, and why.
func (r *run) spend(comparisons int) error {
	before := r.comparisons
	r.comparisons += int64(comparisons)
	if r.comparisons > maxComparisons {
		return fmt.Errorf("%w: over %d comparisons", ErrCostly, int64(maxComparisons))
	}
	if r.comparisons/patience != before/patience {
		return r.ctx.Err()
	}
	return nil
}

// markCores moves the core points of each cell to its front.
func (r *run) markCores() error {
	var s sweep
	for i := range r.cells {
		if err := r.spend(1); err != nil {
			return err
		}
		c := &r.cells[i]
		if c.weight >= r.need {
			c.cores = c.to - c.from
			continue
		}
		around := r.around(i, &s)
		if err := r.markCell(c, around); err != nil {
			return err
		}
	}
	return nil
}

func (r *run) markCell(c *cell, around []int32) error {
	total := c.weight
	for _, n := range around {
		total += r.cells[n].weight
	}
	if total < r.need {
		return nil
	}
	for k := c.from; k < c.to; k++ {
		core, compared := r.isCore(c, r.spots[k], around)
		if err := r.spend(compared); err != nil {
			return err
		}
		if core {
			r.swap(k, c.from+c.cores)
			c.cores++
		}
	}
	return nil
}

// fewPoints is the size of a cell up to which looking at its points is no
// dearer than looking at its box.
const fewPoints = 3

func (r *run) isCore(c *cell, p spot, around []int32) (core bool, compared int) {
	sum := c.weight
	for _, n := range around {
		d := &r.cells[n]
		if d.to-d.from > fewPoints {
			compared++
			if d.nearest(p) > limit {
				continue
			}
			if d.farthest(p) <= limit {
				if sum += d.weight; sum >= r.need {
					return true, compared
				}
				continue
			}
		}
		for k := d.from; k < d.to; k++ {
			if p.squared(r.spots[k]) <= limit {
				if r.weight == nil {
					sum++
				} else {
					sum += r.weight[k]
				}
				if sum >= r.need {
					return true, compared + int(k-d.from)
				}
			}
		}
		compared += int(d.to - d.from)
	}
	return sum >= r.need, compared
}

func (r *run) swap(a, b int32) {
	r.spots[a], r.spots[b] = r.spots[b], r.spots[a]
	r.origin[a], r.origin[b] = r.origin[b], r.origin[a]
	if r.weight != nil {
		r.weight[a], r.weight[b] = r.weight[b], r.weight[a]
	}
}

// joinCores unites cells that hold core points within reach of each other; the
// core points of one cell are within reach by the cell's size.
func (r *run) joinCores() error {
	var s sweep
	for i := range r.cells {
		if err := r.spend(1); err != nil {
			return err
		}
		if r.cells[i].cores == 0 {
			continue
		}
		for _, n := range r.around(i, &s) {
			if n < int32(i) || r.cells[n].cores == 0 || r.root(n) == r.root(int32(i)) {
				continue
			}
			meet, compared := r.meet(&r.cells[i], &r.cells[n])
			if err := r.spend(compared); err != nil {
				return err
			}
			if meet {
				r.join(int32(i), n)
			}
		}
	}
	return nil
}

// meet reports whether core points of the two cells are within reach.
func (r *run) meet(c, d *cell) (meet bool, compared int) {
	if c.apart(d) > limit {
		return false, 1
	}
	theirs := r.spots[d.from : d.from+d.cores]
	for _, p := range r.spots[c.from : c.from+c.cores] {
		compared++
		if d.nearest(p) > limit {
			continue
		}
		for k, q := range theirs {
			if p.squared(q) <= limit {
				return true, compared + k
			}
		}
		compared += len(theirs)
	}
	return false, compared
}

// labelPoints gives each sorted point the root of its cluster; contests wait
// until the clusters have numbers.
func (r *run) labelPoints() error {
	r.label = make([]int32, len(r.spots))
	var s sweep
	for i := range r.cells {
		if err := r.spend(1); err != nil {
			return err
		}
		c := &r.cells[i]
		root := r.root(int32(i))
		for k := c.from; k < c.from+c.cores; k++ {
			r.label[k] = root
		}
		if c.from+c.cores == c.to {
			continue
		}
		around := r.around(i, &s)
		for k := c.from + c.cores; k < c.to; k++ {
			if err := r.labelBorder(k, int32(i), around); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *run) labelBorder(k, own int32, around []int32) error {
	p, best, compared := r.spots[k], limit, 0
	r.near = append(r.near[:0], own)
	r.near = append(r.near, around...)
	keep := r.near[:0]
	for _, n := range r.near {
		d := &r.cells[n]
		if compared++; d.cores == 0 || d.nearest(p) > equalTo(best) {
			continue
		}
		keep = append(keep, n)
		for _, q := range r.spots[d.from : d.from+d.cores] {
			best = min(best, p.squared(q))
		}
		compared += int(d.cores)
	}
	r.label[k] = -1
	rivals := r.rivals[:0]
	for _, n := range keep {
		root := r.root(n)
		if root == r.label[k] || slices.Contains(rivals, root) || !r.holds(&r.cells[n], p, equalTo(best)) {
			continue
		}
		if r.label[k] < 0 {
			r.label[k] = root
		}
		rivals = append(rivals, root)
		compared += int(r.cells[n].cores)
	}
	if len(rivals) > 1 {
		r.contested = append(r.contested, contest{k, slices.Clone(rivals)})
	}
	r.rivals = rivals
	return r.spend(compared)
}

// equalTo is the largest squared distance counted as equal to this one.
func equalTo(squared float64) float64 {
	d := math.Sqrt(squared) + Slack
	return min(d*d, limit)
}

func (r *run) holds(d *cell, p spot, within float64) bool {
	for _, q := range r.spots[d.from : d.from+d.cores] {
		if p.squared(q) <= within {
			return true
		}
	}
	return false
}

// before is the order that numbers clusters, over points as the caller counts.
func (r *run) before(a, b int32) bool {
	if r.rank != nil && r.rank[a] != r.rank[b] {
		return r.rank[a] < r.rank[b]
	}
	p, q := r.points[a], r.points[b]
	if p.Y != q.Y {
		return p.Y < q.Y
	}
	return p.X < q.X
}

// numbering gives each root its number, by first member.
func (r *run) numbering(first []int32) (number []int, n int) {
	var roots []int32
	for root, p := range first {
		if p >= 0 {
			roots = append(roots, int32(root))
		}
	}
	slices.SortFunc(roots, func(a, b int32) int {
		if r.before(first[a], first[b]) {
			return -1
		}
		return 1
	})
	number = make([]int, len(first))
	for i, root := range roots {
		number[root] = i
	}
	return number, len(roots)
}

func (r *run) result() Result {
	first := make([]int32, len(r.cells))
	for i := range first {
		first[i] = -1
	}
	enter := func(k int32) {
		root := r.label[k]
		if f := first[root]; f < 0 || r.before(r.origin[k], f) {
			first[root] = r.origin[k]
		}
	}
	for _, c := range r.contested {
		r.label[c.point] = -1
	}
	for k, root := range r.label {
		if root >= 0 {
			enter(int32(k))
		}
	}
	number, n := r.numbering(first)
	for _, c := range r.contested {
		r.label[c.point] = slices.MinFunc(c.roots, func(a, b int32) int { return number[a] - number[b] })
		enter(c.point)
	}
	if len(r.contested) > 0 {
		number, n = r.numbering(first)
	}
	result := Result{Labels: make([]int, len(r.spots)), Core: make([]bool, len(r.spots)), N: n}
	for k, o := range r.origin {
		result.Labels[o] = -1
		if root := r.label[k]; root >= 0 {
			result.Labels[o] = number[root]
		}
	}
	for _, c := range r.cells {
		for k := c.from; k < c.from+c.cores; k++ {
			result.Core[r.origin[k]] = true
		}
	}
	return result
}
