package overlay

import (
	"cmp"
	"context"
	"math"
	"slices"

	"caneward/geo"
	"caneward/geo/plane"
)

// parted is the plane parted by regions: the faces between their edges, and which
// regions lie over each.
type parted struct {
	*Faces
	over []winding // by cycle
}

// winding tells how often each region's rings wind round a place; regions whose
// rings do not are left out. They ascend.
type winding []wound

type wound struct{ region, times int32 }

// plus adds one winding to another, so many times.
func (w winding) plus(o winding, times int32) winding {
	out := make(winding, 0, len(w)+len(o))
	i, j := 0, 0
	for i < len(w) || j < len(o) {
		switch {
		case j == len(o) || i < len(w) && w[i].region < o[j].region:
			out = append(out, w[i])
			i++
		case i == len(w) || o[j].region < w[i].region:
			out = append(out, wound{o[j].region, times * o[j].times})
			j++
		default:
			if sum := w[i].times + times*o[j].times; sum != 0 {
				out = append(out, wound{w[i].region, sum})
			}
			i++
			j++
		}
	}
	return out
}

// equals reports whether w is a with so many times o.
func (w winding) equals(a, o winding, times int32) bool {
	i, j, k := 0, 0, 0
	for i < len(a) || j < len(o) {
		var region, sum int32
		switch {
		case j == len(o) || i < len(a) && a[i].region < o[j].region:
			region, sum = a[i].region, a[i].times
			i++
		case i == len(a) || o[j].region < a[i].region:
			region, sum = o[j].region, times*o[j].times
			j++
		default:
			region, sum = a[i].region, a[i].times+times*o[j].times
			i++
			j++
		}
		if sum == 0 {
			continue
		}
		if k == len(w) || w[k] != (wound{region, sum}) {
			return false
		}
		k++
	}
	return k == len(w)
}

func (w winding) has(region int) bool {
	for _, r := range w {
		if int(r.region) == region {
			return r.times > 0
		}
	}
	return false
}

// any reports whether some region lies over the place.
func (w winding) any() bool {
	return slices.ContainsFunc(w, func(r wound) bool { return r.times > 0 })
}

// near is how near two places are taken for one, so that crossings of more than two
// edges, and edges along each other, meet in one node: a nanometre, far more than
// the rounding of a crossing within hundreds of kilometres of the frame's origin
// and a millionth of what anybody could measure.
const near = 1e-9

// unsure says that a parting does not hold together. The engine is asked instead.
type unsure string

func (u unsure) Error() string { return "overlay: the faces do not hold together: " + string(u) }

// parting finds the faces. It is quick and takes nothing on trust: the faces must lie
// round their nodes as in a plane (Euler), the windings must agree over every edge,
// and the faces under each region must add up to its area. Else it gives unsure.
// Other errors: the context's, *TooManyError past the crossings given.
func parting(ctx context.Context, regions []plane.Region, crossings int) (*parted, error) {
	total := 0
	for _, r := range regions {
		total += r.Vertices()
	}
	n := &noder{most: crossings, points: make([]plane.XY, 0, total+total/4), chords: make([]chord, 0, total)}
	for i, r := range regions {
		n.add(int32(i), r)
	}
	for _, p := range n.points {
		if !p.Finite() {
			return nil, unsure("a corner is no number")
		}
	}
	if err := n.meet(ctx); err != nil {
		return nil, err
	}
	f, deltas := n.faces()
	p := &parted{Faces: f, over: make([]winding, f.Cycles())}
	if err := p.wind(deltas); err != nil {
		return nil, err
	}
	return p, p.addUp(regions)
}

// addUp holds the faces under each region against its area.
func (p *parted) addUp(regions []plane.Region) error {
	sums := make([]float64, len(regions))
	for c, w := range p.over {
		if len(w) == 0 {
			continue
		}
		area := p.area(c)
		for _, r := range w {
			if r.times > 0 {
				sums[r.region] += area
			}
		}
	}
	for i, r := range regions {
		if err := agree("faces", r.Area(), geo.SquareMetres(sums[i])); err != nil {
			return unsure(err.Error())
		}
	}
	return nil
}

