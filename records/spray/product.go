package spray

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"caneward/blocks"
	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/setback"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records/quantity"
)

// Product is a label as somebody typed it. Zero fields were not given: nothing
// is known of them, which is not the same as none being asked.
type Product struct {
	Name         string
	Registration string
	Ingredients  []Ingredient
	Rates        []LabelRate
	PHIDays      *int     // the label's general one; see PHIFor
	REIHours     *float64 // the label's general one; see ReentryFor
	PHIs         []PHI
	Reentries    []Reentry
	IntervalDays *int
	Caps         []Cap
	Setbacks     []LabelSetback
	Restricted   bool
	Density      *Content     // of the product itself, mass in a volume; nil when not given
	Carrier      *Carrier     // the least spray the label asks for; nil when not given
	Wind         *Wind        // nil when the label gives none
	Droplets     Droplets     // the finest allowed; "" when not given
	Bloom        Bloom        // "" when not given
	Valid        Validity     // between which days the label may be used
	Season       *SeasonOfUse // between which days of a year; nil for all of it
	Form         Form
	Note         string
}

// Ingredient is an active ingredient. Codes are those printed on labels, by
// scheme: "frac", "irac", "hrac"; a code typed without its scheme stands under
// "".
type Ingredient struct {
	Name    string
	Amount  string // as typed
	Content *Content
	Codes   map[string]string
}

// Content is how much of an ingredient is in the product, or what the product
// weighs.
type Content struct {
	Value float64
	Unit  ContentUnit
}

// ContentUnit is what a content is given in.
type ContentUnit string

// The units of content. Percent is by weight, as US labels print it.
const (
	PercentWeight     ContentUnit = "percent"
	PoundsPerGallon   ContentUnit = "lb_per_gal"
	GramsPerLitre     ContentUnit = "g_per_L"
	GramsPerKilogram  ContentUnit = "g_per_kg"
	KilogramsPerLitre ContentUnit = "kg_per_L"
)

var contentUnits = []ContentUnit{PercentWeight, PoundsPerGallon, GramsPerLitre, GramsPerKilogram}
var densityUnits = []ContentUnit{PoundsPerGallon, GramsPerLitre, KilogramsPerLitre}

// LabelRate is one rate of the label, with what it is for. Most is the upper
// end where the label prints a range; equal to Value where it does not. No
// patterns are all of them.
type LabelRate struct {
	quantity.Rate
	Of       string // the ingredient it is of; "" is the product
	Most     float64
	Crop     string
	Target   string
	Patterns []Pattern
	Carrier  *Carrier // the least spray with this rate
}

// Carrier is a least volume of spray: an amount per area, row or plant.
type Carrier struct{ quantity.Rate }

// PHI is a pre-harvest interval for one crop.
type PHI struct {
	Days int
	Crop string
}

// Reentry is a restricted-entry interval for a crop, a task, or both; "" is
// every one. One of Hours, Days and Until is given; Until is a condition no clock
// can tell, such as "residues below 0.1 ppm", and may stand beside either.
type Reentry struct {
	Hours float64
	Days  int
	Until string
	Crop  string
	Task  string
}

// Length is how long the clock alone keeps people out: days are of 24 hours.
func (r Reentry) Length() time.Duration {
	return time.Duration(math.Round(r.Hours*float64(time.Hour))) + time.Duration(r.Days)*24*time.Hour
}

// Cap is one limit at every point of ground over a time. A cap of amounts is
// per treated area.
type Cap struct {
	What       CapOf
	Value      float64
	Unit       quantity.Unit // "" for uses
	Area       quantity.Per  // acre or ha; "" for uses
	Ingredient string        // of a cap of an ingredient; "" takes the label's only one
	Per        CapClock
	Starts     DayOfYear // of a season; the zero day is 1 January
	Crop       string    // "" for every one
}

// CapOf is what a cap counts.
type CapOf string

// What caps count.
const (
	CapUses       CapOf = "uses"
	CapProduct    CapOf = "product"
	CapIngredient CapOf = "ingredient"
)

// CapClock is over what time a cap counts: three different clocks.
type CapClock string

