package storetest

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/records"
)

func box(west, south, east, north float64) *geo.Box {
	return &geo.Box{Min: orb.Point{west, south}, Max: orb.Point{east, north}}
}

func testPaging(t *testing.T, s Store) {
	farm(t, s, "f")
	// Ids whose byte order is not the order they came in, digits before letters.
	order := []records.ID{
		"01900000-0000-7000-8000-000000000000", "01900000-0000-7000-8000-00000000000a", "01900000-0000-7000-8fff-ffffffffffff",
		"01900000-0000-7000-bfff-ffffffffffff", "01900000-0000-7fff-8000-000000000000", "0190ffff-0000-7000-8000-000000000000",
		"ffffffff-ffff-7fff-bfff-ffffffffffff",
	}
	for _, i := range []int{4, 0, 6, 2, 5, 1, 3} {
		must(t, s, "f", put(order[i], 0, find(home, fmt.Sprintf(`{"i":%d}`, i))))
	}
	for _, within := range []*geo.Box{nil, box(-91, 38, -90, 39)} {
		view(t, s, "f", func(r records.Reader) {
			for limit := 0; limit <= 8; limit++ {
				var got []records.ID
				q := records.Query{Limit: limit, Box: within}
				for pages := 1; ; pages++ {
					page := list(t, r, records.Finds, q)
					got = append(got, idsOf(page.Revisions)...)
					if limit > 0 && len(page.Revisions) > limit || pages > 10 {
						t.Fatalf("limit %d: page %d of %d records", limit, pages, len(page.Revisions))
					}
					if !page.More {
						break
					}
					q.After = page.Revisions[len(page.Revisions)-1].ID
				}
				if !slices.Equal(got, order) {
					t.Errorf("limit %d, box %v: got %v, want %v", limit, within, got, order)
				}
			}
			page := list(t, r, records.Finds, records.Query{After: order[6]})
			if len(page.Revisions) != 0 || page.More {
				t.Errorf("after the last: %+v", page)
			}
			page = list(t, r, records.Finds, records.Query{After: "01900000-0000-7000-8000-000000000001", Limit: 1})
			if len(page.Revisions) != 1 || page.Revisions[0].ID != order[1] || !page.More {
				t.Errorf("after an id that is not there: %+v", page)
			}
			if page := list(t, r, records.Blocks, records.Query{Limit: 5}); len(page.Revisions) != 0 || page.More {
				t.Errorf("an empty kind: %+v", page)
			}
		})
	}
}

func testPagingStable(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(20)
	var start []records.ID
	for range 40 {
		id := g.New()
		start = append(start, id)
		must(t, s, "f", put(id, 0, find(home, `{}`)))
	}
	others := ids(21) // of the same millisecond: they fall between
	var got []records.ID
	q := records.Query{Limit: 7}
	for {
		var page records.Page
		view(t, s, "f", func(r records.Reader) { page = list(t, r, records.Finds, q) })
		got = append(got, idsOf(page.Revisions)...)
		if !page.More {
			break
		}
		q.After = page.Revisions[len(page.Revisions)-1].ID
		must(t, s, "f", put(others.New(), 0, find(home, `{}`)))
	}
	seen := map[records.ID]int{}
	for _, id := range got {
		seen[id]++
	}
	for _, id := range start {
		if seen[id] != 1 {
			t.Errorf("%s, there from the start, came %d times", id, seen[id])
		}
	}
	if !slices.Equal(got, sorted(got)) {
		t.Errorf("not in order: %v", got)
	}
}

