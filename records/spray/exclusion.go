package spray

import (
	"context"
	"errors"
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
	// Beyond is how much of it lies outside the farm's boundary; nil where none is
	// recorded as ground.
	Beyond *geo.SquareMetres
	Within []string // ids of the dwellings, roads and the like it reaches
}

var (
	sourceAEZ = words.New("spray-source-aez", "40 CFR 170.405(a) as amended by 89 FR 80767, and 170.505(b); state rules and labels may ask for more", "40 CFR 170.405(a), modificado por 89 FR 80767, y 170.505(b); el estado o la etiqueta pueden exigir más").Plain()

	sayExclusion = words.New("spray-check-aez",
		"Application exclusion zone of {feet} ft round the sprayer, in every direction, moving with it, and over the property line. Over the whole job it sweeps the ground drawn. {beyond} Stop for anyone in it, on the farm or off it; go on only when they have left.",
		"Zona de exclusión de {feet} pies alrededor del pulverizador, en todas las direcciones, que se mueve con él y pasa el lindero. En todo el trabajo barre el terreno dibujado. {beyond} Pare si hay alguien dentro, en la finca o fuera; siga solo cuando se haya ido.")
	sayBeyond           = words.New("spray-aez-beyond", "{m2} m² of it lie outside the boundary recorded.", "{m2} m² quedan fuera del lindero registrado.")
	sayNoBoundary       = words.New("spray-aez-no-boundary", "No boundary is recorded as ground, so how far it goes past the property line is not reckoned.", "No hay un lindero registrado como terreno, así que no se calcula cuánto pasa del lindero.")
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
		// To a millionth: 0.3048 m is 12 in, not a hair over.
		given["height_in"] = math.Round(float64(*q.Height)*inchesPerMetre*1e6) / 1e6
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
	farm := d.boundary()
	grounds, beyonds := make([]orb.MultiPolygon, len(d.plots)), make([]geo.SquareMetres, len(d.plots))
	if err := together(ctx, len(d.plots), func(i int) (err error) {
		grounds[i], beyonds[i], err = d.plots[i].swept(ctx, zone.Distance, farm)
		return refuseGround(d.plots[i].field, err)
	}); err != nil {
		return err
	}
	for i := range d.plots {
		zone.Ground = append(zone.Ground, grounds[i]...)
		if farm != nil {
			sum := beyonds[i]
			if zone.Beyond != nil {
				sum += *zone.Beyond
			}
			zone.Beyond = &sum
		}
	}
	d.answer.Exclusion = zone
	args := words.Args{"feet": feet, "beyond": sayNoBoundary.Plain()}
	if zone.Beyond != nil {
		*zone.Beyond = step(*zone.Beyond)
		args["beyond"] = sayBeyond.With(words.Args{"m2": math.Ceil(float64(*zone.Beyond))})
	}
	d.add(Check{Rule: "exclusion-zone", Answer: Caution, Why: sayExclusion.With(args), Source: sourceAEZ, Measured: &Measured{Value: feet, Limit: feet, Unit: "ft"}})
	d.reaches(zone, args)
	return nil
}

// boundary is the farm's own ground, where it is recorded as ground.
func (d *drafter) boundary() orb.MultiPolygon {
	var out orb.MultiPolygon
	for _, s := range d.ground.Around {
		if blocks.SurroundingsKind(s.Kind) == blocks.Boundary {
			out = append(out, multi(s.Shape)...)
		}
	}
	return out
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

// looseness is how far the drawn exclusion zone may reach too far: the ground it is
// drawn round is straightened by that much first. People are told feet.
const looseness geo.Metres = 0.25

// swept is the ground within a distance of where the plot is sprayed, of the ground
// passed over, which the treated lies in: never short, and at most three times
// looseness too far. beyond is what of it lies outside the farm.
func (p *plot) swept(ctx context.Context, distance geo.Metres, farm orb.MultiPolygon) (ground orb.MultiPolygon, beyond geo.SquareMetres, err error) {
	if len(p.treated) == 0 {
		return nil, 0, nil
	}
	// Shells alone: a hole narrower than the zone is within it, and in one as wide
	// nobody stands while a sprayer goes round it.
	var driven plane.Shape
	for _, poly := range p.passed {
		shell := straightened(poly[0])
		if len(shell) > mostCorners || meetsItself(shell) {
			driven.Lines = append(driven.Lines, plane.Line(shell))
		} else {
			driven.Ground = append(driven.Ground, plane.Polygon{shell})
		}
	}
	zone, err := buffer.Around(ctx, driven, distance+looseness, buffer.Options{Overshoot: looseness})
	if err == nil && zone.Holes() > 0 {
		var shells []plane.Region
		for _, poly := range zone {
			shells = append(shells, plane.Region{{poly[0]}})
		}
		zone, err = overlay.Union(ctx, shells...)
	}
	if err != nil {
		return nil, 0, err
	}
	if len(farm) == 0 {
		return p.frame.MultiPolygon(zone), 0, nil
	}
	inside, err := p.frame.Region(farm)
	var far *plane.FarError
	if errors.As(err, &far) {
		return p.frame.MultiPolygon(zone), zone.Area(), nil
	}
	if err != nil {
		return nil, 0, err
	}
	outside, err := overlay.Difference(ctx, zone, inside)
	return p.frame.MultiPolygon(zone), outside.Area(), err
}

// mostCorners is up to how many corners a shell is asked whether it meets itself,
// which straightening may bring about and ground must not: they are compared pair by
// pair. Else it is gone round as a line.
const mostCorners = 300

// meetsItself reports whether edges that are no neighbours cross or touch.
func meetsItself(r plane.Ring) bool {
	n := len(r) - 1
	for i := range n {
		for j := i + 2; j < n; j++ {
			if i == 0 && j+1 == n {
				continue
			}
			apart := func(a, b, p, q plane.XY) bool { return b.Minus(a).Cross(p.Minus(a))*b.Minus(a).Cross(q.Minus(a)) > 0 }
			if !apart(r[i], r[i+1], r[j], r[j+1]) && !apart(r[j], r[j+1], r[i], r[i+1]) {
				return true
			}
		}
	}
	return false
}

// straightened drops corners that lie within looseness of the straight way between
// those kept, after Douglas and Peucker.
func straightened(r plane.Ring) plane.Ring {
	if len(r) <= 5 {
		return r
	}
	// The corner farthest from the first parts the ring in two.
	far := 0
	for i := range r {
		if r[i].Distance(r[0]) > r[far].Distance(r[0]) {
			far = i
		}
	}
	out := append(thinned(r[:far+1]), thinned(r[far:])[1:]...)
	return out
}

func thinned(l []plane.XY) plane.Ring {
	a, b := l[0], l[len(l)-1]
	worst, at := geo.Metres(0), 0
	for i := 1; i+1 < len(l); i++ {
		if d := l[i].Distance(l[i].NearestOn(a, b)); d > worst {
			worst, at = d, i
		}
	}
	if worst <= looseness {
		return plane.Ring{a, b}
	}
	return append(thinned(l[:at+1]), thinned(l[at:])[1:]...)
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
