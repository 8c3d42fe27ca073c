package spray

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/overlay"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/scouting"
)

// plot is one block's ground in a frame of its own, so that blocks far apart
// stay exact.
type plot struct {
	block  Block
	field  string // where the request names it
	frame  plane.Frame
	around *setback.Site

	outline, chosen, planted, zone plane.Region
	free, withheld, treated        plane.Region
	ground, kept                   orb.MultiPolygon // the treated and the withheld, in degrees
	passed                         plane.Region     // ground driven over: the treated and the middles between
	rows                           []rowLines       // chosen rows, skipped strips left out
	all                            []rowLines       // every row, skipped strips among them
	areas                          Areas

	rowLength  geo.Metres
	plants     int
	rowsKnown  bool // row length is known, measured or reckoned
	plantKnown bool
	narrowed   bool // to stretches of rows
	counted    counts
}

// counts are places on treated ground, and why some hold no plant.
type counts struct{ places, missing, removed int }

// rowLines is a row in the frame.
type rowLines struct {
	row    blocks.Row
	placed blocks.Placed
	parts  []plane.Line
}

// plantedRows leaves out strips that keep their number but hold no row: nothing is
// sprayed there.
func plantedRows(rows []rowLines) []rowLines {
	return slices.DeleteFunc(slices.Clone(rows), func(r rowLines) bool { return r.row.Skipped })
}

// lap widens strips of neighbouring rows so that drawn rows a hair apart leave
// no seam: rows are stored to about a tenth of a millimetre. It adds a
// millimetre along the outermost rows only.
const lap geo.Metres = 1e-3

var (
	sayPlaced = words.New("spray-ground-not-placed",
		"The outline cannot be placed on the ground: {problem}.",
		"El contorno no se puede situar en el terreno: {problem}.")
	sayCrossing = words.New("spray-ground-not-cut",
		"This ground cannot be worked out; check that its outline does not cross itself.",
		"Este terreno no se puede calcular; revise que su contorno no se cruce.")
	sayJagged = words.New("spray-ground-too-jagged",
		"This ground has too many corners or rows to be worked out in bearable time. Take fewer blocks at once, or simplify them.",
		"Este terreno tiene demasiados vértices o hileras para calcularlo en un tiempo razonable. Tome menos bloques a la vez o simplifíquelos.")
	sayNoRows = words.New("spray-no-rows",
		"No rows are laid out in this block, so none can be chosen.",
		"En este bloque no hay hileras trazadas, así que no se puede elegir ninguna.")
	sayNoSuchRow = words.New("spray-no-such-row",
		"This block has no row {row}; its rows are {first} to {last}.",
		"Este bloque no tiene la hilera {row}; sus hileras van de la {first} a la {last}.")
	sayNoStretchRow = words.New("spray-no-stretch-row",
		"This block has no row {row} laid out.",
		"Este bloque no tiene trazada la hilera {row}.")
	sayNoStretch = words.New("spray-no-stretch",
		"Row {row} has no plants from {from} to {to}.",
		"La hilera {row} no tiene plantas de la {from} a la {to}.")
	sayRowSpacing = words.New("spray-row-spacing-needed",
		"The block's row spacing is needed for this; enter it with the block.",
		"Para esto hace falta la distancia entre hileras del bloque; introdúzcala en el bloque.")
)

func isGround(g orb.Geometry) bool {
	switch g.(type) {
	case orb.Polygon, orb.MultiPolygon:
		return true
	}
	return false
}

// refuseGround says in words what the geometry packages could not do.
func refuseGround(field string, err error) error {
	var known *fault.Error
	var many *overlay.TooManyError
	var bad *buffer.ArgumentError
	switch {
	case err == nil || errors.As(err, &known) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.As(err, &many):
		return fault.Wrap(fault.TooCostly, err, sayJagged.Plain(), fault.Detail{Field: field, Text: sayJagged.Plain()})
	case errors.As(err, &bad):
		return err
	}
	return fault.Wrap(fault.Invalid, err, sayCrossing.Plain(), fault.Detail{Field: field, Text: sayCrossing.Plain()})
}

