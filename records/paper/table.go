package paper

import (
	"strings"

	"caneward/blocks/words"
)

// Column is a table's column. Widths follow what stands in it; columns with
// Wraps share what is left over and break their texts into lines.
type Column struct {
	Head  words.Text
	Right bool // figures stand to the right
	Wraps bool
}

// Table is rows of texts under heads, one text a column. Missing texts are
// empty; those over are left out.
type Table struct {
	Columns []Column
	Rows    [][]string
	Total   []string // in bold below the rows; nil is none
}

const (
	tableType   Points      = 9
	cellPad     Millimetres = 1.3 // to both sides of a text
	rowPad      Millimetres = 0.55
	leastColumn Millimetres = 12
	// cellLines bounds a row's height; what is longer ends in an ellipsis.
	cellLines = 24
	// measured is how many rows widths are taken from before only every tenth is.
	measured = 400
)

// TableUnder writes a heading and its table. Where both do not fit on what is
// left but on a page of their own, they get one.
func (d *Doc) TableUnder(heading words.Text, t Table) {
	d.Break(0)
	if d.Err() != nil {
		return
	}
	widths := d.columnWidths(t)
	whole := headingType.line() + 1.5 + betweenParts + d.cells(t, widths, d.heads(t), bold).height
	whole += d.cells(t, widths, t.Total, bold).height
	for _, row := range t.Rows {
		if whole > d.page.height {
			break
		}
		whole += d.cells(t, widths, row, plain).height
	}
	if whole > d.Left() && whole <= d.page.floor()-d.headHeight() {
		d.Page(d.landscape())
	}
	d.Heading(heading)
	d.table(t, widths)
}

func (d *Doc) heads(t Table) []string {
	heads := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		heads[i] = d.Say(c.Head)
	}
	return heads
}

// Table writes a table over as many pages as it takes, its heads on each.
func (d *Doc) Table(t Table) {
	d.Break(0)
	if d.Err() != nil || len(t.Columns) == 0 {
		return
	}
	d.table(t, d.columnWidths(t))
}

func (d *Doc) table(t Table, widths []Millimetres) {
	if d.Err() != nil {
		return
	}
	head := d.cells(t, widths, d.heads(t), bold)
	first := true
	for i, row := range t.Rows {
		if d.Err() != nil {
			return
		}
		r := d.cells(t, widths, row, plain)
		need := r.height
		if first {
			need += head.height
		}
		if i == len(t.Rows)-1 && t.Total != nil {
			// The sum does not stand alone on a page.
			need += d.cells(t, widths, t.Total, bold).height
		}
		if first || d.y+need > d.page.floor() {
			d.Break(need)
			d.put(t, widths, head)
			d.rule(side, side+sum(widths), d.y, 0.4)
			first = false
		}
		d.put(t, widths, r)
		d.rule(side, side+sum(widths), d.y, 0.1)
	}
	if t.Total != nil {
		r := d.cells(t, widths, t.Total, bold)
		d.Break(r.height)
		if d.Err() != nil {
			return
		}
		d.rule(side, side+sum(widths), d.y, 0.4)
		d.put(t, widths, r)
		d.rule(side, side+sum(widths), d.y, 0.4)
	}
	d.y += betweenParts
}

// row is a table's row, its texts broken into lines.
type row struct {
	lines  [][]string
	face   face
	height Millimetres
}

func (d *Doc) cells(t Table, widths []Millimetres, texts []string, f face) row {
	r := row{lines: make([][]string, len(t.Columns)), face: f}
	most := 1
	for i := range t.Columns {
		if i >= len(texts) || texts[i] == "" {
			continue
		}
		r.lines[i] = d.wrapped(texts[i], f, tableType, widths[i]-2*cellPad)
		if len(r.lines[i]) > cellLines {
			r.lines[i] = append(r.lines[i][:cellLines-1:cellLines-1], "…")
		}
		most = max(most, len(r.lines[i]))
	}
	r.height = Millimetres(most)*tableType.line() + 2*rowPad
	return r
}

// put writes one row, heads standing on their last line.
func (d *Doc) put(t Table, widths []Millimetres, r row) {
	if d.Err() != nil {
		return
	}
	x := side
	for i, lines := range r.lines {
		for j, line := range lines {
			at := x + cellPad
			if t.Columns[i].Right {
				at = x + widths[i] - cellPad - d.width(line, r.face, tableType)
			}
			d.text(at, d.y+rowPad+Millimetres(j+1)*tableType.line()-1, line, r.face, tableType)
		}
		x += widths[i]
	}
	d.y += r.height
}

// columnWidths gives every column what its longest text and its head's longest
// word take. What is left over goes to heads that would break; what is too much
// for the page is taken from the columns that wrap, down to their head's longest
// word, then from all alike.
func (d *Doc) columnWidths(t Table) []Millimetres {
	widths := make([]Millimetres, len(t.Columns))
	for i, head := range d.heads(t) {
		for _, word := range strings.Fields(head) {
			widths[i] = max(widths[i], min(d.width(word, bold, tableType)+2*cellPad, d.page.inner()/2))
		}
	}
	least := make([]Millimetres, len(widths))
	for i, w := range widths {
		least[i] = max(w, leastColumn)
	}
	for n, texts := range t.Rows {
		if n < measured || n%10 == 0 || n > len(t.Rows)-measured {
			d.widen(widths, texts, plain)
		}
	}
	d.widen(widths, t.Total, bold)
	room := d.page.inner()
	over := sum(widths) - room
	if over <= 0 {
		for i, head := range d.heads(t) {
			if more := d.width(head, bold, tableType) + 2*cellPad - widths[i]; more > 0 && more <= -over {
				widths[i] += more
				over += more
			}
		}
		return widths
	}
	var soft Millimetres
	for i, c := range t.Columns {
		if c.Wraps {
			soft += max(widths[i]-least[i], 0)
		}
	}
	for i, c := range t.Columns {
		if c.Wraps && soft > 0 {
			widths[i] -= min(over, soft) * max(widths[i]-least[i], 0) / soft
		}
	}
	if total := sum(widths); total > room {
		for i := range widths {
			widths[i] *= room / total
		}
	}
	return widths
}

func (d *Doc) widen(widths []Millimetres, texts []string, f face) {
	for i := range min(len(widths), len(texts)) {
		widths[i] = max(widths[i], d.width(texts[i], f, tableType)+2*cellPad)
	}
}

func sum(widths []Millimetres) (w Millimetres) {
	for _, v := range widths {
		w += v
	}
	return w
}