// ground joins the faces under the regions that take says.
func (p *parted) ground(take func(winding) bool) plane.Region {
	var cycles []int
	for c, w := range p.over {
		if take(w) {
			cycles = append(cycles, c)
		}
	}
	return p.Ground(cycles, true)
}

// chord is an edge of a ring by its ends: points before, nodes after the merging.
type chord struct {
	a, b   int32
	region int32
	way    int32 // 1, or -1 where the ring runs against its sense
}

// noder cuts edges where they meet.
type noder struct {
	points []plane.XY
	chords []chord
	given  int     // points that are corners; crossings come after them
	node   []int32 // by point: the point that stands for it
	cuts   []cut
	most   int // crossings
}

// cut is a node on a chord, so far along it.
type cut struct {
	chord, node int32
	along       float64
}

// add takes the rings of a region, each in its sense: shells counter-clockwise,
// holes clockwise, however they run.
func (n *noder) add(region int32, r plane.Region) {
	for _, poly := range r {
		for i, ring := range poly {
			way := int32(1)
			if (ring.SignedArea() < 0) != (i > 0) {
				way = -1
			}
			first := int32(len(n.points))
			for k := 0; k+1 < len(ring); k++ {
				n.points = append(n.points, ring[k])
			}
			last := int32(len(n.points))
			for k := first; k < last; k++ {
				to := k + 1
				if to == last {
					to = first
				}
				n.chords = append(n.chords, chord{k, to, region, way})
			}
		}
	}
}

// maxLooks bounds the pairs of edges held against each other: half a second.
const maxLooks = 100_000_000

// merge names for every point the earliest one that lies as good as there.
func (n *noder) merge() {
	order := make([]int32, len(n.points))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(i, j int32) int {
		switch x, y := n.points[i].X, n.points[j].X; {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return int(i - j)
	})
	n.node = make([]int32, len(n.points))
	for i := range n.node {
		n.node[i] = -1
	}
	var group []int32
	looked := 0
	for k, i := range order {
		if looked > crowded*len(order) {
			n.mergeCrowd()
			return
		}
		if n.node[i] >= 0 {
			continue
		}
		group = append(group[:0], i)
		least := i
		for _, j := range order[k+1:] {
			if n.points[j].X-n.points[i].X > near {
				break
			}
			looked++
			if n.node[j] < 0 && math.Abs(n.points[j].Y-n.points[i].Y) <= near {
				group = append(group, j)
				least = min(least, j)
			}
		}
		for _, j := range group {
			n.node[j] = least
		}
	}
}

// crowded is how many neighbours a point may have on its meridian, on average, before
// they are looked up by place.
const crowded = 16

// mergeCrowd is merge for points of which many lie on one meridian.
func (n *noder) mergeCrowd() {
	type square struct{ x, y int64 }
	held := make(map[square]int32, len(n.points))
	for i, p := range n.points {
		at := square{int64(math.Floor(p.X / near)), int64(math.Floor(p.Y / near))}
		n.node[i] = -1
		for dx := int64(-1); dx <= 1; dx++ {
			for dy := int64(-1); dy <= 1; dy++ {
				j, ok := held[square{at.x + dx, at.y + dy}]
				if ok && math.Abs(p.X-n.points[j].X) <= near && math.Abs(p.Y-n.points[j].Y) <= near && (n.node[i] < 0 || j < n.node[i]) {
					n.node[i] = j
				}
			}
		}
		if n.node[i] < 0 {
			n.node[i], held[at] = int32(i), int32(i)
		}
	}
}

