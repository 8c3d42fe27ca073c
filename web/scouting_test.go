package web

import (
	"testing"

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
