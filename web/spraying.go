package web

import (
	"encoding/json"
	"net/http"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/calc"
	"caneward/records/people"
	"caneward/records/spray"
)

var (
	sprayersRole = words.New("web-sprayers-role", "The owner or an applicator changes the sprayers; your role on this farm is {role}.", "El dueño o un aplicador cambia los pulverizadores; su función en esta finca es {role}.")
	noSprayer    = words.New("web-no-such-sprayer", "There is no sprayer “{id}” on this farm.", "No hay en esta finca ningún pulverizador «{id}».")
	calcInputs   = words.New("web-calc-inputs", "The inputs of a sum are one JSON object: {problem}.", "Las entradas de una fórmula son un objeto JSON: {problem}.")
)

func (s *Server) sprayRoutes() []route {
	asked := func(schema string) *body { return &body{types: []string{typeJSON}, schema: schema} }
	return []route{
		{method: "GET", pattern: atFarm + "/calc", id: "calcTopics", summary: "The sums of the trade, with their inputs, formulas and sources", needs: farm, right: people.Read, handle: s.calcTopics,
			replies: okJSON("calcTopics", "every sum, in groups")},
		{method: "POST", pattern: atFarm + "/calc/{topic:[a-z0-9_]+}", id: "calc", summary: "One sum worked out; nothing stored", needs: farm, right: people.Read, computes: true, handle: s.calc,
			body: asked("any"), replies: okJSON("calcAnswer", "the answer with its formula and source"), refuses: []int{404, 422}},
		{method: "GET", pattern: atFarm + "/sprayers", id: "sprayers", summary: "The farm's sprayers and what calibrating them gave", needs: farm, right: people.Read, handle: s.showSprayers,
			replies: okJSON("sprayers", "the document, and its calibrations worked out")},
		{method: "PUT", pattern: atFarm + "/sprayers", id: "putSprayers", summary: "Replace the farm's sprayers", needs: farm, right: people.Read, handle: s.putSprayers,
			headers: []string{"If-Match", "If-None-Match", whyHeader}, body: asked("sprayersDocument"), replies: okJSON("sprayers", "the list as it is now"), refuses: []int{403, 412, 422, 428, 507}},
		{method: "GET", pattern: atFarm + "/sprayers/revisions", id: "sprayersRevisions", summary: "Every revision of the farm's sprayers, oldest first", needs: farm, right: people.Read,
			handle: func(x *exchange) error { return x.sendDocumentRevisions(spray.SprayersDocument) }, replies: okJSON("documentRevisions", "who, when, why, what")},
	}
}

func spraySchemas() object {
	figure := shape(nil, object{"value": number, "unit": text("as people write it"), "formula": text("in words"), "source": text("where it stands"), "how": text("what it means")})
	calibration := shape([]string{"on", "with", "inputs"}, object{"on": text("a date"), "with": object{"type": "string", "enum": spray.Calibrations}, "inputs": ref("any"), "nozzles": list(number), "note": text("beside it")})
	return object{
		"sprayersDocument": shape(nil, object{"sprayers": list(shape([]string{"id", "name", "method"}, object{"id": text("small letters, digits, hyphens"), "name": text("as shown"),
			"method": object{"type": "string", "enum": spray.Methods}, "droplets": object{"type": "string", "enum": spray.DropletClasses}, "height_m": number, "swath_m": number, "tank": ref("amount"), "calibrations": list(calibration)}))}),
		"sprayers": shape([]string{"document", "revision", "worked"}, object{"document": ref("sprayersDocument"), "revision": whole, "etag": text("for If-Match"),
			"worked": list(shape(nil, object{"id": text("of the sprayer"), "name": text("as shown"), "calibrations": list(shape(nil, object{"on": text("a date"), "with": text("the sum"), "output": figure, "nozzles": ref("any")}))}))}),
		"calcTopics": shape([]string{"groups"}, object{"groups": list(shape(nil, object{"id": text("of the group"), "title": text("as shown"), "topics": list(shape(nil, object{"topic": text("its name"), "title": text("as shown"),
			"formula": text("in words"), "source": text("where it stands"),
			"inputs": list(shape(nil, object{"key": text("its name"), "title": text("as shown"), "kind": object{"type": "string", "enum": []string{"number", "whole", "text", "list", "date", "local-time"}}, "optional": truth, "least": number, "most": number, "choices": list(text("a word"))}))}))}))}),
		"calcAnswer": shape([]string{"value", "unit", "formula", "source"}, object{"topic": text("its name"), "value": ref("any"), "unit": text("as people write it"), "formula": text("in words"), "source": text("where it stands"), "how": text("what it means, with cautions")}),
	}
}

