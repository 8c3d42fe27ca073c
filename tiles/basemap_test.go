package tiles

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

func picture(t *testing.T, asPNG bool) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 2, 2))
	img.Set(0, 0, color.White)
	var b bytes.Buffer
	var err error
	if asPNG {
		err = png.Encode(&b, img)
	} else {
		err = jpeg.Encode(&b, img, nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// archiveFile writes the tables of MBTiles 1.3.
func archiveFile(t *testing.T, format string, rows func(*sql.DB)) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "base map.mbtiles")
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, q := range []string{
		`CREATE TABLE metadata (name text, value text)`,
		`CREATE TABLE tiles (zoom_level integer, tile_column integer, tile_row integer, tile_data blob)`,
		`INSERT INTO metadata VALUES ('name','Invented air photo'),('attribution','invented'),('minzoom','1'),('maxzoom','2'),('bounds','-81,35,-80,36'),('format','` + format + `')`,
	} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	if rows != nil {
		rows(db)
	}
	return path
}

// MBTiles 1.3: "the tile_row of the TMS scheme", so 2/1/0 here lies in row 3.
func TestArchive(t *testing.T) {
	pic := picture(t, false)
	path := archiveFile(t, "jpg", func(db *sql.DB) {
		db.Exec(`INSERT INTO tiles VALUES (2, 1, 3, ?), (2, 0, 0, ?)`, pic, []byte("<html>"))
	})
	before, _ := os.ReadFile(path)
	m, err := OpenBaseMap(path)
	if err != nil {
		t.Fatal(err)
	}
	got, err := m.Tile(context.Background(), Address{2, 1, 0})
	if err != nil || got.Type != "image/jpeg" || !bytes.Equal(got.Data, pic) {
		t.Errorf("2/1/0: %s, %d bytes, %v", got.Type, len(got.Data), err)
	}
	for _, a := range []Address{{2, 1, 3}, {2, 0, 3}, {0, 0, 0}} {
		if _, err := m.Tile(context.Background(), a); !errors.Is(err, ErrNoTile) {
			t.Errorf("%v: %v, want ErrNoTile", a, err)
		}
	}
	i := m.Info()
	if i.Kind != "file" || i.Attribution != "invented" || i.MinZoom != 1 || i.MaxZoom != 2 || i.Bounds == nil || i.Bounds.Min[0] != -81 {
		t.Errorf("info %+v", i)
	}
	if err := m.Close(); err != nil {
		t.Error(err)
	}
	after, _ := os.ReadFile(path)
	if entries, _ := os.ReadDir(filepath.Dir(path)); !bytes.Equal(before, after) || len(entries) != 1 {
		t.Errorf("reading changed the file or left %d files", len(entries))
	}
}

func TestArchiveRefuses(t *testing.T) {
	text := filepath.Join(t.TempDir(), "map.mbtiles")
	os.WriteFile(text, []byte("not a database at all"), 0o600)
	for name, path := range map[string]string{
		"no file": filepath.Join(t.TempDir(), "none"), "no database": text, "vector tiles": archiveFile(t, "pbf", nil),
		"no tiles": archiveFile(t, "png", func(db *sql.DB) { db.Exec(`DROP TABLE tiles`) }),
	} {
		if m, err := OpenBaseMap(path); err == nil {
			m.Close()
			t.Errorf("%s: opened", name)
		}
	}
}

func TestUpstream(t *testing.T) {
	pic := picture(t, true)
	var asked atomic.Int32
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		switch r.URL.Path {
		case "/t/3/1/2":
			w.Header().Set("Content-Type", "text/plain") // the content says otherwise
			w.Write(pic)
		case "/t/3/1/3":
			w.Write([]byte("<html>quota</html>"))
		case "/t/3/1/4":
			w.Write(append(append([]byte{}, pic...), make([]byte, maxImage)...))
		case "/t/3/1/5":
			http.Redirect(w, r, "http://127.0.0.1:1/elsewhere", http.StatusFound)
		default:
			http.NotFound(w, r)
		}
	}))
	defer server.Close()
	m, err := OpenBaseMap(server.URL + "/t/{z}/{x}/{y}?key=secret")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	m.(*upstream).now = func() time.Time { return now }
	ctx := context.Background()
	for i := 0; i < 3; i++ {
		if got, err := m.Tile(ctx, Address{3, 1, 2}); err != nil || got.Type != "image/png" || !bytes.Equal(got.Data, pic) {
			t.Fatalf("3/1/2: %s %d bytes %v", got.Type, len(got.Data), err)
		}
	}
	if asked.Load() != 1 {
		t.Errorf("asked %d times for one tile, want 1", asked.Load())
	}
	now = now.Add(upstreamKeep + time.Second)
	m.Tile(ctx, Address{3, 1, 2})
	if asked.Load() != 2 {
		t.Errorf("asked %d times after a day, want 2", asked.Load())
	}
	if _, err := m.Tile(ctx, Address{3, 0, 0}); !errors.Is(err, ErrNoTile) {
		t.Errorf("missing: %v, want ErrNoTile", err)
	}
	for _, y := range []uint32{3, 4, 5} {
		if _, err := m.Tile(ctx, Address{3, 1, y}); !errors.Is(err, ErrUpstream) {
			t.Errorf("3/1/%d: %v, want ErrUpstream", y, err)
		}
	}
	server.Close()
	if _, err := m.Tile(ctx, Address{3, 7, 7}); !errors.Is(err, ErrUpstream) || strings.Contains(err.Error(), "secret") {
		t.Errorf("server gone: %v, want ErrUpstream without the address", err)
	}
}

func TestUpstreamForgets(t *testing.T) {
	m, err := openUpstream("http://127.0.0.1/{z}/{x}/{y}")
	if err != nil {
		t.Fatal(err)
	}
	u := m.(*upstream)
	for i := uint32(0); i < 200; i++ {
		u.keep(keptTile{at: Address{20, i, 0}, image: Image{Data: make([]byte, 1<<20)}, fetched: u.now()})
	}
	if u.bytes > upstreamMemory || len(u.kept) != u.order.Len() {
		t.Errorf("%d bytes kept in %d and %d places", u.bytes, len(u.kept), u.order.Len())
	}
}

func TestUpstreamRefusesAddresses(t *testing.T) {
	for _, bad := range []string{"http://example.org/{z}/{x}", "http://example.org/{z}/{x}/{y}/{y}", "http://{z}.example.org/{x}/{y}", "https:///{z}/{x}/{y}"} {
		if _, err := OpenBaseMap(bad); err == nil {
			t.Errorf("%s: taken", bad)
		}
	}
}
