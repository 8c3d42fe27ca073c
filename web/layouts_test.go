package web

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"caneward/geo"
	"caneward/geo/plane"
	"caneward/records"
)

// yard is ground in metres east and north of a place.
type yard struct {
	t     testing.TB
	frame plane.Frame
}

func newYard(t testing.TB) yard {
	t.Helper()
	f, err := plane.FrameAt(geo.Position{-80.42, 35.87})
	must(t, err)
	return yard{t, f}
}

func (y yard) at(e, n float64) []float64 {
	p := y.frame.Position(plane.XY{X: e, Y: n})
	return []float64{p[0], p[1]}
}

func (y yard) rectangle(e0, n0, e1, n1 float64) map[string]any {
	return map[string]any{"type": "Polygon", "coordinates": [][][]float64{{y.at(e0, n0), y.at(e1, n0), y.at(e1, n1), y.at(e0, n1), y.at(e0, n0)}}}
}

func (y yard) block(id records.ID, shape map[string]any) map[string]any {
	return feature(id, shape, map[string]any{"name": "Home", "row_spacing_m": 3.0, "plant_spacing_m": 1.0, "row_bearing_deg": 0.0})
}

// lay stores the rows of a block as its page does.
func (y yard) lay(s *site, c *client, id records.ID, more map[string]any) {
	y.t.Helper()
	ask := map[string]any{"block": id, "row_spacing_m": 3, "plant_spacing_m": 1}
	for k, v := range more {
		ask[k] = v
	}
	for _, each := range c.do("POST", "/farms/mine/layout", ask).json(y.t)["each"].([]any) {
		r := each.(map[string]any)
		parts := r["parts"].([]any)
		shape := map[string]any{"type": "MultiLineString", "coordinates": parts}
		if len(parts) == 1 {
			shape = map[string]any{"type": "LineString", "coordinates": parts[0]}
		}
		s.make(c, "rows", feature(s.ids.New(), shape, map[string]any{"block": id, "number": r["number"], "plants": r["plants"], "note": "kept"}))
	}
}

func (y yard) find(id, block records.ID, row, plant int, at []float64, more map[string]any) map[string]any {
	p := map[string]any{"block": block, "cause": "orange-rust", "state": "suspected", "found_at": "2026-05-04T08:00:00-04:00"}
	if row > 0 {
		p["row"], p["plant"] = row, plant
	}
	for k, v := range more {
		p[k] = v
	}
	return feature(id, map[string]any{"type": "Point", "coordinates": at}, p)
}

func closeTo(t testing.TB, what string, got any, want, tolerance float64) {
	t.Helper()
	v, ok := got.(float64)
	if !ok || math.Abs(v-want) > tolerance {
		t.Errorf("%s: %v, want %v within %v", what, got, want, tolerance)
	}
}