// place puts one block into its frame and narrows it to the ground asked for.
func place(ctx context.Context, q Request, b Block, field string) (*plot, error) {
	if b.ID == "" {
		field = "area"
	}
	p := &plot{block: b, field: field}
	frame, err := plane.FrameOf(b.Outline)
	if err == nil {
		p.frame = frame
		p.outline, err = frame.Region(b.Outline)
	}
	if err != nil {
		t := sayPlaced.With(words.Args{"problem": err.Error()})
		return nil, fault.Wrap(fault.Invalid, err, t, fault.Detail{Field: field, Text: t})
	}
	if err := p.layRows(ctx); err != nil {
		return nil, refuseGround(field, err)
	}
	return p, refuseGround(field, p.choose(ctx, q))
}

// lay works out the ground up to what the pattern treats.
func (p *plot) lay(ctx context.Context, q Request) (err error) {
	if p.zone, err = p.around.Zone(ctx, p.chosen, q.Setbacks, q.WindFrom); err != nil {
		return err
	}
	if p.withheld, p.free, err = overlay.Cut(ctx, p.chosen, p.zone); err != nil {
		return refuseGround(p.field, err)
	}
	p.withheld, p.free = overlay.WithoutSlivers(p.withheld), overlay.WithoutSlivers(p.free)
	if err := p.treat(ctx, q); err != nil {
		return refuseGround(p.field, err)
	}
	return refuseGround(p.field, p.count(ctx, q))
}

func features(g Ground) []setback.Feature {
	out := make([]setback.Feature, len(g.Around))
	for i, s := range g.Around {
		out[i] = s.Feature
	}
	return out
}

// layRows places the rows and finds the planted ground: each row with half a
// spacing to either side, inside the outline.
func (p *plot) layRows(ctx context.Context) error {
	for _, row := range p.block.Rows {
		placed, err := row.Place(p.frame, p.block.PlantSpacing)
		if err != nil {
			return err
		}
		p.all = append(p.all, rowLines{row: row, placed: placed, parts: placed.Lines})
	}
	if len(p.all) == 0 || p.block.RowSpacing == 0 {
		p.planted = p.outline
		return nil
	}
	strips, err := p.strips(ctx, plantedRows(p.all))
	if err != nil {
		return err
	}
	p.planted, err = overlay.Intersection(ctx, p.outline, strips)
	p.planted = overlay.WithoutSlivers(p.planted)
	return err
}

func (p *plot) strips(ctx context.Context, rows []rowLines) (plane.Region, error) {
	return flatten(ctx, rows, func(rowLines, plane.Line) (geo.Metres, geo.Metres) {
		return 0, p.block.RowSpacing/2 + lap
	})
}

// flatten is the union of a flat band along every part of every row: shifted
// to the left by the first figure, with the second to either side.
func flatten(ctx context.Context, rows []rowLines, widths func(rowLines, plane.Line) (shift, half geo.Metres)) (plane.Region, error) {
	var bands []plane.Region
	for _, r := range rows {
		for _, part := range r.parts {
			shift, half := widths(r, part)
			band, err := buffer.Flat(ctx, shifted(part, shift), half)
			if err != nil {
				return nil, err
			}
			bands = append(bands, band)
		}
	}
	return overlay.Union(ctx, bands...)
}

// choose narrows the outline to the rows and the area asked for.
func (p *plot) choose(ctx context.Context, q Request) error {
	p.chosen, p.rows = p.outline, plantedRows(p.all)
	if numbers, ok := q.Rows[p.block.ID]; ok {
		if err := p.pickRows(numbers); err != nil {
			return err
		}
		strips, err := p.strips(ctx, p.rows)
		if err != nil {
			return err
		}
		if p.chosen, err = overlay.Intersection(ctx, p.chosen, strips); err != nil {
			return err
		}
	}
	if stretches, ok := q.Stretches[p.block.ID]; ok {
		if err := p.pickStretches(ctx, q, stretches); err != nil {
			return err
		}
	}
	if q.Area.Empty() || p.block.ID == "" {
		return nil
	}
	area, err := p.area(q)
	if err != nil {
		return err
	}
	p.chosen, err = overlay.Intersection(ctx, p.chosen, area)
	return err
}

