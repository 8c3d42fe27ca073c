package sqlite_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/records"
	"caneward/records/people"
	"caneward/records/sqlite"
)

var update = flag.Bool("update", false, "rewrite golden files")

// sample fills a folder with two farms of some 200 revisions each and gives
// the ids of the finds of farm one.
func sample(t testing.TB, dir string) []records.ID {
	t.Helper()
	s, err := sqlite.Open(bg, dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	ids := records.NewIDs(time.Now, counter{})
	var finds []records.ID
	for _, f := range []records.FarmID{"one", "two"} {
		if err := s.CreateFarm(bg, records.Farm{ID: f, Zone: "UTC"}); err != nil {
			t.Fatal(err)
		}
		for i := range 100 {
			id := ids.New()
			batch := []records.Write{find(id, 0, i, "orange-rust"), find(id, 1, i, "orange-rust"), {Kind: records.Blocks, ID: id, Record: outline(i)}}
			if i%10 == 9 {
				batch = append(batch, records.Write{Kind: records.Finds, ID: id, Base: 2, Delete: true})
			}
			outcomes, err := s.Write(bg, f, batch)
			if err != nil {
				t.Fatal(err)
			}
			for _, o := range outcomes {
				if o.Err != nil {
					t.Fatal(o.Err)
				}
			}
			if f == "one" {
				finds = append(finds, id)
			}
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return finds
}

// counter is a source of bytes that is not random.
type counter struct{}

func (counter) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

func find(id records.ID, base, i int, cause string) records.Write {
	return records.Write{Kind: records.Finds, ID: id, Base: base, By: records.Author{Name: "Suite"}, Record: records.Record{
		Geometry:   geo.Geometry{Flat: orb.Point{-90 + float64(i)/1e4, 38.7}},
		Properties: json.RawMessage(fmt.Sprintf(`{"cause":%q,"found_at":"2026-05-01T10:00:00Z","i":%d,"base":%d}`, cause, i, base)),
	}}
}

func outline(i int) records.Record {
	w := -90 + float64(i)/100
	return records.Record{Geometry: geo.Geometry{Flat: orb.Polygon{{{w, 38}, {w + 0.01, 38}, {w + 0.01, 38.01}, {w, 38}}}}, Properties: json.RawMessage(`{"name":"B"}`)}
}

func verify(t testing.TB, dir string) sqlite.Report {
	t.Helper()
	r, err := sqlite.Verify(bg, dir)
	if err != nil {
		t.Fatalf("Verify: %v", err)
	}
	return r
}

func TestVerifyClean(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	r := verify(t, dir)
	if len(r.Problems) != 0 || r.Farms != 2 || r.Revisions != 620 || r.Records != 380 {
		t.Errorf("got %+v, want 2 farms, 620 revisions, 380 records and no problem", r)
	}
	_, err := sqlite.Verify(bg, t.TempDir())
	if !fault.Is(err, fault.Missing) {
		t.Errorf("Verify of an empty folder: %v, want Missing", err)
	}
}

// A word changed in the raw file, wherever it stands, is found and named.
func TestVerifyFindsChangedWord(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	path := filepath.Join(dir, sqlite.FileName)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	word, other := []byte("orange-rust"), []byte("orange-mist")
	tried := 0
	for at := bytes.Index(whole, word); at >= 0; {
		if tried++; tried%40 == 1 {
			changed := bytes.Clone(whole)
			copy(changed[at:], other)
			if err := os.WriteFile(path, changed, 0o600); err != nil {
				t.Fatal(err)
			}
			r := verify(t, dir)
			if len(r.Problems) != 1 || r.Problems[0].Kind != records.Finds || r.Problems[0].Number == 0 || r.Problems[0].Farm == "" || r.Problems[0].ID == "" {
				t.Errorf("word at %d changed: %v, want one problem naming a find's revision", at, r.Problems)
			}
		}
		next := bytes.Index(whole[at+1:], word)
		if next < 0 {
			break
		}
		at += 1 + next
	}
	if tried != 400 {
		t.Errorf("the word stands %d times in the file, want 400: once for each revision and nowhere else", tried)
	}
}

// Everything that follows from the revisions is recomputed; each row breaks
// one thing behind the program's back.
func TestVerifyFindsDamage(t *testing.T) {
	for _, c := range []struct{ name, sql, want string }{
		{"author changed", `UPDATE revisions SET name = 'Other' WHERE farm = 1 AND sequence = 5`, "one/finds"},
		{"time changed", `UPDATE revisions SET at_us = at_us + 1 WHERE farm = 1 AND sequence = 5`, "(sequence 5)"},
		{"shape taken away", `UPDATE revisions SET shape = NULL WHERE farm = 2 AND sequence = 6`, "two/blocks"},
		{"shape broken", `UPDATE revisions SET shape = x'0102' WHERE farm = 2 AND sequence = 6`, "cannot be read"},
		{"hash changed", `UPDATE revisions SET hash = zeroblob(32) WHERE farm = 2 AND sequence = 6`, "(sequence 6)"},
		{"moved to another farm", `UPDATE revisions SET farm = 1, sequence = 311 WHERE farm = 2 AND sequence = 310`, "one/finds"},
		{"newest taken away", `DELETE FROM revisions WHERE farm = 1 AND sequence = 310`, "newest sequence"},
		{"one in the middle taken away", `DELETE FROM revisions WHERE farm = 1 AND sequence = 100`, "Sequence 100 should"},
		{"head changed", `UPDATE farms SET head = zeroblob(32) WHERE id = 'one'`, "newest sequence or hash"},
		{"head taken away", `UPDATE farms SET head = NULL WHERE id = 'one'`, "newest sequence or hash"},
		{"current points back", `UPDATE current SET revision = 1, number = 1 WHERE farm = 1 AND revision = 2`, "list of current records"},
		{"current hides a record", `UPDATE current SET deleted = 1 WHERE farm = 1 AND revision = 2`, "list of current records"},
		{"current lost", `DELETE FROM current WHERE farm = 1 AND revision = 2`, "list of current records"},
		{"time facet changed", `UPDATE current SET from_us = from_us - 1 WHERE farm = 1 AND revision = 2`, "list of current records"},
		{"box facet changed", `UPDATE current SET west = west - 1 WHERE farm = 1 AND revision = 2`, "list of current records"},
		{"place lost", `DELETE FROM places WHERE revision = 2`, "index of places"},
		{"place moved", `UPDATE places SET west = west - 1 WHERE revision = 2`, "index of places"},
		{"place on another shelf", `UPDATE places SET shelf_from = 0, shelf_to = 1 WHERE revision = 2`, "index of places"},
		{"place too many", `INSERT INTO places VALUES (1, 0, 1, 0, 1, 0, 1)`, "places holds"},
		{"member of no farm", `INSERT INTO memberships VALUES ('nobody', 99, 'owner', '')`, "memberships"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			sample(t, dir)
			behind(t, dir, `DROP TRIGGER revisions_are_not_changed; DROP TRIGGER revisions_are_not_removed; `+c.sql)
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

func behind(t testing.TB, dir, statements string) {
	t.Helper()
	db, err := sql.Open("sqlite3", filepath.Join(dir, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statements); err != nil {
		t.Fatalf("%s: %v", statements, err)
	}
}

func TestVerifyTornFile(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	path := filepath.Join(dir, sqlite.FileName)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, page := range []int{4, 9, 20, 40} {
		torn := bytes.Clone(whole)
		clear(torn[page*4096 : (page+1)*4096])
		if err := os.WriteFile(path, torn, 0o600); err != nil {
			t.Fatal(err)
		}
		r, err := sqlite.Verify(bg, dir)
		if err != nil || len(r.Problems) == 0 {
			t.Errorf("page %d overwritten: %+v, %v, want problems", page+1, r, err)
		}
	}
	if err := os.WriteFile(path, []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := sqlite.Verify(bg, dir); !fault.Is(err, fault.Conflict) {
		t.Errorf("a file of something else: %v, want Conflict", err)
	}
}

func TestVerifyRunsChecks(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	says := words.Verbatim("looked at")
	r, err := sqlite.Verify(bg, dir, func(_ context.Context, r records.Reader) ([]records.Problem, error) {
		n, err := r.Count(records.Finds, records.Query{})
		return []records.Problem{{Farm: r.Farm().ID, Number: n, Text: says}}, err
	})
	if err != nil || len(r.Problems) != 2 || r.Problems[0].Farm != "one" || r.Problems[1].Farm != "two" || r.Problems[0].Number != 90 {
		t.Errorf("got %+v, %v, want what the check says of both farms", r, err)
	}
	broken := errors.New("broken")
	if _, err := sqlite.Verify(bg, dir, func(context.Context, records.Reader) ([]records.Problem, error) { return nil, broken }); !errors.Is(err, broken) {
		t.Errorf("error of a check: %v, want it given on", err)
	}
}

func TestBackupAndRestore(t *testing.T) {
	dir := t.TempDir()
	finds := sample(t, dir)
	s := open(t, dir)
	p := people.Person{ID: records.PersonID(finds[0]), Name: "zoe", Password: "x"}
	if err := s.CreatePerson(bg, p); err != nil {
		t.Fatal(err)
	}
	token := people.Grant{ID: string(finds[1]), Hash: people.TokenHash("a token"), Purpose: people.Token, Farm: "one", Person: p.ID, By: p.ID, Name: "map", Role: records.Owner,
		Created: time.Now(), Expires: time.Now().Add(time.Hour)}
	session := people.Session{TokenHash: people.TokenHash("t"), Person: p.ID, Expires: time.Now().Add(time.Hour)}
	if err := errors.Join(s.AddGrant(bg, token), s.SaveSession(bg, session)); err != nil {
		t.Fatal(err)
	}
	// Copies are taken while a writer goes on; each must hold a state that was.
	stop, ended := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for ; ; n++ {
			select {
			case <-stop:
				ended <- n
				return
			default:
				w := find(finds[0], records.Any, n, "orange-rust")
				if _, err := s.Write(bg, "one", []records.Write{w, {Kind: records.Visits, ID: finds[1], Base: records.Any, Record: w.Record}}); err != nil {
					t.Error(err)
				}
			}
		}
	}()
	for i := range 5 {
		copied := filepath.Join(dir, fmt.Sprintf("copy-%d", i))
		if err := sqlite.Backup(bg, dir, copied); err != nil {
			t.Fatal(err)
		}
		info, err := os.Stat(copied)
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("copy: %v, %v, want mode 0600", info.Mode(), err)
		}
		back := filepath.Join(t.TempDir(), "new", "folder")
		if err := sqlite.Restore(bg, copied, back); err != nil {
			t.Fatal(err)
		}
		r := verify(t, back)
		if len(r.Problems) != 0 || r.Revisions < 620 || r.Revisions%2 != 0 {
			t.Errorf("restored copy %d: %+v, want no problem and whole batches of two", i, r)
		}
		again := open(t, back)
		if got, err := again.PersonByName(bg, "zoe"); err != nil || got.ID != p.ID {
			t.Errorf("restored person: %+v, %v", got, err)
		}
		if _, err := again.Session(bg, session.TokenHash, time.Now()); !fault.Is(err, fault.Missing) {
			t.Errorf("restored session: %v, want it left behind", err)
		}
		if _, err := again.GrantOf(bg, people.Token, token.Hash, time.Now()); !fault.Is(err, fault.Missing) {
			t.Errorf("restored token: %v, want it ended", err)
		}
	}
	close(stop)
	if n := <-ended; n == 0 {
		t.Error("nothing was written meanwhile")
	}
	if err := sqlite.Backup(bg, dir, filepath.Join(dir, "copy-0")); !fault.Is(err, fault.Conflict) {
		t.Errorf("backup over a file: %v, want Conflict", err)
	}
	if err := sqlite.Restore(bg, filepath.Join(dir, "copy-0"), dir); !fault.Is(err, fault.Conflict) {
		t.Errorf("restore into a folder in use: %v, want Conflict", err)
	}
	if err := sqlite.Backup(bg, t.TempDir(), filepath.Join(dir, "x")); !fault.Is(err, fault.Missing) {
		t.Errorf("backup of nothing: %v, want Missing", err)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	if err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestRestoreRefusesDamage(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	copied := filepath.Join(dir, "copy")
	if err := sqlite.Backup(bg, dir, copied); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(copied)
	if err != nil {
		t.Fatal(err)
	}
	torn := bytes.Clone(whole)
	clear(torn[30*4096 : 31*4096])
	for name, content := range map[string][]byte{"a page overwritten": torn, "cut short": whole[:len(whole)/2], "empty": nil, "something else": []byte("not a database at all, but long enough to have a header and some more")} {
		if err := os.WriteFile(copied, content, 0o600); err != nil {
			t.Fatal(err)
		}
		to := t.TempDir()
		if err := sqlite.Restore(bg, copied, to); !fault.Is(err, fault.Conflict) {
			t.Errorf("%s: %v, want Conflict", name, err)
		}
		if left, _ := os.ReadDir(to); len(left) != 0 {
			t.Errorf("%s: %v left in the folder", name, left)
		}
	}
}

func TestOpen(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data with ? and # and %41")
	if _, err := sqlite.Open(bg, dir, sqlite.Options{Beside: true}); !fault.Is(err, fault.Missing) {
		t.Errorf("beside nothing: %v, want Missing", err)
	}
	s := open(t, dir)
	for name, mode := range map[string]os.FileMode{"": 0o700, sqlite.FileName: 0o600, sqlite.FileName + "-wal": 0o600} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil || info.Mode().Perm() != mode {
			t.Errorf("%q: %v, %v, want mode %o", name, info, err, mode)
		}
	}
	if _, err := sqlite.Open(bg, dir, sqlite.Options{}); !fault.Is(err, fault.Conflict) {
		t.Errorf("a second server: %v, want Conflict", err)
	}
	beside, err := sqlite.Open(bg, dir, sqlite.Options{Beside: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := beside.CreateFarm(bg, records.Farm{ID: "f", Zone: "UTC"}); err != nil {
		t.Errorf("writing beside a server: %v", err)
	}
	if err := beside.Close(); err != nil {
		t.Error(err)
	}
	if farms, err := s.Farms(bg); len(farms) != 1 || err != nil {
		t.Errorf("the server sees %v, %v", farms, err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if err := s.CreateFarm(bg, records.Farm{ID: "g", Zone: "UTC"}); !errors.Is(err, sqlite.ErrClosed) {
		t.Errorf("writing after Close: %v, want ErrClosed", err)
	}
	if _, err := s.Farms(bg); !errors.Is(err, sqlite.ErrClosed) {
		t.Errorf("reading after Close: %v, want ErrClosed", err)
	}
	open(t, dir)
}

func TestOpenRefusesOtherLayouts(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	behind(t, dir, `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)`)
	for name, try := range map[string]func() error{
		"open":   func() error { _, err := sqlite.Open(bg, dir, sqlite.Options{}); return err },
		"verify": func() error { _, err := sqlite.Verify(bg, dir); return err },
	} {
		if err := try(); !fault.Is(err, fault.Conflict) || !strings.Contains(err.Error(), "newer version") {
			t.Errorf("%s: %v, want a refusal that names the newer version", name, err)
		}
	}
	other := t.TempDir()
	behind(t, other, `CREATE TABLE theirs (a)`)
	if _, err := sqlite.Open(bg, other, sqlite.Options{}); !fault.Is(err, fault.Conflict) {
		t.Errorf("somebody else's database: %v, want Conflict", err)
	}
}

// TestSchema keeps the layout that all migrations together make in sight.
func TestSchema(t *testing.T) {
	dir := t.TempDir()
	if err := open(t, dir).Close(); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite3", filepath.Join(dir, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query(`SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY rowid`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	got := "-- What all migrations together make; go test -run TestSchema -update rewrites it.\n"
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		got += "\n" + s + ";\n"
	}
	if *update {
		if err := os.WriteFile("schema.sql", []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("schema.sql")
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("schema.sql is not what the migrations make; got\n%s", got)
	}
	var kinds []string
	names, err := db.Query(`SELECT name FROM kinds ORDER BY number`)
	if err != nil {
		t.Fatal(err)
	}
	defer names.Close()
	for names.Next() {
		var name string
		if err := names.Scan(&name); err != nil {
			t.Fatal(err)
		}
		kinds = append(kinds, name)
	}
	if fmt.Sprint(kinds) != fmt.Sprint(records.Kinds) {
		t.Errorf("table kinds %v, want %v in this order", kinds, records.Kinds)
	}
}
