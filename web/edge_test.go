package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"caneward/records"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestOpenAPI(t *testing.T) {
	s := newSite(t)
	g := s.anybody().do("GET", "/openapi.json", nil)
	if g.status != 200 || g.header.Get("Content-Type") != typeOpenAPI {
		t.Fatalf("%d %v", g.status, g.header)
	}
	var b bytes.Buffer
	must(t, json.Indent(&b, g.body, "", " "))
	golden := filepath.Join("testdata", "openapi.json")
	if *update {
		must(t, os.MkdirAll("testdata", 0o755))
		must(t, os.WriteFile(golden, b.Bytes(), 0o644))
	}
	want, err := os.ReadFile(golden)
	must(t, err)
	if !bytes.Equal(want, b.Bytes()) {
		t.Errorf("the description is not %s; look at the difference and run with -update", golden)
	}
	for name, g := range map[string]got{"server": g, "farm": s.as("viewer").do("GET", "/farms/mine/api", nil)} {
		checkDescription(t, name, g.json(t))
	}
}

// checkDescription holds what OpenAPI 3.0.3 asks: every reference leads
// somewhere, operationIds are unique, path parameters are declared.
func checkDescription(t *testing.T, name string, d map[string]any) {
	t.Helper()
	schemas := d["components"].(map[string]any)["schemas"].(map[string]any)
	used := map[string]bool{}
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if r, ok := v["$ref"].(string); ok {
				schema, found := strings.CutPrefix(r, "#/components/schemas/")
				if !found || schemas[schema] == nil {
					t.Errorf("%s: %s leads nowhere", name, r)
				}
				used[schema] = true
			}
			for _, inner := range v {
				walk(inner)
			}
		case []any:
			for _, inner := range v {
				walk(inner)
			}
		}
	}
	walk(d)
	ids := map[string]bool{}
	for path, at := range d["paths"].(map[string]any) {
		for method, op := range at.(map[string]any) {
			op := op.(map[string]any)
			id := op["operationId"].(string)
			if ids[id] {
				t.Errorf("%s: %s stands twice", name, id)
			}
			ids[id] = true
			declared := map[string]bool{}
			parameters, _ := op["parameters"].([]any)
			for _, p := range parameters {
				p := p.(map[string]any)
				if p["in"] == "path" {
					declared[p["name"].(string)] = true
				}
			}
			for _, m := range pathParameter.FindAllStringSubmatch(path, -1) {
				if !declared[m[1]] {
					t.Errorf("%s: %s %s does not declare {%s}", name, method, path, m[1])
				}
			}
			if len(op["responses"].(map[string]any)) < 2 {
				t.Errorf("%s: %s %s tells too few answers", name, method, path)
			}
		}
	}
	if name == "server" {
		for schema := range schemas {
			if !used[schema] {
				t.Errorf("nothing uses the schema %s", schema)
			}
		}
	}
	if at := d["servers"].([]any)[0].(map[string]any)["url"]; at != map[string]string{"server": "http://farm.test/", "farm": "http://farm.test/farms/mine"}[name] {
		t.Errorf("%s: server %v", name, at)
	}
}

// A body that is too large is refused over a real connection, told in its
// length or sent in pieces, and the client sees the refusal.
func TestLargeBodies(t *testing.T) {
	s := newSite(t)
	owner := s.as("owner")
	server := httptest.NewServer(s.srv)
	defer server.Close()
	for name, tc := range map[string]struct {
		path, kind string
		size       int
		pieces     bool
	}{
		"JSON of 50 MB":             {"/farms/mine/changes", "application/json", 50_000_000, false},
		"JSON of 50 MB in pieces":   {"/farms/mine/changes", "application/json", 50_000_000, true},
		"import of 60 MB":           {"/farms/mine/imports", "multipart/form-data; boundary=b", 60_000_000, false},
		"import of 60 MB in pieces": {"/farms/mine/imports", "multipart/form-data; boundary=b", 60_000_000, true},
	} {
		head := ""
		if strings.HasPrefix(tc.kind, "multipart") {
			head = "--b\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.json\"\r\n\r\n"
		}
		var body io.Reader = io.MultiReader(strings.NewReader(head), io.LimitReader(spaces{}, int64(tc.size)))
		r, err := http.NewRequest("POST", server.URL+tc.path, body)
		must(t, err)
		if !tc.pieces {
			r.ContentLength = int64(tc.size + len(head))
		}
		r.Header.Set("Content-Type", tc.kind)
		r.AddCookie(&http.Cookie{Name: cookieName, Value: owner.cookies[cookieName]})
		reply, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		text, _ := io.ReadAll(reply.Body)
		reply.Body.Close()
		if reply.StatusCode != 413 || !strings.Contains(reply.Header.Get("Content-Type"), "problem+json") {
			t.Errorf("%s: %d %s", name, reply.StatusCode, text)
		}
	}
}

