package spray

import (
	"encoding/json"
	"math"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/quantity"
)

// Areas are the sizes a job has. They differ, and each has its use: Treated
// sets the product, Covered is what the record of a restricted-use product
// names, Withheld lies inside a setback. All are given to AreaStep.
type Areas struct {
	Outline  geo.SquareMetres `json:"outline_m2"`  // the chosen blocks, ground they share counted once
	Planted  geo.SquareMetres `json:"planted_m2"`  // their rows times the row spacing; the outline where no rows are laid out
	Treated  geo.SquareMetres `json:"treated_m2"`  // ground that gets spray
	Covered  geo.SquareMetres `json:"covered_m2"`  // ground passed over, unsprayed middles included
	Withheld geo.SquareMetres `json:"withheld_m2"` // chosen ground inside a setback
	Overlap  geo.SquareMetres `json:"overlap_m2"`  // ground chosen twice, counted once above
}

func (a *Areas) members() map[string]*geo.SquareMetres {
	return map[string]*geo.SquareMetres{"outline_m2": &a.Outline, "planted_m2": &a.Planted, "treated_m2": &a.Treated,
		"covered_m2": &a.Covered, "withheld_m2": &a.Withheld, "overlap_m2": &a.Overlap}
}

func (a *Areas) add(b Areas) {
	a.Outline += b.Outline
	a.Planted += b.Planted
	a.Treated += b.Treated
	a.Covered += b.Covered
	a.Withheld += b.Withheld
	a.Overlap += b.Overlap
}

// rounded brings every area to AreaStep.
func (a Areas) rounded() Areas {
	for _, v := range a.members() {
		*v = step(*v)
	}
	return a
}

// AreaStep is how fine areas are given: a square centimetre, so that totals
// can be worked out again from the areas shown.
const AreaStep geo.SquareMetres = 1e-4

// step rounds without leaving binary crumbs.
func step(a geo.SquareMetres) geo.SquareMetres {
	steps := quantity.Whole(10_000)
	return geo.SquareMetres(quantity.Decimal(float64(a)).Times(steps).Plus(quantity.Decimal(0.5)).Floor().Over(steps).Float())
}

// Total is how much of one product the job takes, in the unit of its rate.
type Total struct {
	Product string // id of the record, or the name typed
	Name    string
	Amount  quantity.Amount
	SI      quantity.Amount // kilograms, litres or pieces
	Rate    *quantity.Rate  // of the product, where another of an ingredient was asked
}

// Dose is how much of one product goes into one tank.
type Dose struct {
	Product string
	Name    string
	Amount  quantity.Amount
}

// Tanks is how the spray is mixed. Nothing is rounded up.
type Tanks struct {
	Full   int
	Last   quantity.Amount // in the last, short tank; 0 when the full ones come out even
	Each   []Dose          // in each full tank; none when there is none
	InLast []Dose          // none when there is no last tank
}

// Distance is how near a block comes to one of its surroundings.
type Distance struct {
	Block   records.ID // "" for an area without block
	To      string
	Kind    string
	M       geo.Metres // from the outline; 0 when it touches or lies on it
	Nearest Nearest    // of the outline
	// Treated is the same from the ground that is treated; nil where that lies
	// farther than closeReach, or nothing is treated.
	Treated *Clearance
	ByEye   bool
	Line    geo.Metres // how far the drawn line may lie off; 0 when nobody said
}

// Nearest are the two places a distance was measured between.
type Nearest struct{ Ground, Feature geo.Position }

// Clearance is a distance achieved.
type Clearance struct {
	M       geo.Metres
	Nearest Nearest
}

// FeetDown rounds a clearance down to whole feet, as it is shown to people.
func (c Clearance) FeetDown() int { return int(math.Floor(c.M.Feet() + clearanceSlack)) }

// clearanceSlack keeps 50 ft typed and kept from reading as 49 for binary dust.
const clearanceSlack = 1e-9

func (d Distance) treated() *geo.Metres {
	if d.Treated == nil {
		return nil
	}
	return &d.Treated.M
}

// Check is one thing looked at.
type Check struct {
	Rule   string
	Answer Verdict
	Why    words.Text
	Source words.Text

	Measured *Measured        // the figure it hangs on; nil where it is none
	Block    records.ID       // where it binds most; "" for the whole job
	At       *geo.Position    // the place of the worst point; nil where there is none
	Ground   orb.MultiPolygon // all of the ground it is about
	Area     geo.SquareMetres // of that
	Share    float64          // of the ground treated, 0 to 1
	Passes   []records.ID     // earlier passes at the worst point
}

// Measured is a figure beside its limit.
type Measured struct {
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	Unit  string  `json:"unit"`
}

// Verdict is what a check comes to. OK says that this one thing was looked at
// and nothing was found; it is no leave to spray.
type Verdict string

