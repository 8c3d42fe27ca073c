package walk

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/paper"
	"caneward/records/scouting"
)

// Again is a block's plants to look at again in a season.
type Again struct {
	Ground
	Season int
	Plants []scouting.Episode
	Seen   scouting.Effort // what the season's visits looked at
}

// LoadAgain reads it; season 0 is the one of now. fault.Missing when there is no
// such block.
func LoadAgain(r records.Reader, block records.ID, season int, now time.Time) (Again, error) {
	g, all, _, err := Episodes(r, block)
	if err != nil {
		return Again{}, err
	}
	if season == 0 {
		season = now.In(g.Zone).Year()
	}
	a := Again{Ground: g, Season: season, Plants: scouting.LookAgain(all, season)}
	a.Seen, err = g.SeenIn(r, season)
	return a, err
}

// JSON is the list for a client.
func (a Again) JSON(l words.Language) map[string]any {
	plants := []any{}
	for _, e := range a.Plants {
		one := EpisodeJSON(e, l)
		one["why"], one["seen"] = Why(e).In(l), a.Seen.Saw(e.Row, e.Plant)
		plants = append(plants, one)
	}
	return map[string]any{"block": a.ID, "season": a.Season, "plants": plants, "how": againHow.Plain().In(l)}
}

var (
	againTitle   = words.New("walk-again-title", "Plants to look at again: {block}", "Plantas por revisar otra vez: {block}")
	againLine    = words.New("walk-again-line", "Season {season}", "Temporada {season}")
	againNone    = words.New("walk-again-none", "There is no such plant in this block.", "No hay ninguna planta así en este bloque.")
	againSum     = words.New("walk-again-sum", "{plants} plants, {seen} of them looked at this season.", "{plants} plantas, {seen} de ellas ya revisadas esta temporada.")
	againKey     = words.New("walk-again-key", "{cause}: {state}", "{cause}: {state}")
	againGone    = words.New("walk-again-gone", "taken out", "eliminada")
	againPlant   = words.New("walk-again-plant", "Row, plant", "Hilera, planta")
	againWhat    = words.New("walk-again-what", "What", "Qué")
	againState   = words.New("walk-again-state", "State", "Estado")
	againFound   = words.New("walk-again-found", "Found", "Hallado")
	againBecause = words.New("walk-again-because", "Why", "Por qué")
	againSeen    = words.New("walk-again-seen", "Seen", "Vista")
	againToday   = words.New("walk-again-today", "What you see", "Lo que ve")
	againYes     = words.New("walk-again-yes", "yes", "sí")

	// Cautions 7 and 16 of the trade notes, in our own words; the clean spring
	// from its section 2.1.
	againCautions = []words.Text{
		words.New("walk-again-clean", "A clean spring does not clear a plant or a block: an infected plant may show nothing.", "Una primavera limpia no libra a una planta ni a un bloque: una planta infectada puede no mostrar nada.").Plain(),
		words.New("walk-again-suspicion", "What is seen is a suspicion. Confirm it by a laboratory or a qualified adviser before plants are removed: that cannot be undone.", "Lo que se ve es una sospecha. Confírmela con un laboratorio o un asesor calificado antes de eliminar plantas: no se puede deshacer.").Plain(),
		entryCaution.Plain(),
	}
)

// Print writes the list for a clipboard. Head.Title and Head.Line are filled in
// here.
func (a Again) Print(ctx context.Context, head paper.Head) ([]byte, error) {
	head.Title = againTitle.With(words.Args{"block": a.Name})
	head.Line = againLine.With(words.Args{"season": strconv.Itoa(a.Season)})
	d := paper.New(ctx, head)
	var all []placed
	seen := 0
	for _, e := range a.Plants {
		all = append(all, placed{Place: e.Place, mark: markOf(e)})
		if a.Seen.Saw(e.Row, e.Plant) {
			seen++
		}
	}
	keys := a.keys(d)
	a.sheet(d, all, keys...)
	if len(all) == 0 {
		d.Paragraph(againNone.Plain())
	} else {
		d.Paragraph(againSum.With(words.Args{"plants": len(all), "seen": seen}))
	}
	d.Paragraph(againHow.Plain())
	if len(all) > 0 {
		d.Table(a.table(d))
	}
	d.Box(paper.Care, againCautions...)
	return d.Bytes()
}

// keys explain the marks that are there; causes that share a shape share a line.
func (a Again) keys(d *paper.Doc) (keys []paper.Key) {
	causes := map[paper.Mark][]string{}
	var order []scouting.Episode
	for _, e := range a.Plants {
		mark, name := markOf(e), d.Say(scouting.CauseName(e.Cause))
		if causes[mark] == nil {
			order = append(order, e)
		}
		if !slices.Contains(causes[mark], name) {
			causes[mark] = append(causes[mark], name)
		}
	}
	for _, e := range order {
		mark, text := markOf(e), againGone.Plain()
		if e.Removed.IsZero() {
			text = againKey.With(words.Args{"cause": strings.Join(causes[mark], ", "), "state": scouting.StateName(e.State)})
		}
		keys = append(keys, paper.Key{Text: text, Mark: &mark})
	}
	return keys
}

// markOf tells cause by shape and state by filling, as on the page's map.
func markOf(e scouting.Episode) paper.Mark {
	m := paper.Mark{Size: 2.4, Shape: paper.Square, Fill: paper.Hollow}
	if !e.Removed.IsZero() {
		m.Shape = paper.Cross
		return m
	}
	switch e.Cause {
	case scouting.OrangeRust:
		m.Shape = paper.Diamond
	case scouting.CaneLeafRust, scouting.LateLeafRust, scouting.YellowRust:
		m.Shape = paper.Triangle
	case scouting.CrownGall, scouting.CaneBorerGall:
		m.Shape = paper.Circle
	}
	switch e.State {
	case scouting.Sampled:
		m.Fill = paper.Dot
	case scouting.Confirmed:
		m.Fill = paper.Filled
	}
	return m
}

func (a Again) table(d *paper.Doc) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: againPlant.Plain()}, {Head: againWhat.Plain(), Wraps: true}, {Head: againState.Plain()},
		{Head: againFound.Plain()}, {Head: againBecause.Plain(), Wraps: true}, {Head: againSeen.Plain()}, {Head: againToday.Plain()}}}
	for _, e := range a.Plants {
		what := d.Say(scouting.CauseName(e.Cause))
		if e.Organism != "" {
			what += " (" + e.Organism + ")"
		}
		var years []string
		for _, y := range e.Seasons {
			years = append(years, strconv.Itoa(y))
		}
		saw := ""
		if a.Seen.Saw(e.Row, e.Plant) {
			saw = d.Say(againYes.Plain())
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(e.Row) + ", " + strconv.Itoa(e.Plant), what, d.Say(scouting.StateName(e.State)), strings.Join(years, ", "), d.Say(Why(e)), saw, ruled})
	}
	return t
}

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
