package spray

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/overlay"
	"caneward/records"
)

// Year is a farm's ground with the applied passes that a cap of one calendar year's
// uses can count.
type Year struct {
	year    int
	zone    *time.Location
	blocks  []Block
	earlier []Earlier
}

// Peak is where most of what one cap counts came together over its clock, of all
// ground of a farm.
type Peak struct {
	Label    Product
	Cap      Cap
	From, To time.Time // the days counted, both included, midnight UTC
	Value    float64   // in the unit of the cap
	Block    Block
	At       geo.Position
	Passes   []records.ID // there
	Days     []time.Time  // of those passes
	Unknown  words.Text   // why some of it could not be counted; empty where all was
	Bound    bool         // passes were counted where they may not have been
}

// LoadYear reads it. Passes a correction has taken back are left out.
func LoadYear(r records.Reader, year int) (Year, error) {
	y := Year{year: year, zone: time.UTC}
	if zone, err := time.LoadLocation(r.Farm().Zone); err == nil {
		y.zone = zone
	}
	page, err := r.List(records.Blocks, records.Query{})
	if err != nil {
		return y, err
	}
	var g Ground
	for _, rev := range page.Revisions {
		parsed, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		if len(parsed.Outline) > 0 {
			g.Blocks = append(g.Blocks, Block{ID: rev.ID, Name: parsed.Name, Crop: parsed.Crop, Outline: parsed.Outline})
		}
	}
	y.blocks = g.Blocks
	if box := g.box(Request{}); !box.IsEmpty() {
		if y.earlier, err = loadEarlier(r, box); err != nil {
			return y, err
		}
	}
	// No clock that holds a day of this year reaches past the years beside it.
	y.earlier = slices.DeleteFunc(y.earlier, func(e Earlier) bool {
		n := y.day(e.Started).Year() - year
		return n < -1 || n > 1
	})
	return y, nil
}

func (y Year) day(t time.Time) time.Time {
	t = t.In(y.zone)
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// Peaks finds the greatest sum at any point for each cap of the products used in the
// year, in the order of the names. Of a season that year holds parts of two; of twelve
// months those to the day of each use: the worst is given. A label is the one kept
// with the latest pass. Errors: the context's; fault.Invalid for a block whose ground
// cannot be worked with.
func (y Year) Peaks(ctx context.Context) ([]Peak, error) {
	labels := y.labels()
	if len(labels) == 0 {
		return nil, nil
	}
	all := newPast(y.earlier)
	histories := make([]*history, len(y.blocks))
	if err := together(ctx, len(y.blocks), func(i int) error {
		p, err := place(ctx, Request{}, y.blocks[i], "block")
		if err != nil {
			return err
		}
		p.treated, p.ground = p.outline, p.block.Outline
		histories[i], err = all.on(ctx, p)
		return err
	}); err != nil {
		return nil, err
	}
	var out []Peak
	for _, u := range labels {
		for _, c := range u.Label.Caps {
			out = append(out, y.peak(histories, u, c))
		}
	}
	return out, nil
}

// labels are the products used in the year, each once.
func (y Year) labels() []Use {
	var out []Use
	for _, e := range slices.Backward(y.earlier) {
		if y.day(e.Started).Year() != y.year {
			continue
		}
		for _, u := range e.Uses {
			if !slices.ContainsFunc(out, func(o Use) bool { return o.same(u.Product, u.Label) }) {
				out = append(out, u)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Use) int {
		return cmp.Compare(strings.ToLower(a.Label.Name), strings.ToLower(b.Label.Name))
	})
	return out
}

func (y Year) peak(histories []*history, u Use, c Cap) Peak {
	peak := Peak{Label: u.Label, Cap: c}
	for _, h := range histories {
		if !names(c.Crop, h.plot.block.Crop) {
			continue
		}
		values, unknown := map[int]float64{}, map[int]words.Text{}
		var days []time.Time
		for _, pass := range h.near {
			for _, use := range h.past.passes[pass].Uses {
				v, why := c.adds(u.Product, u.Label, use)
				switch {
				case !why.Empty():
					unknown[pass] = why
				case c.What == CapUses && v > 0:
					values[pass] = 1
				default:
					values[pass] += v
				}
			}
			if day := y.day(h.past.passes[pass].Started); values[pass] > 0 && day.Year() == y.year {
				days = append(days, day)
			}
		}
		for _, s := range y.spans(c, days) {
			members := map[int]float64{}
			for pass, v := range values {
				if v > 0 && s.counted(y.day(h.past.passes[pass].Started)) {
					members[pass] = v
				}
			}
			for _, pass := range h.near {
				if why, bad := unknown[pass]; bad && s.counted(y.day(h.past.passes[pass].Started)) {
					peak.Unknown = why
				}
			}
			if len(members) == 0 {
				continue
			}
			f := h.worst(0, members, c.limit().Value)
			if value := c.shown(f.value); value > peak.Value {
				peak.From, peak.To, peak.Value, peak.Block, peak.Bound = s.from, s.to, value, h.plot.block, len(h.left)+len(h.bad) > 0
				peak.Passes, peak.Days = nil, nil
				for _, i := range f.passes {
					peak.Passes = append(peak.Passes, h.past.passes[i].ID)
					peak.Days = append(peak.Days, y.day(h.past.passes[i].Started))
				}
				if at, ok := overlay.InnerPoint(f.worst); ok {
					peak.At = h.plot.frame.Position(at)
				}
			}
		}
	}
	return peak
}

// spans are the stretches of a cap's clock that hold days of the year.
func (y Year) spans(c Cap, uses []time.Time) []span {
	first, last := time.Date(y.year, time.January, 1, 0, 0, 0, 0, time.UTC), time.Date(y.year, time.December, 31, 0, 0, 0, 0, time.UTC)
	switch c.Per {
	case PerYear:
		return c.spans(first, nil)
	case PerSeason:
		out := c.spans(first, nil)
		if next := c.spans(last, nil); next[0] != out[0] {
			out = append(out, next...)
		}
		return out
	}
	var out []span
	for _, day := range uses {
		if s := (span{twelveMonthsTo(day), day}); !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}
