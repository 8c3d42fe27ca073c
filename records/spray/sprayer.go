package spray

import (
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/calc"
	"caneward/records/quantity"
)

// SprayersDocument is the farm document that holds its sprayers.
const SprayersDocument records.DocumentName = "sprayers"

// Sprayer is a machine with how it puts spray out and what calibrating it gave.
type Sprayer struct {
	ID           string
	Name         string
	Method       Method
	Droplets     Droplets
	Height       *geo.Metres // of release above the soil
	Swath        geo.Metres  // 0 when not given
	Tank         *quantity.Amount
	Calibrations []Calibration // as given; see Latest
}

// Calibration is one measurement. With names the sum of records/calc that turns
// Inputs into the output.
type Calibration struct {
	On      time.Time // midnight UTC of the day
	With    string
	Inputs  map[string]any
	Nozzles []float64 // caught of each in the same time, all in one unit
	Note    string
}

// Calibrations lists the sums a calibration may use: an output an area each.
var Calibrations = []string{"gpa_5940", "gpa_ozmin", "gpa_caught", "gpa_refill", "lpha_600"}

// Bounds of the document.
const (
	maxSprayers     = 50
	maxCalibrations = 100 // kept of one sprayer
	maxNozzles      = 200
)

var (
	sayNotSprayers  = words.New("spray-not-sprayers", "The sprayers could not be taken: {count} thing(s) to mend, named below.", "Los pulverizadores no se pudieron guardar: {count} cosa(s) por corregir, nombradas abajo.")
	saySprayerID    = words.New("spray-sprayer-id", "A name of small letters, digits and hyphens that no other sprayer has.", "Un nombre de minúsculas, dígitos y guiones que no tenga otro pulverizador.")
	sayCalibrated   = words.New("spray-check-calibration", "{sprayer} put out {output} when it was calibrated on {on}; this job asks for {asked}.", "{sprayer} dio {output} al calibrarlo el {on}; este trabajo pide {asked}.")
	sayOutputOff    = words.New("spray-check-calibration-off", "{sprayer} put out {output} when it was calibrated on {on}; this job asks for {asked}, more than {percent} % off. What is mixed and what goes out would differ: change speed, nozzles or the draft, and calibrate again.", "{sprayer} dio {output} al calibrarlo el {on}; este trabajo pide {asked}, más de {percent} % de diferencia. Lo mezclado y lo aplicado no coincidirían: cambie velocidad, boquillas o el borrador, y calibre de nuevo.")
	sayOldOutput    = words.New("spray-check-calibration-old", "{sprayer} was last calibrated on {on}, more than a year before this job. Calibrate on each crop stage and nozzle change.", "{sprayer} se calibró por última vez el {on}, más de un año antes de este trabajo. Calibre en cada etapa del cultivo y al cambiar boquillas.")
	sayNeverDone    = words.New("spray-check-calibration-none", "No calibration of {sprayer} is recorded.", "No hay calibración registrada de {sprayer}.")
	sayWornNozzles  = words.New("spray-check-nozzles", "{sprayer}: nozzle(s) {numbers} were more than {percent} % off the mean on {on}; clean or replace them and calibrate again.", "{sprayer}: boquilla(s) {numbers} se desviaban más de {percent} % de la media el {on}; límpielas o cámbielas y calibre de nuevo.")
	sourceCalibrate = words.New("spray-source-calibration", "extension calibration guides by the 5,940 and 46.4 formulas; nozzles more than 10 % off the mean are replaced (state exam study page)", "guías de calibración de extensión con las fórmulas 5,940 y 46.4; se cambian las boquillas que se desvían más del 10 % de la media (página de estudio de examen estatal)").Plain()
)

