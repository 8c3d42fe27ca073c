package web

import (
	"context"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo"
	"caneward/records"
	"caneward/records/people"
)

// marker stands in every record that is to stay hidden.
const marker = "Nothingtosee"

// estate is the farm "mine" with an open block and, where asked for, a hidden
// one; of every kind a record stands on each. The adviser sees the open one and
// the season 2026.
type estate struct {
	*site
	open, shut         records.ID
	shown, buried      map[records.Kind]records.ID
	photo, hiddenPhoto records.ID
}

func newEstate(t testing.TB, s *site, withHidden bool) *estate {
	t.Helper()
	e := &estate{site: s, shown: map[records.Kind]records.ID{}, buried: map[records.Kind]records.ID{}}
	number := 0
	id := func() records.ID {
		number++
		return records.ID(fmt.Sprintf("01890000-0000-7000-8000-%012d", number))
	}
	e.photo, e.hiddenPhoto = id(), id()
	pictures := map[records.ID]bool{e.photo: true, e.hiddenPhoto: withHidden}
	by := records.Author{Person: "somebody", Name: "Somebody", Role: records.Owner}
	at := geo.Geometry{Flat: orb.Point{-80.419, 35.871}}
	ground := geo.Geometry{Flat: orb.Polygon{{{-80.42, 35.87}, {-80.418, 35.87}, {-80.418, 35.872}, {-80.42, 35.872}, {-80.42, 35.87}}}}
	line := geo.Geometry{Flat: orb.LineString{{-80.4195, 35.8705}, {-80.4185, 35.8705}}}
	for _, hidden := range []bool{true, false} {
		ids, name, year := e.shown, "Long Rows", "2026"
		photo := e.photo
		if hidden {
			ids, name, photo = e.buried, marker, e.hiddenPhoto
			ground.Flat = orb.Polygon{{{-80.41, 35.87}, {-80.408, 35.87}, {-80.408, 35.872}, {-80.41, 35.872}, {-80.41, 35.87}}}
		} else {
			ground.Flat = orb.Polygon{{{-80.42, 35.87}, {-80.418, 35.87}, {-80.418, 35.872}, {-80.42, 35.872}, {-80.42, 35.87}}}
		}
		for _, kind := range records.Kinds {
			if kind != records.Surroundings && kind != records.Products {
				ids[kind] = id()
			}
		}
		block := ids[records.Blocks]
		shape := map[records.Kind]geo.Geometry{records.Blocks: ground, records.Rows: line, records.Finds: at, records.Removals: at, records.Tracks: line, records.Passes: ground}
		text := map[records.Kind]string{
			records.Blocks:   fmt.Sprintf(`{"name":%q,"row_spacing_m":3,"plant_spacing_m":1,"row_bearing_deg":90}`, name),
			records.Rows:     fmt.Sprintf(`{"block":%q,"number":1,"plants":90,"note":%q}`, block, name),
			records.Stages:   fmt.Sprintf(`{"block":%q,"stage":"bloom","observed_on":"%s-05-01","note":%q}`, block, year, name),
			records.Visits:   fmt.Sprintf(`{"block":%q,"purpose":"scouting","started_at":"%s-05-01T12:00:00Z","ended_at":"%s-05-01T13:00:00Z","inspected":[{"rows":"all"}],"note":%q}`, block, year, year, name),
			records.Finds:    fmt.Sprintf(`{"block":%q,"row":1,"plant":5,"cause":"orange-rust","state":"suspected","severity":2,"found_at":"%s-05-01T12:30:00Z","words":%q,"photos":[%q]}`, block, year, name, photo),
			records.Samples:  fmt.Sprintf(`{"finds":[%q],"sent_on":"%s-05-02","laboratory":%q,"method":"pcr"}`, ids[records.Finds], year, name),
			records.Removals: fmt.Sprintf(`{"block":%q,"plants":[{"row":1,"plant":5}],"done_on":"%s-06-01","note":%q}`, block, year, name),
			records.Reviews:  fmt.Sprintf(`{"block":%q,"signed_at":"%s-06-01T12:00:00Z","reasons":%q}`, block, year, name),
			records.Passes:   fmt.Sprintf(`{"blocks":[%q],"state":"draft","pattern":"broadcast","started_at":"%s-06-02T10:00:00Z","ended_at":"%s-06-02T11:00:00Z","note":%q}`, block, year, year, name),
			records.Tracks:   fmt.Sprintf(`{"pass":%q,"width_m":2,"started_at":"%s-06-02T10:00:00Z","note":%q}`, ids[records.Passes], year, name),
		}
		if hidden && !withHidden {
			continue
		}
		var writes []records.Write
		for _, kind := range records.Kinds {
			if text[kind] != "" {
				writes = append(writes, records.Write{Kind: kind, ID: ids[kind], By: by, Record: records.Record{Geometry: shape[kind], Properties: []byte(text[kind])}})
			}
		}
		out, err := s.store.Write(context.Background(), "mine", writes)
		must(t, err)
		for i, o := range out {
			if o.Err != nil {
				t.Fatalf("%s: %v", writes[i].Kind, o.Err)
			}
		}
	}
	for picture, there := range pictures {
		if there {
			_, err := s.store.PutPhoto(context.Background(), "mine", records.Photo{ID: picture, Type: "image/webp", Data: []byte("RIFF\x16\x00\x00\x00WEBPVP8 " + string(picture)), By: by})
			must(t, err)
		}
	}
	e.open, e.shut = e.shown[records.Blocks], e.buried[records.Blocks]
	p, err := s.store.PersonByName(context.Background(), "adviser")
	must(t, err)
	must(t, s.store.SetRole(context.Background(), people.Membership{Person: p.ID, Farm: "mine", Role: records.Adviser,
		Limits: people.Limits{Blocks: []records.ID{e.open}, Seasons: []int{2026}}}))
	return e
}

