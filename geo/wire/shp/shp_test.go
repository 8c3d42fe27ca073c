package shp

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"caneward/geo/wire"
)

const cases = "../../../testdata/cases/files/"

func file(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(cases, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func read(t testing.TB, data []byte, o wire.Options) ([]wire.Feature, []*wire.Error, error) {
	t.Helper()
	r, err := Open(context.Background(), data, o)
	if err != nil {
		return nil, nil, err
	}
	return drain(r)
}

func drain(r *Reader) ([]wire.Feature, []*wire.Error, error) {
	var all []wire.Feature
	for {
		f, err := r.Next()
		if errors.Is(err, io.EOF) {
			return all, r.Notes(), nil
		}
		if err != nil {
			return all, r.Notes(), err
		}
		all = append(all, f)
	}
}

func TestX(t *testing.T) {
	all, _ := filepath.Glob(cases + "V06*.zip")
	for _, f := range all {
		fs, notes, err := read(t, file(t, filepath.Base(f)), wire.Options{})
		t.Log(filepath.Base(f), err, notes)
		for _, x := range fs {
			t.Logf("%d %s %s %v %v %.20s %v", x.Number, x.Layer, x.Properties, x.Geometry.Flat, x.Geometry.Heights, x.CRS, x.Departures)
		}
	}
}
