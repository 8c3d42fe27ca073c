package paper

import (
	"math"

	"caneward/geo/plane"
)

// Shape is a mark's outline; it alone tells what is meant.
type Shape int

// The shapes.
const (
	Diamond Shape = iota
	Triangle
	Circle
	Square
	Cross // two strokes
	Bar   // a short upright stroke
)

// Fill is a mark's inside.
type Fill int

// The fills.
const (
	Hollow Fill = iota
	Dot         // hollow with a dot
	Filled
	CrossedOut // hollow, struck through
)

// Mark is a sign on a map. It has a white casing, so that it stands off
// whatever lies below.
type Mark struct {
	Shape Shape
	Fill  Fill
	Size  Millimetres // across; 0 is usualMark
}

const (
	usualMark Millimetres = 3
	casing    Millimetres = 0.5
	markEdge  Millimetres = 0.35
)

type placedMark struct {
	mark Mark
	at   point
}

// Mark puts a mark on the map; one outside of the frame is left out.
func (m *Map) Mark(at plane.XY, mark Mark) {
	if !m.Inside(at) {
		return
	}
	if mark.Size == 0 {
		mark.Size = usualMark
	}
	p := m.at(at)
	m.marks = append(m.marks, placedMark{mark, p})
}

// Reserve keeps labels off a mark's place; marks that labels belong to, or that
// are many and small, need none.
func (m *Map) Reserve(at plane.XY, size Millimetres) {
	m.taken = append(m.taken, slab{centre: m.at(at), w: size, h: size})
}

func (m *Map) drawMarks() {
	for _, p := range m.marks {
		m.d.mark(p.mark, p.at)
	}
}

// mark draws one about a point.
func (d *Doc) mark(m Mark, c point) {
	if m.Size == 0 {
		m.Size = usualMark
	}
	r := m.Size / 2
	k := d.ink()
	if m.Shape == Cross || m.Shape == Bar {
		for _, s := range []Stroke{{Width: 3 * markEdge, White: true}, {Width: 1.4 * markEdge}} {
			k.stroke(s)
			if m.Shape == Cross {
				k.path([]point{{c.x - r, c.y - r}, {c.x + r, c.y + r}}, false)
				k.path([]point{{c.x - r, c.y + r}, {c.x + r, c.y - r}}, false)
			} else {
				k.path([]point{{c.x, c.y - r}, {c.x, c.y + r}}, false)
			}
			k.op("S")
		}
		k.put()
		return
	}
	k.stroke(Stroke{Width: markEdge + 2*casing, White: true})
	k.shape(m.Shape, c, r)
	k.op("S")
	k.stroke(Stroke{Width: markEdge})
	k.grey(1)
	if m.Fill == Filled {
		k.grey(0)
	}
	k.shape(m.Shape, c, r)
	k.op("b")
	switch m.Fill {
	case Dot:
		k.grey(0)
		k.circle(c, r*0.28)
		k.op("f")
	case CrossedOut:
		k.path([]point{{c.x - r, c.y + r}, {c.x + r, c.y - r}}, false)
		k.op("S")
	}
	k.put()
}

func (k *ink) shape(s Shape, c point, r Millimetres) {
	switch s {
	case Diamond:
		k.path([]point{{c.x, c.y - r}, {c.x + r, c.y}, {c.x, c.y + r}, {c.x - r, c.y}}, true)
	case Triangle:
		h := r * Millimetres(math.Sqrt(3)/2)
		k.path([]point{{c.x, c.y - r}, {c.x + h, c.y + r/2}, {c.x - h, c.y + r/2}}, true)
	case Circle:
		k.circle(c, r)
	default:
		k.path(rectangle(c.x-r, c.y-r, 2*r, 2*r), true)
	}
}