// asks are requests of every route that reads or computes, for one set of
// records: a find's id stands where an id is wanted, of the kind that has it.
func (e *estate) asks(of map[records.Kind]records.ID, photo records.ID) (all []ask) {
	block := of[records.Blocks]
	for i := range e.srv.routes {
		r := &e.srv.routes[i]
		// Tokens hold the ids of people, which two servers do not share.
		if r.needs != farm || r.method != "GET" && !r.computes || r.id == "tokens" {
			continue
		}
		values := []string{""}
		for _, p := range r.query {
			switch p.name {
			case "block":
				values = append(values, "?block="+string(block))
			case "bbox":
				values = append(values, "?bbox=-81,35,-80,36", "?bbox=-80.415,35,-80,36")
			case "after":
				values = append(values, "?limit=2")
			case "datetime":
				values = append(values, "?datetime=2026-01-01T00:00:00Z/..")
			case "sample":
				values = append(values, "?sample="+string(of[records.Samples]))
			case "review":
				values = append(values, "?review="+string(of[records.Reviews]))
			}
		}
		kinds := records.Kinds
		if !strings.Contains(r.pattern, "{kind}") {
			kinds = []records.Kind{ownerKind(r.pattern)}
		}
		for _, kind := range kinds {
			path := strings.NewReplacer("{kind}", string(kind), "{id}", string(of[kind]), "{photo}", string(photo)).Replace(r.pattern)
			names := []string{"blocks.geojson", "finds.csv", "finds.geojson", "passes.csv", "finds.kml"}
			if !strings.Contains(path, "{name") {
				names = names[:1]
			}
			for _, name := range names {
				named := nameAndForm.ReplaceAllString(path, name)
				for _, query := range values {
					for _, b := range e.bodies(r, block, of) {
						all = append(all, ask{r.method, fillPattern(strings.ReplaceAll(named, "{layer}", "finds"), "mine", of[records.Finds]) + query, b})
					}
				}
			}
		}
	}
	return all
}

var nameAndForm = regexp.MustCompile(`\{name[^/]*?\}\.\{form[^/]*\}`)

