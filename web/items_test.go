package web

import (
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"caneward/records"
)

// The statuses are those of RFC 9110 (section 13), RFC 6585 section 3 and the
// draft of OGC API - Features part 4.
func TestPutConditions(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c, id := s.as("owner"), s.ids.New()
		at := itemAt("surroundings", id)
		put := func(name string, headers ...string) got {
			return c.do("PUT", at, water(id, name, -80.42, 35.87), headers...)
		}
		want := func(what string, g got, status int) {
			t.Helper()
			if g.status != status {
				t.Errorf("%s: %d, want %d: %.300s", what, g.status, status, g.body)
			}
			if g.status >= 400 {
				problemOf(t, g)
			}
		}
		want("replace before it exists", put("Pond", "If-Match", `"1-0123456789abcdef"`), 412)
		want("replace whatever is there before it exists", put("Pond", "If-Match", "*"), 412)
		want("delete before it exists", c.do("DELETE", at, nil), 404)
		first := put("Pond")
		want("create", first, 201)
		if first.header.Get("Location") != "http://farm.test"+at || !strings.HasPrefix(first.header.Get("ETag"), `"1-`) {
			t.Errorf("Location %q, ETag %q", first.header.Get("Location"), first.header.Get("ETag"))
		}
		again := put("Pond")
		want("the same again", again, 200)
		if string(again.body) != string(first.body) || again.header.Get("ETag") != first.header.Get("ETag") {
			t.Errorf("the same again answers other than at first:\n%s\n%s", first.body, again.body)
		}
		want("the same again, create only", put("Pond", "If-None-Match", "*"), 200)
		want("other content, create only", put("Lake", "If-None-Match", "*"), 412)
		want("other content without a condition", put("Lake"), 428)
		want("both conditions", put("Lake", "If-Match", "*", "If-None-Match", "*"), 400)
		want("create unless a tag", put("Lake", "If-None-Match", first.header.Get("ETag")), 400)
		want("a weak tag", put("Lake", "If-Match", "W/"+first.header.Get("ETag")), 412)
		want("a tag of nobody", put("Lake", "If-Match", `"x"`), 412)
		want("the number with another hash", put("Lake", "If-Match", `"1-0123456789abcdef"`), 412)
		second := put("Lake", "If-Match", `"x", `+first.header.Get("ETag"))
		want("replace", second, 200)
		want("replace again with the first tag: a repeat", put("Lake", "If-Match", first.header.Get("ETag")), 200)
		want("replace with a stale tag", put("Sea", "If-Match", first.header.Get("ETag")), 412)
		want("replace with a stale number", put("Sea", "If-Match", `"1"`), 412)
		want("the current content without a condition", put("Lake"), 200)
		want("replace by number", put("Sea", "If-Match", `"2"`), 200)
		want("replace whatever is there", put("River", "If-Match", "*"), 200)
		now := c.do("GET", at, nil)
		tag := now.header.Get("ETag")
		if p := now.json(t); p["revision"] != 4.0 || p["properties"].(map[string]any)["name"] != "River" || p["etag"] != tag {
			t.Errorf("now: %s", now.body)
		}
		want("delete without a condition", c.do("DELETE", at, nil), 428)
		want("delete with a stale tag", c.do("DELETE", at, nil, "If-Match", first.header.Get("ETag")), 412)
		want("delete", c.do("DELETE", at, nil, "If-Match", tag, whyHeader, "filled%20in%20%C3%BC"), 204)
		want("delete again: a repeat", c.do("DELETE", at, nil, "If-Match", tag), 204)
		want("read what was deleted", c.do("GET", at, nil), 404)
		want("create under a deleted id", put("Brook"), 409)
		var all struct {
			Revisions []revisionEntry `json:"revisions"`
		}
		must(t, json.Unmarshal(c.do("GET", at+"/revisions", nil).body, &all))
		if n := len(all.Revisions); n != 5 || !all.Revisions[4].Deleted || string(all.Revisions[4].Record) != "null" || all.Revisions[4].Why != "filled in ü" {
			t.Errorf("revisions: %+v", all.Revisions)
		}
		want("bring it back", put("Brook", "If-Match", all.Revisions[4].ETag), 200)
	})
}

