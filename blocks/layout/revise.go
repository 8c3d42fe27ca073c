package layout

import (
	"cmp"
	"context"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/geo/plane"
)

var notRevised = words.New("layout-not-revised",
	"Row {row} cannot be placed: {problem}.",
	"La hilera {row} no se puede situar: {problem}.")

// Standing is what stands in a block: its rows, each number once, and the plant
// spacing by which rows without places of their own are read.
type Standing struct {
	Rows    []blocks.Row
	Spacing geo.Metres
}

// Use is a record that names a plant; plant 0 names the row alone.
type Use struct {
	Row, Plant int
	Kind, ID   string
}

// Stretch is numbers of a row that run on, both ends included.
type Stretch struct{ Row, From, To int }

// Shift is a row whose line changes, or beside which a fresh layout would draw
// another: the plants stay where they stand.
type Shift struct {
	Row     int
	Was, Is geo.Metres // length of its line
	Beside  geo.Metres // mean distance of the fresh layout's row; 0 where it has none
}

// Revised is a row as it would be stored.
type Revised struct {
	blocks.Row
	Old     int  // its index among the rows that stood; -1 for a new one
	Changed bool // differs from what stood
}

// Revision is what an edited outline or another layout means for rows that
// stand.
type Revision struct {
	Rows      []Revised // by number
	Dropped   []int     // indices of rows that have no ground left
	Kept      int       // places that keep number and position
	Shifted   []Shift
	Added     []Stretch
	Gone      []Stretch
	Conflicts []Use // records that name a plant whose place goes
}

// shiftShown is from what distance on a fresh row counts as another line: a
// survey with a good receiver repeats to some centimetres.
const shiftShown geo.Metres = 0.05

// Revise fits rows that stand to an outline and a layout made for it, without
// renumbering: plants are in the ground, whatever is drawn.
//
// Every place of a row that lies on the new ground, or within 2 cm of it, keeps
// number and position; the others go, and records in used that name them are
// conflicts. A row of the layout that runs where an old one does (the nearer
// half of the shorter lies less than half a row spacing off on average) is that
// row: it lends it new ground at its ends and across holes, at the old row's own
// line, where places follow at the layout's plant spacing with numbers after the
// row's highest. Other rows of the layout are new, with numbers after the highest that
// stands or is named. No new place comes nearer than half a row spacing to one
// of another row. With nothing changed nothing changes; revised rows revised
// again stay as they are.
//
// The outline is what next was laid out in. Positions hold within 1 mm. Errors:
// fault.Invalid for rows or outlines that cannot be placed, fault.TooCostly for
// outlines with too many corners, the context's.
func Revise(ctx context.Context, outline orb.Geometry, old Standing, next Layout, used []Use) (Revision, error) {
	out, err := revise(ctx, outline, old, next, used)
	if err != nil {
		return Revision{}, err
	}
	// A row that was given ground may now run beside a row of the layout that no
	// row did before, so it is gone over until nothing is to be added.
	for range mostPasses {
		stands := Standing{Spacing: next.Spec.PlantSpacing}
		for _, row := range out.Rows {
			stands.Rows = append(stands.Rows, row.Row)
		}
		more, err := revise(ctx, outline, stands, next, used)
		if err != nil {
			return Revision{}, err
		}
		if !slices.ContainsFunc(more.Rows, func(r Revised) bool { return r.Changed }) {
			break
		}
		out = out.then(more)
	}
	return out, nil
}

// mostPasses bounds the going over. Layouts near what stands settle in the first
// pass, and layouts across it in the second or third.
const mostPasses = 16

// then is a revision followed by one of what came of it.
func (r Revision) then(more Revision) Revision {
	for i := range more.Rows {
		row := &more.Rows[i]
		if row.Old >= 0 {
			before := r.Rows[row.Old]
			row.Old, row.Changed = before.Old, before.Changed || row.Changed
		}
	}
	r.Rows = more.Rows
	r.Added = oneByOne(append(r.Added, more.Added...))
	for _, s := range more.Shifted {
		k := slices.IndexFunc(r.Shifted, func(t Shift) bool { return t.Row == s.Row })
		switch {
		case k >= 0:
			r.Shifted[k].Is = s.Is
		case slices.ContainsFunc(r.Rows, func(t Revised) bool { return t.Number == s.Row && t.Old >= 0 }):
			r.Shifted = append(r.Shifted, s)
		}
	}
	slices.SortStableFunc(r.Shifted, func(a, b Shift) int { return cmp.Compare(a.Row, b.Row) })
	return r
}

