// Package hotspot turns finds, and the record of where somebody looked, into
// groups of infected plants, a list of what to remove and what to look at
// again, and a test of whether a place is worse than chance would make it.
//
// It works in rows and plant numbers, with metres derived from them: a pin is
// off by more than a row, a typed row and number is not. Groups are density
// clusters with an ellipse along the row (geo/cluster). Whether a place has a
// higher rate is asked of the plants inspected, by the Bernoulli scan statistic
// (Kulldorff 1997, Communications in Statistics 26:1481) with row-aligned
// ellipses (Kulldorff and others 2006, Statistics in Medicine 25:3929) and a
// Monte Carlo p over the whole search. Without a record of effort there is no p.
//
// A hot spot is where finds cluster among places looked at. It is no
// diagnosis, and the list is a proposal for an adviser: no published margin
// exists.
package hotspot

import (
	"context"
	"math"
	"slices"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
	"caneward/records/scouting"
)

// Plant is a plant by its row and its number in the row, both from 1.
type Plant = scouting.Place

func byRow(a, b Plant) int {
	if a.Row != b.Row {
		return a.Row - b.Row
	}
	return a.Plant - b.Plant
}

// Find is one find as the analysis needs it.
type Find struct {
	ID    records.ID // empty for finds that are no records
	Plant Plant      // a zero row or plant: not resolved
	Cause scouting.Cause
	State scouting.State
	At    time.Time     // zero when unknown
	Pin   *geo.Position // nil without one
}

// Row is one row of the block as far as it is known.
type Row struct {
	Number  int
	Plants  int   // places, missing ones included; 0: not counted
	Missing []int // places without a plant
	// Breaks are the numbers of plants that stand first after a cut in the row,
	// such as a pond: their number is next, they are not.
	Breaks []int
}

// Removal is a plant already taken out.
type Removal struct {
	Plant Plant
	On    time.Time
}

// Input is one block. Finds of other blocks must not be among it.
type Input struct {
	RowSpacing, PlantSpacing geo.Metres
	// Rows empty means that nobody laid them out: then any row and plant from 1
	// upward is taken to exist.
	Rows  []Row
	Finds []Find
	// Inspected are the plants somebody looked at, found or not. Plants that do
	// not stand are passed over.
	Inspected []Plant
	// NoEffort, when not empty, says why Inspected cannot be relied on; then no
	// rate and no p is given.
	NoEffort words.Text
	Removed  []Removal
	// Regrown are plants taken out that were seen to have come back, and when.
	Regrown []Removal
	// Replanted is the last day another plant was set at a place: finds before it
	// are of the plant that stood there.
	Replanted map[Plant]time.Time
	// Counts are what was counted rather than found, such as galls on canes.
	Counts []Counted
	// Placed are positions in metres, X along the rows and Y across; nil takes
	// plant number times plant spacing and row number times row spacing.
	Placed map[Plant]plane.XY
	// Surveyed says that Placed come from drawn rows, good to a centimetre.
	Surveyed bool
	// Where are positions on the ground, for the hull alone; may be nil.
	Where map[Plant]geo.Position
	// Notes are what the reader of the input took for granted; they come back
	// among the cautions.
	Notes []words.Text
}

// Group is one group of infected plants.
type Group struct {
	Number int // from 0, by first plant in row and plant order
	Finds  []Plant
	Core   int   // how many of them are core
	Hull   *Hull // picture only; nil without positions
	// Window is the index in Scan of the best window that shares plants with
	// the group; -1 for none.
	Window int
}

// List is what the analysis proposes, each part in row and plant order. No
// plant stands in two parts. Plants that do not stand are in none.
type List struct {
	Confirmed []Plant // every confirmed plant, clustered or not
	Between   []Plant // unconfirmed, between confirmed ones of a group in a row
	Margin    []Plant // on each side of the confirmed ones of a group in a row
	Inspect   []Plant // to be looked at again
}

// Label is what became of one input find.
type Label struct {
	Find  Find
	Group int // -1: in none
	// Unresolved says why the find could not be tied to a plant; such a find is
	// never grouped and never listed.
	Unresolved words.Text
}

// Analysis is the answer. The hull, the windows and the list say where to look
// and what to talk about; they are no diagnosis.
type Analysis struct {
	Settings  Settings
	Inspected int // plants looked at
	Infected  int // plants with a find of the causes and states asked for
	// Counted is how many of the infected are among the inspected: finds made
	// outside any recorded effort have no denominator and enter no rate.
	Counted  int
	Groups   []Group
	Isolated []Plant
	Labels   []Label // per input find
	Scan     []Window
	Runs     []RowRuns
	List     List
	// Gone are infected plants that no longer stand: removed, and not found
	// again since, marked missing, or another plant set in their place.
	Gone []Plant
	// WhyNoP is why no p is given; empty when there is one.
	WhyNoP words.Text
	// Rate is of the infected among the inspected plants of the block.
	Rate Rate
	// States counts standing plants of the causes by the firmest state of their
	// finds; refuted ones are none.
	States map[scouting.State]int
	// Standing is how many plants the block has; nil where its rows are not counted.
	Standing *int
	// Unseen is how many of those nobody recorded having looked at: nothing is
	// known of them. Nil as Standing.
	Unseen *int
	// Choices are what may be taken out, with what each would cost; none when
	// nothing is confirmed.
	Choices []Choice
	// WhyNoList is why nothing is listed for removal; empty when something is.
	WhyNoList words.Text
	Smoothed  *Smoothed // nil when not asked for
	Counts    []CountScan
	Surveyed  bool
	Cautions  []words.Text
}

