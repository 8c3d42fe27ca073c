package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"caneward/records"
	"caneward/records/people"
)

const mites = `{"programmes":[{"id":"mites","cause":"mites","title":"Mites","what":"mites","unit":"leaves","method":"poisson","level":25}],"hidden":["stink-bug-traps"]}`

func TestProgrammes(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		at := "/farms/mine/programmes"
		owner := s.as("owner")
		first := owner.do("GET", at, nil)
		if v := first.json(t); first.status != 200 || v["revision"] != 0.0 || len(v["programmes"].([]any)) < 10 || first.header.Get("ETag") != "" {
			t.Fatalf("at first: %d %.300s", first.status, first.body)
		}
		if g := owner.do("PUT", at, mites, "If-Match", `"1-0000000000000000"`); g.status != 412 {
			t.Errorf("replacing what is not there: %d", g.status)
		}
		if g := owner.do("PUT", at, `{"programmes":[{"id":"x"}]}`); g.status != 422 || g.json(t)["errors"] == nil {
			t.Errorf("half a programme: %d %s", g.status, g.body)
		}
		kept := owner.do("PUT", at, mites, whyHeader, "our%20adviser%27s%20level")
		if v := kept.json(t); kept.status != 200 || v["revision"] != 1.0 || v["etag"] != kept.header.Get("ETag") {
			t.Fatalf("the first: %d %.300s", kept.status, kept.body)
		}
		if g := owner.do("PUT", at, mites); g.status != 200 || g.header.Get("ETag") != kept.header.Get("ETag") {
			t.Errorf("the first again: %d", g.status)
		}
		if g := owner.do("PUT", at, `{}`); g.status != 428 {
			t.Errorf("without a word on what it replaces: %d", g.status)
		}
		if g := owner.do("PUT", at, `{}`, "If-None-Match", "*"); g.status != 412 {
			t.Errorf("create only: %d", g.status)
		}
		for _, role := range people.Roles {
			want := 403
			if role == "owner" || role == "adviser" {
				want = 200
			}
			c := s.as(string(role))
			now := c.do("GET", at, nil)
			if g := c.do("PUT", at, `{"hidden":["fly-traps","`+"x-"+string(role)+`"]}`, "If-Match", now.header.Get("ETag")); g.status != want {
				t.Errorf("%s: %d, want %d: %s", role, g.status, want, g.body)
			}
		}
		if g := s.as("stranger").do("GET", "/farms/theirs/programmes", nil); g.json(t)["revision"] != 0.0 {
			t.Errorf("another farm: %s", g.body)
		}
		// A phone that catches up hears of it.
		v := owner.do("GET", at, nil).json(t)
		if feed := owner.do("GET", "/farms/mine/changes?after=0", nil).json(t); feed["documents"].(map[string]any)["programmes"] != v["etag"] {
			t.Errorf("the feed says %v, the document %v", feed["documents"], v["etag"])
		}
		if feed := s.as("stranger").do("GET", "/farms/theirs/changes?after=0", nil).json(t); len(feed["documents"].(map[string]any)) != 0 {
			t.Errorf("another farm's feed: %v", feed["documents"])
		}
		if unused := v["unused"].([]any); len(unused) != 1 || unused[0].(map[string]any)["id"] != "fly-traps" || unused[0].(map[string]any)["built_in"] != true {
			t.Errorf("not used here: %v", unused)
		}
		revisions := owner.do("GET", at+"/revisions", nil).json(t)["revisions"].([]any)
		if len(revisions) != 3 || revisions[0].(map[string]any)["why"] != "our adviser's level" {
			t.Errorf("revisions: %v", revisions)
		}
	})
}

