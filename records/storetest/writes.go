package storetest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/records"
)

func testFarms(t *testing.T, s Store) {
	if got, err := s.Farms(bg); err != nil || len(got) != 0 {
		t.Errorf("Farms of an empty store: %v, %v", got, err)
	}
	for _, id := range []records.FarmID{"b-10", "b1", "a"} {
		farm(t, s, id)
	}
	got, err := s.Farms(bg)
	if err != nil || len(got) != 3 || got[0].ID != "a" || got[1].ID != "b-10" || got[2].ID != "b1" {
		t.Errorf("Farms: %+v, %v, want a, b-10, b1 (byte order)", got, err)
	}
	want := records.Farm{ID: "whole", Name: "Ñandú & Söhne 🫐", Zone: "Europe/Madrid",
		Created: time.Date(2026, 2, 3, 4, 5, 6, 123456789, time.FixedZone("", 3600))}
	if err := s.CreateFarm(bg, want); err != nil {
		t.Fatal(err)
	}
	want.Created = time.Date(2026, 2, 3, 3, 5, 6, 123456000, time.UTC)
	view(t, s, "whole", func(r records.Reader) {
		if got := r.Farm(); got != want {
			t.Errorf("Farm: got %+v, want %+v", got, want)
		}
		if r.Sequence() != 0 {
			t.Errorf("Sequence of an empty farm: %d", r.Sequence())
		}
	})
	wantKind(t, "a farm's id twice", s.CreateFarm(bg, records.Farm{ID: "a", Zone: "UTC"}), fault.Conflict)
	for _, bad := range []records.Farm{
		{ID: "", Zone: "UTC"}, {ID: "A", Zone: "UTC"}, {ID: "-a", Zone: "UTC"}, {ID: "a-", Zone: "UTC"}, {ID: "a_b", Zone: "UTC"},
		{ID: records.FarmID(strings.Repeat("a", 41)), Zone: "UTC"}, {ID: "c"}, {ID: "c", Zone: "Local"}, {ID: "c", Zone: "Mars/Base"},
	} {
		wantKind(t, fmt.Sprintf("CreateFarm(%+v)", bad), s.CreateFarm(bg, bad), fault.Invalid)
	}
	wantKind(t, "View of no farm", s.View(bg, "none", func(records.Reader) error { return nil }), fault.Missing)
	_, err = s.Write(bg, "none", nil)
	wantKind(t, "Write to no farm", err, fault.Missing)
	mine := errors.New("mine")
	if err := s.View(bg, "a", func(records.Reader) error { return mine }); !errors.Is(err, mine) {
		t.Errorf("View gives %v, want the error of f", err)
	}
}

