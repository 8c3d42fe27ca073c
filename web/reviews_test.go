package web

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"caneward/records"
	"caneward/records/review"
)

// infectedBlock is a block of 12 rows of 20 plants, 3 m and 1 m apart, with a
// visit that looked at all of them; its plants stand 1 m apart from the south.
type infectedBlock struct {
	*site
	block, visit records.ID
	outline      map[string]any
	visited      map[string]any
	tags         map[records.ID]string
}

const perMetreNorth = 1 / 110_960.0 // degrees of latitude at 35.87, good to 1e-3

func (s *site) infected() *infectedBlock {
	b := &infectedBlock{site: s, block: s.ids.New(), visit: s.ids.New(), tags: map[records.ID]string{}}
	owner := s.as("owner")
	b.outline = block(b.block, "Upper")
	b.tags[b.block] = s.make(owner, "blocks", b.outline)
	for row := 1; row <= 12; row++ {
		x := -80.4199 + float64(row)*3*perMetreNorth*1.234 // cos 35.87 is 0.8104
		line := map[string]any{"type": "LineString", "coordinates": [][2]float64{{x, 35.8702}, {x, 35.8702 + 19.5*perMetreNorth}}}
		s.make(owner, "rows", feature(s.ids.New(), line, map[string]any{"block": b.block, "number": row, "plants": 20}))
	}
	b.visited = feature(b.visit, nil, map[string]any{"block": b.block, "purpose": "scouting", "started_at": "2026-04-14T09:00:00-04:00", "ended_at": "2026-04-14T11:00:00-04:00", "inspected": []map[string]any{{"rows": "all"}}})
	b.tags[b.visit] = s.make(s.as("scout"), "visits", b.visited)
	return b
}

// find puts a suspected find of orange rust on a plant.
func (b *infectedBlock) find(row, plant int) (records.ID, map[string]any) {
	id := b.ids.New()
	f := feature(id, point(-80.419, 35.871), map[string]any{"block": b.block, "row": row, "plant": plant, "cause": "orange-rust", "state": "suspected", "severity": 2, "found_at": "2026-04-14T09:30:00-04:00", "visit": b.visit, "words": "pale shoots"})
	b.tags[id] = b.make(b.as("scout"), "finds", f)
	return id, f
}

func (b *infectedBlock) ask(more string) string {
	return fmt.Sprintf(`{"ask":{"block":%q,"scan":{"replicates":99}}%s}`, b.block, more)
}

// signing is a body of POST .../reviews for a proposal.
func (b *infectedBlock) signing(id records.ID, basis, more string) string {
	return b.ask(fmt.Sprintf(`,"id":%q,"basis":%q,"reasons":"Laboratory result; dig before pustules open.","name":"A. Adviser"%s`, id, basis, more))
}

type wouldSign struct {
	Basis string
	Says  []string
	List  struct {
		Remove []struct {
			Row, Plant int
			Why        string
		}
		Inspect []struct{ Row, Plant int }
		Apart   []struct{ Why string }
		Grounds []map[string]any
	}
}

func (b *infectedBlock) propose(more string) wouldSign {
	b.t.Helper()
	g := b.as("adviser").do("POST", "/farms/mine/reviews/proposal", b.ask(more))
	var p wouldSign
	if g.status != 200 {
		b.t.Fatalf("proposal %s: %d %s", more, g.status, g.body)
	}
	must(b.t, json.Unmarshal(g.body, &p))
	return p
}

// confirm records a laboratory's result and lets the scout confirm by it.
func (b *infectedBlock) confirm(ids []records.ID, finds []map[string]any) {
	scout := b.as("scout")
	b.make(scout, "samples", feature(b.ids.New(), nil, map[string]any{"finds": ids, "sent_on": "2026-04-15", "laboratory": "Invented plant clinic", "accession": "INV-26-1", "method": "microscopy", "result": "Gymnoconia nitens", "result_on": "2026-04-18", "answer": "confirmed", "found": "orange-rust"}))
	for i, id := range ids {
		finds[i]["properties"].(map[string]any)["state"] = "confirmed"
		g := scout.do("PUT", itemAt("finds", id), finds[i], "If-Match", b.tags[id])
		if g.status != 200 {
			b.t.Fatalf("confirming: %d %s", g.status, g.body)
		}
		b.tags[id] = g.header.Get("ETag")
	}
}

