package web

import (
	"bytes"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/fields"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/gpx"
	"caneward/records"
	"caneward/records/paper"
	"caneward/records/people"
	"caneward/records/scouting"
	"caneward/records/scouting/programme"
	"caneward/records/scouting/walk"
)

const (
	typeGPX = "application/gpx+xml"

	atBlockItem = atFarm + "/collections/blocks/items/{id}"
	atVisitItem = atFarm + "/collections/visits/items/{id}"
)

var (
	walkAskBad  = words.New("web-walk-ask-bad", "This walk cannot be drawn; see below.", "Este recorrido no se puede sortear; véase abajo.")
	numberParam = words.New("web-number-parameter", "“{name}” is a whole number; this is “{got}”.", "«{name}» es un número entero; esto es «{got}».")
	trackNeeded = words.New("web-track-needed", "A track is a GeoJSON LineString or MultiLineString of what was walked.", "Una traza es un LineString o MultiLineString GeoJSON de lo caminado.")
	againNamed  = words.New("web-again-named", "Say in “block” which block's plants.", "Diga en «block» las plantas de qué bloque.")
	sampleNamed = words.New("web-sample-named", "Say in “sample” which sample the slip is for.", "Diga en «sample» para qué muestra es la hoja.")
)

var (
	paramSeason = parameter{"season", "wholeNumber", "a year; without it this one"}
	paramPaper  = parameter{"paper", "text", "letter or a4; without it letter for farms in American time zones, else a4"}
	walkParams  = []parameter{{"block", "id", "where"}, {"programme", "text", "for which count"}, {"stops", "wholeNumber", "how many; without it the programme's"}, {"seed", "wholeNumber", "as printed with the walk"}, {"kind", "text", "random or spread"}}
)

func (s *Server) walkRoutes() []route {
	asked := func(schema string) *body { return &body{types: []string{typeJSON}, schema: schema} }
	return []route{
		{method: "GET", pattern: atVisitItem + "/summary", id: "visitSummary", summary: "What a visit looked at, did not look at, found and counted", needs: farm, right: people.Read, handle: s.visitSummary,
			replies: okJSON("visitSummary", "rows, plants, finds, counts with their answers"), refuses: []int{404}},
		{method: "POST", pattern: atVisitItem + "/walked", id: "walked", summary: "Which rows a recorded walk went along; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.walked,
			body: asked("walkedAsk"), replies: okJSON("walkedProposal", "a proposal of what was looked at"), refuses: []int{404, 422}},
		{method: "GET", pattern: atBlockItem + "/episodes", id: "episodes", summary: "Each plant's history: finds of one cause on one plant are one", needs: farm, right: people.Read, handle: s.episodes,
			query: []parameter{{"row", "wholeNumber", "of this row alone"}, {"plant", "wholeNumber", "of this plant number alone"}, {"cause", "text", "of this cause alone"}}, replies: okJSON("episodes", "by row, plant and cause"), refuses: []int{404}},
		{method: "GET", pattern: atBlockItem + "/look-again", id: "lookAgain", summary: "Plants of earlier seasons to look at again", needs: farm, right: people.Read, handle: s.lookAgain,
			query: []parameter{paramSeason}, replies: okJSON("lookAgain", "by row and plant"), refuses: []int{404}},
		{method: "GET", pattern: atBlockItem + "/counts", id: "pastCounts", summary: "What a season's visits counted in a block, weighed", needs: farm, right: people.Read, handle: s.pastCounts,
			query: []parameter{paramSeason}, replies: okJSON("pastCounts", "by programme and time"), refuses: []int{404}},
		{method: "GET", pattern: atFarm + "/reports/look-again.pdf", id: "lookAgainSheet", summary: "The plants to look at again, on paper", needs: farm, right: people.Read, long: true, handle: s.lookAgainSheet,
			query: []parameter{{"block", "id", "which"}, paramSeason, paramPaper}, replies: []reply{{200, []string{typePDF}, "binary", "the pages"}}, refuses: []int{422}},
		{method: "POST", pattern: atFarm + "/sampling-walk", id: "samplingWalk", summary: "Stops for a count, drawn from a seed; nothing stored", needs: farm, right: people.Read, computes: true, long: true, handle: s.samplingWalk,
			body: asked("samplingWalkAsk"), replies: []reply{{200, []string{typeJSON, typeGPX}, "samplingWalk", "the stops in walking order; GPX where Accept asks for it"}}, refuses: []int{422}},
		{method: "GET", pattern: atFarm + "/reports/sampling-walk.gpx", id: "samplingWalkFile", summary: "The same walk as a file for a receiver", needs: farm, right: people.Read, long: true, handle: s.samplingWalkFile,
			query: walkParams, replies: []reply{{200, []string{typeGPX}, "binary", "waypoints"}}, refuses: []int{422}},
		{method: "GET", pattern: atFarm + "/reports/sampling-walk.pdf", id: "samplingWalkSheet", summary: "The same walk on paper: map, and a line a stop to write on", needs: farm, right: people.Read, long: true, handle: s.samplingWalkSheet,
			query: append(slices.Clone(walkParams), paramPaper), replies: []reply{{200, []string{typePDF}, "binary", "the pages"}}, refuses: []int{422}},
		{method: "GET", pattern: atFarm + "/sample-instructions", id: "sampleInstructions", summary: "What to send to a laboratory, and the cautions that go with it", needs: farm, right: people.Read, handle: s.sampleInstructions,
			replies: okJSON("sampleInstructions", "as on the slip")},
		{method: "GET", pattern: atFarm + "/reports/sample-slip.pdf", id: "sampleSlip", summary: "The slip that goes with a sample, on paper", needs: farm, right: people.Read, long: true, handle: s.sampleSlip,
			query: []parameter{{"sample", "id", "which"}, paramPaper}, replies: []reply{{200, []string{typePDF}, "binary", "the page"}}, refuses: []int{422}},
	}
}

