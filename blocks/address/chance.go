package address

import (
	"math"
	"slices"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
)

// Accuracy is the radius a phone gives with a fix.
//
// The model. Android documents it as the radius within which the true place
// lies with a chance of 68 % (Location.getAccuracy); an engineer of the other
// phone maker describes theirs as the root mean square of both axes, which is
// 63 %; the W3C's Geolocation asks browsers for 95 %, but they hand on what the
// phone says. 68 % is taken here: where it was 95 % the chances come out too
// doubtful, which is the side to err on. The error is normal and alike in all
// directions, with a standard deviation sd along each axis; then the distance
// is Rayleigh's, and 68.27 % lie within sd x sqrt(-2 ln 0.3173) = 1.515 sd.
// Real errors under wire, canes and netting have longer tails and drift
// together over minutes; the chance is that of one fix, not of ten.
type Accuracy geo.Metres

// radiusInSD is the 68.27 % radius in standard deviations, as above.
const radiusInSD = 1.515

// Bounds of an accuracy: phones give nothing finer than a centimetre, and a fix
// good to 10 km knows no block.
const (
	LeastAccuracy    geo.Metres = 0.01
	GreatestAccuracy geo.Metres = 10_000
)

// SD is the standard deviation along one axis.
func (a Accuracy) SD() geo.Metres { return geo.Metres(a) / radiusInSD }

const (
	// pastEnd is how far past a row's end, in standard deviations, a fix may lie
	// and the row still count: 99.7 % of the errors are smaller.
	pastEnd = 3
	// aloneHalf is half the strip of a row that has no neighbour in a block whose
	// row spacing is not known: common practice is about 3 m between rows.
	aloneHalf geo.Metres = 1.5
	// sameLine is how near two rows must run at the fix to be one line cut in
	// two: then the one beside the fix counts. No rows stand half a metre apart.
	sameLine = 0.5
	// leastChance is the smallest chance listed; what is smaller goes to None.
	leastChance = 1e-6
)

// RowChance is a row and the chance that the true place is in its strip.
type RowChance struct {
	Row int
	P   float64
}

// Chances are what a fix says about the rows; P and None sum to 1.
type Chances struct {
	Rows []RowChance // most likely first, then by number
	None float64     // that it is in no row's strip
}

// edge is a straight piece of a row, turned so that all point the same way.
type edge struct {
	row         int32
	first, last bool // at an end of its part
	a, b        plane.XY
}

func edgesOf(rows []blocks.Placed) []edge {
	var out []edge
	var common plane.XY
	for i, p := range rows {
		if p.Row.Skipped {
			continue
		}
		for _, l := range p.Lines {
			d := l[len(l)-1].Minus(l[0])
			back := d.Dot(common) < 0
			if back {
				d = d.Times(-1)
			}
			common = common.Plus(d)
			for k := 1; k < len(l); k++ {
				e := edge{row: int32(i), first: k == 1, last: k == len(l)-1, a: l[k-1], b: l[k]}
				if back {
					e.a, e.b, e.first, e.last = e.b, e.a, e.last, e.first
				}
				out = append(out, e)
			}
		}
	}
	return out
}

// abreast is a row seen from a fix.
type abreast struct {
	row    int32
	offset float64 // how far to the left of the fix it runs
	gap    float64 // how far past its end the fix lies
}

// Chances gives each row's chance for a fix. The error across the rows is
// normal with the accuracy's standard deviation; a row's strip reaches half way
// to its neighbours at the fix, the outermost rows' as far outward as inward,
// and its chance is the strip's share of the error. Rows that end more than
// three standard deviations before the fix do not count, others count in full:
// the error along the rows is not looked at. Skipped strips are no rows. A fix out of
// every row's reach, and one without a usable accuracy, gives None = 1.
func (x *Index) Chances(at geo.Position, a Accuracy) Chances {
	q, ok := x.xy(at)
	if !ok || !(geo.Metres(a) >= LeastAccuracy && geo.Metres(a) <= GreatestAccuracy) {
		return Chances{None: 1}
	}
	sd := float64(a.SD())
	seen := x.abreast(q, pastEnd*sd)
	out := Chances{}
	sum := 0.0
	for i := range seen {
		lo, hi := x.strip(seen, i)
		p := between(lo/sd, hi/sd)
		if p < leastChance {
			continue
		}
		out.Rows = append(out.Rows, RowChance{Row: x.rows[seen[i].row].Row.Number, P: p})
		sum += p
	}
	slices.SortFunc(out.Rows, func(a, b RowChance) int {
		switch {
		case a.P > b.P:
			return -1
		case a.P < b.P:
			return 1
		}
		return a.Row - b.Row
	})
	out.None = math.Max(0, 1-sum)
	return out
}