// The clocks of caps.
const (
	PerYear         CapClock = "year"      // the calendar year
	PerSeason       CapClock = "season"    // from the day the grower names, a year long
	PerTwelveMonths CapClock = "12-months" // any twelve months
)

var (
	capKinds = []CapOf{CapUses, CapProduct, CapIngredient}
	capTimes = []CapClock{PerYear, PerSeason, PerTwelveMonths}
	capAreas = []quantity.Per{quantity.PerAcre, quantity.PerHectare}
)

// LabelSetback is a distance the label asks for: a rule with what it is measured
// from and when it holds.
type LabelSetback struct {
	setback.Rule
	FromEdge  FromEdge
	Condition string // as printed, such as "in wind over 10 mph"; "" is always
	Source    string
}

// FromEdge is where on the field a setback is measured from.
type FromEdge string

// The edges of the field.
const (
	TreatedEdge FromEdge = "treated-edge"
	BoomEnd     FromEdge = "boom-end"
	MixingPlace FromEdge = "mixing-place" // no ground is withheld for it
)

var fromEdges = []FromEdge{TreatedEdge, BoomEnd, MixingPlace}

// Wind is the wind a label allows, metres a second; 0 is not given.
type Wind struct{ Least, Most float64 }

// Droplets is a class of ANSI/ASAE S572, by name: classes compare nozzles, so
// no microns are stored.
type Droplets string

// DropletClasses lists them, finest first.
var DropletClasses = []Droplets{"extremely-fine", "very-fine", "fine", "medium", "coarse", "very-coarse", "extremely-coarse", "ultra-coarse"}

// Finer reports whether d is a finer class than the other; false when either is
// not known.
func (d Droplets) Finer(than Droplets) bool {
	i, j := slices.Index(DropletClasses, d), slices.Index(DropletClasses, than)
	return i >= 0 && j >= 0 && i < j
}

// Bloom is what the label says of flowers open to bees.
type Bloom string

// What labels say of bloom.
const (
	BloomNever   Bloom = "never"   // not while anything is in bloom there
	BloomEvening Bloom = "evening" // only while bees do not fly
	BloomAnyTime Bloom = "any"
)

var blooms = []Bloom{BloomNever, BloomEvening, BloomAnyTime}

// Validity is between which days a label may be used, both included; zero is
// open.
type Validity struct{ From, Until time.Time }

// SeasonOfUse is a stretch of every year, both days included; it may run over
// the new year.
type SeasonOfUse struct{ From, To DayOfYear }

// DayOfYear is a month and a day of it, "03-15". The zero value is none.
type DayOfYear struct {
	Month time.Month
	Day   int
}

// Holds reports whether the day, in its own zone, falls into the season.
func (s SeasonOfUse) Holds(t time.Time) bool {
	at, from, to := DayOfYear{t.Month(), t.Day()}.order(), s.From.order(), s.To.order()
	if from <= to {
		return from <= at && at <= to
	}
	return at >= from || at <= to
}

// String is the day as it travels, "03-15".
func (d DayOfYear) String() string { return fmt.Sprintf("%02d-%02d", d.Month, d.Day) }

func (d DayOfYear) order() int { return int(d.Month)*100 + d.Day }

