package intake

import (
	"context"
	"strings"
	"testing"

	"caneward/blocks/words"
)

// TestNarrow: corners on a line that their rounding moved off it enclose no
// ground; a needle is no defect and may still be a stray tap.
func TestNarrow(t *testing.T) {
	area := func(ring string) string {
		return `{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Polygon","coordinates":[[` + ring + `]]}}`
	}
	for _, c := range []struct {
		name, text, file string
		outcome          Outcome
		says             string
	}{
		{"a diagonal rounded to seven decimals", area(`[-94.4418,36.3127],[-94.4411333,36.3131333],[-94.4404667,36.3135667],[-94.4409,36.3132850],[-94.4418,36.3127]`), "a.geojson", Reject, "no area"},
		{"five centimetres wide", area(`[-94.44,36.31],[-94.438,36.31],[-94.438,36.3100005],[-94.44,36.3100005],[-94.44,36.31]`), "a.geojson", Reject, "no area"},
		{"one row, a metre wide", area(`[-94.44,36.31],[-94.438,36.31],[-94.438,36.31001],[-94.44,36.31001],[-94.44,36.31]`), "a.geojson", Accept, ""},
		{"one plant", area(`[-94.44,36.31],[-94.439995,36.31],[-94.439995,36.310005],[-94.44,36.310005],[-94.44,36.31]`), "a.geojson", Accept, ""},
		{"a needle of 200 m, a centimetre wide", area(`[-94.44,36.31],[-94.439,36.31],[-94.439,36.311],[-94.437,36.3115],[-94.439,36.3110001],[-94.44,36.311],[-94.44,36.31]`), "a.geojson", Accept, "sharp point"},
		{"a wedge", area(`[-94.44,36.31],[-94.438,36.31],[-94.44,36.3101],[-94.44,36.31]`), "a.geojson", Accept, ""},
		{"a track that leaps", `<gpx version="1.1"><trk><trkseg><trkpt lat="41.2345" lon="-8.4321"/><trkpt lat="41.2345" lon="8.4321"/><trkpt lat="41.2346" lon="-8.4321"/></trkseg></trk></gpx>`, "a.gpx", Accept, "jumps 1412 km"},
		{"a Point of two positions", `<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>p</name><Point><coordinates>-8.4,41.2 -8.5,41.3</coordinates></Point></Placemark></kml>`, "a.kml", Accept, "more than one position"},
		{"binary in a sheet", "name,geom\np,0101000020E6100000000000000000F03F0000000000000040\n", "a.csv", Reject, "WKB"},
		{"binary alone", "0101000000000000000000F03F0000000000000040\n", "a.wkt", Reject, "WKB"},
		{"decimal commas in KML", `<kml><Placemark><Point><coordinates>-8,43,41,23</coordinates></Point></Placemark></kml>`, "a.kml", Reject, "comma"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := Read(context.Background(), strings.NewReader(c.text), c.file, Options{})
			if err != nil {
				t.Fatal(err)
			}
			got := spoken(t, p.JSON(words.English))
			silent := len(p.Notices)+len(p.Errors)+len(p.Questions) == 0
			if p.Outcome != c.outcome || c.says == "" && !silent || !strings.Contains(got, strings.ToLower(c.says)) {
				t.Errorf("%s\ngot %s, %s; want %s and %q", c.text, p.Outcome, got, c.outcome, c.says)
			}
			unfilled(t, p, words.Spanish)
		})
	}
}