// pickStretches narrows the ground to strips along runs of plants: from half a
// plant spacing before the first to half a one past the last, as wide as the band,
// or as the rows are apart.
func (p *plot) pickStretches(ctx context.Context, q Request, list []Stretch) error {
	refuse := func(i int, member string, t words.Text) error {
		field := fmt.Sprintf("stretches.%s[%d]%s", p.block.ID, i, member)
		return fault.New(fault.Invalid, t, fault.Detail{Field: field, Text: t})
	}
	width := q.BandWidth
	if width == 0 {
		width = p.block.RowSpacing
	}
	if width == 0 {
		return refuse(0, "", sayRowSpacing.Plain())
	}
	var strips []plane.Region
	picked := map[int]bool{}
	for i, s := range list {
		found := false
		for _, r := range p.all {
			if r.row.Number != s.Row || r.row.Skipped {
				continue
			}
			for _, line := range r.between(s) {
				strip, err := buffer.Flat(ctx, line, width/2)
				if err != nil {
					return err
				}
				strips, found = append(strips, strip), true
			}
			picked[s.Row] = true
		}
		switch {
		case !picked[s.Row]:
			return refuse(i, ".row", sayNoStretchRow.With(words.Args{"row": s.Row}))
		case !found:
			return refuse(i, ".from", sayNoStretch.With(words.Args{"row": s.Row, "from": s.From, "to": s.To}))
		}
	}
	p.rows = slices.DeleteFunc(p.rows, func(r rowLines) bool { return !picked[r.row.Number] })
	ground, err := overlay.Union(ctx, strips...)
	if err != nil {
		return err
	}
	p.narrowed = true
	p.chosen, err = overlay.Intersection(ctx, p.chosen, ground)
	return err
}

// between are the stretches of the row along a run of plants.
func (r rowLines) between(s Stretch) (lines []plane.Line) {
	for _, run := range r.placed.Runs {
		first, last := max(s.From, run.From), min(s.To, run.From+run.Plants-1)
		if first > last {
			continue
		}
		part := r.parts[run.Part-1]
		from := run.At + geo.Metres(float64(first-run.From)-0.5)*run.Spacing
		to := run.At + geo.Metres(float64(last-run.From)+0.5)*run.Spacing
		lines = append(lines, along(part, max(0, from), min(part.Length(), to)))
	}
	return lines
}

// along is the part of a line between two stations, metres from its start.
func along(l plane.Line, from, to geo.Metres) plane.Line {
	var out plane.Line
	past := geo.Metres(0)
	for i := 1; i < len(l); i++ {
		a, b := l[i-1], l[i]
		length := a.Distance(b)
		at := func(way geo.Metres) plane.XY { return a.Plus(b.Minus(a).Times(float64((way - past) / length))) }
		if length > 0 && past+length >= from && past <= to {
			if len(out) == 0 {
				out = append(out, at(max(from, past)))
			}
			if end := at(min(to, past+length)); end != out[len(out)-1] {
				out = append(out, end)
			}
		}
		past += length
	}
	return out
}

// area places the drawn area; one out of the frame's reach is no ground here.
func (p *plot) area(q Request) (plane.Region, error) {
	area, err := p.frame.Region(q.Area.Flat)
	var far *plane.FarError
	if errors.As(err, &far) {
		return nil, nil
	}
	return area, err
}

func (p *plot) pickRows(numbers []int) error {
	refuse := func(t words.Text) error {
		return fault.New(fault.Invalid, t, fault.Detail{Field: "rows." + string(p.block.ID), Text: t})
	}
	if len(p.all) == 0 {
		return refuse(sayNoRows.Plain())
	}
	if p.block.RowSpacing == 0 {
		return refuse(sayRowSpacing.Plain())
	}
	p.rows = nil
	for _, n := range numbers {
		found := false
		for _, r := range p.all {
			if r.row.Number == n {
				p.rows, found = append(p.rows, r), true
			}
		}
		if !found {
			return refuse(sayNoSuchRow.With(words.Args{"row": n, "first": p.all[0].row.Number, "last": p.all[len(p.all)-1].row.Number}))
		}
	}
	p.rows = plantedRows(p.rows)
	return nil
}

