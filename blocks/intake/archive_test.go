package intake

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/geo/wire/archive"
	"caneward/geo/wire/shp"
)

func zipOf(t *testing.T, files ...archive.File) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := archive.Write(&b, files); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What an archive holds decides how it is read: common practice, no source.
func TestArchivedDecidesByContent(t *testing.T) {
	point := []byte(`{"type":"Feature","geometry":{"type":"Point","coordinates":[-94.44,36.31]},"properties":{"name":"pin"}}`)
	csv := []byte("name,lon,lat\npin,-94.44,36.31\n")
	tests := []struct {
		name   string
		files  []archive.File
		format string
		says   string // in the error, "" for none
	}{
		{"one GeoJSON file", []archive.File{{Name: "a/pins.geojson", Data: point}, {Name: "readme.txt", Data: []byte("x")}}, "GeoJSON", ""},
		{"several files", []archive.File{{Name: "pins.geojson", Data: point}, {Name: "more.csv", Data: csv}}, "ZIP", "pins.geojson, more.csv"},
		{"a shapefile and KML", []archive.File{{Name: "a.shp"}, {Name: "doc.kml", Data: csv}}, "ZIP", "doc.kml, a.shp"},
		{"nothing that is read", []archive.File{{Name: "photo.jpg"}, {Name: "inner.zip"}}, "ZIP", "photo.jpg, inner.zip"},
		{"nothing", nil, "ZIP", "no files"},
		{"an archive under another name", []archive.File{{Name: "pins.geojson", Data: zipOf(t, archive.File{Name: "x.geojson", Data: point})}}, "ZIP", "pins.geojson"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := Proposal{Format: "ZIP"}
			if err := (archived{}).Read(context.Background(), zipOf(t, tt.files...), Options{}, &p); err != nil {
				t.Fatal(err)
			}
			if p.Format != tt.format {
				t.Errorf("format %q, want %q", p.Format, tt.format)
			}
			said := ""
			for _, e := range p.Errors {
				said += e.Text.In(words.English)
			}
			if (said == "") != (tt.says == "") || !strings.Contains(said, tt.says) {
				t.Errorf("errors say %q, want %q", said, tt.says)
			}
		})
	}
}

// Every rule of the two packages can be said to people.
func TestArchiveAndShapefileRulesAreSaid(t *testing.T) {
	for _, rule := range []wire.Rule{archive.RulePath, archive.RuleKind, archive.RuleEntries, archive.RuleUnpacked, archive.RuleRatio,
		archive.RuleOverlap, archive.RuleDuplicate, archive.RuleEncrypted, archive.RuleMethod, archive.RuleChecksum, archive.RuleDamaged,
		archive.RuleMissing, archive.RuleNested} {
		if archiveSayings[rule].text.Key == "" {
			t.Errorf("%s is not said", rule)
		}
	}
	for _, rule := range []wire.Rule{shp.RuleHeader, shp.RuleRecord, shp.RuleType, shp.RuleMultiPatch, shp.RuleCoordinate, shp.RuleTable,
		shp.RuleCount, shp.RuleNone, shp.RuleIndex, shp.RuleNoTable, shp.RuleRing, shp.RuleMeasure, shp.RuleDeleted, shp.RuleColumn,
		shp.RuleCell, shp.RuleEncoding, shp.RuleRepeated, shp.RuleFieldList, shp.RuleSize, shp.RuleColumns, shp.RuleCollection} {
		if shapefileSayings[rule].text.Key == "" {
			t.Errorf("%s is not said", rule)
		}
	}
}

// A shapefile without its .shp holds names and no ground.
func TestShapesMissing(t *testing.T) {
	for _, c := range []struct {
		name  string
		files []string
		want  string
	}{
		{"table and index", []string{"a.dbf", "a.shx"}, ".shp"},
		{"table and system", []string{"N/A.DBF", "N/A.PRJ"}, ".shp"},
	} {
		var files []archive.File
		for _, name := range c.files {
			files = append(files, archive.File{Name: name})
		}
		p, err := Read(context.Background(), bytes.NewReader(zipOf(t, files...)), "a.zip", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if p.Outcome != Reject || len(p.Errors) != 1 || p.Errors[0].Entry != c.files[0] || !strings.Contains(p.Errors[0].Text.String(), c.want) {
			t.Errorf("%s: %s, %v; want the missing %s said", c.name, p.Outcome, p.Refusal(), c.want)
		}
	}
}