func walkSchemas() object {
	nullable := func(o object) object {
		n := object{"nullable": true}
		for k, v := range o {
			n[k] = v
		}
		return n
	}
	episode := object{
		"row": whole, "plant": whole, "cause": text("of the finds"), "name": text("as shown"), "organism": text("the newest named"), "state": text("the plant's: once confirmed it stays so"), "severity": nullable(whole),
		"first": text("when it was first found"), "last": text("when last"), "newest": text("id of the newest find, for again_of"), "seasons": list(whole), "finds": list(ref("any")), "generation": whole,
		"removed": nullable(text("a date")), "regrowth": truth, "replanted": nullable(text("a date")),
	}
	again := object{"why": text("why it is looked at again"), "seen": truth}
	for name, o := range episode {
		again[name] = o
	}
	return object{
		"visitSummary": shape([]string{"visit", "block", "rows_seen", "rows_not_seen"}, object{
			"visit": ref("id"), "block": ref("id"), "name": text("of the block"), "state": text("open, paused, closed or empty"), "started_at": text("when"), "ended_at": nullable(text("when")), "minutes": nullable(number),
			"rows_seen":     list(shape(nil, object{"row": whole, "spans": list(shape(nil, object{"from": whole, "to": whole})), "plants": whole, "of": whole, "whole": truth, "missing": list(whole)})),
			"rows_not_seen": list(whole), "plants": whole, "of": whole, "twice": whole, "uncounted": truth, "found": whole,
			"causes": list(shape(nil, object{"cause": text("of the finds"), "name": text("as shown"), "finds": whole, "plants": whole, "again": whole, "states": object{"type": "object", "additionalProperties": whole}})),
			"unsaid": list(shape(nil, object{"find": ref("id"), "words": text("the scout's"), "question": text("to put to somebody"), "causes": list(text("a cause"))})),
			"counts": list(shape(nil, object{"what": text("the programme's id"), "sampled": whole, "hits": whole, "answer": nullable(object{"allOf": []object{ref("countAnswer")}})})), "says": list(text("a sentence")),
		}),
		"pastCounts": shape([]string{"block", "season", "series"}, object{"block": ref("id"), "season": whole, "left_out": whole, "how": text("how they came about"), "caution": text("what a count is not"),
			"series": list(shape([]string{"programme", "counts"}, object{"programme": ref("programme"), "counts": list(object{"allOf": []object{ref("countAnswer"), shape([]string{"visit", "at"}, object{"visit": ref("id"), "at": text("when the visit began")})}})}))}),
		"sampleInstructions": shape([]string{"send", "cautions"}, object{"send": list(shape([]string{"text", "source"}, object{"text": text("what to do"), "source": text("where it stands")})), "cautions": list(text("a sentence"))}),
		"wholeNumber":        whole,
		"walkedAsk":          shape([]string{"track", "accuracy_m"}, object{"track": ref("geometry"), "accuracy_m": number}),
		"walkedProposal": shape([]string{"inspected", "stored"}, object{"inspected": list(shape(nil, object{"row": whole, "from": whole, "to": whole})), "rows": list(shape(nil, object{"row": whole, "chance": number, "fixes": whole, "plants": whole})),
			"fixes": whole, "unplaced": whole, "stored": truth, "how": text("how it came about")}),
		"episodes":        shape([]string{"episodes"}, object{"block": ref("id"), "episodes": list(shape(nil, episode)), "unplaced": list(ref("id"))}),
		"lookAgain":       shape([]string{"season", "plants"}, object{"block": ref("id"), "season": whole, "plants": list(shape(nil, again)), "how": text("which plants these are")}),
		"samplingWalkAsk": shape([]string{"block"}, object{"block": ref("id"), "programme": text("its id"), "stops": whole, "seed": whole, "kind": object{"type": "string", "enum": walk.Kinds}}),
		"samplingWalk": shape([]string{"stops", "seed"}, object{"block": ref("id"), "name": text("of the block"), "title": text("as shown"), "programme": nullable(text("its id")), "kind": text("random or spread"), "seed": whole, "generator": text("how it draws"), "plants": whole, "at_each": whole, "says": text("what to do"), "how": text("how it came about"),
			"stops": list(shape(nil, object{"number": whole, "row": whole, "plant": whole, "lon": nullable(number), "lat": nullable(number)}))}),
	}
}

