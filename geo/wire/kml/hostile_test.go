package kml_test

import (
	"archive/zip"
	"bytes"
	"context"
	"net"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo/wire"
	"caneward/geo/wire/kml"
	"caneward/geo/wire/markup"
)

func TestGDAL(t *testing.T) {
	// GDAL's KML driver writes no field without value; its LIBKML driver heights
	// of 0 where there are none.
	for _, tt := range []struct {
		file, layer string
		ids         []string
		properties  []string
	}{
		{"gdal-kml.kml", "blocks", []string{"", "", ""}, []string{`{"name":"A1","rows":12,"spacing_m":3.05,"open":"Straße & Söhne"}`, `{"name":"A2","spacing_m":2.5,"open":""}`, `{"name":"ditch","rows":1,"spacing_m":0.1,"open":"x"}`}},
		{"gdal-libkml.kml", "blocks", []string{"blocks.1", "blocks.2", "blocks.3"}, []string{`{"name":"A1","rows":12,"spacing_m":3.05,"open":"Straße & Söhne"}`, `{"name":"A2","spacing_m":2.5}`, `{"name":"ditch","rows":1,"spacing_m":0.1,"open":"x"}`}},
		{"gdal-libkml.kmz", "blocks", []string{"blocks.1", "blocks.2", "blocks.3"}, []string{`{"name":"A1","rows":12,"spacing_m":3.05,"open":"Straße & Söhne"}`, `{"name":"A2","spacing_m":2.5}`, `{"name":"ditch","rows":1,"spacing_m":0.1,"open":"x"}`}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			data, err := os.ReadFile(filepath.Join("testdata", tt.file))
			if err != nil {
				t.Fatal(err)
			}
			all, notes, err := open(t, data)
			if err != nil || len(notes) > 0 || len(all) != 3 {
				t.Fatalf("got %d features, %v, %v", len(all), notes, err)
			}
			for i, want := range []orb.Geometry{
				orb.Polygon{{{-94.4418, 36.3127}, {-94.4401501, 36.3127541}, {-94.4401055, 36.3136103}, {-94.4418, 36.3127}}, {{-94.441, 36.3129}, {-94.4408, 36.3129}, {-94.4408, 36.313}, {-94.441, 36.3129}}},
				orb.MultiPolygon{{{{-94.4389, 36.313}, {-94.4378, 36.313}, {-94.4378, 36.3142}, {-94.4389, 36.313}}}, {{{-94.43, 36.313}, {-94.429, 36.313}, {-94.429, 36.314}, {-94.43, 36.313}}}},
				orb.LineString{{-94.44, 36.31}, {-94.43, 36.32}},
			} {
				f := all[i]
				if !reflect.DeepEqual(f.Geometry.Flat, want) || string(f.Properties) != tt.properties[i] || f.Layer != tt.layer || f.ID != tt.ids[i] {
					t.Errorf("%d: got %v %s %q %q, want %v %s", i, f.Geometry.Flat, f.Properties, f.Layer, f.ID, want, tt.properties[i])
				}
			}
			if all[0].Geometry.Heights != nil || !reflect.DeepEqual(all[2].Geometry.Heights, []float64{301.5, 302}) {
				t.Errorf("heights: got %v and %v", all[0].Geometry.Heights, all[2].Geometry.Heights)
			}
		})
	}
}