// oneByOne puts stretches in order and joins those that run on.
func oneByOne(all []Stretch) []Stretch {
	slices.SortFunc(all, func(a, b Stretch) int { return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.From, b.From)) })
	var out []Stretch
	for _, s := range all {
		if k := len(out) - 1; k >= 0 && out[k].Row == s.Row && out[k].To == s.From-1 {
			out[k].To = s.To
			continue
		}
		out = append(out, s)
	}
	return out
}

// revise goes over the rows once.
func revise(ctx context.Context, outline orb.Geometry, old Standing, next Layout, used []Use) (Revision, error) {
	r := reviser{old: old, next: next, used: used, spacing: float64(next.Spec.PlantSpacing), half: float64(next.Spec.RowSpacing) / 2}
	if err := r.place(outline); err != nil {
		return Revision{}, err
	}
	match, err := r.match(ctx)
	if err != nil {
		return Revision{}, err
	}
	if err := r.keep(ctx); err != nil {
		return Revision{}, err
	}
	for i := range r.rows {
		if err := ctx.Err(); err != nil {
			return Revision{}, err
		}
		if err := r.renew(ctx, i, match.of[i], match.beside[i]); err != nil {
			return Revision{}, err
		}
	}
	for n, taken := range match.taken {
		if err := ctx.Err(); err != nil {
			return Revision{}, err
		}
		if !taken {
			r.found(n)
		}
	}
	r.conflicts()
	slices.SortStableFunc(r.out.Rows, func(a, b Revised) int { return cmp.Compare(a.Number, b.Number) })
	return r.out, nil
}

// reviser is a revision being made.
type reviser struct {
	old     Standing
	next    Layout
	used    []Use
	spacing float64
	half    float64 // half a row spacing

	frame  plane.Frame
	ground plane.Region
	on     *overlay.Locator
	reach  float64 // longer than the ground is wide
	rows   []standingRow
	fresh  [][]plane.Line // the layout's rows
	taken  nearby         // places kept and added, by row
	out    Revision
	gone   map[Use]bool // by row and plant
}

// standingRow is an old row with its places, each with what becomes of it.
type standingRow struct {
	placed  blocks.Placed
	strands []strand
	kept    []place
	lost    []int
}

// place is a numbered place along a strand.
type place struct {
	number int
	strand int
	way    float64
}

func (r *reviser) place(outline orb.Geometry) error {
	shapes := []orb.Geometry{outline}
	for _, row := range r.old.Rows {
		if len(row.Parts) > 0 {
			shapes = append(shapes, row.Parts)
		}
	}
	frame, err := plane.FrameOf(shapes...)
	if err == nil {
		r.frame = frame
		r.ground, err = frame.Region(outline)
	}
	if err != nil {
		return fault.Wrap(fault.Invalid, err, outlineFar.With(words.Args{"problem": err.Error()}))
	}
	r.on = overlay.Locate(r.ground)
	box := r.ground.Box()
	for _, row := range r.old.Rows {
		placed, err := row.Place(frame, r.old.Spacing)
		if err != nil {
			return fault.Wrap(fault.Invalid, err, notRevised.With(words.Args{"row": row.Number, "problem": words.Verbatim(err.Error())}))
		}
		r.rows = append(r.rows, standingRow{placed: placed, strands: strandsOf(placed.Lines)})
		for _, l := range placed.Lines {
			box = box.Union(l.Box())
		}
	}
	if !box.Empty() {
		r.reach = float64(box.Min.Distance(box.Max)) + 1
	}
	for _, row := range r.next.Rows {
		var parts orb.MultiLineString
		for _, p := range row.Parts {
			parts = append(parts, p.Line())
		}
		lines, err := frame.Lines(parts)
		if err != nil {
			return fault.Wrap(fault.Invalid, err, notRevised.With(words.Args{"row": row.Number, "problem": words.Verbatim(err.Error())}))
		}
		r.fresh = append(r.fresh, lines)
	}
	r.taken = nearby{side: r.half, cells: map[[2]int32][]taken{}}
	r.gone = map[Use]bool{}
	return nil
}

