package web

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/mux"

	"caneward/records"
	"caneward/records/people"
	"caneward/records/sqlite"
)

func openDisk(t testing.TB) Store {
	t.Helper()
	store, err := sqlite.Open(context.Background(), t.TempDir(), sqlite.Options{})
	must(t, err)
	t.Cleanup(func() { store.Close() })
	return store
}

var anyVariable = regexp.MustCompile(`\{([a-z]+)(?::(?:[^{}]|\{[^{}]*\})*)?\}`)

// path fills a pattern's variables so that it names something that exists on
// the farm "mine".
func fillPattern(pattern, farm string, id records.ID) string {
	values := map[string]string{"farm": farm, "kind": "surroundings", "id": string(id), "layer": "surroundings", "z": "14", "x": "4532", "y": "6434",
		"name": "blocks", "form": "csv", "rest": "mine/ground", "file": "sw.js", "import": "nothing", "photo": string(id),
		"person": string(id), "grant": string(id), "session": "nothing", "topic": "plants_per_acre"}
	return anyVariable.ReplaceAllStringFunc(pattern, func(v string) string {
		return values[anyVariable.FindStringSubmatch(v)[1]]
	})
}

// bodyFor gives a body the route reads.
func bodyFor(r *route, id records.ID) (body any, headers []string) {
	if r.body == nil {
		return nil, nil
	}
	switch r.body.types[0] {
	case typeGeoJSON:
		return water(id, "Pond", -80.42, 35.87), nil
	case typeForm:
		return []byte("--b\r\nContent-Disposition: form-data; name=\"kind\"\r\n\r\nblocks\r\n--b--\r\n"), []string{"Content-Type", "multipart/form-data; boundary=b"}
	}
	return `{}`, nil
}

// A farm of others answers byte for byte as one that does not exist, whatever
// is asked of it and whether or not the thing asked for is there; and nobody
// signed in is told the same of both.
func TestFence(t *testing.T) {
	t.Parallel()
	bothStores(t, func(t *testing.T, s *site) {
		owner, stranger := s.as("owner"), s.as("stranger")
		id := s.ids.New()
		s.make(owner, "surroundings", water(id, "Pond", -80.42, 35.87))
		lower := map[records.Role]*client{}
		for _, role := range people.Roles {
			lower[role] = s.as(string(role))
		}
		expired := s.as("owner")
		must(t, s.store.SaveSession(context.Background(), people.Session{TokenHash: people.TokenHash(expired.cookies[cookieName]), Person: "", Data: []byte(`{}`), Expires: time.Now()}))
		for i := range s.srv.routes {
			r := &s.srv.routes[i]
			if r.needs == public {
				continue
			}
			body, headers := bodyFor(r, id)
			name := r.method + " " + r.pattern
			if g := s.anybody().do(r.method, fillPattern(r.pattern, "mine", id), body, headers...); g.status != 401 {
				t.Errorf("%s without a sign-in: %d, want 401", name, g.status)
			}
			if g := expired.do(r.method, fillPattern(r.pattern, "mine", id), body, headers...); g.status != 401 {
				t.Errorf("%s under an expired session: %d, want 401", name, g.status)
			}
			if r.needs != farm {
				continue
			}
			for _, query := range []string{"", "?limit=1", "?bbox=-180,-90,180,90", "?nonsense=1"} {
				foreign := stranger.do(r.method, fillPattern(r.pattern, "mine", id)+query, body, headers...)
				for _, farm := range []string{"nowhere", "UPPER", "a--b-", strings.Repeat("x", 300)} {
					unknown := stranger.do(r.method, fillPattern(r.pattern, farm, id)+query, body, headers...)
					if foreign.status != 404 || unknown.status != 404 || !bytes.Equal(bytes.ReplaceAll(foreign.body, []byte("mine"), []byte(farm)), unknown.body) {
						t.Errorf("%s%s: foreign %d %s, unknown %d %s", name, query, foreign.status, foreign.body, unknown.status, unknown.body)
					}
					if a, b := shownHeaders(foreign.header), shownHeaders(unknown.header); a != b {
						t.Errorf("%s%s: headers differ:\n%s\n%s", name, query, a, b)
					}
				}
			}
			for _, role := range people.Roles {
				if people.May(role, r.right, "surroundings") || r.right == "" {
					continue
				}
				if g := lower[role].do(r.method, fillPattern(r.pattern, "mine", id), body, headers...); g.status != 403 {
					t.Errorf("%s as %s: %d, want 403", name, role, g.status)
				}
			}
		}
		if g := owner.do("GET", itemAt("surroundings", id), nil); g.status != 200 || g.json(t)["revision"] != 1.0 {
			t.Errorf("after all that the record answers %d %s", g.status, g.body)
		}
	})
}

// shownHeaders leaves out the number of the request and the length, which the
// length of the farm's own name in the path decides.
func shownHeaders(h http.Header) string {
	h = h.Clone()
	h.Del("Request-Id")
	h.Del("Content-Length")
	var b bytes.Buffer
	h.Write(&b)
	return b.String()
}

