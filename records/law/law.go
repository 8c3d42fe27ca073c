// Package law holds, as data, what records of spray passes have to say where,
// by when, and how long they are kept. A rule is one jurisdiction's; a farm names
// the jurisdictions it stands under. Nothing here certifies anything: rules
// change, entries were read as excerpts (sources beside them), and the label and
// local law decide.
package law

import (
	"slices"
	"time"

	"caneward/blocks/words"
)

// Element is one thing a record says.
type Element string

// The elements.
const (
	ProductName   Element = "product"
	Registration  Element = "registration"
	Ingredients   Element = "ingredients"
	Amount        Element = "amount"   // of product, not of mix or ingredient
	Rate          Element = "rate"     //
	Volume        Element = "volume"   // of spray
	Place         Element = "place"    // location and description of the ground
	Size          Element = "size"     // of the ground passed over
	Site          Element = "site"     // crop or site
	Date          Element = "date"     // month, day, year
	Start         Element = "start"    // time it started
	End           Element = "end"      // time it ended
	Applicator    Element = "who"      // name
	Certification Element = "licence"  // number of the certified applicator
	WindFrom      Element = "wind"     // direction
	WindSpeed     Element = "wind-mph" // speed
	Temperature   Element = "temperature"
	Target        Element = "target" // pest
	Method        Element = "method" // equipment or how
	ReentryTime   Element = "rei"
)

// Applies is which passes a rule is about.
type Applies string

// What rules apply to.
const (
	Restricted Applies = "restricted" // a product of the mix is of restricted use
	Every      Applies = "every"
	Entry      Applies = "entry"  // a product of the mix has a re-entry time
	Posted     Applies = "posted" // the longest re-entry time is over 48 h
)

// Deadline is by when.
type Deadline struct {
	SameDay bool          // before the day on which it ended is over, on the farm's calendar
	Days    int           // so many calendar days after that day, until it is over
	Within  time.Duration // from the end of the application
	AtOnce  bool          // when it ends
	// AfterEntry counts Days from the day the re-entry time ends.
	AfterEntry bool
}

// By is the moment after which it is late.
func (d Deadline) By(ended, entry time.Time, zone *time.Location) time.Time {
	from := ended
	if d.AfterEntry {
		from = entry
	}
	switch {
	case d.AtOnce:
		return from
	case d.Within > 0:
		return from.Add(d.Within)
	}
	l := from.In(zone)
	return time.Date(l.Year(), l.Month(), l.Day()+d.Days+1, 0, 0, 0, 0, zone)
}

// Rule is one duty.
type Rule struct {
	ID           string
	Jurisdiction string
	Name         words.Message
	Applies      Applies
	Elements     []Element
	Deadline     Deadline
	KeepYears    int  // from the day it ended
	FromEntry    bool // the years run from the end of the re-entry time
	Duty         bool // owed to workers: the owner's exemption switches it off
	SignsDown    bool // that the signs are down, not that elements are there
	Source       words.Message
}

// Kept is until when the record is kept, the first day it need not be.
func (r Rule) Kept(ended, entry time.Time, zone *time.Location) time.Time {
	from := ended
	if r.FromEntry {
		from = entry
	}
	l := from.In(zone)
	return time.Date(l.Year()+r.KeepYears, l.Month(), l.Day(), 0, 0, 0, 0, zone)
}

// Jurisdiction is one that a farm may stand under.
type Jurisdiction struct {
	ID   string
	Name words.Message
}

// Jurisdictions lists those known, the federal ones first.
var Jurisdictions = []Jurisdiction{
	{"us-federal", words.New("law-us-federal", "United States, federal: restricted-use records", "Estados Unidos, federal: registros de uso restringido")},
	{"us-worker", words.New("law-us-worker", "United States, federal: worker protection", "Estados Unidos, federal: protección del trabajador")},
	{"us-wa", words.New("law-us-wa", "Washington", "Washington")},
	{"us-tx", words.New("law-us-tx", "Texas", "Texas")},
	{"us-nc", words.New("law-us-nc", "North Carolina", "Carolina del Norte")},
	{"us-pa", words.New("law-us-pa", "Pennsylvania", "Pensilvania")},
	{"us-md", words.New("law-us-md", "Maryland", "Maryland")},
	{"us-ga-contractor", words.New("law-us-ga", "Georgia, contractors", "Georgia, contratistas")},
	{"us-sd-commercial", words.New("law-us-sd", "South Dakota, commercial", "Dakota del Sur, comercial")},
	{"eu", words.New("law-eu", "European Union", "Unión Europea")},
	{"uk", words.New("law-uk", "United Kingdom", "Reino Unido")},
}