func (s *Server) visitSummary(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	all, err := x.programmes()
	if err != nil {
		return err
	}
	var summary walk.Summary
	err = x.view(func(r records.Reader) error {
		summary, err = walk.Summarise(r, id, all)
		return err
	})
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, summary.JSON(x.lang))
}

// walkedAsk is the body of POST .../walked.
type walkedAsk struct {
	Track    json.RawMessage `json:"track"`
	Accuracy geo.Metres      `json:"accuracy_m"`
}

func (s *Server) walked(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	var ask walkedAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	track, err := ask.lines()
	if err != nil {
		return err
	}
	var ground walk.Ground
	err = x.view(func(r records.Reader) error {
		rev, err := r.Current(records.Visits, id)
		if err != nil {
			return err
		}
		visit, _ := scouting.ParseVisit(rev.Record.Geometry, rev.Record.Properties)
		ground, err = walk.Load(r, visit.Block)
		return err
	})
	if err != nil {
		return err
	}
	return x.alone(func() error {
		proposal, err := ground.Walked(x.r.Context(), track, ask.Accuracy)
		if err != nil {
			return err
		}
		return x.json(http.StatusOK, proposal.JSON(x.lang))
	})
}

func (a walkedAsk) lines() (orb.MultiLineString, error) {
	refused := fault.New(fault.Invalid, trackNeeded.Plain(), fault.Detail{Field: "track", Text: trackNeeded.Plain()})
	if len(a.Track) == 0 {
		return nil, refused
	}
	shape, err := wire.DecodeGeometry(a.Track, wire.Limits{})
	if err != nil {
		return nil, fault.Wrap(fault.Invalid, err, trackNeeded.Plain(), refused.Details...)
	}
	switch flat := shape.Flat.(type) {
	case orb.LineString:
		return orb.MultiLineString{flat}, nil
	case orb.MultiLineString:
		return flat, nil
	}
	return nil, refused
}

// whole reads a whole number of the query within bounds; otherwise where it is
// not given.
func (x *exchange) whole(name string, low, high, otherwise int) (int, error) {
	v, there := x.given(name)
	if !there {
		return otherwise, nil
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < low || n > high {
		text := numberParam.With(words.Args{"name": name, "got": shorten(v)})
		return 0, fault.New(fault.Malformed, text, fault.Detail{Field: name, Text: text})
	}
	return n, nil
}

func (s *Server) episodes(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	row, err := x.whole("row", 1, scouting.MaxRow, 0)
	if err != nil {
		return err
	}
	plant, err := x.whole("plant", 1, scouting.MaxPlant, 0)
	if err != nil {
		return err
	}
	cause, _ := x.given("cause")
	var all []scouting.Episode
	var unplaced []records.ID
	err = x.view(func(r records.Reader) error {
		_, all, unplaced, err = walk.Episodes(r, id)
		return err
	})
	if err != nil {
		return err
	}
	shown := []any{}
	for _, e := range all {
		if (row == 0 || e.Row == row) && (plant == 0 || e.Plant == plant) && (cause == "" || string(e.Cause) == cause) {
			shown = append(shown, walk.EpisodeJSON(e, x.lang))
		}
	}
	if unplaced == nil {
		unplaced = []records.ID{}
	}
	return x.json(http.StatusOK, map[string]any{"block": id, "episodes": shown, "unplaced": unplaced})
}

func (x *exchange) season() (int, error) { return x.whole("season", 1900, 9999, 0) }

// again reads a block's list for the season asked for.
func (x *exchange) again(r records.Reader, block records.ID) (walk.Again, error) {
	season, err := x.season()
	if err != nil {
		return walk.Again{}, err
	}
	return walk.LoadAgain(r, block, season, x.s.Now())
}

func (s *Server) lookAgain(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	var again walk.Again
	err = x.view(func(r records.Reader) error {
		again, err = x.again(r, id)
		return err
	})
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, again.JSON(x.lang))
}

