package blocks

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"

	"github.com/paulmach/orb"
)

// Bounds of what one row record holds, far above any field's.
const (
	MaxRow    = 10_000
	MaxPlants = 100_000 // in a row
	MaxRuns   = 10_000  // stretches of numbers that run on
)

const (
	// OnPart is how far a place may lie past its part's end, as stored: seven
	// decimals of a degree, as many programs write them, hold a corner to 1 cm,
	// and a part has two ends.
	OnPart geo.Metres = 0.02
	// mostAlong bounds at_m in metres: no row is a hundred kilometres long.
	mostAlong = 100_000
)

var (
	missingTwice    = words.New("blocks-missing-twice", "Plant {plant} is named twice.", "La planta {plant} se nombra dos veces.")
	missingTooMany  = words.New("blocks-missing-too-many", "At most {limit} plants can be missing; this names {count}.", "Pueden faltar como máximo {limit} plantas; esto nombra {count}.")
	fewerThanPlaces = words.New("blocks-fewer-than-places", "plants is {plants}, but the places go up to number {last}.", "plants es {plants}, pero los lugares llegan al número {last}.")
	numberTwice     = words.New("blocks-number-twice", "Number {plant} is given to two places.", "El número {plant} se da a dos lugares.")
	numberTooHigh   = words.New("blocks-number-too-high", "These numbers go up to {last}; a row has at most {limit}.", "Estos números llegan a {last}; una hilera tiene como máximo {limit}.")
	runOffPart      = words.New("blocks-run-off-part", "Plant {last} would stand {end} m along part {part}, which is {length} m long.", "La planta {last} estaría a {end} m en el tramo {part}, que mide {length} m.")
	goneStill       = words.New("blocks-gone-still", "Plant {plant} is named as gone but still has its place.", "La planta {plant} se nombra como desaparecida pero aún tiene su lugar.")
	missingOutside  = words.New("blocks-missing-outside", "There is no plant {plant} in this row; it has {plants} places.", "No hay planta {plant} en esta hilera; tiene {plants} lugares.")
)

// Row is one numbered row of a block. A number is never given twice in a row,
// not even after its place is gone.
type Row struct {
	Block  string // id of the block's record
	Number int    // from 1
	// Plants is the highest number a place of the row ever had, missing ones
	// included; 0 when not counted.
	Plants  int
	Missing []int // numbers of places without a plant, ascending
	Parts   orb.MultiLineString
	// Places says which numbers stand where, ascending by number; nil where the
	// layout rule holds (see Place), empty where no place is left. A number up to
	// Plants in none of them has no place any more.
	Places    []Run
	Replanted []Replant // by plant, then day
	Gone      []Gone    // places given up for good, with the reason, by plant
	// Skipped is a strip left unplanted that keeps its number: its places are
	// addresses still, but nothing stands there.
	Skipped bool
	Posts   int // 0 when not counted
}

// Run is places with numbers that run on, a spacing apart along one part.
type Run struct {
	From    int // number of the first
	Plants  int // how many places, from 1
	Part    int // from 1
	At      geo.Metres
	Spacing geo.Metres
}

// Last is the number of the run's last place.
func (r Run) Last() int { return r.From + r.Plants - 1 }

// Replant is a plant set anew at a place, which keeps its number.
type Replant struct {
	Plant int
	On    Date
}

// Gone is a place given up though records name it.
type Gone struct {
	Plant int
	Why   string
}

// ParseRow reads a row: block, number and line must be there. The details say
// what is wrong; a field at fault is zero in the row.
func ParseRow(g geo.Geometry, raw json.RawMessage) (Row, []fault.Detail) {
	r := fields.Properties(raw)
	r.Need("block")
	row := Row{Block: name(r, "block"), Skipped: r.Yes("skipped")}
	if r.Need("number") {
		row.Number, _ = r.Whole("number", 1, MaxRow)
	}
	row.Plants, _ = r.Whole("plants", 0, MaxPlants)
	row.Posts, _ = r.Whole("posts", 0, MaxPlants)
	switch flat := g.Flat.(type) {
	case orb.LineString:
		row.Parts = orb.MultiLineString{flat}
	case orb.MultiLineString:
		row.Parts = flat
	default:
		faultPlace(r, g, aLine)
	}
	row.Places = places(r, row.Parts)
	if n := len(row.Places); n > 0 {
		row.Plants = highest(r, row.Plants, row.Places[n-1].Last())
	}
	row.Missing = missing(r, row.Plants)
	row.Replanted = replanted(r, row.Plants)
	row.Gone = gone(r, row)
	return row, r.Faults()
}

