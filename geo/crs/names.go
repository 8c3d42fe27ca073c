package crs

import (
	"regexp"
	"strconv"
	"strings"
)

// maxCode is the largest code EPSG gives out; above stand other people's.
const maxCode = 32767

// alias are codes that files carry for a system EPSG has under another: Web
// Mercator before it had a code of its own (3785 is EPSG's withdrawn one, the
// others are ESRI's and what programs once invented), and ESRI's code for the
// Albers of the United States.
var alias = map[int]int{102100: 3857, 102113: 3857, 900913: 3857, 3785: 3857, 102039: 5070}

// The ways of writing an EPSG code: EPSG:n, urn:ogc:def:crs:EPSG:version:n with
// or without the version (OGC 09-048r3), http://www.opengis.net/def/crs/EPSG/0/n
// and the older gml/srs/epsg.xml#n. ESRI's own codes are only read as aliases.
var (
	codeName = regexp.MustCompile(`(?i)^(?:urn:(?:x-)?ogc:def:crs:|https?://www\.opengis\.net/def/crs/)?(EPSG|ESRI)(?::[0-9.]*)?[:/](?:[0-9.]+/)?([0-9]{1,7})$`)
	codeGML  = regexp.MustCompile(`(?i)^https?://www\.opengis\.net/gml/srs/epsg\.xml#([0-9]{1,7})$`)
	lonLat   = regexp.MustCompile(`(?i)^(?:urn:(?:x-)?ogc:def:crs:|https?://www\.opengis\.net/def/crs/)?(?:OGC[:/](?:[0-9.]*[:/])?)?CRS:?(84h?|83|27)$`)
)

// ogc are the longitude, latitude systems of OGC 06-042, annex B.
var ogc = map[string]int{"84": 4326, "84h": 4326, "83": 4269, "27": 4267}

// ByName finds a system of the table by its code in any of the ways it is
// written, by OGC's CRS84 and CRS83, or by its EPSG name. x is east or
// longitude whatever the name says of axis order. The error is a *Error with
// RuleUnknownCode, or with the reason why a system that is known is not read.
func ByName(name string) (*System, error) {
	name = strings.TrimSpace(name)
	for _, form := range []*regexp.Regexp{codeName, codeGML} {
		if m := form.FindStringSubmatch(name); m != nil {
			code, err := strconv.Atoi(m[len(m)-1])
			if _, known := alias[code]; err == nil && (known || !strings.EqualFold(m[1], "ESRI")) {
				return ByCode(code)
			}
		}
	}
	if m := lonLat.FindStringSubmatch(name); m != nil {
		return ByCode(ogc[strings.ToLower(m[1])])
	}
	if s := tables().names[key(name)]; s != nil && name != "" && len(name) <= maxName {
		return s, nil
	}
	return nil, &Error{Rule: RuleUnknownCode, Name: short(name), Byte: -1}
}

// ByCode finds a system of the table by its EPSG code, with the same errors.
func ByCode(epsg int) (*System, error) {
	if to, ok := alias[epsg]; ok {
		epsg = to
	}
	r := tables()
	if s := r.codes[epsg]; s != nil {
		return s, nil
	}
	if e, ok := r.refused[epsg]; ok {
		return nil, &e
	}
	return nil, &Error{Rule: RuleUnknownCode, Name: "EPSG:" + strconv.Itoa(epsg), Byte: -1}
}