func (s *Server) lookAgainSheet(x *exchange) error {
	name, _ := x.given("block")
	id, err := records.ParseID(name)
	if err != nil {
		return fault.New(fault.Invalid, againNamed.Plain(), fault.Detail{Field: "block", Text: againNamed.Plain()})
	}
	var again walk.Again
	return x.printed("look-again.pdf", func(r records.Reader) error {
		again, err = x.again(r, id)
		return namedMissing(err, "block")
	}, func(head paper.Head) ([]byte, error) { return again.Print(x.r.Context(), head) })
}

// printed reads what a paper shows, and prints and sends it.
func (x *exchange) printed(name string, load func(records.Reader) error, print func(paper.Head) ([]byte, error)) error {
	var head paper.Head
	err := x.view(func(r records.Reader) (err error) {
		if head, err = x.head(r); err != nil {
			return err
		}
		return load(r)
	})
	if err != nil {
		return err
	}
	return x.alone(func() error {
		data, err := print(head)
		if err != nil {
			return err
		}
		return x.attached(name, typePDF, data)
	})
}

// pastCounts weighs what a season's visits counted. A programme the farm hides
// still says what its counts meant.
func (s *Server) pastCounts(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	season, err := x.season()
	if err != nil {
		return err
	}
	edits, _, err := x.edits()
	if err != nil {
		return err
	}
	edits.Hidden = nil
	var series []walk.Series
	var left int
	err = x.view(func(r records.Reader) error {
		if season == 0 {
			zone, err := time.LoadLocation(r.Farm().Zone)
			if err != nil {
				return err
			}
			season = s.Now().In(zone).Year()
		}
		series, left, err = walk.CountsIn(r, id, season, programme.Merge(edits))
		return err
	})
	if err != nil {
		return err
	}
	shown := []any{}
	for _, one := range series {
		shown = append(shown, one.JSON(x.lang))
	}
	return x.json(http.StatusOK, map[string]any{"block": id, "season": season, "series": shown, "left_out": left, "how": walk.CountsHow().In(x.lang), "caution": programme.Caution().In(x.lang)})
}

// walkAsk is the body of POST .../sampling-walk.
type walkAsk struct {
	Block     records.ID `json:"block"`
	Programme string     `json:"programme"`
	Stops     *int       `json:"stops"`
	Seed      *int64     `json:"seed"`
	Kind      walk.Kind  `json:"kind"`
}

var (
	badKind = words.New("web-walk-kind", "kind is random or spread; this is “{got}”.", "kind es random o spread; esto es «{got}».")
	badSeed = words.New("web-walk-seed", "seed is a whole number from 0 to {most}.", "seed es un número entero de 0 a {most}.")
	badStop = words.New("web-walk-stops", "stops is a whole number from 1 to {most}.", "stops es un número entero de 1 a {most}.")
)

func (a *walkAsk) check(now time.Time) error {
	var details []fault.Detail
	add := func(field string, text words.Text) { details = append(details, fault.Detail{Field: field, Text: text}) }
	if a.Kind == "" {
		a.Kind = walk.Spread
	}
	if a.Kind != walk.Random && a.Kind != walk.Spread {
		add("kind", badKind.With(words.Args{"got": fields.Shorten(string(a.Kind))}))
	}
	if a.Seed == nil {
		a.Seed = fault.P(now.UnixMilli())
	}
	if *a.Seed < 0 || *a.Seed > walk.MaxSeed {
		add("seed", badSeed.With(words.Args{"most": walk.MaxSeed}))
	}
	if a.Stops == nil {
		a.Stops = new(int)
	} else if *a.Stops < 1 || *a.Stops > walk.MaxStops {
		add("stops", badStop.With(words.Args{"most": walk.MaxStops}))
	}
	if details != nil {
		return fault.New(fault.Invalid, walkAskBad.Plain(), details...)
	}
	return nil
}

