package walk

import (
	"strconv"
	"strings"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/scouting"
)

// Numbers writes ascending numbers for people, runs of three and more as from–to.
func Numbers(numbers []int) string {
	var parts []string
	for i := 0; i < len(numbers); {
		j := i
		for j+1 < len(numbers) && numbers[j+1] == numbers[j]+1 {
			j++
		}
		switch {
		case j-i >= 2:
			parts = append(parts, strconv.Itoa(numbers[i])+"–"+strconv.Itoa(numbers[j]))
		default:
			for k := i; k <= j; k++ {
				parts = append(parts, strconv.Itoa(numbers[k]))
			}
		}
		i = j + 1
	}
	return strings.Join(parts, ", ")
}

var (
	againConfirmed = words.New("walk-again-confirmed", "Confirmed: a plant confirmed once stays so.", "Confirmada: una planta confirmada una vez lo sigue siendo.")
	againRemoved   = words.New("walk-again-removed", "Taken out: look for suckers and regrowth.", "Eliminada: busque retoños y rebrotes.")
	againRegrowth  = words.New("walk-again-regrowth", "Regrowth was seen after it was taken out.", "Se vieron rebrotes después de eliminarla.")
	againSuspected = words.New("walk-again-suspected", "Suspected and never settled.", "Sospechada y nunca aclarada.")
)

// Why says why a plant is looked at again.
func Why(e scouting.Episode) words.Text {
	switch {
	case e.Regrowth:
		return againRegrowth.Plain()
	case !e.Removed.IsZero():
		return againRemoved.Plain()
	case e.State == scouting.Confirmed:
		return againConfirmed.Plain()
	}
	return againSuspected.Plain()
}

// EpisodeJSON is a plant's history for a client; days are dates.
func EpisodeJSON(e scouting.Episode, l words.Language) map[string]any {
	finds := []any{}
	for _, f := range e.Finds {
		finds = append(finds, map[string]any{"id": f.ID, "found_at": f.Find.FoundAt, "state": f.Find.State, "words": f.Find.Words, "severity": f.Find.Severity, "visit": orNull(f.Find.Visit), "again": f.Again})
	}
	return map[string]any{"row": e.Row, "plant": e.Plant, "cause": e.Cause, "name": scouting.CauseName(e.Cause).In(l), "organism": e.Organism, "state": e.State, "severity": e.Severity,
		"first": e.First(), "last": e.Last(), "newest": e.Finds[len(e.Finds)-1].ID, "seasons": e.Seasons, "finds": finds, "generation": e.Generation,
		"removed": day(e.Removed), "regrowth": e.Regrowth, "replanted": day(e.Replanted)}
}

func day(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.Format(time.DateOnly)
}

func orNull(id records.ID) any {
	if id == "" {
		return nil
	}
	return id
}

var againHow = words.New("walk-again-how",
	"Plants with a find of the two seasons before that was not refuted, and confirmed plants that were not taken out. A place planted anew is another plant. Two seasons are common practice: newly infected plants usually show nothing until the next spring.",
	"Plantas con un hallazgo de las dos temporadas anteriores que no fue descartado, y plantas confirmadas que no se eliminaron. Un lugar replantado es otra planta. Dos temporadas es práctica común: las plantas recién infectadas no suelen mostrar nada hasta la primavera siguiente.")

// AgainHow says which plants are looked at again.
func AgainHow() words.Text { return againHow.Plain() }
