package web

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"caneward/records"
	"caneward/records/entry"
	"caneward/records/memory"
	"caneward/records/people"

	"golang.org/x/crypto/argon2"
)

// password of everybody in these tests. Its hash is a cheap one, for the real one is
// slow on purpose; costly gives the tests of floods theirs.
const password = "test-password"

var passwordHash = sync.OnceValue(func() string {
	salt, b64 := []byte("these tests only"), base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=64,t=1,p=1$%s$%s", argon2.Version, b64(salt), b64(argon2.IDKey([]byte(password), salt, 1, 64, 1, 32)))
})

// costly lets everybody's password cost what it costs in the field.
func (s *site) costly() {
	s.t.Helper()
	phc, err := people.HashPassword(password)
	must(s.t, err)
	for _, name := range append([]records.Role{"stranger"}, people.Roles...) {
		p, err := s.store.PersonByName(context.Background(), string(name))
		must(s.t, err)
		must(s.t, s.store.SetPassword(context.Background(), p.ID, phc))
	}
}

// site is a server with two farms: "mine" with one person of each role, named
// by the role, and "theirs" with stranger.
type site struct {
	t     testing.TB
	store Store
	srv   *Server
	ids   *records.IDs
	log   *bytes.Buffer
	now   func() time.Time
}

type option func(*Config)

func newSite(t testing.TB, options ...option) *site {
	t.Helper()
	return newSiteOn(t, memory.New(time.Now), options...)
}

func newSiteOn(t testing.TB, store Store, options ...option) *site {
	t.Helper()
	s := &site{t: t, store: store, log: &bytes.Buffer{}, now: time.Now, ids: records.NewIDs(time.Now, randomBytes{})}
	c := Config{
		Store: store, Desk: &entry.Desk{Store: store}, Version: "test",
		Logger: slog.New(slog.NewJSONHandler(&lockedWriter{w: s.log}, nil)),
		Page:   fstest.MapFS{"index.html": {Data: []byte("<!doctype html><title>page</title>")}, "assets/app-1a2b.js": {Data: bytes.Repeat([]byte("let a=1;"), 400)}, "sw.js": {Data: []byte("//")}},
		Now:    func() time.Time { return s.now() },
		// httptest's requests come from here.
		MetricsTo: []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")},
	}
	for _, o := range options {
		o(&c)
	}
	ctx := context.Background()
	must(t, store.CreateFarm(ctx, records.Farm{ID: "mine", Name: "My farm", Zone: "America/New_York", Invented: true, Created: time.Now()}))
	must(t, store.CreateFarm(ctx, records.Farm{ID: "theirs", Name: "Their farm", Zone: "America/Chicago", Created: time.Now()}))
	for _, name := range append([]records.Role{"stranger"}, people.Roles...) {
		p := people.Person{ID: s.ids.NewPerson(), Name: string(name), Display: "The " + string(name), Password: passwordHash(), Created: time.Now()}
		must(t, store.CreatePerson(ctx, p))
		m := people.Membership{Person: p.ID, Farm: "mine", Role: name}
		if name == "stranger" {
			m.Farm, m.Role = "theirs", records.Owner
		}
		must(t, store.SetRole(ctx, m))
	}
	srv, err := New(c)
	must(t, err)
	s.srv = srv
	return s
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

type lockedWriter struct {
	lock sync.Mutex
	w    io.Writer
}

func (l *lockedWriter) Write(b []byte) (int, error) {
	l.lock.Lock()
	defer l.lock.Unlock()
	return l.w.Write(b)
}

// randomBytes is a fixed source: ids differ by their counter.
type randomBytes struct{}

func (randomBytes) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = byte(i*7 + 3)
	}
	return len(b), nil
}

// client is one browser.
type client struct {
	site    *site
	cookies map[string]string
}

type got struct {
	status int
	header http.Header
	body   []byte
}

func (g got) json(t testing.TB) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal(g.body, &v); err != nil {
		t.Fatalf("status %d, no JSON: %.200s", g.status, g.body)
	}
	return v
}

func (s *site) anybody() *client { return &client{site: s, cookies: map[string]string{}} }

func (s *site) as(name string) *client {
	s.t.Helper()
	c := s.anybody()
	if g := c.signIn(name, password); g.status != 200 {
		s.t.Fatalf("sign-in of %s: %d %s", name, g.status, g.body)
	}
	return c
}

func (c *client) signIn(name, password string) got {
	return c.do("POST", "/sessions", map[string]string{"name": name, "password": password})
}

