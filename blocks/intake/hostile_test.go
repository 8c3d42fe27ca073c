package intake

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/intake/intaketest"
	"caneward/blocks/words"
	"caneward/geo/wire"
)

// mutated is how many changed files are read; SOAK=1 reads twenty times as many.
const (
	mutated = 10_000
	soaked  = 20 * mutated
)

// Whatever is done to a file, it is read or refused, and what is refused says
// where.
func TestMutatedFiles(t *testing.T) {
	files, err := intaketest.Seeds("../..")
	if err != nil {
		t.Fatal(err)
	}
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	// A map has no order, the round must have one.
	slices.Sort(names)
	rounds := mutated
	if os.Getenv("SOAK") != "" {
		rounds = soaked
	}
	r := rand.New(rand.NewPCG(20261125, 3))
	before := settledHeap()
	outcomes := map[Outcome]int{}
	for i := range rounds {
		name := names[i%len(names)]
		data := intaketest.Change(r, files[name], files[names[r.IntN(len(names))]])
		p, err := Read(context.Background(), bytes.NewReader(data), filepath.Base(name), Options{Zone: "America/Chicago"})
		if err != nil {
			t.Fatalf("round %d, %s: %v", i, name, err)
		}
		outcomes[p.Outcome]++
		for _, d := range p.faulty() {
			if !placedSomewhere(d) {
				t.Errorf("round %d, %s: “%s” names no place", i, name, d.Text)
			}
		}
		for _, lang := range []words.Language{words.English, words.Spanish} {
			unfilled(t, p, lang)
		}
		if t.Failed() {
			kept := filepath.Join(os.TempDir(), fmt.Sprintf("mutated-%d-%s", i, filepath.Base(name)))
			if err := os.WriteFile(kept, data, 0o600); err == nil {
				t.Fatalf("the file is kept as %s", kept)
			}
			t.FailNow()
		}
	}
	grown := int64(settledHeap()) - int64(before)
	t.Logf("%d changed files: %v; %d kB of memory more than before", rounds, outcomes, grown>>10)
	if grown > 20<<20 {
		t.Errorf("%d MB of memory are not given back; at most 20", grown>>20)
	}
	if outcomes[Reject] == 0 || outcomes[Accept] == 0 {
		t.Errorf("outcomes %v: the changes are too strong or too weak to test anything", outcomes)
	}
}

// placedSomewhere: whole-file refusals (no format known, nothing inside, more
// than a limit) have no place in the file.
func placedSomewhere(d fault.Detail) bool {
	if d.Feature != nil || d.Line != nil || d.Byte != nil || d.Entry != "" || d.At != nil {
		return true
	}
	whole := map[string]bool{unknownFormat.Key: true, pageInstead.Key: true, otherJSON.Key: true, foreignCRS.Key: true, moreErrors.Key: true,
		tookTooLong.Key: true, archiveEmpty.Key: true, archiveNothing.Key: true, archiveSeveral.Key: true}
	for _, rule := range []wire.Rule{wire.RuleNothing, wire.RuleBytes} {
		whole[sayings[rule].text.Key] = true
	}
	return whole[d.Text.Key()]
}

func settledHeap() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// Bombs are refused before they go off: in a second and 64 MB.
func TestBombs(t *testing.T) {
	for _, b := range []struct {
		name string
		make func(t *testing.T) []byte
	}{
		{"1000:1.zip", func(t *testing.T) []byte { return packed(t, "blocks.geojson", bytes.Repeat([]byte(" "), 40<<20)) }},
		{"1000:1.kmz", func(t *testing.T) []byte {
			return packed(t, "doc.kml", append([]byte("<kml>"), bytes.Repeat([]byte("<Folder>      "), 3<<20)...))
		}},
		{"zip in zip.zip", func(t *testing.T) []byte {
			data := packed(t, "blocks.shp", bytes.Repeat([]byte{0}, 20<<20))
			for range 8 {
				data = packed(t, "inner.zip", data)
			}
			return data
		}},
		{"many entries.zip", func(t *testing.T) []byte {
			var buffer bytes.Buffer
			w := zip.NewWriter(&buffer)
			for i := range 100_000 {
				if _, err := w.Create("f" + strconv.Itoa(i) + ".kml"); err != nil {
					t.Fatal(err)
				}
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			return buffer.Bytes()
		}},
		{"parent path.zip", func(t *testing.T) []byte { return packed(t, "../../outside.shp", []byte("x")) }},
		{"absolute path.zip", func(t *testing.T) []byte { return packed(t, "/etc/blocks.shp", []byte("x")) }},
		{"symlink.zip", func(t *testing.T) []byte {
			var buffer bytes.Buffer
			w := zip.NewWriter(&buffer)
			h := &zip.FileHeader{Name: "blocks.kml"}
			h.SetMode(fs.ModeSymlink | 0o777)
			f, err := w.CreateHeader(h)
			if err == nil {
				_, err = f.Write([]byte("/etc/passwd"))
			}
			if err = errors.Join(err, w.Close()); err != nil {
				t.Fatal(err)
			}
			return buffer.Bytes()
		}},
		{"entities.kml", func(*testing.T) []byte {
			var b strings.Builder
			b.WriteString(`<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY a0 "aaaaaaaaaa">`)
			for i := 1; i < 12; i++ {
				fmt.Fprintf(&b, `<!ENTITY a%d "%s">`, i, strings.Repeat(fmt.Sprintf("&a%d;", i-1), 10))
			}
			b.WriteString(`]><kml><Placemark><name>&a11;</name></Placemark></kml>`)
			return []byte(b.String())
		}},
		{"nesting.geojson", func(*testing.T) []byte {
			return []byte(`{"type":"Polygon","coordinates":` + strings.Repeat("[", 200_000))
		}},
		{"nesting.kml", func(*testing.T) []byte { return []byte("<kml>" + strings.Repeat("<Folder>", 200_000)) }},
		{"nesting.gpx", func(*testing.T) []byte { return []byte("<gpx>" + strings.Repeat("<a>", 200_000)) }},
		{"nesting.wkt", func(*testing.T) []byte { return []byte(strings.Repeat("GEOMETRYCOLLECTION(", 200_000)) }},
		{"nesting.csv", func(*testing.T) []byte {
			return []byte("name,wkt\na,\"" + strings.Repeat("GEOMETRYCOLLECTION(", 50_000) + "\"\n")
		}},
	} {
		t.Run(b.name, func(t *testing.T) {
			data := b.make(t)
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			started := time.Now()
			p, err := Read(context.Background(), bytes.NewReader(data), b.name, Options{})
			took := time.Since(started)
			runtime.ReadMemStats(&after)
			allocated := after.TotalAlloc - before.TotalAlloc
			if err != nil || p.Outcome != Reject {
				t.Errorf("%s, %v; want a refusal", p.Outcome, err)
			}
			t.Logf("%d bytes: refused in %v with %d kB: %v", len(data), took.Round(time.Millisecond), allocated>>10, p.Refusal())
			// The clock is generous: other tests share the processors.
			if took > 5*time.Second || allocated > 64<<20 {
				t.Errorf("took %v and %d MB; want less than a second and 64 MB", took, allocated>>20)
			}
		})
	}
}

func packed(t *testing.T, name string, content []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	f, err := w.Create(name)
	if err == nil {
		_, err = f.Write(content)
	}
	if err = errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