// A record of one farm is not reached through another the same person is on.
func TestRecordsStayOnTheirFarm(t *testing.T) {
	s := newSite(t)
	owner, id := s.as("owner"), s.ids.New()
	s.make(owner, "surroundings", water(id, "Pond", -80.42, 35.87))
	p, err := s.store.PersonByName(context.Background(), "owner")
	must(t, err)
	must(t, s.store.SetRole(context.Background(), people.Membership{Person: p.ID, Farm: "theirs", Role: records.Owner}))
	if g := owner.do("GET", strings.Replace(itemAt("surroundings", id), "mine", "theirs", 1), nil); g.status != 404 {
		t.Errorf("record of mine through theirs: %d", g.status)
	}
}

func TestRoles(t *testing.T) {
	s := newSite(t)
	owner := s.as("owner")
	id := s.ids.New()
	s.make(owner, "surroundings", water(id, "Pond", -80.42, 35.87))
	for _, role := range people.Roles {
		c := s.as(string(role))
		for _, kind := range records.Kinds {
			if g := c.do("GET", "/farms/mine/collections/"+string(kind)+"/items", nil); g.status != 200 {
				t.Errorf("%s reads %s: %d", role, kind, g.status)
			}
			g := c.do("PUT", itemAt(string(kind), s.ids.New()), `{`, "Content-Type", typeGeoJSON)
			if want := map[bool]int{true: 400, false: 403}[people.May(role, people.Write, kind)]; g.status != want {
				t.Errorf("%s writes a broken %s: %d, want %d", role, kind, g.status, want)
			}
		}
	}
}

// A role that changes holds from the next request on.
func TestRoleChanges(t *testing.T) {
	s := newSite(t)
	c := s.as("viewer")
	p, err := s.store.PersonByName(context.Background(), "viewer")
	must(t, err)
	must(t, s.store.SetRole(context.Background(), people.Membership{Person: p.ID, Farm: "mine", Role: records.Owner}))
	if g := c.do("PUT", itemAt("surroundings", s.ids.New()), `{`, "Content-Type", typeGeoJSON); g.status != 400 {
		t.Errorf("a new owner writes broken JSON: %d, want 400", g.status)
	}
	must(t, s.store.SetRole(context.Background(), people.Membership{Person: p.ID, Farm: "mine"}))
	if g := c.do("GET", "/farms/mine/collections", nil); g.status != 404 {
		t.Errorf("taken off the farm: %d, want 404", g.status)
	}
}

// Every address the router knows stands in the table, and takes no method that
// does not.
func TestRoutesComeFromTheTable(t *testing.T) {
	s := newSite(t)
	table := map[string]methods{}
	for i := range s.srv.routes {
		r := &s.srv.routes[i]
		if table[r.pattern] == nil {
			table[r.pattern] = methods{}
		}
		if table[r.pattern][r.method] != nil {
			t.Errorf("%s %s stands twice", r.method, r.pattern)
		}
		table[r.pattern][r.method] = r
	}
	seen := map[string]bool{}
	must(t, s.srv.router.Walk(func(m *mux.Route, _ *mux.Router, _ []*mux.Route) error {
		pattern, err := m.GetPathTemplate()
		must(t, err)
		if table[pattern] == nil {
			t.Errorf("the router knows %s, the table does not", pattern)
		}
		seen[pattern] = true
		return nil
	}))
	for pattern, m := range table {
		if !seen[pattern] {
			t.Errorf("the table has %s, the router does not", pattern)
		}
		path := fillPattern(pattern, "mine", s.ids.New())
		for _, method := range []string{"GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "TRACE", "FROB"} {
			g := s.anybody().do(method, path, nil)
			taken := m[method] != nil || method == "HEAD" && m["GET"] != nil
			if (g.status == 405) == taken {
				t.Errorf("%s %s: %d", method, path, g.status)
			}
			if g.status == 405 && g.header.Get("Allow") != m.allow() {
				t.Errorf("%s %s: Allow %q, want %q", method, path, g.header.Get("Allow"), m.allow())
			}
		}
		if g := s.anybody().do("OPTIONS", path, nil); g.status != 204 || g.header.Get("Allow") != m.allow() {
			t.Errorf("OPTIONS %s: %d, Allow %q", path, g.status, g.header.Get("Allow"))
		}
	}
}

// RFC 9110 9.3.2: HEAD answers as GET without the content.
func TestHeadIsGet(t *testing.T) {
	s := newSite(t)
	owner, id := s.as("owner"), s.ids.New()
	s.make(owner, "surroundings", water(id, "Pond", -80.42, 35.87))
	server := httptest.NewServer(s.srv)
	defer server.Close()
	for i := range s.srv.routes {
		r := &s.srv.routes[i]
		if r.method != "GET" || r.pattern == "/metrics" {
			continue
		}
		path := fillPattern(r.pattern, "mine", id)
		get, head := owner.do("GET", path, nil), owner.do("HEAD", path, nil)
		if get.status != head.status || get.header.Get("Content-Type") != head.header.Get("Content-Type") || get.header.Get("ETag") != head.header.Get("ETag") {
			t.Errorf("%s: GET %d %v, HEAD %d %v", path, get.status, get.header, head.status, head.header)
		}
	}
}
