package sqlite_test

import (
	"bufio"
	"crypto/rand"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/records"
	"caneward/records/sqlite"
)

// killedWriterDir names the folder for this program when it runs as the writer
// that is to be killed.
const killedWriterDir = "CANEWARD_TEST_KILLED_WRITER"

// writeUntilKilled prints each id once its write was acknowledged.
func writeUntilKilled(dir string) {
	s, err := sqlite.Open(bg, dir, sqlite.Options{})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	ids := records.NewIDs(time.Now, rand.Reader)
	var group sync.WaitGroup
	var out sync.Mutex
	for range 8 {
		group.Go(func() {
			for i := 0; ; i++ {
				id := ids.New()
				outcomes, err := s.Write(bg, "f", []records.Write{typicalFind(id, orb.Point{-90, 38}, i)})
				if err != nil || outcomes[0].Err != nil {
					fmt.Fprintln(os.Stderr, err, outcomes)
					os.Exit(1)
				}
				out.Lock()
				fmt.Println("stored " + string(id) + " whole")
				out.Unlock()
			}
		})
	}
	group.Wait()
}

// TestKilled kills a writing process with SIGKILL again and again, opens what
// it left, and wants every acknowledged write there. It says nothing of loss of
// power, which only a machine can lose.
func TestKilled(t *testing.T) {
	const rounds = 5
	dir := t.TempDir()
	s, err := sqlite.Open(bg, dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.CreateFarm(bg, records.Farm{ID: "f", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	acknowledged := map[records.ID]bool{}
	for round := range rounds {
		before := len(acknowledged)
		runAndKill(t, dir, time.Duration(100+150*round)*time.Millisecond, acknowledged)
		if len(acknowledged) == before {
			t.Fatalf("round %d: nothing was acknowledged before the end", round+1)
		}
		start := time.Now()
		s := open(t, dir)
		if took := time.Since(start); took > 2*time.Second {
			t.Errorf("round %d: opening took %v, want under 2 s", round+1, took)
		}
		lost, stored := 0, 0
		err := s.View(bg, "f", func(r records.Reader) (err error) {
			for id := range acknowledged {
				if _, err := r.Current(records.Finds, id); err != nil {
					lost++
				}
			}
			stored, err = r.Count(records.Finds, records.Query{})
			return err
		})
		if err != nil || lost > 0 || stored < len(acknowledged) {
			t.Errorf("round %d: %d of %d acknowledged writes lost, %d stored, %v", round+1, lost, len(acknowledged), stored, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if r := verify(t, dir); len(r.Problems) != 0 || r.Revisions != stored {
			t.Errorf("round %d: %+v, want %d revisions and no problem", round+1, r, stored)
		}
	}
	t.Logf("%d acknowledged writes over %d kills, none lost", len(acknowledged), rounds)
}

// runAndKill lets a writer run for a while after its first answer.
func runAndKill(t *testing.T, dir string, run time.Duration, acknowledged map[records.ID]bool) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	writer := exec.Command(self)
	writer.Env = append(os.Environ(), killedWriterDir+"="+dir)
	writer.Stderr = os.Stderr
	out, err := writer.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := writer.Start(); err != nil {
		t.Fatal(err)
	}
	var killer *time.Timer
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if killer == nil {
			killer = time.AfterFunc(run, func() { writer.Process.Kill() })
		}
		// The last line may be cut; what is whole was acknowledged.
		if id, ok := strings.CutPrefix(lines.Text(), "stored "); ok && strings.HasSuffix(id, " whole") {
			acknowledged[records.ID(strings.TrimSuffix(id, " whole"))] = true
		}
	}
	if err := writer.Wait(); err == nil || writer.ProcessState.Exited() {
		t.Fatalf("the writer ended by itself: %v", err)
	}
}