// The verdicts.
const (
	OK      Verdict = "ok"
	Caution Verdict = "caution"
	Stop    Verdict = "stop"
)

// Figure says how one figure came about.
type Figure struct {
	Figure  string // "areas.treated_m2"
	Formula words.Text
	Inputs  map[string]any
	Source  words.Text
}

// BlockPart is one block's share of the job.
type BlockPart struct {
	Block records.ID // "" for an area without block
	Areas Areas
}

// Answer is a draft worked out.
type Answer struct {
	Areas     Areas
	Parts     []BlockPart
	Treated   orb.MultiPolygon // ground that gets spray; see How where only bands of it do
	Withheld  orb.MultiPolygon
	RowLength *geo.Metres // of the rows treated; nil when not known
	Plants    *int        // in the ground treated; nil when not known
	Distances []Distance
	Totals    []Total
	Carrier   *quantity.Amount
	Tanks     *Tanks
	Checks    []Check
	How       []Figure
	Exclusion *Exclusion   // nil where no zone is kept, or none could be told
	Mixing    []words.Text // in which order; none without products
	Labels    []Kept       // as they stood, in the order of the products
	// FirstHarvest and EntryFrom are zero when not known.
	FirstHarvest time.Time
	EntryFrom    time.Time
}

// Stopped reports whether any check says stop.
func (a Answer) Stopped() bool {
	for _, c := range a.Checks {
		if c.Answer == Stop {
			return true
		}
	}
	return false
}

type totalJSON struct {
	Product string           `json:"product"`
	Name    string           `json:"name,omitempty"`
	Amount  quantity.Amount  `json:"amount"`
	SI      *quantity.Amount `json:"exact_si,omitempty"`
	Rate    *quantity.Rate   `json:"rate,omitempty"`
}

type tanksJSON struct {
	Full   int             `json:"full"`
	Last   quantity.Amount `json:"last"`
	Each   []totalJSON     `json:"each"`
	InLast []totalJSON     `json:"in_last"`
}

type nearestJSON struct {
	Ground  geo.Position `json:"ground"`
	Feature geo.Position `json:"feature"`
}

type clearanceJSON struct {
	M       float64     `json:"m"`
	Feet    int         `json:"feet_down"`
	Nearest nearestJSON `json:"nearest"`
}

type distanceJSON struct {
	Block   records.ID     `json:"block,omitempty"`
	To      string         `json:"to"`
	Kind    string         `json:"kind"`
	M       float64        `json:"m"`
	Nearest nearestJSON    `json:"nearest"`
	Treated *clearanceJSON `json:"treated,omitempty"`
	ByEye   bool           `json:"drawn_by_eye,omitempty"`
	Line    float64        `json:"line_accuracy_m,omitempty"`
}

type checkJSON struct {
	Rule     string          `json:"rule"`
	Answer   Verdict         `json:"answer"`
	Why      string          `json:"why"`
	Source   string          `json:"source"`
	Measured *Measured       `json:"measured,omitempty"`
	Block    records.ID      `json:"block,omitempty"`
	At       *geo.Position   `json:"at,omitempty"`
	Ground   json.RawMessage `json:"ground,omitempty"`
	Area     float64         `json:"area_m2,omitempty"`
	Share    float64         `json:"share,omitempty"`
	Passes   []records.ID    `json:"passes,omitempty"`
}

type exclusionJSON struct {
	Distance float64         `json:"distance_m"`
	Ground   json.RawMessage `json:"ground"`
	Beyond   *float64        `json:"beyond_m2,omitempty"` // absent where no boundary is recorded as ground
	Within   []string        `json:"within"`
}

type figureJSON struct {
	Figure  string         `json:"figure"`
	Formula string         `json:"formula"`
	Inputs  map[string]any `json:"inputs,omitempty"`
	Source  string         `json:"source"`
}

type partJSON struct {
	Block records.ID `json:"block,omitempty"`
	Areas Areas      `json:"areas"`
}

type answerJSON struct {
	Areas        Areas            `json:"areas"`
	Parts        []partJSON       `json:"parts"`
	Treated      json.RawMessage  `json:"treated"`
	Withheld     json.RawMessage  `json:"withheld"`
	RowLength    *geo.Metres      `json:"row_length_m,omitempty"`
	Plants       *int             `json:"plants,omitempty"`
	Distances    []distanceJSON   `json:"distances"`
	Totals       []totalJSON      `json:"totals"`
	Carrier      *quantity.Amount `json:"carrier,omitempty"`
	Tanks        *tanksJSON       `json:"tanks,omitempty"`
	FirstHarvest string           `json:"first_harvest_on,omitempty"`
	EntryFrom    string           `json:"entry_from,omitempty"`
	Checks       []checkJSON      `json:"checks"`
	How          []figureJSON     `json:"how"`
	Exclusion    *exclusionJSON   `json:"exclusion,omitempty"`
	Mixing       []string         `json:"mixing,omitempty"`
	Labels       []Kept           `json:"labels,omitempty"`
}