var sprayerID = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// ParseSprayers reads the farm's document {"sprayers": [...]}. fault.Malformed for
// what is no JSON object, else fault.Invalid with every fault at its field.
func ParseSprayers(raw json.RawMessage) ([]Sprayer, error) {
	if _, err := wire.Canonical(raw); err != nil {
		return nil, fault.Wrap(fault.Malformed, err, sayCannotRead.With(words.Args{"problem": err.Error()}))
	}
	var faults []fault.Detail
	r := fields.Open(raw, "", &faults)
	r.Only("sprayers")
	var out []Sprayer
	for e := range r.Each("sprayers", maxSprayers) {
		s := readSprayer(e)
		if !sprayerID.MatchString(s.ID) || slices.ContainsFunc(out, func(o Sprayer) bool { return o.ID == s.ID }) {
			e.Fault("id", saySprayerID.Plain())
		}
		out = append(out, s)
	}
	if len(faults) > 0 {
		return nil, fault.New(fault.Invalid, sayNotSprayers.With(words.Args{"count": len(faults)}), faults...)
	}
	return out, nil
}

func readSprayer(e fields.Reader) Sprayer {
	e.Only("id", "name", "method", "droplets", "height_m", "swath_m", "tank", "calibrations")
	s := Sprayer{ID: e.Text("id"), Name: e.Text("name"), Method: fields.Choose(e, "method", Methods), Droplets: fields.Choose(e, "droplets", DropletClasses),
		Height: height(e), Swath: above(e, "swath_m", MaxSwath), Tank: volume(e, "tank")}
	e.Need("name")
	e.Need("method")
	for c := range e.Each("calibrations", maxCalibrations) {
		c.Only("on", "with", "inputs", "nozzles", "note")
		one := Calibration{On: c.Day("on"), With: fields.Choose(c, "with", Calibrations), Note: c.Text("note")}
		c.Need("on")
		c.Need("with")
		if c.Need("inputs") && json.Unmarshal(c.Raw("inputs"), &one.Inputs) != nil {
			c.Fault("inputs", sayCalibrationInputs.Plain())
		}
		for i, raw := range c.List("nozzles", maxNozzles) {
			var v float64
			if json.Unmarshal(raw, &v) != nil || !(v > 0 && v <= quantity.MaxValue) {
				c.Fault("nozzles["+itoa(i)+"]", sayAboveNil.With(words.Args{"high": quantity.MaxValue}))
			}
			one.Nozzles = append(one.Nozzles, v)
		}
		if one.With != "" && one.Inputs != nil {
			if _, err := one.Output(); err != nil {
				c.Adopt("inputs", err)
			}
		}
		s.Calibrations = append(s.Calibrations, one)
	}
	return s
}

var sayCalibrationInputs = words.New("spray-calibration-inputs", "The inputs of the sum are an object of numbers by name.", "Las entradas de la fórmula son un objeto de números por nombre.")

// mostHeight bounds how high spray is let go, metres: an aircraft's.
const mostHeight = 100

func height(r fields.Reader) *geo.Metres {
	m := r.Number("height_m", 0, mostHeight)
	if m == nil {
		return nil
	}
	h := geo.Metres(*m)
	return &h
}

// Output is what the calibration came to, per acre or hectare of the width
// sprayed. Errors as calc.Do's.
func (c Calibration) Output() (calc.Answer, error) { return calc.Do(c.With, c.Inputs) }

// Rate is the output as a rate of spray.
func (c Calibration) Rate() (quantity.Rate, bool) {
	a, err := c.Output()
	v, ok := a.Value.(float64)
	if err != nil || !ok {
		return quantity.Rate{}, false
	}
	unit, per := quantity.Gallon, quantity.PerAcre
	if a.Unit == "L/ha" {
		unit, per = quantity.Litre, quantity.PerHectare
	}
	return quantity.Rate{Amount: quantity.Amount{Value: v, Unit: unit}, Per: per}, true
}

// nozzleSlack is how far a nozzle may be off the mean, in percent, before it is
// replaced.
const nozzleSlack = 10