// onGround takes a place within blocks.OnPart of the ground for one on it:
// outline and rows are stored to a centimetre by many programs.
func (r *reviser) onGround(q plane.XY) bool {
	if r.on.Contains(q) {
		return true
	}
	for k := range 8 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 4)
		if r.on.Contains(q.Plus(plane.XY{X: cos, Y: sin}.Times(float64(blocks.OnPart)))) {
			return true
		}
	}
	return false
}

// keep sorts every old place into kept and lost, before any new one comes.
func (r *reviser) keep(ctx context.Context) error {
	for i := range r.rows {
		if err := ctx.Err(); err != nil {
			return err
		}
		row := &r.rows[i]
		for _, run := range row.placed.Runs {
			c := strandWith(row.strands, run.Part)
			for n := range run.Plants {
				along := run.At + geo.Metres(n)*run.Spacing
				at := row.placed.Along(run.Part, along)
				if !r.onGround(at) {
					row.lost = append(row.lost, run.From+n)
					continue
				}
				row.kept = append(row.kept, place{run.From + n, c, row.strands[c].starts[run.Part] + float64(along)})
				r.taken.add(at, row.placed.Row.Number)
			}
		}
		r.out.Kept += len(row.kept)
		for _, n := range row.lost {
			r.gone[Use{Row: row.placed.Row.Number, Plant: n}] = true
		}
		r.out.Gone = append(r.out.Gone, stretchesOf(row.placed.Row.Number, row.lost)...)
	}
	return nil
}

// stretchesOf joins ascending numbers into stretches.
func stretchesOf(row int, numbers []int) []Stretch {
	var out []Stretch
	for _, n := range numbers {
		if k := len(out); k > 0 && out[k-1].To == n-1 {
			out[k-1].To = n
			continue
		}
		out = append(out, Stretch{row, n, n})
	}
	return out
}

// renew makes row i as it will stand; fresh is the index of the layout's row
// that runs there, -1 for none.
func (r *reviser) renew(ctx context.Context, i, fresh int, beside geo.Metres) error {
	row := &r.rows[i]
	was := row.placed.Row
	lends := fresh >= 0 && !r.next.Rows[fresh].Skipped
	out := Revised{Row: was, Old: i}
	var parts []piece
	var added []place
	for c := range row.strands {
		strand := &row.strands[c]
		var theirs []plane.Line
		if lends {
			theirs = r.fresh[fresh]
		}
		path := strand.extended(theirs, r.reach)
		pieces, err := r.pieces(ctx, path)
		if err != nil {
			return err
		}
		stays := meet(strand.stretches(), pieces)
		news := meet(path.shadows(theirs), pieces)
		var mine []float64
		for _, p := range row.kept {
			if p.strand == c {
				mine = append(mine, p.way)
			}
		}
		slices.Sort(mine)
		stays = holding(stays, mine)
		for _, stretch := range news {
			ways, free := r.fill(stretch, mine, path, was)
			for _, way := range ways {
				added = append(added, place{strand: c, way: way})
			}
			mine = append(mine, ways...)
			slices.Sort(mine)
			switch {
			case free:
				stays = append(stays, stretch)
			case len(ways) > 0:
				stays = append(stays, hull(stretch, ways, r.spacing))
			}
		}
		for _, s := range join(stays) {
			parts = append(parts, piece{strand: c, path: path, span: s})
		}
	}
	if len(parts) == 0 {
		r.out.Dropped = append(r.out.Dropped, i)
		r.gone[Use{Row: was.Number}] = true
		return nil
	}
	highest := was.Plants
	for _, run := range row.placed.Runs {
		highest = max(highest, run.Last())
	}
	var numbers []int
	for k := range added {
		added[k].number = highest + k + 1
		numbers = append(numbers, added[k].number)
	}
	r.out.Added = append(r.out.Added, stretchesOf(was.Number, numbers)...)
	same := len(added) == 0 && len(row.lost) == 0 && sameParts(parts, row.strands, row.placed.Lines)
	if rule := was.Places == nil && len(row.placed.Runs) > 0 && r.next.Spec.PlantSpacing != r.old.Spacing; !same || rule {
		out.Changed = true
		out.Row = r.rebuilt(was, parts, append(slices.Clone(row.kept), added...), max(highest, highest+len(added)))
		if fresh >= 0 && r.next.Rows[fresh].Posts > 0 {
			out.Posts = r.next.Rows[fresh].Posts
		}
	}
	r.shift(row, parts, same, beside)
	r.out.Rows = append(r.out.Rows, out)
	return nil
}

