package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"net/http"
	"strings"
	"testing"
	"time"

	"caneward/records"
)

func TestAudit(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		owner, scout, viewer := s.as("owner"), s.as("scout"), s.as("viewer")
		for range 3 {
			s.make(owner, "surroundings", water(s.ids.New(), "Pond <secret place>", -80.42, 35.87))
		}
		for range 4 {
			if g := scout.do("GET", "/farms/mine/collections/surroundings/items?bbox=-80.5,35.8,-80.4,35.9", nil); g.status != 200 {
				t.Fatal(g.status)
			}
		}
		if g := viewer.do("PUT", itemAt("surroundings", s.ids.New()), water(s.ids.New(), "No", -80.42, 35.87)); g.status != 403 {
			t.Fatal(g.status)
		}
		s.as("stranger").do("GET", "/farms/mine/collections/surroundings/items", nil)
		g := owner.do("GET", "/farms/mine/reports/audit.csv", nil)
		if g.status != 200 || !strings.HasPrefix(g.header.Get("Content-Type"), "text/csv") {
			t.Fatalf("audit.csv: %d %s", g.status, g.body)
		}
		lines, err := csv.NewReader(bytes.NewReader(g.body)).ReadAll()
		must(t, err)
		got := map[string]string{}
		for _, l := range lines[1:] {
			// name, what, kind, refused, changes, times, records
			got[l[2]+" "+l[5]] = strings.Join([]string{l[3], l[7], l[8], l[9], l[10], l[11]}, " ")
		}
		want := map[string]string{
			"The owner putItem":  "owner surroundings false true 3 3",
			"The scout items":    "scout surroundings false false 4 12",
			"The viewer putItem": "viewer surroundings true true 1 0",
		}
		for k, v := range want {
			if got[k] != v {
				t.Errorf("%s: %q, want %q", k, got[k], v)
			}
		}
		if len(got) != len(want) {
			t.Errorf("entries: %v, want those of the farm's own people alone", got)
		}
		for _, secret := range []string{"35.8", "80.4", "secret", "bbox"} {
			if bytes.Contains(g.body, []byte(secret)) {
				t.Errorf("the list holds %q", secret)
			}
		}
		newest := owner.do("GET", "/farms/mine/reports/audit.json?limit=2", nil).json(t)
		entries := newest["entries"].([]any)
		if len(entries) != 2 || newest["total"].(float64) < 4 || newest["kept_days"] != 800.0 {
			t.Errorf("audit.json: %v", newest)
		}
		for _, name := range []string{"scout", "viewer", "adviser", "applicator"} {
			if g := s.as(name).do("GET", "/farms/mine/reports/audit.csv", nil); g.status != 403 {
				t.Errorf("%s reads the list: %d, want 403", name, g.status)
			}
		}
		// What was seen long ago is forgotten.
		s.now = func() time.Time { return time.Now().Add(801 * 24 * time.Hour) }
		must(t, s.srv.tend(context.Background()))
		left := 0
		must(t, s.store.EachSeen(context.Background(), "mine", func(records.Seen) error { left++; return nil }))
		if left != 0 {
			t.Errorf("%d entries left after 801 days", left)
		}
	})
}

// stuck is a store that takes no entries for a while.
type stuck struct {
	Store
	full bool
}

func (s *stuck) AddSeen(ctx context.Context, all []records.Seen) error {
	if s.full {
		return context.DeadlineExceeded
	}
	return s.Store.AddSeen(ctx, all)
}

func TestAuditWaitsForRoom(t *testing.T) {
	s := newSite(t)
	store := &stuck{Store: s.store, full: true}
	s.srv.audit.store = store
	owner := s.as("owner")
	owner.do("GET", "/farms/mine/collections/finds/items", nil)
	if err := s.srv.audit.flush(context.Background()); err == nil {
		t.Error("handing over to a store that takes nothing: no error")
	}
	owner.do("GET", "/farms/mine/collections/finds/items", nil)
	store.full = false
	s.srv.Close()
	times := int64(0)
	must(t, s.store.EachSeen(context.Background(), "mine", func(e records.Seen) error { times += e.Times; return nil }))
	if times != 2 {
		t.Errorf("%d requests on the list, want both", times)
	}
}

