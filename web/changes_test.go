package web

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"caneward/records"
)

func put(kind string, f map[string]any, base any) map[string]any {
	return map[string]any{"op": "put", "kind": kind, "id": f["id"], "record": f, "base": base}
}

type sent struct {
	Outcomes []struct {
		ID       string
		Status   int
		Revision int
		Current  int
		ETag     string
		Problem  map[string]any
	}
	Sequence int64
}

func (c *client) send(t *testing.T, changes ...any) sent {
	t.Helper()
	g := c.do("POST", "/farms/mine/changes", map[string]any{"changes": changes})
	if g.status != 200 {
		t.Fatalf("changes: %d %s", g.status, g.body)
	}
	var out sent
	must(t, json.Unmarshal(g.body, &out))
	if len(out.Outcomes) != len(changes) {
		t.Fatalf("%d outcomes for %d changes", len(out.Outcomes), len(changes))
	}
	return out
}

func (s sent) statuses() string {
	var out []string
	for _, o := range s.Outcomes {
		out = append(out, fmt.Sprint(o.Status))
	}
	return strings.Join(out, " ")
}

// A batch sent again whole answers the same revisions and stores nothing.
func TestChangesRepeatWhole(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c := s.as("owner")
		s.make(c, "blocks", block(s.ids.New(), "Upper"))
		var batch []any
		for i := 0; i < 50; i++ {
			batch = append(batch, put("finds", find(s.ids.New(), fmt.Sprint(i), "2026-05-04T08:00:00-04:00"), nil))
		}
		last := batch[0].(map[string]any)["id"]
		batch = append(batch, put("finds", find(last.(records.ID), "again", "2026-05-04T08:00:00-04:00"), 1), map[string]any{"op": "delete", "kind": "finds", "id": last, "base": 2, "why": "not there"})
		first := c.send(t, batch...)
		if want := strings.Repeat("201 ", 50) + "200 200"; first.statuses() != want {
			t.Fatalf("first: %s, want %s", first.statuses(), want)
		}
		second := c.send(t, batch...)
		if want := strings.TrimSpace(strings.Repeat("200 ", 52)); second.statuses() != want || second.Sequence != first.Sequence {
			t.Errorf("second: %s, sequence %d, want %d", second.statuses(), second.Sequence, first.Sequence)
		}
		for i := range first.Outcomes {
			if first.Outcomes[i].Revision != second.Outcomes[i].Revision || first.Outcomes[i].ETag != second.Outcomes[i].ETag {
				t.Errorf("outcome %d: revision %d, then %d", i, first.Outcomes[i].Revision, second.Outcomes[i].Revision)
			}
		}
	})
}

func TestChangesStandAlone(t *testing.T) {
	s := newSite(t)
	owner, scout := s.as("owner"), s.as("scout")
	s.make(owner, "blocks", block(s.ids.New(), "Upper"))
	known := find(s.ids.New(), "known", "")
	s.make(owner, "finds", known)
	other := find(known["id"].(records.ID), "other words", "")
	bad := find(s.ids.New(), "bad", "")
	bad["geometry"] = point(900, 95)
	misnamed := put("finds", find(s.ids.New(), "x", ""), nil)
	misnamed["recrod"] = 1
	crossed := put("finds", find(s.ids.New(), "x", ""), nil)
	crossed["id"] = s.ids.New()
	for _, tc := range []struct {
		name   string
		change any
		status int
	}{
		{"good", put("finds", find(s.ids.New(), "good", ""), nil), 201},
		{"place beyond the globe", put("finds", bad, nil), 422},
		{"known id, other content", put("finds", other, nil), 409},
		{"base that never was", put("finds", other, 7), 412},
		{"kind the scout does not write", put("surroundings", water(s.ids.New(), "x", -80.42, 35.87), nil), 403},
		{"kind there is not", put("tractors", find(s.ids.New(), "x", ""), nil), 422},
		{"no object", 7, 422},
		{"misspelt member", misnamed, 422},
		{"other id inside", crossed, 422},
		{"op there is not", map[string]any{"op": "post", "kind": "finds", "id": s.ids.New()}, 422},
		{"put without record", map[string]any{"op": "put", "kind": "finds", "id": s.ids.New()}, 422},
		{"delete without base", map[string]any{"op": "delete", "kind": "finds", "id": known["id"]}, 422},
		{"delete of nothing", map[string]any{"op": "delete", "kind": "finds", "id": s.ids.New(), "base": 1}, 404},
		{"negative base", put("finds", other, -1), 422},
		{"no id", map[string]any{"op": "put", "kind": "finds", "id": "7", "record": find("7", "x", "")}, 422},
	} {
		neighbour := put("finds", find(s.ids.New(), "neighbour", ""), nil)
		out := scout.send(t, tc.change, neighbour)
		o := out.Outcomes[0]
		if o.Status != tc.status || out.Outcomes[1].Status != 201 {
			t.Errorf("%s: %s, want %d 201 (%v)", tc.name, out.statuses(), tc.status, o.Problem)
		}
		if (o.Status >= 400) != (o.Problem != nil) || o.Problem != nil && (o.Problem["title"] == "" || o.Problem["status"] != float64(o.Status)) {
			t.Errorf("%s: problem %v", tc.name, o.Problem)
		}
		if (o.Status == 409 || o.Status == 412) && o.Current != 1 {
			t.Errorf("%s: current %d, want 1", tc.name, o.Current)
		}
	}
}

