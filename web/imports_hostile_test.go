package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"caneward/blocks/intake"
	"caneward/blocks/intake/intaketest"
)

// Whatever file is sent, the answer is a proposal or a refusal, never a
// failure of the server.
func TestMutatedImports(t *testing.T) {
	files, err := intaketest.Seeds("..")
	must(t, err)
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	slices.Sort(names)
	rounds := 500
	if os.Getenv("SOAK") != "" {
		rounds = 10_000
	}
	s := newSite(t)
	c := s.as("owner")
	r := rand.New(rand.NewPCG(20261125, 4))
	statuses := map[int]int{}
	for i := range rounds {
		name := names[i%len(names)]
		data := intaketest.Change(r, files[name], files[names[r.IntN(len(names))]])
		kind := intake.Imported[i%len(intake.Imported)]
		g := c.upload(map[string]string{"kind": string(kind)}, string(data), filepath.Base(name))
		statuses[g.status]++
		switch g.status {
		case 200, 400, 413, 415, 422:
		default:
			t.Fatalf("round %d, %s as %s: %d %s", i, name, kind, g.status, g.body)
		}
		if !json.Valid(g.body) {
			t.Fatalf("round %d, %s: no JSON: %.200s", i, name, g.body)
		}
	}
	t.Logf("%d changed files sent: %v", rounds, statuses)
}

// How long small requests take beside a large import, against how long they
// take without: the 99th of a hundred, in microseconds.
func BenchmarkReadsBesideLargeImport(b *testing.B) {
	s := newSite(b)
	owner := s.as("owner")
	for i := range 50 {
		s.make(owner, "blocks", block(s.ids.New(), fmt.Sprint("Block ", i)))
	}
	server := httptest.NewServer(s.srv)
	defer server.Close()
	cookie := &http.Cookie{Name: cookieName, Value: owner.cookies[cookieName]}
	send := func(ctx context.Context, method, path, kind string, body io.Reader) (int, error) {
		r, err := http.NewRequestWithContext(ctx, method, server.URL+path, body)
		if err != nil {
			return 0, err
		}
		r.Header.Set("Content-Type", kind)
		r.AddCookie(cookie)
		reply, err := http.DefaultClient.Do(r)
		if err != nil {
			return 0, err
		}
		defer reply.Body.Close()
		_, err = io.Copy(io.Discard, reply.Body)
		return reply.StatusCode, err
	}
	read := func() float64 {
		const reads = 1000
		took := make([]float64, reads)
		for i := range took {
			started := time.Now()
			if status, err := send(context.Background(), "GET", "/farms/mine/collections/blocks/items?limit=10", "", nil); status != 200 || err != nil {
				b.Fatalf("%d %v", status, err)
			}
			took[i] = float64(time.Since(started).Microseconds())
			time.Sleep(time.Millisecond) // people do not ask without a pause
		}
		slices.Sort(took)
		return took[reads*99/100]
	}
	taken, kind := form(map[string]string{"kind": "blocks"}, largeGeoJSON(49_000_000), "large.geojson")
	const gigabyte = 1 << 30
	for _, large := range []struct {
		name   string
		kind   string
		body   func() io.Reader
		status int
	}{
		{"1 GB, refused", "multipart/form-data; boundary=b", func() io.Reader {
			head := "--b\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.geojson\"\r\n\r\n" + `{"type":"FeatureCollection","features":[`
			return &paced{r: io.MultiReader(strings.NewReader(head), io.LimitReader(spaces{}, gigabyte))}
		}, 413},
		{"49 MB, taken", kind, func() io.Reader { return bytes.NewReader(taken) }, 200},
	} {
		b.Run(large.name, func(b *testing.B) {
			for b.Loop() {
				idle := read()
				ctx, stop := context.WithCancel(context.Background())
				var imports atomic.Int64
				done := make(chan struct{})
				go func() {
					defer close(done)
					for ctx.Err() == nil {
						status, err := send(ctx, "POST", "/farms/mine/imports", large.kind, large.body())
						if err == nil && status == large.status {
							imports.Add(1)
						} else if ctx.Err() == nil && err == nil {
							b.Errorf("import: %d", status)
							return
						}
					}
				}()
				busy := read()
				stop()
				<-done
				var memory runtime.MemStats
				runtime.ReadMemStats(&memory)
				b.ReportMetric(idle, "idle-p99-µs")
				b.ReportMetric(busy, "busy-p99-µs")
				b.ReportMetric(busy/idle, "ratio")
				b.ReportMetric(float64(imports.Load()), "imports")
				b.ReportMetric(float64(memory.Sys>>20), "MB-of-the-system")
			}
		})
	}
}

// paced gives a hundred megabytes a second, which a fast network does: the
// sender runs on the same processors.
type paced struct {
	r     io.Reader
	since time.Time
	sent  int
}

func (p *paced) Read(b []byte) (int, error) {
	if p.since.IsZero() {
		p.since = time.Now()
	}
	const second = 100_000_000
	time.Sleep(time.Until(p.since.Add(time.Duration(float64(p.sent) / second * float64(time.Second)))))
	n, err := p.r.Read(b)
	p.sent += n
	return n, err
}

// largeGeoJSON is a file of about so many bytes of small blocks.
func largeGeoJSON(size int) string {
	var b strings.Builder
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	for i := 0; b.Len() < size; i++ {
		if i > 0 {
			b.WriteByte(',')
		}
		x, y := -80.4+float64(i%300)*0.001, 35.8+float64(i/300)*0.001
		fmt.Fprintf(&b, `{"type":"Feature","properties":{"name":"B%d"},"geometry":{"type":"Polygon","coordinates":[[`, i)
		const corners = 60
		for k := range corners + 1 {
			if k > 0 {
				b.WriteByte(',')
			}
			side := k % corners
			dx, dy := 0.0004*float64(side%15)/15, 0.0
			switch side / 15 {
			case 1:
				dx, dy = 0.0004, 0.0004*float64(side%15)/15
			case 2:
				dx, dy = 0.0004-dx, 0.0004
			case 3:
				dx, dy = 0, 0.0004-0.0004*float64(side%15)/15
			}
			fmt.Fprintf(&b, "[%.7f,%.7f]", x+dx, y+dy)
		}
		b.WriteString("]]}}")
	}
	b.WriteString("]}")
	return b.String()
}