// calcTopics lists the sums for a page.
func (s *Server) calcTopics(x *exchange) error {
	groups := []any{}
	all := calc.Sheet()
	for _, g := range calc.Groups {
		topics := []any{}
		for _, t := range all {
			if t.Group == g {
				topics = append(topics, topicJSON(t, x.lang))
			}
		}
		groups = append(groups, map[string]any{"id": g, "title": g.Title().In(x.lang), "topics": topics})
	}
	x.w.Header().Add("Vary", "Accept-Language")
	return x.json(http.StatusOK, map[string]any{"groups": groups})
}

func topicJSON(t calc.Topic, l words.Language) map[string]any {
	inputs := []any{}
	for _, k := range t.Keys {
		one := map[string]any{"key": k.Name, "title": k.Title.In(l), "kind": k.Kind, "optional": k.Optional}
		if k.Most > k.Least {
			one["least"], one["most"] = k.Least, k.Most
		}
		if len(k.Choices) > 0 {
			one["choices"] = k.Choices
		}
		inputs = append(inputs, one)
	}
	return map[string]any{"topic": t.Name, "title": t.Title.In(l), "formula": t.Formula, "source": t.Source, "inputs": inputs}
}

// calc works one sum out.
func (s *Server) calc(x *exchange) error {
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	given, err := calc.ParseObject(data)
	if err != nil {
		return fault.Wrap(fault.Malformed, err, calcInputs.With(words.Args{"problem": err.Error()}))
	}
	topic := x.vars["topic"]
	answer, err := calc.Do(topic, given)
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"topic": topic, "value": answer.Value, "unit": answer.Unit, "formula": answer.Formula, "source": answer.Source, "how": answer.How.In(x.lang)})
}

// sprayers are the farm's; none where it never named any, then d is zero.
func (x *exchange) sprayers() (list []spray.Sprayer, d records.Document, err error) {
	d, err = x.s.Store.Document(x.r.Context(), x.farm, spray.SprayersDocument)
	if fault.Is(err, fault.Missing) {
		return nil, records.Document{}, nil
	}
	if err != nil {
		return nil, d, err
	}
	list, err = spray.ParseSprayers(d.Content)
	return list, d, err
}

func (s *Server) showSprayers(x *exchange) error {
	list, d, err := x.sprayers()
	if err != nil {
		return err
	}
	return x.sendSprayers(list, d)
}

func (x *exchange) sendSprayers(list []spray.Sprayer, d records.Document) error {
	worked := []any{}
	for _, one := range list {
		worked = append(worked, one.JSON(x.lang))
	}
	answer := map[string]any{"document": json.RawMessage(`{"sprayers":[]}`), "revision": d.Number, "etag": "", "worked": worked}
	if d.Number > 0 {
		answer["etag"], answer["document"] = d.ETag(), d.Content
		x.w.Header().Set("ETag", d.ETag())
	}
	x.w.Header().Add("Vary", "Accept-Language")
	return x.json(http.StatusOK, answer)
}

func (s *Server) putSprayers(x *exchange) error {
	if x.role != records.Owner && x.role != records.Applicator {
		return fault.New(fault.Forbidden, sprayersRole.With(words.Args{"role": people.RoleName(x.role)}))
	}
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	list, err := spray.ParseSprayers(data)
	if err != nil {
		return err
	}
	d, err := x.putDocument(spray.SprayersDocument, data)
	if err != nil {
		return err
	}
	return x.sendSprayers(list, d)
}

// chooseSprayer fills in the machine a draft names; what the draft says of method,
// droplets and height outranks it.
func (x *exchange) chooseSprayer(q *spray.Request) error {
	if q.SprayerID == "" {
		return nil
	}
	list, _, err := x.sprayers()
	if err != nil {
		return err
	}
	if !q.Use(list) {
		t := noSprayer.With(words.Args{"id": q.SprayerID})
		return fault.New(fault.Invalid, t, fault.Detail{Field: "sprayer", Text: t})
	}
	return nil
}
