package hotspot

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/scouting"
)

// Defaults. They are judgement (research note, section 4), shown with every
// answer and the adviser's to change.
const (
	defaultAlong        = 3.5  // plant spacings: 3 to 4
	defaultAcross       = 1.07 // row spacings: just over one
	defaultMinFinds     = 3
	defaultGapPlants    = 3
	defaultMarginPlants = 0 // "look again" comes before "dig"
	defaultInspectRows  = 1
	defaultCap          = 0.25
	defaultMinCases     = 3
	defaultReplicates   = 999
	defaultSeed         = 1
)

var defaultShapes = []float64{1, 2, 4}

// Bounds of the settings, far beyond any use; they bound the cost.
const (
	maxReach      = 1000 // m
	maxMinFinds   = 10_000
	maxPlants     = 1000
	maxRows       = 1000
	maxShapes     = 6
	maxShape      = 20
	maxCap        = 0.5
	maxReplicates = 9999
	maxSeed       = 1 << 53 // the largest run of whole numbers JSON carries everywhere
)

// Options are what a request or a command line asks for; nil takes the default.
type Options struct {
	Causes       []scouting.Cause
	States       []scouting.State
	Along        *geo.Metres
	Across       *geo.Metres
	MinFinds     *int
	GapPlants    *int
	MarginPlants *int
	InspectRows  *int
	// SectionLimit is the adviser's own: the share of confirmed among inspected
	// plants beyond which a whole section may go. There is no usual one.
	SectionLimit *float64
	Smooth       *bool
	Scan         ScanOptions
}

// ScanOptions are those of the scan.
type ScanOptions struct {
	Shapes     []float64
	Cap        *float64
	MinCases   *int
	Replicates *int
	Seed       *uint64
}

// asked is whether any of them was given.
func (o ScanOptions) asked() bool {
	return o.Shapes != nil || o.Cap != nil || o.MinCases != nil || o.Replicates != nil || o.Seed != nil
}

// Settings are options with nothing left open.
type Settings struct {
	Causes        []scouting.Cause
	States        []scouting.State
	Along, Across geo.Metres // half axes of a plant's neighbourhood
	MinFinds      int        // infected plants in it, itself counted, that make a core
	GapPlants     int        // most places between two confirmed plants that count as between
	MarginPlants  int
	InspectRows   int
	SectionLimit  *float64 // nil for none
	Smooth        bool     // whether the picture of the smoothed rate is wanted
	Scan          Scan
}

// Scan are the settings of the scan.
type Scan struct {
	Shapes     []float64 // half axis along the row over half axis across, each
	Cap        float64   // most of the inspected plants in one window, as a share
	MinCases   int
	Replicates int
	Seed       uint64
	Asked      bool // named in the request: then a cost that is too high is refused, not passed over
	Patient    bool // may take a minute or two: run by hand, not by a server
}

var (
	badSettings = words.New("hotspot-bad-settings",
		"These settings cannot be used: {count} thing(s) to mend, named below.",
		"Estos ajustes no se pueden usar: {count} cosa(s) por corregir, nombradas abajo.")
	outside = words.New("hotspot-outside",
		"A number from {low} to {high} is expected; this is {value}.",
		"Se espera un número de {low} a {high}; este es {value}.")
	aboveNothing = words.New("hotspot-above-nothing",
		"A number above 0, at most {high}, is expected; this is {value}.",
		"Se espera un número mayor que 0, como máximo {high}; este es {value}.")
	betweenNothingAndAll = words.New("hotspot-between-nothing-and-all",
		"A share above 0 and below 1 is expected; this is {value}.",
		"Se espera una parte mayor que 0 y menor que 1; esta es {value}.")
	reachUnknown = words.New("hotspot-reach-unknown",
		"This is needed: the block's spacing, from which it would follow, is not known.",
		"Esto hace falta: no se conoce la distancia del bloque de la que se deduciría.")
	shapesCount = words.New("hotspot-shapes-count",
		"From 1 to {limit} shapes are expected; this has {count}.",
		"Se esperan de 1 a {limit} formas; este pedido tiene {count}.")
	shapeTwice = words.New("hotspot-shape-twice", "The shape {value} stands twice.", "La forma {value} está dos veces.")
	noneOf     = words.New("hotspot-none-of", "“{value}” is none of: {values}.", "«{value}» no es ninguno de estos: {values}.")
	refutedNot = words.New("hotspot-refuted-not",
		"Refuted finds are no cases; ask for suspected, sampled or confirmed ones.",
		"Los hallazgos descartados no son casos; pida sospechados, con muestra o confirmados.")
	emptyChoice = words.New("hotspot-empty-choice",
		"At least one is needed; leave the field out for the usual.",
		"Hace falta al menos uno; omita el campo para lo habitual.")
)

