// Package coverage says what a sprayer's recorded track covered of a block: the
// request as it travels, the records it names, the figures and how they came
// about. The geometry is geo/swath's.
package coverage

import (
	"encoding/json"
	"fmt"
	"math"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/swath"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/spray"
)

// Fix is one record of a logger: where, when in Unix seconds, the width sprayed
// from here to the next fix, and how far the middle of that width lies to the
// right of the track.
type Fix struct {
	At     geo.Position
	Time   float64
	Width  geo.Metres
	Offset geo.Metres
}

// Request asks what a track covered. Track or TrackID, Block or BlockID.
type Request struct {
	TrackID  records.ID
	Track    []Fix
	BlockID  records.ID
	Block    geo.Geometry
	Setbacks []setback.Rule
	WindFrom *geo.Degrees
}

// maxBlockCorners bounds a block sent along: as many as a stored one may have.
const maxBlockCorners = 100_000

var (
	sayCannotRead = words.New("coverage-cannot-read", "The request cannot be read: {problem}.", "La petición no se puede leer: {problem}.")
	sayRefused    = words.New("coverage-refused", "What the track covered could not be worked out: {count} thing(s) to mend, named below.", "No se pudo calcular lo que cubrió el recorrido: {count} cosa(s) por corregir, nombradas abajo.")
	sayTrackForm  = words.New("coverage-track-form", "A track is the id of one on record, or a list of fixes [longitude, latitude, Unix seconds, metres sprayed until the next fix, and if wanted metres by which their middle lies to the right].", "Un recorrido es el identificador de uno registrado o una lista de posiciones [longitud, latitud, segundos Unix, metros aplicados hasta la siguiente y, si se quiere, metros que su centro queda a la derecha].")
	sayFix        = words.New("coverage-fix", "Fix {number} is not four or five numbers: longitude, latitude, Unix seconds, width in metres, offset.", "La posición {number} no son cuatro o cinco números: longitud, latitud, segundos Unix, ancho en metros, desplazamiento.")
	sayFixPlace   = words.New("coverage-fix-place", "Fix {number} is no place on Earth: {lon}, {lat}.", "La posición {number} no es un lugar de la Tierra: {lon}, {lat}.")
	sayFixWidth   = words.New("coverage-fix-width", "Fix {number} sprays {width} m, {offset} m to the right; a width is 0 to {most} m, an offset at most as much.", "La posición {number} aplica {width} m, {offset} m a la derecha; un ancho es de 0 a {most} m y un desplazamiento no pasa de eso.")
	sayBackwards  = words.New("coverage-backwards", "Fix {number} is older than the one before it, or has no time; put the track in the order of its times.", "La posición {number} es anterior a la precedente o no tiene hora; ordene el recorrido por sus horas.")
	sayTooMany    = words.New("coverage-too-many", "The track has {count} fixes; at most {limit} are taken at once. Send the days one by one.", "El recorrido tiene {count} posiciones; se toman como máximo {limit} a la vez. Envíe los días por separado.")
	sayWind       = words.New("coverage-wind-needed", "A downwind setback needs the direction the wind came from, in degrees from true north.", "Un retiro a favor del viento necesita la dirección de donde venía el viento, en grados desde el norte verdadero.")
	sayBlockForm  = words.New("coverage-block-form", "A block is the id of one on record, or a Polygon or MultiPolygon: {problem}.", "Un bloque es el identificador de uno registrado, o un Polygon o MultiPolygon: {problem}.")
)

// Read reads the body strictly. fault.Malformed when it is no JSON object, else
// fault.Invalid with every fault at its field.
func Read(body []byte) (Request, error) {
	var q Request
	if _, err := wire.Canonical(body); err != nil {
		return q, fault.Wrap(fault.Malformed, err, sayCannotRead.With(words.Args{"problem": err.Error()}))
	}
	var faults []fault.Detail
	r := fields.Open(body, "", &faults)
	r.Only("track", "block", "setbacks", "wind_from_deg")
	if r.Need("track") {
		q.readTrack(r)
	}
	if r.Need("block") {
		q.readBlock(r)
	}
	q.readRules(r)
	if len(faults) > 0 {
		return q, refusal(faults)
	}
	return q, nil
}

func refusal(details []fault.Detail) error {
	return fault.New(fault.Invalid, sayRefused.With(words.Args{"count": len(details)}), details...)
}

