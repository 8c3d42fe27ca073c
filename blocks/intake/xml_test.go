package intake

import (
	"testing"
)

func TestRootOf(t *testing.T) {
	for text, want := range map[string]string{
		"<kml>":                               "kml",
		"\xEF\xBB\xBF <?xml?>\n<gpx v=\"1\">": "gpx",
		"<!-- <kml> --><p:gpx>":               "gpx",
		"<!DOCTYPE kml [<!ENTITY f SYSTEM \"file:///x\">]><kml>": "kml",
		"<!DOCTYPE kml><kml/>": "kml",
		"<html><kml>":          "html",
		"{\"<kml>\":1}":        "",
		"<!-- <kml>":           "",
		"":                     "",
	} {
		if got := rootOf([]byte(text)); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// What may stand in a notice or an error of KML or GPX has words.
func TestXMLRulesHaveWords(t *testing.T) {
	for _, rule := range append(append(xmlMends[:len(xmlMends):len(xmlMends)], gpxMends...), "xml-doctype", "kml-network-link", "gpx-position") {
		if xmlSayings[rule].text.Key == "" && kmlSayings[rule].text.Key == "" && gpxSayings[rule].text.Key == "" {
			t.Errorf("no words for %s", rule)
		}
	}
}