// checker gathers faults of settings by field.
type checker struct{ faults []fault.Detail }

func (c *checker) fault(field string, text words.Text) {
	c.faults = append(c.faults, fault.Detail{Field: field, Text: text})
}

func (c *checker) whole(field string, given *int, otherwise, low, high int) int {
	if given == nil {
		return otherwise
	}
	if *given < low || *given > high {
		c.fault(field, outside.With(words.Args{"low": low, "high": high, "value": *given}))
	}
	return *given
}

func (c *checker) reach(field string, given *geo.Metres, spacing geo.Metres, spacings float64) geo.Metres {
	if given == nil {
		if !(spacing > 0) {
			c.fault(field, reachUnknown.Plain())
		}
		return geo.Metres(spacings * float64(spacing))
	}
	if !(*given > 0 && *given <= maxReach) {
		c.fault(field, aboveNothing.With(words.Args{"high": maxReach, "value": float64(*given)}))
	}
	return *given
}

func choices[T ~string](c *checker, field string, given, otherwise, known []T) []T {
	if given == nil {
		return slices.Clone(otherwise)
	}
	if len(given) == 0 {
		c.fault(field, emptyChoice.Plain())
	}
	names := make([]string, len(known))
	for i, k := range known {
		names[i] = string(k)
	}
	var out []T
	for i, v := range given {
		switch {
		case !slices.Contains(known, v):
			c.fault(fmt.Sprintf("%s[%d]", field, i), noneOf.With(words.Args{"value": shortened(string(v)), "values": strings.Join(names, ", ")}))
		case !slices.Contains(out, v):
			out = append(out, v)
		}
	}
	return out
}

// shortened keeps a refused value short enough to repeat.
func shortened(s string) string {
	const shown = 60
	if r := []rune(s); len(r) > shown {
		return string(r[:shown]) + "…"
	}
	return s
}

// Settings fills in what was left open, from the block's spacings where a
// distance is meant. fault.Invalid names every field at fault.
//
// The usual cause is orange rust alone: mixing causes would put plants that
// only need a cane cut on one list with plants that must be dug.
func (o Options) Settings(rowSpacing, plantSpacing geo.Metres) (Settings, error) {
	c := &checker{}
	s := Settings{
		Causes:       choices(c, "causes", o.Causes, []scouting.Cause{scouting.OrangeRust}, scouting.Causes),
		States:       choices(c, "states", o.States, []scouting.State{scouting.Confirmed}, scouting.States),
		Along:        c.reach("along_m", o.Along, plantSpacing, defaultAlong),
		Across:       c.reach("across_m", o.Across, rowSpacing, defaultAcross),
		MinFinds:     c.whole("min_finds", o.MinFinds, defaultMinFinds, 1, maxMinFinds),
		GapPlants:    c.whole("gap_plants", o.GapPlants, defaultGapPlants, 0, maxPlants),
		MarginPlants: c.whole("margin_plants", o.MarginPlants, defaultMarginPlants, 0, maxPlants),
		InspectRows:  c.whole("inspect_rows", o.InspectRows, defaultInspectRows, 0, maxRows),
		SectionLimit: o.SectionLimit,
		Smooth:       o.Smooth != nil && *o.Smooth,
		Scan:         o.Scan.settings(c),
	}
	if l := s.SectionLimit; l != nil && !(*l > 0 && *l < 1) {
		c.fault("section_limit", betweenNothingAndAll.With(words.Args{"value": *l}))
	}
	if slices.Contains(s.States, scouting.Refuted) {
		c.fault("states", refutedNot.Plain())
	}
	if len(c.faults) > 0 {
		return Settings{}, fault.New(fault.Invalid, badSettings.With(words.Args{"count": len(c.faults)}), c.faults...)
	}
	return s, nil
}

