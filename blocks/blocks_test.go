package blocks

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/geo"

	"github.com/paulmach/orb"
)

var outline = geo.Geometry{Flat: orb.Polygon{{{-94.4418, 36.3127}, {-94.4401501, 36.3127541}, {-94.4401055, 36.3136103}, {-94.4411311, 36.3137635}, {-94.4418446, 36.3135653}, {-94.4418, 36.3127}}}}
var line = geo.Geometry{Flat: orb.LineString{{-94.4418, 36.3127}, {-94.4401, 36.3127}}}

func faultsAt(details []fault.Detail) string {
	names := []string{}
	for _, d := range details {
		names = append(names, d.Field)
		if d.Text.In(words.Spanish) == "" || strings.Contains(d.Text.String(), "{") {
			names = append(names, "(bad text: "+d.Text.String()+")")
		}
	}
	return strings.Join(names, " ")
}

func TestParse(t *testing.T) {
	b, details := Parse(outline, json.RawMessage(`{"name":" Gate Block ","crop":"blackberry","cultivar":"trailing","planted_on":"2021-04",
		"outline_follows":"posts","row_spacing_m":3.05,"plant_spacing_m":0.91,"row_bearing_deg":-2.5,"first_row_side":"right","first_plant_end":"end","soil":"sandy"}`))
	bearing := geo.Degrees(357.5)
	want := Block{Name: "Gate Block", Crop: "blackberry", Cultivar: "trailing", PlantedOn: Date{Year: 2021, Month: 4}, OutlineFollows: Posts,
		RowSpacing: 3.05, PlantSpacing: 0.91, RowBearing: &bearing, FirstRowSide: Right, FirstPlantEnd: Farther, Outline: orb.MultiPolygon{outline.Flat.(orb.Polygon)}}
	if len(details) > 0 || !reflect.DeepEqual(b, want) {
		t.Errorf("got %+v, %v; want %+v", b, details, want)
	}
	// The area of this outline is V001's in the cases set, by Planimeter.
	if a := b.OutlineArea(); math.Abs(float64(a)-16092.24) > 0.01 {
		t.Errorf("outline %v m2; want 16092.24", a)
	}
	// 43,560 square feet an acre over 10 ft rows is 4,356 ft of row: one acre.
	b.RowSpacing = 10 * geo.MetresPerFoot
	if a := b.PlantedArea(4356 * geo.MetresPerFoot).Acres(); math.Abs(a-1) > 1e-12 {
		t.Errorf("4,356 ft of row at 10 ft are %v acres; want 1", a)
	}
}

func TestParseFaults(t *testing.T) {
	for _, c := range []struct {
		name, raw string
		g         geo.Geometry
		want      string
	}{
		{"name alone", `{"name":"A"}`, outline, ""},
		{"nulls are absent", `{"name":"A","crop":null,"row_spacing_m":null}`, outline, ""},
		{"nothing", ``, outline, "name"},
		{"null", `null`, outline, "name"},
		{"a list", `[]`, outline, "properties name"},
		{"blank name", `{"name":" "}`, outline, "name"},
		{"name a number", `{"name":7}`, outline, "name"},
		{"long name", `{"name":"` + strings.Repeat("ä", 201) + `"}`, outline, "name"},
		{"name of 200 letters", `{"name":"` + strings.Repeat("ä", 200) + `"}`, outline, ""},
		{"zero spacing", `{"name":"A","row_spacing_m":0}`, outline, "row_spacing_m"},
		{"negative spacing", `{"name":"A","plant_spacing_m":-1}`, outline, "plant_spacing_m"},
		{"huge spacing", `{"name":"A","row_spacing_m":1e300}`, outline, "row_spacing_m"},
		{"beyond numbers", `{"name":"A","row_spacing_m":1e400}`, outline, "row_spacing_m"},
		{"text for a number", `{"name":"A","row_spacing_m":"3"}`, outline, "row_spacing_m"},
		{"bearing", `{"name":"A","row_bearing_deg":361}`, outline, "row_bearing_deg"},
		{"unknown words", `{"name":"A","outline_follows":"hedge","first_row_side":"north","first_plant_end":"gate"}`, outline, "outline_follows first_row_side first_plant_end"},
		{"no such day", `{"name":"A","planted_on":"2021-02-29"}`, outline, "planted_on"},
		{"no date", `{"name":"A","planted_on":"spring"}`, outline, "planted_on"},
		{"a line", `{"name":"A"}`, line, "geometry"},
		{"no place", `{"name":"A"}`, geo.Geometry{}, "geometry"},
	} {
		if _, details := Parse(c.g, json.RawMessage(c.raw)); faultsAt(details) != c.want {
			t.Errorf("%s: %s: faults at %q; want %q", c.name, c.raw, faultsAt(details), c.want)
		}
	}
}

