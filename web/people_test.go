package web

import (
	"context"
	"encoding/base32"
	"fmt"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"caneward/records"
	"caneward/records/people"
)

// secretFor makes what a route hands out once.
func secretFor(t testing.TB, c *client, path string, body any) (secret, id string) {
	t.Helper()
	g := c.do("POST", path, body)
	if g.status != 201 {
		t.Fatalf("POST %s: %d %s", path, g.status, g.body)
	}
	return g.json(t)["secret"].(string), g.json(t)["id"].(string)
}

func (s *site) personID(name string) records.PersonID {
	p, err := s.store.PersonByName(context.Background(), name)
	must(s.t, err)
	return p.ID
}

// An invitation is good once, for who holds its link; taken back, used and
// expired ones answer as one that never was.
func TestInvitation(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner := s.as("owner")
		block := feature(s.ids.New(), square(-80.42, 35.87, 0.002), map[string]any{"name": "Long Rows", "row_spacing_m": 3.0, "plant_spacing_m": 1.0, "row_bearing_deg": 0.0})
		s.make(owner, "blocks", block)
		ask := map[string]any{"name": "the county adviser", "role": "adviser", "limits": map[string]any{"blocks": []any{block["id"]}, "seasons": []int{2026}}}
		secret, _ := secretFor(t, owner, "/farms/mine/invitations", ask)
		look := s.anybody().do("POST", "/invitations/look", map[string]string{"secret": secret})
		if v := look.json(t); look.status != 200 || v["farm"] != "My farm" || v["role"] != "adviser" || fmt.Sprint(v["blocks"]) != "[Long Rows]" || v["by"] != "The owner" {
			t.Errorf("a look: %d %s", look.status, look.body)
		}
		accept := func(secret, name string) (*client, got) {
			c := s.anybody()
			return c, c.do("POST", "/invitations/accept", map[string]string{"secret": secret, "name": name, "display": "Ann", "password": "a new long password"})
		}
		for name, body := range map[string]map[string]string{
			"a short password": {"secret": secret, "name": "ann", "password": "short"},
			"a common one":     {"secret": secret, "name": "ann", "password": "1qaz2wsx3edc"},
			"a name taken":     {"secret": secret, "name": "owner", "password": "a new long password"},
			"nobody signed in": {"secret": secret},
		} {
			if g := s.anybody().do("POST", "/invitations/accept", body); g.status < 400 || g.status >= 500 || g.status == 404 {
				t.Errorf("%s: %d %s", name, g.status, g.body)
			}
		}
		ann, g := accept(secret, "ann")
		if g.status != 200 {
			t.Fatalf("accept: %d %s", g.status, g.body)
		}
		farms := g.json(t)["farms"].([]any)[0].(map[string]any)
		if farms["role"] != "adviser" || farms["limits"] == nil {
			t.Errorf("the newcomer is %v", farms)
		}
		if g := ann.do("GET", "/farms/mine/collections/blocks/items", nil); g.json(t)["numberMatched"] != 1.0 {
			t.Errorf("the newcomer lists %s", g.body)
		}
		_, again := accept(secret, "bob")
		_, never := accept("never-made", "bob")
		ended, id := secretFor(t, owner, "/farms/mine/invitations", ask)
		if g := owner.do("DELETE", "/farms/mine/invitations/"+id, nil); g.status != 204 {
			t.Errorf("taking back: %d", g.status)
		}
		_, back := accept(ended, "bob")
		late, _ := secretFor(t, owner, "/farms/mine/invitations", ask)
		s.now = func() time.Time { return time.Now().AddDate(0, 0, invitationDays) }
		_, expired := accept(late, "bob")
		s.now = time.Now
		for name, g := range map[string]got{"used": again, "taken back": back, "expired": expired} {
			if g.status != 404 || string(g.body) != string(never.body) {
				t.Errorf("%s: %d %s, never made: %d %s", name, g.status, g.body, never.status, never.body)
			}
		}
		// Who has a sign-in joins with it, and has two farms.
		more, _ := secretFor(t, owner, "/farms/mine/invitations", map[string]any{"name": "a neighbour", "role": "viewer"})
		stranger := s.as("stranger")
		if g := stranger.do("POST", "/invitations/accept", map[string]string{"secret": more}); g.status != 200 || len(g.json(t)["farms"].([]any)) != 2 {
			t.Errorf("a second farm: %d %s", g.status, g.body)
		}
		for name, bad := range map[string]map[string]any{
			"no role":         {"name": "x", "role": "king"},
			"no name":         {"name": " ", "role": "viewer"},
			"a limited owner": {"name": "x", "role": "owner", "limits": map[string]any{"seasons": []int{2026}}},
			"no such block":   {"name": "x", "role": "viewer", "limits": map[string]any{"blocks": []any{s.ids.New()}}},
			"a year of days":  {"name": "x", "role": "viewer", "days": 365},
		} {
			if g := owner.do("POST", "/farms/mine/invitations", bad); g.status != 422 {
				t.Errorf("%s: %d %s", name, g.status, g.body)
			}
		}
	})
}