// share takes away what earlier blocks have, so that ground two blocks claim is
// sprayed, and counted, once.
func (p *plot) share(ctx context.Context, before []*plot) error {
	own := p.outline
	for _, o := range before {
		if !o.block.Outline.Bound().Intersects(p.block.Outline.Bound()) {
			continue
		}
		theirs, err := p.frame.Region(o.frame.MultiPolygon(o.chosen))
		if err != nil {
			return err
		}
		twice, once, err := overlay.Cut(ctx, p.chosen, theirs)
		if err != nil {
			return err
		}
		p.areas.Overlap += twice.Area()
		p.chosen = overlay.WithoutSlivers(once)
		if own, err = p.less(ctx, own, o.frame, o.outline); err != nil {
			return err
		}
		if p.planted, err = p.less(ctx, p.planted, o.frame, o.planted); err != nil {
			return err
		}
	}
	p.areas.Outline, p.areas.Planted = own.Area(), p.planted.Area()
	return nil
}

func (p *plot) less(ctx context.Context, ground plane.Region, frame plane.Frame, theirs plane.Region) (plane.Region, error) {
	placed, err := p.frame.Region(frame.MultiPolygon(theirs))
	if err != nil {
		return nil, err
	}
	return overlay.Difference(ctx, ground, placed)
}

// treat finds what gets spray and what is passed over.
//
// Broadcast and spot treat the free ground. Band treats bands along the rows;
// where no rows are laid out the block formula stands in, free ground x band /
// row spacing. A band sprayed from one side covers half of it. Alternate
// middles treats every second alley, from row to row: half the planted ground.
// Drench treats a band if one is given, else the free ground. Band and
// alternate middles cover all planted ground passed over.
func (p *plot) treat(ctx context.Context, q Request) error {
	p.areas.Withheld = p.withheld.Area()
	var err error
	switch {
	case q.Pattern == Band, q.Pattern == Drench && q.BandWidth > 0:
		err = p.treatBand(ctx, q)
	case q.Pattern == AlternateMiddles:
		err = p.treatMiddles(ctx)
	default:
		p.treated = p.free
		p.areas.Treated = p.free.Area()
	}
	if err != nil {
		return err
	}
	p.areas.Covered, p.passed = p.areas.Treated, p.treated
	if q.Pattern == Band || q.Pattern == AlternateMiddles {
		covered, err := overlay.Intersection(ctx, p.free, p.planted)
		if err != nil {
			return err
		}
		p.passed = overlay.WithoutSlivers(covered)
		p.areas.Covered = p.passed.Area()
	}
	return nil
}

func (p *plot) treatBand(ctx context.Context, q Request) error {
	width := q.BandWidth
	if q.Sides == 1 {
		width /= 2
	}
	if len(p.all) == 0 {
		return p.reckonBand(width)
	}
	// From one side: the half to the left of the row, looking along it.
	shift := geo.Metres(0)
	if q.Sides == 1 {
		shift = width / 2
	}
	bands, err := flatten(ctx, p.rows, func(rowLines, plane.Line) (geo.Metres, geo.Metres) { return shift, width / 2 })
	if err != nil {
		return err
	}
	if p.treated, err = overlay.Intersection(ctx, p.free, bands); err != nil {
		return err
	}
	p.treated = overlay.WithoutSlivers(p.treated)
	p.areas.Treated = p.treated.Area()
	return nil
}

// reckonBand is the block formula. Bands wider than the rows are apart cover
// all of it and no more.
func (p *plot) reckonBand(width geo.Metres) error {
	if p.block.RowSpacing == 0 {
		return fault.New(fault.Invalid, sayRowSpacing.Plain(), fault.Detail{Field: p.field, Text: sayRowSpacing.Plain()})
	}
	share := math.Min(1, float64(width/p.block.RowSpacing))
	p.treated = p.free
	p.areas.Treated = p.free.Area() * geo.SquareMetres(share)
	return nil
}

