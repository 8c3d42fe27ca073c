package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"mime/multipart"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb/encoding/mvt"

	"caneward/blocks/intake"
	"caneward/records"
	"caneward/tiles"
)

func TestTiles(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	b := block(s.ids.New(), "Upper")
	s.make(c, "blocks", b)
	for i := 0; i < 5; i++ {
		s.make(c, "finds", find(s.ids.New(), fmt.Sprint(i), ""))
	}
	// -80.42 35.87 lies at x = (180-80.42)/360*2^14 = 4532.0 and, by spherical
	// Mercator, y = (1-ln(tan+sec)/pi)/2*2^14 = 6441.1.
	at := func(layer, zxy string) string { return "/farms/mine/tiles/" + layer + "/" + zxy + ".mvt" }
	g := c.do("GET", at("blocks", "0/0/0"), nil)
	if g.status != 204 && g.status != 200 {
		t.Errorf("the whole world: %d", g.status)
	}
	var home string
	for x := 4530; x < 4535; x++ {
		for y := 6439; y < 6444; y++ {
			zxy := fmt.Sprintf("14/%d/%d", x, y)
			if c.do("GET", at("blocks", zxy), nil).status == 200 {
				home = zxy
			}
		}
	}
	if home == "" {
		t.Fatal("no tile shows the block")
	}
	first := c.do("GET", at("blocks", home), nil)
	if first.header.Get("Content-Type") != tiles.MediaType || !strings.Contains(first.header.Get("Cache-Control"), "private") || first.header.Get("ETag") == "" {
		t.Errorf("headers %v", first.header)
	}
	layers, err := mvt.Unmarshal(first.body)
	must(t, err)
	if len(layers) != 1 || layers[0].Name != "blocks" || layers[0].Features[0].Properties["name"] != "Upper" || layers[0].Features[0].Properties["id"] != string(b["id"].(records.ID)) {
		t.Errorf("tile %+v", layers[0].Features[0])
	}
	if again := c.do("GET", at("blocks", home), nil); !bytes.Equal(again.body, first.body) {
		t.Error("the same tile has other bytes")
	}
	if g := c.do("GET", at("blocks", home), nil, "If-None-Match", first.header.Get("ETag")); g.status != 304 {
		t.Errorf("If-None-Match: %d", g.status)
	}
	finds, err := mvt.Unmarshal(c.do("GET", at("finds", home), nil).body)
	must(t, err)
	if len(finds[0].Features) != 1 || finds[0].Features[0].Properties["count"] != 5.0 {
		t.Errorf("five finds at one place: %v", finds[0].Features[0].Properties)
	}
	for zxy, want := range map[string]int{"14/0/0": 204, "14/99999/0": 404, "60/0/0": 404, "-1/0/0": 404, "abc/0/0": 404, "14/1.5/0": 404} {
		if g := c.do("GET", at("blocks", zxy), nil); g.status != want {
			t.Errorf("%s: %d, want %d", zxy, g.status, want)
		}
	}
	for _, path := range []string{at("people", home), strings.TrimSuffix(at("blocks", home), ".mvt"), strings.TrimSuffix(at("blocks", home), "mvt") + "png"} {
		if g := c.do("GET", path, nil); g.status != 404 {
			t.Errorf("%s: %d, want 404", path, g.status)
		}
	}
}

type fakeMap struct{ err error }

func (fakeMap) Info() tiles.Info {
	return tiles.Info{Kind: "server", Name: "maps.example", Attribution: "invented", MaxZoom: 19}
}
func (fakeMap) Close() error { return nil }
func (f fakeMap) Tile(_ context.Context, a tiles.Address) (tiles.Image, error) {
	if f.err != nil {
		return tiles.Image{}, f.err
	}
	var b bytes.Buffer
	png.Encode(&b, image.NewGray(image.Rect(0, 0, int(a.X)+1, 1)))
	return tiles.Image{Data: b.Bytes(), Type: "image/png"}, nil
}

