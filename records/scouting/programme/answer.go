package programme

import (
	"math"
	"strconv"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records/stats"
)

// Verdict is what a count says.
type Verdict string

// The verdicts.
const (
	Above      Verdict = "above"
	Below      Verdict = "below"
	CannotTell Verdict = "cannot-tell"
)

// MostMore is how many further looks are thought ahead: nobody looks at more
// before asking again.
const MostMore = 10_000

// Answer is a count, weighed.
type Answer struct {
	Programme Programme
	Verdict   Verdict
	Sampled   int
	Hits      int
	Rate      float64 // hits a unit looked at
	Low, High float64 // exact limits of the rate
	More      More
	// Excludes is the rate that a look without a hit speaks against, one-sided;
	// nil with hits.
	Excludes *float64
}

// More is how many further looks it would take until the answer is one; nil
// where MostMore would not do, or where there is an answer already.
type More struct {
	IfClean    *int // to Below, none of them a hit
	IfAllHits  *int // to Above, each of them one hit
	AtThisRate *int // to either, hits falling as they have so far
}

var (
	countNotOne   = words.New("programme-count-not-one", "This count cannot be weighed; see below.", "Este conteo no se puede valorar; véase abajo.")
	sampledRange  = words.New("programme-sampled-range", "How many were looked at is a number from 1 to {most}.", "Cuántos se revisaron es un número de 1 a {most}.")
	hitsRange     = words.New("programme-hits-range", "The count is a number from 0 to {most}.", "El conteo es un número de 0 a {most}.")
	hitsOver      = words.New("programme-hits-over-sample", "{hits} of {sampled} cannot be: hits are counted among those looked at.", "{hits} de {sampled} no puede ser: los positivos se cuentan entre los revisados.")
	excludesShare = words.New("programme-excludes-share", "{sampled} {unit} seen, none with it: under {percent} % with {sureness} % sureness", "{sampled} {unit} revisados, ninguno con ello: menos de {percent} % con {sureness} % de certeza")
	excludesMean  = words.New("programme-excludes-mean", "{sampled} {unit} seen, nothing found: under {per} per 100 with {sureness} % sureness", "{sampled} {unit} revisados, nada encontrado: menos de {per} por cada 100 con {sureness} % de certeza")

	howLevel = words.New("programme-how-level",
		"{hits} in {sampled} {unit}; exact limits ({method}, {sides}-sided, {sureness} %) from {low} to {high}; action level {level}. Above only where the lower limit passes the level, below only where the upper one does not reach it. Things that sit together are not independent: then the limits are too narrow.",
		"{hits} en {sampled} {unit}; límites exactos ({method}, {sides} lado(s), {sureness} %) de {low} a {high}; nivel de acción {level}. Por encima solo si el límite inferior pasa el nivel, por debajo solo si el superior no lo alcanza. Lo que está junto no es independiente: entonces los límites son demasiado estrechos.")
	howAny = words.New("programme-how-any",
		"{hits} in {sampled} {unit}; exact limits ({method}, {sides}-sided, {sureness} %) from {low} to {high}. The rule is that one is enough; without one, the count is below only where the rule's whole sample was looked at.",
		"{hits} en {sampled} {unit}; límites exactos ({method}, {sides} lado(s), {sureness} %) de {low} a {high}. La regla es que basta uno; sin ninguno, el conteo queda por debajo solo si se revisó toda la muestra de la regla.")
	howNone = words.New("programme-how-none",
		"{hits} in {sampled} {unit}; exact limits ({method}, {sides}-sided, {sureness} %) from {low} to {high}. No action level is established here: the figures are for the grower and the adviser to weigh.",
		"{hits} en {sampled} {unit}; límites exactos ({method}, {sides} lado(s), {sureness} %) de {low} a {high}. Aquí no hay nivel de acción establecido: las cifras son para que las valoren el productor y el asesor.")
)

// Weigh says what hits out of sampled mean. fault.Invalid where the count
// cannot be.
func (p Programme) Weigh(sampled, hits int) (Answer, error) {
	if err := p.checkCount(sampled, hits); err != nil {
		return Answer{}, err
	}
	a := Answer{Programme: p, Verdict: CannotTell, Sampled: sampled, Hits: hits, Rate: float64(hits) / float64(sampled)}
	var err error
	if a.Low, a.High, err = p.limits(sampled, hits, p.tail()); err != nil {
		return Answer{}, err
	}
	if hits == 0 {
		_, over, err := p.limits(sampled, 0, 1-p.Sureness)
		if err != nil {
			return Answer{}, err
		}
		a.Excludes = &over
	}
	switch {
	case p.Any:
		a.anyRule()
	case p.Level != nil:
		a.Verdict = p.judge(sampled, hits)
		if a.Verdict == CannotTell {
			a.More = p.more(sampled, hits)
		}
	}
	return a, nil
}

func (p Programme) checkCount(sampled, hits int) error {
	var details []fault.Detail
	if sampled < 1 || sampled > stats.MaxSampled {
		details = append(details, fault.Detail{Field: "sampled", Text: sampledRange.With(words.Args{"most": stats.MaxSampled})})
	}
	switch {
	case hits < 0 || hits > stats.MaxCounted:
		details = append(details, fault.Detail{Field: "hits", Text: hitsRange.With(words.Args{"most": stats.MaxCounted})})
	case p.Method == Share && hits > sampled && details == nil:
		details = append(details, fault.Detail{Field: "hits", Text: hitsOver.With(words.Args{"hits": hits, "sampled": sampled})})
	}
	if details != nil {
		return fault.New(fault.Invalid, countNotOne.Plain(), details...)
	}
	return nil
}

