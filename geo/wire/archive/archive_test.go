package archive

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"caneward/geo/wire"
)

const cases = "../../../testdata/cases/files/"

func caseFile(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(cases, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// packed makes an archive with archive/zip itself, which writes any name.
func packed(t testing.TB, headers ...zip.FileHeader) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, h := range headers {
		to, err := w.CreateHeader(&h)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(h.Name, "/") {
			continue
		}
		if _, err := to.Write([]byte("content of " + h.Name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func named(names ...string) []zip.FileHeader {
	var headers []zip.FileHeader
	for _, n := range names {
		headers = append(headers, zip.FileHeader{Name: n, Method: zip.Deflate})
	}
	return headers
}

func withMode(name string, mode fs.FileMode) zip.FileHeader {
	h := zip.FileHeader{Name: name}
	h.SetMode(mode)
	return h
}

// Names: APPNOTE.TXT 6.3.10, section 4.4.17. Entries that are no files, and
// what to make of them, are common practice.
func TestOpenJudgesNames(t *testing.T) {
	tests := []struct {
		name    string
		headers []zip.FileHeader
		rule    wire.Rule
		entry   string
	}{
		{"a step up", named("doc.kml", "../outside.kml"), RulePath, "../outside.kml"},
		{"a step up inside", named("a/../b.kml"), RulePath, "a/../b.kml"},
		{"an absolute path", named("/etc/doc.kml"), RulePath, "/etc/doc.kml"},
		{"a drive", named("C:doc.kml"), RulePath, "C:doc.kml"},
		{"a backslash", named(`..\doc.kml`), RulePath, `..\doc.kml`},
		{"a zero byte", named("doc.kml\x00.png"), RulePath, "doc.kml\x00.png"},
		{"no name", named(""), RulePath, `""`},
		{"a step up in what is left out", named("__MACOSX/../../x"), RulePath, "__MACOSX/../../x"},
		{"a symbolic link", []zip.FileHeader{withMode("doc.kml", fs.ModeSymlink|0o777)}, RuleKind, "doc.kml"},
		{"a device", []zip.FileHeader{withMode("doc.kml", fs.ModeDevice|0o666)}, RuleKind, "doc.kml"},
		{"a name twice", named("doc.kml", "doc.kml"), RuleDuplicate, "doc.kml"},
		{"a name twice but for capitals", named("doc.kml", "DOC.KML"), RuleDuplicate, "DOC.KML"},
		{"a name twice but for a step", named("doc.kml", "./doc.kml"), RuleDuplicate, "doc.kml"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Open(context.Background(), packed(t, tt.headers...), wire.Limits{})
			e, ok := wire.As(err)
			if !ok || e.Rule != tt.rule || e.Entry != tt.entry {
				t.Errorf("Open = %v, want rule %s at %q", err, tt.rule, tt.entry)
			}
		})
	}
}

func TestOpenLeavesOut(t *testing.T) {
	data := packed(t, named("field/", "field/./blocks.shp", "field/.DS_Store", "__MACOSX/field/._blocks.shp", "field/._x", "Thumbs.db", "inner.ZIP", "Ñandú.csv")...)
	a, err := Open(context.Background(), data, wire.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range a.Entries() {
		names = append(names, e.Name)
		got, err := a.Read(context.Background(), strings.ToUpper(e.Name))
		if err != nil || int64(len(got)) != e.Size {
			t.Errorf("Read(%q) = %q, %v; want %d bytes", e.Name, got, err, e.Size)
		}
	}
	if want := []string{"field/blocks.shp", "Ñandú.csv"}; !slices.Equal(names, want) {
		t.Errorf("Entries = %q, want %q", names, want)
	}
	if notes := a.Notes(); len(notes) != 1 || notes[0].Rule != RuleNested || notes[0].Entry != "inner.ZIP" {
		t.Errorf("Notes = %v, want the archive inside", notes)
	}
	if _, err := a.Read(context.Background(), "doc.kml"); !is(err, RuleMissing) {
		t.Errorf("Read of what is not there = %v, want %s", err, RuleMissing)
	}
}

func is(err error, rule wire.Rule) bool {
	e, ok := wire.As(err)
	return ok && e.Rule == rule
}

// Files of the case set: V057 is refused, the others hold what unzip -l shows.
func TestOpenCases(t *testing.T) {
	tests := []struct {
		file    string
		rule    wire.Rule
		entries []string
	}{
		{"V055-several-kml.kmz", "", []string{"extra/second.kml", "images/pin.png", "doc.kml"}},
		{"V057-zip-slip.kmz", RulePath, nil},
		{"V059-plain-kml-as-kmz.kmz", RuleDamaged, nil},
		{"V065-shp-macosx-junk.zip", "", []string{"my field/blocks.shp", "my field/blocks.shx", "my field/blocks.dbf", "my field/blocks.prj"}},
	}
	for _, tt := range tests {
		t.Run(tt.file, func(t *testing.T) {
			a, err := Open(context.Background(), caseFile(t, tt.file), wire.Limits{})
			if tt.rule != "" {
				if !is(err, tt.rule) {
					t.Errorf("got %v, want rule %s", err, tt.rule)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var names []string
			for _, e := range a.Entries() {
				names = append(names, e.Name)
			}
			if !slices.Equal(names, tt.entries) {
				t.Errorf("got %q, want %q", names, tt.entries)
			}
		})
	}
}

func TestReadSaysWhatIsBroken(t *testing.T) {
	var good bytes.Buffer
	if err := Write(&good, []File{{"a.csv", []byte("a,b\n1,2\n")}, {"b.csv", bytes.Repeat([]byte("0123456789"), 10)}}); err != nil {
		t.Fatal(err)
	}
	change := func(at []byte, by int, to ...byte) []byte {
		data := bytes.Clone(good.Bytes())
		copy(data[bytes.LastIndex(data, at)+by:], to)
		return data
	}
	tests := []struct {
		name string
		data []byte
		rule wire.Rule
	}{
		// Offsets in a directory header: APPNOTE.TXT section 4.3.12.
		{"a password", change([]byte("PK\x01\x02"), 8, 1), RuleEncrypted},
		{"packed otherwise", change([]byte("PK\x01\x02"), 10, 12), RuleMethod},
		{"another checksum", change([]byte("PK\x01\x02"), 16, 0xAA), RuleChecksum},
		{"a smaller size", change([]byte("PK\x01\x02"), 24, 50), RuleDamaged},
		{"a larger size", change([]byte("PK\x01\x02"), 24, 101), wire.RuleTruncated},
		{"bytes changed", change([]byte("PK\x03\x04"), 30+5+9, 0xFF, 0xFF, 0xFF), RuleDamaged},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			a, err := Open(context.Background(), tt.data, wire.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			if _, err = a.Read(context.Background(), "b.csv"); !is(err, tt.rule) {
				t.Errorf("Read = %v, want rule %s", err, tt.rule)
			}
			if e, ok := wire.As(err); ok && e.Entry != "b.csv" {
				t.Errorf("Entry = %q, want b.csv", e.Entry)
			}
		})
	}
	for n := range good.Len() {
		_, err := Open(context.Background(), good.Bytes()[:n], wire.Limits{})
		want := wire.RuleTruncated
		switch {
		case n == 0:
			want = wire.RuleNothing
		case n < 4, n >= good.Len()-18: // no signature at all, or that of the end
			want = RuleDamaged
		}
		if !is(err, want) {
			t.Errorf("cut to %d of %d bytes: %v, want rule %s", n, good.Len(), err, want)
		}
	}
	if _, err := Open(context.Background(), change([]byte("PK\x05\x06"), 12, 0xFF, 0xFF, 0xFF), wire.Limits{}); !is(err, RuleDamaged) {
		t.Errorf("a directory that is not there: %v, want rule %s", err, RuleDamaged)
	}
}

// overlapping makes an archive of n files that all unpack the same bytes, each
// directory header pointing at the one local header.
func overlapping(n, size int) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	to, _ := w.Create("0")
	to.Write(make([]byte, size))
	w.Close()
	data := b.Bytes()
	end := bytes.LastIndex(data, endSignature)
	from := bytes.Index(data, directorySignature)
	header := data[from:end]
	out := bytes.Clone(data[:from])
	for i := range n {
		h := bytes.Clone(header)
		h = slices.Insert(h, 46, []byte(fmt.Sprint(1000+i))...)
		binary.LittleEndian.PutUint16(h[28:], uint16(1+len(fmt.Sprint(1000+i))))
		out = append(out, h...)
	}
	size = len(out) - from
	out = append(out, data[end:]...)
	binary.LittleEndian.PutUint16(out[len(out)-14:], uint16(n))
	binary.LittleEndian.PutUint16(out[len(out)-12:], uint16(n))
	binary.LittleEndian.PutUint32(out[len(out)-10:], uint32(size))
	return out
}

// stating makes a bomb whose directory states another size.
func stating(t *testing.T, size uint32) []byte {
	data := bomb(t, 20<<20)
	at := bytes.LastIndex(data, directorySignature)
	binary.LittleEndian.PutUint32(data[at+24:], size)
	return data
}

func bomb(t *testing.T, size int) []byte {
	var b bytes.Buffer
	if err := Write(&b, []File{{"doc.kml", make([]byte, size)}}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func many(t *testing.T, n int) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := range n {
		if _, err := w.CreateRaw(&zip.FileHeader{Name: fmt.Sprintf("f%06d.csv", i)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// hidden states a directory of no files while it holds many: archive/zip reads
// them all the same where their number is a multiple of 65,536.
func hidden(t *testing.T) []byte {
	data := many(t, 65536)
	end := bytes.LastIndex(data, endSignature)
	zip64 := bytes.LastIndex(data, []byte("PK\x06\x06"))
	start := bytes.Index(data, directorySignature)
	binary.LittleEndian.PutUint16(data[end+8:], 0)
	binary.LittleEndian.PutUint16(data[end+10:], 0)
	binary.LittleEndian.PutUint32(data[end+12:], uint32(zip64-start))
	binary.LittleEndian.PutUint32(data[end+16:], uint32(start))
	return slices.Delete(data, zip64, end)
}

// mostTime and mostMemory are what an attack may cost.
const (
	mostTime   = time.Second
	mostMemory = 64 << 20
)

func TestBombsAreRefused(t *testing.T) {
	tests := []struct {
		name string
		data []byte
		rule wire.Rule
	}{
		{"a thousand to one", bomb(t, 20<<20), RuleRatio},
		{"more than may be unpacked", stating(t, 300<<20), RuleUnpacked},
		{"a size that lies", stating(t, 1000), RuleDamaged},
		{"a hundred thousand files", many(t, 100_000), RuleEntries},
		{"files that the end of the directory hides", hidden(t), RuleEntries},
		{"files that share bytes", overlapping(900, 250<<10), RuleOverlap},
		{"an archive in an archive", func() []byte {
			var b bytes.Buffer
			if err := Write(&b, []File{{"inner.zip", bomb(t, 20<<20)}}); err != nil {
				t.Fatal(err)
			}
			return b.Bytes()
		}(), RuleMissing},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			start := time.Now()
			a, err := Open(context.Background(), tt.data, wire.Limits{})
			if err == nil {
				_, err = a.Read(context.Background(), "doc.kml")
			}
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			if !is(err, tt.rule) {
				t.Errorf("got %v, want rule %s", err, tt.rule)
			}
			grown := after.TotalAlloc - before.TotalAlloc
			t.Logf("%d bytes refused in %v, %d bytes allocated", len(tt.data), took, grown)
			if took > mostTime || grown > mostMemory {
				t.Errorf("took %v and %d bytes, at most %v and %d", took, grown, mostTime, mostMemory)
			}
		})
	}
}

func TestUnpackedCountsOverAllFiles(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, []File{{"a", make([]byte, 600)}, {"b", make([]byte, 600)}}); err != nil {
		t.Fatal(err)
	}
	a, err := Open(context.Background(), b.Bytes(), wire.Limits{Unpacked: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := a.Read(context.Background(), "a"); err != nil {
		t.Errorf("the first: %v", err)
	}
	if _, err := a.Read(context.Background(), "b"); !is(err, RuleUnpacked) {
		t.Errorf("the second: %v, want rule %s", err, RuleUnpacked)
	}
}

func TestContextEnds(t *testing.T) {
	a, err := Open(context.Background(), bomb(t, 100), wire.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Open(ctx, bomb(t, 100), wire.Limits{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Open = %v", err)
	}
	if _, err := a.Read(ctx, "doc.kml"); !errors.Is(err, context.Canceled) {
		t.Errorf("Read = %v", err)
	}
}

func TestWrite(t *testing.T) {
	files := []File{{"doc.kml", []byte("<kml/>")}, {"a/b.png", nil}}
	var first, second bytes.Buffer
	for _, b := range []*bytes.Buffer{&first, &second} {
		if err := Write(b, files); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("the same files gave other bytes")
	}
	a, err := Open(context.Background(), first.Bytes(), wire.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		got, err := a.Read(context.Background(), f.Name)
		if err != nil || crc32.ChecksumIEEE(got) != crc32.ChecksumIEEE(f.Data) {
			t.Errorf("%s = %q, %v; want %q", f.Name, got, err, f.Data)
		}
	}
	for _, name := range []string{"", "../a", "/a", `a\b`, "a/./b", "a/"} {
		if err := Write(&bytes.Buffer{}, []File{{Name: name}}); err == nil {
			t.Errorf("name %q was written", name)
		}
	}
}

// FuzzOpen holds that any bytes are read or refused with a rule, within the
// limits.
func FuzzOpen(f *testing.F) {
	for _, name := range []string{"V055-several-kml.kmz", "V057-zip-slip.kmz", "V065-shp-macosx-junk.zip"} {
		f.Add(caseFile(f, name))
	}
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Fuzz(func(t *testing.T, data []byte) {
		l := wire.Limits{Entries: 20, Unpacked: 1 << 20}
		a, err := Open(context.Background(), data, l)
		if err != nil {
			if _, ok := wire.As(err); !ok {
				t.Fatalf("Open: %v has no rule", err)
			}
			return
		}
		var total int64
		for _, e := range a.Entries() {
			got, err := a.Read(context.Background(), e.Name)
			total += int64(len(got))
			if err, ok := wire.As(err); err != nil && (!ok || err.Entry == "") {
				t.Fatalf("Read(%q): %v names no entry", e.Name, err)
			}
		}
		if total > l.Unpacked {
			t.Fatalf("%d bytes unpacked, at most %d", total, l.Unpacked)
		}
	})
}
