package layout

import (
	"math"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
)

// UsualTieOff is the wire for tying off one end of one wire where nobody says
// otherwise. Common practice, no source.
const UsualTieOff geo.Metres = 1

// Bounds of what an order is asked for with.
const (
	maxSpare   = 100 // percent
	maxWires   = 20
	maxLines   = 10
	maxTieOff  = geo.Metres(50)
	wholePlant = 1e-6 // of a plant is the noise of the percentage and orders none
)

var (
	cannotOrder  = words.New("layout-cannot-order", "This order cannot be drawn up.", "Este pedido no se puede preparar.")
	orderBounds  = words.New("layout-order-bounds", "This must lie between 0 and {greatest}; it is {value}.", "Debe estar entre 0 y {greatest}; es {value}.")
	howPlants    = words.New("layout-how-plants", "{plants} plants laid out, one at each end-to-end multiple of {spacing} m on {parts} parts of rows", "{plants} plantas trazadas, una en cada múltiplo de {spacing} m en {parts} tramos de hilera")
	howOrder     = words.New("layout-how-order", "{plants} plants x (100 + {percent}) / 100 = {exact}, rounded up to whole plants", "{plants} plantas x (100 + {percent}) / 100 = {exact}, redondeado hacia arriba a plantas enteras")
	howPosts     = words.New("layout-how-posts", "posts at both ends of each of {parts} parts and every {spacing} m between: {ends} end posts + {between} others", "postes en ambos extremos de cada uno de los {parts} tramos y cada {spacing} m entre ellos: {ends} de extremo + {between} otros")
	howEndPosts  = words.New("layout-how-end-posts", "2 x {parts} parts of rows", "2 x {parts} tramos de hilera")
	howWire      = words.New("layout-how-wire", "{wires} wires x ({metres} m of row + 2 ends x {tie} m to tie off x {parts} parts)", "{wires} alambres x ({metres} m de hilera + 2 extremos x {tie} m de amarre x {parts} tramos)")
	howLine      = words.New("layout-how-line", "{lines} emitter lines a row x {metres} m of row; none over headlands, alleys or between parts", "{lines} líneas de goteo por hilera x {metres} m de hilera; nada sobre cabeceras, calles ni entre tramos")
	unitPlants   = words.New("layout-unit-plants", "plants", "plantas")
	unitPosts    = words.New("layout-unit-posts", "posts", "postes")
	fromLayout   = words.New("layout-source-counted", "counted in this layout", "contado en este trazado")
	fromPractice = words.New("layout-source-practice", "common practice; the figures are the grower's", "práctica común; las cifras son del productor")
)

// Supplies is what an order is asked for with; 0 leaves a thing out.
type Supplies struct {
	SparePercent float64
	Wires        int        // one above the other, along every part of a row
	TieOff       geo.Metres // of one wire at one end of one part
	Lines        int        // emitter lines a row
}

// Order is what the layout needs. Posts come from the layout's post spacing.
type Order struct {
	Plants       int // laid out
	SparePercent float64
	Exact        float64 // with the spare plants
	ToOrder      int     // Exact, rounded up
	Posts        int     // end posts included
	EndPosts     int
	Wire         geo.Metres
	Line         geo.Metres
	How          []Figure
}

// Figure shows how a number of the order comes about.
type Figure struct {
	What   string // for machines: "plants", "to-order", "posts", "end-posts", "wire", "line"
	Text   words.Text
	Value  float64
	Unit   string // "plants", "posts", "m"
	Source words.Text
}

var figureNames = map[string]words.Message{
	"plants":    words.New("layout-figure-plants", "Plants laid out", "Plantas trazadas"),
	"to-order":  words.New("layout-figure-to-order", "Plants to order", "Plantas para pedir"),
	"posts":     words.New("layout-figure-posts", "Posts", "Postes"),
	"end-posts": words.New("layout-figure-end-posts", "End posts among them", "De ellos, de extremo"),
	"wire":      words.New("layout-figure-wire", "Wire", "Alambre"),
	"line":      words.New("layout-figure-line", "Emitter line", "Línea de goteo"),
}

// Name is what the figure is of, for people.
func (f Figure) Name() words.Text { return figureNames[f.What].Plain() }

// UnitName is the unit for people.
func (f Figure) UnitName() words.Text {
	switch f.Unit {
	case "plants":
		return unitPlants.Plain()
	case "posts":
		return unitPosts.Plain()
	}
	return words.Verbatim(f.Unit)
}

// Check refuses supplies that cannot be meant.
func (s Supplies) Check() error {
	var details []fault.Detail
	for _, f := range []struct {
		field           string
		value, greatest float64
	}{{"spare_percent", s.SparePercent, maxSpare}, {"wires", float64(s.Wires), maxWires},
		{"tie_off_m", float64(s.TieOff), float64(maxTieOff)}, {"lines_per_row", float64(s.Lines), maxLines}} {
		if !(f.value >= 0 && f.value <= f.greatest) {
			details = append(details, fault.Detail{Field: f.field, Text: orderBounds.With(words.Args{"greatest": f.greatest, "value": f.value})})
		}
	}
	if details != nil {
		return fault.New(fault.Invalid, cannotOrder.Plain(), details...)
	}
	return nil
}

// Order draws the order up. Refusals: fault.Invalid for supplies out of bounds.
func (l Layout) Order(s Supplies) (Order, error) {
	if err := s.Check(); err != nil {
		return Order{}, err
	}
	parts, metres := l.parts(), float64(l.RowLength)
	o := Order{Plants: l.Plants, SparePercent: s.SparePercent, Exact: float64(l.Plants) * (100 + s.SparePercent) / 100, Posts: l.Posts, EndPosts: l.EndPosts}
	o.ToOrder = int(math.Ceil(o.Exact - wholePlant))
	shows := func(what string, value float64, unit string, source, m words.Message, args words.Args) {
		o.How = append(o.How, Figure{what, m.With(args), value, unit, source.Plain()})
	}
	shows("plants", float64(o.Plants), "plants", fromLayout, howPlants, words.Args{"plants": o.Plants, "spacing": float64(l.Spec.PlantSpacing), "parts": parts})
	shows("to-order", float64(o.ToOrder), "plants", fromPractice, howOrder, words.Args{"plants": o.Plants, "percent": s.SparePercent, "exact": math.Round(o.Exact*100) / 100})
	if l.Spec.PostSpacing > 0 {
		shows("posts", float64(o.Posts), "posts", fromLayout, howPosts, words.Args{"parts": parts, "spacing": float64(l.Spec.PostSpacing), "ends": o.EndPosts, "between": o.Posts - o.EndPosts})
		shows("end-posts", float64(o.EndPosts), "posts", fromLayout, howEndPosts, words.Args{"parts": parts})
	}
	if s.Wires > 0 {
		o.Wire = geo.Metres(float64(s.Wires) * (metres + 2*float64(s.TieOff)*float64(parts)))
		shows("wire", float64(o.Wire), "m", fromPractice, howWire, words.Args{"wires": s.Wires, "metres": tenths(metres), "tie": float64(s.TieOff), "parts": parts})
	}
	if s.Lines > 0 {
		o.Line = geo.Metres(float64(s.Lines) * metres)
		shows("line", float64(o.Line), "m", fromPractice, howLine, words.Args{"lines": s.Lines, "metres": tenths(metres)})
	}
	return o, nil
}