func TestCounts(t *testing.T) {
	s := newSite(t)
	c := s.as("scout")
	at := "/farms/mine/counts"
	g := c.do("POST", at, `{"programme":"clipped-buds","sampled":100,"hits":1}`, "Accept-Language", "es")
	v := g.json(t)
	if g.status != 200 || v["answer"] != "cannot-tell" || v["says"] != "todavía no se puede decir" || v["source"] != "práctica común" || v["level"] != 0.01 || v["excludes"] != nil {
		t.Errorf("1 of 100 at 1 %%: %d %s", g.status, g.body)
	}
	if g := c.do("POST", at, `{"programme":"orange-rust-plants","sampled":299,"hits":0}`); g.json(t)["excludes"] != "299 plants seen, none with it: under 1 % with 95 % sureness" {
		t.Errorf("299 clean: %s", g.body)
	}
	for body, field := range map[string]string{
		`{"programme":"nothing","sampled":1,"hits":0}`:                                            "programme",
		`{"programme":"clipped-buds","sampled":0,"hits":0}`:                                       "sampled",
		`{"programme":"clipped-buds","sampled":5,"hits":6}`:                                       "hits",
		`{"programme":"clipped-buds","sampled":5,"hits":1,"block":"` + string(s.ids.New()) + `"}`: "block",
		`{"programme":"clipped-buds","sampled":5,"hits":1,"visit":"` + string(s.ids.New()) + `"}`: "visit",
	} {
		g := c.do("POST", at, body)
		errors, _ := g.json(t)["errors"].([]any)
		if g.status != 422 || len(errors) != 1 || errors[0].(map[string]any)["field"] != field {
			t.Errorf("%s: %d %s, want one fault at %s", body, g.status, g.body, field)
		}
	}
}

func (s *site) block(c *client) records.ID {
	id := s.ids.New()
	s.make(c, "blocks", block(id, "Home"))
	for n := 1; n <= 4; n++ {
		lon := -80.4199 + float64(n)*0.0001
		s.make(c, "rows", feature(s.ids.New(), map[string]any{"type": "LineString", "coordinates": [][2]float64{{lon, 35.8701}, {lon, 35.8719}}},
			map[string]any{"block": id, "number": n, "plants": 60, "missing": []int{3, 4}}))
	}
	return id
}

func (s *site) find(c *client, block records.ID, row, plant int, cause, state, at string, more map[string]any) records.ID {
	s.t.Helper()
	id := s.ids.New()
	p := map[string]any{"block": block, "row": row, "plant": plant, "cause": cause, "state": state, "found_at": at}
	for k, v := range more {
		p[k] = v
	}
	s.make(c, "finds", feature(id, nil, p))
	return id
}

// A result moves every find it covers in one act, with the reason on each
// revision; a second sending writes nothing; a find that does not fit stops all.
func TestResult(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner, scout := s.as("owner"), s.as("scout")
		home := s.block(owner)
		var finds []records.ID
		for plant := 10; plant < 13; plant++ {
			finds = append(finds, s.find(scout, home, 2, plant, "orange-rust", "sampled", "2026-04-14T09:30:00-04:00", map[string]any{"words": "orange stuff", "organism": "Gymnoconia nitens"}))
		}
		sample := s.ids.New()
		s.make(scout, "samples", feature(sample, nil, map[string]any{"finds": finds, "sent_on": "2026-04-15", "accession": "26-0417", "kept": 1.50}))
		at := "/farms/mine/samples/" + string(sample) + "/result"
		body := `{"answer":"confirmed","result":"uredinia of Kuehneola uredinis on canes","result_on":"2026-04-22","found":"cane-leaf-rust","organism":"Kuehneola uredinis","laboratory":"county plant clinic","why":"by telephone"}`
		if g := s.as("viewer").do("POST", at, body); g.status != 403 {
			t.Errorf("viewer: %d", g.status)
		}
		if g := s.as("applicator").do("POST", at, body); g.status != 403 {
			t.Errorf("applicator: %d", g.status)
		}
		if g := scout.do("POST", at, `{"answer":"confirmed"}`); g.status != 422 || len(g.json(t)["errors"].([]any)) != 2 {
			t.Errorf("half a result: %d %s", g.status, g.body)
		}
		g := scout.do("POST", at, body)
		if v := g.json(t); g.status != 200 || v["moved"] != 3.0 || len(v["finds"].([]any)) != 3 {
			t.Fatalf("result: %d %s", g.status, g.body)
		}
		for _, id := range finds {
			v := scout.do("GET", itemAt("finds", id), nil).json(t)
			p := v["properties"].(map[string]any)
			if p["state"] != "confirmed" || p["cause"] != "cane-leaf-rust" || p["organism"] != "Kuehneola uredinis" || p["words"] != "orange stuff" || v["revision"] != 2.0 {
				t.Errorf("find: %v", v)
			}
			if v["why"] != "by telephone. Laboratory result 26-0417 of 2026-04-22: uredinia of Kuehneola uredinis on canes" {
				t.Errorf("why: %v", v["why"])
			}
		}
		before := owner.do("GET", "/farms/mine/changes?after=0", nil).json(t)["sequence"]
		if g := scout.do("POST", at, body); g.status != 200 || g.json(t)["moved"] != 0.0 {
			t.Errorf("sent again: %d %s", g.status, g.body)
		}
		if after := owner.do("GET", "/farms/mine/changes?after=0", nil).json(t)["sequence"]; after != before {
			t.Errorf("sent again wrote revisions: %v, then %v", before, after)
		}
		if g := scout.do("POST", "/farms/mine/samples/"+string(s.ids.New())+"/result", body); g.status != 404 {
			t.Errorf("no such sample: %d", g.status)
		}
		// One of two finds has lost its row since: nothing is written at all.
		lost := s.find(scout, home, 4, 10, "orange-rust", "sampled", "2026-04-14T09:30:00-04:00", nil)
		other := s.find(scout, home, 2, 20, "orange-rust", "sampled", "2026-04-14T09:30:00-04:00", nil)
		second := s.ids.New()
		s.make(scout, "samples", feature(second, nil, map[string]any{"finds": []records.ID{other, lost}}))
		if g := scout.do("DELETE", itemAt("finds", lost), nil, "If-Match", "*"); g.status != 204 {
			t.Fatalf("delete: %d %s", g.status, g.body)
		}
		if g := scout.do("POST", "/farms/mine/samples/"+string(second)+"/result", body); g.status != 422 {
			t.Errorf("a find is gone: %d %s", g.status, g.body)
		}
		if v := scout.do("GET", itemAt("finds", other), nil).json(t); v["revision"] != 1.0 {
			t.Errorf("half of it was written: %v", v)
		}
	})
}

