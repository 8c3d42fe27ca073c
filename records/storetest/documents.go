package storetest

import (
	"context"
	"encoding/json"
	"fmt"
	"sync"
	"testing"

	"caneward/blocks/fault"
	"caneward/records"
)

func testDocuments(t *testing.T, s Store) {
	farm(t, s, "one")
	farm(t, s, "two")
	_, err := s.Document(bg, "one", "programmes")
	wantKind(t, "a document never written", err, fault.Missing)
	_, err = s.Document(bg, "three", "programmes")
	wantKind(t, "a farm that is not there", err, fault.Missing)
	put := func(f records.FarmID, name records.DocumentName, base int, content string) (records.Document, bool, error) {
		return s.PutDocument(bg, f, name, base, json.RawMessage(content), author)
	}
	for _, c := range []struct {
		what, content string
		farm          records.FarmID
		name          records.DocumentName
		base          int
		want          fault.Kind
	}{
		{"no such farm", `{}`, "three", "programmes", 0, fault.Missing},
		{"no name", `{}`, "one", "Programmes!", 0, fault.Invalid},
		{"a list", `[]`, "one", "programmes", 0, fault.Invalid},
		{"broken", `{"a":`, "one", "programmes", 0, fault.Invalid},
		{"a base that is none", `{}`, "one", "programmes", -1, fault.Invalid},
		{"a base that is not there", `{}`, "one", "programmes", 1, fault.Stale},
		{"too large", `{"a":"` + string(make([]byte, records.DocumentLimit)) + `"}`, "one", "programmes", 0, fault.TooLarge},
	} {
		_, _, err := put(c.farm, c.name, c.base, c.content)
		wantKind(t, c.what, err, c.want)
	}
	first, repeated, err := put("one", "programmes", 0, `{"b": 1, "a": "x"}`)
	if err != nil || repeated || first.Number != 1 || string(first.Content) != `{"a":"x","b":1}` || first.By != author {
		t.Fatalf("the first: %+v, repeated %v, %v", first, repeated, err)
	}
	again, repeated, err := put("one", "programmes", 0, `{"a":"x","b":1}`)
	if err != nil || !repeated || again.Hash != first.Hash {
		t.Errorf("the first again: %+v, repeated %v, %v", again, repeated, err)
	}
	_, _, err = put("one", "programmes", 0, `{"a":"y"}`)
	wantKind(t, "another first", err, fault.Stale)
	second, _, err := put("one", "programmes", 1, `{"a":"y"}`)
	if err != nil || second.Number != 2 {
		t.Fatalf("the second: %+v, %v", second, err)
	}
	if again, repeated, err = put("one", "programmes", 0, `{"a":"x","b":1}`); err != nil || !repeated || again.Number != 1 {
		t.Errorf("the first after the second: %+v, repeated %v, %v", again, repeated, err)
	}
	if _, _, err = put("one", "other", 0, `{}`); err != nil {
		t.Errorf("another document: %v", err)
	}
	if d, _, err := put("two", "programmes", 0, `{"two":true}`); err != nil || d.Number != 1 {
		t.Errorf("another farm's: %+v, %v", d, err)
	}
	all, err := s.DocumentRevisions(bg, "one", "programmes")
	if err != nil || len(all) != 2 || all[0].Hash != first.Hash || all[1].Hash != second.Hash {
		t.Fatalf("revisions: %+v, %v", all, err)
	}
	var before [32]byte
	for _, d := range all {
		if d.Link(before, "one") != d.Hash || d.Farm != "one" || d.Name != "programmes" || d.At.IsZero() {
			t.Errorf("revision %d does not fit its chain: %+v", d.Number, d)
		}
		before = d.Hash
	}
	if d, err := s.Document(bg, "one", "programmes"); err != nil || d.Number != 2 || string(d.Content) != `{"a":"y"}` {
		t.Errorf("the newest: %+v, %v", d, err)
	}
	ended, end := context.WithCancel(bg)
	end()
	if _, _, err := s.PutDocument(ended, "one", "programmes", 2, json.RawMessage(`{}`), author); err != context.Canceled {
		t.Errorf("a context that has ended: %v", err)
	}
	testDocumentWriters(t, s)
}

// testDocumentWriters: of several who replace one revision, one gets through.
func testDocumentWriters(t *testing.T, s Store) {
	var wait sync.WaitGroup
	kept := make(chan int, 8)
	for i := range 8 {
		wait.Go(func() {
			_, _, err := s.PutDocument(bg, "one", "programmes", 2, json.RawMessage(fmt.Sprintf(`{"writer":%d}`, i)), author)
			if err == nil {
				kept <- i
			} else if !fault.Is(err, fault.Stale) {
				t.Errorf("writer %d: %v, want stale", i, err)
			}
		})
	}
	wait.Wait()
	close(kept)
	if len(kept) != 1 {
		t.Fatalf("%d of 8 writers got through, want 1", len(kept))
	}
	d, err := s.Document(bg, "one", "programmes")
	if want := fmt.Sprintf(`{"writer":%d}`, <-kept); err != nil || d.Number != 3 || string(d.Content) != want {
		t.Errorf("the newest: %+v, %v, want %s", d, err, want)
	}
}
