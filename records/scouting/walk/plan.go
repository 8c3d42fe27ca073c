package walk

import (
	"encoding/json"
	"math"

	"github.com/paulmach/orb"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records/scouting/programme"
)

// Plan is a walk from stop to stop.
type Plan struct {
	Ground
	Programme *programme.Programme // nil: none was named
	Kind      Kind
	Seed      uint64
	Stops     []Stop
	Living    int // plants it was drawn from
	// Each is how many of the programme's units to look at at each stop; 0 where
	// its rule gives no number.
	Each int
}

// Generator names how the stops were drawn, for who draws them again.
const Generator = "SplitMix64"

// usualStops is what a walk has where nothing says how many.
const usualStops = 10

var (
	planHow = words.New("walk-plan-how",
		"{stops} of {plants} plants that stand, in walking order (row up, row down), drawn with {generator} from seed {seed}. The same seed and the same plants give the same stops.",
		"{stops} de {plants} plantas en pie, en orden de recorrido (hilera arriba, hilera abajo), sorteadas con {generator} desde la semilla {seed}. La misma semilla y las mismas plantas dan las mismas paradas.")
	stopName = words.New("walk-stop-name", "{number}: row {row}, plant {plant}", "{number}: hilera {row}, planta {plant}")
	walkName = words.New("walk-name", "Sampling walk, {block}", "Recorrido de muestreo, {block}")
	eachSays = words.New("walk-each", "At each stop look at {each} {unit}.", "En cada parada revise {each} {unit}.")
)

// NewPlan draws a walk. stops 0 takes the programme's own number: its sites, or
// its sample where single plants are looked at.
func (g Ground) NewPlan(p *programme.Programme, stops int, kind Kind, seed uint64) (Plan, error) {
	if stops == 0 {
		stops = usualStops
		if p != nil && p.Sites > 0 {
			stops = p.Sites
		}
	}
	living := Living(g.Rows)
	places, err := Draw(living, stops, kind, seed)
	if err != nil {
		return Plan{}, err
	}
	plan := Plan{Ground: g, Programme: p, Kind: kind, Seed: seed, Living: len(living), Stops: Located(places, g.Rows, g.PlantSpacing)}
	if p != nil && p.Look > 0 {
		plan.Each = int(math.Ceil(float64(p.Look) / float64(stops)))
	}
	return plan, nil
}

// How says how the stops came about.
func (p Plan) How() words.Text {
	return planHow.With(words.Args{"stops": len(p.Stops), "plants": p.Living, "generator": Generator, "seed": p.Seed})
}

// Title names the walk.
func (p Plan) Title() words.Text { return walkName.With(words.Args{"block": p.Name}) }

func (p Plan) eachText() words.Text {
	if p.Each == 0 {
		return words.Text{}
	}
	return eachSays.With(words.Args{"each": p.Each, "unit": p.Programme.Unit})
}

// JSON is the walk for a client: positions are null where a row is not drawn.
func (p Plan) JSON(l words.Language) map[string]any {
	stops := []any{}
	for i, s := range p.Stops {
		one := map[string]any{"number": i + 1, "row": s.Row, "plant": s.Plant, "lon": nil, "lat": nil}
		if s.At != nil {
			one["lon"], one["lat"] = s.At[0], s.At[1]
		}
		stops = append(stops, one)
	}
	m := map[string]any{"block": p.ID, "name": p.Name, "title": p.Title().In(l), "kind": p.Kind, "seed": p.Seed, "generator": Generator, "stops": stops, "plants": p.Living,
		"at_each": p.Each, "says": p.eachText().In(l), "how": p.How().In(l), "programme": nil}
	if p.Programme != nil {
		m["programme"] = p.Programme.ID
	}
	return m
}

// Document is the walk for a writer of files: the stops that have a position,
// as points named by number, row and plant.
func (p Plan) Document(l words.Language) wire.Document {
	features := func(yield func(wire.Feature, error) bool) {
		for i, s := range p.Stops {
			if s.At == nil {
				continue
			}
			properties, err := json.Marshal(map[string]any{"name": stopName.With(words.Args{"number": i + 1, "row": s.Row, "plant": s.Plant}).In(l),
				"description": p.eachText().In(l), "number": i + 1, "row": s.Row, "plant": s.Plant})
			if !yield(wire.Feature{Geometry: geo.Geometry{Flat: orb.Point(*s.At)}, Properties: properties}, err) {
				return
			}
		}
	}
	notice := p.How().In(l)
	if p.Farm.Invented {
		notice += " " + invented.Plain().In(l)
	}
	return wire.Document{Title: p.Title().In(l), Notice: notice, Layers: []wire.Layer{{Name: "stops", Features: features}}}
}

var invented = words.New("walk-invented", "Invented for trying out.", "Inventado para probar.")
