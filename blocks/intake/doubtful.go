package intake

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

var (
	claimsArea = words.New("intake-claims-area",
		"Feature {which}: the file says {claimed} ({field}), but the outline encloses {area}; the outline's own area counts.",
		"Elemento {which}: el archivo dice {claimed} ({field}), pero el contorno encierra {area}; vale el área del propio contorno.")
	veryLarge = words.New("intake-very-large",
		"Feature {which} is very large for one block: {area}. Check its corners.",
		"El elemento {which} es muy grande para un solo bloque: {area}. Revise sus vértices.")
	farApart = words.New("intake-far-apart",
		"{count} place(s), the first being feature {which}, lie {km} km or more from the rest of the file. A sign may be missing, or longitude and latitude be swapped there; look at the map.",
		"{count} lugar(es), el primero el elemento {which}, están a {km} km o más del resto del archivo. Puede faltar un signo, o estar intercambiadas ahí la longitud y la latitud; mire el mapa.")
	pinsZero = words.New("intake-pins-zero",
		"{count} point(s) at longitude and latitude zero (0,0), the first being feature {which}, were left out; devices and empty cells give 0,0 when there is no fix.",
		"Se dejaron fuera {count} punto(s) en longitud y latitud cero (0,0), el primero el elemento {which}; los aparatos y las celdas vacías dan 0,0 cuando no hay señal.")
	timesBack = words.New("intake-times-back",
		"Track {which}: at {count} fix(es) the time runs backwards, the first time from {from} to {to}. How long the track took is not certain.",
		"Recorrido {which}: en {count} posición(es) la hora va hacia atrás, la primera vez de {from} a {to}. La duración del recorrido no es segura.")
	timesDoubtful = words.New("intake-times-doubtful",
		"{count} time(s) of feature {which}, such as {time}, can hardly be right: the receiver's clock was not set. They were kept as they are.",
		"{count} hora(s) del elemento {which}, como {time}, difícilmente son correctas: el reloj del receptor no estaba en hora. Se conservaron tal cual.")
	longStep = words.New("intake-long-step",
		"Track {which}: from one fix to the next it jumps {km} km; its length counts that. A fix may be wrong, or two ways be joined.",
		"Recorrido {which}: de una posición a la siguiente salta {km} km; su longitud lo incluye. Quizá una posición es errónea o se unieron dos recorridos.")
	needle = words.New("intake-needle",
		"Feature {which}: the outline runs {m} m out to a sharp point and almost the same way back. If that is a stray tap, remove that corner; spray margins would follow it.",
		"Elemento {which}: el contorno sale {m} m hasta una punta aguda y vuelve casi por el mismo camino. Si es un toque por error, quite ese vértice; los márgenes de aplicación lo seguirían.")
	trackTwice = words.New("intake-track-twice",
		"Track {which} is the same as track {other}, fix by fix; it would be counted twice.",
		"El recorrido {which} es igual al {other}, posición por posición; se contaría dos veces.")
)

// Bounds beyond which something is said though nothing is wrong for certain.
const (
	largeBlock    geo.SquareMetres = 1e6     // 100 ha: whole farms of brambles are that large, single blocks are not
	oneFarm       geo.Metres       = 500_000 // ground farther apart is hardly one farm's
	claimDiffers                   = 0.02    // claims are rounded, and measured with simpler means
	claimRounding                  = 0.06    // of its unit: claims often have one decimal
	longestStep   geo.Metres       = 50_000  // nobody goes that far between two fixes of a walk or a pass
	needleLength  geo.Metres       = 10      // shorter ones are no taps elsewhere but rough digitising
	needleAngle                    = 0.5     // degrees: a corner of ground as sharp is 1 m wide after 115 m
)

// acre is the international one, 4840 square yards of 0.9144 m.
const acre = 4046.8564224

// areaUnits are the units that properties of areas name, without signs.
var areaUnits = map[string]struct {
	unit string
	m2   float64
}{
	"acres": {"acres", acre}, "acre": {"acres", acre}, "ac": {"acres", acre}, "acreage": {"acres", acre}, "areaacres": {"acres", acre},
	"areaac": {"acres", acre}, "gisacres": {"acres", acre}, "acresgis": {"acres", acre}, "calcacres": {"acres", acre}, "acrescalc": {"acres", acre},
	"hectares": {"ha", 1e4}, "hectareas": {"ha", 1e4}, "hectáreas": {"ha", 1e4}, "hectare": {"ha", 1e4}, "ha": {"ha", 1e4}, "areaha": {"ha", 1e4},
	"superficieha": {"ha", 1e4}, "areahectares": {"ha", 1e4},
	"aream2": {"m2", 1}, "areasqm": {"m2", 1}, "sqm": {"m2", 1}, "superficiem2": {"m2", 1},
}