func TestKeeping(t *testing.T) {
	state := records.CopyState{Every: time.Minute, Since: time.Now(), Rule: "last=1,daily=0,monthly=0"}
	s := newSite(t, func(c *Config) { c.Copies = func() records.CopyState { return state } })
	owner := s.as("owner")
	trouble := func() string {
		t.Helper()
		return owner.do("GET", "/farms/mine/keeping", nil).json(t)["copies"].(map[string]any)["trouble"].(string)
	}
	metric := func() bool {
		return bytes.Contains(s.anybody().do("GET", "/metrics", nil).body, []byte("\ncaneward_copy_failing 1\n"))
	}
	if got := trouble(); got != "" || metric() {
		t.Errorf("before the first copy is due: %q, failing %v", got, metric())
	}
	state.Since = time.Now().Add(-time.Hour)
	if got := trouble(); !strings.Contains(got, "overdue") || !metric() {
		t.Errorf("overdue: %q, failing %v", got, metric())
	}
	state.Last, state.Oldest, state.Copies = time.Now(), time.Now(), 1
	if got := trouble(); got != "" || metric() {
		t.Errorf("copied: %q, failing %v", got, metric())
	}
	state.Failed, state.Full, state.Failures = time.Now(), true, 1
	if got := trouble(); !strings.Contains(got, "no room") || !metric() {
		t.Errorf("failed: %q, failing %v", got, metric())
	}
	g := s.as("scout").do("GET", "/farms/mine/keeping", nil).json(t)
	if g["copies"] != nil || g["history"] != nil || g["leaving"] != nil {
		t.Errorf("a scout is told %v, want neither copies nor history", g)
	}
	if got := newSite(t).as("owner").do("GET", "/farms/mine/keeping", nil).json(t)["copies"].(map[string]any)["trouble"]; !strings.Contains(got.(string), "no copies") {
		t.Errorf("a server that makes none: %v", got)
	}
}

func TestErasure(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		s.srv.Limits.EraseAfter = 10 * 24 * time.Hour // within the life of a session
		owner, scout := s.as("owner"), s.as("scout")
		s.make(owner, "surroundings", water(s.ids.New(), "Pond", -80.42, 35.87))
		if g := owner.do("POST", "/farms/mine/erasure", `{"farm":"my farm"}`); g.status != 422 {
			t.Errorf("another name: %d %s, want 422", g.status, g.body)
		}
		if g := owner.do("DELETE", "/farms/mine/erasure", nil); g.status != 409 {
			t.Errorf("taking back nothing: %d, want 409", g.status)
		}
		ask := func() map[string]any {
			t.Helper()
			g := owner.do("POST", "/farms/mine/erasure", `{"farm":"mine"}`)
			if g.status != 200 {
				t.Fatalf("asking: %d %s", g.status, g.body)
			}
			return g.json(t)["leaving"].(map[string]any)
		}
		if l := ask(); l["by"] != "The owner" {
			t.Errorf("leaving: %v", l)
		}
		if g := owner.do("POST", "/farms/mine/erasure", `{"farm":"mine"}`); g.status != 409 {
			t.Errorf("asking twice: %d, want 409", g.status)
		}
		if l := scout.do("GET", "/farms/mine/keeping", nil).json(t)["leaving"]; l == nil {
			t.Error("others on the farm are not told")
		}
		s.make(owner, "surroundings", water(s.ids.New(), "Another", -80.42, 35.87)) // work goes on
		if g := owner.do("DELETE", "/farms/mine/erasure", nil); g.status != 200 || g.json(t)["leaving"] != nil {
			t.Errorf("taking back: %d %s", g.status, g.body)
		}
		ask()
		s.now = func() time.Time { return time.Now().Add(10*24*time.Hour - time.Minute) }
		must(t, s.srv.tend(context.Background()))
		if g := s.as("owner").do("GET", "/farms/mine/collections", nil); g.status != 200 {
			t.Errorf("a minute before: %d, want the farm there", g.status)
		}
		s.now = func() time.Time { return time.Now().Add(10*24*time.Hour + time.Minute) }
		must(t, s.srv.tend(context.Background()))
		if g := s.as("owner").do("GET", "/farms/mine/collections", nil); g.status != 404 {
			t.Errorf("afterwards: %d, want 404", g.status)
		}
		if g := s.as("stranger").do("GET", "/farms/theirs/collections", nil); g.status != 200 {
			t.Errorf("the other farm: %d", g.status)
		}
	})
}