// Leaving, and being taken off, hold from the next request on, for tokens too;
// the last owner stays.
func TestLeaving(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner, scout := s.as("owner"), s.as("scout")
		token, _ := secretFor(t, scout, "/farms/mine/tokens", map[string]any{"name": "a script", "writes": true})
		byToken := func() got {
			return s.anybody().do("GET", "/farms/mine/collections", nil, "Authorization", "Bearer "+token)
		}
		if g := byToken(); g.status != 200 {
			t.Errorf("by the token: %d", g.status)
		}
		if g := owner.do("DELETE", "/farms/mine/people/"+string(s.personID("scout")), nil); g.status != 204 {
			t.Fatalf("taking off: %d %s", g.status, g.body)
		}
		gone, nowhere := scout.do("GET", "/farms/mine/collections", nil), scout.do("GET", "/farms/nowhere/collections", nil)
		if gone.status != 404 || strings.ReplaceAll(string(gone.body), "mine", "nowhere") != string(nowhere.body) {
			t.Errorf("afterwards: %d %s", gone.status, gone.body)
		}
		if g := scout.do("POST", "/farms/mine/changes", `{"changes":[]}`); g.status != 404 {
			t.Errorf("unsent work: %d, want 404 so that the phone keeps it", g.status)
		}
		if g := byToken(); g.status != 401 {
			t.Errorf("by the token afterwards: %d, want 401", g.status)
		}
		viewer := s.as("viewer")
		if g := viewer.do("DELETE", "/farms/mine/membership", nil); g.status != 204 {
			t.Errorf("leaving: %d %s", g.status, g.body)
		}
		if g := viewer.do("GET", "/farms/mine/collections", nil); g.status != 404 {
			t.Errorf("after leaving: %d", g.status)
		}
		mine := "/farms/mine/people/" + string(s.personID("owner"))
		for name, g := range map[string]got{
			"leaving":      owner.do("DELETE", "/farms/mine/membership", nil),
			"taken off":    owner.do("DELETE", mine, nil),
			"made a scout": owner.do("PATCH", mine, map[string]any{"role": "scout"}),
		} {
			if g.status != 409 {
				t.Errorf("the last owner %s: %d %s", name, g.status, g.body)
			}
		}
	})
}

// A changed role or limit gives the session another token; the old one answers a
// moment longer, for what was under way, and then no more.
func TestRightsRenewTheSession(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		now := time.Now()
		s.now = func() time.Time { return now }
		owner, adviser := s.as("owner"), s.as("adviser")
		before := adviser.cookies[cookieName]
		if g := adviser.do("GET", "/sessions/current", nil); g.status != 200 || adviser.cookies[cookieName] != before {
			t.Fatalf("nothing has changed, yet the token has: %d", g.status)
		}
		if g := owner.do("PATCH", "/farms/mine/people/"+string(s.personID("adviser")), map[string]any{"role": "viewer"}); g.status != 200 {
			t.Fatalf("a new role: %d %s", g.status, g.body)
		}
		if g := adviser.do("GET", "/sessions/current", nil); g.status != 200 || adviser.cookies[cookieName] == before {
			t.Errorf("after a new role: %d, the token renewed %v", g.status, adviser.cookies[cookieName] != before)
		}
		after := adviser.cookies[cookieName]
		old := s.anybody()
		old.cookies[cookieName] = before
		if g := old.do("GET", "/farms/mine/collections", nil); g.status != 200 || old.cookies[cookieName] != before {
			t.Errorf("a request that was under way: %d, with a new cookie %v", g.status, old.cookies[cookieName] != before)
		}
		now = now.Add(passedTime)
		if g := old.do("GET", "/farms/mine/collections", nil); g.status != 401 {
			t.Errorf("the old token later: %d, want 401", g.status)
		}
		if g := adviser.do("GET", "/farms/mine/collections", nil); g.status != 200 || adviser.cookies[cookieName] != after {
			t.Errorf("the new token: %d", g.status)
		}
		if g := adviser.do("PUT", itemAt("finds", s.ids.New()), `{`, "Content-Type", typeGeoJSON); g.status != 403 {
			t.Errorf("the new role writes: %d", g.status)
		}
	})
}

