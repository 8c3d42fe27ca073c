package intake

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"caneward/blocks/words"
)

// doubtedOn is the day of the tests, since times to come are doubted.
var doubtedOn = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

func gpxTrack(times ...string) string {
	var b strings.Builder
	b.WriteString(`<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>T</name><trkseg>`)
	for i, t := range times {
		fmt.Fprintf(&b, `<trkpt lat="41.2345" lon="%.6f"><time>%s</time></trkpt>`, -8.4321+float64(i)*0.0001, t)
	}
	b.WriteString(`</trkseg></trk></gpx>`)
	return b.String()
}

// TestDoubtful holds what is sound in itself and unlikely all the same: each
// must be taken in and said. GPX 1.1 has times in UTC and rising; 1970 and 1980
// are where clocks start that were never set.
func TestDoubtful(t *testing.T) {
	for _, c := range []struct {
		name, text, file string
		outcome          Outcome
		says             string // "" for no notice at all
	}{
		{"claimed acres", collection(feature(`{"name":"A","ACRES":9.0}`)), "a.geojson", Accept, "9 acres"},
		{"claimed hectares as text", collection(feature(`{"name":"A","Area_ha":"3.9"}`)), "a.geojson", Accept, "3.9 ha"},
		{"claimed acres, rounded", collection(feature(`{"name":"A","acres":4.0}`)), "a.geojson", Accept, ""},
		{"claimed hectares that are right", collection(feature(`{"name":"A","ha":1.609}`)), "a.geojson", Accept, ""},
		{"ten by ten kilometres", collection(`{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Polygon","coordinates":[[[-72.5,-38.7],[-72.4,-38.7],[-72.4,-38.62],[-72.5,-38.62],[-72.5,-38.7]]]}}`), "a.geojson", Accept, "very large"},
		{"the whole Earth", collection(`{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Polygon","coordinates":[[[-180,-90],[180,-90],[180,90],[-180,90],[-180,-90]]]}}`), "a.geojson", Reject, "too large"},
		{"a minus lost", "lat,lon\n-38.7345,-72.5123\n-38.7346,72.5123\n-38.7347,-72.5124\n", "a.csv", Accept, "feature 2, lie 500 km"},
		{"across 180 degrees", "lat,lon\n-16.5,179.9999\n-16.5,-179.9999\n", "a.csv", Accept, ""},
		{"pins at zero", "lat,lon\n-38.7345,-72.5123\n0,0\n0.0,-0.0\n", "a.csv", Repair, "2 point(s)"},
		{"a waypoint at zero", `<gpx version="1.1"><wpt lat="0" lon="0"/><wpt lat="41" lon="-8"/></gpx>`, "a.gpx", Repair, "0,0"},
		{"times in order", gpxTrack("2026-05-04T08:00:00Z", "2026-05-04T08:00:10Z", "2026-05-04T08:00:10Z"), "a.gpx", Accept, ""},
		{"times backwards", gpxTrack("2026-05-04T08:00:00Z", "2026-05-04T07:50:10Z", "2026-05-04T08:00:20Z"), "a.gpx", Accept, "runs backwards"},
		{"1970", gpxTrack("1970-01-01T00:00:00Z", "1970-01-01T00:00:10Z"), "a.gpx", Accept, "1970-01-01t00:00:00z"},
		{"one of 1970", gpxTrack("1970-01-01T00:00:00Z", "2026-05-04T08:00:10Z"), "a.gpx", Accept, "1 time(s)"},
		{"2099", gpxTrack("2099-05-04T08:00:00Z", "2099-05-04T08:00:10Z"), "a.gpx", Accept, "2099"},
		{"a waypoint of 2099", `<gpx version="1.1"><wpt lat="41" lon="-8"><time>2099-01-01T00:00:00Z</time></wpt></gpx>`, "a.gpx", Accept, "2099"},
		{"one track twice", strings.Replace(gpxTrack("2026-05-04T08:00:00Z", "2026-05-04T08:00:10Z"), "</gpx>", strings.SplitAfterN(gpxTrack("2026-05-04T08:00:00Z", "2026-05-04T08:00:10Z"), ">", 2)[1], 1), "a.gpx", Accept, "same as track"},
		{"decimal commas in JSON", `{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[-94,4418,36,3127]}}`, "a.geojson", Reject, "decimal comma"},
		{"the oldest crs member", `{"type":"FeatureCollection","crs":{"type":"EPSG","properties":{"code":3857}},"features":[{"type":"Feature","properties":{"name":"A"},"geometry":{"type":"Point","coordinates":[-10513000,4341000]}}]}`, "a.geojson", Repair, "EPSG:3857"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := Read(context.Background(), strings.NewReader(c.text), c.file, Options{Now: doubtedOn})
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

// TestSwapOffered: swapping all of a file is offered where most of it needs it,
// not where one row is wrong.
func TestSwapOffered(t *testing.T) {
	for _, c := range []struct {
		name, text string
		offered    bool
	}{
		{"all", "lat,lon\n-122.5,45.2\n-122.6,45.3\n", true},
		{"one of three", "lat,lon\n45.2,-122.5\n-122.6,45.3\n45.4,-122.6\n", false},
	} {
		p, err := Read(context.Background(), strings.NewReader(c.text), "a.csv", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if offered := len(p.Questions) == 1 && p.Questions[0].Topic == TopicAxes; p.Outcome != Reject || offered != c.offered {
			t.Errorf("%s: %s, offered %v; want a refusal, %v", c.name, p.Outcome, offered, c.offered)
		}
	}
}

// FuzzClaims: no property makes the reading of areas fail.
func FuzzClaims(f *testing.F) {
	f.Add(`{"acres":1e999,"HA":"x","ac":null}`)
	f.Fuzz(func(t *testing.T, properties string) {
		for _, c := range claimsOf(json.RawMessage(properties), 1e4) {
			if c.field == "" || c.text == "" {
				t.Errorf("%q: %+v", properties, c)
			}
		}
	})
}

// TestManyOverlaps: a thousand blocks on one spot are said in bounded words.
func TestManyOverlaps(t *testing.T) {
	var all []string
	for range 1000 {
		all = append(all, feature(`{"name":"A"}`))
	}
	p, err := Read(context.Background(), strings.NewReader(collection(all...)), "a.geojson", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(p.Notices); n != mostOverlaps+1 || p.Notices[n-1].Text.Key() != moreOverlaps.Key {
		t.Errorf("%d notices, the last %v; want %d and that there are more", n, p.Notices[n-1], mostOverlaps+1)
	}
}

// TestEmptyText: an empty shape has no system of coordinates to ask for.
func TestEmptyText(t *testing.T) {
	p, err := Read(context.Background(), strings.NewReader("POLYGON EMPTY"), "a.wkt", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Outcome != Accept || !strings.Contains(spoken(t, p.JSON(words.English)), "empty") {
		t.Errorf("%s, %s; want nothing taken and said", p.Outcome, spoken(t, p.JSON(words.English)))
	}
}