func testWrites(t *testing.T, s Store) {
	farm(t, s, "f")
	id := ids(1).New()
	first := write(t, s, "f", put(id, 0, find(home, `{"state":"suspected","severity":2}`)))[0]
	if first.Err != nil || !first.Created || first.Repeated || first.Revision.Number != 1 || first.Revision.Sequence != 1 {
		t.Fatalf("create: %+v", first)
	}
	if r := first.Revision; r.Kind != records.Finds || r.ID != id || r.By != author || r.Deleted || r.At.IsZero() || r.At.Location() != time.UTC {
		t.Errorf("create gives %+v", r)
	}
	// The same content in other words: members in another order, white space, another author.
	again := put(id, 0, find(home, ` {"severity": 2, "state": "suspe\u0063ted"} `))
	again.By = records.Author{Name: "Somebody else"}
	o := write(t, s, "f", again)[0]
	if o.Err != nil || !o.Repeated || o.Created {
		t.Errorf("create twice: %+v", o)
	}
	wantRevision(t, "create twice", o.Revision, first.Revision)

	o = write(t, s, "f", put(id, 0, find(home, `{"state":"confirmed"}`)))[0]
	wantKind(t, "create with other content", o.Err, fault.Conflict)
	if o.Current != 1 || o.Revision.Number != 0 {
		t.Errorf("conflict: Current %d, Revision %+v, want 1 and none", o.Current, o.Revision)
	}
	second := must(t, s, "f", put(id, 1, find(home, `{"state":"confirmed"}`)))[0]
	if second.Number != 2 || second.Sequence != 2 {
		t.Errorf("replace: %+v", second)
	}
	o = write(t, s, "f", put(id, 1, find(home, `{"state":"confirmed"}`)))[0]
	wantRevision(t, "replace twice", o.Revision, second)
	o = write(t, s, "f", put(id, 1, find(home, `{"state":"refuted"}`)))[0]
	wantKind(t, "replace what was replaced", o.Err, fault.Stale)
	if o.Current != 2 {
		t.Errorf("stale: Current %d, want 2", o.Current)
	}
	o = write(t, s, "f", put(id, 7, find(home, `{"state":"refuted"}`)))[0]
	wantKind(t, "replace what is not yet", o.Err, fault.Stale)
	// The late repeat of the first write, after a second: answered as then.
	o = write(t, s, "f", put(id, 0, find(home, `{"state":"suspected","severity":2}`)))[0]
	if !o.Repeated {
		t.Errorf("late repeat: %+v", o)
	}
	wantRevision(t, "late repeat", o.Revision, first.Revision)
	// Equal content on the current revision is a new revision: somebody said so again.
	third := must(t, s, "f", put(id, 2, find(home, `{"state":"confirmed"}`)))[0]
	if third.Number != 3 {
		t.Errorf("same content again on the current base: %+v", third)
	}
	o = write(t, s, "f", put(ids(9).New(), 3, find(home, `{}`)))[0]
	wantKind(t, "replace nothing", o.Err, fault.Stale)
	if o.Current != 0 {
		t.Errorf("replace nothing: Current %d, want 0", o.Current)
	}
	// One id may stand in two kinds.
	must(t, s, "f", records.Write{Kind: records.Visits, ID: id, Record: records.Record{Properties: json.RawMessage(`{}`)}, By: author})
	view(t, s, "f", func(r records.Reader) {
		if r.Sequence() != 4 {
			t.Errorf("Sequence %d, want 4: refusals and repeats store nothing", r.Sequence())
		}
		got, err := r.Current(records.Finds, id)
		if err != nil {
			t.Fatal(err)
		}
		wantRevision(t, "Current", got, third)
	})
}

func testRefusals(t *testing.T, s Store) {
	farm(t, s, "f")
	id := ids(2).New()
	good := put(id, 0, find(home, `{}`))
	for _, c := range []struct {
		name string
		bend func(*records.Write)
	}{
		{"id of version 4", func(w *records.Write) { w.ID = "0190b5a2-7c3e-4a11-8f00-3b9f6c2d1e4a" }},
		{"id in upper case", func(w *records.Write) { w.ID = records.ID(strings.ToUpper(string(w.ID))) }},
		{"no id", func(w *records.Write) { w.ID = "" }},
		{"unknown kind", func(w *records.Write) { w.Kind = "find" }},
		{"base below any", func(w *records.Write) { w.Base = -2 }},
		{"properties are a list", func(w *records.Write) { w.Record.Properties = json.RawMessage(`[1]`) }},
		{"properties are broken", func(w *records.Write) { w.Record.Properties = json.RawMessage(`{"a":`) }},
		{"a name twice", func(w *records.Write) { w.Record.Properties = json.RawMessage(`{"a":1,"a":2}`) }},
		{"longitude not a number", func(w *records.Write) { w.Record.Geometry.Flat = orb.Point{math.NaN(), 1} }},
		{"longitude infinite", func(w *records.Write) { w.Record.Geometry.Flat = orb.Point{math.Inf(1), 1} }},
		{"too few heights", func(w *records.Write) { w.Record.Geometry.Heights = []float64{} }},
		{"a shape that is none", func(w *records.Write) { w.Record.Geometry.Flat = orb.Bound{Max: orb.Point{1, 1}} }},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := good
			c.bend(&w)
			o := write(t, s, "f", w)[0]
			if k := fault.KindOf(o.Err); o.Err == nil || k != fault.Invalid && k != fault.Malformed {
				t.Errorf("%+v: Err %v, want Invalid or Malformed", w, o.Err)
			}
		})
	}
	view(t, s, "f", func(r records.Reader) {
		if r.Sequence() != 0 {
			t.Errorf("Sequence %d after refusals, want 0", r.Sequence())
		}
	})
}