func TestNames(t *testing.T) {
	s := newSite(t)
	c := s.as("scout")
	v := c.do("GET", "/farms/mine/names?q=yellow%20rust", nil, "Accept-Language", "es").json(t)
	if v["ask"] != true || len(v["candidates"].([]any)) != 3 || v["candidates"].([]any)[0].(map[string]any)["name"] != "roya amarilla de la frambuesa" {
		t.Errorf("yellow rust: %v", v)
	}
	if v := c.do("GET", "/farms/mine/names", nil).json(t); v["ask"] != false || len(v["candidates"].([]any)) != 1 {
		t.Errorf("nothing: %v", v)
	}
}

func below(kind string, id records.ID, rest string) string {
	return "/farms/mine/collections/" + kind + "/items/" + string(id) + "/" + rest
}

func TestVisitSummary(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner, scout := s.as("owner"), s.as("scout")
		home := s.block(owner)
		s.find(scout, home, 1, 7, "orange-rust", "suspected", "2026-04-10T09:30:00-04:00", nil)
		visit := s.ids.New()
		s.make(scout, "visits", feature(visit, nil, map[string]any{"block": home, "started_at": "2026-04-14T09:00:00-04:00", "ended_at": "2026-04-14T10:00:00-04:00", "state": "closed",
			"pauses":    []any{map[string]any{"from": "2026-04-14T09:10:00-04:00", "to": "2026-04-14T09:25:00-04:00"}},
			"inspected": []any{map[string]any{"row": 1}, map[string]any{"row": 1, "from": 5, "to": 10}, map[string]any{"row": 3, "from": 1, "to": 20}},
			"counts":    []any{map[string]any{"what": "clipped-buds", "sampled": 100, "hits": 1}, map[string]any{"what": "beetles", "sampled": 3, "hits": 1}}}))
		during := map[string]any{"visit": visit}
		s.find(scout, home, 1, 7, "orange-rust", "suspected", "2026-04-14T09:30:00-04:00", during)
		s.find(scout, home, 1, 8, "orange-rust", "suspected", "2026-04-14T09:31:00-04:00", during)
		s.find(scout, home, 3, 9, "other", "suspected", "2026-04-14T09:40:00-04:00", map[string]any{"visit": visit, "words": "yellow rust?"})
		v := scout.do("GET", below("visits", visit, "summary"), nil).json(t)
		// Rows of 60 with two places empty: 58 plants each; 1 to 20 less 3 and 4 are 18.
		if v["plants"] != 76.0 || v["of"] != 232.0 || v["minutes"] != 45.0 || v["found"] != 3.0 || v["twice"] != 6.0 {
			t.Errorf("figures: %v", v)
		}
		if rows := v["rows_not_seen"].([]any); len(rows) != 2 || rows[0] != 2.0 || rows[1] != 4.0 {
			t.Errorf("rows not seen: %v", rows)
		}
		causes := v["causes"].([]any)
		if rust := causes[0].(map[string]any); len(causes) != 2 || rust["finds"] != 2.0 || rust["plants"] != 2.0 || rust["again"] != 1.0 {
			t.Errorf("causes: %v", causes)
		}
		if unsaid := v["unsaid"].([]any); len(unsaid) != 1 || unsaid[0].(map[string]any)["words"] != "yellow rust?" {
			t.Errorf("unsaid: %v", unsaid)
		}
		counts := v["counts"].([]any)
		if a := counts[0].(map[string]any)["answer"].(map[string]any); a["answer"] != "cannot-tell" || counts[1].(map[string]any)["answer"] != nil {
			t.Errorf("counts: %v", counts)
		}
		if says := v["says"].([]any); says[1] != "Not looked at: rows 2, 4." {
			t.Errorf("says: %q", says)
		}
		empty := s.ids.New()
		s.make(scout, "visits", feature(empty, nil, map[string]any{"block": home, "started_at": "2026-04-15T09:00:00-04:00", "inspected": []any{map[string]any{"rows": "all"}}}))
		if v := scout.do("GET", below("visits", empty, "summary"), nil, "Accept-Language", "es").json(t); v["found"] != 0.0 || v["plants"] != 232.0 || len(v["rows_not_seen"].([]any)) != 0 || v["says"].([]any)[2] != "Nada encontrado: eso también es un registro." {
			t.Errorf("nothing found: %v", v)
		}
		if g := scout.do("GET", below("visits", s.ids.New(), "summary"), nil); g.status != 404 {
			t.Errorf("no such visit: %d", g.status)
		}
	})
}