func TestPutRefusals(t *testing.T) {
	s := newSite(t)
	c, id := s.as("owner"), s.ids.New()
	at := itemAt("surroundings", id)
	whole, err := json.Marshal(water(id, "Pond", -80.42, 35.87))
	must(t, err)
	good := string(whole)
	for name, tc := range map[string]struct {
		path, body, kind string
		status           int
	}{
		"no JSON":           {at, `{"type":"Feature",,}`, typeGeoJSON, 400},
		"cut off":           {at, good[:len(good)-9], typeGeoJSON, 400},
		"empty":             {at, ``, typeGeoJSON, 400},
		"other media type":  {at, good, "text/plain", 415},
		"no media type":     {at, good, "", 415},
		"id of another":     {itemAt("surroundings", s.ids.New()), good, typeGeoJSON, 422},
		"no uuid":           {itemAt("surroundings", "7"), good, typeGeoJSON, 422},
		"latitude 95":       {at, strings.ReplaceAll(good, "35.87", "95.87"), typeGeoJSON, 422},
		"stray member":      {at, strings.Replace(good, `"type":"Feature"`, `"type":"Feature","severity":3`, 1), typeGeoJSON, 422},
		"crs":               {at, strings.Replace(good, `"type":"Feature"`, `"type":"Feature","crs":{"type":"name","properties":{"name":"EPSG:3857"}}`, 1), typeGeoJSON, 422},
		"unknown kind":      {"/farms/mine/collections/tractors/items/" + string(id), good, typeGeoJSON, 404},
		"too deep":          {at, `{"type":"Feature","geometry":null,"properties":{"a":` + strings.Repeat("[", 100_000), typeGeoJSON, 400},
		"over the limit":    {at, `{"a":"` + strings.Repeat("x", 6_000_000) + `"}`, typeGeoJSON, 413},
		"query is unknown":  {at + "?why=x", good, typeGeoJSON, 400},
		"broken percentage": {at + "?a=%zz", good, typeGeoJSON, 400},
	} {
		g := c.do("PUT", tc.path, []byte(tc.body), "Content-Type", tc.kind)
		if g.status != tc.status {
			t.Errorf("%s: %d, want %d: %.300s", name, g.status, tc.status, g.body)
			continue
		}
		problemOf(t, g)
	}
	if g := c.do("GET", at, nil); g.status != 404 {
		t.Errorf("something was stored: %s", g.body)
	}
	g := c.do("PUT", at, []byte(`{"type":"Feature",,}`), "Content-Type", typeGeoJSON)
	if items := problemOf(t, g)["errors"].([]any); items[0].(map[string]any)["byte"] != 18.0 {
		t.Errorf("the byte at fault is 18: %s", g.body)
	}
}

// A ring that crosses itself says where, and in the reader's language.
func TestCrossingRing(t *testing.T) {
	s := newSite(t)
	c, id := s.as("owner"), s.ids.New()
	bow := feature(id, map[string]any{"type": "Polygon", "coordinates": [][][2]float64{{{-80.42, 35.87}, {-80.418, 35.872}, {-80.418, 35.87}, {-80.42, 35.872}, {-80.42, 35.87}}}}, map[string]any{"name": "Bow"})
	english, spanish := c.do("PUT", itemAt("blocks", id), bow), c.do("PUT", itemAt("blocks", id), bow, "Accept-Language", "es-MX,es;q=0.9")
	if english.status != 422 || spanish.status != 422 || spanish.header.Get("Content-Language") != "es" {
		t.Fatalf("%d %d %v", english.status, spanish.status, spanish.header)
	}
	en, es := problemOf(t, english), problemOf(t, spanish)
	if en["title"] == es["title"] {
		t.Errorf("titles are both %v", en["title"])
	}
	found := false
	for _, e := range en["errors"].([]any) {
		p, ok := e.(map[string]any)["position"].([]any)
		found = found || ok && near(p[0].(float64), -80.419) && near(p[1].(float64), 35.871)
	}
	if !found {
		t.Errorf("no error names the crossing at -80.419 35.871: %s", english.body)
	}
}