func (o ScanOptions) settings(c *checker) Scan {
	s := Scan{Shapes: slices.Clone(defaultShapes), Cap: defaultCap, Seed: defaultSeed, Asked: o.asked(),
		MinCases:   c.whole("scan.min_cases", o.MinCases, defaultMinCases, 1, MaxFinds),
		Replicates: c.whole("scan.replicates", o.Replicates, defaultReplicates, 0, maxReplicates)}
	if o.Shapes != nil {
		s.Shapes = slices.Clone(o.Shapes)
		c.shapes(s.Shapes)
	}
	if o.Cap != nil {
		if s.Cap = *o.Cap; !(s.Cap > 0 && s.Cap <= maxCap) {
			c.fault("scan.cap", aboveNothing.With(words.Args{"high": maxCap, "value": s.Cap}))
		}
	}
	if o.Seed != nil {
		if s.Seed = *o.Seed; s.Seed > maxSeed {
			c.fault("scan.seed", outside.With(words.Args{"low": 0, "high": uint64(maxSeed), "value": s.Seed}))
		}
	}
	return s
}

func (c *checker) shapes(shapes []float64) {
	if len(shapes) < 1 || len(shapes) > maxShapes {
		c.fault("scan.shapes", shapesCount.With(words.Args{"limit": maxShapes, "count": len(shapes)}))
		return
	}
	for i, v := range shapes {
		field := fmt.Sprintf("scan.shapes[%d]", i)
		if !(v >= 1 && v <= maxShape) {
			c.fault(field, outside.With(words.Args{"low": 1, "high": maxShape, "value": v}))
		}
		if slices.Contains(shapes[:i], v) {
			c.fault(field, shapeTwice.With(words.Args{"value": v}))
		}
	}
}

// Request is what is posted for one block.
type Request struct {
	Block records.ID
	// AsOf takes the rows as they stood at a moment, so that last year's finds
	// lie where last year's rows ran, and finds, visits and removals up to it.
	// Nil takes everything as it is.
	AsOf *time.Time
	Options
}

var (
	notJSON     = words.New("hotspot-not-json", "The request is not one JSON object.", "El pedido no es un objeto JSON.")
	wrongType   = words.New("hotspot-wrong-type", "{wanted} is expected here.", "Aquí se espera {wanted}.")
	unknownName = words.New("hotspot-unknown-name", "There is no setting of this name.", "No hay ningún ajuste con este nombre.")
	blockNeeded = words.New("hotspot-block-needed", "The block's id is needed: a UUID of version 7 in lower case.", "Hace falta el identificador del bloque: un UUID de versión 7 en minúsculas.")
	badRequest  = words.New("hotspot-bad-request",
		"The request cannot be used: {count} thing(s) to mend, named below.",
		"El pedido no se puede usar: {count} cosa(s) por corregir, nombradas abajo.")

	aNumber      = words.New("hotspot-a-number", "a number", "un número")
	aWholeNumber = words.New("hotspot-a-whole-number", "a whole number", "un número entero")
	aList        = words.New("hotspot-a-list", "a list of texts", "una lista de textos")
	aNumberList  = words.New("hotspot-a-number-list", "a list of numbers", "una lista de números")
	anObject     = words.New("hotspot-an-object", "an object", "un objeto")
	aMoment      = words.New("hotspot-a-moment", "a date and time with its zone, such as 2026-04-14T09:30:00-04:00,", "una fecha y hora con su zona, como 2026-04-14T09:30:00-04:00,")
	trueOrFalse  = words.New("hotspot-true-or-false", "true or false", "true o false")
	someText     = words.New("hotspot-some-text", "text", "un texto")
)