func TestEpisodesAndLookAgain(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner, scout, adviser := s.as("owner"), s.as("scout"), s.as("adviser")
		home := s.block(owner)
		first := s.find(adviser, home, 2, 7, "orange-rust", "confirmed", "2025-04-10T09:30:00-04:00", nil)
		again := s.find(scout, home, 2, 7, "orange-rust", "suspected", "2026-04-10T09:30:00-04:00", map[string]any{"again_of": first})
		s.find(scout, home, 2, 9, "orange-rust", "suspected", "2025-04-10T09:30:00-04:00", nil)
		s.make(scout, "visits", feature(s.ids.New(), nil, map[string]any{"block": home, "started_at": "2026-04-10T09:00:00-04:00", "inspected": []any{map[string]any{"row": 2, "from": 1, "to": 8}}}))
		v := scout.do("GET", below("blocks", home, "episodes?row=2&plant=7&cause=orange-rust"), nil).json(t)
		all := v["episodes"].([]any)
		if len(all) != 1 {
			t.Fatalf("episodes: %v", v)
		}
		e := all[0].(map[string]any)
		if e["state"] != "confirmed" || e["newest"] != string(again) || len(e["finds"].([]any)) != 2 || e["finds"].([]any)[1].(map[string]any)["again"] != true {
			t.Errorf("episode: %v", e)
		}
		v = scout.do("GET", below("blocks", home, "look-again?season=2026"), nil).json(t)
		plants := v["plants"].([]any)
		if len(plants) != 2 || plants[0].(map[string]any)["seen"] != true || plants[1].(map[string]any)["seen"] != false || plants[0].(map[string]any)["why"] == plants[1].(map[string]any)["why"] {
			t.Errorf("look again: %v", plants)
		}
		if g := scout.do("GET", below("blocks", home, "look-again?season=soon"), nil); g.status != 400 {
			t.Errorf("season soon: %d", g.status)
		}
		if g := scout.do("GET", below("blocks", s.ids.New(), "look-again"), nil); g.status != 404 {
			t.Errorf("no such block: %d", g.status)
		}
	})
}

