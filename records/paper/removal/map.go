package removal

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/plane"
	"caneward/records/paper"
	"caneward/records/review"
	"caneward/records/scouting"
)

var (
	keyOutline   = words.New("removal-key-outline", "outline of the block", "contorno del bloque")
	keyRow       = words.New("removal-key-row", "row, its number at plant 1", "hilera, con su número en la planta 1")
	keyUnseen    = words.New("removal-key-unseen", "not looked at: not clean", "no revisado: no quiere decir sano")
	keyConfirmed = words.New("removal-key-confirmed", "goes: confirmed", "se quita: confirmada")
	keyOther     = words.New("removal-key-other", "goes: between, beside, or in ground taken whole", "se quita: entre, al lado, o en terreno que se quita entero")
	keySuspected = words.New("removal-key-suspected", "only suspected: stays until proved", "solo sospechosa: se queda hasta probarlo")
	keySampled   = words.New("removal-key-sampled", "sample sent: stays until proved", "muestra enviada: se queda hasta probarlo")
	keyRefuted   = words.New("removal-key-refuted", "refuted", "descartado")
	keyWild      = words.New("removal-key-wild", "wild brambles on record", "zarzas silvestres registradas")

	outlineInk  = paper.Stroke{Width: 0.7}
	rowInk      = paper.Stroke{Width: 0.2}
	unseenHatch = paper.Hatch{Pattern: paper.Strokes, Gap: 1.6, Width: 0.15}
	wildInk     = paper.Stroke{Width: 0.4, Dash: paper.Dashed}
	wildHatch   = paper.Hatch{Pattern: paper.Stippled, Gap: 1.3, Width: 0.2}
)

const (
	belowMap  paper.Millimetres = 26 // room for what is said below
	leastMark paper.Millimetres = 1.5
	mostMark  paper.Millimetres = 3.4
)

// sheetMap is the frozen block ready to draw.
type sheetMap struct {
	v       review.View
	frame   plane.Frame
	outline plane.Region
	rows    map[int]blocks.Placed
	spacing geo.Metres // between rows, for the hatch
	causes  []scouting.Cause
}

// mapOf places the frozen block; false where its rows are not drawn.
func mapOf(v review.View, causes []scouting.Cause) (sheetMap, bool) {
	s := sheetMap{v: v, causes: causes, rows: map[int]blocks.Placed{}, spacing: v.Of.RowSpacing}
	shapes := []orb.Geometry{v.Of.Outline}
	for _, r := range v.Rows {
		shapes = append(shapes, r.Parts)
	}
	var err error
	if s.frame, err = plane.FrameOf(shapes...); err != nil || len(v.Rows) == 0 {
		return s, false
	}
	if s.outline, err = s.frame.Region(v.Of.Outline); err != nil {
		return s, false
	}
	for _, r := range v.Rows {
		placed, err := r.Place(s.frame, v.PlantSpacing)
		if err != nil {
			return s, false
		}
		s.rows[r.Number] = placed
	}
	if s.spacing <= 0 {
		s.spacing = usualSpacing
	}
	return s, true
}

// usualSpacing widens the hatch where the block does not say how far its rows
// stand apart (10 ft, trade notes 3).
const usualSpacing geo.Metres = 3.048

// show is all that must be on the map: the block, its rows, what is marked.
func (s sheetMap) show() (all []plane.XY) {
	for _, polygon := range s.outline {
		for _, ring := range polygon {
			all = append(all, ring...)
		}
	}
	for _, r := range s.v.Rows {
		for _, line := range s.rows[r.Number].Lines {
			all = append(all, line...)
		}
	}
	return all
}

// shapeOf is the mark of a cause: systemic rust a diamond, other rusts a
// triangle, galls a circle, anything else a square.
func shapeOf(c scouting.Cause) paper.Shape {
	switch c {
	case scouting.OrangeRust:
		return paper.Diamond
	case scouting.CaneLeafRust, scouting.LateLeafRust, scouting.YellowRust:
		return paper.Triangle
	case scouting.CrownGall, scouting.CaneBorerGall:
		return paper.Circle
	}
	return paper.Square
}

var fills = map[scouting.State]paper.Fill{scouting.Suspected: paper.Hollow, scouting.Sampled: paper.Dot, scouting.Confirmed: paper.Filled, scouting.Refuted: paper.CrossedOut}

// keys are the lines of the legend; withWild is whether wild brambles are on the
// map.
func (s sheetMap) keys(withWild bool) []paper.Key {
	shape := shapeOf(s.causes[0])
	mark := func(f paper.Fill) *paper.Mark { return &paper.Mark{Shape: shape, Fill: f} }
	keys := []paper.Key{
		{Text: keyOutline.Plain(), Stroke: &outlineInk},
		{Text: keyRow.Plain(), Stroke: &rowInk},
		{Text: keyConfirmed.Plain(), Mark: mark(paper.Filled)},
		{Text: keyOther.Plain(), Mark: &paper.Mark{Shape: paper.Cross}},
		{Text: keySuspected.Plain(), Mark: mark(paper.Hollow)},
		{Text: keySampled.Plain(), Mark: mark(paper.Dot)},
	}
	if e := s.v.Effort; e.Of == 0 || e.Plants < e.Of {
		keys = append(keys, paper.Key{Text: keyUnseen.Plain(), Stroke: &rowInk, Hatch: &unseenHatch})
	}
	if s.has(scouting.Refuted) {
		keys = append(keys, paper.Key{Text: keyRefuted.Plain(), Mark: mark(paper.CrossedOut)})
	}
	if withWild {
		keys = append(keys, paper.Key{Text: keyWild.Plain(), Stroke: &wildInk, Hatch: &wildHatch})
	}
	return keys
}

