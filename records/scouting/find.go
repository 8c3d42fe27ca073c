// Package scouting is what a walk through the rows leaves behind: finds, the
// visit that says where somebody looked, samples, removals, the adviser's
// review and growth stages, each read from a record's properties. Every Parse
// function gives all faults at once, each with its field; the value is only
// good when there are none. Properties it does not know are left alone.
package scouting

import (
	"encoding/json"
	"strconv"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
)

// Place is a plant by its row and its number in the row, both from 1.
type Place struct {
	Row   int `json:"row"`
	Plant int `json:"plant"`
}

// Find is one place where something was seen.
type Find struct {
	Block records.ID // empty outside any block, as wild brambles are
	// Row and Plant are 0 when the scout did not say. They outrank At: a
	// phone's position is off by more than a row.
	Row, Plant int
	Cause      Cause
	Organism   string
	Words      string // the scout's own
	State      State
	Severity   *Severity
	FoundAt    time.Time
	Accuracy   *geo.Metres // radius the phone gave for its fix
	FixAge     *float64    // seconds
	Visit      records.ID
	// Surroundings is the wild brambles a find outside every block stood on.
	Surroundings records.ID
	At           *geo.Position // nil without a pin
	// AgainOf is the find this one repeats on the same plant, as the scout's
	// phone knew it; who reads links finds of one plant and cause anyway.
	AgainOf records.ID
	Photos  []records.ID
}

var (
	aPoint  = words.New("scouting-a-point", "a point", "un punto")
	aTrack  = words.New("scouting-a-track", "a line", "una línea")
	nowhere = words.New("scouting-nowhere",
		"A find needs a pin, or a block with row and plant.",
		"Un hallazgo necesita un punto, o un bloque con hilera y planta.")
	plantWithoutRow = words.New("scouting-plant-without-row",
		"A plant's number means nothing without its row.",
		"El número de una planta no dice nada sin su hilera.")
	rowWithoutBlock = words.New("scouting-row-without-block",
		"A row means nothing without its block.",
		"Una hilera no dice nada sin su bloque.")
	noSuchRow = words.New("scouting-no-such-row",
		"The block has no row {row}; its rows are {rows}.",
		"El bloque no tiene la hilera {row}; sus hileras son {rows}.")
	noSuchPlant = words.New("scouting-no-such-plant",
		"Row {row} has plants 1 to {plants}; there is no plant {plant}.",
		"La hilera {row} tiene las plantas 1 a {plants}; no hay planta {plant}.")
	placeGone = words.New("scouting-place-gone",
		"Row {row} has no place {plant} any more; its number is not given again.",
		"La hilera {row} ya no tiene el lugar {plant}; su número no se da otra vez.")
	fixPlace = words.New("scouting-fix-place",
		"Count again from the row's end, or mend the row's number of plants.",
		"Cuente otra vez desde el extremo de la hilera, o corrija el número de plantas de la hilera.")
)

// ParseFind reads a find. It needs a cause, a state, a time and a place: a
// point, or a block with row and plant.
func ParseFind(g geo.Geometry, properties json.RawMessage) (Find, []fault.Detail) {
	r := fields.Properties(properties)
	f := Find{Block: id(r, "block"), Cause: readCause(r), Words: r.Text("words"), Visit: id(r, "visit"), Surroundings: id(r, "surroundings"), FixAge: r.Size("fix_age_s"),
		AgainOf: id(r, "again_of"), Photos: photos(r)}
	f.Organism = readOrganism(r, f.Cause)
	if r.Need("state") {
		f.State = fields.Choose(r, "state", States)
	}
	if r.Need("found_at") {
		f.FoundAt = r.Moment("found_at")
	}
	f.Row, _ = r.Whole("row", 1, MaxRow)
	f.Plant, _ = r.Whole("plant", 1, MaxPlant)
	if n, ok := r.Whole("severity", 0, int(MaxSeverity)); ok {
		s := Severity(n)
		f.Severity = &s
	}
	if m := r.Size("accuracy_m"); m != nil {
		f.Accuracy = fault.P(geo.Metres(*m))
	}
	place(r, g, aPoint, "Point")
	if p, ok := g.Flat.(orb.Point); ok {
		f.At = &p
	}
	checkFindPlace(r, g)
	return f, r.Faults()
}

func checkFindPlace(r fields.Reader, g geo.Geometry) {
	// An empty text names no block; a wrong one has its own fault already.
	named := r.Has("block") && string(r.Raw("block")) != `""`
	if r.Has("plant") && !r.Has("row") {
		r.Fault("row", plantWithoutRow.Plain())
	}
	if r.Has("row") && !named {
		r.Fault("block", rowWithoutBlock.Plain())
	}
	if g.Empty() && !(named && r.Has("row") && r.Has("plant")) {
		r.Fault("geometry", nowhere.Plain())
	}
}

// RowPlants is one row of a block as far as finds need it.
type RowPlants struct {
	Number int
	Plants int // 0: not counted
	// HasPlace reports whether a number up to Plants has its place still; nil
	// says that all have.
	HasPlace func(plant int) bool
}

// Check holds a find's row and plant against the block's rows. Without rows
// there is nothing to hold it against.
func Check(f Find, rows []RowPlants) []fault.Detail {
	if len(rows) == 0 || f.Row == 0 {
		return nil
	}
	for _, row := range rows {
		if row.Number != f.Row {
			continue
		}
		if row.Plants > 0 && f.Plant > row.Plants {
			return []fault.Detail{{Field: "plant", Fix: fixPlace.Plain(),
				Text: noSuchPlant.With(words.Args{"row": f.Row, "plants": row.Plants, "plant": f.Plant})}}
		}
		if f.Plant > 0 && row.HasPlace != nil && !row.HasPlace(f.Plant) {
			return []fault.Detail{{Field: "plant", Fix: fixPlace.Plain(),
				Text: placeGone.With(words.Args{"row": f.Row, "plant": f.Plant})}}
		}
		return nil
	}
	return []fault.Detail{{Field: "row", Fix: fixPlace.Plain(),
		Text: noSuchRow.With(words.Args{"row": f.Row, "rows": rowSpan(rows)})}}
}

func rowSpan(rows []RowPlants) string {
	low, high := rows[0].Number, rows[0].Number
	for _, row := range rows {
		low, high = min(low, row.Number), max(high, row.Number)
	}
	return strconv.Itoa(low) + "–" + strconv.Itoa(high)
}
