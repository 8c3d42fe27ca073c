package sheet

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

const cases = "../../../testdata/cases"

type wantedCase struct {
	Points    int          `json:"points"`
	LonLat    [][2]float64 `json:"lonlat"`
	Tolerance float64      `json:"position_tolerance_m"`
	Notes     []string     `json:"notes"`
	Times     []string     `json:"local_times"`
	Dates     []string     `json:"dates"`
	Rejected  []int        `json:"rejected_rows"`
}

// expected gives the column "expected" of the cases set, by id.
func expected(t *testing.T) map[string]struct{ file, want string } {
	t.Helper()
	f, err := os.Open(filepath.Join(cases, "cases.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	file, want := slices.Index(rows[0], "file"), slices.Index(rows[0], "expected")
	out := map[string]struct{ file, want string }{}
	for _, r := range rows[1:] {
		out[r[0]] = struct{ file, want string }{r[file], r[want]}
	}
	return out
}

type said struct {
	Name, Note, Time string
	Severity         any
}

type outcome struct {
	features []wire.Feature
	faults   []*wire.Error
	notes    []*wire.Error
}

func (o outcome) said(t *testing.T, i int) said {
	t.Helper()
	var s said
	if err := json.Unmarshal(o.features[i].Properties, &s); err != nil {
		t.Fatalf("%s: %v", o.features[i].Properties, err)
	}
	return s
}

func (o outcome) has(rule wire.Rule) *wire.Error {
	for _, n := range o.notes {
		if n.Rule == rule {
			return n
		}
	}
	return nil
}

func readAll(s *Source) (outcome, error) {
	var out outcome
	for {
		f, err := s.Next()
		if errors.Is(err, io.EOF) {
			out.notes = s.Notes()
			return out, nil
		}
		if e, ok := wire.As(err); ok {
			if e.Feature == 0 {
				return out, err
			}
			out.faults = append(out.faults, e)
			continue
		}
		if err != nil {
			return out, err
		}
		out.features = append(out.features, f)
	}
}

func read(t *testing.T, text string, o Options) outcome {
	t.Helper()
	s, err := Open(context.Background(), []byte(text), o)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	out, err := readAll(s)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return out
}

// metres is good to a part in a thousand over a few metres.
func metres(a, b [2]float64) float64 {
	return math.Hypot((a[0]-b[0])*111320*math.Cos(b[1]*math.Pi/180), (a[1]-b[1])*110950)
}

// TestCases reads the sheets of the cases set (source: testdata/cases/README.md).
func TestCases(t *testing.T) {
	const placeTolerance = 0.02 // metres, the set's own
	all := expected(t)
	for _, id := range []string{"V077", "V078", "V079", "V080", "V081", "V082", "V083", "V085", "V086", "V087"} {
		t.Run(id, func(t *testing.T) {
			var want wantedCase
			if err := json.Unmarshal([]byte(all[id].want), &want); err != nil {
				t.Fatal(err)
			}
			data, err := os.ReadFile(filepath.Join(cases, all[id].file))
			if err != nil {
				t.Fatal(err)
			}
			got := read(t, strings.TrimPrefix(string(data), "\uFEFF"), Options{})
			if len(got.features) != want.Points || len(got.faults) > 0 {
				t.Fatalf("%d features, faults %v; want %d and none", len(got.features), got.faults, want.Points)
			}
			tolerance := max(want.Tolerance, placeTolerance)
			for i, w := range want.LonLat {
				p, _ := got.features[i].Geometry.Flat.(orb.Point)
				if d := metres(p, w); !(d <= tolerance) || got.features[i].CRS != "" {
					t.Errorf("row %d at %v, %.3f m from %v; want at most %v", i, p, d, w, tolerance)
				}
			}
			for i := range want.Points {
				s := got.said(t, i)
				if want.Notes != nil && s.Note != want.Notes[i] {
					t.Errorf("note %q; want %q", s.Note, want.Notes[i])
				}
				if times := append(want.Times, want.Dates...); times != nil && s.Time != times[i] {
					t.Errorf("time %q; want %q", s.Time, times[i])
				}
			}
			var rejected []int
			for _, n := range got.notes {
				if n.Rule == RuleNoPosition {
					rejected = append(rejected, n.Line)
				}
			}
			if !slices.Equal(rejected, want.Rejected) {
				t.Errorf("left out lines %v; want %v", rejected, want.Rejected)
			}
		})
	}
}

// TestCaseDetails holds what the cases say beside places.
func TestCaseDetails(t *testing.T) {
	open := func(file string) outcome {
		data, err := os.ReadFile(filepath.Join(cases, "files", file))
		if err != nil {
			t.Fatal(err)
		}
		return read(t, string(data), Options{})
	}
	if s := open("V077-csv-semicolon-comma.csv").said(t, 0); s.Severity != 2.5 {
		t.Errorf("severity %v; want 2.5", s.Severity)
	}
	if n := open("V082-csv-excel-serials.csv").has(RuleSerial); n == nil || n.Count != 3 || n.Line != 2 {
		t.Errorf("note of day numbers %+v; want three from line 2", n)
	}
	if n := open("V086-csv-day-month.csv").has(RuleDayFirst); n == nil || n.Line != 3 {
		t.Errorf("note of the order %+v; want line 3 as the proof", n)
	}
	if got := open("V084-csv-xy-metres.csv"); len(got.features) != 3 || got.features[0].CRS != wire.CRSMissing ||
		got.features[0].Geometry.Flat != orb.Geometry(orb.Point{370616.26, 4019641.75}) {
		t.Errorf("V084: %+v; want three raw points without a system", got.features)
	}
}

func TestRows(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       [][]string
		lines      []int
	}{
		{"line ends", "a,b\r\nc,d\re,f\n\n\ng,h", [][]string{{"a", "b"}, {"c", "d"}, {"e", "f"}, {"g", "h"}}, []int{1, 2, 3, 6}},
		{"only separators", "a,b\n,,\n , \nc,d", [][]string{{"a", "b"}, {"c", "d"}}, []int{1, 4}},
		{"quoted", "\"a,1\",\"b\"\"x\"\"\"\n\"two\r\nlines\",c\nd,e", [][]string{{"a,1", `b"x"`}, {"two\r\nlines", "c"}, {"d", "e"}}, []int{1, 2, 4}},
		{"inch marks", "36\"N,94\"W\n1\",\"2\"", [][]string{{`36"N`, `94"W`}, {`1"`, "2"}}, []int{1, 2}},
		{"spaces before a quote", "a, \"b,c\" ,d", [][]string{{"a", "b,c", "d"}}, []int{1}},
		{"a single mark inside", "\"36\"N\",b\nc,d", [][]string{{`36"N`, "b"}, {"c", "d"}}, []int{1, 2}},
		{"empty", "", nil, nil},
		{"a trailing separator", "a,\nb,", [][]string{{"a", ""}, {"b", ""}}, []int{1, 2}},
	} {
		s := scan(c.text, ',')
		var rows [][]string
		var lines []int
		for {
			r, err := s.next()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			rows, lines = append(rows, slices.Clone(r.cells)), append(lines, r.line)
		}
		if !slices.EqualFunc(rows, c.want, slices.Equal) || !slices.Equal(lines, c.lines) {
			t.Errorf("%s: %q on lines %v; want %q on %v", c.name, rows, lines, c.want, c.lines)
		}
	}
}

func TestRefusals(t *testing.T) {
	wide := strings.Repeat("c,", maxColumns+1)
	for _, c := range []struct {
		name, text string
		rule       wire.Rule
		line       int
	}{
		{"never closed", "lat,lon,note\n1,2,a\n3,4,\"b\n5,6,c\n7,8,d\n", RuleQuote, 3},
		{"closed too late", "lat,lon,note\n1,2,\"b\n5,6,\"c\" x\n7,8,d\"\n", RuleQuote, 2},
		{"no position", "name,acres\na,2\n", RuleColumns, 1},
		{"figures only", "36.31,-94.44\n36.32,-94.45\n", RuleColumns, 1},
		{"wide", "lat,lon," + wide + "\n1,2\n", RuleWide, 1},
		{"large field", "lat,lon,note\n1,2," + strings.Repeat("x", maxField+1), RuleField, 2},
		{"both orders", "lat,lon,date\n1,2,13/4/2026\n1,2,4/5/2026\n1,2,4/13/2026\n", RuleDayMonth, 4},
		{"nothing", "\n,,\n", wire.RuleNothing, 0},
	} {
		_, err := Open(context.Background(), []byte(c.text), Options{})
		if e, ok := wire.As(err); !ok || e.Rule != c.rule || e.Line != c.line {
			t.Errorf("%s: %v; want %s on line %d", c.name, err, c.rule, c.line)
		}
	}
	_, err := Open(context.Background(), []byte("lat,lon\n1,2\n3,4\n"), Options{Limits: wire.Limits{Features: 1}})
	if e, ok := wire.As(err); !ok || e.Rule != wire.RuleFeatures || e.Line != 3 {
		t.Errorf("%v; want too many features at line 3", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Open(ctx, []byte("lat,lon\n1,2\n"), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v; want the context's error", err)
	}
}

func TestHeaders(t *testing.T) {
	for _, c := range []struct {
		header     string
		field      Field
		hemisphere byte
	}{
		{" LONG ", Longitude, 0}, {"Lat.", Latitude, 0}, {"Latitud (°)", Latitude, 0}, {"Long W", Longitude, 'W'}, {"lat (S)", Latitude, 'S'},
		{"Observación", Note, 0}, {"accuracy_m", Accuracy, 0}, {"accuracy (ft)", Other, 0}, {"Accuracy (m)", Accuracy, 0},
		{"Fecha y hora", Date, 0}, {"hilera", Row, 0}, {"the_geom", Geometry, 0}, {"Lat, Lon", LatLon, 0}, {"POINT_X", X, 0}, {"acres", Other, 0}, {"", Other, 0},
	} {
		if f, h := meaning(c.header); f != c.field || h != c.hemisphere {
			t.Errorf("%q: %s %q; want %s %q", c.header, f, h, c.field, c.hemisphere)
		}
	}
	for _, f := range Fields {
		if f.Text().Empty() || f.Text().Key() == "" {
			t.Errorf("no words for %s", f)
		}
		if got, ok := ParseField(string(f)); !ok || got != f {
			t.Errorf("%s is not read", f)
		}
	}
	if len(Fields) != len(fieldWords) {
		t.Errorf("%d fields offered; %d have words", len(Fields), len(fieldWords))
	}
}

// TestAngles: each is 36°18'47.2" = 36.3131111 or the same to the west, by
// d + m/60 + s/3600.
func TestAngles(t *testing.T) {
	const want = 36 + 18.0/60 + 47.2/3600
	for text, letter := range map[string]byte{
		`36°18'47.2"N`: 'N', `N36°18'47.2"`: 'N', `36º 18’ 47,2” N`: 'N', `36° 18′ 47.2″`: 0, `36 18 47.2`: 0, `36:18:47.2`: 0, `36d18m47.2s`: 0,
		`36d18m47.2s N`: 'N', `36deg 18min 47.2sec n`: 'N', `36°18'47.2''N`: 'N', `36° 18.7866667' Norte`: 'N', `36.3131111°`: 0, `N 36.3131111`: 'N',
		`+36.3131111`: 0, `'36.3131111`: 0, `36,3131111 N.`: 'N', `36°18'47.2" E`: 'E', `north 36 18 47.2`: 'N',
	} {
		got, err := angle(text)
		if err != nil || got.letter != letter || math.Abs(got.value-want) > 1e-7 {
			t.Errorf("%q: %+v, %v; want %v %q", text, got, err, want, letter)
		}
	}
	for _, text := range []string{`36°18'47.2"S`, `W36°18'47.2"`, `36°18'47.2"O`, `−36 18 47.2`, `36 18 47.2 oeste`, `Sur 36°18'47.2"`, `-36.3131111`, `36°18'47.2"s`} {
		if got, err := angle(text); err != nil || math.Abs(got.value+want) > 1e-7 {
			t.Errorf("%q: %+v, %v; want %v", text, got, err, -want)
		}
	}
	for _, text := range []string{"", "Total", "N", "36 60 10", "36 18 60", "36.5 18", "36 18.5 10", "1 2 3 4", "36..31", "x36", "36°18'47.2\"N W", strings.Repeat("1", 80)} {
		if got, err := angle(text); !errors.Is(err, errAngle) {
			t.Errorf("%q: %+v, %v; want it refused", text, got, err)
		}
	}
	for _, text := range []string{"-36.3 N", "-94 26 W", "+94 W"} {
		if got, err := angle(text); !errors.Is(err, errHemisphere) {
			t.Errorf("%q: %+v, %v; want a contradiction", text, got, err)
		}
	}
}

func TestPairs(t *testing.T) {
	for _, text := range []string{
		"36.5, -94.25", "36.5 -94.25", "36,5; -94,25", "36,5 -94,25", "(36.5,-94.25)", "36.5/-94.25", "36.5N 94.25W", "N36.5 W94.25", "94.25W, 36.5N", "36,5, -94,25",
		`36°30'00"N 94°15'00"W`, `36 30 00 N, 94 15 00 W`, `36°30'N94°15'O`, "N 36 30 00 W 94 15 00",
	} {
		lat, lon, err := pair(text, false)
		if err != nil || lat.value != 36.5 || lon.value != -94.25 {
			t.Errorf("%q: %v, %v, %v; want 36.5, -94.25", text, lat.value, lon.value, err)
		}
	}
	if lat, lon, err := pair("-94.25, 36.5", true); err != nil || lat.value != 36.5 || lon.value != -94.25 {
		t.Errorf("longitude first: %v, %v, %v", lat, lon, err)
	}
	for _, text := range []string{"36.5", "north gate", "36.5, -94.25, 12", "36.5N 37N", "", "1,2,3"} {
		if lat, lon, err := pair(text, false); err == nil {
			t.Errorf("%q: %v, %v; want it refused", text, lat, lon)
		}
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		text      string
		thousands byte
		want      float64
	}{
		{"36.31", 0, 36.31}, {"36,31", 0, 36.31}, {"−94,44", 0, -94.44}, {"4,019,641.75", 0, 4019641.75}, {"4.019.641,75", 0, 4019641.75},
		{"370.616,26", 0, 370616.26}, {"370,616", ',', 370616}, {"370.616", '.', 370616}, {"3.7e5", 0, 370000}, {" +1 ", 0, 1}, {"4,019,641", 0, 4019641},
	} {
		if got, ok := number(c.text, c.thousands); !ok || got != c.want {
			t.Errorf("%q: %v, %v; want %v", c.text, got, ok, c.want)
		}
	}
	for _, text := range []string{"", "x", "0x10", "NaN", "Inf", "1e999", "1_000", "-", ".", "1 2", "36°"} {
		if got, ok := number(text, 0); ok {
			t.Errorf("%q: %v; want it refused", text, got)
		}
	}
}

func TestSheets(t *testing.T) {
	point := func(lon, lat float64) orb.Geometry { return orb.Point{lon, lat} }
	for _, c := range []struct {
		name, text string
		o          Options
		flat       orb.Geometry
		crs        string
		properties string
		note       wire.Rule
	}{
		{"other columns stay text", "lat,lon,tag,Count\n1,2,007,12\n", Options{}, point(2, 1), "", `{"tag":"007","Count":"12"}`, ""},
		{"known columns", "lat,lon,fila,planta,Severidad,accuracy_m,Causa,bloque\n1,2,03,14,2,\"3,5\",orange-rust, B4 \n", Options{}, point(2, 1), "",
			`{"row":3,"plant":14,"severity":2,"accuracy_m":3.5,"cause":"orange-rust","block":"B4"}`, ""},
		{"a field twice", "lat,lon,note,comments,note\n1,2,a,b,c\n", Options{}, point(2, 1), "", `{"note":"a","comments":"b","note (2)":"c"}`, ""},
		{"more cells than headers", "lat,lon\n1,2,x\n", Options{}, point(2, 1), "", `{"column 3":"x"}`, RuleExtra},
		{"lines before the header", "Scouting of May\n\nlat,lon\n1,2\n", Options{}, point(2, 1), "", `{}`, RuleBefore},
		{"the separator named", "sep=|\nlat|lon\n1|2\n", Options{}, point(2, 1), "", `{}`, ""},
		{"x and y in degrees", "x,y\n-94.5,36.5\n", Options{}, point(-94.5, 36.5), "", `{}`, RuleDegrees},
		{"x and y of a named system", "x,y\n-94.5,36.5\n", Options{System: "EPSG:26915"}, point(-94.5, 36.5), wire.CRSMissing, `{}`, ""},
		{"metres under latitude", "lat,lon\n4019641.75,370616.26\n", Options{}, point(370616.26, 4019641.75), wire.CRSMissing, `{}`, ""},
		{"thousands", "easting;northing\n370.616;4.019.641\n", Options{}, point(370616, 4019641), wire.CRSMissing, `{}`, ""},
		{"a header of the west", "lat;Lon W\n36,5;94,5\n", Options{}, point(-94.5, 36.5), "", `{}`, ""},
		{"O for oeste", "lat,lon\n36°30'N,94°30'O\n", Options{}, point(-94.5, 36.5), "", `{}`, RuleOeste},
		{"pairs", "name;Position\nA;36.5, -94.5\n", Options{}, point(-94.5, 36.5), "", `{"name":"A"}`, ""},
		{"pairs turned by their range", "name;gps\nA;-94.5, 36.5\n", Options{}, point(-94.5, 36.5), "", `{"name":"A"}`, RulePair},
		{"pairs as the header says", "name;lon,lat\nA;-94.5, 36.5\n", Options{}, point(-94.5, 36.5), "", `{"name":"A"}`, ""},
		{"well-known text", "the_geom;name\nSRID=26915;A\n", Options{Fields: map[string]Field{"the_geom": Leave, "name": Row, "x": Plant}}, nil, "", ``, ""},
		{"outline", "WKT,name\n\"POLYGON((0 0,1 0,1 1,0 0))\",A\n", Options{}, orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 0}}}, "", `{"name":"A"}`, ""},
		{"a location in words", "lat,lon,location,x\n1,2,North gate 3,7\n", Options{}, point(2, 1), "", `{"location":"North gate 3","x":"7"}`, ""},
		{"half a pair", "block,row,plant,lat,gps\nB4,3,14,36.5,no fix 2\n", Options{}, nil, "", `{"block":"B4","row":3,"plant":14,"lat":"36.5","gps":"no fix 2"}`, ""},
		{"shape or position", "wkt;lat;lon\n;1;2\n", Options{}, point(2, 1), "", `{}`, ""},
		{"a system in the text", "WKT,name\nSRID=26915;POINT(370616 4019641),A\n", Options{}, point(370616, 4019641), "EPSG:26915", `{"name":"A"}`, ""},
		{"GeoJSON", "geojson\tname\n{\"type\":\"Point\",\"coordinates\":[1,2]}\tA\n", Options{}, point(1, 2), "", `{"name":"A"}`, ""},
		{"row and plant alone", "block,row,plant,cause\nB4,3,14,orange-rust\nTotal,1,1,\n", Options{}, nil, "", `{"block":"B4","row":3,"plant":14,"cause":"orange-rust"}`, RuleNoPosition},
		{"columns said", "a,b,c\n1,2,hi\n", Options{Fields: map[string]Field{"a": Latitude, "b": Longitude, "c": Note}}, point(2, 1), "", `{"note":"hi"}`, ""},
		{"no header, columns said", "1,2,hi\n", Options{Fields: map[string]Field{"column 1": Latitude, "column 2": Longitude, "column 3": Note}}, point(2, 1), "", `{"note":"hi"}`, ""},
		{"a column left out", "lat,lon,phone\n1,2,555\n", Options{Fields: map[string]Field{"phone": Leave}}, point(2, 1), "", `{}`, ""},
	} {
		if c.properties == "" { // needs columns that the sheet has not
			_, err := Open(context.Background(), []byte(c.text), c.o)
			if e, ok := wire.As(err); !ok || e.Rule != RuleColumns {
				t.Errorf("%s: %v; want %s", c.name, err, RuleColumns)
			}
			continue
		}
		got := read(t, c.text, c.o)
		if len(got.features) != 1 || len(got.faults) > 0 {
			t.Errorf("%s: %d features, faults %v; want one", c.name, len(got.features), got.faults)
			continue
		}
		f := got.features[0]
		if (f.Geometry.Flat == nil) != (c.flat == nil) || c.flat != nil && !orb.Equal(f.Geometry.Flat, c.flat) || f.CRS != c.crs || string(f.Properties) != c.properties {
			t.Errorf("%s: %v %q %s; want %v %q %s", c.name, f.Geometry.Flat, f.CRS, f.Properties, c.flat, c.crs, c.properties)
		}
		if c.note != "" && got.has(c.note) == nil {
			t.Errorf("%s: notes %v; want %s", c.name, got.notes, c.note)
		}
	}
}

