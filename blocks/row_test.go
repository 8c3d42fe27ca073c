package blocks

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"caneward/geo"
	"caneward/geo/measure"
	"caneward/geo/plane"

	"github.com/paulmach/orb"
)

// eastward is a line east from a place in North Carolina, through so many metres.
func eastward(t testing.TB, metres ...float64) orb.LineString {
	t.Helper()
	f, err := plane.FrameAt(orb.Point{-80.42, 35.87})
	if err != nil {
		t.Fatal(err)
	}
	var l orb.LineString
	for _, m := range metres {
		l = append(l, f.Position(plane.XY{X: m}))
	}
	return l
}

func TestParsePlaces(t *testing.T) {
	long := geo.Geometry{Flat: eastward(t, 0, 100)}
	two := geo.Geometry{Flat: orb.MultiLineString{eastward(t, 0, 40), eastward(t, 60, 100)}}
	for _, c := range []struct {
		name, raw string
		g         geo.Geometry
		want      string
	}{
		{"whole row", `"places":[{"from":1,"plants":101,"at_m":0,"spacing_m":1}]`, long, ""},
		{"two parts", `"places":[{"from":42,"plants":41,"part":2,"at_m":0,"spacing_m":1},{"from":1,"plants":41,"part":1,"at_m":0,"spacing_m":1}]`, two, ""},
		{"one plant needs no spacing", `"places":[{"from":1,"plants":1,"at_m":7}]`, long, ""},
		{"past the end", `"places":[{"from":1,"plants":102,"at_m":0,"spacing_m":1}]`, long, "places[0]"},
		{"a centimetre past the end", `"places":[{"from":1,"plants":101,"at_m":0.01,"spacing_m":1}]`, long, ""},
		{"number twice", `"places":[{"from":1,"plants":10,"at_m":0,"spacing_m":1},{"from":10,"plants":5,"at_m":20,"spacing_m":1}]`, long, "places[1]"},
		{"number twice, later first", `"places":[{"from":10,"plants":5,"at_m":20,"spacing_m":1},{"from":1,"plants":10,"at_m":0,"spacing_m":1}]`, long, "places[0]"},
		{"part that is none", `"places":[{"from":1,"plants":2,"part":2,"at_m":0,"spacing_m":1}]`, long, "places[0].part"},
		{"no number", `"places":[{"plants":2,"at_m":0,"spacing_m":1}]`, long, "places[0].from"},
		{"no plants", `"places":[{"from":1,"plants":0,"at_m":0}]`, long, "places[0].plants"},
		{"no spacing", `"places":[{"from":1,"plants":2,"at_m":0}]`, long, "places[0].spacing_m"},
		{"spacing of a millimetre", `"places":[{"from":1,"plants":2,"at_m":0,"spacing_m":0.001}]`, long, "places[0].spacing_m"},
		{"before the start", `"places":[{"from":1,"plants":2,"at_m":-1,"spacing_m":1}]`, long, "places[0].at_m"},
		{"more than numbers go", `"places":[{"from":99999,"plants":3,"at_m":0,"spacing_m":1}]`, long, "places[0].plants"},
		{"fewer counted than named", `"plants":5,"places":[{"from":1,"plants":6,"at_m":0,"spacing_m":1}]`, long, "plants"},
		{"no list", `"places":{"from":1}`, long, "places"},
		{"no objects", `"places":[1]`, long, "places[0]"},
		{"missing beyond the places", `"places":[{"from":1,"plants":6,"at_m":0,"spacing_m":1}],"missing":[7]`, long, "missing[0]"},
		{"missing among the gone", `"plants":9,"places":[{"from":1,"plants":6,"at_m":0,"spacing_m":1}],"missing":[7]`, long, ""},
		{"replanted", `"plants":9,"replanted":[{"plant":3,"on":"2026-03-02"},{"plant":3,"on":"2026-04-02"}]`, long, ""},
		{"replanted twice that day", `"plants":9,"replanted":[{"plant":3,"on":"2026-03-02"},{"plant":3,"on":"2026-03-02"}]`, long, "replanted[1]"},
		{"replanted where nothing is", `"plants":9,"replanted":[{"plant":10,"on":"2026-03-02"}]`, long, "replanted[0].plant"},
		{"replanted some day", `"plants":9,"replanted":[{"plant":1}]`, long, "replanted[0].on"},
		{"replanted on no day", `"plants":9,"replanted":[{"plant":1,"on":"spring"}]`, long, "replanted[0].on"},
		{"gone", `"plants":9,"places":[{"from":1,"plants":6,"at_m":0,"spacing_m":1}],"gone":[{"plant":8,"why":"under the new road"}]`, long, ""},
		{"gone but there", `"plants":9,"places":[{"from":1,"plants":6,"at_m":0,"spacing_m":1}],"gone":[{"plant":6,"why":"road"}]`, long, "gone[0].plant"},
		{"gone without a reason", `"plants":9,"gone":[{"plant":6,"why":" "}]`, long, "gone[0].why"},
		{"skipped as text", `"skipped":"yes"`, long, "skipped"},
		{"half a post", `"posts":1.5`, long, "posts"},
		{"an area has no parts", `"places":[{"from":1,"plants":1,"at_m":0}]`, outline, "geometry"},
	} {
		row, details := ParseRow(c.g, json.RawMessage(`{"block":"b","number":3,`+c.raw+`}`))
		if faultsAt(details) != c.want {
			t.Errorf("%s: %s: faults at %q; want %q (%v)", c.name, c.raw, faultsAt(details), c.want, row)
		}
	}
}