func TestSamplingWalk(t *testing.T) {
	s := newSite(t)
	owner, scout := s.as("owner"), s.as("scout")
	home := s.block(owner)
	body := `{"block":"` + string(home) + `","programme":"leafroller-hills","seed":42,"kind":"random"}`
	first := scout.do("POST", "/farms/mine/sampling-walk", body)
	v := first.json(t)
	stops, _ := v["stops"].([]any)
	if first.status != 200 || len(stops) != 5 || v["at_each"] != 20.0 || v["plants"] != 232.0 || v["says"] != "At each stop look at 20 hills." {
		t.Fatalf("walk: %d %s", first.status, first.body)
	}
	for _, stop := range stops {
		one := stop.(map[string]any)
		if one["plant"] == 3.0 || one["plant"] == 4.0 || one["lat"].(float64) < 35.87 || one["lat"].(float64) > 35.872 {
			t.Errorf("stop: %v", one)
		}
	}
	if again := scout.do("POST", "/farms/mine/sampling-walk", body); !bytes.Equal(again.body, first.body) {
		t.Errorf("the same seed gives another walk:\n%s\n%s", first.body, again.body)
	}
	file := scout.do("POST", "/farms/mine/sampling-walk", body, "Accept", "application/gpx+xml")
	other := scout.do("GET", "/farms/mine/reports/sampling-walk.gpx?block="+string(home)+"&programme=leafroller-hills&seed=42&kind=random", nil)
	if file.status != 200 || file.header.Get("Content-Type") != "application/gpx+xml" || bytes.Count(file.body, []byte("<wpt ")) != 5 || !bytes.Equal(file.body, other.body) {
		t.Errorf("file: %d %s\n%s", file.status, file.body, other.body)
	}
	for body, field := range map[string]string{
		`{"block":"` + string(s.ids.New()) + `"}`:                "block",
		`{"block":"` + string(home) + `","stops":0}`:             "stops",
		`{"block":"` + string(home) + `","stops":233}`:           "stops",
		`{"block":"` + string(home) + `","seed":-1}`:             "seed",
		`{"block":"` + string(home) + `","kind":"zigzag"}`:       "kind",
		`{"block":"` + string(home) + `","programme":"nothing"}`: "programme",
	} {
		g := scout.do("POST", "/farms/mine/sampling-walk", body)
		errors, _ := g.json(t)["errors"].([]any)
		if g.status != 422 || len(errors) != 1 || errors[0].(map[string]any)["field"] != field {
			t.Errorf("%s: %d %s, want one fault at %s", body, g.status, g.body, field)
		}
	}
}

func TestWalkedIsAProposal(t *testing.T) {
	s := newSite(t)
	owner, scout := s.as("owner"), s.as("scout")
	home := s.block(owner)
	visit := s.ids.New()
	s.make(scout, "visits", feature(visit, nil, map[string]any{"block": home, "started_at": "2026-04-14T09:00:00-04:00"}))
	before := owner.do("GET", "/farms/mine/changes?after=0", nil).json(t)["sequence"]
	// Row 2 stands at -80.4197; fixes every 10 m along it.
	line := `[`
	for lat := 35.8701; lat < 35.8719; lat += 0.0001 {
		line += fmt.Sprintf("[-80.4197,%.5f],", lat)
	}
	g := scout.do("POST", below("visits", visit, "walked"), `{"track":{"type":"LineString","coordinates":`+line[:len(line)-1]+`]},"accuracy_m":3}`)
	v := g.json(t)
	inspected, _ := v["inspected"].([]any)
	if g.status != 200 || v["stored"] != false || len(inspected) != 1 || inspected[0].(map[string]any)["row"] != 2.0 {
		t.Errorf("walked: %d %s", g.status, g.body)
	}
	if after := owner.do("GET", "/farms/mine/changes?after=0", nil).json(t)["sequence"]; after != before {
		t.Errorf("a proposal was stored: %v, then %v", before, after)
	}
	for body, field := range map[string]string{`{"accuracy_m":3}`: "track", `{"track":{"type":"Point","coordinates":[1,2]},"accuracy_m":3}`: "track", `{"track":{"type":"LineString","coordinates":[[1,2],[1,3]]}}`: "accuracy_m"} {
		g := scout.do("POST", below("visits", visit, "walked"), body)
		errors, _ := g.json(t)["errors"].([]any)
		if g.status != 422 || len(errors) != 1 || errors[0].(map[string]any)["field"] != field {
			t.Errorf("%s: %d %s, want one fault at %s", body, g.status, g.body, field)
		}
	}
}

