package whole_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"io"
	"sort"
	"strings"
	"sync"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/memory"
	"caneward/records/spray"
	"caneward/records/sqlite"
	"caneward/records/whole"
)

var bg = context.Background()

type store interface {
	demofarm.Store
	records.Documents
	records.Custody
}

var made = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

func written(t testing.TB, s whole.Source, farm records.FarmID, made time.Time) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := whole.Write(bg, &b, s, farm, whole.Options{Made: made, Program: "test", Language: words.English}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func bring(t testing.TB, s records.Custody, farm records.FarmID, data []byte) error {
	t.Helper()
	a, err := whole.Open(bg, bytes.NewReader(data), int64(len(data)), whole.Limits{})
	if err != nil {
		return err
	}
	return s.BringIn(bg, farm, a.Arrival())
}

// demo is the invented demo farm with settings and a photo.
func demo(t testing.TB, s store) {
	t.Helper()
	if err := demofarm.Build(bg, s); err != nil {
		t.Fatal(err)
	}
	by := records.Author{Person: "0190b5a2-7c3e-7a11-8f00-3b9f6c2d1e4a", Name: "Suite <&>", Role: records.Owner}
	for i := range 2 {
		if _, _, err := s.PutDocument(bg, "demo", "programmes", i, json.RawMessage(fmt.Sprintf(`{"a":"<%d>"}`, i)), by); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 40))); err != nil {
		t.Fatal(err)
	}
	p := records.Photo{ID: records.NewIDs(time.Now, strings.NewReader(strings.Repeat("random bytes", 10))).New(), Type: "image/png", Data: b.Bytes(), By: by}
	if _, err := s.PutPhoto(bg, "demo", p); err != nil {
		t.Fatal(err)
	}
}

// shared is one demo farm in memory for all tests that leave it as it is.
var (
	sharedOnce sync.Once
	sharedDemo *memory.Store
)

func shared(t testing.TB) *memory.Store {
	sharedOnce.Do(func() {
		sharedDemo = memory.New(time.Now)
		demo(t, sharedDemo)
	})
	return sharedDemo
}

func onDisk(t testing.TB) (*sqlite.Store, string) {
	t.Helper()
	dir := t.TempDir()
	s, err := sqlite.Open(bg, dir, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s, dir
}

// files unpacks an archive with the standard library alone.
func files(t testing.TB, data []byte) map[string]string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		all[f.Name] = string(b)
	}
	return all
}

// TestThereAndBack takes the demo farm out of one store, into an empty farm of
// another, and out again.
func TestThereAndBack(t *testing.T) {
	disk, _ := onDisk(t)
	demo(t, disk)
	first := written(t, disk, "demo", made)
	for _, to := range []string{"disk", "memory"} {
		var s store = memory.New(time.Now)
		dir := ""
		if to == "disk" {
			s, dir = onDisk(t)
		}
		if err := s.CreateFarm(bg, records.Farm{ID: "demo", Name: "Empty", Zone: "UTC"}); err != nil {
			t.Fatal(err)
		}
		if err := bring(t, s, "demo", first); err != nil {
			t.Fatalf("%s: %v", to, err)
		}
		if again := written(t, s, "demo", made); !bytes.Equal(again, first) {
			a, b := files(t, first), files(t, again)
			for name := range a {
				if a[name] != b[name] {
					t.Errorf("%s: %s differs after there and back", to, name)
				}
			}
			t.Fatalf("%s: %d bytes went in, %d came out", to, len(first), len(again))
		}
		if dir == "" {
			continue
		}
		r, err := sqlite.Verify(bg, dir, spray.Recheck)
		if err != nil || len(r.Problems) > 0 || r.Revisions < 500 {
			t.Errorf("verify of what was brought in: %+v, %v", r, err)
		}
		t.Logf("%d revisions, %d records and their neighbours there and back in %d bytes, byte for byte", r.Revisions, r.Records, len(first))
	}
	// At another time only the time stamp differs: in farm.json, in README.txt and
	// on the printed pages.
	a, b := files(t, first), files(t, written(t, disk, "demo", made.Add(26*time.Hour)))
	var differ []string
	for name := range a {
		if a[name] != b[name] && !strings.HasPrefix(name, "pdf/") {
			differ = append(differ, name)
		}
	}
	if sort.Strings(differ); strings.Join(differ, " ") != "README.txt farm.json" || len(a) != len(b) {
		t.Errorf("a day later these differ: %v", differ)
	}
	stamp := func(s string) string {
		return strings.NewReplacer("2026-11-25T09:00:00Z", "", "2026-11-26T11:00:00Z", "").Replace(s)
	}
	for _, name := range differ {
		if stamp(a[name]) != stamp(b[name]) {
			t.Errorf("%s differs by more than the time stamp", name)
		}
	}
}