// drawWalk draws the walk asked for.
func (x *exchange) drawWalk(ask walkAsk) (plan walk.Plan, err error) {
	if err := ask.check(x.s.Now()); err != nil {
		return plan, err
	}
	var p *programme.Programme
	if ask.Programme != "" {
		all, err := x.programmes()
		if err != nil {
			return plan, err
		}
		one, err := programme.Of(all, ask.Programme)
		if err != nil {
			return plan, err
		}
		p = &one
	}
	var ground walk.Ground
	err = x.view(func(r records.Reader) error {
		ground, err = walk.Load(r, ask.Block)
		return namedMissing(err, "block")
	})
	if err != nil {
		return plan, err
	}
	err = x.alone(func() error {
		plan, err = ground.NewPlan(p, *ask.Stops, ask.Kind, uint64(*ask.Seed))
		return err
	})
	return plan, err
}

func (s *Server) samplingWalk(x *exchange) error {
	var ask walkAsk
	if err := x.bodyJSON(&ask); err != nil {
		return err
	}
	plan, err := x.drawWalk(ask)
	if err != nil {
		return err
	}
	x.w.Header().Add("Vary", "Accept")
	if strings.Contains(x.r.Header.Get("Accept"), typeGPX) {
		return x.sendWalk(plan)
	}
	return x.json(http.StatusOK, plan.JSON(x.lang))
}

// walkGiven reads a walk out of the address.
func (x *exchange) walkGiven() (ask walkAsk, err error) {
	text := func(name string) string { v, _ := x.given(name); return v }
	ask = walkAsk{Block: records.ID(text("block")), Programme: text("programme"), Kind: walk.Kind(text("kind"))}
	seed, err := x.whole("seed", 0, walk.MaxSeed, -1)
	if err != nil {
		return ask, err
	}
	if seed >= 0 {
		ask.Seed = fault.P(int64(seed))
	}
	stops, err := x.whole("stops", 1, walk.MaxStops, 0)
	if stops > 0 {
		ask.Stops = &stops
	}
	return ask, err
}

func (s *Server) samplingWalkFile(x *exchange) error {
	ask, err := x.walkGiven()
	if err != nil {
		return err
	}
	plan, err := x.drawWalk(ask)
	if err != nil {
		return err
	}
	return x.sendWalk(plan)
}

func (s *Server) samplingWalkSheet(x *exchange) error {
	ask, err := x.walkGiven()
	if err != nil {
		return err
	}
	plan, err := x.drawWalk(ask)
	if err != nil {
		return err
	}
	return x.printed("sampling-walk.pdf", func(records.Reader) error { return nil }, func(head paper.Head) ([]byte, error) { return plan.Print(x.r.Context(), head) })
}

func (x *exchange) sendWalk(plan walk.Plan) error {
	var b bytes.Buffer
	if err := gpx.Write(x.r.Context(), &b, plan.Document(x.lang)); err != nil {
		return err
	}
	return x.attached("sampling-walk.gpx", typeGPX, b.Bytes())
}

func (s *Server) sampleSlip(x *exchange) error {
	name, _ := x.given("sample")
	id, err := records.ParseID(name)
	if err != nil {
		return fault.New(fault.Invalid, sampleNamed.Plain(), fault.Detail{Field: "sample", Text: sampleNamed.Plain()})
	}
	var slip walk.Slip
	return x.printed("sample-slip.pdf", func(r records.Reader) error {
		slip, err = walk.LoadSlip(r, id)
		return namedMissing(err, "sample")
	}, func(head paper.Head) ([]byte, error) { return slip.Print(x.r.Context(), head) })
}

func (s *Server) sampleInstructions(x *exchange) error {
	send, cautions := []any{}, []string{}
	for _, i := range walk.Instructions() {
		send = append(send, map[string]string{"text": i.Text.In(x.lang), "source": i.Source.In(x.lang)})
	}
	for _, c := range walk.Cautions() {
		cautions = append(cautions, c.In(x.lang))
	}
	x.w.Header().Add("Vary", "Accept-Language")
	return x.json(http.StatusOK, map[string]any{"send": send, "cautions": cautions})
}