func TestBaseMap(t *testing.T) {
	none := newSite(t)
	if g := none.as("viewer").do("GET", "/base", nil); g.json(t)["kind"] != "none" {
		t.Errorf("no base map: %s", g.body)
	}
	if g := none.as("viewer").do("GET", "/base/1/0/0", nil); g.status != 204 {
		t.Errorf("a tile of no base map: %d", g.status)
	}
	s := newSite(t, func(c *Config) { c.BaseMap = fakeMap{} })
	c := s.as("viewer")
	if g := c.do("GET", "/base", nil); g.json(t)["attribution"] != "invented" || g.json(t)["max_zoom"] != 19.0 {
		t.Errorf("base map: %s", g.body)
	}
	if g := c.do("GET", "/base/3/1/2", nil); g.status != 200 || g.header.Get("Content-Type") != "image/png" || !strings.Contains(g.header.Get("Cache-Control"), "private") {
		t.Errorf("tile: %d %v", g.status, g.header)
	}
	if g := c.do("GET", "/base/3/8/0", nil); g.status != 404 {
		t.Errorf("beyond the map: %d", g.status)
	}
	for name, tc := range map[string]struct {
		err    error
		status int
	}{"no tile": {tiles.ErrNoTile, 204}, "server gone": {fmt.Errorf("%w: dial", tiles.ErrUpstream), 502}, "own failure": {errors.New("disk"), 500}} {
		s.srv.BaseMap = fakeMap{tc.err}
		if g := c.do("GET", "/base/3/1/2", nil); g.status != tc.status {
			t.Errorf("%s: %d, want %d", name, g.status, tc.status)
		}
	}
}

func TestReports(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	// 0.002 degrees each way at 35.871 N, by the lengths of a degree on WGS 84
	// (Snyder, Map Projections, USGS PP 1395, p. 24): 180.62 m by 221.91 m.
	s.make(c, "blocks", block(s.ids.New(), "=HYPERLINK(\"x\")"))
	s.make(c, "finds", find(s.ids.New(), "one, two", ""))
	g := c.do("GET", "/farms/mine/reports/blocks.csv", nil)
	if g.status != 200 || !strings.HasPrefix(g.header.Get("Content-Type"), "text/csv") || !strings.Contains(g.header.Get("Content-Disposition"), `"mine-blocks.csv"`) {
		t.Fatalf("%d %v", g.status, g.header)
	}
	lines, err := csv.NewReader(bytes.NewReader(g.body)).ReadAll()
	must(t, err)
	row := map[string]string{}
	for i, name := range lines[0] {
		row[name] = lines[1][i]
	}
	if row["name"] != `'=HYPERLINK("x")` || row["row_spacing_m"] != "3" || !strings.HasPrefix(row["outline_m2"], "4008") {
		t.Errorf("row %v", row)
	}
	g = c.do("GET", "/farms/mine/reports/finds.geojson", nil)
	if g.header.Get("Content-Type") != typeGeoJSON || len(g.json(t)["features"].([]any)) != 1 {
		t.Errorf("%s", g.body)
	}
	for _, name := range []string{"annual.csv", "blocks.pdf", "blocks.xls", "blocks", "people.csv"} {
		if g := c.do("GET", "/farms/mine/reports/"+name, nil); g.status != 404 {
			t.Errorf("%s: %d, want 404", name, g.status)
		}
	}
}

func form(fields map[string]string, file, name string) ([]byte, string) {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for k, v := range fields {
		w.WriteField(k, v)
	}
	if name != "" {
		p, _ := w.CreateFormFile("file", name)
		p.Write([]byte(file))
	}
	w.Close()
	return b.Bytes(), w.FormDataContentType()
}

func (c *client) upload(fields map[string]string, file, name string) got {
	body, kind := form(fields, file, name)
	return c.do("POST", "/farms/mine/imports", body, "Content-Type", kind)
}

