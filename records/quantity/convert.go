package quantity

import (
	"math"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// MaxValue bounds every value read: far above any real amount, far below where
// numbers lose their units' digits.
const MaxValue = 1e12

const perSign = "_per_"

// Convert turns a value from one unit key into another, exactly, rounded once
// to the nearest float64. Keys may be quotients, "fl_oz_per_acre" to
// "mL_per_ha"; "mph" is "mi_per_h". Temperatures convert as readings, not as
// differences. Different dimensions, unknown keys and values that are not
// finite or above MaxValue are fault.Invalid.
func Convert(value float64, from, to string) (float64, error) {
	if math.IsNaN(value) || math.Abs(value) > MaxValue {
		return 0, fault.New(fault.Invalid, sayNotFinite.With(words.Args{"most": MaxValue}))
	}
	a, err := defined(from)
	if err != nil {
		return 0, err
	}
	b, err := defined(to)
	if err != nil {
		return 0, err
	}
	if a.dimension != b.dimension {
		return 0, fault.New(fault.Invalid, sayNotConvertible.With(words.Args{
			"from": from, "to": to, "fromWhat": a.dimension.Text(), "toWhat": b.dimension.Text()}))
	}
	return Decimal(value).Times(a.size).Plus(a.zero).Less(b.zero).Over(b.size).Float(), nil
}

// DimensionOf is what a key, single or a quotient, measures; quotients read
// "mass/area". Unknown keys are fault.Invalid.
func DimensionOf(key string) (Dimension, error) {
	d, err := defined(key)
	return d.dimension, err
}

func defined(key string) (definition, error) {
	if d, ok := definitions[Unit(key)]; ok {
		return d, nil
	}
	upper, lower, quotient := strings.Cut(key, perSign)
	if !quotient {
		return definition{}, unknown(key, strings.Join(append(allKeys(), "A"+perSign+"B"), ", "))
	}
	a, err := single(upper)
	if err != nil {
		return definition{}, err
	}
	b, err := single(lower)
	if err != nil {
		return definition{}, err
	}
	d := definition{dimension: a.dimension + "/" + b.dimension, size: a.size.Over(b.size)}
	if a.dimension == Length && b.dimension == Time {
		d.dimension = Speed
	}
	return d, nil
}

// single is a unit that may stand in a quotient: one whose zero is nothing.
func single(key string) (definition, error) {
	d, ok := definitions[Unit(key)]
	if !ok || d.dimension == Temperature {
		return definition{}, unknown(key, strings.Join(allKeys(), ", "))
	}
	return d, nil
}

func allKeys() []string {
	var keys []string
	for _, d := range []Dimension{Mass, Volume, Count, Area, Length, Time, Speed, Pressure, Temperature} {
		keys = append(keys, keysOf(d)...)
	}
	return keys
}