func testBoxes(t *testing.T, s Store) {
	farm(t, s, "f")
	square := orb.Ring{{10, 10}, {20, 10}, {20, 20}, {10, 20}, {10, 10}}
	hole := orb.Ring{{12, 12}, {12, 18}, {18, 18}, {18, 12}, {12, 12}}
	near := math.Nextafter(-90.25, -91)
	for i, c := range []struct {
		name  string
		shape orb.Geometry
		box   *geo.Box
		want  bool
	}{
		{"point inside", home, box(-91, 38, -90, 39), true},
		{"point on the edge", orb.Point{-90, 38.5}, box(-91, 38, -90, 39), true},
		{"point on the corner", orb.Point{-91, 39}, box(-91, 38, -90, 39), true},
		{"point outside", orb.Point{-90, 40}, box(-91, 38, -90, 39), false},
		{"box that is the point", home, box(home[0], home[1], home[0], home[1]), true},
		// 32-bit boxes of an R*Tree widen longitude 90 by up to 7.6e-6 degrees.
		{"outside by one bit", orb.Point{near, 38.75}, box(-90.25, 38, -90, 39), false},
		{"on the edge to the bit", orb.Point{near, 38.75}, box(near, 38, -90, 39), true},
		{"outside by a tenth of a millimetre", orb.Point{-90.250000001, 38.75}, box(-90.25, 38, -90, 39), false},
		{"line through", orb.LineString{{0, 0}, {10, 10}}, box(4, 4, 5, 5), true},
		{"line past the corner", orb.LineString{{0, 1.5}, {1.5, 0}}, box(0, 0, 0.7, 0.7), false},
		{"line that touches the corner", orb.LineString{{0, 2}, {2, 0}}, box(0, 0, 1, 1), true},
		{"line that misses the corner by a bit", orb.LineString{{0, 2}, {2, 0}}, box(0, 0, math.Nextafter(1, 0), 1), false},
		{"line along the edge", orb.LineString{{1, -5}, {1, 5}}, box(0, 0, 1, 1), true},
		{"line whose box meets but not itself", orb.LineString{{0, 0}, {10, 0}, {10, 10}}, box(1, 1, 9, 9), false},
		{"line within", orb.LineString{{1, 1}, {2, 2}}, box(0, 0, 9, 9), true},
		{"second line meets", orb.MultiLineString{{{50, 50}, {51, 51}}, {{1, 1}, {2, 2}}}, box(0, 0, 9, 9), true},
		{"second point meets", orb.MultiPoint{{50, 50}, {1, 1}}, box(0, 0, 9, 9), true},
		{"points around", orb.MultiPoint{{-1, -1}, {10, 10}}, box(0, 0, 9, 9), false},
		{"polygon around the box", orb.Polygon{square}, box(14, 14, 16, 16), true},
		{"polygon within the box", orb.Polygon{square}, box(0, 0, 30, 30), true},
		{"polygon touched at its edge", orb.Polygon{square}, box(20, 12, 25, 13), true},
		{"polygon touched at its corner", orb.Polygon{square}, box(20, 20, 25, 25), true},
		{"polygon apart", orb.Polygon{square}, box(math.Nextafter(20, 21), 12, 25, 13), false},
		{"in the hole", orb.Polygon{square, hole}, box(14, 14, 16, 16), false},
		{"touching the hole's edge", orb.Polygon{square, hole}, box(14, 14, 18, 16), true},
		{"in the hole, but for the second polygon", orb.MultiPolygon{{square, hole}, {{{15, 15}, {15.5, 15}, {15.5, 15.5}, {15, 15}}}}, box(14, 14, 16, 16), true},
		{"polygon's notch", orb.Polygon{{{0, 0}, {10, 0}, {10, 10}, {5, 1}, {0, 10}, {0, 0}}}, box(4.5, 8, 5.5, 9), false},
		{"collection", orb.Collection{orb.Point{50, 50}, orb.Polygon{square}}, box(14, 14, 16, 16), true},
		{"no shape", nil, box(-180, -90, 180, 90), false},
		{"across the antimeridian, east", orb.Point{179.5, 0}, box(179, -1, -179, 1), true},
		{"across the antimeridian, west", orb.Point{-179.5, 0}, box(179, -1, -179, 1), true},
		{"not across the antimeridian", orb.Point{0, 0}, box(179, -1, -179, 1), false},
		{"the whole world", orb.Point{180, 90}, box(-180, -90, 180, 90), true},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := records.FarmID(fmt.Sprintf("f%d", i))
			farm(t, s, f)
			must(t, s, f, put(ids(22).New(), 0, records.Record{Geometry: geo.Geometry{Flat: c.shape}}))
			view(t, s, f, func(r records.Reader) {
				q := records.Query{Box: c.box}
				got := len(list(t, r, records.Finds, q).Revisions) == 1
				n, err := r.Count(records.Finds, q)
				if err != nil {
					t.Fatal(err)
				}
				if got != c.want || (n == 1) != c.want {
					t.Errorf("%v in %v: listed %v, counted %d, want %v", c.shape, *c.box, got, n, c.want)
				}
				if n, err := r.Count(records.Blocks, q); n != 0 || err != nil {
					t.Errorf("another kind: %d, %v", n, err)
				}
			})
		})
	}
}

