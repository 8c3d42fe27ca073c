package quantity

import (
	"bytes"
	"encoding/json"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
)

// Per is the base of a rate as the label prints it.
type Per string

// The bases. Areas are treated areas; 100gal is of finished spray; 1000ft is
// of row.
const (
	PerAcre    Per = "acre"
	PerHectare Per = "ha"
	Per100Gal  Per = "100gal"
	Per100L    Per = "100L"
	Per1000Ft  Per = "1000ft"
	Per1000M   Per = "1000m"
	PerPlant   Per = "plant"

	// As some labels print it for bands; acre and ha are treated areas all the same.
	PerTreatedAcre    Per = "treated-acre"
	PerTreatedHectare Per = "treated-ha"
	// PerSpray goes with Percent: so much of each hundred of finished spray.
	PerSpray Per = "spray"
)

// Pers lists the bases, in the order they are named to people.
var Pers = []Per{PerAcre, PerTreatedAcre, PerHectare, PerTreatedHectare, Per100Gal, Per100L, Per1000Ft, Per1000M, PerPlant, PerSpray}

// Base is what a rate multiplies with.
type Base string

// The bases of a job: its treated area, its volume of spray, its length of
// row, its plants.
const (
	TreatedArea Base = "area"
	SprayVolume Base = "spray"
	RowLength   Base = "row"
	Plants      Base = "plants"
)

// perSizes: one "per" in square metres, cubic metres, metres, plants.
var perSizes = map[Per]struct {
	base Base
	size Exact
}{
	PerAcre:    {TreatedArea, definitions[Acre].size},
	PerHectare: {TreatedArea, definitions[Hectare].size},
	Per100Gal:  {SprayVolume, definitions[Gallon].size.Times(Whole(100))},
	Per100L:    {SprayVolume, definitions[Litre].size.Times(Whole(100))},
	Per1000Ft:  {RowLength, definitions[Foot].size.Times(Whole(1000))},
	Per1000M:   {RowLength, Whole(1000)},
	PerPlant:   {Plants, Whole(1)},

	PerTreatedAcre:    {TreatedArea, definitions[Acre].size},
	PerTreatedHectare: {TreatedArea, definitions[Hectare].size},
	PerSpray:          {SprayVolume, Whole(1)},
}

// Base is what the rate is per: area, spray, row or plants.
func (p Per) Base() Base { return perSizes[p].base }

// Rate is an amount per something: {"value": 12, "unit": "fl_oz", "per": "acre"}.
type Rate struct {
	Amount
	Per Per `json:"per"`
}

var (
	sayRateShape = words.New("quantity-rate-shape",
		`A rate is written {"value": 12, "unit": "fl_oz", "per": "acre"}.`,
		`Una dosis se escribe {"value": 12, "unit": "fl_oz", "per": "acre"}.`)
	sayPer = words.New("quantity-unknown-per",
		"A rate needs to say per what: one of {known}.",
		"La dosis debe decir por qué medida: una de {known}.")
	sayPercent = words.New("quantity-rate-percent",
		`percent goes with per "spray", and spray with percent: {"value": 0.25, "unit": "percent", "per": "spray"}, at most 100.`,
		`percent va con per "spray", y spray con percent: {"value": 0.25, "unit": "percent", "per": "spray"}, como máximo 100.`)
	sayNotAbove = words.New("quantity-rate-not-above",
		"A rate must be above 0.",
		"La dosis debe ser mayor que 0.")
)

// ParsePer reads a base exactly; fault.Invalid names the known ones.
func ParsePer(key string) (Per, error) {
	if _, ok := perSizes[Per(key)]; ok {
		return Per(key), nil
	}
	names := make([]string, len(Pers))
	for i, p := range Pers {
		names[i] = string(p)
	}
	return "", fault.New(fault.Invalid, sayPer.With(words.Args{"known": strings.Join(names, ", ")}))
}

