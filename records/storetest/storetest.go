// Package storetest is the definition of a store in code: one suite that every
// implementation of records.Store and people.Store passes.
package storetest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/geo"
	"caneward/records"
	"caneward/records/people"
)

// Store is what the suite tests.
type Store interface {
	records.Store
	people.Store
	records.Documents
	records.Custody
	Close() error
}

// Run runs the suite. open gives a new empty store each time and sees to its
// end (t.Cleanup).
func Run(t *testing.T, open func(t *testing.T) Store) {
	for _, part := range []struct {
		name string
		test func(*testing.T, Store)
	}{
		{"farms", testFarms},
		{"create, repeat, conflict", testWrites},
		{"what a write refuses", testRefusals},
		{"deletes", testDeletes},
		{"any", testAny},
		{"outcomes stand alone", testBatch},
		{"a batch that belongs together", testTogether},
		{"farms do not see each other", testFence},
		{"content comes back", testContent},
		{"times are cut to microseconds", testTimes},
		{"paging", testPaging},
		{"paging while records are added", testPagingStable},
		{"boxes", testBoxes},
		{"many records in a box", testManyInBox},
		{"time spans", testSpans},
		{"equal properties", testEqual},
		{"of several blocks", testBlocks},
		{"queries that make no sense", testQueries},
		{"since", testSince},
		{"revisions", testRevisions},
		{"a view is one state", testView},
		{"parallel writers", testParallel},
		{"the chain", testChain},
		{"a context that has ended", testContext},
		{"photos", testPhotos},
		{"people", testPeople},
		{"roles", testRoles},
		{"sessions", testSessions},
		{"grants", testGrants},
		{"second factors", testSecondFactors},
		{"documents", testDocuments},
		{"a history brought in", testBringIn},
		{"histories that are refused", testBringInRefused},
		{"farms that are erased", testErase},
		{"what was seen", testSeen},
	} {
		t.Run(part.name, func(t *testing.T) { part.test(t, open(t)) })
	}
	t.Run("model", func(t *testing.T) { testModel(t, open(t)) })
}

var bg = context.Background()

// Home is where the suite's shapes stand.
var home = orb.Point{-90.25, 38.75}

// author is who writes in the suite.
var author = records.Author{Person: "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a", Name: "Suite", Role: records.Owner, Why: "a test"}

// ids gives the same ids in every run.
func ids(seed uint64) *records.IDs {
	at := time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)
	var key [32]byte
	key[0] = byte(seed)
	return records.NewIDs(func() time.Time { return at }, rand.NewChaCha8(key))
}

func farm(t *testing.T, s Store, id records.FarmID) {
	t.Helper()
	f := records.Farm{ID: id, Name: "Farm " + string(id), Zone: "America/Chicago", Invented: true, Created: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)}
	if err := s.CreateFarm(bg, f); err != nil {
		t.Fatalf("CreateFarm(%s): %v", id, err)
	}
}

func find(p orb.Point, properties string) records.Record {
	return records.Record{Geometry: geo.Geometry{Flat: p}, Properties: json.RawMessage(properties)}
}

func put(id records.ID, base int, r records.Record) records.Write {
	return records.Write{Kind: records.Finds, ID: id, Base: base, Record: r, By: author}
}

func remove(id records.ID, base int) records.Write {
	return records.Write{Kind: records.Finds, ID: id, Base: base, Delete: true, By: author}
}

func write(t *testing.T, s Store, f records.FarmID, writes ...records.Write) []records.Outcome {
	t.Helper()
	outcomes, err := s.Write(bg, f, writes)
	if err != nil {
		t.Fatalf("Write to %s: %v", f, err)
	}
	if len(outcomes) != len(writes) {
		t.Fatalf("Write of %d gives %d outcomes", len(writes), len(outcomes))
	}
	return outcomes
}

// must writes and wants every write stored as new.
func must(t *testing.T, s Store, f records.FarmID, writes ...records.Write) []records.Revision {
	t.Helper()
	var stored []records.Revision
	for i, o := range write(t, s, f, writes...) {
		if o.Err != nil || o.Repeated {
			t.Fatalf("write %d of %d: Err %v, Repeated %v; want stored", i+1, len(writes), o.Err, o.Repeated)
		}
		stored = append(stored, o.Revision)
	}
	return stored
}

func view(t *testing.T, s Store, f records.FarmID, look func(records.Reader)) {
	t.Helper()
	if err := s.View(bg, f, func(r records.Reader) error { look(r); return nil }); err != nil {
		t.Fatalf("View(%s): %v", f, err)
	}
}

func list(t *testing.T, r records.Reader, k records.Kind, q records.Query) records.Page {
	t.Helper()
	page, err := r.List(k, q)
	if err != nil {
		t.Fatalf("List(%s, %+v): %v", k, q, err)
	}
	return page
}

func wantKind(t *testing.T, what string, err error, want fault.Kind) {
	t.Helper()
	var e *fault.Error
	if !errors.As(err, &e) || e.Kind != want {
		t.Errorf("%s: error %v (kind %d), want a fault of kind %d", what, err, fault.KindOf(err), want)
	}
}

// wantRevision compares everything, the hash and the shape's bytes included.
func wantRevision(t *testing.T, what string, got, want records.Revision) {
	t.Helper()
	if d := difference(got, want); d != "" {
		t.Errorf("%s: %s", what, d)
	}
}

func difference(got, want records.Revision) string {
	g, w := got, want
	g.Record, w.Record = records.Record{}, records.Record{}
	if a, b := fmt.Sprintf("%+v", g), fmt.Sprintf("%+v", w); a != b {
		return fmt.Sprintf("got %s, want %s", a, b)
	}
	if got.Deleted {
		if got.Record.Properties != nil || !got.Record.Geometry.Empty() {
			return fmt.Sprintf("a closing revision holds %+v", got.Record)
		}
		return ""
	}
	a, errA := records.ContentOf(got.Record)
	b, errB := records.ContentOf(want.Record)
	if errA != nil || errB != nil || !a.Equal(b) {
		return fmt.Sprintf("content: got %s %+v, want %s %+v (%v, %v)",
			got.Record.Properties, got.Record.Geometry, want.Record.Properties, want.Record.Geometry, errA, errB)
	}
	return ""
}

func idsOf(revisions []records.Revision) []records.ID {
	var all []records.ID
	for _, r := range revisions {
		all = append(all, r.ID)
	}
	return all
}
