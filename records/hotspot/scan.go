package hotspot

import (
	"cmp"
	"container/heap"
	"context"
	"math"
	"runtime"
	"slices"
	"sync"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
)

// Window is one place of the scan: the plants inside an ellipse along the row,
// centred on a plant.
type Window struct {
	Centre       Plant
	Shape        float64 // half axis along the row over half axis across
	Semiminor    geo.Metres
	Plants       int // inspected
	Infected     int
	LLR          float64
	RelativeRisk float64 // rate inside over rate outside; infinite when nothing is infected outside
	// P is the share of reshuffles whose best window anywhere was as good, the
	// data itself counted in: it belongs to the whole search. Nil when none
	// were asked for.
	P       *float64
	Members []Plant
}

const (
	// tie is how near two distances are that enter a window together: plants of
	// a lattice stand at equal distances by the dozen, and rounding parts them.
	tie = 1e-6
	// sameLLR is how near ratios are that are equal: rounding of sums of some
	// thousands.
	sameLLR = 1e-9
	// maxWindows is how many places are reported: beyond the first few they say
	// nothing any more.
	maxWindows = 10
	// maxSteps bounds one scan, in steps of about a nanosecond: some seconds on
	// one core.
	maxSteps = 6_000_000_000
	// patientSteps bounds it where somebody waits at a terminal: a minute or two.
	patientSteps = 20 * maxSteps
)

var (
	noEffort = words.New("hotspot-no-effort",
		"No record says which plants were looked at, so there is no rate and no p: groups of finds may only show where people walked.",
		"Ningún registro dice qué plantas se revisaron, así que no hay tasa ni p: los grupos de hallazgos pueden mostrar solo por dónde se caminó.")
	allFindsOutside = words.New("hotspot-finds-outside-effort",
		"None of the infected plants lies where a visit recorded having looked, so there is no rate and no p.",
		"Ninguna de las plantas infectadas está donde una visita registró haber mirado, así que no hay tasa ni p.")
	nothingInfected = words.New("hotspot-nothing-infected",
		"None of the inspected plants is infected: there is nothing to test.",
		"Ninguna de las plantas revisadas está infectada: no hay nada que probar.")
	everythingInfected = words.New("hotspot-everything-infected",
		"Every inspected plant is infected: no place differs from the rest.",
		"Todas las plantas revisadas están infectadas: ningún lugar difiere del resto.")
	noWindow = words.New("hotspot-no-window",
		"No place holds as many infected plants as min_cases with a higher rate than the rest.",
		"Ningún lugar tiene tantas plantas infectadas como min_cases con una tasa mayor que el resto.")
	noReplicates = words.New("hotspot-no-replicates",
		"No reshuffles were asked for, so there is no p.",
		"No se pidieron repeticiones al azar, así que no hay p.")
	tooCostly = words.New("hotspot-scan-too-costly",
		"The scan over {plants} inspected plants would take about {steps} thousand million steps; the limit is {limit}. Lower scan.cap or scan.replicates, or give fewer shapes.",
		"El barrido de {plants} plantas revisadas llevaría unos {steps} mil millones de pasos; el límite es {limit}. Baje scan.cap o scan.replicates, o dé menos formas.")
	lowerCap = words.New("hotspot-fix-lower-cap",
		"For this block scan.cap {cap} with scan.replicates {replicates} would do.",
		"Para este bloque bastaría scan.cap {cap} con scan.replicates {replicates}.")
)

// scan fills in the windows and their p, or why there is none.
func (s *study) scan(ctx context.Context, effort []Plant, a *Analysis) error {
	switch {
	case !s.in.NoEffort.Empty():
		a.WhyNoP = s.in.NoEffort
	case len(effort) == 0:
		a.WhyNoP = noEffort.Plain()
	case a.Counted == 0 && a.Infected > 0:
		a.WhyNoP = allFindsOutside.Plain()
	case a.Counted == 0:
		a.WhyNoP = nothingInfected.Plain()
	case a.Counted == len(effort):
		a.WhyNoP = everythingInfected.Plain()
	default:
		return s.search(ctx, effort, a)
	}
	return nil
}

func (s *study) search(ctx context.Context, effort []Plant, a *Analysis) error {
	set, why, err := s.set.Scan.within(len(effort))
	if a.WhyNoP = why; err != nil || !why.Empty() {
		return err
	}
	a.Settings.Scan = set
	q := newScan(set)
	for _, p := range effort {
		at, cases := s.xy(p), int32(0)
		if s.sick(p) {
			cases = 1
		}
		q.add(at.X, at.Y, cases, 1)
	}
	found, maxima, err := q.search(ctx)
	if err != nil {
		return err
	}
	for _, w := range found {
		a.Scan = append(a.Scan, q.report(w, effort, maxima))
	}
	switch {
	case len(found) == 0:
		a.WhyNoP = noWindow.Plain()
	case set.Replicates == 0:
		a.WhyNoP = noReplicates.Plain()
	}
	s.linkWindows(a)
	return nil
}