// claim is an area that a property names.
type claim struct {
	field, text string
}

// claimsOf finds areas among properties that the outline contradicts.
func claimsOf(properties json.RawMessage, area geo.SquareMetres) []claim {
	var members map[string]json.RawMessage
	if len(properties) == 0 || json.Unmarshal(properties, &members) != nil {
		return nil
	}
	var out []claim
	for name, value := range members {
		unit, known := areaUnits[lettersOnly(name)]
		if !known {
			continue
		}
		said, err := strconv.ParseFloat(strings.Trim(string(value), `" `), 64)
		if err != nil || !(said > 0) {
			continue
		}
		if off := math.Abs(said*unit.m2 - float64(area)); off > claimDiffers*float64(area) && off > claimRounding*unit.m2 {
			out = append(out, claim{name, strconv.FormatFloat(said, 'f', -1, 64) + " " + unit.unit})
		}
	}
	slices.SortFunc(out, func(a, b claim) int { return strings.Compare(a.field, b.field) })
	return out
}

func lettersOnly(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, name)
}

// doubtBlock says what is unlikely of an outline that is sound.
func (g *gathering) doubtBlock(f wire.Feature, b ProposedBlock) {
	for _, c := range claimsOf(f.Properties, b.Area) {
		n := at(f)
		n.Field = c.field
		n.Text = claimsArea.With(words.Args{"which": which(f), "claimed": c.text, "field": c.field, "area": squares(b.Area)})
		g.note(n)
	}
	g.doubtCorners(f, b)
	if b.Area > largeBlock {
		n := at(f)
		n.Text = veryLarge.With(words.Args{"which": which(f), "area": squares(b.Area)})
		g.note(n)
	}
}

// doubtCorners says where an outline is drawn out to a needle.
func (g *gathering) doubtCorners(f wire.Feature, b ProposedBlock) {
	for i, polygon := range polygonsOf(b.Geometry.Flat) {
		for j, ring := range polygon {
			if at, length := sharpest(ring); at >= 0 {
				n := fault.Detail{Entry: f.Layer, Feature: fault.P(f.Number), Line: lineOf(f), Part: fault.P(i + 1), Ring: fault.P(j + 1), At: fault.P([2]float64(ring[at]))}
				n.Text = needle.With(words.Args{"which": which(f), "m": math.Round(float64(length))})
				g.note(n)
			}
		}
	}
}

// sharpest is the first corner of a closed ring whose two long sides run almost
// one on the other, and the shorter one's length; -1 for none. Sides are taken
// as straight on a map true at the corner, which they are within a millionth.
func sharpest(ring orb.Ring) (at int, length geo.Metres) {
	const degree = 111_320 // metres, of latitude; angles want no more
	n := len(ring) - 1
	for i := range n {
		q := ring[i]
		east := degree * math.Cos(q[1]*math.Pi/180)
		side := func(p orb.Point) (x, y float64) { return math.Remainder(p[0]-q[0], 360) * east, (p[1] - q[1]) * degree }
		ax, ay := side(ring[(i+n-1)%n])
		bx, by := side(ring[i+1])
		dot, cross := ax*bx+ay*by, ax*by-ay*bx
		if dot <= 0 || math.Abs(cross) >= dot*math.Tan(needleAngle*math.Pi/180) {
			continue
		}
		if short := min(math.Hypot(ax, ay), math.Hypot(bx, by)); short > float64(needleLength) {
			return i, geo.Metres(short)
		}
	}
	return -1, 0
}

// doubtSteps says when a track leaps.
func (g *gathering) doubtSteps(f wire.Feature, t Track) {
	if t.Length <= longestStep {
		return
	}
	lines, _ := t.Geometry.Flat.(orb.MultiLineString)
	if line, single := t.Geometry.Flat.(orb.LineString); single {
		lines = orb.MultiLineString{line}
	}
	for i, line := range lines {
		for j := 1; j < len(line); j++ {
			if step := measure.Distance(line[j-1], line[j]); step > longestStep {
				n := at(f)
				n.Part, n.Vertex, n.At = fault.P(i+1), fault.P(j+1), fault.P([2]float64(line[j]))
				n.Text = longStep.With(words.Args{"which": which(f), "km": math.Round(float64(step) / 1000)})
				g.note(n)
				return
			}
		}
	}
}

// noFixAt reports whether a pin stands where devices put what they could not
// place. It is in the sea off Africa.
func noFixAt(p geo.Position) bool { return p[0] == 0 && p[1] == 0 }

// zeroPin leaves out a pin without a place.
func (g *gathering) zeroPin(f wire.Feature) {
	if g.zeros++; g.zeros == 1 {
		g.firstZero = f
	}
}

// firstReceivers: no receiver that people carry recorded anything before; 1970
// and 1980 are what their clocks start from.
var firstReceivers = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// A clock may be set to another zone; two days are beyond every zone.
const ahead48 = 48 * time.Hour