// MaxFinds bounds one analysis: a hundred scouts' season.
const MaxFinds = 200_000

var (
	tooManyFinds = words.New("hotspot-too-many-finds",
		"At most {limit} finds are analysed at once; this has {count}.",
		"Se analizan como máximo {limit} hallazgos a la vez; este pedido tiene {count}.")
	noSpacings = words.New("hotspot-no-spacings",
		"Distances between plants are not known: the block has no row spacing or no plant spacing, and its rows are not drawn.",
		"No se conocen las distancias entre plantas: el bloque no tiene distancia entre hileras o entre plantas, y sus hileras no están dibujadas.")
	fixSpacings = words.New("hotspot-fix-spacings",
		"Give the block row_spacing_m and plant_spacing_m.",
		"Dé al bloque row_spacing_m y plant_spacing_m.")
	noRowOrPlant = words.New("hotspot-no-row-or-plant",
		"The find has no row and plant; a pin alone does not tell which row.",
		"El hallazgo no tiene hilera y planta; un punto solo no dice qué hilera es.")
	notStandingThere = words.New("hotspot-no-such-plant",
		"The block has no row {row} with a plant {plant}.",
		"El bloque no tiene una hilera {row} con una planta {plant}.")
	crowded = words.New("hotspot-crowded",
		"These finds crowd too closely for these distances to be grouped in time. Use shorter along_m and across_m.",
		"Estos hallazgos están demasiado juntos para agruparlos a tiempo con estas distancias. Use along_m y across_m más cortos.")
)

// infected is a plant with finds of the causes asked for.
type infected struct {
	plant     Plant
	selected  bool           // has a find in a state asked for
	confirmed bool           // the plant that stands there now
	former    bool           // of the finds that count some are of a plant that stood there before
	now       bool           // and some of the one that stands there
	firmest   scouting.State // of its finds that count, refuted ones aside
	latest    time.Time      // of its finds
	group     int
	core      bool
}

// study is one analysis under way.
type study struct {
	in       Input
	set      Settings
	rows     map[int]*Row
	missing  map[Plant]bool
	removed  map[Plant]time.Time
	regrown  map[Plant]time.Time
	infected map[Plant]*infected
	selected []*infected // in row and plant order
	labels   []Label
	standing []Plant // every plant that stands, in row and plant order; nil where the rows are not counted
}

// Analyse does all of it. The settings must be valid (Options.Settings makes
// them). Errors: fault.TooLarge, fault.Invalid when distances are not known,
// fault.TooCostly when a scan that was asked for by name would take too long or
// plants crowd together, and the context's.
func Analyse(ctx context.Context, in Input, set Settings) (Analysis, error) {
	if len(in.Finds) > MaxFinds {
		return Analysis{}, fault.New(fault.TooLarge, tooManyFinds.With(words.Args{"limit": MaxFinds, "count": len(in.Finds)}))
	}
	if in.Placed == nil && !(in.RowSpacing > 0 && in.PlantSpacing > 0) {
		return Analysis{}, fault.New(fault.Invalid, noSpacings.Plain(), fault.Detail{Field: "block", Text: noSpacings.Plain(), Fix: fixSpacings.Plain()})
	}
	s := newStudy(in, set)
	s.resolve()
	s.standing = s.allStanding()
	a := Analysis{Settings: set, Labels: s.labels, Surveyed: in.Surveyed}
	if err := s.group(ctx, &a); err != nil {
		return Analysis{}, err
	}
	if err := s.list(&a); err != nil {
		return Analysis{}, err
	}
	var err error
	effort := s.effort()
	a.Inspected, a.Infected = len(effort), len(s.selected)
	for _, p := range effort {
		if s.sick(p) {
			a.Counted++
		}
	}
	if a.Rate, err = rateOf(a.Counted, a.Inspected); err != nil {
		return Analysis{}, err
	}
	if err := s.choose(effort, &a); err != nil {
		return Analysis{}, err
	}
	if err := s.smooth(ctx, effort, &a); err != nil {
		return Analysis{}, err
	}
	if err := s.countScans(ctx, &a); err != nil {
		return Analysis{}, err
	}
	a.Runs = s.runs(effort)
	if err := s.scan(ctx, effort, &a); err != nil {
		return Analysis{}, err
	}
	a.Cautions = s.cautions()
	return a, nil
}

