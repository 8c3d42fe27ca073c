package paper

import "caneward/blocks/words"

// posterType is read from some steps away: letters of about 9 mm, as large as a
// sentence on a sheet allows.
const posterType Points = 34

// Poster writes sentences in large bold type inside a thick frame, each from a
// new line: for what hangs up beside the ground.
func (d *Doc) Poster(texts ...words.Text) {
	const pad Millimetres = 6
	var lines []string
	for _, t := range texts {
		lines = append(lines, d.wrapped(d.Say(t), bold, posterType, d.inner()-2*pad)...)
	}
	height := 2*pad + Millimetres(len(lines))*posterType.line()
	d.Break(height)
	if d.Err() != nil {
		return
	}
	d.boxed(side, d.y, d.page.inner(), height, Stroke{Width: 1.6})
	y := d.y + pad
	for _, line := range lines {
		y += posterType.line()
		d.text(side+pad, y-posterType.line()*0.25, line, bold, posterType)
	}
	d.y += height + betweenParts
}