// tail is the chance left outside at each end.
func (p Programme) tail() float64 {
	if p.Sides == 1 {
		return 1 - p.Sureness
	}
	return (1 - p.Sureness) / 2
}

func (p Programme) limits(sampled, hits int, tail float64) (low, high float64, err error) {
	if p.Method == Mean {
		return stats.GarwoodSides(hits, sampled, tail)
	}
	return stats.ClopperPearson(hits, sampled, 1-2*tail)
}

func (a *Answer) anyRule() {
	p := a.Programme
	switch {
	case a.Hits > 0:
		a.Verdict = Above
	case p.Look > 0 && a.Sampled >= p.Look:
		a.Verdict = Below
	default:
		one := 1
		a.More.IfAllHits = &one
		if left := p.Look - a.Sampled; left > 0 {
			a.More.IfClean = &left
		}
	}
}

// judge is the exact test at each end, the same as where the limits lie.
func (p Programme) judge(sampled, hits int) Verdict {
	switch {
	case p.showsAbove(sampled, hits):
		return Above
	case p.showsBelow(sampled, hits):
		return Below
	}
	return CannotTell
}

// The chances below are asked of numbers checked before: their errors cannot be.

func (p Programme) showsAbove(sampled, hits int) bool {
	if hits == 0 {
		return false
	}
	chance, err := stats.ChanceOfAtLeast(min(hits, sampled), sampled, min(*p.Level, almostAll))
	if p.Method == Mean {
		chance, err = stats.ChanceOfCountAtLeast(hits, sampled, *p.Level)
	}
	return err == nil && chance <= p.tail()
}

func (p Programme) showsBelow(sampled, hits int) bool {
	chance, err := stats.ChanceOfAtMost(min(hits, sampled), sampled, min(*p.Level, almostAll))
	if p.Method == Mean {
		chance, err = stats.ChanceOfCountAtMost(hits, sampled, *p.Level)
	}
	return err == nil && chance <= p.tail()
}

// almostAll keeps a mean's level, which may be above 1, out of the binomial.
const almostAll = 1 - 1e-12

func (p Programme) more(sampled, hits int) (m More) {
	m.IfClean = least(func(n int) bool { return p.showsBelow(sampled+n, hits) })
	m.IfAllHits = least(func(n int) bool { return p.showsAbove(sampled+n, hits+n) })
	rate := float64(hits) / float64(sampled)
	for n := 1; n <= MostMore; n++ {
		k := hits + int(math.Floor(rate*float64(n)+1e-9)) // 1e-9: a product that is whole but for rounding
		if k > stats.MaxCounted || p.judge(sampled+n, k) == CannotTell {
			continue
		}
		m.AtThisRate = &n
		break
	}
	return m
}

// least is the smallest number from 1 to MostMore at which reached holds, which
// never turns back.
func least(reached func(int) bool) *int {
	if !reached(MostMore) {
		return nil
	}
	lo, hi := 1, MostMore
	for lo < hi {
		if mid := lo + (hi-lo)/2; reached(mid) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return &lo
}

// ExcludesText is what a look without a hit speaks against; empty with hits.
func (a Answer) ExcludesText() words.Text {
	if a.Excludes == nil {
		return words.Text{}
	}
	p := a.Programme
	args := words.Args{"sampled": a.Sampled, "unit": p.Unit, "sureness": percent(p.Sureness)}
	if p.Method == Mean {
		args["per"] = roundedUp(100 * *a.Excludes)
		return excludesMean.With(args)
	}
	args["percent"] = roundedUp(100 * *a.Excludes)
	return excludesShare.With(args)
}

// roundedUp keeps two digits and never says less: "under" must stay true.
func roundedUp(v float64) float64 {
	if v <= 0 {
		return 0
	}
	step := math.Pow(10, math.Floor(math.Log10(v))-1)
	return math.Ceil(v/step-1e-9) * step // 1e-9: 1.0 that is 1.0000000001 for rounding
}

func percent(share float64) float64 { return math.Round(share*1e6) / 1e4 }

// How says how the answer came about.
func (a Answer) How() words.Text {
	p := a.Programme
	args := words.Args{"hits": a.Hits, "sampled": a.Sampled, "unit": p.Unit, "method": string(p.Method), "sides": p.Sides,
		"sureness": percent(p.Sureness), "low": p.shown(a.Low), "high": p.shown(a.High)}
	switch {
	case p.Any:
		return howAny.With(args)
	case p.Level == nil:
		return howNone.With(args)
	}
	args["level"] = p.shown(*p.Level)
	return howLevel.With(args)
}

// shown is a rate as people read it: a share in percent, a mean as it is.
func (p Programme) shown(rate float64) string {
	if p.Method == Mean {
		return strconv.FormatFloat(rate, 'g', 3, 64)
	}
	v := 100 * rate
	digits := 1
	if v > 0 && v < 1 {
		digits = 2
	}
	return strconv.FormatFloat(v, 'f', digits, 64) + " %"
}
