package clock

import (
	"encoding/json"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/records"
)

// EarlyEntryPurpose is the purpose of a visit that is an early entry.
const EarlyEntryPurpose = "early-entry"

// Exception is why somebody may go in before the re-entry time ends (40 CFR
// 170.603; names of ours).
type Exception string

// The exceptions.
const (
	NoContact Exception = "no-contact"
	ShortTask Exception = "short-task"
	Emergency Exception = "agricultural-emergency"
	Special   Exception = "special-exception"
)

// Exceptions lists them.
var Exceptions = []Exception{NoContact, ShortTask, Emergency, Special}

var exceptionNames = map[Exception]words.Message{
	NoContact: words.New("clock-no-contact", "work without contact", "trabajo sin contacto"),
	ShortTask: words.New("clock-short-task", "short task", "tarea corta"),
	Emergency: words.New("clock-emergency", "agricultural emergency", "emergencia agrícola"),
	Special:   words.New("clock-special", "special exception", "excepción especial"),
}

// Name says what an exception is.
func (e Exception) Name() words.Text { return exceptionNames[e].Plain() }

// EarlyEntry is one entry during a re-entry time: who, under which exception, and
// what they were told before (40 CFR 170.605).
type EarlyEntry struct {
	Pass      records.ID
	Exception Exception
	Workers   []string
	Gear      string
	Started   time.Time
	Ended     time.Time
	Adults    bool // every worker is 18 or older
	Told      bool // place, product, when the time begins and ends, exception, contact, time allowed, gear, safety display, washing
}

var (
	sayAdults = words.New("clock-adults", "Early entry is for people of 18 and over: say that all of them are.", "La entrada anticipada es para mayores de 18: diga que todos lo son.")
	sayTold   = words.New("clock-told", "Before going in they must be told: place, product, when the re-entry time begins and ends, the exception, contact or not, the time allowed, the gear, where the safety display and washing water are.", "Antes de entrar se les debe decir: lugar, producto, cuándo empieza y termina la reentrada, la excepción, si hay contacto, el tiempo permitido, el equipo, dónde están la exhibición de seguridad y el agua para lavarse.")
	sayWho    = words.New("clock-who", "Name everybody who goes in.", "Nombre a todos los que entran.")
)

// ParseEarlyEntry reads what an early entry has to say, every fault at its field.
func ParseEarlyEntry(properties json.RawMessage) (EarlyEntry, []fault.Detail) {
	r := fields.Properties(properties)
	e := EarlyEntry{Pass: fields.ID(r, "pass", records.ParseID), Exception: fields.Choose(r, "exception", Exceptions), Gear: r.Text("gear"),
		Started: r.Moment("started_at"), Ended: r.Moment("ended_at"), Adults: r.Yes("all_adults"), Told: r.Yes("told")}
	for _, name := range []string{"block", "pass", "exception", "started_at", "gear"} {
		r.Need(name)
	}
	if err := json.Unmarshal(r.Raw("workers"), &e.Workers); err != nil || len(e.Workers) == 0 {
		r.Fault("workers", sayWho.Plain())
	}
	if !e.Adults {
		r.Fault("all_adults", sayAdults.Plain())
	}
	if !e.Told {
		r.Fault("told", sayTold.Plain())
	}
	return e, r.Faults()
}
