package web

import (
	"context"
	"crypto/rand"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"caneward/records"
	"caneward/records/people"
)

func TestSignIn(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c := s.anybody()
		g := c.signIn("  Owner ", password)
		if g.status != 200 {
			t.Fatalf("sign-in: %d %s", g.status, g.body)
		}
		who := g.json(t)
		farms := who["farms"].([]any)
		if who["person"].(map[string]any)["name"] != "owner" || len(farms) != 1 {
			t.Fatalf("who: %s", g.body)
		}
		f := farms[0].(map[string]any)
		if f["id"] != "mine" || f["name"] != "My farm" || f["role"] != "owner" || f["invented"] != true || f["zone"] != "America/New_York" {
			t.Errorf("farm: %v", f)
		}
		if me := c.do("GET", "/sessions/current", nil); string(me.body) != string(g.body) {
			t.Errorf("who am I: %s, want %s", me.body, g.body)
		}
		if g.header.Get("Cache-Control") == "" || !strings.Contains(g.header.Get("Cache-Control"), "no-store") {
			t.Errorf("Cache-Control %q", g.header.Values("Cache-Control"))
		}
	})
}

func TestCookieFlags(t *testing.T) {
	for _, secure := range []bool{false, true} {
		s := newSite(t, func(c *Config) { c.Secure = secure })
		g := s.anybody().signIn("owner", password)
		cookies := (&http.Response{Header: g.header}).Cookies()
		if len(cookies) != 1 {
			t.Fatalf("cookies %v", cookies)
		}
		c := cookies[0]
		if c.Name != cookieName || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Secure != secure || c.Path != "/" || len(c.Value) < 40 {
			t.Errorf("secure %v: %v", secure, c)
		}
	}
}

func TestSignOutEndsTheSessionOnTheServer(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c := s.as("scout")
		token := c.cookies[cookieName]
		if g := c.do("DELETE", "/sessions/current", nil); g.status != 204 {
			t.Fatalf("sign-out: %d", g.status)
		}
		c.cookies[cookieName] = token
		for _, path := range []string{"/sessions/current", "/farms/mine/", "/farms/mine/collections/blocks/items"} {
			if g := c.do("GET", path, nil); g.status != 401 {
				t.Errorf("%s under the old token: %d, want 401", path, g.status)
			}
		}
	})
}

// A token that somebody else chose, or that was signed in before, is not the one
// signed in under.
func TestFixation(t *testing.T) {
	s := newSite(t)
	chosen := "a-token-that-another-person-chose-for-the-victim"
	c := s.anybody()
	c.cookies[cookieName] = chosen
	c.signIn("owner", password)
	first := c.cookies[cookieName]
	c.signIn("scout", password)
	second := c.cookies[cookieName]
	for name, token := range map[string]string{"chosen": chosen, "of the sign-in before": first} {
		other := s.anybody()
		other.cookies[cookieName] = token
		if g := other.do("GET", "/sessions/current", nil); g.status != 401 {
			t.Errorf("token %s: %d, want 401", name, g.status)
		}
	}
	if first == second || second == chosen {
		t.Error("the token was not renewed")
	}
}

func TestSessionsEnd(t *testing.T) {
	s := newSite(t)
	c, d := s.as("owner"), s.as("owner")
	p, err := s.store.PersonByName(context.Background(), "owner")
	must(t, err)
	s.now = func() time.Time { return time.Now().Add(31 * 24 * time.Hour) }
	if g := c.do("GET", "/sessions/current", nil); g.status != 401 {
		t.Errorf("after 31 days: %d, want 401", g.status)
	}
	s.now = time.Now
	must(t, s.store.SetPassword(context.Background(), p.ID, passwordHash()))
	if g := d.do("GET", "/sessions/current", nil); g.status != 401 {
		t.Errorf("after a new password: %d, want 401", g.status)
	}
}

// The store holds a hash, so a copy of it signs nobody in; the log holds
// neither token nor password.
func TestSecretsStayOut(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	token := c.cookies[cookieName]
	if _, err := s.store.Session(context.Background(), people.TokenHash(token), time.Now()); err != nil {
		t.Errorf("the session is not under the hash of its token: %v", err)
	}
	c.do("GET", "/farms/mine/collections/finds/items?bbox=-80.4213,35.8777,-80.1,36", nil)
	c.do("GET", "/farms/mine/collections/finds/items?nonsense=-80.4213", nil)
	s.anybody().signIn("owner", "not-the-password")
	logged := s.log.String()
	for _, secret := range []string{token, password, "not-the-password", "80.4213", "35.8777", "mine"} {
		if strings.Contains(logged, secret) {
			t.Errorf("the log holds %q", secret)
		}
	}
	if !strings.Contains(logged, "/farms/{farm}/collections/{kind}/items") {
		t.Errorf("the log lacks the route: %s", logged)
	}
}

func TestWrongSignIns(t *testing.T) {
	s := newSite(t)
	wrong, unknown := s.anybody().signIn("owner", "wrong-password"), s.anybody().signIn("nobody-here", "wrong-password")
	if wrong.status != 401 || unknown.status != 401 || string(wrong.body) != string(unknown.body) {
		t.Errorf("wrong password %d %s, unknown name %d %s", wrong.status, wrong.body, unknown.status, unknown.body)
	}
	for name, body := range map[string]string{"no JSON": `{"name":`, "unknown member": `{"name":"owner","pass":"x"}`, "number": `{"name":1,"password":"x"}`} {
		if g := s.anybody().do("POST", "/sessions", body); g.status != 400 && g.status != 422 {
			t.Errorf("%s: %d %s", name, g.status, g.body)
		}
	}
}