// DecodeRequest reads {"block", "as_of", "causes", "states", "along_m", "across_m",
// "min_finds", "gap_plants", "margin_plants", "inspect_rows", "section_limit",
// "smooth", "scan": {"shapes", "cap", "min_cases", "replicates", "seed"}}. All but the block may be left
// out or null; a name that is none of these is refused, for a slip of the pen
// would otherwise run the usual settings. fault.Malformed for what is no JSON
// object, fault.Invalid with every field at fault otherwise; the bounds are
// checked by Options.Settings, which knows the block's spacings.
func DecodeRequest(data []byte) (Request, error) {
	var members map[string]json.RawMessage
	d := json.NewDecoder(bytes.NewReader(data))
	err := d.Decode(&members)
	if err == nil && members == nil {
		err = errors.New("null")
	}
	if err == nil {
		if _, more := d.Token(); more != io.EOF {
			err = errors.New("more than one value")
		}
	}
	if err != nil {
		return Request{}, fault.Wrap(fault.Malformed, err, notJSON.Plain())
	}
	r := decoder{members: members, checker: &checker{}}
	var q Request
	var block string
	r.take("block", &block, someText)
	if q.Block, err = records.ParseID(block); err != nil && len(r.faults) == 0 {
		r.fault("block", blockNeeded.Plain())
	}
	r.take("causes", &q.Causes, aList)
	r.take("states", &q.States, aList)
	r.take("along_m", &q.Along, aNumber)
	r.take("across_m", &q.Across, aNumber)
	r.take("min_finds", &q.MinFinds, aWholeNumber)
	r.take("gap_plants", &q.GapPlants, aWholeNumber)
	r.take("margin_plants", &q.MarginPlants, aWholeNumber)
	r.take("inspect_rows", &q.InspectRows, aWholeNumber)
	r.take("section_limit", &q.SectionLimit, aNumber)
	r.take("smooth", &q.Smooth, trueOrFalse)
	r.take("as_of", &q.AsOf, aMoment)
	scan := decoder{prefix: "scan.", checker: r.checker}
	r.take("scan", &scan.members, anObject)
	scan.take("shapes", &q.Scan.Shapes, aNumberList)
	scan.take("cap", &q.Scan.Cap, aNumber)
	scan.take("min_cases", &q.Scan.MinCases, aWholeNumber)
	scan.take("replicates", &q.Scan.Replicates, aWholeNumber)
	scan.take("seed", &q.Scan.Seed, aWholeNumber)
	r.refuseRest()
	scan.refuseRest()
	if len(r.faults) > 0 {
		return Request{}, fault.New(fault.Invalid, badRequest.With(words.Args{"count": len(r.faults)}), r.faults...)
	}
	return q, nil
}

// decoder takes members one by one.
type decoder struct {
	members map[string]json.RawMessage
	prefix  string
	*checker
}

func (d decoder) take(name string, to any, wanted words.Message) {
	raw, ok := d.members[name]
	delete(d.members, name)
	if ok && json.Unmarshal(raw, to) != nil {
		d.fault(d.prefix+name, wrongType.With(words.Args{"wanted": wanted.Plain()}))
	}
}

func (d decoder) refuseRest() {
	var names []string
	for name := range d.members {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		d.fault(d.prefix+shortened(name), unknownName.Plain())
	}
}