// A map of suspicions lists nothing, whatever is chosen, and says what is
// missing; a laboratory's record fills the list (trade notes 2.2: the lab comes
// before the spade).
func TestSuspicionsListNothing(t *testing.T) {
	b := newSite(t).infected()
	var ids []records.ID
	var finds []map[string]any
	for _, at := range [][2]int{{5, 7}, {5, 8}, {6, 7}} {
		id, f := b.find(at[0], at[1])
		ids, finds = append(ids, id), append(finds, f)
	}
	for _, more := range []string{"", `,"choice":{"reach":"margin","margin_reason":"to be sure"}`} {
		p := b.propose(more)
		if len(p.List.Remove) != 0 || len(p.List.Apart) != 3 || !strings.Contains(strings.Join(p.Says, " "), "laboratory") {
			t.Errorf("suspected only%s: removes %v, apart %v, says %q", more, p.List.Remove, p.List.Apart, p.Says)
		}
	}
	states := fmt.Sprintf(`{"ask":{"block":%q,"states":["suspected","confirmed"],"margin_plants":2,"gap_plants":5},"choice":{"margin_reason":"x","planting":{"limit":0,"reason":"x"}}}`, b.block)
	if g := b.as("adviser").do("POST", "/farms/mine/reviews/proposal", states); g.status != 422 || !strings.Contains(string(g.body), "choice.planting.limit") {
		t.Errorf("a whole planting on suspicions: %d %s", g.status, g.body)
	}
	b.confirm(ids[:2], finds[:2])
	p := b.propose("")
	if fmt.Sprint(p.List.Remove) != "[{5 7 confirmed} {5 8 confirmed}]" || len(p.List.Apart) != 1 {
		t.Errorf("after the laboratory: removes %v, apart %v", p.List.Remove, p.List.Apart)
	}
	// The third stays out even of ground taken whole round it.
	p = b.propose(`,"choice":{"sections":[{"first_row":5,"last_row":6,"from":7,"to":8,"limit":0.05,"reason":"roots graft"}]}`)
	if fmt.Sprint(p.List.Remove) != "[{5 7 confirmed} {5 8 confirmed} {6 8 section}]" || len(p.List.Grounds) != 1 {
		t.Errorf("a section: %v %v", p.List.Remove, p.List.Grounds)
	}
	// 2 of 4: the exact one-sided 95 % lower limit is 0.0976 (Clopper and Pearson
	// 1934; 1 - 0.95 = sum over k of 2..4 of C(4,k) p^k (1-p)^(4-k), solved by hand).
	if lower := p.List.Grounds[0]["lower_one_sided"].(float64); lower < 0.0975 || lower > 0.0977 {
		t.Errorf("lower limit of 2 of 4: %v", lower)
	}
	if g := b.as("adviser").do("POST", "/farms/mine/reviews/proposal", b.ask(`,"choice":{"sections":[{"first_row":5,"last_row":6,"from":7,"to":8,"limit":0.1,"reason":"roots graft"}]}`)); g.status != 422 {
		t.Errorf("a section whose lower limit is not above the adviser's: %d %s", g.status, g.body)
	}
}