// highest is the row's highest number: as counted, which no place may exceed,
// else that of the last place.
func highest(r fields.Reader, counted, last int) int {
	if counted > 0 && last > counted {
		r.Fault("plants", fewerThanPlaces.With(words.Args{"plants": counted, "last": last}))
	}
	return max(counted, last)
}

// places reads the runs of a row with these parts; nil when there are none
// given or one is at fault, empty for an empty list.
func places(r fields.Reader, parts orb.MultiLineString) []Run {
	before := len(r.Faults())
	lengths := make([]geo.Metres, len(parts))
	for i, p := range parts {
		lengths[i] = measure.Length(p)
	}
	var runs []Run
	var named []string
	i := -1
	for in := range r.Each("places", MaxRuns) {
		i++
		was := len(r.Faults())
		run := readRun(in, max(1, len(parts)))
		if len(r.Faults()) > was || len(parts) == 0 {
			continue
		}
		end := run.At + geo.Metres(run.Plants-1)*run.Spacing
		if length := lengths[run.Part-1]; end > length+OnPart {
			in.Fault("", runOffPart.With(words.Args{"last": run.Last(), "end": tenths(end), "part": run.Part, "length": tenths(length)}))
			continue
		}
		runs, named = append(runs, run), append(named, fmt.Sprintf("places[%d]", i))
	}
	if len(r.Faults()) > before {
		return nil
	}
	order := make([]int, len(runs))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return runs[a].From - runs[b].From })
	sorted := make([]Run, 0, len(runs))
	for _, k := range order {
		if n := len(sorted); n > 0 && sorted[n-1].Last() >= runs[k].From {
			r.Fault(named[k], numberTwice.With(words.Args{"plant": runs[k].From}))
			return nil
		}
		sorted = append(sorted, runs[k])
	}
	if !r.Has("places") {
		return nil
	}
	return sorted
}

func readRun(in fields.Reader, parts int) Run {
	run := Run{Part: 1}
	if in.Need("from") {
		run.From, _ = in.Whole("from", 1, MaxPlants)
	}
	if in.Need("plants") {
		run.Plants, _ = in.Whole("plants", 1, MaxPlants)
	}
	if run.From > 0 && run.Last() > MaxPlants {
		in.Fault("plants", numberTooHigh.With(words.Args{"last": run.Last(), "limit": MaxPlants}))
	}
	if n, ok := in.Whole("part", 1, parts); ok {
		run.Part = n
	}
	if v := in.Number("at_m", 0, mostAlong); v != nil {
		run.At = geo.Metres(*v)
	}
	if run.Plants > 1 {
		in.Need("spacing_m")
	}
	run.Spacing = spacing(in, "spacing_m")
	return run
}

// tenths rounds for people.
func tenths(m geo.Metres) float64 { return math.Round(float64(m)*10) / 10 }

func replanted(r fields.Reader, plants int) []Replant {
	most := MaxPlants
	if plants > 0 {
		most = plants
	}
	seen := map[Replant]bool{}
	var out []Replant
	for in := range r.Each("replanted", MaxPlants) {
		was := len(r.Faults())
		var p Replant
		if in.Need("plant") {
			p.Plant, _ = in.Whole("plant", 1, most)
		}
		if in.Need("on") {
			p.On = date(in, "on")
		}
		switch {
		case len(r.Faults()) > was:
		case seen[p]:
			in.Fault("", missingTwice.With(words.Args{"plant": p.Plant}))
		default:
			seen[p] = true
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b Replant) int {
		return cmp.Or(cmp.Compare(a.Plant, b.Plant), cmp.Compare(a.On.String(), b.On.String()))
	})
	return out
}