// within are the settings that cost no more than the limit. What was asked for
// by name is refused where it costs more, with what would do; the usual
// settings give way, and where nothing does why says so.
func (set Scan) within(plants int) (lower Scan, why words.Text, err error) {
	steps, limit := scanSteps(plants, set), set.limit()
	if steps <= limit {
		return set, words.Text{}, nil
	}
	lower, ok := affordable(plants, set)
	text := tooCostly.With(words.Args{"plants": plants, "steps": math.Round(steps / 1e9), "limit": limit / 1e9})
	switch {
	case set.Asked:
		d := fault.Detail{Field: "scan", Text: text}
		if ok {
			d.Fix = lowerCap.With(words.Args{"cap": lower.Cap, "replicates": lower.Replicates})
		}
		return set, words.Text{}, fault.New(fault.TooCostly, text, d)
	case ok:
		return lower, words.Text{}, nil
	}
	return set, text, nil
}

func (set Scan) limit() float64 {
	if set.Patient {
		return patientSteps
	}
	return maxSteps
}

// scanSteps estimates the work in steps of about a nanosecond, as measured: for
// each centre the ordering, and for each window the words of 64 reshuffles.
func scanSteps(plants int, set Scan) float64 {
	n, reach := float64(plants), set.Cap*float64(plants)
	words := math.Ceil(float64(set.Replicates) / wordBits)
	return float64(len(set.Shapes)) * n * (5*n + 40*reach + stepsPerWord*reach*words)
}

// affordable lowers the cap, then the number of reshuffles, until the scan
// costs little enough; false when nothing does.
func affordable(plants int, set Scan) (Scan, bool) {
	for _, replicates := range []int{set.Replicates, 99} {
		for _, share := range []float64{set.Cap, 0.25, 0.1, 0.05, 0.02, 0.01} {
			if lower := set; share <= set.Cap && replicates <= set.Replicates {
				lower.Cap, lower.Replicates = share, replicates
				if scanSteps(plants, lower) <= set.limit() {
					return lower, true
				}
			}
		}
	}
	return set, false
}

// ellipse is the form of a window: its long half axis over its short one, and
// how far the long one is turned from X towards Y. Rows are always along X.
type ellipse struct{ ratio, cos, sin float64 }

func turned(ratio float64, angle geo.Degrees) ellipse {
	sin, cos := math.Sincos(float64(angle) * math.Pi / 180)
	return ellipse{ratio, cos, sin}
}

func alongRows(ratios []float64) (out []ellipse) {
	for _, r := range ratios {
		out = append(out, turned(r, 0))
	}
	return out
}

// square is the squared distance of an offset in the metric of the short axis.
func (e ellipse) square(dx, dy float64) float64 {
	long, short := (dx*e.cos+dy*e.sin)/e.ratio, dy*e.cos-dx*e.sin
	return long*long + short*short
}

// scan is one search over sites with cases among those at risk.
type scan struct {
	shapes   []ellipse
	minCases int32
	share    float64 // of all at risk, the most a window holds
	like     likelihood
	counted  bool // by the Poisson likelihood
	seed     uint64
	repeats  int

	x, y       []float64
	cases      []int32
	risk       []float64
	allC, allN float64
	single     bool // every site holds one at risk
}

func newScan(set Scan) *scan {
	return &scan{shapes: alongRows(set.Shapes), minCases: int32(set.MinCases), share: set.Cap, like: bernoulli, seed: set.Seed, repeats: set.Replicates, single: true}
}

// newCountScan is one by the Poisson likelihood.
func newCountScan(set Scan) *scan {
	q := newScan(set)
	q.like, q.counted = poisson, true
	return q
}

func (q *scan) add(x, y float64, cases int32, risk float64) {
	q.x, q.y = append(q.x, x), append(q.y, y)
	q.cases, q.risk = append(q.cases, cases), append(q.risk, risk)
	q.allC += float64(cases)
	q.allN += risk
	q.single = q.single && risk == 1 && cases <= 1
}

// limit is the most at risk inside one window.
func (q *scan) limit() float64 { return q.share*q.allN + tie }

// place is a site at its elliptic distance from a centre.
type place struct {
	far  float64
	site int32
}

