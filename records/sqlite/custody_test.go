package sqlite_test

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/sqlite"
)

func photo(t testing.TB, id records.ID) records.Photo {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 40))); err != nil {
		t.Fatal(err)
	}
	return records.Photo{ID: id, Type: "image/png", Data: b.Bytes(), By: records.Author{Person: "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a", Name: "Suite", Role: records.Scout}}
}

// withNeighbours adds documents and a photo to a sample's farm one.
func withNeighbours(t testing.TB, dir string, finds []records.ID) {
	t.Helper()
	s := open(t, dir)
	for i := range 3 {
		if _, _, err := s.PutDocument(bg, "one", "programmes", i, json.RawMessage(fmt.Sprintf(`{"level":%d}`, i)), records.Author{Person: "p", Name: "Suite", Role: records.Owner, Why: "a test"}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.PutPhoto(bg, "one", photo(t, finds[0])); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// flipped changes one bit of one column of one row; back undoes it.
func flipped(t *testing.T, db *sql.DB, random *rand.Rand, table, column string, row int64) (back func()) {
	t.Helper()
	set := func(v any) {
		form := "?"
		if _, isText := v.(string); isText {
			form = "CAST(? AS TEXT)"
			v = []byte(v.(string))
		}
		if _, err := db.Exec(`UPDATE `+table+` SET `+column+` = `+form+` WHERE rowid = ?`, v, row); err != nil {
			t.Fatalf("%s.%s of row %d: %v", table, column, row, err)
		}
	}
	var old any
	if err := db.QueryRow(`SELECT `+column+` FROM `+table+` WHERE rowid = ?`, row).Scan(&old); err != nil {
		t.Fatal(err)
	}
	flip := func(b []byte) []byte {
		b = bytes.Clone(b)
		if len(b) == 0 {
			return []byte{byte(1 + random.IntN(127))} // what was empty says something
		}
		b[random.IntN(len(b))] ^= 1 << random.IntN(8)
		return b
	}
	switch v := old.(type) {
	case int64:
		set(v ^ 1<<(20+random.IntN(20))) // high enough to meet no other row
	case string:
		set(string(flip([]byte(v))))
	case []byte:
		set(flip(v))
	case nil:
		set(flip(nil))
	default:
		t.Fatalf("%s.%s is a %T", table, column, old)
	}
	return func() { set(old) }
}

// TestVerifyNamesAFlippedBit flips one random bit of a random revision,
// document or photo at a time. SOAK=1 flips a thousand.
func TestVerifyNamesAFlippedBit(t *testing.T) {
	rounds := 40
	if os.Getenv("SOAK") != "" {
		rounds = 1000
	}
	dir := t.TempDir()
	finds := sample(t, dir)
	withNeighbours(t, dir, finds)
	if p := verify(t, dir).Problems; len(p) > 0 {
		t.Fatalf("untouched: %v", p)
	}
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(dir, sqlite.FileName)+"?_foreign_keys=0")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	for _, s := range []string{`PRAGMA ignore_check_constraints = ON`, `DROP TRIGGER revisions_are_not_changed`, `DROP TRIGGER photos_are_not_changed`, `DROP TRIGGER documents_are_not_changed`,
		// A bit that flips on a disk asks no index whether it may.
		`DROP INDEX revisions_by_record`,
		// Documents have no rowid of their own to be changed by.
		`CREATE TABLE copy AS SELECT * FROM documents`, `DROP TABLE documents`, `ALTER TABLE copy RENAME TO documents`} {
		if _, err := db.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	random := rand.New(rand.NewPCG(8, 8))
	columns := map[string][]string{
		"revisions": {"sequence", "kind", "id", "number", "deleted", "person", "name", "role", "why", "at_us", "shape", "properties", "hash"},
		"documents": {"document", "number", "person", "name", "role", "why", "at_us", "content", "hash"},
		"photos":    {"id", "type", "person", "name", "role", "at_us", "hash", "seal", "data"},
	}
	tables := []string{"revisions", "revisions", "documents", "photos"}
	found, named := 0, 0
	for range rounds {
		table := tables[random.IntN(len(tables))]
		column := columns[table][random.IntN(len(columns[table]))]
		var row, sequence int64
		query := `SELECT rowid, 0 FROM ` + table + ` ORDER BY rowid LIMIT 1 OFFSET ?`
		if table == "revisions" {
			query = `SELECT rowid, sequence FROM revisions ORDER BY rowid LIMIT 1 OFFSET ?`
		}
		var count int
		if err := db.QueryRow(`SELECT count(*) FROM ` + table).Scan(&count); err != nil {
			t.Fatal(err)
		}
		if err := db.QueryRow(query, random.IntN(count)).Scan(&row, &sequence); err != nil {
			t.Fatal(err)
		}
		back := flipped(t, db, random, table, column, row)
		problems := verify(t, dir).Problems
		said := ""
		for _, p := range problems {
			said += p.String() + "\n"
		}
		name := map[string]string{"revisions": fmt.Sprintf("(sequence %d)", sequence), "documents": "document", "photos": "photo"}[table]
		if table == "revisions" && column == "sequence" {
			name = "should stand here"
		}
		if len(problems) > 0 {
			found++
		}
		if strings.Contains(said, name) {
			named++
		} else {
			t.Errorf("%s.%s of row %d (sequence %d): verify says %q, want it named by %q", table, column, row, sequence, said, name)
		}
		back()
	}
	if p := verify(t, dir).Problems; len(p) > 0 {
		t.Errorf("after all that: %v", p)
	}
	t.Logf("%d random bits flipped in revisions, documents and photos: %d found, %d named", rounds, found, named)
}

// TestErasedIsGone looks for an erased farm's words in every file of the folder,
// and for its return from a copy made before.
func TestErasedIsGone(t *testing.T) {
	const word = "unmistakable-word"
	dir, to := t.TempDir(), t.TempDir()
	finds := sample(t, dir)
	s := open(t, dir)
	created := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	if err := s.CreateFarm(bg, records.Farm{ID: "going", Name: word, Zone: "UTC", Created: created}); err != nil {
		t.Fatal(err)
	}
	var batch []records.Write
	for i, id := range finds {
		batch = append(batch, find(id, 0, i, word), records.Write{Kind: records.Blocks, ID: id, Record: outline(i)})
	}
	if _, err := s.Write(bg, "going", batch); err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutPhoto(bg, "going", photo(t, finds[0])); err != nil {
		t.Fatal(err)
	}
	c := copier(t, dir, to, sqlite.Keep{Last: 9})
	if err := c.Copy(bg); err != nil {
		t.Fatal(err)
	}
	if err := s.SetLeaving(bg, "going", time.Now().Add(-time.Second), "me"); err != nil {
		t.Fatal(err)
	}
	if gone, err := s.EraseDue(bg, time.Now()); err != nil || len(gone) != 1 {
		t.Fatal(gone, err)
	}
	if err := c.Copy(bg); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if data, err := os.ReadFile(f); err != nil || bytes.Contains(data, []byte(word)) {
			t.Errorf("%s holds words of the erased farm (%v)", f, err)
		}
	}
	if p := verify(t, dir).Problems; len(p) > 0 {
		t.Errorf("after erasing: %v", p)
	}
	copies, err := filepath.Glob(filepath.Join(to, "*.db"))
	if err != nil || len(copies) != 2 {
		t.Fatal(copies, err)
	}
	for i, file := range copies {
		if data, err := os.ReadFile(file); err != nil || bytes.Contains(data, []byte(word)) != (i == 0) {
			t.Errorf("%s: words of the erased farm, or none, against expectation (%v)", file, err)
		}
		back := t.TempDir()
		if err := sqlite.Restore(bg, file, back); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(filepath.Join(back, sqlite.FileName))
		if err != nil || bytes.Contains(data, []byte(word)) {
			t.Errorf("restored from %s: words of the erased farm (%v)", file, err)
		}
		r := verify(t, back)
		if len(r.Problems) > 0 || r.Farms != 2 {
			t.Errorf("restored from %s: %+v", file, r)
		}
	}
}

// TestHalfBroughtInIsSwept leaves a history half brought in, as a killed server
// does.
func TestHalfBroughtInIsSwept(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	behind(t, dir, `UPDATE farms SET id = '~in-half' WHERE id = 'two'`)
	if r := verify(t, dir); len(r.Problems) > 0 || r.Farms != 1 || r.Revisions != 310 {
		t.Errorf("while it is half in: %+v", r)
	}
	s := open(t, dir)
	if farms, err := s.Farms(bg); err != nil || len(farms) != 1 {
		t.Errorf("farms: %v, %v", farms, err)
	}
	if err := s.View(bg, "~in-half", func(records.Reader) error { return nil }); !fault.Is(err, fault.Missing) {
		t.Errorf("the half: %v, want Missing", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if r := verify(t, dir); len(r.Problems) > 0 || r.Farms != 1 {
		t.Errorf("after the start: %+v", r)
	}
	// What is no farm on its way keeps its revisions.
	db, err := sql.Open("sqlite3", filepath.Join(dir, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`DELETE FROM revisions`); err == nil {
		t.Error("revisions were removed")
	}
}