func testDeletes(t *testing.T, s Store) {
	farm(t, s, "f")
	id := ids(3).New()
	wantKind(t, "delete nothing", write(t, s, "f", remove(id, 0))[0].Err, fault.Missing)
	wantKind(t, "delete nothing, any", write(t, s, "f", remove(id, records.Any))[0].Err, fault.Missing)
	must(t, s, "f", put(id, 0, find(home, `{"n":1}`)), put(id, 1, find(home, `{"n":2}`)))
	o := write(t, s, "f", remove(id, 1))[0]
	wantKind(t, "delete on a stale base", o.Err, fault.Stale)
	if o.Current != 2 {
		t.Errorf("stale delete: Current %d, want 2", o.Current)
	}
	closing := must(t, s, "f", remove(id, 2))[0]
	if !closing.Deleted || closing.Number != 3 {
		t.Errorf("closing revision: %+v", closing)
	}
	for _, base := range []int{2, records.Any} {
		o = write(t, s, "f", remove(id, base))[0]
		if o.Err != nil || !o.Repeated {
			t.Errorf("delete twice on base %d: %+v", base, o)
		}
		wantRevision(t, "delete twice", o.Revision, closing)
	}
	wantKind(t, "delete what is deleted", write(t, s, "f", remove(id, 3))[0].Err, fault.Missing)
	view(t, s, "f", func(r records.Reader) {
		_, err := r.Current(records.Finds, id)
		wantKind(t, "Current of a deleted record", err, fault.Missing)
		if n := len(list(t, r, records.Finds, records.Query{}).Revisions); n != 0 {
			t.Errorf("a deleted record is listed %d times", n)
		}
		got, err := r.At(records.Finds, id, 3)
		if err != nil {
			t.Fatal(err)
		}
		wantRevision(t, "At of the closing revision", got, closing)
	})
	wantKind(t, "create over a deleted record", write(t, s, "f", put(id, 0, find(home, `{"n":4}`)))[0].Err, fault.Conflict)
	o = write(t, s, "f", put(id, 0, find(home, `{"n":1}`)))[0]
	if !o.Repeated || o.Revision.Number != 1 {
		t.Errorf("late repeat of a create after the delete: %+v, want a repeat that brings nothing back", o)
	}
	back := must(t, s, "f", put(id, 3, find(home, `{"n":1}`)))[0]
	if back.Number != 4 || back.Deleted {
		t.Errorf("brought back: %+v", back)
	}
	view(t, s, "f", func(r records.Reader) {
		box := geo.Box{Min: home, Max: home}
		page := list(t, r, records.Finds, records.Query{Box: &box})
		if len(page.Revisions) != 1 {
			t.Fatalf("brought back: %d in its box, want 1", len(page.Revisions))
		}
		wantRevision(t, "brought back", page.Revisions[0], back)
	})
}

func testAny(t *testing.T, s Store) {
	farm(t, s, "f")
	id := ids(4).New()
	first := write(t, s, "f", put(id, records.Any, find(home, `{"n":1}`)))[0]
	if first.Err != nil || !first.Created {
		t.Fatalf("create on any: %+v", first)
	}
	o := write(t, s, "f", put(id, records.Any, find(home, `{"n":1}`)))[0]
	if !o.Repeated {
		t.Errorf("equal to the current one on any: %+v, want a repeat", o)
	}
	must(t, s, "f", put(id, records.Any, find(home, `{"n":2}`)))
	if r := must(t, s, "f", put(id, records.Any, find(home, `{"n":1}`)))[0]; r.Number != 3 {
		t.Errorf("back to older content on any: %+v, want revision 3", r)
	}
	must(t, s, "f", remove(id, records.Any))
	if r := must(t, s, "f", put(id, records.Any, find(home, `{"n":1}`)))[0]; r.Number != 5 {
		t.Errorf("brought back on any: %+v, want revision 5", r)
	}
}

