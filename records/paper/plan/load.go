// Package plan prints a planting plan: a block to scale with its rows, what
// they hold, what to order, and how the figures came about.
package plan

import (
	"context"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/review"
)

// MaxRows bounds a plan on paper; its table takes a page for every forty.
const MaxRows = 5000

// maxNeighbours bounds the other blocks drawn.
const maxNeighbours = 60

var (
	noSuchBlock = words.New("plan-no-such-block", "There is no such block on this farm.", "No hay tal bloque en esta finca.")
	noRows      = words.New("plan-no-rows", "This block has no rows yet, nor the spacings to lay them out. Give row_spacing_m and plant_spacing_m.", "Este bloque aún no tiene hileras ni las distancias para trazarlas. Indique row_spacing_m y plant_spacing_m.")
	tooManyRows = words.New("plan-too-many-rows", "The block has more than {limit} rows; so many are not printed on one plan.", "El bloque tiene más de {limit} hileras; tantas no se imprimen en un plano.")
	badRow      = words.New("plan-bad-row", "The row record {id} cannot be read: {problem}", "El registro de hilera {id} no se puede leer: {problem}")
)

// Ask is what is to be printed.
type Ask struct {
	Block records.ID
	// Anew lays rows out; nil prints the rows on record, or, where there are none,
	// what the block's own figures give.
	Anew *Anew
	// PostSpacing sets posts on the rows, on record or not; 0 sets none.
	PostSpacing geo.Metres
	Supplies    layout.Supplies
	Band        geo.Metres // treated width along a row; 0 is not asked
	RowsUp      bool       // the rows, not north, point up the page
}

// Anew is a layout asked for. Spacings of 0 are the block's own, and so is what
// the other fields say.
type Anew struct {
	Spec       layout.Spec
	OwnBearing bool // else that of the longest side
	OwnSide    bool
	OwnEnd     bool
}

// Plan is a block with its rows, ready to print.
type Plan struct {
	ask     Ask
	block   blocks.Block
	frame   plane.Frame
	ground  plane.Region
	outline orb.MultiPolygon

	rows       []row
	stored     bool
	rowSpacing geo.Metres
	plant      geo.Metres
	bearing    geo.Degrees
	layout     layout.Layout // of the rows on record only rows and sums
	neighbours []neighbour
	toFill     *review.Places // of the rows on record; nil where they are not counted
}

// row is a row as printed, from either source.
type row struct{ blocks.Placed }

func (r row) number() int   { return r.Row.Number }
func (r row) skipped() bool { return r.Row.Skipped }

// places counts the numbers that have one, those without a plant included.
func (r row) places() (n int) {
	for _, run := range r.Runs {
		n += run.Plants
	}
	return n
}

func (r row) empty() int { return len(r.Row.Missing) }

type neighbour struct {
	name   string
	ground plane.Region
}

func (r row) length() (m geo.Metres) {
	for _, line := range r.Lines {
		m += line.Length()
	}
	return m
}

// Load reads what a plan shows. Refusals: fault.Invalid for a block that is
// none, has no rows or cannot be placed, fault.TooCostly over MaxRows; else
// those of layout.Plan.
func Load(ctx context.Context, r records.Reader, ask Ask) (Plan, error) {
	rev, err := r.Current(records.Blocks, ask.Block)
	if fault.Is(err, fault.Missing) {
		return Plan{}, fault.New(fault.Invalid, noSuchBlock.Plain(), fault.Detail{Text: noSuchBlock.Plain(), Field: "block"})
	}
	if err != nil {
		return Plan{}, err
	}
	checked, _, refusal := intake.Check(rev.Record.Geometry)
	if refusal != nil {
		return Plan{}, refusal
	}
	b, _ := blocks.Parse(checked, rev.Record.Properties)
	p := Plan{ask: ask, block: b, outline: b.Outline, rowSpacing: b.RowSpacing, plant: b.PlantSpacing}
	if p.frame, err = plane.FrameOf(b.Outline); err != nil {
		return Plan{}, fault.Wrap(fault.Invalid, err, noSuchBlock.Plain())
	}
	if p.ground, err = p.frame.Region(b.Outline); err != nil {
		return Plan{}, fault.Wrap(fault.Invalid, err, noSuchBlock.Plain())
	}
	if ask.Anew == nil {
		if err := p.readRows(ctx, r); err != nil {
			return Plan{}, err
		}
	}
	if err := p.readNeighbours(r); err != nil {
		return Plan{}, err
	}
	if !p.stored {
		if err := p.layOut(ctx); err != nil {
			return Plan{}, err
		}
	}
	return p, nil
}

// readRows takes the rows on record, by number.
func (p *Plan) readRows(ctx context.Context, r records.Reader) error {
	page, err := r.List(records.Rows, records.Query{Equal: map[string]string{"block": string(p.ask.Block)}, Limit: MaxRows + 1})
	if err != nil {
		return err
	}
	if len(page.Revisions) > MaxRows {
		return fault.New(fault.TooCostly, tooManyRows.With(words.Args{"limit": MaxRows}))
	}
	for _, rev := range page.Revisions {
		if err := ctx.Err(); err != nil {
			return err
		}
		stored, faults := blocks.ParseRow(rev.Record.Geometry, rev.Record.Properties)
		if len(faults) > 0 {
			return fault.New(fault.Invalid, badRow.With(words.Args{"id": string(rev.ID), "problem": faults[0].Text}))
		}
		placed, err := stored.Place(p.frame, p.plant)
		if err != nil {
			return fault.Wrap(fault.Invalid, err, badRow.With(words.Args{"id": string(rev.ID), "problem": err.Error()}))
		}
		p.rows = append(p.rows, row{placed})
	}
	slices.SortStableFunc(p.rows, func(a, b row) int { return a.number() - b.number() })
	p.stored = len(p.rows) > 0
	if p.stored {
		if p.toFill, err = review.EmptyPlaces(r, p.ask.Block); err != nil {
			return err
		}
		p.bearing = bearingOf(p.rows)
		p.sumUp()
	}
	return nil
}

