package spray

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"caneward/blocks"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/buffer"
	"caneward/geo/overlay"
	"caneward/geo/plane"
	"caneward/records/calc"
)

// Method is how spray leaves the machine, as the rule of the application
// exclusion zone tells methods apart.
type Method string

// The methods.
const (
	Airblast Method = "airblast" // and other air-propelled
	Boom     Method = "boom"     // ground boom, banding nozzles
	HandHeld Method = "hand"     // wand or backpack
	Aerial   Method = "aerial"
	Mist     Method = "mist" // fog and smoke too
	SoilFlow Method = "drench"
	Wick     Method = "wick"
	Granules Method = "granules"
)

// Methods lists them in the order screens show them.
var Methods = []Method{Airblast, Boom, HandHeld, SoilFlow, Wick, Granules, Mist, Aerial}

// asRule is the method under the name the arithmetic of the rule has for it.
var asRule = map[Method]string{Airblast: "airblast", Boom: "spray", HandHeld: "spray", Aerial: "aerial", Mist: "mist", SoilFlow: "drench", Wick: "wick", Granules: "granular"}

// Exclusion is the ground the application exclusion zone sweeps over in the course
// of the job. The zone itself is round the machine and moves with it.
type Exclusion struct {
	Distance geo.Metres
	Ground   orb.MultiPolygon // the treated ground included
	Beyond   geo.SquareMetres // of it outside the blocks of the farm that were chosen
	Within   []string         // ids of the dwellings, roads and the like it reaches
}

var (
	sourceAEZ = words.New("spray-source-aez", "40 CFR 170.405(a) as amended by 89 FR 80767, and 170.505(b); state rules and labels may ask for more", "40 CFR 170.405(a), modificado por 89 FR 80767, y 170.505(b); el estado o la etiqueta pueden exigir más").Plain()

	sayExclusion = words.New("spray-check-aez",
		"Application exclusion zone of {feet} ft round the sprayer, in every direction, moving with it, and over the property line. Over the whole job it sweeps the ground drawn, {m2} m² of it outside the chosen blocks. Stop for anyone in it, on the farm or off it; go on only when they have left.",
		"Zona de exclusión de {feet} pies alrededor del pulverizador, en todas las direcciones, que se mueve con él y pasa el lindero. En todo el trabajo barre el terreno dibujado, {m2} m² fuera de los bloques elegidos. Pare si hay alguien dentro, en la finca o fuera; siga solo cuando se haya ido.")
	sayExclusionReaches = words.New("spray-check-aez-reaches",
		"The exclusion zone of {feet} ft reaches {names}. Nobody may be there while the sprayer passes, neighbours and people on roads included.",
		"La zona de exclusión de {feet} pies alcanza {names}. Nadie puede estar ahí mientras pasa el pulverizador, incluidos vecinos y gente en caminos.")
	sayExclusionNone = words.New("spray-check-aez-none",
		"This way of applying, with these droplets from this height, has no federal exclusion zone. People still keep away from the spray.",
		"Esta forma de aplicar, con estas gotas y desde esta altura, no tiene zona de exclusión federal. Aun así, la gente se mantiene lejos de la aplicación.")
	sayExclusionUnknown = words.New("spray-check-aez-unknown",
		"Whether the exclusion zone is 100 ft, 25 ft or none hangs on the way of applying, the droplets and the height they leave from; say which, or take 100 ft. {problem}",
		"Que la zona de exclusión sea de 100 pies, 25 pies o ninguna depende de la forma de aplicar, las gotas y la altura; indíquelo, o tome 100 pies. {problem}")
	sayDropletsFine = words.New("spray-check-droplets",
		"{product}: droplets of class {droplets} are finer than {finest}, the finest the label, as typed, allows.",
		"{product}: las gotas de clase {droplets} son más finas que {finest}, lo más fino que permite la etiqueta, según lo escrito.")
)

// inchesPerMetre turns a height into the inches the rule is written in.
const inchesPerMetre = 1 / 0.0254

// exclusionFeet asks the arithmetic of the rule; problem says what it lacks.
func (q Request) exclusionFeet() (feet float64, problem words.Text) {
	given := map[string]any{"method": asRule[q.Method]}
	if q.Droplets != "" {
		given["droplet"] = string(q.Droplets)
	}
	if q.Height != nil {
		given["height_in"] = float64(*q.Height) * inchesPerMetre
	}
	answer, err := calc.Do("aez_ft", given)
	if err != nil {
		return 0, words.Verbatim(err.Error())
	}
	feet, _ = answer.Value.(float64)
	return feet, words.Text{}
}