func testBatch(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(5)
	a, b, c := g.New(), g.New(), g.New()
	batch := []records.Write{
		put(a, 0, find(home, `{"n":1}`)),
		put(a, 0, find(home, `{"n":2}`)), // conflict with the one before it
		put("x", 0, find(home, `{}`)),    // no id
		put(a, 1, find(home, `{"n":3}`)), // on what the batch itself stored
		remove(c, 0),                     // nothing there
		put(b, 0, find(home, `{"n":4}`)),
	}
	outcomes := write(t, s, "f", batch...)
	for i, want := range []fault.Kind{-1, fault.Conflict, fault.Invalid, -1, fault.Missing, -1} {
		switch err := outcomes[i].Err; {
		case want == -1 && err != nil:
			t.Errorf("write %d: %v, want stored", i+1, err)
		case want != -1:
			wantKind(t, fmt.Sprintf("write %d", i+1), err, want)
		}
	}
	again := write(t, s, "f", batch...)
	for i := range batch {
		if outcomes[i].Err == nil {
			if !again[i].Repeated {
				t.Errorf("write %d of the repeated batch: %+v, want a repeat", i+1, again[i])
			}
			wantRevision(t, "repeated batch", again[i].Revision, outcomes[i].Revision)
		} else if fault.KindOf(again[i].Err) != fault.KindOf(outcomes[i].Err) {
			t.Errorf("write %d of the repeated batch: %v, first %v", i+1, again[i].Err, outcomes[i].Err)
		}
	}
	view(t, s, "f", func(r records.Reader) {
		if r.Sequence() != 3 {
			t.Errorf("Sequence %d, want 3", r.Sequence())
		}
	})
	write(t, s, "f")
}

func testTogether(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(6)
	a, b, c := g.New(), g.New(), g.New()
	first := must(t, s, "f", put(a, 0, find(home, `{"n":1}`)))[0]
	together := func(writes ...records.Write) []records.Outcome {
		outcomes, err := s.WriteTogether(bg, "f", writes)
		if err != nil || len(outcomes) != len(writes) {
			t.Fatalf("WriteTogether: %d outcomes, %v", len(outcomes), err)
		}
		return outcomes
	}
	outcomes := together(
		put(b, 0, find(home, `{"n":2}`)),
		put(a, 1, find(home, `{"n":3}`)),
		put(a, 0, find(home, `{"n":4}`)), // conflict
		put(c, 0, find(home, `{"n":5}`)),
	)
	for i, o := range outcomes {
		if i == 2 {
			wantKind(t, "the refused write", o.Err, fault.Conflict)
		} else if o.Err != nil || o.Revision.Number != 0 || o.Created {
			t.Errorf("write %d of a batch that was undone: %+v, want nothing", i+1, o)
		}
	}
	view(t, s, "f", func(r records.Reader) {
		if r.Sequence() != 1 {
			t.Errorf("Sequence %d after a batch that was undone, want 1", r.Sequence())
		}
		_, err := r.Current(records.Finds, b)
		wantKind(t, "a record of the undone batch", err, fault.Missing)
		now, err := r.Current(records.Finds, a)
		if err != nil {
			t.Fatal(err)
		}
		wantRevision(t, "a record the undone batch would have changed", now, first)
	})
	for i, o := range together(put(b, 0, find(home, `{"n":2}`)), remove(a, 1)) {
		if o.Err != nil || o.Revision.Sequence != int64(i+2) {
			t.Errorf("write %d of a good batch: %+v, %v", i+1, o, o.Err)
		}
	}
	checkChain(t, s, "f")
}

func testFence(t *testing.T, s Store) {
	farm(t, s, "one")
	farm(t, s, "two")
	id := ids(6).New()
	must(t, s, "one", put(id, 0, find(home, `{"of":"one"}`)))
	view(t, s, "two", func(r records.Reader) {
		_, err := r.Current(records.Finds, id)
		wantKind(t, "Current through the fence", err, fault.Missing)
		_, err = r.Revisions(records.Finds, id)
		wantKind(t, "Revisions through the fence", err, fault.Missing)
		box := geo.Box{Min: orb.Point{-180, -90}, Max: orb.Point{180, 90}}
		for _, q := range []records.Query{{}, {Box: &box}} {
			if n, err := r.Count(records.Finds, q); n != 0 || err != nil {
				t.Errorf("Count through the fence: %d, %v", n, err)
			}
		}
		if got, _, err := r.Since(0, 0); len(got) != 0 || err != nil {
			t.Errorf("Since through the fence: %v, %v", got, err)
		}
	})
	r := must(t, s, "two", put(id, 0, find(home, `{"of":"two"}`)))[0]
	if r.Number != 1 || r.Sequence != 1 {
		t.Errorf("the same id on another farm: %+v, want revision 1, sequence 1", r)
	}
	view(t, s, "one", func(r records.Reader) {
		got, err := r.Current(records.Finds, id)
		if err != nil || string(got.Record.Properties) != `{"of":"one"}` {
			t.Errorf("the other farm's record: %s, %v", got.Record.Properties, err)
		}
	})
}