func outlines(t *testing.T) string {
	one := feature("", square(-80.4195, 35.8705, 0.002), map[string]any{"Name": "Lower", "soil": "sandy"})
	two := feature("", square(-80.41, 35.88, 0.002), nil)
	delete(one, "id")
	delete(two, "id")
	raw, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": []any{one, two}})
	must(t, err)
	return string(raw)
}

// Nothing is stored before it is agreed; what is agreed is stored once, however
// often it is sent.
func TestImports(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	s.make(c, "blocks", block(s.ids.New(), "Upper"))
	g := c.upload(map[string]string{"kind": "blocks", "zone": "America/Chicago"}, outlines(t), "outlines.geojson")
	if g.status != 200 {
		t.Fatalf("%d %s", g.status, g.body)
	}
	var p proposalOut
	must(t, json.Unmarshal(g.body, &p))
	if p.ID == "" || len(p.Features) != 2 || len(p.Features[0].Overlaps) != 1 || p.Features[0].Overlaps[0].Name != "Upper" || len(p.Features[1].Overlaps) != 0 {
		t.Fatalf("proposal %s", g.body)
	}
	if n := c.do("GET", "/farms/mine/collections/blocks/items", nil).json(t)["numberMatched"]; n != 1.0 {
		t.Fatalf("%v blocks after the proposal, want 1", n)
	}
	at := "/farms/mine/imports/" + string(p.ID)
	for name, tc := range map[string]struct {
		body   string
		status int
	}{"nothing": {`{"take":[]}`, 422}, "three": {`{"take":[3]}`, 422}, "twice": {`{"take":[1,1]}`, 422}, "no list": {`{}`, 422}, "misspelt": {`{"take":[{"nubmer":1}]}`, 422}} {
		if g := c.do("POST", at, tc.body); g.status != tc.status {
			t.Errorf("%s: %d, want %d", name, g.status, tc.status)
		}
	}
	if g := s.as("viewer").do("POST", at, `{"take":[1]}`); g.status != 403 {
		t.Errorf("viewer: %d", g.status)
	}
	take := `{"take":[{"number":1,"properties":{"name":"Lower"}},{"number":2,"properties":{"name":"Third"}}],"why":"survey"}`
	for i, want := range []string{"201 201", "200 200"} {
		var out sent
		g := c.do("POST", at, take)
		must(t, json.Unmarshal(g.body, &out))
		if out.statuses() != want {
			t.Errorf("take %d: %d %s, want %s", i+1, g.status, g.body, want)
		}
	}
	kept := c.do("GET", itemAt("blocks", p.Features[0].ID), nil).json(t)
	if props := kept["properties"].(map[string]any); props["name"] != "Lower" || props["soil"] != "sandy" || kept["why"] != "survey" {
		t.Errorf("stored %v", kept)
	}
	if g := c.do("POST", "/farms/mine/imports/"+string(s.ids.New()), `{"take":[1]}`); g.status != 404 {
		t.Errorf("another id: %d", g.status)
	}
	// One undo for the whole import, once and for all.
	for range 2 {
		if g := c.do("DELETE", at, nil); g.status != 200 || g.json(t)["undone"] != 2.0 {
			t.Errorf("undo: %d %s", g.status, g.body)
		}
	}
	if g := c.do("GET", itemAt("blocks", p.Features[0].ID), nil); g.status != 404 {
		t.Errorf("a block after its import was undone: %d", g.status)
	}
	if g := c.do("POST", at, take); g.status != 409 {
		t.Errorf("stored again after it was undone: %d", g.status)
	}
	s.now = func() time.Time { return time.Now().Add(25 * time.Hour) }
	if g := c.do("GET", at, nil); g.status != 404 {
		t.Errorf("a day later: %d", g.status)
	}
}