// Usual are the jurisdictions of a farm that has named none.
var Usual = []string{"us-federal", "us-worker"}

// five are the elements of 7 CFR 110.3(a).
var five = []Element{ProductName, Registration, Amount, Place, Size, Site, Date, Applicator, Certification}

func with(more ...Element) []Element { return append(slices.Clone(five), more...) }

var sayRecord = words.New("law-record", "Application record", "Registro de aplicación")

// Rules lists every rule.
var Rules = []Rule{
	{ID: "us-federal-record", Jurisdiction: "us-federal", Name: sayRecord, Applies: Restricted, Elements: five, Deadline: Deadline{Days: 14}, KeepYears: 2,
		Source: words.New("law-src-federal", "7 CFR 110.3(a); 7 U.S.C. 136i-1: within 14 days, kept 2 years", "7 CFR 110.3(a); 7 U.S.C. 136i-1: en 14 días, se guarda 2 años")},
	{ID: "us-worker-display", Jurisdiction: "us-worker", Name: words.New("law-display", "Central display for workers", "Exhibición central para trabajadores"), Applies: Every, Duty: true,
		Elements: []Element{ProductName, Registration, Ingredients, ReentryTime, Site, Place, Start, End}, Deadline: Deadline{Within: 24 * time.Hour}, KeepYears: 2, FromEntry: true,
		Source: words.New("law-src-display", "40 CFR 170.309(h), 170.311(b): up within 24 h of the end and before workers enter, until 30 days after the re-entry time; kept 2 years from its end", "40 CFR 170.309(h), 170.311(b): en 24 h desde el final y antes de que entren, hasta 30 días después de la reentrada; 2 años desde su fin")},
	{ID: "us-worker-signs", Jurisdiction: "us-worker", Name: words.New("law-signs", "Signs down or covered", "Letreros quitados o cubiertos"), Applies: Posted, Duty: true, SignsDown: true, Deadline: Deadline{Days: 3, AfterEntry: true},
		Source: words.New("law-src-signs", "40 CFR 170.409, as mirrored in WAC 16-233-121: within 3 days after the re-entry time", "40 CFR 170.409, según WAC 16-233-121: en 3 días después de la reentrada")},
	{ID: "us-wa-record", Jurisdiction: "us-wa", Name: sayRecord, Applies: Every, Elements: with(WindFrom, WindSpeed), Deadline: Deadline{SameDay: true}, KeepYears: 7,
		Source: words.New("law-src-wa", "RCW 49.70.119, read in part: every application, wind, the same day, kept 7 years", "RCW 49.70.119, leído en parte: toda aplicación, viento, el mismo día, 7 años")},
	{ID: "us-tx-record", Jurisdiction: "us-tx", Name: sayRecord, Applies: Restricted, Elements: with(Start, Rate, Volume, Target, WindFrom, WindSpeed, Temperature, Method), Deadline: Deadline{Days: 14}, KeepYears: 2,
		Source: words.New("law-src-tx", "4 Tex. Admin. Code ch. 7, use records, read in part; deadline taken from 7 CFR 110.3", "4 Tex. Admin. Code cap. 7, leído en parte; plazo tomado de 7 CFR 110.3")},
	{ID: "us-nc-record", Jurisdiction: "us-nc", Name: sayRecord, Applies: Restricted, Elements: with(End), Deadline: Deadline{AtOnce: true}, KeepYears: 2,
		Source: words.New("law-src-nc", "02 NCAC 09L .1807, read in part: the finish time of each day's job at once", "02 NCAC 09L .1807, leído en parte: la hora final de cada día, en el momento")},
	{ID: "us-pa-record", Jurisdiction: "us-pa", Name: sayRecord, Applies: Restricted, Elements: with(End), Deadline: Deadline{Within: 24 * time.Hour}, KeepYears: 3,
		Source: words.New("law-src-pa", "7 Pa. Code 128.35: within 24 h, the hour completed where a re-entry time applies, kept 3 years", "7 Pa. Code 128.35: en 24 h, la hora final si hay reentrada, 3 años")},
	{ID: "us-md-record", Jurisdiction: "us-md", Name: sayRecord, Applies: Every, Elements: with(Rate), Deadline: Deadline{Days: 14}, KeepYears: 2,
		Source: words.New("law-src-md", "COMAR 15.05.01.07, read in part: general-use products too, with the rate; deadline and years taken from 7 CFR 110.3", "COMAR 15.05.01.07, leído en parte: también de uso general, con la dosis; plazo y años de 7 CFR 110.3")},
	{ID: "us-ga-record", Jurisdiction: "us-ga-contractor", Name: sayRecord, Applies: Every, Elements: with(Start, Target, Method), Deadline: Deadline{Days: 14}, KeepYears: 2,
		Source: words.New("law-src-ga", "Ga. rule 40-21-5, read in part; deadline and years taken from 7 CFR 110.3. Write any incident down as well", "Regla 40-21-5 de Georgia, leída en parte; plazo y años de 7 CFR 110.3. Anote también todo incidente")},
	{ID: "us-sd-record", Jurisdiction: "us-sd-commercial", Name: sayRecord, Applies: Every, Elements: with(Start, End, WindFrom, WindSpeed, Temperature, Target), Deadline: Deadline{SameDay: true}, KeepYears: 3,
		Source: words.New("law-src-sd", "ARSD 12:56:07:01 and the state's checklist: current at close of day, kept 3 years", "ARSD 12:56:07:01 y la lista del estado: al día al cierre, 3 años")},
	{ID: "eu-record", Jurisdiction: "eu", Name: sayRecord, Applies: Every, Elements: []Element{ProductName, Registration, Date, Rate, Size, Site, Place}, Deadline: Deadline{Days: 30}, KeepYears: 3,
		Source: words.New("law-src-eu", "Reg. (EC) 1107/2009 Art. 67(1); Impl. Reg. (EU) 2023/564 Art. 3: note at once, electronic within 30 days, kept 3 years; member states may shorten", "Regl. (CE) 1107/2009 art. 67(1); Regl. de ejec. (UE) 2023/564 art. 3: anotar en el momento, electrónico en 30 días, 3 años; los Estados pueden acortar")},
	{ID: "uk-record", Jurisdiction: "uk", Name: sayRecord, Applies: Every, Elements: []Element{ProductName, Registration, Date, Rate, Size, Site, Place}, Deadline: Deadline{Days: 30}, KeepYears: 3,
		Source: words.New("law-src-uk", "retained Reg. 1107/2009 Art. 67, from memory; the deadline is ours", "art. 67 del Regl. 1107/2009 retenido, de memoria; el plazo es nuestro")},
}

