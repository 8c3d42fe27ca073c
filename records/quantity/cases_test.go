package quantity

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"caneward/geo"
)

const cases = "../../testdata/cases"

// caseKeys are the table's units as this package calls them.
var caseKeys = map[string]string{
	"ac": "acre", "ha": "ha", "m2": "m2", "US survey ft": "us_survey_ft", "ft": "ft", "m": "m",
	"qt/ac": "qt_per_acre", "gal/ac": "gal_per_acre", "fl oz/ac": "fl_oz_per_acre", "lb/ac": "lb_per_acre",
	"L/ha": "L_per_ha", "mL/ha": "mL_per_ha", "kg/ha": "kg_per_ha",
}

func caseRows(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join(cases, file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// TestTableOfUnits is case V090 (source: testdata/cases/README.md; exact
// definitions multiplied out in fractions, printed to ten digits).
func TestTableOfUnits(t *testing.T) {
	const printed = 5e-10 // relative: half a unit of the tenth digit, at worst
	var want struct {
		Rows []struct {
			From  string  `json:"from"`
			To    string  `json:"to"`
			Value float64 `json:"value"`
		} `json:"rows"`
	}
	all := caseRows(t, "cases.csv")
	for _, row := range all[1:] {
		if row[0] != "V090" {
			continue
		}
		for i, name := range all[0] {
			if name == "expected" {
				if err := json.Unmarshal([]byte(row[i]), &want); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	rows := caseRows(t, "files/V090-units-convert.csv")[1:]
	if len(rows) != 9 || len(want.Rows) != len(rows) {
		t.Fatalf("%d rows, %d expectations; want 9 of each", len(rows), len(want.Rows))
	}
	for i, w := range want.Rows {
		if rows[i][0] != w.From || rows[i][1] != w.To {
			t.Fatalf("row %d of the file is %q; the table has %q to %q", i, rows[i], w.From, w.To)
		}
		number, unit, _ := strings.Cut(w.From, " ")
		value, err := strconv.ParseFloat(number, 64)
		if err != nil || caseKeys[unit] == "" || caseKeys[w.To] == "" {
			t.Fatalf("%q to %q: no such unit here, %v", w.From, w.To, err)
		}
		got, err := Convert(value, caseKeys[unit], caseKeys[w.To])
		if err != nil || math.Abs(got-w.Value) > printed*w.Value {
			t.Errorf("%s = %.12g %s, %v; want %.12g", w.From, got, w.To, err, w.Value)
		}
	}
}

// TestGeoAgrees: the constants that areas and lengths on the map use are those
// of the table.
func TestGeoAgrees(t *testing.T) {
	for _, c := range []struct {
		from, to string
		geo      float64
	}{
		{"acre", "m2", geo.SquareMetresPerAcre}, {"ha", "m2", geo.SquareMetresPerHa}, {"ft", "m", geo.MetresPerFoot},
		{"m2", "acre", geo.SquareMetres(1).Acres()}, {"m2", "ha", geo.SquareMetres(1).Hectares()}, {"m", "ft", geo.Metres(1).Feet()},
	} {
		const oneDigit = 1e-15 // of a float64's relative precision, once rounded on the other way
		if got, err := Convert(1, c.from, c.to); err != nil || math.Abs(got-c.geo) > oneDigit*c.geo {
			t.Errorf("1 %s = %v %s, %v; geo has %v", c.from, got, c.to, err, c.geo)
		}
	}
}
