package sqlite

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/records"
)

func openHere(t *testing.T) *Store {
	t.Helper()
	s, err := Open(background, t.TempDir(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := s.CreateFarm(background, records.Farm{ID: "f", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	return s
}

func product(i, size int) records.Write {
	return records.Write{
		Kind: records.Products, ID: records.ID(fmt.Sprintf("0190b5a2-7c3e-7a11-8f00-%012x", i)),
		Record: records.Record{Properties: json.RawMessage(`{"name":"` + strings.Repeat("x", size) + `"}`)},
	}
}

// hold stops the writer until release is called, so that what is submitted
// meanwhile becomes one group.
func hold(t *testing.T, s *Store) (release func()) {
	t.Helper()
	held, gate := make(chan struct{}), make(chan struct{})
	done := make(chan error, 1)
	go func() {
		done <- s.writer.submit(background, groupWeight, func(*transaction) error {
			close(held)
			<-gate
			return nil
		})
	}()
	<-held
	return func() {
		close(gate)
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func waitQueued(s *Store, n int) {
	for len(s.writer.queue) < n {
		time.Sleep(time.Millisecond)
	}
}

func stored(t *testing.T, s *Store) (n int) {
	t.Helper()
	err := s.View(background, "f", func(r records.Reader) (err error) {
		n, err = r.Count(records.Products, records.Query{})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// A request that fails inside a group leaves nothing, and the others stand.
func TestOneFailureInAGroup(t *testing.T) {
	s := openHere(t)
	release := hold(t, s)
	broken := errors.New("broken")
	var group sync.WaitGroup
	queue := func(f func()) { n := len(s.writer.queue); group.Go(f); waitQueued(s, n+1) }
	good := func(i int) func() {
		return func() {
			if o, err := s.Write(background, "f", []records.Write{product(i, 10)}); err != nil || o[0].Err != nil || o[0].Revision.Sequence == 0 {
				t.Errorf("write %d: %+v, %v", i, o, err)
			}
		}
	}
	queue(good(1))
	queue(func() {
		err := s.writer.submit(background, 1, func(tr *transaction) error {
			f, err := tr.farm("f")
			if err != nil {
				return err
			}
			p := prepare(product(2, 10))
			if _, err := tr.write(f, &p, time.Now()); err != nil {
				return err
			}
			return broken
		})
		if !errors.Is(err, broken) {
			t.Errorf("the broken one: %v", err)
		}
	})
	queue(good(3))
	release()
	group.Wait()
	if n := stored(t, s); n != 2 {
		t.Errorf("%d stored, want 2", n)
	}
	wantClean(t, s)
}

func wantClean(t *testing.T, s *Store) {
	t.Helper()
	r, err := verifyFile(background, s.readers.path, nil)
	if err != nil || len(r.Problems) > 0 {
		t.Errorf("verify: %+v, %v", r, err)
	}
}

// A caller that leaves while its request waits leaves nothing stored.
func TestGivingUpInTheQueue(t *testing.T) {
	s := openHere(t)
	release := hold(t, s)
	ctx, cancel := context.WithCancel(background)
	gone := make(chan error)
	go func() {
		_, err := s.Write(ctx, "f", []records.Write{product(1, 10)})
		gone <- err
	}()
	waitQueued(s, 1)
	cancel()
	select {
	case err := <-gone:
		if !errors.Is(err, context.Canceled) {
			t.Errorf("got %v, want context.Canceled", err)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("the caller does not come back while the writer is busy")
	}
	release()
	if n := stored(t, s); n != 0 {
		t.Errorf("%d stored, want none", n)
	}
}

// The queue is bounded: what does not fit waits outside, and its context still
// counts.
func TestQueueIsBounded(t *testing.T) {
	s := openHere(t)
	release := hold(t, s)
	ctx, cancel := context.WithCancel(background)
	var group sync.WaitGroup
	const callers = queueLength + 50
	for i := range callers {
		group.Go(func() {
			if _, err := s.Write(ctx, "f", []records.Write{product(i, 10)}); !errors.Is(err, context.Canceled) {
				t.Errorf("caller %d: %v, want context.Canceled", i, err)
			}
		})
	}
	waitQueued(s, queueLength)
	cancel()
	group.Wait()
	release()
	if n := stored(t, s); n != 0 {
		t.Errorf("%d stored, want none", n)
	}
}

// No room: a bound on the file's pages answers as a full disk does (SQLITE_FULL).
func TestFull(t *testing.T) {
	s := openHere(t)
	bound := func(pages int) {
		t.Helper()
		err := s.writer.submit(background, 1, func(tr *transaction) error {
			_, err := tr.conn.row(background, fmt.Sprintf(`PRAGMA max_page_count = %d`, pages))
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Write(background, "f", []records.Write{product(1, 10)}); err != nil {
		t.Fatal(err)
	}
	bound(150)
	release := hold(t, s)
	var group sync.WaitGroup
	results := make([]error, 3)
	for i, size := range []int{10, 2_000_000, 10} {
		n := len(s.writer.queue)
		group.Go(func() { _, results[i] = s.Write(background, "f", []records.Write{product(i+2, size)}) })
		waitQueued(s, n+1)
	}
	release()
	group.Wait()
	if results[0] != nil || !fault.Is(results[1], fault.Full) || results[2] != nil {
		t.Errorf("small, too large, small: %v; want stored, Full, stored", results)
	}
	if n := stored(t, s); n != 3 {
		t.Errorf("%d stored, want 3: reading goes on", n)
	}
	bound(1 << 30)
	if o, err := s.Write(background, "f", []records.Write{product(3, 2_000_000)}); err != nil || !o[0].Created {
		t.Errorf("with room again: %v", err)
	}
	wantClean(t, s)
}
