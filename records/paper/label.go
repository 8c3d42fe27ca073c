package paper

import (
	"math"
	"strconv"

	"caneward/geo"
	"caneward/geo/plane"
)

// Label is a text at a place of the map.
type Label struct {
	At   plane.XY
	Text string
	Size Points // 0 is LeastType
	Bold bool
	// Spots are where it may stand, best first.
	Spots []Spot
	// Must says that it stands on its first spot where none is free.
	Must bool
}

// Spot is a place of a label beside its point, on the page as it lies.
type Spot struct {
	// Right and Down lead from the point to the label's middle, less half of the
	// label where Outward is set.
	Right, Down Millimetres
	Outward     bool
	// Slope turns the text, in degrees down from reading level.
	Slope float64
}

// Around are eight spots round a point, as far off as gap.
func Around(gap Millimetres) []Spot {
	var spots []Spot
	for _, v := range [][2]float64{{1, 0}, {-1, 0}, {0, -1}, {0, 1}, {1, -1}, {1, 1}, {-1, -1}, {-1, 1}} {
		spots = append(spots, Spot{Right: gap * Millimetres(v[0]), Down: gap * Millimetres(v[1]), Outward: true})
	}
	return spots
}

// Beyond is a spot away from a point along a bearing of the map, the text
// level, or along that bearing where it is laid.
func (m *Map) Beyond(bearing geo.Degrees, gap Millimetres, laid bool) Spot {
	v := plane.Turn(plane.Heading(bearing), m.up)
	s := Spot{Right: gap * Millimetres(v.X), Down: -gap * Millimetres(v.Y), Outward: true}
	if laid {
		s.Slope = math.Atan2(-v.Y, v.X) * 180 / math.Pi
		// Nobody reads upside down.
		if s.Slope > 90 {
			s.Slope -= 180
		} else if s.Slope <= -90 {
			s.Slope += 180
		}
	}
	return s
}

// slab is a label's room: a rectangle about its middle, turned.
type slab struct {
	centre point
	w, h   Millimetres
	slope  float64
}

func (s slab) axes() (along, down point) {
	sin, cos := math.Sincos(s.slope * math.Pi / 180)
	return point{Millimetres(cos), Millimetres(sin)}, point{Millimetres(-sin), Millimetres(cos)}
}

// reach is how far the slab goes from its middle in a direction.
func (s slab) reach(v point) Millimetres {
	along, down := s.axes()
	return s.w/2*abs(dot(along, v)) + s.h/2*abs(dot(down, v))
}

func dot(p, q point) Millimetres          { return p.x*q.x + p.y*q.y }
func abs(v Millimetres) Millimetres       { return Millimetres(math.Abs(float64(v))) }
func length(p point) Millimetres          { return Millimetres(math.Hypot(float64(p.x), float64(p.y))) }
func (p point) plus(q point) point        { return point{p.x + q.x, p.y + q.y} }
func (p point) times(f Millimetres) point { return point{p.x * f, p.y * f} }

// meets looks for a line between two slabs along their sides.
func (s slab) meets(o slab) bool {
	between := point{o.centre.x - s.centre.x, o.centre.y - s.centre.y}
	for _, t := range []slab{s, o} {
		along, down := t.axes()
		for _, v := range []point{along, down} {
			if abs(dot(between, v)) >= s.reach(v)+o.reach(v) {
				return false
			}
		}
	}
	return true
}

// Label asks for a label. Those asked for first find room first.
func (m *Map) Label(l Label) {
	if l.Text == "" || !m.Inside(l.At) {
		return
	}
	if l.Size < LeastType {
		l.Size = LeastType
	}
	m.labels = append(m.labels, l)
}

// slab is where a label would stand.
func (m *Map) slab(l Label, s Spot) slab {
	f := plain
	if l.Bold {
		f = bold
	}
	out := slab{w: m.d.width(l.Text, f, l.Size) + 0.8, h: l.Size.mm() * 0.95, slope: s.Slope}
	off := point{s.Right, s.Down}
	if n := length(off); s.Outward && n > 0 {
		off = off.times(1 + out.reach(off.times(1/n))/n)
	}
	out.centre = m.at(l.At).plus(off)
	return out
}

func (m *Map) free(s slab) bool {
	rx, ry := s.reach(point{1, 0}), s.reach(point{0, 1})
	if s.centre.x-rx < m.x || s.centre.x+rx > m.x+m.w || s.centre.y-ry < m.y || s.centre.y+ry > m.y+m.h {
		return false
	}
	for _, t := range m.taken {
		if s.meets(t) {
			return false
		}
	}
	return true
}

func (m *Map) drawLabels() (dropped int) {
	for _, l := range m.labels {
		if m.d.Err() != nil {
			return dropped
		}
		placed := false
		for i, spot := range l.Spots {
			s := m.slab(l, spot)
			if m.free(s) {
				m.write(l, s)
				placed = true
				break
			}
			if l.Must && i == len(l.Spots)-1 {
				m.write(l, m.slab(l, l.Spots[0]))
				placed = true
			}
		}
		if !placed {
			dropped++
		}
	}
	return dropped
}

// halo is white about the letters.
const halo Millimetres = 0.9

// write draws a label, its halo first. To readers of the file's text the halo
// is no text.
func (m *Map) write(l Label, s slab) {
	m.taken = append(m.taken, s)
	d, f := m.d, plain
	if l.Bold {
		f = bold
	}
	w := d.width(l.Text, f, l.Size)
	x, y := s.centre.x-w/2, s.centre.y+l.Size.mm()*0.36
	d.font(f, l.Size)
	d.pdf.TransformBegin()
	d.pdf.TransformRotate(-s.slope, float64(s.centre.x), float64(s.centre.y))
	k := d.ink()
	k.stroke(Stroke{Width: halo, White: true})
	d.pdf.RawWriteStr("/Artifact BMC " + string(k.b) + "1 Tr\n")
	d.text(x, y, l.Text, f, l.Size)
	d.pdf.RawWriteStr("Q EMC\n")
	d.text(x, y, l.Text, f, l.Size)
	d.pdf.TransformEnd()
}

// rowGap is from the first plant to the row's number.
const rowGap Millimetres = 1.8

// RowNumber writes a row's number off its first end, along the bearing that leads
// off the row; a number that finds no room is left out.
func (m *Map) RowNumber(number int, end plane.XY, off geo.Degrees) {
	m.Label(Label{At: end, Text: strconv.Itoa(number), Spots: []Spot{m.Beyond(off, rowGap, false)}})
}
