package paper

import (
	"caneward/blocks/words"
)

// Sizes of type.
const (
	bodyType    Points = 9.5
	headingType Points = 12
)

const betweenParts Millimetres = 3

// Break begins a page like this one when less than need is left on it and
// something stands on it already.
func (d *Doc) Break(need Millimetres) {
	if len(d.pages) == 0 || d.y+need > d.page.floor() && d.y > d.headHeight() {
		d.Page(len(d.pages) > 0 && d.landscape())
	}
}

// Left is the height left on the page.
func (d *Doc) Left() Millimetres { return d.page.floor() - d.y }

// Heading opens a section; it stays with what follows.
func (d *Doc) Heading(t words.Text) {
	lines := d.wrapped(d.Say(t), bold, headingType, d.inner())
	d.Break(Millimetres(len(lines))*headingType.line() + 18)
	for _, line := range lines {
		d.y += headingType.line()
		d.text(side, d.y-1.2, line, bold, headingType)
	}
	d.y += 1.5
}

// inner is the width of a line, before the first page too.
func (d *Doc) inner() Millimetres {
	if len(d.pages) == 0 {
		return d.head.Size.Width - 2*side
	}
	return d.page.inner()
}

// Paragraph writes running text.
func (d *Doc) Paragraph(t words.Text) {
	for _, line := range d.wrapped(d.Say(t), plain, bodyType, d.inner()) {
		d.Break(bodyType.line())
		d.y += bodyType.line()
		d.text(side, d.y-1, line, plain, bodyType)
	}
	d.y += betweenParts / 2
}

// Gravity is how much a box matters. Each has a word and a shape of its own.
// The words are none of the signal words of pesticide labels, which mean
// something in law.
type Gravity int

// The gravities.
const (
	Note Gravity = iota // a square
	Care                // a triangle
	Stop                // an octagon
)

var gravityWords = map[Gravity]words.Message{
	Note: words.New("paper-note", "Note", "Nota"),
	Care: words.New("paper-care", "Take care", "Tenga cuidado"),
	Stop: words.New("paper-stop", "Stop", "Alto"),
}

// Box puts texts, one below the other, into a frame with its word and shape.
// A frame that does not fit on what is left goes to the next page; one longer
// than a page is broken.
func (d *Doc) Box(g Gravity, texts ...words.Text) {
	const pad, sign Millimetres = 2.5, 9
	left := side + pad + sign
	var lines []string
	for i, t := range texts {
		if i > 0 {
			lines = append(lines, "")
		}
		lines = append(lines, d.wrapped(d.Say(t), plain, bodyType, d.inner()-2*pad-sign)...)
	}
	for len(lines) > 0 {
		whole := pad*2 + bodyType.line() + boxHeight(lines)
		d.Break(whole)
		fits := lines
		for len(fits) > 1 && pad*2+bodyType.line()+boxHeight(fits) > d.Left() {
			fits = fits[:len(fits)-1]
		}
		if d.Err() != nil {
			return
		}
		height := pad*2 + bodyType.line() + boxHeight(fits)
		d.boxed(side, d.y, d.page.inner(), height, Stroke{Width: boxWidths[g]})
		d.sign(g, point{side + pad + 3, d.y + pad + 3.2})
		y := d.y + pad + bodyType.line()
		d.text(left, y-1, d.Say(gravityWords[g].Plain()), bold, bodyType)
		for _, line := range fits {
			y += lineHeight(line)
			d.text(left, y-1, line, plain, bodyType)
		}
		d.y += height + betweenParts
		lines = lines[len(fits):]
	}
}

var boxWidths = map[Gravity]Millimetres{Note: 0.25, Care: 0.6, Stop: 1}

func lineHeight(line string) Millimetres {
	if line == "" {
		return bodyType.line() / 3
	}
	return bodyType.line()
}

func boxHeight(lines []string) (h Millimetres) {
	for _, line := range lines {
		h += lineHeight(line)
	}
	return h
}

// sign draws the shape of a gravity about a point.
func (d *Doc) sign(g Gravity, c point) {
	const r Millimetres = 2.9
	letter := "!"
	k := d.ink()
	k.stroke(Stroke{Width: 0.5})
	switch g {
	case Care:
		k.path([]point{{c.x, c.y - r}, {c.x + r*1.1, c.y + r*0.9}, {c.x - r*1.1, c.y + r*0.9}}, true)
	case Stop:
		const cut = 0.4142 // tan 22.5°
		k.path([]point{{c.x - r*cut, c.y - r}, {c.x + r*cut, c.y - r}, {c.x + r, c.y - r*cut}, {c.x + r, c.y + r*cut},
			{c.x + r*cut, c.y + r}, {c.x - r*cut, c.y + r}, {c.x - r, c.y + r*cut}, {c.x - r, c.y - r*cut}}, true)
	default:
		letter = "i"
		k.path(rectangle(c.x-r*0.85, c.y-r*0.85, r*1.7, r*1.7), true)
	}
	k.op("S")
	k.put()
	d.text(c.x-d.width(letter, bold, 10)/2, c.y+1.5, letter, bold, 10)
}

var dateWord = words.New("paper-date", "Date", "Fecha")

// Signatures puts a line to sign on for each label, with one for the date.
func (d *Doc) Signatures(labels ...words.Text) {
	const room Millimetres = 16
	for _, label := range labels {
		d.Break(room)
		if d.Err() != nil {
			return
		}
		y := d.y + room - 6
		split := side + d.page.inner()*0.68
		d.rule(side, split-5, y, 0.3)
		d.rule(split, d.page.right(), y, 0.3)
		d.text(side, y+3.6, d.fitted(d.Say(label), plain, 8.5, split-5-side), plain, 8.5)
		d.text(split, y+3.6, d.Say(dateWord.Plain()), plain, 8.5)
		d.y += room
	}
	d.y += betweenParts
}
