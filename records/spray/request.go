package spray

import (
	"encoding/json"
	"slices"
	"strconv"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/valid"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/quantity"
)

// Request asks for a draft.
type Request struct {
	Blocks    []records.ID
	Rows      map[records.ID][]int // rows chosen, by block; a block without an entry is whole
	Area      geo.Geometry         // narrows the ground; with no blocks it is the ground
	Pattern   Pattern
	BandWidth geo.Metres // both sides of the row together
	Sides     int        // 1 or 2; 0 when not said
	Setbacks  []setback.Rule
	WindFrom  *geo.Degrees
	WindSpeed *float64 // m/s
	Products  []Line
	Carrier   *quantity.Rate
	Tank      *quantity.Amount
	Start     time.Time
	End       time.Time
	HarvestOn time.Time // midnight UTC of the day
}

// Line is one product of the mix: a record's id, or a label typed on the spot.
type Line struct {
	ID      records.ID // "" when typed
	Product *Product   // nil when named by id
	Rate    quantity.Rate
}

var (
	sayCannotRead = words.New("spray-cannot-read",
		"The draft cannot be read: {problem}.",
		"El borrador no se puede leer: {problem}.")
	sayNotDrafted = words.New("spray-not-drafted",
		"This draft could not be worked out: {count} thing(s) to mend, named below.",
		"Este borrador no se pudo calcular: {count} cosa(s) por corregir, nombradas abajo.")
	sayNoGround = words.New("spray-no-ground",
		"Name at least one block, or draw an area.",
		"Nombre al menos un bloque o dibuje una superficie.")
	sayTwice = words.New("spray-block-twice",
		"This block is named twice.",
		"Este bloque se nombra dos veces.")
	sayRowsOther = words.New("spray-rows-of-other-block",
		"Rows are given for a block that is not part of the draft.",
		"Se dan hileras de un bloque que no forma parte del borrador.")
	sayRowsEmpty = words.New("spray-rows-empty",
		"Name at least one row, or leave the block out to take all of it.",
		"Nombre al menos una hilera, o quite el bloque de aquí para tomarlo entero.")
	sayBandNeeded = words.New("spray-band-needed",
		"A band job needs the width of the band.",
		"Un trabajo en banda necesita el ancho de la banda.")
	sayAreaNeeded = words.New("spray-area-needed",
		"A spot job needs the area drawn.",
		"Un trabajo puntual necesita la superficie dibujada.")
	sayAreaShape = words.New("spray-area-shape",
		"The area must be a Polygon or MultiPolygon: {problem}.",
		"La superficie debe ser un Polygon o MultiPolygon: {problem}.")
	sayAreaCrosses = words.New("spray-area-crosses",
		"The area's outline crosses or touches itself, or takes no ground; draw it again.",
		"El contorno de la superficie se cruza o se toca, o no ocupa terreno; dibújelo de nuevo.")
	sayWindNeeded = words.New("spray-wind-needed",
		"A downwind setback needs the direction the wind comes from, in degrees from true north.",
		"Un retiro a favor del viento necesita la dirección de donde viene el viento, en grados desde el norte verdadero.")
	sayCarrierPer = words.New("spray-carrier-per",
		"Carrier is given per acre, ha, 1000ft, 1000m or plant; not per volume of itself.",
		"El caldo se da por acre, ha, 1000ft, 1000m o plant; no por volumen de sí mismo.")
	sayProductID = words.New("spray-text-or-object",
		"The id of a product record, or a label with a name, is expected.",
		"Se espera el identificador de un producto o una etiqueta con nombre.")
)

func itoa(n int) string { return strconv.Itoa(n) }

// ReadRequest reads the body of a draft strictly: what it does not know is
// refused by name, so that a misspelt setback does not pass for none.
// fault.Malformed when it is no JSON object, else fault.Invalid with every
// fault at its field. References to records are checked by Draft.
func ReadRequest(body []byte) (Request, error) {
	if _, err := wire.Canonical(body); err != nil {
		return Request{}, fault.Wrap(fault.Malformed, err, sayCannotRead.With(words.Args{"problem": err.Error()}))
	}
	var faults []fault.Detail
	q := readRequest(open(body, "", &faults))
	if len(faults) > 0 {
		return Request{}, refusal(faults)
	}
	return q, nil
}

func refusal(details []fault.Detail) error {
	return fault.New(fault.Invalid, sayNotDrafted.With(words.Args{"count": len(details)}), details...)
}

func readRequest(r reader) Request {
	r.only("blocks", "rows", "area", "pattern", "band_width_m", "sides", "setbacks", "wind_from_deg", "wind_speed_m_s",
		"products", "carrier", "tank", "start", "end", "harvest_on")
	q := Request{
		Pattern:   oneOf(r, "pattern", Patterns),
		BandWidth: r.above("band_width_m", MaxBandWidth),
		WindSpeed: r.number("wind_speed_m_s", 0, 100),
		Tank:      r.volume("tank"),
		Start:     r.moment("start"),
		End:       r.moment("end"),
		HarvestOn: r.day("harvest_on"),
	}
	if !r.has("pattern") {
		r.fault("pattern", sayNeeded.Plain())
	}
	if n := r.whole("sides", 1, 2); n != nil {
		q.Sides = *n
	}
	if d := r.number("wind_from_deg", 0, 360); d != nil {
		w := geo.Degrees(*d).Normal()
		q.WindFrom = &w
	}
	if !q.End.IsZero() && q.End.Before(q.Start) {
		r.fault("end", sayBefore.With(words.Args{"start": "start"}))
	}
	readGround(r, &q)
	readRules(r, &q)
	readMix(r, &q)
	return q
}