var (
	sayMostBelow = words.New("spray-rate-most-below",
		"The upper end of the rate lies below the lower one.",
		"El extremo superior de la dosis es menor que el inferior.")
	sayCode = words.New("spray-ingredient-code",
		`A code is text, or by scheme such as {form}.`,
		`Un código es texto, o por sistema, como {form}.`)
	sayAmountText = words.New("spray-ingredient-amount",
		`An ingredient's amount is text, or {form}.`,
		`La cantidad de un ingrediente es texto, o {form}.`)
	sayNoPlace = words.New("spray-product-no-place",
		"A product has no place on the map.",
		"Un producto no tiene lugar en el mapa.")
	sayEntryOne = words.New("spray-reentry-one",
		"A re-entry time is given in hours, in days, or as a condition in “until”.",
		"El plazo de entrada se da en horas, en días o como condición en «until».")
	sayDayOfYear = words.New("spray-day-of-year",
		"A day of the year is expected, such as 03-15.",
		"Se espera un día del año, como 03-15.")
	sayCapUnitUses = words.New("spray-cap-uses-unit",
		"A number of uses has no unit and no area.",
		"Un número de usos no tiene unidad ni superficie.")
	sayCapIngredient = words.New("spray-cap-ingredient-name",
		"This label has no ingredient “{name}”; its ingredients are {known}.",
		"Esta etiqueta no tiene el ingrediente «{name}»; los suyos son {known}.")
	sayCapWhich = words.New("spray-cap-ingredient-which",
		"This label has {count} ingredients: name the one the cap is for.",
		"Esta etiqueta tiene {count} ingredientes: diga de cuál es el tope.")
	sayCapWhole = words.New("spray-cap-uses-whole",
		"A number of uses is a whole number.",
		"Un número de usos es un número entero.")
	sayPercentOver = words.New("spray-content-over",
		"A product holds at most 100 % of an ingredient.",
		"Un producto contiene como máximo el 100 % de un ingrediente.")
	sayBankOnly = words.New("spray-bank-only",
		"The way from the drawn line to the top of the bank goes with a setback from the top of the bank.",
		"La distancia de la línea dibujada al borde del talud va con un retiro desde el borde del talud.")
)

// ParseProduct reads a product. Only the name must be there. Properties it does
// not know are left alone.
func ParseProduct(g geo.Geometry, properties json.RawMessage) (Product, []fault.Detail) {
	r := fields.Properties(properties)
	if !g.Empty() {
		r.Fault("geometry", sayNoPlace.Plain())
	}
	p := readProduct(r)
	return p, r.Faults()
}

func readProduct(r fields.Reader) Product {
	p := Product{
		Name:         r.Text("name"),
		Registration: r.Text("registration"),
		PHIDays:      days(r, "phi_days"),
		REIHours:     r.Number("rei_hours", 0, maxHours),
		IntervalDays: days(r, "interval_days"),
		Restricted:   r.Yes("restricted"),
		Carrier:      readCarrier(r, "carrier_least"),
		Droplets:     fields.Choose(r, "droplets_finest", DropletClasses),
		Bloom:        fields.Choose(r, "bloom", blooms),
		Form:         fields.Choose(r, "form", Forms),
		Density:      readContent(r, "density", densityUnits),
		Note:         r.Text("note"),
	}
	r.Need("name")
	for e := range r.Each("ingredients", maxEntries) {
		p.Ingredients = append(p.Ingredients, readIngredient(e))
	}
	for e := range r.Each("rates", maxEntries) {
		if rate, ok := readLabelRate(e, p); ok {
			p.Rates = append(p.Rates, rate)
		}
	}
	for e := range r.Each("caps", maxEntries) {
		p.Caps = append(p.Caps, readCap(e, p.Ingredients))
	}
	for e := range r.Each("setbacks", MaxSetbacks) {
		p.Setbacks = append(p.Setbacks, readLabelSetback(e))
	}
	readWaits(r, &p)
	readWhen(r, &p)
	return p
}

func readWaits(r fields.Reader, p *Product) {
	for e := range r.Each("phi", maxEntries) {
		if n := days(e, "days"); n != nil {
			p.PHIs = append(p.PHIs, PHI{Days: *n, Crop: e.Text("crop")})
		}
		e.Need("days")
		e.Need("crop")
	}
	for e := range r.Each("reentry", maxEntries) {
		p.Reentries = append(p.Reentries, readReentry(e))
	}
}

func readReentry(e fields.Reader) Reentry {
	out := Reentry{Until: e.Text("until"), Crop: e.Text("crop"), Task: e.Text("task")}
	if h := e.Number("hours", 0, maxHours); h != nil {
		out.Hours = *h
	}
	if n := days(e, "days"); n != nil {
		out.Days = *n
	}
	if e.Has("hours") == e.Has("days") && (e.Has("hours") || out.Until == "") {
		e.Fault("", sayEntryOne.Plain())
	}
	return out
}