// The rectangle: 100 m x 60 m, rows of 3 m along it, plants each metre:
// 20 rows of 101; with 6 m headlands rows of 88 m and 89 plants. What follows is
// by hand: 2,020 plants and 5 % are 2,121; posts each 6 m stand at 0, 6, ... 96
// and at the end of 100 m, 18 a row; two wires of 100 m and twice 1 m to tie off.
func TestLayoutAnswer(t *testing.T) {
	s, y := newSite(t), newYard(t)
	c := s.as("viewer")
	ask := func(more map[string]any) map[string]any {
		m := map[string]any{"outline": y.rectangle(0, 0, 60, 100), "row_spacing_m": 3, "plant_spacing_m": 1, "bearing_deg": 0}
		for k, v := range more {
			if v == nil {
				delete(m, k)
				continue
			}
			m[k] = v
		}
		g := c.do("POST", "/farms/mine/layout", m)
		if g.status != 200 {
			t.Fatalf("%v: %d %s", more, g.status, g.body)
		}
		return g.json(t)
	}
	plain := ask(nil)
	if plain["rows"] != 20.0 || plain["plants"] != 2020.0 || plain["turns"] != 19.0 || plain["short_rows"] != 0.0 || plain["order"] != nil {
		t.Errorf("%v rows, %v plants, %v turns, %v short, order %v", plain["rows"], plain["plants"], plain["turns"], plain["short_rows"], plain["order"])
	}
	closeTo(t, "share", plain["share"], 1, 1e-5)
	// W01 and the like: area over the plant's rectangle; the count has a plant
	// more in every row.
	hand := plain["handbook"].(map[string]any)
	closeTo(t, "handbook plants", hand["plants"], 2000, 0.01)
	closeTo(t, "handbook row", hand["row_length_m"], 2000, 0.01)
	if why := plain["why_different"].([]any); len(why) != 1 || !strings.Contains(why[0].(string), "20 plants more") {
		t.Errorf("why different: %v", why)
	}
	if head := ask(map[string]any{"headland_m": 6}); head["plants"] != 20*89.0 {
		t.Errorf("with headlands: %v plants", head["plants"])
	}
	full := ask(map[string]any{"post_spacing_m": 6, "spare_percent": 5, "wires": 2, "lines_per_row": 1, "band_width_m": 1.2, "skip": []int{3}, "short_under_m": 120})
	order := full["order"].(map[string]any)
	for what, want := range map[string]float64{"plants": 1919, "to_order": math.Ceil(1919 * 1.05), "posts": 19 * 18, "end_posts": 38, "spare_percent": 5} {
		if order[what] != want {
			t.Errorf("order: %s %v, want %v", what, order[what], want)
		}
	}
	closeTo(t, "wire", order["wire_m"], 2*(1900+2*19), 0.01)
	closeTo(t, "line", order["line_m"], 1900, 0.01)
	closeTo(t, "band", full["areas"].(map[string]any)["band_m2"], 1900*1.2, 0.01)
	if full["short_rows"] != 19.0 || full["rows"] != 19.0 || len(full["each"].([]any)) != 20 {
		t.Errorf("%v short, %v rows, %d strips", full["short_rows"], full["rows"], len(full["each"].([]any)))
	}
	for _, list := range []any{full["how"], order["how"]} {
		for _, h := range list.([]any) {
			if m := h.(map[string]any); m["text"] == "" || m["source"] == "" || strings.ContainsAny(m["text"].(string), "{}") {
				t.Errorf("how: %v", m)
			}
		}
	}
	bent := ask(map[string]any{"bearing_deg": nil, "guide": map[string]any{"type": "LineString", "coordinates": [][]float64{y.at(30, -5), y.at(33, 50), y.at(30, 105)}}})
	if bent["rows"].(float64) < 15 || len(bent["each"].([]any)[9].(map[string]any)["parts"].([]any)[0].([]any)) < 3 {
		t.Errorf("beside a guide: %v rows, %v", bent["rows"], bent["each"].([]any)[9])
	}
	for name, change := range map[string]map[string]any{
		"guide a point":     {"bearing_deg": nil, "guide": point(-80, 35)},
		"guide no geometry": {"bearing_deg": nil, "guide": 3},
		"guide and bearing": {"guide": map[string]any{"type": "LineString", "coordinates": [][]float64{y.at(0, 0), y.at(9, 9)}}},
		"alley alone":       {"alley_every": 4},
		"margin":            {"side_margin_m": -1},
		"band":              {"band_width_m": -1},
		"short":             {"short_under_m": -1},
		"spare":             {"spare_percent": 101},
		"wires":             {"wires": -1},
		"posts":             {"post_spacing_m": 0.01},
		"skip twice":        {"skip": []int{2, 2}},
	} {
		m := map[string]any{"outline": y.rectangle(0, 0, 60, 100), "row_spacing_m": 3, "plant_spacing_m": 1, "bearing_deg": 0}
		for k, v := range change {
			m[k] = v
			if v == nil {
				delete(m, k)
			}
		}
		if g := c.do("POST", "/farms/mine/layout", m); g.status != 422 {
			t.Errorf("%s: %d %.200s, want 422", name, g.status, g.body)
		}
	}
}