// Worn are the numbers of the nozzles, from 1, more than nozzleSlack off the mean,
// and the mean.
func (c Calibration) Worn() (mean float64, numbers []int) {
	if len(c.Nozzles) == 0 {
		return 0, nil
	}
	for _, v := range c.Nozzles {
		mean += v / float64(len(c.Nozzles))
	}
	for i, v := range c.Nozzles {
		if math.Abs(v-mean) > mean*nozzleSlack/100*capSlack {
			numbers = append(numbers, i+1)
		}
	}
	return mean, numbers
}

// Latest is the last calibration on or before a day; the last of all for no day.
func (s Sprayer) Latest(day time.Time) (Calibration, bool) {
	var best Calibration
	for _, c := range s.Calibrations {
		if (day.IsZero() || !c.On.After(day)) && !c.On.Before(best.On) {
			best = c
		}
	}
	return best, best.With != ""
}

// Use takes the sprayer the request names from the farm's; what the request itself
// says of method, droplets and height outranks it. false when there is none.
func (q *Request) Use(sprayers []Sprayer) bool {
	for _, s := range sprayers {
		if s.ID != q.SprayerID {
			continue
		}
		q.Sprayer = &s
		if q.Method == "" {
			q.Method = s.Method
		}
		if q.Droplets == "" {
			q.Droplets = s.Droplets
		}
		if q.Height == nil {
			q.Height = s.Height
		}
		return true
	}
	return false
}

// JSON is the sprayer's calibrations worked out, as they travel beside the
// document: by sprayer, in its order.
func (s Sprayer) JSON(l words.Language) map[string]any {
	list := []any{}
	for _, c := range s.Calibrations {
		one := map[string]any{"on": c.On.Format(time.DateOnly), "with": c.With}
		if a, err := c.Output(); err == nil {
			one["output"] = map[string]any{"value": a.Value, "unit": a.Unit, "formula": a.Formula, "source": a.Source, "how": a.How.In(l)}
		}
		if mean, worn := c.Worn(); len(c.Nozzles) > 0 {
			one["nozzles"] = map[string]any{"mean": mean, "off": append([]int{}, worn...), "percent": nozzleSlack}
		}
		list = append(list, one)
	}
	return map[string]any{"id": s.ID, "name": s.Name, "calibrations": list}
}

// outputSlack is how far the job may be off the calibrated output, in percent.
const outputSlack = 10

// checkSprayer holds the job against the machine chosen for it.
func (d *drafter) checkSprayer() {
	s := d.request.Sprayer
	if s == nil {
		return
	}
	c, ok := s.Latest(d.today())
	args := words.Args{"sprayer": s.Name, "percent": outputSlack, "on": c.On.Format(time.DateOnly)}
	if !ok {
		d.say("calibration", Caution, sayNeverDone.With(args), sourceCalibrate)
		return
	}
	if today := d.today(); !today.IsZero() && today.After(c.On.AddDate(1, 0, 0)) {
		d.say("calibration", Caution, sayOldOutput.With(args), sourceCalibrate)
	}
	if _, worn := c.Worn(); len(worn) > 0 {
		args["numbers"] = numbersOf(worn)
		d.say("nozzles", Caution, sayWornNozzles.With(args), sourceCalibrate)
	}
	out, known := c.Rate()
	asked := d.request.Carrier
	if asked == nil || !known {
		return
	}
	output, same := out.As(asked.Unit, asked.Per)
	if !same {
		return
	}
	args["output"], args["asked"] = shown(output, *asked), shown(asked.Value, *asked)
	say, verdict := sayCalibrated, OK
	if math.Abs(output-asked.Value) > asked.Value*outputSlack/100*capSlack {
		say, verdict = sayOutputOff, Caution
	}
	d.add(Check{Rule: "calibration", Answer: verdict, Why: say.With(args), Source: sourceCalibrate,
		Measured: &Measured{Value: output, Limit: asked.Value, Unit: string(asked.Unit) + "/" + string(asked.Per)}})
}

func numbersOf(list []int) string {
	out := ""
	for i, n := range list {
		if i > 0 {
			out += ", "
		}
		out += itoa(n)
	}
	return out
}
