package web

import (
	"encoding/json"
	"net/http"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/intake"
	"caneward/blocks/layout"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/hotspot"
	"caneward/records/spray"
)

var (
	noSuchBlock    = words.New("web-no-such-block", "There is no such block on this farm.", "No hay tal bloque en esta finca.")
	outlineOrBlock = words.New("web-outline-or-block", "Give either an outline or a block.", "Dé un contorno o un bloque, no ambos.")
	badSide        = words.New("web-bad-side", "first_row_side is left or right, looking along the bearing; this is “{got}”.", "first_row_side es left o right, mirando a lo largo del rumbo; esto es «{got}».")
	badEnd         = words.New("web-bad-end", "first_plant_end is start or end; this is “{got}”.", "first_plant_end es start o end; esto es «{got}».")
	cannotLayOut   = words.New("web-cannot-lay-out", "Rows cannot be laid out from this; see below.", "Con esto no se pueden trazar hileras; véase abajo.")
)

// alone runs work that takes a processor for long. Only so many run at once;
// the others wait, and give up when their client does.
func (x *exchange) alone(f func() error) error {
	select {
	case x.s.heavy <- struct{}{}:
		defer func() { <-x.s.heavy }()
	case <-x.r.Context().Done():
		return x.r.Context().Err()
	}
	return f()
}

// treatedArea works a draft pass out; nothing is stored.
func (s *Server) treatedArea(x *exchange) error {
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	request, err := spray.ReadRequest(data)
	if err != nil {
		return err
	}
	var ground spray.Ground
	err = x.view(func(r records.Reader) error {
		ground, err = spray.Load(r, request)
		return err
	})
	if err != nil {
		return err
	}
	return x.alone(func() error {
		answer, err := spray.Draft(x.r.Context(), ground, request)
		if err != nil {
			return err
		}
		body, err := answer.Encode(x.lang)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, body)
	})
}

// hotSpots finds groups of finds in one block; nothing is stored.
func (s *Server) hotSpots(x *exchange) error {
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	request, err := hotspot.DecodeRequest(data)
	if err != nil {
		return err
	}
	var input hotspot.Input
	err = x.view(func(r records.Reader) error {
		input, err = hotspot.Load(r, request)
		return err
	})
	if err != nil {
		return blockMissing(err)
	}
	return x.alone(func() error {
		analysis, err := request.Analyse(x.r.Context(), input)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, analysis.Document(x.lang))
	})
}

// blockMissing says of a block named in a body that it is not there: the address
// itself is, so this is no 404.
func blockMissing(err error) error {
	if !fault.Is(err, fault.Missing) {
		return err
	}
	return fault.New(fault.Invalid, noSuchBlock.Plain(), fault.Detail{Text: noSuchBlock.Plain(), Field: "block"})
}

// layoutAsk is the body of POST .../layout; lengths in metres.
type layoutAsk struct {
	Outline       json.RawMessage `json:"outline"`
	Block         records.ID      `json:"block"`
	RowSpacing    geo.Metres      `json:"row_spacing_m"`
	PlantSpacing  geo.Metres      `json:"plant_spacing_m"`
	Bearing       *geo.Degrees    `json:"bearing_deg"`
	Headland      geo.Metres      `json:"headland_m"`
	FirstRowSide  blocks.Side     `json:"first_row_side"`
	FirstPlantEnd blocks.End      `json:"first_plant_end"`
}

func (a layoutAsk) hasOutline() bool { return len(a.Outline) > 0 && string(a.Outline) != "null" }

// layout lays rows out in an outline or a block of the farm; nothing is stored.
func (s *Server) layout(x *exchange) error {
	var ask layoutAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	spec, err := ask.spec()
	if err != nil {
		return err
	}
	outline, bearing, err := x.layoutGround(ask)
	if err != nil {
		return err
	}
	return x.alone(func() error {
		switch {
		case ask.Bearing != nil:
			spec.Bearing = *ask.Bearing
		case bearing != nil:
			spec.Bearing = *bearing
		default:
			spec.Bearing = layout.LongestSide(outline)
		}
		plan, err := layout.Plan(x.r.Context(), outline, spec)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, plan.JSON())
	})
}

func (a layoutAsk) spec() (layout.Spec, error) {
	spec := layout.Spec{RowSpacing: a.RowSpacing, PlantSpacing: a.PlantSpacing, Headland: a.Headland,
		FromRight: a.FirstRowSide == blocks.Right, FromFarEnd: a.FirstPlantEnd == blocks.Farther}
	var details []fault.Detail
	if a.hasOutline() == (a.Block != "") {
		details = append(details, fault.Detail{Text: outlineOrBlock.Plain(), Field: "outline"})
	}
	if a.FirstRowSide != "" && a.FirstRowSide != blocks.Left && a.FirstRowSide != blocks.Right {
		details = append(details, fault.Detail{Text: badSide.With(words.Args{"got": shorten(string(a.FirstRowSide))}), Field: "first_row_side"})
	}
	if a.FirstPlantEnd != "" && a.FirstPlantEnd != blocks.Start && a.FirstPlantEnd != blocks.Farther {
		details = append(details, fault.Detail{Text: badEnd.With(words.Args{"got": shorten(string(a.FirstPlantEnd))}), Field: "first_plant_end"})
	}
	if details != nil {
		return spec, fault.New(fault.Invalid, cannotLayOut.Plain(), details...)
	}
	return spec, nil
}

// layoutGround is the outline to lay rows out in, and the bearing its block
// says, if any.
func (x *exchange) layoutGround(ask layoutAsk) (orb.Geometry, *geo.Degrees, error) {
	if ask.hasOutline() {
		shape, err := wire.DecodeGeometry(ask.Outline, wire.Limits{})
		if err != nil {
			if refusal := intake.Refusal(err); refusal != nil {
				return nil, nil, refusal
			}
			return nil, nil, err
		}
		checked, _, refusal := intake.Check(shape)
		if refusal != nil {
			return nil, nil, refusal
		}
		return checked.Flat, nil, nil
	}
	var outline orb.Geometry
	var bearing *geo.Degrees
	err := x.view(func(r records.Reader) error {
		rev, err := r.Current(records.Blocks, ask.Block)
		if err != nil {
			return blockMissing(err)
		}
		checked, _, refusal := intake.Check(rev.Record.Geometry)
		if refusal != nil {
			return refusal
		}
		b, _ := blocks.Parse(rev.Record.Geometry, rev.Record.Properties)
		outline, bearing = checked.Flat, b.RowBearing
		return nil
	})
	return outline, bearing, err
}
