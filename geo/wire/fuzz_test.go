package wire

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"io"
	"testing"
)

var seeds = []string{
	`{"type":"Point","coordinates":[1,2,3,4]}`,
	`{"type":"MultiPolygon","coordinates":[[[[0,0],[1,0],[1,1],[0,0]]],[]]}`,
	`{"type":"GeometryCollection","geometries":[{"type":"LineString","coordinates":[[0,0],[180,1]]}]}`,
	`{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"x"}},"features":[{"type":"Feature","id":7,"properties":{"a":"\u00e4"},"geometry":null}]}`,
	"\x1e{\"type\":\"Feature\",\"properties\":{},\"geometry\":null}\n",
	`{"type":"Polygon","coordinates":[[[265,0],[266,0],[266,1]]]}`,
	`{"type":"Polygon","crs":7,"coordinates":[[["1",0],[NaN,0],[1e400,1]]]}`,
}

// Whatever is read can be written, and reads back as the same bytes.
func FuzzDecodeGeometry(f *testing.F) {
	for _, s := range seeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := DecodeGeometry(data, Limits{})
		if err != nil {
			return
		}
		if !json.Valid(data) {
			t.Fatalf("took what is no JSON: %q", data)
		}
		text, err := EncodeGeometry(g)
		if err != nil {
			t.Fatalf("%q was read and cannot be written: %v", data, err)
		}
		back, err := DecodeGeometry(text, Limits{})
		if err != nil {
			t.Fatalf("%s was written and cannot be read: %v", text, err)
		}
		again, err := EncodeGeometry(back)
		if err != nil || !bytes.Equal(again, text) {
			t.Fatalf("%s, then %s, %v", text, again, err)
		}
		if _, err := EncodeEWKB(g); err != nil {
			t.Fatalf("%s has no EWKB: %v", text, err)
		}
	})
}

func FuzzFeatureReader(f *testing.F) {
	for _, s := range seeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, lenient := range []bool{false, true} {
			r, err := NewFeatureReader(bytes.NewReader(data), Options{Lenient: lenient})
			if err != nil {
				continue
			}
			for {
				feature, err := r.Next()
				if err == io.EOF {
					break
				}
				if err != nil {
					continue
				}
				if out, err := EncodeFeature(feature); err != nil || !json.Valid(out) {
					t.Fatalf("%q gave %s, %v", data, out, err)
				}
			}
		}
	})
}

func FuzzCanonical(f *testing.F) {
	for _, s := range seeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		out, err := Canonical(data)
		if err != nil {
			return
		}
		again, err := Canonical(out)
		if err != nil || !bytes.Equal(again, out) || !json.Valid(out) {
			t.Fatalf("%q gave %s, then %s, %v", data, out, again, err)
		}
	})
}

func FuzzDecodeEWKB(f *testing.F) {
	for _, c := range ewkbCases {
		data, _ := hex.DecodeString(c.hex)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := DecodeEWKB(data)
		if err != nil || g.Empty() {
			return
		}
		out, err := EncodeEWKB(g)
		if err != nil {
			return // numbers that are not finite
		}
		back, err := DecodeEWKB(out)
		if err != nil {
			t.Fatalf("%x was written and cannot be read: %v", out, err)
		}
		again, err := EncodeEWKB(back)
		if err != nil || !bytes.Equal(again, out) {
			t.Fatalf("%x, then %x, %v", out, again, err)
		}
	})
}
