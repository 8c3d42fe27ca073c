// Package address goes both ways between a plant's number and its place: where
// plant 12 of row 7 stands, which plants are nearest to a position, and how
// likely each row is when the position is a phone's.
package address

import (
	"cmp"
	"math"
	"slices"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"

	"github.com/paulmach/orb"
)

// Bounds of one index, far above any block.
const (
	MaxPlants = 2_000_000
	MaxHits   = 1000
)

var (
	tooMany = words.New("address-too-many",
		"The rows hold {count} places; at most {limit} are looked up at once.",
		"Las hileras tienen {count} lugares; se buscan como máximo {limit} a la vez.")
	notPlaced = words.New("address-not-placed",
		"Row {row} cannot be placed: {problem}.",
		"La hilera {row} no se puede situar: {problem}.")
	rowTwice = words.New("address-row-twice",
		"There are two rows with the number {row}.",
		"Hay dos hileras con el número {row}.")
)

// Spacings are a block's; 0 where they are not known.
type Spacings struct{ Row, Plant geo.Metres }

// Index holds the places of a block's rows. It is not changed once made and may
// be shared.
type Index struct {
	frame    plane.Frame
	spacings Spacings
	rows     []blocks.Placed // by number
	edges    []edge
	grid     grid
}

// Hit is a place near a position.
type Hit struct {
	Row, Plant int
	Distance   geo.Metres
}

// New makes an index. No rows make an empty one. Errors: fault.Invalid for two
// rows of one number or a line that cannot be placed, fault.TooCostly above
// MaxPlants places.
func New(rows []blocks.Row, spacings Spacings) (*Index, error) {
	x := &Index{spacings: spacings}
	if len(rows) == 0 {
		return x, nil
	}
	shapes := make([]orb.Geometry, len(rows))
	for i, r := range rows {
		shapes[i] = r.Parts
	}
	frame, err := plane.FrameOf(shapes...)
	if err != nil {
		return nil, unplaced(rows[0].Number, err)
	}
	x.frame = frame
	total := 0
	for _, r := range rows {
		p, err := r.Place(frame, spacings.Plant)
		if err != nil {
			return nil, unplaced(r.Number, err)
		}
		for _, run := range p.Runs {
			total += run.Plants
		}
		if total > MaxPlants {
			return nil, fault.New(fault.TooCostly, tooMany.With(words.Args{"count": total, "limit": MaxPlants}))
		}
		x.rows = append(x.rows, p)
	}
	slices.SortStableFunc(x.rows, func(a, b blocks.Placed) int { return cmp.Compare(a.Row.Number, b.Row.Number) })
	for i := 1; i < len(x.rows); i++ {
		if n := x.rows[i].Row.Number; n == x.rows[i-1].Row.Number {
			return nil, fault.New(fault.Invalid, rowTwice.With(words.Args{"row": n}))
		}
	}
	points := make([]point, 0, total)
	for i, p := range x.rows {
		p.Each(func(plant int, at plane.XY) { points = append(points, point{at, int32(i), int32(plant)}) })
	}
	x.grid = newGrid(points)
	x.edges = edgesOf(x.rows)
	return x, nil
}

func unplaced(row int, err error) error {
	return fault.Wrap(fault.Invalid, err, notPlaced.With(words.Args{"row": row, "problem": words.Verbatim(err.Error())}))
}

// Places counts the places, those without a plant included.
func (x *Index) Places() int { return len(x.grid.points) }

// Row is a row by number.
func (x *Index) Row(number int) (blocks.Row, bool) {
	i, ok := x.find(number)
	if !ok {
		return blocks.Row{}, false
	}
	return x.rows[i].Row, true
}

func (x *Index) find(number int) (int, bool) {
	return slices.BinarySearchFunc(x.rows, number, func(p blocks.Placed, n int) int { return p.Row.Number - n })
}

// Place is where a plant of a row stands; false when there is no such place.
func (x *Index) Place(row, plant int) (geo.Position, bool) {
	i, ok := x.find(row)
	if !ok {
		return geo.Position{}, false
	}
	xy, ok := x.rows[i].XY(plant)
	if !ok {
		return geo.Position{}, false
	}
	return x.frame.Position(xy), true
}

// Nearest gives the n places nearest to a position, nearest first and where two
// are equally near the lower number first, places without a plant included; n
// is cut to MaxHits. Distances are those of the plane: within 1e-7 of the
// ellipsoid's on a block of 2 km. A position farther than the frame's reach has
// no hits.
func (x *Index) Nearest(at geo.Position, n int) []Hit {
	q, ok := x.xy(at)
	if !ok || n < 1 {
		return nil
	}
	found := x.grid.nearest(q, min(n, MaxHits, len(x.grid.points)))
	hits := make([]Hit, len(found))
	for i, f := range found {
		p := x.grid.points[f.index]
		hits[i] = Hit{Row: x.rows[p.row].Row.Number, Plant: int(p.plant), Distance: geo.Metres(math.Sqrt(f.squared))}
	}
	return hits
}

// xy places a position; false when it is too far from the rows to be measured
// flat, or there are none.
func (x *Index) xy(at geo.Position) (plane.XY, bool) {
	if len(x.rows) == 0 {
		return plane.XY{}, false
	}
	o := x.frame.Origin()
	if math.Abs(at[1]-o[1]) > farDegrees || math.Abs(math.Remainder(at[0]-o[0], 360)) > farDegrees {
		if !(measure.Distance(o, at) <= plane.MaxReach) {
			return plane.XY{}, false
		}
	}
	q := x.frame.XY(at)
	return q, q.Finite()
}

// farDegrees is the difference of longitude or latitude from which on a
// position's distance is measured before it is placed: 0.1 degrees are at most
// 11.2 km.
const farDegrees = 0.1