// TestUnderAnotherName brings a farm in under another id and takes it out again:
// the history is the same to the byte.
func TestUnderAnotherName(t *testing.T) {
	s := shared(t)
	first := written(t, s, "demo", made)
	if err := s.CreateFarm(bg, records.Farm{ID: "elsewhere", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	if err := bring(t, s, "elsewhere", first); err != nil {
		t.Fatal(err)
	}
	a, b := files(t, first), files(t, written(t, s, "elsewhere", made))
	for name := range a {
		if name != "farm.json" && name != "README.txt" && a[name] != b[name] {
			t.Errorf("%s differs", name)
		}
	}
	if !strings.Contains(b["farm.json"], `"chain": "demo"`) || !strings.Contains(b["farm.json"], `"id": "elsewhere"`) {
		t.Errorf("farm.json: %s", b["farm.json"])
	}
}

func TestContents(t *testing.T) {
	s := shared(t)
	all := files(t, written(t, s, "demo", made))
	plans, applied, photos := 0, map[string]bool{}, 0
	for name, data := range all {
		switch of, there := strings.CutPrefix(name, "pdf/"); {
		case !there:
		case !strings.HasPrefix(data, "%PDF-"):
			t.Errorf("%s is no PDF", name)
		case strings.HasPrefix(of, "planting-plan-"):
			plans++
		case strings.HasPrefix(of, "application-record-"):
			applied[strings.TrimSuffix(strings.TrimPrefix(of, "application-record-"), ".pdf")] = true
		}
		if strings.HasPrefix(name, "photos/") {
			photos++
		}
	}
	for _, want := range []string{"farm.gpkg", "geojson/finds.geojson", "csv/passes.csv", "README.txt", "revisions.jsonl", "documents.jsonl", "photos.jsonl"} {
		if len(all[want]) == 0 {
			t.Errorf("%s is missing", want)
		}
	}
	if plans == 0 || photos != 1 {
		t.Errorf("%d planting plans and %d photos", plans, photos)
	}
	if err := s.View(bg, "demo", func(r records.Reader) error {
		page, err := r.List(records.Passes, records.Query{Equal: map[string]string{"state": "applied"}})
		for _, rev := range page.Revisions {
			if !applied[string(rev.ID)] {
				t.Errorf("no record of the applied pass %s on paper", rev.ID)
			}
		}
		if len(page.Revisions) != len(applied) || len(applied) == 0 {
			t.Errorf("%d applied passes, %d records on paper", len(page.Revisions), len(applied))
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Invented demo data", "Datos de muestra inventados", "caneward import-farm"} {
		if !strings.Contains(all["README.txt"], want) {
			t.Errorf("README.txt does not say %q:\n%s", want, all["README.txt"])
		}
	}
}

// packed makes an archive of files, in order of name.
func packed(t testing.TB, all map[string]string) []byte {
	t.Helper()
	var names []string
	for name := range all {
		names = append(names, name)
	}
	sort.Strings(names)
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, name := range names {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, all[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestHostileArchives(t *testing.T) {
	s := memory.New(time.Now)
	by := records.Author{Name: "Suite", Role: records.Owner}
	if err := s.CreateFarm(bg, records.Farm{ID: "small", Name: "Small", Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	ids := records.NewIDs(time.Now, strings.NewReader(strings.Repeat("random bytes", 100)))
	var writes []records.Write
	for i := range 5 {
		writes = append(writes, records.Write{Kind: records.Products, ID: ids.New(), Record: records.Record{Properties: json.RawMessage(fmt.Sprintf(`{"n":%d}`, i))}, By: by})
	}
	if _, err := s.Write(bg, "small", writes); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 4, 4))); err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutPhoto(bg, "small", records.Photo{ID: ids.New(), Type: "image/png", Data: b.Bytes(), By: by}); err != nil {
		t.Fatal(err)
	}
	good := written(t, s, "small", made)
	for name, spoil := range map[string]func(all map[string]string){
		"no manifest":        func(all map[string]string) { delete(all, "farm.json") },
		"another's manifest": func(all map[string]string) { all["farm.json"] = `{"form":"theirs"}` },
		"a manifest of 1 MB": func(all map[string]string) { all["farm.json"] = strings.Repeat(" ", 1<<20) + all["farm.json"] },
		"a newer version": func(all map[string]string) {
			all["farm.json"] = strings.Replace(all["farm.json"], `"version": 1`, `"version": 2`, 1)
		},
		"no history": func(all map[string]string) { delete(all, "revisions.jsonl") },
		"the newest left out": func(all map[string]string) {
			lines := strings.SplitAfter(all["revisions.jsonl"], "\n")
			all["revisions.jsonl"] = strings.Join(lines[:len(lines)-2], "")
		},
		"a number changed": func(all map[string]string) {
			all["revisions.jsonl"] = strings.Replace(all["revisions.jsonl"], `{"n":3}`, `{"n":4}`, 1)
		},
		"a shape of rubbish": func(all map[string]string) {
			all["revisions.jsonl"] = strings.Replace(all["revisions.jsonl"], `"shape":""`, `"shape":"0101"`, 1)
		},
		"a member too many": func(all map[string]string) {
			all["revisions.jsonl"] = strings.Replace(all["revisions.jsonl"], `{"sequence":1`, `{"x":1,"sequence":1`, 1)
		},
		"a line of 17 MB": func(all map[string]string) { all["revisions.jsonl"] = `{"kind":"` + random(17<<20) + `"}` + "\n" },
		"a bomb":          func(all map[string]string) { all["revisions.jsonl"] = strings.Repeat("0", 64<<20) },
		"no photo": func(all map[string]string) {
			for name := range all {
				if strings.HasPrefix(name, "photos/") {
					delete(all, name)
				}
			}
		},
		"another photo": func(all map[string]string) {
			for name := range all {
				if strings.HasPrefix(name, "photos/") {
					all[name] += "x"
				}
			}
		},
		"a way out": func(all map[string]string) {
			all["photos.jsonl"] = strings.Replace(all["photos.jsonl"], `{"id":"`, `{"id":"../../etc/`, 1)
		},
		"a name that leads out": func(all map[string]string) { all["../out"] = "x" },
	} {
		all := files(t, good)
		spoil(all)
		err := s.CreateFarm(bg, records.Farm{ID: "target", Zone: "UTC"})
		if err != nil && !fault.Is(err, fault.Conflict) {
			t.Fatal(err)
		}
		err = bring(t, s, "target", packed(t, all))
		if k := fault.KindOf(err); err == nil || k == fault.Internal || k == fault.Conflict {
			t.Errorf("%s: %v, want a refusal", name, err)
		}
	}
	for name, data := range map[string][]byte{"nothing": nil, "cut short": good[:len(good)/2], "no archive": []byte("hello, this is no archive")} {
		if err := bring(t, s, "target", data); !fault.Is(err, fault.Malformed) {
			t.Errorf("%s: %v, want Malformed", name, err)
		}
	}
	if err := bring(t, s, "target", good); err != nil {
		t.Errorf("the whole archive after all that: %v", err)
	}
}

// random is text that does not pack.
func random(n int) string {
	b := make([]byte, n)
	x := uint64(88172645463325252)
	for i := range b {
		x ^= x << 13
		x ^= x >> 7
		x ^= x << 17
		b[i] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_"[x%64]
	}
	return string(b)
}