func testContent(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(7)
	nan := math.NaN()
	square := orb.Ring{{0, 0}, {4, 0}, {4, 4}, {0, 4}, {0, 0}}
	hole := orb.Ring{{1, 1}, {1, 2}, {2, 2}, {2, 1}, {1, 1}}
	for _, c := range []struct {
		name       string
		shape      geo.Geometry
		properties string
		want       string
	}{
		{"no shape", geo.Geometry{}, `{}`, `{}`},
		{"nothing at all", geo.Geometry{}, ``, `{}`},
		{"null", geo.Geometry{}, `null`, `{}`},
		{"unknown properties", geo.Geometry{Flat: home}, `{"zzz":{"b":[1,{"d":null,"c":true}],"a":""},"block":5}`, `{"block":5,"zzz":{"a":"","b":[1,{"c":true,"d":null}]}}`},
		{"64-bit numbers", geo.Geometry{Flat: home}, `{"a":9223372036854775807,"b":-9223372036854775808,"c":18446744073709551615,"d":0.1000000000000000055511151231257827}`,
			`{"a":9223372036854775807,"b":-9223372036854775808,"c":18446744073709551615,"d":0.1000000000000000055511151231257827}`},
		{"huge and tiny numbers", geo.Geometry{Flat: home}, `{"a":1e400,"b":5e-324,"c":1.0}`, `{"a":1e400,"b":5e-324,"c":1.0}`},
		{"unicode", geo.Geometry{Flat: home}, `{"words":"caña \u00e9 e\u0301 🫐 \u0000 \u2028 <&>"}`, "{\"words\":\"caña é e\u0301 🫐 \\u0000 \u2028 <&>\"}"},
		{"position to the last bit", geo.Geometry{Flat: orb.Point{-90.12345678901234, 5e-324}}, `{}`, `{}`},
		{"height", geo.Geometry{Flat: home, Heights: []float64{-12.5}}, `{}`, `{}`},
		{"heights and times", geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}, {5, 6}}, Heights: []float64{1, nan, 3}, Measures: []float64{1.7e9, 1.7e9 + 0.25, nan}}, `{}`, `{}`},
		{"times only", geo.Geometry{Flat: orb.MultiLineString{{{1, 2}, {3, 4}}, {{5, 6}, {7, 8}}}, Measures: []float64{1, 2, 3, 4}}, `{}`, `{}`},
		{"polygon with a hole", geo.Geometry{Flat: orb.Polygon{square, hole}, Heights: []float64{1, 2, 3, 4, 1, 6, 7, 8, 9, 6}}, `{}`, `{}`},
		{"multipolygon", geo.Geometry{Flat: orb.MultiPolygon{{square, hole}, {{{9, 9}, {10, 9}, {10, 10}, {9, 9}}}}}, `{}`, `{}`},
		{"points", geo.Geometry{Flat: orb.MultiPoint{{1, 2}, {3, 4}}}, `{}`, `{}`},
		{"collection", geo.Geometry{Flat: orb.Collection{orb.Point{1, 2}, orb.LineString{{1, 2}, {3, 4}}}}, `{}`, `{}`},
	} {
		t.Run(c.name, func(t *testing.T) {
			id := g.New()
			w := put(id, 0, records.Record{Geometry: c.shape, Properties: json.RawMessage(c.properties)})
			stored := must(t, s, "f", w)[0]
			view(t, s, "f", func(r records.Reader) {
				got, err := r.Current(records.Finds, id)
				if err != nil {
					t.Fatal(err)
				}
				wantRevision(t, "read back", got, stored)
				if string(got.Record.Properties) != c.want {
					t.Errorf("properties %s: got %s, want %s", c.properties, got.Record.Properties, c.want)
				}
				if g, w := fmt.Sprintf("%T %+v", got.Record.Geometry.Flat, got.Record.Geometry), fmt.Sprintf("%T %+v", c.shape.Flat, c.shape); g != w {
					t.Errorf("shape: got %s, want %s", g, w)
				}
			})
			if o := write(t, s, "f", w)[0]; !o.Repeated {
				t.Errorf("the same again: %+v, want a repeat", o)
			}
		})
	}
	t.Run("a shape without vertices is none", func(t *testing.T) {
		for _, empty := range []orb.Geometry{orb.Polygon{}, orb.Polygon(nil), orb.LineString{}, orb.MultiPoint{}, orb.Collection{}, orb.MultiPolygon{{}}} {
			id := g.New()
			stored := must(t, s, "f", put(id, 0, records.Record{Geometry: geo.Geometry{Flat: empty}}))[0]
			if !stored.Record.Geometry.Empty() {
				t.Errorf("%#v: stored as %#v", empty, stored.Record.Geometry)
			}
		}
	})
	t.Run("what the caller changes later does not matter", func(t *testing.T) {
		id := g.New()
		line, properties := orb.LineString{{1, 2}, {3, 4}}, []byte(`{"a":1}`)
		must(t, s, "f", put(id, 0, records.Record{Geometry: geo.Geometry{Flat: line}, Properties: properties}))
		line[0], properties[2] = orb.Point{9, 9}, 'b'
		view(t, s, "f", func(r records.Reader) {
			got, err := r.Current(records.Finds, id)
			if err != nil || string(got.Record.Properties) != `{"a":1}` || got.Record.Geometry.Flat.(orb.LineString)[0] != (orb.Point{1, 2}) {
				t.Errorf("got %+v, %v", got, err)
			}
		})
	})
	t.Run("who and why", func(t *testing.T) {
		w := put(g.New(), 0, find(home, `{}`))
		w.By = records.Author{Name: "Ñ \x00 '\"; --", Why: "🫐\n" + strings.Repeat("y", 5000)}
		stored := must(t, s, "f", w)[0]
		view(t, s, "f", func(r records.Reader) {
			got, err := r.Current(records.Finds, w.ID)
			if err != nil || got.By != w.By {
				t.Errorf("got %+v, %v, want %+v", got.By, err, w.By)
			}
			wantRevision(t, "who and why", got, stored)
		})
	})
}

