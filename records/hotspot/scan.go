package hotspot

import (
	"cmp"
	"container/heap"
	"context"
	"math"
	"math/bits"
	"math/rand/v2"
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
	// maxSteps bounds one scan, in steps of a few nanoseconds: some seconds.
	maxSteps = 2_500_000_000
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
		"The scan over {plants} inspected plants would take about {steps} steps; the limit is {limit}. Lower scan.cap or scan.replicates, or give fewer shapes.",
		"El barrido de {plants} plantas revisadas llevaría unos {steps} pasos; el límite es {limit}. Baje scan.cap o scan.replicates, o dé menos formas.")
	lowerCap = words.New("hotspot-fix-lower-cap",
		"For this block a cap of {cap} would do.",
		"Para este bloque bastaría un cap de {cap}.")
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
	set := s.set.Scan
	if steps := scanSteps(len(effort), a.Counted, set); steps > maxSteps {
		text := tooCostly.With(words.Args{"plants": len(effort), "steps": math.Round(steps/1e6) * 1e6, "limit": maxSteps})
		if !set.Asked {
			a.WhyNoP = text
			return nil
		}
		return fault.New(fault.TooCostly, text, fault.Detail{Field: "scan", Text: text, Fix: s.affordable(len(effort), a.Counted)})
	}
	q := newScan(set)
	for _, p := range effort {
		at, cases := s.xy(p), int32(0)
		if s.sick(p) {
			cases = 1
		}
		q.add(at.X, at.Y, cases, 1)
	}
	found, err := q.windows(ctx)
	if err != nil {
		return err
	}
	var maxima []float64
	if set.Replicates > 0 && len(found) > 0 {
		if maxima, err = q.reshuffle(ctx); err != nil {
			return err
		}
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

// scanSteps estimates the work: ordering, then a few steps for each case that
// each window of each reshuffle meets, and one for each word of 64 reshuffles.
func scanSteps(plants, cases int, set Scan) float64 {
	n, reach := float64(plants), set.Cap*float64(plants)
	perCentre := 4*n + 20*reach + reach*float64(set.Replicates)*(5*float64(cases)/n+1.0/wordBits)
	return float64(len(set.Shapes)) * n * perCentre
}

// affordable names a cap that would do, in whole hundredths.
func (s *study) affordable(plants, cases int) words.Text {
	for hundredth := 24; hundredth >= 1; hundredth-- {
		set := s.set.Scan
		if set.Cap = float64(hundredth) / 100; scanSteps(plants, cases, set) <= maxSteps {
			return lowerCap.With(words.Args{"cap": set.Cap})
		}
	}
	return words.Text{}
}

// scan is one search over sites with cases among those at risk.
type scan struct {
	shapes   []float64
	minCases int32
	share    float64 // of all at risk, the most a window holds
	like     likelihood
	seed     uint64
	repeats  int

	x, y       []float64
	cases      []int32
	risk       []float64
	allC, allN float64
	single     bool // every site holds one at risk
}

func newScan(set Scan) *scan {
	return &scan{shapes: set.Shapes, minCases: int32(set.MinCases), share: set.Cap, like: bernoulli, seed: set.Seed, repeats: set.Replicates, single: true}
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

// ordered gives the sites nearest a centre, nearest first, as far as a window
// may reach; reach is how many of them whole windows hold. Sites at one
// distance enter together, so a last set that the limit cuts is left out.
func (q *scan) ordered(centre int, shape float64, room []place) (near []place, reach int) {
	room = room[:0]
	for i := range q.x {
		dx, dy := (q.x[i]-q.x[centre])/shape, q.y[i]-q.y[centre]
		room = append(room, place{dx*dx + dy*dy, int32(i)})
	}
	if most := int(q.limit()) + 1; q.single && most < len(room) {
		nearest(room, most)
		room = room[:most]
	}
	slices.SortFunc(room, func(a, b place) int { return cmp.Or(cmp.Compare(a.far, b.far), cmp.Compare(a.site, b.site)) })
	inside := 0.0
	for i := range room {
		room[i].far = math.Sqrt(room[i].far)
	}
	for from := 0; from < len(room); {
		to := from + 1
		for to < len(room) && room[to].far-room[to-1].far <= tie {
			to++
		}
		for _, p := range room[from:to] {
			inside += q.risk[p.site]
		}
		// The last set of those taken may go on among those left out.
		if inside > q.limit() || to == len(room) && to < len(q.x) {
			return room, from
		}
		from = to
	}
	return room, len(room)
}

// nearest brings the k nearest places to the front, in any order (quickselect,
// median of three).
func nearest(p []place, k int) {
	low, high := 0, len(p)-1
	for low < high {
		pivot := median(p[low].far, p[(low+high)/2].far, p[high].far)
		i, j := low, high
		for i <= j {
			for p[i].far < pivot {
				i++
			}
			for p[j].far > pivot {
				j--
			}
			if i <= j {
				p[i], p[j] = p[j], p[i]
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

func median(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }

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
func (q *scan) eachCentre(ctx context.Context, f func(worker, shape, centre int, room []place)) error {
	workers := runtime.GOMAXPROCS(0)
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() {
			room := make([]place, 0, len(q.x))
			for k := w; k < len(q.shapes)*len(q.x) && ctx.Err() == nil; k += workers {
				f(w, k/len(q.x), k%len(q.x), room)
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

// windows gives the best window, then the best of those that share no site
// with the ones before, and so on.
func (q *scan) windows(ctx context.Context) ([]found, error) {
	all := make(queue, len(q.shapes)*len(q.x))
	err := q.eachCentre(ctx, func(_, shape, centre int, room []place) {
		near, reach := q.ordered(centre, q.shapes[shape], room)
		all[shape*len(q.x)+centre] = q.best(candidate{centre: int32(centre), shape: int32(shape)}, near, reach, nil)
	})
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(c candidate) bool { return c.llr <= 0 })
	heap.Init(&all)
	taken, room := make([]bool, len(q.x)), make([]place, 0, len(q.x))
	var out []found
	for len(all) > 0 && len(out) < maxWindows {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		c := heap.Pop(&all).(candidate)
		near, reach := q.ordered(int(c.centre), q.shapes[c.shape], room)
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

// wordBits reshuffles are carried side by side in one word.
const wordBits = 64

// reshuffle gives the best ratio of each of the reshuffles: the cases drawn
// anew among the sites without replacement, the same windows searched. A
// reshuffle depends on the seed and its own number alone. Sites must be single.
func (q *scan) reshuffle(ctx context.Context) ([]float64, error) {
	lanes := q.drawn()
	table := newBernoulliTable(int(q.allC), int(q.allN))
	best := make([][]float64, runtime.GOMAXPROCS(0))
	for w := range best {
		best[w] = make([]float64, len(lanes)*wordBits)
	}
	err := q.eachCentre(ctx, func(worker, shape, centre int, room []place) {
		near, reach := q.ordered(centre, q.shapes[shape], room)
		ends := sets(near[:reach])
		for b, lane := range lanes {
			q.searchLane(&table, lane, near[:reach], ends, best[worker][b*wordBits:(b+1)*wordBits])
		}
	})
	if err != nil {
		return nil, err
	}
	maxima := make([]float64, q.repeats)
	for _, mine := range best {
		for r := range maxima {
			maxima[r] = max(maxima[r], mine[r])
		}
	}
	return maxima, nil
}

// drawn says, for each 64 reshuffles, in which of them each site is a case.
func (q *scan) drawn() [][]uint64 {
	lanes := make([][]uint64, (q.repeats+wordBits-1)/wordBits)
	for b := range lanes {
		lanes[b] = make([]uint64, len(q.x))
	}
	order := make([]int32, len(q.x))
	for r := range q.repeats {
		random := rand.New(rand.NewPCG(q.seed, uint64(r)))
		for i := range order {
			order[i] = int32(i)
		}
		for k := range int(q.allC) {
			j := k + random.IntN(len(order)-k)
			order[k], order[j] = order[j], order[k]
			lanes[r/wordBits][order[k]] |= 1 << (r % wordBits)
		}
	}
	return lanes
}

// sets gives the end of each set of places at one distance.
func sets(near []place) (ends []int32) {
	for i := range near {
		if i+1 == len(near) || near[i+1].far-near[i].far > tie {
			ends = append(ends, int32(i+1))
		}
	}
	return ends
}

// searchLane raises the best ratio of the 64 reshuffles of a lane over the
// windows of one centre.
func (q *scan) searchLane(table *bernoulliTable, lane []uint64, near []place, ends []int32, best []float64) {
	var cases [wordBits]int32
	from := int32(0)
	for _, to := range ends {
		touched := uint64(0)
		for _, p := range near[from:to] {
			word := lane[p.site]
			touched |= word
			for word != 0 {
				r := bits.TrailingZeros64(word)
				word &= word - 1
				cases[r]++
			}
		}
		for touched != 0 {
			r := bits.TrailingZeros64(touched)
			touched &= touched - 1
			if cases[r] >= q.minCases {
				if llr := table.at(int(cases[r]), int(to)); llr > best[r] {
					best[r] = llr
				}
			}
		}
		from = to
	}
}

func (q *scan) report(f found, effort []Plant, maxima []float64) Window {
	w := Window{Centre: effort[f.centre], Shape: q.shapes[f.shape], Semiminor: geo.Metres(f.far), Plants: int(f.size), Infected: int(f.cases), LLR: f.llr,
		RelativeRisk: (float64(f.cases) / f.risk) / ((q.allC - float64(f.cases)) / (q.allN - f.risk))}
	for _, site := range f.sites {
		w.Members = append(w.Members, effort[site])
	}
	slices.SortFunc(w.Members, byRow)
	if len(maxima) > 0 {
		w.P = rank(f.llr, maxima)
	}
	return w
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
