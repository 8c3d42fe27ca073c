package intake

import (
	"bytes"
	"context"
	"testing"

	"caneward/geo"
	"caneward/geo/wire"
	"caneward/geo/wire/gpkg"
	"caneward/geo/wire/wkt"

	"github.com/paulmach/orb"
)

// Every rule of a format has something to say to people.
func TestGeoPackageAndWKTAreSaid(t *testing.T) {
	for _, rule := range []wire.Rule{gpkg.RuleDatabase, gpkg.RulePackage, gpkg.RuleCorrupt, gpkg.RuleGeometry, gpkg.RuleTables, gpkg.RuleBlob,
		gpkg.RuleKind, gpkg.RuleDepth, gpkg.RuleValue, gpkg.RuleUnpacked, gpkg.RuleWAL, gpkg.RuleNotTable, gpkg.RuleOther, gpkg.RuleBinary,
		gpkg.RuleInfinite, gpkg.RuleText, gpkg.RuleJSON, gpkg.RuleSystem} {
		if geoPackageSayings[rule].text.Key == "" {
			t.Errorf("nothing is said of %s", rule)
		}
	}
	for _, rule := range []wire.Rule{wkt.RuleSyntax, wkt.RuleKind, wkt.RulePosition, wkt.RuleNumber, wkt.RuleDepth, wkt.RuleSRID} {
		if wktSayings[rule].text.Key == "" {
			t.Errorf("nothing is said of %s", rule)
		}
	}
}

func TestGeoPackageIsProposed(t *testing.T) {
	ring := orb.Polygon{{{-94.46, 36.3}, {-94.459, 36.3}, {-94.459, 36.301}, {-94.46, 36.301}, {-94.46, 36.3}}}
	var file bytes.Buffer
	err := gpkg.Write(context.Background(), &file, wire.Document{Layers: []wire.Layer{{Name: "blocks", Features: func(yield func(wire.Feature, error) bool) {
		yield(wire.Feature{ID: "b1", IDKind: wire.StringID, Geometry: geo.Geometry{Flat: ring}, Properties: []byte(`{"name":"A-1"}`)}, nil)
	}}}})
	if err != nil {
		t.Fatal(err)
	}
	p := Proposal{}
	if err := (geoPackage{}).Read(context.Background(), file.Bytes(), Options{}, &p); err != nil {
		t.Fatal(err)
	}
	if len(p.Blocks) != 1 || p.Blocks[0].Name != "A-1" || p.Blocks[0].ID != "b1" || len(p.Errors) != 0 {
		t.Errorf("blocks %+v, errors %+v", p.Blocks, p.Errors)
	}
}

func TestWKTIsProposed(t *testing.T) {
	p := Proposal{}
	text := "SRID=4326;POLYGON((-94.46 36.3, -94.459 36.3, -94.459 36.301, -94.46 36.301, -94.46 36.3))\n"
	if err := (wktFile{}).Read(context.Background(), []byte(text), Options{}, &p); err != nil {
		t.Fatal(err)
	}
	if len(p.Blocks) != 1 || len(p.Errors) != 0 {
		t.Errorf("blocks %+v, errors %+v", p.Blocks, p.Errors)
	}
}
