package plane_test

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"strconv"
	"testing"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"

	"github.com/paulmach/orb"
)

const reference = "../../testdata/reference/geometry/"

// UTM zone 16 on WGS 84 is this projection with the scale 0.9996 and 500 km
// added to x. Values: PROJ 9.1.1 (crs_points.csv, EPSG 32616).
func TestFrameMatchesPROJ(t *testing.T) {
	const tolerance = 2e-8 // m; PROJ's own inverse and forward differ by 5e-9
	file, err := os.Open(reference + "crs_points.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	f, err := plane.FrameAt(geo.Position{-87, 0})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, row := range rows {
		if row[0] != "32616" {
			continue
		}
		n++
		var v [4]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		p, want := geo.Position{v[0], v[1]}, plane.XY{X: (v[2] - 500000) / 0.9996, Y: v[3] / 0.9996}
		if got := f.XY(p); float64(got.Distance(want)) > tolerance {
			t.Errorf("XY(%v) = %v, want %v", p, got, want)
		}
		back := f.Position(want)
		if d := measure.Distance(back, p); float64(d) > tolerance {
			t.Errorf("Position(%v) = %v, want %v: %g m off", want, back, p, float64(d))
		}
	}
	if n != 25 {
		t.Errorf("read %d rows of EPSG 32616, want 25", n)
	}
}

// The areas of the reference rings are GeographicLib's (geodesic_polygons.json).
func TestFrameAreaMatchesGeographicLib(t *testing.T) {
	for _, c := range polygons(t) {
		ring := append(c.Ring, c.Ring[0])
		f, err := plane.FrameOf(ring)
		if err != nil {
			t.Fatal(c.Name, err)
		}
		r, err := f.Region(ring)
		if err != nil {
			t.Fatal(c.Name, err)
		}
		box, _ := plane.Shape{Ground: r}.Box()
		reach := math.Max(box.Max.X, -box.Min.X)
		allowed := 0.1e-6
		if reach > 6000 {
			allowed = reach * reach / (6.3e6 * 6.3e6) // the table in Frame's comment
		}
		want := math.Abs(c.Area)
		if off := math.Abs(float64(r.Area())-want) / want; off > allowed+1e-4/want {
			t.Errorf("%s: area %v, want %v: %.3g of it off, allowed %.3g", c.Name, r.Area(), want, off, allowed)
		}
	}
}

// A disc 10 km across, centred: the mean of x²/R² over it is r²/4R², 0.15 ppm.
func TestFrameAreaAtFiveKilometres(t *testing.T) {
	for _, lat := range []float64{0, 36, 45, -42, 60} {
		centre := geo.Position{-87.25, lat}
		ring := make(orb.Ring, 0, 721)
		for i := range 720 {
			ring = append(ring, measure.Destination(centre, geo.Degrees(i)/2, 5000))
		}
		ring = append(ring, ring[0])
		f, err := plane.FrameAt(centre)
		if err != nil {
			t.Fatal(err)
		}
		r, err := f.Region(ring)
		if err != nil {
			t.Fatal(err)
		}
		got, want := r.Area(), measure.Area(ring)
		if off := math.Abs(float64(got/want - 1)); off > 0.16e-6 {
			t.Errorf("latitude %g: frame %v, ellipsoid %v: %.3g ppm off, want at most 0.16", lat, got, want, off*1e6)
		}
	}
}

// The scale is 1 + x²/2R²: what the table in Frame's comment says.
func TestFrameScaleGrowsAsStated(t *testing.T) {
	f, err := plane.FrameAt(geo.Position{-92.3, 36})
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		x      geo.Metres
		ppm, w float64
	}{{1000, 0.012, 0.002}, {5000, 0.31, 0.01}, {10000, 1.23, 0.02}, {50000, 31, 0.5}, {100000, 123, 1.5}}
	for _, c := range tests {
		p := measure.Destination(geo.Position{-92.3, 36}, 90, c.x)
		q := measure.Destination(p, 0, 100)
		got := (float64(f.XY(p).Distance(f.XY(q)))/100 - 1) * 1e6
		if math.Abs(got-c.ppm) > c.w {
			t.Errorf("at %v m: scale %.4f ppm over 1, want %.3f", c.x, got, c.ppm)
		}
	}
}

func TestFrameRoundTrip(t *testing.T) {
	for _, o := range []geo.Position{{0, 0}, {-93.1, 36.2}, {179.999, -42}, {-180, 60}, {12, 88.9}, {147, -42.8}} {
		f, err := plane.FrameAt(o)
		if err != nil {
			t.Fatal(err)
		}
		if got := f.XY(o); math.Hypot(got.X, got.Y) > 5e-9 {
			t.Errorf("origin %v is placed at %v", o, got)
		}
		for _, p := range []plane.XY{{X: 1, Y: 2}, {X: -4000, Y: 7000}, {X: 90000, Y: -60000}} {
			back := f.XY(f.Position(p))
			if d := back.Distance(p); d > 1e-8 {
				t.Errorf("frame at %v: %v comes back as %v, %g m off", o, p, back, float64(d))
			}
		}
	}
}