func newStudy(in Input, set Settings) *study {
	s := &study{in: in, set: set, rows: map[int]*Row{}, missing: map[Plant]bool{}, removed: map[Plant]time.Time{}, regrown: map[Plant]time.Time{}, infected: map[Plant]*infected{}}
	for i, row := range in.Rows {
		s.rows[row.Number] = &in.Rows[i]
		for _, n := range row.Missing {
			s.missing[Plant{Row: row.Number, Plant: n}] = true
		}
	}
	for _, r := range in.Removed {
		if on, seen := s.removed[r.Plant]; !seen || r.On.After(on) {
			s.removed[r.Plant] = r.On
		}
	}
	for _, r := range in.Regrown {
		if r.On.After(s.regrown[r.Plant]) {
			s.regrown[r.Plant] = r.On
		}
	}
	return s
}

// exists is whether the block has this place, planted or not.
func (s *study) exists(p Plant) bool {
	if p.Row < 1 || p.Plant < 1 {
		return false
	}
	if s.in.Placed != nil {
		if _, ok := s.in.Placed[p]; !ok {
			return false
		}
	}
	if len(s.rows) == 0 {
		return true
	}
	row, ok := s.rows[p.Row]
	return ok && (row.Plants == 0 || p.Plant <= row.Plants)
}

// cameBack is whether a plant was seen to have come back since it was last taken
// out, and no other set there meanwhile.
func (s *study) cameBack(p Plant) bool {
	back, seen := s.regrown[p]
	on, gone := s.removed[p]
	return seen && gone && !back.Before(on) && s.in.Replanted[p].Before(on)
}

// stands is whether a plant stands there now. A find after a removal is
// regrowth, as is a look that saw some: the plant stands again, though its place
// be marked as empty.
func (s *study) stands(p Plant) bool {
	if !s.exists(p) {
		return false
	}
	if s.cameBack(p) {
		return true
	}
	if s.missing[p] {
		return false
	}
	on, gone := s.removed[p]
	if anew, ok := s.in.Replanted[p]; !gone || ok && !anew.Before(on) {
		return true
	}
	i := s.infected[p]
	// A find of the day itself is why the plant went.
	return i != nil && day(i.latest).After(on)
}

func (s *study) sick(p Plant) bool {
	i := s.infected[p]
	return i != nil && i.selected
}

// resolve ties the finds to plants.
func (s *study) resolve() {
	s.labels = make([]Label, len(s.in.Finds))
	for k, f := range s.in.Finds {
		s.labels[k] = Label{Find: f, Group: -1}
		switch {
		case !slices.Contains(s.set.Causes, f.Cause):
			continue
		case f.Plant.Row < 1 || f.Plant.Plant < 1:
			s.labels[k].Unresolved = noRowOrPlant.Plain()
			continue
		case !s.exists(f.Plant):
			s.labels[k].Unresolved = notStandingThere.With(words.Args{"row": f.Plant.Row, "plant": f.Plant.Plant})
			continue
		}
		i := s.infected[f.Plant]
		if i == nil {
			i = &infected{plant: f.Plant, group: -1}
			s.infected[f.Plant] = i
		}
		counts := slices.Contains(s.set.States, f.State)
		i.selected = i.selected || counts
		if day(f.At).Before(s.in.Replanted[f.Plant]) {
			i.former = i.former || counts
			continue
		}
		i.confirmed = i.confirmed || f.State == scouting.Confirmed
		i.firmest = firmer(i.firmest, f.State)
		if f.At.After(i.latest) && f.State != scouting.Refuted {
			i.latest = f.At
		}
	}
	for _, i := range s.infected {
		if i.selected {
			s.selected = append(s.selected, i)
		}
	}
	slices.SortFunc(s.selected, func(a, b *infected) int { return byRow(a.plant, b.plant) })
}

// firmness orders states; a refuted find says nothing of the plant.
var firmness = map[scouting.State]int{scouting.Suspected: 1, scouting.Sampled: 2, scouting.Confirmed: 3}

func firmer(a, b scouting.State) scouting.State {
	if firmness[b] > firmness[a] {
		return b
	}
	return a
}

// xy places a plant in metres, X along the rows.
func (s *study) xy(p Plant) plane.XY {
	if s.in.Placed != nil {
		return s.in.Placed[p]
	}
	return plane.XY{X: float64(p.Plant) * float64(s.in.PlantSpacing), Y: float64(p.Row) * float64(s.in.RowSpacing)}
}

// effort is the inspected plants that exist, each once, in order.
func (s *study) effort() []Plant {
	if !s.in.NoEffort.Empty() {
		return nil
	}
	plants := slices.Clone(s.in.Inspected)
	plants = slices.DeleteFunc(plants, func(p Plant) bool { return !s.exists(p) || s.missing[p] && !s.sick(p) })
	slices.SortFunc(plants, byRow)
	return slices.Compact(plants)
}

func finite(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }
