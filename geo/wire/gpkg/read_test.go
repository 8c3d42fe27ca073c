package gpkg

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"caneward/geo"
	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

func fixture(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// What GDAL wrote; testdata/README.md says from what.
func TestReadsOtherPrograms(t *testing.T) {
	got, notes := mustRead(t, fixture(t, "gdal.gpkg"))
	want := []struct{ layer, crs, id, properties string }{
		{"blocks", "EPSG:32615", "1", `{"name":"Bloque Ñ","rows":12,"planted":"2021-04-03","seen":"2026-02-01T10:00:00.000Z","ok":true,"spacing":0.75,"tags":["a",1]}`},
		{"blocks", "EPSG:32615", "2", `{"name":"B-2","ok":false,"spacing":1.5,"tags":[]}`},
		{"points", "", "1", `{"name":"gate"}`},
		{"points", "", "2", `{"name":"well"}`},
		{"labels", "", "1", `{"code":1,"label":"first","weight":2.5}`},
		{"labels", "", "2", `{"code":2,"label":"second"}`},
	}
	if len(got) != len(want) {
		t.Fatalf("%d features, want %d", len(got), len(want))
	}
	for i, w := range want {
		f := got[i]
		if f.Layer != w.layer || f.CRS != w.crs || f.ID != w.id || f.IDKind != wire.NumberID || !sameJSON(t, f.Properties, json.RawMessage(w.properties)) {
			t.Errorf("feature %d: %+v, properties %s; want %+v", i, f, f.Properties, w)
		}
	}
	ring := got[0].Geometry.Flat.(orb.Polygon)[0]
	if math.Hypot(ring[0][0]-539235.896719964, ring[0][1]-5010844.42636018) > 1e-6 || len(ring) != 5 {
		t.Errorf("first polygon: %v", ring)
	}
	if !sameValues(got[0].Geometry.Heights, []float64{300.5, 301, 302, 303, 300.5}) {
		t.Errorf("heights %v", got[0].Geometry.Heights)
	}
	if !sameShape(got[3].Geometry, geo.Geometry{Flat: orb.MultiPoint{{-92.75, 45.1}}}) {
		t.Errorf("second point: %+v", got[3].Geometry)
	}
	if len(notes) != 1 || notes[0].Rule != RuleNotTable || notes[0].Entry != "wide" {
		t.Errorf("notes %v, want one of the view", notes)
	}
}

func TestReadsOlderVersions(t *testing.T) {
	for file, noted := range map[string]wire.Rule{"gp10.gpkg": "", "wal.gpkg": RuleWAL} {
		data := fixture(t, file)
		before := bytes.Clone(data)
		got, notes := mustRead(t, data)
		if !bytes.Equal(data, before) {
			t.Errorf("%s: the caller's bytes were changed", file)
		}
		if !Detects(data) || len(got) != 2 || !sameShape(got[0].Geometry, geo.Geometry{Flat: orb.Point{-93, 45}}) {
			t.Errorf("%s: %+v", file, got)
		}
		if noted == "" && len(notes) > 0 || noted != "" && (len(notes) != 1 || notes[0].Rule != noted) {
			t.Errorf("%s: notes %v, want %q", file, notes, noted)
		}
	}
}

func TestRefusesCurvesByName(t *testing.T) {
	r, err := Open(ctx, fixture(t, "curve.gpkg"), wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	f, err := r.Next()
	e, ok := wire.As(err)
	if !ok || e.Rule != RuleKind || e.Got != "CIRCULARSTRING" || e.Entry != "mixed" || e.Feature != 1 || e.Path != "geom (fid 1)" || f.Number != 1 {
		t.Errorf("%+v, feature %d", e, f.Number)
	}
	f, err = r.Next()
	if err != nil || !sameShape(f.Geometry, geo.Geometry{Flat: orb.Point{1, 2}}) || !strings.HasPrefix(f.CRS, `LOCAL_CS["field grid"`) {
		t.Errorf("%+v, %v", f, err)
	}
	if f, err = r.Next(); err != nil || !f.Geometry.Empty() {
		t.Errorf("%+v, %v", f, err)
	}
	if _, err = r.Next(); err != io.EOF {
		t.Error(err)
	}
}

// made runs SQL over a package of one layer "x", written by Write.
func made(t testing.TB, features []wire.Feature, sql ...string) []byte {
	t.Helper()
	db, err := inMemory()
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := write(ctx, db, wire.Document{Layers: []wire.Layer{layerOf("x", features...)}}); err != nil {
		t.Fatal(err)
	}
	for _, s := range sql {
		if err := db.run(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	data, err := db.Serialize("")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

var onePoint = []wire.Feature{{Geometry: geo.Geometry{Flat: orb.Point{1, 2}}, Properties: json.RawMessage(`{"name":"a"}`)}}

func TestColumnsOfOtherPrograms(t *testing.T) {
	for _, c := range []struct {
		name, sql, properties string
		notes                 []wire.Rule
	}{
		{"bytes", "ALTER TABLE x ADD COLUMN photo BLOB; UPDATE x SET photo=x'0102'", `{"name":"a"}`, []wire.Rule{RuleBinary}},
		{"infinite", "ALTER TABLE x ADD COLUMN r REAL; UPDATE x SET r=9e999", `{"name":"a"}`, []wire.Rule{RuleInfinite}},
		{"text that is no UTF-8", "UPDATE x SET name=CAST(x'61FF62' AS TEXT)", `{"name":"a�b"}`, []wire.Rule{RuleText}},
		{"a boolean of 2", "ALTER TABLE x ADD COLUMN b BOOLEAN; UPDATE x SET b=2", `{"name":"a","b":2}`, nil},
		{"dates as written", "ALTER TABLE x ADD COLUMN d DATETIME; ALTER TABLE x ADD COLUMN e DATE; UPDATE x SET d='not a time', e=20260201", `{"name":"a","d":"not a time","e":20260201}`, nil},
		{"whole number in a real column", "ALTER TABLE x ADD COLUMN r REAL; UPDATE x SET r=3", `{"name":"a","r":3}`, nil},
		{"no JSON in a column of JSON", "INSERT INTO gpkg_data_columns(table_name,column_name,mime_type) VALUES('x','name','application/json')", `{"name":"a"}`, []wire.Rule{RuleJSON}},
		{"one name twice in JSON", `INSERT INTO gpkg_data_columns(table_name,column_name,mime_type) VALUES('x','name','application/json'); UPDATE x SET name='{"a":1,"a":2}'`, `{"name":"{\"a\":1,\"a\":2}"}`, []wire.Rule{RuleJSON}},
		{"JSON that closes ours", `INSERT INTO gpkg_data_columns(table_name,column_name,mime_type) VALUES('x','name','application/json'); UPDATE x SET name='1,"b":2'`, `{"name":"1,\"b\":2"}`, []wire.Rule{RuleJSON}},
		{"a title is no name", "INSERT INTO gpkg_data_columns(table_name,column_name,name) VALUES('x','name','Field name')", `{"name":"a"}`, nil},
		{"computed columns", "ALTER TABLE x ADD COLUMN g TEXT AS (name || name)", `{"name":"a"}`, nil},
		{"tiles", "INSERT INTO gpkg_contents(table_name,data_type) VALUES('t','tiles')", `{"name":"a"}`, []wire.Rule{RuleOther}},
		{"no such table", "INSERT INTO gpkg_contents(table_name,data_type) VALUES('t','attributes')", `{"name":"a"}`, []wire.Rule{RuleNotTable}},
		{"another system in the shape", "UPDATE x SET geom=CAST(x'4750000111270000'||substr(geom,9) AS BLOB)", `{"name":"a"}`, []wire.Rule{RuleSystem}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, notes := mustRead(t, made(t, onePoint, strings.Split(c.sql, "; ")...))
			if len(got) != 1 || !sameJSON(t, got[0].Properties, json.RawMessage(c.properties)) {
				t.Errorf("%+v, want %s", got, c.properties)
			}
			var rules []wire.Rule
			for _, n := range notes {
				rules = append(rules, n.Rule)
				if n.Entry == "" {
					t.Errorf("%v names no table", n)
				}
			}
			if fmt.Sprint(rules) != fmt.Sprint(c.notes) {
				t.Errorf("notes %v, want %v", rules, c.notes)
			}
		})
	}
}

func TestSystems(t *testing.T) {
	for _, c := range []struct{ name, sql, crs string }{
		{"undefined cartesian", "UPDATE gpkg_geometry_columns SET srs_id=-1", wire.CRSMissing},
		{"undefined geographic", "UPDATE gpkg_geometry_columns SET srs_id=0", wire.CRSMissing},
		{"not listed", "UPDATE gpkg_geometry_columns SET srs_id=32615", wire.CRSMissing},
		{"WGS 84 under another number", "INSERT INTO gpkg_spatial_ref_sys VALUES('w',9,'epsg',4326,'x',''); UPDATE gpkg_geometry_columns SET srs_id=9", ""},
		{"EPSG", "INSERT INTO gpkg_spatial_ref_sys VALUES('w',9,'EPSG',26915,'x',''); UPDATE gpkg_geometry_columns SET srs_id=9", "EPSG:26915"},
		{"another authority", "INSERT INTO gpkg_spatial_ref_sys VALUES('w',9,'ESRI',102003,'PROJCS[\"a\"]',''); UPDATE gpkg_geometry_columns SET srs_id=9", `PROJCS["a"]`},
		{"4326 of another meaning", "UPDATE gpkg_spatial_ref_sys SET organization='NONE', definition='PROJCS[\"a\"]' WHERE srs_id=4326", `PROJCS["a"]`},
	} {
		got, _ := mustRead(t, made(t, onePoint, strings.Split(c.sql, "; ")...))
		if len(got) != 1 || got[0].CRS != c.crs {
			t.Errorf("%s: %+v, want %q", c.name, got, c.crs)
		}
	}
}

// drained reads to the end or the first error that is not one feature's.
func drained(ctx context.Context, data []byte, o wire.Options) (n int, last error) {
	r, err := Open(ctx, data, o)
	if err != nil {
		return 0, err
	}
	defer r.Close()
	for {
		f, err := r.Next()
		if errors.Is(err, io.EOF) {
			return n, last
		}
		if err != nil {
			last = err
			if _, ok := wire.As(err); !ok {
				return n, err
			}
		} else if f.Number > 0 {
			n++
		}
	}
}

func TestRefuses(t *testing.T) {
	plain := made(t, onePoint)
	long := made(t, onePoint, "UPDATE x SET name=CAST(zeroblob(1100000) AS TEXT)")
	many := make([]wire.Feature, 50)
	for i := range many {
		many[i] = wire.Feature{Geometry: geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}}, Properties: json.RawMessage(`{"note":"` + strings.Repeat("x", 900) + `"}`)}
	}
	rows := made(t, many)
	for _, c := range []struct {
		name  string
		data  []byte
		l     wire.Limits
		rule  wire.Rule
		entry string
	}{
		{"nothing", nil, wire.Limits{}, RuleDatabase, ""},
		{"text", []byte("{}"), wire.Limits{}, RuleDatabase, ""},
		{"head only", plain[:60], wire.Limits{}, wire.RuleTruncated, ""},
		{"half", plain[:len(plain)/2], wire.Limits{}, wire.RuleTruncated, ""},
		{"page size", append(append(bytes.Clone(plain[:16]), 3, 0), plain[18:]...), wire.Limits{}, RuleCorrupt, ""},
		{"no package", made(t, onePoint, "DROP TABLE gpkg_contents"), wire.Limits{}, RulePackage, "gpkg_contents"},
		{"no systems", made(t, onePoint, "DROP TABLE gpkg_spatial_ref_sys"), wire.Limits{}, RulePackage, "gpkg_spatial_ref_sys"},
		{"no geometry column named", made(t, onePoint, "DELETE FROM gpkg_geometry_columns"), wire.Limits{}, RuleGeometry, "x"},
		{"no such geometry column", made(t, onePoint, "UPDATE gpkg_geometry_columns SET column_name='shape'"), wire.Limits{}, RuleGeometry, "x"},
		{"a column of the standard missing", made(t, onePoint, "ALTER TABLE gpkg_contents RENAME COLUMN identifier TO title"), wire.Limits{}, RuleCorrupt, "gpkg_contents"},
		{"contents that are a view", made(t, onePoint, "DROP TABLE gpkg_contents",
			"CREATE VIEW gpkg_contents AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n) SELECT i AS table_name, 'features' AS data_type, '' AS identifier FROM n"), wire.Limits{}, RulePackage, "gpkg_contents"},
		{"no geometry", made(t, onePoint, "UPDATE x SET geom=x'00'"), wire.Limits{}, RuleBlob, "x"},
		{"text for a geometry", made(t, onePoint, "UPDATE x SET geom='POINT(1 2)'"), wire.Limits{}, RuleBlob, "x"},
		{"long text", long, wire.Limits{}, RuleValue, "x"},
		{"bytes", plain, wire.Limits{Bytes: 100}, wire.RuleBytes, ""},
		{"features", rows, wire.Limits{Features: 49}, wire.RuleFeatures, "x"},
		{"vertices", rows, wire.Limits{Vertices: 99}, wire.RuleVertices, "x"},
		{"unpacked", rows, wire.Limits{Unpacked: 40_000}, RuleUnpacked, "x"},
		{"rows of the standard's tables", plain, wire.Limits{Features: 2}, wire.RuleFeatures, "sqlite_master"},
		{"tables", made(t, onePoint, "CREATE TABLE y(a)", "INSERT INTO gpkg_contents(table_name,data_type) VALUES('y','attributes')"), wire.Limits{Entries: 1}, RuleTables, "y"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := drained(ctx, c.data, wire.Options{Limits: c.l})
			e, ok := wire.As(err)
			if !ok || e.Rule != c.rule || e.Entry != c.entry {
				t.Errorf("%v; want %s in %q", err, c.rule, c.entry)
			}
		})
	}
}

// The computed column alone would take 800 MB.
func TestWhatTheFileBringsAlongIsNotRun(t *testing.T) {
	data := made(t, onePoint,
		"CREATE TABLE log(a)",
		"CREATE TRIGGER t AFTER UPDATE ON x BEGIN INSERT INTO log VALUES (randomblob(1000000)); END",
		"ALTER TABLE x ADD COLUMN g TEXT AS (hex(zeroblob(400000000)))",
		"CREATE INDEX i ON x(name) WHERE length(name) > 0",
		"CREATE VIRTUAL TABLE r USING rtree(id, a, b, c, d)",
		"INSERT INTO gpkg_contents(table_name,data_type) VALUES('r','attributes')")
	start := time.Now()
	got, notes := mustRead(t, data)
	if len(got) != 1 || len(notes) != 1 || notes[0].Entry != "r" || time.Since(start) > patience {
		t.Errorf("%+v, %v, %v", got, notes, time.Since(start))
	}
	r, err := Open(ctx, data, wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for _, s := range []string{"UPDATE x SET name='b'", "ATTACH '' AS other", "SELECT g FROM x WHERE load_extension('x')", "SELECT randomblob(9)",
		"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n) SELECT i FROM n", "PRAGMA query_only=OFF", "CREATE TEMP TABLE y(a)", "VACUUM"} {
		if err := r.db.run(s); err == nil {
			t.Errorf("%s: was run", s)
		}
	}
}

func TestReadingStopsWithItsContext(t *testing.T) {
	c, cancel := context.WithCancel(ctx)
	r, err := Open(c, made(t, append(onePoint, onePoint...)), wire.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := r.Next(); err != nil {
		t.Fatal(err)
	}
	cancel()
	if _, err := r.Next(); !errors.Is(err, context.Canceled) {
		t.Errorf("Next: %v", err)
	}
	if _, err := Open(c, made(t, onePoint), wire.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Open: %v", err)
	}
	if err := Write(c, io.Discard, wire.Document{Layers: []wire.Layer{layerOf("x", onePoint...)}}); !errors.Is(err, context.Canceled) {
		t.Errorf("Write: %v", err)
	}
}

// patience is for a machine with other things to do; alone these take less than
// a tenth of a second.
const patience = 3 * time.Second

// A thousand files with one to sixteen bytes changed: each ends in time, in an
// answer or a *wire.Error that says something.
func TestCorruptFiles(t *testing.T) {
	files := [][]byte{fixture(t, "gdal.gpkg"), fixture(t, "curve.gpkg"), mustWrite(t, everything())}
	random := rand.New(rand.NewPCG(7, 11))
	var slowest time.Duration
	refused := 0
	for i := range 1000 {
		data := bytes.Clone(files[i%len(files)])
		for range 1 + random.IntN(16) {
			data[random.IntN(len(data))] ^= byte(1 + random.IntN(255))
		}
		c, cancel := context.WithTimeout(ctx, 5*time.Second)
		start := time.Now()
		_, err := drained(c, data, wire.Options{})
		slowest = max(slowest, time.Since(start))
		if err != nil {
			refused++
			if _, ok := wire.As(err); !ok {
				t.Errorf("file %d: %v", i, err)
			}
		}
		cancel()
	}
	if slowest > patience {
		t.Errorf("the slowest took %v", slowest)
	}
	t.Logf("%d of 1000 refused or with an error, slowest %v", refused, slowest)
}

func everything() wire.Document {
	var all []wire.Feature
	for _, name := range []string{"point", "polygon", "multipolygon", "collection", "multipoint", "no place"} {
		all = append(all, wire.Feature{ID: name, IDKind: wire.StringID, Geometry: shapes[name], Properties: json.RawMessage(`{"name":"` + name + `","n":1,"r":1.5,"ok":true,"list":[1]}`)})
	}
	return wire.Document{Title: "Hollow Lane", Notice: "Invented data", Layers: []wire.Layer{layerOf("all", all...), layerOf("labels", wire.Feature{Properties: json.RawMessage(`{"a":1}`)})}}
}

// blobOf puts well-known binary behind the head that GeoPackage wants.
func blobOf(wkb []byte) []byte { return append([]byte("GP\x00\x01\xe6\x10\x00\x00"), wkb...) }

func TestBinaryIsBounded(t *testing.T) {
	lie := func(kind, count uint32) []byte {
		return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32([]byte{1}, kind), count)
	}
	deep := bytes.Repeat(lie(7, 1), 200_000)
	rings := append(lie(3, 5_000_000), make([]byte, 20_000_000)...)
	for _, c := range []struct {
		name string
		wkb  []byte
		rule wire.Rule
	}{
		{"points that are not there", lie(2, math.MaxUint32), RuleBlob},
		{"rings that are not there", lie(3, math.MaxUint32), RuleBlob},
		{"parts that are not there", lie(6, math.MaxUint32), RuleBlob},
		{"200,000 levels", deep, RuleDepth},
		{"5 million empty rings", rings, wire.RuleVertices},
		{"ends in a position", lie(1, 0), RuleBlob},
		{"byte order", []byte{7, 1, 0, 0, 0}, RuleBlob},
		{"type", lie(99, 0), RuleBlob},
		{"thousands", lie(4001, 0), RuleBlob},
		{"a line among points", append(lie(4, 1), lie(2, 0)...), RuleBlob},
		{"surface", lie(1015, 0), RuleKind},
	} {
		t.Run(c.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, _, err := decodeBlob(blobOf(c.wkb), 40, 1_000_000)
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			if err == nil || err.Rule != c.rule {
				t.Errorf("%v, want %s", err, c.rule)
			}
			// A million ring heads are 24 MB, grown by a quarter at a time.
			if size := after.TotalAlloc - before.TotalAlloc; size > 200<<20 || took > patience {
				t.Errorf("took %v and %d bytes", took, size)
			}
		})
	}
}

// EWKB's bits, big-endian numbers and envelopes: what writers besides us use.
func TestBinaryOfOtherPrograms(t *testing.T) {
	point := func(order binary.AppendByteOrder, first byte, code uint32, numbers ...float64) []byte {
		b := order.AppendUint32([]byte{first}, code)
		for _, n := range numbers {
			b = order.AppendUint64(b, math.Float64bits(n))
		}
		return b
	}
	withSRS := append(point(binary.LittleEndian, 1, 0x20000001), 0xe6, 0x10, 0, 0)
	withSRS = append(withSRS, point(binary.LittleEndian, 1, 0, 1, 2)[5:]...)
	bigHead := []byte{'G', 'P', 0, 0x06, 0, 0, 0x10, 0xe6} // big-endian, envelope xyz in 48 bits less
	for _, c := range []struct {
		name string
		blob []byte
		want geo.Geometry
	}{
		{"EWKB Z", blobOf(point(binary.LittleEndian, 1, 0x80000001, 1, 2, 3)), geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{3}}},
		{"EWKB ZM", blobOf(point(binary.LittleEndian, 1, 0xC0000001, 1, 2, 3, 4)), geo.Geometry{Flat: orb.Point{1, 2}, Heights: []float64{3}, Measures: []float64{4}}},
		{"EWKB with a system", blobOf(withSRS), geo.Geometry{Flat: orb.Point{1, 2}}},
		{"big-endian", blobOf(point(binary.BigEndian, 0, 2001, 1, 2, 9)), geo.Geometry{Flat: orb.Point{1, 2}, Measures: []float64{9}}},
		{"big-endian head, envelope xym", append(append(bytes.Clone(bigHead), make([]byte, 48)...), point(binary.LittleEndian, 1, 1, 1, 2)...), geo.Geometry{Flat: orb.Point{1, 2}}},
		{"empty point", blobOf(point(binary.LittleEndian, 1, 1, nan, nan)), geo.Geometry{}},
	} {
		got, srs, err := decodeBlob(c.blob, 40, 100)
		if err != nil || !sameShape(got, c.want) || srs != 4326 {
			t.Errorf("%s: %+v, %d, %v; want %+v", c.name, got, srs, err, c.want)
		}
	}
	for name, blob := range map[string][]byte{
		"half a position": blobOf(point(binary.LittleEndian, 1, 1, nan, 2)),
		"infinite":        blobOf(point(binary.LittleEndian, 1, 1, math.Inf(1), 2)),
		"infinite height": blobOf(point(binary.LittleEndian, 1, 1001, 1, 2, math.Inf(1))),
		"bytes follow":    blobOf(append(point(binary.LittleEndian, 1, 1, 1, 2), 0)),
		"envelope 5":      {'G', 'P', 0, 0x0b, 0, 0, 0, 0},
		"extended":        {'G', 'P', 0, 0x21, 0, 0, 0, 0},
		"version":         {'G', 'P', 1, 1, 0, 0, 0, 0},
	} {
		if g, _, err := decodeBlob(blob, 40, 100); err == nil {
			t.Errorf("%s: read as %+v", name, g)
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	wide := `{"p0":0`
	for i := range mostProperties {
		wide += fmt.Sprintf(`,"p%d":0`, i+1)
	}
	for _, c := range []struct {
		name     string
		features []wire.Feature
		rule     wire.Rule
	}{
		{"an id twice", []wire.Feature{{ID: "a", IDKind: wire.StringID}, {ID: "a", IDKind: wire.StringID}}, wire.RuleID},
		{"not finite", []wire.Feature{{}, {Geometry: geo.Geometry{Flat: orb.Point{nan, 1}}}}, wire.RuleNumber},
		{"heights missing", []wire.Feature{{}, {Geometry: geo.Geometry{Flat: orb.LineString{{1, 2}, {3, 4}}, Heights: []float64{1}}}}, wire.RuleCount},
		{"more properties than columns", []wire.Feature{{}, {Properties: json.RawMessage(wide + "}")}}, RuleColumns},
		{"no object", []wire.Feature{{}, {Properties: json.RawMessage(`[1]`)}}, wire.RuleObject},
	} {
		err := Write(ctx, io.Discard, wire.Document{Layers: []wire.Layer{layerOf("rows", c.features...)}})
		if e, ok := wire.As(err); !ok || e.Rule != c.rule || e.Feature != 2 || e.Entry != "rows" {
			t.Errorf("%s: %v, want %s in feature 2 of rows", c.name, err, c.rule)
		}
	}
}

// Whatever binary is read can be written, and is then read as the same.
func FuzzWKB(f *testing.F) {
	for _, g := range shapes {
		if g.Empty() {
			continue
		}
		blob, err := encodeBlob(g)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(blob)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		g, _, bad := decodeBlob(data, 40, 10_000)
		if bad != nil || g.Empty() {
			return
		}
		blob, err := encodeBlob(g)
		if err != nil {
			t.Fatalf("%x was read and cannot be written: %v", data, err)
		}
		back, _, bad := decodeBlob(blob, 40, 10_000)
		if bad != nil || !sameShape(back, g) {
			t.Fatalf("%x, then %x: %v", data, blob, bad)
		}
	})
}

// Any file ends, in features or a *wire.Error.
func FuzzOpen(f *testing.F) {
	for _, name := range []string{"gdal.gpkg", "gp10.gpkg", "wal.gpkg", "curve.gpkg"} {
		f.Add(fixture(f, name))
	}
	f.Add(mustWrite(f, everything()))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, cancel := context.WithTimeout(ctx, 5*time.Second)
		defer cancel()
		if _, err := drained(c, data, wire.Options{}); err != nil {
			if _, ok := wire.As(err); !ok {
				t.Fatal(err)
			}
		}
	})
}

