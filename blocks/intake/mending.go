package intake

import (
	"errors"
	"math"
	"strconv"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/repair"
	"caneward/geo/valid"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// Doubt is a feature that cannot be stored as the file has it: either somebody
// has to choose among the mends, or there are none.
type Doubt struct {
	ID         string
	IDKind     wire.IDKind
	Name       string
	Properties []byte
	Feature    int
	Layer      string

	Geometry  geo.Geometry     // as the file has it; empty where it could not be read
	Said      []Notice         // what is wrong, and what each mend would do
	Repaired  geo.Geometry     // by the non-zero rule; empty where there is no such mend
	Reordered geo.Geometry     // corners put into another order; empty likewise
	Before    geo.SquareMetres // by plain arithmetic over the rings as they are

	kind fault.Kind
}

var (
	mendedSpike = words.New("intake-mended-spike",
		"A spike was taken out: the outline ran out to a point and straight back.",
		"Se quitó una punta: el contorno salía hasta un punto y volvía por el mismo camino.")
	mendedCrossing = words.New("intake-mended-crossing",
		"The outline crosses or overlaps itself here; {area} concerned are counted once.",
		"El contorno se cruza o se superpone a sí mismo aquí; los {area} afectados se cuentan una sola vez.")
	mendedTouch = words.New("intake-mended-touch",
		"The outline touches itself here; the {area} it goes round became a hole, or a part of its own.",
		"El contorno se toca a sí mismo aquí; los {area} que rodea pasaron a ser un hueco o una parte aparte.")
	mendedParts = words.New("intake-mended-parts",
		"Two parts overlap by {area}; they were joined, so that this ground counts once.",
		"Dos partes se superponen en {area}; se unieron para que ese terreno cuente una sola vez.")
	mendedShared = words.New("intake-mended-shared",
		"Two parts lie side against side; they were joined into one.",
		"Dos partes están lado contra lado; se unieron en una.")
	mendedHoles = words.New("intake-mended-holes",
		"Two holes overlap by {area}; they were joined into one hole.",
		"Dos huecos se superponen en {area}; se unieron en uno solo.")
	mendedHoleCrosses = words.New("intake-mended-hole-crosses",
		"A hole crosses the outline; the {area} of it that lie inside were cut out.",
		"Un hueco cruza el contorno; se recortaron los {area} que quedan dentro.")
	mendedHoleOutside = words.New("intake-mended-hole-outside",
		"A hole of {area} lies outside the outline; it was left out.",
		"Un hueco de {area} está fuera del contorno; se dejó fuera.")
	mendedApart = words.New("intake-mended-apart",
		"Holes cut the ground apart here; the pieces became parts.",
		"Los huecos parten el terreno aquí; los trozos pasaron a ser partes.")
	mendedTotal = words.New("intake-mended-total",
		"Mended: the area is {after}; by plain arithmetic over the corners as they are it was {before}, a change of {change}.",
		"Reparado: el área es de {after}; por simple aritmética sobre los vértices tal como están era de {before}, un cambio de {change}.")
	heightsDropped = words.New("intake-heights-dropped",
		"The heights of its corners were left out, since the corners changed.",
		"Se dejaron fuera las alturas de sus vértices, porque los vértices cambiaron.")
	chooseMend = words.New("intake-choose-mend",
		"Mending would give {after} in {parts} part(s); reordering the corners {reordered}. On the import page choose one, or draw it again.",
		"La reparación daría {after} en {parts} parte(s); reordenar los vértices, {reordered}. En la página de importación elija una, o dibújelo de nuevo.")
	chooseRepair = words.New("intake-choose-repair",
		"Mending would give {after} in {parts} part(s). On the import page take that, or draw it again.",
		"La reparación daría {after} en {parts} parte(s). En la página de importación acéptela, o dibújelo de nuevo.")
)

// mendedSayings says what was done about each rule.
var mendedSayings = map[valid.Rule]words.Message{
	valid.Spike: mendedSpike, valid.CrossesItself: mendedCrossing, valid.TouchesItself: mendedTouch,
	valid.PartsOverlap: mendedParts, valid.PartsShareEdge: mendedShared, valid.HolesOverlap: mendedHoles,
	valid.HoleCrossesShell: mendedHoleCrosses, valid.HoleOutside: mendedHoleOutside, valid.GroundCutApart: mendedApart,
}

// mending is an outline mended in the one sensible way.
type mending struct {
	geometry geo.Geometry
	before   geo.SquareMetres
	said     []Notice
}

// mend tries to mend a refused outline; nil when that needs somebody's choice
// or cannot be done, which goes into the doubts.
func (g *gathering) mend(f wire.Feature, one geo.Geometry, refusal *fault.Error) (*mending, error) {
	doubt := Doubt{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Properties: f.Properties, Feature: f.Number, Layer: f.Layer, Geometry: one, kind: refusal.Kind}
	for _, d := range refusal.Details {
		d.Feature, d.Line, d.Entry = fault.P(f.Number), lineOf(f), f.Layer
		doubt.Said = append(doubt.Said, Notice{Detail: d})
	}
	closed, ok := mendable(one)
	if !ok || refusal.Kind != fault.Invalid {
		g.doubt(doubt)
		return nil, nil
	}
	result, err := repair.Outline(g.ctx, closed)
	if g.ctx.Err() != nil {
		return nil, g.ctx.Err()
	}
	if cannotMend(err) {
		g.doubt(doubt)
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	repaired, notices, still := check(geo.Geometry{Flat: narrowed(result.Shape)})
	if len(result.Shape) == 0 || still != nil {
		g.doubt(doubt)
		return nil, nil
	}
	if result.Doubtful {
		g.doubt(doubtful(doubt, f, result, repaired))
		return nil, nil
	}
	said := changes(f, result)
	if one.Heights != nil || one.Measures != nil {
		said = append(said, Notice{Detail: about(f, heightsDropped)})
	}
	for _, n := range notices {
		n.Feature, n.Line, n.Entry = fault.P(f.Number), lineOf(f), f.Layer
		said = append(said, n)
	}
	return &mending{geometry: repaired, before: result.Before, said: said}, nil
}

// cannotMend reports whether an outline is beyond mending; what is wrong with
// it has been said already.
func cannotMend(err error) bool {
	var intricate *repair.IntricateError
	var defect *repair.DefectError
	var failed *repair.FailedError
	return errors.As(err, &intricate) || errors.As(err, &defect) || errors.As(err, &failed)
}

// doubtful offers the mends of an outline that can be read in several ways.
func doubtful(d Doubt, f wire.Feature, result repair.Result, repaired geo.Geometry) Doubt {
	d.Repaired, d.Before = repaired, result.Before
	args := words.Args{"after": squares(result.After), "parts": len(result.Shape)}
	fix := chooseRepair.With(args)
	if result.Reorder != nil {
		if reordered, _, refusal := check(geo.Geometry{Flat: narrowed(*result.Reorder)}); refusal == nil {
			d.Reordered = reordered
			args["reordered"] = squares(areaOf(reordered.Flat))
			fix = chooseMend.With(args)
		}
	}
	for i := range d.Said {
		d.Said[i].Fix = fix
	}
	for _, c := range result.Changes {
		for i := range d.Said {
			// The change that stands at the defect's own place says its ground.
			if at := d.Said[i].At; at != nil && *at == [2]float64(c.At) && d.Said[i].Piece == nil {
				d.Said[i].Area, d.Said[i].Grown, d.Said[i].Piece = c.Area, c.Grown, c.Piece
				break
			}
		}
	}
	return d
}

// changes says what was mended, place by place, and what it came to.
func changes(f wire.Feature, result repair.Result) []Notice {
	var said []Notice
	for _, c := range result.Changes {
		if _, known := mendedSayings[c.Rule]; !known {
			continue // closing and repeats were said before mending began
		}
		n := Notice{Detail: at(f), Repair: true, Area: c.Area, Grown: c.Grown, Piece: c.Piece}
		n.Text = mendedSayings[c.Rule].With(words.Args{"area": squares(c.Area)})
		n.At = fault.P([2]float64(c.At))
		if c.Part > 0 {
			n.Part, n.Ring = fault.P(c.Part), fault.P(max(c.Ring, 1))
		}
		if c.Vertex > 0 {
			n.Vertex = fault.P(c.Vertex)
		}
		said = append(said, n)
	}
	total := Notice{Detail: at(f), Repair: true}
	total.Text = mendedTotal.With(words.Args{"before": squares(result.Before), "after": squares(result.After), "change": signed(result.After - result.Before)})
	return append(said, total)
}

// squares prints an area in both units people think in: to the square
// decimetre, and to a thousandth of an acre, which is 4 m2.
func squares(a geo.SquareMetres) string {
	return strconv.FormatFloat(float64(a), 'f', 2, 64) + " m2 (" + strconv.FormatFloat(a.Acres(), 'f', 3, 64) + " ac)"
}

func signed(a geo.SquareMetres) string {
	if math.Abs(float64(a)) < 0.005 {
		return "0 m2"
	}
	if a > 0 {
		return "+" + squares(a)
	}
	return squares(a)
}

// mendable closes rings and leaves out repeats and empty parts, which mending
// builds on; false for what is no outline or has nowhere to stand.
func mendable(one geo.Geometry) (orb.MultiPolygon, bool) {
	d, ok := draftOf(one)
	if !ok || len(d.at) > MaxCorners {
		return nil, false
	}
	c := checking{}
	if refusal := c.mend(&d); refusal != nil {
		return nil, false
	}
	flat := d.geometry(false).Flat.(orb.MultiPolygon)
	_, tooLarge := size(flat)
	return flat, !tooLarge
}

// narrowed is a Polygon where there is one part.
func narrowed(m orb.MultiPolygon) orb.Geometry {
	if len(m) == 1 {
		return m[0]
	}
	return m
}

// broken is a feature whose shape could not be read at all.
func (g *gathering) broken(f wire.Feature, e *wire.Error) {
	if e.Rule == ruleOutside {
		d := at(f)
		d.Text = outsideSystem.With(words.Args{"x": e.At[0], "y": e.At[1], "crs": e.Got})
		d.Fix = exportWGS84.Plain()
		g.doubt(Doubt{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Properties: f.Properties, Feature: f.Number, Layer: f.Layer, Said: []Notice{{Detail: d}}, kind: fault.Invalid})
		return
	}
	if e.Rule == wire.RuleLatitude && e.At != nil && fitsSwapped(*e.At) {
		g.swappable++
	}
	g.doubt(Doubt{ID: f.ID, IDKind: f.IDKind, Name: nameOf(f.Properties), Properties: f.Properties, Feature: f.Number, Layer: f.Layer,
		Said: []Notice{{Detail: detailOf(e)}}, kind: sayings[e.Rule].kind})
}

func (g *gathering) doubt(d Doubt) {
	if d.Repaired.Empty() {
		g.faults++
	}
	g.Doubts = append(g.Doubts, d)
}
