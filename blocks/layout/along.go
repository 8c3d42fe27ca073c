package layout

import (
	"iter"
	"math"

	"github.com/paulmach/orb"

	"caneward/geo"
)

// Line is the part from end to end: two positions where it is straight.
func (p Part) Line() orb.LineString {
	if p.Path != nil {
		return p.Path
	}
	return orb.LineString{p.From, p.To}
}

// At is the place so many metres along the part, its ends at the least and the
// most. On a straight part it lies within 1 mm for parts up to 1 km.
func (p Part) At(along geo.Metres) geo.Position {
	if p.Path == nil {
		return p.straightAt(along)
	}
	w := p.walk()
	return w.at(float64(along))
}

func (p Part) straightAt(along geo.Metres) geo.Position {
	f := 0.0
	if p.Length > 0 {
		f = math.Max(0, math.Min(1, float64(along)/float64(p.Length)))
	}
	return between(p.From, p.To, f)
}

func between(a, b geo.Position, f float64) geo.Position {
	east := math.Remainder(b[0]-a[0], 360) // the short way, across 180 degrees too
	return geo.Position{math.Remainder(a[0]+f*east, 360), a[1] + f*(b[1]-a[1])}
}

// walker goes along a bent part; places asked for in rising order cost one way
// along it altogether.
type walker struct {
	path  orb.LineString
	scale float64 // part length over the sum of the strides
	next  int     // the corner the present stretch ends at
	done  float64 // metres before the present stretch
	here  float64 // metres of the present stretch
}

func (p Part) walk() *walker {
	w := &walker{path: p.Path, scale: 1, next: 1}
	sum := 0.0
	for i := 1; i < len(p.Path); i++ {
		sum += stride(p.Path[i-1], p.Path[i])
	}
	if sum > 0 {
		w.scale = float64(p.Length) / sum
	}
	w.here = w.scale * stride(p.Path[0], p.Path[1])
	return w
}

func (w *walker) at(along float64) geo.Position {
	for w.done+w.here < along && w.next+1 < len(w.path) {
		w.done += w.here
		w.next++
		w.here = w.scale * stride(w.path[w.next-1], w.path[w.next])
	}
	f := 0.0
	if w.here > 0 {
		f = math.Max(0, math.Min(1, (along-w.done)/w.here))
	}
	return between(w.path[w.next-1], w.path[w.next], f)
}

// stride is the length of a short stretch by the ellipsoid's radii of curvature
// at its middle: within 1e-8 of it up to 100 m.
func stride(a, b geo.Position) float64 {
	const equator, flattening = 6378137.0, 1 / 298.257223563 // WGS 84
	const e2 = flattening * (2 - flattening)
	sin, cos := math.Sincos((a[1] + b[1]) / 2 * math.Pi / 180)
	w := 1 - e2*sin*sin
	normal := equator / math.Sqrt(w)
	north := (b[1] - a[1]) * math.Pi / 180 * normal * (1 - e2) / w
	east := math.Remainder(b[0]-a[0], 360) * math.Pi / 180 * normal * cos
	return math.Hypot(east, north)
}

// Plant is where a plant of the row stands; false when the row has no such
// number.
func (r Row) Plant(number int, spacing geo.Metres) (geo.Position, bool) {
	if number < 1 {
		return geo.Position{}, false
	}
	for _, p := range r.Parts {
		if number > p.Plants {
			number -= p.Plants
			continue
		}
		return p.At(geo.Metres(number-1) * spacing), true
	}
	return geo.Position{}, false
}

// Address names a plant of a block.
type Address struct{ Row, Plant int }

// Places gives every plant and where it stands, in order of row and number.
func (l Layout) Places() iter.Seq2[Address, geo.Position] {
	return func(yield func(Address, geo.Position) bool) {
		for _, r := range l.Rows {
			number := 0
			for _, p := range r.Parts {
				place := p.straightAt
				if p.Path != nil {
					w := p.walk()
					place = func(along geo.Metres) geo.Position { return w.at(float64(along)) }
				}
				for i := range p.Plants {
					number++
					if !yield(Address{r.Number, number}, place(geo.Metres(i)*l.Spec.PlantSpacing)) {
						return
					}
				}
			}
		}
	}
}