// gone reads the places given up: none of them may still be one.
func gone(r fields.Reader, row Row) []Gone {
	most := MaxPlants
	if row.Plants > 0 {
		most = row.Plants
	}
	seen := map[int]bool{}
	var out []Gone
	for in := range r.Each("gone", MaxPlants) {
		was := len(r.Faults())
		var g Gone
		if in.Need("plant") {
			g.Plant, _ = in.Whole("plant", 1, most)
		}
		if in.Need("why") {
			g.Why = name(in, "why")
		}
		_, has := row.run(g.Plant)
		switch {
		case len(r.Faults()) > was:
		case has:
			in.Fault("plant", goneStill.With(words.Args{"plant": g.Plant}))
		case seen[g.Plant]:
			in.Fault("plant", missingTwice.With(words.Args{"plant": g.Plant}))
		default:
			seen[g.Plant] = true
			out = append(out, g)
		}
	}
	slices.SortFunc(out, func(a, b Gone) int { return a.Plant - b.Plant })
	return out
}

// missing reads the numbers of places without a plant; plants is 0 when the
// row's places were not counted.
func missing(r fields.Reader, plants int) []int {
	named := r.Ordinals("missing", MaxPlants, MaxPlants)
	most := MaxPlants
	if plants > 0 {
		most = plants
	}
	if len(named) > most {
		r.Fault("missing", missingTooMany.With(words.Args{"limit": most, "count": len(named)}))
		return nil
	}
	seen := make(map[int]bool, len(named))
	var numbers []int
	for i, n := range named {
		field := fmt.Sprintf("missing[%d]", i)
		switch {
		case n == 0: // at fault already
		case n > most:
			r.Fault(field, missingOutside.With(words.Args{"plant": n, "plants": most}))
		case seen[n]:
			r.Fault(field, missingTwice.With(words.Args{"plant": n}))
		default:
			seen[n] = true
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	return numbers
}

// Standing counts the places that hold a plant: none on a skipped strip. A row
// that was not counted has 0.
func (r Row) Standing() int {
	if r.Skipped {
		return 0
	}
	return max(0, r.Plants-len(r.Absent()))
}

// Absent gives the numbers from 1 to Plants at which no plant stands, ascending:
// missing ones and those whose place is gone. A skipped strip is not looked at.
func (r Row) Absent() []int {
	if r.Places == nil && len(r.Gone) == 0 {
		return r.Missing
	}
	absent := slices.Clone(r.Missing)
	for _, g := range r.Gone {
		absent = append(absent, g.Plant)
	}
	if r.Places != nil {
		next := 1
		for _, run := range r.Places {
			for ; next < run.From; next++ {
				absent = append(absent, next)
			}
			next = run.Last() + 1
		}
		for ; next <= r.Plants; next++ {
			absent = append(absent, next)
		}
	}
	slices.Sort(absent)
	return slices.Compact(absent)
}

// HasPlace reports whether the row has a place of this number. Of a row whose
// places were not counted nobody can say no: then every number from 1 has one.
func (r Row) HasPlace(plant int) bool {
	if plant < 1 || slices.ContainsFunc(r.Gone, func(g Gone) bool { return g.Plant == plant }) {
		return false
	}
	if r.Places == nil {
		return r.Plants == 0 || plant <= r.Plants
	}
	_, ok := r.run(plant)
	return ok
}

// run finds the run a number stands in, among Places.
func (r Row) run(plant int) (Run, bool) {
	i, found := slices.BinarySearchFunc(r.Places, plant, func(run Run, n int) int { return run.From - n })
	if found {
		return r.Places[i], true
	}
	if i > 0 && r.Places[i-1].Last() >= plant {
		return r.Places[i-1], true
	}
	return Run{}, false
}

// ReplantedOn is the last day a plant was set anew at a place; false when none was.
func (r Row) ReplantedOn(plant int) (Date, bool) {
	last, ok := Date{}, false
	for _, p := range r.Replanted {
		if p.Plant == plant {
			last, ok = p.On, true
		}
	}
	return last, ok
}
