package calc

import (
	"errors"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records/quantity"
	"caneward/records/stats"
)

var (
	sayPattern = words.New("calc-pattern",
		"pattern must be one of {known}; it is {given}.",
		"pattern debe ser uno de {known}; es {given}.")
	sayMethod = words.New("calc-method",
		"method must be one of {known}; it is {given}.",
		"method debe ser uno de {known}; es {given}.")
	sayDroplet = words.New("calc-droplet",
		"droplet must be one of {known}; it is {given}.",
		"droplet debe ser uno de {known}; es {given}.")
	sayNeedsForSpray = words.New("calc-spray-needs",
		"A spray needs {key} to tell the zone.",
		"Una pulverización necesita {key} para saber la zona.")
	sayCountOverSample = words.New("calc-count-over-sample",
		"{count} of {sample} cannot be: the count is larger than the sample.",
		"{count} de {sample} no puede ser: la cuenta es mayor que la muestra.")
	sayZone = words.New("calc-zone",
		"{zone} is no time zone of the IANA list, such as America/Chicago.",
		"{zone} no es una zona horaria de la lista IANA, como America/Chicago.")
	sayNoSuchHour = words.New("calc-no-such-hour",
		"{given} does not exist in {zone}: the clocks skipped it.",
		"{given} no existe en {zone}: los relojes saltaron esa hora.")
	sayWallClock = words.New("calc-wall-clock",
		"An hour change in between is not reckoned with; name the zone to have it counted.",
		"No se tiene en cuenta un cambio de hora intermedio; indique zone para contarlo.")
	sayElapsed = words.New("calc-elapsed",
		"Real hours in {zone}: an hour change neither shortens nor stretches it.",
		"Horas reales en {zone}: un cambio de hora ni lo acorta ni lo alarga.")
	sayOunceTaken = words.New("calc-ounce-taken",
		"oz was taken as {ounce}, as the other unit is {unit}.",
		"oz se tomó como {ounce}, pues la otra unidad es {unit}.")
	sayNoOunce = words.New("calc-no-ounce",
		"Nothing was rounded on the way.",
		"Nada se redondeó por el camino.")
)

// onKey puts a refusal of another package at one of our keys.
func onKey(name string, err error) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err
	}
	d := fault.Detail{Field: name, Text: f.Text}
	if len(f.Details) > 0 {
		d.Fix = f.Details[0].Fix
	}
	return fault.New(fault.Invalid, f.Text, d)
}

func refuse(name string, t words.Text) error {
	return fault.New(fault.Invalid, t, fault.Detail{Field: name, Text: t})
}

// choose finds a word among the known ones, hyphens, blanks and underscores
// alike.
func choose(name string, say words.Message, given string, known []string) (string, error) {
	plain := strings.ToLower(strings.NewReplacer("-", "_", " ", "_").Replace(given))
	for _, k := range known {
		if k == plain {
			return k, nil
		}
	}
	return "", refuse(name, say.With(words.Args{"known": strings.Join(known, ", "), "given": shorten(given)}))
}

// coveredPatterns are those whose record names the whole area.
var coveredPatterns = []string{"broadcast", "band", "alternate_middles", "wick"}

func areaCovered(in inputs) (result, error) {
	if _, err := choose("pattern", sayPattern, in.text("pattern"), coveredPatterns); err != nil {
		return result{}, err
	}
	return result{value: in.num("block_acres"), unit: "acre"}, nil
}

// droplets in rising size, ANSI/ASAE S572.
var droplets = []string{"extremely_fine", "very_fine", "fine", "medium", "coarse", "very_coarse", "extremely_coarse", "ultra_coarse"}

// methods with the distance the rule gives them whatever the droplet; -1 where
// droplet and height decide.
var methods = []struct {
	name string
	feet float64
}{
	{"aerial", 100}, {"airblast", 100}, {"air_propelled", 100}, {"fumigant", 100}, {"smoke", 100}, {"mist", 100}, {"fog", 100},
	{"spray", -1}, {"drench", 0}, {"drip", 0}, {"granular", 0}, {"wick", 0},
}

// The height above the soil over which a spray of medium or larger droplets
// has a zone of 25 ft.
const lowSprayInches = 12

