package spray

import (
	"encoding/json"
	"slices"
	"strconv"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
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

	// Stretches are plants on rows, such as those of a group of finds: only the strips
	// along them are the ground, as wide as the rows are apart or as the band. By block;
	// a block without an entry is whole.
	Stretches map[records.ID][]Stretch
	Method    Method
	Droplets  Droplets
	Height    *geo.Metres // of release above the soil; nil when not said
	SprayerID string
	Sprayer   *Sprayer // filled in by whoever reads the farm's document
	Rotation  Rotation // "" takes the stricter programme
	MultiSite bool     // count the groups that act at many sites as well
	Pass      records.ID
}

// Stretch is a run of plants on one row, both ends included.
type Stretch struct{ Row, From, To int }

// Line is one product of the mix: a record's id, or a label typed on the spot.
type Line struct {
	ID      records.ID      // "" when typed
	Product *Product        // nil when named by id
	Raw     json.RawMessage // of the label typed
	Rate    quantity.Rate   // of the product, or of its ingredient Of
	Of      string          // "" is the product
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
	q := readRequest(fields.Open(body, "", &faults))
	if len(faults) > 0 {
		return Request{}, refusal(faults)
	}
	return q, nil
}

func refusal(details []fault.Detail) error {
	return fault.New(fault.Invalid, sayNotDrafted.With(words.Args{"count": len(details)}), details...)
}

func readRequest(r fields.Reader) Request {
	r.Only("blocks", "rows", "area", "pattern", "band_width_m", "sides", "setbacks", "wind_from_deg", "wind_speed_m_s",
		"products", "carrier", "tank", "start", "end", "harvest_on", "stretches", "method", "droplets", "height_m", "sprayer",
		"rotation", "count_multi_site", "pass")
	q := Request{
		Pattern:   fields.Choose(r, "pattern", Patterns),
		BandWidth: above(r, "band_width_m", MaxBandWidth),
		WindSpeed: r.Number("wind_speed_m_s", 0, 100),
		Tank:      volume(r, "tank"),
		Start:     r.Moment("start"),
		End:       r.Moment("end"),
		HarvestOn: r.Day("harvest_on"),
		Method:    fields.Choose(r, "method", Methods),
		Droplets:  fields.Choose(r, "droplets", DropletClasses),
		Height:    height(r),
		SprayerID: r.Text("sprayer"),
		Rotation:  fields.Choose(r, "rotation", Rotations),
		MultiSite: r.Yes("count_multi_site"),
		Pass:      fields.ID(r, "pass", records.ParseID),
	}
	r.Need("pattern")
	q.Sides, _ = r.Whole("sides", 1, 2)
	if d := r.Number("wind_from_deg", 0, 360); d != nil {
		w := geo.Degrees(*d).Normal()
		q.WindFrom = &w
	}
	r.InOrder("start", "end", q.Start, q.End)
	readGround(r, &q)
	readRules(r, &q)
	readMix(r, &q)
	return q
}

func readGround(r fields.Reader, q *Request) {
	before := len(r.Faults())
	named := fields.IDs(r, "blocks", MaxBlocks, records.ParseID)
	for i, id := range named {
		switch {
		case id == "": // at fault already
		case slices.Contains(q.Blocks, id):
			r.Fault("blocks["+itoa(i)+"]", sayTwice.Plain())
		default:
			q.Blocks = append(q.Blocks, id)
		}
	}
	if r.Has("area") {
		q.Area = readArea(r)
	}
	if len(named) == 0 && !r.Has("area") && len(r.Faults()) == before {
		r.Fault("blocks", sayNoGround.Plain())
	}
	readStretches(r, q)
	if q.Pattern == Spot && !r.Has("area") && len(q.Stretches) == 0 {
		r.Fault("area", sayAreaNeeded.Plain())
	}
	if q.Pattern == Band && !r.Has("band_width_m") {
		r.Fault("band_width_m", sayBandNeeded.Plain())
	}
	readRows(r, q)
}