// readWhen reads between which days and in which wind the label may be used.
func readWhen(r fields.Reader, p *Product) {
	p.Valid = Validity{From: r.Day("valid_from"), Until: r.Day("valid_until")}
	r.InOrder("valid_from", "valid_until", p.Valid.From, p.Valid.Until)
	if r.Has("season") {
		e := r.In("season")
		p.Season = &SeasonOfUse{From: dayOfYear(e, "from"), To: dayOfYear(e, "to")}
		e.Need("from")
		e.Need("to")
	}
	if r.Has("wind") {
		e := r.In("wind")
		p.Wind = &Wind{}
		if v := e.Number("least_m_s", 0, mostWind); v != nil {
			p.Wind.Least = *v
		}
		if v := e.Number("most_m_s", p.Wind.Least, mostWind); v != nil {
			p.Wind.Most = *v
		}
	}
}

// mostWind bounds winds, metres a second: no gust on land was ever faster.
const mostWind = 100

func dayOfYear(r fields.Reader, field string) DayOfYear {
	s := r.Text(field)
	if s == "" {
		return DayOfYear{}
	}
	t, err := time.Parse(time.DateOnly, "2000-"+s) // a leap year, for 29 February
	if err != nil {
		r.Fault(field, sayDayOfYear.Plain())
		return DayOfYear{}
	}
	return DayOfYear{t.Month(), t.Day()}
}

func readIngredient(e fields.Reader) Ingredient {
	in := Ingredient{Name: e.Text("name"), Codes: map[string]string{}}
	e.Need("name")
	if e.Has("amount") {
		var a quantity.Amount
		switch {
		case json.Unmarshal(e.Raw("amount"), &in.Amount) == nil:
		case a.UnmarshalJSON(e.Raw("amount")) == nil:
			in.Amount = string(e.Raw("amount"))
		default:
			e.Fault("amount", sayAmountText.With(words.Args{"form": `{"value": 2, "unit": "lb"}`}))
		}
	}
	if e.Has("code") {
		var plain string
		switch {
		case json.Unmarshal(e.Raw("code"), &plain) == nil:
			in.Codes[""] = plain
		case json.Unmarshal(e.Raw("code"), &in.Codes) == nil:
		default:
			e.Fault("code", sayCode.With(words.Args{"form": `{"frac": "11"}`}))
		}
	}
	if in.Content = readContent(e, "content", contentUnits); in.Content == nil {
		in.Content = contentOf(in.Amount)
	}
	if c := in.Content; c != nil && (c.Unit == PercentWeight && c.Value > 100 || c.Unit == GramsPerKilogram && c.Value > 1000) {
		e.Fault("content", sayPercentOver.Plain())
	}
	return in
}

func readContent(r fields.Reader, field string, units []ContentUnit) *Content {
	if !r.Has(field) {
		return nil
	}
	e := r.In(field)
	out := Content{Unit: fields.Choose(e, "unit", units)}
	if v := e.Number("value", 0, quantity.MaxValue); v != nil {
		out.Value = *v
	}
	if !e.Need("value") || !e.Need("unit") || out.Unit == "" || out.Value == 0 {
		return nil
	}
	return &out
}

// contents is how labels print what is in them: "20 %", "2.08 lb/gal".
var contents = regexp.MustCompile(`^\s*(\d+(?:\.\d+)?)\s*(%|lb/gal|g/L|g/kg)\s*$`)

