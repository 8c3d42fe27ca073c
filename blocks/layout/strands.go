package layout

import (
	"cmp"
	"math"
	"slices"

	"caneward/blocks"
	"caneward/geo"
	"caneward/geo/plane"
)

// span is a stretch along a path, in metres of the path; from < to.
type span struct{ from, to float64 }

// join merges spans that overlap or touch and puts them in order.
func join(spans []span) []span {
	sorted := slices.Clone(spans)
	slices.SortFunc(sorted, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	var out []span
	for _, s := range sorted {
		if n := len(out); n > 0 && s.from <= out[n-1].to+float64(blocks.OnPart) {
			out[n-1].to = math.Max(out[n-1].to, s.to)
			continue
		}
		out = append(out, s)
	}
	return out
}

// meet is what two lists of spans have in common, crumbs of a millimetre left out.
func meet(a, b []span) []span {
	var out []span
	for _, s := range a {
		for _, t := range b {
			if u := (span{math.Max(s.from, t.from), math.Min(s.to, t.to)}); u.to-u.from > leastPart {
				out = append(out, u)
			}
		}
	}
	return join(out)
}

// stub is half the length of a part that is drawn for the sake of one place.
const stub = 0.05

// holding widens spans so that every place stands on one.
func holding(spans []span, places []float64) []span {
	var lone []span
	for _, way := range places {
		if !slices.ContainsFunc(spans, func(s span) bool { return way >= s.from && way <= s.to }) {
			lone = append(lone, span{way, way})
		}
	}
	out := join(append(spans, lone...))
	for i := range out {
		if out[i].to-out[i].from < 2*stub {
			middle := (out[i].from + out[i].to) / 2
			out[i] = span{middle - stub, middle + stub}
		}
	}
	return out
}

// hull is the part of a stretch that some of its places need: half a spacing
// beyond the outermost.
func hull(s span, ways []float64, spacing float64) span {
	return span{math.Max(s.from, ways[0]-spacing/2), math.Min(s.to, ways[len(ways)-1]+spacing/2)}
}

// runsOf cuts ascending places where more than a spacing lies between two.
func runsOf(ways []float64, spacing float64) [][]float64 {
	var out [][]float64
	for i, way := range ways {
		if i == 0 || way-ways[i-1] > spacing+exactFit {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], way)
	}
	return out
}

// piece is a part to be.
type piece struct {
	strand int
	path   path
	span   span
}

// path is a line with the way to each corner; the way begins before 0 where the
// line was drawn out at its start.
type path struct {
	line plane.Line
	ways []float64
}

func pathOf(line plane.Line, start float64) path {
	p := path{line: line, ways: make([]float64, len(line))}
	p.ways[0] = start
	for i := 1; i < len(line); i++ {
		p.ways[i] = p.ways[i-1] + float64(line[i-1].Distance(line[i]))
	}
	return p
}

func (p path) length() float64 { return p.ways[len(p.ways)-1] - p.ways[0] }

// at is the place so far along; past an end, on the last edge drawn out.
func (p path) at(way float64) plane.XY {
	k, _ := slices.BinarySearch(p.ways, way)
	k = min(max(k, 1), len(p.line)-1)
	a, b, length := p.line[k-1], p.line[k], p.ways[k]-p.ways[k-1]
	if length <= 0 {
		return a
	}
	return a.Plus(b.Minus(a).Times((way - p.ways[k-1]) / length))
}

// station is the way to the place on the path nearest to q.
func (p path) station(q plane.XY) float64 {
	way, _ := p.nearest(q)
	return way
}

func (p path) nearest(q plane.XY) (way float64, off geo.Metres) {
	off = geo.Metres(math.Inf(1))
	for i := 1; i < len(p.line); i++ {
		foot := q.NearestOn(p.line[i-1], p.line[i])
		if d := foot.Distance(q); d < off {
			off, way = d, p.ways[i-1]+float64(foot.Distance(p.line[i-1]))
		}
	}
	return way, off
}

// cut is the line from one way to another.
func (p path) cut(s span) plane.Line {
	line := plane.Line{p.at(s.from)}
	for i, way := range p.ways {
		if way > s.from+float64(geo.SamePlace) && way < s.to-float64(geo.SamePlace) {
			line = append(line, p.line[i])
		}
	}
	return append(line, p.at(s.to))
}

// shadows are the stretches of the path that lines run beside, each from where
// its one end is nearest to where its other is.
func (p path) shadows(lines []plane.Line) []span {
	var out []span
	for _, l := range lines {
		a, b := p.station(l[0]), p.station(l[len(l)-1])
		if a > b {
			a, b = b, a
		}
		if b > a {
			out = append(out, span{a, b})
		}
	}
	return join(out)
}

// strand is parts of a row that follow on one another, joined across the gaps.
type strand struct {
	path   path
	starts map[int]float64 // way to each part's start, by part from 1
	ends   map[int]float64
}

// sharpest is the largest turn, in degrees, at which a part still goes on where
// the one before it ended.
const sharpest = 45