// testManyInBox holds more records than any way of narrowing takes in one go.
func testManyInBox(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(23)
	const side = 100 // side * side records on a grid of whole degrees / 10
	var batch []records.Write
	for x := range side {
		for y := range side {
			batch = append(batch, put(g.New(), 0, find(orb.Point{float64(x) / 10, float64(y) / 10}, fmt.Sprintf(`{"parity":"%d"}`, (x+y)%2))))
		}
	}
	must(t, s, "f", batch...)
	view(t, s, "f", func(r records.Reader) {
		for _, c := range []struct {
			name string
			q    records.Query
			want int
		}{
			{"all", records.Query{Box: box(-1, -1, 11, 11)}, side * side},
			{"all of the grid, edges included", records.Query{Box: box(0, 0, 9.9, 9.9)}, side * side},
			{"most", records.Query{Box: box(0, 0, 9.85, 9.85)}, 99 * 99},
			{"few", records.Query{Box: box(0.95, 0.95, 2, 2)}, 11 * 11},
			{"most of one parity", records.Query{Box: box(0, 0, 9.9, 9.9), Equal: map[string]string{"parity": "1"}}, side * side / 2},
		} {
			n, err := r.Count(records.Finds, c.q)
			if n != c.want || err != nil {
				t.Errorf("%s: Count %d, %v, want %d", c.name, n, err, c.want)
			}
			var got []records.ID
			for q := c.q; ; {
				q.Limit = 1000
				page := list(t, r, records.Finds, q)
				got = append(got, idsOf(page.Revisions)...)
				if !page.More {
					break
				}
				q.After = got[len(got)-1]
			}
			if len(got) != c.want || !slices.Equal(got, sorted(got)) || len(slices.Compact(got)) != c.want {
				t.Errorf("%s: %d listed over pages, want %d in order, each once", c.name, len(got), c.want)
			}
		}
	})
}