func ownerKind(pattern string) records.Kind {
	for _, kind := range records.Kinds {
		if strings.Contains(pattern, "/"+string(kind)+"/") {
			return kind
		}
	}
	return records.Finds
}

type ask struct {
	method, path string
	body         any
}

func (e *estate) bodies(r *route, block records.ID, of map[records.Kind]records.ID) []any {
	if r.body == nil {
		return []any{nil}
	}
	return []any{`{}`, fmt.Sprintf(`{"blocks":[%q]}`, block), fmt.Sprintf(`{"block":%q}`, block), fmt.Sprintf(`{"block":%q,"track":%q}`, block, of[records.Tracks]),
		fmt.Sprintf(`{"blocks":[%q],"products":[],"pattern":"broadcast"}`, block), fmt.Sprintf(`{"block":%q,"programme":"orange-rust-plants","season":2026}`, block)}
}

var (
	anyHash = regexp.MustCompile(`[0-9a-f]{64}`)
	anyTag  = regexp.MustCompile(`"(\d+)-[0-9a-f]+(\\?")`)
	anyTime = regexp.MustCompile(`20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z`)
	anyNow  = regexp.MustCompile(`20\d\d-\d\d-\d\dT\d\d:\d\d:\d\dZ|D:\d{14}|/ID ?\[[^\]]*\]`)
)

// plain takes out of an answer what two servers never share: hashes, which hold
// the farm's chain, and the time of day.
func plain(g got) string {
	h := g.header.Clone()
	for _, name := range []string{"Request-Id", "Content-Length", "Date", "Etag", "Last-Modified"} {
		h.Del(name)
	}
	var head strings.Builder
	h.Write(&head)
	if strings.HasPrefix(h.Get("Content-Type"), "application/pdf") || strings.Contains(h.Get("Content-Type"), "zip") || strings.Contains(h.Get("Content-Type"), "geopackage") {
		return fmt.Sprint(g.status, head.String())
	}
	body := anyTag.ReplaceAllString(anyHash.ReplaceAllString(string(g.body), "hash"), `"$1$2`)
	body = anyTime.ReplaceAllString(body, "time")
	return fmt.Sprint(g.status, head.String(), anyNow.ReplaceAllString(body, "now"))
}

// difference shows where two answers part.
func difference(got, want string) string {
	i := 0
	for i < min(len(got), len(want)) && got[i] == want[i] {
		i++
	}
	cut := func(s string) string { return s[max(0, min(i-80, len(s))):min(len(s), i+120)] }
	return fmt.Sprintf("%q, want %q", cut(got), cut(want))
}