// Nothing of an import is stored when one of its records cannot be, and nothing
// is undone when one was changed since.
func TestImportsAreOneAct(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	var p proposalOut
	propose := func() string {
		must(t, json.Unmarshal(c.upload(map[string]string{"kind": "blocks"}, outlines(t), "outlines.geojson").body, &p))
		return "/farms/mine/imports/" + string(p.ID)
	}
	count := func() any { return c.do("GET", "/farms/mine/collections/blocks/items", nil).json(t)["numberMatched"] }
	at := propose()
	g := c.do("POST", at, `{"take":[1,2]}`) // the second has no name
	if g.status != 422 || count() != 0.0 {
		t.Errorf("one nameless: %d, %v stored; want 422 and none: %s", g.status, count(), g.body)
	}
	if first := problemOf(t, g)["errors"].([]any)[0].(map[string]any); first["feature"] != 2.0 || first["field"] != "name" {
		t.Errorf("the refusal names %v; want the name of feature 2", first)
	}
	if g := c.do("POST", at, `{"take":[1,{"number":2,"properties":{"name":"Second"}}]}`); g.status != 200 || count() != 2.0 {
		t.Fatalf("%d %s", g.status, g.body)
	}
	kept := c.do("GET", itemAt("blocks", p.Features[0].ID), nil)
	changed := kept.json(t)
	changed["properties"].(map[string]any)["crop"] = "blackberry"
	if g := c.do("PUT", itemAt("blocks", p.Features[0].ID), changed, "If-Match", kept.header.Get("ETag")); g.status != 200 {
		t.Fatalf("%d %s", g.status, g.body)
	}
	if g := c.do("DELETE", at, nil); g.status != 409 || count() != 2.0 || !strings.Contains(string(g.body), "Lower") {
		t.Errorf("undo after a change: %d, %v left: %s", g.status, count(), g.body)
	}
	at = propose()
	if g := c.do("DELETE", at, nil); g.status != 204 {
		t.Errorf("forgetting a proposal: %d", g.status)
	}
	if g := c.do("GET", at, nil); g.status != 404 {
		t.Errorf("a forgotten proposal: %d", g.status)
	}
}

