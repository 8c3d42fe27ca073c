package hotspot

import (
	"cmp"
	"context"
	"math"
	"slices"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records/stats"
)

// Stretch is plants of one row, both ends included.
type Stretch struct {
	Row  int `json:"row"`
	From int `json:"from"`
	To   int `json:"to"`
}

// Counted is what was counted on a stretch, such as galls on so many canes.
type Counted struct {
	What string
	At   Stretch
	// Sampled is how many could have shown it; Hits may be more, where one can
	// show several.
	Sampled, Hits int
}

// CountScan is the Poisson scan (Kulldorff 1997) over the stretches one thing was
// counted on: whether somewhere more is counted to each sampled than elsewhere.
type CountScan struct {
	What          string
	Places        int // stretches
	Sampled, Hits int
	Rate          float64 // hits to each sampled
	Low, High     float64 // exact 95 % limits (Garwood 1936)
	// Spread is the variance over the mean of hits, each place against its
	// share: about 1 for counts without clumping.
	Spread float64
	Scan   []CountWindow
	WhyNoP words.Text
}

// CountWindow is one place of it.
type CountWindow struct {
	Centre        Stretch
	Shape         float64
	Semiminor     geo.Metres
	Sampled, Hits int
	Expected      float64
	LLR           float64
	RelativeRisk  float64 // infinite when nothing is counted outside
	P             *float64
	Members       []Stretch
}

// maxDealt bounds the memory and the time of dealing counts anew.
const maxDealt = 50_000_000

var (
	fewPlaces = words.New("hotspot-few-places",
		"Counts from fewer than 3 places cannot be compared.",
		"Conteos de menos de 3 lugares no se pueden comparar.")
	nothingCounted = words.New("hotspot-nothing-counted",
		"Nothing was counted anywhere: there is nothing to test.",
		"No se contó nada en ningún lugar: no hay nada que probar.")
	countsCostly = words.New("hotspot-counts-costly",
		"The scan over {places} places with {hits} counted would take too long. Lower scan.cap or scan.replicates, or give fewer shapes.",
		"El barrido de {places} lugares con {hits} contados llevaría demasiado. Baje scan.cap o scan.replicates, o dé menos formas.")
	countsHow = words.New("hotspot-counts-how",
		"Poisson scan over {places} places: hits against those sampled there, p from {replicates} reshuffles (seed {seed}). Counts that clump on single plants by themselves make this p too keen: variance over mean is {spread} here, 1 without clumping.",
		"Barrido de Poisson de {places} lugares: positivos frente a los revisados allí, p de {replicates} repartos al azar (semilla {seed}). Los conteos que se juntan por sí mismos en plantas sueltas hacen esta p demasiado ávida: varianza entre media es {spread} aquí, 1 sin agrupación.")
)

// countScans scans each thing that was counted.
func (s *study) countScans(ctx context.Context, a *Analysis) error {
	for _, places := range byWhat(s.in.Counts) {
		places = slices.DeleteFunc(places, func(c Counted) bool {
			return !s.exists(Plant{Row: c.At.Row, Plant: c.At.From}) || !s.exists(Plant{Row: c.At.Row, Plant: c.At.To})
		})
		if len(places) == 0 {
			continue
		}
		c, err := s.countScan(ctx, places)
		if err != nil {
			return err
		}
		a.Counts = append(a.Counts, c)
	}
	return nil
}

// byWhat adds up what was counted on one stretch, and gives the places of each
// thing in order.
func byWhat(counts []Counted) (out [][]Counted) {
	all := slices.Clone(counts)
	slices.SortFunc(all, func(a, b Counted) int { return cmp.Or(cmp.Compare(a.What, b.What), byStretch(a.At, b.At)) })
	for _, c := range all {
		if k := len(out) - 1; k < 0 || out[k][0].What != c.What {
			out = append(out, nil)
		}
		list := &out[len(out)-1]
		if n := len(*list); n > 0 && (*list)[n-1].At == c.At {
			(*list)[n-1].Sampled += c.Sampled
			(*list)[n-1].Hits += c.Hits
		} else {
			*list = append(*list, c)
		}
	}
	return out
}

func byStretch(a, b Stretch) int {
	return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To))
}

func (s *study) countScan(ctx context.Context, places []Counted) (CountScan, error) {
	out := CountScan{What: places[0].What, Places: len(places)}
	q := newCountScan(s.set.Scan)
	for _, c := range places {
		at := s.middle(c.At)
		q.add(at.X, at.Y, int32(c.Hits), float64(c.Sampled))
		out.Sampled, out.Hits = out.Sampled+c.Sampled, out.Hits+c.Hits
	}
	var err error
	if out.Sampled > 0 {
		out.Rate = float64(out.Hits) / float64(out.Sampled)
		if out.Low, out.High, err = stats.Garwood(out.Hits, out.Sampled, confidence); err != nil {
			return out, err
		}
	}
	switch {
	case len(places) < 3:
		out.WhyNoP = fewPlaces.Plain()
	case out.Hits == 0 || out.Sampled == 0:
		out.WhyNoP = nothingCounted.Plain()
	case q.tooCostly(float64(out.Hits), s.set.Scan.limit()):
		out.WhyNoP = countsCostly.With(words.Args{"places": len(places), "hits": out.Hits})
	default:
		out.Spread = spread(places, out.Rate)
		return out, out.search(ctx, q, places)
	}
	return out, nil
}

// tooCostly counts steps of about a nanosecond, as scanSteps does.
func (q *scan) tooCostly(hits, limit float64) bool {
	n, repeats := float64(len(q.x)), float64(q.repeats)
	if n*repeats > maxDealt || 30*hits*max(repeats, 1) > limit {
		return true
	}
	return float64(len(q.shapes))*n*n*(10+3*repeats) > limit
}

// spread is the mean of (hits - expected)^2 / expected over the places but one.
func spread(places []Counted, rate float64) (sum float64) {
	for _, c := range places {
		if e := rate * float64(c.Sampled); e > 0 {
			sum += (float64(c.Hits) - e) * (float64(c.Hits) - e) / e
		}
	}
	return sum / float64(len(places)-1)
}

// middle is where a stretch is taken to lie.
func (s *study) middle(at Stretch) plane.XY {
	return s.xy(Plant{Row: at.Row, Plant: at.From}).Plus(s.xy(Plant{Row: at.Row, Plant: at.To})).Times(0.5)
}

func (out *CountScan) search(ctx context.Context, q *scan, places []Counted) error {
	found, maxima, err := q.search(ctx)
	if err != nil {
		return err
	}
	for _, f := range found {
		w := CountWindow{Centre: places[f.centre].At, Shape: q.shapes[f.shape].ratio, Semiminor: geo.Metres(f.far), Sampled: int(math.Round(f.risk)), Hits: int(f.cases),
			Expected: q.allC * f.risk / q.allN, LLR: f.llr, RelativeRisk: q.relativeRisk(f.candidate)}
		for _, site := range f.sites {
			w.Members = append(w.Members, places[site].At)
		}
		slices.SortFunc(w.Members, byStretch)
		if len(maxima) > 0 {
			w.P = rank(f.llr, maxima)
		}
		out.Scan = append(out.Scan, w)
	}
	switch {
	case len(found) == 0:
		out.WhyNoP = noWindow.Plain()
	case len(maxima) == 0:
		out.WhyNoP = noReplicates.Plain()
	}
	return nil
}

// how says what was done.
func (out CountScan) how(set Scan) words.Text {
	return countsHow.With(words.Args{"places": out.Places, "replicates": set.Replicates, "seed": set.Seed, "spread": round(out.Spread)})
}
