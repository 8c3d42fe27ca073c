package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync"
	"testing"
	"time"
)

// Sixteen phones come home at once, each with some three hundred finds in
// batches of twenty-five, over connections of their own.
func BenchmarkChanges16Phones(b *testing.B) {
	const phones, finds, batch = 16, 5000, 25
	s := newSiteOn(b, openDisk(b))
	owner := s.as("owner")
	s.make(owner, "blocks", block(s.ids.New(), "Upper"))
	server := httptest.NewServer(s.srv)
	defer server.Close()
	for b.Loop() {
		bodies := make([][][]byte, phones)
		for i := range finds / batch {
			changes := make([]any, batch)
			for k := range changes {
				changes[k] = put("finds", find(s.ids.New(), fmt.Sprint(i, k), ""), nil)
			}
			raw, err := json.Marshal(map[string]any{"changes": changes})
			must(b, err)
			bodies[i%phones] = append(bodies[i%phones], raw)
		}
		var all sync.WaitGroup
		var lock sync.Mutex
		var took []time.Duration
		started := time.Now()
		for _, mine := range bodies {
			all.Go(func() {
				client := &http.Client{Transport: &http.Transport{}}
				for _, body := range mine {
					from := time.Now()
					r, _ := http.NewRequest("POST", server.URL+"/farms/mine/changes", bytes.NewReader(body))
					r.Header.Set("Content-Type", "application/json")
					r.AddCookie(&http.Cookie{Name: cookieName, Value: owner.cookies[cookieName]})
					reply, err := client.Do(r)
					if err != nil {
						b.Error(err)
						return
					}
					io.Copy(io.Discard, reply.Body)
					reply.Body.Close()
					if reply.StatusCode != 200 {
						b.Errorf("%d", reply.StatusCode)
						return
					}
					lock.Lock()
					took = append(took, time.Since(from))
					lock.Unlock()
				}
			})
		}
		all.Wait()
		slices.Sort(took)
		b.ReportMetric(finds/time.Since(started).Seconds(), "records/s")
		b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
	}
}