func TestTokens(t *testing.T) {
	s := newSite(t, func(c *Config) { c.Limits.Token = 20 })
	now := time.Now()
	s.now = func() time.Time { return now }
	scout, owner := s.as("scout"), s.as("owner")
	secret, id := secretFor(t, scout, "/farms/mine/tokens", map[string]any{"name": "my GIS", "days": 10})
	if !strings.HasPrefix(secret, tokenPrefix) || len(secret) != len(tokenPrefix)+43 {
		t.Errorf("secret %q", secret)
	}
	list := scout.do("GET", "/farms/mine/tokens", nil)
	if strings.Contains(string(list.body), secret) || !strings.Contains(string(list.body), "my GIS") {
		t.Errorf("a list holds the secret, or lacks its name: %s", list.body)
	}
	if g := s.as("adviser").do("GET", "/farms/mine/tokens", nil); strings.Contains(string(g.body), "my GIS") {
		t.Errorf("another member's tokens are listed: %s", g.body)
	}
	if g := owner.do("GET", "/farms/mine/tokens", nil); !strings.Contains(string(g.body), "my GIS") {
		t.Errorf("the owner does not see it: %s", g.body)
	}
	with := func(header string) got {
		return s.anybody().do("GET", "/farms/mine/collections", nil, "Authorization", header)
	}
	r := s.anybody().request("GET", "/", nil)
	r.SetBasicAuth("whoever", secret)
	for name, g := range map[string]got{"bearer": with("Bearer " + secret), "lower case": with("bearer " + secret), "basic": with(r.Header.Get("Authorization"))} {
		if g.status != 200 || g.header.Get("Set-Cookie") != "" {
			t.Errorf("%s: %d, cookie %q", name, g.status, g.header.Get("Set-Cookie"))
		}
	}
	r.SetBasicAuth("scout", password)
	for name, header := range map[string]string{"a password": r.Header.Get("Authorization"), "another scheme": "Digest " + secret, "cut": "Bearer " + secret[:20], "empty": "Bearer "} {
		if g := with(header); g.status != 401 {
			t.Errorf("%s: %d, want 401", name, g.status)
		}
	}
	if g := owner.do("GET", "/farms/mine/collections", nil, "Authorization", "Bearer wrong"); g.status != 401 {
		t.Errorf("a wrong token beside a good cookie: %d, want 401", g.status)
	}
	if g := owner.do("GET", "/farms/mine/tokens", nil); !strings.Contains(string(g.body), `"used":"`+now.UTC().Format(time.DateOnly)) {
		t.Errorf("the day of its last use is missing: %s", g.body)
	}
	statuses := map[int]int{}
	for range 30 {
		g := with("Bearer " + secret)
		statuses[g.status]++
		if g.status == 429 && g.header.Get("Retry-After") == "" {
			t.Error("429 without Retry-After")
		}
	}
	if statuses[429] != 13 {
		t.Errorf("30 more of 20 a minute: %v, want 17 and 13", statuses)
	}
	now = now.Add(time.Minute)
	if g := with("Bearer " + secret); g.status != 200 {
		t.Errorf("a minute later: %d", g.status)
	}
	if g := s.as("adviser").do("DELETE", "/farms/mine/tokens/"+id, nil); g.status != 404 {
		t.Errorf("another member ends it: %d", g.status)
	}
	now = now.AddDate(0, 0, 10)
	if g := with("Bearer " + secret); g.status != 401 {
		t.Errorf("after its days: %d, want 401", g.status)
	}
	now = now.AddDate(0, 0, -10)
	if g := owner.do("DELETE", "/farms/mine/tokens/"+id, nil); g.status != 204 {
		t.Errorf("ended by the owner: %d", g.status)
	}
	if g := with("Bearer " + secret); g.status != 401 {
		t.Errorf("after it was ended: %d, want 401", g.status)
	}
	if logged := s.log.String(); strings.Contains(logged, secret) || strings.Contains(logged, secret[len(tokenPrefix):]) {
		t.Error("the log holds the token")
	}
}