// A limited member is answered as on a farm that holds nothing else: every
// route, on both stores, byte for byte but for hashes and the time of day; and a
// hidden record answers as one that does not exist.
func TestHiddenBlock(t *testing.T) {
	t.Parallel()
	for name, open := range map[string]func() *site{
		"memory": func() *site { return newSite(t) },
		"sqlite": func() *site { return newSiteOn(t, openDisk(t)) },
	} {
		t.Run(name, func(t *testing.T) {
			small, whole := newEstate(t, open(), false), newEstate(t, open(), true)
			now := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
			small.now, whole.now = func() time.Time { return now }, func() time.Time { return now }
			limited, alone := whole.as("adviser"), small.as("adviser")
			secret := limited.do("POST", "/farms/mine/tokens", map[string]any{"name": "a GIS"})
			bearer := "Bearer " + secret.json(t)["secret"].(string)
			good, asked := 0, 0
			for _, a := range whole.asks(whole.shown, whole.photo) {
				got, want := limited.do(a.method, a.path, a.body), alone.do(a.method, a.path, a.body)
				asked++
				if got.status == 200 {
					good++
				}
				if plain(got) != plain(want) {
					t.Errorf("%s %s %v: %s", a.method, a.path, a.body, difference(plain(got), plain(want)))
				}
				if strings.Contains(string(got.body), marker) || strings.Contains(string(got.body), string(whole.shut)) {
					t.Errorf("%s %s tells of the hidden block: %.300s", a.method, a.path, got.body)
				}
				if byToken := whole.anybody().do(a.method, a.path, a.body, "Authorization", bearer); byToken.status != got.status && byToken.status != 403 || strings.Contains(string(byToken.body), marker) {
					t.Errorf("%s %s by a token: %d, by the cookie %d", a.method, a.path, byToken.status, got.status)
				}
			}
			if good < asked/4 {
				t.Errorf("only %d of %d questions were answered with 200: this test asks wrongly", good, asked)
			}
			unknown := map[records.Kind]records.ID{}
			for kind := range whole.buried {
				unknown[kind] = whole.ids.New()
			}
			of := func(ids map[records.Kind]records.ID) []ask { return whole.asks(ids, ids[records.Finds]) }
			hidden, none := of(whole.buried), of(unknown)
			for i, a := range hidden {
				got, want := limited.do(a.method, a.path, a.body), limited.do(none[i].method, none[i].path, none[i].body)
				was := plain(want)
				for kind, id := range unknown {
					was = strings.ReplaceAll(was, string(id), string(whole.buried[kind]))
				}
				if plain(got) != was {
					t.Errorf("%s %s of the hidden block: %s", a.method, a.path, difference(plain(got), was))
				}
			}
			if g := limited.do("GET", "/farms/mine/photos/"+string(whole.hiddenPhoto), nil); g.status != 404 {
				t.Errorf("a photo of the hidden block: %d", g.status)
			}
			t.Logf("%d questions about what is shown (%d answered), %d about what is not: 0 leaks", asked, good, len(hidden))
		})
	}
}

// Writes beyond the limits are refused; what was there stays.
func TestHiddenBlockIsNotWritten(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		e := newEstate(t, s, true)
		c := s.as("adviser")
		find := func(block records.ID) map[string]any {
			return feature(s.ids.New(), point(-80.419, 35.871), map[string]any{"block": block, "row": 1, "plant": 7, "cause": "orange-rust", "state": "suspected", "found_at": "2026-06-01T12:00:00Z"})
		}
		put := func(f map[string]any, headers ...string) got {
			return c.do("PUT", itemAt("finds", f["id"].(records.ID)), f, headers...)
		}
		if g := put(find(e.open)); g.status != 201 {
			t.Errorf("a find in the open block: %d %s", g.status, g.body)
		}
		hidden, unknown := find(e.shut), find(s.ids.New())
		a, b := put(hidden), put(unknown)
		if a.status != b.status || a.status != 422 && a.status != 409 && a.status != 403 {
			t.Errorf("a find in the hidden block: %d %s\nin none: %d %s", a.status, a.body, b.status, b.body)
		}
		over := find(e.open)
		over["id"] = e.buried[records.Finds]
		for _, headers := range [][]string{nil, {"If-Match", "*"}, {"If-Match", `"1"`}, {"If-None-Match", "*"}} {
			if g := put(over, headers...); g.status < 400 || g.status >= 500 || strings.Contains(string(g.body), marker) {
				t.Errorf("over the hidden find with %v: %d %s", headers, g.status, g.body)
			}
		}
		g := c.do("POST", "/farms/mine/changes", map[string]any{"changes": []any{
			map[string]any{"op": "put", "kind": "finds", "id": e.buried[records.Finds], "base": 1, "record": over},
			map[string]any{"op": "delete", "kind": "finds", "id": e.buried[records.Finds], "base": 1},
		}})
		if g.status != 200 || strings.Contains(string(g.body), `"status":20`) || strings.Contains(string(g.body), marker) {
			t.Errorf("a batch over the hidden find: %d %s", g.status, g.body)
		}
		if g := s.as("owner").do("GET", itemAt("finds", e.buried[records.Finds]), nil); g.status != 200 || !strings.Contains(string(g.body), marker) {
			t.Errorf("afterwards the hidden find is %d %s", g.status, g.body)
		}
	})
}

