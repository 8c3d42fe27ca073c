// Package export hands a farm's records out as files: every kind a layer, every
// record a feature with its own id, shape and properties, nothing added and
// nothing left out unsaid.
package export

import (
	"context"
	"iter"

	"caneward/blocks/words"
	"caneward/geo/wire"
	"caneward/records"
)

var invented = words.New("export-invented",
	"Invented demo data: not for use in a field. No such farm, no such people.",
	"Datos de muestra inventados: no usar en el campo. No existe tal finca ni tales personas.")

// Selection says what goes out.
type Selection struct {
	Kinds    []records.Kind // nil: every kind
	Language words.Language // of the notice; "" is English
}

// Document is the farm as a writer takes it: a layer for each kind, in the
// order of records.Kinds, its current records by id. Kinds without records are
// left out, unless none of those asked for has any. Features are read as they
// are asked for, some megabytes at a time, so the document is of use only while
// the reader is (inside records.Store.View), and a walk ends with the context's
// error when ctx does. The error is the reader's, fault.Invalid for a kind that
// is none.
func Document(ctx context.Context, r records.Reader, what Selection) (wire.Document, error) {
	farm := r.Farm()
	doc := wire.Document{Title: farm.Name}
	if farm.Invented {
		doc.Notice = invented.Plain().In(what.Language)
	}
	kinds, err := what.kinds(r)
	if err != nil {
		return wire.Document{}, err
	}
	for _, kind := range kinds {
		doc.Layers = append(doc.Layers, wire.Layer{Name: string(kind), Features: features(ctx, r, kind)})
	}
	return doc, nil
}

// kinds are those that go out, in the order screens show them.
func (what Selection) kinds(r records.Reader) ([]records.Kind, error) {
	asked := map[records.Kind]bool{}
	for _, kind := range what.Kinds {
		if _, err := records.ParseKind(string(kind)); err != nil {
			return nil, err
		}
		asked[kind] = true
	}
	var all, filled []records.Kind
	for _, kind := range records.Kinds {
		if what.Kinds != nil && !asked[kind] {
			continue
		}
		n, err := r.Count(kind, records.Query{})
		if err != nil {
			return nil, err
		}
		all = append(all, kind)
		if n > 0 {
			filled = append(filled, kind)
		}
	}
	if filled == nil {
		return all, nil
	}
	return filled, nil
}

// Records are read in steps, since a list costs its store something each time:
// few at first, then as many as stay within stepBytes at the size of those
// before. A season's track is some megabytes, a find some hundred bytes.
const (
	firstStep = 32
	mostStep  = 4096
	stepBytes = 8 << 20
)

func features(ctx context.Context, r records.Reader, kind records.Kind) iter.Seq2[wire.Feature, error] {
	return func(yield func(wire.Feature, error) bool) {
		var after records.ID
		step := firstStep
		for {
			page, err := r.List(kind, records.Query{After: after, Limit: step})
			if err == nil {
				err = ctx.Err()
			}
			if err != nil {
				yield(wire.Feature{}, err)
				return
			}
			size := 0
			for _, rev := range page.Revisions {
				size += sizeOf(rev.Record)
				f := wire.Feature{ID: string(rev.ID), IDKind: wire.StringID, Geometry: rev.Record.Geometry, Properties: rev.Record.Properties, Layer: string(kind)}
				if !yield(f, nil) {
					return
				}
				after = rev.ID
			}
			if !page.More || len(page.Revisions) == 0 {
				return
			}
			step = max(1, min(2*step, mostStep, stepBytes*len(page.Revisions)/max(1, size)))
		}
	}
}

// sizeOf is about what a record takes in memory, in bytes: an id and its
// surroundings, the properties, and four numbers a position.
func sizeOf(r records.Record) int { return 256 + len(r.Properties) + 32*wire.Vertices(r.Geometry.Flat) }