// codeOf reads the key as a person types it into an authenticator.
func codeOf(t testing.TB, typed string, at time.Time) string {
	t.Helper()
	key, err := base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(strings.ReplaceAll(typed, " ", ""))
	must(t, err)
	return people.CodeAt(key, at)
}

func TestSecondFactor(t *testing.T) {
	t.Parallel()
	bothStores(t, func(t *testing.T, s *site) {
		now := time.Now().Truncate(time.Minute)
		s.now = func() time.Time { return now }
		c := s.as("scout")
		if g := c.do("POST", "/account/second-factor", map[string]string{"password": "wrong-password"}); g.status != 422 {
			t.Errorf("begun with a wrong password: %d", g.status)
		}
		g := c.do("POST", "/account/second-factor", map[string]string{"password": password})
		if g.status != 201 {
			t.Fatalf("begun: %d %s", g.status, g.body)
		}
		typed := g.json(t)["key"].(string)
		address, err := url.Parse(g.json(t)["address"].(string))
		if err != nil || address.Scheme != "otpauth" || address.Query().Get("secret") != strings.ReplaceAll(typed, " ", "") {
			t.Errorf("address %v, %v", address, err)
		}
		if g := s.anybody().signIn("scout", password); g.status != 200 {
			t.Errorf("not on yet, and the sign-in is %d", g.status)
		}
		if g := c.do("PUT", "/account/second-factor", map[string]string{"code": "000000"}); g.status != 422 {
			t.Errorf("a wrong first code: %d", g.status)
		}
		g = c.do("PUT", "/account/second-factor", map[string]string{"code": codeOf(t, typed, now)})
		if g.status != 200 {
			t.Fatalf("turned on: %d %s", g.status, g.body)
		}
		var recovery []string
		for _, code := range g.json(t)["recovery"].([]any) {
			recovery = append(recovery, code.(string))
		}
		signIn := func(code string) got {
			return s.anybody().do("POST", "/sessions", map[string]string{"name": "scout", "password": password, "code": code})
		}
		for range 8 { // asking for the code is no failed try
			if g := signIn(""); g.status != 401 || problemOf(t, g)["key"] != "web-code-wanted" {
				t.Fatalf("without a code: %d %s", g.status, g.body)
			}
		}
		if g := signIn(codeOf(t, typed, now)); g.status != 401 {
			t.Errorf("the code that turned it on, again: %d, want 401", g.status)
		}
		now = now.Add(time.Minute)
		if g := signIn(codeOf(t, typed, now)); g.status != 200 {
			t.Errorf("a good code: %d %s", g.status, g.body)
		}
		if g := signIn(codeOf(t, typed, now)); g.status != 401 {
			t.Errorf("the same code again: %d, want 401", g.status)
		}
		if g := signIn(strings.ToUpper(recovery[0])); g.status != 200 {
			t.Errorf("a recovery code: %d %s", g.status, g.body)
		}
		if g := signIn(recovery[0]); g.status != 401 {
			t.Errorf("a recovery code again: %d", g.status)
		}
		if g := c.do("GET", "/account", nil); !strings.Contains(string(g.body), `"on":true`) || !strings.Contains(string(g.body), `"recovery_codes":9`) {
			t.Errorf("the account: %s", g.body)
		}
		f, err := s.store.SecondFactorOf(context.Background(), s.personID("scout"))
		must(t, err)
		if strings.Contains(string(f.Secret), strings.ReplaceAll(typed, " ", "")) || slices.Contains(f.Recovery, recovery[1]) {
			t.Error("the store holds a secret as it is")
		}
		// Guesses end soon, whatever the minute's limit.
		statuses := map[int]int{}
		for range 30 {
			statuses[signIn("123456").status]++
			now = now.Add(61 * time.Second)
		}
		if statuses[401] > codeTries || statuses[429] == 0 || statuses[200] > 0 {
			t.Errorf("30 guesses over half an hour: %v, want at most %d let through", statuses, codeTries)
		}
		now = now.Add(2 * time.Hour)
		if g := c.do("POST", "/account/second-factor/off", map[string]string{"password": password}); g.status != 204 {
			t.Errorf("turned off: %d %s", g.status, g.body)
		}
		if g := signIn(""); g.status != 200 {
			t.Errorf("afterwards: %d", g.status)
		}
		logged := s.log.String()
		for _, secret := range []string{typed, strings.ReplaceAll(typed, " ", ""), recovery[1], password} {
			if strings.Contains(logged, secret) {
				t.Errorf("the log holds %q", secret)
			}
		}
	})
}

