package spray

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/geo"
	"caneward/geo/index"
	"caneward/geo/overlay"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/quantity"
)

// Kept is a label as it stood when a pass was worked out, so that a label
// corrected later changes nothing of the past.
type Kept struct {
	Product  string          `json:"product"`            // id of the record, or the name typed
	Revision int             `json:"revision,omitempty"` // of the record; 0 for one typed on the spot
	Label    json.RawMessage `json:"label"`
}

// Earlier is a pass that was applied, with what it put on its ground.
type Earlier struct {
	ID      records.ID
	Started time.Time
	Ended   time.Time // Started where nobody said
	Ground  orb.MultiPolygon
	Uses    []Use
}

// Use is one product of an earlier pass.
type Use struct {
	Product string // id of the record, or the name typed
	Label   Product
	// PerSquareMetre is what each treated square metre got, in kilograms, litres or
	// pieces; its value is 0 where the pass kept no total.
	PerSquareMetre quantity.Amount
}

// loadEarlier reads the applied passes on or beside the ground of a draft, in the
// order they were begun. Labels kept with a pass are taken, else the record as it
// is today. Passes without a start or without ground say nothing of any place, and
// those an applied pass corrects say it wrongly.
func loadEarlier(r records.Reader, box geo.Box) ([]Earlier, error) {
	applied := map[string]string{"state": string(Applied)}
	// A correction may lie elsewhere: where the job really was.
	all, err := r.List(records.Passes, records.Query{Equal: applied})
	if err != nil {
		return nil, err
	}
	corrected := Corrected(all.Revisions)
	page, err := r.List(records.Passes, records.Query{Box: &box, Equal: applied})
	if err != nil {
		return nil, err
	}
	labels := map[records.ID]Product{}
	var out []Earlier
	for _, rev := range page.Revisions {
		pass, _ := ParsePass(rev.Record.Geometry, rev.Record.Properties)
		ground := multi(rev.Record.Geometry.Flat)
		if pass.StartedAt.IsZero() || len(ground) == 0 || corrected[rev.ID] {
			continue
		}
		e := Earlier{ID: rev.ID, Started: pass.StartedAt, Ended: pass.EndedAt, Ground: ground}
		if e.Ended.IsZero() {
			e.Ended = e.Started
		}
		for i, line := range pass.Products {
			label, err := pass.labelOf(r, i, line, labels)
			if err != nil {
				return nil, err
			}
			use := Use{Product: string(line.ID), Label: label}
			if use.Product == "" {
				use.Product = label.Name
			}
			if i < len(pass.Totals) && pass.Areas != nil && pass.Areas.Treated > 0 {
				si := pass.Totals[i].Amount.SI()
				use.PerSquareMetre = quantity.Amount{Value: si.Value / float64(pass.Areas.Treated), Unit: si.Unit}
			}
			e.Uses = append(e.Uses, use)
		}
		out = append(out, e)
	}
	slices.SortStableFunc(out, func(a, b Earlier) int { return a.Started.Compare(b.Started) })
	return out, nil
}

// Corrected are the passes that an applied pass among these corrects.
func Corrected(passes []records.Revision) map[records.ID]bool {
	out := map[records.ID]bool{}
	for _, rev := range passes {
		r := fields.Properties(rev.Record.Properties)
		if id := fields.ID(r, "corrects", records.ParseID); id != "" && r.Text("state") == string(Applied) {
			out[id] = true
		}
	}
	return out
}

// keptLabel is the label that stands in a pass, if one does.
func (p Pass) keptLabel(i int, line Line) (label Product, ok bool) {
	switch {
	case i < len(p.Labels) && p.Labels[i].Label != nil:
		label, _ = ParseProduct(geo.Geometry{}, p.Labels[i].Label)
		return label, true
	case line.Product != nil:
		return *line.Product, true
	}
	return Product{}, false
}

// labelOf is the label a pass was made with.
func (p Pass) labelOf(r records.Reader, i int, line Line, known map[records.ID]Product) (Product, error) {
	if label, ok := p.keptLabel(i, line); ok {
		return label, nil
	}
	if label, ok := known[line.ID]; ok {
		return label, nil
	}
	rev, err := r.Current(records.Products, line.ID)
	var label Product
	switch {
	case err == nil:
		label, _ = ParseProduct(rev.Record.Geometry, rev.Record.Properties)
	case !fault.Is(err, fault.Missing):
		return Product{}, err
	}
	known[line.ID] = label
	return label, nil
}

// same reports whether two lines are one product: the record, the registration
// number, or the name.
func (u Use) same(product string, label Product) bool {
	return u.Product == product ||
		label.Registration != "" && strings.EqualFold(u.Label.Registration, label.Registration) ||
		label.Name != "" && strings.EqualFold(u.Label.Name, label.Name)
}

// past is the earlier passes by place, in degrees.
type past struct {
	passes []Earlier
	boxes  index.Tree[int]
}

func newPast(passes []Earlier) *past {
	p := &past{passes: passes}
	for i, e := range passes {
		for _, poly := range e.Ground {
			for _, half := range index.Halves(poly.Bound()) {
				p.boxes.Insert(half, i)
			}
		}
	}
	return p
}