// sumUp gives the rows on record the form orders are drawn up from.
func (p *Plan) sumUp() {
	l := layout.Layout{Outline: measure.Area(p.outline), Spec: layout.Spec{RowSpacing: p.rowSpacing, PlantSpacing: p.plant, PostSpacing: p.ask.PostSpacing}}
	for _, r := range p.rows {
		out := layout.Row{Number: r.number(), Skipped: r.skipped(), Parts: make([]layout.Part, len(r.Lines))}
		if !r.skipped() {
			out.Length, out.Plants = r.length(), r.places()
			for _, line := range r.Lines {
				out.Posts += len(posts(line.Length(), p.ask.PostSpacing))
			}
			if p.ask.PostSpacing > 0 {
				l.EndPosts += 2 * len(r.Lines)
			}
		}
		l.Rows = append(l.Rows, out)
		l.RowLength, l.Plants, l.Posts = l.RowLength+out.Length, l.Plants+out.Plants, l.Posts+out.Posts
	}
	l.Planted = geo.SquareMetres(float64(l.RowLength) * float64(p.rowSpacing))
	p.layout = l
}

// heading is the bearing from a to b in the frame.
func heading(a, b plane.XY) geo.Degrees {
	return geo.Degrees(math.Atan2(b.X-a.X, b.Y-a.Y) * 180 / math.Pi).Normal()
}

// bearingOf is the way the longest row runs.
func bearingOf(rows []row) geo.Degrees {
	var longest geo.Metres
	var b geo.Degrees
	for _, r := range rows {
		for _, line := range r.Lines {
			if l := line.Length(); l > longest {
				longest = l
				b = heading(line[0], line[len(line)-1])
			}
		}
	}
	return b
}

// layOut fits rows by the figures asked for, or by the block's own.
func (p *Plan) layOut(ctx context.Context) error {
	anew := Anew{OwnBearing: true, OwnSide: true, OwnEnd: true}
	if p.ask.Anew != nil {
		anew = *p.ask.Anew
	}
	spec := anew.Spec
	spec.PostSpacing = p.ask.PostSpacing
	if spec.RowSpacing == 0 {
		spec.RowSpacing = p.block.RowSpacing
	}
	if spec.PlantSpacing == 0 {
		spec.PlantSpacing = p.block.PlantSpacing
	}
	if spec.RowSpacing == 0 || spec.PlantSpacing == 0 {
		return fault.New(fault.Invalid, noRows.Plain(), fault.Detail{Text: noRows.Plain(), Field: "row_spacing_m"})
	}
	if anew.OwnSide {
		spec.FromRight = p.block.FirstRowSide == blocks.Right
	}
	if anew.OwnEnd {
		spec.FromFarEnd = p.block.FirstPlantEnd == blocks.Farther
	}
	if anew.OwnBearing && p.block.RowBearing != nil {
		spec.Bearing = *p.block.RowBearing
	} else if anew.OwnBearing {
		spec.Bearing = layout.LongestSide(p.outline)
	}
	l, err := layout.Plan(ctx, p.outline, spec)
	if err != nil {
		return err
	}
	if len(l.Rows) > MaxRows {
		return fault.New(fault.TooCostly, tooManyRows.With(words.Args{"limit": MaxRows}))
	}
	p.layout, p.rowSpacing, p.plant, p.bearing = l, spec.RowSpacing, spec.PlantSpacing, l.Spec.Bearing
	for _, r := range l.Rows {
		as := blocks.Row{Number: r.Number, Plants: r.Plants, Skipped: r.Skipped, Posts: r.Posts}
		for _, q := range r.Parts {
			as.Parts = append(as.Parts, q.Line())
		}
		placed, err := as.Place(p.frame, p.plant)
		if err != nil {
			return err
		}
		p.rows = append(p.rows, row{placed})
	}
	return nil
}

// readNeighbours takes the farm's other blocks round this one, as far off as it
// is wide.
func (p *Plan) readNeighbours(r records.Reader) error {
	b := p.ground.Box()
	reach := geo.Metres(max(b.Max.X-b.Min.X, b.Max.Y-b.Min.Y))
	b = b.Grow(reach)
	sw, ne := p.frame.Position(b.Min), p.frame.Position(b.Max)
	if sw[0] > ne[0] {
		return nil // across longitude 180; neighbours are only there to find one's way
	}
	page, err := r.List(records.Blocks, records.Query{Box: &geo.Box{Min: sw, Max: ne}, Limit: maxNeighbours})
	if err != nil {
		return err
	}
	for _, rev := range page.Revisions {
		if rev.ID == p.ask.Block {
			continue
		}
		other, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		ground, err := p.frame.Region(other.Outline)
		if err != nil || other.Outline == nil {
			continue // its own page says what is wrong with it
		}
		p.neighbours = append(p.neighbours, neighbour{other.Name, ground})
	}
	return nil
}