// An owner's link sets a password once and ends every session; of who works on
// another's farm too she makes none.
func TestReset(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner, scout := s.as("owner"), s.as("scout")
		at := "/farms/mine/people/" + string(s.personID("scout")) + "/reset"
		secret, _ := secretFor(t, owner, at, nil)
		use := func(secret, password string) got {
			return s.anybody().do("POST", "/resets", map[string]string{"secret": secret, "password": password})
		}
		if g := use(secret, "short"); g.status != 422 {
			t.Errorf("a short password: %d", g.status)
		}
		if g := use(secret, "another long password"); g.status != 204 {
			t.Fatalf("used: %d %s", g.status, g.body)
		}
		if g := use(secret, "yet another password"); g.status != 404 {
			t.Errorf("used twice: %d", g.status)
		}
		if g := scout.do("GET", "/sessions/current", nil); g.status != 401 {
			t.Errorf("a session from before: %d", g.status)
		}
		if g := s.anybody().signIn("scout", "another long password"); g.status != 200 {
			t.Errorf("the new password: %d", g.status)
		}
		must(t, s.store.SetRole(context.Background(), people.Membership{Person: s.personID("scout"), Farm: "theirs", Role: records.Viewer}))
		if g := owner.do("POST", at, nil); g.status != 403 {
			t.Errorf("of who is on another's farm: %d %s", g.status, g.body)
		}
		if g := owner.do("POST", "/farms/mine/people/"+string(s.personID("stranger"))+"/reset", nil); g.status != 404 {
			t.Errorf("of a stranger: %d %s", g.status, g.body)
		}
	})
}

// Using links that do not exist is limited by address like failed sign-ins.
func TestLinksAreNotGuessed(t *testing.T) {
	s := newSite(t)
	statuses := map[int]int{}
	for i := range 10 {
		statuses[s.anybody().do("POST", "/resets", map[string]string{"secret": fmt.Sprint("guess", i), "password": "a long enough one"}).status]++
	}
	if statuses[404] != 5 || statuses[429] != 5 {
		t.Errorf("10 guesses: %v, want 5 times 404, then 429", statuses)
	}
}

func TestOwnSessionsAndPassword(t *testing.T) {
	s := newSite(t)
	here, there := s.as("scout"), s.as("scout")
	list := here.do("GET", "/account", nil).json(t)["sessions"].([]any)
	if len(list) != 2 {
		t.Fatalf("sessions: %v", list)
	}
	for _, one := range list {
		one := one.(map[string]any)
		if one["current"] == true {
			continue
		}
		if g := here.do("DELETE", "/account/sessions/"+one["id"].(string), nil); g.status != 204 {
			t.Errorf("ended: %d", g.status)
		}
	}
	if g := there.do("GET", "/account", nil); g.status != 401 {
		t.Errorf("the ended one: %d", g.status)
	}
	other := s.as("scout")
	if g := here.do("PUT", "/account/password", map[string]string{"password": "wrong", "new": "a long new password"}); g.status != 422 {
		t.Errorf("by a wrong password: %d", g.status)
	}
	before := here.cookies[cookieName]
	if g := here.do("PUT", "/account/password", map[string]string{"password": password, "new": "a long new password"}); g.status != 204 {
		t.Fatalf("changed: %d %s", g.status, g.body)
	}
	if g := here.do("GET", "/account", nil); g.status != 200 || here.cookies[cookieName] == before {
		t.Errorf("here: %d, the token renewed %v", g.status, here.cookies[cookieName] != before)
	}
	if g := other.do("GET", "/account", nil); g.status != 401 {
		t.Errorf("elsewhere: %d", g.status)
	}
}

