package web

import (
	"encoding/json"
	"net/http"

	"caneward/records"
	"caneward/records/people"
	"caneward/records/scouting"
)

func (s *Server) diagnosisRoutes() []route {
	return []route{
		{method: "GET", pattern: atFarm + "/names", id: "names", summary: "What a name may mean, and what tells one from the other", needs: farm, right: people.Read, handle: s.names,
			query: []parameter{{"q", "text", "a name as people say it, in English or Spanish, or an organism's"}}, replies: okJSON("naming", "candidates; ask says that somebody must choose")},
		{method: "POST", pattern: atFarm + "/samples/{id}/result", id: "enterResult", summary: "Enter a laboratory's result: the sample and every find it covers move together", needs: farm, right: people.Read, handle: s.enterResult,
			body: &body{types: []string{typeJSON}, schema: "labResult"}, replies: okJSON("resultEntered", "the sample and the finds as they are now"), refuses: []int{403, 404, 409, 412, 422, 507}},
	}
}

func diagnosisSchemas() object {
	return object{
		"naming": shape([]string{"q", "ask", "candidates"}, object{"q": text("as asked"), "ask": truth, "question": text("to put to somebody"),
			"candidates": list(shape([]string{"cause", "name"}, object{"cause": text("of a find"), "name": text("as shown"), "organisms": list(text("scientific name")), "hosts": text("what it lives on"), "signs": text("what to look at"), "when": text("season"),
				"advice": text("what guidance does about it"), "plant_goes": truth, "source": text("where this stands")}))}),
		"labResult": shape([]string{"answer", "result", "result_on"}, object{"answer": object{"type": "string", "enum": scouting.Answers}, "result": text("the laboratory's words"), "result_on": text("a date"),
			"found": object{"type": "string", "enum": scouting.Causes}, "organism": text("scientific name"), "accession": text("the laboratory's number"), "method": text("how"), "laboratory": text("its name"), "why": text("what to add to the reason")}),
		"resultEntered": shape([]string{"sample", "finds", "moved"}, object{"sample": ref("feature"), "finds": list(ref("feature")), "moved": whole}),
	}
}

// names tells what a name may mean, so that nobody digs out plants for another
// disease of the same name.
func (s *Server) names(x *exchange) error {
	q := x.query.Get("q")
	n := scouting.Name(q)
	all := []any{}
	for _, c := range n.Candidates {
		organisms := c.Organisms
		if organisms == nil {
			organisms = []string{}
		}
		all = append(all, map[string]any{"cause": c.Cause, "name": scouting.CauseName(c.Cause).In(x.lang), "organisms": organisms, "hosts": c.Hosts.In(x.lang), "signs": c.Signs.In(x.lang),
			"when": c.When.In(x.lang), "advice": scouting.CauseAdvice(c.Cause).In(x.lang), "plant_goes": scouting.PlantGoes(c.Cause), "source": c.Source.In(x.lang)})
	}
	return x.json(http.StatusOK, map[string]any{"q": q, "ask": n.Ask, "question": n.Question.In(x.lang), "candidates": all})
}

// enterResult writes a laboratory's result on its sample and moves every find
// the sample covers, in one act. Entered twice, nothing is written again.
func (s *Server) enterResult(x *exchange) error {
	id, err := x.id()
	if err != nil {
		return err
	}
	data, err := x.bodyBytes()
	if err != nil {
		return err
	}
	if err := checkSyntax(data); err != nil {
		return err
	}
	result, err := scouting.ParseLabResult(data)
	if err != nil {
		return err
	}
	writes, err := x.resultWrites(id, result)
	if err != nil {
		return err
	}
	outcomes, err := x.desk().PutTogether(x.r.Context(), x.farm, writes)
	if err != nil {
		return err
	}
	moved := 0
	for i, o := range outcomes {
		if o.Err != nil {
			return o.Err
		}
		s.metrics.wrote(writes[i].Kind, o)
		if writes[i].Kind == records.Finds {
			moved++
		}
	}
	return x.sendResult(id, moved)
}

// resultWrites are the revisions a result makes; what it leaves as it is makes
// none.
func (x *exchange) resultWrites(id records.ID, result scouting.LabResult) (writes []records.Write, err error) {
	err = x.view(func(r records.Reader) error {
		rev, err := r.Current(records.Samples, id)
		if err != nil {
			return err
		}
		properties, err := result.OnSample(rev.Record.Properties)
		if err != nil {
			return err
		}
		sample, _ := scouting.ParseSample(rev.Record.Geometry, properties)
		by := x.author(result.Reason(sample.Accession, x.lang))
		add := func(rev records.Revision, properties json.RawMessage) error {
			w := records.Write{Kind: rev.Kind, ID: rev.ID, Base: rev.Number, By: by, Record: records.Record{Geometry: rev.Record.Geometry, Properties: properties}}
			same, err := equal(rev.Record, w.Record)
			if err == nil && !same {
				writes = append(writes, w)
			}
			return err
		}
		if err := add(rev, properties); err != nil {
			return err
		}
		for _, find := range sample.Finds {
			rev, err := r.Current(records.Finds, find)
			if err != nil {
				return namedMissing(err, "finds")
			}
			f, _ := scouting.ParseFind(rev.Record.Geometry, rev.Record.Properties)
			properties, moved, err := result.OnFind(f, rev.Record.Properties)
			if err == nil && moved {
				err = add(rev, properties)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	return writes, err
}

func (x *exchange) sendResult(id records.ID, moved int) error {
	var sample json.RawMessage
	finds := []json.RawMessage{}
	err := x.view(func(r records.Reader) error {
		rev, err := r.Current(records.Samples, id)
		if err != nil {
			return err
		}
		if sample, err = encodeFeature(rev, nil); err != nil {
			return err
		}
		covered, _ := scouting.ParseSample(rev.Record.Geometry, rev.Record.Properties)
		for _, find := range covered.Finds {
			rev, err := r.Current(records.Finds, find)
			if err != nil {
				return err
			}
			one, err := encodeFeature(rev, nil)
			if err != nil {
				return err
			}
			finds = append(finds, one)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return x.json(http.StatusOK, map[string]any{"sample": sample, "finds": finds, "moved": moved})
}