// What was signed stays as it was, byte for byte, whatever is edited afterwards;
// nobody forges, alters or deletes it.
func TestSignedStays(t *testing.T) {
	t.Parallel()
	bothStores(t, func(t *testing.T, s *site) {
		b := s.infected()
		adviser, owner, scout := b.as("adviser"), b.as("owner"), b.as("scout")
		var ids []records.ID
		var finds []map[string]any
		for _, at := range [][2]int{{5, 7}, {5, 8}, {6, 7}} {
			id, f := b.find(at[0], at[1])
			ids, finds = append(ids, id), append(finds, f)
		}
		b.confirm(ids, finds)
		p := b.propose("")
		id := b.ids.New()
		for name, tc := range map[string]struct {
			who    *client
			body   string
			status int
		}{
			"the owner":      {owner, b.signing(id, p.Basis, ""), 403},
			"the scout":      {scout, b.signing(id, p.Basis, ""), 403},
			"another basis":  {adviser, b.signing(id, strings.Repeat("0", 64), ""), 412},
			"no name":        {adviser, b.ask(fmt.Sprintf(`,"id":%q,"basis":%q,"reasons":"x"`, id, p.Basis)), 422},
			"supersedes air": {adviser, b.signing(id, p.Basis, fmt.Sprintf(`,"supersedes":%q`, b.ids.New())), 422},
		} {
			if g := tc.who.do("POST", "/farms/mine/reviews", tc.body); g.status != tc.status {
				t.Errorf("%s signs: %d, want %d: %s", name, g.status, tc.status, g.body)
			}
		}
		signed := adviser.do("POST", "/farms/mine/reviews", b.signing(id, p.Basis, ""))
		if signed.status != 201 {
			t.Fatalf("signing: %d %s", signed.status, signed.body)
		}
		if g := adviser.do("POST", "/farms/mine/reviews", b.signing(id, p.Basis, "")); g.status != 200 || !bytes.Equal(g.body, signed.body) {
			t.Errorf("signing sent again: %d %s", g.status, g.body)
		}
		papers := func() string {
			var all strings.Builder
			for _, query := range []string{"removal-review.pdf?lang=en&review=", "removal-review.pdf?lang=es&paper=a4&review=", "crew-sheet.pdf?lang=es&review=", "removal-list.csv?review=", "removal-list.geojson?review="} {
				g := b.as("viewer").do("GET", "/farms/mine/reports/"+query+string(id), nil)
				if g.status != 200 || len(g.body) == 0 {
					t.Fatalf("%s: %d %s", query, g.status, g.body)
				}
				all.Write(g.body)
			}
			return all.String()
		}
		before := papers()

		frozen := adviser.do("GET", itemAt("reviews", id), nil)
		tag := frozen.header.Get("ETag")
		forged := frozen.json(t)
		delete(forged, "links")
		forged["properties"].(map[string]any)["list"] = map[string]any{"remove": []any{}}
		edited := feature(b.ids.New(), nil, map[string]any{"block": b.block, "signed_at": "2026-04-20T10:00:00Z", "reasons": "x", "analysis": map[string]any{}})
		for name, g := range map[string]got{
			"a forged list":      adviser.do("PUT", itemAt("reviews", id), forged, "If-Match", tag),
			"the owner's":        owner.do("PUT", itemAt("reviews", id), feature(id, nil, map[string]any{"block": b.block}), "If-Match", tag),
			"a forged signature": adviser.do("PUT", itemAt("reviews", edited["id"].(records.ID)), edited),
			"a deletion":         owner.do("DELETE", itemAt("reviews", id), nil, "If-Match", tag),
		} {
			if g.status != 422 {
				t.Errorf("%s: %d %s", name, g.status, g.body)
			}
		}

		// The outline, a find and the visit are edited, and a find is added.
		b.outline["geometry"] = square(-80.42, 35.87, 0.0021)
		finds[0]["properties"].(map[string]any)["state"] = "refuted"
		b.visited["properties"].(map[string]any)["inspected"] = []map[string]any{{"row": 1, "from": 1, "to": 4}}
		for name, g := range map[string]got{
			"outline": owner.do("PUT", itemAt("blocks", b.block), b.outline, "If-Match", b.tags[b.block]),
			"find":    adviser.do("PUT", itemAt("finds", ids[0]), finds[0], "If-Match", b.tags[ids[0]], whyHeader, "second look"),
			"visit":   scout.do("PUT", itemAt("visits", b.visit), b.visited, "If-Match", b.tags[b.visit]),
		} {
			if g.status != 200 {
				t.Fatalf("editing the %s: %d %s", name, g.status, g.body)
			}
		}
		if after := papers(); after != before {
			t.Error("the papers of a signed decision differ after edits")
		}
		// Who leaves with everything has the signed papers, the same.
		archive := owner.do("GET", "/farms/mine/exports/everything.zip", nil)
		left, err := zip.NewReader(bytes.NewReader(archive.body), int64(len(archive.body)))
		if err != nil {
			t.Fatal(err)
		}
		for name, at := range map[string]string{"removal-review": "removal-review.pdf?lang=en&review=", "crew-sheet": "crew-sheet.pdf?lang=en&review="} {
			data, err := fs.ReadFile(left, "pdf/"+name+"-"+string(id)+".pdf")
			if want := owner.do("GET", "/farms/mine/reports/"+at+string(id), nil); err != nil || !bytes.Equal(data, want.body) {
				t.Errorf("%s in the archive of the farm: %d bytes, %v; printed alone %d", name, len(data), err, len(want.body))
			}
		}
		if g := adviser.do("POST", "/farms/mine/reviews", b.signing(b.ids.New(), p.Basis, "")); g.status != 412 {
			t.Errorf("signing on what was seen before the edits: %d %s", g.status, g.body)
		}

		// The owner acknowledges; the frozen part stays byte for byte.
		at := "/farms/mine/reviews/" + string(id) + "/acknowledgement"
		if g := adviser.do("POST", at, `{"name":"A. Adviser"}`); g.status != 403 {
			t.Errorf("the adviser acknowledges: %d", g.status)
		}
		seen := owner.do("POST", at, `{"name":"G. Grower","words":"Seen."}`)
		if seen.status != 200 || owner.do("POST", at, `{"name":"G. Grower","words":"Seen."}`).status != 200 || owner.do("POST", at, `{"name":"G. Grower","words":"No."}`).status != 409 {
			t.Errorf("acknowledging: %d %s", seen.status, seen.body)
		}
		if members := seen.json(t)["properties"].(map[string]any); !sameBut(frozen.json(t)["properties"].(map[string]any), members, "acknowledged") {
			t.Error("acknowledging changed more than it added")
		}
		if after := papers(); after != before {
			t.Error("the papers differ after the acknowledgement")
		}

		// What verification says of it.
		must(t, s.store.View(context.Background(), "mine", func(r records.Reader) error {
			problems, err := review.Recheck(context.Background(), r)
			if len(problems) != 0 {
				t.Errorf("verification finds %v", problems)
			}
			rev, missing := r.Current(records.Reviews, id)
			must(t, missing)
			for what, change := range map[string][2]string{"a plant": {`"plant":8,"row":5,"why"`, `"plant":9,"row":5,"why"`}, "a reason": {"before pustules open", "after pustules open"}} {
				altered := bytes.Replace(rev.Record.Properties, []byte(change[0]), []byte(change[1]), 1)
				if bytes.Equal(altered, rev.Record.Properties) || review.Verify(context.Background(), altered) == nil {
					t.Errorf("%s altered in a signed decision passes verification", what)
				}
			}
			return err
		}))

		// A new decision follows it, once.
		p = b.propose("")
		next := adviser.do("POST", "/farms/mine/reviews", b.signing(b.ids.New(), p.Basis, fmt.Sprintf(`,"supersedes":%q`, id)))
		third := adviser.do("POST", "/farms/mine/reviews", b.signing(b.ids.New(), p.Basis, fmt.Sprintf(`,"supersedes":%q`, id)))
		if next.status != 201 || third.status != 422 {
			t.Errorf("superseding: %d, twice: %d %s", next.status, third.status, third.body)
		}
	})
}