func readArea(r fields.Reader) geo.Geometry {
	g, err := wire.DecodeGeometry(r.Raw("area"), wire.Limits{Vertices: maxAreaVertices})
	if err != nil {
		d := fault.Detail{Field: "area", Text: sayAreaShape.With(words.Args{"problem": err.Error()})}
		if e, ok := wire.As(err); ok {
			d.At = e.At
		}
		r.Add(d)
		return geo.Geometry{}
	}
	if !isGround(g.Flat) {
		r.Fault("area", sayAreaShape.With(words.Args{"problem": kindOf(g.Flat)}))
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
		r.Add(d)
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

func readRows(r fields.Reader, q *Request) {
	if !r.Has("rows") {
		return
	}
	rows := r.In("rows")
	q.Rows = map[records.ID][]int{}
	for _, name := range rows.Names() {
		if !rows.Has(name) {
			continue
		}
		if !slices.Contains(q.Blocks, records.ID(name)) {
			rows.Fault(fields.Shorten(name), sayRowsOther.Plain())
			continue
		}
		before := len(rows.Faults())
		listed := rows.Ordinals(name, MaxRows, MaxRows)
		numbers := slices.Clone(listed)
		slices.Sort(numbers)
		q.Rows[records.ID(name)] = slices.Compact(numbers)
		if len(listed) == 0 && len(rows.Faults()) == before {
			rows.Fault(name, sayRowsEmpty.Plain())
		}
	}
}

// MaxStretches bounds the stretches of one draft: a block has fewer groups.
const MaxStretches = 5000

var (
	sayStretchesOther = words.New("spray-stretches-of-other-block",
		"Stretches are given for a block that is not part of the draft.",
		"Se dan tramos de un bloque que no forma parte del borrador.")
	sayStretchOrder = words.New("spray-stretch-order",
		"A stretch runs from a plant to one with the same or a greater number.",
		"Un tramo va de una planta a otra de número igual o mayor.")
)

func readStretches(r fields.Reader, q *Request) {
	if !r.Has("stretches") {
		return
	}
	of := r.In("stretches")
	q.Stretches = map[records.ID][]Stretch{}
	for _, name := range of.Names() {
		if !slices.Contains(q.Blocks, records.ID(name)) {
			of.Fault(fields.Shorten(name), sayStretchesOther.Plain())
			continue
		}
		for e := range of.Each(name, MaxStretches) {
			e.Only("row", "from", "to")
			var s Stretch
			s.Row, _ = e.Whole("row", 1, MaxRows)
			s.From, _ = e.Whole("from", 1, maxPlants)
			s.To, _ = e.Whole("to", 1, maxPlants)
			whole := e.Need("row")
			whole = e.Need("from") && whole
			if e.Need("to") && whole && s.To < s.From {
				e.Fault("to", sayStretchOrder.Plain())
			}
			q.Stretches[records.ID(name)] = append(q.Stretches[records.ID(name)], s)
		}
	}
}

// maxPlants bounds the plants of one row.
const maxPlants = 100_000

func readRules(r fields.Reader, q *Request) {
	for e := range r.Each("setbacks", MaxSetbacks) {
		e.Only("from", "distance_m", "side", "half_angle_deg", "to_edge", "bank_m", "strip")
		rule := readRule(e)
		if rule.Side == setback.Downwind && !r.Has("wind_from_deg") {
			r.Fault("wind_from_deg", sayWindNeeded.Plain())
		}
		q.Setbacks = append(q.Setbacks, rule)
	}
}

func readMix(r fields.Reader, q *Request) {
	for e := range r.Each("products", MaxProducts) {
		e.Only("product", "rate")
		q.Products = append(q.Products, readLine(e))
	}
	if c := rate(r, "carrier"); c != nil && isCarrier(r, "carrier", *c) {
		q.Carrier = c
	}
}

// isCarrier faults a rate of spray that is no volume, or per volume of itself.
func isCarrier(r fields.Reader, field string, c quantity.Rate) bool {
	switch {
	case c.Unit.Dimension() != quantity.Volume:
		r.Fault(field+".unit", sayNotVolume.With(words.Args{"unit": string(c.Unit)}))
	case c.Per.Base() == quantity.SprayVolume:
		r.Fault(field+".per", sayCarrierPer.Plain())
	default:
		return true
	}
	return false
}

func readLine(e fields.Reader) Line {
	var l Line
	if rate, of := rateOf(e, "rate"); rate != nil {
		l.Rate, l.Of = *rate, of
	} else {
		e.Need("rate")
	}
	if !e.Need("product") {
		return l
	}
	var id string
	if json.Unmarshal(e.Raw("product"), &id) == nil {
		if _, err := records.ParseID(id); err != nil {
			e.Fault("product", sayProductID.Plain())
		}
		l.ID = records.ID(id)
		return l
	}
	p := readProduct(e.In("product"))
	l.Product, l.Raw = &p, e.Raw("product")
	return l
}
