package export_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"math/big"
	"slices"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/intake/sheet"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/wire"
	"caneward/geo/wire/gpkg"
	"caneward/geo/wire/gpx"
	"caneward/geo/wire/kml"
	"caneward/geo/wire/shp"
	"caneward/records"
	"caneward/records/demofarm"
	"caneward/records/export"
	"caneward/records/memory"

	"github.com/paulmach/orb"
)

// near is how far a position may lie from where it stood, in degrees: 0.1 mm.
// Text with nine decimals keeps that; binary formats and ours keep every bit.
const near = 1e-9

// areaNear is how far an area may be off, relative.
const areaNear = 1e-6

// roundTrip is what the test has to know of a format to read it back.
type roundTrip struct {
	open    func(data []byte) (wire.Source, error)
	layers  bool // the layer comes back
	heights bool
	times   bool
	pins    bool // a point comes without its height
	noNulls bool // null is not told from an absent property
}

var roundTrips = map[string]roundTrip{
	"geojson": {layers: true, heights: true, times: true, open: func(data []byte) (wire.Source, error) {
		return wire.NewFeatureReader(bytes.NewReader(data), wire.Options{})
	}},
	"gpkg": {layers: true, heights: true, times: true, noNulls: true, open: opened(gpkg.Open)},
	"kml":  {layers: true, heights: true, times: true, open: opened(kml.Open)},
	"kmz":  {layers: true, heights: true, times: true, open: opened(kml.OpenKMZ)},
	"zip":  {layers: true, heights: true, times: true, open: opened(shp.Open)},
	"gpx":  {layers: true, heights: true, times: true, open: opened(gpx.Open)},
	"csv": {layers: true, heights: true, times: true, open: func(data []byte) (wire.Source, error) {
		// The byte order mark is taken off before the format is told (intake).
		return sheet.Open(context.Background(), bytes.TrimPrefix(data, []byte("\uFEFF")), sheet.Options{})
	}},
}

func opened[S wire.Source](open func(context.Context, []byte, wire.Options) (S, error)) func([]byte) (wire.Source, error) {
	return func(data []byte) (wire.Source, error) {
		return open(context.Background(), data, wire.Options{Lenient: true})
	}
}

// written is an export of some kinds of a farm, nil for all.
func written(t testing.TB, store *memory.Store, farm records.FarmID, f export.Format, kinds ...records.Kind) []byte {
	t.Helper()
	var b bytes.Buffer
	must(t, write(&b, store, farm, f, kinds...))
	return b.Bytes()
}

func write(w io.Writer, store *memory.Store, farm records.FarmID, f export.Format, kinds ...records.Kind) error {
	return store.View(context.Background(), farm, func(r records.Reader) error {
		doc, err := export.Document(context.Background(), r, export.Selection{Kinds: kinds, Language: words.English})
		if err != nil {
			return err
		}
		return f.Write(context.Background(), w, doc)
	})
}

func all(t testing.TB, open func([]byte) (wire.Source, error), data []byte) []wire.Feature {
	t.Helper()
	src, err := open(data)
	must(t, err)
	var features []wire.Feature
	for {
		f, err := src.Next()
		if errors.Is(err, io.EOF) {
			for _, n := range src.Notes() {
				if n.Rule != sheet.RuleNotice { // the sheet says that its data are invented
					t.Errorf("our own file has the note %v", n)
				}
			}
			return features
		}
		must(t, err)
		for _, d := range f.Departures {
			t.Errorf("our own feature %d has the departure %v", f.Number, d)
		}
		features = append(features, f)
	}
}

type place struct {
	kind records.Kind
	id   string
}

func current(t testing.TB, store *memory.Store, farm records.FarmID) map[place]records.Record {
	t.Helper()
	out := map[place]records.Record{}
	must(t, store.View(context.Background(), farm, func(r records.Reader) error {
		for _, kind := range records.Kinds {
			page, err := r.List(kind, records.Query{})
			if err != nil {
				return err
			}
			for _, rev := range page.Revisions {
				out[place{kind, string(rev.ID)}] = rev.Record
			}
		}
		return nil
	}))
	return out
}

type storedFarm struct {
	id    records.FarmID
	store func() (*memory.Store, error)
}

var farms = map[string]storedFarm{"demo": {demofarm.Farm, demo}, "odd": {oddFarm, odd}}