func near(a, b float64) bool { return a-b < 1e-6 && b-a < 1e-6 }

// RFC 9110 13.1.2 and 15.4.5.
func TestNotModified(t *testing.T) {
	s := newSite(t)
	c, id := s.as("owner"), s.ids.New()
	tag := s.make(c, "surroundings", water(id, "Pond", -80.42, 35.87))
	for _, path := range []string{itemAt("surroundings", id), "/farms/mine/collections/surroundings/items"} {
		fresh := c.do("GET", path, nil)
		for _, header := range []string{fresh.header.Get("ETag"), `"other", ` + fresh.header.Get("ETag"), "*"} {
			g := c.do("GET", path, nil, "If-None-Match", header)
			if g.status != 304 || len(g.body) != 0 || g.header.Get("ETag") != fresh.header.Get("ETag") {
				t.Errorf("%s If-None-Match %s: %d, %d bytes", path, header, g.status, len(g.body))
			}
		}
	}
	before := c.do("GET", "/farms/mine/collections/surroundings/items", nil).header.Get("ETag")
	c.do("PUT", itemAt("surroundings", id), water(id, "Lake", -80.42, 35.87), "If-Match", tag)
	if g := c.do("GET", "/farms/mine/collections/surroundings/items", nil, "If-None-Match", before); g.status != 200 {
		t.Errorf("after a change the list answers %d", g.status)
	}
}

// Ids that are none are not found, and never a failure of the server.
func TestStrangeIds(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	for _, id := range []string{"x", "%00", "..%2f..", "'%22", "%F0%9F%8D%87", strings.Repeat("a", 3000), "00000000-0000-0000-0000-000000000000", strings.ToUpper(string(s.ids.New()))} {
		for _, rest := range []string{"", "/revisions"} {
			if g := c.do("GET", "/farms/mine/collections/finds/items/"+id+rest, nil); g.status != 404 && g.status != 400 {
				t.Errorf("%.40s%s: %d", id, rest, g.status)
			}
		}
	}
}

func names(t *testing.T, g got) string {
	t.Helper()
	if g.status != 200 {
		t.Fatalf("status %d: %.300s", g.status, g.body)
	}
	var out []string
	for _, f := range g.json(t)["features"].([]any) {
		out = append(out, f.(map[string]any)["properties"].(map[string]any)["name"].(string))
	}
	return strings.Join(out, " ")
}

// OGC API - Features part 1, requirements of /req/core/fc-bbox-definition and
// -response: edges belong to the box, six numbers hold heights, west may be
// greater than east.
func TestBBox(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c := s.as("owner")
		s.make(c, "surroundings", water(s.ids.New(), "home", -80.42, 35.87))
		s.make(c, "surroundings", water(s.ids.New(), "east", 179.9, -17))
		s.make(c, "surroundings", water(s.ids.New(), "west", -179.9, -17))
		const items = "/farms/mine/collections/surroundings/items"
		for box, want := range map[string]string{
			"-180,-90,180,90":                     "home east west",
			"-81,35,-80,36":                       "home",
			"-80.42,35.87,-80.42,35.87":           "home", // its corner
			"-80.4200001,35,-80.42,36":            "home",
			"-80.43,35.86,-80.4200001,35.88":      "",
			"-81,35,0,-80,36,100":                 "home",
			"170,-20,-170,-10":                    "east west",
			"170,-20,180,-10":                     "east",
			"-180,-20,-170,-10":                   "west",
			"170,-20,190,-10":                     "east west",
			"-720,-100,720,100":                   "home east west",
			"177,65,-177,70":                      "",
			"-81, 35, -80, 36":                    "home",
			"-80.5,35.80000000000001,-80.4,3.6e1": "home",
		} {
			g := c.do("GET", items+"?bbox="+url.QueryEscape(box), nil)
			if got := names(t, g); got != want {
				t.Errorf("bbox %s: %q, want %q", box, got, want)
			}
			if n := len(strings.Fields(want)); g.json(t)["numberMatched"] != float64(n) || g.json(t)["numberReturned"] != float64(n) {
				t.Errorf("bbox %s: %.200s", box, g.body)
			}
		}
		for _, box := range []string{"", "1,2,3", "1,2,3,4,5", "1,2,3,4,5,6,7", "a,b,c,d", "NaN,0,1,1", "0,0,Inf,1", "0,0,1,1,", "0,1,1,0", "0,0,9,1,1,1", "0,91,1,92", "0x1p4,0,17,1", "1,2,3,4;5"} {
			if g := c.do("GET", items+"?bbox="+url.QueryEscape(box), nil); g.status != 400 {
				t.Errorf("bbox %q: %d, want 400", box, g.status)
			}
		}
		first := c.do("GET", items+"?bbox=170,-20,-170,-10&limit=1", nil)
		next := nextLink(first)
		if names(t, first) != "east" || names(t, c.do("GET", next, nil)) != "west" {
			t.Errorf("paging across longitude 180: %s, then %s", first.body, next)
		}
	})
}

