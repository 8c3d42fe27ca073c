package paper

import "caneward/blocks/words"

// Tick is a line of large type with boxes to tick behind it; a Heading stands
// alone, without boxes, and stays with the line that follows.
type Tick struct {
	Text    string
	Note    string // in smaller type below; "" for none
	Heading bool
}

const (
	tickType Points      = 17
	noteType Points      = 10.5
	tickPad  Millimetres = 2.2
	boxSize  Millimetres = 8
	boxGap   Millimetres = 26 // from box to box, so that their heads have room
	tickRise             = 0.3
)

// Ticks writes lines with a box under each head, over as many pages as it takes,
// the heads on each.
func (d *Doc) Ticks(heads []words.Text, lines []Tick) {
	d.Break(0)
	first := true
	for i, l := range lines {
		need := d.tickHeight(l)
		if l.Heading && i+1 < len(lines) {
			need += d.tickHeight(lines[i+1])
		}
		if first || d.y+need > d.page.floor() {
			if !first || d.Left() < need+headingType.line()*2 {
				d.Page(d.landscape())
			}
			if d.Err() != nil {
				return
			}
			d.tickHeads(heads)
			first = false
		}
		d.tick(l, len(heads))
	}
	d.y += betweenParts
}

func (d *Doc) tickHeight(l Tick) Millimetres {
	h := tickType.line() + 2*tickPad
	if l.Note != "" && !l.Heading {
		h += noteType.line()
	}
	return h
}

// boxAt is the left edge of a box, counted from the left.
func (d *Doc) boxAt(i, of int) Millimetres {
	return d.page.right() - Millimetres(of-i)*boxGap + (boxGap-boxSize)/2
}

func (d *Doc) tickHeads(heads []words.Text) {
	var columns [][]string
	most := 0
	for _, h := range heads {
		lines := d.wrapped(d.Say(h), bold, noteType, boxGap-1)
		columns, most = append(columns, lines), max(most, len(lines))
	}
	for i, lines := range columns {
		for k, line := range lines {
			y := d.y + noteType.line()*Millimetres(most-len(lines)+k+1)
			mid := d.boxAt(i, len(heads)) + boxSize/2
			d.text(mid-d.width(line, bold, noteType)/2, y-1, line, bold, noteType)
		}
	}
	d.y += noteType.line()*Millimetres(most) + 1
	d.rule(side, d.page.right(), d.y, 0.5)
}

func (d *Doc) tick(l Tick, boxes int) {
	height := d.tickHeight(l)
	base := d.y + tickPad + tickType.mm()*(1-tickRise) + 1
	if l.Heading {
		d.text(side, base, d.fitted(l.Text, plain, noteType+2, d.page.inner()), plain, noteType+2)
		d.y += height
		d.rule(side, d.page.right(), d.y, 0.5)
		return
	}
	room := d.boxAt(0, boxes) - side - 3
	d.text(side, base, d.fitted(l.Text, bold, tickType, room), bold, tickType)
	if l.Note != "" {
		d.text(side, base+noteType.line()+0.5, d.fitted(l.Note, plain, noteType, room), plain, noteType)
	}
	for i := range boxes {
		d.boxed(d.boxAt(i, boxes), d.y+(height-boxSize)/2, boxSize, boxSize, Stroke{Width: 0.6})
	}
	d.y += height
	d.rule(side, d.page.right(), d.y, 0.2)
}
