package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	mathrand "math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/sqlite"
)

// kills is how often the server is killed in the middle of its work; SOAK=1
// kills it ten times as often.
const (
	kills       = 20
	killsSoaked = 10 * kills
	killWriters = 8
)

// Phones send batches while the server is killed again and again. What was
// acknowledged stands there once; what was not is sent again and stands there
// once as well; verify finds nothing.
func TestKilledWhilePhonesSend(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "records")
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	block := ""
	err = errors.Join(demofarm.Build(t.Context(), store), store.View(t.Context(), "demo", func(r records.Reader) error {
		page, err := r.List(records.Blocks, records.Query{Limit: 1})
		if err == nil {
			block = string(page.Revisions[0].ID)
		}
		return err
	}), store.Close())
	if err != nil {
		t.Fatal(err)
	}
	rounds := kills
	if os.Getenv("SOAK") != "" {
		rounds = killsSoaked
	}
	server := startServer(t, dir)
	cookie := signIn(t, server.address)
	phones := make([]*killedPhone, killWriters)
	for i := range phones {
		phones[i] = &killedPhone{cookie: cookie, block: block, ids: records.NewIDs(time.Now, rand.Reader), dice: mathrand.New(mathrand.NewPCG(20261125, uint64(i)))}
	}
	pause := mathrand.New(mathrand.NewPCG(20261125, 99))
	for range rounds {
		ctx, stop := context.WithCancel(t.Context())
		var all sync.WaitGroup
		for _, p := range phones {
			all.Go(func() { p.send(ctx, server.address) })
		}
		time.Sleep(time.Duration(20+pause.IntN(200)) * time.Millisecond)
		server.kill(t)
		stop()
		all.Wait()
		server = startServer(t, dir)
	}
	for _, p := range phones {
		if err := p.deliver(t.Context(), server.address); err != nil {
			t.Fatal(err)
		}
	}
	server.kill(t)
	out, err := exec.Command("caneward", "verify", dir).CombinedOutput()
	if err != nil {
		t.Errorf("verify: %v\n%s", err, out)
	}
	store, err = sqlite.Open(t.Context(), dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	acknowledged := 0
	err = store.View(t.Context(), "demo", func(r records.Reader) error {
		for _, p := range phones {
			for _, id := range p.acknowledged {
				history, err := r.Revisions(records.Finds, id)
				if err != nil || len(history) != 1 {
					t.Errorf("%s: %d revisions, %v; want the one that was acknowledged", id, len(history), err)
				}
			}
			acknowledged += len(p.acknowledged)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d kills, %d finds acknowledged, none lost, none doubled", rounds, acknowledged)
	if acknowledged < rounds {
		t.Errorf("%d finds acknowledged over %d kills: too few to show anything", acknowledged, rounds)
	}
}

// killedPhone sends one batch after another and keeps what was not answered.
type killedPhone struct {
	cookie, block string
	ids           *records.IDs
	dice          *mathrand.Rand
	waiting       []records.ID
	acknowledged  []records.ID
}

func (p *killedPhone) send(ctx context.Context, address string) {
	for ctx.Err() == nil {
		if len(p.waiting) == 0 {
			for range 1 + p.dice.IntN(5) {
				p.waiting = append(p.waiting, p.ids.New())
			}
		}
		if p.deliver(ctx, address) != nil {
			return // the server is gone: the batch waits for the next one
		}
	}
}

// deliver sends what waits; every find of it must be taken.
func (p *killedPhone) deliver(ctx context.Context, address string) error {
	if len(p.waiting) == 0 {
		return nil
	}
	var changes []string
	for _, id := range p.waiting {
		changes = append(changes, fmt.Sprintf(`{"op":"put","kind":"finds","id":%q,"base":null,"record":{"type":"Feature","id":%q,"geometry":null,"properties":{"block":%q,"row":1,"plant":1,"cause":"other","words":"seen","state":"suspected","severity":1,"found_at":"2026-05-04T08:00:00-04:00"}}}`, id, id, p.block))
	}
	r, err := http.NewRequestWithContext(ctx, "POST", address+"/farms/demo/changes", strings.NewReader(`{"changes":[`+strings.Join(changes, ",")+`]}`))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Cookie", p.cookie)
	reply, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer reply.Body.Close()
	body, err := io.ReadAll(reply.Body)
	if err != nil {
		return err
	}
	var answer struct {
		Outcomes []struct {
			ID     records.ID
			Status int
		}
	}
	if err := json.Unmarshal(body, &answer); err != nil || reply.StatusCode != 200 {
		return fmt.Errorf("%d %s", reply.StatusCode, body)
	}
	for _, o := range answer.Outcomes {
		if o.Status != 200 && o.Status != 201 {
			return fmt.Errorf("%s", body)
		}
		p.acknowledged = append(p.acknowledged, o.ID)
	}
	p.waiting = nil
	return nil
}

type killedServer struct {
	command *exec.Cmd
	address string
}

// startServer starts the program as somebody would and waits for its address.
func startServer(t *testing.T, dir string) *killedServer {
	t.Helper()
	command := exec.Command("caneward", "serve", "--data", dir, "--listen", "127.0.0.1:0")
	var talk bytes.Buffer
	command.Stderr = &talk
	out, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	_, rest, found := strings.Cut(line, "http://")
	if err != nil || !found {
		t.Fatalf("the server does not start: %v, %q, %s", err, line, talk.String())
	}
	return &killedServer{command, "http://" + strings.Fields(rest)[0]}
}

func (s *killedServer) kill(t *testing.T) {
	t.Helper()
	if err := s.command.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	s.command.Wait() // its error is that it was killed
}

// signIn gives the cookie; sessions outlive the server.
func signIn(t *testing.T, address string) string {
	t.Helper()
	reply, err := http.Post(address+"/sessions", "application/json", strings.NewReader(`{"name":"scout","password":"`+demofarm.Password+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	defer reply.Body.Close()
	if reply.StatusCode != 200 || len(reply.Cookies()) == 0 {
		t.Fatalf("sign-in: %d", reply.StatusCode)
	}
	return reply.Cookies()[0].Name + "=" + reply.Cookies()[0].Value
}