func nextLink(g got) string {
	var page struct {
		Links []link `json:"links"`
	}
	json.Unmarshal(g.body, &page)
	for _, l := range page.Links {
		if l.Rel == "next" {
			return strings.TrimPrefix(l.Href, "http://farm.test")
		}
	}
	return ""
}

func find(id records.ID, name, at string) map[string]any {
	if at == "" {
		at = "2026-05-04T08:00:00-04:00"
	}
	p := map[string]any{"name": name, "cause": "other", "state": "suspected", "severity": 1, "found_at": at}
	return feature(id, point(-80.419, 35.871), p)
}

// OGC API - Features part 1, /req/core/fc-time-definition and -response.
func TestDatetime(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c := s.as("owner")
		s.make(c, "blocks", block(s.ids.New(), "Upper"))
		for name, at := range map[string]string{"morning": "2026-05-04T08:00:00-04:00", "night": "2026-05-04T23:30:00-04:00", "later": "2026-06-01T12:00:00Z"} {
			s.make(c, "finds", find(s.ids.New(), name, at))
		}
		const items = "/farms/mine/collections/finds/items"
		for datetime, want := range map[string]int{
			"2026-05-04T12:00:00Z":                      1,
			"2026-05-04T08:00:00-04:00":                 1,
			"2026-05-04T12:00:01Z":                      0,
			"2026-05-04T00:00:00Z/2026-05-31T00:00:00Z": 2,
			"../2026-05-04T12:00:00Z":                   1,
			"/2026-05-04T12:00:00Z":                     1,
			"2026-05-05T00:00:00Z/..":                   2,
			"2026-05-05T00:00:00Z/":                     2,
			"2026-05-04":                                2, // a day of the farm's zone
			"2026-05-05":                                0,
			"2026-05-04/2026-06-01":                     3,
		} {
			g := c.do("GET", items+"?datetime="+url.QueryEscape(datetime), nil)
			if g.status != 200 || g.json(t)["numberMatched"] != float64(want) {
				t.Errorf("%s: %d %.150s, want %d", datetime, g.status, g.body, want)
			}
		}
		for _, datetime := range []string{"", "yesterday", "2026-05-04T12:00:00", "2026-13-01T00:00:00Z", "../..", "/", "a/b", "2026-05-04T12:00:00Z/2026-05-03T12:00:00Z", "2026-01-01T00:00:00Z/2026-01-02T00:00:00Z/2026-01-03T00:00:00Z"} {
			if g := c.do("GET", items+"?datetime="+url.QueryEscape(datetime), nil); g.status != 400 {
				t.Errorf("%q: %d, want 400", datetime, g.status)
			}
		}
		// A kind without times takes the parameter too.
		if g := c.do("GET", "/farms/mine/collections/blocks/items?datetime=2026-05-04T12:00:00Z", nil); g.json(t)["numberMatched"] != 1.0 {
			t.Errorf("blocks: %s", g.body)
		}
	})
}