func testTimes(t *testing.T, s Store) {
	farm(t, s, "f")
	id := ids(8).New()
	r := must(t, s, "f", put(id, 0, find(home, `{"found_at":"2026-05-01T10:00:00.1234567-05:00"}`)))[0]
	if r.At.Nanosecond()%1000 != 0 || r.At.Location() != time.UTC {
		t.Errorf("At %v: want whole microseconds, UTC", r.At)
	}
	exact := time.Date(2026, 5, 1, 15, 0, 0, 123456000, time.UTC)
	view(t, s, "f", func(r records.Reader) {
		for _, c := range []struct {
			name     string
			from, to time.Time
			want     int
		}{
			{"the very microsecond", exact, exact, 1},
			{"a nanosecond later in the same microsecond", exact.Add(999), exact.Add(999), 1},
			{"the microsecond after", exact.Add(time.Microsecond), time.Time{}, 0},
			{"up to the microsecond before", time.Time{}, exact.Add(-1), 0},
			{"another zone, same instant", exact.In(time.FixedZone("", -5*3600)), exact.In(time.FixedZone("", 7*3600)), 1},
		} {
			if n, err := r.Count(records.Finds, records.Query{From: c.from, To: c.to}); n != c.want || err != nil {
				t.Errorf("%s: %d, %v, want %d", c.name, n, err, c.want)
			}
		}
	})
}

