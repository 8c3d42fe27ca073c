package intake

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
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
	"caneward/blocks/words"
	"caneward/geo/wire"
)

// mutated is how many changed files are read; SOAK=1 reads twenty times as many.
const (
	mutated = 10_000
	soaked  = 20 * mutated
)

// seeds are the files that are changed: the awkward ones and those that another
// program wrote, each format among them.
func seeds(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	for _, root := range []string{filepath.Join(cases, "files"), "../../geo/wire"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || strings.HasSuffix(path, ".go") || strings.Contains(path, "fuzz") || strings.HasSuffix(path, ".md") {
				return err
			}
			data, err := os.ReadFile(path)
			out[filepath.ToSlash(path)] = data
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// change spoils a file in one of the ways files are spoilt: bits lost, pieces
// missing, twice, or from another file, numbers run wild. Files in an archive
// are changed inside it half of the time, so that its sums still hold.
func change(r *rand.Rand, data, other []byte) []byte {
	if isZip(data, "") && r.IntN(2) == 0 {
		if packed, err := changePacked(r, data, other); err == nil {
			return packed
		}
	}
	out := bytes.Clone(data)
	for range 1 + r.IntN(2) {
		if len(out) == 0 {
			return out
		}
		at := r.IntN(len(out))
		to := min(len(out), at+1+r.IntN(64))
		switch r.IntN(13) {
		case 0:
			out[at] ^= 1 << r.IntN(8)
		case 1:
			out[at] = byte(r.UintN(256))
		case 2:
			out = out[:at]
		case 3:
			out = append(out[:at:at], out[to:]...)
		case 4:
			out = append(out[:to:to], out[at:]...)
		case 5:
			if len(other) > 0 {
				from := r.IntN(len(other))
				piece := other[from:min(len(other), from+1+r.IntN(200))]
				out = append(append(out[:at:at], piece...), out[at:]...)
			}
		case 6:
			if i := bytes.IndexAny(out[at:], "0123456789"); i >= 0 {
				wild := []string{"-1", "99999999999999999999", "1e308", "0", "NaN", "36,5", "180.5", "", "0x7fffffff"}
				out = append(append(out[:at+i:at+i], wild[r.IntN(len(wild))]...), out[at+i+1:]...)
			}
		case 7:
			for i := at; i < to; i++ {
				out[i] = 0xFF
			}
		case 9, 10, 11, 12: // the file stays what it is and says something else
			if i := bytes.IndexAny(out[at:], "0123456789"); i >= 0 {
				out[at+i] = byte('0' + r.IntN(10))
			}
		case 8:
			for i := at; i < min(len(out), at+4); i++ {
				out[i] = byte(r.UintN(256))
			}
		}
	}
	return out
}

func changePacked(r *rand.Rand, data, other []byte) ([]byte, error) {
	from, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil || len(from.File) == 0 {
		return nil, errors.New("no archive")
	}
	spoilt := r.IntN(len(from.File))
	var b bytes.Buffer
	to := zip.NewWriter(&b)
	for i, f := range from.File {
		in, err := f.Open()
		if err != nil {
			return nil, err
		}
		content, err := io.ReadAll(in)
		if err != nil {
			return nil, err
		}
		if i == spoilt {
			content = change(r, content, other)
		}
		w, err := to.Create(f.Name)
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(content); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), to.Close()
}

// Whatever is done to a file, it is read or refused, and what is refused says
// where.
func TestMutatedFiles(t *testing.T) {
	files := seeds(t)
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
		data := change(r, files[name], files[names[r.IntN(len(names))]])
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
