// Package quantity is amounts and rates as labels print them: units by exact
// key, conversions by definition, totals kept in the label's own unit.
//
// Ounces of weight and fluid ounces are different units; US and imperial
// gallons are too. Nothing here guesses.
package quantity

import (
	"sort"
	"strings"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

// Dimension is what a unit measures. Units of one dimension convert into each
// other, and no others do.
type Dimension string

// The dimensions of single units.
const (
	Mass        Dimension = "mass"
	Volume      Dimension = "volume"
	Count       Dimension = "count"
	Area        Dimension = "area"
	Length      Dimension = "length"
	Time        Dimension = "time"
	Speed       Dimension = "speed"
	Pressure    Dimension = "pressure"
	Temperature Dimension = "temperature"
)

// Unit is the exact key of a unit as it travels: "fl_oz", "oz_wt", "L". The
// set is closed; ParseUnit is the way in.
type Unit string

// The units amounts of product and spray come in.
const (
	Milligram     Unit = "mg"
	Gram          Unit = "g"
	Kilogram      Unit = "kg"
	Tonne         Unit = "t"
	OunceWeight   Unit = "oz_wt"
	Pound         Unit = "lb"
	ShortTon      Unit = "short_ton"
	Millilitre    Unit = "mL"
	Litre         Unit = "L"
	CubicMetre    Unit = "m3"
	FluidOunce    Unit = "fl_oz"
	Pint          Unit = "pt"
	Quart         Unit = "qt"
	Gallon        Unit = "gal"
	ImpFluidOunce Unit = "imp_fl_oz"
	ImpPint       Unit = "imp_pt"
	ImpQuart      Unit = "imp_qt"
	ImpGallon     Unit = "imp_gal"
	Each          Unit = "each"
)

// Percent is the unit of a rate by volume of spray, as labels print it for spot
// work: a rate's unit only, never an amount's. Its total is in the unit of the
// spray.
const Percent Unit = "percent"

// The other units the service converts.
const (
	SquareMetre    Unit = "m2"
	Hectare        Unit = "ha"
	Acre           Unit = "acre"
	SquareFoot     Unit = "ft2"
	USSurveyAcre   Unit = "us_survey_acre"
	Millimetre     Unit = "mm"
	Centimetre     Unit = "cm"
	Metre          Unit = "m"
	Kilometre      Unit = "km"
	Inch           Unit = "in"
	Foot           Unit = "ft"
	Yard           Unit = "yd"
	Mile           Unit = "mi"
	USSurveyFoot   Unit = "us_survey_ft"
	Second         Unit = "s"
	Minute         Unit = "min"
	Hour           Unit = "h"
	Day            Unit = "day"
	MilePerHour    Unit = "mph"
	Kilopascal     Unit = "kPa"
	Bar            Unit = "bar"
	PoundPerSqInch Unit = "psi"
	Celsius        Unit = "C"
	Fahrenheit     Unit = "F"
)

// definition ties a unit to the SI unit of its dimension: SI = size x value +
// zero.
type definition struct {
	dimension Dimension
	size      Exact
	zero      Exact
}

func of(d Dimension, size string) definition {
	return definition{dimension: d, size: fraction(size)}
}

// All exact by definition. Foot and pound: 1959 agreement, 0.3048 m and
// 0.45359237 kg (85 FR 62698 retires the survey foot of 1200/3937 m). US gallon:
// 231 cubic inches (NIST Handbook 44, Appendix C; edition from memory). Imperial
// gallon: 4.54609 L (UK Units of Measurement Regulations 1995, from memory).
// Pound per square inch: 0.45359237 kg x 9.80665 m/s2 over 0.0254 m squared.
// Bases: kg, m3, m2, m, s, m/s, Pa, K.
var definitions = map[Unit]definition{
	Milligram:     of(Mass, "1/1000000"),
	Gram:          of(Mass, "1/1000"),
	Kilogram:      of(Mass, "1"),
	Tonne:         of(Mass, "1000"),
	OunceWeight:   of(Mass, "0.028349523125"),
	Pound:         of(Mass, "0.45359237"),
	ShortTon:      of(Mass, "907.18474"),
	Millilitre:    of(Volume, "1/1000000"),
	Litre:         of(Volume, "1/1000"),
	CubicMetre:    of(Volume, "1"),
	FluidOunce:    of(Volume, "0.0000295735295625"),
	Pint:          of(Volume, "0.000473176473"),
	Quart:         of(Volume, "0.000946352946"),
	Gallon:        of(Volume, "0.003785411784"),
	ImpFluidOunce: of(Volume, "0.0000284130625"),
	ImpPint:       of(Volume, "0.00056826125"),
	ImpQuart:      of(Volume, "0.0011365225"),
	ImpGallon:     of(Volume, "0.00454609"),
	Each:          of(Count, "1"),

	SquareMetre:  of(Area, "1"),
	Hectare:      of(Area, "10000"),
	Acre:         of(Area, "4046.8564224"),
	SquareFoot:   of(Area, "0.09290304"),
	USSurveyAcre: {dimension: Area, size: fraction("1200/3937").Times(fraction("1200/3937")).Times(fraction("43560"))},

	Millimetre:   of(Length, "1/1000"),
	Centimetre:   of(Length, "1/100"),
	Metre:        of(Length, "1"),
	Kilometre:    of(Length, "1000"),
	Inch:         of(Length, "0.0254"),
	Foot:         of(Length, "0.3048"),
	Yard:         of(Length, "0.9144"),
	Mile:         of(Length, "1609.344"),
	USSurveyFoot: of(Length, "1200/3937"),

	Second: of(Time, "1"),
	Minute: of(Time, "60"),
	Hour:   of(Time, "3600"),
	Day:    of(Time, "86400"),

	MilePerHour: of(Speed, "0.44704"),

	Kilopascal:     of(Pressure, "1000"),
	Bar:            of(Pressure, "100000"),
	PoundPerSqInch: {dimension: Pressure, size: fraction("0.45359237").Times(fraction("9.80665")).Over(fraction("0.00064516"))},

	Celsius:    {dimension: Temperature, size: fraction("1"), zero: fraction("273.15")},
	Fahrenheit: {dimension: Temperature, size: fraction("5/9"), zero: fraction("45967/180")},
}

// bareOunce is the key nobody may guess at.
const bareOunce = "oz"

// What this package says.
var (
	sayBareOunce = words.New("quantity-bare-ounce",
		"oz alone may be weight or volume; write oz_wt for ounces of weight or fl_oz for fluid ounces.",
		"oz sola puede ser peso o volumen; escriba oz_wt para onzas de peso o fl_oz para onzas líquidas.")
	sayUnknownUnit = words.New("quantity-unknown-unit",
		"{unit} is no unit known here. Known: {known}.",
		"{unit} no es una unidad conocida aquí. Conocidas: {known}.")
	sayUnitMissing = words.New("quantity-unit-missing",
		"A number without a unit says nothing. Known units: {known}.",
		"Un número sin unidad no dice nada. Unidades conocidas: {known}.")
	sayNearUnit = words.New("quantity-near-unit",
		"Write {near}.",
		"Escriba {near}.")
	sayNotConvertible = words.New("quantity-not-convertible",
		"{from} measures {fromWhat}, {to} measures {toWhat}; one cannot become the other.",
		"{from} mide {fromWhat} y {to} mide {toWhat}; una no puede convertirse en la otra.")
	sayNotFinite = words.New("quantity-not-finite",
		"The value must be a number, {most} at most.",
		"El valor debe ser un número, {most} como máximo.")
	sayOtherWhat = words.New("quantity-other-dimension",
		"{unit} measures {what}; an amount here is a mass, a volume or a count. Known: {known}.",
		"{unit} mide {what}; aquí una cantidad es una masa, un volumen o un número. Conocidas: {known}.")

	dimensionWords = map[Dimension]words.Message{
		Mass:        words.New("quantity-mass", "mass", "masa"),
		Volume:      words.New("quantity-volume", "volume", "volumen"),
		Count:       words.New("quantity-count", "a count", "un número"),
		Area:        words.New("quantity-area", "area", "superficie"),
		Length:      words.New("quantity-length", "length", "longitud"),
		Time:        words.New("quantity-time", "time", "tiempo"),
		Speed:       words.New("quantity-speed", "speed", "velocidad"),
		Pressure:    words.New("quantity-pressure", "pressure", "presión"),
		Temperature: words.New("quantity-temperature", "temperature", "temperatura"),
	}
	dimensionPer = words.New("quantity-per", "{what} per {per}", "{what} por {per}")
)

// Text names the dimension for people.
func (d Dimension) Text() words.Text {
	if m, ok := dimensionWords[d]; ok {
		return m.Plain()
	}
	if what, per, ok := strings.Cut(string(d), "/"); ok {
		return dimensionPer.With(words.Args{"what": Dimension(what).Text(), "per": Dimension(per).Text()})
	}
	return words.Verbatim(string(d))
}

// ParseUnit reads the key of a single unit exactly: case counts, "mL" is not
// "ml". A bare "oz", an empty key and an unknown one are fault.Invalid.
func ParseUnit(key string) (Unit, error) {
	if _, ok := definitions[Unit(key)]; ok {
		return Unit(key), nil
	}
	return "", unknown(key, known(Mass, Volume, Count))
}

// ParseAmountUnit is ParseUnit for amounts of product or spray: a mass, a
// volume or a count.
func ParseAmountUnit(key string) (Unit, error) {
	u, err := ParseUnit(key)
	if err != nil {
		return "", err
	}
	switch d := u.Dimension(); d {
	case Mass, Volume, Count:
		return u, nil
	default:
		return "", fault.New(fault.Invalid, sayOtherWhat.With(words.Args{"unit": key, "what": d.Text(), "known": known(Mass, Volume, Count)}))
	}
}

// ParseVolumeUnit is ParseUnit for volumes of spray.
func ParseVolumeUnit(key string) (Unit, error) {
	u, err := ParseUnit(key)
	if err != nil {
		return "", err
	}
	if u.Dimension() != Volume {
		return "", fault.New(fault.Invalid, sayNotVolume.With(words.Args{"unit": key, "known": known(Volume)}))
	}
	return u, nil
}

var sayNotVolume = words.New("quantity-not-volume",
	"{unit} is no volume; spray is measured in {known}.",
	"{unit} no es un volumen; el caldo se mide en {known}.")

// Printed is the unit as people read it: "fl oz", "oz wt".
func (u Unit) Printed() string { return strings.ReplaceAll(string(u), "_", " ") }

// Dimension is what the unit measures.
func (u Unit) Dimension() Dimension { return definitions[u].dimension }

// Size is one of the unit in kilograms, cubic metres, pieces, square metres,
// metres, seconds, metres a second, pascals or kelvins.
func (u Unit) Size() Exact { return definitions[u].size }

// maxKey keeps what somebody sent from filling the message that refuses it.
const maxKey = 40

func shorten(key string) string {
	if len(key) > maxKey {
		return strings.ToValidUTF8(key[:maxKey], "") + "..."
	}
	return key
}

func unknown(key, names string) error {
	switch {
	case key == "":
		return fault.New(fault.Invalid, sayUnitMissing.With(words.Args{"known": names}))
	case strings.EqualFold(key, bareOunce):
		return fault.New(fault.Invalid, sayBareOunce.Plain())
	}
	e := fault.New(fault.Invalid, sayUnknownUnit.With(words.Args{"unit": shorten(key), "known": names}))
	if near := sameButCase(key); near != "" {
		e.Details = []fault.Detail{{Text: e.Text, Fix: sayNearUnit.With(words.Args{"near": string(near)})}}
	}
	return e
}

func sameButCase(key string) Unit {
	plain := strings.NewReplacer(" ", "_", "-", "_", ".", "").Replace(key)
	var found []string
	for u := range definitions {
		if strings.EqualFold(plain, string(u)) {
			found = append(found, string(u))
		}
	}
	if len(found) == 0 {
		return ""
	}
	sort.Strings(found)
	return Unit(found[0])
}

// Units lists the units of some dimensions, in order of dimension and size.
func Units(of ...Dimension) (units []Unit) {
	for _, d := range of {
		for _, key := range keysOf(d) {
			units = append(units, Unit(key))
		}
	}
	return units
}

// known lists the keys of some dimensions, in order of dimension and size.
func known(of ...Dimension) string {
	var keys []string
	for _, d := range of {
		keys = append(keys, keysOf(d)...)
	}
	return strings.Join(keys, ", ")
}

func keysOf(d Dimension) []string {
	var units []Unit
	for u, def := range definitions {
		if def.dimension == d {
			units = append(units, u)
		}
	}
	sort.Slice(units, func(i, j int) bool {
		if c := definitions[units[i]].size.Compare(definitions[units[j]].size); c != 0 {
			return c < 0
		}
		return units[i] < units[j]
	})
	keys := make([]string, len(units))
	for i, u := range units {
		keys[i] = string(u)
	}
	return keys
}