func testSince(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(10)
	a, b := g.New(), g.New()
	stored := must(t, s, "f", put(a, 0, find(home, `{"n":1}`)), put(b, 0, find(home, `{"n":1}`)), put(a, 1, find(home, `{"n":2}`)), remove(b, 1))
	view(t, s, "f", func(r records.Reader) {
		for _, c := range []struct {
			after int64
			limit int
			want  []records.Revision
			more  bool
		}{
			{0, 0, stored, false}, {0, 2, stored[:2], true}, {2, 2, stored[2:], false}, {3, 2, stored[3:], false},
			{4, 2, nil, false}, {99, 0, nil, false}, {-5, 1, stored[:1], true}, {0, 4, stored, false},
		} {
			got, more, err := r.Since(c.after, c.limit)
			if err != nil || more != c.more || len(got) != len(c.want) {
				t.Errorf("Since(%d, %d): %d revisions, more %v, %v; want %d, %v", c.after, c.limit, len(got), more, err, len(c.want), c.more)
				continue
			}
			for i := range got {
				wantRevision(t, fmt.Sprintf("Since(%d, %d)", c.after, c.limit), got[i], c.want[i])
			}
		}
	})
}

func testRevisions(t *testing.T, s Store) {
	farm(t, s, "f")
	id := ids(11).New()
	stored := must(t, s, "f", put(id, 0, find(home, `{"n":1}`)), put(id, 1, find(orb.Point{1, 1}, `{"n":2}`)), remove(id, 2), put(id, 3, find(home, `{"n":4}`)))
	view(t, s, "f", func(r records.Reader) {
		got, err := r.Revisions(records.Finds, id)
		if err != nil || len(got) != 4 {
			t.Fatalf("Revisions: %d, %v, want 4", len(got), err)
		}
		for i := range got {
			wantRevision(t, "Revisions", got[i], stored[i])
			at, err := r.At(records.Finds, id, i+1)
			if err != nil {
				t.Fatal(err)
			}
			wantRevision(t, "At", at, stored[i])
		}
		for _, n := range []int{-1, 0, 5, math.MaxInt32} {
			_, err := r.At(records.Finds, id, n)
			wantKind(t, fmt.Sprintf("At(%d)", n), err, fault.Missing)
		}
		_, err = r.Revisions(records.Finds, "no id")
		wantKind(t, "Revisions of what is no id", err, fault.Missing)
		_, err = r.Current("no kind", id)
		wantKind(t, "Current of what is no kind", err, fault.Missing)
		// The old place no longer counts.
		old := geo.Box{Min: orb.Point{0.5, 0.5}, Max: orb.Point{1.5, 1.5}}
		if n, err := r.Count(records.Finds, records.Query{Box: &old}); n != 0 || err != nil {
			t.Errorf("%d records where one stood two revisions ago, %v", n, err)
		}
	})
}

func testView(t *testing.T, s Store) {
	farm(t, s, "f")
	g := ids(12)
	a := g.New()
	first := must(t, s, "f", put(a, 0, find(home, `{"n":1}`)))[0]
	view(t, s, "f", func(r records.Reader) {
		must(t, s, "f", put(a, 1, find(orb.Point{1, 1}, `{"n":2}`)), put(g.New(), 0, find(home, `{}`)))
		if r.Sequence() != 1 {
			t.Errorf("Sequence %d, want 1", r.Sequence())
		}
		got, err := r.Current(records.Finds, a)
		if err != nil {
			t.Fatal(err)
		}
		wantRevision(t, "Current in an older view", got, first)
		box := geo.Box{Min: orb.Point{-180, -90}, Max: orb.Point{180, 90}}
		for _, q := range []records.Query{{}, {Box: &box}} {
			if n, err := r.Count(records.Finds, q); n != 1 || err != nil {
				t.Errorf("Count in an older view: %d, %v, want 1", n, err)
			}
		}
		if all, _, err := r.Since(0, 0); len(all) != 1 || err != nil {
			t.Errorf("Since in an older view: %d, %v, want 1", len(all), err)
		}
		if all, err := r.Revisions(records.Finds, a); len(all) != 1 || err != nil {
			t.Errorf("Revisions in an older view: %d, %v, want 1", len(all), err)
		}
		_, err = r.At(records.Finds, a, 2)
		wantKind(t, "At of a later revision", err, fault.Missing)
		view(t, s, "f", func(r records.Reader) {
			if r.Sequence() != 3 {
				t.Errorf("a view inside a view: Sequence %d, want 3", r.Sequence())
			}
		})
	})
}