// UnmarshalJSON reads {"value", "unit", "per"}: all there, nothing else, the
// value above 0. Refusals are *fault.Error whose details name the member.
func (r *Rate) UnmarshalJSON(b []byte) error {
	members, err := readMembers(b, sayRateShape.Plain(), "value", "unit", "per")
	if err != nil {
		return err
	}
	percent := string(bytes.TrimSpace(members["unit"])) == `"percent"`
	if percent {
		members["unit"] = json.RawMessage(`"mL"`) // so that the value is judged as any volume's
	}
	value, unit, details := valueAndUnit(members)
	if percent {
		unit = Percent
	}
	if len(details) == 0 && value == 0 {
		details = append(details, fault.Detail{Field: "value", Text: sayNotAbove.Plain()})
	}
	var key string
	if raw := members["per"]; len(raw) > 0 {
		_ = json.Unmarshal(raw, &key) // what is no string stays empty, which ParsePer refuses
	}
	per, err := ParsePer(key)
	if err != nil {
		details = append(details, asDetail("per", err))
	}
	if len(details) == 0 && (percent != (per == PerSpray) || percent && value > 100) {
		details = append(details, fault.Detail{Field: "unit", Text: sayPercent.Plain()})
	}
	if len(details) > 0 {
		return fault.New(fault.Invalid, details[0].Text, details...)
	}
	*r = Rate{Amount: Amount{Value: value, Unit: unit}, Per: per}
	return nil
}

// Job is what rates multiply with. A base that is not known is nil.
type Job struct {
	Area   *geo.SquareMetres // treated
	Spray  *Amount           // total volume of finished spray
	Row    *geo.Metres       // length of row treated
	Plants *int
}

// Total is the rate times its base, in the rate's own unit, percent in that of
// the spray: exact in fractions over the decimals given, rounded once to the nearest
// float64, never up to a measure. ok is false when the job does not know the base.
func (r Rate) Total(j Job) (total Amount, ok bool) {
	v, ok := r.ExactTotal(j)
	return Amount{Value: v.Float(), Unit: r.TotalUnit(j)}, ok
}

// TotalUnit is the unit of the rate's total.
func (r Rate) TotalUnit(j Job) Unit {
	if r.Unit == Percent && j.Spray != nil {
		return j.Spray.Unit
	}
	return r.Unit
}

// ExactTotal is Total before it is rounded.
func (r Rate) ExactTotal(j Job) (Exact, bool) {
	base, ok := j.base(r.Per.Base())
	if !ok {
		return Exact{}, false
	}
	if r.Unit == Percent {
		return Decimal(j.Spray.Value).Times(Decimal(r.Value)).Over(Whole(100)), true
	}
	return base.Over(perSizes[r.Per].size).Times(Decimal(r.Value)), true
}

func (j Job) base(b Base) (Exact, bool) {
	switch {
	case b == TreatedArea && j.Area != nil:
		return Decimal(float64(*j.Area)), true
	case b == SprayVolume && j.Spray != nil:
		return Decimal(j.Spray.Value).Times(definitions[j.Spray.Unit].size), true
	case b == RowLength && j.Row != nil:
		return Decimal(float64(*j.Row)), true
	case b == Plants && j.Plants != nil:
		return Whole(int64(*j.Plants)), true
	}
	return Exact{}, false
}

// As is the rate's value in another unit and base: 1 lb per acre is 16 oz_wt
// per acre. ok is false where dimension or kind of base differ: an acre is no
// length of row.
func (r Rate) As(u Unit, p Per) (value float64, ok bool) {
	from, to := perSizes[r.Per], perSizes[p]
	if r.Unit == Percent || u == Percent {
		return r.asPercent(u, p)
	}
	if r.Unit.Dimension() != u.Dimension() || from.base != to.base {
		return 0, false
	}
	return Decimal(r.Value).Times(r.Unit.Size()).Over(u.Size()).Times(to.size).Over(from.size).Float(), true
}

// asPercent is As where one of the units is percent: 2 gal per 100gal is 2 %.
func (r Rate) asPercent(u Unit, p Per) (float64, bool) {
	share := Decimal(r.Value).Over(Whole(100))
	switch {
	case r.Unit == Percent && u == Percent:
		return r.Value, true
	case r.Unit == Percent && u.Dimension() == Volume && p.Base() == SprayVolume:
		return share.Times(perSizes[p].size).Over(u.Size()).Float(), true
	case u == Percent && r.Unit.Dimension() == Volume && r.Per.Base() == SprayVolume:
		return share.Times(Whole(10_000)).Times(r.Unit.Size()).Over(perSizes[r.Per].size).Float(), true
	}
	return 0, false
}