// keepOut draws the exclusion zone and says whom it reaches.
func (d *drafter) keepOut(ctx context.Context) error {
	q := d.request
	if q.Method == "" {
		if len(d.request.Products) > 0 {
			d.say("exclusion-zone", Caution, sayExclusionUnknown.With(words.Args{"problem": ""}), sourceAEZ)
		}
		return nil
	}
	feet, problem := q.exclusionFeet()
	switch {
	case !problem.Empty():
		d.say("exclusion-zone", Caution, sayExclusionUnknown.With(words.Args{"problem": problem}), sourceAEZ)
		return nil
	case feet == 0:
		d.say("exclusion-zone", OK, sayExclusionNone.Plain(), sourceAEZ)
		return nil
	}
	zone := &Exclusion{Distance: geo.Metres(feet * geo.MetresPerFoot)}
	for _, p := range d.plots {
		ground, beyond, err := p.swept(ctx, zone.Distance, d.plots)
		if err != nil {
			return refuseGround(p.field, err)
		}
		zone.Ground = append(zone.Ground, ground...)
		zone.Beyond += beyond
	}
	zone.Beyond = step(zone.Beyond)
	d.answer.Exclusion = zone
	args := words.Args{"feet": feet, "m2": math.Ceil(float64(zone.Beyond))}
	d.add(Check{Rule: "exclusion-zone", Answer: Caution, Why: sayExclusion.With(args), Source: sourceAEZ, Measured: &Measured{Value: feet, Limit: feet, Unit: "ft"}})
	d.reaches(zone, args)
	return nil
}

// peopled are the surroundings where people may be.
var peopled = []blocks.SurroundingsKind{blocks.Dwelling, blocks.School, blocks.Road, blocks.Boundary}

func (d *drafter) reaches(zone *Exclusion, args words.Args) {
	var names []string
	for _, n := range d.answer.Distances {
		if m := n.treated(); m == nil || *m > zone.Distance || !slices.Contains(peopled, blocks.SurroundingsKind(n.Kind)) || slices.Contains(zone.Within, n.To) {
			continue
		}
		zone.Within = append(zone.Within, n.To)
		names = append(names, d.nameOf(n.To, n.Kind))
	}
	if len(names) > 0 {
		args["names"] = strings.Join(names, ", ")
		d.say("exclusion-zone", Caution, sayExclusionReaches.With(args), sourceAEZ)
	}
}

// nameOf is what people call one of the surroundings.
func (d *drafter) nameOf(id, kind string) string {
	for _, s := range d.ground.Around {
		if s.ID == id && s.Name != "" {
			return fmt.Sprintf("“%s”", s.Name)
		}
	}
	return blocks.SurroundingsKind(kind).Text().String()
}

// swept is the ground within a distance of where the plot is sprayed: of the
// ground passed over, which the treated lies in, so that it is never short.
func (p *plot) swept(ctx context.Context, distance geo.Metres, all []*plot) (orb.MultiPolygon, geo.SquareMetres, error) {
	if len(p.treated) == 0 {
		return nil, 0, nil
	}
	from := p.passed
	zone, err := buffer.Around(ctx, plane.Shape{Ground: from}, distance, buffer.Options{})
	if err != nil {
		return nil, 0, err
	}
	beyond := zone
	for _, o := range all {
		if !zoneMeets(p, zone, o) {
			continue
		}
		theirs, err := p.frame.Region(o.frame.MultiPolygon(o.outline))
		if err != nil {
			return nil, 0, err
		}
		if beyond, err = overlay.Difference(ctx, beyond, theirs); err != nil {
			return nil, 0, err
		}
	}
	return p.frame.MultiPolygon(zone), beyond.Area(), nil
}

func zoneMeets(p *plot, zone plane.Region, o *plot) bool {
	return p.frame.MultiPolygon(zone).Bound().Intersects(o.block.Outline.Bound())
}

// checkDroplets holds the droplets against the finest each label allows.
func (d *drafter) checkDroplets() {
	for _, label := range d.labels {
		if d.request.Droplets.Finer(label.Droplets) {
			d.say("droplets", Stop, sayDropletsFine.With(words.Args{"product": label.Name, "droplets": string(d.request.Droplets), "finest": string(label.Droplets)}), sourceTyped)
		}
	}
}

// strips are the places kept in plants between fields and water.
func strips(around []Surroundings) []setback.Feature {
	var out []setback.Feature
	for _, s := range around {
		if s.Strip {
			out = append(out, s.Feature)
		}
	}
	return out
}
