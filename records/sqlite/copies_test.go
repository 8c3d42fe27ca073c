package sqlite_test

import (
	"bytes"
	"crypto/rand"
	"database/sql"
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"github.com/pressly/goose/v3"

	"caneward/blocks/fault"
	"caneward/records"
	"caneward/records/sqlite"
)

func TestKeep(t *testing.T) {
	for text, want := range map[string]string{
		"last=3":                     "last=3,daily=0,monthly=0",
		" monthly=2, last=1,daily=0": "last=1,daily=0,monthly=2",
		"last=0,daily=4":             "", "last=1,last=2": "", "": "", "last": "", "last=-1": "", "weekly=1,last=1": "",
	} {
		k, err := sqlite.ParseKeep(text)
		if got := k.String(); want == "" && !fault.Is(err, fault.Invalid) || want != "" && (err != nil || got != want) {
			t.Errorf("%q: %s, %v, want %q", text, got, err, want)
		}
	}
	// Copies every six hours over 100 days, newest first: the last 4, the newest
	// of each of 3 days, the newest of each of 2 months.
	newest := time.Date(2026, 5, 10, 18, 0, 0, 0, time.UTC)
	var times []time.Time
	for i := range 400 {
		times = append(times, newest.Add(-6*time.Hour*time.Duration(i)))
	}
	var got []string
	for i, stays := range (sqlite.Keep{Last: 4, Daily: 3, Monthly: 2}).Stays(times) {
		if stays {
			got = append(got, times[i].Format("01-02 15h"))
		}
	}
	want := "05-10 18h,05-10 12h,05-10 06h,05-10 00h,05-09 18h,05-08 18h,04-30 18h"
	if strings.Join(got, ",") != want {
		t.Errorf("kept %v, want %s", got, want)
	}
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

func copier(t testing.TB, dir, to string, keep sqlite.Keep) *sqlite.Copier {
	t.Helper()
	c, err := sqlite.NewCopier(dir, to, time.Minute, keep, time.Now, quiet())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCopier(t *testing.T) {
	dir, to := t.TempDir(), filepath.Join(t.TempDir(), "copies")
	sample(t, dir)
	c := copier(t, dir, to, sqlite.Keep{Last: 2})
	if s := c.State(); !s.Last.IsZero() || s.Copies != 0 {
		t.Errorf("before the first: %+v", s)
	}
	stray := filepath.Join(to, "caneward-notes.txt")
	half := filepath.Join(to, ".caneward-20260101T000000.000Z.db.123")
	if err := errors.Join(os.WriteFile(stray, nil, 0o600), os.WriteFile(half, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if err := c.Copy(bg); err != nil {
			t.Fatal(err)
		}
	}
	s := c.State()
	if s.Copies != 2 || s.Made != 3 || s.Bytes == 0 || s.Last.Before(s.Oldest) || s.Late(time.Now()) || !s.Late(s.Last.Add(3*time.Minute)) {
		t.Errorf("after three: %+v", s)
	}
	again := copier(t, dir, to, sqlite.Keep{Last: 2}).State()
	if again.Copies != 2 || !again.Last.Equal(s.Last) {
		t.Errorf("a server that starts anew counts %+v, want %+v", again, s)
	}
	if _, err := os.Stat(half); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("what a killed server left half done: %v, want it gone", err)
	}
	if _, err := os.Stat(stray); err != nil {
		t.Errorf("somebody's own file: %v", err)
	}
	files, err := filepath.Glob(filepath.Join(to, "caneward-*.db*"))
	if err != nil || len(files) != 4 {
		t.Fatalf("files: %v, %v, want two copies with their sums", files, err)
	}
	if err := sqlite.Restore(bg, files[0], t.TempDir()); err != nil {
		t.Errorf("restoring: %v", err)
	}
	// One flipped byte is found before anything is restored.
	whole, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	whole[len(whole)/2] ^= 1
	if err := os.WriteFile(files[0], whole, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := sqlite.Restore(bg, files[0], t.TempDir()); !fault.Is(err, fault.Conflict) || !strings.Contains(err.Error(), "SHA-256") {
		t.Errorf("restoring a changed copy: %v, want a refusal that names the sum", err)
	}
	// A copy that cannot be made leaves those of before, and is said.
	if err := os.Rename(filepath.Join(dir, sqlite.FileName), filepath.Join(dir, "away")); err != nil {
		t.Fatal(err)
	}
	if err := c.Copy(bg); err == nil {
		t.Error("a copy of nothing was made")
	}
	if s := c.State(); s.Failures != 1 || s.Failed.IsZero() || s.Copies != 2 {
		t.Errorf("after a failure: %+v", s)
	}
}

// TestCopiesUnderLoad writes as fast as the store takes it, copies meanwhile,
// restores each copy and counts: every write that was acknowledged before a copy
// began stands in it. SOAK=1 restores twenty.
func TestCopiesUnderLoad(t *testing.T) {
	rounds := 2
	if os.Getenv("SOAK") != "" {
		rounds = 20
	}
	dir, to := t.TempDir(), t.TempDir()
	s := open(t, dir)
	if err := s.CreateFarm(bg, records.Farm{ID: "f", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	ids := records.NewIDs(time.Now, rand.Reader)
	var acknowledged atomic.Int64 // sequences are given without gaps, in the order of commits
	stop := make(chan struct{})
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			for i := 0; ; i++ {
				select {
				case <-stop:
					return
				default:
				}
				batch := make([]records.Write, 10) // as phones send them
				for k := range batch {
					batch[k] = typicalFind(ids.New(), orb.Point{-90, 38}, 10*i+k)
				}
				o, err := s.Write(bg, "f", batch)
				if err != nil || records.AnyRefused(o) {
					t.Error(err, o)
					return
				}
				for n := o[len(o)-1].Revision.Sequence; ; {
					if seen := acknowledged.Load(); seen >= n || acknowledged.CompareAndSwap(seen, n) {
						break
					}
				}
			}
		})
	}
	c := copier(t, dir, to, sqlite.Keep{Last: rounds})
	start := time.Now()
	lost, slowest := int64(0), time.Duration(0)
	before := make([]int64, rounds)
	for round := range rounds {
		time.Sleep(500 * time.Millisecond)
		before[round] = acknowledged.Load()
		if err := c.Copy(bg); err != nil {
			t.Fatal(err)
		}
		slowest = max(slowest, c.State().Took)
	}
	close(stop)
	group.Wait()
	n, took := acknowledged.Load(), time.Since(start)
	files, err := filepath.Glob(filepath.Join(to, "caneward-*.db")) // by name, which is by time
	if err != nil || len(files) != rounds {
		t.Fatal(files, err)
	}
	for round, file := range files {
		back := t.TempDir()
		if err := sqlite.Restore(bg, file, back); err != nil {
			t.Fatal(err)
		}
		r := verify(t, back)
		if len(r.Problems) > 0 {
			t.Errorf("round %d: %v", round, r.Problems)
		}
		lost += max(0, before[round]-int64(r.Revisions))
	}
	t.Logf("%d writes in %v (%.0f/s) while %d copies were made; slowest copy %v; all restored and verified: %d acknowledged before their copy and not in it",
		n, took.Round(time.Millisecond), float64(n)/took.Seconds(), rounds, slowest.Round(time.Millisecond), lost)
	if lost != 0 || n == 0 {
		t.Errorf("%d of %d acknowledged writes are not in the copy made after them", lost, n)
	}
}

func TestUncleanEnd(t *testing.T) {
	dir := t.TempDir()
	sample(t, dir)
	s := open(t, dir)
	if s.Opening().Unclean {
		t.Error("a folder closed in order counts as left in disorder")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	left := func() {
		if err := os.WriteFile(filepath.Join(dir, "caneward.running"), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	left()
	s = open(t, dir)
	if o := s.Opening(); !o.Unclean || o.Checked <= 0 {
		t.Errorf("after a crash: %+v, want it checked", o)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if open(t, dir).Opening().Unclean {
		t.Error("unclean once more")
	}
	damaged := t.TempDir()
	sample(t, damaged)
	behind(t, damaged, `DROP TRIGGER revisions_are_not_changed; UPDATE revisions SET why = 'x' WHERE farm = 1 AND sequence = 3`)
	if err := os.WriteFile(filepath.Join(damaged, "caneward.running"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := sqlite.Open(bg, damaged, sqlite.Options{})
	if !fault.Is(err, fault.Conflict) || !strings.Contains(err.Error(), "sequence 3") {
		t.Errorf("after a crash that damaged the file: %v, want a refusal that names sequence 3", err)
	}
}

// older makes a folder of an earlier layout with a farm in it.
func older(t *testing.T, layout int64) string {
	t.Helper()
	dir := t.TempDir()
	db, err := sql.Open("sqlite3", filepath.Join(dir, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	p, err := goose.NewProvider(goose.DialectSQLite3, db, os.DirFS("migrations"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.UpTo(bg, layout); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`INSERT INTO farms (id, name, zone, invented, created_us) VALUES ('old', 'Old', 'UTC', 1, 5)`); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestUpgradeKeepsACopy(t *testing.T) {
	for layout := int64(1); layout <= 4; layout++ {
		dir := older(t, layout)
		before, err := os.ReadFile(filepath.Join(dir, sqlite.FileName))
		if err != nil {
			t.Fatal(err)
		}
		s := open(t, dir)
		o := s.Opening()
		if o.From != layout || o.To <= layout || o.Copy == "" {
			t.Errorf("layout %d: %+v", layout, o)
		}
		if farms, err := s.Farms(bg); len(farms) != 1 || err != nil {
			t.Errorf("layout %d: farms %v, %v", layout, farms, err)
		}
		if p := verify(t, dir).Problems; len(p) > 0 {
			t.Errorf("layout %d: %v", layout, p)
		}
		kept, err := os.ReadFile(o.Copy)
		if err != nil || len(kept) == 0 || bytes.Contains(kept, []byte("CREATE TABLE audit")) || !bytes.Contains(before, []byte("CREATE TABLE farms")) {
			t.Errorf("layout %d: the copy holds %d bytes, %v; want the layout of before", layout, len(kept), err)
		}
		// The copy comes back, and is brought up to date on the way.
		back := t.TempDir()
		if err := sqlite.Restore(bg, o.Copy, back); err != nil {
			t.Fatal(err)
		}
		if p := verify(t, back).Problems; len(p) > 0 {
			t.Errorf("layout %d restored: %v", layout, p)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if again := open(t, dir).Opening(); again.To != 0 {
			t.Errorf("layout %d: upgraded twice: %+v", layout, again)
		}
	}
}