func (r *reviser) shift(row *standingRow, parts []piece, same bool, beside geo.Metres) {
	if beside < shiftShown {
		beside = 0
	}
	if same && beside == 0 {
		return
	}
	s := Shift{Row: row.placed.Row.Number, Beside: beside}
	for _, l := range row.placed.Lines {
		s.Was += l.Length()
	}
	for _, p := range parts {
		s.Is += geo.Metres(p.span.to - p.span.from)
	}
	r.out.Shifted = append(r.out.Shifted, s)
}

// pieces are the stretches of a path that lie on the ground.
func (r *reviser) pieces(ctx context.Context, path path) ([]span, error) {
	cut, err := overlay.CutLines(ctx, []plane.Line{path.line}, r.ground)
	if err != nil {
		return nil, fault.Wrap(fault.TooCostly, err, tooJagged.With(words.Args{"count": r.ground.Vertices()}))
	}
	var out []span
	for _, l := range cut {
		from := path.station(l[0])
		out = append(out, span{from, from + float64(l.Length())})
	}
	return join(out), nil
}

// fill finds new places on a stretch among those kept on its strand; free says
// that none was held off by another row.
func (r *reviser) fill(s span, kept []float64, path path, row blocks.Row) (ways []float64, free bool) {
	free = true
	if row.Skipped {
		return nil, true
	}
	try := func(way float64) {
		at := path.at(way)
		if !r.onGround(at) {
			return
		}
		if r.taken.near(at, row.Number, r.half-exactFit) {
			free = false
			return
		}
		ways = append(ways, way)
	}
	for _, way := range lattice(s, kept, r.spacing) {
		try(way)
	}
	for _, way := range ways {
		r.taken.add(path.at(way), row.Number)
	}
	return ways, free
}

// lattice gives the free places on a stretch, ascending: a spacing apart, and at
// least that from every kept one. They follow on the kept places of the stretch;
// where it has none they begin at its start.
func lattice(s span, kept []float64, spacing float64) []float64 {
	var out []float64
	add := func(from, step float64, within span) {
		for way := from; way >= within.from-exactFit && way <= within.to+exactFit && len(out) < blocks.MaxPlants; way += step {
			out = append(out, math.Min(math.Max(way, s.from), s.to))
		}
	}
	lo, _ := slices.BinarySearch(kept, s.from-exactFit)
	hi, _ := slices.BinarySearch(kept, s.to+exactFit)
	room := s
	if lo > 0 {
		room.from = math.Max(room.from, kept[lo-1]+spacing)
	}
	if hi < len(kept) {
		room.to = math.Min(room.to, kept[hi]-spacing)
	}
	if lo == hi {
		add(room.from, spacing, room)
		return out
	}
	add(kept[lo]-spacing, -spacing, room)
	slices.Reverse(out)
	for k := lo + 1; k < hi; k++ {
		add(kept[k-1]+spacing, spacing, span{kept[k-1], kept[k] - spacing})
	}
	add(kept[hi-1]+spacing, spacing, room)
	return out
}

// rebuilt is the row with new parts and every place named.
func (r *reviser) rebuilt(was blocks.Row, parts []piece, places []place, highest int) blocks.Row {
	row := was
	row.Parts, row.Places = nil, []blocks.Run{}
	for _, p := range parts {
		var line orb.LineString
		for _, q := range p.path.cut(p.span) {
			line = append(line, r.frame.Position(q))
		}
		row.Parts = append(row.Parts, line)
	}
	slices.SortFunc(places, func(a, b place) int { return cmp.Compare(a.number, b.number) })
	for _, at := range places {
		k := partAt(parts, at)
		along := geo.Metres(math.Max(0, at.way-parts[k].span.from))
		row.Places = follow(row.Places, at.number, k+1, along)
	}
	for i := range row.Places {
		run := &row.Places[i]
		run.At, run.Spacing = rounded(run.At, 1e6), rounded(run.Spacing, 1e9)
	}
	row.Plants = highest
	return row
}

