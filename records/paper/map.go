package paper

import (
	"math"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
)

// Ground is what a map must show: points in metres of one frame, and the
// bearing that is to point up the page (0: north up).
type Ground struct {
	Up   geo.Degrees
	Show []plane.XY
}

// box is the ground as it is turned on the page.
func (g Ground) box() plane.Box {
	b := plane.NoBox()
	for _, p := range g.Show {
		b = b.With(plane.Turn(p, g.Up))
	}
	return b
}

// Key is a line of the legend: a sample of ink and what it means.
type Key struct {
	Text   words.Text
	Stroke *Stroke
	Hatch  *Hatch
	Mark   *Mark
}

// Map is a piece of a page on which ground is drawn to scale: metres of the
// frame become millimetres by one factor, so that a length on the page is off
// by the frame's error and the rounding of the file, together under 0.01 mm
// for ground up to 5 km across. Ink goes down in the order of the calls; marks
// and labels go on top when the map is closed.
type Map struct {
	Scale Scale

	d              *Doc
	up             geo.Degrees
	mid            plane.XY // of the ground, turned
	x, y, w, h     Millimetres
	marks          []placedMark
	labels         []Label
	taken          []slab
	keysAt, stripY Millimetres
}

const (
	// rim is left free between the ground and the map's frame, for labels.
	rim Millimetres = 9
	// strip holds arrow, scale and bars below the map.
	strip     Millimetres = 21
	keyHeight Millimetres = 5
	keySample Millimetres = 9
	keyGap    Millimetres = 6
)

var (
	scaleWords = words.New("paper-scale", "Scale {scale} when printed at 100 % (not “fit to page”).", "Escala {scale} si se imprime al 100 % (no «ajustar a la página»).")
	barsHold   = words.New("paper-bars-hold", "The bars stay true in any copy.", "Las barras valen en cualquier copia.")
)

// MapPage begins a page with a map that fills it but for below, which is kept
// free under the legend. The page lies or stands as the larger scale wants;
// where both give the same it stands. Keys are what the legend may show.
func (d *Doc) MapPage(g Ground, keys []Key, below Millimetres) *Map {
	box := g.box()
	if box.Empty() {
		box = box.With(plane.XY{})
	}
	width, height := geo.Metres(box.Max.X-box.Min.X), geo.Metres(box.Max.Y-box.Min.Y)
	best, lies := Scale(math.Inf(1)), false
	for _, landscape := range []bool{false, true} {
		p := page{d.head.Size.Width, d.head.Size.Height}
		if landscape {
			p = page{p.height, p.width}
		}
		w, h := d.mapRoom(p, keys, below)
		if s := scaleFor(width, height, w-2*rim, h-2*rim); s < best {
			best, lies = s, landscape
		}
	}
	d.Page(lies)
	w, h := d.mapRoom(d.page, keys, below)
	m := &Map{d: d, up: g.Up, Scale: best, x: side, y: d.y, w: w, h: h,
		mid: box.Min.Plus(box.Max).Times(0.5)}
	m.stripY = m.y + h
	m.keysAt = m.stripY + strip
	return m
}

// headHeight is what the header takes.
func (d *Doc) headHeight() Millimetres {
	h := top + headerHeight + afterHeader
	if d.head.Invented {
		h += 1.8 + inventedHeight
	}
	return h
}

func (d *Doc) mapRoom(p page, keys []Key, below Millimetres) (w, h Millimetres) {
	w = p.inner()
	h = p.floor() - d.headHeight() - strip - d.keysHeight(keys, w) - below
	return w, max(h, 2*rim+10)
}

// Inside reports whether the map's frame holds a place.
func (m *Map) Inside(p plane.XY) bool {
	q := m.at(p)
	return q.x >= m.x && q.x <= m.x+m.w && q.y >= m.y && q.y <= m.y+m.h
}

// at places a point of the frame on the page.
func (m *Map) at(p plane.XY) point {
	t := plane.Turn(p, m.up).Minus(m.mid)
	return point{
		m.x + m.w/2 + m.Scale.On(geo.Metres(t.X)),
		m.y + m.h/2 - m.Scale.On(geo.Metres(t.Y)),
	}
}

func (m *Map) all(ps []plane.XY) []point {
	out := make([]point, len(ps))
	for i, p := range ps {
		out[i] = m.at(p)
	}
	return out
}

// clipped is ink that ends at the map's frame.
func (m *Map) clipped() *ink {
	k := m.d.ink()
	k.path(rectangle(m.x, m.y, m.w, m.h), true)
	k.op("W n")
	return k
}

// Area draws ground: its hatch, and its edges where the stroke has a width.
func (m *Map) Area(ground plane.Region, edge Stroke, fill Hatch) {
	k := m.clipped()
	for _, polygon := range ground {
		rings := make([][]point, len(polygon))
		for i, ring := range polygon {
			rings[i] = m.all(ring[:max(0, len(ring)-1)])
		}
		k.hatched(rings, fill)
		if edge.Width > 0 {
			k.stroke(edge)
			for _, r := range rings {
				k.path(r, true)
			}
			k.op("S")
		}
	}
	k.put()
}

