package paper

import (
	"math"
	"strconv"
)

// point is a place on the page.
type point struct{ x, y Millimetres }

// Dash is how a line is broken, so that lines differ without colour.
type Dash int

// The dashes.
const (
	Solid Dash = iota
	Dashed
	Dotted
	DashDotted
)

// Stroke is a line's look.
type Stroke struct {
	Width Millimetres
	Dash  Dash
	White bool // a casing under other ink
}

// Pattern is a hatch.
type Pattern int

// The patterns.
const (
	NoHatch  Pattern = iota
	Strokes          // parallel lines
	Crossed          // two sets of lines
	Stippled         // dots
)

// Hatch is a pattern over ground: it stays one in any copy.
type Hatch struct {
	Pattern Pattern
	Gap     Millimetres // between lines; 0 is usualGap
	Width   Millimetres // of a line; 0 is usualHatch
	Falling bool        // lines fall to the right
}

const (
	usualGap   Millimetres = 1.8
	usualHatch Millimetres = 0.18
	// leastGap keeps a hatch a hatch, and its lines few.
	leastGap Millimetres = 0.5
)

// dashes in millimetres; a dot is a stroke of no length with a round end.
func (s Stroke) dashes() []Millimetres {
	w := max(s.Width, 0.2)
	switch s.Dash {
	case Dashed:
		return []Millimetres{2.2, 1.4}
	case Dotted:
		return []Millimetres{0, 3 * w}
	case DashDotted:
		return []Millimetres{3, 1.2, 0, 1.2}
	}
	return nil
}

// ink collects operators of the page's content stream (ISO 32000-1, 8.5),
// between a q and a Q, so that nothing leaks into the text that fpdf writes.
type ink struct {
	d *Doc
	b []byte
}

const perPoint = pointsPerInch / millimetresPerInch

func (d *Doc) ink() *ink { return &ink{d: d, b: []byte("q 1 j ")} }

func (k *ink) put() {
	if k.d.Err() == nil {
		k.d.pdf.RawWriteStr(string(append(k.b, 'Q', '\n')))
	}
}

func (k *ink) number(v Millimetres) {
	k.b = strconv.AppendFloat(k.b, math.Round(float64(v)*perPoint*1000)/1000, 'f', -1, 64)
	k.b = append(k.b, ' ')
}

func (k *ink) at(p point) {
	k.number(p.x)
	k.number(k.d.page.height - p.y)
}

func (k *ink) op(s string) { k.b = append(append(k.b, s...), ' ') }

// path draws points into the current path. Points nearer than finest to the
// one before say nothing that a printer could.
func (k *ink) path(ps []point, closed bool) {
	var last point
	for i, p := range ps {
		if i > 0 && i < len(ps)-1 && math.Hypot(float64(p.x-last.x), float64(p.y-last.y)) < float64(finest) {
			continue
		}
		k.at(p)
		if i == 0 {
			k.op("m")
		} else {
			k.op("l")
		}
		last = p
	}
	if closed {
		k.op("h")
	}
}

// finest is a quarter of a dot of a 600 dpi printer.
const finest Millimetres = 0.01

func (k *ink) stroke(s Stroke) {
	k.number(s.Width)
	k.op("w")
	k.op("[")
	dashes := s.dashes()
	for _, v := range dashes {
		k.number(v)
	}
	k.op("] 0 d")
	if dashes != nil && s.Dash != Dashed {
		k.op("1 J")
	} else {
		k.op("0 J")
	}
	if s.White {
		k.op("1 G")
	} else {
		k.op("0 G")
	}
}

func (k *ink) grey(level float64) {
	k.b = strconv.AppendFloat(k.b, level, 'f', -1, 64)
	k.op(" g")
}

// circle as four Bézier curves; they stay within 0.03 % of the radius.
func (k *ink) circle(c point, r Millimetres) {
	const arm = 0.5522847498
	a := r * arm
	k.at(point{c.x + r, c.y})
	k.op("m")
	for _, q := range [4][3]point{
		{{r, -a}, {a, -r}, {0, -r}}, {{-a, -r}, {-r, -a}, {-r, 0}},
		{{-r, a}, {-a, r}, {0, r}}, {{a, r}, {r, a}, {r, 0}},
	} {
		for _, p := range q {
			k.at(point{c.x + p.x, c.y + p.y})
		}
		k.op("c")
	}
	k.op("h")
}

func (d *Doc) line(s Stroke, ps ...point) {
	k := d.ink()
	k.stroke(s)
	k.path(ps, false)
	k.op("S")
	k.put()
}

func (d *Doc) rule(from, to, y, width Millimetres) {
	d.line(Stroke{Width: width}, point{from, y}, point{to, y})
}

func rectangle(x, y, w, h Millimetres) []point {
	return []point{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}
}

func (d *Doc) boxed(x, y, w, h Millimetres, s Stroke) {
	k := d.ink()
	k.stroke(s)
	k.path(rectangle(x, y, w, h), true)
	k.op("S")
	k.put()
}

// hatched fills rings, even-odd, with a pattern clipped to them.
func (k *ink) hatched(rings [][]point, h Hatch) {
	if h.Pattern == NoHatch || len(rings) == 0 {
		return
	}
	gap, width := h.Gap, h.Width
	if gap == 0 {
		gap = usualGap
	}
	if width == 0 {
		width = usualHatch
	}
	gap = max(gap, leastGap)
	lo, hi := point{math.MaxFloat32, math.MaxFloat32}, point{-math.MaxFloat32, -math.MaxFloat32}
	k.op("q")
	for _, r := range rings {
		k.path(r, true)
		for _, p := range r {
			lo, hi = point{min(lo.x, p.x), min(lo.y, p.y)}, point{max(hi.x, p.x), max(hi.y, p.y)}
		}
	}
	k.op("W* n")
	// Nothing beyond the page is seen.
	lo, hi = point{max(lo.x, 0), max(lo.y, 0)}, point{min(hi.x, k.d.page.width), min(hi.y, k.d.page.height)}
	k.stroke(Stroke{Width: width})
	if h.Pattern == Stippled {
		k.stroke(Stroke{Width: 2 * width})
		k.op("1 J [ 0")
		k.number(gap)
		k.op("] 0 d")
		for y := snapped(lo.y, gap); y <= hi.y; y += gap {
			k.path([]point{{snapped(lo.x, gap), y}, {hi.x, y}}, false)
		}
		k.op("S Q")
		return
	}
	k.slanted(lo, hi, gap, h.Falling)
	if h.Pattern == Crossed {
		k.slanted(lo, hi, gap, !h.Falling)
	}
	k.op("S Q")
}

// snapped lines patterns of neighbouring pieces up.
func snapped(v, gap Millimetres) Millimetres {
	return Millimetres(math.Floor(float64(v/gap))) * gap
}

// slanted draws lines at 45 degrees over the box.
func (k *ink) slanted(lo, hi point, gap Millimetres, falling bool) {
	step := gap * math.Sqrt2
	if falling {
		for c := snapped(lo.y-hi.x, step); c <= hi.y-lo.x; c += step {
			k.path([]point{{lo.x, lo.x + c}, {hi.x, hi.x + c}}, false)
		}
		return
	}
	for c := snapped(lo.x+lo.y, step); c <= hi.x+hi.y; c += step {
		k.path([]point{{lo.x, c - lo.x}, {hi.x, c - hi.x}}, false)
	}
}
