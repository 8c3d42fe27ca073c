package plan

import (
	"strconv"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records/paper"
)

var (
	keyOutline   = words.New("plan-key-outline", "outline of the block", "contorno del bloque")
	keyRow       = words.New("plan-key-row", "row", "hilera")
	keyFirst     = words.New("plan-key-first", "plant 1 and the number of the row", "planta 1 y número de la hilera")
	keySkipped   = words.New("plan-key-skipped", "row left unplanted", "hilera sin plantar")
	keyBare      = words.New("plan-key-bare", "in the block, no row: headlands, margins, alleys", "en el bloque, sin hilera: cabeceras, márgenes, calles")
	keyHole      = words.New("plan-key-hole", "not part of the block", "no es parte del bloque")
	keyPosts     = words.New("plan-key-posts", "post", "poste")
	keyNeighbour = words.New("plan-key-neighbour", "other block", "otro bloque")
)

// The inks of the map.
var (
	outlineInk   = paper.Stroke{Width: 0.7}
	rowInk       = paper.Stroke{Width: 0.4}
	skippedInk   = paper.Stroke{Width: 0.4, Dash: paper.Dashed}
	neighbourInk = paper.Stroke{Width: 0.2, Dash: paper.DashDotted}
	thinInk      = paper.Stroke{Width: 0.25}
	bareHatch    = paper.Hatch{Pattern: paper.Stippled, Gap: 1.5, Width: 0.12}
	holeHatch    = paper.Hatch{Pattern: paper.Crossed, Gap: 2}
	firstMark    = paper.Mark{Shape: paper.Circle, Fill: paper.Filled, Size: 1.5}
	postMark     = paper.Mark{Shape: paper.Bar, Size: 2}
)

const (
	// closest is how near posts may come to each other on paper before they are
	// a line, and firsts before they are one.
	closest paper.Millimetres = 1.6
	// postTick is a post's stroke across its row.
	postTick paper.Millimetres = 1.6
	// nameGap is from plant 1 to the row's number.
	nameGap paper.Millimetres = 1.6
)

// keys are the lines of the legend; withPosts is what was asked, not what fits.
func (p Plan) keys(withPosts bool) []paper.Key {
	keys := []paper.Key{
		{Text: keyOutline.Plain(), Stroke: &outlineInk},
		{Text: keyRow.Plain(), Stroke: &rowInk},
		{Text: keyFirst.Plain(), Mark: &firstMark},
		{Text: keyBare.Plain(), Stroke: &thinInk, Hatch: &bareHatch},
	}
	if p.ground.Holes() > 0 {
		keys = append(keys, paper.Key{Text: keyHole.Plain(), Stroke: &thinInk, Hatch: &holeHatch})
	}
	if p.skipped() > 0 {
		keys = append(keys, paper.Key{Text: keySkipped.Plain(), Stroke: &skippedInk})
	}
	if withPosts {
		keys = append(keys, paper.Key{Text: keyPosts.Plain(), Mark: &postMark, Stroke: &rowInk})
	}
	if len(p.neighbours) > 0 {
		keys = append(keys, paper.Key{Text: keyNeighbour.Plain(), Stroke: &neighbourInk})
	}
	return keys
}

func (p Plan) skipped() (n int) {
	for _, r := range p.rows {
		if r.skipped() {
			n++
		}
	}
	return n
}

// show is all that must be on the map.
func (p Plan) show() (all []plane.XY) {
	for _, polygon := range p.ground {
		for _, ring := range polygon {
			all = append(all, ring...)
		}
	}
	for _, r := range p.rows {
		for _, line := range r.Lines {
			all = append(all, line...)
		}
	}
	return all
}

// draw fills the map and gives the keys that hold.
func (p Plan) draw(m *paper.Map) []paper.Key {
	for _, n := range p.neighbours {
		m.Area(n.ground, neighbourInk, paper.Hatch{})
	}
	m.Area(p.ground, paper.Stroke{}, bareHatch)
	// A row's strip is as wide as the spacing: white over the stippled ground, what
	// is left of that is headland, margin and alley.
	strip := paper.Stroke{Width: m.Scale.On(p.rowSpacing) + 0.02, White: true}
	var planted, skipped []plane.Line
	for _, r := range p.rows {
		if r.skipped() {
			skipped = append(skipped, r.Lines...)
		} else {
			planted = append(planted, r.Lines...)
		}
	}
	m.Lines(strip, planted...)
	p.drawHoles(m)
	m.Area(p.ground, outlineInk, paper.Hatch{})
	m.Lines(rowInk, planted...)
	m.Lines(skippedInk, skipped...)
	withPosts := p.drawPosts(m, planted)
	p.drawNumbers(m)
	for _, n := range p.neighbours {
		if len(n.ground) > 0 {
			box := n.ground.Box()
			m.Label(paper.Label{At: box.Min.Plus(box.Max).Times(0.5), Text: n.name, Spots: []paper.Spot{{}}})
		}
	}
	return p.keys(withPosts)
}

