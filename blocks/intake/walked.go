package intake

import (
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/track"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// Walked is ground that somebody walked round with a receiver.
type Walked struct {
	Geometry geo.Geometry
	Area     geo.SquareMetres
	Gap      geo.Metres // between the last fix and the first, which a straight side joins
	Accuracy geo.Metres // the receiver's own word, 0 when not known
	Said     []Notice   // what was cut off or mended
}

var (
	fixesZero = words.New("intake-fixes-zero",
		"Track {which}: {count} fix(es) at longitude and latitude zero were left out; the receiver writes 0,0 when it has no fix.",
		"Recorrido {which}: se dejaron fuera {count} posición(es) en longitud y latitud cero; el receptor escribe 0,0 cuando no tiene señal.")
	fixesJump = words.New("intake-fixes-jump",
		"Track {which}: {count} fix(es) that jump away and back faster than anything on a farm moves were left out.",
		"Recorrido {which}: se dejaron fuera {count} posición(es) que saltan lejos y vuelven más rápido que nada que se mueva en una finca.")
	fixesNowhere = words.New("intake-fixes-nowhere",
		"Track {which}: {count} fix(es) that are nowhere on Earth were left out.",
		"Recorrido {which}: se dejaron fuera {count} posición(es) que no están en ningún lugar de la Tierra.")
	fixesRepeat = words.New("intake-fixes-repeat",
		"Track {which}: {count} fix(es) that repeat the place and time of the one before were left out.",
		"Recorrido {which}: se dejaron fuera {count} posición(es) que repiten el lugar y la hora de la anterior.")
	trackEmpty = words.New("intake-track-empty",
		"Track {which} holds no fix that can be used and was left out.",
		"El recorrido {which} no contiene ninguna posición utilizable y se dejó fuera.")
	canBeBlock = words.New("intake-can-be-block",
		"Track {which} ends {gap} m from where it began; it goes round {area} and can be taken as a block.",
		"El recorrido {which} termina a {gap} m de donde empezó; rodea {area} y se puede tomar como bloque.")
	tailCut = words.New("intake-tail-cut",
		"The walk went on past its start; the last {count} fix(es) were left out of the outline.",
		"El recorrido siguió más allá de su inicio; las últimas {count} posiciones se dejaron fuera del contorno.")
	severalLaps = words.New("intake-several-laps",
		"The walk went round {laps} times; the first time round was taken.",
		"El recorrido dio {laps} vueltas; se tomó la primera.")
	joined = words.New("intake-joined",
		"The outline was walked; its last fix and its first lie {gap} m apart and were joined by a straight side.",
		"El contorno se recorrió a pie; su última posición y la primera están a {gap} m y se unieron con un lado recto.")
	walkAccuracy = words.New("intake-walk-accuracy",
		"The receiver gave its accuracy as about {accuracy} m.",
		"El receptor indicó una exactitud de unos {accuracy} m.")
)

// track takes in what a receiver recorded: lost fixes and jumps are left out
// and said, gaps between segments are kept.
func (g *gathering) track(f wire.Feature, one geo.Geometry) error {
	fixes := fixesOf(one)
	acceptAccuracies(fixes, f.Properties)
	kept, dropped, err := track.Clean(g.ctx, fixes, track.Options{})
	var many *track.TooManyError
	if errors.As(err, &many) {
		g.broken(f, &wire.Error{Rule: wire.RuleVertices, Limit: int64(many.Limit), Feature: f.Number, Line: f.Line, Byte: f.Byte})
		return nil
	}
	if err != nil {
		return err
	}
	t := Track{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Properties: f.Properties, Feature: f.Number, Layer: f.Layer}
	t.Said = lostFixes(f, dropped)
	g.Notices = append(g.Notices, t.Said...)
	g.doubtTimes(f, one)
	t.Geometry = geometryOf(kept)
	if t.Geometry.Empty() {
		g.note(about(f, trackEmpty))
		return nil
	}
	t.measure()
	g.doubtSteps(f, t)
	if t.Walked, err = g.walked(f, kept); err != nil {
		return err
	}
	if t.Walked != nil {
		d := at(f)
		d.Text = canBeBlock.With(words.Args{"which": which(f), "gap": tenths(t.Walked.Gap), "area": squares(t.Walked.Area)})
		g.note(d)
	}
	g.Tracks = append(g.Tracks, t)
	return nil
}

func tenths(m geo.Metres) string { return strconv.FormatFloat(float64(m), 'f', 1, 64) }

// fixesOf takes a recorded line apart.
func fixesOf(one geo.Geometry) [][]track.Fix {
	lines, _ := one.Flat.(orb.MultiLineString)
	if line, single := one.Flat.(orb.LineString); single {
		lines = orb.MultiLineString{line}
	}
	valueAt := func(values []float64, i int) float64 {
		if values == nil {
			return math.NaN()
		}
		return values[i]
	}
	segments := make([][]track.Fix, len(lines))
	vertex := 0
	for i, l := range lines {
		for _, p := range l {
			segments[i] = append(segments[i], track.Fix{At: p, Height: valueAt(one.Heights, vertex), Time: valueAt(one.Measures, vertex), Accuracy: math.NaN()})
			vertex++
		}
	}
	return segments
}

// acceptAccuracies takes over how accurate a phone said its fixes were: a
// property accuracies_m with one number of metres for each, null for none.
func acceptAccuracies(segments [][]track.Fix, properties json.RawMessage) {
	var said struct {
		Accuracies []*float64 `json:"accuracies_m"`
	}
	count := 0
	for _, s := range segments {
		count += len(s)
	}
	if json.Unmarshal(properties, &said) != nil || len(said.Accuracies) != count {
		return
	}
	next := 0
	for _, s := range segments {
		for i := range s {
			if a := said.Accuracies[next]; a != nil && *a >= 0 {
				s[i].Accuracy = *a
			}
			next++
		}
	}
}

// geometryOf puts a recorded line together again; segments of a single fix
// are no line and fall away.
func geometryOf(segments [][]track.Fix) geo.Geometry {
	var lines orb.MultiLineString
	var heights, times []float64
	hasHeight, hasTime := false, false
	for _, s := range segments {
		if len(s) < 2 {
			continue
		}
		line := make(orb.LineString, 0, len(s))
		for _, fix := range s {
			line = append(line, fix.At)
			heights, times = append(heights, fix.Height), append(times, fix.Time)
			hasHeight = hasHeight || !math.IsNaN(fix.Height)
			hasTime = hasTime || !math.IsNaN(fix.Time)
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return geo.Geometry{}
	}
	g := geo.Geometry{Flat: lines}
	if len(lines) == 1 {
		g.Flat = lines[0]
	}
	if hasHeight {
		g.Heights = heights
	}
	if hasTime {
		g.Measures = times
	}
	return g
}

// lostFixes says what was left out, one notice a reason.
func lostFixes(f wire.Feature, dropped []track.Dropped) []Notice {
	count := map[track.Reason]int{}
	first := map[track.Reason]track.Dropped{}
	var order []track.Reason
	for _, d := range dropped {
		if count[d.Reason] == 0 {
			order, first[d.Reason] = append(order, d.Reason), d
		}
		count[d.Reason]++
	}
	var said []Notice
	for _, reason := range order {
		// A fix twice over changes neither the way nor its times.
		n := Notice{Detail: at(f), Repair: reason != track.Repeat}
		args := words.Args{"which": which(f), "count": count[reason]}
		n.Part, n.Vertex = fault.P(first[reason].Segment+1), fault.P(first[reason].Index+1)
		switch reason {
		case track.Zero:
			n.Text = fixesZero.With(args)
		case track.Jump:
			n.Text = fixesJump.With(args)
			n.At = fault.P([2]float64(first[reason].Fix.At))
		case track.Repeat:
			n.Text = fixesRepeat.With(args)
		default:
			n.Text = fixesNowhere.With(args)
		}
		said = append(said, n)
	}
	return said
}

func (t *Track) measure() {
	lines, _ := t.Geometry.Flat.(orb.MultiLineString)
	if line, single := t.Geometry.Flat.(orb.LineString); single {
		lines = orb.MultiLineString{line}
	}
	t.Points, t.Segments = wire.Vertices(t.Geometry.Flat), len(lines)
	for _, l := range lines {
		t.Length += measure.Length(l)
	}
	for _, m := range t.Geometry.Measures {
		when, ok := moment(m)
		if !ok {
			continue
		}
		if t.Start.IsZero() || when.Before(t.Start) {
			t.Start = when
		}
		if when.After(t.End) {
			t.End = when
		}
	}
}

// moment is a measure as a time; false where there is none, or none in the
// years that RFC 3339 can write.
func moment(m float64) (time.Time, bool) {
	const latest = 253402300799 // 9999-12-31T23:59:59Z
	if !(m > 0 && m <= latest) {
		return time.Time{}, false
	}
	return time.UnixMicro(int64(math.Round(m * 1e6))).UTC(), true
}

// walked is the ground a track goes round; nil where it does not come back to
// its start, or what it goes round is no block.
func (g *gathering) walked(f wire.Feature, kept [][]track.Fix) (*Walked, error) {
	outline, err := track.AsOutline(g.ctx, kept, track.OutlineOptions{})
	if g.ctx.Err() != nil {
		return nil, g.ctx.Err()
	}
	if err != nil {
		// Every refusal says in its own way that this walk goes round no
		// ground; as a track it stands.
		return nil, nil
	}
	w := &Walked{Gap: outline.Gap}
	if !math.IsNaN(float64(outline.Accuracy)) {
		w.Accuracy = outline.Accuracy
	}
	add := func(repair bool, text words.Text) {
		n := Notice{Detail: at(f), Repair: repair}
		n.Text = text
		w.Said = append(w.Said, n)
	}
	if outline.Gap > 0 {
		add(true, joined.With(words.Args{"gap": tenths(outline.Gap)}))
	}
	if outline.Laps > 1 {
		add(true, severalLaps.With(words.Args{"laps": outline.Laps}))
	}
	if outline.Tail > 0 {
		add(true, tailCut.With(words.Args{"count": outline.Tail}))
	}
	if w.Accuracy > 0 {
		add(false, walkAccuracy.With(words.Args{"accuracy": tenths(w.Accuracy)}))
	}
	one := geo.Geometry{Flat: orb.Polygon{outline.Ring}}
	checked, _, refusal := check(one)
	if refusal != nil {
		// What the walker's line needs is mended apart from the file's doubts:
		// as a track it is sound.
		apart := &gathering{Proposal: &Proposal{}, ctx: g.ctx, o: g.o}
		mended, err := apart.mend(f, one, refusal)
		if err != nil || mended == nil {
			return nil, err
		}
		checked = mended.geometry
		w.Said = append(w.Said, mended.said...)
	}
	w.Geometry, w.Area = checked, areaOf(checked.Flat)
	return w, nil
}

func areaOf(shape orb.Geometry) geo.SquareMetres { return measure.Area(polygonsOf(shape)) }