func rounded(m geo.Metres, steps float64) geo.Metres {
	return geo.Metres(math.Round(float64(m)*steps) / steps)
}

// partAt is the part that holds a place, by its span.
func partAt(parts []piece, at place) int {
	best, off := 0, math.Inf(1)
	for k, p := range parts {
		if p.strand != at.strand {
			continue
		}
		if d := math.Max(0, math.Max(p.span.from-at.way, at.way-p.span.to)); d < off {
			best, off = k, d
		}
	}
	return best
}

// runFit is how far a place may lie off its run's even spacing: a hundredth of
// a millimetre, so that no revision moves anything by more.
const runFit geo.Metres = 1e-5

// follow adds a place to the runs, to the last of them where it runs on.
func follow(runs []blocks.Run, number, part int, along geo.Metres) []blocks.Run {
	if k := len(runs) - 1; k >= 0 {
		last := &runs[k]
		step := last.Spacing
		if last.Plants == 1 {
			step = along - last.At
		}
		due := last.At + geo.Metres(last.Plants)*step
		if last.Last() == number-1 && last.Part == part && step >= blocks.LeastSpacing && step <= blocks.GreatestSpacing && math.Abs(float64(along-due)) <= float64(runFit) {
			last.Plants, last.Spacing = last.Plants+1, step
			return runs
		}
	}
	return append(runs, blocks.Run{From: number, Plants: 1, Part: part, At: along})
}

// found makes the layout's row n a new row, less what is held off by rows that
// stand; none where nothing is left of it.
func (r *reviser) found(n int) {
	fresh := r.next.Rows[n]
	row := blocks.Row{Number: r.newNumber(), Skipped: fresh.Skipped, Posts: fresh.Posts, Plants: fresh.Plants}
	for _, p := range fresh.Parts {
		row.Parts = append(row.Parts, p.Line())
	}
	if len(r.old.Rows) > 0 {
		row.Block = r.old.Rows[0].Block
	}
	var parts []piece
	var places []place
	whole := true
	for c, line := range r.fresh[n] {
		path := pathOf(line, 0)
		s := span{0, path.length()}
		ways, free := r.fill(s, nil, path, blocks.Row{Number: row.Number})
		whole = whole && free
		for _, stretch := range runsOf(ways, r.spacing) {
			parts = append(parts, piece{strand: c, path: path, span: hull(s, stretch, r.spacing)})
		}
		for _, way := range ways {
			places = append(places, place{number: len(places) + 1, strand: c, way: way})
		}
	}
	if fresh.Skipped {
		whole, places = r.clear(n), nil
		if !whole {
			return
		}
	} else if len(places) == 0 {
		return
	}
	if !whole {
		row = r.rebuilt(row, parts, places, len(places))
	}
	if len(places) > 0 {
		r.out.Added = append(r.out.Added, Stretch{row.Number, 1, len(places)})
	}
	r.out.Rows = append(r.out.Rows, Revised{Row: row, Old: -1, Changed: true})
}

// clear reports whether a strip left unplanted runs clear of every place.
func (r *reviser) clear(n int) bool {
	for _, line := range r.fresh[n] {
		path := pathOf(line, 0)
		for way := 0.0; way <= path.length(); way += r.spacing {
			if r.taken.near(path.at(way), 0, r.half-exactFit) {
				return false
			}
		}
	}
	return true
}

// newNumber comes after every number that stands, is named or was just given.
func (r *reviser) newNumber() int {
	highest := 0
	for _, row := range r.old.Rows {
		highest = max(highest, row.Number)
	}
	for _, u := range r.used {
		highest = max(highest, u.Row)
	}
	for _, row := range r.out.Rows {
		highest = max(highest, row.Number)
	}
	return highest + 1
}

// conflicts finds the records that name what goes.
func (r *reviser) conflicts() {
	for _, u := range r.used {
		if r.gone[Use{Row: u.Row, Plant: u.Plant}] {
			r.out.Conflicts = append(r.out.Conflicts, u)
		}
	}
	slices.SortFunc(r.out.Conflicts, func(a, b Use) int {
		return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Plant, b.Plant), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID))
	})
}