// sameBut compares two objects but for one member.
func sameBut(a, b map[string]any, but string) bool {
	strip := func(m map[string]any) string {
		copied := map[string]any{}
		for k, v := range m {
			if k != but {
				copied[k] = v
			}
		}
		data, _ := json.Marshal(copied)
		return string(data)
	}
	return strip(a) == strip(b)
}

// Who carries a list out takes out what it says and nothing else.
func TestCarryingOut(t *testing.T) {
	b := newSite(t).infected()
	adviser, crew := b.as("adviser"), b.as("applicator")
	id, f := b.find(5, 7)
	b.confirm([]records.ID{id}, []map[string]any{f})
	decision := b.ids.New()
	if g := adviser.do("POST", "/farms/mine/reviews", b.signing(decision, b.propose("").Basis, "")); g.status != 201 {
		t.Fatalf("signing: %d %s", g.status, g.body)
	}
	out := func(row, plant int, more map[string]any) map[string]any {
		p := map[string]any{"block": b.block, "plants": []map[string]any{{"row": row, "plant": plant}}, "roots_out": true, "bagged": true, "done_on": "2026-04-21"}
		for k, v := range more {
			p[k] = v
		}
		return feature(b.ids.New(), nil, p)
	}
	put := func(c *client, f map[string]any, headers ...string) got {
		return c.do("PUT", itemAt("removals", f["id"].(records.ID)), f, headers...)
	}
	for name, tc := range map[string]struct {
		who    *client
		f      map[string]any
		status int
	}{
		"crew without a list":       {crew, out(5, 7, nil), 403},
		"crew, another plant":       {crew, out(5, 8, map[string]any{"review": decision}), 422},
		"adviser, another plant":    {adviser, out(5, 8, map[string]any{"review": decision}), 422},
		"adviser on her own word":   {adviser, out(5, 8, nil), 201},
		"a look at another plant":   {crew, out(5, 7, map[string]any{"review": decision, "checks": []any{map[string]any{"on": "2026-06-01", "regrowth": true, "plants": []any{map[string]any{"row": 9, "plant": 9}}}}}), 422},
		"a viewer":                  {b.as("viewer"), out(5, 7, map[string]any{"review": decision}), 403},
		"crew, a plant on the list": {crew, out(5, 7, map[string]any{"review": decision}), 201},
	} {
		if g := put(tc.who, tc.f); g.status != tc.status {
			t.Errorf("%s: %d, want %d: %s", name, g.status, tc.status, g.body)
		}
	}
	if p := b.propose(""); len(p.List.Remove) != 0 {
		t.Errorf("taken out, and listed again: %v", p.List.Remove)
	}
	// A look next spring sees it come back: it goes back on the list.
	done := b.as("viewer").do("GET", "/farms/mine/collections/removals/items?review="+string(decision), nil).json(t)["features"].([]any)[0].(map[string]any)
	tick := feature(records.ID(done["id"].(string)), nil, done["properties"].(map[string]any))
	tick["properties"].(map[string]any)["checks"] = []any{map[string]any{"on": "2027-04-12", "regrowth": true}}
	scout := b.as("scout")
	if g := put(scout, tick, "If-Match", done["etag"].(string)); g.status != 200 {
		t.Fatalf("a look for regrowth: %d %s", g.status, g.body)
	} else {
		tick["properties"].(map[string]any)["plants"] = []map[string]any{{"row": 6, "plant": 7}}
		if g := put(scout, tick, "If-Match", g.header.Get("ETag")); g.status != 422 {
			t.Errorf("the scout changes which plant it was: %d %s", g.status, g.body)
		}
	}
	if p := b.propose(""); fmt.Sprint(p.List.Remove) != "[{5 7 confirmed}]" {
		t.Errorf("after regrowth the list is %v", p.List.Remove)
	}

	// What became of it, told next spring after another walk of the block.
	b.make(scout, "visits", feature(b.ids.New(), nil, map[string]any{"block": b.block, "purpose": "scouting", "started_at": "2027-04-12T09:00:00-04:00", "inspected": []map[string]any{{"rows": "all"}}}))
	var after struct {
		Listed, Taken, Back int
		Left                []any
		Since               string
		Areas               []struct {
			Before, After *struct{ Inspected, Infected int }
		}
		Places map[string]any
	}
	g := b.as("viewer").do("GET", "/farms/mine/reviews/"+string(decision)+"/follow-up?as_of=2027-04-30", nil)
	must(t, json.Unmarshal(g.body, &after))
	if g.status != 200 || after.Listed != 1 || after.Taken != 1 || after.Back != 1 || len(after.Left) != 0 || after.Since == "" {
		t.Errorf("follow-up: %d %s", g.status, g.body)
	}
	// 240 plants; one of them confirmed before. Two places were dug out: one came
	// back, so 239 stand, none of them with a find of this span.
	if a := after.Areas[0]; a.Before == nil || a.Before.Inspected != 240 || a.Before.Infected != 1 || a.After == nil || a.After.Inspected != 239 || a.After.Infected != 0 {
		t.Errorf("before and after: %s", g.body)
	}
	if after.Places["empty"] != 1.0 {
		t.Errorf("empty places: %v", after.Places)
	}
	looks := b.as("viewer").do("GET", "/farms/mine/regrowth-checks?as_of=2026-05-20", nil)
	if l := looks.json(t); looks.status != 200 || l["due"] != 1.0 || len(l["removals"].([]any)) != 2 {
		t.Errorf("looks due four weeks after: %s", looks.body)
	}
	for _, bad := range []string{"regrowth-checks?as_of=12.5.2026", "reviews/" + string(decision) + "/follow-up?since=x"} {
		if g := b.as("viewer").do("GET", "/farms/mine/"+bad, nil); g.status != 400 {
			t.Errorf("%s: %d", bad, g.status)
		}
	}
}