// treatMiddles: rows are paired by number, first with second and so on; each
// is sprayed on the side that faces its partner, half a spacing deep. A last row
// without partner is sprayed on the side away from the row before it. A skipped
// strip has its place among the pairs, for the alleys driven are the same, but
// gets nothing. Without rows half the ground stands in.
func (p *plot) treatMiddles(ctx context.Context) error {
	if len(p.all) == 0 || p.block.RowSpacing == 0 {
		p.treated = p.free
		p.areas.Treated = p.free.Area() / 2
		return nil
	}
	numbers := rowNumbers(p.all)
	halves, err := flatten(ctx, plantedRows(p.all), func(r rowLines, part plane.Line) (geo.Metres, geo.Metres) {
		quarter := p.block.RowSpacing / 4
		return quarter * geo.Metres(p.facing(numbers, r, part)), quarter
	})
	if err != nil {
		return err
	}
	if p.treated, err = overlay.Intersection(ctx, p.free, halves); err != nil {
		return err
	}
	p.treated = overlay.WithoutSlivers(p.treated)
	p.areas.Treated = p.treated.Area()
	return nil
}

func rowNumbers(rows []rowLines) []int {
	var numbers []int
	for _, r := range rows {
		numbers = append(numbers, r.row.Number)
	}
	slices.Sort(numbers)
	return slices.Compact(numbers)
}

// facing is +1 when the alley sprayed lies to the left of the part, -1 to the
// right.
func (p *plot) facing(numbers []int, r rowLines, part plane.Line) int {
	i, _ := slices.BinarySearch(numbers, r.row.Number)
	partner, away := i^1, 1
	if partner >= len(numbers) {
		partner, away = i-1, -1
	}
	if partner < 0 {
		return 1 // a block of one row
	}
	var lines []plane.Line
	for _, o := range p.all {
		if o.row.Number == numbers[partner] {
			lines = append(lines, o.parts...)
		}
	}
	a, b := part[0], part[len(part)-1]
	middle := plane.XY{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2}
	_, _, at := buffer.Nearest(plane.Shape{Points: []plane.XY{middle}}, plane.Shape{Lines: lines})
	if (b.X-a.X)*(at.Y-middle.Y)-(b.Y-a.Y)*(at.X-middle.X) < 0 {
		return -away
	}
	return away
}

// mostMitre caps how far a corner of a shifted line may run out, as a multiple
// of the shift: rows bend gently, and a hairpin is no row.
const mostMitre = 2

// shifted moves a line to its left by d, corners mitred.
func shifted(l plane.Line, d geo.Metres) plane.Line {
	if d == 0 {
		return l
	}
	out := make(plane.Line, len(l))
	for i, at := range l {
		before, after := l[max(0, i-1)], l[min(len(l)-1, i+1)]
		n1, n2 := leftNormal(before, at), leftNormal(at, after)
		if i == 0 {
			n1 = n2
		}
		if i == len(l)-1 {
			n2 = n1
		}
		x, y := n1.X+n2.X, n1.Y+n2.Y
		// |n1+n2| = 2 cos(half the bend); the mitre is d / cos of it.
		scale := 2 * float64(d) / math.Max(x*x+y*y, 4/(mostMitre*mostMitre))
		out[i] = plane.XY{X: at.X + x*scale, Y: at.Y + y*scale}
	}
	return out
}

func leftNormal(a, b plane.XY) plane.XY {
	length := math.Hypot(b.X-a.X, b.Y-a.Y)
	if length == 0 {
		return plane.XY{}
	}
	return plane.XY{X: -(b.Y - a.Y) / length, Y: (b.X - a.X) / length}
}

// count finds the length of row and the plants on free ground: from the rows,
// or reckoned from spacings.
func (p *plot) count(ctx context.Context, q Request) error {
	if len(p.all) == 0 {
		if s := p.block.RowSpacing; s > 0 {
			p.rowLength, p.rowsKnown = geo.Metres(float64(p.free.Area())/float64(s)), true
			if t := p.block.PlantSpacing; t > 0 {
				p.plants, p.plantKnown = int(float64(p.free.Area())/float64(s)/float64(t)), true
			}
		}
		return nil
	}
	var lines []plane.Line
	for _, r := range p.rows {
		lines = append(lines, r.parts...)
	}
	kept, err := overlay.CutLines(ctx, lines, p.free)
	if err != nil {
		return err
	}
	for _, l := range kept {
		p.rowLength += l.Length()
	}
	p.rowsKnown = true
	return p.countPlants(ctx, q)
}