func TestCompareLayouts(t *testing.T) {
	s, y := newSite(t), newYard(t)
	c := s.as("viewer")
	id := s.ids.New()
	s.make(s.as("owner"), "blocks", y.block(id, y.rectangle(0, 0, 60, 100)))
	ask := func(m map[string]any) got {
		if m["outline"] == nil {
			m["block"] = id
		}
		return c.do("POST", "/farms/mine/layouts/compare", m)
	}
	g := ask(map[string]any{"row_spacing_m": []float64{3, 2.4}, "plant_spacing_m": []float64{1}, "bearings_deg": []float64{0, 90}, "sweep_deg": 45})
	if g.status != 200 {
		t.Fatalf("%d %s", g.status, g.body)
	}
	options := g.json(t)["options"].([]any)
	if len(options) != 2*(2+1+4) {
		t.Fatalf("%d options", len(options))
	}
	first, across := options[0].(map[string]any), options[1].(map[string]any)
	if first["kind"] != "drawn" || first["rows"] != 20.0 || first["plants"] != 2020.0 || first["turns"] != 19.0 {
		t.Errorf("along: %v", first)
	}
	if across["rows"] != 33.0 || across["plants"] != 33*61.0 {
		t.Errorf("across: %v, want 33 rows of 61", across)
	}
	if longest := options[2].(map[string]any); longest["kind"] != "longest-side" || longest["rows"] != 20.0 {
		t.Errorf("longest side: %v", longest)
	}
	if own := ask(map[string]any{"row_spacing_m": []float64{3}, "plant_spacing_m": []float64{1}}).json(t)["options"].([]any); len(own) != 2 || own[0].(map[string]any)["kind"] != "drawn" {
		t.Errorf("nothing named: %v", own)
	}
	many := make([]float64, 30)
	for i := range many {
		many[i] = 2 + float64(i)/10
	}
	for name, c := range map[string]struct {
		ask    map[string]any
		status int
	}{
		"too many":     {map[string]any{"row_spacing_m": many, "plant_spacing_m": many, "sweep_deg": 1}, 422},
		"no spacings":  {map[string]any{"row_spacing_m": []float64{}, "plant_spacing_m": []float64{1}}, 422},
		"step of zero": {map[string]any{"row_spacing_m": []float64{3}, "plant_spacing_m": []float64{1}, "sweep_deg": 0}, 422},
		"spacing 0":    {map[string]any{"row_spacing_m": []float64{0}, "plant_spacing_m": []float64{1}}, 422},
		"misspelt":     {map[string]any{"row_spacing_m": []float64{3}, "plant_spacing_m": []float64{1}, "sweep": 5}, 422},
		"both":         {map[string]any{"row_spacing_m": []float64{3}, "plant_spacing_m": []float64{1}, "block": id, "outline": y.rectangle(0, 0, 9, 9)}, 422},
	} {
		if g := ask(c.ask); g.status != c.status {
			t.Errorf("%s: %d %.200s, want %d", name, g.status, g.body, c.status)
		}
	}
}