func TestListParameters(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	s.make(c, "blocks", block(s.ids.New(), "Upper"))
	for i := 0; i < 3; i++ {
		s.make(c, "surroundings", water(s.ids.New(), fmt.Sprint("pond", i), -80.42, 35.87))
	}
	const items = "/farms/mine/collections/surroundings/items"
	for query, want := range map[string]string{
		"?limit=1": "pond0", "?limit=2": "pond0 pond1", "?limit=10000": "pond0 pond1 pond2", "?limit=99999999999999999999999": "pond0 pond1 pond2",
		"?kind=water": "pond0 pond1 pond2", "?kind=well": "", "?kind=": "",
	} {
		if got := names(t, c.do("GET", items+query, nil)); got != want {
			t.Errorf("%s: %q, want %q", query, got, want)
		}
	}
	for _, query := range []string{"?limit=0", "?limit=-1", "?limit=abc", "?limit=", "?limit=1.5", "?limit=+5", "?limit=1&limit=2", "?foo=bar", "?crs=x", "?cause=other", "?after=7", "?bbox=1,2,3,4&bbox=1,2,3,4", "?Limit=1"} {
		if g := c.do("GET", items+query, nil); g.status != 400 {
			t.Errorf("%s: %d, want 400", query, g.status)
		}
	}
}

// Every record that was there when the walk began comes once, while others are
// added and deleted; the next link keeps the filter.
func TestPagingWhileWriting(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c := s.as("owner")
		want := map[string]bool{}
		for i := 0; i < 57; i++ {
			name := fmt.Sprintf("pond %d é&+%%", i)
			s.make(c, "surroundings", water(s.ids.New(), name, -80.42, 35.87))
			want[name] = true
		}
		seen := map[string]int{}
		path := "/farms/mine/collections/surroundings/items?limit=7&kind=water&bbox=-81,35,-80,36"
		for page := 0; path != ""; page++ {
			g := c.do("GET", path, nil)
			for _, f := range g.json(t)["features"].([]any) {
				seen[f.(map[string]any)["properties"].(map[string]any)["name"].(string)]++
			}
			path = nextLink(g)
			if path != "" && (!strings.Contains(path, "kind=water") || !strings.Contains(path, "limit=7") || !strings.Contains(path, "bbox=-81")) {
				t.Fatalf("next lost a parameter: %s", path)
			}
			early := records.ID(fmt.Sprintf("00000000-0000-7000-8000-%012d", page))
			s.make(c, "surroundings", water(early, "early", -80.42, 35.87))
			s.make(c, "surroundings", water(s.ids.New(), "late", -80.42, 35.87))
			if page > 40 {
				t.Fatal("the walk does not end")
			}
			if page == 9 { // enough of chasing new ones
				break
			}
		}
		for name := range want {
			if seen[name] != 1 {
				t.Errorf("%s came %d times", name, seen[name])
			}
		}
	})
}

