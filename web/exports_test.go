package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"net/http/httptest"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/export"
	"caneward/records/people"
)

// collected reads a GeoJSON export: the ids of each kind.
func collected(t *testing.T, data []byte) map[string][]string {
	t.Helper()
	r, err := wire.NewFeatureReader(bytes.NewReader(data), wire.Options{})
	must(t, err)
	ids := map[string][]string{}
	for {
		f, err := r.Next()
		if err == io.EOF {
			return ids
		}
		must(t, err)
		ids[f.Layer] = append(ids[f.Layer], f.ID)
	}
}

func TestExportOfAFarmAndOfAKind(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner := s.as("owner")
		pond, rows := s.ids.New(), s.ids.New()
		s.make(owner, "surroundings", water(pond, "Pond", -80.42, 35.87))
		s.make(owner, "blocks", block(rows, "Rows"))
		for _, role := range people.Roles {
			g := s.as(string(role)).do("GET", "/farms/mine/exports/farm.geojson", nil)
			if g.status != 200 {
				t.Fatalf("%s: %d %s", role, g.status, g.body)
			}
			ids := collected(t, g.body)
			if len(ids) != 2 || len(ids["surroundings"]) != 1 || ids["surroundings"][0] != string(pond) || ids["blocks"][0] != string(rows) {
				t.Errorf("%s: holds %v", role, ids)
			}
			for name, want := range map[string]string{"Content-Type": typeGeoJSON, "Content-Disposition": `attachment; filename="mine-farm.geojson"`,
				"Cache-Control": "private, no-store", "X-Content-Type-Options": "nosniff"} {
				if got := g.header.Get(name); got != want {
					t.Errorf("%s is %q, want %q", name, got, want)
				}
			}
		}
		g := owner.do("GET", "/farms/mine/exports/blocks.geojson", nil)
		if ids := collected(t, g.body); len(ids) != 1 || len(ids["blocks"]) != 1 {
			t.Errorf("blocks hold %v", ids)
		}
		if g := owner.do("GET", "/farms/mine/exports/finds.geojson", nil); g.status != 200 || len(collected(t, g.body)) != 0 {
			t.Errorf("no finds: %d %s", g.status, g.body)
		}
		for _, name := range []string{"farm.doc", "trees.geojson", "farm", "people.geojson", "farm.geojson.zip"} {
			if g := owner.do("GET", "/farms/mine/exports/"+name, nil); g.status != 404 {
				t.Errorf("%s: %d, want 404", name, g.status)
			}
		}
	})
}

// Invented data say so, in the language asked for.
func TestExportSaysInvented(t *testing.T) {
	s := newSite(t)
	owner := s.as("owner")
	s.make(owner, "blocks", block(s.ids.New(), "Rows"))
	for lang, want := range map[string]string{"en": "Invented demo data", "es": "Datos de muestra inventados"} {
		if g := owner.do("GET", "/farms/mine/exports/farm.geojson", nil, "Accept-Language", lang); !bytes.Contains(g.body, []byte(want)) {
			t.Errorf("%s: %s", lang, g.body)
		}
	}
}

func TestExportIsPackedOnTheWay(t *testing.T) {
	s := newSite(t)
	owner := s.as("owner")
	for range 10 {
		s.make(owner, "surroundings", water(s.ids.New(), "Pond", -80.42, 35.87))
	}
	g := owner.do("GET", "/farms/mine/exports/farm.geojson", nil, "Accept-Encoding", "gzip")
	if g.header.Get("Content-Encoding") != "gzip" {
		t.Fatalf("headers %v", g.header)
	}
	z, err := gzip.NewReader(bytes.NewReader(g.body))
	must(t, err)
	plain, err := io.ReadAll(z)
	must(t, err)
	if n := len(collected(t, plain)["surroundings"]); n != 10 {
		t.Errorf("holds %d, want 10", n)
	}
}

// Every file that the list names can be had.
func TestExportsList(t *testing.T) {
	s := newSite(t)
	owner := s.as("owner")
	s.make(owner, "surroundings", water(s.ids.New(), "Pond", -80.42, 35.87))
	s.make(owner, "blocks", block(s.ids.New(), "Rows"))
	list := owner.do("GET", "/farms/mine/exports", nil).json(t)["exports"].([]any)
	if len(list) != 3 {
		t.Fatalf("%d entries, want the farm, blocks and surroundings: %v", len(list), list)
	}
	for _, e := range list {
		files := e.(map[string]any)["files"].([]any)
		if len(files) != len(export.Formats) {
			t.Errorf("%v: %d files, want %d", e, len(files), len(export.Formats))
		}
		for _, f := range files {
			href := f.(map[string]any)["href"].(string)[len("http://farm.test"):]
			if g := owner.do("GET", href, nil); g.status != 200 || len(g.body) == 0 {
				t.Errorf("%s: %d %s", href, g.status, g.body)
			}
		}
	}
}

// A client that leaves while it waits gets no file made.
func TestExportStopsWithItsClient(t *testing.T) {
	s := newSite(t)
	owner := s.as("owner")
	for range cap(s.srv.heavy) {
		s.srv.heavy <- struct{}{}
	}
	ctx, leave := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		s.srv.ServeHTTP(httptest.NewRecorder(), owner.request("GET", "/farms/mine/exports/farm.geojson", nil).WithContext(ctx))
	}()
	leave()
	select {
	case <-ended:
	case <-time.After(10 * time.Second):
		t.Fatal("still waiting 10 s after the client left")
	}
	if n := len(s.srv.exports.waiting); n != 0 {
		t.Errorf("%d people still waited for", n)
	}
}

func TestTurns(t *testing.T) {
	turns := newTurns()
	var running, most, ran atomic.Int32
	var all sync.WaitGroup
	for range turnsMost {
		all.Go(func() {
			err := turns.take(context.Background(), "one", func() error {
				most.Store(max(most.Load(), running.Add(1)))
				time.Sleep(time.Millisecond)
				running.Add(-1)
				ran.Add(1)
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if most.Load() != 1 || ran.Load() != turnsMost {
		t.Errorf("%d ran, %d at once", ran.Load(), most.Load())
	}

	hold := make(chan struct{})
	entered := make(chan struct{})
	for range turnsMost {
		all.Go(func() {
			turns.take(context.Background(), "one", func() error {
				select {
				case entered <- struct{}{}:
				case <-hold:
				}
				<-hold
				return nil
			})
		})
	}
	<-entered
	for deadline := time.Now().Add(10 * time.Second); turns.count("one") < turnsMost; {
		if time.Now().After(deadline) {
			t.Fatal("they do not queue")
		}
		time.Sleep(time.Millisecond)
	}
	if err := turns.take(context.Background(), "one", func() error { return nil }); !fault.Is(err, fault.TooMany) {
		t.Errorf("one more: %v, want TooMany", err)
	}
	if err := turns.take(context.Background(), "other", func() error { return errors.New("ran") }); err == nil || err.Error() != "ran" {
		t.Errorf("somebody else: %v", err)
	}
	close(hold)
	all.Wait()
	if len(turns.waiting) != 0 {
		t.Errorf("kept %d after all left", len(turns.waiting))
	}
}

func (t *turns) count(who records.PersonID) int {
	t.lock.Lock()
	defer t.lock.Unlock()
	if mine := t.waiting[who]; mine != nil {
		return mine.people
	}
	return 0
}