func exclusionZone(in inputs) (result, error) {
	known := make([]string, len(methods))
	for i, m := range methods {
		known[i] = m.name
	}
	method, err := choose("method", sayMethod, in.text("method"), known)
	if err != nil {
		return result{}, err
	}
	droplet := ""
	if in.has("droplet") {
		if droplet, err = choose("droplet", sayDroplet, in.text("droplet"), droplets); err != nil {
			return result{}, err
		}
	}
	for _, m := range methods {
		if m.name == method && m.feet >= 0 {
			return result{value: m.feet, unit: "ft"}, nil
		}
	}
	if droplet == "" {
		return result{}, refuse("droplet", sayNeedsForSpray.With(words.Args{"key": "droplet"}))
	}
	switch droplet {
	case "extremely_fine", "very_fine", "fine":
		return result{value: 100.0, unit: "ft"}, nil
	}
	if !in.has("height_in") {
		return result{}, refuse("height_in", sayNeedsForSpray.With(words.Args{"key": "height_in"}))
	}
	if in.float("height_in") > lowSprayInches {
		return result{value: 25.0, unit: "ft"}, nil
	}
	return result{value: 0.0, unit: "ft"}, nil
}

func onDate(t time.Time) result { return result{value: t.Format(dateForm), unit: "date"} }

func onClock(t time.Time) result {
	form := localForm
	if t.Second() != 0 {
		form += ":05"
	}
	return result{value: t.Format(form), unit: "local time"}
}

// entryEnd adds the REI to the clock on the wall, or, with a zone, to the real
// time, so that a change to summer time does not shorten it.
func entryEnd(in inputs) (result, error) {
	ended := in.moment("ended")
	clock := sayWallClock.Plain()
	if in.has("zone") {
		name := in.text("zone")
		zone, err := time.LoadLocation(name)
		if err != nil || name == "Local" {
			return result{}, refuse("zone", sayZone.With(words.Args{"zone": shorten(name)}))
		}
		if ended, err = inZone(ended, zone); err != nil {
			return result{}, err
		}
		clock = sayElapsed.With(words.Args{"zone": name})
	}
	seconds := in.num("rei_h").Times(secondsPerHour).Float()
	r := onClock(ended.Add(time.Duration(seconds * float64(time.Second))).Round(time.Second))
	r.how = words.Args{"clock": clock}
	return r, nil
}

// inZone is the instant a wall clock showed. An hour that came twice is taken
// as the later one, which never ends an interval early; one that was skipped is
// refused.
func inZone(wall time.Time, zone *time.Location) (time.Time, error) {
	t := time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour(), wall.Minute(), wall.Second(), 0, zone)
	shows := func(t time.Time) bool { return t.Format(time.DateTime) == wall.Format(time.DateTime) }
	if !shows(t) {
		return t, refuse("ended", sayNoSuchHour.With(words.Args{"given": wall.Format(localForm), "zone": zone.String()}))
	}
	for _, change := range []time.Duration{2 * time.Hour, time.Hour, 30 * time.Minute} { // every size of hour change in use
		if shows(t.Add(change)) {
			return t.Add(change), nil
		}
	}
	return t, nil
}

func overSample(in inputs) error {
	if in.int("count") <= in.int("sample") {
		return nil
	}
	return refuse("count", sayCountOverSample.With(words.Args{"count": in.int("count"), "sample": in.int("sample")}))
}

func percentOf(in inputs) (result, error) {
	if err := overSample(in); err != nil {
		return result{}, err
	}
	lo, hi, err := stats.ClopperPearson(in.int("count"), in.int("sample"), 0.95)
	if err != nil {
		return result{}, err
	}
	return result{value: in.num("count").Over(in.num("sample")).Times(hundred), unit: "%", how: words.Args{
		"count": in.int("count"), "sample": in.int("sample"), "low": twoDigits(lo * 100), "high": twoDigits(hi * 100)}}, nil
}

// twoDigits is for reading only.
func twoDigits(v float64) float64 {
	return quantity.Decimal(v).Times(hundred).Plus(quantity.Decimal(0.5)).Floor().Over(hundred).Float()
}

func exactLimits(in inputs) (result, error) {
	if err := overSample(in); err != nil {
		return result{}, err
	}
	level := 0.95
	if in.has("level") {
		level = in.float("level")
	}
	lo, hi, err := stats.ClopperPearson(in.int("count"), in.int("sample"), level)
	if err != nil {
		return result{}, err
	}
	return result{value: [2]float64{lo * 100, hi * 100}, unit: "%"}, nil
}