// Edit an outline under finds: what the server proposes is stored as it is, no
// find changes its plant, and last year's rows can still be had.
func TestReviseLayout(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		y, c := newYard(t), s.as("owner")
		id := s.ids.New()
		tag := s.make(c, "blocks", y.block(id, y.rectangle(0, 0, 30, 100)))
		y.lay(s, c, id, nil)
		finds := map[records.ID][2]int{}
		for k, p := range [][2]int{{1, 1}, {1, 50}, {4, 2}, {7, 101}, {10, 101}} {
			f := s.ids.New()
			finds[f] = p
			s.make(c, "finds", y.find(f, id, p[0], p[1], y.at(float64(p[0])*3-1.5, float64(p[1]-1)), map[string]any{"note": k}))
		}
		before := y.positions(c, id, "")
		then := url.QueryEscape(time.Now().UTC().Format(time.RFC3339Nano))
		time.Sleep(2 * time.Millisecond)

		same := c.do("POST", "/farms/mine/layouts/revise", map[string]any{"block": id, "row_spacing_m": 3, "plant_spacing_m": 1}).json(t)
		if same["kept"] != 1010.0 || len(same["rows"].([]any)) != 0 || len(same["conflicts"].([]any)) != 0 {
			t.Fatalf("nothing edited: %.500v", same)
		}
		// Three metres on: plants 1 to 3 of every row go, three come at the far end.
		outline := y.rectangle(0, 3, 30, 103)
		g := c.do("POST", "/farms/mine/layouts/revise", map[string]any{"block": id, "outline": outline, "row_spacing_m": 3, "plant_spacing_m": 1})
		r := g.json(t)
		if g.status != 200 || r["kept"] != 980.0 || len(r["added"].([]any)) != 10 || len(r["gone"].([]any)) != 10 || len(r["rows"].([]any)) != 10 || len(r["dropped"].([]any)) != 0 || len(r["moved"].([]any)) != 10 {
			t.Fatalf("%d %.800s", g.status, g.body)
		}
		conflicts := r["conflicts"].([]any)
		if len(conflicts) != 2 || conflicts[0].(map[string]any)["plant"] != 1.0 || conflicts[1].(map[string]any)["row"] != 4.0 || !strings.Contains(conflicts[0].(map[string]any)["text"].(string), "row 1, plant 1") {
			t.Errorf("conflicts %v", conflicts)
		}
		b := y.block(id, outline)
		if g := c.do("PUT", itemAt("blocks", id), b, "If-Match", tag); g.status != 200 {
			t.Fatalf("block: %d %s", g.status, g.body)
		}
		for _, row := range r["rows"].([]any) {
			f := row.(map[string]any)
			base := f["base"].(float64)
			delete(f, "base")
			p := f["properties"].(map[string]any)
			if p["note"] != "kept" {
				t.Errorf("row %v lost what the server does not know: %v", p["number"], p)
			}
			path := itemAt("rows", records.ID(f["id"].(string)))
			etag := c.do("GET", path, nil).header.Get("ETag")
			g := c.do("PUT", path, f, "If-Match", etag)
			if n := p["number"]; n == 1.0 || n == 4.0 {
				if g.status != 422 || !strings.Contains(string(g.body), "named by") {
					t.Errorf("row %v takes a named plant away: %d %s", n, g.status, g.body)
				}
				p["gone"] = []any{map[string]any{"plant": map[any]int{1.0: 1, 4.0: 2}[n], "why": "sold ground"}}
				g = c.do("PUT", path, f, "If-Match", etag)
			}
			if g.status != 200 || g.json(t)["revision"] != base+1 {
				t.Errorf("row %v: %d %s", p["number"], g.status, g.body)
			}
		}
		after := y.positions(c, id, "")
		for f, p := range finds {
			was, now := before[p], after[p]
			if gone := p[1] <= 3; gone != (now == nil) {
				t.Errorf("find %s at %v: stands %v", f, p, now)
			} else if now != nil && math.Hypot(now[0]-was[0], now[1]-was[1]) > 1e-3 {
				t.Errorf("find %s at %v moved from %v to %v", f, p, was, now)
			}
		}
		if old := y.positions(c, id, then); len(old) != len(before) || old[[2]int{1, 1}] == nil {
			t.Errorf("the rows of an earlier time: %d places, then %d", len(old), len(before))
		}
		again := c.do("POST", "/farms/mine/layouts/revise", map[string]any{"block": id, "row_spacing_m": 3, "plant_spacing_m": 1}).json(t)
		if again["kept"] != 1010.0 || len(again["rows"].([]any)) != 0 || len(again["conflicts"].([]any)) != 0 {
			t.Errorf("revised again: %.500v", again)
		}
		// A narrower block drops rows, a wider one has new ones.
		less := c.do("POST", "/farms/mine/layouts/revise", map[string]any{"block": id, "outline": y.rectangle(0, 3, 15, 103), "row_spacing_m": 3, "plant_spacing_m": 1}).json(t)
		if d := less["dropped"].([]any); len(d) != 5 || d[0].(map[string]any)["row"] != 6.0 || d[0].(map[string]any)["base"] != 2.0 {
			t.Errorf("half the block: dropped %v", d)
		}
		more := c.do("POST", "/farms/mine/layouts/revise", map[string]any{"block": id, "outline": y.rectangle(0, 3, 33, 103), "row_spacing_m": 3, "plant_spacing_m": 1}).json(t)
		rows := more["rows"].([]any)
		if len(rows) != 1 || rows[0].(map[string]any)["base"] != nil || rows[0].(map[string]any)["properties"].(map[string]any)["number"] != 11.0 {
			t.Fatalf("one row wider: %.800v", rows)
		}
		f := rows[0].(map[string]any)
		delete(f, "base")
		if g := c.do("PUT", itemAt("blocks", id), y.block(id, y.rectangle(0, 3, 33, 103)), "If-Match", c.do("GET", itemAt("blocks", id), nil).header.Get("ETag")); g.status != 200 {
			t.Fatal(g.status)
		}
		if g := c.do("PUT", itemAt("rows", records.ID(f["id"].(string))), f); g.status != 201 {
			t.Errorf("the new row: %d %s", g.status, g.body)
		}
		for name, ask := range map[string]map[string]any{
			"no block":      {"outline": outline, "row_spacing_m": 3, "plant_spacing_m": 1},
			"no such block": {"block": s.ids.New(), "row_spacing_m": 3, "plant_spacing_m": 1},
			"no spacings":   {"block": id},
			"a point":       {"block": id, "outline": point(-80, 35), "row_spacing_m": 3, "plant_spacing_m": 1},
		} {
			if g := c.do("POST", "/farms/mine/layouts/revise", ask); g.status != 422 {
				t.Errorf("%s: %d %.200s, want 422", name, g.status, g.body)
			}
		}
	})
}

