package intake

import (
	"context"
	"strings"
	"testing"
	"unicode/utf16"

	"caneward/blocks/words"
)

// TestForeign holds files that people upload by mistake: each must be called
// what it is. The signatures are those of the formats' own specifications (ISO
// 32000-1 7.5.2, ISO/IEC 10918-1, RFC 2083, RFC 1952, POSIX pax for ustar, the
// dBASE header), from memory where no copy was at hand.
func TestForeign(t *testing.T) {
	for _, c := range []struct{ name, data, want, not string }{
		{"a.pdf", "%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "PDF", "encoding"},
		{"a.jpg", "\xff\xd8\xff\xe1\x00\x18Exif", "JPEG", ""},
		{"a.png", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "PNG", ""},
		{"a.heic", "\x00\x00\x00\x18ftypheic", "HEIC", ""},
		{"a.xls", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + strings.Repeat("\x00", 600), "Excel", ""},
		{"a.geojson.gz", "\x1f\x8b\x08\x00\x00\x00\x00\x00", "gzip", "JSON: "},
		{"a.7z", "7z\xbc\xaf\x27\x1c\x00\x04", "7z", ""},
		{"a.rar", "Rar!\x1a\x07\x01\x00", "RAR", ""},
		{"a.dwg", "AC1027\x00\x00", "DWG", ""},
		{"a.dxf", "  0\r\nSECTION\r\n  2\r\nHEADER\r\n", "DXF", ""},
		{"a.fit", "\x0e\x10\x43\x08\x78\x00\x00\x00.FIT\x00\x00", "FIT", ""},
		{"a.geojson", strings.Repeat("\x00", 4096), "zero bytes", ""},
		{"a.xml", `<?xml version="1.0"?><ServiceExceptionReport/>`, "ServiceExceptionReport", ""},
		{"a.gml", `<gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml"/>`, "GML", ""},
		{"a.kml", `<?xml version="1.0"?><!DOCTYPE html PUBLIC "-//W3C//DTD XHTML 1.0 Strict//EN" "x"><html/>`, "web page", ""},
		{"a.geojson", "\n<!-- x -->\n<HTML></HTML>", "web page", ""},
		{"a.json", `{"type":"Topology","arcs":[],"objects":{}}`, "TopoJSON", ""},
		{"a.json", `{"objects":{"b":1},"type":"Topology","arcs":[]}`, "TopoJSON", ""},
		{"a.json", `{"geometryType":"esriGeometryPoint","features":[]}`, "Esri JSON", ""},
		{"a.dbf", "\x03\x7e\x05\x04\x00\x00\x00\x00\x41\x00\x15\x00" + strings.Repeat("\x00", 52) + "\r", "dbf", ""},
	} {
		t.Run(c.name+" "+c.want, func(t *testing.T) {
			p, err := Read(context.Background(), strings.NewReader(c.data), c.name, Options{})
			if err != nil {
				t.Fatal(err)
			}
			got := spoken(t, p.JSON(words.English))
			if p.Outcome != Reject || !strings.Contains(got, strings.ToLower(c.want)) || c.not != "" && strings.Contains(got, strings.ToLower(c.not)) {
				t.Errorf("%s: %s %s; want a refusal that says %q", c.name, p.Outcome, got, c.want)
			}
			unfilled(t, p, words.Spanish)
		})
	}
}

// TestLetters reads files whose letters are not, or not all, UTF-8.
func TestLetters(t *testing.T) {
	const before = `{"type":"Feature","properties":{"name":"`
	const after = `"},"geometry":{"type":"Polygon","coordinates":[[[-94.44,36.31],[-94.439,36.31],[-94.439,36.311],[-94.44,36.31]]]}}`
	wide := func(text string, per int, little bool) string {
		var out []byte
		for _, r := range "\uFEFF" + text {
			units := []uint32{uint32(r)}
			if per == 2 {
				units = nil
				for _, u := range utf16.Encode([]rune{r}) {
					units = append(units, uint32(u))
				}
			}
			for _, u := range units {
				for i := range per {
					shift := 8 * i
					if !little {
						shift = 8 * (per - 1 - i)
					}
					out = append(out, byte(u>>shift))
				}
			}
		}
		return string(out)
	}
	for _, c := range []struct{ name, data, want string }{
		{"Windows-1252", before + "Ca\xf1ada" + after, "Cañada"},
		{"UTF-8 and Windows-1252 in one file", before + "Señal P\xf1" + after, "Señal Pñ"},
		{"UTF-32 little-endian", wide(before+"Ñandú 🍇"+after, 4, true), "Ñandú 🍇"},
		{"UTF-32 big-endian", wide(before+"Ñandú"+after, 4, false), "Ñandú"},
		{"UTF-16 big-endian", wide(before+"Ñandú 🍇"+after, 2, false), "Ñandú 🍇"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := Read(context.Background(), strings.NewReader(c.data), "a.geojson", Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(p.Blocks) != 1 || p.Blocks[0].Name != c.want || !strings.Contains(spoken(t, p.JSON(words.English)), "encoding") {
				t.Errorf("got %d blocks, %s; want one called %q and a word about the encoding", len(p.Blocks), spoken(t, p.JSON(words.English)), c.want)
			}
		})
	}
}
