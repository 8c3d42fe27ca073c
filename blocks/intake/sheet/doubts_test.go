package sheet

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"caneward/geo/wire"

	"github.com/paulmach/orb"
)

// TestDoubts holds sheets whose cells are sound while what they say is not:
// RFC 4180 parts columns by commas, ISO 8601 puts the year first.
func TestDoubts(t *testing.T) {
	for _, c := range []struct {
		name, text string
		refused    wire.Rule
		noted      wire.Rule
		rows       int
	}{
		{name: "decimal commas between commas", text: "lat,lon,note\n36,31,-94,44,a\n36,32,-94,45,b\n", refused: RuleDecimalComma},
		{name: "decimal commas and no other column", text: "lat,lon\n41,2345,-8,4321\n", refused: RuleDecimalComma},
		{name: "whole degrees and one cell too many", text: "lat,lon,note\n36,-94,a,b\n36,-94,c\n", noted: RuleExtra, rows: 2},
		{name: "decimals and two cells too many", text: "lat,lon,note\n36.1,-94.2,a,b,c\n36.2,-94.2,c\n", noted: RuleExtra, rows: 2},
		{name: "trailing separators of a spreadsheet", text: "lat,lon,,\n36,-94,,\n36,-95,,\n", rows: 2},
		{name: "minutes in columns of their own", text: "lat_deg,lat_min,lat_sec,lon_deg,lon_min,lon_sec\n41,14,4.2,-8,25,55.6\n", refused: RuleSplit},
		{name: "two latitudes", text: "lat,lon,lat,lon\n36.1,-94.1,41.2,-8.4\n", noted: RuleTwiceHeaded, rows: 1},
		{name: "two notes", text: "lat,lon,note,note\n36.1,-94.1,a,b\n", noted: RuleTwiceHeaded, rows: 1},
		{name: "a sum of latitudes", text: "name,lat,lon\na,36.1,-94.1\nb,36.2,-94.2\nTotal,72.3,-188.3\n", noted: RuleNoPosition, rows: 2},
		{name: "an average", text: "name,lat,lon\na,36.1,-94.1\nAverage:,36.1,-94.1\n", noted: RuleNoPosition, rows: 1},
		{name: "a pair in either order", text: "name,coordinates\na,\"-8.43, 41.23\"\n", noted: RuleLatFirst, rows: 1},
		{name: "a short year that may be the day", text: "lat,lon,date\n36.1,-94.1,26-05-13\n", rows: 1},
		{name: "a short year", text: "lat,lon,date\n36.1,-94.1,13/05/26\n", noted: RuleShortYear, rows: 1},
		{name: "a year to come", text: "lat,lon,date\n36.1,-94.1,2099-05-04\n", noted: RuleYear, rows: 1},
		{name: "day zero of a spreadsheet", text: "lat,lon,date\n36.1,-94.1,1899-12-30\n", noted: RuleYear, rows: 1},
		{name: "next year", text: "lat,lon,date\n36.1,-94.1,2027-05-04\n", rows: 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Open(context.Background(), []byte(c.text), Options{Now: time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)})
			if e, _ := wire.As(err); c.refused != "" {
				if e == nil || e.Rule != c.refused || e.Line == 0 {
					t.Fatalf("%q: got %v; want %s with its line", c.text, err, c.refused)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			rows := 0
			for {
				f, err := s.Next()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				if c.name == "a short year that may be the day" && (len(f.Departures) != 1 || f.Departures[0].Rule != RuleDate) {
					t.Errorf("%q: got departures %v; want the date said to be none", c.text, f.Departures)
				}
				rows++
			}
			noted := map[wire.Rule]bool{}
			for _, n := range s.Notes() {
				noted[n.Rule] = true
			}
			if rows != c.rows || c.noted != "" && !noted[c.noted] || c.noted == "" && len(noted) > 0 {
				t.Errorf("%q: got %d rows and %v; want %d and %q", c.text, rows, noted, c.rows, c.noted)
			}
		})
	}
}

// TestHemisphereColumns: a latitude and its letter in two columns, as receivers
// write them (NMEA 0183 does).
func TestHemisphereColumns(t *testing.T) {
	for _, c := range []struct {
		name, text string
		lon, lat   float64
		refused    wire.Rule
	}{
		{name: "headings", text: "Latitude,N/S,Longitude,E/W\n38.7345,S,72.5123,W\n", lon: -72.5123, lat: -38.7345},
		{name: "headings at the end", text: "lat,lon,note,lat_ref,lon_ref\n41.2,8.4,x,N,W\n", lon: -8.4, lat: 41.2},
		{name: "unknown headings right behind", text: "lat,a,lon,b\n38.7,S,72.5,O\n", lon: -72.5, lat: -38.7},
		{name: "words", text: "lat,lathem,lon,lonhem\n38.7,sur,72.5,oeste\n", lon: -72.5, lat: -38.7},
		{name: "degrees and minutes", text: "lat,ns,lon,ew\n38 30,S,72 30,W\n", lon: -72.5, lat: -38.5},
		{name: "sign and letter agree", text: "lat,ns,lon,ew\n-38.5,S,-72.5,W\n", lon: -72.5, lat: -38.5},
		{name: "sign and letter contradict", text: "lat,ns,lon,ew\n-38.5,N,72.5,W\n", refused: RuleHemisphere},
		{name: "no such letter", text: "lat,ns,lon,ew\n38.5,X,72.5,W\n", refused: RuleHemisphere},
		{name: "side of a row", text: "lat,lon,side\n38.5,72.5,W\n", lon: 72.5, lat: 38.5},
		{name: "side of a row behind the longitude", text: "lat,lon,side\n38.5,72.5,E\n38.5,72.5,W\n", lon: 72.5, lat: 38.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Open(context.Background(), []byte(c.text), Options{})
			if err != nil {
				t.Fatal(err)
			}
			f, err := s.Next()
			if e, _ := wire.As(err); c.refused != "" {
				if e == nil || e.Rule != c.refused || e.Line != 2 {
					t.Fatalf("%q: got %v; want %s on line 2", c.text, err, c.refused)
				}
				return
			}
			if err != nil || f.Geometry.Flat != (orb.Point{c.lon, c.lat}) {
				t.Errorf("%q: got %v, %v; want %v %v", c.text, f.Geometry.Flat, err, c.lon, c.lat)
			}
		})
	}
}