func TestFlood(t *testing.T) {
	s := newSite(t)
	s.costly()
	now := time.Now()
	var lock sync.Mutex
	s.now = func() time.Time { lock.Lock(); defer lock.Unlock(); return now }
	for i := 0; i < 5; i++ {
		if g := s.anybody().signIn("scout", "wrong-password"); g.status != 401 {
			t.Fatalf("failure %d: %d", i+1, g.status)
		}
		if g := s.anybody().signIn("owner", password); g.status != 200 {
			t.Fatalf("good sign-in between: %d", g.status)
		}
	}
	g := s.anybody().signIn("scout", password)
	if g.status != 429 || g.header.Get("Retry-After") != "60" {
		t.Errorf("after 5 failures: %d, Retry-After %q, want 429 and 60", g.status, g.header.Get("Retry-After"))
	}
	if g := s.anybody().signIn("adviser", password); g.status != 200 {
		t.Errorf("another account: %d", g.status)
	}
	for i := 0; i < 20; i++ {
		if g := s.anybody().signIn("owner", password); g.status != 200 {
			t.Fatalf("good sign-in %d: %d", i, g.status)
		}
	}
	lock.Lock()
	now = now.Add(61 * time.Second)
	lock.Unlock()
	if g := s.anybody().signIn("scout", password); g.status != 200 {
		t.Errorf("a minute later: %d", g.status)
	}
}

// Many at once do not get more tries than one after the other, and good ones at
// once are not limited.
func TestFloodAtOnce(t *testing.T) {
	s := newSite(t)
	s.costly()
	statuses := func(name, pass string, n int) map[int]int {
		out := map[int]int{}
		var lock sync.Mutex
		var all sync.WaitGroup
		for i := 0; i < n; i++ {
			all.Go(func() {
				g := s.anybody().signIn(name, pass)
				lock.Lock()
				out[g.status]++
				lock.Unlock()
			})
		}
		all.Wait()
		return out
	}
	if got := statuses("owner", password, 20); got[200] != 20 {
		t.Errorf("20 good ones at once: %v", got)
	}
	if got := statuses("scout", "wrong-password", 20); got[401] != 5 || got[429] != 15 {
		t.Errorf("20 wrong ones at once: %v, want 5 times 401 and 15 times 429", got)
	}
}

// The limit by address stops one that tries many names.
func TestFloodOfNames(t *testing.T) {
	now := time.Now()
	l := newSignInLimits(Limits{}.filled(), func() time.Time { return now })
	for i := 0; i < 100; i++ {
		p, err := l.enter(context.Background(), rand.Text(), "198.51.100.7")
		must(t, err)
		p.leave(true)
	}
	if _, err := l.enter(context.Background(), "owner", "198.51.100.7"); err == nil {
		t.Error("a 101st failure from one address was let in")
	}
	if p, err := l.enter(context.Background(), "owner", "198.51.100.8"); err != nil {
		t.Errorf("another address: %v", err)
	} else {
		p.leave(false)
	}
	now = now.Add(signInWindow)
	for i := 0; i < 3*signInKeys; i++ {
		p, err := l.enter(context.Background(), rand.Text(), rand.Text())
		must(t, err)
		p.leave(true)
	}
	if len(l.tries) > signInKeys+2 {
		t.Errorf("%d keys remembered, want at most %d", len(l.tries), signInKeys)
	}
}

// net/http.CrossOriginProtection: Sec-Fetch-Site first, else Origin against
// Host (Go documentation of the type).
func TestOtherSites(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	id := s.ids.New()
	for name, h := range map[string][]string{
		"cross-site":           {"Origin", "http://evil.example", "Sec-Fetch-Site", "cross-site"},
		"same-site":            {"Origin", "http://other.test", "Sec-Fetch-Site", "same-site"},
		"old browser":          {"Origin", "http://evil.example", "Sec-Fetch-Site", ""},
		"origin without scope": {"Origin", "null", "Sec-Fetch-Site", ""},
	} {
		for _, ask := range [][2]string{{"POST", "/farms/mine/changes"}, {"PUT", itemAt("surroundings", id)}, {"DELETE", itemAt("surroundings", id)}, {"POST", "/sessions"}, {"DELETE", "/sessions/current"}} {
			if g := c.do(ask[0], ask[1], `{"changes":[]}`, h...); g.status != 403 {
				t.Errorf("%s: %s %s answers %d, want 403", name, ask[0], ask[1], g.status)
			} else {
				problemOf(t, g)
			}
		}
	}
	if g := c.do("POST", "/farms/mine/changes", `{"changes":[]}`, "Origin", "", "Sec-Fetch-Site", ""); g.status != 200 {
		t.Errorf("no browser: %d %s", g.status, g.body)
	}
	if g := c.do("GET", "/farms/mine/collections", nil, "Origin", "http://evil.example", "Sec-Fetch-Site", "cross-site"); g.status != 200 || g.header.Get("Access-Control-Allow-Origin") != "" {
		t.Errorf("a read: %d, and it says Access-Control-Allow-Origin %q", g.status, g.header.Get("Access-Control-Allow-Origin"))
	}
}

func TestAuthorIsWhoSignedIn(t *testing.T) {
	s := newSite(t)
	c, id := s.as("owner"), s.ids.New()
	s.make(c, "surroundings", water(id, "Pond", -80.42, 35.87))
	by := c.do("GET", itemAt("surroundings", id), nil).json(t)["by"].(map[string]any)
	if by["name"] != "The owner" || by["role"] != string(records.Owner) {
		t.Errorf("by %v", by)
	}
}
