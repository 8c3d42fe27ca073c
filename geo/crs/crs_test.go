package crs

import (
	"archive/zip"
	"bufio"
	"compress/gzip"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"caneward/geo"

	"github.com/paulmach/orb"
)

const reference = "../../testdata/reference/geometry/"

// pointBound is what the package comment promises against PROJ. Where a central
// meridian has thirds of a degree PROJ gets it with 15 digits, which is 30 nm.
const pointBound = 50e-9 // metres

// farBound is the same anywhere at all; the worst are Albers systems within 2°
// of the pole they do not face.
const farBound = 5e-6 // metres

// millimetre is what imports need; texts carry no more digits than that.
const millimetre = 1e-3

// point is a row of a reference: x, y and lon, lat of one place.
type point struct {
	code           int
	lon, lat, x, y float64
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func points(t *testing.T, r *csv.Reader) (out []point) {
	t.Helper()
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range rows[1:] {
		out = append(out, point{int(number(t, f[0])), number(t, f[1]), number(t, f[2]), number(t, f[3]), number(t, f[4])})
	}
	return out
}

func referencePoints(t *testing.T) []point {
	t.Helper()
	f, err := os.Open(reference + "crs_points.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	return points(t, csv.NewReader(f))
}

// off is how many metres a system misses a point by, both ways.
func off(t *testing.T, s *System, p point) (inverse, forward float64) {
	t.Helper()
	at, err := s.Position(p.x, p.y)
	if err != nil {
		t.Fatalf("%s: Position(%v, %v): %v", s.Name(), p.x, p.y, err)
	}
	const degree = 111_320.0
	inverse = math.Hypot(wrap(at[0]-p.lon)*math.Cos(p.lat*rad), at[1]-p.lat) * degree
	x, y, err := s.Coordinates(geo.Position{p.lon, p.lat})
	if err != nil {
		t.Fatalf("%s: Coordinates(%v, %v): %v", s.Name(), p.lon, p.lat, err)
	}
	return inverse, math.Hypot(x-p.x, y-p.y) * s.unit.metres
}

// TestReferenceTexts reads both dialects of every system of the reference
// (PROJ 9.1.1; see the README there).
func TestReferenceTexts(t *testing.T) {
	raw, err := os.ReadFile(reference + "crs_prj.json")
	if err != nil {
		t.Fatal(err)
	}
	var texts map[string]struct{ ESRI, GDAL string }
	if err := json.Unmarshal(raw, &texts); err != nil {
		t.Fatal(err)
	}
	rows := referencePoints(t)
	if len(rows) != 275 || len(texts) != 11 {
		t.Fatalf("%d points, %d texts", len(rows), len(texts))
	}
	for code, text := range texts {
		for dialect, wkt := range map[string]string{"esri": text.ESRI, "gdal": text.GDAL} {
			t.Run(code+"/"+dialect, func(t *testing.T) {
				s, err := Parse(wkt)
				if code == "6933" {
					refusedFor(t, err, RuleProjection, map[string]string{"esri": "Behrmann", "gdal": "Cylindrical_Equal_Area"}[dialect])
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				if got := strconv.Itoa(s.Code()); got != code {
					t.Errorf("code %s, want %s", got, code)
				}
				worst := [2]float64{}
				for _, p := range rows {
					if strconv.Itoa(p.code) == code {
						i, f := off(t, s, p)
						worst[0], worst[1] = math.Max(worst[0], i), math.Max(worst[1], f)
					}
				}
				if worst[0] > millimetre || worst[1] > millimetre || worst[0] == 0 {
					t.Errorf("off by %.2g m inverse, %.2g m forward", worst[0], worst[1])
				}
				t.Logf("worst %.2g m inverse, %.2g m forward", worst[0], worst[1])
			})
		}
	}
}

func refusedFor(t *testing.T, err error, rule Rule, name string) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) || e.Rule != rule || !strings.Contains(e.Name, name) {
		t.Errorf("got %v, want %s naming %q", err, rule, name)
	}
}

// TestTable holds every projected system of the table against PROJ, three
// points each (testdata/make_points.py).
func TestTable(t *testing.T) {
	f, err := os.Open("testdata/points.csv.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[int]int{}
	var worst [2]float64
	var at [2]int
	for _, p := range points(t, csv.NewReader(z)) {
		s, err := ByCode(p.code)
		if err != nil {
			t.Fatal(err)
		}
		seen[p.code]++
		i, f := off(t, s, p)
		for k, v := range []float64{i, f} {
			if v > worst[k] {
				worst[k], at[k] = v, p.code
			}
			if v > pointBound {
				t.Errorf("EPSG:%d %s at %v, %v: off by %.3g m", p.code, s.Name(), p.lon, p.lat, v)
			}
		}
	}
	for _, s := range tables().systems {
		if !s.Geographic() && seen[s.Code()] != 3 {
			t.Errorf("EPSG:%d: %d reference points", s.Code(), seen[s.Code()])
		}
	}
	t.Logf("%d systems; worst %.2g m inverse (EPSG:%d), %.2g m forward (EPSG:%d)", len(seen), worst[0], at[0], worst[1], at[1])
}

// TestFar holds the bound all over the globe, wherever a result is given
// (testdata/make_points.py). Most places of a transverse Mercator are refused.
func TestFar(t *testing.T) {
	f, err := os.Open("testdata/far.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	given, refused, worst := 0, 0, 0.0
	for _, p := range points(t, csv.NewReader(f)) {
		s, err := ByCode(p.code)
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := s.Coordinates(geo.Position{p.lon, p.lat}); err != nil {
			refused++
			continue
		}
		given++
		i, f := off(t, s, p)
		worst = math.Max(worst, math.Max(i, f))
		if i > farBound || f > farBound {
			t.Errorf("EPSG:%d at %v, %v: off by %.3g m, %.3g m", p.code, p.lon, p.lat, i, f)
		}
	}
	if given < 400 || refused == 0 {
		t.Errorf("%d places given, %d refused", given, refused)
	}
	t.Logf("%d places, worst %.2g m; %d refused", given, worst, refused)
}

// TestTableIsRead guards against rows the program would misread.
func TestTableIsRead(t *testing.T) {
	for _, s := range tables().systems {
		if !inWorld(s.Use().Min) || !inWorld(s.Use().Max) || s.Use().Min[1] >= s.Use().Max[1] {
			t.Errorf("EPSG:%d: area of use %v", s.Code(), s.Use())
		}
		if _, refused := tables().refused[s.Code()]; refused {
			t.Errorf("EPSG:%d is both read and refused", s.Code())
		}
		again, err := Parse(s.WKT())
		if err != nil {
			t.Errorf("EPSG:%d: %s: %v", s.Code(), s.WKT(), err)
			continue
		}
		if again.p != s.p || again.unit != s.unit || again.datum != s.datum || again.figure != s.figure || again.method != s.method {
			t.Errorf("EPSG:%d: %s gives %+v, want %+v", s.Code(), s.WKT(), again, s)
		}
	}
	for code, e := range tables().refused {
		if e.Rule != RuleDatum && e.Rule != RuleProjection || e.Name == "" {
			t.Errorf("EPSG:%d refused with %+v", code, e)
		}
	}
}

// TestTexts reads what projinfo wrote (testdata/make_wkt.sh).
func TestTexts(t *testing.T) {
	f, err := os.Open("testdata/texts.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	n := 0
	for lines.Scan() {
		head, ok := strings.CutPrefix(lines.Text(), "-- ")
		if !ok || !lines.Scan() {
			t.Fatalf("no case: %q", lines.Text())
		}
		name, want, _ := strings.Cut(head, ": ")
		text := lines.Text()
		n++
		t.Run(name, func(t *testing.T) {
			s, err := Parse(text)
			if err != nil {
				var e *Error
				if !errors.As(err, &e) || string(e.Rule) != want || e.Name == "" || e.Byte < 0 {
					t.Errorf("%s\ngot %v, want %s", text, err, want)
				}
				return
			}
			got := "EPSG:" + strconv.Itoa(s.Code())
			for _, note := range s.Notes() {
				got += " " + string(note.Rule)
			}
			if got != want {
				t.Fatalf("%s\ngot %s, want %s", text, got, want)
			}
			code, _, _ := strings.Cut(strings.TrimPrefix(want, "EPSG:"), " ")
			known, err := ByName("EPSG:" + code)
			if err != nil {
				t.Fatal(err)
			}
			if known.Unit() != s.Unit() || known.NearWGS84() != s.NearWGS84() || known.Geographic() != s.Geographic() || known.Use() != s.Use() {
				t.Errorf("got %+v, the table has %+v", s, known)
			}
			centre := geo.Position{known.Use().Min[0] + 1, (known.Use().Min[1] + known.Use().Max[1]) / 2}
			x, y, err := s.Coordinates(centre)
			if err != nil {
				t.Fatal(err)
			}
			kx, ky, _ := known.Coordinates(centre)
			if d := math.Hypot(x-kx, y-ky); d > millimetre {
				t.Errorf("%g apart from the table's", d)
			}
		})
	}
	if n < 100 {
		t.Errorf("only %d texts", n)
	}
}

// TestFeet: the two feet differ by 2 parts in a million, 0.57 m in the case file
// (its expectation says so).
func TestFeet(t *testing.T) {
	s, err := ByCode(3433)
	if err != nil {
		t.Fatal(err)
	}
	international, err := Parse(strings.Replace(s.WKT(), `UNIT["Foot_US",0.3048006096012192]`, `UNIT["Foot",0.3048]`, 1))
	if err != nil {
		t.Fatal(err)
	}
	if s.Unit() != "US survey foot" || international.Unit() != "foot" || international.Code() == 3433 {
		t.Fatalf("units %q, %q, code %d", s.Unit(), international.Unit(), international.Code())
	}
	// The middle of the case file's outline.
	x, y, err := s.Coordinates(geo.Position{-94.4409818, 36.3132081})
	if err != nil {
		t.Fatal(err)
	}
	wrong, err := international.Position(x, y)
	if err != nil {
		t.Fatal(err)
	}
	d := float64(apart(wrong, geo.Position{-94.4409818, 36.3132081}))
	// x counts from a false easting in feet too, so what differs is the distance
	// from the false origin; the case file's 0.57 m measures all of x as feet.
	want := math.Hypot(x-s.p.east, y-s.p.north) * (surveyFoot.metres - foot.metres)
	if math.Abs(d-want) > 0.01 || d < 0.3 {
		t.Errorf("%.3f m apart, want %.3f", d, want)
	}
}

// TestCaseFile reads the .prj of a case and puts its one outline where the case's
// expectation has it (testdata/cases/cases.csv, V061: PROJ and GeographicLib).
func TestCaseFile(t *testing.T) {
	z, err := zip.OpenReader("../../testdata/cases/files/V061-shp-prj-ftus.zip")
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	member := func(ext string) []byte {
		for _, f := range z.File {
			if strings.HasSuffix(f.Name, ext) {
				r, err := f.Open()
				if err != nil {
					t.Fatal(err)
				}
				defer r.Close()
				b, err := io.ReadAll(r)
				if err != nil {
					t.Fatal(err)
				}
				return b
			}
		}
		t.Fatal("no " + ext)
		return nil
	}
	s, err := Parse(string(member(".prj")))
	if err != nil {
		t.Fatal(err)
	}
	if s.Code() != 3433 || !s.NearWGS84() || s.Name() != "NAD_1983_StatePlane_Arkansas_North_FIPS_0301_Feet" || len(s.Notes()) != 0 {
		t.Errorf("%d %q %v %v", s.Code(), s.Name(), s.NearWGS84(), s.Notes())
	}
	// One polygon of one ring: header 100, record 8, type to part index 48 bytes.
	ring := member(".shp")[100+8+48:]
	at := func(i int) orb.Point {
		return orb.Point{math.Float64frombits(binary.LittleEndian.Uint64(ring[16*i:])), math.Float64frombits(binary.LittleEndian.Uint64(ring[16*i+8:]))}
	}
	var area, cx, cy float64
	o := at(0)
	for i := range len(ring)/16 - 1 {
		p, q := at(i), at(i+1)
		c := (p[0]-o[0])*(q[1]-o[1]) - (q[0]-o[0])*(p[1]-o[1])
		area += c / 2
		cx, cy = cx+(p[0]+q[0]-2*o[0])*c/6, cy+(p[1]+q[1]-2*o[1])*c/6
	}
	const gridArea, tolerance = 173220.8, 0.3 // square feet, metres: the case's own
	if math.Abs(math.Abs(area)-gridArea) > 0.1 {
		t.Errorf("%.1f square feet, want %.1f", math.Abs(area), gridArea)
	}
	got, err := s.Position(o[0]+cx/area, o[1]+cy/area)
	if err != nil {
		t.Fatal(err)
	}
	want := geo.Position{-94.4409818, 36.3132081}
	if d := apart(got, want); d > tolerance {
		t.Errorf("middle at %v, %.3f m from %v", got, d, want)
	}
}

func TestNames(t *testing.T) {
	for _, c := range []struct {
		name string
		code int
	}{
		{"EPSG:26915", 26915}, {"epsg:26915", 26915}, {" EPSG:26915 ", 26915}, {"EPSG::26915", 26915},
		{"urn:ogc:def:crs:EPSG::26915", 26915}, {"urn:ogc:def:crs:EPSG:9.8.15:26915", 26915}, {"urn:x-ogc:def:crs:EPSG:26915", 26915},
		{"http://www.opengis.net/def/crs/EPSG/0/26915", 26915}, {"https://www.opengis.net/def/crs/EPSG/0/4326", 4326},
		{"http://www.opengis.net/gml/srs/epsg.xml#4326", 4326},
		{"OGC:CRS84", 4326}, {"CRS84", 4326}, {"CRS:84", 4326}, {"urn:ogc:def:crs:OGC:1.3:CRS84", 4326}, {"urn:ogc:def:crs:OGC::CRS84", 4326},
		{"http://www.opengis.net/def/crs/OGC/1.3/CRS84", 4326}, {"http://www.opengis.net/def/crs/OGC/0/CRS84h", 4326}, {"CRS:83", 4269},
		{"EPSG:900913", 3857}, {"ESRI:102100", 3857}, {"EPSG:102113", 3857}, {"EPSG:3785", 3857}, {"ESRI:102039", 5070},
		{"WGS 84", 4326}, {"WGS84", 4326}, {"NAD83 / UTM zone 15N", 26915}, {"NAD83 / Arkansas North (ftUS)", 3433},
	} {
		s, err := ByName(c.name)
		if err != nil || s.Code() != c.code {
			t.Errorf("%q: got %v, %v, want %d", c.name, s, err, c.code)
		}
	}
	for _, c := range []struct {
		name  string
		rule  Rule
		names string
	}{
		{"EPSG:26715", RuleDatum, "North American Datum 1927"}, {"EPSG:27700", RuleDatum, "Ordnance Survey"},
		{"EPSG:23030", RuleDatum, "European Datum 1950"}, {"CRS:27", RuleDatum, "North American Datum 1927"}, {"EPSG:5514", RuleDatum, "Cadastral"},
		{"EPSG:26931", RuleProjection, "Hotine"}, {"EPSG:6933", RuleProjection, "Cylindrical"}, {"EPSG:3413", RuleProjection, "Polar"},
		{"EPSG:1", RuleUnknownCode, "EPSG:1"}, {"EPSG:99999999999999999999", RuleUnknownCode, "EPSG"}, {"ESRI:26915", RuleUnknownCode, "ESRI"},
		{"", RuleUnknownCode, ""}, {"EPSG:", RuleUnknownCode, ""}, {"?", RuleUnknownCode, ""}, {strings.Repeat("x", 1e6), RuleUnknownCode, "x"},
		{"EPSG:26915+5703", RuleUnknownCode, "26915"},
	} {
		_, err := ByName(c.name)
		refusedFor(t, err, c.rule, c.names)
	}
}

// utm is a text whose parts the next tests change.
const utm = `PROJCS["u",GEOGCS["g",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-93.0],PARAMETER["Scale_Factor",0.9996],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]]`

func TestTextsRefused(t *testing.T) {
	for _, c := range []struct {
		what, from, to string
		rule           Rule
		name           string
		byte           string // the text at Error.Byte; "" for the end
	}{
		{"datum not listed", "D_WGS_1984", "D_North_American_1927", RuleDatum, "D_North_American_1927", "DATUM"},
		{"datum unknown", "D_WGS_1984", "D_Unknown_based_on_WGS84_ellipsoid", RuleDatum, "D_Unknown", "DATUM"},
		{"known datum on another ellipsoid", `"WGS_1984",6378137.0,298.257223563`, `"Clarke_1866",6378206.4,294.9786982`, RuleDatum, "Clarke_1866", "SPHEROID"},
		{"known datum with a far shift", `298.257223563]`, `298.257223563],TOWGS84[-87,-98,-121,0,0,0,0]`, RuleDatum, "TOWGS84", "TOWGS84"},
		{"sphere", "298.257223563", "0", RuleDatum, "D_WGS_1984", "SPHEROID"},
		{"meridian", `"Greenwich",0.0`, `"Paris",2.33722917`, RuleMeridian, "Paris", "PRIMEM"},
		{"grads", `"Degree",0.0174532925199433`, `"grad",0.01570796326794897`, RuleUnit, "grad", `UNIT["grad`},
		{"metre that is a foot", `"Meter",1.0`, `"Meter",0.3048`, RuleUnit, "Meter", `UNIT["Meter`},
		{"foot that is a link", `"Meter",1.0`, `"Foot",0.201`, RuleUnit, "Foot", `UNIT["Foot`},
		{"unit of nothing", `"Meter",1.0`, `"Meter",0`, RuleUnit, "Meter", `UNIT["Meter`},
		{"axis south", `"Meter",1.0]`, `"Meter",1.0],AXIS["X",SOUTH],AXIS["Y",WEST]`, RuleAxis, "SOUTH", "AXIS"},
		{"axes both north", `"Meter",1.0]`, `"Meter",1.0],AXIS["X",NORTH],AXIS["Y",NORTH]`, RuleAxis, "NORTH", `AXIS["Y`},
		{"projection", "Transverse_Mercator", "Hotine_Oblique_Mercator", RuleProjection, "Hotine_Oblique_Mercator", "PROJECTION"},
		{"plain Mercator", "Transverse_Mercator", "Mercator_1SP", RuleProjection, "Mercator_1SP", "PROJECTION"},
		{"unknown parameter", `PARAMETER["Scale_Factor"`, `PARAMETER["Azimuth",1],PARAMETER["Scale_Factor"`, RuleProjection, "Azimuth", `PARAMETER["Azimuth`},
		{"hidden PROJ string", `"Meter",1.0]`, `"Meter",1.0],EXTENSION["PROJ4","+proj=somerc"]`, RuleProjection, "somerc", "EXTENSION"},
		{"hidden grid", `"Meter",1.0]`, `"Meter",1.0],EXTENSION["PROJ4","+proj=utm +nadgrids=conus"]`, RuleDatum, "nadgrids", "EXTENSION"},
		{"scale missing", `PARAMETER["Scale_Factor",0.9996],`, ``, RuleMalformed, "scale factor", "PROJECTION"},
		{"scale out of range", `0.9996`, `-5`, RuleMalformed, "scale factor", "PROJECTION"},
		{"latitude out of range", `"Latitude_Of_Origin",0.0`, `"Latitude_Of_Origin",91`, RuleMalformed, "latitude", "PROJECTION"},
		{"parameter twice", `PARAMETER["Scale_Factor"`, `PARAMETER["Scale_Factor",1],PARAMETER["Scale_Factor"`, RuleMalformed, "Scale_Factor", `PARAMETER["Scale_Factor",0.9996`},
		{"no number", `0.9996`, `0x1p3`, RuleMalformed, "PARAMETER", "0x1p3"},
		{"infinite", `0.9996`, `1e999`, RuleMalformed, "PARAMETER", "1e999"},
		{"not a number", `0.9996`, `NaN`, RuleMalformed, "PARAMETER", "NaN"},
		{"no unit", `,UNIT["Meter",1.0]`, ``, RuleMalformed, "UNIT", "PROJCS"},
		{"no geographic system", `GEOGCS[`, `GEOGCX[`, RuleMalformed, "", "PROJCS"},
		{"wrong bracket", `0.9996]`, `0.9996)`, RuleMalformed, "", `)`},
		{"quote open", `"Meter",1.0]]`, `"Meter,1.0]]`, RuleMalformed, "", `"Meter`},
		{"cut off", `,UNIT["Meter",1.0]]`, ``, RuleMalformed, "PROJCS", ""},
		{"something after", `"Meter",1.0]]`, `"Meter",1.0]] x`, RuleMalformed, "x", "x"},
		{"another system after", `"Meter",1.0]]`, `"Meter",1.0]],GEOGCS["g"]`, RuleMalformed, "GEOGCS", `GEOGCS["g"]`},
		{"two commas", `0.9996],`, `0.9996],,`, RuleMalformed, "", `,PARAMETER["Latitude`},
		{"geocentric", utm, `GEOCCS["x"]`, RuleProjection, "GEOCCS", "GEOCCS"},
		{"local", utm, `LOCAL_CS["x",UNIT["m",1]]`, RuleProjection, "LOCAL_CS", "LOCAL_CS"},
		{"height only", utm, `COMPD_CS["x",VERT_CS["y"]]`, RuleProjection, "COMPD_CS", "COMPD_CS"},
		{"no text", utm, ``, RuleMalformed, "", ""},
		{"JSON", utm, `{"type":"ProjectedCRS"}`, RuleMalformed, "", `"type`},
		{"too long", utm, strings.Repeat(" ", MaxText+1), RuleSize, "", " "},
		{"too deep", utm, strings.Repeat("A[", 60000/2), RuleNested, "", "["},
		{"deeper than real texts by one", utm, strings.Repeat("A[", MaxDepth) + "A[1" + strings.Repeat("]", MaxDepth+1), RuleNested, "", "[1"},
	} {
		t.Run(c.what, func(t *testing.T) {
			text := strings.Replace(utm, c.from, c.to, 1)
			if text == utm {
				t.Fatalf("%q is not in the text", c.from)
			}
			_, err := Parse(text)
			refusedFor(t, err, c.rule, c.name)
			var e *Error
			if errors.As(err, &e) && (e.Byte < 0 || e.Byte > len(text) || !strings.HasPrefix(text[e.Byte:], c.byte) || c.byte == "" && e.Byte != len(text)) {
				t.Errorf("byte %d of %q, want where %q stands", e.Byte, text, c.byte)
			}
		})
	}
}

func TestTextsRead(t *testing.T) {
	geogcs := utm[strings.Index(utm, "GEOGCS"):strings.Index(utm, ",PROJECTION")]
	for _, c := range []struct {
		what, from, to string
		code           int
		notes          string
	}{
		{"as it is", "", "", 32615, ""},
		{"byte order mark and blanks", `PROJCS["u"`, "\uFEFF\r\n PROJCS [ \"u\" ", 32615, ""},
		{"round brackets", utm, strings.NewReplacer("[", "(", "]", ")").Replace(utm), 32615, ""},
		{"lower case", "PROJCS", "projcs", 32615, ""},
		{"quote inside a name", `"u"`, `"u ""the zone"""`, 32615, ""},
		{"no shift at all", `298.257223563]`, `298.257223563],TOWGS84[0,0,0,0,0,0,0]`, 32615, ""},
		{"GRS 80", "298.257223563", "298.257222101", 32615, ""},
		{"axes in the other order", `"Meter",1.0]`, `"Meter",1.0],AXIS["Northing",NORTH],AXIS["Easting",EAST]`, 32615, ""},
		{"other spelling of the method", "Transverse_Mercator", "Gauss_Kruger", 32615, ""},
		{"code that the numbers do not fit", `"Meter",1.0]`, `"Meter",1.0],AUTHORITY["EPSG","26916"]`, 32615, "crs-contradict"},
		{"code of a refused system", `"Meter",1.0]`, `"Meter",1.0],AUTHORITY["EPSG","26715"]`, 32615, "crs-contradict"},
		{"code that is not in the table", `0.9996],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]`, `0.9997],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0],AUTHORITY["EPSG","20001"]`, 20001, ""},
		{"no code, not in the table", "0.9996", "0.9997", 0, ""},
		{"metadata", `"Meter",1.0]`, `"Meter",1.0],METADATA["x",-1.0,2.0,3.0,4.0,0.0,0.0174532925199433,0.0,1262]`, 32615, ""},
		{"heights appended", `"Meter",1.0]]`, `"Meter",1.0]],VERTCS["EGM",VDATUM["e"],PARAMETER["Vertical_Shift",0.0],PARAMETER["Direction",1.0],UNIT["Meter",1.0]]`, 32615, "crs-vertical"},
		{"bound to another system", utm, `BOUNDCRS[SOURCECRS[` + utm + `],TARGETCRS[` + geogcs + `],ABRIDGEDTRANSFORMATION["x"]]`, 32615, "crs-shift"},
		{"degrees", utm, geogcs, 4326, ""},
		{"degree with few digits", utm, strings.Replace(geogcs, "0.0174532925199433", "0.0174533", 1), 4326, ""},
		{"survey foot by name, international by factor", `"Meter",1.0`, `"Foot_US",0.3048`, 0, "crs-contradict"},
		{"first Web Mercator text", utm, `PROJCS["w",GEOGCS["g",DATUM["D_WGS_1984_Major_Auxiliary_Sphere",SPHEROID["s",6378137.0,0.0]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Mercator"],PARAMETER["False_Easting",0.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",0.0],PARAMETER["Standard_Parallel_1",0.0],UNIT["Meter",1.0]]`, 3857, ""},
	} {
		t.Run(c.what, func(t *testing.T) {
			s, err := Parse(strings.Replace(utm, c.from, c.to, 1))
			if err != nil {
				t.Fatal(err)
			}
			notes := ""
			for _, n := range s.Notes() {
				notes += string(n.Rule)
			}
			if s.Code() != c.code || notes != c.notes {
				t.Errorf("EPSG:%d with %q, want EPSG:%d with %q", s.Code(), notes, c.code, c.notes)
			}
		})
	}
}

// TestDatumSpellings: names as files have them; the list of accepted ones is
// datums.csv, made from EPSG's and ESRI's aliases.
func TestDatumSpellings(t *testing.T) {
	for name, family := range map[string]string{
		"WGS_1984": "WGS 84", "D_WGS_1984": "WGS 84", "World Geodetic System 1984": "WGS 84", "World Geodetic System 1984 ensemble": "WGS 84",
		"World Geodetic System 1984 (G2139)": "WGS 84", "WGS84": "WGS 84",
		"North_American_Datum_1983": "NAD83", "D_North_American_1983": "NAD83", "D_NAD_1983_2011": "NAD83", "D_North_American_1983_HARN": "NAD83",
		"D_NAD_1983_HARN": "NAD83", "D_NAD_1983_NSRS2007": "NAD83", "D_NAD_1983_CORS96": "NAD83", "D_North_American_1983_CSRS": "NAD83",
		"NAD83_National_Spatial_Reference_System_2011": "NAD83", "NAD83_High_Accuracy_Reference_Network": "NAD83",
		"NAD83_Canadian_Spatial_Reference_System":    "NAD83",
		"European_Terrestrial_Reference_System_1989": "ETRS89", "D_ETRS_1989": "ETRS89", "D_RGF_1993": "ETRS89",
		"D_GDA_1994": "GDA94", "D_GDA2020": "GDA2020", "D_NZGD_2000": "NZGD2000", "D_SIRGAS_2000": "SIRGAS", "D_ITRF_2014": "ITRF",
	} {
		s, err := Parse(strings.Replace(utm, "D_WGS_1984", name, 1))
		if err != nil || s.Datum() != family || s.NearWGS84() != (family != "WGS 84") {
			t.Errorf("%q: got %+v, %v, want %s", name, s, err, family)
		}
	}
	for _, name := range []string{"North_American_Datum_1927", "D_North_American_1927", "OSGB_1936", "D_OSGB_1936", "European_Datum_1950", "D_European_1950",
		"D_Pulkovo_1942", "D_Tokyo", "unknown", "D_", "", "1983", "NAD27", "D_WGS_1972", "Guam_1963"} {
		_, err := Parse(strings.Replace(utm, "D_WGS_1984", name, 1))
		refusedFor(t, err, RuleDatum, name)
	}
}

func TestOneParallel(t *testing.T) {
	// cs2cs of PROJ 9.1.1: +proj=lcc +lat_1=18 +lat_0=18 +lon_0=-77 +k_0=0.9999
	// +x_0=250000 +y_0=150000 +ellps=WGS84, -76.5 18.2; see README.md.
	gdal := `PROJCS["j",` + utm[strings.Index(utm, "GEOGCS"):strings.Index(utm, ",PROJECTION")] + `,PROJECTION["Lambert_Conformal_Conic_1SP"],PARAMETER["latitude_of_origin",18],PARAMETER["central_meridian",-77],PARAMETER["scale_factor",0.9999],PARAMETER["false_easting",250000],PARAMETER["false_northing",150000],UNIT["metre",1]]`
	esri := strings.NewReplacer("_1SP", "", `PARAMETER["scale_factor",0.9999]`, `PARAMETER["Standard_Parallel_1",18],PARAMETER["Scale_Factor",0.9999]`).Replace(gdal)
	for _, text := range []string{gdal, esri} {
		s, err := Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		i, f := off(t, s, point{0, -76.5, 18.2, 302887.443289941, 172205.448038942})
		if i > millimetre/1000 || f > millimetre/1000 {
			t.Errorf("off by %g m, %g m", i, f)
		}
	}
}

func TestOutside(t *testing.T) {
	for _, c := range []struct {
		code int
		x, y float64
	}{
		{32615, math.NaN(), 0}, {32615, 0, math.Inf(1)}, {32615, 1e300, 0}, {32615, 5e6, 0}, {32615, 5e5, 1.1e7}, {32615, 5e5, -1.1e7},
		{4326, 180.01, 0}, {4326, 0, 90.01}, {4326, math.NaN(), 0}, {3857, 2.1e7, 0}, {3857, 0, 4e7}, {3857, math.Inf(-1), 0},
		{3433, 1e9, 0}, {3433, 1312333.3333, 29296000}, {5070, 0, 2e7}, {5070, 0, -4e7}, {5070, math.NaN(), math.NaN()},
	} {
		s, err := ByCode(c.code)
		if err != nil {
			t.Fatal(err)
		}
		at, err := s.Position(c.x, c.y)
		refusedFor(t, err, RuleOutside, "")
		if at != (geo.Position{}) {
			t.Errorf("EPSG:%d %v, %v: %v with the error", c.code, c.x, c.y, at)
		}
	}
	for _, p := range []geo.Position{{math.NaN(), 0}, {0, math.NaN()}, {181, 0}, {0, 91}, {87, 0}, {-93, -91}} {
		s, _ := ByCode(32615)
		_, _, err := s.Coordinates(p)
		refusedFor(t, err, RuleOutside, "")
	}
	for _, code := range []int{3433, 5070, 3857} {
		s, _ := ByCode(code)
		for _, lat := range []float64{90, -90, 89.5} {
			_, _, err := s.Coordinates(geo.Position{-90, lat})
			refusedFor(t, err, RuleOutside, "")
		}
	}
	if _, err := new(System).Position(0, 0); err == nil || new(System).WKT() != "" {
		t.Error("the zero System places something")
	}
}

// TestThereAndBack over the whole range where a result is given.
func TestThereAndBack(t *testing.T) {
	for _, code := range []int{26915, 32721, 3433, 2913, 5070, 3857, 3005, 2193, 3347, 28355} {
		s, err := ByCode(code)
		if err != nil {
			t.Fatal(err)
		}
		worst, given := 0.0, 0
		for lat := -89.0; lat <= 89; lat += 0.5 {
			for lon := -180.0; lon < 180; lon += 2 {
				x, y, err := s.Coordinates(geo.Position{lon, lat})
				if err != nil {
					continue
				}
				back, err := s.Position(x, y)
				if err != nil {
					// The edge itself may fall to either side.
					continue
				}
				given++
				worst = math.Max(worst, math.Hypot(wrap(back[0]-lon)*math.Cos(lat*rad), back[1]-lat)*111_320)
			}
		}
		if worst > farBound || given < 1000 {
			t.Errorf("EPSG:%d: %.3g m after %d round trips", code, worst, given)
		}
		t.Logf("EPSG:%d: %.2g m, %d places", code, worst, given)
	}
}

func TestLikely(t *testing.T) {
	arkansas := geo.Position{-94.44, 36.31}
	box := func(code int, half float64) orb.Bound {
		s, err := ByCode(code)
		if err != nil {
			t.Fatal(err)
		}
		x, y, err := s.Coordinates(arkansas)
		if err != nil {
			t.Fatal(err)
		}
		return orb.Bound{Min: orb.Point{x - half, y - half}, Max: orb.Point{x + half, y + half}}
	}
	for _, c := range []struct {
		what  string
		box   orb.Bound
		near  *geo.Position
		first int // the first of them
		among int // somewhere in them
	}{
		{"degrees", orb.Bound{Min: orb.Point{-94.45, 36.3}, Max: orb.Point{-94.43, 36.32}}, &arkansas, 4326, 4326},
		{"degrees, no farm", orb.Bound{Min: orb.Point{-94.45, 36.3}, Max: orb.Point{-94.43, 36.32}}, nil, 4326, 4326},
		{"UTM", box(26915, 300), &arkansas, 32615, 32615},
		{"state plane, survey feet", box(3433, 500), &arkansas, 3433, 3433},
		{"state plane, metres", box(26951, 300), &arkansas, 26951, 26951},
		{"Web Mercator", box(3857, 300), &arkansas, 3857, 3857},
		{"Web Mercator, no farm", box(3857, 300), nil, 3857, 3857},
		{"Albers", box(5070, 300), &arkansas, 5070, 5070},
		{"state plane, no farm", box(3433, 500), nil, 3857, 3433},
	} {
		got := Likely(c.box, c.near)
		var codes []int
		among := false
		for _, s := range got {
			codes = append(codes, s.Code())
			among = among || s.Code() == c.among
		}
		if len(got) == 0 || len(got) > 12 || got[0].Code() != c.first || !among {
			t.Errorf("%s: %v, want %d first and %d among them", c.what, codes, c.first, c.among)
		}
		for _, s := range got {
			if p, ok := s.holds(c.box); !ok || c.near != nil && !s.Geographic() && apart(p, *c.near) > maxNear {
				t.Errorf("%s: EPSG:%d puts it at %v", c.what, s.Code(), p)
			}
		}
	}
	nan := math.NaN()
	for _, b := range []orb.Bound{{Min: orb.Point{nan, 0}, Max: orb.Point{1, 1}}, {Min: orb.Point{2, 0}, Max: orb.Point{1, 1}}, {Min: orb.Point{math.Inf(-1), 0}, Max: orb.Point{1, 1}}, {Min: orb.Point{1e30, 1e30}, Max: orb.Point{1e30, 1e30}}} {
		if got := Likely(b, &arkansas); len(got) != 0 {
			t.Errorf("%v: %d systems", b, len(got))
		}
	}
	if got := Likely(box(3433, 500), &geo.Position{nan, nan}); len(got) != 0 {
		t.Errorf("a farm nowhere: %d systems", len(got))
	}
}

func FuzzParse(f *testing.F) {
	texts, err := os.ReadFile("testdata/texts.txt")
	if err != nil {
		f.Fatal(err)
	}
	for i, line := range strings.Split(string(texts), "\n") {
		if i%7 == 1 {
			f.Add(line)
		}
	}
	for _, s := range []string{utm, "", "A[", `A["`, "A(1]", `PROJCS["a",GEOGCS["b"]]`, `GEOGCS["g",DATUM["WGS84",SPHEROID["s",6378137,298.257223563]],UNIT["d",0.0174532925199433]]`, `BOUNDCRS[SOURCECRS[BOUNDCRS[SOURCECRS[1]]]]`, strings.Repeat("A[", 40)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse(text)
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Byte < 0 || e.Byte > len(text) || e.Rule == "" {
				t.Fatalf("%q: %+v", text, err)
			}
			return
		}
		again, err := Parse(s.WKT())
		if err != nil {
			t.Fatalf("%q: own text %q: %v", text, s.WKT(), err)
		}
		if again.p != s.p || again.unit.metres != s.unit.metres || again.method != s.method {
			t.Fatalf("%q: %q gives %+v, want %+v", text, s.WKT(), again, s)
		}
		for _, xy := range []orb.Point{{0, 0}, {5e5, 4e6}, {-94, 36}, {1e7, -1e7}} {
			p, err := s.Position(xy[0], xy[1])
			if err == nil && !inWorld(p) {
				t.Fatalf("%q: %v at %v", text, xy, p)
			}
		}
	})
}

func BenchmarkPosition(b *testing.B) {
	for _, c := range []struct {
		name string
		code int
	}{{"TransverseMercator", 26915}, {"Lambert", 3433}, {"Albers", 5070}, {"WebMercator", 3857}} {
		s, err := ByCode(c.code)
		if err != nil {
			b.Fatal(err)
		}
		x, y, err := s.Coordinates(geo.Position{-93.2, 35.4})
		if err != nil {
			b.Fatal(err)
		}
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Position(x, y); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkParse(b *testing.B) {
	for b.Loop() {
		if _, err := Parse(utm); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLikely(b *testing.B) {
	box := orb.Bound{Min: orb.Point{500000, 4000000}, Max: orb.Point{501000, 4001000}}
	near := geo.Position{-93, 36}
	for b.Loop() {
		Likely(box, &near)
	}
}