type spaces struct{}

func (spaces) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = ' '
	}
	return len(b), nil
}

func TestSecurityHeaders(t *testing.T) {
	s := newSite(t)
	for _, path := range []string{"/", "/healthz", "/nowhere", "/farms/mine/", "/assets/app-1a2b.js"} {
		h := s.anybody().do("GET", path, nil).header
		for name, want := range map[string]string{
			"Content-Security-Policy": "default-src 'none'; script-src 'self'", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
			"Permissions-Policy": "geolocation=(self)", "Cross-Origin-Opener-Policy": "same-origin",
		} {
			if !strings.HasPrefix(h.Get(name), want) {
				t.Errorf("%s: %s is %q", path, name, h.Get(name))
			}
		}
		if csp := h.Get("Content-Security-Policy"); !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q", path, csp)
		}
	}
}

func TestPage(t *testing.T) {
	s := newSite(t)
	c := s.anybody()
	for _, path := range []string{"/", "/?utm=1", "/go/mine/ground?block=x", "/go/", "/index.html"} {
		g := c.do("GET", path, nil, "Accept", "text/html")
		if g.status != 200 || g.header.Get("Content-Type") != "text/html; charset=utf-8" || g.header.Get("Cache-Control") != "no-cache" {
			t.Errorf("%s: %d %v", path, g.status, g.header)
		}
		if again := c.do("GET", path, nil, "If-None-Match", g.header.Get("ETag")); again.status != 304 {
			t.Errorf("%s again: %d", path, again.status)
		}
	}
	asset := c.do("GET", "/assets/app-1a2b.js", nil)
	packed := c.do("GET", "/assets/app-1a2b.js", nil, "Accept-Encoding", "br, gzip")
	if !strings.Contains(asset.header.Get("Cache-Control"), "immutable") || asset.header.Get("Content-Type") != "text/javascript; charset=utf-8" {
		t.Errorf("asset: %v", asset.header)
	}
	if packed.header.Get("Content-Encoding") != "gzip" || len(packed.body) >= len(asset.body) || packed.header.Get("ETag") == asset.header.Get("ETag") {
		t.Errorf("packed asset: %v", packed.header)
	}
	if g := c.do("GET", "/sw.js", nil); g.status != 200 || g.header.Get("Cache-Control") != "no-cache" {
		t.Errorf("service worker: %d %v", g.status, g.header)
	}
	for _, path := range []string{"/assets/none.js", "/.gitkeep", "/assets/", "/dist/index.html", "/assets/..%2findex.html", "//etc/passwd", "/../go.mod"} {
		if g := c.do("GET", path, nil); g.status != 404 {
			t.Errorf("%s: %d, want 404", path, g.status)
		}
	}
	empty := newSite(t, func(c *Config) { c.Page = fstest.MapFS{".gitkeep": {}} })
	if g := empty.anybody().do("GET", "/", nil); g.status != 200 || !strings.Contains(string(g.body), "make build") {
		t.Errorf("without a built page: %d %s", g.status, g.body)
	}
	if _, err := newPage(nil); err != nil {
		t.Errorf("the page in the binary: %v", err)
	}
}

func TestHealth(t *testing.T) {
	s := newSite(t)
	for _, path := range []string{"/healthz", "/readyz"} {
		if g := s.anybody().do("GET", path, nil); g.status != 200 || g.json(t)["version"] != "test" {
			t.Errorf("%s: %d %s", path, g.status, g.body)
		}
	}
	broken := newSite(t)
	broken.srv.Store = brokenStore{broken.store}
	if g := broken.anybody().do("GET", "/readyz", nil); g.status != 503 || strings.Contains(string(g.body), "secret") {
		t.Errorf("readyz of a broken store: %d %s", g.status, g.body)
	}
}