// siteBits of a key hold the site, the rest the leading bits of the squared
// distance, 28 of them mantissa: keys sort by distance to 4 parts in 10^9, far
// finer than tie, and then by site.
const (
	siteBits = 24
	maxSites = 1 << siteBits
)

// order is room for one centre's sites.
type order struct {
	keys []uint64
	near []place
}

// ordered gives the sites nearest a centre, nearest first, as far as a window
// may reach; reach is how many of them whole windows hold. Sites at one
// distance enter together, so a last set that the limit cuts is left out.
func (q *scan) ordered(centre int, shape ellipse, o *order) (near []place, reach int) {
	o.keys, o.near = o.keys[:0], o.near[:0]
	for i := range q.x {
		far := shape.square(q.x[i]-q.x[centre], q.y[i]-q.y[centre])
		o.keys = append(o.keys, math.Float64bits(far)>>siteBits<<siteBits|uint64(i))
	}
	if most := int(q.limit()) + 1; q.single && most < len(o.keys) {
		nearest(o.keys, most)
		o.keys = o.keys[:most]
	}
	slices.Sort(o.keys)
	for _, k := range o.keys {
		site := int32(k & (maxSites - 1))
		far := shape.square(q.x[site]-q.x[centre], q.y[site]-q.y[centre])
		o.near = append(o.near, place{math.Sqrt(far), site})
	}
	return o.near, q.whole(o.near)
}

// whole is how many of the places windows may hold.
func (q *scan) whole(near []place) int {
	inside := 0.0
	for from := 0; from < len(near); {
		to := from
		for ; to < len(near) && (to == from || near[to].far-near[to-1].far <= tie); to++ {
			inside += q.risk[near[to].site]
		}
		// The last set of those taken may go on among those left out.
		if inside > q.limit() || to == len(near) && to < len(q.x) {
			return from
		}
		from = to
	}
	return len(near)
}

// nearest brings the k lowest keys to the front, in any order (quickselect,
// median of three).
func nearest(keys []uint64, k int) {
	low, high := 0, len(keys)-1
	for low < high {
		pivot := median(keys[low], keys[(low+high)/2], keys[high])
		i, j := low, high
		for i <= j {
			for keys[i] < pivot {
				i++
			}
			for keys[j] > pivot {
				j--
			}
			if i <= j {
				keys[i], keys[j] = keys[j], keys[i]
				i++
				j--
			}
		}
		switch {
		case k-1 <= j:
			high = j
		case k-1 >= i:
			low = i
		default:
			return
		}
	}
}

func median(a, b, c uint64) uint64 { return max(min(a, b), min(max(a, b), c)) }

// candidate is the best window of one centre and shape.
type candidate struct {
	llr    float64
	centre int32
	shape  int32
	size   int32 // sites inside
	cases  int32
	risk   float64
	far    float64 // half axis across
}

// before puts the better window first: the higher ratio, then the fewer sites,
// the earlier shape, the earlier centre.
func (c candidate) before(d candidate) bool {
	if math.Abs(c.llr-d.llr) > sameLLR {
		return c.llr > d.llr
	}
	return cmp.Or(cmp.Compare(c.size, d.size), cmp.Compare(c.shape, d.shape), cmp.Compare(c.centre, d.centre)) < 0
}

// best is the best window among the first reach places that stops short of
// taken sites. For a given number of cases the smallest window is the best, so
// only windows that a case has just entered are looked at.
func (q *scan) best(c candidate, near []place, reach int, taken []bool) candidate {
	cases, risk := int32(0), 0.0
	c.llr = 0
	for from := 0; from < reach; {
		to, before := from, cases
		for to < reach && (to == from || near[to].far-near[to-1].far <= tie) {
			site := near[to].site
			if taken != nil && taken[site] {
				return c
			}
			cases += q.cases[site]
			risk += q.risk[site]
			to++
		}
		if cases > before && cases >= q.minCases {
			if llr := q.like(float64(cases), risk, q.allC, q.allN); llr > c.llr+sameLLR {
				c.llr, c.size, c.cases, c.risk, c.far = llr, int32(to), cases, risk, near[to-1].far
			}
		}
		from = to
	}
	return c
}

// eachCentre calls f for every shape and centre, on all processors.
func (q *scan) eachCentre(ctx context.Context, f func(worker, shape, centre int, o *order)) error {
	workers := runtime.GOMAXPROCS(0)
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			var o order
			for k := w; k < len(q.shapes)*len(q.x) && ctx.Err() == nil; k += workers {
				f(w, k/len(q.x), k%len(q.x), &o)
			}
		})
	}
	wait.Wait()
	return ctx.Err()
}