func (p *plot) countPlants(ctx context.Context, q Request) error {
	p.plantKnown = true
	narrowed := !q.Area.Empty() && p.block.ID != ""
	var area plane.Region
	if narrowed {
		var err error
		if area, err = p.area(q); err != nil {
			return err
		}
	}
	for _, r := range p.rows {
		p.plantKnown = p.plantKnown && (len(r.placed.Runs) > 0 || r.row.Plants > 0)
		withheld, err := p.stretches(ctx, r, p.zone)
		if err != nil {
			return err
		}
		asked, err := p.stretches(ctx, r, area)
		if err != nil {
			return err
		}
		absent := r.row.Absent()
		for _, run := range r.placed.Runs {
			for n := range run.Plants {
				plant := run.From + n
				at := stand{part: run.Part - 1, way: min(run.At+geo.Metres(n)*run.Spacing, r.placed.Length(run.Part))}
				if withheld.hold(at) || narrowed && !asked.hold(at) || p.narrowed && !p.block.asked(q, r.row.Number, plant) {
					continue
				}
				p.counted.places++
				_, missing := slices.BinarySearch(absent, plant)
				switch {
				case missing:
					p.counted.missing++
				case p.block.removed(r.row, plant, q.Start):
					p.counted.removed++
				default:
					p.plants++
				}
			}
		}
	}
	return nil
}

// asked reports whether a plant stands on one of the stretches asked for.
func (b Block) asked(q Request, row, plant int) bool {
	return slices.ContainsFunc(q.Stretches[b.ID], func(s Stretch) bool { return s.Row == row && s.From <= plant && plant <= s.To })
}

// removed reports whether a plant was dug out before the job, with no plant set
// anew at its place since. A replant of which only the year or month is known
// counts as later than a removal within it. Without a start of the job all that
// is recorded counts.
func (b Block) removed(row blocks.Row, plant int, start time.Time) bool {
	on, dug := b.Removed[scouting.Place{Row: row.Number, Plant: plant}]
	if !dug || !start.IsZero() && on.Format(time.DateOnly) > start.Format(time.DateOnly) {
		return false
	}
	for _, r := range row.Replanted {
		day := r.On.String()
		again := r.Plant == plant && day >= on.Format(time.DateOnly)[:len(day)]
		if again && (start.IsZero() || day <= start.Format(time.DateOnly)[:len(day)]) {
			return false
		}
	}
	return true
}

// stand is a place on a row: metres along one of its parts.
type stand struct {
	part int
	way  geo.Metres
}

// stretches are the parts of a row that lie on some ground, by part: metres
// along it, ascending.
type stretches [][][2]geo.Metres

func (p *plot) stretches(ctx context.Context, r rowLines, ground plane.Region) (stretches, error) {
	out := make(stretches, len(r.parts))
	for i, part := range r.parts {
		if !part.Box().Meets(ground.Box()) {
			continue
		}
		pieces, err := overlay.CutLines(ctx, []plane.Line{part}, ground)
		if err != nil {
			return nil, err
		}
		for _, piece := range pieces {
			from := station(part, piece[0])
			out[i] = append(out[i], [2]geo.Metres{from, from + piece.Length()})
		}
	}
	return out, nil
}

// hold reports whether a place lies on one of the stretches, ends included to
// the tenth of a millimetre that stored rows are good for.
func (s stretches) hold(at stand) bool {
	return slices.ContainsFunc(s[at.part], func(x [2]geo.Metres) bool {
		return at.way >= x[0]-geo.SamePlace && at.way <= x[1]+geo.SamePlace
	})
}

// station is how far along a line its point nearest to q lies.
func station(l plane.Line, q plane.XY) geo.Metres {
	best, way, past := math.Inf(1), 0.0, 0.0
	for i := 1; i < len(l); i++ {
		a, b := l[i-1], l[i]
		length := math.Hypot(b.X-a.X, b.Y-a.Y)
		if length == 0 {
			continue
		}
		t := math.Min(length, math.Max(0, ((q.X-a.X)*(b.X-a.X)+(q.Y-a.Y)*(b.Y-a.Y))/length))
		off := math.Hypot(a.X+(b.X-a.X)*t/length-q.X, a.Y+(b.Y-a.Y)*t/length-q.Y)
		if off < best {
			best, way = off, past+t
		}
		past += length
	}
	return geo.Metres(way)
}

func (p *plot) id() records.ID { return p.block.ID }