func TestSampleSlip(t *testing.T) {
	s := newSite(t)
	owner, scout := s.as("owner"), s.as("scout")
	home := s.block(owner)
	find := s.find(scout, home, 2, 7, "orange-rust", "sampled", "2026-04-10T09:30:00-04:00", map[string]any{"words": "orange stuff"})
	sample := s.ids.New()
	s.make(scout, "samples", feature(sample, nil, map[string]any{"finds": []records.ID{find}, "sent_on": "2026-04-11"}))
	s.now = func() time.Time { return time.Date(2026, 4, 11, 12, 0, 0, 0, time.UTC) }
	for _, lang := range []string{"en", "es"} {
		g := scout.do("GET", "/farms/mine/reports/sample-slip.pdf?sample="+string(sample), nil, "Accept-Language", lang)
		if g.status != 200 || g.header.Get("Content-Type") != "application/pdf" || !bytes.HasPrefix(g.body, []byte("%PDF-")) {
			t.Fatalf("slip: %d %.200s", g.status, g.body)
		}
		if again := scout.do("GET", "/farms/mine/reports/sample-slip.pdf?sample="+string(sample), nil, "Accept-Language", lang); !bytes.Equal(g.body, again.body) {
			t.Errorf("%s: the same slip is not the same file", lang)
		}
	}
	for _, query := range []string{"", "?sample=x", "?sample=" + string(s.ids.New())} {
		if g := scout.do("GET", "/farms/mine/reports/sample-slip.pdf"+query, nil); g.status != 422 {
			t.Errorf("slip%s: %d", query, g.status)
		}
	}
}

// A season's counts come with the interval of each, in the order they were made.
func TestPastCounts(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner, scout := s.as("owner"), s.as("scout")
		home := s.block(owner)
		for _, v := range []struct {
			at           string
			what         string
			sampled, hit int
		}{{"2026-05-12T09:00:00-04:00", "clipped-buds", 100, 1}, {"2026-05-05T09:00:00-04:00", "clipped-buds", 300, 0}, {"2026-05-19T09:00:00-04:00", "beetles", 3, 1}, {"2025-12-31T23:30:00-05:00", "clipped-buds", 100, 9}, {"2026-06-19T09:00:00-04:00", "fruit-larvae", 25, 31}} {
			s.make(scout, "visits", feature(s.ids.New(), nil, map[string]any{"block": home, "started_at": v.at, "counts": []any{map[string]any{"what": v.what, "sampled": v.sampled, "hits": v.hit}}}))
		}
		at := below("blocks", home, "counts?season=2026")
		v := scout.do("GET", at, nil).json(t)
		series := v["series"].([]any)
		if len(series) != 2 || v["left_out"] != 1.0 {
			t.Fatalf("series: %v", v)
		}
		buds := series[0].(map[string]any)["counts"].([]any)
		first, second := buds[0].(map[string]any), buds[1].(map[string]any)
		// 0 of 300: the two-sided 95 % limit is 1 - 0.025^(1/300) = 0.012221, over
		// 1 %; R's binom.test(0, 300)$conf.int[2] gives the same.
		high := first["interval"].([]any)[1].(float64)
		if len(buds) != 2 || first["n"] != 300.0 || first["answer"] != "cannot-tell" || math.Abs(high-(1-math.Pow(0.025, 1.0/300))) > 1e-9 || second["answer"] != "cannot-tell" || second["level"] != 0.01 {
			t.Errorf("clipped buds: %v", buds)
		}
		if larvae := series[1].(map[string]any)["counts"].([]any)[0].(map[string]any); larvae["rate"] != 31.0/25 || larvae["level"] != nil {
			t.Errorf("larvae: %v", larvae)
		}
		// A changed level weighs the old counts anew; a hidden programme still says
		// what its counts meant.
		if g := s.as("adviser").do("PUT", "/farms/mine/programmes", `{"programmes":[{"id":"clipped-buds","cause":"clipper-weevil","title":"Buds","what":"clusters","unit":"clusters","method":"binomial","level":0.02}],"hidden":["fruit-larvae"]}`); g.status != 200 {
			t.Fatalf("edits: %d %s", g.status, g.body)
		}
		v = scout.do("GET", at, nil).json(t)
		series = v["series"].([]any)
		if len(series) != 2 || series[0].(map[string]any)["counts"].([]any)[0].(map[string]any)["answer"] != "below" {
			t.Errorf("by the farm's own level: %v", series)
		}
		if g := scout.do("GET", below("blocks", s.ids.New(), "counts"), nil); g.status != 404 {
			t.Errorf("no such block: %d", g.status)
		}
	})
}