// Nothing that a file names is opened: neither a file nor an address.
func TestNothingIsFetched(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	reached := make(chan struct{}, 1)
	go func() {
		if c, err := l.Accept(); err == nil {
			c.Close()
			reached <- struct{}{}
		}
	}()
	const secret = "canary-5f1c"
	canary := filepath.Join(t.TempDir(), "canary")
	if err := os.WriteFile(canary, []byte(secret), 0o600); err != nil {
		t.Fatal(err)
	}
	web := "http://" + l.Addr().String()
	for name, text := range map[string]string{
		"entity file":    `<!DOCTYPE kml [<!ENTITY f SYSTEM "file://` + canary + `">]><kml><Placemark><name>&f;</name></Placemark></kml>`,
		"entity address": `<!DOCTYPE kml [<!ENTITY f SYSTEM "` + web + `/e">]><kml><Placemark><name>&f;</name></Placemark></kml>`,
		"parameter":      `<!DOCTYPE kml [<!ENTITY % f SYSTEM "` + web + `/p">%f;]><kml/>`,
		"DTD":            `<!DOCTYPE kml SYSTEM "` + web + `/d"><kml/>`,
		"schema":         `<kml xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="x ` + web + `/s"><Placemark/></kml>`,
		"style sheet":    `<?xml-stylesheet href="` + web + `/x"?><kml><Placemark/></kml>`,
		"link":           `<kml><NetworkLink><Link><href>` + web + `/l.kml</href></Link></NetworkLink><NetworkLink><Link><href>file://` + canary + `</href></Link></NetworkLink></kml>`,
		"overlay":        `<kml><GroundOverlay><Icon><href>` + web + `/o.png</href></Icon></GroundOverlay><Placemark><styleUrl>` + web + `/s.kml#a</styleUrl></Placemark></kml>`,
		"include":        `<kml xmlns:xi="http://www.w3.org/2001/XInclude"><Placemark><name><xi:include href="` + web + `/i" parse="text"/></name></Placemark></kml>`,
	} {
		all, _, err := open(t, []byte(text))
		for _, f := range all {
			if strings.Contains(string(f.Properties), secret) {
				t.Errorf("%s: the file's content stands in %s", name, f.Properties)
			}
		}
		if strings.Contains(text, "DOCTYPE") {
			if e, ok := wire.As(err); !ok || e.Rule != markup.RuleDoctype {
				t.Errorf("%s: got %v, want %s", name, err, markup.RuleDoctype)
			}
		}
	}
	select {
	case <-reached:
		t.Error("an address was connected to")
	case <-time.After(50 * time.Millisecond):
	}
}

func TestBombs(t *testing.T) {
	nested := func(name string) string { return "<kml>" + strings.Repeat("<"+name+">", 200_000) }
	for _, tt := range []struct {
		name, text string
		rule       wire.Rule
	}{
		{"folders", nested("Folder"), markup.RuleDepth},
		{"multigeometries", "<kml><Placemark>" + nested("MultiGeometry")[5:], markup.RuleDepth},
		{"links", "<kml><NetworkLink>" + nested("Link")[5:], markup.RuleDepth},
		{"in a name", "<kml><Placemark><name>" + nested("b")[5:], markup.RuleDepth},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, _, err := open(t, []byte(tt.text))
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			if e, ok := wire.As(err); !ok || e.Rule != tt.rule {
				t.Errorf("got %v, want %s", err, tt.rule)
			}
			if used := after.TotalAlloc - before.TotalAlloc; took > time.Second || used > 64<<20 {
				t.Errorf("took %v and %d bytes", took, used)
			}
		})
	}
}

func TestLimits(t *testing.T) {
	data := []byte(`<kml><Placemark><LineString><coordinates>1,2 3,4</coordinates></LineString></Placemark><Placemark/></kml>`)
	for rule, l := range map[wire.Rule]wire.Limits{wire.RuleVertices: {Vertices: 1}, wire.RuleFeatures: {Features: 1}, wire.RuleBytes: {Bytes: 10}, markup.RuleDepth: {Depth: 3}} {
		r, err := kml.Open(context.Background(), data, wire.Options{Limits: l})
		for n := 0; err == nil && n < 5; n++ {
			_, err = r.Next()
		}
		if e, ok := wire.As(err); !ok || e.Rule != rule || e.Limit == 0 {
			t.Errorf("got %v, want %s", err, rule)
		}
	}
}

