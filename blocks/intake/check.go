package intake

import (
	"math"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/valid"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// Bounds of one block. The largest bramble farms have some hundreds of
// hectares; beyond these a map was zoomed out or a corner lies elsewhere.
const (
	MaxArea    geo.SquareMetres = 100e6   // 10,000 ha
	MaxAcross  geo.Metres       = 100_000 // corner to corner of its box
	MaxCorners                  = 100_000 // as many as layouts and overlays take

	aroundEarth = 40_075 // km, along the equator
)

var (
	outlineRefused = words.New("intake-outline-refused",
		"This outline cannot be taken as it is.",
		"Este contorno no se puede tomar como está.")
	notOutline = words.New("intake-not-outline",
		"An outline must be a Polygon or MultiPolygon, not {kind}.",
		"Un contorno debe ser un Polygon o MultiPolygon, no {kind}.")
	nothing          = words.New("intake-no-shape", "nothing", "nada")
	outlineTooLarge  = words.New("intake-too-large", "The outline is too large for a block: its area is about {km2} km2.", "El contorno es demasiado grande para un bloque: su área es de unos {km2} km2.")
	outlineTooWide   = words.New("intake-too-wide", "The outline is too large for a block: it is about {km} km across.", "El contorno es demasiado grande para un bloque: mide unos {km} km de punta a punta.")
	zoomIn           = words.New("intake-zoom-in", "Zoom in and draw it again, or move the corner that lies elsewhere.", "Acerque el mapa y dibújelo de nuevo, o mueva el vértice que está en otro lugar.")
	tooManyCorners   = words.New("intake-too-many-corners", "The outline has {count} corners; at most {limit} are taken.", "El contorno tiene {count} vértices; se admiten como máximo {limit}.")
	simplify         = words.New("intake-simplify", "Simplify it: a corner a metre is plenty.", "Simplifíquelo: un vértice por metro es de sobra.")
	noArea           = words.New("intake-no-area", "The outline encloses no area: its corners lie on one line or on one spot.", "El contorno no encierra ningún área: sus vértices están en una línea o en un punto.")
	walkRound        = words.New("intake-walk-round", "Mark the corners one after the other, once round the ground.", "Marque los vértices uno tras otro, dando una vuelta al terreno.")
	closedHere       = words.New("intake-closed", "The ring was not closed; it was closed with a straight side from its last corner to its first.", "El anillo no estaba cerrado; se cerró con un lado recto de su último vértice al primero.")
	droppedRepeats   = words.New("intake-dropped-repeats", "{count} corner(s) that repeat the one before were left out.", "Se dejaron fuera {count} vértice(s) que repiten el anterior.")
	droppedEmptyPart = words.New("intake-dropped-empty-part", "An empty part was left out.", "Se dejó fuera una parte vacía.")
)

// broken says what breaks each rule of geo/valid, and what would mend it.
var broken = map[valid.Rule]struct{ text, fix words.Message }{
	valid.NotANumber: {words.New("intake-not-a-number",
		"A coordinate is not a number.",
		"Una coordenada no es un número."), noFix},
	valid.SwappedAxes: {words.New("intake-swapped-axes",
		"The latitude {lat} is out of range.",
		"La latitud {lat} está fuera de rango."), swapped},
	valid.OutOfRange: {words.New("intake-out-of-range",
		"The position {lon}, {lat} is out of range: longitudes lie within 180 and latitudes within 90 degrees.",
		"La posición {lon}, {lat} está fuera de rango: las longitudes llegan a 180 y las latitudes a 90 grados."), noFix},
	valid.TooFewPoints: {noArea, walkRound},
	valid.ZeroArea:     {noArea, walkRound},
	valid.NotClosed:    {commonSayings[wire.RuleUnclosed].text, commonSayings[wire.RuleUnclosed].fix},
	valid.RepeatedPoint: {words.New("intake-repeated-point",
		"A corner repeats the one before.",
		"Un vértice repite el anterior."), noFix},
	valid.CrossesAntimeridian: {words.New("intake-too-wide-side",
		"A side runs more than half way round the Earth.",
		"Un lado da más de media vuelta a la Tierra."), noFix},
	valid.Spike: {words.New("intake-spike",
		"The outline runs out to a point and straight back: a spike.",
		"El contorno sale hasta un punto y vuelve por el mismo camino: una punta."), words.New("intake-spike-fix",
		"Remove the corner at the tip, perhaps a stray tap.",
		"Quite el vértice de la punta, quizá un toque por error.")},
	valid.CrossesItself: {words.New("intake-ring-crosses",
		"Two sides of the outline cross, those after corners {vertex} and {other}.",
		"Dos lados del contorno se cruzan, los que siguen a los vértices {vertex} y {other}."), words.New("intake-ring-crosses-fix",
		"Swap two corners, or move one, so that the line runs once round the ground.",
		"Intercambie dos vértices o mueva uno para que la línea dé una sola vuelta al terreno.")},
	valid.TouchesItself: {words.New("intake-ring-touches",
		"The outline touches itself, at corners {vertex} and {other}.",
		"El contorno se toca a sí mismo, en los vértices {vertex} y {other}."), words.New("intake-ring-touches-fix",
		"Draw the ground that is left out as a hole, or the two pieces as two parts.",
		"Dibuje el terreno excluido como hueco, o los dos trozos como dos partes.")},
	valid.HoleOutside: {words.New("intake-hole-outside",
		"A hole lies outside the outline it should be cut from.",
		"Un hueco está fuera del contorno del que debería recortarse."), words.New("intake-hole-outside-fix",
		"Remove the hole, or make it a part of its own.",
		"Quite el hueco o conviértalo en una parte aparte.")},
	valid.HoleCrossesShell: {words.New("intake-hole-crosses",
		"A hole crosses the outline or runs along it.",
		"Un hueco cruza el contorno o corre a lo largo de él."), words.New("intake-hole-crosses-fix",
		"Draw the outline round the ground that is left.",
		"Dibuje el contorno alrededor del terreno que queda.")},
	valid.HolesOverlap: {words.New("intake-holes-overlap",
		"Two holes overlap.",
		"Dos huecos se superponen."), words.New("intake-holes-overlap-fix",
		"Join them into one hole.",
		"Únalos en un solo hueco.")},
	valid.GroundCutApart: {words.New("intake-cut-apart",
		"Holes touch so that they cut the ground apart.",
		"Los huecos se tocan de modo que parten el terreno."), words.New("intake-cut-apart-fix",
		"Draw the pieces as separate parts.",
		"Dibuje los trozos como partes separadas.")},
	valid.PartsOverlap: {words.New("intake-parts-overlap",
		"Two parts of the outline overlap; that ground would be counted twice.",
		"Dos partes del contorno se superponen; ese terreno se contaría dos veces."), words.New("intake-parts-overlap-fix",
		"Join them into one part, or move the side they share.",
		"Únalas en una sola parte o mueva el lado que comparten.")},
	valid.PartsShareEdge: {words.New("intake-parts-share-edge",
		"Two parts of the outline lie side against side.",
		"Dos partes del contorno están lado contra lado."), words.New("intake-parts-share-edge-fix",
		"Join them into one part, or make them two blocks.",
		"Únalas en una sola parte o haga de ellas dos bloques.")},
	valid.TooIntricate: {words.New("intake-too-intricate",
		"The outline is too intricate to be checked in bearable time.",
		"El contorno es demasiado enredado para revisarlo en un tiempo razonable."), simplify},
}

// Check takes an outline in, drawn or imported. It gives it back with rings
// closed, repeated corners and empty parts left out, shells counter-clockwise
// and holes clockwise, the first corner of each ring kept; what was closed or left
// out is in the notices. An outline across 180 degrees may jump from one side to
// the other. Refused, with every place: anything but a Polygon or MultiPolygon,
// crossing, touching or overlapping rings, spikes, holes outside, no area
// (fault.Invalid); more than MaxArea, MaxAcross (fault.Invalid) or MaxCorners
// (fault.TooLarge); too intricate (fault.TooCostly). Part, Ring and Vertex
// number the shape as it came.
func Check(g geo.Geometry) (geo.Geometry, []fault.Detail, *fault.Error) {
	checked, notices, refusal := check(g)
	details := make([]fault.Detail, len(notices))
	for i, n := range notices {
		details[i] = n.Detail
	}
	return checked, details, refusal
}

// CheckGround is Check for ground that is no block, a lake or a town: it may
// be of any size.
func CheckGround(g geo.Geometry) (geo.Geometry, []fault.Detail, *fault.Error) {
	c := checking{anySize: true}
	checked, refusal := c.outline(g)
	details := make([]fault.Detail, len(c.notices))
	for i, n := range c.notices {
		details[i] = n.Detail
	}
	return checked, details, refusal
}

func check(g geo.Geometry) (geo.Geometry, []Notice, *fault.Error) {
	c := checking{}
	checked, refusal := c.outline(g)
	return checked, c.notices, refusal
}

type checking struct {
	notices []Notice
	anySize bool
}

func (c *checking) outline(g geo.Geometry) (geo.Geometry, *fault.Error) {
	d, ok := draftOf(g)
	if !ok {
		kind := nothing.Plain()
		if !g.Empty() {
			kind = words.Verbatim(g.Flat.GeoJSONType())
		}
		return geo.Geometry{}, refusalOf(fault.Invalid, fault.Detail{Field: "geometry", Text: notOutline.With(words.Args{"kind": kind})})
	}
	if len(d.at) > MaxCorners {
		return geo.Geometry{}, refusalOf(fault.TooLarge, fault.Detail{Field: "geometry",
			Text: tooManyCorners.With(words.Args{"count": len(d.at), "limit": MaxCorners}), Fix: simplify.Plain()})
	}
	if refusal := c.mend(&d); refusal != nil {
		return geo.Geometry{}, refusal
	}
	if refusal := c.judge(d); refusal != nil {
		return geo.Geometry{}, refusal
	}
	for _, rings := range d.parts {
		for j := range rings {
			rings[j] = d.turned(rings[j], j == 0)
		}
	}
	_, single := g.Flat.(orb.Polygon)
	return d.geometry(single), nil
}

func refusalOf(kind fault.Kind, details ...fault.Detail) *fault.Error {
	return fault.New(kind, outlineRefused.Plain(), details...)
}

// mend does what changes no ground: it leaves out empty parts and repeated
// corners and closes rings.
func (c *checking) mend(d *draft) *fault.Error {
	var parts [][]ring
	for _, rings := range d.parts {
		kept := make([]ring, 0, len(rings))
		for _, r := range rings {
			if len(r.corners) == 0 {
				c.note(r, 0, droppedEmptyPart.Plain(), false)
				if r.ring == 1 {
					break // what has no shell has no ground
				}
				continue
			}
			if p := d.unplaced(r); p >= 0 {
				return refusalOf(fault.Invalid, d.misplaced(r, p))
			}
			one := d.withoutRepeats(r)
			if len(one.corners) < 3 {
				detail := placed(one, 0)
				if !c.anySize && d.roundEarth(r) {
					detail.Text, detail.Fix = outlineTooWide.With(words.Args{"km": aroundEarth}), zoomIn.Plain()
					return refusalOf(fault.Invalid, detail)
				}
				detail.At, detail.Text, detail.Fix = fault.P([2]float64(d.at[one.first])), noArea.Plain(), walkRound.Plain()
				return refusalOf(fault.Invalid, detail)
			}
			if one.repeats > 0 {
				c.note(one, one.firstTwice, droppedRepeats.With(words.Args{"count": one.repeats}), false)
			}
			if !one.closed {
				c.note(one, 0, closedHere.Plain(), true)
			}
			kept = append(kept, one)
		}
		if len(kept) > 0 {
			parts = append(parts, kept)
		}
	}
	d.parts = parts
	if len(parts) == 0 {
		return refusalOf(fault.Invalid, fault.Detail{Field: "geometry", Text: commonSayings[wire.RuleEmpty].text.Plain(), Fix: walkRound.Plain()})
	}
	return nil
}

// roundEarth reports whether a ring runs from 180 degrees west to 180 east,
// which are one meridian.
func (d draft) roundEarth(r ring) bool {
	west, east := false, false
	for _, v := range r.corners {
		west, east = west || d.at[v][0] == -180, east || d.at[v][0] == 180
	}
	return west && east
}

// unplaced is the first corner of a ring that is nowhere on Earth, -1 for none.
func (d draft) unplaced(r ring) int {
	for i, v := range r.corners {
		// Not-a-number compares false with everything.
		if p := d.at[v]; !(math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90) {
			return i
		}
	}
	return -1
}

func (d draft) misplaced(r ring, i int) fault.Detail {
	rule := valid.OutOfRange
	for _, defect := range valid.Check(orb.MultiPoint{d.at[r.corners[i]]}) {
		rule = defect.Rule
	}
	at := d.at[r.corners[i]]
	detail := placed(r, i+1)
	if rule != valid.NotANumber {
		detail.At = fault.P([2]float64(at))
	}
	detail.Text = broken[rule].text.With(words.Args{"lon": at[0], "lat": at[1]})
	detail.Fix = broken[rule].fix.Plain()
	return detail
}

func (c *checking) note(r ring, vertex int, text words.Text, repair bool) {
	d := placed(r, vertex)
	d.Text = text
	c.notices = append(c.notices, Notice{Detail: d, Repair: repair})
}

// placed is a detail at a ring, and at a corner of it when vertex is not 0.
func placed(r ring, vertex int) fault.Detail {
	d := fault.Detail{Field: "geometry", Part: fault.P(r.part), Ring: fault.P(r.ring)}
	if vertex > 0 {
		d.Vertex = fault.P(vertex)
	}
	return d
}

// judge refuses what only the person who drew it can mend.
func (c *checking) judge(d draft) *fault.Error {
	flat := d.geometry(false).Flat.(orb.MultiPolygon)
	shifted := jumps(flat)
	if shifted {
		flat = shift(flat)
	}
	if !c.anySize {
		if detail, tooLarge := size(flat); tooLarge {
			return refusalOf(fault.Invalid, detail)
		}
	}
	kind := fault.Invalid
	var details []fault.Detail
	for _, defect := range valid.Check(flat) {
		if defect.Rule == valid.TooIntricate {
			kind = fault.TooCostly
		}
		details = append(details, d.detail(defect, shifted))
	}
	if len(details) > 0 {
		return refusalOf(kind, details...)
	}
	for i, part := range flat {
		if width := roughWidth(part[0]); width < leastWidth {
			detail := placed(d.parts[i][0], 0)
			detail.At = fault.P([2]float64(d.at[d.parts[i][0].corners[0]]))
			detail.Text, detail.Fix = noArea.Plain(), walkRound.Plain()
			return refusalOf(fault.Invalid, detail)
		}
	}
	if certain := len(flat[0]) == 1 && math.Abs(float64(roughArea(flat[0][0]))) > float64(certainArea); !certain && measure.Area(flat) < geo.SliverArea {
		detail := placed(d.parts[0][0], 0)
		detail.Text, detail.Fix = noArea.Plain(), walkRound.Plain()
		return refusalOf(fault.Invalid, detail)
	}
	return nil
}

// size refuses what is no block by its extent. The area of crossing loops may
// cancel, the box does not.
func size(flat orb.MultiPolygon) (fault.Detail, bool) {
	d := fault.Detail{Field: "geometry", Fix: zoomIn.Plain()}
	box := flat.Bound()
	across := measure.Distance(box.Min, box.Max)
	// The widest box of a diagonal is a square of half its square.
	if float64(across)*float64(across)/2 > float64(MaxArea) {
		if area := measure.Area(flat); area > MaxArea {
			d.Text = outlineTooLarge.With(words.Args{"km2": math.Round(float64(area) / 1e6)})
			return d, true
		}
	}
	if across > MaxAcross {
		d.Text = outlineTooWide.With(words.Args{"km": math.Round(float64(across) / 1000)})
		return d, true
	}
	return d, false
}

// leastWidth is half the width of the narrowest row: corners along one line
// enclose slivers by their rounding to a centimetre, ground is wider.
const leastWidth geo.Metres = 0.1

// roughWidth is a ring's area over the diagonal of its box.
func roughWidth(r orb.Ring) geo.Metres {
	const degree = 111_320
	box := r.Bound()
	east := (box.Max[0] - box.Min[0]) * degree * math.Cos(box.Center()[1]*math.Pi/180)
	long := math.Hypot(east, (box.Max[1]-box.Min[1])*degree)
	return geo.Metres(math.Abs(float64(roughArea(r))) / long)
}

// roughArea is a ring's area on a sphere unrolled at its first corner, positive
// counter-clockwise: good to a hundredth for blocks, at a hundredth of the cost
// of the true one, and enough for its sign and for whether there is any.
func roughArea(r orb.Ring) geo.SquareMetres {
	const degree = 111_320 // metres of latitude, at most
	var twice float64
	first := r[0]
	x0, y0 := 0.0, 0.0
	for _, p := range r[1:] {
		x, y := math.Remainder(p[0]-first[0], 360), p[1]-first[1]
		twice += x0*y - x*y0
		x0, y0 = x, y
	}
	return geo.SquareMetres(twice / 2 * degree * degree * math.Cos(first[1]*math.Pi/180))
}

// certainArea is the rough area from which its sign, and that it is no sliver,
// are beyond doubt.
const certainArea = 100 * geo.SliverArea

// jumps reports whether a side runs across 180 degrees, from one end of the
// longitudes to the other.
func jumps(flat orb.MultiPolygon) bool {
	for _, p := range flat {
		for _, r := range p {
			for i := 1; i < len(r); i++ {
				if math.Abs(r[i][0]-r[i-1][0]) > 180 {
					return true
				}
			}
		}
	}
	return false
}

// shift turns the Earth by half, which brings ground across 180 degrees to 0.
// It is exact for longitudes beyond 90 degrees, and its own way back.
func shift(flat orb.MultiPolygon) orb.MultiPolygon {
	out := make(orb.MultiPolygon, len(flat))
	for i, p := range flat {
		out[i] = make(orb.Polygon, len(p))
		for j, r := range p {
			out[i][j] = make(orb.Ring, len(r))
			for k, q := range r {
				out[i][j][k] = opposite(q)
			}
		}
	}
	return out
}

func opposite(p geo.Position) geo.Position {
	if p[0] > 0 {
		return geo.Position{p[0] - 180, p[1]}
	}
	return geo.Position{p[0] + 180, p[1]}
}

// detail says a defect in the numbers of the shape as it came.
func (d draft) detail(defect valid.Defect, shifted bool) fault.Detail {
	at := defect.At
	if shifted {
		at = opposite(at)
	}
	r, vertex := d.original(defect.Place)
	out := placed(r, vertex)
	_, other := d.original(defect.Other)
	out.At = fault.P([2]float64(at))
	out.Text = broken[defect.Rule].text.With(words.Args{"vertex": vertex, "other": other, "lon": at[0], "lat": at[1]})
	out.Fix = broken[defect.Rule].fix.Plain()
	return out
}

// original is a place in the shape as it came; vertex is 0 where a whole ring,
// or nothing, is meant.
func (d draft) original(p valid.Place) (r ring, vertex int) {
	if p.Part == 0 || p.Ring == 0 {
		return ring{}, 0
	}
	r = d.parts[p.Part-1][p.Ring-1]
	if p.Vertex == 0 {
		return r, 0
	}
	// The closing vertex is the first corner again.
	return r, r.corners[(p.Vertex-1)%len(r.corners)] - r.first + 1
}
