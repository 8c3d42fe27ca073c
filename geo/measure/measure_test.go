package measure_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"caneward/geo"
	"caneward/geo/measure"

	"github.com/paulmach/orb"
)

const reference = "../../testdata/reference/geometry/"

// Values: GeographicLib 2.1.2 Planimeter (geodesic_polygons.json), printed to
// 1e-4 m2 and 1e-9 m.
func TestAreaMatchesGeographicLib(t *testing.T) {
	data, err := os.ReadFile(reference + "geodesic_polygons.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []struct {
		Name      string   `json:"name"`
		Ring      orb.Ring `json:"ring"`
		Area      float64  `json:"area_m2"`
		Perimeter float64  `json:"perimeter_m"`
	}
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) != 13 {
		t.Fatalf("read %d polygons, want 13", len(cases))
	}
	for _, c := range cases {
		area, perimeter := measure.SignedRing(c.Ring)
		if math.Abs(float64(area)-c.Area) > 1e-4 {
			t.Errorf("%s: area %.5f, want %.4f", c.Name, float64(area), c.Area)
		}
		if math.Abs(float64(perimeter)-c.Perimeter) > 1e-7 {
			t.Errorf("%s: perimeter %.9f, want %.9f", c.Name, float64(perimeter), c.Perimeter)
		}
		closed := append(slices.Clone(c.Ring), c.Ring[0])
		backwards := slices.Clone(closed)
		slices.Reverse(backwards)
		for _, g := range []orb.Geometry{closed, orb.Polygon{closed}, orb.Polygon{backwards}, orb.MultiPolygon{{closed}}, orb.Collection{closed}} {
			if got := measure.Area(g); math.Abs(float64(got)-math.Abs(c.Area)) > 1e-4 {
				t.Errorf("%s as %T: area %v, want %v", c.Name, g, got, c.Area)
			}
		}
		if got := measure.Perimeter(closed); math.Abs(float64(got)-c.Perimeter) > 1e-7 {
			t.Errorf("%s: perimeter of the closed ring %v, want %v", c.Name, got, c.Perimeter)
		}
	}
}

// Values: GeographicLib 2.1.2 GeodSolve -i (geodesic_inverse.csv).
func TestDistanceMatchesGeographicLib(t *testing.T) {
	file, err := os.Open(reference + "geodesic_inverse.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 61 {
		t.Fatalf("read %d rows, want 61", len(rows))
	}
	for _, row := range rows[1:] {
		var v [7]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		a, b := geo.Position{v[1], v[0]}, geo.Position{v[3], v[2]}
		d := measure.Distance(a, b)
		if math.Abs(float64(d)-v[6]) > 1e-6 {
			t.Errorf("Distance(%v, %v) = %.9f, want %.9f", a, b, float64(d), v[6])
		}
		want := geo.Degrees(v[4]).Normal()
		turn := math.Abs(math.Remainder(float64(measure.Bearing(a, b)-want), 360)) * math.Pi / 180 * v[6]
		if turn > 1e-6 {
			t.Errorf("Bearing(%v, %v) = %v, want %v", a, b, measure.Bearing(a, b), want)
		}
		if got := measure.Destination(a, want, geo.Metres(v[6])); measure.Distance(got, b) > 1e-6 {
			t.Errorf("Destination(%v, %v, %v) = %v, want %v", a, want, v[6], got, b)
		}
		if got := measure.Length(orb.LineString{a, b, a}); math.Abs(float64(got)-2*v[6]) > 2e-6 {
			t.Errorf("there and back: %v, want %v", got, 2*v[6])
		}
	}
}

func TestAreaOfHolesAndOthers(t *testing.T) {
	outer := orb.Bound{Min: orb.Point{-93, 36}, Max: orb.Point{-92.99, 36.01}}
	inner := orb.Bound{Min: orb.Point{-92.998, 36.002}, Max: orb.Point{-92.995, 36.004}}
	whole := measure.Area(outer)
	if got, want := measure.Area(orb.Polygon{outer.ToRing(), inner.ToRing()}), whole-measure.Area(inner); math.Abs(float64(got-want)) > 1e-6 {
		t.Errorf("with a hole %v, want %v", got, want)
	}
	for _, g := range []orb.Geometry{nil, orb.Point{1, 1}, orb.LineString{{1, 1}, {2, 2}}, orb.Polygon{}, orb.Ring{}, orb.Collection{}} {
		if got := measure.Area(g); got != 0 {
			t.Errorf("area of %T is %v, want 0", g, got)
		}
	}
	across := orb.Ring{{179.999, 51}, {-179.999, 51}, {-179.999, 51.001}, {179.999, 51.001}, {179.999, 51}}
	along := orb.Ring{{10, 51}, {10.002, 51}, {10.002, 51.001}, {10, 51.001}, {10, 51}}
	if a, b := measure.Area(across), measure.Area(along); math.Abs(float64(a-b)) > 1e-3 {
		t.Errorf("across the antimeridian %v, elsewhere %v", a, b)
	}
	p := geo.Position{-93, 36}
	if measure.Bearing(p, p) != 0 || measure.Distance(p, p) != 0 {
		t.Error("a place and itself")
	}
}