// positions gives each place of a block's rows in metres, by row and plant,
// reckoned here from what the rows say.
func (y yard) positions(c *client, id records.ID, asOf string) map[[2]int][]float64 {
	y.t.Helper()
	path := itemAt("blocks", id) + "/rows"
	if asOf != "" {
		path += "?as_of=" + asOf
	}
	g := c.do("GET", path, nil)
	if g.status != 200 {
		y.t.Fatalf("%s: %d %s", path, g.status, g.body)
	}
	var list struct {
		Features []struct {
			Geometry   struct{ Coordinates [][2]float64 }
			Properties struct {
				Number, Plants int
				Places         []struct {
					From, Plants int
					At           float64 `json:"at_m"`
					Spacing      float64 `json:"spacing_m"`
				}
			}
		}
	}
	must(y.t, json.Unmarshal(g.body, &list))
	out := map[[2]int][]float64{}
	for _, f := range list.Features {
		a, b := y.frame.XY(f.Geometry.Coordinates[0]), y.frame.XY(f.Geometry.Coordinates[1])
		u := b.Minus(a).Times(1 / float64(a.Distance(b)))
		put := func(n int, along float64) {
			p := a.Plus(u.Times(along))
			out[[2]int{f.Properties.Number, n}] = []float64{p.X, p.Y}
		}
		for _, run := range f.Properties.Places {
			for k := range run.Plants {
				put(run.From+k, run.At+float64(k)*run.Spacing)
			}
		}
		if f.Properties.Places == nil {
			for k := range f.Properties.Plants {
				put(k+1, float64(k))
			}
		}
	}
	return out
}

// Ten rows of 3 m; on row 7 with sd 2 m (3.03 m of accuracy) the chance is
// erf(0.75/sqrt 2) = 0.547.
func TestNear(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		y, c := newYard(t), s.as("owner")
		id := s.ids.New()
		s.make(c, "blocks", y.block(id, y.rectangle(0, 0, 30, 100)))
		y.lay(s, c, id, nil)
		near := func(e, n float64, more string) got {
			p := y.at(e, n)
			return s.as("viewer").do("GET", fmt.Sprintf("%s/near?lon=%.9f&lat=%.9f%s", itemAt("blocks", id), p[0], p[1], more), nil)
		}
		g := near(19.5, 40.2, "&accuracy_m=3.03")
		a := g.json(t)
		if g.status != 200 || a["says"] != "near row 7 (55 %)" {
			t.Fatalf("%d %s", g.status, g.body)
		}
		plants := a["plants"].([]any)
		if p := plants[0].(map[string]any); len(plants) != 5 || p["row"] != 7.0 || p["plant"] != 41.0 {
			t.Errorf("nearest %v", plants)
		}
		closeTo(t, "distance", plants[0].(map[string]any)["m"], 0.2, 1e-3)
		sum := a["none"].(float64)
		for _, r := range a["rows"].([]any) {
			sum += r.(map[string]any)["chance"].(float64)
		}
		closeTo(t, "all chances", sum, 1, 1e-9)
		if !strings.Contains(a["model"].(string), "68 %") {
			t.Errorf("model: %v", a["model"])
		}
		if bare := near(19.5, 40.2, "&n=1").json(t); len(bare["rows"].([]any)) != 0 || len(bare["plants"].([]any)) != 1 || bare["says"] != "" || bare["model"] == "" {
			t.Errorf("without accuracy: %v", bare)
		}
		if early := near(19.5, 40.2, "&as_of=2020-01-01").json(t); len(early["plants"].([]any)) != 0 {
			t.Errorf("before there were rows: %v", early)
		}
		for query, want := range map[string]int{"?lat=35": 422, "?lon=1": 422, "?lon=181&lat=0": 422, "?lon=NaN&lat=0": 422, "?lon=1&lat=91": 422, "?lon=1&lat=1&accuracy_m=-3": 422,
			"?lon=1&lat=1&n=0": 422, "?lon=1&lat=1&as_of=spring": 422, "?lon=1&lat=1&accuracy=3": 400, "?lon=1&lon=2&lat=1": 400} {
			if g := c.do("GET", itemAt("blocks", id)+"/near"+query, nil); g.status != want {
				t.Errorf("%s: %d %.200s, want %d", query, g.status, g.body, want)
			}
		}
		if g := c.do("GET", itemAt("blocks", s.ids.New())+"/near?lon=1&lat=1", nil); g.status != 404 {
			t.Errorf("no such block: %d", g.status)
		}
	})
}