func (g *gathering) doubtful(t time.Time) bool {
	now := g.o.Now
	if now.IsZero() {
		now = time.Now()
	}
	return t.Before(firstReceivers) || t.After(now.Add(ahead48))
}

// doubtTimes looks at the times of a recorded line: those that cannot be, and
// those that run backwards.
func (g *gathering) doubtTimes(f wire.Feature, one geo.Geometry) {
	odd, back := 0, 0
	var first, from, to time.Time
	var last time.Time
	for _, m := range one.Measures {
		if math.IsNaN(m) || math.Abs(m) > 1e12 {
			continue
		}
		t := time.UnixMilli(int64(math.Round(m * 1e3))).UTC()
		if g.doubtful(t) {
			if odd++; odd == 1 {
				first = t
			}
		}
		if t.Before(last) {
			if back++; back == 1 {
				from, to = last, t
			}
		}
		last = t
	}
	if odd > 0 {
		g.doubtTime(f, odd, first)
	}
	if back > 0 {
		n := at(f)
		n.Text = timesBack.With(words.Args{"which": which(f), "count": back, "from": from.Format(time.RFC3339), "to": to.Format(time.RFC3339)})
		g.note(n)
	}
}

func (g *gathering) doubtTime(f wire.Feature, count int, example time.Time) {
	n := at(f)
	n.Text = timesDoubtful.With(words.Args{"which": which(f), "count": count, "time": example.Format(time.RFC3339)})
	g.note(n)
}

// doubtFile says what only all features together show.
func (g *gathering) doubtFile() {
	if g.zeros > 0 {
		n := at(g.firstZero)
		n.Text = pinsZero.With(words.Args{"count": g.zeros, "which": which(g.firstZero)})
		g.mended(n)
	}
	g.doubtTracks()
	g.doubtSpread()
}

func (g *gathering) doubtTracks() {
	seen := map[string]int{}
	for i, t := range g.Tracks {
		if t.Points < 2 {
			continue
		}
		key := fmt.Sprint(t.Points, t.Segments, float64(t.Length), t.Start, t.End, t.Geometry.Flat.Bound())
		j, twice := seen[key]
		if !twice {
			seen[key] = i
			continue
		}
		if !orb.Equal(t.Geometry.Flat, g.Tracks[j].Geometry.Flat) {
			continue
		}
		n := fault.Detail{Feature: fault.P(t.Feature), Entry: t.Layer}
		n.Text = trackTwice.With(words.Args{"which": called(t.Feature, t.Name), "other": called(g.Tracks[j].Feature, g.Tracks[j].Name)})
		g.note(n)
	}
}

// called names a feature as which does.
func called(number int, name string) words.Text {
	if name != "" {
		return named.With(words.Args{"number": number, "name": name})
	}
	return numbered.With(words.Args{"number": number})
}

// doubtSpread says when something lies where the rest of the file does not.
func (g *gathering) doubtSpread() {
	type spot struct {
		feature int
		name    string
		at      geo.Position
	}
	var all []spot
	for _, b := range g.Blocks {
		all = append(all, spot{b.Feature, b.Name, b.Centroid})
	}
	for _, t := range g.Tracks {
		all = append(all, spot{t.Feature, t.Name, t.Geometry.Flat.Bound().Center()})
	}
	for _, p := range g.Points {
		all = append(all, spot{p.Feature, p.Name, p.At})
	}
	for _, s := range g.Rest {
		all = append(all, spot{s.Feature, s.Name, s.Geometry.Flat.Bound().Center()})
	}
	if len(all) < 2 {
		return
	}
	slices.SortStableFunc(all, func(a, b spot) int { return a.feature - b.feature })
	// The middle one of each coordinate, counted from the first so that 180
	// degrees is nothing special, is where most of them are.
	lons, lats := make([]float64, len(all)), make([]float64, len(all))
	for i, s := range all {
		lons[i], lats[i] = math.Remainder(s.at[0]-all[0].at[0], 360), s.at[1]
	}
	slices.Sort(lons)
	slices.Sort(lats)
	middle := (len(all) - 1) / 2
	most := geo.Position{math.Remainder(lons[middle]+all[0].at[0], 360), lats[middle]}
	far := 0
	var first spot
	for _, s := range all {
		if measure.Distance(most, s.at) > oneFarm {
			if far++; far == 1 {
				first = s
			}
		}
	}
	if far == 0 {
		return
	}
	n := fault.Detail{Feature: fault.P(first.feature), At: fault.P([2]float64(first.at))}
	n.Text = farApart.With(words.Args{"count": far, "which": called(first.feature, first.name), "km": math.Round(float64(oneFarm) / 1000)})
	g.note(n)
}