func rateToRowFeet(in inputs) (result, error) {
	unit, out := in.text("unit"), in.text("unit")
	if in.has("out_unit") {
		out = in.text("out_unit")
	}
	from, to := settleOunce(unit, out), settleOunce(out, unit)
	if _, err := quantity.ParseAmountUnit(from); err != nil {
		return result{}, onKey("unit", err)
	}
	if _, err := quantity.ParseAmountUnit(to); err != nil {
		return result{}, onKey("out_unit", err)
	}
	factor, err := quantity.Convert(1, from, to)
	if err != nil {
		return result{}, onKey("out_unit", err)
	}
	value := in.num("rate_per_acre").Times(in.num("row_spacing_ft")).Times(thousand).Over(squareFeetPerAcre).Times(quantity.Decimal(factor))
	return result{value: value, unit: out + "/1000 row ft", how: words.Args{"ounce": ounceTaken(unit, out, from, to)}}, nil
}

func convert(in inputs) (result, error) {
	given, other := in.text("from"), in.text("to")
	from, to := settleOunce(given, other), settleOunce(other, given)
	if _, err := quantity.DimensionOf(from); err != nil {
		return result{}, onKey("from", err)
	}
	if _, err := quantity.DimensionOf(to); err != nil {
		return result{}, onKey("to", err)
	}
	value, err := quantity.Convert(in.float("value"), from, to)
	if err != nil {
		return result{}, onKey("to", err)
	}
	return result{value: value, unit: strings.ReplaceAll(other, "_per_", "/"), how: words.Args{"ounce": ounceTaken(given, other, from, to)}}, nil
}

// ounceTaken says which ounce a bare oz was read as, if one was.
func ounceTaken(given, other, from, to string) words.Text {
	switch {
	case from != given:
		return sayOunceTaken.With(words.Args{"ounce": from, "unit": to})
	case to != other:
		return sayOunceTaken.With(words.Args{"ounce": to, "unit": from})
	}
	return sayNoOunce.Plain()
}

// settleOunce reads a bare oz beside a unit that settles which ounce it is:
// beside a mass it is weight, beside a volume fluid. Anything else stays bare
// and is refused.
func settleOunce(unit, beside string) string {
	head, tail, quotient := strings.Cut(unit, "_per_")
	if head != "oz" {
		return unit
	}
	other, _, _ := strings.Cut(beside, "_per_")
	u, err := quantity.ParseUnit(other)
	if err != nil {
		return unit
	}
	switch u.Dimension() {
	case quantity.Mass:
		head = string(quantity.OunceWeight)
	case quantity.Volume:
		head = string(quantity.FluidOunce)
	}
	if quotient {
		head += "_per_" + tail
	}
	return head
}

// nozzleSlack is how far off the mean a nozzle may be, in percent, before it is
// replaced.
const nozzleSlack = 10

func nozzlesOff(in inputs) (result, error) {
	caught := in.list("caught")
	sum := quantity.Exact{}
	for _, v := range caught {
		sum = sum.Plus(quantity.Decimal(v))
	}
	mean := sum.Over(quantity.Whole(int64(len(caught))))
	if mean.Sign() == 0 {
		return result{}, refuse("caught", sayNothingCaught.Plain())
	}
	var off []string
	for i, v := range caught {
		apart := quantity.Decimal(v).Less(mean)
		if apart.Sign() < 0 {
			apart = mean.Less(quantity.Decimal(v))
		}
		if apart.Times(hundred).Less(mean.Times(quantity.Whole(nozzleSlack))).Sign() > 0 {
			off = append(off, strconv.Itoa(i+1))
		}
	}
	which := sayNoneOff.Plain()
	if len(off) > 0 {
		which = sayTheseOff.With(words.Args{"numbers": strings.Join(off, ", ")})
	}
	return result{value: float64(len(off)), unit: "nozzles", how: words.Args{"mean": twoDigits(mean.Float()), "which": which}}, nil
}

var (
	sayNothingCaught = words.New("calc-nothing-caught", "Nothing was caught of any nozzle.", "No se recogió nada de ninguna boquilla.")
	sayNoneOff       = words.New("calc-none-off", "None is farther off.", "Ninguna se desvía más.")
	sayTheseOff      = words.New("calc-these-off", "Clean or replace: {numbers}.", "Limpie o cambie: {numbers}.")
)
