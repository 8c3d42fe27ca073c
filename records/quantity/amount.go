package quantity

import (
	"bytes"
	"encoding/json"
	"math"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Amount is so much of something: {"value": 12, "unit": "fl_oz"}.
type Amount struct {
	Value float64 `json:"value"`
	Unit  Unit    `json:"unit"`
}

var (
	sayAmountShape = words.New("quantity-amount-shape",
		`An amount is written {"value": 12, "unit": "fl_oz"}.`,
		`Una cantidad se escribe {"value": 12, "unit": "fl_oz"}.`)
	sayValueMissing = words.New("quantity-value-missing",
		"The value is missing.",
		"Falta el valor.")
	sayNegative = words.New("quantity-negative",
		"An amount cannot be below 0; this one is {value}.",
		"Una cantidad no puede ser menor que 0; esta es {value}.")
	sayUnknownKey = words.New("quantity-unknown-key",
		"{key} is not part of an amount or a rate.",
		"{key} no forma parte de una cantidad ni de una dosis.")
)

// In is the same amount in another unit of its dimension, exactly, rounded
// once. Another dimension is fault.Invalid.
func (a Amount) In(u Unit) (Amount, error) {
	v, err := Convert(a.Value, string(a.Unit), string(u))
	return Amount{Value: v, Unit: u}, err
}

// SI is the amount in kilograms, litres or pieces.
func (a Amount) SI() Amount {
	unit := Each
	switch a.Unit.Dimension() {
	case Mass:
		unit = Kilogram
	case Volume:
		unit = Litre
	}
	d := definitions[a.Unit]
	return Amount{Value: Decimal(a.Value).Times(d.size).Over(definitions[unit].size).Float(), Unit: unit}
}

// UnmarshalJSON reads {"value", "unit"}: both there, nothing else, the value
// finite and not below 0, the unit a mass, a volume or a count. Refusals are
// *fault.Error whose details name the member ("value", "unit").
func (a *Amount) UnmarshalJSON(b []byte) error {
	members, err := readMembers(b, sayAmountShape.Plain(), "value", "unit")
	if err != nil {
		return err
	}
	value, unit, details := valueAndUnit(members)
	if len(details) > 0 {
		return fault.New(fault.Invalid, details[0].Text, details...)
	}
	*a = Amount{Value: value, Unit: unit}
	return nil
}

// readMembers reads an object that may hold the given members only.
func readMembers(b []byte, shape words.Text, names ...string) (map[string]json.RawMessage, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(b, &members); err != nil || members == nil {
		return nil, fault.New(fault.Invalid, shape, fault.Detail{Text: shape})
	}
	known := map[string]bool{}
	for _, n := range names {
		known[n] = true
	}
	var details []fault.Detail
	for key := range members {
		if !known[key] {
			details = append(details, fault.Detail{Field: shorten(key), Text: sayUnknownKey.With(words.Args{"key": shorten(key)}), Fix: shape})
		}
	}
	if len(details) > 0 {
		return nil, fault.New(fault.Invalid, details[0].Text, details...)
	}
	return members, nil
}

func valueAndUnit(members map[string]json.RawMessage) (float64, Unit, []fault.Detail) {
	var details []fault.Detail
	value, text := readValue(members["value"])
	if !text.Empty() {
		details = append(details, fault.Detail{Field: "value", Text: text, Fix: sayAmountShape.Plain()})
	}
	unit, err := readUnit(members["unit"])
	if err != nil {
		details = append(details, asDetail("unit", err))
	}
	return value, unit, details
}

func readValue(raw json.RawMessage) (float64, words.Text) {
	if len(raw) == 0 || bytes.Equal(raw, []byte("null")) {
		return 0, sayValueMissing.Plain()
	}
	var v float64
	if err := json.Unmarshal(raw, &v); err != nil || math.Abs(v) > MaxValue {
		return 0, sayNotFinite.With(words.Args{"most": MaxValue})
	}
	if v < 0 {
		return 0, sayNegative.With(words.Args{"value": v})
	}
	return v, words.Text{}
}

func readUnit(raw json.RawMessage) (Unit, error) {
	var key string
	if len(raw) > 0 {
		if err := json.Unmarshal(raw, &key); err != nil {
			return "", unknown(string(raw), known(Mass, Volume, Count))
		}
	}
	return ParseAmountUnit(key)
}

// asDetail carries a refusal over into a detail of a larger one.
func asDetail(field string, err error) fault.Detail {
	e := err.(*fault.Error) // every refusal of this package is one
	d := fault.Detail{Field: field, Text: e.Text}
	if len(e.Details) > 0 {
		d.Fix = e.Details[0].Fix
	}
	return d
}