// meet finds where chords meet. New places are added to the points.
func (n *noder) meet(ctx context.Context) error {
	n.given = len(n.points)
	n.merge()
	kept := n.chords[:0]
	for _, c := range n.chords {
		c.a, c.b = n.node[c.a], n.node[c.b]
		if c.a != c.b {
			kept = append(kept, c)
		}
	}
	n.chords = kept
	slices.SortStableFunc(n.chords, func(x, y chord) int { return cmp.Compare(n.least(x), n.least(y)) })
	boxes := make([]plane.Box, len(n.chords))
	for i, c := range n.chords {
		boxes[i] = plane.NoBox().With(n.points[c.a]).With(n.points[c.b]).Grow(near)
	}
	bands := bandsOf(boxes)
	looked := 0
	for k, list := range bands.lists {
		for at, i := range list {
			if at%64 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			box := &boxes[i]
			for _, j := range list[at+1:] {
				other := &boxes[j]
				if other.Min.X > box.Max.X {
					break
				}
				looked++
				if other.Min.Y > box.Max.Y || box.Min.Y > other.Max.Y || k != max(bands.first(box), bands.first(other)) {
					continue
				}
				n.pair(i, j)
			}
			if len(n.cuts) > 2*n.most || looked > maxLooks {
				return &TooManyError{What: Crossings, Count: len(n.cuts) / 2, Limit: n.most}
			}
		}
	}
	if len(n.points) > n.given {
		n.merge()
	}
	return nil
}

func (n *noder) least(c chord) float64 { return min(n.points[c.a].X, n.points[c.b].X) }

// pair cuts two chords where they meet: at ends of one that lie on the other, or
// where they cross.
func (n *noder) pair(i, j int32) {
	c, d := n.chords[i], n.chords[j]
	shared := c.a == d.a || c.a == d.b || c.b == d.a || c.b == d.b
	if shared && (c.a == d.a || c.a == d.b) && (c.b == d.a || c.b == d.b) {
		return
	}
	touched := n.touch(i, c, d.a)
	touched = n.touch(i, c, d.b) || touched
	touched = n.touch(j, d, c.a) || touched
	touched = n.touch(j, d, c.b) || touched
	if shared || touched {
		return
	}
	a, p := n.points[c.a], n.points[d.a]
	u, v := n.points[c.b].Minus(a), n.points[d.b].Minus(p)
	den, w := u.Cross(v), p.Minus(a)
	if den == 0 {
		return
	}
	s, t := w.Cross(v)/den, w.Cross(u)/den
	if !(s > 0 && s < 1 && t > 0 && t < 1) {
		return
	}
	x := int32(len(n.points))
	n.points = append(n.points, a.Plus(u.Times(s)))
	n.cuts = append(n.cuts, cut{i, x, s}, cut{j, x, t})
}

// touch cuts a chord at a node that lies on it.
func (n *noder) touch(i int32, c chord, node int32) bool {
	if node == c.a || node == c.b {
		return false
	}
	a, q := n.points[c.a], n.points[node]
	d, w := n.points[c.b].Minus(a), q.Minus(a)
	length := d.Dot(d)
	off := d.Cross(w)
	if off*off > near*near*length {
		return false
	}
	along := w.Dot(d) / length
	if along <= 0 || along >= 1 {
		return false
	}
	n.cuts = append(n.cuts, cut{i, node, along})
	return true
}

// strand is a stretch of a chord between neighbouring nodes, of which it leaves
// the lower.
type strand struct {
	nodes  uint64 // lower and higher
	region int32
	way    int32 // 1 where the ring runs from the lower to the higher
}

