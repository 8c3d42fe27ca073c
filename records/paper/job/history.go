package job

import (
	"strconv"
	"strings"

	"caneward/blocks"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/records"
	"caneward/records/clock"
	"caneward/records/paper"
	"caneward/records/scouting"
	"caneward/records/spray"
)

var (
	evOutline = words.New("job-ev-outline", "outline", "contorno")
	evStage   = words.New("job-ev-stage", "stage", "etapa")
	evVisit   = words.New("job-ev-visit", "visit", "visita")
	evEntry   = words.New("job-ev-entry", "early entry", "entrada anticipada")
	evFind    = words.New("job-ev-find", "find", "hallazgo")
	evSample  = words.New("job-ev-sample", "laboratory", "laboratorio")
	evRemoval = words.New("job-ev-removal", "plants removed", "plantas quitadas")
	evPass    = words.New("job-ev-pass", "spray pass", "pasada de aplicación")

	evArea      = words.New("job-ev-area", "version {n}: {area}, {crop} {cultivar}", "versión {n}: {area}, {crop} {cultivar}")
	evCount     = words.New("job-ev-count", "{what}: {hits} of {sampled}", "{what}: {hits} de {sampled}")
	evWhere     = words.New("job-ev-where", "row {row}, plant {plant}", "hilera {row}, planta {plant}")
	evPlants    = words.New("job-ev-plants", "{n} plants, {how}", "{n} plantas, {how}")
	evRegrowth  = words.New("job-ev-regrowth", "regrowth seen on {day}", "rebrote visto el {day}")
	evCleanLook = words.New("job-ev-clean", "looked at on {day}, none", "revisado el {day}, ninguno")
)

// LoadHistory reads everything on record of a block. fault.Missing when there is
// no such block.
func (b Book) LoadHistory(r records.Reader, id records.ID, l words.Language) (History, error) {
	h := historian{book: b, say: say{b, l}, r: r, id: id, finds: map[records.ID]bool{}}
	versions, err := r.Revisions(records.Blocks, id)
	if err != nil {
		return History{}, err
	}
	if len(versions) == 0 {
		return History{}, records.RecordMissing()
	}
	h.outlines(versions)
	for _, step := range []func() error{h.stages, h.visits, h.allFinds, h.samples, h.removals} {
		if err := step(); err != nil {
			return History{}, err
		}
	}
	h.passes()
	sortEvents(h.events)
	return History{Block: b.names[id], Events: h.events}, nil
}

type historian struct {
	book   Book
	say    say
	r      records.Reader
	id     records.ID
	finds  map[records.ID]bool
	events []Event
}

func (h *historian) add(e Event) { h.events = append(h.events, e) }

func (h *historian) outlines(versions []records.Revision) {
	var before geo.SquareMetres
	for _, v := range versions {
		if v.Deleted {
			continue
		}
		parsed, _ := blocks.Parse(v.Record.Geometry, v.Record.Properties)
		area := measure.Area(v.Record.Geometry.Flat)
		if area == before {
			continue // other properties changed, the ground did not
		}
		before = area
		h.add(Event{At: v.At, What: evOutline.Plain(), By: v.By.Name,
			Details: strings.TrimRight(h.say.text(evArea.With(words.Args{"n": v.Number, "area": acres(area), "crop": parsed.Crop, "cultivar": parsed.Cultivar})), ", ")})
	}
}

func (h *historian) list(k records.Kind) ([]records.Revision, error) {
	page, err := h.r.List(k, records.Query{Equal: map[string]string{"block": string(h.id)}})
	return page.Revisions, err
}

func (h *historian) stages() error {
	list, err := h.list(records.Stages)
	for _, rev := range list {
		s, _ := scouting.ParseStage(rev.Record.Geometry, rev.Record.Properties)
		text := s.Stage
		if s.BBCH != nil {
			text += " (BBCH " + strconv.Itoa(*s.BBCH) + ")"
		}
		h.add(Event{At: s.On, What: evStage.Plain(), Details: text, By: rev.By.Name})
	}
	return err
}