func readGround(r reader, q *Request) {
	for i, raw := range r.list("blocks", MaxBlocks) {
		field := "blocks[" + itoa(i) + "]"
		var s string
		if json.Unmarshal(raw, &s) != nil {
			r.fault(field, sayRecordID.Plain())
			continue
		}
		id, err := records.ParseID(s)
		switch {
		case err != nil:
			r.fault(field, sayRecordID.Plain())
		case slices.Contains(q.Blocks, id):
			r.fault(field, sayTwice.Plain())
		default:
			q.Blocks = append(q.Blocks, id)
		}
	}
	if r.has("area") {
		q.Area = readArea(r)
	}
	if len(r.list("blocks", MaxBlocks)) == 0 && !r.has("area") {
		r.fault("blocks", sayNoGround.Plain())
	}
	if q.Pattern == Spot && !r.has("area") {
		r.fault("area", sayAreaNeeded.Plain())
	}
	if q.Pattern == Band && !r.has("band_width_m") {
		r.fault("band_width_m", sayBandNeeded.Plain())
	}
	readRows(r, q)
}

func readArea(r reader) geo.Geometry {
	g, err := wire.DecodeGeometry(r.members["area"], wire.Limits{Vertices: maxAreaVertices})
	if err != nil {
		d := fault.Detail{Field: "area", Text: sayAreaShape.With(words.Args{"problem": err.Error()})}
		if e, ok := wire.As(err); ok {
			d.At = e.At
		}
		r.add(d)
		return geo.Geometry{}
	}
	if !isGround(g.Flat) {
		r.fault("area", sayAreaShape.With(words.Args{"problem": kindOf(g.Flat)}))
		return geo.Geometry{}
	}
	for _, defect := range valid.Check(g.Flat) {
		if defect.Severity() == valid.Notice {
			continue
		}
		d := fault.Detail{Field: "area", Text: sayAreaCrosses.Plain(), Part: fault.P(defect.Part), Ring: fault.P(defect.Ring), Vertex: fault.P(defect.Vertex)}
		if defect.Located() {
			d.At = &[2]float64{defect.At[0], defect.At[1]}
		}
		r.add(d)
	}
	return g
}

func kindOf(g orb.Geometry) string {
	if g == nil {
		return "null"
	}
	return g.GeoJSONType()
}

// maxAreaVertices bounds a drawn area: a hand draws a few dozen corners.
const maxAreaVertices = 20_000

func readRows(r reader, q *Request) {
	if !r.has("rows") {
		return
	}
	rows := open(r.members["rows"], "rows.", r.faults)
	q.Rows = map[records.ID][]int{}
	for _, name := range sortedNames(rows.members) {
		if !rows.has(name) {
			continue
		}
		if !slices.Contains(q.Blocks, records.ID(name)) {
			rows.fault(shorten(name), sayRowsOther.Plain())
			continue
		}
		numbers := []int{}
		for i, raw := range rows.list(name, MaxRows) {
			var n int
			if json.Unmarshal(raw, &n) != nil || n < 1 || n > MaxRows {
				rows.fault(name+"["+itoa(i)+"]", sayWhole.With(words.Args{"low": 1, "high": MaxRows}))
				continue
			}
			numbers = append(numbers, n)
		}
		slices.Sort(numbers)
		q.Rows[records.ID(name)] = slices.Compact(numbers)
		if len(rows.list(name, MaxRows)) == 0 {
			rows.fault(name, sayRowsEmpty.Plain())
		}
	}
}

func readRules(r reader, q *Request) {
	for _, e := range r.each("setbacks", MaxSetbacks) {
		e.only("from", "distance_m", "side", "half_angle_deg")
		rule := setback.Rule{From: e.text("from"), Distance: e.above("distance_m", MaxDistance), Side: oneOf(e, "side", setback.Sides), HalfAngle: setback.DefaultHalfAngle}
		if rule.From == "" {
			e.fault("from", sayNeeded.Plain())
		}
		if !e.has("distance_m") {
			e.fault("distance_m", sayNeeded.Plain())
		}
		if !e.has("side") {
			rule.Side = setback.All // the wider of the two
		}
		if e.has("half_angle_deg") {
			rule.HalfAngle = geo.Degrees(e.above("half_angle_deg", 180))
		}
		if rule.Side == setback.Downwind && !r.has("wind_from_deg") {
			r.fault("wind_from_deg", sayWindNeeded.Plain())
		}
		q.Setbacks = append(q.Setbacks, rule)
	}
}

func readMix(r reader, q *Request) {
	for _, e := range r.each("products", MaxProducts) {
		e.only("product", "rate")
		q.Products = append(q.Products, readLine(e))
	}
	if c := r.rate("carrier"); c != nil {
		switch {
		case c.Unit.Dimension() != quantity.Volume:
			r.fault("carrier.unit", sayNotVolume.With(words.Args{"unit": string(c.Unit)}))
		case c.Per.Base() == quantity.SprayVolume:
			r.fault("carrier.per", sayCarrierPer.Plain())
		default:
			q.Carrier = c
		}
	}
}

func readLine(e reader) Line {
	var l Line
	if rate := e.rate("rate"); rate != nil {
		l.Rate = *rate
	} else if !e.has("rate") {
		e.fault("rate", sayNeeded.Plain())
	}
	if !e.has("product") {
		e.fault("product", sayNeeded.Plain())
		return l
	}
	var id string
	if json.Unmarshal(e.members["product"], &id) == nil {
		if _, err := records.ParseID(id); err != nil {
			e.fault("product", sayProductID.Plain())
		}
		l.ID = records.ID(id)
		return l
	}
	p := readProduct(open(e.members["product"], e.path+"product.", e.faults))
	l.Product = &p
	return l
}