// faces joins the stretches to edges, each once, and tells how the windings to the
// left of each exceed those to its right. Edges that change nothing are left out.
func (n *noder) faces() (*Faces, []winding) {
	slices.SortFunc(n.cuts, func(x, y cut) int {
		return cmp.Or(cmp.Compare(x.chord, y.chord), cmp.Compare(x.along, y.along), cmp.Compare(x.node, y.node))
	})
	strands := make([]strand, 0, len(n.chords)+len(n.cuts))
	cuts := n.cuts
	for i, c := range n.chords {
		from := n.node[c.a]
		step := func(to int32) {
			switch {
			case from < to:
				strands = append(strands, strand{uint64(from)<<32 | uint64(to), c.region, c.way})
			case to < from:
				strands = append(strands, strand{uint64(to)<<32 | uint64(from), c.region, -c.way})
			}
			from = to
		}
		for len(cuts) > 0 && int(cuts[0].chord) == i {
			step(n.node[cuts[0].node])
			cuts = cuts[1:]
		}
		step(n.node[c.b])
	}
	slices.SortFunc(strands, func(x, y strand) int {
		return cmp.Or(cmp.Compare(x.nodes, y.nodes), cmp.Compare(x.region, y.region))
	})
	f := &Faces{from: make([]int, 0, 2*len(strands)), at: make([]plane.XY, 0, len(n.points)), corner: make([]int, 0, len(n.points))}
	number := make([]int, len(n.points))
	for i := range number {
		number[i] = -1
	}
	node := func(v int) int {
		if number[v] < 0 {
			number[v] = len(f.at)
			f.at = append(f.at, n.points[v])
			corner := v
			if v >= n.given {
				corner = -1
			}
			f.corner = append(f.corner, corner)
		}
		return number[v]
	}
	deltas, sums := make([]winding, 0, len(strands)), make(winding, 0, len(strands))
	for i := 0; i < len(strands); {
		nodes, first := strands[i].nodes, len(sums)
		for i < len(strands) && strands[i].nodes == nodes {
			sum := wound{strands[i].region, 0}
			for ; i < len(strands) && strands[i].nodes == nodes && strands[i].region == sum.region; i++ {
				sum.times += strands[i].way
			}
			if sum.times != 0 {
				sums = append(sums, sum)
			}
		}
		if len(sums) > first {
			deltas = append(deltas, sums[first:len(sums):len(sums)])
			f.from = append(f.from, node(int(nodes>>32)), node(int(nodes&math.MaxUint32)))
		}
	}
	f.walk()
	return f, deltas
}

// wind tells for every cycle which regions wind round the face beside it: from the
// outside of each connected part of the edges inward, edge by edge.
func (p *parted) wind(deltas []winding) error {
	parts, most := p.connected()
	cycles, nodes, edges := make([]int, most), make([]int, most), make([]int, most)
	outer, west, least := make([]int, most), make([]int, most), make([]float64, most)
	for i := range most {
		outer[i], west[i] = -1, -1
	}
	for v, part := range parts {
		nodes[part]++
		if west[part] < 0 || compare(p.at[v], p.at[west[part]]) < 0 {
			west[part] = v
		}
	}
	for k := range deltas {
		edges[parts[p.from[2*k]]]++
	}
	for c := range p.over {
		part := parts[p.from[p.Around(c)[0]]]
		cycles[part]++
		if area := p.area(c); outer[part] < 0 || area < least[part] {
			outer[part], least[part] = c, area
		}
	}
	known := make([]bool, len(p.over))
	var open []int
	looked := 0
	outside := p.outside(parts, deltas, most)
	for i := range most {
		if nodes[i]-edges[i]+cycles[i] != 2 {
			return unsure("not as in a plane")
		}
		c := outer[i]
		p.over[c], known[c] = outside(west[i], &looked), true
		if looked > maxLooks {
			return &TooManyError{What: Pieces, Count: most, Limit: i}
		}
		open = append(open, c)
	}
	for len(open) > 0 {
		c := open[len(open)-1]
		open = open[:len(open)-1]
		for _, h := range p.Around(c) {
			across := p.cycle[h^1]
			if known[across] {
				continue
			}
			times := int32(-1)
			if h&1 == 1 {
				times = 1
			}
			p.over[across], known[across] = p.over[c].plus(deltas[h/2], times), true
			open = append(open, across)
		}
	}
	for k, d := range deltas {
		if !p.over[p.cycle[2*k]].equals(p.over[p.cycle[2*k+1]], d, 1) {
			return unsure("regions wind otherwise on two ways")
		}
	}
	return nil
}