func pack(t testing.TB, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err == nil {
			_, err = w.Write([]byte(files[i+1]))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestMainDocument(t *testing.T) {
	mark := func(name string) string { return "<kml><Placemark><name>" + name + "</name></Placemark></kml>" }
	link := func(to string) string {
		return "<kml><NetworkLink><Link><href>" + to + "</href></Link></NetworkLink></kml>"
	}
	for _, tt := range []struct {
		name  string
		files []string
		want  []string
		noted []string
		rule  wire.Rule
	}{
		{"doc.kml wherever it stands", []string{"a.kml", mark("a"), "x/doc.kml", mark("x"), "doc.kml", mark("d")}, []string{"d"}, []string{"a.kml", "x/doc.kml"}, ""},
		{"least deep", []string{"x/y/a.kml", mark("a"), "x/b.KML", mark("b"), "x/c.kml", mark("c")}, []string{"b"}, []string{"x/y/a.kml", "x/c.kml"}, ""},
		{"links inside", []string{"doc.kml", link("l/a.kml"), "l/a.kml", mark("a"), "b.kml", mark("b")}, []string{"a"}, []string{"b.kml"}, ""},
		{"links in a circle", []string{"doc.kml", link("a.kml"), "a.kml", link("doc.kml")}, nil, nil, ""},
		{"a link out of the archive", []string{"doc.kml", link("../doc2.kml")}, nil, nil, kml.RuleNetworkLink},
		{"none", []string{"a.txt", "x"}, nil, nil, kml.RuleNoKML},
	} {
		t.Run(tt.name, func(t *testing.T) {
			all, notes, err := open(t, pack(t, tt.files...))
			if e, ok := wire.As(err); ok != (tt.rule != "") || ok && e.Rule != tt.rule {
				t.Fatalf("got %v, want %q", err, tt.rule)
			}
			var got, noted []string
			for _, f := range all {
				got = append(got, name(f))
			}
			for _, n := range notes {
				if n.Rule == kml.RuleOtherFile {
					noted = append(noted, n.Entry)
				}
			}
			if !reflect.DeepEqual(got, tt.want) || !reflect.DeepEqual(noted, tt.noted) {
				t.Errorf("got %q, noted %q; want %q, %q", got, noted, tt.want, tt.noted)
			}
		})
	}
}

// FuzzKML: no panic, every error names its place, heights and measures match
// their vertices, and what was read can be written and read again.
func FuzzKML(f *testing.F) {
	for _, pattern := range []string{"../../../testdata/cases/files/*.kml", "../../../testdata/cases/files/*.kmz", "testdata/*.km?"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			f.Fatalf("%s: %v", pattern, err)
		}
		for _, name := range files {
			data, err := os.ReadFile(name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	var b bytes.Buffer
	if err := kml.Write(context.Background(), &b, doc(layer("a", samples()...))); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	l := wire.Limits{Bytes: 1 << 20, Unpacked: 1 << 20, Vertices: 10_000}
	f.Fuzz(func(t *testing.T, data []byte) {
		var r *kml.Reader
		var err error
		if bytes.HasPrefix(data, []byte("PK")) {
			r, err = kml.OpenKMZ(context.Background(), data, wire.Options{Limits: l})
		} else {
			r, err = kml.Open(context.Background(), data, wire.Options{Limits: l})
		}
		if err != nil {
			placed(t, err)
			return
		}
		all, err := drain(r)
		placed(t, err)
		for _, f := range all {
			n := wire.Vertices(f.Geometry.Flat)
			if g := f.Geometry; g.Heights != nil && len(g.Heights) != n || g.Measures != nil && len(g.Measures) != n || g.Flat != nil && n == 0 {
				t.Fatalf("%d vertices, %d heights, %d measures", n, len(g.Heights), len(g.Measures))
			}
			var b bytes.Buffer
			if err := kml.Write(context.Background(), &b, doc(layer("", f))); err != nil {
				if e, ok := wire.As(err); ok && e.Rule == markup.RuleTime {
					continue
				}
				t.Fatalf("cannot be written: %v", err)
			}
			back, _, err := open(t, b.Bytes())
			if err != nil || len(back) != 1 || !reflect.DeepEqual(back[0].Geometry.Flat, f.Geometry.Flat) {
				t.Fatalf("got %v (%v), want %v", back, err, f.Geometry.Flat)
			}
			if !equalJSON(t, back[0].Properties, f.Properties) {
				t.Fatalf("got %s, want %s", back[0].Properties, f.Properties)
			}
		}
	})
}

func placed(t *testing.T, err error) {
	if e, ok := wire.As(err); err != nil && (!ok || e.Rule == "" || e.Line == 0 && e.Entry == "" && e.Feature == 0 && e.Byte < 0 && e.Rule != kml.RuleNoKML) {
		t.Fatalf("error without place: %v", err)
	}
}
