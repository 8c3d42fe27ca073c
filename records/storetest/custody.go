package storetest

import (
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"reflect"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/people"
)

// history is a farm's whole content.
type history struct {
	farm      records.Farm
	revisions []records.Revision
	documents []records.Document
	photos    []records.Photo
}

func historyOf(t *testing.T, s Store, id records.FarmID) (h history) {
	t.Helper()
	err := s.View(bg, id, func(r records.Reader) (err error) {
		h.farm = r.Farm()
		h.revisions, _, err = r.Since(0, 0)
		return err
	})
	if err == nil {
		err = s.EachDocument(bg, id, func(d records.Document) error {
			h.documents = append(h.documents, d)
			return nil
		})
	}
	if err == nil {
		err = s.EachPhoto(bg, id, func(p records.Photo) error {
			h.photos = append(h.photos, p)
			return nil
		})
	}
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func each[T any](all []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for _, one := range all {
			if !yield(one, nil) {
				return
			}
		}
	}
}

func (h history) arrival() records.Arrival {
	return records.Arrival{Farm: h.farm, Revisions: each(h.revisions), Documents: each(h.documents), Photos: each(h.photos)}
}

func place(i int) orb.Point { return orb.Point{home[0] + float64(i)/1000, home[1]} }

// lived makes a farm with replaced, closed and reopened records, a document of
// two revisions, and a photo.
func lived(t *testing.T, s Store, id records.FarmID, seed uint64) history {
	t.Helper()
	f := records.Farm{ID: id, Name: "Lived on", Zone: "America/Chicago", Invented: true, Created: time.Date(2025, 2, 3, 4, 5, 6, 7000, time.UTC)}
	if err := s.CreateFarm(bg, f); err != nil {
		t.Fatal(err)
	}
	g := ids(seed)
	write := func(w records.Write) {
		w.By = author
		o, err := s.Write(bg, id, []records.Write{w})
		if err != nil || o[0].Err != nil {
			t.Fatal(err, o)
		}
	}
	for i := range 40 {
		r := find(place(i), fmt.Sprintf(`{"n": %d, "text": "<&>"}`, i))
		one := g.New()
		write(records.Write{Kind: records.Finds, ID: one, Record: r})
		if i%3 == 0 {
			r.Properties = json.RawMessage(`{"n": 100}`)
			write(records.Write{Kind: records.Finds, ID: one, Record: r, Base: 1})
		}
		if i%6 == 0 {
			write(records.Write{Kind: records.Finds, ID: one, Delete: true, Base: 2})
		}
		if i%12 == 0 {
			write(records.Write{Kind: records.Finds, ID: one, Record: r, Base: 3})
		}
	}
	for i, content := range []string{`{"a":1}`, `{"a":2}`} {
		for _, name := range []records.DocumentName{"programmes", "another"} {
			if _, _, err := s.PutDocument(bg, id, name, i, json.RawMessage(content), author); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := s.PutPhoto(bg, id, records.Photo{ID: g.New(), Type: "image/png", Data: picture(t, 5), By: author}); err != nil {
		t.Fatal(err)
	}
	return historyOf(t, s, id)
}

func testBringIn(t *testing.T, s Store) {
	h := lived(t, s, "lived", 71)
	p := people.Person{ID: ids(72).NewPerson(), Name: "newcomer", Password: "x"}
	if err := s.CreatePerson(bg, p); err != nil {
		t.Fatal(err)
	}
	farm(t, s, "new")
	if err := s.SetRole(bg, people.Membership{Person: p.ID, Farm: "new", Role: records.Owner}); err != nil {
		t.Fatal(err)
	}
	if err := s.BringIn(bg, "new", h.arrival()); err != nil {
		t.Fatal(err)
	}
	got := historyOf(t, s, "new")
	if got.farm.Chain != "lived" || got.farm.Brought.IsZero() || got.farm.BroughtTo != int64(len(h.revisions)) {
		t.Errorf("the farm: %+v, want its chain and when it was brought in", got.farm)
	}
	got.farm.ID, got.farm.Chain, got.farm.Brought, got.farm.BroughtTo = h.farm.ID, "", time.Time{}, 0
	for i := range got.documents {
		got.documents[i].Farm = h.farm.ID
	}
	if !reflect.DeepEqual(got, h) {
		t.Errorf("brought in:\n%+v\nwant\n%+v", got, h)
	}
	if m, err := s.FarmsOf(bg, p.ID); err != nil || len(m) != 1 || m[0].Farm != "new" || m[0].Role != records.Owner {
		t.Errorf("people of the farm: %+v, %v", m, err)
	}
	// The farm goes on: the chain, lists, and a second way on to a third farm.
	o, err := s.Write(bg, "new", []records.Write{{Kind: records.Finds, ID: ids(73).New(), Record: find(place(50), `{}`), By: author}})
	if err != nil || o[0].Err != nil || o[0].Revision.Sequence != int64(len(h.revisions))+1 {
		t.Fatalf("writing on: %+v, %v", o, err)
	}
	content, err := records.ContentOf(o[0].Revision.Record)
	if want := records.Link(h.revisions[len(h.revisions)-1].Hash, "lived", o[0].Revision, content); err != nil || want != o[0].Revision.Hash {
		t.Error("the chain does not go on under the id it began with")
	}
	err = s.View(bg, "new", func(r records.Reader) error {
		all, err := r.Count(records.Finds, records.Query{})
		if err != nil {
			return err
		}
		inside, err := r.Count(records.Finds, records.Query{Box: box(-91, 38, -89, 39.5)})
		if all != 38 || inside != all {
			t.Errorf("%d finds, %d of them in the box; want 38 and 38", all, inside)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	farm(t, s, "third")
	if err := s.BringIn(bg, "third", historyOf(t, s, "new").arrival()); err != nil {
		t.Errorf("brought in twice over: %v", err)
	}
	wantKind(t, "into a farm that is not empty", s.BringIn(bg, "third", h.arrival()), fault.Conflict)
	wantKind(t, "into no farm", s.BringIn(bg, "nowhere", h.arrival()), fault.Missing)
}

func testBringInRefused(t *testing.T, s Store) {
	h := lived(t, s, "lived", 74)
	farm(t, s, "new")
	last := len(h.revisions) - 1
	for name, spoil := range map[string]func(*history){
		"another farm's chain":   func(h *history) { h.farm.ID = "other" },
		"a word changed":         func(h *history) { h.revisions[last].By.Why = "because" },
		"a time changed":         func(h *history) { h.revisions[7].At = h.revisions[7].At.Add(time.Microsecond) },
		"a hash changed":         func(h *history) { h.revisions[last].Hash[3] ^= 1 },
		"one left out":           func(h *history) { h.revisions = append(h.revisions[:5:5], h.revisions[6:]...) },
		"two turned round":       func(h *history) { h.revisions[5], h.revisions[6] = h.revisions[6], h.revisions[5] },
		"a kind that is none":    func(h *history) { h.revisions[0].Kind = "cows" },
		"no properties":          func(h *history) { h.revisions[0].Record.Properties = json.RawMessage(`[]`) },
		"a time of no calendar":  func(h *history) { h.revisions[0].At = time.Date(20000, 1, 1, 0, 0, 0, 0, time.UTC) },
		"a name of 1,000 bytes":  func(h *history) { h.revisions[0].By.Name = string(make([]byte, 1000)) },
		"a zone that is none":    func(h *history) { h.farm.Zone = "Moon/North" },
		"a document changed":     func(h *history) { h.documents[1].Content = json.RawMessage(`{"a":3}`) },
		"a document twice":       func(h *history) { h.documents = append(h.documents, h.documents[1]) },
		"a photo that is none":   func(h *history) { h.photos[0].Data = []byte("hello") },
		"a photo of another day": func(h *history) { h.photos[0].At = time.Time{} },
	} {
		bad := history{h.farm, append([]records.Revision(nil), h.revisions...), append([]records.Document(nil), h.documents...), append([]records.Photo(nil), h.photos...)}
		spoil(&bad)
		if err := s.BringIn(bg, "new", bad.arrival()); !fault.Is(err, fault.Invalid) && !fault.Is(err, fault.Malformed) {
			t.Errorf("%s: %v, want it refused", name, err)
		}
		if got := historyOf(t, s, "new"); len(got.revisions)+len(got.documents)+len(got.photos) > 0 || got.farm.Name == h.farm.Name {
			t.Errorf("%s: the farm holds %d revisions, %d documents, %d photos", name, len(got.revisions), len(got.documents), len(got.photos))
		}
	}
	stop := fault.New(fault.Malformed, records.FarmMissing().(*fault.Error).Text)
	broken := h.arrival()
	broken.Photos = func(yield func(records.Photo, error) bool) { yield(records.Photo{}, stop) }
	if err := s.BringIn(bg, "new", broken); err != stop {
		t.Errorf("an error of the archive: %v, want it given on", err)
	}
	if err := s.BringIn(bg, "new", h.arrival()); err != nil {
		t.Errorf("the whole history after all that: %v", err)
	}
}

func testErase(t *testing.T, s Store) {
	lived(t, s, "going", 75)
	kept := lived(t, s, "staying", 76)
	p := people.Person{ID: ids(77).NewPerson(), Name: "on-both", Password: "x"}
	if err := s.CreatePerson(bg, p); err != nil {
		t.Fatal(err)
	}
	for _, f := range []records.FarmID{"going", "staying"} {
		if err := s.SetRole(bg, people.Membership{Person: p.ID, Farm: f, Role: records.Owner}); err != nil {
			t.Fatal(err)
		}
	}
	due := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	erase := func(now time.Time, want int) {
		t.Helper()
		if gone, err := s.EraseDue(bg, now); err != nil || len(gone) != want {
			t.Errorf("at %v: %v erased, %v, want %d", now, gone, err, want)
		}
	}
	wantKind(t, "no farm", s.SetLeaving(bg, "nowhere", due, "me"), fault.Missing)
	if err := s.SetLeaving(bg, "going", due, "The owner"); err != nil {
		t.Fatal(err)
	}
	if f := historyOf(t, s, "going").farm; !f.Leaving.Equal(due) || f.LeavingBy != "The owner" {
		t.Errorf("waiting: %+v", f)
	}
	erase(due.Add(-time.Second), 0)
	if err := s.SetLeaving(bg, "going", time.Time{}, ""); err != nil {
		t.Fatal(err)
	}
	if f := historyOf(t, s, "going").farm; !f.Leaving.IsZero() || f.LeavingBy != "" {
		t.Errorf("taken back: %+v", f)
	}
	erase(due.Add(time.Hour), 0)
	if err := s.SetLeaving(bg, "going", due, "The owner"); err != nil {
		t.Fatal(err)
	}
	erase(due, 1)
	erase(due, 0)
	wantKind(t, "reading what was erased", s.View(bg, "going", func(records.Reader) error { return nil }), fault.Missing)
	if m, err := s.FarmsOf(bg, p.ID); err != nil || len(m) != 1 || m[0].Farm != "staying" {
		t.Errorf("memberships: %+v, %v", m, err)
	}
	if all, err := s.Farms(bg); err != nil || len(all) != 1 {
		t.Errorf("farms: %+v, %v", all, err)
	}
	if got := historyOf(t, s, "staying"); !reflect.DeepEqual(got, kept) {
		t.Error("the other farm is not what it was")
	}
	if again := lived(t, s, "going", 75); len(again.revisions) == 0 {
		t.Error("the id cannot be used again")
	}
}

func testSeen(t *testing.T, s Store) {
	farm(t, s, "f")
	farm(t, s, "g")
	hour := time.Date(2026, 5, 1, 9, 0, 0, 0, time.UTC)
	seen := func(f records.FarmID, hour time.Time, what string, refused bool, times int64) records.Seen {
		return records.Seen{Farm: f, Hour: hour, Person: "p", Name: "P", Role: records.Scout, What: what, Kind: records.Finds, Refused: refused,
			First: hour.Add(time.Minute), Last: hour.Add(2 * time.Minute), Times: times, Records: 10 * times}
	}
	later := seen("f", hour, "items", false, 4)
	later.First, later.Last, later.Role = hour.Add(5*time.Minute), hour.Add(6*time.Minute), records.Adviser
	if err := s.AddSeen(bg, []records.Seen{seen("f", hour, "items", false, 1), later, seen("f", hour, "items", true, 2), seen("g", hour, "items", false, 1), seen("gone", hour, "items", false, 1)}); err != nil {
		t.Fatal(err)
	}
	if err := s.AddSeen(bg, []records.Seen{seen("f", hour.Add(time.Hour), "export", false, 1), seen("f", hour, "items", false, 1)}); err != nil {
		t.Fatal(err)
	}
	read := func() (all []records.Seen) {
		t.Helper()
		if err := s.EachSeen(bg, "f", func(e records.Seen) error { all = append(all, e); return nil }); err != nil {
			t.Fatal(err)
		}
		return all
	}
	want := seen("f", hour, "items", false, 6)
	want.Last, want.Role = later.Last, records.Adviser
	got := read()
	if len(got) != 3 || got[1].What != "items" || !got[1].Refused || got[2].What != "export" {
		t.Fatalf("seen: %+v", got)
	}
	if !reflect.DeepEqual(got[0], want) {
		t.Errorf("added together, name and role those of the newest time: %+v, want %+v", got[0], want)
	}
	if err := s.ForgetSeen(bg, hour.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if got := read(); len(got) != 1 || got[0].What != "export" {
		t.Errorf("after forgetting: %+v", got)
	}
	wantKind(t, "no farm", s.EachSeen(bg, "nowhere", func(records.Seen) error { return nil }), fault.Missing)
	ended, end := context.WithCancel(bg)
	end()
	if err := s.AddSeen(ended, got); err != context.Canceled {
		t.Errorf("a context that has ended: %v", err)
	}
}