// testParallel: writers on one farm, each with its own record and all fighting
// over one more; every number is given once.
func testParallel(t *testing.T, s Store) {
	const writers, each = 8, 25
	farm(t, s, "f")
	g := ids(13)
	shared := g.New()
	must(t, s, "f", put(shared, 0, find(home, `{"n":"start"}`)))
	won := make([]int, writers)
	var group sync.WaitGroup
	for w := range writers {
		group.Go(func() {
			own := g.New()
			for i := range each {
				content := find(home, fmt.Sprintf(`{"w":%d,"i":%d}`, w, i))
				var base int
				err := s.View(bg, "f", func(r records.Reader) error {
					current, err := r.Current(records.Finds, shared)
					base = current.Number
					return err
				})
				if err != nil {
					t.Error(err)
					return
				}
				outcomes, err := s.Write(bg, "f", []records.Write{put(own, i, content), put(shared, base, content)})
				if err != nil || outcomes[0].Err != nil {
					t.Errorf("writer %d: %v, %+v", w, err, outcomes)
					return
				}
				switch o := outcomes[1]; {
				case o.Err == nil:
					won[w]++
				case !fault.Is(o.Err, fault.Stale):
					t.Errorf("writer %d: %v, want Stale", w, o.Err)
				}
			}
		})
	}
	group.Wait()
	total := 1
	for _, n := range won {
		total += n
	}
	view(t, s, "f", func(r records.Reader) {
		history, err := r.Revisions(records.Finds, shared)
		if err != nil || len(history) != total {
			t.Errorf("%d revisions, %v; want %d, one for each write that was answered so", len(history), err, total)
		}
		if want := int64(total + writers*each); r.Sequence() != want {
			t.Errorf("Sequence %d, want %d", r.Sequence(), want)
		}
	})
	checkChain(t, s, "f")
}

// checkChain recomputes every hash from what Since gives.
func checkChain(t *testing.T, s Store, f records.FarmID) {
	t.Helper()
	view(t, s, f, func(r records.Reader) {
		all, _, err := r.Since(0, 0)
		if err != nil {
			t.Fatal(err)
		}
		var previous [32]byte
		for i, v := range all {
			if v.Sequence != int64(i)+1 {
				t.Fatalf("revision %d has sequence %d", i+1, v.Sequence)
			}
			var content records.Content
			if !v.Deleted {
				if content, err = records.ContentOf(v.Record); err != nil {
					t.Fatal(err)
				}
			}
			if h := records.Link(previous, f, v, content); h != v.Hash {
				t.Errorf("sequence %d: hash %x, recomputed %x", v.Sequence, v.Hash, h)
			}
			previous = v.Hash
		}
	})
}

func testChain(t *testing.T, s Store) {
	farm(t, s, "f")
	farm(t, s, "g")
	g := ids(14)
	a := g.New()
	must(t, s, "f", put(a, 0, find(home, `{"n":1}`)))
	must(t, s, "g", put(a, 0, find(home, `{"n":1}`)))
	must(t, s, "f", put(a, 1, find(home, `{"n":2}`)), remove(a, 2))
	must(t, s, "g", remove(a, 1))
	checkChain(t, s, "f")
	checkChain(t, s, "g")
}

func testContext(t *testing.T, s Store) {
	farm(t, s, "f")
	ended, cancel := context.WithCancel(bg)
	cancel()
	if _, err := s.Write(ended, "f", []records.Write{put(ids(15).New(), 0, find(home, `{}`))}); !errors.Is(err, context.Canceled) {
		t.Errorf("Write: %v, want context.Canceled", err)
	}
	if err := s.View(ended, "f", func(records.Reader) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("View: %v, want context.Canceled", err)
	}
	view(t, s, "f", func(r records.Reader) {
		if r.Sequence() != 0 {
			t.Errorf("Sequence %d after a cancelled write, want 0", r.Sequence())
		}
	})
	midway, cancel := context.WithCancel(bg)
	defer cancel()
	err := s.View(midway, "f", func(r records.Reader) error {
		cancel()
		_, err := r.List(records.Finds, records.Query{})
		return err
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("List after the context ended: %v, want context.Canceled", err)
	}
}

func sorted(all []records.ID) []records.ID {
	all = slices.Clone(all)
	slices.Sort(all)
	return all
}