// Encode writes the answer as it travels, checks in the language given. Ground
// that is none is null.
func (a Answer) Encode(l words.Language) (json.RawMessage, error) {
	treated, err := wire.EncodeGround(a.Treated)
	if err != nil {
		return nil, err
	}
	withheld, err := wire.EncodeGround(a.Withheld)
	if err != nil {
		return nil, err
	}
	out := answerJSON{Areas: a.Areas, Parts: []partJSON{}, Treated: treated, Withheld: withheld, RowLength: a.RowLength, Plants: a.Plants,
		Distances: []distanceJSON{}, Totals: totalsJSON(a.Totals), Carrier: a.Carrier, Checks: []checkJSON{}, How: []figureJSON{}}
	for _, p := range a.Parts {
		out.Parts = append(out.Parts, partJSON(p))
	}
	for _, d := range a.Distances {
		out.Distances = append(out.Distances, d.json())
	}
	if t := a.Tanks; t != nil {
		out.Tanks = &tanksJSON{Full: t.Full, Last: t.Last, Each: dosesJSON(t.Each), InLast: dosesJSON(t.InLast)}
	}
	if !a.FirstHarvest.IsZero() {
		out.FirstHarvest = a.FirstHarvest.Format(time.DateOnly)
	}
	if !a.EntryFrom.IsZero() {
		out.EntryFrom = a.EntryFrom.Format(time.RFC3339)
	}
	for _, c := range a.Checks {
		one, err := c.json(l)
		if err != nil {
			return nil, err
		}
		out.Checks = append(out.Checks, one)
	}
	if z := a.Exclusion; z != nil {
		ground, err := wire.EncodeGround(z.Ground)
		if err != nil {
			return nil, err
		}
		out.Exclusion = &exclusionJSON{Distance: float64(z.Distance), Ground: ground, Beyond: (*float64)(z.Beyond), Within: append([]string{}, z.Within...)}
	}
	for _, t := range a.Mixing {
		out.Mixing = append(out.Mixing, t.In(l))
	}
	out.Labels = a.Labels
	for _, f := range a.How {
		out.How = append(out.How, figureJSON{Figure: f.Figure, Formula: f.Formula.In(l), Inputs: f.Inputs, Source: f.Source.In(l)})
	}
	return json.Marshal(out)
}

func (d Distance) json() distanceJSON {
	out := distanceJSON{Block: d.Block, To: d.To, Kind: d.Kind, M: float64(d.M), Nearest: nearestJSON(d.Nearest), ByEye: d.ByEye, Line: float64(d.Line)}
	if c := d.Treated; c != nil {
		out.Treated = &clearanceJSON{M: float64(c.M), Feet: c.FeetDown(), Nearest: nearestJSON(c.Nearest)}
	}
	return out
}

func (c Check) json(l words.Language) (checkJSON, error) {
	out := checkJSON{Rule: c.Rule, Answer: c.Answer, Why: c.Why.In(l), Source: c.Source.In(l), Measured: c.Measured, Block: c.Block, At: c.At,
		Area: float64(step(c.Area)), Share: c.Share, Passes: c.Passes}
	if len(c.Ground) == 0 {
		return out, nil
	}
	var err error
	out.Ground, err = wire.EncodeGround(c.Ground)
	return out, err
}

func totalsJSON(totals []Total) []totalJSON {
	out := []totalJSON{}
	for _, t := range totals {
		si := t.SI
		out = append(out, totalJSON{Product: t.Product, Name: t.Name, Amount: t.Amount, SI: &si, Rate: t.Rate})
	}
	return out
}

func dosesJSON(doses []Dose) []totalJSON {
	out := []totalJSON{}
	for _, d := range doses {
		out = append(out, totalJSON{Product: d.Product, Name: d.Name, Amount: d.Amount})
	}
	return out
}

// Freeze is the figures a pass keeps when it is applied, as properties of its
// record: areas, totals, row_length_m, plants, carrier_total, and the labels it
// was made with. Its ground,
// Treated, belongs into the record's geometry. Later edits of blocks and labels
// never change them.
func Freeze(a Answer) (json.RawMessage, error) {
	return json.Marshal(struct {
		Areas     Areas            `json:"areas"`
		Totals    []totalJSON      `json:"totals"`
		RowLength *geo.Metres      `json:"row_length_m,omitempty"`
		Plants    *int             `json:"plants,omitempty"`
		Carrier   *quantity.Amount `json:"carrier_total,omitempty"`
		Labels    []Kept           `json:"labels,omitempty"`
	}{a.Areas, totalsJSON(a.Totals), a.RowLength, a.Plants, a.Carrier, a.Labels})
}