func (q *Request) readTrack(r fields.Reader) {
	raw := r.Raw("track")
	if isText(raw) {
		q.TrackID = fields.ID(r, "track", records.ParseID)
		return
	}
	fixes, d := ReadFixes(raw)
	if d != nil {
		r.Add(*d)
	}
	q.Track = fixes
}

func isText(raw json.RawMessage) bool { return len(raw) > 0 && raw[0] == '"' }

// ReadFixes reads the array form of a track; the detail names the first fix at
// fault.
func ReadFixes(raw json.RawMessage) ([]Fix, *fault.Detail) {
	var rows []json.RawMessage
	if json.Unmarshal(raw, &rows) != nil {
		return nil, &fault.Detail{Field: "track", Text: sayTrackForm.Plain()}
	}
	if len(rows) > swath.MaxFixes {
		return nil, &fault.Detail{Field: "track", Text: sayTooMany.With(words.Args{"count": len(rows), "limit": swath.MaxFixes})}
	}
	fixes := make([]Fix, 0, len(rows))
	for i, row := range rows {
		var v []float64
		if json.Unmarshal(row, &v) != nil || len(v) != 4 && len(v) != 5 {
			return nil, faultOf(i, sayFix.With(words.Args{"number": i + 1}))
		}
		f := Fix{At: geo.Position{v[0], v[1]}, Time: v[2], Width: geo.Metres(v[3])}
		if len(v) == 5 {
			f.Offset = geo.Metres(v[4])
		}
		fixes = append(fixes, f)
	}
	return fixes, judge(fixes)
}

func faultOf(i int, t words.Text) *fault.Detail {
	return &fault.Detail{Field: fmt.Sprintf("track[%d]", i), Text: t}
}

// judge names the first fix that is no place, no width or out of time.
func judge(fixes []Fix) *fault.Detail {
	for i, f := range fixes {
		lon, lat := f.At[0], f.At[1]
		switch {
		case !(math.Abs(lon) <= 180 && math.Abs(lat) <= 90):
			return faultOf(i, sayFixPlace.With(words.Args{"number": i + 1, "lon": lon, "lat": lat}))
		case !(f.Width >= 0 && f.Width <= spray.MaxSwath && math.Abs(float64(f.Offset)) <= float64(spray.MaxSwath)):
			return faultOf(i, sayFixWidth.With(words.Args{"number": i + 1, "width": float64(f.Width), "offset": float64(f.Offset), "most": float64(spray.MaxSwath)}))
		case math.IsNaN(f.Time) || i > 0 && f.Time < fixes[i-1].Time:
			return faultOf(i, sayBackwards.With(words.Args{"number": i + 1}))
		}
	}
	return nil
}

func (q *Request) readRules(r fields.Reader) {
	if d := r.Number("wind_from_deg", 0, 360); d != nil {
		from := geo.Degrees(*d).Normal()
		q.WindFrom = &from
	}
	for e := range r.Each("setbacks", spray.MaxSetbacks) {
		e.Only("from", "distance_m", "side", "half_angle_deg")
		rule := setback.Rule{From: e.Text("from"), Side: fields.Choose(e, "side", setback.Sides), HalfAngle: setback.DefaultHalfAngle}
		e.Need("from")
		if d := e.Number("distance_m", 0, float64(spray.MaxDistance)); d != nil {
			rule.Distance = geo.Metres(*d)
		} else {
			e.Need("distance_m")
		}
		if rule.Side == "" {
			rule.Side = setback.All // the wider of the two
		}
		if half := e.Number("half_angle_deg", 0, 180); half != nil {
			rule.HalfAngle = geo.Degrees(*half)
		}
		if rule.Side == setback.Downwind && q.WindFrom == nil {
			r.Fault("wind_from_deg", sayWind.Plain())
		}
		q.Setbacks = append(q.Setbacks, rule)
	}
}

func (q *Request) readBlock(r fields.Reader) {
	if isText(r.Raw("block")) {
		q.BlockID = fields.ID(r, "block", records.ParseID)
		return
	}
	g, err := wire.DecodeGeometry(r.Raw("block"), wire.Limits{Vertices: maxBlockCorners})
	if err != nil {
		d := fault.Detail{Field: "block", Text: sayBlockForm.With(words.Args{"problem": err.Error()})}
		if e, ok := wire.As(err); ok {
			d.At = e.At
		}
		r.Add(d)
		return
	}
	q.Block = g
}