// A find may name a block that stands earlier in the batch.
func TestChangesInOrder(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	b := block(s.ids.New(), "Upper")
	f := find(s.ids.New(), "in it", "")
	f["properties"].(map[string]any)["block"] = b["id"]
	if out := c.send(t, put("blocks", b, nil), put("finds", f, nil)); out.statuses() != "201 201" {
		t.Errorf("%s: %v", out.statuses(), out.Outcomes)
	}
}

func TestChangesRefusedWhole(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	many := `{"changes":[` + strings.Repeat(`{},`, 1000) + `{}]}`
	for name, tc := range map[string]struct {
		body   string
		status int
	}{
		"no list": {`{}`, 422}, "null": {`{"changes":null}`, 422}, "another member": {`{"changes":[],"x":1}`, 422}, "no JSON": {`{"changes":[}`, 400},
		"1001": {many, 413}, "a list": {`[]`, 422}, "two documents": {`{"changes":[]}{"changes":[]}`, 400},
	} {
		if g := c.do("POST", "/farms/mine/changes", tc.body); g.status != tc.status {
			t.Errorf("%s: %d, want %d: %s", name, g.status, tc.status, g.body)
		} else {
			problemOf(t, g)
		}
	}
	if g := c.do("POST", "/farms/mine/changes", `{"changes":[]}`); g.status != 200 {
		t.Errorf("empty batch: %d", g.status)
	}
}

// A phone that catches up sees every revision once, in order, with the closing
// ones, however small its pages.
func TestCatchUp(t *testing.T) {
	bothStores(t, func(t *testing.T, s *site) {
		c := s.as("owner")
		for i := 0; i < 23; i++ {
			s.make(c, "surroundings", water(s.ids.New(), fmt.Sprint(i), -80.42, 35.87))
		}
		gone := s.ids.New()
		tag := s.make(c, "surroundings", water(gone, "gone", -80.42, 35.87))
		c.do("DELETE", itemAt("surroundings", gone), nil, "If-Match", tag)
		after, seen := int64(0), 0
		for page := 0; ; page++ {
			var got struct {
				Changes  []changed
				Sequence int64
				More     bool
			}
			must(t, json.Unmarshal(c.do("GET", fmt.Sprintf("/farms/mine/changes?after=%d&limit=10", after), nil).body, &got))
			for _, ch := range got.Changes {
				if ch.Sequence != after+1 {
					t.Fatalf("sequence %d follows %d", ch.Sequence, after)
				}
				after = ch.Sequence
				seen++
				if ch.Deleted != (string(ch.Record) == "null") {
					t.Errorf("sequence %d: deleted %v, record %s", ch.Sequence, ch.Deleted, ch.Record)
				}
			}
			if !got.More {
				if after != got.Sequence {
					t.Errorf("the last sequence is %d, the farm's %d", after, got.Sequence)
				}
				break
			}
		}
		if seen != 25 {
			t.Errorf("%d revisions, want 25", seen)
		}
		if g := c.do("GET", "/farms/mine/changes?after=1000", nil); g.status != 200 || len(g.json(t)["changes"].([]any)) != 0 {
			t.Errorf("after the end: %d %s", g.status, g.body)
		}
		for _, q := range []string{"?after=-1", "?after=x", "?limit=0", "?since=1"} {
			if g := c.do("GET", "/farms/mine/changes"+q, nil); g.status != 400 {
				t.Errorf("%s: %d, want 400", q, g.status)
			}
		}
	})
}

func TestMetricsNameNobody(t *testing.T) {
	s := newSite(t)
	c := s.as("owner")
	s.make(c, "surroundings", water(s.ids.New(), "Pond", -80.42, 35.87))
	c.do("FROBNICATE", "/farms/mine/secret-path", nil)
	g := s.anybody().do("GET", "/metrics", nil)
	body := string(g.body)
	for _, want := range []string{`caneward_writes_total{kind="surroundings",outcome="created"} 1`, `route="/farms/{farm}/collections/{kind}/items/{id}"`, `caneward_sign_ins_total{outcome="taken"} 1`} {
		if !strings.Contains(body, want) {
			t.Errorf("the metrics lack %s", want)
		}
	}
	for _, secret := range []string{"mine", "FROBNICATE", "secret-path", "owner"} {
		if strings.Contains(body, secret) {
			t.Errorf("the metrics hold %q", secret)
		}
	}
}