func testSpans(t *testing.T, s Store) {
	farm(t, s, "f")
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	g := ids(24)
	for i, c := range []struct {
		name       string
		kind       records.Kind
		properties string
		from, to   string
		want       bool
	}{
		{"instant inside", records.Finds, `{"found_at":"2026-05-01T12:00:00Z"}`, "2026-05-01T00:00:00Z", "2026-05-02T00:00:00Z", true},
		{"instant at the start", records.Finds, `{"found_at":"2026-05-01T12:00:00Z"}`, "2026-05-01T12:00:00Z", "", true},
		{"instant at the end", records.Finds, `{"found_at":"2026-05-01T12:00:00Z"}`, "", "2026-05-01T12:00:00Z", true},
		{"instant before", records.Finds, `{"found_at":"2026-05-01T12:00:00Z"}`, "2026-05-01T12:00:00.000001Z", "", false},
		{"instant after", records.Finds, `{"found_at":"2026-05-01T12:00:00Z"}`, "", "2026-05-01T11:59:59.999999Z", false},
		{"zone counts", records.Finds, `{"found_at":"2026-05-01T23:30:00-05:00"}`, "2026-05-02T04:30:00Z", "2026-05-02T04:30:00Z", true},
		{"without a time", records.Finds, `{}`, "2026-05-01T00:00:00Z", "2026-05-02T00:00:00Z", true},
		{"unreadable time", records.Finds, `{"found_at":"yesterday"}`, "2026-05-01T00:00:00Z", "2026-05-02T00:00:00Z", true},
		{"time that is a number", records.Finds, `{"found_at":5}`, "2026-05-01T00:00:00Z", "2026-05-02T00:00:00Z", true},
		{"span around", records.Visits, `{"started_at":"2026-05-01T00:00:00Z","ended_at":"2026-05-03T00:00:00Z"}`, "2026-05-02T00:00:00Z", "2026-05-02T01:00:00Z", true},
		{"span that ends as it begins", records.Visits, `{"started_at":"2026-05-01T00:00:00Z","ended_at":"2026-05-03T00:00:00Z"}`, "2026-05-03T00:00:00Z", "", true},
		{"span before", records.Visits, `{"started_at":"2026-05-01T00:00:00Z","ended_at":"2026-05-03T00:00:00Z"}`, "2026-05-03T00:00:01Z", "", false},
		{"span turned round", records.Visits, `{"started_at":"2026-05-03T00:00:00Z","ended_at":"2026-05-01T00:00:00Z"}`, "2026-05-02T00:00:00Z", "2026-05-02T00:00:00Z", true},
		{"a day, its last microsecond", records.Removals, `{"done_on":"2026-05-01"}`, "2026-05-01T23:59:59.999999Z", "", true},
		{"a day, the next", records.Removals, `{"done_on":"2026-05-01"}`, "2026-05-02T00:00:00Z", "", false},
		{"a leap day", records.Removals, `{"done_on":"2028-02-29"}`, "2028-02-29T12:00:00Z", "2028-02-29T12:00:00Z", true},
		{"no such day", records.Removals, `{"done_on":"2026-02-29"}`, "2027-01-01T00:00:00Z", "", true},
		{"sample, sent to result", records.Samples, `{"sent_on":"2026-05-01","result_on":"2026-05-09"}`, "2026-05-05T00:00:00Z", "2026-05-05T01:00:00Z", true},
		{"year 1", records.Finds, `{"found_at":"0001-01-01T00:00:01Z"}`, "", "1900-01-01T00:00:00Z", true},
		{"year 9999", records.Finds, `{"found_at":"9999-12-31T23:59:59Z"}`, "2100-01-01T00:00:00Z", "", true},
		{"blocks last", records.Blocks, `{"planted_on":"2019-04-01"}`, "2026-05-02T00:00:00Z", "", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := records.FarmID(fmt.Sprintf("f%d", i))
			farm(t, s, f)
			must(t, s, f, records.Write{Kind: c.kind, ID: g.New(), Record: find(home, c.properties)})
			var q records.Query
			if c.from != "" {
				q.From = at(c.from)
			}
			if c.to != "" {
				q.To = at(c.to)
			}
			view(t, s, f, func(r records.Reader) {
				for _, q.Box = range []*geo.Box{nil, box(-180, -90, 180, 90)} {
					got := len(list(t, r, c.kind, q).Revisions) == 1
					n, err := r.Count(c.kind, q)
					if got != c.want || (n == 1) != c.want || err != nil {
						t.Errorf("%s in %q to %q: listed %v, counted %d, %v, want %v", c.properties, c.from, c.to, got, n, err, c.want)
					}
				}
			})
		})
	}
	t.Run("a track's measures", func(t *testing.T) {
		line := geo.Geometry{Flat: orb.LineString{{0, 0}, {1, 1}}, Measures: []float64{1777636800, 1777640400.5}} // 2026-05-01T12:00:00Z and an hour on
		must(t, s, "f", records.Write{Kind: records.Tracks, ID: g.New(), Record: records.Record{Geometry: line}})
		view(t, s, "f", func(r records.Reader) {
			for text, want := range map[string]int{"2026-05-01T12:30:00Z": 1, "2026-05-01T13:00:00.5Z": 1, "2026-05-01T13:00:00.500001Z": 0, "2026-05-01T11:59:59Z": 0} {
				if n, err := r.Count(records.Tracks, records.Query{From: at(text), To: at(text)}); n != want || err != nil {
					t.Errorf("at %s: %d, %v, want %d", text, n, err, want)
				}
			}
		})
	})
}

