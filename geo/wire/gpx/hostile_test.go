package gpx_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"caneward/geo/wire"
	"caneward/geo/wire/gpx"
	"caneward/geo/wire/markup"
)

func TestGDAL(t *testing.T) {
	for _, tt := range []struct {
		file       string
		flat       []orb.Geometry
		properties []string
	}{
		{"gdal-waypoints.gpx", []orb.Geometry{orb.Point{-94.4418, 36.3127}, orb.Point{-94.4401501, 36.3127541}},
			[]string{`{"time":"2026-05-04T14:00:00Z","name":"gall 1","note":"two canes"}`, `{"name":"gall 2"}`}},
		{"gdal-tracks.gpx", []orb.Geometry{orb.LineString{{-94.44, 36.31}, {-94.43, 36.32}}},
			[]string{`{"name":"ditch","rows":"1","spacing_m":"0.1","open":"x"}`}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			data, err := os.ReadFile(filepath.Join("testdata", tt.file))
			if err != nil {
				t.Fatal(err)
			}
			all, err := read(data)
			if err != nil || len(all) != len(tt.flat) {
				t.Fatalf("got %d features, %v", len(all), err)
			}
			for i, f := range all {
				if !reflect.DeepEqual(f.Geometry.Flat, tt.flat[i]) || string(f.Properties) != tt.properties[i] || len(f.Departures) > 0 {
					t.Errorf("got %v %s %v, want %v %s", f.Geometry.Flat, f.Properties, rules(f), tt.flat[i], tt.properties[i])
				}
			}
		})
	}
}

func TestBombs(t *testing.T) {
	for name, text := range map[string]string{
		"extensions": `<gpx><wpt lat="1" lon="2"><extensions>` + strings.Repeat("<a>", 200_000),
		"metadata":   `<gpx><metadata>` + strings.Repeat("<extensions>", 200_000),
		"names":      `<gpx><trk><name>` + strings.Repeat("<b>", 200_000),
	} {
		t.Run(name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, err := read([]byte(text))
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			if e, ok := wire.As(err); !ok || e.Rule != markup.RuleDepth {
				t.Errorf("got %v, want %s", err, markup.RuleDepth)
			}
			if used := after.TotalAlloc - before.TotalAlloc; took > time.Second || used > 64<<20 {
				t.Errorf("took %v and %d bytes", took, used)
			}
		})
	}
}

// FuzzGPX: no panic, every error names its place, heights and measures match
// their vertices, and what was read can be written and read again.
func FuzzGPX(f *testing.F) {
	for _, pattern := range []string{"../../../testdata/cases/files/*.gpx", "testdata/*.gpx"} {
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
	if err := gpx.Write(context.Background(), &b, wire.Document{Layers: []wire.Layer{layer("a", samples()...)}}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	l := wire.Limits{Bytes: 1 << 20, Vertices: 10_000}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := gpx.Open(context.Background(), data, wire.Options{Limits: l})
		if err != nil {
			placed(t, err)
			return
		}
		for {
			f, err := r.Next()
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				placed(t, err)
				continue
			}
			n := wire.Vertices(f.Geometry.Flat)
			if g := f.Geometry; g.Heights != nil && len(g.Heights) != n || g.Measures != nil && len(g.Measures) != n || g.Flat != nil && n == 0 {
				t.Fatalf("%d vertices, %d heights, %d measures", n, len(g.Heights), len(g.Measures))
			}
			if _, several := f.Geometry.Flat.(orb.Collection); several {
				continue // GeoJSON, which turns rings
			}
			var b bytes.Buffer
			if err := gpx.Write(context.Background(), &b, wire.Document{Layers: []wire.Layer{layer("", f)}}); err != nil {
				if e, ok := wire.As(err); ok && (e.Rule == markup.RuleTime || e.Rule == wire.RuleShortLine) {
					continue
				}
				t.Fatalf("cannot be written: %v", err)
			}
			back, err := read(b.Bytes())
			if err != nil || len(back) != 1 || !reflect.DeepEqual(back[0].Geometry.Flat, f.Geometry.Flat) {
				t.Fatalf("got %v (%v), want %v\n%s", back, err, f.Geometry.Flat, b.String())
			}
			if !equalJSON(t, back[0].Properties, f.Properties) {
				t.Fatalf("got %s, want %s", back[0].Properties, f.Properties)
			}
		}
	})
}

func placed(t *testing.T, err error) {
	if e, ok := wire.As(err); !ok || e.Rule == "" || e.Line == 0 && e.Feature == 0 && e.Byte < 0 {
		t.Fatalf("error without place: %v", err)
	}
}

// A season of a sprayer's track at one fix a second: half a million points.
func BenchmarkRead(b *testing.B) {
	var out bytes.Buffer
	out.WriteString(`<gpx version="1.1"><trk><trkseg>`)
	for i := range 100_000 {
		fmt.Fprintf(&out, "\n<trkpt lat=\"36.%07d\" lon=\"-94.%07d\"><ele>301.5</ele><time>%s</time></trkpt>", i, i, time.Unix(1777903200+int64(i), 0).UTC().Format(time.RFC3339))
	}
	out.WriteString("</trkseg></trk></gpx>")
	b.SetBytes(int64(out.Len()))
	b.ReportAllocs()
	for b.Loop() {
		if all, err := read(out.Bytes()); err != nil || len(all) != 1 {
			b.Fatal(err)
		}
	}
}
