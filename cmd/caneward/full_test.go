package main

import (
	"bytes"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/sqlite"
)

// smallDisk mounts a small file system in memory; false where this account may
// not.
func smallDisk(t *testing.T, megabytes int) (string, bool) {
	t.Helper()
	at := t.TempDir()
	out, err := exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm", megabytes), "tmpfs", at).CombinedOutput()
	if err != nil {
		t.Logf("no small disk can be mounted here (%v: %s)", err, bytes.TrimSpace(out))
		return "", false
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", at).CombinedOutput(); err != nil {
			t.Errorf("umount: %v: %s", err, out)
		}
	})
	return at, true
}

// fill takes all the room that is left.
func fill(t *testing.T, file string) {
	t.Helper()
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, size := range []int{1 << 20, 1 << 12} {
		for {
			if _, err := f.Write(make([]byte, size)); err != nil {
				break // no room for a piece of this size
			}
		}
	}
}

// TestFullDisk serves from a disk that fills up, reads on, and writes again once
// there is room, without a restart. Where no disk can be mounted, TestFull of
// records/sqlite alone holds the store to it, by a bound on the file's pages.
func TestFullDisk(t *testing.T) {
	disk, mounted := smallDisk(t, 24)
	if !mounted {
		return
	}
	dir := filepath.Join(disk, "records")
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var block records.ID
	if err := demofarm.Build(t.Context(), store); err != nil {
		t.Fatal(err)
	}
	err = store.View(t.Context(), "demo", func(r records.Reader) error {
		page, err := r.List(records.Blocks, records.Query{Limit: 1})
		if err == nil {
			block = page.Revisions[0].ID
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	server := startServer(t, dir)
	running := true
	end := func() {
		if running {
			running = false
			server.kill(t)
		}
	}
	t.Cleanup(end)
	cookie := signIn(t, server.address)
	ask := func(method, path string, body any) (int, []byte) {
		t.Helper()
		var data io.Reader
		if body != nil {
			b, err := json.Marshal(body)
			if err != nil {
				t.Fatal(err)
			}
			data = bytes.NewReader(b)
		}
		q, err := http.NewRequestWithContext(t.Context(), method, server.address+path, data)
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("Cookie", cookie)
		q.Header.Set("Content-Type", "application/json")
		reply, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer reply.Body.Close()
		answer, err := io.ReadAll(reply.Body)
		if err != nil {
			t.Fatal(err)
		}
		return reply.StatusCode, answer
	}
	ids := records.NewIDs(time.Now, rand.Reader)
	acknowledged := map[records.ID]bool{}
	send := func() int {
		t.Helper()
		var changes []map[string]any
		var sent []records.ID
		for range 40 {
			id := ids.New()
			sent = append(sent, id)
			changes = append(changes, map[string]any{"op": "put", "kind": "finds", "id": id, "record": map[string]any{
				"type": "Feature", "id": id, "geometry": nil,
				"properties": map[string]any{"block": block, "row": 1, "plant": 1, "cause": "other", "state": "suspected", "severity": 1,
					"found_at": "2026-05-04T08:00:00-04:00", "words": strings.Repeat("w", 500)},
			}})
		}
		status, answer := ask("POST", "/farms/demo/changes", map[string]any{"changes": changes})
		if status != 200 {
			return status
		}
		var got struct{ Outcomes []struct{ Status int } }
		if err := json.Unmarshal(answer, &got); err != nil {
			t.Fatal(err)
		}
		for i, o := range got.Outcomes {
			if o.Status != 201 {
				t.Fatalf("a find: %d, %.300s", o.Status, answer)
			}
			acknowledged[sent[i]] = true
		}
		return status
	}
	if got := send(); got != 200 {
		t.Fatalf("with room: %d", got)
	}
	ballast := filepath.Join(disk, "ballast")
	rounds, refused := 3, 0
	for range rounds {
		fill(t, ballast)
		// What the log has taken before gives room for some more.
		for tries := 0; send() == 200; tries++ {
			if tries > 200 {
				t.Fatal("the disk does not fill")
			}
		}
		for range 5 {
			if got := send(); got == http.StatusInsufficientStorage {
				refused++
			} else if got != 200 {
				t.Errorf("on a full disk: %d, want 507", got)
			}
			status, answer := ask("GET", "/farms/demo/collections/finds/items?limit=10", nil)
			if status != 200 || !bytes.Contains(answer, []byte(`"numberReturned":10`)) {
				t.Errorf("reading on a full disk: %d", status)
			}
		}
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
		if got := send(); got != 200 {
			t.Errorf("with room again, without a restart: %d", got)
		}
	}
	if refused == 0 {
		t.Error("nothing was refused")
	}
	end()
	if out, err := exec.Command("caneward", "verify", dir).CombinedOutput(); err != nil {
		t.Errorf("verify: %v\n%s", err, out)
	}
	server, running = startServer(t, dir), true
	status, answer := ask("GET", "/farms/demo/collections/finds/items?limit=10000", nil)
	if status != 200 {
		t.Fatal(status)
	}
	lost := 0
	for id := range acknowledged {
		if !bytes.Contains(answer, []byte(`"id":"`+id+`"`)) {
			lost++
		}
	}
	t.Logf("a disk of 24 MB filled %d times (tmpfs): %d writes answered 507, reads went on, writes again without a restart; %d acknowledged finds, %d lost", rounds, refused, len(acknowledged), lost)
	if lost > 0 {
		t.Errorf("%d acknowledged finds lost", lost)
	}
}