// What our writers wrote, our readers give back: every record of both farms, by
// its id, in every format, as one file and kind by kind.
func TestEveryFormatComesBack(t *testing.T) {
	for _, f := range export.Formats {
		form, known := roundTrips[f.Ending]
		if !known {
			t.Errorf("no way to read %s back stands in this test", f.Ending)
			continue
		}
		for name, farm := range farms {
			store, err := farm.store()
			must(t, err)
			want := current(t, store, farm.id)
			t.Run(f.Ending+"/"+name+"/farm", func(t *testing.T) {
				compare(t, form, want, all(t, form.open, written(t, store, farm.id, f)))
			})
			for _, kind := range records.Kinds {
				of := maps.Collect(func(yield func(place, records.Record) bool) {
					for p, r := range want {
						if p.kind == kind && !yield(p, r) {
							return
						}
					}
				})
				if len(of) == 0 {
					continue
				}
				t.Run(f.Ending+"/"+name+"/"+string(kind), func(t *testing.T) {
					compare(t, form, of, all(t, form.open, written(t, store, farm.id, f, kind)))
				})
			}
		}
	}
}

// A record of several kinds of shape at once goes into every format but the
// shapefile, which has none for it (ESRI Shapefile Technical Description, July
// 1998, p. 4: all shapes of a file are of one type), and which then says so.
func TestCollections(t *testing.T) {
	shape := orb.Collection{orb.Point{172.5, -41.3}, orb.LineString{{172.5, -41.3}, {172.51, -41.3}}, orb.Polygon{ring(172.5, -41.3, 172.51, -41.29)}}
	store, err := farmOf([]oddRecord{{records.Surroundings, flat(shape), `{"kind":"other","name":"farmstead"}`}})
	must(t, err)
	want := current(t, store, oddFarm)
	for _, f := range export.Formats {
		t.Run(f.Ending, func(t *testing.T) {
			if f.Ending != "zip" {
				compare(t, roundTrips[f.Ending], want, all(t, roundTrips[f.Ending].open, written(t, store, oddFarm, f)))
				return
			}
			err := write(io.Discard, store, oddFarm, f)
			for p := range want {
				if !fault.Is(err, fault.Invalid) || !strings.Contains(err.Error(), p.id) || !strings.Contains(err.Error(), "surroundings") {
					t.Errorf("says %v, want a refusal that names %v", err, p)
				}
			}
		})
	}
}

// Equal farms give equal bytes.
func TestExportsAreDeterministic(t *testing.T) {
	for name, farm := range farms {
		store, err := farm.store()
		must(t, err)
		for _, f := range export.Formats {
			if !bytes.Equal(written(t, store, farm.id, f), written(t, store, farm.id, f)) {
				t.Errorf("%s of the %s farm differs from one time to the next", f.Ending, name)
			}
		}
	}
}

func compare(t *testing.T, form roundTrip, want map[place]records.Record, got []wire.Feature) {
	t.Helper()
	byID := map[string]records.Kind{}
	for p := range want {
		byID[p.id] = p.kind
	}
	seen := map[string]bool{}
	for _, f := range got {
		kind, known := byID[f.ID]
		if !known || f.IDKind != wire.StringID {
			t.Errorf("feature %d has the id %q (%d), which no record has", f.Number, f.ID, f.IDKind)
			continue
		}
		if seen[f.ID] {
			t.Errorf("%s %s comes twice", kind, f.ID)
		}
		seen[f.ID] = true
		if form.layers && f.Layer != string(kind) {
			t.Errorf("%s %s: layer %q", kind, f.ID, f.Layer)
		}
		rec := want[place{kind, f.ID}]
		if err := sameJSON(form, rec.Properties, f.Properties); err != nil {
			t.Errorf("%s %s: %v\n got %.600s\nwant %.600s", kind, f.ID, err, f.Properties, rec.Properties)
		}
		if err := samePlace(form, rec.Geometry, f.Geometry); err != nil {
			t.Errorf("%s %s: %v\n got %+v\nwant %+v", kind, f.ID, err, f.Geometry, rec.Geometry)
		}
	}
	for p := range want {
		if !seen[p.id] {
			t.Errorf("%s %s is missing", p.kind, p.id)
		}
	}
}

// sameJSON compares values: numbers by their exact value, texts by their
// characters, objects whatever the order of their members.
func sameJSON(form roundTrip, want, got json.RawMessage) error {
	var values [2]any
	for i, raw := range []json.RawMessage{want, got} {
		if raw == nil {
			raw = json.RawMessage("{}")
		}
		d := json.NewDecoder(bytes.NewReader(raw))
		d.UseNumber()
		if err := d.Decode(&values[i]); err != nil {
			return fmt.Errorf("no JSON: %w", err)
		}
	}
	for i := range values {
		if object, ok := values[i].(map[string]any); ok && form.noNulls {
			maps.DeleteFunc(object, func(_ string, v any) bool { return v == nil })
		}
	}
	return sameValue("", values[0], values[1])
}