// OGC API - Features part 1: the landing page, its links, the conformance
// declaration, collections and a feature (requirements 2 to 6, 11 to 18, 32).
func TestDescriptions(t *testing.T) {
	s := newSite(t, func(c *Config) { c.PublicURL = "https://farm.example/records/" })
	c, id := s.as("owner"), s.ids.New()
	s.make(c, "surroundings", water(id, "Pond", -80.42, 35.87))
	const at = "https://farm.example/records/farms/mine"
	rels := func(g got) map[string]string {
		var v struct {
			Links []link `json:"links"`
		}
		must(t, json.Unmarshal(g.body, &v))
		out := map[string]string{}
		for _, l := range v.Links {
			if !strings.HasPrefix(l.Href, "https://farm.example/records/") {
				t.Errorf("link %v does not follow the public address", l)
			}
			if l.Type == "" {
				t.Errorf("link %v has no type", l)
			}
			out[l.Rel] = l.Href
		}
		return out
	}
	for _, accept := range []string{"application/json", "", "*/*"} {
		g := c.do("GET", "/farms/mine/", nil, "Accept", accept)
		r := rels(g)
		if g.status != 200 || r["service-desc"] != at+"/api" || r["conformance"] != at+"/conformance" || r["data"] != at+"/collections" || r["self"] == "" {
			t.Errorf("Accept %q: %d %v", accept, g.status, r)
		}
	}
	if g := s.anybody().do("GET", "/farms/mine/", nil, "Accept", "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"); g.status != 200 || !strings.HasPrefix(g.header.Get("Content-Type"), "text/html") || !strings.Contains(strings.Join(g.header.Values("Vary"), " "), "Accept") {
		t.Errorf("a browser: %d %v", g.status, g.header)
	}
	if g := c.do("GET", "/farms/mine/conformance", nil); len(g.json(t)["conformsTo"].([]any)) < 3 {
		t.Errorf("conformance: %s", g.body)
	}
	all := c.do("GET", "/farms/mine/collections", nil).json(t)["collections"].([]any)
	if len(all) != len(records.Kinds) {
		t.Fatalf("%d collections", len(all))
	}
	for _, v := range all {
		m := v.(map[string]any)
		single := c.do("GET", "/farms/mine/collections/"+m["id"].(string), nil)
		a, _ := json.Marshal(m)
		b, _ := json.Marshal(single.json(t))
		if string(a) != string(b) || m["itemType"] != "feature" || m["crs"].([]any)[0] != crs84 {
			t.Errorf("%s: %s and %s", m["id"], a, b)
		}
		if r := rels(single); r["items"] != at+"/collections/"+m["id"].(string)+"/items" {
			t.Errorf("%s: links %v", m["id"], r)
		}
		if m["id"] == "surroundings" {
			box := m["extent"].(map[string]any)["spatial"].(map[string]any)["bbox"].([]any)[0].([]any)
			if box[0] != -80.42 || box[1] != 35.87 {
				t.Errorf("extent %v", box)
			}
		}
	}
	one := c.do("GET", itemAt("surroundings", id), nil)
	if r := rels(one); r["self"] != at+"/collections/surroundings/items/"+string(id) || r["collection"] != at+"/collections/surroundings" || r["alternate"] == "" {
		t.Errorf("feature links %v", r)
	}
	if one.header.Get("Content-Type") != typeGeoJSON {
		t.Errorf("Content-Type %q", one.header.Get("Content-Type"))
	}
	list := c.do("GET", "/farms/mine/collections/surroundings/items", nil)
	if r := rels(list); r["self"] == "" || r["alternate"] == "" || r["next"] != "" {
		t.Errorf("list links %v", r)
	}
	if _, err := time.Parse(time.RFC3339, list.json(t)["timeStamp"].(string)); err != nil {
		t.Error(err)
	}
	if g := c.do("GET", "/farms/mine/collections/surroundings/items", nil, "Accept-Encoding", "gzip"); g.header.Get("Content-Encoding") != "" && len(g.body) > len(list.body) {
		t.Error("a small list was packed")
	}
}

// Extents follow the feed: they grow with each write.
func TestExtentGrows(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	extent := func() any { return c.do("GET", "/farms/mine/collections/surroundings", nil).json(t)["extent"] }
	if extent() != nil {
		t.Errorf("an empty collection has the extent %v", extent())
	}
	s.make(c, "surroundings", water(s.ids.New(), "a", -80.42, 35.87))
	s.make(c, "surroundings", water(s.ids.New(), "b", -80.5, 35.9))
	if e := extent().(map[string]any)["spatial"].(map[string]any)["bbox"].([]any)[0].([]any); e[0] != -80.5 || e[1] != 35.87 {
		t.Errorf("extent %v", e)
	}
}

// Without a public address links follow the request's host, but never repeat
// what is no host.
func TestLinksWithoutPublicAddress(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	for host, want := range map[string]string{"127.0.0.1:8080": "http://127.0.0.1:8080/", "[::1]:8080": "http://[::1]:8080/", "farm.local": "http://farm.local/", `x"><script>`: "http://localhost/", "a/b": "http://localhost/"} {
		r := c.request("GET", "/farms/mine/", nil)
		r.Host = host
		w := httptest.NewRecorder()
		s.srv.ServeHTTP(w, r)
		if !strings.Contains(w.Body.String(), `"href":"`+want+"farms/mine/api") {
			t.Errorf("Host %q: %s", host, w.Body)
		}
	}
}