func TestSeenBy(t *testing.T) {
	s := newSite(t)
	e := newEstate(t, s, true)
	at := func(c *client, block records.ID) string {
		g := c.do("GET", "/farms/mine/seen-by?block="+string(block), nil)
		if g.status != 200 {
			return fmt.Sprint(g.status)
		}
		return g.json(t)["says"].(string)
	}
	if got, want := at(s.as("owner"), e.open), "Seen by: The adviser (adviser; seasons 2026), The applicator (applicator), The owner (grower), The scout (scout), The viewer (reader)."; got != want {
		t.Errorf("open: %s, want %s", got, want)
	}
	if got := at(s.as("owner"), e.shut); strings.Contains(got, "adviser") {
		t.Errorf("hidden: %s", got)
	}
	if a, b := at(s.as("adviser"), e.shut), at(s.as("adviser"), s.ids.New()); a != "404" || b != "404" {
		t.Errorf("to the adviser: %s, of none %s", a, b)
	}
}

// X-Forwarded-For counts from a named proxy alone, and of it the last address
// that is none of ours.
func TestClientAddress(t *testing.T) {
	proxies := []netip.Prefix{netip.MustParsePrefix("10.1.0.0/16"), netip.MustParsePrefix("127.0.0.1/32")}
	for _, c := range []struct {
		name, remote, forwarded string
		proxies                 []netip.Prefix
		want                    string
	}{
		{"no proxy", "198.51.100.7:1234", "", nil, "198.51.100.7"},
		{"a made-up header", "198.51.100.7:1234", "203.0.113.9", proxies, "198.51.100.7"},
		{"through a proxy", "10.1.2.3:1234", "198.51.100.7", proxies, "198.51.100.7"},
		{"with a made-up one before", "10.1.2.3:1234", "203.0.113.9, 198.51.100.7", proxies, "198.51.100.7"},
		{"through two", "10.1.2.3:1234", "198.51.100.7, 10.1.9.9", proxies, "198.51.100.7"},
		{"no address at all", "10.1.2.3:1234", "unknown", proxies, "10.1.2.3"},
		{"this machine", "127.0.0.1:1234", "", nil, "127.0.0.1"},
		{"through a proxy nobody named", "127.0.0.1:1234", "198.51.100.7", nil, elsewhere},
		{"IPv6", "[2001:db8::1]:1234", "", nil, "2001:db8::1"},
	} {
		r := (&client{site: newSiteStub(t)}).request("GET", "/", nil)
		r.RemoteAddr = c.remote
		if c.forwarded != "" {
			r.Header.Set("X-Forwarded-For", c.forwarded)
		}
		if got := clientAddress(r, c.proxies); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
	if a, b := network("2001:db8::1"), network("2001:db8::ffff:1"); a != b || a == network("2001:db8:0:1::1") {
		t.Errorf("networks: %s, %s", a, b)
	}
}

func newSiteStub(t testing.TB) *site { return &site{t: t} }

// How busy a farm is is for this machine to know, not for who asks through a
// proxy.
func TestMetricsStayHere(t *testing.T) {
	s := newSite(t, func(c *Config) { c.MetricsTo = nil })
	for remote, want := range map[string]int{"127.0.0.1:9": 200, "[::1]:9": 200, "198.51.100.7:9": 404} {
		r := s.anybody().request("GET", "/metrics", nil)
		r.RemoteAddr = remote
		if g := s.serve(r); g.status != want {
			t.Errorf("from %s: %d, want %d", remote, g.status, want)
		}
	}
	r := s.anybody().request("GET", "/metrics", nil, "X-Forwarded-For", "198.51.100.7")
	r.RemoteAddr = "127.0.0.1:9"
	if g := s.serve(r); g.status != 404 {
		t.Errorf("through a proxy: %d, want 404", g.status)
	}
}