var elementNames = map[Element]words.Message{
	ProductName:   words.New("law-el-product", "product name", "nombre del producto"),
	Registration:  words.New("law-el-registration", "registration number", "número de registro"),
	Ingredients:   words.New("law-el-ingredients", "active ingredients", "ingredientes activos"),
	Amount:        words.New("law-el-amount", "total amount of product", "cantidad total de producto"),
	Rate:          words.New("law-el-rate", "rate", "dosis"),
	Volume:        words.New("law-el-volume", "volume of spray", "volumen de caldo"),
	Place:         words.New("law-el-place", "location", "lugar"),
	Size:          words.New("law-el-size", "size of the area", "superficie"),
	Site:          words.New("law-el-site", "crop or site", "cultivo o sitio"),
	Date:          words.New("law-el-date", "date", "fecha"),
	Start:         words.New("law-el-start", "time it started", "hora de inicio"),
	End:           words.New("law-el-end", "time it ended", "hora de final"),
	Applicator:    words.New("law-el-who", "name of the applicator", "nombre del aplicador"),
	Certification: words.New("law-el-licence", "certification number", "número de certificación"),
	WindFrom:      words.New("law-el-wind", "wind direction", "dirección del viento"),
	WindSpeed:     words.New("law-el-wind-speed", "wind speed", "velocidad del viento"),
	Temperature:   words.New("law-el-temperature", "temperature", "temperatura"),
	Target:        words.New("law-el-target", "target pest", "plaga objetivo"),
	Method:        words.New("law-el-method", "equipment or method", "equipo o método"),
	ReentryTime:   words.New("law-el-rei", "re-entry time", "tiempo de reentrada"),
}

// Name says what an element is.
func (e Element) Name() words.Text { return elementNames[e].Plain() }

// Known reports whether there is such a jurisdiction.
func Known(id string) bool {
	return slices.ContainsFunc(Jurisdictions, func(j Jurisdiction) bool { return j.ID == id })
}
