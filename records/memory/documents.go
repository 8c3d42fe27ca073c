package memory

import (
	"bytes"
	"context"
	"encoding/json"
	"maps"
	"slices"

	"caneward/records"
)

var _ records.Documents = (*Store)(nil)

// PutDocument implements records.Documents.
func (s *Store) PutDocument(ctx context.Context, id records.FarmID, name records.DocumentName, base int, content json.RawMessage, by records.Author) (stored records.Document, repeated bool, err error) {
	content, err = records.DocumentContent(name, base, content)
	if err != nil {
		return records.Document{}, false, err
	}
	err = s.change(ctx, func() error {
		f, there := s.farms[id]
		if !there {
			return records.FarmMissing()
		}
		all := f.documents[name]
		if base < len(all) && bytes.Equal(all[base].Content, content) {
			stored, repeated = all[base], true
			return nil
		}
		if base != len(all) {
			return records.DocumentStale(base, len(all))
		}
		var before [32]byte
		if base > 0 {
			before = all[base-1].Hash
		}
		stored = records.Document{Farm: id, Name: name, Number: base + 1, By: by, At: records.WholeMicroseconds(s.now()), Content: content}
		stored.Hash = stored.Link(before, f.ChainID())
		if f.documents == nil {
			f.documents = map[records.DocumentName][]records.Document{}
		}
		f.documents[name] = append(all, stored)
		return nil
	})
	return stored, repeated, err
}

// Document implements records.Documents.
func (s *Store) Document(ctx context.Context, id records.FarmID, name records.DocumentName) (records.Document, error) {
	all, err := s.DocumentRevisions(ctx, id, name)
	if err != nil {
		return records.Document{}, err
	}
	return all[len(all)-1], nil
}

// EachDocument implements records.Documents.
func (s *Store) EachDocument(ctx context.Context, id records.FarmID, visit func(records.Document) error) error {
	var all []records.Document
	err := s.look(ctx, func() error {
		f, there := s.farms[id]
		if !there {
			return records.FarmMissing()
		}
		for _, name := range slices.Sorted(maps.Keys(f.documents)) {
			all = append(all, f.documents[name]...)
		}
		return nil
	})
	for _, d := range all {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = visit(d)
		}
	}
	return err
}

// DocumentRevisions implements records.Documents.
func (s *Store) DocumentRevisions(ctx context.Context, id records.FarmID, name records.DocumentName) (all []records.Document, err error) {
	err = s.look(ctx, func() error {
		f, there := s.farms[id]
		if !there {
			return records.FarmMissing()
		}
		if all = slices.Clone(f.documents[name]); len(all) == 0 {
			return records.DocumentMissing()
		}
		return nil
	})
	return all, err
}