// Lines draws lines of one look.
func (m *Map) Lines(s Stroke, lines ...plane.Line) {
	k := m.clipped()
	k.stroke(s)
	for _, line := range lines {
		k.path(m.all(line), false)
	}
	k.op("S")
	k.put()
}

// Close puts marks and labels on, and frame, north arrow, scale and legend
// round the map. It says how many labels found no room.
func (m *Map) Close(keys ...Key) (dropped int) {
	d := m.d
	if d.Err() != nil {
		return 0
	}
	m.drawMarks()
	dropped = m.drawLabels()
	d.boxed(m.x, m.y, m.w, m.h, Stroke{Width: 0.35})
	m.arrow(point{m.x + 8, m.stripY + 11})
	m.bars()
	d.y = m.keysAt + d.drawKeys(keys, m.keysAt) + betweenParts
	return dropped
}

// arrow points to true north: a mark of its own with the letter at its head.
func (m *Map) arrow(c point) {
	const r = 6.2
	tip := plane.Turn(plane.XY{Y: 1}, m.up)
	north := point{Millimetres(tip.X), Millimetres(-tip.Y)}
	right := point{-north.y, north.x}
	to := func(along, across float64) point {
		return point{c.x + Millimetres(along)*north.x + Millimetres(across)*right.x, c.y + Millimetres(along)*north.y + Millimetres(across)*right.y}
	}
	k := m.d.ink()
	k.stroke(Stroke{Width: 0.3})
	k.grey(0)
	k.path([]point{to(r, 0), to(-r, 2.3), to(-r*0.6, 0)}, true)
	k.op("b")
	k.path([]point{to(r, 0), to(-r, -2.3), to(-r*0.6, 0)}, true)
	k.op("S")
	k.put()
	n := to(r+2.6, 0)
	m.d.text(n.x-m.d.width("N", bold, 9)/2, n.y+1.15, "N", bold, 9)
}

// bars writes scale and bars beside the arrow.
func (m *Map) bars() {
	d := m.d
	const left Millimetres = 22
	x := m.x + left
	room := (m.w - left - 16) / 2
	room = min(room, 70)
	y := m.stripY + 9.5
	barFor(m.Scale, "m", 1, room).draw(d, x, y)
	barFor(m.Scale, "ft", geo.MetresPerFoot, room).draw(d, x+room+14, y)
	says := d.Say(scaleWords.With(words.Args{"scale": m.Scale.String()}))
	d.text(x, m.stripY+16.8, says, bold, 9)
	also := d.Say(barsHold.Plain())
	if at := x + d.width(says+"  ", bold, 9); at+d.width(also, plain, 9) < m.x+m.w {
		d.text(at, m.stripY+16.8, also, plain, 9)
	}
}

// keysHeight is what a legend takes.
func (d *Doc) keysHeight(keys []Key, width Millimetres) Millimetres {
	return Millimetres(len(d.keyLines(keys, width))) * keyHeight
}

// keyLines breaks a legend into lines.
func (d *Doc) keyLines(keys []Key, width Millimetres) (lines [][]Key) {
	x := width
	for _, key := range keys {
		w := keySample + d.width(d.Say(key.Text), plain, 8.5) + keyGap
		if x+w-keyGap > width {
			lines = append(lines, nil)
			x = 0
		}
		lines[len(lines)-1] = append(lines[len(lines)-1], key)
		x += w
	}
	return lines
}

func (d *Doc) drawKeys(keys []Key, y Millimetres) Millimetres {
	lines := d.keyLines(keys, d.page.inner())
	for i, line := range lines {
		x, base := side, y+Millimetres(i)*keyHeight+3.4
		for _, key := range line {
			d.sample(key, x, base-1.2)
			text := d.Say(key.Text)
			d.text(x+keySample, base, text, plain, 8.5)
			x += keySample + d.width(text, plain, 8.5) + keyGap
		}
	}
	return Millimetres(len(lines)) * keyHeight
}

// sample draws a key's ink about y, in the width of a sample less a gap.
func (d *Doc) sample(key Key, x, y Millimetres) {
	const w Millimetres = 7
	k := d.ink()
	if key.Hatch != nil {
		r := rectangle(x, y-1.6, w, 3.2)
		k.hatched([][]point{r}, *key.Hatch)
		if key.Stroke != nil {
			k.stroke(*key.Stroke)
			k.path(r, true)
			k.op("S")
		}
	} else if key.Stroke != nil {
		k.stroke(*key.Stroke)
		k.path([]point{{x, y}, {x + w, y}}, false)
		k.op("S")
	}
	k.put()
	if key.Mark != nil {
		d.mark(*key.Mark, point{x + w/2, y})
	}
}