// do sends a request; headers come in pairs. A body that is no string or bytes
// goes as JSON, a Feature as GeoJSON.
func (c *client) do(method, path string, body any, headers ...string) got {
	c.site.t.Helper()
	g := c.site.serve(c.request(method, path, body, headers...))
	for _, cookie := range (&http.Response{Header: g.header}).Cookies() {
		c.cookies[cookie.Name] = cookie.Value
		if cookie.MaxAge < 0 {
			delete(c.cookies, cookie.Name)
		}
	}
	return g
}

func (s *site) serve(r *http.Request) got {
	w := httptest.NewRecorder()
	s.srv.ServeHTTP(w, r)
	return got{w.Code, w.Result().Header, w.Body.Bytes()}
}

func (c *client) request(method, path string, body any, headers ...string) *http.Request {
	var data []byte
	kind := ""
	switch b := body.(type) {
	case nil:
	case string:
		data, kind = []byte(b), "application/json"
	case []byte:
		data, kind = b, "application/json"
	default:
		var err error
		data, err = json.Marshal(b)
		must(c.site.t, err)
		kind = "application/json"
		if m, ok := b.(map[string]any); ok && m["type"] == "Feature" {
			kind = "application/geo+json"
		}
	}
	r := httptest.NewRequest(method, "http://farm.test"+path, bytes.NewReader(data))
	if body == nil {
		r = httptest.NewRequest(method, "http://farm.test"+path, nil)
	}
	r.Header.Set("Accept", "application/geo+json, application/json")
	r.Header.Set("Origin", "http://farm.test")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	for name, v := range c.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: v})
	}
	for i := 0; i+1 < len(headers); i += 2 {
		if headers[i+1] == "" {
			r.Header.Del(headers[i])
			continue
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	return r
}

// The invented ground of these tests lies about 35.87 N, 80.42 W; 0.001 degrees
// are some 100 m.
func square(lon, lat, side float64) map[string]any {
	return map[string]any{"type": "Polygon", "coordinates": [][][2]float64{{{lon, lat}, {lon + side, lat}, {lon + side, lat + side}, {lon, lat + side}, {lon, lat}}}}
}

func point(lon, lat float64) map[string]any {
	return map[string]any{"type": "Point", "coordinates": []float64{lon, lat}}
}

func feature(id records.ID, geometry map[string]any, properties map[string]any) map[string]any {
	f := map[string]any{"type": "Feature", "id": id, "geometry": geometry, "properties": properties}
	if geometry == nil {
		f["geometry"] = nil
	}
	return f
}

func block(id records.ID, name string) map[string]any {
	return feature(id, square(-80.42, 35.87, 0.002), map[string]any{"name": name, "row_spacing_m": 3.0, "plant_spacing_m": 1.0, "row_bearing_deg": 0.0})
}

// water is the simplest record with a place: a pond of 10 m.
func water(id records.ID, name string, lon, lat float64) map[string]any {
	return feature(id, square(lon, lat, 0.0001), map[string]any{"kind": "water", "name": name})
}

func itemAt(kind string, id records.ID) string {
	return fmt.Sprintf("/farms/mine/collections/%s/items/%s", kind, id)
}

// make stores a record as the owner and gives its tag.
func (s *site) make(c *client, kind string, f map[string]any) string {
	s.t.Helper()
	g := c.do("PUT", itemAt(kind, f["id"].(records.ID)), f)
	if g.status != 201 {
		s.t.Fatalf("PUT of %s: %d %s", kind, g.status, g.body)
	}
	return g.header.Get("ETag")
}

// bothStores runs a test on the store in memory and the one on disk.
func bothStores(t *testing.T, f func(*testing.T, *site)) {
	t.Run("memory", func(t *testing.T) { f(t, newSite(t)) })
	t.Run("sqlite", func(t *testing.T) { f(t, newSiteOn(t, openDisk(t))) })
}

func problemOf(t testing.TB, g got) map[string]any {
	t.Helper()
	if !strings.HasPrefix(g.header.Get("Content-Type"), "application/problem+json") {
		t.Fatalf("status %d is no problem document: %s %.200s", g.status, g.header.Get("Content-Type"), g.body)
	}
	p := g.json(t)
	if p["status"] != float64(g.status) || p["title"] == "" || p["type"] == "" {
		t.Errorf("status %d with the document %s", g.status, g.body)
	}
	return p
}