func (h *historian) visits() error {
	list, err := h.list(records.Visits)
	for _, rev := range list {
		v, _ := scouting.ParseVisit(rev.Record.Geometry, rev.Record.Properties)
		what, parts := evVisit, []string{v.Purpose}
		if v.Purpose == clock.EarlyEntryPurpose {
			e, _ := clock.ParseEarlyEntry(rev.Record.Properties)
			what, parts = evEntry, []string{h.say.text(e.Exception.Name()), strings.Join(e.Workers, ", "), e.Gear}
		}
		for _, c := range v.Counts {
			parts = append(parts, h.say.text(evCount.With(words.Args{"what": c.What, "hits": c.Hits, "sampled": c.Sampled})))
		}
		h.add(Event{At: v.StartedAt, What: what.Plain(), Details: joined(parts), By: rev.By.Name})
	}
	return err
}

func joined(parts []string) string {
	var out []string
	for _, p := range parts {
		if strings.TrimSpace(p) != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, "; ")
}

func (h *historian) allFinds() error {
	list, err := h.list(records.Finds)
	for _, rev := range list {
		h.finds[rev.ID] = true
		f, _ := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
		parts := []string{h.say.text(scouting.CauseName(f.Cause)), h.say.text(scouting.StateName(f.State)), f.Words}
		if f.Row > 0 {
			parts = append(parts, h.say.text(evWhere.With(words.Args{"row": f.Row, "plant": f.Plant})))
		}
		h.add(Event{At: f.FoundAt, What: evFind.Plain(), Details: joined(parts), By: rev.By.Name})
	}
	return err
}

func (h *historian) samples() error {
	page, err := h.r.List(records.Samples, records.Query{})
	for _, rev := range page.Revisions {
		s, _ := scouting.ParseSample(rev.Record.Geometry, rev.Record.Properties)
		for _, f := range s.Finds {
			if h.finds[f] {
				h.add(Event{At: firstOf(s.ResultOn, s.SentOn), What: evSample.Plain(), Details: joined([]string{s.Laboratory, s.Accession, s.Result}), By: rev.By.Name})
				break
			}
		}
	}
	return err
}

func (h *historian) removals() error {
	list, err := h.list(records.Removals)
	for _, rev := range list {
		m, _ := scouting.ParseRemoval(rev.Record.Geometry, rev.Record.Properties)
		parts := []string{h.say.text(evPlants.With(words.Args{"n": len(m.Plants), "how": h.say.or(m.Disposal)}))}
		for _, c := range m.Checks {
			says := evCleanLook
			if c.Regrowth {
				says = evRegrowth
			}
			parts = append(parts, h.say.text(says.With(words.Args{"day": paper.Date(c.On, h.say.lang)})))
		}
		h.add(Event{At: m.DoneOn, What: evRemoval.Plain(), Details: joined(parts), By: rev.By.Name})
	}
	return err
}

func (h *historian) passes() {
	for _, s := range h.book.Sheets {
		there := false
		for _, b := range s.Blocks {
			there = there || b.ID == h.id
		}
		if !there || s.Pass.State != spray.Applied {
			continue
		}
		var parts []string
		for _, line := range s.Lines {
			parts = append(parts, h.say.or(line.Name)+" "+h.say.amount(line.Total)+" ("+h.say.text(hREI.Plain())+" "+h.say.reentry(line, s.Crops())+", "+h.say.text(hPHI.Plain())+" "+h.say.harvest(line, s.Crops())+")")
		}
		parts = append(parts, h.say.size(s), h.say.weather(s.Pass.Weather), s.Pass.People.Applicator, s.Equipment, s.Target)
		if s.CorrectedBy != "" {
			parts = append(parts, h.say.text(correctedBy.With(words.Args{"id": string(s.CorrectedBy)})))
		}
		if s.Corrects != "" {
			parts = append(parts, h.say.text(correctsIt.With(words.Args{"id": string(s.Corrects)})))
		}
		h.add(Event{At: s.begun(), What: evPass.Plain(), Details: joined(parts), By: s.WrittenBy})
	}
}