// TestFarmLeavesAndComes takes a farm out over HTTP and brings it into another
// server's empty one; the two archives are the same to the byte.
func TestFarmLeavesAndComes(t *testing.T) {
	day := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	from, to := newSiteOn(t, openDisk(t)), newSiteOn(t, openDisk(t))
	owner := from.as("owner")
	for range 20 {
		from.make(owner, "surroundings", water(from.ids.New(), "Pond", -80.42, 35.87))
	}
	from.now = func() time.Time { return day }
	to.now = from.now
	owner = from.as("owner")
	if g := from.as("adviser").do("GET", "/farms/mine/exports/everything.zip", nil); g.status != 403 {
		t.Errorf("an adviser takes everything: %d, want 403", g.status)
	}
	out := owner.do("GET", "/farms/mine/exports/everything.zip", nil)
	if out.status != 200 || out.header.Get("Content-Type") != "application/zip" || !strings.Contains(out.header.Get("Content-Disposition"), "mine-everything.zip") {
		t.Fatalf("everything: %d %v", out.status, out.header)
	}
	there := to.as("owner")
	if g := there.do("GET", "/farms/mine/keeping", nil).json(t); g["empty"] != true {
		t.Errorf("an empty farm: %v", g)
	}
	if g := to.as("scout").do("POST", "/farms/mine/history", out.body, "Content-Type", "application/zip"); g.status != 403 {
		t.Errorf("a scout brings a farm in: %d, want 403", g.status)
	}
	if g := there.do("POST", "/farms/mine/history", []byte("hello"), "Content-Type", "application/zip"); g.status != 400 {
		t.Errorf("no archive: %d %s, want 400", g.status, g.body)
	}
	in := there.do("POST", "/farms/mine/history", out.body, "Content-Type", "application/zip")
	if in.status != 200 {
		t.Fatalf("bringing in: %d %s", in.status, in.body)
	}
	if h := in.json(t)["history"].(map[string]any); h["sequence"] != 20.0 || len(h["head"].(string)) != 64 || !strings.Contains(h["says"].(string), "20") {
		t.Errorf("history: %v", h)
	}
	if g := there.do("POST", "/farms/mine/history", out.body, "Content-Type", "application/zip"); g.status != 409 {
		t.Errorf("bringing in twice: %d, want 409", g.status)
	}
	if again := there.do("GET", "/farms/mine/exports/everything.zip", nil); !bytes.Equal(again.body, out.body) {
		t.Errorf("out, in, out: %d bytes, then %d, want the same", len(out.body), len(again.body))
	}
	if g := there.do("GET", "/farms/mine/collections/surroundings/items", nil); g.json(t)["numberMatched"] != 20.0 {
		t.Errorf("items: %s", g.body)
	}
	small := newSite(t, func(c *Config) { c.Limits.Archive = 1000 })
	if g := small.as("owner").do("POST", "/farms/mine/history", out.body, "Content-Type", "application/zip"); g.status != http.StatusRequestEntityTooLarge {
		t.Errorf("an archive beyond the limit: %d, want 413", g.status)
	}
}
