package coverage

import (
	"encoding/json"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/intake"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/spray"
)

// Input is what a coverage is worked out from.
type Input struct {
	Fixes    []Fix
	Block    orb.Geometry // Polygon or MultiPolygon
	Features []setback.Feature
	Rules    []setback.Rule
	WindFrom *geo.Degrees
}

var (
	sayNoTrack   = words.New("coverage-no-such-track", "There is no track with the id {id} on this farm.", "No hay en esta finca ningún recorrido con el identificador {id}.")
	sayNoBlock   = words.New("coverage-no-such-block", "There is no block with the id {id} on this farm.", "No hay en esta finca ningún bloque con el identificador {id}.")
	sayNoTimes   = words.New("coverage-no-times", "The track carries no times, so nothing tells one pass from the next.", "El recorrido no lleva horas, así que nada distingue una pasada de la siguiente.")
	sayNoWidth   = words.New("coverage-no-width", "The track does not say how wide it sprayed; give a width in metres.", "El recorrido no dice qué ancho aplicó; dé un ancho en metros.")
	sayWidths    = words.New("coverage-widths", "{field} has {got} numbers for {want} fixes.", "{field} tiene {got} números para {want} posiciones.")
	sayNotGround = words.New("coverage-not-ground", "it has no inside", "no tiene interior")
)

// Load reads the records a request names. What is not there is fault.Invalid at
// its field, all at once.
func Load(r records.Reader, q Request) (Input, error) {
	in := Input{Fixes: q.Track, Block: q.Block.Flat, Rules: q.Setbacks, WindFrom: q.WindFrom}
	var details []fault.Detail
	if q.TrackID != "" {
		rev, err := r.Current(records.Tracks, q.TrackID)
		switch {
		case fault.Is(err, fault.Missing):
			details = append(details, fault.Detail{Field: "track", Text: sayNoTrack.With(words.Args{"id": string(q.TrackID)})})
		case err != nil:
			return in, err
		default:
			var d *fault.Detail
			if in.Fixes, d = FixesOf(rev.Record.Geometry, rev.Record.Properties, 0); d != nil {
				details = append(details, *d)
			}
		}
	}
	if q.BlockID != "" {
		rev, err := r.Current(records.Blocks, q.BlockID)
		switch {
		case fault.Is(err, fault.Missing):
			details = append(details, fault.Detail{Field: "block", Text: sayNoBlock.With(words.Args{"id": string(q.BlockID)})})
		case err != nil:
			return in, err
		default:
			b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
			in.Block = b.Outline
		}
	}
	if len(q.Setbacks) > 0 {
		around, err := spray.Load(r, spray.Request{Setbacks: q.Setbacks})
		if err != nil {
			return in, err
		}
		for _, s := range around.Around {
			in.Features = append(in.Features, s.Feature)
		}
	}
	if len(details) > 0 {
		return in, refusal(details)
	}
	return in, nil
}

// FixesOf takes the fixes of a recorded track: its line, the times in its
// measures, and its width: width where above 0, else the properties' widths_m
// and offsets_m, one for each vertex, else their width_m. Nothing is sprayed from
// one line of a MultiLineString to the next.
func FixesOf(g geo.Geometry, properties json.RawMessage, width geo.Metres) ([]Fix, *fault.Detail) {
	var lines []orb.LineString
	switch l := g.Flat.(type) {
	case orb.LineString:
		lines = []orb.LineString{l}
	case orb.MultiLineString:
		lines = l
	}
	count := 0
	for _, l := range lines {
		count += len(l)
	}
	if count == 0 || len(g.Measures) != count {
		return nil, &fault.Detail{Field: "track", Text: sayNoTimes.Plain()}
	}
	r := fields.Properties(properties)
	track, _ := spray.ParseTrack(g, properties)
	widths, d := perVertex(r, "widths_m", count)
	offsets, d2 := perVertex(r, "offsets_m", count)
	switch {
	case d != nil || d2 != nil:
		return nil, either(d, d2)
	case width == 0 && widths == nil:
		if width = track.Width; width == 0 {
			return nil, &fault.Detail{Field: "track", Text: sayNoWidth.Plain()}
		}
	}
	var fixes []Fix
	for _, l := range lines {
		for i, at := range l {
			k := len(fixes)
			f := Fix{At: at, Time: g.Measures[k], Width: width}
			if width == 0 {
				f.Width = geo.Metres(widths[k])
			}
			if offsets != nil {
				f.Offset = geo.Metres(offsets[k])
			}
			if i == len(l)-1 {
				f.Width = 0
			}
			fixes = append(fixes, f)
		}
	}
	return fixes, judge(fixes)
}

func either(a, b *fault.Detail) *fault.Detail {
	if a != nil {
		return a
	}
	return b
}

func perVertex(r fields.Reader, field string, count int) ([]float64, *fault.Detail) {
	if !r.Has(field) {
		return nil, nil
	}
	var v []float64
	if json.Unmarshal(r.Raw(field), &v) != nil || len(v) != count {
		return nil, &fault.Detail{Field: "track", Text: sayWidths.With(words.Args{"field": field, "got": len(v), "want": count})}
	}
	return v, nil
}

// ground brings a block's outline into the form the scan takes, or says what is
// wrong with it.
func ground(g orb.Geometry) (orb.Geometry, error) {
	switch g.(type) {
	case orb.Polygon, orb.MultiPolygon:
	default:
		t := sayBlockForm.With(words.Args{"problem": sayNotGround.Plain()})
		return nil, refusal([]fault.Detail{{Field: "block", Text: t}})
	}
	checked, _, refused := intake.CheckGround(geo.Geometry{Flat: g})
	if refused != nil {
		details := []fault.Detail{{Field: "block", Text: refused.Text}}
		for _, d := range refused.Details {
			d.Field = "block"
			details = append(details, d)
		}
		return nil, refusal(details)
	}
	return checked.Flat, nil
}