func sameValue(path string, want, got any) error {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			break
		}
		for _, name := range slices.Sorted(maps.Keys(w)) {
			inner, there := g[name]
			if !there {
				return fmt.Errorf("%s.%s is lost", path, name)
			}
			if err := sameValue(path+"."+name, w[name], inner); err != nil {
				return err
			}
		}
		for name := range g {
			if _, there := w[name]; !there {
				return fmt.Errorf("%s.%s is new", path, name)
			}
		}
		return nil
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			break
		}
		for i := range w {
			if err := sameValue(fmt.Sprintf("%s[%d]", path, i), w[i], g[i]); err != nil {
				return err
			}
		}
		return nil
	case json.Number:
		g, ok := got.(json.Number)
		a, fine := new(big.Rat).SetString(string(w))
		b, fineToo := new(big.Rat).SetString(string(g))
		if ok && fine && fineToo && a.Cmp(b) == 0 {
			return nil
		}
	default:
		if want == got {
			return nil
		}
	}
	return fmt.Errorf("%s is %#v, want %#v", path, got, want)
}

// samePlace compares shapes: of one kind (a single part may come as a multi
// shape of one), rings in either direction from the same first corner.
func samePlace(form roundTrip, want, got geo.Geometry) error {
	w, g := normal(want.Flat), normal(got.Flat)
	if (w == nil) != (g == nil) {
		return errors.New("a place came or went")
	}
	if w == nil {
		return nil
	}
	if w.GeoJSONType() != g.GeoJSONType() {
		return fmt.Errorf("is a %s, want a %s", g.GeoJSONType(), w.GeoJSONType())
	}
	a, b := lines(w), lines(g)
	if len(a) != len(b) {
		return fmt.Errorf("%d lines or rings, want %d", len(b), len(a))
	}
	first := 0
	for i := range a {
		if len(a[i]) != len(b[i]) {
			return fmt.Errorf("line or ring %d has %d positions, want %d", i+1, len(b[i]), len(a[i]))
		}
		backwards := false
		for k := range a[i] {
			if !samePosition(a[i][k], b[i][k]) {
				backwards = true
			}
		}
		at := func(k int) int {
			if backwards {
				return len(a[i]) - 1 - k
			}
			return k
		}
		for k := range a[i] {
			if !samePosition(a[i][k], b[i][at(k)]) {
				return fmt.Errorf("position %d of line or ring %d differs", k+1, i+1)
			}
			if form.heights && !(form.pins && g.GeoJSONType() == "MultiPoint") && !sameNumber(want.Heights, first+k, got.Heights, first+at(k)) {
				return fmt.Errorf("height %d of line or ring %d differs", k+1, i+1)
			}
			if form.times && !sameNumber(want.Measures, first+k, got.Measures, first+at(k)) {
				return fmt.Errorf("measure %d of line or ring %d differs", k+1, i+1)
			}
		}
		first += len(a[i])
	}
	switch w.(type) {
	case orb.MultiPolygon:
		if x, y := areaOf(want.Flat), areaOf(got.Flat); !sameArea(y, x) {
			return fmt.Errorf("area %v m2, want %v", y, x)
		}
	}
	return nil
}

func areaOf(g orb.Geometry) float64 { return float64(measure.Area(g)) }

func sameArea(got, want float64) bool { return math.Abs(got-want) <= areaNear*want }

func samePosition(a, b orb.Point) bool {
	return math.Abs(a[0]-b[0]) <= near && math.Abs(a[1]-b[1]) <= near
}

func sameNumber(a []float64, i int, b []float64, j int) bool {
	x, y := math.NaN(), math.NaN()
	if a != nil {
		x = a[i]
	}
	if b != nil {
		y = b[j]
	}
	return x == y || math.IsNaN(x) && math.IsNaN(y)
}

func normal(g orb.Geometry) orb.Geometry {
	switch g := g.(type) {
	case orb.Point:
		return orb.MultiPoint{g}
	case orb.LineString:
		return orb.MultiLineString{g}
	case orb.Polygon:
		return orb.MultiPolygon{g}
	}
	return g
}

func lines(g orb.Geometry) [][]orb.Point {
	var out [][]orb.Point
	switch g := g.(type) {
	case orb.MultiPoint:
		out = append(out, g)
	case orb.MultiLineString:
		for _, l := range g {
			out = append(out, l)
		}
	case orb.MultiPolygon:
		for _, p := range g {
			for _, r := range p {
				out = append(out, r)
			}
		}
	case orb.Collection:
		for _, c := range g {
			out = append(out, lines(normal(c))...)
		}
	}
	return out
}
