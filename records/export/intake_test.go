package export_test

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"

	"caneward/blocks/intake"
	"caneward/blocks/words"
	"caneward/geo"
	"caneward/geo/wire"
	"caneward/records"
	"caneward/records/export"
)

// taken reads a file of ours in as anybody's, whether it is taken as it stands
// or not.
func taken(t *testing.T, data []byte, name string) intake.Proposal {
	t.Helper()
	p, err := intake.Read(context.Background(), bytes.NewReader(data), name, intake.Options{Zone: "America/New_York"})
	must(t, err)
	if p.Outcome != intake.Accept {
		said, err := json.Marshal(p.JSON(words.English))
		must(t, err)
		t.Fatalf("%s: %s, want accept: %.1500s", name, p.Outcome, said)
	}
	return p
}

// proposedFeatures is all that a proposal would store.
func proposedFeatures(p intake.Proposal) []wire.Feature {
	var out []wire.Feature
	add := func(id string, kind wire.IDKind, layer string, g geo.Geometry, properties json.RawMessage) {
		out = append(out, wire.Feature{ID: id, IDKind: kind, Layer: layer, Geometry: g, Properties: properties})
	}
	for _, b := range p.Blocks {
		add(b.ID, b.IDKind, b.Layer, b.Geometry, b.Properties)
	}
	for _, w := range p.Tracks {
		add(w.ID, w.IDKind, w.Layer, w.Geometry, w.Properties)
	}
	for _, q := range p.Points {
		add(q.ID, q.IDKind, q.Layer, flat(q.At), q.Properties)
	}
	for _, s := range p.Rest {
		add(s.ID, s.IDKind, s.Layer, s.Geometry, s.Properties)
	}
	return out
}

// What goes out comes in again as it was, without a question and without a
// repair: each kind, and the whole farm in one file. What has no place is not
// drawn, so it is not brought in by a map.
func TestIntakeTakesWhatGoesOut(t *testing.T) {
	for name, farm := range farms {
		store, err := farm.store()
		must(t, err)
		want := current(t, store, farm.id)
		for _, f := range export.Formats {
			for _, kinds := range append([][]records.Kind{nil}, each(records.Kinds)...) {
				placed := map[place]records.Record{}
				for at, rec := range want {
					if !rec.Geometry.Empty() && (kinds == nil || at.kind == kinds[0]) {
						placed[at] = rec
					}
				}
				if len(placed) == 0 {
					continue
				}
				title := "farm"
				if kinds != nil {
					title = string(kinds[0])
				}
				t.Run(f.Ending+"/"+name+"/"+title, func(t *testing.T) {
					p := taken(t, written(t, store, farm.id, f, kinds...), "export."+f.Ending)
					form := roundTrips[f.Ending]
					form.pins = len(p.Points) > 0
					compare(t, form, placed, proposedFeatures(p))
					checkBlocks(t, placed, p)
				})
			}
		}
	}
}

func each(kinds []records.Kind) (out [][]records.Kind) {
	for _, k := range kinds {
		out = append(out, []records.Kind{k})
	}
	return out
}

// checkBlocks holds the names and areas that are shown; names without white
// space round them.
func checkBlocks(t *testing.T, want map[place]records.Record, p intake.Proposal) {
	t.Helper()
	for _, b := range p.Blocks {
		rec := want[place{records.Kind(b.Layer), b.ID}]
		var named struct{ Name any }
		must(t, json.Unmarshal(rec.Properties, &named))
		if name, is := named.Name.(string); is && b.Name != strings.TrimSpace(name) {
			t.Errorf("%s: name %q, want %q", b.ID, b.Name, name)
		}
		if area := areaOf(rec.Geometry.Flat); !sameArea(float64(b.Area), area) {
			t.Errorf("%s: %v m2, want %v", b.ID, b.Area, area)
		}
	}
}
