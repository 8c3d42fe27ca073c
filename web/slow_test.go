package web

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// Connections that send a byte now and then are dropped in time, and the others
// are answered meanwhile: 2,000 with slow headers and 500 with slow bodies with
// SOAK set, under the server's own limits; a tenth of them, under shorter ones,
// without. The waits of the others are printed, not asserted: other work shares
// the machine.
func TestSlowClients(t *testing.T) {
	headers, bodies, limits := 200, 50, times{header: time.Second, read: 3 * time.Second, write: 5 * time.Second, idle: 5 * time.Second}
	if os.Getenv("SOAK") != "" {
		headers, bodies, limits = 2000, 500, connectionTimes
	}
	var files syscall.Rlimit
	must(t, syscall.Getrlimit(syscall.RLIMIT_NOFILE, &files))
	if need := uint64(2*(headers+bodies) + 200); files.Cur < need {
		t.Fatalf("this test needs %d open files; the limit is %d: raise it with ulimit -n", need, files.Cur)
	}
	s := newSite(t)
	owner := s.as("owner")
	for range 50 {
		s.make(owner, "surroundings", water(s.ids.New(), "Pond", -80.42, 35.87))
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- serve(ctx, listener, s.srv, nil, limits) }()
	address := listener.Addr().String()
	idle := waits(t, address, owner.cookies[cookieName], 300)

	start := time.Now()
	var slow sync.WaitGroup
	dropped := make(chan time.Duration, headers+bodies)
	for i := range headers + bodies {
		c, err := net.Dial("tcp", address)
		must(t, err)
		begin := "GET /healthz HTTP/1.1\r\nHost: farm.test\r\nX-Slow: "
		if i < bodies {
			begin = "POST /sessions HTTP/1.1\r\nHost: farm.test\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n"
		}
		slow.Go(func() {
			defer c.Close()
			opened := time.Now()
			io.WriteString(c, begin)
			go io.Copy(io.Discard, c)
			for {
				time.Sleep(limits.header / 10)
				if _, err := c.Write([]byte{'x'}); err != nil {
					dropped <- time.Since(opened)
					return
				}
			}
		})
	}
	during := waits(t, address, owner.cookies[cookieName], 300)
	slow.Wait()
	close(dropped)
	longest := time.Duration(0)
	for d := range dropped {
		longest = max(longest, d)
	}
	// A write meets the closed connection one interval and one answer later.
	if most := limits.read + limits.header; longest > most {
		t.Errorf("the last was dropped after %v, want within %v", longest, most)
	}
	p99 := func(all []time.Duration) time.Duration { return all[len(all)*99/100] }
	t.Logf("%d slow headers and %d slow bodies: the last dropped after %v of %v; p99 of others %v idle, %v meanwhile; all took %v",
		headers, bodies, longest.Round(time.Millisecond), limits.read, p99(idle), p99(during), time.Since(start).Round(time.Millisecond))
	stop()
	if err := <-served; err != nil {
		t.Errorf("the end: %v", err)
	}
}

// waits asks n times, one after the other, and gives the waits in order.
func waits(t *testing.T, address, token string, n int) []time.Duration {
	t.Helper()
	all := make([]time.Duration, n)
	for i := range all {
		r, err := http.NewRequest("GET", "http://"+address+"/farms/mine/collections/surroundings/items", nil)
		must(t, err)
		r.AddCookie(&http.Cookie{Name: cookieName, Value: token})
		start := time.Now()
		answer, err := http.DefaultClient.Do(r)
		must(t, err)
		io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
		all[i] = time.Since(start)
		if answer.StatusCode != 200 {
			t.Fatalf("an honest request: %d", answer.StatusCode)
		}
	}
	slices.Sort(all)
	return all
}

// A flood of sign-ins under made-up names from many addresses: no more passwords
// are checked at once than there are processors, the others sign in, and who is
// flooded by name is still let in from elsewhere.
func TestSignInFlood(t *testing.T) {
	s := newSite(t)
	s.costly()
	flood, end := context.WithTimeout(context.Background(), time.Minute)
	defer end()
	var all sync.WaitGroup
	var lock sync.Mutex
	statuses := map[int]int{}
	for i := range 40 {
		all.Go(func() {
			for n := 0; flood.Err() == nil; n++ {
				name := "scout"
				if i%2 == 0 {
					name = fmt.Sprintf("nobody-%d-%d", i, n)
				}
				r := s.anybody().request("POST", "/sessions", map[string]string{"name": name, "password": "wrong-password"})
				r.RemoteAddr = fmt.Sprintf("198.51.100.%d:1", i%8)
				g := s.serve(r)
				lock.Lock()
				statuses[g.status]++
				lock.Unlock()
				if g.status == 429 && g.header.Get("Retry-After") == "" {
					t.Error("429 without Retry-After")
				}
				time.Sleep(5 * time.Millisecond)
			}
		})
	}
	time.Sleep(200 * time.Millisecond)
	before := processorTime(t)
	began := time.Now()
	var honest []time.Duration
	for flood.Err() == nil && len(honest) < 3 {
		start := time.Now()
		g := s.serve(s.anybody().request("POST", "/sessions", map[string]string{"name": "owner", "password": password}))
		switch {
		case g.status == 200:
			honest = append(honest, time.Since(start))
		case g.status != 429 || !strings.Contains(string(g.body), "people-sign-ins-busy"):
			t.Fatalf("another signs in: %d %s", g.status, g.body)
		}
	}
	used := processorTime(t) - before
	took := time.Since(began)
	end()
	all.Wait()
	if len(honest) < 3 {
		t.Errorf("others signed in %d times within a minute of flood, want 3", len(honest))
	}
	if g := s.anybody().signIn("scout", password); g.status != 200 {
		t.Errorf("the flooded name from elsewhere: %d", g.status)
	}
	if statuses[200] > 0 || statuses[500] > 0 {
		t.Errorf("the flood was answered %v", statuses)
	}
	t.Logf("flood answered %v; 3 others waited %v; %v of processor time in %v", statuses, honest, used.Round(time.Millisecond), took.Round(time.Millisecond))
}

func processorTime(t testing.TB) time.Duration {
	t.Helper()
	var use syscall.Rusage
	must(t, syscall.Getrusage(syscall.RUSAGE_SELF, &use))
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