// Handlers reach records through exchange.records, view and desk, which know who
// asks. Those named here may look past them, each for its reason.
func TestHandlersReachRecordsThroughTheFence(t *testing.T) {
	may := map[string]string{
		"records":          "is the fence",
		"desk":             "hands the fence to the desk",
		"New":              "checks that there is one",
		"readImport":       "imports, by owners alone, who see the whole farm",
		"recognisePresent": "imports, by owners alone",
		"whoAmI":           "reads farms' names alone",
		"lookAtInvitation": "reads the names of the blocks an invitation is for",
	}
	reaches := map[string]bool{"View": true, "Write": true, "WriteTogether": true, "Photo": true, "PutPhoto": true, "EachPhoto": true, "Put": true, "PutTogether": true}
	files := token.NewFileSet()
	parsed, err := parser.ParseDir(files, ".", func(f fs.FileInfo) bool { return !strings.HasSuffix(f.Name(), "_test.go") }, 0)
	must(t, err)
	found := map[string]bool{}
	for _, file := range parsed["web"].Files {
		for _, decl := range file.Decls {
			f, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				sel, ok := n.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				inner, ok := sel.X.(*ast.SelectorExpr)
				if ok && (inner.Sel.Name == "Store" && reaches[sel.Sel.Name] || inner.Sel.Name == "Desk") || sel.Sel.Name == "Desk" {
					found[f.Name.Name] = true
					if may[f.Name.Name] == "" {
						t.Errorf("%s: %s reaches records past the fence", files.Position(n.Pos()), f.Name.Name)
					}
				}
				return true
			})
		}
	}
	if !found["desk"] || !found["whoAmI"] {
		t.Error("this test finds nothing: it reads the wrong names")
	}
}

// No route that writes is taken by a token made for reading, and none that is
// personal by any.
func TestTokensOverEveryRoute(t *testing.T) {
	s := newSite(t)
	owner := s.as("owner")
	secretOf := func(writes bool) string {
		g := owner.do("POST", "/farms/mine/tokens", map[string]any{"name": "a script", "writes": writes})
		if g.status != http.StatusCreated {
			t.Fatalf("a token: %d %s", g.status, g.body)
		}
		return g.json(t)["secret"].(string)
	}
	reads, writes := secretOf(false), secretOf(true)
	id := s.ids.New()
	stores := map[string]bool{}
	for i := range s.srv.routes {
		r := &s.srv.routes[i]
		if r.needs == public {
			continue
		}
		body, headers := bodyFor(r, id)
		path := fillPattern(r.pattern, "mine", id)
		ask := func(secret, path string) got {
			return s.anybody().do(r.method, path, body, append(headers, "Authorization", "Bearer "+secret)...)
		}
		writing := r.method != "GET" && !r.computes
		if writing {
			stores[r.id] = true
		}
		refused := func(g got, key string) bool { return g.status == 403 && strings.Contains(string(g.body), key) }
		if g := ask(reads, path); r.personal != refused(g, "web-token-personal") || !r.personal && writing != refused(g, "web-token-reads") {
			t.Errorf("%s %s by a token that reads: %d %s", r.method, r.pattern, g.status, g.body)
		}
		if g := ask(writes, path); r.personal != refused(g, "web-token-") {
			t.Errorf("%s %s by a token that writes: %d %s", r.method, r.pattern, g.status, g.body)
		}
		if r.needs == farm {
			if g := ask(writes, fillPattern(r.pattern, "theirs", id)); g.status != 404 && !r.personal {
				t.Errorf("%s %s of another farm by a token: %d", r.method, r.pattern, g.status)
			}
		}
		for _, bad := range []string{"", "cwt_unknown"} {
			if g := ask(bad, path); g.status != 401 {
				t.Errorf("%s %s by the token %q: %d, want 401", r.method, r.pattern, bad, g.status)
			}
		}
	}
	// What says that it stores nothing must store nothing: the feed stands still.
	for i := range s.srv.routes {
		r := &s.srv.routes[i]
		if r.computes && stores[r.id] {
			t.Errorf("%s both computes and stores", r.id)
		}
	}
}
