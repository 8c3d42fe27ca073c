package hotspot

import (
	"context"
	"math"
	"slices"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
)

const (
	// smoothReach is how many bandwidths away a plant still weighs: what lies
	// beyond weighs less than 4 parts in a million of one nearby.
	smoothReach = 5
	// leastWeight is how many inspected plants' weight a place needs for a rate:
	// with less, one find would paint the ground.
	leastWeight = 5
	// maxSmoothed bounds the picture, in pairs of plants: about a second.
	maxSmoothed = 50_000_000
)

var (
	smoothHow = words.New("hotspot-smooth-how",
		"Infected over inspected plants, both weighed by a Gaussian of {along} m along and {across} m across the row. The bandwidth is the groups' reach, not an estimate: another tells another story. Near an edge both lose the same share of the weight, so their ratio needs no edge correction. No rate where fewer than {least} inspected plants' weight lies near: not looked at is not clean. A picture, no test.",
		"Plantas infectadas entre revisadas, ambas ponderadas con una gaussiana de {along} m a lo largo y {across} m a lo ancho de la hilera. El ancho es el alcance de los grupos, no una estimación: otro cuenta otra historia. Cerca de un borde ambas pierden la misma parte del peso, así que su cociente no necesita corrección de borde. No hay tasa donde cerca pesan menos de {least} plantas revisadas: no mirado no es sano. Es una imagen, no una prueba.")
	smoothTooLarge = words.New("hotspot-smooth-too-large",
		"The block holds too many plants within these distances for a smoothed picture. Use shorter along_m and across_m.",
		"El bloque tiene demasiadas plantas dentro de estas distancias para una imagen suavizada. Use along_m y across_m más cortos.")
)

// Smoothed is the rate of infected among inspected plants, smoothed: a picture
// along the rows, and no test.
type Smoothed struct {
	Along, Across geo.Metres // bandwidths: standard deviations of the Gaussian
	Rows          []SmoothedRow
	// WhyNot is why there is no picture; empty with one.
	WhyNot words.Text
}

// SmoothedRow holds a rate for each plant from From on; NaN where too little was
// looked at nearby. A row with a gap in its numbers comes in pieces.
type SmoothedRow struct {
	Row, From int
	Rates     []float64
}

// gaussian weighs offsets; it is 1 at none. Over 2 pi times the product of its
// widths it is a density.
type gaussian struct{ along, across float64 }

func (g gaussian) weight(d plane.XY) float64 {
	x, y := d.X/g.along, d.Y/g.across
	return math.Exp(-(x*x + y*y) / 2)
}

// smooth draws the picture at every place of the rows, planted or not, or, where
// they are not counted, at every inspected plant.
func (s *study) smooth(ctx context.Context, effort []Plant, a *Analysis) error {
	if !s.set.Smooth {
		return nil
	}
	a.Smoothed = &Smoothed{Along: s.set.Along, Across: s.set.Across, WhyNot: s.in.NoEffort}
	if len(effort) == 0 {
		if a.Smoothed.WhyNot.Empty() {
			a.Smoothed.WhyNot = noEffort.Plain()
		}
		return nil
	}
	at := effort
	if s.standing != nil {
		at = s.places(s.exists)
	}
	p := newPicture(s, effort)
	for _, plant := range at {
		rate, ok, err := p.rate(ctx, s.xy(plant))
		if err != nil {
			return err
		}
		if !ok {
			a.Smoothed.Rows, a.Smoothed.WhyNot = nil, smoothTooLarge.Plain()
			return nil
		}
		rows := a.Smoothed.Rows
		if k := len(rows) - 1; k < 0 || rows[k].Row != plant.Row || rows[k].From+len(rows[k].Rates) != plant.Plant {
			a.Smoothed.Rows = append(rows, SmoothedRow{Row: plant.Row, From: plant.Plant})
		}
		last := &a.Smoothed.Rows[len(a.Smoothed.Rows)-1]
		last.Rates = append(last.Rates, rate)
	}
	return nil
}

// picture is the inspected plants in bands across the rows, each along its row.
type picture struct {
	kernel gaussian
	bands  map[int][]looked
	spent  int
}

type looked struct {
	at   plane.XY
	sick bool
}

func newPicture(s *study, effort []Plant) *picture {
	p := &picture{kernel: gaussian{float64(s.set.Along), float64(s.set.Across)}, bands: map[int][]looked{}}
	for _, plant := range effort {
		l := looked{s.xy(plant), s.sick(plant)}
		p.bands[p.band(l.at.Y)] = append(p.bands[p.band(l.at.Y)], l)
	}
	for _, band := range p.bands {
		slices.SortStableFunc(band, func(a, b looked) int {
			if a.at.X != b.at.X {
				return int(math.Copysign(1, a.at.X-b.at.X))
			}
			return 0
		})
	}
	return p
}

func (p *picture) band(y float64) int { return int(math.Floor(y / p.kernel.across)) }

// rate is the smoothed rate at a place, NaN where too little was looked at; false
// when the picture has cost too much.
func (p *picture) rate(ctx context.Context, at plane.XY) (float64, bool, error) {
	all, sick := 0.0, 0.0
	reach := smoothReach * p.kernel.along
	for b := p.band(at.Y) - smoothReach; b <= p.band(at.Y)+smoothReach; b++ {
		band := p.bands[b]
		from, _ := slices.BinarySearchFunc(band, at.X-reach, func(l looked, x float64) int { return int(math.Copysign(1, l.at.X-x)) })
		for _, l := range band[from:] {
			if l.at.X > at.X+reach {
				break
			}
			p.spent++
			w := p.kernel.weight(l.at.Minus(at))
			all += w
			if l.sick {
				sick += w
			}
		}
	}
	if all < leastWeight {
		return math.NaN(), p.spent <= maxSmoothed, ctx.Err()
	}
	return sick / all, p.spent <= maxSmoothed, ctx.Err()
}

// How says how the picture was made.
func (s Smoothed) How() words.Text {
	return smoothHow.With(words.Args{"along": round(float64(s.Along)), "across": round(float64(s.Across)), "least": leastWeight})
}