func contentOf(amount string) *Content {
	m := contents.FindStringSubmatch(amount)
	if m == nil {
		return nil
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil || v == 0 {
		return nil
	}
	unit := map[string]ContentUnit{"%": PercentWeight, "lb/gal": PoundsPerGallon, "g/L": GramsPerLitre, "g/kg": GramsPerKilogram}[m[2]]
	return &Content{Value: v, Unit: unit}
}

func readLabelRate(e fields.Reader, p Product) (LabelRate, bool) {
	before := len(e.Faults())
	members := map[string]json.RawMessage{}
	for _, name := range []string{"value", "unit", "per"} {
		if raw := e.Raw(name); raw != nil {
			members[name] = raw
		}
	}
	core, err := json.Marshal(members)
	var rate LabelRate
	if err == nil {
		err = rate.Rate.UnmarshalJSON(core)
	}
	if err != nil {
		e.Adopt("", err)
	}
	if rate.Of = e.Text("of"); rate.Of != "" {
		switch in := p.ingredient(rate.Of); {
		case in == nil:
			e.Fault("of", sayCapIngredient.With(words.Args{"name": fields.Shorten(rate.Of), "known": p.ingredientNames()}))
		case err == nil && rate.Unit.Dimension() != quantity.Mass:
			e.Fault("unit", sayOfMass.Plain())
		}
	}
	rate.Most = rate.Value
	if most := e.Number("most", 0, quantity.MaxValue); most != nil {
		if *most < rate.Value {
			e.Fault("most", sayMostBelow.Plain())
		}
		rate.Most = *most
	}
	rate.Crop, rate.Target = e.Text("crop"), e.Text("target")
	rate.Carrier = readCarrier(e, "carrier_least")
	for i, raw := range e.List("patterns", len(Patterns)) {
		var p Pattern
		if json.Unmarshal(raw, &p) != nil || !slices.Contains(Patterns, p) {
			e.Fault("patterns["+itoa(i)+"]", sayPatternKnown.With(words.Args{"known": join(Patterns)}))
			continue
		}
		rate.Patterns = append(rate.Patterns, p)
	}
	return rate, len(e.Faults()) == before
}

var sayPatternKnown = words.New("spray-pattern-known", "A pattern is one of {known}.", "Un patrón es uno de {known}.")

func join[T ~string](list []T) string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return strings.Join(out, ", ")
}

func readCarrier(r fields.Reader, field string) *Carrier {
	c := rate(r, field)
	if c == nil || !isCarrier(r, field, *c) {
		return nil
	}
	return &Carrier{*c}
}

func readCap(e fields.Reader, ingredients []Ingredient) Cap {
	c := Cap{What: fields.Choose(e, "what", capKinds), Per: fields.Choose(e, "per", capTimes), Unit: quantity.Unit(e.Text("unit")),
		Area: fields.Choose(e, "area", capAreas), Ingredient: e.Text("ingredient"), Starts: dayOfYear(e, "starts"), Crop: e.Text("crop")}
	if v := e.Number("value", 0, quantity.MaxValue); v != nil {
		c.Value = *v
	}
	e.Need("what")
	e.Need("value")
	e.Need("per")
	if c.What == CapUses {
		if c.Unit != "" || c.Area != "" {
			e.Fault("unit", sayCapUnitUses.Plain())
		}
		if c.Value != math.Trunc(c.Value) {
			e.Fault("value", sayCapWhole.Plain())
		}
		return c
	}
	if c.Area == "" {
		c.Area = quantity.PerAcre // as demo and older labels mean it
	}
	if c.Unit != "" {
		if _, err := quantity.ParseAmountUnit(string(c.Unit)); err != nil {
			e.Adopt("unit", err)
		}
	} else if c.What != "" {
		e.Need("unit")
	}
	if c.What == CapIngredient {
		c.Ingredient = capIngredient(e, c.Ingredient, ingredients)
	}
	return c
}

// capIngredient is the ingredient a cap is for, as its label names it.
func capIngredient(e fields.Reader, name string, of []Ingredient) string {
	if name == "" && len(of) == 1 {
		return of[0].Name
	}
	label := Product{Ingredients: of}
	if in := label.ingredient(name); in != nil {
		return in.Name
	}
	if name == "" {
		e.Fault("ingredient", sayCapWhich.With(words.Args{"count": len(of)}))
	} else {
		e.Fault("ingredient", sayCapIngredient.With(words.Args{"name": fields.Shorten(name), "known": label.ingredientNames()}))
	}
	return name
}

func readLabelSetback(e fields.Reader) LabelSetback {
	s := LabelSetback{Rule: readRule(e), FromEdge: fields.Choose(e, "from_edge", fromEdges), Condition: e.Text("condition"), Source: e.Text("source")}
	if s.From != "" {
		fields.Choose(e, "from", blocks.SurroundingsKinds) // a label knows kinds, not this farm's ponds
	}
	if s.FromEdge == "" {
		s.FromEdge = TreatedEdge
	}
	return s
}