func (s sheetMap) has(state scouting.State) bool {
	for _, f := range s.v.Finds {
		if f.State == state && slices.Contains(s.causes, f.Cause) {
			return true
		}
	}
	return false
}

// nearWild are the wild brambles on record near the block, nearest first.
func (s sheetMap) nearWild() (all []wild) {
	for _, a := range s.v.Surroundings {
		shape, err := s.frame.Shape(a.Shape)
		if a.Kind != blocks.WildBrambles || err != nil {
			continue // too far off for this frame: not near the block
		}
		d, _, _ := buffer.Nearest(plane.Shape{Ground: s.outline}, shape)
		all = append(all, wild{a.Name, shape, d})
	}
	slices.SortStableFunc(all, func(a, b wild) int { return cmp.Compare(a.off, b.off) })
	return all
}

type wild struct {
	name  string
	shape plane.Shape
	off   geo.Metres // from the block
}

// draw fills the map and gives the keys that hold.
func (s sheetMap) draw(m *paper.Map) []paper.Key {
	withWild := s.drawWild(m)
	s.drawUnseen(m)
	m.Area(s.outline, outlineInk, paper.Hatch{})
	for _, r := range s.v.Rows {
		m.Lines(rowInk, s.rows[r.Number].Lines...)
	}
	size := leastMark
	if s.v.PlantSpacing > 0 {
		size = min(max(m.Scale.On(s.v.PlantSpacing)*0.95, leastMark), mostMark)
	}
	s.drawMarks(m, size)
	for _, r := range s.v.Rows {
		end, off := s.rows[r.Number].FirstEnd()
		m.RowNumber(r.Number, end, off)
	}
	return s.keys(withWild)
}

// drawWild draws wild brambles and tells whether any are on the map.
func (s sheetMap) drawWild(m *paper.Map) (any bool) {
	for _, w := range s.nearWild() {
		m.Area(w.shape.Ground, wildInk, wildHatch)
		m.Lines(wildInk, w.shape.Lines...)
		for _, p := range w.shape.Points {
			m.Mark(p, paper.Mark{Shape: paper.Square, Fill: paper.Hollow})
		}
		corners := slices.Clone(w.shape.Points)
		for _, line := range w.shape.Lines {
			corners = append(corners, line...)
		}
		for _, polygon := range w.shape.Ground {
			for _, ring := range polygon {
				corners = append(corners, ring...)
			}
		}
		any = any || slices.ContainsFunc(corners, m.Inside)
	}
	return any
}

// drawUnseen hatches the strips of plants nobody looked at.
func (s sheetMap) drawUnseen(m *paper.Map) {
	for _, r := range s.v.Rows {
		placed := s.rows[r.Number]
		var run []plane.XY
		flush := func() {
			if len(run) > 0 {
				m.Area(strip(run, float64(s.spacing)/2, float64(s.v.PlantSpacing)/2), paper.Stroke{}, unseenHatch)
			}
			run = nil
		}
		placed.Each(func(plant int, at plane.XY) {
			if s.v.Effort.Saw(r.Number, plant) || r.Skipped {
				flush()
				return
			}
			// A cut in the row ends a strip.
			if n := len(run); n > 0 && float64(run[n-1].Distance(at)) > 3*max(float64(s.v.PlantSpacing), 1) {
				flush()
			}
			run = append(run, at)
		})
		flush()
	}
}

// strip is ground so wide on both sides of a line through plants, and so far
// beyond its ends.
func strip(line []plane.XY, side, beyond float64) plane.Region {
	way := plane.XY{Y: 1}
	if n := len(line); n > 1 {
		d := line[n-1].Minus(line[0])
		way = d.Times(1 / math.Hypot(d.X, d.Y))
	}
	across := plane.XY{X: way.Y, Y: -way.X}.Times(side)
	first, last := line[0].Minus(way.Times(beyond)), line[len(line)-1].Plus(way.Times(beyond))
	ring := plane.Ring{first.Plus(across)}
	for _, p := range line {
		ring = append(ring, p.Plus(across))
	}
	ring = append(ring, last.Plus(across), last.Minus(across))
	for i := len(line) - 1; i >= 0; i-- {
		ring = append(ring, line[i].Minus(across))
	}
	ring = append(ring, first.Minus(across), ring[0])
	return plane.Region{{ring}}
}

func (s sheetMap) drawMarks(m *paper.Map, size paper.Millimetres) {
	at := func(p review.Plant) (plane.XY, bool) {
		placed, known := s.rows[p.Row]
		if !known {
			return plane.XY{}, false
		}
		return placed.XY(p.Plant)
	}
	drawn := map[review.Plant]bool{}
	causes := map[review.Plant]scouting.Cause{}
	for _, f := range s.v.Finds {
		if f.State == scouting.Confirmed && slices.Contains(s.causes, f.Cause) {
			causes[review.Plant{Row: f.Row, Plant: f.Plant}] = f.Cause
		}
	}
	for _, t := range s.v.List.Remove {
		xy, ok := at(t.Place())
		if !ok {
			continue
		}
		mark := paper.Mark{Shape: paper.Cross, Size: size}
		if t.Why == review.BecauseConfirmed {
			mark = paper.Mark{Shape: shapeOf(causes[t.Place()]), Fill: paper.Filled, Size: size}
		}
		m.Mark(xy, mark)
		drawn[t.Place()] = true
	}
	for _, f := range s.v.Finds {
		p := review.Plant{Row: f.Row, Plant: f.Plant}
		if xy, ok := at(p); ok && !drawn[p] && f.State != scouting.Confirmed && slices.Contains(s.causes, f.Cause) {
			m.Mark(xy, paper.Mark{Shape: shapeOf(f.Cause), Fill: fills[f.State], Size: size})
			drawn[p] = true
		}
	}
}