// Who prefers not to wait follows the reading, answers its question, and may
// stop it.
func TestImportsWithoutWaiting(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	file, err := os.ReadFile("../testdata/cases/files/V060-shp-no-prj-degrees.zip")
	must(t, err)
	body, kind := form(map[string]string{"kind": "blocks"}, string(file), "a.zip")
	g := c.do("POST", "/farms/mine/imports", body, "Content-Type", kind, "Prefer", "respond-async")
	at := g.header.Get("Location")
	if g.status != 202 || !strings.HasPrefix(at, "/farms/mine/imports/") {
		t.Fatalf("%d at %q: %s", g.status, at, g.body)
	}
	var p proposalOut
	for range 200 {
		p = proposalOut{}
		must(t, json.Unmarshal(c.do("GET", at, nil).body, &p))
		if p.State != stateReading {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if p.State != stateProposed || len(p.Questions) != 1 || p.Questions[0].Topic != intake.TopicSystem || len(p.Questions[0].Choices) == 0 || p.Questions[0].Choices[0].Value != "EPSG:4326" {
		t.Fatalf("%+v", p.Questions)
	}
	if g := c.do("PATCH", at, `{"system":"EPSG:4326"}`); g.status != 200 {
		t.Fatalf("%d %s", g.status, g.body)
	} else {
		p = proposalOut{}
		must(t, json.Unmarshal(g.body, &p))
	}
	if len(p.Questions) != 0 || len(p.Features) != 2 || p.Features[0].Areas[intake.WayRead] < 16000 {
		t.Errorf("answered: %+v", p.Features)
	}
	for name, bad := range map[string]string{"kind": `{"kind":"reviews"}`, "order": `{"day_order":"year-first"}`, "zone": `{"zone":"Mars/Base"}`, "stray": `{"sytem":"EPSG:4326"}`} {
		if g := c.do("PATCH", at, bad); g.status != 422 {
			t.Errorf("%s: %d, want 422", name, g.status)
		}
	}
	if g := c.do("DELETE", at, nil); g.status != 204 {
		t.Errorf("stopped: %d", g.status)
	}
}

// A farm's own records come back under their ids; what is there already is
// said, and taken only on purpose.
func TestImportsOfWhatIsThere(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	id := s.ids.New()
	s.make(c, "blocks", block(id, "Upper"))
	item := string(c.do("GET", itemAt("blocks", id), nil).body)
	var p proposalOut
	must(t, json.Unmarshal(c.upload(map[string]string{"kind": "blocks"}, item, "a.geojson").body, &p))
	if len(p.Features) != 1 || p.Features[0].ID != id || p.Features[0].State != statePresent || p.Features[0].Present == nil || !p.Features[0].Present.Same {
		t.Fatalf("%+v", p.Features)
	}
	at := "/farms/mine/imports/" + string(p.ID)
	if g := c.do("POST", at, `{"take":[{"number":1,"properties":{"name":"Upper two"}}]}`); g.status != 200 {
		t.Fatalf("%d %s", g.status, g.body)
	}
	if got := c.do("GET", itemAt("blocks", id), nil).json(t)["properties"].(map[string]any)["name"]; got != "Upper two" {
		t.Errorf("name %v after the record was replaced", got)
	}
}

func TestImportRefusals(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	good := outlines(t)
	bow := `{"type":"Feature","properties":{"name":"Bow"},"geometry":{"type":"Polygon","coordinates":[[[-80.42,35.87],[-80.418,35.872],[-80.418,35.87],[-80.42,35.872],[-80.42,35.87]]]}}`
	for name, tc := range map[string]struct {
		fields     map[string]string
		file, name string
		status     int
	}{
		"no kind":      {nil, good, "a.json", 422},
		"kind unknown": {map[string]string{"kind": "reviews"}, good, "a.json", 422},
		"no zone":      {map[string]string{"kind": "blocks", "zone": "Mars/Base"}, good, "a.json", 422},
		"stray field":  {map[string]string{"kind": "blocks", "farm": "theirs"}, good, "a.json", 422},
		"no file":      {map[string]string{"kind": "blocks"}, "", "", 422},
		"cut off":      {map[string]string{"kind": "blocks"}, good[:len(good)/2], "a.json", 400},
		"empty":        {map[string]string{"kind": "blocks"}, "", "a.json", 400},
		"no tracks":    {map[string]string{"kind": "tracks"}, good, "a.json", 422},
		"web page":     {map[string]string{"kind": "blocks"}, "<!doctype html><p>sign in", "a.json", 415},
	} {
		g := c.upload(tc.fields, tc.file, tc.name)
		if g.status != tc.status {
			t.Errorf("%s: %d, want %d: %s", name, g.status, tc.status, g.body)
			continue
		}
		problemOf(t, g)
	}
	g := c.upload(map[string]string{"kind": "blocks"}, bow, "bow.geojson")
	var p proposalOut
	must(t, json.Unmarshal(g.body, &p))
	if g.status != 200 || p.Outcome != intake.Reject || len(p.Features) != 1 || p.Features[0].State != "ask" || len(p.Features[0].Said) == 0 || p.Features[0].Said[0].At.Position == nil {
		t.Errorf("a bow-tie: %d %s; want a feature that is asked about, with its place", g.status, g.body)
	}
	whole, of := form(map[string]string{"kind": "blocks"}, good, "a.json")
	if g := c.do("POST", "/farms/mine/imports", whole[:len(whole)/2], "Content-Type", of); g.status != 400 {
		t.Errorf("an upload that broke off in the file: %d", g.status)
	}
	if g := c.do("POST", "/farms/mine/imports", []byte("no form"), "Content-Type", "multipart/form-data"); g.status != 400 {
		t.Errorf("no boundary: %d", g.status)
	}
	if g := c.do("POST", "/farms/mine/imports", []byte("--b\r\nbroken"), "Content-Type", "multipart/form-data; boundary=b"); g.status != 400 {
		t.Errorf("cut off: %d", g.status)
	}
}

// Proposals are bounded by number and size; one farm does not push out another.
func TestProposalsAreBounded(t *testing.T) {
	now := time.Now()
	p := newProposals(func() time.Time { return now })
	p.keep(&proposal{id: "theirs", farm: "theirs", made: now, size: 1})
	for i := 0; i < 30; i++ {
		p.keep(&proposal{id: records.ID(fmt.Sprint(i)), farm: "mine", made: now, size: 1})
	}
	if p.find("theirs", "theirs") == nil || p.find("mine", "29") == nil || p.find("mine", "22") == nil || p.find("mine", "21") != nil || p.find("theirs", "29") != nil {
		t.Errorf("kept %d", len(p.kept))
	}
	p.keep(&proposal{id: "large", farm: "other", made: now, size: proposalBytes})
	if len(p.kept) != 1 {
		t.Errorf("kept %d beside one that takes all room", len(p.kept)-1)
	}
}

func TestTreatedArea(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	b := block(s.ids.New(), "Upper")
	s.make(c, "blocks", b)
	draft := map[string]any{"blocks": []any{b["id"]}, "pattern": "broadcast", "setbacks": []any{},
		"products": []any{map[string]any{"product": map[string]any{"name": "P"}, "rate": map[string]any{"value": 12, "unit": "fl_oz", "per": "acre"}}},
		"carrier":  map[string]any{"value": 40, "unit": "gal", "per": "acre"}, "tank": map[string]any{"value": 50, "unit": "gal"}}
	g := c.do("POST", "/farms/mine/treated-area", draft)
	if g.status != 200 {
		t.Fatalf("%d %s", g.status, g.body)
	}
	a := g.json(t)
	treated := a["areas"].(map[string]any)["treated_m2"].(float64)
	total := a["totals"].([]any)[0].(map[string]any)["amount"].(map[string]any)["value"].(float64)
	if acres := treated / 4046.8564224; total < acres*12*(1-1e-9) || total > acres*12*(1+1e-9) {
		t.Errorf("%g m2 at 12 fl oz an acre take %g", treated, total)
	}
	draft["products"].([]any)[0].(map[string]any)["rate"].(map[string]any)["unit"] = "oz"
	if g := c.do("POST", "/farms/mine/treated-area", draft); g.status != 422 {
		t.Errorf("a bare oz: %d", g.status)
	} else if p := problemOf(t, g); p["errors"] == nil {
		t.Errorf("a bare oz: no place is named: %s", g.body)
	}
	if n := c.do("GET", "/farms/mine/collections/passes/items", nil).json(t)["numberMatched"]; n != 0.0 {
		t.Errorf("%v passes were stored", n)
	}
}

func TestHotSpots(t *testing.T) {
	s := newSite(t)
	c := s.as("adviser")
	owner := s.as("owner")
	b := block(s.ids.New(), "Upper")
	s.make(owner, "blocks", b)
	for i, at := range [][2]int{{5, 10}, {5, 11}, {5, 12}, {6, 11}, {30, 90}} {
		f := find(s.ids.New(), fmt.Sprint(i), "")
		p := f["properties"].(map[string]any)
		p["block"], p["row"], p["plant"], p["cause"] = b["id"], at[0], at[1], "orange-rust"
		s.make(owner, "finds", f)
	}
	ask := map[string]any{"block": b["id"], "states": []string{"suspected"}, "along_m": 3.0, "across_m": 3.2, "min_finds": 3}
	g := c.do("POST", "/farms/mine/hot-spots", ask)
	if g.status != 200 {
		t.Fatalf("%d %s", g.status, g.body)
	}
	if groups := g.json(t)["groups"].([]any); len(groups) != 1 || len(groups[0].(map[string]any)["finds"].([]any)) != 4 {
		t.Errorf("groups %s", g.body)
	}
	ask["block"] = s.ids.New()
	if g := c.do("POST", "/farms/mine/hot-spots", ask); g.status != 422 {
		t.Errorf("a block there is not: %d", g.status)
	}
	if g := c.do("POST", "/farms/mine/hot-spots", `{"blokc":1}`); g.status != 422 {
		t.Errorf("misspelt: %d", g.status)
	}
}

// 0.002 degrees of longitude at 35.87 N are 180.5 m: rows 3 m apart running
// north make 60 strips.
func TestLayout(t *testing.T) {
	s := newSite(t)
	c := s.as("viewer")
	b := block(s.ids.New(), "Upper")
	s.make(s.as("owner"), "blocks", b)
	ask := func(change func(map[string]any)) got {
		m := map[string]any{"row_spacing_m": 3, "plant_spacing_m": 1, "headland_m": 8}
		change(m)
		return c.do("POST", "/farms/mine/layout", m)
	}
	byBlock := ask(func(m map[string]any) { m["block"] = b["id"] })
	if byBlock.status != 200 || byBlock.json(t)["rows"] != 60.0 {
		t.Fatalf("by block: %d %.300s", byBlock.status, byBlock.body)
	}
	byOutline := ask(func(m map[string]any) { m["outline"], m["bearing_deg"] = b["geometry"], 0 })
	if !bytes.Equal(byBlock.body, byOutline.body) {
		t.Errorf("by outline: %.200s, by block %.200s", byOutline.body, byBlock.body)
	}
	right := ask(func(m map[string]any) { m["block"], m["first_row_side"] = b["id"], "right" })
	if bytes.Equal(right.body, byBlock.body) {
		t.Error("rows from the right are those from the left")
	}
	for name, change := range map[string]func(map[string]any){
		"neither":       func(m map[string]any) {},
		"both":          func(m map[string]any) { m["block"], m["outline"] = b["id"], b["geometry"] },
		"no such block": func(m map[string]any) { m["block"] = s.ids.New() },
		"spacing 0":     func(m map[string]any) { m["block"], m["row_spacing_m"] = b["id"], 0 },
		"side":          func(m map[string]any) { m["block"], m["first_row_side"] = b["id"], "north" },
		"a point":       func(m map[string]any) { m["outline"] = point(-80, 35) },
		"misspelt":      func(m map[string]any) { m["block"], m["spacing"] = b["id"], 1 },
	} {
		if g := ask(change); g.status != 422 {
			t.Errorf("%s: %d %.200s, want 422", name, g.status, g.body)
		}
	}
}

// An analysis ends when its client leaves, and gives its place back.
func TestClientLeaves(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	b := block(s.ids.New(), "Upper")
	s.make(c, "blocks", b)
	for range cap(s.srv.heavy) {
		s.srv.heavy <- struct{}{}
	}
	ctx, leave := context.WithCancel(context.Background())
	r := c.request("POST", "/farms/mine/layout", map[string]any{"block": b["id"], "row_spacing_m": 3, "plant_spacing_m": 1}).WithContext(ctx)
	done := make(chan struct{})
	go func() {
		s.srv.ServeHTTP(discard{http.Header{}}, r)
		close(done)
	}()
	leave()
	select {
	case <-done:
	case <-time.After(2 * time.Second):
		t.Fatal("the handler goes on for a client that left")
	}
	for range cap(s.srv.heavy) {
		<-s.srv.heavy
	}
	if g := c.do("POST", "/farms/mine/layout", map[string]any{"block": b["id"], "row_spacing_m": 3, "plant_spacing_m": 1}); g.status != 200 {
		t.Errorf("afterwards: %d", g.status)
	}
}

type discard struct{ h http.Header }

func (d discard) Header() http.Header         { return d.h }
func (d discard) Write(b []byte) (int, error) { return len(b), nil }
func (d discard) WriteHeader(int)             {}
