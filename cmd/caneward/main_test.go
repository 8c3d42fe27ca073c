package main

import (
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"caneward/records/demofarm"
	"caneward/records/sqlite"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"caneward": main})
}

// Every subcommand as somebody types it: the first word of a script's name is
// the subcommand.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:  "testdata/script",
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"demofarm": makeDemoFarm},
		Setup: func(e *testscript.Env) error {
			e.Vars = append(e.Vars, "LANG=en_US.UTF-8")
			for _, name := range []string{"rowmap-a.csv", "mix2000.csv"} {
				data, err := os.ReadFile("../../testdata/reference/hotspots/data/" + name)
				if err != nil {
					return err
				}
				if err := os.WriteFile(filepath.Join(e.WorkDir, name), data, 0o600); err != nil {
					return err
				}
			}
			return nil
		},
	})
}

// makeDemoFarm is the script command that puts the demo farm into a folder.
func makeDemoFarm(ts *testscript.TestScript, _ bool, args []string) {
	store, err := sqlite.Open(context.Background(), ts.MkAbs(args[0]), sqlite.Options{})
	ts.Check(err)
	ts.Check(errors.Join(demofarm.Build(context.Background(), store), store.Close()))
}

// The demo makes its farm, answers, and stops when told to, leaving its folder.
func TestDemoServes(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	out, in := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"demo", "--listen", "127.0.0.1:0", "--data", dir}, strings.NewReader(""), in, io.Discard, func(string) string { return "" })
		in.Close()
	}()
	address := ""
	buffer := make([]byte, 4096)
	for deadline := time.Now().Add(time.Minute); address == "" && time.Now().Before(deadline); {
		n, err := out.Read(buffer)
		if err != nil {
			t.Fatal(err)
		}
		if _, after, found := strings.Cut(string(buffer[:n]), "http://"); found {
			address = "http://" + strings.Fields(after)[0]
		}
	}
	go io.Copy(io.Discard, out)
	for path, want := range map[string]int{"/healthz": 200, "/readyz": 200, "/": 200, "/farms/demo/": 401, "/farms/nowhere/": 401} {
		resp, err := http.Get(address + path)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != want {
			t.Errorf("%s answers %d, want %d", path, resp.StatusCode, want)
		}
	}
	stop()
	select {
	case code := <-ended:
		if code != done {
			t.Errorf("exit %d, want %d", code, done)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("did not stop within 20 s")
	}
}