// Sheets for a clipboard: the same twice, in both languages, refused by name.
func TestScoutingSheets(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	owner, scout, adviser := s.as("owner"), s.as("scout"), s.as("adviser")
	home := s.block(owner)
	s.find(adviser, home, 2, 7, "orange-rust", "confirmed", "2025-04-10T09:30:00-04:00", map[string]any{"organism": "Gymnoconia nitens"})
	s.find(scout, home, 1, 9, "yellow-rust", "suspected", "2025-04-10T09:30:00-04:00", nil)
	s.now = func() time.Time { return time.Date(2026, 4, 11, 12, 0, 0, 0, time.UTC) }
	for _, sheet := range []struct{ name, query string }{
		{"look-again", "?block=" + string(home)}, {"look-again", "?block=" + string(home) + "&season=2031&paper=a4"},
		{"sampling-walk", "?block=" + string(home) + "&programme=leafroller-hills&seed=42&kind=random"}, {"sampling-walk", "?block=" + string(home) + "&stops=40&seed=1"},
	} {
		at := "/farms/mine/reports/" + sheet.name + ".pdf" + sheet.query
		var of [2][]byte
		for i, lang := range []string{"en", "es"} {
			g := scout.do("GET", at, nil, "Accept-Language", lang)
			if g.status != 200 || g.header.Get("Content-Type") != typePDF || !bytes.HasPrefix(g.body, []byte("%PDF-")) {
				t.Fatalf("%s: %d %.200s", at, g.status, g.body)
			}
			if again := scout.do("GET", at, nil, "Accept-Language", lang); !bytes.Equal(g.body, again.body) {
				t.Errorf("%s %s: not the same file twice", at, lang)
			}
			of[i] = g.body
		}
		if bytes.Equal(of[0], of[1]) {
			t.Errorf("%s: the same in both languages", at)
		}
	}
	for at, field := range map[string]string{"look-again.pdf": "block", "look-again.pdf?block=x": "block", "sampling-walk.pdf?block=" + string(s.ids.New()): "block"} {
		g := scout.do("GET", "/farms/mine/reports/"+at, nil)
		errors, _ := g.json(t)["errors"].([]any)
		if g.status != 422 || len(errors) != 1 || errors[0].(map[string]any)["field"] != field {
			t.Errorf("%s: %d %s, want one fault at %s", at, g.status, g.body, field)
		}
	}
	v := scout.do("GET", "/farms/mine/sample-instructions", nil, "Accept-Language", "es").json(t)
	if send := v["send"].([]any); len(send) < 5 || send[0].(map[string]any)["source"] != "práctica común" || len(v["cautions"].([]any)) == 0 {
		t.Errorf("instructions: %v", v)
	}
}

