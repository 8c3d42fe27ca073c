package walk

import (
	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/geo/plane"
	"caneward/records/paper"
	"caneward/records/scouting"
)

// placed is something to draw at a plant.
type placed struct {
	scouting.Place
	mark paper.Mark
	text string // beside it; "" for none
}

var (
	keyOutline = words.New("walk-key-outline", "outline of the block", "contorno del bloque")
	keyRow     = words.New("walk-key-row", "row, its number at plant 1", "hilera, con su número en la planta 1")
	notDrawn   = words.New("walk-not-drawn", "The rows are not drawn, so there is no map: go by row and plant.", "Las hileras no están dibujadas, por eso no hay mapa: guíese por hilera y planta.")

	outlineInk = paper.Stroke{Width: 0.7}
	rowInk     = paper.Stroke{Width: 0.25}
)

const (
	markGap  paper.Millimetres = 2.4 // from a mark to its text
	belowMap paper.Millimetres = 32  // for what is said below the map
)

// sheet begins a document with the block's map and what stands on it, or with a
// page that says that there is no map.
func (g Ground) sheet(d *paper.Doc, all []placed, keys ...paper.Key) {
	rows, frame, ok := g.drawn()
	if !ok {
		d.Page(false)
		d.Paragraph(notDrawn.Plain())
		return
	}
	var show []plane.XY
	outline, err := frame.Region(g.Outline)
	if err == nil {
		for _, polygon := range outline {
			for _, ring := range polygon {
				show = append(show, ring...)
			}
		}
	}
	for _, r := range g.Rows {
		for _, line := range rows[r.Number].Lines {
			show = append(show, line...)
		}
	}
	keys = append([]paper.Key{{Text: keyOutline.Plain(), Stroke: &outlineInk}, {Text: keyRow.Plain(), Stroke: &rowInk}}, keys...)
	m := d.MapPage(paper.Ground{Show: show}, keys, belowMap)
	m.Area(outline, outlineInk, paper.Hatch{})
	for _, r := range g.Rows {
		m.Lines(rowInk, rows[r.Number].Lines...)
	}
	for _, p := range all {
		if at, ok := rows[p.Row].XY(p.Plant); ok {
			m.Mark(at, p.mark)
			if p.text != "" {
				m.Label(paper.Label{At: at, Text: p.text, Bold: true, Spots: paper.Around(markGap)})
			}
		}
	}
	for _, r := range g.Rows {
		end, off := rows[r.Number].FirstEnd()
		m.RowNumber(r.Number, end, off)
	}
	m.Close(keys...)
}

// drawn places the rows that are drawn in one frame, by number.
func (g Ground) drawn() (rows map[int]blocks.Placed, frame plane.Frame, ok bool) {
	shapes := []orb.Geometry{}
	if len(g.Outline) > 0 {
		shapes = append(shapes, g.Outline)
	}
	for _, r := range g.Rows {
		shapes = append(shapes, r.Parts)
	}
	frame, err := plane.FrameOf(shapes...)
	if err != nil || len(g.Rows) == 0 {
		return nil, frame, false
	}
	rows = map[int]blocks.Placed{}
	for _, r := range g.Rows {
		p, err := r.Place(frame, g.PlantSpacing)
		if err != nil {
			return nil, frame, false
		}
		rows[r.Number] = p
	}
	return rows, frame, true
}
