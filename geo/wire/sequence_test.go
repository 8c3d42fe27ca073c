package wire

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"caneward/geo"

	"github.com/paulmach/orb"
)

func layerOf(name string, all ...Feature) Layer {
	return Layer{Name: name, Features: func(yield func(Feature, error) bool) {
		for _, f := range all {
			if !yield(f, nil) {
				return
			}
		}
	}}
}

// RFC 7946 sections 3.2, 3.3 and 6.1: a feature without a place has the
// geometry null, an id stays what it is, and further members stand beside.
func TestWriteCollection(t *testing.T) {
	pond := Feature{ID: "a", IDKind: StringID, Geometry: geo.Geometry{Flat: orb.Point{1, 2}}, Properties: json.RawMessage(`{"n":1.50}`),
		Foreign: []Member{{"collection", json.RawMessage(`"other"`)}, {"more", json.RawMessage(`[1]`)}}}
	nowhere := Feature{ID: "7", IDKind: NumberID}
	for name, tc := range map[string]struct {
		doc  Document
		want string
	}{
		"two layers": {Document{"Farm", `in"vented`, []Layer{layerOf("ponds", pond), layerOf("rest", nowhere)}},
			`{"type":"FeatureCollection","name":"Farm","title":"Farm","description":"in\"vented","features":[
{"type":"Feature","id":"a","geometry":{"type":"Point","coordinates":[1,2]},"properties":{"n":1.50},"collection":"ponds","more":[1]},
{"type":"Feature","id":7,"geometry":null,"properties":null,"collection":"rest"}
]}
`},
		"one layer": {Document{Title: "Farm", Layers: []Layer{layerOf("rest", nowhere)}},
			`{"type":"FeatureCollection","name":"rest","title":"Farm","features":[
{"type":"Feature","id":7,"geometry":null,"properties":null,"collection":"rest"}
]}
`},
		"nothing": {Document{}, "{\"type\":\"FeatureCollection\",\"features\":[\n]}\n"},
	} {
		var b bytes.Buffer
		if err := WriteCollection(context.Background(), &b, tc.doc); err != nil || b.String() != tc.want {
			t.Errorf("%s: %v\n got %s\nwant %s", name, err, b.String(), tc.want)
		}
	}
}

func TestWriteCollectionRefusals(t *testing.T) {
	good := Feature{Geometry: geo.Geometry{Flat: orb.Point{1, 2}}}
	bad := Feature{Geometry: geo.Geometry{Flat: orb.Point{1, math.NaN()}}}
	err := WriteCollection(context.Background(), io.Discard, Document{Layers: []Layer{layerOf("a", good), layerOf("b", good, bad)}})
	if e, ok := As(err); !ok || e.Rule != RuleNumber || e.Feature != 3 || e.Entry != "b" {
		t.Errorf("no number: %v", err)
	}
	own := errors.New("disk")
	err = WriteCollection(context.Background(), io.Discard, Document{Layers: []Layer{{Features: func(yield func(Feature, error) bool) { yield(Feature{}, own) }}}})
	if !errors.Is(err, own) {
		t.Errorf("the layer's own: %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if err := WriteCollection(ctx, io.Discard, Document{Layers: []Layer{layerOf("a", good)}}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

// A feature's member collection is its layer, where it is a text.
func TestLayerComesBack(t *testing.T) {
	text := `{"type":"FeatureCollection","features":[
{"type":"Feature","geometry":null,"properties":null,"collection":"r\u006fws"},
{"type":"Feature","geometry":null,"properties":null,"collection":5},

{"type":"Feature","geometry":null,"properties":null},{"type":"Feature","geometry":{"type":"Point","coordinates":[1]},"properties":null}]}`
	r, err := NewFeatureReader(strings.NewReader(text), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		layer string
		line  int
	}{{"rows", 2}, {"", 3}, {"", 5}} {
		f, err := r.Next()
		if err != nil || f.Layer != want.layer || f.Line != want.line {
			t.Errorf("feature %d: layer %q on line %d (%v), want %q on line %d", i+1, f.Layer, f.Line, err, want.layer, want.line)
		}
	}
	if _, err := r.Next(); err == nil || err.(*Error).Line != 5 {
		t.Errorf("the broken one: %v, want line 5", err)
	}
}