// near gives the passes whose boxes meet that of the ground, in time order.
func (p *past) near(ground orb.MultiPolygon) []int {
	var out []int
	for _, half := range index.Halves(ground.Bound()) {
		p.boxes.Search(half, func(_ plane.Box, i int) bool {
			out = append(out, i)
			return true
		})
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// history is what was done before on one plot's ground.
type history struct {
	plot  *plot
	past  *past
	near  []int // passes, in time order
	parts *overlay.Parting
	cells []cell
	bad   []int // passes whose ground cannot be worked with
	left  []int // passes whose ground would take too long
}

// cell is ground every point of which had the same earlier passes. Bad passes and
// those left are none of them.
type cell struct {
	number int // in the parting
	ground plane.Region
	passes []int
}

// hairline is how narrow ground may be, on average, before it is taken for two
// drawings of one line: nobody drives or draws to five centimetres.
const hairline geo.Metres = 0.05

// on parts the treated ground by all earlier passes near it. Ground no wider than
// a hairline is in no cell. What cannot be worked with is counted as covering all
// of the plot, and said: too much is said rather than too little. What would take
// too long is so too, the oldest first.
func (p *past) on(ctx context.Context, plot *plot) (*history, error) {
	h := &history{plot: plot, past: p, near: p.near(plot.ground)}
	var regions []plane.Region
	var passes [][]int // of each region: a pass repeated on a block has the same ground
	for _, i := range h.near {
		r := h.placed(i)
		if len(r) == 0 {
			continue
		}
		k := slices.IndexFunc(regions, func(o plane.Region) bool { return sameGround(o, r) })
		if k < 0 {
			k = len(regions)
			regions, passes = append(regions, r), append(passes, nil)
		}
		passes[k] = append(passes[k], i)
	}
	for {
		parts, err := overlay.Part(ctx, plot.treated, regions)
		var bad *overlay.RegionError
		var many *overlay.TooManyError
		switch {
		case err == nil:
			h.parts = parts
			h.take(passes)
			return h, nil
		case errors.As(err, &bad):
			h.bad = append(h.bad, passes[bad.Region]...)
			regions, passes = slices.Delete(regions, bad.Region, bad.Region+1), slices.Delete(passes, bad.Region, bad.Region+1)
		case errors.As(err, &many) && len(regions) > 0:
			older := (len(regions) + 1) / 2
			h.left = append(h.left, slices.Concat(passes[:older]...)...)
			regions, passes = regions[older:], passes[older:]
		default:
			return nil, refuseGround(plot.field, err)
		}
	}
}

// take keeps the cells that are more than hairlines.
func (h *history) take(passes [][]int) {
	for i, c := range h.parts.Cells {
		ground := wide(c.Ground)
		if len(ground) == 0 {
			continue
		}
		one := cell{number: i, ground: ground}
		for _, k := range c.Over {
			one.passes = append(one.passes, passes[k]...)
		}
		slices.Sort(one.passes)
		h.cells = append(h.cells, one)
	}
	if len(h.cells) == 0 { // nothing but hairlines: they are all there is
		h.cells = []cell{{ground: h.plot.treated, passes: slices.DeleteFunc(slices.Clone(h.near), h.everywhere)}}
	}
}

// placed is a pass's ground in the plot's frame, only what comes near it.
func (h *history) placed(i int) plane.Region {
	bound := h.plot.block.Outline.Bound()
	var near orb.MultiPolygon
	for _, poly := range h.past.passes[i].Ground {
		if poly.Bound().Intersects(bound) {
			near = append(near, poly)
		}
	}
	r, err := h.plot.frame.Region(near)
	var far *plane.FarError
	switch {
	case errors.As(err, &far):
		return nil
	case err != nil:
		h.bad = append(h.bad, i)
		return nil
	}
	return r
}

// everywhere reports whether a pass is counted as having covered all of the plot.
func (h *history) everywhere(pass int) bool {
	return slices.Contains(h.bad, pass) || slices.Contains(h.left, pass)
}

// join is the ground of these cells, less hairlines.
func (h *history) join(cells []cell) plane.Region {
	if len(cells) == 1 {
		return cells[0].ground
	}
	var numbers []int
	for _, c := range cells {
		numbers = append(numbers, c.number)
	}
	return wide(h.parts.Join(numbers...))
}

// over are the cells that a pass covered.
func (h *history) over(pass int) []cell {
	if h.everywhere(pass) {
		return h.cells
	}
	var out []cell
	for _, c := range h.cells {
		if slices.Contains(c.passes, pass) {
			out = append(out, c)
		}
	}
	return out
}

// sameGround reports whether two regions are one drawing: the same corners in
// the same order to geo.SamePlace.
func sameGround(a, b plane.Region) bool {
	return slices.EqualFunc(a, b, func(p, q plane.Polygon) bool {
		return slices.EqualFunc(p, q, func(r, s plane.Ring) bool {
			return slices.EqualFunc(r, s, func(x, y plane.XY) bool { return x.Distance(y) <= geo.SamePlace })
		})
	})
}

func wide(r plane.Region) plane.Region {
	var out plane.Region
	for _, p := range overlay.WithoutSlivers(r) {
		around := geo.Metres(0)
		for _, ring := range p {
			around += ring.Length()
		}
		if 2*float64(p.Area()) > float64(around)*float64(hairline) {
			out = append(out, p)
		}
	}
	return out
}

// finding is the worst ground of one plot for one check.
type finding struct {
	plot   *plot
	ground plane.Region // all of the ground that breaks the rule
	worst  plane.Region // where it is broken most
	value  float64      // there
	passes []int        // there
}

func (f finding) area() geo.SquareMetres { return f.ground.Area() }

// worstOf is the finding with the greatest value.
func worstOf(list []finding) finding {
	return slices.MaxFunc(list, func(a, b finding) int { return cmp.Compare(a.value, b.value) })
}