func TestRowNumbers(t *testing.T) {
	row, details := ParseRow(geo.Geometry{Flat: eastward(t, 0, 100)}, json.RawMessage(
		`{"block":"b","number":3,"plants":12,"missing":[2],"gone":[{"plant":5,"why":"road"}],"places":[{"from":8,"plants":3,"at_m":50,"spacing_m":2},{"from":1,"plants":4,"at_m":0.5,"spacing_m":1}]}`))
	if len(details) > 0 {
		t.Fatal(details)
	}
	if got, want := row.Numbers(1), []int{1, 2, 3, 4, 8, 9, 10}; !reflect.DeepEqual(got, want) {
		t.Errorf("numbers %v, want %v", got, want)
	}
	if got, want := row.Absent(), []int{2, 5, 6, 7, 11, 12}; !reflect.DeepEqual(got, want) || row.Standing() != 6 {
		t.Errorf("absent %v, %d standing; want %v, 6 standing", got, row.Standing(), want)
	}
	for n, want := range map[int]bool{0: false, 1: true, 4: true, 5: false, 7: false, 8: true, 10: true, 11: false} {
		if row.HasPlace(n) != want {
			t.Errorf("place %d: %v, want %v", n, !want, want)
		}
	}
	if none, _ := ParseRow(geo.Geometry{Flat: eastward(t, 0, 100)}, json.RawMessage(`{"block":"b","number":3,"plants":12,"places":[]}`)); none.Standing() != 0 || none.HasPlace(3) || none.Numbers(1) != nil {
		t.Errorf("a row without places left: %+v", none)
	}
	row.Skipped = true
	if row.Standing() != 0 {
		t.Errorf("%d stand on a skipped strip", row.Standing())
	}
}

// Where plants stand by hand: along the line, from its start.
func TestRowAt(t *testing.T) {
	start := eastward(t, 0, 1)[0]
	for _, c := range []struct {
		name    string
		row     Row
		spacing geo.Metres
		plant   int
		want    float64 // metres from the start; NaN: no such place
	}{
		{"first", Row{Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 1, 0},
		{"last of 101", Row{Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 101, 100},
		{"past the last", Row{Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 102, math.NaN()},
		{"number 0", Row{Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 0, math.NaN()},
		{"second part begins anew", Row{Parts: orb.MultiLineString{eastward(t, 0, 40.5), eastward(t, 60.2, 100)}}, 1, 42, 60.2},
		{"counted, evenly", Row{Plants: 51, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 26, 50},
		{"counted without a spacing", Row{Plants: 5, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 0, 4, 75},
		{"nothing known", Row{Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 0, 1, math.NaN()},
		{"one short", Row{Plants: 100, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 100, 99},
		{"places outrank the rule", Row{Plants: 9, Places: []Run{{1, 2, 1, 30, 4}, {7, 3, 1, 10, 2}}, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 8, 12},
		{"between the runs", Row{Plants: 9, Places: []Run{{1, 2, 1, 30, 4}, {7, 3, 1, 10, 2}}, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 3, math.NaN()},
		{"gone", Row{Plants: 101, Gone: []Gone{{50, "road"}}, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 50, math.NaN()},
		{"after the gone one", Row{Plants: 101, Gone: []Gone{{50, "road"}}, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 51, 50},
		{"no place left", Row{Plants: 101, Places: []Run{}, Parts: orb.MultiLineString{eastward(t, 0, 100)}}, 1, 7, math.NaN()},
		{"no line", Row{Plants: 3}, 1, 1, math.NaN()},
	} {
		at, ok := c.row.At(c.plant, c.spacing)
		if ok == math.IsNaN(c.want) {
			t.Errorf("%s: plant %d: found %v", c.name, c.plant, ok)
		}
		if ok && math.Abs(float64(measure.Distance(start, at))-c.want) > 1e-3 {
			t.Errorf("%s: plant %d stands %v m along, want %v", c.name, c.plant, measure.Distance(start, at), c.want)
		}
	}
}

// Rows within 1 km have no place farther than 1 mm from the tape's, whatever
// their direction and latitude: the tape is the geodesic of GeographicLib.
func TestRowAtAnywhere(t *testing.T) {
	for _, lat := range []float64{-60, 0, 35.87, 70} {
		for bearing := geo.Degrees(0); bearing < 360; bearing += 30 {
			from := orb.Point{179.9999, lat}
			to := measure.Destination(from, bearing, 1000)
			row := Row{Parts: orb.MultiLineString{{from, to}}}
			for _, n := range []int{1, 137, 500, 1001} {
				at, ok := row.At(n, 1)
				want := measure.Destination(from, bearing, geo.Metres(n-1))
				if d := measure.Distance(at, want); !ok || d > 1e-3 {
					t.Errorf("lat %v bearing %v plant %d: %v m off", lat, bearing, n, d)
				}
			}
		}
	}
}

func FuzzParseRow(f *testing.F) {
	f.Add(`{"block":"b","number":1,"plants":9,"places":[{"from":1,"plants":6,"at_m":0,"spacing_m":1}],"gone":[{"plant":8,"why":"x"}],"replanted":[{"plant":3,"on":"2026"}]}`)
	f.Add(`{"places":[{"from":1e5,"plants":1e5}]}`)
	g := geo.Geometry{Flat: eastward(f, 0, 100)}
	f.Fuzz(func(t *testing.T, raw string) {
		row, details := ParseRow(g, json.RawMessage(raw))
		if len(details) > 0 {
			return
		}
		seen := map[int]bool{}
		for _, n := range row.Numbers(1) {
			if seen[n] || n < 1 || n > MaxPlants || strings.Contains(raw, "plants") && row.Plants > 0 && n > row.Plants {
				t.Errorf("%s: number %d twice or out of bounds", raw, n)
			}
			seen[n] = true
		}
	})
}