func TestRowFaults(t *testing.T) {
	for _, c := range []struct {
		name, text string
		rule       wire.Rule
		line       int
	}{
		{"letter against sign", "lat,lon\n36,-94\n36,-94 W\n", RuleHemisphere, 3},
		{"letter of the other axis", "lat,lon\n36 W,94 N\n", RuleHemisphere, 2},
		{"no angle", "lat,lon\n36.3x,-94\n", RulePosition, 2},
		{"sixty minutes", "lat,lon\n36 60 00,-94\n", RulePosition, 2},
		{"no pair", "position\tname\n36.1, 12\tA\n36.1 x 12\tB\n", RulePosition, 3},
		{"metres with a slip", "x,y\n370616,4019641\n370616m,4019641\n", RulePosition, 3},
		{"broken text", "wkt;name\nPOINT(1;A\n", wire.RuleTruncated, 2},
	} {
		got := read(t, c.text, Options{})
		if len(got.faults) != 1 || got.faults[0].Rule != c.rule || got.faults[0].Line != c.line || got.faults[0].Feature == 0 {
			t.Errorf("%s: %v; want %s on line %d", c.name, got.faults, c.rule, c.line)
		}
	}
}

func TestTimes(t *testing.T) {
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		header, cells string
		zone          *time.Location
		properties    string
		rule          wire.Rule
	}{
		{"date", "2026-05-04", chicago, `{"time":"2026-05-04"}`, ""},
		{"date", "2026-05-04 14:30", nil, `{"time":"2026-05-04T14:30:00"}`, RuleLocal},
		{"date", "2026-05-04 14:30", chicago, `{"time":"2026-05-04T14:30:00-05:00"}`, ""},
		{"timestamp", "2026-07-04T06:15:00Z", chicago, `{"time":"2026-07-04T01:15:00-05:00"}`, ""},
		{"timestamp", "2026-07-04T06:15:00Z", nil, `{"time":"2026-07-04T06:15:00Z"}`, ""},
		{"date,time", "5/14/2026,2:30 PM", chicago, `{"time":"2026-05-14T14:30:00-05:00"}`, RuleMonthFirst},
		{"fecha,hora", "46146,0.25", chicago, `{"time":"2026-05-04T06:00:00-05:00"}`, RuleSerial},
		{"fecha;hora", "46146;0,25", nil, `{"time":"2026-05-04T06:00:00"}`, RuleSerial},
		{"date,time", "2026-05-04,2026-05-04T06:15:00Z", chicago, `{"time":"2026-05-04T01:15:00-05:00"}`, ""},
		{"time", "14:30", chicago, `{"time":"14:30"}`, ""},
		{"date", "2026", chicago, `{"date":"2026"}`, RuleDate},
		{"date", "1777888800", chicago, `{"date":"1777888800"}`, RuleDate},
		{"date", "after rain", chicago, `{"date":"after rain"}`, RuleDate},
		{"date", "4/5/2026", chicago, `{"date":"4/5/2026"}`, ""},
	} {
		sep := ","
		if strings.Contains(c.header, ";") {
			sep = ";"
		}
		got := read(t, "lat"+sep+"lon"+sep+c.header+"\n1"+sep+"2"+sep+c.cells+"\n", Options{Zone: c.zone})
		if len(got.features) != 1 || string(got.features[0].Properties) != c.properties {
			t.Errorf("%s %s: %+v; want %s", c.header, c.cells, got, c.properties)
			continue
		}
		notes := append(got.notes, got.features[0].Departures...)
		if c.rule != "" && !slices.ContainsFunc(notes, func(e *wire.Error) bool { return e.Rule == c.rule && e.Line > 0 }) {
			t.Errorf("%s %s: notes %v; want %s", c.header, c.cells, notes, c.rule)
		}
	}
	got := read(t, "lat,lon,time\n1,2,2026-03-08 02:30\n1,2,2026-11-01 01:30\n", Options{Zone: chicago})
	if len(got.faults) != 2 || got.faults[0].Rule != RuleSkipped || !strings.Contains(got.faults[0].Got, "02:00 → 03:00") || got.faults[0].Line != 2 ||
		got.faults[1].Rule != RuleTwice || !strings.Contains(got.faults[1].Got, "2026-11-01T01:30-05:00 / 2026-11-01T01:30-06:00") {
		t.Errorf("%v; want a time that never was and one that was twice", got.faults)
	}
}

func TestManyRowsLeftOut(t *testing.T) {
	got := read(t, "lat,lon,note\n1,2,a\n"+strings.Repeat("x,,n\n", mostLeft+7), Options{})
	if n := got.has(RuleMoreRows); len(got.features) != 1 || n == nil || n.Count != 7 || len(got.notes) != mostLeft+1 {
		t.Errorf("%d notes, %+v; want %d and a count of 7", len(got.notes), n, mostLeft+1)
	}
}

func TestColumns(t *testing.T) {
	p, err := Columns(context.Background(), []byte("find;acres;Día\nf0;2,5;04/05/2026\n"), Options{Fields: map[string]Field{"Día": Date}})
	if err != nil || p.Delimiter != ";" || p.HeaderLine != 1 || p.Placed || len(p.Rows) != 1 || !slices.Equal(p.Header, []string{"find", "acres", "Día"}) ||
		!slices.Equal(p.Fields, []Field{Other, Other, Date}) || p.Order.String() != "either" {
		t.Errorf("%+v, %v", p, err)
	}
}