// abreast gives the rows beside a place, from right to left, each once.
func (x *Index) abreast(q plane.XY, reach float64) []abreast {
	nearest := map[int32]abreast{}
	distance := map[int32]float64{}
	for _, e := range x.edges {
		length := float64(e.a.Distance(e.b))
		u := e.b.Minus(e.a).Times(1 / length)
		along, across := u.Dot(q.Minus(e.a)), u.Cross(q.Minus(e.a))
		gap := math.Max(0, math.Max(-along, along-length))
		if inside := along < 0 && !e.first || along > length && !e.last; inside {
			// Past a bend another edge of the row is nearer, or as near.
			gap = 0
			foot := q.NearestOn(e.a, e.b)
			across = math.Copysign(float64(q.Distance(foot)), across)
		}
		d := math.Hypot(across, gap)
		if best, ok := distance[e.row]; gap > reach || ok && best <= d {
			continue
		}
		distance[e.row], nearest[e.row] = d, abreast{row: e.row, offset: -across, gap: gap}
	}
	out := make([]abreast, 0, len(nearest))
	for _, a := range nearest {
		out = append(out, a)
	}
	slices.SortFunc(out, func(a, b abreast) int {
		switch {
		case a.offset < b.offset:
			return -1
		case a.offset > b.offset:
			return 1
		}
		return int(a.row - b.row)
	})
	return onePerLine(out)
}

// onePerLine keeps, of rows that run on one line, the one beside the fix.
func onePerLine(rows []abreast) []abreast {
	var out []abreast
	for _, a := range rows {
		if n := len(out); n > 0 && a.offset-out[n-1].offset < sameLine {
			if a.gap < out[n-1].gap {
				out[n-1] = a
			}
			continue
		}
		out = append(out, a)
	}
	return out
}

// strip is where a row's strip begins and ends, across, seen from the fix.
func (x *Index) strip(rows []abreast, i int) (lo, hi float64) {
	at := rows[i].offset
	right, left := math.NaN(), math.NaN()
	if i > 0 {
		right = (at - rows[i-1].offset) / 2
	}
	if i < len(rows)-1 {
		left = (rows[i+1].offset - at) / 2
	}
	outward := float64(x.spacings.Row) / 2
	if outward <= 0 {
		outward = float64(aloneHalf)
	}
	switch {
	case i > 0 && i < len(rows)-1:
	case i > 0:
		left = right
	case i < len(rows)-1:
		right = left
	default:
		left, right = outward, outward
	}
	return at - right, at + left
}

// between is the standard normal's share from a to b; the larger tail is taken
// off so that small shares keep their digits.
func between(a, b float64) float64 {
	if a > 0 {
		a, b = -b, -a
	}
	return (math.Erfc(-b/math.Sqrt2) - math.Erfc(-a/math.Sqrt2)) / 2
}

var (
	nearRow = words.New("address-near-row", "near row {row} ({percent} %)", "cerca de la hilera {row} ({percent} %)")
	noRow   = words.New("address-near-no-row", "beside the rows", "fuera de las hileras")
	theWay  = words.New("address-model",
		"The phone's accuracy of {accuracy} m is taken as the radius of 68 %: across the rows the error is normal with a standard deviation of {sd} m (radius / 1.515). A row's chance is the share of that error in its strip, half way to its neighbours; “none” is the rest. Under canes and netting the true error is often larger.",
		"La precisión de {accuracy} m que da el teléfono se toma como el radio del 68 %: a través de las hileras el error es normal, con una desviación típica de {sd} m (radio / 1.515). La probabilidad de una hilera es la parte de ese error en su franja, hasta medio camino de sus vecinas; «ninguna» es el resto. Bajo cañas y mallas el error real suele ser mayor.")
	noWay = words.New("address-no-accuracy",
		"Without the accuracy of the fix the chance of a row cannot be said.",
		"Sin la precisión de la posición no se puede decir la probabilidad de una hilera.")
)

// Says names the likeliest row with its chance, until somebody says which it was.
func (c Chances) Says() words.Text {
	if len(c.Rows) == 0 || c.None > c.Rows[0].P {
		return noRow.Plain()
	}
	return nearRow.With(words.Args{"row": c.Rows[0].Row, "percent": math.Round(100 * c.Rows[0].P)})
}

// Model says how the chances come about; 0 is a fix without accuracy.
func (a Accuracy) Model() words.Text {
	if a <= 0 {
		return noWay.Plain()
	}
	return theWay.With(words.Args{"accuracy": math.Round(float64(a)*10) / 10, "sd": math.Round(float64(a.SD())*10) / 10})
}