func (p Plan) drawHoles(m *paper.Map) {
	for _, polygon := range p.ground {
		for _, hole := range polygon[1:] {
			m.Area(plane.Region{{hole}}, paper.Stroke{Width: 0.4, White: true}, paper.Hatch{})
			m.Area(plane.Region{{hole}}, thinInk, holeHatch)
		}
	}
}

// drawPosts puts a stroke across each row at every post, where they stand far
// enough apart to be told from each other.
func (p Plan) drawPosts(m *paper.Map, lines []plane.Line) bool {
	spacing := p.ask.PostSpacing
	if spacing <= 0 || m.Scale.On(spacing) < closest || m.Scale.On(p.rowSpacing) < closest {
		return false
	}
	half := float64(m.Scale.Ground(postTick / 2))
	var ticks []plane.Line
	for _, line := range lines {
		for _, s := range posts(line.Length(), spacing) {
			at, way := along(line, s)
			across := plane.XY{X: -way.Y, Y: way.X}.Times(half)
			ticks = append(ticks, plane.Line{at.Minus(across), at.Plus(across)})
		}
	}
	m.Lines(paper.Stroke{Width: 0.3}, ticks...)
	return true
}

// posts are the places of posts along a part: every spacing from its first end,
// and one at its far end.
// None without a spacing.
func posts(length, spacing geo.Metres) (at []geo.Metres) {
	if spacing <= 0 {
		return nil
	}
	const met geo.Metres = 0.001 // nearer to the far end than this is the far end
	for s := geo.Metres(0); s < length-met; s += spacing {
		at = append(at, s)
	}
	return append(at, length)
}

// along is the place s metres down a line, and the way it runs there.
func along(line plane.Line, s geo.Metres) (at, way plane.XY) {
	for i := 1; i < len(line); i++ {
		piece := line[i-1].Distance(line[i])
		if piece == 0 {
			continue
		}
		way = line[i].Minus(line[i-1]).Times(1 / float64(piece))
		if s <= piece || i == len(line)-1 {
			return line[i-1].Plus(way.Times(float64(min(s, piece)))), way
		}
		s -= piece
	}
	return line[len(line)-1], way
}

// drawNumbers marks plant 1 of each row and numbers the rows there: all of
// them, or where they are too close every second, fifth, tenth and so on, and
// always the last.
func (p Plan) drawNumbers(m *paper.Map) {
	room := m.Scale.On(p.rowSpacing)
	if p.rowSpacing <= 0 {
		room = closest
	}
	last := len(p.rows) - 1
	// Level numbers of two digits take 4.5 mm across the rows, laid ones 3.2 mm.
	laid := room < 4.5
	step := 1
	for _, next := range []int{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000} {
		step = next
		if room*paper.Millimetres(step) >= 3.2 {
			break
		}
	}
	for _, i := range append([]int{0, last}, every(len(p.rows), step)...) {
		if i < 0 {
			continue // no rows
		}
		r := p.rows[i]
		at, back := r.firstPlant()
		mark := firstMark
		mark.Size = min(mark.Size, max(room*0.6, 0.8))
		m.Mark(at, mark)
		m.Label(paper.Label{At: at, Text: strconv.Itoa(r.number()), Bold: i == 0 || i == last,
			Spots: []paper.Spot{m.Beyond(back, nameGap, laid), m.Beyond(back, nameGap+2, laid)}})
	}
}

// firstPlant is where the row's lowest number stands, or its first end where no
// numbers are known, and the bearing away from the row there.
func (r row) firstPlant() (at plane.XY, back geo.Degrees) {
	part, s := 1, geo.Metres(0)
	if len(r.Runs) > 0 {
		part, s = r.Runs[0].Part, r.Runs[0].At
	}
	line := r.Lines[part-1]
	at = r.Along(part, s)
	_, way := along(line, s)
	back = heading(way, plane.XY{})
	if n := len(r.Runs); n > 0 && r.Runs[0].Spacing < 0 {
		back += 180
	}
	return at, back
}

// every gives the indexes between the first and the last whose number is a
// multiple of step.
func every(n, step int) (out []int) {
	for i := 1; i < n-1; i++ {
		if (i+1)%step == 0 {
			out = append(out, i)
		}
	}
	return out
}