// queue is a heap of candidates, the best on top.
type queue []candidate

func (h queue) Len() int           { return len(h) }
func (h queue) Less(i, j int) bool { return h[i].before(h[j]) }
func (h queue) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *queue) Push(x any)        { *h = append(*h, x.(candidate)) }
func (h *queue) Pop() any {
	last := len(*h) - 1
	x := (*h)[last]
	*h = (*h)[:last]
	return x
}

// found is a window with its sites, nearest first.
type found struct {
	candidate
	sites []int32
}

// chance is a search of the same windows with the cases dealt anew.
type chance interface {
	visit(worker int, near []place)
	maxima(repeats int) []float64
}

func (q *scan) chance(ctx context.Context) (chance, error) {
	switch {
	case q.repeats == 0:
		return nil, nil
	case q.counted:
		return q.recounts(ctx)
	case q.single:
		return q.reshuffles(ctx)
	}
	return nil, nil
}

// search gives the best windows and, where reshuffles were asked for and sites
// are single or counted, the best ratio of each reshuffle.
func (q *scan) search(ctx context.Context) (windows []found, maxima []float64, err error) {
	all := make(queue, len(q.shapes)*len(q.x))
	chance, err := q.chance(ctx)
	if err != nil {
		return nil, nil, err
	}
	err = q.eachCentre(ctx, func(worker, shape, centre int, o *order) {
		near, reach := q.ordered(centre, q.shapes[shape], o)
		all[shape*len(q.x)+centre] = q.best(candidate{centre: int32(centre), shape: int32(shape)}, near, reach, nil)
		if chance != nil {
			chance.visit(worker, near[:reach])
		}
	})
	if err != nil {
		return nil, nil, err
	}
	if windows, err = q.apart(ctx, all); err != nil {
		return nil, nil, err
	}
	if chance != nil {
		maxima = chance.maxima(q.repeats)
	}
	return windows, maxima, nil
}

// apart picks the best window, then the best of those that share no site with
// the ones before, and so on.
func (q *scan) apart(ctx context.Context, all queue) (out []found, err error) {
	all = slices.DeleteFunc(all, func(c candidate) bool { return c.llr <= 0 })
	heap.Init(&all)
	taken := make([]bool, len(q.x))
	var o order
	for len(all) > 0 && len(out) < maxWindows {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		c := heap.Pop(&all).(candidate)
		near, reach := q.ordered(int(c.centre), q.shapes[c.shape], &o)
		// Cutting a window short only lowers its ratio: it goes back into line.
		if again := q.best(c, near, reach, taken); again.llr < c.llr || again.size != c.size {
			if again.llr > 0 {
				heap.Push(&all, again)
			}
			continue
		}
		w := found{candidate: c}
		for _, p := range near[:c.size] {
			w.sites = append(w.sites, p.site)
			taken[p.site] = true
		}
		out = append(out, w)
	}
	return out, nil
}

func (q *scan) report(f found, effort []Plant, maxima []float64) Window {
	w := Window{Centre: effort[f.centre], Shape: q.shapes[f.shape].ratio, Semiminor: geo.Metres(f.far), Plants: int(f.size), Infected: int(f.cases), LLR: f.llr,
		RelativeRisk: q.relativeRisk(f.candidate)}
	for _, site := range f.sites {
		w.Members = append(w.Members, effort[site])
	}
	slices.SortFunc(w.Members, byRow)
	if len(maxima) > 0 {
		w.P = rank(f.llr, maxima)
	}
	return w
}

// relativeRisk is the rate inside over the rate outside.
func (q *scan) relativeRisk(c candidate) float64 {
	return (float64(c.cases) / c.risk) / ((q.allC - float64(c.cases)) / (q.allN - c.risk))
}

// rank is the Monte Carlo p: (1 + how many reshuffles did as well) of (1 + all).
func rank(llr float64, maxima []float64) *float64 {
	as := 1
	for _, m := range maxima {
		if m >= llr-sameLLR {
			as++
		}
	}
	return fault.P(float64(as) / float64(len(maxima)+1))
}

// linkWindows gives each group the best window that holds one of its plants.
func (s *study) linkWindows(a *Analysis) {
	in := map[Plant]int{}
	for w := len(a.Scan) - 1; w >= 0; w-- {
		for _, p := range a.Scan[w].Members {
			in[p] = w
		}
	}
	for n, g := range a.Groups {
		for _, p := range g.Finds {
			if w, ok := in[p]; ok && (a.Groups[n].Window < 0 || w < a.Groups[n].Window) {
				a.Groups[n].Window = w
			}
		}
	}
}