// A root page whose every child is the same leaf gives rows without end from a
// small file (The SQLite Database File Format, section 1.6: interior table
// pages are 0x05, cells a child's number and a key).
func TestRowsThatShareTheirPages(t *testing.T) {
	many := make([]wire.Feature, 3000)
	for i := range many {
		many[i].Properties = json.RawMessage(`{"name":"` + strings.Repeat("x", 100) + `"}`)
	}
	data := made(t, many)
	const page = 4096
	root := -1
	for at := 0; at < len(data); at += page {
		if data[at] == 0x05 && binary.BigEndian.Uint16(data[at+3:]) > 50 {
			root = at
		}
	}
	if root < 0 {
		t.Fatal("no interior page: the fixture is too small")
	}
	child := binary.BigEndian.Uint32(data[root+int(binary.BigEndian.Uint16(data[root+12:])):])
	const cells, cell = 580, 5
	binary.BigEndian.PutUint16(data[root+1:], 0)
	binary.BigEndian.PutUint16(data[root+3:], cells)
	binary.BigEndian.PutUint16(data[root+5:], page-cells*cell)
	data[root+7] = 0
	binary.BigEndian.PutUint32(data[root+8:], child)
	for i := range cells {
		at := page - cells*cell + i*cell
		binary.BigEndian.PutUint16(data[root+12+2*i:], uint16(at))
		binary.BigEndian.PutUint32(data[root+at:], child)
		data[root+at+4] = 1
	}
	for _, c := range []struct {
		l    wire.Limits
		rule wire.Rule
	}{
		{wire.Limits{Features: 5000}, wire.RuleFeatures},
		{wire.Limits{Unpacked: 1 << 20}, RuleUnpacked},
	} {
		n, err := drained(ctx, data, wire.Options{Limits: c.l})
		if e, ok := wire.As(err); !ok || e.Rule != c.rule || n < 4000 {
			t.Errorf("%d rows of 3000, %v; want %s", n, err, c.rule)
		}
	}
}