// connected numbers the connected parts of the edges, by node.
func (p *parted) connected() (parts []int, most int) {
	root := make([]int, len(p.at))
	for i := range root {
		root[i] = i
	}
	find := func(v int) int {
		for root[v] != v {
			root[v] = root[root[v]]
			v = root[v]
		}
		return v
	}
	for h := 0; h < len(p.from); h += 2 {
		if a, b := find(p.from[h]), find(p.from[h+1]); a != b {
			root[max(a, b)] = min(a, b)
		}
	}
	parts = make([]int, len(root))
	for v := range root {
		// A root is the lowest node of its part, so it comes first.
		if r := find(v); r == v {
			parts[v] = most
			most++
		} else {
			parts[v] = parts[r]
		}
	}
	return parts, most
}

// outside gives the windings round the westernmost node of a part by all other
// parts, from their edges on a ray to the west.
func (p *parted) outside(parts []int, deltas []winding, most int) func(node int, looked *int) winding {
	if most == 1 {
		return func(int, *int) winding { return nil }
	}
	boxes := make([]plane.Box, len(deltas))
	for k := range deltas {
		a, b := p.Edge(2 * k)
		boxes[k] = plane.NoBox().With(a).With(b)
	}
	bands := bandsOf(boxes)
	return func(node int, looked *int) winding {
		var w winding
		q := p.at[node]
		list := bands.lists[bands.of(q.Y)]
		*looked += len(list)
		for _, k := range list {
			a, b := p.Edge(2 * int(k))
			north := b.Y > q.Y
			if (a.Y > q.Y) == north || parts[p.from[2*k]] == parts[node] || q.X <= a.X+(q.Y-a.Y)*(b.X-a.X)/(b.Y-a.Y) {
				continue
			}
			times := int32(1)
			if north {
				times = -1
			}
			w = w.plus(deltas[k], times)
		}
		return w
	}
}

// bands hold boxes by strips from west to east, each box in all strips that it
// reaches into, in its turn.
type bands struct {
	low, high float64 // of all boxes
	lists     [][]int32
}

// perBand is how many boxes a band has if they are short, and mostReach how many
// bands a box may reach into on average.
const perBand, mostReach = 4, 4

func bandsOf(boxes []plane.Box) *bands {
	b := &bands{low: math.Inf(1), high: math.Inf(-1)}
	tall := 0.0
	for _, box := range boxes {
		b.low, b.high = min(b.low, box.Min.Y), max(b.high, box.Max.Y)
		tall += box.Max.Y - box.Min.Y
	}
	count := len(boxes)/perBand + 1
	if tall > 0 {
		count = max(1, min(count, int(mostReach*float64(len(boxes))*(b.high-b.low)/tall)))
	}
	b.lists = make([][]int32, count)
	sizes := make([]int, count+1)
	for i := range boxes {
		for k := b.first(&boxes[i]); k <= b.of(boxes[i].Max.Y); k++ {
			sizes[k+1]++
		}
	}
	for k := range count {
		sizes[k+1] += sizes[k]
	}
	all := make([]int32, sizes[count])
	for k := range count {
		b.lists[k] = all[sizes[k]:sizes[k]:sizes[k+1]]
	}
	for i := range boxes {
		for k := b.first(&boxes[i]); k <= b.of(boxes[i].Max.Y); k++ {
			b.lists[k] = append(b.lists[k], int32(i))
		}
	}
	return b
}

func (b *bands) first(box *plane.Box) int { return b.of(box.Min.Y) }

func (b *bands) of(y float64) int {
	if !(b.high > b.low) {
		return 0
	}
	return max(0, min(len(b.lists)-1, int((y-b.low)/(b.high-b.low)*float64(len(b.lists)))))
}