// Only an adviser or a recorded result confirms, whichever way a find comes in.
func TestNoRoadConfirmsUnproved(t *testing.T) {
	s := newSite(t)
	owner, scout := s.as("owner"), s.as("scout")
	home := s.block(owner)
	props := func(state string) map[string]any {
		return map[string]any{"block": home, "row": 2, "plant": 7, "cause": "orange-rust", "state": state, "found_at": "2026-04-10T09:30:00-04:00"}
	}
	there := s.find(scout, home, 2, 7, "orange-rust", "sampled", "2026-04-10T09:30:00-04:00", nil)
	change := func(base any, id records.ID) map[string]any {
		return map[string]any{"changes": []any{map[string]any{"op": "put", "kind": "finds", "id": id, "base": base, "why": "sure", "record": feature(id, nil, props("confirmed"))}}}
	}
	for _, c := range []*client{owner, scout, s.as("applicator")} {
		fresh := s.ids.New()
		for name, g := range map[string]got{
			"new find":    c.do("PUT", itemAt("finds", fresh), feature(fresh, nil, props("confirmed")), "If-None-Match", "*"),
			"replacement": c.do("PUT", itemAt("finds", there), feature(there, nil, props("confirmed")), "If-Match", "*"),
		} {
			if errors, _ := g.json(t)["errors"].([]any); g.status != 422 || len(errors) != 1 || errors[0].(map[string]any)["field"] != "state" {
				t.Errorf("%s: %d %s", name, g.status, g.body)
			}
		}
		for name, body := range map[string]map[string]any{"batch, new": change(nil, s.ids.New()), "batch, replacing": change(1, there)} {
			g := c.do("POST", "/farms/mine/changes", body)
			if out := g.json(t)["outcomes"].([]any)[0].(map[string]any); out["status"] != 422.0 {
				t.Errorf("%s: %v", name, out)
			}
		}
	}
	// A result for another find, or without words, proves nothing.
	s.make(scout, "samples", feature(s.ids.New(), nil, map[string]any{"finds": []records.ID{there}, "sent_on": "2026-04-11"}))
	if g := scout.do("PUT", itemAt("finds", there), feature(there, nil, props("confirmed")), "If-Match", "*"); g.status != 422 {
		t.Errorf("a sample without a result: %d", g.status)
	}
	// A file.
	file, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": []any{map[string]any{"type": "Feature", "geometry": map[string]any{"type": "Point", "coordinates": []float64{-80.4197, 35.8705}}, "properties": props("confirmed")}}})
	if err != nil {
		t.Fatal(err)
	}
	read := owner.upload(map[string]string{"kind": "finds"}, string(file), "finds.geojson")
	var p proposalOut
	must(t, json.Unmarshal(read.body, &p))
	if len(p.Features) != 1 {
		t.Fatalf("read: %d %s", read.status, read.body)
	}
	for _, take := range []string{`{"take":[1]}`, `{"take":[{"number":1,"properties":{"state":"confirmed"}}]}`} {
		owner.do("POST", "/farms/mine/imports/"+string(p.ID), take)
	}
	if n := owner.do("GET", "/farms/mine/collections/finds/items?state=confirmed", nil).json(t)["numberMatched"]; n != 0.0 {
		t.Errorf("%v finds of the file are confirmed", n)
	}
}

// A laboratory's result fills the list that suspected finds leave empty, whatever
// states are asked for.
func TestAResultFillsTheRemovalList(t *testing.T) {
	s := newSite(t)
	scout, adviser := s.as("scout"), s.as("adviser")
	home := s.block(s.as("owner"))
	var finds []records.ID
	for plant := 10; plant < 13; plant++ {
		finds = append(finds, s.find(scout, home, 2, plant, "orange-rust", "suspected", "2026-04-14T09:30:00-04:00", nil))
	}
	list := func() (removed, choices int, why any) {
		t.Helper()
		g := adviser.do("POST", "/farms/mine/hot-spots", map[string]any{"block": home, "states": []string{"suspected", "confirmed"}, "margin_plants": 3})
		if g.status != 200 {
			t.Fatalf("%d %s", g.status, g.body)
		}
		v := g.json(t)
		for _, part := range []string{"confirmed", "between", "margin"} {
			removed += len(v["list"].(map[string]any)[part].([]any))
		}
		return removed, len(v["choices"].([]any)), v["why_no_list"]
	}
	if removed, choices, why := list(); removed != 0 || choices != 0 || why == nil || !strings.Contains(why.(string), "3 plant(s) are suspected") {
		t.Errorf("suspected alone: %d plants, %d choices, %v", removed, choices, why)
	}
	sample := s.ids.New()
	s.make(scout, "samples", feature(sample, nil, map[string]any{"finds": finds[:2], "sent_on": "2026-04-15", "accession": "26-0500"}))
	body := `{"answer":"confirmed","result":"aecia of Gymnoconia nitens","result_on":"2026-04-22","found":"orange-rust","organism":"Gymnoconia nitens","laboratory":"county plant clinic","why":"by letter"}`
	if g := scout.do("POST", "/farms/mine/samples/"+string(sample)+"/result", body); g.status != 200 {
		t.Fatalf("result: %d %s", g.status, g.body)
	}
	// Two confirmed, the third still suspected; three places of margin on each side
	// of plants 10 and 11.
	if removed, choices, why := list(); removed != 8 || choices == 0 || why != nil {
		t.Errorf("after the result: %d plants, %d choices, %v; want 2 confirmed and 6 in the margin", removed, choices, why)
	}
}