type brokenStore struct{ Store }

func (brokenStore) Farms(context.Context) ([]records.Farm, error) {
	return nil, errors.New("secret cause")
}

func (brokenStore) View(context.Context, records.FarmID, func(records.Reader) error) error {
	return errors.New("secret cause")
}

// An internal failure says a number and nothing of its cause; the log holds
// both. So does a panic.
func TestFailuresStayInside(t *testing.T) {
	for name, breakIt := range map[string]func(*site){
		"error": func(s *site) { s.srv.Store = brokenStore{s.store} },
		"panic": func(s *site) { s.srv.Store = panicStore{s.store} },
	} {
		s := newSite(t)
		c := s.as("owner")
		breakIt(s)
		g := c.do("GET", "/farms/mine/collections", nil)
		p := problemOf(t, g)
		id, _ := p["id"].(string)
		if g.status != 500 || id == "" || strings.Contains(string(g.body), "secret") {
			t.Errorf("%s: %d %s", name, g.status, g.body)
		}
		if log := s.log.String(); !strings.Contains(log, "secret cause") || !strings.Contains(log, id) || g.header.Get("Request-Id") != id {
			t.Errorf("%s: the log does not hold the cause under %s", name, id)
		}
	}
}

type panicStore struct{ Store }

func (panicStore) View(context.Context, records.FarmID, func(records.Reader) error) error {
	panic("secret cause")
}

// Work ends when the client leaves, and a request that takes too long is told
// so.
func TestTimeLimit(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	s.srv.Store, s.srv.Limits.Time = slowStore{s.store}, 30*time.Millisecond
	g := c.do("GET", "/farms/mine/collections", nil)
	if g.status != 503 || g.header.Get("Retry-After") == "" {
		t.Errorf("%d %s", g.status, g.body)
	}
	problemOf(t, g)
}

type slowStore struct{ Store }

func (s slowStore) View(ctx context.Context, _ records.FarmID, _ func(records.Reader) error) error {
	<-ctx.Done()
	return ctx.Err()
}

func TestServeStops(t *testing.T) {
	s := newSite(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- Serve(ctx, l, s.srv, nil) }()
	reply, err := http.Get("http://" + l.Addr().String() + "/healthz")
	must(t, err)
	reply.Body.Close()
	stop()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("the server does not stop")
	}
}

// A client that sends its headers slowly is dropped within the limit.
func TestSlowHeaders(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	go Serve(ctx, l, s.srv, nil)
	conn, err := net.Dial("tcp", l.Addr().String())
	must(t, err)
	defer conn.Close()
	io.WriteString(conn, "GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ")
	conn.SetReadDeadline(time.Now().Add(connectionTimes.header + 5*time.Second))
	if _, err := io.ReadAll(conn); err != nil {
		t.Errorf("still connected after %v: %v", connectionTimes.header+5*time.Second, err)
	}
}

func TestNewRefuses(t *testing.T) {
	s := newSite(t)
	for _, bad := range []string{"farm.example", "ftp://farm.example", "https://", "https://farm.example/?x=1"} {
		c := s.srv.Config
		c.PublicURL = bad
		if _, err := New(c); err == nil {
			t.Errorf("the public address %q was taken", bad)
		}
	}
	if _, err := New(Config{}); err == nil {
		t.Error("a server without a store was made")
	}
}

func TestProblemTypesAreThere(t *testing.T) {
	s := newSite(t)
	g := s.anybody().do("GET", "/nowhere", nil)
	p := problemOf(t, g)
	if at := s.anybody().do("GET", p["type"].(string), nil); at.status != 200 || len(at.body) == 0 {
		t.Errorf("%s: %d", p["type"], at.status)
	}
}

// encoding/json names an unknown member only in its message.
func TestUnknownMemberIsNamed(t *testing.T) {
	var v struct{ A int }
	err := readJSON([]byte(`{"b":1}`), &v)
	if err == nil || !strings.Contains(err.Error(), `"b"`) {
		t.Errorf("%v does not name b", err)
	}
}