// A find whose row nobody has said stays near a row; the record stays as it was.
func TestUnplacedFinds(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		y, c := newYard(t), s.as("owner")
		id := s.ids.New()
		s.make(c, "blocks", y.block(id, y.rectangle(0, 0, 30, 100)))
		y.lay(s, c, id, nil)
		loose, vague, placed := s.ids.New(), s.ids.New(), s.ids.New()
		s.make(c, "finds", y.find(loose, id, 0, 0, y.at(19.5, 40.2), map[string]any{"accuracy_m": 3.03}))
		s.make(c, "finds", y.find(vague, id, 0, 0, y.at(4.5, 10), map[string]any{"found_at": "2026-05-05T08:00:00-04:00"}))
		s.make(c, "finds", y.find(placed, id, 3, 4, y.at(7.5, 3), nil))
		g := s.as("viewer").do("GET", itemAt("blocks", id)+"/unplaced-finds", nil)
		list := g.json(t)["finds"].([]any)
		if g.status != 200 || len(list) != 2 {
			t.Fatalf("%d %s", g.status, g.body)
		}
		newest, older := list[0].(map[string]any), list[1].(map[string]any)
		if newest["id"] != string(vague) || newest["says"] != "" || len(newest["plants"].([]any)) != 3 {
			t.Errorf("a fix without accuracy: %v", newest)
		}
		if older["id"] != string(loose) || older["says"] != "near row 7 (55 %)" {
			t.Errorf("a poor fix: %v", older)
		}
		if p := c.do("GET", itemAt("finds", loose), nil).json(t)["properties"].(map[string]any); p["row"] != nil || p["plant"] != nil {
			t.Errorf("the guess stands in the record: %v", p)
		}
		// Once somebody says which, it is off the list.
		path := itemAt("finds", loose)
		if g := c.do("PUT", path, y.find(loose, id, 7, 41, y.at(19.5, 40.2), map[string]any{"accuracy_m": 3.03}), "If-Match", c.do("GET", path, nil).header.Get("ETag")); g.status != 200 {
			t.Fatal(g.status)
		}
		if left := c.do("GET", itemAt("blocks", id)+"/unplaced-finds", nil).json(t)["finds"].([]any); len(left) != 1 {
			t.Errorf("afterwards: %v", left)
		}
	})
}

// What takes long ends when its client leaves, and its place is given back.
func TestPlanterLeaves(t *testing.T) {
	s, y := newSite(t), newYard(t)
	c := s.as("owner")
	id := s.ids.New()
	s.make(c, "blocks", y.block(id, y.rectangle(0, 0, 30, 100)))
	for range cap(s.srv.heavy) {
		s.srv.heavy <- struct{}{}
	}
	p := y.at(5, 5)
	for _, r := range []*http.Request{
		c.request("POST", "/farms/mine/layouts/compare", map[string]any{"block": id, "row_spacing_m": []float64{3}, "plant_spacing_m": []float64{1}, "sweep_deg": 1}),
		c.request("POST", "/farms/mine/layouts/revise", map[string]any{"block": id, "row_spacing_m": 3, "plant_spacing_m": 1}),
		c.request("GET", fmt.Sprintf("%s/near?lon=%v&lat=%v", itemAt("blocks", id), p[0], p[1]), nil),
		c.request("GET", itemAt("blocks", id)+"/unplaced-finds", nil),
	} {
		ctx, leave := context.WithCancel(context.Background())
		done := make(chan struct{})
		go func() {
			s.srv.ServeHTTP(discard{http.Header{}}, r.WithContext(ctx))
			close(done)
		}()
		leave()
		select {
		case <-done:
		case <-time.After(2 * time.Second):
			t.Fatalf("%s goes on for a client that left", r.URL)
		}
	}
}