func TestFrameAcrossTheAntimeridian(t *testing.T) {
	f, err := plane.FrameFor(geo.Box{Min: geo.Position{179.99, 51.9}, Max: geo.Position{-179.99, 52.1}})
	if err != nil {
		t.Fatal(err)
	}
	if o := f.Origin(); math.Abs(o[0]) != 180 || o[1] != 52 {
		t.Errorf("origin %v, want ±180, 52", o)
	}
	east, west := geo.Position{-179.995, 52}, geo.Position{179.995, 52}
	if a, b := f.XY(west), f.XY(east); a.X > 0 || b.X < 0 || math.Abs(float64(a.Distance(b)-measure.Distance(west, east))) > 1e-4 {
		t.Errorf("%v and %v are placed at %v and %v, %v m apart", west, east, a, b, measure.Distance(west, east))
	}
	for _, p := range []geo.Position{east, west} {
		if got := f.Position(f.XY(p)); measure.Distance(got, p) > 1e-7 {
			t.Errorf("%v comes back as %v", p, got)
		}
	}
	of, err := plane.FrameOf(orb.Point{179.9, 10}, nil, orb.LineString{{-179.9, 10}, {-179.8, 11}})
	if err != nil {
		t.Fatal(err)
	}
	if o := of.Origin(); math.Abs(o[0]+179.95) > 1e-9 || o[1] != 10.5 {
		t.Errorf("FrameOf: origin %v, want -179.95, 10.5", o)
	}
}

func TestFrameRefusals(t *testing.T) {
	nan := math.NaN()
	good, err := plane.FrameAt(geo.Position{-93, 36})
	if err != nil {
		t.Fatal(err)
	}
	ring := func(ps ...orb.Point) orb.Polygon { return orb.Polygon{ps} }
	try := func(g orb.Geometry) func() error {
		return func() error { _, err := good.Shape(g); return err }
	}
	var place *plane.PlaceError
	var far *plane.FarError
	var corners *plane.CornersError
	var kind *plane.KindError
	tests := []struct {
		name string
		do   func() error
		want any
	}{
		{"no number", func() error { _, err := plane.FrameAt(geo.Position{nan, 1}); return err }, &place},
		{"infinite", func() error { _, err := plane.FrameAt(geo.Position{1, math.Inf(1)}); return err }, &place},
		{"pole", func() error { _, err := plane.FrameAt(geo.Position{1, 89.5}); return err }, &place},
		{"swapped axes", func() error { _, err := plane.FrameAt(geo.Position{36, -93}); return err }, &place},
		{"box of a continent", func() error {
			_, err := plane.FrameFor(geo.Box{Min: geo.Position{-120, 30}, Max: geo.Position{-70, 45}})
			return err
		}, &far},
		{"box of the globe", func() error {
			_, err := plane.FrameFor(geo.Box{Min: geo.Position{-180, 30}, Max: geo.Position{180, 31}})
			return err
		}, &far},
		{"nothing to place", func() error { _, err := plane.FrameOf(nil, orb.Collection{}); return err }, &place},
		{"zero frame", func() error { _, err := plane.Frame{}.Shape(orb.Point{0, 0}); return err }, &place},
		{"corner far away", try(ring(orb.Point{-93, 36}, orb.Point{-92.99, 36}, orb.Point{0, 0})), &far},
		{"corner no number", try(orb.MultiPoint{{nan, 36}}), &place},
		{"two corners", try(ring(orb.Point{-93, 36}, orb.Point{-92.99, 36}, orb.Point{-93, 36})), &corners},
		{"empty ring", try(orb.Polygon{{}}), &corners},
		{"line of one point", try(orb.LineString{{-93, 36}, {-93, 36}}), &corners},
		{"region of a line", func() error { _, err := good.Region(orb.LineString{{-93, 36}, {-93, 37}}); return err }, &kind},
		{"deep collection", try(nested(20)), &kind},
	}
	for _, c := range tests {
		if err := c.do(); err == nil || !errors.As(err, c.want) {
			t.Errorf("%s: error %v, want a %T", c.name, err, c.want)
		}
	}
	if p := (plane.Frame{}).XY(geo.Position{1, 1}); p.Finite() {
		t.Errorf("the zero frame places 1, 1 at %v", p)
	}
}

func nested(n int) orb.Geometry {
	var g orb.Geometry = orb.Point{-93, 36}
	for range n {
		g = orb.Collection{g}
	}
	return g
}

type polygonCase struct {
	Name      string   `json:"name"`
	Ring      orb.Ring `json:"ring"`
	Area      float64  `json:"area_m2"`
	Perimeter float64  `json:"perimeter_m"`
}

func polygons(t *testing.T) []polygonCase {
	t.Helper()
	data, err := os.ReadFile(reference + "geodesic_polygons.json")
	if err != nil {
		t.Fatal(err)
	}
	var out []polygonCase
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	if len(out) != 13 {
		t.Fatalf("read %d polygons, want 13", len(out))
	}
	return out
}