func TestParseRow(t *testing.T) {
	r, details := ParseRow(line, json.RawMessage(`{"block":"b","number":3,"plants":10,"missing":[7,2]}`))
	want := Row{Block: "b", Number: 3, Plants: 10, Missing: []int{2, 7}, Parts: orb.MultiLineString{line.Flat.(orb.LineString)}}
	if len(details) > 0 || !reflect.DeepEqual(r, want) || r.Standing() != 8 {
		t.Errorf("got %+v, %v, %d standing; want %+v, 8 standing", r, details, r.Standing(), want)
	}
	for _, c := range []struct {
		name, raw string
		g         geo.Geometry
		want      string
	}{
		{"nothing", `{}`, line, "block number"},
		{"row 0", `{"block":"b","number":0}`, line, "number"},
		{"half a row", `{"block":"b","number":1.5}`, line, "number"},
		{"missing beyond the end", `{"block":"b","number":1,"plants":5,"missing":[6]}`, line, "missing[0]"},
		{"missing twice", `{"block":"b","number":1,"plants":5,"missing":[2,2]}`, line, "missing[1]"},
		{"missing null", `{"block":"b","number":1,"plants":5,"missing":[null]}`, line, "missing[0]"},
		{"more missing than places", `{"block":"b","number":1,"plants":1,"missing":[1,2]}`, line, "missing"},
		{"missing no list", `{"block":"b","number":1,"missing":3}`, line, "missing"},
		{"missing without a count", `{"block":"b","number":1,"missing":[3]}`, line, ""},
		{"an area", `{"block":"b","number":1}`, outline, "geometry"},
	} {
		if _, details := ParseRow(c.g, json.RawMessage(c.raw)); faultsAt(details) != c.want {
			t.Errorf("%s: %s: faults at %q; want %q", c.name, c.raw, faultsAt(details), c.want)
		}
	}
}

func TestParseSurroundings(t *testing.T) {
	for _, kind := range SurroundingsKinds {
		s, details := ParseSurroundings(line, json.RawMessage(`{"kind":"`+string(kind)+`","drawn_by_eye":true}`))
		if len(details) > 0 || s.Kind != kind || !s.DrawnByEye || kind.Text().Empty() {
			t.Errorf("%s: got %+v, %v", kind, s, details)
		}
	}
	for _, c := range []struct {
		name, raw string
		g         geo.Geometry
		want      string
	}{
		{"no kind", `{"name":"x"}`, line, "kind"},
		{"kind null", `{"kind":null}`, line, "kind"},
		{"unknown kind", `{"kind":"castle"}`, line, "kind"},
		{"by eye a text", `{"kind":"well","drawn_by_eye":"yes"}`, line, "drawn_by_eye"},
		{"no place", `{"kind":"well"}`, geo.Geometry{}, "geometry"},
	} {
		if _, details := ParseSurroundings(c.g, json.RawMessage(c.raw)); faultsAt(details) != c.want {
			t.Errorf("%s: %s: faults at %q; want %q", c.name, c.raw, faultsAt(details), c.want)
		}
	}
}

func TestParseDate(t *testing.T) {
	for _, c := range []struct {
		in string
		ok bool
	}{
		{"2021", true}, {"2021-04", true}, {"2021-04-15", true}, {"2020-02-29", true},
		{"0000", false}, {"2021-13", false}, {"2021-04-31", false}, {"21-4-15", false}, {"", false}, {"2021-04-15T00:00:00Z", false},
	} {
		d, ok := ParseDate(c.in)
		if ok != c.ok || ok && d.String() != c.in {
			t.Errorf("%q gave %q, %v; want %v", c.in, d.String(), ok, c.ok)
		}
	}
}