func testEqual(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(25)
	block, other := g.New(), g.New()
	for i, c := range []struct {
		name, properties string
		equal            map[string]string
		want             bool
	}{
		{"equal", `{"state":"confirmed"}`, map[string]string{"state": "confirmed"}, true},
		{"unequal", `{"state":"suspected"}`, map[string]string{"state": "confirmed"}, false},
		{"longer", `{"state":"confirmed "}`, map[string]string{"state": "confirmed"}, false},
		{"absent", `{}`, map[string]string{"state": ""}, false},
		{"empty text", `{"state":""}`, map[string]string{"state": ""}, true},
		{"null is not empty", `{"state":null}`, map[string]string{"state": ""}, false},
		{"number is no text", `{"row":5}`, map[string]string{"row": "5"}, false},
		{"deeper down does not count", `{"a":{"state":"confirmed"}}`, map[string]string{"state": "confirmed"}, false},
		{"both", `{"a":"1","b":"2"}`, map[string]string{"a": "1", "b": "2"}, true},
		{"one of two", `{"a":"1","b":"3"}`, map[string]string{"a": "1", "b": "2"}, false},
		{"escapes", `{"wo\"rds":"a\\b\"c\u0000\n<é>🫐"}`, map[string]string{`wo"rds`: "a\\b\"c\x00\n<é>🫐"}, true},
		{"case counts", `{"state":"Confirmed"}`, map[string]string{"state": "confirmed"}, false},
		{"composed and decomposed differ", `{"n":"é"}`, map[string]string{"n": "e\u0301"}, false},
		{"not text at all", `{"n":"a"}`, map[string]string{"n": "\xff"}, false},
		{"block", `{"block":"` + string(block) + `"}`, map[string]string{"block": string(block)}, true},
		{"other block", `{"block":"` + string(block) + `"}`, map[string]string{"block": string(other)}, false},
		{"block that is no id", `{"block":"B-10"}`, map[string]string{"block": "B-10"}, true},
		{"block and state", `{"block":"` + string(block) + `","state":"x"}`, map[string]string{"block": string(block), "state": "x"}, true},
		{"block and other state", `{"block":"` + string(block) + `","state":"y"}`, map[string]string{"block": string(block), "state": "x"}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := records.FarmID(fmt.Sprintf("f%d", i))
			farm(t, s, f)
			must(t, s, f, put(g.New(), 0, find(home, c.properties)))
			view(t, s, f, func(r records.Reader) {
				for _, within := range []*geo.Box{nil, box(-180, -90, 180, 90)} {
					q := records.Query{Equal: c.equal, Box: within}
					got := len(list(t, r, records.Finds, q).Revisions) == 1
					n, err := r.Count(records.Finds, q)
					if got != c.want || (n == 1) != c.want || err != nil {
						t.Errorf("%s with %q: listed %v, counted %d, %v, want %v", c.properties, c.equal, got, n, err, c.want)
					}
				}
			})
		})
	}
}

func testQueries(t *testing.T, s Store) {
	farm(t, s, "f")
	must(t, s, "f", records.Write{Kind: records.Products, ID: ids(26).New(), Record: records.Record{Properties: json.RawMessage(`{}`)}})
	now := time.Now()
	view(t, s, "f", func(r records.Reader) {
		for name, q := range map[string]records.Query{
			"negative limit":     {Limit: -1},
			"cursor no id":       {After: "zzz"},
			"span turned round":  {From: now, To: now.Add(-time.Second)},
			"south over north":   {Box: box(0, 1, 1, 0)},
			"box not a number":   {Box: box(math.NaN(), 0, 1, 1)},
			"box without an end": {Box: box(0, 0, math.Inf(1), 1)},
		} {
			_, err := r.List(records.Products, q)
			wantKind(t, "List, "+name, err, fault.Invalid)
			_, err = r.Count(records.Products, q)
			wantKind(t, "Count, "+name, err, fault.Invalid)
		}
		if _, _, err := r.Since(0, -1); !fault.Is(err, fault.Invalid) {
			t.Errorf("Since with a negative limit: %v, want Invalid", err)
		}
		if n, err := r.Count("no kind", records.Query{}); n != 0 || err != nil {
			t.Errorf("Count of what is no kind: %d, %v, want 0", n, err)
		}
	})
}

// testBlocks: the property block is one of several; none at all admits nothing.
func testBlocks(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(27)
	a, b, c := g.New(), g.New(), g.New()
	for _, block := range []records.ID{a, b, b, c, ""} {
		must(t, s, "f", put(g.New(), 0, find(home, `{"block":"`+string(block)+`"}`)))
	}
	view(t, s, "f", func(r records.Reader) {
		for _, test := range []struct {
			name   string
			blocks []records.ID
			want   int
		}{
			{"not narrowed", nil, 5},
			{"one", []records.ID{a}, 1},
			{"two", []records.ID{a, b}, 3},
			{"one of no record", []records.ID{g.New()}, 0},
			{"what is no id", []records.ID{"x"}, 0},
			{"none", []records.ID{}, 0},
		} {
			for _, within := range []*geo.Box{nil, box(-180, -90, 180, 90)} {
				q := records.Query{Blocks: test.blocks, Box: within}
				got := list(t, r, records.Finds, q).Revisions
				n, err := r.Count(records.Finds, q)
				if len(got) != test.want || n != test.want || err != nil || !slices.IsSortedFunc(got, func(x, y records.Revision) int { return strings.Compare(string(x.ID), string(y.ID)) }) {
					t.Errorf("%s: listed %d, counted %d, %v, want %d by id", test.name, len(got), n, err, test.want)
				}
			}
		}
	})
}