func strandsOf(lines []plane.Line) []strand {
	var out []strand
	var points []plane.Line
	for i, l := range lines {
		n := len(out)
		if n == 0 || !goesOn(points[n-1], l) {
			out = append(out, strand{starts: map[int]float64{}, ends: map[int]float64{}})
			points = append(points, nil)
			n++
		}
		joined := slices.Clone(points[n-1])
		for k, q := range l {
			if k == 0 && len(joined) > 0 && joined[len(joined)-1].Distance(q) < geo.SamePlace {
				continue
			}
			joined = append(joined, q)
		}
		points[n-1] = joined
		c := &out[n-1]
		c.path = pathOf(joined, 0)
		end := c.path.ways[len(c.path.ways)-1]
		c.starts[i+1], c.ends[i+1] = end-float64(l.Length()), end
	}
	return out
}

func goesOn(before, after plane.Line) bool {
	a, b := before[len(before)-2], before[len(before)-1]
	gap := after[0].Minus(b)
	if b.Distance(after[0]) < geo.SamePlace {
		gap = b.Minus(a)
	}
	return bend(b.Minus(a), gap) < sharpest && bend(gap, after[1].Minus(after[0])) < sharpest
}

// bend is the angle between two directions, in degrees.
func bend(a, b plane.XY) float64 {
	return math.Abs(math.Atan2(a.Cross(b), a.Dot(b))) * 180 / math.Pi
}

func strandWith(strands []strand, part int) int {
	return slices.IndexFunc(strands, func(c strand) bool { _, ok := c.starts[part]; return ok })
}

// stretches are the strand's parts.
func (c strand) stretches() []span {
	var out []span
	for part, from := range c.starts {
		out = append(out, span{from, c.ends[part]})
	}
	return join(out)
}

// extended is the strand drawn out at both ends: straight on, or along the bends
// of the layout's row beside it, moved over to the strand's end.
func (c strand) extended(beside []plane.Line, reach float64) path {
	line := slices.Clone(c.path.line)
	last := len(line) - 1
	head, tail := line[0].Minus(line[1]), line[last].Minus(line[last-1])
	ahead := c.onward(line[last], tail, beside, reach)
	back := c.onward(line[0], head, beside, reach)
	slices.Reverse(back)
	start := 0.0
	whole := append(append(back, line...), ahead...)
	for i := 1; i <= len(back); i++ {
		start -= float64(whole[i].Distance(whole[i-1]))
	}
	return pathOf(whole, start)
}

// onward is what follows an end that points a way.
func (c strand) onward(end, way plane.XY, beside []plane.Line, reach float64) plane.Line {
	straight := plane.Line{end.Plus(way.Times(reach / math.Hypot(way.X, way.Y)))}
	var bent plane.Line
	for _, l := range beside {
		bent = append(bent, l...)
	}
	if len(bent) <= 2*len(beside) {
		return straight
	}
	if bent[len(bent)-1].Minus(bent[0]).Dot(way) < 0 {
		slices.Reverse(bent)
	}
	p := pathOf(bent, 0)
	at := p.station(end)
	if at >= p.length()-float64(geo.SamePlace) {
		return straight
	}
	over := end.Minus(p.at(at))
	var out plane.Line
	for i, w := range p.ways {
		if w > at+float64(geo.SamePlace) {
			out = append(out, bent[i].Plus(over))
		}
	}
	return out
}

// sameParts reports whether parts are the old lines again, within what stored
// corners are good for.
func sameParts(parts []piece, strands []strand, lines []plane.Line) bool {
	if len(parts) != len(lines) {
		return false
	}
	for i, p := range parts {
		c := strands[p.strand]
		from, mine := c.starts[i+1]
		if !mine || math.Abs(p.span.from-from) > float64(blocks.OnPart) || math.Abs(p.span.to-c.ends[i+1]) > float64(blocks.OnPart) {
			return false
		}
	}
	return true
}

// nearby finds places of other rows close to a place.
type nearby struct {
	side  float64
	cells map[[2]int32][]taken
}

type taken struct {
	at  plane.XY
	row int
}

func (n *nearby) cell(q plane.XY) [2]int32 {
	return [2]int32{int32(math.Floor(q.X / n.side)), int32(math.Floor(q.Y / n.side))}
}

func (n *nearby) add(q plane.XY, row int) {
	c := n.cell(q)
	n.cells[c] = append(n.cells[c], taken{q, row})
}

// near reports whether a place of another row lies nearer than d, which is at
// most the cells' side.
func (n *nearby) near(q plane.XY, row int, d float64) bool {
	c := n.cell(q)
	for x := c[0] - 1; x <= c[0]+1; x++ {
		for y := c[1] - 1; y <= c[1]+1; y++ {
			for _, t := range n.cells[[2]int32{x, y}] {
				if t.row != row && float64(t.at.Distance(q)) < d {
					return true
				}
			}
		}
	}
	return false
}