// readRule reads one distance to keep, of a draft or a label.
func readRule(e fields.Reader) setback.Rule {
	rule := setback.Rule{From: e.Text("from"), Distance: above(e, "distance_m", MaxDistance), Side: fields.Choose(e, "side", setback.Sides),
		HalfAngle: setback.DefaultHalfAngle, To: fields.Choose(e, "to_edge", setback.Edges), Strip: e.Yes("strip")}
	e.Need("from")
	e.Need("distance_m")
	if rule.Side == "" {
		rule.Side = setback.All // the wider of the two
	}
	if e.Has("half_angle_deg") {
		rule.HalfAngle = geo.Degrees(above(e, "half_angle_deg", 180))
	}
	if e.Has("bank_m") {
		rule.Bank = above(e, "bank_m", mostBank)
		if rule.To != setback.TopOfBank {
			e.Fault("bank_m", sayBankOnly.Plain())
		}
	}
	return rule
}

// mostBank bounds the way from water to the top of its bank.
const mostBank geo.Metres = 100

// days reads a number of days; nil when it is not there or not good.
func days(r fields.Reader, field string) *int {
	n, ok := r.Whole(field, 0, maxDays)
	if !ok {
		return nil
	}
	return &n
}

// PHIFor is the interval before harvest on a crop: the longest of those that
// name it, else the general one; nil when the label says nothing.
func (p Product) PHIFor(crop string) *int {
	var longest *int
	for _, one := range p.PHIs {
		if names(one.Crop, crop) && (longest == nil || one.Days > *longest) {
			longest = &one.Days
		}
	}
	if longest == nil {
		return p.PHIDays
	}
	return longest
}

// ReentryFor is every re-entry time that holds for a crop and a task, those that
// name them closest: both, then the task, then the crop, then neither, among them the
// general one. All of those given hold together. Empty when the label says
// nothing. Task "" asks for a task the label does not single out.
func (p Product) ReentryFor(crop, task string) []Reentry {
	all := p.Reentries
	if p.REIHours != nil {
		all = append([]Reentry{{Hours: *p.REIHours}}, all...)
	}
	best, out := -1, []Reentry(nil)
	for _, r := range all {
		close := 0
		if r.Task != "" {
			if !strings.EqualFold(strings.TrimSpace(r.Task), strings.TrimSpace(task)) {
				continue
			}
			close += 2
		}
		if r.Crop != "" {
			if !names(r.Crop, crop) {
				continue
			}
			close++
		}
		switch {
		case close > best:
			best, out = close, []Reentry{r}
		case close == best:
			out = append(out, r)
		}
	}
	return out
}

// names reports whether what a label says of crops, parted by commas, names that
// of a block; nothing said names every one. Labels name the group as well:
// caneberries are blackberries, raspberries and their hybrids.
func names(labelled, crop string) bool {
	crop = oneOf(crop)
	if strings.TrimSpace(labelled) == "" {
		return true
	}
	for part := range strings.SplitSeq(labelled, ",") {
		if part = oneOf(part); crop != "" && (part == crop || slices.Contains(cropGroup, part) && slices.Contains(caneberries, crop)) {
			return true
		}
	}
	return false
}

// oneOf is the word for one plant of a crop, in small letters.
func oneOf(crop string) string {
	crop = strings.ToLower(strings.TrimSpace(crop))
	if head, ok := strings.CutSuffix(crop, "ies"); ok {
		return head + "y"
	}
	return strings.TrimSuffix(crop, "s")
}

// Words for the group and what is in it: EPA crop subgroup 13-07A, caneberry
// (from memory).
var (
	cropGroup   = []string{"caneberry", "bramble"}
	caneberries = []string{"blackberry", "raspberry", "black raspberry", "red raspberry", "purple raspberry", "loganberry", "boysenberry", "tayberry", "marionberry", "hybrid"}
)
