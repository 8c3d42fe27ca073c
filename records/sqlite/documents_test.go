package sqlite_test

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"caneward/records"
	"caneward/records/sqlite"
)

// documented fills a folder with one farm and three revisions of a document.
func documented(t *testing.T) (dir string, newest records.Document) {
	t.Helper()
	dir = t.TempDir()
	s, err := sqlite.Open(bg, dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.CreateFarm(bg, records.Farm{ID: "one", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		if newest, _, err = s.PutDocument(bg, "one", "programmes", i, json.RawMessage(fmt.Sprintf(`{"level":%d}`, i)), records.Author{Name: "Suite", Why: "a test"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return dir, newest
}

func TestVerifyReadsDocuments(t *testing.T) {
	dir, _ := documented(t)
	if r := verify(t, dir); len(r.Problems) != 0 {
		t.Fatalf("untouched: %v", r.Problems)
	}
	for _, c := range []struct{ name, sql, want string }{
		{"content changed", `UPDATE documents SET content = '{"level":9}' WHERE number = 2`, "one revision 2"},
		{"author changed", `UPDATE documents SET name = 'Other' WHERE number = 1`, "one revision 1"},
		{"one in the middle taken away", `DELETE FROM documents WHERE number = 2`, "Revision 2 of the document “programmes” should"},
		{"hash changed", `UPDATE documents SET hash = zeroblob(32) WHERE number = 3`, "one revision 3"},
		{"newest taken away", `DELETE FROM documents WHERE number = 3`, "The newest revision of the document “programmes” should be 3"},
		{"all taken away", `DELETE FROM documents`, "The newest revision of the document “programmes” should be 3"},
		{"head taken away", `DELETE FROM document_heads`, "The newest revision of the document “programmes” should be 0"},
		{"of no farm", `UPDATE documents SET farm = 99`, "documents"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, _ := documented(t)
			behind(t, dir, `DROP TRIGGER documents_are_not_changed; DROP TRIGGER documents_are_not_removed; `+c.sql)
			var all []string
			for _, p := range verify(t, dir).Problems {
				all = append(all, p.String())
			}
			if got := strings.Join(all, "\n"); !strings.Contains(got, c.want) {
				t.Errorf("%s: problems %q, want one that says %q", c.sql, got, c.want)
			}
		})
	}
}

func TestDocumentsAreInBackups(t *testing.T) {
	dir, newest := documented(t)
	file := filepath.Join(t.TempDir(), "copy.db")
	if err := sqlite.Backup(bg, dir, file); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "restored")
	if err := sqlite.Restore(bg, file, other); err != nil {
		t.Fatal(err)
	}
	s, err := sqlite.Open(bg, other, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	all, err := s.DocumentRevisions(bg, "one", "programmes")
	if err != nil || len(all) != 3 || all[2].Hash != newest.Hash || string(all[2].Content) != `{"level":2}` {
		t.Errorf("restored: %+v, %v", all, err)
	}
}
